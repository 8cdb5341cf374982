/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report.h"
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

struct report_cell report_within(double number, double bound)
{
    return (struct report_cell){ .number = number, .bound = bound };
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

enum dw_status report_finding_cell(struct report *report, const char *channel, const char *quantity, struct report_cell value,
                                   const char *unit, struct dw_error *error)
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
    return report_finding_cell(report, channel, quantity, report_number(value), unit, error);
}

enum dw_status report_wanted(struct report *report, const struct offered *findings, size_t count, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (size_t i = 0; i < count && status == DW_OK; i++)
        if (findings[i].wanted && (findings[i].value.text || !isnan(findings[i].value.number)))
            status = report_finding_cell(report, findings[i].channel, findings[i].quantity, findings[i].value, findings[i].unit, error);
    return status;
}

enum dw_status report_finding_text(struct report *report, const char *channel, const char *quantity, const char *word,
                                   struct dw_error *error)
{
    return report_finding_cell(report, channel, quantity, report_text(word), "", error);
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
