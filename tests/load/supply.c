/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/coil.h>
#include <dutywright/ladder.h>
#include <dutywright/linear.h>
#include <dutywright/motor.h>
#include <string.h>

/* The exhibit's pump motor on a long line, its values crooked. */
static const struct dw_motor_plan pump = { .resistance = 1.85, .inductance = 0.9e-3, .constant = 27e-3, .inertia = 9e-6, .torque = 21e-3,
                                           .friction = 3e-6, .gear = 1, .drive = DW_DRIVE_ONE_SWITCH, .supply = 12, .diode_drop = 0.7,
                                           .switch_resistance = 0.04, .threshold = 1.65, .all = true };
static const struct dw_supply line = { .line_resistance = 0.35, .line_inductance = 6e-6, .bulk = 470e-6, .bulk_resistance = 0.08 };

static struct dw_plant *made(const struct dw_motor_plan *plan, const struct dw_supply *source)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_motor_plan own = *plan;
    own.source = *source;
    struct dw_motor *motor = dw_motor_new(&own, &error);
    ck_assert_msg(motor != NULL, "%s", error.text);
    return dw_motor_plant(motor);
}

/* Integrals of products of outputs over a steady period of pulses. */
static void over_period(struct dw_plant *plant, double duty, double period, const struct dw_integrand *integrand, size_t count, double *integral)
{
    struct dw_error error = { .status = DW_OK };
    double time[5] = { 0, duty * period, duty * period, period, period }, input[5][DW_MOTOR_INPUTS] = { { 3.3 }, { 3.3 }, { 0 }, { 0 }, { 3.3 } };
    double state[DW_STATES];
    size_t mode = dw_plant_rest(plant, state);
    succeeds(dw_modes_steady(dw_plant_modes(plant), &(struct dw_period){ time, input[0], 5, NULL }, &mode, state, NULL, &error), error);
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ .integrand = integrand, .integrand_count = count }, &error);
    ck_assert_msg(run != NULL, "%s", error.text);
    succeeds(dw_run_start(run, 0, mode, state, input[0], &error), error);
    for (int i = 1; i < 5; i++)
        succeeds(dw_run_feed(run, time[i], input[i], &error), error);
    memcpy(integral, dw_run_integrals(run), count * sizeof *integral);
    dw_run_free(run);
}

/* What the source gives over a steady period is lost in line, bulk, switch, diode and winding or done by the rotor; what the line brings is
 * what the load draws, as the bulk keeps its charge. The orbit's own 1e-12 is left, over a part of some hundred. */
START_TEST(energy_is_kept_over_a_steady_period)
{
    static const double duties[] = { 0.61, 0.75, 0.93 };
    for (int k = 0; k < 12; k++) {
        struct dw_supply source = line;
        struct dw_motor_plan plan = pump;
        plan.drive = k % 2 ? DW_DRIVE_ANTIPHASE : DW_DRIVE_ONE_SWITCH;
        source.line_inductance = k / 2 % 2 ? line.line_inductance : 0;
        source.no_return = k % 4 == 3;
        struct dw_plant *plant = made(&plan, &source);
        const size_t v = dw_plant_output(plant, "supply"), i = dw_plant_output(plant, "line-current"), c = dw_plant_output(plant, "bulk-current");
        const size_t drawn = dw_plant_output(plant, "supply-current"), motor = dw_plant_output(plant, "current"), speed = dw_plant_output(plant, "speed");
        const size_t terminal = dw_plant_output(plant, "terminal");
        const struct dw_integrand integrand[] = { { i, DW_ALONE }, { i, i }, { c, c }, { v, drawn }, { v, i }, { terminal, motor },
                                                  { motor, motor }, { motor, speed } };
        double e[8];
        over_period(plant, duties[k % 3], 1 / 2250.0, integrand, 8, e);
        const double given = 12 * e[0];
        within_scale(given, source.line_resistance * e[1] + source.bulk_resistance * e[2] + e[3], 1e-9, given);
        within_scale(e[4], source.bulk_resistance * e[2] + e[3], 1e-9, given);
        within_scale(e[5], plan.resistance * e[6] + plan.constant * e[7], 1e-9, given);
        dw_plant_free(plant);
    }
}
END_TEST

/* A stiff line carries the mean, and the bulk the rest: I sqrt(D (1 - D)) for a load of square pulses (common practice, no source; by hand).
 * A winding of very long time constant makes the pulses square, a line of very long time constant is stiff. */
