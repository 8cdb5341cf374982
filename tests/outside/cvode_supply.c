/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Supplies that give way under a load, against an independent solver: SUNDIALS CVODE (Hindmarsh et al. 2005, ACM Trans. Math. Softw. 31:363),
 * BDF at tight tolerance, with the node at the load solved on its own and its own root-finding for the diode in the line. */
#include "draw.h"
#include "outside/cvode.h"
#include "suite.h"
#include <dutywright/coil.h>
#include <dutywright/ladder.h>
#include <dutywright/motor.h>

enum { CASES = 24, PERIODS = 6, CURRENT = 0, SPEED, LINE, BULK, SLOW, STATES };

struct other {
    const struct dw_motor_plan *p;
    bool on, blocks;
    double line, node;  /* A, V at the load, as last worked out */
};

/* What the supply gives of the motor's current: 1, 0 or -1. */
static double share(const struct other *o)
{
    return o->on ? 1 : o->p->drive == DW_DRIVE_ANTIPHASE ? -1 : 0;
}

/* Kirchhoff at the load's node: the line's current is a state or what its resistance lets through, the capacitor takes the rest. */
static void solve_node(struct other *o, const double *y)
{
    const struct dw_supply *s = &o->p->source;
    const double taken = share(o) * y[CURRENT], source = o->p->supply - y[SLOW], r = s->line_resistance + s->inner_resistance;
    if (!(s->bulk > 0)) {
        o->line = taken;
        o->node = source - r * taken;
    } else if (o->blocks || s->line_inductance > 0) {
        o->line = o->blocks ? 0 : y[LINE];
        o->node = y[BULK] + s->bulk_resistance * (o->line - taken);
    } else {  /* (source - node)/r = line, (node - bulk)/esr = line - taken */
        o->line = (source - y[BULK] + s->bulk_resistance * taken) / (r + s->bulk_resistance);
        o->node = source - r * o->line;
    }
}

static int right_side(realtype t, N_Vector state, N_Vector rate, void *data)
{
    (void)t;
    struct other *o = data;
    const struct dw_motor_plan *p = o->p;
    const struct dw_supply *s = &p->source;
    const double *y = NV_DATA_S(state), r = s->line_resistance + s->inner_resistance;
    double *dy = NV_DATA_S(rate);
    const double path = p->drive == DW_DRIVE_ONE_SWITCH ? (o->on ? 1 : 0) : 2;
    solve_node(o, y);
    const double volts = share(o) * o->node - (p->drive == DW_DRIVE_ONE_SWITCH && !o->on ? p->diode_drop : 0);
    dy[CURRENT] = (volts - (p->resistance + path * p->switch_resistance) * y[CURRENT] - p->constant * y[SPEED]) / p->inductance;
    dy[SPEED] = (p->constant * y[CURRENT] - p->friction * y[SPEED] - p->torque) / p->inertia;
    dy[LINE] = s->line_inductance > 0 && !o->blocks ? (p->supply - y[SLOW] - r * y[LINE] - o->node) / s->line_inductance : 0;
    dy[BULK] = s->bulk > 0 ? (o->line - share(o) * y[CURRENT]) / s->bulk : 0;
    dy[SLOW] = s->slow_capacitance > 0 ? (o->line - y[SLOW] / s->slow_resistance) / s->slow_capacitance : 0;
    return 0;
}

static int root(realtype t, N_Vector state, realtype *g, void *data)
{
    (void)t;
    struct other *o = data;
    solve_node(o, NV_DATA_S(state));
    g[0] = !o->p->source.no_return ? 1 : o->blocks ? o->node - (o->p->supply - NV_Ith_S(state, SLOW)) : o->line;
    return 0;
}

static void watch_falling(struct solver *s, CVRootFn what)
{
    solver_watch(s, 1, what);
    ck_assert_int_eq(CVodeSetRootDirection(s->memory, (int[]){ -1 }), CV_SUCCESS);
}

/* Goes on where the first state is a current that a diode lets stop; returns how often it does. */
static int pass_stops(struct solver *s, double from, double until)
{
    int stops = 0;
    for (double t = from; t < until;) {
        solver_begin(s, t);
        if (solver_go(s, until, &t)) {
            NV_Ith_S(s->y, 0) = 0;
            stops++;
        }
    }
    return stops;
}

static void integrate(struct solver *s, struct other *o, double from, double until)
{
    double t = from, g;
    root(t, s->y, &g, o);
    if (g < 0)  /* at an edge of the gate what flows jumps */
        o->blocks = !o->blocks;
    solver_begin(s, t);
    while (t < until)
        if (solver_go(s, until, &t)) {
            if (!o->blocks)
                NV_Ith_S(s->y, LINE) = 0;
            o->blocks = !o->blocks;
            solver_begin(s, t);
        }
}

