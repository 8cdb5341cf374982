/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows between two times, or of the last whole periods. */
#include "table/header_inner.h"
#include <dutywright/pieces.h>
#include <dutywright/value.h>
#include <stdlib.h>
#include <string.h>

/* A boundary of periods in the rows kept: those of the period before it end with one row, those after it begin with another where
 * a jump stands there. Rows are counted from the first that was ever kept. */
struct boundary {
    size_t end, start;
    bool made;  /* the row was put in, and belongs to no table unless the excerpt begins or ends there */
};

struct dw_excerpt {
    struct dw_excerpt_plan plan;
    struct dw_pieces *pieces;
    double *rows, *chosen;      /* [room x columns]; what dw_excerpt_finish gives of periods */
    size_t count, room;         /* rows kept */
    size_t dropped;             /* of periods: rows before those kept */
    struct boundary *boundary;          /* of periods: the last boundaries, oldest first */
    size_t boundaries, boundary_room;
    bool begun, open, fresh;    /* a block was seen; its rows are wanted; none was kept since the excerpt began */
    bool done;
};

static enum dw_status refuse_plan(const struct dw_excerpt_plan *plan, struct dw_error *error)
{
    if (plan->columns < 2)
        return dw_error_set(error, DW_BAD_USE, 0, "a row has two columns or more");
    if (plan->periods ? !(plan->period > 0) || !isfinite(plan->period) || !isfinite(plan->origin) : !(plan->from < plan->to))
        return dw_error_set(error, DW_BAD_USE, 0, plan->periods ? "the last whole periods: each is longer than zero"
                                                                : "a span ends after it begins");
    return DW_OK;
}

struct dw_excerpt *dw_excerpt_new(const struct dw_excerpt_plan *plan, struct dw_error *error)
{
    if (refuse_plan(plan, error) != DW_OK)
        return NULL;
    struct dw_pieces_plan cut = { .columns = plan->columns, .slope = plan->slope, .clocks = 1,
                                  .clock = { { .from = plan->from, .to = plan->to } } };
    if (plan->periods)
        cut.clock[0] = (struct dw_clock){ .period = plan->period, .origin = plan->origin, .from = -INFINITY, .to = INFINITY,
                                          .keep = (double)plan->periods + 2 };
    struct dw_excerpt *excerpt = calloc(1, sizeof *excerpt);
    if (!excerpt) {
        dw_no_memory(error);
        return NULL;
    }
    excerpt->plan = *plan;
    excerpt->open = !plan->periods && plan->from == -INFINITY;
    excerpt->pieces = dw_pieces_new(&cut, error);
    if (excerpt->pieces)
        return excerpt;
    dw_excerpt_free(excerpt);
    return NULL;
}

void dw_excerpt_free(struct dw_excerpt *excerpt)
{
    if (!excerpt)
        return;
    dw_pieces_free(excerpt->pieces);
    free(excerpt->rows);
    free(excerpt->chosen);
    free(excerpt->boundary);
    free(excerpt);
}

static enum dw_status keep(struct dw_excerpt *excerpt, const double *row, size_t rows, struct dw_error *error)
{
    const size_t columns = excerpt->plan.columns;
    if (excerpt->count + rows > excerpt->room) {
        const size_t room = 2 * (excerpt->count + rows) + 32;
        double *grown = realloc(excerpt->rows, room * columns * sizeof *grown);
        if (!grown)
            return dw_no_memory(error);
        excerpt->rows = grown;
        excerpt->room = room;
    }
    memcpy(excerpt->rows + excerpt->count * columns, row, rows * columns * sizeof *row);
    excerpt->count += rows;
    return DW_OK;
}

/* Rows before the oldest boundary go, once they are half of all: so each row moves once on average. */
static void drop_old(struct dw_excerpt *excerpt)
{
    const size_t columns = excerpt->plan.columns, old = excerpt->boundary[0].end - excerpt->dropped;
    if (2 * old < excerpt->count)
        return;
    excerpt->count -= old;
    excerpt->dropped += old;
    memmove(excerpt->rows, excerpt->rows + old * columns, excerpt->count * columns * sizeof *excerpt->rows);
}

