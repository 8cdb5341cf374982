/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a table drives: a switching system with names for what it gives, and a state at rest. Every load makes one; whatever runs,
 * fits or controls a load works on it. */
#ifndef DUTYWRIGHT_PLANT_H
#define DUTYWRIGHT_PLANT_H

#include <dutywright/equations.h>

#ifdef __cplusplus
extern "C" {
#endif

/* An output. Its words must live as long as the plant. */
struct dw_port {
    const char *name, *unit;  /* as a channel of a table has them */
    double scale;             /* natural size in that unit: --accuracy is relative to it; 1e-100 to 1e100 */
    double initial;           /* at rest, before anything is fed; NaN: not known */
};

struct dw_plant_plan {
    struct dw_modes_plan modes;            /* its scale is not looked at: the ports have it */
    const struct dw_equations *equations;  /* instead of modes, likewise; NULL: modes */
    const struct dw_port *ports;           /* [outputs] */
    size_t mode;                           /* at rest: to begin with, or to begin looking from */
    const double *rest;                    /* [states]; NULL: zero */
    void *load;                            /* what stands behind it, the plant's from now on; may be NULL */
    void (*release)(void *load);           /* frees that; NULL: nothing does */
};

struct dw_plant;

/* Copies the plan, but for the words.
 *   returns  NULL with what dw_modes_new or dw_modes_new_smooth refuses; DW_BAD_USE: no such mode at rest; DW_NO_MEMORY. The load
 *            then remains the caller's */
DW_API struct dw_plant *dw_plant_new(const struct dw_plant_plan *plan, struct dw_error *error);
DW_API void dw_plant_free(struct dw_plant *plant);
/* The switching system: runs and steady states are had from it. The plant's. One run or search at a time. */
DW_API struct dw_modes *dw_plant_modes(const struct dw_plant *plant);
DW_API size_t dw_plant_states(const struct dw_plant *plant);
DW_API size_t dw_plant_inputs(const struct dw_plant *plant);
DW_API size_t dw_plant_outputs(const struct dw_plant *plant);
/*   output   below dw_plant_outputs */
DW_API struct dw_port dw_plant_port(const struct dw_plant *plant, size_t output);
/* The output of that name; dw_plant_outputs where there is none. */
DW_API size_t dw_plant_output(const struct dw_plant *plant, const char *name);
/* Where it rests.
 *   state    out, [states]; may be NULL
 *   returns  the mode */
DW_API size_t dw_plant_rest(const struct dw_plant *plant, double *state);
/* Whether a state need not come back after a period, such as an angle, as the plan has it. */
DW_API bool dw_plant_drifts(const struct dw_plant *plant, size_t state);
/* The load behind it, as the plan has it: of a motor's plant the motor. */
DW_API const void *dw_plant_load(const struct dw_plant *plant);

#ifdef __cplusplus
}
#endif
#endif
