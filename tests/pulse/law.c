/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Laws and their converter against closed forms. */
#include "suite.h"
#include <dutywright/law.h>
#include <float.h>

/* Crooked on purpose: the pump under a loop of 1 kHz, speed in rad/s behind a sensor. */
static const struct dw_law_plan pump = {
    .kind = DW_LAW_PID, .sample_time = 1e-3, .converter = { .gain = 1, .bits = 0 }, .gain = 0.0037, .integral_time = 0.043,
    .derivative_time = 0.0061, .filter = 0.0017, .setpoint_weight = 0.7, .duty_low = -1, .duty_high = 1
};

static struct dw_law made(const struct dw_law_plan *plan, struct dw_law_state *state)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_law law;
    succeeds(dw_law_make(plan, &law, &error), error);
    dw_law_begin(&law, state);
    return law;
}

/* ---- pid ---- */

/* The plant y' = p y + (1 - p) k u under a gain alone: y comes to its end as the n-th power. 10,000 samples of four roundings each, each
 * shrunk by the factor per sample that follows: 1e-12 is generous. */
START_TEST(first_order_recurrence)
{
    static const double P = 0.93, K = 210, WANTED = 131.7, START = 17.3;
    struct dw_law_plan plan = pump;
    struct dw_law_state state;
    double y = START;
    plan.integral_time = INFINITY;
    plan.derivative_time = 0;
    const struct dw_law law = made(&plan, &state);
    const double loop = (1 - P) * K * plan.gain, pole = P - loop, end = loop * plan.setpoint_weight * WANTED / (1 - pole);
    for (int n = 0; n < 10000; n++) {
        within_scale(y, end + (START - end) * pow(pole, n), 1e-12, end);
        y = P * y + (1 - P) * K * dw_law_step(&law, &state, WANTED, y);
    }
}
END_TEST

/* A measured value that rises as a line: the sum of its errors, and a derivative that rises as a power. */
START_TEST(parts_of_a_ramp)
{
    static const double RATE = 47.3, WANTED = 21;
    struct dw_law_state state;
    struct dw_law_plan plan = pump;
    plan.initial = 0.05;
    const struct dw_law law = made(&plan, &state);
    const double t = plan.sample_time, a = plan.filter / (plan.filter + t);
    for (int n = 0; n < 400; n++) {
        const double y = RATE * t * n, sum = (n + 1) * WANTED - RATE * t * n * (n + 1) / 2;
        const double integral = 0.05 + plan.gain * t / plan.integral_time * sum;
        const double derivative = -plan.gain * plan.derivative_time * RATE * (1 - pow(a, n));
        dw_law_step(&law, &state, WANTED, y);
        within_scale(state.integral, integral, 1e-12, 1);  /* 400 sums */
        within_scale(state.derivative, derivative, 1e-12, 1);
        within_scale(state.asked, plan.gain * (0.7 * WANTED - y) + integral + derivative, 1e-12, 1);
    }
}
END_TEST

/* An error that clips the duty for good: the integral goes on, stands, or comes to its end as the power 1 - T/Tt. */
START_TEST(windup)
{
    static const double WANTED = 300, MEASURED = 20;
    for (int kind = DW_WINDUP_NONE; kind <= DW_WINDUP_BACK; kind++)
        for (double sign = -1; sign <= 1; sign += 2) {
            struct dw_law_plan plan = pump;
            struct dw_law_state state;
            plan.windup = (enum dw_windup)kind;
            plan.track_time = 5e-3;
            plan.duty_low = -0.4;
            plan.duty_high = 0.4;
            const struct dw_law law = made(&plan, &state);
            const double adds = sign * plan.gain * plan.sample_time / plan.integral_time * (WANTED - MEASURED), back = 1e-3 / 5e-3;
            const double others = sign * plan.gain * (0.7 * WANTED - MEASURED), end = sign * 0.4 - others + adds * (1 - back) / back;
            for (int n = 1; n <= 200; n++) {
                const double integrals[] = { adds * n, 0, end * (1 - pow(1 - back, n)) };
                near(dw_law_step(&law, &state, sign * WANTED, sign * MEASURED), sign * 0.4, 0);
                within_scale(state.integral, integrals[kind], 1e-13, 4);  /* 200 sums below 4 */
            }
        }
}
END_TEST

/* Held at a clip, the integral may come back: an error of the other sign is taken. */
START_TEST(clamp_lets_go)
{
    struct dw_law_plan plan = pump;
    struct dw_law_state state;
    plan.windup = DW_WINDUP_CLAMP;
    plan.initial = 0.9;
    plan.derivative_time = 0;
    const struct dw_law law = made(&plan, &state);
    dw_law_step(&law, &state, 400, 0);
    near(state.integral, 0.9, 0);
    dw_law_step(&law, &state, 400, 410);  /* clipped no more */
    ck_assert(state.integral < 0.9);
}
END_TEST

