/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a filter does under a train of pulses: ripple, settling, overshoot, current. One code for all poles. */
#include "poles_inner.h"
#include <float.h>
#include <math.h>

double dwi_log_cosh(double x)
{
    /* beyond 20, exp(-2x) is below half an ulp of the sum */
    if (x > 20)
        return x - M_LN2;
    const double e = expm1(x);
    return log1p(e * e / (2 * (1 + e)));
}

double dwi_log_sinhc(double x)
{
    /* (-1)^(n+1) zeta(2n) / (n pi^2n): logarithm of Euler's product for sinh; 12 terms reach 1e-16 at 0.75 */
    static const double term[] = { 1.0 / 6, -1.0 / 180, 1.0 / 2835, -1.0 / 37800, 1.0 / 467775, -691.0 / 3831077250.0,
                                   2.0 / 127702575.0, -3617.0 / 2605132530000.0, 43867.0 / 350813659321125.0,
                                   -174611.0 / 15313294652906250.0, 155366.0 / 147926426347074375.0,
                                   -236364091.0 / 2423034863565078262500.0 };
    if (x > 0.75)
        return x - log(2 * x) + log1p(-exp(-2 * x));
    double sum = 0;
    for (int i = (int)(sizeof term / sizeof term[0]); i-- > 0;)
        sum = sum * x * x + term[i];
    return sum * x * x;
}

/* The lambda of (6.6), for an interval that is the share 1 - a of the period: what is left of a mode in its middle, in steady
 * state, over a; where the mode is fast (a y > 2), at its beginning. */
static double log_share(double y, double a, bool fast)
{
    if (fast)
        return a == 0.5 ? M_LN2 - log1p(exp(-y / 2)) : log1p(-exp(-a * y)) - log1p(-exp(-y)) - log(a);
    return a == 0.5 ? -dwi_log_cosh(y / 4) : dwi_log_sinhc(a * y / 2) - dwi_log_sinhc(y / 2);
}

/* Ripple of two real poles: the slope's zero is a logarithm, and put in leaves one exponential an interval. (6.6) */
static double two_real(double y1, double y2, double duty)
{
    const int intervals = duty == 0.5 ? 1 : 2;  /* the second half mirrors the first */
    double sum = 0;
    for (int low = 0; low < intervals; low++) {
        /* what both lambdas have in common with a straight line in y cancels, so that one place does for both */
        const double a = low ? duty : 1 - duty;
        const bool fast = a * y1 >= 2;
        sum += a * expm1((y2 * log_share(y1, a, fast) - y1 * log_share(y2, a, fast)) / (y2 - y1));
    }
    return sum * 2 / intervals;
}

/* One of the two intervals of a period in the steady state, in which the output, or the current, runs out towards a level. */
struct run_out {
    const struct exp_sum *step;  /* answer to a step */
    struct exp_sum left;         /* distance from the level; from the interval's beginning on */
    double rest;                 /* the share of the period that is not this interval */
    double share[POLES_MAX];     /* of real modes: ln(left / (rest x step)) */
    double level;                /* from the period's mean */
};

static struct run_out run_out_of(const struct exp_sum *step, double period, double rest)
{
    struct run_out run = { .step = step, .left = *step, .rest = rest, .level = -rest * step->jump };
    for (int n = 0; n < step->count; n++) {
        run.level -= rest * step->even[n];
        if (n == 0 && step->angular != 0) {
            const double complex p = dwi_exp_sum_pole(step, 0);
            dwi_exp_sum_multiply(&run.left, 0, dwi_exp_less_one(p, rest * period) / dwi_exp_less_one(p, period));
        } else {
            const double y = step->rate[n] * period;
            const bool fast = rest * y >= 2;
            run.share[n] = log_share(y, rest, fast) + (fast ? 0 : (1 - rest) * y / 2);
            run.left.even[n] *= rest * exp(run.share[n]);
        }
    }
    return run;
}

/* Distance from the period's mean, above zero towards where the interval begins. As a sum of each mode's own distance a ripple
 * that is small against the output keeps its digits. */
static double excursion(const struct run_out *run, double time)
{
    const struct exp_sum *step = run->step;
    double sum = -run->rest * step->jump;
    int n = 0;
    if (step->angular != 0) {
        const struct exp_sum *left = &run->left;
        const double angle = left->angular * time;
        sum += exp(-left->rate[0] * time) * (left->even[0] * cos(angle) + left->odd * sin(angle)) - run->rest * step->even[0];
        n = 1;
    }
    for (; n < step->count; n++)
        sum += run->rest * step->even[n] * expm1(run->share[n] - step->rate[n] * time);
    return sum;
}

