/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The search against every pair of parts tried one by one, each simulated. */
#include "simulated.h"
#include "suite.h"
#include <dutywright/design.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct dw_choice_wish nothing = {
    .task = { .frequency = 31.25e3, .high = 5, .levels = 256, .duty = NAN, .load = INFINITY, .band = 0.02, .ripple = INFINITY,
              .settling = INFINITY, .overshoot = INFINITY, .loading = INFINITY, .pin_current = INFINITY, .coil_current = INFINITY },
    .least_stages = 1, .most_stages = 2, .best = 1 };

static struct dw_parts *series(int which, double from, double to, double spread)
{
    struct dw_error error = { .text = "" };
    struct dw_parts *parts = dw_parts_series(which, from, to, spread, &error);
    ck_assert_msg(parts != NULL, "%s", error.text);
    return parts;
}

struct tried {
    double ripple, settling;
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
    tried.fits = tried.ripple <= task->ripple && tried.settling <= task->settling && overshoot <= task->overshoot &&
                 resistance / (resistance + task->load) <= task->loading;
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
    return (wish->rank == DW_RANK_PARTS ? 1e9 * tried->parts : 0) + fmax(tried->ripple / wish->task.ripple,
                                                                        tried->settling / wish->task.settling);
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
        const struct tried found = { choice->worst.ripple, choice->worst.settling, choice->parts, true };
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

/* Whether two answers are the same to the last bit. */
static void same_choices(const struct dw_choices *one, const struct dw_choices *other)
{
    ck_assert_uint_eq(dw_choices_count(one), dw_choices_count(other));
    for (size_t i = 0; i < dw_choices_count(one); i++) {
        const struct dw_choice *a = dw_choices_get(one, i), *b = dw_choices_get(other, i);
        for (int k = 0; k < a->filter.stages; k++)
            ck_assert(a->filter.r[k].value == b->filter.r[k].value && a->filter.c[k].value == b->filter.c[k].value);
        ck_assert(a->filter.stages == b->filter.stages && a->filter.l.value == b->filter.l.value &&
                  a->filter.rd.value == b->filter.rd.value && a->filter.cd.value == b->filter.cd.value);
        ck_assert(a->margin == b->margin && a->worst.ripple == b->worst.ripple && a->worst.settling == b->worst.settling);
    }
}

/* The same parts, each at a price of its own. */
static const struct dw_parts *priced(const struct dw_parts *parts, uint64_t *seed)
{
    struct dw_part part[200];
    struct dw_error error = { .text = "" };
    const size_t count = parts ? dw_parts_count(parts) : 0;
    for (size_t i = 0; i < count; i++) {
        part[i] = dw_parts_get(parts, i);
        part[i].price = uniform(seed, 0.01, 2);
    }
    struct dw_parts *own = parts ? dw_parts_new(part, count, &error) : NULL;
    ck_assert_msg(own || !parts, "%s", error.text);
    dw_parts_free((struct dw_parts *)parts);
    return own;
}

/* Random wishes of ladders and coils, with spreads and without, some of which nothing fits. */
static struct dw_choice_wish random_wish(uint64_t *seed)
{
    struct dw_choice_wish wish = nothing;
    const double spread = uniform(seed, 0, 2) > 1 ? uniform(seed, 0, 0.2) : 0;
    const bool coils = uniform(seed, 0, 2) > 1;
    wish.task.frequency = pow(10, uniform(seed, 3, 5));
    wish.task.duty = uniform(seed, 0, 2) > 1 ? uniform(seed, 0.1, 1) : NAN;
    wish.task.load = coils ? pow(10, uniform(seed, 1, 3)) : uniform(seed, 0, 3) > 1 ? pow(10, uniform(seed, 4, 6)) : INFINITY;
    wish.task.ripple = 5 * pow(10, uniform(seed, -2.5, -0.3));
    wish.task.settling = pow(10, uniform(seed, 0.5, 2.5)) / wish.task.frequency;
    wish.task.overshoot = 0.3;
    wish.task.loading = 0.3;
    wish.task.pin_current = uniform(seed, 0, 2) > 1 ? pow(10, uniform(seed, -2, 1)) : INFINITY;
    wish.task.low = uniform(seed, -5, 2);
    const double c = pow(10, uniform(seed, -8, -6));
    wish.capacitors = series(3, c, 15 * c, spread);
    wish.resistors = series(3, 1e3, 33e3, spread / 3);
    if (coils) {
        const double l = pow(10, uniform(seed, -5, -3));
        wish.coils = series(3, l, 8 * l, spread);
        wish.dampers = series(3, 1, 1e3, spread / 3);
        if (uniform(seed, 0, 2) > 1)
            wish.least_stages = wish.most_stages = 0;
    }
    wish.best = 1 + (size_t)uniform(seed, 0, 6);
    wish.rank = (enum dw_choice_rank)uniform(seed, 0, 5);
    wish.front = uniform(seed, 0, 3) < 1;
    const double one_limit = uniform(seed, 0, 4);
    if (one_limit < 1)
        wish.task.ripple = INFINITY;
    else if (one_limit < 2)
        wish.task.settling = INFINITY;
    if (wish.front || wish.rank == DW_RANK_PRICE) {
        wish.capacitors = priced(wish.capacitors, seed);
        wish.resistors = priced(wish.resistors, seed);
        wish.coils = priced(wish.coils, seed);
        wish.dampers = priced(wish.dampers, seed);
    }
    return wish;
}

static void wish_free(struct dw_choice_wish *wish)
{
    dw_parts_free((struct dw_parts *)wish->capacitors);
    dw_parts_free((struct dw_parts *)wish->resistors);
    dw_parts_free((struct dw_parts *)wish->coils);
    dw_parts_free((struct dw_parts *)wish->dampers);
}

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

START_TEST(a_remedy_fits_and_a_smaller_change_does_not)
{
    uint64_t seed = 33;
    int seen[DW_REMEDIES] = { 0 };
    for (int n = 0; n < 60; n++) {
        struct dw_choice_wish wish = random_wish(&seed);
        struct dw_choices *choices;
        struct dw_error error = { .text = "" };
        wish.front = false;
        wish.task.loading = pow(10, uniform(&seed, -2, -0.3));
        if (n % 3 == 0 && wish.most_stages > 0)
            wish.most_stages = 1;
        if (n % 3 == 1 && wish.coils) {
            wish.least_stages = wish.most_stages = 0;
            wish.task.overshoot = 0.02;
            wish.task.coil_current = 0.3;
            wish.task.pin_current = INFINITY;
            wish.task.loading = 0.3;
            wish.task.ripple = 1;
            wish.task.settling = 100 / wish.task.frequency;
        }
        if (n % 3 == 2) {
            wish.task.pin_current = pow(10, uniform(&seed, -4, -2));
            wish.task.loading = 0.3;
            wish.task.ripple = 2;
            wish.task.settling = 100 / wish.task.frequency;
        }
        const enum dw_status status = dw_choose(&wish, &choices, &error);
        dw_choices_free(choices);
        if (status == DW_NO) {
            struct dw_remedy remedies[DW_REMEDIES];
            size_t count;
            succeeds(dw_choice_remedies(&wish, remedies, &count, &error), error);
            for (size_t i = 0; i < count; i++) {
                struct dw_choice_wish now = wish;
                double *const changed[DW_REMEDIES] = { &now.task.frequency, NULL, &now.task.ripple, &now.task.settling,
                                                       &now.task.overshoot, &now.task.loading, &now.task.pin_current,
                                                       &now.task.coil_current };
                double *value = changed[remedies[i].kind];
                seen[remedies[i].kind]++;
                if (value)
                    *value = remedies[i].value;
                else
                    now.least_stages = now.most_stages = (int)remedies[i].value;
                ck_assert_int_eq(dw_choose(&now, &choices, &error), DW_OK);
                dw_choices_free(choices);
                ck_assert(remedies[i].choice.margin <= 1);
                if (!value || remedies[i].kind == DW_REMEDY_FREQUENCY)
                    continue;
                *value *= 0.989;  /* three digits rounded up: at most 1 % */
                ck_assert_int_eq(dw_choose(&now, &choices, &error), DW_NO);
                dw_choices_free(choices);
            }
        }
        wish_free(&wish);
    }
    ck_assert(seen[DW_REMEDY_FREQUENCY] > 3 && seen[DW_REMEDY_STAGES] > 0 && seen[DW_REMEDY_RIPPLE] > 3 &&
              seen[DW_REMEDY_SETTLING] > 3 && seen[DW_REMEDY_LOADING] > 0 && seen[DW_REMEDY_PIN] > 0);
}
END_TEST

START_TEST(what_one_figure_alone_decides_is_not_looked_at_one_by_one)
{
    struct dw_parts *resistors = series(12, 1e3, 1e5, 0), *capacitors = series(6, 1e-9, 1e-4, 0);
    struct dw_choice_wish wish = nothing;
    struct dw_choices *choices;
    struct dw_error error = { .text = "" };
    wish.resistors = resistors;
    wish.capacitors = capacitors;
    wish.least_stages = 2;
    wish.task.ripple = 0.05;
    wish.task.pin_current = 1e-6; /* all filters that begin with 100k miss it by the same 50 times */
    ck_assert_int_eq(dw_choose(&wish, &choices, &error), DW_NO);
    ck_assert(dw_choices_get(choices, 0)->filter.r[0].value == 1e5 && dw_choices_get(choices, 0)->filter.r[1].value == 1e3);
    ck_assert_msg(dw_choices_evaluations(choices) < dw_choices_candidates(choices) / 20, "%g of %g",
                  dw_choices_evaluations(choices), dw_choices_candidates(choices));
    dw_choices_free(choices);
    dw_parts_free(resistors);
    dw_parts_free(capacitors);
}
END_TEST

START_TEST(where_only_the_loading_is_limited_a_remedy_is_the_least_of_it)
{
    struct dw_parts *resistors = series(6, 1e3, 1e5, 0), *capacitors = series(6, 1e-9, 1e-6, 0);
    struct dw_choice_wish wish = nothing;
    struct dw_remedy remedies[DW_REMEDIES];
    struct dw_error error = { .text = "" };
    size_t count;
    wish.resistors = resistors;
    wish.capacitors = capacitors;
    wish.front = true;
    wish.task.load = 50e3;
    wish.task.loading = 0.01;
    wish.task.source = 5;
    succeeds(dw_choice_remedies(&wish, remedies, &count, &error), error);
    ck_assert_uint_eq(count, 1);
    ck_assert_int_eq(remedies[0].kind, DW_REMEDY_LOADING);
    /* one resistor of 1k: 1005 / 51005 = 1.9704 %, up to three digits */
    ck_assert(remedies[0].value == 0.0198);
    wish.task.settling = 1; /* and a limit that whatever is on offer keeps changes nothing */
    succeeds(dw_choice_remedies(&wish, remedies, &count, &error), error);
    ck_assert_uint_eq(count, 1);
    ck_assert(remedies[0].kind == DW_REMEDY_LOADING && remedies[0].value == 0.0198);
    dw_parts_free(resistors);
    dw_parts_free(capacitors);
}
END_TEST

static bool count_down(void *context, double share)
{
    int *left = context;
    (void)share;
    return --*left > 0;
}

/* Where all filters keep a limit by the same margin, the search must not look at each of 5e8 of them. */
START_TEST(what_would_do_is_found_without_looking_at_all_where_all_are_equal)
{
    struct dw_parts *resistors = series(12, 1e3, 1e5, 0), *capacitors = series(6, 1e-9, 1e-4, 0);
    for (int way = 0; way < 2; way++) {
        int left = 120;  /* a call each 16384 boxes, and one at the end of each of the three kinds of ladder a search looks at */
        struct dw_choice_wish wish = nothing;
        struct dw_choices *choices;
        struct dw_remedy remedies[DW_REMEDIES];
        struct dw_error error = { .text = "" };
        size_t count;
        wish.resistors = resistors;
        wish.capacitors = capacitors;
        wish.most_stages = DW_FILTER_STAGES;
        wish.task.ripple = 0.01;
        wish.task.loading = 0.05;
        wish.task.load = way == 0 ? 1 : 1e-6;  /* next to nothing gets through any resistor; less than can be told apart */
        wish.task.frequency = 490;
        wish.progress = count_down;
        wish.context = &left;
        ck_assert_int_eq(dw_choose(&wish, &choices, &error), DW_NO);
        ck_assert_uint_eq(dw_choices_count(choices), 1);
        ck_assert_int_eq(dw_choices_get(choices, 0)->filter.stages, 1);
        dw_choices_free(choices);
        succeeds(dw_choice_remedies(&wish, remedies, &count, &error), error);
        ck_assert_uint_eq(count, 1);
        ck_assert_int_eq(remedies[0].kind, DW_REMEDY_LOADING);
    }
    dw_parts_free(resistors);
    dw_parts_free(capacitors);
}
END_TEST

START_TEST(a_coil_s_current_alone_is_told_where_it_is_what_fails)
{
    struct dw_parts *coils = series(3, 10e-6, 100e-6, 0), *capacitors = series(3, 1e-6, 10e-6, 0), *dampers = series(6, 1, 47, 0);
    struct dw_choice_wish wish = nothing;
    struct dw_remedy remedies[DW_REMEDIES];
    struct dw_choices *choices;
    struct dw_error error = { .text = "" };
    size_t count, found = DW_REMEDIES;
    wish.capacitors = capacitors;
    wish.coils = coils;
    wish.dampers = dampers;
    wish.least_stages = wish.most_stages = 0;
    wish.task.load = 10;
    wish.task.ripple = 2;
    wish.task.coil_current = 0.02;
    ck_assert_int_eq(dw_choose(&wish, &choices, &error), DW_NO);
    ck_assert(dw_choices_evaluations(choices) > 0);
    dw_choices_free(choices);
    succeeds(dw_choice_remedies(&wish, remedies, &count, &error), error);
    for (size_t i = 0; i < count; i++)
        if (remedies[i].kind == DW_REMEDY_COIL_CURRENT)
            found = i;
    ck_assert(found < count);
    wish.task.coil_current = remedies[found].value; // cppcheck-suppress arrayIndexOutOfBounds; ck_assert ends the test before
    succeeds(dw_choose(&wish, &choices, &error), error);
    dw_choices_free(choices);
    wish.task.coil_current *= 0.989;
    ck_assert_int_eq(dw_choose(&wish, &choices, &error), DW_NO);
    dw_choices_free(choices);
    dw_parts_free(coils);
    dw_parts_free(capacitors);
    dw_parts_free(dampers);
}
END_TEST

START_TEST(the_frequency_of_a_remedy_is_the_lowest_for_ladders)
{
    struct dw_parts *resistors = series(6, 1e3, 1e5, 0), *capacitors = series(6, 1e-9, 1e-6, 0);
    struct dw_choice_wish wish = nothing;
    struct dw_choices *choices;
    struct dw_remedy remedies[DW_REMEDIES];
    struct dw_error error = { .text = "" };
    size_t count;
    wish.resistors = resistors;
    wish.capacitors = capacitors;
    wish.task.frequency = 490.2;
    wish.task.ripple = 0.01;
    wish.task.settling = 0.02;
    succeeds(dw_choice_remedies(&wish, remedies, &count, &error), error);
    ck_assert(count > 0 && remedies[0].kind == DW_REMEDY_FREQUENCY);
    wish.task.frequency = remedies[0].value;
    succeeds(dw_choose(&wish, &choices, &error), error);
    dw_choices_free(choices);
    wish.task.frequency *= 0.99;  /* a bisection to 0.2 %, then three digits up */
    ck_assert_int_eq(dw_choose(&wish, &choices, &error), DW_NO);
    dw_choices_free(choices);
    dw_parts_free(resistors);
    dw_parts_free(capacitors);
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
    wish.least_stages = wish.most_stages = 0;
    wish.coils = coils;
    refuses(dw_choose(&wish, &choices, &error), DW_END, error, "stopped");
    ck_assert_int_eq(told, 4);
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

SUITE("design: choosing", best_ladders_are_the_best_of_all_pairs_simulated, best_filters_with_a_coil_are_the_best_of_all_simulated,
      what_is_left_out_would_not_have_been_kept, shards_merged_are_the_whole, a_remedy_fits_and_a_smaller_change_does_not,
      what_one_figure_alone_decides_is_not_looked_at_one_by_one, where_only_the_loading_is_limited_a_remedy_is_the_least_of_it,
      what_would_do_is_found_without_looking_at_all_where_all_are_equal, a_coil_s_current_alone_is_told_where_it_is_what_fails,
      the_frequency_of_a_remedy_is_the_lowest_for_ladders, a_search_ends_when_told_to, wishes_that_are_none_are_refused)
