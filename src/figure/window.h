/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which part of a table is drawn: rows go in as they are read, what remains of the span comes out. */
#ifndef FIGURE_WINDOW_H
#define FIGURE_WINDOW_H

#include "reduction.h"
#include <dutywright/measure.h>

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
