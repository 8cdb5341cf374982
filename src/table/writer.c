/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows out through write(2): text, binary, CSV. */
#include "config.h"
#include "header_inner.h"
#include <dutywright/splice.h>
#include <dutywright/value.h>
#include <errno.h>
#include <float.h>
#include <math.h>
#include <poll.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum {
    ROOM = 1 << 17,
    MANY = 1 << 14, /* bytes of rows that are worth a write of their own */
    SLOPE_DIGITS = 8
};

#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
static const bool OWN_ORDER = false;
#else
static const bool OWN_ORDER = true;
#endif

/* The number last written in a column as text: a pin's level or the time of a jump is mostly the same again. */
struct printed {
    double number;
    size_t length;  /* 0: there was none */
    char text[DW_NUMBER_SIZE];
};

struct dw_writer {
    int descriptor;
    enum dw_encoding encoding;
    struct dw_lines *lines; /* what rows go through first; NULL: nothing */
    size_t columns; /* of a row written */
    size_t *slope;  /* [columns] where slopes stand; NULL: nowhere */
    double *row;    /* [columns] a row whose slopes are rounded */
    struct printed *printed; /* [columns] */
    char **names;   /* of the columns, for messages */
    char *buffer;   /* [ROOM] and one row more */
    size_t used;
    unsigned long long rows;
    double last_time;
    bool failed;    /* writing has failed: nothing more is tried */
    bool finished;
};

static enum dw_status write_all(struct dw_writer *writer, const char *first, size_t size, struct dw_error *error)
{
    const char *name = writer->descriptor == STDOUT_FILENO ? "standard output" : "output";
    while (size && !writer->failed) {
        const ssize_t done = write(writer->descriptor, first, size);
        if (done >= 0) {
            first += done;
            size -= (size_t)done;
        } else if (errno == EAGAIN || errno == EWOULDBLOCK) {  /* unrun: system-call */
            poll(&(struct pollfd){ .fd = writer->descriptor, .events = POLLOUT }, 1, -1);
        } else if (errno != EINTR) {
            writer->failed = true;
            return errno == EPIPE ? dw_error_set(error, DW_CLOSED_PIPE, 0, "%s: its reader has gone away", name)
                                  : dw_error_set(error, DW_SYSTEM, 0, "%s: %s", name, strerror(errno));
        }
    }
    return writer->failed ? dw_error_set(error, DW_SYSTEM, 0, "%s: an earlier write has failed", name) : DW_OK;
}

static enum dw_status flush(struct dw_writer *writer, struct dw_error *error)
{
    const size_t size = writer->used;
    writer->used = 0;
    return write_all(writer, writer->buffer, size, error);
}

static enum dw_status prepare(struct dw_writer *writer, const struct dw_header *header, struct dw_error *error)
{
    writer->names = calloc(writer->columns, sizeof *writer->names);
    writer->printed = calloc(writer->columns, sizeof *writer->printed);
    writer->buffer = malloc(ROOM + (writer->columns + 1) * DW_NUMBER_SIZE + 2);
    if (dw_header_slopes(header, NULL)) {
        writer->slope = calloc(writer->columns, sizeof *writer->slope);
        writer->row = calloc(writer->columns, sizeof *writer->row);
        if (!writer->slope || !writer->row)
            return dw_no_memory(error);
        dw_header_slopes(header, writer->slope);
    }
    if (!writer->names || !writer->printed || !writer->buffer)
        return dw_no_memory(error);
    for (size_t i = 0; i < writer->columns; i++)
        if (!(writer->names[i] = strdup(dw_header_column(header, i).name)))
            return dw_no_memory(error);
    size_t size;
    char *text = dwi_header_text(header, writer->encoding, &size, error);
    if (!text)
        return DW_BAD_USE;
    enum dw_status status = DW_OK;
    if (size <= ROOM) {
        memcpy(writer->buffer, text, size);
        writer->used = size;
    } else {
        status = write_all(writer, text, size, error);
    }
    free(text);
    return status;
}

struct dw_writer *dw_writer_open(int descriptor, const struct dw_header *header, enum dw_encoding encoding,
                                 struct dw_error *error)
{
    return dw_writer_open_lines(descriptor, header, 0, encoding, error);
}

