/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the lines above the rows of a table that is not ours say of its columns: names and units. */
#include "reader_inner.h"
#include <dutywright/value.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { TITLE_LINES = 8 };

/* What a line that is the record of fields from `at` says of the columns.
 *   fields   out: [columns]
 *   returns  whether it reads, and has a field for each column, and nothing behind the last that a row can have */
static bool is_title(const struct dw_reader *reader, char *at, char *stop, size_t columns, struct field *fields)
{
    const struct field_layout *layout = &reader->layout;
    const size_t least = layout->least ? layout->least : columns;
    size_t count = 0, filled = 0;
    while (at) {
        struct field field = { at, at, false };
        /* a quote inside a bare field is the middle of a record that began on an earlier line */
        if (!dwi_next_field(&at, stop, reader->separator, &field) ||
            (!field.is_quoted && memchr(field.first, '"', (size_t)(field.last - field.first))))
            return false;
        const size_t column = dwi_column_of(reader, count++);
        if (column < columns)
            fields[column] = field;
        if (field.first < field.last)
            filled = count;
    }
    return count >= least && filled > 0 && filled <= layout->most;  /* unrun: implied */
}

/* A title's fields: the record that ends with the line before `end`. It may begin lines earlier, since a quoted field may hold
 * line ends (RFC 4180, rule 6).
 *   fields   out: [columns]
 *   returns  the line with which it begins, or lead->lines where there is none */
