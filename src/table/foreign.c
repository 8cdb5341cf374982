/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables that are not ours: what stands before the first row, and what it says of the columns. */
#include "reader_inner.h"
#include <dutywright/value.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { LEAD_LINES = 64, TITLE_LINES = 8 };

/* The lines before the first row, one after another, each with its '\n'. */
struct lead {
    char *text;
    size_t size, room;
    size_t start[LEAD_LINES];
    unsigned long long number[LEAD_LINES]; /* in the file, from 1 */
    size_t lines;
};

static enum dw_status keep_line(struct lead *lead, const char *first, const char *last, unsigned long long number,
                                struct dw_error *error)
{
    const size_t length = (size_t)(last - first);
    if (!lead->text || lead->size + length + 1 > lead->room) {
        const size_t wanted = 2 * (lead->size + length + 1);
        char *grown = realloc(lead->text, wanted);
        if (!grown)
            return dw_no_memory(error);
        lead->text = grown;
        lead->room = wanted;
    }
    lead->number[lead->lines] = number;
    lead->start[lead->lines++] = lead->size;
    memcpy(lead->text + lead->size, first, length);
    lead->text[lead->size + length] = '\n';
    lead->size += length + 1;
    return DW_OK;
}

static char *trim_end(char *first, char *last)
{
    while (last > first && (last[-1] == ' ' || last[-1] == '\r' || last[-1] == '\n'))
        last--;
    return last;
}

/* What a line is, as a row. */
enum sort { NO_ROW, ROW, ROW_WITH_GAP };

/* A row is at least two fields that are all numbers. One that begins with a number and has an empty field but no words is
 * a row with a gap: taking it for a title would drop it silently. */
static enum sort sort_of(char *first, char *last, char *separator, size_t *fields)
{
    size_t empty = 0;
    char *at = first;
    last = trim_end(first, last);
    *separator = dwi_separator_of(first, last);
    const bool comma = dwi_separator_frees_comma(*separator);
    for (*fields = 0; at; ++*fields) {
        struct field field;
        double value;
        if (first == last || !dwi_next_field(&at, last, *separator, &field))
            return NO_ROW;
        const bool is_empty = field.first == field.last;
        if ((is_empty && !*fields) || (!is_empty && !dwi_field_number(field, comma, &value)))
            return NO_ROW;
        empty += is_empty;
    }
    return *fields < 2 ? NO_ROW : empty ? ROW_WITH_GAP : ROW;
}

/* A title's fields: the record that ends with the line before `end` and has `columns` of them. It may begin lines
 * earlier, since a quoted field may hold line ends (RFC 4180, rule 6).
 *   fields   out: [columns]
 *   returns  the line with which it begins, or lead->lines where there is none */
static size_t find_title(const struct lead *lead, size_t end, char separator, size_t columns, struct field *fields)
{
    while (end-- > 0) {
        char *last = lead->text + (end + 1 < lead->lines ? lead->start[end + 1] : lead->size);
        for (size_t begin = end + 1; begin-- > 0 && begin + TITLE_LINES > end;) {
            char *at = lead->text + lead->start[begin], *stop = trim_end(at, last);
            if (*at == '#' && begin == end)
                at++;
            size_t count = 0;
            bool good = true;
            while (good && at && count <= columns) {
                struct field field = { at, at, false };
                good = dwi_next_field(&at, stop, separator, &field);
                /* a quote inside a bare field is the middle of a record that began on an earlier line */
                good = good && (field.is_quoted || !memchr(field.first, '"', (size_t)(field.last - field.first)));
                if (good && count < columns)
                    fields[count] = field;
                count++;
            }
            if (good && !at && count == columns)
                return begin;
        }
    }
    return lead->lines;
}

