/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What changes in a stepper's drive, and when: bridges that chop, diodes, a rotor that sticks, steps that come. docs/theory.md, section 14. */
#include "load/stepper_inner.h"
#include <math.h>

/* Shares of the current: a reference below the first is none, one above the second is one again. */
static const double NO_WISH = 1e-9, WISH = 2e-9;
/* A field is followed from quarter to quarter of a turn, and belongs to one until it is so far beyond its middle, electrical rad. */
#define BEYOND (5 * M_PI / 12)

static bool is_free(enum bridge bridge)
{
    return bridge == FREE_P || bridge == FREE_N || bridge == OPEN;
}

static bool decays(enum bridge bridge)
{
    return bridge == SHORTED || bridge == FAST_P || bridge == FAST_N || bridge == DEAD;
}

/* 1 of the conditions that stand for P, -1 of N. */
static int sign_of(enum bridge bridge)
{
    return bridge == FREE_P || bridge == ON_P || bridge == BLANK_P || bridge == FAST_P ? 1 : -1;
}

/* ---- guards ---- */

struct list {
    const struct stepper *s;
    double *guard;
    struct cause *cause;
    size_t count;
};

static void add(struct list *list, enum reason reason, int phase, double guard)
{
    if (list->guard)
        list->guard[list->count] = guard;
    if (list->cause)
        list->cause[list->count] = (struct cause){ reason, phase };
    list->count++;
}

/* How far an input is above the threshold. */
static double above(const struct stepper *s, double input)
{
    return (input - s->plan.threshold) / fmax(fabs(s->plan.threshold), 1);
}

/* Of a bridge without current whose diodes the coil's own voltage may open. */
static void add_emf(struct list *list, int phase, const struct instant *at)
{
    const double margin = at->volts + 2 * list->s->plan.diode_drop, volts = list->s->plan.supply;
    add(list, BY_EMF_P, phase, (margin - at->emf[phase]) / volts);
    add(list, BY_EMF_N, phase, (margin + at->emf[phase]) / volts);
}

static void add_bridge(struct list *list, int phase, const struct instant *at, const double *state, const double *input, double share)
{
    const struct stepper *s = list->s;
    const enum bridge bridge = at->now.bridge[phase];
    const double gate = s->plan.gates ? above(s, input[DW_STEPPER_GATE_A + phase]) : 1, current = state[DW_STEPPER_CURRENT_A + phase] / s->amperes;
    const int sign = sign_of(bridge);
    const bool chops = s->plan.drive == DW_STEPPER_CURRENT;
    if (is_free(bridge)) {
        if (!chops) {
            if (s->plan.gates)
                add(list, BY_WISH_P, phase, -gate);
        } else {
            add(list, BY_WISH_P, phase, fmax(WISH - share, -gate));
            add(list, BY_WISH_N, phase, fmax(WISH + share, -gate));
        }
    } else if (s->plan.gates) {
        add(list, BY_GATE, phase, gate);
    }
    if (bridge == FREE_P || bridge == FREE_N || bridge == FAST_P || bridge == FAST_N)
        add(list, BY_CURRENT, phase, sign * current);
    if (dwi_bridge_blocks(bridge))
        add_emf(list, phase, at);
    if (bridge == ON_P || bridge == ON_N || bridge == BLANK_P || bridge == BLANK_N)
        add(list, BY_SIGN, phase, sign * share - NO_WISH);  /* before what is reached */
    if (bridge == ON_P || bridge == ON_N) {
        const double falls = s->plan.off_time > 0 ? 0 : s->plan.compensation / s->amperes * state[DW_STEPPER_BEAT] * s->plan.chop_frequency;
        add(list, BY_REACHED, phase, sign * share * s->plan.current / s->amperes - falls - sign * current);
    }
    if (bridge >= BLANK_P)  /* blanked or decaying */
        add(list, BY_TIMER, phase, state[DW_STEPPER_TIMER_A + phase] / s->shortest);
}

static void add_rotor(struct list *list, const struct instant *at, const double *state)
{
    const struct stepper *s = list->s;
    if (at->now.rotor == STICKS) {
        add(list, BY_STICTION_P, 0, (s->plan.drag - at->torque) / s->torque_scale);
        add(list, BY_STICTION_N, 0, (s->plan.drag + at->torque) / s->torque_scale);
    } else if (s->plan.drag > 0) {
        add(list, BY_STOPPING, 0, (at->now.rotor == SLIDES_P ? 1 : -1) * state[DW_STEPPER_SPEED] / s->speed_scale);
    }
}

