/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows of text: a quick way for lines as our own programs write them, a patient one for all others and for faults. */
#include "reader_inner.h"
#include <dutywright/value.h>
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK_VALUES = 8192 };

static bool is_finite(double value)
{
    return fabs(value) <= DBL_MAX;
}

/* What instruments write where a value is out of range or missing: these two stand for it as numbers (SCPI 1999, volume 1, 7.2.1). */
static bool is_code(double value)
{
    return fabs(value) == 9.9e37 || value == 9.91e37;
}

static bool is_value(double value)
{
    return fabs(value) < 9.9e37 || (is_finite(value) && !is_code(value));
}

/* A line that is numbers with one separator between them and nothing else.
 *   at       first byte of the line; `end` is behind a '\n'
 *   returns  one past the line's '\n', or NULL where the line needs the patient way */
static char *quick_row(const struct dw_reader *reader, char *at, const char *end, double *row)
{
    const size_t last = reader->columns - 1;
    for (size_t i = 0; i < reader->layout.before; i++)
        if (*at++ != reader->separator)
            return NULL;
    for (size_t i = 0; i <= last; i++) {
        const char *next = dw_number_read(at, end, &row[i]);
        if (next == at || !is_value(row[i]))
            return NULL;
        at += next - at;
        if (i < last && *at++ != reader->separator)
            return NULL;
    }
    for (size_t i = 0; i < reader->layout.behind && *at == reader->separator; i++)
        at++;
    if (*at == '\r')
        at++;
    return *at == '\n' ? at + 1 : NULL;
}

bool dwi_next_field(char **at, char *last, char separator, struct field *field)
{
    char *first = *at;
    while (first < last && (*first == ' ' || (*first == '\t' && separator != '\t')))
        first++;
    field->is_quoted = first < last && *first == '"';
    char *end = first;
    if (field->is_quoted) {
        for (end = ++first; end < last && !(*end == '"' && (end + 1 == last || end[1] != '"')); end++)
            end += *end == '"';
        if (end >= last)
            return false;
        field->first = first;
        field->last = end++;
    } else {
        while (end < last && *end != separator && !(separator == ' ' && *end == '\t'))
            end++;
        field->first = first;
        field->last = end;
        while (field->last > first && (field->last[-1] == ' ' || field->last[-1] == '\t'))
            field->last--;
    }
    while (end < last && (*end == ' ' || *end == '\t') && (separator == ' ' || *end != separator))
        end++;
    if (end == last) {
        *at = NULL;
    } else if (separator == ' ') {
        *at = end;
    } else if (*end == separator) {
        *at = end + 1;
    } else {
        return false;
    }
    return true;
}

bool dwi_field_number(struct field field, bool comma, double *value)
{
    if (field.first == field.last)
        return false;
    char *sign = comma ? memchr(field.first, ',', (size_t)(field.last - field.first)) : NULL;
    if (sign && memchr(field.first, '.', (size_t)(field.last - field.first)))
        return false;
    if (sign)
        *sign = '.';
    const bool reads = dw_number_read(field.first, field.last, value) == field.last;
    if (sign)
        *sign = ',';
    return reads;
}

char dwi_separator_of(const char *first, const char *last)
{
    const size_t length = (size_t)(last - first);
    return memchr(first, '\t', length) ? '\t' : memchr(first, ';', length) ? ';' : memchr(first, ',', length) ? ',' : ' ';
}

bool dwi_separator_frees_comma(char separator)
{
    return separator == '\t' || separator == ';';
}

static bool is_end(const char *first, const char *last)
{
    const char *at = first + 1;
    while (at < last && (*at == ' ' || *at == '\t'))
        at++;
    return *first == '#' && last - at >= 4 && !memcmp(at, "end:", 4);  /* unrun: implied */
}

/* "# end: ROWS", and nothing but blank lines behind it. */
static enum dw_status read_end(struct dw_reader *reader, char *first, char *last, struct dw_error *error)
{
    char shown[64];
    dwi_quoted(shown, sizeof shown, first, last);
    char *colon = memchr(first, ':', (size_t)(last - first));
    struct field count = { colon + 1, last, false };
    while (count.first < last && (*count.first == ' ' || *count.first == '\t'))
        count.first++;
    double rows;
    const unsigned long long line = reader->line;
    if (reader->cut && reader->own)  /* unrun: implied */
        return dwi_reader_stop(reader, error);
    if (!dwi_field_number(count, false, &rows))
        return dwi_reader_fault(reader, line, error, "'%s': the end is '# end: ROWS'", shown);
    if (!reader->own && !reader->partial)
        return dwi_reader_fault(reader, line, error, "'%s', but no '" TABLE_MARK "' at the start; was the header cut off?", shown);
    if (rows != (double)reader->rows && !reader->partial)
        return dwi_reader_fault(reader, line, error, "'%s' after %llu rows: some are missing or were added", shown, reader->rows);
    reader->whole = rows == (double)reader->rows;
    enum dw_status status;
    while ((status = dwi_reader_line(reader, &first, &last, error)) == DW_OK) {
        while (first < last && (*first == ' ' || *first == '\t' || *first == '\r'))
            first++;
        if (first < last)
            return dwi_reader_fault(reader, reader->line, error, "'%s' stands behind the table's end",
                                    dwi_quoted(shown, sizeof shown, first, last));
    }
    return status;
}

