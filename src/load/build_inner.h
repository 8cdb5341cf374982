/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plans checked, circuits built mode by mode; actuators and lamps, each in several files. Not installed. */
#ifndef LOAD_BUILD_INNER_H
#define LOAD_BUILD_INNER_H

#include <dutywright/actuator.h>
#include <dutywright/lamp.h>
#include <dutywright/motor.h>
#include <dutywright/plant.h>
#include <dutywright/status.h>
#include <dutywright/supply.h>
#include <stddef.h>

/* ---- what must hold of each value of a load's plan ---- */

/* DW_BAD_USE: one value does not stand to another as it must, "supply %.*g V: ... %.*g V", with the digits that tell them apart. */
enum dw_status dwi_demand_refuse(const char *member, const char *format, double one, double other, struct dw_error *error);

/* Modes of loads that switches and diodes drive, put together one at a time: what conducts, the guards at which that
 * changes, and the supply that gives way under them. */

enum { BUILD_STATES = 27, BUILD_INPUTS = 4, BUILD_OUTPUTS = 24, BUILD_GUARDS = 12 };

/* A quantity: state . x + alone. */
struct row {
    double state[BUILD_STATES], alone;
};

/* Everything of one mode that its plan points to; rows as in struct dw_mode. */
struct build {
    size_t states, inputs;
    double a[BUILD_STATES * BUILD_STATES], a_low[BUILD_STATES * BUILD_STATES];
    double b[BUILD_STATES * BUILD_INPUTS], b_low[BUILD_STATES * BUILD_INPUTS], e[BUILD_STATES], e_low[BUILD_STATES];
    double c[BUILD_OUTPUTS * BUILD_STATES], d[BUILD_OUTPUTS * BUILD_INPUTS], f[BUILD_OUTPUTS];
    double guard_state[BUILD_GUARDS][BUILD_STATES], guard_input[BUILD_GUARDS][BUILD_INPUTS];
    struct dw_guard guards[BUILD_GUARDS];
    size_t guard_count;
};

/* Begins with zeros. */
void dwi_build_begin(struct build *build, size_t states, size_t inputs);
struct dw_mode dwi_build_end(const struct build *build, const char *name);
/* g = factor * state . x + offset, [states]; and g = factor * u[input] + offset. */
struct dw_guard *dwi_build_guard(struct build *build, const double *state, double factor, double offset, double scale, size_t next);
struct dw_guard *dwi_build_input_guard(struct build *build, size_t input, double factor, double offset, double scale, size_t next);

/* g = factor * row + offset */
struct dw_guard *dwi_build_guard_row(struct build *build, const struct row *row, double factor, double offset, double scale, size_t next);

/* ---- paths of a load's current: which switch or diode conducts ---- */

/* Which condition of a gate a path lives under. */
enum gate_state { GATE_OFF, GATE_ON, GATE_ANY };

/* What holds the current's sign. */
enum conduction {
    CONDUCTS_BOTH,     /* transistors: either sign */
    CONDUCTS_FORWARD,  /* diodes: current >= 0 */
    CONDUCTS_BACK,     /* diodes: current <= 0 */
    BLOCKS             /* no path: current is zero, and the load's own voltage stands at its terminals */
};

/* Where it conducts it puts share * supply's voltage + own - ohms * current on the load, and the supply gives share * current: by these
 * two numbers both are coupled. */
struct path {
    const char *name;            /* for messages */
    enum gate_state high, low;
    int direction;               /* 1, -1; 0: any */
    enum conduction conduction;
    double share, own, ohms;     /* own: V of its diodes */
    double pin;                  /* what it adds a volt of the input */
    double switch_share, diode_share;              /* of the load's current, in the pulsed switch and in the freewheel diode */
    /* over the pulsed switch: supply * supply's voltage + volts + ohms * current + emf * load's own voltage */
    double switch_supply, switch_volts, switch_ohms, switch_emf;
};

/* Paths and the load on them. A mode is base + path * each + one of the load's own. */
struct paths {
    const struct path *path;
    size_t count, each;
    size_t base;                        /* of the modes under the present condition of the supply's line */
    struct row volts;                   /* of the supply at the load, in the present mode */
    double supply, threshold;           /* V: without load */
    double gate_scale, amperes, slack;  /* sizes of gates and of the current; V by which the load's own voltage must pass a diode's */
    size_t pin, low, direction;         /* inputs */
    const double *current, *emf;        /* [states] of the load's current and of its own voltage, */
    double emf_drawn;                   /* and what that has, ohm, of the input `drawn`; that 0: none */
    size_t drawn;
    double through;                     /* A/V: what the current has of the terminal's voltage at once */
    const double *no_current;           /* reset at which it is zero to the last bit */
};

/* V on the load without a drop over the path's ohms and without input. */
struct row dwi_path_volts(const struct paths *paths, size_t path);
/* The path for gates and direction, in which diodes have yet to find out whether they conduct. */
size_t dwi_path_for(const struct paths *paths, enum gate_state high, enum gate_state low, int direction);
/* Guards of a path on gates, direction and current, and on the load's own voltage that opens a diode's path. */
void dwi_path_guards(const struct paths *paths, struct build *build, size_t path, size_t own);

/* ---- a supply's states and equations, joined to a load's: docs/theory.md, section 12 ---- */

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

/* ---- the electrical half of a motor's modes; a mode is one of its paths and a mechanical one ---- */

enum { MOTOR_PATHS = 14 };

/* The paths of a drive; returns how many. */
size_t dwi_motor_paths(const struct dw_motor_plan *plan, struct path paths[MOTOR_PATHS]);

