/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Laws of a stepper, whatever drives it, and what its plan may be. */
#include "draw.h"
#include "suite.h"
#include <dutywright/stepper.h>

static const struct dw_stepper_plan MOON = { .resistance = 2.1, .inductance = 3.4e-3, .constant = 0.177, .inertia = 5.7e-6, .friction = 1e-3, .gear = 1,
                                             .full_steps = 200, .supply = 12, .microsteps = 1, .threshold = 0.5, .current = 1.2, .off_time = 50e-6,
                                             .blanking = 1e-6 };

struct sums {
    double supplied, heat, friction, load;        /* J */
    double time, power[4], slope[4];              /* of the last row */
    double first, last;                           /* J stored */
    bool any;
    const struct dw_stepper_plan *p;
    struct dw_stepper_meter meter;
};

static double stored(const struct dw_stepper_plan *p, const double *x)
{
    const double electrical = 50 * x[DW_STEPPER_ANGLE] + x[DW_STEPPER_FIRST];
    return p->inductance * (x[0] * x[0] + x[1] * x[1]) / 2 + p->inertia * x[DW_STEPPER_SPEED] * x[DW_STEPPER_SPEED] / 2 -
           p->detent / 200 * cos(4 * electrical);
}

/* Outputs with `all` and an ideal supply: coil-a, coil-b, speed, torque, supply-current, current-a, current-b, wanted, angle. */
static enum dw_status add(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct sums *s = context;
    const struct dw_stepper_plan *p = s->p;
    const double *y = row->output, *d = row->slope, drag = p->drag * (y[2] > 0 ? 1 : y[2] < 0 ? -1 : 0);
    const double power[4] = { p->supply * y[4], p->resistance * (y[5] * y[5] + y[6] * y[6]), p->friction * y[2] * y[2] + drag * y[2], p->torque * y[2] };
    const double slope[4] = { p->supply * d[4], 2 * p->resistance * (y[5] * d[5] + y[6] * d[6]), (2 * p->friction * y[2] + drag) * d[2], p->torque * d[2] };
    double *const sum[4] = { &s->supplied, &s->heat, &s->friction, &s->load }, length = row->time - s->time;
    (void)error;
    for (int i = 0; i < 4; i++) {  /* a cubic's integral */
        *sum[i] += s->any && length > 0 ? length * (s->power[i] + power[i]) / 2 + length * length * (s->slope[i] - slope[i]) / 12 : 0;
        s->power[i] = power[i];
        s->slope[i] = slope[i];
    }
    s->last = stored(p, row->state);
    s->first = s->any ? s->first : s->last;
    s->time = row->time;
    s->any = true;
    dw_stepper_meter_row(&s->meter, row);
    return DW_OK;
}

/* Steps at these rates, and rest. */
static struct sums run(const struct dw_stepper_plan *p, double rate, int steps, double hold)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_plant *plant = dw_stepper_plant(p, &error);
    ck_assert_msg(plant != NULL, "%s", error.text);
    struct sums s = { .p = p, .meter = { .plan = p } };
    struct dw_run *r = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ .sink = add, .context = &s, .accuracy = 1e-6, .curves = true,
                                                                                   .swing = 1e-3 }, &error);
    double input[DW_STEPPER_INPUTS] = { 0 }, rest[DW_STATES];
    const size_t mode = dw_plant_rest(plant, rest);
    succeeds(dw_run_start(r, 0, mode, rest, input, &error), error);
    for (int k = 0; k <= steps; k++) {
        input[DW_STEPPER_STEP] = 0;
        succeeds(dw_run_feed(r, k / rate + (k == steps ? hold : 0), input, &error), error);
        input[DW_STEPPER_STEP] = 1;
        if (k < steps)
            succeeds(dw_run_feed(r, k / rate, input, &error), error);
    }
    dw_run_free(r);
    dw_plant_free(plant);
    return s;
}

