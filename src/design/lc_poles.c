/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The stage's poles and partial fractions, and its response against frequency. */
#include "lc_poles_inner.h"
#include <complex.h>
#include <float.h>
#include <math.h>
#include <stddef.h>

/* Numerators and denominator of docs/theory.md, (6.11), by rising powers of s. */
struct fraction {
    int order;
    double out[2], current[3], below[4];
};

static struct fraction fraction_of(const struct lc_parts *p)
{
    const double g = 1 / p->load, td = p->rd * p->cd, direct = 1 + p->r * g, first = p->r * p->c + p->l * g, second = p->l * p->c;
    if (!(p->cd > 0))
        return (struct fraction){ 2, { 1, 0 }, { g, p->c, 0 }, { direct, first, second, 0 } };
    return (struct fraction){
        .order = td > 0 ? 3 : 2,
        .out = { 1, td },
        .current = { g, p->c + p->cd + td * g, td * p->c },
        .below = { direct, td * direct + first + p->r * p->cd, second + td * first + p->l * p->cd, td * second },
    };
}

static double complex polynomial(const double *a, int order, double complex s)
{
    double complex sum = a[order];
    for (int n = order; n-- > 0;)
        sum = sum * s + a[n];
    return sum;
}

/* One real p with a0 - a1 p + a2 p^2 - a3 p^3 = 0. For a passive circuit a1 a2 > a0 a3, so that it lies between a0 / a1 and
 * a2 / a3 (theory, 6.12). */
static double real_pole(const double *a)
{
    double low = a[0] / a[1], high = a[2] / a[3], p = sqrt(low * high);
    for (int i = 0; i < 100 && high - low > 2 * DBL_EPSILON * high; i++) {
        const double value = ((-a[3] * p + a[2]) * p - a[1]) * p + a[0], slope = (-3 * a[3] * p + 2 * a[2]) * p - a[1];
        if (value > 0)
            low = p;
        else
            high = p;
        double next = p - value / slope;
        if (!(next > low && next < high))
            next = sqrt(low * high);
        const double moved = fabs(next - p);
        p = next;
        if (moved <= DBL_EPSILON * p)
            break;
    }
    return p;
}

/* Two poles nearer than this to each other, relatively, are moved apart by it: the error is its square, the digits lost in
 * partial fractions its inverse, and the cube root of epsilon makes both 4e-11. */
static const double APART = 6e-6;

static void quadratic_poles(struct exp_sum *f, double a0, double a1, double a2)
{
    const double middle = a1 / (2 * a2), square = a0 / a2, inside = middle * middle - square;
    const double distance = fmax(sqrt(fabs(inside)), APART * middle);
    f->oscillating = inside < 0;
    if (f->oscillating) {
        f->rate[0] = f->rate[1] = middle;
        f->angular = distance;
    } else {
        f->rate[1] = middle + distance;
        f->rate[0] = distance == APART * middle ? middle - distance : square / f->rate[1];
    }
}

/* Poles of 1 / below. */
static bool poles(struct exp_sum *f, const struct fraction *h)
{
    const double *a = h->below;
    f->count = h->order;
    if (h->order == 2) {
        quadratic_poles(f, a[0], a[1], a[2]);
        return f->rate[0] > 0;
    }
    if (!(a[1] * a[2] > a[0] * a[3]))
        return false;
    const double p = real_pole(a), by_top = a[2] - p * a[3], by_bottom = (a[1] - a[0] / p) / p;
    /* the quadratic that is left, from the end of the polynomial where less cancels */
    const bool top = fabs(by_top) / a[2] > fabs(by_bottom) * p / a[1];
    quadratic_poles(f, a[0] / p, top ? by_top : by_bottom, a[3]);
    f->rate[2] = p;
    for (int n = 0; n < 2 && !f->oscillating; n++)
        if (fabs(f->rate[n] - f->rate[2]) < 1e-8 * f->rate[2])
            f->rate[2] *= 1 + 1e-8;
    return f->rate[0] > 0;
}

/* Shares of the poles in a step response: numerator / (rate x derivative of the denominator) at each, (6.13). */
static void shares(struct exp_sum *f, const struct fraction *h, const double *above, int order)
{
    const int n_first = f->oscillating ? 2 : 0;
    const double top = h->below[h->order];
    for (int n = n_first; n < f->count; n++) {
        double rest = top;
        for (int m = n_first; m < f->count; m++)
            rest *= m == n ? 1 : f->rate[m] - f->rate[n];
        if (f->oscillating)
            rest *= (f->rate[0] - f->rate[n]) * (f->rate[0] - f->rate[n]) + f->angular * f->angular;
        f->even[n] = creal(polynomial(above, order, -f->rate[n])) / (f->rate[n] * rest);
    }
    if (f->oscillating) {
        const double complex p = f->rate[0] - I * f->angular;
        double complex rest = top * 2 * I * f->angular;
        for (int m = 2; m < f->count; m++)
            rest *= f->rate[m] - p;
        const double complex share = 2 * polynomial(above, order, -p) / (p * rest);
        f->even[0] = creal(share);
        f->even[1] = 0;
        f->odd = -cimag(share);
    }
}

bool lc_poles_new(struct lc_poles *filter, const struct lc_parts *parts)
{
    const struct fraction h = fraction_of(parts);
    *filter = (struct lc_poles){ .gain = h.out[0] / h.below[0], .conductance = h.current[0] / h.below[0] };
    if (!poles(&filter->out, &h))
        return false;
    filter->current = filter->out;
    shares(&filter->out, &h, h.out, h.order == 3 ? 1 : 0);
    shares(&filter->current, &h, h.current, h.order - 1);
    return isfinite(exp_sum_bound(&filter->out, 0)) && isfinite(exp_sum_bound(&filter->current, 0));
}

double lc_response(const struct lc_parts *parts, double angular)
{
    const struct fraction h = fraction_of(parts);
    return cabs(polynomial(h.out, 1, I * angular)) / cabs(polynomial(h.below, 3, I * angular));
}

double lc_cutoff(const struct lc_parts *parts)
{
    const double wanted = 1 / (1 + parts->r / parts->load) * M_SQRT1_2;
    /* beyond its natural frequency, without and with the damping capacitor, the response only falls */
    double low = 0.5 / sqrt(parts->l * (parts->c + parts->cd)), high = low;
    while (lc_response(parts, high) > wanted || high * high * parts->l * parts->c < 4)
        high *= 2;
    while (lc_response(parts, low) < wanted)
        low /= 2;
    double step = high / low;
    /* downwards in small steps to the highest crossing, then bisection */
    step = pow(step, 1.0 / 256);
    while (lc_response(parts, high / step) < wanted)
        high /= step;
    low = high / step;
    for (int i = 0; i < 60; i++) {
        const double middle = (low + high) / 2;
        if (lc_response(parts, middle) > wanted)
            low = middle;
        else
            high = middle;
    }
    return (low + high) / 2 / (2 * M_PI);
}
