/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/spectrum_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_BYTES = 72 << 20, FEW_CUTS = 4, ROWS_AT_ONCE = 512 };

struct record {
    struct record_plan plan;
    size_t *column;           /* [channels] */
    size_t *straight;         /* [channels] 1, 2, ..: columns of the rows kept */
    char place[256];
    struct clock clock;
    struct windows windows;
    double *row, *previous, *cut; /* [width], [width], [2 x width] */
    double *mean_last, *mean_before; /* [channels], of the last two whole periods */
    double boundary, quiet_until, first_time;
    double periods_now;       /* what the next close counts for */
    unsigned long long rows_read, pieces_kept, pieces_now;
    bool open, fresh, done;
    struct record_facts facts;
};

static enum dw_status period_too_short(const struct record *r, double time, struct dw_error *error)
{
    return dw_error_set(error, DW_BAD_INPUT, 0, "%s: at %g s a period of %g s is too short for the times to tell apart",
                        r->place, time, r->plan.period);
}

static enum dw_status begin_period(struct record *r, double at, const double *row, struct dw_error *error)
{
    r->boundary = at;
    r->open = r->fresh = true;
    r->periods_now = 1;
    r->pieces_now = 0;
    return windows_append(&r->windows, r->plan.whole ? at : 0, row, error);
}

/* Whether boundary k begins a group of periods, and so ends the one before. */
static bool begins_group(const struct record *r, double k)
{
    return r->plan.group <= 1 || fmod(k, r->plan.group) == 0;
}

static enum dw_status end_period(struct record *r, double at, const double *row, struct dw_error *error)
{
    enum dw_status status = windows_append(&r->windows, r->plan.whole ? at : 1, row, error);
    r->pieces_kept += r->pieces_now;
    r->windows.slack = fourier_slack(fmax(fabs(r->first_time), fabs(at)), r->plan.period);
    for (size_t i = 0; i < r->plan.channels; i++) {
        r->mean_before[i] = r->mean_last[i];
        r->mean_last[i] = moments_mean(&r->windows.now.moments.of[i]);
    }
    return status == DW_OK ? windows_close(&r->windows, r->periods_now, begins_group(r, r->clock.k), error)
                            : status;
}

/* The instant at which the clock stands, with the row that lies there. */
static enum dw_status cut_at(struct record *r, const double *row, struct dw_error *error)
{
    const double instant = r->clock.next;
    const bool opens = r->open || begins_group(r, r->clock.k);
    enum dw_status status = r->open ? end_period(r, instant, row, error) : DW_OK;
    r->quiet_until = r->clock.latest;
    r->open = false;
    clock_advance(&r->clock);
    r->done = instant >= r->plan.to || (r->plan.to < INFINITY && r->clock.earliest > r->plan.to);
    if (status == DW_OK && opens && !r->done)
        status = begin_period(r, instant, row, error);
    return status;
}

static void add_moments(struct record *r, double start, const double *from, double end, const double *to)
{
    if (!r->open)
        return;
    moments_line(&r->windows.now.moments, r->plan.channels, r->straight, start, from, end, to);
    r->pieces_now++;
}

static enum dw_status add_line(struct record *r, double start, const double *from, double end, const double *to,
                               struct dw_error *error)
{
    if (!r->open)
        return DW_OK;
    add_moments(r, start, from, end, to);
    r->fresh = false;
    const double place = r->plan.whole ? end : (end - r->boundary) / r->plan.period;
    return windows_append(&r->windows, place, to, error);
}

/* Whole periods inside one line all look alike. Where the last few are asked, the others are passed over; else, or within a
 * group, one ramp as steep as all together stands for them: no line but line 0, which the moments have, knows at what
 * height it is. */
static void skip_alike(struct record *r, double end)
{
    const double group = fmax(r->plan.group, 1), begun = r->clock.k - 1;
    const double keep = ((double)r->plan.last + (group > 1)) * group + FEW_CUTS; /* a group may have begun before */
    end = fmin(end, r->plan.to);
    if (r->plan.last && clock_skip(&r->clock, end, keep)) {
        windows_forget(&r->windows);
        r->open = false;
    } else if (r->open && (!r->plan.last || group > 1)) {
        if (group > 1)
            end = fmin(end, dw_period_boundary(r->clock.origin, r->plan.period, (floor(begun / group) + 1) * group));
        if (clock_skip(&r->clock, end, FEW_CUTS))
            r->periods_now = r->clock.k - begun;
    }
}

/* A line that reaches or passes the next instant. Only the two ends of a span may be so close that a row on the one is beyond
 * the other. */
