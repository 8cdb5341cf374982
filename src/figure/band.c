/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "curve.h"
#include <math.h>
#include <stdlib.h>

#define FAR 1e9  /* pixels: beyond any page; keeps the arithmetic of clipping finite */

static double pixel(double low, double high, double place)
{
    const double at = low + place * (high - low);
    return at >= -FAR && at <= FAR ? at : at > 0 ? FAR : -FAR; /* the logarithm of what is not above zero: down */
}

double frame_x(const struct frame *frame, double x)
{
    return pixel(frame->box.left, frame->box.right, axis_place(frame->x, x));
}

double frame_y(const struct frame *frame, double y)
{
    return pixel(frame->box.bottom, frame->box.top, axis_place(frame->y, y));
}

/* A column is dense where, within NEAR on either side of it, the line goes to and fro at least twice over what it reaches,
 * and reaches over more than a few line widths: two thirds of the paper would be painted even by thin strokes. A steep slope
 * goes over it once, a lone pulse or peak twice. A band is at least so many line widths long. */
#define CLIMBS 4
#define NEAR 1.25      /* line widths */
#define LEAST_HEIGHT 2 /* line widths; less is a thick line */
#define TALL 5         /* line widths: so high in one place at least, so that a thick line that swells stays one */
#define LEAST_LENGTH 4 /* line widths */
#define WIDEN 0.7      /* line widths: a column reaches as far as the strokes over it do, at least one whole pulse */

#define TINT 0.4  /* share of the colour; the rest is paper */
#define EDGE 0.5  /* line widths */

void bands_free(struct bands *bands)
{
    free(bands->at);
    free(bands->outline);
    *bands = (struct bands){ 0 };
}

static double height_in(const struct box *box, const struct frame *frame, double y)
{
    return fmin(fmax(frame_y(frame, y), box->bottom), box->top);
}

/* Puts every strip into the column of pixels in which it begins. */
static void fill_columns(struct bands *bands, const struct frame *frame, const struct trace *trace)
{
    double before = 0;
    for (size_t i = 0; i < reduction_strips(trace->rows); i++) {
        const struct strip *strip = reduction_strip(trace->rows, i, trace->channel);
        const double x = floor(frame_x(frame, strip->first.x));
        struct vertex path[STRIP_PATH];
        const size_t points = strip_path(strip, path);
        if (!bands->count || x != bands->at[bands->count - 1].x)
            bands->at[bands->count++] = (struct column){ i, x, 0, INFINITY, -INFINITY, false, false };
        struct column *column = &bands->at[bands->count - 1];
        for (size_t k = 0; k < points; k++) {
            const double y = height_in(&frame->box, frame, path[k].y);
            column->climb += i + k ? fabs(y - before) : 0;
            column->low = fmin(column->low, y);
            column->high = fmax(column->high, y);
            before = y;
        }
    }
}

/* What the columns within `reach` pixels of one do together. */
static struct column around(const struct bands *bands, size_t i, double reach)
{
    struct column all = bands->at[i];
    for (size_t k = i; k > 0 && all.x - bands->at[k - 1].x <= reach; k--) {
        all.climb += bands->at[k - 1].climb;
        all.low = fmin(all.low, bands->at[k - 1].low);
        all.high = fmax(all.high, bands->at[k - 1].high);
    }
    for (size_t k = i + 1; k < bands->count && bands->at[k].x - all.x <= reach; k++) {
        all.climb += bands->at[k].climb;
        all.low = fmin(all.low, bands->at[k].low);
        all.high = fmax(all.high, bands->at[k].high);
    }
    return all;
}

size_t bands_run(const struct bands *bands, size_t from)
{
    size_t to = from;
    while (to < bands->count && bands->at[to].dense == bands->at[from].dense)
        to++;
    return to;
}

static void mark_dense(struct bands *bands, double width)
{
    size_t first = bands->count, last = bands->count;
    for (size_t i = 0; i < bands->count; i++) {
        const struct column all = around(bands, i, NEAR * width);
        bands->at[i].dense = all.high - all.low > LEAST_HEIGHT * width && all.climb >= CLIMBS * (all.high - all.low);
        bands->at[i].tall = all.high - all.low > TALL * width;
        last = bands->at[i].dense ? i : last;
        first = first == bands->count ? last : first;
    }
    /* at the ends of the trace there is less on one side */
    for (size_t i = 0; first < bands->count && i < bands->count; i++)
        if ((i < first && bands->at[first].x - bands->at[0].x <= NEAR * width)
            || (i > last && bands->at[bands->count - 1].x - bands->at[last].x <= NEAR * width))
            bands->at[i].dense = true;
    for (size_t from = 0, to; from < bands->count; from = to) {
        to = bands_run(bands, from);
        const bool longer = bands->at[to - 1].x - bands->at[from].x >= LEAST_LENGTH * width;
        bool tall = false;
        for (size_t i = from; i < to; i++)
            tall = tall || bands->at[i].tall;
        for (size_t i = from; i < to && !(longer && tall); i++)
            bands->at[i].dense = false;
        bands->any = bands->any || bands->at[from].dense;
    }
}

