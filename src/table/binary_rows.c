/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows of little-endian IEEE 754 doubles, given where they lie in the buffer. */
#include "header_inner.h"
#include "reader_inner.h"
#include <math.h>
#include <stdint.h>
#include <string.h>

_Static_assert(sizeof(double) == 8, "a double is the 64 bits of IEEE 754");

#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
static void to_own_order(double *values, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        uint64_t bits;
        memcpy(&bits, &values[i], sizeof bits);
        bits = __builtin_bswap64(bits);
        memcpy(&values[i], &bits, sizeof bits);
    }
}
#else
static void to_own_order(double *values, size_t count)
{
    (void)values;
    (void)count;
}
#endif

static bool is_end(const double *row, size_t columns)
{
    size_t i = 0;
    while (i < columns && isnan(row[i]))
        i++;
    return i == columns;
}

/* The first row at hand is not a good one: the end, or a fault. */
static enum dw_status odd_row(struct dw_reader *reader, const double *row, struct dw_error *error)
{
    const unsigned long long place = reader->rows + 1;
    struct source *in = &reader->in;
    if (is_end(row, reader->columns)) {
        in->first += reader->columns * sizeof *row;
        const enum dw_status status = in->first < in->last ? DW_OK : dwi_source_more(in, error);
        reader->whole = status == DW_END;
        return status == DW_OK ? dwi_reader_fault(reader, place, error, "bytes stand behind the table's end") : status;
    }
    for (size_t i = 0; i < reader->columns; i++)
        if (!isfinite(row[i]))
            return dwi_reader_fault(reader, place, error, "%s is %s", dw_header_column(reader->header, i).name,
                                    isnan(row[i]) ? "not a number" : "infinite");
    return dwi_reader_time_back(reader, place, row[0], error);
}

/* No whole row is left. */
static enum dw_status stop(struct dw_reader *reader, size_t left, struct dw_error *error)
{
    if (left && !reader->partial)
        return dwi_reader_fault(reader, reader->rows + 1, error, "cut after %zu of %zu bytes; did the program before it fail?",
                                left, reader->columns * sizeof(double));
    return dwi_reader_stop(reader, error);
}

enum dw_status dwi_binary_rows(struct dw_reader *reader, size_t most, const double **values, size_t *rows,
                               struct dw_error *error)
{
    struct source *in = &reader->in;
    const size_t size = reader->columns * sizeof(double);
    /* Rows begin at a multiple of 8 from the buffer's start, except behind the header; reading more moves them there. */
    if (in->first % sizeof(double))
        dwi_source_compact(in);
    while (in->last - in->first < size) {
        const enum dw_status status = dwi_source_more(in, error);
        if (status == DW_END)
            return stop(reader, in->last - in->first, error);
        if (status != DW_OK)  /* unrun: passed-on */
            return status;
    }
    double *row = (double *)(void *)(in->buffer + in->first);
    size_t count = (in->last - in->first) / size;
    count = count < most ? count : most;
    to_own_order(row, count * reader->columns);
    const size_t turned = count;
    count = dwi_good_rows(row, count, reader->columns, &reader->last_time);
    if (!count)
        return odd_row(reader, row, error);
    to_own_order(row + count * reader->columns, (turned - count) * reader->columns); /* back: they will come again */
    in->first += count * size;
    reader->rows += count;
    reader->place = reader->rows;
    *values = row;
    *rows = count;
    return DW_OK;
}
