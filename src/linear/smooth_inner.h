/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Smooth equations: instants of a run, steps between them, and cubics along a step. docs/theory.md, (2.16) to (2.19). */
#ifndef LINEAR_SMOOTH_INNER_H
#define LINEAR_SMOOTH_INNER_H

#include "linear/modes_inner.h"

enum {
    STAGES = 7,
    CURVES = MODE_GUARDS + DW_OUTPUTS
};

/* An instant of a run in its present mode. Its curves are the mode's guards and then the outputs. */
struct knot {
    double offset, time;  /* s, from the interval's start; the time there */
    double state[DW_STATES], rate[DW_STATES], input[DW_INPUTS];
    double value[CURVES], slope[CURVES];
};

/* c0 + c1 s + c2 s^2 + c3 s^3 along a step, s from 0 to 1. */
struct cubic {
    double c[4];
};

/* Through the values at both ends, with slopes a unit of s. */
static inline struct cubic cubic_through(double first, double first_slope, double last, double last_slope)
{
    const double rise = last - first;
    return (struct cubic){ { first, first_slope, 3 * rise - 2 * first_slope - last_slope, first_slope + last_slope - 2 * rise } };
}

static inline double cubic_at(const struct cubic *cubic, double s)
{
    const double *c = cubic->c;
    return c[0] + s * (c[1] + s * (c[2] + s * c[3]));
}

static inline double cubic_bend(const struct cubic *cubic, double s)
{
    return 2 * cubic->c[2] + 6 * s * cubic->c[3];
}

/* Where the slope changes its sign inside, in order; returns how many. */
unsigned cubic_turns(const struct cubic *cubic, double at[2]);

/* Input at an offset of the interval. */
void step_input(const struct dw_run *run, double offset, double *input);
/* Sets time and input of a knot from its offset; then its rate from these and its state. */
void knot_place(const struct dw_run *run, struct knot *knot);
void knot_rate(const struct dw_run *run, struct knot *knot);
/* Sets its curves, and from its rate their slopes along the trajectory; values alone where `span` is 0.
 *   outputs  those are curves, too
 *   span     s, how far apart to look for slopes: knot_span */
void knot_curves(const struct dw_run *run, struct knot *knot, bool outputs, double span);
/* A part of `most`, or of the time in which a state moves by its natural size, whichever is less. */
double knot_span(const struct dw_run *run, const struct knot *knot, double most);

/* Carries a knot's state by a length: stages 0 (which is the knot's rate) to 5 are set, and the state after.
 *   stage   out, [STAGES][DW_STATES] */
void step_carry(const struct dw_run *run, const struct knot *from, double length, double stage[STAGES][DW_STATES], double *after);
/* Of a step whose last stage is the rate at its end: the largest estimated error, in units of what is allowed. */
double step_error(const struct dw_run *run, const struct knot *from, double length, double stage[STAGES][DW_STATES]);
/* How the solution bulges from the cubics of its states: x = cubic + s^2 (1 - s)^2 bulge.
 *   bulge   out, [states] */
void step_bulge(const struct dw_run *run, double length, double stage[STAGES][DW_STATES], double *bulge);

/* Walks the stretch, as an engine does. */
enum dw_status smooth_walk(struct dw_run *run, struct doubled *offset, const struct guard **guard, struct dw_error *error);

#endif