static uint64_t seed = 20260914;
static double between(double low, double high)
{
    return drawn_between(&seed, low, high);
}

/* Line with and without inductance, bulk with and without esr, a battery, a diode; braking loads turn the energy back. */
static struct dw_motor_plan random_motor(int k)
{
    static const enum dw_motor_drive drives[] = { DW_DRIVE_ONE_SWITCH, DW_DRIVE_BRIDGE_SLOW, DW_DRIVE_ANTIPHASE };
    struct dw_motor_plan p = { .resistance = between(0.5, 3), .inductance = between(0.3e-3, 2e-3), .constant = between(0.01, 0.04),
                               .inertia = between(3e-6, 2e-5), .friction = between(1e-6, 2e-5), .torque = between(0.005, 0.04),
                               .gear = 1, .drive = drives[k % 3], .supply = between(9, 14), .diode_drop = 0.7,
                               .switch_resistance = between(0, 0.1), .threshold = 1.65 };
    const bool bulk = k % 4 != 0;
    if (k % 3 == 2)
        p.torque = -p.torque;  /* it drives the motor */
    p.source = (struct dw_supply){ .line_resistance = between(0.05, 0.6), .line_inductance = bulk && k % 2 ? between(1e-6, 2e-5) : 0,
                                   .bulk = bulk ? between(47e-6, 1e-3) : 0, .bulk_resistance = bulk && k % 5 ? between(0.02, 0.3) : 0,
                                   .inner_resistance = k % 6 == 1 ? between(0.05, 0.3) : 0,
                                   .slow_resistance = k % 6 == 1 ? between(0.05, 0.3) : 0, .slow_capacitance = k % 6 == 1 ? 0.1 : 0,
                                   .no_return = bulk && k % 3 == 2 };
    return p;
}

static size_t states_of(const struct dw_supply *s, int *index)
{
    size_t n = DW_MOTOR_STATES;
    index[0] = s->line_inductance > 0 ? (int)n++ : -1;
    index[1] = s->bulk > 0 ? (int)n++ : -1;
    index[2] = s->slow_capacitance > 0 ? (int)n++ : -1;
    return n;
}

/* At every edge all states within 1e-7 of their size: CVODE's own error, a thousand of its tolerance, over some hundred time constants of the
 * line. */
START_TEST(motors_on_supplies_that_give_way_agree)
{
    int blocked = 0;
    for (int k = 0; k < CASES; k++) {
        const struct dw_motor_plan plan = random_motor(k);
        /* one switch so fast that from standstill its current always flows */
        const double period = plan.drive == DW_DRIVE_ONE_SWITCH ? 1 / 9000.0 : k % 2 ? 1 / 1600.0 : 1 / 450.0, duty = between(0.3, 0.9);
        struct dw_error error = { .status = DW_OK };
        struct other other = { .p = &plan };
        struct solver solver;
        solver_open(&solver, CV_BDF, STATES, right_side, &other, 1e-12);
        watch_falling(&solver, root);
        N_Vector y = solver.y;
        NV_Ith_S(y, BULK) = plan.supply;
        struct dw_motor *motor = dw_motor_new(&plan, &error);
        ck_assert_msg(motor != NULL, "%s", error.text);
        struct dw_plant *plant = dw_motor_plant(motor);
        struct dw_run *run = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ 0 }, &error);
        double input[DW_MOTOR_INPUTS] = { 3.3 }, state[DW_STATES];
        int index[3];
        ck_assert_uint_eq(states_of(&plan.source, index), dw_plant_states(plant));
        const size_t mode = dw_plant_rest(plant, state);
        succeeds(dw_run_start(run, 0, mode, state, input, &error), error);
        for (int edge = 0; edge < 2 * PERIODS; edge++) {
            const double from = (edge / 2 + (edge % 2 ? duty : 0)) * period, to = (edge / 2 + (edge % 2 ? 1 : duty)) * period;
            other.on = edge % 2 == 0;
            integrate(&solver, &other, from, to);
            blocked += other.blocks;
            succeeds(dw_run_feed(run, to, input, &error), error);
            const double *x = dw_run_state(run), amperes = plan.supply / plan.resistance;
            within_scale(x[DW_MOTOR_CURRENT], NV_Ith_S(y, CURRENT), 1e-7, amperes);
            within_scale(x[DW_MOTOR_SPEED], NV_Ith_S(y, SPEED), 1e-7, plan.supply / plan.constant);
            if (index[0] >= 0)
                within_scale(x[index[0]], NV_Ith_S(y, LINE), 1e-7, amperes);
            if (index[1] >= 0)
                within_scale(x[index[1]], NV_Ith_S(y, BULK), 1e-7, plan.supply);
            if (index[2] >= 0)
                within_scale(x[index[2]], NV_Ith_S(y, SLOW), 1e-7, plan.supply);
            input[0] = edge % 2 ? 3.3 : 0;
            succeeds(dw_run_feed(run, to, input, &error), error);
        }
        dw_run_free(run);
        dw_motor_free(motor);
        solver_close(&solver);
    }
    ck_assert_int_gt(blocked, 10);
}
END_TEST

