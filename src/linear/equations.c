/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Copies a plan of smooth equations, checking it; and what a run asks of them at an instant. */
#include "linear/modes_inner.h"
#include <dutywright/equations.h>
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TOLERANCE 1e-10
static const double finest = 1e-13, coarsest = 1e-3;

static enum dw_status check_functions(const struct dw_equations *plan, struct dw_error *error)
{
    bool guarded = false;
    for (size_t i = 0; i < plan->mode_count; i++)
        guarded = guarded || plan->modes[i].guard_count > 0;
    const char *const missing = !plan->rate ? "rate" : plan->outputs > 0 && !plan->output ? "output" :
                                guarded && !plan->guards ? "guards" : guarded && !plan->leave ? "leave" : NULL;
    return missing ? dw_error_member(error, missing, "equations without their function '%s'", missing) : DW_OK;
}

static enum dw_status check_plan(const struct dw_equations *plan, struct dw_error *error)
{
    enum dw_status status = dwi_modes_check_sizes(plan->mode_count, plan->states, plan->inputs, plan->outputs, error);
    if (status == DW_OK)
        status = dwi_modes_check_scales("state", plan->state_scale, plan->states, error);
    if (status == DW_OK)
        status = dwi_modes_check_scales("output", plan->scale, plan->outputs, error);
    for (size_t i = 0; i < plan->mode_count && status == DW_OK; i++)
        status = dwi_modes_check_guards(plan->modes[i].name, plan->modes[i].guard_count, error);
    if (status == DW_OK)
        status = check_functions(plan, error);
    if (status == DW_OK && plan->tolerance != 0 && !(plan->tolerance >= finest && plan->tolerance <= coarsest))
        return dw_error_member(error, "tolerance", "a tolerance of %g a step: expected from %g to %g", plan->tolerance, finest,
                               coarsest);
    return status;
}

static enum dw_status copy_mode(struct dw_modes *modes, size_t i, const struct dw_equations_mode *given, struct dw_error *error)
{
    const enum dw_status status = dwi_modes_add(modes, i, given->name, given->guard_count, 0, error);
    for (size_t k = 0; k < given->guard_count && status == DW_OK; k++)
        modes->modes[i]->guards[k].tag = (int)k;
    return status;
}

static const struct engine smooth_engine;

struct dw_modes *dw_modes_new_smooth(const struct dw_equations *plan, struct dw_error *error)
{
    if (check_plan(plan, error) != DW_OK)
        return NULL;
    struct dw_modes *modes = dwi_modes_allocate(&(struct dw_modes_plan){
        .states = plan->states, .inputs = plan->inputs, .outputs = plan->outputs, .mode_count = plan->mode_count, .scale = plan->scale,
        .drifts = plan->drifts }, error);
    if (!modes)
        return NULL;
    enum dw_status status = DW_OK;
    modes->engine = &smooth_engine;
    modes->equations = *plan;
    memcpy(modes->weight, plan->state_scale, plan->states * sizeof *modes->weight);
    modes->equations.state_scale = modes->weight;
    modes->equations.tolerance = plan->tolerance > 0 ? plan->tolerance : TOLERANCE;
    for (size_t i = 0; i < plan->mode_count && status == DW_OK; i++)
        status = copy_mode(modes, i, plan->modes + i, error);
    if (status != DW_OK) {
        dw_modes_free(modes);
        return NULL;
    }
    return modes;
}

/* ---- at an instant of a run ---- */

/* A knot where the run stands; the node's input is set. */
static void knot_here(const struct dw_run *run, double time, const struct node *node, struct knot *knot)
{
    const size_t n = run->modes->states;
    knot->time = time;
    memcpy(knot->state, node->high, n * sizeof *knot->state);
    memcpy(knot->input, node->high + n, run->modes->inputs * sizeof *knot->input);
    for (size_t j = 0; j < run->modes->inputs; j++)
        knot->input_slope[j] = run_slope(run, node, j);
}

/* Curves with their slopes there, where no step is under way; returns how far apart they were looked at. */
static double look_around(const struct dw_run *run, struct knot *knot, bool outputs)
{
    const double last = run->hint[run->mode].length, length = run->stretch.length > 0 ? run->stretch.length : 1;
    dwi_knot_rate(run, knot);
    const double span = dwi_knot_span(run, knot, lesser(last, length));
    dwi_knot_curves(run, knot, outputs, span);
    return span;
}