size_t dwi_stepper_guards(const struct stepper *s, size_t mode, const double *state, const double *input, double *guard, struct cause *cause)
{
    struct list list = { .s = s, .guard = guard, .cause = cause };
    struct instant at;
    double share[2] = { 0 }, along, across;
    if (mode + 1 == s->modes) {
        add(&list, BY_BEGIN, 0, -1);
        return list.count;
    }
    at.now = s->condition[mode];
    if (at.now.rotor == STICKS || dwi_bridge_blocks(at.now.bridge[0]) || dwi_bridge_blocks(at.now.bridge[1]) || s->source.conditions > 1)
        dwi_stepper_instant(s, mode, state, input, &at);  /* else no guard asks for more than the state */
    if (s->plan.drive == DW_STEPPER_CURRENT && !(decays(at.now.bridge[0]) && decays(at.now.bridge[1])))
        dwi_stepper_shares(s, state, input, share);
    for (int phase = 0; phase < 2; phase++)
        add_bridge(&list, phase, &at, state, input, share[phase]);
    add_rotor(&list, &at, state);
    if (s->plan.coils) {
        dwi_stepper_quarter(s, state, input, &along, &across);
        add(&list, BY_FIELD_P, 0, sin(BEYOND) * along - cos(BEYOND) * across);
        add(&list, BY_FIELD_N, 0, sin(BEYOND) * along + cos(BEYOND) * across);
    } else {
        add(&list, BY_LINE, 0, (at.now.high ? 1 : -1) * above(s, input[DW_STEPPER_STEP]));
    }
    if (s->plan.drive == DW_STEPPER_CURRENT && !(s->plan.off_time > 0))
        add(&list, BY_BEAT, 0, 1 - state[DW_STEPPER_BEAT] * s->plan.chop_frequency);
    if (s->source.conditions > 1)
        add(&list, BY_DIODE, 0, dwi_supply_guard(&s->source, at.now.blocks, state, at.volts, at.drawn));
    return list.count;
}

/* ---- what follows ---- */

/* Not driven: the diodes take what current there is. */
static enum bridge freed(double current)
{
    return current > 0 ? FREE_P : current < 0 ? FREE_N : OPEN;
}

/* Driven as the reference has it. */
static enum bridge driven(const struct stepper *s, int phase, double *state, const double *input)
{
    double share[2];
    if (s->plan.drive == DW_STEPPER_VOLTAGE)
        return FED;
    dwi_stepper_shares(s, state, input, share);
    if (!(fabs(share[phase]) > WISH))
        return freed(state[DW_STEPPER_CURRENT_A + phase]);
    state[DW_STEPPER_TIMER_A + phase] = s->plan.blanking;
    return s->plan.blanking > 0 ? share[phase] > 0 ? BLANK_P : BLANK_N : share[phase] > 0 ? ON_P : ON_N;
}

/* s, that a coil will be off. */
static double time_off(const struct stepper *s, const double *state)
{
    return s->plan.off_time > 0 ? s->plan.off_time : 1 / s->plan.chop_frequency - state[DW_STEPPER_BEAT];
}

/* Shorted for what is left: of a chopper with a beat, until that comes. */
static enum bridge shorted(const struct stepper *s, int phase, double *state)
{
    state[DW_STEPPER_TIMER_A + phase] = s->plan.off_time > 0 ? (1 - s->plan.fast) * s->plan.off_time : 2 / s->plan.chop_frequency;
    return SHORTED;
}

static enum bridge switched_off(const struct stepper *s, int phase, double *state)
{
    const double current = state[DW_STEPPER_CURRENT_A + phase];
    if (!(s->plan.fast > 0))
        return shorted(s, phase, state);
    state[DW_STEPPER_TIMER_A + phase] = s->plan.fast * time_off(s, state) + (s->plan.fast < 1 || s->plan.off_time > 0 ? 0 : 1 / s->plan.chop_frequency);
    return current > 0 ? FAST_P : current < 0 ? FAST_N : DEAD;  /* unrun: rounding */
}

/* The bridge after what ended its condition. */
static enum bridge next_bridge(const struct stepper *s, const struct cause *cause, enum bridge now, double *state, const double *input)
{
    const int phase = cause->phase;
    double *const current = state + DW_STEPPER_CURRENT_A + phase;
    switch (cause->reason) {
    case BY_GATE: return freed(*current);
    case BY_WISH_P:
    case BY_WISH_N:
    case BY_SIGN: return driven(s, phase, state, input);
    case BY_REACHED: return switched_off(s, phase, state);
    case BY_TIMER:
        if (now == BLANK_P || now == BLANK_N)
            return now == BLANK_P ? ON_P : ON_N;
        return now == SHORTED || s->plan.fast >= 1 ? driven(s, phase, state, input) : shorted(s, phase, state);
    case BY_CURRENT:
        *current = 0;
        return is_free(now) ? OPEN : DEAD;
    case BY_EMF_P: return is_free(now) ? FREE_N : FAST_N;
    case BY_EMF_N: return is_free(now) ? FREE_P : FAST_P;
    default: return now;  /* unrun: all-cases */
    }
}

/* A step: its rising edge counts. */
static void take_step(const struct stepper *s, struct condition *now, double *state, const double *input)
{
    now->high = !now->high;
    if (now->high)
        state[DW_STEPPER_PLACE] += s->plan.direction && above(s, input[DW_STEPPER_DIRECTION]) <= 0 ? -1 : 1;
}