START_TEST(ripple_current_of_the_bulk_is_that_of_square_pulses)
{
    struct dw_motor_plan stiff = pump;
    stiff.inductance = 9;
    stiff.inertia = 9;
    const struct dw_supply source = { .line_resistance = 0.35, .line_inductance = 0.2, .bulk = 0.1, .bulk_resistance = 0.08 };
    for (double duty = 0.15; duty < 1; duty += 0.2) {
        struct dw_plant *plant = made(&stiff, &source);
        const size_t c = dw_plant_output(plant, "bulk-current"), motor = dw_plant_output(plant, "current");
        const struct dw_integrand integrand[] = { { c, c }, { motor, DW_ALONE } };
        double e[2];
        over_period(plant, duty, 1 / 22500.0, integrand, 2, e);
        near(sqrt(e[0] * 22500), e[1] * 22500 * sqrt(duty * (1 - duty)), 1e-5);
        dw_plant_free(plant);
    }
}
END_TEST

/* Braking behind a diode: what the rotor gives back goes into the bulk, and lifts it by the energy: C (V^2 - V0^2) / 2. */
START_TEST(braking_lifts_the_bulk)
{
    struct dw_motor_plan plan = pump;
    struct dw_error error = { .status = DW_OK };
    struct dw_supply source = line;
    plan.drive = DW_DRIVE_ANTIPHASE;
    plan.torque = 0;
    source.no_return = true;
    struct dw_plant *plant = made(&plan, &source);
    const size_t v = dw_plant_output(plant, "supply"), drawn = dw_plant_output(plant, "supply-current"), c = dw_plant_output(plant, "bulk-current");
    const size_t i = dw_plant_output(plant, "line-current");
    const struct dw_integrand integrand[] = { { v, drawn }, { c, c }, { i, DW_ALONE }, { i, i } };
    double state[DW_STATES], out[DW_OUTPUTS], input[DW_MOTOR_INPUTS] = { 3.3 };
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ .integrand = integrand, .integrand_count = 4 }, &error);
    const size_t mode = dw_plant_rest(plant, state);
    succeeds(dw_run_start(run, 0, mode, state, input, &error), error);
    succeeds(dw_run_feed(run, 1, input, &error), error);
    const double before = dw_run_state(run)[DW_MOTOR_STATES + 1], flows = dw_run_state(run)[DW_MOTOR_STATES];
    double at[4];
    memcpy(at, dw_run_integrals(run), sizeof at);
    for (int edge = 0; edge < 200; edge++) {  /* pulses of half the speed */
        const double now = 1 + (edge / 2 + (edge % 2 ? 0.75 : 0)) / 22500;
        succeeds(dw_run_feed(run, now, input, &error), error);
        input[0] = edge % 2 ? 0 : 3.3;
        succeeds(dw_run_feed(run, now, input, &error), error);
    }
    dw_run_output(run, out, NULL);
    const double after = dw_run_state(run)[DW_MOTOR_STATES + 1], *e = dw_run_integrals(run);
    const double brought = 12 * (e[2] - at[2]) - 0.35 * (e[3] - at[3]) + 6e-6 * flows * flows / 2;  /* the little that still comes in */
    ck_assert_double_gt(after, before + 0.5);
    ck_assert_double_eq(out[dw_plant_output(plant, "line-current")], 0);
    near(470e-6 * (after * after - before * before) / 2, brought - (e[0] - at[0]) - 0.08 * (e[1] - at[1]), 1e-9);
    dw_run_free(run);
    dw_plant_free(plant);
}
END_TEST

/* A bulk of nothing but resistance in the line is Ohm's law: at standstill V / (R + r) less what the switch takes. */
START_TEST(a_line_alone_divides_the_voltage)
{
    struct dw_motor_plan stalled = pump;
    struct dw_error error = { .status = DW_OK };
    stalled.drag = 1;
    struct dw_plant *plant = made(&stalled, &(struct dw_supply){ .line_resistance = 0.35, .inner_resistance = 0.11, .slow_resistance = 0.2,
                                                                 .slow_capacitance = 0.01 });
    double state[DW_STATES], out[DW_OUTPUTS], input[DW_MOTOR_INPUTS] = { 3.3 };
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ 0 }, &error);
    const size_t mode = dw_plant_rest(plant, state);
    succeeds(dw_run_start(run, 0, mode, state, input, &error), error);
    dw_run_output(run, out, NULL);
    near(out[dw_plant_output(plant, "supply")], 12, 1e-15);
    succeeds(dw_run_feed(run, 1, input, &error), error);
    dw_run_output(run, out, NULL);
    const double amperes = 12 / (1.85 + 0.04 + 0.35 + 0.11 + 0.2);
    near(out[dw_plant_output(plant, "current")], amperes, 1e-12);
    near(out[dw_plant_output(plant, "supply")], 12 - amperes * (0.35 + 0.11 + 0.2), 1e-12);
    near(out[dw_plant_output(plant, "line-current")], amperes, 1e-12);
    dw_run_free(run);
    dw_plant_free(plant);
}
END_TEST

