/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "curve.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define DASH_UNIT 1.6 /* short gap of a dash, in line widths */

bool line_clip(const struct box *box, double *x0, double *y0, double *x1, double *y1)
{
    const double dx = *x1 - *x0, dy = *y1 - *y0;
    const double along[4] = { -dx, dx, -dy, dy };
    const double inside[4] = { *x0 - box->left, box->right - *x0, *y0 - box->bottom, box->top - *y0 };
    double enters = 0, leaves = 1;
    for (int i = 0; i < 4; i++) {
        if (along[i] == 0 && inside[i] < 0)
            return false;
        if (along[i] < 0)
            enters = fmax(enters, inside[i] / along[i]);
        if (along[i] > 0)
            leaves = fmin(leaves, inside[i] / along[i]);
    }
    if (enters > leaves)
        return false;
    if (leaves < 1) {
        *x1 = *x0 + leaves * dx;
        *y1 = *y0 + leaves * dy;
    }
    if (enters > 0) {
        *x0 += enters * dx;
        *y0 += enters * dy;
    }
    return true;
}

static bool in_box(const struct box *box, double x, double y)
{
    return x >= box->left - 0.5 && x <= box->right + 0.5 && y >= box->bottom - 0.5 && y <= box->top + 0.5;
}

/* ---- a pen that clips ---- */

struct pencil {
    const struct frame *frame;
    bool placed, drawing;  /* a point is known; a path is open and ends there */
    double x, y;
    struct vertex last;    /* of which it is the place */
};

static void pencil_lift(struct pencil *pencil)
{
    if (pencil->drawing)
        canvas_stroke(pencil->frame->canvas);
    pencil->drawing = pencil->placed = false;
}

static void pencil_to(struct pencil *pencil, double x, double y)
{
    const struct frame *frame = pencil->frame;
    double x0 = pencil->x, y0 = pencil->y, x1 = x, y1 = y;
    if (pencil->placed && line_clip(&frame->box, &x0, &y0, &x1, &y1)) {
        if (!pencil->drawing)
            canvas_move(frame->canvas, x0, y0);
        canvas_draw(frame->canvas, x1, y1);
        pencil->drawing = x1 == x && y1 == y;
        if (!pencil->drawing)
            canvas_stroke(frame->canvas);
    }
    pencil->placed = true;
    pencil->x = x;
    pencil->y = y;
}

/* Control points of the cubic between two vertices, in pixels; false where it is none on these axes, or leaves the box. */
static bool control_points(const struct frame *frame, const struct vertex *a, const struct vertex *b, double point[4][2])
{
    const double h = b->x - a->x;
    const struct vertex at[4] = { *a, { a->x + h / 3, a->y + h / 3 * a->slope, NAN }, { b->x - h / 3, b->y - h / 3 * b->slope, NAN }, *b };
    bool inside = !frame->x->logarithmic && !frame->y->logarithmic;
    for (int i = 0; i < 4; i++) {
        const double x = point[i][0] = frame_x(frame, at[i].x), y = point[i][1] = frame_y(frame, at[i].y);
        inside = inside && in_box(&frame->box, x, y);
    }
    return inside;
}

static void pencil_along(struct pencil *pencil, const struct vertex *to)
{
    const struct frame *frame = pencil->frame;
    struct vertex between[VERTEX_STEPS];
    const size_t points = pencil->placed ? vertex_between(&pencil->last, to, between) : 0;
    double point[4][2];
    if (points > 1 && control_points(frame, &pencil->last, to, point)) {
        if (!pencil->drawing) {
            canvas_move(frame->canvas, point[0][0], point[0][1]);
            canvas_draw(frame->canvas, point[0][0], point[0][1]); /* a path that begins with a curve libplot makes of lines */
        }
        canvas_curve(frame->canvas, (const double(*)[2])point);
        pencil->drawing = true;
        pencil->x = point[3][0];
        pencil->y = point[3][1];
        return;
    }
    for (size_t i = 0; i + 1 < points; i++)
        pencil_to(pencil, frame_x(frame, between[i].x), frame_y(frame, between[i].y));
    pencil_to(pencil, frame_x(frame, to->x), frame_y(frame, to->y));
}

