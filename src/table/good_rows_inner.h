/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which rows a table may hold: finite numbers, time never going back. */
#ifndef TABLE_GOOD_ROWS_INNER_H
#define TABLE_GOOD_ROWS_INNER_H

#include <stddef.h>

/* How many leading rows are good.
 *   values   [rows x columns], row after row, time first
 *   last     in: time of the row before them; out: of the last good one */
size_t dwi_good_rows(const double *values, size_t rows, size_t columns, double *last);

#endif
