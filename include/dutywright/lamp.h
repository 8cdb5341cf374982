/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A lamp on a switch or on a voltage: light-emitting diodes behind a resistor or a driver, as a switching system, and a filament, as
 * smooth equations: docs/theory.md, section 10. */
#ifndef DUTYWRIGHT_LAMP_H
#define DUTYWRIGHT_LAMP_H

#include <dutywright/plant.h>
#include <dutywright/supply.h>
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

enum dw_lamp_kind { DW_LAMP_LED, DW_LAMP_FILAMENT };

/* What sets the current of an LED. */
enum dw_lamp_driver {
    DW_DRIVER_NONE,      /* a resistor */
    DW_DRIVER_LINEAR,    /* constant current, as long as the supply leaves it room: its own current is the lamp's */
    DW_DRIVER_SWITCHING  /* constant current from any supply above the lamp's voltage: it takes a constant power. On a supply that sinks
                            too low it goes dark, until that is 2 percent above again */
};

struct dw_lamp_plan {
    enum dw_lamp_kind kind;
    double supply;              /* V, > 0; with `direct` the voltage at which the lamp counts as fully on */
    struct dw_supply source;    /* what it gives way by; not with `direct`, nor with rise and fall */
    bool direct;                /* the input is the voltage, not the gate of a switch between lamp and ground */
    double threshold;           /* V, the switch is on above it */
    double resistor;            /* ohm, >= 0, in series; of an LED without driver with dynamic_resistance above zero; not with a
                                   switching driver */
    /* LED */
    double forward;             /* V, >= 0, at which it begins to conduct: of a string the sum */
    double dynamic_resistance;  /* ohm, >= 0: volts an ampere above that */
    enum dw_lamp_driver driver;
    double current;             /* A, > 0 with a driver */
    double rise, fall;          /* s, >= 0: of the current, from none to full and back; 0 with `direct` */
    /* filament */
    double rated_volts, rated_watts;  /* V, W, > 0 */
    double time_constant;       /* s, > 0, of its temperature at a small change about the rated voltage */
    bool all;                   /* all outputs, not only current and light */
};

enum dw_lamp_input { DW_LAMP_PIN, DW_LAMP_INPUTS };
/* The state: of an LED its current as a share of the full one while an edge lasts (else kept), of a filament its temperature as a
 * share of that at the rated voltage. Behind it stand those of a supply that gives way. */
enum dw_lamp_state { DW_LAMP_STATE, DW_LAMP_STATES };

/* K, of a filament at its rated voltage (2800 K) and around it (20 degC). */
static const double DW_FILAMENT_RATED = 2800, DW_FILAMENT_COLD = 293.15;

/* Whether a lamp can be made of the plan, before anything is opened; DW_BAD_USE names the value that is out of range. A forward
 * voltage above the supply is a lamp that stays dark. */
DW_API enum dw_status dw_lamp_check(const struct dw_lamp_plan *plan, struct dw_error *error);

struct dw_lamp;
/* Checks the plan and makes its plant.
 *   returns   NULL with DW_BAD_USE, which names the value that is out of range, or DW_NO_MEMORY
 *   accuracy  LEDs: that of modes.h; filament: that of equations.h at a tolerance of 1e-10 of the rated temperature. Physics: R ~ T^1.2,
 *             radiated power ~ T^4, light ~ T^8.84 (so that light goes with the 3.4th power of the voltage) are common practice, no
 *             source, good to some percent from half to full voltage */
DW_API struct dw_lamp *dw_lamp_new(const struct dw_lamp_plan *plan, struct dw_error *error);
DW_API void dw_lamp_free(struct dw_lamp *lamp);
/* The lamp's plant: it rests dark, a filament cold; its last two outputs are current (of the lamp, A) and light, of which 1 is the lamp
 * fully on for long, from a supply that gives nothing way; before them stands supply (V) where it does. Its load is the lamp: to free either is to free both. */
DW_API struct dw_plant *dw_lamp_plant(const struct dw_lamp *lamp);

/* A, of the lamp fully on for long: 0 where it stays dark.
 *   plan     as dw_lamp_check accepts it */
DW_API double dw_lamp_full_current(const struct dw_lamp_plan *plan);
/* A, of a cold filament switched on: docs/theory.md, (10.7); of an LED the full current. */
DW_API double dw_lamp_cold_current(const struct dw_lamp_plan *plan);
/* K, of a filament with this mean light. */
DW_API double dw_lamp_temperature(const struct dw_lamp_plan *plan, double light);

/* The duty at which the mean light is so much.
 *   plan     as dw_lamp_check accepts it, behind a switch
 *   light    0..1, of the lamp fully on
 *   period   s, of the pulses: an LED's rise and fall count against it, and must fit into it; a filament's temperature is taken as steady
 *            over a period, which it is where that is far below the time constant
 *   returns  0..1; NaN where light or period are out of range
 *   source   docs/theory.md, (10.3), (10.4) and (10.8)
 *   accuracy 8 ulp; of a filament 1e-13 */
DW_API double dw_lamp_duty(const struct dw_lamp_plan *plan, double light, double period);

#ifdef __cplusplus
}
#endif
#endif
