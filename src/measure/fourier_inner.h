/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Fourier coefficients of straight lines, exact up to rounding: docs/theory.md, section 5. Three ways to one answer. */
#ifndef MEASURE_FOURIER_INNER_H
#define MEASURE_FOURIER_INNER_H

#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

/* ---- weights ---- */

/* n * (x + rest) modulo 1 in [-1/2, 1/2], to an ulp of 1/2: the product is never rounded as a whole. 0 <= n <= 2^26, |x| <= 1,
 * |rest| at most an ulp of x. */
double turn_of(double n, double x, double rest);
/* cos and sin of so many turns, |turn| <= 1/2. */
void turn_cos_sin(double turn, double *cosine, double *sine);
enum { CHUNK = 64 }; /* lines between two phases that are reduced afresh */
/* e^(j k angle) for k = 0 .. CHUNK - 1 */
struct rotation {
    double cosine[CHUNK], sine[CHUNK];
};
/* cosine + j sine times the rotation: c + j s, [CHUNK]. */
void rotate(const struct rotation *rotation, double cosine, double sine, double *c, double *s);

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
/* The same at any theta >= 0, given its cosine and sine.
 *   accuracy  3 ulp of 1 / (1 + theta) */
void weights_of_line(double theta, double cosine, double sine, double *j0, double *j1);
/* j_0 .. j_degree at 0 <= theta <= 4; j_q is the product of ratios that a downward continued fraction gives.
 *   j         out, [degree + 1]
 *   source    ratio: Gautschi 1967, SIAM Review 9:24
 *   accuracy  (q + 4) ulp of j_q for q >= 1; j_0 an ulp of 1 near its zero */
void weights_to_degree(double theta, int degree, double *j);

enum { WEIGHT_DEGREE_MOST = 24, GAUSS_MOST = 14 };
/* Degree beyond which a cell's moments change no line with |theta| <= theta_most <= pi by more than 2^-54 of the largest
 * value: equation 5.8. */
int weight_degree(double theta_most);

struct gauss_rules {
    double node[GAUSS_MOST + 1][GAUSS_MOST], weight[GAUSS_MOST + 1][GAUSS_MOST];
    double error[GAUSS_MOST + 1];  /* of the mean of a function over [-1, 1] whose 2g-th derivative is at most 1, g nodes */
    double reach[GAUSS_MOST + 1];  /* largest kappa for which so many nodes do: equation 5.9 */
};
/* Nodes and weights of Gauss and Legendre on [-1, 1], 1 to GAUSS_MOST nodes. */
void gauss_rules_fill(struct gauss_rules *rules);

/* ---- rows of whole periods ---- */

/* Rows [count x (1 + channels)], column 0 a time. Where time does not rise from one row to the next (a jump, or the next
 * period) there is no line between them. */
struct fourier_rows {
    const double *row;
    size_t count, channels;
    double start, period;  /* (time - start) / period is 0..1; 0 and 1 for times that are already such shares */
};

/* Cells into which a period must be cut so that all rows lie on their borders.
 *   cells    in: what earlier rows need, at first 1; out: for these rows too
 *   slack    share of the period by which a row may be off its border
 *   most     cells
 *   returns  false where no such number is below `most` */
bool fourier_grid(const struct fourier_rows *rows, double slack, size_t most, size_t *cells);

/* Share of a length by which a row may be off a grid: 2 ulp of the latest time, and the rounding of the share itself. */
double fourier_slack(double latest, double length);

/* Whether the rows, 2 to FOURIER_CELLS_MOST, divide the period into equal cells, each at its border: what a sampled record looks like. */
bool fourier_uniform(const struct fourier_rows *rows, double slack);

/* Whether any row jumps within a period, once all rows lie on that grid. */
bool fourier_jumps(const struct fourier_rows *rows, size_t cells);

/* ---- sums ---- */

