/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The actuator against an independent solver: SUNDIALS CVODE (Hindmarsh et al. 2005, ACM Trans. Math. Softw. 31:363), BDF at tight
 * tolerance, with its own root-finding and its own account of what conducts, sticks, pushes and stops. */
#include "draw.h"
#include "outside/cvode.h"
#include "suite.h"
#include <dutywright/actuator.h>
#include <stdint.h>

enum { KINDS = 4, CASES = 60, SEGMENTS = 8, STATES = 5, ROOTS = 6 };
enum { PULSED, BETWEEN_STOPS, BETWEEN_SWITCHES, LOOSE };

/* What CVODE's side knows. */
struct other {
    const struct dw_actuator_plan *p;
    double volts, force;  /* now */
    double raise, lower, lead;  /* m, a newton at the screw and a radian of the motor */
    int flows;            /* 2: either way; 1, -1: one way; 0: no current */
    int open;             /* which contact is, 1 the outer */
    int turns, side;      /* of the motor; of the force between nut and load, 0: none */
    bool stopped;
};

static double arm(const struct other *o, int turns, double force)
{
    return turns * force > 0 ? o->raise : o->lower;
}

/* Drive voltage with the diode that conducts. */
static double drive(const struct other *o)
{
    const struct dw_actuator_plan *p = o->p;
    if (p->motor.drive == DW_DRIVE_ONE_SWITCH && o->flows != 2)
        return o->flows > 0 ? -p->motor.diode_drop : p->motor.supply + p->motor.diode_drop;
    return o->volts + (o->open ? o->open * p->motor.diode_drop : 0);
}

/* rad/s^2, and N between nut and load. */
static double acceleration(const struct other *o, const double *y, int turns, int side, double *force)
{
    const struct dw_actuator_plan *p = o->p;
    const double torque = p->motor.constant * y[0] - p->motor.friction * y[1] - turns * p->motor.drag, g = p->motor.gear;
    const double by = side ? arm(o, turns, side) : 0, load = side ? o->force : 0;
    const double rate = (torque - load * by / g) / (p->motor.inertia + (side ? p->mass * o->lead * by / g : 0));
    *force = side ? o->force + p->mass * o->lead * rate : 0;
    return rate;
}

static int right_side(realtype t, N_Vector yy, N_Vector dd, void *data)
{
    (void)t;
    const struct other *o = data;
    const struct dw_motor_plan *m = &o->p->motor;
    const double *y = N_VGetArrayPointer(yy);
    double *d = N_VGetArrayPointer(dd), force;
    d[0] = o->flows ? (drive(o) - m->resistance * y[0] - m->constant * y[1]) / m->inductance : 0;
    d[1] = o->turns ? acceleration(o, y, o->turns, o->side, &force) : 0;
    d[2] = o->turns ? o->lead * y[1] : 0;
    d[3] = o->side ? o->lead * d[1] : -o->force / o->p->mass;
    d[4] = o->side ? 0 : y[3] - d[2];
    return 0;
}

/* N m at the screw beyond what holds it. */
static double beyond(const struct other *o, double current, int way)
{
    const struct dw_motor_plan *m = &o->p->motor;
    const double load = o->side ? o->force * arm(o, way, o->force) : 0;
    return way * (m->gear * m->constant * current - load) - m->gear * m->drag;
}

static int roots(realtype t, N_Vector yy, realtype *g, void *data)
{
    (void)t;
    const struct other *o = data;
    const struct dw_actuator_plan *p = o->p;
    const double *y = N_VGetArrayPointer(yy);
    double force = 0;
    if (o->turns)
        acceleration(o, y, o->turns, o->side, &force);
    const double emf = p->motor.constant * y[1], drop = p->motor.diode_drop;
    g[0] = o->flows == 2 ? 1 : o->flows ? y[0] : o->open ? o->open * (emf - o->volts) - drop : (emf + drop) * (p->motor.supply + drop - emf);
    g[1] = o->turns ? y[1] : 1;
    g[2] = o->turns ? 1 : o->stopped ? beyond(o, y[0], y[2] > 0 ? -1 : 1) : fmax(beyond(o, y[0], 1), beyond(o, y[0], -1));
    g[3] = o->turns && o->side && p->mass > 0 ? force : 1;
    g[4] = !o->turns ? 1 : o->open ? y[2] - (o->open > 0 ? p->travel - p->differential : p->differential) : o->turns > 0 ? p->travel - y[2] : y[2];
    g[5] = o->side ? 1 : y[4] * (p->backlash - y[4]);
    return 0;
}

