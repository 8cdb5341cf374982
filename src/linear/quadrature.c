/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Integrals of outputs and of products of two, by forms that are doubled along the propagator's chain: docs/theory.md, (2.12). */
#include "linear/matrix_inner.h"
#include "linear/modes_inner.h"
#include <stdlib.h>
#include <string.h>

enum { TERMS = 8 };  /* of a series over the finest cell: norm x length <= 2^-9 there, and 2^-72 / 8! is nothing */

/* Rows r_k, [TERMS x size]: output(t) = sum r_k . (x | u | rise | 1) t^k / k! over a cell of this length; DW_ALONE: the 1. */
static void output_series(const struct dw_system *system, size_t output, double length, double *rows)
{
    const size_t n = system->states, m = system->inputs, both = n + m, size = system->width + 1;
    memset(rows, 0, TERMS * size * sizeof *rows);
    if (output == DW_ALONE) {
        rows[size - 1] = 1;
        return;
    }
    memcpy(rows, system->output + output * both, both * sizeof *rows);
    for (size_t k = 1; k < TERMS; k++) {
        const double *before = rows + (k - 1) * size;
        double *row = rows + k * size;
        for (size_t j = 0; j < both; j++)
            for (size_t i = 0; i < n; i++)
                row[j] += before[i] * system->rate_high[i * both + j];
        for (size_t j = 0; j < m; j++)
            row[both + j] = before[n + j] / length;
    }
}

/* The form at the finest cell, [size x size]: integral of the product of two series. */
static void finest_form(size_t size, double length, const double *first, const double *second, double *form)
{
    double outer = length;
    memset(form, 0, size * size * sizeof *form);
    for (size_t j = 0; j < TERMS; j++) {
        double factor = outer;
        for (size_t k = 0; k < TERMS - j; k++) {
            for (size_t a = 0; a < size; a++)
                for (size_t b = 0; b < size; b++)
                    form[a * size + b] += factor / (double)(j + k + 1) * first[j * size + a] * second[k * size + b];
            factor *= length / (double)(k + 1);
        }
        outer *= length / (double)(j + 1);
    }
}

/* Where (x | u | rise over two cells | 1) goes: rows of (x | u | rise over one cell | 1) at the second cell's start. */
static void second_half(const struct dw_system *system, const double *block, double *rows)
{
    const size_t n = system->states, m = system->inputs, width = system->width, size = width + 1;
    memset(rows, 0, size * size * sizeof *rows);
    for (size_t i = 0; i < n; i++) {
        memcpy(rows + i * size, block + i * width, width * sizeof *rows);
        rows[i * size + i] += 1;
        for (size_t j = n + m; j < width; j++)
            rows[i * size + j] /= 2;
    }
    for (size_t i = n; i < size; i++)
        rows[i * size + i] = i < n + m || i == width ? 1 : 0.5;
    for (size_t j = n; j < n + m; j++)
        rows[j * size + m + j] = 0.5;
}

/* The form over twice the length: W <- W + Z^T W Z, the first W seen with half the rise. */
static void double_form(const struct dw_system *system, const double *z, double *form, double *right)
{
    const size_t both = system->states + system->inputs, width = system->width, size = width + 1;
    dwi_double_multiply(right, form, z, size, size, size);
    for (size_t i = 0; i < size; i++)
        for (size_t j = 0; j < size; j++) {
            double sum = 0;
            for (size_t k = 0; k < size; k++)
                sum += z[k * size + i] * right[k * size + j];
            const double halved = (i >= both && i < width ? 0.5 : 1) * (j >= both && j < width ? 0.5 : 1);
            form[i * size + j] = halved * form[i * size + j] + sum;
        }
}

/* One integral from z on; scratch [3 size size + 2 TERMS size]. */
static double integrate(const struct dw_system *system, const struct chain *chain, struct dw_integrand integrand, const double *z,
                        double *scratch)
{
    const size_t width = system->width, size = width + 1;
    double *form = scratch, *step = form + size * size, *right = step + size * size, *first = right + size * size,
           *second = first + TERMS * size, sum = 0;
    output_series(system, integrand.first, chain->unit, first);
    output_series(system, integrand.second, chain->unit, second);
    finest_form(size, chain->unit, first, second, form);
    for (unsigned level = chain->levels; level > 0; level--) {
        second_half(system, chain->high + level * system->states * width, step);
        double_form(system, step, form, right);
    }
    for (size_t a = 0; a < size; a++)
        for (size_t b = 0; b < size; b++)
            sum += z[a] * form[a * size + b] * z[b];
    return sum;
}

static enum dw_status check(const struct dw_system *system, double length, const struct dw_integrand *integrand, size_t count,
                            struct dw_error *error)
{
    if (!(length >= 0 && isfinite(length)))
        return dw_error_set(error, DW_BAD_USE, 0, "a stretch of %g s: must be finite and not below zero", length);
    for (size_t k = 0; k < count; k++) {
        const size_t first = integrand[k].first, second = integrand[k].second;
        if (second == DW_ALONE && first >= system->outputs)
            return dw_error_set(error, DW_BAD_USE, 0, "output %zu of %zu", first + 1, system->outputs);
        if (second != DW_ALONE && (first >= system->outputs || second >= system->outputs))
            return dw_error_set(error, DW_BAD_USE, 0, "outputs %zu and %zu of %zu", first + 1, second + 1, system->outputs);
    }
    return DW_OK;
}

enum dw_status dw_system_integrals(struct dw_system *system, const struct dw_interval *over, const struct dw_integrand *integrand,
                                   size_t count, double *integral, struct dw_error *error)
{
    const size_t n = system->states, m = system->inputs, size = system->width + 1;
    struct chain chain = { .length = over->length };
    enum dw_status status = check(system, over->length, integrand, count, error);
    if (status != DW_OK)
        return status;
    double z[NODE_WIDTH + 1], *scratch = malloc((3 * size + 2 * TERMS) * size * sizeof *scratch);
    memcpy(z, over->state, n * sizeof *z);
    for (size_t j = 0; j < m; j++) {
        z[n + j] = over->start[j];
        z[n + m + j] = over->end[j] - over->start[j];
    }
    z[size - 1] = 1;
    status = !scratch ? dw_no_memory(error) : over->length > 0 ? dwi_chain_build(system, &chain, false, error) : DW_OK;
    for (size_t k = 0; k < count && status == DW_OK; k++)
        integral[k] = over->length > 0 ? integrate(system, &chain, integrand[k], z, scratch) : 0;
    free(chain.high);
    free(chain.low);
    free(scratch);
    return status;
}

enum dw_status dwi_run_integrate(struct dw_run *run, double time, const struct node *node, struct dw_error *error)
{
    const struct mode *mode = present_mode(run);
    const size_t n = run->modes->states, count = run->options.integrand_count;
    double state[DW_STATES], part[DW_INTEGRANDS] = { 0 };
    const struct dw_interval over = { state, run->passed + n, node->high + n, fmax(time - run->passed_time, 0) };
    for (size_t i = 0; i < n; i++)
        state[i] = run->passed[i] - mode->origin[i];
    struct dw_system *system = mode->counted ? mode->counted : mode->system;
    const enum dw_status status = dw_system_integrals(system, &over, run->options.integrand, count, part, error);
    for (size_t k = 0; k < count; k++)
        run->integral[k] += part[k];
    run->passed_time = time;
    memcpy(run->passed, node->high, sizeof run->passed);
    return status;
}
