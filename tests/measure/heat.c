/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/switch.h>
#include <float.h>
#include <stdlib.h>
#include <string.h>

static const struct dw_switch mosfet = { .kind = DW_SWITCH_MOSFET, .on_resistance = 0.043, .supply = 12.4,
                                         .diode_drop = 0.62, .edge = 2.1e-6 };
static const struct dw_switch bipolar = { .kind = DW_SWITCH_BIPOLAR, .saturation = 0.31, .forced_gain = 12,
                                          .base_emitter = 0.72, .supply = 12.4, .diode_drop = 0.62 };

/* Output rows, kept. */
struct rows {
    double *value;
    size_t columns, count;
};

static enum dw_status keep(void *context, const double *row, struct dw_error *error)
{
    (void)error;
    struct rows *rows = context;
    rows->value = realloc(rows->value, (rows->count + 1) * rows->columns * sizeof *row);
    memcpy(rows->value + rows->count++ * rows->columns, row, rows->columns * sizeof *row);
    return DW_OK;
}

static double at(const struct rows *rows, size_t row, size_t column)
{
    return rows->value[row * rows->columns + column];
}

/* Area under one column's cubics, whose slope stands behind it, or straight lines. */
static double area(const struct rows *rows, size_t column, bool curve)
{
    double sum = 0;
    for (size_t i = 1; i < rows->count; i++) {
        const double h = at(rows, i, 0) - at(rows, i - 1, 0);
        sum += h * (at(rows, i, column) + at(rows, i - 1, column)) / 2;
        sum += curve ? h * h * (at(rows, i - 1, column + 1) - at(rows, i, column + 1)) / 12 : 0;
    }
    return sum;
}

/* A load current that rises while the gate is on and falls through the diode: valley a, peak b, periods from `first`. */
static size_t sawtooth(double *rows, int periods, double period, double duty, double a, double b)
{
    size_t count = 0;
    for (int k = 0; k < periods; k++) {
        const double t[4] = { k * period, (k + duty) * period, (k + duty) * period, (k + 1) * period };
        const double gate[4] = { 5, 5, 0, 0 }, current[4] = { a, b, b, a };
        for (int i = 0; i < 4; i++, count++) {
            rows[3 * count] = t[i];
            rows[3 * count + 1] = gate[i];
            rows[3 * count + 2] = current[i];
        }
    }
    return count;
}

static struct dw_heat_result run(const struct dw_switch *t, struct dw_thermal *thermal, double period, const double *rows,
                                 size_t count, bool steady, size_t period_rows, struct rows *kept)
{
    struct dw_error error = { .status = DW_OK };
    const struct dw_heat_source source = { .columns = 3, .current = 2, .gate = 1, .threshold = 2.5, .period = period };
    const struct dw_heat_rows wanted = { keep, kept, 2e-8 };
    struct dw_heat *heat = dw_heat_new(t, thermal, &source, kept ? &wanted : NULL, &error);
    ck_assert_msg(heat != NULL, "%s", error.text);
    if (steady)
        succeeds(dw_heat_start_steady(heat, rows, period_rows, &error), error);
    for (size_t i = 0; i < count; i++)
        succeeds(dw_heat_row(heat, rows + 3 * i, &error), error);
    struct dw_heat_result result;
    succeeds(dw_heat_finish(heat, &result, &error), error);
    dw_heat_free(heat);
    return result;
}

START_TEST(losses_of_a_sawtooth_are_the_closed_forms)
{
    const double period = 5.1e-5, duty = 0.37, a = 1.7, b = 2.9;
    double rows[3 * 4 * 40];
    size_t count = sawtooth(rows, 40, period, duty, a, b);
    struct dw_heat_result r = run(&mosfet, NULL, period, rows, count, false, 0, NULL);
    double conduction = duty * mosfet.on_resistance * (a * a + a * b + b * b) / 3;
    near(r.conduction, conduction, 1e-12);  /* times k * period lose 40 ulp of a pulse 0.37 periods long */
    near(r.turn_on, (12.4 + 0.62) * a * 2.1e-6 / 2 / period, 1e-12);
    near(r.turn_off, (12.4 + 0.62) * b * 2.1e-6 / 2 / period, 1e-12);
    near(r.diode, 0.62 * (1 - duty) * (a + b) / 2, 1e-12);
    near(r.current_peak, b, 0);
    near(r.current_rms, sqrt(duty * (a * a + a * b + b * b) / 3), 1e-12);
    near(r.load_rms, sqrt((a * a + a * b + b * b) / 3), 1e-12);
    ck_assert(r.turns == 1);

    r = run(&bipolar, NULL, period, rows, count, false, 0, NULL);
    near(r.conduction, duty * (a + b) / 2 * (0.31 + 0.72 / 12), 1e-12);
    ck_assert(r.turn_on == 0 && r.turn_off == 0);
}
END_TEST

