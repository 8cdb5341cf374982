/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows inside a cell: what the state is there, and how far a straight line may go from the last row given: docs/theory.md, (2.14) and
 * (2.15). */
#include "linear/cell_inner.h"

void dwi_inside_begin(const struct stretch *stretch, const struct node *start, struct position position, double length, bool seen,
                      struct inside *inside)
{
    inside->start = start;
    inside->begin = dwi_stretch_offset(stretch, position).hi;
    inside->length = length;
    inside->series = stretch->system->norm * length <= SOLUTION_REACH;
    inside->position = position;
    inside->stretch = *stretch;
    copy_node(stretch, &inside->node, start);
    if (inside->series) {
        dwi_cell_solution(stretch, start, length, &inside->solution);
        memset(inside->node.low, 0, stretch->system->states * sizeof inside->node.low[0]);
    } else if (seen) {
        inside->chain = *stretch->chain;
        inside->chain.low = NULL;
        inside->stretch.chain = &inside->chain;
    }
}

void dwi_inside_go(const struct stretch *stretch, double offset, struct inside *inside)
{
    if (inside->series) {
        dwi_solution_at(&inside->solution, stretch->system->states, (offset - inside->begin) / inside->length, inside->node.high);
        inside->position = stretch->flat ? inside->position : dwi_stretch_seek(stretch, doubled_of(offset));
    } else {
        dwi_stretch_move(&inside->stretch, &inside->position, doubled_of(offset), false, &inside->node);
    }
    dwi_stretch_input(stretch, inside->position, 0, &inside->node);
}

void dwi_line_begin(struct line *line, double offset, size_t outputs)
{
    line->from = offset;
    for (size_t j = 0; j < outputs; j++) {
        line->load[j].worn = line->load[j].most = 0;
        line->load[j].since = 0;
    }
}

/* What has been passed counts by its second derivative, or by how far it bent the wave, whichever lets the line go farther. */
struct past {
    double worn, most;
};

static struct past past_kept(const struct line *line, size_t output)
{
    return (struct past){ line->load[output].worn, line->load[output].most };
}

static struct past past_worn(const struct line *line, size_t output, double now)
{
    const double most = line->load[output].most, since = line->load[output].since;
    return (struct past){ line->load[output].worn + most * (now - since) * (now + since) / 2, 0 };
}

/* Longest line with |f''| <= most since what is worn. */
static double longest(double chord, double worn, double most)
{
    return worn < chord ? sqrt(8 * (chord - worn) / most) : 0;  /* most 0: for ever */
}

/* Length that a line may have, between `first` (in the cell) and `last`; below `first`: it may not enter the cell. */
static double reach_of(const struct crossing *c, size_t output, struct past past, double offset, double first, double last)
{
    const struct bend *bend = c->bend + output;
    const double chord = c->chord[output], begin = (offset + first - c->begin) / c->length;
    double length = longest(chord, past.worn, larger(past.most, bend_over(bend, begin, (offset + last - c->begin) / c->length)));
    if (length >= last)
        return last;
    /* the bound up to there is smaller, and that up to where this would allow to go holds for all before */
    for (int i = 0; i < 2; i++) {
        const double share = (offset + lesser(larger(length, first), last) - c->begin) / c->length;
        length = longest(chord, past.worn, larger(past.most, bend_over(bend, begin, share)));
    }
    return lesser(length, last);
}

double dwi_line_reach(const struct line *line, const struct crossing *crossing, double end)
{
    const double first = larger(crossing->begin - line->from, 0);
    double least = end - line->from;
    for (size_t j = 0; j < crossing->outputs && least > first; j++) {
        double reach = reach_of(crossing, j, past_kept(line, j), line->from, first, least);
        if (reach < least && first > 0)
            reach = larger(reach, reach_of(crossing, j, past_worn(line, j, first), line->from, first, least));
        least = lesser(least, reach);
    }
    return line->from + larger(least, first);
}

void dwi_line_pass(struct line *line, const struct crossing *crossing, double end)
{
    const double first = larger(crossing->begin - line->from, 0), last = end - line->from;
    if (!(last > first))
        return;
    for (size_t j = 0; j < crossing->outputs; j++) {
        const double begin = (line->from + first - crossing->begin) / crossing->length;
        const double here = bend_over(crossing->bend + j, begin, (end - crossing->begin) / crossing->length);
        const struct past kept = past_kept(line, j), worn = past_worn(line, j, first);
        const double chord = crossing->chord[j], most = larger(kept.most, here);
        if (longest(chord, kept.worn, most) >= longest(chord, worn.worn, here)) {
            line->load[j].most = most;
        } else {
            line->load[j].worn = worn.worn;
            line->load[j].most = here;
            line->load[j].since = first;
        }
    }
}
