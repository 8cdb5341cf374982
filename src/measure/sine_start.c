/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where the fit of a sine begins. */
#include "measure/sine_inner.h"
#include <fftw3.h>
#include <math.h>
#include <stdlib.h>

/* Squares of the transform of the samples without their mean, Hann-weighted, with as many zeros behind them at least.
 *   plane   [points + 2] */
static bool transform(const struct dw_samples *samples, size_t points, double *plane)
{
    double mean = 0;
    for (size_t i = 0; i < samples->count; i++)
        mean += samples->value[i * samples->pitch] / (double)samples->count;
    fftw_plan plan = fftw_plan_dft_r2c_1d((int)points, plane, (fftw_complex *)plane, FFTW_ESTIMATE);
    if (!plan)
        return false;
    for (size_t i = 0; i < points; i++)
        plane[i] = i >= samples->count ? 0
                   : (samples->value[i * samples->pitch] - mean) * (1 - cos(2 * M_PI * ((double)i + 0.5) / (double)samples->count));
    fftw_execute(plan);
    fftw_destroy_plan(plan);
    for (size_t k = 0; k <= points / 2; k++)
        plane[k] = plane[2 * k] * plane[2 * k] + plane[2 * k + 1] * plane[2 * k + 1];
    return true;
}

enum dw_status dwi_sine_start(const struct dw_samples *samples, double *angle, struct dw_error *error)
{
    size_t points = 16;
    while (points < 4 * samples->count)
        points *= 2;
    double *plane = calloc(points + 2, sizeof *plane);
    if (!plane || !transform(samples, points, plane)) {
        free(plane);
        return dw_no_memory(error);
    }
    const size_t last = points / 2;
    size_t peak = 1;
    for (size_t k = 1; k <= last; k++)
        peak = plane[k] > plane[peak] ? k : peak;
    /* a parabola through the logarithms */
    double shift = 0;
    if (peak < last && plane[peak - 1] > 0 && plane[peak] > 0 && plane[peak + 1] > 0) {
        const double below = log(plane[peak - 1] / plane[peak]), above = log(plane[peak + 1] / plane[peak]);
        shift = below + above < 0 ? (below - above) / (2 * (below + above)) : 0;
    }
    *angle = plane[peak] > 0 ? 2 * M_PI * ((double)peak + shift) / (double)points : 0;
    if (*angle * (double)samples->count < 2 * M_PI * 1.5 || *angle >= M_PI)
        *angle = 0;
    free(plane);
    return DW_OK;
}
