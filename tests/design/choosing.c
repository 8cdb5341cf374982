/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The search against every pair of parts tried one by one, each simulated. */
#include "simulated.h"
#include "suite.h"
#include "wishes.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

struct tried {
    double ripple, settling, margin;
    int parts;
    bool fits;
};

static double settling_of(const struct simulated *filter, double step, double band)
{
    /* long enough that the last mean is the limit */
    size_t periods = 60;
    for (;; periods *= 2) {
        const struct simulated_start start = simulated_start(filter, step, band, periods, 0);
        if (start.settling < (double)periods * filter->period / 14 || periods > 20000)
            return start.settling;
    }
}

static struct tried try_filter(const struct dw_filter_task *task, const struct dw_filter *filter)
{
    struct simulated simulated = simulate(filter, task->source, task->load, 1 / task->frequency);
    const double resistance = task->source + filter->r[0].value + filter->r[1].value;
    const double height = task->high - task->low, duty = isnan(task->duty) ? 0.5 : task->duty;
    struct tried tried = { .ripple = height * simulated_range(&simulated, duty, simulated.out, 12),
                           .settling = settling_of(&simulated, isnan(task->duty) ? 1 : duty, task->band),
                           .parts = dw_filter_parts(filter) };
    const double overshoot = filter->l.value > 0 ? simulated_start(&simulated, duty, task->band, 100, 0).overshoot : 0;
    tried.margin = fmax(fmax(tried.ripple / task->ripple, tried.settling / task->settling),
                        fmax(overshoot / task->overshoot, resistance / (resistance + task->load) / task->loading));
    tried.fits = tried.margin <= 1;
    simulated_free(&simulated);
    return tried;
}

static double score(const struct dw_choice_wish *wish, const struct tried *tried)
{
    switch (wish->rank) {
    case DW_RANK_RIPPLE: return tried->ripple;
    case DW_RANK_SETTLING: return tried->settling;
    case DW_RANK_PARTS:
    case DW_RANK_MARGIN:
    case DW_RANK_PRICE: break;
    }
    return (wish->rank == DW_RANK_PARTS ? 1e9 * tried->parts : 0) + tried->margin;
}

static int ascending(const void *a, const void *b)
{
    const double one = *(const double *)a, other = *(const double *)b;
    return one < other ? -1 : one > other;
}

/* The scores of the wish's best, in order, are those of the best of all that were tried. */
static void compare(const struct dw_choice_wish *wish, const struct tried *tried, size_t count)
{
    struct dw_choices *choices;
    struct dw_error error = { .text = "" };
    double *scores = calloc(count, sizeof *scores);
    size_t fitting = 0;
    ck_assert(scores != NULL);
    for (size_t i = 0; i < count; i++)
        if (tried[i].fits)
            scores[fitting++] = score(wish, &tried[i]);
    qsort(scores, fitting, sizeof *scores, ascending);
    ck_assert(fitting > wish->best);
    succeeds(dw_choose(wish, &choices, &error), error);
    ck_assert_uint_eq(dw_choices_count(choices), wish->best);
    for (size_t i = 0; i < wish->best; i++) {
        const struct dw_choice *choice = dw_choices_get(choices, i);
        const struct tried found = { choice->worst.ripple, choice->worst.settling, choice->margin, choice->parts, true };
        near(score(wish, &found), scores[i], 1e-6);
        ck_assert(choice->margin <= 1);
    }
    dw_choices_free(choices);
    free(scores);
}

enum { R = 4, C = 4 };
static size_t try_ladders(const struct dw_choice_wish *wish, struct tried *tried)
{
    size_t count = 0;
    for (int first = 0; first < R * C; first++)
        for (int second = -1; second < R * C; second++) {
            struct dw_filter filter = { .stages = second < 0 ? 1 : 2 };
            const int pair[2] = { first, second };
            for (int k = 0; k < filter.stages; k++) {
                filter.r[k] = dw_parts_get(wish->resistors, (size_t)pair[k] / C);
                filter.c[k] = dw_parts_get(wish->capacitors, (size_t)pair[k] % C);
            }
            tried[count++] = try_filter(&wish->task, &filter);
        }
    return count;
}

