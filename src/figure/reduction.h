/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any number of rows in constant memory, such that a figure of them looks as if all had been drawn. */
#ifndef FIGURE_REDUCTION_H
#define FIGURE_REDUCTION_H

#include <dutywright/measure.h>
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

/* slope: y by x, where a cubic leads to the next vertex that has one, with those slopes at their ends; NaN: a line does. */
struct vertex {
    double x, y, slope;
};

enum { VERTEX_STEPS = 16 };

/* What leads from a vertex to its neighbour: points on the cubic, as many as make lines between them look like it, or that vertex
 * alone.
 *   out       [VERTEX_STEPS], the last of them is b
 *   returns   how many
 *   source    cubic Hermite interpolation; lines between points of a 16th are off by a 256th of what one line would be, or less */
size_t vertex_between(const struct vertex *a, const struct vertex *b, struct vertex *out);

/* What is kept of the rows in one narrow strip of the x axis: vertices that really occur, never a mixture. A line through
 * first, low and high in the order of their x, and last leaves the strip where all rows leave it and covers what they
 * cover; joined by straight lines to the strips beside it, it differs from the whole line inside strips only. Where the
 * lowest or highest value occurs several times, low and high are its first place; the last one keeps edges upright. */
struct strip {
    struct vertex first, low, high, last;
    double low_until, high_until;
    unsigned long long rows;  /* with up to two, first and last are all there is */
};

enum { STRIP_PATH = 6 };

/* The line through what is kept of a strip, in the order in which it came.
 *   path      out, [STRIP_PATH]
 *   returns   vertices */
size_t strip_path(const struct strip *strip, struct vertex *path);

/* Joins the strip that follows onto one. */
void strip_join(struct strip *strip, const struct strip *next);

struct reduction;

/* At first every x has its strip and nothing is left out. When so many strips are full, neighbours are joined, each time
 * to twice the width.
 *   channels  >= 1
 *   strips    >= 8; in the end the strips are no wider than 2 / (strips - 1) of the range of x (of its logarithm where
 *             reduction_set_logarithmic was told so)
 *   returns   NULL: DW_NO_MEMORY
 *   memory    channels x strips x sizeof (struct strip) at most, reached only where needed */
struct reduction *reduction_new(size_t channels, size_t strips, struct dw_error *error);
void reduction_free(struct reduction *reduction);
void reduction_empty(struct reduction *reduction);  /* as new, but keeping its memory */

/* Strips of equal ratio instead of equal width; all x must be above zero. Of no effect once strips have been joined. */
void reduction_set_logarithmic(struct reduction *reduction, bool logarithmic);

/* Takes a row.
 *   x         not below that of the row before
 *   y, slope  [channels]; slope as in struct vertex, NULL: lines everywhere
 *   returns   DW_OK or DW_NO_MEMORY */
enum dw_status reduction_add(struct reduction *reduction, double x, const double *y, const double *slope, struct dw_error *error);

/* Appends a strip that lies after all others, [channels]. */
enum dw_status reduction_append(struct reduction *reduction, const struct strip *strips, struct dw_error *error);

size_t reduction_strips(const struct reduction *reduction);
size_t reduction_channels(const struct reduction *reduction);
const struct strip *reduction_strip(const struct reduction *reduction, size_t strip, size_t channel);

/* ---- which part of a table is drawn: rows go in as they are read, what remains of the span comes out ---- */

enum { MOST_PERIODS_SHOWN = 10000 };

struct window_rule {
    size_t channels;
    size_t strips;         /* as for reduction_new */
    struct dw_span span;   /* DW_SPAN_LAST needs a period; DW_SPAN_DEFAULT is all */
    double origin, period; /* of the first column's unit; period 0: none is known */
    bool joined;           /* rows are vertices of a line: at the ends of the span, put in the value there. Otherwise the
                              rows beside the span are kept too, since a curve may be drawn to them */
    const bool *curve;     /* [channels], copied: of joined rows, which channels have slopes; NULL: none */
    bool logarithmic;      /* rows at or below zero have no place on the axis: they count for means alone */
};

struct window;

/* Returns NULL: DW_BAD_INPUT where whole periods are asked for and no period is known, DW_BAD_USE beyond
 * MOST_PERIODS_SHOWN of them, DW_NO_MEMORY. */
struct window *window_new(const struct window_rule *rule, struct dw_error *error);
void window_free(struct window *window);
struct reduction *window_reduction(struct window *window);  /* where rows go; after window_finish, all that is drawn */

/* Takes the next row: y and, where a channel is a curve, its slope by x, [channels]. slope NULL: none is. */
enum dw_status window_add(struct window *window, double x, const double *y, const double *slope, struct dw_error *error);

/* Ends the table.
 *   from, to  out: the span that was found, first to last row where none was asked for
 *   returns   DW_OK; DW_BAD_INPUT: no rows, or none in the span, or fewer whole periods than asked for */
enum dw_status window_finish(struct window *window, double *from, double *to, struct dw_error *error);

/* After window_finish: mean of what is drawn of a channel, exact for lines and cubics between rows; false where no time
 * passes.
 *   source    area under a straight line, and a cubic: docs/theory.md, equation 4.1
 *   accuracy  8 DBL_EPSILON of the mean of |value|: the rounding of each area, the sum being compensated */
bool window_mean(const struct window *window, size_t channel, double *mean);

#endif
