/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "search_inner.h"
#include <math.h>
#include <stdlib.h>

struct dw_choices {
    struct dw_choice *choice;
    size_t count;
    double candidates, evaluations;
};

void dw_choices_free(struct dw_choices *choices)
{
    if (choices)
        free(choices->choice);
    free(choices);
}

size_t dw_choices_count(const struct dw_choices *choices)
{
    return choices->count;
}

const struct dw_choice *dw_choices_get(const struct dw_choices *choices, size_t i)
{
    return &choices->choice[i];
}

double dw_choices_candidates(const struct dw_choices *choices)
{
    return choices->candidates;
}

double dw_choices_evaluations(const struct dw_choices *choices)
{
    return choices->evaluations;
}

/* Confidence of the interval that a yield is shown by. */
static const double CONFIDENCE = 0.95;

static enum dw_status check(const struct dw_choice_wish *wish, enum goal goal, struct dw_error *error)
{
    const enum dw_status status = dw_filter_task_check(&wish->task, error);
    if (status != DW_OK)
        return status;
    if (wish->least_stages < 0 || wish->most_stages > DW_FILTER_STAGES || wish->least_stages > wish->most_stages ||
        (wish->least_stages == 0) != (wish->most_stages == 0))
        return dw_error_set(error, DW_BAD_USE, 0, "stages must rise within 1 to %d", DW_FILTER_STAGES);
    if (wish->most_stages == 0 && !wish->coils)
        return dw_error_set(error, DW_BAD_USE, 0, "neither RC stages nor coils are on offer");
    if (!wish->capacitors || (wish->most_stages > 0 && !wish->resistors))
        return dw_error_set(error, DW_BAD_USE, 0, "resistors and capacitors must be on offer");
    if (wish->best < 1)
        return dw_error_set(error, DW_BAD_USE, 0, "at least one choice must be asked for");
    if (wish->yield != 0) {
        unsigned long long needed;
        if (wish->samples > DW_CHOICE_SAMPLES)
            return dw_error_set(error, DW_BAD_USE, 0, "%llu samples: at most %d can decide", wish->samples, DW_CHOICE_SAMPLES);
        if (dw_yield_needed(wish->yield, wish->samples, CONFIDENCE, &needed, error) != DW_OK)
            return DW_BAD_USE;
    }
    if (wish->jobs < 0)
        return dw_error_set(error, DW_BAD_USE, 0, "jobs must not be below zero");
    if (wish->shards < 0 || wish->shard < 0 || wish->shard > wish->shards || (wish->shard == 0) != (wish->shards == 0))
        return dw_error_set(error, DW_BAD_USE, 0, "shard must be from 1 to the number of shards");
    if (goal == GOAL_BALANCE && isinf(wish->task.ripple) && isinf(wish->task.settling))
        return dw_error_set(error, DW_BAD_USE, 0, "ripple or settling needs a limit");
    return DW_OK;
}

static enum goal goal_of(const struct dw_choice_wish *wish)
{
    if (wish->front)
        return GOAL_FRONT;
    switch (wish->rank) {
    case DW_RANK_PARTS:
    case DW_RANK_MARGIN: break;
    case DW_RANK_RIPPLE: return GOAL_RIPPLE;
    case DW_RANK_SETTLING: return GOAL_SETTLING;
    case DW_RANK_PRICE: return GOAL_PRICE;
    }
    return GOAL_BALANCE;
}

/* What no candidate is below: its nominal values, where samples decide. */
static struct task_terms bounds_of(const struct dw_choice_wish *wish)
{
    struct task_terms terms = dwi_terms_of(&wish->task);
    if (wish->yield > 0) {
        terms.source[0] = terms.source[1] = dw_filter_source(&wish->task);
        terms.load[0] = terms.load[1] = wish->task.load;
    }
    return terms;
}

static struct search search_new(const struct dw_choice_wish *wish, enum goal goal)
{
    struct kept_samples samples = { .seed = wish->seed };
    /* unrun: implied */
    if (wish->yield > 0 && dw_yield_needed(wish->yield, wish->samples, CONFIDENCE, &samples.needed, NULL) == DW_OK)
        samples.count = wish->samples;
    return (struct search){
        .terms = dwi_terms_of(&wish->task),
        .bounds = bounds_of(wish),
        .samples = samples,
        .goal = goal,
        .count_parts = goal == GOAL_BALANCE && wish->rank == DW_RANK_PARTS,
        .room = goal == GOAL_NEAREST ? 1 : wish->best,
        .exhaustive = wish->exhaustive,
        .progress = wish->progress,
        .context = wish->context,
    };
}

/* What there is to search in: RC stages, filters with a coil; first NULL where there are none. */
struct offers {
    struct offer rc, lc;
    struct dw_parts *own[4];  /* a shard's */
};

