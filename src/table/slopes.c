/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Curves as straight lines, and straight lines as curves. */
#include "header_inner.h"
#include <dutywright/pieces.h>
#include <dutywright/value.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Rows to be given, which grow. */
struct grown_rows {
    double *values;
    size_t count, room;
};

/* Room for one row more; NULL: no memory. */
static double *next_row(struct grown_rows *rows, size_t columns)
{
    if (!rows->values || rows->count == rows->room) {
        const size_t room = 2 * rows->room + 16;
        double *grown = realloc(rows->values, room * columns * sizeof *grown);
        if (!grown)
            return NULL;
        rows->values = grown;
        rows->room = room;
    }
    return rows->values + rows->count++ * columns;
}

/* ---- curves as lines ---- */

/* Of a curve: what it ranged over in the present period of the carrier and the one before. */
struct curve_range {
    double low, high, low_before, high_before;
};

struct dw_lines {
    struct dw_header *header;   /* of the lines */
    size_t columns, *slope;     /* of a row that comes, and [columns] where the slopes stand */
    size_t given, *column;      /* of a row given, and [given] where its values stand */
    double share;
    double period, window_end;  /* s; 0: no period is known */
    struct curve_range *range;  /* [columns] */
    double *last, *between;     /* [columns] the row before, and one put in */
    bool any;
    struct grown_rows out;
};

/* What the header of the lines says beyond that of the curves. */
static enum dw_status widen_accuracy(const struct dw_lines *lines, const struct dw_header *header, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (size_t i = 1; status == DW_OK && i < lines->given; i++) {
        const struct dw_channel_facts *facts = dw_header_channel_facts(header, lines->column[i]);
        if (!lines->slope[lines->column[i]])
            continue;
        const double share = lines->share + (isnan(facts->share) ? 0 : facts->share);
        status = dw_header_set_accuracy(lines->header, i, NAN, dw_number_round(share, 8), error);
    }
    return status;
}

static bool make_lines(struct dw_lines *lines, const struct dw_header *header, double share, struct dw_error *error)
{
    const struct dw_facts *facts = dw_header_facts(header);
    lines->columns = dw_header_columns(header);
    lines->share = share;
    lines->period = facts->carrier_period > 0 ? facts->carrier_period : facts->period;
    lines->slope = calloc(2 * lines->columns, sizeof *lines->slope);
    lines->range = calloc(lines->columns, sizeof *lines->range);
    lines->last = calloc(2 * lines->columns, sizeof *lines->last);
    if (!lines->slope || !lines->range || !lines->last) {
        dw_no_memory(error);
        return false;
    }
    lines->between = lines->last + lines->columns;
    lines->column = lines->slope + lines->columns;
    dw_header_slopes(header, lines->slope);
    for (size_t i = 0; i < lines->columns; i++)
        if (!dw_header_is_slope(header, i))
            lines->column[lines->given++] = i;
    lines->header = dw_header_without_slopes(header, error);
    return lines->header && widen_accuracy(lines, header, error) == DW_OK;
}

struct dw_lines *dw_lines_new(const struct dw_header *header, double share, struct dw_error *error)
{
    if (!(share > 0 && share < 1)) {
        dw_error_set(error, DW_BAD_USE, 0, "lines within a share of %g: it lies between 0 and 1", share);
        return NULL;
    }
    struct dw_lines *lines = calloc(1, sizeof *lines);
    if (!lines)
        dw_no_memory(error);
    else if (make_lines(lines, header, share, error))
        return lines;
    dw_lines_free(lines);
    return NULL;
}

void dw_lines_free(struct dw_lines *lines)
{
    if (!lines)
        return;
    dw_header_free(lines->header);
    free(lines->slope);
    free(lines->range);
    free(lines->last);
    free(lines->out.values);
    free(lines);
}

const struct dw_header *dw_lines_header(const struct dw_lines *lines)
{
    return lines->header;
}

static void widen(struct curve_range *range, double value)
{
    range->low = fmin(range->low, value);
    range->high = fmax(range->high, value);
}

