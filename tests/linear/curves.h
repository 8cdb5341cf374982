/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The promise of curves, judged from the rows alone: the cubics between them against another run that is fed at every sample. */
#ifndef TESTS_LINEAR_CURVES_H
#define TESTS_LINEAR_CURVES_H

#include "suite.h"
#include <dutywright/modes.h>
#include <float.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

/* Input rows; equal times are a jump. */
struct drive {
    size_t count, inputs;
    double time[64], input[64][DW_INPUTS];
    bool bent;                     /* cubics join them, with these slopes */
    double slope[64][DW_INPUTS];
};

static inline void drive_row(struct drive *drive, double time, double input)
{
    ck_assert_uint_lt(drive->count, 64);
    drive->time[drive->count] = time;
    drive->input[drive->count++][0] = input;
}

static inline void drive_bent(struct drive *drive, double time, double input, double slope)
{
    drive->bent = true;
    drive->slope[drive->count][0] = slope;
    drive_row(drive, time, input);
}

static inline void feed_row(struct dw_run *run, const struct drive *drive, size_t i)
{
    struct dw_error error = { .status = DW_OK };
    if (drive->bent)
        succeeds(dw_run_feed_curve(run, drive->time[i], drive->input[i], drive->slope[i - 1], drive->slope[i], &error), error);
    else
        succeeds(dw_run_feed(run, drive->time[i], drive->input[i], &error), error);
}

/* Input k and its slope at a time between rows i - 1 and i. */
static inline void drive_at(const struct drive *drive, size_t i, size_t k, double time, double *value, double *slope)
{
    const double h = drive->time[i] - drive->time[i - 1], s = (time - drive->time[i - 1]) / h, from = drive->input[i - 1][k];
    const double rise = drive->input[i][k] - from, a = drive->bent ? h * drive->slope[i - 1][k] : rise;
    const double b = drive->bent ? h * drive->slope[i][k] : rise;
    *value = from + s * (a + s * (3 * rise - 2 * a - b + s * (a + b - 2 * rise)));
    *slope = (a + s * (2 * (3 * rise - 2 * a - b) + s * 3 * (a + b - 2 * rise))) / h;
}

/* Pulses between 0 and a level, high first; edge > 0: ramps that long. */
static inline struct drive pulses(size_t periods, double period, double duty, double level, double edge)
{
    struct drive drive = { .inputs = 1 };
    drive_row(&drive, 0, edge > 0 ? 0 : level);
    for (size_t i = 0; i < periods; i++) {
        const double begin = (double)i * period, fall = begin + duty * period, end = (double)(i + 1) * period;
        if (edge > 0)
            drive_row(&drive, begin + edge, level);
        drive_row(&drive, fall, level);
        drive_row(&drive, fall + edge, 0);
        drive_row(&drive, end, 0);
        if (edge == 0)
            drive_row(&drive, end, level);
    }
    return drive;
}

/* What a run of curves gave. */
struct drawn {
    size_t outputs, count, room;
    double *time, *value, *slope;  /* [count], [count x outputs] */
    enum dw_row_kind *kind;
};

static inline enum dw_status dwi_draw(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct drawn *d = context;
    (void)error;
    if (row->repeats)
        return DW_OK;
    if (d->count == d->room) {
        d->room = d->room ? 2 * d->room : 256;
        d->time = realloc(d->time, d->room * sizeof *d->time);
        d->value = realloc(d->value, d->room * d->outputs * sizeof *d->value);
        d->slope = realloc(d->slope, d->room * d->outputs * sizeof *d->slope);
        d->kind = realloc(d->kind, d->room * sizeof *d->kind);
        ck_assert(d->time && d->value && d->slope && d->kind);
    }
    ck_assert_ptr_nonnull(row->slope);
    d->time[d->count] = row->time;
    d->kind[d->count] = row->kind;
    memcpy(d->value + d->count * d->outputs, row->output, d->outputs * sizeof *row->output);
    memcpy(d->slope + d->count * d->outputs, row->slope, d->outputs * sizeof *row->slope);
    d->count++;
    return DW_OK;
}

