/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Walks one stretch in one mode of smooth equations, step by step; each curve is the cubic through the step's ends, and a step
 * stands if the cubics agree with the solution inside it. docs/theory.md, (2.18) and (2.19). */
#include "linear/smooth_inner.h"
#include <float.h>
#include <math.h>
#include <string.h>

enum {
    STEPS_MOST = 1 << 24, /* in one stretch */
    TRIALS = 60           /* towards a root: halving alone would be enough */
};

#define GRAZE 1e-13         /* of a guard: further below zero is a crossing */
#define INSTANT 1e-14       /* of a stretch: instants are sought to that, since those 1e-12 apart count as two */
#define CLOSEST 0x1p-38     /* of a natural scale: slopes by differences know no cubic more closely */
#define FLAT 1e-11          /* of a natural scale: a turn so low is rounding */
#define TRUST 0x1p-10       /* of what a guard near zero moves by: how closely its cubic must know it, */
#define KNOWN 0x1p-32       /* or of its natural size */
#define ASIDE 0.2763932     /* of a step: (1 - 5^-1/2) / 2, where (s - 1/2) s^2 (1 - s)^2 is largest */
#define TWO_TURNS 16        /* what is allowed, so many times: the step becomes half as long */

/* An instant inside the step that is to become a row or an event. */
struct found {
    double offset, state[DW_STATES];
};

/* A step under way. */
struct walk {
    struct dw_run *run;
    const struct mode *mode;
    struct knot knots[2], *from, *to;
    size_t guards, outputs;         /* curves: guards, and outputs where rows are judged */
    double length, stage[STAGES][DW_STATES];
    double state_bulge[DW_STATES];  /* x = cubic + s^2 (1 - s)^2 bulge */
    double bulge[CURVES], doubt[CURVES];  /* doubt: the bulge may be as large, either way */
    struct cubic cubic[CURVES];
    bool near[MODE_GUARDS];         /* guards that the cubics cannot tell to stay above zero */
    struct bend bend[DW_OUTPUTS];
    double chord[DW_OUTPUTS];
    struct line line;               /* from the last row */
};

static double not_less(double a, double b)
{
    return b <= a ? a : b;  /* b where it is no number */
}

static double bulge_at(double bulge, double s)
{
    return bulge * (s * s) * ((1 - s) * (1 - s));
}

/* State along the step, by the cubics and their bulges. */
static void state_at(const struct walk *w, double s, double *state)
{
    for (size_t i = 0; i < w->run->modes->states; i++) {
        const struct cubic cubic = cubic_through(w->from->state[i], w->length * w->from->rate[i], w->to->state[i],
                                                 w->length * w->to->rate[i]);
        state[i] = cubic_at(&cubic, s) + bulge_at(w->state_bulge[i], s);
    }
}

/* The instant at a share of the step, stepped to from its start, with curves and their slopes. */
static void step_inside(const struct walk *w, double s, struct knot *knot)
{
    double stage[STAGES][DW_STATES];
    knot->offset = w->from->offset + s * w->length;
    step_carry(w->run, w->from, s * w->length, stage, knot->state);
    knot_place(w->run, knot);
    knot_rate(w->run, knot);
    knot_curves(w->run, knot, w->outputs > 0, knot_span(w->run, knot, w->length));
}

/* Curves at a share of the step. */
static void look_inside(const struct walk *w, double s, struct knot *knot)
{
    knot->offset = w->from->offset + s * w->length;
    state_at(w, s, knot->state);
    knot_place(w->run, knot);
    knot_curves(w->run, knot, w->outputs > 0, 0);
}

/* Cubics of the curves over the step just made, and how they miss what is seen at its half, and at a place where an error that is
 * none at the half is largest. */
static void fit_curves(struct walk *w)
{
    struct knot half, aside;
    look_inside(w, 0.5, &half);
    look_inside(w, ASIDE, &aside);
    for (size_t k = 0; k < w->guards + w->outputs; k++) {
        w->cubic[k] = cubic_through(w->from->value[k], w->length * w->from->slope[k], w->to->value[k],
                                    w->length * w->to->slope[k]);
        w->bulge[k] = (half.value[k] - cubic_at(w->cubic + k, 0.5)) / bulge_at(1, 0.5);
        const double other = (aside.value[k] - cubic_at(w->cubic + k, ASIDE)) / bulge_at(1, ASIDE);
        w->doubt[k] = not_less(fabs(w->bulge[k]), fabs(other));
    }
}

