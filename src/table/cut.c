/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows between two times. */
#include "splice_inner.h"
#include <dutywright/value.h>
#include <stdlib.h>
#include <string.h>

struct dw_cut {
    size_t columns;
    double from, to;
    bool started, done;
    bool has_row;    /* before is a row */
    double *before;  /* [columns], the last row seen */
    double *out;     /* [2 x columns] */
};

struct dw_cut *dw_cut_new(size_t columns, double from, double to, struct dw_error *error)
{
    if (!(from < to) || columns < 2) {
        dw_error_set(error, DW_BAD_USE, 0, "a span ends after it begins, and a row has two columns or more");
        return NULL;
    }
    struct dw_cut *cut = calloc(1, sizeof *cut);
    if (cut) {
        *cut = (struct dw_cut){ .columns = columns, .from = from, .to = to, .started = from == -INFINITY };
        cut->before = calloc(columns, sizeof *cut->before);
        cut->out = calloc(2 * columns, sizeof *cut->out);
    }
    if (cut && cut->before && cut->out)
        return cut;
    dw_cut_free(cut);
    dw_no_memory(error);
    return NULL;
}

void dw_cut_free(struct dw_cut *cut)
{
    if (!cut)
        return;
    free(cut->before);
    free(cut->out);
    free(cut);
}

/* Where the line between two rows is at a time between theirs. */
static void between(const struct dw_cut *cut, const double *after, double time, double *out)
{
    const double share = (time - cut->before[0]) / (after[0] - cut->before[0]);
    out[0] = time;
    for (size_t i = 1; i < cut->columns; i++) {
        const double change = after[i] - cut->before[i];
        out[i] = isfinite(change) ? cut->before[i] + share * change : (1 - share) * cut->before[i] + share * after[i];
    }
}

static enum dw_status begins_early(const struct dw_cut *cut, double first, struct dw_error *error)
{
    char from[DW_NUMBER_SIZE], time[DW_NUMBER_SIZE];
    dw_number_print(from, cut->from);
    dw_number_print(time, first);
    return dw_error_set(error, DW_BAD_INPUT, 0, "the span begins at %s, but the table at %s", from, time);
}

enum dw_status dw_cut_row(struct dw_cut *cut, const double *row, struct dw_rows *out, struct dw_error *error)
{
    double *at = cut->out;
    const size_t size = cut->columns * sizeof *row;
    *out = (struct dw_rows){ cut->out, 0 };
    if (cut->done)
        return DW_OK;
    if (!cut->started && row[0] > cut->from && !times_meet(row[0], cut->from)) {
        if (!cut->has_row)
            return begins_early(cut, row[0], error);
        if (times_meet(cut->before[0], cut->from))
            memcpy(at, cut->before, size);
        else
            between(cut, row, cut->from, at);
        at += cut->columns;
        cut->started = true;
    }
    if (cut->started) {
        cut->done = row[0] > cut->to || times_meet(row[0], cut->to);
        if (row[0] > cut->to && !times_meet(row[0], cut->to)) {
            if (!cut->has_row)
                return dw_error_set(error, DW_BAD_INPUT, 0, "the span ends before the table begins");
            between(cut, row, cut->to, at);
        } else {
            memcpy(at, row, size);
        }
        at += cut->columns;
    }
    memcpy(cut->before, row, size);
    cut->has_row = true;
    out->count = (size_t)(at - cut->out) / cut->columns;
    return DW_OK;
}

enum dw_status dw_cut_finish(struct dw_cut *cut, struct dw_error *error)
{
    char time[DW_NUMBER_SIZE], last[DW_NUMBER_SIZE];
    if (cut->done || (cut->started && cut->to == INFINITY))
        return DW_OK;
    if (!cut->has_row)
        return dw_error_set(error, DW_BAD_INPUT, 0, "a span of a table that has no rows");
    dw_number_print(time, cut->started ? cut->to : cut->from);
    dw_number_print(last, cut->before[0]);
    return dw_error_set(error, DW_BAD_INPUT, 0, "the span %s at %s, but the table ends at %s",
                        cut->started ? "ends" : "begins", time, last);
}
