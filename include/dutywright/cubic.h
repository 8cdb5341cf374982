/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Cubics between rows, in powers of the share of the piece that has passed. docs/theory.md, (4.12). */
#ifndef DUTYWRIGHT_CUBIC_H
#define DUTYWRIGHT_CUBIC_H

#include <dutywright/status.h>

#ifdef __cplusplus
extern "C" {
#endif

/* c[0] + c[1] share + c[2] share^2 + c[3] share^3, the share from 0 to 1. */
struct dw_cubic {
    double c[4];
};

/* Through the values at both ends, with these slopes there.
 *   first_slope, last_slope   a unit of the share: that against time, times the piece's length
 *   source    cubic Hermite interpolation, docs/theory.md, (4.12) */
static inline struct dw_cubic dw_cubic_through(double first, double first_slope, double last, double last_slope)
{
    const double rise = last - first;
    const struct dw_cubic cubic = { { first, first_slope, 3 * rise - 2 * first_slope - last_slope, first_slope + last_slope - 2 * rise } };
    return cubic;
}

static inline double dw_cubic_at(const struct dw_cubic *cubic, double share)
{
    const double *c = cubic->c;
    return c[0] + share * (c[1] + share * (c[2] + share * c[3]));
}

/* Its second derivative by the share. */
static inline double dw_cubic_bend(const struct dw_cubic *cubic, double share)
{
    return 2 * cubic->c[2] + 6 * share * cubic->c[3];
}

/* Where the slope changes its sign inside.
 *   at       out: the shares, in order
 *   returns  how many
 *   source   of the two roots neither is a difference: Press and others 1992, Numerical Recipes in C, 2nd ed., (5.6.4) */
DW_API unsigned dw_cubic_turns(const struct dw_cubic *cubic, double at[2]);

#ifdef __cplusplus
}
#endif
#endif
