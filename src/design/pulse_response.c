/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the stage does under a train of pulses: steady state, worst duty, settling, peak current. */
#include "lc_poles_inner.h"
#include <complex.h>
#include <float.h>
#include <math.h>

/* exp(-p t) - 1 without cancellation for small p t. */
static double complex less_one(double complex p, double t)
{
    const double real = expm1(-creal(p) * t), half = sin(cimag(p) * t / 2), angle = -cimag(p) * t;
    return real * cos(angle) - 2 * half * half + I * exp(-creal(p) * t) * sin(angle);
}

/* What a mode of pole p is multiplied by; t: period, duty. */
typedef double complex mode_factor(double complex p, double period, double duty);

static double complex while_high(double complex p, double period, double duty)
{
    return less_one(p, (1 - duty) * period) / less_one(p, period);
}

static double complex while_low(double complex p, double period, double duty)
{
    return less_one(p, duty * period) / less_one(p, period);
}

static double complex at_start(double complex p, double period, double duty)
{
    return while_low(p, period, duty) * cexp(-p * (1 - duty) * period);
}

/* Train of impulses: density of the share of time. */
static double complex impulses(double complex p, double period, double duty)
{
    (void)duty;
    return p * period / -less_one(p, period);
}

static double complex mean_short(double complex p, double period, double duty)
{
    return cexp(-p * (1 - duty) * period) * -less_one(p, duty * period) / (p * duty * period);
}

/* A sum with each of its modes multiplied. The oscillation is the real part of (even - j odd) exp(-(rate - j angular) t). */
static struct exp_sum times(const struct exp_sum *f, mode_factor *factor, double period, double duty)
{
    struct exp_sum result = *f;
    if (f->oscillating) {
        const double complex share = (f->even[0] - I * f->odd) * factor(f->rate[0] - I * f->angular, period, duty);
        result.even[0] = creal(share);
        result.odd = -cimag(share);
    }
    for (int n = f->oscillating ? 2 : 0; n < f->count; n++)
        result.even[n] = f->even[n] * creal(factor(f->rate[n], period, duty));
    return result;
}

/* Extremes over a period of the steady state of `step - f(t)` driven by pulses. */
static void orbit(const struct exp_sum *f, double step, double period, double duty, double extremes[2])
{
    const struct exp_sum high = times(f, while_high, period, duty), low = times(f, while_low, period, duty);
    double least = INFINITY, most = -INFINITY, least_low = INFINITY, most_low = -INFINITY;
    exp_sum_extremes(&high, duty * period, &least, &most);
    if (duty == 0.5) {  /* the second half mirrors the first */
        least_low = least;
        most_low = most;
    } else {
        exp_sum_extremes(&low, (1 - duty) * period, &least_low, &most_low);
    }
    extremes[0] = fmin(step - most, least_low);
    extremes[1] = fmax(step - least, most_low);
}

void lc_orbit(const struct lc_poles *filter, double period, double duty, double out[2], double current[2])
{
    orbit(&filter->out, filter->gain, period, duty, out);
    orbit(&filter->current, filter->conductance, period, duty, current);
}

double lc_ripple(const struct lc_poles *filter, double period, double duty)
{
    double extremes[2];
    if (duty <= 0 || duty >= 1)
        return 0;
    orbit(&filter->out, filter->gain, period, duty, extremes);
    return extremes[1] - extremes[0];
}

/* Whether the response to a train of impulses has one maximum and one minimum a period. */
static bool rises_once(const struct exp_sum *train, double period)
{
    const struct exp_sum slope = exp_sum_slope(train);
    const double begin = exp_sum_at(&slope, 0), end = exp_sum_at(&slope, period);
    int changes = (begin > 0) != (end > 0);
    double t = 0;
    while (changes <= 2 && exp_sum_zero(&slope, t, period, &t))
        changes++;
    return changes <= 2;
}

static double slowest_rate(const struct exp_sum *f)
{
    double slowest = f->rate[0];
    for (int n = f->oscillating ? 2 : 1; n < f->count; n++)
        slowest = fmin(slowest, f->rate[n]);
    return slowest;
}

/* A time from which on |f| <= band. */
static double within_from(const struct exp_sum *f, double band)
{
    const double modes = f->oscillating ? f->count - 1 : f->count;
    double time = 0;
    for (int n = f->oscillating ? 1 : 0; n < f->count; n++) {
        const double size = f->oscillating && n == 1 ? hypot(f->even[0], f->odd) : fabs(f->even[n]);
        time = fmax(time, log(modes * size / band) / f->rate[n]);
    }
    return time;
}

/* A stretch of duties that is still to be looked at, in steps of 1 / levels. */
struct duties {
    long from, to;
    double at_from, at_to;
};

