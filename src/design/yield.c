/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "poles_inner.h"
#include "pulse/train_inner.h"
#include <float.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>
#include <stdlib.h>

double dwi_draw(uint64_t seed, uint64_t sample, uint32_t n)
{
    const uint32_t counter[4] = { (uint32_t)sample, (uint32_t)(sample >> 32), n / 2, 0 };
    const uint32_t key[2] = { (uint32_t)seed, (uint32_t)(seed >> 32) };
    uint32_t out[4];
    dwi_philox(counter, key, out);
    /* 52 bits, and one half of the last: symmetric, never an end */
    const uint64_t word = ((uint64_t)out[2 * (n % 2)] << 32 | out[2 * (n % 2) + 1]) >> 12;
    return ((double)word + 0.5) * 0x1p-51 - 1;
}

static const unsigned long long most_samples = 1ull << 40;

/* The incomplete beta function's continued fraction, from the front (Lentz 1976, Applied Optics 15:668), which takes some
 * sqrt(a + b) steps for x below the middle. */
static double beta_fraction(double a, double b, double x)
{
    double c = 1, d = 1 / (1 - (a + b) * x / (a + 1)), f = d, change = 0;
    for (double m = 1; fabs(change - 1) > 2 * DBL_EPSILON && m < 0x1p24; m++) {  /* unrun: count */
        const double even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
        const double odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));
        d = 1 / (1 + even * d);
        c = 1 + even / c;
        f *= c * d;
        d = 1 / (1 + odd * d);
        c = 1 + odd / c;
        change = c * d;
        f *= change;
    }
    return f;
}

/* I_x(a, b): NIST Handbook of Mathematical Functions, 8.17.22 and 8.17.4. */
static double beta_below(double a, double b, double x)
{
    const double front = exp(a * log(x) + b * log1p(-x) - gsl_sf_lnbeta(a, b));
    return x < (a + 1) / (a + b + 2) ? front * beta_fraction(a, b, x) / a : 1 - front * beta_fraction(b, a, 1 - x) / b;
}

/* x with I_x(a, b) = p, by halving: the quick inverses at hand end the process where they do not converge, and that is at
 * ten thousand samples already. */
static double beta_quantile(double a, double b, double p)
{
    double low = 0, high = 1;
    while (high - low > 2 * DBL_EPSILON * high) {
        const double middle = (low + high) / 2;
        if (beta_below(a, b, middle) < p)
            low = middle;
        else
            high = middle;
    }
    return high;
}

static enum dw_status check_counts(unsigned long long good, unsigned long long samples, double confidence, struct dw_error *error)
{
    if (good > samples || samples < 1 || !(confidence > 0 && confidence < 1))
        return dw_error_set(error, DW_BAD_USE, 0, "a yield needs samples, no more good ones, and a confidence between 0 and 1");
    if (samples > most_samples)
        return dw_error_set(error, DW_BAD_USE, 0, "%llu samples: at most %llu can be counted", samples, most_samples);
    return DW_OK;
}

enum dw_status dw_yield_interval(unsigned long long good, unsigned long long samples, double confidence,
                                 struct dw_yield *yield, struct dw_error *error)
{
    const enum dw_status status = check_counts(good, samples, confidence, error);
    if (status != DW_OK)
        return status;
    const double tail = (1 - confidence) / 2, k = (double)good, n = (double)samples;
    *yield = (struct dw_yield){
        .samples = samples,
        .good = good,
        .share = k / n,
        .least = good > 0 ? beta_quantile(k, n - k + 1, tail) : 0,
        .most = good < samples ? beta_quantile(k + 1, n - k, 1 - tail) : 1,
    };
    return DW_OK;
}