/* What the supply gives is heat, friction, the load's, and what is stored: on voltages, and chopped with each decay. */
START_TEST(energy_is_kept)
{
    for (int k = 0; k < 4; k++) {
        struct dw_stepper_plan p = MOON;
        p.all = true;
        p.drive = k ? DW_STEPPER_CURRENT : DW_STEPPER_VOLTAGE;
        p.fast = k == 2 ? 1 : k == 3 ? 0.4 : 0;
        p.microsteps = k == 3 ? 4 : 1;
        p.detent = 0.01;
        p.drag = k % 2 ? 0.012 : 0;
        p.torque = 0.05;
        const struct sums s = run(&p, 300.0 * p.microsteps, 6 * p.microsteps, 0.01);
        /* pieces are within 1e-6 of the natural sizes, which are some times what flows in the mean */
        within_scale(s.supplied, s.heat + s.friction + s.load + s.last - s.first, 5e-6, s.heat);
    }
}
END_TEST

/* A load that drives it far beyond the speed at which the coils give the supply's voltage: its diodes conduct by themselves, while a coil
 * decays fast and while it is not driven. */
START_TEST(energy_is_kept_where_the_load_drives)
{
    for (int k = 0; k < 3; k++) {
        struct dw_stepper_plan p = MOON;
        p.all = true;
        p.drive = DW_STEPPER_CURRENT;
        p.fast = 1;
        p.torque = k % 2 ? 1.5 : -1.5;
        p.off_time = k < 2 ? 5e-3 : 50e-6;
        const struct sums s = run(&p, 1, 0, 0.02);
        ck_assert(s.load * s.friction < 0);
        ck_assert_double_gt(s.friction, 0.01);
        within_scale(s.supplied, s.heat + s.friction + s.load + s.last - s.first, 5e-6, s.heat + s.friction);
    }
}
END_TEST

/* Coils of their own voltages: not driven at first there is no current, nor where both are at 0, whose field is at 0. */
START_TEST(coils_that_are_not_driven_at_first_have_no_current)
{
    struct dw_stepper_plan p = MOON;
    struct dw_error error = { .status = DW_OK };
    p.coils = p.gates = true;
    p.inertia = 1;
    p.level = 3.3;
    for (int gated = 0; gated < 2; gated++) {
        struct dw_plant *plant = dw_stepper_plant(&p, &error);
        ck_assert_msg(plant != NULL, "%s", error.text);
        struct dw_run *r = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ .sink = NULL }, &error);
        double input[DW_STEPPER_INPUTS] = { 0 }, rest[DW_STATES];
        input[DW_STEPPER_B] = gated ? 3.3 : 0;
        input[DW_STEPPER_GATE_A] = input[DW_STEPPER_GATE_B] = gated ? 0 : 3.3;
        succeeds(dw_run_start(r, 0, dw_plant_rest(plant, rest), rest, input, &error), error);
        succeeds(dw_run_feed(r, 0.01, input, &error), error);
        const double *state = dw_run_state(r);
        ck_assert(state[DW_STEPPER_CURRENT_A] == 0 && state[DW_STEPPER_CURRENT_B] == 0);
        input[DW_STEPPER_A] = input[DW_STEPPER_GATE_A] = 3.3;
        succeeds(dw_run_feed(r, 0.01, input, &error), error);
        succeeds(dw_run_feed(r, 0.011, input, &error), error);
        near(dw_run_state(r)[DW_STEPPER_CURRENT_A], -12 / 2.1 * expm1(-2.1e-3 / 3.4e-3), 1e-3);  /* it hardly turns */
        dw_run_free(r);
        dw_plant_free(plant);
    }
}
END_TEST

struct line {
    size_t line, bulk, supply, drawn;  /* outputs */
    double lowest, highest;            /* A, V */
    int blocked;                       /* rows */
};

static enum dw_status look_at_line(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct line *l = context;
    const double *y = row->output;
    (void)error;
    within_scale(y[l->line], y[l->drawn] + y[l->bulk], 1e-9, 1);
    l->lowest = fmin(l->lowest, y[l->line]);
    l->highest = fmax(l->highest, y[l->supply]);
    if (fabs(y[l->line]) < 1e-9) {
        l->blocked++;
        ck_assert_double_ge(y[l->supply], 12 - 0.02);  /* the slow pair of a battery has some of it */
    }
    return DW_OK;
}

/* What comes back from coils that decay fast lifts a small bulk above a source that takes nothing back: the line's current ends at 0 and stays
 * there until the bulk has come down again. At first there is what the held coils draw. */
