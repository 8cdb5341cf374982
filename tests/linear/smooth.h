/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Smooth equations that several tests run, and how. */
#ifndef TESTS_LINEAR_SMOOTH_H
#define TESTS_LINEAR_SMOOTH_H

#include "linear/rows.h"
#include <dutywright/equations.h>

static const double units[] = { 1, 1, 1 };
static const struct dw_equations_mode plain[] = { { "moves", 0 } };
static unsigned long rates;  /* how often a rate was asked for: six times a step at least */

static inline struct dw_modes *make(const struct dw_equations *equations)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_modes *modes = dw_modes_new_smooth(equations, &error);
    ck_assert_msg(modes != NULL, "%s", error.text);
    record.states = equations->states;
    return modes;
}

/* A run without rows, from time 0 on. */
static inline struct dw_run *start_quietly(struct dw_modes *modes, size_t mode, const double *state, const double *input)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ .sink = NULL }, &error);
    ck_assert_msg(run != NULL, "%s", error.text);
    succeeds(dw_run_start(run, 0, mode, state, input, &error), error);
    return run;
}

static inline void feed(struct dw_run *run, double time, const double *input)
{
    struct dw_error error = { .status = DW_OK };
    succeeds(dw_run_feed(run, time, input, &error), error);
}

static inline void first_state(const void *of, size_t mode, double time, const double *x, const double *u, double *y)
{
    (void)of, (void)mode, (void)time, (void)u;
    y[0] = x[0];
}

/* Falls on a stop, springs back, rests on it when slow, until a torque lifts it. */
#define STOP 0.2
#define REBOUND 0.7

static inline void swing_or_rest(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)time;
    rate[0] = mode == 0 ? x[1] : 0;
    rate[1] = mode == 0 ? u[0] - sin(x[0]) : 0;
}

static inline void stop_or_lift(const void *of, size_t mode, double time, const double *x, const double *u, double *guard)
{
    (void)of, (void)time;
    guard[0] = mode == 0 ? x[0] - STOP : sin(x[0]) - u[0];
}

static inline size_t rebound(const void *of, size_t mode, size_t guard, double time, double *x, const double *u)
{
    (void)of, (void)guard, (void)time, (void)u;
    const bool rests = mode == 0 && fabs(x[1]) < 0.05;
    x[0] = STOP;
    x[1] *= rests ? 0 : -REBOUND;
    return rests;
}

static const struct dw_equations_mode swings_or_rests[] = { { "swings", 1 }, { "rests", 1 } };
static const struct dw_equations stopped = { .states = 2, .inputs = 1, .outputs = 1, .modes = swings_or_rests, .mode_count = 2,
    .state_scale = units, .scale = units, .rate = swing_or_rest, .output = first_state, .guards = stop_or_lift, .leave = rebound };

/* ---- one pole ---- */

#define CONSTANT 0.7e-3  /* s */

static inline void charge(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time;
    rates++;
    rate[0] = (u[0] - x[0]) / CONSTANT;
}

static const double volts[] = { 3.3 };
static const struct dw_equations rc = { .states = 1, .inputs = 1, .outputs = 1, .modes = plain, .mode_count = 1, .state_scale = volts,
    .scale = volts, .rate = charge, .output = first_state };

static inline struct dw_modes *rc_modes(void)
{
    static const double a[] = { -1 / CONSTANT }, b[] = { 1 / CONSTANT }, c[] = { 1 };
    static const struct dw_mode mode = { .name = "only", .a = a, .b = b, .c = c };
    struct dw_error error = { .status = DW_OK };
    struct dw_modes *modes = dw_modes_new(
        &(struct dw_modes_plan){ .states = 1, .inputs = 1, .outputs = 1, .modes = &mode, .mode_count = 1, .scale = volts }, &error);
    ck_assert_msg(modes != NULL, "%s", error.text);
    return modes;
}

#endif
