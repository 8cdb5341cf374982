/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A panel to draw in, and what is drawn there. */
#ifndef FIGURE_CURVE_H
#define FIGURE_CURVE_H

#include "layout.h"
#include "canvas.h"
#include <stdbool.h>
#include <stddef.h>

/* ---- a panel to draw in: from values to pixels ---- */

struct frame {
    struct canvas *canvas;
    struct box box;
    const struct axis *x, *y;
    double width;  /* of the lines */
    double font;
};

/* Pixels of a value, which may lie outside the box, but finite: at most 1e9 either way. */
double frame_x(const struct frame *frame, double x);
double frame_y(const struct frame *frame, double y);

/* Where a curve goes up and down so densely that its strokes would merge into a block, it is shown as a shaded band
 * from its lowest to its highest values, through which means and other curves can be seen. */

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

/* ---- one trace, clipped to its panel ---- */

/* Draws a trace in its colour, dash and mark; of its bands, the edges alone.
 *   frame     width: of its lines */
void curve_draw(const struct frame *frame, const struct trace *trace, struct bands *bands);

/* Puts the trace's mark on its line in a few places.
 *   place     where among those of the other traces, 0..1 */
void curve_tag(const struct frame *frame, const struct trace *trace, const struct bands *bands, double place);

#define MARK 0.33 /* radius of a mark, as a share of the size of letters */

/* The mark of a look at a place; radius in pixels. */
void mark_draw(struct canvas *canvas, enum mark mark, double x, double y, double radius);

/* The part of the line (x0, y0)-(x1, y1) in the box; false: none.
 *   source  Y.-D. Liang and B. A. Barsky 1984, ACM Trans. Graphics 3:1 */
bool line_clip(const struct box *box, double *x0, double *y0, double *x1, double *y1);

#endif