static enum dw_status add_line_and_cut(struct record *r, double start, const double *from, double end, const double *to,
                                       struct dw_error *error)
{
    enum dw_status status = clock_blurred(&r->clock, end) ? period_too_short(r, end, error) : DW_OK;
    for (int cuts = 0; status == DW_OK && !r->done && end >= r->clock.earliest; cuts++) {
        const double instant = r->clock.next;
        if (end <= r->clock.latest) {
            add_moments(r, start, from, end, to);
            return cut_at(r, to, error);
        }
        double *between = r->cut + cuts % 2 * r->windows.width;
        between[0] = instant;
        for (size_t i = 1; i < r->windows.width; i++)
            between[i] = from[i] + (to[i] - from[i]) * ((instant - start) / (end - start));
        if (start < instant)
            add_moments(r, start, from, instant, between);
        status = cut_at(r, between, error);
        from = between;
        start = instant;
        if (status == DW_OK)
            skip_alike(r, end);
    }
    return status == DW_OK && !r->done ? add_line(r, start, from, end, to, error) : status;
}

static enum dw_status begin_record(struct record *r, const double *row, struct dw_error *error)
{
    const double time = row[0], period = r->plan.period;
    r->first_time = time;
    if (period > 0)
        r->clock = clock_periods(r->plan.from_first_row ? time : r->plan.origin, period,
                                 isfinite(r->plan.from) ? r->plan.from : time);
    else
        r->clock = clock_between(isfinite(r->plan.from) ? r->plan.from : time, r->plan.to);
    if (clock_blurred(&r->clock, time))
        return period_too_short(r, time, error);
    if (isfinite(r->plan.from) && r->clock.latest < time)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span begins at %g s, before the record, which begins at %g s",
                            r->place, r->plan.from, time);
    if (r->plan.to <= time)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span ends at %g s, but the record begins at %g s", r->place,
                            r->plan.to, time);
    r->done = r->plan.to < r->clock.earliest;
    return !r->done && r->clock.earliest <= time ? cut_at(r, row, error) : DW_OK;
}

/* A row at the time of the row before, or on the instant at which a period has just begun. */
static enum dw_status jump(struct record *r, const double *row, struct dw_error *error)
{
    if (!r->open)
        return DW_OK;
    if (!r->fresh)
        return windows_append(&r->windows, r->plan.whole ? row[0] : (row[0] - r->boundary) / r->plan.period, row, error);
    double *start = r->windows.now.row + (r->windows.now.count - 1) * r->windows.width;
    memcpy(start + 1, row + 1, (r->windows.width - 1) * sizeof *row);
    return DW_OK;
}

static enum dw_status add_row(struct record *r, const double *row, struct dw_error *error)
{
    const double time = row[0], before = r->previous[0];
    if (!r->rows_read++)
        return begin_record(r, row, error);
    if (!(time >= before))
        return dw_error_set(error, DW_BAD_INPUT, r->rows_read, "%s, row %llu: time goes back from %.17g to %.17g", r->place,
                            r->rows_read, before, time);
    if (r->done)
        return DW_OK;
    if (time == before || time <= r->quiet_until)
        return jump(r, row, error);
    if (time < r->clock.earliest)
        return add_line(r, before, r->previous, time, row, error);
    return add_line_and_cut(r, before, r->previous, time, row, error);
}

static void take_row(const struct record *r, double *row, const double *values)
{
    row[0] = values[0];
    for (size_t c = 0; c < r->plan.channels; c++)
        row[1 + c] = values[r->column[c]];
}

/* How many rows from the second on go on within the period, each later than the one before. */
static size_t plain_rows(const struct record *r, const double *row, size_t rows)
{
    size_t count = 1;
    for (double before = *row; count < rows; count++) {
        row += r->plan.columns;
        if (!(*row > before && *row < r->clock.earliest))
            break;
        before = *row;
    }
    return count - 1;
}

/* Rows of which the first has been added already. */
static enum dw_status add_plain_rows(struct record *r, const double *row, size_t more, struct dw_error *error)
{
    const size_t columns = r->plan.columns;
    const enum dw_status status =
        windows_append_rows(&r->windows, row + columns, more, columns, r->column, r->boundary, r->plan.period, error);
    if (status != DW_OK)
        return status;
    moments_lines(&r->windows.now.moments, r->plan.channels, r->column, row, more, columns);
    r->pieces_now += more;
    r->rows_read += more;
    take_row(r, r->previous, row + more * columns);
    return DW_OK;
}

enum dw_status record_rows(struct record *r, const double *values, size_t rows, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (size_t i = 0; i < rows && status == DW_OK; i++, values += r->plan.columns) {
        take_row(r, r->row, values);
        status = add_row(r, r->row, error);
        double *used = r->row;
        r->row = r->previous;
        r->previous = used;
        if (status != DW_OK || !r->open || r->fresh)
            continue;
        const size_t more = plain_rows(r, values, rows - i < ROWS_AT_ONCE ? rows - i : ROWS_AT_ONCE);
        if (more)
            status = add_plain_rows(r, values, more, error);
        i += more;
        values += more * r->plan.columns;
    }
    return status;
}

/* ---- new, free, the end ---- */