enum fourier_way {
    FOURIER_DIRECT,  /* every line piece by piece: rows x lines */
    FOURIER_GRID,    /* rows on the borders of cells: two transforms */
    FOURIER_VALUES,  /* the same for a wave that does not jump within its period: one transform */
    FOURIER_CELLS    /* rows anywhere: one transform for each moment of the cells */
};

struct fourier_plan {
    enum fourier_way way;
    size_t lines;     /* highest line; at most FOURIER_LINES_MOST */
    size_t channels;
    size_t cells;     /* FOURIER_GRID, FOURIER_VALUES */
    bool uniform;     /* FOURIER_VALUES, FOURIER_CELLS: fourier_uniform holds, and the rows come in one call */
    size_t points;    /* uniform FOURIER_CELLS: lines between rows, 64 or more in each cell; else 0 */
};
enum { FOURIER_LINES_MOST = 1 << 26, FOURIER_CELLS_MOST = 1 << 28 };

/* How to sum up rows that fourier_uniform holds for. */
struct fourier_plan fourier_choose_uniform(size_t rows, size_t lines, size_t channels);
/* What is likely the fastest way for so many rows in all.
 *   grid     cells of their grid, 0: none
 *   returns  a plan; FOURIER_GRID where it is that, which the caller may better to FOURIER_VALUES */
struct fourier_plan fourier_choose(size_t rows, size_t lines, size_t channels, size_t grid);

struct fourier;
/* reference  [channels], taken off all values: constants change no line but lines of a small ripple gain digits */
struct fourier *fourier_new(const struct fourier_plan *plan, const double *reference, struct dw_error *error);
void fourier_free(struct fourier *fourier);
const struct fourier_plan *fourier_plan(const struct fourier *fourier);
/* Goes on by another plan for as many lines of as many channels; what has been gathered is lines from now on.
 *   returns  DW_OK or DW_NO_MEMORY, and then *fourier may only be freed */
enum dw_status fourier_change(struct fourier **fourier, const struct fourier_plan *plan, struct dw_error *error);
/* Adds rows; may be called again with more, and each call may hold any part of any number of periods as long as the last
 * row of one call is the first of the next wherever a line joins them. */
void fourier_add(struct fourier *fourier, const struct fourier_rows *rows);
/* Adds what another sum of the same plan, which has never changed it, has gathered. */
void fourier_merge(struct fourier *fourier, const struct fourier *other);
/* Coefficients c_n = 1/P integral of (x - reference) e^(-j 2 pi n t / P) dt, n = 0 .. lines, summed over the periods added.
 * Ends the gathering: no more rows after this.
 *   scale  multiplies all: 1 / periods
 *   out    [channels x (lines + 1) x 2], real and imaginary parts
 *   accuracy  c_n to 2^-50 of the largest |x - reference|, plus that of the times: equation 5.11 */
enum dw_status fourier_coefficients(struct fourier *fourier, double scale, double *out, struct dw_error *error);

/* Parts of struct fourier, each in its file. */
struct fourier_direct;
struct fourier_direct *direct_new(const struct fourier_plan *plan);
void direct_free(struct fourier_direct *direct);
void direct_add(struct fourier_direct *direct, const double *share, const double *value, size_t count);
void direct_merge(struct fourier_direct *direct, const struct fourier_direct *other);
void direct_coefficients(struct fourier_direct *direct, double scale, double *out);

struct fourier_cells;
struct fourier_cells *cells_new(const struct fourier_plan *plan);
void cells_free(struct fourier_cells *cells);
/* Rows that fourier_uniform holds for. */
void cells_add_uniform(struct fourier_cells *cells, const struct fourier_rows *rows, const double *reference);
void cells_add(struct fourier_cells *cells, const double *share, const double *value, size_t count);
void cells_merge(struct fourier_cells *cells, const struct fourier_cells *other);
enum dw_status cells_coefficients(struct fourier_cells *cells, double scale, double *out, struct dw_error *error);

#endif
