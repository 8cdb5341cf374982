/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/pulse.h>
#include <float.h>

START_TEST(period_and_steps_follow_from_the_counts)
{
    static const struct {
        struct dw_counter counter;
        double period;
        unsigned long long counts, steps;
    } cases[] = {
        { { 18e6, 18, 16383, DW_COUNT_UP }, 18 * 16384 / 18e6, 16384, 16384 },
        { { 18e6, 6, 5625, DW_COUNT_UP_DOWN }, 6 * 11250 / 18e6, 11250, 5625 },
        { { 12.288e6, 3, 1, DW_COUNT_UP }, 6 / 12.288e6, 2, 2 },
        { { 12.288e6, 3, 1, DW_COUNT_UP_DOWN }, 6 / 12.288e6, 2, 1 },
        { { 84e6, 1, 4294967295, DW_COUNT_UP }, 4294967296 / 84e6, 4294967296, 4294967296 },
        { { 32768, 7, 4294967295, DW_COUNT_UP_DOWN }, 7 * 8589934590.0 / 32768, 8589934590, 4294967295 },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct dw_counter *counter = &cases[i].counter;
        struct dw_error error;
        succeeds(dw_counter_check(counter, &error), error);
        near(dw_counter_period(counter), cases[i].period, DBL_EPSILON);  /* one rounding on either side */
        near(dw_counter_frequency(counter), 1 / cases[i].period, 2 * DBL_EPSILON);
        ck_assert_uint_eq(dw_counter_counts(counter), cases[i].counts);
        ck_assert_uint_eq(dw_counter_steps(counter), cases[i].steps);
    }
}
END_TEST

START_TEST(impossible_counters_are_refused)
{
    static const struct {
        struct dw_counter counter;
        const char *text;
    } cases[] = {
        { { 0, 1, 11249, DW_COUNT_UP }, "a clock of 0 Hz: it must be above zero" },
        { { -18e6, 1, 11249, DW_COUNT_UP }, "a clock of -1.8e+07 Hz: it must be above zero" },
        { { INFINITY, 1, 11249, DW_COUNT_UP }, "a clock of inf Hz: it must be above zero" },
        { { 18e6, 0, 11249, DW_COUNT_UP }, "a prescale of 0: it must be a whole number from 1 to 4294967296" },
        { { 18e6, 4294967297, 11249, DW_COUNT_UP },
          "a prescale of 4294967297: it must be a whole number from 1 to 4294967296" },
        { { 18e6, 1, 0, DW_COUNT_UP }, "a largest count of 0: it must be a whole number from 1 to 4294967295" },
        { { 18e6, 1, 4294967296, DW_COUNT_UP_DOWN },
          "a largest count of 4294967296: it must be a whole number from 1 to 4294967295" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_error error;
        refuses(dw_counter_check(&cases[i].counter, &error), DW_BAD_USE, error, cases[i].text);
    }
    ck_assert_int_eq(dw_counter_check(&cases[0].counter, NULL), DW_BAD_USE);
}
END_TEST

START_TEST(a_duty_becomes_the_nearest_step_halves_up)
{
    static const struct {
        double duty;
        unsigned long long steps, count;
    } cases[] = {
        { 64.0 / 256, 255, 64 }, { 64.0 / 256, 256, 64 }, { 0.5, 255, 128 }, { 0.37, 255, 94 }, { 0.001, 255, 0 },
        { 0.1, 5, 1 }, { 0.3, 5, 2 }, { 0.998, 255, 254 }, { 0.9981, 255, 255 }, { 0, 255, 0 }, { 1, 255, 255 },
        { 0.37, 1, 0 }, { 0.63, 1, 1 }, { 1, 4294967296, 4294967296 }, { 1.0 / 3, 1ull << 52, 1501199875790165 },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        unsigned long long count = 99;
        const double given = dw_duty_given(cases[i].duty, cases[i].steps, &count);
        ck_assert_uint_eq(count, cases[i].count);
        ck_assert_double_eq(given, (double)cases[i].count / (double)cases[i].steps);
        ck_assert_double_eq(dw_duty_given(given, cases[i].steps, NULL), given);  /* given again, it stays */
    }
    ck_assert_double_eq(dw_duty_given(0.37, 0, NULL), 0.37);
}
END_TEST

START_TEST(a_spelled_duty_is_found_as_its_simplest_ratio)
{
    static const struct {
        double duty;
        unsigned long long p, q;
    } cases[] = {
        { 0, 0, 1 }, { 1, 1, 1 }, { 0.5, 1, 2 }, { 0.37, 37, 100 }, { 0.333, 333, 1000 }, { 1.0 / 3, 1, 3 },
        { 64.0 / 255, 64, 255 }, { 64.0 / 256, 1, 4 }, { 0.000001, 1, 1000000 }, { 0.9999999, 9999999, 10000000 },
        { 0x1p-53, 1, 1ull << 53 }, { 40503.0 / 67108859, 40503, 67108859 },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        unsigned long long p = 99, q = 99;
        ck_assert_msg(dw_duty_ratio(cases[i].duty, &p, &q), "%.17g", cases[i].duty);
        ck_assert_msg(p == cases[i].p && q == cases[i].q, "%.17g is %llu/%llu, wanted %llu/%llu", cases[i].duty, p, q,
                      cases[i].p, cases[i].q);
    }
}
END_TEST

START_TEST(every_ratio_below_2_to_the_26_is_found_again)
{
    unsigned long long state = 20250111;  /* linear congruence, Knuth's multiplier: any fixed crooked sequence will do */
    for (int i = 0; i < 20000; i++) {
        state = state * 6364136223846793005ull + 1442695040888963407ull;
        const unsigned long long q = (state >> 34) % ((1ull << 26) - 1) + 1;
        const unsigned long long p = (state >> 7) % (q + 1);
        unsigned long long a = p, b = q, found_p, found_q;
        while (b) {
            const unsigned long long rest = a % b;
            a = b, b = rest;
        }
        ck_assert_msg(dw_duty_ratio((double)p / (double)q, &found_p, &found_q), "%llu/%llu", p, q);
        ck_assert_msg(found_p == p / a && found_q == q / a, "%llu/%llu is found as %llu/%llu", p, q, found_p, found_q);
    }
}
END_TEST

START_TEST(a_duty_too_small_for_any_ratio_says_so)
{
    unsigned long long p = 7, q = 8;
    ck_assert(!dw_duty_ratio(0x1p-54, &p, &q));
    ck_assert(!dw_duty_ratio(DBL_TRUE_MIN, &p, &q));
    ck_assert(!dw_duty_ratio(NAN, &p, &q));
    ck_assert_uint_eq(p, 7);
    ck_assert_uint_eq(q, 8);
}
END_TEST

SUITE("pulse: counter", period_and_steps_follow_from_the_counts, impossible_counters_are_refused,
      a_duty_becomes_the_nearest_step_halves_up, a_spelled_duty_is_found_as_its_simplest_ratio,
      every_ratio_below_2_to_the_26_is_found_again, a_duty_too_small_for_any_ratio_says_so)
