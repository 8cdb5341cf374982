/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Copies a plan of modes, checking it. */
#include "linear/modes_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

static enum dw_status check_guard(const struct dw_modes *modes, const struct dw_mode *mode, size_t k, struct dw_error *error)
{
    const struct dw_guard *guard = mode->guards + k;
    const char *name = mode->name ? mode->name : "unnamed";
    if (guard->next >= modes->count)
        return dw_error_set(error, DW_BAD_USE, 0, "mode '%s', guard %zu: next mode %zu of %zu", name, k + 1, guard->next + 1,
                            modes->count);
    if (!(guard->scale > 0 && isfinite(guard->scale)))
        return dw_error_set(error, DW_BAD_USE, 0, "mode '%s', guard %zu: scale %g: must be above zero and finite", name, k + 1,
                            guard->scale);
    bool finite = isfinite(guard->offset);
    for (size_t j = 0; guard->state && j < modes->states; j++)
        finite = finite && isfinite(guard->state[j]);
    for (size_t j = 0; guard->input && j < modes->inputs; j++)
        finite = finite && isfinite(guard->input[j]);
    return finite ? DW_OK : dw_error_set(error, DW_BAD_USE, 0, "mode '%s', guard %zu: an entry is not finite", name, k + 1);
}

/* Natural scales within which neither squares nor their sums leave the range of numbers. */
static const double smallest = 1e-100, largest = 1e100;

enum dw_status modes_check_sizes(size_t count, size_t states, size_t inputs, size_t outputs, struct dw_error *error)
{
    if (states >= 1 && states <= DW_STATES && inputs <= DW_INPUTS && outputs <= DW_OUTPUTS && count >= 1)
        return DW_OK;
    return dw_error_set(error, DW_BAD_USE, 0,
                        "%zu modes of %zu states, %zu inputs, %zu outputs: needs a mode, 1 to %d states, up to %d inputs, %d "
                        "outputs",
                        count, states, inputs, outputs, DW_STATES, DW_INPUTS, DW_OUTPUTS);
}

enum dw_status modes_check_scales(const char *what, const double *scale, size_t count, struct dw_error *error)
{
    for (size_t j = 0; j < count; j++)
        if (!scale || !(scale[j] >= smallest && scale[j] <= largest))
            return dw_error_set(error, DW_BAD_USE, 0, "%s %zu: a natural scale of %g: expected from %g to %g", what, j + 1,
                                scale ? scale[j] : NAN, smallest, largest);
    return DW_OK;
}

enum dw_status modes_check_guards(const char *name, size_t count, struct dw_error *error)
{
    return count <= MODE_GUARDS ? DW_OK : dw_error_set(error, DW_BAD_USE, 0, "mode '%s' has %zu guards: up to %d",
                                                       name ? name : "unnamed", count, MODE_GUARDS);
}

/* rows [count x (left_width + right_width + 1)] = (left | right | column); NULL blocks as zeros. */
static void join(double *out, const double *left, size_t left_width, const double *right, size_t right_width,
                 const double *column, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        for (size_t j = 0; j < left_width; j++)
            *out++ = left ? left[i * left_width + j] : 0;
        for (size_t j = 0; j < right_width; j++)
            *out++ = right ? right[i * right_width + j] : 0;
        *out++ = column ? column[i] : 0;
    }
}

static struct dw_system *mode_system(const struct dw_modes *modes, const struct dw_mode *mode, struct dw_error *error)
{
    const size_t n = modes->states, m = modes->inputs, p = modes->outputs;
    double *b = calloc(2 * n * (m + 1) + p * (m + 1) + n * n, sizeof *b);
    if (!b) {
        dw_no_memory(error);
        return NULL;
    }
    double *b_low = b + n * (m + 1), *d = b_low + n * (m + 1), *zero = d + p * (m + 1);
    join(b, NULL, 0, mode->b, m, mode->e, n);
    join(b_low, NULL, 0, mode->b_low, m, mode->e_low, n);
    join(d, NULL, 0, mode->d, m, mode->f, p);
    const struct dw_matrices matrices = { .states = n, .inputs = m + 1, .outputs = p, .a = mode->a ? mode->a : zero,
                                          .b = b, .c = mode->c, .d = d, .a_low = mode->a_low, .b_low = b_low,
                                          .weight = modes->weighted ? modes->weight : NULL };
    struct dw_system *system = system_new(&matrices, error);
    free(b);
    return system;
}

/* Where one state alone decides: which, and where it has the guard at zero. */
static void find_alone(size_t states, size_t inputs, struct guard *guard)
{
    const struct functional *value = &guard->value;
    const size_t offset = states + inputs;  /* the last of the row */
    const unsigned others = value->row[offset] != 0 ? value->count - 1u : value->count;
    guard->alone = value->states == 1 && others == 1 ? value->at[0] : states;
    if (guard->alone < states)
        guard->zero = 0 - value->row[offset] / value->row[guard->alone];  /* 0 -: never a zero below zero */
}

static void copy_guard(const struct dw_modes *modes, const struct dw_system *system, const struct dw_guard *given,
                       struct guard *guard, double **memory)
{
    const size_t n = modes->states, m = modes->inputs, width = n + m + 1;
    double *row = *memory;
    join(row, given->state, n, given->input, m, &given->offset, 1);
    *memory += width;
    guard->value = functional_of(system, row, given->scale);
    find_alone(n, m, guard);
    guard->next = given->next;
    guard->tag = given->tag;
    if (given->reset) {
        guard->reset = *memory;
        join(guard->reset, given->reset, n, given->reset_input, m, given->reset_offset, n);
        *memory += n * width;
    }
}

