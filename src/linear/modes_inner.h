/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Systems that are switched, their orbits, rows as curves, and smooth equations. Not installed. */
#ifndef LINEAR_MODES_INNER_H
#define LINEAR_MODES_INNER_H

#include "linear/cell_inner.h"
#include "linear/system_inner.h"
#include <dutywright/cubic.h>
#include <dutywright/equations.h>
#include <float.h>
#include <math.h>

/* dw_system_steady for rows of fewer inputs than the system's; the others are the constant 1. */
enum dw_status dwi_system_steady(struct dw_system *system, const struct dw_period *period, size_t inputs, double *state,
                                 struct dw_steady *steady, struct dw_error *error);

/* Largest modulus of the eigenvalues of I + y, [n x n]; NaN where they are not found. */
double dwi_map_radius(const double *y, size_t n);

/* ---- a switching system as copied from its plan, and a run through it ---- */

enum { MODE_GUARDS = 16 };

#define ON_GUARD 1e-12  /* of a guard's scale: the guard counts as zero */

/* Inputs inside are the plan's and then the constant 1, so that offsets are columns. */
struct guard {
    struct functional value;
    size_t next;
    size_t alone;   /* the one state that it looks at, where the input has no part in it; states: there is none */
    double zero;    /* value of that state at which the guard is zero */
    double *reset;  /* [states x (states + inputs + 1)], rows (reset | input | offset); NULL: the state is continuous */
    int tag;
};

struct mode {
    char *name;
    struct dw_system *system;
    struct dw_system *counted;   /* the same with probes, counted from the origin, for integrals; NULL: the same altogether */
    double origin[DW_STATES];
    struct guard *guards;
    size_t guard_count, curve;
    struct functional *outputs;  /* [outputs] */
    double *memory;              /* rows of guards and resets */
};

struct dw_modes {
    const struct engine *engine;
    size_t states, inputs, outputs, probes, count;  /* inputs without the constant */
    struct mode **modes;  /* NULL: not entered yet */
    void (*make)(void *of, size_t mode, struct dw_mode *out);
    void *of;
    double *scale;        /* [outputs] */
    double weight[DW_STATES];  /* as in the plan; of equations the states' scales */
    bool drifts[DW_STATES], weighted;
    struct dw_equations equations;  /* the plan, where they are smooth; then a mode has a name and its guards' tags */
};

/* Checks that all plans share. */
enum dw_status dwi_modes_check_sizes(size_t count, size_t states, size_t inputs, size_t outputs, struct dw_error *error);
enum dw_status dwi_modes_check_scales(const char *what, const double *scale, size_t count, struct dw_error *error);
enum dw_status dwi_modes_check_guards(const char *name, size_t count, struct dw_error *error);
/* Room for modes, none of which is there, and for scales, which are copied. NULL: no memory is left. */
struct dw_modes *dwi_modes_allocate(const struct dw_modes_plan *plan, struct dw_error *error);
/* A mode with room for its name, guards, outputs and so many numbers; DW_NO_MEMORY. */
enum dw_status dwi_modes_add(struct dw_modes *modes, size_t mode, const char *name, size_t guards, size_t numbers, struct dw_error *error);
/* Frees it, where it is there. */
void dwi_modes_drop(struct dw_modes *modes, size_t mode);

/* Outputs at an instant, as curves take them. */
struct sight {
    double value[DW_OUTPUTS], slope[DW_OUTPUTS];
    double size[DW_OUTPUTS];   /* of what the value is summed from: it is known to a few 2^-53 of that */
    double noise[DW_OUTPUTS];  /* of the slope: a smaller one may be nothing but rounding */
};

/* How the state changes with that at the start. */
struct tangent {
    struct node column[DW_STATES];  /* [states] */
    double shift[DW_STATES];        /* how much later an event comes, s a unit of each start state, with its sign turned */
    double rate[DW_STATES];         /* rates after the event less those before, carried through its resets */
};

