/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/statistics_inner.h"
#include <float.h>
#include <math.h>
#include <string.h>

enum { FIRST_PART = 1 << 16 };
static const double least_harmonics = 0.01; /* share of the fundamental from which on they pull the frequency along */

size_t dw_sine_fitting(const struct dw_samples *samples, double frequency)
{
    const double count = (double)samples->count, top = samples->rate / 2 - samples->rate / (2 * count);
    double most = fmin(floor(top / frequency * (1 + 4 * DBL_EPSILON)), floor((count - 1) / 2));
    if (most * frequency >= samples->rate / 2 * (1 - 1e-9))
        most--;
    return !(most >= 1) ? 0 : most > DW_SINE_HARMONICS_MOST ? DW_SINE_HARMONICS_MOST : (size_t)most;
}

/* From a first part of the record to all of it, each four times as long: so every step begins close enough. */
static enum dw_status find_angle(const struct dw_samples *samples, double *angle, struct dw_error *error)
{
    struct dw_samples part = *samples;
    part.count = samples->count < FIRST_PART ? samples->count : FIRST_PART;
    const enum dw_status status = dwi_sine_start(&part, angle, error);
    struct sine_sum sum;
    if (status != DW_OK || !(*angle > 0))
        return status;
    if (!dwi_sine_sum_new(&sum, 1))
        return dw_no_memory(error);
    bool found = dwi_sine_sum_search(&sum, &part, angle);
    while (found && part.count < samples->count) {  /* unrun: sine-start */
        part.count = samples->count / 4 < part.count ? samples->count : 4 * part.count;
        found = dwi_sine_sum_search(&sum, &part, angle);
    }
    dwi_sine_sum_free(&sum);
    if (!found || !(*angle * (double)samples->count >= 2 * M_PI * (2 - 1e-6)))  /* unrun: sine-start */
        *angle = 0;
    return DW_OK;
}

/* From factors about the middle to lines from the first sample on. */
static void lines_of(const struct sine_sum *sum, size_t count, double angle, size_t first, double *line)
{
    for (size_t n = first; n <= sum->harmonics; n++) {
        const double turn = remainder(-(double)n * angle * ((double)(count - 1) / 2), 2 * M_PI);
        const double re = sum->value[n] / (n ? 2 : 1), im = n ? -sum->value[sum->harmonics + n] / 2 : 0;
        line[2 * n] = re * cos(turn) - im * sin(turn);
        line[2 * n + 1] = re * sin(turn) + im * cos(turn);
    }
}

static double harmonics_over_first(const struct sine_sum *sum)
{
    double others = 0;
    for (size_t n = 2; n <= sum->harmonics; n++)
        others = hypot(others, hypot(sum->value[n], sum->value[sum->harmonics + n]));
    return others / hypot(sum->value[1], sum->value[sum->harmonics + 1]);
}

/* All harmonics at the angle; where it is free and they are large, the angle with them. The fundamental of a nearly pure tone stays
 * that of the four-parameter fit. */
static bool fit(const struct dw_samples *samples, bool known, double *angle, struct sine_sum *one, struct sine_sum *all,
                struct dw_sine *sine)
{
    if (!dwi_sine_sum_solve(all, samples, *angle))
        return false;
    if (known || all->harmonics == 1)
        return true;
    sine->joined = harmonics_over_first(all) >= least_harmonics;
    if (sine->joined)
        return dwi_sine_sum_search(all, samples, angle);
    if (!dwi_sine_sum_solve(one, samples, *angle))  /* unrun: implied */
        return false;
    all->value[0] = one->value[0];
    all->value[1] = one->value[1];
    all->value[all->harmonics + 1] = one->value[2];
    return true;
}

static enum dw_status fit_all(const struct dw_samples *samples, bool known, double angle, double *line, struct dw_sine *sine,
                              struct dw_error *error)
{
    struct sine_sum one, all;
    if (!dwi_sine_sum_new(&one, 1))
        return dw_no_memory(error);
    if (!dwi_sine_sum_new(&all, sine->harmonics)) {
        dwi_sine_sum_free(&one);
        return dw_no_memory(error);
    }
    if (fit(samples, known, &angle, &one, &all, sine)) {
        lines_of(&all, samples->count, angle, 0, line);
        sine->residual = sqrt(dwi_sine_sum_rest(&all, samples, angle));
        if (!known)
            sine->frequency = angle / (2 * M_PI) * samples->rate;
    } else {
        sine->harmonics = 0;
    }
    dwi_sine_sum_free(&one);
    dwi_sine_sum_free(&all);
    return DW_OK;
}

enum dw_status dw_sine_fit(const struct dw_samples *samples, double frequency, size_t harmonics, double *line,
                           struct dw_sine *sine, struct dw_error *error)
{
    double angle = 2 * M_PI * frequency / samples->rate;
    *sine = (struct dw_sine){ .frequency = frequency };
    if (!(samples->rate > 0 && isfinite(samples->rate)))
        return dw_error_member(error, "rate", "a rate of %g samples a second is not above zero", samples->rate);
    if (!(frequency >= 0 && angle < M_PI))
        return dw_error_member(error, "frequency", "a frequency of %g Hz is not between zero and half the rate, %g Hz", frequency,
                               samples->rate / 2);
    if (!harmonics || harmonics > DW_SINE_HARMONICS_MOST)
        return dw_error_member(error, "harmonics", "%zu harmonics: from 1 to %d can be fitted", harmonics, DW_SINE_HARMONICS_MOST);
    memset(line, 0, 2 * (harmonics + 1) * sizeof *line);
    const bool known = frequency > 0;
    const enum dw_status status = known || samples->count < DW_SINE_SAMPLES_LEAST ? DW_OK : find_angle(samples, &angle, error);
    if (status != DW_OK || !(angle > 0))
        return status;
    if (!known)
        sine->frequency = angle / (2 * M_PI) * samples->rate;
    const size_t most = dw_sine_fitting(samples, sine->frequency);
    sine->harmonics = harmonics < most ? harmonics : most;
    return sine->harmonics ? fit_all(samples, known, angle, line, sine, error) : DW_OK;
}
