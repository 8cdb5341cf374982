/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A loop's plan, its findings on closed forms, and a channel along time. */
#include "suite.h"
#include <dutywright/ladder.h>
#include <dutywright/loop.h>
#include <dutywright/motor.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static struct dw_plant *rc(void)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_ladder *ladder = dw_ladder_new(&(struct dw_ladder_plan){ .stages = &(struct dw_stage){ .r = 4700, .c = 220e-9 }, .count = 1 }, &error);
    struct dw_plant *plant = dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = 3.3 }, &error);
    ck_assert_msg(plant != NULL, "%s", error.text);
    dw_ladder_free(ladder);
    return plant;
}

/* Terms of a pid law; the highest duty is 1 where none is given. */
static struct dw_law law_of(struct dw_law_plan plan)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_law law;
    plan.kind = DW_LAW_PID;
    plan.converter.gain = 1;
    plan.duty_high = plan.duty_high > 0 ? plan.duty_high : 1;
    succeeds(dw_law_make(&plan, &law, &error), error);
    return law;
}

START_TEST(plans_out_of_range_are_refused_by_member)
{
    struct dw_plant *plant = rc();
    struct dw_error error = { .status = DW_OK };
    const struct dw_law law = law_of((struct dw_law_plan){ .sample_time = 5e-3, .gain = 0.1, .integral_time = 1, .duty_low = -1 });
    const struct dw_loop_plan good = { .plant = plant, .period = 625e-6, .high = 3.3, .every = 8, .law = &law, .duration = 1 };
    struct {
        struct dw_loop_plan plan;
        const char *member, *text;
    } cases[] = {
        { good, "period", "period 0 s: must be above zero" },
        { good, "every", "a sample each 7 periods of 0.000625 s: that is no sample time of 0.005 s" },
        { good, "delay", "delay -1 s: must be from zero to a million samples" },
        { good, "high", "levels 1 and 3.3 V: the higher must be above the lower, and that zero where the duty may be below" },
        { good, "measured", "output 2 of 1" },
        { good, "duration", "duration inf s: must be above zero" },
        { good, "duration", "duration 1e+30 s: has more than 1e+09 of the periods, of 0.000625 s" },
        { good, "process", "gain 1, lag -2 s, delay 0 s: must be finite, times not below zero" },
        { good, "period", "period -1 s: must be above zero" },
        { good, "period", "period inf s: must be above zero" },
        { good, "high", "levels 0 and inf V: the higher must be above the lower, and that zero where the duty may be below" },
        { good, "duration", "duration 0 s: must be above zero" },
        { good, "duration", "duration 1e+30 s: has more than 1e+09 of the samples, of 0.005 s" },
        { good, "process", "gain inf, lag 0 s, delay 0 s: must be finite, times not below zero" },
        { good, "process", "gain 1, lag inf s, delay 0 s: must be finite, times not below zero" },
        { good, "process", "gain 1, lag 0 s, delay -1 s: must be finite, times not below zero" },
        { good, "process", "gain 1, lag 0 s, delay inf s: must be finite, times not below zero" },
    };
    cases[0].plan.period = 0;
    cases[1].plan.every = 7;
    cases[2].plan.delay = -1;
    cases[3].plan.low = 1;
    cases[4].plan.measured = 1;
    cases[5].plan.duration = INFINITY;
    cases[6].plan.duration = 1e30;
    cases[7].plan.process = (struct dw_loop_process){ .given = true, .gain = 1, .lag = -2 };
    cases[8].plan.average = true;
    cases[8].plan.period = -1;
    cases[9].plan.average = true;
    cases[9].plan.period = INFINITY;
    cases[9].plan.every = 1;
    cases[10].plan.high = INFINITY;
    cases[11].plan.duration = 0;
    cases[12].plan.average = true;
    cases[12].plan.duration = 1e30;
    cases[13].plan.process = (struct dw_loop_process){ .given = true, .gain = INFINITY };
    cases[14].plan.process = (struct dw_loop_process){ .given = true, .gain = 1, .lag = INFINITY };
    cases[15].plan.process = (struct dw_loop_process){ .given = true, .gain = 1, .delay = -1 };
    cases[16].plan.process = (struct dw_loop_process){ .given = true, .gain = 1, .delay = INFINITY };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        ck_assert_ptr_null(dw_loop_new(&cases[i].plan, &error));
        ck_assert_int_eq(error.status, DW_BAD_USE);
        ck_assert_str_eq(error.member, cases[i].member);
        ck_assert_str_eq(error.text, cases[i].text);
        ck_assert_ptr_null(dw_loop_new(&cases[i].plan, NULL));
    }
    dw_plant_free(plant);
}
END_TEST