static void pencil_to_vertex(struct pencil *pencil, struct vertex vertex)
{
    if (pencil->frame->x->logarithmic && !(vertex.x > 0)) {
        pencil_lift(pencil); /* infinitely far to the left */
        return;
    }
    pencil_along(pencil, &vertex);
    pencil->last = vertex;
}

static void draw_line(const struct frame *frame, const struct trace *trace, const struct bands *bands)
{
    struct pencil pencil = { .frame = frame };
    struct vertex path[STRIP_PATH];
    for (size_t from = 0, to; from < bands->count; from = to) {
        to = bands_run(bands, from);
        const size_t first = bands->at[from].strip;
        const size_t end = to < bands->count ? bands->at[to].strip : reduction_strips(trace->rows);
        if (bands->at[from].dense) { /* a line leads there and on */
            pencil_to_vertex(&pencil, reduction_strip(trace->rows, first, trace->channel)->first);
            pencil_lift(&pencil);
            pencil_to_vertex(&pencil, reduction_strip(trace->rows, end - 1, trace->channel)->last);
            continue;
        }
        for (size_t i = first; i < end; i++) {
            const size_t points = strip_path(reduction_strip(trace->rows, i, trace->channel), path);
            for (size_t k = 0; k < points; k++)
                pencil_to_vertex(&pencil, path[k]);
        }
    }
    pencil_lift(&pencil);
}

/* A single row, or many at one place, has no line to be seen by. */
static void draw_lone_point(const struct frame *frame, const struct trace *trace)
{
    if (reduction_strips(trace->rows) != 1)
        return;
    const struct strip *strip = reduction_strip(trace->rows, 0, trace->channel);
    const double x = frame_x(frame, strip->first.x), y = frame_y(frame, strip->last.y);
    if (in_box(&frame->box, x, y))
        canvas_disc(frame->canvas, x, y, MARK * frame->font);
}

/* ---- stems and marks ---- */

void mark_draw(struct canvas *canvas, enum mark mark, double x, double y, double radius)
{
    const double r = radius * 0.88, d = radius * 1.25;
    const double square[4][2] = { { x - r, y - r }, { x + r, y - r }, { x + r, y + r }, { x - r, y + r } };
    const double diamond[4][2] = { { x - d, y }, { x, y - d }, { x + d, y }, { x, y + d } };
    const double wedge[3][2] = { { x - d, y - r }, { x + d, y - r }, { x, y + d } };
    switch (mark) {
    case MARK_SQUARE: canvas_area(canvas, square, 4); return;
    case MARK_DIAMOND: canvas_area(canvas, diamond, 4); return;
    case MARK_WEDGE: canvas_area(canvas, wedge, 3); return;
    case MARK_DISC:
    case MARKS: canvas_disc(canvas, x, y, radius); return;
    }
}

/* Marks small enough to stay apart: a third of the mean distance of the rows that are shown. */
static double mark_radius(const struct frame *frame, const struct trace *trace)
{
    const double most = MARK * frame->font, width = frame->box.right - frame->box.left;
    size_t shown = 1;
    for (size_t i = 0; i < reduction_strips(trace->rows); i++) {
        const double x = axis_place(frame->x, reduction_strip(trace->rows, i, trace->channel)->first.x);
        shown += x >= 0 && x <= 1;
    }
    return fmax(fmin(most, 3 * width / (double)shown), frame->width * 0.6);
}

