/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The levels of a waveform's two states: IEEE Std 181-2011, 5.2 (histogram method), from memory. */
#ifndef MEASURE_LEVELS_INNER_H
#define MEASURE_LEVELS_INNER_H

#include "measure/hermite_inner.h"
#include <stdbool.h>
#include <stddef.h>

enum levels_from {
    LEVELS_GIVEN,     /* by the user or the table */
    LEVELS_MODES,     /* the two modes of the histogram */
    LEVELS_EXTREMES,  /* minimum and maximum, since no two modes stand out */
    LEVELS_NONE       /* the channel is constant */
};

struct levels {
    double low, high;
    enum levels_from from;
};

/* Vertices of a record, row after row: time, then channels, then slopes of some. Between two of them nothing turns. */
struct vertices {
    const double *row;
    size_t count, width;  /* doubles a row */
    const size_t *slope;  /* [channels]: where the slope of a channel stands in a row; 0: straight lines */
};

/* What lies between a vertex and the next one, and whether that is a cubic. */
static inline bool vertices_curve(const struct vertices *v, const double *a, size_t channel, struct hermite *curve)
{
    const double *b = a + v->width;
    const size_t s = v->slope[channel];
    if (!s || !(b[0] > a[0]))
        return false;
    *curve = hermite_of(b[0] - a[0], a[1 + channel], a[s], b[1 + channel], b[s]);
    return true;
}

/* Levels of one channel, by the time that lines or cubics spend at each value.
 *   channel  from 0 */
struct levels dwi_levels_find(const struct vertices *vertices, size_t channel);

#endif
