/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/plant.h>
#include <stdlib.h>
#include <string.h>

struct dw_plant {
    struct dw_modes *modes;
    size_t states, inputs, outputs, mode;
    double rest[DW_STATES];
    bool drifts[DW_STATES];
    struct dw_port port[DW_OUTPUTS];
    void *load;
    void (*release)(void *load);
};

/* Its modes or equations, with the ports' sizes; how many of what there are. NULL: refused. */
static struct dw_modes *make_modes(const struct dw_plant_plan *plan, struct dw_plant *plant, struct dw_error *error)
{
    struct dw_modes_plan modes = plan->modes;
    struct dw_equations equations = { .states = 0 };
    double scale[DW_OUTPUTS] = { 0 };
    if (plan->equations) {
        equations = *plan->equations;
        modes = (struct dw_modes_plan){ .states = equations.states, .inputs = equations.inputs, .outputs = equations.outputs,
                                        .mode_count = equations.mode_count, .drifts = equations.drifts };
    }
    if (plan->mode >= modes.mode_count) {
        dw_error_member(error, "mode", "a plant rests in mode %zu of %zu", plan->mode + 1, modes.mode_count);
        return NULL;
    }
    for (size_t i = 0; i < modes.outputs && i < DW_OUTPUTS; i++) {
        plant->port[i] = plan->ports[i];
        scale[i] = plan->ports[i].scale;
    }
    plant->states = modes.states;
    for (size_t i = 0; modes.drifts && i < modes.states && i < DW_STATES; i++)
        plant->drifts[i] = modes.drifts[i];
    plant->inputs = modes.inputs;
    plant->outputs = modes.outputs;
    equations.scale = modes.scale = scale;
    return plan->equations ? dw_modes_new_smooth(&equations, error) : dw_modes_new(&modes, error);
}

struct dw_plant *dw_plant_new(const struct dw_plant_plan *plan, struct dw_error *error)
{
    struct dw_plant *plant = calloc(1, sizeof *plant);
    if (!plant) {
        dw_no_memory(error);
        return NULL;
    }
    plant->modes = make_modes(plan, plant, error);
    if (!plant->modes) {
        free(plant);
        return NULL;
    }
    plant->mode = plan->mode;
    plant->load = plan->load;
    plant->release = plan->release;
    if (plan->rest)
        memcpy(plant->rest, plan->rest, plant->states * sizeof *plan->rest);
    return plant;
}

void dw_plant_free(struct dw_plant *plant)
{
    if (!plant)
        return;
    dw_modes_free(plant->modes);
    if (plant->release)
        plant->release(plant->load);
    free(plant);
}

struct dw_modes *dw_plant_modes(const struct dw_plant *plant)
{
    return plant->modes;
}

size_t dw_plant_states(const struct dw_plant *plant)
{
    return plant->states;
}

bool dw_plant_drifts(const struct dw_plant *plant, size_t state)
{
    return plant->drifts[state];
}

size_t dw_plant_inputs(const struct dw_plant *plant)
{
    return plant->inputs;
}

size_t dw_plant_outputs(const struct dw_plant *plant)
{
    return plant->outputs;
}

struct dw_port dw_plant_port(const struct dw_plant *plant, size_t output)
{
    return plant->port[output];
}

size_t dw_plant_output(const struct dw_plant *plant, const char *name)
{
    size_t i = 0;
    while (i < plant->outputs && strcmp(plant->port[i].name, name) != 0)
        i++;
    return i;
}

size_t dw_plant_rest(const struct dw_plant *plant, double *state)
{
    if (state)
        memcpy(state, plant->rest, plant->states * sizeof *state);
    return plant->mode;
}

const void *dw_plant_load(const struct dw_plant *plant)
{
    return plant->load;
}