/* Extremes of the excursion; but for a jump, the interval's end is where the other one begins. */
static void excursions(const struct exp_sum *step, double period, double rest, double extremes[2])
{
    const struct run_out run = run_out_of(step, period, rest);
    const struct exp_sum slope = dwi_exp_sum_slope(&run.left);
    struct exp_zeros turns;
    double t;
    extremes[0] = extremes[1] = excursion(&run, 0);
    if (step->jump > 0)
        extremes[0] = fmin(extremes[0], excursion(&run, (1 - rest) * period));
    for (dwi_exp_zeros_begin(&turns, &slope, (1 - rest) * period); dwi_exp_zeros_next(&turns, &t);) {
        const double value = excursion(&run, t);
        extremes[0] = fmin(extremes[0], value);
        extremes[1] = fmax(extremes[1], value);
        if (step->angular == 0)
            continue;
        const double bound = dwi_exp_sum_bound(&run.left, t);
        if (run.level + bound <= extremes[1] && run.level - bound >= extremes[0])  /* nothing later can go further */
            break;
    }
}

/* Extremes of the steady state about its mean. */
static void orbit(const struct exp_sum *step, double period, double duty, double extremes[2])
{
    double low[2], high[2];
    excursions(step, period, duty, low);
    if (duty == 0.5) {  /* the other half mirrors this one */
        high[0] = low[0];
        high[1] = low[1];
    } else {
        excursions(step, period, 1 - duty, high);
    }
    extremes[0] = fmin(low[0], -high[1]);
    extremes[1] = fmax(low[1], -high[0]);
}

double dwi_pulse_ripple(const struct exp_sum *out, double period, double duty)
{
    const double y = out->rate[0] * period;
    double extremes[2];
    if (duty <= 0 || duty >= 1)
        return 0;
    if (out->angular == 0 && out->count == 1 && out->jump == 0)
        return duty == 0.5 ? tanh(y / 4) : expm1(-y * duty) * expm1(-y * (1 - duty)) / -expm1(-y);
    if (out->angular == 0 && out->count == 2 && !out->kinked)
        return two_real(y, out->rate[1] * period, duty);
    orbit(out, period, duty, extremes);
    return extremes[1] - extremes[0];
}

struct exp_sum dwi_pulse_missing(const struct exp_sum *out, double period, double duty)
{
    struct exp_sum missing = *out;
    for (int n = 0; n < out->count; n++) {
        if (n == 0 && out->angular != 0) {
            const double complex p = dwi_exp_sum_pole(out, 0), fall = -dwi_exp_less_one(p, duty * period);
            dwi_exp_sum_multiply(&missing, 0, fall / (p * duty * period) * dwi_exp_power(p, (1 - duty) * period));
        } else {
            const double y = out->rate[n] * period, ramp = -expm1(-y * duty) / (y * duty);
            missing.even[n] *= duty == 1 ? ramp : ramp * exp(-y * (1 - duty));
        }
    }
    return missing;
}

/* So many turns, periods or steps are looked at one by one. Ringing is through with them long before, but for such as hardly
 * anything damps and is in step with the pulses. */
enum { LOOKED_AT_MAX = 100000 };

/* How many periods back from k, where |f| is within the band by so much, it cannot have been outside: f's slope there and a
 * bound of its curvature. Two ulp at least, so that k moves. */
static double periods_back(const struct exp_sum *f, double period, double k, double room, double slope)
{
    const double least = fmax(1, 2 * DBL_EPSILON * k), steep = fabs(slope);
    if (2 * period * steep > room)
        return least;
    const struct exp_sum rise = dwi_exp_sum_slope(f), bend = dwi_exp_sum_slope(&rise);
    const double bound = dwi_exp_sum_bound(&bend, k * period);
    double back = floor(2 * room / (steep + sqrt(steep * steep + 4 * bound * room)) / period);
    back = fmin(fmax(back, least), fmax(k, 1));
    while (back > least && back * period * (steep + dwi_exp_sum_bound(&bend, (k - back) * period) * back * period / 2) > room)
        back = fmax(floor(back / 2), least);
    return back;
}

double dwi_pulse_settling(const struct exp_sum *missing, double period, double band, bool *at_most)
{
    /* the last boundary outside the band, from where on all are bounded to be inside */
    double k = ceil(dwi_exp_sum_bounded_from(missing, band) / period), back = 0, before = 0, after = 0, slope;
    for (int steps = 0; k >= 0 && fabs(before = dwi_exp_sum_at(missing, k * period, &slope)) <= band; steps++, k -= back) {
        *at_most = false;
        if (steps == LOOKED_AT_MAX)
            return INFINITY;
        after = before;
        back = periods_back(missing, period, k, band - fabs(before), slope);
    }
    *at_most = !(k >= 0);
    if (*at_most)
        return period;
    if (!(k < 0x1p52)) /* so many periods cannot be told apart */
        return period * k;
    if (back != 1)  /* unrun: rounding */
        after = dwi_exp_sum_at(missing, (k + 1) * period, NULL);
    const double outside = fabs(before), inside = before > 0 ? after : -after;
    return period * (k + 1 + (outside - band) / (outside - inside));
}

