/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "table_run.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static void note_row(struct table_run *run, const double *row)
{
    if (!run->rows++)
        run->first = row[0];
    run->last = row[0];
    for (size_t i = 0; i < run->chosen; i++) {
        run->extremes[i].minimum = fmin(run->extremes[i].minimum, row[i]);
        run->extremes[i].maximum = fmax(run->extremes[i].maximum, row[i]);
    }
}

/* The last step: rows with all columns, out with those chosen. */
static enum dw_status put_rows(struct table_run *run, const double *values, size_t rows, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (run->writer && !run->column && !run->scaled)
        return dw_writer_rows(run->writer, values, rows, error);
    for (size_t k = 0; status == DW_OK && k < rows; k++) {
        const double *row = values + k * run->all;
        for (size_t i = 0; run->column && i < run->chosen; i++)
            run->narrow[i] = row[run->column[i]];
        if (run->column)
            row = run->narrow;
        if (run->scaled && (status = run_scale_row(run, row, error)) != DW_OK)
            return status;
        if (run->scaled)
            row = run->narrow;
        if (run->writer)
            status = dw_writer_row(run->writer, row, error);
        else
            note_row(run, row);
    }
    return status;
}

static enum dw_status made_rows(struct table_run *run, const double *values, size_t rows, struct dw_error *error)
{
    return run_combine_rows(run, 0, (struct dw_rows){ values, rows }, put_rows, error);
}

static enum dw_status span_error(const struct dw_error *why, enum dw_status status, struct dw_error *error)
{
    return status == DW_OK ? status : dw_error_set(error, status, why->line, "--span: %s", why->text);
}

/* Rows that are points: those in the span, both ends included. */
static enum dw_status rows_among(struct table_run *run, const double *values, size_t rows, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (size_t k = 0; status == DW_OK && k < rows; k++) {
        const double *row = values + k * run->columns;
        if (row[0] < run->among.from || row[0] > run->among.to)
            continue;
        run->any_among = true;
        status = made_rows(run, row, 1, error);
    }
    return status;
}

static enum dw_status span_rows(struct table_run *run, const double *values, size_t rows, struct dw_error *error)
{
    struct dw_error why = { .status = DW_OK };
    if (run->among.kind == DW_SPAN_BETWEEN)
        return rows_among(run, values, rows, error);
    if (!run->excerpt)
        return made_rows(run, values, rows, error);
    struct dw_rows some;
    const enum dw_status status = dw_excerpt_rows(run->excerpt, values, rows, &some, &why);
    return status == DW_OK ? made_rows(run, some.values, some.count, error) : span_error(&why, status, error);
}

static enum dw_status shift_rows(struct table_run *run, const double *values, size_t rows, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (run->shift == 0)
        return span_rows(run, values, rows, error);
    for (size_t k = 0; status == DW_OK && k < rows; k++) {
        memcpy(run->row, values + k * run->columns, run->columns * sizeof *run->row);
        run->row[0] += run->shift;
        status = span_rows(run, run->row, 1, error);
    }
    return status;
}

static enum dw_status join_rows(struct table_run *run, const double *values, size_t rows, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (!run->join)
        return shift_rows(run, values, rows, error);
    for (size_t k = 0; status == DW_OK && k < rows; k++) {
        struct dw_rows some;
        status = dw_join_row(run->join, values + k * run->columns, &some, error);
        if (status == DW_OK)
            status = shift_rows(run, some.values, some.count, error);
    }
    return status;
}

static enum dw_status take_rows(struct table_run *run, const double *values, size_t rows, struct dw_error *error)
{
    struct dw_rows some = { values, rows };
    const enum dw_status status = run->curves ? dw_curves_rows(run->curves, values, rows, &some, error) : DW_OK;
    return status == DW_OK ? join_rows(run, some.values, some.count, error) : status;
}

/* Which slopes must be made of a table's lines. */
static enum dw_status begin_table(struct table_run *run, const struct dw_header *header, struct dw_error *error)
{
    if (!run->join || dw_header_columns(header) == run->columns)
        return DW_OK;
    run->curves = dw_curves_new(header, run->joined, error);
    return run->curves ? DW_OK : error->status;
}

static enum dw_status end_table(struct table_run *run, struct dw_error *error)
{
    struct dw_rows some;
    enum dw_status status = run->curves ? dw_curves_finish(run->curves, &some, error) : DW_OK;
    if (run->curves && status == DW_OK)
        status = join_rows(run, some.values, some.count, error);
    dw_curves_free(run->curves);
    run->curves = NULL;
    return status;
}

