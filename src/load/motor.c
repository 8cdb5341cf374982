/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A motor as a switching system: each electrical mode with each mechanical one. docs/theory.md, section 7. */
#include "load/motor_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    CHORDS = 159,  /* of the square law up to the no-load speed: off by 1 / (4 * 159^2) = 1e-5 of it (7.6) */
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

/* J w' = K i - B w - (offset + slope w) - load, for w in [low, high]. */
struct mechanical {
    bool stuck;
    int sense;           /* 1 forward, -1 backward, 0 either */
    double low, high;    /* rad/s, this mode's range of speeds */
    size_t below, above; /* mechanical modes beyond them */
    double offset, slope;
};

struct dw_motor {
    struct dw_plant *plant;
    size_t mechanicals;
    struct electrical electrical[ELECTRICAL_MOST];
};

/* Everything of one mode that dw_modes_new copies. */
struct workings {
    double a[N * N], b[N * M], e[N], c[OUTPUTS_MOST * N], d[OUTPUTS_MOST * M], f[OUTPUTS_MOST];
    double guard_state[GUARDS_MOST][N], guard_input[GUARDS_MOST][M];
    struct dw_guard guards[GUARDS_MOST];
    size_t guard_count;
};

/* Resets at which what a mode holds at zero is zero to the last bit. */
static const double no_current[N * N] = { [4] = 1, [8] = 1 }, no_speed[N * N] = { [0] = 1, [8] = 1 };

/* ---- the mechanical modes ---- */

/* Braking load of one sense between two speeds: the chord of torque_at_square there, with the drag. */
static struct mechanical chord(const struct dw_motor_plan *p, int sense, size_t k, size_t count, double width)
{
    double square = p->torque_at_square / (p->gear * p->gear * p->gear), from = k * width, to = (k + 1) * width;
    struct mechanical m = { .sense = sense, .offset = sense * (p->drag - square * from * to),
                            .slope = p->friction + square * (from + to) };
    if (!(square > 0))
        m.slope = p->friction;
    bool last = k + 1 == count;
    double slack = SPEED_SLACK * dw_motor_no_load_speed(p);
    m.low = (sense > 0 ? from : last ? -INFINITY : -to) - slack;
    m.high = (sense > 0 ? (last ? INFINITY : to) : -from) + slack;
    return m;
}

/* All mechanical modes: stuck (only with drag), forward 1..count, backward after them. Returns how many; NULL: no memory. */
static struct mechanical *mechanical_modes(const struct dw_motor_plan *p, size_t *total)
{
    bool square = p->torque_at_square > 0, drag = p->drag > 0;
    size_t count = square ? CHORDS : 1, first = drag ? 1 : 0;
    struct mechanical *modes = calloc(first + 2 * count, sizeof *modes);
    if (!modes)
        return NULL;
    if (!square && !drag) {
        modes[0] = (struct mechanical){ .low = -INFINITY, .high = INFINITY, .slope = p->friction };
        *total = 1;
        return modes;
    }
    if (drag)
        modes[0] = (struct mechanical){ .stuck = true };
    for (size_t k = 0; k < count; k++) {
        size_t f = first + k, b = f + count;
        modes[f] = chord(p, 1, k, count, dw_motor_no_load_speed(p) / count);
        modes[b] = chord(p, -1, k, count, dw_motor_no_load_speed(p) / count);
        /* through standstill: stuck first where there is drag, which lets go again at once if it must */
        modes[f].below = k ? f - 1 : drag ? 0 : b;
        modes[f].above = f + 1;
        modes[b].above = k ? b - 1 : drag ? 0 : f;
        modes[b].below = b + 1;
    }
    *total = first + 2 * count;
    return modes;
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

static void mechanical_guards(const struct dw_motor_plan *p, struct workings *w, const struct mechanical *modes,
                              size_t count, size_t e, size_t m, size_t mechanicals)
{
    const struct mechanical *mode = &modes[m];
    const double torque = p->constant * dw_motor_stall_current(p), speed = dw_motor_no_load_speed(p);
    if (mode->stuck) {  /* |K i - load| <= drag */
        const size_t forward = 1, backward = 1 + (count - 1) / 2;
        for (int sense = -1; sense <= 1; sense += 2) {
            size_t next = e * mechanicals + (sense > 0 ? forward : backward), k = w->guard_count;
            add_guard(w, OF_STATE, DW_MOTOR_CURRENT, -sense * p->constant, p->drag + sense * p->torque / p->gear, torque, next);
            w->guard_input[k][DW_MOTOR_TORQUE] = sense / p->gear;
        }
        return;
    }
    if (isfinite(mode->low)) {
        add_guard(w, OF_STATE, DW_MOTOR_SPEED, 1, -mode->low, speed, e * mechanicals + mode->below)->reset =
            modes[mode->below].stuck ? no_speed : NULL;
    }
    if (isfinite(mode->high)) {
        add_guard(w, OF_STATE, DW_MOTOR_SPEED, -1, mode->high, speed, e * mechanicals + mode->above)->reset =
            modes[mode->above].stuck ? no_speed : NULL;
    }
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

static enum dw_status build(struct dw_motor *motor, const struct dw_motor_plan *p, struct dw_error *error)
{
    size_t electricals = motor_electrical(p, motor->electrical), mechanicals = 0;
    struct mechanical *mechanical = mechanical_modes(p, &mechanicals);
    size_t count = electricals * mechanicals;
    struct workings *work = calloc(count ? count : 1, sizeof *work);
    struct dw_mode *modes = calloc(count ? count : 1, sizeof *modes);
    enum dw_status status = DW_OK;
    if (!mechanical || !work || !modes)
        status = dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for %zu modes of the motor", count);
    struct dw_port ports[OUTPUTS_MOST];
    const size_t output_count = name_outputs(p, ports);
    for (size_t i = 0; !status && i < count; i++) {
        size_t e = i / mechanicals, m = i % mechanicals;
        struct workings *w = &work[i];
        rates(p, w, &motor->electrical[e], &mechanical[m]);
        outputs(p, w, &motor->electrical[e]);
        gate_guards(p, w, motor->electrical, electricals, e, m, mechanicals);
        diode_guards(p, w, motor->electrical, electricals, e, m, mechanicals);
        mechanical_guards(p, w, mechanical, mechanicals, e, m, mechanicals);
        modes[i] = (struct dw_mode){ .name = motor->electrical[e].name, .a = w->a, .b = w->b, .e = w->e, .c = w->c,
                                     .d = w->d, .f = w->f, .guards = w->guards, .guard_count = w->guard_count };
    }
    const double inertia = p->inertia + p->load_inertia / (p->gear * p->gear);
    /* the angle stores nothing: any small weight serves the bounds */
    const double weight[N] = { p->inductance, inertia, inertia };
    const bool drifts[N] = { [DW_MOTOR_ANGLE] = true };
    if (!status) {
        motor->plant = dw_plant_new(&(struct dw_plant_plan){
            .modes = { .states = N, .inputs = M, .outputs = output_count, .modes = modes, .mode_count = count, .weight = weight,
                       .drifts = drifts },
            .ports = ports, .mode = electrical_for(motor->electrical, electricals, GATE_OFF, GATE_OFF, 1) * mechanicals,
            .load = motor, .release = free }, error);
        status = motor->plant ? DW_OK : error ? error->status : DW_NO_MEMORY;  /* unrun: passed-on */
    }
    motor->mechanicals = mechanicals;
    free(modes);
    free(work);
    free(mechanical);
    return status;
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
    if (build(motor, plan, error)) {
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
