/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A motor at standing voltages: its ratings, its loads, standstill; and what is refused. */
#include "load/pump.h"
#include "suite.h"
#include <float.h>
#include <string.h>

START_TEST(ratings_give_back_the_data_sheet)
{
    struct dw_motor_plan plan = pump;
    struct dw_error error = { .status = DW_OK };
    const double volts = 11.7, speed = 437, i_free = 0.163, i_stall = 6.21;
    succeeds(dw_motor_ratings(volts, speed, i_free, i_stall, &plan, &error), error);
    near(volts / plan.resistance, i_stall, 4 * DBL_EPSILON);
    near(plan.constant * i_free, plan.drag, 4 * DBL_EPSILON);
    /* at the rated voltage and no load the direct drive settles at free speed and free current */
    plan.drive = DW_DRIVE_DIRECT;
    plan.switch_resistance = plan.friction = 0;
    plan.supply = volts;
    double state[DW_MOTOR_STATES];
    motor_runs(&plan, 0, volts, 10, state);
    near(state[DW_MOTOR_SPEED], speed, 1e-12);
    near(state[DW_MOTOR_CURRENT], i_free, 1e-12);
}
END_TEST

START_TEST(drag_holds_until_the_torque_exceeds_it_and_then_lets_go)
{
    struct dw_motor_plan p = pump;
    p.drive = DW_DRIVE_DIRECT;
    p.switch_resistance = 0;
    const double holds = p.drag / p.constant * p.resistance;  /* V at which K i = drag at standstill */
    double state[DW_MOTOR_STATES];
    motor_runs(&p, 0, 0.999 * holds, 5, state);
    ck_assert(state[DW_MOTOR_SPEED] == 0);
    near(state[DW_MOTOR_CURRENT], 0.999 * p.drag / p.constant, 1e-12);
    motor_runs(&p, 0, 1.001 * holds, 5, state);
    ck_assert(state[DW_MOTOR_SPEED] > 0);
}
END_TEST

START_TEST(a_braked_rotor_stops_and_stays)
{
    struct dw_motor_plan p = pump;
    p.drive = DW_DRIVE_BRIDGE_SLOW;
    double state[DW_MOTOR_STATES];
    motor_runs(&p, 300, 0, 3, state);
    ck_assert(state[DW_MOTOR_SPEED] == 0);
    within_scale(state[DW_MOTOR_CURRENT], 0, 1e-12, dw_motor_stall_current(&p));
}
END_TEST

START_TEST(a_hanging_load_drives_the_motor_backwards)
{
    struct dw_motor_plan p = pump;
    p.drive = DW_DRIVE_DIRECT;
    p.torque = 0.021;
    p.friction = 0;
    double state[DW_MOTOR_STATES];
    motor_runs(&p, 0, 0, 20, state);
    /* drag now helps to hold: K i = torque - drag, K w = -(R + Rs) i */
    const double current = (p.torque - p.drag) / p.constant;
    near(state[DW_MOTOR_SPEED], -(p.resistance + p.switch_resistance) * current / p.constant, 1e-12);
}
END_TEST

START_TEST(a_square_law_load_settles_where_the_closed_form_says)
{
    struct dw_motor_plan p = pump;
    p.drive = DW_DRIVE_DIRECT;
    p.switch_resistance = p.friction = 0;
    p.gear = 2.3;
    p.torque_at_square = 4.1e-7 * p.gear * p.gear * p.gear;  /* 4.1e-7 seen from the motor */
    for (int i = 0; i < 2; i++) {  /* as it is asked, and where nothing is */
        p.accuracy = i ? 1e-9 : 0;
        const double u = 9.7;
        double state[DW_MOTOR_STATES];
        motor_runs(&p, 0, u, 20, state);
        /* K (u - K w) / R = drag + c w^2 */
        const double k = p.constant, r = p.resistance, c = 4.1e-7, b = k * k / r, rest = p.drag - k * u / r;
        const double w = (-b + sqrt(b * b - 4 * c * rest)) / (2 * c);
        /* chords are off by so much of the load at no-load speed; the speed by that over the slope b + 2 c w */
        const double off = (i ? 1e-9 : 1e-5) * c * pow(dw_motor_no_load_speed(&p), 2) / (b + 2 * c * w);
        within_scale(state[DW_MOTOR_SPEED], w, 1, off);
    }
}
END_TEST

