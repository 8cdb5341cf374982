/* SPDX-License-Identifier: GPL-3.0-or-later */
/* All RC ladders out of the parts on offer, by branch and bound. A box is a range of pairs for each stage; theory, 6.4. */
#include "search_inner.h"
#include <math.h>

enum { DEEP = 512 };

double dwi_rc_candidates(int stages, const struct offer *offer)
{
    double count = (double)offer->first->count * (double)offer->second->count;
    for (int k = 1; k < stages; k++)
        count *= (double)offer->resistors->count * (double)offer->capacitors->count;
    return count;
}

static const struct pairs *pairs_of(const struct space *space, int stage)
{
    return stage == 0 ? space->first : space->others;
}

static void leaf(struct search *search, const struct space *space, const struct part_pair *const *pair)
{
    struct dw_filter filter = { .stages = space->stages };
    for (int k = 0; k < space->stages; k++) {
        filter.r[k] = pairs_of(space, k)->resistors->part[pair[k]->r];
        filter.c[k] = pairs_of(space, k)->capacitors->part[pair[k]->c];
    }
    search->evaluations++;
    dwi_search_offer(search, &filter, NULL);
}

/* The stage whose pairs differ most, -1 where none does. */
static int widest(const struct search_box *box)
{
    double most = 0;
    int stage = -1;
    for (int k = 0; k < box->stages; k++) {
        const struct pair_node *node = box->node[k];
        const struct pair_logs *ln = &node->fast.ln;
        const double width = ln->time_most - ln->time_least + PAIRS_RESISTANCE * (ln->r_most - ln->r_least);
        if (node->count > 1 && (stage < 0 || width > most)) {
            most = width;
            stage = k;
        }
    }
    return stage;
}

static double volume(const struct search_box *box)
{
    double count = 1;
    for (int k = 0; k < box->stages; k++)
        count *= box->node[k]->count;
    return count;
}

/* Whether the first is to be looked at before the second: which of them promises more. Along a front the ripple falls with the power of
 * the settling time that there are stages. */
static bool promises_more(const struct search *search, const struct search_box *one, const struct search_box *other)
{
    const struct dw_filter_task *task = &search->terms.task;
    const struct dw_filter_figures *a = &one->bound.figures, *b = &other->bound.figures;
    if (search->goal == GOAL_FRONT) {
        double ratio = a->ripple / b->ripple;
        for (int k = 0; k < one->stages; k++)
            ratio *= a->settling / b->settling;
        return ratio < 1;
    }
    const double used = dwi_margin_of(task, a, false), by_other = dwi_margin_of(task, b, false);
    if (search->goal == GOAL_NEAREST && used != by_other)
        return used < by_other;
    const double ripple = isinf(task->ripple) ? search->terms.height : task->ripple;
    const double settling = isinf(task->settling) ? search->terms.period : task->settling;
    return fmax(a->ripple / ripple, a->settling / settling) < fmax(b->ripple / ripple, b->settling / settling);
}

/* Cuts a box into those of its halves that may hold what is kept, the more promising one last.
 *   returns  how many */
static int halves_of(struct search *search, const struct search_box *box, int stage, struct search_box half[2])
{
    int count = 0;
    for (int i = 0; i < 2; i++) {
        half[count] = *box;
        half[count].node[stage] = dwi_pairs_half(box->node[stage], i);
        count += dwi_box_bounded(search, &half[count]);
    }
    if (count == 2 && promises_more(search, &half[0], &half[1])) {
        const struct search_box swap = half[0];
        half[0] = half[1];
        half[1] = swap;
    }
    return count;
}

static void look(struct search *search, const struct space *space, const struct search_box *box)
{
    const struct part_pair *pair[DW_FILTER_STAGES];
    for (int k = 0; k < space->stages; k++)
        pair[k] = &pairs_of(space, k)->pair[box->node[k]->from];
    leaf(search, space, pair);
}

size_t dwi_rc_frontier(struct search *search, const struct space *space, struct search_box *boxes)
{
    boxes[0] = (struct search_box){ .stages = space->stages };
    for (int k = 0; k < space->stages; k++)
        boxes[0].node[k] = pairs_of(space, k)->node;
    size_t count = dwi_box_bounded(search, &boxes[0]);
    for (bool cut = true; cut && count > 0;) {
        cut = false;
        for (size_t i = count; i-- > 0 && count < FRONTIER;) {
            struct search_box half[2];
            const int stage = widest(&boxes[i]);
            if (stage < 0)
                continue;
            const int left = halves_of(search, &boxes[i], stage, half);
            cut = true;
            boxes[i] = left > 0 ? half[left - 1] : boxes[--count];
            if (left == 2)
                boxes[count++] = half[0];
        }
        cut = cut && count < FRONTIER;
    }
    return count;
}

void dwi_search_box(struct search *search, const struct space *space, const struct search_box *whole)
{
    struct search_box stack[DEEP] = { *whole };
    int depth = 1;
    double done = 0;
    const double all = volume(whole);
    while (depth > 0 && !dwi_search_ended(search)) {
        const struct search_box box = stack[--depth];
        dwi_search_looked(search, done / all);
        const int stage = widest(&box);
        if (dwi_search_hopeless(search, &box.bound, false)) {
            done += volume(&box);
        } else if (stage < 0) {
            look(search, space, &box);
            done++;
        } else {
            const int left = halves_of(search, &box, stage, &stack[depth]);
            done += volume(&box);
            for (int i = 0; i < left; i++)
                done -= volume(&stack[depth++]);
        }
    }
}

void dwi_search_every(struct search *search, const struct space *space, size_t piece, size_t pieces)
{
    size_t index[DW_FILTER_STAGES] = { piece };
    while (index[0] < space->first->count && !dwi_search_ended(search)) {
        const struct part_pair *pair[DW_FILTER_STAGES];
        dwi_search_looked(search, (double)index[0] / (double)space->first->count);
        for (int k = 0; k < space->stages; k++)
            pair[k] = &pairs_of(space, k)->pair[index[k]];
        leaf(search, space, pair);
        int k = space->stages - 1;
        for (; k > 0 && ++index[k] == space->others->count; k--)
            index[k] = 0;
        index[0] += k == 0 ? pieces : 0;
    }
}
