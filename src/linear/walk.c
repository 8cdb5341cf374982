/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Walks one stretch in one mode, cell by cell, so that no guard's crossing is missed and rows keep the accuracy. */
#include "linear/modes_inner.h"
#include <string.h>

#define GRAZE 1e-13  /* of a guard's scale: further below zero is a crossing */

struct row_found {
    struct doubled offset;
    struct node node;
    size_t output;  /* of an extremum */
};

/* A node with all that is known there. */
struct place {
    struct node node;
    bool known, wholly;  /* known: guards' values and the first rate, wholly: all of it; otherwise values that were asked for */
    bool carried;        /* so are the rates, which need not be looked for */
    struct rates rates;
    struct slopes guards[MODE_GUARDS], outputs[DW_OUTPUTS];
};

/* Where the rows of a cell end. */
struct cell_end {
    double offset;             /* the cell's end, or an event in it */
    const struct node *node;   /* there */
    bool event, last;          /* last: an event, or the stretch's end; a row is given there anyway */
};

/* Of the outputs in a cell or at its end, sorted. */
struct extrema {
    size_t count;
    struct row_found found[DW_OUTPUTS];
};

/* A cell under way: from a position and place to the next. */
struct cell {
    struct position position, after;
    unsigned level;
    double length;
    struct place places[2], *here, *next;
    bool rows;  /* outputs are judged too */
    unsigned orders;
    enum verdict guards[MODE_GUARDS], outputs[DW_OUTPUTS];
    double chord[DW_OUTPUTS];   /* how far lines may be from the outputs */
    struct bend bend[DW_OUTPUTS];
    struct line line;           /* from the last row */
};

static void look_wholly(const struct dw_run *run, const struct cell *cell, struct place *place)
{
    const struct mode *mode = present_mode(run);
    place->known = place->wholly = true;
    if (!place->carried)
        dwi_rates_at(&run->stretch, &place->node, cell->orders, &place->rates);
    for (size_t k = 0; k < mode->guard_count; k++)
        if (!(run->stretch.flat && mode->guards[k].value.still))
            dwi_slopes_at(&run->stretch, &place->node, &place->rates, &mode->guards[k].value, place->guards + k);
    for (size_t j = 0; cell->rows && j < run->modes->outputs; j++)
        dwi_slopes_at(&run->stretch, &place->node, &place->rates, mode->outputs + j, place->outputs + j);
}

/* Most guards are far from zero, and no more than this is needed to see it, unless one has been crossed before. */
static void look_around(const struct dw_run *run, const struct cell *cell, struct place *place)
{
    const struct mode *mode = present_mode(run);
    if (cell->rows || !run->stretch.flat || stretch_doubled(&run->stretch) || run->hint[run->mode].crossed) {
        look_wholly(run, cell, place);
        return;
    }
    place->known = true;
    place->wholly = false;
    dwi_first_rate_at(&run->stretch, &place->node, &place->rates);
    for (size_t k = 0; k < mode->guard_count; k++)
        place->guards[k].order[0] = functional_at(&mode->guards[k].value, &place->node);
}

/* At a cell's end, where perhaps no other follows, only the values of guards that may have been crossed count. */
static void glance(const struct dw_run *run, const struct cell *cell, struct place *place)
{
    const struct mode *mode = present_mode(run);
    place->known = place->wholly = false;
    for (size_t k = 0; k < mode->guard_count; k++)
        if (cell->guards[k] == ENDS_TELL)
            place->guards[k].order[0] = functional_at(&mode->guards[k].value, &place->node);
}

static bool judge_cell(const struct dw_run *run, struct cell *cell)
{
    const struct mode *mode = present_mode(run);
    struct place *here = cell->here;
    const double grown = dwi_growth_over(&run->stretch, cell->length);
    for (size_t k = 0; k < mode->guard_count; k++) {
        const struct functional *guard = &mode->guards[k].value;
        cell->guards[k] = CLEAR;
        if (run->stretch.flat &&
            (guard->still || guard_is_far(guard, here->guards[k].order[0], here->rates.norm[1], cell->length, grown)))
            continue;
        if (!here->wholly)
            look_wholly(run, cell, here);
        cell->guards[k] = dwi_judge_guard(&run->stretch, &here->rates, here->guards + k, guard, cell->length, grown);
        if (cell->guards[k] == SPLIT)
            return false;
    }
    for (size_t j = 0; cell->rows && j < run->modes->outputs; j++) {
        const struct functional *output = mode->outputs + j;
        cell->outputs[j] = dwi_judge_output(&run->stretch, &here->rates, here->outputs + j, output,
                                            cell->chord[j], cell->length, grown, cell->bend + j);
        if (cell->outputs[j] == SPLIT)
            return false;
    }
    return true;
}