START_TEST(a_load_that_would_take_more_than_the_torque_at_stall_settles_within_the_accuracy_too)
{
    /* at the no-load speed it would take 20 times the torque at stall */
    const struct dw_motor_plan plan = { .resistance = 1.85, .inductance = 900e-6, .constant = 27e-3, .inertia = 9e-6, .friction = 1e-6,
        .drag = 4e-3, .gear = 5, .load_inertia = 2e-3, .torque_at_square = 2.2e-3, .drive = DW_DRIVE_DIRECT, .supply = 12 };
    static const double asked[] = { 1e-5, 1e-7, 1e-9 };
    for (size_t i = 0; i < sizeof asked / sizeof *asked; i++) {
        struct dw_motor_plan p = plan;
        double state[DW_MOTOR_STATES];
        p.accuracy = asked[i];
        for (int sense = -1; sense <= 1; sense += 2) {
            motor_runs(&p, 0, sense * 9, 20, state);
            /* K (9 V - K w) / R = drag + B w + c w^2 / 5^3; the settling itself ends in e^-20 s * 100 / s */
            const double c = 2.2e-3 / 125, b = 27e-3 * 27e-3 / 1.85 + 1e-6, rest = 4e-3 - 27e-3 * 9 / 1.85;
            const double w = (-b + sqrt(b * b - 4 * c * rest)) / (2 * c);
            within_scale(state[DW_MOTOR_SPEED], sense * w, asked[i], dw_motor_no_load_speed(&p));
        }
    }
}
END_TEST

START_TEST(values_out_of_range_are_refused)
{
    struct dw_error error;
    const struct {
        size_t offset;
        double value;
        const char *text;
    } bad[] = {
        { offsetof(struct dw_motor_plan, resistance), 0, "resistance 0 ohm: must be above zero" },
        { offsetof(struct dw_motor_plan, inductance), -1, "inductance -1 H: must be above zero" },
        { offsetof(struct dw_motor_plan, constant), 0, "constant 0 V s/rad: must be above zero" },
        { offsetof(struct dw_motor_plan, inertia), -2e-6, "inertia -2e-06 kg m^2: must be above zero" },
        { offsetof(struct dw_motor_plan, friction), -1, "friction -1 N m s/rad: must not be negative" },
        { offsetof(struct dw_motor_plan, drag), -1, "drag -1 N m: must not be negative" },
        { offsetof(struct dw_motor_plan, torque), INFINITY, "torque inf N m: must be finite" },
        { offsetof(struct dw_motor_plan, torque_at_square), -1, "torque at square -1 N m s^2/rad^2: must not be negative" },
        { offsetof(struct dw_motor_plan, accuracy), -1e-5, "accuracy -1e-05 of the square law: must not be negative" },
        { offsetof(struct dw_motor_plan, gear), 0, "gear 0 to 1: must be above zero" },
        { offsetof(struct dw_motor_plan, load_inertia), -1, "load inertia -1 kg m^2: must not be negative" },
        { offsetof(struct dw_motor_plan, supply), 0, "supply 0 V: must be above zero" },
        { offsetof(struct dw_motor_plan, diode_drop), 13, "diode drop 13 V: must be below the supply, 12.3 V" },
        { offsetof(struct dw_motor_plan, switch_resistance), -1, "switch resistance -1 ohm: must not be negative" },
        { offsetof(struct dw_motor_plan, threshold), NAN, "threshold nan V: must be finite" },
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct dw_motor_plan p = pump;
        memcpy((char *)&p + bad[i].offset, &bad[i].value, sizeof bad[i].value);
        ck_assert_ptr_null(dw_motor_new(&p, &error));
        ck_assert_int_eq(error.status, DW_BAD_USE);
        ck_assert_str_eq(error.text, bad[i].text);
    }
    struct dw_motor_plan p = pump;
    p.direction = true;
    ck_assert_ptr_null(dw_motor_new(&p, &error));
    ck_assert_str_eq(error.text, "a direction needs a full bridge: drive bridge-slow or bridge-fast");
    p.direction = false;
    p.low_gate = true;
    p.drive = DW_DRIVE_BRIDGE_FAST;
    ck_assert_ptr_null(dw_motor_new(&p, &error));
    ck_assert_str_eq(error.text, "a low gate is of the drives one-switch, bridge-slow and antiphase");
    refuses(dw_motor_ratings(12, 400, 2, 1, &p, &error), DW_BAD_USE, error,
            "stall-current 1 A: must be above the free-current, 2 A");
    refuses(dw_motor_ratings(12, 0, 2, 1, &p, &error), DW_BAD_USE, error, "free-speed 0 rad/s: must be above zero");
}
END_TEST

SUITE("load: motor at standing voltages", ratings_give_back_the_data_sheet, drag_holds_until_the_torque_exceeds_it_and_then_lets_go,
      a_braked_rotor_stops_and_stays, a_hanging_load_drives_the_motor_backwards,
      a_square_law_load_settles_where_the_closed_form_says,
      a_load_that_would_take_more_than_the_torque_at_stall_settles_within_the_accuracy_too, values_out_of_range_are_refused)