static bool widen(struct bands *bands, double width)
{
    double (*reach)[2] = malloc(bands->count * sizeof *reach);
    if (!reach)
        return false;
    for (size_t i = 0; i < bands->count; i++) {
        const struct column all = around(bands, i, WIDEN * width);
        reach[i][0] = all.low;
        reach[i][1] = all.high;
    }
    for (size_t i = 0; i < bands->count; i++)
        if (bands->at[i].dense) {
            /* NOLINTNEXTLINE(clang-analyzer-core.uninitialized.Assign): set above for each column */
            bands->at[i].low = reach[i][0];
            bands->at[i].high = reach[i][1];
        }
    free(reach);
    return true;
}

static void sum_cover(struct bands *bands, const struct frame *frame)
{
    const double area = (frame->box.right - frame->box.left) * (frame->box.top - frame->box.bottom);
    double climb = 0;
    for (size_t i = 0; i < bands->count; i++)
        climb += bands->at[i].dense ? 0 : bands->at[i].climb;
    bands->cover = climb / area;
}

enum dw_status bands_find(struct bands *bands, const struct frame *frame, const struct trace *trace, struct dw_error *error)
{
    *bands = (struct bands){ 0 };
    if (trace->style == TRACE_STEMS || trace->style == TRACE_MARKS)
        return DW_OK;
    bands->at = calloc(reduction_strips(trace->rows) + 1, sizeof *bands->at);
    if (bands->at) {
        fill_columns(bands, frame, trace);
        mark_dense(bands, frame->width);
        sum_cover(bands, frame);
    }
    if (bands->any)
        bands->outline = malloc(2 * (bands->count + 2) * sizeof *bands->outline);
    if (!bands->at || (bands->any && (!bands->outline || !widen(bands, frame->width))))
        return dw_no_memory(error);
    return DW_OK;
}

/* ---- painting ---- */

/* Round the columns from..to - 1, through their middles: the upper edges from the left, the lower ones from the right.
 *   returns   points in bands->outline */
static size_t outline(struct bands *bands, const struct frame *frame, size_t from, size_t to)
{
    const size_t side = to - from + 2;
    for (size_t k = 0; k < 2 * side; k++) {
        const size_t along = k < side ? k : 2 * side - 1 - k;
        const struct column *column = &bands->at[along == 0 ? from : along == side - 1 ? to - 1 : from + along - 1];
        const double x = column->x + (along == 0 ? 0 : along == side - 1 ? 1 : 0.5);
        bands->outline[k][0] = fmin(fmax(x, frame->box.left), frame->box.right);
        bands->outline[k][1] = k < side ? column->high : column->low;
    }
    return 2 * side;
}

void bands_shade(struct bands *bands, const struct frame *frame, const struct trace *trace)
{
    canvas_pen(frame->canvas, palette_tint(palette_look(trace->look).colour, TINT), 0);
    for (size_t from = 0, to; from < bands->count; from = to) {
        to = bands_run(bands, from);
        if (bands->at[from].dense)
            canvas_area(frame->canvas, (const double(*)[2])bands->outline, outline(bands, frame, from, to));
    }
}

void bands_edge(struct bands *bands, const struct frame *frame, const struct trace *trace)
{
    canvas_pen(frame->canvas, palette_look(trace->look).colour, EDGE * frame->width);
    for (size_t from = 0, to; from < bands->count; from = to) {
        to = bands_run(bands, from);
        if (!bands->at[from].dense)
            continue;
        const size_t points = outline(bands, frame, from, to);
        canvas_move(frame->canvas, bands->outline[0][0], bands->outline[0][1]);
        for (size_t i = 1; i <= points; i++)
            canvas_draw(frame->canvas, bands->outline[i % points][0], bands->outline[i % points][1]);
        canvas_stroke(frame->canvas);
    }
}
