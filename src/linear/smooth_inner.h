/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Smooth equations: instants of a run, steps between them, and cubics along a step. docs/theory.md, (2.16) to (2.19). */
#ifndef LINEAR_SMOOTH_INNER_H
#define LINEAR_SMOOTH_INNER_H

#include <dutywright/cubic.h>
#include "linear/modes_inner.h"

enum {
    STAGES = 7,
    CURVES = MODE_GUARDS + DW_OUTPUTS
};

#define CLOSEST 0x1p-38  /* of a natural scale: slopes by differences know no cubic more closely */

/* An instant of a run in its present mode. Its curves are the mode's guards and then the outputs. */
struct knot {
    double offset, time;  /* s, from the interval's start; the time there */
    double state[DW_STATES], rate[DW_STATES], input[DW_INPUTS], input_slope[DW_INPUTS];
    double value[CURVES], slope[CURVES];
};

/* Input at an offset of the interval. */
void dwi_step_input(const struct dw_run *run, double offset, double *input);
void dwi_step_slope(const struct dw_run *run, double offset, double *slope);
/* Sets time and input of a knot from its offset; then its rate from these and its state. */
void dwi_knot_place(const struct dw_run *run, struct knot *knot);
void dwi_knot_rate(const struct dw_run *run, struct knot *knot);
/* Sets its curves, and from its rate their slopes along the trajectory; values alone where `span` is 0.
 *   outputs  those are curves, too
 *   span     s, how far apart to look for slopes: dwi_knot_span */
void dwi_knot_curves(const struct dw_run *run, struct knot *knot, bool outputs, double span);
/* A part of `most`, or of the time in which a state moves by its natural size, whichever is less. */
double dwi_knot_span(const struct dw_run *run, const struct knot *knot, double most);

/* Carries a knot's state by a length: stages 0 (which is the knot's rate) to 5 are set, and the state after.
 *   stage   out, [STAGES][DW_STATES] */
void dwi_step_carry(const struct dw_run *run, const struct knot *from, double length, double stage[STAGES][DW_STATES], double *after);
/* Of a step whose last stage is the rate at its end: the largest estimated error, in units of what is allowed. */
double dwi_step_error(const struct dw_run *run, const struct knot *from, double length, double stage[STAGES][DW_STATES]);
/* How the solution bulges from the cubics of its states: x = cubic + s^2 (1 - s)^2 bulge.
 *   bulge   out, [states] */
void dwi_step_bulge(const struct dw_run *run, double length, double stage[STAGES][DW_STATES], double *bulge);

/* A step under way. */
struct walk {
    struct dw_run *run;
    const struct mode *mode;
    struct knot knots[2], *from, *to;
    size_t guards, outputs;         /* curves: guards, and outputs where rows are judged */
    double length, stage[STAGES][DW_STATES];
    double state_bulge[DW_STATES];  /* x = cubic + s^2 (1 - s)^2 bulge */
    double bulge[CURVES], skew[CURVES], doubt[CURVES];  /* doubt: the bulge may be as large, either way */
    struct dw_cubic cubic[CURVES];
    bool near[MODE_GUARDS];         /* guards that the cubics cannot tell to stay above zero */
    struct bend bend[DW_OUTPUTS];
    double most_bulge[DW_OUTPUTS];  /* of outputs: more than that makes the step shorter */
    double chord[DW_OUTPUTS];
    struct line line;               /* from the last row */
    struct curves *curve;            /* NULL: lines */
};

/* The longest step from here that can be taken, with its curves.
 *   returns  DW_OK, or DW_NO where steps become ever shorter */
enum dw_status dwi_walk_step(struct walk *walk, struct dw_error *error);
/* Of an output: a turn lower than that is none, or not seen. */
double dwi_walk_flat(const struct walk *walk, size_t output);
/* State at a share of the step, by its cubics and their bulges. */
void dwi_walk_state_at(const struct walk *walk, double share, double *state);
/* The instant at a share of the step, stepped to from its start, with curves and their slopes. */
void dwi_walk_inside(const struct walk *walk, double share, struct knot *knot);
/* How large bulges of the outputs may be. */
void dwi_walk_set_limits(struct walk *walk);

/* Walks the stretch, as an engine does. */
enum dw_status dwi_smooth_walk(struct dw_run *run, struct doubled *offset, const struct guard **guard, struct dw_error *error);

#endif
