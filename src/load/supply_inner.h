/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A supply's states and equations, joined to a load's: docs/theory.md, section 12. */
#ifndef LOAD_SUPPLY_INNER_H
#define LOAD_SUPPLY_INNER_H

#include "load/build_inner.h"
#include <dutywright/plant.h>
#include <dutywright/supply.h>

enum { SUPPLY_STATES = 3, SUPPLY_PORTS = 3 };  /* at most */

/* A supply behind a load. */
struct load_source {
    struct dw_supply plan;
    double volts, amperes;            /* V without load; natural size of its current */
    size_t states;                    /* of the load and the supply */
    int line, bulk, slow;             /* states: A of the line, V of the bulk capacitor and of the slow pair; -1: none */
    size_t conditions;                /* 1, or with a diode in the line 2: it conducts, it blocks */
    double still[BUILD_STATES * BUILD_STATES];  /* reset: no current in the line */
    struct row open[2];               /* V at the load while it draws nothing, the diode conducting and blocking, */
    double ohms[2];                   /* and by how much each ampere lowers it: (12.2) */
};

/* What a mode has of it. */
struct supplied {
    struct row volts, line, bulk;     /* V at the load; A in the line, A into the bulk capacitor */
};

/* Lays its states out behind those of a load.
 *   first    states of the load */
void dwi_supply_place(struct load_source *source, const struct dw_supply *plan, double volts, double amperes, size_t first);
/* Weights of its states, and where they rest while the load draws nothing: both of the whole, [states]. */
void dwi_supply_rest(const struct load_source *source, double *weight, double *rest);
/* Joins it to a mode of the load: its rates, and with a diode its guard.
 *   blocks   the diode in the line does
 *   drawn    A, that the load draws, without
 *   through  A/V, what it draws of the voltage at once
 *   other    the same mode under the line's other condition */
struct supplied dwi_supply_join(const struct load_source *source, struct build *build, bool blocks, const struct row *drawn, double through,
                                size_t other);
/* ---- the same in numbers, for loads that are smooth equations: [states] of the whole ---- */

/* V at the load while it draws nothing. */
double dwi_supply_open(const struct load_source *source, bool blocks, const double *state);
/* A in the line, given V at the load and A that it draws. */
double dwi_supply_line(const struct load_source *source, bool blocks, const double *state, double volts, double drawn);
/*   rate     out: of its states */
void dwi_supply_rates(const struct load_source *source, bool blocks, const double *state, double volts, double drawn, double *rate);
/* Of the diode, in units of its size. */
double dwi_supply_guard(const struct load_source *source, bool blocks, const double *state, double volts, double drawn);

/* Its outputs: supply[V], and with `all` line-current[A] and bulk-current[A] where it has them.
 *   port     out, [SUPPLY_PORTS]
 *   value    out, likewise; may be NULL
 *   returns  how many; 0 of an ideal supply */
size_t dwi_supply_outputs(const struct load_source *source, bool all, const struct supplied *supplied, struct dw_port *port, struct row *value);

#endif