START_TEST(the_rows_hold_the_energy_of_the_result)
{
    const double period = 5.1e-5, duty = 0.37;
    double rows[3 * 4];
    size_t count = sawtooth(rows, 1, period, duty, 1.7, 2.9);
    struct rows kept = { .columns = 7 };
    struct dw_error error;
    struct dw_thermal *thermal = dw_thermal_new((struct dw_thermal_pair[]){ { 1.1, 4e-5 }, { 8, 0.2 } }, 2, 30, &error);
    struct dw_heat_result r = run(&mosfet, thermal, 0, rows, count, false, 0, &kept);
    /* parabolas and lines are cubics; the junction is within 2e-8 of the scale, 12.4 W times 9.1 K/W */
    near(area(&kept, 3, true), (r.conduction + r.turn_on + r.turn_off) * r.span, 1e-13);
    within_scale(area(&kept, 5, true), r.junction_mean * r.span, 2e-8, 12.4 * 9.1 * r.span);
    ck_assert(at(&kept, 0, 5) == 30);
    near(at(&kept, kept.count - 1, 5), r.junction_last, 4 * DBL_EPSILON);
    for (size_t i = 0; i < kept.count; i++)
        ck_assert(at(&kept, i, 5) <= r.junction_highest);
    /* the input's channels pass through as the straight lines they were */
    within_scale(area(&kept, 2, false), 1.7 * period + 1.2 / 2 * period, 1e-12, period);
    dw_thermal_free(thermal);
    free(kept.value);
}
END_TEST

START_TEST(steady_start_is_where_waiting_would_end)
{
    const double period = 1e-3;
    double rows[3 * 4 * 600];
    size_t count = sawtooth(rows, 600, period, 0.37, 1.7, 2.9);
    const struct dw_thermal_pair pairs[] = { { 1.1, 4e-4 }, { 8, 0.02 } };
    struct dw_switch warm = mosfet;
    warm.resistance_slope = 0.006;
    for (int grows = 0; grows < 2; grows++) {
        struct dw_error error;
        struct dw_thermal *waited = dw_thermal_new(pairs, 2, 30, &error), *solved = dw_thermal_new(pairs, 2, 30, &error);
        struct dw_heat_result w = run(grows ? &warm : &mosfet, waited, period, rows, count, false, 0, NULL);
        struct dw_heat_result s = run(grows ? &warm : &mosfet, solved, period, rows, 40, true, 4, NULL);
        /* 600 periods are 30 time constants: e^-30 = 1e-13 of 3 K is left of the wait */
        near(s.junction_last, w.junction_last, 1e-9);
        near(s.junction_highest, w.junction_highest, 1e-9);
        ck_assert(w.steady && s.steady);
        /* so is each period's mean, from which the next one's on-resistance is taken */
        near(w.junction_mean, w.steady_mean, 1e-12);
        near(s.junction_mean, w.steady_mean, 1e-12);
        near(w.steady_highest, w.junction_highest, 1e-12);
        near(w.steady_mean, 30 + 9.1 * (w.conduction + w.turn_on + w.turn_off), 1e-12);
        /* known after two periods, with the junction still cold, to the same */
        struct dw_thermal *cold = dw_thermal_new(pairs, 2, 30, &error);
        struct dw_heat_result c = run(grows ? &warm : &mosfet, cold, period, rows, 8, false, 0, NULL);
        ck_assert(c.steady && c.junction_highest < w.junction_highest - 1);
        near(c.steady_highest, w.junction_highest, 1e-12);
        dw_thermal_free(waited);
        dw_thermal_free(solved);
        dw_thermal_free(cold);
    }
}
END_TEST

