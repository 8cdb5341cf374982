/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a run gave: its rows, with the first output and the first two states. */
#ifndef TESTS_LINEAR_ROWS_H
#define TESTS_LINEAR_ROWS_H

#include "suite.h"
#include <dutywright/modes.h>

enum { MOST = 4096 };

static struct record {
    struct dw_run_row rows[MOST];
    double output[MOST], state[MOST][2];
    size_t count, states;
} record;

static inline enum dw_status keep(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct record *kept = context;
    (void)error;
    ck_assert_uint_lt(kept->count, MOST);
    kept->output[kept->count] = row->output ? row->output[0] : 0;
    for (size_t i = 0; i < 2 && i < kept->states; i++)
        kept->state[kept->count][i] = row->state[i];
    kept->rows[kept->count++] = *row;
    return DW_OK;
}

/* Only counts them, in a size_t. */
static inline enum dw_status count_rows(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    (void)row, (void)error;
    ++*(size_t *)context;
    return DW_OK;
}

/* Takes so many, by a size_t, then no more. */
static inline enum dw_status take_some(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    size_t *left = context;
    (void)row;
    if (*left == 0)
        return dw_error_set(error, DW_CLOSED_PIPE, 0, "enough");
    --*left;
    return DW_OK;
}

/* A run from time 0 on that keeps its rows. */
static inline struct dw_run *start_keeping(struct dw_modes *modes, double accuracy, size_t mode, const double *state, const double *input)
{
    struct dw_error error = { .status = DW_OK };
    record.count = 0;
    struct dw_run *run =
        dw_run_new(modes, &(struct dw_run_options){ .accuracy = accuracy, .sink = keep, .context = &record }, &error);
    ck_assert_msg(run != NULL, "%s", error.text);
    succeeds(dw_run_start(run, 0, mode, state, input, &error), error);
    return run;
}

/* Number of the n-th row of a kind; MOST: there is none. */
static inline size_t row_of(enum dw_row_kind kind, size_t n)
{
    for (size_t i = 0; i < record.count; i++)
        if (record.rows[i].kind == kind && n-- == 0)
            return i;
    return MOST;
}

/* Its time; NaN: none. */
static inline double time_of(enum dw_row_kind kind, size_t n)
{
    const size_t i = row_of(kind, n);
    return i < MOST ? record.rows[i].time : NAN;
}

#endif
