/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/table.h>
#include <stdlib.h>

START_TEST(a_boundary_is_rounded_once)
{
    const double origin = 1.37e-3, period = 1 / 1612.9;
    for (double k = 0; k < 1e15; k = 3 * k + 1) {
        /* k period + origin as an exact sum of three: high and low part of the product (Dekker 1971, Numer. Math. 18:224,
         * theorem on products, with fma), and what their sum with the origin loses (Knuth, two-sum) */
        const double high = k * period, low = fma(k, period, -high), sum = high + origin, part = sum - high;
        const double lost = (high - (sum - part)) + (origin - part);
        /* the low parts together are rounded to 2^-53 of themselves, far below the half ulp that is allowed */
        const double got = dw_period_boundary(origin, period, k), ulp = nextafter(got, INFINITY) - got;
        ck_assert_double_le(fabs((sum - got) + (lost + low)), ulp / 2 * (1 + 1e-15));
    }
}
END_TEST

START_TEST(a_time_within_four_ulp_is_on_the_boundary)
{
    static const double periods[] = { 0.002, 1 / 1612.9, 1e-9, 3.7, 1e6 };
    static const double origins[] = { 0, 1e-3, -0.37, 12.5 };
    for (size_t p = 0; p < sizeof periods / sizeof periods[0]; p++)
        for (size_t o = 0; o < sizeof origins / sizeof origins[0]; o++)
            for (double k = 0; k < 3e7; k = 7 * k + 1) {
                const double at = dw_period_boundary(origins[o], periods[p], k);
                const double size = fmax(fabs(at), fabs(origins[o]));
                const double ulp = nextafter(size, INFINITY) - size;
                bool on;
                if (periods[p] < 100 * ulp)
                    continue;
                for (int off = -4; off <= 4; off++) {
                    ck_assert_double_eq(dw_period_index(origins[o], periods[p], at + off * ulp, &on), k);
                    ck_assert(on);
                }
                ck_assert_double_eq(dw_period_index(origins[o], periods[p], at + 6 * ulp, &on), k);
                ck_assert(!on);
                ck_assert_double_eq(dw_period_index(origins[o], periods[p], at - 6 * ulp, &on), k - 1);
                ck_assert(!on);
                ck_assert_double_eq(dw_period_index(origins[o], periods[p], at + 0.4 * periods[p], NULL), k);
            }
}
END_TEST

START_TEST(times_before_the_origin_have_negative_periods)
{
    bool on;
    ck_assert_double_eq(dw_period_index(0.5, 0.25, 0.1, &on), -2);
    ck_assert(!on);
    ck_assert_double_eq(dw_period_index(0.5, 0.25, 0, &on), -2);
    ck_assert(on);
}
END_TEST

START_TEST(what_is_no_period_has_no_index)
{
    static const double cases[][3] = {
        { 0, 0, 1 }, { 0, -1, 1 }, { 0, NAN, 1 }, { NAN, 1, 1 }, { 0, 1, INFINITY }, { 0, INFINITY, 1 }, { 0, 1e-300, 1 },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        bool on = true;
        ck_assert_double_nan(dw_period_index(cases[i][0], cases[i][1], cases[i][2], &on));
        ck_assert(!on);
    }
}
END_TEST

SUITE("table: periods", a_boundary_is_rounded_once, a_time_within_four_ulp_is_on_the_boundary,
      times_before_the_origin_have_negative_periods, what_is_no_period_has_no_index)
