/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any motor is driven or refused: current, speed and outputs stay finite, energy only falls while the gates are off and
 * nothing turns the shaft, and rows come to an end. */
#include "config.h"
#include "promise.h"
#include <dutywright/motor.h>

const int replay_changes = 20; /* scripts/fuzz short: 300 inputs */

static void choose_plan(struct bytes *bytes, struct dw_motor_plan *plan)
{
    *plan = (struct dw_motor_plan){ .drive = next_byte(bytes) % (DW_DRIVE_ANTIPHASE + 1), .threshold = 2.5 };
    plan->resistance = next_size(bytes, 1e-3, 1e4);
    plan->inductance = next_size(bytes, 1e-7, 10);
    plan->constant = next_size(bytes, 1e-5, 10);
    plan->inertia = next_size(bytes, 1e-9, 10);
    plan->friction = next_part(bytes, 1e-9, 1);
    plan->drag = next_part(bytes, 1e-6, 1);
    plan->torque = next_part(bytes, 1e-6, 1) * (next_byte(bytes) % 2 ? 1 : -1);
    plan->torque_at_square = next_part(bytes, 1e-9, 1e-3);
    plan->gear = next_byte(bytes) % 2 ? next_size(bytes, 1e-2, 1e3) : 1;
    plan->load_inertia = next_part(bytes, 1e-9, 10);
    plan->supply = next_size(bytes, 1, 400);
    plan->diode_drop = next_part(bytes, 0.1, 0.9);
    plan->switch_resistance = next_part(bytes, 1e-4, 10);
    plan->low_gate = next_byte(bytes) % 4 == 0;
    plan->direction = next_byte(bytes) % 4 == 0;
    plan->all = next_byte(bytes) % 2;
}

/* J, of coil and rotor with what it carries. */
static double stored(const struct dw_motor_plan *plan, const double *state)
{
    const double inertia = plan->inertia + plan->load_inertia / (plan->gear * plan->gear);
    return plan->inductance * state[DW_MOTOR_CURRENT] * state[DW_MOTOR_CURRENT] / 2
           + inertia * state[DW_MOTOR_SPEED] * state[DW_MOTOR_SPEED] / 2;
}

static enum dw_status look(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct driven *seen = context;
    return see_row(seen, row, stored(seen->plan, row->state), error);
}

static void set(const struct driven *seen, struct bytes *bytes, bool high, double *input)
{
    const struct dw_motor_plan *plan = seen->plan;
    input[DW_MOTOR_PIN] = !high ? 0 : plan->drive == DW_DRIVE_DIRECT ? plan->supply : 5;
    input[DW_MOTOR_LOW] = high || next_byte(bytes) % 2 ? 0 : 5;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct bytes bytes = { data, size };
    struct dw_motor_plan plan;
    struct dw_error error = { .status = DW_OK };
    choose_plan(&bytes, &plan);
    struct dw_motor *motor = dw_motor_new(&plan, &error);
    if (!motor) {
        demand_error(&error, DW_BAD_USE, DW_BAD_USE);
        return 0;
    }
    /* states are good to 1e-13 of stall current and no-load speed: so is their energy, twice */
    const double full[] = { dw_motor_stall_current(&plan), dw_motor_no_load_speed(&plan), 0 };
    struct driven seen = { .plan = &plan, .full = stored(&plan, full), .slack = 1e-11, .period = next_size(&bytes, 1e-7, 10),
                           .quiet = plan.torque == 0 && plan.drive != DW_DRIVE_ANTIPHASE };
    double input[DW_MOTOR_INPUTS] = { [DW_MOTOR_DIRECTION] = next_byte(&bytes) % 2 ? 1 : -1 };
    drive(dw_motor_plant(motor), look, &seen, &bytes, set, input);
    dw_motor_free(motor);
    return 0;
}
