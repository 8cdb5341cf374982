/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A system's matrices, the norm in which it does not grow, and its cache of chains. */
#include "linear/matrix_inner.h"
#include "linear/system_inner.h"
#include <float.h>
#include <stdlib.h>
#include <string.h>

enum {
    CACHE_BYTES = 4 << 20,  /* of chains, a system */
    CHAINS_LEAST = 8,
    CHAINS_MOST = 64,
    EAGER = 8               /* so many lengths get a chain at once; later ones when they come a second time */
};

double dwi_energy_norm(const struct dw_system *system, const double *state)
{
    return sqrt(energy_square(system, state));
}

double dwi_energy_dual(const struct dw_system *system, const double *functional)
{
    double sum = 0;
    for (size_t i = 0; i < system->states; i++)
        sum += functional[i] * functional[i] / system->weight[i];
    return sqrt(sum);
}

/* Weights that bring rows and columns of |A| to equal size (Osborne 1960, JACM 7:338), in powers of two. */
static void balance(struct dw_system *system)
{
    const size_t n = system->states, both = n + system->inputs;
    double scale[DW_STATES];
    for (size_t i = 0; i < n; i++)
        scale[i] = 1;
    for (int sweep = 0; sweep < 64; sweep++) {  /* unrun: count */
        bool changed = false;
        for (size_t i = 0; i < n; i++) {
            double row = 0, column = 0;
            for (size_t j = 0; j < n; j++)
                if (j != i) {
                    row += fabs(system->rate_high[i * both + j]) * (scale[i] / scale[j]);
                    column += fabs(system->rate_high[j * both + i]) * (scale[j] / scale[i]);
                }
            if (!(row > 0 && column > 0))
                continue;
            const int shift = (int)lround(log2(column / row) / 2);
            changed = changed || shift != 0;
            scale[i] = ldexp(scale[i], shift);
        }
        if (!changed)
            break;
    }
    for (size_t i = 0; i < n; i++)
        system->weight[i] = scale[i] * scale[i];
}

/* Norm of A and growth of exp(A t) in the energy norm (logarithmic norm: Dahlquist 1958; Soderlind 2006, BIT 46:631). */
static void measure_rates(struct dw_system *system)
{
    const size_t n = system->states, both = n + system->inputs;
    double scaled[DW_STATES * DW_STATES], symmetric[DW_STATES * DW_STATES];
    double rows = 0, squares = 0, columns[DW_STATES] = { 0 }, column = 0;
    for (size_t i = 0; i < n; i++) {
        double row = 0;
        for (size_t j = 0; j < n; j++) {
            const double entry = system->rate_high[i * both + j] * sqrt(system->weight[i] / system->weight[j]);
            scaled[i * n + j] = entry;
            row += fabs(entry);
            columns[j] += fabs(entry);
            squares += entry * entry;
        }
        rows = fmax(rows, row);
    }
    for (size_t j = 0; j < n; j++)
        column = fmax(column, columns[j]);
    system->norm = fmin(sqrt(rows * column), sqrt(squares));
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            symmetric[i * n + j] = (scaled[i * n + j] + scaled[j * n + i]) / 2;
    const double growth = dwi_symmetric_largest(symmetric, n);
    system->near = system->norm > 0 ? 1e-8 / system->norm : INFINITY;
    system->growth = growth > 16 * (double)n * DBL_EPSILON * system->norm ? growth : 0;
    for (size_t j = n; j < both; j++) {
        double state[DW_STATES];
        for (size_t i = 0; i < n; i++)
            state[i] = system->rate_high[i * both + j];
        system->push[j - n] = dwi_energy_norm(system, state);
    }
}

static bool all_finite(const double *entries, size_t count)
{
    for (size_t i = 0; entries && i < count; i++)
        if (!isfinite(entries[i]))
            return false;
    return true;
}

static enum dw_status check_matrices(const struct dw_matrices *given, struct dw_error *error)
{
    const size_t n = given->states, m = given->inputs, p = given->outputs;
    if (n < 1 || n > DW_STATES || p > DW_OUTPUTS) /* the inputs have been counted already */
        return dw_error_set(error, DW_BAD_USE, 0,
                            "%zu states, %zu inputs, %zu outputs: a system has 1 to %d states, up to %d inputs and %d outputs",
                            n, m, p, DW_STATES, DW_INPUTS, DW_OUTPUTS);
    if (!given->a || !all_finite(given->a, n * n) || !all_finite(given->b, n * m) || !all_finite(given->c, p * n) ||
        !all_finite(given->d, p * m) || !all_finite(given->a_low, n * n) || !all_finite(given->b_low, n * m))
        return dw_error_set(error, DW_BAD_USE, 0, "a matrix of the system is missing or holds an entry that is not finite");
    for (size_t i = 0; given->weight && i < n; i++)
        if (!(given->weight[i] > 0 && isfinite(given->weight[i])))
            return dw_error_set(error, DW_BAD_USE, 0, "weight %g of state %zu: must be above zero and finite",
                                given->weight[i], i + 1);
    return DW_OK;
}

/* Copies two blocks side by side: rows (left | right), a NULL block as zeros. */
static void side_by_side(double *out, const double *left, const double *right, size_t rows, size_t left_width,
                         size_t right_width)
{
    for (size_t i = 0; i < rows; i++, out += left_width + right_width) {
        if (left)
            memcpy(out, left + i * left_width, left_width * sizeof *out);
        if (right && right_width > 0)  /* unrun: size */
            memcpy(out + left_width, right + i * right_width, right_width * sizeof *out);
    }
}