/* Paths through a contact that is open, and the diode across it. */
struct opened {
    struct path path[MOTOR_PATHS];
    size_t count;
    size_t shut[MOTOR_PATHS];   /* which path each is when the contact shuts, */
    size_t open[MOTOR_PATHS];   /* and which of these each of the others is when it opens: a current that the diode does not pass then
                                   breaks the guard of the one that is entered, and ends there */
};
/*   paths    [count], of the drive
 *   sign     of the currents that the contact cuts, 1 or -1
 *   drop     V, of the diode */
void dwi_paths_open(const struct path *paths, size_t count, int sign, double drop, struct opened *out);

/* ---- an actuator: a mode is a condition of line and limit switches, a path, and what screw and load do ---- */

enum { ACTUATOR_STATES = DW_ACTUATOR_STATES + SUPPLY_STATES, ACTUATOR_RESETS = 4, ACTUATOR_FIRM = 12, ACTUATOR_LOOSE = 17 };

/* What screw and load do. `way` is where the nut moves or what it presses towards, 1 out; `side` the sign of the force between nut and load, 1
 * where it is pushed out. At a stop that the load presses towards, the thread is loaded by the motor (PRESSES_BEYOND) or by the load (HANGS). */
enum load_motion_kind { RESTS, MOVES, PRESSES, PRESSES_BEYOND, HANGS, FLIES, FLIES_RESTING, FLIES_PRESSING };
struct load_motion {
    enum load_motion_kind kind;
    int way, side;
};

/* Beside a row, how much of the force on the load is in a quantity; that of the plan is in `alone`. */
struct forced {
    struct row row;
    double force;
};

struct dw_actuator {
    struct dw_actuator_plan plan;
    struct dw_plant *plant;
    struct dw_screw screw;
    size_t each, switches;        /* motions: the firm ones, or with backlash all; 1, or 3: both switches shut, the outer open, the inner */
    struct path path[MOTOR_PATHS];
    size_t path_count;
    struct opened opened[2];      /* by the outer, by the inner switch */
    struct paths paths;           /* in the present mode */
    struct load_source source;
    double emf[ACTUATOR_STATES], no_current[ACTUATOR_STATES * ACTUATOR_STATES];
    double force_scale;
    struct build build;           /* of the mode made last */
    double reset[ACTUATOR_RESETS][ACTUATOR_STATES * ACTUATOR_STATES], reset_offset[ACTUATOR_RESETS][ACTUATOR_STATES];
    size_t resets;
    struct dw_integrand integral[DW_ACTUATOR_INTEGRALS];
};

size_t dwi_actuator_mode_of(const struct dw_actuator *actuator, size_t condition, size_t path, size_t own);
/* Which switch is open: 0 none, 1 the outer, 2 the inner. */
size_t dwi_actuator_switch_of(const struct dw_actuator *actuator, size_t condition);
struct load_motion dwi_actuator_motion(size_t own);
/* N m at the screw for each newton, moving this way. */
double dwi_actuator_arm(const struct dw_actuator *actuator, int way, int side);
/* m of the nut for each radian of the motor. */
double dwi_actuator_thread(const struct dw_actuator *actuator);
struct forced dwi_forced_sum(double first, struct forced one, double second, struct forced other);
/* N on the load, and in the thread. */
struct forced dwi_actuator_force(const struct dw_actuator *actuator, double factor);
struct forced dwi_actuator_thread_force(const struct dw_actuator *actuator, const struct load_motion *me);
/* x' of a state is factor * quantity. */
void dwi_actuator_rate(struct build *build, size_t state, double factor, const struct forced *of);
void dwi_actuator_rates(struct dw_actuator *actuator, const struct load_motion *me);
void dwi_actuator_guards(struct dw_actuator *actuator, size_t mode, const struct load_motion *me);

/* ---- a lamp, for its two kinds and what they have in common ---- */

enum { LAMP_OUTPUTS = 8, LAMP_STATES = DW_LAMP_STATES + SUPPLY_STATES };

/* Where the voltage of an LED lies. */
enum region { LED_DARK, LED_RESISTIVE, LED_REGULATED };

struct dw_lamp {
    struct dw_lamp_plan plan;
    struct dw_plant *plant;
    double full;         /* A, fully on for long */
    double brightest;    /* temperature then, as a share of the rated one */
    bool supplied;       /* by what gives way: */
    struct load_source source;
    struct build build;  /* of the mode made last */
};

/* A, an LED in its region at a voltage. */
double dwi_led_current(const struct dw_lamp_plan *plan, enum region region, double volts);
enum region dwi_led_region(const struct dw_lamp_plan *plan, double volts);
/* V, above which an LED leaves the region; INFINITY: never. */
double dwi_led_leaves(const struct dw_lamp_plan *plan, enum region region);

/* ohm, of a filament at a temperature as a share of the rated one. */
double dwi_filament_resistance(const struct dw_lamp_plan *plan, double share);
/* W, what it loses there. */
double dwi_filament_loss(const struct dw_lamp_plan *plan, double share);
/* The temperature at which it stays at a voltage over itself and the resistor. */
double dwi_filament_steady(const struct dw_lamp_plan *plan, double volts);

struct dw_plant *dwi_led_plant(struct dw_lamp *lamp, struct dw_error *error);
/* A filament, or on a supply that gives way an LED that draws a constant power. */
struct dw_plant *dwi_lamp_smooth(struct dw_lamp *lamp, struct dw_error *error);

#endif
