/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A plant along a table: rows in, rows out with what the plant makes of them. docs/theory.md, section 2. */
#ifndef DUTYWRIGHT_FOLLOW_H
#define DUTYWRIGHT_FOLLOW_H

#include <dutywright/plant.h>
#include <dutywright/repeat.h>
#include <dutywright/table.h>

#ifdef __cplusplus
extern "C" {
#endif

#define DW_SWING 50

/* Share of the changes of an output within which cubics follow it, for struct dw_run_options: DW_SWING times the accuracy, at most
 * the whole. */
static inline double dw_swing(double accuracy)
{
    return DW_SWING * accuracy < 1 ? DW_SWING * accuracy : 1;
}

struct dw_follow_seen;

struct dw_follow_plan {
    struct dw_plant *plant;
    double accuracy, uniform;             /* as in struct dw_run_options; rows have slopes, but for uniform ones, and follow changes of
                                             the outputs within dw_swing of the accuracy */
    double lines;                         /* straight lines instead, within this share of the curves, as dw_lines_new has it; 0: no */
    const char *steady;                   /* what asks, as messages begin with it ("a steady start"), to begin on the periodic orbit
                                             that is reached from rest, for a table that repeats; NULL: begin at rest */
    size_t input_column[DW_INPUTS];       /* [inputs], column of the table, along curves where it has a slope; 0: fed with 0 */
    struct dw_course *side;               /* a second table, whose first channel drives one input. NULL: none */
    size_t side_input;                    /* that input */
    struct dw_repeat *repeat;             /* of the same reader, where one was made already. NULL: made if steady */
    const double *ahead;                  /* rows that were read from the table already, [ahead_count x columns]; not with repeat */
    size_t ahead_count;
    int descriptor;                       /* where the table goes; -1: nowhere, the watch sees all */
    enum dw_encoding encoding;            /* DW_CSV too */
    const char *made_by;                  /* for its header; may be NULL */
    /* Sees each row before it is written, and with uniform rows those that would stand there without; may be NULL. Anything but
     * DW_OK stops, and is passed on. */
    dw_run_sink *watch;
    void *context;                        /* for the watch */
    const struct dw_integrand *integrand; /* as in struct dw_run_options: for the watch */
    size_t integrand_count;
    /* Told as soon as the orbit, or the swings below, have been found; may be NULL. */
    void (*found)(void *context, const struct dw_follow_seen *seen);
    void *found_context;                  /* for that */
};

/* What was seen; up to date whenever the watch is called. */
struct dw_follow_seen {
    unsigned long long rows, extremes;  /* read from the table so far; written because a curve turns there */
    unsigned long long swings;          /* rows read when the extremes had become very many to each of them: the plant swings on and
                                           on, each time with a row, which is rarely what was meant; 0: they have not */
    struct dw_steady steady;            /* of the orbit, where the start is steady */
    size_t mode;                        /* after the last row: where the plant is */
    double state[DW_STATES];
};

/* Reads a table to its end and writes it with the plant's outputs appended, as dw_header_derive and dw_header_append have it: with
 * the keys `initial`, unless the start is steady, and `accuracy`, or `sampled` where rows are uniform. Nothing is written
 * before a steady start has been found.
 *   reader   at its first row, or behind those read ahead
 *   seen     out, also where the answer is no; may be NULL
 *   returns  DW_OK; DW_NO: no steady start, or switching without end; DW_BAD_INPUT: no rows, here or in the second
 *            table, a steady start and a table that does not repeat; DW_BAD_USE: a steady start beside a second table; what readers,
 *            writer, run and watch give
 *   accuracy as that of a run, modes.h */
DW_API enum dw_status dw_follow(const struct dw_follow_plan *plan, struct dw_reader *reader, struct dw_follow_seen *seen,
                                struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
