/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The duty of the largest ripple. */
#include "poles_inner.h"
#include <math.h>

/* The steady response to a train of impulses, of the share of time, but for what of them passes at once. */
static struct exp_sum impulses(const struct exp_sum *out, double period)
{
    struct exp_sum train = *out;
    for (int n = 0; n < train.count; n++) {
        const double complex p = dwi_exp_sum_pole(&train, n);
        dwi_exp_sum_multiply(&train, n, p * period / -dwi_exp_less_one(p, period));
    }
    return train;
}

/* Whether it has one maximum and one minimum a period: where it is kinked it rises from the end of a period to the next, and where
 * it jumps by way of an impulse there. */
static bool rises_once(const struct exp_sum *train, double period)
{
    const struct exp_sum slope = dwi_exp_sum_slope(train);
    const double begin = dwi_exp_sum_at(&slope, 0, NULL), end = dwi_exp_sum_at(&slope, period, NULL);
    int changes = (begin > 0) != (end > 0);
    if (train->kinked)
        changes = (train->jump > 0 ? 1 + (begin > 0) : !(begin > 0)) + !(end > 0);
    struct exp_zeros turns;
    double t;
    for (dwi_exp_zeros_begin(&turns, &slope, period); changes <= 2 && dwi_exp_zeros_next(&turns, &t);)
        changes++;
    return changes <= 2;
}

/* A stretch of duties that is still to be looked at, in steps of 1 / levels. */
struct duties {
    long from, to;
    double at_from, at_to;
};

/* What bounds the ripple at all duties; (6.19) to (6.21). */
struct ceiling {
    const struct exp_sum *out;
    double step;              /* s, 1 / levels of the period */
    double slope, curvature;  /* of the ripple against the duty, in steps */
    double edge, after_edges; /* swing behind one edge alone, and how what is left of others counts */
};

static struct ceiling ceiling_of(const struct exp_sum *out, const struct exp_sum *train, double period, double steps)
{
    const struct exp_sum slope = dwi_exp_sum_slope(train);
    double least = INFINITY, most = -INFINITY, least_slope = INFINITY, most_slope = -INFINITY;
    double lowest = 0, highest = 0;
    const double slowest = out->rate[dwi_exp_sum_slowest(out)];
    double bend;
    dwi_exp_sum_extremes(train, period, &least, &most);
    dwi_exp_sum_extremes(&slope, period, &least_slope, &most_slope);
    dwi_exp_sum_extremes(out, 40 / slowest, &lowest, &highest);
    bend = out->kinked ? 2 * fmax(most_slope, -least_slope) : most_slope - least_slope;
    return (struct ceiling){
        .out = out,
        .step = period / steps,
        .slope = (most - least) / steps,
        .curvature = period * bend / (steps * steps),
        .edge = fmax(1 - lowest, highest) - fmin(1 - highest, lowest),
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
    const double by_edge = ceiling->edge + ceiling->after_edges * dwi_exp_sum_bound(ceiling->out, (double)span->from * ceiling->step);
    const double by_curvature = fabs(apart) < arch ? middle + arch / 4 + apart * apart / (4 * arch) : higher;
    return fmin(by_edge, fmin(by_slope, by_curvature));
}

/* Ripples that differ by less, relatively, are equal. */
static const double SAME = 1e-13;

double dwi_pulse_worst_ripple(const struct exp_sum *out, double period, long levels, double enough, double *duty)
{
    enum { DEEP = 64 };  /* as often a long can be halved */
    struct duties stack[DEEP];
    const struct exp_sum train = impulses(out, period);
    const double steps = (double)levels;
    long worst = levels / 2;
    double most = dwi_pulse_ripple(out, period, (double)worst / steps);
    *duty = (double)worst / steps;
    if (most > enough || rises_once(&train, period))
        return most;
    /* duties d and 1 - d have the same ripple */
    const struct ceiling ceiling = ceiling_of(out, &train, period, steps);
    /* where both intervals outlast what each edge starts, the ripple is that of a single edge whatever the duty */
    const double outlasted = ceil(dwi_exp_sum_bounded_from(out, SAME * most) / period * steps);
    const long from = outlasted < (double)worst ? (long)outlasted : worst;
    int depth = 0;
    stack[depth++] = (struct duties){ 0, from, out->jump, from < worst ? dwi_pulse_ripple(out, period, (double)from / steps) : most };
    while (depth > 0 && !(most > enough)) {
        const struct duties span = stack[--depth];
        if (span.to - span.from < 2 || most_within(&span, &ceiling) <= most * (1 + SAME))
            continue;
        const long middle = span.from + (span.to - span.from) / 2;
        const double ripple = dwi_pulse_ripple(out, period, (double)middle / steps);
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