/* Units that are recognised without brackets, and how we write them; NULL for other words. */
static const char *known_unit(const struct field *field)
{
    static const char *const known[][2] = {
        { "s", "s" },      { "sec", "s" },        { "second", "s" },     { "seconds", "s" },   { "ms", "ms" },
        { "msec", "ms" },  { "us", "us" },        { "\302\265s", "us" }, { "\316\274s", "us" }, { "\265s", "us" },
        { "usec", "us" },  { "ns", "ns" },        { "nsec", "ns" },      { "ps", "ps" },
        { "V", "V" },      { "volt", "V" },       { "volts", "V" },      { "mV", "mV" },       { "kV", "kV" },
        { "uV", "uV" },    { "A", "A" },          { "amp", "A" },        { "amps", "A" },      { "ampere", "A" },
        { "amperes", "A" }, { "mA", "mA" },       { "uA", "uA" },        { "W", "W" },         { "watt", "W" },
        { "watts", "W" },  { "mW", "mW" },        { "Hz", "Hz" },        { "kHz", "kHz" },     { "MHz", "MHz" },
        { "ohm", "ohm" },  { "rad/s", "rad/s" },  { "Nm", "Nm" },        { "degC", "degC" },   { "%", "%" },
    };
    const size_t length = (size_t)(field->last - field->first);
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        /* words whatever their case; the case of a symbol counts */
        if (length == strlen(known[i][0]) && (length > 2 ? !strncasecmp(field->first, known[i][0], length)
                                                         : !memcmp(field->first, known[i][0], length)))
            return known[i][1];
    return NULL;
}

/* The unit that a title field ends with, "time (ms)", "out[V]", "t / us" (ISO 80000-1): its bytes, and where the name
 * before it ends. */
static bool split_unit(const struct field *field, struct field *unit, char **name_end)
{
    char *last = field->last, *first = last;
    if (last > field->first && (last[-1] == ')' || last[-1] == ']')) {
        const char open = last[-1] == ')' ? '(' : '[';
        while (first > field->first && *first != open)
            first--;
        if (*first != open)
            return false;
        *unit = (struct field){ first + 1, last - 1, false };
        *name_end = first;
        /* "(probe 10x)" is a remark */
        return !memchr(unit->first, ' ', (size_t)(unit->last - unit->first));
    }
    while (first > field->first && first[-1] != '/')
        first--;
    if (first == field->first)
        return false;
    *name_end = first - 1;
    while (first < last && *first == ' ')
        first++;
    *unit = (struct field){ first, last, false };
    return known_unit(unit) != NULL;
}

/* Whether a whole field is nothing but a unit, with brackets or bare. */
static bool is_only_unit(const struct field *field)
{
    struct field unit;
    char *name_end;
    return known_unit(field) || (split_unit(field, &unit, &name_end) && name_end == field->first);
}

/* Letters, digits, _ - . stay; whatever else stands between them becomes one hyphen.
 *   name   [size] */
static void clean_name(char *name, size_t size, const char *first, const char *last)
{
    size_t used = 0;
    for (bool gap = false; first < last && used + 2 < size; first++) {
        const char one[2] = { *first, 0 };
        if (!dwi_header_name_is_good(one)) {
            gap = true;
            continue;
        }
        if (gap && used)
            name[used++] = '-';
        gap = false;
        name[used++] = *first;
    }
    name[used] = 0;
}

/* A byte above ASCII that is no UTF-8 is Latin-1, in which older instruments write the micro sign. */
static void clean_unit(char *unit, size_t size, const struct field *field)
{
    size_t used = 0;
    const char *known = known_unit(field);
    if (known) {
        snprintf(unit, size, "%s", known);
        return;
    }
    for (const char *at = field->first; at < field->last;) {
        const unsigned char byte = (unsigned char)*at;
        const char latin[2] = { (char)(0xc0 | byte >> 6), (char)(0x80 | (byte & 0x3f)) };
        const size_t letter = dwi_letter_length(at, field->last), length = letter ? letter : byte < 0xa0 ? 0 : sizeof latin;
        if (used + length >= size)
            break;
        if (length && byte != '[' && byte != ']') {
            memcpy(unit + used, letter ? at : latin, length);
            used += length;
        }
        at += letter ? letter : 1;
    }
    unit[used] = 0;
}

/* Notes that a column's values are to be converted. */
static enum dw_status convert_column(struct dw_reader *reader, size_t columns, size_t i, int power, struct dw_error *error)
{
    if (power == 0)
        return DW_OK;
    if (!reader->scale) {
        if (!(reader->scale = malloc(columns * sizeof *reader->scale)))
            return dw_no_memory(error);
        for (size_t k = 0; k < columns; k++)
            reader->scale[k] = dwi_unit_scale_of(0);
    }
    reader->scale[i] = dwi_unit_scale_of(power);
    return DW_OK;
}

