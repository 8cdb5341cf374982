/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Edges into rows, and the handle around it all. */
#include "train_inner.h"
#include <dutywright/table.h>
#include <math.h>
#include <stdlib.h>

/* How far a channel is on, 0..1. */
static double slew_at(const struct slew *slew, double time)
{
    if (time >= slew->stop)
        return slew->target;
    if (time <= slew->start)
        return slew->from;
    return slew->from + (slew->target - slew->from) * ((time - slew->start) / (slew->stop - slew->start));
}

static double level(const struct dw_pulse_train *train, double on)
{
    return on == 0 ? train->low : on == 1 ? train->high : train->low + (train->high - train->low) * on;
}

/* Writes the row at a time unless it repeats the last one; gives the rows written, 0 or 1. */
static size_t put_row(struct dw_pulse *pulse, double time, double *row)
{
    bool same = pulse->begun && time == pulse->previous[0];
    row[0] = time;
    for (size_t i = 0; i < pulse->channels; i++) {
        row[1 + i] = level(&pulse->train, slew_at(&pulse->slew[i], time));
        same = same && row[1 + i] == pulse->previous[1 + i];
    }
    for (size_t i = 0; i <= pulse->channels; i++)
        pulse->previous[i] = row[i];
    pulse->begun = true;
    return !same;
}

/* Sends a channel the other way from where it is. */
static void turn(struct dw_pulse *pulse, const struct edge *edge)
{
    struct slew *slew = &pulse->slew[edge->channel];
    const double from = slew_at(slew, edge->time), target = edge->on ? 1 : 0;
    if (edge->time < slew->stop && edge->time > pulse->origin)
        pulse->findings.partial++;
    const double length = (edge->on ? pulse->train.rise : pulse->train.fall) * fabs(target - from);
    *slew = (struct slew){ from, edge->time, target, edge->time + length };
}

/* All edges up to the origin, and the first row. */
static enum dw_status begin(struct dw_pulse *pulse, double *row, size_t *count, struct dw_error *error)
{
    const double near = dwi_pulse_time_near(pulse, pulse->origin);
    for (;;) {
        const enum dw_status status = dwi_pulse_edges_next(pulse, &pulse->next, error);
        if (status != DW_OK)
            return status;
        if (pulse->next.time > pulse->origin + near)
            break;
        if (pulse->next.time >= pulse->origin - near)
            pulse->next.time = pulse->origin;
        turn(pulse, &pulse->next);
    }
    *count += put_row(pulse, pulse->origin, row);
    return DW_OK;
}

/* Rows where a channel reaches its level before `time`; one that does so at `time`, but for rounding, does so there. */
static size_t settle(struct dw_pulse *pulse, double time, double *rows)
{
    const double near = dwi_pulse_time_near(pulse, time);
    size_t count = 0;
    for (;;) {
        double first = time - near;
        for (size_t i = 0; i < pulse->channels; i++)
            if (pulse->slew[i].stop > pulse->previous[0])
                first = fmin(first, pulse->slew[i].stop);
        if (!(first < time - near))
            break;
        count += put_row(pulse, first, rows + count * (1 + pulse->channels));
    }
    for (size_t i = 0; i < pulse->channels; i++)
        if (fabs(pulse->slew[i].stop - time) <= near)
            pulse->slew[i].stop = time;
    return count;
}

/* The rows up to and including the next edge, or the end: at most four. */
static enum dw_status step(struct dw_pulse *pulse, double *rows, size_t *count, struct dw_error *error)
{
    const size_t width = 1 + pulse->channels;
    const bool ends = isfinite(pulse->end) && pulse->next.time >= pulse->end - dwi_pulse_time_near(pulse, pulse->end);
    const double time = ends ? pulse->end : pulse->next.time;
    size_t made = settle(pulse, time, rows);
    made += put_row(pulse, time, rows + made * width);
    pulse->done = ends;
    enum dw_status status = DW_OK;
    while (!ends && status == DW_OK && pulse->next.time == time) {
        turn(pulse, &pulse->next);
        status = dwi_pulse_edges_next(pulse, &pulse->next, error);
    }
    if (!ends && status == DW_OK)
        made += put_row(pulse, time, rows + made * width);
    *count += made;
    return status;
}

