/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any bytes are a table or a clear error, and what reads once reads the same when written and read again. A fuzzer calls
 * the one function here; tests/fuzz/replay.c calls it for the inputs that are kept. */
#include "config.h"
#include "promise.h"
#include <dutywright/table.h>
#include <math.h>
#include <sys/mman.h>
#include <unistd.h>

const int replay_changes = 1500; /* scripts/fuzz short: 20000 inputs */

static struct dw_reader *open_file(int file, bool partial, struct dw_error *error)
{
    char path[32];
    demand(lseek(file, 0, SEEK_SET) == 0, "a memory file can be read again");
    snprintf(path, sizeof path, "/dev/fd/%d", file);
    return dw_reader_open(path, &(struct dw_reader_options){ .partial = partial }, error);
}

static void check_error(const struct dw_error *error)
{
    demand(error->status == DW_BAD_INPUT, "bytes that do not read are bad input");
    demand(strlen(error->text) > 0 && !strchr(error->text, '\n'), "an error is one line");
}

static bool same_number(double one, double other)
{
    return one == other || (isnan(one) && isnan(other));
}

static void compare_facts(const struct dw_header *one, const struct dw_header *other)
{
    const struct dw_facts *first = dw_header_facts(one), *second = dw_header_facts(other);
    demand(first->has == second->has && first->period == second->period &&
           first->carrier_period == second->carrier_period && first->origin == second->origin && first->low == second->low && first->high == second->high &&
           first->sampled == second->sampled && first->tick == second->tick, "facts come back");
    for (size_t i = 0; i < dw_header_columns(one); i++)
        demand(same_number(dw_header_channel_facts(one, i)->initial, dw_header_channel_facts(other, i)->initial) &&
               same_number(dw_header_channel_facts(one, i)->accuracy, dw_header_channel_facts(other, i)->accuracy),
               "facts of a channel come back");
}

/* Both tables to their ends: the same rows. */
static void compare(int one_file, int other_file, bool partial)
{
    struct dw_error error;
    struct dw_reader *one = open_file(one_file, partial, &error), *other = open_file(other_file, false, &error);
    demand(one && other, "a table that was written opens");
    const size_t columns = dw_header_columns(dw_reader_header(one));
    demand(columns == dw_header_columns(dw_reader_header(other)), "columns come back");
    compare_facts(dw_reader_header(one), dw_reader_header(other));
    for (;;) {
        const double *row, *same;
        const enum dw_status status = dw_reader_row(one, &row, &error);
        demand(dw_reader_row(other, &same, &error) == status, "rows come back in number");
        if (status != DW_OK)
            break;
        demand(!memcmp(row, same, columns * sizeof *row), "rows come back bit for bit");
    }
    demand(dw_reader_whole(other), "a table that was written is whole");
    dw_reader_close(one);
    dw_reader_close(other);
}

/* Reads; where that goes well, writes and compares. */
static void read_and_write(int file, bool partial, enum dw_encoding encoding)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_reader *reader = open_file(file, partial, &error);
    if (!reader) {
        check_error(&error);
        return;
    }
    int written = memfd_create("written", 0);
    struct dw_writer *writer = dw_writer_open(written, dw_reader_header(reader), encoding, &error);
    const double *values;
    size_t rows;
    enum dw_status status = DW_OK;
    demand(written >= 0 && (writer || strstr(error.text, "1 MiB")), "a header that reads can be written");
    while (writer && (status = dw_reader_rows(reader, 7, &values, &rows, &error)) == DW_OK)
        demand(dw_writer_rows(writer, values, rows, &error) == DW_OK, "rows that read can be written");
    if (writer && status == DW_END) {
        demand(dw_writer_finish(writer, &error) == DW_OK, "a table can be finished");
        compare(file, written, partial);
    } else if (writer) {
        check_error(&error);
    }
    dw_writer_free(writer);
    dw_reader_close(reader);
    close(written);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    int file = memfd_create("input", 0);
    demand(file >= 0 && write(file, data, size) == (ssize_t)size, "a memory file can be written");
    read_and_write(file, false, DW_TEXT);
    read_and_write(file, true, DW_BINARY);
    close(file);
    return 0;
}
