/* SPDX-License-Identifier: GPL-3.0-or-later */
/* When the pulses of a move come: laws, closed forms, and an integration of the rate. */
#include "suite.h"
#include <dutywright/ramp.h>
#include <float.h>
#include <stdbool.h>
#include <stddef.h>

static struct dw_ramp ramp_of(struct dw_ramp_plan plan, double pulses)
{
    struct dw_ramp ramp;
    struct dw_error error;
    succeeds(dw_ramp_new(&plan, pulses, &ramp, &error), error);
    return ramp;
}

/* crooked: none reaches what another one does */
static const struct {
    struct dw_ramp_plan plan;
    double pulses;
} moves[] = {
    { { 0, 1700, 5300, INFINITY }, 2311 },     { { 0, 1700, 5300, INFINITY }, 97 },     { { 310, 1700, 5300, INFINITY }, 2311 },
    { { 310, 1700, 5300, INFINITY }, 3 },      { { 0, 1700, 5300, 41000 }, 2311 },      { { 310, 1700, 5300, 41000 }, 2311 },
    { { 310, 1700, 5300, 41000 }, 500 },       { { 310, 1700, 5300, 41000 }, 60 },      { { 0, 1700, 5300, 700 }, 2311 },
    { { 310, 1700, 5300, 700 }, 60 },          { { 1700, 1700, 5300, 41000 }, 60 },     { { 0, 1700, INFINITY, INFINITY }, 60 },
    { { 0, 2.3e5, 1.1e6, 9e7 }, 1e6 },         { { 0, 1700, 5300, 41000 }, 2 },         { { 0, 1700, 5300, 41000 }, 1 },
};
enum { MOVES = sizeof moves / sizeof moves[0] };

/* The place at a time, by the rates of the profile alone: the acceleration rises, holds, falls, is none, and the same reversed. */
static double place_at(const struct dw_ramp *r, double time)
{
    const bool back = time > r->duration / 2;
    const double half = r->length / 2, t = r->jerk_time, T = r->rise_time;
    time = back ? r->duration - time : time;
    const double a = T == 0 ? 0 : t > 0 ? r->plan.jerk * t : r->plan.acceleration, v = r->plan.start_rate;
    const double u = fmin(time, t), w = fmin(fmax(time - t, 0), T - 2 * t), x = fmin(fmax(time - (T - t), 0), t), y = fmax(time - T, 0);
    const double v1 = v + (t > 0 ? a * t / 2 : 0), v2 = v1 + a * (T - 2 * t);
    double place = v * u + (t > 0 ? a / t * u * u * u / 6 : 0) + v1 * w + a * w * w / 2;
    place += v2 * x + (t > 0 ? a * x * x / 2 - a / t * x * x * x / 6 : 0);
    place = fmin(place + r->peak * y, half);
    return back ? r->length - place : place;
}

START_TEST(a_pulse_comes_when_the_profile_passes_its_place)
{
    for (size_t i = 0; i < MOVES; i++) {
        const struct dw_ramp r = ramp_of(moves[i].plan, moves[i].pulses);
        ck_assert_double_eq(r.length, moves[i].pulses - 1);
        double before = -1;
        for (int k = 0; k <= 1000; k++) {
            const double place = r.length * k / 1000, time = dw_ramp_time(&r, place);
            ck_assert_msg(time >= before, "move %zu, place %g", i, place);
            before = time;
            /* a time within 16 ulp of the duration moves the place by the rate times that */
            within_scale(place_at(&r, time), place, 64 * DBL_EPSILON, r.length + r.peak * r.duration + 1);
        }
        ck_assert_double_eq(dw_ramp_time(&r, 0), 0);
        ck_assert_double_eq(dw_ramp_time(&r, r.length), r.duration);
    }
}
END_TEST

START_TEST(a_move_reversed_in_time_is_itself)
{
    for (size_t i = 0; i < MOVES; i++) {
        const struct dw_ramp r = ramp_of(moves[i].plan, moves[i].pulses);
        for (double place = 0; place <= r.length; place += r.length / 37 + 1)
            within_scale(dw_ramp_time(&r, r.length - place), r.duration - dw_ramp_time(&r, place), 4 * DBL_EPSILON, r.duration);
    }
}
END_TEST