static void choose_current(struct other *o, double *y)
{
    const struct dw_actuator_plan *p = o->p;
    const double idle = 1e-9 * dw_motor_stall_current(&p->motor), emf = p->motor.constant * y[1];
    if (o->open) {
        if (o->open * y[0] > -idle)
            y[0] = 0;
        o->flows = y[0] != 0 || o->open * (emf - o->volts) > p->motor.diode_drop ? -o->open : 0;
    } else if (p->motor.drive == DW_DRIVE_ONE_SWITCH && o->volts == 0) {
        if (fabs(y[0]) < idle)
            y[0] = 0;
        o->flows = y[0] > 0 || emf < -p->motor.diode_drop ? 1 : y[0] < 0 || emf > p->motor.supply + p->motor.diode_drop ? -1 : 0;
    } else
        o->flows = 2;
}

static bool at_stop(const struct other *o, const double *y, int way)
{
    const struct dw_actuator_plan *p = o->p;
    return !p->switches && p->backlash == 0 && ((way > 0 && y[2] >= p->travel) || (way < 0 && y[2] <= 0));
}

/* Which way it turns, where it stood, and what presses on the nut. */
static void choose_motion(struct other *o, double *y)
{
    const struct dw_actuator_plan *p = o->p;
    const double still = 1e-9 * dw_motor_no_load_speed(&p->motor);
    if (fabs(y[1]) < still) {
        y[1] = 0;
        if (o->side)
            y[3] = 0;
        if (p->backlash > 0 && o->side && o->side * o->force < 0)
            o->side = 0;
        o->turns = beyond(o, y[0], 1) > 0 ? 1 : beyond(o, y[0], -1) > 0 ? -1 : 0;
    } else
        o->turns = y[1] > 0 ? 1 : -1;
    o->stopped = at_stop(o, y, o->turns);
    if (!o->stopped)
        return;
    y[1] = y[3] = 0;
    o->turns = beyond(o, y[0], -o->turns) > 0 ? -o->turns : 0;  /* it may be pulled back at once */
    o->stopped = !o->turns;
}

/* The sign of the force in the thread, from the numerator that both arms share. */
static void choose_side(struct other *o, const double *y)
{
    const struct dw_actuator_plan *p = o->p;
    const double torque = p->motor.constant * y[0] - p->motor.friction * y[1] - o->turns * p->motor.drag;
    const double force = o->force * p->motor.inertia + p->mass * o->lead * torque;
    if (p->backlash == 0)
        o->side = (o->turns ? force : o->force) < 0 ? -1 : 1;
    else if (o->side && o->side * (o->turns ? force : o->force) < -1e-9 * fabs(force))
        o->side = 0;
    else if (!o->side && (y[4] <= 0 || y[4] >= p->backlash) && fabs(y[3] - o->lead * y[1]) < 1e-9 * o->lead * dw_motor_no_load_speed(&p->motor)) {
        const int touches = y[4] <= 0 ? 1 : -1;  /* without a speed between them: what would press? */
        o->side = touches * (o->turns ? force : o->force) > 0 ? touches : 0;
    }
}

/* The load meets the nut. */
static void meet(struct other *o, double *y)
{
    const struct dw_actuator_plan *p = o->p;
    o->side = y[4] < p->backlash / 2 ? 1 : -1;
    y[4] = o->side > 0 ? 0 : p->backlash;
    const int way = o->turns ? o->turns : -o->side;
    const double by = arm(o, way, o->side), g = p->motor.gear, all = p->motor.inertia + p->mass * o->lead * by / g;
    const double after = !o->turns && by <= 0 ? 0 : (p->motor.inertia * y[1] + p->mass * y[3] * by / g) / all;
    if (after * o->turns < 0) {  /* it stops the nut, and what is left turns it round, unless the screw locks itself */
        const double left = p->mass * y[3] + p->motor.inertia * y[1] * g / by;
        y[1] = o->lower > 0 ? left * o->lower / g / (p->motor.inertia + p->mass * o->lead * o->lower / g) : 0;
    } else
        y[1] = after;
    y[3] = o->lead * y[1];
}

