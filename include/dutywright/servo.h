/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A position servo that pulses drive, as models have it: the width of a pulse is the angle wanted. docs/theory.md, section 13. Angles are
 * in degrees, as they are in tables of it. */
#ifndef DUTYWRIGHT_SERVO_H
#define DUTYWRIGHT_SERVO_H

#include <dutywright/plant.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

enum { DW_SERVO_POINTS = 64 };

/* Of a calibration: a pulse so wide asks for this angle. */
struct dw_servo_point {
    double width, angle;  /* s, deg */
};

struct dw_servo_plan {
    struct dw_servo_point points[DW_SERVO_POINTS];  /* widths rise; angles rise throughout, or fall throughout; lines between, and beyond */
    size_t point_count;                             /* 2 or more */
    double dead_band;             /* s, >= 0, below the calibration's widths from first to last: at rest it does not move for a change of
                                     the width up to here; in deg by the mean slope of the calibration */
    double slew;                  /* deg/s, > 0, without load */
    double slow_within;           /* deg, >= 0: from here on the speed falls in proportion to what is left; 0: it does not */
    double torque, stall_torque;  /* N m, >= 0, of a load that opposes either way, below the stall torque; stall_torque 0: no load slows it */
    bool free_when_lost;          /* no edge for so long: not driven until the next pulse has ended; else it stays */
    double lost_after;            /* s, > 0 */
    double stop_low, stop_high;   /* deg, within the angles of the calibration */
    double initial;               /* deg, within the stops: where it stands at first */
    double threshold;             /* V: the line is high above it */
};

enum dw_servo_input { DW_SERVO_PIN, DW_SERVO_INPUTS };
/* States: deg, deg, s since the line's last edge. */
enum dw_servo_state { DW_SERVO_ANGLE, DW_SERVO_WANTED, DW_SERVO_SINCE, DW_SERVO_STATES };
/* What it does. */
enum dw_servo_motion { DW_SERVO_HOLDS, DW_SERVO_UP, DW_SERVO_DOWN, DW_SERVO_NEARS_UP, DW_SERVO_NEARS_DOWN, DW_SERVO_STOPPED_HIGH,
                       DW_SERVO_STOPPED_LOW, DW_SERVO_FREE, DW_SERVO_MOTIONS };

/* DW_BAD_USE names the value that is out of range, and what would do. */
DW_API enum dw_status dw_servo_check(const struct dw_servo_plan *plan, struct dw_error *error);
/* The angle that a width asks for, deg, and the width that asks for an angle, s; on the line of the first or last two points beyond
 * them. 4 ulp of the largest number in it. */
DW_API double dw_servo_angle(const struct dw_servo_plan *plan, double width);
DW_API double dw_servo_width(const struct dw_servo_plan *plan, double angle);
/* The largest angle of a second of width, deg/s, and the dead band, deg. */
DW_API double dw_servo_steepest(const struct dw_servo_plan *plan);
DW_API double dw_servo_band(const struct dw_servo_plan *plan);

/* Its plant: input and states above; outputs wanted and angle. It is exact: between latches the motion is a line, an
 * exponential or rest.
 *   returns   NULL with what dw_servo_check refuses; DW_NO_MEMORY */
DW_API struct dw_plant *dw_servo_plant(const struct dw_servo_plan *plan, struct dw_error *error);
/* In a mode of the plant. */
DW_API enum dw_servo_motion dw_servo_motion(size_t mode);

/* ---- findings of a run ---- */

struct dw_servo_findings {
    unsigned long long pulses;    /* that have ended */
    double frame;                 /* s, from pulse to pulse in the mean; NaN: fewer than two */
    double shortest, longest;     /* s, of the widths; NaN: none */
    double begun, settled;        /* s, of the last move: when it was asked for, and when it came to rest; NaN: it never moved, or is not at rest */
    double wanted, angle;         /* deg, at the end */
    double beyond;                /* deg, by how much the farthest angle wanted lies beyond a stop; 0: none does */
    double pressed;               /* s, for which it pressed against a stop */
    double lost;                  /* s, for which it was not driven */
    unsigned long long hunts;     /* moves that turned round within 10 frames, for less than 10 dead bands */
};

/* A meter of rows; zero all of it first. */
struct dw_servo_meter {
    const struct dw_servo_plan *plan;  /* lives as long */
    struct dw_servo_findings found;
    double time, first_rise, rise, last_turn;
    enum dw_servo_motion motion;
    int way;
    bool any, high;
};
/* Takes every row of a run, without uniform rows, from its start on. */
DW_API void dw_servo_meter_row(struct dw_servo_meter *meter, const struct dw_run_row *row);

#ifdef __cplusplus
}
#endif
#endif
