/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Profiles of rate: docs/theory.md, section 1. */
#include <dutywright/ramp.h>
#include <float.h>
#include <math.h>
#include <stdbool.h>

static const double pulses_most = 0x1p45;

/* Time and length of a rise by so much; and for how long its acceleration rises.
 *   returns  s */
static double rise_time(const struct dw_ramp_plan *plan, double rise, double *jerk_time)
{
    const double a = plan->acceleration, j = plan->jerk;
    *jerk_time = 0;
    if (!(rise > 0) || isinf(a))
        return 0;
    if (isinf(j))
        return rise / a;
    const bool held = rise * j >= a * a;
    *jerk_time = held ? a / j : sqrt(rise / j);
    return held ? rise / a + *jerk_time : 2 * *jerk_time;
}

/* The root of t^3 + 3 p t = 2 q, p and q >= 0. */
static double rising_root(double p, double q)
{
    return p > 0 && q < 1e300 * p * sqrt(p) ? 2 * sqrt(p) * sinh(asinh(q / (p * sqrt(p))) / 3) : cbrt(2 * q);
}

/* The rise at which two of them make up the length: (1.14). */
static double rise_of_length(const struct dw_ramp_plan *plan, double length)
{
    const double start = plan->start_rate, a = plan->acceleration, j = plan->jerk, held = isinf(j) ? 0 : a * a / j;
    if (isinf(a))
        return INFINITY;
    if (!isinf(j) && (2 * start + held) * 2 * (a / j) >= length) {
        const double root = rising_root(2 * start / 3, length * sqrt(j) / 4);
        return root * root;
    }
    /* rise^2 + rise (2 start + held) = a length - 2 start held, by the root that is no difference */
    const double half = start + held / 2, rest = a * length - 2 * start * held;
    return rest / (half + sqrt(half * half + rest));
}

enum dw_status dw_ramp_new(const struct dw_ramp_plan *plan, double pulses, struct dw_ramp *ramp, struct dw_error *error)
{
    if (!(plan->top_rate > 0 && isfinite(plan->top_rate)))
        return dw_error_member(error, "top_rate", "a top rate of %g Hz is not above zero", plan->top_rate);
    if (!(plan->start_rate >= 0))
        return dw_error_member(error, "start_rate", "a start rate of %g Hz is below zero", plan->start_rate);
    if (!(plan->start_rate <= plan->top_rate))
        return dw_error_member(error, "start_rate", "a start rate of %g Hz is above the top rate, %g Hz", plan->start_rate, plan->top_rate);
    if (!(plan->acceleration > 0))
        return dw_error_member(error, "acceleration", "an acceleration of %g Hz/s is not above zero", plan->acceleration);
    if (!(plan->jerk > 0))
        return dw_error_member(error, "jerk", "a jerk of %g Hz/s2 is not above zero", plan->jerk);
    if (!(pulses >= 1 && pulses <= pulses_most))
        return dw_error_set(error, DW_BAD_USE, 0, "a move of %.15g steps: from 1 to 2^45 can be had", pulses);
    struct dw_ramp r = { .plan = *plan, .length = pulses - 1 };
    double rise = fmin(plan->top_rate - plan->start_rate, rise_of_length(plan, r.length));
    r.rise_time = rise_time(plan, rise, &r.jerk_time);
    r.peak = rise >= plan->top_rate - plan->start_rate ? plan->top_rate : plan->start_rate + rise;
    /* of a move that never holds a rate the two halves are that long, whatever rounding says */
    r.rise_length = fmin(r.length / 2, r.rise_time * (plan->start_rate + rise / 2));
    r.duration = r.length > 0 ? 2 * r.rise_time + (r.length - 2 * r.rise_length) / r.peak : 0;
    if (!isfinite(r.duration))
        return dw_error_set(error, DW_BAD_USE, 0, "the move takes longer than numbers go");
    *ramp = r;
    return DW_OK;
}

/* When a place in the first rise is passed: (1.15). */
static double time_in_rise(const struct dw_ramp *r, double place)
{
    const double start = r->plan.start_rate, a = r->plan.acceleration, j = r->plan.jerk, t = r->jerk_time;
    if (t == 0)
        return place > 0 ? 2 * place / (start + sqrt(start * start + 2 * a * place)) : 0;
    const double begin = t * (start + j * t * t / 6), rest = r->rise_length - place, end = t * (r->peak - j * t * t / 6);
    if (place <= begin)
        return rising_root(2 * start / j, 3 * place / j);
    if (rest <= end) {
        const double p = 2 * r->peak / j;
        return r->rise_time - 2 * sqrt(p) * sin(asin(3 * rest / (j * p * sqrt(p))) / 3);
    }
    const double held = j * t, rate = start + j * t * t / 2, on = place - begin;
    return t + 2 * on / (rate + sqrt(rate * rate + 2 * held * on));
}

double dw_ramp_time(const struct dw_ramp *r, double place)
{
    if (place <= r->rise_length)
        return time_in_rise(r, place);
    if (place >= r->length - r->rise_length)
        return r->duration - time_in_rise(r, r->length - place);
    return r->rise_time + (place - r->rise_length) / r->peak;
}

double dw_ramp_ticks(double time, double tick)
{
    return ceil(time / tick * (1 - 4 * DBL_EPSILON));
}
