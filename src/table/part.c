/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows between two times, or of the last whole periods. */
#include "table/splice_inner.h"
#include <dutywright/pieces.h>
#include <dutywright/value.h>
#include <stdlib.h>
#include <string.h>

/* A boundary of periods in the rows kept: those of the period before it end with one row, those after it begin with another where
 * a jump stands there. Rows are counted from the first that was ever kept. */
struct mark {
    size_t end, start;
    bool made;  /* the row was put in, and belongs to no table unless the part begins or ends there */
};

struct dw_part {
    struct dw_part_plan plan;
    struct dw_pieces *pieces;
    double *rows, *chosen;      /* [room x columns]; what dw_part_finish gives of periods */
    size_t count, room;         /* rows kept */
    size_t dropped;             /* of periods: rows before those kept */
    struct mark *mark;          /* of periods: the last boundaries, oldest first */
    size_t marks, mark_room;
    bool begun, open, fresh;    /* a block was seen; its rows are wanted; none was kept since the part began */
    bool done;
};

static enum dw_status refuse_plan(const struct dw_part_plan *plan, struct dw_error *error)
{
    if (plan->columns < 2)
        return dw_error_set(error, DW_BAD_USE, 0, "a row has two columns or more");
    if (plan->periods ? !(plan->period > 0) || !isfinite(plan->period) || !isfinite(plan->origin) : !(plan->from < plan->to))
        return dw_error_set(error, DW_BAD_USE, 0, plan->periods ? "the last whole periods: each is longer than zero"
                                                                : "a span ends after it begins");
    return DW_OK;
}

struct dw_part *dw_part_new(const struct dw_part_plan *plan, struct dw_error *error)
{
    if (refuse_plan(plan, error) != DW_OK)
        return NULL;
    struct dw_pieces_plan cut = { .columns = plan->columns, .slope = plan->slope, .clocks = 1,
                                  .clock = { { .from = plan->from, .to = plan->to } } };
    if (plan->periods)
        cut.clock[0] = (struct dw_clock){ .period = plan->period, .origin = plan->origin, .from = -INFINITY, .to = INFINITY,
                                          .keep = (double)plan->periods + 2 };
    struct dw_part *part = calloc(1, sizeof *part);
    if (!part) {
        dw_no_memory(error);
        return NULL;
    }
    part->plan = *plan;
    part->open = !plan->periods && plan->from == -INFINITY;
    part->pieces = dw_pieces_new(&cut, error);
    if (part->pieces)
        return part;
    dw_part_free(part);
    return NULL;
}

void dw_part_free(struct dw_part *part)
{
    if (!part)
        return;
    dw_pieces_free(part->pieces);
    free(part->rows);
    free(part->chosen);
    free(part->mark);
    free(part);
}

static enum dw_status keep(struct dw_part *part, const double *row, size_t rows, struct dw_error *error)
{
    const size_t columns = part->plan.columns;
    if (part->count + rows > part->room) {
        const size_t room = 2 * (part->count + rows) + 32;
        double *grown = realloc(part->rows, room * columns * sizeof *grown);
        if (!grown)
            return dw_no_memory(error);
        part->rows = grown;
        part->room = room;
    }
    memcpy(part->rows + part->count * columns, row, rows * columns * sizeof *row);
    part->count += rows;
    return DW_OK;
}

/* Rows before the oldest boundary go, once they are half of all: so each row moves once on average. */
static void drop_old(struct dw_part *part)
{
    const size_t columns = part->plan.columns, old = part->mark[0].end - part->dropped;
    if (2 * old < part->count)
        return;
    part->count -= old;
    part->dropped += old;
    memmove(part->rows, part->rows + old * columns, part->count * columns * sizeof *part->rows);
}

/* A boundary at the last row kept; where none was, the next row begins the period. */
static enum dw_status add_mark(struct dw_part *part, bool made, struct dw_error *error)
{
    const size_t wanted = part->plan.periods < (size_t)-2 ? (size_t)part->plan.periods + 1 : (size_t)-1;
    const size_t at = part->dropped + part->count - (part->count > 0);
    if (part->marks == wanted) {
        memmove(part->mark, part->mark + 1, --part->marks * sizeof *part->mark);
        drop_old(part);
    }
    if (part->marks == part->mark_room) {
        const size_t room = 2 * part->mark_room + 4;
        struct mark *grown = realloc(part->mark, room * sizeof *grown);
        if (!grown)
            return dw_no_memory(error);
        part->mark = grown;
        part->mark_room = room;
    }
    part->mark[part->marks++] = (struct mark){ at, at, made };
    return DW_OK;
}

static enum dw_status reach(struct dw_part *part, const struct dw_instant *instant, bool made, struct dw_error *error)
{
    if (!part->plan.periods) {
        part->open = part->fresh = instant->index == 0;
        part->done = !part->open;
        return DW_OK;
    }
    if (instant->stands_for > 1) {  /* many periods in one line: only those behind them can be the last */
        part->marks = 0;
        part->dropped = part->count = 0;
    }
    part->fresh = !part->open || instant->stands_for > 1;
    part->open = true;
    return add_mark(part, made, error);
}

