/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is kept of what the search finds. */
#include "search_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Bounds and values of the same candidate come from the same formulas at places that differ by rounding alone. */
static const double ROUNDING = 1e-10;

static const int SMALLEST = 1;  /* dw_filter_size */

/* To 30 of a double's 53 bits, ties to even, so that what differs by rounding alone is equal; what that may change, relatively. */
static const double ROUNDED = 0x1p-30;
static double rounded(double x)
{
    enum { DROPPED = 23 };
    uint64_t bits;
    memcpy(&bits, &x, sizeof bits);
    bits += (UINT64_C(1) << (DROPPED - 1)) - 1 + (bits >> DROPPED & 1);
    bits = bits >> DROPPED << DROPPED;
    memcpy(&x, &bits, sizeof x);
    return x;
}

/* Of ripple and settling: the larger share of its limit; with a limit on one of them only, the other itself. */
static double balance_of(const struct dw_filter_task *task, const struct dw_filter_figures *figures)
{
    if (isinf(task->ripple))
        return figures->ripple;
    if (isinf(task->settling))
        return figures->settling;
    return fmax(figures->ripple / task->ripple, figures->settling / task->settling);
}

/* Whether the balance comes before the margin: with fewest parts, where one of ripple and settling has no limit. */
static bool balance_first(const struct search *search)
{
    return search->count_parts && (isinf(search->terms.task.ripple) || isinf(search->terms.task.settling));
}

static double score_of(const struct search *search, const struct dw_filter_figures *figures, double margin, double price)
{
    switch (search->goal) {
    case GOAL_BALANCE: return balance_first(search) ? balance_of(&search->terms.task, figures) : margin;
    case GOAL_RIPPLE: return figures->ripple;
    case GOAL_SETTLING: return figures->settling;
    case GOAL_OVERSHOOT: return figures->overshoot;
    case GOAL_LOADING: return figures->loading;
    case GOAL_PIN: return figures->pin_current;
    case GOAL_PRICE: return price;
    case GOAL_FRONT:
    case GOAL_NEAREST: break;
    }
    return margin;
}

/* What decides among equal scores: the other of margin and balance. */
static double second_of(const struct search *search, const struct dw_filter_figures *figures, double margin)
{
    if (search->goal != GOAL_BALANCE)
        return 0;
    return balance_first(search) ? margin : balance_of(&search->terms.task, figures);
}

