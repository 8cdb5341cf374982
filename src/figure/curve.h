/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One trace, clipped to its panel. */
#ifndef FIGURE_CURVE_H
#define FIGURE_CURVE_H

#include "band.h"

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
