/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The electrical half of a motor's modes; a mode is one of its paths and a mechanical one. */
#ifndef LOAD_MOTOR_INNER_H
#define LOAD_MOTOR_INNER_H

#include "load/build_inner.h"
#include <dutywright/motor.h>

enum { MOTOR_PATHS = 14 };

/* The paths of a drive; returns how many. */
size_t dwi_motor_paths(const struct dw_motor_plan *plan, struct path paths[MOTOR_PATHS]);

#endif
