/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-actuator's options, what it sees, and its report. Not installed. */
#ifndef PROGRAMS_ACTUATOR_OPTIONS_H
#define PROGRAMS_ACTUATOR_OPTIONS_H

#include "drive.h"

enum duty_type { DUTY_UNSAID, DUTY_CONTINUOUS, DUTY_SHORT, DUTY_INTERMITTENT };  /* IEC 60034-1: S1, S2, S3 */

struct actuator_options {
    struct common_options common;
    struct actuator_load load;
    struct motor_channels channels;
    struct thermal_network network;
    double ambient, limit;      /* degC; limit NaN: none */
    enum duty_type duty;
    double running;             /* s of S2, share of S3 */
    double cycle;               /* s of S3 */
    bool report;
};

struct actuator_seen {
    struct dw_actuator_meter meter;
    struct supply_seen supply;
    struct gates_seen gates;
    struct dw_thermal *thermal;            /* of the winding; NULL: it is not known */
    double hottest;                        /* degC */
    double time, current, slope;           /* of the last row */
    bool any;
};

/* The winding since the row before. */
void actuator_heat(const struct actuator_options *options, struct actuator_seen *seen, const struct dw_run_row *row);
/* What it can do to people and itself, whatever is written. */
void actuator_caution(const struct actuator_options *options, const struct actuator_seen *seen);
/* Writes the findings and judges them: DW_NO where the end is not reached, or a limit does not hold. */
enum dw_status actuator_report(const struct actuator_options *options, struct actuator_seen *seen, struct dw_error *error);
enum dw_status actuator_judge(const struct actuator_options *options, const struct actuator_seen *seen, struct dw_error *error);

#endif