static enum dw_status to_meter(void *meter, const struct dw_run_row *row, struct dw_error *error)
{
    return dw_coil_meter_row(meter, row, error);
}

/* A valve on the same line: what the supply gives at the coil over a steady operation is copper, clamp and switch, for each clamp without a
 * stray capacitance to follow the supply. And the armature takes longer than on a supply that stands. */
START_TEST(a_coil_on_a_line_keeps_its_energy_and_is_slower)
{
    static const struct {
        enum dw_coil_clamp clamp;
        bool at_switch;
        double value, stray;
    } clamps[] = { { DW_CLAMP_DIODE, false, 0, 0 }, { DW_CLAMP_ZENER, false, 24, 0 }, { DW_CLAMP_ZENER, true, 36, 0 },
                   { DW_CLAMP_RESISTOR, false, 120, 0 }, { DW_CLAMP_RESISTOR, false, 120, 10e-9 }, { DW_CLAMP_NONE, false, 0, 100e-9 } };
    for (size_t k = 0; k < sizeof clamps / sizeof clamps[0]; k++) {
        struct dw_coil_plan plan = { .resistance = 15, .inductance = 0.11, .supply = 12, .clamp = clamps[k].clamp,
                                     .clamp_at_switch = clamps[k].at_switch, .clamp_value = clamps[k].value, .stray = clamps[k].stray,
                                     .diode_drop = 0.7, .switch_resistance = 0.1, .threshold = 1.65, .pull_in = 0.48, .drop_out = 0.16 };
        struct dw_error error = { .status = DW_OK };
        double time[2], operate[2], release;
        for (int gives = 0; gives < 2; gives++) {
            plan.source = gives ? (struct dw_supply){ .line_resistance = 5, .line_inductance = 20e-6, .bulk = 470e-6, .bulk_resistance = 0.1,
                                                      .no_return = k % 2 }
                                : (struct dw_supply){ 0 };
            struct dw_coil *coil = dw_coil_new(&plan, &error);
            ck_assert_msg(coil != NULL, "%s", error.text);
            struct dw_coil_meter *meter = dw_coil_meter_new(coil, &error);
            succeeds(dw_coil_times(coil, NAN, &operate[gives], &release, &error), error);
            double state[DW_STATES], pin = 3.3;
            const size_t mode = dw_plant_rest(dw_coil_plant(coil), state);
            struct dw_run *run = dw_run_new(dw_plant_modes(dw_coil_plant(coil)),
                                            &(struct dw_run_options){ .accuracy = 1e-3, .sink = to_meter,
                                                                      .context = meter, .integrand = dw_coil_integrals(coil),
                                                                      .integrand_count = DW_COIL_INTEGRALS }, &error);
            succeeds(dw_run_start(run, 0, mode, state, &pin, &error), error);
            for (int edge = 0; edge < 4; edge++) {
                const double to = (edge / 2 + (edge % 2 ? 1 : 0.45)) / 12;
                succeeds(dw_run_feed(run, to, &pin, &error), error);
                pin = edge % 2 ? 3.3 : 0;
                succeeds(dw_run_feed(run, to, &pin, &error), error);
            }
            struct dw_coil_findings f;
            succeeds(dw_coil_meter_end(meter, &f, &error), error);
            const struct dw_coil_energy *e = &f.energy;
            within_scale(e->supply, e->copper + e->clamp + e->sw + e->stray + e->armature + e->stored, 1e-9, e->supply);
            time[gives] = f.operate;
            dw_run_free(run);
            dw_coil_meter_free(meter);
            dw_coil_free(coil);
        }
        ck_assert(time[1] > 1.02 * time[0] && operate[1] > 1.02 * operate[0]);
    }
}
END_TEST

/* Behind one switch with ideal diodes a filter's load and its resistances take over a steady period what the source gives less the losses of
 * line and bulk: with a coil whose current flows on or stops, and with a resistor, whose current follows the supply at once. */