START_TEST(without_a_diode_column_the_diode_has_what_the_gate_leaves)
{
    /* the same record once with the diode's current as a column of its own */
    enum { PERIODS = 3 };
    double rows[4 * PERIODS * 3], wide[4 * PERIODS * 4];
    const size_t count = sawtooth(rows, PERIODS, 1.3e-3, 0.37, 1.1, 2.3);
    for (size_t i = 0; i < count; i++) {
        memcpy(wide + 4 * i, rows + 3 * i, 3 * sizeof *wide);
        wide[4 * i + 3] = rows[3 * i + 1] > 0 ? 0 : rows[3 * i + 2];
    }
    const struct dw_heat_source with = { .columns = 4, .current = 2, .gate = 1, .diode = 3, .threshold = 2.5, .period = 1.3e-3 };
    struct dw_error error;
    struct dw_heat *heat = dw_heat_new(&mosfet, NULL, &with, NULL, &error);
    ck_assert_msg(heat != NULL, "%s", error.text);
    for (size_t i = 0; i < count; i++)
        succeeds(dw_heat_row(heat, wide + 4 * i, &error), error);
    struct dw_heat_result wanted;
    succeeds(dw_heat_finish(heat, &wanted, &error), error);
    dw_heat_free(heat);
    const struct dw_heat_result got = run(&mosfet, NULL, 1.3e-3, rows, count, false, 0, NULL);
    near(got.diode, 0.62 * 0.63 * 1.7, 16 * DBL_EPSILON); /* drop, share of the time, mean of a line */
    near(got.diode, wanted.diode, 16 * DBL_EPSILON);
    near(got.load_rms, wanted.load_rms, 16 * DBL_EPSILON);
    near(got.conduction, wanted.conduction, 16 * DBL_EPSILON);
}
END_TEST

START_TEST(a_bipolar_transistor_loses_as_much_to_a_current_the_other_way)
{
    /* a triangle through zero, and its mirror image: saturation and base loss for |i|, mean 1 A */
    static const double rows[][2] = { { 0, 0 }, { 1, -2 }, { 2, 0 }, { 3, 2 }, { 4, 0 } };
    for (int sign = -1; sign <= 1; sign += 2) {
        const struct dw_heat_source source = { .columns = 2, .current = 1 };
        struct dw_error error;
        struct dw_heat *heat = dw_heat_new(&bipolar, NULL, &source, NULL, &error);
        ck_assert_msg(heat != NULL, "%s", error.text);
        for (size_t i = 0; i < 5; i++)
            succeeds(dw_heat_row(heat, (const double[]){ rows[i][0], sign * rows[i][1] }, &error), error);
        struct dw_heat_result result;
        succeeds(dw_heat_finish(heat, &result, &error), error);
        near(result.conduction, 0.31 + 0.72 / 12, 16 * DBL_EPSILON);
        near(result.current_peak, 2, 0);
        dw_heat_free(heat);
    }
}
END_TEST

START_TEST(a_record_that_begins_within_a_period_counts_whole_ones_only)
{
    double rows[4 * 4 * 3];
    const size_t count = sawtooth(rows, 4, 1, 0.37, 1.1, 2.3);
    const struct dw_heat_result whole = run(&mosfet, NULL, 1, rows, count, false, 0, NULL);
    rows[2 * 3] += 0.01; /* the first row left out, a later one in its place: the rest of period 0 counts for nothing */
    memmove(rows, rows + 2 * 3, (count - 2) * 3 * sizeof *rows);
    const struct dw_heat_result late = run(&mosfet, NULL, 1, rows, count - 2, false, 0, NULL);
    near(late.span, 1, 4 * DBL_EPSILON);
    near(late.conduction, whole.conduction, 16 * DBL_EPSILON);
    near(late.diode, whole.diode, 16 * DBL_EPSILON);
    near(late.turns, 1, 0);
}
END_TEST

START_TEST(a_record_of_one_row_has_no_means)
{
    const double row[] = { 0.5, 5, 2 };
    const struct dw_heat_result result = run(&mosfet, NULL, 0, row, 1, false, 0, NULL);
    ck_assert_double_eq(result.span, 0);
    ck_assert_double_eq(result.conduction, 0);
    ck_assert_double_eq(result.current_rms, 0);
}
END_TEST

START_TEST(a_steady_start_needs_no_heat)
{
    double rows[4 * 2 * 3];
    const size_t count = sawtooth(rows, 2, 1.3e-3, 0.37, 1.1, 2.3);
    const struct dw_heat_result cold = run(&mosfet, NULL, 1.3e-3, rows, count, false, 0, NULL);
    const struct dw_heat_result steady = run(&mosfet, NULL, 1.3e-3, rows, count, true, 4, NULL);
    near(steady.conduction, cold.conduction, 16 * DBL_EPSILON);
    near(steady.turn_on, cold.turn_on, 16 * DBL_EPSILON);
    ck_assert(isnan(steady.junction_mean) && !steady.steady);
}
END_TEST

