/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The mechanics of an actuator: what screw, nut and load do, and where that changes. docs/theory.md, section 15. */
#include "load/build_inner.h"
#include <math.h>

enum {
    N = ACTUATOR_STATES,
    M = DW_ACTUATOR_INPUTS,
    I = DW_ACTUATOR_CURRENT,
    W = DW_ACTUATOR_SPEED,
    X = DW_ACTUATOR_NUT,
    V = DW_ACTUATOR_LOAD_SPEED,
    GAP = DW_ACTUATOR_GAP
};

/* Shares of the no-load speed and of the backlash by which a guard must be passed: where a motion begins, the quantity
 * has no slope yet, to the rounding, whose sign would end it at once, and so without end. */
static const double SPEED_SLACK = 1e-12, GAP_SLACK = 1e-9;

static const double of_current[N] = { [I] = 1 }, of_speed[N] = { [W] = 1 }, of_nut[N] = { [X] = 1 },
                    of_gap[N] = { [GAP] = 1 };

/* ---- numbers of modes ---- */

struct load_motion dwi_actuator_motion(size_t own)
{
    static const struct load_motion all[ACTUATOR_LOOSE] = {
        { RESTS, 0, 1 },           { RESTS, 0, -1 },          { MOVES, 1, 1 },         { MOVES, 1, -1 },
        { MOVES, -1, 1 },          { MOVES, -1, -1 },         { PRESSES, 1, 1 },       { PRESSES, -1, -1 },
        { PRESSES_BEYOND, 1, -1 }, { PRESSES_BEYOND, -1, 1 }, { HANGS, 1, -1 },        { HANGS, -1, 1 },
        { FLIES, 1, 0 },           { FLIES, -1, 0 },          { FLIES_RESTING, 0, 0 }, { FLIES_PRESSING, 1, 0 },
        { FLIES_PRESSING, -1, 0 }
    };
    return all[own];
}

static size_t mechanical_number(enum load_motion_kind kind, int way, int side)
{
    size_t k = 0;
    struct load_motion mode = dwi_actuator_motion(0);
    while (mode.kind != kind || mode.way != way || mode.side != side)
        mode = dwi_actuator_motion(++k);
    return k;
}

size_t dwi_actuator_mode_of(const struct dw_actuator *a, size_t condition, size_t path, size_t own)
{
    return (condition * MOTOR_PATHS + path) * a->each + own;
}

/* Which switch is open: 0 none, 1 the outer, 2 the inner. */
size_t dwi_actuator_switch_of(const struct dw_actuator *a, size_t condition)
{
    return condition % a->switches;
}

/* Torque at the screw for each newton, moving this way. */
double dwi_actuator_arm(const struct dw_actuator *a, int way, int side)
{
    return way == side ? a->screw.raise : a->screw.lower;
}

/* kg m^2 of the motor with the mass that it moves: (15.3). */
static double inertia(const struct dw_actuator *a, double arm)
{
    const struct dw_actuator_plan *p = &a->plan;
    return p->motor.inertia + p->mass / p->motor.gear * a->screw.ideal / p->motor.gear * arm;
}

/* m of the nut for each radian of the motor. */
double dwi_actuator_thread(const struct dw_actuator *a)
{
    return a->screw.ideal / a->plan.motor.gear;
}

/* ---- rows ---- */

struct forced dwi_actuator_force(const struct dw_actuator *a, double factor)
{
    return (struct forced){ { .alone = factor * a->plan.force }, factor };
}

/* Torque of the motor at the screw, against its drag: N m. */
static struct forced at_screw(const struct dw_actuator *a, int way)
{
    const struct dw_motor_plan *m = &a->plan.motor;
    return (struct forced){ { .state = { [I] = m->gear * m->constant }, .alone = -way * m->gear * m->drag }, 0 };
}

struct forced dwi_forced_sum(double first, struct forced one, double second, struct forced other)
{
    struct forced out = { { .alone = first * one.row.alone + second * other.row.alone },
                          first * one.force + second * other.force };
    for (size_t i = 0; i < BUILD_STATES; i++)
        out.row.state[i] = first * one.row.state[i] + second * other.row.state[i];
    return out;
}

/* w' while nothing of the load is at the screw, times the inertia. */
static struct forced free_torque(const struct dw_actuator *a, int way)
{
    const struct dw_motor_plan *m = &a->plan.motor;
    return (struct forced){ { .state = { [I] = m->constant, [W] = -m->friction }, .alone = -way * m->drag }, 0 };
}

