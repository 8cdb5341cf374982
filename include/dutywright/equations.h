/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Smooth equations behind the same run as linear modes: x' = f(mode, t, x, u), y = g(mode, t, x, u). A mode lasts while all its
 * guards are >= 0; the first that falls below zero ends it, and `leave` names the mode that follows and may change the state.
 * A timer is a state with a rate of 1. docs/theory.md, section 2, (2.16) to (2.20). */
#ifndef DUTYWRIGHT_EQUATIONS_H
#define DUTYWRIGHT_EQUATIONS_H

#include <dutywright/modes.h>

#ifdef __cplusplus
extern "C" {
#endif

struct dw_equations_mode {
    const char *name;    /* for messages: "rotor sticks"; NULL: unnamed */
    size_t guard_count;  /* up to 16 */
};

/* What the functions have in common:
 *   of      the plan's own pointer
 *   mode    counted from 0
 *   time    s
 *   state   [states]
 *   input   [inputs]
 * Within a mode they must be smooth, and defined a little beyond its guards' zeros and the rows fed, where trial steps look. */
struct dw_equations {
    size_t states, inputs, outputs;
    const struct dw_equations_mode *modes;
    size_t mode_count;
    const double *state_scale;  /* [states], natural size of each state; 1e-100 to 1e100 */
    const double *scale;        /* [outputs], natural scale: --accuracy is relative to it; 1e-100 to 1e100 */
    const bool *drifts;         /* [states], true: need not come back in a steady state (an angle); NULL: none */
    double tolerance;           /* estimated error of one step, relative to state_scale; 1e-13 to 1e-3; 0: 1e-10 */
    const void *of;             /* lives as long as the modes */
    /* x'.  rate: out, [states] */
    void (*rate)(const void *of, size_t mode, double time, const double *state, const double *input, double *rate);
    /* y.  output: out, [outputs]; NULL: none */
    void (*output)(const void *of, size_t mode, double time, const double *state, const double *input, double *output);
    /* guard: out, [guard_count of the mode], each in units of its natural size (supply, stall current); NULL: none */
    void (*guards)(const void *of, size_t mode, double time, const double *state, const double *input, double *guard);
    /* A guard has fallen below zero: the next mode, and the state after it, which may be changed. NULL: no guards
     *   guard  which, counted from 0: in rows, the event's tag */
    size_t (*leave)(const void *of, size_t mode, size_t guard, double time, double *state, const double *input);
};

/* Copies and checks the plan, but for what `of` points to. What is returned runs, finds its steady state, tells its scales and is
 * freed as modes are: dw_run_new, dw_modes_steady, dw_modes_scale, dw_modes_free.
 *   returns   NULL with DW_BAD_USE (a size, scale or tolerance out of range, a function missing) or DW_NO_MEMORY
 *   dw_run_start and dw_run_feed also give DW_BAD_USE where `leave` names no mode or leaves a state that is not finite, or an
 *             interval would take more than 16777216 steps (the method is explicit: a step is about 3 / the fastest rate at
 *             most); DW_NO where a step would be below 1e-13 of the interval or 4 ulp of the time: a rate jumps, grows without
 *             bound or is not finite
 *   source    Dormand and Prince 1980, J. Comput. Appl. Math. 6:19, order 5 with an estimate of order 4; a step also stands
 *             only if the solution at its half agrees with the cubic through its ends (docs/theory.md, (2.18))
 *   accuracy  states: the tolerance a step, the error of the higher order being well below it. Rows: outputs and states between
 *             rows within the accuracy of the run (at least 4e-12); input rows, extrema, events and uniform rows are stepped
 *             to. Events to 1e-12 of the interval between two input rows, with |g| <= 1e-13.
 *             That no event is missed is proved for linear modes only: here a guard is believed to be the cubic of the step,
 *             checked at its half. A dip below zero and back within one step is seen where the cubic shows it, and then
 *             decided on the solution itself
 *   steady    the orbit by central differences of the period map: it comes back within the tolerance (at least 1e-12) of each
 *             state's largest value, and a radius within 1e-6 of 1 counts as 1 */
DW_API struct dw_modes *dw_modes_new_smooth(const struct dw_equations *equations, struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
