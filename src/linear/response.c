/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Questions to a system that need no run: frequency response and eigenvalues. */
#include "linear/matrix_inner.h"
#include "linear/system_inner.h"
#include <stdlib.h>

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
    const bool solved = dwi_doubled_solve(matrix, x, size, 1);
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
    if (!dwi_matrix_eigenvalues(scaled, n, real, imaginary))  /* unrun: eigenvalues */
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
