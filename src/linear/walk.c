/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Walks one stretch in one mode, cell by cell, so that no guard's crossing is missed and rows keep the accuracy. */
#include "linear/modes_inner.h"
#include <string.h>

#define GRAZE 1e-13  /* of a guard's scale: further below zero is a crossing */

struct row_found {
    struct doubled offset;
    struct node node;
};

/* A cell under way: from node[0] at a position to node[1]. */
struct cell {
    struct position position, after;
    unsigned level;
    double length;
    struct node node[2];
    struct rates rates[2];
    bool rows;  /* outputs are judged too */
    enum verdict guards[MODE_GUARDS], outputs[DW_OUTPUTS];
};

static const struct mode *walked_mode(const struct dw_run *run)
{
    return run->modes->modes + run->mode;
}

static bool judge_cell(const struct dw_run *run, struct cell *cell)
{
    const struct mode *mode = walked_mode(run);
    for (size_t k = 0; k < mode->guard_count; k++) {
        cell->guards[k] = judge_guard(&run->stretch, &cell->rates[0], &mode->guards[k].value, cell->length);
        if (cell->guards[k] == SPLIT)
            return false;
    }
    for (size_t j = 0; cell->rows && j < run->modes->outputs; j++) {
        const struct functional *output = mode->outputs + j;
        cell->outputs[j] = judge_output(&run->stretch, &cell->rates[0], output, run->options.accuracy * output->scale,
                                        cell->length);
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
    cell->level = stretch_cell(stretch, cell->position, &cell->length);
    if (judged && cell->length > 0) {
        while (cell->level <= levels && cell->level + 1 < run->hint)
            halve(cell, levels);
        while (!judge_cell(run, cell))
            halve(cell, levels);
        if (cell->level <= levels)
            run->hint = cell->level;
    }
    stretch_input(stretch, cell->position, cell->length, &cell->node[0]);
    cell->node[1] = cell->node[0];
    stretch_step(stretch, cell->level, cell->length, &cell->node[1]);
    cell->after = stretch_after(stretch, cell->position, cell->level, cell->length);
    stretch_input(stretch, cell->after, 0, &cell->node[1]);
    if (judged)
        rates_at(stretch, &cell->node[1], &cell->rates[1]);
}

/* The guard that is crossed first in the cell, or NULL. */
static const struct guard *first_crossing(const struct dw_run *run, const struct cell *cell, struct row_found *found)
{
    const struct mode *mode = walked_mode(run);
    const struct guard *first = NULL;
    for (size_t k = 0; k < mode->guard_count; k++) {
        const struct guard *guard = mode->guards + k;
        if (cell->guards[k] != ENDS_TELL ||
            functional_rate(&run->stretch, &cell->rates[1], &guard->value, 0) >= -GRAZE * guard->value.scale)
            continue;
        struct row_found root = { .node = cell->node[0] };
        find_crossing(&run->stretch, cell->position, cell->level, cell->length, &guard->value, 0, 1, &root.offset,
                      &root.node);
        if (!first || root.offset.hi < found->offset.hi) {
            first = guard;
            *found = root;
        }
    }
    return first;
}

/* Gives the extrema of the outputs inside the cell, in order, up to a limit. */
static enum dw_status give_extrema(struct dw_run *run, const struct cell *cell, double limit, struct dw_error *error)
{
    const struct mode *mode = walked_mode(run);
    const double begin = stretch_offset(&run->stretch, cell->position).hi;
    bool given[DW_OUTPUTS] = { false };
    struct row_found found[2];
    for (size_t rounds = 0; rounds < run->modes->outputs; rounds++) {
        size_t next = DW_OUTPUTS;
        for (size_t j = 0; j < run->modes->outputs; j++) {
            if (given[j] || cell->outputs[j] != ENDS_TELL)
                continue;
            const double first = functional_rate(&run->stretch, &cell->rates[0], mode->outputs + j, 1);
            const double last = functional_rate(&run->stretch, &cell->rates[1], mode->outputs + j, 1);
            given[j] = !(first > 0 && last < 0) && !(first < 0 && last > 0);
            if (given[j])
                continue;
            found[1].node = cell->node[0];
            find_crossing(&run->stretch, cell->position, cell->level, cell->length, mode->outputs + j, 1,
                          first > 0 ? 1 : -1, &found[1].offset, &found[1].node);
            if (next == DW_OUTPUTS || found[1].offset.hi < found[0].offset.hi) {
                next = j;
                found[0] = found[1];
            }
        }
        if (next == DW_OUTPUTS || found[0].offset.hi >= limit)
            return DW_OK;
        given[next] = true;
        if (found[0].offset.hi <= begin)
            continue;
        const enum dw_status status =
            run_give(run, run->time + found[0].offset.hi, &found[0].node, DW_ROW_EXTREMUM, 0, error);
        if (status != DW_OK)
            return status;
    }
    return DW_OK;
}

/* Gives the uniform rows from the cell's start up to, not with, a limit. */
static enum dw_status give_uniform(struct dw_run *run, const struct cell *cell, double limit, bool whole,
                                   struct dw_error *error)
{
    for (;;) {
        const double time = run->begin + (double)run->uniform_next / run->options.uniform;
        const struct doubled offset = exact_sum(time, -run->time);
        if (whole ? !(time < run->goal_time) : !(offset.hi < limit))
            return DW_OK;
        struct node node = cell->node[0];
        struct position position = cell->position;
        stretch_move(&run->stretch, &position, offset.hi > 0 ? offset : doubled_of(0), false, &node);
        stretch_input(&run->stretch, position, 0, &node);
        run->uniform_next++;
        const enum dw_status status = run_give(run, time, &node, DW_ROW_BETWEEN, 0, error);
        if (status != DW_OK)
            return status;
    }
}

/* Rows of one cell; `limit` is its end or the event's offset. */
static enum dw_status give_cell(struct dw_run *run, const struct cell *cell, double limit, bool event,
                                struct dw_error *error)
{
    if (run->options.sink && run->options.uniform > 0)
        return give_uniform(run, cell, limit, !event && stretch_at_end(&run->stretch, cell->after), error);
    if (!cell->rows)
        return DW_OK;
    const enum dw_status status = give_extrema(run, cell, limit, error);
    if (status != DW_OK || event || stretch_at_end(&run->stretch, cell->after))
        return status;
    const double time = run->time + limit;
    return time < run->goal_time ? run_give(run, time, &cell->node[1], DW_ROW_BETWEEN, 0, error) : DW_OK;
}

enum dw_status run_walk(struct dw_run *run, struct doubled *offset, const struct guard **guard, struct dw_error *error)
{
    const struct stretch *stretch = &run->stretch;
    struct cell cell;
    cell.position = stretch_seek(stretch, *offset);
    cell.node[0] = run->node;
    cell.rows = run->options.sink && run->options.accuracy > 0 && run->options.uniform == 0;
    const bool judged = cell.rows || walked_mode(run)->guard_count > 0;
    *guard = NULL;
    if (!stretch_doubled(stretch))
        memset(cell.node[0].low, 0, sizeof cell.node[0].low);
    stretch_input(stretch, cell.position, 0, &cell.node[0]);
    if (judged)
        rates_at(stretch, &cell.node[0], &cell.rates[0]);
    while (!stretch_at_end(stretch, cell.position)) {
        take_cell(run, &cell, judged);
        struct row_found found = { .offset = stretch_offset(stretch, cell.after) };
        *guard = judged ? first_crossing(run, &cell, &found) : NULL;
        const enum dw_status status = give_cell(run, &cell, found.offset.hi, *guard != NULL, error);
        if (status != DW_OK)
            return status;
        if (run->tangent)
            run_tangent_move(run, cell.position, found.offset);
        if (*guard) {
            *offset = found.offset;
            run->node = found.node;
            return DW_OK;
        }
        cell.position = cell.after;
        cell.node[0] = cell.node[1];
        cell.rates[0] = cell.rates[1];
        cell.rates[0].input = cell.node[0].high + run->modes->states;
    }
    run->node = cell.node[0];
    return DW_OK;
}
