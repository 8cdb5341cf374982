/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Cubics between rows: values and slopes at their ends, where they turn, and how they stand for a curve. */
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

/* t^4 over a piece from -h/2 to h/2 is missed most in the middle, by h^4/16. */
START_TEST(a_piece_reaches_as_far_as_its_cubic_is_within_the_tolerance)
{
    for (double tolerance = 1e-12; tolerance < 1; tolerance *= 7) {
        const double h = dw_cubic_reach(tolerance, 24), slope = h * h * h / 2;
        const struct dw_cubic cubic = dw_cubic_through(pow(h / 2, 4), -slope * h, pow(h / 2, 4), slope * h);
        const double off = fabs(dw_cubic_at(&cubic, 0.5));
        ck_assert_double_le(off, tolerance);
        within_scale(off, 0.96 * tolerance, 1e-9, tolerance);
    }
    ck_assert_double_eq(dw_cubic_reach(1e-6, 0), INFINITY);
}
END_TEST

START_TEST(restrained_slopes_make_a_monotone_cubic)
{
    uint64_t seed = 20261201;
    int kept = 0;
    for (int k = 0; k < 2000; k++) {
        const double length = drawn_between(&seed, 0.1, 4), rise = drawn_between(&seed, -2, 2);
        double slope[2];
        for (int i = 0; i < 2; i++) {
            const double asked = slope[i] = drawn_between(&seed, -4, 4) * rise / length;
            const bool fits = dw_cubic_restrain(slope + i, rise, length, 1e-3, 0);
            kept += slope[i] == asked;
            /* the cubic moves by up to 4/27 of what the end's rise is changed by: no more than the tolerance's rest */
            ck_assert(fits == (fabs(rise) <= 1e-3 || fabs(asked - slope[i]) * length <= 0.125e-3 * (1 + 1e-9)));
        }
        const struct dw_cubic cubic = dw_cubic_through(0, slope[0] * length, rise, slope[1] * length);
        for (int i = 0; i <= 64; i++)
            ck_assert_double_ge(slope_at(&cubic, i / 64.0) * (rise < 0 ? -1 : 1), -1e-14 * fabs(rise));
    }
    ck_assert_int_gt(kept, 1000);
}
END_TEST

START_TEST(a_slope_off_by_rounding_stays_as_it_is)
{
    double slope = -1e-17;
    ck_assert(dw_cubic_restrain(&slope, 1, 2, 1e-6, 1e-15));
    near(slope, -1e-17, 0);
    ck_assert(dw_cubic_restrain(&slope, 1, 2, 1e-6, 0));
    near(slope, 0, 0);
}
END_TEST

START_TEST(changes_count_for_two_turns_or_for_a_period)
{
    struct dw_changes changes = { .count = 0 };
    near(dw_changes_largest(&changes, 0.5, 0, 10), 0.5, 0);
    dw_changes_keep(&changes, 0, 4);
    for (int k = 1; k <= 20; k++)
        dw_changes_keep(&changes, k, 1 + 0.01 * k);
    near(dw_changes_largest(&changes, 0, 21, 21), 4, 0);     /* begun a period ago */
    near(dw_changes_largest(&changes, 0, 21, 20.5), 1.2, 0); /* or before that */
    near(dw_changes_largest(&changes, 0, 99, 0), 1.2, 0);    /* the last two always do */
    near(dw_changes_largest(&changes, 7, 21, 21), 7, 0);
    for (int k = 0; k < 20; k++)  /* ever smaller: more than are kept */
        dw_changes_keep(&changes, 30 + k, 1 - 0.01 * k);
    near(dw_changes_largest(&changes, 0, 50, 20), 1, 0);
    near(dw_changes_largest(&changes, 0, 50, 18.5), 0.98, 0);
}
END_TEST

SUITE("table: cubics", a_cubic_has_its_values_and_slopes_at_both_ends, turns_inside_are_found_in_order,
      parabolas_turn_once_lines_and_points_of_rest_do_not, a_piece_reaches_as_far_as_its_cubic_is_within_the_tolerance,
      restrained_slopes_make_a_monotone_cubic, a_slope_off_by_rounding_stays_as_it_is, changes_count_for_two_turns_or_for_a_period)
