/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/statistics_inner.h"
#include <fftw3.h>
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

bool dwi_sine_sum_new(struct sine_sum *sum, size_t harmonics)
{
    const size_t h = harmonics, all = 2 * h + 1;
    double *room = calloc((h + 1) * (h + 1) + h * h + 3 * all, sizeof *room);
    if (!room)
        return false;
    *sum = (struct sine_sum){ h, room, room + (h + 1) * (h + 1), NULL, NULL, NULL };
    sum->value = sum->odd + h * h;
    sum->right = sum->value + all;
    sum->along = sum->right + all;
    return true;  // cppcheck-suppress memleak; the sum owns it
}

void dwi_sine_sum_free(struct sine_sum *sum)
{
    free(sum->even);
}

/* Sum of cos(k angle (i - middle)) over all samples: Dirichlet's kernel. */
static double kernel(size_t count, double angle, size_t k)
{
    const double below = sin((double)k * angle / 2);
    /* unrun: rounding */
    return k && below != 0 ? sin((double)count * ((double)k * angle / 2)) / below : (double)count;
}

/* In place, the lower triangle; false where the matrix is not positive definite to half the digits. */
static bool cholesky(double *a, size_t size)
{
    for (size_t i = 0; i < size; i++)
        for (size_t k = 0; k <= i; k++) {
            double sum = a[i * size + k];
            for (size_t m = 0; m < k; m++)
                sum -= a[i * size + m] * a[k * size + m];
            if (i == k && !(sum > sqrt(DBL_EPSILON) * a[i * size + i]))
                return false;
            a[i * size + k] = i == k ? sqrt(sum) : sum / a[k * size + k];
        }
    return true;
}

static void substitute(const double *a, size_t size, double *x)
{
    for (size_t i = 0; i < size; i++) {
        for (size_t k = 0; k < i; k++)
            x[i] -= a[i * size + k] * x[k];
        x[i] /= a[i * size + i];
    }
    for (size_t i = size; i-- > 0;) {
        for (size_t k = i + 1; k < size; k++)
            x[i] -= a[k * size + i] * x[k];
        x[i] /= a[i * size + i];
    }
}

/* About the middle, cosines and sines are orthogonal. */
static bool factorise(struct sine_sum *sum, size_t count, double angle)
{
    const size_t h = sum->harmonics;
    for (size_t n = 0; n <= h; n++)
        for (size_t m = 0; m <= n; m++) {
            const double apart = kernel(count, angle, n - m), together = kernel(count, angle, n + m);
            sum->even[n * (h + 1) + m] = (apart + together) / 2;
            if (m)
                sum->odd[(n - 1) * h + m - 1] = (apart - together) / 2;
        }
    return cholesky(sum->even, h + 1) && cholesky(sum->odd, h);  /* unrun: rounding */
}

static void unknowns(const struct sine_sum *sum, double *x)
{
    substitute(sum->even, sum->harmonics + 1, x);
    substitute(sum->odd, sum->harmonics, x + sum->harmonics + 1);
}

/* Adds weight times cosines and sines of multiples of an angle. */
static void add_multiples(size_t h, double angle, double weight, double *to)
{
    const double c = cos(angle), s = sin(angle);
    double re = c, im = s;
    to[0] += weight;
    for (size_t n = 1; n <= h; n++) {
        to[n] += weight * re;
        to[h + n] += weight * im;
        const double next = re * c - im * s;
        im = re * s + im * c;
        re = next;
    }
}

static double place(const struct dw_samples *samples, size_t i)
{
    return (double)i - (double)(samples->count - 1) / 2;
}

bool dwi_sine_sum_solve(struct sine_sum *sum, const struct dw_samples *samples, double angle)
{
    const size_t h = sum->harmonics, all = 2 * h + 1;
    if (!factorise(sum, samples->count, angle))
        return false;
    memset(sum->right, 0, all * sizeof *sum->right);
    for (size_t i = 0; i < samples->count; i++)
        add_multiples(h, angle * place(samples, i), samples->value[i * samples->pitch], sum->right);
    memcpy(sum->value, sum->right, all * sizeof *sum->value);
    unknowns(sum, sum->value);
    return true;
}

