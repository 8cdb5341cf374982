/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Moves of so many steps: when each step's pulse comes, while the rate of steps rises, holds and falls. */
#ifndef DUTYWRIGHT_RAMP_H
#define DUTYWRIGHT_RAMP_H

#include <dutywright/status.h>

#ifdef __cplusplus
extern "C" {
#endif

struct dw_ramp_plan {
    double start_rate;    /* 1/s, from 0 to top_rate: the first and the last interval are of this rate or a higher one */
    double top_rate;      /* 1/s, above 0 */
    double acceleration;  /* 1/s^2, above 0; INFINITY: all steps come at the top rate */
    double jerk;          /* 1/s^3, above 0, how fast the acceleration changes; INFINITY: at once */
};

/* Rate against time from the first pulse, at place 0, to the last, at place `length`; the second half is the first one reversed. */
struct dw_ramp {
    struct dw_ramp_plan plan;
    double length;              /* steps, from the first pulse to the last */
    double duration;            /* s */
    double peak;                /* 1/s, the highest rate: the top rate, unless the move is too short for it */
    double rise_time;           /* s, from the start rate to the peak */
    double rise_length;         /* steps meanwhile */
    double jerk_time;           /* s, during which the acceleration rises, and then again falls; 0: it does not */
};

/* Makes the profile of a move.
 *   pulses    1 or more
 *   returns   DW_OK; DW_BAD_USE with the member's name: a number out of its range, a start rate above the top rate, too many pulses
 *             for doubles to tell their times apart (2^45)
 *   source    docs/theory.md, (1.13) and (1.14) */
DW_API enum dw_status dw_ramp_new(const struct dw_ramp_plan *plan, double pulses, struct dw_ramp *ramp, struct dw_error *error);
/* When a place is passed; pulse k, from 0, comes at place k.
 *   place     steps, 0 to length
 *   returns   s, from the first pulse
 *   source    the inverse of the profile in closed form, no recurrence: docs/theory.md, (1.15)
 *   accuracy  16 DBL_EPSILON of the duration */
DW_API double dw_ramp_time(const struct dw_ramp *ramp, double place);
/* Whole ticks of a counter from an instant on: up to one tick late, never early, and what is rounded is not carried on.
 *   time, tick  s; tick above 0
 *   returns     how many, rounded up; a time within 4 ulp of a whole number of them is that many */
DW_API double dw_ramp_ticks(double time, double tick);

#ifdef __cplusplus
}
#endif
#endif