struct dw_system *dwi_system_new(const struct dw_matrices *given, struct dw_error *error)
{
    if (check_matrices(given, error) != DW_OK)
        return NULL;
    const size_t n = given->states, m = given->inputs, p = given->outputs, both = n + m;
    const size_t chain_bytes = (CHAIN_LEVELS + 1) * n * (n + 2 * m) * 2 * sizeof(double);
    size_t most = CACHE_BYTES / chain_bytes;
    most = most < CHAINS_LEAST ? CHAINS_LEAST : most > CHAINS_MOST ? CHAINS_MOST : most;  /* unrun: size */
    struct dw_system *system = calloc(1, sizeof *system);
    if (system) {
        system->rate_high = calloc(n * both, sizeof(double));
        system->rate_low = calloc(n * both, sizeof(double));
        system->output = calloc(p * both + 1, sizeof(double));
        system->chains = malloc(most * sizeof *system->chains); /* each is set when it is taken: zeros took longer than a steady state */
    }
    if (!system || !system->rate_high || !system->rate_low || !system->output || !system->chains) {
        dw_system_free(system);
        dw_no_memory(error);
        return NULL;
    }
    system->states = n;
    system->inputs = m;
    system->outputs = p;
    system->width = n + 2 * m;
    system->chain_most = most;
    side_by_side(system->rate_high, given->a, given->b, n, n, m);
    side_by_side(system->rate_low, given->a_low, given->b_low, n, n, m);
    side_by_side(system->output, given->c, given->d, p, n, m);
    if (given->weight)
        memcpy(system->weight, given->weight, n * sizeof *system->weight);
    else
        balance(system);
    measure_rates(system);
    return system;
}

struct dw_system *dw_system_new(const struct dw_matrices *matrices, struct dw_error *error)
{
    if (matrices->inputs > DW_INPUTS) {
        dw_error_set(error, DW_BAD_USE, 0, "%zu inputs: a system has up to %d", matrices->inputs, DW_INPUTS);
        return NULL;
    }
    return dwi_system_new(matrices, error);
}

void dw_system_free(struct dw_system *system)
{
    if (!system)
        return;
    for (size_t i = 0; i < system->chain_count; i++)
        dwi_chain_free(system->chains + i);
    free(system->chains);
    free(system->rate_high);
    free(system->rate_low);
    free(system->output);
    free(system);
}

size_t dw_system_states(const struct dw_system *system)
{
    return system->states;
}

size_t dw_system_inputs(const struct dw_system *system)
{
    return system->inputs;
}

size_t dw_system_outputs(const struct dw_system *system)
{
    return system->outputs;
}

void dw_system_output(const struct dw_system *system, const double *state, const double *input, double *output)
{
    const size_t n = system->states, m = system->inputs;
    const double *row = system->output;
    for (size_t i = 0; i < system->outputs; i++, row += n + m) {
        double sum = 0;
        for (size_t j = 0; j < n; j++)
            sum += row[j] * state[j];
        for (size_t j = 0; j < m; j++)
            sum += row[n + j] * input[j];
        output[i] = sum;
    }
}

/* Builds a chain in a free place or in that of the one unused for longest. */
static enum dw_status add_chain(struct dw_system *system, double length, struct chain **chain, struct dw_error *error)
{
    struct chain fresh = { .length = length };
    const enum dw_status status = dwi_chain_build(system, &fresh, false, error);
    if (status != DW_OK)
        return status;
    struct chain *place = system->chains + system->chain_count;
    if (system->chain_count < system->chain_most) {
        system->chain_count++;
    } else {
        place = system->chains;
        for (size_t i = 1; i < system->chain_count; i++)
            if (system->chains[i].used < place->used)
                place = system->chains + i;
        dwi_chain_free(place);
    }
    system->built++;
    fresh.used = ++system->clock;
    *place = fresh;
    *chain = place;
    return DW_OK;
}

static bool missed_before(struct dw_system *system, double length)
{
    for (size_t i = 0; i < MISSES; i++)
        if (system->missed[i] == length)
            return true;
    system->missed[system->next_missed++ % MISSES] = length;
    return false;
}

static enum dw_status search_chain(struct dw_system *system, double length, double slack, struct chain **chain,
                                   struct dw_error *error)
{
    /* shared lengths are corrected to second order: the third is below 1e-15 / 6 where norm x difference <= 1e-5 */
    const double near = fmin(slack, system->norm > 0 ? 1e-5 / system->norm : slack);
    struct chain *close = NULL, *longer = NULL;
    for (size_t i = 0; i < system->chain_count; i++) {
        struct chain *seen = system->chains + i;
        if (seen->length == length) {
            seen->used = ++system->clock;
            *chain = seen;
            return DW_OK;
        }
        if (fabs(seen->length - length) <= near && seen->length > 2 * near)
            close = seen;
        if (seen->length > length && seen->length < 4096 * length && (!longer || seen->length < longer->length))
            longer = seen;
    }
    if (!close && (system->built < EAGER || missed_before(system, length)))
        return add_chain(system, length, chain, error);
    if (!close && !longer) {
        /* a power of two: whatever lengths come, few such chains are needed */
        int exponent = 0;
        frexp(length, &exponent);
        return add_chain(system, ldexp(1, exponent), chain, error);
    }
    *chain = close ? close : longer;
    (*chain)->used = ++system->clock;
    return DW_OK;
}

enum dw_status dwi_system_chain(struct dw_system *system, double length, double slack, struct chain **chain,
                                struct dw_error *error)
{
    for (size_t i = 0; i < 2; i++)
        if (system->recent[i] && system->recent[i]->length == length) {
            *chain = system->recent[i];
            (*chain)->used = ++system->clock;
            return DW_OK;
        }
    const enum dw_status status = search_chain(system, length, slack, chain, error);
    if (status == DW_OK && *chain != system->recent[0]) {
        system->recent[1] = system->recent[0];
        system->recent[0] = *chain;
    }
    return status;
}
