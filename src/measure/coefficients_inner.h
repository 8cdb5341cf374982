/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Fourier coefficients of rows. Not installed. */
#ifndef MEASURE_COEFFICIENTS_INNER_H
#define MEASURE_COEFFICIENTS_INNER_H

#include "measure/statistics_inner.h"
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

/* ---- rows of whole periods, the lines or cubics between them, and the grid on which they may lie ---- */

/* Rows, their times and values anywhere in memory. Where time does not rise from one row to the next (a jump, or the next
 * period) there is no line between them. */
struct fourier_rows {
    const double *time, *value;     /* row i: time[i time_step]; channel c: value[i value_step + c] */
    size_t time_step, value_step, count, channels;
    const double *slope;            /* a unit of time, NULL: straight lines; row i, channel c: slope[i value_step + slope_of[c] - 1] ... */
    const size_t *slope_of;         /* ... [channels], 0: this one has none; NULL: slope_of[c] is c + 1 */
    double start, period;           /* (time - start) / period is 0..1; 0 and 1 for times that are already such shares */
    const double *reference;        /* [channels], taken off all values: constants change no line of a whole period but line 0,
                                       and lines of a small ripple gain digits */
};

/* Share of the period at which row i stands, 0..1: a rounding outside is at the end. */
static inline double fourier_share(const struct fourier_rows *rows, size_t i)
{
    const double share = (rows->time[i * rows->time_step] - rows->start) / rows->period;
    return share < 0 ? 0 : share > 1 ? 1 : share;
}

/* Where the slope of a channel stands in a row of slopes, which there are, counted from 1; 0: nowhere. */
static inline size_t fourier_slope_of(const struct fourier_rows *rows, size_t channel)
{
    return rows->slope_of ? rows->slope_of[channel] : channel + 1;
}

/* What lies between rows, one piece after the other: at first all is 0 but `rows` and the arrays. */
struct fourier_piece {
    const struct fourier_rows *rows;
    double *start, *end;            /* [channels] of the caller's: values there, less the reference */
    struct hermite *cubic;          /* [channels], the same once more where the rows have slopes, of lines too; else NULL */
    double from, to;                /* shares of the period */
    size_t row;
};
/*   returns  false: there is no more */
bool dwi_fourier_next(struct fourier_piece *piece);

enum { FOURIER_CELLS_MOST = 1 << 28 };
/* The fewest cells into which a period must be cut so that all rows, 2 or more, lie on their borders; where that is not found,
 * as many as there are lines between rows, if those do.
 *   slack    share of the period by which a row may be off its border
 *   most     cells, beside the latter
 *   returns  0: there are none */
size_t dwi_fourier_grid(const struct fourier_rows *rows, double slack, size_t most);
/* Share of a length by which a row may be off a grid: 2 ulp of the latest time, and the rounding of the share itself. */
double dwi_fourier_slack(double latest, double length);

/* Fourier coefficients of straight lines and cubics, exact up to rounding: docs/theory.md, section 5. Two ways to one
 * answer: line by line, and in cells. */

enum { FOURIER_LINES_MOST = 1 << 26 };

/* How rows are summed up. */
struct fourier_way {
    bool direct;   /* every piece for each line; else in cells */
    size_t grid;   /* cells on whose borders all rows lie, straight lines between them; 0: cells as the lines need them */
};
/* What takes the fewest operations.
 *   grid  as dwi_fourier_grid gives it */
struct fourier_way dwi_fourier_choose(size_t rows, size_t lines, size_t channels, size_t grid);

/* Coefficients c_n = integral of (x - reference) e^(-j 2 pi n (t - start) / period) dt / period, n = 0 .. lines, summed over all
 * periods that the rows hold, or parts of them.
 *   out       [channels x (lines + 1) x 2], real and imaginary parts
 *   returns   DW_OK or DW_NO_MEMORY
 *   accuracy  c_n to 2^-50 of the largest |x - reference|, plus that of the times: equation 5.11 */
enum dw_status dwi_fourier_by(const struct fourier_way *way, const struct fourier_rows *rows, size_t lines, double *out,
                              struct dw_error *error);
/* The same by the way that takes the fewest operations.
 *   slack  as in dwi_fourier_grid */
enum dw_status dwi_fourier(const struct fourier_rows *rows, double slack, size_t lines, double *out, struct dw_error *error);

/* Either way, in its file.
 *   grid     as in fourier_way
 *   returns  false: no memory */
bool dwi_fourier_direct(const struct fourier_rows *rows, size_t lines, double *out);
bool dwi_fourier_cells(const struct fourier_rows *rows, size_t lines, size_t grid, double *out);

/* Phases and weights of the Fourier integral of a straight line or cubic, and nodes for it: docs/theory.md, section 5. */

/* n * (x + rest) modulo 1 in [-1/2, 1/2], to an ulp of 1/2: the product is never rounded as a whole. 0 <= n <= 2^26, |x| <= 1,
 * |rest| at most an ulp of x. */