/* N, in the thread. */
struct forced dwi_actuator_thread_force(const struct dw_actuator *a, const struct load_motion *me)
{
    const double all = inertia(a, dwi_actuator_arm(a, me->way, me->side));
    switch (me->kind) {
    case MOVES:  /* (15.4) */
        return dwi_forced_sum(a->plan.motor.inertia / all, dwi_actuator_force(a, 1),
                              a->plan.mass * dwi_actuator_thread(a) / all, free_torque(a, me->way));
    case RESTS: return dwi_actuator_force(a, 1);
    case PRESSES:
    case PRESSES_BEYOND:
    case FLIES_PRESSING: return dwi_forced_sum(1 / a->screw.raise, at_screw(a, me->way), 0, dwi_actuator_force(a, 0));
    case HANGS: return dwi_forced_sum(1 / a->screw.lower, at_screw(a, me->way), 0, dwi_actuator_force(a, 0));
    case FLIES:
    case FLIES_RESTING: break;
    }
    return dwi_actuator_force(a, 0);
}

/* ---- guards ---- */

/* g = factor * quantity + offset */
static struct dw_guard *guard(struct dw_actuator *a, double factor, const struct forced *of, double scale, size_t next)
{
    a->build.guard_input[a->build.guard_count][DW_ACTUATOR_FORCE] = factor * of->force;
    return dwi_build_guard_row(&a->build, &of->row, factor, 0, scale, next);
}

/* A new reset, that of nothing yet; its number. */
static size_t begin_reset(struct dw_actuator *a, struct dw_guard *of)
{
    const size_t k = a->resets++, n = a->source.states;
    for (size_t i = 0; i < n * n; i++)
        a->reset[k][i] = i % (n + 1) == 0;
    for (size_t i = 0; i < n; i++)
        a->reset_offset[k][i] = 0;
    of->reset = a->reset[k];
    of->reset_offset = a->reset_offset[k];
    return k;
}

/* The nut stands still, and where it holds the load, this too. */
static void stand(struct dw_actuator *a, struct dw_guard *of, bool load)
{
    const size_t k = begin_reset(a, of), n = a->source.states;
    a->reset[k][W * (n + 1)] = 0;
    if (load && a->plan.backlash > 0)
        a->reset[k][V * (n + 1)] = 0;
}

/* The load meets the nut, which moves one way, or stands still (way 0): (15.8). */
static void meet(struct dw_actuator *a, struct dw_guard *of, int way, int side)
{
    const size_t k = begin_reset(a, of), n = a->source.states;
    double *const r = a->reset[k], by = dwi_actuator_arm(a, way, side), all = inertia(a, by);
    r[GAP * (n + 1)] = 0;
    a->reset_offset[k][GAP] = side > 0 ? 0 : a->plan.backlash;
    r[V * (n + 1)] = 0;
    if (way) {
        r[W * n + W] = a->plan.motor.inertia / all;
        r[W * n + V] = a->plan.mass * by / (a->plan.motor.gear * all);
        r[V * n + W] = dwi_actuator_thread(a) * r[W * n + W];
        r[V * n + V] = dwi_actuator_thread(a) * r[W * n + V];
    }
}

/* What of the load's momentum is left when it has stopped the nut turns it round. A nut that comes to rest slowly has
 * none: (15.8). */
static void turn_round(struct dw_actuator *a, struct dw_guard *of)
{
    const size_t k = begin_reset(a, of), n = a->source.states;
    const double raise = a->screw.raise, lower = a->screw.lower,
                 left = lower * inertia(a, raise) / (raise * inertia(a, lower));
    a->reset[k][W * (n + 1)] = left;
    a->reset[k][V * (n + 1)] = 0;
    a->reset[k][V * n + W] = left * dwi_actuator_thread(a);
}

/* Where a load goes when nothing presses it to the nut. */
static size_t loose(const struct dw_actuator *a, size_t firm, enum load_motion_kind flies, int way)
{
    return a->plan.backlash > 0 ? mechanical_number(flies, way, 0) : firm;
}

/* The present mode with other mechanics. */
static size_t beside(const struct dw_actuator *a, size_t mode, size_t own)
{
    return mode - mode % a->each + own;
}

