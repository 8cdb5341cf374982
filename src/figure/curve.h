/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One trace, clipped to its panel. */
#ifndef FIGURE_CURVE_H
#define FIGURE_CURVE_H

#include "layout.h"
#include "palette.h"

struct frame {
    struct canvas *canvas;
    struct box box;
    const struct axis *x, *y;
    double width;  /* of the lines */
    double font;
};

/* Draws a trace in its colour, dash and mark.
 *   returns  DW_OK or DW_NO_MEMORY */
enum dw_status curve_draw(const struct frame *frame, const struct trace *trace, struct dw_error *error);

/* How densely a curve goes up and down: the share of its panel that it would paint for each pixel of line width, were no
 * stroke over another; 0 for stems and marks. */
double curve_cover(const struct frame *frame, const struct trace *trace);

#define MARK 0.33 /* radius of a mark, as a share of the size of letters */

/* The mark of a look at a place; radius in pixels. */
void mark_draw(struct canvas *canvas, enum mark mark, double x, double y, double radius);

/* The part of the line (x0, y0)-(x1, y1) in the box; false: none.
 *   source  Y.-D. Liang and B. A. Barsky 1984, ACM Trans. Graphics 3:1 */
bool line_clip(const struct box *box, double *x0, double *y0, double *x1, double *y1);

#endif
