/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Loss and heat of the transistor that carries a switched current: conduction, edges, thermal network, verdicts. */
#ifndef DUTYWRIGHT_SWITCH_H
#define DUTYWRIGHT_SWITCH_H

#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* ---- thermal network: transient thermal impedance as a sum of exponentials ---- */

enum { DW_THERMAL_PAIRS = 16 };

struct dw_thermal_pair {
    double resistance;     /* K/W, > 0 */
    double time_constant;  /* s, >= 0; 0 follows at once */
};

/* Zth(t) = sum r_i (1 - exp(-t / tau_i)), driven by a loss that is a polynomial of degree six on each piece: solved exactly.
 * source: JESD51-14:2010, transient dual interface method, eq. for the sum-of-exponentials (Foster) form; from memory. */
struct dw_thermal;
/*   pairs    [count], count 1..DW_THERMAL_PAIRS
 *   ambient  degC
 *   returns  NULL and DW_BAD_USE for a pair out of range, DW_NO_MEMORY */
DW_API struct dw_thermal *dw_thermal_new(const struct dw_thermal_pair *pairs, size_t count, double ambient,
                                         struct dw_error *error);
DW_API void dw_thermal_free(struct dw_thermal *thermal);
/* Loss along a piece: the sum of power[k] share^k, where the share is 0 at its start and 1 at its end. */
enum { DW_LOSS_POWERS = 7 };
struct dw_loss_piece {
    double length;                 /* s, > 0 */
    double power[DW_LOSS_POWERS];  /* W */
};
/* Junction temperature in degC at a share of a piece, 0 to 1; the state, which is that at its start, stays.
 *   slope    out, K/s there; may be NULL
 *   accuracy some 30 DBL_EPSILON of the largest sum of |power| times the thermal resistance, at any ratio of length and time constants;
 *            of the slope, that by the shortest time constant or the length, whichever is longer
 *   source   docs/theory.md, (9.5), (9.7) */
DW_API double dw_thermal_junction(const struct dw_thermal *thermal, const struct dw_loss_piece *loss, double share, double *slope);
/* Upper bound of the fourth derivative of the junction temperature by the share, K, over the piece up to a share > 0: the cubic with
 * the values and slopes at 0 and `share` is off by at most share^4/384 times it. docs/theory.md, (9.9) */
DW_API double dw_thermal_bend(const struct dw_thermal *thermal, const struct dw_loss_piece *loss, double share);
/* Carries the state over a piece up to a share of it.
 *   returns  integral of the junction temperature over it, degC s. docs/theory.md, (9.6) */
DW_API double dw_thermal_advance(struct dw_thermal *thermal, const struct dw_loss_piece *loss, double share);
/* Marks the start of a period: the response to this period alone is gathered from here. */
DW_API void dw_thermal_begin_period(struct dw_thermal *thermal);
/* Another of the same network and state; NULL: out of memory. */
DW_API struct dw_thermal *dw_thermal_copy(const struct dw_thermal *thermal, struct dw_error *error);
/* State to that at the start of a steady period, given the one just gathered: x = g / (1 - exp(-T/tau)), by expm1.
 *   gathered the network that went through the period; the same pairs; may be `thermal` itself
 *   period   s, length since dw_thermal_begin_period */
DW_API void dw_thermal_set_steady(struct dw_thermal *thermal, const struct dw_thermal *gathered, double period);
DW_API double dw_thermal_now(const struct dw_thermal *thermal);  /* degC, junction */
DW_API double dw_thermal_resistance(const struct dw_thermal *thermal);  /* K/W, junction to ambient: sum of all pairs */
DW_API double dw_thermal_ambient(const struct dw_thermal *thermal);     /* degC */

/* ---- the transistor ---- */

enum dw_switch_kind { DW_SWITCH_MOSFET, DW_SWITCH_BIPOLAR };
enum dw_switch_edges { DW_EDGES_CLAMPED, DW_EDGES_RESISTIVE };

struct dw_switch {
    enum dw_switch_kind kind;
    double on_resistance;       /* ohm at 25 degC; MOSFET */
    double resistance_slope;    /* 1/K of the value at 25 degC; MOSFET */
    double saturation;          /* V, collector to emitter; bipolar */
    double forced_gain;         /* collector over base current while on; bipolar; 0: base loss is left out */
    double base_emitter;        /* V; bipolar */
    double supply;              /* V */
    double diode_drop;          /* V, freewheel diode */
    double edge;                /* s, from 0 to 100 %, each edge; 0: switching loss is left out */
    enum dw_switch_edges edges;
    double output_capacitance;  /* F */
    double recovery_charge;     /* C, of the freewheel diode */
};

/* Refuses values out of range; the text names the quantity. */
DW_API enum dw_status dw_switch_check(const struct dw_switch *transistor, struct dw_error *error);
/* Conduction loss in W at a current in A with the junction at a temperature in degC.
 *   source   MOSFET i^2 R(T), R linear in T; bipolar |i| Vce,sat + V_be |i| / gain: docs/theory.md (9.1), (9.2) */
DW_API double dw_switch_conduction(const struct dw_switch *transistor, double current, double junction);
/* Energy in J of one turn-on with this current flowing after it, of one turn-off with this current before it.
 *   source   clamped V I t / 2, resistive V I t / 6: docs/theory.md (9.3), (9.4); Erickson and Maksimovic,
 *            Fundamentals of Power Electronics, 3rd ed., section 4.3; from memory */
