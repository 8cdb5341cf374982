/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Opening a table and telling what it is; giving its rows. */
#include "config.h"
#include "reader_inner.h"
#include <dutywright/value.h>
#include <float.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS_AHEAD = 64 };

/* Gives a line back, so that it is read again. Only the line just taken. */
static void return_line(struct dw_reader *reader, const char *first)
{
    reader->in.first = (size_t)(first - reader->in.buffer);
    reader->line--;
}

static bool is_blank(const char *first, const char *last)
{
    while (first < last && (*first == ' ' || *first == '\t' || *first == '\r'))
        first++;
    return first == last;
}

static bool starts_with(const char *first, const char *last, const char *text)
{
    const size_t length = strlen(text);
    return (size_t)(last - first) >= length && !memcmp(first, text, length);
}

/* Enough bytes to know a byte order mark and files that are no text; takes the one of UTF-8 away. */
static enum dw_status look_for_marks(struct dw_reader *reader, struct dw_error *error)
{
    struct source *in = &reader->in;
    enum dw_status status = DW_OK;
    while (status == DW_OK && in->last < 6)
        status = dwi_source_more(in, error);
    if (status != DW_OK && status != DW_END)
        return status;
    const char *first = in->buffer, *last = in->buffer + in->last;
    if (first == last)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%.300s is empty; did the program before it fail?", in->name);
    const char *kind = dwi_foreign_kind(first, last);
    if (kind)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%.300s is %s", in->name, kind);
    if (starts_with(first, last, "\357\273\277"))
        in->first = 3;
    /* what was read counts as lines from the start */
    const char *end = memrchr(in->buffer + in->first, '\n', in->last - in->first);
    reader->lines_end = end ? (size_t)(end + 1 - in->buffer) : 0;
    return DW_OK;
}

/* The lines after "# wave-table 1" up to the first row, which stays unread. */
static enum dw_status read_header(struct dw_reader *reader, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    bool binary = false;
    size_t size = sizeof TABLE_MARK;
    char *first, *last;
    struct dw_error why;
    while (!binary && (status = dwi_reader_line(reader, &first, &last, error)) == DW_OK) {
        if (is_blank(first, last))
            continue;
        const bool is_row = *first != '#' || starts_with(first, last, "# end:") || starts_with(first, last, "#end:");
        if (reader->cut && !is_row)
            return dw_error_set(error, DW_BAD_INPUT, reader->line,
                                "%.300s stops in its header, line %llu; did the program before it fail?", reader->in.name,
                                reader->line);
        if (is_row) {
            return_line(reader, first);
            break;
        }
        size += (size_t)(last + 1 - first);
        if (size > HEADER_LIMIT)
            return dwi_reader_fault(reader, reader->line, error, "the header is longer than 1 MiB");
        reader->header->line = reader->line;
        status = dwi_header_parse_line(reader->header, first, last, &binary, &why);
        if (status == DW_NO_MEMORY)
            return dw_no_memory(error);
        if (status != DW_OK)
            return dwi_reader_fault(reader, why.line ? why.line : reader->line, error, "%s", why.text);
    }
    if (status != DW_OK && status != DW_END)
        return status;
    status = dwi_header_check(reader->header, &why);
    if (status != DW_OK)
        return dw_error_set(error, status, reader->line, "%.300s, line %llu: %s", reader->in.name, reader->line, why.text);
    reader->encoding = binary ? DW_BINARY : DW_TEXT;
    return DW_OK;
}

/* Past blank lines to the first with something in it: ours or another's? */
static enum dw_status read_start(struct dw_reader *reader, struct dw_error *error)
{
    char *first, *last, shown[64];
    enum dw_status status = look_for_marks(reader, error);
    do {
        status = status == DW_OK ? dwi_reader_line(reader, &first, &last, error) : status;
    } while (status == DW_OK && is_blank(first, last) && reader->line < HEADER_LIMIT);
    if (status == DW_END)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%.300s is empty; did the program before it fail?", reader->in.name);
    if (status != DW_OK)
        return status;
    const char *end = last;
    while (end > first && (end[-1] == ' ' || end[-1] == '\r' || end[-1] == '\t'))
        end--;
    reader->own = (size_t)(end - first) == strlen(TABLE_MARK) && starts_with(first, end, TABLE_MARK);
    if (reader->own && reader->options && reader->options->columns)
        return dw_error_set(error, DW_BAD_USE, reader->line, "%.300s is a table of ours, whose channels have names: columns are chosen by those",
                            reader->in.name);
    if (reader->own)
        return read_header(reader, error);
    if (starts_with(first, end, "# wave-table "))
        return dwi_reader_fault(reader, reader->line, error, "'%s': only version 1 of the table is known here",
                                dwi_quoted(shown, sizeof shown, first, end));
    return_line(reader, first);
    return dwi_foreign_open(reader, error);
}

static enum dw_status take_rows(struct dw_reader *reader, size_t most, const double **values, size_t *rows, struct dw_error *error)
{
    if (reader->failed) {
        if (error)
            *error = reader->failure;
        return reader->failure.status;
    }
    if (reader->done)
        return DW_END;
    const enum dw_status status = reader->encoding == DW_BINARY
                                      ? dwi_binary_rows(reader, most, values, rows, &reader->failure)
                                      : dwi_text_rows(reader, most, values, rows, &reader->failure);
    if (status == DW_END)
        reader->done = true;
    else if (status != DW_OK) {
        reader->failed = true;
        if (error)
            *error = reader->failure;
    }
    return status;
}

