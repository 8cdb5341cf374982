/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/spectrum_inner.h"
#include <dutywright/pieces.h>
#include <dutywright/table.h>
#include <dutywright/value.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_BYTES = 72 << 20, FEW_PERIODS = 4 };

struct record {
    struct record_plan plan;
    size_t *column, *slope;   /* [channels]; [columns] or NULL, as in the plan */
    char place[256];
    struct dw_pieces *pieces; /* NULL: no row yet */
    struct windows windows;
    double *mean_last, *mean_before; /* [channels], of the last two whole periods */
    struct value_range *earlier;     /* [channels], of what no period has */
    double boundary;          /* s, where the open period began */
    double last_index;        /* k of the last boundary in the span */
    unsigned long long pieces_kept, pieces_now;
    bool begun, open, done;
    struct record_facts facts;
};

/* Whether boundary k begins a group of periods, and so ends the one before. */
static bool begins_group(const struct record *r, double k)
{
    return r->plan.group <= 1 || fmod(k, r->plan.group) == 0;
}

/* An instant that a period may begin at, or the span. */
static void pass(struct record *r, const struct dw_instant *instant)
{
    const bool opens = r->open || begins_group(r, instant->index);
    r->done = instant->index >= r->last_index;
    r->open = opens && !r->done;
    r->boundary = instant->at;
}

static enum dw_status begin_period(struct record *r, const double *row, struct dw_error *error)
{
    r->boundary = fmax(r->boundary, dw_pieces_first(r->pieces)[0]);  /* a span may begin with the record, wherever that does */
    r->pieces_now = 0;
    return dwi_windows_append(&r->windows, r->plan.whole ? r->boundary : 0, row, error);
}

static enum dw_status end_period(struct record *r, const struct dw_instant *end, const double *row, struct dw_error *error)
{
    const enum dw_status status = dwi_windows_append(&r->windows, r->plan.whole ? end->at : 1, row, error);
    r->pieces_kept += r->pieces_now;
    for (size_t i = 0; i < r->plan.channels; i++) {
        r->mean_before[i] = r->mean_last[i];
        r->mean_last[i] = dwi_moments_mean(&r->windows.period.of[i]);
    }
    /* whole periods inside one line all look alike: one ramp as steep as all together stands for them, since no line but
     * line 0, which the moments have, knows at what height it is */
    const double periods = isnan(end->stands_for) ? 1 : end->stands_for;  /* unrun: implied */
    if (status == DW_OK && periods > 1)
        dwi_windows_fold(&r->windows, periods);
    return status == DW_OK ? dwi_windows_close(&r->windows, periods, begins_group(r, end->index), error) : status;
}

/* A block that passes over the end of a group, on the way to the last ones, is no part of what is kept. */
static bool passes_over(const struct record *r, const struct dw_instant *end)
{
    const double group = fmax(r->plan.group, 1);
    return end->stands_for > 1 && r->plan.last && floor((end->index - end->stands_for) / group) != floor((end->index - 1) / group);
}

/* All of a block that begins anew, else what follows its first row. The row at a period's end is end_period's. */
static enum dw_status add_rows(struct record *r, const struct dw_block *block, struct dw_error *error)
{
    const size_t columns = r->plan.columns, last = block->count - (block->ends != 0);
    const size_t first = !block->begins && block->jump ? 0 : 1;
    const double *rows = block->rows;
    enum dw_status status = block->begins ? begin_period(r, rows, error) : DW_OK;
    if (status == DW_OK && last > first)
        status = dwi_windows_append_rows(&r->windows, rows + first * columns, last - first, columns, r->boundary, error);
    if (status != DW_OK)
        return status;
    for (size_t i = 1; r->slope && i < block->count; i++)
        dwi_moments_curve(&r->windows.period, r->plan.channels, r->column, r->slope, rows + (i - 1) * columns, rows + i * columns);
    if (!r->slope)
        dwi_moments_lines(&r->windows.period, r->plan.channels, r->column, rows, block->count - 1, columns);
    r->pieces_now += block->count - 1;
    return DW_OK;
}

/* What comes before the span; on its values the accuracy of a table with curves may depend. */
static void pass_by(struct record *r, const struct dw_block *block)
{
    for (size_t k = 0; r->slope && k < block->count; k++)
        for (size_t i = 0; i < r->plan.channels; i++) {
            const double value = block->rows[k * r->plan.columns + r->column[i]];
            r->earlier[i] = range_of_both(r->earlier[i], (struct value_range){ value, value });
        }
}

