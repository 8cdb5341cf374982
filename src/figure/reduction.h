/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any number of rows in constant memory, such that a figure of them looks as if all had been drawn. */
#ifndef FIGURE_REDUCTION_H
#define FIGURE_REDUCTION_H

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

#endif