static bool turns_twice(const struct cubic *cubic, double flat)
{
    double at[2];
    return cubic_turns(cubic, at) == 2 && fabs(cubic_at(cubic, at[0]) - cubic_at(cubic, at[1])) > flat;
}

/* Of an output: a turn lower than that is none, or not seen. */
static double flat_of(const struct walk *w, size_t j)
{
    return larger(FLAT, w->run->options.accuracy / 1024) * w->run->modes->scale[j];
}

/* How far a guard is from what can be taken, 1 being just it. A cubic lies between its Bezier points. */
static double guard_miss(struct walk *w, size_t k)
{
    const double *c = w->cubic[k].c, points[] = { c[0], c[0] + c[1] / 3, w->to->value[k] - w->length * w->to->slope[k] / 3,
                                                  w->to->value[k] };
    double least = INFINITY, most = -INFINITY;
    for (int i = 0; i < 4; i++) {
        least = lesser(least, points[i]);
        most = larger(most, points[i]);
    }
    w->near[k] = !(least > w->doubt[k]);  /* which is sixteen times what the cubic misses */
    if (!w->near[k])
        return 0;
    return larger(w->doubt[k] / (16 * larger(TRUST * (most - least), KNOWN)),
                  turns_twice(w->cubic + k, FLAT) ? TWO_TURNS : 0);
}

static double output_miss(struct walk *w, size_t j)
{
    const struct cubic *cubic = w->cubic + w->guards + j;
    const double scale = w->run->modes->scale[j], bulge = w->doubt[w->guards + j], square = w->length * w->length;
    struct bend *bend = w->bend + j;
    bend->first = cubic_bend(cubic, 0) / square;
    bend->last = cubic_bend(cubic, 1) / square;
    bend->spare = 2 * bulge / square;
    bend->most = larger(fabs(bend->first), fabs(bend->last)) + bend->spare;
    return larger(bulge / (larger(w->run->options.accuracy, CLOSEST) * scale), turns_twice(cubic, flat_of(w, j)) ? TWO_TURNS : 0);
}

/* How far the cubics of the step are from what can be taken. */
static double curves_miss(struct walk *w)
{
    const double *scale = w->run->modes->equations.state_scale;
    double most = 0;
    fit_curves(w);
    for (size_t k = 0; k < w->guards; k++)
        most = not_less(most, guard_miss(w, k));
    for (size_t j = 0; j < w->outputs; j++)
        most = not_less(most, output_miss(w, j));
    for (size_t i = 0; i < w->run->modes->states && w->outputs > 0; i++)
        most = not_less(most, fabs(w->state_bulge[i]) / (larger(w->run->options.accuracy, CLOSEST) * scale[i]));
    return most;
}

/* Tries the step; returns how far it is from what can be taken, as an error of the fifth order. */
static double try_step(struct walk *w)
{
    struct dw_run *run = w->run;
    step_carry(run, w->from, w->length, w->stage, w->to->state);
    knot_place(run, w->to);
    knot_rate(run, w->to);
    memcpy(w->stage[STAGES - 1], w->to->rate, run->modes->states * sizeof(double));
    const double error = step_error(run, w->from, w->length, w->stage);
    if (!(error <= 1) || w->guards + w->outputs == 0)
        return error;
    step_bulge(run, w->length, w->stage, w->state_bulge);
    knot_curves(run, w->to, w->outputs > 0, knot_span(run, w->to, w->length));
    const double miss = curves_miss(w);
    return not_less(error, miss * sqrt(sqrt(miss)));  /* the cubics err by the fourth power of the length */
}

/* Makes the longest step from here that can be taken. */
static enum dw_status take_step(struct walk *w, struct dw_error *error)
{
    const double end = w->run->stretch.length, left = end - w->from->offset;
    const double least = larger(SHORTEST * end, 4 * DBL_EPSILON * fabs(w->run->goal_time));
    double *hint = &w->run->hint[w->run->mode].length;
    for (double miss = 2; !(miss <= 1);) {
        /* two like steps to the end rather than a long and a short one */
        w->length = *hint >= left ? left : *hint > left / 2 ? left / 2 : *hint;
        w->to->offset = w->length == left ? end : w->from->offset + w->length;
        miss = try_step(w);
        const double longer = miss <= 1e-4 ? 5 : miss <= 1e3 ? 0.9 * pow(miss, -0.2) : 0.2, next = longer * w->length;
        if (!(miss <= 1) && next < least)
            return dw_error_set(error, DW_NO, 0, "no way on at %.9g s in the mode '%s': steps become ever shorter, since a rate, "
                                "guard or output jumps, grows without bound or is not finite", w->from->time, w->mode->name);
        /* a step cut short by the end says nothing of the next */
        *hint = miss <= 1 && w->length < *hint ? larger(next, *hint) : next;
    }
    return DW_OK;
}