struct dw_writer *dw_writer_open_lines(int descriptor, const struct dw_header *header, double share, enum dw_encoding encoding,
                                       struct dw_error *error)
{
    if (dwi_header_check(header, error) != DW_OK)
        return NULL;
    struct dw_writer *writer = calloc(1, sizeof *writer);
    if (!writer) {
        dw_no_memory(error);
        return NULL;
    }
    writer->descriptor = descriptor;
    writer->encoding = encoding;
    writer->last_time = -DBL_MAX;
    const bool straight = share > 0 && dw_header_slopes(header, NULL);
    if (!straight || (writer->lines = dw_lines_new(header, share, error))) {
        const struct dw_header *written = straight ? dw_lines_header(writer->lines) : header;
        writer->columns = dw_header_columns(written);
        if (prepare(writer, written, error) == DW_OK)
            return writer;
    }
    writer->finished = true;
    dw_writer_free(writer);
    return NULL;
}

/* A row that no reader would take. */
static enum dw_status refuse(const struct dw_writer *writer, const double *row, struct dw_error *error)
{
    char from[DW_NUMBER_SIZE], to[DW_NUMBER_SIZE];
    const unsigned long long place = writer->rows + 1;
    for (size_t i = 0; i < writer->columns; i++)
        if (!isfinite(row[i]))
            return dw_error_set(error, DW_BAD_INPUT, place, "row %llu of the output: %.60s is %s", place, writer->names[i],
                                isnan(row[i]) ? "not a number" : "infinite");
    dw_number_print(from, writer->last_time);
    dw_number_print(to, row[0]);
    return dw_error_set(error, DW_BAD_INPUT, place, "row %llu of the output: %.60s goes back from %s to %s", place,
                        writer->names[0], from, to);
}

static bool is_good(const struct dw_writer *writer, const double *row)
{
    bool good = row[0] >= writer->last_time;
    for (size_t i = 0; i < writer->columns; i++)
        good &= fabs(row[i]) <= DBL_MAX;
    return good;
}

static const double ten[] = { 1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                              1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22 };

/* By which power of ten a slope becomes a number of so many digits. */
static int slope_power(double size)
{
    return SLOPE_DIGITS - 1 - (int)floor(log10(size));
}

/* As dw_number_round, but quicker: powers of ten up to 22 are exact, so that each of the two steps is rounded but once. */
static double rounded(double slope)
{
    const double size = fabs(slope);
    if (!(size >= 1e-15 && size < 1e29))
        return size == 0 ? slope : dw_number_round(slope, SLOPE_DIGITS);
    const int power = slope_power(size);
    return power >= 0 ? nearbyint(slope * ten[power]) / ten[power] : nearbyint(slope / ten[-power]) * ten[-power];
}

/* As dw_number_print writes a rounded slope, but quicker: no other decimal of so few digits reads back as the same number. */
static size_t print_slope(char *out, double slope)
{
    const double size = fabs(slope);
    int decimals = size >= 1e-5 && size < 1e8 ? slope_power(size) : -1;
    char text[DW_NUMBER_SIZE], *first = text + sizeof text;
    if (decimals < 0)
        return dw_number_print(out, slope);
    unsigned long digits = (unsigned long)nearbyint(size * ten[decimals]);
    for (; decimals > 0 && digits % 10 == 0; decimals--)
        digits /= 10;
    for (int k = 0; digits > 0 || k <= decimals; k++, digits /= 10) {
        if (k == decimals && k > 0)
            *--first = '.';
        *--first = (char)('0' + digits % 10);
    }
    if (slope < 0)
        *--first = '-';
    memcpy(out, first, (size_t)(text + sizeof text - first));
    return (size_t)(text + sizeof text - first);
}

static void put_text(struct dw_writer *writer, const double *row, char separator)
{
    char *at = writer->buffer + writer->used;
    for (size_t i = 0; i < writer->columns; i++) {
        struct printed *printed = &writer->printed[i];
        if (!printed->length || printed->number != row[i] || signbit(printed->number) != signbit(row[i])) {
            printed->number = row[i];
            printed->length = writer->slope && i > 0 && writer->slope[i - 1] == i ? print_slope(printed->text, row[i])
                                                                                  : dw_number_print(printed->text, row[i]);
        }
        memcpy(at, printed->text, DW_NUMBER_SIZE);
        at += printed->length;
        *at++ = separator;
    }
    at--;
    if (writer->encoding == DW_CSV)
        *at++ = '\r';
    *at++ = '\n';
    writer->used = (size_t)(at - writer->buffer);
}

