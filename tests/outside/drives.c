/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Motor, switch and servo against handbooks. Books are cited from memory where it says so; the numbers of the first example were
 * worked through again by hand. */
#include "suite.h"
#include <dutywright/motor.h>
#include <dutywright/servo.h>
#include <dutywright/switch.h>
#include <float.h>

static const double PI = 3.14159265358979323846;

/* Where a motor ends on a constant voltage with a constant load. */
static const double *settled(const struct dw_motor_plan *plan, double volts, struct dw_motor **motor, struct dw_run **run)
{
    struct dw_error error = { .status = DW_OK };
    const double input[DW_MOTOR_INPUTS] = { volts };
    *motor = dw_motor_new(plan, &error);
    ck_assert_msg(*motor != NULL, "%s", error.text);
    *run = dw_run_new(dw_plant_modes(dw_motor_plant(*motor)), &(struct dw_run_options){ 0 }, &error);
    succeeds(dw_run_start(*run, 0, dw_plant_rest(dw_motor_plant(*motor), NULL), (const double[3]){ 0 }, input, &error), error);
    succeeds(dw_run_feed(*run, 1000, input, &error), error);
    return dw_run_state(*run);
}

/* A 25 kW, 125 V machine with constant field, armature 0.02 ohm, that gives 125 V open at 3000 r/min: on 128 V it takes
 * 150 A at that speed, 19.2 kW from the line, 18.75 kW electromagnetic, 59.7 N m.
 * Fitzgerald, Kingsley and Umans, Electric Machinery, 6th ed., chapter 4, example of a separately excited machine; from memory.
 * Inductance and inertia do not matter to the end value and are ours. */
START_TEST(a_handbook_machine_turns_at_its_speed)
{
    const double speed = 3000 * 2 * PI / 60, constant = 125 / speed, torque = 18750 / speed;
    const struct dw_motor_plan plan = { .resistance = 0.02, .inductance = 0.6e-3, .constant = constant, .inertia = 0.5,
                                        .torque = torque, .gear = 1, .drive = DW_DRIVE_DIRECT, .supply = 128 };
    struct dw_motor *motor;
    struct dw_run *run;
    const double *state = settled(&plan, 128, &motor, &run);
    near(torque, 59.7, 0.05 / 59.7);  /* as the book rounds it */
    near(state[DW_MOTOR_SPEED], speed, 1e-10);
    near(state[DW_MOTOR_CURRENT], 150, 1e-10);
    near(128 * state[DW_MOTOR_CURRENT], 19200, 1e-10);
    dw_run_free(run);
    dw_motor_free(motor);
}
END_TEST

/* Speed falls with load by R M / K^2, the straight speed-torque line of every textbook (Fitzgerald, Kingsley and Umans,
 * section 7.3; from memory), from no-load speed V / K to the stall torque K V / R. */
START_TEST(the_speed_torque_line_is_straight)
{
    struct dw_motor_plan plan = { .resistance = 1.83, .inductance = 0.94e-3, .constant = 0.0267, .inertia = 8.7e-6, .gear = 1,
                                  .drive = DW_DRIVE_DIRECT, .supply = 12 };
    const double stall = plan.constant * 12 / plan.resistance;
    for (double share = 0; share < 1; share += 0.17) {
        struct dw_motor *motor;
        struct dw_run *run;
        plan.torque = share * stall;
        near(settled(&plan, 12, &motor, &run)[DW_MOTOR_SPEED], 12 / plan.constant * (1 - share), 1e-12);
        dw_run_free(run);
        dw_motor_free(motor);
    }
}
END_TEST

/* Energy of a clamped inductive turn-on V I t / 2 (Erickson and Maksimovic, Fundamentals of Power Electronics, 3rd ed.,
 * section 4.3) and of a resistive edge V I t / 6, half of it a triangle's third (integral of x (1 - x)); from memory. */
START_TEST(edges_lose_the_handbook_energy)
{
    const struct dw_switch clamped = { .kind = DW_SWITCH_MOSFET, .on_resistance = 1, .supply = 48, .edge = 70e-9 };
    struct dw_switch resistive = clamped;
    resistive.edges = DW_EDGES_RESISTIVE;
    near(dw_switch_turn_off(&clamped, 3.7), 48 * 3.7 * 70e-9 / 2, 4 * DBL_EPSILON);
    near(dw_switch_turn_off(&resistive, 3.7), 48 * 3.7 * 70e-9 / 6, 4 * DBL_EPSILON);
    /* the integral itself, by Simpson's rule, exact for a parabola */
    double sum = 0;
    for (int k = 0; k <= 2; k++)
        sum += (k == 1 ? 4 : 1) * 48 * (1 - k / 2.0) * 3.7 * (k / 2.0);
    near(dw_switch_turn_off(&resistive, 3.7), sum * 70e-9 / 6, 4 * DBL_EPSILON);
}
END_TEST

