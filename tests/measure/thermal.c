/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/switch.h>
#include <float.h>
#include <gsl/gsl_integration.h>
#include <string.h>

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
    for (double t = 1e-9; t < 1e5; t *= 3.7) {
        const struct dw_loss_piece loss = { t, { 2.7 } };
        long double want = 31.5L;
        for (int i = 0; i < 3; i++)
            want += 2.7L * pairs[i].resistance * -expm1l(-(long double)t / pairs[i].time_constant);
        /* three products of a response (eight steps of a recurrence that damps errors, below 8 ulp) and their sum with the ambient */
        near(dw_thermal_junction(thermal, &loss, 1, NULL), (double)want, 12 * DBL_EPSILON);
    }
    dw_thermal_free(thermal);
}
END_TEST

/* I_k = z times the integral of e^(-z (1 - s)) s^k, in extended precision: e^-z times a series of positive terms, or the recurrence
 * where it is stable. */
static long double response(long double z, int k)
{
    if (z > 40) {
        long double w = -expm1l(-z);
        for (int i = 1; i <= k; i++)
            w = 1 - i / z * w;
        return w;
    }
    long double power = z * expl(-z), sum = 0;
    for (int j = 0; j < 250; power *= z / ++j)
        sum += power / (k + 1 + j);
    return sum;
}

static const double RISING[DW_LOSS_POWERS] = { 1.9, 0.6, 2.3, 0.4, 1.1, 0.7, 0.3 };  /* all of one sign: nothing cancels */

START_TEST(polynomials_up_to_degree_six_are_exact_at_any_ratio_of_times)
{
    for (double z = 1e-12; z < 2e12; z *= 1.9)
        for (int degree = 2; degree <= 6; degree += 4) {
            const double tau = 0.021, length = z * tau;
            const long double ratio = (long double)length / tau;
            struct dw_loss_piece loss = { length, { 0 } };
            struct dw_error error;
            struct dw_thermal *thermal = dw_thermal_new(&(struct dw_thermal_pair){ 1.3, tau }, 1, 0, &error);
            long double value = 0, slope = RISING[0] * expl(-ratio) * ratio, mean = 0;
            for (int k = 0; k <= degree; k++) {
                loss.power[k] = RISING[k];
                value += RISING[k] * response(ratio, k);
                mean += RISING[k] * response(ratio, k + 1) / (k + 1);
                slope += k > 0 ? k * RISING[k] * response(ratio, k - 1) : 0;
            }
            double got;
            near(dw_thermal_junction(thermal, &loss, 1, &got), (double)(1.3L * value), 40 * DBL_EPSILON);
            near(got, (double)(1.3L * slope / length), 40 * DBL_EPSILON);
            near(dw_thermal_advance(thermal, &loss, 1), (double)(1.3L * mean * length), 40 * DBL_EPSILON);
            near(dw_thermal_now(thermal), (double)(1.3L * value), 40 * DBL_EPSILON);
            dw_thermal_free(thermal);
        }
}
END_TEST

static double product(double s, void *of)
{
    const struct dw_loss_piece *loss = of;
    double power = 0, sum = 0;
    for (int k = DW_LOSS_POWERS; k-- > 0;)
        power = power * s / loss->length + loss->power[k];
    for (int i = 0; i < 3; i++)
        sum += pairs[i].resistance / pairs[i].time_constant * exp(-(loss->length - s) / pairs[i].time_constant) * power;
    return sum;
}

START_TEST(several_pairs_answer_as_the_convolution_integrated)
{
    gsl_integration_workspace *room = gsl_integration_workspace_alloc(1000);
    for (double length = 1e-5; length < 1e-2; length *= 7) {
        struct dw_loss_piece loss = { length, { 3.1, -1.9, 4.4, -2.2, 0.7, 1.3, -0.9 } };
        double want, error;
        const gsl_function f = { product, &loss };
        ck_assert_int_eq(gsl_integration_qag(&f, 0, length, 0, 1e-12, 1000, GSL_INTEG_GAUSS61, room, &want, &error), 0);
        struct dw_thermal *thermal = made(3, 0);
        near(dw_thermal_junction(thermal, &loss, 1, NULL), want, 2e-12);  /* as asked of the integration */
        dw_thermal_free(thermal);
    }
    gsl_integration_workspace_free(room);
}
END_TEST

