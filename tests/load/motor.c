/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "load/pump.h"
#include "suite.h"
#include <float.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS_MOST = 64 };

/* A run and what it gives, row after row. */
struct given {
    struct dw_motor *motor;
    const struct dw_motor_plan *plan;
    bool any, blocked;
    double before_time;
    double before[DW_MOTOR_STATES];
    size_t before_mode;
    double energy[6];  /* J: supply, copper, switches, diodes, friction and drag, shaft */
    double stored;
};

/* One period of a gate that is on for a share of it, cut into as many rows as wanted. */
static size_t gate(double period, double duty, size_t pieces, double *time, double *input)
{
    size_t rows = 0;
    for (int half = 0; half < 2; half++)
        for (size_t k = 0; k <= pieces; k++, rows++) {
            double from = half ? duty * period : 0, to = half ? period : duty * period;
            time[rows] = k == pieces ? to : from + (to - from) * k / pieces;
            memset(input + rows * DW_MOTOR_INPUTS, 0, DW_MOTOR_INPUTS * sizeof *input);
            input[rows * DW_MOTOR_INPUTS + DW_MOTOR_PIN] = half ? 0 : 5;
            input[rows * DW_MOTOR_INPUTS + DW_MOTOR_LOW] = half ? 5 : 0;
        }
    return rows;
}

/* State and mode at the start of the steady period. */
static size_t steady(struct dw_motor *motor, double period, double duty, double *state)
{
    struct dw_error error = { .status = DW_OK };
    double time[ROWS_MOST], input[ROWS_MOST * DW_MOTOR_INPUTS];
    size_t rows = gate(period, duty, 1, time, input), mode = dw_plant_rest(dw_motor_plant(motor), NULL);
    memset(state, 0, DW_MOTOR_STATES * sizeof *state);
    const struct dw_period lap = { time, input, rows, NULL };
    succeeds(dw_modes_steady(dw_plant_modes(dw_motor_plant(motor)), &lap, &mode, state, NULL, &error), error);
    return mode;
}

/* ---- laws of the terminals ---- */

START_TEST(a_step_of_voltage_is_the_second_order_closed_form)
{
    struct dw_motor_plan p = pump;
    struct dw_error error = { .status = DW_OK };
    p.drive = DW_DRIVE_DIRECT;
    p.drag = 0;
    struct dw_motor *motor = motor_made(&p);
    struct dw_run *run = dw_run_new(dw_plant_modes(dw_motor_plant(motor)), &(struct dw_run_options){ 0 }, &error);
    const double u = 7.9, input[DW_MOTOR_INPUTS] = { u };
    /* L i' = u - R i - K w, J w' = K i - B w: both real roots in extended precision, from rest */
    long double r = p.resistance + p.switch_resistance, l = p.inductance, k = p.constant, j = p.inertia, b = p.friction;
    long double sum = r / l + b / j, product = (r * b + k * k) / (l * j), root = sqrtl(sum * sum - 4 * product);
    long double s1 = -(sum + root) / 2, s2 = product / s1, w_end = k * u / (r * b + k * k);
    succeeds(dw_run_start(run, 0, dw_plant_rest(dw_motor_plant(motor), NULL), (const double[3]){ 0 }, input, &error), error);
    for (double t = 1e-5; t < 1; t *= 1.7) {
        succeeds(dw_run_feed(run, t, input, &error), error);
        long double w = w_end * (1 + (s2 * expl(s1 * t) - s1 * expl(s2 * t)) / (s1 - s2));
        long double dw = w_end * s1 * s2 * (expl(s1 * t) - expl(s2 * t)) / (s1 - s2);
        within_scale(dw_run_state(run)[DW_MOTOR_SPEED], (double)w, 1e-13, dw_motor_no_load_speed(&p));
        within_scale(dw_run_state(run)[DW_MOTOR_CURRENT], (double)((j * dw + b * w) / k), 1e-13, dw_motor_stall_current(&p));
    }
    dw_run_free(run);
    dw_motor_free(motor);
}
END_TEST

