/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Settings of laws: forms, damped pairs, delays, and plants that the rules are not for. */
#include "suite.h"
#include <dutywright/tuning.h>
#include <float.h>

/* kc (1 + 1/(ti s)) (1 + td s) = k (1 + 1/(Ti s) + Td s), coefficient by coefficient. */
START_TEST(series_form)
{
    static const double KC = 0.83, TI = 0.37, TD = 0.12;
    const struct dw_tuned p = dw_tune_from_series(KC, TI, TD);
    near(p.gain, KC * (1 + TD / TI), 2 * DBL_EPSILON);
    near(p.gain / p.integral_time, KC / TI, 4 * DBL_EPSILON);
    near(p.gain * p.derivative_time, KC * TD, 4 * DBL_EPSILON);
    const struct dw_tuned pd = dw_tune_from_series(KC, INFINITY, TD);
    near(pd.gain, KC, 0);
    near(pd.derivative_time, TD, 0);
    ck_assert(isinf(pd.integral_time));
}
END_TEST

static struct dw_sampled of_system(const struct dw_matrices *matrices, double t, double delay)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_sampled sampled;
    struct dw_system *system = dw_system_new(matrices, &error);
    ck_assert_ptr_nonnull(system);
    succeeds(dw_sampled_hold(system, &(struct dw_hold){ 0, 0, t, delay }, &sampled, &error), error);
    dw_system_free(system);
    return sampled;
}

/* x'' + 2 d w x' + w^2 x = k w^2 u. */
static struct dw_sampled pair(double w, double d, double k, double t)
{
    const double a[] = { 0, 1, -w * w, -2 * d * w }, b[] = { 0, k * w * w }, c[] = { 1, 0 };
    return of_system(&(struct dw_matrices){ .states = 2, .inputs = 1, .outputs = 1, .a = a, .b = b, .c = c }, t, 0);
}

/* A damped pair counts as two lags of d/w each, which have its residence of 2 d/w; of first order the half rule leaves 1.5 d/w of lag. */
START_TEST(damped_pair)
{
    static const double W = 23, D = 0.8, K = -3.1, T = 1e-3;
    const struct dw_sampled plant = pair(W, D, K, T);
    struct dw_error error = { .status = DW_OK };
    struct dw_lag_model m;
    succeeds(dw_lag_model(&plant, 0.1, DW_TERMS_PI, &m, &error), error);
    near(m.gain, K, 1e-6);
    near(m.lag[0], 1.5 * D / W, 1e-9);
    near(m.delay, 0.5 * D / W + T / 2, 1e-4);  /* T^2/12 of each lag */
    succeeds(dw_lag_model(&plant, 0.1, DW_TERMS_PID, &m, &error), error);
    near(m.lag[0], D / W, 1e-9);
    near(m.lag[1], D / W, 1e-9);
    struct dw_tuned tuned;
    succeeds(dw_tune_simc(&m, 0.1, DW_TERMS_PID, &tuned, &error), error);
    ck_assert(tuned.gain < 0 && tuned.integral_time > 0 && tuned.derivative_time > 0);
}
END_TEST

/* A delay of whole samples and a rest r counts as it is, and half a sample for the hold, to second order: the residence of one lag is
 * T (1/(1 - p) + whole + (q - p)/(1 - p)), with the duty's shares q - p and 1 - q of a sample, q = exp(-(T - r)/tau). */
START_TEST(delays)
{
    static const double TAU = 0.4, T = 0.02;
    const double a = -1 / TAU, b = 5 / TAU, c = 1;
    for (double delay = 0; delay < 0.1; delay += 0.013) {
        const struct dw_sampled plant = of_system(&(struct dw_matrices){ .states = 1, .inputs = 1, .outputs = 1, .a = &a, .b = &b, .c = &c }, T, delay);
        struct dw_error error = { .status = DW_OK };
        struct dw_lag_model m;
        succeeds(dw_lag_model(&plant, 0.1, DW_TERMS_PI, &m, &error), error);
        near(m.gain, 5, 1e-6);
        near(m.lag[0], TAU, 1e-9);
        const double whole = floor(delay / T), p = exp(-T / TAU), q = exp(-(T - (delay - whole * T)) / TAU);
        near(m.delay, T * (1 / (1 - p) + whole + (q - p) / (1 - p)) - TAU, 1e-6);
        within_scale(m.delay, delay + T / 2, T / (8 * TAU) + T / (12 * TAU), T);
    }
}
END_TEST

