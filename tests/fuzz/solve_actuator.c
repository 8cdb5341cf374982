/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any actuator is driven or refused: what it gives stays finite, between its stops, and within its backlash; no current passes an open
 * limit switch outwards; energy only falls while nothing drives it; and rows come to an end. */
#include "config.h"
#include "promise.h"
#include <dutywright/actuator.h>

const int replay_changes = 20; /* scripts/fuzz short: 300 inputs */

struct seen {
    struct driven driven;  /* first: what the run gives the sink */
    const struct dw_actuator *actuator;
};

static void choose_motor(struct bytes *bytes, struct dw_motor_plan *plan)
{
    *plan = (struct dw_motor_plan){ .drive = next_byte(bytes) % (DW_DRIVE_ANTIPHASE + 1), .threshold = 1.65 };
    plan->resistance = next_size(bytes, 1e-2, 1e3);
    plan->inductance = next_size(bytes, 1e-6, 1);
    plan->constant = next_size(bytes, 1e-4, 1);
    plan->inertia = next_size(bytes, 1e-8, 1e-2);
    plan->friction = next_part(bytes, 1e-9, 1e-3);
    plan->drag = next_part(bytes, 1e-6, 1);
    plan->gear = next_byte(bytes) % 2 ? next_size(bytes, 0.1, 300) : 1;
    plan->supply = next_size(bytes, 1, 100);
    plan->diode_drop = next_part(bytes, 0.1, 0.9);
    plan->switch_resistance = next_part(bytes, 1e-3, 10);
    plan->low_gate = next_byte(bytes) % 4 == 0;
    plan->direction = next_byte(bytes) % 4 == 0;
    plan->all = next_byte(bytes) % 2;
    if (plan->drive != DW_DRIVE_DIRECT)
        plan->source = next_supply(bytes);
}

static void choose_plan(struct bytes *bytes, struct dw_actuator_plan *plan)
{
    *plan = (struct dw_actuator_plan){ .lead = 0 };
    choose_motor(bytes, &plan->motor);
    plan->lead = next_size(bytes, 1e-4, 0.1);
    plan->efficiency = next_byte(bytes) % 2 ? 0.1 + 0.9 * next_share(bytes) : 0;
    plan->screw_friction = next_part(bytes, 1e-3, 0.5);
    plan->screw_diameter = next_size(bytes, 2e-3, 0.1);
    plan->collar_friction = next_part(bytes, 1e-3, 0.5);
    plan->collar_diameter = next_size(bytes, 2e-3, 0.1);
    plan->travel = next_size(bytes, 1e-4, 1);
    plan->initial = plan->travel * next_share(bytes);
    plan->switches = next_byte(bytes) % 2;
    plan->overtravel = next_byte(bytes) % 2 ? INFINITY : plan->travel * next_share(bytes);
    plan->differential = plan->travel * (0.01 + 0.5 * next_share(bytes));
    plan->force = next_part(bytes, 1e-2, 1e4) * (next_byte(bytes) % 2 ? 1 : -1);
    plan->mass = next_part(bytes, 1e-3, 1e3);
    plan->backlash = plan->mass > 0 ? next_part(bytes, 1e-6, 1e-2) : 0;
}

/* J, of coil, rotor and load. */
static double stored(const struct dw_actuator_plan *p, const double *state)
{
    const double i = state[DW_ACTUATOR_CURRENT], w = state[DW_ACTUATOR_SPEED];
    const double v = p->backlash > 0 ? state[DW_ACTUATOR_LOAD_SPEED] : w * dw_actuator_screw(p).ideal / p->motor.gear;
    return (p->motor.inductance * i * i + p->motor.inertia * w * w + p->mass * v * v) / 2;
}

static void look_at_state(const struct seen *seen, const struct dw_run_row *row)
{
    const struct dw_actuator_plan *p = seen->driven.plan;
    const double *x = row->state, slack = 1e-9 * p->travel;
    const int open = dw_actuator_open(seen->actuator, row->mode);
    const double beyond = p->switches ? p->overtravel : 0;
    demand(x[DW_ACTUATOR_NUT] <= p->travel + beyond + slack && x[DW_ACTUATOR_NUT] >= -beyond - slack, "the nut is between its stops");
    if (open && row->kind != DW_ROW_BEFORE)
        demand(open * x[DW_ACTUATOR_CURRENT] <= 1e-9 * dw_motor_stall_current(&p->motor), "an open switch passes nothing outwards");
    if (p->backlash > 0)
        demand(x[DW_ACTUATOR_GAP] >= -1e-6 * p->backlash && x[DW_ACTUATOR_GAP] <= (1 + 1e-6) * p->backlash, "the load is within its backlash");
}

static enum dw_status look(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct seen *seen = context;
    look_at_state(seen, row);
    return see_row(&seen->driven, row, stored(seen->driven.plan, row->state), error);
}

static void set(const struct driven *seen, struct bytes *bytes, bool high, double *input)
{
    const struct dw_actuator_plan *plan = seen->plan;
    const bool direct = plan->motor.drive == DW_DRIVE_DIRECT;
    const double on = direct ? plan->motor.supply : 3.3;
    input[DW_ACTUATOR_PIN] = !high ? 0 : next_byte(bytes) % 2 || !direct ? on : -on;
    input[DW_ACTUATOR_LOW] = high || next_byte(bytes) % 2 ? 0 : 3.3;
    input[DW_ACTUATOR_FORCE] = seen->quiet ? 0 : next_byte(bytes) % 2 ? -2 * plan->force : 0;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct bytes bytes = { data, size };
    struct dw_actuator_plan plan;
    struct dw_error error = { .status = DW_OK };
    choose_plan(&bytes, &plan);
    struct dw_actuator *actuator = dw_actuator_new(&plan, &error);
    if (!actuator) {
        demand_error(&error, DW_BAD_USE, DW_BAD_USE);
        return 0;
    }
    const double full[DW_ACTUATOR_STATES] = { dw_motor_stall_current(&plan.motor), dw_motor_no_load_speed(&plan.motor) };
    struct seen seen = { { .plan = &plan, .full = stored(&plan, full), .slack = 1e-9, .period = next_size(&bytes, 1e-6, 10),
                           .quiet = plan.force == 0 && plan.motor.drive != DW_DRIVE_ANTIPHASE }, actuator };
    double input[DW_ACTUATOR_INPUTS] = { [DW_ACTUATOR_DIRECTION] = next_byte(&bytes) % 2 ? 1 : -1 };
    drive(dw_actuator_plant(actuator), look, &seen.driven, &bytes, set, input);
    dw_actuator_free(actuator);
    return 0;
}
