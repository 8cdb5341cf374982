/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Questions to a system that need no run: frequency response, eigenvalues, integrals over a stretch. */
#include "linear/matrix_inner.h"
#include "linear/system_inner.h"
#include <stdlib.h>
#include <string.h>

enum { TERMS = 10 };  /* of a series over the finest cell: norm x length <= 2^-9 there */

enum dw_status dw_system_response(const struct dw_system *system, size_t input, double angular, double *real,
                                  double *imaginary, struct dw_error *error)
{
    const size_t n = system->states, both = n + system->inputs, size = 2 * n;
    if (input >= system->inputs || !(angular >= 0 && isfinite(angular)))
        return dw_error_set(error, DW_BAD_USE, 0, "response to input %zu of %zu at %g rad/s", input + 1, system->inputs,
                            angular);
    struct doubled *matrix = calloc(size * size + size, sizeof *matrix);
    if (!matrix)
        return dw_no_memory(error);
    struct doubled *x = matrix + size * size;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            const struct doubled entry = { -system->rate_high[i * both + j], -system->rate_low[i * both + j] };
            matrix[i * size + j] = matrix[(n + i) * size + n + j] = entry;
        }
        matrix[i * size + n + i].hi = -angular;
        matrix[(n + i) * size + i].hi = angular;
        x[i] = (struct doubled){ system->rate_high[i * both + n + input], system->rate_low[i * both + n + input] };
    }
    const bool solved = doubled_solve(matrix, x, size, 1);
    for (size_t k = 0; k < system->outputs && solved; k++) {
        const double *row = system->output + k * both;
        real[k] = row[n + input];
        imaginary[k] = 0;
        for (size_t i = 0; i < n; i++) {
            real[k] += row[i] * x[i].hi;
            imaginary[k] += row[i] * x[n + i].hi;
        }
    }
    free(matrix);
    return solved ? DW_OK
                  : dw_error_set(error, DW_NO, 0, "the response at %.9g rad/s is unbounded: nothing damps it", angular);
}

enum dw_status dw_system_rates(const struct dw_system *system, double *real, double *imaginary, struct dw_error *error)
{
    const size_t n = system->states, both = n + system->inputs;
    double scaled[DW_STATES * DW_STATES] = { 0 };
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            scaled[i * n + j] = system->rate_high[i * both + j] * sqrt(system->weight[i] / system->weight[j]);
    if (!matrix_eigenvalues(scaled, n, real, imaginary))  /* unrun: eigenvalues */
        return dw_error_set(error, DW_NO, 0, "the eigenvalues of the system were not found");
    for (size_t i = 1; i < n; i++)
        for (size_t j = i; j > 0 && hypot(real[j], imaginary[j]) < hypot(real[j - 1], imaginary[j - 1]); j--) {
            const double kept_real = real[j], kept_imaginary = imaginary[j];
            real[j] = real[j - 1];
            imaginary[j] = imaginary[j - 1];
            real[j - 1] = kept_real;
            imaginary[j - 1] = kept_imaginary;
        }
    return DW_OK;
}

/* Rows r_k, [TERMS x width]: output(t) = sum r_k . (x | u | rise) t^k / k! over a cell of this length. */
static void output_series(const struct dw_system *system, size_t output, double length, double *rows)
{
    const size_t n = system->states, m = system->inputs, both = n + m, width = system->width;
    memset(rows, 0, TERMS * width * sizeof *rows);
    memcpy(rows, system->output + output * both, both * sizeof *rows);
    for (size_t k = 1; k < TERMS; k++) {
        const double *before = rows + (k - 1) * width;
        double *row = rows + k * width;
        for (size_t j = 0; j < both; j++)
            for (size_t i = 0; i < n; i++)
                row[j] += before[i] * system->rate_high[i * both + j];
        for (size_t j = 0; j < m; j++)
            row[both + j] = before[n + j] / length;
    }
}

/* Where (x | u | rise over two cells) goes: rows of (x | u | rise over one cell) at the second cell's start. */
static void second_half(const struct dw_system *system, const double *block, double *rows)
{
    const size_t n = system->states, m = system->inputs, width = system->width;
    memset(rows, 0, width * width * sizeof *rows);
    for (size_t i = 0; i < n; i++) {
        memcpy(rows + i * width, block + i * width, width * sizeof *rows);
        rows[i * width + i] += 1;
        for (size_t j = n + m; j < width; j++)
            rows[i * width + j] /= 2;
    }
    for (size_t j = 0; j < m; j++) {
        rows[(n + j) * width + n + j] = 1;
        rows[(n + j) * width + n + m + j] = 0.5;
        rows[(n + m + j) * width + n + m + j] = 0.5;
    }
}

