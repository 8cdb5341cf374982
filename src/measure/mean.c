/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/statistics_inner.h"
#include <dutywright/measure.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

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

/* A wave's rows as those of a table: time, then values, then slopes. */
struct row_pair {
    double *from, *to;      /* [1 + 2 x channels] each, slopes being 0 where there are none */
    size_t *column, *slope; /* [channels]; [1 + channels] */
};

static bool make_room(struct row_pair *pair, size_t channels)
{
    pair->from = calloc(channels + 1, 4 * sizeof *pair->from);
    pair->column = calloc(channels + 1, 2 * sizeof *pair->column);
    if (!pair->from || !pair->column)
        return false;
    pair->to = pair->from + 2 * channels + 2;
    pair->slope = pair->column + channels;
    for (size_t i = 0; i < channels; i++) {
        pair->column[i] = 1 + i;
        pair->slope[1 + i] = 1 + channels + i;
    }
    return true;
}

static void take_row(const struct dw_wave *wave, size_t i, double *row)
{
    const size_t size = wave->channels * sizeof *row;
    row[0] = wave->time[i];
    memcpy(row + 1, wave->value + i * wave->channels, size);
    if (wave->slope)
        memcpy(row + 1 + wave->channels, wave->slope + i * wave->channels, size);
}

/* First and last row at one time are the jump; those between count for the extremes of the span that goes on from
 * there. The jump at either end of the record is outside it. */
static void measure(const struct dw_wave *wave, const struct row_pair *pair, struct accumulator *accumulator)
{
    const double *time = wave->time;
    for (size_t first = 0, last;; first = last + 1) {
        for (last = first; last + 1 < wave->rows && time[last + 1] == time[first];)
            last++;
        if (last + 1 == wave->rows)
            return;
        take_row(wave, last, pair->from);
        take_row(wave, last + 1, pair->to);
        if (wave->slope)
            dwi_moments_curve(accumulator, wave->channels, pair->column, pair->slope, pair->from, pair->to);
        else
            dwi_moments_line(accumulator, wave->channels, pair->column, pair->from, pair->to);
        for (size_t between = first + 1; between < last; between++) {
            const double *value = wave->value + between * wave->channels;
            dwi_moments_extremes(accumulator, wave->channels, value, value);
        }
    }
}

enum dw_status dw_statistics(const struct dw_wave *wave, struct dw_statistics *out, struct dw_error *error)
{
    enum dw_status status = check_times(wave->time, wave->rows, error);
    if (status != DW_OK)
        return status;
    struct row_pair pair;
    struct accumulator accumulator = { .empty = true, .of = calloc(wave->channels + !wave->channels, sizeof *accumulator.of) };
    if (make_room(&pair, wave->channels) && accumulator.of) {
        measure(wave, &pair, &accumulator);
        for (size_t i = 0; i < wave->channels; i++) {
            const struct channel_moments *m = &accumulator.of[i];
            const double mean = dwi_moments_mean(m), ac = dwi_moments_ac_rms(m, accumulator.end - accumulator.start);
            out[i] = (struct dw_statistics){ mean, hypot(mean, ac), ac, m->minimum, m->maximum };
        }
    } else {
        status = dw_no_memory(error);
    }
    free(pair.from);
    free(pair.column);
    free(accumulator.of);
    return status;
}

enum dw_status dw_mean(const struct dw_wave *wave, double *mean, struct dw_error *error)
{
    struct dw_statistics *all = calloc(wave->channels + !wave->channels, sizeof *all);
    if (!all)
        return dw_no_memory(error);
    const enum dw_status status = dw_statistics(wave, all, error);
    if (status == DW_OK)
        for (size_t i = 0; i < wave->channels; i++)
            mean[i] = all[i].mean;
    free(all);
    return status;
}
