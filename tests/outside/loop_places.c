/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Loops that hold what their load integrates: the place of a nut, against the held system of motor and screw (Astrom and Wittenmark,
 * Computer-Controlled Systems, chapter 2: step invariance, from memory), and against how a run comes to it. */
#include "outside/looped.h"
#include <dutywright/actuator.h>
#include <string.h>

#define LEAD 12e-3
#define GEAR 5
#define THREAD (LEAD / (2 * M_PI * GEAR))

static const struct dw_motor_plan turns = { .resistance = 1.85, .constant = 27e-3, .inductance = 900e-6, .inertia = 9e-6, .friction = 1e-5, .gear = GEAR };

static struct dw_plant *actuator(enum dw_motor_drive drive, double drag, double efficiency, double force)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_actuator_plan plan = { .motor = turns, .lead = LEAD, .efficiency = efficiency, .travel = 0.2, .force = force };
    plan.motor.drive = drive;
    plan.motor.direction = drive != DW_DRIVE_DIRECT;
    plan.motor.drag = drag;
    plan.motor.supply = drive == DW_DRIVE_DIRECT ? VOLTS : 12;
    plan.motor.threshold = VOLTS / 2;
    plan.motor.diode_drop = 0.7;
    plan.switches = drive != DW_DRIVE_DIRECT;  /* one of which is open at first */
    plan.overtravel = INFINITY;
    plan.differential = 2e-3;
    struct dw_actuator *made = dw_actuator_new(&plan, &error);
    ck_assert_msg(made != NULL, "%s", error.text);
    return dw_actuator_plant(made);
}

/* Current, speed and place as one system that is held, about the duty that holds the force: V d = R F thread/K. */
START_TEST(a_place_is_held_about_the_duty_at_which_it_stands)
{
    const double sample = 5e-3, force = 20, k = turns.constant, l = turns.inductance, j = turns.inertia;
    const double a[] = { -turns.resistance / l, -k / l, 0, k / j, -turns.friction / j, 0, 0, THREAD, 0 }, b[] = { VOLTS / l, 0, 0 }, c[] = { 0, 0, 1 };
    const struct dw_law law = law_of((struct dw_law_plan){ .kind = DW_LAW_PID, .sample_time = sample, .gain = 300, .integral_time = INFINITY, .duty_low = -1 });
    struct dw_error error = { .status = DW_OK };
    struct dw_system *system = dw_system_new(&(struct dw_matrices){ .states = 3, .inputs = 1, .outputs = 1, .a = a, .b = b, .c = c }, &error);
    struct dw_plant *plant = actuator(DW_DRIVE_DIRECT, 0, 1, force);
    static struct seen seen;
    struct dw_sampled got, want;
    struct dw_loop_stand stand;
    seen.count = 0;
    struct dw_loop *loop = run((struct dw_loop_plan){ .plant = plant, .measured = dw_plant_output(plant, "position"), .average = true, .law = &law,
                                                      .wanted = 0.05, .delay = 0.3 * sample, .duration = 4 }, &seen);
    succeeds(dw_loop_sampled(loop, 0, &got, &stand, &error), error);
    succeeds(dw_sampled_hold(system, &(struct dw_hold){ 0, 0, sample, 0.3 * sample }, &want, &error), error);
    same_response(&got, &want, 1e-7);  /* a rotor that turns round loses 1e-12 of its no-load speed, beside the 1e-3 of differences: thirty times */
    near(stand.duty, turns.resistance * force * THREAD / (k * VOLTS), 1e-9);
    near(seen.measured[seen.count - 1], 0.05 - stand.duty / 300, 1e-9);
    dw_loop_free(loop);
    dw_system_free(system);
    dw_plant_free(plant);
}
END_TEST