START_TEST(a_diode_in_the_line_lets_nothing_back)
{
    for (int inductive = 0; inductive < 2; inductive++) {
        struct dw_error error = { .status = DW_OK };
        struct dw_stepper_plan p = MOON;
        p.all = true;
        p.drive = DW_STEPPER_CURRENT;
        p.fast = 1;
        p.off_time = 0;
        p.chop_frequency = 20e3;
        p.source = (struct dw_supply){ .line_resistance = 0.35, .line_inductance = inductive ? 6e-6 : 0, .bulk = 22e-6, .bulk_resistance = 0.05,
                                       .slow_resistance = 0.02, .slow_capacitance = 50, .no_return = true };
        struct dw_plant *plant = dw_stepper_plant(&p, &error);
        ck_assert_msg(plant != NULL, "%s", error.text);
        struct line l = { dw_plant_output(plant, "line-current"), dw_plant_output(plant, "bulk-current"), dw_plant_output(plant, "supply"),
                          dw_plant_output(plant, "supply-current"), INFINITY, 0, 0 };
        struct dw_run *r = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ .sink = look_at_line, .context = &l, .accuracy = 1e-6,
                                                                                       .curves = true, .swing = 1e-3 }, &error);
        const double input[DW_STEPPER_INPUTS] = { 0 };
        double rest[DW_STATES];
        succeeds(dw_run_start(r, 0, dw_plant_rest(plant, rest), rest, input, &error), error);
        succeeds(dw_run_feed(r, 5e-3, input, &error), error);
        ck_assert_double_ge(l.lowest, -1e-9);
        ck_assert_int_gt(l.blocked, 50);
        ck_assert_double_gt(l.highest, 12.05);
        dw_run_free(r);
        dw_plant_free(plant);
    }
}
END_TEST

/* On a line without a bulk what the line carries is what is drawn, and the supply falls by it. */
START_TEST(a_line_alone_takes_its_part)
{
    struct dw_stepper_plan p = MOON;
    struct dw_error error = { .status = DW_OK };
    double rest[DW_STATES], out[DW_OUTPUTS];
    p.all = true;
    p.source.line_resistance = 0.35;
    struct dw_plant *plant = dw_stepper_plant(&p, &error);
    ck_assert_msg(plant != NULL, "%s", error.text);
    struct dw_run *r = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ .sink = NULL }, &error);
    const double input[DW_STEPPER_INPUTS] = { 0 };
    succeeds(dw_run_start(r, 0, dw_plant_rest(plant, rest), rest, input, &error), error);
    succeeds(dw_run_feed(r, 0.1, input, &error), error);
    dw_run_output(r, out, NULL);
    const double drawn = out[dw_plant_output(plant, "supply-current")];
    near(drawn, 12 / (0.35 + 2.1 / 2), 1e-6);  /* both coils on */
    near(out[dw_plant_output(plant, "line-current")], drawn, 1e-12);
    near(out[dw_plant_output(plant, "supply")], 12 - 0.35 * drawn, 1e-12);
    dw_run_free(r);
    dw_plant_free(plant);
}
END_TEST

/* A stepper at rest holds, whatever its load below the holding torque, its drag, its detent and its drive. */
START_TEST(a_stepper_at_rest_holds)
{
    uint64_t seed = 17;
    for (int k = 0; k < 8; k++) {
        struct dw_stepper_plan p = MOON;
        p.drive = k % 2 ? DW_STEPPER_CURRENT : DW_STEPPER_VOLTAGE;
        p.supply = 4;
        p.drag = k % 4 < 2 ? drawn_between(&seed, 0, 0.02) : 0;
        p.detent = drawn_between(&seed, 0, 0.01);
        p.torque = drawn_between(&seed, -0.8, 0.8) * 0.177 * sqrt(2) * p.current;
        const struct sums s = run(&p, 1, 0, 0.03);
        within_scale(s.meter.found.asked, 0, 0, 1);
        within_scale(s.meter.found.lost, 0, 0, 1);
        within_scale(s.meter.found.angle, 0, k % 2 ? 0.06 : 0.04, 1); /* a ripple of the current gives a little, the lag is up to asin(0.8)/50 */
        ck_assert(s.meter.found.rests);
    }
}
END_TEST

