/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Measures against definitions and handbook formulas that are not ours, and against a reference library. */
#include "measure/waves.h"
#include "suite.h"
#include <float.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_interp.h>
#include <stdlib.h>

/* IEEE Std 181-2011, 3.1 and 5.3 (from memory): transition duration, the time between the 10 % and the 90 % reference level
 * instants; pulse duration, the time between 50 % instants; duty factor, pulse duration over waveform period. */
START_TEST(ieee_181_reference_level_instants_of_a_pulse)
{
    /* states at 1 V and 3.5 V, edges of unlike slope, drawn with an elbow at 60 % that a 0-to-100 % reading would stumble on */
    static const double shape[][2] = { { 0, 1 }, { 0.2, 2.5 }, { 0.6, 3.5 }, { 1.3, 3.5 }, { 1.55, 1 }, { 3, 1 } };
    struct wave wave = { 0 };
    for (int k = 0; k < 6; k++)
        for (size_t i = 0; i < 6; i++)
            wave_add(&wave, 3 * k + shape[i][0], shape[i][1]);
    struct dw_header *header = header_with("period", "3", "levels", "1 3.5", NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    const double t10 = 0.2 / 6, t50 = 0.2 * 5 / 6, t90 = 0.2 + 0.4 * 0.75, f50 = 1.3 + 0.25 / 2;
    /* instants up to 18 s are rounded at 18 eps */
    within_scale(measured(meter, DW_MEASURE_POSITIVE_TRANSITION), t90 - t10, 2 * DBL_EPSILON, 18);
    within_scale(measured(meter, DW_MEASURE_NEGATIVE_TRANSITION), 0.8 * 0.25, 2 * DBL_EPSILON, 18);
    within_scale(measured(meter, DW_MEASURE_DUTY), (f50 - t50) / 3, 2 * DBL_EPSILON, 18);
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* A wave of time, sampled finely: steps of 1/count of the length. */
static struct wave drawn(double (*value)(double time), double length, int count)
{
    struct wave wave = { 0 };
    for (int i = 0; i <= count; i++)
        wave_add(&wave, length * i / count, value(length * i / count));
    return wave;
}

static double exponential_pulse(double t)
{
    return t < 40 ? -expm1(-t) : -expm1(-40.0) * exp(40 - t);
}

static double gaussian_step(double t)
{
    return gsl_cdf_ugaussian_P(t - 20);
}

/* One pole rises from 10 to 90 % in tau ln 9 = 2.197 tau, the usual 0.35 / bandwidth; a Gaussian response in 2.563 sigma
 * (Elmore 1948, J. Appl. Phys. 19:55, and any table of the normal distribution). */
START_TEST(rise_times_of_one_pole_and_of_a_gaussian)
{
    struct wave pole = drawn(exponential_pulse, 80, 80000), step = drawn(gaussian_step, 40, 40000);
    struct dw_header *header = header_with("levels", "0 1", NULL);
    struct dw_meter *meter = meter_of(header, NULL, &pole);
    /* lines of h = 1e-3 tau are off by h^2 / 8 of the slope's change: 1.3e-7 of an instant */
    near(measured(meter, DW_MEASURE_POSITIVE_TRANSITION), log(9), 3e-7);
    near(measured(meter, DW_MEASURE_NEGATIVE_TRANSITION), log(9), 3e-7);
    dw_meter_free(meter);
    meter = meter_of(header, NULL, &step);
    near(measured(meter, DW_MEASURE_POSITIVE_TRANSITION), 2 * gsl_cdf_ugaussian_Pinv(0.9), 3e-7);
    dw_meter_free(meter);
    dw_header_free(header);
    /* levels found: the mean over the bin of 1/256 next to a state, which the pole needs ln 256 to reach and then stays in for
     * 34.5 tau, is off by 1 / 256 / 34.5 = 1.1e-4, and moves either instant by ten times that */
    header = header_with(NULL, NULL);
    meter = meter_of(header, NULL, &pole);
    near(measured(meter, DW_MEASURE_POSITIVE_TRANSITION), log(9), 1.5e-3);
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&pole);
    wave_free(&step);
}
END_TEST

static double sine(double t)
{
    return 4.7 * sin(2 * acos(-1) * t);
}
static double half_waves(double t)
{
    return fmax(0, sine(t));
}
static double full_waves(double t)
{
    return fabs(sine(t));
}
static double sawtooth(double t)
{
    return t - floor(t);
}

/* Mean and rms of the usual waveforms: A / sqrt 2 for a sine, A / pi and A / 2 half rectified, 2 A / pi and A / sqrt 2 fully
 * rectified, A / 2 and A / sqrt 3 for a sawtooth (any handbook of electrical engineering; common practice, no source). */
START_TEST(handbook_values_of_mean_and_rms)
{
    static const struct {
        double (*value)(double);
        double mean, rms;
    } cases[] = { { sine, 0, 4.7 * M_SQRT1_2 },
                  { half_waves, 4.7 * M_1_PI, 4.7 / 2 },
                  { full_waves, 4.7 * M_2_PI, 4.7 * M_SQRT1_2 } };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct wave wave = drawn(cases[i].value, 8, 80000);
        struct dw_header *header = header_with("period", "1", NULL);
        struct dw_meter *meter = meter_of(header, NULL, &wave);
        /* chords of a sine lie (w h)^2 / 12 below it on average: w h = 2 pi / 10000, hence 3.3e-8 */
        within_scale(measured(meter, DW_MEASURE_MEAN), cases[i].mean, 4e-8, 4.7);
        near(measured(meter, DW_MEASURE_RMS), cases[i].rms, 4e-8);
        near(measured(meter, DW_MEASURE_AC_RMS), sqrt(cases[i].rms * cases[i].rms - cases[i].mean * cases[i].mean), 1e-7);
        dw_meter_free(meter);
        dw_header_free(header);
        wave_free(&wave);
    }
    struct wave wave = drawn(sawtooth, 0.999, 37);
    struct dw_header *header = header_with(NULL, NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    near(measured(meter, DW_MEASURE_MEAN), 0.999 / 2, 1e-15);
    near(measured(meter, DW_MEASURE_RMS), 0.999 / sqrt(3), 1e-15);
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* Second order step response with damping ratio z: overshoot exp(-pi z / sqrt(1 - z^2)) (Ogata, Modern Control Engineering, 5th
 * ed., section 5-3, from memory). */
static double ratio;
static double second_order(double t)
{
    const double w = sqrt(1 - ratio * ratio);
    return 1 - exp(-ratio * t) * (cos(w * t) + ratio / w * sin(w * t));
}

START_TEST(overshoot_of_a_second_order_response)
{
    static const double ratios[] = { 0.2, 0.45, 0.7 };
    for (size_t i = 0; i < 3; i++) {
        ratio = ratios[i];
        struct wave wave = drawn(second_order, 40 / ratio, 400000);
        struct dw_header *header = header_with(NULL, NULL);
        struct dw_meter *meter = meter_of(header, NULL, &wave);
        /* the peak is missed by up to (h / 2)^2 / 2 with h = 5e-4 */
        near(measured(meter, DW_MEASURE_OVERSHOOT), exp(-acos(-1) * ratio / sqrt(1 - ratio * ratio)), 1e-6);
        /* the envelope bounds the settling time from above: exp(-z t) / sqrt(1 - z^2) = band (same source) */
        const double envelope = -log(0.02 * sqrt(1 - ratio * ratio)) / ratio, got = measured(meter, DW_MEASURE_SETTLING_TIME);
        ck_assert(got <= envelope && got > envelope - acos(-1) / sqrt(1 - ratio * ratio));
        dw_meter_free(meter);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

/* Area under straight lines by the GNU Scientific Library, gsl_interp_linear. */
START_TEST(means_equal_those_of_linear_interpolation_in_gsl)
{
    enum { ROWS = 3000 };
    double time[ROWS], value[ROWS], at = 0;
    uint64_t seed = 181;
    for (int i = 0; i < ROWS; i++) {
        at += exp(2 * random_next(&seed));
        time[i] = at;
        value[i] = 3 + random_next(&seed);
    }
    gsl_interp *lines = gsl_interp_alloc(gsl_interp_linear, ROWS);
    gsl_interp_accel *near_last = gsl_interp_accel_alloc();
    ck_assert(lines && near_last);
    gsl_interp_init(lines, time, value, ROWS);
    struct wave wave = { 0 };
    for (int i = 0; i < ROWS; i++)
        wave_add(&wave, time[i], value[i]);
    struct dw_header *header = header_with(NULL, NULL);
    for (int k = 0; k < 20; k++) {
        const double from = time[0] + (at - time[0]) * fabs(random_next(&seed)) / 2, to = from + (at - from) * fabs(random_next(&seed));
        struct dw_meter *meter = meter_of(header, &(struct dw_meter_options){ .span = { DW_SPAN_BETWEEN, 0, from, to } }, &wave);
        /* GSL adds up to 3000 areas one by one: at most 3000 eps / 2 */
        near(measured(meter, DW_MEASURE_MEAN), gsl_interp_eval_integ(lines, time, value, from, to, near_last) / (to - from),
             1500 * DBL_EPSILON);
        dw_meter_free(meter);
    }
    dw_header_free(header);
    wave_free(&wave);
    gsl_interp_accel_free(near_last);
    gsl_interp_free(lines);
}
END_TEST

SUITE("outside: measures", ieee_181_reference_level_instants_of_a_pulse, rise_times_of_one_pole_and_of_a_gaussian,
      handbook_values_of_mean_and_rms, overshoot_of_a_second_order_response,
      means_equal_those_of_linear_interpolation_in_gsl)
