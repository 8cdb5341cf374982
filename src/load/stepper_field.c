/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a stepper's state means: its field, its supply, its torque. docs/theory.md, section 14. */
#include "load/stepper_inner.h"
#include <math.h>

double dwi_stepper_teeth(const struct dw_stepper_plan *p)
{
    return p->full_steps / 4;
}

double dwi_stepper_inertia(const struct dw_stepper_plan *p)
{
    return p->inertia + p->load_inertia / p->gear / p->gear;
}

double dwi_stepper_ohms(const struct dw_stepper_plan *p)
{
    return p->resistance + 2 * p->switch_resistance;
}

bool dwi_bridge_blocks(enum bridge bridge)
{
    return bridge == OPEN || bridge == DEAD;
}

size_t dwi_stepper_mode(const struct stepper *s, const struct condition *c)
{
    return ((((size_t)c->blocks * s->lines + c->high) * s->rotors + c->rotor) * s->bridges + c->bridge[0]) * s->bridges + c->bridge[1];
}

size_t dwi_stepper_sliding(const struct stepper *s, size_t mode)
{
    struct condition now = s->condition[mode];
    now.rotor = SLIDES_P;
    return dwi_stepper_mode(s, &now);
}

void dwi_stepper_shares(const struct stepper *s, const double *state, const double *input, double share[2])
{
    const double turn = 4.0 * s->plan.microsteps, at = state[DW_STEPPER_PLACE] - turn * floor(state[DW_STEPPER_PLACE] / turn);
    const size_t place = at < turn ? (size_t)at : 0;  /* unrun: rounding */
    for (int phase = 0; phase < 2; phase++)
        share[phase] = s->plan.coils ? input[DW_STEPPER_A + phase] / s->plan.level : s->share[2 * place + (size_t)phase];
}

/* What a bridge puts on its coil: share of the supply, V of diodes; and whether transistors carry it. */
static double bridge_share(enum bridge bridge, double wanted, double drop, double *own)
{
    *own = 0;
    switch (bridge) {
    case FED: return wanted;
    case ON_P:
    case BLANK_P: return 1;
    case ON_N:
    case BLANK_N: return -1;
    case FREE_P:
    case FAST_P: *own = -2 * drop; return -1;
    case FREE_N:
    case FAST_N: *own = 2 * drop; return 1;
    case OPEN:
    case SHORTED:
    case DEAD:
    case BRIDGES: break;
    }
    return 0;
}

static bool by_diodes(enum bridge bridge)
{
    return bridge == FREE_P || bridge == FREE_N || bridge == FAST_P || bridge == FAST_N;
}

void dwi_stepper_instant(const struct stepper *s, size_t mode, const double *state, const double *input, struct instant *at)
{
    const struct dw_stepper_plan *p = &s->plan;
    const double angle = s->teeth * state[DW_STEPPER_ANGLE] + state[DW_STEPPER_FIRST], *current = state + DW_STEPPER_CURRENT_A;
    double wanted[2] = { 0 }, share[2], own[2];
    at->now = s->condition[mode];
    at->sine = sin(angle);
    at->cosine = cos(angle);
    at->emf[0] = -p->constant * state[DW_STEPPER_SPEED] * at->sine;
    at->emf[1] = p->constant * state[DW_STEPPER_SPEED] * at->cosine;
    at->drawn = 0;
    if (p->drive == DW_STEPPER_VOLTAGE)
        dwi_stepper_shares(s, state, input, wanted);
    for (int phase = 0; phase < 2; phase++) {
        share[phase] = bridge_share(at->now.bridge[phase], wanted[phase], p->diode_drop, own + phase);
        at->ohms[phase] = by_diodes(at->now.bridge[phase]) ? p->resistance : s->ohms;
        at->drawn += share[phase] * current[phase];
    }
    at->volts = s->supplied ? dwi_supply_open(&s->source, at->now.blocks, state) - s->source.ohms[at->now.blocks] * at->drawn : p->supply;
    for (int phase = 0; phase < 2; phase++)
        at->coil[phase] = dwi_bridge_blocks(at->now.bridge[phase]) ? at->emf[phase] : share[phase] * at->volts + own[phase];
    /* sin 4x = 4 sin x cos x cos 2x */
    at->torque = p->constant * (current[1] * at->cosine - current[0] * at->sine) -
                 4 * p->detent * at->sine * at->cosine * (at->cosine - at->sine) * (at->cosine + at->sine) -
                 (p->torque + input[DW_STEPPER_TORQUE]) / p->gear;
}

void dwi_stepper_quarter(const struct stepper *s, const double *state, const double *input, double *along, double *across)
{
    double share[2];
    const int quarter = (int)(state[DW_STEPPER_PLACE] - 4 * floor(state[DW_STEPPER_PLACE] / 4));
    dwi_stepper_shares(s, state, input, share);
    const double turned[4][2] = { { share[0], share[1] }, { share[1], -share[0] }, { -share[0], -share[1] }, { -share[1], share[0] } };
    *along = turned[quarter & 3][0];
    *across = turned[quarter & 3][1];
}

double dwi_stepper_field(const struct stepper *s, const double *state, const double *input)
{
    double along, across;
    if (!s->plan.coils)
        return state[DW_STEPPER_FIRST] + state[DW_STEPPER_PLACE] * M_PI / 2 / s->plan.microsteps;
    dwi_stepper_quarter(s, state, input, &along, &across);
    return state[DW_STEPPER_PLACE] * M_PI / 2 + atan2(across, along);
}
