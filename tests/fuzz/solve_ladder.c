/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any ladder is solved or refused: states stay finite, energy only falls while the pin is at zero, one stretch is its two
 * halves, a steady state comes back after its period, and rows come to an end. */
#include "config.h"
#include "promise.h"
#include <dutywright/ladder.h>

const int replay_changes = 20; /* scripts/fuzz short: 300 inputs */

enum { STRETCHES = 6, MOST_ROWS = 4000 };

static void choose_plan(struct bytes *bytes, struct dw_stage *stages, struct dw_ladder_plan *plan)
{
    plan->stages = stages;
    plan->count = 1 + next_byte(bytes) % DW_STAGES;
    plan->source = next_part(bytes, 1e-3, 1e6);
    plan->load = next_part(bytes, 1e-1, 1e9);
    for (size_t i = 0; i < plan->count; i++) {
        struct dw_stage *stage = &stages[i];
        const unsigned damped = next_byte(bytes) % 8;
        *stage = (struct dw_stage){ .r = next_part(bytes, 1e-3, 1e7), .l = next_part(bytes, 1e-9, 10),
                                    .c = next_part(bytes, 1e-12, 0.1), .esr = next_part(bytes, 1e-4, 1e3),
                                    .leak = next_part(bytes, 1, 1e10) };
        if (damped & 1) {
            stage->rd = next_size(bytes, 1e-3, 1e6);
            stage->cd = next_size(bytes, 1e-12, 0.1);
        }
        if (damped & 2)
            stage->rp = next_size(bytes, 1e-3, 1e6);
        if (damped & 4)
            stage->lp = next_part(bytes, 1e-9, 10);
    }
}

static void demand_finite(const double *values, size_t count, const char *promise)
{
    for (size_t i = 0; i < count; i++)
        demand(isfinite(values[i]), promise);
}

/* A stretch, and the same in two halves, compared in the energy of their difference. */
static void advance(const struct dw_ladder *ladder, struct dw_system *system, double *state, double start, double end,
                    double length, double supply_energy)
{
    double halves[DW_STATES], difference[DW_STATES], output[DW_OUTPUTS], middle = start + (end - start) / 2;
    struct dw_error error = { .status = DW_OK };
    const size_t states = dw_system_states(system);
    const double before = dw_ladder_energy(ladder, state);
    memcpy(halves, state, sizeof halves);
    if (dw_system_advance(system, &(struct dw_interval){ state, &start, &end, length, NULL }, 0, state, &error) != DW_OK) {
        demand_error(&error, DW_BAD_USE, DW_BAD_USE);
        return;
    }
    demand_finite(state, states, "a state is finite");
    dw_system_output(system, state, &end, output);
    demand_finite(output, dw_system_outputs(system), "an output is finite");
    /* advance is good to 1e-15 of the largest state in the energy norm, so 1e-12 of the energy with room for six stages */
    const double scale = fmax(before, fmax(dw_ladder_energy(ladder, state), supply_energy));
    if (start == 0 && end == 0)
        demand(dw_ladder_energy(ladder, state) <= before + 1e-12 * scale, "energy falls while the pin is at zero");
    if (dw_system_advance(system, &(struct dw_interval){ halves, &start, &middle, length / 2, NULL }, 0, halves, &error) == DW_OK
        && dw_system_advance(system, &(struct dw_interval){ halves, &middle, &end, length / 2, NULL }, 0, halves, &error) == DW_OK) {
        for (size_t i = 0; i < states; i++)
            difference[i] = halves[i] - state[i];
        demand(dw_ladder_energy(ladder, difference) <= 1e-24 * scale, "a stretch is its two halves");
    }
}

static enum dw_status count_row(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct {
        size_t rows, outputs, states;
        double time;
    } *seen = context;
    demand(row->time >= seen->time, "time does not go back");
    demand_finite(row->output, seen->outputs, "an output of a run is finite");
    demand_finite(row->state, seen->states, "a state of a run is finite");
    seen->time = row->time;
    return ++seen->rows < MOST_ROWS ? DW_OK : dw_error_set(error, DW_NO, 0, "enough rows");
}

/* Rows of a few periods; then the steady state of one, which must come back. */
static void run(const struct dw_ladder *ladder, struct bytes *bytes)
{
    struct dw_error error = { .status = DW_OK };
    const double supply = 5, period = next_size(bytes, 1e-7, 1), high = period * (0.02 + 0.96 * next_share(bytes));
    const double time[] = { 0, high, high, period }, pin[] = { supply, supply, 0, 0 };
    struct dw_ladder_setup setup = { .supply = supply, .threshold = 2.5, .diode_drop = next_part(bytes, 0.01, 2), .all = true,
                                     .drive = next_byte(bytes) % 2 ? DW_ONE_SWITCH : DW_PUSH_PULL };
    struct dw_plant *plant = dw_ladder_plant_new(ladder, &setup, &error);
    if (!plant) {
        demand_error(&error, DW_BAD_USE, DW_BAD_USE);
        return;
    }
    struct {
        size_t rows, outputs, states;
        double time;
    } seen = { .outputs = dw_ladder_outputs(ladder), .states = dw_ladder_states(ladder), .time = -1 };
    struct dw_modes *modes = dw_plant_modes(plant);
    struct dw_run *one = dw_run_new(modes, &(struct dw_run_options){ .accuracy = 1e-2, .sink = count_row, .context = &seen },
                                    &error);
    double state[DW_STATES] = { 0 };
    demand(one != NULL, "a run begins");
    enum dw_status status = dw_run_start(one, 0, 0, state, pin, &error);
    for (int k = 0; k < 3 && status == DW_OK; k++)
        for (size_t i = 0; i < 4 && status == DW_OK; i++)
            status = dw_run_feed(one, k * period + time[i], &pin[i], &error);
    if (status != DW_OK)
        demand_error(&error, DW_BAD_USE, DW_NO);
    dw_run_free(one);
    size_t mode = 0;
    struct dw_steady steady;
    memset(state, 0, sizeof state);
    if (dw_modes_steady(modes, &(struct dw_period){ time, pin, 4, NULL }, &mode, state, &steady, &error) == DW_OK)
        demand_finite(state, seen.states, "a steady state is finite");
    else
        demand_error(&error, DW_BAD_USE, DW_NO);
    dw_plant_free(plant);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct bytes bytes = { data, size };
    struct dw_stage stages[DW_STAGES];
    struct dw_ladder_plan plan;
    struct dw_error error = { .status = DW_OK };
    choose_plan(&bytes, stages, &plan);
    struct dw_ladder *ladder = dw_ladder_new(&plan, &error);
    if (!ladder) {
        demand_error(&error, DW_BAD_USE, DW_BAD_USE);
        return 0;
    }
    struct dw_system *system = dw_ladder_system(ladder, &error);
    demand(system != NULL, "a ladder is a system");
    double state[DW_STATES] = { 0 }, charged[DW_STATES];
    dw_ladder_charged(ladder, 5, charged);
    for (int k = 0; k < STRETCHES; k++) {
        const double start = 5 * (double)(next_byte(&bytes) % 3) / 2, end = k % 2 ? start : 5 * next_share(&bytes);
        const bool rest = next_byte(&bytes) % 2;
        advance(ladder, system, state, rest ? 0 : start, rest ? 0 : end, next_size(&bytes, 1e-9, 10),
                dw_ladder_energy(ladder, charged));
    }
    run(ladder, &bytes);
    dw_system_free(system);
    dw_ladder_free(ladder);
    return 0;
}
