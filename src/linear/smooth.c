/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Walks one stretch in one mode of smooth equations, step by step; each curve is the cubic through the step's ends, and a step
 * stands if the cubics agree with the solution inside it. docs/theory.md, (2.18) and (2.19). */
#include "linear/modes_inner.h"
#include <float.h>
#include <math.h>
#include <string.h>

enum { TRIALS = 60 };      /* towards a root: halving alone would be enough */

#define GRAZE 1e-13         /* of a guard: further below zero is a crossing */
#define INSTANT 1e-14       /* of a stretch: instants are sought to that, since those 1e-12 apart count as two */

/* An instant inside the step that is to become a row or an event. */
struct found {
    double offset, state[DW_STATES];
    size_t output;  /* of an extremum */
};

/* Whether a guard whose cubic dips inside the step falls below zero there; *share in: the cubic's turn, out: where it has. The cubic
 * shows the way to the lowest point, the solution decides. */
static bool dips(const struct walk *w, size_t k, double *share)
{
    const double bend = dw_cubic_bend(w->cubic + k, *share);
    struct knot knot;
    for (int i = 0; i < TRIALS; i++) {  /* unrun: count */
        dwi_walk_inside(w, *share, &knot);
        const double slope = w->length * knot.slope[k], depth = slope * slope / (2 * bend);
        if (knot.value[k] < -GRAZE)
            return true;
        if (knot.value[k] > 2 * depth || depth <= GRAZE / 2)
            return false;
        *share = lesser(larger(*share - slope / bend, 0), 1);
    }
    return false;  /* unrun: count */
}

/* Part of the step in which a guard crosses zero once, if at all. */
static bool bracket(const struct walk *w, size_t k, double *low, double *high)
{
    const struct dw_cubic *cubic = w->cubic + k;
    const bool below = w->to->value[k] < -GRAZE;
    double at[2];
    *low = 0;
    *high = 1;
    if (!w->near[k])
        return false;
    const bool turns = dw_cubic_turns(cubic, at) == 1;
    if (turns && dw_cubic_bend(cubic, at[0]) < 0)
        *low = at[0];
    if (below || !turns || *low > 0)
        return below;
    *high = at[0];
    return dw_cubic_at(cubic, at[0]) < w->doubt[k] && dips(w, k, high);
}

/* A guard's crossing between two shares of the step, and where its cubic has it. */
struct crosses {
    double low, high, share;
};

/* Steps to where a guard falls below zero. */
static void step_to_crossing(const struct walk *w, size_t k, const struct crosses *crosses, struct found *found)
{
    const double close = INSTANT * w->run->stretch.length / w->length;
    struct knot knot;
    double low = crosses->low, high = crosses->high, share = crosses->share;
    for (int i = 0; i < TRIALS; i++) {
        dwi_walk_inside(w, share, &knot);
        *(knot.value[k] >= 0 ? &low : &high) = share;
        const double newton = share - knot.value[k] / (w->length * knot.slope[k]);
        if ((fabs(knot.value[k]) <= GRAZE && fabs(newton - share) <= close) || high - low <= DBL_EPSILON)
            break;
        share = newton > low && newton < high ? newton : (low + high) / 2;
    }
    found->offset = knot.offset;
    memcpy(found->state, knot.state, sizeof found->state);
}

/* Which guards are crossed in the step, and the one whose cubic is first; guards: none is. */
static size_t find_crossings(const struct walk *w, struct crosses *crosses)
{
    size_t first = w->guards;
    for (size_t k = 0; k < w->guards; k++) {
        struct crosses *const c = crosses + k;
        c->share = INFINITY;
        if (!bracket(w, k, &c->low, &c->high))
            continue;
        double a = c->low, b = c->high;
        for (c->share = a; b - a > 0x1p-30; c->share = (a + b) / 2)  /* the cubic's crossing is near */
            *(dw_cubic_at(w->cubic + k, (a + b) / 2) >= 0 ? &a : &b) = (a + b) / 2;
        if (first == w->guards || c->share < crosses[first].share)
            first = k;
    }
    return first;
}

/* The guard that is crossed first in the step, or NULL. */
static const struct guard *first_crossing(const struct walk *w, struct found *found)
{
    struct crosses crosses[MODE_GUARDS];
    size_t first = find_crossings(w, crosses);
    if (first == w->guards)
        return NULL;
    step_to_crossing(w, first, crosses + first, found);
    for (size_t k = 0, begun = first; k < w->guards; k++) {
        struct found root;
        const double share = (found->offset - w->from->offset) / w->length;
        if (k == begun || crosses[k].share == INFINITY || share < crosses[k].low || dw_cubic_at(w->cubic + k, share) > w->doubt[k])
            continue;  /* it is crossed later, if at all */
        step_to_crossing(w, k, crosses + k, &root);
        if (root.offset < found->offset || (root.offset == found->offset && k < first)) {  /* unrun: rounding */
            first = k;
            *found = root;
        }
    }
    return w->mode->guards + first;
}

