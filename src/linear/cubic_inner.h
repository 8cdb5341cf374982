/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Cubics along a step. */
#ifndef LINEAR_CUBIC_INNER_H
#define LINEAR_CUBIC_INNER_H

/* c0 + c1 s + c2 s^2 + c3 s^3 along a step, s from 0 to 1. */
struct cubic {
    double c[4];
};

/* Through the values at both ends, with slopes a unit of s. */
static inline struct cubic cubic_through(double first, double first_slope, double last, double last_slope)
{
    const double rise = last - first;
    return (struct cubic){ { first, first_slope, 3 * rise - 2 * first_slope - last_slope, first_slope + last_slope - 2 * rise } };
}

static inline double cubic_at(const struct cubic *cubic, double s)
{
    const double *c = cubic->c;
    return c[0] + s * (c[1] + s * (c[2] + s * c[3]));
}

static inline double cubic_bend(const struct cubic *cubic, double s)
{
    return 2 * cubic->c[2] + 6 * s * cubic->c[3];
}

/* Where the slope changes its sign inside, in order; returns how many. */
unsigned dwi_cubic_turns(const struct cubic *cubic, double at[2]);

#endif
