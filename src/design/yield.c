/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "filter_inner.h"
#include "pulse/train_inner.h"
#include <float.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>

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

enum dw_status dw_filter_yield(const struct dw_filter_task *task, const struct dw_filter *filter, uint64_t seed,
                               unsigned long long first, unsigned long long samples, double confidence,
                               struct dw_yield *yield, struct dw_error *error)
{
    enum dw_status status = dwi_filter_check(task, filter, error);
    if (status == DW_OK)
        status = check_counts(0, samples, confidence, error);  /* before they are drawn */
    if (status != DW_OK)
        return status;
    const struct task_terms terms = dwi_terms_of(task);
    const struct dw_part *parts[FILTER_PARTS];
    const int count = dwi_filter_part_list(filter, parts);
    const struct filter_limits limits = { 1, INFINITY, INFINITY };
    unsigned long long good = 0;
    for (unsigned long long i = first; i < first + samples; i++) {
        double deviation[FILTER_PARTS] = { 0 };
        struct dw_filter_figures figures;
        for (int k = 0; k < count; k++)
            deviation[k] = dwi_draw(seed, i, (uint32_t)k);
        if (dwi_figures_at(&terms, filter, deviation, &limits, &figures))  /* unrun: worst-middle */
            good += dwi_margin_of(task, &figures, filter->l.value > 0) <= 1;
    }
    return dw_yield_interval(good, samples, confidence, yield, error);
}
