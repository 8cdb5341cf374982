/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Worst case within the spreads of the parts: at two corners where that is proved, else by search. */
#include "filter_inner.h"
#include <math.h>

/* RC stages: ripple is largest with every part at its lowest, settling with every part at its highest (theory, 6.2). */
static void rc_worst(const struct task_terms *terms, const struct dw_filter *filter, struct dw_filter_figures *figures)
{
    double low_r[DW_FILTER_STAGES] = { 0 }, low_c[DW_FILTER_STAGES], high_r[DW_FILTER_STAGES] = { 0 }, high_c[DW_FILTER_STAGES];
    double low = 0, high = 0;
    for (int k = 0; k < filter->stages; k++) {
        low_r[k] = filter->r[k].value * (1 - filter->r[k].spread);
        high_r[k] = filter->r[k].value * (1 + filter->r[k].spread);
        low_c[k] = filter->c[k].value * (1 - filter->c[k].spread);
        high_c[k] = filter->c[k].value * (1 + filter->c[k].spread);
        low += low_r[k];
        high += high_r[k];
    }
    figures->ripple = rc_ripple(terms, filter->stages, low_r, low_c);
    figures->duty = terms->duty;
    figures->settling = rc_settling(terms, filter->stages, high_r, high_c, &figures->settling_at_most);
    figures->overshoot = 0;
    figures->loading = loading_of(terms, high);
    /* falls with the first resistance, and goes one way with the others */
    figures->pin_current = fmax(rc_pin_current(terms, low_r[0], low), rc_pin_current(terms, low_r[0], low_r[0] + high - high_r[0]));
}

enum { RIPPLE, SETTLING, OVERSHOOT, PIN, SEARCHED };

static double figure(const struct dw_filter_figures *figures, int which)
{
    const double value[SEARCHED] = { figures->ripple, figures->settling, figures->overshoot, figures->pin_current };
    return value[which];
}

/* The worst seen so far, and where each figure had it. */
struct worst {
    struct dw_filter_figures figures;
    double deviation[SEARCHED][FILTER_PARTS];
};

static void keep(struct worst *worst, const struct dw_filter_figures *now, const double *deviation)
{
    for (int i = 0; i < SEARCHED; i++)
        if (figure(now, i) > figure(&worst->figures, i))
            for (int k = 0; k < FILTER_PARTS; k++)
                worst->deviation[i][k] = deviation[k];
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

/* Number n of the places whose coordinates are from -1 to 1 in so many equal steps; whether none is 0. */
static bool deviation_of(const bool *free, int count, int steps, int n, double *deviation)
{
    bool corner = true;
    for (int k = 0; k < count; k++) {
        deviation[k] = 0;
        if (free[k]) {
            deviation[k] = 2.0 * (n % (steps + 1)) / steps - 1;
            corner = corner && deviation[k] != 0;
            n /= steps + 1;
        }
    }
    return corner;
}

/* Whether what is found quickly is beyond the limits already, at some corner. */
static bool corners_exceed(const struct task_terms *terms, const struct dw_filter *filter, const bool *free, int count,
                           const struct filter_limits *limits, struct worst *worst)
{
    int corners = 1;
    for (int k = 0; k < count; k++)
        corners *= free[k] ? 2 : 1;
    for (int n = 0; n < corners; n++) {
        double deviation[FILTER_PARTS] = { 0 };
        struct dw_filter_figures now;
        deviation_of(free, count, 1, n, deviation);
        if (!start_at(terms, filter, deviation, &now))
            return false;
        if (exceeds(terms, &now, limits)) {
            keep(worst, &now, deviation);
            return true;
        }
    }
    return false;
}

/* All places whose coordinates are -1, 0 or 1: those without a 0 first (the corners), then the rest. */
static bool grid(const struct task_terms *terms, const struct dw_filter *filter, const bool *free, int count, const struct filter_limits *limits,
                 struct worst *worst)
{
    int places = 1;
    for (int k = 0; k < count; k++)
        places *= free[k] ? 3 : 1;
    for (int inner = 0; inner < 2; inner++)
        for (int n = 0; n < places; n++) {
            double deviation[FILTER_PARTS] = { 0 };
            struct dw_filter_figures now;
            if (deviation_of(free, count, 2, n, deviation) == (inner == 1))
                continue;
            if (!figures_at(terms, filter, deviation, limits, &now))
                return false;
            keep(worst, &now, deviation);
            if (exceeds(terms, &worst->figures, limits))
                return true;
        }
    return true;
}

/* Steps of halving length from the worst deviation of one figure, each part by itself. */
static bool around(const struct task_terms *terms, const struct dw_filter *filter, const bool *free, int count, int which,
                   const struct filter_limits *limits, struct worst *worst)
{
    for (double step = 0.5; step > 0.05; step /= 2)
        for (int k = 0; k < count; k++)
            for (int way = -1; way <= 1 && free[k]; way += 2) {
                double deviation[FILTER_PARTS] = { 0 };
                struct dw_filter_figures now;
                for (int i = 0; i < FILTER_PARTS; i++)
                    deviation[i] = worst->deviation[which][i];
                deviation[k] += way * step;
                if (fabs(deviation[k]) > 1)
                    continue;
                if (!figures_at(terms, filter, deviation, limits, &now))
                    return false;
                keep(worst, &now, deviation);
                if (exceeds(terms, &worst->figures, limits))
                    return true;
            }
    return true;
}

bool figures_worst(const struct task_terms *terms, const struct dw_filter *filter, const struct filter_limits *limits,
                   struct dw_filter_figures *figures, bool *exact)
{
    *exact = filter->l.value == 0;
    if (*exact) {
        rc_worst(terms, filter, figures);
        return true;
    }
    const struct dw_part *parts[FILTER_PARTS];
    const int count = filter_part_list(filter, parts);
    bool free[FILTER_PARTS] = { false }, any = false;
    struct worst worst = { .figures = { .ripple = -1, .settling = -1, .overshoot = -1, .loading = -1, .pin_current = -1 } };
    for (int k = 0; k < count; k++) {
        free[k] = parts[k]->value > 0 && parts[k]->spread > 0;
        any = any || free[k];
    }
    *exact = !any;
    if (corners_exceed(terms, filter, free, count, limits, &worst)) {
        *figures = worst.figures;
        return true;
    }
    if (!grid(terms, filter, free, count, limits, &worst))
        return false;
    for (int which = 0; which < SEARCHED && any && !exceeds(terms, &worst.figures, limits); which++)
        if (!around(terms, filter, free, count, which, limits, &worst))
            return false;
    *figures = worst.figures;
    return true;
}
