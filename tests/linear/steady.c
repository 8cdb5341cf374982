/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Periodic states of linear systems and of switching ones, and what has none. */
#include "suite.h"
#include <complex.h>
#include <dutywright/modes.h>
#include <float.h>
#include <string.h>

static struct dw_system *new_system(size_t n, const double *a, const double *b, const double *weight)
{
    struct dw_error error = { DW_OK };
    struct dw_system *system =
        dw_system_new(&(struct dw_matrices){ .states = n, .inputs = 1, .a = a, .b = b, .weight = weight }, &error);
    ck_assert_msg(system != NULL, "%s", error.text);
    return system;
}

/* A pulse of u from 0 to duty T, then 0. */
struct pulse {
    double time[4], input[4];
};

static struct pulse pulse(double period, double duty, double u)
{
    return (struct pulse){ { 0, duty * period, duty * period, period }, { u, u, 0, 0 } };
}

START_TEST(one_pole_starts_its_period_at_the_closed_form_from_1e_minus_12_to_1e12_periods)
{
    const double period = 2.03e-3, duty = 0.37, u = 5;
    const struct pulse p = pulse(period, duty, u);
    for (int i = 0; i <= 72; i++) {
        const double tau = period * pow(10, -12 + i / 3.0), a = -1 / tau, b = 1 / tau;
        struct dw_system *system = new_system(1, &a, &b, NULL);
        struct dw_error error;
        struct dw_steady steady;
        double x = 0;
        succeeds(dw_system_steady(system, &(struct dw_period){ p.time, p.input, 4, NULL }, &x, &steady, &error), error);
        /* x = u (1 - e^(-DT/tau)) e^(-(1-D)T/tau) / (1 - e^(-T/tau)), with the widths as the rows have them */
        const long double on = (long double)p.time[1] * -a, off = ((long double)period - p.time[1]) * -a;
        const long double want = u * expm1l(-on) * expl(-off) / expm1l(-on - off);
        within_scale(x, (double)want, 4 * DBL_EPSILON, fmax(u * duty, (double)want));
        within_scale(steady.radius, exp(-period / tau), 4 * DBL_EPSILON, 1);
        ck_assert(!steady.lasting || tau > 1e12 * period);
        dw_system_free(system);
    }
}
END_TEST

START_TEST(the_state_found_comes_back_after_its_period)
{
    /* two coupled poles twelve decades apart, and a resonance of quality 1e4 */
    const double systems[][4] = { { -1e9, 1e2, 1e2, -1e-3 }, { -0.1, 2000, -2000, -0.1 }, { -300, 100, 100, -5 } };
    const double weight[] = { 1, 1 }, b[] = { 31, 0 };
    const struct pulse p = pulse(3.14e-3, 0.29, 4.87);
    for (size_t i = 0; i < 3; i++) {
        struct dw_system *system = new_system(2, systems[i], b, weight);
        struct dw_error error;
        double x[2], after[2];
        succeeds(dw_system_steady(system, &(struct dw_period){ p.time, p.input, 4, NULL }, x, NULL, &error), error);
        memcpy(after, x, sizeof x);
        succeeds(dw_system_advance(system, &(struct dw_interval){ after, p.input, p.input + 1, p.time[1], NULL }, 0, after, &error), error);
        succeeds(dw_system_advance(system, &(struct dw_interval){ after, p.input + 2, p.input + 3, p.time[3] - p.time[2], NULL }, 0, after, &error), error);
        const double scale = fmax(fabs(x[0]), fabs(x[1]));
        for (size_t j = 0; j < 2; j++)
            within_scale(after[j], x[j], 16 * DBL_EPSILON, scale);
        dw_system_free(system);
    }
}
END_TEST

