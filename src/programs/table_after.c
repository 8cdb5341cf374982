/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The tables in front of the input. Each is read twice: nothing is written before all are known to be good. */
#include "table_run.h"
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

struct dw_reader *run_open(const struct table_options *o, const char *file, struct dw_error *error)
{
    struct dw_reader_options how = command_reading(o->common.command, o->common.partial, !o->report);
    how.curves = true;
    how.skip_bad = o->skip_bad;
    how.columns = o->columns;
    return dw_reader_open(file, &how, error);
}

void run_note_skipped(const struct table_options *options, const struct dw_reader *reader)
{
    char first[DW_ERROR_TEXT];
    const unsigned long long rows = dw_reader_skipped(reader, first, sizeof first);
    if (rows)
        command_note(options->common.command, "%llu row%s passed over; the first: %s", rows, rows == 1 ? "" : "s", first);
}

enum { BLOCK = 4096 };

static bool reads_once(const char *file)
{
    struct stat state;
    return !strcmp(file, "-") || (stat(file, &state) == 0 && !S_ISREG(state.st_mode));
}

static enum dw_status cannot_keep(const char *file, struct dw_error *error)
{
    return dw_error_set(error, DW_SYSTEM, 0, "--after: '%s' cannot be read twice, nor kept aside: %s", file, strerror(errno));
}

/* Reads a whole table for its first and last time; NaN where it has no rows.
 *   kept   where its rows are written as they are; NULL: nowhere */
static enum dw_status find_times(struct dw_reader *reader, const char *file, FILE *kept, double *first, double *last,
                                 struct dw_error *error)
{
    const size_t columns = dw_header_columns(dw_reader_header(reader));
    const double *values;
    size_t rows;
    enum dw_status status;
    *first = *last = NAN;
    while ((status = dw_reader_rows(reader, BLOCK, &values, &rows, error)) == DW_OK) {
        *first = isnan(*first) ? values[0] : *first;
        *last = values[(rows - 1) * columns];
        if (kept && fwrite(values, sizeof *values, rows * columns, kept) != rows * columns)
            return cannot_keep(file, error);
    }
    return status == DW_END ? DW_OK : status;
}

/* The headers of all tables as one. end: of the tables so far, NaN before there are rows. */
static enum dw_status join_header(struct table_run *run, const struct dw_header *next, const char *file, double first,
                                  double end, struct dw_error *error)
{
    struct dw_error why;
    const struct dw_column time = dw_header_column(next, 0);
    if (run->options->after.count && strcmp(time.unit, "s") != 0)
        return dw_error_set(error, DW_BAD_INPUT, 0, "--after: '%s' begins with %s[%s]: only tables of time follow each other",
                            file, time.name, time.unit);
    if (!run->header)
        return (run->header = dw_header_copy(next, error)) ? DW_OK : error->status;
    const enum dw_status status = dw_header_join(run->header, next, isnan(end) ? 0 : end - first, &why);
    return status == DW_OK ? status : dw_error_set(error, status, 0, "--after, then '%s': %s", file, why.text);
}

enum dw_status run_check_standard_input(const struct table_run *run, struct dw_error *error)
{
    const struct table_options *o = run->options;
    bool taken = !o->common.file || !strcmp(o->common.file, "-");
    for (size_t i = 0; i < o->after.count + o->beside.count; i++) {
        const bool after = i < o->after.count;
        if (strcmp(after ? o->after.text[i] : o->beside.text[i - o->after.count], "-") != 0)
            continue;
        if (taken)
            return dw_error_set(error, DW_BAD_USE, 0, "--%s: '-': standard input is one table, and it is taken already; name a file",
                                after ? "after" : "beside");
        taken = true;
    }
    return DW_OK;
}

enum dw_status run_read_after(struct table_run *run, const struct dw_header *input, struct dw_error *error)
{
    const struct table_options *o = run->options;
    double end = NAN;
    enum dw_status status = DW_OK;
    if (o->after.count && !(run->front = calloc(o->after.count, sizeof *run->front)))
        status = dw_no_memory(error);
    for (size_t i = 0; status == DW_OK && i < o->after.count; i++) {
        double first = NAN, last = NAN;
        struct dw_reader *reader = NULL;
        struct table_in_front *front = &run->front[i];
        if (reads_once(o->after.text[i]) && !(front->kept = tmpfile()))
            status = cannot_keep(o->after.text[i], error);
        else if (!(reader = run_open(o, o->after.text[i], error)))
            status = error->status;
        if (status == DW_OK)
            status = find_times(reader, o->after.text[i], front->kept, &first, &last, error);
        if (status == DW_OK)
            run_note_skipped(o, reader);
        if (status == DW_OK && front->kept && (fflush(front->kept) || fseek(front->kept, 0, SEEK_SET)))
            status = cannot_keep(o->after.text[i], error);
        if (status == DW_OK && !(front->header = dw_header_copy(dw_reader_header(reader), error)))
            status = error->status;
        if (status == DW_OK)
            status = join_header(run, dw_reader_header(reader), o->after.text[i], first, end, error);
        dw_reader_close(reader);
        end = isnan(last) ? end : isnan(end) ? last : end + (last - first);
    }
    return status != DW_OK ? status
                           : join_header(run, input, dw_reader_name(run->reader),
                                         run->first_row ? run->first_row[0] : NAN, end, error);
}

/* Rows that were kept aside. */
static enum dw_status take_kept(struct table_run *run, const char *file, const struct table_in_front *front, run_step *take,
                                struct dw_error *error)
{
    const size_t columns = dw_header_columns(front->header), most = BLOCK / columns ? BLOCK / columns : 1;
    double *values = malloc(most * columns * sizeof *values);
    enum dw_status status = values ? DW_OK : dw_no_memory(error);
    size_t rows = 0;
    while (status == DW_OK && (rows = fread(values, columns * sizeof *values, most, front->kept)) > 0)
        status = take(run, values, rows, error);
    if (status == DW_OK && ferror(front->kept))
        status = cannot_keep(file, error);
    free(values);
    return status;
}

static enum dw_status take_again(struct table_run *run, const char *file, run_step *take, struct dw_error *error)
{
    struct dw_reader *reader = run_open(run->options, file, error);
    const double *values;
    size_t rows;
    enum dw_status status = reader ? DW_OK : error->status;
    while (status == DW_OK && (status = dw_reader_rows(reader, BLOCK, &values, &rows, error)) == DW_OK)
        status = take(run, values, rows, error);
    dw_reader_close(reader);
    return status == DW_END ? DW_OK : status;
}

enum dw_status run_take_front(struct table_run *run, size_t i, run_step *take, struct dw_error *error)
{
    const char *file = run->options->after.text[i];
    const struct table_in_front *front = &run->front[i];
    return front->kept ? take_kept(run, file, front, take, error) : take_again(run, file, take, error);
}
