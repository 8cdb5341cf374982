/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Phases and weights of the Fourier integral of a straight line or cubic: docs/theory.md, equations 5.4, 5.5, 5.8 to 5.10 and
 * 5.16 to 5.18. */
#include "measure/coefficients_inner.h"
#include <float.h>
#include <math.h>
#include <stdbool.h>

double dwi_turn_of(double n, double x, double rest)
{
    const double wide = 134217729 * x; /* 2^27 + 1: Dekker 1971, Numerische Mathematik 18:224 */
    const double high = wide - (wide - x), low = x - high + rest;
    const double product = n * high; /* exact: 26 bits by at most 27 */
    return (product - rint(product)) + n * low;
}

void dwi_turn_cos_sin(double turn, double *cosine, double *sine)
{
    const double angle = 2 * M_PI * turn;
    *cosine = cos(angle);
    *sine = sin(angle);
}

void dwi_rotate(const struct rotation *r, double cosine, double sine, double *restrict c, double *restrict s)
{
    for (size_t k = 0; k < CHUNK; k++) {
        c[k] = cosine * r->cosine[k] - sine * r->sine[k];
        s[k] = cosine * r->sine[k] + sine * r->cosine[k];
    }
}

void dwi_weights_of_line(double theta, double cosine, double sine, double *j0, double *j1)
{
    if (theta <= 1) {
        *j0 = weight_j0_series(theta);
        *j1 = weight_j1_series(theta);
    } else {
        *j0 = sine / theta;
        *j1 = (*j0 - cosine) / theta;
    }
}

void dwi_weights_to_degree(double theta, int degree, double *j)
{
    enum { BEYOND = 12 }; /* for theta <= 4 each step back divides the error by more than 10 */
    double ratio[WEIGHT_DEGREE_MOST + BEYOND + 2];
    dwi_weights_of_line(theta, cos(theta), sin(theta), &j[0], &j[1]);
    double next = 0;
    for (int q = degree + BEYOND; q >= 2; q--) {
        next = theta / (2 * q + 1 - theta * next);
        ratio[q] = next;
    }
    for (int q = 2; q <= degree; q++)
        j[q] = j[q - 1] * ratio[q]; /* NOLINT(clang-analyzer-core.UndefinedBinaryOperatorResult): set from the degree down to 2 */
}

int dwi_weight_degree(double theta_most)
{
    double term = 1; /* theta^q / (2q+1)!! */
    int q = 0;
    do {
        q++;
        term *= theta_most / (2 * q + 1);
    } while (q < 2 || 2 * sqrt(2 * q + 1) * term > DBL_EPSILON / 4);
    return q - 1;
}

double dwi_weight_markov(double kappa, int order)
{
    const double n = order;
    return pow(kappa, order - 3) * (((kappa + 9 * n) * kappa + 12 * n * (n - 1)) * kappa + 4 * n * (n - 1) * (n - 2));
}

/* Largest kappa with constant * (kappa^2g + 2g kappa^(2g-1)) <= 2^-54, or of a cubic the like; the left side rises with kappa. */
static double reach_of(int nodes, double constant, bool cubic)
{
    double low = 0, high = 8;
    for (int i = 0; i < 60; i++) {
        const double kappa = (low + high) / 2;
        const double most = cubic ? dwi_weight_markov(kappa, 2 * nodes) : pow(kappa, 2 * nodes - 1) * (kappa + 2 * nodes);
        if (constant * most <= DBL_EPSILON / 4)
            low = kappa;
        else
            high = kappa;
    }
    return low;
}

/* Half the constant in the error of Gauss's rule: 2^(2g+1) (g!)^4 / ((2g+1) ((2g)!)^3). Abramowitz and Stegun 25.4.30 */
static double error_constant(int nodes)
{
    double product = 1.0 / (2 * nodes + 1);
    for (int i = 1; i <= nodes; i++) { /* (2i)! / (2i-2)! = 2i (2i-1) */
        const double pair = 2.0 * i * (2 * i - 1);
        product *= 4.0 * i * i * i * i / (pair * pair * pair);
    }
    return product;
}

static double legendre(int degree, double x, double *slope)
{
    double before = 1, now = x;
    for (int q = 1; q < degree; q++) {
        const double next = ((2 * q + 1) * x * now - q * before) / (q + 1);
        before = now;
        now = next;
    }
    *slope = degree * (x * now - before) / (x * x - 1);
    return now;
}

void dwi_gauss_rules_fill(struct gauss_rules *rules)
{
    for (int g = 1; g <= GAUSS_MOST; g++) {
        for (int i = 0; i < g; i++) {
            double x = cos(M_PI * (i + 0.75) / (g + 0.5)), slope;
            for (int turn = 0; turn < 6; turn++) /* Newton doubles the digits of a first guess good to 1e-2 */
                x -= legendre(g, x, &slope) / slope;
            legendre(g, x, &slope);
            rules->node[g][i] = x;
            rules->weight[g][i] = 2 / ((1 - x * x) * slope * slope);
        }
        rules->error[g] = error_constant(g);
        rules->reach[g] = reach_of(g, rules->error[g], false);
        rules->reach_of_cubic[g] = g < 2 ? 0 : reach_of(g, rules->error[g], true);
    }
}