static void draw_stem(const struct frame *frame, struct vertex vertex)
{
    const double base = fmin(fmax(frame_y(frame, 0), frame->box.bottom), frame->box.top);
    const bool decibel = !strcmp(frame->y->unit, "dB");
    double x0 = frame_x(frame, vertex.x), x1 = x0, y0 = decibel ? frame->box.bottom : base, y1 = frame_y(frame, vertex.y);
    const bool below = decibel && y1 <= frame->box.bottom;
    if (!below && line_clip(&frame->box, &x0, &y0, &x1, &y1))
        canvas_line(frame->canvas, x0, y0, x1, y1);
}

static void draw_points(const struct frame *frame, const struct trace *trace, enum mark mark, bool stems)
{
    const double radius = mark_radius(frame, trace);
    for (size_t i = 0; i < reduction_strips(trace->rows); i++) {
        const struct strip *strip = reduction_strip(trace->rows, i, trace->channel);
        const struct vertex vertices[4] = { strip->first, strip->last, strip->low, strip->high };
        for (int k = 0; k < (strip->rows < 3 ? (int)strip->rows : 4); k++) {
            const double x = frame_x(frame, vertices[k].x), y = frame_y(frame, vertices[k].y);
            if (stems && axis_has_no_stem(frame->y, vertices[k].y))
                continue;
            if (stems)
                draw_stem(frame, vertices[k]);
            if (in_box(&frame->box, x, y))
                mark_draw(frame->canvas, mark, x, y, radius);
        }
    }
}

enum { TAGS = 4 };

static bool in_band(const struct bands *bands, double x)
{
    size_t i = 0;
    while (i + 1 < bands->count && bands->at[i + 1].x <= x)
        i++;
    return bands->count && bands->at[i].dense;
}

/* A mark on a little paper. */
static void put_tag(const struct frame *frame, const struct look *look, double x, double y)
{
    const double radius = MARK * frame->font;
    if (!in_box(&frame->box, x, y))
        return;
    canvas_pen(frame->canvas, PAPER, frame->width);
    mark_draw(frame->canvas, look->mark, x, y, radius + 0.4 * frame->width);
    canvas_pen(frame->canvas, look->colour, frame->width);
    mark_draw(frame->canvas, look->mark, x, y, radius);
}

void curve_tag(const struct frame *frame, const struct trace *trace, const struct bands *bands, double place)
{
    const struct look look = palette_look(trace->look);
    const double step = (frame->box.right - frame->box.left) / TAGS;
    double next = frame->box.left + place * step, x = INFINITY, y = 0;
    struct vertex path[STRIP_PATH], last = { INFINITY, 0, NAN }, between[VERTEX_STEPS];
    for (size_t i = 0; trace->style == TRACE_LINES && i < reduction_strips(trace->rows); i++) {
        const size_t points = strip_path(reduction_strip(trace->rows, i, trace->channel), path);
        for (size_t k = 0; k < points; last = path[k++])
            for (size_t j = 0, parts = vertex_between(&last, &path[k], between); j < parts; j++) {
                const double x0 = x, y0 = y;
                x = frame_x(frame, between[j].x);
                y = frame_y(frame, between[j].y);
                for (; x0 <= next && next <= x && next < frame->box.right; next += step)
                    if (!in_band(bands, next))
                        put_tag(frame, &look, next, x > x0 ? y0 + (next - x0) / (x - x0) * (y - y0) : y);
            }
    }
}

void curve_draw(const struct frame *frame, const struct trace *trace, struct bands *bands)
{
    const struct look look = palette_look(trace->look);
    if (trace->style == TRACE_LINES || trace->style == TRACE_JOINED) {
        bands_edge(bands, frame, trace);
        canvas_pen(frame->canvas, look.colour, frame->width);
        canvas_dash(frame->canvas, look.dash, DASH_UNIT * frame->width);
        draw_line(frame, trace, bands);
        draw_lone_point(frame, trace);
    }
    canvas_pen(frame->canvas, look.colour, frame->width);
    if (trace->style != TRACE_LINES)
        draw_points(frame, trace, look.mark, trace->style == TRACE_STEMS);
}