static size_t find_title(const struct dw_reader *reader, const struct kept_lines *lead, size_t end, size_t columns,
                         struct field *fields)
{
    while (end-- > 0) {
        char *stop;
        dwi_kept_line(lead, end, &stop);
        for (size_t begin = end + 1; begin-- > 0 && begin + TITLE_LINES > end;) {
            char *at = lead->text + lead->line[begin].start;
            if (*at == '#' && begin == end)
                at++;
            if (is_title(reader, at, dwi_trim_end(at, stop), columns, fields))
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
        { "millisecond", "ms" }, { "milliseconds", "ms" }, { "microsecond", "us" }, { "microseconds", "us" },
        { "nanosecond", "ns" }, { "nanoseconds", "ns" }, { "picosecond", "ps" }, { "picoseconds", "ps" },
        { "min", "min" },  { "minute", "min" },   { "minutes", "min" },  { "h", "h" },         { "hour", "h" },
        { "hours", "h" },  { "day", "d" },        { "days", "d" },
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

/* s: units of time beyond those of the SI; 0: another. */
static double seconds_of(const char *unit)
{
    return !strcmp(unit, "min") ? 60 : !strcmp(unit, "h") ? 3600 : !strcmp(unit, "d") ? 86400 : 0;
}

/* Whether a unit, as known_unit gives it, is one of time. */
static bool is_time_unit(const char *unit)
{
    int power;
    const char *plain = "";
    return unit && (seconds_of(unit) > 0 || (dwi_header_unit_power(unit, &power, &plain) && !strcmp(plain, "s")));
}

/* The unit of time with which the title of a first column ends without brackets, as time_ms, or which is all of it: cuts it off.
 *   returns  NULL: there is none */
static const char *cut_time_unit(char *name)
{
    char *at = name + strlen(name);
    while (at > name && !strchr("-_.", at[-1]))
        at--;
    const struct field last = { at, at + strlen(at), false };
    const char *unit = known_unit(&last);
    if (!is_time_unit(unit))
        return NULL;
    char kept = at > name ? at[-1] : 0;
    if (at > name)
        at[-1] = 0;
    if (at > name && !dwi_is_time_name(name)) {
        at[-1] = kept;
        return NULL;
    }
    return unit;
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

/* Notes what a column's values are to be divided and multiplied by. */
static enum dw_status convert_column(struct dw_reader *reader, size_t columns, size_t i, struct unit_scale scale,
                                     struct dw_error *error)
{
    if (scale.divisor == scale.factor)
        return DW_OK;
    if (!reader->scale) {
        if (!(reader->scale = malloc(columns * sizeof *reader->scale)))
            return dw_no_memory(error);
        for (size_t k = 0; k < columns; k++)
            reader->scale[k] = dwi_unit_scale_of(0);
    }
    reader->scale[i] = scale;
    return DW_OK;
}

/* Name and unit of a column as its title, and the line of units below it, have them.
 *   title, units   NULL: there is none
 *   name, unit     out: [SIZE]; empty where nothing is said */
enum { SIZE = 64 };
static void read_title(const struct field *title, const struct field *units, char *name, char *unit)
{
    struct field found;
    char *name_end = NULL;
    *name = *unit = 0;
    if (title && split_unit(title, &found, &name_end))
        clean_unit(unit, SIZE / 2, &found);
    else if (title)
        name_end = title->last;
    if (units && units->first < units->last) {
        char *ignored;
        if (!split_unit(units, &found, &ignored))
            found = *units;
        clean_unit(unit, SIZE / 2, &found);
    }
    if (title && title->first)  /* unrun: implied */
        clean_name(name, SIZE, title->first, name_end);
}

/* What a first column is: a time in s where its unit or its name says so, or nothing is said at all. */
static enum dw_status add_first(struct dw_reader *reader, size_t columns, char *name, char *unit, struct dw_error *error)
{
    int power = 0;
    const char *plain = unit;
    if (!name[strspn(name, "0123456789.-_")])
        *name = 0; /* "0" names nothing */
    const char *cut = *unit ? NULL : cut_time_unit(name);
    if (cut)
        strcpy(unit, cut);
    if (!strcmp(unit, "S")) /* nobody records against siemens, but some instruments write in capitals */
        *unit = 's';
    struct unit_scale scale = { 1, seconds_of(unit) };
    if (scale.factor > 0) {
        plain = "s";
    } else {
        if (!dwi_header_unit_prefixed(unit, &power, &plain))
            dwi_header_unit_power(unit, &power, &plain);
        scale = dwi_unit_scale_of(power);
    }
    if (!*unit && (!*name || dwi_is_time_name(name)))
        plain = "s";
    const char *usual = !strcmp(plain, "s") ? "time" : !strcmp(plain, "Hz") ? "frequency" : *name ? name : "x";
    const enum dw_status status = convert_column(reader, columns, 0, scale, error);
    return status == DW_OK ? dwi_header_append_exactly(reader->header, usual, plain, error) : status;
}

static enum dw_status add_column(struct dw_reader *reader, size_t columns, size_t i, const struct field *title,
                                 const struct field *units, struct dw_error *error)
{
    char name[SIZE], unit[SIZE / 2], number[24];
    read_title(title, units, name, unit);
    if (!i)
        return add_first(reader, columns, name, unit, error);
    snprintf(number, sizeof number, "ch%zu", i);
    const char *plain = unit;
    int power = 0;
    dwi_header_unit_prefixed(unit, &power, &plain);
    const enum dw_status status = convert_column(reader, columns, i, dwi_unit_scale_of(power), error);
    return status == DW_OK ? dw_header_append(reader->header, *name ? name : number, plain, error) : status;
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

/* Refuses a line right above the rows, in which no titles were found, that has a row's numbers and then more, which is a row with a
 * remark; or a unit of time other than s: there are titles, for other columns than the rows have, and the time would be misread. */
static enum dw_status check_line_above(const struct dw_reader *reader, const struct kept_lines *lead, size_t end, size_t columns,
                                       bool titled, struct dw_error *error)
{
    const bool comma = dwi_separator_frees_comma(reader->separator);
    char shown[64], *at = NULL, *last = NULL;
    size_t count = 0;
    while (end > 0 && last == at) /* above blank lines */
        at = dwi_kept_line(lead, --end, &last);
    char *const first = at;
    for (struct field field; at && at < last && dwi_next_field(&at, last, reader->separator, &field); count++) {
        double value;
        if (dwi_field_number(field, comma, &value))
            continue;
        if (count < columns)
            break;
        return dwi_reader_fault(reader, lead->line[end].number, error, "'%s' is not a number",
                                dwi_quoted(shown, sizeof shown, field.first, field.last));
    }
    for (char *open = first; !titled && open && open < last; open++) {
        const bool opens = *open == '(' || *open == '[';
        char *close = opens ? memchr(open, *open == '(' ? ')' : ']', (size_t)(last - open)) : NULL;
        const struct field unit = { open + 1, close, false };
        const char *known = close ? known_unit(&unit) : NULL;
        if (is_time_unit(known) && strcmp(known, "s") != 0)
            return dwi_reader_fault(reader, lead->line[end].number, error, "'%s' does not fit the %zu columns of the rows below",
                                    dwi_quoted(shown, sizeof shown, first, last), columns);
    }
    return DW_OK;
}

/* Whether a line holds nothing but units, that of the first column among them. */
static bool is_line_of_units(const struct field *fields, size_t columns)
{
    bool only = is_only_unit(&fields[0]);
    for (size_t i = 1; only && i < columns; i++)
        only = fields[i].first == fields[i].last || is_only_unit(&fields[i]);
    return only;
}

enum dw_status dwi_foreign_name_columns(struct dw_reader *reader, const struct kept_lines *lead, size_t end, size_t columns,
                                        struct dw_error *error)
{
    struct field *fields = calloc(2 * columns, sizeof *fields), *titles = fields, *units = NULL;
    if (!fields)
        return dw_no_memory(error);
    const size_t line = find_title(reader, lead, end, columns, fields);
    const bool titled = line < lead->lines;
    if (titled && is_line_of_units(fields, columns)) {
        /* the names stand above it */
        units = fields;
        titles = fields + columns;
        if (find_title(reader, lead, line, columns, titles) == lead->lines)
            titles = NULL;
    } else if (!titled) {
        titles = NULL;
    }
    enum dw_status status = titled ? no_row(reader, lead->line[line].number, fields, columns, error) : DW_OK;
    if (status == DW_OK)
        status = check_line_above(reader, lead, end, columns, titled, error);
    for (size_t i = 0; status == DW_OK && i < columns; i++)
        status = add_column(reader, columns, i, titles ? &titles[i] : NULL, units ? &units[i] : NULL, error);
    free(fields);
    return status;
}
