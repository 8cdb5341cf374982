/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "curve.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Columns of pixels are painted from their lowest to their highest value where so many stand side by side, each with more
 * rows than a strip keeps apart, each higher than a few line widths, neighbours at the same heights: a line to and fro
 * through them would only paint the same. */
enum { CROWDED_ROWS = 5, CROWDED_COLUMNS = 4 };
#define CROWDED_HEIGHT 3 /* line widths */

/* Beyond any page; keeps the arithmetic of clipping finite. */
#define FAR 1e9

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

static double pixel(double low, double high, double place)
{
    const double at = low + place * (high - low);
    return at >= -FAR && at <= FAR ? at : at > 0 ? FAR : -FAR; /* the logarithm of what is not above zero: down */
}

static double pixel_x(const struct frame *frame, double x)
{
    return pixel(frame->box.left, frame->box.right, axis_place(frame->x, x));
}

static double pixel_y(const struct frame *frame, double y)
{
    return pixel(frame->box.bottom, frame->box.top, axis_place(frame->y, y));
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

static void pencil_to_vertex(struct pencil *pencil, struct vertex vertex)
{
    if (pencil->frame->x->logarithmic && !(vertex.x > 0)) {
        pencil_lift(pencil); /* infinitely far to the left */
        return;
    }
    pencil_to(pencil, pixel_x(pencil->frame, vertex.x), pixel_y(pencil->frame, vertex.y));
}

/* Through what is kept of a strip, in the order in which it came. */
static void pencil_through(struct pencil *pencil, const struct strip *strip)
{
    const bool low_first = strip->low.x < strip->high.x || (strip->low.x == strip->high.x && strip->first.y == strip->low.y);
    const struct vertex low[2] = { strip->low, { strip->low_until, strip->low.y } };
    const struct vertex high[2] = { strip->high, { strip->high_until, strip->high.y } };
    const struct vertex *one = low_first ? low : high, *other = low_first ? high : low;
    pencil_to_vertex(pencil, strip->first);
    if (strip->rows > 2)
        for (int i = 0, k = 0; i + k < 4;) /* merged by x; at a jump the side that came first */
            pencil_to_vertex(pencil, k == 2 || (i < 2 && one[i].x <= other[k].x) ? one[i++] : other[k++]);
    if (strip->rows > 1)
        pencil_to_vertex(pencil, strip->last);
}

/* ---- crowded columns: an area instead of thousands of strokes over each other ---- */

struct column {
    size_t strip;  /* the first that begins in it */
    struct strip joined;
    bool crowded;
};

struct columns {
    size_t count;
    struct column *at;
    double (*outline)[2];  /* room for [4 x count] */
};

static void columns_free(struct columns *columns)
{
    free(columns->at);
    free(columns->outline);
}

static double height_of(const struct frame *frame, const struct strip *strip)
{
    const double low = fmax(pixel_y(frame, strip->low.y), frame->box.bottom);
    const double high = fmin(pixel_y(frame, strip->high.y), frame->box.top);
    return high - low;
}

/* Whether a column reaches over half of what the one before it reaches over: not so on a steep slope. */
static bool reaches_over(const struct frame *frame, const struct strip *strip, const struct strip *before)
{
    const struct strip shared = { .low = strip->low.y > before->low.y ? strip->low : before->low,
                                  .high = strip->high.y < before->high.y ? strip->high : before->high };
    return height_of(frame, &shared) > 0.5 * height_of(frame, before);
}

/* Joins the strips that begin in one column of pixels, and finds the crowded ones. */
static bool columns_make(struct columns *columns, const struct frame *frame, const struct trace *trace)
{
    const size_t strips = reduction_strips(trace->rows);
    double place = 0;
    *columns = (struct columns){ 0, malloc((strips + 1) * sizeof *columns->at), NULL };
    columns->outline = malloc(4 * (strips + 1) * sizeof *columns->outline);
    if (!columns->at || !columns->outline)
        return false;
    for (size_t i = 0; i < strips; i++) {
        const struct strip *strip = reduction_strip(trace->rows, i, trace->channel);
        const double here = floor(pixel_x(frame, strip->first.x));
        if (i && here == place)
            strip_join(&columns->at[columns->count - 1].joined, strip);
        else
            columns->at[columns->count++] = (struct column){ i, *strip, false };
        place = here;
    }
    const struct strip *joined_before = NULL;
    for (size_t i = 0, run = 0; i < columns->count; i++) {
        const struct strip *joined = &columns->at[i].joined;
        const bool full = joined->rows >= CROWDED_ROWS && height_of(frame, joined) > CROWDED_HEIGHT * frame->width;
        run = !full ? 0 : run && reaches_over(frame, joined, joined_before) ? run + 1 : 1;
        joined_before = joined;
        for (size_t k = 0; k < CROWDED_COLUMNS && run >= CROWDED_COLUMNS; k++)
            columns->at[i - k].crowded = true;
    }
    return true;
}

static double column_edge(const struct columns *columns, const struct frame *frame, size_t i, size_t to)
{
    const double left = floor(pixel_x(frame, columns->at[i < to ? i : i - 1].joined.first.x));
    return fmin(fmax(left + (i < to ? 0 : 1), frame->box.left), frame->box.right);
}

/* Paints crowded columns from..to - 1, each as wide as it is. */
static void paint_columns(const struct columns *columns, const struct frame *frame, size_t from, size_t to)
{
    const size_t points = 4 * (to - from);
    double(*outline)[2] = columns->outline;
    for (size_t i = from, k = 0; i < to; i++)
        for (size_t side = 0; side < 2; side++, k++) {
            const struct strip *strip = &columns->at[i].joined;
            outline[k][0] = outline[points - 1 - k][0] = column_edge(columns, frame, i + side, to);
            outline[k][1] = fmin(pixel_y(frame, strip->high.y), frame->box.top);
            outline[points - 1 - k][1] = fmax(pixel_y(frame, strip->low.y), frame->box.bottom);
        }
    canvas_area(frame->canvas, (const double(*)[2])outline, points);
    canvas_move(frame->canvas, outline[0][0], outline[0][1]);
    for (size_t i = 1; i < points; i++)
        canvas_draw(frame->canvas, outline[i][0], outline[i][1]);
    canvas_draw(frame->canvas, outline[0][0], outline[0][1]);
    canvas_stroke(frame->canvas);
}

static size_t end_of_run(const struct columns *columns, size_t from)
{
    size_t to = from;
    while (to < columns->count && columns->at[to].crowded == columns->at[from].crowded)
        to++;
    return to;
}

static void draw_areas(const struct frame *frame, const struct columns *columns)
{
    for (size_t from = 0, to; from < columns->count; from = to) {
        to = end_of_run(columns, from);
        if (columns->at[from].crowded)
            paint_columns(columns, frame, from, to);
    }
}

static void draw_line(const struct frame *frame, const struct trace *trace, const struct columns *columns)
{
    struct pencil pencil = { .frame = frame };
    for (size_t from = 0, to; from < columns->count; from = to) {
        to = end_of_run(columns, from);
        if (columns->at[from].crowded) {
            pencil_to_vertex(&pencil, columns->at[from].joined.first);
            pencil_lift(&pencil);
            pencil_to_vertex(&pencil, columns->at[to - 1].joined.last);
            continue;
        }
        const size_t end = to < columns->count ? columns->at[to].strip : reduction_strips(trace->rows);
        for (size_t i = columns->at[from].strip; i < end; i++)
            pencil_through(&pencil, reduction_strip(trace->rows, i, trace->channel));
    }
    pencil_lift(&pencil);
}

/* A single row, or many at one place, has no line to be seen by. */
static void draw_lone_point(const struct frame *frame, const struct trace *trace)
{
    if (reduction_strips(trace->rows) != 1)
        return;
    const struct strip *strip = reduction_strip(trace->rows, 0, trace->channel);
    const double x = pixel_x(frame, strip->first.x), y = pixel_y(frame, strip->last.y);
    if (in_box(&frame->box, x, y))
        canvas_disc(frame->canvas, x, y, MARK * frame->font);
}

double curve_cover(const struct frame *frame, const struct trace *trace)
{
    const double area = (frame->box.right - frame->box.left) * (frame->box.top - frame->box.bottom);
    double up = 0;
    if (trace->style == TRACE_STEMS || trace->style == TRACE_MARKS)
        return 0;
    for (size_t i = 0; i < reduction_strips(trace->rows); i++) {
        const struct strip *strip = reduction_strip(trace->rows, i, trace->channel);
        const double from = i ? pixel_y(frame, reduction_strip(trace->rows, i - 1, trace->channel)->last.y) : 0;
        up += height_of(frame, strip);
        if (i && strip->rows == 1)
            up += fabs(pixel_y(frame, strip->first.y) - from);
    }
    return up / area;
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
    const double base = fmin(fmax(pixel_y(frame, 0), frame->box.bottom), frame->box.top);
    const bool decibel = !strcmp(frame->y->unit, "dB");
    double x0 = pixel_x(frame, vertex.x), x1 = x0, y0 = decibel ? frame->box.bottom : base, y1 = pixel_y(frame, vertex.y);
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
            const double x = pixel_x(frame, vertices[k].x), y = pixel_y(frame, vertices[k].y);
            if (stems)
                draw_stem(frame, vertices[k]);
            if (in_box(&frame->box, x, y))
                mark_draw(frame->canvas, mark, x, y, radius);
        }
    }
}

enum dw_status curve_draw(const struct frame *frame, const struct trace *trace, struct dw_error *error)
{
    const struct look look = palette_look(trace->look);
    canvas_pen(frame->canvas, look.colour, frame->width);
    if (trace->style == TRACE_LINES || trace->style == TRACE_JOINED) {
        struct columns columns;
        const bool made = columns_make(&columns, frame, trace);
        if (made) {
            draw_areas(frame, &columns);
            canvas_dash(frame->canvas, look.dash, DASH_UNIT * frame->width);
            draw_line(frame, trace, &columns);
            canvas_dash(frame->canvas, 0, 1);
            draw_lone_point(frame, trace);
        }
        columns_free(&columns);
        if (!made)
            return dw_error_set(error, DW_NO_MEMORY, 0, "%s", dw_status_text(DW_NO_MEMORY));
    }
    if (trace->style != TRACE_LINES)
        draw_points(frame, trace, look.mark, trace->style == TRACE_STEMS);
    return DW_OK;
}
