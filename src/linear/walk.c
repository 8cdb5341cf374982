/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Walks one stretch in one mode, cell by cell, so that no guard's crossing is missed and rows keep the accuracy. */
#include "linear/modes_inner.h"
#include <float.h>
#include <string.h>

#define GRAZE 1e-13  /* of a guard's scale: further below zero is a crossing */

struct row_found {
    struct doubled offset;
    struct node node;
};

/* A node with all that is known there. */
struct place {
    struct node node;
    struct rates rates;
    struct slopes guards[MODE_GUARDS], outputs[DW_OUTPUTS];
};

/* A cell under way: from a position and place to the next. */
struct cell {
    struct position position, after;
    unsigned level;
    double length;
    struct place places[2], *here, *next;
    bool rows;  /* outputs are judged too */
    enum verdict guards[MODE_GUARDS], outputs[DW_OUTPUTS];
};

static const struct mode *walked_mode(const struct dw_run *run)
{
    return run->modes->modes + run->mode;
}

static void look_around(const struct dw_run *run, const struct cell *cell, struct place *place)
{
    const struct mode *mode = walked_mode(run);
    rates_at(&run->stretch, &place->node, &place->rates);
    for (size_t k = 0; k < mode->guard_count; k++)
        slopes_at(&run->stretch, &place->node, &place->rates, &mode->guards[k].value, place->guards + k);
    for (size_t j = 0; cell->rows && j < run->modes->outputs; j++)
        slopes_at(&run->stretch, &place->node, &place->rates, mode->outputs + j, place->outputs + j);
}

