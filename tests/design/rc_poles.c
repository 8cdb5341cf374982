/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/poles_inner.h"
#include "simulated.h"
#include "suite.h"
#include <float.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

struct ladder {
    int stages;
    double r[3], c[3], load, period, duty;
};

/* Crooked ladders whose corner lies near the switching frequency; every third without a load. */
static struct ladder crooked(uint64_t *seed, int stages)
{
    struct ladder l = { .stages = stages, .load = INFINITY, .duty = uniform(seed, 0.02, 0.98) };
    for (int k = 0; k < stages; k++) {
        l.r[k] = pow(10, uniform(seed, 2, 5));
        l.c[k] = pow(10, uniform(seed, -9, -6));
    }
    if (uniform(seed, 0, 3) > 1)
        l.load = pow(10, uniform(seed, 3, 6));
    l.period = l.r[0] * l.c[0] * pow(10, uniform(seed, -1.5, 1));
    return l;
}

static double ripple_of(const struct filter_poles *poles, double period, double duty)
{
    return poles->gain * dwi_pulse_ripple(&poles->out, period, duty);
}

static double settling_of(const struct filter_poles *poles, double period, double duty, double band, bool *at_most)
{
    const struct exp_sum missing = dwi_pulse_missing(&poles->out, period, duty);
    return dwi_pulse_settling(&missing, period, band, at_most);
}

static double nearest_poles(const struct filter_poles *poles)
{
    double distance = 1;
    for (int k = 1; k < poles->out.count; k++)
        distance = fmin(distance, 1 - poles->out.rate[k - 1] / poles->out.rate[k]);
    return distance;
}

static struct dw_filter filter_of(const struct ladder *l)
{
    struct dw_filter filter = { .stages = l->stages };
    for (int k = 0; k < l->stages; k++) {
        filter.r[k].value = l->r[k];
        filter.c[k].value = l->c[k];
    }
    return filter;
}

static struct simulated simulated_of(const struct ladder *l)
{
    const struct dw_filter filter = filter_of(l);
    return simulate(&filter, 0, l->load, l->period);
}

static struct dw_system *system_of(const struct ladder *l)
{
    return simulated_of(l).system;
}

START_TEST(poles_and_gain_are_those_of_the_ladder)
{
    uint64_t seed = 11;
    for (int n = 0; n < 600; n++) {
        const struct ladder l = crooked(&seed, 1 + n % 3);
        struct filter_poles poles;
        double real[DW_STATES], imaginary[DW_STATES], r = 0;
        struct dw_error error = { .text = "" };
        struct dw_system *system = system_of(&l);
        succeeds(dw_system_rates(system, real, imaginary, &error), error);
        dwi_rc_poles(&poles, l.stages, l.r, l.c, l.load);
        for (int k = 0; k < l.stages; k++) {
            /* eigenvalues of A by QR: a few ulp of the largest, so that the smaller ones are judged by that */
            within_scale(poles.out.rate[k], -real[k], 20 * DBL_EPSILON, real[l.stages - 1]);
            r += l.r[k];
        }
        near(poles.gain, 1 / (1 + r / l.load), 8 * DBL_EPSILON);
        dw_system_free(system);
    }
}
END_TEST

START_TEST(the_product_of_the_poles_is_that_of_the_parts)
{
    uint64_t seed = 12;
    for (int n = 0; n < 900; n++) {
        const struct ladder l = crooked(&seed, 1 + n % 3);
        struct filter_poles poles;
        double product = 1, sum = 0, wanted = 1;
        dwi_rc_poles(&poles, l.stages, l.r, l.c, l.load);
        for (int k = 0; k < l.stages; k++) {
            product *= poles.out.rate[k];
            wanted /= l.r[k] * l.c[k];
            sum += poles.out.even[k];
        }
        near(product * poles.gain, wanted, 30 * DBL_EPSILON);
        /* largest share about 1 / distance for two stages, 1 / distance^2 for three */
        const double d = nearest_poles(&poles);
        within_scale(sum, 1, 20 * DBL_EPSILON, 1 / (d * d));
    }
}
END_TEST

static double orbit_ripple(const struct ladder *l)
{
    struct simulated simulated = simulated_of(l);
    const double ripple = simulated_range(&simulated, l->duty, simulated.out, 40);
    simulated_free(&simulated);
    return ripple;
}

