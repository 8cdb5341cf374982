/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The coil of a relay, solenoid or valve between a supply and a low-side switch, as a switching system: docs/theory.md, section 8. */
#ifndef DUTYWRIGHT_COIL_H
#define DUTYWRIGHT_COIL_H

#include <dutywright/plant.h>
#include <dutywright/supply.h>
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

enum dw_coil_clamp {
    DW_CLAMP_NONE,      /* only the stray capacitance takes the current at switch-off */
    DW_CLAMP_DIODE,     /* across the coil */
    DW_CLAMP_ZENER,     /* in series with a diode across the coil, or alone across the switch */
    DW_CLAMP_RESISTOR   /* in series with a diode across the coil, or alone across the switch */
};

struct dw_coil_plan {
    double resistance;         /* ohm, > 0; at its temperature: dw_coil_copper */
    double inductance;         /* H, > 0; with the armature open, where it differs */
    double inductance_closed;  /* H, >= inductance, with the armature pulled in; 0: the same */
    double supply;             /* V, > 0; without load */
    struct dw_supply source;   /* what it gives way by */
    enum dw_coil_clamp clamp;
    bool clamp_at_switch;      /* across the switch instead of the coil; not with a diode alone */
    double clamp_value;        /* V of the zener or ohm of the resistor, > 0; a zener across the switch: above the supply */
    double diode_drop;         /* V, >= 0, below the supply; of the clamp's diode and of the switch's body diode */
    double switch_resistance;  /* ohm, >= 0; of the switch while on */
    double stray;              /* F, >= 0, across the switch; above zero where nothing clamps */
    double pull_in, drop_out;  /* A, pull_in > drop_out > 0; both 0: no armature */
    double threshold;          /* V, the switch is on above it */
    bool all;                  /* all outputs, not only current, switch and armature */
};

/* Resistance of copper at another temperature, docs/theory.md (8.10).
 *   resistance    ohm, at the temperature `at`
 *   at, temperature  degC, -100..300
 *   returns   ohm; NaN outside the range
 *   source    IEC 60028:1925, International standard of resistance for copper: coefficient at 20 degC, constant mass
 *   accuracy  6 ulp; of copper itself the straight law is good to about 1 % from -50 to 200 degC (common practice, no source) */
DW_API double dw_coil_copper(double resistance, double at, double temperature);

enum dw_coil_input { DW_COIL_PIN, DW_COIL_INPUTS };
/* States: A, and V across the stray capacitance (kept at 0 without one, and while the switch is on); behind them those of a supply that
 * gives way. */
enum dw_coil_state { DW_COIL_CURRENT, DW_COIL_STRAY, DW_COIL_STATES };
/* Tags of the events of the armature. */
enum dw_coil_event { DW_COIL_OTHER, DW_COIL_PULLS_IN, DW_COIL_DROPS_OUT };

/* Whether a coil can be made of the plan, before anything is opened; DW_BAD_USE names the value that is out of range, and why. */
DW_API enum dw_status dw_coil_check(const struct dw_coil_plan *plan, struct dw_error *error);

struct dw_coil;
/* Checks the plan; DW_BAD_USE names the value that is out of range, and why. */
DW_API struct dw_coil *dw_coil_new(const struct dw_coil_plan *plan, struct dw_error *error);
DW_API void dw_coil_free(struct dw_coil *coil);
/* The coil's plant: inputs and states as above; it rests with the switch off since long ago; its last outputs are current, switch
 * and, with thresholds, armature, before them supply (V) where that gives way. Its load is the coil: to free either is to free both. */
DW_API struct dw_plant *dw_coil_plant(const struct dw_coil *coil);
DW_API bool dw_coil_switched_on(const struct dw_coil *coil, size_t mode);
DW_API bool dw_coil_pulled_in(const struct dw_coil *coil, size_t mode);
/* V across the switch. */
DW_API double dw_coil_switch_voltage(const struct dw_coil *coil, size_t mode, const double *state);
DW_API double dw_coil_full_current(const struct dw_coil_plan *plan);  /* A, supply / (resistance + switch resistance) */
/* J, L I^2 / 2 at a current, with the inductance of the mode. */
DW_API double dw_coil_stored(const struct dw_coil *coil, size_t mode, double current);

