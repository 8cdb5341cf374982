/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Worst case within the spreads of the parts: at two corners where that is proved, else by search. */
#include "poles_inner.h"
#include <math.h>
#include <string.h>

/* Values with every part, the pin and the load at an end. */
static struct rc_values values_at_end(const struct task_terms *terms, const struct dw_filter *filter, int end, int load)
{
    double deviation[DEVIATIONS];
    for (int k = 0; k < DEVIATIONS; k++)
        deviation[k] = 2 * end - 1;
    struct rc_values values = dwi_rc_values_at(terms, filter, deviation);
    values.source = terms->source[end];
    values.load = terms->load[load];
    return values;
}

/* RC stages: ripple is largest with every part at its lowest, settling with every part at its highest, with the load of most ohm
 * (theory, 6.2). With a load of two ends the ripple is the larger of both. */
static void rc_worst(const struct task_terms *terms, const struct dw_filter *filter, struct dw_filter_figures *figures)
{
    const struct rc_values slow = values_at_end(terms, filter, 1, 1), loaded = values_at_end(terms, filter, 1, 0);
    struct filter_poles poles;
    *figures = (struct dw_filter_figures){ .duty = terms->duty };
    for (int load = 1; load >= (terms->load[0] < terms->load[1] ? 0 : 1); load--) {
        const struct rc_values low = values_at_end(terms, filter, 0, load), high = values_at_end(terms, filter, 1, load);
        const double first = low.source + low.r[0];
        dwi_rc_poles_of(&poles, terms, filter->stages, &low);
        double duty;
        const double ripple = dwi_rc_ripple(terms, &poles, &duty);
        figures->duty = ripple > figures->ripple ? duty : figures->duty;
        figures->ripple = fmax(figures->ripple, ripple);
        /* falls with the first resistance, and goes one way with the others */
        const double current = fmax(dwi_rc_pin_current(terms, first, low.source + low.whole + low.load),
                                    dwi_rc_pin_current(terms, first, first + high.whole - high.r[0] + high.load));
        figures->pin_current = fmax(figures->pin_current, current);
    }
    dwi_rc_poles_of(&poles, terms, filter->stages, &loaded);
    figures->loading = dwi_rc_loading(terms, &poles, &loaded);
    if (terms->load[0] < terms->load[1])
        dwi_rc_poles_of(&poles, terms, filter->stages, &slow);
    figures->settling = dwi_rc_settling(terms, &poles, &figures->settling_at_most);
}

enum { RIPPLE, SETTLING, OVERSHOOT, PIN, SEARCHED };

static double figure(const struct dw_filter_figures *figures, int which)
{
    const double value[SEARCHED] = { figures->ripple, figures->settling, figures->overshoot, figures->pin_current };
    return value[which];
}

/* The search: what is asked, the worst seen so far, and where each figure had it. */
struct worst {
    const struct task_terms *terms;
    const struct dw_filter *filter;
    const struct filter_limits *limits;
    bool free[DEVIATIONS];
    struct dw_filter_figures figures;
    double deviation[SEARCHED][DEVIATIONS];
};

static void keep(struct worst *worst, const struct dw_filter_figures *now, const double *deviation)
{
    for (int i = 0; i < SEARCHED; i++)
        if (figure(now, i) > figure(&worst->figures, i))
            memcpy(worst->deviation[i], deviation, sizeof worst->deviation[i]);
    if (now->ripple > worst->figures.ripple) {
        worst->figures.ripple = now->ripple;
        worst->figures.duty = now->duty;
    }
    if (now->settling > worst->figures.settling) {
        worst->figures.settling = now->settling;
        worst->figures.settling_at_most = now->settling_at_most;
    }
    worst->figures.overshoot = fmax(worst->figures.overshoot, now->overshoot);
    worst->figures.pin_current = fmax(worst->figures.pin_current, now->pin_current);
    worst->figures.loading = fmax(worst->figures.loading, now->loading);
}

enum finding { GO_ON, BEYOND, UNDAMPED };

/* Looks at one deviation of the parts. */
static enum finding look_at(struct worst *worst, const double *deviation)
{
    struct dw_filter_figures now;
    if (!dwi_figures_at(worst->terms, worst->filter, deviation, worst->limits, &now))  /* unrun: undamped */
        return UNDAMPED;
    keep(worst, &now, deviation);
    return dwi_exceeds(worst->terms, &worst->figures, worst->limits) ? BEYOND : GO_ON;
}