/* Whether a guard whose cubic dips inside the step falls below zero there; *share in: the cubic's turn, out: where it has. The cubic
 * shows the way to the lowest point, the solution decides. */
static bool dips(const struct walk *w, size_t k, double *share)
{
    const double bend = cubic_bend(w->cubic + k, *share);
    struct knot knot;
    for (int i = 0; i < TRIALS; i++) {  /* unrun: count */
        step_inside(w, *share, &knot);
        const double slope = w->length * knot.slope[k], depth = slope * slope / (2 * bend);
        if (knot.value[k] < -GRAZE)
            return true;
        if (knot.value[k] > 2 * depth || depth <= GRAZE / 2)
            return false;
        *share = lesser(larger(*share - slope / bend, 0), 1);
    }
    return false;
}

/* Part of the step in which a guard crosses zero once, if at all. */
static bool bracket(const struct walk *w, size_t k, double *low, double *high)
{
    const struct cubic *cubic = w->cubic + k;
    const bool below = w->to->value[k] < -GRAZE;
    double at[2];
    *low = 0;
    *high = 1;
    if (!w->near[k])
        return false;
    const bool turns = cubic_turns(cubic, at) == 1;
    if (turns && cubic_bend(cubic, at[0]) < 0)
        *low = at[0];
    if (below || !turns || *low > 0)  /* unrun: rounding */
        return below;
    *high = at[0];
    return cubic_at(cubic, at[0]) < w->doubt[k] && dips(w, k, high);
}

/* Steps to where a guard falls below zero between two shares of the step. */
static void step_to_crossing(const struct walk *w, size_t k, double low, double high, struct found *found)
{
    const double close = INSTANT * w->run->stretch.length / w->length;
    struct knot knot;
    double share = low;
    for (double a = low, b = high; b - a > 0x1p-30; share = (a + b) / 2)  /* the cubic's crossing is near */
        *(cubic_at(w->cubic + k, (a + b) / 2) >= 0 ? &a : &b) = (a + b) / 2;
    for (int i = 0; i < TRIALS; i++) {  /* unrun: count */
        step_inside(w, share, &knot);
        *(knot.value[k] >= 0 ? &low : &high) = share;
        const double newton = share - knot.value[k] / (w->length * knot.slope[k]);
        if ((fabs(knot.value[k]) <= GRAZE && fabs(newton - share) <= close) || high - low <= DBL_EPSILON)  /* unrun: rounding */
            break;
        share = newton > low && newton < high ? newton : (low + high) / 2;  /* unrun: rounding */
    }
    found->offset = knot.offset;
    memcpy(found->state, knot.state, sizeof found->state);
}

/* The guard that is crossed first in the step, or NULL. */
static const struct guard *first_crossing(const struct walk *w, struct found *found)
{
    const struct guard *first = NULL;
    for (size_t k = 0; k < w->guards; k++) {
        struct found root;
        double low, high;
        if (!bracket(w, k, &low, &high))
            continue;
        step_to_crossing(w, k, low, high, &root);
        if (!first || root.offset < found->offset) {
            first = w->mode->guards + k;
            *found = root;
        }
    }
    return first;
}

/* ---- rows ---- */

static void set_node(const struct dw_run *run, double offset, const double *state, struct node *node)
{
    memcpy(node->high, state, run->modes->states * sizeof *state);
    step_input(run, offset, node->high + run->modes->states);
}

static enum dw_status give(struct walk *w, double offset, const double *state, enum dw_row_kind kind, struct dw_error *error)
{
    struct node node;
    set_node(w->run, offset, state, &node);
    return run_give(w->run, lesser(w->run->time + offset, w->run->goal_time), &node, kind, 0, error);
}

