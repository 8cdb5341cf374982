/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What programs with a switched load share: which channel is the gate, and one whole period kept for a steady start.
 * Not installed. */
#ifndef PROGRAMS_DRIVE_H
#define PROGRAMS_DRIVE_H

#include "command.h"
#include <dutywright/table.h>

/* A channel that an option names. */
struct channel_wish {
    const char *option;  /* without dashes: for the message */
    const char *name;    /* NULL: not given */
    const char *unit;    /* NULL: any */
};

/* A channel taken as on above the threshold. */
struct gate {
    size_t column;
    double threshold;  /* V */
};

/* Whether the table is a wave: DW_BAD_INPUT where its first column has another unit than s. */
enum dw_status wave_needed(const struct dw_reader *reader, struct dw_error *error);
/* Column of the channel that is wished for, or of the last one with its unit.
 *   returns  DW_BAD_INPUT: no such channel */
enum dw_status channel_find(struct command *command, const struct dw_reader *reader, const struct channel_wish *wish, size_t *column,
                            struct dw_error *error);

/* Finds the gate: the middle of the header's `levels` is the threshold unless one is given.
 *   wish       as for channel_find, its unit V; without a name: `pin` where there is one, else the last channel in V
 *   threshold  V; NaN: from the header
 *   returns    DW_BAD_INPUT: no such channel, or no threshold to be had (the text names --threshold) */
enum dw_status gate_find(struct command *command, const struct dw_reader *reader, const struct channel_wish *wish, double threshold,
                         struct gate *gate, struct dw_error *error);

/* Rows of a reader, the first whole period of which is kept in memory and the later ones compared with it. */
struct repeating;

/* Reads one whole period from the first row on.
 *   returns  NULL on error; DW_BAD_INPUT: no key `period`, or the table ends before a period has passed */
struct repeating *repeating_new(struct dw_reader *reader, struct dw_error *error);
void repeating_free(struct repeating *repeating);
/* Compares only these columns from here on, not all: an angle, say, need not come back.
 *   columns  [count], not time; 0s are skipped; must live as long as the handle */
void repeating_compare(struct repeating *repeating, const size_t *columns, size_t count);
/* The period's length in s. */
double repeating_period(const struct repeating *repeating);
/* Its rows, [*count x columns], the last exactly one period after the first (between two rows where no row is there). */
const double *repeating_lap(const struct repeating *repeating, size_t *count);
/* Next row of the whole table, from its first; as dw_reader_row. DW_BAD_INPUT also where a later period is not the first
 * one again: the text names line, channel and both values. */
enum dw_status repeating_row(struct repeating *repeating, const double **row, struct dw_error *error);

#endif
