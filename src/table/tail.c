/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The last whole periods of a table whose end is not known before it comes. */
#include "splice_inner.h"
#include <stdlib.h>
#include <string.h>

struct dw_tail {
    size_t columns;
    double origin, period;
    unsigned long long periods;
    double *rows;         /* [room x columns], those from first on are kept */
    size_t first, count, room;
    double start;         /* time of the table's first row */
    double *chosen;       /* what dw_tail_finish gives */
};

struct dw_tail *dw_tail_new(size_t columns, double origin, double period, unsigned long long periods,
                            struct dw_error *error)
{
    if (!(period > 0) || !isfinite(period) || !isfinite(origin) || columns < 2 || !periods) {
        dw_error_set(error, DW_BAD_USE, 0, "the last whole periods: there is one or more, each longer than zero");
        return NULL;
    }
    struct dw_tail *tail = calloc(1, sizeof *tail);
    if (!tail) {
        dw_no_memory(error);
        return NULL;
    }
    *tail = (struct dw_tail){ .columns = columns, .origin = origin, .period = period, .periods = periods };
    return tail;
}

void dw_tail_free(struct dw_tail *tail)
{
    if (!tail)
        return;
    free(tail->rows);
    free(tail->chosen);
    free(tail);
}

static const double *kept(const struct dw_tail *tail, size_t i)
{
    return tail->rows + (tail->first + i) * tail->columns;
}

/* Room for one row more: by moving where half of it lies before the first, so that each row moves once on average. */
static bool make_room(struct dw_tail *tail)
{
    if (tail->first + tail->count < tail->room)
        return true;
    if (tail->first > tail->count) {
        memcpy(tail->rows, kept(tail, 0), tail->count * tail->columns * sizeof *tail->rows);
        tail->first = 0;
        return true;
    }
    const size_t room = tail->room ? 2 * tail->room : 64;
    double *grown = realloc(tail->rows, room * tail->columns * sizeof *grown);
    if (!grown)
        return false;
    tail->rows = grown;
    tail->room = room;
    return true;
}

enum dw_status dw_tail_row(struct dw_tail *tail, const double *row, struct dw_error *error)
{
    if (!make_room(tail))
        return dw_no_memory(error);
    if (!tail->count)
        tail->start = row[0];
    memcpy(tail->rows + (tail->first + tail->count++) * tail->columns, row, tail->columns * sizeof *row);
    const double k = dw_period_index(tail->origin, tail->period, row[0], NULL) - (double)tail->periods;
    const double from = dw_period_boundary(tail->origin, tail->period, k);
    /* a row at or before the start is needed only if the next is behind it */
    while (tail->count > 1 && kept(tail, 1)[0] <= from) {
        tail->first++;
        tail->count--;
    }
    return DW_OK;
}

enum dw_status dw_tail_finish(struct dw_tail *tail, struct dw_rows *out, struct dw_error *error)
{
    *out = (struct dw_rows){ NULL, 0 };
    if (!tail->count)
        return dw_error_set(error, DW_BAD_INPUT, 0, "the last period of a table that has no rows");
    bool on;
    const double end = dw_period_index(tail->origin, tail->period, kept(tail, tail->count - 1)[0], NULL);
    double begin = dw_period_index(tail->origin, tail->period, tail->start, &on);
    begin += !on;
    if (!(end - begin >= (double)tail->periods))
        return dw_error_set(error, DW_BAD_INPUT, 0, "the last %llu whole period%s: the table holds %.0f of %g s",
                            tail->periods, tail->periods == 1 ? "" : "s", fmax(0, end - begin), tail->period);
    const double from = dw_period_boundary(tail->origin, tail->period, end - (double)tail->periods);
    const double to = dw_period_boundary(tail->origin, tail->period, end);
    if (!(from < to))
        return dw_error_set(error, DW_BAD_INPUT, 0, "a period of %g s is too short to be told apart at a time of %g s",
                            tail->period, to);
    struct dw_cut *cut = dw_cut_new(tail->columns, from, to, error);
    free(tail->chosen);
    tail->chosen = malloc((tail->count + 1) * tail->columns * sizeof *tail->chosen);
    enum dw_status status = !cut ? DW_NO_MEMORY : !tail->chosen ? dw_no_memory(error) : DW_OK;
    for (size_t i = 0; status == DW_OK && i < tail->count; i++) {
        struct dw_rows some;
        status = dw_cut_row(cut, kept(tail, i), &some, error);
        if (status == DW_OK)  /* unrun: passed-on */
            memcpy(tail->chosen + out->count * tail->columns, some.values,
                   some.count * tail->columns * sizeof *some.values);
        out->count += status == DW_OK ? some.count : 0;  /* unrun: passed-on */
    }
    if (status == DW_OK)
        status = dw_cut_finish(cut, error);
    dw_cut_free(cut);
    out->values = tail->chosen;
    return status;
}
