/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A load as a value: its options, and the plant that they describe, without what reads a table. So a program may hold the words
 * `dw-motor --inductance ...` as well as the one that is called so:
 *
 *     struct motor_load values;
 *     memcpy(&values, motor_kind.program.defaults, sizeof values);
 *     status = command_parse(&command, &motor_kind.program, &values, argc, argv, error);
 *     if (status == DW_OK)
 *         plant = motor_kind.plant(&values, &drive, error);
 *
 * Not installed. */
#ifndef PROGRAMS_LOAD_KIND_H
#define PROGRAMS_LOAD_KIND_H

#include "load_supply.h"
#include <dutywright/actuator.h>
#include <dutywright/coil.h>
#include <dutywright/ladder.h>
#include <dutywright/lamp.h>
#include <dutywright/motor.h>
#include <dutywright/servo.h>
#include <dutywright/stepper.h>

/* What the options may leave to the table, or to whatever else drives the load. */
struct load_drive {
    double threshold;          /* V: gates are on above it */
    double supply;             /* V; dw-smooth */
    bool low_gate, direction;  /* such inputs are fed too; dw-motor, dw-stepper the latter */
    bool coils, gates;         /* likewise; dw-stepper */
    double level;              /* V, that stands for the whole of a coil's supply or current; dw-stepper */
    double accuracy;           /* relative to the load's natural scale, where it is not exact; dw-motor */
};

/* What a duty does to a load, by its first input: it opens a gate, also that of a bridge which another input reverses, or its mean
 * is a voltage. */
enum load_pin { PIN_GATE, PIN_BRIDGE, PIN_VOLTAGE };

struct load_kind {
    struct program program;  /* its command line alone */
    /*   values   as command_parse has filled them
     *   returns  NULL with DW_BAD_USE where the plan does not go with the drive, or DW_NO_MEMORY */
    struct dw_plant *(*plant)(const void *values, const struct load_drive *drive, struct dw_error *error);
    enum load_pin (*pin)(const void *values);  /* NULL: a gate */
    size_t direction;             /* of a bridge: the input below zero of which reverses it */
    size_t side_input, side_from; /* the input that a second table drives, and where the values have its FILE; 0: none */
    bool moves;                   /* it is machinery, which can hurt */
};

struct smooth_load {
    struct dw_stage stages[DW_STAGES];
    size_t count;
    double source, load;           /* ohm; load 0: none */
    struct dw_ladder_setup setup;  /* supply 0, threshold NaN: the drive's */
    const char *current_from;
    struct supply_load feed;
};
struct motor_load {
    struct dw_motor_plan plan;     /* threshold NaN: the drive's */
    const char *torque_from;
    struct supply_load feed;
};
struct coil_load {
    struct dw_coil_plan plan;      /* threshold NaN: the drive's */
    double temperature, resistance_at;  /* degC; NaN: the other */
    struct supply_load feed;
};
struct lamp_load {
    struct dw_lamp_plan plan;      /* threshold NaN: the drive's */
    struct supply_load feed;
};
struct servo_load {
    struct dw_servo_plan plan;     /* its points, stops and angle at first from what stands below; threshold NaN: the drive's */
    double pulses[2], travel;      /* s, for either end of so many deg */
    double stops[2];               /* deg; NaN: the ends */
    const char *calibration_from;  /* instead of pulses and travel */
};
struct actuator_load {
    struct dw_actuator_plan plan;  /* threshold NaN: the drive's; overtravel and differential NaN: not given */
    double feedback[2];            /* V; NaN: not given */
    const char *force_from;
    struct supply_load feed;
};
struct stepper_load {
    struct dw_stepper_plan plan;   /* threshold, level NaN: the drive's */
    double rated_torque, rated_current;  /* N m, A */
    const char *torque_from;
    struct supply_load feed;
};
extern const struct load_kind smooth_kind, motor_kind, coil_kind, lamp_kind, servo_kind, actuator_kind, stepper_kind;

/* ---- rows of a motor and its drive, for all loads that have one: m is the struct dw_motor_plan in their values ---- */

