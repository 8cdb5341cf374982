/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Margins of sampled loops against closed forms and against the recurrence itself. */
#include "suite.h"
#include <complex.h>
#include <dutywright/margins.h>
#include <float.h>
#include <string.h>

static struct dw_law law_of(double gain, double integral_time, double derivative_time, double filter, double sample_time)
{
    const struct dw_law_plan plan = { .kind = DW_LAW_PID, .sample_time = sample_time, .converter = { .gain = 1 }, .gain = gain,
        .integral_time = integral_time, .derivative_time = derivative_time, .filter = filter, .setpoint_weight = 1, .duty_low = -1, .duty_high = 1 };
    struct dw_error error = { .status = DW_OK };
    struct dw_law law;
    succeeds(dw_law_make(&plan, &law, &error), error);
    return law;
}

static struct dw_sampled of_system(const struct dw_matrices *matrices, double sample_time, double delay)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_sampled sampled;
    struct dw_system *system = dw_system_new(matrices, &error);
    ck_assert_ptr_nonnull(system);
    succeeds(dw_sampled_hold(system, &(struct dw_hold){ 0, 0, sample_time, delay }, &sampled, &error), error);
    dw_system_free(system);
    return sampled;
}

/* Lags in a row, of gain k: tau x' = before - x. */
static struct dw_sampled lags(const double *tau, size_t count, double k, double sample_time, double delay)
{
    double a[16] = { 0 }, b[4] = { k / tau[0] }, c[4] = { 0 };
    for (size_t i = 0; i < count; i++) {
        a[i * count + i] = -1 / tau[i];
        if (i > 0)
            a[i * count + i - 1] = 1 / tau[i];
    }
    c[count - 1] = 1;
    return of_system(&(struct dw_matrices){ .states = count, .inputs = 1, .outputs = 1, .a = a, .b = b, .c = c }, sample_time, delay);
}

static struct dw_margins margins_of(const struct dw_sampled *sampled, const struct dw_law *law)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_margins margins;
    succeeds(dw_loop_margins(sampled, law, &margins, &error), error);
    return margins;
}

/* y after = p y + (1 - p) K u: a gain g puts the pole at p - (1 - p) K g, at -1 for g = (1 + p)/((1 - p) K). Two roundings of the pole. */
START_TEST(first_order)
{
    static const double TAU = 0.13, T = 0.02, K = 2.7;
    const struct dw_sampled plant = lags(&TAU, 1, K, T, 0);
    const double p = exp(-T / TAU), most = (1 + p) / ((1 - p) * K), gain = 0.4 * most, loop = (1 - p) * K * gain;
    const struct dw_law law = law_of(gain, INFINITY, 0, 0, T);
    const struct dw_margins m = margins_of(&plant, &law);
    ck_assert(m.stable && m.gain_low == 0);
    near(m.pole_highest, fabs(p - loop), 1e-14);
    near(m.gain_high, 1 / 0.4, 1e-14);
    near(m.gain_frequency, 0.5 / T, 1e-14);
    /* |z - p| = loop: cos = (1 + p^2 - loop^2) / 2p; the phase there is -arg(z - p) */
    const double angle = acos((1 + p * p - loop * loop) / (2 * p)), phase = M_PI - atan2(sin(angle), cos(angle) - p);
    near(m.phase_frequency, angle / (2 * M_PI * T), 1e-13);
    near(m.phase, phase * 180 / M_PI, 1e-13);
    near(m.delay, phase / angle * T, 1e-13);
}
END_TEST

