/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/metering_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LEAST_ROWS = 64 };

struct pulses {
    size_t channels, *column; /* [width]: behind the channels stand the columns of slopes */
    size_t *slope;            /* [channels], as in struct vertices */
    struct known_levels *known;
    double period, keep;
    double *row;              /* time, then channels, then slopes; the kept ones stand from `begin` to `end` */
    size_t width, room, begin, end;
    size_t most;              /* rows that may stand there: `room`, while passing few */
    size_t *window;           /* where each whole one begins, from window_begin to window_end; the next begins at `current` */
    size_t window_room, window_begin, window_end, current;
    bool sampled;
    bool passing;             /* too many: vertices go to `transitions`, some at a time, and only the last is kept */
    struct levels *levels;
    struct transitions *transitions;
    struct pulse_findings *passed;
    bool have_passed;         /* the last whole window was too long to keep; `passed` are its findings */
};

void dwi_pulses_free(struct pulses *p)
{
    if (!p)
        return;
    free(p->column);
    free(p->slope);
    free(p->known);
    free(p->row);
    free(p->window);
    free(p->levels);
    free(p->transitions);
    free(p->passed);
    free(p);
}

/* Where channels and slopes come from and go to. */
static bool set_places(struct pulses *p, const struct pulses_plan *plan)
{
    p->column = calloc(2 * plan->channels, sizeof *p->column);
    p->slope = calloc(plan->channels, sizeof *p->slope);
    if (!p->column || !p->slope)
        return false;
    memcpy(p->column, plan->column, plan->channels * sizeof *p->column);
    p->width = 1 + plan->channels;
    for (size_t i = 0; plan->slope && i < plan->channels; i++) {
        const size_t from = plan->slope[plan->column[i]];
        p->slope[i] = from ? p->width : 0;
        p->column[p->width - 1] = from;
        p->width += from > 0;
    }
    return true;
}

static bool allocate(struct pulses *p, const struct pulses_plan *plan)
{
    if (!set_places(p, plan))
        return false;
    p->room = plan->bytes / (p->width * sizeof *p->row);
    if (p->room < LEAST_ROWS)
        p->room = LEAST_ROWS;
    p->most = p->room;
    p->window_room = 16;
    p->known = malloc(p->channels * sizeof *p->known);
    p->row = malloc(p->room * p->width * sizeof *p->row);
    p->window = malloc(p->window_room * sizeof *p->window);
    p->levels = calloc(p->channels, sizeof *p->levels);
    p->transitions = calloc(p->channels, sizeof *p->transitions);
    p->passed = calloc(p->channels, sizeof *p->passed);
    return p->known && p->row && p->window && p->levels && p->transitions && p->passed;
}

struct pulses *dwi_pulses_new(const struct pulses_plan *plan, struct dw_error *error)
{
    struct pulses *p = calloc(1, sizeof *p);
    if (p)
        *p = (struct pulses){ .channels = plan->channels, .period = plan->period, .keep = plan->keep, .sampled = plan->sampled };
    if (!p || !allocate(p, plan)) {
        dwi_pulses_free(p);
        dw_no_memory(error);
        return NULL;
    }
    memcpy(p->known, plan->known, plan->channels * sizeof *p->known);
    return p;
}

static struct vertices vertices_of(const struct pulses *p, size_t begin, size_t end)
{
    return (struct vertices){ p->row + begin * p->width, end - begin, p->width, p->slope };
}

static struct levels decide(const struct pulses *p, const struct vertices *v, size_t channel)
{
    const struct known_levels *known = &p->known[channel];
    const struct levels given = { known->low, known->high, LEVELS_GIVEN };
    if (known->always)
        return given;
    if (known->if_inside) {
        const double beyond = (known->high - known->low) / 2;
        bool inside = true;
        for (size_t i = 0; i < v->count && inside; i++) {
            const double value = v->row[i * v->width + 1 + channel];
            inside = value >= known->low - beyond && value <= known->high + beyond;
        }
        if (inside)
            return given;
    }
    return dwi_levels_find(v, channel);
}