/* ---- findings ---- */

static struct dw_loop_findings findings_of(double (*curve)(double), double length, double step)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_loop_meter *meter = dw_loop_meter_new(&error);
    struct dw_loop_findings found;
    for (double i = 0; i * step <= length; i++)
        succeeds(dw_loop_meter_see(meter, i * step, curve(i * step), 1, &error), error);
    dw_loop_meter_end(meter, &found);
    dw_loop_meter_free(meter);
    return found;
}

static double lag(double t)
{
    return 1 - exp(-t);
}

static double swing(double t) /* damping 0.3 at 1 rad/s */
{
    const double w = sqrt(1 - 0.09);
    return 1 - exp(-0.3 * t) * (cos(w * t) + 0.3 / w * sin(w * t));
}

static double cycling(double t)
{
    return lag(t) + 0.05 * sin(2 * M_PI * 0.8 * t);
}

/* Rise ln 9, settling ln 50, integral of the error 1. Lines between instants 0.01 apart are off by 1e-4/8 of the curvature. */
START_TEST(a_lag_rises_in_ln_9_and_settles_in_ln_50)
{
    const struct dw_loop_findings found = findings_of(lag, 40, 0.01);
    near(found.rise_time, log(9), 1e-4);
    near(found.settling_time, log(50), 1e-4);
    near(found.iae, 1, 1e-4);
    within_scale(found.steady_error, 0, 1e-12, 1);
    ck_assert_double_eq(found.overshoot, 0);
    ck_assert_double_eq(found.cycle_amplitude, 0);
}
END_TEST

/* exp(-pi 0.3/sqrt(1 - 0.09)) beyond. */
START_TEST(what_swings_overshoots_and_dies_out)
{
    const struct dw_loop_findings found = findings_of(swing, 120, 0.01);
    near(found.overshoot, exp(-M_PI * 0.3 / sqrt(1 - 0.09)), 1e-4);
    ck_assert_double_eq(found.cycle_amplitude, 0);
}
END_TEST

START_TEST(a_cycle_is_told_by_amplitude_and_frequency_and_never_settles)
{
    const struct dw_loop_findings found = findings_of(cycling, 60, 0.01);
    near(found.cycle_amplitude, 0.1, 1e-3);  /* peaks lie within 0.005 of an instant */
    near(found.cycle_frequency, 0.8, 1e-3);
    ck_assert(isnan(found.settling_time));
}
END_TEST

/* A lag to 1, then (17.7) for K = 3, T = 1, d = 0.5: furthest by 1/(4 e), back within 0.02 at the greater root of t exp(-2 t) = 0.04. It begins
 * between two instants, and what is wanted goes to 2 behind it. */
static double disturbed(double t)
{
    const double late = t - 20.003;
    return t >= 40 ? 2 - exp(40 - t) : lag(t) + (late > 0 ? 0.5 * late * exp(-2 * late) : 0);
}

