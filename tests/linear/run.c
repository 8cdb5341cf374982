/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A run asked where it stands, and copied: of modes and of equations alike. */
#include "linear/smooth.h"
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* One pole and a part of the input: y = 0.4 x + 0.3 u, and in equations the square of the state besides. */
static void both(const void *of, size_t mode, double time, const double *x, const double *u, double *y)
{
    (void)of, (void)mode, (void)time;
    y[0] = 0.4 * x[0] + 0.3 * u[0];
    y[1] = x[0] * x[0];
}

static struct dw_modes *pole_with_a_part_of_its_input(bool smooth)
{
    static const double a[] = { -1 / CONSTANT }, b[] = { 1 / CONSTANT }, c[] = { 0.4, 0 }, d[] = { 0.3, 0 };
    static const struct dw_mode mode = { .name = "only", .a = a, .b = b, .c = c, .d = d };
    struct dw_equations equations = rc;
    struct dw_error error = { .status = DW_OK };
    equations.outputs = 2;
    equations.scale = units;
    equations.output = both;
    struct dw_modes *modes = smooth ? make(&equations) :
        dw_modes_new(&(struct dw_modes_plan){ .states = 1, .inputs = 1, .outputs = 2, .modes = &mode, .mode_count = 1, .scale = units },
                     &error);
    ck_assert_msg(modes != NULL, "%s", error.text);
    return modes;
}

/* Outputs and slopes now, from the run's own state, the input and its slope. */
static void check_outputs(const struct dw_run *run, bool smooth, double u, double slope)
{
    double y[2], dy[2], again[2];
    const double x = dw_run_state(run)[0], rate = (u - x) / CONSTANT;
    dw_run_output(run, y, dy);
    dw_run_output(run, again, NULL);
    ck_assert(again[0] == y[0] && again[1] == y[1]);
    within_scale(y[0], 0.4 * x + 0.3 * u, 2 * DBL_EPSILON, 3.3);
    within_scale(y[1], smooth ? x * x : 0, 2 * DBL_EPSILON, 11);
    /* modes: a few roundings. Equations: 1e-16 over 2^-9 of the shorter of a time constant and the step, which are a fifth of it
     * at least once there have been steps, and of 1 s before */
    const double off = smooth ? 1e-11 : 4 * DBL_EPSILON, scale = 3.3 / CONSTANT;
    within_scale(dy[0], 0.4 * rate + 0.3 * slope, off, scale);
    within_scale(dy[1], smooth ? 2 * x * rate : 0, off, 6.6 * scale);
}

START_TEST(outputs_and_slopes_are_told_at_the_start_after_a_ramp_and_after_a_jump)
{
    for (int smooth = 0; smooth < 2; smooth++) {
        struct dw_modes *modes = pole_with_a_part_of_its_input(smooth);
        const double x = 0.7, u[] = { 2.1, 3.3, 0.4 };
        struct dw_run *run = start_quietly(modes, 0, &x, u);
        check_outputs(run, smooth, u[0], 0);
        feed(run, 0.5e-3, u + 1);
        check_outputs(run, smooth, u[1], (u[1] - u[0]) / 0.5e-3);
        feed(run, 0.5e-3, u + 2);
        check_outputs(run, smooth, u[2], 0);
        feed(run, 2e-3, u + 2);
        check_outputs(run, smooth, u[2], 0);
        dw_run_free(run);
        dw_modes_free(modes);
    }
}
END_TEST

