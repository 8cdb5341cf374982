/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The search by bounds and threads against one that looks at every candidate. */
#include "failing.h"
#include "simulated.h"
#include "suite.h"
#include "wishes.h"
#include <errno.h>
#include <math.h>
#include <pthread.h>

/* How many threads the system still has; the linker sends the library's calls here. */
static int threads_left = 1 << 20;
int __real_pthread_create(pthread_t *thread, const pthread_attr_t *how, void *(*run)(void *), void *with);
int __wrap_pthread_create(pthread_t *thread, const pthread_attr_t *how, void *(*run)(void *), void *with);

int __wrap_pthread_create(pthread_t *thread, const pthread_attr_t *how, void *(*run)(void *), void *with)
{
    return threads_left-- > 0 ? __real_pthread_create(thread, how, run, with) : EAGAIN;
}

/* A front that is looked for in coarser lists first. Until the search is under way, wherever memory runs out it says so; then its threads
 * come to it in any order. */
START_TEST(a_front_says_where_memory_runs_out)
{
    struct dw_choice_wish wish = ladders(series(12, 1e3, 10e3, 0), series(6, 10e-9, 1e-6, 0));
    struct dw_choices *choices;
    struct dw_error error = { .text = "" };
    wish.task.ripple = 0.5;
    wish.task.settling = 4e-3;
    wish.least_stages = wish.most_stages = 3;
    wish.front = true;
    wish.jobs = 3;
    watch_allocations(0, false);
    succeeds(dw_choose(&wish, &choices, &error), error);
    dw_choices_free(choices);
    const size_t all = allocations.seen;
    for (size_t from = 1; from < all; from += from < 60 ? 1 : all / 20)
        for (int one = 0; one < (from < 60 ? 2 : 1); one++) {
            watch_allocations(from, !one);
            const enum dw_status status = dw_choose(&wish, &choices, &error);
            allocations.watched = false;
            /* without room for helpers the caller's thread goes on alone */
            ck_assert_msg((status == DW_NO_MEMORY && error.status == status) || (one && status == DW_OK), "allocation %zu: status %d, %s", from,
                          (int)status, error.text);
            if (status == DW_OK)
                dw_choices_free(choices);
        }
    wish_free(&wish);
    /* nor does a figure come out where nobody is told why */
    const struct dw_filter filter = { .stages = 1, .r = { { 1e3, 0, NAN } }, .c = { { 1e-7, 0, NAN } } };
    double cutoff = 7;
    watch_allocations(1, true);
    const enum dw_status status = dw_filter_cutoff(&nothing.task, &filter, &cutoff, NULL);
    allocations.watched = false;
    ck_assert(status != DW_OK && cutoff == 7);
}
END_TEST

/* As many as are asked for, or as there are left. */
START_TEST(any_number_of_threads_gives_the_same_to_the_bit)
{
    struct dw_choice_wish wish = ladders(series(24, 1e3, 47e3, 0.01), series(12, 10e-9, 1e-6, 0.1));
    wish.task.ripple = 0.01;
    wish.task.settling = 4e-3;
    wish.task.load = 500e3;
    wish.task.loading = 0.05;
    wish.least_stages = wish.most_stages = 3;
    wish.best = 20;
    wish.rank = DW_RANK_MARGIN;
    for (int i = 0; i < 2; i++) {
        struct dw_choices *one, *other;
        struct dw_error error = { .text = "" };
        wish.front = i;
        wish.jobs = 1;
        succeeds(dw_choose(&wish, &one, &error), error);
        ck_assert(dw_choices_count(one) >= 20);
        for (wish.jobs = 2; wish.jobs < 11; wish.jobs += 3) {
            threads_left = wish.jobs < 8 ? wish.jobs : 2 * i;
            succeeds(dw_choose(&wish, &other, &error), error);
            ck_assert_int_eq(threads_left, wish.jobs < 8 ? 1 : -1);
            same_choices(one, other);
            dw_choices_free(other);
        }
        dw_choices_free(one);
    }
    wish_free(&wish);
}
END_TEST

/* So many resistors and capacitors without a pattern, so that no two ladders are alike. */
static struct dw_choice_wish drawn(uint64_t *seed, size_t count, double r_decades, double c_decades, bool spread)
{
    struct dw_part r[6], c[6];
    struct dw_error error = { .text = "" };
    for (size_t k = 0; k < count; k++) {
        r[k] = (struct dw_part){ 1e3 * pow(10, uniform(seed, 0, r_decades)), spread ? uniform(seed, 0, 0.05) : 0, NAN };
        c[k] = (struct dw_part){ 1e-9 * pow(10, uniform(seed, 0, c_decades)), spread ? uniform(seed, 0, 0.2) : 0, NAN };
    }
    return ladders(dw_parts_new(r, count, &error), dw_parts_new(c, count, &error));
}