START_TEST(a_disturbance_has_a_window_of_its_own)
{
    double back = 2;
    for (int i = 0; i < 100; i++)
        back = log(back / 0.04) / 2;
    for (int then = 0; then < 2; then++) {
        struct dw_error error = { .status = DW_OK };
        struct dw_loop_meter *meter = dw_loop_meter_new(&error);
        struct dw_loop_findings found;
        for (int i = 0; i < (then ? 8000 : 4000); i++) {
            const double t = i * 0.01;
            dw_loop_meter_disturb(meter, t > 20.003 ? 20.003 : NAN);
            succeeds(dw_loop_meter_see(meter, t, disturbed(t), t >= 40 ? 2 : 1, &error), error);
        }
        dw_loop_meter_end(meter, &found);
        dw_loop_meter_free(meter);
        near(found.deviation_highest, 0.25 / M_E, 1e-4);
        near(found.recovery_time, back, 1e-4);
        near(found.settling_time, log(50), 1e-4);
        near(found.rise_time, log(9), 1e-4);
        within_scale(found.steady_error, 0, 1e-7, 1);
    }
}
END_TEST

START_TEST(what_is_too_short_has_an_integral_alone)
{
    const struct dw_loop_findings found = findings_of(lag, 0.02, 0.01);
    ck_assert(isnan(found.rise_time) && isnan(found.steady_error) && isnan(found.cycle_amplitude));
    ck_assert(found.iae > 0.0197);
}
END_TEST

static double resting(double t)
{
    return t < 1e-9 ? 0 : 1;
}

static double ever_longer(double t)
{
    return t * t;
}

/* It is there with the second instant; or it goes on and on, so that no end is settled and 90 % of it lie in the last quarter. */
START_TEST(the_shortest_and_the_longest_rise_are_told)
{
    struct dw_loop_findings found = findings_of(resting, 10, 0.01);
    near(found.rise_time, 0.8 * 0.01, 1e-9);
    near(found.settling_time, 0.98 * 0.01, 1e-9);
    found = findings_of(ever_longer, 10, 0.01);
    ck_assert(isnan(found.settling_time));
    ck_assert_double_gt(found.rise_time, 4);
}
END_TEST

/* A disturbance that changes nothing is over at once, and one before or behind all instants is none. */
START_TEST(a_disturbance_without_effect_is_over_at_once)
{
    for (int late = 0; late < 3; late++) {
        struct dw_error error = { .status = DW_OK };
        struct dw_loop_meter *meter = dw_loop_meter_new(&error);
        struct dw_loop_findings found;
        dw_loop_meter_disturb(meter, late == 2 ? 100 : late ? 20 : -1);
        for (int i = 0; i < 4000; i++)
            succeeds(dw_loop_meter_see(meter, i * 0.01, lag(i * 0.01), late || i < 2000 ? 1 : 2, &error), error);
        dw_loop_meter_end(meter, &found);
        dw_loop_meter_free(meter);
        if (late == 1) {
            within_scale(found.deviation_highest, 0, 1e-8, 1);
            ck_assert_double_eq(found.recovery_time, 0);
        } else {
            ck_assert(isnan(found.recovery_time));
        }
    }
}
END_TEST

static double spiked(double t)
{
    return lag(t) + (t > 36 && t < 36.1 ? 0.5 : 0);
}

/* What is outside its band once more while the final value is taken has not recovered; what hums by rounding is no cycle. */
START_TEST(a_late_return_is_none_and_rounding_no_cycle)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_loop_meter *meter = dw_loop_meter_new(&error);
    struct dw_loop_findings found;
    dw_loop_meter_disturb(meter, 20);
    for (int i = 0; i < 4000; i++)
        succeeds(dw_loop_meter_see(meter, i * 0.01, spiked(i * 0.01), 1, &error), error);
    dw_loop_meter_end(meter, &found);
    dw_loop_meter_free(meter);
    near(found.deviation_highest, 0.5, 1e-6);
    ck_assert(isnan(found.recovery_time));
    meter = dw_loop_meter_new(&error);
    for (int i = 0; i < 4000; i++)
        succeeds(dw_loop_meter_see(meter, i * 0.01, 1 + 1e-11 * sin(i), 1, &error), error);
    dw_loop_meter_end(meter, &found);
    dw_loop_meter_free(meter);
    ck_assert_double_eq(found.cycle_amplitude, 0);
}
END_TEST