struct dw_run {
    struct dw_modes *modes;
    struct dw_run_options options;
    double time, input[SYSTEM_INPUTS];
    double begin;                /* time of the first row: uniform rows count from it */
    unsigned long long uniform_next;
    size_t mode;
    struct node node;            /* the state now */
    unsigned long long events;
    unsigned long long steps, steps_all, steps_most; /* on the way to the next input row; over all, and how many may be; 0: any number */
    unsigned long long work;     /* steps, and rows that nobody asked for, since the pace was judged */
    double judged;               /* s, where that was, from the stretch's start */
    /* of the stretch under way */
    double goal_time, goal_input[SYSTEM_INPUTS];
    double goal_slope[2 * SYSTEM_INPUTS];  /* [2 x inputs with the constant], at its start and end; where told: */
    bool sloped;
    struct stretch stretch;
    /* the last row given */
    double last_time, last_input[SYSTEM_INPUTS], last_output[DW_OUTPUTS], last_slope[DW_OUTPUTS];
    bool given;
    struct curves *curve;         /* NULL: straight lines */
    double passed_time, passed[NODE_WIDTH], integral[DW_INTEGRANDS];  /* integrals up to there, and the node's high half there */
    struct tangent *tangent;     /* NULL unless a steady state is sought */
    struct hint {
        double length;           /* s, of the last cell that the bounds allowed there; 0: never entered */
        bool crossed;            /* it ended by a guard when last it was walked */
    } hint[];                    /* [modes] */
};

/* Slope of an input at a node of the stretch, whose input is set. */
static inline double run_slope(const struct dw_run *run, const struct node *node, size_t j)
{
    return stretch_slope(&run->stretch, node, run->modes->states + run->modes->inputs + 1, j);
}

/* The input from the stretch's start to its end. */
static inline struct dw_interval run_interval(const struct dw_run *run)
{
    return (struct dw_interval){ .start = run->input, .end = run->goal_input, .length = run->goal_time - run->time,
                                 .slope = run->sloped ? run->goal_slope : NULL };
}

/* s: what is nothing beside the times of a walk, and the least that one of its rows may be from the next. */
static inline double walk_slack(const struct dw_run *run)
{
    return 4 * DBL_EPSILON * fabs(run->goal_time);
}
static inline double walk_least(const struct dw_run *run)
{
    return larger(walk_slack(run), SHORTEST * run->stretch.length);
}

/* What carries a run from event to event: modes that are linear, or smooth equations. */
struct engine {
    /* Makes a mode that is not there yet; NULL: all are. */
    enum dw_status (*make)(struct dw_modes *modes, size_t mode, struct dw_error *error);
    /* Outputs at a node whose input is set, and their slopes along it; slope NULL: not asked for. */
    void (*output)(const struct dw_run *run, double time, const struct node *node, double *value, double *slope);
    /* The same with how closely they are known. */
    void (*look)(const struct dw_run *run, double time, const struct node *node, struct sight *sight);
    /* The first guard of the present mode that is broken now, below zero or at zero and going down; NULL where none is. */
    const struct guard *(*broken)(const struct dw_run *run, double time, bool slopes_known);
    /* Leaves the present mode by a guard: the state and the mode after it. */
    enum dw_status (*leave)(struct dw_run *run, double time, const struct guard *guard, struct dw_error *error);
    /* Sets the stretch in the present mode and the node's input at the offset. */
    enum dw_status (*enter)(struct dw_run *run, struct doubled offset, struct dw_error *error);
    /* Goes on from *offset in the present mode until the stretch's end (*guard = NULL) or a guard's crossing. */
    enum dw_status (*walk)(struct dw_run *run, struct doubled *offset, const struct guard **guard, struct dw_error *error);
    /* Adds to the run's integrals what passed in the present mode since the last call, up to a node; NULL: it cannot. */
    enum dw_status (*integrate)(struct dw_run *run, double time, const struct node *node, struct dw_error *error);
};
extern const struct engine dwi_switched_engine;

static inline const struct mode *present_mode(const struct dw_run *run)
{
    return run->modes->modes[run->mode];
}

/* Puts the run into a mode, which is made where it is not there yet. */
enum dw_status dwi_run_set_mode(struct dw_run *run, size_t mode, struct dw_error *error);
/* Gives a row at an offset of the stretch; the node's input part is set. */
enum dw_status dwi_run_give(struct dw_run *run, double time, const struct node *node, enum dw_row_kind kind, int tag,
                            struct dw_error *error);
/* Outputs as curves see them: a slope that rounding alone may have made is none. */
void dwi_look_for_curves(const struct dw_run *run, double time, const struct node *node, struct sight *sight);
/* Gives it to the sink.
 *   row   time, kind, tag, outputs, and for curves slopes, which else are NULL: the rest is filled in */