struct record *record_new(const struct record_plan *plan, struct dw_error *error)
{
    struct record *r = calloc(1, sizeof *r);
    if (r) {
        r->plan = *plan;
        const size_t width = 1 + plan->channels, bytes = plan->most_bytes ? plan->most_bytes : MOST_BYTES;
        r->windows = (struct windows){ .channels = plan->channels,
                                       .width = width,
                                       .most_rows = bytes / (width * sizeof(double)),
                                       .whole = plan->whole,
                                       .last = plan->last };
        r->windows.plan = fourier_choose(r->windows.most_rows, plan->lines, plan->channels, 0);
        r->quiet_until = -INFINITY;
        strncpy(r->place, plan->place, sizeof r->place - 1);
        r->column = calloc(plan->channels, sizeof *r->column);
        r->straight = calloc(plan->channels, sizeof *r->straight);
        r->row = calloc(r->windows.width, sizeof *r->row);
        r->previous = calloc(r->windows.width, sizeof *r->previous);
        r->cut = calloc(2 * r->windows.width, sizeof *r->cut);
        r->mean_last = calloc(plan->channels, sizeof *r->mean_last);
        r->mean_before = calloc(plan->channels, sizeof *r->mean_before);
    }
    if (!r || !windows_new(&r->windows) || !r->column || !r->straight || !r->row || !r->previous || !r->cut ||
        !r->mean_last || !r->mean_before) {
        record_free(r);
        dw_no_memory(error);
        return NULL;
    }
    for (size_t i = 0; i < plan->channels; i++) {
        r->column[i] = plan->column[i];
        r->straight[i] = 1 + i;
        r->mean_last[i] = r->mean_before[i] = NAN;
    }
    return r;
}

void record_free(struct record *r)
{
    if (!r)
        return;
    windows_free(&r->windows);
    free(r->column);
    free(r->straight);
    free(r->row);
    free(r->previous);
    free(r->cut);
    free(r->mean_last);
    free(r->mean_before);
    free(r);
}

/* The record's own end is the span's. What stands there after a jump is outside it. */
static enum dw_status end_at_last_row(struct record *r, struct dw_error *error)
{
    struct window *now = &r->windows.now;
    const size_t width = r->windows.width;
    while (now->count > 1 && now->row[(now->count - 1) * width] == now->row[(now->count - 2) * width])
        now->count--;
    r->pieces_kept += r->pieces_now;
    return now->moments.empty ? DW_OK : windows_close(&r->windows, 1, true, error);
}

static enum dw_status check_span(const struct record *r, struct dw_error *error)
{
    const double end = r->previous[0];
    if (!r->rows_read)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: it holds no rows", r->place);
    if (!(r->first_time < end))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: no time passes between the first row and the last", r->place);
    if (!isfinite(end - r->first_time))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: from %g s to %g s is longer than a number can hold", r->place,
                            r->first_time, end);
    if (isfinite(r->plan.from) && r->plan.from >= end)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span begins at %g s, but the record ends at %g s", r->place,
                            r->plan.from, end);
    if (isfinite(r->plan.to) && !r->done)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span ends at %g s, but the record ends at %g s", r->place,
                            r->plan.to, end);
    return DW_OK;
}

enum dw_status record_finish(struct record *r, struct dw_error *error)
{
    enum dw_status status = check_span(r, error);
    if (status == DW_OK && !(r->plan.period > 0) && r->open)
        status = end_at_last_row(r, error);
    if (status != DW_OK)
        return status;
    const struct windows *w = &r->windows;
    if (r->plan.last && w->ring_count && w->ring_count < r->plan.last)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span is the last %llu periods, but the record holds only %zu",
                            r->place, r->plan.last, w->ring_count);
    windows_total(&r->windows);
    const struct stretch *kept = &w->kept.moments;
    if (kept->empty && !(r->plan.period > 0))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: no time passes in the span", r->place);
    if (kept->empty)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span holds no whole period of %g s", r->place,
                            r->plan.period * fmax(r->plan.group, 1));
    const double from = fmax(r->first_time, r->plan.from), to = fmin(r->previous[0], r->plan.to);
    r->facts = (struct record_facts){ kept->start, kept->end, w->kept.periods, (to - from) - (kept->end - kept->start),
                                      r->pieces_kept };
    return DW_OK;
}

struct record_facts record_facts(const struct record *r)
{
    return r->facts;
}

const struct moments *record_moments(const struct record *r)
{
    return r->windows.kept.moments.of;
}

double record_drift(const struct record *r, size_t channel)
{
    return r->mean_last[channel] - r->mean_before[channel];
}

bool record_rest(const struct record *r, size_t channel, const double *line, double *square)
{
    return windows_rest(&r->windows, channel, line, square);
}

enum dw_status record_coefficients(struct record *r, size_t lines, double *out, struct dw_error *error)
{
    const double latest = fmax(fabs(r->facts.from), fabs(r->facts.to));
    struct windows_scale scale = { .start = r->facts.from,
                                   .length = r->plan.whole ? r->facts.to - r->facts.from : r->plan.period };
    scale.slack = fourier_slack(latest, scale.length);
    return windows_coefficients(&r->windows, &scale, lines, out, error);
}
