/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The first period of a table, and whether the later ones are the same. */
#include <dutywright/pieces.h>
#include <dutywright/repeat.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Values that mean the same differ by what a simulator upstream may have rounded, of the channel's range. */
static const double VALUE_SLACK = 1e-9;
/* Slopes have 8 digits: of the largest, one more or less in the last, where the first is a 1. */
static const double SLOPE_SLACK = 2e-7;

struct rows {
    double *values;          /* [room x columns] */
    size_t count, room;
};

struct dw_repeat {
    struct dw_reader *reader;
    const char *wanted;      /* what needs it, for messages */
    size_t columns;
    double period;
    struct rows read;        /* the period, and the first row after it where one was read */
    size_t given;
    struct rows lap;         /* the period alone */
    double *low, *high;      /* [columns] of each channel in the lap */
    double *least, *most;    /* [columns] around the instant compared */
    double *between;         /* [columns] */
    size_t near;             /* row of the lap at which the last comparison began */
    const size_t *compared;  /* [compared_count]; NULL: all */
    size_t *slope;           /* [columns], of each one's slope; 0: none */
    size_t compared_count;
};

static enum dw_status keep(struct dw_repeat *r, struct rows *rows, const double *row, size_t count, struct dw_error *error)
{
    if (!rows->values || rows->count + count > rows->room) {
        const size_t room = 2 * (rows->count + count) + 64;
        double *grown = realloc(rows->values, room * r->columns * sizeof *grown);
        if (!grown) {
            dw_error_set(error, DW_NO_MEMORY, 0, "out of memory: one period is kept, so far %zu rows", rows->count);
            return DW_NO_MEMORY;
        }
        rows->values = grown;
        rows->room = room;
    }
    memcpy(rows->values + rows->count * r->columns, row, count * r->columns * sizeof *row);
    rows->count += count;
    return DW_OK;
}

/* ---- the first period ---- */

/* The block's rows that the lap has not. */
static enum dw_status add_block(struct dw_repeat *r, const struct dw_pieces *pieces, const struct dw_block *block, struct dw_error *error)
{
    const double *before = r->lap.count ? NULL : dw_pieces_before(pieces);
    enum dw_status status = before ? keep(r, &r->lap, before, 1, error) : DW_OK;
    const size_t known = !block->passed && !block->jump;
    /* unrun: passed-on */
    return status ? status : keep(r, &r->lap, block->rows + known * r->columns, block->count - known, error);
}

/* Takes rows until the period's end is passed. Boundary 0 is the first row. */
static enum dw_status read_period(struct dw_repeat *r, struct dw_pieces *pieces, struct dw_error *error)
{
    const struct dw_block *block;
    const double *row;
    enum dw_status status = DW_OK;
    /* unrun: passed-on */
    while (!status && !(status = dw_reader_row(r->reader, &row, error)) && !(status = keep(r, &r->read, row, 1, error))) {
        dw_pieces_put(pieces, row, 1);
        while (!(status = dw_pieces_next(pieces, &block, error)) && !(status = add_block(r, pieces, block, error)))
            if (block->ends) {
                r->lap.values[(r->lap.count - 1) * r->columns] = block->end[0].at;
                return DW_OK;
            }
        status = status == DW_END ? DW_OK : status;
    }
    return status;
}

