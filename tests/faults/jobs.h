/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is done while memory runs out: whatever they do, jobs free what they hold. */
#ifndef TESTS_FAULTS_JOBS_H
#define TESTS_FAULTS_JOBS_H

#include <dutywright/table.h>

#define RIGHT(call) (status == DW_OK && (status = (call)) == DW_OK)
/* What is not made has said why: no job meets DW_BAD_USE, which stands for silence. */
#define MADE(handle) (status == DW_OK && ((handle) || ((status = error->status ? error->status : DW_BAD_USE), false)))

/* Writes all rows of a reader. */
static inline enum dw_status write_all(struct dw_reader *reader, struct dw_writer *writer, struct dw_error *error)
{
    const double *values;
    size_t rows;
    enum dw_status status = DW_OK;
    while (RIGHT(dw_reader_rows(reader, 100, &values, &rows, error)))
        status = dw_writer_rows(writer, values, rows, error);
    return status == DW_END ? dw_writer_finish(writer, error) : status;
}

struct job {
    const char *name;
    enum dw_status (*run)(struct dw_error *error);
};

enum { LOAD_JOBS = 9, TABLE_JOBS = 6 };
extern const struct job load_jobs[LOAD_JOBS], table_jobs[TABLE_JOBS];

extern char ours[];    /* name of a file of one period, 2 s, with a pin and its answer */
extern char curved[];  /* the same, the answer with its slope, and a second period behind it */

#endif