START_TEST(best_ladders_are_the_best_of_all_pairs_simulated)
{
    static const enum dw_choice_rank ranks[] = { DW_RANK_PARTS, DW_RANK_MARGIN, DW_RANK_RIPPLE, DW_RANK_SETTLING };
    static struct tried tried[R * C * (R * C + 1)];
    struct dw_parts *resistors = series(3, 1e3, 1e4, 0), *capacitors = series(3, 10e-9, 100e-9, 0);
    struct dw_choice_wish wish = nothing;
    ck_assert(dw_parts_count(resistors) == R && dw_parts_count(capacitors) == C);
    wish.resistors = resistors;
    wish.capacitors = capacitors;
    wish.task.frequency = 5e3;
    wish.task.ripple = 1.2;
    wish.task.settling = 10e-3;
    wish.task.loading = 0.06;
    wish.task.load = 180e3;
    wish.task.source = 47;
    wish.best = 7;
    const size_t count = try_ladders(&wish, tried);
    for (int i = 0; i < 4; i++) {
        wish.rank = ranks[i];
        compare(&wish, tried, count);
    }
    /* the front: all that no other beats in both */
    struct dw_choices *choices;
    struct dw_error error = { .text = "" };
    size_t unbeaten = 0;
    for (size_t i = 0; i < count; i++) {
        bool beaten = !tried[i].fits;
        for (size_t k = 0; k < count && !beaten; k++)
            beaten = tried[k].fits && tried[k].ripple <= tried[i].ripple * (1 + 1e-7) && tried[k].settling <= tried[i].settling * (1 + 1e-7) &&
                     (tried[k].ripple < tried[i].ripple * (1 - 1e-7) || tried[k].settling < tried[i].settling * (1 - 1e-7));
        unbeaten += !beaten;
    }
    wish.front = true;
    succeeds(dw_choose(&wish, &choices, &error), error);
    ck_assert(unbeaten > 3);
    ck_assert_uint_eq(dw_choices_count(choices), unbeaten);
    dw_choices_free(choices);
    dw_parts_free(resistors);
    dw_parts_free(capacitors);
}
END_TEST

START_TEST(best_filters_with_a_coil_are_the_best_of_all_simulated)
{
    enum { MOST = 2000 };
    static struct tried tried[MOST];
    struct dw_parts *coils = series(3, 100e-6, 470e-6, 0), *capacitors = series(3, 1e-6, 10e-6, 0), *dampers = series(3, 1, 47, 0);
    struct dw_choice_wish wish = nothing;
    size_t count = 0;
    wish.capacitors = capacitors;
    wish.coils = coils;
    wish.dampers = dampers;
    wish.least_stages = wish.most_stages = 0;
    wish.task.load = 22;
    wish.task.frequency = 8e3;
    wish.task.duty = 0.37;
    wish.task.overshoot = 0.4;
    wish.task.loading = 0.3;
    wish.task.ripple = 3;
    wish.task.settling = 5e-3;
    wish.best = 6;
    for (size_t i = 0; i < dw_parts_count(coils); i++)
        for (size_t k = 0; k < dw_parts_count(capacitors); k++) {
            struct dw_filter filter = { .stages = 1, .l = dw_parts_get(coils, i), .c = { dw_parts_get(capacitors, k) } };
            const double z = sqrt(filter.l.value / filter.c[0].value);
            tried[count++] = try_filter(&wish.task, &filter);
            for (size_t d = 0; d < dw_parts_count(dampers); d++) {
                const struct dw_part damper = dw_parts_get(dampers, d);
                if (damper.value >= z / 3 && damper.value <= 3 * z) {
                    struct dw_filter one = filter;
                    one.r[0] = damper;
                    tried[count++] = try_filter(&wish.task, &one);
                }
                for (size_t m = k; m < dw_parts_count(capacitors); m++) {
                    /* Erickson and Maksimovic 2001, 10.4.1 */
                    const double n = dw_parts_get(capacitors, m).value / filter.c[0].value;
                    const double best = z * sqrt((2 + n) * (4 + 3 * n) / (2 * n * n * (4 + n)));
                    struct dw_filter one = filter;
                    one.cd = dw_parts_get(capacitors, m);
                    one.rd = damper;
                    if (n <= 10 && damper.value >= best / 3 && damper.value <= 3 * best)
                        tried[count++] = try_filter(&wish.task, &one);
                }
            }
        }
    ck_assert(count < MOST);
    static const enum dw_choice_rank ranks[] = { DW_RANK_PARTS, DW_RANK_MARGIN, DW_RANK_RIPPLE, DW_RANK_SETTLING };
    for (int i = 0; i < 4; i++) {
        wish.rank = ranks[i];
        compare(&wish, tried, count);
    }
    dw_parts_free(coils);
    dw_parts_free(capacitors);
    dw_parts_free(dampers);
}
END_TEST

