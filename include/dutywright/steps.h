/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Codes of a counter at which a lamp's steps look even. docs/theory.md, section 11. */
#ifndef DUTYWRIGHT_STEPS_H
#define DUTYWRIGHT_STEPS_H

#include <dutywright/lamp.h>
#include <dutywright/light.h>

#ifdef __cplusplus
extern "C" {
#endif

enum { DW_STEPS_MOST = 1 << 20, DW_STEPS_BITS_MOST = 32 };

struct dw_steps_plan {
    const struct dw_lamp_plan *lamp;  /* behind a switch */
    size_t count;                     /* of steps, 2 to DW_STEPS_MOST, from dark to fully on */
    int bits;                         /* of the code, 1 to DW_STEPS_BITS_MOST: of 2^bits - 1 counts a period as many are on */
    double clock;                     /* Hz, > 0; 0: not known, where the lamp has neither rise nor fall */
    unsigned long long prescale;      /* >= 1 */
};

struct dw_step {
    double lightness, light, duty;  /* wanted: 100 k / (count - 1), its light, the duty for that light */
    unsigned long long code;        /* nearest to the duty; code / (2^bits - 1) is the one given */
    bool repeats;                   /* the code of the step before */
};

/*   returns  DW_BAD_USE: a value out of range, the lamp is no lamp, its rise and fall do not fit into a period */
DW_API enum dw_status dw_steps_check(const struct dw_steps_plan *plan, struct dw_error *error);
/* A step, counted from 0, of a plan that was found good.
 *   source   docs/theory.md, (11.8): floor(Y (2^bits - 1) + 1/2), Y the duty for the light of the step's lightness */
DW_API struct dw_step dw_steps_step(const struct dw_steps_plan *plan, size_t k);
/* Hz, of the counter; NaN where the clock is not known. */
DW_API double dw_steps_frequency(const struct dw_steps_plan *plan);
/* How many steps repeat the code of the one before. */
DW_API size_t dw_steps_repeated(const struct dw_steps_plan *plan);
/* The fewest bits, no fewer than the plan's, at which no code repeats, each number of them tried with the prescale that keeps the
 * plan's frequency, or is 1.
 *   returns  whether there are; then plan is changed */
DW_API bool dw_steps_refine(struct dw_steps_plan *plan);

#ifdef __cplusplus
}
#endif
#endif
