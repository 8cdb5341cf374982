/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows on their way to standard output: all of them, or values of the curves between them at equal spacing. */
#include "common.h"
#include <dutywright/cubic.h>
#include <dutywright/pieces.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum dw_status even_rows_open(struct even_rows *rows, const struct common_options *options, struct dw_header *header,
                              const struct dw_reader *reader, struct dw_error *error)
{
    struct dw_header *plain = NULL;
    enum dw_status status = DW_OK;
    rows->header = header;
    rows->rate = options->uniform;
    rows->columns = dw_header_columns(header);
    rows->before = calloc(2 * rows->columns, sizeof *rows->before);
    rows->slope = calloc(rows->columns, sizeof *rows->slope);
    if (!rows->before || !rows->slope)
        return dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for a row");
    rows->between = rows->before + rows->columns;
    dw_header_slopes(header, rows->slope);
    if (rows->rate > 0) {
        plain = dw_header_without_slopes(header, error);
        status = plain ? dw_header_set_number(plain, "sampled", rows->rate, error) : error->status;
    }
    if (!status && !(rows->writer = dw_writer_open_lines(STDOUT_FILENO, plain ? plain : header, lines_wanted(options),
                                                         output_encoding(options, reader), error)))
        status = error->status;
    dw_header_free(plain);
    return status;
}

/* Time of the next row at that rate.
 *   slack    out, s: within so much of a row it is on it */
static double due_time(const struct even_rows *rows, double *slack)
{
    const double time = rows->start + rows->due / rows->rate;
    *slack = dw_time_slack(fmax(fabs(time), fabs(rows->start)));
    return time;
}

/* One at that rate, where `row` is its values and slopes: the values alone are written. */
static enum dw_status write_values(struct even_rows *rows, double *row, struct dw_error *error)
{
    double slack;
    size_t count = 1;
    row[0] = due_time(rows, &slack);
    for (size_t i = 1; i < rows->columns; i++)
        if (!dw_header_is_slope(rows->header, i))
            row[count++] = row[i];
    rows->due++;
    return dw_writer_row(rows->writer, row, error);
}

enum dw_status even_rows_put(void *context, const double *row, struct dw_error *error)
{
    struct even_rows *rows = context;
    if (rows->rate == 0)
        return dw_writer_row(rows->writer, row, error);
    if (!rows->begun)
        rows->start = row[0];
    enum dw_status status = DW_OK;
    double time, slack;
    while (!status && rows->begun && (time = due_time(rows, &slack)) < row[0] - slack) {
        dw_row_between(rows->columns, rows->slope, rows->before, row, time, rows->between);
        status = write_values(rows, rows->between, error);
    }
    rows->begun = true;
    memcpy(rows->before, row, rows->columns * sizeof *row);
    return status;
}

enum dw_status even_rows_finish(struct even_rows *rows, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    double slack;
    if (rows->begun && due_time(rows, &slack) <= rows->before[0] + slack)  /* the last row, which no other passes */
        status = write_values(rows, rows->before, error);
    return status ? status : dw_writer_finish(rows->writer, error);
}

void even_rows_close(struct even_rows *rows)
{
    dw_writer_free(rows->writer);
    dw_header_free(rows->header);
    free(rows->slope);
    free(rows->before);
}