/* What one pair of stages uses up of the limits, and of ripple and settling alone. */
struct used {
    double margin, balance;
};

static int by_use(const void *a, const void *b)
{
    const struct used *one = a, *other = b;
    return ascending(fabs(one->margin - other->margin) > 1e-9 * one->margin ? &one->margin : &one->balance,
                     fabs(one->margin - other->margin) > 1e-9 * one->margin ? &other->margin : &other->balance);
}

static struct used use_of(const struct dw_filter_task *task, const struct dw_filter_figures *figures)
{
    const double balance = fmax(figures->ripple / task->ripple, figures->settling / task->settling);
    return (struct used){ fmax(balance, figures->loading / task->loading), balance };
}

/* Every pair of stages that does not load too much; returns how many keep all limits. */
static size_t use_all_pairs(const struct dw_choice_wish *wish, struct used *used)
{
    const size_t r = dw_parts_count(wish->resistors), c = dw_parts_count(wish->capacitors);
    const double most = wish->task.loading * wish->task.load / (1 - wish->task.loading);
    size_t count = 0;
    for (size_t n = 0; n < r * r * c * c; n++) {
        const struct dw_filter filter = { .stages = 2,
            .r = { dw_parts_get(wish->resistors, n % r), dw_parts_get(wish->resistors, n / r % r) },
            .c = { dw_parts_get(wish->capacitors, n / r / r % c), dw_parts_get(wish->capacitors, n / r / r / c) } };
        struct dw_filter_figures figures;
        struct dw_error error = { .text = "" };
        if (filter.r[0].value + filter.r[1].value > most)
            continue;
        succeeds(dw_filter_nominal(&wish->task, &filter, &figures, &error), error);
        const struct used one = use_of(&wish->task, &figures);
        if (one.margin <= 1)
            used[count++] = one;
    }
    return count;
}

START_TEST(the_ranking_by_margin_is_that_of_every_pair_over_all_limits_and_never_rises)
{
    enum { BEST = 12, MOST = 100000 };
    static struct used used[MOST];
    struct dw_choice_wish wish = ladders(series(12, 1e3, 100e3, 0), series(6, 1e-9, 1e-6, 0));
    struct dw_error error = { .text = "" };
    struct dw_choices *choices;
    wish.task.frequency = 60e3;
    wish.task.high = 3.3;
    wish.task.levels = 300;
    wish.task.ripple = 0.4 * 3.3 / 300;
    wish.task.settling = 1.5e-3;
    wish.task.load = 220e3;
    wish.task.loading = 0.05;
    wish.task.overshoot = 0.1;
    wish.least_stages = 2;
    wish.best = BEST;
    const size_t fitting = use_all_pairs(&wish, used);
    ck_assert(fitting > BEST && fitting < MOST);
    qsort(used, fitting, sizeof *used, by_use);
    for (int i = 0; i < 2; i++) {
        wish.rank = i ? DW_RANK_PARTS : DW_RANK_MARGIN;  /* all have four parts */
        succeeds(dw_choose(&wish, &choices, &error), error);
        ck_assert_uint_eq(dw_choices_count(choices), BEST);
        for (size_t k = 0; k < BEST; k++) {
            const struct dw_choice *choice = dw_choices_get(choices, k);
            near(choice->margin, used[k].margin, 1e-8);
            near(use_of(&wish.task, &choice->worst).balance, used[k].balance, 1e-8);
        }
        dw_choices_free(choices);
    }
    wish_free(&wish);
}
END_TEST

