/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The parts of dw-smooth. Not installed. */
#ifndef PROGRAMS_SMOOTH_H
#define PROGRAMS_SMOOTH_H

#include "common.h"
#include "load_kind.h"

struct smooth_options {
    struct common_options common;
    struct smooth_load load;
    bool steady, report;
    double band[2];                /* Hz; 0: a wave is wanted */
};

/* Reads the wave table, carries it through the ladder, writes it. */
enum dw_status smooth_wave(struct smooth_options *options, struct dw_error *error);
/* Writes gain and phase against frequency. */
enum dw_status smooth_response(const struct smooth_options *options, struct dw_error *error);

#endif
