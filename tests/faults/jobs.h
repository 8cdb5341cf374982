/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is done while memory runs out: whatever they do, jobs free what they hold. */
#ifndef TESTS_FAULTS_JOBS_H
#define TESTS_FAULTS_JOBS_H

#include <dutywright/status.h>

#define RIGHT(call) (status == DW_OK && (status = (call)) == DW_OK)
#define MADE(handle) (status == DW_OK && ((handle) || ((status = error->status), false)))

struct job {
    const char *name;
    enum dw_status (*run)(struct dw_error *error);
};

enum { LOAD_JOBS = 9, TABLE_JOBS = 6 };
extern const struct job load_jobs[LOAD_JOBS], table_jobs[TABLE_JOBS];

extern char ours[];    /* name of a file of one period, 2 s, with a pin and its answer */
extern char curved[];  /* the same, the answer with its slope, and a second period behind it */

#endif
