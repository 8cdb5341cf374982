/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A wave table as what lies between its rows: blocks of pieces without a jump, cut at the boundaries of periods, at the ends
 * of spans and where a channel crosses a level. Whatever judges a table works on these. docs/theory.md, section 4. */
#ifndef DUTYWRIGHT_PIECES_H
#define DUTYWRIGHT_PIECES_H

#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

enum { DW_CLOCKS = 3 };

/* Instants at which a table is cut. A row within 4 ulp of one, or of the origin where that is larger, is on it; so are all rows
 * that follow it there: the first of them is the value before the instant, the last the value after it. */
struct dw_clock {
    double period, origin;  /* s; period > 0: boundaries origin + k period, by dw_period_boundary */
    double from, to;        /* s; period 0: these two instants, either may be infinite. Else no boundary before `from` or after
                               `to` counts: -INFINITY and INFINITY for all */
    double keep;            /* period > 0: where one straight line passes very many boundaries, all but the first 3 and so many
                               last ones may be passed over; INFINITY: none is */
    double group;           /* period > 0: else, between boundaries whose k is a multiple of this, all but the first 3 and the
                               last 4; INFINITY: between all; 0: none */
};

/* Where a column crosses a level between two rows. */
struct dw_level {
    size_t column;  /* > 0 */
    double level;
};

struct dw_pieces_plan {
    size_t columns;         /* of a row, time first; >= 2 */
    const size_t *slope;    /* [columns], copied: the column of each one's slope, 0: straight lines; NULL: all are lines. Slopes
                               themselves have 0 */
    struct dw_clock clock[DW_CLOCKS];
    size_t clocks;
    const struct dw_level *levels;  /* [level_count], copied */
    size_t level_count;
    const char *place;      /* of the table, copied: begins messages; NULL: nothing does */
};

/* An instant of a clock. */
struct dw_instant {
    double at;              /* s */
    double index;           /* k of its boundary; of a span 0 for `from`, 1 for `to` */
    double stands_for;      /* periods since the clock's instant before: 1, but where boundaries were passed over; NAN: there was
                               none before */
};

/* Rows of the table, and such as were put in at cuts: a piece lies between each two neighbours, a straight line or a cubic. */
struct dw_block {
    const double *rows;     /* [count x columns], valid until the next call */
    size_t count;           /* >= 2, time strictly rises; with `passed` >= 1, all at one instant */
    bool passed;            /* no pieces: rows between the first and the last of an instant. Their values were passed in no time */
    bool jump;              /* the first row is another than the last of the block before: the table begins, or two rows or more
                               stand at the instant; then the value may differ */
    bool made;              /* the last row was put in */
    unsigned begins, ends;  /* bit i: an instant of clock i lies at the first row, at the last; `begin` and `end` tell of it */
    struct dw_instant begin[DW_CLOCKS], end[DW_CLOCKS];
};

struct dw_pieces;

/*   returns  NULL: DW_BAD_USE (a column that is none, a clock without order), DW_NO_MEMORY */
DW_API struct dw_pieces *dw_pieces_new(const struct dw_pieces_plan *plan, struct dw_error *error);
DW_API void dw_pieces_free(struct dw_pieces *pieces);

/* Hands over the next rows, after dw_pieces_next has given DW_END for those before.
 *   rows   [count x columns]; must last until then */
DW_API void dw_pieces_put(struct dw_pieces *pieces, const double *rows, size_t count);

/*   block    out: valid until the next call
 *   returns  DW_OK; DW_END: no more until further rows are put; DW_BAD_INPUT: time goes back (line: the row's number), or a
 *            period is too short for the times to tell its boundaries apart
 *   cost     some ns a block and at each cut; nothing for a row inside a block but the look at its time */
DW_API enum dw_status dw_pieces_next(struct dw_pieces *pieces, const struct dw_block **block, struct dw_error *error);

DW_API unsigned long long dw_pieces_rows(const struct dw_pieces *pieces);  /* put so far and looked at */
/* The first row, and the last one looked at: [columns]; NULL: none yet. */
DW_API const double *dw_pieces_first(const struct dw_pieces *pieces);
DW_API const double *dw_pieces_last(const struct dw_pieces *pieces);
/* The same two where a jump leads away from the first, or to the last: values of no piece and no span, that only a copy of the
 * table wants. NULL: no jump is there. */
DW_API const double *dw_pieces_before(const struct dw_pieces *pieces);
DW_API const double *dw_pieces_beyond(const struct dw_pieces *pieces);
/* Whether the first instant of a clock lies before the first row. */
DW_API bool dw_pieces_missed(const struct dw_pieces *pieces, size_t clock);

/* The row at a time between two others: on the straight line of each column, or on the cubic with the two values and slopes.
 *   slope    as in the plan
 *   a, b     [columns], a[0] < b[0]; a jump (a[0] == b[0]) gives b
 *   time     s; outside them the nearer row
 *   row      out, [columns]; may be neither a nor b
 *   source   cubic Hermite interpolation, docs/theory.md, (4.12)
 *   accuracy 3 DBL_EPSILON of the largest magnitude of the two values; of a cubic, of value and slope times the distance */
DW_API void dw_row_between(size_t columns, const size_t *slope, const double *a, const double *b, double time, double *row);

#ifdef __cplusplus
}
#endif
#endif
