/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "table/header_inner.h"
#include <dutywright/table.h>
#include <float.h>
#include <math.h>

double dw_time_slack(double time)
{
    const double size = fabs(time);
    return isfinite(size) ? 4 * (nextafter(size, INFINITY) - size) : 0;
}

/* As dw_period_index has it: a row within 4 ulp of the instant, or of the origin where that is larger, is on it. */
static void aim(struct clock *clock, double instant)
{
    const double slack = dw_time_slack(fmax(fabs(instant), fabs(clock->origin)));
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
    struct clock clock = { .once = from, .twice = to };
    aim(&clock, from);
    return clock;
}

struct clock dwi_clock_periods(double origin, double period, double start)
{
    struct clock clock = { .origin = origin, .period = period };
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
    const double k = clock->period > 0 ? dw_period_index(clock->origin, clock->period, time, NULL) - keep : 0;
    if (!(clock->period > 0) || !(k > clock->k))
        return false;
    clock->k = k;
    aim(clock, dw_period_boundary(clock->origin, clock->period, k));
    return true;
}

bool dwi_clock_blurred(const struct clock *clock, double time)
{
    /* two windows of 4 ulp on either side, and room for a row between them */
    return clock->period > 0 && !(clock->period > 16 * DBL_EPSILON * fmax(fabs(time), fabs(clock->origin)));
}

/* ---- periods ---- */

double dw_period_boundary(double origin, double period, double k)
{
    return fma(k, period, origin);
}

/* 4 units in the last place of the largest of three. A time near zero was written as the difference of larger ones, so
 * the origin's size counts too. */
static double four_ulp(double a, double b, double c)
{
    const double size = fmax(fabs(a), fmax(fabs(b), fabs(c)));
    return 4 * (nextafter(size, INFINITY) - size);
}

static bool is_on(double boundary, double time, double origin)
{
    return fabs(boundary - time) <= four_ulp(boundary, time, origin);
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
