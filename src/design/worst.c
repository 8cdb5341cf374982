/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Worst case within the spreads of the parts: at two corners where that is proved, else by search. */
#include "filter_inner.h"
#include <math.h>

/* RC stages: ripple is largest with every part at its lowest, settling with every part at its highest (theory, 6.2). */
static void rc_worst(const struct terms *terms, const struct dw_filter *filter, struct dw_filter_figures *figures)
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
    double place[SEARCHED][FILTER_PARTS];
};

static void keep(struct worst *worst, const struct dw_filter_figures *now, const double *place)
{
    for (int i = 0; i < SEARCHED; i++)
        if (figure(now, i) > figure(&worst->figures, i))
            for (int k = 0; k < FILTER_PARTS; k++)
                worst->place[i][k] = place[k];
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
static bool place_of(const bool *free, int count, int steps, int n, double *place)
{
    bool corner = true;
    for (int k = 0; k < count; k++) {
        place[k] = 0;
        if (free[k]) {
            place[k] = 2.0 * (n % (steps + 1)) / steps - 1;
            corner = corner && place[k] != 0;
            n /= steps + 1;
        }
    }
    return corner;
}

/* Whether what is found quickly is beyond the most already, at some corner. */
static bool corners_beyond(const struct terms *terms, const struct dw_filter *filter, const bool *free, int count,
                           const struct most *most, struct worst *worst)
{
    int corners = 1;
    for (int k = 0; k < count; k++)
        corners *= free[k] ? 2 : 1;
    for (int n = 0; n < corners; n++) {
        double place[FILTER_PARTS] = { 0 };
        struct dw_filter_figures now;
        place_of(free, count, 1, n, place);
        if (!start_at(terms, filter, place, &now))
            return false;
        if (beyond(terms, &now, most)) {
            keep(worst, &now, place);
            return true;
        }
    }
    return false;
}

/* All places whose coordinates are -1, 0 or 1: those without a 0 first (the corners), then the rest. */
static bool grid(const struct terms *terms, const struct dw_filter *filter, const bool *free, int count, const struct most *most,
                 struct worst *worst)
{
    int places = 1;
    for (int k = 0; k < count; k++)
        places *= free[k] ? 3 : 1;
    for (int inner = 0; inner < 2; inner++)
        for (int n = 0; n < places; n++) {
            double place[FILTER_PARTS] = { 0 };
            struct dw_filter_figures now;
            if (place_of(free, count, 2, n, place) == (inner == 1))
                continue;
            if (!figures_at(terms, filter, place, most, &now))
                return false;
            keep(worst, &now, place);
            if (beyond(terms, &worst->figures, most))
                return true;
        }
    return true;
}

/* Steps of halving length from the worst place of one figure, each part by itself. */
static bool around(const struct terms *terms, const struct dw_filter *filter, const bool *free, int count, int which,
                   const struct most *most, struct worst *worst)
{
    for (double step = 0.5; step > 0.05; step /= 2)
        for (int k = 0; k < count; k++)
            for (int way = -1; way <= 1 && free[k]; way += 2) {
                double place[FILTER_PARTS] = { 0 };
                struct dw_filter_figures now;
                for (int i = 0; i < FILTER_PARTS; i++)
                    place[i] = worst->place[which][i];
                place[k] += way * step;
                if (fabs(place[k]) > 1)
                    continue;
                if (!figures_at(terms, filter, place, most, &now))  /* unrun: undamped */
                    return false;
                keep(worst, &now, place);
                if (beyond(terms, &worst->figures, most))  /* unrun: worst-middle */
                    return true;
            }
    return true;
}

bool figures_worst(const struct terms *terms, const struct dw_filter *filter, const struct most *most,
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
    if (corners_beyond(terms, filter, free, count, most, &worst)) {
        *figures = worst.figures;
        return true;
    }
    if (!grid(terms, filter, free, count, most, &worst))
        return false;
    for (int which = 0; which < SEARCHED && any && !beyond(terms, &worst.figures, most); which++)
        if (!around(terms, filter, free, count, which, most, &worst))  /* unrun: undamped */
            return false;
    *figures = worst.figures;
    return true;
}