static void halve(struct cell *cell, unsigned levels)
{
    cell->length /= 2;
    if (cell->level <= levels)
        cell->level++;
}

/* Chooses the longest cell from here over which everything is proved, and carries the node over it. */
static void take_cell(struct dw_run *run, struct cell *cell, bool judged)
{
    const struct stretch *stretch = &run->stretch;
    const unsigned levels = stretch->chain->levels;
    struct node *next = &cell->next->node;
    double *hint = &run->hint[run->mode].length;
    cell->level = dwi_stretch_cell(stretch, cell->position, &cell->length);
    if (judged && cell->length > 0) {
        if (!cell->here->known)
            look_around(run, cell, cell->here);
        /* cells are at most twice as long as the last; one cut short by the grid says nothing of the next */
        const double most = cell->length;
        while (cell->level < levels && cell->length > 2 * *hint)
            halve(cell, levels);
        while (!judge_cell(run, cell))
            halve(cell, levels);
        if (cell->length < most || cell->length > *hint)
            *hint = cell->length;
    }
    if (!stretch->flat)
        dwi_stretch_input(stretch, cell->position, cell->length, &cell->here->node);
    copy_node(stretch, next, &cell->here->node);
    dwi_stretch_step(stretch, cell->level, cell->length, next);
    cell->after = dwi_stretch_after(stretch, cell->position, cell->level, cell->length);
    if (!stretch->flat)
        dwi_stretch_input(stretch, cell->after, 0, next);
    cell->next->carried = judged && dwi_rates_need_carrying(stretch, cell->orders, cell->length);
    if (cell->next->carried)
        dwi_rates_carry(stretch, next, cell->here->carried ? &cell->here->rates : NULL, cell->orders, cell->level,
                        cell->length, &cell->next->rates);
    if (cell->rows)
        look_around(run, cell, cell->next);
    else if (judged)
        glance(run, cell, cell->next);
    for (size_t j = 0; cell->rows && j < run->modes->outputs; j++)
        cell->bend[j].last = cell->next->outputs[j].order[cell->orders - 2];
}

/* The guard that is crossed first in the cell, or NULL. */
static const struct guard *first_crossing(const struct dw_run *run, const struct cell *cell, struct row_found *found)
{
    const struct mode *mode = present_mode(run);
    const struct guard *first = NULL;
    for (size_t k = 0; k < mode->guard_count; k++) {
        const struct guard *guard = mode->guards + k;
        if (cell->guards[k] != ENDS_TELL || cell->next->guards[k].order[0] >= -GRAZE * guard->value.scale)
            continue;
        struct row_found root;
        copy_node(&run->stretch, &root.node, &cell->here->node);
        dwi_find_crossing(&run->stretch, cell->position, cell->level, cell->length, &guard->value, 0, 1, &root.offset,
                          &root.node);
        if (!first || root.offset.hi < found->offset.hi) {
            first = guard;
            found->offset = root.offset;
            copy_node(&run->stretch, &found->node, &root.node);
        }
    }
    return first;
}

/* Whether an output has an extremum inside the cell: +1 a maximum, -1 a minimum, 0 none. */
static int turns(const struct cell *cell, size_t output)
{
    if (cell->outputs[output] != ENDS_TELL)
        return 0;
    const double first = cell->here->outputs[output].order[1], last = cell->next->outputs[output].order[1];
    return first > 0 && last <= 0 ? 1 : first < 0 && last >= 0 ? -1 : 0;
}

