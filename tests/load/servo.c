/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where a servo is, against the closed forms of its motion, and laws of it. */
#include "draw.h"
#include "suite.h"
#include <dutywright/servo.h>
#include <float.h>
#include <string.h>

/* Crooked on purpose. */
static const struct dw_servo_plan flag = {
    .points = { { 0.61e-3, -83 }, { 2.37e-3, 77 } }, .point_count = 2, .dead_band = 3.7e-6, .slew = 430, .slow_within = 6.3, .torque = 0.21,
    .stall_torque = 0.83, .lost_after = 0.07, .stop_low = -80, .stop_high = 71, .initial = -11, .threshold = 1.65
};
static const double FRAME = 19.3e-3;

struct given {
    struct dw_plant *plant;
    struct dw_run *run;
    struct dw_servo_meter meter;
    double time;
};

static enum dw_status take(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    (void)error;
    dw_servo_meter_row(&((struct given *)context)->meter, row);
    return DW_OK;
}

static void begin(struct given *g, const struct dw_servo_plan *plan, double time)
{
    struct dw_error error = { .status = DW_OK };
    double state[DW_SERVO_STATES], low = 0;
    memset(g, 0, sizeof *g);
    g->meter.plan = plan;
    g->time = time;
    g->plant = dw_servo_plant(plan, &error);
    ck_assert_msg(g->plant != NULL, "%s", error.text);
    g->run = dw_run_new(dw_plant_modes(g->plant), &(struct dw_run_options){ .sink = take, .context = g }, &error);
    ck_assert_ptr_nonnull(g->run);
    const size_t mode = dw_plant_rest(g->plant, state);
    succeeds(dw_run_start(g->run, time, mode, state, &low, &error), error);
}

static void feed(struct given *g, double time, double pin)
{
    struct dw_error error;
    succeeds(dw_run_feed(g->run, time, &pin, &error), error);
}

/* A pulse at the frame's beginning, and the rest of the frame. */
static void pulse(struct given *g, double width)
{
    feed(g, g->time, 3.3);
    feed(g, g->time + width, 3.3);
    feed(g, g->time + width, 0);
    feed(g, g->time += FRAME, 0);
}

static void end(struct given *g)
{
    dw_run_free(g->run);
    dw_plant_free(g->plant);
}

static double angle(const struct given *g)
{
    return dw_run_state(g->run)[DW_SERVO_ANGLE];
}

/* How far it has come, towards an angle that is `left` deg away when it begins: slew, then exponential, then rest within a tenth of the
 * dead band (or half of where it slows down). */
static double left_after(const struct dw_servo_plan *p, double left, double time)
{
    const double speed = p->slew * (p->stall_torque > 0 ? 1 - p->torque / p->stall_torque : 1), near = p->slow_within;
    const double close = near > 0 ? fmin(dw_servo_band(p) / 10, near / 2) : 0, slews = fmax(left - near, 0) / speed;
    if (left <= dw_servo_band(p))
        return left;
    if (time < slews || near == 0)
        return fmax(left - speed * time, 0);
    const double from = fmin(left, near);
    return fmax(from * exp(-speed / near * (time - slews)), close);
}

/* 1e-12 of the travel is what an event may be off, times the few of them. */
static const double ROUNDING = 1e-11;

START_TEST(an_angle_is_approached_along_a_line_and_an_exponential)
{
    static const double widths[] = { 1.9e-3, 0.9e-3, 1.31e-3, 1.5e-3, 1.53e-3 };
    struct dw_servo_plan plans[3] = { flag, flag, flag };
    plans[1].slow_within = 0;
    plans[2].stall_torque = plans[2].torque = 0;
    for (int k = 0; k < 3; k++)
        for (size_t i = 0; i < sizeof widths / sizeof widths[0]; i++) {
            struct given g;
            begin(&g, &plans[k], 0);
            const double wanted = dw_servo_angle(&plans[k], widths[i]), way = wanted > plans[k].initial ? 1 : -1;
            for (int frame = 1; frame < 40; frame++) {
                pulse(&g, widths[i]);
                const double left = left_after(&plans[k], fabs(wanted - plans[k].initial), g.time - widths[i]);
                within_scale(angle(&g), wanted - way * left, ROUNDING, 160);
            }
            ck_assert(g.meter.found.settled > g.meter.found.begun && g.meter.found.beyond == 0);
            near(g.meter.found.begun, widths[i], 1e-12);
            end(&g);
        }
}
END_TEST

