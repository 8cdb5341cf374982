/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any lamp is dimmed or refused: what it gives stays finite, no light is below none, it only falls while the switch is off, no filament
 * is colder than the room, and the duty for a light is one. */
#include "config.h"
#include "promise.h"
#include <dutywright/lamp.h>

const int replay_changes = 20; /* scripts/fuzz short: 300 inputs */

static void choose_plan(struct bytes *bytes, struct dw_lamp_plan *plan)
{
    *plan = (struct dw_lamp_plan){ .kind = next_byte(bytes) % (DW_LAMP_FILAMENT + 1), .threshold = 1.65 };
    const bool led = plan->kind == DW_LAMP_LED;
    plan->direct = next_byte(bytes) % 4 == 0;
    plan->all = next_byte(bytes) % 2;
    plan->supply = next_size(bytes, 1, 100);
    plan->driver = led ? next_byte(bytes) % (DW_DRIVER_SWITCHING + 1) : DW_DRIVER_NONE;
    plan->resistor = plan->driver == DW_DRIVER_SWITCHING ? 0 : next_part(bytes, 1e-2, 1e4);
    plan->forward = led ? next_part(bytes, 0.1, 100) : 0;
    plan->dynamic_resistance = led && (plan->driver || plan->resistor > 0) ? next_part(bytes, 1e-2, 1e3) : led ? 1 : 0;
    plan->current = plan->driver ? next_size(bytes, 1e-4, 10) : 0;
    if (led && !plan->direct && next_byte(bytes) % 2) {
        plan->rise = next_part(bytes, 1e-8, 1e-2);
        plan->fall = next_part(bytes, 1e-8, 1e-2);
    } else if (!plan->direct) {
        plan->source = next_supply(bytes);
    }
    plan->rated_volts = led ? 0 : plan->supply * next_size(bytes, 0.45, 20);
    plan->rated_watts = led ? 0 : next_size(bytes, 1e-2, 1e3);
    plan->time_constant = led ? 0 : next_size(bytes, 1e-3, 10);
}

static enum dw_status look(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct driven *seen = context;
    const struct dw_lamp_plan *plan = seen->plan;
    const double light = row->output[seen->outputs - 1];
    demand(light >= -1e-9, "no light is below none");
    if (plan->kind == DW_LAMP_FILAMENT)
        demand(row->state[DW_LAMP_STATE] >= DW_FILAMENT_COLD / DW_FILAMENT_RATED * (1 - 1e-9), "a filament is not colder than the room");
    return see_row(seen, row, light, error);
}

static void set(const struct driven *seen, struct bytes *bytes, bool high, double *input)
{
    const struct dw_lamp_plan *plan = seen->plan;
    *input = !high ? 0 : plan->direct ? plan->supply * 2 * next_share(bytes) : 3.3;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct bytes bytes = { data, size };
    struct dw_lamp_plan plan;
    struct dw_error error = { .status = DW_OK };
    choose_plan(&bytes, &plan);
    struct dw_lamp *lamp = dw_lamp_new(&plan, &error);
    if (!lamp) {
        demand_error(&error, DW_BAD_USE, DW_BAD_USE);
        return 0;
    }
    /* a filament is stepped through, at the pace of its supply */
    struct driven seen = { .plan = &plan, .full = 1, .slack = 1e-9, .period = next_size(&bytes, 1e-7, plan.source.bulk > 0 ? 1e-2 : 10), .quiet = true };
    double input[DW_LAMP_INPUTS] = { 0 };
    drive(dw_lamp_plant(lamp), look, &seen, &bytes, set, input);
    const double duty = dw_lamp_duty(&plan, next_share(&bytes), seen.period);
    demand(isnan(duty) || (duty >= 0 && duty <= 1), "the duty for a light is one, or none");
    demand(dw_lamp_full_current(&plan) >= 0 && dw_lamp_cold_current(&plan) >= 0, "currents are not below none");
    dw_lamp_free(lamp);
    return 0;
}
