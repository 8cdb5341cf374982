/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any motor is driven or refused: current, speed and outputs stay finite, energy only falls while the gates are off and
 * nothing turns the shaft, and rows come to an end. */
#include "config.h"
#include "promise.h"
#include <dutywright/motor.h>

const int replay_changes = 20; /* scripts/fuzz short: 300 inputs */

enum { MOST_ROWS = 20000 };

struct seen {
    const struct dw_motor_plan *plan;
    size_t rows, outputs;
    double time, energy;
    bool falling;  /* the gates are off */
};

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
    struct seen *seen = context;
    demand(row->time >= seen->time, "time does not go back");
    for (size_t i = 0; i < seen->outputs; i++)
        demand(isfinite(row->output[i]), "an output is finite");
    const double energy = stored(seen->plan, row->state);
    demand(isfinite(energy), "a state is finite");
    /* states are good to 1e-13 of stall current and no-load speed: so is their energy, twice */
    const double full[] = { dw_motor_stall_current(seen->plan), dw_motor_no_load_speed(seen->plan), 0 };
    if (seen->falling)
        demand(energy <= seen->energy + 1e-11 * (stored(seen->plan, full) + seen->energy), "energy falls with the gates off");
    seen->energy = energy;
    seen->time = row->time;
    return ++seen->rows < MOST_ROWS ? DW_OK : dw_error_set(error, DW_NO, 0, "enough rows");
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
    struct seen seen = { .plan = &plan, .outputs = dw_plant_outputs(dw_motor_plant(motor)), .time = -1 };
    const struct dw_run_options options = { .accuracy = 1e-2, .sink = look, .context = &seen };
    struct dw_run *run = dw_run_new(dw_plant_modes(dw_motor_plant(motor)), &options, &error);
    const double period = next_size(&bytes, 1e-7, 10), on = plan.drive == DW_DRIVE_DIRECT ? plan.supply : 5;
    const bool quiet = plan.torque == 0 && plan.drive != DW_DRIVE_ANTIPHASE;
    double state[DW_MOTOR_STATES] = { 0 }, input[DW_MOTOR_INPUTS] = { 0 }, time = 0;
    demand(run != NULL, "a run begins");
    input[DW_MOTOR_DIRECTION] = next_byte(&bytes) % 2 ? 1 : -1;
    enum dw_status status = dw_run_start(run, 0, dw_plant_rest(dw_motor_plant(motor), NULL), state, input, &error);
    for (int k = 0; k < 8 && status == DW_OK; k++) {
        const bool high = k % 2 == 0;
        seen.falling = false;
        input[DW_MOTOR_PIN] = high ? on : 0;
        input[DW_MOTOR_LOW] = high || next_byte(&bytes) % 2 ? 0 : 5;
        status = dw_run_feed(run, time, input, &error);
        seen.falling = quiet && !high;
        time += period * (0.01 + next_share(&bytes));
        if (status == DW_OK)
            status = dw_run_feed(run, time, input, &error);
    }
    if (status != DW_OK)
        demand_error(&error, DW_BAD_USE, DW_NO);
    dw_run_free(run);
    dw_motor_free(motor);
    return 0;
}