START_TEST(settling_takes_the_slew_and_a_logarithm)
{
    struct given g;
    begin(&g, &flag, 0);
    for (int frame = 0; frame < 40; frame++)
        pulse(&g, 1.9e-3);
    const double speed = 430 * (1 - 0.21 / 0.83), way = dw_servo_angle(&flag, 1.9e-3) + 11, close = dw_servo_band(&flag) / 10;
    /* the end is a guard of the angle: 1e-12 of the travel at the slow end's speed, close * speed / slow_within */
    within_scale(g.meter.found.settled - g.meter.found.begun, (way - 6.3) / speed + 6.3 / speed * log(6.3 / close), 1e-8, 1);
    near(g.meter.found.frame, FRAME, 1e-12);
    near(g.meter.found.shortest, 1.9e-3, 1e-12);
    near(g.meter.found.longest, 1.9e-3, 1e-12);
    end(&g);
}
END_TEST

START_TEST(a_width_acts_when_its_pulse_ends)
{
    struct given g;
    begin(&g, &flag, 0);
    feed(&g, 0, 3.3);
    feed(&g, 1.9e-3, 3.3);
    ck_assert_double_eq(angle(&g), flag.initial);
    ck_assert_double_eq(dw_run_state(g.run)[DW_SERVO_WANTED], flag.initial);
    feed(&g, 1.9e-3, 0);
    feed(&g, 2e-3, 0);
    within_scale(dw_run_state(g.run)[DW_SERVO_WANTED], dw_servo_angle(&flag, 1.9e-3), 1e-13, 160);
    ck_assert_double_gt(angle(&g), flag.initial);
    end(&g);
}
END_TEST

START_TEST(a_step_within_the_dead_band_is_lost_and_a_larger_one_is_not)
{
    for (int sign = -1; sign <= 1; sign += 2) {
        struct given g;
        begin(&g, &flag, 0);
        for (int frame = 0; frame < 40; frame++)
            pulse(&g, 1.5e-3);
        const double at = angle(&g);
        for (int frame = 0; frame < 5; frame++)
            pulse(&g, 1.5e-3 + sign * 0.89 * flag.dead_band); /* it rests within a tenth of it */
        ck_assert_double_eq(angle(&g), at);
        for (int frame = 0; frame < 40; frame++)
            pulse(&g, 1.5e-3 + sign * 1.11 * flag.dead_band);
        within_scale(angle(&g), dw_servo_angle(&flag, 1.5e-3 + sign * 1.11 * flag.dead_band), 0.101, dw_servo_band(&flag));
        end(&g);
    }
}
END_TEST

START_TEST(a_steady_code_never_hunts_and_jitter_above_the_dead_band_does)
{
    static const struct {
        double jitter;  /* dead bands, from pulse to pulse; above 2 no place is near enough to both */
        bool hunts;
    } cases[] = { { 0, false }, { 0.8, false }, { 2.3, true }, { 4, true } };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct given g;
        begin(&g, &flag, 0);
        for (int frame = 0; frame < 80; frame++)
            pulse(&g, 1.5e-3 + (frame % 2) * cases[i].jitter * flag.dead_band);
        ck_assert_msg((g.meter.found.hunts > 10) == cases[i].hunts && (g.meter.found.hunts > 0) == cases[i].hunts, "jitter %g: %llu",
                      cases[i].jitter, g.meter.found.hunts);
        end(&g);
    }
}
END_TEST

START_TEST(an_order_to_and_fro_is_no_hunting)
{
    struct given g;
    begin(&g, &flag, 0);
    for (int frame = 0; frame < 120; frame++)
        pulse(&g, frame / 4 % 2 ? 1.2e-3 : 1.8e-3);
    ck_assert(g.meter.found.hunts == 0);
    end(&g);
}
END_TEST

START_TEST(a_stop_holds_it_until_less_is_wanted)
{
    struct given g;
    begin(&g, &flag, 0);
    for (int frame = 0; frame < 40; frame++)
        pulse(&g, 2.36e-3);
    ck_assert_double_eq(angle(&g), 71);
    near(g.meter.found.beyond, dw_servo_angle(&flag, 2.36e-3) - 71, 1e-10);
    const double speed = 430 * (1 - 0.21 / 0.83), reaches = 2.36e-3 + (71.0 + 11 - fmax(6.3 - g.meter.found.beyond, 0)) / speed;
    ck_assert(g.meter.found.pressed <= g.time - reaches && g.meter.found.pressed > 0.9 * (g.time - reaches) - FRAME);
    for (int frame = 0; frame < 40; frame++)
        pulse(&g, 0.62e-3);
    ck_assert_double_eq(angle(&g), -80);
    for (int frame = 0; frame < 40; frame++)
        pulse(&g, 1.5e-3);
    within_scale(angle(&g), dw_servo_angle(&flag, 1.5e-3), 0.101, dw_servo_band(&flag));
    end(&g);
}
END_TEST

