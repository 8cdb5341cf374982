/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "figure/reduction.h"
#include "suite.h"
#include <stdlib.h>

static const struct dw_span all = { .kind = DW_SPAN_ALL };

static struct dw_span between(double from, double to)
{
    return (struct dw_span){ .kind = DW_SPAN_BETWEEN, .from = from, .to = to };
}

static struct dw_span last(unsigned long long periods)
{
    return (struct dw_span){ .kind = DW_SPAN_LAST, .periods = periods };
}

static struct window *filled(struct window_rule rule, const double (*rows)[2], size_t count)
{
    struct dw_error error;
    rule.channels = 1;
    rule.strips = 1000;
    struct window *window = window_new(&rule, &error);
    ck_assert_ptr_nonnull(window);
    for (size_t i = 0; i < count; i++)
        succeeds(window_add(window, rows[i][0], &rows[i][1], NULL, &error), error);
    return window;
}

/* The vertices that are drawn, first and last of each strip where they differ. */
static void holds(struct window *window, const double (*want)[2], size_t count)
{
    const struct reduction *rows = window_reduction(window);
    size_t k = 0;
    for (size_t i = 0; i < reduction_strips(rows); i++) {
        const struct strip *strip = reduction_strip(rows, i, 0);
        const struct vertex vertices[2] = { strip->first, strip->last };
        for (int v = 0; v < (strip->rows > 1 ? 2 : 1); v++, k++) {
            ck_assert_msg(k < count && vertices[v].x == want[k][0] && vertices[v].y == want[k][1],
                          "vertex %zu is (%g, %g)", k, vertices[v].x, vertices[v].y);
        }
    }
    ck_assert_uint_eq(k, count);
}

/* 3 periods of 2 s, on for the first quarter, that begin at 1 s */
static const double pulses[][2] = { { 1, 5 }, { 1.5, 5 }, { 1.5, 0 }, { 3, 0 }, { 3, 5 }, { 3.5, 5 }, { 3.5, 0 },
                                    { 5, 0 }, { 5, 5 },   { 5.5, 5 }, { 5.5, 0 }, { 7, 0 } };
enum { PULSES = sizeof pulses / sizeof pulses[0] };

#define COUNT(rows) (sizeof(rows) / sizeof(rows)[0])

START_TEST(a_span_begins_after_a_jump_and_ends_before_one)
{
    static const double want[][2] = { { 3, 5 }, { 3.5, 5 }, { 3.5, 0 }, { 5, 0 } };
    struct window *window = filled((struct window_rule){ .span = between(3, 5), .joined = true }, pulses, PULSES);
    struct dw_error error;
    double from, to;
    succeeds(window_finish(window, &from, &to, &error), error);
    ck_assert(from == 3 && to == 5);
    holds(window, want, COUNT(want));
    window_free(window);
}
END_TEST

START_TEST(a_line_is_cut_at_the_ends_of_the_span)
{
    static const double ramp[][2] = { { 0, -1 }, { 8, 3 }, { 16, -1 } }, want[][2] = { { 2, 0 }, { 8, 3 }, { 12, 1 } };
    struct window *window = filled((struct window_rule){ .span = between(2, 12), .joined = true }, ramp, 3);
    struct dw_error error;
    double from, to;
    succeeds(window_finish(window, &from, &to, &error), error);
    holds(window, want, COUNT(want));
    window_free(window);
}
END_TEST

START_TEST(a_span_between_two_rows_is_the_line_between_them)
{
    static const double ramp[][2] = { { 0, 0 }, { 8, 4 } }, want[][2] = { { 2, 1 }, { 4, 2 } };
    struct window *window = filled((struct window_rule){ .span = between(2, 4), .joined = true }, ramp, 2);
    struct dw_error error;
    double from, to;
    succeeds(window_finish(window, &from, &to, &error), error);
    holds(window, want, COUNT(want));
    window_free(window);
}
END_TEST

START_TEST(points_are_kept_with_their_neighbours_outside)
{
    static const double points[][2] = { { 1, 1 }, { 2, 4 }, { 3, 9 }, { 4, 16 }, { 5, 25 }, { 6, 36 } };
    static const double want[][2] = { { 2, 4 }, { 3, 9 }, { 4, 16 }, { 5, 25 } };
    struct window *window = filled((struct window_rule){ .span = between(2.5, 4.5) }, points, 6);
    struct dw_error error;
    double from, to;
    succeeds(window_finish(window, &from, &to, &error), error);
    ck_assert(from == 2.5 && to == 4.5);
    holds(window, want, COUNT(want));
    window_free(window);
}
END_TEST