/* The same before it has run, put where it is wanted, with a sensor behind that doubles. */
START_TEST(a_place_is_put_where_it_is_wanted_before_it_has_run)
{
    const double sample = 5e-3, k = turns.constant, l = turns.inductance, j = turns.inertia;
    const double a[] = { -turns.resistance / l, -k / l, 0, k / j, -turns.friction / j, 0, 0, THREAD, 0 }, b[] = { VOLTS / l, 0, 0 }, c[] = { 0, 0, 2 };
    const struct dw_law law = law_of((struct dw_law_plan){ .kind = DW_LAW_PID, .sample_time = sample, .gain = 300, .integral_time = INFINITY, .duty_low = -1 });
    struct dw_error error = { .status = DW_OK };
    struct dw_system *system = dw_system_new(&(struct dw_matrices){ .states = 3, .inputs = 1, .outputs = 1, .a = a, .b = b, .c = c }, &error);
    struct dw_sampled got, want;
    struct dw_loop_stand stand;
    succeeds(dw_sampled_hold(system, &(struct dw_hold){ 0, 0, sample, 0.3 * sample }, &want, &error), error);
    /* of 200 N a full duty holds 126 N */
    const struct {
        double force;
        const char *why;
    } cases[] = { { 0, NULL }, { 200, "the loop is open: no duty lets what is measured stand" }, };
    for (int i = 0; i < 2; i++) {
        struct dw_plant *plant = actuator(DW_DRIVE_DIRECT, 0, 1, cases[i].force);
        struct dw_loop *loop = dw_loop_new(&(struct dw_loop_plan){ .plant = plant, .measured = dw_plant_output(plant, "position"), .average = true,
            .every = 1, .high = VOLTS, .law = &law, .wanted = 0.1, .delay = 0.3 * sample, .duration = 1,
            .process = { .given = true, .gain = 2 } }, &error);
        ck_assert_msg(loop != NULL, "%s", error.text);
        if (cases[i].why)
            refuses(dw_loop_sampled(loop, 0, &got, &stand, &error), DW_NO, error, cases[i].why);
        else
            succeeds(dw_loop_sampled(loop, 0, &got, &stand, &error), error);
        if (i == 0)
            same_response(&got, &want, 1e-5);  /* about a standstill, where it turns round in each difference: measured 1.2e-6 */
        within_scale(stand.duty, 0, 1e-9, 1);
        dw_loop_free(loop);
        dw_plant_free(plant);
    }
    dw_system_free(system);
}
END_TEST

/* In the end each sample is nearer than the one before by the largest pole. A screw with friction creeps: in each period its ripple
 * moves it both ways. */
START_TEST(a_place_is_come_to_as_the_largest_pole_says)
{
    const double efficiency[] = { 1, 0.98 }, duration[] = { 1.6, 9 };
    for (int i = 0; i < 2; i++) {
        const struct dw_law law = law_of((struct dw_law_plan){ .kind = DW_LAW_PID, .sample_time = 20e-3, .gain = 30, .integral_time = INFINITY, .duty_low = -1 });
        struct dw_error error = { .status = DW_OK };
        struct dw_plant *plant = actuator(DW_DRIVE_BRIDGE_SLOW, 0, efficiency[i], 100);
        static struct seen seen;
        struct dw_sampled sampled;
        struct dw_margins margins;
        seen.count = 0;
        struct dw_loop *loop = run((struct dw_loop_plan){ .plant = plant, .measured = dw_plant_output(plant, "position"), .period = 1e-3, .every = 20,
                                                          .direction = DW_ACTUATOR_DIRECTION, .law = &law, .wanted = 0.05, .duration = duration[i] }, &seen);
        succeeds(dw_loop_sampled(loop, 0, &sampled, NULL, &error), error);
        succeeds(dw_loop_margins(&sampled, &law, &margins, &error), error);
        const double *last = seen.measured + seen.count - 1, left = (last[0] - last[-1]) / (last[-1] - last[-2]);
        ck_assert_msg(margins.stable && margins.pole_highest > 0.5, "%g", margins.pole_highest);
        near(left, margins.pole_highest, 1e-5);  /* what is left of the way bends it */
        dw_loop_free(loop);
        dw_plant_free(plant);
    }
}
END_TEST

START_TEST(a_place_that_friction_holds_is_no_linear_loop)
{
    static const struct {
        double wanted;
        const char *why;
    } cases[] = { { 0.05, "what is measured does not move in proportion to the duty: friction, play, a stop or" },
                  { 10, "the loop is open: the duty stays at its end" }, { -1, "the loop is open: the duty stays at its end" } };
    const struct dw_law law = law_of((struct dw_law_plan){ .kind = DW_LAW_PID, .sample_time = 20e-3, .gain = 30, .integral_time = INFINITY, .duty_low = -1 });
    for (int i = 0; i < 3; i++) {
        struct dw_error error = { .status = DW_OK };
        struct dw_plant *plant = actuator(DW_DRIVE_BRIDGE_SLOW, 4e-3, 0.35, 0);
        static struct seen seen;
        struct dw_sampled sampled;
        seen.count = 0;
        struct dw_loop *loop = run((struct dw_loop_plan){ .plant = plant, .measured = dw_plant_output(plant, "position"), .period = 1e-3, .every = 20,
                                                          .direction = DW_ACTUATOR_DIRECTION, .law = &law, .wanted = cases[i].wanted, .duration = 1 }, &seen);
        ck_assert_int_eq(dw_loop_sampled(loop, 0, &sampled, NULL, &error), DW_NO);
        ck_assert_msg(strstr(error.text, cases[i].why) != NULL, "%s", error.text);
        dw_loop_free(loop);
        dw_plant_free(plant);
    }
}
END_TEST

SUITE("outside: loops that hold a place", a_place_is_held_about_the_duty_at_which_it_stands,
      a_place_is_put_where_it_is_wanted_before_it_has_run, a_place_is_come_to_as_the_largest_pole_says,
      a_place_that_friction_holds_is_no_linear_loop)
