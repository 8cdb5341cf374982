/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reports of programs: findings (one quantity a line) and ranked tables (one candidate a line), in text for reading,
 * in rows for scripts, and in JSON. Not installed.
 *
 *     struct report *report = report_findings(&error);
 *     report_finding(report, "out", "mean", 1.0296, "V", &error);
 *     report_finding(report, "out", "ripple", 0.0331, "V", &error);
 *     status = report_write(report, o.common.format, o.common.digits, stdout, &error);
 *     report_free(report);
 *
 *     static const struct report_column columns[] = { { "rank", "" }, { "frequency", "Hz" }, { "counting", NULL } };
 *     struct report *report = report_new(columns, 3, &error);
 *     report_row(report, (struct report_cell[]){ report_number(1), report_number(1600), report_text("updown") }, &error);
 *
 *   text   out  mean       1.030  V         rank  frequency      counting
 *          out  ripple    33.10   mV           1  1.600  kHz     updown
 *   rows   out<TAB>mean<TAB>1.0296<TAB>V      # rank<TAB>frequency[Hz]<TAB>counting
 *                                           1<TAB>1600<TAB>updown
 *   json   [{"channel": "out", "quantity": "mean", "value": 1.0296, "unit": "V"}, ...]
 *          [{"rank": 1, "frequency": 1600, "frequency-unit": "Hz", "counting": "updown"}, ...]
 *
 * One check at report_write is enough: a failed report_new may be passed on as NULL, a row for which memory ran out is
 * left out and remembered, and report_write then answers DW_NO_MEMORY and writes nothing. */
#ifndef PROGRAMS_REPORT_H
#define PROGRAMS_REPORT_H

#include <dutywright/status.h>
#include <dutywright/value.h>
#include <stdbool.h>
#include <stdio.h>

enum report_format { REPORT_TEXT, REPORT_ROWS, REPORT_JSON };

struct report;

struct report_column {
    const char *name;
    const char *unit;  /* numbers: SI symbol, "1" for a pure number, "" for a count such as a rank; NULL: words. "%" is a
                        share shown as percent in text, and as the share with unit 1 in rows and JSON */
};

/* A cell: words, a number (NaN: none), or a number that is only an upper bound. */
struct report_cell {
    const char *text;  /* NULL: a number; copied */
    double number;
    bool at_most;
    double bound;      /* how far the number may be off; 0: it is exact. Text has no more digits than that */
};
struct report_cell report_text(const char *text);
struct report_cell report_number(double number);
struct report_cell report_at_most(double number);
struct report_cell report_within(double number, double bound);

/* A ranked table.
 *   columns  [count]; names and units must live as long as the report
 *   returns  NULL where memory runs out */
struct report *report_new(const struct report_column *columns, size_t count, struct dw_error *error);
/* Appends a row, [count] cells in the order of the columns. */
enum dw_status report_row(struct report *report, const struct report_cell *cells, struct dw_error *error);

/* Findings: columns channel, quantity, value, unit. */
struct report *report_findings(struct dw_error *error);
/* Appends a finding.
 *   channel  copied, as are quantity and unit; "" where it belongs to none (then "-" in text and rows, null in JSON)
 *   unit     as in struct report_column */
enum dw_status report_finding(struct report *report, const char *channel, const char *quantity, double value,
                              const char *unit, struct dw_error *error);
/* The same for any cell that is a number. Rows have its bound as the fifth field, JSON as "bound" unless it is 0, in a table with the
 * name of the column before it: "frequency-bound". A value known only to be at most so large is `<= 625.0 us` in text, has `<` as
 * that field, and in JSON "at-most": true, or "settling-at-most". */
enum dw_status report_finding_cell(struct report *report, const char *channel, const char *quantity, struct report_cell value,
                                   const char *unit, struct dw_error *error);
/* Those of many that are wanted and known, which a number that is NaN is not. */
struct offered {
    bool wanted;
    const char *channel, *quantity;
    struct report_cell value;
    const char *unit;
};
enum dw_status report_wanted(struct report *report, const struct offered *findings, size_t count, struct dw_error *error);
/* The same for a word, such as a verdict; its unit is "-" in rows. */
enum dw_status report_finding_text(struct report *report, const char *channel, const char *quantity, const char *word,
                                   struct dw_error *error);

/* How many rows there are. */
size_t report_rows(const struct report *report);

/* Writes the report. Numbers in rows and JSON have all digits (NaN: `nan`, null); those of text so many significant
 * digits with SI prefixes, except that whole numbers in a column or finding with unit "" are written whole.
 *   returns  DW_OK, DW_NO_MEMORY, or DW_SYSTEM / DW_CLOSED_PIPE where writing failed */
enum dw_status report_write(const struct report *report, enum report_format format, int digits, FILE *out,
                            struct dw_error *error);
void report_free(struct report *report);

/* ---- what a report holds, for its three writers ---- */

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