/* A duty that comes d late within the sample: x after = p x + (q - p) u before + (1 - q) u with q = exp(-(T - d)/tau). */
START_TEST(held_and_late)
{
    static const double TAU = 0.13, T = 0.02;
    const double p = exp(-T / TAU);
    for (int n = 0; n < 6; n++) {
        const double late[] = { 0, 0.007, 0.02, 0.031, 0.06, 0.0725 }, whole = floor(late[n] / T + 1e-9), rest = fmax(0, late[n] - whole * T);
        const double q = exp(-(T - rest) / TAU);
        const struct dw_sampled plant = lags(&TAU, 1, 1, T, late[n]);
        ck_assert_uint_eq(plant.states, 1 + (size_t)whole + (rest > 0));
        double out[2], angle = 0.7;
        dw_sampled_response(&plant, cos(angle) - 1, sin(angle), out);
        /* ((q - p)/z + 1 - q)/(z - p) z^-whole, at z = exp(j angle) */
        const double above_real = (q - p) * cos(angle) + 1 - q, above_imaginary = -(q - p) * sin(angle);
        near(hypot(out[0], out[1]), hypot(above_real, above_imaginary) / hypot(cos(angle) - p, sin(angle)), 1e-13);
        const double phase = atan2(above_imaginary, above_real) - atan2(sin(angle), cos(angle) - p) - whole * angle;
        within_scale(remainder(atan2(out[1], out[0]) - phase, 2 * M_PI), 0, 1e-13, 1);
    }
}
END_TEST

/* An integrator, y after = y + k T u, one sample late and under pi: poles of z (z - 1)^2 + k T (g (z - 1) + i z) = 0; stable for a small
 * gain alone up to k T g = 1, where they turn by 60 degrees. */
START_TEST(late_integrator)
{
    static const double T = 0.05, K = 3;
    const struct dw_sampled plant = { .states = 2, .sample_time = T, .a = { 1, K * T, 0, 0 }, .b = { 0, 1 }, .c = { 1, 0 } };
    struct dw_error error = { .status = DW_OK };
    double gain, period;
    succeeds(dw_sampled_ultimate(&plant, &gain, &period, &error), error);
    near(gain, 1 / (K * T), 1e-12);
    near(period, 6 * T, 1e-12);
    const struct dw_law law = law_of(0.3 / (K * T), 1.1, 0, 0, T);
    const struct dw_margins m = margins_of(&plant, &law);
    struct dw_poles poles;
    succeeds(dw_loop_poles(&plant, &law, 1, &poles, &error), error);
    ck_assert_uint_eq(poles.count, 3);
    for (size_t i = 0; i < poles.count; i++) {
        const double complex z = poles.real[i] + poles.imaginary[i] * I;
        const double complex left = z * (z - 1) * (z - 1) + K * T * (law.plan.gain * (z - 1) + law.integrates * z);
        within_scale(cabs(left), 0, 1e-13, 1);
    }
    ck_assert(m.stable && m.gain_low == 0 && m.gain_high > 2 && m.gain_high < 1 / 0.3);
}
END_TEST

/* ---- against the recurrence ---- */

/* The loop itself, sample by sample, from a start: how much larger it is at the end of each of two stretches. */
static double growth(const struct dw_sampled *plant, struct dw_law law, double factor, int samples)
{
    struct dw_law_state state;
    double x[DW_SAMPLED_STATES] = { 1e-9 }, next[DW_SAMPLED_STATES], size[2] = { 0, 0 };
    const size_t n = plant->states;
    law.plan.gain *= factor;
    law.integrates *= factor;
    law.differentiates *= factor;
    dw_law_begin(&law, &state);
    for (int k = 0; k < 2 * samples; k++) {
        double y = 0;
        for (size_t i = 0; i < n; i++)
            y += plant->c[i] * x[i];
        const double u = dw_law_step(&law, &state, 0, y);
        for (size_t i = 0; i < n; i++) {
            next[i] = plant->b[i] * u;
            for (size_t j = 0; j < n; j++)
                next[i] += plant->a[i * n + j] * x[j];
        }
        memcpy(x, next, sizeof x);
        if (k % samples > samples / 2)
            size[k / samples] = fmax(size[k / samples], fabs(y));
    }
    return size[1] / size[0];
}

/* Three lags, a delay and all of pid: the gain raised until the recurrence of dw_law_step grows, to one in a thousand. 4000 samples of a
 * pole 1e-5 or more beyond the circle: it grows by a twentieth of that much, 1e-3, against rounding. */
