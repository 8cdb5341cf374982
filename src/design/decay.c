/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "decay_inner.h"
#include <float.h>
#include <math.h>

double decay_at(const struct decay *f, double time)
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

struct decay decay_slope(const struct decay *f)
{
    struct decay slope = *f;
    if (f->oscillating) {
        slope.even[0] = f->angular * f->odd - f->rate[0] * f->even[0];
        slope.odd = -f->angular * f->even[0] - f->rate[0] * f->odd;
    }
    for (int n = f->oscillating ? 2 : 0; n < f->count; n++)
        slope.even[n] = -f->rate[n] * f->even[n];
    return slope;
}

double decay_bound(const struct decay *f, double time)
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
static double outweighed_from(const struct decay *f)
{
    if (!f->oscillating || f->count < 3 || !(f->rate[0] > f->rate[2]))
        return INFINITY;
    return log(hypot(f->even[0], f->odd) / fabs(f->even[2])) / (f->rate[0] - f->rate[2]);
}

/* The next place after `from` between which and the one before the function changes sign at most once. */
static double next_fence(const struct decay *f, double from, double length)
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
static double bracketed_zero(const struct decay *f, const struct decay *slope, double low, double high, double at_low)
{
    double t = (low + high) / 2;
    for (int i = 0; i < 200; i++) {  /* unrun: count */
        const double value = decay_at(f, t);
        if ((value > 0) == (at_low > 0))
            low = t;
        else
            high = t;
        double next = t - value / decay_at(slope, t);
        if (!(next > low && next < high))
            next = (low + high) / 2;
        const double moved = fabs(next - t);
        t = next;
        if (moved <= 1e-11 * t || high - low <= 4 * DBL_EPSILON * high)  /* unrun: rounding */
            break;
    }
    return t;
}

bool decay_zero(const struct decay *f, double from, double length, double *zero)
{
    const struct decay slope = decay_slope(f);
    double low = from, at_low = decay_at(f, from);
    if (from > 0) {
        /* behind a zero just found: away from it, where the sign is that of the slope */
        low = from + 1e-10 * from;
        at_low = decay_at(f, low);
    }
    const double outweighed = outweighed_from(f);
    while (low < length) {
        const double high = low > outweighed ? length : next_fence(f, low, length), at_high = decay_at(f, high);
        if (at_low != 0 && at_high != 0 && (at_low > 0) != (at_high > 0)) {
            *zero = bracketed_zero(f, &slope, low, high, at_low);
            return true;
        }
        low = high;
        at_low = at_high;
    }
    return false;
}

void decay_extremes(const struct decay *f, double length, double *least, double *most)
{
    const struct decay slope = decay_slope(f);
    const double ends[2] = { decay_at(f, 0), decay_at(f, length) };
    for (int i = 0; i < 2; i++) {
        *least = fmin(*least, ends[i]);
        *most = fmax(*most, ends[i]);
    }
    double t = 0;
    while (decay_zero(&slope, t, length, &t)) {
        const double value = decay_at(f, t), rest = decay_bound(f, t);
        *least = fmin(*least, value);
        *most = fmax(*most, value);
        if (rest <= *most && -rest >= *least)  /* nothing later can go further */
            break;
    }
}