static void put_binary(struct dw_writer *writer, const double *values, size_t count)
{
    char *at = writer->buffer + writer->used;
#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
    for (size_t i = 0; i < count; i++) {
        uint64_t bits;
        memcpy(&bits, &values[i], sizeof bits);
        bits = __builtin_bswap64(bits);
        memcpy(at + i * sizeof bits, &bits, sizeof bits);
    }
#else
    memcpy(at, values, count * sizeof *values);
#endif
    writer->used += count * sizeof *values;
}

static const double *with_rounded_slopes(struct dw_writer *writer, const double *row)
{
    memcpy(writer->row, row, writer->columns * sizeof *row);
    for (size_t i = 1; i < writer->columns; i++)
        if (writer->slope[i])
            writer->row[writer->slope[i]] = rounded(row[writer->slope[i]]) + 0.0;  /* no -0 */
    return writer->row;
}

/* One as it goes out. */
static enum dw_status put_row(struct dw_writer *writer, const double *row, struct dw_error *error)
{
    if (writer->slope)
        row = with_rounded_slopes(writer, row);
    if (!is_good(writer, row))
        return refuse(writer, row, error);
    switch (writer->encoding) {
    case DW_TEXT: put_text(writer, row, '\t'); break;
    case DW_CSV: put_text(writer, row, ','); break;
    case DW_BINARY: put_binary(writer, row, writer->columns); break;
    }
    writer->last_time = row[0];
    writer->rows++;
    return writer->used >= ROOM ? flush(writer, error) : DW_OK;
}

/* Binary rows as they are: many go out from where they lie, few are copied. */
static enum dw_status put_rows(struct dw_writer *writer, const double *values, size_t rows, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    while (status == DW_OK && rows) {
        const size_t size = writer->columns * sizeof *values, fit = (ROOM - writer->used) / size + 1;
        const bool at_once = OWN_ORDER && rows * size >= MANY;  /* unrun: implied */
        const size_t some = dwi_good_rows(values, at_once || rows < fit ? rows : fit, writer->columns, &writer->last_time);
        if (!some)
            return refuse(writer, values, error);
        if (at_once) {
            status = flush(writer, error);
            if (status == DW_OK)
                status = write_all(writer, (const char *)values, some * size, error);
        } else {
            put_binary(writer, values, some * writer->columns);
            if (writer->used >= ROOM)
                status = flush(writer, error);
        }
        values += some * writer->columns;
        rows -= some;
        writer->rows += some;
    }
    return status;
}

enum dw_status dw_writer_rows(struct dw_writer *writer, const double *values, size_t rows, struct dw_error *error)
{
    struct dw_rows some = { values, rows };
    enum dw_status status = writer->lines ? dw_lines_rows(writer->lines, values, rows, &some, error) : DW_OK;
    if (status == DW_OK && writer->encoding == DW_BINARY && !writer->slope)
        return put_rows(writer, some.values, some.count, error);
    for (size_t i = 0; status == DW_OK && i < some.count; i++)
        status = put_row(writer, some.values + i * writer->columns, error);
    return status;
}

enum dw_status dw_writer_row(struct dw_writer *writer, const double *row, struct dw_error *error)
{
    return writer->lines ? dw_writer_rows(writer, row, 1, error) : put_row(writer, row, error);
}

enum dw_status dw_writer_finish(struct dw_writer *writer, struct dw_error *error)
{
    const double end = NAN;
    if (writer->encoding == DW_TEXT)
        writer->used += (size_t)sprintf(writer->buffer + writer->used, "# end: %llu\n", writer->rows);
    for (size_t i = 0; writer->encoding == DW_BINARY && i < writer->columns; i++)
        put_binary(writer, &end, 1);
    writer->finished = true;
    return flush(writer, error);
}

void dw_writer_free(struct dw_writer *writer)
{
    if (!writer)
        return;
    /* Rows of a table that breaks off are still worth having, and the missing end tells its reader. */
    if (!writer->finished && writer->used)
        flush(writer, NULL);
    for (size_t i = 0; writer->names && i < writer->columns; i++)
        free(writer->names[i]);
    dw_lines_free(writer->lines);
    free(writer->names);
    free(writer->printed);
    free(writer->slope);
    free(writer->row);
    free(writer->buffer);
    free(writer);
}
