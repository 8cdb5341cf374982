/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Curves of every load: ladders at random against another run and their exact means; how many rows the usual filters take. */
#include "linear/curves.h"
#include "load/pump.h"
#include "load/random_ladder.h"
#include <dutywright/coil.h>

/* The load of a run that is asked for. */
static void rest(struct asked *asked, const struct dw_plant *plant, double *state)
{
    asked->modes = dw_plant_modes(plant);
    asked->outputs = dw_plant_outputs(plant);
    asked->mode = dw_plant_rest(plant, state);
    asked->state = state;
}

static struct dw_ladder *ladder_of(const struct dw_ladder_plan *plan, bool all, struct dw_plant **plant, struct asked *asked)
{
    static double state[DW_STATES];
    struct dw_error error = { .status = DW_OK };
    struct dw_ladder *ladder = dw_ladder_new(plan, &error);
    ck_assert_msg(ladder != NULL, "%s", error.text);
    *plant = dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = 3.3, .drive = DW_PUSH_PULL, .all = all }, &error);
    ck_assert_msg(*plant != NULL, "%s", error.text);
    rest(asked, *plant, state);
    return ladder;
}

/* Mean of the last output by the cubics' areas, h (a + b)/2 + h^2 (a' - b')/12. */
static double mean_drawn(const struct drawn *d)
{
    double area = 0;
    for (size_t i = 0; i + 1 < d->count; i++) {
        const size_t at = (i + 1) * d->outputs - 1, next = at + d->outputs;
        const double h = d->time[i + 1] - d->time[i];
        area += h * (d->value[at] + d->value[next]) / 2 + h * h * (d->slope[at] - d->slope[next]) / 12;
    }
    return area / (d->time[d->count - 1] - d->time[0]);
}

/* The same exactly, interval by interval. */
static double mean_exact(const struct dw_ladder *ladder, const struct drive *drive)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_system *system = dw_ladder_system(ladder, &error);
    ck_assert_msg(system != NULL, "%s", error.text);
    double state[DW_STATES] = { 0 }, integral, area = 0;
    const struct dw_integrand out = { dw_ladder_outputs(ladder) - 1, DW_ALONE };
    for (size_t i = 0; i + 1 < drive->count; i++) {
        const double length = drive->time[i + 1] - drive->time[i];
        if (!(length > 0))
            continue;
        const double slope[] = { drive->slope[i][0], drive->slope[i + 1][0] };
        const struct dw_interval over = { state, drive->input[i], drive->input[i + 1], length, drive->bent ? slope : NULL };
        succeeds(dw_system_integrals(system, &over, &out, 1, &integral, &error), error);
        succeeds(dw_system_advance(system, &over, 0, state, &error), error);
        area += integral;
    }
    dw_system_free(system);
    return area / drive->time[drive->count - 1];
}

/* Of the ladders judged so far. */
struct judged {
    size_t count;
    double worst;  /* share of the tolerance */
};

/* The mean of what is drawn, and against another run what has no more rows than `few`: of those that ring for ever the mean does. */
static void judge(const struct dw_ladder *ladder, const struct asked *asked, const struct drive *drive, size_t few, int i, struct judged *judged)
{
    struct drawn d = drawn_of(asked, drive);
    within_scale(mean_drawn(&d), mean_exact(ladder, drive), 1e-8, 3.3);
    if (d.count < few) {
        const double share = worst_of(asked, drive, &d);
        ck_assert_msg(share <= 1, "ladder %d from seed 20240229: %g of what is allowed", i, share);
        judged->worst = fmax(judged->worst, share);
        judged->count++;
    }
    forget_drawn(&d);
}