/* How many of the front settle no later: the last of them has their smallest ripple. */
static size_t front_before(const struct search *search, double settling)
{
    size_t low = 0, high = search->count;
    while (low < high) {
        const size_t middle = low + (high - low) / 2;
        if (search->kept[middle]->settling <= settling)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

bool dwi_search_hopeless(const struct search *search, const struct bound *bound, bool coil)
{
    const struct dw_filter_figures *figures = &bound->figures;
    const double margin = dwi_margin_of(&search->terms.task, figures, coil);
    if (search->goal != GOAL_NEAREST && margin > 1 + ROUNDING)
        return true;
    if (search->goal == GOAL_FRONT) {
        const size_t before = front_before(search, rounded(figures->settling * (1 - ROUNDING)));
        return before > 0 && search->kept[before - 1]->ripple < rounded(figures->ripple * (1 - ROUNDING));
    }
    if (search->count < search->room)
        return false;
    const struct candidate *last = search->kept[search->count - 1];
    if (search->count_parts && bound->parts != last->parts)
        return bound->parts > last->parts;
    const double score = rounded(score_of(search, figures, margin, bound->price) * (1 - ROUNDING));
    const double second = rounded(second_of(search, figures, margin) * (1 - ROUNDING));
    /* where one figure that is the same for many decides, such as the pin's current, ties are most of them */
    const bool resistance_lost = last->size == SMALLEST && bound->resistance > last->resistance;
    const bool tie_lost = second > last->second || (second == last->second && resistance_lost);
    return score > last->score || (score == last->score && tie_lost);
}

struct filter_limits dwi_search_limits(const struct search *search, const struct bound *bound)
{
    const struct dw_filter_task *task = &search->terms.task;
    const struct candidate *last = search->count > 0 ? search->kept[search->count - 1] : NULL;
    const bool full = last && search->count == search->room && !(search->count_parts && bound->parts < last->parts);
    const double slack = 1 + 4 * ROUNDED, score = full ? last->score * slack : INFINITY;
    struct filter_limits limits = { INFINITY, INFINITY, INFINITY };
    if (search->goal != GOAL_NEAREST)
        limits = (struct filter_limits){ 1, task->ripple * slack, task->settling * slack };
    switch (search->goal) {
    case GOAL_BALANCE:
    case GOAL_NEAREST:
        if (full && balance_first(search))
            *(isinf(task->ripple) ? &limits.ripple : &limits.settling) = score;
        else if (full)
            limits = (struct filter_limits){ score, score * task->ripple, score * task->settling };
        break;
    case GOAL_RIPPLE: limits.ripple = fmin(limits.ripple, score); break;
    case GOAL_SETTLING: limits.settling = fmin(limits.settling, score); break;
    case GOAL_FRONT: {
        const size_t before = front_before(search, rounded(bound->figures.settling * (1 - ROUNDING)));
        if (before > 0)
            limits.ripple = fmin(limits.ripple, search->kept[before - 1]->ripple * slack);
        break;
    }
    case GOAL_OVERSHOOT:
    case GOAL_LOADING:
    case GOAL_PIN:
    case GOAL_PRICE: break;
    }
    return limits;
}

static int compare(double one, double other)
{
    return one < other ? -1 : one > other;
}

/* By the values of the parts, in order. */
static int compare_values(const struct dw_filter *one, const struct dw_filter *other)
{
    const struct dw_part *a[FILTER_PARTS], *b[FILTER_PARTS];
    const int count = dwi_filter_part_list(one, a), more = dwi_filter_part_list(other, b);
    int order = count - more;
    for (int i = 0; i < count && order == 0; i++)
        order = compare(a[i]->value, b[i]->value);
    return order;
}

/* Among equals. */
static int compare_rest(const struct candidate *one, const struct candidate *other)
{
    int order = one->size - other->size;
    order = order ? order : compare(one->resistance, other->resistance);
    order = order ? order : compare(one->capacitance, other->capacitance);
    return order ? order : compare_values(&one->filter, &other->filter);
}

static int rank(const struct search *search, const struct candidate *one, const struct candidate *other)
{
    int order = search->count_parts ? one->parts - other->parts : 0;
    order = order ? order : compare(one->score, other->score);
    order = order ? order : compare(one->second, other->second);
    return order ? order : compare_rest(one, other);
}

static bool make_room(struct search *search)
{
    if (search->count < search->allocated)
        return true;
    const size_t larger = search->allocated ? 2 * search->allocated : 16;
    struct candidate **kept = realloc(search->kept, larger * sizeof(struct candidate *));
    search->kept = kept ? kept : search->kept;
    for (; kept && search->allocated < larger && (kept[search->allocated] = malloc(sizeof **kept)); search->allocated++)
        continue;
    search->no_memory = search->no_memory || search->count == search->allocated;
    return search->count < search->allocated;
}

static void put(struct search *search, size_t at, const struct candidate *found)
{
    *search->kept[at] = *found;
    search->kept[at]->change = ++search->changes;
}

/* Thousands may be kept: what moves are their addresses. */
static void insert(struct search *search, size_t at, const struct candidate *found)
{
    if (!make_room(search))
        return;
    struct candidate *own = search->kept[search->count];
    memmove(search->kept + at + 1, search->kept + at, (search->count - at) * sizeof(struct candidate *));
    search->kept[at] = own;
    put(search, at, found);
    search->count++;
}

static void take_out(struct search *search, size_t at)
{
    struct candidate *own = search->kept[at];
    memmove(search->kept + at, search->kept + at + 1, (search->count - at - 1) * sizeof(struct candidate *));
    search->kept[--search->count] = own;
}

static void offer_front(struct search *search, const struct candidate *found)
{
    size_t at = front_before(search, found->settling);
    if (at > 0) {
        const struct candidate *best = search->kept[at - 1];
        if (best->ripple < found->ripple || (best->ripple == found->ripple && best->settling < found->settling))
            return;
        if (best->ripple == found->ripple && best->settling == found->settling) {  /* unrun: search-keeps */
            if (compare_rest(found, best) < 0)
                put(search, at - 1, found);
            return;
        }
        if (best->settling == found->settling)
            at--;
    }
    while (at < search->count && search->kept[at]->ripple >= found->ripple)
        take_out(search, at);
    insert(search, at, found);
}

static void offer_ranked(struct search *search, const struct candidate *found)
{
    size_t at = search->count;
    while (at > 0 && rank(search, found, search->kept[at - 1]) < 0)
        at--;
    if (at == search->room || (at > 0 && rank(search, found, search->kept[at - 1]) == 0))  /* it is there already */
        return;
    if (search->count == search->room)
        search->count--;
    insert(search, at, found);
}

static void offer(struct search *search, const struct candidate *found)
{
    if (search->goal == GOAL_FRONT)
        offer_front(search, found);
    else
        offer_ranked(search, found);
}

/* Room for samples, when they are first drawn. */
static bool samples_have_room(struct search *search)
{
    if (!search->samples.room && !(search->samples.room = calloc(KEPT_FIGURES * search->samples.count, sizeof *search->samples.room)))
        search->no_memory = true;
    return !search->no_memory;
}

/* What counts of a candidate, and its margin.
 *   returns  false: it will not be kept */
static bool judge(struct search *search, const struct dw_filter *filter, const struct filter_limits *limits, struct candidate *found)
{
    const struct task_terms *terms = &search->terms;
    const struct bound bound = { .parts = dw_filter_parts(filter) };
    if (search->samples.count > 0)
        return samples_have_room(search) && dwi_figures_kept(terms, filter, &search->samples, dwi_search_limits(search, &bound).margin,
                                                             &found->worst, &found->margin);
    limits = limits ? limits : &dwi_no_limits;
    if (!dwi_figures_worst(terms, filter, limits, &found->worst, &found->exact) || dwi_exceeds(terms, &found->worst, limits))
        return false;
    found->margin = dwi_margin_of(&terms->task, &found->worst, filter->l.value > 0);
    return found->margin <= (search->goal == GOAL_NEAREST ? INFINITY : 1);
}

void dwi_search_free(struct search *search)
{
    for (size_t i = 0; i < search->allocated; i++)
        free(search->kept[i]);
    free(search->kept);
    free(search->samples.room);
    search->kept = NULL;
    search->count = search->allocated = 0;
    search->samples.room = NULL;
}

void dwi_search_offer(struct search *search, const struct dw_filter *filter, const struct filter_limits *limits)
{
    struct candidate found = {
        .filter = *filter,
        .price = dw_filter_price(filter),
        .parts = dw_filter_parts(filter),
        .capacitance = filter->cd.value,
    };
    if (!judge(search, filter, limits, &found))
        return;
    found.ripple = rounded(found.worst.ripple);
    found.settling = rounded(found.worst.settling);
    found.size = dw_filter_size(&search->terms.task, filter, found.worst.pin_current);
    found.score = rounded(score_of(search, &found.worst, found.margin, found.price));
    found.second = rounded(second_of(search, &found.worst, found.margin));
    for (int k = 0; k < filter->stages; k++) {
        found.resistance += filter->r[k].value;
        found.capacitance += filter->c[k].value;
    }
    offer(search, &found);
}

bool dwi_search_ended(struct search *search)
{
    if (search->halt && (search->stopped || search->no_memory))
        atomic_store(search->halt, true);
    return search->stopped || search->no_memory || (search->halt && atomic_load(search->halt));
}

unsigned long dwi_search_join(struct search *search, const struct search *other, unsigned long since)
{
    for (size_t i = 0; i < other->count && other->changes > since && !search->no_memory; i++)
        if (other->kept[i]->change > since)
            offer(search, other->kept[i]);
    return other->changes;
}

void dwi_search_looked(struct search *search, double share)
{
    enum { TOLD_AFTER = 1 << 14 };
    if (++search->looked % TOLD_AFTER == 0)
        dwi_search_tell(search, share);
}

void dwi_search_tell(struct search *search, double share)
{
    if (search->progress && !search->stopped)
        search->stopped = !search->progress(search->context,
                                            fmin(1, search->share_from + share * (search->share_to - search->share_from)));
}
