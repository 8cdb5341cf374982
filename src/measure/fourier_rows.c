/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows as what lies between them, and whether they lie on a grid, such as the ticks of a counter. */
#include "measure/coefficients_inner.h"
#include <float.h>
#include <math.h>

/* The piece that ends with a row, once its ends are known. */
static void set_cubics(struct fourier_piece *p, size_t row)
{
    const struct fourier_rows *rows = p->rows;
    const double *to = rows->slope + row * rows->value_step, *from = to - rows->value_step;
    for (size_t c = 0; c < rows->channels; c++) {
        const size_t s = fourier_slope_of(rows, c);
        p->cubic[c] = s ? hermite_of((p->to - p->from) * rows->period, p->start[c], from[s - 1], p->end[c], to[s - 1])
                        : hermite_line(p->start[c], p->end[c]);
    }
}

bool dwi_fourier_next(struct fourier_piece *p)
{
    const struct fourier_rows *rows = p->rows;
    while (p->row < rows->count) {
        double *const before = p->start;
        p->start = p->end;
        p->end = before;
        p->from = p->to;
        p->to = fourier_share(rows, p->row);
        for (size_t c = 0; c < rows->channels; c++)
            p->end[c] = rows->value[p->row * rows->value_step + c] - rows->reference[c];
        if (!p->row++ || !(p->to > p->from))
            continue;
        if (p->cubic)
            set_cubics(p, p->row - 1);
        return true;
    }
    return false;
}

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

double dwi_fourier_slack(double latest, double length)
{
    return 2 * (nextafter(latest, INFINITY) - latest) / length + DBL_EPSILON;
}

/* How far a place of a grid is off the nearest border. A cast: without SSE 4.1 rint is a call. */
static double off_border(double place)
{
    return place - (double)(long long)(place + 0.5);
}

/* The rows lie on so many cells, or on as many more as need be up to `most` times; 0: on none. */
static size_t refine(const struct fourier_rows *rows, double slack, size_t cells, size_t most)
{
    for (size_t i = 0; i < rows->count; i++) {
        const double off = off_border(fourier_share(rows, i) * (double)cells), allowed = slack * (double)cells;
        if (fabs(off) <= allowed)
            continue;
        const size_t finer = denominator(off, allowed, (double)(most / cells));
        if (!finer)
            return 0;
        cells *= finer;
    }
    return cells;
}

size_t dwi_fourier_grid(const struct fourier_rows *rows, double slack, size_t most)
{
    const size_t fewest = refine(rows, slack, 1, most), lines = rows->count - 1;
    return fewest || lines > FOURIER_CELLS_MOST ? fewest : refine(rows, slack, lines, lines);
}
