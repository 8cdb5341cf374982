/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Fourier coefficients of a period that lies in memory. */
#include "measure/fourier_inner.h"
#include <dutywright/spectrum.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Rows with their times in front, as the sums take them: as much memory as both arrays take. */
static double *join(const double *time, const double *value, size_t rows, size_t channels)
{
    const size_t width = 1 + channels;
    double *row = malloc(rows * width * sizeof *row);
    for (size_t i = 0; row && i < rows; i++) {
        row[i * width] = time[i];
        memcpy(row + i * width + 1, value + i * channels, channels * sizeof *row);
    }
    return row;
}

static struct fourier_plan choose(const struct fourier_rows *rows, double end, size_t lines)
{
    const double slack = fourier_slack(fmax(fabs(rows->start), fabs(end)), rows->period);
    if (fourier_uniform(rows, slack))
        return fourier_choose_uniform(rows->count, lines, rows->channels);
    size_t cells = 1;
    const size_t grid = fourier_grid(rows, slack, 64 * rows->count, &cells) ? cells : 0;
    struct fourier_plan plan = fourier_choose(rows->count, lines, rows->channels, grid);
    if (plan.way == FOURIER_GRID && !fourier_jumps(rows, plan.cells))
        plan.way = FOURIER_VALUES;
    return plan;
}

static enum dw_status transform(const struct fourier_rows *rows, double end, size_t lines, const double *mean, double *out,
                                struct dw_error *error)
{
    const struct fourier_plan plan = choose(rows, end, lines);
    struct fourier *sum = fourier_new(&plan, mean, error);
    if (!sum)
        return DW_NO_MEMORY;
    fourier_add(sum, rows);
    const enum dw_status status = fourier_coefficients(sum, 1, out, error);
    for (size_t i = 0; i < rows->channels && status == DW_OK; i++) {
        out[2 * i * (lines + 1)] = mean[i];
        out[2 * i * (lines + 1) + 1] = 0;
    }
    fourier_free(sum);
    return status;
}

enum dw_status dw_fourier(const double *time, const double *value, size_t rows, size_t channels, size_t lines, double *out,
                          struct dw_error *error)
{
    if (lines > FOURIER_LINES_MOST)
        return dw_error_set(error, DW_BAD_USE, 0, "%zu lines are asked; at most %d can be had", lines, FOURIER_LINES_MOST);
    double *mean = calloc(channels + !channels, sizeof *mean), *row = NULL;
    enum dw_status status = mean ? dw_mean(time, value, rows, channels, mean, error)
                                 : dw_no_memory(error);
    if (status == DW_OK && !isfinite(time[rows - 1] - time[0]))
        status = dw_error_set(error, DW_BAD_INPUT, 0, "from %g s to %g s is longer than a number can hold", time[0],
                              time[rows - 1]);
    if (status == DW_OK && !(row = join(time, value, rows, channels)))
        status = dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for %zu rows", rows);
    if (status == DW_OK) {
        const struct fourier_rows all = { row, rows, channels, time[0], time[rows - 1] - time[0] };
        status = transform(&all, time[rows - 1], lines, mean, out, error);
    }
    free(row);
    free(mean);
    return status;
}
