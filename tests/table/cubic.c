/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Cubics between rows: values and slopes at their ends, and where they turn. */
#include "draw.h"
#include "suite.h"
#include <dutywright/cubic.h>

static double slope_at(const struct dw_cubic *cubic, double share)
{
    return cubic->c[1] + share * (2 * cubic->c[2] + share * 3 * cubic->c[3]);
}

START_TEST(a_cubic_has_its_values_and_slopes_at_both_ends)
{
    uint64_t seed = 20261129;
    for (int k = 0; k < 1000; k++) {
        const double a = drawn_between(&seed, -5, 5), a_slope = drawn_between(&seed, -9, 9);
        const double b = drawn_between(&seed, -5, 5), b_slope = drawn_between(&seed, -9, 9);
        const struct dw_cubic cubic = dw_cubic_through(a, a_slope, b, b_slope);
        near(dw_cubic_at(&cubic, 0), a, 0);
        within_scale(dw_cubic_at(&cubic, 1), b, 1e-14, 9);
        near(slope_at(&cubic, 0), a_slope, 0);
        within_scale(slope_at(&cubic, 1), b_slope, 1e-14, 60);
        within_scale(dw_cubic_bend(&cubic, 0.25), 2 * (slope_at(&cubic, 0.5) - slope_at(&cubic, 0)), 1e-14, 100);
    }
}
END_TEST

/* slope = 3 c3 (s - one)(s - two) */
static struct dw_cubic turning_at(double one, double two, double c3)
{
    return (struct dw_cubic){ { 0, 3 * c3 * one * two, -1.5 * c3 * (one + two), c3 } };
}

START_TEST(turns_inside_are_found_in_order)
{
    uint64_t seed = 20261130;
    for (int k = 0; k < 1000; k++) {
        const double one = drawn_between(&seed, -1, 2), two = drawn_between(&seed, -1, 2);
        const struct dw_cubic cubic = turning_at(one, two, drawn_between(&seed, -3, 3));
        const unsigned wanted = (one > 0 && one < 1) + (two > 0 && two < 1);
        double at[2] = { 0 };
        ck_assert_uint_eq(dw_cubic_turns(&cubic, at), wanted);
        ck_assert(wanted < 2 || at[0] <= at[1]);
        for (unsigned i = 0; i < wanted; i++)
            within_scale(fmin(fabs(at[i] - one), fabs(at[i] - two)), 0, 1e-9, 1);
    }
}
END_TEST

START_TEST(parabolas_turn_once_lines_and_points_of_rest_do_not)
{
    double at[2];
    const struct dw_cubic parabola = { { 1, -1, 1, 0 } }, beside = { { 1, -3, 1, 0 } }, line = { { 1, -3, 0, 0 } }, flat = { { 2 } };
    const struct dw_cubic rests = turning_at(0.25, 0.25, 1);
    ck_assert_uint_eq(dw_cubic_turns(&parabola, at), 1);
    near(at[0], 0.5, 0);
    ck_assert_uint_eq(dw_cubic_turns(&beside, at), 0);
    ck_assert_uint_eq(dw_cubic_turns(&line, at), 0);
    ck_assert_uint_eq(dw_cubic_turns(&flat, at), 0);
    ck_assert_uint_eq(dw_cubic_turns(&rests, at), 0);
}
END_TEST

SUITE("table: cubics", a_cubic_has_its_values_and_slopes_at_both_ends, turns_inside_are_found_in_order,
      parabolas_turn_once_lines_and_points_of_rest_do_not)