START_TEST(ripple_is_that_of_the_exact_orbit)
{
    uint64_t seed = 13;
    for (int n = 0; n < 45; n++) {
        struct ladder l = crooked(&seed, 1 + n % 3);
        struct filter_poles poles;
        if (n % 4 == 0)
            l.duty = 0.5;
        dwi_rc_poles(&poles, l.stages, l.r, l.c, l.load);
        const double d = nearest_poles(&poles);
        /* both sides to some 1e-15 of the gain; the golden section's 0.618^40 of 1/256 is 1e-11, squared in height */
        within_scale(ripple_of(&poles, l.period, l.duty), orbit_ripple(&l), 1e-14 / (d * d), poles.gain);
    }
}
END_TEST

START_TEST(small_ripples_keep_their_digits)
{
    /* period far below the time constants: p1 p2 T^2 D (1 - D) / 8, next term (T p)^2 relative: docs/theory.md, (6.7) */
    static const double duties[] = { 0.5, 0.37, 3.0 / 256, 0.999 };
    const double r[2] = { 4.7e3, 12e3 }, c[2] = { 220e-9, 33e-9 }, period = 1e-9;
    struct filter_poles poles;
    dwi_rc_poles(&poles, 2, r, c, 91e3);
    for (size_t i = 0; i < sizeof duties / sizeof duties[0]; i++) {
        const double d = duties[i], y = poles.out.rate[0] * poles.out.rate[1] * period * period;
        near(ripple_of(&poles, period, d), poles.gain * y * d * (1 - d) / 8, 1e-9);
    }
}
END_TEST

START_TEST(two_and_three_lags_agree_where_the_third_is_out_of_sight)
{
    /* a third stage changes the second's capacitance by 3e-8, the loading by 1e-7 */
    const double r[3] = { 4.7e3, 12e3, 1e-2 }, c[3] = { 220e-9, 33e-9, 1e-15 };
    static const double duties[] = { 0.5, 0.37, 0.93 };
    struct filter_poles two, three;
    dwi_rc_poles(&two, 2, r, c, 91e3);
    dwi_rc_poles(&three, 3, r, c, 91e3);
    for (size_t i = 0; i < sizeof duties / sizeof duties[0]; i++)
        near(ripple_of(&three, 1e-3, duties[i]), ripple_of(&two, 1e-3, duties[i]), 1e-6);
}
END_TEST

START_TEST(pulses_far_longer_than_all_lags_come_through_whole)
{
    /* the slowest lag is some 2 ms: by each edge all has come, to exp(-150) */
    const double r[3] = { 4.7e3, 12e3, 33e3 }, c[3] = { 220e-9, 33e-9, 4.7e-9 };
    static const double duties[] = { 0.5, 0.37 };
    struct filter_poles three;
    dwi_rc_poles(&three, 3, r, c, 910e3);
    for (double period = 1; period < 1e18; period *= 7.3)
        for (size_t i = 0; i < sizeof duties / sizeof duties[0]; i++)
            near(ripple_of(&three, period, duties[i]), three.gain, 1e-9);
}
END_TEST

START_TEST(ripple_of_a_duty_is_that_of_its_complement)
{
    uint64_t seed = 14;
    for (int n = 0; n < 300; n++) {
        const struct ladder l = crooked(&seed, 1 + n % 3);
        struct filter_poles poles;
        dwi_rc_poles(&poles, l.stages, l.r, l.c, l.load);
        const double d = nearest_poles(&poles);
        within_scale(ripple_of(&poles, l.period, l.duty), ripple_of(&poles, l.period, 1 - l.duty), 2e-15 / (d * d), poles.gain);
    }
}
END_TEST

START_TEST(half_duty_is_the_worst_of_all)
{
    uint64_t seed = 15;
    for (int n = 0; n < 60; n++) {
        const struct ladder l = crooked(&seed, 1 + n % 3);
        struct filter_poles poles;
        dwi_rc_poles(&poles, l.stages, l.r, l.c, l.load);
        const double worst = ripple_of(&poles, l.period, 0.5), d = nearest_poles(&poles);
        double before = 0;
        for (int k = 1; k <= 64; k++) {
            const double ripple = ripple_of(&poles, l.period, k / 128.0), rounding = 2e-15 * poles.gain / (d * d);
            ck_assert_msg(ripple >= before - rounding && ripple <= worst + rounding, "duty %d/128: %.17g", k, ripple);
            before = ripple;
        }
    }
}
END_TEST