START_TEST(gain_raised_until_it_oscillates)
{
    static const double TAU[] = { 0.31, 0.12, 0.045 };
    for (int n = 0; n < 8; n++) {
        const double t = n & 1 ? 0.01 : 0.04, delay = n & 2 ? 0.027 : 0;
        const struct dw_sampled plant = lags(TAU, 3, 1.9, t, delay);
        const struct dw_law law = law_of(0.8, 0.4, n & 4 ? 0.05 : 0, n & 4 ? 0.02 : 0, t);
        const struct dw_margins m = margins_of(&plant, &law);
        ck_assert(m.stable && m.gain_low == 0 && isfinite(m.gain_high));
        ck_assert(growth(&plant, law, m.gain_high * 0.999, 4000) < 1);
        ck_assert(growth(&plant, law, m.gain_high * 1.001, 4000) > 1);
    }
}
END_TEST

/* A plant that runs away without a loop: there is a least gain, too; and a gain of the wrong sign, which none mends. */
START_TEST(unstable_plants)
{
    /* x after = 1.2 x + u: the pole 1.2 - g is within the circle for g from 0.2 to 2.2 */
    const struct dw_sampled runs_away = { .states = 1, .sample_time = 1, .a = { 1.2 }, .b = { 1 }, .c = { 1 } };
    struct dw_law law = law_of(0.5, INFINITY, 0, 0, 1);
    struct dw_margins m = margins_of(&runs_away, &law);
    ck_assert(m.stable);
    near(m.gain_low, 0.4, 1e-12);
    near(m.gain_high, 4.4, 1e-12);
    law = law_of(5, INFINITY, 0, 0, 1);
    m = margins_of(&runs_away, &law);
    ck_assert(!m.stable);
    near(m.gain_high, 2.2 / 5, 1e-12);
    near(m.pole_highest, 3.8, 1e-14);
    law = law_of(-1, INFINITY, 0, 0, 1);
    m = margins_of(&runs_away, &law);
    ck_assert(!m.stable && isnan(m.gain_low) && isnan(m.gain_high));
    const struct dw_sampled adds_up = { .states = 1, .sample_time = 1, .a = { 1 }, .b = { 1 }, .c = { 1 } };
    m = margins_of(&adds_up, &law);  /* a pole at 1 + factor */
    ck_assert(!m.stable && isnan(m.gain_low) && isnan(m.gain_high));
    double gain, period;
    struct dw_error error = { .status = DW_OK };
    succeeds(dw_sampled_ultimate(&runs_away, &gain, &period, &error), error);
    near(gain, 2.2, 1e-12);
    near(period, 2, 1e-12);
    /* the pole -1.2 - g is within the circle for g from -2.2, where it is 1, to -0.2; two such poles in a row are never both */
    const struct dw_sampled alternates = { .states = 1, .sample_time = 1, .a = { -1.2 }, .b = { 1 }, .c = { 1 } },
                            twice = { .states = 2, .sample_time = 1, .a = { 1.2, 0, 1, 1.2 }, .b = { 1, 0 }, .c = { 0, 1 } };
    succeeds(dw_sampled_ultimate(&alternates, &gain, &period, &error), error);
    near(gain, -2.2, 1e-12);
    ck_assert(isinf(period));
    refuses(dw_sampled_ultimate(&twice, &gain, &period, &error), DW_NO, error, "no gain alone makes the loop stable");
}
END_TEST

/* Of z^4 + 2.178 z^3 + 2.046 z^2 + 1.034 z + 0.354 + g (z^2 + z + 0.47) all zeros lie within the circle for g from 0 to some 0.2, and again from
 * some 0.5 to some 0.9; their moduli on either side of each end are the proof. */
