/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Modes that are linear: copies their plan, checking it, and tells a run of guards, resets and outputs; walk.c carries the state. */
#include "linear/modes_inner.h"
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- the plan ---- */

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

struct part {
    const double *entry;  /* [count x width]; NULL: zeros */
    size_t width;
};

/* rows [count x (widths of left and right + 1)] = (left | right | column), which may be NULL for zeros. */
static void join(double *out, struct part left, struct part right, const double *column, size_t count)
{
    const struct part parts[] = { left, right, { column, 1 } };
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < 3; k++)
            for (size_t j = 0; j < parts[k].width; j++)
                *out++ = parts[k].entry ? parts[k].entry[i * parts[k].width + j] : 0;
}

/* p: how many of its outputs and probes. */
static struct dw_system *mode_system(const struct dw_modes *modes, const struct dw_mode *mode, size_t p, struct dw_error *error)
{
    const size_t n = modes->states, m = modes->inputs;
    double *b = calloc(2 * n * (m + 1) + p * (m + 1) + n * n, sizeof *b);
    if (!b) {
        dw_no_memory(error);
        return NULL;
    }
    double *b_low = b + n * (m + 1), *d = b_low + n * (m + 1), *zero = d + p * (m + 1);
    const struct part none = { NULL, 0 };
    join(b, none, (struct part){ mode->b, m }, mode->e, n);
    join(b_low, none, (struct part){ mode->b_low, m }, mode->e_low, n);
    join(d, none, (struct part){ mode->d, m }, mode->f, p);
    const struct dw_matrices matrices = { .states = n, .inputs = m + 1, .outputs = p, .a = mode->a ? mode->a : zero,
                                          .b = b, .c = mode->c, .d = d, .a_low = mode->a_low, .b_low = b_low,
                                          .weight = modes->weighted ? modes->weight : NULL };
    struct dw_system *system = dwi_system_new(&matrices, error);
    free(b);
    return system;
}

/* What integrals are taken of. */
static struct dw_system *counted_system(const struct dw_modes *modes, const struct dw_mode *mode, struct dw_error *error)
{
    struct dw_mode counted = *mode;
    if (mode->origin) {
        counted.e = mode->origin_e;
        counted.e_low = NULL;
        counted.f = mode->origin_f;
    }
    return mode_system(modes, &counted, modes->outputs + modes->probes, error);
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
    join(row, (struct part){ given->state, n }, (struct part){ given->input, m }, &given->offset, 1);
    *memory += width;
    guard->value = dwi_functional_of(system, row, given->scale);
    find_alone(n, m, guard);
    guard->next = given->next;
    guard->tag = given->tag;
    if (given->reset) {
        guard->reset = *memory;
        join(guard->reset, (struct part){ given->reset, n }, (struct part){ given->reset_input, m }, given->reset_offset, n);
        *memory += n * width;
    }
}

static enum dw_status copy_mode(struct dw_modes *modes, size_t i, const struct dw_mode *given, struct dw_error *error)
{
    const size_t width = modes->states + modes->inputs + 1;
    size_t numbers = 0;
    enum dw_status status = dwi_modes_check_guards(given->name, given->guard_count, error);
    for (size_t k = 0; k < given->guard_count && status == DW_OK; k++) {
        status = check_guard(modes, given, k, error);
        numbers += width + (given->guards[k].reset ? modes->states * width : 0);
    }
    if (status == DW_OK)
        status = dwi_modes_add(modes, i, given->name, given->guard_count, numbers, error);
    if (status != DW_OK)
        return status;
    struct mode *mode = modes->modes[i];
    double *memory = mode->memory;
    mode->curve = given->curve;
    for (size_t j = 0; given->origin && j < modes->states; j++)
        mode->origin[j] = given->origin[j];
    mode->system = mode_system(modes, given, modes->outputs, error);
    const bool counts = modes->probes > 0 || given->origin;
    mode->counted = mode->system && counts ? counted_system(modes, given, error) : NULL;
    if (!mode->system || (counts && !mode->counted))
        return error ? error->status : DW_BAD_USE;
    for (size_t k = 0; k < given->guard_count; k++)
        copy_guard(modes, mode->system, given->guards + k, mode->guards + k, &memory);
    for (size_t j = 0; j < modes->outputs; j++)
        mode->outputs[j] = dwi_functional_of(mode->system, mode->system->output + j * width, modes->scale[j]);
    return DW_OK;
}