/* A step of the integral larger than the whole range still drives at full duty: only what it would keep is left out. */
START_TEST(clamp_does_not_hold_back)
{
    struct dw_law_plan plan = pump;
    struct dw_law_state state;
    plan.windup = DW_WINDUP_CLAMP;
    plan.derivative_time = 0;
    plan.integral_time = plan.sample_time / 1000;
    const struct dw_law law = made(&plan, &state);
    near(dw_law_step(&law, &state, 400, 300), law.high, 0);
    near(state.integral, plan.initial, 0);
}
END_TEST

/* ---- on-off ---- */

START_TEST(levels)
{
    static const double rising[] = { 1.5, 2, 2.125, 2.625, 2.626, 2, 1.875, 1.874, 2.25 };
    static const bool below[] = { true, true, true, true, false, false, false, true, true },
                      above[] = { false, false, false, false, true, true, true, false, false };
    struct dw_law_plan plan = pump;
    struct dw_law_state state[2];
    plan.kind = DW_LAW_ON_OFF;
    plan.duty_low = -0.2;
    plan.on = -0.125, plan.off = 0.625;
    const struct dw_law heats = made(&plan, &state[0]);
    plan.on = 0.625, plan.off = -0.125;
    const struct dw_law cools = made(&plan, &state[1]);
    for (size_t n = 0; n < sizeof rising / sizeof rising[0]; n++) {
        near(dw_law_step(&heats, &state[0], 2, rising[n]), below[n] ? 1 : -0.2, 0);
        near(dw_law_step(&cools, &state[1], 2, rising[n]), above[n] ? 1 : -0.2, 0);
    }
}
END_TEST

/* ---- converter and steps ---- */

/* Codes change half a code below their values, and the first and last hold beyond; upside down with a sensor that falls. 1e-12: the
 * quantities are differences of voltages ten times as large. */
START_TEST(codes)
{
    static const double DROP = 1e-9;
    struct dw_converter c = { .gain = 0.01, .offset = 0.2, .bits = 10, .low = 0.1, .high = 3.2 };
    for (int way = 0; way < 2; way++) {
        const double code = 3.1 / 1024 / c.gain, first = (0.1 - c.offset) / c.gain;
        for (int k = 1; k < 1024; k++) {
            near(dw_converter_value(&c, first + (k - 0.5 + DROP) * code), first + k * code, 1e-12);
            within_scale(dw_converter_value(&c, first + (k - 0.5 - DROP) * code), first + (k - 1) * code, 1e-12, first);
        }
        near(dw_converter_value(&c, first - 7 * code), first, 1e-13);
        near(dw_converter_value(&c, first + 5000 * code), first + 1023 * code, 1e-13);
        c.gain = -0.02;
        c.offset = 3.2;
    }
    c.bits = 0;
    near(dw_converter_value(&c, 0.123456789), 0.123456789, 0);
    ck_assert(isnan(dw_converter_value(&c, NAN)));
}
END_TEST

/* Of a million samples the mean is within 4 standard errors, 4 sigma / 1000, and the variance within 4 sqrt 2 sigma^2 / 1000; a sensor's
 * gain divides it. Each sample's is its own, whatever was asked for before. */
START_TEST(noise)
{
    static const double SIGMA = 3.7e-3;
    enum { MANY = 1000000 };
    const struct dw_converter c = { .gain = -0.5, .noise = 0.5 * SIGMA, .seed = 42 };
    double sum = 0, square = 0;
    for (int n = 0; n < MANY; n++) {
        const double x = dw_converter_sample(&c, n, 1.3) - 1.3;
        sum += x;
        square += x * x;
    }
    within_scale(sum / MANY, 0, 4e-3, SIGMA);
    near(square / MANY, SIGMA * SIGMA, 5.7e-3);
    near(dw_converter_sample(&c, 17, 1.3), dw_converter_sample(&c, 17, 1.3), 0);
    ck_assert(dw_converter_sample(&c, 17, 1.3) != dw_converter_sample(&c, 18, 1.3));
}
END_TEST