/* Tj = Ta + P (Rjc + Rcs + Rsa): the thermal Ohm's law (JESD51-1:1995, equation for the junction-to-reference resistance;
 * from memory). 11.3 W, 40 degC, 1.5 + 0.4 + 4.2 K/W give 108.93 degC; numbers ours. */
START_TEST(a_steady_junction_is_ambient_and_power_times_resistances)
{
    struct dw_error error = { .status = DW_OK };
    double junction;
    succeeds(dw_switch_steady_junction(&(struct dw_junction_heating){ 0, 0, 11.3, 1.5 + 0.4 + 4.2, 40 }, &junction, &error), error);
    near(junction, 108.93, 4 * DBL_EPSILON);
    near(dw_switch_heatsink(11.3, 1.5 + 0.4, 0, 40, 108.93), 4.2, 32 * DBL_EPSILON);
}
END_TEST

/* Rectangular pulses of a power P, on for a share D of the period T: steady extremes of the junction over ambient are the sums of
 * P r (1 - e^(-D T / tau)) / (1 - e^(-T / tau)), and that times e^(-(1 - D) T / tau); the mean is P D times the sum of r
 * (the thermal response to repeated pulses of every power transistor's data sheet; JESD51-14 for the network; from memory). */
START_TEST(repeated_pulses_of_power_heat_by_the_formula_of_data_sheets)
{
    static const struct dw_thermal_pair pairs[] = { { 0.3, 2e-4 }, { 0.9, 8e-3 }, { 9, 40 } };
    const struct dw_switch transistor = { .kind = DW_SWITCH_MOSFET, .on_resistance = 0.04, .supply = 12 };
    for (double period = 1e-5; period < 2; period *= 11)
        for (double duty = 0.07; duty < 1; duty += 0.31) {
            const double power = 0.04 * 2.9 * 2.9;
            const double rows[][2] = { { 0, 2.9 }, { duty * period, 2.9 }, { duty * period, 0 }, { period, 0 } };
            double highest = 35, after = 35, mean = 35;
            for (int i = 0; i < 3; i++) {
                const double rise = power * pairs[i].resistance * expm1(-duty * period / pairs[i].time_constant) / expm1(-period / pairs[i].time_constant);
                highest += rise;
                after += rise * exp(-(1 - duty) * period / pairs[i].time_constant);
                mean += power * duty * pairs[i].resistance;
            }
            struct dw_error error = { .status = DW_OK };
            struct dw_heat_result r;
            struct dw_thermal *thermal = dw_thermal_new(pairs, 3, 35, &error);
            const struct dw_heat_source source = { .columns = 2, .current = 1, .period = period };
            struct dw_heat *heat = dw_heat_new(&transistor, thermal, &source, NULL, &error);
            succeeds(dw_heat_start_steady(heat, rows[0], 4, &error), error);
            near(dw_thermal_now(thermal), after, 1e-13);  /* some tens of roundings of 35 to 40 degC */
            for (int i = 0; i < 4; i++)
                succeeds(dw_heat_row(heat, rows[i], &error), error);
            succeeds(dw_heat_finish(heat, &r, &error), error);
            near(r.junction_highest, highest, 1e-13);
            near(r.junction_last, after, 1e-13);
            near(r.junction_mean, mean, 1e-13);
            dw_heat_free(heat);
            dw_thermal_free(thermal);
        }
}
END_TEST

/* Of hobby servos a pulse of 1.5 ms asks for the centre; 1 to 2 ms nominally for -90 to 90 deg, in practice it takes 0.5 to 2.5 ms; a data
 * sheet's 0.12 s for 60 deg is 500 deg/s. Common practice, no source. */
START_TEST(a_servo_has_its_centre_and_ends_where_the_trade_has_them)
{
    static const double ends[2][2] = { { 1e-3, 2e-3 }, { 0.5e-3, 2.5e-3 } };
    for (int k = 0; k < 2; k++) {
        const struct dw_servo_plan p = { .points = { { ends[k][0], -90 }, { ends[k][1], 90 } }, .point_count = 2, .slew = 60 / 0.12,
                                         .lost_after = 0.1, .stop_low = -90, .stop_high = 90, .dead_band = 1e-6 };
        struct dw_error error;
        succeeds(dw_servo_check(&p, &error), error);
        within_scale(dw_servo_angle(&p, 1.5e-3), 0, 4 * DBL_EPSILON, 90);
        near(dw_servo_angle(&p, ends[k][1]), 90, 4 * DBL_EPSILON);
        near(dw_servo_width(&p, -90), ends[k][0], 4 * DBL_EPSILON);
        near(dw_servo_band(&p), k ? 0.09 : 0.18, 8 * DBL_EPSILON); /* a microsecond */
    }
}
END_TEST

SUITE("outside: motor, switch and servo", a_servo_has_its_centre_and_ends_where_the_trade_has_them,
      a_handbook_machine_turns_at_its_speed, the_speed_torque_line_is_straight,
      repeated_pulses_of_power_heat_by_the_formula_of_data_sheets,
      edges_lose_the_handbook_energy, a_steady_junction_is_ambient_and_power_times_resistances)
