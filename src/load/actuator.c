/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A linear actuator as a switching system: each path of the motor's current with each thing that screw and load do. docs/theory.md,
 * section 15. */
#include "load/build_inner.h"
#include <math.h>
#include <stdlib.h>

enum { M = DW_ACTUATOR_INPUTS,
       I = DW_ACTUATOR_CURRENT, W = DW_ACTUATOR_SPEED, X = DW_ACTUATOR_NUT, V = DW_ACTUATOR_LOAD_SPEED, GAP = DW_ACTUATOR_GAP };

/* Share of the supply by which the back-EMF must pass the voltage that opens a diode's path, as in motor.c. */
static const double EMF_SLACK = 1e-12;

static const double of_current[ACTUATOR_STATES] = { [I] = 1 };

/* ---- outputs ---- */

struct actuator_output {
    bool wanted;
    struct dw_port port;
    struct forced value;
    double pin;  /* V, that of the input too */
};
enum { PROBES = 9, OUTPUTS_MOST = 14 };

static struct forced of_state(size_t state, double factor)
{
    struct forced out = { { .alone = 0 }, 0 };
    out.row.state[state] = factor;
    return out;
}

/* Position of the load, m. */
static struct forced position(const struct dw_actuator *a)
{
    return dwi_forced_sum(1, of_state(X, 1), a->plan.backlash > 0 ? 1 : 0, of_state(GAP, 1));
}

static struct forced load_speed(const struct dw_actuator *a)
{
    return a->plan.backlash > 0 ? of_state(V, 1) : of_state(W, dwi_actuator_thread(a));
}

/* V at the motor's terminals. */
static struct forced terminal(const struct dw_actuator *a, size_t path)
{
    const struct path *el = a->paths.path + path;
    struct forced volts = { dwi_path_volts(&a->paths, path), 0 };
    volts.row.state[I] -= el->ohms;
    return el->conduction == BLOCKS ? of_state(W, a->plan.motor.constant) : volts;
}

/* Values are those of a mode, where there is one. Returns how many. */
static size_t list_outputs(const struct dw_actuator *a, const struct load_motion *me, size_t path, const struct supplied *supplied,
                           struct actuator_output *out)
{
    const struct dw_actuator_plan *p = &a->plan;
    const double amperes = dw_motor_stall_current(&p->motor), speed = dw_motor_no_load_speed(&p->motor), k = p->motor.constant;
    const struct path *el = a->paths.path + path;
    const struct forced feedback = dwi_forced_sum(1, (struct forced){ { .alone = p->feedback_low }, 0 },
                                                  (p->feedback_high - p->feedback_low) / p->travel, of_state(X, 1));
    const bool all = p->motor.all;
    struct dw_port port[SUPPLY_PORTS] = { { .name = NULL } };
    struct row value[SUPPLY_PORTS] = { { .alone = 0 } };
    const size_t supplies = dwi_supply_outputs(&a->source, all, supplied, port, supplied ? value : NULL);
    const double at_pot = fmax(fabs(p->feedback_low), fabs(p->feedback_high));
    const double first = p->feedback_low + (p->feedback_high - p->feedback_low) * p->initial / p->travel;
    const struct actuator_output list[] = {
        { all, { "terminal", "V", p->motor.supply, NAN }, terminal(a, path), el->conduction == BLOCKS ? 0 : el->pin },
        { all, { "back-emf", "V", p->motor.supply, NAN }, of_state(W, k), 0 },
        { all, { "torque", "Nm", k * amperes, NAN }, of_state(I, k), 0 },
        { all, { "motor-speed", "rad/s", speed, NAN }, of_state(W, 1), 0 },
        { all && p->motor.drive != DW_DRIVE_DIRECT, { "supply-current", "A", amperes, NAN }, of_state(I, el->share), 0 },
        { all && p->backlash > 0, { "nut", "m", p->travel, p->initial }, of_state(X, 1), 0 },
        { supplies > 0, port[0], { value[0], 0 }, 0 },
        { supplies > 1, port[1], { value[1], 0 }, 0 },
        { supplies > 2, port[2], { value[2], 0 }, 0 },
        { p->feedback, { "feedback", "V", at_pot > 0 ? at_pot : 1, first }, feedback, 0 },
        { true, { "current", "A", amperes, 0 }, of_state(I, 1), 0 },
        { true, { "force", "N", a->force_scale, NAN }, dwi_actuator_thread_force(a, me), 0 },
        { true, { "speed", "m/s", speed * dwi_actuator_thread(a), 0 }, load_speed(a), 0 },
        { true, { "position", "m", p->travel, p->initial }, position(a), 0 },
    };
    size_t count = 0;
    for (size_t i = 0; i < sizeof list / sizeof list[0]; i++)
        if (list[i].wanted)
            out[count++] = list[i];
    return count;
}

