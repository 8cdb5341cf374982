/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a run asks of modes that are linear: guards, resets, outputs; walk.c carries the state. */
#include "linear/modes_inner.h"
#include <float.h>
#include <math.h>
#include <string.h>

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
            rates_at(&stretch, &run->node, &rates);
        rates_known = true;
        slopes_at(&stretch, &run->node, &rates, &guard->value, &slopes);
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
    const double length = run->goal_time - run->time, slack = 4 * DBL_EPSILON * fabs(run->goal_time);
    const enum dw_status status =
        stretch_set(&run->stretch, present_mode(run)->system, run->input, run->goal_input, length, slack, error);
    if (status == DW_OK)
        stretch_input(&run->stretch, stretch_seek(&run->stretch, offset), 0, &run->node);
    return status;
}


static enum dw_status walk(struct dw_run *run, struct doubled *offset, const struct guard **guard, struct dw_error *error)
{
    const enum dw_status status = run_walk(run, offset, guard, error);
    if (status != DW_OK || !*guard)  /* unrun: passed-on */
        return status;
    set_on_guard(*guard, run->modes->states, &run->node);
    if (run->tangent)
        run_tangent_event_begin(run, *guard);
    return DW_OK;
}

static enum dw_status leave(struct dw_run *run, double time, const struct guard *guard, struct dw_error *error)
{
    (void)time;
    apply_reset(run, guard, &run->node);
    const enum dw_status status = run_set_mode(run, guard->next, error);
    if (status == DW_OK && run->tangent)
        run_tangent_reset(run, guard);
    return status;
}

/* The rate is had in doubled precision, since a fast state's is the small difference of large terms. */
static void output(const struct dw_run *run, double time, const struct node *node, double *value, double *slope)
{
    const struct dw_system *system = present_mode(run)->system;
    const size_t n = system->states, both = n + system->inputs;
    (void)time;
    dw_system_output(system, node->high, node->high + n, value);
    if (!slope)
        return;
    struct node rate;
    block_apply(system->rate_high, system->rate_low, n, both, node->high, node->low, rate.high, rate.low);
    for (size_t j = n; j < both; j++)
        rate.high[j] = run->stretch.slope[j - n].hi;
    dw_system_output(system, rate.high, rate.high + n, slope);
}

const struct engine switched_engine = { .output = output, .broken = broken_guard, .leave = leave, .enter = enter, .walk = walk };
