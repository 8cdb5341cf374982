/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The motor against an independent solver: SUNDIALS CVODE (Hindmarsh et al. 2005, ACM Trans. Math. Softw. 31:363), BDF at
 * tight tolerance, with its own root-finding for diodes and standstill and its own table of what conducts. */
#include "draw.h"
#include "outside/cvode.h"
#include "outside/measured.h"
#include "suite.h"
#include <dutywright/motor.h>
#include <stdint.h>

enum { CASES = 32, PERIODS = 5, SUMMED = 5 /* states, where integrals of current, its square and speed are among them */ };

/* What CVODE's side knows: the motor, the gate, and which way the diodes and the rotor are. */
struct other {
    const struct dw_motor_plan *p;
    bool on;
    int flows;  /* -1, 0, 1: current's sign while diodes decide; 2: transistors */
    int turns;  /* -1, 0, 1 */
};

static double volts(const struct other *o, double i)
{
    const struct dw_motor_plan *p = o->p;
    const double r = p->switch_resistance * (p->drive == DW_DRIVE_ONE_SWITCH ? 1 : 2);
    if (o->on)
        return p->supply - r * i;
    switch (p->drive) {
    case DW_DRIVE_ONE_SWITCH: return o->flows > 0 ? -p->diode_drop : p->supply + p->diode_drop;
    case DW_DRIVE_BRIDGE_SLOW: return -r * i;
    case DW_DRIVE_BRIDGE_FAST: return (o->flows > 0 ? -1 : 1) * (p->supply + 2 * p->diode_drop);
    case DW_DRIVE_ANTIPHASE: return -p->supply - r * i;
    case DW_DRIVE_DIRECT: break;
    }
    return NAN;
}

static int right_side(realtype t, N_Vector y, N_Vector dy, void *data)
{
    (void)t;
    const struct other *o = data;
    const struct dw_motor_plan *p = o->p;
    double i = NV_Ith_S(y, 0), w = NV_Ith_S(y, 1);
    NV_Ith_S(dy, 0) = o->flows ? (volts(o, i) - p->resistance * i - p->constant * w) / p->inductance : 0;
    NV_Ith_S(dy, 1) = o->turns ? (p->constant * i - p->friction * w - o->turns * p->drag - p->torque) / p->inertia : 0;
    if (NV_LENGTH_S(y) == SUMMED) {
        NV_Ith_S(dy, 2) = i;
        NV_Ith_S(dy, 3) = i * i;
        NV_Ith_S(dy, 4) = w;
    }
    return 0;
}

/* Zero where the present choice ends. */
static int roots(realtype t, N_Vector y, realtype *g, void *data)
{
    (void)t;
    const struct other *o = data;
    const struct dw_motor_plan *p = o->p;
    double i = NV_Ith_S(y, 0), w = NV_Ith_S(y, 1);
    g[0] = o->flows == 2 || o->flows == 0 ? 1 : i;
    g[1] = o->turns ? w : 1;
    g[2] = o->turns ? 1 : p->drag - fabs(p->constant * i - p->torque);
    return 0;
}

/* Chooses again after a gate's edge or a root. */
static void choose(struct other *o, double *i, double *w)
{
    const struct dw_motor_plan *p = o->p;
    bool diodes = !o->on && (p->drive == DW_DRIVE_ONE_SWITCH || p->drive == DW_DRIVE_BRIDGE_FAST);
    if (diodes && fabs(*i) < 1e-9)
        *i = 0;
    o->flows = !diodes ? 2 : *i > 0 ? 1 : *i < 0 ? -1 : 0;
    if (fabs(*w) < 1e-9)
        *w = 0;
    double push = p->constant * *i - p->torque;
    o->turns = *w > 0 ? 1 : *w < 0 ? -1 : push > p->drag ? 1 : push < -p->drag ? -1 : 0;
}

/* Carries y to time `until`, event by event. */
static void integrate(struct solver *s, struct other *o, double from, double until)
{
    double t = from;
    N_Vector y = s->y;
    choose(o, &NV_Ith_S(y, 0), &NV_Ith_S(y, 1));
    solver_begin(s, t);
    while (t < until) {
        if (solver_go(s, until, &t)) {
            int found[3];
            CVodeGetRootInfo(s->memory, found);
            if (found[0])
                NV_Ith_S(y, 0) = 0;
            if (found[1])
                NV_Ith_S(y, 1) = 0;
            if (found[2])  /* just beyond, so that it lets go */
                NV_Ith_S(y, 0) *= 1 + 1e-15;
            choose(o, &NV_Ith_S(y, 0), &NV_Ith_S(y, 1));
            if (found[2])
                o->turns = o->p->constant * NV_Ith_S(y, 0) > o->p->torque ? 1 : -1;
            solver_begin(s, t);
        }
    }
}

static uint64_t seed = 20240611;
static double between(double low, double high)
{
    return drawn_between(&seed, low, high);
}

