/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/lamp.h>
#include <dutywright/linear.h>
#include <float.h>
#include <string.h>

/* Three LEDs and a filament, invented, crooked on purpose. */
static const struct dw_lamp_plan string = { .kind = DW_LAMP_LED, .supply = 11.7, .threshold = 1.65, .resistor = 97, .forward = 9.13,
                                            .dynamic_resistance = 8.3 };
static const struct dw_lamp_plan filament = { .kind = DW_LAMP_FILAMENT, .supply = 11.7, .threshold = 1.65, .rated_volts = 12,
                                              .rated_watts = 5.3, .time_constant = 0.057 };

static struct dw_lamp *made(const struct dw_lamp_plan *plan)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_lamp *lamp = dw_lamp_new(plan, &error);
    ck_assert_msg(lamp != NULL, "%s", error.text);
    return lamp;
}

static struct dw_run *begin(const struct dw_lamp *lamp, double pin, dw_run_sink *sink, void *context)
{
    struct dw_error error = { .status = DW_OK };
    double rest[DW_STATES];
    struct dw_plant *plant = dw_lamp_plant(lamp);
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ .accuracy = sink ? 1e-6 : 0, .sink = sink, .context = context },
                                    &error);
    const size_t mode = dw_plant_rest(plant, rest);
    ck_assert_msg(run != NULL, "%s", error.text);
    succeeds(dw_run_start(run, 0, mode, rest, &pin, &error), error);
    return run;
}

static void feed(struct dw_run *run, double time, double pin)
{
    struct dw_error error = { .status = DW_OK };
    succeeds(dw_run_feed(run, time, &pin, &error), error);
}

/* Last two outputs, current and light, at a voltage. */
static double current_at(const struct dw_lamp_plan *plan, double volts, double *light)
{
    struct dw_lamp *lamp = made(plan);
    struct dw_run *run = begin(lamp, volts, NULL, NULL);
    double out[DW_OUTPUTS];
    dw_run_output(run, out, NULL);
    *light = out[1];
    dw_run_free(run);
    dw_lamp_free(lamp);
    return out[0];
}

/* By Ohm's law above the forward voltage; a driver cuts at its current, a step-down one needs its lamp's voltage for any. */
START_TEST(an_led_on_a_voltage_is_dark_then_resists_then_is_regulated)
{
    struct dw_lamp_plan plan = string;
    double light;
    plan.direct = true;
    for (double volts = -3; volts < 14; volts += 0.37) {
        const double wanted = fmax(volts - 9.13, 0) / (97 + 8.3);
        plan.driver = DW_DRIVER_NONE;
        plan.resistor = 97;
        within_scale(current_at(&plan, volts, &light), wanted, 16 * DBL_EPSILON, 0.1);
        within_scale(light, wanted / ((11.7 - 9.13) / (97 + 8.3)), 16 * DBL_EPSILON, 4);
        plan.driver = DW_DRIVER_LINEAR;
        plan.current = 0.013;
        within_scale(current_at(&plan, volts, &light), fmin(wanted, 0.013), 16 * DBL_EPSILON, 0.1);
        within_scale(light, fmin(wanted, 0.013) / 0.013, 16 * DBL_EPSILON, 4);
        plan.driver = DW_DRIVER_SWITCHING;
        plan.resistor = 0;
        ck_assert_double_eq(current_at(&plan, volts, &light), volts > 9.13 + 0.013 * 8.3 ? 0.013 : 0);
    }
}
END_TEST

