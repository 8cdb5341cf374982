/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A motor as a switching system: each electrical mode with each mechanical one. docs/theory.md, section 7. */
#include "load/build_inner.h"
#include <math.h>
#include <stdlib.h>

enum { OUTPUTS_MOST = BUILD_OUTPUTS, N = DW_MOTOR_STATES + SUPPLY_STATES, M = DW_MOTOR_INPUTS };

/* Share of the no-load speed by which neighbouring ranges of speed overlap. A rotor that lets go has no acceleration yet,
 * to the rounding; without the overlap its sign would send the run back and forth without end. */
static const double SPEED_SLACK = 1e-12;

/* Share of the supply by which the back-EMF must pass the voltage that opens a diode's path. The current has no slope there, to the
 * rounding, whose sign would end the conduction at once, and so without end. */
static const double EMF_SLACK = 1e-12;

/* How far the square law's chords may be off, as a share of its torque at the no-load speed: where nothing is asked, and at least and
 * at most. */
static const double LAW = 1e-5, FINEST = 1e-12, COARSEST = 0.1;

/* J w' = K i - B w - (offset + slope w) - load, for w in [low, high]. */
struct mechanical {
    bool stuck;
    double low, high;    /* rad/s, this mode's range of speeds */
    size_t below, above; /* mechanical modes beyond them */
    double offset, slope;
};

struct dw_motor {
    struct dw_motor_plan plan;
    struct dw_plant *plant;
    size_t mechanicals, chords;
    double law;          /* how far the chords may be off, as a share of the load at the no-load speed */
    struct path path[MOTOR_PATHS];
    struct paths paths;
    struct load_source source;
    double emf[N];
    double no_current[N * N], no_speed[N * N];  /* resets at which what a mode holds at zero is zero to the last bit */
    struct build build;  /* of the mode made last */
};

static const double of_current[N] = { [DW_MOTOR_CURRENT] = 1 }, of_speed[N] = { [DW_MOTOR_SPEED] = 1 };

/* ---- the mechanical modes ---- */

/* N m s^2/rad^2, seen from the motor. */
static double square_of(const struct dw_motor_plan *p)
{
    return p->torque_at_square / p->gear / p->gear / p->gear;
}

/* The same as asked: of the lesser of that and the torque at stall, so that a speed that has settled is as near to its own. */
static double law_share(const struct dw_motor_plan *p)
{
    const double speed = dw_motor_no_load_speed(p), stall = p->constant * dw_motor_stall_current(p);
    const double accuracy = p->accuracy > 0 ? p->accuracy : LAW;
    return fmin(fmax(accuracy * fmin(1, stall / (square_of(p) * speed * speed)), FINEST), COARSEST);
}

/* Share of the no-load speed at which chord k begins, (7.6). */
static double chord_begin(double law, size_t k)
{
    return k ? sqrt(law) * (1 + sqrt(2) * (2 * (double)k - 1)) : 0;
}

static size_t chord_count(const struct dw_motor_plan *p, double law)
{
    const double pieces = p->torque_at_square > 0 ? ((1 / sqrt(law) - 1) / sqrt(2) + 1) / 2 : 1;
    return pieces > 1 ? (size_t)ceil(pieces) : 1;
}

/* A mechanical mode: stuck (only with drag), then forward by rising speed, then backward. */
static struct mechanical mechanical_mode(const struct dw_motor *motor, size_t m)
{
    const struct dw_motor_plan *p = &motor->plan;
    const size_t first = p->drag > 0, count = motor->chords;
    if (motor->mechanicals == 1)
        return (struct mechanical){ .low = -INFINITY, .high = INFINITY, .slope = p->friction };
    if (m < first)
        return (struct mechanical){ .stuck = true };
    const bool forward = m < first + count;
    const size_t k = forward ? m - first : m - first - count, other = forward ? first + count : first;
    const double speed = dw_motor_no_load_speed(p), square = square_of(p), slack = SPEED_SLACK * speed;
    const double from = chord_begin(motor->law, k), to = chord_begin(motor->law, k + 1);
    /* the chord of the square, lowered by what it may be off but at standstill */
    const double slope = k ? from + to : to - motor->law / to, offset = k ? -from * to - motor->law : 0;
    const struct mechanical ahead = {
        .low = speed * from - slack, .high = k + 1 < count ? speed * to + slack : INFINITY,
        /* through standstill: stuck first where there is drag, which lets go again at once if it must */
        .below = k ? m - 1 : first ? 0 : other, .above = m + 1,
        .offset = p->drag + square * speed * speed * offset, .slope = p->friction + square * speed * slope
    };
    return forward ? ahead : (struct mechanical){ .low = -ahead.high, .high = -ahead.low, .below = m + 1, .above = ahead.below,
                                                  .offset = -ahead.offset, .slope = ahead.slope };
}