/* What is left of a loss behind a share: its Taylor coefficients there. */
static struct dw_loss_piece rest_of(const struct dw_loss_piece *loss, double share)
{
    struct dw_loss_piece rest = { loss->length * (1 - share), { 0 } };
    for (int k = 0; k < DW_LOSS_POWERS; k++) {
        double binomial = 1;
        for (int n = k; n < DW_LOSS_POWERS; binomial *= (n + 1.0) / (n + 1 - k), n++)
            rest.power[k] += binomial * loss->power[n] * pow(share, n - k) * pow(1 - share, k);
    }
    return rest;
}

START_TEST(one_piece_equals_its_two_parts_wherever_it_is_cut)
{
    for (double share = 1e-9; share < 1; share += 0.0731) {
        const struct dw_loss_piece loss = { 0.0354, { 3.1, -1.4, 1.1, 2.9, -3.3, 0.8, 1.7 } }, rest = rest_of(&loss, share);
        struct dw_thermal *whole = made(3, 25), *parts = made(3, 25);
        double slope, same, sum = dw_thermal_advance(parts, &loss, share);
        near(dw_thermal_junction(parts, &rest, 1, &slope), dw_thermal_junction(whole, &loss, 1, &same), 20 * DBL_EPSILON);
        within_scale(slope, same, 100 * DBL_EPSILON, 14.3 * (0.41 / 3.7e-4 + 1.3 / 0.021));  /* powers by the rates they make */
        sum += dw_thermal_advance(parts, &rest, 1);
        const double all = dw_thermal_advance(whole, &loss, 1);
        near(sum, all, 20 * DBL_EPSILON);
        near(dw_thermal_now(parts), dw_thermal_now(whole), 20 * DBL_EPSILON);
        dw_thermal_free(whole);
        dw_thermal_free(parts);
    }
}
END_TEST

START_TEST(the_slope_is_the_derivative)
{
    const struct dw_loss_piece loss = { 0.1, { 3.1, -4, 9, 2, -3, 1, 0.5 } }, warm = { 0.004, { 11 } };
    struct dw_thermal *thermal = made(3, 25);
    dw_thermal_advance(thermal, &warm, 1);
    for (double share = 1e-2; share < 1; share *= 2.3) {
        const double h = 1e-6 * share;  /* of the share. Central difference: error h^2 y''' / 6 ~ 1e-12, rounding 1e-16 * 40 / h ~ 4e-7 */
        const double more = dw_thermal_junction(thermal, &loss, share + h, NULL), less = dw_thermal_junction(thermal, &loss, share - h, NULL);
        double slope;
        dw_thermal_junction(thermal, &loss, share, &slope);
        within_scale(slope, (more - less) / (2 * h * loss.length), 1e-6, 1e3);
    }
    double first, near_first;
    dw_thermal_junction(thermal, &loss, 0, &first);
    dw_thermal_junction(thermal, &loss, 1e-9, &near_first);
    within_scale(first, near_first, 1e-5, 1e4);  /* 1e-10 s later; y'' is at most 1e4 / 3.7e-4 K/s^2 */
    dw_thermal_free(thermal);
}
END_TEST

START_TEST(a_pair_that_follows_quickly_keeps_its_slope)
{
    /* 1e9 time constants a piece; the pair begins where the piece before left it. Its slope is that of the loss times r to a share of
     * 1e-9; a rounding of 40 degC by the time constant would be some K/s */
    struct dw_error error;
    struct dw_thermal *thermal = dw_thermal_new(&(struct dw_thermal_pair){ 2.1, 1e-9 }, 1, 40, &error);
    const struct dw_loss_piece before = { 1, { 3, 5 } }, loss = { 1, { 8, 5 } };
    dw_thermal_advance(thermal, &before, 1);
    double slope;
    near(dw_thermal_junction(thermal, &loss, 0, &slope), 40 + 2.1 * 8, 1e-8);
    near(slope, 2.1 * 5, 1e-8);
    ck_assert(dw_thermal_bend(thermal, &loss, 1) < 1e-20);
    dw_thermal_free(thermal);
}
END_TEST

/* How far the cubic with the values and slopes at both ends of a part of a piece is off at most. */
static double cubic_off(const struct dw_thermal *thermal, const struct dw_loss_piece *loss, double share)
{
    double first, last, most = 0;
    const double a = dw_thermal_junction(thermal, loss, 0, &first), rise = dw_thermal_junction(thermal, loss, share, &last) - a;
    const double span = share * loss->length, bent = (first + last) * span - 2 * rise;
    for (int i = 1; i < 200; i++) {
        const double x = i / 200.0, cubic = a + x * (first * span + x * (rise - first * span - bent + x * bent));
        most = fmax(most, fabs(dw_thermal_junction(thermal, loss, share * x, NULL) - cubic));
    }
    return most;
}