/* A lead beside a lag, by how long both are beside the time constant wanted: 3/2 of the gain, or its share, or none; or a shorter lag. */
START_TEST(leads)
{
    static const struct {
        double lag, lead, closed, gain, rest;
    } all[] = {
        { 0.2, 0.3, 0.1, 1.5, 0 },    /* both longer */
        { 0.2, 0.3, 0.25, 1.2, 0 },   /* between: lead/closed */
        { 0.2, 0.3, 0.5, 1, 0 },      /* both shorter */
        { 0.3, 0.2, 0.03, 2 / 3.0, 0 },
        { 0.3, 0.2, 0.1, 1, 0.1 },    /* five times closed is longer than the lag, which is shortened */
        { 0.3, 0.2, 0.05, 0.25 / 0.3, 0.05 },
    };
    static const double T = 1e-3, LONG = 9;
    for (size_t n = 0; n < sizeof all / sizeof all[0]; n++) {
        const double lag = all[n].lag, share = all[n].lead / lag;
        /* a lag of 9 s, then (lead s + 1)/(lag s + 1) */
        const double a[] = { -1 / LONG, 0, 1 / lag, -1 / lag }, b[] = { 1 / LONG, 0 }, c[] = { share, 1 - share };
        const struct dw_sampled plant = of_system(&(struct dw_matrices){ .states = 2, .inputs = 1, .outputs = 1, .a = a, .b = b, .c = c }, T, 0);
        struct dw_error error = { .status = DW_OK };
        struct dw_lag_model m;
        succeeds(dw_lag_model(&plant, all[n].closed, DW_TERMS_PID, &m, &error), error);
        near(m.gain, all[n].gain, 1e-4);  /* a lead is known from its zero to T/lead of itself, squared */
        near(m.lag[0], LONG, 1e-6);
        within_scale(m.lag[1], all[n].rest, 1e-5, 1);
        within_scale(m.delay, T / 2, 1e-4, 1);
    }
}
END_TEST

/* A lead of 1.2 s between lags of 9 s and 1 s goes with the shorter, which is within a factor of 1.58, and leaves 1.2 of the gain. */
START_TEST(a_lead_goes_with_a_near_shorter_lag)
{
    static const double T = 1e-3, a[] = { -1 / 9.0, 0, 1, -1 }, b[] = { 1 / 9.0, 0 }, c[] = { 1.2, 1 - 1.2 };
    const struct dw_sampled plant = of_system(&(struct dw_matrices){ .states = 2, .inputs = 1, .outputs = 1, .a = a, .b = b, .c = c }, T, 0);
    struct dw_error error = { .status = DW_OK };
    struct dw_lag_model m;
    succeeds(dw_lag_model(&plant, 0.5, DW_TERMS_PID, &m, &error), error);
    near(m.gain, 1.2, 1e-4);
    near(m.lag[0], 9, 1e-6);
    within_scale(m.lag[1], 0, 1e-5, 1);
}
END_TEST