START_TEST(of_two_stretches_of_gain_the_nearer_one_counts)
{
    const struct dw_sampled plant = { .states = 4, .sample_time = 1, .b = { 1 }, .c = { 0, 1, 1, 0.47 },
        .a = { -2.178, -2.046, -1.034, -0.354, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0 } };
    static const double gains[] = { 0.1, 0.7 };
    for (int i = 0; i < 2; i++) {
        const struct dw_law law = law_of(gains[i], INFINITY, 0, 0, 1);
        const struct dw_margins m = margins_of(&plant, &law);
        ck_assert(m.stable && (i ? m.gain_low * gains[1] > 0.4 : m.gain_low == 0));
        for (int end = i ? 0 : 1; end < 2; end++)
            for (int side = -1; side <= 1; side += 2) {
                struct dw_error error = { .status = DW_OK };
                struct dw_poles poles;
                double largest = 0;
                succeeds(dw_loop_poles(&plant, &law, (end ? m.gain_high : m.gain_low) * (1 + side * 1e-6), &poles, &error), error);
                for (size_t k = 0; k < poles.count; k++)
                    largest = fmax(largest, hypot(poles.real[k], poles.imaginary[k]));
                ck_assert((largest < 1) == (side == (end ? -1 : 1)));
            }
    }
}
END_TEST

/* Two plants beside each other, each with half the gain, are one; their poles are alike to the bit, and near -1. */
START_TEST(two_equal_halves_are_the_whole)
{
    const struct dw_sampled whole = { .states = 2, .sample_time = 1, .a = { -0.9, 0.1, -0.1, -0.9 }, .b = { 1, 0 }, .c = { 1, 0 } },
                            halves = { .states = 4, .sample_time = 1, .b = { 1, 0, 1, 0 }, .c = { 0.5, 0, 0.5, 0 },
                                       .a = { -0.9, 0.1, 0, 0, -0.1, -0.9, 0, 0, 0, 0, -0.9, 0.1, 0, 0, -0.1, -0.9 } };
    const struct dw_law law = law_of(0.02, INFINITY, 0, 0, 1);
    const struct dw_margins one = margins_of(&whole, &law), two = margins_of(&halves, &law);
    ck_assert(one.stable && two.stable);
    near(two.gain_high, one.gain_high, 1e-9);
    near(two.pole_highest, one.pole_highest, 1e-9);
}
END_TEST

/* A resonance so sharp that an even sweep would step over it: x'' + 2 d w x' + w^2 x = w^2 u, with a gain alone; the continuous loop is
 * stable for any gain, a delay of one sample ends that. The recurrence judges. */
START_TEST(sharp_resonance)
{
    static const double W = 40, D = 1e-5, T = 0.01;
    const double a[] = { 0, 1, -W * W, -2 * D * W }, b[] = { 0, W * W }, c[] = { 1, 0 };
    const struct dw_sampled plant = of_system(&(struct dw_matrices){ .states = 2, .inputs = 1, .outputs = 1, .a = a, .b = b, .c = c }, T, T);
    const struct dw_law law = law_of(1, INFINITY, 0, 0, T);
    const struct dw_margins m = margins_of(&plant, &law);
    ck_assert(!m.stable && m.gain_high < 1e-3 && m.gain_low == 0);
    ck_assert(growth(&plant, law, m.gain_high * 0.9, 200000) < 1);
    ck_assert(growth(&plant, law, m.gain_high * 1.1, 200000) > 1);
}
END_TEST

/* The same, late by half a turn of its ringing: its gain is 1 on both sides of the resonance, and nearest to -1 on the first. */
START_TEST(the_nearest_of_two_places_of_gain_1_has_the_phase)
{
    static const double W = 40, D = 1e-2, T = 0.01;
    const double a[] = { 0, 1, -W * W, -2 * D * W }, b[] = { 0, W * W }, c[] = { 1, 0 };
    const struct dw_sampled plant = of_system(&(struct dw_matrices){ .states = 2, .inputs = 1, .outputs = 1, .a = a, .b = b, .c = c }, T, M_PI / W);
    const struct dw_law law = law_of(0.5, INFINITY, 0, 0, T);
    const struct dw_margins m = margins_of(&plant, &law);
    ck_assert(m.phase_frequency < W / (2 * M_PI));
    near(m.phase_frequency, sqrt(0.5) * W / (2 * M_PI), 0.02);  /* 1 - (f/f0)^2 = 1/2; the hold takes a little */
}
END_TEST

