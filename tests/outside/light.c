/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Light against standards. ISO/CIE 11664-4 (CIE L*) computed again from its formula; IEEE Std 1789-2015 and CIE TN 006:2016 are cited from
 * memory; flicker of closed waves by hand. */
#include "suite.h"
#include <dutywright/light.h>
#include <dutywright/steps.h>
#include <float.h>

static const double PI = 3.14159265358979323846;

/* ISO/CIE 11664-4: f(t) = t^(1/3) above (6/29)^3, else (841/108) t + 4/29; L* = 116 f - 16. 8 is where both meet; L* 50 is Y 0.184187,
 * L* of 0.3 is 61.654 (as tables round them). */
START_TEST(lightness_is_that_of_the_standard)
{
    const double knee = 216 / 24389.0;
    ck_assert_double_eq(dw_lightness(0), 0);
    ck_assert_double_eq(dw_light_of(0), 0);
    ck_assert_double_eq(dw_lightness(1), 100);
    ck_assert_double_eq(dw_light_of(100), 1);
    near(dw_lightness(knee), 8, 4 * DBL_EPSILON);
    near(dw_light_of(8), knee, 4 * DBL_EPSILON);
    near(dw_light_of(50), 0.184187, 3e-6);
    near(dw_lightness(0.3), 61.654, 1e-5);
    for (double y = knee * (1 - 1e-3); y < knee * (1 + 2e-3); y += knee * 2e-3) {
        const double f = y > 216 / 24389.0 ? cbrt(y) : 841 / 108.0 * y + 4 / 29.0;
        near(dw_lightness(y), 116 * f - 16, 60 * DBL_EPSILON);  /* the straight form loses 16 of 24 */
    }
    for (double y = 0; y <= 1; y += 1 / 128.0)
        within_scale(dw_light_of(dw_lightness(y)), y, 16 * DBL_EPSILON, 1);
    ck_assert(isnan(dw_lightness(-1e-9)) && isnan(dw_light_of(-1e-9)));
}
END_TEST

/* Just below, at and above the corners; at one the higher limit holds. */
START_TEST(limits_of_flicker_are_those_of_the_standard)
{
    static const struct {
        enum dw_flicker_limit limit;
        double frequency, percent;
    } all[] = {
        { DW_FLICKER_LOW_RISK, 89.999, 0.025 * 89.999 }, { DW_FLICKER_LOW_RISK, 90, 7.2 }, { DW_FLICKER_LOW_RISK, 90.001, 0.08 * 90.001 },
        { DW_FLICKER_LOW_RISK, 1249.9, 0.08 * 1249.9 }, { DW_FLICKER_LOW_RISK, 1250, 100 }, { DW_FLICKER_LOW_RISK, 1250.1, 100 },
        { DW_FLICKER_NO_EFFECT, 89.999, 0.01 * 89.999 }, { DW_FLICKER_NO_EFFECT, 90, 2.997 }, { DW_FLICKER_NO_EFFECT, 90.001, 0.0333 * 90.001 },
        { DW_FLICKER_NO_EFFECT, 2999.9, 0.0333 * 2999.9 }, { DW_FLICKER_NO_EFFECT, 3000, 100 }, { DW_FLICKER_NO_EFFECT, 3000.1, 100 },
        { DW_FLICKER_SEIZURES, 89.999, 5 }, { DW_FLICKER_SEIZURES, 90, 100 }, { DW_FLICKER_LOW_RISK, 100, 8 }, { DW_FLICKER_NO_EFFECT, 50, 0.5 },
    };
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        near(100 * dw_flicker_limit(all[i].limit, all[i].frequency), all[i].percent, 4 * DBL_EPSILON);
    /* the frequency from which so much is free of it, and just below it is not */
    for (double flicker = 0.003; flicker <= 1; flicker += 0.0397)
        for (int limit = DW_FLICKER_LOW_RISK; limit <= DW_FLICKER_SEIZURES; limit++) {
            const double from = dw_flicker_frequency(limit, flicker);
            ck_assert(flicker <= dw_flicker_limit(limit, from * (1 + 1e-12) + 1e-300));
            ck_assert(from == 0 || flicker > dw_flicker_limit(limit, from * (1 - 1e-12)));
        }
}
END_TEST

/* ---- waves ---- */

static struct dw_light_meter *meter_of(double period)
{
    struct dw_error error = { .status = DW_OK };
    const struct dw_channel_facts exact = { NAN, NAN, NAN };
    struct dw_light_meter *meter = dw_light_meter_new(&(struct dw_light_plan){ period, 0, exact, exact, "a wave" }, &error);
    ck_assert_msg(meter != NULL, "%s", error.text);
    return meter;
}

static void row(struct dw_light_meter *meter, double time, double light, double slope)
{
    struct dw_error error = { .status = DW_OK };
    succeeds(dw_light_meter_row(meter, (const double[]){ time, light, slope, 0.7 * light, 0.7 * slope }, &error), error);
}

static struct dw_light ended(struct dw_light_meter *meter)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_light light;
    succeeds(dw_light_meter_finish(meter, &light, &error), error);
    dw_light_meter_free(meter);
    return light;
}