START_TEST(rates_keep_to_their_limits)
{
    for (size_t i = 0; i < MOVES; i++) {
        const struct dw_ramp r = ramp_of(moves[i].plan, moves[i].pulses);
        ck_assert(r.peak <= moves[i].plan.top_rate && r.peak >= moves[i].plan.start_rate);
        if (r.peak < moves[i].plan.top_rate) /* it never holds a rate */
            near(2 * r.rise_time, r.duration, 8 * DBL_EPSILON);
        for (double place = 1; place <= r.length; place += r.length / 50 + 1) {
            const double interval = dw_ramp_time(&r, place) - dw_ramp_time(&r, place - 1);
            ck_assert(interval >= (1 - 1e-9) / moves[i].plan.top_rate && interval * moves[i].plan.start_rate <= 1 + 1e-9);
        }
    }
}
END_TEST

/* Austin 2004, Embedded Systems Programming 17(12): from rest at a constant acceleration c_n = c_0 (sqrt(n + 1) - sqrt n). */
START_TEST(intervals_from_rest_are_differences_of_square_roots)
{
    const struct dw_ramp r = ramp_of((struct dw_ramp_plan){ 0, 1e9, 5300, INFINITY }, 1e5);
    const double first = sqrt(2 / 5300.0);
    for (double n = 0; n < 40000; n += 1 + n / 10)
        /* sqrt(n + 1) - sqrt n = 1 / (their sum); the difference of two times loses their ulp */
        within_scale(dw_ramp_time(&r, n + 1) - dw_ramp_time(&r, n), first / (sqrt(n + 1) + sqrt(n)), 8 * DBL_EPSILON, first * sqrt(n + 1));
}
END_TEST

START_TEST(ticks_are_late_by_less_than_one_and_do_not_add_up)
{
    const struct dw_ramp r = ramp_of((struct dw_ramp_plan){ 310, 1700, 5300, 41000 }, 2311);
    const double tick = 64 / 18e6;
    for (double k = 0; k <= r.length; k++) {
        const double late = dw_ramp_ticks(dw_ramp_time(&r, k), tick) * tick - dw_ramp_time(&r, k);
        ck_assert_msg(late >= -8 * DBL_EPSILON * r.duration && late < tick, "pulse %g is %g late", k, late);
    }
    for (double n = 0; n < 1e6; n += 7919)
        ck_assert_double_eq(dw_ramp_ticks(n * tick, tick), n);
}
END_TEST

START_TEST(what_is_no_move_is_refused)
{
    static const struct {
        struct dw_ramp_plan plan;
        double pulses;
        const char *says;
    } cases[] = {
        { { 0, 0, 1, 1 }, 2, "a top rate of 0 Hz is not above zero" },
        { { 0, INFINITY, 1, 1 }, 2, "a top rate of inf Hz is not above zero" },
        { { -1, 1, 1, 1 }, 2, "a start rate of -1 Hz is below zero" },
        { { 2, 1, 1, 1 }, 2, "a start rate of 2 Hz is above the top rate, 1 Hz" },
        { { 0, 1, 0, 1 }, 2, "an acceleration of 0 Hz/s is not above zero" },
        { { 0, 1, 1, NAN }, 2, "a jerk of nan Hz/s2 is not above zero" },
        { { 0, 1, 1, 1 }, 0, "a move of 0 steps: from 1 to 2^45 can be had" },
        { { 0, 1, 1, 1 }, 0x1p46, "a move of 70368744177664 steps: from 1 to 2^45 can be had" },
        { { 0, 1e-308, 1, 1 }, 1e10, "the move takes longer than numbers go" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_ramp ramp;
        struct dw_error error;
        refuses(dw_ramp_new(&cases[i].plan, cases[i].pulses, &ramp, &error), DW_BAD_USE, error, cases[i].says);
    }
}
END_TEST

SUITE("pulse: moves of so many steps", a_pulse_comes_when_the_profile_passes_its_place, a_move_reversed_in_time_is_itself,
      rates_keep_to_their_limits, intervals_from_rest_are_differences_of_square_roots,
      ticks_are_late_by_less_than_one_and_do_not_add_up, what_is_no_move_is_refused)
