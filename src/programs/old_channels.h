/* SPDX-License-Identifier: GPL-3.0-or-later */
/* --channel where it may name several: joined by commas, or given more than once. Not installed. */
#ifndef PROGRAMS_CHANNELS_H
#define PROGRAMS_CHANNELS_H

#include <dutywright/table.h>

/* Adds one argument of --channel to those before.
 *   names  in and out: NULL at first; freed by the caller */
void channels_add(char **names, const char *argument);
/* Columns of the channels named, in the order asked, each once.
 *   names    NULL: all
 *   column   out: [*count], NULL for all; freed by the caller, also on error
 *   returns  DW_OK, DW_NO_MEMORY, or DW_BAD_USE: `--channel: no channel 'speed'; ...` */
enum dw_status channels_find(const char *names, const struct dw_header *header, size_t **column, size_t *count,
                             struct dw_error *error);

#endif