static struct dw_motor_plan random_motor(int k)
{
    struct dw_motor_plan p = { .gear = 1, .threshold = 2.5, .drive = (enum dw_motor_drive)(DW_DRIVE_ONE_SWITCH + k % 4) };
    p.supply = between(3, 48);
    p.resistance = between(0.3, 12);
    p.inductance = p.resistance * exp(between(log(3e-5), log(3e-3)));
    double no_load = between(150, 900);
    p.constant = p.supply / no_load;
    p.inertia = exp(between(log(2e-4), log(3e-2))) * p.constant * p.constant / p.resistance;
    p.friction = between(0, 0.01) * p.constant * p.constant / p.resistance;
    p.drag = between(0.005, 0.2) * p.constant * p.supply / p.resistance;
    p.torque = k % 3 ? between(-0.1, 0.3) * p.constant * p.supply / p.resistance : 0;
    p.diode_drop = between(0.2, 1.2);
    p.switch_resistance = between(0, 0.05) * p.resistance;
    return p;
}

START_TEST(states_at_every_edge_agree_with_an_independent_solver)
{
    unsigned long long events = 0;
    for (int k = 0; k < CASES; k++) {
        struct dw_motor_plan p = random_motor(k);
        struct dw_error error = { .status = DW_OK };
        struct dw_motor *motor = dw_motor_new(&p, &error);
        ck_assert_msg(motor != NULL, "%s", error.text);
        struct dw_run *run = dw_run_new(dw_plant_modes(dw_motor_plant(motor)), &(struct dw_run_options){ 0 }, &error);
        const double period = exp(between(log(1e-4), log(4e-3))), duty = between(0.15, 0.85);

        struct other o = { .p = &p };
        struct solver s;
        solver_open(&s, CV_BDF, 2, right_side, &o, 1e-13);
        solver_watch(&s, 3, roots);

        double input[DW_MOTOR_INPUTS] = { 5 };
        succeeds(dw_run_start(run, 0, dw_plant_rest(dw_motor_plant(motor), NULL), (const double[3]){ 0 }, input, &error), error);
        for (int lap = 0; lap < PERIODS; lap++)
            for (int half = 0; half < 2; half++) {
                double from = (lap + (half ? duty : 0)) * period, to = (lap + (half ? 1 : duty)) * period;
                input[DW_MOTOR_PIN] = half ? 0 : 5;
                succeeds(dw_run_feed(run, from, input, &error), error);
                succeeds(dw_run_feed(run, to, input, &error), error);
                o.on = !half;
                integrate(&s, &o, from, to);
                const double *state = dw_run_state(run);
                /* CVODE's 1e-12 a step grows to some 1e-9 of the scale over a few thousand steps */
                within_scale(state[DW_MOTOR_CURRENT], NV_Ith_S(s.y, 0), 5e-9, dw_motor_stall_current(&p));
                within_scale(state[DW_MOTOR_SPEED], NV_Ith_S(s.y, 1), 5e-9, dw_motor_no_load_speed(&p));
            }
        events += dw_run_events(run);
        solver_close(&s);
        dw_run_free(run);
        dw_motor_free(motor);
    }
    /* the gates alone make 2 a period: diodes and standstill must have come in, or this proves little */
    ck_assert_msg(events > 3 * CASES * PERIODS, "only %llu events", events);
}
END_TEST

START_TEST(means_and_heat_measured_in_the_table_agree_with_integrals_of_an_independent_solver)
{
    for (int k = 0; k < CASES; k++) {
        struct dw_motor_plan p = random_motor(k);
        struct other o = { .p = &p };
        struct solver s;
        solver_open(&s, CV_BDF, SUMMED, right_side, &o, 1e-13);
        solver_watch(&s, 3, roots);
        const double period = exp(between(log(1e-4), log(4e-3))), duty = between(0.15, 0.85), all = PERIODS * period;
        for (int lap = 0; lap < PERIODS; lap++)
            for (int half = 0; half < 2; half++) {
                o.on = !half;
                integrate(&s, &o, (lap + (half ? duty : 0)) * period, (lap + (half ? 1 : duty)) * period);
            }
        struct dw_error error = { .status = DW_OK };
        struct dw_motor *motor = dw_motor_new(&p, &error);
        ck_assert_msg(motor != NULL, "%s", error.text);
        struct dw_meter *meter = measured_in_table(dw_motor_plant(motor), DW_MOTOR_PIN, PERIODS, period, duty);
        dw_motor_free(motor);
        const double stall = dw_motor_stall_current(&p), mean = dw_meter_result(meter, 1, DW_MEASURE_MEAN).value;
        /* the table's 2e-8 of the scale, and CVODE's 5e-9 as above */
        within_scale(mean, NV_Ith_S(s.y, 2) / all, 2.5e-8, stall);
        within_scale(dw_meter_result(meter, 1, DW_MEASURE_RMS).value, sqrt(NV_Ith_S(s.y, 3) / all), 2.5e-8, stall);
        within_scale(dw_meter_result(meter, 2, DW_MEASURE_MEAN).value, NV_Ith_S(s.y, 4) / all, 2.5e-8, dw_motor_no_load_speed(&p));
        dw_meter_free(meter);
        solver_close(&s);
    }
}
END_TEST

SUITE("outside: motor against CVODE", states_at_every_edge_agree_with_an_independent_solver,
      means_and_heat_measured_in_the_table_agree_with_integrals_of_an_independent_solver)