/* What is not measured, or not driven, does not count: an angle that only adds up beside a speed, and what decays by itself. */
START_TEST(what_does_not_count)
{
    const struct dw_sampled plant = { .states = 3, .sample_time = 1, .a = { 0.5, 0, 0, 1, 1, 0, 0, 0, 0.99 }, .b = { 0.5, 0, 0 }, .c = { 1, 0, 1 } };
    const struct dw_law law = law_of(1, INFINITY, 0, 0, 1);
    const struct dw_margins m = margins_of(&plant, &law);
    ck_assert(m.stable);
    within_scale(m.pole_highest, 0, 1e-15, 1);
    near(m.gain_high, 3, 1e-12);
}
END_TEST

/* ---- delay ---- */

static const double late_tau = 0.13;
static int calls_left = 100;

static enum dw_status later(void *context, double delay, struct dw_sampled *sampled, struct dw_error *error)
{
    int *calls = context;
    if (++*calls > calls_left)
        return dw_error_set(error, DW_NO, 0, "enough");
    *sampled = lags(&late_tau, 1, 1, 0.005, delay);
    return DW_OK;
}

/* It is never late. */
static enum dw_status never(void *context, double delay, struct dw_sampled *sampled, struct dw_error *error)
{
    (void)context, (void)delay, (void)error;
    *sampled = lags(&late_tau, 1, 1, 0.005, 0);
    return DW_OK;
}

/* Stable with it and unstable with 2e-4 more; near what phase and frequency say, since a late duty is late for all frequencies alike:
 * the hold's change within a sample is second order in angle, 0.1 here. */
START_TEST(delay_margin)
{
    const struct dw_sampled plant = lags(&late_tau, 1, 1, 0.005, 0);
    const struct dw_law law = law_of(2.1, 0.2, 0, 0, 0.005);
    const struct dw_margins m = margins_of(&plant, &law);
    struct dw_error error = { .status = DW_OK };
    double delay;
    int calls = 0;
    succeeds(dw_delay_margin(later, &calls, &law, &m, &delay, &error), error);
    near(delay, m.delay, 0.01);
    ck_assert_int_lt(calls, 25);
    for (int side = 0; side < 2; side++) {
        const struct dw_sampled at = lags(&late_tau, 1, 1, 0.005, delay * (side ? 1.0002 : 1));
        ck_assert(margins_of(&at, &law).stable == !side);
    }
    struct dw_margins unstable = m;
    unstable.stable = false;
    succeeds(dw_delay_margin(later, &calls, &law, &unstable, &delay, &error), error);
    near(delay, 0, 0);
    succeeds(dw_delay_margin(never, NULL, &law, &m, &delay, &error), error);
    ck_assert(isinf(delay));
    unstable = m;
    unstable.delay = INFINITY;
    succeeds(dw_delay_margin(later, &calls, &law, &unstable, &delay, &error), error);
    ck_assert(isinf(delay));
    for (calls_left = 0; calls_left < 10; calls_left += 3) {  /* while it is looked for upwards, and by halving */
        calls = 0;
        refuses(dw_delay_margin(later, &calls, &law, &m, &delay, &error), DW_NO, error, "enough");
    }
}
END_TEST