/* What bounds the ripple at all duties, V per V; (6.19) to (6.21). */
struct ceiling {
    const struct lc_poles *filter;
    double step;              /* s, 1 / levels of the period */
    double slope, curvature;  /* of the ripple against the duty, in steps */
    double edge, after_edges; /* swing behind one edge alone, and how what is left of others counts */
};

static struct ceiling ceiling_of(const struct lc_poles *filter, const struct exp_sum *train, double period, double steps)
{
    const struct exp_sum *f = &filter->out, slope = exp_sum_slope(train);
    double least = INFINITY, most = -INFINITY, least_slope = INFINITY, most_slope = -INFINITY;
    double lowest = 0, highest = 0;
    const double slowest = slowest_rate(f);
    exp_sum_extremes(train, period, &least, &most);
    exp_sum_extremes(&slope, period, &least_slope, &most_slope);
    exp_sum_extremes(f, 40 / slowest, &lowest, &highest);
    return (struct ceiling){
        .filter = filter,
        .step = period / steps,
        .slope = (most - least) / steps,
        .curvature = period * (most_slope - least_slope) / (steps * steps),
        .edge = fmax(filter->gain - lowest, highest) - fmin(filter->gain - highest, lowest),
        .after_edges = 4 / -expm1(-slowest * period),
    };
}

/* No duty in the stretch has more. */
static double most_within(const struct duties *span, const struct ceiling *ceiling)
{
    const double width = (double)(span->to - span->from), higher = fmax(span->at_from, span->at_to);
    const double middle = (span->at_from + span->at_to) / 2, apart = span->at_to - span->at_from;
    const double arch = ceiling->curvature * width * width / 2;
    const double by_slope = middle + ceiling->slope * width / 2;
    const double by_edge = ceiling->edge + ceiling->after_edges * exp_sum_bound(&ceiling->filter->out, (double)span->from * ceiling->step);
    const double by_curvature = fabs(apart) < arch ? middle + arch / 4 + apart * apart / (4 * arch) : higher;
    return fmin(by_edge, fmin(by_slope, by_curvature));
}

/* Ripples that differ by less, relatively, are equal. */
static const double SAME = 1e-13;

double lc_worst_ripple(const struct lc_poles *filter, double period, long levels, double enough, double *duty)
{
    enum { DEEP = 64 };
    struct duties stack[DEEP];
    const struct exp_sum train = times(&filter->out, impulses, period, 0);
    const double steps = (double)levels;
    long worst = levels / 2;
    double most = lc_ripple(filter, period, (double)worst / steps);
    *duty = (double)worst / steps;
    if (most > enough || rises_once(&train, period))
        return most;
    /* duties d and 1 - d have the same ripple */
    const struct ceiling ceiling = ceiling_of(filter, &train, period, steps);
    /* where both intervals outlast what each edge starts, the ripple is that of a single edge whatever the duty */
    const double outlasted = ceil(within_from(&filter->out, SAME * most) / period * steps);
    const long from = outlasted < (double)worst ? (long)outlasted : worst;
    int depth = 0;
    stack[depth++] = (struct duties){ 0, from, 0, from < worst ? lc_ripple(filter, period, (double)from / steps) : most };
    while (depth > 0 && !(most > enough)) {
        const struct duties span = stack[--depth];
        if (span.to - span.from < 2 || most_within(&span, &ceiling) <= most * (1 + SAME))
            continue;
        const long middle = span.from + (span.to - span.from) / 2;
        const double ripple = lc_ripple(filter, period, (double)middle / steps);
        if (ripple > most) {
            most = ripple;
            worst = middle;
        }
        /* short pulses first: they excite what rings fast */
        stack[depth++] = (struct duties){ middle, span.to, ripple, span.at_to };
        stack[depth++] = (struct duties){ span.from, middle, span.at_from, ripple };
    }
    *duty = (double)worst / steps;
    return most;
}

/* Last whole k >= 0 with |f(k T)| > band, or -1. */
static double last_outside(const struct exp_sum *f, double period, double band)
{
    const struct exp_sum slope = exp_sum_slope(f);
    double k = ceil(within_from(f, band) / period);
    while (k >= 0) {
        const double room = band - fabs(exp_sum_at(f, k * period));
        if (!(room >= 0))
            break;
        /* as many periods back as the steepest slope lets pass without leaving the band; two ulp at least, so that k moves */
        const double least = fmax(1, 2 * DBL_EPSILON * k);
        double back = floor(room / (2 * exp_sum_bound(&slope, k * period) * period));
        back = fmin(fmax(back, least), fmax(k, 1));
        while (back > least && back * period * exp_sum_bound(&slope, (k - back) * period) > room)
            back = fmax(floor(back / 2), least);
        k -= back;
    }
    return fmax(k, -1);
}

