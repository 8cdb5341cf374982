/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Filters by their poles and residues, and what a train of pulses makes of any of them. Closed forms are where the search has
 * its poles from: an eigenvalue problem would cost four times as much. Everything is per volt of pulse height. Not
 * installed. */
#ifndef DESIGN_POLES_INNER_H
#define DESIGN_POLES_INNER_H

#include <complex.h>
#include <dutywright/design.h>
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
    double jump;             /* of an answer to a step: what is done of it at once, so that it begins at 1 - jump */
    bool kinked;             /* and whether its slope begins at once, though there is more than one pole */
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
    struct exp_sum out;      /* begins at 1 - jump; its slope at 0, where there is more than one pole, unless kinked */
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

/* The same where capacitors are not ideal: each leaks, at so many 1/s, behind a series resistance of esr / c: with s + leak = u the
 * admittance c u / (1 + esr u) stands for c s.
 *   leak, esr  1/s, s; 0: none
 *   source    docs/theory.md, (6.33), (6.37) */
void dwi_poles_lossy(struct filter_poles *poles, double leak, double esr);

/* One stage of series resistance and coil, shunt capacitor, beside it a damping branch (a resistor and a capacitor in series)
 * or none, load. */
struct lc_parts {
    double r;       /* ohm, all that is in series with the coil, that of the source included; >= 0 */
    double l, c;    /* H, F, > 0 */
    double rd, cd;  /* ohm, F: the damping branch; cd = 0: none */
    double load;    /* ohm, INFINITY: none */
    double esr;     /* s, series resistance of c times c */
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

/* ---- figures of filters by their values, as the search asks for them: no checks, one figure at a time ---- */

enum { TASK_HARMONICS = 4 };

/* A task with what follows from it. */
struct task_terms {
    struct dw_filter_task task;
    double period, height;
    double duty;       /* of the ripple; where it is searched, the one nearest to one half */
    double step;       /* duty that settling goes to */
    double source[2], load[2];  /* ohm, least and most */
    double leak;       /* 1/s, of each capacitor */
    double sine[TASK_HARMONICS];  /* of the pulses' odd harmonics: sin(pi m duty), m = 1, 3, 5, 7 */
    bool search_duty;
};
struct task_terms dwi_terms_of(const struct dw_filter_task *task);

/* Share of the mean that a series resistance, that of the source included, takes off. */
double dwi_loading_of(double series, double load);
/* Largest share of a limit that is used up. */
double dwi_margin_of(const struct dw_filter_task *task, const struct dw_filter_figures *figures, bool coil);

/* Beyond one of these a filter is of no use. */
struct filter_limits {
    double margin, ripple, settling;  /* INFINITY: any is */
};
bool dwi_exceeds(const struct task_terms *terms, const struct dw_filter_figures *figures, const struct filter_limits *limits);
extern const struct filter_limits dwi_no_limits;  /* none is beyond it */

/* Values of a filter's parts: nominal (NULL), or anywhere within their spreads: deviation -1 lowest to 1 highest, one a part in
 * the order r c r c r c, or r l c rd cd. */
enum { FILTER_PARTS = 6, DEVIATIONS = 7 };  /* the last is that of the load */
int dwi_filter_part_list(const struct dw_filter *filter, const struct dw_part *parts[FILTER_PARTS]);
struct rc_values {
    double r[DW_FILTER_STAGES], c[DW_FILTER_STAGES], whole;  /* the sum of r; with a coil, r[0] and whole alone are told */
    double source, load;
};
struct rc_values dwi_rc_values_at(const struct task_terms *terms, const struct dw_filter *filter, const double *deviation);
struct lc_parts dwi_lc_parts_at(const struct task_terms *terms, const struct dw_filter *filter, const double *deviation);

/* RC stages. Ripple in V, settling in s. */
void dwi_rc_poles_of(struct filter_poles *poles, const struct task_terms *terms, int stages, const struct rc_values *values);
/*   duty  out: where it is */
double dwi_rc_ripple(const struct task_terms *terms, const struct filter_poles *poles, double *duty);
double dwi_rc_settling(const struct task_terms *terms, const struct filter_poles *poles, bool *at_most);
double dwi_rc_loading(const struct task_terms *terms, const struct filter_poles *poles, const struct rc_values *values);
/* Peak current of the pin, from the first resistance, that of the source included, and all to ground. (6.16) */
double dwi_rc_pin_current(const struct task_terms *terms, double first, double all);

/* A stage with a coil.
 *   limits    where a figure is beyond them, the others may be told as less than they are
 *   returns   false: nothing damps it */
bool dwi_lc_figures(const struct task_terms *terms, const struct lc_parts *parts, const struct filter_limits *limits,
                    struct dw_filter_figures *figures);
/* What is found quickly: all but ripple and current, which are 0.
 *   returns   false: nothing damps it */
bool dwi_lc_start(const struct task_terms *terms, const struct lc_parts *parts, struct dw_filter_figures *figures);
/* A ripple that it has at least, found quickly. (6.17) */
double dwi_lc_least_ripple(const struct task_terms *terms, const struct lc_parts *parts);

/* Of either kind. */
bool dwi_figures_at(const struct task_terms *terms, const struct dw_filter *filter, const double *deviation,
                    const struct filter_limits *limits, struct dw_filter_figures *figures);

/* Worst case, as dw_filter_worst, for a filter that has been checked.
 *   limits    the search may end where a figure is beyond them; figures are then only a lower bound, beyond them too
 *   returns   false: at some deviation nothing damps it */
bool dwi_figures_worst(const struct task_terms *terms, const struct dw_filter *filter, const struct filter_limits *limits,
                       struct dw_filter_figures *figures, bool *exact);

enum { KEPT_FIGURES = 6 };  /* five figures, the margin */
struct kept_samples {
    unsigned long long count, needed;  /* 0: none are drawn, the worst case counts */
    uint64_t seed;
    double *room;                      /* [KEPT_FIGURES x count] */
};
/* What the needed of the samples, the best by it, and the nominal values keep of each figure, and of the margin.
 *   most      the margin: where fewer keep it, there is no answer
 *   returns   false: then, or where nothing damps it */
bool dwi_figures_kept(const struct task_terms *terms, const struct dw_filter *filter, const struct kept_samples *samples, double most,
                      struct dw_filter_figures *figures, double *margin);

/* DW_OK, or DW_BAD_USE: a task that is none, or parts that make neither kind of filter. */
enum dw_status dwi_filter_check(const struct dw_filter_task *task, const struct dw_filter *filter, struct dw_error *error);
enum dw_status dwi_filter_undamped(struct dw_error *error);  /* DW_NO */

/* Uniform in (-1, 1): number n of the stream of one sample, known without those before it. */
double dwi_draw(uint64_t seed, uint64_t sample, uint32_t n);

#endif