static enum dw_status find_period(struct dw_repeat *r, struct dw_error *error)
{
    const double *row;
    enum dw_status status = dw_reader_row(r->reader, &row, error);
    if (!status)
        status = keep(r, &r->read, row, 1, error);
    if (!status) {
        const struct dw_pieces_plan plan = { .columns = r->columns, .slope = r->slope, .clocks = 1, .place = dw_reader_name(r->reader), .clock = { {
            .period = r->period, .origin = row[0], .from = -INFINITY, .to = INFINITY, .keep = INFINITY } } };
        struct dw_pieces *pieces = dw_pieces_new(&plan, error);
        if (!pieces)
            return error->status;
        const struct dw_block *block;
        dw_pieces_put(pieces, row, 1);
        status = dw_pieces_next(pieces, &block, error);
        if (status == DW_END)  /* one row is no piece */
            status = read_period(r, pieces, error);
        dw_pieces_free(pieces);
    }
    if (status != DW_END)
        return status;
    const double passed = r->read.count ? r->read.values[(r->read.count - 1) * r->columns] - r->read.values[0] : 0;
    return dw_error_set(error, DW_BAD_INPUT, 0, "%s: %s needs one whole period of %g s; the table ends after %g s",
                        dw_reader_name(r->reader), r->wanted, r->period, passed);
}

static void find_ranges(struct dw_repeat *r)
{
    for (size_t i = 0; i < r->columns; i++) {
        r->low[i] = INFINITY;
        r->high[i] = -INFINITY;
        for (size_t k = 0; k < r->lap.count; k++) {
            r->low[i] = fmin(r->low[i], r->lap.values[k * r->columns + i]);
            r->high[i] = fmax(r->high[i], r->lap.values[k * r->columns + i]);
        }
    }
}

struct dw_repeat *dw_repeat_new(struct dw_reader *reader, const char *wanted, struct dw_error *error)
{
    const double period = dw_header_facts(dw_reader_header(reader))->period;
    struct dw_error own = { .status = DW_OK };
    error = error ? error : &own;
    if (period == 0) {
        dw_error_set(error, DW_BAD_INPUT, 0, "%s: %s needs a table that repeats: its header has no period", dw_reader_name(reader), wanted);
        return NULL;
    }
    struct dw_repeat *r = calloc(1, sizeof *r);
    if (!r) {
        dw_no_memory(error);
        return NULL;
    }
    r->reader = reader;
    r->wanted = wanted;
    r->columns = dw_header_columns(dw_reader_header(reader));
    r->period = period;
    r->low = calloc(5 * r->columns, sizeof *r->low);
    r->slope = calloc(r->columns, sizeof *r->slope);
    if (!r->low || !r->slope)
        dw_no_memory(error);
    else
        dw_header_slopes(dw_reader_header(reader), r->slope);
    if (!r->low || !r->slope || find_period(r, error)) {
        dw_repeat_free(r);
        return NULL;
    }
    r->high = r->low + r->columns;
    r->least = r->high + r->columns;
    r->most = r->least + r->columns;
    r->between = r->most + r->columns;
    find_ranges(r);
    return r;
}

void dw_repeat_free(struct dw_repeat *r)
{
    if (!r)
        return;
    free(r->read.values);
    free(r->lap.values);
    free(r->low);
    free(r->slope);
    free(r);
}

void dw_repeat_compare(struct dw_repeat *r, const size_t *columns, size_t count)
{
    r->compared = columns;
    r->compared_count = count;
}

double dw_repeat_period(const struct dw_repeat *r)
{
    return r->period;
}

const double *dw_repeat_lap(const struct dw_repeat *r, size_t *count)
{
    *count = r->lap.count;
    return r->lap.values;
}

/* ---- the later ones ---- */

static double into_lap(const struct dw_repeat *r, size_t k)
{
    return r->lap.values[k * r->columns] - r->lap.values[0];
}

static void widen(struct dw_repeat *r, const double *row)
{
    for (size_t i = 1; i < r->columns; i++) {
        r->least[i] = fmin(r->least[i], row[i]);
        r->most[i] = fmax(r->most[i], row[i]);
    }
}