enum dw_status dw_pulse_rows(struct dw_pulse *pulse, double *rows, size_t most, size_t *count, struct dw_error *error)
{
    const size_t width = 1 + pulse->channels;
    enum dw_status status = DW_OK;
    *count = 0;
    if (most < DW_PULSE_ROWS)
        return dw_error_set(error, DW_BAD_USE, 0, "room for %zu rows: it must be for %d or more", most,
                            (int)DW_PULSE_ROWS);
    if (!pulse->begun)
        status = begin(pulse, rows, count, error);
    while (status == DW_OK && !pulse->done && *count + 4 <= most)
        status = step(pulse, rows + *count * width, count, error);
    if (status == DW_OK && *count == 0)
        return DW_END;
    return status;
}

/* Period of the whole pattern, and the integers of a constant density. */
static double pattern_period(struct dw_pulse *pulse)
{
    const struct dw_pulse_train *train = &pulse->train;
    if (train->points)
        return 0;
    if (train->modulation == DW_DENSITY && !dw_duty_ratio(train->duty, &pulse->source.p, &pulse->source.q))
        return 0;
    return train->modulation == DW_DENSITY ? (double)pulse->source.q * train->period : train->period;
}

static enum dw_status prepare(struct dw_pulse *pulse, struct dw_error *error)
{
    struct dw_pulse_train *train = &pulse->train;
    enum dw_status status = dwi_pulse_train_check(train, error);
    if (status == DW_OK && train->points)
        status = dwi_duty_curve_open(&pulse->curve, train->points, train->context, error);
    if (status != DW_OK)
        return status;
    train->duty = dw_duty_given(train->duty, train->steps, NULL);
    pulse->channels = train->complement ? 2 : 1;
    pulse->origin = train->points ? pulse->curve.first : 0;
    const double pattern = pattern_period(pulse);
    pulse->pattern = train->jitter > 0 ? 0 : pattern;
    pulse->base = pulse->origin + (train->phase - floor(train->phase)) * train->period;
    pulse->end = INFINITY;
    if (train->periods > 0)
        pulse->end = dw_period_boundary(pulse->origin, pattern > 0 ? pattern : train->period, train->periods);
    else if (train->duration > 0)
        pulse->end = pulse->origin + train->duration;
    if (!(pulse->end > pulse->origin))
        return dw_error_set(error, DW_BAD_USE, 0, "a record that ends at %g s, where it begins", pulse->origin);
    /* pulses are made from some periods before the record until one begins behind all that can touch it */
    const double known = train->periods > 0 || train->duration > 0 ? pulse->end : pulse->origin;
    if (!isfinite(fmax(fabs(pulse->origin), fabs(known)) + MOST_WAITING * train->period))
        return dw_error_set(error, DW_BAD_USE, 0, "times up to %g s in periods of %g s are beyond the range of numbers", known,
                            train->period);
    return DW_OK;
}

struct dw_pulse *dw_pulse_new(const struct dw_pulse_train *train, struct dw_error *error)
{
    struct dw_pulse *pulse = calloc(1, sizeof *pulse);
    if (!pulse) {
        dw_error_set(error, DW_NO_MEMORY, 0, "no memory for a pulse train");
        return NULL;
    }
    pulse->train = *train;
    pulse->slew[0] = pulse->slew[1] = (struct slew){ 0, -INFINITY, 0, -INFINITY };
    if (prepare(pulse, error) != DW_OK) {
        dw_pulse_free(pulse);
        return NULL;
    }
    dwi_pulse_source_open(pulse);
    dwi_pulse_edges_open(pulse);
    return pulse;
}

void dw_pulse_free(struct dw_pulse *pulse)
{
    free(pulse);
}

size_t dw_pulse_channels(const struct dw_pulse *pulse)
{
    return pulse->channels;
}

double dw_pulse_origin(const struct dw_pulse *pulse)
{
    return pulse->origin;
}

double dw_pulse_period(const struct dw_pulse *pulse)
{
    return pulse->pattern;
}

struct dw_pulse_findings dw_pulse_findings(const struct dw_pulse *pulse)
{
    struct dw_pulse_findings findings = pulse->findings;
    findings.end = pulse->end;
    if (pulse->train.points) {
        findings.clipped = dwi_duty_curve_clipped(&pulse->curve);
        findings.lowest = pulse->curve.lowest;
        findings.highest = pulse->curve.highest;
    }
    return findings;
}
