/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables as inputs of a run. One that repeats: its first whole period, kept in memory, and all its rows, compared with that, for steady
 * starts. And one channel against time, read along. */
#ifndef DUTYWRIGHT_REPEAT_H
#define DUTYWRIGHT_REPEAT_H

#include <dutywright/status.h>
#include <dutywright/table.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

struct dw_repeat;

/* Reads one whole period, as long as the header's key `period` says, from the first row on.
 *   reader   at its first row; must live as long as the handle, which reads on from it
 *   wanted   what needs a table that repeats, as messages begin with it: "a steady start"; must live as long as the handle
 *   returns  NULL: DW_BAD_INPUT: no key `period`, the table ends before one has passed, or it is too short for the times to tell
 *            its ends apart; what the reader gives; DW_NO_MEMORY */
DW_API struct dw_repeat *dw_repeat_new(struct dw_reader *reader, const char *wanted, struct dw_error *error);
DW_API void dw_repeat_free(struct dw_repeat *repeat);
/* Compares only these columns from here on, and their slopes, not all: an angle, say, need not come back.
 *   columns  [count], not time; 0s are skipped; must live as long as the handle */
DW_API void dw_repeat_compare(struct dw_repeat *repeat, const size_t *columns, size_t count);
/* The period's length in s. */
DW_API double dw_repeat_period(const struct dw_repeat *repeat);
/* Its rows.
 *   count    out
 *   returns  [*count x columns], all rows at the first instant included; the last stands exactly one period after the first, before
 *            a jump that is there, and between two rows where none is */
DW_API const double *dw_repeat_lap(const struct dw_repeat *repeat, size_t *count);
/* Next row of the whole table, from its first; as dw_reader_row.
 *   returns  DW_BAD_INPUT also where a later period is not the first one again: the text names line, channel and both values
 *   accuracy values are the same within 1e-9 of the channel's range in the period, slopes within 2e-7 of the largest, since they have 8 digits;
 *            instants within 4 ulp of the times */
DW_API enum dw_status dw_repeat_row(struct dw_repeat *repeat, const double **row, struct dw_error *error);

/* ---- a channel along time ---- */

struct dw_course;

/* Straight lines join the rows of a table's first channel. Before its first row it has that one's value, after its last row that
 * one's; of rows at one time the last holds from there on.
 *   path     as dw_reader_open has it
 *   returns  NULL: DW_BAD_INPUT: its first column is no time, or it has no rows; what the reader gives; DW_NO_MEMORY */
DW_API struct dw_course *dw_course_open(const char *path, struct dw_error *error);
DW_API void dw_course_close(struct dw_course *course);
/* Unit of the channel, until it is closed. */
DW_API const char *dw_course_unit(const struct dw_course *course);
/* Passes all rows up to a time.
 *   time     s, not before that of the last call
 *   returns  DW_OK; what the reader gives */
DW_API enum dw_status dw_course_pass(struct dw_course *course, double time, struct dw_error *error);
/* Its value.
 *   time     s, from the last row passed to the next one
 *   returns  unit of the channel
 *   accuracy as dw_row_between */
DW_API double dw_course_at(const struct dw_course *course, double time);
/* The next row.
 *   value    out, unit of the channel; where there is none, that of the last
 *   returns  s, its time; INFINITY where there is none */
DW_API double dw_course_next(const struct dw_course *course, double *value);
/* Passes that one; where there is none, nothing happens.
 *   returns  as dw_course_pass */
DW_API enum dw_status dw_course_step(struct dw_course *course, struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
