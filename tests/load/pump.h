/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A motor for the tests, and where a run of it ends. */
#ifndef TESTS_LOAD_PUMP_H
#define TESTS_LOAD_PUMP_H

#include <dutywright/motor.h>

/* An invented pump motor, crooked on purpose. */
extern const struct dw_motor_plan pump;

/* A motor of the plan; the test fails where it is refused. */
struct dw_motor *motor_made(const struct dw_motor_plan *plan);

/* Runs a motor with a pin that stands still.
 *   speed    rad/s, at the start; no current flows then
 *   pin      V
 *   state    out, [DW_MOTOR_STATES], after so many seconds */
void motor_runs(const struct dw_motor_plan *plan, double speed, double pin, double seconds, double *state);

#endif