START_TEST(a_finite_edge_of_the_gate_switches_at_its_crossing)
{
    const double rows[] = { 0, 0, 2, 1e-3, 5, 2, 2e-3, 5, 2, 3e-3, 0, 2, 4e-3, 0, 2 };
    struct dw_switch t = mosfet;
    struct dw_heat_result r = run(&t, NULL, 0, rows, 5, false, 0, NULL);
    near(r.conduction * r.span, 4 * 0.043 * 2e-3, 1e-12);  /* on from 0.5 ms to 2.5 ms */
    ck_assert(r.turns == 1);
}
END_TEST

START_TEST(an_edge_within_an_edge_is_refused)
{
    struct dw_error error = { .status = DW_OK };
    const double rows[] = { 0, 0, 2, 1e-3, 0, 2, 1e-3, 5, 2, 1.001e-3, 5, 2, 1.001e-3, 0, 2, 2e-3, 0, 2 };
    const struct dw_heat_source source = { .columns = 3, .current = 2, .gate = 1, .threshold = 2.5 };
    struct dw_heat *heat = dw_heat_new(&mosfet, NULL, &source, NULL, &error);
    enum dw_status status = DW_OK;
    for (int i = 0; i < 6 && !status; i++)
        status = dw_heat_row(heat, rows + 3 * i, &error);
    ck_assert_int_eq(status, DW_BAD_INPUT);
    ck_assert_str_eq(error.text, "the switch's edge at 0.001001 s begins before the one at 0.001 s has ended: an edge takes "
                                 "2.1e-06 s");
    dw_heat_free(heat);
}
END_TEST

START_TEST(runaway_is_found)
{
    struct dw_error error;
    double junction = -1;
    /* 3 W cold, 25 K/W, 1.5 % a kelvin: each kelvin adds 1.125 K */
    ck_assert_int_eq(dw_switch_steady_junction(&(struct dw_junction_heating){ 3, 0.015, 0, 25, 25 }, &junction, &error), DW_NO);
    ck_assert(junction == -1);
    ck_assert_str_eq(error.text, "thermal runaway: each kelvin of warming adds 1.12 K more; the junction needs less than "
                                 "22.2 K/W to ambient, or a transistor of lower on-resistance");
    succeeds(dw_switch_steady_junction(&(struct dw_junction_heating){ 1.3, 0.006, 0.4, 25, 31 }, &junction, &error), error);
    near(junction, 31 + 25 * (0.4 + 1.3 * (1 + 0.006 * (junction - 25))), 4 * DBL_EPSILON);
}
END_TEST

START_TEST(columns_that_rows_lack_are_refused)
{
    static const struct {
        struct dw_heat_source source;
        const char *text;
    } bad[] = {
        { { .columns = 3 }, "no column is the current" },
        { { .columns = 3, .current = 3 }, "column 3 of the current: a row has 3 columns" },
        { { .columns = 3, .current = 2, .diode = 4 }, "column 4 of the diode: a row has 3 columns" },
        { { .columns = 3, .current = 2, .gate = 7 }, "column 7 of the gate: a row has 3 columns" },
        { { .columns = 2, .current = 1, .period = -1 }, "a period of -1 s from 0 s on: expected zero or above, and finite" },
        { { .columns = 2, .current = 1, .period = INFINITY }, "a period of inf s from 0 s on: expected zero or above, and finite" },
        { { .columns = 2, .current = 1, .origin = INFINITY },
          "a period of 0 s from inf s on: expected zero or above, and finite" },
        { { .columns = 3, .current = 1, .gate = 2, .threshold = -INFINITY }, "threshold -inf: must be finite" },
    };
    struct dw_error error;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        ck_assert_ptr_null(dw_heat_new(&mosfet, NULL, &bad[i].source, NULL, &error));
        ck_assert_int_eq(error.status, DW_BAD_USE);
        ck_assert_str_eq(error.text, bad[i].text);
    }
}
END_TEST

START_TEST(a_period_without_length_has_no_steady_state)
{
    const struct dw_heat_source source = { .columns = 2, .current = 1 };
    const double rows[][2] = { { 0.5, 2 }, { 0.5, 3 } };
    struct dw_error error;
    struct dw_heat *heat = dw_heat_new(&mosfet, NULL, &source, NULL, &error);
    for (size_t count = 0; count <= 2; count++)
        refuses(dw_heat_start_steady(heat, rows[0], count, &error), DW_BAD_INPUT, error,
                "a period needs two rows at least, and time must pass");
    dw_heat_free(heat);
}
END_TEST

