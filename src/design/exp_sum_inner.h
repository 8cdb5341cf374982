/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sums of two or three decaying exponentials, of which two may be a damped oscillation: all that a second or third order
 * filter does between two edges. Their zeros are isolated exactly, so no extremum is missed. Not installed. */
#ifndef DESIGN_EXP_SUM_INNER_H
#define DESIGN_EXP_SUM_INNER_H

#include <stdbool.h>

/* f(t) = exp(-rate[0] t) (even[0] cos(angular t) + odd sin(angular t)) + even[2] exp(-rate[2] t)      where oscillating
 * f(t) = sum over n < count of even[n] exp(-rate[n] t)                                                otherwise */
struct exp_sum {
    int count;         /* 2 or 3 */
    bool oscillating;  /* the first two are one oscillation */
    double rate[3];    /* 1/s, > 0 */
    double angular;    /* rad/s, > 0 */
    double even[3], odd;
};

double exp_sum_at(const struct exp_sum *f, double time);
/* The derivative, which is a sum of the same exponentials. */
struct exp_sum exp_sum_slope(const struct exp_sum *f);
/* A bound of |f| from `time` on, falling with it. */
double exp_sum_bound(const struct exp_sum *f, double time);

/* Zeros with change of sign, one after another in 0 < t < length.
 *   from     the search goes on after it
 *   zero     out
 *   returns  false: there is none left
 *   source   Rolle's theorem after division by one exponential: docs/theory.md, (6.15) */
bool exp_sum_zero(const struct exp_sum *f, double from, double length, double *zero);

/* Largest and smallest value over 0 <= t <= length, ends included; widen given values, which may come from elsewhere. */
void exp_sum_extremes(const struct exp_sum *f, double length, double *least, double *most);

#endif
