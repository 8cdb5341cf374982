/* SPDX-License-Identifier: GPL-3.0-or-later */
/* --channel where it may name several: joined by commas, or given more than once. Not installed. */
#ifndef PROGRAMS_CHANNELS_H
#define PROGRAMS_CHANNELS_H

#include "option.h"
#include <dutywright/table.h>

/* Columns of the channels named, in the order asked, each once.
 *   names    none: all
 *   column   out: [*count], NULL for all; freed by the caller, also on error
 *   returns  DW_OK, DW_NO_MEMORY, or DW_BAD_USE: `--channel: no channel 'speed'; ...` */
enum dw_status channels_find(const struct option_texts *names, const struct dw_header *header, size_t **column, size_t *count,
                             struct dw_error *error);

#endif