DW_API double dw_switch_turn_on(const struct dw_switch *transistor, double current);
DW_API double dw_switch_turn_off(const struct dw_switch *transistor, double current);

/* What heats a junction. */
struct dw_junction_heating {
    double conduction;            /* W, mean, with the on-resistance at 25 degC */
    double slope;                 /* 1/K, by which that grows, of its value at 25 degC */
    double other;                 /* W, mean of all that does not depend on temperature */
    double resistance;            /* K/W, junction to ambient */
    double ambient;               /* degC */
};

/* Steady mean junction temperature where conduction loss grows with it.
 *   junction  out, degC; untouched on DW_NO
 *   returns   DW_OK; DW_NO: runaway, each kelvin of warming adds more than a kelvin
 *   source    docs/theory.md (9.10) */
DW_API enum dw_status dw_switch_steady_junction(const struct dw_junction_heating *heating, double *junction, struct dw_error *error);
/* Heat-sink resistance in K/W (interface included) that keeps the junction at a limit; negative: none does.
 *   loss        W, mean, at the limit's temperature
 *   inner       K/W, junction to case
 *   excess      K, by which the hottest instant of a steady period exceeds its mean */
DW_API double dw_switch_heatsink(double loss, double inner, double excess, double ambient, double limit);

/* ---- a whole record: current in, loss and junction temperature out ---- */

/* Which columns of the input rows say what the transistor carries; 0: there is none. */
struct dw_heat_source {
    size_t columns;    /* of an input row, time and slopes included */
    const size_t *slope;  /* as in struct dw_pieces_plan, pieces.h; NULL: straight lines */
    size_t current;    /* A: of the transistor itself, or of the load where gate is given */
    size_t diode;      /* A, freewheel diode; without it and with a gate: the load's current while the gate is off */
    size_t gate;       /* the transistor conducts while this is above threshold */
    double threshold;
    double origin, period;  /* s; period 0: the record does not repeat */
};

/* Means are over the last whole period, or the whole record where there is none. */
struct dw_heat_result {
    double span;             /* s that the means cover */
    double conduction, turn_on, turn_off, diode;  /* W, means */
    double conduction_cold;  /* W, mean as with the on-resistance at 25 degC */
    double turns;            /* turn-ons in the span */
    double current_peak;     /* A, largest magnitude in the whole record, of the transistor */
    double current_rms;      /* A, largest of any whole period (or of the record), of the transistor */
    double load_peak, load_rms;  /* A, the same of transistor and diode together */
    double junction_mean, junction_highest, junction_last;  /* degC; mean over the span, highest in the record */
    bool steady;             /* the three below are known: two whole periods were seen */
    bool runaway;            /* there is no steady temperature; the two below are NaN */
    double steady_mean, steady_highest;  /* degC, the losses of the last period repeated for ever */
};

/* Receives each output row: the input's columns; loss in W and its slope in W/s, junction in degC and its slope in degC/s. Between
 * rows of different time both are the cubics with these, monotone. */
typedef enum dw_status dw_heat_sink(void *context, const double *row, struct dw_error *error);

/* Output rows that are wanted. */
struct dw_heat_rows {
    dw_heat_sink *sink;
    void *context;
    double accuracy;         /* A: the cubics are off by no more than A times the natural scale, and by no more than DW_SWING A (follow.h)
                              * times the largest change from turn to turn within the last period, or the last three changes where these
                              * are larger. The natural scale of the loss is that of an ampere across the whole supply, and of the
                              * junction this times the thermal resistance. 0 < A < 1 */
};

struct dw_heat;
/* Sums are exact, whatever the accuracy of the rows is; a highest point between two rows is missed only where it rises above both by less
 * than that.
 *   transistor  copied; NULL: no loss, only currents (verdict on a rating)
 *   thermal     stays the caller's, outlives the heat; NULL: no temperature
 *   source      copied
 *   rows        copied; NULL: only the result is wanted
 *   returns     NULL with DW_BAD_USE: a value of the transistor, a column, the period or the accuracy is outside its range;
 *               DW_NO_MEMORY */
DW_API struct dw_heat *dw_heat_new(const struct dw_switch *transistor, struct dw_thermal *thermal, const struct dw_heat_source *source,
                                   const struct dw_heat_rows *rows, struct dw_error *error);
DW_API void dw_heat_free(struct dw_heat *heat);
/* Next input row, [source.columns]. DW_BAD_INPUT where an edge begins before the one before it has ended. */
DW_API enum dw_status dw_heat_row(struct dw_heat *heat, const double *row, struct dw_error *error);
/* Puts the junction where these rows, one whole period, repeated for ever would have brought it.
 *   rows     [count x columns], from a period's start to its end, both included
 *   returns  DW_OK; DW_NO: thermal runaway; DW_BAD_INPUT: no time passes, or as dw_heat_row */
DW_API enum dw_status dw_heat_start_steady(struct dw_heat *heat, const double *rows, size_t count,
                                           struct dw_error *error);
/* After the last row.
 *   result   out; may be NULL
 *   returns  DW_OK, or what the sink gave */
DW_API enum dw_status dw_heat_finish(struct dw_heat *heat, struct dw_heat_result *result, struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