/* Enough of them that the front is looked for in coarser lists first. */
START_TEST(three_stages_searched_by_bounds_are_those_of_every_ladder)
{
    uint64_t seed = 33;
    for (int n = 0; n < 6; n++) {
        struct dw_choices *pruned, *all;
        struct dw_error error = { .text = "" };
        struct dw_choice_wish wish = drawn(&seed, 6, 1.5, 2.5, n % 2);
        wish.task.frequency = pow(10, uniform(&seed, 3.5, 5.5));
        wish.task.load = pow(10, uniform(&seed, 4, 6));
        wish.task.source = n < 3 ? 0 : 200;
        wish.task.duty = n < 4 ? NAN : uniform(&seed, 0.05, 1);
        wish.task.band = n == 2 ? 0.3 : 0.01;
        wish.task.load_spread = n % 2 ? 0.2 : 0;
        wish.task.source_low = n > 3 ? 90 : 0;
        wish.task.insulation = n % 2 ? 0.02 : 0;
        wish.task.ripple = n % 3 ? INFINITY : 1;
        wish.task.settling = 0.1;
        wish.least_stages = wish.most_stages = 3;
        wish.best = 30;
        wish.front = n % 3;
        succeeds(dw_choose(&wish, &pruned, &error), error);
        wish.exhaustive = true;
        wish.jobs = 2;
        succeeds(dw_choose(&wish, &all, &error), error);
        same_choices(pruned, all);
        ck_assert(dw_choices_evaluations(pruned) < dw_choices_evaluations(all));
        dw_choices_free(pruned);
        dw_choices_free(all);
        wish_free(&wish);
    }
}
END_TEST

/* Poles about the switching frequency and above, where a period counts and harmonics do not die out: each band, duty, load, spread. */
START_TEST(fronts_of_fast_ladders_are_those_of_every_ladder)
{
    uint64_t seed = 34;
    for (int n = 0; n < 12; n++) {
        struct dw_choices *pruned, *all;
        struct dw_error error = { .text = "" };
        struct dw_choice_wish wish = drawn(&seed, 5, 1, 1, n % 3 == 1);
        wish.task.frequency = pow(10, uniform(&seed, 3, 5));
        wish.task.load = n % 2 ? pow(10, uniform(&seed, 4, 6)) : INFINITY;
        wish.task.load_spread = n % 2 ? 0.1 : 0;
        wish.task.duty = n % 4 ? NAN : uniform(&seed, 0.05, 1);
        wish.task.band = n % 6 == 2 ? 0.5 : 0.02;
        wish.task.insulation = n % 3 == 2 ? 0.01 : 0;
        wish.task.esr = n == 7 || n == 9 ? 0.01 : 0;  /* as much as a capacitor has, beside which the ladder's own times are lost */
        wish.most_stages = 3;
        wish.front = true;
        succeeds(dw_choose(&wish, &pruned, &error), error);
        wish.exhaustive = true;
        succeeds(dw_choose(&wish, &all, &error), error);
        same_choices(pruned, all);
        dw_choices_free(pruned);
        dw_choices_free(all);
        wish_free(&wish);
    }
}
END_TEST

/* Where samples decide, each candidate has the same ones, and the nominal values bound what any of them may be. */
START_TEST(what_is_left_out_would_not_have_had_the_yield)
{
    for (int coil = 0; coil < 2; coil++) {
        const double c = coil ? 2.2e-6 : 10e-9;
        struct dw_choice_wish wish = ladders(series(6, 1e3, 10e3, 0.05), series(3, c, (coil ? 10 : 47) * c, 0.2));
        struct dw_choices *pruned, *all, *hard;
        struct dw_error error = { .text = "" };
        if (coil) {
            wish.coils = series(3, 220e-6, 1e-3, 0.2);
            wish.dampers = series(3, 1, 10, 0.05);
            wish.least_stages = wish.most_stages = 0;
        }
        wish.task.frequency = 12e3;
        wish.task.ripple = coil ? 3 : 0.3;
        wish.task.settling = 4e-3;
        wish.task.load = coil ? 15 : 220e3;
        wish.task.load_spread = 0.1;
        wish.task.loading = 0.4;
        wish.task.overshoot = 0.5;
        wish.rank = DW_RANK_MARGIN;
        wish.best = 8;
        succeeds(dw_choose(&wish, &hard, &error), error);
        wish.yield = 0.85;
        wish.samples = 60;
        wish.seed = 5;
        succeeds(dw_choose(&wish, &pruned, &error), error);
        wish.exhaustive = true;
        succeeds(dw_choose(&wish, &all, &error), error);
        same_choices(pruned, all);
        ck_assert(dw_choices_get(pruned, 0)->margin < dw_choices_get(hard, 0)->margin);
        for (size_t i = 0; i < dw_choices_count(pruned); i++) {
            const struct dw_choice *choice = dw_choices_get(pruned, i);
            struct dw_yield yield;
            succeeds(dw_filter_yield(&wish.task, &choice->filter, &(struct dw_yield_samples){ wish.seed, 0, wish.samples, 0.95 }, &yield, &error), error);
            ck_assert(yield.least >= wish.yield && choice->margin <= 1 && !choice->exact);
        }
        dw_choices_free(hard);
        dw_choices_free(pruned);
        dw_choices_free(all);
        wish_free(&wish);
    }
}
END_TEST

SUITE("design: bounds of the search", a_front_says_where_memory_runs_out, any_number_of_threads_gives_the_same_to_the_bit,
      three_stages_searched_by_bounds_are_those_of_every_ladder, fronts_of_fast_ladders_are_those_of_every_ladder,
      what_is_left_out_would_not_have_had_the_yield)
