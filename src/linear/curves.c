/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows between which outputs are cubics: docs/theory.md, (2.21) to (2.23). */
#include "linear/modes_inner.h"
#include <float.h>
#include <stdlib.h>
#include <string.h>

#define ROUNDING 0x1p-50  /* of what an output is summed from */

/* Rows on their way to the sink. */
struct giving {
    struct dw_run *run;
    struct curve_inside inside;
    double slack, least;  /* s: nothing is seen of less than the slack, nor is a piece shorter than least */
};

struct curves *dwi_curve_new(const struct dw_run_options *options, bool *failed)
{
    const bool wanted = options->curves && options->sink && options->uniform == 0;
    struct curves *curve = wanted ? calloc(1, sizeof *curve) : NULL;
    *failed = wanted && !curve;
    return curve;
}

void dwi_curve_start(struct dw_run *run)
{
    memset(run->curve->changes, 0, sizeof run->curve->changes);
    run->curve->closes = false;
}

/* ---- how far cubics may be from the outputs ---- */

/* docs/theory.md, (2.23). */
static void set_tolerances(struct dw_run *run, double time)
{
    const struct dw_run_options *options = &run->options;
    struct curves *curve = run->curve;
    for (size_t j = 0; j < run->modes->outputs; j++) {
        const double change = dw_changes_largest(curve->changes + j, curve->high[j] - curve->low[j], time, options->carrier);
        curve->tolerance[j] = larger(ROUNDING * curve->size[j], lesser(options->accuracy * run->modes->scale[j], options->swing * change));
    }
}

/* A walk has ended that began then. */
static void keep_changes(struct dw_run *run, double begin)
{
    for (size_t j = 0; j < run->modes->outputs; j++)
        dw_changes_keep(run->curve->changes + j, begin, run->curve->high[j] - run->curve->low[j]);
}

static void widen(struct curves *curve, size_t j, double value)
{
    curve->low[j] = lesser(curve->low[j], value);
    curve->high[j] = larger(curve->high[j], value);
}

/* Monotone between them, outputs are largest and smallest at turns and at the ends. */
static void widen_all(struct dw_run *run, const struct post *to)
{
    struct curves *curve = run->curve;
    for (size_t i = 0; i < curve->turn_count; i++) {
        const struct turn *turn = curve->turns + i;
        double value[DW_OUTPUTS];
        run->modes->engine->output(run, run->time + turn->offset, &turn->node, value, NULL);
        widen(curve, turn->output, value[turn->output]);
    }
    for (size_t j = 0; j < run->modes->outputs; j++) {
        widen(curve, j, to->sight.value[j]);
        curve->size[j] = larger(curve->size[j], to->sight.size[j]);
    }
    set_tolerances(run, run->time + to->offset);
}

/* ---- what is kept ---- */

static void look(const struct dw_run *run, struct post *post)
{
    dwi_look_for_curves(run, lesser(run->time + post->offset, run->goal_time), &post->node, &post->sight);
}

void dwi_curve_begin(struct dw_run *run, double offset)
{
    struct curves *curve = run->curve;
    curve->segment_count = curve->turn_count = 0;
    curve->begin = curve->from.offset = offset;
    curve->from.node = run->node;
    look(run, &curve->from);
    for (size_t j = 0; j < run->modes->outputs; j++) {
        curve->low[j] = curve->high[j] = curve->from.sight.value[j];
        curve->size[j] = larger(curve->from.sight.size[j], run->modes->scale[j]);
    }
    set_tolerances(run, run->time + offset);
}

struct segment *dwi_curve_add(struct curves *curve, const struct bend *bend, size_t outputs)
{
    memcpy(curve->bend[curve->segment_count], bend, outputs * sizeof *bend);
    return curve->segments + curve->segment_count++;
}

struct turn *dwi_curve_add_turn(struct curves *curve)
{
    return curve->turns + curve->turn_count++;
}

bool dwi_curve_is_full(const struct curves *curve, size_t outputs)
{
    return curve->segment_count == SEGMENTS || curve->turn_count + outputs > TURNS;
}