START_TEST(the_last_periods_are_whole_ones)
{
    static const double want[][2] = { { 3, 5 }, { 3.5, 5 }, { 3.5, 0 }, { 5, 0 }, { 5, 5 }, { 5.5, 5 }, { 5.5, 0 }, { 7, 0 } };
    static const double cut[][2] = { { 1, 5 }, { 1.5, 5 }, { 1.5, 0 }, { 3, 0 } };
    struct window_rule rule = { .span = last(2), .origin = 1, .period = 2, .joined = true };
    struct dw_error error;
    double from, to;
    struct window *window = filled(rule, pulses, PULSES);
    succeeds(window_finish(window, &from, &to, &error), error);
    ck_assert(from == 3 && to == 7);
    holds(window, want, COUNT(want));
    window_free(window);

    /* a record that ends inside its second period shows the first */
    rule.span = last(1);
    window = filled(rule, pulses, 6);
    succeeds(window_finish(window, &from, &to, &error), error);
    ck_assert(from == 1 && to == 3);
    holds(window, cut, COUNT(cut));
    window_free(window);
}
END_TEST

START_TEST(a_gap_of_many_periods_costs_no_time)
{
    static const double sparse[][2] = { { 0, 0 }, { 1e12, 1e12 } };
    static const double want[][2] = { { 1e12 - 3, 1e12 - 3 }, { 1e12 - 2, 1e12 - 2 }, { 1e12 - 2, 1e12 - 2 },
                                      { 1e12 - 1, 1e12 - 1 }, { 1e12 - 1, 1e12 - 1 }, { 1e12, 1e12 } };
    struct window *window = filled((struct window_rule){ .span = last(3), .period = 1, .joined = true }, sparse, 2);
    struct dw_error error;
    double from, to;
    succeeds(window_finish(window, &from, &to, &error), error);
    ck_assert(from == 1e12 - 3 && to == 1e12);
    const struct reduction *rows = window_reduction(window);
    ck_assert_uint_eq(reduction_strips(rows), COUNT(want));
    for (size_t i = 0; i < COUNT(want); i++) {
        /* share of the line, product and sum: 3 roundings of 1e12 */
        ck_assert(reduction_strip(rows, i, 0)->first.x == want[i][0]);
        near(reduction_strip(rows, i, 0)->first.y, want[i][1], 4e-16);
    }
    window_free(window);
}
END_TEST

START_TEST(the_mean_is_that_of_what_is_shown)
{
    static const struct {
        struct dw_span span;
        double want;
    } cases[] = {
        { { .kind = DW_SPAN_ALL }, 1.25 },
        { { DW_SPAN_BETWEEN, 0, 1, 2 }, 2.5 },
        { { DW_SPAN_BETWEEN, 0, 1.25, 3.25 }, 1.25 },
        { { DW_SPAN_BETWEEN, 0, 1.5, 3 }, 0 },          /* after one jump, before the other */
        { { DW_SPAN_BETWEEN, 0, -100, 1.5 }, 5 },       /* where there is a record */
        { { DW_SPAN_BETWEEN, 0, 6, INFINITY }, 0 },
        { { DW_SPAN_LAST, 1, 0, 0 }, 1.25 },
        { { DW_SPAN_LAST, 3, 0, 0 }, 1.25 },
    };
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct window *window = filled((struct window_rule){ .span = cases[i].span, .origin = 1, .period = 2, .joined = true },
                                       pulses, PULSES);
        struct dw_error error;
        double from, to, mean = NAN;
        succeeds(window_finish(window, &from, &to, &error), error);
        ck_assert(window_mean(window, 0, &mean));
        within_scale(mean, cases[i].want, 1e-15, 5);
        window_free(window);
    }
    struct window *window = filled((struct window_rule){ .span = all }, pulses, 1);
    struct dw_error error;
    double from, to, mean;
    succeeds(window_finish(window, &from, &to, &error), error);
    ck_assert(!window_mean(window, 0, &mean)); /* no time passes */
    window_free(window);
}
END_TEST

START_TEST(the_mean_of_a_million_rows_is_that_of_the_library)
{
    enum { ROWS = 1000000 };
    double *time = malloc(ROWS * sizeof *time), *value = malloc(ROWS * sizeof *value);
    const struct window_rule rule = { .channels = 1, .strips = 1000, .span = all, .joined = true };
    struct dw_error error;
    struct window *window = window_new(&rule, &error);
    ck_assert(time && value && window);
    for (int i = 0; i < ROWS; i++) {
        time[i] = 1000 + 0.37e-3 * (double)(i - i % 3); /* jumps among them */
        value[i] = 3.3 + (i % 1013 * 7919 % 1013) / 1013.0 - (i % 2 ? 6.5 : 0);
        succeeds(window_add(window, time[i], &value[i], NULL, &error), error);
    }
    double from, to, mean, want;
    succeeds(window_finish(window, &from, &to, &error), error);
    ck_assert(window_mean(window, 0, &mean));
    succeeds(dw_mean(&(struct dw_wave){ .time = time, .value = value, .rows = ROWS, .channels = 1 }, &want, &error), error);
    within_scale(mean, want, 12 * 2.3e-16, 4.3); /* 8 epsilons of ours, 4 of dw_mean's, of the largest value */
    window_free(window);
    free(time);
    free(value);
}
END_TEST

