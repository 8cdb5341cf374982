/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the reader's files share. Not installed. */
#ifndef TABLE_READER_INNER_H
#define TABLE_READER_INNER_H

#include "header_inner.h"
#include <dutywright/splice.h>
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

struct source {
    int descriptor;
    bool owned;  /* closed with the source */
    bool ended;  /* read(2) has answered 0 */
    char *name;  /* "standard input" or the path */
    char *buffer;
    size_t room;         /* bytes that the buffer holds */
    size_t first, last;  /* the unread bytes are buffer[first..last) */
    void (*progress)(void *context, const char *name, unsigned long long bytes, unsigned long long size);  /* may be NULL */
    void *context;
    unsigned long long bytes, size;  /* read so far; of all, 0: not known */
};

/* path NULL or "-" is standard input. A file that is not there, or may not be read, is DW_BAD_INPUT. */
enum dw_status dwi_source_open(struct source *source, const char *path, struct dw_error *error);
void dwi_source_close(struct source *source);
/* Reads once more, behind the unread bytes, which move to the buffer's start; the buffer grows where they fill it.
 *   returns  DW_OK: at least one byte more; DW_END: there are no more; DW_SYSTEM, DW_NO_MEMORY */
enum dw_status dwi_source_more(struct source *source, struct dw_error *error);
/* Moves the unread bytes to the buffer's start. */
void dwi_source_compact(struct source *source);
/* Appends one byte of the reader's own behind the last. */
enum dw_status dwi_source_append(struct source *source, char byte, struct dw_error *error);

#define NO_COLUMN ((size_t)-1)

/* Which fields of a line are columns. All zero: as many fields as columns, in their order. */
struct field_layout {
    size_t *column;  /* [most] the column that a field is; NO_COLUMN: left out */
    size_t least, most; /* fields of a line: up to the last that is a column, and as many as the first row has */
    bool any;        /* fields left out may hold whatever they like; else they are empty */
    size_t before, behind; /* separators before the first and behind the last column, where those between are in order */
    bool quick;      /* they are */
    unsigned long long line; /* of the first row without a gap */
};

/* Lines one after another, each with its '\n'. */
struct kept_lines {
    char *text;
    size_t size, room;
    struct kept_line {
        size_t start;
        unsigned long long number; /* in the file, from 1 */
    } *line;                     /* [line_room] */
    size_t lines, line_room;
    size_t at;                   /* the next to be read again */
};

/* Rows read while a table is opened, to be given first. */
struct rows_ahead {
    double *values;              /* [rows x columns] */
    unsigned long long *place;   /* [rows] */
    size_t rows, at;             /* those before `at` are given */
};

struct dw_reader {
    struct source in;
    struct dw_header *header;
    enum dw_encoding encoding;
    bool own;         /* it has our header, so it must have its end */
    bool partial;     /* the caller takes it without */
    bool cut;         /* text: the last line had no line end */
    bool whole;       /* the end was seen */
    bool measured;    /* text: the separator is known */
    char separator;   /* '\t', ';', ',', or ' ' for blanks */
    char decimal;     /* text: the decimal sign, where both could be one; 0: none was seen */
    unsigned long long decimal_line; /* where it was first seen */
    const struct dw_reader_options *options; /* while the table is opened; may be NULL */
    bool skip_bad;
    unsigned long long skipped;
    struct dw_error skipped_first;
    struct field_layout layout;  /* text: which fields of a line are columns */
    struct kept_lines again; /* rows above the one by which the table was known: they come first */
    struct unit_scale *scale; /* [columns], to plain units; NULL where all are plain, as in our own tables */
    size_t columns;
    size_t lines_end; /* text: the bytes before this one are whole lines */
    unsigned long long line;  /* text: lines taken from the source */
    unsigned long long rows;  /* rows given */
    unsigned long long place; /* line or row of the last row given */
    double last_time;
    struct rows_ahead ahead;
    bool uneven;      /* see dw_reader_uneven */
    struct dw_lines *lines;  /* curves are asked for as lines; NULL: rows as they stand */
    struct dw_rows lines_left; /* of those, not yet given */
    double *values;   /* text: parsed rows, [rows_room x columns] */
    size_t rows_room;
    bool failed, done;
    struct dw_error failure; /* given again at each call after the first */
};

/* "NAME, line N: " and the text, or row N in a binary table. */
enum dw_status dwi_reader_fault(const struct dw_reader *reader, unsigned long long place, struct dw_error *error,
                                const char *format, ...) DW_PRINTF(4, 5);
/* The table stops without its end: an error unless it is wanted so. */
enum dw_status dwi_reader_stop(struct dw_reader *reader, struct dw_error *error);
enum dw_status dwi_reader_time_back(const struct dw_reader *reader, unsigned long long place, double time,
                                    struct dw_error *error);

/* Takes one line out of the source.
 *   first, last  out: its bytes without "\n"; valid until the next call
 *   returns      DW_OK, DW_END, or an error; a last line without "\n" is given, and sets reader->cut */
enum dw_status dwi_reader_line(struct dw_reader *reader, char **first, char **last, struct dw_error *error);

/* Sets the key `sampled` where the rows read ahead are equally spaced. */
enum dw_status dwi_judge_spacing(struct dw_reader *reader, struct dw_error *error);

/* What a file is that is no text in UTF-8, by its first bytes; NULL: nothing is known against it. */
const char *dwi_foreign_kind(const char *first, const char *last);
/* Lines before the first row of a table that is not ours: separator, names, units. The first row stays unread. */
enum dw_status dwi_foreign_open(struct dw_reader *reader, struct dw_error *error);
/* The separator that a line asks for, by what it holds. */
char dwi_separator_of(const char *first, const char *last);
/* Whether a comma between such separators is the decimal sign. */
bool dwi_separator_frees_comma(char separator);
/* Cuts one field off a line: blanks around it and quotes (RFC 4180) do not belong to it.
 *   at       in and out: where the field begins; after the call, where the next begins, or NULL behind the last
 *   field    out: its first and one past its last byte; a doubled quote stands as it does in the line
 *   returns  false where a quote does not close or something stands behind it */
struct field {
    char *first, *last;
    bool is_quoted;
};
bool dwi_next_field(char **at, char *last, char separator, struct field *field);
void dwi_kept_free(struct kept_lines *lines);
/* The column of a field, counted from 0. */
size_t dwi_column_of(const struct dw_reader *reader, size_t field);
/* A whole field as a number; a comma is the decimal sign where `comma` is set. */
bool dwi_field_number(struct field field, bool comma, double *value);

enum dw_status dwi_text_rows(struct dw_reader *reader, size_t most, const double **values, size_t *rows,
                             struct dw_error *error);
enum dw_status dwi_binary_rows(struct dw_reader *reader, size_t most, const double **values, size_t *rows,
                               struct dw_error *error);

/* ---- what the files that open tables of others share ---- */

/* A line among those kept, and one past its last byte but for blanks and line ends. */
char *dwi_kept_line(const struct kept_lines *lead, size_t line, char **last);
char *dwi_trim_end(const char *first, char *last);

/* Names and units of the columns, by the lines above the rows.
 *   columns   of the table
 *   end       the lines of lead before this one are above the rows
 *   returns   DW_OK; DW_BAD_INPUT where one of them is a row with a word in it; DW_NO_MEMORY */
enum dw_status dwi_foreign_name_columns(struct dw_reader *reader, const struct kept_lines *lead, size_t end, size_t columns,
                                        struct dw_error *error);

#endif
