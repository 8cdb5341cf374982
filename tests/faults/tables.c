/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Jobs with tables: curves and lines, tables beside each other, channels made of others, laps. */
#include "jobs.h"
#include <dutywright/beside.h>
#include <dutywright/repeat.h>
#include <fcntl.h>
#include <unistd.h>

static const struct dw_reader_options as_they_stand = { .curves = true };

/* Curves read as lines, and curves written as lines. */
static enum dw_status lines(struct dw_error *error)
{
    enum dw_status status = DW_OK;
    const double *values;
    size_t rows;
    const int out = open("/dev/null", O_WRONLY | O_CLOEXEC);
    struct dw_reader *flat = dw_reader_open(curved, NULL, error), *reader = NULL;
    struct dw_writer *writer = NULL;
    if (MADE(flat) && MADE(reader = dw_reader_open(curved, &as_they_stand, error)) &&
        MADE(writer = dw_writer_open_lines(out, dw_reader_header(reader), 1e-3, DW_TEXT, error))) {
        while (RIGHT(dw_reader_rows(flat, 100, &values, &rows, error)))
            continue;
        status = status == DW_END ? write_all(reader, writer, error) : status;
    }
    dw_writer_free(writer);
    dw_reader_close(reader);
    dw_reader_close(flat);
    close(out);
    return status;
}

static enum dw_status curves(struct dw_error *error)
{
    enum dw_status status = DW_OK;
    const double *values;
    size_t rows;
    struct dw_rows some;
    struct dw_reader *reader = dw_reader_open(ours, NULL, error), *other = NULL;
    struct dw_curves *made = NULL;
    if (MADE(reader) && MADE(other = dw_reader_open(curved, &as_they_stand, error)) &&
        MADE(made = dw_curves_new(dw_reader_header(reader), dw_reader_header(other), error))) {
        while (RIGHT(dw_reader_rows(reader, 100, &values, &rows, error)))
            status = dw_curves_rows(made, values, rows, &some, error);
        if (status == DW_END)
            status = dw_curves_finish(made, &some, error);
    }
    dw_curves_free(made);
    dw_reader_close(other);
    dw_reader_close(reader);
    return status;
}

static enum dw_status slopes(struct dw_error *error)
{
    enum dw_status status = DW_OK;
    struct dw_header *header = dw_header_new("time", "s", error), *flat = NULL;
    if (MADE(header) && RIGHT(dw_header_append(header, "out", "V", error)) && RIGHT(dw_header_append_slope(header, error)) &&
        RIGHT(dw_header_set_initial(header, 1, 1.5, error)) && RIGHT(dw_header_rename(header, 1, "smooth", "V", error)) &&
        MADE(flat = dw_header_without_slopes(header, error)))
        status = dw_header_join(flat, header, 1, error);
    dw_header_free(flat);
    dw_header_free(header);
    return status;
}

static enum dw_status besides(struct dw_error *error)
{
    enum dw_status status = DW_OK;
    struct dw_rows some;
    struct dw_reader *reader[2] = { dw_reader_open(ours, &as_they_stand, error), NULL };
    struct dw_beside *both = NULL;
    if (MADE(reader[0]) && MADE(reader[1] = dw_reader_open(curved, &as_they_stand, error)) && MADE(both = dw_beside_new(reader, 2, error)))
        while (RIGHT(dw_beside_rows(both, &some, error)))
            continue;
    dw_beside_free(both);
    dw_reader_close(reader[1]);
    dw_reader_close(reader[0]);
    return status == DW_END ? DW_OK : status;
}

static enum dw_status combined(struct dw_error *error)
{
    static const size_t column[] = { 1, 2 };
    enum dw_status status = DW_OK;
    const double *values;
    size_t rows;
    struct dw_rows some;
    struct dw_reader *reader = dw_reader_open(curved, &as_they_stand, error);
    struct dw_combine *made = NULL;
    if (MADE(reader) && MADE(made = dw_combine_new(dw_reader_header(reader), &(struct dw_combine_plan){ DW_PRODUCT, "square", NULL, column, 2 }, error))) {
        while (RIGHT(dw_reader_rows(reader, 100, &values, &rows, error)))
            status = dw_combine_rows(made, values, rows, &some, error);
        if (status == DW_END)
            status = dw_combine_finish(made, &some, error);
    }
    dw_combine_free(made);
    dw_reader_close(reader);
    return status;
}

static enum dw_status laps(struct dw_error *error)
{
    enum dw_status status = DW_OK;
    const double *row;
    struct dw_reader *reader = dw_reader_open(curved, &as_they_stand, error);
    struct dw_repeat *repeat = NULL;
    if (MADE(reader) && MADE(repeat = dw_repeat_new(reader, "a steady start", error)))
        while (RIGHT(dw_repeat_row(repeat, &row, error)))
            continue;
    dw_repeat_free(repeat);
    dw_reader_close(reader);
    return status == DW_END ? DW_OK : status;
}

const struct job table_jobs[TABLE_JOBS] = {
    { "lines", lines }, { "curves", curves }, { "slopes", slopes }, { "besides", besides }, { "combined", combined }, { "laps", laps }
};