/* ---- rows ---- */

static void set_node(const struct dw_run *run, double offset, const double *state, struct node *node)
{
    memcpy(node->high, state, run->modes->states * sizeof *state);
    dwi_step_input(run, offset, node->high + run->modes->states);
    dwi_step_slope(run, offset, node->high + run->modes->states + run->modes->inputs + 1);
}

static enum dw_status give(struct walk *w, double offset, const double *state, enum dw_row_kind kind, struct dw_error *error)
{
    struct node node;
    set_node(w->run, offset, state, &node);
    return dwi_run_give(w->run, lesser(w->run->time + offset, w->run->goal_time), &node, kind, 0, error);
}

/* Gives the uniform rows from the step's start up to, not with, an instant. */
static enum dw_status give_uniform(struct walk *w, double instant, struct dw_error *error)
{
    struct dw_run *run = w->run;
    double time, slack, stage[STAGES][DW_STATES], state[DW_STATES];
    while ((time = dwi_run_uniform_time(run, &slack)) < instant - slack) {
        const double offset = larger(time - run->time, w->from->offset);
        struct node node;
        dwi_step_carry(run, w->from, offset - w->from->offset, stage, state);
        set_node(run, offset, state, &node);
        run->uniform_next++;
        const enum dw_status status = dwi_run_give(run, time, &node, DW_ROW_BETWEEN, 0, error);
        if (status != DW_OK)
            return status;
    }
    return DW_OK;
}

/* Gives as many rows as keep the line to `end`, within the step, in the accuracy. */
static enum dw_status give_lines(struct walk *w, double end, struct dw_error *error)
{
    const struct crossing crossing = { .begin = w->from->offset, .length = w->length, .bend = w->bend, .chord = w->chord,
                                       .outputs = w->outputs };
    const double slack = walk_slack(w->run), least = walk_least(w->run);
    for (double reach; (reach = dwi_line_reach(&w->line, &crossing, end)) < end; dwi_line_begin(&w->line, reach, crossing.outputs)) {
        double state[DW_STATES];
        reach = larger(reach, w->line.from + least);
        if (reach >= end - slack)
            break;
        dwi_walk_state_at(w, (reach - crossing.begin) / crossing.length, state);
        const enum dw_status status = give(w, reach, state, DW_ROW_BETWEEN, error);
        if (status != DW_OK)
            return status;
    }
    dwi_line_pass(&w->line, &crossing, end);
    return DW_OK;
}

/* Steps to where an output turns; false where it does not in this step, or its value there is that of the last row or the next.
 *   limit   offset of the step's end or of an event
 *   next    a row will be given there anyway */
static bool find_extremum(const struct walk *w, size_t j, double limit, bool next, struct found *found)
{
    const size_t k = w->guards + j;
    const struct dw_cubic *cubic = w->cubic + k;
    const double end = (limit - w->from->offset) / w->length, close = INSTANT * w->run->stretch.length / w->length;
    double at[2];
    if (dw_cubic_turns(cubic, at) != 1)
        return false;
    double share = at[0], before = INFINITY;
    struct knot knot;
    for (int i = 0; i < TRIALS; i++) {  /* unrun: count */
        dwi_walk_inside(w, share, &knot);
        const double newton = -w->length * knot.slope[k] / dw_cubic_bend(cubic, share);
        if (!(fabs(newton) < before / 2) || fabs(newton) <= close)
            break;  /* near, or rounding is all that is left */
        before = fabs(newton);
        share = lesser(larger(share + newton, 0), 1);
    }
    found->output = j;
    found->offset = knot.offset;
    memcpy(found->state, knot.state, sizeof found->state);
    if ((next || w->curve) && (!(share < end) || fabs(dw_cubic_at(cubic, share) - dw_cubic_at(cubic, end)) <= dwi_walk_flat(w, j)))
        return false;
    return fabs(knot.value[k] - (w->curve ? w->from->value[k] : w->run->last_output[j])) > dwi_walk_flat(w, j);
}

/* Extrema of the outputs inside the step, sorted. */
static size_t find_extrema(const struct walk *w, double limit, bool next, struct found *found)
{
    size_t count = 0;
    for (size_t j = 0; j < w->outputs; j++) {
        size_t at = count;
        if (!find_extremum(w, j, limit, next, found + at))
            continue;
        for (count++; at > 0 && found[at - 1].offset > found[at].offset; at--) {
            const struct found later = found[at - 1];
            found[at - 1] = found[at];
            found[at] = later;
        }
    }
    return count;
}

/* Rows of the step that lines join. */
static enum dw_status give_lined(struct walk *w, double limit, const struct found *extrema, size_t count, struct dw_error *error)
{
    for (size_t i = 0; i < count; i++) {
        enum dw_status status = give_lines(w, extrema[i].offset, error);
        if (status == DW_OK)
            status = give(w, extrema[i].offset, extrema[i].state, DW_ROW_EXTREMUM, error);
        if (status != DW_OK)
            return status;
        dwi_line_begin(&w->line, extrema[i].offset, w->outputs);
    }
    return give_lines(w, limit, error);
}