START_TEST(undamped_resonance_has_no_steady_state)
{
    const double w = 2 * M_PI * 1234.5, a[] = { 0, w, -w, 0 }, b[] = { w, 0 }, weight[] = { 1, 1 };
    struct dw_system *system = new_system(2, a, b, weight);
    struct dw_error error;
    double x[2];
    struct pulse p = pulse(1 / 1234.5, 0.3, 5);
    refuses(dw_system_steady(system, &(struct dw_period){ p.time, p.input, 4, NULL }, x, NULL, &error), DW_NO, error,
            "no steady state: nothing damps the oscillation at 1234.5 Hz, which stands on harmonic 1 of the period of "
            "0.000810045 s, so it grows without end");
    p = pulse(7 / 1234.5, 0.3, 5);
    refuses(dw_system_steady(system, &(struct dw_period){ p.time, p.input, 4, NULL }, x, NULL, &error), DW_NO, error,
            "no steady state: nothing damps the oscillation at 1234.5 Hz, which stands on harmonic 7 of the period of "
            "0.00567031 s, so it grows without end");
    /* off the harmonics there is an orbit, which nothing leads to: x of the undamped response to a pulse */
    struct dw_steady steady;
    p = pulse(0.61 / 1234.5, 0.3, 5);
    succeeds(dw_system_steady(system, &(struct dw_period){ p.time, p.input, 4, NULL }, x, &steady, &error), error);
    ck_assert(steady.lasting);
    /* z = x + j y turns as z' = -j w z + w u, so z0 (1 - e^(-j w T)) = j u (e^(-j w T) - e^(-j w (T - tp))) */
    const double turn = 2 * M_PI * 0.61, rest = turn * 0.7;
    const double complex z = 5 * I * (cexp(-I * turn) - cexp(-I * rest)) / (1 - cexp(-I * turn));
    /* angles of some 4 rad rounded, over |1 - e^(-j w T)| = 1.9 */
    within_scale(x[0], creal(z), 16 * DBL_EPSILON, 5);
    within_scale(x[1], cimag(z), 16 * DBL_EPSILON, 5);
    dw_system_free(system);
}
END_TEST

START_TEST(what_nothing_drains_has_no_steady_state)
{
    const double a = 0, b = 3;
    struct dw_system *system = new_system(1, &a, &b, NULL);
    struct dw_error error;
    double x;
    const struct pulse p = pulse(1, 0.25, 2);
    refuses(dw_system_steady(system, &(struct dw_period){ p.time, p.input, 4, NULL }, &x, NULL, &error), DW_NO, error,
            "no steady state: a rate of the system is zero, so a charge or current that nothing drains stays as it began, or "
            "grows without end");
    refuses(dw_system_steady(system, &(struct dw_period){ p.time, p.input, 1, NULL }, &x, NULL, &error), DW_BAD_USE, error,
            "a period needs two rows at least, and time must pass");
    const double back[] = { 0, 1, 0.5, 2 }, bad[] = { 0, NAN, 0, 0 };
    refuses(dw_system_steady(system, &(struct dw_period){ back, p.input, 4, NULL }, &x, NULL, &error), DW_BAD_USE, error,
            "time goes back or is not finite at row 3 of the period");
    refuses(dw_system_steady(system, &(struct dw_period){ p.time, bad, 4, NULL }, &x, NULL, &error), DW_BAD_USE, error,
            "input 1 is not finite at row 2 of the period");
    dw_system_free(system);
}
END_TEST

/* Switch, diode, coil and a stiff output voltage: a buck converter whose load is a voltage. State: the current. */
struct chopper {
    double a, on, diode, zero, reset;
    struct dw_guard guards[4];
    struct dw_mode modes[3];
};

static const double one = 1, minus = -1, scale[] = { 1 };

