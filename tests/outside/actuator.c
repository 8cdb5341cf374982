/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The actuator against a handbook and against motions whose closed form is known. */
#include "suite.h"
#include <dutywright/actuator.h>

static const double PI = 3.14159265358979323846;

/* A small one whose current settles long before its speed: L / R is 1e-6 of J R / K^2. */
static struct dw_actuator_plan quick(void)
{
    return (struct dw_actuator_plan){
        .motor = { .resistance = 1.85, .inductance = 4e-8, .constant = 27e-3, .inertia = 9e-6, .drag = 4e-3, .gear = 5, .drive = DW_DRIVE_DIRECT,
                   .supply = 12, .diode_drop = 0.7 },
        .lead = 3e-3, .efficiency = 0.35, .travel = 0.05, .overtravel = INFINITY, .differential = 1e-3, .force = 180
    };
}

/* Carries it from one voltage to the next; findings of the last run. */
struct step {
    double volts, until;
};

static enum dw_status look(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    (void)error;
    dw_actuator_meter_row(context, row);
    return DW_OK;
}

static struct dw_actuator_findings driven(const struct dw_actuator_plan *plan, const struct step *steps, size_t count)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_actuator *actuator = dw_actuator_new(plan, &error);
    ck_assert_msg(actuator != NULL, "%s", error.text);
    struct dw_plant *plant = dw_actuator_plant(actuator);
    struct dw_actuator_meter meter = { .actuator = actuator };
    const struct dw_run_options options = { .accuracy = 1e-8, .curves = true, .swing = 1e-6, .sink = look, .context = &meter };
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), &options, &error);
    double state[DW_STATES], time = 0;
    const size_t mode = dw_plant_rest(plant, state);
    succeeds(dw_run_start(run, 0, mode, state, (const double[DW_ACTUATOR_INPUTS]){ steps[0].volts }, &error), error);
    for (size_t i = 0; i < count; i++) {
        const double input[DW_ACTUATOR_INPUTS] = { steps[i].volts };
        succeeds(dw_run_feed(run, time, input, &error), error);
        succeeds(dw_run_feed(run, time = steps[i].until, input, &error), error);
    }
    dw_run_free(run);
    dw_actuator_free(actuator);
    return meter.found;
}

START_TEST(a_power_screw_takes_the_torques_of_the_handbook)
{
    /* Budynas and Nisbett, Shigley's Mechanical Engineering Design, power screws: square double thread of 32 mm, pitch 4 mm; friction 0.08 in
     * thread and collar, collar 40 mm, 6.4 kN. Printed to four digits or so */
    struct dw_actuator_plan p = { .lead = 8e-3, .screw_diameter = 30e-3, .screw_friction = 0.08, .collar_friction = 0.08, .collar_diameter = 40e-3 };
    struct dw_screw s = dw_actuator_screw(&p);
    near(6400 * s.raise, 26.177, 2e-5);
    near(-6400 * s.lower, 9.774, 5e-5);
    near(s.ideal / s.raise, 0.31129, 2e-5);
    p.collar_friction = 0;  /* the thread alone would run back */
    s = dw_actuator_screw(&p);
    near(6400 * s.lower, 0.466, 1e-3);
    /* the same book for flanks at an angle: friction over the cosine of half of it; by the angle of friction it is tan(lead angle + phi) */
    p.thread_angle = 29;
    s = dw_actuator_screw(&p);
    const double phi = atan(0.08 / cos(29 * PI / 360)), rise = atan(8 / (PI * 30));
    near(s.raise, 15e-3 * tan(rise + phi), 1e-14);
    near(s.lower, 15e-3 * tan(rise - phi), 1e-13);
}
END_TEST

START_TEST(an_efficiency_below_a_half_holds_and_back_it_is_2_less_its_inverse)
{
    /* common practice for screws whose friction is the same both ways, such as those of balls; no source */
    for (double e = 0.05; e <= 1; e += 0.05) {
        const struct dw_actuator_plan p = { .motor = { .gear = 1 }, .lead = 4e-3, .efficiency = e };
        const struct dw_screw s = dw_actuator_screw(&p);
        near(s.ideal / s.raise, e, 1e-15);
        within_scale(s.lower / s.ideal, 2 - 1 / e, 1e-14, 1 / e);
        ck_assert_int_eq(isinf(dw_actuator_back_drive(&p)) != 0, e < 0.5 + 1e-12);
    }
}
END_TEST

/* rad/s that it tends to at a voltage, moving with the load on the motor; J w' = K (U - K w) / R - D - F arm / G. */
static double tends_to(const struct dw_actuator_plan *p, double volts)
{
    const double k = p->motor.constant, load = p->motor.drag + p->force * dw_actuator_screw(p).raise / p->motor.gear;
    return (volts - p->motor.resistance * load / k) / k;
}

