/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/switch.h>
#include <float.h>

static const struct dw_thermal_pair pairs[] = { { 0.41, 3.7e-4 }, { 1.3, 0.021 }, { 17.0, 310 } };

static struct dw_thermal *made(size_t count, double ambient)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_thermal *thermal = dw_thermal_new(pairs, count, ambient, &error);
    ck_assert_msg(thermal != NULL, "%s", error.text);
    return thermal;
}

START_TEST(a_step_of_loss_warms_by_the_sum_of_exponentials)
{
    struct dw_thermal *thermal = made(3, 31.5);
    const struct dw_loss_piece loss = { 2.7, 0, 0 };
    for (double t = 1e-9; t < 1e5; t *= 3.7) {
        long double want = 31.5L;
        for (int i = 0; i < 3; i++)
            want += 2.7L * pairs[i].resistance * -expm1l(-(long double)t / pairs[i].time_constant);
        /* three products of expm1 (1 ulp) and their sum with the ambient: 8 roundings */
        near(dw_thermal_junction(thermal, &loss, t), (double)want, 8 * DBL_EPSILON);
    }
    dw_thermal_free(thermal);
}
END_TEST

/* Response of one pair to base + slope s + curve s^2 in extended precision; the series where the closed form cancels. */
static long double rise(const struct dw_thermal_pair *pair, const struct dw_loss_piece *loss, long double t)
{
    long double tau = pair->time_constant, z = t / tau, sum = 0, term = 1;
    if (z > 2) {
        long double e = -expm1l(-z);
        return pair->resistance * (loss->base * e + loss->slope * tau * (z - e) + loss->curve * tau * tau * (z * z - 2 * (z - e)));
    }
    for (int k = 1; k < 60; k++) {
        term *= -z / k;
        sum -= term * (loss->base - (k > 1 ? loss->slope * tau : 0) + (k > 2 ? 2 * loss->curve * tau * tau : 0));
    }
    return pair->resistance * sum;
}

START_TEST(ramps_and_parabolas_are_exact_at_any_ratio_of_times)
{
    const struct dw_loss_piece loss = { 1.9, 55.0, 8.3e3 };  /* all of one sign: nothing cancels in the sum */
    for (int i = 0; i < 3; i++) {
        struct dw_error error;
        struct dw_thermal *thermal = dw_thermal_new(&pairs[i], 1, 0, &error);
        for (double t = 1e-8; t < 1e4; t *= 1.9)
            near(dw_thermal_junction(thermal, &loss, t), (double)rise(&pairs[i], &loss, t), 40 * DBL_EPSILON);
        dw_thermal_free(thermal);
    }
}
END_TEST

START_TEST(one_stretch_equals_its_two_parts)
{
    const struct dw_loss_piece loss = { 3.1, -40, 900 };
    const double first = 0.0113, second = 0.0241;
    const struct dw_loss_piece rest = { loss.base + first * (loss.slope + first * loss.curve),
                                        loss.slope + 2 * first * loss.curve, loss.curve };
    struct dw_thermal *whole = made(3, 25), *parts = made(3, 25);
    dw_thermal_advance(whole, &loss, first + second);
    dw_thermal_advance(parts, &loss, first);
    dw_thermal_advance(parts, &rest, second);
    near(dw_thermal_now(parts), dw_thermal_now(whole), 20 * DBL_EPSILON);
    dw_thermal_free(whole);
    dw_thermal_free(parts);
}
END_TEST

START_TEST(the_slope_is_the_derivative)
{
    const struct dw_loss_piece loss = { 3.1, -40, 900 };
    struct dw_thermal *thermal = made(3, 25);
    dw_thermal_advance(thermal, &(struct dw_loss_piece){ 11, 0, 0 }, 0.004);
    for (double t = 1e-3; t < 0.1; t *= 2.3) {
        double h = 1e-6 * t;  /* central difference: error h^2 y''' / 6 ~ 1e-12, rounding 1e-16 * 40 / h ~ 4e-7 */
        double want = (dw_thermal_junction(thermal, &loss, t + h) - dw_thermal_junction(thermal, &loss, t - h)) / (2 * h);
        within_scale(dw_thermal_slope(thermal, &loss, t), want, 1e-6, 1e3);
    }
    dw_thermal_free(thermal);
}
END_TEST

START_TEST(the_chord_bound_holds_and_is_not_idle)
{
    const struct dw_loss_piece losses[] = { { 3.1, 0, 0 }, { 0, 70, 0 }, { 2, -30, 4e3 } };
    for (int k = 0; k < 3; k++)
        for (double length = 1e-5; length < 1e-2; length *= 4.1) {
            struct dw_thermal *thermal = made(2, 25);
            double bound = dw_thermal_chord_error(thermal, &losses[k], length), most = 0;
            double a = dw_thermal_junction(thermal, &losses[k], 0), b = dw_thermal_junction(thermal, &losses[k], length);
            for (int i = 1; i < 400; i++) {
                double t = length * i / 400;
                most = fmax(most, fabs(dw_thermal_junction(thermal, &losses[k], t) - (a + (b - a) * i / 400)));
            }
            ck_assert_msg(most <= bound * (1 + 1e-9) + 1e-13, "off by %g, bound %g", most, bound);
            ck_assert_msg(length > 1e-4 || bound < 3 * most, "bound %g for %g", bound, most);
            dw_thermal_free(thermal);
        }
}
END_TEST