START_TEST(what_is_left_out_would_not_have_been_kept)
{
    uint64_t seed = 31;
    int fits = 0, none = 0;
    for (int n = 0; n < 24; n++) {
        struct dw_choice_wish wish = random_wish(&seed);
        struct dw_choices *pruned, *all;
        struct dw_error error = { .text = "" };
        const enum dw_status status = dw_choose(&wish, &pruned, &error);
        ck_assert_msg(status == DW_OK || status == DW_NO, "%s", error.text);
        wish.exhaustive = true;
        ck_assert_int_eq(dw_choose(&wish, &all, &error), status);
        same_choices(pruned, all);
        fits += status == DW_OK;
        none += status == DW_NO;
        dw_choices_free(pruned);
        dw_choices_free(all);
        wish_free(&wish);
    }
    ck_assert(fits > 3 && none > 3);
}
END_TEST

START_TEST(shards_merged_are_the_whole)
{
    uint64_t seed = 32;
    static const int counts[] = { 1, 2, 3, 7, 40 };
    for (int n = 0; n < 25; n++) {
        struct dw_choice_wish wish = random_wish(&seed);
        struct dw_choices *whole, *merged;
        struct dw_error error = { .text = "" };
        const enum dw_status status = dw_choose(&wish, &whole, &error);
        struct dw_filter filters[2000];
        size_t count = 0;
        double candidates = 0;
        wish.shards = counts[n % 5];
        for (wish.shard = wish.shards; wish.shard >= 1; wish.shard--) {
            struct dw_choices *part;
            const enum dw_status one = dw_choose(&wish, &part, &error);
            ck_assert_msg(one == DW_OK || one == DW_NO, "%s", error.text);
            candidates += dw_choices_candidates(part);
            for (size_t i = 0; i < dw_choices_count(part); i++)
                filters[count++] = dw_choices_get(part, i)->filter;
            dw_choices_free(part);
        }
        wish.shard = wish.shards = 0;
        ck_assert(candidates == dw_choices_candidates(whole));
        ck_assert_int_eq(dw_choices_merge(&wish, filters, count, &merged, &error), status);
        same_choices(whole, merged);
        dw_choices_free(whole);
        dw_choices_free(merged);
        wish_free(&wish);
    }
}
END_TEST

static bool stop_at_once(void *context, double share)
{
    ck_assert(share >= 0 && share <= 1);
    ++*(int *)context;
    return false;
}

START_TEST(a_search_ends_when_told_to)
{
    struct dw_parts *many = series(96, 1e3, 1e6, 0), *capacitors = series(96, 1e-9, 1e-6, 0), *coils = series(3, 1e-5, 1e-3, 0);
    struct dw_choice_wish wish = nothing;
    struct dw_choices *choices;
    struct dw_error error = { .text = "" };
    int told = 0;
    wish.resistors = many;
    wish.capacitors = capacitors;
    wish.task.ripple = 1e-6;
    wish.task.settling = 1;
    wish.most_stages = 3;
    wish.exhaustive = true;
    wish.progress = stop_at_once;
    wish.context = &told;
    refuses(dw_choose(&wish, &choices, &error), DW_END, error, "stopped");
    ck_assert(choices == NULL);
    wish.exhaustive = false;
    refuses(dw_choose(&wish, &choices, &error), DW_END, error, "stopped");
    struct dw_remedy remedies[DW_REMEDIES];
    size_t count;
    refuses(dw_choice_remedies(&wish, remedies, &count, &error), DW_END, error, "stopped");
    wish.front = true;  /* of as many as are looked at in coarser lists first, however many those are */
    refuses(dw_choose(&wish, &choices, &error), DW_END, error, "stopped");
    wish.front = false;
    wish.least_stages = wish.most_stages = 0;
    wish.coils = coils;
    refuses(dw_choose(&wish, &choices, &error), DW_END, error, "stopped");
    ck_assert_int_eq(told, 5);
    dw_parts_free(many);
    dw_parts_free(capacitors);
    dw_parts_free(coils);
}
END_TEST