/* Through all regions along a ramp of the voltage, up and down again: the charge is that of two triangles. */
START_TEST(regions_follow_each_other_along_a_ramp)
{
    struct dw_lamp_plan plan = string;
    struct dw_error error = { .status = DW_OK };
    plan.direct = true;
    plan.driver = DW_DRIVER_LINEAR;
    plan.current = 0.013;
    struct dw_lamp *lamp = made(&plan);
    static const struct dw_integrand charge = { 0, DW_ALONE };
    double rest[1];
    struct dw_run *run = dw_run_new(dw_plant_modes(dw_lamp_plant(lamp)), &(struct dw_run_options){ .integrand = &charge, .integrand_count = 1 }, &error);
    ck_assert_msg(run != NULL, "%s", error.text);
    succeeds(dw_run_start(run, 0, dw_plant_rest(dw_lamp_plant(lamp), rest), rest, (const double[]){ 0 }, &error), error);
    feed(run, 1, 13);
    feed(run, 2, 0);
    const double full = 9.13 + 0.013 * 105.3, rise = (full - 9.13) / 13, top = (13 - full) / 13;
    near(dw_run_integrals(run)[0], 0.013 * (rise + 2 * top), 1e-12);
    ck_assert_uint_eq(dw_run_events(run), 4);
    dw_run_free(run);
    dw_lamp_free(lamp);
}
END_TEST

START_TEST(a_forward_voltage_above_the_supply_stays_dark)
{
    struct dw_lamp_plan plan = string;
    plan.forward = 12.4;
    for (int kind = DW_DRIVER_NONE; kind <= DW_DRIVER_SWITCHING + 1; kind++) {
        const enum dw_lamp_driver driver = kind > DW_DRIVER_SWITCHING ? DW_DRIVER_SWITCHING : kind;
        plan.source.line_resistance = kind > DW_DRIVER_SWITCHING ? 1 : 0;
        plan.driver = driver;
        plan.current = 0.02;
        plan.resistor = driver == DW_DRIVER_SWITCHING ? 0 : 97;
        struct dw_lamp *lamp = made(&plan);
        struct dw_run *run = begin(lamp, 3.3, NULL, NULL);
        double out[DW_OUTPUTS];
        feed(run, 1, 3.3);
        dw_run_output(run, out, NULL);
        const size_t last = dw_plant_outputs(dw_lamp_plant(lamp)) - 1;
        ck_assert_double_eq(out[last - 1], 0);
        ck_assert_double_eq(out[last], 0);
        ck_assert_double_eq(dw_lamp_full_current(&plan), 0);
        dw_run_free(run);
        dw_lamp_free(lamp);
    }
}
END_TEST

/* Area under a row's lines. */
struct area {
    double time, light, sum;
};

static enum dw_status add(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    (void)error;
    struct area *area = context;
    area->sum += (row->time - area->time) * (area->light + row->output[1]) / 2;
    area->time = row->time;
    area->light = row->output[1];
    return DW_OK;
}

/* The mean over one of many periods, by the rows of the run. */
static double mean_light(const struct dw_lamp_plan *plan, double duty, double period)
{
    struct dw_lamp *lamp = made(plan);
    struct area area = { .time = 0 };
    struct dw_run *run = begin(lamp, 3.3, add, &area);
    double before = 0;
    for (int k = 0; k < 6; k++) {
        before = area.sum;
        feed(run, (k + duty) * period, 3.3);
        feed(run, (k + duty) * period, 0);
        feed(run, (k + 1) * period, 0);
        feed(run, (k + 1) * period, 3.3);
    }
    dw_run_free(run);
    dw_lamp_free(lamp);
    return (area.sum - before) / period;
}

/* What the duty for a light is for: pulses of it give that light, however short they or their pauses are against rise and fall. Six
 * periods are summed: their instants are rounded to 1e-15 of the last. */
START_TEST(the_duty_for_a_light_gives_that_light)
{
    static const double edges[][2] = { { 0, 0 }, { 3e-6, 1e-6 }, { 1e-6, 7e-6 }, { 90e-6, 110e-6 }, { 40e-6, 0 }, { 0, 40e-6 } };
    const double period = 200e-6;
    for (size_t i = 0; i < sizeof edges / sizeof edges[0]; i++)
        for (double light = 0.0137; light < 1; light += 0.0731) {
            struct dw_lamp_plan plan = string;
            plan.rise = edges[i][0];
            plan.fall = edges[i][1];
            const double duty = dw_lamp_duty(&plan, light, period), least = plan.rise == 0 ? plan.fall / 2 / period : 0,
                         most = plan.fall == 0 ? 1 - plan.rise / 2 / period : 1;
            if (light > least && light < most)
                near(mean_light(&plan, duty, period), light, 1e-12);
            else
                ck_assert(duty == (light <= least ? 0 : 1));
        }
    struct dw_lamp_plan slow = string;
    slow.rise = slow.fall = 101e-6;
    ck_assert(isnan(dw_lamp_duty(&slow, 0.5, period)) && isnan(dw_lamp_duty(&string, 1.1, period)) && isnan(dw_lamp_duty(&string, -0.1, period)) &&
              isnan(dw_lamp_duty(&string, 0.5, -1)) && isnan(dw_lamp_duty(&string, 0.5, 0)));
}
END_TEST

