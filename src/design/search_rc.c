/* SPDX-License-Identifier: GPL-3.0-or-later */
/* All RC ladders out of the parts on offer, by branch and bound. A box is a range of each part; the ripple of its largest parts
 * and the settling of its smallest are the least that any ladder in it has (theory, 6.2 and 6.4). */
#include "search_inner.h"
#include <math.h>

enum { SIDES = 2 * DW_FILTER_STAGES, DEEP = 512, NODES_A_TELL = 1 << 14 };

struct search_box {
    size_t from[SIDES], to[SIDES];  /* ranges in the lists, both inclusive; r c r c r c */
    struct bound bound;
};

struct space {
    struct search *search;
    int stages;
    const struct dw_parts *list[SIDES];
};

double dwi_rc_candidates(int stages, const struct offer *offer)
{
    double count = (double)offer->first->count * (double)offer->second->count;
    for (int k = 1; k < stages; k++)
        count *= (double)offer->resistors->count * (double)offer->capacitors->count;
    return count;
}

static double least_price(const struct dw_parts *list, size_t from, size_t to)
{
    double price = INFINITY;
    for (size_t i = from; i <= to; i++)
        price = fmin(price, list->part[i].price);
    return price;
}

/* Least figures of a box; stops where it is already hopeless. */
static bool bounded(const struct space *space, struct search_box *box)
{
    struct search *search = space->search;
    const struct task_terms *terms = &search->terms;
    struct rc_values top = { .whole = 0 }, low = { .whole = 0 };
    struct filter_poles poles;
    box->bound = (struct bound){ .parts = 2 * space->stages };
    for (int k = 0; k < space->stages; k++) {
        const struct dw_parts *r = space->list[2 * k], *c = space->list[2 * k + 1];
        top.r[k] = r->most_low[box->to[2 * k]];
        low.r[k] = r->least_high[box->from[2 * k]];
        top.c[k] = c->most_low[box->to[2 * k + 1]];
        low.c[k] = c->least_high[box->from[2 * k + 1]];
        top.whole += top.r[k];
        low.whole += low.r[k];
        box->bound.resistance += r->part[box->from[2 * k]].value;
    }
    struct dw_filter_figures *figures = &box->bound.figures;
    if (search->goal == GOAL_PRICE)
        for (int i = 0; i < 2 * space->stages; i++)
            box->bound.price += least_price(space->list[i], box->from[i], box->to[i]);
    figures->loading = dwi_loading_of(terms, terms->task.source + low.whole);
    /* the first of the two currents of (6.16), at the largest first resistance */
    const double rest = terms->task.source + terms->task.load;
    const double all = rest + (terms->task.low < 0 ? fmin(low.whole, top.whole) : fmax(low.whole, top.whole));
    figures->pin_current = fmax(0, terms->height / (terms->task.source + top.r[0]) + terms->task.low / all);
    if (dwi_search_hopeless(search, &box->bound, false))
        return false;
    dwi_rc_poles_of(&poles, terms, space->stages, &top);
    figures->ripple = dwi_rc_ripple(terms, &poles);
    search->evaluations += 0.5;
    if (dwi_search_hopeless(search, &box->bound, false))
        return false;
    dwi_rc_poles_of(&poles, terms, space->stages, &low);
    figures->settling = dwi_rc_settling(terms, &poles, &figures->settling_at_most);
    search->evaluations += 0.5;
    return !dwi_search_hopeless(search, &box->bound, false);
}

static void leaf(const struct space *space, const size_t *index)
{
    struct dw_filter filter = { .stages = space->stages };
    struct dw_filter_figures worst;
    bool exact;
    for (int k = 0; k < space->stages; k++) {
        filter.r[k] = space->list[2 * k]->part[index[2 * k]];
        filter.c[k] = space->list[2 * k + 1]->part[index[2 * k + 1]];
    }
    dwi_figures_worst(&space->search->terms, &filter, &dwi_no_limits, &worst, &exact);
    space->search->evaluations++;
    dwi_search_offer(space->search, &filter, &worst, exact);
}