/* ---- a coil ---- */

/* A coil whose current goes at switch-off round through a diode, or through a zener across the switch and so through the supply. */
struct other_coil {
    const struct dw_coil_plan *p;
    bool on;
};

static int coil_side(realtype t, N_Vector state, N_Vector rate, void *data)
{
    const struct other_coil *o = data;
    const struct dw_supply *s = &o->p->source;
    const double *y = NV_DATA_S(state), drawn = o->on || o->p->clamp == DW_CLAMP_ZENER ? y[0] : 0, node = y[2] + s->bulk_resistance * (y[1] - drawn);
    double *dy = NV_DATA_S(rate);
    (void)t;
    const double volts = o->on ? node - o->p->switch_resistance * y[0]
                               : o->p->clamp == DW_CLAMP_ZENER ? node - o->p->clamp_value : -o->p->diode_drop;
    dy[0] = o->on || y[0] > 0 ? (volts - o->p->resistance * y[0]) / o->p->inductance : 0;
    dy[1] = (o->p->supply - s->line_resistance * y[1] - node) / s->line_inductance;
    dy[2] = (y[1] - drawn) / s->bulk;
    return 0;
}

static int coil_root(realtype t, N_Vector state, realtype *g, void *data)
{
    (void)t;
    g[0] = ((struct other_coil *)data)->on || NV_Ith_S(state, 0) == 0 ? 1 : NV_Ith_S(state, 0);
    return 0;
}

/* Through rise and decay, until long after the current has stopped: all states at each edge within 1e-7 of their size. */
START_TEST(coils_on_a_supply_that_gives_way_agree)
{
    for (int k = 0; k < 2; k++) {
        const struct dw_coil_plan plan = { .resistance = 15, .inductance = 0.11, .supply = 12, .clamp = k ? DW_CLAMP_ZENER : DW_CLAMP_DIODE,
                                           .clamp_at_switch = k, .clamp_value = 36, .diode_drop = 0.7, .switch_resistance = 0.1,
                                           .threshold = 1.65, .source = { .line_resistance = 1.7, .line_inductance = 150e-6, .bulk = 100e-6,
                                                                          .bulk_resistance = 0.2 } };
        struct dw_error error = { .status = DW_OK };
        struct other_coil other = { &plan, true };
        struct solver solver;
        solver_open(&solver, CV_BDF, 3, coil_side, &other, 1e-12);
        watch_falling(&solver, coil_root);
        N_Vector y = solver.y;
        NV_Ith_S(y, 2) = 12;
        struct dw_coil *coil = dw_coil_new(&plan, &error);
        ck_assert_msg(coil != NULL, "%s", error.text);
        struct dw_run *run = dw_run_new(dw_plant_modes(dw_coil_plant(coil)), &(struct dw_run_options){ 0 }, &error);
        double state[DW_STATES], pin = 3.3;
        const size_t mode = dw_plant_rest(dw_coil_plant(coil), state);
        succeeds(dw_run_start(run, 0, mode, state, &pin, &error), error);
        for (int edge = 0; edge < 6; edge++) {
            const double from = (edge / 2 + (edge % 2 ? 0.3 : 0)) / 12, to = (edge / 2 + (edge % 2 ? 1 : 0.3)) / 12;
            other.on = edge % 2 == 0;
            pass_stops(&solver, from, to);
            succeeds(dw_run_feed(run, to, &pin, &error), error);
            within_scale(dw_run_state(run)[DW_COIL_CURRENT], NV_Ith_S(y, 0), 1e-7, 0.8);
            within_scale(dw_run_state(run)[DW_COIL_STATES], NV_Ith_S(y, 1), 1e-7, 0.8);
            within_scale(dw_run_state(run)[DW_COIL_STATES + 1], NV_Ith_S(y, 2), 1e-7, 12);
            pin = edge % 2 ? 3.3 : 0;
            succeeds(dw_run_feed(run, to, &pin, &error), error);
        }
        dw_run_free(run);
        dw_coil_free(coil);
        solver_close(&solver);
    }
}
END_TEST

