/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "table/header_inner.h"
#include <dutywright/table.h>
#include <float.h>
#include <math.h>
#include <stdint.h>

/* 4 units in the last place of the larger of two sizes; 0 where that is infinite. */
static inline double four_ulp(double a, double b)
{
    const double size = fabs(a) > fabs(b) ? fabs(a) : fabs(b);
    union {
        double value;
        uint64_t bits;
    } next = { size };
    next.bits++;  /* the next double: IEEE 754 orders them so */
    return size < INFINITY ? 4 * (next.value - size) : 0;
}

double dw_time_slack(double time)
{
    return four_ulp(time, 0);
}

/* As dw_period_index has it: a row within 4 ulp of the instant, or of the origin where that is larger, is on it. */
static void aim(struct clock *clock, double instant)
{
    const double slack = four_ulp(instant, clock->origin);
    clock->next = instant;
    clock->earliest = instant - slack;
    clock->latest = instant + slack;
}

struct clock dwi_clock_none(void)
{
    return dwi_clock_between(INFINITY, INFINITY);
}

struct clock dwi_clock_between(double from, double to)
{
    struct clock clock = { .once = from, .twice = to, .blurred_from = INFINITY };
    aim(&clock, from);
    return clock;
}

struct clock dwi_clock_periods(double origin, double period, double start)
{
    /* two windows of 4 ulp on either side, and room for a row between them */
    struct clock clock = { .origin = origin, .period = period, .blurred_from = period / (16 * DBL_EPSILON) };
    if (clock.blurred_from <= fabs(origin))
        clock.blurred_from = 0;
    bool on_boundary;
    clock.k = dw_period_index(origin, period, start, &on_boundary);
    if (!on_boundary)
        clock.k++;
    aim(&clock, dw_period_boundary(origin, period, clock.k));
    return clock;
}

void dwi_clock_advance(struct clock *clock)
{
    if (clock->period > 0) {
        clock->k++;
        aim(clock, dw_period_boundary(clock->origin, clock->period, clock->k));
    } else {
        aim(clock, clock->next < clock->twice ? clock->twice : INFINITY);
    }
}

bool dwi_clock_skip(struct clock *clock, double time, double keep)
{
    const double k = dw_period_index(clock->origin, clock->period, time, NULL) - keep;
    if (!(k > clock->k))
        return false;
    clock->k = k;
    aim(clock, dw_period_boundary(clock->origin, clock->period, k));
    return true;
}

/* ---- periods ---- */

double dw_period_boundary(double origin, double period, double k)
{
    return fma(k, period, origin);
}

/* A time near zero was written as the difference of larger ones, so the origin's size counts too. */
static bool is_on(double boundary, double time, double origin)
{
    return fabs(boundary - time) <= fmax(four_ulp(boundary, origin), four_ulp(time, origin));
}

double dw_period_index(double origin, double period, double time, bool *on_boundary)
{
    if (on_boundary)
        *on_boundary = false;
    if (!(period > 0) || !isfinite(period) || !isfinite(origin) || !isfinite(time))
        return NAN;
    /* The quotient is good to a few ulp, so that the answer is one of its neighbours. Beyond 2^52 they cannot be told. */
    double k = floor((time - origin) / period) + 1;
    if (!(fabs(k) < 0x1p52))
        return NAN;
    while (dw_period_boundary(origin, period, k) > time && !is_on(dw_period_boundary(origin, period, k), time, origin))
        k--;
    if (on_boundary)
        *on_boundary = is_on(dw_period_boundary(origin, period, k), time, origin);
    return k;
}
