/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Switching systems, linear in each mode: which switch and which diode conducts, stuck or moving. A mode lasts while all its
 * guards are >= 0; the first that falls below zero names the mode that follows. docs/theory.md, section 2. */
#ifndef DUTYWRIGHT_MODES_H
#define DUTYWRIGHT_MODES_H

#include <dutywright/linear.h>

#ifdef __cplusplus
extern "C" {
#endif

/* g = state . x + input . u + offset. */
struct dw_guard {
    const double *state;         /* [states]; NULL: zero */
    const double *input;         /* [inputs]; NULL: zero */
    double offset;
    double scale;                /* natural size of g (supply, stall current, no-load speed), > 0 */
    size_t next;                 /* mode entered when g falls below zero */
    const double *reset;         /* [states x states], state after = reset x + reset_input u + reset_offset; */
    const double *reset_input;   /* [states x inputs]   NULL: reset the identity, the two others zero */
    const double *reset_offset;  /* [states] */
    int tag;                     /* the caller's own number for this event */
};

/* x' = a x + b u + e, y = c x + d u + f, of outputs and then of probes; arrays as in struct dw_matrices, NULL: zero. */
struct dw_mode {
    const char *name;  /* for messages: "diode conducts" */
    const double *a, *b, *e;
    const double *c, *d, *f;
    const double *a_low, *b_low, *e_low;
    /* Integrals count the state from here, lest the little by which a large one exceeds it be lost: x' = a (x - origin) + b u + origin_e,
     * y = c (x - origin) + d u + origin_f. NULL: from zero, with e and f */
    const double *origin, *origin_e, *origin_f;
    const struct dw_guard *guards;
    size_t guard_count;
    size_t curve;      /* of the pieces of one curve, such as a square law's chords, which follow each other without a step: the same
                          number above 0. A steady state is sought over them as over one mode; 0: no such piece */
};

struct dw_modes_plan {
    size_t states, inputs, outputs;
    size_t probes;                /* outputs beyond those, for integrals alone */
    const struct dw_mode *modes;  /* [mode_count]; NULL: each is made when it is first entered */
    size_t mode_count;
    /* Makes one of them, out of arrays that stand until the next call. May be NULL beside modes. */
    void (*make)(void *of, size_t mode, struct dw_mode *out);
    void *of;              /* for that; lives as long as the modes */
    const double *weight;  /* [states], stored energy, as in struct dw_matrices; NULL: by balancing, mode by mode */
    const double *scale;   /* [outputs], natural scale: --accuracy is relative to it; 1e-100 to 1e100 */
    const bool *drifts;    /* [states], true: need not come back in a steady state (an angle); NULL: none */
};

struct dw_modes;

/* Copies and checks the plan; of modes that are made, the first, and each other one when it is entered. NULL with DW_BAD_USE or
 * DW_NO_MEMORY. One handle a thread. */
DW_API struct dw_modes *dw_modes_new(const struct dw_modes_plan *plan, struct dw_error *error);
DW_API void dw_modes_free(struct dw_modes *modes);
/* Natural scale of an output, as in the plan. */
DW_API double dw_modes_scale(const struct dw_modes *modes, size_t output);

/* ---- a run: one trajectory, fed with rows of the input, giving rows of the output; what equations.h makes runs alike, within
 * the accuracy that stands there ---- */

enum dw_row_kind {
    DW_ROW_INPUT,     /* at a row that was fed, and at the start; with curves once more where an input goes on with another slope */
    DW_ROW_BETWEEN,   /* keeps lines or curves within the accuracy; or a uniform row */
    DW_ROW_EXTREMUM,  /* a local extremum of an output */
    DW_ROW_BEFORE,    /* at an event, in the mode that ends; a state that alone decides it is exactly where the guard is zero */
    DW_ROW_AFTER      /* at the same event, in the mode that begins */
};

struct dw_run_row {
    double time;
    const double *state;   /* [states] */
    const double *input;   /* [inputs] */
    const double *output;  /* [outputs] */
    const double *slope;   /* [outputs], unit of the output / s; NULL: straight lines join the rows. Else cubics do, with these values
                            * and slopes at their ends: of rows at one time the first ends the piece before, the last begins the
                            * piece after, and a slope may differ where no value does. 0 at an extremum, and always finite */
    size_t mode;
    enum dw_row_kind kind;
    const double *integral;  /* [integrand_count], since the start; NULL for BETWEEN and EXTREMUM, and where none is asked for */
    int tag;               /* of the guard, for BEFORE and AFTER; else 0; of equations: the guard's number */
    bool repeats;          /* same time, inputs, outputs and slopes as the row before it: a writer leaves it out */
};

/* Takes one row; the pointers are valid during the call. Anything but DW_OK stops the run and is passed on. */
typedef enum dw_status dw_run_sink(void *context, const struct dw_run_row *row, struct dw_error *error);

/* How far lines may be from the outputs: `accuracy` of their scale. Curves: the smaller of that and `swing` of the largest change of
 * an output in one of several walks, but 2^-50 of what it is summed from and of its scale in any case (of equations: 2^-38 of that). A walk is
 * what lies between two rows fed, or between a row fed and an event; those that count are the present one, the two before it, and all
 * that began within the last period of the carrier. Between rows outputs are monotone, and so are their cubics. docs/theory.md, (2.21)
 * to (2.24). */
struct dw_run_options {
    double accuracy;   /* of the outputs' scale; 0: rows only at inputs and events */
    double uniform;    /* Hz: rows at this rate alone, from the start's time on, without slopes. One within 4 ulp of a jump or an event is on it, and
                          has the values after it; so is one of the last row fed. 0: not asked */
    dw_run_sink *sink; /* NULL: no rows at all, only the state moves: fastest */
    void *context;     /* for the sink */
    bool curves;       /* rows have slopes, and cubics join them; they are given when a walk ends, or some cells later */
    double swing;      /* curves: of an output's change */
    double carrier;    /* curves: period of a switched drive, s; 0: unknown */
    const struct dw_integrand *integrand;  /* [integrand_count], up to DW_INTEGRANDS; lives as long as the run: what of outputs and
                                              probes, counted on behind them, is integrated from the start on. Not of equations */
    size_t integrand_count;
};

enum { DW_INTEGRANDS = 8 };

struct dw_run;

DW_API struct dw_run *dw_run_new(struct dw_modes *modes, const struct dw_run_options *options, struct dw_error *error);
/* An independent run that stands where this one does: to try what comes next, and to go back to.
 *   options  the copy's own, with integrals that begin here; NULL: the run's, whose sink then gets the rows of both
 *   returns  NULL with DW_BAD_USE or DW_NO_MEMORY, as dw_run_new. Both belong to the thread of their modes. */
DW_API struct dw_run *dw_run_copy(const struct dw_run *run, const struct dw_run_options *options, struct dw_error *error);
DW_API void dw_run_free(struct dw_run *run);

/* Puts the run at a state and gives the first row. Modes whose guards are below zero at once give way to their next.
 *   time     s, of the first input row
 *   mode     the mode to begin with, or to begin looking from
 *   state    [states]
 *   input    [inputs], input at that time
 *   returns  DW_OK, DW_BAD_USE, or what the sink gave; DW_NO: the modes follow each other without end (the error names them) */
DW_API enum dw_status dw_run_start(struct dw_run *run, double time, size_t mode, const double *state, const double *input,
                                   struct dw_error *error);

/* Goes on to the next input row; the input is a straight line from the last. The same time again, or less than 1e-100 s later, is a
 * jump.
 *   returns  DW_OK; DW_BAD_USE: time goes back or is not finite, rates too fast; DW_NO: endless switching, the error says
 *            when and between which modes, or values whose derivatives are beyond what numbers can hold; DW_NO_MEMORY; what the sink
 *            gave
 *   accuracy events to 1e-12 of the stretch between two input rows, or where |g| <= 1e-13 of its scale, whichever is looser;
 *            no crossing is missed, however short, unless |g| stays below 1e-13 of its scale: proved by a bound on the
 *            derivatives, docs/theory.md, (2.7). Of equations: see there */
DW_API enum dw_status dw_run_feed(struct dw_run *run, double time, const double *input, struct dw_error *error);

/* The same with cubics: each input goes from where it stands to `input` with these slopes at its ends.
 *   slope_begin, slope_end  [inputs], unit of the input / s. An input is a line where both are the chord's within 4 ulp, where one is not
 *            finite, and over less than 1e-30 s; where all are, this is dw_run_feed. At a jump they say nothing */
DW_API enum dw_status dw_run_feed_curve(struct dw_run *run, double time, const double *input, const double *slope_begin,
                                        const double *slope_end, struct dw_error *error);

/* After the last row: gives the last uniform row where one is due at the end. */
DW_API enum dw_status dw_run_finish(struct dw_run *run, struct dw_error *error);

/* The outputs and their slopes here and now; no row is given.
 *   output   out, [outputs]
 *   slope    out, [outputs], unit of the output / s; NULL: not asked for. It holds in the present mode, along the line or cubic of
 *            the input that has just ended, or after a jump and at the start as if the input stood still
 *   accuracy the slope of modes is C x' + D u' of the state as it stands, summed in doubled precision; that of equations, by
 *            differences of order 4, is off by some 1e-13 of the output's scale a natural time or step, whichever is shorter */
DW_API void dw_run_output(const struct dw_run *run, double *output, double *slope);
DW_API double dw_run_time(const struct dw_run *run);
DW_API size_t dw_run_mode(const struct dw_run *run);
DW_API const double *dw_run_state(const struct dw_run *run);  /* [states], valid until the next feed */
/* [integrand_count], since the start: of what the options ask for, up to here; valid until the run is freed.
 *   source   docs/theory.md, (2.12) and (2.25)
 *   accuracy 1e-14 of the integral of the largest term, and what the events' own accuracy adds */
DW_API const double *dw_run_integrals(const struct dw_run *run);
DW_API unsigned long long dw_run_events(const struct dw_run *run);  /* how many so far */

/* The orbit of one period that is reached from a state, with the modes it then has.
 *   mode     in: where to begin; out: the mode at the period's start
 *   state    in: where to begin (rest); out: on the orbit at the period's start
 *   steady   out, may be NULL
 *   returns  DW_OK; DW_NO: no steady state (an undamped rate on a harmonic, an unstable orbit, none found): the error says why;
 *            DW_BAD_USE, DW_NO_MEMORY
 *   source   Newton on the period map with saltation matrices (Aizerman and Gantmacher 1958; docs/theory.md, (2.10)), after a
 *            few periods of following; one mode without guards: dw_system_steady; equations: central differences
 *   accuracy the orbit comes back within 1e-12 of each state's largest value, and is within 1e-12, or 1e-15 times the
 *            condition where that is more, of the true one */
DW_API enum dw_status dw_modes_steady(struct dw_modes *modes, const struct dw_period *period, size_t *mode, double *state,
                                      struct dw_steady *steady, struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
