/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Parts of a wave table, and one table after another, row by row as they stream. Spans are half open: they begin after
 * the jump at their start and end before the jump at their end. */
#ifndef DUTYWRIGHT_SPLICE_H
#define DUTYWRIGHT_SPLICE_H

#include <dutywright/status.h>
#include <dutywright/table.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* What a call gives: [count x columns], time first, valid until the next call with the same handle. count may be 0. */
struct dw_rows {
    const double *values;
    size_t count;
};

/* ---- excerpt: the rows between two times, or of the last whole periods ---- */

struct dw_excerpt_plan {
    size_t columns;             /* of a row, time included, >= 2 */
    const size_t *slope;        /* as in struct dw_pieces_plan, pieces.h; NULL: straight lines */
    double from, to;            /* s, from < to; -INFINITY and INFINITY leave that end as it is */
    unsigned long long periods; /* 0: from `from` to `to`; else so many last whole ones, which are kept in memory */
    double origin, period;      /* s, as in the header; period > 0 */
};

struct dw_excerpt;
/* A time within 4 ulp of a row is that row's. Elsewhere a row is put in at its ends, between its neighbours.
 *   returns   NULL on error: DW_BAD_USE, DW_NO_MEMORY */
DW_API struct dw_excerpt *dw_excerpt_new(const struct dw_excerpt_plan *plan, struct dw_error *error);
DW_API void dw_excerpt_free(struct dw_excerpt *excerpt);
/* Takes rows, [count x columns], and gives those of the excerpt that are known by now, mostly one row late; of periods none.
 *   returns   DW_OK; DW_BAD_INPUT: the span begins before the first row, time goes back, a period is too short for the times to
 *             tell apart; DW_NO_MEMORY */
DW_API enum dw_status dw_excerpt_rows(struct dw_excerpt *excerpt, const double *rows, size_t count, struct dw_rows *out, struct dw_error *error);
/* After the last row: what is left, or all rows of the periods, from boundary to boundary.
 *   returns   DW_OK; DW_BAD_INPUT: the span is not over, or has not even begun; there are fewer whole periods; DW_NO_MEMORY */
DW_API enum dw_status dw_excerpt_finish(struct dw_excerpt *excerpt, struct dw_rows *out, struct dw_error *error);

/* ---- curves as straight lines, and lines as curves ---- */

struct dw_lines;
/* Takes rows of a table with slopes and gives such without, as many as keep the lines within a share of each curve's change. That is
 * how far it ranges over the present period of the carrier (or without one, the period) and the one before; where the header knows
 * none, since the first row.
 *   share     above 0, below 1
 *   returns   NULL on error: DW_BAD_USE, DW_NO_MEMORY
 *   source    a chord over d is off by at most d^2/8 of the largest second derivative; docs/theory.md, (4.5) */
DW_API struct dw_lines *dw_lines_new(const struct dw_header *header, double share, struct dw_error *error);
DW_API void dw_lines_free(struct dw_lines *lines);
/* Of the rows given: without slopes, and `accuracy` says the share. The lines' own. */
DW_API const struct dw_header *dw_lines_header(const struct dw_lines *lines);
/* The next rows of the table.
 *   values    [count x columns] of the table, slopes included
 *   out       with the columns of dw_lines_header; those up to the last row that came
 *   returns   DW_OK, DW_NO_MEMORY */
DW_API enum dw_status dw_lines_rows(struct dw_lines *lines, const double *values, size_t count, struct dw_rows *out,
                                    struct dw_error *error);

struct dw_curves;
/* Takes rows of one table and gives them with the columns of another that has the same channels, some of which have slopes there
 * alone: those of the lines, so that the wave is the same. Where a line bends there are two rows.
 *   returns   NULL on error: DW_BAD_USE: a channel is missing; DW_NO_MEMORY */
DW_API struct dw_curves *dw_curves_new(const struct dw_header *from, const struct dw_header *to, struct dw_error *error);
DW_API void dw_curves_free(struct dw_curves *curves);
/* The next rows of the one table.
 *   values    [count x columns] of it
 *   out       with the columns of the other: what is known by now, one instant late
 *   returns   DW_OK, DW_NO_MEMORY */
DW_API enum dw_status dw_curves_rows(struct dw_curves *curves, const double *values, size_t count, struct dw_rows *out,
                                     struct dw_error *error);
/* After the last row: what is left, as above. Another table of the same columns may follow. */
DW_API enum dw_status dw_curves_finish(struct dw_curves *curves, struct dw_rows *out, struct dw_error *error);

/* ---- join: tables after one another ---- */

struct dw_join;
/* Each later table is shifted so that its first time is the last of the table before it; the first is left as it is.
 * Where two meet there is one jump at most, from the value before any jump at the end of the one to the value after any
 * jump at the start of the other. Memory grows with the rows that one instant has, not with the length.
 *   columns   of a row, time included, the same in all tables */
DW_API struct dw_join *dw_join_new(size_t columns, struct dw_error *error);
DW_API void dw_join_free(struct dw_join *join);
/* The rows that follow are the next table's. */
DW_API void dw_join_next(struct dw_join *join);
DW_API enum dw_status dw_join_row(struct dw_join *join, const double *row, struct dw_rows *out, struct dw_error *error);
/* What was held back: after the last row of the last table. */
DW_API enum dw_status dw_join_finish(struct dw_join *join, struct dw_rows *out, struct dw_error *error);

/* Makes a header that of two tables after one another. A channel that has a slope in one of them has it in both: dw_curves_new
 * brings the other's rows to it. period ends; carrier-period (or, without it, period) stays as
 * carrier-period where both have the same and their boundaries meet. levels, duty and tick stay where they are the same.
 * sampled stays where one has it, with the lower rate; accuracy is the larger number of each channel. Of other keys the first table's
 * stands, made-by and note excepted, of which both have theirs.
 *   header   in and out: that of the table in front
 *   next     that of the table behind
 *   shift    s, what is added to the times of the table behind; NaN: not known, and nothing is said of its carrier
 *   returns  DW_OK; DW_BAD_INPUT: the channels differ; DW_NO_MEMORY */
DW_API enum dw_status dw_header_join(struct dw_header *header, const struct dw_header *next, double shift,
                                     struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