double dwi_turn_of(double n, double x, double rest);
/* cos and sin of so many turns, |turn| <= 1/2. */
void dwi_turn_cos_sin(double turn, double *cosine, double *sine);
enum { CHUNK = 64 }; /* lines between two phases that are reduced afresh */
/* e^(j k angle) for k = 0 .. CHUNK - 1 */
struct rotation {
    double cosine[CHUNK], sine[CHUNK];
};
/* cosine + j sine times the rotation: c + j s, [CHUNK]. */
void dwi_rotate(const struct rotation *rotation, double cosine, double sine, double *c, double *s);

/* Spherical Bessel functions j_0 and j_1 for 0 <= theta <= 1, 2 ulp; terms beyond these are below 2^-56: DLMF 10.53.1. */
static inline double weight_j0_series(double theta)
{
    const double s = theta * theta;
    return 1 + s * (-1 / 6.0 + s * (1 / 120.0 + s * (-1 / 5040.0 + s * (1 / 362880.0 + s * (-1 / 39916800.0 +
           s * (1 / 6227020800.0 + s * (-1 / 1307674368000.0 + s / 355687428096000.0)))))));
}
static inline double weight_j1_series(double theta)
{
    const double s = theta * theta;
    return theta * (1 / 3.0 + s * (-1 / 30.0 + s * (1 / 840.0 + s * (-1 / 45360.0 + s * (1 / 3991680.0 +
           s * (-1 / 518918400.0 + s * (1 / 93405312000.0 - s / 22230464256000.0)))))));
}
/* j_2 and j_3 for 0 <= theta <= 3, 4 ulp; what is left out is below 2^-57 of them. */
static inline double weight_j2_series(double theta)
{
    const double s = theta * theta / -2;
    return theta * theta * (1 / 15.0) * (1 + s * (1 / 7.0) * (1 + s * (1 / 18.0) * (1 + s * (1 / 33.0) * (1 + s * (1 /
           52.0) * (1 + s * (1 / 75.0) * (1 + s * (1 / 102.0) * (1 + s * (1 / 133.0) * (1 + s * (1 / 168.0) * (1 + s *
           (1 / 207.0) * (1 + s * (1 / 250.0) * (1 + s * (1 / 297.0) * (1 + s * (1 / 348.0) * (1 + s * (1 /
           403.0))))))))))))));
}
static inline double weight_j3_series(double theta)
{
    const double s = theta * theta / -2;
    return theta * theta * theta * (1 / 105.0) * (1 + s * (1 / 9.0) * (1 + s * (1 / 22.0) * (1 + s * (1 / 39.0) * (1 +
           s * (1 / 60.0) * (1 + s * (1 / 85.0) * (1 + s * (1 / 114.0) * (1 + s * (1 / 147.0) * (1 + s * (1 / 184.0) *
           (1 + s * (1 / 225.0) * (1 + s * (1 / 270.0) * (1 + s * (1 / 319.0) * (1 + s * (1 / 372.0) * (1 + s * (1 /
           429.0))))))))))))));
}
/* The same at any theta >= 0, given its cosine and sine.
 *   accuracy  3 ulp of 1 / (1 + theta) */
void dwi_weights_of_line(double theta, double cosine, double sine, double *j0, double *j1);
/* j_0 .. j_degree at 0 <= theta <= 4; j_q is the product of ratios that a downward continued fraction gives.
 *   j         out, [degree + 1]
 *   source    ratio: Gautschi 1967, SIAM Review 9:24
 *   accuracy  (q + 4) ulp of j_q for q >= 1; j_0 an ulp of 1 near its zero */
void dwi_weights_to_degree(double theta, int degree, double *j);

enum { WEIGHT_DEGREE_MOST = 24, GAUSS_MOST = 14 };
/* Degree beyond which a cell's moments change no line with |theta| <= theta_most <= pi by more than 2^-54 of the largest
 * value: equation 5.8. */
int dwi_weight_degree(double theta_most);

/* Most of the derivative of that order, 3 or more, that a cubic within -1 .. 1 has when multiplied by e^(j kappa v), for v from -1
 * to 1: equation 5.18. */
double dwi_weight_markov(double kappa, int order);

struct gauss_rules {
    double node[GAUSS_MOST + 1][GAUSS_MOST], weight[GAUSS_MOST + 1][GAUSS_MOST];
    double error[GAUSS_MOST + 1];  /* of the mean of a function over [-1, 1] whose 2g-th derivative is at most 1, g nodes */
    double reach[GAUSS_MOST + 1];  /* largest kappa for which so many nodes do: equation 5.9 */
    double reach_of_cubic[GAUSS_MOST + 1]; /* equation 5.18 */
};
/* Nodes and weights of Gauss and Legendre on [-1, 1], 1 to GAUSS_MOST nodes. */
void dwi_gauss_rules_fill(struct gauss_rules *rules);

#endif
