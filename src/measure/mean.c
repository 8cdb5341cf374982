/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/moments_inner.h"
#include <dutywright/measure.h>
#include <math.h>
#include <stdlib.h>

/* Times in order and some time between first and last, so that a mean exists. */
static enum dw_status check_times(const double *time, size_t rows, struct dw_error *error)
{
    for (size_t i = 1; i < rows; i++)
        if (!(time[i] >= time[i - 1]))
            return dw_error_set(error, DW_BAD_INPUT, i + 1, "row %zu: time goes back from %.17g to %.17g", i + 1,
                                time[i - 1], time[i]);
    if (rows < 2 || !(time[rows - 1] > time[0]))
        return dw_error_set(error, DW_BAD_INPUT, rows, "no time passes between the first row and the last");
    return DW_OK;
}

/* First and last row at one time are the jump; those between count for the extremes of the span that goes on from
 * there. The jump at either end of the record is outside it. */
static void measure(const double *time, const double *value, size_t rows, size_t channels, const size_t *column,
                    struct accumulator *accumulator)
{
    size_t first = 0;
    for (;;) {
        size_t last = first;
        while (last + 1 < rows && time[last + 1] == time[first])
            last++;
        if (last + 1 == rows)
            return;
        dwi_moments_line(accumulator, channels, column, time[last], value + last * channels, time[last + 1],
                         value + (last + 1) * channels);
        for (size_t between = first + 1; between < last; between++)
            dwi_moments_extremes(accumulator, channels, value + between * channels, value + between * channels);
        first = last + 1;
    }
}

enum dw_status dw_statistics(const double *time, const double *value, size_t rows, size_t channels,
                             struct dw_statistics *out, struct dw_error *error)
{
    enum dw_status status = check_times(time, rows, error);
    if (status != DW_OK)
        return status;
    struct accumulator accumulator = { .empty = true, .of = calloc(channels + !channels, sizeof *accumulator.of) };
    size_t *column = calloc(channels + !channels, sizeof *column);
    if (accumulator.of && column) {
        for (size_t i = 0; i < channels; i++)
            column[i] = i;
        measure(time, value, rows, channels, column, &accumulator);
        for (size_t i = 0; i < channels; i++) {
            const struct channel_moments *m = &accumulator.of[i];
            const double mean = dwi_moments_mean(m), ac = dwi_moments_ac_rms(m, accumulator.end - accumulator.start);
            out[i] = (struct dw_statistics){ mean, hypot(mean, ac), ac, m->minimum, m->maximum };
        }
    } else {
        status = dw_no_memory(error);
    }
    free(column);
    free(accumulator.of);
    return status;
}

enum dw_status dw_mean(const double *time, const double *value, size_t rows, size_t channels, double *mean,
                       struct dw_error *error)
{
    struct dw_statistics *all = calloc(channels + !channels, sizeof *all);
    if (!all)
        return dw_no_memory(error);
    const enum dw_status status = dw_statistics(time, value, rows, channels, all, error);
    if (status == DW_OK)
        for (size_t i = 0; i < channels; i++)
            mean[i] = all[i].mean;
    free(all);
    return status;
}