static enum dw_status wrong_width(const struct dw_reader *reader, size_t fields, struct dw_error *error)
{
    return dwi_reader_fault(reader, reader->line, error, "%zu field%s where %zu were expected", fields, fields == 1 ? "" : "s",
                            reader->columns);
}

/* Once a table has a decimal comma, a point is one of thousands, or the table two in one: 1.000 beside 0,5. And the other way round. */
static enum dw_status note_decimal(struct dw_reader *reader, struct field field, struct dw_error *error)
{
    static const char *const names[] = { "comma", "point" };
    const size_t length = (size_t)(field.last - field.first);
    const char *sign = memchr(field.first, ',', length);
    char shown[64];
    if (!sign && !(sign = memchr(field.first, '.', length)))
        return DW_OK;
    if (!reader->decimal) {
        reader->decimal = *sign;
        reader->decimal_line = reader->line;
    }
    if (reader->decimal == *sign)
        return DW_OK;
    return dwi_reader_fault(reader, reader->line, error, "'%s' has a decimal %s, but line %llu a decimal %s",
                            dwi_quoted(shown, sizeof shown, field.first, field.last), names[*sign == '.'],
                            reader->decimal_line, names[*sign != '.']);
}

/* A field that is a column, as a finite number. */
static enum dw_status read_field(struct dw_reader *reader, size_t number, struct field field, double *value,
                                 struct dw_error *error)
{
    const bool comma = dwi_separator_frees_comma(reader->separator);
    char shown[64];
    if (field.first == field.last)
        return dwi_reader_fault(reader, reader->line, error, "field %zu is empty", number);
    dwi_quoted(shown, sizeof shown, field.first, field.last);
    if (!dwi_field_number(field, comma, value))
        return dwi_reader_fault(reader, reader->line, error, "'%s' is not a number", shown);
    if (!is_finite(*value))
        return dwi_reader_fault(reader, reader->line, error, "'%s' is not a finite number", shown);
    if (!reader->own && is_code(*value))
        return dwi_reader_fault(reader, reader->line, error, "'%s' stands for a value that is out of range or missing", shown);
    return DW_OK;
}

/* Whether fields left out may hold something in the line at hand: words beside the first rows. */
static bool may_hold_words(const struct dw_reader *reader)
{
    const struct kept_lines *again = &reader->again;
    return reader->layout.any || (again->lines && reader->line <= again->line[again->lines - 1].number);
}

static enum dw_status check_width(const struct dw_reader *reader, size_t fields, struct dw_error *error)
{
    const struct field_layout *layout = &reader->layout;
    const bool good = !layout->least ? fields == reader->columns : fields >= layout->least && (layout->any || fields <= layout->most);
    return good ? DW_OK : wrong_width(reader, fields, error);
}

/* One line that is not blank, and holds no '#' at its start.
 *   bad  out: only a channel's value is amiss */
static enum dw_status read_fields(struct dw_reader *reader, char *first, char *last, double *row, bool *bad,
                                  struct dw_error *error)
{
    const bool comma = dwi_separator_frees_comma(reader->separator);
    char shown[64], *at = first;
    size_t fields = 0;
    *bad = false;
    for (; at; fields++) {
        struct field field;
        double value = 0;
        if (!dwi_next_field(&at, last, reader->separator, &field))
            return dwi_reader_fault(reader, reader->line, error, "field %zu: a quote does not close", fields + 1);
        const size_t column = dwi_column_of(reader, fields);
        if (column == NO_COLUMN) {
            if (field.first < field.last && !may_hold_words(reader))
                return dwi_reader_fault(reader, reader->line, error, "field %zu holds '%s', but nothing in the first row, line %llu", fields + 1,
                                        dwi_quoted(shown, sizeof shown, field.first, field.last), reader->layout.line);
            continue;
        }
        enum dw_status status = read_field(reader, fields + 1, field, &value, error);
        *bad = status != DW_OK && column > 0 && column < reader->columns;
        if (status == DW_OK && comma)
            status = note_decimal(reader, field, error);
        if (status != DW_OK)
            return status;
        if (column < reader->columns)
            row[column] = value;
    }
    return check_width(reader, fields, error);
}

/* Lines of nothing but separators, with which spreadsheets end. */
static bool is_hollow(const struct dw_reader *reader, const char *first, const char *last)
{
    while (!reader->own && reader->measured && first < last && *first == reader->separator)  /* unrun: implied */
        first++;
    return first == last;
}

/* Counts a row that is to be passed over; false: it is not. */
static bool pass_over(struct dw_reader *reader, const struct dw_error *why)
{
    if (!reader->skip_bad || reader->own)
        return false;
    if (!reader->skipped++)
        reader->skipped_first = *why;
    return true;
}

