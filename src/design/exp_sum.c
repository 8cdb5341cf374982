/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "exp_sum_inner.h"
#include <float.h>
#include <math.h>

double exp_sum_at(const struct exp_sum *f, double time)
{
    double sum = 0;
    int n = 0;
    if (f->oscillating) {
        const double angle = f->angular * time;
        sum = exp(-f->rate[0] * time) * (f->even[0] * cos(angle) + f->odd * sin(angle));
        n = 2;
    }
    for (; n < f->count; n++)
        sum += f->even[n] * exp(-f->rate[n] * time);
    return sum;
}

struct exp_sum exp_sum_slope(const struct exp_sum *f)
{
    struct exp_sum slope = *f;
    if (f->oscillating) {
        slope.even[0] = f->angular * f->odd - f->rate[0] * f->even[0];
        slope.odd = -f->angular * f->even[0] - f->rate[0] * f->odd;
    }
    for (int n = f->oscillating ? 2 : 0; n < f->count; n++)
        slope.even[n] = -f->rate[n] * f->even[n];
    return slope;
}

double exp_sum_bound(const struct exp_sum *f, double time)
{
    double sum = 0;
    int n = 0;
    if (f->oscillating) {
        sum = hypot(f->even[0], f->odd) * exp(-f->rate[0] * time);
        n = 2;
    }
    for (; n < f->count; n++)
        sum += fabs(f->even[n]) * exp(-f->rate[n] * time);
    return sum;
}

/* From when on the exponential beside an oscillation outweighs it, so that there is no zero left. */
static double outweighed_from(const struct exp_sum *f)
{
    if (!f->oscillating || f->count < 3 || !(f->rate[0] > f->rate[2]))
        return INFINITY;
    return log(hypot(f->even[0], f->odd) / fabs(f->even[2])) / (f->rate[0] - f->rate[2]);
}

/* The next place after `from` between which and the one before the function changes sign at most once. */
static double next_fence(const struct exp_sum *f, double from, double length)
{
    double fence = length;
    if (f->oscillating) {
        /* f exp(rate t) is a constant and exp(lift t) cos(angle - phase), which turns where tan(angle - phase) = lift / angular */
        const double lift = f->count == 3 ? f->rate[2] - f->rate[0] : 0;
        const double turn = atan2(f->odd, f->even[0]) + atan(lift / f->angular), half = M_PI / f->angular;
        fence = turn / f->angular;
        fence += half * (floor((from - fence) / half) + 1);
        if (!(fence > from))
            fence += half;
    } else if (f->count == 3) {
        const double one = (f->rate[1] - f->rate[0]) * f->even[1], two = (f->rate[2] - f->rate[0]) * f->even[2];
        if (one != 0 && two / one < 0)
            fence = log(-two / one) / (f->rate[2] - f->rate[1]);
    }
    return fence > from && fence < length ? fence : length;
}

/* The one zero between low and high, where the signs differ: Newton, kept inside by bisection. */
static double bracketed_zero(const struct exp_sum *f, const struct exp_sum *slope, double low, double high, double at_low)
{
    double t = (low + high) / 2;
    for (int i = 0; i < 200; i++) {
        const double value = exp_sum_at(f, t);
        if ((value > 0) == (at_low > 0))
            low = t;
        else
            high = t;
        double next = t - value / exp_sum_at(slope, t);
        if (!(next > low && next < high))
            next = (low + high) / 2;
        const double moved = fabs(next - t);
        t = next;
        if (moved <= 1e-11 * t || high - low <= 4 * DBL_EPSILON * high)
            break;
    }
    return t;
}

bool exp_sum_zero(const struct exp_sum *f, double from, double length, double *zero)
{
    const struct exp_sum slope = exp_sum_slope(f);
    double low = from, at_low = exp_sum_at(f, from);
    if (from > 0) {
        /* behind a zero just found: away from it, where the sign is that of the slope */
        low = from + 1e-10 * from;
        at_low = exp_sum_at(f, low);
    }
    const double outweighed = outweighed_from(f);
    while (low < length) {
        const double high = low > outweighed ? length : next_fence(f, low, length), at_high = exp_sum_at(f, high);
        if (at_low != 0 && at_high != 0 && (at_low > 0) != (at_high > 0)) {
            *zero = bracketed_zero(f, &slope, low, high, at_low);
            return true;
        }
        low = high;
        at_low = at_high;
    }
    return false;
}

void exp_sum_extremes(const struct exp_sum *f, double length, double *least, double *most)
{
    const struct exp_sum slope = exp_sum_slope(f);
    const double ends[2] = { exp_sum_at(f, 0), exp_sum_at(f, length) };
    for (int i = 0; i < 2; i++) {
        *least = fmin(*least, ends[i]);
        *most = fmax(*most, ends[i]);
    }
    double t = 0;
    while (exp_sum_zero(&slope, t, length, &t)) {
        const double value = exp_sum_at(f, t), rest = exp_sum_bound(f, t);
        *least = fmin(*least, value);
        *most = fmax(*most, value);
        if (rest <= *most && -rest >= *least)  /* nothing later can go further */
            break;
    }
}
