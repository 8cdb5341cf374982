/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Runs of smooth equations along cubics of the input. */
#include "linear/cubics.h"

static const double minus_one = -1;

static void above_level(const void *of, size_t mode, double time, const double *x, const double *u, double *guard)
{
    (void)of, (void)time;
    guard[0] = mode == 0 ? 0.6 - x[0] : 1 + u[0];
}

static size_t other(const void *of, size_t mode, size_t guard, double time, double *x, const double *u)
{
    (void)of, (void)guard, (void)time, (void)x, (void)u;
    return !mode;
}

START_TEST(equations_along_cubics_agree_with_modes_in_events_states_and_slopes)
{
    static const struct dw_equations_mode sides[] = { { "below", 1 }, { "above", 1 } };
    struct dw_equations guarded = halving;
    guarded.modes = sides;
    guarded.mode_count = 2;
    guarded.guards = above_level;
    guarded.leave = other;
    struct dw_modes *equations = make(&guarded);
    const double rate = 0.5, a = -rate, double_y[] = { 1 };
    const struct dw_guard guard = { .state = &minus_one, .offset = 0.6, .scale = 1, .next = 1 };
    const struct dw_mode of[] = { { .a = &a, .b = &one, .c = double_y, .guards = &guard, .guard_count = 1 }, { .a = &a, .b = &one, .c = double_y } };
    struct dw_modes *modes = modes_of(&(struct dw_modes_plan){ .states = 1, .inputs = 1, .outputs = 1, .modes = of, .mode_count = 2,
                                                               .scale = units });
    double crossed[2], state[2], y, slope[2];
    for (int k = 0; k < 2; k++) {
        const double begin = 2.5, end = -3, to = 0.1;
        struct dw_run *run = start_keeping(k ? equations : modes, 1e-6, 0, nothing, nothing);
        feed_curve(run, 2, &to, &begin, &end);
        crossed[k] = time_of(DW_ROW_BEFORE, 0);
        state[k] = dw_run_state(run)[0];
        dw_run_output(run, &y, slope + k);
        ck_assert_uint_eq(dw_run_events(run), 1);
        dw_run_free(run);
    }
    /* steps of 1e-12 each, some dozens of them; slopes by differences as dw_run_output says */
    within_scale(crossed[1], crossed[0], 1e-10, 1);
    within_scale(state[1], state[0], 1e-10, 1);
    within_scale(slope[1], slope[0], 1e-9, 1);
    dw_modes_free(equations);
    dw_modes_free(modes);
}
END_TEST

/* A pendulum that a torque drives: no linear mode has it. */
static void swing(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time;
    rate[0] = x[1];
    rate[1] = u[0] - sin(x[0]) - 0.05 * x[1];
}

static void angle_and_torque(const void *of, size_t mode, double time, const double *x, const double *u, double *y)
{
    (void)of, (void)mode, (void)time;
    y[0] = x[0];
    y[1] = u[0] * u[0] + x[1];
}

START_TEST(curves_of_a_pendulum_along_cubics_are_within_the_tolerance)
{
    static const double lengths[] = { 0.1, 1.3 };
    struct dw_equations pendulum = halving;
    pendulum.states = pendulum.outputs = 2;
    pendulum.rate = swing;
    pendulum.output = angle_and_torque;
    for (int k = 0; k < 2; k++) {
        const struct drive drive = random_drive(12, lengths[k]);
        /* CLOSEST, and steps of two runs that differ by some tolerances of 1e-12 */
        const struct asked asked = { .modes = make(&pendulum), .outputs = 2, .state = nothing, .accuracy = 1e-6, .swing = 5e-5,
                                     .floor = 0x1p-37 + 1e-10 };
        struct drawn d = drawn_of(&asked, &drive);
        ck_assert_double_le(worst_of(&asked, &drive, &d), 1);
        forget_drawn(&d);
        dw_modes_free(asked.modes);
    }
}
END_TEST

START_TEST(an_orbit_of_equations_along_cubics_is_that_of_modes)
{
    struct dw_error error = { .status = DW_OK };
    const struct dw_period period = { lap_time, lap_input, LAP, lap_slope };
    const double a = -0.5;
    const struct dw_mode mode = { .a = &a, .b = &one, .c = &one };
    struct dw_modes *modes = modes_of(&(struct dw_modes_plan){ .states = 1, .inputs = 1, .outputs = 1, .modes = &mode, .mode_count = 1,
                                                               .scale = units });
    struct dw_modes *equations = make(&halving);
    double x[2] = { 0 };
    size_t at = 0;
    succeeds(dw_modes_steady(modes, &period, &at, x, NULL, &error), error);
    succeeds(dw_modes_steady(equations, &period, &at, x + 1, NULL, &error), error);
    within_scale(x[1], x[0], 1e-10, 1);
    dw_modes_free(modes);
    dw_modes_free(equations);
}
END_TEST

SUITE("linear: equations along cubics", equations_along_cubics_agree_with_modes_in_events_states_and_slopes,
      curves_of_a_pendulum_along_cubics_are_within_the_tolerance, an_orbit_of_equations_along_cubics_is_that_of_modes)
