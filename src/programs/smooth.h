/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The parts of dw-smooth. Not installed. */
#ifndef PROGRAMS_SMOOTH_H
#define PROGRAMS_SMOOTH_H

#include "old_common.h"
#include "drive.h"
#include "old_keys.h"
#include <dutywright/ladder.h>
#include <stdio.h>

struct smooth_options {
    struct common_options common;
    struct dw_stage stages[DW_STAGES];
    struct dw_ladder_plan plan;
    struct dw_ladder_setup setup;  /* supply 0, threshold NaN: from the table */
    bool steady;
    double initial;                /* V */
    double band[2];                /* Hz; 0: a wave is wanted */
};

/* Reads the wave table, carries it through the ladder, writes it. */
enum dw_status smooth_wave(const struct smooth_options *options, const struct dw_ladder *ladder, struct dw_error *error);
/* Writes gain and phase against frequency. */
enum dw_status smooth_response(const struct smooth_options *options, const struct dw_ladder *ladder,
                               struct dw_error *error);

#endif