static void feed(struct transitions *t, const struct vertices *v, size_t channel, double shift)
{
    const bool slopes = v->slope[channel] > 0;
    for (size_t i = 1; i < v->count; i++) {
        const double *a = v->row + (i - 1) * v->width, *b = a + v->width;
        struct hermite curve;
        if (a[1 + channel] == b[1 + channel])
            continue;  /* what does not turn stays there, too */
        const bool curved = slopes && vertices_curve(v, a, channel, &curve);
        dwi_transitions_curve(t, a[0] - shift, a[1 + channel], b[0] - shift, b[1 + channel], curved ? &curve : NULL);
    }
}

static struct pulse_findings durations(struct levels levels, const struct polarity *positive,
                                       const struct polarity *negative)
{
    return (struct pulse_findings){ .levels = levels,
                                    .duty = NAN,
                                    .slowness = { positive->slowness, negative->slowness },
                                    .positives = positive->count,
                                    .negatives = negative->count,
                                    .positive = positive->count > 0 ? positive->duration / positive->count : NAN,
                                    .negative = negative->count > 0 ? negative->duration / negative->count : NAN };
}

/* What followed one after the other: whole cycles run between transitions of one polarity (theory, equation 4.8). */
static struct pulse_findings find_open(struct levels levels, const struct transitions *t)
{
    const struct polarity *p = &t->positive, *n = &t->negative, *more = n->count > p->count ? n : p;
    struct pulse_findings found = durations(levels, p, n);
    const double length = more->last - more->first;
    if (more->count > 1 && length > 0) {
        found.cycles = more->count - 1;
        found.frequency = found.cycles / length;
        found.duty = more == p ? p->other_held / length : 1 - n->other_held / length;
    }
    return found;
}

/* Whole periods: the end goes on at the start, so the first round shows what is under way there and the second counts. */
static struct pulse_findings find_round(const struct vertices *v, size_t channel, struct levels levels, double length)
{
    struct transitions t = dwi_transitions_new(levels.low, levels.high);
    const double *first = v->row, *last = v->row + (v->count - 1) * v->width;
    feed(&t, v, channel, length);
    const struct polarity p = t.positive, n = t.negative;
    dwi_transitions_line(&t, first[0], last[1 + channel], first[0], first[1 + channel]);
    feed(&t, v, channel, 0);
    t.positive.count -= p.count;
    t.positive.duration -= p.duration;
    t.negative.count -= n.count;
    t.negative.duration -= n.duration;
    struct pulse_findings found = durations(levels, &t.positive, &t.negative);
    found.round = true;
    if (t.negative.count > 0) {
        found.cycles = t.negative.count;
        found.frequency = found.cycles / length;
        found.duty = (t.negative.held - n.held) / length;
    } else if (levels.from == LEVELS_GIVEN) {
        /* a waveform that rests on one of its levels, not one that merely stays near it */
        const double near = 1e-9 * (levels.high - levels.low);
        bool low = true, high = true;
        for (size_t i = 0; i < v->count; i++) {
            const double value = v->row[i * v->width + 1 + channel];
            low = low && fabs(value - levels.low) <= near;
            high = high && fabs(value - levels.high) <= near;
        }
        found.duty = low ? 0 : high ? 1 : NAN;
    }
    return found;
}

/* Gives up all vertices but the last. */
static void pass(struct pulses *p)
{
    const struct vertices v = vertices_of(p, p->begin, p->end);
    for (size_t i = 0; i < p->channels; i++)
        feed(&p->transitions[i], &v, i, 0);
    memcpy(p->row, p->row + (p->end - 1) * p->width, p->width * sizeof *p->row);
    p->begin = 0;
    p->end = 1;
}

/* From here on vertices are not kept: what has been kept of this window decides the levels. */
static void start_passing(struct pulses *p)
{
    const struct vertices v = vertices_of(p, p->current, p->end);
    for (size_t i = 0; i < p->channels; i++) {
        p->levels[i] = decide(p, &v, i);
        p->transitions[i] = dwi_transitions_new(p->levels[i].low, p->levels[i].high);
    }
    p->passing = true;
    p->most = LEAST_ROWS;
    p->begin = p->current;
    p->current = p->window_begin = p->window_end = 0;
}