/* A form over twice the length: W + Z^T W Z, the first W seen with half the rise. square false: the row w + w Z. */
static void double_form(const struct dw_system *system, double *form, const double *z, bool square, double *scratch)
{
    const size_t width = system->width, both = system->states + system->inputs, rows = square ? width : 1;
    double *right = scratch, *left = scratch + width * width, *turned = left + width * width;
    double_multiply(right, form, z, rows, width, width);
    if (square) {
        for (size_t i = 0; i < width; i++)
            for (size_t j = 0; j < width; j++)
                turned[i * width + j] = z[j * width + i];
        double_multiply(left, turned, right, width, width, width);
    } else {
        memcpy(left, right, width * sizeof *left);
    }
    for (size_t i = 0; i < rows; i++)
        for (size_t j = 0; j < width; j++) {
            const double halved = (square && i >= both ? 0.5 : 1) * (j >= both ? 0.5 : 1);
            form[i * width + j] = halved * form[i * width + j] + left[i * width + j];
        }
}

/* The form at the finest cell: integral of y1 y2 as a square form, or of y1 as a row (second NULL). */
static void finest_form(size_t width, double length, const double *first, const double *second, double *form)
{
    double power_j = length, factorial_j = 1;
    memset(form, 0, (second ? width * width : width) * sizeof *form);
    for (size_t j = 0; j < TERMS; j++) {
        double power = power_j, factorial = factorial_j;
        for (size_t k = 0; k < (second ? TERMS : 1); k++) {
            const double factor = power / (factorial * (double)(j + k + 1));
            for (size_t a = 0; a < width; a++) {
                if (!second) {
                    form[a] += factor * first[j * width + a];
                    continue;
                }
                for (size_t b = 0; b < width; b++)
                    form[a * width + b] += factor * first[j * width + a] * second[k * width + b];
            }
            power *= length;
            factorial *= (double)(k + 1);
        }
        power_j *= length;
        factorial_j *= (double)(j + 1);
    }
}

/* One integral over a stretch: second == outputs asks for that of the first alone. */
static enum dw_status integrate(struct dw_system *system, const double *z, double length, size_t first, size_t second,
                                double *integral, struct dw_error *error)
{
    const size_t width = system->width;
    const bool square = second < system->outputs;
    struct chain chain = { .length = length };
    double *form = malloc((5 * width * width + 2 * TERMS * width) * sizeof *form);
    const enum dw_status status = form ? chain_build(system, &chain, false, error)
                                       : dw_no_memory(error);
    if (status == DW_OK) {
        double *step = form + width * width, *scratch = step + width * width;
        double *one = scratch + 3 * width * width, *other = one + TERMS * width;
        const double finest = ldexp(length, -(int)chain.levels);
        output_series(system, first, finest, one);
        if (square)
            output_series(system, second, finest, other);
        finest_form(width, finest, one, square ? other : NULL, form);
        for (unsigned level = chain.levels; level-- > 0;) {
            second_half(system, chain.high + (level + 1) * system->states * width, step);
            double_form(system, form, step, square, scratch);
        }
        double sum = 0;
        for (size_t a = 0; a < width; a++)
            for (size_t b = 0; b < (square ? width : 1); b++)
                sum += square ? z[a] * form[a * width + b] * z[b] : form[a] * z[a];
        *integral = sum;
    }
    free(chain.high);
    free(chain.low);
    free(form);
    return status;
}

static enum dw_status check_stretch(const struct dw_system *system, const double *state, const double *start,
                                    const double *end, double length, double *z, struct dw_error *error)
{
    const size_t n = system->states, m = system->inputs;
    if (!(length >= 0 && isfinite(length)))
        return dw_error_set(error, DW_BAD_USE, 0, "a stretch of %g s: must be finite and not below zero", length);
    memcpy(z, state, n * sizeof *z);
    for (size_t j = 0; j < m; j++) {
        z[n + j] = start[j];
        z[n + m + j] = end[j] - start[j];
    }
    return DW_OK;
}

enum dw_status dw_system_integral(struct dw_system *system, const double *state, const double *start,
                                  const double *end, double length, double *integral, struct dw_error *error)
{
    double z[NODE_WIDTH], sum[DW_OUTPUTS] = { 0 };
    enum dw_status status = check_stretch(system, state, start, end, length, z, error);
    for (size_t k = 0; k < system->outputs && status == DW_OK && length > 0; k++)
        status = integrate(system, z, length, k, system->outputs, sum + k, error);
    if (status == DW_OK)
        memcpy(integral, sum, system->outputs * sizeof *integral);
    return status;
}

enum dw_status dw_system_product_integral(struct dw_system *system, const double *state, const double *start,
                                          const double *end, double length, size_t first, size_t second,
                                          double *integral, struct dw_error *error)
{
    double z[NODE_WIDTH], sum = 0;
    enum dw_status status = check_stretch(system, state, start, end, length, z, error);
    if (status == DW_OK && (first >= system->outputs || second >= system->outputs))
        status = dw_error_set(error, DW_BAD_USE, 0, "outputs %zu and %zu of %zu", first + 1, second + 1, system->outputs);
    if (status == DW_OK && length > 0)
        status = integrate(system, z, length, first, second, &sum, error);
    if (status == DW_OK)
        *integral = sum;
    return status;
}
