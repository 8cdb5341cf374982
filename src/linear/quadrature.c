/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Integrals of outputs and of products of two, by forms that are doubled along the propagator's chain: docs/theory.md, (2.12). */
#include "linear/matrix_inner.h"
#include "linear/modes_inner.h"
#include <stdlib.h>
#include <string.h>

enum { TERMS = 8 };  /* of a series over the finest cell: norm x length <= 2^-9 there, and 2^-72 / 8! is nothing */

/* The forms' variables, (x | u | w1 .. w_powers | 1): the input rises by w1 s + w2 s^2 + ..., s the share of a cell; of lines w1 is all, and where
 * the input stands still there is none. */
struct form {
    const struct dw_system *system;
    const struct chain *chain;
    size_t powers, size;
    size_t power[NODE_WIDTH + 1];  /* [size], of the rise: which one a variable is; 0: none */
};

/* What a power of the share becomes in half of it. */
static const double halved[] = { 1, 1 / 2.0, 1 / 4.0, 1 / 8.0, 1 / 16.0, 1 / 32.0, 1 / 64.0 };

/* Rows r_k, [TERMS x size]: output(t) = sum r_k . (x | u | w | 1) t^k / k! over a cell of this length; DW_ALONE: the 1. */
static void output_series(const struct form *f, size_t output, double length, double *rows)
{
    const struct dw_system *system = f->system;
    const size_t n = system->states, m = system->inputs, both = n + m, size = f->size;
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
        for (size_t j = both; j < size - 1; j++)  /* the derivative of s^p is p s^(p - 1) / length */
            row[j] = (double)f->power[j] * before[j - m] / length;
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

/* Where (x | u | w over two cells | 1) goes: rows of (x | u | w over one cell | 1) at the second cell's start. */
static void second_half(const struct form *f, unsigned level, double *rows)
{
    static const double binomial[POWERS + 1][POWERS + 1] = { { 1, 1, 1, 1 }, { 0, 1, 2, 3 }, { 0, 0, 1, 3 }, { 0, 0, 0, 1 } };
    const size_t n = f->system->states, m = f->system->inputs, both = n + m, width = f->system->width, size = f->size;
    const size_t lines = f->powers > 0 ? width : both;
    const double *block = f->chain->high + level * n * width;
    memset(rows, 0, size * size * sizeof *rows);
    for (size_t i = 0; i < n; i++) {
        memcpy(rows + i * size, block + i * width, lines * sizeof *rows);
        rows[i * size + i] += 1;
        if (f->powers > 1)
            memcpy(rows + i * size + width, f->chain->bent_high + (level * n + i) * 2 * m, 2 * m * sizeof *rows);
        for (size_t j = both; j < size - 1; j++)
            rows[i * size + j] *= halved[f->power[j]];
    }
    for (size_t to = 0; to <= f->powers; to++)
        for (size_t from = to; from <= f->powers; from++)
            for (size_t j = 0; j < m; j++)
                rows[(n + to * m + j) * size + n + from * m + j] = halved[from] * binomial[to][from];
    rows[size * size - 1] = 1;
}

/* The form over twice the length: W <- W + Z^T W Z, the first W seen with half the rise. */
static void double_form(const struct form *f, const double *z, double *form, double *right)
{
    const size_t size = f->size;
    dwi_double_multiply(right, form, z, size, size, size);
    for (size_t i = 0; i < size; i++)
        for (size_t j = 0; j < size; j++) {
            double sum = 0;
            for (size_t k = 0; k < size; k++)
                sum += z[k * size + i] * right[k * size + j];
            form[i * size + j] = halved[f->power[i] + f->power[j]] * form[i * size + j] + sum;
        }
}

/* Integrals from z on; scratch [(2 + count) size size + 2 TERMS size]. */
static void integrate(const struct form *f, const struct dw_integrand *integrand, size_t count, const double *z, double *scratch,
                      double *integral)
{
    const struct chain *chain = f->chain;
    const size_t size = f->size;
    double *forms = scratch, *step = forms + count * size * size, *right = step + size * size, *first = right + size * size,
           *second = first + TERMS * size;
    for (size_t k = 0; k < count; k++) {
        output_series(f, integrand[k].first, chain->unit, first);
        output_series(f, integrand[k].second, chain->unit, second);
        finest_form(size, chain->unit, first, second, forms + k * size * size);
    }
    for (unsigned level = chain->levels; level > 0; level--) {
        second_half(f, level, step);
        for (size_t k = 0; k < count; k++)
            double_form(f, step, forms + k * size * size, right);
    }
    for (size_t k = 0; k < count; k++) {
        const double *form = forms + k * size * size;
        integral[k] = 0;
        for (size_t a = 0; a < size; a++)
            for (size_t b = 0; b < size; b++)
                integral[k] += z[a] * form[a * size + b] * z[b];
    }
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

/* Sets what is there at the interval's start, and how many powers the input takes. */
static size_t begin_at(const struct dw_system *system, const struct dw_interval *over, double z[NODE_WIDTH + 1])
{
    const size_t n = system->states, m = system->inputs;
    bool curved = false, rises = false;
    memcpy(z, over->state, n * sizeof *z);
    for (size_t j = 0; j < m; j++) {
        struct doubled w[POWERS + 1];
        curved = (over->length > 0 && dwi_interval_powers(over, j, m, w)) || curved;
        rises = rises || over->end[j] != over->start[j];
        z[n + j] = over->start[j];
        z[n + m + j] = over->end[j] - over->start[j];
        for (size_t k = curved ? 1 : POWERS + 1; k <= POWERS; k++)
            z[n + k * m + j] = w[k].hi;
    }
    return curved ? POWERS : rises;
}

enum dw_status dw_system_integrals(struct dw_system *system, const struct dw_interval *over, const struct dw_integrand *integrand,
                                   size_t count, double *integral, struct dw_error *error)
{
    struct chain chain = { .length = over->length };
    enum dw_status status = check(system, over->length, integrand, count, error);
    if (status != DW_OK)
        return status;
    double z[NODE_WIDTH + 1] = { 0 };
    const size_t powers = begin_at(system, over, z), m = system->inputs, size = system->states + (1 + powers) * m + 1;
    struct form form = { .system = system, .chain = &chain, .powers = powers, .size = size };
    for (size_t j = system->states; j < size - 1; j++)
        form.power[j] = (j - system->states) / m;
    double *scratch = malloc(((2 + count) * size + 2 * TERMS) * size * sizeof *scratch);
    if (!scratch)
        return dw_no_memory(error);
    z[size - 1] = 1;
    status = over->length > 0 ? dwi_chain_build(system, &chain, false, error) : DW_OK;
    if (status == DW_OK && powers > 1)
        status = dwi_chain_bend(system, &chain, error);
    if (status == DW_OK && over->length > 0)
        integrate(&form, integrand, count, z, scratch, integral);
    for (size_t k = 0; k < count && !(over->length > 0); k++)
        integral[k] = 0;
    dwi_chain_free(&chain);
    free(scratch);
    return status;
}

enum dw_status dwi_run_integrate(struct dw_run *run, double time, const struct node *node, struct dw_error *error)
{
    const struct mode *mode = present_mode(run);
    const size_t n = run->modes->states, count = run->options.integrand_count;
    const size_t m = run->modes->inputs + 1, at = n + m;
    double state[DW_STATES], slope[2 * SYSTEM_INPUTS], part[DW_INTEGRANDS] = { 0 };
    const struct dw_interval over = { .state = state, .start = run->passed + n, .end = node->high + n,
                                      .length = fmax(time - run->passed_time, 0), .slope = run->stretch.curved ? slope : NULL };
    memcpy(slope, run->passed + at, m * sizeof *slope);
    memcpy(slope + m, node->high + at, m * sizeof *slope);
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
