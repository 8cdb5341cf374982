/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A motor as a switching system: each electrical mode with each mechanical one. docs/theory.md, section 7. */
#include "load/motor_inner.h"
#include <math.h>
#include <stdlib.h>

enum {
    GUARDS_MOST = 10,
    OUTPUTS_MOST = 12,
    N = DW_MOTOR_STATES,
    M = DW_MOTOR_INPUTS
};

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

/* Everything of one mode that its plan points to. */
struct workings {
    double a[N * N], b[N * M], e[N], c[OUTPUTS_MOST * N], d[OUTPUTS_MOST * M], f[OUTPUTS_MOST];
    double guard_state[GUARDS_MOST][N], guard_input[GUARDS_MOST][M];
    struct dw_guard guards[GUARDS_MOST];
    size_t guard_count;
};

struct dw_motor {
    struct dw_motor_plan plan;
    struct dw_plant *plant;
    size_t electricals, mechanicals, chords;
    double law;              /* how far the chords may be off, as a share of the load at the no-load speed */
    struct electrical electrical[ELECTRICAL_MOST];
    struct workings work;    /* of the mode made last */
};

/* Resets at which what a mode holds at zero is zero to the last bit. */
static const double no_current[N * N] = { [4] = 1, [8] = 1 }, no_speed[N * N] = { [0] = 1, [8] = 1 };

/* ---- the mechanical modes ---- */

