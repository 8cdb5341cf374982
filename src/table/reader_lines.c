/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Lines out of a source, and what is wrong with one. */
#include "config.h"
#include "reader_inner.h"
#include <dutywright/value.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum dw_status dwi_reader_fault(const struct dw_reader *reader, unsigned long long place, struct dw_error *error,
                                const char *format, ...)
{
    char text[DW_ERROR_TEXT];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    return dw_error_set(error, DW_BAD_INPUT, place, "%.300s, %s %llu: %s", reader->in.name,
                        reader->encoding == DW_BINARY ? "row" : "line", place, text);
}

enum dw_status dwi_reader_stop(struct dw_reader *reader, struct dw_error *error)
{
    if (reader->partial || !reader->own)
        return DW_END;
    return dw_error_set(error, DW_BAD_INPUT, reader->place,
                        "%.300s stops after row %llu without its end; did the program before it fail?", reader->in.name,
                        reader->rows);
}

enum dw_status dwi_reader_time_back(const struct dw_reader *reader, unsigned long long place, double time,
                                    struct dw_error *error)
{
    char from[DW_NUMBER_SIZE], to[DW_NUMBER_SIZE];
    dw_number_print(from, reader->last_time);
    dw_number_print(to, time);
    return dwi_reader_fault(reader, place, error, "%s goes back from %s to %s", dw_header_column(reader->header, 0).name, from,
                            to);
}

/* Makes sure that whole lines lie in the buffer between in.first and lines_end; as dwi_reader_line. */
static enum dw_status fill_lines(struct dw_reader *reader, struct dw_error *error)
{
    struct source *in = &reader->in;
    size_t seen = in->last - in->first; /* bytes known to hold no line end */
    reader->lines_end = 0; /* reading moves the bytes */
    for (;;) {
        if (seen > LINE_LIMIT)
            return dwi_reader_fault(reader, reader->line + 1, error, "longer than 1 MiB");
        const enum dw_status status = dwi_source_more(in, error);
        if (status == DW_END && seen) {
            reader->cut = true;
            if (dwi_source_append(in, '\n', error) != DW_OK)  /* unrun: passed-on */
                return DW_NO_MEMORY;
        } else if (status != DW_OK) {
            return status;
        }
        const char *fresh = in->buffer + in->first + seen;
        const char *end = memrchr(fresh, '\n', in->last - in->first - seen);
        if (end) {
            reader->lines_end = (size_t)(end + 1 - in->buffer);
            return DW_OK;
        }
        seen = in->last - in->first;
    }
}

enum dw_status dwi_reader_line(struct dw_reader *reader, char **first, char **last, struct dw_error *error)
{
    struct source *in = &reader->in;
    struct kept_lines *again = &reader->again;
    if (again->at < again->lines) {
        reader->line = again->line[again->at].number;
        *first = again->text + again->line[again->at++].start;
        *last = memchr(*first, '\n', again->size - (size_t)(*first - again->text));
        return DW_OK;
    }
    if (in->first >= reader->lines_end) {
        const enum dw_status status = fill_lines(reader, error);
        if (status != DW_OK)
            return status;
    }
    *first = in->buffer + in->first;
    *last = memchr(*first, '\n', reader->lines_end - in->first);
    in->first = (size_t)(*last + 1 - in->buffer);
    reader->line++;
    if (*last - *first > LINE_LIMIT)
        return dwi_reader_fault(reader, reader->line, error, "longer than 1 MiB");
    return DW_OK;
}

/* ---- lines kept, and their fields ---- */

char *dwi_trim_end(const char *first, char *last)
{
    while (last > first && (last[-1] == ' ' || last[-1] == '\r' || last[-1] == '\n'))
        last--;
    return last;
}

char *dwi_kept_line(const struct kept_lines *lead, size_t line, char **last)
{
    char *first = lead->text + lead->line[line].start;
    *last = dwi_trim_end(first, lead->text + (line + 1 < lead->lines ? lead->line[line + 1].start : lead->size));
    return first;
}

size_t dwi_column_of(const struct dw_reader *reader, size_t field)
{
    const struct field_layout *layout = &reader->layout;
    return !layout->least ? field : field < layout->least ? layout->column[field] : NO_COLUMN;
}

void dwi_kept_free(struct kept_lines *lines)
{
    free(lines->text);
    free(lines->line);
}

/* ---- files that are no text ---- */

#define MARK(text, kind) { (text), sizeof(text) - 1, (kind) }

static const struct {
    const char *text;
    size_t length;
    const char *kind;
} marks[] = {
    MARK("\377\376\0\0", "UTF-32 text; save it as UTF-8"),
    MARK("\0\0\376\377", "UTF-32 text; save it as UTF-8"),
    MARK("\377\376", "UTF-16 text; save it as UTF-8"),
    MARK("\376\377", "UTF-16 text; save it as UTF-8"),
    MARK("\037\213", "compressed by gzip; unpack it first, as with gzip -dc"),
    MARK("\375" "7zXZ\0", "compressed by xz; unpack it first, as with xz -dc"),
    MARK("\050\265\057\375", "compressed by zstd; unpack it first, as with zstd -dc"),
    MARK("BZh", "compressed by bzip2; unpack it first, as with bzip2 -dc"),
    MARK("PK\003\004", "a ZIP archive, or a spreadsheet's own file; unpack it, or save it as CSV"),
    MARK("\320\317\021\340", "a spreadsheet's own file; save it as CSV"),
};

/* Letters of ASCII leave zero bytes in wider encodings, the same in each letter. */
static const char *wide_kind(const char *at)
{
    const unsigned zeros = (unsigned)!at[0] << 3 | (unsigned)!at[1] << 2 | (unsigned)!at[2] << 1 | (unsigned)!at[3];
    return zeros == 7 || zeros == 14 ? marks[0].kind : zeros == 5 || zeros == 10 ? marks[2].kind : NULL;
}

const char *dwi_foreign_kind(const char *first, const char *last)
{
    const size_t length = (size_t)(last - first);
    for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++) {
        const bool there = length >= marks[i].length && !memcmp(first, marks[i].text, marks[i].length);
        /* three letters could begin a remark: a block of bzip2 goes on with its size, then pi */
        if (there && (*first != 'B' || (length >= 6 && !memcmp(first + 4, "1A", 2))))
            return marks[i].kind;
    }
    return length >= 4 ? wide_kind(first) : NULL;
}
