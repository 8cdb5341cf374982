/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "poles_inner.h"
#include <float.h>
#include <math.h>

double complex dwi_exp_power(double complex p, double t)
{
    return cimag(p) == 0 ? exp(-creal(p) * t) : cexp(-p * t);
}

double complex dwi_exp_less_one(double complex p, double t)
{
    const double real = expm1(-creal(p) * t);
    if (cimag(p) == 0)
        return real;
    const double half = sin(cimag(p) * t / 2), angle = -cimag(p) * t;
    return real * cos(angle) - 2 * half * half + I * (real + 1) * sin(angle);
}

double complex dwi_exp_sum_pole(const struct exp_sum *f, int n)
{
    return n == 0 ? f->rate[0] + I * f->angular : f->rate[n];
}

void dwi_exp_sum_multiply(struct exp_sum *f, int n, double complex factor)
{
    const double even = f->even[n];
    f->even[n] *= creal(factor);
    if (n == 0 && f->angular != 0) {
        f->even[0] -= f->odd * cimag(factor);
        f->odd = f->odd * creal(factor) + even * cimag(factor);
    }
}

/* The largest that one of the exponentials is at 0. */
static double size_of(const struct exp_sum *f, int n)
{
    return n == 0 && f->angular != 0 ? hypot(f->even[0], f->odd) : fabs(f->even[n]);
}

double dwi_exp_sum_at(const struct exp_sum *f, double time, double *slope)
{
    double sum = 0, rise = 0;
    int n = 0;
    if (f->angular != 0) {
        const double left = exp(-f->rate[0] * time), c = cos(f->angular * time), s = sin(f->angular * time);
        sum = left * (f->even[0] * c + f->odd * s);
        rise = f->angular * left * (f->odd * c - f->even[0] * s) - f->rate[0] * sum;
        n = 1;
    }
    for (; n < f->count; n++) {
        const double term = f->even[n] * exp(-f->rate[n] * time);
        sum += term;
        rise -= f->rate[n] * term;
    }
    if (slope)
        *slope = rise;
    return sum;
}

struct exp_sum dwi_exp_sum_slope(const struct exp_sum *f)
{
    struct exp_sum slope = *f;
    for (int n = 0; n < f->count; n++)
        slope.even[n] = -f->rate[n] * f->even[n];
    if (f->angular != 0) {
        slope.even[0] += f->angular * f->odd;
        slope.odd = -f->angular * f->even[0] - f->rate[0] * f->odd;
    }
    return slope;
}

double dwi_exp_sum_bound(const struct exp_sum *f, double time)
{
    double sum = 0;
    for (int n = 0; n < f->count; n++)
        sum += size_of(f, n) * exp(-f->rate[n] * time);
    return sum;
}

int dwi_exp_sum_slowest(const struct exp_sum *f)
{
    int slowest = 0;
    for (int n = 1; n < f->count; n++)
        slowest = f->rate[n] < f->rate[slowest] ? n : slowest;
    return slowest;
}

double dwi_exp_sum_bounded_from(const struct exp_sum *f, double level)
{
    /* the bound's logarithm is convex: Newton comes up to the level from the left, where the slowest alone has it */
    const int slow = dwi_exp_sum_slowest(f);
    double time = fmax(0, log(size_of(f, slow) / level) / f->rate[slow]);
    for (int i = 0; i < 60 && f->count > 1; i++) {  /* unrun: count */
        double sum = 0, fall = 0;
        for (int n = 0; n < f->count; n++) {
            const double term = size_of(f, n) * exp(-f->rate[n] * time);
            sum += term;
            fall += term * f->rate[n];
        }
        const double step = log(sum / level) * sum / fall;
        if (!(step > 0))
            break;
        time += step;
        if (step < 1e-6 * time)  /* and the next is its square */
            break;
    }
    return time;
}

/* From when on the exponential beside an oscillation outweighs it, so that there is no zero left. */
static double outweighed_from(const struct exp_sum *f)
{
    if (f->count < 2 || !(f->rate[0] > f->rate[1]))
        return INFINITY;
    return log(hypot(f->even[0], f->odd) / fabs(f->even[1])) / (f->rate[0] - f->rate[1]);
}

/* The next place after `from` between which and the one before the function changes sign at most once. */
static double next_fence(const struct exp_sum *f, double from, double length)
{
    double fence = length;
    if (f->angular != 0) {
        /* f exp(rate t) is a constant and exp(lift t) cos(angle - phase), which turns where tan(angle - phase) = lift / angular */
        const double lift = f->count > 1 ? f->rate[1] - f->rate[0] : 0;
        const double turn = atan2(f->odd, f->even[0]) + atan(lift / f->angular), half = M_PI / f->angular;
        fence = turn / f->angular;
        fence += half * (floor((from - fence) / half) + 1);
        if (!(fence > from))
            fence += half;
    } else {
        /* f exp(rate[0] t) turns once: of three that have two zeros, signs alternate */
        const double one = (f->rate[1] - f->rate[0]) * f->even[1], two = (f->rate[2] - f->rate[0]) * f->even[2];
        fence = log(-two / one) / (f->rate[2] - f->rate[1]);
    }
    return fence > from && fence < length ? fence : length;
}

