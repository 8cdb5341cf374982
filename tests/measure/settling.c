/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/measure.h>
#include <float.h>
#include <stdlib.h>

static struct dw_settling of(const double *time, const double *mean, size_t count, struct dw_settling_rule rule)
{
    struct dw_settling got;
    struct dw_error error;
    succeeds(dw_settling_from_means(time, mean, count, &rule, &got, &error), error);
    return got;
}

/* Means of one RC stage driven by pulses from rest: the deviation of the mean shrinks by exp(-T/tau) a period, so it
 * first stays inside on the line between two known periods. */
START_TEST(single_stage_settles_where_its_geometric_means_enter_the_band)
{
    static const struct {
        double tau, band, initial, final, first_off; /* tau in periods */
    } cases[] = {
        { 7.3, 0.02, 0, 1.25, -1.16 }, { 41.7, 0.001, 0.4, 3.1, -2.6 }, { 7.3, 0.1, 5, 1.25, 3.2 }, { 0.6, 1e-4, 0, 2, -0.5 }
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        enum { COUNT = 2000 }; /* the longest: exp(-2000 / 41.7) = 1e-21 is left */
        double time[COUNT], mean[COUNT];
        const double period = 0.00204, start = 0.3, ratio = exp(-1 / cases[i].tau);
        for (int k = 0; k < COUNT; k++) {
            time[k] = start + (k + 1) * period;
            mean[k] = cases[i].final + cases[i].first_off * pow(ratio, k);
        }
        const double half = cases[i].band * fabs(cases[i].final - cases[i].initial);
        double k = floor(log(fabs(cases[i].first_off) / half) * cases[i].tau); /* last period outside */
        const double outside = fabs(cases[i].first_off) * pow(ratio, k), inside = outside * ratio;
        const double want = (k + 1 + (outside - half) / (outside - inside)) * period;
        const struct dw_settling got =
            of(time, mean, COUNT, (struct dw_settling_rule){ start, cases[i].initial, cases[i].band, 5 });
        ck_assert_int_eq(got.state, DW_SETTLED);
        /* the means are rounded at eps * final, their slope at the band is half / tau a period; times at eps * 2 s */
        near(got.time, want, DBL_EPSILON * (8 * cases[i].final / half * cases[i].tau + 16 / period));
        ck_assert(got.time_bound == 0 && got.overshoot == 0);
        near(got.slope, (outside - inside) / period, 1e-9);
    }
}
END_TEST

START_TEST(a_ringing_mean_settles_at_its_last_exit_and_tells_its_overshoot)
{
    enum { COUNT = 400 };
    double time[COUNT], mean[COUNT], last = 0;
    for (int k = 0; k < COUNT; k++) {
        time[k] = k + 1;
        mean[k] = 2 - 2 * exp(-k / 20.0) * cos(k / 3.7);
    }
    const double final = mean[COUNT - 1], half = 0.02 * final;
    for (int k = 0; k + 1 < COUNT; k++) /* every line, looking for the last time it leaves or enters the band */
        for (int side = -1; side <= 1; side += 2) {
            const double a = mean[k] - (final + side * half), b = mean[k + 1] - (final + side * half);
            if ((a > 0) != (b > 0))
                last = time[k] + a / (a - b);
        }
    double most = 0;
    for (int k = 0; k < COUNT; k++)
        most = fmax(most, mean[k]);
    const struct dw_settling got = of(time, mean, COUNT, (struct dw_settling_rule){ 0, 0, 0.02, 5 });
    ck_assert_int_eq(got.state, DW_SETTLED);
    near(got.time, last, 1e-13);
    near(got.overshoot, most / final - 1, 1e-13);
    ck_assert(got.overshoot > 0.3);
    /* mirrored, it overshoots downward by the same share */
    for (int k = 0; k < COUNT; k++)
        mean[k] = -mean[k];
    const struct dw_settling mirrored = of(time, mean, COUNT, (struct dw_settling_rule){ 0, 0, 0.02, 5 });
    ck_assert(mirrored.time == got.time && mirrored.overshoot == got.overshoot);
}
END_TEST

START_TEST(the_state_says_what_kind_of_answer_there_is)
{
    const double time[] = { 0.1, 0.2, 0.3 };
    static const struct {
        double mean[3];
        size_t count;
        double initial;
        enum dw_settling_state state;
        double want;
    } cases[] = {
        { { 1, 1, 1 }, 3, 0, DW_SETTLED_WITHIN, 0.1 },
        { { 0.981, 0.9995, 1 }, 3, 0, DW_SETTLED_WITHIN, 0.1 },
        { { 0.97, 1, 1 }, 3, 0, DW_SETTLED, 0.1 + 0.1 / 3 },
        { { 0.9, 0.9979, 1 }, 3, 0, DW_NOT_SETTLED, 0 },
        { { 1, 1, 1 }, 3, 1 + 4e-9, DW_SETTLED_FROM_START, 0 }, /* range 5: a change up to 5e-9 is none */
        { { 1, 1, 1 }, 3, 1 + 6e-9, DW_SETTLED_WITHIN, 0.1 },
        { { 1, 2, 1 }, 3, 1, DW_NO_CHANGE, 0 },
        { { 1 }, 1, 0, DW_TOO_FEW, 0 },
        { { 1 }, 1, 1, DW_SETTLED_FROM_START, 0 },
        { { 0 }, 0, 0, DW_TOO_FEW, 0 },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct dw_settling got =
            of(time, cases[i].mean, cases[i].count, (struct dw_settling_rule){ 0, cases[i].initial, 0.02, 5 });
        ck_assert_int_eq(got.state, cases[i].state);
        within_scale(got.time, cases[i].want, 1e-13, 0.1); /* slope 0.3 a second: eps / 0.3 */
    }
}
END_TEST

START_TEST(scale_shift_and_start_change_nothing_else)
{
    enum { COUNT = 60 };
    double time[COUNT], mean[COUNT], later[COUNT], scaled[COUNT];
    for (int k = 0; k < COUNT; k++) {
        time[k] = k + 1;
        mean[k] = 1 - exp(-(k + 1) / 4.7);
        later[k] = time[k] + 64;
        scaled[k] = -4 * mean[k] + 8;
    }
    const struct dw_settling one = of(time, mean, COUNT, (struct dw_settling_rule){ 0, 0, 0.02, 1 });
    const struct dw_settling other = of(later, scaled, COUNT, (struct dw_settling_rule){ 64, 8, 0.02, 4 });
    near(other.time, one.time, 1e-12); /* 8 eps / (0.02 / 4.7) */
    near(other.slope, 4 * one.slope, 1e-12);
}
END_TEST

START_TEST(a_band_outside_its_range_is_refused)
{
    const double time[] = { 1, 2 }, mean[] = { 1, 1 };
    struct dw_settling got;
    struct dw_error error;
    refuses(dw_settling_from_means(time, mean, 2, &(struct dw_settling_rule){ .band = 1 }, &got, &error), DW_BAD_USE, error,
            "a settling band of 1 is not between 0 and 1");
    refuses(dw_settling_from_means(time, mean, 2, &(struct dw_settling_rule){ .band = NAN }, &got, &error), DW_BAD_USE,
            error, "a settling band of nan is not between 0 and 1");
}
END_TEST

SUITE("measure: settling", single_stage_settles_where_its_geometric_means_enter_the_band,
      a_ringing_mean_settles_at_its_last_exit_and_tells_its_overshoot, the_state_says_what_kind_of_answer_there_is,
      scale_shift_and_start_change_nothing_else, a_band_outside_its_range_is_refused)
