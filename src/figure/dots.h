/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A field of dots, two across and four down in each character of a terminal. */
#ifndef FIGURE_DOTS_H
#define FIGURE_DOTS_H

#include <stdbool.h>
#include <stddef.h>

enum { DOTS_ACROSS = 2, DOTS_DOWN = 4, NO_TRACE = 255 };

struct dot_cell {
    unsigned char dots;   /* bit k: dot k + 1 of Unicode's braille patterns (U+2800 + dots) */
    unsigned char trace;  /* that set the last one: whose colour it has */
};

struct dots {
    int columns, rows;      /* in characters */
    struct dot_cell *cell;  /* [rows x columns], from the upper left */
};

/* Dots count from 0, x to the right, y up; what lies outside is left out. */
void dots_set(struct dots *dots, int x, int y, unsigned char trace);
void dots_line(struct dots *dots, double x0, double y0, double x1, double y1, unsigned char trace);

enum { GLYPH_SIZE = 4 };

/* The character that shows a cell: a braille pattern in UTF-8, or the ASCII one that comes nearest; a blank for no dots.
 *   out       [GLYPH_SIZE], NUL-terminated */
void dots_glyph(char *out, struct dot_cell cell, bool ascii);

#endif
