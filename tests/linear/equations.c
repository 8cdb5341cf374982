/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Smooth equations behind the run: closed forms, laws of energy, rows. */
#include "linear/smooth.h"
#include <float.h>
#include <gsl/gsl_sf_ellint.h>

/* ---- a pendulum: angle, speed; a torque as its input ---- */

static void swing(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time, (void)u;
    rates++;
    rate[0] = x[1];
    rate[1] = -sin(x[0]);
}

/* Modes: right, left of the lowest point. */
static void sides(const void *of, size_t mode, double time, const double *x, const double *u, double *guard)
{
    (void)of, (void)time, (void)u;
    guard[0] = mode == 0 ? x[0] : -x[0];
}

static size_t other_side(const void *of, size_t mode, size_t guard, double time, double *x, const double *u)
{
    (void)of, (void)guard, (void)time, (void)u;
    x[0] = 0;
    return !mode;
}

static void speed_too(const void *of, size_t mode, double time, const double *x, const double *u, double *y)
{
    (void)of, (void)mode, (void)time, (void)u;
    y[0] = x[0];
    y[1] = x[1];
}

static const struct dw_equations_mode two_sides[] = { { "right", 1 }, { "left", 1 } };
static const struct dw_equations pendulum = { .states = 2, .outputs = 1, .modes = two_sides, .mode_count = 2, .state_scale = units,
    .scale = units, .rate = swing, .output = first_state, .guards = sides, .leave = other_side };

START_TEST(a_large_pendulum_keeps_the_period_of_the_elliptic_integral_within_its_tolerance)
{
    const double angle = 2.51, x[] = { angle, 0 }, period = 4 * gsl_sf_ellint_Kcomp(sin(angle / 2), GSL_PREC_DOUBLE);
    /* energy is 1 - cos(angle): what the period changes with it */
    const double more = 4 * gsl_sf_ellint_Kcomp(sin(angle / 2 + 5e-6), GSL_PREC_DOUBLE), change = (more - period) / (1e-5 * sin(angle));
    for (double tolerance = 1e-6; tolerance > 1e-13; tolerance /= 100) {
        struct dw_equations equations = pendulum;
        equations.tolerance = tolerance;
        struct dw_modes *modes = make(&equations);
        rates = 0;
        struct dw_run *run = start_keeping(modes, 0, 0, x, NULL);
        feed(run, 97, NULL);
        const double speed = sqrt(2 * (1 - cos(angle))), steps = (double)rates / 6;
        for (size_t k = 0; (0.25 + 0.5 * (double)k) * period < 97; k++) {
            /* a step moves speed and angle by the tolerance at most, hence the energy by (1 + speed) times as much */
            const double off = steps * tolerance * (1 + speed) * (1 / speed + (double)(k + 1) / 2 * change) + 97e-12;
            within_scale(time_of(DW_ROW_BEFORE, k), (0.25 + 0.5 * (double)k) * period, off, 1);
        }
        ck_assert_uint_eq(dw_run_events(run), (unsigned long long)(97 / period * 2 + 0.5));
        dw_run_free(run);
        dw_modes_free(modes);
    }
}
END_TEST

