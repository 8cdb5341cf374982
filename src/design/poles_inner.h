/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Filters by their poles and residues, and what a train of pulses makes of any of them. Closed forms are where the search has
 * its poles from: an eigenvalue problem would cost four times as much. Everything is per volt of pulse height. Not
 * installed. */
#ifndef DESIGN_POLES_INNER_H
#define DESIGN_POLES_INNER_H

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

/* ---- exponential sums: what a filter does between two edges ---- */

enum { POLES_MAX = 3 };

/* f(t) = exp(-rate[0] t) (even[0] cos(angular t) + odd sin(angular t)) + sum over 0 < n < count of even[n] exp(-rate[n] t): real
 * poles -rate, and where angular is not 0 the first a conjugate pair, -rate[0] +- j angular. Three real ones ascend. */
struct exp_sum {
    int count;               /* a pair counts as one */
    double rate[POLES_MAX];  /* 1/s, > 0 */
    double even[POLES_MAX];
    double angular, odd;     /* rad/s, >= 0 */
};

/* Multiplies one of the exponentials' residues, as which a pair has even + j odd, by what belongs to its pole, rate + j angular. */
double complex dwi_exp_sum_pole(const struct exp_sum *f, int n);
void dwi_exp_sum_multiply(struct exp_sum *f, int n, double complex factor);
/* exp(-p t), and that - 1 without cancellation for small p t. */
double complex dwi_exp_power(double complex p, double t);
double complex dwi_exp_less_one(double complex p, double t);

/*   slope  out: the derivative; may be NULL */
double dwi_exp_sum_at(const struct exp_sum *f, double time, double *slope);
/* The derivative, which is a sum of the same exponentials. */
struct exp_sum dwi_exp_sum_slope(const struct exp_sum *f);
/* A bound of |f| from `time` on, falling with it; and when it has fallen to a level. */
double dwi_exp_sum_bound(const struct exp_sum *f, double time);
double dwi_exp_sum_bounded_from(const struct exp_sum *f, double level);
/* Which of the exponentials lasts longest. */
int dwi_exp_sum_slowest(const struct exp_sum *f);

/* Zeros with change of sign, one after another in 0 < t < length, none missed.
 *   source   Rolle's theorem after division by one exponential: docs/theory.md, (6.15) */
struct exp_zeros {
    const struct exp_sum *f;
    double length, time, value;  /* of f at the time up to which all are told */
    double outweighed;
    int left;
};
void dwi_exp_zeros_begin(struct exp_zeros *zeros, const struct exp_sum *f, double length);
/*   zero     out
 *   returns  false: there is none left */
bool dwi_exp_zeros_next(struct exp_zeros *zeros, double *zero);
/* Widens least and most to all that f takes on in 0..length. */
void dwi_exp_sum_extremes(const struct exp_sum *f, double length, double *least, double *most);

/* ---- filters ---- */

/* Answer to a step of 1 V: the output is gain (1 - out(t)), the current of the pin conductance - current(t). */
struct filter_poles {
    struct exp_sum out;      /* begins at 1; its slope at 0, where there is more than one pole */
    struct exp_sum current;  /* A per V; of stages with a coil */
    double gain, conductance;
};

/* A ladder of series resistors and shunt capacitors: real, distinct poles, and no zero (docs/theory.md, 6.1).
 *   stages    1 to 3
 *   r         ohm, [stages], > 0, the first with the resistance of the source
 *   c         F, [stages], > 0
 *   load      ohm, > 0, INFINITY for none
 *   source    docs/theory.md, (6.1), (6.2)
 *   accuracy  poles of one and two stages to 6 ulp each; of three to 1e-14 / (relative distance of the nearest two) */
void dwi_rc_poles(struct filter_poles *poles, int stages, const double *r, const double *c, double load);

/* The same where every capacitor leaks, at so many 1/s: its admittance c (s + leak) stands for c s.
 *   source    docs/theory.md, (6.33) */
void dwi_poles_leak(struct filter_poles *poles, double leak);

/* One stage of series resistance and coil, shunt capacitor, beside it a damping branch (a resistor and a capacitor in series)
 * or none, load. */
struct lc_parts {
    double r;       /* ohm, all that is in series with the coil, that of the source included; >= 0 */
    double l, c;    /* H, F, > 0 */
    double rd, cd;  /* ohm, F: the damping branch; cd = 0: none */
    double load;    /* ohm, INFINITY: none */
};
/* returns   false: nothing damps it, or values beyond reason
 * source    docs/theory.md, (6.11) to (6.13)
 * accuracy  1e-14 / (relative distance of the nearest two poles), at worst 1e-10 of the gain */
bool dwi_lc_poles(struct filter_poles *poles, const struct lc_parts *parts);
/* |transfer| at an angular frequency; V per V. */
double dwi_lc_response(const struct lc_parts *parts, double angular);

/* ---- under pulses: period in s, duty 0..1; out as above, all as a share of the gain ---- */

/* Peak-to-peak ripple of the output in the steady state.
 *   source    docs/theory.md, (6.5) to (6.8), (6.14)
 *   accuracy  1e-15 / (relative distance of the nearest two poles), relative for one and two real poles, else of the gain */
double dwi_pulse_ripple(const struct exp_sum *out, double period, double duty);

/* The largest over the duties k / levels.
 *   enough   the search ends where one is beyond it, which is then what is told
 *   duty     out: where it is
 *   source   one half where the response to a train of impulses rises once and falls once a period, theory (6.4); else every k,
 *            except where bounds on slope and curvature show that it cannot be there, theory (6.19) */
double dwi_pulse_worst_ripple(const struct exp_sum *out, double period, long levels, double enough, double *duty);

/* What is missing from the mean of the period that ends at (k + 1) T, of the change from rest to a duty above 0: the sum at k T.
 *   source    docs/theory.md, (6.9) */
struct exp_sum dwi_pulse_missing(const struct exp_sum *out, double period, double duty);
/* Settling of that mean, as dw-measure does (design of its measure: theory, 4.5).
 *   band      0..1, share of the change
 *   at_most   out: the first mean is already inside, and the time returned, one period, is only a bound
 *   returns   s; INFINITY: it was not found among the turns that are looked at, which takes ringing that hardly anything damps, in
 *             step with the pulses; likewise below
 *   source    docs/theory.md, (6.10)
 *   accuracy  1e-14 of the slowest time constant / (relative distance of the nearest two poles) */
double dwi_pulse_settling(const struct exp_sum *missing, double period, double band, bool *at_most);
/* Furthest mean beyond the last; INFINITY as above. */
double dwi_pulse_overshoot(const struct exp_sum *missing, double period);

/* Extremes over a period of the current in the steady state. */
void dwi_pulse_current(const struct filter_poles *poles, double period, double duty, double extremes[2]);
/* Those from rest on, A per V: for a step, duty 1; else for the train of pulses, from its first.
 *   low   V per V of pulse height, of the pin when off; with 0 the current is also that from duty 0 settled at any level, but for
 *         what flows then
 *   Infinite as above. */
void dwi_pulse_current_from_rest(const struct filter_poles *poles, double period, double duty, double low, double extremes[2]);

/* ln(cosh x) for x >= 0, and ln(sinh(x)/x): relative accuracy 4 ulp also near zero. */
double dwi_log_cosh(double x);
double dwi_log_sinhc(double x);

#endif
