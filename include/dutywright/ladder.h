/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A smoothing ladder behind a switching pin: 1 to 6 stages of a series branch and a shunt branch, as a linear system.
 *
 *   pin --[source]--+--[ r, l ]--+--[ r, l ]--+-- out
 *                                |            |
 *                            c (+ esr)      load
 * docs/theory.md, section 3. */
#ifndef DUTYWRIGHT_LADDER_H
#define DUTYWRIGHT_LADDER_H

#include <dutywright/linear.h>
#include <dutywright/plant.h>
#include <dutywright/supply.h>

#ifdef __cplusplus
extern "C" {
#endif

enum { DW_STAGES = 6 };

/* One stage. A value of zero means that the part is not there. */
struct dw_stage {
    double r;    /* ohm, series resistance, that of the coil's wire included */
    double l;    /* H, series inductance */
    double lp;   /* H, with rp in series, beside l: a damping branch; needs l and rp */
    double rp;   /* ohm, beside l, alone or with lp */
    double c;    /* F, shunt capacitance */
    double esr;  /* ohm, in series with c */
    double leak; /* ohm, beside c alone (inside esr) */
    double rd;   /* ohm, with cd in series, beside the whole shunt branch: damping; the two come together and need c */
    double cd;   /* F */
};

struct dw_ladder_plan {
    const struct dw_stage *stages;  /* in order from the pin */
    size_t count;                   /* 1..DW_STAGES */
    double source;                  /* ohm, of the pin itself; 0: ideal */
    double load;                    /* ohm, from the output to ground; 0: none */
};

struct dw_ladder;

/* Checks the parts and reduces the netlist to a state space; parallel capacitors and series coils merge exactly.
 *   returns  NULL with DW_BAD_USE: a negative or infinite value, a part without the one it belongs beside, a capacitor
 *            straight across the pin, nothing that stores; or DW_NO_MEMORY
 *   source   node equations with capacitors as voltage sources and coils as current sources: docs/theory.md, (3.1) to (3.3)
 *   accuracy matrices to 2^-100 (docs/theory.md, section 2, doubled precision) */
DW_API struct dw_ladder *dw_ladder_new(const struct dw_ladder_plan *plan, struct dw_error *error);
DW_API void dw_ladder_free(struct dw_ladder *ladder);

DW_API size_t dw_ladder_states(const struct dw_ladder *ladder);
/* Every output is one of these, in this order: node1[V] current1[A] node2[V] current2[A] ... currentN[A] out[V];
 * node k stands behind stage k, current k flows through its series branch, current1 is the pin's. `out` is the last. */
DW_API size_t dw_ladder_outputs(const struct dw_ladder *ladder);
/*   name     out, static storage
 *   unit     out, "V" or "A" */
DW_API void dw_ladder_output(const struct dw_ladder *ladder, size_t output, const char **name, const char **unit);

/* State with every capacitor at this voltage and no current in the coils.
 *   state    out, [states] */
DW_API void dw_ladder_charged(const struct dw_ladder *ladder, double voltage, double *state);
/* J, stored in a state: sum of c v^2 / 2 and l i^2 / 2. */
DW_API double dw_ladder_energy(const struct dw_ladder *ladder, const double *state);
/* A, the current scale of the ladder at a supply: what a step of it drives through the smallest impedance between pin
 * and ground; for --accuracy of currents. */
DW_API double dw_ladder_current_scale(const struct dw_ladder *ladder, double supply);

/* The ladder as a linear system with one input, the pin's voltage, and all outputs.
 *   returns  NULL on error; to be freed by the caller, independent of the ladder */
DW_API struct dw_system *dw_ladder_system(const struct dw_ladder *ladder, struct dw_error *error);

enum dw_ladder_drive {
    DW_PUSH_PULL,  /* the pin gives its voltage whichever way the current flows */
    DW_ONE_SWITCH  /* a switch to the supply and a freewheel diode to ground; with both off the pin floats */
};

/* Inputs of its plant: V of the pin, and A drawn from the output beside the load. */
enum dw_ladder_input { DW_LADDER_PIN, DW_LADDER_DRAWN, DW_LADDER_INPUTS };

struct dw_ladder_setup {
    double supply;      /* V, natural scale of the outputs; with one switch, what it switches to; > 0 */
    enum dw_ladder_drive drive;
    double threshold;   /* one switch: on while the input is above it */
    struct dw_supply source;  /* one switch: what its supply gives way by */
    double diode_drop;  /* V, >= 0: of the freewheel diode, and of the switch's own body diode */
    double initial;     /* V, of all capacitors at rest, where no coil carries a current */
    bool drawn;         /* it has the second input; needs a capacitor in the last stage, and behind one switch a coil in the first or no esr there */
    bool all;           /* every output; otherwise `out` alone, and before it supply (V) where that gives way */
};

/* The ladder behind a drive. Push-pull has one mode; one switch has on, freewheel, off and back-feed (a current that flows into the
 * supply through the switch's body diode), and rests with the switch on.
 *   returns  NULL on error: DW_BAD_USE also where the first coil has a damping branch and the drive is one switch; its load is a copy
 *            of the ladder */
DW_API struct dw_plant *dw_ladder_plant_new(const struct dw_ladder *ladder, const struct dw_ladder_setup *setup,
                                            struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
