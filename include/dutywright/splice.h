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

/* Makes a header that of two tables after one another. period ends; carrier-period (or, without it, period) stays as
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
