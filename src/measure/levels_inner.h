/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The levels of a waveform's two states: IEEE Std 181-2011, 5.2 (histogram method), from memory. */
#ifndef MEASURE_LEVELS_INNER_H
#define MEASURE_LEVELS_INNER_H

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

/* Vertices of a record, row after row: time, then channels. */
struct vertices {
    const double *row;
    size_t count, width;  /* doubles a row, 1 + channels */
};

/* Levels of one channel, by the time the straight lines spend at each value.
 *   channel  from 0 */
struct levels dwi_levels_find(const struct vertices *vertices, size_t channel);

#endif
