/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Periodic orbits of smooth equations, and what is refused. */
#include "linear/smooth.h"
#include <stdlib.h>
#include <string.h>

/* A hardening spring, damped and driven. */
#define DAMPING 0.12

static void duffing(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time;
    rate[0] = x[1];
    rate[1] = u[0] - DAMPING * x[1] - x[0] - 0.9 * x[0] * x[0] * x[0];
}

static const struct dw_equations spring = { .states = 2, .inputs = 1, .modes = plain, .mode_count = 1, .state_scale = units,
    .rate = duffing };

/* Follows so many periods of a drive. */
static void follow(struct dw_modes *modes, const double *time, const double *drive, size_t rows, int periods, double *state)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_run *run = start_quietly(modes, 0, state, drive);
    for (int k = 0; k < periods; k++) {
        succeeds(dw_run_start(run, time[0], 0, state, drive, &error), error);
        for (size_t i = 1; i < rows; i++)
            feed(run, time[i], drive + i);
        memcpy(state, dw_run_state(run), 2 * sizeof *state);
    }
    dw_run_free(run);
}

START_TEST(the_orbit_of_a_driven_hardening_spring_is_the_one_that_its_start_leads_to)
{
    const double period = 2 * M_PI / 1.45, time[] = { 0, 0.31 * period, 0.31 * period, period }, drive[] = { 0.3, 0.3, -0.2, -0.2 };
    struct dw_modes *modes = make(&spring);
    struct dw_error error = { .status = DW_OK };
    int small = 0, large = 0;
    for (int i = 0; i < 12; i++) {
        struct dw_steady steady;
        const double start[] = { -1.2 + 0.5 * (i % 4), -1 + 0.9 * (i / 4) };
        double orbit[] = { start[0], start[1] }, followed[] = { start[0], start[1] };
        size_t mode = 0;
        succeeds(dw_modes_steady(modes, &(struct dw_period){ time, drive, 4, NULL }, &mode, orbit, &steady, &error), error);
        /* Liouville: areas shrink by exp(-damping period); both eigenvalues have the root of it where they are complex, as here.
         * Differences of states 2^-12 apart, of a map known to 1e-10: 1e-6 */
        near(steady.radius, exp(-DAMPING * period / 2), 1e-6);
        ck_assert(!steady.lasting);
        /* what is left of a disturbance of 2 after 200 periods is 2 exp(-52); each period errs by 1e-8 at most */
        follow(modes, time, drive, 4, 200, followed);
        for (int k = 0; k < 2; k++)
            within_scale(orbit[k], followed[k], 1e-7, 1);
        *(fabs(orbit[0]) < 0.5 ? &small : &large) += 1;
    }
    ck_assert_msg(small > 0 && large > 0, "%d starts lead to the small orbit, %d to the large one", small, large);
    dw_modes_free(modes);
}
END_TEST

START_TEST(the_orbit_of_an_rc_as_equations_is_that_of_the_modes)
{
    const double time[] = { 0, 0.31e-3, 0.31e-3, 1e-3 }, drive[] = { 3.3, 3.3, 0, 0 };
    struct dw_modes *modes = rc_modes(), *equations = make(&rc);
    struct dw_error error = { .status = DW_OK };
    struct dw_steady exact, steady;
    size_t mode = 0;
    double wanted = 0, orbit = 0;
    succeeds(dw_modes_steady(modes, &(struct dw_period){ time, drive, 4, NULL }, &mode, &wanted, &exact, &error), error);
    succeeds(dw_modes_steady(equations, &(struct dw_period){ time, drive, 4, NULL }, &mode, &orbit, &steady, &error), error);
    /* 1e-10 a step, some hundred steps a period, over 1 - exp(-1 / 0.7) */
    within_scale(orbit, wanted, 2e-8, 3.3);
    near(steady.radius, exact.radius, 1e-6);
    near(steady.condition, exact.condition, 1e-6);
    dw_modes_free(equations);
    dw_modes_free(modes);
}
END_TEST

/* A rotor with a drive, air drag that grows with the square of the speed, and an angle that runs on. */
static void rotor(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time;
    rate[0] = x[1];
    rate[1] = u[0] - x[1] * fabs(x[1]);
}

