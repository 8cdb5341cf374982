/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Loads on supplies that are cubics between rows, against SUNDIALS CVODE (Hindmarsh et al. 2005, ACM Trans. Math. Softw. 31:363) with
 * its own root-finding: a motor that sticks and turns both ways, and a rectifier. */
#include "draw.h"
#include "outside/cvode.h"
#include "suite.h"
#include <dutywright/motor.h>

enum { CASES = 16, PIECES = 24 };
#define SILL 0.01  /* V beyond its drop, from which the diode begins to conduct: else its current would begin with no slope */

static uint64_t seed = 20260411;
static double between(double low, double high)
{
    return drawn_between(&seed, low, high);
}

/* A piece of the supply. */
struct piece {
    double from, length, value[2], slope[2];
};

static double volts(const struct piece *p, double t)
{
    const double s = (t - p->from) / p->length, a = p->length * p->slope[0], b = p->length * p->slope[1], rise = p->value[1] - p->value[0];
    return p->value[0] + s * (a + s * (3 * rise - 2 * a - b + s * (a + b - 2 * rise)));
}

/* The next one begins where it ends, every third with another slope. */
static void next_piece(struct piece *p, int k, double length, double swing)
{
    p->from += p->length;
    p->length = length;
    p->value[0] = p->value[1];
    p->slope[0] = k % 3 ? p->slope[1] : between(-4, 4) * swing / length;
    p->value[1] = between(-1, 1) * swing;
    p->slope[1] = between(-4, 4) * swing / length;
}

/* Two states of another's. */
struct other {
    struct piece piece;
    const struct dw_motor_plan *motor;   /* NULL: the rectifier */
    int turns;                           /* of the motor: -1, 0, 1; of the rectifier: 1 where the diode conducts */
    double resistance, inductance, capacity, load, drop;
};

static int right_side(realtype t, N_Vector y, N_Vector dy, void *data)
{
    const struct other *o = data;
    const double i = NV_Ith_S(y, 0), other = NV_Ith_S(y, 1), u = volts(&o->piece, t);
    if (o->motor) {
        const struct dw_motor_plan *p = o->motor;
        NV_Ith_S(dy, 0) = (u - (p->resistance + p->switch_resistance) * i - p->constant * other) / p->inductance;
        NV_Ith_S(dy, 1) = o->turns ? (p->constant * i - p->friction * other - o->turns * p->drag - p->torque) / p->inertia : 0;
    } else {
        NV_Ith_S(dy, 0) = o->turns ? (u - o->drop - o->resistance * i - other) / o->inductance : 0;
        NV_Ith_S(dy, 1) = (i - other / o->load) / o->capacity;
    }
    return 0;
}

/* Zero where the present choice ends. */
static int roots(realtype t, N_Vector y, realtype *g, void *data)
{
    const struct other *o = data;
    const double i = NV_Ith_S(y, 0), other = NV_Ith_S(y, 1);
    if (o->motor)
        g[0] = o->turns ? other : o->motor->drag - fabs(o->motor->constant * i - o->motor->torque);
    else
        g[0] = o->turns ? i : volts(&o->piece, t) - o->drop - SILL - other;
    return 0;
}

static void leave(struct other *o, N_Vector y)
{
    double *const i = &NV_Ith_S(y, 0), *const w = &NV_Ith_S(y, 1);
    if (!o->motor) {
        *i = 0;
        o->turns = !o->turns;
        return;
    }
    const double push = o->motor->constant * *i - o->motor->torque;
    const bool stops = o->turns != 0;
    *w = 0;
    o->turns = stops && fabs(push) < o->motor->drag ? 0 : push > 0 ? 1 : -1;
}

static void integrate(struct solver *s, struct other *o)
{
    const double until = o->piece.from + o->piece.length;
    double t = o->piece.from;
    solver_begin(s, t);
    while (t < until)
        if (solver_go(s, until, &t)) {
            leave(o, s->y);
            solver_begin(s, t);
        }
}

/* How the two runs are compared: pieces of such a length and swing, scales of both states.
 *   returns  events seen */