static void rest_guards(struct dw_actuator *a, size_t mode, int side)
{
    const double torque = a->plan.motor.gear * a->plan.motor.constant * dw_motor_stall_current(&a->plan.motor);
    const struct forced force = dwi_actuator_force(a, 1);
    guard(a, side, &force, a->force_scale,
          beside(a, mode, loose(a, mechanical_number(RESTS, 0, -side), FLIES_RESTING, 0)));
    for (int way = 1; way >= -1; way -= 2) {  /* (15.5) */
        const struct forced left = dwi_forced_sum(dwi_actuator_arm(a, way, side), force, -1, at_screw(a, way));
        guard(a, way, &left, torque, beside(a, mode, mechanical_number(MOVES, way, side)));
    }
}

/* A stop is pressed, by the thread on the side of `thread_side`. */
static void press_guards(struct dw_actuator *a, size_t mode, const struct load_motion *me)
{
    const int way = me->way, side = me->side;
    const struct forced force = dwi_actuator_force(a, 1), torque = at_screw(a, way),
                        in_thread = dwi_actuator_thread_force(a, me);
    const struct forced beyond = dwi_forced_sum(1, in_thread, -1, force);
    const bool driven = a->screw.lower > 0;
    const double most = a->plan.motor.gear * a->plan.motor.constant * dw_motor_stall_current(&a->plan.motor);
    if (me->kind == FLIES_PRESSING) {
        guard(a, way, &torque, most, beside(a, mode, mechanical_number(FLIES_RESTING, 0, 0)));
        return;
    }
    guard(a, side, &force, a->force_scale,
          beside(a, mode,
                 loose(a, mechanical_number(side == way ? PRESSES_BEYOND : PRESSES, way, -side), FLIES_PRESSING, way)));
    if (me->kind == PRESSES_BEYOND)
        guard(a, way, &torque, most,
              beside(a, mode, driven ? mechanical_number(HANGS, way, side) : mechanical_number(RESTS, 0, side)));
    if (me->kind == HANGS)
        guard(a, -way, &torque, most, beside(a, mode, mechanical_number(PRESSES_BEYOND, way, side)));
    if (me->kind != PRESSES_BEYOND)
        guard(a, way, &beyond, a->force_scale, beside(a, mode, mechanical_number(RESTS, 0, side)));
}

/* Where the nut comes to a stop: the load goes on where nothing but the nut pushes it. */
static void stop_guard(struct dw_actuator *a, size_t mode, const struct load_motion *me, double at)
{
    const int way = me->way, side = me->side;
    const bool leaves = a->plan.backlash > 0 && side != -way;
    const enum load_motion_kind held = side == way ? PRESSES : a->screw.lower > 0 ? HANGS : PRESSES_BEYOND;
    const size_t next = leaves ? mechanical_number(FLIES_PRESSING, way, 0) : mechanical_number(held, way, side);
    stand(a, dwi_build_guard(&a->build, of_nut, -way, way * at, a->plan.travel, beside(a, mode, next)), !leaves);
}

/* What lies on its way: a switch that opens, one that shuts again, a stop. */
static void end_guards(struct dw_actuator *a, size_t mode, const struct load_motion *me)
{
    const struct dw_actuator_plan *p = &a->plan;
    const int way = me->way;
    const size_t own = mode % a->each, path = mode / a->each % MOTOR_PATHS, condition = mode / a->each / MOTOR_PATHS;
    const size_t open = dwi_actuator_switch_of(a, condition), shut = condition - open, side = way > 0 ? 1 : 2;
    const double end = way > 0 ? p->travel : 0, beyond = p->switches ? p->overtravel : 0;
    if (p->switches && !open)
        dwi_build_guard(&a->build, of_nut, -way, way * end, p->travel,
                        dwi_actuator_mode_of(a, shut + side, a->opened[side - 1].open[path], own));
    else if (p->switches && open != side)
        dwi_build_guard(&a->build, of_nut, -way, way * (p->travel - end + way * p->differential), p->travel,
                        dwi_actuator_mode_of(a, shut, a->opened[open - 1].shut[path], own));
    else if (isfinite(beyond))
        stop_guard(a, mode, me, end + way * beyond);
}

