/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/table.h>
#include <float.h>
#include <math.h>

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
