/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sampled loops against textbooks: ultimate gains in closed form, Ogata, Discrete-Time Control Systems (the plant 1/(s(s+1)) at T = 1, from
 * memory of its numbers, computed again here), Ziegler and Nichols 1942 and Skogestad 2003, J. Process Control 13:291. */
#include "suite.h"
#include <complex.h>
#include <dutywright/tuning.h>
#include <float.h>
#include <string.h>

enum { MOST = 10 };

/* (lead s + 1)/(lag s + 1) in a row, lag 0 ends the list, lag INFINITY is 1/s. The first block has no lead below or above 0 unless the next has
 * none. */
struct block {
    double lag, lead;
};

static struct dw_sampled sampled_of(const struct block *block, double gain, double sample_time, double delay)
{
    size_t n = 0;
    while (block[n].lag > 0)
        n++;
    double a[MOST * MOST] = { 0 }, b[MOST] = { 0 }, row[MOST] = { 0 }, through = gain;
    for (size_t k = 0; k < n; k++) {  /* row and through: what comes into this block */
        const double rate = isinf(block[k].lag) ? 1 : 1 / block[k].lag, share = block[k].lead * rate;
        memcpy(a + k * n, row, n * sizeof *row);
        for (size_t j = 0; j < n; j++) {
            a[k * n + j] = rate * row[j];
            row[j] *= share;
        }
        b[k] = rate * through;
        through *= share;
        if (!isinf(block[k].lag))
            a[k * n + k] -= rate;
        row[k] += 1 - share;
    }
    struct dw_error error = { .status = DW_OK };
    struct dw_sampled sampled;
    struct dw_system *system = dw_system_new(&(struct dw_matrices){ .states = n, .inputs = 1, .outputs = 1, .a = a, .b = b, .c = row, .d = &through },
                                             &error);
    ck_assert_msg(system != NULL, "%s", error.text);
    succeeds(dw_sampled_hold(system, &(struct dw_hold){ 0, 0, sample_time, delay }, &sampled, &error), error);
    dw_system_free(system);
    return sampled;
}

static void ultimate(const struct dw_sampled *sampled, double *gain, double *period)
{
    struct dw_error error = { .status = DW_OK };
    succeeds(dw_sampled_ultimate(sampled, gain, period, &error), error);
}

/* ---- ultimate gains ---- */

static const struct block three_lags[] = { { 1, 0 }, { 1, 0 }, { 1, 0 }, { 0, 0 } };

/* 1/(s + 1)^3 oscillates with a gain of 8 at sqrt 3 rad/s (by hand: the phase of each lag is 60 degrees). A hold is half a sample late: the
 * phase slope at sqrt 3 is -3/4 rad s, so that a lateness d moves the angle by -(4/3) sqrt 3 d, and the gain 8 (1 + w^2)^1.5/8 by
 * -8 x 3 w dw/(1 + w^2) = -24 d: to first order 8 - 12 T. */
START_TEST(three_lags_as_samples_shrink)
{
    for (int n = 0; n < 4; n++) {
        const double t = 0.04 / (1 << n);
        double gain, period;
        const struct dw_sampled plant = sampled_of(three_lags, 1, t, 0);
        ultimate(&plant, &gain, &period);
        near(gain, 8 - 12 * t, 4 * t * t);
        near(2 * M_PI / period, sqrt(3) - 2 / sqrt(3) * t, 4 * t * t);
    }
}
END_TEST

/* The same at T = 0.1 from its exact samples: step response 1 - exp(-t)(1 + t + t^2/2), numerator as its differences times (z - p)^3, and the
 * gain with which z^3 + c2 z^2 + c1 z + c0 has a pair on the circle, 1 - c0^2 = c1 - c0 c2, a quadratic; there cos = (c0 - c2)/2. */
START_TEST(three_lags_at_a_tenth)
{
    static const double T = 0.1;
    double rise[4], gain, period;
    for (int k = 0; k < 4; k++)
        rise[k] = 1 - exp(-k * T) * (1 + k * T + k * T * k * T / 2);
    const double p = exp(-T), d2 = -3 * p, d1 = 3 * p * p, d0 = -p * p * p;
    const double h1 = rise[1], h2 = rise[2] - rise[1], h3 = rise[3] - rise[2];
    const double n2 = h1, n1 = h2 + d2 * h1, n0 = h3 + d2 * h2 + d1 * h1;
    const double a = n0 * n2 - n0 * n0, b = d0 * n2 + n0 * d2 - 2 * d0 * n0 - n1, c = 1 - d0 * d0 - d1 + d0 * d2;
    const double root = sqrt(b * b - 4 * a * c), one = (-b - root) / (2 * a), other = (-b + root) / (2 * a);
    const double want = one > 0 && (one < other || other < 0) ? one : other;
    const struct dw_sampled plant = sampled_of(three_lags, 1, T, 0);
    ultimate(&plant, &gain, &period);
    near(gain, want, 1e-9);  /* differences of numbers near 1 cost five digits, here or there */
    near(period, 2 * M_PI * T / acos((d0 + want * n0 - d2 - want * n2) / 2), 1e-9);
}
END_TEST

