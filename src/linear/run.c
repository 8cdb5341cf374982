/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A run: from input row to input row, from mode to mode. */
#include "linear/modes_inner.h"
#include <dutywright/table.h>
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    CHAIN_OF_MODES = 64,  /* changes of mode at one instant, or within 1e-12 of the stretch each, before it is called endless */
    EVENTS_MOST = 1 << 24, /* in one stretch */
    STEPS_MOST = 1 << 22, STEPS_WITH_ROWS_MOST = 1 << 24, /* likewise, by the pace of all of them from a 64th on; */
    STEPS_JUDGED = 1 << 16 /* by that of the last so many, rows among them, where it is 64 times too slow */
};

#define INSTANT 1e-12  /* of a stretch */
#define NO_TIME 1e-100 /* s; a line so short is a jump: nothing else moves, and the squares of its slope are beyond numbers */

static size_t run_size(const struct dw_modes *modes)
{
    return sizeof(struct dw_run) + modes->count * sizeof(struct hint);
}

static bool is_size(double x)
{
    return x >= 0 && isfinite(x);
}

/* Memory for a run with these options, which it has; NULL with the reason. */
static struct dw_run *new_run(const struct dw_modes *modes, const struct dw_run_options *options, struct dw_error *error)
{
    if (!is_size(options->accuracy) || !is_size(options->uniform)) {
        dw_error_set(error, DW_BAD_USE, 0, "accuracy %g, uniform rate %g: must be finite and not below zero",
                     options->accuracy, options->uniform);
        return NULL;
    }
    if (!is_size(options->swing) || !is_size(options->carrier)) {
        dw_error_set(error, DW_BAD_USE, 0, "swing %g, carrier period %g s: must be finite and not below zero", options->swing,
                     options->carrier);
        return NULL;
    }
    if (options->integrand_count > DW_INTEGRANDS || (options->integrand_count > 0 && !modes->engine->integrate)) {
        dw_error_set(error, DW_BAD_USE, 0, "%zu integrals along a run: up to %d, and none of equations", options->integrand_count,
                     DW_INTEGRANDS);
        return NULL;
    }
    bool failed = false;
    struct dw_run *run = calloc(1, run_size(modes));
    if (run) {
        run->options = *options;
        run->curve = dwi_curve_new(options, &failed);
    }
    if (!run || failed) {
        dw_no_memory(error);
        free(run);
        return NULL;
    }
    return run;
}

struct dw_run *dw_run_new(struct dw_modes *modes, const struct dw_run_options *options, struct dw_error *error)
{
    struct dw_run *run = new_run(modes, options, error);
    if (!run)
        return NULL;
    run->modes = modes;
    return run;
}

double dwi_run_uniform_time(const struct dw_run *run, double *slack)
{
    const double time = run->begin + (double)run->uniform_next / run->options.uniform;
    *slack = dw_time_slack(fmax(fabs(time), fabs(run->begin)));
    return time;
}

/* The next uniform row is the first that is not yet past. */
static void begin_uniform(struct dw_run *run)
{
    double slack;
    run->uniform_next = (unsigned long long)fmax((run->time - run->begin) * run->options.uniform - 1, 0);
    while (run->options.uniform > 0 && dwi_run_uniform_time(run, &slack) < run->time - slack)
        run->uniform_next++;
}

static void begin_integrals(struct dw_run *run)
{
    memset(run->integral, 0, sizeof run->integral);
    run->passed_time = run->time;
    memcpy(run->passed, run->node.high, sizeof run->passed);
}

struct dw_run *dw_run_copy(const struct dw_run *run, const struct dw_run_options *options, struct dw_error *error)
{
    const struct dw_run_options given = options ? *options : run->options;
    struct dw_run *copy = new_run(run->modes, &given, error);
    if (!copy)
        return NULL;
    struct curves *const curve = copy->curve;
    memcpy(copy, run, run_size(run->modes));
    copy->options = given;
    copy->tangent = NULL;
    copy->curve = curve;
    if (curve && run->curve)
        memcpy(curve->changes, run->curve->changes, sizeof curve->changes);
    if (options)
        begin_integrals(copy);
    if (given.uniform != run->options.uniform)
        begin_uniform(copy);
    return copy;
}

void dw_run_free(struct dw_run *run)
{
    if (!run)
        return;
    free(run->tangent);
    free(run->curve);
    free(run);
}

double dw_run_time(const struct dw_run *run)
{
    return run->time;
}

size_t dw_run_mode(const struct dw_run *run)
{
    return run->mode;
}

const double *dw_run_state(const struct dw_run *run)
{
    return run->node.high;
}

const double *dw_run_integrals(const struct dw_run *run)
{
    return run->integral;
}

unsigned long long dw_run_events(const struct dw_run *run)
{
    return run->events;
}

void dw_run_output(const struct dw_run *run, double *output, double *slope)
{
    run->modes->engine->output(run, run->time, &run->node, output, slope);
}