static enum dw_status make_mode(struct dw_modes *modes, size_t i, struct dw_error *error)
{
    struct dw_mode given = { .name = NULL };
    modes->make(modes->of, i, &given);
    const enum dw_status status = copy_mode(modes, i, &given, error);
    if (status != DW_OK)
        dwi_modes_drop(modes, i);  /* not half a mode */
    return status;
}

/* ---- at an instant of a run ---- */

/* State after a guard's reset, input part unchanged. */
static void apply_reset(const struct dw_run *run, const struct guard *guard, struct node *node)
{
    const size_t n = run->modes->states, width = n + run->modes->inputs + 1;
    double high[DW_STATES], low[DW_STATES];
    const double *row = guard->reset;
    if (!row)
        return;
    for (size_t i = 0; i < n; i++, row += width) {
        struct doubled sum = { 0, 0 };
        for (size_t j = 0; j < width; j++)
            if (row[j] != 0)
                sum = doubled_sum(sum, doubled_product((struct doubled){ node->high[j], node->low[j] }, doubled_of(row[j])));
        high[i] = sum.hi;
        low[i] = sum.lo;
    }
    memcpy(node->high, high, n * sizeof *high);
    memcpy(node->low, low, n * sizeof *low);
}

/* Whether a guard at zero is going down. */
static bool goes_down(const struct slopes *slopes)
{
    for (unsigned order = 1; order <= ORDERS; order++)
        if (slopes->order[order] != 0)
            return slopes->order[order] < 0;
    return false;
}

static const struct guard *broken_guard(const struct dw_run *run, double time, bool slopes_known)
{
    (void)time;
    const struct mode *mode = present_mode(run);
    struct rates rates;
    bool rates_known = false;
    for (size_t k = 0; k < mode->guard_count; k++) {
        const struct guard *guard = mode->guards + k;
        const double value = functional_at(&guard->value, &run->node);
        if (value < -ON_GUARD * guard->value.scale)
            return guard;
        if (value > 0 || !slopes_known || (guard->value.still && run->stretch.flat))
            continue;
        struct chain plain = { 0 };  /* not stiff: double precision does for signs */
        struct stretch stretch = run->stretch;
        struct slopes slopes;
        stretch.system = mode->system;
        stretch.chain = &plain;
        if (!rates_known)
            dwi_rates_at(&stretch, &run->node, ORDERS, &rates);
        rates_known = true;
        dwi_slopes_at(&stretch, &run->node, &rates, &guard->value, &slopes);
        if (goes_down(&slopes))
            return guard;
    }
    return NULL;
}

/* At its event a guard is zero but for the rounding of the instant. Where one state alone decides, that state is known: a diode
 * stops at a current of 0, not of 1e-19 A. */
static void set_on_guard(const struct guard *guard, size_t states, struct node *node)
{
    if (guard->alone == states)
        return;
    node->high[guard->alone] = guard->zero;
    node->low[guard->alone] = 0;
}

static enum dw_status enter(struct dw_run *run, struct doubled offset, struct dw_error *error)
{
    const struct dw_interval over = run_interval(run);
    const size_t m = run->modes->inputs + 1, at = run->modes->states + m;
    const enum dw_status status = dwi_stretch_set(&run->stretch, present_mode(run)->system, &over, walk_slack(run), error);
    if (status != DW_OK)
        return status;
    dwi_stretch_input(&run->stretch, dwi_stretch_seek(&run->stretch, offset), 0, &run->node);
    if (run->stretch.curved)  /* integrals go on from here, with the slopes of this stretch */
        memcpy(run->passed + at, run->node.high + at, m * sizeof *run->passed);
    return DW_OK;
}


static enum dw_status walk(struct dw_run *run, struct doubled *offset, const struct guard **guard, struct dw_error *error)
{
    const enum dw_status status = dwi_run_walk(run, offset, guard, error);
    if (status != DW_OK || !*guard)
        return status;
    set_on_guard(*guard, run->modes->states, &run->node);
    if (run->tangent)
        dwi_run_tangent_event_begin(run, *guard);
    return DW_OK;
}