/* Ogata: 1/(s(s+1)) at T = 1 is (0.3679 z + 0.2642)/(z^2 - 1.3679 z + 0.3679), stable for gains up to 2.39; exactly (e - 1)/(e - 2). */
START_TEST(integrator_and_lag)
{
    static const struct block blocks[] = { { INFINITY, 0 }, { 1, 0 }, { 0, 0 } };
    const struct dw_sampled plant = sampled_of(blocks, 1, 1, 0);
    double out[2], gain, period;
    for (double angle = 0.1; angle < 3; angle += 0.3) {
        const double complex z = cos(angle) + sin(angle) * I, want = (0.3679 * z + 0.2642) / (z * z - 1.3679 * z + 0.3679);
        dw_sampled_response(&plant, cos(angle) - 1, sin(angle), out);
        within_scale(out[0], creal(want), 5e-4, 1 / angle);  /* four digits over a difference of 0.1 and more */
        within_scale(out[1], cimag(want), 5e-4, 1 / angle);
    }
    ultimate(&plant, &gain, &period);
    near(gain, (M_E - 1) / (M_E - 2), 1e-12);
    near(gain, 2.39, 0.002);
}
END_TEST

/* One sample late: the integrator y after = y + u before oscillates with 1 at 60 degrees a sample, that without with 2 at 180. */
START_TEST(one_sample_late)
{
    static const struct block integrator[] = { { INFINITY, 0 }, { 0, 0 } };
    for (int late = 0; late < 2; late++) {
        const struct dw_sampled plant = sampled_of(integrator, 1, 0.25, late * 0.25);
        double gain, period;
        ultimate(&plant, &gain, &period);
        near(gain * 0.25, late ? 1 : 2, 1e-12);
        near(period / 0.25, late ? 6 : 2, 1e-12);
    }
}
END_TEST

/* ---- rules ---- */

/* Ziegler and Nichols 1942: 0.5 Su; 0.45 Su with a reset of 1.2/Pu; 0.6 Su with a reset of 2/Pu and a pre-act of Pu/8 (from memory). Their plant of
 * a rate R after a lag L oscillates with pi/(2 R L) and a period of 4 L: both by hand, for samples towards 0, which are half a sample later. */
START_TEST(ziegler_and_nichols)
{
    static const struct block integrator[] = { { INFINITY, 0 }, { 0, 0 } };
    static const double R = 0.7, L = 3, T = 0.2;
    struct dw_error error = { .status = DW_OK };
    struct dw_tuned p, pi, pid;
    double gain, period;
    const struct dw_sampled plant = sampled_of(integrator, R, T, L - T / 2);
    ultimate(&plant, &gain, &period);
    near(gain, M_PI / (2 * R * L), 1e-3);  /* a hold: (T w)^2/24 of the gain */
    near(period, 4 * L, 1e-3);
    succeeds(dw_tune_ultimate(gain, period, DW_TERMS_P, &p, &error), error);
    succeeds(dw_tune_ultimate(gain, period, DW_TERMS_PI, &pi, &error), error);
    succeeds(dw_tune_ultimate(gain, period, DW_TERMS_PID, &pid, &error), error);
    near(p.gain, 0.5 * gain, 1e-15);
    ck_assert(isinf(p.integral_time) && p.derivative_time == 0 && pi.derivative_time == 0);
    near(pi.gain, 0.45 * gain, 1e-15);
    near(1 / pi.integral_time, 1.2 / period, 1e-15);
    near(pid.gain, 0.6 * gain, 1e-15);
    near(1 / pid.integral_time, 2 / period, 1e-15);
    near(pid.derivative_time, period / 8, 1e-15);
}
END_TEST

/* Skogestad 2003: his examples, models and settings from memory, each computed again by his rules; the time constant wanted is the delay. The last
 * one has its delay beside its lag. Settings are those of the series form, to three digits. */
