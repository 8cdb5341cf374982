/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What all modes have in common, linear or not: sizes, scales, names and room. */
#include "linear/modes_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Natural scales within which neither squares nor their sums leave the range of numbers. */
static const double smallest = 1e-100, largest = 1e100;

enum dw_status dwi_modes_check_sizes(size_t count, size_t states, size_t inputs, size_t outputs, struct dw_error *error)
{
    if (states >= 1 && states <= DW_STATES && inputs <= DW_INPUTS && outputs <= DW_OUTPUTS && count >= 1)
        return DW_OK;
    return dw_error_set(error, DW_BAD_USE, 0,
                        "%zu modes of %zu states, %zu inputs, %zu outputs: needs a mode, 1 to %d states, up to %d inputs, %d "
                        "outputs",
                        count, states, inputs, outputs, DW_STATES, DW_INPUTS, DW_OUTPUTS);
}

enum dw_status dwi_modes_check_scales(const char *what, const double *scale, size_t count, struct dw_error *error)
{
    for (size_t j = 0; j < count; j++)
        if (!scale || !(scale[j] >= smallest && scale[j] <= largest))
            return dw_error_set(error, DW_BAD_USE, 0, "%s %zu: a natural scale of %g: expected from %g to %g", what, j + 1,
                                scale ? scale[j] : NAN, smallest, largest);
    return DW_OK;
}

enum dw_status dwi_modes_check_guards(const char *name, size_t count, struct dw_error *error)
{
    return count <= MODE_GUARDS ? DW_OK : dw_error_set(error, DW_BAD_USE, 0, "mode '%s' has %zu guards: up to %d",
                                                       name ? name : "unnamed", count, MODE_GUARDS);
}

enum dw_status dwi_modes_add(struct dw_modes *modes, size_t i, const char *name, size_t guards, size_t numbers, struct dw_error *error)
{
    struct mode *mode = modes->modes[i] = calloc(1, sizeof *mode);
    if (!mode)
        return dw_no_memory(error);
    mode->name = strdup(name ? name : "unnamed");
    mode->guards = calloc(guards + 1, sizeof *mode->guards);
    mode->outputs = calloc(modes->outputs + 1, sizeof *mode->outputs);
    mode->memory = malloc((numbers + 1) * sizeof *mode->memory);
    mode->guard_count = guards;
    return mode->name && mode->guards && mode->outputs && mode->memory ? DW_OK : dw_no_memory(error);
}

void dwi_modes_drop(struct dw_modes *modes, size_t i)
{
    struct mode *mode = modes->modes[i];
    modes->modes[i] = NULL;
    if (!mode)
        return;
    free(mode->name);
    free(mode->guards);
    free(mode->outputs);
    free(mode->memory);
    dw_system_free(mode->system);
    dw_system_free(mode->counted);
    free(mode);
}

struct dw_modes *dwi_modes_allocate(const struct dw_modes_plan *plan, struct dw_error *error)
{
    struct dw_modes *modes = calloc(1, sizeof *modes);
    if (modes) {
        *modes = (struct dw_modes){ .states = plan->states, .inputs = plan->inputs, .outputs = plan->outputs, .probes = plan->probes,
                                    .count = plan->mode_count };
        /* NOLINTNEXTLINE(clang-analyzer-optin.portability.UnixAPI,bugprone-sizeof-expression): it has a mode; pointers are meant */
        modes->modes = calloc(modes->count, sizeof *modes->modes);
        modes->scale = malloc((modes->outputs + 1) * sizeof *modes->scale);
    }
    if (!modes || !modes->modes || !modes->scale) {
        dw_no_memory(error);
        dw_modes_free(modes);
        return NULL;
    }
    for (size_t j = 0; j < modes->outputs; j++)
        modes->scale[j] = plan->scale[j];
    for (size_t j = 0; plan->drifts && j < modes->states; j++)
        modes->drifts[j] = plan->drifts[j];
    return modes;
}

double dw_modes_scale(const struct dw_modes *modes, size_t output)
{
    return modes->scale[output];
}

void dw_modes_free(struct dw_modes *modes)
{
    if (!modes)
        return;
    for (size_t i = 0; modes->modes && i < modes->count; i++)
        dwi_modes_drop(modes, i);
    free(modes->modes);
    free(modes->scale);
    free(modes);
}