struct other_filter {
    const struct dw_stage *stage;
    const struct dw_ladder_setup *setup;
    double load;
    bool on;
};

/* Coil, capacitor, line, bulk. */
static int filter_side(realtype t, N_Vector state, N_Vector rate, void *data)
{
    const struct other_filter *o = data;
    const struct dw_supply *s = &o->setup->source;
    const double *y = NV_DATA_S(state), drawn = o->on ? y[0] : 0, node = y[3] + s->bulk_resistance * (y[2] - drawn);
    double *dy = NV_DATA_S(rate);
    (void)t;
    dy[0] = o->on || y[0] > 0 ? ((o->on ? node : -o->setup->diode_drop) - o->stage->r * y[0] - y[1]) / o->stage->l : 0;
    dy[1] = (y[0] - y[1] / o->load) / o->stage->c;
    dy[2] = (o->setup->supply - s->line_resistance * y[2] - node) / s->line_inductance;
    dy[3] = (y[2] - drawn) / s->bulk;
    return 0;
}

static int filter_root(realtype t, N_Vector state, realtype *g, void *data)
{
    (void)t;
    g[0] = ((struct other_filter *)data)->on || NV_Ith_S(state, 0) == 0 ? 1 : NV_Ith_S(state, 0);
    return 0;
}

/* Under a load whose current never stops, and under a light one where it does in every period: supply and output at each edge within 1e-7. */
START_TEST(filters_behind_one_switch_on_a_supply_that_gives_way_agree)
{
    for (int k = 0; k < 2; k++) {
        const struct dw_stage stage = { .r = 0.31, .l = 180e-6, .c = 47e-6 };
        const struct dw_ladder_setup setup = { .supply = 12, .drive = DW_ONE_SWITCH, .threshold = 1.65, .diode_drop = 0.7,
                                               .source = { .line_resistance = 0.4, .line_inductance = 6e-6, .bulk = 220e-6, .bulk_resistance = 0.08 } };
        struct dw_error error = { .status = DW_OK };
        struct other_filter other = { &stage, &setup, k ? 170 : 1.6, true };
        struct solver solver;
        int stopped = 0;
        solver_open(&solver, CV_BDF, 4, filter_side, &other, 1e-12);
        watch_falling(&solver, filter_root);
        N_Vector y = solver.y;
        NV_Ith_S(y, 3) = setup.supply;
        struct dw_ladder *ladder = dw_ladder_new(&(struct dw_ladder_plan){ .stages = &stage, .count = 1, .load = other.load }, &error);
        struct dw_plant *plant = ladder ? dw_ladder_plant_new(ladder, &setup, &error) : NULL;
        ck_assert_msg(plant != NULL, "%s", error.text);
        struct dw_run *run = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ 0 }, &error);
        double state[DW_STATES], pin = 3.3, out[2], slope[2];
        ck_assert_uint_eq(dw_plant_outputs(plant), 2);
        const size_t mode = dw_plant_rest(plant, state);
        succeeds(dw_run_start(run, 0, mode, state, &pin, &error), error);
        for (int edge = 0; edge < 60; edge++) {
            const double from = (edge / 2 + (edge % 2 ? 0.42 : 0)) / 22500, to = (edge / 2 + (edge % 2 ? 1 : 0.42)) / 22500;
            other.on = edge % 2 == 0;
            stopped += pass_stops(&solver, from, to);
            succeeds(dw_run_feed(run, to, &pin, &error), error);
            dw_run_output(run, out, slope);
            const double drawn = other.on ? NV_Ith_S(y, 0) : 0;
            within_scale(out[0], NV_Ith_S(y, 3) + setup.source.bulk_resistance * (NV_Ith_S(y, 2) - drawn), 1e-7, setup.supply);
            within_scale(out[1], NV_Ith_S(y, 1), 1e-7, setup.supply);
            pin = edge % 2 ? 3.3 : 0;
            succeeds(dw_run_feed(run, to, &pin, &error), error);
        }
        ck_assert(k ? stopped > 20 : !stopped);
        dw_run_free(run);
        dw_plant_free(plant);
        dw_ladder_free(ladder);
        solver_close(&solver);
    }
}
END_TEST

SUITE("outside: supplies", filters_behind_one_switch_on_a_supply_that_gives_way_agree,
      coils_on_a_supply_that_gives_way_agree, motors_on_supplies_that_give_way_agree)