/* Gives the uniform rows from the step's start up to, not with, an instant. */
static enum dw_status give_uniform(struct walk *w, double instant, struct dw_error *error)
{
    struct dw_run *run = w->run;
    double time, slack, stage[STAGES][DW_STATES], state[DW_STATES];
    while ((time = dwi_run_uniform_time(run, &slack)) < instant - slack) {
        const double offset = larger(time - run->time, w->from->offset);
        struct node node;
        step_carry(run, w->from, offset - w->from->offset, stage, state);
        set_node(run, offset, state, &node);
        run->uniform_next++;
        const enum dw_status status = run_give(run, time, &node, DW_ROW_BETWEEN, 0, error);
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
    const double slack = 4 * DBL_EPSILON * fabs(w->run->goal_time), least = larger(slack, SHORTEST * w->run->stretch.length);
    for (double reach; (reach = line_reach(&w->line, &crossing, end)) < end; line_begin(&w->line, reach, crossing.outputs)) {
        double state[DW_STATES];
        reach = larger(reach, w->line.from + least);
        if (reach >= end - slack)
            break;
        state_at(w, (reach - crossing.begin) / crossing.length, state);
        const enum dw_status status = give(w, reach, state, DW_ROW_BETWEEN, error);
        if (status != DW_OK)
            return status;
    }
    line_pass(&w->line, &crossing, end);
    return DW_OK;
}

/* Steps to where an output turns; false where it does not in this step, or its value there is that of the last row or the next.
 *   limit   offset of the step's end or of an event
 *   next    a row will be given there anyway */
static bool find_extremum(const struct walk *w, size_t j, double limit, bool next, struct found *found)
{
    const size_t k = w->guards + j;
    const struct cubic *cubic = w->cubic + k;
    const double end = (limit - w->from->offset) / w->length, close = INSTANT * w->run->stretch.length / w->length;
    double at[2];
    if (cubic_turns(cubic, at) != 1)
        return false;
    double share = at[0], before = INFINITY;
    struct knot knot;
    for (int i = 0; i < TRIALS; i++) {  /* unrun: count */
        step_inside(w, share, &knot);
        const double newton = -w->length * knot.slope[k] / cubic_bend(cubic, share);
        if (!(fabs(newton) < before / 2) || fabs(newton) <= close)
            break;  /* near, or rounding is all that is left */
        before = fabs(newton);
        share = lesser(larger(share + newton, 0), 1);
    }
    found->offset = knot.offset;
    memcpy(found->state, knot.state, sizeof found->state);
    if (next && (!(share < end) || fabs(cubic_at(cubic, share) - cubic_at(cubic, end)) <= flat_of(w, j)))
        return false;
    return fabs(knot.value[k] - w->run->last_output[j]) > flat_of(w, j);
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

/* Rows of the step; `limit` is its end or the event's offset. */
static enum dw_status give_step(struct walk *w, double limit, bool event, struct dw_error *error)
{
    const bool whole = !event && w->to->offset == w->run->stretch.length;
    if (w->run->options.sink && w->run->options.uniform > 0)
        return give_uniform(w, whole ? w->run->goal_time : w->run->time + limit, error);
    if (w->outputs == 0)
        return DW_OK;
    struct found extrema[DW_OUTPUTS];
    const size_t count = find_extrema(w, limit, event || whole, extrema);
    for (size_t i = 0; i < count; i++) {
        enum dw_status status = give_lines(w, extrema[i].offset, error);
        if (status == DW_OK)
            status = give(w, extrema[i].offset, extrema[i].state, DW_ROW_EXTREMUM, error);
        if (status != DW_OK)
            return status;
        line_begin(&w->line, extrema[i].offset, w->outputs);
    }
    return give_lines(w, limit, error);
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
    knot_place(run, w->from);
    knot_rate(run, w->from);
    const double span = knot_span(run, w->from, lesser(*hint, run->stretch.length));
    if (*hint == INFINITY)
        *hint = 4 * span;  /* a first step moves a state by a sixteenth of its natural size */
    knot_curves(run, w->from, w->outputs > 0, span);
    line_begin(&w->line, offset, w->outputs);
    for (size_t j = 0; j < w->outputs; j++)
        w->chord[j] = run->options.accuracy * run->modes->scale[j] * 15 / 16;
}

enum dw_status smooth_walk(struct dw_run *run, struct doubled *offset, const struct guard **guard, struct dw_error *error)
{
    struct walk w;
    *guard = NULL;
    begin(&w, run, offset->hi);
    for (long steps = 0; w.from->offset < run->stretch.length; steps++) {
        if (steps >= STEPS_MOST)
            return dw_error_set(error, DW_BAD_USE, 0, "rates too fast for the interval from %.9g s to %.9g s: %ld steps came to "
                                "%.9g s only", run->time, run->goal_time, steps, w.from->time);
        enum dw_status status = take_step(&w, error);
        if (status != DW_OK)
            return status;
        struct found found = { .offset = w.to->offset };
        *guard = first_crossing(&w, &found);
        status = give_step(&w, found.offset, *guard != NULL, error);
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