static void choose(struct other *o, double *y)
{
    choose_current(o, y);
    choose_motion(o, y);
    choose_side(o, y);
}

static void integrate(struct solver *s, struct other *o, double from, double until)
{
    double t = from, *y = N_VGetArrayPointer(s->y);
    choose(o, y);
    solver_begin(s, t);
    while (t < until) {
        int found[ROOTS];
        if (!solver_go(s, until, &t))
            continue;
        CVodeGetRootInfo(s->memory, found);
        const bool conducts = found[0] && !o->flows;
        if (found[0] && o->flows)
            y[0] = 0;
        if (found[1])
            y[1] = 0;
        if (found[4] && o->p->switches)
            o->open = o->open ? 0 : o->turns;
        if (found[4] && !o->p->switches)
            y[2] = o->turns > 0 ? o->p->travel : 0;
        if (found[5])
            meet(o, y);
        if (found[3] && o->p->backlash > 0)
            o->side = 0;
        const int way = o->stopped ? y[2] > 0 ? -1 : 1 : beyond(o, y[0], 1) > beyond(o, y[0], -1) ? 1 : -1;
        choose(o, y);
        if (found[2]) {
            o->stopped = at_stop(o, y, way);
            o->turns = o->stopped ? 0 : way;
        }
        if (found[3] && o->p->backlash == 0)
            o->side = found[3] > 0 ? 1 : -1;
        if (conducts)
            o->flows = o->open ? -o->open : y[1] < 0 ? 1 : -1;
        solver_begin(s, t);
    }
}

static uint64_t seed = 20261130;
static double between(double low, double high)
{
    return drawn_between(&seed, low, high);
}

static struct dw_actuator_plan random_actuator(int kind)
{
    struct dw_actuator_plan p = { .motor = { .gear = between(1, 8), .threshold = 1.65, .supply = between(6, 24),
                                             .drive = kind == PULSED ? DW_DRIVE_ONE_SWITCH : DW_DRIVE_DIRECT } };
    struct dw_motor_plan *const m = &p.motor;
    m->resistance = between(0.5, 8);
    m->inductance = m->resistance * exp(between(log(1e-4), log(2e-3)));
    m->constant = m->supply / between(200, 600);
    m->inertia = exp(between(log(5e-3), log(3e-2))) * m->constant * m->constant / m->resistance;
    m->friction = between(0, 0.01) * m->constant * m->constant / m->resistance;
    m->drag = between(0.01, 0.1) * m->constant * m->supply / m->resistance;
    m->diode_drop = between(0.3, 1);
    p.lead = between(1e-3, 8e-3);
    p.efficiency = between(0.3, 0.95);
    p.mass = kind == BETWEEN_STOPS ? 0 : between(0.05, 1);
    const struct dw_screw s = dw_actuator_screw(&p);
    const double lifts = m->gear * m->constant * m->supply / m->resistance / s.raise, lead = s.ideal / m->gear, speed = m->supply / m->constant * lead;
    p.force = between(-0.3, 0.4) * lifts;
    p.mass *= m->inertia * m->gear / (lead * fmax(fabs(s.lower), s.raise));  /* far from wedging: below its bound where it locks itself */
    p.travel = kind == LOOSE ? 1e3 * speed : between(0.02, 0.1) * speed;
    p.initial = kind == LOOSE ? p.travel / 2 : between(0.2, 0.8) * p.travel;
    p.switches = kind == BETWEEN_SWITCHES;
    p.overtravel = INFINITY;
    p.differential = p.travel / 50;
    p.backlash = kind == LOOSE ? between(1e-4, 5e-3) * speed : 0;
    return p;
}

struct pair {
    struct dw_actuator *ours;
    struct dw_run *run;
    struct other other;
    struct solver solver;
};