static enum dw_status leave(struct dw_run *run, double time, const struct guard *guard, struct dw_error *error)
{
    (void)time;
    apply_reset(run, guard, &run->node);
    const enum dw_status status = dwi_run_set_mode(run, guard->next, error);
    if (status == DW_OK && run->tangent)
        dwi_run_tangent_reset(run, guard);
    return status;
}

/* The rate along the input; doubled: in such precision, since a fast state's is the small difference of large terms. */
static void rate_along(const struct dw_run *run, const struct node *node, bool doubled, struct node *rate)
{
    const struct dw_system *system = present_mode(run)->system;
    const size_t n = system->states, both = n + system->inputs;
    dwi_block_apply(system->rate_high, doubled ? system->rate_low : NULL, n, both, node->high, node->low, rate->high, rate->low);
    for (size_t j = n; j < both; j++)
        rate->high[j] = run_slope(run, node, j - n);
}

static void output(const struct dw_run *run, double time, const struct node *node, double *value, double *slope)
{
    const struct dw_system *system = present_mode(run)->system;
    struct node rate;
    (void)time;
    dw_system_output(system, node->high, node->high + system->states, value);
    if (!slope)
        return;
    rate_along(run, node, true, &rate);
    dw_system_output(system, rate.high, rate.high + system->states, slope);
}

/* States are rounded to 2^-53, or where they are carried doubled to some 2^-104. */
static void look(const struct dw_run *run, double time, const struct node *node, struct sight *sight)
{
    const struct mode *mode = present_mode(run);
    const struct dw_system *system = mode->system;
    const size_t n = system->states, both = n + system->inputs;
    double known[NODE_WIDTH];
    struct node rate;
    bool doubled = false;
    for (size_t i = 0; i < n; i++)
        doubled = doubled || node->low[i] != 0;
    /* of a state that is itself rounded no more is known than plain numbers hold */
    const double ulp = doubled ? 0x1p-100 : (double)both * DBL_EPSILON;
    output(run, time, node, sight->value, NULL);
    rate_along(run, node, doubled, &rate);
    dw_system_output(system, rate.high, rate.high + n, sight->slope);
    for (size_t i = 0; i < both; i++) {
        known[i] = DBL_EPSILON * fabs(rate.high[i]);
        for (size_t j = 0; i < n && j < both; j++)
            known[i] += ulp * fabs(system->rate_high[i * both + j] * node->high[j]);
    }
    for (size_t j = 0; j < system->outputs; j++) {
        const struct functional *functional = mode->outputs + j;
        sight->size[j] = sight->noise[j] = 0;
        for (unsigned i = 0; i < functional->count; i++) {
            const size_t at = functional->at[i];
            sight->size[j] += fabs(functional->row[at] * node->high[at]);
            sight->noise[j] += fabs(functional->row[at]) * known[at];
        }
    }
}

const struct engine dwi_switched_engine = {
    .make = make_mode, .output = output, .look = look, .broken = broken_guard, .leave = leave, .enter = enter, .walk = walk,
    .integrate = dwi_run_integrate
};

struct dw_modes *dw_modes_new(const struct dw_modes_plan *plan, struct dw_error *error)
{
    if (dwi_modes_check_sizes(plan->mode_count, plan->states, plan->inputs, plan->outputs, error) != DW_OK ||
        dwi_modes_check_scales("output", plan->scale, plan->outputs, error) != DW_OK)
        return NULL;
    struct dw_modes *modes = dwi_modes_allocate(plan, error);
    if (!modes)
        return NULL;
    modes->engine = &dwi_switched_engine;
    modes->make = plan->make;
    modes->of = plan->of;
    modes->weighted = plan->weight;
    for (size_t j = 0; plan->weight && j < plan->states; j++)
        modes->weight[j] = plan->weight[j];
    enum dw_status status = plan->modes ? DW_OK : make_mode(modes, 0, error);
    for (size_t i = 0; plan->modes && i < plan->mode_count && status == DW_OK; i++)
        status = copy_mode(modes, i, plan->modes + i, error);
    if (status != DW_OK) {
        dw_modes_free(modes);
        return NULL;
    }
    return modes;
}