/* ---- how far a piece may go ---- */

static size_t segment_of(const struct curves *curve, double offset)
{
    size_t s = curve->segment_count - 1;
    while (s > 0 && curve->segments[s].begin > offset)
        s--;
    return s;
}

/* Longest piece of an output from an offset on that lies in segment s, at most `length`. */
static double reach_of(const struct curves *curve, size_t j, double from, size_t s, double length)
{
    const double tolerance = curve->tolerance[j];
    double most = 0;
    for (; s < curve->segment_count && curve->segments[s].begin < from + length; s++) {
        const struct segment *segment = curve->segments + s;
        const struct bend *bend = curve->bend[s] + j;
        const double first = larger(segment->begin - from, 0), last = lesser(segment->begin + segment->length - from, length);
        const double begin = (from + first - segment->begin) / segment->length;
        double end = (from + last - segment->begin) / segment->length, reach = 0;
        const double here = larger(most, bend_over(bend, begin, end));
        if (dw_cubic_reach(tolerance, here) >= last) {
            most = here;
            continue;
        }
        /* the bound up to a place inside is smaller, and that up to where this would allow to go holds for all before */
        for (int i = 0; i < 3; i++) {
            reach = lesser(dw_cubic_reach(tolerance, larger(most, bend_over(bend, begin, end))), last);
            end = (from + larger(reach, first) - segment->begin) / segment->length;
        }
        return larger(reach, first);
    }
    return length;
}

static double reach_from(const struct dw_run *run, double from, double to)
{
    const size_t s = segment_of(run->curve, from);
    double length = to - from;
    for (size_t j = 0; j < run->modes->outputs; j++)
        length = reach_of(run->curve, j, from, s, length);
    return length < to - from ? from + length : to;
}

/* ---- monotone pieces ---- */

/* Slopes of a piece at its ends; false: a shorter one is needed. */
static bool fit(const struct dw_run *run, const struct post *from, const struct post *to, double *first, double *last)
{
    const double length = to->offset - from->offset;
    bool fits = true;
    for (size_t j = 0; j < run->modes->outputs; j++) {
        const double rise = to->sight.value[j] - from->sight.value[j], tolerance = run->curve->tolerance[j];
        const double ulp = ROUNDING * run->curve->size[j];
        first[j] = from->sight.slope[j];
        last[j] = to->sight.slope[j];
        if (!isfinite(first[j]) || !isfinite(last[j])) {  /* unrun: first-slope */
            first[j] = last[j] = rise / length;
        } else {
            const bool begins = dw_cubic_restrain(first + j, rise, length, tolerance, ulp);
            fits = dw_cubic_restrain(last + j, rise, length, tolerance, ulp) && begins && fits;
        }
    }
    return fits;
}

/* ---- rows ---- */

static enum dw_status give(const struct giving *g, const struct post *post, const double *slope, enum dw_row_kind kind, struct dw_error *error)
{
    struct dw_run *run = g->run;
    const struct dw_run_row row = { .time = lesser(run->time + post->offset, run->goal_time), .kind = kind, .output = post->sight.value, .slope = slope };
    return dwi_run_give_row(run, &post->node, row, error);
}

/* The last row again where a piece begins with other slopes. */
static enum dw_status give_corner(const struct giving *g, const double *slope, struct dw_error *error)
{
    const struct post *from = &g->run->curve->from;
    for (size_t j = 0; j < g->run->modes->outputs; j++)
        if (fabs(slope[j] - g->run->last_slope[j]) > from->sight.noise[j] + 8 * DBL_EPSILON * fabs(slope[j]))
            return give(g, from, slope, from->offset == 0 ? DW_ROW_INPUT : DW_ROW_BETWEEN, error);
    return DW_OK;
}

/* What is there is had for the time that the row will have, which is rounded. */
static void look_inside(const struct giving *g, double offset, struct post *post)
{
    const struct curves *curve = g->run->curve;
    post->offset = offset = (g->run->time + offset) - g->run->time;
    g->inside.set(g->inside.of, curve->segments + segment_of(curve, offset), offset, &post->node);
    look(g->run, post);
}