static enum dw_status add_column(struct dw_reader *reader, size_t columns, size_t i, const struct field *title,
                                 const struct field *units, struct dw_error *error)
{
    char name[64] = "", unit[32] = "", number[24];
    struct field found;
    char *name_end = NULL;
    if (title && split_unit(title, &found, &name_end))
        clean_unit(unit, sizeof unit, &found);
    else if (title)
        name_end = title->last;
    if (units) {
        char *ignored;
        if (!split_unit(units, &found, &ignored))
            found = *units;
        clean_unit(unit, sizeof unit, &found);
    }
    if (title)
        clean_name(name, sizeof name, title->first, name_end);
    if (!i && !strcmp(unit, "S")) /* nobody records against siemens, but some instruments write in capitals */
        *unit = 's';
    snprintf(number, sizeof number, "ch%zu", i);
    const char *plain = unit;
    int power = 0;
    const bool prefixed = dwi_header_unit_prefixed(unit, &power, &plain);
    enum dw_status status = convert_column(reader, columns, i, power, error);
    if (status != DW_OK)
        return status;
    if (i)
        return dw_header_append(reader->header, *name ? name : number, plain, error);
    if (!*unit)
        plain = "s";
    const bool other = !prefixed && *unit && !dwi_header_unit_power(unit, &power, &plain);
    const char *usual = !other && !strcmp(plain, "Hz") ? "frequency" : "time";
    return dwi_header_append_exactly(reader->header, !strcmp(plain, "s") || !*name ? usual : name, plain, error);
}

/* Refuses titles of which the first is a number: they are a row with a word in it, which would be dropped silently. */
static enum dw_status no_row(const struct dw_reader *reader, unsigned long long line, const struct field *titles,
                             size_t columns, struct dw_error *error)
{
    const bool comma = dwi_separator_frees_comma(reader->separator);
    char shown[64];
    double value;
    size_t word = 0;
    while (word < columns && dwi_field_number(titles[word], comma, &value))
        word++;
    if (word == 0 || word == columns) /* a title; a row behind # */
        return DW_OK;
    return dwi_reader_fault(reader, line, error, "'%s' is not a number",
                            dwi_quoted(shown, sizeof shown, titles[word].first, titles[word].last));
}

/* Refuses a line right above the first row that has all of a row's numbers and then more: it is a row with a remark. */
static enum dw_status no_row_with_remark(struct dw_reader *reader, const struct lead *lead, size_t columns, struct dw_error *error)
{
    const bool comma = dwi_separator_frees_comma(reader->separator);
    char shown[64], *at = NULL, *last = NULL;
    size_t line = lead->lines, count = 0;
    while (line > 0 && last == at) { /* above blank lines */
        last = trim_end(lead->text + lead->start[line - 1], lead->text + (line < lead->lines ? lead->start[line] : lead->size));
        at = lead->text + lead->start[--line];
    }
    for (struct field field; at && at < last && dwi_next_field(&at, last, reader->separator, &field); count++) {
        double value;
        if (dwi_field_number(field, comma, &value))
            continue;
        if (count < columns)
            return DW_OK;
        return dwi_reader_fault(reader, lead->number[line], error, "'%s' is not a number",
                                dwi_quoted(shown, sizeof shown, field.first, field.last));
    }
    return DW_OK;
}

