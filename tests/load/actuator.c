/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What holds of any actuator: closed forms, laws, refusals. */
#include "draw.h"
#include "suite.h"
#include <dutywright/actuator.h>
#include <stdint.h>
#include <string.h>

/* The lock gate's: 12 V, a gear of 5, a lead of 3 mm. */
static struct dw_actuator_plan gate(void)
{
    return (struct dw_actuator_plan){
        .motor = { .resistance = 1.85, .inductance = 0.9e-3, .constant = 27e-3, .inertia = 9e-6, .friction = 2e-6, .drag = 4e-3, .gear = 5,
                   .drive = DW_DRIVE_DIRECT, .supply = 12, .diode_drop = 0.7 },
        .lead = 3e-3, .efficiency = 0.35, .travel = 0.2, .overtravel = INFINITY, .differential = 2e-3, .force = 250
    };
}

struct ran {
    struct dw_actuator *actuator;
    struct dw_run *run;
    struct dw_actuator_meter meter;
    double energy[DW_ACTUATOR_INTEGRALS], lost;  /* J at impacts and cut by switches */
    double before, state[8];
    const struct dw_actuator_plan *plan;
};

static double stored(const struct dw_actuator_plan *p, const double *x)
{
    const double h = dw_actuator_screw(p).ideal / p->motor.gear, v = p->backlash > 0 ? x[DW_ACTUATOR_LOAD_SPEED] : h * x[DW_ACTUATOR_SPEED];
    return (p->motor.inductance * x[0] * x[0] + p->motor.inertia * x[1] * x[1] + p->mass * v * v) / 2;
}

static enum dw_status look(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct ran *r = context;
    (void)error;
    dw_actuator_meter_row(&r->meter, row);
    if (row->integral)
        dw_actuator_energy(r->plan, row->integral, r->energy);
    if (row->kind == DW_ROW_AFTER)
        r->lost += r->before - stored(r->plan, row->state);
    r->before = stored(r->plan, row->state);
    return DW_OK;
}

/* A run that has begun with this voltage. */
static void begin(struct ran *r, const struct dw_actuator_plan *plan, double volts)
{
    struct dw_error error = { .status = DW_OK };
    double state[DW_STATES];
    memset(r, 0, sizeof *r);
    r->plan = plan;
    r->actuator = dw_actuator_new(plan, &error);
    ck_assert_msg(r->actuator != NULL, "%s", error.text);
    r->meter.actuator = r->actuator;
    struct dw_plant *plant = dw_actuator_plant(r->actuator);
    const struct dw_run_options options = { .accuracy = 1e-8, .curves = true, .swing = 1e-6, .sink = look, .context = r,
                                            .integrand = dw_actuator_integrals(r->actuator), .integrand_count = DW_ACTUATOR_INTEGRALS };
    r->run = dw_run_new(dw_plant_modes(plant), &options, &error);
    ck_assert_msg(r->run != NULL, "%s", error.text);
    const size_t mode = dw_plant_rest(plant, state);
    succeeds(dw_run_start(r->run, 0, mode, state, (const double[DW_ACTUATOR_INPUTS]){ volts }, &error), error);
}

static void go(struct ran *r, double time, double volts, double force)
{
    struct dw_error error = { .status = DW_OK };
    const double input[DW_ACTUATOR_INPUTS] = { volts, 0, 0, force };
    succeeds(dw_run_feed(r->run, dw_run_time(r->run), input, &error), error);
    succeeds(dw_run_feed(r->run, time, input, &error), error);
}

static void end(struct ran *r)
{
    dw_run_free(r->run);
    dw_actuator_free(r->actuator);
}

static double output(const struct ran *r, int from_last)
{
    double out[DW_OUTPUTS];
    dw_run_output(r->run, out, NULL);
    return out[dw_plant_outputs(dw_actuator_plant(r->actuator)) - 1 - (size_t)from_last];
}
enum { POSITION, SPEED, FORCE, CURRENT, FEEDBACK };

