/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a report holds, for its three writers. */
#ifndef PROGRAMS_REPORT_INNER_H
#define PROGRAMS_REPORT_INNER_H

#include "report.h"
#include <dutywright/value.h>

/* Cells are the report's own; unit is the column's, or in findings the row's. */
struct report {
    const struct report_column *columns;
    size_t count;  /* columns */
    size_t rows, room;
    struct report_cell *cells;  /* [rows x count] */
    bool findings;
    bool incomplete;  /* memory ran out over a row: what is left must not pass for the whole */
};

/* Columns of findings. */
enum { FINDING_CHANNEL, FINDING_QUANTITY, FINDING_VALUE, FINDING_UNIT, FINDING_COLUMNS };

const struct report_cell *report_cell_at(const struct report *report, size_t row, size_t column);
/* Unit of a cell: "" where it has none. */
const char *report_cell_unit(const struct report *report, size_t row, size_t column);
/* The unit of what is stored, for machines: a percentage is stored as a share. */
const char *report_stored_unit(const char *unit);
enum dw_status report_write_text(const struct report *report, int digits, FILE *out, struct dw_error *error);
enum dw_status report_write_json(const struct report *report, FILE *out, struct dw_error *error);

#endif
