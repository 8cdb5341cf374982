/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where a curve goes up and down so densely that its strokes would merge into a block, it is shown as a shaded band from
 * its lowest to its highest values, through which means and other curves can be seen. */
#ifndef FIGURE_BAND_H
#define FIGURE_BAND_H

#include "frame.h"
#include <stdbool.h>
#include <stddef.h>

/* What a trace does in one column of pixels. */
struct column {
    size_t strip;         /* the first that begins in it */
    double x;             /* pixels, whole: its left edge */
    double climb;         /* pixels that the line goes up and down in it, with the way from the column before */
    double low, high;     /* pixels, within the panel */
    bool dense, tall;     /* part of a band; high enough for one to begin */
};

struct bands {
    size_t count;
    struct column *at;
    double (*outline)[2]; /* room for that of all columns */
    bool any;             /* a column is dense */
    double cover;         /* of what is no band: share of the panel that a line of one pixel would paint, were no stroke
                           * over another; 0 for stems and marks */
};

/* Finds the bands of a trace.
 *   frame     width: of the lines, by which it is judged what merges
 *   bands     out; bands_free, also after an error
 *   returns   DW_OK or DW_NO_MEMORY */
enum dw_status bands_find(struct bands *bands, const struct frame *frame, const struct trace *trace, struct dw_error *error);
void bands_free(struct bands *bands);

/* Where the run of columns that are dense, or are not, and begins at `from` ends: one behind its last. */
size_t bands_run(const struct bands *bands, size_t from);

/* Paints the bands in a tint of the trace's colour. */
void bands_shade(struct bands *bands, const struct frame *frame, const struct trace *trace);

/* Draws the edges of the bands in the trace's colour. */
void bands_edge(struct bands *bands, const struct frame *frame, const struct trace *trace);

#endif