/* Mean speed where the current never stops: mean voltage less R times the current that the friction takes. (7.5) */
START_TEST(mean_speed_against_duty_of_the_drives_that_conduct_always)
{
    for (int drive = DW_DRIVE_BRIDGE_SLOW; drive <= DW_DRIVE_ANTIPHASE; drive++) {
        if (drive == DW_DRIVE_BRIDGE_FAST)
            continue;
        struct dw_motor_plan p = pump;
        p.drive = (enum dw_motor_drive)drive;
        p.friction = 0;
        struct dw_motor *motor = motor_made(&p);
        for (double duty = 0.31; duty < 1; duty += 0.23) {
            const double period = 1 / 7.3e3, mean = drive == DW_DRIVE_ANTIPHASE ? 2 * duty - 1 : duty;
            double state[DW_MOTOR_STATES], sense = mean > 0 ? 1 : -1, current = sense * p.drag / p.constant;
            steady(motor, period, duty, state);
            double want = (mean * p.supply - (p.resistance + 2 * p.switch_resistance) * current) / p.constant;
            /* the speed ripples by about ripple current * K * T / (8 J): 3e-4 of the no-load speed here */
            within_scale(state[DW_MOTOR_SPEED], want, 5e-4, dw_motor_no_load_speed(&p));
        }
        dw_motor_free(motor);
    }
}
END_TEST

/* Whether any row of the steady period blocks. */
static enum dw_status look(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    (void)error;
    struct given *g = context;
    g->blocked = g->blocked || (dw_motor_blocked(g->motor, row->mode) && row->kind != DW_ROW_BEFORE && row->time > 0);
    return DW_OK;
}

START_TEST(conduction_becomes_discontinuous_at_the_closed_form_boundary)
{
    /* at constant speed, without drops, the current just reaches zero at the period's end where
     * K w = V (e^(D T/tau) - 1) / (e^(T/tau) - 1): (7.7). A flywheel keeps the speed constant within 1e-6. */
    struct dw_motor_plan p = pump;
    p.diode_drop = p.switch_resistance = p.friction = p.drag = 0;
    p.inertia = 10;
    const double period = 1 / 1612.9, duty = 0.37, tau = p.inductance / p.resistance;
    const double boundary = p.supply * expm1(duty * period / tau) / expm1(period / tau);
    for (int side = -1; side <= 1; side += 2) {
        struct given g = { .motor = motor_made(&p) };
        struct dw_error error = { .status = DW_OK };
        double time[ROWS_MOST], input[ROWS_MOST * DW_MOTOR_INPUTS], state[DW_MOTOR_STATES] = { 0 };
        size_t rows = gate(period, duty, 1, time, input);
        struct dw_run *run = dw_run_new(dw_plant_modes(dw_motor_plant(g.motor)),
                                        &(struct dw_run_options){ .accuracy = 1e-5, .sink = look, .context = &g }, &error);
        state[DW_MOTOR_SPEED] = boundary * (1 + side * 2e-5) / p.constant;
        /* a first period from zero current, then the second begins where the first ended */
        succeeds(dw_run_start(run, time[0], dw_plant_rest(dw_motor_plant(g.motor), NULL), state, input, &error), error);
        for (int lap = 0; lap < 2; lap++) {
            g.blocked = false;
            for (size_t i = lap ? 0 : 1; i < rows; i++)
                succeeds(dw_run_feed(run, lap * period + time[i], input + i * DW_MOTOR_INPUTS, &error), error);
        }
        ck_assert_msg(g.blocked == (side > 0), "side %d: blocked %d", side, g.blocked);
        dw_run_free(run);
        dw_motor_free(g.motor);
    }
}
END_TEST

/* Mean speed of one switch at light load: during a period the current rises from zero, falls, and stops. (7.8) */
START_TEST(one_switch_at_light_load_runs_too_fast_by_the_closed_form)
{
    struct dw_motor_plan p = pump;
    p.friction = p.switch_resistance = 0;
    p.inertia = 0.1;  /* constant speed within a period */
    p.drag = 0.0009;
    const double period = 1 / 1612.9, duty = 0.2, tau = p.inductance / p.resistance;
    struct dw_motor *motor = motor_made(&p);
    double state[DW_MOTOR_STATES];
    steady(motor, period, duty, state);
    double e = state[DW_MOTOR_SPEED] * p.constant, r = p.resistance;
    double peak = (p.supply - e) / r * -expm1(-duty * period / tau);
    double falls = tau * log1p(peak * r / (p.diode_drop + e));
    /* mean current: volt-seconds over R, since no flux is left at either end */
    double mean = ((p.supply - e) * duty * period - (p.diode_drop + e) * falls) / r / period;
    ck_assert(duty * period + falls < period);
    near(mean, p.drag / p.constant, 1e-3);  /* the speed moves by torque * T / J: 1e-4 of it */
    /* and not what duty times supply would give */
    ck_assert(e > 1.5 * duty * p.supply);
    dw_motor_free(motor);
}
END_TEST