/* The next piece counts into the ranges with its control points, between which the cubic lies (Bernstein's form). */
static void range_of_piece(struct dw_lines *lines, const double *a, const double *b)
{
    const double h = b[0] - a[0];
    const bool over = lines->period > 0 && b[0] > lines->window_end;
    if (over)
        lines->window_end = fmax(lines->window_end + lines->period, b[0]);
    for (size_t i = 1; i < lines->columns; i++) {
        struct curve_range *range = &lines->range[i];
        const size_t s = lines->slope[i];
        if (!s)
            continue;
        if (over)
            *range = (struct curve_range){ a[i], a[i], range->low, range->high };
        widen(range, a[i]);
        widen(range, b[i]);
        widen(range, a[i] + h * a[s] / 3);
        widen(range, b[i] - h * b[s] / 3);
    }
}

/* How far a line may go from a place in the piece: a line over d is off by d^2/8 of the largest second derivative, which on a cubic
 * is that of one of its ends. */
static double reach(const struct dw_lines *lines, const double *a, const double *b, double from)
{
    const double h = b[0] - a[0];
    double step = h - from;
    for (size_t i = 1; i < lines->columns; i++) {
        const struct curve_range *range = &lines->range[i];
        const size_t s = lines->slope[i];
        if (!s)
            continue;
        const double rise = (b[i] - a[i]) / h, bend = 6 * (a[s] + b[s] - 2 * rise) / (h * h);
        const double now = (6 * rise - 4 * a[s] - 2 * b[s]) / h + bend * from;
        const double off = 8 * lines->share * (fmax(range->high, range->high_before) - fmin(range->low, range->low_before));
        if (now != 0)
            step = fmin(step, sqrt(off / fabs(now)));
        if (now + bend * step != 0)
            step = fmin(step, sqrt(off / fabs(now + bend * step)));
    }
    return step;
}

static enum dw_status give(struct dw_lines *lines, const double *row, struct dw_error *error)
{
    const size_t count = lines->out.count;
    double *out = next_row(&lines->out, lines->given);
    if (!out)
        return dw_no_memory(error);
    for (size_t i = 0; i < lines->given; i++)
        out[i] = row[lines->column[i]];
    /* where only a slope changed, one row is left */
    if (count > 0 && !memcmp(out, out - lines->given, lines->given * sizeof *out))
        lines->out.count--;
    return DW_OK;
}

static enum dw_status add_line_row(struct dw_lines *lines, const double *row, struct dw_error *error)
{
    const double *last = lines->last, length = row[0] - last[0];
    enum dw_status status = DW_OK;
    if (!lines->any)
        for (size_t i = 0; i < lines->columns; i++)
            lines->range[i] = (struct curve_range){ row[i], row[i], row[i], row[i] };
    if (!lines->any)
        lines->window_end = row[0] + lines->period;
    if (lines->any && length > 0) {
        range_of_piece(lines, last, row);
        const double least = fmax(4 * dw_time_slack(row[0]), length * 1e-7);
        /* unrun: passed-on */
        for (double at = fmax(reach(lines, last, row, 0), least); at < length - least && status == DW_OK;
             at += fmax(reach(lines, last, row, at), least)) {
            dw_row_between(lines->columns, lines->slope, last, row, last[0] + at, lines->between);
            status = give(lines, lines->between, error);
        }
    }
    lines->any = true;
    if (status == DW_OK)  /* unrun: passed-on */
        status = give(lines, row, error);
    memcpy(lines->last, row, lines->columns * sizeof *row);
    return status;
}

enum dw_status dw_lines_rows(struct dw_lines *lines, const double *values, size_t count, struct dw_rows *out,
                             struct dw_error *error)
{
    enum dw_status status = DW_OK;
    /* the last row given stays in front, to be compared with */
    const size_t kept = lines->out.count > 0;
    if (kept)
        memmove(lines->out.values, lines->out.values + (lines->out.count - 1) * lines->given, lines->given * sizeof *values);
    lines->out.count = kept;
    for (size_t k = 0; k < count && status == DW_OK; k++)  /* unrun: passed-on */
        status = add_line_row(lines, values + k * lines->columns, error);
    *out = (struct dw_rows){ lines->out.values ? lines->out.values + kept * lines->given : NULL, lines->out.count - kept };
    return status;
}

/* ---- lines as curves ---- */

