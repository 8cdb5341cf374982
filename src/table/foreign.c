/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables that are not ours: which line is the first row, and which of its fields are columns. */
#include "reader_inner.h"
#include <dutywright/value.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LEAD_LINES = 10000 };

/* While a table is opened: the lines above its rows, and the one at hand. */
struct opening {
    struct dw_reader *reader;
    struct kept_lines lead;
    struct field *fields;  /* [count] of a line */
    size_t count, room;
    char separator;
    struct field *wanted;  /* [wanted_count] columns asked for */
    size_t wanted_count, wanted_room;
    size_t *place;         /* [wanted_count] where they stand, once known */
    char *wanted_text;
    bool placed;
    size_t titles;         /* the lines of lead up to that with the titles asked for */
};

static enum dw_status keep_line(struct kept_lines *lead, const char *first, const char *last, unsigned long long number,
                                struct dw_error *error)
{
    const size_t length = (size_t)(last - first);
    if (!dwi_make_room((void **)&lead->line, &lead->line_room, lead->lines, sizeof *lead->line))
        return dw_no_memory(error);
    if (!lead->text || lead->size + length + 1 > lead->room) {
        const size_t wanted = 2 * (lead->size + length + 1);
        char *grown = realloc(lead->text, wanted);
        if (!grown)
            return dw_no_memory(error);
        lead->text = grown;
        lead->room = wanted;
    }
    lead->line[lead->lines++] = (struct kept_line){ lead->size, number };
    memcpy(lead->text + lead->size, first, length);
    lead->text[lead->size + length] = '\n';
    lead->size += length + 1;
    return DW_OK;
}

static bool is_empty(const struct field *field)
{
    return field->first == field->last;
}

static bool is_number(const struct opening *o, size_t i)
{
    double value;
    return dwi_field_number(o->fields[i], dwi_separator_frees_comma(o->separator), &value);
}

/* The fields of a line; none where it does not read. */
static enum dw_status cut_line(struct opening *o, char *first, char *last, struct dw_error *error)
{
    char *at = first;
    last = dwi_trim_end(first, last);
    o->separator = dwi_separator_of(first, last);
    for (o->count = 0; at && first < last; o->count++) {
        if (!dwi_make_room((void **)&o->fields, &o->room, o->count, sizeof *o->fields))
            return dw_no_memory(error);
        if (!dwi_next_field(&at, last, o->separator, &o->fields[o->count])) {
            o->count = 0;
            return DW_OK;
        }
    }
    return DW_OK;
}

/* A row is at least two numbers and nothing else; fields may be empty. */
static bool is_row(const struct opening *o)
{
    size_t numbers = 0;
    for (size_t i = 0; i < o->count; i++) {
        if (!is_empty(&o->fields[i]) && !is_number(o, i))
            return false;
        numbers += !is_empty(&o->fields[i]);
    }
    return numbers >= 2;
}

/* ---- columns asked for ---- */

static bool is_same(const struct field *a, const struct field *b)
{
    return a->last - a->first == b->last - b->first && !memcmp(a->first, b->first, (size_t)(a->last - a->first));
}

/* Reads the list: positions, or titles that a line above the rows must have. */
static enum dw_status read_wanted(struct opening *o, const char *text, struct dw_error *error)
{
    if (!(o->wanted_text = strdup(text)))
        return dw_no_memory(error);
    char *last = o->wanted_text + strlen(text);
    for (char *at = o->wanted_text; at; o->wanted_count++) {
        if (!dwi_make_room((void **)&o->wanted, &o->wanted_room, o->wanted_count, sizeof *o->wanted))
            return dw_no_memory(error);
        struct field *field = &o->wanted[o->wanted_count];
        if (!dwi_next_field(&at, last, ',', field) || is_empty(field))
            return dw_error_set(error, DW_BAD_USE, 0, "columns '%.60s': positions or titles with commas between them, such as 1,3", text);
        for (size_t i = 0; i < o->wanted_count; i++)
            if (is_same(field, &o->wanted[i]))
                return dw_error_set(error, DW_BAD_USE, 0, "columns '%.60s': one stands twice", text);
    }
    if (o->wanted_count < 2)
        return dw_error_set(error, DW_BAD_USE, 0, "columns '%.60s': a time and a channel at least", text);
    o->placed = true;
    o->place = calloc(o->wanted_count, sizeof *o->place);
    for (size_t i = 0; o->place && o->placed && i < o->wanted_count; i++) {
        double position = 0;
        o->placed = dwi_field_number(o->wanted[i], false, &position) && position >= 1 && position <= 1e6 &&
                    position == (double)(size_t)position;
        o->place[i] = o->placed ? (size_t)position - 1 : 0;
    }
    return o->place ? DW_OK : dw_no_memory(error);
}