static void output(const struct dw_run *run, double time, const struct node *node, double *value, double *slope)
{
    const struct dw_equations *equations = &run->modes->equations;
    if (!slope && run->modes->outputs > 0)
        equations->output(equations->of, run->mode, time, node->high, node->high + run->modes->states, value);
    if (!slope)
        return;
    const size_t p = run->modes->outputs, guards = present_mode(run)->guard_count;
    struct knot knot;
    knot_here(run, time, node, &knot);
    look_around(run, &knot, p > 0);
    memcpy(value, knot.value + guards, p * sizeof *value);
    memcpy(slope, knot.slope + guards, p * sizeof *slope);
}

/* Slopes by differences are known to a few 2^-53 of the values that far apart, and cubics through them to no more than CLOSEST. */
static void look(const struct dw_run *run, double time, const struct node *node, struct sight *sight)
{
    const size_t p = run->modes->outputs, guards = present_mode(run)->guard_count;
    struct knot knot;
    knot_here(run, time, node, &knot);
    const double span = look_around(run, &knot, p > 0);
    for (size_t j = 0; j < p; j++) {
        const double value = knot.value[guards + j], scale = run->modes->scale[j];
        sight->value[j] = value;
        sight->slope[j] = knot.slope[guards + j];
        sight->size[j] = larger(fabs(value), 0x1p50 * CLOSEST * scale);
        sight->noise[j] = 8 * DBL_EPSILON * larger(fabs(value), scale) / span;
    }
}

static const struct guard *broken_guard(const struct dw_run *run, double time, bool slopes_known)
{
    const struct mode *mode = present_mode(run);
    struct knot knot;
    double span = 0;
    knot_here(run, time, &run->node, &knot);
    dwi_knot_curves(run, &knot, false, 0);
    for (size_t k = 0; k < mode->guard_count; k++) {
        if (knot.value[k] < -ON_GUARD)
            return mode->guards + k;
        if (knot.value[k] > 0 || !slopes_known)
            continue;
        if (span == 0)
            span = look_around(run, &knot, false);
        if (knot.slope[k] * span < -4 * DBL_EPSILON)  /* a slower fall may be rounding; if it is none, the walk will see it */
            return mode->guards + k;
    }
    return NULL;
}

static enum dw_status leave(struct dw_run *run, double time, const struct guard *guard, struct dw_error *error)
{
    const struct dw_equations *equations = &run->modes->equations;
    const struct mode *mode = present_mode(run);
    const size_t n = run->modes->states, which = (size_t)(guard - mode->guards);
    const size_t next = equations->leave(equations->of, run->mode, which, time, run->node.high, run->node.high + n);
    if (next >= run->modes->count)
        return dw_error_set(error, DW_BAD_USE, 0, "mode '%s', guard %zu: next mode %zu of %zu", mode->name, which + 1, next + 1,
                            run->modes->count);
    for (size_t i = 0; i < n; i++)
        if (!isfinite(run->node.high[i]))
            return dw_error_set(error, DW_BAD_USE, 0, "mode '%s', guard %zu: leaves state %zu not finite at %.9g s", mode->name,
                                which + 1, i + 1, time);
    return dwi_run_set_mode(run, next, error);
}

static void bend_inputs(struct dw_run *run)
{
    const struct dw_interval over = run_interval(run);
    struct doubled w[POWERS + 1];
    for (size_t j = 0; over.slope && j < run->modes->inputs; j++)
        if (dwi_interval_powers(&over, j, run->modes->inputs + 1, w)) {
            dwi_stretch_bend(&run->stretch, j, w, over.length);
            run->stretch.curved = true;
        }
}

static enum dw_status enter(struct dw_run *run, struct doubled offset, struct dw_error *error)
{
    struct stretch *stretch = &run->stretch;
    (void)error;
    stretch->length = run->goal_time - run->time;
    stretch->curved = false;
    for (size_t j = 0; j < run->modes->inputs; j++) {
        const double slope = (run->goal_input[j] - run->input[j]) / stretch->length;
        stretch->slope[j] = doubled_of(isfinite(slope) ? slope : 0);  /* in a time in which no state moves: a jump at its end */
        stretch->second[j] = stretch->third[j] = doubled_of(0);
    }
    bend_inputs(run);
    dwi_step_input(run, offset.hi, run->node.high + run->modes->states);
    dwi_step_slope(run, offset.hi, run->node.high + run->modes->states + run->modes->inputs + 1);
    return DW_OK;
}

static const struct engine smooth_engine = { .output = output, .look = look, .broken = broken_guard, .leave = leave, .enter = enter,
                                             .walk = dwi_smooth_walk };
