/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/value.h>
#include <stdio.h>

static const int series[] = { 3, 6, 12, 24, 48, 96, 192 };
enum { SERIES = sizeof series / sizeof series[0] };

START_TEST(each_series_rises_from_one_and_stays_below_ten)
{
    for (int s = 0; s < SERIES; s++) {
        double values[192];
        struct dw_error error;
        succeeds(dw_preferred_values(series[s], values, &error), error);
        ck_assert(values[0] == 1);
        for (int k = 1; k < series[s]; k++)
            ck_assert_msg(values[k] > values[k - 1], "E%d: %g after %g", series[s], values[k], values[k - 1]);
        ck_assert(values[series[s] - 1] < 10);
    }
}
END_TEST

START_TEST(a_coarser_series_is_part_of_the_finer_one)
{
    /* E24 and E48 are two families: 2.2 is in no E48 */
    for (int s = 0; s + 1 < SERIES; s++) {
        double coarse[192], fine[192];
        if (series[s] == 24)
            continue;
        ck_assert_int_eq(dw_preferred_values(series[s], coarse, NULL), DW_OK);
        ck_assert_int_eq(dw_preferred_values(series[s + 1], fine, NULL), DW_OK);
        for (int k = 0; k < series[s]; k++)
            ck_assert_msg(coarse[k] == fine[2 * k], "E%d has %g, E%d has %g", series[s], coarse[k], series[s + 1],
                          fine[2 * k]);
    }
}
END_TEST

START_TEST(an_unknown_series_is_refused)
{
    static const int unknown[] = { 0, -12, 1, 4, 18, 384 };
    for (size_t i = 0; i < sizeof unknown / sizeof unknown[0]; i++) {
        struct dw_error error;
        double value = 77;
        size_t count = 1;
        char message[128];
        snprintf(message, sizeof message,
                 "E%d is no series of preferred values; there are E3, E6, E12, E24, E48, E96 and E192", unknown[i]);
        refuses(dw_preferred_values(unknown[i], &value, &error), DW_BAD_USE, error, message);
        refuses(dw_preferred_range(unknown[i], 1, 10, &value, &count, &error), DW_BAD_USE, error, message);
        ck_assert(value == 77);
        ck_assert_uint_eq(count, 1);
    }
}
END_TEST

START_TEST(a_range_holds_both_its_ends)
{
    double values[64];
    size_t count = 64;
    struct dw_error error;
    static const double wanted[] = { 470, 680, 1000, 1500, 2200, 3300, 4700 };
    succeeds(dw_preferred_range(6, 470, 4700, values, &count, &error), error);
    ck_assert_uint_eq(count, sizeof wanted / sizeof wanted[0]);
    for (size_t i = 0; i < count; i++)
        ck_assert(values[i] == wanted[i]);
    count = 64;
    succeeds(dw_preferred_range(6, nextafter(470, 1000), nextafter(4700, 0), values, &count, &error), error);
    ck_assert_uint_eq(count, 5);
    ck_assert(values[0] == 680);
}
END_TEST

START_TEST(values_are_the_doubles_that_their_spelling_reads_to)
{
    double values[32];
    size_t count = 32;
    struct dw_error error;
    /* as literals, which the compiler rounds: a product such as 4.7 * 1e-9 would miss some by an ulp */
    static const double wanted[] = { 1e-9, 1.2e-9, 1.5e-9, 1.8e-9, 2.2e-9, 2.7e-9, 3.3e-9,
                                     3.9e-9, 4.7e-9, 5.6e-9, 6.8e-9, 8.2e-9, 10e-9 };
    succeeds(dw_preferred_range(12, 1e-9, 10e-9, values, &count, &error), error);
    ck_assert_uint_eq(count, 13);
    for (size_t i = 0; i < count; i++)
        ck_assert_msg(values[i] == wanted[i], "%.17g, wanted %.17g", values[i], wanted[i]);
}
END_TEST

START_TEST(a_range_without_a_value_is_empty)
{
    double value = 77;
    size_t count = 1;
    struct dw_error error;
    succeeds(dw_preferred_range(3, 1.1, 2.1, &value, &count, &error), error);
    ck_assert_uint_eq(count, 0);
    ck_assert(value == 77);
}
END_TEST

START_TEST(the_count_alone_can_be_asked_for)
{
    size_t count = 0;
    struct dw_error error;
    succeeds(dw_preferred_range(24, 1e3, 0.99e6, NULL, &count, &error), error);
    ck_assert_uint_eq(count, 72);
    succeeds(dw_preferred_range(192, 1e-300, 1e300, NULL, &count, &error), error);
    ck_assert_uint_eq(count, 192 * 600 + 1);
}
END_TEST

START_TEST(too_little_room_is_refused_and_the_count_told)
{
    double values[2] = { 77, 77 };
    size_t count = 2;
    struct dw_error error;
    refuses(dw_preferred_range(3, 1, 9, values, &count, &error), DW_BAD_USE, error,
            "E3 has 3 values in the range; there is room for 2");
    ck_assert_uint_eq(count, 3);
    ck_assert(values[0] == 77 && values[1] == 77);
}
END_TEST

START_TEST(a_range_that_is_none_is_refused)
{
    static const struct {
        double lowest, highest;
        const char *message;
    } cases[] = {
        { 10, 1, "range 10 to 1: must rise, and lie within 1e-300 to 1e+300" },
        { 0, 1, "range 0 to 1: must rise, and lie within 1e-300 to 1e+300" },
        { -1, 1, "range -1 to 1: must rise, and lie within 1e-300 to 1e+300" },
        { NAN, 1, "range nan to 1: must rise, and lie within 1e-300 to 1e+300" },
        { 1, NAN, "range 1 to nan: must rise, and lie within 1e-300 to 1e+300" },
        { 1, INFINITY, "range 1 to inf: must rise, and lie within 1e-300 to 1e+300" },
        { 1e-301, 1, "range 1e-301 to 1: must rise, and lie within 1e-300 to 1e+300" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_error error;
        double value = 77;
        size_t count = 1;
        refuses(dw_preferred_range(12, cases[i].lowest, cases[i].highest, &value, &count, &error), DW_BAD_USE, error,
                cases[i].message);
        ck_assert(value == 77);
    }
}
END_TEST

SUITE("value: preferred values", each_series_rises_from_one_and_stays_below_ten,
      a_coarser_series_is_part_of_the_finer_one, an_unknown_series_is_refused, a_range_holds_both_its_ends,
      values_are_the_doubles_that_their_spelling_reads_to, a_range_without_a_value_is_empty,
      the_count_alone_can_be_asked_for, too_little_room_is_refused_and_the_count_told, a_range_that_is_none_is_refused)