START_TEST(ripple_falls_and_settling_rises_with_every_part)
{
    uint64_t seed = 16;
    for (int n = 0; n < 400; n++) {
        const struct ladder l = crooked(&seed, 1 + n % 3);
        struct filter_poles poles;
        bool at_most;
        dwi_rc_poles(&poles, l.stages, l.r, l.c, l.load);
        const double d = nearest_poles(&poles);
        const double ripple = ripple_of(&poles, l.period, l.duty), settling = settling_of(&poles, l.period, 1, 0.013, &at_most);
        for (int part = 0; part < 2 * l.stages; part++) {
            struct ladder larger = l;
            struct filter_poles other;
            (part % 2 ? larger.c : larger.r)[part / 2] *= uniform(&seed, 1.001, 2);
            dwi_rc_poles(&other, larger.stages, larger.r, larger.c, larger.load);
            ck_assert(ripple_of(&other, l.period, l.duty) <= ripple + 3e-15 * poles.gain / (d * d));
            ck_assert(settling_of(&other, l.period, 1, 0.013, &at_most) >= settling * (1 - 1e-12 / (d * d)));
        }
    }
}
END_TEST

static double measured_settling(const struct ladder *l, double band, double duty, size_t periods, bool *at_most)
{
    struct simulated simulated = simulated_of(l);
    const struct simulated_start start = simulated_start(&simulated, duty, band, periods, 0);
    simulated_free(&simulated);
    *at_most = start.at_most;
    return start.settling;
}

START_TEST(settling_is_what_the_measure_finds)
{
    uint64_t seed = 17;
    int at_once = 0;
    for (int n = 0; n < 120; n++) {
        struct ladder l = crooked(&seed, 1 + n % 3);
        struct filter_poles poles;
        bool at_most, also;
        const double band = pow(10, uniform(&seed, -3, -1)), duty = n % 2 ? 1 : l.duty;
        dwi_rc_poles(&poles, l.stages, l.r, l.c, l.load);
        if (40 / (poles.out.rate[0] * l.period) > 3000)
            l.period = 40 / (poles.out.rate[0] * 3000);
        if (n % 10 == 9)
            l.period = 30 / poles.out.rate[0];
        const size_t periods = (size_t)(40 / (poles.out.rate[0] * l.period)) + 20;
        const double d = nearest_poles(&poles), got = settling_of(&poles, l.period, duty, band, &at_most);
        /* the means carry 1e-15 of the change; at the band's edge the mean moves by `band` a time constant */
        within_scale(got, measured_settling(&l, band, duty, periods, &also), 3e-14 / (band * d * d), 1 / poles.out.rate[0]);
        ck_assert_int_eq(at_most, also);
        at_once += at_most;
    }
    ck_assert_int_gt(at_once, 0);
}
END_TEST

/* One lag misses band after tau log(1 / band), also where a double cannot tell its periods apart; of means half a period later. */
START_TEST(more_periods_than_a_double_counts_settle_in_the_time_of_the_lag)
{
    const double r[1] = { 4.7e3 }, c[1] = { 220e-9 }, tau = r[0] * c[0];
    struct filter_poles poles;
    bool at_most;
    dwi_rc_poles(&poles, 1, r, c, INFINITY);
    for (double periods = 1e9; periods < 1e30; periods *= 17)
        near(settling_of(&poles, tau / periods, 1, 0.02, &at_most), tau * log(50), 1e-9);
}
END_TEST

