/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Small linear systems driven by straight lines and cubics, solved exactly: x' = A x + B u, y = C x + D u.
 * Between two knots the input is u0 at the start, u1 at the end and straight between, or the cubic with two slopes. docs/theory.md,
 * section 2. */
#ifndef DUTYWRIGHT_LINEAR_H
#define DUTYWRIGHT_LINEAR_H

#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

enum { DW_STATES = 32, DW_INPUTS = 8, DW_OUTPUTS = 64 };  /* the most of each */

/* What a system is made of; all matrices row after row; copied, so they need not outlive the call. */
struct dw_matrices {
    size_t states, inputs, outputs;
    const double *a;       /* [states x states], 1/s */
    const double *b;       /* [states x inputs]; NULL: zero */
    const double *c;       /* [outputs x states]; NULL: zero */
    const double *d;       /* [outputs x inputs]; NULL: zero */
    const double *a_low;   /* [states x states], what a rounded away, for stiff systems whose slow rates are small */
    const double *b_low;   /* [states x inputs]      differences of large entries; NULL: zero */
    const double *weight;  /* [states], > 0: sum weight x^2 is the stored energy (C, L, inertia; any common factor). With it the
                            * bounds that prove "no event was missed" stay sharp for passive systems. NULL: found by balancing */
};

struct dw_system;

/* Copies and checks the matrices.
 *   returns  NULL with DW_BAD_USE: a size outside 1..DW_STATES, 0..DW_INPUTS, 0..DW_OUTPUTS, or an entry that is not finite;
 *            DW_NO_MEMORY
 *   A system keeps a cache of propagators, so one handle serves one thread. */
DW_API struct dw_system *dw_system_new(const struct dw_matrices *matrices, struct dw_error *error);
DW_API void dw_system_free(struct dw_system *system);
DW_API size_t dw_system_states(const struct dw_system *system);
DW_API size_t dw_system_inputs(const struct dw_system *system);
DW_API size_t dw_system_outputs(const struct dw_system *system);

/* One piece of the input, a straight line or a cubic, and where it begins. */
struct dw_interval {
    const double *state;          /* [states], at the start */
    const double *start, *end;    /* [inputs] */
    double length;                /* s, >= 0 */
    const double *slope;          /* [2 x inputs], unit of the input / s: at the start, then at the end. An input is a line where both are its
                                   * chord's within 4 ulp, where one is not finite, and over less than 1e-30 s. NULL: all are */
};

/* Carries the state over a piece of the input, by a cached propagator; at once where the input stands still.
 *   over     from the state at its start (after a jump) to its end (before a jump)
 *   slack    s, >= 0: lengths that differ by up to this share a propagator, corrected to second order; 0 where unknown,
 *            4 ulp of the time late in a long table
 *   state    out, [states]; may be the piece's; untouched on error
 *   returns  DW_OK, DW_BAD_USE (length not finite or below zero, rates too fast for it), DW_NO_MEMORY
 *   source   scaling and squaring of exp(A h) - I: docs/theory.md, (2.3) to (2.6); Higham 2005, SIMAX 26:1179
 *   accuracy 1e-15 times the largest state or input a stretch, in the energy norm, for rates up to 1e15 / length; of a cubic, with 4/27
 *            of its slopes times the length beside the largest input */
DW_API enum dw_status dw_system_advance(struct dw_system *system, const struct dw_interval *over, double slack, double *state,
                                        struct dw_error *error);

/* y = C x + D u.
 *   output   out, [outputs] */
DW_API void dw_system_output(const struct dw_system *system, const double *state, const double *input, double *output);

#define DW_ALONE ((size_t)-1)
/* What is integrated: the product of two outputs, counted from 0; the same twice for a mean square. */
struct dw_integrand {
    size_t first, second;         /* DW_ALONE as the second: the first alone */
};

