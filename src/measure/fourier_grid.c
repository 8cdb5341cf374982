/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether the rows of a period lie on a grid, such as the ticks of a counter. */
#include "measure/fourier_inner.h"
#include <float.h>
#include <math.h>

/* Least denominator q of a convergent a/q of the continued fraction of x, 0 < |x| < 1, with |x - a/q| <= slack; 0 where it
 * would be above `most`. A fraction that close to x, with 2 q^2 slack < 1, is always a convergent: Hardy and Wright, An
 * Introduction to the Theory of Numbers, theorem 184. */
static size_t denominator(double x, double slack, double most)
{
    double q_before = 0, q = 1, a_before = 1, a = 0, rest = x = fabs(x);
    while (fabs(x - a / q) > slack) {
        rest = 1 / rest;
        const double whole = floor(rest), q_next = whole * q + q_before, a_next = whole * a + a_before;
        rest -= whole;
        if (!(q_next <= most)) /* as it is, too, once nothing is left */
            return 0;
        q_before = q;
        a_before = a;
        q = q_next;
        a = a_next;
    }
    return (size_t)q;
}

double fourier_slack(double latest, double length)
{
    return 2 * (nextafter(latest, INFINITY) - latest) / length + DBL_EPSILON;
}

bool fourier_grid(const struct fourier_rows *rows, double slack, size_t most, size_t *cells)
{
    size_t count = *cells;
    for (size_t i = 0; i < rows->count; i++) {
        const double share = (rows->row[i * (1 + rows->channels)] - rows->start) / rows->period;
        const double place = share * (double)count, off = place - rint(place);
        if (fabs(off) <= slack * (double)count)
            continue;
        const size_t finer = denominator(off, slack * (double)count, (double)(most / count));
        if (!finer)
            return false;
        count *= finer;
    }
    *cells = count;
    return true;
}

bool fourier_uniform(const struct fourier_rows *rows, double slack)
{
    const size_t width = 1 + rows->channels;
    const double cells = (double)rows->count - 1;
    if (rows->count < 2 || rows->count > FOURIER_CELLS_MOST)
        return false;
    for (size_t i = 0; i < rows->count; i++) {
        const double share = (rows->row[i * width] - rows->start) / rows->period;
        if (!(fabs(share * cells - (double)i) <= slack * cells))
            return false;
    }
    return true;
}

bool fourier_jumps(const struct fourier_rows *rows, size_t cells)
{
    const size_t width = 1 + rows->channels;
    size_t before = cells;
    for (size_t i = 0; i < rows->count; i++) {
        const double share = (rows->row[i * width] - rows->start) / rows->period;
        const size_t place = (size_t)(share * (double)cells + 0.5);
        if (place == before && place > 0 && place < cells)
            return true;
        before = place;
    }
    return false;
}
