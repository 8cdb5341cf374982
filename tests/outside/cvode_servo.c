/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The servo against an independent solver: SUNDIALS CVODE (Hindmarsh et al. 2005, ACM Trans. Math. Softw. 31:363) at tight tolerance. It
 * gets the speed as one formula of what is left, cut off at the slew, and its own list of what holds the servo. */
#include "draw.h"
#include "outside/cvode.h"
#include "suite.h"
#include <dutywright/servo.h>

enum { CASES = 40, PULSES = 30 };

struct other {
    double wanted, slew, near, band, low, high;
    double close;
    bool moves;
};

static int speed(realtype t, N_Vector y, N_Vector dy, void *data)
{
    (void)t;
    const struct other *o = data;
    const double left = o->wanted - NV_Ith_S(y, 0);
    NV_Ith_S(dy, 0) = o->slew * fmax(-1, fmin(1, left / o->near));
    return 0;
}

/* What ends a stretch: near enough, slow from here (the formula has a corner), either stop. */
static int roots(realtype t, N_Vector y, realtype *g, void *data)
{
    (void)t;
    const struct other *o = data;
    const double left = fabs(o->wanted - NV_Ith_S(y, 0));
    g[0] = left - o->close;
    g[1] = left - o->near;
    g[2] = o->high - NV_Ith_S(y, 0);
    g[3] = NV_Ith_S(y, 0) - o->low;
    return 0;
}

/* Whether it moves on from here. */
static bool goes_on(const struct other *o, double angle)
{
    const double left = o->wanted - angle;
    const bool blocked = (left > 0 && angle >= o->high - 1e-9) || (left < 0 && angle <= o->low + 1e-9);
    return !blocked && fabs(left) > o->close + 1e-9;
}

static void integrate(struct solver *s, struct other *o, double from, double until)
{
    double t = from;
    while (t < until && o->moves) {
        solver_begin(s, t);
        solver_go(s, until, &t);
        o->moves = goes_on(o, NV_Ith_S(s->y, 0));
    }
}

static uint64_t seed = 20261129;
static double between(double low, double high)
{
    return drawn_between(&seed, low, high);
}

static struct dw_servo_plan random_servo(void)
{
    struct dw_servo_plan p = { .points = { { between(0.5e-3, 0.9e-3), between(-95, -60) }, { between(2.1e-3, 2.5e-3), between(60, 95) } }, .point_count = 2,
                               .dead_band = between(2e-6, 10e-6), .slew = between(100, 900), .slow_within = between(1, 12), .lost_after = 1 };
    p.stall_torque = between(0.3, 2);
    p.torque = between(0, 0.7) * p.stall_torque;
    p.stop_low = p.points[0].angle + between(0, 20);
    p.stop_high = p.points[1].angle - between(0, 20);
    p.initial = between(-20, 20);
    p.threshold = 1.65;
    return p;
}

static void pulse(struct dw_run *run, double rises, double falls, double end)
{
    static const double levels[4] = { 3.3, 3.3, 0, 0 };
    const double times[4] = { rises, falls, falls, end };
    struct dw_error error;
    for (int i = 0; i < 4; i++)
        succeeds(dw_run_feed(run, times[i], &levels[i], &error), error);
}

static void compare(const struct dw_servo_plan *p)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_plant *plant = dw_servo_plant(p, &error);
    ck_assert_msg(plant != NULL, "%s", error.text);
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ 0 }, &error);
    const double frame = between(5e-3, 25e-3), width = p->points[1].width - p->points[0].width, rise = p->points[1].angle - p->points[0].angle;
    struct other o = { .slew = p->slew * (1 - p->torque / p->stall_torque), .near = p->slow_within, .band = p->dead_band * rise / width,
                       .low = p->stop_low, .high = p->stop_high, .wanted = p->initial };
    o.close = fmin(o.band / 10, o.near / 2);
    struct solver solver;
    solver_open(&solver, CV_ADAMS, 1, speed, &o, 1e-11);
    solver_watch(&solver, 4, roots);
    N_Vector y = solver.y;
    NV_Ith_S(y, 0) = p->initial;
    double state[DW_SERVO_STATES], low = 0, before = 0, w = 1.5e-3;
    const size_t mode = dw_plant_rest(plant, state);
    succeeds(dw_run_start(run, 0, mode, state, &low, &error), error);
    for (int k = 0; k < PULSES; k++) {
        if (k % 6 == 0)
            w = between(p->points[0].width, p->points[1].width);
        const double falls = k * frame + w;
        pulse(run, k * frame, falls, (k + 1) * frame);
        integrate(&solver, &o, before, falls);
        const double left = o.wanted - NV_Ith_S(y, 0);
        o.wanted = p->points[0].angle + rise * (w - p->points[0].width) / width;
        const bool on = o.moves && left * (o.wanted - NV_Ith_S(y, 0)) > 0; /* one that has to turn round begins anew */
        o.moves = fabs(o.wanted - NV_Ith_S(y, 0)) > (on ? o.close : o.band) && goes_on(&o, NV_Ith_S(y, 0));
        integrate(&solver, &o, falls, before = (k + 1) * frame);
        /* 1e-11 deg a step over some hundred steps; where a stop or the nearness ends it, 1e-9 deg of goes_on */
        within_scale(dw_run_state(run)[DW_SERVO_ANGLE], NV_Ith_S(y, 0), 1e-10, 160);
    }
    solver_close(&solver);
    dw_run_free(run);
    dw_plant_free(plant);
}

START_TEST(angles_agree_with_an_independent_solver)
{
    for (int k = 0; k < CASES; k++) {
        const struct dw_servo_plan p = random_servo();
        compare(&p);
    }
}
END_TEST

SUITE("outside: position servo and CVODE", angles_agree_with_an_independent_solver)