/* The side whose values differ most, -1 where none does. */
static int widest(const struct space *space, const struct search_box *box)
{
    double most = 1;
    int side = -1;
    for (int i = 0; i < 2 * space->stages; i++) {
        const struct dw_part *part = space->list[i]->part;
        const double ratio = part[box->to[i]].value / part[box->from[i]].value;
        if (box->to[i] > box->from[i] && (side < 0 || ratio > most)) {
            most = ratio;
            side = i;
        }
    }
    return side;
}

static double volume(const struct space *space, const struct search_box *box)
{
    double count = 1;
    for (int i = 0; i < 2 * space->stages; i++)
        count *= (double)(box->to[i] - box->from[i] + 1);
    return count;
}

/* Whether the first is to be looked at before the second: which of them promises more. */
static bool promises_more(const struct search *search, const struct bound *one, const struct bound *other)
{
    const struct dw_filter_task *task = &search->terms.task;
    const double ripple = isinf(task->ripple) ? search->terms.height : task->ripple;
    const double settling = isinf(task->settling) ? search->terms.period : task->settling;
    const double first = fmax(one->figures.ripple / ripple, one->figures.settling / settling);
    return first < fmax(other->figures.ripple / ripple, other->figures.settling / settling);
}

static void branch_and_bound(const struct space *space, double all)
{
    struct search *search = space->search;
    struct search_box stack[DEEP];
    int depth = 0, nodes = 0;
    double done = 0;
    struct search_box whole = { .bound = { .parts = 0 } };
    for (int i = 0; i < 2 * space->stages; i++)
        whole.to[i] = space->list[i]->count - 1; /* NOLINT(clang-analyzer-core.NullDereference): a list for each part of each stage */
    if (bounded(space, &whole))
        stack[depth++] = whole;
    while (depth > 0 && !search->stopped && !search->no_memory) {
        struct search_box box = stack[--depth];
        if (++nodes % NODES_A_TELL == 0)
            dwi_search_tell(search, done / all);
        if (dwi_search_hopeless(search, &box.bound, false)) {
            done += volume(space, &box);
            continue;
        }
        const int side = widest(space, &box);
        if (side < 0) {
            leaf(space, box.from);
            done++;
            continue;
        }
        struct search_box half[2] = { box, box };
        half[0].to[side] = box.from[side] + (box.to[side] - box.from[side]) / 2;
        half[1].from[side] = half[0].to[side] + 1;
        const bool keep[2] = { bounded(space, &half[0]), bounded(space, &half[1]) };
        const int later = keep[0] && keep[1] && promises_more(search, &half[1].bound, &half[0].bound) ? 0 : 1;
        for (int i = 0; i < 2; i++) {
            const int which = i == 0 ? later : 1 - later;
            if (keep[which])
                stack[depth++] = half[which];
            else
                done += volume(space, &half[which]);
        }
    }
}

static void every_one(const struct space *space, double all)
{
    struct search *search = space->search;
    size_t index[SIDES] = { 0 };
    for (double done = 0; done < all && !search->stopped && !search->no_memory; done++) {  /* unrun: passed-on */
        if (fmod(done, NODES_A_TELL) == 0)
            dwi_search_tell(search, done / all);
        leaf(space, index);
        for (int i = 2 * space->stages - 1; i >= 0 && ++index[i] == space->list[i]->count; i--)
            index[i] = 0;
    }
}

void dwi_search_rc(struct search *search, int stages, const struct offer *offer)
{
    struct space space = { .search = search, .stages = stages };
    for (int k = 0; k < stages; k++) {
        space.list[2 * k] = k == 0 ? offer->first : offer->resistors;
        space.list[2 * k + 1] = k == 0 ? offer->second : offer->capacitors;
    }
    const double all = dwi_rc_candidates(stages, offer);
    if (search->exhaustive)
        every_one(&space, all);
    else
        branch_and_bound(&space, all);
}