/* Pulses a thousandth of the time constant apart leave the temperature as good as steady: second order in that. */
START_TEST(the_duty_for_a_filaments_light_gives_that_light)
{
    for (double light = 0.02; light < 1; light += 0.19) {
        struct dw_lamp *lamp = made(&filament);
        struct dw_error error = { .status = DW_OK };
        const double period = filament.time_constant / 1000, duty = dw_lamp_duty(&filament, light, period);
        double time[5] = { 0, duty * period, duty * period, period, period }, pin[5] = { 3.3, 3.3, 0, 0, 3.3 }, state[1], out[DW_OUTPUTS];
        size_t mode = dw_plant_rest(dw_lamp_plant(lamp), state);
        succeeds(dw_modes_steady(dw_plant_modes(dw_lamp_plant(lamp)), &(struct dw_period){ time, pin, 5, NULL }, &mode, state, NULL, &error), error);
        struct dw_run *run = begin(lamp, 3.3, NULL, NULL);
        succeeds(dw_run_start(run, 0, mode, state, pin, &error), error);
        feed(run, duty * period / 2, 3.3);  /* half-way up it passes the mean */
        dw_run_output(run, out, NULL);
        near(out[1], light, 1e-5);
        dw_run_free(run);
        dw_lamp_free(lamp);
    }
    ck_assert_double_eq(dw_lamp_duty(&filament, 0, 1e-3), 0);
    near(dw_lamp_duty(&filament, 1, 1e-3), 1, 1e-13);
}
END_TEST

/* All outputs at an instant, the switch on since the start. */
static struct dw_plant *lit(const struct dw_lamp_plan *plan, double time, double *out)
{
    struct dw_lamp *lamp = made(plan);
    struct dw_run *run = begin(lamp, 3.3, NULL, NULL);
    feed(run, time, 3.3);
    dw_run_output(run, out, NULL);
    dw_run_free(run);
    return dw_lamp_plant(lamp);
}

/* On a line of 31 ohm: with a resistor by Ohm's law; a linear driver runs out of room; a switching one draws its power at the upper of the
 * two voltages where it can, and none where the line cannot bring it. */