/* Ranges of all channels in the lap over instants within `width` of `into`; a jump there is part of them. */
static void lap_ranges(struct dw_repeat *r, double into, double width)
{
    const size_t n = r->columns, last = r->lap.count - 1;
    for (size_t i = 1; i < n; i++) {
        r->least[i] = INFINITY;
        r->most[i] = -INFINITY;
    }
    for (size_t k = r->near; k < last && into_lap(r, k) <= into + width; k++)
        for (int side = -1; side <= 1 && into_lap(r, k + 1) >= into - width; side++) {  /* unrun: implied */
            const double *a = r->lap.values + k * n;
            dw_row_between(n, r->slope, a, a + n, r->lap.values[0] + into + side * width, r->between);
            widen(r, r->between);
        }
    if (into <= width || r->period - into <= width) {  /* the boundary: end and start meet here */
        widen(r, r->lap.values);
        widen(r, r->lap.values + last * n);
    }
}

/* Whether a column of a row is outside the ranges. */
static bool differs(const struct dw_repeat *r, size_t i, const double *row, const double *least, const double *most)
{
    const bool slope = r->slope[i - 1] == i;
    const double allowed = slope ? SLOPE_SLACK * fmax(fabs(r->low[i]), fabs(r->high[i])) : VALUE_SLACK * (r->high[i] - r->low[i]);
    return !(row[i] >= least[i] - allowed && row[i] <= most[i] + allowed);
}

/* The first compared column in which a row, or its slope, is outside the ranges; 0: none is. */
static size_t beyond(const struct dw_repeat *r, const double *row, const double *least, const double *most)
{
    for (size_t k = r->compared ? 0 : 1; k < (r->compared ? r->compared_count : r->columns); k++) {
        const size_t i = r->compared ? r->compared[k] : k;
        if (i && differs(r, i, row, least, most))
            return i;
        if (r->slope[i] && differs(r, r->slope[i], row, least, most))
            return r->slope[i];
    }
    return 0;
}

/* Whether a row of the lap stands there and is the same: mostly so, and quickly seen. */
static bool stands_there(const struct dw_repeat *r, const double *row, double into, double width)
{
    for (size_t k = r->near; k < r->lap.count && into_lap(r, k) <= into + width; k++) {
        const double *same = r->lap.values + k * r->columns;
        if (into_lap(r, k) >= into - width && !beyond(r, row, same, same))
            return true;
    }
    return false;
}

static enum dw_status compare(struct dw_repeat *r, const double *row, struct dw_error *error)
{
    const double start = r->lap.values[0], periods = floor((row[0] - start) / r->period);
    /* this row's instant and that of its fellow in the lap, each rounded upstream and here, and where the lap began */
    const double width = 4 * dw_time_slack(row[0]) + 2 * dw_time_slack(start);
    const double into = fmax(row[0] - dw_period_boundary(start, r->period, periods), 0);
    /* the lap is gone through again with each period: comparing costs no search */
    if (into_lap(r, r->near) >= into - width)
        r->near = 0;
    while (r->near + 2 < r->lap.count && into_lap(r, r->near + 1) < into - width)
        r->near++;
    if (stands_there(r, row, into, width))
        return DW_OK;
    lap_ranges(r, into, width);
    const size_t i = beyond(r, row, r->least, r->most);
    if (!i)
        return DW_OK;
    char place[DW_ERROR_TEXT / 2];
    dw_reader_place(r->reader, place, sizeof place);
    return dw_error_set(error, DW_BAD_INPUT, dw_reader_line(r->reader), "%s: the table does not repeat: '%s' is %.9g at %.9g s, in its "
                        "first period %.9g; a steady start needs periods that are equal", place,
                        dw_header_column(dw_reader_header(r->reader), i).name, row[i], row[0],
                        row[i] < r->least[i] ? r->least[i] : r->most[i]);
}

enum dw_status dw_repeat_row(struct dw_repeat *r, const double **row, struct dw_error *error)
{
    if (r->given < r->read.count) {
        *row = r->read.values + r->given++ * r->columns;
        return DW_OK;
    }
    const enum dw_status status = dw_reader_row(r->reader, row, error);
    return status ? status : compare(r, *row, error);
}