/* N m s^2/rad^2, seen from the motor. */
static double square_of(const struct dw_motor_plan *p)
{
    return p->torque_at_square / (p->gear * p->gear * p->gear);
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

/* g = factor * state (or input) + offset */
enum operand { OF_STATE, OF_INPUT };
static struct dw_guard *add_guard(struct workings *w, enum operand operand, size_t index, double factor, double offset,
                                  double scale, size_t next)
{
    size_t k = w->guard_count++;
    (operand == OF_STATE ? w->guard_state[k] : w->guard_input[k])[index] = factor;
    w->guards[k] = (struct dw_guard){ .state = w->guard_state[k], .input = w->guard_input[k], .offset = offset,
                                      .scale = scale, .next = next };
    return &w->guards[k];
}

/* The electrical mode for gates and direction, in which diodes have yet to find out whether they conduct. */
static size_t electrical_for(const struct electrical *modes, size_t count, enum gate_state high, enum gate_state low,
                             int direction)
{
    for (size_t e = 0; e < count; e++)  /* unrun: all-cases */
        if ((modes[e].conduction == CONDUCTS_BOTH || modes[e].conduction == BLOCKS) &&
            (modes[e].high == high || modes[e].high == GATE_ANY) && (modes[e].low == low || modes[e].low == GATE_ANY) &&
            (modes[e].direction == direction || !modes[e].direction))
            return e;
    return 0;  /* unrun: all-cases */
}

/* Guards on the gates and the direction. */
static void gate_guards(const struct dw_motor_plan *p, struct workings *w, const struct electrical *modes, size_t count,
                        size_t e, size_t m, size_t mechanicals)
{
    const struct electrical *mode = &modes[e];
    const double scale = fmax(fabs(p->threshold), 1);
    const int direction = mode->direction;
    if (mode->high != GATE_ANY) {
        bool on = mode->high == GATE_ON;
        size_t next = electrical_for(modes, count, on ? GATE_OFF : GATE_ON, GATE_OFF, direction);
        add_guard(w, OF_INPUT, DW_MOTOR_PIN, on ? 1 : -1, on ? -p->threshold : p->threshold, scale, next * mechanicals + m);
    }
    if (mode->low != GATE_ANY) {
        bool on = mode->low == GATE_ON;
        size_t next = electrical_for(modes, count, GATE_OFF, on ? GATE_OFF : GATE_ON, direction);
        add_guard(w, OF_INPUT, DW_MOTOR_LOW, on ? 1 : -1, on ? -p->threshold : p->threshold, scale, next * mechanicals + m);
    }
    if (direction) {
        size_t next = electrical_for(modes, count, mode->high, mode->low, -direction);
        add_guard(w, OF_INPUT, DW_MOTOR_DIRECTION, direction, 0, 1, next * mechanicals + m);
    }
}

/* The mode under the same gates and direction in which the diodes conduct otherwise. */
static size_t sibling(const struct electrical *modes, size_t count, size_t e, enum conduction conduction)
{
    for (size_t k = 0; k < count; k++)  /* unrun: all-cases */
        if (modes[k].conduction == conduction && modes[k].high == modes[e].high && modes[k].low == modes[e].low &&
            modes[k].direction == modes[e].direction)
            return k;
    return e;  /* unrun: all-cases */
}

/* Guards on the current's sign, or on the back-EMF that opens a diode's path. */
static void diode_guards(const struct dw_motor_plan *p, struct workings *w, const struct electrical *modes, size_t count,
                         size_t e, size_t m, size_t mechanicals)
{
    const struct electrical *mode = &modes[e];
    const double amperes = dw_motor_stall_current(p), slack = EMF_SLACK * p->supply;
    if (mode->conduction == CONDUCTS_BOTH)
        return;
    if (mode->conduction != BLOCKS) {
        add_guard(w, OF_STATE, DW_MOTOR_CURRENT, mode->conduction == CONDUCTS_FORWARD ? 1 : -1, 0, amperes,
                  sibling(modes, count, e, BLOCKS) * mechanicals + m)->reset = no_current;
        return;
    }
    const size_t forward = sibling(modes, count, e, CONDUCTS_FORWARD) * mechanicals + m;
    const size_t back = sibling(modes, count, e, CONDUCTS_BACK) * mechanicals + m;
    /* entered with a current, one of its paths takes it; without one, the back-EMF may open a path */
    add_guard(w, OF_STATE, DW_MOTOR_CURRENT, -1, 0, amperes, forward);
    add_guard(w, OF_STATE, DW_MOTOR_CURRENT, 1, 0, amperes, back);
    add_guard(w, OF_STATE, DW_MOTOR_SPEED, -p->constant, mode->most + slack, p->supply, back);
    add_guard(w, OF_STATE, DW_MOTOR_SPEED, p->constant, slack - mode->least, p->supply, forward);
}

/* A guard on the speed, into a mode where the rotor sticks or goes on turning. */
static void speed_guard(const struct dw_motor *motor, struct workings *w, double factor, double offset, size_t e, size_t next)
{
    struct dw_guard *guard = add_guard(w, OF_STATE, DW_MOTOR_SPEED, factor, offset, dw_motor_no_load_speed(&motor->plan),
                                       e * motor->mechanicals + next);
    guard->reset = next == 0 && motor->plan.drag > 0 ? no_speed : NULL;
}

static void mechanical_guards(const struct dw_motor *motor, struct workings *w, const struct mechanical *mode, size_t e)
{
    const struct dw_motor_plan *p = &motor->plan;
    const double torque = p->constant * dw_motor_stall_current(p);
    if (mode->stuck) {  /* |K i - load| <= drag */
        for (int sense = -1; sense <= 1; sense += 2) {
            const size_t next = e * motor->mechanicals + (sense > 0 ? 1 : 1 + motor->chords), k = w->guard_count;
            add_guard(w, OF_STATE, DW_MOTOR_CURRENT, -sense * p->constant, p->drag + sense * p->torque / p->gear, torque, next);
            w->guard_input[k][DW_MOTOR_TORQUE] = sense / p->gear;
        }
        return;
    }
    if (isfinite(mode->low))
        speed_guard(motor, w, 1, -mode->low, e, mode->below);
    if (isfinite(mode->high))
        speed_guard(motor, w, -1, mode->high, e, mode->above);
}

static void rates(const struct dw_motor_plan *p, struct workings *w, const struct electrical *el, const struct mechanical *me)
{
    const double inertia = p->inertia + p->load_inertia / (p->gear * p->gear);
    if (el->conduction != BLOCKS) {
        w->a[DW_MOTOR_CURRENT * N + DW_MOTOR_CURRENT] = -(p->resistance + el->ohms) / p->inductance;
        w->a[DW_MOTOR_CURRENT * N + DW_MOTOR_SPEED] = -p->constant / p->inductance;
        w->b[DW_MOTOR_CURRENT * M + DW_MOTOR_PIN] = el->pin / p->inductance;
        w->e[DW_MOTOR_CURRENT] = el->volts / p->inductance;
    }
    if (!me->stuck) {
        w->a[DW_MOTOR_SPEED * N + DW_MOTOR_CURRENT] = p->constant / inertia;
        w->a[DW_MOTOR_SPEED * N + DW_MOTOR_SPEED] = -me->slope / inertia;
        w->b[DW_MOTOR_SPEED * M + DW_MOTOR_TORQUE] = -1 / p->gear / inertia;
        w->e[DW_MOTOR_SPEED] = -(me->offset + p->torque / p->gear) / inertia;
        w->a[DW_MOTOR_ANGLE * N + DW_MOTOR_SPEED] = 1;
    }
}

/* One row of the outputs: what it takes of current, speed, angle, pin, and by itself. */
static void output_row(struct workings *w, size_t k, double current, double speed, double angle, double pin, double alone)
{
    w->c[k * N + DW_MOTOR_CURRENT] = current;
    w->c[k * N + DW_MOTOR_SPEED] = speed;
    w->c[k * N + DW_MOTOR_ANGLE] = angle;
    w->d[k * M + DW_MOTOR_PIN] = pin;
    w->f[k] = alone;
}

/* In the order of name_outputs. */
static void outputs(const struct dw_motor_plan *p, struct workings *w, const struct electrical *el)
{
    const double k = p->constant, turning = p->rpm ? DW_RPM : 1;
    const bool blocks = el->conduction == BLOCKS;
    size_t row = 0;
    if (p->all) {
        output_row(w, row++, blocks ? 0 : -el->ohms, blocks ? k : 0, 0, el->pin, el->volts);
        output_row(w, row++, 0, k, 0, 0, 0);
        output_row(w, row++, k, 0, 0, 0, 0);
        output_row(w, row++, 0, 0, 1, 0, 0);
        if (p->gear != 1)
            output_row(w, row++, 0, turning / p->gear, 0, 0, 0);
        if (p->drive != DW_DRIVE_DIRECT) {
            output_row(w, row++, el->supply_share, 0, 0, 0, 0);
            output_row(w, row++, el->switch_share, 0, 0, 0, 0);
            output_row(w, row++, el->diode_share, 0, 0, 0, 0);
            output_row(w, row++, el->switch_ohms, el->switch_emf * k, 0, 0, el->switch_volts);
        }
    }
    output_row(w, row++, 1, 0, 0, 0, 0);
    output_row(w, row++, 0, turning, 0, 0, 0);
}

/* Returns how many. */
static size_t name_outputs(const struct dw_motor_plan *p, struct dw_port *ports)
{
    const double amperes = dw_motor_stall_current(p), speed = dw_motor_no_load_speed(p) * (p->rpm ? DW_RPM : 1);
    const double turn = 2 * 3.14159265358979323846;
    const char *const turning = p->rpm ? "rpm" : "rad/s";
    const bool switched = p->drive != DW_DRIVE_DIRECT;
    const struct {
        bool wanted;
        struct dw_port port;
    } all[] = {
        { p->all, { "terminal", "V", p->supply, NAN } },
        { p->all, { "back-emf", "V", p->supply, NAN } },
        { p->all, { "torque", "Nm", p->constant * amperes, NAN } },
        { p->all, { "angle", "rad", turn, NAN } },
        { p->all && p->gear != 1, { "geared-speed", turning, speed / p->gear, NAN } },
        { p->all && switched, { "supply-current", "A", amperes, NAN } },
        { p->all && switched, { "switch-current", "A", amperes, NAN } },
        { p->all && switched, { "diode-current", "A", amperes, NAN } },
        { p->all && switched, { "switch", "V", p->supply, NAN } },
        { true, { "current", "A", amperes, 0 } },
        { true, { "speed", turning, speed, 0 } },
    };
    size_t count = 0;
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        if (all[i].wanted)
            ports[count++] = all[i].port;
    return count;
}

/* ---- the whole ---- */

static void make(void *of, size_t mode, struct dw_mode *out)
{
    struct dw_motor *motor = of;
    struct workings *w = &motor->work;
    const size_t e = mode / motor->mechanicals, m = mode % motor->mechanicals, forward = motor->plan.drag > 0;
    const struct electrical *electrical = &motor->electrical[e];
    const struct mechanical mechanical = mechanical_mode(motor, m);
    *w = (struct workings){ .guard_count = 0 };
    rates(&motor->plan, w, electrical, &mechanical);
    outputs(&motor->plan, w, electrical);
    gate_guards(&motor->plan, w, motor->electrical, motor->electricals, e, m, motor->mechanicals);
    diode_guards(&motor->plan, w, motor->electrical, motor->electricals, e, m, motor->mechanicals);
    mechanical_guards(motor, w, &mechanical, e);
    *out = (struct dw_mode){ .name = electrical->name, .a = w->a, .b = w->b, .e = w->e, .c = w->c, .d = w->d, .f = w->f,
                             .guards = w->guards, .guard_count = w->guard_count,
                             .curve = 1 + 3 * e + (mechanical.stuck ? 0 : m < forward + motor->chords ? 1 : 2) };
}

static struct dw_plant *make_plant(struct dw_motor *motor, struct dw_error *error)
{
    const struct dw_motor_plan *p = &motor->plan;
    const double inertia = p->inertia + p->load_inertia / (p->gear * p->gear);
    /* the angle stores nothing: any small weight serves the bounds */
    const double weight[N] = { p->inductance, inertia, inertia };
    const bool drifts[N] = { [DW_MOTOR_ANGLE] = true };
    struct dw_port ports[OUTPUTS_MOST];
    const size_t output_count = name_outputs(p, ports);
    return dw_plant_new(&(struct dw_plant_plan){
        .modes = { .states = N, .inputs = M, .outputs = output_count, .mode_count = motor->electricals * motor->mechanicals,
                   .make = make, .of = motor, .weight = weight, .drifts = drifts },
        .ports = ports, .load = motor, .release = free,
        .mode = electrical_for(motor->electrical, motor->electricals, GATE_OFF, GATE_OFF, 1) * motor->mechanicals }, error);
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
    motor->electricals = motor_electrical(plan, motor->electrical);
    motor->law = law_share(plan);
    motor->chords = chord_count(plan, motor->law);
    motor->mechanicals = plan->drag > 0 || plan->torque_at_square > 0 ? (plan->drag > 0) + 2 * motor->chords : 1;
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
    return motor->electrical[mode / motor->mechanicals].conduction == BLOCKS;
}