START_TEST(in_the_long_run_speed_and_current_are_those_of_torques_in_balance)
{
    for (int way = -1; way <= 1; way += 2) {
        struct dw_actuator_plan p = gate();
        p.initial = 0.1;
        p.mass = 40;
        struct ran r;
        begin(&r, &p, way * 12);
        go(&r, 1.5, way * 12, 0);
        /* K i = B w + way D + F arm / G and U = R i + K w, the arm that of the side that drives */
        const struct dw_screw s = dw_actuator_screw(&p);
        const double arm = way > 0 ? s.raise : s.lower, load = way * p.motor.drag + p.force * arm / p.motor.gear, k = p.motor.constant;
        const double w = (k * way * 12 / p.motor.resistance - load) / (k * k / p.motor.resistance + p.motor.friction);
        near(dw_run_state(r.run)[DW_ACTUATOR_SPEED], w, 1e-12);
        near(output(&r, CURRENT), (way * 12 - k * w) / p.motor.resistance, 1e-12);
        near(output(&r, SPEED), w * s.ideal / p.motor.gear, 1e-12);
        near(output(&r, FORCE), p.force, 1e-12);
        end(&r);
    }
}
END_TEST

START_TEST(energy_from_the_supply_is_all_found_again)
{
    uint64_t seed = 20261130;
    for (int k = 0; k < 45; k++) {
        struct dw_actuator_plan p = gate();
        struct ran r;
        p.motor.drag = drawn_between(&seed, 0, 6e-3);
        p.motor.friction = drawn_between(&seed, 0, 4e-6);
        p.efficiency = drawn_between(&seed, 0.25, 0.95);
        p.force = drawn_between(&seed, -200, 250);
        p.mass = drawn_between(&seed, 1, 30);
        p.backlash = k % 3 == 1 ? drawn_between(&seed, 1e-5, 1e-3) : 0;
        p.switches = k % 3 == 2;
        p.overtravel = 1e-3;
        p.travel = 0.02;
        p.initial = 0.005;
        p.motor.threshold = 1.65;
        if (k % 5 == 4) {
            p.motor.drive = k % 2 ? DW_DRIVE_ONE_SWITCH : DW_DRIVE_BRIDGE_FAST;
            p.motor.source = (struct dw_supply){ .line_resistance = 0.3, .bulk = 1e-3, .bulk_resistance = 0.05, .no_return = k > 20 };
        }
        p.motor.all = k % 2;
        begin(&r, &p, 0);
        const double start = r.before, position = output(&r, POSITION);
        for (int i = 1; i <= 8; i++)
            go(&r, 0.15 * i, drawn_between(&seed, -14, 14), drawn_between(&seed, -60, 60));
        const double *e = r.energy;
        const double taken = e[DW_ACTUATOR_HEATED] + e[DW_ACTUATOR_DAMPED] + e[DW_ACTUATOR_DRAGGED] + e[DW_ACTUATOR_RUBBED] + e[DW_ACTUATOR_LIFTED] +
                             r.lost + r.before - start;
        /* of diodes the drop is lost too: what the terminals do not get */
        const double over_diode = e[DW_ACTUATOR_SUPPLIED] - e[DW_ACTUATOR_ENTERED];
        within_scale(taken + over_diode, e[DW_ACTUATOR_SUPPLIED], 1e-10, e[DW_ACTUATOR_HEATED] + 1);
        if (!p.switches && p.motor.drive == DW_DRIVE_DIRECT)
            within_scale(over_diode, 0, 1e-12, e[DW_ACTUATOR_HEATED] + 1);
        ck_assert(e[DW_ACTUATOR_RUBBED] > 0 && r.lost >= -1e-12 && over_diode >= -1e-12);
        ck_assert_msg(fabs(output(&r, POSITION) - position) > 1e-4 || k % 3, "%d: it moved by %g m", k, output(&r, POSITION) - position);
        end(&r);
    }
}
END_TEST

