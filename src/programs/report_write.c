/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A report as tab-separated lines, or by one of the other two writers. */
#include "report.h"
#include <errno.h>
#include <string.h>

/* A word as a field: what would end the field or the line becomes a blank, an empty one a dash. */
static void write_field(const char *text, FILE *out)
{
    if (!*text)
        fputc('-', out);
    for (; *text; text++)
        fputc((unsigned char)*text < 0x20 ? ' ' : *text, out);
}

/* What ends a line: of findings, how far the value may be off, or that it is at most so large. */
static void end_line(const struct report *report, size_t row, FILE *out)
{
    const struct report_cell *value = report_cell_at(report, row, FINDING_VALUE);
    char number[DW_NUMBER_SIZE] = "<";
    if (report->findings && !value->at_most)
        dw_number_print(number, value->bound);
    fprintf(out, report->findings ? "\t%s\n" : "\n", number);
}

static void write_rows(const struct report *report, FILE *out)
{
    for (size_t c = 0; c < report->count && !report->findings; c++) {
        const char *unit = report->columns[c].unit;
        fprintf(out, unit && *unit ? "%s%s[%s]" : "%s%s", c ? "\t" : "# ", report->columns[c].name,
                unit ? report_stored_unit(unit) : "");
    }
    if (!report->findings)
        fputc('\n', out);
    for (size_t r = 0; r < report->rows; r++)
        for (size_t c = 0; c < report->count; c++) {
            const struct report_cell *cell = report_cell_at(report, r, c);
            char number[DW_NUMBER_SIZE];
            if (cell->text) {
                write_field(report->findings && c == FINDING_UNIT ? report_stored_unit(cell->text) : cell->text, out);
            } else {
                dw_number_print(number, cell->number);
                fputs(number, out);
            }
            if (c + 1 < report->count)
                fputc('\t', out);
            else
                end_line(report, r, out);
        }
}

enum dw_status report_write(const struct report *report, enum report_format format, int digits, FILE *out,
                            struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (!report || report->incomplete)
        return dw_no_memory(error);
    errno = 0;
    switch (format) {
    case REPORT_TEXT: status = report_write_text(report, digits, out, error); break;
    case REPORT_ROWS: write_rows(report, out); break;
    case REPORT_JSON: status = report_write_json(report, out, error); break;
    }
    if (status != DW_OK || (!fflush(out) && !ferror(out)))
        return status;
    return dw_error_set(error, errno == EPIPE ? DW_CLOSED_PIPE : DW_SYSTEM, 0, "standard output: %s",
                        errno ? strerror(errno) : "a write failed");
}