START_TEST(the_time_of_a_stroke_is_that_of_an_exponential_start)
{
    /* x = v (t - T (1 - exp(-t/T))) with the mechanical time constant T; the winding's own, 1e-6 of it, delays by as much */
    const struct dw_actuator_plan p = quick();
    const struct dw_actuator_findings f = driven(&p, (const struct step[]){ { 12, 3 } }, 1);
    const double v = tends_to(&p, 12) * p.lead / (2 * PI * p.motor.gear), constant = p.motor.inertia * p.motor.resistance / (27e-3 * 27e-3);
    double t = p.travel / v;
    for (int i = 0; i < 50; i++)
        t = p.travel / v + constant * (1 - exp(-t / constant));
    within_scale(f.ended - f.begun, t, 3e-6, constant);
    near(f.to - f.from, p.travel, 1e-12);
    near(f.running, (12 - 27e-3 * tends_to(&p, 12)) / 1.85, 1e-5);
    near(f.press_current, 12 / 1.85, 1e-5);
    near(f.impact, 9e-6 * tends_to(&p, 12) * tends_to(&p, 12) / 2, 1e-5);  /* all of it is lost there */
}
END_TEST

START_TEST(behind_a_limit_switch_it_coasts_by_friction_or_brakes_by_the_diode)
{
    struct dw_actuator_plan p = quick();
    p.switches = true;
    p.force = 60;
    const double speed = tends_to(&p, 12), k = 27e-3, lead = p.lead / (2 * PI * p.motor.gear), drag = 4e-3 + p.force * dw_actuator_screw(&p).raise / 5;
    const double inertia = p.motor.inertia, ohms = p.motor.resistance;
    struct dw_actuator_findings f = driven(&p, (const struct step[]){ { 12, 4 } }, 1);
    /* the drive left on: J w' = -drag */
    near(f.overrun, lead * inertia * speed * speed / (2 * drag), 1e-5);
    near(f.cut, (12 - k * speed) / ohms, 1e-5);
    /* at 0 V when it gets there: J w' = -K (K w - d) / R - drag while K w > d, and -drag then */
    const double constant = inertia * ohms / (k * k), low = 0.7 / k, still = low - drag * ohms / (k * k);  /* rad/s where that would end */
    const double brakes = constant * log((speed - still) / (low - still)), way = still * brakes + constant * (speed - low);
    f = driven(&p, (const struct step[]){ { 12, f.ended }, { 0, 4 } }, 2);
    near(f.overrun, lead * (way + inertia * low * low / (2 * drag)), 1e-5);
    ck_assert(f.speed == 0);
}
END_TEST

START_TEST(a_screw_that_locks_itself_holds_without_power_to_the_last_bit)
{
    for (int k = 0; k < 40; k++) {
        struct dw_actuator_plan p = quick();
        p.efficiency = 0.1 + 0.01 * k;
        p.force = (k % 2 ? -1 : 1) * 1e3 * (1 + k);
        p.mass = 0;
        p.initial = 0.0123;
        p.motor.drag = 0;
        const struct dw_actuator_findings f = driven(&p, (const struct step[]){ { 0, 100 } }, 1);
        ck_assert(f.position == 0.0123 && f.speed == 0 && f.fastest == 0);
    }
}
END_TEST

START_TEST(a_load_that_turns_the_screw_comes_to_where_the_shorted_motor_holds_it)
{
    struct dw_actuator_plan p = quick();
    p.efficiency = 0.8;
    p.travel = 1e3;
    p.initial = 900;
    const struct dw_actuator_findings f = driven(&p, (const struct step[]){ { 0, 3 } }, 1);
    /* K^2 w / R + drag = F lower / G */
    const double w = (p.force * dw_actuator_screw(&p).lower / 5 - 4e-3) * 1.85 / (27e-3 * 27e-3);
    near(-f.speed, w * p.lead / (2 * PI * 5), 1e-9);
    near(dw_actuator_back_drive(&p), 4e-3 * 5 / dw_actuator_screw(&p).lower, 1e-14);
}
END_TEST

SUITE("outside: actuator", a_power_screw_takes_the_torques_of_the_handbook,
      an_efficiency_below_a_half_holds_and_back_it_is_2_less_its_inverse,
      the_time_of_a_stroke_is_that_of_an_exponential_start,
      behind_a_limit_switch_it_coasts_by_friction_or_brakes_by_the_diode,
      a_screw_that_locks_itself_holds_without_power_to_the_last_bit,
      a_load_that_turns_the_screw_comes_to_where_the_shorted_motor_holds_it)
