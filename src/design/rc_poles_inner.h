/* SPDX-License-Identifier: GPL-3.0-or-later */
/* RC ladders as what they are for their output: a gain and a row of first-order lags with real, distinct poles. A ladder of
 * series resistors and shunt capacitors has no zero (docs/theory.md, 6.1). Everything is per volt of pulse height. Not
 * installed. */
#ifndef DESIGN_RC_POLES_INNER_H
#define DESIGN_RC_POLES_INNER_H

#include <stdbool.h>

enum { RC_POLES_MAX = 3 };

struct rc_poles {
    int count;
    double pole[RC_POLES_MAX];   /* 1/s, ascending */
    double share[RC_POLES_MAX];  /* weights of the partial fractions (6.3), sum 1 */
    double gain;              /* at frequency zero, 0..1 */
};

/* The lags of a ladder.
 *   stages    1 to 3
 *   r         ohm, [stages], > 0, the first with the resistance of the source
 *   c         F, [stages], > 0
 *   load      ohm, > 0, INFINITY for none
 *   source    docs/theory.md, (6.1), (6.2)
 *   accuracy  poles of one and two stages to 6 ulp each; of three to 1e-14 / (relative distance of the nearest two) */
void rc_poles_of_ladder(struct rc_poles *poles, int stages, const double *r, const double *c, double load);

/* Peak-to-peak ripple in the steady state.
 *   period    s
 *   duty      0..1
 *   returns   V per V of pulse height, gain included
 *   source    docs/theory.md, (6.5) to (6.8)
 *   accuracy  1e-15 / (relative distance of the nearest two poles), relative for one and two stages, of the gain for three */
double rc_poles_ripple(const struct rc_poles *poles, double period, double duty);

/* Settling from rest of the mean over the period just ended, as dw-measure does (design of its measure: theory, 4.5).
 *   duty      0..1 exclusive of 0: the step is from 0 to it
 *   band      0..1, share of the change
 *   at_most   out: the first mean is already inside, and the time returned, one period, is only a bound
 *   returns   s
 *   source    docs/theory.md, (6.9), (6.10)
 *   accuracy  1e-14 of the slowest time constant / (relative distance of the nearest two poles) */
double rc_poles_settling(const struct rc_poles *poles, double period, double duty, double band, bool *at_most);

/* Frequency where the gain has fallen by 3 dB (to 1/sqrt 2) of that at frequency zero, Hz; 4 ulp. */
double rc_poles_cutoff(const struct rc_poles *poles);

/* ln(cosh x) for x >= 0, and ln(sinh(x)/x): relative accuracy 4 ulp also near zero. */
double log_cosh(double x);
double log_sinhc(double x);

#endif
