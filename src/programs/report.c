/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_inner.h"
#include <errno.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

struct report_cell report_text(const char *text)
{
    return (struct report_cell){ .text = text, .number = NAN };
}

struct report_cell report_number(double number)
{
    return (struct report_cell){ .number = number };
}

struct report_cell report_at_most(double number)
{
    return (struct report_cell){ .number = number, .at_most = true };
}

struct report *report_new(const struct report_column *columns, size_t count, struct dw_error *error)
{
    struct report *report = calloc(1, sizeof *report);
    if (!report) {
        dw_no_memory(error);
        return NULL;
    }
    report->columns = columns;
    report->count = count;
    return report;
}

struct report *report_findings(struct dw_error *error)
{
    static const struct report_column columns[FINDING_COLUMNS] = {
        { "channel", NULL }, { "quantity", NULL }, { "value", "" }, { "unit", NULL }
    };
    struct report *report = report_new(columns, FINDING_COLUMNS, error);
    if (report)
        report->findings = true;
    return report;
}

void report_free(struct report *report)
{
    if (!report)
        return;
    for (size_t i = 0; i < report->rows * report->count; i++)
        free((char *)report->cells[i].text);
    free(report->cells);
    free(report);
}

static bool grow(struct report *report)
{
    if (report->rows < report->room)
        return true;
    const size_t room = report->room ? 2 * report->room : 16, row = report->count * sizeof *report->cells;
    struct report_cell *cells = room > SIZE_MAX / row ? NULL : realloc(report->cells, room * row);
    report->incomplete |= !cells;
    if (!cells)
        return false;
    report->cells = cells;
    report->room = room;
    return true;
}

enum dw_status report_row(struct report *report, const struct report_cell *cells, struct dw_error *error)
{
    if (!report || !grow(report))
        return dw_no_memory(error);
    struct report_cell *row = report->cells + report->rows * report->count;
    for (size_t i = 0; i < report->count; i++) {
        row[i] = cells[i];
        if (!cells[i].text)
            continue;
        row[i].text = strdup(cells[i].text);
        if (!row[i].text) {
            report->incomplete = true;
            while (i-- > 0)
                free((char *)row[i].text);
            return dw_no_memory(error);
        }
    }
    report->rows++;
    return DW_OK;
}

static enum dw_status add_finding(struct report *report, const char *channel, const char *quantity,
                                  struct report_cell value, const char *unit, struct dw_error *error)
{
    const struct report_cell cells[FINDING_COLUMNS] = {
        [FINDING_CHANNEL] = report_text(channel),
        [FINDING_QUANTITY] = report_text(quantity),
        [FINDING_VALUE] = value,
        [FINDING_UNIT] = report_text(unit),
    };
    return report_row(report, cells, error);
}

enum dw_status report_finding(struct report *report, const char *channel, const char *quantity, double value,
                              const char *unit, struct dw_error *error)
{
    return add_finding(report, channel, quantity, report_number(value), unit, error);
}

enum dw_status report_finding_at_most(struct report *report, const char *channel, const char *quantity, double value,
                                      const char *unit, struct dw_error *error)
{
    return add_finding(report, channel, quantity, report_at_most(value), unit, error);
}

enum dw_status report_finding_text(struct report *report, const char *channel, const char *quantity, const char *word,
                                   struct dw_error *error)
{
    return add_finding(report, channel, quantity, report_text(word), "", error);
}

size_t report_rows(const struct report *report)
{
    return report ? report->rows : 0;
}

const struct report_cell *report_cell_at(const struct report *report, size_t row, size_t column)
{
    return report->cells + row * report->count + column;
}

const char *report_cell_unit(const struct report *report, size_t row, size_t column)
{
    if (report->findings && column == FINDING_VALUE)
        return report_cell_at(report, row, FINDING_UNIT)->text;
    return report->columns[column].unit ? report->columns[column].unit : "";
}

const char *report_stored_unit(const char *unit)
{
    return strcmp(unit, "%") ? unit : "1";
}

/* A word as a field: what would end the field or the line becomes a blank, an empty one a dash. */
static void write_field(const char *text, FILE *out)
{
    if (!*text)
        fputc('-', out);
    for (; *text; text++)
        fputc((unsigned char)*text < 0x20 ? ' ' : *text, out);
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
            fputc(c + 1 < report->count ? '\t' : '\n', out);
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
