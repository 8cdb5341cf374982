/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A stepper motor of two windings and what drives it, as smooth equations in many modes: docs/theory.md, section 14. Angles are the
 * motor's own, ahead of a gear; a full step is a quarter of an electrical turn. */
#ifndef DUTYWRIGHT_STEPPER_H
#define DUTYWRIGHT_STEPPER_H

#include <dutywright/plant.h>
#include <dutywright/supply.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

enum dw_stepper_drive {
    DW_STEPPER_VOLTAGE,  /* each coil gets its share of the supply; none shorts it */
    DW_STEPPER_CURRENT   /* a bridge chops each coil's current at its reference; a reference of 0 opens it */
};

enum { DW_STEPPER_MICROSTEPS = 256 };  /* at most */

struct dw_stepper_plan {
    double resistance;         /* ohm, > 0, of a winding */
    double inductance;         /* H, > 0, of a winding */
    double constant;           /* N m/A = V s/rad, > 0: torque of one winding an ampere, at its best angle; from a data sheet
                                  dw_stepper_constant */
    double detent;             /* N m, >= 0: largest torque without current, four periods an electrical turn */
    double inertia;            /* kg m^2, > 0; of the rotor */
    double friction;           /* N m s/rad, >= 0; viscous */
    double drag;               /* N m, >= 0; Coulomb, which also holds it at standstill */
    double torque;             /* N m, constant load on the output shaft; positive opposes forward motion */
    double gear;               /* motor turns a turn of the output shaft, > 0; 1: none */
    double load_inertia;       /* kg m^2, >= 0; on the output shaft */
    int full_steps;            /* of a turn: a multiple of four, > 0 */
    enum dw_stepper_drive drive;
    double supply;             /* V, > 0; without load */
    struct dw_supply source;   /* what it gives way by */
    double diode_drop;         /* V, >= 0, below the supply */
    double switch_resistance;  /* ohm, >= 0, of each of the two transistors that a coil's current passes */
    /* with DW_STEPPER_CURRENT */
    double current;            /* A, > 0: each phase's in full steps, the largest in microsteps */
    double off_time;           /* s: that long off, once the reference is reached; 0: chop_frequency */
    double chop_frequency;     /* Hz, > 0 without off_time: on at each beat, for both coils */
    double compensation;       /* A, >= 0: by so much the reference falls from beat to beat */
    double blanking;           /* s, >= 0: at least so long on */
    double fast;               /* 0..1: share of the time off, from its start, in which the current goes back to the supply; for the rest
                                  the coil is shorted */
    /* what comes in */
    bool coils;                /* inputs a and b say each coil's share, instead of step and direction */
    int microsteps;            /* of a full step, 1 to DW_STEPPER_MICROSTEPS; 1: full steps, both coils on */
    bool direction, gates;     /* such inputs are fed; without, all steps go forwards and both coils are driven */
    double threshold;          /* V, step, direction (forwards) and gates are on above it */
    double level;              /* V, > 0 with coils: an input so high stands for the whole supply or current */
    double tolerance;          /* as in struct dw_equations, relative to natural sizes; 0: 1e-10 */
    bool all;                  /* all outputs */
};

/* Inputs, in this order: those that the plan does not use are fed with 0. TORQUE is a further load on the output shaft, N m. */
enum dw_stepper_input { DW_STEPPER_STEP, DW_STEPPER_DIRECTION, DW_STEPPER_A, DW_STEPPER_B, DW_STEPPER_GATE_A, DW_STEPPER_GATE_B,
                        DW_STEPPER_TORQUE, DW_STEPPER_INPUTS };
/* States, in this order: A, A, rad/s, rad of the rotor from where it began; steps or, with coils, quarters of a turn that the field has gone; rad,
 * the field's electrical angle at first; of a chopper each phase's time left, s, and the beat's time, s. Behind them those of a supply
 * that gives way. */
enum dw_stepper_state { DW_STEPPER_CURRENT_A, DW_STEPPER_CURRENT_B, DW_STEPPER_SPEED, DW_STEPPER_ANGLE, DW_STEPPER_PLACE, DW_STEPPER_FIRST,
                        DW_STEPPER_STATES, DW_STEPPER_TIMER_A = DW_STEPPER_STATES, DW_STEPPER_TIMER_B, DW_STEPPER_BEAT,
                        DW_STEPPER_CHOPPED_STATES };

/* The torque constant of one winding, from the holding torque of a data sheet, N m, with both windings at its current, A: docs/theory.md
 * (14.2). NaN where one is not above zero. */
DW_API double dw_stepper_constant(double torque, double current);

/* DW_BAD_USE names the value that is out of range, and what would do. */
DW_API enum dw_status dw_stepper_check(const struct dw_stepper_plan *plan, struct dw_error *error);

