/* SPDX-License-Identifier: GPL-3.0-or-later */
/* All filters with a coil out of the parts on offer that are worth a look. */
#include "search_inner.h"
#include <math.h>

/* How far from its best value a damping resistor may be, and how large its capacitor may be against the other. */
static const double RESISTOR_REACH = 3, CAPACITOR_REACH = 10;

/* First part not below a value. */
static size_t lower(const struct dw_parts *parts, double value)
{
    size_t low = 0, high = parts->count;
    while (low < high) {
        const size_t middle = low + (high - low) / 2;
        if (parts->part[middle].value < value)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

struct range {
    size_t from, to;  /* to exclusive */
};

static struct range range_of(const struct dw_parts *parts, double low, double high)
{
    return (struct range){ lower(parts, low), lower(parts, nextafter(high, INFINITY)) };
}

/* Resistor of least peak impedance beside a capacitor n times the one damped, over sqrt(l/c): Erickson and Maksimovic,
 * Fundamentals of Power Electronics, 2nd ed. 2001, 10.4.1 (parallel damping). */
static double best_damper(double n)
{
    return sqrt((2 + n) * (4 + 3 * n) / (2 * n * n * (4 + n)));
}

static void look(struct search *search, const struct dw_filter *filter)
{
    const struct task_terms *terms = &search->terms;
    const struct lc_parts parts = dwi_lc_parts_at(terms, filter, NULL);
    struct bound bound = { .parts = dw_filter_parts(filter), .price = dw_filter_price(filter) };
    struct filter_limits limits = { search->goal == GOAL_NEAREST ? INFINITY : 1, INFINITY, INFINITY };
    /* cheap first: the nominal case bounds the worst one */
    if (!search->exhaustive) {
        bound.figures.loading = dwi_loading_of(parts.r, parts.load);
        bound.figures.ripple = dwi_lc_least_ripple(terms, &parts);
        if (dwi_search_hopeless(search, &bound, true))
            return;
        search->evaluations++;
        const double ripple = bound.figures.ripple;
        if (!dwi_lc_start(terms, &parts, &bound.figures))  /* unrun: undamped */
            return;
        bound.figures.ripple = ripple;
        if (dwi_search_hopeless(search, &bound, true))
            return;
        limits = dwi_search_limits(search, &bound);
        dwi_lc_figures(terms, &parts, &limits, &bound.figures);
        if (dwi_search_hopeless(search, &bound, true))
            return;
    }
    search->evaluations += 100;
    dwi_search_offer(search, filter, &limits);
}

/* Each variant of one coil and capacitor, or only their number. */
static double variants(struct search *search, struct dw_filter *filter, bool damped_already,
                       const struct dw_parts *capacitors, const struct dw_parts *dampers)
{
    const struct dw_part none = { 0, 0, 0 };
    const double impedance = sqrt(filter->l.value / filter->c[0].value);
    double count = 0;
    filter->r[0] = filter->rd = filter->cd = none;
    if (damped_already) {
        count++;
        if (search)
            look(search, filter);
    }
    if (!dampers)
        return count;
    struct range range = range_of(dampers, impedance / RESISTOR_REACH, impedance * RESISTOR_REACH);
    count += (double)(range.to - range.from);
    for (size_t i = range.from; search && i < range.to; i++) {
        filter->r[0] = dampers->part[i];
        look(search, filter);
    }
    filter->r[0] = none;
    const struct range large = range_of(capacitors, filter->c[0].value, filter->c[0].value * CAPACITOR_REACH);
    for (size_t k = large.from; k < large.to; k++) {
        const double best = impedance * best_damper(capacitors->part[k].value / filter->c[0].value);
        range = range_of(dampers, best / RESISTOR_REACH, best * RESISTOR_REACH);
        count += (double)(range.to - range.from);
        for (size_t i = range.from; search && i < range.to; i++) {
            filter->cd = capacitors->part[k];
            filter->rd = dampers->part[i];
            look(search, filter);
        }
    }
    return count;
}

double dwi_lc_candidates(const struct offer *offer, bool damped_already)
{
    double count = 0;
    for (size_t i = 0; i < offer->first->count; i++)
        for (size_t k = 0; k < offer->second->count; k++) {
            struct dw_filter filter = { .stages = 1, .l = offer->first->part[i], .c = { offer->second->part[k] } };
            count += variants(NULL, &filter, damped_already, offer->capacitors, offer->resistors);
        }
    return count;
}

/* A step that visits all of so many places, each once: near the golden section, without common divisor. */
static size_t scattering_step(size_t places)
{
    size_t step = (size_t)(0.6180339887498949 * (double)places) + 1;
    for (;; step++) {
        size_t one = places, other = step;
        while (other > 0) {
            const size_t rest = one % other;
            one = other;
            other = rest;
        }
        if (one == 1)
            return step;
    }
}

void dwi_search_lc(struct search *search, const struct offer *offer, size_t piece, size_t pieces)
{
    const struct dw_parts *coils = offer->first, *capacitors = offer->second;
    const bool damped_already = search->terms.task.source > 0 || isfinite(search->terms.task.load);
    /* all pairs, but neighbours far apart in time, so that good ones are found early and the rest need not be looked at closely */
    const size_t pairs = coils->count * capacitors->count, step = scattering_step(pairs);
    for (size_t n = piece; n < pairs && !dwi_search_ended(search); n += pieces) {
        const size_t pair = n * step % pairs;
        struct dw_filter filter = { .stages = 1, .l = coils->part[pair / capacitors->count],
                                    .c = { capacitors->part[pair % capacitors->count] } };
        variants(search, &filter, damped_already, offer->capacitors, offer->resistors);
        dwi_search_tell(search, (double)(n + 1) / (double)pairs);
    }
}