static enum dw_status name_columns(struct dw_reader *reader, const struct lead *lead, size_t columns, struct dw_error *error)
{
    struct field *fields = malloc(2 * columns * sizeof *fields), *titles = fields, *units = NULL;
    if (!fields)
        return dw_no_memory(error);
    const size_t line = find_title(lead, lead->lines, reader->separator, columns, fields);
    bool only_units = line < lead->lines;
    for (size_t i = 0; only_units && i < columns; i++)
        only_units = is_only_unit(&fields[i]);
    if (only_units) {
        /* a line of units: the names stand above it */
        units = fields;
        titles = fields + columns;
        if (find_title(lead, line, reader->separator, columns, titles) == lead->lines)
            titles = NULL;
    } else if (line == lead->lines) {
        titles = NULL;
    }
    enum dw_status status = line < lead->lines ? no_row(reader, lead->number[line], fields, columns, error) : DW_OK;
    if (status == DW_OK)
        status = no_row_with_remark(reader, lead, columns, error);
    for (size_t i = 0; status == DW_OK && i < columns; i++)
        status = add_column(reader, columns, i, titles ? &titles[i] : NULL, units ? &units[i] : NULL, error);
    free(fields);
    return status;
}

static enum dw_status no_rows(const struct dw_reader *reader, struct lead *lead, struct dw_error *error)
{
    char shown[64];
    char *last = lead->text + (lead->lines > 1 ? lead->start[1] : lead->size);
    return dw_error_set(error, DW_BAD_INPUT, reader->line,
                        "%.300s: no row of numbers in its first %llu line%s; the first is '%s'", reader->in.name,
                        reader->line, reader->line == 1 ? "" : "s",
                        dwi_quoted(shown, sizeof shown, lead->text, trim_end(lead->text, last)));
}

/* A line that only a table of ours has: its start, its end, or its columns with their units. Spreadsheets put quotes around it. */
static const char *own_mark(const char *first, const char *last)
{
    static const char *const marks[] = { "wave-table ", "end:", "columns:" };
    while (first < last && (*first == ' ' || *first == '\t' || *first == '"'))
        first++;
    if (first == last || *first++ != '#')
        return NULL;
    while (first < last && (*first == ' ' || *first == '\t'))
        first++;
    for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++) {
        const size_t length = strlen(marks[i]);
        const bool is_ours = i < 2 || memchr(first, '[', (size_t)(last - first));
        if (is_ours && (size_t)(last - first) >= length && !memcmp(first, marks[i], length))
            return marks[i];
    }
    return NULL;
}

/* A table of ours with something above its start, or without it, would be read as samples and its end not looked for. */
static enum dw_status refuse_own(const struct dw_reader *reader, char *first, char *last, struct dw_error *error)
{
    const char *mark = own_mark(first, last);
    char shown[64];
    if (!mark)
        return DW_OK;
    return dwi_reader_fault(reader, reader->line, error, *mark == 'w' ? "'%s' is not the first line; take out what stands above it"
                                                                      : "'%s', but no '" TABLE_MARK "' as the first line",
                            dwi_quoted(shown, sizeof shown, first, trim_end(first, last)));
}

enum dw_status dwi_foreign_open(struct dw_reader *reader, struct dw_error *error)
{
    struct lead lead = { .text = NULL };
    enum dw_status status;
    char *first, *last, separator;
    size_t fields;
    reader->encoding = DW_CSV;
    while ((status = dwi_reader_line(reader, &first, &last, error)) == DW_OK) {
        const enum sort sort = sort_of(first, last, &separator, &fields);
        if (sort == ROW_WITH_GAP) {
            status = dwi_reader_fault(reader, reader->line, error, "a row with an empty field");
            break;
        }
        if (sort == ROW) {
            reader->in.first = (size_t)(first - reader->in.buffer);
            reader->line--;
            reader->separator = separator;
            reader->measured = true;
            status = fields > CHANNEL_LIMIT + 1
                         ? dwi_reader_fault(reader, reader->line + 1, error, "more than %d channels", CHANNEL_LIMIT)
                         : name_columns(reader, &lead, fields, error);
            break;
        }
        if (lead.lines == LEAD_LINES) {
            status = no_rows(reader, &lead, error);
            break;
        }
        if (lead.size + (size_t)(last - first) > HEADER_LIMIT) {
            status = dwi_reader_fault(reader, reader->line, error, "the lines before the first row are longer than 1 MiB");
            break;
        }
        if ((status = refuse_own(reader, first, last, error)) != DW_OK ||
            (status = keep_line(&lead, first, last, reader->line, error)) != DW_OK)
            break;
    }
    if (status == DW_END)
        status = no_rows(reader, &lead, error);
    free(lead.text);
    return status;
}
