/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Figures of filters by their values, as the search asks for them: no checks, one figure at a time. Not installed. */
#ifndef DESIGN_FILTER_INNER_H
#define DESIGN_FILTER_INNER_H

#include "poles_inner.h"
#include <dutywright/design.h>

/* A task with what follows from it. */
struct task_terms {
    struct dw_filter_task task;
    double period, height;
    double duty;       /* of the ripple; where it is searched, the one nearest to one half */
    double step;       /* duty that settling goes to */
    double source[2], load[2];  /* ohm, least and most */
    double leak;       /* 1/s, of each capacitor */
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
double dwi_rc_ripple(const struct task_terms *terms, const struct filter_poles *poles);
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
