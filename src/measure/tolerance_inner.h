/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How far the true wave may be from what the table says of it: docs/theory.md, section 4.6. */
#ifndef MEASURE_TOLERANCE_INNER_H
#define MEASURE_TOLERANCE_INNER_H

#include <dutywright/table.h>
#include <math.h>

/* Values from the least to the largest. */
struct value_range {
    double low, high;
};

static inline struct value_range range_of_none(void)
{
    return (struct value_range){ INFINITY, -INFINITY };
}

static inline struct value_range range_of_both(struct value_range a, struct value_range b)
{
    return (struct value_range){ fmin(a.low, b.low), fmax(a.high, b.high) };
}

/* range    of all values in the span and in the period of the carrier before it
 * returns  unit of the channel; 0: it is exact, or nothing is said */
static inline double tolerance_of(const struct dw_channel_facts *facts, struct value_range range)
{
    const double floor = 0x1p-50 * fmax(fabs(range.low), fabs(range.high));
    const double told = fmin(facts->accuracy, facts->share * (range.high - range.low)); /* of a NaN and a number the number */
    return told > 0 ? fmax(told, floor) : 0;
}

/* Bound of a quotient of two that are within `above` and `below` of the true ones. */
static inline double bound_of_ratio(double ratio, double above, double denominator, double below)
{
    return denominator > below ? (above + ratio * below) / (denominator - below) : INFINITY;
}

#endif