/* ---- energy ---- */

/* Powers in the mode of a stretch, from current i and speed w; with their time derivatives, from i' and w'. */
static void powers(const struct dw_motor_plan *p, const char *conducts, double i, double w, double di, double dw, double *power,
                   double *rate)
{
    const bool bridge = p->drive != DW_DRIVE_ONE_SWITCH;
    const double r = p->switch_resistance * (bridge ? 2 : 1), d = p->diode_drop * (bridge ? 2 : 1), sense = w > 0 ? 1 : -1;
    double supply = 0, switches = 0, diode = 0;  /* shares: V of supply, ohm of switches, V of diodes */
    if (!strcmp(conducts, "the switch is on")) {
        supply = p->supply;
        switches = r;
    } else if (!strcmp(conducts, "the motor is shorted")) {
        switches = r;
    } else if (!strcmp(conducts, "the supply is reversed")) {
        supply = -p->supply;
        switches = r;
    } else if (!strcmp(conducts, "the diode conducts")) {
        supply = bridge ? -p->supply : 0;
        diode = d;
    } else if (!strcmp(conducts, "the diode across the switch conducts")) {
        supply = p->supply;
        diode = -d;
    }
    const double all[6][2] = {
        { supply * i, supply * di },
        { p->resistance * i * i, 2 * p->resistance * i * di },
        { switches * i * i, 2 * switches * i * di },
        { diode * i, diode * di },
        { p->friction * w * w + sense * p->drag * w, 2 * p->friction * w * dw + sense * p->drag * dw },
        { p->torque * w, p->torque * dw },
    };
    for (int k = 0; k < 6; k++) {
        power[k] = all[k][0];
        rate[k] = all[k][1];
    }
}

/* Which electrical mode a row is in, told from the outputs a user sees. */
static const char *conducting(const struct dw_motor_plan *p, const double *output, double i, bool blocked)
{
    /* outputs: terminal, back-emf, torque, angle, supply-current, switch-current, diode-current, switch, current, speed */
    double supply = output[4], diode = output[6];
    if (blocked)
        return "nothing";
    if (diode == i && (p->drive == DW_DRIVE_ONE_SWITCH || p->drive == DW_DRIVE_BRIDGE_FAST))
        return "the diode conducts";
    if (p->drive == DW_DRIVE_BRIDGE_SLOW && supply == 0)
        return "the motor is shorted";
    if (p->drive == DW_DRIVE_ANTIPHASE && supply == -i)
        return "the supply is reversed";
    if (supply == i && output[7] < 0 && i < 0 && p->drive != DW_DRIVE_ANTIPHASE && fabs(output[7] + p->diode_drop) < 1e-9)
        return "the diode across the switch conducts";
    return "the switch is on";
}