START_TEST(what_it_cannot_be_is_refused_with_what_would_do)
{
    static const struct {
        double lead, efficiency, friction, diameter, mass, backlash, initial, differential, torque;
        const char *text;
    } bad[] = {
        { .lead = 0, .efficiency = 0.3, .text = "a lead of 0 m: the nut would not move out; pitch times starts is above zero, such as 0.003 m" },
        { .lead = 3e-3, .efficiency = 1.2, .text = "efficiency 1.2: must be above 0 and at most 1" },
        { .lead = 3e-3, .friction = -0.1, .text = "screw friction -0.1: must not be negative" },
        { .lead = 3e-3, .friction = 0.1, .text = "screw diameter 0 m: must be above zero" },
        { .lead = 3e-3, .friction = 0.1, .diameter = 1e300, .text = "screw diameter 1e+300 m: too large to turn" },
        { .lead = 60e-3, .friction = 0.9, .diameter = 12e-3,
          .text = "the screw binds: with a friction of 0.9 in its flanks no torque raises a load along a lead of 0.06 m; a friction below 0.628 would do, "
                  "or a lead below 0.0419 m" },
        { .lead = 3e-3, .efficiency = 0.35, .mass = 4000,
          .text = "the screw would wedge: a mass of 4000 kg that drives this self-locking screw stops it faster than its friction allows; a mass below "
                  "1.15e+03 kg would do, or an inertia of the rotor above 3.13e-05 kg m^2" },
        { .lead = 3e-3, .efficiency = 0.35, .backlash = 1e-3, .text = "a backlash of 0.001 m without a mass: what moves in it must have one" },
        { .lead = 3e-3, .efficiency = 0.35, .initial = 0.3, .text = "a position of 0.3 m at first: the stops are at -0.001 m and 0.201 m" },
        { .lead = 3e-3, .efficiency = 0.35, .differential = 0.2,
          .text = "a differential of 0.2 m: must be above zero and below the travel, 0.2 m; a hundredth of it, 0.002 m, would do" },
        { .lead = 3e-3, .efficiency = 0.35, .torque = 1, .text = "an actuator's motor has no load but the screw: give a force and a mass" },
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct dw_actuator_plan p = gate();
        struct dw_error error = { .status = DW_OK };
        p.lead = bad[i].lead;
        p.efficiency = bad[i].efficiency;
        p.screw_friction = bad[i].friction;
        p.screw_diameter = bad[i].diameter;
        p.mass = bad[i].mass;
        p.backlash = bad[i].backlash;
        p.initial = bad[i].initial;
        p.switches = true;
        p.overtravel = 1e-3;
        p.differential = bad[i].differential > 0 ? bad[i].differential : 2e-3;
        p.motor.torque = bad[i].torque;
        refuses(dw_actuator_check(&p, &error), DW_BAD_USE, error, bad[i].text);
        ck_assert_ptr_null(dw_actuator_new(&p, &error));
    }
}
END_TEST

START_TEST(each_number_that_is_none_is_refused)
{
    static const char unloaded[] = "an actuator's motor has no load but the screw: give a force and a mass";
    struct dw_actuator_plan p = gate();
    struct dw_error error = { .status = DW_OK };
    p.switches = true;
    p.overtravel = -1e-3;
    refuses(dw_actuator_check(&p, &error), DW_BAD_USE, error, "an overtravel of -0.001 m: must not be negative");
    p.overtravel = 1e-3;
    p.differential = 0;
    refuses(dw_actuator_check(&p, &error), DW_BAD_USE, error,
            "a differential of 0 m: must be above zero and below the travel, 0.2 m; a hundredth of it, 0.002 m, would do");
    p = gate();
    p.efficiency = -0.1;
    refuses(dw_actuator_check(&p, &error), DW_BAD_USE, error, "efficiency -0.1: must be above 0 and at most 1");
    double *const loads[] = { &p.motor.load_drag, &p.motor.torque_at_square, &p.motor.load_inertia };
    for (size_t i = 0; i < 3; i++) {
        p = gate();
        *loads[i] = 1e-3;
        refuses(dw_actuator_check(&p, &error), DW_BAD_USE, error, unloaded);
    }
}
END_TEST