START_TEST(a_line_takes_its_part_of_the_voltage)
{
    struct dw_lamp_plan plan = string;
    double out[DW_OUTPUTS];
    plan.all = true;
    plan.source.line_resistance = 31;
    for (int bulk = 0; bulk < 2; bulk++) {
        plan.source.bulk = bulk * 10e-6;
        plan.source.bulk_resistance = bulk * 0.5;
        plan.driver = DW_DRIVER_NONE;
        plan.resistor = 97;
        struct dw_plant *plant = lit(&plan, 1, out);
        const double amperes = (11.7 - 9.13) / (97 + 8.3 + 31);
        near(out[dw_plant_output(plant, "current")], amperes, 1e-12);
        near(out[dw_plant_output(plant, "supply")], 11.7 - 31 * amperes, 1e-12);
        near(out[dw_plant_output(plant, "line-current")], amperes, 1e-12);
        near(out[dw_plant_output(plant, "light")], amperes / ((11.7 - 9.13) / (97 + 8.3)), 1e-12);
        dw_plant_free(plant);
        plan.driver = DW_DRIVER_LINEAR;
        for (plan.current = 0.008; plan.current < 0.03; plan.current += 0.007) {
            plant = lit(&plan, 1, out);
            near(out[dw_plant_output(plant, "current")], fmin(plan.current, amperes), 1e-12);
            dw_plant_free(plant);
        }
        plan.driver = DW_DRIVER_SWITCHING;
        plan.resistor = 0;
        plan.current = 0.03;
        plant = lit(&plan, 1, out);
        const double power = 0.03 * (9.13 + 0.03 * 8.3), volts = (11.7 + sqrt(11.7 * 11.7 - 4 * 31 * power)) / 2;
        near(out[dw_plant_output(plant, "supply")], volts, 1e-9);
        near(out[dw_plant_output(plant, "supply-current")], power / volts, 1e-9);
        ck_assert_double_eq(out[dw_plant_output(plant, "light")], 1);
        dw_plant_free(plant);
    }
    static const double ohms[] = { 131, 400 };  /* would take 4 * 131 * 0.28 W > 11.7^2; the most of 400 comes below the lamp's voltage */
    for (int i = 0; i < 2; i++) {
        plan.source = (struct dw_supply){ .line_resistance = ohms[i] };
        struct dw_plant *plant = lit(&plan, 1, out);
        ck_assert_double_eq(out[dw_plant_output(plant, "light")], 0);
        near(out[dw_plant_output(plant, "supply")], 11.7, 1e-15);
        dw_plant_free(plant);
    }
}
END_TEST

struct line {
    size_t current, volts, light;
    double lowest, highest;
    int cuts, blocked;
    bool lights;
};

static enum dw_status watch(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct line *l = context;
    const bool lights = row->output[l->light] > 0.5;
    (void)error;
    l->lowest = fmin(l->lowest, row->output[l->current]);
    l->highest = fmax(l->highest, row->output[l->volts]);
    l->blocked += row->output[l->volts] > 11.71 && fabs(row->output[l->current]) < 1e-9;
    l->cuts += l->lights && !lights;
    l->lights = lights;
    return DW_OK;
}

/* Pulses of a lamp on a line. */
static struct line pulsed(const struct dw_lamp_plan *plan, double on, double period, int pulses)
{
    struct dw_lamp *lamp = made(plan);
    struct dw_plant *plant = dw_lamp_plant(lamp);
    struct line l = { dw_plant_output(plant, "line-current"), dw_plant_output(plant, "supply"), dw_plant_output(plant, "light"), 0, 0, 0, 0, false };
    struct dw_run *run = begin(lamp, 0, watch, &l);
    for (int k = 0; k < pulses; k++) {
        feed(run, k * period, 3.3);
        feed(run, k * period + on, 3.3);
        feed(run, k * period + on, 0);
        feed(run, (k + 1) * period, 0);
    }
    dw_run_free(run);
    dw_lamp_free(lamp);
    return l;
}

/* What flows in a long line when the switch opens lifts a small bulk above the source, which takes nothing back: until the lamp has taken it. */
START_TEST(a_diode_in_the_line_keeps_what_a_pulse_leaves)
{
    struct dw_lamp_plan plans[] = { string, filament, string };
    plans[2].driver = DW_DRIVER_SWITCHING;
    plans[2].resistor = 0;
    plans[2].current = 0.03;
    for (size_t i = 0; i < 3; i++) {
        plans[i].all = true;
        plans[i].source = (struct dw_supply){ .line_resistance = 0.3, .line_inductance = i == 1 ? 5e-6 : 50e-3, .bulk = 20e-6, .bulk_resistance = 0.05,
                                              .no_return = true };
        const struct line l = pulsed(&plans[i], 4e-3, 10e-3, 4);
        ck_assert_double_ge(l.lowest, -1e-9);
        ck_assert_double_gt(l.highest, 11.75);
        ck_assert_int_gt(l.blocked, 4);
    }
}
END_TEST

