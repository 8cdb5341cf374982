/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Wishes that nothing fits: the nearest, and what would do. */
#include "simulated.h"
#include "suite.h"
#include "wishes.h"
#include <math.h>

START_TEST(a_suggestion_fits_and_a_smaller_change_does_not)
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
    struct dw_choice_wish wish = ladders(series(12, 1e3, 1e5, 0), series(6, 1e-9, 1e-4, 0));
    struct dw_choices *choices;
    struct dw_error error = { .text = "" };
    wish.least_stages = 2;
    wish.task.ripple = 0.05;
    wish.task.pin_current = 1e-6; /* all filters that begin with 100k miss it by the same 50 times */
    ck_assert_int_eq(dw_choose(&wish, &choices, &error), DW_NO);
    ck_assert(dw_choices_get(choices, 0)->filter.r[0].value == 1e5 && dw_choices_get(choices, 0)->filter.r[1].value == 1e3);
    ck_assert_msg(dw_choices_evaluations(choices) < dw_choices_candidates(choices) / 20, "%g of %g",
                  dw_choices_evaluations(choices), dw_choices_candidates(choices));
    dw_choices_free(choices);
    wish_free(&wish);
}
END_TEST

START_TEST(where_only_the_loading_is_limited_a_suggestion_is_the_least_of_it)
{
    struct dw_choice_wish wish = ladders(series(6, 1e3, 1e5, 0), series(6, 1e-9, 1e-6, 0));
    struct dw_remedy remedies[DW_REMEDIES];
    struct dw_error error = { .text = "" };
    size_t count;
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
    wish_free(&wish);
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
    struct dw_choice_wish wish = ladders(series(12, 1e3, 1e5, 0), series(6, 1e-9, 1e-4, 0));
    for (int way = 0; way < 2; way++) {
        int left = 120;  /* a call each 16384 boxes, and one at the end of each of the three kinds of ladder a search looks at */
        struct dw_choices *choices;
        struct dw_remedy remedies[DW_REMEDIES];
        struct dw_error error = { .text = "" };
        size_t count;
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
    wish_free(&wish);
}
END_TEST

START_TEST(a_coil_s_current_alone_is_told_where_it_is_what_fails)
{
    struct dw_choice_wish wish = ladders(NULL, series(3, 1e-6, 10e-6, 0));
    struct dw_remedy remedies[DW_REMEDIES];
    struct dw_choices *choices;
    struct dw_error error = { .text = "" };
    size_t count, found = DW_REMEDIES;
    wish.coils = series(3, 10e-6, 100e-6, 0);
    wish.dampers = series(6, 1, 47, 0);
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
    wish_free(&wish);
}
END_TEST

START_TEST(the_frequency_of_a_suggestion_is_the_lowest_for_ladders)
{
    struct dw_choice_wish wish = ladders(series(6, 1e3, 1e5, 0), series(6, 1e-9, 1e-6, 0));
    struct dw_choices *choices;
    struct dw_remedy remedies[DW_REMEDIES];
    struct dw_error error = { .text = "" };
    size_t count;
    wish.task.frequency = 487.8;
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
    wish_free(&wish);
}
END_TEST

/* Next to nothing damps it, and it rings as often as the pulses come: what settles in no number of periods is no remedy. */
START_TEST(a_time_without_end_is_not_suggested)
{
    const double turn = 1 / (2 * M_PI * 31.25e3);
    struct dw_remedy remedies[DW_REMEDIES];
    struct dw_error error = { .text = "" };
    struct dw_choice_wish wish = ladders(NULL, dw_parts_new(&(struct dw_part){ turn * turn / 1e-3, 0, NAN }, 1, &error));
    size_t count;
    wish.coils = dw_parts_new(&(struct dw_part){ 1e-3, 0, NAN }, 1, &error);
    wish.least_stages = wish.most_stages = 0;
    wish.task.duty = 0.3;
    wish.task.load = 1e9;
    wish.task.settling = 1e-3;
    ck_assert_int_eq(dw_choice_remedies(&wish, remedies, &count, &error), DW_OK);
    for (size_t i = 0; i < count; i++)
        ck_assert(remedies[i].kind != DW_REMEDY_SETTLING && isfinite(remedies[i].value));
    wish_free(&wish);
}
END_TEST

SUITE("design: suggestions", a_suggestion_fits_and_a_smaller_change_does_not, what_one_figure_alone_decides_is_not_looked_at_one_by_one,
      where_only_the_loading_is_limited_a_suggestion_is_the_least_of_it,
      what_would_do_is_found_without_looking_at_all_where_all_are_equal, a_coil_s_current_alone_is_told_where_it_is_what_fails,
      the_frequency_of_a_suggestion_is_the_lowest_for_ladders, a_time_without_end_is_not_suggested)