/* ---- one mode ---- */

/* A guard on the speed, into a mode where the rotor sticks or goes on turning. */
static void speed_guard(struct dw_motor *motor, double factor, double offset, size_t path, size_t next)
{
    const double speed = dw_motor_no_load_speed(&motor->plan);
    struct dw_guard *guard = dwi_build_guard(&motor->build, of_speed, factor, offset, speed,
                                             motor->paths.base + path * motor->mechanicals + next);
    guard->reset = next == 0 && motor->plan.drag > 0 ? motor->no_speed : NULL;
}

static void mechanical_guards(struct dw_motor *motor, const struct mechanical *mode, size_t path)
{
    const struct dw_motor_plan *p = &motor->plan;
    const double torque = p->constant * dw_motor_stall_current(p);
    for (int sense = -1; mode->stuck && sense <= 1; sense += 2) {  /* |K i - load| <= drag */
        const size_t next = motor->paths.base + path * motor->mechanicals + (sense > 0 ? 1 : 1 + motor->chords), k = motor->build.guard_count;
        dwi_build_guard(&motor->build, of_current, -sense * p->constant, p->drag + sense * p->torque / p->gear, torque, next);
        motor->build.guard_input[k][DW_MOTOR_TORQUE] = sense / p->gear;
    }
    if (!mode->stuck && isfinite(mode->low))
        speed_guard(motor, 1, -mode->low, path, mode->below);
    if (!mode->stuck && isfinite(mode->high))
        speed_guard(motor, -1, mode->high, path, mode->above);
}

static void rates(struct dw_motor *motor, size_t path, const struct mechanical *me)
{
    const struct dw_motor_plan *p = &motor->plan;
    const struct path *el = motor->path + path;
    const double inertia = p->inertia + p->load_inertia / p->gear / p->gear;
    struct build *w = &motor->build;
    const size_t n = w->states;
    double *const current = w->a + DW_MOTOR_CURRENT * n, *const speed = w->a + DW_MOTOR_SPEED * n;
    if (el->conduction != BLOCKS) {
        const struct row volts = dwi_path_volts(&motor->paths, path);
        for (size_t i = 0; i < n; i++)
            current[i] = volts.state[i] / p->inductance;
        current[DW_MOTOR_CURRENT] -= (p->resistance + el->ohms) / p->inductance;
        current[DW_MOTOR_SPEED] -= p->constant / p->inductance;
        w->b[DW_MOTOR_CURRENT * M + DW_MOTOR_PIN] = el->pin / p->inductance;
        w->e[DW_MOTOR_CURRENT] = volts.alone / p->inductance;
    }
    if (!me->stuck) {
        speed[DW_MOTOR_CURRENT] = p->constant / inertia;
        speed[DW_MOTOR_SPEED] = -me->slope / inertia;
        w->b[DW_MOTOR_SPEED * M + DW_MOTOR_TORQUE] = -1 / p->gear / inertia;
        w->e[DW_MOTOR_SPEED] = -(me->offset + p->torque / p->gear) / inertia;
        w->a[DW_MOTOR_ANGLE * n + DW_MOTOR_SPEED] = 1;
    }
}

/* One row of the outputs: what it takes of current, speed, angle and pin, beside a row. */
struct taken {
    double current, speed, angle, pin;
};

static void output_row(struct build *w, size_t k, const struct row *row, struct taken taken)
{
    double *const c = w->c + k * w->states;
    for (size_t i = 0; i < w->states; i++)
        c[i] = row->state[i];
    c[DW_MOTOR_CURRENT] += taken.current;
    c[DW_MOTOR_SPEED] += taken.speed;
    c[DW_MOTOR_ANGLE] += taken.angle;
    w->d[k * M + DW_MOTOR_PIN] = taken.pin;
    w->f[k] = row->alone;
}