/* Its bulk falls to the lamp's voltage, comes back through the line while nothing is drawn, and falls again. */
START_TEST(a_switching_driver_that_starves_tries_again)
{
    struct dw_lamp_plan plan = string;
    plan.all = true;
    plan.driver = DW_DRIVER_SWITCHING;
    plan.resistor = 0;
    plan.current = 0.03;
    plan.source = (struct dw_supply){ .line_resistance = 131, .bulk = 1e-3, .bulk_resistance = 0.05 };
    const struct line l = pulsed(&plan, 3, 3, 1);
    ck_assert_int_gt(l.cuts, 2);
    ck_assert_double_ge(l.lowest, 0);
    ck_assert_double_lt(l.highest, 11.7 * (1 + 1e-9));
}
END_TEST

/* Behind a diode in the line the bulk alone carries on: nothing flows before the lamp does, and then what it draws. */
START_TEST(a_diode_in_the_line_lets_the_lamp_have_its_current)
{
    struct dw_lamp_plan plan = filament;
    double out[DW_OUTPUTS];
    plan.all = true;
    plan.source = (struct dw_supply){ .line_resistance = 0.3, .line_inductance = 5e-6, .bulk = 100e-6, .bulk_resistance = 0.05, .no_return = true };
    for (int kind = 0; kind < 2; kind++) {
        if (kind) {
            const struct dw_supply source = plan.source;
            plan = string;
            plan.all = true;
            plan.source = source;
        }
        struct dw_plant *plant = lit(&plan, 1, out);
        near(out[dw_plant_output(plant, "line-current")], out[dw_plant_output(plant, "current")], 1e-8);  /* a filament's steps are good to 1e-10 */
        near(out[dw_plant_output(plant, "supply")], 11.7 - 0.3 * out[dw_plant_output(plant, "current")], 1e-8);
        dw_plant_free(plant);
    }
}
END_TEST

START_TEST(refusals_name_the_value)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_lamp_plan p = string;
#define REFUSED(change, message) \
    do { \
        change; \
        ck_assert(dw_lamp_new(&p, &error) == NULL); \
        ck_assert_str_eq(error.text, message); \
        p = string; \
    } while (0)
    REFUSED((p.rise = 1e-6, p.source.line_resistance = 1),
            "a supply that gives way goes with a switch, and with LEDs that follow it at once");
    REFUSED((p.fall = 1e-6, p.source.line_resistance = 1),
            "a supply that gives way goes with a switch, and with LEDs that follow it at once");
    REFUSED((p.direct = true, p.source.line_resistance = 1),
            "a supply that gives way goes with a switch, and with LEDs that follow it at once");
    REFUSED(p.source.line_inductance = -1, "line inductance -1 H: must not be negative");
    REFUSED(p.supply = 0, "supply 0 V: must be above zero");
    REFUSED(p.forward = -1, "forward -1 V: must not be negative");
    REFUSED(p.resistor = p.dynamic_resistance = 0, "an LED without resistor and driver takes any current: give it one of them");
    REFUSED(p.driver = DW_DRIVER_LINEAR, "current 0 A: must be above zero");
    REFUSED((p.driver = DW_DRIVER_SWITCHING, p.current = 1), "a switching driver sets the current itself: no resistor in series");
    REFUSED((p.direct = true, p.fall = 1), "a rise and fall of the current are of a switch, not of a voltage");
    REFUSED((p.direct = true, p.rise = 1), "a rise and fall of the current are of a switch, not of a voltage");
    dw_lamp_free(NULL);
    REFUSED((p = filament, p.time_constant = 0), "time constant 0 s: must be above zero");
    REFUSED((p = filament, p.supply = 25), "supply 25 V: a filament for 12 V would melt at more than twice that");
}
END_TEST

SUITE("load: lamp", an_led_on_a_voltage_is_dark_then_resists_then_is_regulated, regions_follow_each_other_along_a_ramp,
      a_forward_voltage_above_the_supply_stays_dark, the_duty_for_a_light_gives_that_light,
      the_duty_for_a_filaments_light_gives_that_light, a_line_takes_its_part_of_the_voltage,
      a_diode_in_the_line_lets_the_lamp_have_its_current, a_diode_in_the_line_keeps_what_a_pulse_leaves,
      a_switching_driver_that_starves_tries_again, refusals_name_the_value)