START_TEST(without_pulses_it_stays_or_is_free)
{
    for (int frees = 0; frees < 2; frees++) {
        struct dw_servo_plan plan = flag;
        struct given g;
        plan.free_when_lost = frees;
        plan.slew = 37; /* it is still under way */
        plan.torque = plan.stall_torque = 0;
        begin(&g, &plan, 0);
        pulse(&g, 2.1e-3);
        feed(&g, 0.5, 0);
        within_scale(angle(&g), frees ? -11 + 37 * 0.07 : -11 + 37 * (0.5 - 2.1e-3), 1e-11, 160);
        within_scale(g.meter.found.lost, frees ? 0.5 - 0.07 - 2.1e-3 : 0, 1e-12, 1);
        g.time = 0.5;
        for (int frame = 0; frame < 400; frame++)
            pulse(&g, 1.2e-3);
        within_scale(angle(&g), dw_servo_angle(&plan, 1.2e-3), 0.101, dw_servo_band(&plan));
        end(&g);
    }
}
END_TEST

/* Free for a while where it stood, and held there again: it settled when it came there. */
START_TEST(what_is_free_where_it_stands_stays_settled)
{
    struct dw_servo_plan plan = flag;
    struct given g;
    plan.free_when_lost = true;
    plan.torque = plan.stall_torque = 0;
    begin(&g, &plan, 0);
    for (int frame = 0; frame < 100; frame++)
        pulse(&g, 1.5e-3);
    const double settled = g.meter.found.settled;
    feed(&g, g.time += 1, 0);
    for (int frame = 0; frame < 100; frame++)
        pulse(&g, 1.5e-3);
    ck_assert(settled > 0 && settled < 1);
    ck_assert_double_eq(g.meter.found.settled, settled);
    ck_assert_double_gt(g.meter.found.lost, 0.5);
    end(&g);
}
END_TEST

START_TEST(a_later_start_changes_nothing)
{
    struct given g, later;
    begin(&g, &flag, 0);
    begin(&later, &flag, 37);
    uint64_t seed = 3;
    for (int frame = 0; frame < 60; frame++) {
        const double width = frame % 9 ? 1.2e-3 : drawn_between(&seed, 0.7e-3, 2.2e-3);
        pulse(&g, width);
        pulse(&later, width);
        /* 37 s have 7e-15 s, times the slew, times the edges since */
        within_scale(angle(&later), angle(&g), 1e-9, 160);
    }
    end(&g);
    end(&later);
}
END_TEST

START_TEST(rows_between_change_nothing)
{
    struct given g, cut;
    begin(&g, &flag, 0);
    begin(&cut, &flag, 0);
    uint64_t seed = 5;
    for (int frame = 0; frame < 30; frame++) {
        const double width = drawn_between(&seed, 0.7e-3, 2.2e-3);
        pulse(&g, width);
        feed(&cut, cut.time, 3.3);
        feed(&cut, cut.time + width / 3, 3.3);
        feed(&cut, cut.time + width, 3.3);
        feed(&cut, cut.time + width, 0);
        for (int i = 1; i < 7; i++)
            feed(&cut, cut.time + width + (FRAME - width) * i / 7, 0);
        feed(&cut, cut.time += FRAME, 0);
        within_scale(angle(&cut), angle(&g), ROUNDING, 160);
    }
    end(&g);
    end(&cut);
}
END_TEST

START_TEST(a_calibration_goes_both_ways)
{
    static const struct dw_servo_point points[][3] = { { { 0.6e-3, -70 }, { 1.4e-3, 12 }, { 2.3e-3, 60 } }, { { 0.6e-3, 70 }, { 1.4e-3, 12 }, { 2.3e-3, -60 } } };
    for (int way = 0; way < 2; way++) {
        struct dw_servo_plan plan = flag;
        memcpy(plan.points, points[way], sizeof points[way]);
        plan.point_count = 3;
        plan.stop_low = way ? -60 : -70;
        plan.stop_high = way ? 70 : 60;
        for (int k = 0; k < 3; k++)
            within_scale(dw_servo_angle(&plan, points[way][k].width), points[way][k].angle, 4 * DBL_EPSILON, 160);
        for (double width = 0.5e-3; width < 2.5e-3; width += 0.037e-3) {
            near(dw_servo_width(&plan, dw_servo_angle(&plan, width)), width, 1e-14);
            if (dw_servo_angle(&plan, width) < plan.stop_low || dw_servo_angle(&plan, width) > plan.stop_high)
                continue;
            struct given g;
            begin(&g, &plan, 0);
            for (int frame = 0; frame < 40; frame++)
                pulse(&g, width);
            within_scale(dw_run_state(g.run)[DW_SERVO_WANTED], dw_servo_angle(&plan, width), 1e-12, 160);
            ck_assert(fabs(angle(&g) - dw_servo_angle(&plan, width)) <= dw_servo_band(&plan));
            end(&g);
        }
        near(dw_servo_steepest(&plan), way ? 72 / 0.9e-3 : 82 / 0.8e-3, 1e-14);
    }
}
END_TEST

