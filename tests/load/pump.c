/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "load/pump.h"
#include "suite.h"
#include <string.h>

const struct dw_motor_plan pump = {
    .resistance = 1.83, .inductance = 0.94e-3, .constant = 0.0267, .inertia = 8.7e-6, .friction = 1.3e-6, .drag = 3.9e-3,
    .gear = 1, .drive = DW_DRIVE_ONE_SWITCH, .supply = 12.3, .diode_drop = 0.71, .switch_resistance = 0.057,
    .threshold = 2.5
};

struct dw_motor *motor_made(const struct dw_motor_plan *plan)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_motor *motor = dw_motor_new(plan, &error);
    ck_assert_msg(motor != NULL, "%s", error.text);
    return motor;
}

void motor_runs(const struct dw_motor_plan *plan, double speed, double pin, double seconds, double *state)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_motor *motor = motor_made(plan);
    struct dw_run *run = dw_run_new(dw_plant_modes(dw_motor_plant(motor)), &(struct dw_run_options){ 0 }, &error);
    ck_assert_msg(run != NULL, "%s", error.text);
    const double start[DW_MOTOR_STATES] = { [DW_MOTOR_SPEED] = speed }, input[DW_MOTOR_INPUTS] = { pin };
    succeeds(dw_run_start(run, 0, dw_plant_rest(dw_motor_plant(motor), NULL), start, input, &error), error);
    succeeds(dw_run_feed(run, seconds, input, &error), error);
    memcpy(state, dw_run_state(run), DW_MOTOR_STATES * sizeof *state);
    dw_run_free(run);
    dw_motor_free(motor);
}
