/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A panel to draw in: from values to pixels. */
#ifndef FIGURE_FRAME_H
#define FIGURE_FRAME_H

#include "layout.h"
#include "palette.h"

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

#endif
