/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A load as a value: its options, and the plant that they describe, without what reads a table. So a program may hold the words
 * `dw-motor --inductance ...` as well as the one that is called so:
 *
 *     struct motor_load values;
 *     memcpy(&values, motor_kind.program.defaults, sizeof values);
 *     status = command_parse(&command, &motor_kind.program, &values, argc, argv, error);
 *     if (status == DW_OK)
 *         status = motor_kind.plant(&values, &drive, &plant, error);
 *
 * Not installed. */
#ifndef PROGRAMS_LOAD_KIND_H
#define PROGRAMS_LOAD_KIND_H

#include "command.h"
#include "simulate.h"
#include <dutywright/coil.h>
#include <dutywright/ladder.h>
#include <dutywright/motor.h>

/* What the options may leave to the table, or to whatever else drives the load. */
struct load_drive {
    double threshold;          /* V: gates are on above it */
    double supply;             /* V; dw-smooth */
    bool low_gate, direction;  /* such inputs are fed too; dw-motor */
};

struct load_plant {
    struct dw_modes *modes;
    size_t mode;              /* at rest */
    double state[DW_STATES];
    size_t inputs, outputs;
    struct simulated_channel channel[DW_OUTPUTS];
    void *load;               /* the ladder, motor or coil behind the modes */
    void (*release)(struct load_plant *plant);
};

struct load_kind {
    struct program program;  /* its command line alone */
    /*   values   as command_parse has filled them
     *   plant    out; freed by load_free, which is due only on DW_OK
     *   returns  DW_BAD_USE where the plan does not go with the drive; DW_NO_MEMORY */
    enum dw_status (*plant)(const void *values, const struct load_drive *drive, struct load_plant *plant, struct dw_error *error);
};

void load_free(struct load_plant *plant);
/* Lets a simulation begin with the plant at rest. */
void load_simulate(const struct load_plant *plant, struct simulation *simulation);

struct smooth_load {
    struct dw_stage stages[DW_STAGES];
    size_t count;
    double source, load;           /* ohm; load 0: none */
    struct dw_ladder_setup setup;  /* supply 0, threshold NaN: the drive's */
    double initial;                /* V, of all capacitors */
};
struct motor_load {
    struct dw_motor_plan plan;     /* threshold NaN: the drive's */
    const char *torque_from;
    bool rpm;
};
struct coil_load {
    struct dw_coil_plan plan;      /* threshold NaN: the drive's */
    double temperature, resistance_at;  /* degC; NaN: the other */
};
extern const struct load_kind smooth_kind, motor_kind, coil_kind;

/* The ladder alone. */
struct dw_ladder *smooth_ladder(const struct smooth_load *values, struct dw_error *error);

static const double MOTOR_RPM = 30 / 3.14159265358979323846;  /* in 1 rad/s */

#endif