static enum dw_status add_block(struct record *r, const struct dw_block *block, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (r->open && block->ends && passes_over(r, block->end)) {
        dwi_windows_forget(&r->windows);
        r->open = false;
    }
    if (r->open)
        status = add_rows(r, block, error);
    else
        pass_by(r, block);
    if (!block->ends || status != DW_OK)
        return status;
    if (r->open)
        status = end_period(r, block->end, block->rows + (block->count - 1) * r->plan.columns, error);
    pass(r, block->end);
    return status;
}

static enum dw_status check_begin(struct record *r, const struct dw_block *block, struct dw_error *error)
{
    const double first = dw_pieces_first(r->pieces)[0];
    const int from = dw_digits_apart(r->plan.from, first, 6), to = dw_digits_apart(r->plan.to, first, 6);
    r->begun = true;
    if (dw_pieces_missed(r->pieces, 0))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span begins at %.*g s, before the record, which begins at %.*g s",
                            r->place, from, r->plan.from, from, first);
    if (r->plan.to <= first)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span ends at %.*g s, but the record begins at %.*g s", r->place,
                            to, r->plan.to, to, first);
    if (block->begins)
        pass(r, block->begin);
    return DW_OK;
}

/* The clock of the periods, or of the span's ends. */
static enum dw_status begin_record(struct record *r, double time, struct dw_error *error)
{
    const struct record_plan *plan = &r->plan;
    struct dw_pieces_plan cut = { .columns = plan->columns, .slope = r->slope, .clocks = 1, .place = r->place };
    struct dw_clock *clock = &cut.clock[0];
    *clock = (struct dw_clock){ .period = plan->period, .origin = plan->from_first_row ? time : plan->origin, .from = plan->from,
                                .to = plan->to, .keep = INFINITY, .group = plan->group > 1 ? plan->group : plan->last ? 0 : INFINITY };
    if (plan->last)
        clock->keep = ((double)plan->last + (plan->group > 1)) * fmax(plan->group, 1) + FEW_PERIODS; /* a group may have begun */
    bool on;
    r->last_index = plan->period > 0 ? dw_period_index(clock->origin, plan->period, plan->to, &on) : 1;
    if (isnan(r->last_index))
        r->last_index = INFINITY;
    /* no boundary at all in the span */
    if (plan->period > 0 && isfinite(plan->to)) {
        const double first = dw_period_index(clock->origin, plan->period, isfinite(plan->from) ? plan->from : time, &on);
        r->done = first + !on > r->last_index;
    }
    r->pieces = dw_pieces_new(&cut, error);
    return r->pieces ? DW_OK : error ? error->status : DW_NO_MEMORY;
}

enum dw_status dwi_record_rows(struct record *r, const double *values, size_t rows, struct dw_error *error)
{
    enum dw_status status = rows && !r->pieces ? begin_record(r, values[0], error) : DW_OK;
    if (!rows || status != DW_OK)
        return status;
    dw_pieces_put(r->pieces, values, rows);
    for (const struct dw_block *block; status == DW_OK;) {
        status = dw_pieces_next(r->pieces, &block, error);
        if (status != DW_OK || block->passed)
            continue;
        if (!r->begun)
            status = check_begin(r, block, error);
        if (status == DW_OK && !r->done)
            status = add_block(r, block, error);
    }
    return status == DW_END ? DW_OK : status;
}

/* ---- new, free, the end ---- */

/* Copies of the plan's arrays, and room for what is kept. */
static bool make_room(struct record *r)
{
    const struct record_plan *plan = &r->plan;
    r->column = calloc(plan->channels, sizeof *r->column);
    r->slope = plan->slope ? calloc(plan->columns, sizeof *r->slope) : NULL;
    r->mean_last = calloc(plan->channels, sizeof *r->mean_last);
    r->mean_before = calloc(plan->channels, sizeof *r->mean_before);
    r->earlier = calloc(plan->channels, sizeof *r->earlier);
    if (!r->column || !r->mean_last || !r->mean_before || !r->earlier || !plan->slope != !r->slope)
        return false;
    memcpy(r->column, plan->column, plan->channels * sizeof *r->column);
    if (r->slope)
        memcpy(r->slope, plan->slope, plan->columns * sizeof *r->slope);
    for (size_t i = 0; i < plan->channels; i++) {
        r->mean_last[i] = r->mean_before[i] = NAN;
        r->earlier[i] = range_of_none();
    }
    r->windows = (struct windows){ .channels = plan->channels, .column = r->column, .slope = r->slope, .lines = plan->lines,
                                   .whole = plan->whole, .length = plan->period, .last = plan->last };
    if (!dwi_windows_new(&r->windows))
        return false;
    r->windows.most_rows = (plan->most_bytes ? plan->most_bytes : MOST_BYTES) / (r->windows.width * sizeof(double));
    return true;
}