enum dw_status dw_yield_needed(double share, unsigned long long samples, double confidence, unsigned long long *needed,
                               struct dw_error *error)
{
    struct dw_yield yield;
    const enum dw_status status = dw_yield_interval(samples, samples, confidence, &yield, error);
    unsigned long long low = 0, high = samples;
    if (status != DW_OK)
        return status;
    if (!(share > 0 && share < 1))
        return dw_error_set(error, DW_BAD_USE, 0, "a yield must lie between 0 and 1");
    if (yield.least < share)
        return dw_error_set(error, DW_BAD_USE, 0, "%llu samples cannot show a yield of %.6g%%: %.0f can", samples, 100 * share,
                            ceil(log((1 - confidence) / 2) / log(share)));
    while (high - low > 1) {
        const unsigned long long middle = low + (high - low) / 2;
        dw_yield_interval(middle, samples, confidence, &yield, NULL);
        *(yield.least < share ? &low : &high) = middle;
    }
    *needed = high;
    return DW_OK;
}

/* A sample's deviations. */
static void draw(uint64_t seed, uint64_t sample, double deviation[DEVIATIONS])
{
    for (uint32_t k = 0; k < DEVIATIONS; k++)
        deviation[k] = dwi_draw(seed, sample, k);
}

static int ascending(const void *a, const void *b)
{
    const double one = *(const double *)a, other = *(const double *)b;
    return one < other ? -1 : one > other;
}

static double *member(struct dw_filter_figures *figures, int which)
{
    double *const members[KEPT_FIGURES - 1] = { &figures->ripple, &figures->settling, &figures->overshoot, &figures->loading,
                                                &figures->pin_current };
    return members[which];
}

bool dwi_figures_kept(const struct task_terms *terms, const struct dw_filter *filter, const struct kept_samples *samples, double most,
                      struct dw_filter_figures *figures, double *margin)
{
    const bool coil = filter->l.value > 0;
    unsigned long long beyond = 0;
    if (!dwi_figures_at(terms, filter, NULL, &dwi_no_limits, figures))
        return false;
    *margin = dwi_margin_of(&terms->task, figures, coil);
    if (isnan(*margin))
        return false;
    for (unsigned long long i = 0; i < samples->count; i++) {
        double deviation[DEVIATIONS];
        struct dw_filter_figures now = { .ripple = INFINITY };
        draw(samples->seed, i, deviation);
        const double reached = dwi_figures_at(terms, filter, deviation, &dwi_no_limits, &now) ? dwi_margin_of(&terms->task, &now, coil) : NAN;
        const bool known = !isnan(reached);
        const double used = known ? reached : INFINITY;
        beyond += !(used <= most);
        if (beyond > samples->count - samples->needed)
            return false;
        for (int k = 0; k < KEPT_FIGURES - 1; k++)
            samples->room[(size_t)k * samples->count + i] = known ? *member(&now, k) : INFINITY;
        samples->room[(KEPT_FIGURES - 1) * samples->count + i] = used;
    }
    for (int k = 0; k < KEPT_FIGURES; k++) {
        double *const sorted = samples->room + (size_t)k * samples->count, *const to = k < KEPT_FIGURES - 1 ? member(figures, k) : margin;
        qsort(sorted, samples->count, sizeof *sorted, ascending);
        *to = fmax(*to, sorted[samples->needed - 1]);
    }
    figures->settling_at_most = figures->settling_at_most && figures->settling <= terms->period;
    return true;
}

enum dw_status dw_filter_yield(const struct dw_filter_task *task, const struct dw_filter *filter, const struct dw_yield_samples *samples,
                               struct dw_yield *yield, struct dw_error *error)
{
    enum dw_status status = dwi_filter_check(task, filter, error);
    if (status == DW_OK)
        status = check_counts(0, samples->count, samples->confidence, error);  /* before they are drawn */
    if (status != DW_OK)
        return status;
    const struct task_terms terms = dwi_terms_of(task);
    const struct filter_limits limits = { 1, INFINITY, INFINITY };
    unsigned long long good = 0;
    for (unsigned long long i = samples->first; i < samples->first + samples->count; i++) {
        double deviation[DEVIATIONS];
        struct dw_filter_figures figures;
        draw(samples->seed, i, deviation);
        if (dwi_figures_at(&terms, filter, deviation, &limits, &figures))  /* unrun: worst-middle */
            good += dwi_margin_of(task, &figures, filter->l.value > 0) <= 1;
    }
    return dw_yield_interval(good, samples->count, samples->confidence, yield, error);
}