/* What integrals are of, behind the outputs: V and A of the supply, current, V at the motor, speed, way, loss of the screw by the speed,
 * force on the load and its speed. */
static void list_probes(const struct dw_actuator *a, const struct load_motion *me, size_t path, const struct supplied *supplied, struct actuator_output *out)
{
    const struct path *el = a->paths.path + path;
    const bool direct = a->plan.motor.drive == DW_DRIVE_DIRECT, turns = me->kind == MOVES || me->kind == FLIES;
    const struct row none = { .alone = 0 };
    const double lost = me->kind == MOVES ? dwi_actuator_arm(a, me->way, me->side) - a->screw.ideal : 0;
    const struct actuator_output list[PROBES] = {
        { .value = { direct ? none : supplied->volts, 0 }, .pin = direct },
        { .value = of_state(I, direct ? el->pin : el->share) }, { .value = of_state(I, 1) },
        { .value = terminal(a, path), .pin = el->conduction == BLOCKS ? 0 : el->pin }, { .value = of_state(W, 1) },
        { .value = { { .alone = turns ? me->way : 0 }, 0 } },
        { .value = dwi_forced_sum(lost / a->plan.motor.gear, dwi_actuator_thread_force(a, me), 0, dwi_actuator_force(a, 0)) },
        { .value = dwi_actuator_force(a, 1) }, { .value = load_speed(a) }
    };
    for (size_t i = 0; i < PROBES; i++)
        out[i] = list[i];
}

static void set_outputs(struct dw_actuator *a, const struct load_motion *me, size_t path, const struct supplied *supplied)
{
    struct actuator_output out[OUTPUTS_MOST + PROBES];
    struct build *b = &a->build;
    const size_t count = list_outputs(a, me, path, supplied, out);
    list_probes(a, me, path, supplied, out + count);
    for (size_t k = 0; k < count + PROBES; k++) {
        for (size_t i = 0; i < b->states; i++)
            b->c[k * b->states + i] = out[k].value.row.state[i];
        b->d[k * M + DW_ACTUATOR_PIN] = out[k].pin;
        b->d[k * M + DW_ACTUATOR_FORCE] = out[k].value.force;
        b->f[k] = out[k].value.row.alone;
    }
}

static void current_rate(struct dw_actuator *a, size_t path)
{
    const struct dw_motor_plan *m = &a->plan.motor;
    const struct path *el = a->paths.path + path;
    struct forced volts = { dwi_path_volts(&a->paths, path), 0 };
    if (el->conduction == BLOCKS)
        return;
    volts.row.state[I] -= m->resistance + el->ohms;
    volts.row.state[W] -= m->constant;
    dwi_actuator_rate(&a->build, I, 1 / m->inductance, &volts);
    a->build.b[I * M + DW_ACTUATOR_PIN] = el->pin / m->inductance;
}

/* ---- the whole ---- */

