/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Copies a plan of modes, checking it. */
#include "linear/modes_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *mode_name(const struct dw_modes_plan *plan, size_t i)
{
    return plan->modes[i].name ? plan->modes[i].name : "unnamed";
}

static enum dw_status check_guard(const struct dw_modes_plan *plan, size_t i, size_t k, struct dw_error *error)
{
    const struct dw_guard *guard = plan->modes[i].guards + k;
    if (guard->next >= plan->mode_count)
        return dw_error_set(error, DW_BAD_USE, 0, "mode '%s', guard %zu: next mode %zu of %zu", mode_name(plan, i), k + 1,
                            guard->next + 1, plan->mode_count);
    if (!(guard->scale > 0 && isfinite(guard->scale)))
        return dw_error_set(error, DW_BAD_USE, 0, "mode '%s', guard %zu: scale %g: must be above zero and finite",
                            mode_name(plan, i), k + 1, guard->scale);
    bool finite = isfinite(guard->offset);
    for (size_t j = 0; guard->state && j < plan->states; j++)
        finite = finite && isfinite(guard->state[j]);
    for (size_t j = 0; guard->input && j < plan->inputs; j++)
        finite = finite && isfinite(guard->input[j]);
    if (!finite)
        return dw_error_set(error, DW_BAD_USE, 0, "mode '%s', guard %zu: an entry is not finite", mode_name(plan, i), k + 1);
    return DW_OK;
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

static enum dw_status check_plan(const struct dw_modes_plan *plan, struct dw_error *error)
{
    enum dw_status status = modes_check_sizes(plan->mode_count, plan->states, plan->inputs, plan->outputs, error);
    if (status == DW_OK)
        status = modes_check_scales("output", plan->scale, plan->outputs, error);
    for (size_t i = 0; i < plan->mode_count && status == DW_OK; i++)
        status = modes_check_guards(plan->modes[i].name, plan->modes[i].guard_count, error);
    for (size_t i = 0; i < plan->mode_count; i++)
        for (size_t k = 0; k < plan->modes[i].guard_count && status == DW_OK; k++)  /* unrun: passed-on */
            status = check_guard(plan, i, k, error);
    return status;
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

static struct dw_system *mode_system(const struct dw_modes_plan *plan, const struct dw_mode *mode, double *scratch,
                                     struct dw_error *error)
{
    const size_t n = plan->states, m = plan->inputs, p = plan->outputs;
    double *b = scratch, *b_low = b + n * (m + 1), *d = b_low + n * (m + 1), *zero = d + p * (m + 1);
    join(b, NULL, 0, mode->b, m, mode->e, n);
    join(b_low, NULL, 0, mode->b_low, m, mode->e_low, n);
    join(d, NULL, 0, mode->d, m, mode->f, p);
    memset(zero, 0, n * n * sizeof *zero);
    const struct dw_matrices matrices = { .states = n, .inputs = m + 1, .outputs = p, .a = mode->a ? mode->a : zero,
                                          .b = b, .c = mode->c, .d = d, .a_low = mode->a_low, .b_low = b_low,
                                          .weight = plan->weight };
    return system_new(&matrices, error);
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

static enum dw_status copy_mode(struct dw_modes *modes, const struct dw_modes_plan *plan, size_t i, double *scratch,
                                double **memory, struct dw_error *error)
{
    const struct dw_mode *given = plan->modes + i;
    struct mode *mode = modes->modes + i;
    const size_t width = modes->states + modes->inputs + 1;
    mode->name = strdup(mode_name(plan, i));
    mode->guards = calloc(given->guard_count + 1, sizeof *mode->guards);
    mode->outputs = calloc(modes->outputs + 1, sizeof *mode->outputs);
    if (!mode->name || !mode->guards || !mode->outputs)
        return dw_no_memory(error);
    mode->system = mode_system(plan, given, scratch, error);
    if (!mode->system)
        return error ? error->status : DW_BAD_USE;
    mode->guard_count = given->guard_count;
    for (size_t k = 0; k < given->guard_count; k++)
        copy_guard(modes, mode->system, given->guards + k, mode->guards + k, memory);
    for (size_t j = 0; j < modes->outputs; j++) {
        const double *row = mode->system->output + j * width;
        mode->outputs[j] = functional_of(mode->system, row, plan->scale[j]);
    }
    return DW_OK;
}

struct dw_modes *modes_allocate(size_t count, size_t numbers, struct dw_error *error)
{
    struct dw_modes *modes = calloc(1, sizeof *modes);
    if (modes) {
        /* NOLINTNEXTLINE(clang-analyzer-optin.portability.UnixAPI): the plan was checked and has a mode */
        modes->modes = calloc(count, sizeof *modes->modes);
        modes->memory = malloc(numbers * sizeof *modes->memory);
        modes->count = count;
    }
    if (modes && modes->modes && modes->memory)
        return modes;
    dw_no_memory(error);
    dw_modes_free(modes);
    return NULL;
}

struct dw_modes *modes_of_plan(const struct dw_modes_plan *plan, struct dw_error *error)
{
    if (check_plan(plan, error) != DW_OK)
        return NULL;
    const size_t n = plan->states, m = plan->inputs, p = plan->outputs, width = n + m + 1;
    size_t numbers = p + 1;
    for (size_t i = 0; i < plan->mode_count; i++)
        for (size_t k = 0; k < plan->modes[i].guard_count; k++)
            numbers += width + (plan->modes[i].guards[k].reset ? n * width : 0);
    struct dw_modes *modes = modes_allocate(plan->mode_count, numbers, error);
    double *scratch = malloc((2 * n * (m + 1) + p * (m + 1) + n * n) * sizeof *scratch);
    enum dw_status status = modes && scratch ? DW_OK : dw_no_memory(error);
    if (status == DW_OK) {
        modes->states = n;
        modes->inputs = m;
        modes->outputs = p;
        modes->scale = modes->memory;
        for (size_t j = 0; j < p; j++)
            modes->scale[j] = plan->scale[j];
        for (size_t j = 0; plan->drifts && j < n; j++)
            modes->drifts[j] = plan->drifts[j];
        double *memory = modes->memory + p;
        for (size_t i = 0; i < plan->mode_count && status == DW_OK; i++)
            status = copy_mode(modes, plan, i, scratch, &memory, error);
    }
    free(scratch);
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
    for (size_t i = 0; modes->modes && i < modes->count; i++) {
        free(modes->modes[i].name);
        free(modes->modes[i].guards);
        free(modes->modes[i].outputs);
        dw_system_free(modes->modes[i].system);
    }
    free(modes->modes);
    free(modes->memory);
    free(modes);
}