/* Its plant. At first it is held: the first row's field stands, currents have come, the rotor stays where its torque bears the load.
 * Outputs: current-a, current-b (A), wanted and angle (deg, from where it began); before them supply (V), where that gives way; with `all`
 * in front coil-a, coil-b (V), speed (rad/s), torque (Nm) of the currents and the detent, supply-current (A), and what the supply has.
 * Its load, of dw_plant_load, is the plan.
 *   returns   NULL with what dw_stepper_check refuses, or DW_NO_MEMORY
 *   source    docs/theory.md, (14.1) to (14.4)
 *   accuracy  equations.h, at the plan's tolerance */
DW_API struct dw_plant *dw_stepper_plant(const struct dw_stepper_plan *plan, struct dw_error *error);
/* The electrical angle between field and rotor, rad: positive where the rotor lags behind a field that goes forwards; half a turn is
 * two full steps.
 *   plan, state, input   as of the plant */
DW_API double dw_stepper_lag(const struct dw_stepper_plan *plan, const double *state, const double *input);

/* ---- findings of a run ---- */

struct dw_stepper_findings {
    double asked, made, lost;    /* full steps, forwards; lost is asked less made, a multiple of four */
    double lag, lag_at;          /* rad, the largest of the rotor behind or ahead of the field, without sign, and when, s */
    double slipped_at;           /* s: first lag of two full steps; NaN: none */
    double angle;                /* rad, at the end, from where it began */
    double heat;                 /* W, of both windings at the end */
    double amperes, field;       /* A and electrical rad, of the last row: the currents' vector, or in a drive of currents the references' */
    bool rests;                  /* at the end it cannot leave its place: it has less energy than half of what holds it */
};

/* Begins with zeros, but for the plan. */
struct dw_stepper_meter {
    const struct dw_stepper_plan *plan;
    struct dw_stepper_findings found;
    bool any;
};

/* Takes every row of a run of the plant, from its start on. */
DW_API void dw_stepper_meter_row(struct dw_stepper_meter *meter, const struct dw_run_row *row);

/* ---- the locked motor ---- */

/* Hz, of small swings about a field that stands, with currents held: docs/theory.md, (14.5). NaN: nothing holds it.
 *   amperes  A, length of the vector of both currents
 *   field    electrical rad: 0, one phase on; pi/4, two */
DW_API double dw_stepper_frequency(const struct dw_stepper_plan *plan, double amperes, double field);

/* Steady motion in step with a field that turns; at rate 0 a field that stands. */
struct dw_stepper_locked {
    double rate;              /* Hz, full steps, >= 0 */
    double torque;            /* N m, on the output shaft, that it then drives besides friction and drag */
    double volts;             /* V, length of the voltage's vector; with currents held not looked at */
    double direct, quadrature; /* A: of the currents' vector, along the rotor and ahead of it, which makes the torque */
    double lag;               /* rad, of the voltage's vector (held currents: theirs) ahead of the rotor */
    double field;             /* rad, at rate 0: the field's electrical angle, for the detent */
};
/* Finds direct, quadrature and lag from the rest, by the voltage.
 *   returns  false where no lag gives the torque */
DW_API bool dw_stepper_lock(const struct dw_stepper_plan *plan, struct dw_stepper_locked *locked);
/* Eigenvalues of small deviations from it, in the rotor's coordinates, the detent left out while it turns: docs/theory.md, (14.6).
 *   real, imaginary  out, [4], 1/s and rad/s, sorted by rising modulus
 *   returns  DW_OK; DW_BAD_USE: a number that is not finite; DW_NO: they are not found; DW_NO_MEMORY */
DW_API enum dw_status dw_stepper_eigenvalues(const struct dw_stepper_plan *plan, const struct dw_stepper_locked *locked, double real[4],
                                             double imaginary[4], struct dw_error *error);

/* V or A, of the fundamental of a field in the plan's microsteps: 4/pi times what a coil gets in full steps. */
DW_API double dw_stepper_fundamental(const struct dw_stepper_plan *plan, double coil);

struct dw_stepper_pull {
    double formula;    /* N m, on the output shaft: pull-out torque by the fundamental, (14.7); below 0: none */
    double simulated;  /* N m: where the load is raised slowly the motor falls out of step there */
    bool stable;       /* the locked state is, by its eigenvalues, at all loads from none to the formula's */
    double pull_in;    /* N m: the largest load with which it starts at this rate at once; 0: with none */
};
/* Torques at a rate; the plan's own load is left out, and it gets steps.
 *   rate     Hz, of full steps, > 0
 *   returns  DW_OK, DW_BAD_USE or what a run gives
 *   source   Acarnley, Stepping Motors, 4th ed., on pull-out with a voltage drive (from memory); docs/theory.md, section 14
 *   accuracy simulated: the load rises so slowly that it is within 1 percent, chopped 3, where the locked state is stable; pull_in: 0.4 percent of the formula */
DW_API enum dw_status dw_stepper_pull(const struct dw_stepper_plan *plan, double rate, struct dw_stepper_pull *pull, struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