enum dw_status dwi_run_set_mode(struct dw_run *run, size_t mode, struct dw_error *error)
{
    const enum dw_status status = run->modes->modes[mode] ? DW_OK : run->modes->engine->make(run->modes, mode, error);
    if (status != DW_OK)
        return status;
    run->mode = mode;
    if (run->hint[mode].length == 0)
        run->hint[mode].length = INFINITY;
    return DW_OK;
}

/* Leaves the present mode by a guard; too_many: that was one change more than can be believed in. */
static enum dw_status change_mode(struct dw_run *run, double time, const struct guard *guard, bool too_many,
                                  struct dw_error *error)
{
    const char *const before = present_mode(run)->name;
    const enum dw_status status = run->modes->engine->leave(run, time, guard, error);
    run->events++;
    if (status == DW_OK && too_many)
        return dw_error_set(error, DW_NO, 0, "endless switching at %.9g s between the modes '%s' and '%s'", time, before,
                            present_mode(run)->name);
    return status;
}

/* Changes modes until no guard is broken.
 *   tag   out: of the last change; untouched without any
 *   changed  out */
static enum dw_status settle(struct dw_run *run, double time, bool slopes_known, int *tag, bool *changed,
                             struct dw_error *error)
{
    *changed = false;
    for (int i = 0; present_mode(run)->guard_count > 0; i++) {
        const struct guard *guard = run->modes->engine->broken(run, time, slopes_known);
        if (!guard)
            return DW_OK;
        /* a chain through each mode once is none: a rotor put to another speed passes all chords on the way */
        const bool too_many = i >= CHAIN_OF_MODES && (size_t)i >= run->modes->count;
        const enum dw_status status = change_mode(run, time, guard, too_many, error);
        if (status != DW_OK)
            return status;
        *tag = guard->tag;
        *changed = true;
    }
    return DW_OK;
}

static void set_node_input(struct dw_run *run, const double *input)
{
    const size_t n = run->modes->states, m = run->modes->inputs;
    if (m > 0)  /* without inputs the pointer may be NULL */
        memcpy(run->input, input, m * sizeof *input);
    run->input[m] = 1;
    memcpy(run->node.high + n, run->input, (m + 1) * sizeof *input);
    memset(run->node.low + n, 0, (m + 1) * sizeof *input);
}

/* Puts the input at once to a value, settles the modes and gives a row. */
static enum dw_status jump(struct dw_run *run, const double *input, struct dw_error *error)
{
    int tag = 0;
    bool changed = false;
    set_node_input(run, input);
    for (size_t j = 0; j <= run->modes->inputs; j++)
        run->stretch.slope[j] = doubled_of(0);
    run->stretch.flat = true;
    run->stretch.curved = false;
    const enum dw_status status = settle(run, run->time, false, &tag, &changed, error);
    return status != DW_OK ? status : dwi_run_give(run, run->time, &run->node, DW_ROW_INPUT, tag, error);
}

static enum dw_status check_input(const struct dw_run *run, double time, const double *input, struct dw_error *error)
{
    if (!isfinite(time))
        return dw_error_set(error, DW_BAD_USE, 0, "time %g is not finite", time);
    for (size_t j = 0; j < run->modes->inputs; j++)
        if (!isfinite(input[j]))
            return dw_error_set(error, DW_BAD_USE, 0, "input %zu is not finite at %.9g s", j + 1, time);
    return DW_OK;
}

enum dw_status dw_run_start(struct dw_run *run, double time, size_t mode, const double *state, const double *input,
                            struct dw_error *error)
{
    const size_t n = run->modes->states;
    enum dw_status status = check_input(run, time, input, error);
    if (status != DW_OK)
        return status;
    if (mode >= run->modes->count)
        return dw_error_set(error, DW_BAD_USE, 0, "mode %zu of %zu", mode + 1, run->modes->count);
    for (size_t i = 0; i < n; i++)
        if (!isfinite(state[i]))
            return dw_error_set(error, DW_BAD_USE, 0, "state %zu is not finite at the start", i + 1);
    status = dwi_run_set_mode(run, mode, error);
    if (status != DW_OK)
        return status;
    run->time = run->begin = time;
    run->uniform_next = 0;
    run->events = 0;
    run->given = false;
    if (run->curve)
        dwi_curve_start(run);
    memset(&run->node, 0, sizeof run->node);
    memcpy(run->node.high, state, n * sizeof *state);
    begin_integrals(run);
    return jump(run, input, error);
}

