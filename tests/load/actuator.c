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
    for (int k = 0; k < 60; k++) {
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
        begin(&r, &p, 0);
        const double start = r.before, position = output(&r, POSITION);
        for (int i = 1; i <= 8; i++)
            go(&r, 0.15 * i, drawn_between(&seed, -14, 14), drawn_between(&seed, -60, 60));
        const double *e = r.energy;
        const double taken = e[DW_ACTUATOR_HEATED] + e[DW_ACTUATOR_DAMPED] + e[DW_ACTUATOR_DRAGGED] + e[DW_ACTUATOR_RUBBED] + e[DW_ACTUATOR_LIFTED] +
                             r.lost + r.before - start;
        /* of the limit switch's diode the drop is lost too: what the terminals do not get */
        const double over_diode = e[DW_ACTUATOR_SUPPLIED] - e[DW_ACTUATOR_ENTERED];
        within_scale(taken + over_diode, e[DW_ACTUATOR_SUPPLIED], 1e-10, e[DW_ACTUATOR_HEATED] + 1);
        if (!p.switches)
            within_scale(over_diode, 0, 1e-12, e[DW_ACTUATOR_HEATED] + 1);
        ck_assert(e[DW_ACTUATOR_RUBBED] > 0 && r.lost >= -1e-12 && over_diode >= -1e-12);
        ck_assert_msg(fabs(output(&r, POSITION) - position) > 1e-4 || k % 3, "%d: it moved by %g m", k, output(&r, POSITION) - position);
        end(&r);
    }
}
END_TEST

SUITE("load: actuator", in_the_long_run_speed_and_current_are_those_of_torques_in_balance, energy_from_the_supply_is_all_found_again)
