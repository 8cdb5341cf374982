/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A linear actuator: a motor, a gear and a screw that move a load between two ends. docs/theory.md, section 15. */
#ifndef DUTYWRIGHT_ACTUATOR_H
#define DUTYWRIGHT_ACTUATOR_H

#include <dutywright/motor.h>

#ifdef __cplusplus
extern "C" {
#endif

struct dw_actuator_plan {
    struct dw_motor_plan motor;   /* without a load of its own (torque, load_drag, torque_at_square, load_inertia 0); gear:
                                     motor turns a turn of the screw; all: also terminal, back-emf, torque, motor-speed,
                                     currents of the supply, nut */
    double lead;                  /* m a turn of the screw, > 0 */
    double efficiency;            /* of raising, 0 < E <= 1, and 2 - 1/E of lowering; 0: from these: */
    double screw_friction;        /* coefficient in the thread, >= 0 */
    double screw_diameter;        /* m, mean, > 0 */
    double thread_angle;          /* deg, between the flanks, 0 (square) to below 180 */
    double collar_friction;       /* coefficient under the thrust collar, >= 0 */
    double collar_diameter;       /* m, mean, >= 0 */
    double travel;                /* m, > 0: the ends are at 0 and there */
    double initial;               /* m, within what the stops allow */
    bool switches;                /* the ends are limit switches, a diode across each lets the current back; else stops */
    double overtravel;            /* m, >= 0, behind a switch to the stop; INFINITY: there is none */
    double differential;          /* m, > 0, below the travel: a switch closes again so far before the end */
    double force;                 /* N, that stands against moving out; below zero it pulls out */
    double mass;                  /* kg, >= 0, moved; its weight is a force */
    double backlash;              /* m, >= 0, between nut and load; needs a mass */
    bool feedback;                /* a potentiometer at the nut: V at the ends, along a line */
    double feedback_low, feedback_high;
};

/* m, torque at the screw for each newton: without friction, driving the load, and driven by it (below zero: it locks
 * itself).
 *   source   Shigley, Mechanical Engineering Design, power screws: docs/theory.md, (15.2) */
struct dw_screw {
    double ideal, raise, lower;
};

enum dw_actuator_input { DW_ACTUATOR_PIN, DW_ACTUATOR_LOW, DW_ACTUATOR_DIRECTION, DW_ACTUATOR_FORCE,
                         DW_ACTUATOR_INPUTS };
/* A, rad/s of the motor, m of the nut; with backlash also m/s of the load, and m by which the load is ahead of where the
 * nut pushes it out, up to the backlash; behind them those of a supply that gives way. */
enum dw_actuator_state { DW_ACTUATOR_CURRENT, DW_ACTUATOR_SPEED, DW_ACTUATOR_NUT, DW_ACTUATOR_LOAD_SPEED,
                         DW_ACTUATOR_GAP, DW_ACTUATOR_STATES };

/* DW_BAD_USE names the value that is out of range and what would do: also a screw that binds (it cannot be raised), and a
 * mass that would wedge it: inertia + mass ideal lower / gear^2 must be above zero, or the acceleration is not
 * determined. */
DW_API enum dw_status dw_actuator_check(const struct dw_actuator_plan *plan, struct dw_error *error);
DW_API struct dw_screw dw_actuator_screw(const struct dw_actuator_plan *plan);
/* N, that the motor lifts at a current, A, without accelerating: (15.6). */
DW_API double dw_actuator_lifts(const struct dw_actuator_plan *plan, double current);
/* N, from which on a load drives it back without current; INFINITY: none does. */
DW_API double dw_actuator_back_drive(const struct dw_actuator_plan *plan);
/* A, standing still with all of the supply. */
DW_API double dw_actuator_stall_current(const struct dw_actuator_plan *plan);

struct dw_actuator;
/*   returns   NULL with what dw_actuator_check refuses, or DW_NO_MEMORY */
DW_API struct dw_actuator *dw_actuator_new(const struct dw_actuator_plan *plan, struct dw_error *error);
/* NULL is fine. */
DW_API void dw_actuator_free(struct dw_actuator *actuator);
/* Its plant: inputs and states above; its last four outputs are current (A), force in the screw (N), speed (m/s) and
 * position (m) of the load, before them feedback (V) and supply (V) where there are such. Its load is the actuator: to
 * free either is to free both.
 *   accuracy   exact in each mode, and so is each event: section 2 */
DW_API struct dw_plant *dw_actuator_plant(const struct dw_actuator *actuator);

/* What it does in a mode of the plant. */
enum dw_actuator_motion { DW_ACTUATOR_RESTS, DW_ACTUATOR_OUT, DW_ACTUATOR_IN, DW_ACTUATOR_STOPPED };
DW_API enum dw_actuator_motion dw_actuator_motion(const struct dw_actuator *actuator, size_t mode);
/* Which limit switch is open: 1 the outer, -1 the inner, 0 none. */
DW_API int dw_actuator_open(const struct dw_actuator *actuator, size_t mode);

/* What a run must integrate for the energies below. */
enum dw_actuator_integral { DW_ACTUATOR_SUPPLIED, DW_ACTUATOR_HEATED, DW_ACTUATOR_ENTERED, DW_ACTUATOR_CONVERTED,
                            DW_ACTUATOR_DAMPED, DW_ACTUATOR_DRAGGED, DW_ACTUATOR_RUBBED, DW_ACTUATOR_LIFTED,
                            DW_ACTUATOR_INTEGRALS };
/*   returns   [DW_ACTUATOR_INTEGRALS], the actuator's own, for a run of its plant */
DW_API const struct dw_integrand *dw_actuator_integrals(const struct dw_actuator *actuator);
/* J, each positive where it is taken: from the supply, heat of the winding, into the motor's terminals, by the rotor from
 * the current, by viscous friction and drag of the motor, by the screw's friction, by the force on the load.
 *   integral  [DW_ACTUATOR_INTEGRALS], as the run has them
 *   energy    out, likewise
 *   accuracy  1e-14 of the largest term in them; speed lost at a stop and in the backlash, and a current that a switch
 *             cuts, are not among them: docs/theory.md, (15.9) */
DW_API void dw_actuator_energy(const struct dw_actuator_plan *plan, const double *integral, double *energy);

/* ---- findings of a run ---- */

struct dw_actuator_findings {
    double begun;              /* s, when current first flows or it first moves; NaN: neither */
    double ended;              /* s, when it first comes to an end, a stop or a switch, having moved; NaN: it does not */
    double from, to;           /* m, position when it begins and ends; `to` without an end: at last */
    double running, starting;  /* A, of the stroke: mean of its last half or a little more, and largest; NaN: none */
    double heat;               /* W, mean of the winding over the stroke, without an end to the last row; NaN: none */
    double energy;             /* J, that the supply gave at the load over the stroke, likewise; NaN: not all outputs */
    double cut;                /* A, that a switch cut first; its energy goes into the contact. 0: none was */
    double overrun;            /* m, farthest behind a switch */
    double impact;             /* J, of motor and load where they hit a stop hardest */
    double pressed;            /* s, at stops */
    double press_current;      /* A, mean over the last time at one; NaN: never */
    double fastest;            /* m/s */
    double time, position, speed;  /* at the last row */
    enum dw_actuator_motion motion;
};

/* A meter of rows; zero all of it first. */
struct dw_actuator_meter {
    const struct dw_actuator *actuator;  /* lives as long */
    struct dw_actuator_findings found;
    double current, slope, moving;       /* of the last row; J of motor and load */
    double charge, square, energy;       /* A s, A^2 s and J since the stroke began */
    size_t volts, amperes;               /* outputs that this energy is of; beyond the outputs: there is none */
    double supply[2][2];                 /* V and A at the last row, with their slopes */
    double mark[2][2];                   /* time and charge where the last half of the stroke may begin */
    double press_begun, press_charge;
    int open;
    bool any, moved;
};
/* Takes every row of a run of curves, without uniform rows, from its start on.
 *   accuracy   of means, heat and energy, that of the curves */
DW_API void dw_actuator_meter_row(struct dw_actuator_meter *meter, const struct dw_run_row *row);

#ifdef __cplusplus
}
#endif
#endif
