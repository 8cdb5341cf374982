/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where everything of a sheet stands, in pixels, y up. */
#ifndef FIGURE_LAYOUT_H
#define FIGURE_LAYOUT_H

#include "canvas.h"
#include "sheet.h"
#include <dutywright/status.h>

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

#endif