static void offers_free(struct offers *offers)
{
    for (int i = 0; i < 4; i++)
        dw_parts_free(offers->own[i]);
}

/* returns false: no memory */
static bool offers_new(struct offers *offers, const struct dw_choice_wish *wish)
{
    *offers = (struct offers){
        .rc = { wish->most_stages ? wish->resistors : NULL, wish->capacitors, wish->resistors, wish->capacitors },
        .lc = { wish->coils, wish->capacitors, wish->dampers, wish->capacitors },
    };
    struct offer *const kinds[2] = { &offers->rc, &offers->lc };
    for (int i = 0; i < 2 && wish->shards > 0; i++) {
        struct dw_parts **own = &offers->own[2 * i];
        if (!kinds[i]->first)
            continue;
        if (!dwi_parts_share(kinds[i]->first, kinds[i]->second, wish->shard, wish->shards, own)) {
            offers_free(offers);
            return false;
        }
        kinds[i]->first = own[0];
        kinds[i]->second = own[1];
    }
    return true;
}

/* The answer from what was kept. */
static struct dw_choices *choices_of(const struct search *search)
{
    struct dw_choices *choices = calloc(1, sizeof *choices);
    struct dw_choice *choice = search->count ? calloc(search->count, sizeof *choice) : NULL;
    if (!choices || (search->count && !choice)) {
        free(choices);
        free(choice);
        return NULL;
    }
    *choices = (struct dw_choices){ .choice = choice, .count = search->count, .evaluations = search->evaluations };
    for (size_t i = 0; i < search->count; i++) {
        const struct candidate *found = search->kept[i];
        choice[i] = (struct dw_choice){ .filter = found->filter, .worst = found->worst, .exact = found->exact,
                                        .margin = found->margin, .price = found->price, .parts = found->parts,
                                        .size = found->size };
        dwi_figures_at(&search->terms, &found->filter, NULL, &dwi_no_limits, &choice[i].nominal);
    }
    return choices;
}

enum dw_status dwi_choose_with(const struct dw_choice_wish *wish, enum goal goal, bool nearest, struct dw_choices **choices,
                               struct dw_error *error)
{
    enum dw_status status = check(wish, goal, error);
    struct offers offers;
    *choices = NULL;
    if (status != DW_OK)
        return status;
    if (!offers_new(&offers, wish))
        return dw_no_memory(error);
    struct search search = search_new(wish, goal);
    double evaluations = 0;
    const double candidates = dwi_search_all(&search, wish, &offers.rc, &offers.lc);
    if (search.count == 0)
        status = DW_NO;
    if (status == DW_NO && nearest && !search.stopped && !search.no_memory) {
        evaluations = search.evaluations;
        dwi_search_free(&search);
        search = search_new(wish, GOAL_NEAREST);
        dwi_search_all(&search, wish, &offers.rc, &offers.lc);
    }
    if (search.stopped)
        status = dw_error_set(error, DW_END, 0, "stopped");
    else if (search.no_memory || !(*choices = choices_of(&search)))
        status = dw_no_memory(error);
    else if (status == DW_NO)
        dw_error_set(error, DW_NO, 0, "nothing fits");
    if (*choices) {
        (*choices)->candidates = candidates;
        (*choices)->evaluations += evaluations;
    }
    dwi_search_free(&search);
    offers_free(&offers);
    return status;
}

enum dw_status dw_choose(const struct dw_choice_wish *wish, struct dw_choices **choices, struct dw_error *error)
{
    return dwi_choose_with(wish, goal_of(wish), true, choices, error);
}

enum dw_status dw_choices_merge(const struct dw_choice_wish *wish, const struct dw_filter *filters, size_t count,
                                struct dw_choices **choices, struct dw_error *error)
{
    const enum goal goals[] = { goal_of(wish), GOAL_NEAREST };
    enum dw_status status = check(wish, goals[0], error);
    *choices = NULL;
    for (size_t i = 0; i < count && status == DW_OK; i++)  /* unrun: passed-on */
        status = dwi_filter_check(&wish->task, &filters[i], error);
    for (int pass = 0; pass < 2 && status == DW_OK && !*choices; pass++) {
        struct search search = search_new(wish, goals[pass]);
        for (size_t i = 0; i < count; i++)
            dwi_search_offer(&search, &filters[i], NULL);
        if (search.no_memory || ((search.count > 0 || pass == 1) && !(*choices = choices_of(&search))))
            status = dw_no_memory(error);
        else if (pass == 1)
            status = dw_error_set(error, DW_NO, 0, "nothing fits");
        dwi_search_free(&search);
    }
    return status;
}
