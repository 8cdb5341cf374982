/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the coil's modes are made of, for its modes and its meter. */
#ifndef LOAD_COIL_INNER_H
#define LOAD_COIL_INNER_H

#include "load/build_inner.h"
#include <dutywright/coil.h>

enum circuit {
    CIRCUIT_ON,       /* the switch conducts, both ways */
    CIRCUIT_OPEN,     /* nothing but the stray capacitance, and a resistor across the switch, takes the current */
    CIRCUIT_CLAMPED,  /* the clamp conducts */
    CIRCUIT_BODY,     /* the switch's body diode conducts */
    CIRCUITS
};

/* A quantity: current i + stray v + supply * supply's voltage at the coil + alone. */
struct coil_branch {
    double current, stray, supply, alone;
};

/* One circuit with one inductance; all branches in A or V. */
struct coil_circuit {
    const char *name;
    double share, own;      /* the path of the winding: share of its current that the supply gives, and V on it beside that share of
                               the supply's */
    struct coil_branch drive;    /* across the winding's inductance: L i', these two numbers in it */
    struct coil_branch charge;   /* into the stray capacitance: C v' */
    struct coil_branch sw;       /* voltage across the switch */
    struct coil_branch supply_current, switch_current, clamp_current, clamp_volts;
};

struct coil_circuit dwi_coil_circuit(const struct dw_coil_plan *plan, enum circuit circuit);
/* V across the switch at which the clamp begins to conduct, and where a zener or diode holds it; infinite without one. That, and what it
 * has of the supply. */
double dwi_coil_clamp_onset(const struct dw_coil_plan *plan);
struct coil_branch dwi_coil_onset(const struct dw_coil_plan *plan);
/* The same above the supply: what the coil sees against its current. */
double dwi_coil_clamp_excess(const struct dw_coil_plan *plan);
/* A zener or a diode: its voltage does not depend on its current. */
bool dwi_coil_clamp_holds(const struct dw_coil_plan *plan);
/* A resistor across the switch: it conducts whenever the switch is off. */
bool dwi_coil_clamp_leaks(const struct dw_coil_plan *plan);
double dwi_coil_inductance(const struct dw_coil_plan *plan, bool pulled_in);
const struct dw_coil_plan *dwi_coil_plan(const struct dw_coil *coil);

/* A mode is a circuit and a place of the armature. */
static inline enum circuit circuit_of(size_t mode)
{
    return (enum circuit)(mode % CIRCUITS);
}

static inline double branch_at(const struct coil_branch *branch, const double *state, double volts)
{
    return branch->current * state[DW_COIL_CURRENT] + branch->stray * state[DW_COIL_STRAY] + branch->supply * volts + branch->alone;
}

#endif