/* Adds the energies between two rows by the trapezium with the end slopes: error h^4 p'''' / 720. */
static enum dw_status add_energy(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    (void)error;
    struct given *g = context;
    const struct dw_motor_plan *p = g->plan;
    double h = row->time - g->before_time;
    if (g->any && h > 0) {
        /* mode of the stretch: that of the row before; the outputs of this row may be of the next mode */
        const char *mode = g->before_mode == row->mode || row->kind == DW_ROW_BEFORE || row->kind == DW_ROW_INPUT
                               ? conducting(p, row->output, row->state[0], dw_motor_blocked(g->motor, row->mode))
                               : "unknown";
        double di[2], dw[2], power[2][6], rate[2][6];
        for (int end = 0; end < 2; end++) {
            const double *x = end ? row->state : g->before;
            double volts = 0, ohms = p->resistance, bridge = p->drive == DW_DRIVE_ONE_SWITCH ? 1 : 2;
            if (!strcmp(mode, "the switch is on"))
                volts = p->supply, ohms += bridge * p->switch_resistance;
            else if (!strcmp(mode, "the motor is shorted"))
                ohms += 2 * p->switch_resistance;
            else if (!strcmp(mode, "the supply is reversed"))
                volts = -p->supply, ohms += 2 * p->switch_resistance;
            else if (!strcmp(mode, "the diode conducts"))
                volts = bridge > 1 ? -p->supply - 2 * p->diode_drop : -p->diode_drop;
            else if (!strcmp(mode, "the diode across the switch conducts"))
                volts = p->supply + bridge * p->diode_drop;
            di[end] = (volts - ohms * x[0] - p->constant * x[1]) / p->inductance;
            if (!strcmp(mode, "nothing"))
                di[end] = 0;
            dw[end] = (p->constant * x[0] - p->friction * x[1] - (x[1] > 0 ? 1 : -1) * p->drag - p->torque) / p->inertia;
            powers(p, mode, x[0], x[1], di[end], dw[end], power[end], rate[end]);
        }
        for (int k = 0; k < 6; k++)
            g->energy[k] += h / 2 * (power[0][k] + power[1][k]) + h * h / 12 * (rate[0][k] - rate[1][k]);
    }
    g->any = true;
    g->before_time = row->time;
    g->before_mode = row->mode;
    memcpy(g->before, row->state, sizeof g->before);
    return DW_OK;
}

START_TEST(over_a_steady_period_what_the_supply_gives_is_lost_or_leaves_by_the_shaft)
{
    enum { PIECES = 1500 };
    double *time = calloc(2 * (PIECES + 1), sizeof *time);
    double *input = calloc(2 * (PIECES + 1) * DW_MOTOR_INPUTS, sizeof *input);
    for (int drive = DW_DRIVE_ONE_SWITCH; drive <= DW_DRIVE_ANTIPHASE; drive++)
        for (double torque = 0; torque < 0.03; torque += 0.021) {
            struct dw_motor_plan p = pump;
            p.drive = (enum dw_motor_drive)drive;
            p.torque = torque;
            p.all = true;
            const double period = 1 / 2.13e3, duty = 0.77;
            struct given g = { .motor = motor_made(&p), .plan = &p };
            struct dw_error error = { .status = DW_OK };
            double state[DW_MOTOR_STATES];
            size_t mode = steady(g.motor, period, duty, state), rows = gate(period, duty, PIECES, time, input);
            struct dw_run *run = dw_run_new(dw_plant_modes(dw_motor_plant(g.motor)), &(struct dw_run_options){ .sink = add_energy, .context = &g },
                                            &error);
            succeeds(dw_run_start(run, 0, mode, state, input, &error), error);
            for (size_t i = 1; i < rows; i++)
                succeeds(dw_run_feed(run, time[i], input + i * DW_MOTOR_INPUTS, &error), error);
            double lost = 0;
            for (int k = 1; k < 6; k++)
                lost += g.energy[k];
            /* what came and went; the orbit closes to 1e-12 of the states, whose energy is some 100 times that of a period */
            ck_assert(g.energy[0] > 0 && g.energy[1] > 0);
            ck_assert_msg(fabs(g.energy[0] - lost) <= 1e-9 * (fabs(g.energy[0]) + lost), "drive %d torque %g: in %.12g lost %.12g",
                          drive, torque, g.energy[0], lost);
            dw_run_free(run);
            dw_motor_free(g.motor);
        }
    free(time);
    free(input);
}
END_TEST

START_TEST(a_rotor_that_sticks_for_a_thousand_periods_has_its_steady_state)
{
    /* L/R is 16 s: long after the periods that are followed the current is still too small for the drag */
    struct dw_motor_plan p = pump;
    const double period = 1e-3, duty = 0.37;
    double state[DW_MOTOR_STATES];
    p.inductance = 30;
    p.friction = 0;
    struct dw_motor *motor = motor_made(&p);
    steady(motor, period, duty, state);
    /* the torque carries the drag, and no voltage stays on L; V dt / L = 2e-4 A and 7e-4 of the speed is what is not smooth */
    const double current = p.drag / p.constant;
    const double speed = (duty * (p.supply - p.switch_resistance * current) - (1 - duty) * p.diode_drop - p.resistance * current) /
                         p.constant;
    near(state[DW_MOTOR_CURRENT], current, 2e-4 / current);
    near(state[DW_MOTOR_SPEED], speed, 7e-4);
    dw_motor_free(motor);
}
END_TEST