static unsigned long long compare(struct dw_modes *modes, struct other *o, double length, double swing, const double *scale)
{
    struct dw_error error = { .status = DW_OK };
    const double nothing[DW_STATES] = { 0 }, none[DW_INPUTS] = { 0 };
    struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ 0 }, &error);
    struct solver solver;
    solver_open(&solver, CV_BDF, 2, right_side, o, 0);
    solver_watch(&solver, 1, roots);
    N_Vector y = solver.y, least = N_VClone(y);
    NV_Ith_S(least, 0) = 1e-13 * scale[0];
    NV_Ith_S(least, 1) = 1e-13 * scale[1];
    CVodeSVtolerances(solver.memory, 1e-12, least);
    CVodeSetMaxStep(solver.memory, length / 200);  /* it looks for roots at the ends of steps, and at rest they would be long */
    succeeds(dw_run_start(run, 0, 0, nothing, none, &error), error);
    for (int k = 0; k < PIECES; k++) {
        next_piece(&o->piece, k, length * between(0.3, 1.5), swing);
        double input[DW_INPUTS] = { o->piece.value[1] }, begin[DW_INPUTS] = { o->piece.slope[0] }, end[DW_INPUTS] = { o->piece.slope[1] };
        succeeds(dw_run_feed_curve(run, o->piece.from + o->piece.length, input, begin, end, &error), error);
        integrate(&solver, o);
        /* CVODE's 1e-12 a step grows to some 1e-9 of the scale over a few thousand steps, and its events are where its states are */
        within_scale(dw_run_state(run)[0], NV_Ith_S(y, 0), 5e-9, scale[0]);
        within_scale(dw_run_state(run)[1], NV_Ith_S(y, 1), 5e-9, scale[1]);
    }
    const unsigned long long events = dw_run_events(run);
    N_VDestroy(least);
    solver_close(&solver);
    dw_run_free(run);
    return events;
}

START_TEST(a_motor_that_sticks_and_turns_both_ways_on_a_curved_supply_agrees)
{
    unsigned long long events = 0;
    for (int k = 0; k < CASES; k++) {
        struct dw_motor_plan p = { .gear = 1, .threshold = 2.5, .drive = DW_DRIVE_DIRECT };
        struct dw_error error = { .status = DW_OK };
        p.supply = between(3, 48);
        p.resistance = between(0.3, 12);
        p.inductance = p.resistance * exp(between(log(3e-5), log(3e-3)));
        p.constant = p.supply / between(150, 900);
        p.inertia = exp(between(log(2e-4), log(3e-2))) * p.constant * p.constant / p.resistance;
        p.friction = between(0, 0.01) * p.constant * p.constant / p.resistance;
        p.drag = between(0.05, 0.3) * p.constant * p.supply / p.resistance;
        struct dw_motor *motor = dw_motor_new(&p, &error);
        ck_assert_msg(motor != NULL, "%s", error.text);
        struct other o = { .motor = &p };
        const double scale[] = { p.supply / p.resistance, p.supply / p.constant };
        events += compare(dw_plant_modes(dw_motor_plant(motor)), &o, p.inertia * p.resistance / (p.constant * p.constant), p.supply,
                          scale);
        dw_motor_free(motor);
    }
    ck_assert_uint_ge(events, 4 * CASES);
}
END_TEST

START_TEST(a_rectifier_on_a_curved_supply_agrees)
{
    unsigned long long events = 0;
    for (int k = 0; k < CASES; k++) {
        struct other o = { .motor = NULL };
        struct dw_error error = { .status = DW_OK };
        o.resistance = between(0.2, 5);
        o.load = between(20, 400);
        o.drop = between(0.2, 1);
        o.inductance = o.resistance * exp(between(log(1e-5), log(1e-3)));
        o.capacity = exp(between(log(1e-4), log(1e-2))) / o.load;
        const double on[] = { -o.resistance / o.inductance, -1 / o.inductance, 1 / o.capacity, -1 / (o.load * o.capacity) };
        const double off[] = { 0, 0, 0, -1 / (o.load * o.capacity) }, b[] = { 1 / o.inductance, 0 }, e[] = { -o.drop / o.inductance, 0 };
        const double current[] = { 1, 0 }, capacitor[] = { 0, 1 }, minus = -1, weight[] = { o.inductance, o.capacity };
        const struct dw_guard guards[] = { { .state = capacitor, .input = &minus, .offset = o.drop + SILL, .scale = 12, .next = 1 },
                                           { .state = current, .scale = 12 / o.load, .next = 0 } };
        const struct dw_mode of[] = { { .name = "blocks", .a = off, .guards = guards, .guard_count = 1 },
                                      { .name = "conducts", .a = on, .b = b, .e = e, .guards = guards + 1, .guard_count = 1 } };
        struct dw_modes *modes = dw_modes_new(&(struct dw_modes_plan){ .states = 2, .inputs = 1, .modes = of, .mode_count = 2,
                                                                       .weight = weight }, &error);
        ck_assert_msg(modes != NULL, "%s", error.text);
        const double scale[] = { 12 / o.resistance, 12 };
        events += compare(modes, &o, o.load * o.capacity, 12, scale);
        dw_modes_free(modes);
    }
    ck_assert_uint_ge(events, 8 * CASES);
}
END_TEST

SUITE("outside: loads on curved supplies against CVODE", a_motor_that_sticks_and_turns_both_ways_on_a_curved_supply_agrees,
      a_rectifier_on_a_curved_supply_agrees)