struct record *dwi_record_new(const struct record_plan *plan, struct dw_error *error)
{
    struct record *r = calloc(1, sizeof *r);
    if (r) {
        r->plan = *plan;
        strncpy(r->place, plan->place, sizeof r->place - 1);
    }
    if (r && make_room(r))
        return r;
    dwi_record_free(r);
    dw_no_memory(error);
    return NULL;
}

void dwi_record_free(struct record *r)
{
    if (!r)
        return;
    dwi_windows_free(&r->windows);
    free(r->column);
    free(r->slope);
    dw_pieces_free(r->pieces);
    free(r->mean_last);
    free(r->mean_before);
    free(r->earlier);
    free(r);
}

enum dw_status dwi_record_check(const char *place, const struct record_plan *plan, double first, double last, double reach,
                                struct dw_error *error)
{
    const int from = dw_digits_apart(plan->from, last, 6), to = dw_digits_apart(plan->to, last, 6);
    if (!(first < last))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: no time passes between the first row and the last", place);
    if (!isfinite(last - first))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: from %g s to %g s is longer than a number can hold", place, first, last);
    if (isfinite(plan->from) && plan->from >= last)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span begins at %.*g s, but the record ends at %.*g s", place, from,
                            plan->from, from, last);
    if (isfinite(plan->to) && plan->to > reach)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span ends at %.*g s, but the record ends at %.*g s", place, to, plan->to,
                            to, last);
    return DW_OK;
}

enum dw_status dwi_record_finish(struct record *r, struct dw_error *error)
{
    if (!r->pieces)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: it holds no rows", r->place);
    const double end = dw_pieces_last(r->pieces)[0];
    enum dw_status status = dwi_record_check(r->place, &r->plan, dw_pieces_first(r->pieces)[0], end, r->done ? INFINITY : -INFINITY,
                                             error);
    if (status == DW_OK && !(r->plan.period > 0) && r->open && !r->windows.period.empty) {
        r->pieces_kept += r->pieces_now;
        status = dwi_windows_close(&r->windows, 1, true, error);  /* the record's own end is the span's */
    }
    if (status != DW_OK)
        return status;
    const struct windows *w = &r->windows;
    if (r->plan.last && w->count && w->count < r->plan.last)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span is the last %llu periods, but the record holds only %zu",
                            r->place, r->plan.last, w->count);
    dwi_windows_total(&r->windows);
    const struct accumulator *kept = &w->total;
    if (kept->empty && !(r->plan.period > 0))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: no time passes in the span", r->place);
    if (kept->empty)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span holds no whole period of %g s", r->place,
                            r->plan.period * fmax(r->plan.group, 1));
    const double from = fmax(dw_pieces_first(r->pieces)[0], r->plan.from), to = fmin(dw_pieces_last(r->pieces)[0], r->plan.to);
    r->facts = (struct record_facts){ kept->start, kept->end, w->periods, (to - from) - (kept->end - kept->start),
                                      r->pieces_kept };
    return DW_OK;
}

struct record_facts dwi_record_facts(const struct record *r)
{
    return r->facts;
}

const struct channel_moments *dwi_record_moments(const struct record *r)
{
    return r->windows.total.of;
}

struct value_range dwi_record_range(const struct record *r, size_t channel)
{
    const struct channel_moments *m = &r->windows.total.of[channel];
    const struct value_range *before = &r->windows.before[2 * channel];
    const struct value_range near = range_of_both((struct value_range){ m->minimum, m->maximum }, range_of_both(before[0], before[1]));
    return before[1].low <= before[1].high ? near : range_of_both(near, r->earlier[channel]);
}

double dwi_record_drift(const struct record *r, size_t channel)
{
    return r->mean_last[channel] - r->mean_before[channel];
}

bool dwi_record_rest(const struct record *r, size_t channel, const double *line, double *square)
{
    return dwi_windows_rest(&r->windows, channel, line, square);
}

enum dw_status dwi_record_coefficients(struct record *r, size_t lines, double *out, struct dw_error *error)
{
    return dwi_windows_coefficients(&r->windows, lines, out, error);
}