START_TEST(energy_is_kept_between_impacts_lost_by_the_rebound_and_the_stop_lets_go_when_lifted)
{
    struct dw_modes *modes = make(&stopped);
    const double x[] = { 2, 0 }, none = 0, full = 1;
    struct dw_run *run = start_keeping(modes, 1e-3, 0, x, &none);
    feed(run, 30, &none);
    double energy = -cos(2.0);
    size_t impacts = 0;
    for (; row_of(DW_ROW_BEFORE, impacts) < MOST; impacts++) {
        const double *before = record.state[row_of(DW_ROW_BEFORE, impacts)], *after = record.state[row_of(DW_ROW_AFTER, impacts)];
        /* 1e-10 a step, some hundred steps a flight, at a speed below two */
        within_scale(before[0], STOP, 1e-13, 1);
        within_scale(before[1] * before[1] / 2 - cos(before[0]), energy, 3e-8, 1);
        const bool last = fabs(before[1]) < 0.05;
        within_scale(after[1], last ? 0 : -REBOUND * before[1], 0, 1);
        within_scale(after[0], STOP, 0, 1);
        energy = after[1] * after[1] / 2 - cos(STOP);
    }
    /* speeds of impact are sqrt(2 (cos 0.2 - cos 2)) = 1.6708 times 0.7^k: below 0.05 from k = 10 on */
    ck_assert_uint_eq(impacts, 11);
    ck_assert_uint_eq(dw_run_mode(run), 1);
    feed(run, 40, &full);
    /* the torque rises by 0.1 a second: 1e-12 of the interval, and the stop's own rounding */
    within_scale(time_of(DW_ROW_BEFORE, 11), 30 + 10 * sin(STOP), 10e-12 + 4 * DBL_EPSILON * 40, 1);
    ck_assert_uint_eq(dw_run_mode(run), 0);
    ck_assert(dw_run_state(run)[0] > STOP);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

START_TEST(a_linear_rc_as_equations_is_what_the_modes_give)
{
    static const double input[] = { 3.3, 3.3, 0, 1.1, 2.7, 2.7, 0, 0 }, lasts[] = { 0.31e-3, 0, 0.2e-3, 1e-3, 0, 2e-3, 0, 0.69e-3 };
    struct dw_modes *modes = rc_modes(), *equations = make(&rc);
    const double rest = 0;
    struct dw_run *exact = start_quietly(modes, 0, &rest, input), *run = start_quietly(equations, 0, &rest, input);
    double time = 0;
    rates = 0;
    for (int i = 0; i < 80; i++) {
        time += lasts[i % 8];
        feed(exact, time, input + i % 8);
        feed(run, time, input + i % 8);
        /* 1e-10 a step, which dies out: those of a time constant count, and one more */
        const double steps = 1 + (double)rates / 6 / (time / CONSTANT);
        within_scale(dw_run_state(run)[0], dw_run_state(exact)[0], 1e-10 * steps, 3.3);
    }
    dw_run_free(run);
    dw_run_free(exact);
    dw_modes_free(equations);
    dw_modes_free(modes);
}
END_TEST

START_TEST(the_shortest_intervals_there_are_pass_without_a_trace)
{
    static const double shortest[] = { 5e-324, 1e-310, 1e-300, 1e-150, 1e-30 };
    struct dw_modes *equations = make(&rc);
    const double rest = 0, high = 3.3;
    struct dw_run *run = start_keeping(equations, 1e-3, 0, &rest, &rest);
    for (size_t i = 0; i < sizeof shortest / sizeof shortest[0]; i++)
        feed(run, shortest[i], &high);
    const double far = 1e290;
    feed(run, 2e-30, &far);  /* a slope that no number holds */
    feed(run, 2e-30, &high);
    feed(run, 1e-3, &high);
    /* 1e-10 a step; steps are never below a hundredth of the time constant here */
    within_scale(dw_run_state(run)[0], -3.3 * expm1(-1e-3 / CONSTANT), 1e-8, 3.3);
    dw_run_free(run);
    dw_modes_free(equations);
}
END_TEST

START_TEST(rows_of_equations_are_as_few_as_those_of_modes_and_their_lines_as_near)
{
    struct dw_modes *modes = rc_modes(), *equations = make(&rc);
    const double rest = 0, high = 3.3;
    for (double accuracy = 1e-3; accuracy > 1e-7; accuracy /= 10) {
        struct dw_run *run = start_keeping(modes, accuracy, 0, &rest, &high);
        feed(run, 1e-3, &high);
        const size_t wanted = record.count;
        dw_run_free(run);
        run = start_keeping(equations, accuracy, 0, &rest, &high);
        feed(run, 1e-3, &high);
        ck_assert_uint_le(record.count, wanted + wanted / 10 + 1);
        double worst = 0;
        for (size_t i = 0; i + 1 < record.count; i++)
            for (int part = 0; part < 8; part++) {
                const double share = part / 8.0, begin = record.rows[i].time, time = begin + share * (record.rows[i + 1].time - begin);
                const double line = record.output[i] + share * (record.output[i + 1] - record.output[i]);
                worst = fmax(worst, fabs(line + 3.3 * expm1(-time / CONSTANT)));
            }
        ck_assert_msg(worst <= accuracy * 3.3, "accuracy %g: off by %g", accuracy, worst / 3.3);
        ck_assert_msg(worst > 0.8 * accuracy * 3.3, "rows are far denser than the accuracy %g needs: %g", accuracy, worst / 3.3);
        dw_run_free(run);
    }
    dw_modes_free(equations);
    dw_modes_free(modes);
}
END_TEST

START_TEST(uniform_rows_are_stepped_to_and_no_other_is_given)
{
    struct dw_modes *equations = make(&rc);
    struct dw_error error = { .status = DW_OK };
    const double rest = 0, high = 3.3, low = 0;
    record.count = 0;
    struct dw_run *run =
        dw_run_new(equations, &(struct dw_run_options){ .uniform = 60e3, .accuracy = 1e-2, .sink = keep, .context = &record }, &error);
    succeeds(dw_run_start(run, 0, 0, &rest, &high, &error), error);
    feed(run, 1.03e-3, &high);
    feed(run, 1.03e-3, &low);
    feed(run, 2e-3, &low);
    succeeds(dw_run_finish(run, &error), error);
    ck_assert_uint_eq(record.count, 121);
    const double turned = -3.3 * expm1(-1.03e-3 / CONSTANT);
    for (size_t k = 0; k < record.count; k++) {
        const double time = (double)k / 60e3;
        ck_assert_int_eq(record.rows[k].kind, DW_ROW_BETWEEN);
        within_scale(record.rows[k].time, time, 0, 1);
        /* 1e-10 a step; steps are never below a hundredth of the time constant here */
        within_scale(record.output[k], time < 1.03e-3 ? -3.3 * expm1(-time / CONSTANT) : turned * exp(-(time - 1.03e-3) / CONSTANT),
                     1e-8, 3.3);
    }
    dw_run_free(run);
    dw_modes_free(equations);
}
END_TEST

/* ---- rows at extrema ---- */

/* Two oscillations; the output is their product, x[2] is time. */
static void beat(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time, (void)u;
    rate[0] = 2.37 * x[1];
    rate[1] = -2.37 * x[0];
    rate[2] = 1;
}

START_TEST(an_extremum_at_an_event_is_the_events_row)
{
    struct dw_equations equations = pendulum;
    equations.outputs = 2;
    equations.output = speed_too;
    struct dw_modes *modes = make(&equations);
    const double x[] = { 1.2, 0 };
    struct dw_run *run = start_keeping(modes, 1e-2, 0, x, NULL);
    feed(run, 40, NULL);
    /* the speed is largest where the angle is zero, which ends the mode; the angle is largest in between */
    size_t events = 0, extrema = 0;
    for (size_t i = 0; i < record.count; i++) {
        events += record.rows[i].kind == DW_ROW_BEFORE;
        extrema += record.rows[i].kind == DW_ROW_EXTREMUM;
    }
    ck_assert_uint_gt(events, 10);
    ck_assert_uint_eq(extrema, events - (record.state[record.count - 1][0] * record.state[record.count - 1][1] > 0));
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

/* The fourth output turns first, and the first last. */
static void five(const void *of, size_t mode, double time, const double *x, const double *u, double *y)
{
    static const int place[] = { 5, 4, 3, 1, 2 };
    (void)of, (void)mode, (void)time, (void)u;
    for (int j = 0; j < 5; j++)
        y[j] = cos(x[2] - 0.5 - 0.01 * place[j]);
}

START_TEST(extrema_of_several_outputs_in_one_step_come_in_order_of_time)
{
    static const double five_units[] = { 1, 1, 1, 1, 1 };
    struct dw_modes *modes = make(&(struct dw_equations){ .states = 3, .outputs = 5, .modes = plain, .mode_count = 1,
        .state_scale = units, .scale = five_units, .rate = beat, .output = five, .tolerance = 1e-3 });
    const double x[] = { 0, 1, 0 };
    struct dw_run *run = start_keeping(modes, 0.1, 0, x, NULL);
    feed(run, 2, NULL);
    for (size_t k = 0; k < 5; k++)
        within_scale(time_of(DW_ROW_EXTREMUM, k), 0.51 + 0.01 * (double)k, 1e-11, 1);
    for (size_t i = 1; i < record.count; i++)
        ck_assert(record.rows[i].time > record.rows[i - 1].time);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

static void product(const void *of, size_t mode, double time, const double *x, const double *u, double *y)
{
    (void)of, (void)mode, (void)time, (void)u;
    y[0] = x[0] * x[1];
    y[1] = x[0] * cos(1.1 * x[2]);
}

/* Turns twice within any step of a clock: at 1 -+ 1/sqrt(300). */
static void double_turn(const void *of, size_t mode, double time, const double *x, const double *u, double *y)
{
    (void)of, (void)mode, (void)time, (void)u;
    y[0] = (x[2] - 1) * ((x[2] - 1) * (x[2] - 1) - 0.01);
    y[1] = x[0];
}

START_TEST(an_output_that_turns_twice_within_a_step_has_both_rows)
{
    struct dw_modes *modes = make(&(struct dw_equations){ .states = 3, .outputs = 2, .modes = plain, .mode_count = 1,
        .state_scale = units, .scale = units, .rate = beat, .output = double_turn, .tolerance = 1e-3 });
    const double x[] = { 0, 0, 0 };
    struct dw_run *run = start_keeping(modes, 0.1, 0, x, NULL);
    feed(run, 2, NULL);
    within_scale(time_of(DW_ROW_EXTREMUM, 0), 1 - 1 / sqrt(300), 1e-11, 1);
    within_scale(time_of(DW_ROW_EXTREMUM, 1), 1 + 1 / sqrt(300), 1e-11, 1);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

START_TEST(extrema_of_nonlinear_outputs_are_rows_and_lines_between_rows_stay_within_the_accuracy)
{
    struct dw_modes *modes = make(&(struct dw_equations){ .states = 3, .outputs = 2, .modes = plain, .mode_count = 1,
        .state_scale = units, .scale = units, .rate = beat, .output = product, .tolerance = 1e-13 });
    const double x[] = { sin(0.3), cos(0.3), 0 };
    for (double accuracy = 1e-3; accuracy > 1e-7; accuracy /= 10) {
        struct dw_run *run = start_keeping(modes, accuracy, 0, x, NULL);
        feed(run, accuracy < 1e-5 ? 0.3 : 5, NULL);  /* else the record is too long */
        double worst = 0;
        for (size_t i = 0; i + 1 < record.count; i++)
            for (int part = 1; part < 8; part++) {
                const double share = part / 8.0, t0 = record.rows[i].time, t1 = record.rows[i + 1].time;
                const double line = record.output[i] + share * (record.output[i + 1] - record.output[i]);
                worst = fmax(worst, fabs(line - sin(2 * (2.37 * (t0 + share * (t1 - t0)) + 0.3)) / 2));
            }
        ck_assert_msg(worst <= accuracy, "accuracy %g: off by %g", accuracy, worst);
        ck_assert_msg(worst > 0.8 * accuracy, "rows are far denser than the accuracy %g needs: %g", accuracy, worst);
        for (int k = 0; accuracy >= 1e-5 && k < 7; k++) {
            /* where the first output turns there is a row; of the second's, as many lie between */
            const double turn = ((0.5 + k) * M_PI / 2 - 0.3) / 2.37;
            double apart = INFINITY;
            for (size_t i = 0; i < record.count; i++)
                if (record.rows[i].kind == DW_ROW_EXTREMUM)
                    apart = fmin(apart, fabs(record.rows[i].time - turn));
            /* slopes are known to 1e-11 or so, against a bend of 2 x 2.37^2 = 11 */
            ck_assert_msg(apart <= 1e-11, "extremum %d is %g s from a row", k, apart);
        }
        dw_run_free(run);
    }
    dw_modes_free(modes);
}
END_TEST

SUITE("linear: equations", a_large_pendulum_keeps_the_period_of_the_elliptic_integral_within_its_tolerance,
      energy_is_kept_between_impacts_lost_by_the_rebound_and_the_stop_lets_go_when_lifted,
      a_linear_rc_as_equations_is_what_the_modes_give, rows_of_equations_are_as_few_as_those_of_modes_and_their_lines_as_near,
      the_shortest_intervals_there_are_pass_without_a_trace, uniform_rows_are_stepped_to_and_no_other_is_given,
      an_extremum_at_an_event_is_the_events_row, extrema_of_several_outputs_in_one_step_come_in_order_of_time,
      an_output_that_turns_twice_within_a_step_has_both_rows,
      extrema_of_nonlinear_outputs_are_rows_and_lines_between_rows_stay_within_the_accuracy)
