/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A ladder's netlist and its reduction. */
#ifndef LOAD_LADDER_INNER_H
#define LOAD_LADDER_INNER_H

#include "linear/matrix_inner.h"
#include "load/build_inner.h"
#include <dutywright/ladder.h>

enum {
    LADDER_STATES = 4 * DW_STAGES,
    LADDER_OUTPUTS = 2 * DW_STAGES,
    LADDER_NODES = DW_STAGES + 2,
    PIN = LADDER_STATES, DRAWN = PIN + 1, FORM = DRAWN + 1  /* a linear form in the states, the pin's voltage and the current drawn at the end */
};

enum branch_kind {
    BRANCH_NONE,       /* no impedance: its ends are one node */
    BRANCH_OPEN,       /* no current can flow: its ends have one voltage */
    BRANCH_RESISTIVE,  /* i = conductance (va - vb) + share x coil */
    BRANCH_COIL        /* i = x coil (+ x beside) */
};

/* Series branch k of stage k; 0 is the source. States are -1 where there are none. */
struct branch {
    enum branch_kind kind;
    size_t from, to;             /* nodes; 0 is the pin */
    struct doubled conductance, share;
    int coil, beside;            /* states: current of l, current of lp */
    int chain;                   /* state: the one current of several coils in series without a shunt between; else -1 */
    size_t first, last;          /* branches of that chain, its resistive ones included */
};

struct ladder_net {
    struct dw_stage stages[DW_STAGES + 1];  /* from 1 */
    size_t count;
    double source, load;
    size_t nodes, node_of[DW_STAGES + 1];
    int node_state[LADDER_NODES];           /* voltage of capacitors without esr, -1: none */
    bool cut[LADDER_NODES];                 /* inside a chain */
    struct branch branches[DW_STAGES + 1];
    int capacitor[DW_STAGES + 1], damper[DW_STAGES + 1];  /* states: voltage of c (also where shared), of cd */
    size_t states;
    struct doubled weight[LADDER_STATES];   /* F or H */
    bool is_current[LADDER_STATES];
    size_t head;                            /* branches 0..head carry the pin's current */
};

/* x' = rows of `rate`, outputs = rows of `output`; each a form. */
struct ladder_forms {
    struct doubled rate[LADDER_STATES][FORM];
    struct doubled output[LADDER_OUTPUTS][FORM];
    struct doubled pin[FORM];  /* voltage behind the source */
};

struct dw_ladder {
    struct ladder_net net;
    struct ladder_forms forms;
};

enum dw_status dwi_ladder_check(const struct dw_ladder_plan *plan, struct dw_error *error);
/* Nodes, branches and states of a checked plan. */
enum dw_status dwi_ladder_connect(const struct dw_ladder_plan *plan, struct ladder_net *net, struct dw_error *error);
/* The state space.
 *   floating  the pin is connected to nothing: the current of branches 0..head is zero and stays so
 *   returns   DW_OK, DW_BAD_USE (never for a checked plan), DW_NO_MEMORY */
enum dw_status dwi_ladder_reduce(const struct ladder_net *net, bool floating, struct ladder_forms *forms,
                                 struct dw_error *error);

#endif