/* The first rows of a table that is not ours, to judge their spacing. Row after row, not block after block: a pipe is to wait no longer than it must. */
static enum dw_status read_ahead(struct dw_reader *reader, struct dw_error *error)
{
    struct rows_ahead *ahead = &reader->ahead;
    const size_t columns = reader->columns;
    if (dw_header_needs_time(reader->header, reader->in.name, NULL) != DW_OK)
        return DW_OK;
    ahead->values = malloc(ROWS_AHEAD * columns * sizeof *ahead->values);
    ahead->place = malloc(ROWS_AHEAD * sizeof *ahead->place);
    if (!ahead->values || !ahead->place)
        return dw_no_memory(error);
    for (enum dw_status status = DW_OK; status == DW_OK && ahead->rows < ROWS_AHEAD;) {
        const double *values;
        size_t rows = 0;
        status = take_rows(reader, 1, &values, &rows, NULL);
        if (rows > 0) {
            memcpy(ahead->values + ahead->rows * columns, values, columns * sizeof *values);
            ahead->place[ahead->rows++] = reader->place;
        }
    }
    return dwi_judge_spacing(reader, error); /* what ended them comes again behind these rows */
}

struct dw_reader *dw_reader_open(const char *path, const struct dw_reader_options *options, struct dw_error *error)
{
    struct dw_reader *reader = calloc(1, sizeof *reader);
    if (!reader) {
        dw_no_memory(error);
        return NULL;
    }
    reader->partial = options && options->partial;
    reader->skip_bad = options && options->skip_bad;
    reader->options = options;
    reader->last_time = -DBL_MAX;
    enum dw_status status = dwi_source_open(&reader->in, path, error);
    reader->in.progress = options ? options->progress : NULL;
    reader->in.context = options ? options->context : NULL;
    reader->header = status == DW_OK ? dwi_header_new_empty(error) : NULL;
    status = reader->header ? read_start(reader, error) : DW_NO_MEMORY;
    reader->columns = status == DW_OK ? reader->header->column_count : 0;
    reader->options = NULL; /* the caller's, for this call */
    if (status == DW_OK && !reader->own)
        status = read_ahead(reader, error);
    const bool curves = (options && options->curves) || status != DW_OK || !dw_header_slopes(reader->header, NULL);
    if (!curves && !(reader->lines = dw_lines_new(reader->header, DW_LINES_READ, error)))
        status = DW_NO_MEMORY;
    if (status == DW_OK)
        return reader;
    dw_reader_close(reader);
    return NULL;
}

void dw_reader_close(struct dw_reader *reader)
{
    if (!reader)
        return;
    dwi_source_close(&reader->in);
    dw_header_free(reader->header);
    dw_lines_free(reader->lines);
    free(reader->values);
    free(reader->ahead.values);
    free(reader->ahead.place);
    free(reader->scale);
    free(reader->layout.column);
    dwi_kept_free(&reader->again);
    free(reader);
}

const struct dw_header *dw_reader_header(const struct dw_reader *reader)
{
    return reader->lines ? dw_lines_header(reader->lines) : reader->header;
}

enum dw_encoding dw_reader_encoding(const struct dw_reader *reader)
{
    return reader->encoding;
}

const char *dw_reader_name(const struct dw_reader *reader)
{
    return reader->in.name;
}

unsigned long long dw_reader_line(const struct dw_reader *reader)
{
    return reader->place;
}

unsigned long long dw_reader_skipped(const struct dw_reader *reader, char *out, size_t size)
{
    if (reader->skipped)
        snprintf(out, size, "%s", reader->skipped_first.text);
    return reader->skipped;
}

bool dw_reader_uneven(const struct dw_reader *reader)
{
    return reader->uneven;
}

bool dw_reader_whole(const struct dw_reader *reader)
{
    return reader->whole;
}

void dw_reader_place(const struct dw_reader *reader, char *out, size_t size)
{
    snprintf(out, size, "%s, %s %llu", reader->in.name, reader->encoding == DW_BINARY ? "row" : "line", reader->place);
}

static enum dw_status rows_as_they_stand(struct dw_reader *reader, size_t most, const double **values, size_t *rows,
                                         struct dw_error *error)
{
    struct rows_ahead *ahead = &reader->ahead;
    const size_t left = ahead->rows - ahead->at;
    if (!left)
        return take_rows(reader, most, values, rows, error);
    *rows = most < left ? most : left;
    *values = ahead->values + ahead->at * reader->columns;
    ahead->at += *rows;
    reader->place = ahead->place[ahead->at - 1];
    return DW_OK;
}

enum dw_status dw_reader_rows(struct dw_reader *reader, size_t most, const double **values, size_t *rows,
                              struct dw_error *error)
{
    if (!most)
        return dw_error_set(error, DW_BAD_USE, 0, "no rows were asked for");
    if (!reader->lines)
        return rows_as_they_stand(reader, most, values, rows, error);
    struct dw_rows *left = &reader->lines_left;
    while (!left->count) {
        enum dw_status status = rows_as_they_stand(reader, most, values, rows, error);
        if (status == DW_OK)
            status = dw_lines_rows(reader->lines, *values, *rows, left, error);
        if (status != DW_OK)
            return status;
    }
    *rows = left->count < most ? left->count : most;
    *values = left->values;
    left->values += *rows * dw_header_columns(dw_reader_header(reader));
    left->count -= *rows;
    return DW_OK;
}

enum dw_status dw_reader_row(struct dw_reader *reader, const double **row, struct dw_error *error)
{
    size_t rows = 0;
    return dw_reader_rows(reader, 1, row, &rows, error);
}