START_TEST(a_filter_on_a_line_keeps_its_energy)
{
    static const struct dw_stage stages[] = { { .l = 330e-6, .r = 0.2, .c = 100e-6 }, { .l = 22e-6, .r = 0.2, .c = 100e-6 },
                                              { .r = 12, .c = 4.7e-6 } };
    for (int k = 0; k < 6; k++) {
        struct dw_error error = { .status = DW_OK };
        const struct dw_ladder_plan parts = { .stages = &stages[k / 2], .count = 1, .load = 47 };
        struct dw_ladder_setup setup = { .supply = 12, .drive = DW_ONE_SWITCH, .threshold = 1.65, .all = true, .source = line };
        setup.source.line_inductance = k % 2 ? line.line_inductance : 0;
        setup.source.no_return = k % 2;
        struct dw_ladder *ladder = dw_ladder_new(&parts, &error);
        struct dw_plant *plant = ladder ? dw_ladder_plant_new(ladder, &setup, &error) : NULL;
        ck_assert_msg(plant != NULL, "%s", error.text);
        const size_t i = dw_plant_output(plant, "line-current"), c = dw_plant_output(plant, "bulk-current"), current = dw_plant_output(plant, "current1");
        const size_t out = dw_plant_output(plant, "out");
        ck_assert_uint_eq(out, dw_plant_outputs(plant) - 1);
        const struct dw_integrand integrand[] = { { i, DW_ALONE }, { i, i }, { c, c }, { current, current }, { out, out } };
        double e[5], time[5] = { 0, 18e-6, 18e-6, 44e-6, 44e-6 }, pin[5] = { 3.3, 3.3, 0, 0, 3.3 }, state[DW_STATES];
        size_t mode = dw_plant_rest(plant, state);
        succeeds(dw_modes_steady(dw_plant_modes(plant), &(struct dw_period){ time, pin, 5, NULL }, &mode, state, NULL, &error), error);
        struct dw_run *run = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ .integrand = integrand, .integrand_count = 5 }, &error);
        succeeds(dw_run_start(run, 0, mode, state, pin, &error), error);
        for (int n = 1; n < 5; n++)
            succeeds(dw_run_feed(run, time[n], pin + n, &error), error);
        memcpy(e, dw_run_integrals(run), sizeof e);
        within_scale(12 * e[0] - 0.35 * e[1] - 0.08 * e[2], stages[k / 2].r * e[3] + e[4] / 47, 1e-9, 12 * e[0]);
        ck_assert_double_gt(e[2], 0);
        dw_run_free(run);
        dw_plant_free(plant);
        dw_ladder_free(ladder);
    }
}
END_TEST

START_TEST(refusals_say_what_to_add)
{
    static const struct {
        struct dw_supply supply;
        const char *text;
    } all[] = {
        { { .line_resistance = -1 }, "line resistance -1 ohm: must not be negative" },
        { { .line_inductance = 6e-6 },
          "line inductance 6e-06 H without a bulk capacitor: a switch that opens would cut its current; add one at the load, such as 470 uF" },
        { { .no_return = true },
          "without a bulk capacitor a current that comes back has nowhere to go: add one, such as 470 uF" },
        { { .bulk = 470e-6 },
          "a bulk capacitor of 0.00047 F on an ideal line does nothing: give the line a resistance or an inductance" },
        { { .line_resistance = 1, .slow_capacitance = 10 }, "of a battery's slow pair resistance and capacitance are needed" },
        { { .line_resistance = 1, .slow_resistance = 0.1 }, "of a battery's slow pair resistance and capacitance are needed" },
    };
    struct dw_error error = { .status = DW_OK };
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        struct dw_motor_plan plan = pump;
        plan.source = all[i].supply;
        ck_assert(dw_motor_new(&plan, &error) == NULL);
        ck_assert_str_eq(error.text, all[i].text);
    }
    struct dw_motor_plan direct = pump;
    direct.drive = DW_DRIVE_DIRECT;
    direct.source = line;
    refuses(dw_motor_check(&direct, &error), DW_BAD_USE, error,
            "a supply that gives way is of switched drives: direct is a voltage as it stands");
    const struct dw_stage stage = { .r = 10, .c = 1e-6 };
    struct dw_ladder *ladder = dw_ladder_new(&(struct dw_ladder_plan){ .stages = &stage, .count = 1 }, &error);
    ck_assert(!dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = 12, .source = line }, &error));
    ck_assert_str_eq(error.text, "a supply that gives way goes with one switch: a push-pull pin gives its voltage as it stands");
    dw_ladder_free(ladder);
    ck_assert(dw_supply_ideal(&(struct dw_supply){ 0 }) && !dw_supply_ideal(&line));
    const struct dw_supply one_by_one[] = { { .line_resistance = 1 }, { .line_inductance = 1 }, { .bulk = 1 }, { .inner_resistance = 1 },
                                            { .slow_resistance = 1 }, { .no_return = true } };
    for (size_t i = 0; i < sizeof one_by_one / sizeof one_by_one[0]; i++)
        ck_assert(!dw_supply_ideal(&one_by_one[i]));
}
END_TEST

SUITE("load: supply", energy_is_kept_over_a_steady_period, ripple_current_of_the_bulk_is_that_of_square_pulses, braking_lifts_the_bulk,
      a_line_alone_divides_the_voltage,
      a_coil_on_a_line_keeps_its_energy_and_is_slower, a_filter_on_a_line_keeps_its_energy, refusals_say_what_to_add)