START_TEST(what_cannot_be_shown_is_explained)
{
    struct dw_error error;
    double from = 7, to = 7;
    struct window_rule rule = { .channels = 1, .strips = 100, .span = last(2) };
    ck_assert_ptr_null(window_new(&rule, &error));
    ck_assert_int_eq(error.status, DW_BAD_INPUT);
    ck_assert_str_eq(error.text, "a span of whole periods needs the header's period; give A:B");
    rule.span = last(10001);
    rule.period = 1;
    ck_assert_ptr_null(window_new(&rule, &error));
    ck_assert_int_eq(error.status, DW_BAD_USE);
    ck_assert_str_eq(error.text, "a figure shows at most the last 10000 periods; give A:B");

    struct window *window = filled((struct window_rule){ .span = all }, pulses, 0);
    refuses(window_finish(window, &from, &to, &error), DW_BAD_INPUT, error, "there are no rows to draw");
    window_free(window);
    window = filled((struct window_rule){ .span = between(20, 30), .joined = true }, pulses, PULSES);
    refuses(window_finish(window, &from, &to, &error), DW_BAD_INPUT, error,
            "nothing lies in the span 20:30; the rows run from 1 to 7");
    window_free(window);
    window = filled((struct window_rule){ .span = last(4), .origin = 1, .period = 2, .joined = true }, pulses, PULSES);
    refuses(window_finish(window, &from, &to, &error), DW_BAD_INPUT, error,
            "the last 4 whole periods were asked for, and there are only 3");
    window_free(window);
    ck_assert(from == 7 && to == 7);
}
END_TEST

/* y = x^3 from -1 to 3, in two cubics and a line, cut at 0 and 2: the cubic is cut where it is, its mean is 2. */
START_TEST(a_cubic_is_drawn_and_measured_as_one)
{
    static const double x[] = { -1, 1, 3, 4 }, y[] = { -1, 1, 27, 27 }, slope[] = { 3, 3, 27, 27 }, flat[] = { 0, 0, 0, 0 };
    struct dw_error error;
    double from, to, mean;
    struct vertex between[VERTEX_STEPS];
    const struct window_rule rule = { .channels = 2, .strips = 100, .span = { .kind = DW_SPAN_BETWEEN, .from = 0, .to = 2 }, .joined = true,
                                      .curve = (bool[]){ false, true } };
    struct window *window = window_new(&rule, &error);
    for (int i = 0; i < 4; i++)
        succeeds(window_add(window, x[i], (double[]){ y[i], y[i] }, (double[]){ flat[i], slope[i] }, &error), error);
    succeeds(window_finish(window, &from, &to, &error), error);
    const struct reduction *rows = window_reduction(window);
    ck_assert_uint_eq(reduction_strips(rows), 3);
    for (size_t i = 0; i < 3; i++) {
        const struct vertex *vertex = &reduction_strip(rows, i, 1)->first;
        within_scale(vertex->y, pow(vertex->x, 3), 1e-15, 8);
        within_scale(vertex->slope, 3 * vertex->x * vertex->x, 1e-15, 12);
        ck_assert(isnan(reduction_strip(rows, i, 0)->first.slope));
    }
    ck_assert_uint_eq(vertex_between(&reduction_strip(rows, 0, 0)->last, &reduction_strip(rows, 1, 0)->first, between), 1);
    ck_assert_uint_eq(vertex_between(&reduction_strip(rows, 1, 1)->last, &reduction_strip(rows, 2, 1)->first, between), VERTEX_STEPS);
    for (int i = 0; i < VERTEX_STEPS; i++)
        within_scale(between[i].y, pow(between[i].x, 3), 1e-15, 8);
    ck_assert(window_mean(window, 1, &mean));
    near(mean, 2, 1e-15);
    ck_assert(window_mean(window, 0, &mean));
    near(mean, (0.5 + (1 + 14) / 2.0) / 2, 1e-15);
    window_free(window);
}
END_TEST

SUITE("figure: window", a_cubic_is_drawn_and_measured_as_one, a_span_begins_after_a_jump_and_ends_before_one,
      a_line_is_cut_at_the_ends_of_the_span, a_span_between_two_rows_is_the_line_between_them,
      points_are_kept_with_their_neighbours_outside, the_last_periods_are_whole_ones, the_mean_is_that_of_what_is_shown,
      the_mean_of_a_million_rows_is_that_of_the_library, a_gap_of_many_periods_costs_no_time,
      what_cannot_be_shown_is_explained)