START_TEST(an_angle_that_drifts_need_not_come_back)
{
    static const bool drifts[] = { true, false };
    const double time[] = { 0, 1 }, drive[] = { 0.49, 0.49 };
    struct dw_equations turning = spring;
    turning.rate = rotor;
    turning.drifts = drifts;
    struct dw_modes *modes = make(&turning);
    struct dw_error error = { .status = DW_OK };
    struct dw_steady steady;
    double x[] = { 0, 0.1 };
    size_t mode = 0;
    succeeds(dw_modes_steady(modes, &(struct dw_period){ time, drive, 2, NULL }, &mode, x, &steady, &error), error);
    near(x[1], 0.7, 1e-9);
    near(steady.radius, exp(-2 * 0.7), 1e-6);
    dw_modes_free(modes);
}
END_TEST

START_TEST(an_orbit_with_impacts_comes_back_and_the_modes_are_those_it_has)
{
    struct dw_modes *modes = make(&stopped);
    /* thrown up by a torque from rest on the stop, it falls back, bounces, and rests before the next */
    const double time[] = { 0, 0.5, 0.5, 40 }, drive[] = { 0.9, 0.9, 0, 0 };
    double x[] = { STOP, 0 };
    struct dw_steady steady;
    struct dw_error error = { .status = DW_OK };
    size_t mode = 1;
    succeeds(dw_modes_steady(modes, &(struct dw_period){ time, drive, 4, NULL }, &mode, x, &steady, &error), error);
    ck_assert_uint_eq(mode, 0);  /* lifted at once */
    within_scale(x[0], STOP, 0, 1);
    within_scale(x[1], 0, 0, 1);
    within_scale(steady.radius, 0, 1e-6, 1);
    dw_modes_free(modes);
}
END_TEST

/* A tank that is filled evenly and drained by Torricelli's law, which knows no level below zero. */
static void drain(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time;
    rate[0] = u[0] - sqrt(x[0]);
}

START_TEST(a_step_of_newtons_that_leaves_what_equations_know_is_no_answer)
{
    const double time[] = { 0, 0.01 }, drive[] = { 0.5, 0.5 };
    struct dw_modes *modes = make(&(struct dw_equations){ .states = 1, .inputs = 1, .modes = plain, .mode_count = 1,
        .state_scale = units, .rate = drain });
    struct dw_error error = { .status = DW_OK };
    struct dw_steady steady;
    double level = 4;  /* Newton's step from there: sqrt(4) - 4 = -2 */
    size_t mode = 0;
    succeeds(dw_modes_steady(modes, &(struct dw_period){ time, drive, 2, NULL }, &mode, &level, &steady, &error), error);
    /* 1e-10 a step and period, over 1 - exp(-0.01) */
    within_scale(level, 0.25, 1e-8, 1);
    near(steady.radius, exp(-0.01), 1e-6);
    dw_modes_free(modes);
}
END_TEST

/* ---- what is refused ---- */

static void grow(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time, (void)u;
    rate[0] = x[0];
}

static void run_on(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time, (void)x, (void)u;
    rate[0] = 1;
}

/* Ueda's spring without a linear part, in its chaos: 1979, J. Stat. Phys. 20:181. */
static void chaos(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)u;
    rate[0] = x[1];
    rate[1] = 7.5 * cos(time) - 0.05 * x[1] - x[0] * x[0] * x[0];
}

static enum dw_status steady_of(void (*rate)(const void *, size_t, double, const double *, const double *, double *), size_t states,
                                double period, double first, struct dw_error *error)
{
    const double time[] = { 0, period };
    double x[] = { first, 0 };
    struct dw_steady steady;
    size_t mode = 0;
    struct dw_modes *modes = make(&(struct dw_equations){ .states = states, .modes = plain, .mode_count = 1, .state_scale = units,
        .rate = rate });
    const enum dw_status status = dw_modes_steady(modes, &(struct dw_period){ time, NULL, 2, NULL }, &mode, x, &steady, error);
    dw_modes_free(modes);
    return status;
}