/* In the order of name_outputs. */
static void outputs(struct dw_motor *motor, size_t path, const struct supplied *supplied)
{
    const struct dw_motor_plan *p = &motor->plan;
    const struct path *el = motor->path + path;
    struct build *w = &motor->build;
    const double k = p->constant, turning = p->rpm ? DW_RPM : 1;
    const bool blocks = el->conduction == BLOCKS;
    const struct row none = { .alone = 0 }, volts = dwi_path_volts(&motor->paths, path);
    struct row across = { .alone = el->switch_supply * supplied->volts.alone + el->switch_volts };
    struct dw_port port[SUPPLY_PORTS];
    struct row value[SUPPLY_PORTS];
    size_t row = 0;
    for (size_t i = 0; i < w->states; i++)
        across.state[i] = el->switch_supply * supplied->volts.state[i];
    if (p->all) {
        const struct taken emf = { .speed = k }, path_drop = { .current = -el->ohms, .pin = el->pin };
        output_row(w, row++, blocks ? &none : &volts, blocks ? emf : path_drop);
        output_row(w, row++, &none, emf);
        output_row(w, row++, &none, (struct taken){ .current = k });
        output_row(w, row++, &none, (struct taken){ .angle = p->degrees ? 6 * DW_RPM : 1 }); /* 360 deg are as 60 s */
        if (p->gear != 1)
            output_row(w, row++, &none, (struct taken){ .speed = turning / p->gear });
        if (p->drive != DW_DRIVE_DIRECT) {
            output_row(w, row++, &none, (struct taken){ .current = el->share });
            output_row(w, row++, &none, (struct taken){ .current = el->switch_share });
            output_row(w, row++, &none, (struct taken){ .current = el->diode_share });
            output_row(w, row++, &across, (struct taken){ .current = el->switch_ohms, .speed = el->switch_emf * k });
        }
    }
    const size_t count = dwi_supply_outputs(&motor->source, p->all, supplied, port, value);
    for (size_t i = 0; i < count; i++)
        output_row(w, row++, value + i, (struct taken){ 0 });
    output_row(w, row++, &none, (struct taken){ .current = 1 });
    output_row(w, row++, &none, (struct taken){ .speed = turning });
}

/* Returns how many. */
static size_t name_outputs(const struct dw_motor_plan *p, const struct load_source *source, struct dw_port *ports)
{
    const double amperes = dw_motor_stall_current(p), speed = dw_motor_no_load_speed(p) * (p->rpm ? DW_RPM : 1);
    const double turn = p->degrees ? 360 : 2 * 3.14159265358979323846;
    const char *const turning = p->rpm ? "rpm" : "rad/s";
    const bool switched = p->drive != DW_DRIVE_DIRECT;
    const struct {
        bool wanted;
        struct dw_port port;
    } all[] = {
        { p->all, { "terminal", "V", p->supply, NAN } },
        { p->all, { "back-emf", "V", p->supply, NAN } },
        { p->all, { "torque", "Nm", p->constant * amperes, NAN } },
        { p->all, { "angle", p->degrees ? "deg" : "rad", turn, NAN } },
        { p->all && p->gear != 1, { "geared-speed", turning, speed / p->gear, NAN } },
        { p->all && switched, { "supply-current", "A", amperes, NAN } },
        { p->all && switched, { "switch-current", "A", amperes, NAN } },
        { p->all && switched, { "diode-current", "A", amperes, NAN } },
        { p->all && switched, { "switch", "V", p->supply, NAN } },
    };
    size_t count = 0;
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        if (all[i].wanted)
            ports[count++] = all[i].port;
    count += dwi_supply_outputs(source, p->all, NULL, ports + count, NULL);
    ports[count++] = (struct dw_port){ "current", "A", amperes, 0 };
    ports[count++] = (struct dw_port){ "speed", turning, speed, 0 };
    return count;
}

/* ---- the whole ---- */

