/* SPDX-License-Identifier: GPL-3.0-or-later */
/* All of the library, and which version of it. */
#ifndef DUTYWRIGHT_DUTYWRIGHT_H
#define DUTYWRIGHT_DUTYWRIGHT_H

#include <dutywright/actuator.h>
#include <dutywright/beside.h>
#include <dutywright/chain.h>
#include <dutywright/coil.h>
#include <dutywright/counter.h>
#include <dutywright/cubic.h>
#include <dutywright/design.h>
#include <dutywright/equations.h>
#include <dutywright/follow.h>
#include <dutywright/ladder.h>
#include <dutywright/lamp.h>
#include <dutywright/law.h>
#include <dutywright/light.h>
#include <dutywright/linear.h>
#include <dutywright/loop.h>
#include <dutywright/margins.h>
#include <dutywright/measure.h>
#include <dutywright/modes.h>
#include <dutywright/motor.h>
#include <dutywright/pieces.h>
#include <dutywright/plant.h>
#include <dutywright/pulse.h>
#include <dutywright/ramp.h>
#include <dutywright/repeat.h>
#include <dutywright/servo.h>
#include <dutywright/sine.h>
#include <dutywright/spectrum.h>
#include <dutywright/splice.h>
#include <dutywright/status.h>
#include <dutywright/stepper.h>
#include <dutywright/steps.h>
#include <dutywright/supply.h>
#include <dutywright/switch.h>
#include <dutywright/table.h>
#include <dutywright/tuning.h>
#include <dutywright/value.h>

/* As AC_INIT of configure.ac has it; one that only mends has another patch, one that adds another minor version. */
#define DW_VERSION_MAJOR 0
#define DW_VERSION_MINOR 1
#define DW_VERSION_PATCH 0
#define DW_VERSION "0.1.0"
/* Whether this is at least that version: #if DW_VERSION_AT_LEAST(0, 1, 0). */
#define DW_VERSION_AT_LEAST(major, minor, patch) \
    (DW_VERSION_MAJOR * 1000000 + DW_VERSION_MINOR * 1000 + DW_VERSION_PATCH >= (major) * 1000000 + (minor) * 1000 + (patch))

#endif