static void find_extrema(const struct dw_run *run, const struct cell *cell, const struct cell_end *end, struct extrema *extrema)
{
    const struct mode *mode = present_mode(run);
    const double begin = dwi_stretch_offset(&run->stretch, cell->position).hi;
    struct row_found *const found = extrema->found;
    extrema->count = 0;
    for (size_t j = 0; j < run->modes->outputs; j++) {
        const int turn = turns(cell, j);
        size_t at = extrema->count;
        struct row_found *one = found + at;
        if (turn == 0)
            continue;
        copy_node(&run->stretch, &one->node, &cell->here->node);
        dwi_find_crossing(&run->stretch, cell->position, cell->level, cell->length, mode->outputs + j, 1, turn, &one->offset,
                          &one->node);
        one->output = j;
        one->offset.hi = lesser(larger(one->offset.hi, begin), end->offset);
        if (one->offset.hi >= end->offset && end->last)
            continue;
        for (extrema->count++; at > 0 && found[at - 1].offset.hi > found[at].offset.hi; at--) {
            const struct row_found later = found[at - 1];
            found[at - 1] = found[at];
            found[at] = later;
        }
    }
}

/* Without a series an offset is reached along the chain: one on its grid, at most a sixteenth of the line short of it, in few steps. */
static double on_the_grid(const struct stretch *stretch, double from, double reach)
{
    uint64_t index = dwi_stretch_seek(stretch, doubled_of(reach)).index;
    const double units = (reach - from) / (16 * stretch->unit);
    if (units >= 2)
        index &= ~(uint64_t)0 << (units < 0x1p62 ? ilogb(units) : 62);  /* unrun: size */
    const double offset = dwi_stretch_offset(stretch, (struct position){ index, 0 }).hi;
    return offset > from + (reach - from) / 2 ? offset : reach;
}

/* Gives as many rows as keep the line to `end`, within the cell, in the accuracy. */
static enum dw_status give_lines(struct dw_run *run, struct cell *cell, double end, struct inside *inside,
                                 struct dw_error *error)
{
    const struct crossing crossing = { .begin = dwi_stretch_offset(&run->stretch, cell->position).hi, .length = cell->length,
                                       .bend = cell->bend, .chord = cell->chord, .outputs = run->modes->outputs };
    /* nothing is seen of less than a few ulp of the time, nor of a shorter part of the stretch than a cell may be */
    const double slack = walk_slack(run), least = walk_least(run);
    for (double reach; (reach = dwi_line_reach(&cell->line, &crossing, end)) < end; dwi_line_begin(&cell->line, reach, crossing.outputs)) {
        reach = larger(reach, cell->line.from + least);
        if (reach >= end - slack)
            break;
        if (run->stretch.system->norm * cell->length > SOLUTION_REACH)
            reach = on_the_grid(&run->stretch, larger(cell->line.from, crossing.begin), reach);
        if (!inside->start)
            dwi_inside_begin(&run->stretch, &cell->here->node, cell->position, cell->length, true, inside);
        dwi_inside_go(&run->stretch, reach, inside);
        const enum dw_status status = dwi_run_give(run, run->time + reach, &inside->node, DW_ROW_BETWEEN, 0, error);
        if (status != DW_OK)
            return status;
    }
    dwi_line_pass(&cell->line, &crossing, end);
    return DW_OK;
}

/* Gives the uniform rows from the cell's start up to, not with, an instant. */
static enum dw_status give_uniform(struct dw_run *run, const struct cell *cell, double instant, struct dw_error *error)
{
    double time, slack;
    while ((time = dwi_run_uniform_time(run, &slack)) < instant - slack) {
        const struct doubled offset = exact_sum(time, -run->time);
        struct node node = cell->here->node;
        struct position position = cell->position;
        dwi_stretch_move(&run->stretch, &position, offset.hi > 0 ? offset : doubled_of(0), false, &node);
        dwi_stretch_input(&run->stretch, position, 0, &node);
        run->uniform_next++;
        const enum dw_status status = dwi_run_give(run, time, &node, DW_ROW_BETWEEN, 0, error);
        if (status != DW_OK)  /* unrun: passed-on */
            return status;
    }
    return DW_OK;
}