/* A boundary at the last row kept; where none was, the next row begins the period. */
static enum dw_status add_boundary(struct dw_excerpt *excerpt, bool made, struct dw_error *error)
{
    const size_t wanted = excerpt->plan.periods < (size_t)-2 ? (size_t)excerpt->plan.periods + 1 : (size_t)-1;
    const size_t at = excerpt->dropped + excerpt->count - (excerpt->count > 0);
    if (excerpt->boundaries == wanted) {
        memmove(excerpt->boundary, excerpt->boundary + 1, --excerpt->boundaries * sizeof *excerpt->boundary);
        drop_old(excerpt);
    }
    if (excerpt->boundaries == excerpt->boundary_room) {
        const size_t room = 2 * excerpt->boundary_room + 4;
        /* NOLINTNEXTLINE(clang-analyzer-optin.portability.UnixAPI): room for boundaries does not reach half of all addresses */
        struct boundary *grown = realloc(excerpt->boundary, room * sizeof *grown);
        if (!grown)
            return dw_no_memory(error);
        excerpt->boundary = grown;
        excerpt->boundary_room = room;
    }
    excerpt->boundary[excerpt->boundaries++] = (struct boundary){ at, at, made };
    return DW_OK;
}

static enum dw_status reach(struct dw_excerpt *excerpt, const struct dw_instant *instant, bool made, struct dw_error *error)
{
    if (!excerpt->plan.periods) {
        excerpt->open = excerpt->fresh = instant->index == 0;
        excerpt->done = !excerpt->open;
        return DW_OK;
    }
    if (instant->stands_for > 1) {  /* many periods in one line: only those behind them can be the last */
        excerpt->boundaries = 0;
        excerpt->dropped = excerpt->count = 0;
    }
    excerpt->fresh = !excerpt->open || instant->stands_for > 1;
    excerpt->open = true;
    return add_boundary(excerpt, made, error);
}

/* How the table begins. */
static enum dw_status begin(struct dw_excerpt *excerpt, const struct dw_block *block, struct dw_error *error)
{
    const double *before = dw_pieces_before(excerpt->pieces), first = dw_pieces_first(excerpt->pieces)[0];
    excerpt->begun = true;
    if (dw_pieces_missed(excerpt->pieces, 0)) {
        char from[DW_NUMBER_SIZE], time[DW_NUMBER_SIZE];
        dw_number_print(from, excerpt->plan.from);
        dw_number_print(time, first);
        return dw_error_set(error, DW_BAD_INPUT, 0, "the span begins at %s, but the table at %s", from, time);
    }
    if (!excerpt->plan.periods && excerpt->plan.to < first)
        return dw_error_set(error, DW_BAD_INPUT, 0, "the span ends before the table begins");
    return excerpt->open && before && block->begins ? keep(excerpt, before, 1, error) : DW_OK;  /* unrun: implied */
}

static enum dw_status take(struct dw_excerpt *excerpt, const struct dw_block *block, struct dw_error *error)
{
    const bool begins = !excerpt->begun;
    enum dw_status status = begins ? begin(excerpt, block, error) : DW_OK;
    if (status != DW_OK || excerpt->done)
        return status;
    if (block->passed)
        /* unrun: implied */
        return excerpt->open && !excerpt->fresh ? keep(excerpt, block->rows, block->count, error) : DW_OK;
    if (begins && block->begins && !excerpt->open)
        status = reach(excerpt, block->begin, false, error);
    if (status == DW_OK && excerpt->open) {
        const bool whole = excerpt->fresh || block->jump;
        if (whole && block->begins && excerpt->boundaries)
            excerpt->boundary[excerpt->boundaries - 1].start = excerpt->dropped + excerpt->count;
        status = keep(excerpt, block->rows + !whole * excerpt->plan.columns, block->count - !whole, error);
        excerpt->fresh = false;
    }
    return status == DW_OK && block->ends ? reach(excerpt, block->end, block->made, error) : status;
}

