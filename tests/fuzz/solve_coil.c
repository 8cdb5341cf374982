/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any coil is switched or refused: current and voltages stay finite, what the supply gave is found again as heat, work and
 * what is stored, no part gives heat back, and rows come to an end. */
#include "config.h"
#include "promise.h"
#include <dutywright/coil.h>

const int replay_changes = 20; /* scripts/fuzz short: 300 inputs */

enum { MOST_ROWS = 4000, PULSES = 4 };

struct seen {
    size_t rows, outputs;
    double time;
    struct dw_coil_meter *meter;
};

static void choose_plan(struct bytes *bytes, struct dw_coil_plan *plan)
{
    *plan = (struct dw_coil_plan){ .clamp = next_byte(bytes) % (DW_CLAMP_RESISTOR + 1), .threshold = 2.5 };
    plan->resistance = next_size(bytes, 1e-3, 1e5);
    plan->inductance = next_size(bytes, 1e-7, 100);
    plan->inductance_closed = next_byte(bytes) % 2 ? plan->inductance * next_size(bytes, 1, 10) : 0;
    plan->supply = next_size(bytes, 0.1, 400);
    plan->clamp_at_switch = next_byte(bytes) % 2;
    plan->clamp_value = next_size(bytes, 1e-2, 1e4);
    plan->diode_drop = next_part(bytes, 0.1, 0.9);
    plan->switch_resistance = next_part(bytes, 1e-4, 10);
    plan->stray = next_part(bytes, 1e-12, 1e-5);
    if (next_byte(bytes) % 2) {
        plan->pull_in = dw_coil_full_current(plan) * next_share(bytes);
        plan->drop_out = plan->pull_in * next_share(bytes);
    }
    plan->all = next_byte(bytes) % 2;
}

static enum dw_status look(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct seen *seen = context;
    demand(row->time >= seen->time, "time does not go back");
    for (size_t i = 0; i < seen->outputs; i++)
        demand(isfinite(row->output[i]), "an output is finite");
    for (size_t i = 0; i < DW_COIL_STATES; i++)
        demand(isfinite(row->state[i]), "a state is finite");
    seen->time = row->time;
    const enum dw_status status = dw_coil_meter_row(seen->meter, row, error);
    return status != DW_OK || ++seen->rows < MOST_ROWS ? status : dw_error_set(error, DW_NO, 0, "enough rows");
}

/* NaN: a current never comes to its threshold. */
static bool is_time(double time)
{
    return isnan(time) || (time >= 0 && isfinite(time));
}

/* Energies are good to 1e-13 of the largest term that a mode passed (coil.h); 1e-9 leaves room for MOST_ROWS modes. The stray
 * capacitance gives back what it held at the closed switch's own voltage, once a pulse. */
static void balance(const struct dw_coil_plan *plan, const struct dw_coil_findings *found)
{
    const struct dw_coil_energy *e = &found->total;
    const double largest = fmax(plan->inductance, plan->inductance_closed);
    const double scale = fabs(e->supply) + fabs(e->copper) + fabs(e->clamp) + fabs(e->sw) + fabs(e->stray) + fabs(e->armature)
                         + largest * found->peak_current * found->peak_current
                         + plan->stray * found->peak_switch * found->peak_switch;
    const double left = e->supply - e->copper - e->clamp - e->sw - e->stray - e->armature - e->stored;
    demand(isfinite(scale), "an energy is finite");
    demand(fabs(left) <= 1e-9 * scale, "what the supply gave is found again");
    const double held = plan->switch_resistance * fmax(found->peak_current, -found->lowest_current);
    demand(e->copper >= -1e-9 * scale && e->clamp >= -1e-9 * scale && e->sw >= -1e-9 * scale, "no part gives heat back");
    demand(e->stray >= -1e-9 * scale - PULSES * plan->stray * held * held, "closing the switch heats it");
}

/* Pulses of crooked lengths from rest; gives what ended them. */
static enum dw_status pulses(struct dw_run *run, const struct dw_coil *coil, double period, struct bytes *bytes,
                             struct dw_error *error)
{
    double state[DW_COIL_STATES], pin = 0, time = 0;
    const size_t mode = dw_plant_rest(dw_coil_plant(coil), state);
    enum dw_status status = dw_run_start(run, 0, mode, state, &pin, error);
    for (int k = 0; k < 2 * PULSES && status == DW_OK; k++) {
        pin = k % 2 ? 0 : 5;
        status = dw_run_feed(run, time, &pin, error);
        time += period * (0.01 + next_share(bytes));
        if (status == DW_OK)
            status = dw_run_feed(run, time, &pin, error);
    }
    return status;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct bytes bytes = { data, size };
    struct dw_coil_plan plan;
    struct dw_error error = { .status = DW_OK };
    const double period = next_size(&bytes, 1e-7, 10);
    choose_plan(&bytes, &plan);
    struct dw_coil *coil = dw_coil_new(&plan, &error);
    if (!coil) {
        demand_error(&error, DW_BAD_USE, DW_BAD_USE);
        return 0;
    }
    struct seen seen = { .outputs = dw_plant_outputs(dw_coil_plant(coil)), .time = -1, .meter = dw_coil_meter_new(coil, &error) };
    const struct dw_run_options options = { .accuracy = 1e-2, .sink = look, .context = &seen,
                                            .integrand = dw_coil_integrals(coil), .integrand_count = DW_COIL_INTEGRALS };
    struct dw_run *run = dw_run_new(dw_plant_modes(dw_coil_plant(coil)), &options, &error);
    demand(run != NULL && seen.meter != NULL, "a run begins");
    if (pulses(run, coil, period, &bytes, &error) != DW_OK)
        demand_error(&error, DW_BAD_USE, DW_NO);
    struct dw_coil_findings found;
    demand(dw_coil_meter_end(seen.meter, &found, &error) == DW_OK, "a run that began has findings");
    balance(&plan, &found);
    double operate = 1, release = 1;
    if (dw_coil_times(coil, NAN, &operate, &release, &error) == DW_OK)
        demand(is_time(operate) && is_time(release), "times of the armature are times, or none");
    else
        demand_error(&error, DW_BAD_USE, DW_NO);
    dw_run_free(run);
    dw_coil_meter_free(seen.meter);
    dw_coil_free(coil);
    return 0;
}
