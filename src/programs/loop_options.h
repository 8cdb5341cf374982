/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What dw-loop was asked, and the load that stands behind `--`. Not installed. */
#ifndef PROGRAMS_LOOP_OPTIONS_H
#define PROGRAMS_LOOP_OPTIONS_H

#include "common.h"
#include "load_kind.h"
#include <dutywright/loop.h>

/* The load's own command line. */
struct loop_load {
    const struct load_kind *kind;
    struct program program;       /* the kind's, which takes words, to refuse them itself */
    struct command command;
    void *values;                 /* [kind->program.size] */
    bool help;                    /* only its --help is asked for */
};

struct loop_options {
    struct common_options common;
    struct dw_loop_plan plan;     /* without plant, law, tables and watchers */
    struct dw_law_plan law;
    struct dw_counter counter;    /* clock 0: none */
    double frequency;             /* Hz; 0: none */
    double every;                 /* s */
    const char *measured, *wanted, *wanted_from, *firmware;
    double tuned;                 /* s, of --tune simc=TC */
    enum { TUNE_NOT, TUNE_ULTIMATE, TUNE_SIMC } tune;
    int print;                    /* of p, pi, pid; -1: none */
    bool report, margins;
    struct loop_load load;
};

/* Reads the load's command line from the words behind `--`; messages begin with the load's name.
 *   returns  DW_OK; DW_BAD_USE: no load, an unknown one, or what its options refuse; DW_NO_MEMORY */
enum dw_status loop_load_read(const struct command *command, struct loop_load *load, struct dw_error *error);
void loop_load_free(struct loop_load *load);
/* Its plant, whose pin has these levels.
 *   returns  NULL, likewise */
struct dw_plant *loop_load_plant(const struct loop_options *o, struct dw_error *error);

/* Runs the loop whose plan is whole, and writes its table, or its findings. */
enum dw_status loop_table(struct loop_options *o, struct dw_error *error);
enum dw_status loop_report(struct loop_options *o, struct dw_error *error);
/* Finds settings instead, and writes these. */
enum dw_status loop_tune(struct loop_options *o, struct dw_error *error);
/* Writes the law to its file, whole or not at all. */
enum dw_status loop_firmware(const struct loop_options *o, struct dw_error *error);

#endif