START_TEST(a_steady_period_ends_where_it_began)
{
    /* a slow pair: 310 s against a period of 2 ms; waiting would take 5 million periods */
    struct dw_thermal *thermal = made(3, 40);
    const struct dw_loss_piece on = { 12.3, 400, 0 }, off = { 0, 0, 0 };
    dw_thermal_begin_period(thermal);
    dw_thermal_advance(thermal, &on, 0.0007);
    dw_thermal_advance(thermal, &off, 0.0013);
    dw_thermal_set_steady(thermal, thermal, 0.002);
    double start = dw_thermal_now(thermal);
    dw_thermal_advance(thermal, &on, 0.0007);
    dw_thermal_advance(thermal, &off, 0.0013);
    near(dw_thermal_now(thermal), start, 20 * DBL_EPSILON);
    /* its mean is the mean loss times the whole resistance: within the ripple of the quick pair, at most 0.41 * 12.6 K */
    double mean = (12.3 * 0.0007 + 400 * 0.0007 * 0.0007 / 2) / 0.002;
    within_scale(start, 40 + mean * dw_thermal_resistance(thermal), 1.0, 0.41 * 12.6);
    dw_thermal_free(thermal);
}
END_TEST

START_TEST(a_pair_without_capacity_follows_at_once)
{
    struct dw_error error;
    struct dw_thermal *thermal = dw_thermal_new(&(struct dw_thermal_pair){ 2.5, 0 }, 1, 20, &error);
    const struct dw_loss_piece loss = { 3, 7, 0 };
    near(dw_thermal_junction(thermal, &loss, 0.5), 20 + 2.5 * 6.5, 2 * DBL_EPSILON);
    near(dw_thermal_slope(thermal, &loss, 0.5), 17.5, 2 * DBL_EPSILON);
    /* a parabola is furthest from its chord in the middle: r curve length^2 / 4 */
    const struct dw_loss_piece curved = { 3, 7, -11 };
    near(dw_thermal_chord_error(thermal, &curved, 0.6), 2.5 * 11 * 0.6 * 0.6 / 4, 4 * DBL_EPSILON);
    dw_thermal_begin_period(thermal);
    dw_thermal_advance(thermal, &curved, 0.6);
    near(dw_thermal_now(thermal), 20 + 2.5 * (3 + 0.6 * (7 - 0.6 * 11)), 8 * DBL_EPSILON);
    dw_thermal_set_steady(thermal, thermal, 0.6);
    near(dw_thermal_now(thermal), 20 + 2.5 * (3 + 0.6 * (7 - 0.6 * 11)), 8 * DBL_EPSILON);
    dw_thermal_free(thermal);
}
END_TEST

START_TEST(values_out_of_range_are_refused)
{
    struct dw_error error;
    const struct {
        struct dw_thermal_pair pair;
        size_t count;
        double ambient;
        const char *text;
    } bad[] = {
        { { 1, 1 }, 0, 25, "0 thermal pairs: expected 1 to 16" },
        { { 1, 1 }, 17, 25, "17 thermal pairs: expected 1 to 16" },
        { { 0, 1 }, 1, 25, "thermal resistance 0 K/W: must be above zero" },
        { { NAN, 1 }, 1, 25, "thermal resistance nan K/W: must be above zero" },
        { { INFINITY, 1 }, 1, 25, "thermal resistance inf K/W: must be above zero" },
        { { 1, INFINITY }, 1, 25, "thermal time constant inf s: must not be negative" },
        { { 1, NAN }, 1, 25, "thermal time constant nan s: must not be negative" },
        { { 1, 1 }, 1, NAN, "ambient temperature nan degC: expected above absolute zero" },
        { { 1, -2 }, 1, 25, "thermal time constant -2 s: must not be negative" },
        { { 1, 1 }, 1, -300, "ambient temperature -300 degC: expected above absolute zero" },
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        ck_assert_ptr_null(dw_thermal_new(&bad[i].pair, bad[i].count, bad[i].ambient, &error));
        ck_assert_int_eq(error.status, DW_BAD_USE);
        ck_assert_str_eq(error.text, bad[i].text);
    }
}
END_TEST

SUITE("measure: thermal", a_step_of_loss_warms_by_the_sum_of_exponentials, ramps_and_parabolas_are_exact_at_any_ratio_of_times,
      one_stretch_equals_its_two_parts, the_slope_is_the_derivative, the_chord_bound_holds_and_is_not_idle,
      a_steady_period_ends_where_it_began, a_pair_without_capacity_follows_at_once, values_out_of_range_are_refused)