static enum dw_status take_input(struct table_run *run, struct dw_error *error)
{
    enum { BLOCK = 4096 };
    struct dw_rows some;
    enum dw_status status;
    while ((status = run_input_rows(run, BLOCK, &some, error)) == DW_OK)
        if ((status = take_rows(run, some.values, some.count, error)) != DW_OK)
            return status;
    return status == DW_END ? DW_OK : status;
}

/* What the steps still hold once all rows have come. */
static enum dw_status finish_rows(struct table_run *run, struct dw_error *error)
{
    struct dw_error why = { .status = DW_OK };
    struct dw_rows some = { NULL, 0 };
    enum dw_status status = run->join ? dw_join_finish(run->join, &some, error) : DW_OK;
    if (status == DW_OK)
        status = shift_rows(run, some.values, some.count, error);
    if (status == DW_OK && run->among.kind == DW_SPAN_BETWEEN && !run->any_among)
        return dw_error_set(error, DW_BAD_INPUT, 0, "--span: '%s': no row lies there", run->options->span);
    if (status == DW_OK && run->excerpt) {
        status = span_error(&why, dw_excerpt_finish(run->excerpt, &some, &why), error);
        if (status == DW_OK)
            status = made_rows(run, some.values, some.count, error);
    }
    return status == DW_OK ? run_finish_combined(run, put_rows, error) : status;
}

/* ---- setting up ---- */

/* What the first column holds, as which the ends of a span and a shift are read. */
static enum dw_quantity first_quantity(const struct table_run *run)
{
    const char *unit = dw_header_column(run->header, 0).unit;
    return !strcmp(unit, "s") ? DW_TIME : !strcmp(unit, "Hz") ? DW_FREQUENCY : DW_NUMBER;
}

static enum dw_status set_shift(struct table_run *run, struct dw_error *error)
{
    const struct dw_facts *facts = dw_header_facts(run->header);
    struct dw_error why;
    if (!run->options->shift)
        return DW_OK;
    if (dw_quantity_parse(run->options->shift, first_quantity(run), &run->shift, &why) != DW_OK)
        return dw_error_set(error, why.status, 0, "--shift: '%s': %s", run->options->shift, why.text);
    if (run->shift == 0 || !(facts->has & (DW_FACT_PERIOD | DW_FACT_CARRIER_PERIOD)))
        return DW_OK;
    return dw_header_set_number(run->header, "origin", facts->origin + run->shift, error);
}

static enum dw_status set_span(struct table_run *run, struct dw_error *error)
{
    struct dw_span span = { .kind = DW_SPAN_ALL };
    struct dw_error why = { .status = DW_OK };
    const struct dw_facts *facts = dw_header_facts(run->header);
    enum dw_status status = DW_OK;
    if (run->options->span)
        status = span_error(&why, dw_span_parse_along(run->options->span, first_quantity(run), &span, &why), error);
    if (status != DW_OK || span.kind == DW_SPAN_ALL)
        return status;
    dw_header_drop(run->header, "initial");
    if (span.kind == DW_SPAN_BETWEEN && first_quantity(run) != DW_TIME) {
        run->among = span; /* no wave runs from a harmonic to the next: nothing is put in between rows */
        return DW_OK;
    }
    if (span.kind == DW_SPAN_BETWEEN) {
        run->excerpt = dw_excerpt_new(&(struct dw_excerpt_plan){ .columns = run->columns, .slope = run->slope, .from = span.from, .to = span.to }, error);
        return run->excerpt ? DW_OK : error->status;
    }
    const double period = facts->period > 0 ? facts->period : facts->carrier_period;
    if (period == 0)
        return dw_error_set(error, DW_BAD_INPUT, 0, "--span: last needs a header with 'period' or 'carrier-period'; give times, such as 10ms:20ms");
    const struct dw_excerpt_plan last = { .columns = run->columns, .slope = run->slope, .origin = facts->origin, .period = period, .periods = span.periods };
    run->excerpt = dw_excerpt_new(&last, error);
    return run->excerpt ? DW_OK : error->status;
}