/* Under a condition: the supply's line conducts or blocks, and which switch is open. */
static void set_paths(struct dw_actuator *a, size_t condition)
{
    const size_t open = dwi_actuator_switch_of(a, condition);
    a->paths.path = open ? a->opened[open - 1].path : a->path;
    a->paths.count = open ? a->opened[open - 1].count : a->path_count;
    a->paths.base = dwi_actuator_mode_of(a, condition, 0, 0);
}

static void make(void *of, size_t mode, struct dw_mode *out)
{
    struct dw_actuator *a = of;
    const size_t own = mode % a->each, path = mode / a->each % MOTOR_PATHS, condition = mode / a->each / MOTOR_PATHS;
    const bool blocks = condition >= a->switches;
    const struct load_motion me = dwi_actuator_motion(own);
    set_paths(a, condition);
    const struct row drawn = { .state = { [I] = a->paths.path[path].share } };
    dwi_build_begin(&a->build, a->source.states, M);
    const struct supplied supplied = dwi_supply_join(&a->source, &a->build, blocks, &drawn, 0,
                                                     dwi_actuator_mode_of(a, blocks ? condition - a->switches : condition + a->switches, path, own));
    a->paths.volts = supplied.volts;
    current_rate(a, path);
    dwi_actuator_rates(a, &me);
    set_outputs(a, &me, path, &supplied);
    dwi_path_guards(&a->paths, &a->build, path, own);
    dwi_actuator_guards(a, mode, &me);
    *out = dwi_build_end(&a->build, a->paths.path[path].name);
}

/* The condition of the switches and the mode in which it rests at first. */
static size_t rest_mode(struct dw_actuator *a)
{
    const struct dw_actuator_plan *p = &a->plan;
    const size_t open = !p->switches ? 0 : p->initial >= p->travel ? 1 : p->initial <= 0 ? 2 : 0;
    set_paths(a, open);
    return dwi_actuator_mode_of(a, open, dwi_path_for(&a->paths, GATE_OFF, GATE_OFF, 1), p->force < 0);
}

static struct dw_plant *make_plant(struct dw_actuator *a, struct dw_error *error)
{
    const struct dw_actuator_plan *p = &a->plan;
    const double turned = p->motor.inertia / (dwi_actuator_thread(a) * dwi_actuator_thread(a));  /* kg that the rotor is like */
    /* positions store nothing: any small weight serves the bounds */
    double weight[ACTUATOR_STATES] = { p->motor.inductance, p->motor.inertia, turned, p->mass, turned };
    double rest[ACTUATOR_STATES] = { [X] = p->initial };
    const bool drifts[ACTUATOR_STATES] = { [X] = true };
    const struct load_motion at_rest = dwi_actuator_motion(0);
    struct actuator_output out[OUTPUTS_MOST];
    struct dw_port ports[OUTPUTS_MOST];
    const size_t outputs = list_outputs(a, &at_rest, 0, NULL, out), n = a->source.states;
    if (p->backlash > 0)
        rest[GAP] = p->force < 0 ? p->backlash : 0;
    dwi_supply_rest(&a->source, weight, rest);
    for (size_t i = 0; i < n; i++)
        a->no_current[i * (n + 1)] = i != I;
    for (size_t i = 0; i < outputs; i++)
        ports[i] = out[i].port;
    const struct dw_integrand integrals[DW_ACTUATOR_INTEGRALS] = {
        { outputs, outputs + 1 }, { outputs + 2, outputs + 2 }, { outputs + 3, outputs + 2 }, { outputs + 2, outputs + 4 },
        { outputs + 4, outputs + 4 }, { outputs + 5, outputs + 4 }, { outputs + 6, outputs + 4 }, { outputs + 7, outputs + 8 }
    };
    for (size_t i = 0; i < DW_ACTUATOR_INTEGRALS; i++)
        a->integral[i] = integrals[i];
    return dw_plant_new(&(struct dw_plant_plan){
        .modes = { .states = n, .inputs = M, .outputs = outputs, .probes = PROBES,
                   .mode_count = a->source.conditions * a->switches * MOTOR_PATHS * a->each, .make = make, .of = a, .weight = weight,
                   .drifts = drifts },
        .ports = ports, .rest = rest, .load = a, .release = free, .mode = rest_mode(a) }, error);
}

