/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows that cubics join, of smooth equations. */
#include "linear/curves.h"
#include "linear/smooth.h"

/* A pendulum that a torque drives; angle and speed, and its energy. */
static void swing(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time;
    rate[0] = x[1];
    rate[1] = u[0] - sin(x[0]) - 0.05 * x[1];
}

static void angle_and_energy(const void *of, size_t mode, double time, const double *x, const double *u, double *y)
{
    (void)of, (void)mode, (void)time, (void)u;
    y[0] = x[0];
    y[1] = x[1] * x[1] / 2 + 1 - cos(x[0]);
}

/* The oscillator of van der Pol, whose swings grow steep. */
static void relax(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time;
    rate[0] = x[1];
    rate[1] = 3 * (1 - x[0] * x[0]) * x[1] - x[0] + u[0];
}

static struct dw_equations pendulum = { .states = 2, .inputs = 1, .outputs = 2, .modes = plain, .mode_count = 1, .state_scale = units,
    .scale = units, .tolerance = 1e-12, .rate = swing, .output = angle_and_energy };
static struct dw_equations relaxing = { .states = 2, .inputs = 1, .outputs = 1, .modes = plain, .mode_count = 1, .state_scale = units,
    .scale = units, .tolerance = 1e-12, .rate = relax, .output = first_state };

/* Runs it with a pulsed input; the share of what is allowed that is used. */
static double share_of(const struct dw_equations *equations, const double *state, double accuracy, double period)
{
    struct asked asked = { .modes = make(equations), .outputs = equations->outputs, .state = state, .accuracy = accuracy,
                           .swing = 50 * accuracy, .carrier = period };
    const struct drive drive = pulses(6, period, 0.312, 0.7, 0);
    asked.floor = 0x1p-37 + 1e-10;  /* CLOSEST, and a run's steps differ from another's within some tolerances of 1e-12 */
    struct drawn d = drawn_of(&asked, &drive);
    const double share = worst_of(&asked, &drive, &d);
    forget_drawn(&d);
    dw_modes_free(asked.modes);
    return share;
}

START_TEST(a_pendulum_and_a_relaxing_oscillator_are_within_the_tolerance_and_monotone_between_rows)
{
    static const double periods[] = { 0.05, 0.7, 9 }, accuracies[] = { 1e-4, 1e-6, 2e-8 };
    const double high[] = { 1, 0 }, small[] = { 0.1, 0 };
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++) {
            double share = share_of(&pendulum, high, accuracies[k], periods[i]);
            ck_assert_msg(share <= 1, "pendulum, period %g, accuracy %g: %g of what is allowed", periods[i], accuracies[k], share);
            share = share_of(&relaxing, small, accuracies[k], periods[i]);
            ck_assert_msg(share <= 1, "relaxing, period %g, accuracy %g: %g of what is allowed", periods[i], accuracies[k], share);
        }
}
END_TEST

START_TEST(a_pole_as_equations_takes_about_as_many_rows_as_it_does_as_a_mode)
{
    const double rest = 0, period = 0.6e-3;
    size_t count[2];
    for (int smooth = 0; smooth < 2; smooth++) {
        struct asked asked = { .modes = smooth ? make(&rc) : rc_modes(), .outputs = 1, .state = &rest, .accuracy = 2e-8,
                               .swing = 1e-6, .carrier = period, .floor = smooth ? 0x1p-37 + 1e-9 : 0x1p-50 };
        const struct drive drive = pulses(6, period, 0.312, 3.3, 0);
        struct drawn d = drawn_of(&asked, &drive);
        ck_assert_double_le(worst_of(&asked, &drive, &d), 1);
        count[smooth] = d.count;
        forget_drawn(&d);
        dw_modes_free(asked.modes);
    }
    ck_assert_uint_le(count[1], count[0] * 4 / 3);
}
END_TEST

START_TEST(at_stops_and_when_it_sticks_rows_stand_before_and_after_with_their_own_slopes)
{
    const double from[] = { 1, 0 };
    struct asked asked = { .modes = make(&stopped), .outputs = 1, .state = from, .accuracy = 1e-6, .swing = 1e-5, .floor = 1e-8 };
    struct drive drive = { .inputs = 1 };
    drive_row(&drive, 0, 0);
    drive_row(&drive, 15, 0);
    struct drawn d = drawn_of(&asked, &drive);
    size_t rebounds = 0;
    for (size_t i = 1; i < d.count; i++) {
        if (d.kind[i - 1] != DW_ROW_BEFORE || d.kind[i] != DW_ROW_AFTER)
            continue;
        ck_assert_double_eq(d.time[i], d.time[i - 1]);
        ck_assert_double_lt(d.slope[i - 1], 0);
        /* slopes by differences over a 64th of a time in which it moves by its scale */
        within_scale(d.slope[i], fabs(d.slope[i - 1]) < 0.05 ? 0 : -REBOUND * d.slope[i - 1], 1e-10, 1);
        rebounds++;
    }
    ck_assert_uint_ge(rebounds, 5);
    ck_assert_double_le(worst_of(&asked, &drive, &d), 1);
    forget_drawn(&d);
    dw_modes_free(asked.modes);
}
END_TEST

SUITE("linear: equation_curves", a_pendulum_and_a_relaxing_oscillator_are_within_the_tolerance_and_monotone_between_rows,
      a_pole_as_equations_takes_about_as_many_rows_as_it_does_as_a_mode,
      at_stops_and_when_it_sticks_rows_stand_before_and_after_with_their_own_slopes)