static inline void forget_drawn(struct drawn *d)
{
    free(d->time);
    free(d->value);
    free(d->slope);
    free(d->kind);
}

/* What a test asks of a run. */
struct asked {
    struct dw_modes *modes;
    size_t outputs, mode;
    const double *state;
    double accuracy, swing, carrier;
    double floor;  /* of an output's scale: below that it is not known */
};

static inline struct drawn drawn_of(const struct asked *a, const struct drive *drive)
{
    struct dw_error error = { .status = DW_OK };
    struct drawn d = { .outputs = a->outputs };
    struct dw_run *run = dw_run_new(a->modes, &(struct dw_run_options){ .accuracy = a->accuracy, .swing = a->swing, .curves = true,
                                                                        .carrier = a->carrier, .sink = dwi_draw, .context = &d }, &error);
    ck_assert_msg(run != NULL, "%s", error.text);
    succeeds(dw_run_start(run, drive->time[0], a->mode, a->state, drive->input[0], &error), error);
    for (size_t i = 1; i < drive->count; i++)
        feed_row(run, drive, i);
    dw_run_free(run);
    return d;
}

/* The cubic of a piece at a share of it. */
static inline double drawn_at(const struct drawn *d, size_t row, size_t j, double share)
{
    const double *v = d->value + row * d->outputs + j, *s = d->slope + row * d->outputs + j, h = d->time[row + 1] - d->time[row];
    const double rise = v[d->outputs] - v[0], a = h * s[0], b = h * s[d->outputs];
    return v[0] + share * (a + share * (3 * rise - 2 * a - b + share * (a + b - 2 * rise)));
}

/* A walk: rows from .. to, whose ends are input rows or events, what the outputs change by in it, and how far cubics may be off. */
struct walked {
    size_t from, to;
    double change[DW_OUTPUTS], allowed[DW_OUTPUTS];
};

static inline void look_at_walk(const struct drawn *d, struct walked *w, double *most)
{
    for (size_t j = 0; j < d->outputs; j++) {
        double low = INFINITY, high = -INFINITY;
        for (size_t i = w->from; i <= w->to; i++) {
            low = fmin(low, d->value[i * d->outputs + j]);
            high = fmax(high, d->value[i * d->outputs + j]);
        }
        w->change[j] = high - low;
        most[j] = fmax(fabs(low), fabs(high));
    }
}

/* The rule of dw_run_options, from what a reader of the rows sees, for walk n. */
static inline void allow(const struct asked *a, const struct drawn *d, struct walked *walks, size_t n)
{
    double most[DW_OUTPUTS];
    look_at_walk(d, walks + n, most);
    for (size_t j = 0; j < d->outputs; j++) {
        const double scale = dw_modes_scale(a->modes, j), since = d->time[walks[n].to] - a->carrier * (1 + 1e-9);
        double change = 0;
        for (size_t k = 0; k <= n && (k < 3 || d->time[walks[n - k].from] >= since); k++)
            change = fmax(change, walks[n - k].change[j]);
        walks[n].allowed[j] = fmax(fmax(0x1p-50 * most[j], a->floor * scale), fmin(a->accuracy * scale, a->swing * change));
    }
}

/* Slopes are finite; within a piece the cubic goes one way, but for an ulp of the scale. */
static inline void check_piece(const struct asked *a, const struct drawn *d, size_t row)
{
    enum { LOOKS = 32 };
    for (size_t j = 0; j < d->outputs; j++) {
        const double *v = d->value + row * d->outputs + j, way = v[d->outputs] - v[0];
        const double ulp = fmax(a->floor, 4 * DBL_EPSILON) * fmax(dw_modes_scale(a->modes, j), fmax(fabs(v[0]), fabs(v[d->outputs])));
        ck_assert(isfinite(d->slope[row * d->outputs + j]));
        for (int i = 0; i < LOOKS; i++) {
            const double here = drawn_at(d, row, j, i / (double)LOOKS), next = drawn_at(d, row, j, (i + 1) / (double)LOOKS);
            ck_assert_msg((next - here) * (way < 0 ? -1 : 1) >= -ulp, "output %zu turns by %g between %.17g and %.17g s", j,
                          fabs(next - here), d->time[row], d->time[row + 1]);
        }
    }
}