enum dw_status dw_excerpt_rows(struct dw_excerpt *excerpt, const double *rows, size_t count, struct dw_rows *out, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (!excerpt->plan.periods)
        excerpt->count = 0;
    dw_pieces_put(excerpt->pieces, rows, count);
    for (const struct dw_block *block; status == DW_OK;)
        if ((status = dw_pieces_next(excerpt->pieces, &block, error)) == DW_OK)
            status = take(excerpt, block, error);
    *out = (struct dw_rows){ excerpt->rows, excerpt->plan.periods ? 0 : excerpt->count };
    return status == DW_END ? DW_OK : status;
}

static enum dw_status finish_span(struct dw_excerpt *excerpt, struct dw_rows *out, struct dw_error *error)
{
    const double *last = dw_pieces_last(excerpt->pieces), *before = dw_pieces_before(excerpt->pieces);
    const double *beyond = dw_pieces_beyond(excerpt->pieces);
    const bool started = excerpt->done || (excerpt->open && !excerpt->fresh);
    excerpt->count = 0;
    if (!last)
        return dw_error_set(error, DW_BAD_INPUT, 0, "a span of a table that has no rows");
    if (!excerpt->done && (!started || excerpt->plan.to < INFINITY)) {
        char time[DW_NUMBER_SIZE], end[DW_NUMBER_SIZE];
        dw_number_print(time, started ? excerpt->plan.to : excerpt->plan.from);
        dw_number_print(end, last[0]);
        return dw_error_set(error, DW_BAD_INPUT, 0, "the span %s at %s, but the table ends at %s", started ? "ends" : "begins", time,
                            end);
    }
    enum dw_status status = DW_OK;
    if (!excerpt->done && !excerpt->begun && before)
        status = keep(excerpt, before, 1, error);
    if (status == DW_OK && !excerpt->done && (!excerpt->begun || beyond))  /* unrun: passed-on */
        status = keep(excerpt, last, 1, error);
    *out = (struct dw_rows){ excerpt->rows, excerpt->count };
    return status;
}

static enum dw_status finish_periods(struct dw_excerpt *excerpt, struct dw_rows *out, struct dw_error *error)
{
    const unsigned long long periods = excerpt->plan.periods, whole = excerpt->boundaries ? excerpt->boundaries - 1 : 0;
    if (!dw_pieces_last(excerpt->pieces))
        return dw_error_set(error, DW_BAD_INPUT, 0, "the last period of a table that has no rows");
    if (whole < periods)
        return dw_error_set(error, DW_BAD_INPUT, 0, "the last %llu whole period%s: the table holds %llu of %g s", periods,
                            periods == 1 ? "" : "s", whole, excerpt->plan.period);
    const struct boundary *from = excerpt->boundary + (whole - periods), *to = excerpt->boundary + whole;
    const size_t columns = excerpt->plan.columns;
    free(excerpt->chosen);
    excerpt->chosen = malloc((to->end - from->start + 1) * columns * sizeof *excerpt->chosen);
    if (!excerpt->chosen)
        return dw_no_memory(error);
    for (size_t i = from->start, next = 1; i <= to->end; i++) {
        while (from + next < to && from[next].end < i)
            next++;
        if (from + next < to && from[next].end == i && from[next].made)
            continue;
        memcpy(excerpt->chosen + out->count++ * columns, excerpt->rows + (i - excerpt->dropped) * columns, columns * sizeof *excerpt->chosen);
    }
    out->values = excerpt->chosen;
    return DW_OK;
}

enum dw_status dw_excerpt_finish(struct dw_excerpt *excerpt, struct dw_rows *out, struct dw_error *error)
{
    *out = (struct dw_rows){ NULL, 0 };
    return excerpt->plan.periods ? finish_periods(excerpt, out, error) : finish_span(excerpt, out, error);
}