/* Steps to an instant inside a step that has been kept. */
static void go_inside_segment(void *of, const struct segment *segment, double offset, struct node *node)
{
    const struct dw_run *run = of;
    double stage[STAGES][DW_STATES], state[DW_STATES];
    struct knot from = { .offset = segment->begin };
    memcpy(from.state, segment->node.high, run->modes->states * sizeof(double));
    dwi_knot_place(run, &from);
    dwi_knot_rate(run, &from);
    dwi_step_carry(run, &from, offset - segment->begin, stage, state);
    set_node(run, offset, state, node);
}

/* Keeps a step for the curves, whose rows are given when the walk ends. */
static enum dw_status keep_step(struct walk *w, const struct found *end, bool last, const struct found *extrema, size_t count,
                                struct dw_error *error)
{
    struct segment *segment = dwi_curve_add(w->curve, w->bend, w->outputs);
    struct node node = { .low = { 0 } };
    segment->begin = w->from->offset;
    segment->length = w->length;
    set_node(w->run, w->from->offset, w->from->state, &segment->node);
    for (size_t i = 0; i < count; i++) {
        struct turn *turn = dwi_curve_add_turn(w->curve);
        turn->offset = extrema[i].offset;
        turn->output = extrema[i].output;
        set_node(w->run, extrema[i].offset, extrema[i].state, &turn->node);
    }
    if (!last && !dwi_curve_is_full(w->curve, w->outputs))
        return DW_OK;
    set_node(w->run, end->offset, end->state, &node);
    const enum dw_status status = dwi_curve_flush(w->run, end->offset, &node, last, (struct curve_inside){ go_inside_segment, w->run }, error);
    dwi_walk_set_limits(w);
    return status;
}

/* Rows of the step; `end` is its end or the event. */
static enum dw_status give_step(struct walk *w, const struct found *end, bool event, struct dw_error *error)
{
    const bool whole = !event && w->to->offset == w->run->stretch.length;
    if (w->run->options.sink && w->run->options.uniform > 0)
        return give_uniform(w, whole ? w->run->goal_time : w->run->time + end->offset, error);
    if (w->outputs == 0)
        return DW_OK;
    struct found extrema[DW_OUTPUTS];
    const size_t count = find_extrema(w, end->offset, event || whole, extrema);
    return w->curve ? keep_step(w, end, event || whole, extrema, count, error) : give_lined(w, end->offset, extrema, count, error);
}

/* ---- the walk ---- */

static void begin(struct walk *w, struct dw_run *run, double offset)
{
    double *hint = &run->hint[run->mode].length;
    const bool rows = run->options.sink && run->options.accuracy > 0 && run->options.uniform == 0;
    w->run = run;
    w->mode = present_mode(run);
    w->guards = w->mode->guard_count;
    w->outputs = rows ? run->modes->outputs : 0;
    w->from = w->knots;
    w->to = w->knots + 1;
    w->from->offset = offset;
    memcpy(w->from->state, run->node.high, run->modes->states * sizeof(double));
    dwi_knot_place(run, w->from);
    dwi_knot_rate(run, w->from);
    const double span = dwi_knot_span(run, w->from, lesser(*hint, run->stretch.length));
    if (*hint == INFINITY)
        *hint = 4 * span;  /* a first step moves a state by a sixteenth of its natural size */
    dwi_knot_curves(run, w->from, w->outputs > 0, span);
    dwi_line_begin(&w->line, offset, w->outputs);
    w->curve = w->outputs > 0 ? run->curve : NULL;
    if (w->curve)
        dwi_curve_begin(run, offset);
    dwi_walk_set_limits(w);
    for (size_t j = 0; j < w->outputs; j++)
        w->chord[j] = run->options.accuracy * run->modes->scale[j] * 15 / 16;
}

enum dw_status dwi_smooth_walk(struct dw_run *run, struct doubled *offset, const struct guard **guard, struct dw_error *error)
{
    struct walk w;
    *guard = NULL;
    begin(&w, run, offset->hi);
    while (w.from->offset < run->stretch.length) {
        enum dw_status status = dwi_run_pace(run, w.from->offset, w.outputs > 0, error);
        if (status == DW_OK)
            status = dwi_walk_step(&w, error);
        if (status != DW_OK)
            return status;
        struct found found = { .offset = w.to->offset };
        memcpy(found.state, w.to->state, run->modes->states * sizeof(double));
        *guard = first_crossing(&w, &found);
        status = give_step(&w, &found, *guard != NULL, error);
        if (status != DW_OK)
            return status;
        if (*guard) {
            *offset = doubled_of(found.offset);
            set_node(run, found.offset, found.state, &run->node);
            return DW_OK;
        }
        struct knot *const kept = w.from;
        w.from = w.to;
        w.to = kept;
    }
    set_node(run, w.from->offset, w.from->state, &run->node);
    return DW_OK;
}