static void pair_new(struct pair *q, const struct dw_actuator_plan *p)
{
    struct dw_error error = { .status = DW_OK };
    const struct dw_screw s = dw_actuator_screw(p);
    q->ours = dw_actuator_new(p, &error);
    ck_assert_msg(q->ours != NULL, "%s", error.text);
    q->run = dw_run_new(dw_plant_modes(dw_actuator_plant(q->ours)), &(struct dw_run_options){ 0 }, &error);
    q->other = (struct other){ .p = p, .raise = s.raise, .lower = s.lower, .lead = s.ideal / p->motor.gear, .side = p->force < 0 ? -1 : 1,
                               .force = p->force };
    solver_open(&q->solver, CV_BDF, STATES, right_side, &q->other, 1e-14);
    solver_watch(&q->solver, ROOTS, roots);
    CVodeSetRootDirection(q->solver.memory, (int[ROOTS]){ [5] = -1 });
    NV_Ith_S(q->solver.y, 2) = p->initial;
    NV_Ith_S(q->solver.y, 4) = p->force < 0 ? p->backlash : 0;
}

static void pair_free(struct pair *q)
{
    dw_run_free(q->run);
    dw_actuator_free(q->ours);
    solver_close(&q->solver);
}

/* Both to the end of a segment. */
static void follow(struct pair *q, double from, double until, double volts, double force)
{
    const struct dw_actuator_plan *p = q->other.p;
    const bool direct = p->motor.drive == DW_DRIVE_DIRECT;
    const double input[DW_ACTUATOR_INPUTS] = { direct ? volts : volts != 0 ? 3.3 : 0, 0, 0, force };
    struct dw_error error = { .status = DW_OK };
    q->other.volts = volts;
    q->other.force = p->force + force;
    succeeds(dw_run_feed(q->run, from, input, &error), error);
    succeeds(dw_run_feed(q->run, until, input, &error), error);
    integrate(&q->solver, &q->other, from, until);
    const double *state = dw_run_state(q->run), *y = N_VGetArrayPointer(q->solver.y);
    const double speed = dw_motor_no_load_speed(&p->motor), way = speed * q->other.lead * until;
    /* CVODE's 1e-12 a step grows to some 1e-9 of the scale over a few thousand steps */
    within_scale(state[DW_ACTUATOR_CURRENT], y[0], 2e-8, dw_motor_stall_current(&p->motor));
    within_scale(state[DW_ACTUATOR_SPEED], y[1], 2e-8, speed);
    within_scale(state[DW_ACTUATOR_NUT], y[2], 2e-8, way);
    if (p->backlash > 0) {
        within_scale(state[DW_ACTUATOR_LOAD_SPEED], y[3], 2e-8, speed * q->other.lead);
        within_scale(state[DW_ACTUATOR_GAP], y[4], 2e-8, way);
    }
}

START_TEST(random_actuators_agree_with_an_independent_solver)
{
    unsigned long long events[KINDS] = { 0 };
    for (int k = 0; k < CASES; k++) {
        const int kind = k % KINDS;
        const struct dw_actuator_plan p = random_actuator(kind);
        struct pair q;
        pair_new(&q, &p);
        const double length = p.motor.inertia * p.motor.resistance / (p.motor.constant * p.motor.constant), first = kind == PULSED ? p.motor.supply : 0;
        double state[DW_STATES], time = 0;
        struct dw_error error = { .status = DW_OK };
        const size_t mode = dw_plant_rest(dw_actuator_plant(q.ours), state);
        succeeds(dw_run_start(q.run, 0, mode, state, (const double[DW_ACTUATOR_INPUTS]){ first > 0 ? 3.3 : 0 }, &error), error);
        for (int i = 0; i < SEGMENTS; i++) {
            const double until = time + length * between(0.3, 3);
            follow(&q, time, until, kind == PULSED ? i % 2 ? 0 : p.motor.supply : between(-1, 1) * p.motor.supply, between(-0.3, 0.3) * p.force);
            time = until;
        }
        events[kind] += dw_run_events(q.run);
        pair_free(&q);
    }
    for (int kind = 0; kind < KINDS; kind++)  /* they stick, stop, open and shut, or cross the backlash */
        ck_assert_msg(events[kind] > SEGMENTS * CASES / KINDS, "%d: only %llu events", kind, events[kind]);
}
END_TEST

SUITE("outside: actuator against CVODE", random_actuators_agree_with_an_independent_solver)