/* More than a million instants: every second is dropped, and the findings stay. */
START_TEST(long_records_are_thinned)
{
    const struct dw_loop_findings found = findings_of(lag, 12, 1e-5);
    near(found.rise_time, log(9), 5e-4);  /* the final value is short of 1 by e^-9 */
}
END_TEST

/* ---- a channel along time ---- */

static const char *file_of(const char *text)
{
    static const char name[] = "course-test.tsv";
    FILE *file = fopen(name, "w");
    fputs(text, file);
    fclose(file);
    return name;
}

START_TEST(a_course_has_lines_jumps_and_ends)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_course *course = dw_course_open(file_of("time[s] drawn[A]\n1 2\n2 4\n2 7\n3 9\n"), &error);
    double value;
    ck_assert_msg(course != NULL, "%s", error.text);
    ck_assert_str_eq(dw_course_unit(course), "A");
    ck_assert_double_eq(dw_course_at(course, 0.5), 2);
    succeeds(dw_course_pass(course, 1, &error), error);
    ck_assert_double_eq(dw_course_at(course, 1.5), 3);
    ck_assert_double_eq(dw_course_next(course, &value), 2);
    ck_assert_double_eq(value, 4);
    succeeds(dw_course_step(course, &error), error);
    ck_assert_double_eq(dw_course_next(course, &value), 2);
    succeeds(dw_course_pass(course, 2, &error), error);
    ck_assert_double_eq(dw_course_at(course, 2.5), 8);
    succeeds(dw_course_pass(course, 5, &error), error);
    succeeds(dw_course_step(course, &error), error);  /* behind the end there is nothing */
    ck_assert_double_eq(dw_course_at(course, 7), 9);
    ck_assert(isinf(dw_course_next(course, &value)));
    dw_course_close(course);
    unlink("course-test.tsv");
}
END_TEST

/* ---- runs that end early ---- */

/* How many rows and looks are still taken; negative: any number. */
struct patience {
    long rows, looks;
};

static enum dw_status take(long *left, struct dw_error *error)
{
    return (*left)-- == 0 ? dw_error_set(error, DW_CLOSED_PIPE, 0, "enough") : DW_OK;
}

static enum dw_status take_row(void *context, const double *row, struct dw_error *error)
{
    (void)row;
    return take(&((struct patience *)context)->rows, error);
}

static enum dw_status see(void *context, double time, double measured, const struct dw_law_state *sample, struct dw_error *error)
{
    (void)time, (void)measured, (void)sample;
    return take(&((struct patience *)context)->looks, error);
}

/* Whoever takes no more ends the run there, at whichever call it is: with pulses sampled in their middle each second period, or the mean,
 * with a process behind, and with both kinds of calls or one. */
START_TEST(whoever_takes_no_more_ends_the_run)
{
    struct dw_plant *plant = rc();
    struct dw_error error = { .status = DW_OK };
    const struct dw_law law = law_of((struct dw_law_plan){ .sample_time = 2e-3, .gain = 0.1, .integral_time = 1, .setpoint_weight = 1 });
    for (int way = 0; way < 12; way++) {
        enum dw_status status = DW_CLOSED_PIPE;
        for (long left = 0; status != DW_OK; left++) {
            struct patience patience = { way % 3 == 1 ? -1 : left, way % 3 ? left : -1 };
            struct dw_loop *loop = dw_loop_new(&(struct dw_loop_plan){
                .plant = plant, .period = 1e-3, .high = 3.3, .every = 2, .average = way / 3 % 2, .instant = DW_SAMPLE_MIDDLE, .law = &law, .wanted = 1,
                .process = { .given = way >= 6, .gain = 1, .lag = 1e-3, .delay = 0.3e-3 }, .duration = 4e-3, .accuracy = 0.1,
                .row = way % 3 == 1 ? NULL : take_row, .see = way % 3 ? see : NULL, .context = &patience }, &error);
            ck_assert_msg(loop != NULL, "%s", error.text);
            status = dw_loop_run(loop, &error);
            ck_assert(status == DW_OK || (status == DW_CLOSED_PIPE && !strcmp(error.text, "enough")));
            ck_assert_int_lt(left, 1000);
            dw_loop_free(loop);
        }
    }
    dw_plant_free(plant);
}
END_TEST

