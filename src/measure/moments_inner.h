/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Mean, mean square about the mean, and extremes of straight lines and cubics, added up over time, and one time onto the next. */
#ifndef MEASURE_MOMENTS_INNER_H
#define MEASURE_MOMENTS_INNER_H

#include <stdbool.h>
#include <stddef.h>

/* Sums are unevaluated pairs, high + low, so that 1e8 additions lose no more than a few. */
struct channel_moments {
    double mean, mean_low;
    double square, square_low;  /* integral of (value - mean)^2 */
    double minimum, maximum;
};

/* Some time of a record, and the moments of its channels. */
struct accumulator {
    double start, end;  /* s */
    bool empty;         /* start, end and all moments mean nothing yet */
    struct channel_moments *of; /* [channels] */
};

/* a + b into (sum, error), exact: Knuth, The Art of Computer Programming 2, 4.2.2, theorem B. */
static inline void two_sum(double a, double b, double *sum, double *error)
{
    const double s = a + b, t = s - a;
    *error = (a - (s - t)) + (b - t);
    *sum = s;
}

/* Adds to many sums, high + low, keeping what rounding takes: Neumaier 1974, ZAMM 54:39. */
static inline void add_each(double *restrict high, double *restrict low, const double *restrict more, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        double error;
        two_sum(high[i], more[i], &high[i], &error);
        low[i] += error;
    }
}

/* Adds one straight line from (start, from) to (end, to), which begins where those before ended.
 *   column    [channels]: where channel i stands in `from` and `to`
 *   source    docs/theory.md, equations 4.3 and 4.4 */
void dwi_moments_line(struct accumulator *accumulator, size_t channels, const size_t *column, double start, const double *from,
                      double end, const double *to);

/* Adds what lies between two rows, time first, which begins where those before ended.
 *   column    [channels]: where channel i stands in both rows
 *   slope     by column: where its slope does, 0: it is a straight line
 *   source    docs/theory.md, equations 4.5 and 4.13 */
void dwi_moments_curve(struct accumulator *accumulator, size_t channels, const size_t *column, const size_t *slope,
                       const double *from, const double *to);

/* The same by many lines at once, which takes less time a line.
 *   row     [(lines + 1) x width], time first and rising throughout; row[0] is where those before ended
 *   lines   some hundreds: their sums are plain, so that more would lose digits
 *   source  docs/theory.md, equations 4.1, 4.2 and 4.5 */
void dwi_moments_lines(struct accumulator *accumulator, size_t channels, const size_t *column, const double *row, size_t lines,
                       size_t width);

/* Appends what begins where `onto` ended: docs/theory.md, equation 4.5. */
void dwi_moments_append(struct accumulator *onto, const struct accumulator *next, size_t channels);

/* Lets values at an instant count for minimum and maximum only. */
void dwi_moments_extremes(struct accumulator *accumulator, size_t channels, const double *low, const double *high);

double dwi_moments_mean(const struct channel_moments *moments);
double dwi_moments_ac_rms(const struct channel_moments *moments, double duration);

#endif