START_TEST(equations_without_a_steady_state_are_told_so)
{
    struct dw_error error = { .status = DW_OK };
    /* at rest where it is unstable; e times each period, by differences */
    refuses(steady_of(grow, 1, 1, 0, &error), DW_NO, error,
            "no steady state: the orbit is unstable, a disturbance grows 2.71828 times each period");
    refuses(steady_of(run_on, 1, 1, 0, &error), DW_NO, error,
            "no steady state: nothing damps a state of the system, and it does not come back after a period");
    ck_assert_int_eq(steady_of(chaos, 2, 2 * M_PI, 3, &error), DW_NO);
    ck_assert_ptr_nonnull(strstr(error.text, "no steady state"));
    refuses(steady_of(grow, 1, 0, 1, &error), DW_BAD_USE, error, "a period needs two rows at least, and time must pass");
}
END_TEST

START_TEST(plans_of_equations_are_refused_for_each_number_out_of_range_and_each_function_missing)
{
    static const struct dw_equations_mode guarded[] = { { NULL, 1 } }, many[] = { { "m", 17 } }, unnamed[] = { { NULL, 17 } };
    static const double none[] = { 0 };
#define ONE .states = 1, .modes = plain, .mode_count = 1, .state_scale = units, .rate = grow
#define GUARDED .states = 1, .modes = guarded, .mode_count = 1, .state_scale = units, .rate = grow
    static const struct {
        struct dw_equations plan;
        const char *member, *text;
    } cases[] = {
        { { .states = 1 }, "", "0 modes of 1 states, 0 inputs, 0 outputs: needs a mode, 1 to 32 states, up to 8 inputs, 64 outputs" },
        { { .states = 33, .modes = plain, .mode_count = 1 }, "",
          "1 modes of 33 states, 0 inputs, 0 outputs: needs a mode, 1 to 32 states, up to 8 inputs, 64 outputs" },
        { { .states = 1, .modes = plain, .mode_count = 1 }, "", "state 1: a natural scale of nan: expected from 1e-100 to 1e+100" },
        { { .states = 1, .modes = plain, .mode_count = 1, .state_scale = none }, "",
          "state 1: a natural scale of 0: expected from 1e-100 to 1e+100" },
        { { ONE, .outputs = 1 }, "", "output 1: a natural scale of nan: expected from 1e-100 to 1e+100" },
        { { .states = 1, .modes = many, .mode_count = 1, .state_scale = units }, "", "mode 'm' has 17 guards: up to 16" },
        { { .states = 1, .modes = unnamed, .mode_count = 1, .state_scale = units }, "", "mode 'unnamed' has 17 guards: up to 16" },
        { { .states = 1, .modes = plain, .mode_count = 1, .state_scale = units }, "rate", "equations without their function 'rate'" },
        { { ONE, .outputs = 1, .scale = units }, "output", "equations without their function 'output'" },
        { { GUARDED }, "guards", "equations without their function 'guards'" },
        { { GUARDED, .guards = stop_or_lift }, "leave", "equations without their function 'leave'" },
        { { ONE, .tolerance = 1e-14 }, "tolerance", "a tolerance of 1e-14 a step: expected from 1e-13 to 0.001" },
        { { ONE, .tolerance = 2e-3 }, "tolerance", "a tolerance of 0.002 a step: expected from 1e-13 to 0.001" },
        { { ONE, .tolerance = NAN }, "tolerance", "a tolerance of nan a step: expected from 1e-13 to 0.001" },
        { { ONE, .tolerance = -1e-9 }, "tolerance", "a tolerance of -1e-09 a step: expected from 1e-13 to 0.001" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_error error = { .status = DW_OK };
        ck_assert_ptr_null(dw_modes_new_smooth(&cases[i].plan, &error));
        ck_assert_int_eq(error.status, DW_BAD_USE);
        ck_assert_str_eq(error.text, cases[i].text);
        ck_assert_str_eq(error.member, cases[i].member);
        ck_assert_ptr_null(dw_modes_new_smooth(&cases[i].plan, NULL));
    }
}
END_TEST

static void explode(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time, (void)u;
    rate[0] = x[0] * x[0];
}

static void root(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)x, (void)u;
    rate[0] = sqrt(0.5 - time);
}