/* Feeds a row from where the reference stands. */
static inline void feed_rest(struct dw_run *run, const struct drive *drive, size_t i)
{
    struct dw_error error = { .status = DW_OK };
    double value, begin[DW_INPUTS];
    if (!drive->bent || drive->time[i] == drive->time[i - 1]) {
        succeeds(dw_run_feed(run, drive->time[i], drive->input[i], &error), error);
        return;
    }
    for (size_t k = 0; k < drive->inputs; k++)
        drive_at(drive, i, k, dw_run_time(run), &value, begin + k);
    succeeds(dw_run_feed_curve(run, drive->time[i], drive->input[i], begin, drive->slope[i], &error), error);
}

/* Feeds the reference up to a time between rows of the drive. */
static inline void follow(struct dw_run *run, const struct drive *drive, size_t *next, double time)
{
    struct dw_error error = { .status = DW_OK };
    double input[DW_INPUTS], begin[DW_INPUTS], end[DW_INPUTS];
    for (; *next < drive->count && drive->time[*next] <= time; ++*next)
        feed_rest(run, drive, *next);
    if (*next == drive->count || !(time > dw_run_time(run)))
        return;
    for (size_t k = 0; k < drive->inputs; k++) {
        drive_at(drive, *next, k, dw_run_time(run), input + k, begin + k);
        drive_at(drive, *next, k, time, input + k, end + k);
    }
    if (drive->bent)
        succeeds(dw_run_feed_curve(run, time, input, begin, end, &error), error);
    else
        succeeds(dw_run_feed(run, time, input, &error), error);
}

/* Largest distance of the cubics of a walk from the outputs, as a share of what is allowed. */
static inline double worst_of_walk(const struct asked *a, const struct drive *drive, const struct drawn *d, const struct walked *w,
                                   struct dw_run *run, size_t *next)
{
    enum { SAMPLES = 6 };  /* its half is the worst place of most */
    double worst = 0, exact[DW_OUTPUTS];
    for (size_t i = w->from; i < w->to; i++) {
        const double length = d->time[i + 1] - d->time[i];
        if (!(length > 0))
            continue;
        check_piece(a, d, i);
        for (int s = 1; s < SAMPLES; s++) {
            const double time = d->time[i] + length * s / SAMPLES;
            if (!(time > d->time[i]) || !(time < d->time[i + 1]))
                continue;
            follow(run, drive, next, time);
            dw_run_output(run, exact, NULL);
            for (size_t j = 0; j < d->outputs; j++) {
                /* times are rounded: where the wave is steep beside an ulp of them, so is all that is known of it */
                const double *slope = d->slope + i * d->outputs + j, ulp = DBL_EPSILON * d->time[i + 1];
                const double allowed = w->allowed[j] + ulp * fmax(fabs(slope[0]), fabs(slope[d->outputs]));
                worst = fmax(worst, fabs(exact[j] - drawn_at(d, i, j, (time - d->time[i]) / length)) / allowed);
            }
        }
    }
    return worst;
}

/* The same of all walks. */
static inline double worst_of(const struct asked *a, const struct drive *drive, const struct drawn *d)
{
    struct dw_error error = { .status = DW_OK };
    struct walked *walks = calloc(d->count, sizeof *walks);
    struct dw_run *run = dw_run_new(a->modes, &(struct dw_run_options){ .sink = NULL }, &error);
    ck_assert_msg(run && walks, "%s", error.text);
    succeeds(dw_run_start(run, drive->time[0], a->mode, a->state, drive->input[0], &error), error);
    double worst = 0;
    size_t next = 1, count = 0;
    for (size_t from = 0, to = 1; to < d->count; to++) {
        if (d->kind[to] == DW_ROW_BETWEEN || d->kind[to] == DW_ROW_EXTREMUM)
            continue;
        if (d->time[to] > d->time[from]) {
            walks[count].from = from;
            walks[count].to = to;
            allow(a, d, walks, count);
            worst = fmax(worst, worst_of_walk(a, drive, d, walks + count++, run, &next));
        }
        from = to;
    }
    free(walks);
    dw_run_free(run);
    return worst;
}

#endif