enum dw_status dwi_run_give_row(struct dw_run *run, const struct node *node, struct dw_run_row row, struct dw_error *error);
/* Time of the next uniform row.
 *   slack    out, s: within so much of an instant it is on it, and has the values after what jumps there */
double dwi_run_uniform_time(const struct dw_run *run, double *slack);
/* Of linear modes, as the engine's. */
enum dw_status dwi_run_integrate(struct dw_run *run, double time, const struct node *node, struct dw_error *error);
/* Walks the stretch from *offset in the present mode until its end (*guard = NULL) or a guard's crossing. */
/* Counts a step. A run ends, or says why not: from time to time, whether the way to the next row of the input would take too many.
 *   gone    s, from the stretch's start
 *   rows    they are given on the way */
enum dw_status dwi_run_pace(struct dw_run *run, double gone, bool rows, struct dw_error *error);
enum dw_status dwi_run_walk(struct dw_run *run, struct doubled *offset, const struct guard **guard, struct dw_error *error);
/* The tangent over a part of the stretch; through an event: its begin, each reset at that instant, its end. */
void dwi_run_tangent_move(struct dw_run *run, struct position from, struct doubled to);
void dwi_run_tangent_event_begin(struct dw_run *run, const struct guard *guard);
void dwi_run_tangent_reset(struct dw_run *run, const struct guard *guard);
void dwi_run_tangent_event_end(struct dw_run *run);

/* Rows that cubics join: what a walk has passed is kept until it is known how much the outputs change, then rows are
 * given. */

enum {
    SEGMENTS = 32,          /* kept before rows are given */
    TURNS = 2 * DW_OUTPUTS  /* no segment has more than the outputs are */
};

/* A part of the walk, a cell or a step, over which every output's fourth derivative is bounded. */
struct segment {
    double begin, length;      /* s, from the stretch's start */
    struct position position;  /* of modes */
    struct node node;          /* at its begin, with its input */
};

/* Where an output has an extremum. */
struct turn {
    double offset;
    size_t output;
    struct node node;
};

/* An instant that is or may become a row. */
struct post {
    double offset;
    struct node node;
    struct sight sight;
};

struct curves {
    struct segment segments[SEGMENTS];
    struct bend bend[SEGMENTS][DW_OUTPUTS];
    size_t segment_count;
    struct turn turns[TURNS];
    size_t turn_count;
    double begin;                              /* offset at which the walk began */
    double low[DW_OUTPUTS], high[DW_OUTPUTS];  /* of the walk so far */
    double size[DW_OUTPUTS];                   /* largest in it, as in struct sight */
    double tolerance[DW_OUTPUTS];              /* by what is known so far: it only grows until the walk's end */
    struct dw_changes changes[DW_OUTPUTS];
    struct post from;                          /* the last row, with the slopes of what follows */
    bool closes;                               /* the row that ends the walk has these slopes */
    double closing[DW_OUTPUTS];
};

/* For a run with these options: NULL where it gives no curves. *failed: no memory is left. */
struct curves *dwi_curve_new(const struct dw_run_options *options, bool *failed);
/* At the run's start: nothing has changed yet. */
void dwi_curve_start(struct dw_run *run);
/* A walk begins at run->node, whose input is set. */
void dwi_curve_begin(struct dw_run *run, double offset);
/* A segment that the caller fills, with the bounds of each output; there is room while dwi_curve_is_full says no. */
struct segment *dwi_curve_add(struct curves *curve, const struct bend *bend, size_t outputs);
struct turn *dwi_curve_add_turn(struct curves *curve);
bool dwi_curve_is_full(const struct curves *curve, size_t outputs);

/* Sets a node to an offset within a segment. */
struct curve_inside {
    void (*set)(void *of, const struct segment *segment, double offset, struct node *node);
    void *of;
};

/* Gives the rows of what has been kept, up to an offset where that ends.
 *   node     there, with its input
 *   last     the walk ends, and the caller gives the row there
 *   inside   what sets nodes */
enum dw_status dwi_curve_flush(struct dw_run *run, double end, const struct node *node, bool last, struct curve_inside inside,
                               struct dw_error *error);

/* ---- smooth equations: instants of a run, steps between them, and cubics along a step: docs/theory.md, (2.16) to (2.19) ---- */

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