START_TEST(refusals)
{
    const struct dw_sampled good = { .states = 1, .sample_time = 1, .a = { 0.5 }, .b = { 1 }, .c = { 1 } };
    struct dw_sampled bad = good;
    struct dw_law law = law_of(1, INFINITY, 0, 0, 1);
    struct dw_error error = { .status = DW_OK };
    struct dw_margins m;
    double gain, period;
    bad.states = 29;
    refuses(dw_loop_margins(&bad, &law, &m, &error), DW_BAD_USE, error, "29 states of a sampled plant: it has from 1 to 28");
    bad.states = 0;
    refuses(dw_loop_margins(&bad, &law, &m, &error), DW_BAD_USE, error, "0 states of a sampled plant: it has from 1 to 28");
    refuses(dw_sampled_poles(&bad, &gain, &period, &error), DW_BAD_USE, error, "0 states of a sampled plant: it has from 1 to 28");
    refuses(dw_loop_poles(&bad, &law, 1, &(struct dw_poles){ 0 }, &error), DW_BAD_USE, error, "0 states of a sampled plant: it has from 1 to 28");
    bad = good;
    bad.sample_time = INFINITY;
    refuses(dw_sampled_ultimate(&bad, &gain, &period, &error), DW_BAD_USE, error, "sample time inf s: must be above zero");
    bad.sample_time = 0;
    refuses(dw_sampled_ultimate(&bad, &gain, &period, &error), DW_BAD_USE, error, "sample time 0 s: must be above zero");
    bad = good;
    bad.a[0] = NAN;
    refuses(dw_loop_margins(&bad, &law, &m, &error), DW_BAD_USE, error, "a sampled plant with a number that is not finite");
    law.plan.kind = DW_LAW_ON_OFF;
    refuses(dw_loop_margins(&good, &law, &m, &error), DW_BAD_USE, error, "an on-off law has no margins: it never comes to rest");
    bad = (struct dw_sampled){ .states = 1, .sample_time = 1, .a = { 0.5 }, .b = { 1 } };
    refuses(dw_sampled_ultimate(&bad, &gain, &period, &error), DW_NO, error, "what is measured does not follow the duty");

    const double a = -1, one = 1;
    struct dw_system *system = dw_system_new(&(struct dw_matrices){ .states = 1, .inputs = 1, .outputs = 1, .a = &a, .b = &one, .c = &one, .d = &one },
                                             &error);
    refuses(dw_sampled_hold(system, &(struct dw_hold){ 0, 0, 1, 0 }, &bad, &error), DW_BAD_USE, error,
            "output 1 follows input 1 at once: what is measured must follow it later");
    refuses(dw_sampled_hold(system, &(struct dw_hold){ 0, 1, 1, 0 }, &bad, &error), DW_BAD_USE, error, "input 1 of 1, output 2 of 1");
    refuses(dw_sampled_hold(system, &(struct dw_hold){ 1, 0, 1, 0 }, &bad, &error), DW_BAD_USE, error, "input 2 of 1, output 1 of 1");
    refuses(dw_sampled_hold(system, &(struct dw_hold){ 0, 0, 0, 1 }, &bad, &error), DW_BAD_USE, error,
            "sample time 0 s, delay 1 s: must be above zero, and not below zero");
    refuses(dw_sampled_hold(system, &(struct dw_hold){ 0, 0, INFINITY, 1 }, &bad, &error), DW_BAD_USE, error,
            "sample time inf s, delay 1 s: must be above zero, and not below zero");
    refuses(dw_sampled_hold(system, &(struct dw_hold){ 0, 0, 1, INFINITY }, &bad, &error), DW_BAD_USE, error,
            "sample time 1 s, delay inf s: must be above zero, and not below zero");
    refuses(dw_sampled_hold(system, &(struct dw_hold){ 0, 0, 1, 30 }, &bad, &error), DW_BAD_USE, error,
            "1 states, and 30 of duties that wait for 30 s: there is room for 28");
    refuses(dw_sampled_hold(system, &(struct dw_hold){ 0, 0, 1, -1 }, &bad, &error), DW_BAD_USE, error,
            "sample time 1 s, delay -1 s: must be above zero, and not below zero");
    dw_system_free(system);
}
END_TEST

SUITE("linear: margins", first_order, held_and_late, late_integrator, gain_raised_until_it_oscillates, unstable_plants,
      of_two_stretches_of_gain_the_nearer_one_counts, two_equal_halves_are_the_whole, sharp_resonance,
      the_nearest_of_two_places_of_gain_1_has_the_phase, what_does_not_count, delay_margin, refusals)