/* Whether the line at hand has all titles asked for: then it is known where they stand. */
static bool find_wanted(struct opening *o)
{
    for (size_t i = 0; i < o->wanted_count; i++) {
        size_t k = 0;
        while (k < o->count && !is_same(&o->wanted[i], &o->fields[k]))
            k++;
        if (k == o->count)
            return false;
        o->place[i] = k;
    }
    return true;
}

static bool is_wanted_row(const struct opening *o)
{
    for (size_t i = 0; i < o->wanted_count; i++)
        if (o->place[i] >= o->count || !is_number(o, o->place[i]))
            return false;
    return o->placed;
}

/* ---- which fields are columns ---- */

/* Of the first row: fields that are empty are left out.
 *   columns  out: how many are not */
static enum dw_status lay_out(struct opening *o, size_t *columns, struct dw_error *error)
{
    struct field_layout *layout = &o->reader->layout;
    size_t first = o->count;
    *layout = (struct field_layout){ .column = calloc(o->count + 1, sizeof *layout->column), .most = o->count, .line = o->reader->line };
    if (!layout->column)
        return dw_no_memory(error);
    *columns = 0;
    for (size_t i = 0; i < o->count; i++) {
        layout->column[i] = NO_COLUMN;
        if (!o->wanted && !is_empty(&o->fields[i]))
            layout->column[i] = (*columns)++;
    }
    for (size_t i = 0; i < o->wanted_count; i++)
        layout->column[o->place[i]] = (*columns)++;
    for (size_t i = 0; i < o->count; i++)
        if (layout->column[i] != NO_COLUMN) {
            first = first < i ? first : i;
            layout->least = i + 1;
        }
    layout->any = o->wanted != NULL;
    layout->quick = !layout->any && layout->least - first == *columns;
    layout->before = first;
    layout->behind = layout->most - layout->least;
    if (layout->quick && *columns == o->count)
        layout->least = 0; /* nothing is left out */
    return DW_OK;
}

/* Whether the line at hand is a row with something in fields that are left out, or with a word that may be passed over. */
static bool is_row_above(const struct opening *o, size_t columns)
{
    const struct dw_reader *reader = o->reader;
    const size_t least = reader->layout.least ? reader->layout.least : columns;
    if (o->separator != reader->separator || o->count < least || (!reader->layout.any && o->count > reader->layout.most))
        return false;
    for (size_t i = 0; i < o->count; i++) {
        const size_t column = dwi_column_of(reader, i);
        if (column != NO_COLUMN && !is_number(o, i) && (!column || !reader->skip_bad))
            return false;
    }
    return true;
}

/* Rows stand beside lines of words, which end before they do: goes back to the first of these.
 *   begin  out: lines before it are above the rows */
static enum dw_status find_begin(struct opening *o, size_t columns, size_t *begin, struct dw_error *error)
{
    const struct kept_lines *lead = &o->lead;
    enum dw_status status = DW_OK;
    *begin = lead->lines;
    if (!o->reader->layout.least && !o->reader->skip_bad)
        return DW_OK;
    for (size_t line = lead->lines; status == DW_OK && line-- > o->titles;) {  /* unrun: passed-on */
        char *last, *first = dwi_kept_line(lead, line, &last);
        status = cut_line(o, first, last, error);
        if (first == last)
            continue;
        if (!is_row_above(o, columns))
            break;
        *begin = line;
    }
    return status;
}

