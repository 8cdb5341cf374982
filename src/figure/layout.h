/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where everything of a sheet stands, in pixels, y up. */
#ifndef FIGURE_LAYOUT_H
#define FIGURE_LAYOUT_H

#include "canvas.h"
#include "sheet.h"
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

struct box {
    double left, right, bottom, top;
};

enum { LABEL_TEXT = 96, TITLE_LINES = 4, LINE_TEXT = 256 };

/* A trace's name and mean beside the panel, and the end of the line to it. */
struct label {
    size_t trace;
    char line[2][LABEL_TEXT];  /* the second may be "" */
    bool anchored;             /* a line leads to it from `anchor` */
    double anchor, centre, height;
};

struct panel_layout {
    struct box box;
    char heading[LINE_TEXT];
    struct ticks ticks;
    struct label *label;  /* [labels], from the bottom up */
    size_t labels;
    size_t left_out;      /* traces for whose labels there is no room */
    double label_size;    /* of their letters */
};

struct page {
    int width, height;
    double font;  /* size of letters */
};

/* Space left and right of the panels. Frames of one animation share the largest. */
struct margins {
    double left, right;
};

struct layout {
    struct page page;
    struct margins margins;
    struct panel_layout *panel;  /* [panels] */
    size_t panels;
    struct ticks x;
    char title[TITLE_LINES][LINE_TEXT], caption[LINE_TEXT];
    int title_lines;
    double title_top;            /* of the first line */
    char x_text[LABEL_TEXT];     /* name of the x axis, behind its last label */
    double x_text_left;
};

/* Size of letters that suits a page. */
double page_font(int width, int height);

/* A text, shortened in its middle as far as it takes to be no wider than `width`. */
void text_fit(char out[LINE_TEXT], const char *text, struct canvas *canvas, double size, double width);

/* Least size of a page for a sheet with such letters: DW_OK or DW_NO_MEMORY.
 *   width, height  in and out */
enum dw_status page_least(const struct sheet *sheet, struct canvas *canvas, double font, int *width, int *height, struct dw_error *error);

/* Lays a sheet out.
 *   canvas    measures text
 *   least     margins not to fall below; {0, 0} where none
 *   returns   NULL: DW_BAD_USE where the page is too small, saying what would do; DW_NO_MEMORY */
struct layout *layout_new(const struct sheet *sheet, struct canvas *canvas, const struct page *page,
                          const struct margins *least, struct dw_error *error);
void layout_free(struct layout *layout);

/* Moves labels apart so that none overlap, each as little as can be (least squares), their order kept.
 *   wanted   [count] centres, ascending
 *   height   [count]
 *   centre   out, [count]; within bottom..top where the heights fit in
 *   source   isotonic regression by pooling neighbours: Ayer et al. 1955, Ann. Math. Stat. 26:641 */
void labels_spread(const double *wanted, const double *height, size_t count, double bottom, double top, double *centre);

/* MOST_LABELS: traces that one panel can hold */
enum { MOST_LABELS = 256 };

#define LABEL_LEADING 1.2 /* distance of lines, as a share of the size of letters */

/* Fills layout->label [panel->traces] with texts that fit beside layout->box, of which the height is known: lines and
 * letters become smaller until all fit; after that the last traces go without. */
void labels_fit(struct panel_layout *layout, const struct panel *panel, double font);
double labels_width(const struct panel_layout *layout, struct canvas *canvas);
/* Puts them beside layout->box. */
void labels_place(struct panel_layout *layout, const struct panel *panel, const struct axis *x, double font);

/* Draws a sheet as it was laid out. DW_OK or DW_NO_MEMORY. */
enum dw_status sheet_draw(const struct sheet *sheet, const struct layout *layout, struct canvas *canvas,
                          struct dw_error *error);

/* ---- a field of dots, two across and four down in each character of a terminal ---- */

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