/* Everything that depends on the header, in the order in which rows meet it. */
static enum dw_status prepare(struct table_run *run, struct dw_error *error)
{
    const struct table_options *o = run->options;
    enum dw_status status = run_read_after(run, run_input_header(run), error);
    if (status != DW_OK)
        return status;
    run->columns = dw_header_columns(run->header);
    if (o->after.count && (!(run->joined = dw_header_copy(run->header, error)) || !(run->join = dw_join_new(run->columns, error))))
        return error->status;
    if (!(run->slope = calloc(run->columns, sizeof *run->slope)))
        return dw_no_memory(error);
    dw_header_slopes(run->header, run->slope);
    status = set_shift(run, error);
    if (status == DW_OK)
        status = set_span(run, error);
    if (status == DW_OK)
        status = run_combine(run, error);
    run->all = run->chosen = dw_header_columns(run->header);
    if (status == DW_OK && o->common.channel)
        status = run_choose(run, error);
    if (status == DW_OK && (o->scale.count || o->rename.count))
        status = run_scale_and_rename(run, error);
    /* what only changes its encoding is still the same table */
    const bool cuts = run->excerpt || run->among.kind == DW_SPAN_BETWEEN;
    const bool straightens = lines_wanted(&o->common) > 0 && dw_header_slopes(run->header, NULL);
    const bool changes = run->join || run->beside || run->combinations || cuts || straightens || run->column || o->rename.count || o->scale.count || run->shift != 0;
    if (status == DW_OK && (changes || dw_reader_encoding(run->reader) == DW_CSV))
        status = dw_header_add(run->header, "made-by", o->common.command->made_by, error);
    if (status != DW_OK)
        return status;
    run->row = calloc(run->columns, sizeof *run->row);
    run->narrow = calloc(run->chosen, sizeof *run->narrow);
    run->extremes = calloc(run->chosen, sizeof *run->extremes);
    if (!run->row || !run->narrow || !run->extremes)
        return dw_no_memory(error);
    for (size_t i = 0; i < run->chosen; i++)
        run->extremes[i] = (struct extremes){ INFINITY, -INFINITY };
    if (o->report)
        return DW_OK;
    run->writer = dw_writer_open_lines(STDOUT_FILENO, run->header, lines_wanted(&o->common),
                                       output_encoding(&o->common, run->reader), error);
    return run->writer ? DW_OK : error->status;
}

/* The input's first time must be known before the header can be written. */
static enum dw_status read_first_row(struct table_run *run, struct dw_error *error)
{
    const double *row;
    const size_t columns = dw_header_columns(dw_reader_header(run->reader));
    const enum dw_status status = dw_reader_row(run->reader, &row, error);
    if (status != DW_OK)
        return status == DW_END ? DW_OK : status;
    if (!(run->first_row = malloc(columns * sizeof *row)))
        return dw_no_memory(error);
    memcpy(run->first_row, row, columns * sizeof *row);
    return DW_OK;
}

enum dw_status run_set_up(struct table_run *run, struct dw_error *error)
{
    if (!(run->reader = run_open(run->options, run->options->common.file, error)))
        return error->status;
    enum dw_status status = run_check_standard_input(run, error);
    if (status == DW_OK)
        status = run_open_beside(run, error);
    if (status == DW_OK && run->options->after.count)
        status = read_first_row(run, error);
    return status == DW_OK ? prepare(run, error) : status;
}

static void note_input(const struct table_run *run, const struct dw_reader *reader)
{
    run_note_skipped(run->options, reader);
    input_note_uneven(run->options->common.command, reader);
}

static void note_inputs(const struct table_run *run)
{
    note_input(run, run->reader);
    for (size_t i = 1; i <= run->options->beside.count; i++)
        note_input(run, run->others[i]);
}

enum dw_status run_rows(struct table_run *run, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (size_t i = 0; status == DW_OK && i < run->options->after.count; i++) {
        status = begin_table(run, run->front[i].header, error);
        if (status == DW_OK)
            status = run_take_front(run, i, take_rows, error);
        if (status == DW_OK)
            status = end_table(run, error);
        dw_join_next(run->join);
    }
    if (status == DW_OK)
        status = begin_table(run, run_input_header(run), error);
    if (status == DW_OK && run->first_row)
        status = take_rows(run, run->first_row, 1, error);
    if (status == DW_OK)
        status = take_input(run, error);
    if (status == DW_OK)
        note_inputs(run);
    if (status == DW_OK)
        status = end_table(run, error);
    if (status == DW_OK)
        status = finish_rows(run, error);
    return status == DW_OK && run->writer ? dw_writer_finish(run->writer, error) : status;
}

static void free_front(struct table_run *run)
{
    for (size_t i = 0; run->front && i < run->options->after.count; i++) {
        if (run->front[i].kept)
            fclose(run->front[i].kept);
        dw_header_free(run->front[i].header);
    }
    free(run->front);
}

void run_free(struct table_run *run)
{
    dw_writer_free(run->writer);
    dw_join_free(run->join);
    run_free_combined(run);
    dw_excerpt_free(run->excerpt);
    dw_header_free(run->header);
    dw_reader_close(run->reader);
    free(run->first_row);
    free(run->column);
    free(run->row);
    free(run->narrow);
    free(run->scaled);
    free_front(run);
    free(run->slope);
    dw_header_free(run->joined);
    dw_curves_free(run->curves);
    free(run->extremes);
}