/* 1 + m sin over some periods, in cubics of so many a period: off by m h^4/384 of the second power of 2 pi f h. */
static struct dw_light sine(double modulation, double frequency, int pieces)
{
    struct dw_light_meter *meter = meter_of(1 / frequency);
    for (int k = 0; k <= 3 * pieces; k++) {
        const double angle = 2 * PI * k / pieces;
        row(meter, k / (pieces * frequency), 1 + modulation * sin(angle), modulation * 2 * PI * frequency * cos(angle));
    }
    return ended(meter);
}

static struct dw_light pulses(double duty, double frequency)
{
    struct dw_light_meter *meter = meter_of(1 / frequency);
    for (int k = 0; k < 4; k++)
        for (int edge = 0; edge < 4; edge++)
            row(meter, (k + (edge == 0 ? 0 : edge == 3 ? 1 : duty)) / frequency, edge < 2, 0);
    return ended(meter);
}

/* Flicker index of a pulse 1 - D, of a sine m / pi; percent flicker 100 and m (IES RP-16-10, from memory; by hand). 2^12 cubics to a sine
 * leave (2 pi / 4096)^4 / 384, 1.4e-14. */
START_TEST(flicker_of_pulses_and_sines_is_what_it_should_be)
{
    for (double duty = 0.013; duty < 1; duty += 0.0871) {
        const struct dw_light light = pulses(duty, 173.9);
        near(light.mean, duty, 1e-13);  /* instants of three periods, to the rounding */
        near(light.index, 1 - duty, 1e-13 / (1 - duty));
        near(light.flicker, 1, 4 * DBL_EPSILON);
        near(light.current_rms, 0.7 * sqrt(duty), 1e-13);
    }
    for (double modulation = 0.003; modulation <= 1; modulation += 0.0623) {
        const struct dw_light light = sine(modulation, 173.9, 4096);
        near(light.index, modulation / PI, 1e-12);
        near(light.flicker, modulation, 1e-12);
        near(light.mean, 1, 1e-13);
    }
}
END_TEST

/* CIE TN 006:2016, from memory: a sine at its own threshold has a visibility of 1, and T is 1 / (1 + e^(-0.00518 (f - 306.6))) +
 * 20 e^(-f/10). Only lines of 80 to 2000 Hz count. */
START_TEST(a_sine_at_its_threshold_just_shows)
{
    for (double f = 80; f <= 2000; f *= 1.29) {
        const double threshold = 1 / (1 + exp(-0.00518 * (f - 306.6))) + 20 * exp(-f / 10);
        near(dw_strobe_threshold(f), threshold, 4 * DBL_EPSILON);
        near(sine(fmin(threshold, 1), f, 2048).visibility, fmin(threshold, 1) / threshold, 1e-9);  /* other lines come in at the power 3.7 */
    }
    ck_assert(!isnan(sine(0.5, 2000, 64).visibility));
    ck_assert(isnan(sine(0.5, 2000.01, 64).visibility));
    ck_assert(sine(0.5, 79.9 / 2, 4096).visibility < 1e-9);  /* its second harmonic has nothing */
}
END_TEST

/* The same sum by brute force: C_m = 2 sin(pi m D) / (pi m D), each line of a pulse over its mean. */
START_TEST(visibility_of_pulses_is_the_sum_over_their_lines)
{
    static const double frequencies[] = { 13.7, 61, 100, 173.9, 450, 999.5, 1999 };
    for (size_t i = 0; i < sizeof frequencies / sizeof frequencies[0]; i++)
        for (double duty = 0.11; duty < 1; duty += 0.23) {
            double sum = 0;
            for (int m = 1; m * frequencies[i] <= 2000; m++) {
                const double f = m * frequencies[i], line = 2 * fabs(sin(PI * m * duty)) / (PI * m * duty);
                if (f >= 80)
                    sum += pow(line / (1 / (1 + exp(-0.00518 * (f - 306.6))) + 20 * exp(-f / 10)), 3.7);
            }
            near(pulses(duty, frequencies[i]).visibility, pow(sum, 1 / 3.7), 1e-11);
        }
}
END_TEST

/* floor(Y (2^B - 1) + 1/2), Y by the standard's own two branches, code by code. */
START_TEST(even_steps_are_right_code_by_code)
{
    const struct dw_lamp_plan lamp = { .kind = DW_LAMP_LED, .supply = 12, .forward = 9.3, .resistor = 120 };
    for (int bits = 6; bits <= 14; bits += 4) {
        const struct dw_steps_plan plan = { .lamp = &lamp, .count = 64, .bits = bits, .prescale = 1 };
        size_t repeated = 0;
        for (size_t k = 0, before = 0; k < plan.count; k++) {
            const double l = 100 * (double)k / 63, f = (l + 16) / 116, y = f > 6 / 29.0 ? f * f * f : (f - 4 / 29.0) * 108 / 841;
            const size_t code = (size_t)(y * ((1 << bits) - 1) + 0.5);
            ck_assert_uint_eq(dw_steps_step(&plan, k).code, code);
            ck_assert_int_eq(dw_steps_step(&plan, k).repeats, k > 0 && code == before);
            repeated += k > 0 && code == before;
            before = code;
        }
        ck_assert_uint_eq(dw_steps_repeated(&plan), repeated);
    }
}
END_TEST

SUITE("outside: light", lightness_is_that_of_the_standard, limits_of_flicker_are_those_of_the_standard,
      flicker_of_pulses_and_sines_is_what_it_should_be, a_sine_at_its_threshold_just_shows,
      visibility_of_pulses_is_the_sum_over_their_lines, even_steps_are_right_code_by_code)