START_TEST(a_copy_goes_its_own_way_and_the_run_does_not_notice)
{
    for (int smooth = 0; smooth < 2; smooth++) {
        struct dw_modes *modes = pole_with_a_part_of_its_input(smooth);
        struct dw_error error = { .status = DW_OK };
        const double rest = 0, high = 3.3, low = 0;
        size_t rows = 0, others = 0;
        struct dw_run *run =
            dw_run_new(modes, &(struct dw_run_options){ .accuracy = 1e-3, .sink = count_rows, .context = &rows }, &error);
        succeeds(dw_run_start(run, 0, 0, &rest, &high, &error), error);
        feed(run, 0.4e-3, &high);
        const size_t before = rows;
        struct dw_run *quiet = dw_run_copy(run, &(struct dw_run_options){ .sink = NULL }, &error), *same = dw_run_copy(run, NULL, &error);
        struct dw_run *even =
            dw_run_copy(run, &(struct dw_run_options){ .uniform = 1e4, .sink = count_rows, .context = &others }, &error);
        struct dw_run *curved = dw_run_copy(run, &(struct dw_run_options){ .accuracy = 1e-3, .curves = true, .sink = count_rows, .context = &others }, &error);
        ck_assert(quiet && same && even && curved);
        feed(quiet, 1e-3, &low);
        ck_assert_uint_eq(rows, before);
        ck_assert_double_eq(dw_run_time(run), 0.4e-3);
        feed(even, 1e-3, &high);
        succeeds(dw_run_finish(even, &error), error);
        ck_assert_uint_eq(others, 7);  /* 0.4 to 1 ms */
        feed(curved, 1e-3, &high);
        ck_assert_uint_gt(others, 7);
        near(*dw_run_state(curved), *dw_run_state(even), 1e-10);
        dw_run_free(curved);
        feed(run, 1e-3, &high);
        const size_t after = rows;
        feed(same, 1e-3, &high);
        ck_assert_uint_eq(rows - after, after - before);
        ck_assert(dw_run_state(same)[0] == dw_run_state(run)[0]);
        ck_assert(dw_run_state(quiet)[0] < dw_run_state(run)[0]);
        ck_assert_ptr_null(dw_run_copy(run, &(struct dw_run_options){ .accuracy = -1 }, &error));
        ck_assert_str_eq(error.text, "accuracy -1, uniform rate 0: must be finite and not below zero");
        dw_run_free(even);
        dw_run_free(same);
        dw_run_free(quiet);
        dw_run_free(run);
        dw_modes_free(modes);
    }
}
END_TEST

START_TEST(a_sink_that_refuses_stops_the_run_of_equations_at_whichever_row_it_does)
{
    struct dw_modes *modes = make(&stopped);
    const double x[] = { 1, 0 }, none = 0;
    static const struct dw_run_options ways[] = { { .accuracy = 1e-3 }, { .accuracy = 1e-3, .uniform = 7 }, { .accuracy = 1e-5 },
                                                  { .accuracy = 1e-6, .curves = true, .swing = 1e-6 } };
    for (int way = 0; way < 4; way++) {
        enum dw_status status = DW_CLOSED_PIPE;
        size_t most = 1;
        for (; status != DW_OK; most++) {
            struct dw_error error = { .status = DW_OK };
            size_t left = most;
            struct dw_run_options options = ways[way];
            options.sink = take_some;
            options.context = &left;
            struct dw_run *run = dw_run_new(modes, &options, &error);
            succeeds(dw_run_start(run, 0, 0, x, &none, &error), error);
            status = dw_run_feed(run, way < 2 ? 9 : 3, &none, &error);
            if (status == DW_OK)
                status = dw_run_finish(run, &error);
            ck_assert(status == DW_OK || !strcmp(error.text, "enough"));
            dw_run_free(run);
        }
        ck_assert_uint_gt(most, way < 2 ? 30 : 20);
    }
    dw_modes_free(modes);
}
END_TEST

/* A slope that is not known at one end makes the input a line. */
START_TEST(a_slope_at_one_end_alone_is_none)
{
    struct dw_modes *modes = rc_modes();
    const double rest = 0, high = 3.3, some = 700, unknown = INFINITY;
    struct dw_error error = { .status = DW_OK };
    for (int end = 0; end < 2; end++) {
        struct dw_run *run = start_quietly(modes, 0, &rest, &rest), *line = start_quietly(modes, 0, &rest, &rest);
        succeeds(dw_run_feed_curve(run, 1e-3, &high, end ? &some : &unknown, end ? &unknown : &some, &error), error);
        feed(line, 1e-3, &high);
        ck_assert_double_eq(*dw_run_state(run), *dw_run_state(line));
        dw_run_free(run);
        dw_run_free(line);
    }
    dw_modes_free(modes);
}
END_TEST

struct samples {
    size_t count;
    double time[64], input[64];
};

static enum dw_status take_sample(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct samples *s = context;
    (void)error;
    ck_assert_uint_lt(s->count, 64);
    s->time[s->count] = row->time;
    s->input[s->count++] = row->input[0];
    return DW_OK;
}

