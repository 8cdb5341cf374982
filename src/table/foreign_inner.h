/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files that open tables of others share. Not installed. */
#ifndef TABLE_FOREIGN_INNER_H
#define TABLE_FOREIGN_INNER_H

#include "reader_inner.h"

/* A line among those kept, and one past its last byte but for blanks and line ends. */
char *dwi_kept_line(const struct kept_lines *lead, size_t line, char **last);
char *dwi_trim_end(const char *first, char *last);

/* Names and units of the columns, by the lines above the rows.
 *   columns   of the table
 *   end       the lines of lead before this one are above the rows
 *   returns   DW_OK; DW_BAD_INPUT where one of them is a row with a word in it; DW_NO_MEMORY */
enum dw_status dwi_foreign_name_columns(struct dw_reader *reader, const struct kept_lines *lead, size_t end, size_t columns,
                                        struct dw_error *error);

#endif