/* One switch in the winding's way, or two. */
START_TEST(at_a_stand_the_supply_drives_through_winding_and_switches)
{
    struct dw_actuator_plan p = gate();
    p.motor.switch_resistance = 0.11;
    for (int drive = DW_DRIVE_DIRECT; drive <= DW_DRIVE_ANTIPHASE; drive++) {
        p.motor.drive = drive;
        near(dw_actuator_stall_current(&p), 12 / (1.85 + (drive == DW_DRIVE_DIRECT || drive == DW_DRIVE_ONE_SWITCH ? 1 : 2) * 0.11), 1e-15);
    }
}
END_TEST

/* At the end of its travel the limit switch is open: no current outward, and the diode across it lets it back. */
START_TEST(begun_at_its_end_it_goes_back_alone)
{
    struct dw_actuator_plan p = gate();
    struct ran r;
    p.switches = true;
    p.overtravel = 1e-3;
    p.initial = p.travel;
    p.force = 0;
    begin(&r, &p, 12);
    go(&r, 0.1, 12, 0);
    ck_assert_double_eq(output(&r, CURRENT), 0);
    within_scale(output(&r, POSITION), p.travel, 1e-12, p.travel);
    go(&r, 0.5, -12, 0);
    ck_assert(output(&r, POSITION) < p.travel - 1e-3);
    end(&r);
}
END_TEST

START_TEST(just_below_the_mass_that_wedges_it_moves)
{
    struct dw_actuator_plan p = gate();
    const struct dw_screw s = dw_actuator_screw(&p);
    struct ran r;
    p.mass = -0.999 * p.motor.inertia * 25 / (s.ideal * s.lower);
    p.initial = 0.1;
    begin(&r, &p, -12);
    go(&r, 2, -12, 0);
    ck_assert(output(&r, POSITION) < 0.099);
    end(&r);
}
END_TEST

START_TEST(a_potentiometer_is_at_the_nut_and_a_mirrored_actuator_is_mirrored)
{
    struct ran one, other;
    struct dw_actuator_plan p = gate();
    p.mass = 10;
    p.backlash = 1e-3;
    p.initial = 0.1;
    p.feedback = true;
    p.feedback_low = 0.3;
    p.feedback_high = 3;
    begin(&one, &p, 12);
    p.force = -p.force;
    struct dw_actuator_plan mirror = p;
    begin(&other, &mirror, -12);
    p.force = -p.force;
    for (int i = 1; i < 6; i++) {
        const double volts = i % 2 ? 12 : -9, force = i == 3 ? 400 : -300 * (i == 4);
        go(&one, 0.2 * i, volts, force);
        go(&other, 0.2 * i, -volts, -force);
        within_scale(output(&one, POSITION) - 0.1 + output(&other, POSITION) - 0.1 - p.backlash, 0, 1e-10, p.travel);
        within_scale(output(&one, CURRENT) + output(&other, CURRENT), 0, 1e-8, 6.5);
        near(output(&one, FEEDBACK), 0.3 + 2.7 * dw_run_state(one.run)[DW_ACTUATOR_NUT] / p.travel, 1e-13);
    }
    end(&one);
    end(&other);
}
END_TEST

SUITE("load: actuator", what_it_cannot_be_is_refused_with_what_would_do, each_number_that_is_none_is_refused,
      at_a_stand_the_supply_drives_through_winding_and_switches, begun_at_its_end_it_goes_back_alone, just_below_the_mass_that_wedges_it_moves,
      a_potentiometer_is_at_the_nut_and_a_mirrored_actuator_is_mirrored,
      in_the_long_run_speed_and_current_are_those_of_torques_in_balance, energy_from_the_supply_is_all_found_again)