/* An overhauling load turns the motor until its back-EMF opens the diodes to the supply, which from then on brake it. */
START_TEST(a_load_that_turns_the_motor_faster_than_the_supply_feeds_it_back)
{
    for (int drive = DW_DRIVE_ONE_SWITCH; drive <= DW_DRIVE_BRIDGE_FAST; drive += DW_DRIVE_BRIDGE_FAST - DW_DRIVE_ONE_SWITCH)
        for (int sense = 1; sense >= (drive == DW_DRIVE_BRIDGE_FAST ? -1 : 1); sense -= 2)
            for (double torque = 0.011; torque < 0.3; torque *= 1.37) {
                struct dw_motor_plan p = pump;
                p.drive = (enum dw_motor_drive)drive;
                p.torque = -sense * torque;
                p.supply += torque;  /* how the speed at which diodes open rounds is chance: many of them */
                double state[DW_MOTOR_STATES];
                motor_runs(&p, 0, 0, 10, state);  /* many times J R / K^2, and what the torque needs to that speed */
                const double volts = p.supply + (drive == DW_DRIVE_BRIDGE_FAST ? 2 : 1) * p.diode_drop;
                /* K i + B w = torque - drag, K w = volts + R i, with i what flows back */
                const double speed = (p.constant * volts + p.resistance * (torque - p.drag)) /
                                     (p.constant * p.constant + p.resistance * p.friction);
                near(state[DW_MOTOR_SPEED], sense * speed, 1e-10);
                near(state[DW_MOTOR_CURRENT], -sense * (torque - p.drag - p.friction * speed) / p.constant, 1e-10);
            }
}
END_TEST

START_TEST(direction_reverses_a_bridge_like_a_mirror)
{
    for (int drive = DW_DRIVE_BRIDGE_SLOW; drive <= DW_DRIVE_BRIDGE_FAST; drive++) {
        struct dw_motor_plan p = pump;
        struct dw_error error = { .status = DW_OK };
        p.drive = (enum dw_motor_drive)drive;
        p.direction = true;
        double end[2][DW_MOTOR_STATES];
        for (int way = 0; way < 2; way++) {
            struct dw_motor *motor = motor_made(&p);
            struct dw_run *run = dw_run_new(dw_plant_modes(dw_motor_plant(motor)), &(struct dw_run_options){ 0 }, &error);
            double time[ROWS_MOST], input[ROWS_MOST * DW_MOTOR_INPUTS];
            size_t rows = gate(1e-3, 0.41, 1, time, input);
            for (int lap = 0; lap < 30; lap++)
                for (size_t i = 0; i < rows; i++) {
                    input[i * DW_MOTOR_INPUTS + DW_MOTOR_DIRECTION] = way ? -1 : 1;
                    double at = lap * 1e-3 + fmin(time[i], 0.999e-3);
                    const double *u = input + i * DW_MOTOR_INPUTS;
                    if (lap + i == 0)
                        succeeds(dw_run_start(run, at, dw_plant_rest(dw_motor_plant(motor), NULL), (const double[3]){ 0 }, u, &error), error);
                    else
                        succeeds(dw_run_feed(run, at, u, &error), error);
                }
            memcpy(end[way], dw_run_state(run), sizeof end[way]);
            dw_run_free(run);
            dw_motor_free(motor);
        }
        ck_assert(fabs(end[0][DW_MOTOR_SPEED]) > 1);
        near(end[1][DW_MOTOR_SPEED], -end[0][DW_MOTOR_SPEED], 1e-12);
        within_scale(end[1][DW_MOTOR_CURRENT], -end[0][DW_MOTOR_CURRENT], 1e-12, dw_motor_stall_current(&p));
    }
}
END_TEST

SUITE("load: motor", a_step_of_voltage_is_the_second_order_closed_form,
      mean_speed_against_duty_of_the_drives_that_conduct_always, conduction_becomes_discontinuous_at_the_closed_form_boundary,
      one_switch_at_light_load_runs_too_fast_by_the_closed_form,
      over_a_steady_period_what_the_supply_gives_is_lost_or_leaves_by_the_shaft,
      a_rotor_that_sticks_for_a_thousand_periods_has_its_steady_state,
      a_load_that_turns_the_motor_faster_than_the_supply_feeds_it_back, direction_reverses_a_bridge_like_a_mirror)
