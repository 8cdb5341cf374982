/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any stepper is driven or refused: what it gives stays finite, energy only falls while its gates are off and nothing turns the shaft,
 * steps are lost by fours, what holds it is known or is not there, and rows come to an end. */
#include "config.h"
#include "promise.h"
#include <dutywright/stepper.h>

const int replay_changes = 10; /* scripts/fuzz short: 150 inputs */

struct seen {
    struct driven driven;  /* first: what the run gives the sink */
    struct dw_stepper_meter meter;
};

static void choose_drive(struct bytes *bytes, struct dw_stepper_plan *plan)
{
    plan->drive = next_byte(bytes) % (DW_STEPPER_CURRENT + 1);
    plan->supply = next_size(bytes, 1, 100);
    plan->source = next_supply(bytes);
    plan->diode_drop = next_part(bytes, 0.1, 0.9);
    plan->switch_resistance = next_part(bytes, 1e-3, 10);
    if (plan->drive == DW_STEPPER_CURRENT) {
        plan->current = next_size(bytes, 1e-2, 10);
        plan->off_time = next_part(bytes, 1e-6, 1e-3);
        plan->chop_frequency = plan->off_time > 0 ? 0 : next_size(bytes, 1e3, 1e5);
        plan->compensation = plan->off_time > 0 ? 0 : next_part(bytes, 1e-4, 1) * plan->current;
        plan->blanking = next_part(bytes, 1e-7, 1e-5);
        plan->fast = next_byte(bytes) % 2 ? next_share(bytes) : 0;
    }
    plan->coils = next_byte(bytes) % 4 == 0;
    plan->microsteps = next_byte(bytes) % 2 ? 1 : 1 << next_byte(bytes) % 9;
    plan->direction = next_byte(bytes) % 2;
    plan->gates = next_byte(bytes) % 2;
    plan->threshold = 1.65;
    plan->level = 3.3;
}

static void choose_plan(struct bytes *bytes, struct dw_stepper_plan *plan)
{
    *plan = (struct dw_stepper_plan){ .full_steps = 4 * (1 + (int)next_byte(bytes) % 100), .all = next_byte(bytes) % 2 };
    plan->resistance = next_size(bytes, 1e-1, 1e3);
    plan->inductance = next_size(bytes, 1e-4, 1);
    plan->constant = next_size(bytes, 1e-3, 10);
    plan->detent = next_part(bytes, 1e-5, 0.1);
    plan->inertia = next_size(bytes, 1e-8, 1e-2);
    plan->friction = next_part(bytes, 1e-7, 1e-1);
    plan->drag = next_part(bytes, 1e-5, 1);
    plan->torque = next_part(bytes, 1e-5, 1) * (next_byte(bytes) % 2 ? 1 : -1);
    plan->gear = next_byte(bytes) % 2 ? next_size(bytes, 0.1, 300) : 1;
    plan->load_inertia = next_part(bytes, 1e-8, 1e-2);
    choose_drive(bytes, plan);
}

/* J, of coils and rotor with what it carries. */
static double stored(const struct dw_stepper_plan *p, const double *state)
{
    const double a = state[DW_STEPPER_CURRENT_A], b = state[DW_STEPPER_CURRENT_B], w = state[DW_STEPPER_SPEED];
    return (p->inductance * (a * a + b * b) + (p->inertia + p->load_inertia / (p->gear * p->gear)) * w * w) / 2;
}

static enum dw_status look(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct seen *seen = context;
    dw_stepper_meter_row(&seen->meter, row);
    return see_row(&seen->driven, row, stored(seen->driven.plan, row->state), error);
}

static void set(const struct driven *seen, struct bytes *bytes, bool high, double *input)
{
    const struct dw_stepper_plan *plan = seen->plan;
    const unsigned choice = next_byte(bytes);
    input[DW_STEPPER_STEP] = high && !plan->coils ? 3.3 : 0;
    input[DW_STEPPER_DIRECTION] = choice % 4 ? 3.3 : 0;
    for (int i = 0; i < 2; i++) {
        input[DW_STEPPER_A + i] = plan->coils && high ? 3.3 * (2 * next_share(bytes) - 1) : 0;
        input[DW_STEPPER_GATE_A + i] = high ? 3.3 : 0;
    }
    input[DW_STEPPER_TORQUE] = seen->quiet || choice % 8 ? 0 : -plan->torque;
}

/* The locked motor: numbers, or the promised refusal. */
static void lock(const struct dw_stepper_plan *plan, struct bytes *bytes)
{
    struct dw_stepper_locked locked = { .rate = next_part(bytes, 1, 1e4), .volts = plan->supply * next_share(bytes) };
    double real[4], imaginary[4];
    struct dw_error error = { .status = DW_OK };
    const double frequency = dw_stepper_frequency(plan, plan->supply / plan->resistance, M_PI / 4 * (next_byte(bytes) % 2));
    demand(isnan(frequency) || (frequency >= 0 && isfinite(frequency)), "what holds it is known, or not there");
    if (!dw_stepper_lock(plan, &locked))
        return;
    demand(isfinite(locked.direct) && isfinite(locked.quadrature) && isfinite(locked.lag), "a locked motor has currents and a lag");
    if (dw_stepper_eigenvalues(plan, &locked, real, imaginary, &error) != DW_OK)
        demand_error(&error, DW_BAD_USE, DW_NO);
    else
        demand(hypot(real[0], imaginary[0]) <= hypot(real[3], imaginary[3]), "eigenvalues are sorted");
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct bytes bytes = { data, size };
    struct dw_stepper_plan plan;
    struct dw_error error = { .status = DW_OK };
    choose_plan(&bytes, &plan);
    struct dw_plant *plant = dw_stepper_plant(&plan, &error);
    if (!plant) {
        demand_error(&error, DW_BAD_USE, DW_BAD_USE);
        return 0;
    }
    /* what is fastest is stepped through: some hundreds of that a pulse */
    const double coil = plan.inductance / plan.resistance, line = plan.source.line_resistance * plan.source.bulk, fastest = line > 0 ? fmin(coil, line) : coil;
    const double amperes = plan.drive == DW_STEPPER_CURRENT ? plan.current : plan.supply / plan.resistance;
    const double full[DW_STEPPER_STATES] = { amperes, amperes, plan.supply / plan.constant };
    struct seen seen = { { .plan = &plan, .full = stored(&plan, full), .slack = 1e-7, .period = fastest * next_size(&bytes, 0.1, 300),
                           .quiet = plan.gates && plan.torque == 0 && plan.detent == 0 }, { .plan = &plan } };
    double input[DW_STEPPER_INPUTS] = { [DW_STEPPER_GATE_A] = 3.3, [DW_STEPPER_GATE_B] = 3.3 };
    drive(plant, look, &seen.driven, &bytes, set, input);
    const struct dw_stepper_findings *found = &seen.meter.found;
    demand(isfinite(found->made) && isfinite(found->asked) && fmod(found->lost, 4) == 0, "steps are lost by fours");
    demand(found->heat >= 0 && found->lag >= 0, "neither heat nor lag is below none");
    lock(&plan, &bytes);
    dw_plant_free(plant);
    return 0;
}