START_TEST(poles_and_residues_answer_as_the_ladder_does)
{
    uint64_t seed = 19;
    for (int n = 0; n < 90; n++) {
        const struct ladder l = crooked(&seed, 1 + n % 3);
        struct filter_poles poles;
        struct simulated other = simulated_of(&l);
        dwi_rc_poles(&poles, l.stages, l.r, l.c, l.load);
        const double d = nearest_poles(&poles);
        for (double angular = 0.01 / l.period; angular < 1e3 / l.period; angular *= 3) {
            double real[DW_OUTPUTS], imaginary[DW_OUTPUTS];
            struct dw_error error = { .text = "" };
            succeeds(dw_system_response(other.system, 0, angular, real, imaginary, &error), error);
            const double complex out = poles.gain * poles_response(&poles.out, 1, angular);
            /* a few ulp of each residue, the largest of which is 1 / d^2 */
            within_scale(cabs(out - real[other.out] - I * imaginary[other.out]), 0, 2e-15 / (d * d), poles.gain);
        }
        simulated_free(&other);
    }
}
END_TEST

START_TEST(gain_at_the_cutoff_is_3_dB_down)
{
    uint64_t seed = 18;
    for (int n = 0; n < 90; n++) {
        const struct ladder l = crooked(&seed, 1 + n % 3);
        const struct dw_filter filter = filter_of(&l);
        const struct dw_filter_task task = { .frequency = 1 / l.period, .high = 1, .levels = 256, .duty = NAN, .load = l.load,
                                             .band = 0.02, .ripple = INFINITY, .settling = INFINITY, .overshoot = INFINITY,
                                             .loading = INFINITY, .pin_current = INFINITY, .coil_current = INFINITY };
        struct filter_poles poles;
        double real[DW_OUTPUTS], imaginary[DW_OUTPUTS], cutoff;
        struct dw_error error = { .text = "" };
        struct dw_system *system = system_of(&l);
        dwi_rc_poles(&poles, l.stages, l.r, l.c, l.load);
        succeeds(dw_filter_cutoff(&task, &filter, &cutoff, &error), error);
        succeeds(dw_system_response(system, 0, 2 * M_PI * cutoff, real, imaginary, &error), error);
        const size_t out = dw_system_outputs(system) - 1;
        near(hypot(real[out], imaginary[out]), poles.gain * M_SQRT1_2, 1e-13);
        dw_system_free(system);
    }
}
END_TEST

START_TEST(logarithms_of_hyperbolic_functions_keep_their_digits)
{
    /* next terms of the series x^2/2 - x^4/12 and x^2/6 - x^4/180; elsewhere the functions of the C library */
    for (double x = 1e-12; x < 1e-4; x *= 7) {
        near(dwi_log_cosh(x), x * x / 2 * (1 - x * x / 6), 4 * DBL_EPSILON + x * x * x * x);
        near(dwi_log_sinhc(x), x * x / 6 * (1 - x * x / 30), 4 * DBL_EPSILON + x * x * x * x);
    }
    for (double x = 0.3; x < 600; x *= 1.07) {
        /* log of a number near 1 + f carries epsilon / f */
        near(dwi_log_cosh(x), log(cosh(x)), 8 * DBL_EPSILON + 2 * DBL_EPSILON / log(cosh(x)));
        near(dwi_log_sinhc(x), log(sinh(x) / x), 8 * DBL_EPSILON + 4 * DBL_EPSILON / log(sinh(x) / x));
    }
}
END_TEST

START_TEST(no_pulse_no_ripple)
{
    const double r[1] = { 4.7e3 }, c[1] = { 220e-9 };
    struct filter_poles poles;
    dwi_rc_poles(&poles, 1, r, c, INFINITY);
    ck_assert(ripple_of(&poles, 1e-3, 0) == 0 && ripple_of(&poles, 1e-3, 1) == 0);
}
END_TEST

SUITE("design: poles of RC ladders", poles_and_gain_are_those_of_the_ladder, the_product_of_the_poles_is_that_of_the_parts,
      ripple_is_that_of_the_exact_orbit, small_ripples_keep_their_digits,
      two_and_three_lags_agree_where_the_third_is_out_of_sight, pulses_far_longer_than_all_lags_come_through_whole, ripple_of_a_duty_is_that_of_its_complement,
      half_duty_is_the_worst_of_all, ripple_falls_and_settling_rises_with_every_part, settling_is_what_the_measure_finds,
      more_periods_than_a_double_counts_settle_in_the_time_of_the_lag,
      poles_and_residues_answer_as_the_ladder_does, gain_at_the_cutoff_is_3_dB_down, logarithms_of_hyperbolic_functions_keep_their_digits, no_pulse_no_ripple)
