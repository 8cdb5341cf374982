/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A pulse train through a load, measured: the usual chain in one call. docs/library.md has examples. */
#ifndef DUTYWRIGHT_CHAIN_H
#define DUTYWRIGHT_CHAIN_H

#include <dutywright/measure.h>
#include <dutywright/plant.h>
#include <dutywright/pulse.h>

#ifdef __cplusplus
extern "C" {
#endif

struct dw_chain {
    const struct dw_pulse_train *train;  /* one that repeats; its length is not looked at */
    struct dw_plant *plant;              /* its first input is the train's pin, the others are 0 */
    size_t output;                       /* which of its outputs is measured */
    double accuracy;                     /* of the rows between, as in struct dw_follow_plan: 2e-8, say */
};

/* Measures one whole period of the steady state that is reached from rest, as dw-pwm, the load with --start steady, and dw-measure do.
 *   result   out, [DW_MEASURES], by enum dw_measure; settling is not had where nothing settles any more. Untouched on error
 *   returns  DW_OK; DW_BAD_USE: a train that is none or does not repeat, no such output, an accuracy that a run refuses; DW_NO: no
 *            steady state; DW_NO_MEMORY
 *   accuracy each result says how far it may be off, by what the rows are asked to follow */
DW_API enum dw_status dw_chain_measure(const struct dw_chain *chain, struct dw_result result[DW_MEASURES], struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