/* Whatever rate it is started at, steps are lost by whole turns of the field, four at a time, and the rotor stands where they say. */
START_TEST(steps_are_lost_in_multiples_of_four)
{
    int lost = 0;
    for (int k = 0; k < 12; k++) {
        struct dw_stepper_plan p = MOON;
        p.load_inertia = 2e-5 + 1e-5 * k;
        const struct sums s = run(&p, 400 + 60 * k, 13 + k, 0.15);
        const struct dw_stepper_findings *f = &s.meter.found;
        ck_assert(f->rests);
        within_scale(f->asked, 13 + k, 0, 1);
        within_scale(fmod(f->lost, 4), 0, 0, 1);
        within_scale(f->angle, f->made * atan(1) * 2 / 50, 1e-3, 1);
        ck_assert(f->lost == 0 || !isnan(f->slipped_at));
        lost += f->lost != 0;
    }
    ck_assert(lost > 2 && lost < 12);
}
END_TEST

START_TEST(plans_out_of_range_are_refused_by_name)
{
    struct dw_error error;
    struct dw_stepper_plan p = MOON;
    p.drive = DW_STEPPER_CURRENT;
    p.chop_frequency = 20e3;
    refuses(dw_stepper_check(&p, &error), DW_BAD_USE, error,
            "a chopper has an off time, such as 20 us, or a chop frequency, such as 25 kHz: one of both");
    p = MOON;
    p.inertia = 0;
    refuses(dw_stepper_check(&p, &error), DW_BAD_USE, error, "inertia 0 kg m^2: must be above zero");
    p = MOON;
    p.microsteps = 257;
    refuses(dw_stepper_check(&p, &error), DW_BAD_USE, error, "257 microsteps: from 1 to 256");
    p = MOON;
    p.drive = DW_STEPPER_CURRENT;
    p.compensation = 0.1;
    refuses(dw_stepper_check(&p, &error), DW_BAD_USE, error,
            "a compensation of 0.1 A with a fixed off time, which needs none: it belongs to a chop frequency");
    p.compensation = 0;
    p.fast = 1.2;
    refuses(dw_stepper_check(&p, &error), DW_BAD_USE, error, "fast decay for 1.2 of the time off: 0 to 1 are a share");
    p.fast = -0.1;
    refuses(dw_stepper_check(&p, &error), DW_BAD_USE, error, "fast decay for -0.1 of the time off: 0 to 1 are a share");
    p.fast = 0;
    p.off_time = 0;
    p.chop_frequency = 20e3;
    p.blanking = 50e-6;
    refuses(dw_stepper_check(&p, &error), DW_BAD_USE, error, "a blanking of 5e-05 s at 20000 Hz: it must end before the next beat, below 5e-05 s");
    p.current = 0;
    refuses(dw_stepper_check(&p, &error), DW_BAD_USE, error, "current 0 A: must be above zero");
    for (int steps = 0; steps < 7; steps += 6) {
        p = MOON;
        p.full_steps = steps;
        ck_assert_ptr_null(dw_stepper_plant(&p, &error));
        ck_assert_str_eq(error.text, steps ? "6 full steps a turn: two windings make a multiple of four, such as 200"
                                           : "0 full steps a turn: two windings make a multiple of four, such as 200");
    }
    p = MOON;
    p.microsteps = 0;
    refuses(dw_stepper_check(&p, &error), DW_BAD_USE, error, "0 microsteps: from 1 to 256");
    struct dw_stepper_pull pull;
    refuses(dw_stepper_pull(&MOON, INFINITY, &pull, &error), DW_BAD_USE, error, "a rate of inf Hz: must be above zero");
    refuses(dw_stepper_pull(&MOON, 0, &pull, &error), DW_BAD_USE, error, "a rate of 0 Hz: must be above zero");
    ck_assert(isnan(dw_stepper_constant(0.3, 0)) && isnan(dw_stepper_constant(0, 1)));
}
END_TEST

SUITE("load: stepper", energy_is_kept, energy_is_kept_where_the_load_drives, coils_that_are_not_driven_at_first_have_no_current,
      a_line_alone_takes_its_part, a_diode_in_the_line_lets_nothing_back, a_stepper_at_rest_holds, steps_are_lost_in_multiples_of_four, plans_out_of_range_are_refused_by_name)