/* How the table begins. */
static enum dw_status begin(struct dw_part *part, const struct dw_block *block, struct dw_error *error)
{
    const double *before = dw_pieces_before(part->pieces), first = dw_pieces_first(part->pieces)[0];
    part->begun = true;
    if (dw_pieces_missed(part->pieces, 0)) {
        char from[DW_NUMBER_SIZE], time[DW_NUMBER_SIZE];
        dw_number_print(from, part->plan.from);
        dw_number_print(time, first);
        return dw_error_set(error, DW_BAD_INPUT, 0, "the span begins at %s, but the table at %s", from, time);
    }
    if (!part->plan.periods && part->plan.to < first)
        return dw_error_set(error, DW_BAD_INPUT, 0, "the span ends before the table begins");
    return part->open && before && block->begins ? keep(part, before, 1, error) : DW_OK;
}

static enum dw_status take(struct dw_part *part, const struct dw_block *block, struct dw_error *error)
{
    const bool begins = !part->begun;
    enum dw_status status = begins ? begin(part, block, error) : DW_OK;
    if (status != DW_OK || part->done)
        return status;
    if (block->passed)
        return part->open && !part->fresh ? keep(part, block->rows, block->count, error) : DW_OK;
    if (begins && block->begins && !part->open)
        status = reach(part, block->begin, false, error);
    if (status == DW_OK && part->open) {
        const bool whole = part->fresh || block->jump;
        if (whole && block->begins && part->marks)
            part->mark[part->marks - 1].start = part->dropped + part->count;
        status = keep(part, block->rows + !whole * part->plan.columns, block->count - !whole, error);
        part->fresh = false;
    }
    return status == DW_OK && block->ends ? reach(part, block->end, block->made, error) : status;
}

enum dw_status dw_part_rows(struct dw_part *part, const double *rows, size_t count, struct dw_rows *out, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (!part->plan.periods)
        part->count = 0;
    dw_pieces_put(part->pieces, rows, count);
    for (const struct dw_block *block; status == DW_OK;)
        if ((status = dw_pieces_next(part->pieces, &block, error)) == DW_OK)
            status = take(part, block, error);
    *out = (struct dw_rows){ part->rows, part->plan.periods ? 0 : part->count };
    return status == DW_END ? DW_OK : status;
}

static enum dw_status finish_span(struct dw_part *part, struct dw_rows *out, struct dw_error *error)
{
    const double *last = dw_pieces_last(part->pieces), *before = dw_pieces_before(part->pieces);
    const double *beyond = dw_pieces_beyond(part->pieces);
    const bool started = part->done || (part->open && !part->fresh);
    part->count = 0;
    if (!last)
        return dw_error_set(error, DW_BAD_INPUT, 0, "a span of a table that has no rows");
    if (!part->done && (!started || part->plan.to < INFINITY)) {
        char time[DW_NUMBER_SIZE], end[DW_NUMBER_SIZE];
        dw_number_print(time, started ? part->plan.to : part->plan.from);
        dw_number_print(end, last[0]);
        return dw_error_set(error, DW_BAD_INPUT, 0, "the span %s at %s, but the table ends at %s", started ? "ends" : "begins", time,
                            end);
    }
    enum dw_status status = DW_OK;
    if (!part->done && !part->begun && before)
        status = keep(part, before, 1, error);
    if (status == DW_OK && !part->done && (!part->begun || beyond))
        status = keep(part, last, 1, error);
    *out = (struct dw_rows){ part->rows, part->count };
    return status;
}

static enum dw_status finish_periods(struct dw_part *part, struct dw_rows *out, struct dw_error *error)
{
    const unsigned long long periods = part->plan.periods, whole = part->marks ? part->marks - 1 : 0;
    if (!dw_pieces_last(part->pieces))
        return dw_error_set(error, DW_BAD_INPUT, 0, "the last period of a table that has no rows");
    if (whole < periods)
        return dw_error_set(error, DW_BAD_INPUT, 0, "the last %llu whole period%s: the table holds %llu of %g s", periods,
                            periods == 1 ? "" : "s", whole, part->plan.period);
    const struct mark *from = part->mark + (whole - periods), *to = part->mark + whole;
    const size_t columns = part->plan.columns;
    free(part->chosen);
    part->chosen = malloc((to->end - from->start + 1) * columns * sizeof *part->chosen);
    if (!part->chosen)
        return dw_no_memory(error);
    for (size_t i = from->start, next = 1; i <= to->end; i++) {
        while (from + next < to && from[next].end < i)
            next++;
        if (from + next < to && from[next].end == i && from[next].made)
            continue;
        memcpy(part->chosen + out->count++ * columns, part->rows + (i - part->dropped) * columns, columns * sizeof *part->chosen);
    }
    out->values = part->chosen;
    return DW_OK;
}

enum dw_status dw_part_finish(struct dw_part *part, struct dw_rows *out, struct dw_error *error)
{
    *out = (struct dw_rows){ NULL, 0 };
    return part->plan.periods ? finish_periods(part, out, error) : finish_span(part, out, error);
}