/* Smallest f(k T) over whole k >= 0. */
static double least_mean(const struct exp_sum *f, double period)
{
    enum { MOST_PERIODS = 1000000 };
    double least = exp_sum_at(f, 0), t = 0;
    if (!f->oscillating || f->angular * period < 1) {
        const struct exp_sum slope = exp_sum_slope(f);
        while (exp_sum_zero(&slope, t, 40 / slowest_rate(f), &t)) {
            const double whole = floor(t / period);
            least = fmin(least, fmin(exp_sum_at(f, whole * period), exp_sum_at(f, (whole + 1) * period)));
            if (exp_sum_bound(f, whole * period) <= -least || exp_sum_bound(f, t) < 1e-12)
                break;
        }
        return least;
    }
    for (int k = 1; k < MOST_PERIODS && exp_sum_bound(f, k * period) > fmax(-least, 1e-12); k++)
        least = fmin(least, exp_sum_at(f, k * period));
    return least;
}

void lc_settling(const struct lc_poles *filter, double period, double duty, double band, struct lc_start *start)
{
    /* what is still missing from the mean of the period that ends at (k + 1) T, as in (6.9) */
    struct exp_sum missing = times(&filter->out, mean_short, period, duty);
    for (int n = 0; n < missing.count; n++)
        missing.even[n] /= filter->gain;
    missing.odd /= filter->gain;
    start->overshoot = fmax(0, -least_mean(&missing, period));
    const double k = last_outside(&missing, period, band);
    start->at_most = k < 0;
    start->settling = period;
    if (k >= 0x1p52) { /* so many periods cannot be told apart */
        start->settling = period * k;
    } else if (k >= 0) {
        const double before = exp_sum_at(&missing, k * period), after = exp_sum_at(&missing, (k + 1) * period);
        const double outside = fabs(before), inside = before > 0 ? after : -after;
        start->settling = period * (k + 1 + (outside - band) / (outside - inside));
    }
}

void lc_current(const struct lc_poles *filter, double period, double duty, double low, double extremes[2])
{
    enum { MOST_PERIODS = 100000 };
    const struct exp_sum *f = &filter->current;
    double least = INFINITY, most = -INFINITY, steady[2];
    if (duty >= 1) {
        exp_sum_extremes(f, 40 / slowest_rate(f), &least, &most);
        const double ends[2] = { (1 + low) * fmin(0, filter->conductance - most), (1 + low) * (filter->conductance - least) };
        extremes[0] = fmin(ends[0], ends[1]);
        extremes[1] = fmax(ends[0], ends[1]);
        return;
    }
    const double shift = low * filter->conductance, settled = filter->conductance + shift;
    orbit(f, filter->conductance, period, duty, steady);
    for (int i = 0; i < 2; i++)
        steady[i] += shift;
    extremes[0] = fmin(0, steady[0]);
    extremes[1] = fmax(0, steady[1]);
    const struct exp_sum on = times(f, while_high, period, duty), off = times(f, while_low, period, duty);
    struct exp_sum begin = times(f, at_start, period, duty);
    /* the step to the low level, at the same time */
    for (int n = 0; n < begin.count; n++)
        begin.even[n] += low * f->even[n];
    begin.odd += low * f->odd;
    for (int k = 0; k < MOST_PERIODS; k++) {
        const double bound = exp_sum_bound(&begin, k * period);
        if (steady[1] + bound <= extremes[1] && steady[0] - bound >= extremes[0])
            break;
        /* the orbit, and what of the start is left of it */
        struct exp_sum now = on, rest = off;
        const double complex turn = f->oscillating ? cexp(-(f->rate[0] - I * f->angular) * (k * period)) : 0;
        const double complex later = f->oscillating ? cexp(-(f->rate[0] - I * f->angular) * (duty * period)) : 0;
        const double complex left = (begin.even[0] - I * begin.odd) * turn;
        if (f->oscillating) {
            now.even[0] += creal(left);
            now.odd -= cimag(left);
            rest.even[0] -= creal(left * later);
            rest.odd += cimag(left * later);
        }
        for (int n = f->oscillating ? 2 : 0; n < f->count; n++) {
            const double still = begin.even[n] * exp(-f->rate[n] * (k * period));
            now.even[n] += still;
            rest.even[n] -= still * exp(-f->rate[n] * (duty * period));
        }
        least = INFINITY, most = -INFINITY;
        exp_sum_extremes(&now, duty * period, &least, &most);
        extremes[0] = fmin(extremes[0], settled - most);
        extremes[1] = fmax(extremes[1], settled - least);
        least = INFINITY, most = -INFINITY;
        exp_sum_extremes(&rest, (1 - duty) * period, &least, &most);
        extremes[0] = fmin(extremes[0], shift + least);
        extremes[1] = fmax(extremes[1], shift + most);
    }
}