struct dw_curves {
    size_t columns;      /* of a row given */
    size_t from_columns; /* of one that comes */
    size_t *from;        /* [columns] where the value comes from; 0 of a slope: there is none */
    size_t *slope;       /* [columns] slopes that are made; 0: none */
    double *last;        /* [columns] the row before; its made slopes are those of the piece behind it */
    bool any, ended;     /* a row has come; it ends a piece */
    struct grown_rows out;
};

static bool make_curves(struct dw_curves *curves, const struct dw_header *from, const struct dw_header *to, struct dw_error *error)
{
    curves->columns = dw_header_columns(to);
    curves->from_columns = dw_header_columns(from);
    curves->from = calloc(2 * curves->columns, sizeof *curves->from);
    curves->last = calloc(curves->columns, sizeof *curves->last);
    if (!curves->from || !curves->last) {
        dw_no_memory(error);
        return false;
    }
    curves->slope = curves->from + curves->columns;
    for (size_t i = 1; i < curves->columns; i++) {
        if (dw_header_is_slope(to, i))
            continue;
        const size_t at = curves->from[i] = dw_header_find(from, dw_header_column(to, i).name, error), s = dw_header_slope(to, i);
        if (!at)
            return false;
        if (s && !(curves->from[s] = dw_header_slope(from, at)))
            curves->slope[i] = s;
    }
    return true;
}

struct dw_curves *dw_curves_new(const struct dw_header *from, const struct dw_header *to, struct dw_error *error)
{
    struct dw_curves *curves = calloc(1, sizeof *curves);
    if (!curves)
        dw_no_memory(error);
    else if (make_curves(curves, from, to, error))
        return curves;
    dw_curves_free(curves);
    return NULL;
}

void dw_curves_free(struct dw_curves *curves)
{
    if (!curves)
        return;
    free(curves->from);
    free(curves->last);
    free(curves->out.values);
    free(curves);
}

static enum dw_status put(struct dw_curves *curves, struct dw_error *error)
{
    double *out = next_row(&curves->out, curves->columns);
    if (!out)
        return dw_no_memory(error);
    memcpy(out, curves->last, curves->columns * sizeof *out);
    return DW_OK;
}

/* Slopes of the piece that leads to a row; whether they are others than those before. */
static bool turn(struct dw_curves *curves, const double *row)
{
    bool turned = false;
    for (size_t i = 1; i < curves->columns; i++) {
        double *slope = &curves->last[curves->slope[i]];
        if (!curves->slope[i])
            continue;
        const double next = (row[curves->from[i]] - curves->last[i]) / (row[0] - curves->last[0]);
        const double finite = isfinite(next) ? next : 0;
        turned = turned || finite != *slope;
        *slope = finite;
    }
    return turned;
}

static enum dw_status add_curve_row(struct dw_curves *curves, const double *row, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    const bool piece = curves->any && row[0] > curves->last[0];
    if (curves->any && (curves->ended || !piece))
        status = put(curves, error);
    if (status == DW_OK && piece && (turn(curves, row) || !curves->ended))  /* unrun: passed-on */
        status = put(curves, error);
    for (size_t i = 0; i < curves->columns; i++)
        if (i == 0 || curves->from[i])
            curves->last[i] = row[curves->from[i]];
    for (size_t i = 1; i < curves->columns && !piece; i++)
        if (curves->slope[i])
            curves->last[curves->slope[i]] = 0;
    curves->any = true;
    curves->ended = piece;
    return status;
}

enum dw_status dw_curves_rows(struct dw_curves *curves, const double *values, size_t count, struct dw_rows *out,
                              struct dw_error *error)
{
    enum dw_status status = DW_OK;
    curves->out.count = 0;
    for (size_t k = 0; k < count && status == DW_OK; k++)
        status = add_curve_row(curves, values + k * curves->from_columns, error);
    *out = (struct dw_rows){ curves->out.values, curves->out.count };
    return status;
}

enum dw_status dw_curves_finish(struct dw_curves *curves, struct dw_rows *out, struct dw_error *error)
{
    curves->out.count = 0;
    const enum dw_status status = curves->any ? put(curves, error) : DW_OK;
    curves->any = false;
    *out = (struct dw_rows){ curves->out.values, curves->out.count };
    return status;
}
