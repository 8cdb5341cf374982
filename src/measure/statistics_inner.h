/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Channels over pieces. Not installed. */
#ifndef MEASURE_STATISTICS_INNER_H
#define MEASURE_STATISTICS_INNER_H

#include <dutywright/sine.h>
#include <dutywright/status.h>
#include <dutywright/table.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

/* how far the true wave may be from what the table says of it: docs/theory.md, section 4.6 */

/* Values from the least to the largest. */
struct value_range {
    double low, high;
};

static inline struct value_range range_of_none(void)
{
    return (struct value_range){ INFINITY, -INFINITY };
}

static inline struct value_range range_of_both(struct value_range a, struct value_range b)
{
    return (struct value_range){ fmin(a.low, b.low), fmax(a.high, b.high) };
}

/* range    of all values in the span and in the period of the carrier before it
 * returns  unit of the channel; 0: it is exact, or nothing is said */
static inline double tolerance_of(const struct dw_channel_facts *facts, struct value_range range)
{
    const double floor = 0x1p-50 * fmax(fabs(range.low), fabs(range.high));
    const double told = fmin(facts->accuracy, facts->share * (range.high - range.low)); /* of a NaN and a number the number */
    return told > 0 ? fmax(told, floor) : 0;
}

/* Bound of a quotient of two that are within `above` and `below` of the true ones. */
static inline double bound_of_ratio(double ratio, double above, double denominator, double below)
{
    return denominator > below ? (above + ratio * below) / (denominator - below) : INFINITY;
}

/* What lies between two rows, a straight line or a cubic, on a scale of its own: u runs from -1 to 1. docs/theory.md,
 * (4.12). */

/* x(u) = middle + rise u + (1 - u^2) (even - odd u); even and odd are 0 of a line. */
struct hermite {
    double middle, rise;
    double even, odd;
};

/* The cubic with the values a and b at its ends, so long apart, and these slopes a unit of length there. */
static inline struct hermite hermite_of(double length, double a, double a_slope, double b, double b_slope)
{
    const double rise = b / 2 - a / 2, eighth = length / 8;
    return (struct hermite){ a / 2 + b / 2, rise, eighth * a_slope - eighth * b_slope,
                             eighth * a_slope + eighth * b_slope - rise / 2 };
}

static inline struct hermite hermite_line(double a, double b)
{
    return (struct hermite){ .middle = a / 2 + b / 2, .rise = b / 2 - a / 2 };
}

static inline double hermite_at(const struct hermite *h, double u)
{
    return h->middle + (h->rise * u + (1 - u) * (1 + u) * (h->even - h->odd * u));
}

/* Its derivative by u. */
static inline double hermite_slope(const struct hermite *h, double u)
{
    return (h->rise - h->odd) + u * (3 * h->odd * u - 2 * h->even);
}

/* x is the sum of c[q] P_q(u), P_q Legendre's polynomials. */
static inline void hermite_legendre(const struct hermite *h, double c[4])
{
    c[2] = h->even * (-2 / 3.0);
    c[3] = h->odd * 0.4;
    c[0] = h->middle - c[2];
    c[1] = h->rise - c[3];
}

/* Where it turns inside, in order; how many times. What is nearer to an end than 2^-27 is taken for the end itself: by (4.14) the
 * values there differ by less than a rounding. */
int dwi_hermite_turns(const struct hermite *h, double at[2]);

/* Where one that does not turn passes a value that is not beyond its ends.
 *   returns   u, -1 to 1
 *   accuracy  4 ulp of 1, as far as the slope lets the values tell */
double dwi_hermite_place(const struct hermite *h, double value);

/* Mean, mean square about the mean, and extremes of straight lines and cubics, added up over time, and one time onto
 * the next. */

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

/* Adds one straight line between two rows, time first, which begins where those before ended.
 *   column    [channels]: where channel i stands in both rows
 *   source    docs/theory.md, equations 4.3 and 4.4 */
void dwi_moments_line(struct accumulator *accumulator, size_t channels, const size_t *column, const double *from, const double *to);

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

/* ---- samples ---- */

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