/* The line at hand is the first row. */
static enum dw_status begin_rows(struct opening *o, const char *first, struct dw_error *error)
{
    struct dw_reader *reader = o->reader;
    size_t columns = 0, begin = 0;
    reader->separator = o->separator;
    reader->measured = true;
    enum dw_status status = lay_out(o, &columns, error);
    if (status == DW_OK && columns > CHANNEL_LIMIT + 1)
        return dwi_reader_fault(reader, reader->line, error, "more than %d channels", CHANNEL_LIMIT);
    if (status == DW_OK)
        status = find_begin(o, columns, &begin, error);
    if (status == DW_OK)
        status = dwi_foreign_name_columns(reader, &o->lead, begin, columns, error);
    if (status != DW_OK)
        return status;
    reader->in.first = (size_t)(first - reader->in.buffer);
    reader->line--;
    o->lead.at = begin;
    if (begin < o->lead.lines) {
        reader->again = o->lead;
        o->lead = (struct kept_lines){ .text = NULL };
    }
    return DW_OK;
}

static enum dw_status no_rows(const struct dw_reader *reader, const struct kept_lines *lead, struct dw_error *error)
{
    char shown[64] = "", *first, *last;
    if (lead->lines) {  /* unrun: implied */
        first = dwi_kept_line(lead, 0, &last);
        dwi_quoted(shown, sizeof shown, first, last);
    }
    return dw_error_set(error, DW_BAD_INPUT, reader->line,
                        "%.300s: no row of numbers in its first %llu line%s; the first is '%s'", reader->in.name,
                        reader->line, reader->line == 1 ? "" : "s",
                        shown);
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
                            dwi_quoted(shown, sizeof shown, first, dwi_trim_end(first, last)));
}

/* A line above the rows, or the first of them.
 *   begun  out: it is */
static enum dw_status take_line(struct opening *o, char *first, char *last, bool *begun, struct dw_error *error)
{
    struct dw_reader *reader = o->reader;
    enum dw_status status = cut_line(o, first, last, error);
    if (status != DW_OK)
        return status;
    *begun = o->wanted ? is_wanted_row(o) : is_row(o);
    if (*begun)
        return begin_rows(o, first, error);
    if (o->wanted && !o->placed && is_row(o))
        return dw_error_set(error, DW_BAD_USE, reader->line, "%.300s, line %llu: the first row, and no line above it has the titles '%.100s'",
                            reader->in.name, reader->line, reader->options->columns);
    if (o->lead.lines == LEAD_LINES)
        return no_rows(reader, &o->lead, error);
    if (o->lead.size + (size_t)(last - first) > HEADER_LIMIT)
        return dwi_reader_fault(reader, reader->line, error, "the lines before the first row are longer than 1 MiB");
    if ((status = refuse_own(reader, first, last, error)) == DW_OK)
        status = keep_line(&o->lead, first, last, reader->line, error);
    if (status == DW_OK && !o->placed && find_wanted(o)) {
        o->placed = true;
        o->titles = o->lead.lines;
    }
    return status;
}

enum dw_status dwi_foreign_open(struct dw_reader *reader, struct dw_error *error)
{
    struct opening o = { .reader = reader, .placed = true };
    const char *wanted = reader->options ? reader->options->columns : NULL;
    enum dw_status status = wanted ? read_wanted(&o, wanted, error) : DW_OK;
    char *first, *last;
    bool begun = false;
    reader->encoding = DW_CSV;
    while (status == DW_OK && !begun && (status = dwi_reader_line(reader, &first, &last, error)) == DW_OK)
        status = take_line(&o, first, last, &begun, error);
    if (status == DW_END)
        status = no_rows(reader, &o.lead, error);
    dwi_kept_free(&o.lead);
    free(o.fields);
    free(o.wanted);
    free(o.wanted_text);
    free(o.place);
    return status;
}
