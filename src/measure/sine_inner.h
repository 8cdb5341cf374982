/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sums of harmonics fitted to samples, the frequency given or free. */
#ifndef MEASURE_SINE_INNER_H
#define MEASURE_SINE_INNER_H

#include <dutywright/sine.h>

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