/* A course with a row that is none, the first or a later one, behind one that says the same twice: of what is wanted or of what disturbs. */
START_TEST(a_course_that_does_not_read_ends_the_run)
{
    struct dw_error error = { .status = DW_OK };
    const struct dw_stage stage = { .r = 4700, .c = 220e-9 };
    struct dw_ladder *ladder = dw_ladder_new(&(struct dw_ladder_plan){ .stages = &stage, .count = 1 }, &error);
    struct dw_plant *plant = dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = 3.3, .drawn = true }, &error);
    const struct dw_law law = law_of((struct dw_law_plan){ .sample_time = 1e-3, .gain = 0.1, .integral_time = 1 });
    static const char *const tables[] = { "time[s] drawn[A]\n-1 0\nnone\n", "time[s] drawn[A]\n-1 0\n0 0\nnone\n",
                                          "time[s] drawn[A]\n0 0\n0.0015 1e-6\n0.0015 1e-6\n0.0025 0\nnone\n" };
    for (int i = 0; i < 6; i++) {
        struct dw_course *course = dw_course_open(file_of(tables[i / 2]), &error);
        ck_assert_msg(course != NULL, "%s", error.text);
        struct dw_loop_plan plan = { .plant = plant, .period = 1e-3, .high = 3.3, .every = 1, .law = &law, .duration = 7e-3 };
        *(i % 2 ? &plan.side : &plan.wanted_from) = course;
        plan.side_input = i % 2 ? DW_LADDER_DRAWN : 0;
        struct dw_loop *loop = dw_loop_new(&plan, &error);
        ck_assert_msg(loop != NULL, "%s", error.text);
        ck_assert_int_eq(dw_loop_run(loop, &error), DW_BAD_INPUT);
        ck_assert(isnan(dw_loop_disturbed(loop)));
        dw_loop_free(loop);
        dw_course_close(course);
    }
    unlink("course-test.tsv");
    dw_plant_free(plant);
    dw_ladder_free(ladder);
}
END_TEST

static enum dw_status see_last(void *context, double time, double measured, const struct dw_law_state *sample, struct dw_error *error)
{
    (void)time, (void)sample, (void)error;
    *(double *)context = measured;
    return DW_OK;
}

/* With pulses in the middle of a period the pin is low where the duty's sign, the direction, turns. */
START_TEST(a_direction_turns_while_the_pin_is_low)
{
    const struct dw_motor_plan motor = { .resistance = 1.85, .inductance = 0.9e-3, .constant = 27e-3, .inertia = 9e-6, .friction = 3e-6, .gear = 1,
        .drive = DW_DRIVE_BRIDGE_SLOW, .direction = true, .supply = 12, .diode_drop = 0.7, .threshold = 1.65 };
    struct dw_error error = { .status = DW_OK };
    struct dw_motor *made = dw_motor_new(&motor, &error);
    ck_assert_msg(made != NULL, "%s", error.text);
    struct dw_plant *plant = dw_motor_plant(made);
    struct dw_course *course = dw_course_open(file_of("time[s] wanted[rad/s]\n0 100\n0.5 100\n0.5 -100\n"), &error);
    const struct dw_law law = law_of((struct dw_law_plan){ .sample_time = 1e-3, .gain = 2e-3, .integral_time = 0.05, .setpoint_weight = 1, .duty_low = -1 });
    double last = 0;
    struct dw_loop *loop = dw_loop_new(&(struct dw_loop_plan){ .plant = plant, .measured = dw_plant_output(plant, "speed"), .period = 1e-3, .high = 3.3,
        .every = 1, .alignment = DW_ALIGN_CENTRE, .direction = DW_MOTOR_DIRECTION, .law = &law, .wanted_from = course, .duration = 1.2, .see = see_last,
        .context = &last }, &error);
    ck_assert_msg(loop != NULL, "%s", error.text);
    succeeds(dw_loop_run(loop, &error), error);
    near(last, -100, 0.02);
    dw_loop_free(loop);
    dw_course_close(course);
    dw_plant_free(plant);
    unlink("course-test.tsv");
}
END_TEST