static enum dw_status copy_mode(struct dw_modes *modes, size_t i, const struct dw_mode *given, struct dw_error *error)
{
    const size_t width = modes->states + modes->inputs + 1;
    size_t numbers = 0;
    enum dw_status status = modes_check_guards(given->name, given->guard_count, error);
    for (size_t k = 0; k < given->guard_count && status == DW_OK; k++) {
        status = check_guard(modes, given, k, error);
        numbers += width + (given->guards[k].reset ? modes->states * width : 0);
    }
    if (status == DW_OK)
        status = modes_add(modes, i, given->name, given->guard_count, numbers, error);
    if (status != DW_OK)
        return status;
    struct mode *mode = modes->modes[i];
    double *memory = mode->memory;
    mode->curve = given->curve;
    mode->system = mode_system(modes, given, error);
    if (!mode->system)
        return error ? error->status : DW_BAD_USE;
    for (size_t k = 0; k < given->guard_count; k++)
        copy_guard(modes, mode->system, given->guards + k, mode->guards + k, &memory);
    for (size_t j = 0; j < modes->outputs; j++)
        mode->outputs[j] = functional_of(mode->system, mode->system->output + j * width, modes->scale[j]);
    return DW_OK;
}

enum dw_status modes_add(struct dw_modes *modes, size_t i, const char *name, size_t guards, size_t numbers, struct dw_error *error)
{
    struct mode *mode = modes->modes[i] = calloc(1, sizeof *mode);
    if (!mode)
        return dw_no_memory(error);
    mode->name = strdup(name ? name : "unnamed");
    mode->guards = calloc(guards + 1, sizeof *mode->guards);
    mode->outputs = calloc(modes->outputs + 1, sizeof *mode->outputs);
    mode->memory = malloc((numbers + 1) * sizeof *mode->memory);
    mode->guard_count = guards;
    return mode->name && mode->guards && mode->outputs && mode->memory ? DW_OK : dw_no_memory(error);
}

static void free_mode(struct mode *mode)
{
    if (!mode)
        return;
    free(mode->name);
    free(mode->guards);
    free(mode->outputs);
    free(mode->memory);
    dw_system_free(mode->system);
    free(mode);
}

enum dw_status modes_need(struct dw_modes *modes, size_t i, struct dw_error *error)
{
    if (modes->modes[i])
        return DW_OK;
    struct dw_mode given = { .name = NULL };
    modes->make(modes->of, i, &given);
    const enum dw_status status = copy_mode(modes, i, &given, error);
    if (status != DW_OK) {  /* not half a mode */
        free_mode(modes->modes[i]);
        modes->modes[i] = NULL;
    }
    return status;
}

struct dw_modes *modes_allocate(const struct dw_modes_plan *plan, struct dw_error *error)
{
    struct dw_modes *modes = calloc(1, sizeof *modes);
    if (modes) {
        *modes = (struct dw_modes){ .states = plan->states, .inputs = plan->inputs, .outputs = plan->outputs, .count = plan->mode_count };
        /* NOLINTNEXTLINE(clang-analyzer-optin.portability.UnixAPI): the plan was checked and has a mode */
        modes->modes = calloc(modes->count, sizeof *modes->modes);
        modes->scale = malloc((modes->outputs + 1) * sizeof *modes->scale);
    }
    if (!modes || !modes->modes || !modes->scale) {
        dw_no_memory(error);
        dw_modes_free(modes);
        return NULL;
    }
    for (size_t j = 0; j < modes->outputs; j++)
        modes->scale[j] = plan->scale[j];
    for (size_t j = 0; plan->drifts && j < modes->states; j++)
        modes->drifts[j] = plan->drifts[j];
    return modes;
}

struct dw_modes *dw_modes_new(const struct dw_modes_plan *plan, struct dw_error *error)
{
    if (modes_check_sizes(plan->mode_count, plan->states, plan->inputs, plan->outputs, error) != DW_OK ||
        modes_check_scales("output", plan->scale, plan->outputs, error) != DW_OK)
        return NULL;
    struct dw_modes *modes = modes_allocate(plan, error);
    if (!modes)
        return NULL;
    modes->engine = &switched_engine;
    modes->make = plan->make;
    modes->of = plan->of;
    modes->weighted = plan->weight;
    for (size_t j = 0; plan->weight && j < plan->states; j++)
        modes->weight[j] = plan->weight[j];
    enum dw_status status = plan->modes ? DW_OK : modes_need(modes, 0, error);
    for (size_t i = 0; plan->modes && i < plan->mode_count && status == DW_OK; i++)
        status = copy_mode(modes, i, plan->modes + i, error);
    if (status != DW_OK) {
        dw_modes_free(modes);
        return NULL;
    }
    return modes;
}

double dw_modes_scale(const struct dw_modes *modes, size_t output)
{
    return modes->scale[output];
}

void dw_modes_free(struct dw_modes *modes)
{
    if (!modes)
        return;
    for (size_t i = 0; modes->modes && i < modes->count; i++)
        free_mode(modes->modes[i]);
    free(modes->modes);
    free(modes->scale);
    free(modes);
}