/* The sum at an angle; slope: out, by that angle. */
static double value_at(const struct sine_sum *sum, double angle, double *slope)
{
    const size_t h = sum->harmonics;
    const double c = cos(angle), s = sin(angle), *even = sum->value, *odd = sum->value + h;
    double re = c, im = s, value = even[0];
    *slope = 0;
    for (size_t n = 1; n <= h; n++) {
        value += even[n] * re + odd[n] * im;
        *slope += (double)n * (odd[n] * re - even[n] * im);
        const double next = re * c - im * s;
        im = re * s + im * c;
        re = next;
    }
    return value;
}

double dwi_sine_sum_rest(const struct sine_sum *sum, const struct dw_samples *samples, double angle)
{
    double square = 0, slope;
    for (size_t i = 0; i < samples->count; i++) {
        const double off = samples->value[i * samples->pitch] - value_at(sum, angle * place(samples, i), &slope);
        square += off * off;
    }
    return square / (double)samples->count;
}

/* One step of the angle, in turns of phase over the record: equation 5.24. */
static double step(struct sine_sum *sum, const struct dw_samples *samples, double angle, double *rest)
{
    const size_t h = sum->harmonics, all = 2 * h + 1;
    double both = 0, square = 0;
    *rest = 0;
    memset(sum->right, 0, all * sizeof *sum->right);
    for (size_t i = 0; i < samples->count; i++) {
        double slope;
        const double at = place(samples, i), off = samples->value[i * samples->pitch] - value_at(sum, angle * at, &slope);
        const double along = slope * (at / (double)samples->count);
        both += off * along;
        square += along * along;
        *rest += off * off;
        add_multiples(h, angle * at, along, sum->right);
    }
    memcpy(sum->along, sum->right, all * sizeof *sum->along);
    unknowns(sum, sum->along);
    for (size_t k = 0; k < all; k++)
        square -= sum->along[k] * sum->right[k];
    return square > 0 ? both / square : 0;  /* unrun: rounding */
}

bool dwi_sine_sum_search(struct sine_sum *sum, const struct dw_samples *samples, double *angle)
{
    enum { STEPS = 60 };
    const double count = (double)samples->count;
    double best = INFINITY, moved = 0, from = *angle;
    for (int i = 0; i < STEPS; i++) {
        double rest;
        if (!dwi_sine_sum_solve(sum, samples, *angle))  /* unrun: sine-start */
            return false;
        const double next = step(sum, samples, *angle, &rest);
        if (rest > best * (1 + 1e-9) && fabs(moved) > 1e-6) { /* too far: half of it */  /* unrun: rounding */
            moved /= 2;
            *angle = from + moved / count;
            continue;
        }
        /* what moves no less than before is rounding */
        if (fabs(next) <= 2 * DBL_EPSILON * count * *angle || (i && fabs(next) < 1e-9 && fabs(next) >= fabs(moved) / 2))
            return true;
        best = rest;
        from = *angle;
        moved = fmax(-1, fmin(next, 1));
        *angle = from + moved / count;
        if (!(*angle > 0 && *angle < M_PI))
            return false;
    }
    return fabs(moved) < 1e-3;
}

/* ---- where a fit begins ---- */

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
    if (peak < last && plane[peak - 1] > 0 && plane[peak] > 0 && plane[peak + 1] > 0) {  /* unrun: rounding */
        const double below = log(plane[peak - 1] / plane[peak]), above = log(plane[peak + 1] / plane[peak]);
        shift = below + above < 0 ? (below - above) / (2 * (below + above)) : 0;  /* unrun: rounding */
    }
    *angle = plane[peak] > 0 ? 2 * M_PI * ((double)peak + shift) / (double)points : 0;
    if (*angle * (double)samples->count < 2 * M_PI * 1.5 || *angle >= M_PI)
        *angle = 0;
    free(plane);
    return DW_OK;
}