static void drop_first_window(struct pulses *p)
{
    p->window_begin++;
    p->begin = p->window_begin < p->window_end ? p->window[p->window_begin] : p->current;
}

/* Room for one more vertex: gives up the oldest windows so that the present one may take half the room. */
static bool make_room(struct pulses *p)
{
    while (p->window_begin < p->window_end && p->end - p->begin > p->room / 2)
        drop_first_window(p);
    if (p->window_begin == p->window_end)
        p->begin = p->current;
    if (!p->begin)
        return false;
    memmove(p->row, p->row + p->begin * p->width, (p->end - p->begin) * p->width * sizeof *p->row);
    for (size_t i = p->window_begin; i < p->window_end; i++)
        p->window[i] -= p->begin;
    p->end -= p->begin;
    p->current -= p->begin;
    p->begin = 0;
    return p->end < p->room;
}

/* Room for one more vertex, whatever is given up for it. */
static void make_way(struct pulses *p)
{
    if (!p->passing && make_room(p))
        return;
    if (!p->passing)
        start_passing(p);
    pass(p);
}

void dwi_pulses_vertices(struct pulses *p, const double *rows, size_t count, size_t columns)
{
    for (size_t k = 0; k < count; k++, rows += columns) {
        if (p->end == p->most)
            make_way(p);
        double *to = p->row + p->end++ * p->width;
        to[0] = rows[0];
        for (size_t i = 1; i < p->width; i++)
            to[i] = rows[p->column[i - 1]];
    }
}

static void finish_passing(struct pulses *p, struct pulse_findings *out)
{
    pass(p);
    for (size_t i = 0; i < p->channels; i++) {
        out[i] = find_open(p->levels[i], &p->transitions[i]);
        out[i].early_levels = p->levels[i].from != LEVELS_GIVEN;
    }
}

static enum dw_status note_window(struct pulses *p, struct dw_error *error)
{
    if (p->window_end == p->window_room) {
        if (p->window_begin > p->window_room / 2) {
            memmove(p->window, p->window + p->window_begin, (p->window_end - p->window_begin) * sizeof *p->window);
            p->window_end -= p->window_begin;
            p->window_begin = 0;
        } else {
            size_t *more = realloc(p->window, 2 * p->window_room * sizeof *more);
            if (!more)
                return dw_no_memory(error);
            p->window = more;
            p->window_room *= 2;
        }
    }
    p->window[p->window_end++] = p->current;
    return DW_OK;
}

enum dw_status dwi_pulses_window_end(struct pulses *p, bool begun, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (p->passing) {
        finish_passing(p, p->passed);
        p->have_passed = begun;
        p->passing = false;
        p->most = p->room;
        p->end = 0;
        return DW_OK;
    }
    if (begun) {
        p->have_passed = false;
        status = note_window(p, error);
        if ((double)(p->window_end - p->window_begin) > p->keep)
            drop_first_window(p);
    } else {
        p->begin = p->end;
    }
    p->current = p->end;
    return status;
}

void dwi_pulses_find(struct pulses *p, struct pulse_findings *findings, double *windows)
{
    *windows = 0;
    if (!(p->period > 0)) {
        const struct vertices v = vertices_of(p, p->begin, p->end);
        if (p->passing)
            finish_passing(p, findings);
        for (size_t i = 0; i < p->channels && !p->passing; i++) {
            struct transitions t;
            const struct levels levels = decide(p, &v, i);
            t = dwi_transitions_new(levels.low, levels.high);
            feed(&t, &v, i, 0);
            findings[i] = find_open(levels, &t);
        }
        return;
    }
    if (p->have_passed) {
        memcpy(findings, p->passed, p->channels * sizeof *findings);
        *windows = 1;
        return;
    }
    *windows = (double)(p->window_end - p->window_begin);
    const struct vertices v = vertices_of(p, p->begin, p->current);
    for (size_t i = 0; i < p->channels && *windows > 0; i++) {
        const struct levels levels = decide(p, &v, i);
        if (p->sampled)  /* from the last sample it goes to the first of what repeats */
            p->row[(p->current - 1) * p->width + 1 + i] = v.row[1 + i];
        findings[i] = find_round(&v, i, levels, *windows * p->period);
    }
}
