/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The parts of dw-lamp. Not installed. */
#ifndef PROGRAMS_LAMP_OPTIONS_H
#define PROGRAMS_LAMP_OPTIONS_H

#include "common.h"
#include "load_kind.h"
#include <dutywright/steps.h>

enum lamp_expectation { EXPECT_NOTHING, EXPECT_LOW_RISK, EXPECT_NO_EFFECT, EXPECT_VISIBILITY };

struct lamp_options {
    struct common_options common;
    struct lamp_load load;
    bool steady, report;
    enum lamp_expectation expect;
    double visibility;           /* most, with EXPECT_VISIBILITY */
    struct dw_steps_plan steps;  /* count 0: not asked for */
    double step_time;            /* s */
    const char *print;
};

/* Extremes of the whole table. */
struct lamp_seen {
    struct dw_light_meter *meter;  /* NULL unless a report is wanted */
    struct supply_seen supply;
    size_t outputs;
    double period;                 /* s, after which the table repeats; 0: not known */
    double peak, least, most;      /* A, light, light */
};

/* What the lamp can do to people and parts, whatever is written. */
void lamp_caution(const struct lamp_options *options, const struct lamp_seen *seen);
/* Writes the findings, with cautions, and judges them: DW_NO where what is expected does not hold. */
enum dw_status lamp_report(const struct lamp_options *options, struct lamp_seen *seen, struct dw_error *error);
/* Writes the steps as a table, or as options of dw-pwm the counter that has enough of them. */
enum dw_status lamp_steps(const struct lamp_options *options, struct dw_error *error);

#endif
