/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One coil-and-capacitor stage: series resistance and coil, shunt capacitor, beside it a damping branch (a resistor and a
 * capacitor in series) or none, load. Everything is per volt of pulse height. Not installed. */
#ifndef DESIGN_LC_POLES_INNER_H
#define DESIGN_LC_POLES_INNER_H

#include "exp_sum_inner.h"

struct lc_parts {
    double r;       /* ohm, all that is in series with the coil, that of the source included; >= 0 */
    double l, c;    /* H, F, > 0 */
    double rd, cd;  /* ohm, F: the damping branch; cd = 0: none */
    double load;    /* ohm, INFINITY: none */
};

/* Response to a step of 1 V: gain - out(t), and the current of the coil: conductance - current(t). */
struct lc_poles {
    struct exp_sum out;      /* V per V; starts at gain */
    struct exp_sum current;  /* A per V */
    double gain, conductance;
};

/* returns   false: nothing damps it, or values beyond reason */
/* source    docs/theory.md, (6.11) to (6.13)
 * accuracy  1e-14 / (relative distance of the nearest two poles), at worst 1e-10 of the gain */
bool lc_poles_new(struct lc_poles *filter, const struct lc_parts *parts);

/* |transfer| at an angular frequency; V per V. */
double lc_response(const struct lc_parts *parts, double angular);
/* Highest frequency at which |transfer| passes the gain / sqrt 2, Hz. */
double lc_cutoff(const struct lc_parts *parts);

/* Extremes over a period of the steady state, of the output and of the coil's current.
 *   source   docs/theory.md, (6.14) */
void lc_orbit(const struct lc_poles *filter, double period, double duty, double out[2], double current[2]);
/* Peak-to-peak ripple of the output, V per V. */
double lc_ripple(const struct lc_poles *filter, double period, double duty);

/* Largest ripple over the duties k / levels.
 *   enough   the search ends where one is beyond it, which is then what is told
 *   duty     out: where it is
 *   source   one half where the response to a train of impulses rises once and falls once a period, theory (6.4); else every k,
 *            except where bounds on slope and curvature show that it cannot be there, theory (6.19) */
double lc_worst_ripple(const struct lc_poles *filter, double period, long levels, double enough, double *duty);

struct lc_start {
    double settling;   /* s, as rc_poles_settling; INFINITY never */
    bool at_most;
    double overshoot;  /* furthest mean beyond the last, as a share of the change */
};
void lc_settling(const struct lc_poles *filter, double period, double duty, double band,
                       struct lc_start *start);

/* Extremes of the current of the coil from rest on, A per V: for a step, duty 1; else for the train of pulses, from its first.
 *   low   V per V of pulse height, of the pin when off; with 0 the current is also that from duty 0 settled at any level, but for
 *         what flows then */
void lc_current(const struct lc_poles *filter, double period, double duty, double low, double extremes[2]);

#endif