double dwi_pulse_overshoot(const struct exp_sum *missing, double period)
{
    /* seen once a period an oscillation is the same as a slower one, of half a turn a period at most */
    struct exp_sum f = *missing;
    const double turn = remainder(f.angular * period, 2 * M_PI);
    f.angular = fabs(turn) / period;
    f.odd = turn < 0 ? -f.odd : f.odd;
    const struct exp_sum slope = dwi_exp_sum_slope(&f);
    struct exp_zeros turns;
    double least = dwi_exp_sum_at(&f, 0, NULL), t;
    int number = 0;
    for (dwi_exp_zeros_begin(&turns, &slope, 40 / f.rate[dwi_exp_sum_slowest(&f)]); dwi_exp_zeros_next(&turns, &t);) {
        /* the boundaries on either side of a turn */
        const double whole = floor(t / period) * period;
        least = fmin(least, fmin(dwi_exp_sum_at(&f, whole, NULL), dwi_exp_sum_at(&f, whole + period, NULL)));
        if (dwi_exp_sum_bound(&f, whole) <= -least || dwi_exp_sum_bound(&f, t) < 1e-12)
            break;
        if (++number == LOOKED_AT_MAX)
            return INFINITY;
    }
    return fmax(0, -least);
}

void dwi_pulse_current(const struct filter_poles *poles, double period, double duty, double extremes[2])
{
    orbit(&poles->current, period, duty, extremes);
    for (int i = 0; i < 2; i++)
        extremes[i] += duty * poles->conductance;
}

/* Widens extremes to all of level + sign f(t) in 0..length. */
static void widen(double extremes[2], const struct exp_sum *f, double length, double level, double sign)
{
    double least = INFINITY, most = -INFINITY;
    dwi_exp_sum_extremes(f, length, &least, &most);
    extremes[0] = fmin(extremes[0], level + (sign > 0 ? least : -most));
    extremes[1] = fmax(extremes[1], level + (sign > 0 ? most : -least));
}

/* Adds a sum of the same exponentials as it goes on from a time. */
static void add_later(struct exp_sum *f, const struct exp_sum *more, double time, double sign)
{
    struct exp_sum later = *more;
    for (int n = 0; n < f->count; n++) {
        dwi_exp_sum_multiply(&later, n, sign * dwi_exp_power(dwi_exp_sum_pole(more, n), time));
        f->even[n] += later.even[n];
    }
    f->odd += later.odd;
}

static void step_from_rest(const struct filter_poles *poles, double low, double extremes[2])
{
    double ends[2] = { 0, 0 };
    widen(ends, &poles->current, 40 / poles->current.rate[dwi_exp_sum_slowest(&poles->current)], poles->conductance, -1);
    extremes[0] = fmin((1 + low) * ends[0], (1 + low) * ends[1]);
    extremes[1] = fmax((1 + low) * ends[0], (1 + low) * ends[1]);
}

void dwi_pulse_current_from_rest(const struct filter_poles *poles, double period, double duty, double low, double extremes[2])
{
    const struct exp_sum *f = &poles->current;
    const double shift = low * poles->conductance;
    double steady[2];
    if (duty >= 1) {
        step_from_rest(poles, low, extremes);
        return;
    }
    const struct run_out on = run_out_of(f, period, 1 - duty), off = run_out_of(f, period, duty);
    struct exp_sum start = off.left;  /* what the steady state lacks in the beginning, and the step to the low level */
    for (int n = 0; n < f->count; n++) {
        dwi_exp_sum_multiply(&start, n, dwi_exp_power(dwi_exp_sum_pole(f, n), (1 - duty) * period));
        start.even[n] += low * f->even[n];
    }
    start.odd += low * f->odd;
    dwi_pulse_current(poles, period, duty, steady);
    extremes[0] = fmin(0, steady[0] += shift);
    extremes[1] = fmax(0, steady[1] += shift);
    for (int k = 0; k < LOOKED_AT_MAX; k++) {
        const double bound = dwi_exp_sum_bound(&start, k * period);
        if (steady[1] + bound <= extremes[1] && steady[0] - bound >= extremes[0])
            return;
        struct exp_sum now = on.left, then = off.left;
        add_later(&now, &start, k * period, 1);
        add_later(&then, &start, (k + duty) * period, -1);
        widen(extremes, &now, duty * period, poles->conductance + shift, -1);
        widen(extremes, &then, (1 - duty) * period, shift, 1);
    }
    extremes[0] = -INFINITY;
    extremes[1] = INFINITY;
}
