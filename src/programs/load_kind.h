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
#include <dutywright/coil.h>
#include <dutywright/ladder.h>
#include <dutywright/lamp.h>
#include <dutywright/motor.h>
#include <dutywright/servo.h>

/* What the options may leave to the table, or to whatever else drives the load. */
struct load_drive {
    double threshold;          /* V: gates are on above it */
    double supply;             /* V; dw-smooth */
    bool low_gate, direction;  /* such inputs are fed too; dw-motor */
    double accuracy;           /* relative to the load's natural scale, where it is not exact; dw-motor */
};

struct load_kind {
    struct program program;  /* its command line alone */
    /*   values   as command_parse has filled them
     *   returns  NULL with DW_BAD_USE where the plan does not go with the drive, or DW_NO_MEMORY */
    struct dw_plant *(*plant)(const void *values, const struct load_drive *drive, struct dw_error *error);
};

struct smooth_load {
    struct dw_stage stages[DW_STAGES];
    size_t count;
    double source, load;           /* ohm; load 0: none */
    struct dw_ladder_setup setup;  /* supply 0, threshold NaN: the drive's */
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
extern const struct load_kind smooth_kind, motor_kind, coil_kind, lamp_kind, servo_kind;

/* The ladder alone. */
struct dw_ladder *smooth_ladder(const struct smooth_load *values, struct dw_error *error);

#endif