/* What the plan's numbers make of it. */
static void lay_out(struct dw_actuator *a)
{
    const struct dw_actuator_plan *p = &a->plan;
    const double stall = dw_motor_stall_current(&p->motor);
    a->screw = dw_actuator_screw(p);
    a->each = p->backlash > 0 ? ACTUATOR_LOOSE : ACTUATOR_FIRM;
    a->switches = p->switches ? 3 : 1;
    a->path_count = dwi_motor_paths(&p->motor, a->path);
    dwi_paths_open(a->path, a->path_count, 1, p->motor.diode_drop, &a->opened[0]);
    dwi_paths_open(a->path, a->path_count, -1, p->motor.diode_drop, &a->opened[1]);
    a->force_scale = fmax(p->motor.gear * p->motor.constant * stall / a->screw.raise, fabs(p->force));
    a->emf[W] = p->motor.constant;
    a->paths = (struct paths){
        .path = a->path, .count = a->path_count, .each = a->each, .supply = p->motor.supply, .threshold = p->motor.threshold,
        .gate_scale = fmax(fabs(p->motor.threshold), 1), .amperes = stall, .slack = EMF_SLACK * p->motor.supply, .pin = DW_ACTUATOR_PIN,
        .low = DW_ACTUATOR_LOW, .direction = DW_ACTUATOR_DIRECTION, .current = of_current, .emf = a->emf, .no_current = a->no_current
    };
    dwi_supply_place(&a->source, &p->motor.source, p->motor.supply, stall, p->backlash > 0 ? DW_ACTUATOR_STATES : DW_ACTUATOR_LOAD_SPEED);
}

struct dw_actuator *dw_actuator_new(const struct dw_actuator_plan *plan, struct dw_error *error)
{
    if (dw_actuator_check(plan, error))
        return NULL;
    struct dw_actuator *a = calloc(1, sizeof *a);
    if (!a) {
        dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for the actuator");
        return NULL;
    }
    a->plan = *plan;
    lay_out(a);
    if (!(a->plant = make_plant(a, error))) {
        free(a);
        return NULL;
    }
    return a;
}

void dw_actuator_free(struct dw_actuator *actuator)
{
    if (actuator)
        dw_plant_free(actuator->plant);
}

struct dw_plant *dw_actuator_plant(const struct dw_actuator *actuator)
{
    return actuator->plant;
}

enum dw_actuator_motion dw_actuator_motion(const struct dw_actuator *a, size_t mode)
{
    const struct load_motion me = dwi_actuator_motion(mode % a->each);
    switch (me.kind) {
    case MOVES:
    case FLIES: return me.way > 0 ? DW_ACTUATOR_OUT : DW_ACTUATOR_IN;
    case PRESSES:
    case PRESSES_BEYOND:
    case HANGS:
    case FLIES_PRESSING: return DW_ACTUATOR_STOPPED;
    case RESTS:
    case FLIES_RESTING: break;
    }
    return DW_ACTUATOR_RESTS;
}

int dw_actuator_open(const struct dw_actuator *a, size_t mode)
{
    const size_t open = dwi_actuator_switch_of(a, mode / a->each / MOTOR_PATHS);
    return open == 1 ? 1 : open ? -1 : 0;
}

const struct dw_integrand *dw_actuator_integrals(const struct dw_actuator *actuator)
{
    return actuator->integral;
}

void dw_actuator_energy(const struct dw_actuator_plan *plan, const double *integral, double *energy)
{
    const double factor[DW_ACTUATOR_INTEGRALS] = { 1, plan->motor.resistance, 1, plan->motor.constant, plan->motor.friction, plan->motor.drag, 1, 1 };
    for (size_t i = 0; i < DW_ACTUATOR_INTEGRALS; i++)
        energy[i] = factor[i] * integral[i];
}