static struct dw_modes *chopper(struct chopper *c, double supply, double output, double l, double r)
{
    *c = (struct chopper){ .a = -r / l, .on = (supply - output) / l, .diode = -output / l };
    c->guards[0] = (struct dw_guard){ .input = &one, .offset = -0.5, .scale = 1, .next = 1 };
    c->guards[1] = (struct dw_guard){ .input = &minus, .offset = 0.5, .scale = 1, .next = 0 };
    c->guards[2] = (struct dw_guard){ .state = &one, .scale = 1, .next = 2, .reset = &c->reset };
    c->guards[3] = c->guards[1];
    c->modes[0] = (struct dw_mode){ .name = "on", .a = &c->a, .e = &c->on, .guards = c->guards, .guard_count = 1 };
    c->modes[1] = (struct dw_mode){ .name = "diode", .a = &c->a, .e = &c->diode, .guards = c->guards + 1, .guard_count = 2 };
    c->modes[2] = (struct dw_mode){ .name = "off", .a = &c->zero, .guards = c->guards + 3, .guard_count = 1 };
    struct dw_error error;
    struct dw_modes *modes = dw_modes_new(
        &(struct dw_modes_plan){ .states = 1, .inputs = 1, .modes = c->modes, .mode_count = 3, .scale = scale }, &error);
    ck_assert_msg(modes != NULL, "%s", error.text);
    return modes;
}

START_TEST(continuous_and_discontinuous_currents_start_their_period_at_the_closed_form)
{
    const double supply = 12, l = 1.3e-3, r = 0.9, period = 1 / 4321.0;
    for (int i = 1; i < 20; i++)
        for (int k = 0; k < 12; k++) {
            const double duty = i / 20.0, output = supply * (0.04 + 0.08 * k), tau = l / r;
            struct chopper c;
            struct dw_modes *modes = chopper(&c, supply, output, l, r);
            struct pulse p = pulse(period, duty, 1);
            struct dw_error error;
            struct dw_steady steady;
            size_t mode = 2;
            double x = 0;
            succeeds(dw_modes_steady(modes, &(struct dw_period){ p.time, p.input, 4, NULL }, &mode, &x, &steady, &error), error);
            /* as if the current always flowed: i0 = (U g - output)/r with g the share of one pole's steady start */
            const double g = expm1(-p.time[1] / tau) * exp(-(period - p.time[1]) / tau) / expm1(-period / tau);
            const double wanted = fmax((supply * g - output) / r, 0);
            within_scale(x, wanted, 1e-11, supply / r);
            ck_assert_uint_eq(mode, 0);
            if (wanted == 0)
                within_scale(steady.radius, 0, 0, 1);  /* what was before the gap is forgotten */
            dw_modes_free(modes);
        }
}
END_TEST

START_TEST(a_state_that_drifts_is_left_out)
{
    /* speed' = (u - speed) / tau, angle' = speed */
    const double tau = 0.8, a[] = { -1 / tau, 0, 1, 0 }, b[] = { 1 / tau, 0 };
    const bool drifts[] = { false, true };
    const struct dw_mode mode = { .name = "turns", .a = a, .b = b };
    struct dw_error error;
    struct dw_modes *modes = dw_modes_new(
        &(struct dw_modes_plan){ .states = 2, .inputs = 1, .modes = &mode, .mode_count = 1, .drifts = drifts }, &error);
    const struct pulse p = pulse(0.1, 0.37, 5);
    size_t at = 0;
    double x[] = { 0, 0 };
    succeeds(dw_modes_steady(modes, &(struct dw_period){ p.time, p.input, 4, NULL }, &at, x, NULL, &error), error);
    near(x[0], 5 * expm1(-p.time[1] / tau) * exp(-(0.1 - p.time[1]) / tau) / expm1(-0.1 / tau), 4e-12);
    dw_modes_free(modes);
}
END_TEST

SUITE("linear: steady states", one_pole_starts_its_period_at_the_closed_form_from_1e_minus_12_to_1e12_periods,
      the_state_found_comes_back_after_its_period, undamped_resonance_has_no_steady_state,
      what_nothing_drains_has_no_steady_state,
      continuous_and_discontinuous_currents_start_their_period_at_the_closed_form, a_state_that_drifts_is_left_out)
