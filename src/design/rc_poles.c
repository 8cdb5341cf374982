/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Poles and residues of RC ladders: closed forms, and for three stages Laguerre's method from the outside in. */
#include "poles_inner.h"
#include <float.h>
#include <math.h>

/* Laguerre's step towards the smallest root of c0 - c1 x + c2 x^2 - c3 x^3, all of whose roots are real: from below it
 * comes up without passing it (Householder 1970, The Numerical Treatment of a Single Nonlinear Equation). */
static double smallest_root(double c0, double c1, double c2, double c3)
{
    double x = 0;
    for (int i = 0; i < 60; i++) {  /* unrun: count */
        const double f = ((-c3 * x + c2) * x - c1) * x + c0, f1 = (-3 * c3 * x + 2 * c2) * x - c1, f2 = 2 * c2 - 6 * c3 * x;
        const double inside = 4 * f1 * f1 - 6 * f * f2;
        const double step = 3 * f / (sqrt(inside > 0 ? inside : 0) - f1);  /* unrun: rounding */
        if (!(step > DBL_EPSILON / 4 * x))
            break;
        x += step;
    }
    return x;
}

/* Numerator of the ladder's 1 / transfer, a[0] + a[1] s + ...: node by node from the load, (6.1). Only sums of positive
 * terms, so each coefficient is good to a few ulp. */
static void ladder_polynomial(int stages, const double *r, const double *c, double load, double *a)
{
    double v[POLES_MAX + 1] = { 1 }, i[POLES_MAX + 1] = { 1 / load, c[stages - 1] };
    for (int k = stages - 1; k >= 0; k--) {
        for (int n = 0; n <= stages - k; n++)
            v[n] += r[k] * i[n];
        for (int n = 0; k > 0 && n <= stages - k; n++)
            i[n + 1] += c[k - 1] * v[n];
    }
    for (int n = 0; n <= stages; n++)
        a[n] = v[n];
}

/*   p, w  out: poles and residues; returns the gain */
static double one_stage(double r, double c, double load, double *p, double *w)
{
    const double conductance = 1 / load;
    p[0] = (1 / r + conductance) / c;
    w[0] = 1;
    return 1 / (1 + r * conductance);
}

static double two_stages(const double *r, const double *c, double load, double *p, double *w)
{
    /* the state matrix made symmetric: its discriminant is a sum of squares */
    const double conductance = 1 / load, g2 = 1 / r[1], one = (1 / r[0] + g2) / c[0], two = (g2 + conductance) / c[1];
    const double apart = one - two, distance = sqrt(apart * apart + 4 * g2 * g2 / (c[0] * c[1]));
    const double direct = 1 + (r[0] + r[1]) * conductance;
    p[1] = (one + two + distance) / 2;
    p[0] = direct / (r[0] * c[0] * r[1] * c[1]) / p[1];
    w[0] = p[1] / distance;
    w[1] = -p[0] / distance;
    return 1 / direct;
}

static double three_stages(const double *r, const double *c, double load, double *p, double *w)
{
    double a[POLES_MAX + 1] = { 0 };
    ladder_polynomial(3, r, c, load, a);
    p[0] = smallest_root(a[0], a[1], a[2], a[3]);
    p[2] = 1 / smallest_root(a[3], a[2], a[1], a[0]);
    p[1] = a[0] / (a[3] * p[0] * p[2]);
    for (int k = 0; k < 3; k++) {
        const double one = p[(k + 1) % 3], two = p[(k + 2) % 3];
        w[k] = one / (one - p[k]) * (two / (two - p[k]));
    }
    return 1 / a[0];
}

void dwi_rc_poles(struct filter_poles *poles, int stages, const double *r, const double *c, double load)
{
    double *p = poles->out.rate, *w = poles->out.even;
    poles->out.count = stages;
    poles->out.angular = poles->out.odd = poles->out.jump = 0;
    poles->out.kinked = false;
    poles->gain = stages == 1   ? one_stage(r[0], c[0], load, p, w)
                  : stages == 2 ? two_stages(r, c, load, p, w)
                                : three_stages(r, c, load, p, w);
}

/* Fractions in s / (1 + esr s) are fractions in s: each residue falls as its pole does. (6.37) */
static void put_in_series(struct exp_sum *out, double esr)
{
    out->jump = 1;
    out->kinked = true;
    for (int k = 0; k < out->count; k++) {
        const double slower = 1 + out->rate[k] * esr;
        out->jump *= out->rate[k] * esr / slower;
        out->rate[k] /= slower;
        out->even[k] /= slower;
    }
}

void dwi_poles_lossy(struct filter_poles *poles, double leak, double esr)
{
    double *p = poles->out.rate, *w = poles->out.even, all = 1;
    if (esr > 0)
        put_in_series(&poles->out, esr);
    if (leak == 0)
        return;
    for (int k = 0; k < poles->out.count; k++)
        all *= (1 + leak / p[k]) / (1 + leak * esr);
    for (int k = 0; k < poles->out.count; k++) {
        w[k] *= all / (1 + leak / p[k]);
        p[k] += leak;
    }
    poles->out.jump *= all;
    poles->gain /= all;
}