/* NOLINTBEGIN(bugprone-macro-parentheses): a member's name stands in no brackets, nor does a piece of a string */
#define MOTOR_OPTIONS(m) \
    { .help = "The motor:" }, \
    { "resistance", "R", "Of the winding and brushes (ohm)", OPTION_QUANTITY(m.resistance, DW_RESISTANCE), OPTION_ABOVE_ZERO }, \
    { "inductance", "L", "Of the winding (H); required", OPTION_QUANTITY(m.inductance, DW_INDUCTANCE), OPTION_ABOVE_ZERO }, \
    { "constant", "K", "Back-EMF constant, which is the torque constant (V s/rad = N m/A)", \
      OPTION_QUANTITY(m.constant, DW_MACHINE_CONSTANT), OPTION_ABOVE_ZERO }, \
    { "inertia", "J", "Of the rotor (kg m^2); required", OPTION_QUANTITY(m.inertia, DW_INERTIA), OPTION_ABOVE_ZERO }, \
    { "friction", "B", "Viscous friction (N m s/rad); default 0", OPTION_QUANTITY(m.friction, DW_FRICTION), OPTION_NOT_NEGATIVE }, \
    { "drag", "M", "Coulomb friction, which also holds the rotor at standstill (N m); default 0", OPTION_QUANTITY(m.drag, DW_TORQUE), \
      OPTION_NOT_NEGATIVE }, \
    { "rated", "KEYS", "A data sheet's volts=,free-speed=,free-current=,stall-current= instead of resistance, constant and drag (the speed with " \
      "its unit, 4200rpm)", OPTION_READ(motor_read_rated), OPTION_AT(m) }
#define MOTOR_DRIVE_OPTIONS(m) \
    { .help = "What drives it:" }, \
    { "supply", "V", "Supply (V); required, or --battery", OPTION_QUANTITY(m.supply, DW_VOLTAGE), OPTION_ABOVE_ZERO }, \
    SUPPLY_OPTIONS, \
    { "drive", "WORD", \
      "direct: the channel is the terminal voltage, ahead of a --switch-resistance; one-switch: a transistor and a freewheel diode; " \
      "bridge-slow, bridge-fast: a full bridge that shorts the motor, or returns its current to the supply, while the pin is low; " \
      "antiphase: the pin reverses the supply, half duty stands still; required", OPTION_WORD(m.drive, motor_drives) }, \
    { "diode-drop", "V", "Of each conducting diode (V); default 0.7", OPTION_QUANTITY(m.diode_drop, DW_VOLTAGE), OPTION_NOT_NEGATIVE }, \
    { "switch-resistance", "R", "Of each conducting transistor (ohm); default 0", OPTION_QUANTITY(m.switch_resistance, DW_RESISTANCE), \
      OPTION_NOT_NEGATIVE }, \
    { "threshold", "V", "Gates are on above it (V); default the middle of the table's levels", OPTION_QUANTITY(m.threshold, DW_VOLTAGE) }
#define MOTOR_RATED "or --rated volts=,free-speed=,free-current=,stall-current="
/* unless: "", or "&!" and what brings a diode of its own */
#define MOTOR_RULES(unless) \
    { OPTION_EXCLUDES, "resistance constant drag", "rated", "a data sheet sets that too; give one" }, \
    { OPTION_NEEDED, "resistance", "!rated", "such as 1.2, " MOTOR_RATED }, \
    { OPTION_NEEDED, "constant", "!rated", "such as 23m (V s/rad), " MOTOR_RATED }, \
    { OPTION_NEEDED, "inductance", NULL, "such as 700u" }, \
    { OPTION_NEEDED, "inertia", NULL, "such as 12u (kg m^2)" }, \
    { OPTION_NEEDED, "supply", "!battery", "such as 12" }, \
    SUPPLY_RULES, \
    { OPTION_NEEDED, "drive", NULL, "one of direct, one-switch, bridge-slow, bridge-fast, antiphase" }, \
    { OPTION_REFUSED, "threshold " SUPPLY_GIVEN, "drive=direct", "is of switched drives; --drive is direct" }, \
    { OPTION_REFUSED, "diode-drop", "drive=direct" unless, "is of switched drives; --drive is direct" }, \
    { OPTION_REFUSED, "diode-drop", "drive=bridge-slow&!low-channel" unless " drive=antiphase&!low-channel" unless, \
      "goes with --low-channel in this drive: without it transistors alone carry the current" }
/* NOLINTEND(bugprone-macro-parentheses) */
extern const char *const motor_drives[];
enum dw_status motor_read_rated(const struct option_spec *option, const char *argument, void *options, struct dw_error *error);

/* The ladder alone. */
struct dw_ladder *smooth_ladder(const struct smooth_load *values, struct dw_error *error);

#endif
