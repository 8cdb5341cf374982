/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a coil may be, and its copper. */
#include "suite.h"
#include <dutywright/coil.h>
#include <float.h>

START_TEST(copper_follows_its_coefficient)
{
    near(dw_coil_copper(47, 20, 100), 47 * 1.3144, 8 * DBL_EPSILON);
    near(dw_coil_copper(dw_coil_copper(47, 20, 83), 83, 20), 47, 8 * DBL_EPSILON);
    const double outside[] = { -101, 301, NAN, INFINITY };
    for (size_t i = 0; i < sizeof outside / sizeof outside[0]; i++)
        ck_assert(isnan(dw_coil_copper(47, 20, outside[i])) && isnan(dw_coil_copper(47, outside[i], 20)));
}
END_TEST

#define PLAN(...) { .resistance = 47.3, .inductance = 0.371, .supply = 23.7, .clamp = DW_CLAMP_DIODE, .diode_drop = 0.73, __VA_ARGS__ }
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Woverride-init"
#ifdef __clang__
#pragma GCC diagnostic ignored "-Winitializer-overrides"
#endif
static const struct {
    struct dw_coil_plan plan;
    const char *member, *message;
} refused[] = {
    { PLAN(.resistance = 0), "resistance", "resistance 0 ohm: must be above zero" },
    { PLAN(.resistance = NAN), "resistance", "resistance nan ohm: must be finite" },
    { PLAN(.inductance = -1), "inductance", "inductance -1 H: must be above zero" },
    { PLAN(.supply = 0), "supply", "supply 0 V: must be above zero" },
    { PLAN(.clamp = DW_CLAMP_ZENER), "clamp_value", "zener 0 V: must be above zero" },
    { PLAN(.clamp = DW_CLAMP_RESISTOR), "clamp_value", "clamp resistor 0 ohm: must be above zero" },
    { PLAN(.switch_resistance = -1), "switch_resistance", "switch resistance -1 ohm: must not be negative" },
    { PLAN(.stray = -1), "stray", "stray capacitance -1 F: must not be negative" },
    { PLAN(.diode_drop = 23.7), "diode_drop", "diode drop 23.7 V: must be below the supply, 23.7 V" },
    { PLAN(.clamp = DW_CLAMP_NONE), "stray",
      "without a clamp the voltage has no limit unless a stray capacitance takes the current: give one, such as 100 pF" },
    { PLAN(.clamp = DW_CLAMP_NONE, .stray = 1e-10, .clamp_at_switch = true), "clamp_at_switch",
      "there is no clamp that could stand at the switch" },
    { PLAN(.clamp_at_switch = true), "clamp_at_switch",
      "a diode alone clamps only across the coil; across the switch it takes a zener or a resistor" },
    { PLAN(.clamp = DW_CLAMP_ZENER, .clamp_value = 20, .clamp_at_switch = true), "clamp_value",
      "zener 20 V across the switch: must be above the supply, 23.7 V, or the coil is never off" },
    { PLAN(.inductance_closed = 0.2), "inductance_closed",
      "closed inductance 0.2 H: must not be below the open one, 0.371 H: a closed gap holds more flux" },
    { PLAN(.inductance_closed = 0.5), "inductance_closed", "a closed inductance needs pull-in and drop-out" },
    { PLAN(.pull_in = 0.2), "drop_out", "pull-in 0.2 A and drop-out 0 A: both must be above zero" },
    { PLAN(.drop_out = 0.2), "pull_in", "pull-in 0 A and drop-out 0.2 A: both must be above zero" },
    { PLAN(.pull_in = 0.1, .drop_out = 0.2), "pull_in", "pull-in 0.1 A: must be above the drop-out, 0.2 A" },
    { PLAN(.pull_in = 0.20000001, .drop_out = 0.20000002), "pull_in", "pull-in 0.20000001 A: must be above the drop-out, 0.20000002 A" },
    { PLAN(.pull_in = 0.3, .drop_out = 0.2, .inductance_closed = 0.7), "inductance_closed",
      "at pull-in the closed inductance leaves a current of 0.159 A: not above the drop-out, 0.2 A, so the armature would not stay" },
};
#pragma GCC diagnostic pop

START_TEST(impossible_coils_are_refused_with_a_reason)
{
    struct dw_error error = { .status = DW_OK };
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        ck_assert_ptr_null(dw_coil_new(&refused[i].plan, &error));
        ck_assert_int_eq(error.status, DW_BAD_USE);
        ck_assert_str_eq(error.text, refused[i].message);
        ck_assert_str_eq(error.member, refused[i].member);
    }
}
END_TEST

START_TEST(a_meter_that_took_no_row_found_nothing)
{
    const struct dw_coil_plan plan = { .resistance = 47.3, .inductance = 0.371, .supply = 23.7, .clamp = DW_CLAMP_DIODE,
                                       .diode_drop = 0.73, .pull_in = 0.293, .drop_out = 0.117, .threshold = 2.4 };
    struct dw_error error;
    struct dw_coil *coil = dw_coil_new(&plan, &error);
    ck_assert_msg(coil, "%s", error.text);
    struct dw_coil_meter *meter = dw_coil_meter_new(coil, &error);
    ck_assert_msg(meter, "%s", error.text);
    const struct dw_run_row row = { .kind = DW_ROW_INPUT };
    refuses(dw_coil_meter_row(meter, &row, &error), DW_BAD_USE, error, "the coil's meter is given a row without the integrals of its coil");
    struct dw_coil_findings findings;
    succeeds(dw_coil_meter_end(meter, &findings, &error), error);
    ck_assert(!findings.pulled_in && !findings.pulses && !findings.pull_ins && !findings.drop_outs);
    ck_assert(isnan(findings.operate) && isnan(findings.release) && isnan(findings.hold) && isnan(findings.cycle));
    dw_coil_meter_free(meter);
    dw_coil_free(coil);
}
END_TEST

START_TEST(times_need_thresholds_and_a_holding_current)
{
    struct dw_coil_plan plan = { .resistance = 47.3, .inductance = 0.371, .supply = 23.7, .clamp = DW_CLAMP_DIODE, .diode_drop = 0.73,
                                 .pull_in = 0.293, .drop_out = 0.117, .threshold = 2.4 };
    struct dw_error error = { .status = DW_OK };
    double operate, release;
    struct dw_coil *coil = dw_coil_new(&plan, &error);
    ck_assert_msg(coil, "%s", error.text);
    refuses(dw_coil_times(coil, 0.1, &operate, &release, &error), DW_BAD_USE, error,
            "a release begins from a current at or above the drop-out, 0.117 A, not from 0.1 A");
    refuses(dw_coil_times(coil, INFINITY, &operate, &release, &error), DW_BAD_USE, error,
            "a release begins from a current at or above the drop-out, 0.117 A, not from inf A");
    dw_coil_free(coil);
    plan.pull_in = plan.drop_out = 0;
    coil = dw_coil_new(&plan, &error);
    ck_assert_msg(coil, "%s", error.text);
    refuses(dw_coil_times(coil, NAN, &operate, &release, &error), DW_BAD_USE, error,
            "without pull-in and drop-out there is no armature to time");
    dw_coil_free(coil);
}
END_TEST

SUITE("load: coil, its values", copper_follows_its_coefficient, impossible_coils_are_refused_with_a_reason,
      a_meter_that_took_no_row_found_nothing, times_need_thresholds_and_a_holding_current)