static void take_beat(const struct stepper *s, struct condition *now, double *state, const double *input)
{
    state[DW_STEPPER_BEAT] = 0;
    for (int phase = 0; phase < 2; phase++)
        if (decays(now->bridge[phase]))
            now->bridge[phase] = driven(s, phase, state, input);
}

/* Where the rotor bears the load, electrical rad, behind or ahead of a field by a quarter of a turn at most. */
static double bears(const struct stepper *s, double field, double *state, const double *input)
{
    double low = field - M_PI / 2, high = field + M_PI / 2;
    struct instant at;
    state[DW_STEPPER_FIRST] = field;
    for (double middle = low;; middle = (low + high) / 2) {
        state[DW_STEPPER_ANGLE] = (middle - field) / s->teeth;
        dwi_stepper_instant(s, 0, state, input, &at);
        if (middle == low && at.torque <= 0)
            return low; /* the load is more than the motor holds */
        *(at.torque > 0 ? &low : &high) = middle;
        if (!(low < (low + high) / 2 && (low + high) / 2 < high))
            break;
    }
    return low;
}

/* V at the load, and the supply's states, while the coils are held at these shares and a current drive's amperes. */
static double held_volts(const struct stepper *s, const double share[2], double *state)
{
    const struct dw_supply *source = &s->plan.source;
    const double ohms = source->line_resistance + source->inner_resistance + source->slow_resistance, volts = s->plan.supply;
    const double squares = share[0] * share[0] + share[1] * share[1], watts = s->ohms * squares * s->plan.current * s->plan.current;
    const double held = s->plan.drive == DW_STEPPER_VOLTAGE ? volts / (1 + ohms * squares / s->ohms) :
                        (volts + sqrt(fmax(volts * volts - 4 * ohms * watts, 0))) / 2;  /* a chopper takes the heat's power */
    const double drawn = ohms > 0 ? (volts - held) / ohms : 0;
    if (s->source.line >= 0)
        state[s->source.line] = drawn;
    if (s->source.bulk >= 0)
        state[s->source.bulk] = held;
    if (s->source.slow >= 0)
        state[s->source.slow] = source->slow_resistance * drawn;
    return held;
}

/* Held in the field that it finds. */
static size_t begin(const struct stepper *s, double *state, const double *input)
{
    struct condition now = { .rotor = s->plan.drag > 0 ? STICKS : SLIDES_P, .high = !s->plan.coils && above(s, input[DW_STEPPER_STEP]) > 0 };
    double share[2];
    dwi_stepper_shares(s, state, input, share);
    const double field = share[0] == 0 && share[1] == 0 ? 0 : atan2(share[1], share[0]);
    const double most = held_volts(s, share, state) / s->ohms;
    if (s->plan.coils)
        state[DW_STEPPER_PLACE] = rint(field / (M_PI / 2));
    for (int phase = 0; phase < 2; phase++) {
        const bool gated = s->plan.gates && above(s, input[DW_STEPPER_GATE_A + phase]) <= 0;
        const double wish = s->plan.drive == DW_STEPPER_VOLTAGE
                                ? share[phase] * most
                                : copysign(fmin(fabs(share[phase]) * s->plan.current, most), share[phase]);
        state[DW_STEPPER_CURRENT_A + phase] = gated ? 0 : wish;
        now.bridge[phase] = gated ? OPEN : driven(s, phase, state, input);
    }
    state[DW_STEPPER_ANGLE] = (bears(s, field, state, input) - field) / s->teeth;
    return dwi_stepper_mode(s, &now);
}

size_t dwi_stepper_leave(const void *of, size_t mode, size_t guard, double time, double *state, const double *input)
{
    const struct stepper *s = of;
    struct cause causes[CAUSES];
    (void)time;
    dwi_stepper_guards(s, mode, state, input, NULL, causes);
    const struct cause *cause = causes + guard;
    struct condition now = s->condition[mode];
    switch (cause->reason) {
    case BY_BEGIN: return begin(s, state, input);
    case BY_LINE: take_step(s, &now, state, input); break;
    case BY_FIELD_P: state[DW_STEPPER_PLACE]++; break;
    case BY_FIELD_N: state[DW_STEPPER_PLACE]--; break;
    case BY_BEAT: take_beat(s, &now, state, input); break;
    case BY_STICTION_P: now.rotor = SLIDES_P; break;
    case BY_STICTION_N: now.rotor = SLIDES_N; break;
    case BY_STOPPING:
        state[DW_STEPPER_SPEED] = 0;
        now.rotor = STICKS;
        break;
    case BY_DIODE:
        if (s->source.line >= 0)
            state[s->source.line] = 0;
        now.blocks = !now.blocks;
        break;
    default: now.bridge[cause->phase] = next_bridge(s, cause, now.bridge[cause->phase], state, input); break;
    }
    return dwi_stepper_mode(s, &now);
}