/* How long the armature takes: from rest with the switch on until it pulls in, and from a current with the switch off until
 * it drops out. Its travel is left out: the current alone decides.
 *   from      A, in the pulled-in coil when the switch goes off, at or above drop_out; NaN: the full current
 *   operate, release  out, s; NaN where the current does not come to the threshold, or not within 745 time constants
 *   returns   DW_OK; DW_BAD_USE: no thresholds, or such a current; DW_NO_MEMORY
 *   accuracy  1e-12 of the time constant L / resistance */
DW_API enum dw_status dw_coil_times(const struct dw_coil *coil, double from, double *operate, double *release,
                                    struct dw_error *error);

/* ---- findings of a run ---- */

/* Where the energy went, J. */
struct dw_coil_energy {
    double supply;    /* given by the supply at the coil, less what it got back */
    double copper;    /* heat in the coil */
    double clamp;     /* heat in the clamp, its diode included */
    double sw;        /* heat in the switch and its body diode */
    double stray;     /* heat in the switch from the stray capacitance that it closed on */
    double armature;  /* work done on the armature while the inductance changed; negative: the spring gave it back */
    double stored;    /* in the coil and the stray capacitance, at the end less at the start */
};

struct dw_coil_findings {
    unsigned long long pulses;           /* times from the switch going on to the next time it did so */
    unsigned long long followed;         /* those in which the armature both pulled in and dropped out */
    unsigned long long pull_ins, drop_outs;
    bool pulled_in;                      /* at the end */
    double operate, operate_longest;     /* s, from the switch going on to the pull-in, last and longest; NaN: none */
    double release, release_longest;     /* s, from the switch going off to the drop-out; NaN: none */
    double on_longest, off_longest;      /* s, of the whole on and off times seen; NaN: none */
    double hold;                         /* A, see dw_coil_meter_end; NaN: none */
    double off_current;                  /* A, when the switch last went off; NaN: never */
    double pulse;                        /* s, of the last whole pulse, off time included; NaN: none */
    double peak_current, lowest_current; /* A */
    double peak_switch;                  /* V */
    double peak_stored;                  /* J, in the coil */
    double cycle;                        /* s, of the last whole operation; NaN: none, then `energy` is of the whole run */
    struct dw_coil_energy energy;        /* of the last whole operation */
    struct dw_coil_energy total;         /* of the whole run */
};

enum { DW_COIL_INTEGRALS = 4 };
/* What a run must integrate for a meter: [DW_COIL_INTEGRALS], the coil's. */
DW_API const struct dw_integrand *dw_coil_integrals(const struct dw_coil *coil);

struct dw_coil_meter;
DW_API struct dw_coil_meter *dw_coil_meter_new(const struct dw_coil *coil, struct dw_error *error);
DW_API void dw_coil_meter_free(struct dw_coil_meter *meter);
/* Takes every row of a run with these integrals, with accuracy > 0 and without uniform rows, from its start on.
 *   returns   DW_OK; DW_BAD_USE: a row without the integrals
 *   accuracy  energies 1e-13 of the largest term a mode passed, by exact integrals: docs/theory.md, (8.9) */
DW_API enum dw_status dw_coil_meter_row(struct dw_coil_meter *meter, const struct dw_run_row *row, struct dw_error *error);
/* The findings so far. An operation lasts from the switch going on with the armature open to the next time it does so;
 * without an armature, or where it has not operated twice, from the switch going on to the next time. A drive of many pulses
 * to one operation (peak and hold) thus counts from the first of them, the release from the last. The hold is the current when
 * the switch last went on with the armature pulled in; where it never did, the last one when it went off so.
 *   findings  out; untouched on error
 *   returns   DW_OK */
DW_API enum dw_status dw_coil_meter_end(struct dw_coil_meter *meter, struct dw_coil_findings *findings, struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
