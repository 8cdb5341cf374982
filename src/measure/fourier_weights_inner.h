/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Phases and weights of the Fourier integral of a straight line or cubic, and nodes for it: docs/theory.md, section 5. */
#ifndef MEASURE_FOURIER_WEIGHTS_INNER_H
#define MEASURE_FOURIER_WEIGHTS_INNER_H

#include <stddef.h>

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