/* The wanted value is rounded as the measured one is: what rests on a code has no error, whatever was asked for. */
START_TEST(wanted_is_a_code)
{
    struct dw_law_plan plan = pump;
    struct dw_law_state state;
    plan.converter = (struct dw_converter){ .gain = 0.02, .bits = 8, .high = 3.3 };
    const struct dw_law law = made(&plan, &state);
    near(law.step, 3.3 / 256 / 0.02, DBL_EPSILON);
    dw_law_step(&law, &state, 100, 100.1);
    near(state.wanted, round(100 / law.step) * law.step, 4 * DBL_EPSILON);
    near(state.measured, state.wanted, 0);
    near(state.integral, 0, 0);
}
END_TEST

/* A range is narrowed to whole steps, and halves of a step go away from zero either way. */
START_TEST(steps)
{
    struct dw_law_plan plan = pump;
    struct dw_law_state state;
    plan.integral_time = INFINITY;
    plan.derivative_time = 0;
    plan.gain = 1;
    plan.setpoint_weight = 1;
    plan.duty_steps = 14;
    plan.duty_low = -0.9, plan.duty_high = 0.3;
    const struct dw_law law = made(&plan, &state);
    near(law.low, -12.0 / 14, DBL_EPSILON);
    near(law.high, 4.0 / 14, DBL_EPSILON);
    near(dw_law_step(&law, &state, 2.5 / 14, 0), 3.0 / 14, DBL_EPSILON);
    near(dw_law_step(&law, &state, -2.5 / 14, 0), -3.0 / 14, DBL_EPSILON);
    near(dw_law_step(&law, &state, 0.3, 0), 4.0 / 14, DBL_EPSILON);
    near(dw_law_step(&law, &state, -0.9, 0), -12.0 / 14, DBL_EPSILON);
    plan.duty_low = -1, plan.duty_high = 1, plan.duty_steps = 10;
    near(made(&plan, &state).high, 1, 0);
}
END_TEST

/* ---- refusals ---- */

#define REFUSED(setting, says, of) \
    do { \
        struct dw_law_plan plan_ = pump; \
        struct dw_law law_; \
        struct dw_error error_ = { .status = DW_OK }; \
        setting; \
        refuses(dw_law_make(&plan_, &law_, &error_), DW_BAD_USE, error_, says); \
        ck_assert_str_eq(error_.member, of); \
    } while (0)

START_TEST(refusals)
{
    REFUSED(plan_.sample_time = 0, "sample time 0 s: must be above zero", "sample_time");
    REFUSED(plan_.converter.gain = 0, "sensor's gain 0: must not be zero", "sensor");
    REFUSED(plan_.converter.offset = INFINITY, "sensor's offset inf V: must be finite", "sensor");
    REFUSED(plan_.converter.noise = -1e-3, "noise -0.001 V: must not be negative", "converter");
    REFUSED(plan_.converter.bits = 17, "17 bits: a converter has from 1 to 16", "converter");
    REFUSED((plan_.converter.bits = 10, plan_.converter.low = 3.3, plan_.converter.high = 0),
            "from 3.3 V to 0 V: its low end must be below its high end", "converter");
    REFUSED(plan_.gain = 0, "gain 0: must not be zero", "gain");
    REFUSED(plan_.integral_time = 0, "integral time 0 s: must be above zero", "integral_time");
    REFUSED(plan_.derivative_time = -1, "derivative time -1 s: must not be negative", "derivative_time");
    REFUSED(plan_.filter = NAN, "filter nan s: must be finite", "filter");
    REFUSED((plan_.windup = DW_WINDUP_BACK, plan_.track_time = 1e-4), "led back within 0.0001 s: must be the sample time of 0.001 s or more",
            "track_time");
    REFUSED((plan_.kind = DW_LAW_ON_OFF, plan_.off = NAN), "level nan: must be finite", "hysteresis");
    REFUSED(plan_.duty_high = 1.5, "duties from -1 to 1.5: must lie from -1 to 1, the first below the second", "duty_range");
    REFUSED(plan_.duty_low = -1.5, "duties from -1.5 to 1: must lie from -1 to 1, the first below the second", "duty_range");
    REFUSED(plan_.duty_high = -1, "duties from -1 to -1: must lie from -1 to 1, the first below the second", "duty_range");
    REFUSED(plan_.duty_steps = 65537, "65537 steps: a duty has up to 65536", "duty_steps");
    REFUSED((plan_.duty_steps = 10, plan_.duty_low = 0.41, plan_.duty_high = 0.55),
            "duties from 0.41 to 0.55: of 10 steps fewer than two lie in it", "duty_range");
}
END_TEST

SUITE("pulse: laws", first_order_recurrence, parts_of_a_ramp, windup, clamp_lets_go, clamp_does_not_hold_back, levels,
      codes, noise, wanted_is_a_code, steps, refusals)
