/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A brushed DC motor on a switched supply, as a switching system: docs/theory.md, section 7. */
#ifndef DUTYWRIGHT_MOTOR_H
#define DUTYWRIGHT_MOTOR_H

#include <dutywright/plant.h>
#include <dutywright/supply.h>
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

enum dw_motor_drive {
    DW_DRIVE_DIRECT,       /* the input is the terminal voltage, ahead of the switch resistance */
    DW_DRIVE_ONE_SWITCH,   /* one transistor and a freewheel diode; with a low gate: a half bridge */
    DW_DRIVE_BRIDGE_SLOW,  /* full bridge; off: the motor is shorted through two transistors */
    DW_DRIVE_BRIDGE_FAST,  /* full bridge; off: all transistors open, the diodes return the current to the supply */
    DW_DRIVE_ANTIPHASE     /* full bridge; off: the supply reversed, so that half duty stands still */
};

struct dw_motor_plan {
    double resistance;         /* ohm, > 0 */
    double inductance;         /* H, > 0 */
    double constant;           /* V s/rad = N m/A, > 0 */
    double inertia;            /* kg m^2, > 0; of the rotor */
    double friction;           /* N m s/rad, >= 0; viscous */
    double drag;               /* N m, >= 0; Coulomb */
    double load_drag;          /* N m, >= 0; Coulomb, of the load on the output shaft */
    double torque;             /* N m, constant load on the output shaft; positive opposes forward motion */
    double torque_at_square;   /* N m s^2/rad^2, >= 0; load that grows with the square of the output speed, always braking */
    double accuracy;           /* of that, 0..0.1: dw_motor_new; 0: 1e-5 */
    double gear;               /* motor turns a turn of the output shaft, > 0; 1: none */
    double load_inertia;       /* kg m^2, >= 0; on the output shaft */
    enum dw_motor_drive drive;
    double supply;             /* V, > 0; without load */
    struct dw_supply source;   /* what it gives way by; not with the drive direct */
    double diode_drop;         /* V, >= 0, below the supply */
    double switch_resistance;  /* ohm, >= 0; of each transistor that the current passes */
    double threshold;          /* V, gates are on above it */
    bool low_gate;             /* the complement is given: with both off the current decides which diode conducts; where both are
                                  on, which shorts the supply, it counts as off */
    bool direction;            /* bridges: an input below zero reverses */
    bool all;                  /* all outputs, not only current and speed */
    bool rpm, degrees;         /* as outputs, speeds in rpm instead of rad/s, the angle in deg instead of rad */
};

/* From a data sheet's ratings: R = V / I_stall, K = (V - R I_free) / w_free, drag = K I_free: docs/theory.md (7.4).
 *   volts, free_current, stall_current, free_speed  V, A, A, rad/s
 *   plan     out: resistance, constant, drag; untouched on error
 *   returns  DW_BAD_USE where a value is not above zero or the stall current is not above the free current */
DW_API enum dw_status dw_motor_ratings(double volts, double free_speed, double free_current, double stall_current,
                                       struct dw_motor_plan *plan, struct dw_error *error);

/* Inputs of the system, in this order; those that the plan does not use are fed with 0. */
enum dw_motor_input { DW_MOTOR_PIN, DW_MOTOR_LOW, DW_MOTOR_DIRECTION, DW_MOTOR_TORQUE, DW_MOTOR_INPUTS };
/* States, in this order: A, rad/s, rad; behind them those of a supply that gives way. */
enum dw_motor_state { DW_MOTOR_CURRENT, DW_MOTOR_SPEED, DW_MOTOR_ANGLE, DW_MOTOR_STATES };

/* Whether a motor can be made of the plan, before anything is opened; DW_BAD_USE names the value that is out of range. */
DW_API enum dw_status dw_motor_check(const struct dw_motor_plan *plan, struct dw_error *error);

struct dw_motor;
/* Checks the plan; DW_BAD_USE names the value that is out of range.
 *   accuracy a load of the square law is followed by chords in speed, docs/theory.md (7.6). Up to the no-load speed they are off by at
 *            most plan.accuracy, but 1e-12, of what it takes there, and of the torque at stall: so a speed that stands is within
 *            plan.accuracy of the no-load speed */
DW_API struct dw_motor *dw_motor_new(const struct dw_motor_plan *plan, struct dw_error *error);
DW_API void dw_motor_free(struct dw_motor *motor);
/* The motor's plant: its inputs are those above, its states too, and its last two outputs are current and speed, before them supply (V)
 * where that gives way. Its load is the motor: to free either is to free both. */
DW_API struct dw_plant *dw_motor_plant(const struct dw_motor *motor);
/* Whether a mode's current is held at zero by open diodes: discontinuous conduction. */
DW_API bool dw_motor_blocked(const struct dw_motor *motor, size_t mode);
static const double DW_RPM = 30 / 3.14159265358979323846;  /* in 1 rad/s */
DW_API double dw_motor_stall_current(const struct dw_motor_plan *plan);   /* A */
DW_API double dw_motor_no_load_speed(const struct dw_motor_plan *plan);   /* rad/s, without any loss */

#ifdef __cplusplus
}
#endif
#endif