/* The next line that is a row, or the end. */
static enum dw_status patient_row(struct dw_reader *reader, double *row, struct dw_error *error)
{
    char *first, *last, shown[64];
    bool bad;
    for (;;) {
        enum dw_status status = dwi_reader_line(reader, &first, &last, error);
        if (status == DW_END)
            return dwi_reader_stop(reader, error);
        if (status != DW_OK)
            return status;
        char *const start = first, *const stop = last;
        while (last > first && (last[-1] == ' ' || last[-1] == '\r' || last[-1] == '\t'))
            last--;
        while (first < last && (*first == ' ' || *first == '\t'))
            first++;
        if (is_hollow(reader, first, last))
            continue;
        if (*first == '#' && is_end(first, last))
            return read_end(reader, first, last, error);
        if (reader->cut && reader->own)
            return dwi_reader_stop(reader, error);
        if (*first == '#')
            return dwi_reader_fault(reader, reader->line, error, "'%s' stands among the rows",
                                    dwi_quoted(shown, sizeof shown, first, last));
        if (!reader->measured) {
            reader->separator = dwi_separator_of(first, last);
            reader->measured = true;
        }
        /* a tab at either end has an empty field beside it */
        const bool tabs = reader->separator == '\t';
        /* unrun: implied */
        status = read_fields(reader, tabs ? start : first, tabs ? stop - (stop > start && stop[-1] == '\r') : last, row, &bad, error);
        if (status == DW_OK || !bad || !pass_over(reader, error))
            return status;
    }
}

static enum dw_status make_room(struct dw_reader *reader, size_t rows, struct dw_error *error)
{
    if (rows <= reader->rows_room)
        return DW_OK;
    double *grown = realloc(reader->values, rows * reader->columns * sizeof *grown);
    if (!grown)
        return dw_no_memory(error);
    reader->values = grown;
    reader->rows_room = rows;
    return DW_OK;
}

/* To plain units. Returns false where a channel's value leaves the range of numbers by it; the time is the caller's to look at. */
static bool convert_row(const struct dw_reader *reader, double *row)
{
    bool good = true;
    for (size_t i = 0; reader->scale && i < reader->columns; i++) {
        row[i] = row[i] / reader->scale[i].divisor * reader->scale[i].factor;
        good = good && (i == 0 || is_finite(row[i]));  /* unrun: implied */
    }
    return good;
}

/* The quick way knows the point only: where the first one stands in its lines.
 *   line   of the one before them */
static void note_point(struct dw_reader *reader, const char *at, const char *end, unsigned long long line)
{
    const char *point = memchr(at, '.', (size_t)(end - at));
    if (!point)
        return;
    reader->decimal = '.';
    for (reader->decimal_line = line + 1; (at = memchr(at, '\n', (size_t)(point - at))); at++)
        reader->decimal_line++;
}

/* Rows that lie whole in the buffer, by the quick way. */
static size_t quick_rows(struct dw_reader *reader, size_t most, double *row)
{
    struct source *in = &reader->in;
    const char *end = in->buffer + reader->lines_end;
    const size_t from = in->first;
    const unsigned long long line = reader->line;
    size_t done = 0;
    while (done < most && in->first < reader->lines_end) {
        char *next = quick_row(reader, in->buffer + in->first, end, row);
        if (!next)
            break;
        if (!convert_row(reader, row) || row[0] < reader->last_time || !is_finite(row[0]))
            break;
        reader->last_time = row[0];
        in->first = (size_t)(next - in->buffer);
        reader->line++;
        row += reader->columns;
        done++;
    }
    if (!reader->decimal && dwi_separator_frees_comma(reader->separator))
        note_point(reader, in->buffer + from, in->buffer + in->first, line);
    return done;
}

enum dw_status dwi_text_rows(struct dw_reader *reader, size_t most, const double **values, size_t *rows, struct dw_error *error)
{
    const size_t block = BLOCK_VALUES / reader->columns;
    most = most < block ? most : block;
    enum dw_status status = make_room(reader, most, error);
    size_t done = 0;
    const bool quick = reader->measured && !reader->cut && reader->decimal != ',' && reader->again.at == reader->again.lines;
    if (status == DW_OK && quick && (!reader->layout.least || reader->layout.quick))
        done = quick_rows(reader, most, reader->values);
    if (status == DW_OK && !done) {
        /* nothing quick at hand: one row, waiting for input where need be */
        double *row = reader->values;
        status = patient_row(reader, row, error);
        if (status == DW_OK) {
            if (!convert_row(reader, row))
                return dwi_reader_fault(reader, reader->line, error, "a value is beyond the range of numbers");
            if (!is_finite(row[0]))
                return dwi_reader_fault(reader, reader->line, error, "the time is beyond the range of numbers");
            if (row[0] < reader->last_time)
                return dwi_reader_time_back(reader, reader->line, row[0], error);
            reader->last_time = row[0];
            done = 1;
        }
    }
    if (!done)
        return status;
    reader->rows += done;
    reader->place = reader->line;
    *values = reader->values;
    *rows = done;
    return DW_OK;
}
