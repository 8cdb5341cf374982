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

/* Looks at all candidates of a range of pairs for each stage.
 *   from, count  [stages]
 *   share        of the search, for progress */
static void look(struct search *search, const struct space *space, const size_t *from, const size_t *count, double share)
{
    size_t index[DW_FILTER_STAGES] = { 0 };
    while (index[0] < count[0] && !dwi_search_ended(search)) {
        dwi_search_looked(search, share);
        struct dw_filter filter = { .stages = space->stages };
        for (int k = 0; k < space->stages; k++) {
            const struct pairs *pairs = pairs_of(space, k);
            const struct part_pair *pair = &pairs->pair[from[k] + index[k]];
            filter.r[k] = pairs->resistors->part[pair->r];
            filter.c[k] = pairs->capacitors->part[pair->c];
        }
        search->evaluations++;
        dwi_search_offer(search, &filter, NULL);
        int k = space->stages - 1;
        for (; k > 0 && ++index[k] == count[k]; k--)
            index[k] = 0;
        index[0] += k == 0;
    }
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

/* How much a box promises, less being more. Along a front the ripple falls with the power of the settling time that there are stages. */
static double promise_of(const struct search *search, const struct search_box *box)
{
    const struct dw_filter_task *task = &search->terms.task;
    const struct dw_filter_figures *figures = &box->bound.figures;
    if (search->goal == GOAL_FRONT)
        return figures->ripple * pow(figures->settling, box->stages);
    const double ripple = isinf(task->ripple) ? search->terms.height : task->ripple;
    const double settling = isinf(task->settling) ? search->terms.period : task->settling;
    const double balance = fmax(figures->ripple / ripple, figures->settling / settling);
    return search->goal == GOAL_NEAREST ? dwi_margin_of(task, figures, false) + 1e-9 * balance : balance;
}

/* Cuts a box into those of its halves that may hold what is kept, the more promising one last.
 *   returns  how many */
static int halves_of(struct search *search, const struct search_box *box, int stage, struct search_box half[2])
{
    int count = 0;
    for (int i = 0; i < 2; i++) {
        half[count] = *box;
        half[count].node[stage] = dwi_pairs_half(box->node[stage], i);
        if (dwi_box_bounded(search, &half[count])) {
            half[count].promise = promise_of(search, &half[count]);
            count++;
        }
    }
    if (count == 2 && half[0].promise < half[1].promise) {
        const struct search_box swap = half[0];
        half[0] = half[1];
        half[1] = swap;
    }
    return count;
}

/* Looks at all of a box, or cuts it: at once, if it is to be cut at all.
 *   half     out, [2], what is left of it, the more promising one last
 *   returns  how many */
static int look_or_cut(struct search *search, const struct space *space, const struct search_box *box, double share,
                       struct search_box half[2])
{
    /* a candidate of two stages is looked at in a quarter of the time that a bound takes, but where nothing fits many are equally far off;
     * it decides only the speed */
    const double few = box->stages < 3 && search->samples.count == 0 && search->goal != GOAL_NEAREST ? 8 : 1;
    dwi_search_looked(search, share);
    if (dwi_search_hopeless(search, &box->bound, false))
        return 0;
    if (volume(box) > few)
        return halves_of(search, box, widest(box), half);
    size_t from[DW_FILTER_STAGES], count[DW_FILTER_STAGES];
    for (int k = 0; k < box->stages; k++) {
        from[k] = box->node[k]->from;
        count[k] = box->node[k]->count;
    }
    look(search, space, from, count, share);
    return 0;
}

/* The box to be cut next: of a front all are cut alike, else the one that promises most. */
static size_t next_of(const struct search *search, const struct search_box *boxes, size_t count)
{
    size_t next = 0;
    double least = INFINITY;
    for (size_t i = 0; i < count; i++) {
        const double key = search->goal == GOAL_FRONT ? -volume(&boxes[i]) : boxes[i].promise;
        if (key < least) {
            least = key;
            next = i;
        }
    }
    return next;
}

size_t dwi_rc_frontier(struct search *search, const struct space *space, struct search_box *boxes)
{
    enum { TRIES = 4 * FRONTIER };  /* other threads wait */
    boxes[0] = (struct search_box){ .stages = space->stages };
    for (int k = 0; k < space->stages; k++)
        boxes[0].node[k] = pairs_of(space, k)->node;
    size_t count = dwi_box_bounded(search, &boxes[0]);
    for (int i = 0; i < TRIES && count > 0 && count < FRONTIER; i++) {
        struct search_box half[2];
        const size_t at = next_of(search, boxes, count);
        const int left = look_or_cut(search, space, &boxes[at], 0, half);
        boxes[at] = left > 0 ? half[left - 1] : boxes[--count];
        if (left == 2)
            boxes[count++] = half[0];
    }
    return count;
}

void dwi_search_box(struct search *search, const struct space *space, const struct search_box *whole)
{
    struct search_box stack[DEEP];  /* not set to zero: that took longer than most boxes do */
    int depth = 1;
    double done = 0;
    const double all = volume(whole);
    stack[0] = *whole;
    while (depth > 0 && !dwi_search_ended(search)) {
        const struct search_box box = stack[--depth];
        const int left = look_or_cut(search, space, &box, done / all, &stack[depth]);
        done += volume(&box);
        for (int i = 0; i < left; i++)
            done -= volume(&stack[depth++]);
    }
}

void dwi_search_every(struct search *search, const struct space *space, size_t piece, size_t pieces)
{
    size_t from[DW_FILTER_STAGES] = { 0 }, count[DW_FILTER_STAGES] = { 1 };
    for (int k = 1; k < space->stages; k++)
        count[k] = space->others->count;
    for (from[0] = piece; from[0] < space->first->count && !dwi_search_ended(search); from[0] += pieces)
        look(search, space, from, count, (double)from[0] / (double)space->first->count);
}
