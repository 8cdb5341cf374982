/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Loops that run, and what was seen of them, for checks of runs and of places. */
#ifndef OUTSIDE_LOOPED_H
#define OUTSIDE_LOOPED_H

#include "suite.h"
#include <dutywright/loop.h>
#include <dutywright/margins.h>

enum { MOST = 10001 };
#define VOLTS 3.3

/* What was seen at the samples, and what the law made of it. */
struct seen {
    size_t count;
    double measured[MOST], duty[MOST], wanted;
    struct dw_loop_meter *meter;
};

static inline enum dw_status see(void *context, double time, double measured, const struct dw_law_state *sample, struct dw_error *error)
{
    struct seen *seen = context;
    if (sample && seen->count < MOST) {
        seen->measured[seen->count] = measured;
        seen->duty[seen->count++] = sample->duty;
    }
    seen->wanted = sample ? sample->wanted : seen->wanted;
    return seen->meter ? dw_loop_meter_see(seen->meter, time, measured, seen->wanted, error) : DW_OK;
}

static inline struct dw_law law_of(struct dw_law_plan plan)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_law law;
    plan.duty_high = 1;
    plan.converter.gain = 1;
    plan.setpoint_weight = 1;
    succeeds(dw_law_make(&plan, &law, &error), error);
    return law;
}

/* Runs a loop; the caller frees it. */
static inline struct dw_loop *run(struct dw_loop_plan plan, struct seen *seen)
{
    struct dw_error error = { .status = DW_OK };
    plan.high = VOLTS;
    plan.every = plan.every ? plan.every : 1;
    plan.see = see;
    plan.context = seen;
    struct dw_loop *loop = dw_loop_new(&plan, &error);
    ck_assert_msg(loop != NULL, "%s", error.text);
    succeeds(dw_loop_run(loop, &error), error);
    return loop;
}

/* The same at frequencies up to half of the sampling frequency. */
static inline void same_response(const struct dw_sampled *got, const struct dw_sampled *want, double allowed)
{
    for (double angle = 0.1; angle < 3; angle += 0.37) {
        double a[2], b[2];
        dw_sampled_response(got, cos(angle) - 1, sin(angle), a);
        dw_sampled_response(want, cos(angle) - 1, sin(angle), b);
        within_scale(hypot(a[0] - b[0], a[1] - b[1]), 0, allowed, hypot(b[0], b[1]));
    }
}

#endif