static void gap_guards(struct dw_actuator *a, size_t mode, const struct load_motion *me)
{
    const double wide = a->plan.backlash;
    for (int side = 1; side >= -1; side -= 2) {
        const bool turns = me->kind == FLIES_RESTING && a->screw.lower > 0;
        const int way = me->kind == FLIES ? me->way : turns ? -side : 0;
        const size_t next = way                          ? mechanical_number(MOVES, way, side)
                            : me->kind == FLIES_RESTING  ? mechanical_number(RESTS, 0, side)
                            : me->way == side            ? mechanical_number(PRESSES, side, side)
                                                         : mechanical_number(PRESSES_BEYOND, -side, side);
        struct dw_guard *const of = dwi_build_guard(&a->build, of_gap, side, (side > 0 ? 0 : wide) + GAP_SLACK * wide,
                                                    wide, beside(a, mode, next));
        meet(a, of, way, side);
    }
}

void dwi_actuator_guards(struct dw_actuator *a, size_t mode, const struct load_motion *me)
{
    const struct dw_motor_plan *m = &a->plan.motor;
    const double speed = dw_motor_no_load_speed(m), torque = m->constant * dw_motor_stall_current(m);
    const bool flies = me->kind == FLIES;
    a->resets = 0;
    if (me->kind == RESTS)
        rest_guards(a, mode, me->side);
    if (me->kind == FLIES_RESTING)
        for (int way = 1; way >= -1; way -= 2)
            dwi_build_guard(&a->build, of_current, -way * m->constant, m->drag, torque,
                            beside(a, mode, mechanical_number(FLIES, way, 0)));
    if (me->kind == MOVES || flies) {
        const bool turns = !flies && a->plan.backlash > 0 && a->screw.lower > 0 && me->way == me->side;
        const size_t next = flies   ? mechanical_number(FLIES_RESTING, 0, 0)
                            : turns ? mechanical_number(MOVES, -me->way, me->side)
                                    : mechanical_number(RESTS, 0, me->side);
        struct dw_guard *const of =
            dwi_build_guard(&a->build, of_speed, me->way, SPEED_SLACK * speed, speed, beside(a, mode, next));
        if (turns)
            turn_round(a, of);
        else
            stand(a, of, !flies);
        end_guards(a, mode, me);
    }
    if (me->kind == MOVES) {
        const struct forced force = dwi_actuator_thread_force(a, me);
        guard(a, me->side, &force, a->force_scale,
              beside(a, mode, loose(a, mechanical_number(MOVES, me->way, -me->side), FLIES, me->way)));
    }
    if (me->kind == PRESSES || me->kind == PRESSES_BEYOND || me->kind == HANGS || me->kind == FLIES_PRESSING)
        press_guards(a, mode, me);
    if (flies || me->kind == FLIES_RESTING || me->kind == FLIES_PRESSING)
        gap_guards(a, mode, me);
}

/* ---- rates ---- */

void dwi_actuator_rate(struct build *b, size_t state, double factor, const struct forced *of)
{
    for (size_t i = 0; i < b->states; i++)
        b->a[state * b->states + i] = factor * of->row.state[i];
    b->b[state * M + DW_ACTUATOR_FORCE] = factor * of->force;
    b->e[state] = factor * of->row.alone;
}

void dwi_actuator_rates(struct dw_actuator *a, const struct load_motion *me)
{
    const bool turns = me->kind == MOVES || me->kind == FLIES,
               flies = me->kind == FLIES || me->kind == FLIES_RESTING || me->kind == FLIES_PRESSING;
    const struct forced force = dwi_actuator_force(a, 1), nut = { { .state = { [W] = dwi_actuator_thread(a) } }, 0 };
    if (turns) {
        const double by = flies ? 0 : dwi_actuator_arm(a, me->way, me->side);
        const struct forced torque = dwi_forced_sum(1, free_torque(a, me->way), -by / a->plan.motor.gear, force);
        dwi_actuator_rate(&a->build, W, 1 / (flies ? a->plan.motor.inertia : inertia(a, by)), &torque);
        dwi_actuator_rate(&a->build, X, 1, &nut);
        if (a->plan.backlash > 0 && !flies)
            dwi_actuator_rate(&a->build, V, dwi_actuator_thread(a) / inertia(a, by), &torque);
    }
    if (flies) {
        const struct forced load = { { .state = { [V] = 1 } }, 0 },
                            ahead = dwi_forced_sum(1, load, turns ? -1 : 0, nut);
        dwi_actuator_rate(&a->build, V, -1 / a->plan.mass, &force);
        dwi_actuator_rate(&a->build, GAP, 1, &ahead);
    }
}