static void decay_fast(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time, (void)u;
    rate[0] = -1e9 * x[0];
}

START_TEST(a_run_that_cannot_go_on_says_when_and_why)
{
#define SHORTER " s in the mode 'moves': steps become ever shorter, since a rate, guard or output jumps, grows without bound or is " \
                "not finite"
    static const struct {
        void (*rate)(const void *, size_t, double, const double *, const double *, double *);
        enum dw_status status;
        const char *before;
        double when;
        const char *after;
    } cases[] = {
        { explode, DW_NO, "no way on at ", 1, SHORTER }, { root, DW_NO, "no way on at ", 0.5, SHORTER },
        { decay_fast, DW_NO, "at ", 2.16e-4, " s something changes so fast that the way to the next row of the input, 2 s, would take more than "
                                             "4.2e+06 steps" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_modes *modes = make(&(struct dw_equations){ .states = 1, .modes = plain, .mode_count = 1, .state_scale = units,
            .rate = cases[i].rate });
        struct dw_run *run = start_quietly(modes, 0, units, NULL);
        struct dw_error error = { .status = DW_OK };
        ck_assert_int_eq(dw_run_feed(run, 2, NULL, &error), cases[i].status);
        const size_t before = strlen(cases[i].before);
        char *rest;
        ck_assert_msg(!strncmp(error.text, cases[i].before, before), "%s", error.text);
        /* the last is where 65536 steps of 3.3 / 1e9 s come to, 3.3 being the reach of the method; others are nine digits */
        within_scale(strtod(error.text + before, &rest), cases[i].when, i == 2 ? 0.3 : 1e-8, cases[i].when);
        ck_assert_str_eq(rest, cases[i].after);
        dw_run_free(run);
        dw_modes_free(modes);
    }
}
END_TEST

static size_t nowhere(const void *of, size_t mode, size_t guard, double time, double *x, const double *u)
{
    (void)of, (void)mode, (void)guard, (void)time, (void)x, (void)u;
    return 6;
}

static size_t to_nothing(const void *of, size_t mode, size_t guard, double time, double *x, const double *u)
{
    (void)of, (void)mode, (void)guard, (void)time, (void)u;
    x[1] = NAN;
    return 0;
}

START_TEST(a_guard_that_leads_nowhere_is_named)
{
    struct dw_equations equations = stopped;
    const double x[] = { 1, 0 }, below[] = { -1, 0 }, none = 0;
    struct dw_error error = { .status = DW_OK };
    equations.leave = nowhere;
    struct dw_modes *modes = make(&equations);
    struct dw_run *run = start_quietly(modes, 0, x, &none);
    refuses(dw_run_feed(run, 9, &none, &error), DW_BAD_USE, error, "mode 'swings', guard 1: next mode 7 of 2");
    refuses(dw_run_start(run, 0, 0, below, &none, &error), DW_BAD_USE, error, "mode 'swings', guard 1: next mode 7 of 2");
    dw_run_free(run);
    dw_modes_free(modes);
    static const struct dw_equations_mode unnamed[] = { { NULL, 1 }, { NULL, 1 } };
    equations.leave = to_nothing;
    equations.modes = unnamed;
    modes = make(&equations);
    run = start_quietly(modes, 0, x, &none);
    refuses(dw_run_start(run, 2.5, 0, below, &none, &error), DW_BAD_USE, error,
            "mode 'unnamed', guard 1: leaves state 2 not finite at 2.5 s");
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

SUITE("linear: orbits of equations", the_orbit_of_a_driven_hardening_spring_is_the_one_that_its_start_leads_to,
      the_orbit_of_an_rc_as_equations_is_that_of_the_modes, an_angle_that_drifts_need_not_come_back,
      a_step_of_newtons_that_leaves_what_equations_know_is_no_answer,
      an_orbit_with_impacts_comes_back_and_the_modes_are_those_it_has, equations_without_a_steady_state_are_told_so,
      plans_of_equations_are_refused_for_each_number_out_of_range_and_each_function_missing,
      a_run_that_cannot_go_on_says_when_and_why, a_guard_that_leads_nowhere_is_named)