START_TEST(wishes_that_are_none_are_refused)
{
    struct dw_parts *parts = series(3, 1e3, 1e4, 0), *capacitors = series(3, 1e-9, 1e-6, 0);
    struct dw_choices *choices;
    struct dw_error error;
    struct dw_choice_wish good = nothing;
    good.resistors = parts;
    good.capacitors = capacitors;
    good.task.ripple = 1;
    struct dw_choice_wish wish = good;
    wish.task.frequency = 0;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "frequency must be above zero");
    wish = good;
    wish.least_stages = 3;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "stages must rise within 1 to 3");
    wish = good;
    wish.least_stages = -1;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "stages must rise within 1 to 3");
    wish = good;
    wish.least_stages = 0;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "stages must rise within 1 to 3");
    wish = good;
    wish.most_stages = 4;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "stages must rise within 1 to 3");
    wish = good;
    wish.least_stages = wish.most_stages = 0;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "neither RC stages nor coils are on offer");
    wish = good;
    wish.capacitors = NULL;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "resistors and capacitors must be on offer");
    wish = good;
    wish.resistors = NULL;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "resistors and capacitors must be on offer");
    wish = good;
    wish.best = 0;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "at least one choice must be asked for");
    static const int shards[][2] = { { 0, 2 }, { 3, 2 }, { 1, 0 }, { -1, 2 }, { 1, -1 } };
    for (size_t i = 0; i < sizeof shards / sizeof shards[0]; i++) {
        wish = good;
        wish.shard = shards[i][0];
        wish.shards = shards[i][1];
        refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "shard must be from 1 to the number of shards");
    }
    wish = good;
    wish.yield = 0.95;
    wish.samples = 50;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "50 samples cannot show a yield of 95%: 72 can");
    wish.samples = DW_CHOICE_SAMPLES + 1;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "100001 samples: at most 100000 can decide");
    wish.samples = 1000;
    wish.yield = -1;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "a yield must lie between 0 and 1");
    wish = good;
    wish.jobs = -1;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "jobs must not be below zero");
    wish = good;
    wish.task.ripple = INFINITY;
    refuses(dw_choose(&wish, &choices, &error), DW_BAD_USE, error, "ripple or settling needs a limit");
    const struct dw_filter none = { .stages = 1 };
    refuses(dw_choices_merge(&good, &none, 1, &choices, &error), DW_BAD_USE, error,
            "the parts make neither RC stages nor one stage with a coil");
    refuses(dw_choices_merge(&good, &none, 0, &choices, &error), DW_NO, error, "nothing fits");
    ck_assert_uint_eq(dw_choices_count(choices), 0);
    dw_choices_free(choices);
    dw_choices_free(NULL);
    dw_parts_free(parts);
    dw_parts_free(capacitors);
}
END_TEST

SUITE("design: choosing", best_ladders_are_the_best_of_all_pairs_simulated,
      the_ranking_by_margin_is_that_of_every_pair_over_all_limits_and_never_rises, best_filters_with_a_coil_are_the_best_of_all_simulated,
      what_is_left_out_would_not_have_been_kept, shards_merged_are_the_whole, a_search_ends_when_told_to,
      wishes_that_are_none_are_refused)