static void make(void *of, size_t mode, struct dw_mode *out)
{
    struct dw_motor *motor = of;
    const size_t each = motor->paths.count * motor->mechanicals, line = mode / each, path = mode % each / motor->mechanicals;
    const size_t m = mode % motor->mechanicals, forward = motor->plan.drag > 0;
    const struct mechanical mechanical = mechanical_mode(motor, m);
    const struct row drawn = { .state = { [DW_MOTOR_CURRENT] = motor->path[path].share } };
    dwi_build_begin(&motor->build, motor->source.states, M);
    motor->paths.base = line * each;
    const struct supplied supplied = dwi_supply_join(&motor->source, &motor->build, line == 1, &drawn, 0, mode % each + (1 - line) * each);
    motor->paths.volts = supplied.volts;
    rates(motor, path, &mechanical);
    outputs(motor, path, &supplied);
    dwi_path_guards(&motor->paths, &motor->build, path, m);
    mechanical_guards(motor, &mechanical, path);
    *out = dwi_build_end(&motor->build, motor->path[path].name);
    out->curve = 1 + 3 * (line * motor->paths.count + path) + (mechanical.stuck ? 0 : m < forward + motor->chords ? 1 : 2);
}

static struct dw_plant *make_plant(struct dw_motor *motor, struct dw_error *error)
{
    const struct dw_motor_plan *p = &motor->plan;
    const double inertia = p->inertia + p->load_inertia / p->gear / p->gear;
    /* the angle stores nothing: any small weight serves the bounds */
    double weight[N] = { p->inductance, inertia, inertia }, rest[N] = { 0 };
    const bool drifts[N] = { [DW_MOTOR_ANGLE] = true };
    struct dw_port ports[OUTPUTS_MOST];
    const size_t output_count = name_outputs(p, &motor->source, ports), n = motor->source.states;
    dwi_supply_rest(&motor->source, weight, rest);
    for (size_t i = 0; i < n; i++) {
        motor->no_current[i * (n + 1)] = i != DW_MOTOR_CURRENT;
        motor->no_speed[i * (n + 1)] = i != DW_MOTOR_SPEED;
    }
    return dw_plant_new(&(struct dw_plant_plan){
        .modes = { .states = n, .inputs = M, .outputs = output_count,
                   .mode_count = motor->source.conditions * motor->paths.count * motor->mechanicals,
                   .make = make, .of = motor, .weight = weight, .drifts = drifts },
        .ports = ports, .rest = rest, .load = motor, .release = free,
        .mode = dwi_path_for(&motor->paths, GATE_OFF, GATE_OFF, 1) * motor->mechanicals }, error);
}

struct dw_motor *dw_motor_new(const struct dw_motor_plan *plan, struct dw_error *error)
{
    if (dw_motor_check(plan, error))
        return NULL;
    struct dw_motor *motor = calloc(1, sizeof *motor);
    if (!motor) {
        dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for the motor");
        return NULL;
    }
    motor->plan = *plan;
    motor->plan.drag += plan->load_drag / plan->gear;
    plan = &motor->plan;
    motor->law = law_share(plan);
    motor->chords = chord_count(plan, motor->law);
    motor->mechanicals = plan->drag > 0 || plan->torque_at_square > 0 ? (plan->drag > 0) + 2 * motor->chords : 1;
    motor->paths = (struct paths){
        .path = motor->path, .count = dwi_motor_paths(plan, motor->path), .each = motor->mechanicals, .supply = plan->supply,
        .threshold = plan->threshold, .gate_scale = fmax(fabs(plan->threshold), 1), .amperes = dw_motor_stall_current(plan),
        .slack = EMF_SLACK * plan->supply, .pin = DW_MOTOR_PIN, .low = DW_MOTOR_LOW, .direction = DW_MOTOR_DIRECTION,
        .current = of_current, .emf = motor->emf, .no_current = motor->no_current
    };
    dwi_supply_place(&motor->source, &plan->source, plan->supply, dw_motor_stall_current(plan), DW_MOTOR_STATES);
    motor->emf[DW_MOTOR_SPEED] = plan->constant;
    motor->plant = make_plant(motor, error);
    if (!motor->plant) {
        free(motor);
        return NULL;
    }
    return motor;
}

void dw_motor_free(struct dw_motor *motor)
{
    if (motor)
        dw_plant_free(motor->plant);
}

struct dw_plant *dw_motor_plant(const struct dw_motor *motor)
{
    return motor->plant;
}

bool dw_motor_blocked(const struct dw_motor *motor, size_t mode)
{
    return motor->path[mode / motor->mechanicals % motor->paths.count].conduction == BLOCKS;
}
