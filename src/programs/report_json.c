/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Strings are jansson's to check and escape; numbers are ours, since jansson writes 17 digits where fewer read back to
 * the same double. */
#include "report.h"
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Channel names of foreign tables may be in any encoding: what is not UTF-8 becomes U+FFFD, byte by byte. */
static json_t *any_string(const char *text)
{
    json_t *string = json_string(text);
    if (string)
        return string;
    char *clean = malloc(3 * strlen(text) + 1), *to = clean;
    for (; clean && *text; text++)
        to = (unsigned char)*text < 0x80 ? (*to = *text, to + 1) : stpcpy(to, "\xef\xbf\xbd");
    if (clean) {
        *to = 0;
        string = json_string(clean);
    }
    free(clean);
    return string;
}

static enum dw_status write_string(const char *text, FILE *out, struct dw_error *error)
{
    json_t *string = any_string(text);
    char *spelled = string ? json_dumps(string, JSON_ENCODE_ANY) : NULL;
    json_decref(string);
    if (!spelled)
        return dw_no_memory(error);
    fputs(spelled, out);
    free(spelled);
    return DW_OK;
}

/* `"key": `, named as in rows. */
static void write_key(const char *name, const char *suffix, bool first, FILE *out)
{
    fprintf(out, "%s\"%s%s\": ", first ? "" : ", ", name, suffix);
}

static enum dw_status write_cell(const struct report *report, size_t row, size_t column, FILE *out,
                                 struct dw_error *error)
{
    const struct report_cell *cell = report_cell_at(report, row, column);
    const struct report_column *title = &report->columns[column];
    char number[DW_NUMBER_SIZE] = "null";
    enum dw_status status = DW_OK;
    write_key(title->name, "", !column, out);
    if (cell->text && *cell->text)
        return write_string(report->findings && column == FINDING_UNIT ? report_stored_unit(cell->text) : cell->text, out,
                            error);
    if (!cell->text && isfinite(cell->number))
        dw_number_print(number, cell->number);
    fputs(number, out);
    if (cell->at_most) {
        /* a finding has one number, a row of a table perhaps several */
        write_key(report->findings ? "at-most" : title->name, report->findings ? "" : "-at-most", false, out);
        fputs("true", out);
    }
    if (cell->bound > 0) {
        strcpy(number, "null");
        if (isfinite(cell->bound))
            dw_number_print(number, cell->bound);
        write_key(report->findings ? "bound" : title->name, report->findings ? "" : "-bound", false, out);
        fputs(number, out);
    }
    if (title->unit && *title->unit) {
        write_key(title->name, "-unit", false, out);
        status = write_string(report_stored_unit(title->unit), out, error);
    }
    return status;
}

enum dw_status report_write_json(const struct report *report, FILE *out, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    fputs("[", out);
    for (size_t r = 0; r < report->rows && status == DW_OK; r++) {
        fputs(r ? ",\n {" : "\n {", out);
        for (size_t c = 0; c < report->count && status == DW_OK; c++)
            status = write_cell(report, r, c, out, error);
        fputs("}", out);
    }
    fputs(report->rows ? "\n]\n" : "]\n", out);
    return status;
}