/* Integrals over time along one piece of the input.
 *   integrand  [count]
 *   integral   out, [count], unit of the product times s; untouched on error
 *   returns    DW_OK, DW_BAD_USE, DW_NO_MEMORY
 *   source     Van Loan 1978, IEEE TAC 23:395, at a length where it cannot overflow, then doubling: docs/theory.md, (2.12)
 *   accuracy   1e-14 of the integral of the largest term */
DW_API enum dw_status dw_system_integrals(struct dw_system *system, const struct dw_interval *over, const struct dw_integrand *integrand,
                                          size_t count, double *integral, struct dw_error *error);

/* Response of every output to one input: C (j w - A)^-1 B + D.
 *   input     counted from 0
 *   angular   rad/s, >= 0
 *   real, imaginary  out, [outputs]
 *   returns   DW_OK; DW_NO: j w is an eigenvalue, the response is unbounded */
DW_API enum dw_status dw_system_response(const struct dw_system *system, size_t input, double angular, double *real,
                                         double *imaginary, struct dw_error *error);

struct dw_sweep {
    size_t input;                 /* counted from 0 */
    double first, last;           /* Hz, 0 < first < last */
    double accuracy;              /* > 0 */
};

/* One point of a sweep.
 *   frequency  Hz
 *   gain       [outputs]
 *   phase      [outputs], degrees, continuous from point to point */
typedef enum dw_status dw_sweep_sink(void *context, double frequency, const double *gain, const double *phase,
                                     struct dw_error *error);
/* Response over a band, at as many points, nearly even in the logarithm, as keep straight lines between them within the
 * accuracy: of gain, relative to the larger of 1 and the gain; of phase, relative to 180 degrees. The turns of the response
 * (the eigenvalues' moduli and widths) are points themselves; between, lines are judged at their quarters.
 *   returns  DW_OK; DW_NO: an undamped eigenvalue lies in the band; DW_BAD_USE; DW_NO_MEMORY; what the sink gave */
DW_API enum dw_status dw_system_sweep(const struct dw_system *system, const struct dw_sweep *sweep, dw_sweep_sink *sink, void *context,
                                      struct dw_error *error);

/* Eigenvalues of A, sorted by rising modulus.
 *   real, imaginary  out, [states], rad/s */
DW_API enum dw_status dw_system_rates(const struct dw_system *system, double *real, double *imaginary,
                                      struct dw_error *error);

/* What a steady state is like. */
struct dw_steady {
    double condition;  /* of I - (map of one period), 2-norm in the energy's scale */
    double radius;     /* largest modulus of the period map's eigenvalues */
    bool lasting;      /* radius is 1 within rounding: disturbances do not die out, the orbit is not reached from others */
};

/* The input over one period. */
struct dw_period {
    const double *time;           /* s, [rows], never decreasing; equal times are a jump; the period is time[rows - 1] - time[0] > 0 */
    const double *input;          /* [rows x inputs] */
    size_t rows;
    const double *slope;          /* [rows x inputs], unit of the input / s: between rows stands the cubic with these slopes; of rows at one time
                                   * the first ends the piece before, the last begins the piece after; lines as above. NULL: all are */
};

/* State at the start of a period that comes back after it.
 *   state    out, [states]
 *   steady   out, may be NULL
 *   returns  DW_OK; DW_NO: an undamped rate of the system stands on a harmonic of the period (or is zero): the error names it;
 *            DW_BAD_USE, DW_NO_MEMORY
 *   source   -Y x = g with Y = exp(A T) - I in doubled precision: docs/theory.md, (2.9)
 *   accuracy 1e-15 times the largest voltage or current, for rates down to 1e-12 / period; undamped rates within 1e-9 of a
 *            harmonic are refused, since the data's own rounding then decides the amplitude */
DW_API enum dw_status dw_system_steady(struct dw_system *system, const struct dw_period *period, double *state, struct dw_steady *steady,
                                       struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
