/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A loop of a plant and a law, linear and from sample to sample: poles, margins. docs/theory.md, section 16. What rounds and clips is
 * left out: where a duty is clipped throughout, the loop is open and has none. */
#ifndef DUTYWRIGHT_MARGINS_H
#define DUTYWRIGHT_MARGINS_H

#include <dutywright/law.h>
#include <dutywright/linear.h>

#ifdef __cplusplus
extern "C" {
#endif

enum { DW_SAMPLED_STATES = 28, DW_LOOP_POLES = DW_SAMPLED_STATES + 2 };  /* the most of each */

/* A plant from one sample to the next: what is measured at a sample is y = c x, then the law sets u, and x after = a x + b u is the state
 * at the next sample. Delays are states: duties that wait. */
struct dw_sampled {
    size_t states;                /* 1 to DW_SAMPLED_STATES */
    double sample_time;           /* s, that of the law */
    double a[DW_SAMPLED_STATES * DW_SAMPLED_STATES];  /* [states x states], row after row */
    double b[DW_SAMPLED_STATES], c[DW_SAMPLED_STATES];
};

/* How a duty drives a linear system, and what is measured there. */
struct dw_hold {
    size_t input, output;         /* counted from 0; the other inputs are 0 */
    double sample_time;           /* s, > 0 */
    double delay;                 /* s, >= 0, any: whole samples of it and a rest are states */
};

/* A linear system behind a duty that is held from sample to sample, and comes late.
 *   sampled  out; untouched on error
 *   returns  DW_OK; DW_BAD_USE: more states than there is room for, or an output that follows its input at once; DW_NO_MEMORY
 *   source   docs/theory.md, (16.7)
 *   accuracy as dw_system_advance */
DW_API enum dw_status dw_sampled_hold(struct dw_system *system, const struct dw_hold *hold, struct dw_sampled *sampled, struct dw_error *error);
/* The same without the states that no duty reaches, or that do not reach what is measured, by the zeros of the matrices.
 *   out      not the plant itself; untouched on error
 *   returns  DW_OK; DW_BAD_USE: a size or number that cannot be; DW_NO: no state is left, what is measured does not follow the duty */
DW_API enum dw_status dw_sampled_reduce(const struct dw_sampled *sampled, struct dw_sampled *out, struct dw_error *error);
/* Its poles, the eigenvalues of a, in no order.
 *   real, imaginary  out, [states]
 *   returns          DW_OK; DW_BAD_USE: a size or number that cannot be; DW_NO: eigenvalues were not found
 *   accuracy         a few states ulp of the norm of a, once its rows and columns are balanced */
DW_API enum dw_status dw_sampled_poles(const struct dw_sampled *sampled, double *real, double *imaginary, struct dw_error *error);
/* c (z - a)^-1 b at z = 1 + (real, imaginary), so that nothing cancels near 1.
 *   out      [2], Q for a duty of 1: real and imaginary part; INFINITY and 0 at a pole
 *   source   docs/theory.md, (16.9)
 *   accuracy a few states ulp times the condition of z - a */
DW_API void dw_sampled_response(const struct dw_sampled *sampled, double real, double imaginary, double out[2]);
/* The gain alone, behind the plant, with which the loop begins to oscillate, and the period of that.
 *   gain     out, 1/Q, its sign that of the plant: the least by which the loop, stable below, is so no more
 *   period   out, s; INFINITY where it runs away without turning round
 *   returns  DW_OK; DW_BAD_USE; DW_NO: no gain is stable, or none unstable, or what is measured does not follow the duty
 *   source   docs/theory.md, (16.9) without the law's other parts
 *   accuracy as dw_loop_margins */
DW_API enum dw_status dw_sampled_ultimate(const struct dw_sampled *sampled, double *gain, double *period, struct dw_error *error);

struct dw_margins {
    bool stable;
    double pole_highest;          /* largest modulus of the closed loop's poles */
    double gain_low, gain_high;   /* factors of the law's gain between which the loop is stable: around 1, or nearest to it where it is not
                                     stable; 0 and INFINITY: it stays so. NaN: none is stable */
    double gain_frequency;        /* Hz, at which it oscillates with gain_high; NaN where that is INFINITY */
    double phase;                 /* deg, how far from -1 the loop is where its gain is 1, nearest; INFINITY: it is nowhere */
    double phase_frequency;       /* Hz, there; NaN */
    double delay;                 /* s, how much later the duty may come, by phase and frequency; INFINITY: however late. dw_delay_margin
                                     tries it */
};

struct dw_poles {
    size_t count;
    double real[DW_LOOP_POLES], imaginary[DW_LOOP_POLES];
};

/* Poles of the closed loop, those of the plant's order and up to two of the law.
 *   factor   of the law's gain, 1: as it is
 *   poles    out
 *   returns  DW_OK; DW_BAD_USE: as above, or a law that is no pid; DW_NO: as above, or what is measured does not follow the duty
 *   source   docs/theory.md, (16.8)
 *   accuracy as dw_sampled_poles, of the matrix of the whole loop */
DW_API enum dw_status dw_loop_poles(const struct dw_sampled *sampled, const struct dw_law *law, double factor, struct dw_poles *poles,
                                    struct dw_error *error);
/* States that do not reach what is measured, or that no duty reaches, are left out.
 *   margins  out; untouched on error
 *   returns  as dw_loop_poles
 *   source   docs/theory.md, (16.8) to (16.10); each factor is tried by the poles on both its sides
 *   accuracy 1e-9 of each, for plants whose poles are as exact as that */
DW_API enum dw_status dw_loop_margins(const struct dw_sampled *sampled, const struct dw_law *law, struct dw_margins *margins,
                                      struct dw_error *error);

/* A plant whose duty comes later by so much, s. */
typedef enum dw_status dw_sampled_late(void *context, double delay, struct dw_sampled *sampled, struct dw_error *error);
/* How much later the duty may come before the loop is unstable, by its poles.
 *   margins  of the loop as it is; its delay is where the search begins
 *   delay    out, s: stable with that, unstable with 1e-4 of it more; 0 where it is not stable, INFINITY where margins' is
 *   returns  as dw_loop_poles, and what late gives */
DW_API enum dw_status dw_delay_margin(dw_sampled_late *late, void *context, const struct dw_law *law, const struct dw_margins *margins,
                                      double *delay, struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