START_TEST(ladders_at_random_are_within_the_tolerance_monotone_and_right_in_their_means)
{
    struct judged judged = { 0 };
    for (int i = 0; i < rounds(20, 70); i++) {
        struct random_ladder random;
        struct asked asked = { .accuracy = 2e-8, .swing = 1e-6, .floor = 4e-15 };
        random_ladder(&random, 1.5);
        struct dw_plant *plant = NULL;
        struct dw_ladder *ladder = ladder_of(&random.plan, i % 2, &plant, &asked);
        const double period = asked.carrier = 1 / ladder_between(50, 1e6), duty = 0.01 + 0.98 * ladder_uniform();
        const struct drive drive = pulses(3, period, duty, 3.3, i % 3 ? 0 : 1e-3 * period);
        judge(ladder, &asked, &drive, 1000, i, &judged);
        dw_plant_free(plant);
        dw_ladder_free(ladder);
    }
    ck_assert_int_ge((int)judged.count, rounds(10, 40));
    ck_assert_double_ge(judged.worst, 0.9);
}
END_TEST

/* Pieces at random of about a fifth of a period, which join without a corner, with one, or with a jump. */
static struct drive cubics(double period)
{
    struct drive drive = { .inputs = 1 };
    double time = 0, value = 3.3 * ladder_uniform(), slope = 0;
    for (int i = 0; i < 14; i++) {
        drive_bent(&drive, time, value, slope);
        const int joins = i % 3;
        if (i > 0 && joins > 0) {
            value = joins > 1 ? 3.3 * ladder_uniform() : value;
            drive_bent(&drive, time, value, (ladder_uniform() - 0.5) * 40 * 3.3 / period);
        }
        time += period * (0.05 + 0.3 * ladder_uniform());
        value = 3.3 * ladder_uniform();
        slope = (ladder_uniform() - 0.5) * 40 * 3.3 / period;
    }
    return drive;
}

START_TEST(ladders_at_random_along_cubics_are_within_the_tolerance_monotone_and_right_in_their_means)
{
    struct judged judged = { 0 };
    for (int i = 0; i < rounds(15, 50); i++) {
        struct random_ladder random;
        struct asked asked = { .accuracy = 2e-8, .swing = 1e-6, .floor = 2e-14 };  /* inputs reach 20 V */
        random_ladder(&random, 1.5);
        struct dw_plant *plant = NULL;
        struct dw_ladder *ladder = ladder_of(&random.plan, i % 2, &plant, &asked);
        const double period = asked.carrier = 1 / ladder_between(50, 1e6);
        const struct drive drive = cubics(period);
        judge(ladder, &asked, &drive, 2000, i, &judged);
        dw_plant_free(plant);
        dw_ladder_free(ladder);
    }
    ck_assert_int_ge((int)judged.count, rounds(10, 40));
    ck_assert_double_ge(judged.worst, 0.5);
}
END_TEST

/* Rows in the last of ten periods. */
static size_t rows_of(const struct dw_stage *stages, size_t count, double frequency, double duty)
{
    struct asked asked = { .accuracy = 2e-8, .swing = 1e-6, .carrier = 1 / frequency, .floor = 4e-15 };
    struct dw_plant *plant = NULL;
    struct dw_ladder *ladder = ladder_of(&(struct dw_ladder_plan){ .stages = stages, .count = count }, false, &plant, &asked);
    const struct drive drive = pulses(10, 1 / frequency, duty, 3.3, 0);
    struct drawn d = drawn_of(&asked, &drive);
    ck_assert_double_le(worst_of(&asked, &drive, &d), 1);
    size_t rows = 0;
    for (size_t i = 0; i < d.count; i++)
        rows += d.time[i] > 9 / frequency;
    forget_drawn(&d);
    dw_plant_free(plant);
    dw_ladder_free(ladder);
    return rows;
}

START_TEST(the_usual_filters_take_few_rows_a_period)
{
    static const struct dw_stage slow[] = { { .r = 4.7e3, .c = 1e-6 }, { .r = 47e3, .c = 100e-9 } };
    static const struct dw_stage fast[] = { { .r = 1e3, .c = 1.5e-6 }, { .r = 3.9e3, .c = 470e-9 } };
    static const struct dw_stage coil[] = { { .r = 31.6e-3, .l = 1e-3, .c = 1e-6 } };
    ck_assert_uint_le(rows_of(slow, 2, 1.6e3, 0.312), 20);
    ck_assert_uint_le(rows_of(fast, 2, 31372.5, 0.3), 12);
    ck_assert_uint_le(rows_of(coil, 1, 50e3, 0.4), 16);  /* a quality of 1000 */
}
END_TEST

