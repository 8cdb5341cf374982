/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Zeros and extremes of exponential sums against a close look at samples, and what rings for so long that it is given up. */
#include "simulated.h"
#include "suite.h"
#include <math.h>

static struct exp_sum random_sum(uint64_t *seed, int n)
{
    struct exp_sum f = { .count = n % 2 ? 3 : 1 + n / 2 % 2 };
    double rate = 0;
    for (int k = 0; k < f.count; k++) {
        rate += pow(10, uniform(seed, -1, 1));
        f.rate[k] = rate;
        f.even[k] = uniform(seed, -1, 1);
    }
    if (n % 3 == 0) {
        f.count = f.count == 3 ? 2 : f.count;
        f.angular = pow(10, uniform(seed, -1, 2));
        f.odd = uniform(seed, -1, 1);
        f.rate[0] = pow(10, uniform(seed, -1, 1));
    }
    return f;
}

START_TEST(zeros_are_all_found_in_order)
{
    enum { SAMPLES = 20000 };
    uint64_t seed = 51;
    int found = 0;
    for (int n = 0; n < rounds(150, 600); n++) {
        const struct exp_sum f = random_sum(&seed, n);
        const double length = uniform(&seed, 0.5, 3);
        double zero = 0, before = dwi_exp_sum_at(&f, 0, NULL);
        struct exp_zeros zeros;
        dwi_exp_zeros_begin(&zeros, &f, length);
        bool more = dwi_exp_zeros_next(&zeros, &zero);
        for (int i = 1; i <= SAMPLES; i++) {
            const double time = length * i / SAMPLES, now = dwi_exp_sum_at(&f, time, NULL);
            if ((now > 0) != (before > 0)) {
                /* the closest two of these lie 0.03 apart, the samples 1.5e-4 */
                ck_assert_msg(more && zero >= time - 1.001 * length / SAMPLES && zero <= time * (1 + 1e-9), "%d: %g at %g", n, zero, time);
                within_scale(dwi_exp_sum_at(&f, zero, NULL), 0, 1e-8, dwi_exp_sum_bound(&f, zero));
                more = dwi_exp_zeros_next(&zeros, &zero);
                found++;
            }
            before = now;
        }
        ck_assert_msg(!more, "%d: %g", n, zero);
    }
    ck_assert_int_gt(found, rounds(250, 1000));
}
END_TEST

START_TEST(nothing_lies_beyond_the_extremes_or_the_bound)
{
    enum { SAMPLES = 3000 };
    uint64_t seed = 52;
    for (int n = 0; n < rounds(150, 600); n++) {
        const struct exp_sum f = random_sum(&seed, n), slope = dwi_exp_sum_slope(&f);
        const double length = uniform(&seed, 0.5, 3), level = uniform(&seed, 0.01, 1), from = dwi_exp_sum_bounded_from(&f, level);
        double least = INFINITY, most = -INFINITY, lowest = INFINITY, highest = -INFINITY;
        dwi_exp_sum_extremes(&f, length, &least, &most);
        for (int i = 0; i <= SAMPLES; i++) {
            const double time = length * i / SAMPLES;
            double rise;
            const double now = dwi_exp_sum_at(&f, time, &rise);
            lowest = fmin(lowest, now);
            highest = fmax(highest, now);
            within_scale(rise, dwi_exp_sum_at(&slope, time, NULL), 1e-14, dwi_exp_sum_bound(&slope, 0));
            ck_assert(fabs(now) <= dwi_exp_sum_bound(&f, time) * (1 + 1e-15));
        }
        /* a turn lies within half a step of a sample, above it by at most step^2 / 8 of the curvature; one ulp of time moves an end */
        const struct exp_sum curvature = dwi_exp_sum_slope(&slope);
        const double step = length / SAMPLES, apart = dwi_exp_sum_bound(&curvature, 0) * step * step / 8, ulp = 1e-14 * dwi_exp_sum_bound(&f, 0);
        ck_assert(least <= lowest + ulp && least >= lowest - apart - ulp && most >= highest - ulp && most <= highest + apart + ulp);
        ck_assert(from >= 0 && dwi_exp_sum_bound(&f, from) <= level * (1 + 1e-9));
        if (from > 0)
            near(dwi_exp_sum_bound(&f, from), level, 1e-9);
    }
}
END_TEST

/* An ideal coil before a load that hardly damps it, four pulses a turn: what is highest may come only after more turns than anyone
 * looks at. */
START_TEST(what_rings_for_too_long_to_be_found_is_told_as_infinite)
{
    const struct dw_filter filter = { .stages = 1, .l = { 100e-6, 0, NAN }, .c = { { 1e-6, 0, NAN } } };
    struct dw_filter_task task = { .frequency = 4 / (2 * M_PI * sqrt(100e-6 * 1e-6)), .high = 3.3, .levels = 256, .duty = 0.5, .load = 1e13,
                                   .band = 0.02, .ripple = INFINITY, .settling = INFINITY, .overshoot = INFINITY,
                                   .loading = INFINITY, .pin_current = INFINITY, .coil_current = INFINITY };
    struct dw_filter_figures figures;
    struct dw_error error = { .text = "" };
    succeeds(dw_filter_nominal(&task, &filter, &figures, &error), error);
    ck_assert(isinf(figures.overshoot) && isinf(figures.pin_current) && isinf(figures.settling) && isfinite(figures.ripple));
    /* a load as there are some is enough */
    task.load = 1e5;
    succeeds(dw_filter_nominal(&task, &filter, &figures, &error), error);
    ck_assert(isfinite(figures.overshoot) && isfinite(figures.pin_current) && isfinite(figures.settling));
}
END_TEST

SUITE("design: exponential sums", zeros_are_all_found_in_order, nothing_lies_beyond_the_extremes_or_the_bound,
      what_rings_for_too_long_to_be_found_is_told_as_infinite)
