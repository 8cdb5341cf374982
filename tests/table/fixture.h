/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables in memory for tests: bytes to a reader, a writer to bytes. */
#ifndef TESTS_TABLE_FIXTURE_H
#define TESTS_TABLE_FIXTURE_H

#include <dutywright/table.h>

struct bytes {
    char *at; /* NUL-terminated behind size */
    size_t size;
};

/* Makes these bytes the standard input. */
void feed(const void *bytes, size_t size);
/* A reader of these bytes, which it knows as "standard input"; rows as they stand, slopes included. */
struct dw_reader *reader_of(const void *bytes, size_t size, bool partial, struct dw_error *error);
struct dw_reader *reader_of_text(const char *text, struct dw_error *error);

/* A whole table, read: values [rows x columns]. */
struct whole {
    enum dw_status status; /* DW_OK, or what opening or reading gave */
    struct dw_error error;
    size_t columns, rows;
    double *values;
    bool has_end;
};
/* most: rows asked for at a time */
struct whole read_whole(const void *bytes, size_t size, bool partial, size_t most);
void whole_free(struct whole *whole);

/* A file without a name, to write a table into. */
int memory_file(void);
/* All that was written into it; closes it. */
struct bytes take_bytes(int file);
/* Reads a table and writes it again. */
struct bytes converted(const void *bytes, size_t size, enum dw_encoding encoding);

/* A header's columns, "time[s] pin[V]". */
void columns_of(const struct dw_header *header, char *out, size_t size);

#endif
