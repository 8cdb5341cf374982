/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Random steppers, on voltages and chopped, with and without friction that sticks, against an independent solver (other_stepper.h). */
#include "draw.h"
#include "outside/other_stepper.h"
#include "suite.h"

enum { CASES = 48, STEPS = 10 };

static uint64_t seed = 20261130;
static double between(double low, double high)
{
    return drawn_between(&seed, low, high);
}

static struct dw_stepper_plan random_stepper(int kind)
{
    struct dw_stepper_plan p = { .resistance = between(1, 4), .inductance = between(1e-3, 5e-3), .constant = between(0.1, 0.3), .inertia = between(3e-6, 9e-6),
                                 .friction = between(1e-4, 2e-3), .load_inertia = between(0, 2e-5), .gear = between(0.7, 3), .full_steps = 200,
                                 .supply = between(5, 12), .diode_drop = between(0.3, 1), .switch_resistance = between(0, 0.2), .threshold = 0.5 };
    p.microsteps = kind % 3 == 0 ? 1 : kind % 3 == 1 ? 2 : 8;
    p.drive = kind % 2 ? DW_STEPPER_CURRENT : DW_STEPPER_VOLTAGE;
    p.detent = between(0, 0.05) * p.constant;
    p.drag = kind % 4 < 2 ? between(0.02, 0.1) * p.constant : 0;
    p.torque = between(-0.2, 0.2) * p.constant * p.gear;
    if (p.drive == DW_STEPPER_CURRENT) {
        p.current = between(0.3, 0.8) * p.supply / (p.resistance + 2 * p.switch_resistance);
        p.off_time = between(40e-6, 90e-6);
        p.blanking = between(0, 1) < 0.3 ? 0 : between(1e-6, 3e-6);
        p.fast = kind % 3 == 0 ? 0 : kind % 3 == 1 ? between(0.2, 0.8) : 1;
    }
    return p;
}

static void compare(const struct dw_stepper_plan *p)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_plant *plant = dw_stepper_plant(p, &error);
    ck_assert_msg(plant != NULL, "%s", error.text);
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ 0 }, &error);
    struct other_stepper o;
    double input[DW_STEPPER_INPUTS] = { 0 }, rest[DW_STATES], time = 0;
    const size_t mode = dw_plant_rest(plant, rest);
    succeeds(dw_run_start(run, 0, mode, rest, input, &error), error);
    ck_assert(other_open(&o, p, dw_run_state(run), 1e-12));
    for (int k = 0; k < STEPS; k++) {
        time += between(1, 3) * 1e-3 / p->microsteps;
        input[DW_STEPPER_STEP] = 0;
        succeeds(dw_run_feed(run, time, input, &error), error);
        input[DW_STEPPER_STEP] = 1;
        ck_assert(other_advance(&o, time));
        const double amperes = p->supply / p->resistance, *x = dw_run_state(run), *y = N_VGetArrayPointer(o.y);
        /* 1e-10 a step of which some hundred count: earlier ones die away */
        within_scale(x[DW_STEPPER_CURRENT_A], y[0], 1e-8, amperes);
        within_scale(x[DW_STEPPER_CURRENT_B], y[1], 1e-8, amperes);
        within_scale(x[DW_STEPPER_ANGLE], y[3] - x[DW_STEPPER_FIRST] / 50, 1e-8, M_PI / 100);
        succeeds(dw_run_feed(run, time, input, &error), error);
        other_step(&o, 1);
    }
    other_close(&o);
    dw_run_free(run);
    dw_plant_free(plant);
}

START_TEST(random_steppers_agree_with_an_independent_solver)
{
    for (int kind = 0; kind < CASES; kind++) {
        const struct dw_stepper_plan p = random_stepper(kind);
        compare(&p);
    }
}
END_TEST

SUITE("outside: stepper and CVODE", random_steppers_agree_with_an_independent_solver)
