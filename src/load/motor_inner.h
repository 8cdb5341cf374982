/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The electrical and the mechanical half of a motor's modes; a mode is one of each. */
#ifndef LOAD_MOTOR_INNER_H
#define LOAD_MOTOR_INNER_H

#include <dutywright/motor.h>

/* Which condition of a gate an electrical mode lives under. */
enum gate_state { GATE_OFF, GATE_ON, GATE_ANY };

/* What holds the current's sign. */
enum conduction {
    CONDUCTS_BOTH,     /* transistors: either sign */
    CONDUCTS_FORWARD,  /* diodes: current >= 0 */
    CONDUCTS_BACK,     /* diodes: current <= 0 */
    BLOCKS             /* no path: current is zero */
};

/* L i' = v - R i - K w with v = volts + pin u - ohms i; BLOCKS: v = K w, i' = 0. */
struct electrical {
    const char *name;
    enum gate_state high, low;
    int direction;              /* 1, -1; 0: any */
    enum conduction conduction;
    double volts, pin, ohms;
    double switch_share, diode_share, supply_share;          /* of the motor's current, in each of these */
    double switch_volts, switch_ohms, switch_pin, switch_emf;  /* voltage over the pulsed switch: + ohms i + pin u + emf K w */
    double most, least;         /* BLOCKS: back-EMF between these, V, or a diode conducts */
};

enum { ELECTRICAL_MOST = 14 };

/* The electrical modes of a drive; returns how many. */
size_t motor_electrical(const struct dw_motor_plan *plan, struct electrical modes[ELECTRICAL_MOST]);

#endif
