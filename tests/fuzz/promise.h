/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the fuzzed functions share: promises, and bytes taken as choices and sizes. */
#ifndef TESTS_FUZZ_PROMISE_H
#define TESTS_FUZZ_PROMISE_H

#include <dutywright/plant.h>
#include <dutywright/status.h>
#include <dutywright/supply.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
extern const int replay_changes;  /* how many changes of a kept input are tried where no fuzzer runs */

/* A promise was broken: stops where a debugger or a fuzzer sees it. */
static inline void demand(bool kept, const char *promise)
{
    if (kept)
        return;
    fprintf(stderr, "broken: %s\n", promise);
    abort();
}

/* An error is of the kind that bad values may give, and one line. */
static inline void demand_error(const struct dw_error *error, enum dw_status one, enum dw_status other)
{
    demand(error->status == one || error->status == other, "a refusal is of the promised kind");
    demand(*error->text && !strchr(error->text, '\n'), "an error is one line");
}

struct bytes {
    const uint8_t *data;
    size_t size;
};

/* The next byte, 0 at the end. */
static inline unsigned next_byte(struct bytes *bytes)
{
    if (!bytes->size)
        return 0;
    bytes->size--;
    return *bytes->data++;
}

/* 0..1 from two bytes, both ends reached. */
static inline double next_share(struct bytes *bytes)
{
    const unsigned high = next_byte(bytes);
    return (256 * high + next_byte(bytes)) / 65535.0;
}

/* From low to high, even in the logarithm. */
static inline double next_size(struct bytes *bytes, double low, double high)
{
    return low * pow(high / low, next_share(bytes));
}

/* The same, or zero for one choice in four. */
static inline double next_part(struct bytes *bytes, double low, double high)
{
    return next_byte(bytes) % 4 ? next_size(bytes, low, high) : 0;
}

/* Of one that gives way, for one choice in four; else all zero. */
static inline struct dw_supply next_supply(struct bytes *bytes)
{
    struct dw_supply supply = { .bulk = 0 };
    if (next_byte(bytes) % 4 == 0) {
        supply.line_resistance = next_size(bytes, 1e-3, 1);
        supply.bulk = next_part(bytes, 1e-5, 1e-2);
        supply.bulk_resistance = next_part(bytes, 1e-3, 1);
    }
    return supply;
}

/* ---- what pulses drive ---- */

enum { DRIVEN_ROWS = 20000 };  /* then a run is ended */

/* A run that is driven by pulses, and what has been seen of it. */
struct driven {
    const void *plan;
    double period;                /* s */
    size_t outputs, rows;
    double full, slack;           /* J, natural size; by such a share of it rounding may raise what is stored */
    bool quiet, falling;          /* nothing else drives it: while the pin is low, energy falls */
    double time, energy;          /* of the last row, J */
};

/* A row is finite and later, and its energy, J, no more than before while it falls. */
static inline enum dw_status see_row(struct driven *seen, const struct dw_run_row *row, double energy, struct dw_error *error)
{
    demand(row->time >= seen->time, "time does not go back");
    for (size_t i = 0; i < seen->outputs; i++)
        demand(isfinite(row->output[i]), "an output is finite");
    demand(isfinite(energy), "a state is finite");
    if (seen->falling)
        demand(energy <= seen->energy + seen->slack * (seen->full + seen->energy), "energy falls with the gates off");
    seen->energy = energy;
    seen->time = row->time;
    return ++seen->rows < DRIVEN_ROWS ? DW_OK : dw_error_set(error, DW_NO, 0, "enough rows");
}

/* Inputs while the pin is high or low; what it leaves stays. */
typedef void set_input(const struct driven *seen, struct bytes *bytes, bool high, double *input);

/* Drives a plant with pulses of crooked lengths about the period; where it is refused, as promised.
 *   sink     of rows, with `seen` as its context
 *   input    as the run starts */
static inline void drive(struct dw_plant *plant, dw_run_sink *sink, struct driven *seen, struct bytes *bytes, set_input *set, double *input)
{
    struct dw_error error = { .status = DW_OK };
    const struct dw_run_options options = { .accuracy = 1e-2, .sink = sink, .context = seen };
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), &options, &error);
    double state[DW_STATES], time = 0;
    const size_t mode = dw_plant_rest(plant, state);
    demand(run != NULL, "a run begins");
    seen->outputs = dw_plant_outputs(plant);
    seen->time = -1;
    enum dw_status status = dw_run_start(run, 0, mode, state, input, &error);
    for (int k = 0; k < 8 && status == DW_OK; k++) {
        const bool high = k % 2 == 0;
        seen->falling = false;
        set(seen, bytes, high, input);
        status = dw_run_feed(run, time, input, &error);
        seen->falling = seen->quiet && !high;
        time += seen->period * (0.01 + next_share(bytes));
        if (status == DW_OK)
            status = dw_run_feed(run, time, input, &error);
    }
    if (status != DW_OK)
        demand_error(&error, DW_BAD_USE, DW_NO);
    dw_run_free(run);
}

#endif