START_TEST(the_bound_of_the_cubic_holds_and_is_not_idle)
{
    const double losses[][DW_LOSS_POWERS] = { { 3.1 }, { 0, 0.7 }, { 2, -1, 1.4 }, { 3, -1, 2, 0.5, -1, 0.6, 0.2 } };
    double tightest = 0;
    for (int k = 0; k < 4; k++)
        for (double length = 1e-5; length < 0.2; length *= 4.1)
            for (double share = 1; share > 0.05; share *= 0.4) {
                struct dw_loss_piece loss = { .length = length };
                memcpy(loss.power, losses[k], sizeof loss.power);
                struct dw_thermal *thermal = made(3, 25);
                const double bound = share * share * share * share / 384 * dw_thermal_bend(thermal, &loss, share);
                const double most = cubic_off(thermal, &loss, share);
                ck_assert_msg(most <= bound * (1 + 1e-9) + 1e-13, "off by %g, bound %g", most, bound);
                tightest = fmax(tightest, most > 1e-10 ? most / bound : 0);
                dw_thermal_free(thermal);
            }
    ck_assert_msg(tightest > 0.8, "%g of the bound at most", tightest);
}
END_TEST

START_TEST(a_steady_period_ends_where_it_began)
{
    /* a slow pair: 310 s against a period of 2 ms; waiting would take 5 million periods */
    struct dw_thermal *thermal = made(3, 40);
    const struct dw_loss_piece on = { 0.0007, { 12.3, 400 * 0.0007 } }, off = { 0.0013, { 0 } };
    dw_thermal_begin_period(thermal);
    dw_thermal_advance(thermal, &on, 1);
    dw_thermal_advance(thermal, &off, 1);
    dw_thermal_set_steady(thermal, thermal, 0.002);
    double start = dw_thermal_now(thermal), sum = dw_thermal_advance(thermal, &on, 1);
    sum += dw_thermal_advance(thermal, &off, 1);
    near(dw_thermal_now(thermal), start, 20 * DBL_EPSILON);
    /* its mean is the mean loss times the whole resistance */
    const double mean = (12.3 * 0.0007 + 400 * 0.0007 * 0.0007 / 2) / 0.002;
    near(sum / 0.002, 40 + mean * dw_thermal_resistance(thermal), 40 * DBL_EPSILON);
    dw_thermal_free(thermal);
}
END_TEST

START_TEST(a_pair_without_capacity_follows_at_once)
{
    struct dw_error error;
    struct dw_thermal *thermal = dw_thermal_new(&(struct dw_thermal_pair){ 2.5, 0 }, 1, 20, &error);
    const struct dw_loss_piece loss = { 0.6, { 3, 4.2, -1.1, 0, 0.8 } };
    double slope;
    near(dw_thermal_junction(thermal, &loss, 0, &slope), 20 + 2.5 * 3, 2 * DBL_EPSILON);
    near(slope, 2.5 * 4.2 / 0.6, 2 * DBL_EPSILON);
    near(dw_thermal_junction(thermal, &loss, 0.5, &slope), 20 + 2.5 * (3 + 2.1 - 1.1 / 4 + 0.8 / 16), 4 * DBL_EPSILON);
    near(slope, 2.5 * (4.2 - 1.1 + 0.8 / 2) / 0.6, 4 * DBL_EPSILON);
    near(dw_thermal_bend(thermal, &loss, 0.6), 2.5 * 24 * 0.8, 4 * DBL_EPSILON);
    dw_thermal_begin_period(thermal);
    near(dw_thermal_advance(thermal, &loss, 1), 0.6 * (20 + 2.5 * (3 + 4.2 / 2 - 1.1 / 3 + 0.8 / 5)), 8 * DBL_EPSILON);
    near(dw_thermal_now(thermal), 20 + 2.5 * (3 + 4.2 - 1.1 + 0.8), 8 * DBL_EPSILON);
    dw_thermal_set_steady(thermal, thermal, 0.6);
    near(dw_thermal_now(thermal), 20 + 2.5 * (3 + 4.2 - 1.1 + 0.8), 8 * DBL_EPSILON);
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

SUITE("measure: thermal", a_step_of_loss_warms_by_the_sum_of_exponentials,
      polynomials_up_to_degree_six_are_exact_at_any_ratio_of_times, several_pairs_answer_as_the_convolution_integrated,
      one_piece_equals_its_two_parts_wherever_it_is_cut, the_slope_is_the_derivative, a_pair_that_follows_quickly_keeps_its_slope,
      the_bound_of_the_cubic_holds_and_is_not_idle, a_steady_period_ends_where_it_began, a_pair_without_capacity_follows_at_once,
      values_out_of_range_are_refused)