/* Rows of one cell that lines join. */
static enum dw_status give_lined(struct dw_run *run, struct cell *cell, const struct cell_end *end, const struct extrema *extrema,
                                 struct dw_error *error)
{
    struct inside inside;
    inside.start = NULL;
    for (size_t i = 0; i < extrema->count; i++) {
        const struct row_found *extremum = extrema->found + i;
        enum dw_status status = give_lines(run, cell, extremum->offset.hi, &inside, error);
        if (status == DW_OK)
            status = dwi_run_give(run, run->time + extremum->offset.hi, &extremum->node, DW_ROW_EXTREMUM, 0, error);
        if (status != DW_OK)
            return status;
        dwi_line_begin(&cell->line, extremum->offset.hi, run->modes->outputs);
    }
    return give_lines(run, cell, end->offset, &inside, error);
}

/* Sets a node inside a segment; the work done for the last one is kept. */
struct segment_inside {
    const struct stretch *stretch;
    double offset;
    struct inside inside;
};

static void go_inside_segment(void *of, const struct segment *segment, double offset, struct node *node)
{
    struct segment_inside *s = of;
    if (s->inside.start != &segment->node || (!s->inside.series && offset < s->offset))  /* unrun: in-order */
        dwi_inside_begin(s->stretch, &segment->node, segment->position, segment->length, false, &s->inside);
    s->offset = offset;
    dwi_inside_go(s->stretch, offset, &s->inside);
    copy_node(s->stretch, node, &s->inside.node);
}

/* Keeps a cell for the curves, whose rows are given when the walk ends. */
static enum dw_status keep_cell(struct dw_run *run, struct cell *cell, const struct cell_end *end, const struct extrema *extrema,
                                struct dw_error *error)
{
    struct curves *curve = run->curve;
    struct segment *segment = dwi_curve_add(curve, cell->bend, run->modes->outputs);
    segment->begin = dwi_stretch_offset(&run->stretch, cell->position).hi;
    segment->length = cell->length;
    segment->position = cell->position;
    copy_node(&run->stretch, &segment->node, &cell->here->node);
    for (size_t i = 0; i < extrema->count; i++) {
        struct turn *turn = dwi_curve_add_turn(curve);
        turn->offset = extrema->found[i].offset.hi;
        turn->output = extrema->found[i].output;
        copy_node(&run->stretch, &turn->node, &extrema->found[i].node);
    }
    if (!end->last && !dwi_curve_is_full(curve, run->modes->outputs))
        return DW_OK;
    struct segment_inside inside;
    inside.stretch = &run->stretch;
    inside.inside.start = NULL;
    const enum dw_status status = dwi_curve_flush(run, end->offset, end->node, end->last, (struct curve_inside){ go_inside_segment, &inside }, error);
    memcpy(cell->chord, curve->tolerance, run->modes->outputs * sizeof *cell->chord);
    return status;
}

/* Rows of one cell. */
static enum dw_status give_cell(struct dw_run *run, struct cell *cell, const struct cell_end *end, struct dw_error *error)
{
    if (run->options.sink && run->options.uniform > 0)
        /* the stretch's end is asked by time: of lengths that share a chain, a cell may end ulps behind it */
        return give_uniform(run, cell, !end->event && end->last ? run->goal_time : run->time + end->offset, error);
    if (!cell->rows)
        return DW_OK;
    struct extrema extrema;
    find_extrema(run, cell, end, &extrema);
    return (run->curve ? keep_cell : give_lined)(run, cell, end, &extrema, error);
}

static bool any_guard_moves(const struct dw_run *run)
{
    const struct mode *mode = present_mode(run);
    for (size_t k = 0; k < mode->guard_count; k++)
        if (!mode->guards[k].value.still || !run->stretch.flat)
            return true;
    return false;
}

/* Carries the node to the stretch's end at once, where it is proved that no guard is crossed on the way and no rows are wanted:
 * then the grid's cells need not be judged one by one.
 *   returns  whether it was; run->node is then the end's */
static bool leap(struct dw_run *run, struct cell *cell)
{
    const struct stretch *stretch = &run->stretch;
    struct position position = cell->position;
    struct node *node = &cell->next->node;
    look_around(run, cell, cell->here);
    cell->length = stretch->length - dwi_stretch_offset(stretch, position).hi;
    if (!judge_cell(run, cell))
        return false;
    copy_node(stretch, node, &cell->here->node);
    if (position.rest != 0 && !stretch_doubled(stretch) && stretch->system->norm * cell->length <= 1) {
        /* off the grid the rest is one series, sooner summed than climbed to and along */
        if (!stretch->flat)
            dwi_stretch_input(stretch, position, cell->length, node);
        dwi_stretch_step(stretch, stretch->chain->levels + 1, cell->length, node);
        position = (struct position){ stretch->count, stretch->tail };
    }
    dwi_stretch_finish(stretch, position, node);
    for (size_t k = 0; k < present_mode(run)->guard_count; k++) {
        const struct functional *guard = &present_mode(run)->guards[k].value;
        if (cell->guards[k] == ENDS_TELL && functional_at(guard, node) < -GRAZE * guard->scale)
            return false;
    }
    copy_node(stretch, &run->node, node);
    return true;
}

