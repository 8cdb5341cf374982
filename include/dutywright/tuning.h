/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Settings of a pid law from the plant. docs/theory.md, section 16. */
#ifndef DUTYWRIGHT_TUNING_H
#define DUTYWRIGHT_TUNING_H

#include <dutywright/margins.h>

#ifdef __cplusplus
extern "C" {
#endif

enum dw_law_terms { DW_TERMS_P, DW_TERMS_PI, DW_TERMS_PID };

/* For the members of struct dw_law_plan; of the parallel form, as laws here are. */
struct dw_tuned {
    double gain;                  /* 1/Q */
    double integral_time;         /* s; INFINITY: none */
    double derivative_time;       /* s */
};

/* From the gain alone with which the loop begins to oscillate, and the period of that: dw_sampled_ultimate.
 *   gain     1/Q, not 0
 *   period   s, > 0 and finite
 *   tuned    out; untouched on error
 *   returns  DW_OK; DW_BAD_USE
 *   source   Ziegler and Nichols 1942, Trans. ASME 64:759: docs/theory.md, table 16.1 */
DW_API enum dw_status dw_tune_ultimate(double gain, double period, enum dw_law_terms terms, struct dw_tuned *tuned, struct dw_error *error);

/* A plant as tuning sees it: gain exp(-delay s) / ((lag[0] s + 1) (lag[1] s + 1)). */
struct dw_lag_model {
    double gain;                  /* Q; where it integrates Q/s: what a duty of 1 adds a second */
    double lag[2];                /* s, the longer first; lag[0] INFINITY: it integrates; lag[1] 0: of first order */
    double delay;                 /* s, with half a sample for the hold */
};

/* A sampled plant reduced to that by the half rule.
 *   closed   s, > 0, the time constant wanted: it decides which lag a zero goes with
 *   terms    DW_TERMS_PID: of second order
 *   model    out; untouched on error
 *   returns  DW_OK; DW_NO: a plant that runs away, oscillates by itself (damping below 1/2) or integrates twice, or that does not follow
 *            the duty; DW_BAD_USE as dw_loop_poles
 *   source   Skogestad 2003, J. Process Control 13:291, sections 2 and 3: docs/theory.md, (16.12) and (16.13)
 *   accuracy 1e-6 for what the half rule leaves exact */
DW_API enum dw_status dw_lag_model(const struct dw_sampled *sampled, double closed, enum dw_law_terms terms, struct dw_lag_model *model,
                                   struct dw_error *error);
/* Settings with which that follows as a lag of so long behind its delay.
 *   model    its gain not 0, lag[0] > 0, lag[1] and the delay >= 0
 *   closed   s, > 0; the delay is the tightest that is robust
 *   returns  DW_OK; DW_BAD_USE
 *   source   there, equations 23 to 25, series form; docs/theory.md, (16.14) */
DW_API enum dw_status dw_tune_simc(const struct dw_lag_model *model, double closed, enum dw_law_terms terms, struct dw_tuned *tuned,
                                   struct dw_error *error);
/* Series form, gain (1 + 1/(ti s)) (1 + td s), as the parallel one.
 *   gain             1/Q
 *   integral_time    s, > 0; INFINITY: none
 *   derivative_time  s, >= 0
 *   source           docs/theory.md, (16.15)
 *   accuracy         4 ulp of each */
DW_API struct dw_tuned dw_tune_from_series(double gain, double integral_time, double derivative_time);

#ifdef __cplusplus
}
#endif
#endif