/* Newton's step back towards a zero, and the value. Of real exponentials it is that of the logarithm of those above zero over those
 * below, which is nearly a straight line: of two it is one. */
static double newton_step(const struct exp_sum *f, double time, double *value)
{
    double up = 0, down = 0, up_slope = 0, down_slope = 0;
    if (f->angular != 0) {
        *value = dwi_exp_sum_at(f, time, &up_slope);
        return *value / up_slope;
    }
    for (int n = 0; n < f->count; n++) {
        const double term = f->even[n] * exp(-f->rate[n] * time);
        up += term > 0 ? term : 0;
        down += term > 0 ? 0 : term;
        up_slope -= term > 0 ? f->rate[n] * term : 0;
        down_slope -= term > 0 ? 0 : f->rate[n] * term;
    }
    *value = up + down;
    return log(-up / down) / (up_slope / up - down_slope / down);
}

/* The one zero between low and high, where the signs differ: Newton, kept inside by bisection. */
static double bracketed_zero(const struct exp_sum *f, double low, double high, double at_low)
{
    double t = (low + high) / 2;
    if (f->angular == 0) {
        /* the logarithm is bent away from the zero on the side of the two that have one sign: from there it is not passed */
        const double two = f->count == 3 && f->even[0] * f->even[1] < 0 ? f->even[2] : f->even[0];
        t = (two > 0) == (at_low > 0) ? low : high;
    }
    for (int i = 0; i < 200 && high - low > 4 * DBL_EPSILON * high; i++) {  /* unrun: count */
        double value;
        const double step = newton_step(f, t, &value), next = t - step;
        if (fabs(step) <= 1e-8 * t)  /* and the next is its square */
            return next;
        if ((value > 0) == (at_low > 0))
            low = t;
        else
            high = t;
        t = next > low && next < high ? next : (low + high) / 2;
    }
    return t;  /* unrun: count */
}

/* Zeros of real exponentials behind 0, at most: the changes of sign among their partial sums, from the slowest on (Polya and
 * Szego, Problems and Theorems in Analysis II, part V, 80; from memory). Of two, the order does not matter here. */
static int most_zeros(const struct exp_sum *f)
{
    double sum = 0, sign = 0;
    int changes = 0;
    if (f->count < 3)
        return f->count == 2 && f->even[0] * f->even[1] < 0;
    for (int n = 0; n < 3; n++) {
        sum += f->even[n];
        changes += sum * sign < 0;
        sign = sum != 0 ? copysign(1, sum) : sign;
    }
    return changes;
}

void dwi_exp_zeros_begin(struct exp_zeros *zeros, const struct exp_sum *f, double length)
{
    const bool real = f->angular == 0;
    *zeros = (struct exp_zeros){ .f = f, .length = length, .outweighed = real ? INFINITY : outweighed_from(f),
                                 .left = real ? most_zeros(f) : 2, .value = dwi_exp_sum_at(f, 0, NULL) };
}

bool dwi_exp_zeros_next(struct exp_zeros *zeros, double *zero)
{
    const struct exp_sum *f = zeros->f;
    while (zeros->time < zeros->length && zeros->left > 0) {
        const double low = zeros->time, at_low = zeros->value;
        const bool last = zeros->left == 1 || low > zeros->outweighed;
        zeros->time = last ? zeros->length : next_fence(f, low, zeros->length);
        zeros->value = dwi_exp_sum_at(f, zeros->time, NULL);
        if (at_low != 0 && zeros->value != 0 && (at_low > 0) != (zeros->value > 0)) {
            *zero = bracketed_zero(f, low, zeros->time, at_low);
            return true;
        }
    }
    return false;
}

void dwi_exp_sum_extremes(const struct exp_sum *f, double length, double *least, double *most)
{
    const struct exp_sum slope = dwi_exp_sum_slope(f);
    const double ends[2] = { dwi_exp_sum_at(f, 0, NULL), dwi_exp_sum_at(f, length, NULL) };
    struct exp_zeros turns;
    double t;
    *least = fmin(*least, fmin(ends[0], ends[1]));
    *most = fmax(*most, fmax(ends[0], ends[1]));
    for (dwi_exp_zeros_begin(&turns, &slope, length); dwi_exp_zeros_next(&turns, &t);) {
        const double value = dwi_exp_sum_at(f, t, NULL), rest = dwi_exp_sum_bound(f, t);
        *least = fmin(*least, value);
        *most = fmax(*most, value);
        if (rest <= *most && -rest >= *least)  /* nothing later can go further */
            break;
    }
}