/* A cell of no length yet, from the run's node at an offset. */
static void begin_cells(struct dw_run *run, struct doubled offset, struct cell *cell)
{
    const struct stretch *stretch = &run->stretch;
    cell->position = dwi_stretch_seek(stretch, offset);
    cell->here = cell->places;
    cell->next = cell->places + 1;
    copy_node(stretch, &cell->here->node, &run->node);
    if (!stretch_doubled(stretch))
        memset(cell->here->node.low, 0, stretch->system->width * sizeof(double));
    cell->here->known = cell->here->wholly = cell->here->carried = false;
    cell->rows = run->options.sink && run->options.accuracy > 0 && run->options.uniform == 0;
    dwi_line_begin(&cell->line, offset.hi, run->modes->outputs);
    cell->orders = cell->rows && run->curve ? CURVE_ORDERS : ORDERS;
    for (size_t j = 0; j < run->modes->outputs; j++)
        cell->chord[j] = run->options.accuracy * present_mode(run)->outputs[j].scale;
    if (cell->rows && run->curve) {
        dwi_curve_begin(run, offset.hi);
        memcpy(cell->chord, run->curve->tolerance, run->modes->outputs * sizeof *cell->chord);
    }
}

/* Whether the cells so far are so short, or what is in them so large, that the walk has no end. */
static enum dw_status check_pace(struct dw_run *run, const struct cell *cell, bool judged, struct dw_error *error)
{
    const double gone = dwi_stretch_offset(&run->stretch, cell->position).hi;
    if (judged && cell->here->wholly && !isfinite(cell->here->rates.norm[ORDERS]))
        return dw_error_set(error, DW_NO, 0, "at %.9g s something is so large, or changes so fast, that its derivatives are beyond "
                            "what numbers can hold", run->time + gone);
    return dwi_run_pace(run, gone, cell->rows, error);
}

enum dw_status dwi_run_walk(struct dw_run *run, struct doubled *offset, const struct guard **guard, struct dw_error *error)
{
    const struct stretch *stretch = &run->stretch;
    struct cell cell;
    begin_cells(run, *offset, &cell);
    const bool judged = cell.rows || any_guard_moves(run);
    *guard = NULL;
    const bool plain = judged && !cell.rows && !run->tangent && !(run->options.sink && run->options.uniform > 0);
    /* a mode that ended by a guard will most likely do so again, and then its cells are needed */
    if (plain && !run->hint[run->mode].crossed && leap(run, &cell))
        return DW_OK;
    while (!dwi_stretch_at_end(stretch, cell.position)) {
        take_cell(run, &cell, judged);
        enum dw_status status = check_pace(run, &cell, judged, error);
        if (status != DW_OK)
            return status;
        struct row_found found;
        found.offset = dwi_stretch_offset(stretch, cell.after);
        *guard = judged ? first_crossing(run, &cell, &found) : NULL;
        const struct cell_end end = { found.offset.hi, *guard ? &found.node : &cell.next->node, *guard != NULL,
                                      *guard || dwi_stretch_at_end(stretch, cell.after) };
        status = give_cell(run, &cell, &end, error);
        if (status != DW_OK)
            return status;
        if (run->tangent)
            dwi_run_tangent_move(run, cell.position, found.offset);
        if (*guard) {
            run->hint[run->mode].crossed = true;
            *offset = found.offset;
            copy_node(stretch, &run->node, &found.node);
            return DW_OK;
        }
        struct place *kept = cell.here;
        cell.here = cell.next;
        cell.next = kept;
        cell.position = cell.after;
    }
    run->hint[run->mode].crossed = false;
    copy_node(stretch, &run->node, &cell.here->node);
    return DW_OK;
}