static bool judge_cell(const struct dw_run *run, struct cell *cell)
{
    const struct mode *mode = walked_mode(run);
    const struct place *here = cell->here;
    for (size_t k = 0; k < mode->guard_count; k++) {
        cell->guards[k] = judge_guard(&run->stretch, &here->rates, here->guards + k, &mode->guards[k].value, cell->length);
        if (cell->guards[k] == SPLIT)
            return false;
    }
    for (size_t j = 0; cell->rows && j < run->modes->outputs; j++) {
        const struct functional *output = mode->outputs + j;
        cell->outputs[j] = judge_output(&run->stretch, &here->rates, here->outputs + j, output,
                                        run->options.accuracy * output->scale, cell->length);
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

static void copy_node(const struct stretch *stretch, struct node *to, const struct node *from)
{
    const size_t width = stretch->system->width;
    memcpy(to->high, from->high, width * sizeof to->high[0]);
    memcpy(to->low, from->low, (stretch_doubled(stretch) ? width : stretch->system->states) * sizeof to->low[0]);
}

/* Chooses the longest cell from here over which everything is proved, and carries the node over it. */
static void take_cell(struct dw_run *run, struct cell *cell, bool judged)
{
    const struct stretch *stretch = &run->stretch;
    const unsigned levels = stretch->chain->levels;
    struct node *next = &cell->next->node;
    cell->level = stretch_cell(stretch, cell->position, &cell->length);
    if (judged && cell->length > 0) {
        /* cells are at most twice as long as the last; one cut short by the grid says nothing of the next */
        const double most = cell->length;
        while (cell->level < levels && cell->length > 2 * run->hint)
            halve(cell, levels);
        while (!judge_cell(run, cell))
            halve(cell, levels);
        if (cell->length < most || cell->length > run->hint)
            run->hint = cell->length;
    }
    if (!stretch->flat)
        stretch_input(stretch, cell->position, cell->length, &cell->here->node);
    copy_node(stretch, next, &cell->here->node);
    stretch_step(stretch, cell->level, cell->length, next);
    cell->after = stretch_after(stretch, cell->position, cell->level, cell->length);
    if (!stretch->flat)
        stretch_input(stretch, cell->after, 0, next);
    if (judged)
        look_around(run, cell, cell->next);
}

/* The guard that is crossed first in the cell, or NULL. */
static const struct guard *first_crossing(const struct dw_run *run, const struct cell *cell, struct row_found *found)
{
    const struct mode *mode = walked_mode(run);
    const struct guard *first = NULL;
    for (size_t k = 0; k < mode->guard_count; k++) {
        const struct guard *guard = mode->guards + k;
        if (cell->guards[k] != ENDS_TELL || cell->next->guards[k].order[0] >= -GRAZE * guard->value.scale)
            continue;
        struct row_found root;
        copy_node(&run->stretch, &root.node, &cell->here->node);
        find_crossing(&run->stretch, cell->position, cell->level, cell->length, &guard->value, 0, 1, &root.offset,
                      &root.node);
        if (!first || root.offset.hi < found->offset.hi) {
            first = guard;
            *found = root;
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
    return first > 0 && last < 0 ? 1 : first < 0 && last > 0 ? -1 : 0;
}

/* Gives the extrema of the outputs inside the cell, in order, up to a limit. */
static enum dw_status give_extrema(struct dw_run *run, const struct cell *cell, double limit, struct dw_error *error)
{
    const struct mode *mode = walked_mode(run);
    const double begin = stretch_offset(&run->stretch, cell->position).hi;
    bool given[DW_OUTPUTS];
    size_t left = 0;
    for (size_t j = 0; j < run->modes->outputs; j++) {
        given[j] = turns(cell, j) == 0;
        left += !given[j];
    }
    for (; left > 0; left--) {
        struct row_found first, found;
        size_t next = DW_OUTPUTS;
        for (size_t j = 0; j < run->modes->outputs; j++) {
            if (given[j])
                continue;
            copy_node(&run->stretch, &found.node, &cell->here->node);
            find_crossing(&run->stretch, cell->position, cell->level, cell->length, mode->outputs + j, 1, turns(cell, j),
                          &found.offset, &found.node);
            if (next == DW_OUTPUTS || found.offset.hi < first.offset.hi) {
                next = j;
                first = found;
            }
        }
        if (next == DW_OUTPUTS || first.offset.hi >= limit)
            return DW_OK;
        given[next] = true;
        if (first.offset.hi <= begin)
            continue;
        const enum dw_status status = run_give(run, run->time + first.offset.hi, &first.node, DW_ROW_EXTREMUM, 0, error);
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
        struct node node = cell->here->node;
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
    /* a chain may end a few ulp before the stretch: no row for that */
    const double time = run->time + limit, slack = 4 * DBL_EPSILON * fabs(run->goal_time);
    return time < run->goal_time - slack ? run_give(run, time, &cell->next->node, DW_ROW_BETWEEN, 0, error) : DW_OK;
}

enum dw_status run_walk(struct dw_run *run, struct doubled *offset, const struct guard **guard, struct dw_error *error)
{
    const struct stretch *stretch = &run->stretch;
    struct cell cell;
    cell.position = stretch_seek(stretch, *offset);
    cell.here = cell.places;
    cell.next = cell.places + 1;
    cell.here->node = run->node;
    cell.rows = run->options.sink && run->options.accuracy > 0 && run->options.uniform == 0;
    const bool judged = cell.rows || walked_mode(run)->guard_count > 0;
    *guard = NULL;
    if (!stretch_doubled(stretch))
        memset(cell.here->node.low, 0, stretch->system->width * sizeof(double));
    stretch_input(stretch, cell.position, 0, &cell.here->node);
    if (judged)
        look_around(run, &cell, cell.here);
    while (!stretch_at_end(stretch, cell.position)) {
        take_cell(run, &cell, judged);
        struct row_found found;
        found.offset = stretch_offset(stretch, cell.after);
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
        struct place *kept = cell.here;
        cell.here = cell.next;
        cell.next = kept;
        cell.position = cell.after;
    }
    copy_node(stretch, &run->node, &cell.here->node);
    return DW_OK;
}
