/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows of whole periods, the lines or cubics between them, and the grid on which they may lie. */
#ifndef MEASURE_FOURIER_ROWS_INNER_H
#define MEASURE_FOURIER_ROWS_INNER_H

#include "measure/hermite_inner.h"
#include <stdbool.h>
#include <stddef.h>

/* Rows, their times and values anywhere in memory. Where time does not rise from one row to the next (a jump, or the next
 * period) there is no line between them. */
struct fourier_rows {
    const double *time, *value;     /* row i: time[i time_step]; channel c: value[i value_step + c] */
    size_t time_step, value_step, count, channels;
    const double *slope;            /* a unit of time, NULL: straight lines; row i, channel c: slope[i value_step + slope_of[c] - 1] ... */
    const size_t *slope_of;         /* ... [channels], 0: this one has none; NULL: slope_of[c] is c + 1 */
    double start, period;           /* (time - start) / period is 0..1; 0 and 1 for times that are already such shares */
    const double *reference;        /* [channels], taken off all values: constants change no line of a whole period but line 0,
                                       and lines of a small ripple gain digits */
};

/* Share of the period at which row i stands, 0..1: a rounding outside is at the end. */
static inline double fourier_share(const struct fourier_rows *rows, size_t i)
{
    const double share = (rows->time[i * rows->time_step] - rows->start) / rows->period;
    return share < 0 ? 0 : share > 1 ? 1 : share;
}

/* Where the slope of a channel stands in a row of slopes, counted from 1; 0: nowhere. */
static inline size_t fourier_slope_of(const struct fourier_rows *rows, size_t channel)
{
    return !rows->slope ? 0 : rows->slope_of ? rows->slope_of[channel] : channel + 1;
}

/* What lies between rows, one piece after the other: at first all is 0 but `rows` and the arrays. */
struct fourier_piece {
    const struct fourier_rows *rows;
    double *start, *end;            /* [channels] of the caller's: values there, less the reference */
    struct hermite *cubic;          /* [channels], the same once more where the rows have slopes, of lines too; else NULL */
    double from, to;                /* shares of the period */
    size_t row;
};
/*   returns  false: there is no more */
bool dwi_fourier_next(struct fourier_piece *piece);

enum { FOURIER_CELLS_MOST = 1 << 28 };
/* The fewest cells into which a period must be cut so that all rows, 2 or more, lie on their borders; where that is not found,
 * as many as there are lines between rows, if those do.
 *   slack    share of the period by which a row may be off its border
 *   most     cells, beside the latter
 *   returns  0: there are none */
size_t dwi_fourier_grid(const struct fourier_rows *rows, double slack, size_t most);
/* Share of a length by which a row may be off a grid: 2 ulp of the latest time, and the rounding of the share itself. */
double dwi_fourier_slack(double latest, double length);

#endif