/* The post is the last row; no more of it is copied than there are outputs. */
static void keep_post(struct curves *curve, const struct post *post, size_t outputs)
{
    struct sight *to = &curve->from.sight;
    const struct sight *sight = &post->sight;
    curve->from.offset = post->offset;
    curve->from.node = post->node;
    memcpy(to->value, sight->value, outputs * sizeof *to->value);
    memcpy(to->slope, sight->slope, outputs * sizeof *to->slope);
    memcpy(to->size, sight->size, outputs * sizeof *to->size);
    memcpy(to->noise, sight->noise, outputs * sizeof *to->noise);
}

/* Gives rows from the last one up to another.
 *   closing   not that one itself: another gives it */
static enum dw_status give_pieces(const struct giving *g, const struct post *to, enum dw_row_kind kind, bool closing,
                                  struct dw_error *error)
{
    struct curves *curve = g->run->curve;
    struct post inside;
    for (const struct post *next = NULL; next != to;) {
        double first[DW_OUTPUTS], last[DW_OUTPUTS];
        const double reach = larger(reach_from(g->run, curve->from.offset, to->offset), curve->from.offset + g->least);
        next = to;
        if (reach < to->offset - g->slack)
            look_inside(g, reach, &inside), next = &inside;
        while (!fit(g->run, &curve->from, next, first, last) && next->offset - curve->from.offset > 2 * g->least)
            look_inside(g, curve->from.offset + (next->offset - curve->from.offset) / 2, &inside), next = &inside;
        enum dw_status status = give_corner(g, first, error);
        curve->closes = next == to && closing;
        if (curve->closes)
            memcpy(curve->closing, last, sizeof last);
        else if (status == DW_OK)  /* unrun: passed-on */
            status = give(g, next, last, next == to ? kind : DW_ROW_BETWEEN, error);
        if (status != DW_OK)
            return status;
        keep_post(curve, next, g->run->modes->outputs);
    }
    return DW_OK;
}

/* Gives rows up to the next turn, that of turn *i, and at it, and goes on behind it; those that cannot be told from the last row or
 * the end are at these. */
static enum dw_status give_turn(const struct giving *g, size_t *i, struct post *end, struct dw_error *error)
{
    struct curves *curve = g->run->curve;
    const struct turn *turn = curve->turns + *i;
    struct post post = { .offset = turn->offset };
    const bool ends = turn->offset >= end->offset - g->least, begins = !ends && turn->offset <= curve->from.offset + g->least;
    if (ends || begins) {
        (ends ? end : &curve->from)->sight.slope[turn->output] = 0;
        ++*i;
        return DW_OK;
    }
    post.node = turn->node;
    look(g->run, &post);
    for (; *i < curve->turn_count && curve->turns[*i].offset <= post.offset + g->least; ++*i)
        post.sight.slope[curve->turns[*i].output] = 0;
    return give_pieces(g, &post, DW_ROW_EXTREMUM, false, error);
}

enum dw_status dwi_curve_flush(struct dw_run *run, double end, const struct node *node, bool last, struct curve_inside inside,
                               struct dw_error *error)
{
    struct curves *curve = run->curve;
    const double slack = walk_slack(run), least = walk_least(run);
    const struct giving g = { .run = run, .inside = inside, .slack = slack, .least = least };
    struct post to = { .offset = end, .node = *node };
    enum dw_status status = DW_OK;
    look(run, &to);
    widen_all(run, &to);
    for (size_t i = 0; status == DW_OK && i < curve->turn_count;)
        status = give_turn(&g, &i, &to, error);
    if (status == DW_OK && to.offset > curve->from.offset)
        status = give_pieces(&g, &to, DW_ROW_BETWEEN, last, error);
    if (last && end > curve->begin + slack)
        keep_changes(run, run->time + curve->begin);
    curve->segment_count = curve->turn_count = 0;
    return status;
}