enum dw_status dwi_run_pace(struct dw_run *run, double gone, bool rows, struct dw_error *error)
{
    const double whole = run->goal_time - run->time;
    const int most = rows ? STEPS_WITH_ROWS_MOST : STEPS_MOST;
    if (run->steps_most > 0 && ++run->steps_all > run->steps_most)  /* unrun: count */
        return dw_error_set(error, DW_NO, 0, "no steady state was found in %.2g steps: something changes very fast beside a period",
                            (double)run->steps_most);
    bool slow = ++run->steps % STEPS_JUDGED == 0 && run->steps >= (unsigned)most / 64 && gone * most < (double)run->steps * whole;
    /* rows that are kept back belong to steps that are not the last */
    if (++run->work >= STEPS_JUDGED && !(run->curve && run->curve->segment_count > 0)) {
        slow = slow || (gone - run->judged) * most * 64 < (double)run->work * (whole - gone);
        run->work = 0;
        run->judged = gone;
    }
    if (slow)
        return dw_error_set(error, DW_NO, 0, "at %.9g s something changes so fast that the way to the next row of the input, %.3g s, would take "
                            "more than %.2g steps", run->time + gone, whole, (double)most);
    return DW_OK;
}

/* Settles the modes at an offset, after an event or at the stretch's start, and gives the row after them. */
static enum dw_status settle_inside(struct dw_run *run, struct doubled offset, const struct guard *event,
                                    struct dw_error *error)
{
    bool changed = false;
    int tag = event ? event->tag : 0;
    const double time = fmin(run->time + offset.hi, run->goal_time);
    enum dw_status status = run->modes->engine->enter(run, offset, error);
    if (status == DW_OK)
        status = settle(run, time, true, &tag, &changed, error);
    if (status == DW_OK && changed)
        status = run->modes->engine->enter(run, offset, error);
    if (status != DW_OK || (!changed && !event))
        return status;
    if (event && run->tangent)
        dwi_run_tangent_event_end(run);
    return dwi_run_give(run, time, &run->node, DW_ROW_AFTER, tag, error);
}

/* Goes through the stretch from event to event. */
static enum dw_status run_stretch(struct dw_run *run, struct dw_error *error)
{
    struct doubled offset = { 0, 0 };
    const struct guard *guard = NULL;
    const double length = run->goal_time - run->time;
    int close = 0;
    run->steps = run->work = 0;
    run->judged = 0;
    for (int events = 0;; events++) {
        enum dw_status status = settle_inside(run, offset, guard, error);
        if (status != DW_OK)
            return status;
        const double before = offset.hi;
        status = run->modes->engine->walk(run, &offset, &guard, error);
        if (status != DW_OK || !guard)
            return status;
        const double then = fmin(run->time + offset.hi, run->goal_time);
        close = offset.hi - before <= INSTANT * length ? close + 1 : 0;
        const bool too_many = close > CHAIN_OF_MODES || events > EVENTS_MOST;  /* unrun: count */
        if (!too_many)
            status = dwi_run_give(run, then, &run->node, DW_ROW_BEFORE, guard->tag, error);
        if (status == DW_OK)
            status = change_mode(run, then, guard, too_many, error);
        if (status != DW_OK)
            return status;
    }
}

/* Goes on to the next input row, by the slopes where the run has been told some. */
static enum dw_status go_on(struct dw_run *run, double time, const double *input, struct dw_error *error)
{
    const size_t m = run->modes->inputs;
    enum dw_status status = check_input(run, time, input, error);
    if (status != DW_OK)  /* unrun: passed-on */
        return status;
    if (time < run->time)
        return dw_error_set(error, DW_BAD_USE, 0, "time goes back from %.17g to %.17g", run->time, time);
    if (time - run->time < NO_TIME) {
        run->time = time;
        return jump(run, input, error);
    }
    run->goal_time = time;
    if (m > 0)
        memcpy(run->goal_input, input, m * sizeof *input);
    run->goal_input[m] = 1;
    status = run_stretch(run, error);
    if (status != DW_OK)
        return status;
    run->time = time;
    set_node_input(run, input);
    return dwi_run_give(run, time, &run->node, DW_ROW_INPUT, 0, error);
}

enum dw_status dw_run_feed(struct dw_run *run, double time, const double *input, struct dw_error *error)
{
    run->sloped = false;
    return go_on(run, time, input, error);
}

enum dw_status dw_run_feed_curve(struct dw_run *run, double time, const double *input, const double *slope_begin, const double *slope_end,
                                 struct dw_error *error)
{
    const size_t m = run->modes->inputs;
    run->sloped = false;
    for (size_t j = 0; j < m; j++) {
        run->goal_slope[j] = slope_begin[j];
        run->goal_slope[m + 1 + j] = slope_end[j];
        run->sloped = run->sloped || (isfinite(slope_begin[j]) && isfinite(slope_end[j]));
    }
    run->goal_slope[m] = run->goal_slope[2 * m + 1] = 0;
    return go_on(run, time, input, error);
}

enum dw_status dw_run_finish(struct dw_run *run, struct dw_error *error)
{
    double time, slack;
    enum dw_status status = DW_OK;
    while (!status && run->options.uniform > 0 && (time = dwi_run_uniform_time(run, &slack)) <= run->time + slack) {
        run->uniform_next++;
        status = dwi_run_give(run, time, &run->node, DW_ROW_BETWEEN, 0, error);
    }
    return status;
}
