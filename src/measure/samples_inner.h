/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Samples. Not installed. */
#ifndef MEASURE_SAMPLES_INNER_H
#define MEASURE_SAMPLES_INNER_H

#include <dutywright/sine.h>
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

/* ---- rows of a table that says of itself that they are samples, kept while they keep to their spacing ---- */

struct samples {
    size_t columns;
    double rate;              /* 1/s; 0: the table is not sampled */
    double *row;              /* [count x columns], as read */
    long double *sum;         /* [2 x columns] of all seen: off the first row, and squares of that, which doubles would round away */
    double *origin;           /* [columns] the first row */
    size_t count, room, most;
    bool latest;              /* where there are more than `most`, the last ones are kept, else the first ones */
    unsigned long long seen;
    double first, last;       /* s, of all seen */
    bool even;                /* all so far are a spacing apart; if not, which one is not: */
    double odd, odd_at;       /* spacings behind the one before; s */
    double off;               /* the most by which one is not; spacings */
};

/* Room is made with the first rows. */
struct samples dwi_samples_new(size_t columns, double rate, size_t most_bytes, bool latest);
void dwi_samples_free(struct samples *samples);
/* Takes rows up to the first that is not a spacing behind the one before.
 *   taken   out, how many; fewer than `rows` where `even` is no more */
enum dw_status dwi_samples_put(struct samples *samples, const double *values, size_t rows, size_t *taken, struct dw_error *error);
/* All are seen: where they drift from the rate that the table names by more than their times are off, the rate is their own. */
void dwi_samples_settle(struct samples *samples);
/* Mean and ac-rms of a column, of all seen, kept or not. */
void dwi_samples_moments(const struct samples *samples, size_t column, double *mean, double *ac_rms);
/* Those kept from a time on, and before another: rows first .. end - 1. A thousandth of a spacing counts as nothing. */
void dwi_samples_between(const struct samples *samples, double from, double to, size_t *first, size_t *end);
/* The last instant origin + k period that the samples reach, each of which stands for the spacing behind it. */
double dwi_samples_boundary(const struct samples *samples, double origin, double period);
struct dw_samples dwi_samples_of(const struct samples *samples, size_t column, size_t first, size_t end);

/* ---- sums of harmonics fitted to samples, the frequency given or free ---- */

/* Angle from sample to sample, rad, of the largest tone: peak of the Hann-weighted transform; 0: there is none of two periods or more.
 * Within a tenth of 1 / count of a period where that is all there is. */
enum dw_status dwi_sine_start(const struct dw_samples *samples, double *angle, struct dw_error *error);

/* Unknowns of a sum of harmonics about the middle sample: [harmonics + 1] factors of the cosines, the offset first; behind them
 * [harmonics] of the sines. */
struct sine_sum {
    size_t harmonics;
    double *even, *odd;        /* Cholesky factors of the normal equations, [(h + 1) x (h + 1)] and [h x h] */
    double *value, *right, *along;  /* [2 h + 1] each: unknowns; right sides */
};
bool dwi_sine_sum_new(struct sine_sum *sum, size_t harmonics);
void dwi_sine_sum_free(struct sine_sum *sum);
/* The sum at a given angle: fills `value`.
 *   returns  false where the harmonics cannot be told apart */
bool dwi_sine_sum_solve(struct sine_sum *sum, const struct dw_samples *samples, double angle);
/* The same with the angle free: steps of Gauss and Newton until nothing moves. */
bool dwi_sine_sum_search(struct sine_sum *sum, const struct dw_samples *samples, double *angle);
/* Mean square of what is left. */
double dwi_sine_sum_rest(const struct sine_sum *sum, const struct dw_samples *samples, double angle);

#endif
