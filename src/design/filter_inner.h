/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Figures of filters by their values, as the search asks for them: no checks, one figure at a time. Not installed. */
#ifndef DESIGN_FILTER_INNER_H
#define DESIGN_FILTER_INNER_H

#include <dutywright/design.h>

/* A task with what follows from it. */
struct task_terms {
    struct dw_filter_task task;
    double period, height;
    double duty;       /* of the ripple; where it is searched, the one nearest to one half */
    double step;       /* duty that settling goes to */
    bool search_duty;
};
struct task_terms terms_of(const struct dw_filter_task *task);

/* RC stages; r without the source. ripple in V, settling in s. */
double rc_ripple(const struct task_terms *terms, int stages, const double *r, const double *c);
double rc_settling(const struct task_terms *terms, int stages, const double *r, const double *c, bool *at_most);
/* Share of the mean that a series resistance (without the source) takes off. */
double loading_of(const struct task_terms *terms, double resistance);
/* Peak current of the pin, from the first resistance and the whole, both without the source. (6.16) */
double rc_pin_current(const struct task_terms *terms, double first, double whole);

/* Beyond one of these a filter is of no use. */
struct filter_limits {
    double margin, ripple, settling;  /* INFINITY: any is */
};
bool exceeds(const struct task_terms *terms, const struct dw_filter_figures *figures, const struct filter_limits *limits);
extern const struct filter_limits NO_LIMITS;  /* none is beyond it */

/* One stage with a coil. */
struct coil_values {
    double r, l, c, rd, cd;
};
/*   limits      where a figure is beyond it, the others may be told as less than they are
 *   returns   false: nothing damps it */
bool coil_figures(const struct task_terms *terms, const struct coil_values *values, const struct filter_limits *limits,
                  struct dw_filter_figures *figures);
/* What is found quickly: all but ripple and current, which are 0.
 *   returns   false: nothing damps it */
bool coil_start(const struct task_terms *terms, const struct coil_values *values, struct dw_filter_figures *figures);
/* Peak-to-peak current of the coil in the steady state, A; NaN where nothing damps it. */
double coil_swing(const struct task_terms *terms, const struct dw_filter *filter, double duty);
/* A ripple that it has at least, found quickly. (6.17) */
double coil_least_ripple(const struct task_terms *terms, const struct coil_values *values);

/* Largest share of a limit that is used up. */
double margin_of(const struct dw_filter_task *task, const struct dw_filter_figures *figures, bool coil);

/* Values of a filter's parts: nominal, or anywhere within their spreads: deviation -1 lowest to 1 highest, one a part in the
 * order r c r c r c, or r l c rd cd. */
enum { FILTER_PARTS = 6 };
int filter_part_list(const struct dw_filter *filter, const struct dw_part *parts[FILTER_PARTS]);
/*   limits      as above, for filters with a coil */
bool figures_at(const struct task_terms *terms, const struct dw_filter *filter, const double *deviation,
                const struct filter_limits *limits, struct dw_filter_figures *figures);

/* Of a filter with a coil, as coil_start. */
bool start_at(const struct task_terms *terms, const struct dw_filter *filter, const double *deviation,
              struct dw_filter_figures *figures);

/* Worst case, as dw_filter_worst, for a filter that has been checked.
 *   limits      the search may end where a figure is beyond it; figures are then only a lower bound, beyond it too
 *   returns   false: at some deviation nothing damps it */
bool figures_worst(const struct task_terms *terms, const struct dw_filter *filter, const struct filter_limits *limits,
                   struct dw_filter_figures *figures, bool *exact);

/* DW_OK, or DW_BAD_USE: parts that make neither kind of filter. */
enum dw_status filter_check(const struct dw_filter *filter, struct dw_error *error);

#endif