START_TEST(transistors_out_of_range_are_refused)
{
    const struct {
        struct dw_switch t;
        const char *text;
    } bad[] = {
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = 0, .supply = 12 }, "on-resistance 0 ohm: must be above zero" },
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = INFINITY, .supply = 12 }, "on-resistance inf ohm: must be above zero" },
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = 1, .supply = INFINITY }, "supply inf V: must be above zero" },
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = 1, .supply = 5, .diode_drop = -1 },
          "diode drop -1 V: expected from zero to below the supply" },
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = 1, .supply = 5, .edge = INFINITY }, "edge inf s: must not be negative" },
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = 1, .supply = 5, .resistance_slope = -0.001 },
          "resistance slope -0.001 a kelvin: expected 0 to 0.1 (0.6% a kelvin is usual)" },
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = 1, .supply = 5, .output_capacitance = INFINITY },
          "output capacitance inf F: must not be negative" },
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = 1, .supply = 5, .recovery_charge = INFINITY },
          "recovery charge inf C: must not be negative" },
        { { .kind = DW_SWITCH_BIPOLAR, .saturation = INFINITY, .supply = 5 }, "saturation voltage inf V: must not be negative" },
        { { .kind = DW_SWITCH_BIPOLAR, .saturation = 0.2, .forced_gain = INFINITY, .supply = 5 }, "forced gain inf: expected 1 or more" },
        { { .kind = DW_SWITCH_BIPOLAR, .base_emitter = INFINITY, .supply = 5 }, "base-emitter voltage inf V: must not be negative" },
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = 1, .supply = 0 }, "supply 0 V: must be above zero" },
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = 1, .supply = 5, .diode_drop = 5 },
          "diode drop 5 V: expected from zero to below the supply" },
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = 1, .supply = 5, .edge = -1e-6 }, "edge -1e-06 s: must not be negative" },
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = 1, .supply = 5, .resistance_slope = 0.6 },
          "resistance slope 0.6 a kelvin: expected 0 to 0.1 (0.6% a kelvin is usual)" },
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = 1, .supply = 5, .output_capacitance = -1 },
          "output capacitance -1 F: must not be negative" },
        { { .kind = DW_SWITCH_MOSFET, .on_resistance = 1, .supply = 5, .recovery_charge = NAN },
          "recovery charge nan C: must not be negative" },
        { { .kind = DW_SWITCH_BIPOLAR, .saturation = -1, .supply = 5 }, "saturation voltage -1 V: must not be negative" },
        { { .kind = DW_SWITCH_BIPOLAR, .saturation = 6, .supply = 5 }, "saturation voltage 6 V: must be below the supply" },
        { { .kind = DW_SWITCH_BIPOLAR, .saturation = 0.2, .forced_gain = 0.5, .supply = 5 },
          "forced gain 0.5: expected 1 or more" },
        { { .kind = DW_SWITCH_BIPOLAR, .base_emitter = -1, .supply = 5 }, "base-emitter voltage -1 V: must not be negative" },
    };
    struct dw_error error;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        refuses(dw_switch_check(&bad[i].t, &error), DW_BAD_USE, error, bad[i].text);
    const struct dw_heat_source source = { .columns = 3, .current = 2 };
    ck_assert_ptr_null(dw_heat_new(&bad[0].t, NULL, &source, NULL, &error));
    ck_assert_ptr_null(dw_heat_new(&mosfet, NULL, &source, &(struct dw_heat_rows){ NULL, NULL, 0 }, &error));
    ck_assert_str_eq(error.text, "accuracy 0: expected between 0 and 1");
    ck_assert_ptr_null(dw_heat_new(&mosfet, NULL, &source, &(struct dw_heat_rows){ NULL, NULL, 1 }, &error));
    ck_assert_str_eq(error.text, "accuracy 1: expected between 0 and 1");
}
END_TEST

SUITE("measure: heat", losses_of_a_sawtooth_are_the_closed_forms, the_rows_hold_the_energy_of_the_result,
      steady_start_is_where_waiting_would_end, without_a_diode_column_the_diode_has_what_the_gate_leaves,
      a_bipolar_transistor_loses_as_much_to_a_current_the_other_way, a_record_that_begins_within_a_period_counts_whole_ones_only,
      a_record_of_one_row_has_no_means, a_steady_start_needs_no_heat, a_finite_edge_of_the_gate_switches_at_its_crossing,
      an_edge_within_an_edge_is_refused, runaway_is_found, columns_that_rows_lack_are_refused,
      a_period_without_length_has_no_steady_state, transistors_out_of_range_are_refused)