START_TEST(refusals)
{
    const struct dw_lag_model good = { 2, { 0.3, 0 }, 0.1 };
    struct dw_sampled plant = { .states = 1, .sample_time = 1, .a = { 1.1 }, .b = { 1 }, .c = { 1 } };
    struct dw_error error = { .status = DW_OK };
    struct dw_lag_model m;
    struct dw_tuned tuned;
    refuses(dw_tune_ultimate(0, 1, DW_TERMS_PI, &tuned, &error), DW_BAD_USE, error,
            "an ultimate gain of 0 and a period of 1 s: both must be finite, the gain not zero, the period above it");
    refuses(dw_tune_ultimate(1, INFINITY, DW_TERMS_PI, &tuned, &error), DW_BAD_USE, error,
            "an ultimate gain of 1 and a period of inf s: both must be finite, the gain not zero, the period above it");
    refuses(dw_tune_ultimate(INFINITY, 1, DW_TERMS_PI, &tuned, &error), DW_BAD_USE, error,
            "an ultimate gain of inf and a period of 1 s: both must be finite, the gain not zero, the period above it");
    refuses(dw_tune_ultimate(1, 0, DW_TERMS_PI, &tuned, &error), DW_BAD_USE, error,
            "an ultimate gain of 1 and a period of 0 s: both must be finite, the gain not zero, the period above it");
    const struct dw_lag_model none[] = { { 0, { 0.3, 0 }, 0.1 }, { INFINITY, { 0.3, 0 }, 0.1 }, { 2, { 0, 0 }, 0.1 }, { 2, { 0.3, -1 }, 0.1 },
                                         { 2, { 0.3, 0 }, -1 } };
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++)
        ck_assert_int_eq(dw_tune_simc(&none[i], 1, DW_TERMS_PI, &tuned, &error), DW_BAD_USE);
    ck_assert_int_eq(dw_tune_simc(&good, INFINITY, DW_TERMS_PI, &tuned, &error), DW_BAD_USE);
    refuses(dw_tune_simc(&good, 0, DW_TERMS_PI, &tuned, &error), DW_BAD_USE, error,
            "a time constant of 0 s for a gain of 2, lags of 0.3 s and 0 s and a delay of 0.1 s: a time above zero and a gain that is not zero are "
            "wanted, no lag and no delay below zero");
    refuses(dw_lag_model(&plant, -1, DW_TERMS_PI, &m, &error), DW_BAD_USE, error, "a time constant of -1 s: must be above zero");
    refuses(dw_lag_model(&plant, INFINITY, DW_TERMS_PI, &m, &error), DW_BAD_USE, error, "a time constant of inf s: must be above zero");
    refuses(dw_lag_model(&plant, 1, DW_TERMS_PI, &m, &error), DW_NO, error,
            "the plant runs away or oscillates by itself, 1.1 times as far a sample: these rules have no settings for it");
    plant = (struct dw_sampled){ .states = 2, .sample_time = 1, .a = { 1, 0, 1, 1 }, .b = { 1, 0 }, .c = { 0, 1 } };
    refuses(dw_lag_model(&plant, 1, DW_TERMS_PI, &m, &error), DW_NO, error,
            "the plant integrates twice: these rules have no settings for it");
    plant = pair(23, 0.3, 1, 1e-3);
    refuses(dw_lag_model(&plant, 1, DW_TERMS_PI, &m, &error), DW_NO, error,
            "the plant oscillates by itself, at 3.66056 Hz with a damping of 0.3: this rule is for plants of lags");
    plant = (struct dw_sampled){ .states = 1, .sample_time = 1, .a = { 0.5 }, .b = { 1 } };
    refuses(dw_lag_model(&plant, 1, DW_TERMS_PI, &m, &error), DW_NO, error, "what is measured does not follow the duty");
    /* what only alternates, or waits behind a lead, has no lag either */
    const struct dw_sampled alternating[] = {
        { .states = 1, .sample_time = 1, .a = { -0.5 }, .b = { 1 }, .c = { 1 } },
        { .states = 2, .sample_time = 1, .a = { -0.3, 0.5, -0.5, -0.3 }, .b = { 1, 0 }, .c = { 1, 0 } },
        { .states = 2, .sample_time = 1, .a = { 0, 0, 1, 0 }, .b = { 1, 0 }, .c = { 1, -0.5 } },
    };
    for (size_t i = 0; i < sizeof alternating / sizeof alternating[0]; i++)
        refuses(dw_lag_model(&alternating[i], 1, DW_TERMS_PI, &m, &error), DW_NO, error,
                "what is measured does not follow the duty for long: no lag and no gain are left for the rule");
    plant = (struct dw_sampled){ .states = 1, .sample_time = 1, .a = { 0 }, .b = { 1 }, .c = { 1 } };
    refuses(dw_lag_model(&plant, 1, DW_TERMS_PI, &m, &error), DW_NO, error,
            "what is measured does not follow the duty for long: no lag and no gain are left for the rule");
}
END_TEST

SUITE("design: tuning", series_form, damped_pair, delays, leads, a_lead_goes_with_a_near_shorter_lag, refusals)
