/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Colours, and what is drawn on. */
#ifndef FIGURE_CANVAS_H
#define FIGURE_CANVAS_H

#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

/* ---- colours, dashes and marks of the traces; colours of everything else ---- */

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

/* One page to draw on: strokes, areas and text in pixels, whatever the file format. The only file that calls libplot
 * to draw. x to the right, y up, (0, 0) the lower left corner. libplot clips nothing: neither does this. */

enum medium { MEDIUM_SVG, MEDIUM_PS, MEDIUM_PIXELS };

struct canvas;

/* A white page.
 *   width, height  pixels
 *   scale          MEDIUM_PIXELS: how many times finer than pixels it is painted, >= 1
 *   returns        NULL: DW_NO_MEMORY, DW_SYSTEM. Where libplot itself runs out of memory it ends the process. */
struct canvas *canvas_new(enum medium medium, int width, int height, int scale, struct dw_error *error);
void canvas_free(struct canvas *canvas);

/* Ends the page.
 *   bytes    out: the file that libplot made of it (MEDIUM_PIXELS: PNM), the caller's to free; untouched on error */
enum dw_status canvas_finish(struct canvas *canvas, char **bytes, size_t *size, struct dw_error *error);

/* ---- pens ---- */
void canvas_pen(struct canvas *canvas, unsigned colour, double width);
void canvas_dash(struct canvas *canvas, int dash, double unit);  /* as in palette.h; unit: pixels of a short gap */

/* ---- strokes ---- */
void canvas_move(struct canvas *canvas, double x, double y);
void canvas_draw(struct canvas *canvas, double x, double y);
void canvas_curve(struct canvas *canvas, const double point[4][2]);  /* a cubic by Bezier's four points, the first where the path is */
void canvas_line(struct canvas *canvas, double x0, double y0, double x1, double y1);
void canvas_stroke(struct canvas *canvas);  /* ends a path begun with canvas_move */

/* ---- areas: with the pen's colour, without an outline (wide outlines of areas are what libplot draws badly) ---- */
void canvas_area(struct canvas *canvas, const double (*points)[2], size_t count);
void canvas_disc(struct canvas *canvas, double x, double y, double radius);

/* ---- text, UTF-8; size in pixels, capitals are about 0.7 of it high ---- */
enum text_side { TEXT_LEFT, TEXT_CENTRE, TEXT_RIGHT };  /* where (x, y) is in the text */
enum text_weight { TEXT_PLAIN, TEXT_STRONG };
/* Thickness of the letters' lines, as a share of their size. */
#define TEXT_THICKNESS_PLAIN 0.075
#define TEXT_THICKNESS_STRONG 0.1
/* The stroke font's own; libplot sets it whatever pen is given. */
#define TEXT_THICKNESS_FONT 0.043
struct lettering {
    enum text_side side;
    double size;
    enum text_weight weight;
};
/* y: middle of the capitals. MEDIUM_SVG: as text, above all else; elsewhere as strokes. */
void canvas_text(struct canvas *canvas, double x, double y, struct lettering how, const char *text);
double canvas_text_width(struct canvas *canvas, double size, const char *text);

#endif
