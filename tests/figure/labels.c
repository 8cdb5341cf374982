/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "figure/layout.h"
#include "suite.h"
#include <gsl/gsl_rng.h>

enum { MOST = 12 };

static double cost(const double *wanted, const double *centre, size_t count)
{
    double sum = 0;
    for (size_t i = 0; i < count; i++)
        sum += (centre[i] - wanted[i]) * (centre[i] - wanted[i]);
    return sum;
}

START_TEST(labels_that_have_room_stay_where_they_are)
{
    const double wanted[] = { 10, 40, 75 }, height[] = { 12, 20, 12 };
    double centre[3];
    labels_spread(wanted, height, 3, 0, 100, centre);
    for (int i = 0; i < 3; i++)
        near(centre[i], wanted[i], 1e-15);
}
END_TEST

START_TEST(equal_labels_move_apart_evenly)
{
    const double wanted[] = { 50, 50, 50 }, height[] = { 10, 10, 10 };
    double centre[3];
    labels_spread(wanted, height, 3, 0, 100, centre);
    near(centre[0], 40, 1e-15);
    near(centre[1], 50, 1e-15);
    near(centre[2], 60, 1e-15);
}
END_TEST

START_TEST(no_label_overlaps_and_no_move_would_be_better)
{
    gsl_rng *random = gsl_rng_alloc(gsl_rng_taus);
    gsl_rng_set(random, 3);
    for (int round = 0; round < 4000; round++) {
        const size_t count = 1 + gsl_rng_uniform_int(random, MOST);
        double wanted[MOST], height[MOST], centre[MOST], total = 0, at = 0;
        for (size_t i = 0; i < count; i++) {
            wanted[i] = at += 30 * gsl_rng_uniform(random) * (gsl_rng_uniform(random) < 0.7);
            height[i] = 5 + 20 * gsl_rng_uniform(random);
            total += height[i];
        }
        const double bottom = -10, top = bottom + total + 40 * gsl_rng_uniform(random);
        labels_spread(wanted, height, count, bottom, top, centre);
        for (size_t i = 0; i < count; i++) {
            const double below = i ? centre[i - 1] + height[i - 1] / 2 : bottom;
            ck_assert(centre[i] - height[i] / 2 >= below - 1e-9);
        }
        ck_assert(centre[count - 1] + height[count - 1] / 2 <= top + 1e-9);
        /* the problem is convex, so that a best place has no better one beside it: try moving every run of labels */
        for (size_t from = 0; from < count; from++)
            for (size_t to = from; to < count; to++)
                for (double by = -0.01; by < 0.02; by += 0.02) {
                    double moved[MOST];
                    bool allowed = true;
                    for (size_t i = 0; i < count; i++)
                        moved[i] = centre[i] + (i >= from && i <= to ? by : 0);
                    for (size_t i = 0; i < count; i++)
                        allowed = allowed && moved[i] - height[i] / 2 >= (i ? moved[i - 1] + height[i - 1] / 2 : bottom)
                               && moved[i] + height[i] / 2 <= top;
                    /* 1e-9: of squares of up to 300, rounded */
                    ck_assert(!allowed || cost(wanted, moved, count) >= cost(wanted, centre, count) - 1e-9);
                }
    }
    gsl_rng_free(random);
}
END_TEST

START_TEST(labels_without_room_begin_at_the_bottom)
{
    const double wanted[] = { 5, 6 }, height[] = { 30, 30 };
    double centre[2];
    labels_spread(wanted, height, 2, 0, 40, centre);
    ck_assert(centre[0] == 15 && centre[1] == 45);
}
END_TEST

START_TEST(values_are_labelled_with_prefix_and_readable_unit)
{
    static const struct {
        double value;
        const char *unit;
        int digits;
        const char *want;
    } cases[] = {
        { 1.25, "V", 4, "1.250 V" },        { 0.0331, "A", 4, "33.10 mA" },       { 4.7e-6, "s", 3, "4.70 \xc2\xb5s" },
        { 4700, "ohm", 2, "4.7 k\xce\xa9" }, { -45, "deg", 2, "-45\xc2\xb0" },    { 0.25, "1", 3, "0.250" },
        { 60.5, "degC", 3, "60.5 \xc2\xb0" "C" }, { 2.5e-3, "ohm", 2, "2.5 m\xce\xa9" }, { 3, "u", 2, "3.0 u" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char got[64];
        label_quantity(got, sizeof got, cases[i].value, cases[i].unit, cases[i].digits);
        ck_assert_str_eq(got, cases[i].want);
    }
}
END_TEST

SUITE("figure: labels", labels_that_have_room_stay_where_they_are, equal_labels_move_apart_evenly,
      no_label_overlaps_and_no_move_would_be_better, labels_without_room_begin_at_the_bottom,
      values_are_labelled_with_prefix_and_readable_unit)