START_TEST(skogestad)
{
    static const struct {
        struct block blocks[MOST + 1];
        double gain, dead;
        enum dw_law_terms terms;
        struct dw_lag_model model;
        double kc, ti;
    } all[] = {
        { { { 1, 0 }, { 0.2, 0 } }, 1, 0, DW_TERMS_PI, { 1, { 1.1, 0 }, 0.1 }, 5.5, 0.8 },
        { { { 1, 0 }, { 0.2, 0 }, { 0.04, 0 }, { 0.008, 0 } }, 1, 0, DW_TERMS_PI, { 1, { 1.1, 0 }, 0.148 }, 3.72, 1.1 },
        { { { 1, 0 }, { 0.2, 0 }, { 0.04, 0 }, { 0.008, 0 } }, 1, 0, DW_TERMS_PID, { 1, { 1, 0.22 }, 0.028 }, 17.9, 0.224 },
        { { { 1, 0 }, { 20, 15 }, { 0.1, 0 }, { 0.1, 0 } }, 2, 0, DW_TERMS_PI, { 1.5, { 1.05, 0 }, 0.15 }, 2.33, 1.05 },
        { { { 1, 0 }, { 20, 15 }, { 0.1, 0 }, { 0.1, 0 } }, 2, 0, DW_TERMS_PID, { 1.5, { 1, 0.15 }, 0.05 }, 6.67, 0.4 },
        { { { 1, 0 }, { 1, 0 }, { 1, 0 }, { 1, 0 } }, 1, 0, DW_TERMS_PI, { 1, { 1.5, 0 }, 2.5 }, 0.3, 1.5 },
        { { { 1, 0 }, { 1, 0 }, { 1, 0 }, { 1, 0 } }, 1, 0, DW_TERMS_PID, { 1, { 1, 1.5 }, 1.5 }, 0.333, 1 },
        { { { 2, 0 }, { 1, -0.3 }, { 0.4, 0 }, { 0.2, 0.08 }, { 0.05, 0 }, { 0.05, 0 }, { 0.05, 0 } }, 1, 0, DW_TERMS_PI, { 1, { 2.5, 0 }, 1.47 }, 0.85, 2.5 },
        { { { 2, 0 }, { 1, -0.3 }, { 0.4, 0 }, { 0.2, 0.08 }, { 0.05, 0 }, { 0.05, 0 }, { 0.05, 0 } }, 1, 0, DW_TERMS_PID, { 1, { 2, 1.2 }, 0.77 }, 1.30, 2 },
        { { { INFINITY, 0 }, { 1, 0.17 }, { 1, 0.17 }, { 0.028, 0 } }, 1, 0, DW_TERMS_PI, { 1, { INFINITY, 0 }, 1.69 }, 0.296, 13.5 },
        { { { INFINITY, 0 }, { 1, 0.17 }, { 1, 0.17 }, { 0.028, 0 } }, 1, 0, DW_TERMS_PID, { 1, { INFINITY, 1.33 }, 0.358 }, 1.40, 2.86 },
        { { { 5, 0 } }, 2, 1, DW_TERMS_PI, { 2, { 5, 0 }, 1 }, 1.25, 5 },
    };
    for (size_t n = 0; n < sizeof all / sizeof all[0]; n++) {
        const struct dw_lag_model *want = &all[n].model;
        const double t = all[n].dead > 0 ? 0.05 : 2e-3;
        const struct dw_sampled plant = sampled_of(all[n].blocks, all[n].gain, t, all[n].dead);
        struct dw_error error = { .status = DW_OK };
        struct dw_lag_model m;
        struct dw_tuned tuned;
        succeeds(dw_lag_model(&plant, want->delay, all[n].terms, &m, &error), error);
        near(m.gain, want->gain, 1e-3);
        ck_assert(isinf(want->lag[0]) ? isinf(m.lag[0]) : fabs(m.lag[0] - want->lag[0]) <= 1e-3);
        within_scale(m.lag[1], want->lag[1], 3e-3, 1);
        within_scale(m.delay - t / 2, want->delay, 3e-3, 1);
        succeeds(dw_tune_simc(want, want->delay, all[n].terms, &tuned, &error), error);
        const struct dw_tuned paper = dw_tune_from_series(all[n].kc, all[n].ti, want->lag[1]);
        near(tuned.gain, paper.gain, 4e-3);
        near(tuned.integral_time, paper.integral_time, 3e-3);
        within_scale(tuned.derivative_time, paper.derivative_time, 3e-3, 1);
    }
}
END_TEST

SUITE("outside: loops", three_lags_as_samples_shrink, three_lags_at_a_tenth, integrator_and_lag, one_sample_late,
      ziegler_and_nichols, skogestad)