/* ---- switching loads ---- */

static struct drive motor_pulses(double period, double duty)
{
    struct drive drive = pulses(4, period, duty, 5, 0);
    drive.inputs = DW_MOTOR_INPUTS;
    for (size_t i = 0; i < drive.count; i++)
        drive.input[i][DW_MOTOR_LOW] = 5 - drive.input[i][DW_MOTOR_PIN];
    return drive;
}

START_TEST(a_motor_whose_current_stops_is_within_the_tolerance)
{
    static const double periods[] = { 50e-6, 0.5e-3, 2.04e-3 };
    for (int i = 0; i < 3; i++)
        for (int drive = 0; drive < 2; drive++) {
            struct dw_motor_plan plan = pump;
            plan.all = true;
            plan.drive = drive ? DW_DRIVE_BRIDGE_FAST : DW_DRIVE_ONE_SWITCH;
            struct dw_motor *motor = motor_made(&plan);
            double state[DW_STATES];
            struct asked asked = { .accuracy = 2e-8, .swing = 1e-6, .carrier = periods[i], .floor = 1e-13 };
            rest(&asked, dw_motor_plant(motor), state);
            const struct drive pulsed = motor_pulses(periods[i], 0.37);
            struct drawn d = drawn_of(&asked, &pulsed);
            const double share = worst_of(&asked, &pulsed, &d);
            ck_assert_msg(share <= 1, "motor at %g s: %g of what is allowed", periods[i], share);
            ck_assert_uint_le(d.count, 4 * 60);
            forget_drawn(&d);
            dw_motor_free(motor);
        }
}
END_TEST

START_TEST(a_coil_with_each_clamp_is_within_the_tolerance)
{
    static const struct {
        enum dw_coil_clamp clamp;
        double value, stray, period;
    } cases[] = { { DW_CLAMP_DIODE, 0, 0, 7.1e-3 }, { DW_CLAMP_ZENER, 27.1, 0, 7.1e-3 }, { DW_CLAMP_RESISTOR, 331, 0, 7.1e-3 } };
    for (int i = 0; i < 3; i++) {
        struct dw_error error = { .status = DW_OK };
        const struct dw_coil_plan plan = { .resistance = 57.3, .inductance = 0.0831, .supply = 12.3, .diode_drop = 0.71, .threshold = 2.5,
                                           .all = true, .clamp = cases[i].clamp, .clamp_value = cases[i].value };
        struct dw_coil *coil = dw_coil_new(&plan, &error);
        ck_assert_msg(coil != NULL, "%s", error.text);
        double state[DW_STATES];
        struct asked asked = { .accuracy = 2e-8, .swing = 1e-6, .carrier = cases[i].period, .floor = 1e-13 };
        rest(&asked, dw_coil_plant(coil), state);
        const struct drive drive = pulses(4, cases[i].period, 0.37, 5, 0);
        struct drawn d = drawn_of(&asked, &drive);
        const double share = worst_of(&asked, &drive, &d);
        ck_assert_msg(share <= 1, "clamp %d: %g of what is allowed", i, share);
        forget_drawn(&d);
        dw_coil_free(coil);
    }
}
END_TEST

SUITE("load: curves", ladders_at_random_are_within_the_tolerance_monotone_and_right_in_their_means,
      the_usual_filters_take_few_rows_a_period,
      ladders_at_random_along_cubics_are_within_the_tolerance_monotone_and_right_in_their_means,
      a_motor_whose_current_stops_is_within_the_tolerance, a_coil_with_each_clamp_is_within_the_tolerance)
