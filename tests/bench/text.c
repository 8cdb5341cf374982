/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers to text and back: ours against printf %.17g and strtod, bare and as whole rows of a table. Half are times of edges,
 * half voltages behind a filter, most of them of 16 or 17 digits. A unit of work is one number. */
#include "bench.h"
#include <dutywright/table.h>
#include <dutywright/value.h>
#include <fcntl.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { NUMBERS = 1000000, COLUMNS = 2, WIDTH = 32 };

static const char PATH[] = "bench-text.tsv";

static void fill(double *values)
{
    const double period = 1 / 1612.9, slow = 0.02;
    for (int k = 0; k < NUMBERS / COLUMNS; k++) {
        const double t = (k / 2 + (k % 2 ? 0.25 : 0)) * period;
        values[COLUMNS * k] = t;
        values[COLUMNS * k + 1] = 1.25 * -expm1(-t / slow) + 0.011 * sin(7919.0 * k);
    }
}

/* Texts stand WIDTH apart, NUL behind each. */
static void print_ours(const double *values, char *texts)
{
    for (int i = 0; i < NUMBERS; i++)
        dw_number_print(texts + WIDTH * i, values[i]);
}

static void print_theirs(const double *values, char *texts)
{
    for (int i = 0; i < NUMBERS; i++)
        snprintf(texts + WIDTH * i, WIDTH, "%.17g", values[i]);
}

static void read_ours(const char *texts, double *values)
{
    for (int i = 0; i < NUMBERS; i++)
        dw_number_read(texts + WIDTH * i, texts + WIDTH * (i + 1), values + i);
}

static void read_theirs(const char *texts, double *values)
{
    for (int i = 0; i < NUMBERS; i++)
        values[i] = strtod(texts + WIDTH * i, NULL);
}

static void write_rows(const double *values, const char *path)
{
    struct dw_error why = { .status = DW_OK };
    const int descriptor = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0666);
    struct dw_header *header = dw_header_new("time", "s", &why);
    bench_demand(descriptor >= 0 && header && dw_header_append(header, "out", "V", &why) == DW_OK, "%s: %s", path, why.text);
    struct dw_writer *writer = dw_writer_open(descriptor, header, DW_TEXT, &why);
    bench_demand(writer && dw_writer_rows(writer, values, NUMBERS / COLUMNS, &why) == DW_OK &&
                     dw_writer_finish(writer, &why) == DW_OK, "%s", why.text);
    dw_writer_free(writer);
    dw_header_free(header);
    close(descriptor);
}

/* Rows of the file; out NULL: only read. */
static void read_rows(double *out)
{
    struct dw_error why = { .status = DW_OK };
    struct dw_reader *reader = dw_reader_open(PATH, NULL, &why);
    const double *values;
    size_t rows, done = 0;
    enum dw_status status = reader ? DW_OK : why.status;
    while (status == DW_OK && (status = dw_reader_rows(reader, 4096, &values, &rows, &why)) == DW_OK) {
        if (out)
            memcpy(out + COLUMNS * done, values, rows * COLUMNS * sizeof *out);
        done += rows;
    }
    bench_demand(status == DW_END && done == NUMBERS / COLUMNS, "%zu rows read: %s", done, why.text);
    dw_reader_close(reader);
}

static void demand_same(const double *got, const double *values, const char *what)
{
    for (int i = 0; i < NUMBERS; i++)
        bench_demand(got[i] == values[i], "%s: number %d is %.17g, wanted %.17g", what, i + 1, got[i], values[i]);
}

static double took(double *start)
{
    const double now = bench_clock(), seconds = (now - *start) / NUMBERS;
    *start = now;
    return seconds;
}

int main(int argc, char **argv)
{
    const int rounds = bench_rounds(argc, argv);
    double *values = malloc(NUMBERS * sizeof *values), *got = calloc(NUMBERS, sizeof *got);
    char *texts = malloc((size_t)NUMBERS * WIDTH);
    bench_demand(values && got && texts, "out of memory");
    fill(values);
    print_ours(values, texts);
    read_theirs(texts, got);
    demand_same(got, values, "printed by ours, read by strtod");
    memset(got, 0, NUMBERS * sizeof *got);
    print_theirs(values, texts);
    read_ours(texts, got);
    demand_same(got, values, "printed by printf, read by ours");
    memset(got, 0, NUMBERS * sizeof *got);
    write_rows(values, PATH);
    read_rows(got);
    demand_same(got, values, "rows");
    for (int round = 0; round < rounds; round++) {
        double clock = bench_clock();
        print_theirs(values, texts);
        bench_time("write", "printf", took(&clock));
        print_ours(values, texts);
        bench_time("write", "ours", took(&clock));
        read_ours(texts, got);
        bench_time("read", "ours", took(&clock));
        read_theirs(texts, got);
        bench_time("read", "strtod", took(&clock));
        write_rows(values, "/dev/null");
        bench_time("write", "rows", took(&clock));
        read_rows(NULL);
        bench_time("read", "rows", took(&clock));
    }
    unlink(PATH);
    free(values);
    free(got);
    free(texts);
    return 0;
}
