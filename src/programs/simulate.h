/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Runs a switching system along a table: rows in, rows out. Shared by the programs of switched loads. Not installed. */
#ifndef PROGRAMS_SIMULATE_H
#define PROGRAMS_SIMULATE_H

#include "common.h"
#include "drive.h"
#include <dutywright/modes.h>
#include <dutywright/table.h>

struct simulated_channel {
    const char *name, *unit;
    double factor;   /* from the output's SI unit to the unit written; 0: the output is not written */
    double initial;  /* before the first row, in the unit written; NaN: the header does not say */
};

struct simulation {
    const struct common_options *common;
    struct dw_modes *modes;
    size_t mode;                          /* to begin with */
    double state[DW_STATES];              /* [states], at rest */
    size_t inputs;
    size_t input_column[DW_INPUTS];       /* [inputs], column of the table; 0: not connected, fed with 0 */
    size_t side_input;                    /* the input that `side` drives, where side is not NULL */
    struct dw_reader *side;               /* a second table, its first channel against time; the caller's */
    size_t outputs;
    const struct simulated_channel *channel;  /* [outputs] */
    bool steady;                          /* start on the periodic orbit that is reached from `state` */
    struct repeating *periods;            /* where the caller has made it already; the caller's. NULL: made if steady */
    const double *ahead;                  /* rows of the table that the caller has read already, [ahead_count x columns] */
    size_t ahead_count;
    const char *load;                     /* "ladder": for the caution that nothing damps it; NULL: none is due */
    void (*finished)(void *context, const double *state);  /* sees the state after the last row; may be NULL */
    bool no_table;                        /* only watch: findings instead of a table */
    /* Sees each row, before it is written, and with --uniform the rows that stood there without it; may be NULL. */
    enum dw_status (*watch)(void *context, const struct dw_run_row *row, struct dw_error *error);
    void *context;                        /* for both */
};

/* Reads the table to its end and writes the one with the outputs appended, with the key `initial` where it is known, unless
 * the start is steady. Nothing is written before a steady start has been found.
 *   returns  DW_BAD_INPUT also where the load cannot work on this table: no steady state, endless switching */
enum dw_status simulate(const struct simulation *simulation, struct dw_reader *reader, struct dw_error *error);

#endif