START_TEST(what_is_no_servo_is_refused)
{
    static const struct {
        size_t offset;
        double value;
        const char *says;
    } cases[] = {
        { offsetof(struct dw_servo_plan, slew), 0, "slew 0 deg/s: must be above zero" },
        { offsetof(struct dw_servo_plan, dead_band), -1, "dead band -1 s: must not be negative" },
        { offsetof(struct dw_servo_plan, dead_band), 2e-3, "a dead band of 0.002 s: must be below 0.00176 s, the widths of the whole travel" },
        { offsetof(struct dw_servo_plan, torque), 0.83, "a torque of 0.83 N m stalls it, at 0.83 N m: what it is to move must be below that, and half "
                                                         "of it moves at half the speed" },
        { offsetof(struct dw_servo_plan, stop_low), -90, "stops -90 deg to 71 deg: the travel is from -83 deg to 77 deg, and stops are within it" },
        { offsetof(struct dw_servo_plan, stop_low), 72, "stops 72 deg and 71 deg: the first must be below the second" },
        { offsetof(struct dw_servo_plan, initial), 75, "an angle of 75 deg at first: the stops are at -80 deg and 71 deg" },
        { offsetof(struct dw_servo_plan, points[1].width), 0.6e-3, "point 2 has a width of 0.0006 s and the one before it 0.00061 s: they must rise" },
        { offsetof(struct dw_servo_plan, points[0].width), 0, "point 1, 0 s and -83 deg: a width above zero and an angle are wanted" },
        { offsetof(struct dw_servo_plan, points[1].angle), -83, "at 0.00237 s the angle is -83 deg and before it -83 deg: it must rise from point to "
                                                                 "point, as between the first two" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_servo_plan plan = flag;
        struct dw_error error;
        memcpy((char *)&plan + cases[i].offset, &cases[i].value, sizeof cases[i].value);
        refuses(dw_servo_check(&plan, &error), DW_BAD_USE, error, cases[i].says);
        ck_assert_ptr_null(dw_servo_plant(&plan, &error));
    }
}
END_TEST

START_TEST(what_is_no_calibration_is_refused)
{
    static const struct {
        size_t count;
        struct dw_servo_point third;
        const char *says;
    } cases[] = {
        { 1, { 3e-3, 90 }, "1 points: a calibration has from 2 to 64" },
        { DW_SERVO_POINTS + 1, { 3e-3, 90 }, "65 points: a calibration has from 2 to 64" },
        { 3, { INFINITY, 90 }, "point 3, inf s and 90 deg: a width above zero and an angle are wanted" },
        { 3, { 3e-3, INFINITY }, "point 3, 0.003 s and inf deg: a width above zero and an angle are wanted" },
        { 3, { 3e-3, -100 }, "at 0.003 s the angle is -100 deg and before it 77 deg: it must rise from point to point, as between the first two" },
    };
    struct dw_error error;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_servo_plan plan = flag;
        plan.point_count = cases[i].count;
        plan.points[2] = cases[i].third;
        refuses(dw_servo_check(&plan, &error), DW_BAD_USE, error, cases[i].says);
    }
    struct dw_servo_plan falls = flag;
    falls.points[0].angle = 100;
    falls.point_count = 3;
    falls.points[2] = (struct dw_servo_point){ 3e-3, 90 };
    refuses(dw_servo_check(&falls, &error), DW_BAD_USE, error,
            "at 0.003 s the angle is 90 deg and before it 77 deg: it must fall from point to point, as between the first two");
    falls = flag;
    falls.initial = -82;
    refuses(dw_servo_check(&falls, &error), DW_BAD_USE, error, "an angle of -82 deg at first: the stops are at -80 deg and 71 deg");
}
END_TEST

SUITE("load: position servo", an_angle_is_approached_along_a_line_and_an_exponential, settling_takes_the_slew_and_a_logarithm,
      a_width_acts_when_its_pulse_ends, a_step_within_the_dead_band_is_lost_and_a_larger_one_is_not,
      a_steady_code_never_hunts_and_jitter_above_the_dead_band_does, an_order_to_and_fro_is_no_hunting,
      a_stop_holds_it_until_less_is_wanted, without_pulses_it_stays_or_is_free, what_is_free_where_it_stands_stays_settled, a_later_start_changes_nothing, rows_between_change_nothing,
      a_calibration_goes_both_ways, what_is_no_servo_is_refused, what_is_no_calibration_is_refused)