START_TEST(a_uniform_row_within_4_ulp_of_a_jump_has_what_comes_after_it)
{
    /* 30 Hz: the rows at 0.1 s, 0.2 s, ... are k / 30 rounded. The input jumps there, by 0, 1, ... 4 ulp earlier or later, and
     * becomes k; the fifth ulp is another instant. */
    for (int smooth = 0; smooth < 2; smooth++)
        for (int ulps = -5; ulps <= 5; ulps++) {
            struct dw_modes *modes = pole_with_a_part_of_its_input(smooth);
            struct samples s = { .count = 0 };
            struct dw_error error = { .status = DW_OK };
            const double x = 0;
            double u = 0;
            struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ .uniform = 30, .sink = take_sample, .context = &s }, &error);
            succeeds(dw_run_start(run, 0, 0, &x, &u, &error), error);
            for (int k = 3; k <= 12; k += 3) {
                double jump = k / 30.0;
                for (int i = 0; i < abs(ulps); i++)
                    jump = nextafter(jump, ulps < 0 ? 0 : 1);
                feed(run, jump, &u);
                u = k;
                feed(run, jump, &u);
            }
            succeeds(dw_run_finish(run, &error), error);
            /* the last stands on the last row, or behind it */
            ck_assert_uint_eq(s.count, ulps == -5 ? 12 : 13);
            for (size_t k = 0; k < s.count; k++) {
                ck_assert(s.time[k] == (double)k / 30);
                const size_t passed = k && ulps == 5 ? k - 1 : k;
                ck_assert_msg(s.input[k] == (double)(passed / 3 * 3), "ulps %d, row %zu: %g", ulps, k, s.input[k]);
            }
            dw_run_free(run);
            dw_modes_free(modes);
        }
}
END_TEST

/* A slope of 1 on which each volt is a mode of its own; the arrays stand until the next one is made. */
struct stairs {
    size_t made[4];
    double scale;  /* of the guard of the third */
    double offset[2];
    struct dw_guard guard;
};

static void make_stair(void *of, size_t mode, struct dw_mode *out)
{
    static const double up[] = { 1 }, down[] = { -1 }, shown[] = { 1, 0 };
    struct stairs *s = of;
    s->made[mode]++;
    s->offset[0] = s->offset[1] = (double)mode;
    s->guard = (struct dw_guard){ .state = down, .offset = (double)mode + 1, .scale = mode == 2 ? s->scale : 1, .next = mode + 1 };
    *out = (struct dw_mode){ .name = "stair", .e = up, .c = shown, .f = s->offset, .guards = &s->guard, .guard_count = mode < 3 };
}

START_TEST(modes_are_made_when_they_are_first_entered)
{
    struct stairs s = { .scale = 1 };
    const struct dw_modes_plan plan = { .states = 1, .outputs = 2, .mode_count = 4, .make = make_stair, .of = &s, .scale = units };
    struct dw_error error = { .status = DW_OK };
    struct dw_modes *modes = dw_modes_new(&plan, &error);
    ck_assert_msg(modes != NULL, "%s", error.text);
    ck_assert(s.made[0] == 1 && !s.made[1] && !s.made[2] && !s.made[3]);
    const double x = 0.5;
    for (int again = 0; again < 2; again++) {
        struct dw_run *run = start_quietly(modes, 0, &x, NULL);
        feed(run, 1, NULL);
        ck_assert(s.made[1] == 1 && s.made[2] == (size_t)again);
        feed(run, 2, NULL);
        double y[2];
        dw_run_output(run, y, NULL);
        ck_assert(y[0] == 4.5);  /* 2.5 V in mode 2: sums without a rounding */
        ck_assert_uint_eq(dw_run_mode(run), 2);
        dw_run_free(run);
    }
    ck_assert(s.made[0] == 1 && s.made[1] == 1 && s.made[2] == 1 && s.made[3] == 0);
    dw_modes_free(modes);
    /* one that is wrong is refused where it is entered, and again */
    s.scale = 0;
    modes = dw_modes_new(&plan, &error);
    ck_assert_msg(modes != NULL, "%s", error.text);
    struct dw_run *run = start_quietly(modes, 0, &x, NULL);
    for (int again = 0; again < 2; again++)
        refuses(dw_run_feed(run, 2, NULL, &error), DW_BAD_USE, error, "mode 'stair', guard 1: scale 0: must be above zero and finite");
    refuses(dw_run_start(run, 0, 2, &x, NULL, &error), DW_BAD_USE, error, "mode 'stair', guard 1: scale 0: must be above zero and finite");
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

SUITE("linear: run", outputs_and_slopes_are_told_at_the_start_after_a_ramp_and_after_a_jump,
      a_copy_goes_its_own_way_and_the_run_does_not_notice, a_uniform_row_within_4_ulp_of_a_jump_has_what_comes_after_it,
      modes_are_made_when_they_are_first_entered,
      a_sink_that_refuses_stops_the_run_of_equations_at_whichever_row_it_does, a_slope_at_one_end_alone_is_none)
