/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-switch's options, and what it says of the heat. Not installed. */
#ifndef PROGRAMS_SWITCH_OPTIONS_H
#define PROGRAMS_SWITCH_OPTIONS_H

#include "drive.h"

struct switch_options {
    struct common_options common;
    struct dw_switch transistor;
    struct thermal_network network;
    double ambient, limit, sink_limit, pin_current;   /* NaN: not asked */
    double rating, peak_rating, margin;               /* A, A, 1; NaN: not asked */
    const char *gate;
    double threshold;
    bool steady, report;
    bool alone;                                       /* no transistor: only a driver is judged */
};

/* Writes the report where one is asked for, cautions and notes, and judges.
 *   channel   whose findings they are
 *   returns   DW_NO with one line where a limit or rating does not hold; else DW_OK, or why the report was not written */
enum dw_status switch_verdict(const struct switch_options *options, const char *channel, const struct dw_heat_result *result,
                              struct dw_error *error);

#endif
