/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Not installed. */
#ifndef TABLE_SPLICE_INNER_H
#define TABLE_SPLICE_INNER_H

#include <dutywright/splice.h>
#include <math.h>
#include <stdbool.h>

/* Whether two times are the same to 4 units in the last place. Infinite ones meet nothing: the bound is then no number. */
static inline bool times_meet(double a, double b)
{
    const double size = fmax(fabs(a), fabs(b));
    return fabs(a - b) <= 4 * (nextafter(size, INFINITY) - size);
}

#endif
