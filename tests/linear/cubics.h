/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Cubics of the input that tests of runs have in common. */
#ifndef TESTS_LINEAR_CUBICS_H
#define TESTS_LINEAR_CUBICS_H

#include "draw.h"
#include "linear/curves.h"
#include "linear/smooth.h"

static const double one = 1, nothing[DW_STATES] = { 0 };

static uint64_t seed = 20260129;

static inline double between(double low, double high)
{
    return drawn_between(&seed, low, high);
}

static inline struct dw_modes *modes_of(const struct dw_modes_plan *plan)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_modes *modes = dw_modes_new(plan, &error);
    ck_assert_msg(modes != NULL, "%s", error.text);
    return modes;
}

static inline void feed_curve(struct dw_run *run, double time, const double *input, const double *begin, const double *end)
{
    struct dw_error error = { .status = DW_OK };
    succeeds(dw_run_feed_curve(run, time, input, begin, end, &error), error);
}

/* Rows of the input, of which some are extrema and some jumps. */
static inline struct drive random_drive(size_t rows, double length)
{
    struct drive drive = { .inputs = 1 };
    for (size_t i = 0; i < rows; i++) {
        const double slope = i % 4 == 2 ? 0 : between(-3, 3), step = i == 0 || i % 4 == 3 ? 0 : length * between(0.2, 1);
        drive_bent(&drive, i == 0 ? 0 : drive.time[i - 1] + step, between(-1, 1), slope / length);
    }
    return drive;
}

/* A period. */
enum { LAP = 5 };
static const double lap_time[LAP] = { 0, 0.9, 1.7, 1.7, 2.5 }, lap_input[LAP] = { 0.2, 1.1, 0.4, 0.3, 0.2 },
                    lap_slope[LAP] = { 2, -1, -2, 0.5, -0.7 };

static inline void halve_the_rate(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time;
    rate[0] = u[0] - x[0] / 2;
}

static const struct dw_equations halving = { .states = 1, .inputs = 1, .outputs = 1, .modes = plain, .mode_count = 1, .state_scale = units,
                                             .scale = units, .tolerance = 1e-12, .rate = halve_the_rate, .output = first_state };

#endif
