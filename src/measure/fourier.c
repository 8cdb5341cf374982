/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Fourier coefficients by the way that takes the fewest operations. */
#include "measure/coefficients_inner.h"
#include <dutywright/spectrum.h>
#include <math.h>
#include <stdlib.h>

/* Counts of products, half as many where they stand in loops over neighbours, which even a small machine multiplies in pairs.
 * Nothing here is a time: what adding up, memory and a planner cost beside makes a factor of two or so, on one machine another
 * than on the next. That is no matter: far from where two ways cost the same the counts are decades apart, and near it either
 * will do. */
struct fourier_way dwi_fourier_choose(size_t rows, size_t lines, size_t channels, size_t grid)
{
    const double n = (double)rows, h = (double)lines, m = (double)grid, c = (double)channels;
    /* a piece: angles and their multiples up to 64; in each line two are turned and weighed, and make four products a channel */
    const double direct = n * (1000 + fmax(h, 64) * (8 + 2 * c));
    /* Gauss's rules, a planner; a piece: some five nodes in 22 moments; a line: 22 weights by division, products, transforms */
    const double in_cells = 3e5 + n * (100 + 55 * (3 + c)) + 22 * h * (24 + c * (4 + log2(h + 2)));
    const double on_grid = 2.5 * c * m * log2(m + 2) + h * (30 + 8 * c); /* two transforms */
    /* a grid takes rounding off the times, so that lines that should vanish do: worth it where nobody notices what it costs */
    const bool little = grid <= 1 << 15;
    if (grid && (little || (on_grid <= direct && on_grid <= in_cells)))
        return (struct fourier_way){ .grid = grid };
    return (struct fourier_way){ .direct = direct <= in_cells };
}

enum dw_status dwi_fourier_by(const struct fourier_way *way, const struct fourier_rows *rows, size_t lines, double *out,
                              struct dw_error *error)
{
    if (way->direct ? dwi_fourier_direct(rows, lines, out) : dwi_fourier_cells(rows, lines, way->grid, out))
        return DW_OK;
    return dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for %zu lines of %zu channels", lines, rows->channels);
}

enum dw_status dwi_fourier(const struct fourier_rows *rows, double slack, size_t lines, double *out, struct dw_error *error)
{
    const size_t most = (size_t)fmin(64 * (double)rows->count, FOURIER_CELLS_MOST);
    const size_t grid = rows->slope ? 0 : dwi_fourier_grid(rows, slack, most);
    const struct fourier_way way = dwi_fourier_choose(rows->count, lines, rows->channels << (rows->slope != NULL), grid);
    return dwi_fourier_by(&way, rows, lines, out, error);
}

/* ---- a period that lies in memory ---- */

enum dw_status dw_fourier(const struct dw_wave *wave, size_t lines, double *out, struct dw_error *error)
{
    const size_t channels = wave->channels;
    if (lines > FOURIER_LINES_MOST)
        return dw_error_set(error, DW_BAD_USE, 0, "%zu lines are asked; at most %d can be had", lines, FOURIER_LINES_MOST);
    double *mean = calloc(channels + !channels, sizeof *mean);
    if (!mean)
        return dw_no_memory(error);
    enum dw_status status = dw_mean(wave, mean, error);
    const double start = status == DW_OK ? wave->time[0] : 0, end = status == DW_OK ? wave->time[wave->rows - 1] : 0;
    if (status == DW_OK && !isfinite(end - start))
        status = dw_error_set(error, DW_BAD_INPUT, 0, "from %g s to %g s is longer than a number can hold", start, end);
    if (status == DW_OK) {
        const struct fourier_rows all = { .time = wave->time, .value = wave->value, .slope = wave->slope, .time_step = 1,
                                          .value_step = channels, .count = wave->rows, .channels = channels, .start = start,
                                          .period = end - start, .reference = mean };
        status = dwi_fourier(&all, dwi_fourier_slack(fmax(fabs(start), fabs(end)), end - start), lines, out, error);
    }
    for (size_t i = 0; i < channels && status == DW_OK; i++) {
        out[2 * i * (lines + 1)] = mean[i];
        out[2 * i * (lines + 1) + 1] = 0;
    }
    free(mean);
    return status;
}