/* Number n of the deviations whose coordinates are from -1 to 1 in so many equal steps; whether none is 0. */
static bool deviation_of(const bool *free, int steps, int n, double *deviation)
{
    bool corner = true;
    for (int k = 0; k < DEVIATIONS; k++) {
        deviation[k] = 0;
        if (free[k]) {
            deviation[k] = 2.0 * (n % (steps + 1)) / steps - 1;
            corner = corner && deviation[k] != 0;
            n /= steps + 1;
        }
    }
    return corner;
}

static int number_of(const bool *free, int steps)
{
    int number = 1;
    for (int k = 0; k < DEVIATIONS; k++)
        number *= free[k] ? steps + 1 : 1;
    return number;
}

/* Whether what is found quickly is beyond the limits already, at some corner. */
static enum finding look_at_corners(struct worst *worst)
{
    double deviation[DEVIATIONS];
    struct dw_filter_figures now;
    for (int n = 0; n < number_of(worst->free, 1); n++) {
        deviation_of(worst->free, 1, n, deviation);
        const struct lc_parts parts = dwi_lc_parts_at(worst->terms, worst->filter, deviation);
        if (!dwi_lc_start(worst->terms, &parts, &now))
            return UNDAMPED;
        if (dwi_exceeds(worst->terms, &now, worst->limits)) {
            keep(worst, &now, deviation);
            return BEYOND;
        }
    }
    return GO_ON;
}

/* All deviations whose coordinates are -1, 0 or 1: those without a 0 first (the corners), then the rest. */
static enum finding look_at_grid(struct worst *worst)
{
    enum finding finding = GO_ON;
    double deviation[DEVIATIONS];
    for (int inner = 0; inner < 2; inner++)
        for (int n = 0; n < number_of(worst->free, 2) && finding == GO_ON; n++)
            if (deviation_of(worst->free, 2, n, deviation) != (inner == 1))
                finding = look_at(worst, deviation);
    return finding;
}

/* Steps of halving length from the worst deviation of one figure, each part by itself. */
static enum finding look_around(struct worst *worst, int which)
{
    enum finding finding = GO_ON;
    for (double step = 0.5; step > 0.05; step /= 2)
        for (int k = 0; k < DEVIATIONS; k++)
            for (int way = -1; way <= 1 && worst->free[k] && finding == GO_ON; way += 2) {
                double deviation[DEVIATIONS];
                memcpy(deviation, worst->deviation[which], sizeof deviation);
                deviation[k] += way * step;
                if (fabs(deviation[k]) <= 1)
                    finding = look_at(worst, deviation);
            }
    return finding;
}

bool dwi_figures_worst(const struct task_terms *terms, const struct dw_filter *filter, const struct filter_limits *limits,
                       struct dw_filter_figures *figures, bool *exact)
{
    *exact = terms->load[0] == terms->load[1] && terms->source[0] == terms->source[1];
    if (filter->l.value == 0) {
        rc_worst(terms, filter, figures);
        return true;
    }
    const struct dw_part *parts[FILTER_PARTS];
    struct worst worst = { .terms = terms, .filter = filter, .limits = limits,
                           .figures = { .ripple = -1, .settling = -1, .overshoot = -1, .loading = -1, .pin_current = -1 } };
    worst.free[DEVIATIONS - 1] = terms->load[0] < terms->load[1];
    for (int k = dwi_filter_part_list(filter, parts); k-- > 0;) {
        worst.free[k] = parts[k]->value > 0 && parts[k]->spread > 0;
        *exact = *exact && !worst.free[k];
    }
    enum finding finding = look_at_corners(&worst);
    if (finding == GO_ON)
        finding = look_at_grid(&worst);
    for (int which = 0; which < SEARCHED && !*exact && finding == GO_ON; which++)
        finding = look_around(&worst, which);
    *figures = worst.figures;
    return finding != UNDAMPED;
}

enum dw_status dw_filter_worst(const struct dw_filter_task *task, const struct dw_filter *filter,
                               struct dw_filter_figures *figures, bool *exact, struct dw_error *error)
{
    const enum dw_status status = dwi_filter_check(task, filter, error);
    if (status != DW_OK)
        return status;
    const struct task_terms terms = dwi_terms_of(task);
    struct dw_filter_figures found;
    bool proved;
    if (!dwi_figures_worst(&terms, filter, &dwi_no_limits, &found, &proved))
        return dwi_filter_undamped(error);
    *figures = found;
    *exact = proved;
    return DW_OK;
}
