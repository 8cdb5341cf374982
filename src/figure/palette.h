/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Colours, dashes and marks of the traces; colours of everything else. */
#ifndef FIGURE_PALETTE_H
#define FIGURE_PALETTE_H

#include <stddef.h>

enum {
    INK = 0x262626,       /* text and the base line: 15:1 against the paper */
    PAPER = 0xffffff,
    RULE = 0xd8d8d8,      /* at the ticks */
    RULE_FINE = 0xececec  /* between the decades */
};

enum mark { MARK_DISC, MARK_SQUARE, MARK_DIAMOND, MARK_WEDGE, MARKS };

struct look {
    unsigned colour;  /* 0xRRGGBB */
    int dash;         /* 0 solid; 1 long, 2 short, 3 long and short: told apart without colour too */
    enum mark mark;
};

enum { COLOURS = 7, LOOKS = 4 * COLOURS };

/* Look of the i-th trace of a figure; from LOOKS on they repeat.
 *   source  the palette of M. Okabe and K. Ito, Color Universal Design, 2008: colours that all common kinds of colour
 *           vision tell apart. Their yellow is left out: its contrast on white is 1.3 to 1. */
struct look palette_look(size_t i);

/* A colour mixed with paper.
 *   share     of the colour, 0..1 */
unsigned palette_tint(unsigned colour, double share);

#endif
