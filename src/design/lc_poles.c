/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The stage's poles and partial fractions, and its response against frequency. */
#include "poles_inner.h"
#include <float.h>
#include <math.h>
#include <stddef.h>

/* Numerators and denominator of docs/theory.md, (6.11), by rising powers of s. */
struct fraction {
    int order;
    double out[3], current[3], below[4];
};

static struct fraction fraction_of(const struct lc_parts *p)
{
    const double g = 1 / p->load, te = p->esr, td = p->cd > 0 ? p->rd * p->cd : 0;
    struct fraction h = {
        .order = p->cd > 0 && td > 0 ? 3 : 2,  /* unrun: undamped */
        .out = { 1, te + td, te * td },
        .current = { g, p->c + p->cd + (te + td) * g, td * p->c + te * p->cd + te * td * g },
    };
    for (int n = 0; n < 3; n++) {
        h.below[n] += h.out[n] + p->r * h.current[n];
        h.below[n + 1] += p->l * h.current[n];
    }
    return h;
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
    for (int i = 0; i < 100 && high - low > 2 * DBL_EPSILON * high; i++) {  /* unrun: count */
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
    f->count = inside < 0 ? 1 : 2;
    f->rate[0] = middle;
    f->angular = inside < 0 ? distance : 0;
    if (!(inside < 0)) {
        f->rate[1] = middle + distance;
        f->rate[0] = distance == APART * middle ? middle - distance : square / f->rate[1];  /* unrun: rounding */
    }
}

/* Beside one or two others; real ones in order. */
static void put_real_pole(struct exp_sum *f, double rate)
{
    for (int n = 0; n < f->count && f->angular == 0; n++)
        if (fabs(f->rate[n] - rate) < 1e-8 * rate)  /* unrun: rounding */
            rate *= 1 + 1e-8;
    int at = f->count++;
    for (; at > 0 && f->angular == 0 && f->rate[at - 1] > rate; at--)
        f->rate[at] = f->rate[at - 1];
    f->rate[at] = rate;
}

/* Poles of 1 / below. */
static bool find_poles(struct exp_sum *f, const struct fraction *h)
{
    const double *a = h->below;
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
    put_real_pole(f, p);
    return f->rate[0] > 0;
}

/* Residues of the poles in a step's answer: numerator / (pole x derivative of the denominator) at each, (6.13). A pair's is
 * twice its first one's: what it adds is a real part. */
static void find_residues(struct exp_sum *f, const struct fraction *h, const double *above, int order)
{
    for (int n = 0; n < f->count; n++) {
        const double complex p = dwi_exp_sum_pole(f, n);
        double complex rest = h->below[h->order];
        for (int m = 0; m < f->count; m++) {
            const double complex other = dwi_exp_sum_pole(f, m);
            rest *= m == n ? 1 : other - p;
            if (m == 0 && f->angular != 0)
                rest *= (conj(other) - p) / (m == n ? 2 : 1);
        }
        f->even[n] = 1;
        f->odd = n == 0 ? 0 : f->odd;
        dwi_exp_sum_multiply(f, n, polynomial(above, order, -p) / (p * rest));
    }
}

bool dwi_lc_poles(struct filter_poles *poles, const struct lc_parts *parts)
{
    const struct fraction h = fraction_of(parts);
    const double per_gain[3] = { h.out[0] * h.below[0], h.out[1] * h.below[0], h.out[2] * h.below[0] };
    *poles = (struct filter_poles){ .gain = h.out[0] / h.below[0], .conductance = h.current[0] / h.below[0] };
    if (!find_poles(&poles->out, &h))
        return false;
    poles->current = poles->out;
    poles->out.kinked = parts->esr > 0;
    find_residues(&poles->out, &h, per_gain, h.order - 1);
    find_residues(&poles->current, &h, h.current, h.order - 1);
    /* unrun: undamped */
    return isfinite(dwi_exp_sum_bound(&poles->out, 0)) && isfinite(dwi_exp_sum_bound(&poles->current, 0));
}

double dwi_lc_response(const struct lc_parts *parts, double angular)
{
    const struct fraction h = fraction_of(parts);
    return cabs(polynomial(h.out, 2, I * angular)) / cabs(polynomial(h.below, 3, I * angular));
}