/* What integrates behind a load has its map about the middle of the duties where its own has come to an end, here the lower. */
START_TEST(behind_a_duty_at_its_end_an_integral_is_tried_in_the_middle)
{
    struct dw_plant *plant = rc();
    struct dw_error error = { .status = DW_OK };
    const struct dw_law law = law_of((struct dw_law_plan){ .sample_time = 1e-3, .gain = 0.1, .integral_time = 1, .setpoint_weight = 1, .duty_high = 0.9 });
    struct dw_sampled sampled;
    struct dw_loop_stand stand;
    struct dw_loop *loop = dw_loop_new(&(struct dw_loop_plan){ .plant = plant, .period = 1e-3, .high = 3.3, .every = 1, .law = &law, .wanted = -1,
        .process = { .given = true, .gain = 1, .integrates = true }, .duration = 0.01 }, &error);
    ck_assert_msg(loop != NULL, "%s", error.text);
    succeeds(dw_loop_run(loop, &error), error);
    succeeds(dw_loop_sampled(loop, 0, &sampled, &stand, &error), error);
    ck_assert_double_eq(stand.duty, 0.45);
    dw_loop_free(loop);
    dw_plant_free(plant);
}
END_TEST

START_TEST(a_mean_has_no_carrier)
{
    struct dw_plant *plant = rc();
    struct dw_error error = { .status = DW_OK };
    const struct dw_law law = law_of((struct dw_law_plan){ .sample_time = 1e-3, .gain = 0.1, .integral_time = 1 });
    for (int average = 0; average < 2; average++) {
        struct dw_loop *loop = dw_loop_new(&(struct dw_loop_plan){ .plant = plant, .period = 1e-3, .high = 3.3, .every = 1, .law = &law, .average = average,
                                                                   .duration = 1 }, &error);
        struct dw_header *header = dw_loop_header(loop, "hand", &error);
        ck_assert_msg(header != NULL, "%s", error.text);
        ck_assert((dw_header_get(header, "carrier-period") == NULL) == average);
        dw_header_free(header);
        dw_loop_free(loop);
    }
    dw_plant_free(plant);
}
END_TEST

START_TEST(what_is_no_course_is_refused)
{
    const char *const tables[] = { "# wave-table 1\n# columns: time[s] drawn[A]\n# end: 0\n", "# wave-table 1\n# columns: frequency[Hz] drawn[A]\n1\t2\n# end: 1\n",
                                   "# wave-table 1\n# columns: time[s]\n1\n# end: 1\n" };
    for (size_t i = 0; i < 3; i++) {
        struct dw_error error = { .status = DW_OK };
        ck_assert_ptr_null(dw_course_open(file_of(tables[i]), &error));
        ck_assert_msg(error.status == DW_BAD_INPUT, "%s", error.text);
        ck_assert_msg(strstr(error.text, "course-test.tsv") != NULL, "%s", error.text);
    }
    unlink("course-test.tsv");
}
END_TEST

SUITE("load: loops", plans_out_of_range_are_refused_by_member, a_lag_rises_in_ln_9_and_settles_in_ln_50, what_swings_overshoots_and_dies_out,
      a_cycle_is_told_by_amplitude_and_frequency_and_never_settles, what_is_too_short_has_an_integral_alone,
      a_disturbance_has_a_window_of_its_own, the_shortest_and_the_longest_rise_are_told,
      a_disturbance_without_effect_is_over_at_once, a_late_return_is_none_and_rounding_no_cycle, whoever_takes_no_more_ends_the_run,
      a_course_that_does_not_read_ends_the_run, a_direction_turns_while_the_pin_is_low,
      behind_a_duty_at_its_end_an_integral_is_tried_in_the_middle, a_mean_has_no_carrier, long_records_are_thinned,
      a_course_has_lines_jumps_and_ends, what_is_no_course_is_refused)
