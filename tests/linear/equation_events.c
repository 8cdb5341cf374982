/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Guards of smooth equations: which ends a mode and when. */
#include "draw.h"
#include "linear/smooth.h"
#include <float.h>

static void tick(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time, (void)x, (void)u;
    rate[0] = 1;
}

/* A sum of three sines and a constant, of the time that a state measures. */
struct wave {
    double constant, size[3], angular[3], phase[3];
};

static double wave_at(const struct wave *wave, double time)
{
    double sum = wave->constant;
    for (int i = 0; i < 3; i++)
        sum += wave->size[i] * sin(wave->angular[i] * time + wave->phase[i]);
    return sum;
}

static void wave_guard(const void *of, size_t mode, double time, const double *x, const double *u, double *guard)
{
    (void)time, (void)u;
    if (mode == 0)
        guard[0] = wave_at(of, x[0]);
}

static size_t to_second(const void *of, size_t mode, size_t guard, double time, double *x, const double *u)
{
    (void)of, (void)mode, (void)guard, (void)time, (void)x, (void)u;
    return 1;
}

/* First instant at which the wave falls below zero, by looking everywhere; NaN: it stays above. *lowest: before that. */
static double first_below(const struct wave *wave, double end, double *lowest)
{
    enum { PLACES = 40000 };
    *lowest = INFINITY;
    for (int i = 1; i <= PLACES; i++) {
        const double value = wave_at(wave, end * i / PLACES);
        if (value < 0) {
            double low = end * (i - 1) / PLACES, high = end * i / PLACES;
            for (int k = 0; k < 60; k++)
                *(wave_at(wave, (low + high) / 2) >= 0 ? &low : &high) = (low + high) / 2;
            return low;
        }
        *lowest = fmin(*lowest, value);
    }
    return NAN;
}

START_TEST(the_first_crossing_of_a_wavy_guard_is_found_wherever_it_dips)
{
    static const struct dw_equations_mode modes_of[] = { { "above", 1 }, { "below", 0 } };
    uint64_t seed = 20250117;
    int crossed = 0, stayed = 0;
    for (int i = 0; i < 400; i++) {
        struct wave wave = { .constant = drawn_between(&seed, 0.2, 1.4) };
        for (int k = 0; k < 3; k++) {
            wave.size[k] = drawn_between(&seed, 0.05, 0.6);
            wave.angular[k] = drawn_between(&seed, 0.5, 9);
            wave.phase[k] = drawn_between(&seed, 0, 6.2832);
        }
        double lowest;
        const double wanted = first_below(&wave, 10, &lowest), rest = 0;
        /* between two places the wave may be lower by its bend, at most 1.8 x 81, times 2.5e-4 squared over eight */
        if (lowest < 1.2e-6 || wave_at(&wave, 0) < 0)
            continue;
        struct dw_modes *modes = make(&(struct dw_equations){ .states = 1, .modes = modes_of, .mode_count = 2, .state_scale = units,
            .rate = tick, .guards = wave_guard, .leave = to_second, .of = &wave });
        struct dw_run *run = start_keeping(modes, 0, 0, &rest, NULL);
        feed(run, 10, NULL);
        ck_assert_msg(dw_run_events(run) == !isnan(wanted), "case %d: %llu events, first below at %g", i, dw_run_events(run), wanted);
        if (!isnan(wanted)) {
            /* 1e-12 of the interval, or 1e-13 of the guard at its slope, which beside a dip of 1.2e-6 is 1e-3 at least */
            within_scale(time_of(DW_ROW_BEFORE, 0), wanted, 2e-11, 10);
            crossed++;
        } else {
            stayed++;
        }
        dw_run_free(run);
        dw_modes_free(modes);
    }
    ck_assert_int_gt(crossed, 100);
    ck_assert_int_gt(stayed, 100);
}
END_TEST

static void dip_guard(const void *of, size_t mode, double time, const double *x, const double *u, double *guard)
{
    const double *depth = of;
    (void)time, (void)u;
    if (mode == 0)
        guard[0] = 1 - *depth - sin(x[0]);
}

START_TEST(a_dip_far_shorter_than_a_step_is_seen_and_a_graze_is_no_event)
{
    static const struct dw_equations_mode modes_of[] = { { "above", 1 }, { "below", 0 } };
    const double rest = 0;
    for (double depth = 1e-2; depth > 1e-12; depth /= 10)
        for (int sign = -1; sign <= 1; sign++) {
            const double below = sign * depth;
            struct dw_modes *modes = make(&(struct dw_equations){ .states = 1, .modes = modes_of, .mode_count = 2,
                .state_scale = units, .rate = tick, .guards = dip_guard, .leave = to_second, .of = &below });
            struct dw_run *run = start_keeping(modes, 0, 0, &rest, NULL);
            feed(run, 3, NULL);
            ck_assert_uint_eq(dw_run_events(run), sign > 0);
            /* the guard is known to an ulp of 1, two of them and 1e-13 of scale at a slope of sqrt(2 depth) */
            if (sign > 0)
                within_scale(time_of(DW_ROW_BEFORE, 0), asin(1 - depth), 3e-12 + 2e-13 / sqrt(2 * depth), 1);
            dw_run_free(run);
            dw_modes_free(modes);
        }
}
END_TEST

/* Guards 0 and 1 fall at instants that `of` names, by the input and by the state. */
static void two_guards(const void *of, size_t mode, double time, const double *x, const double *u, double *guard)
{
    const double *at = of;
    (void)time, (void)u;
    if (mode == 0)
        for (int k = 0; k < 2; k++)
            guard[k] = sin(at[k]) - sin(x[0]);
}

static size_t note_guard(const void *of, size_t mode, size_t guard, double time, double *x, const double *u)
{
    (void)of, (void)mode, (void)time, (void)x, (void)u;
    return 1 + guard;
}

START_TEST(of_two_guards_near_each_other_the_earlier_ends_the_mode_whichever_is_named_first)
{
    static const struct dw_equations_mode modes_of[] = { { "before", 2 }, { "first", 0 }, { "second", 0 } };
    static const double gaps[] = { 1e-2, 1e-5, 1e-8, 1e-10, 0 };
    for (size_t i = 0; i < 5; i++)
        for (int swapped = 0; swapped < 2; swapped++) {
            const double early = 0.93, late = early + gaps[i], at[] = { swapped ? late : early, swapped ? early : late }, rest = 0;
            struct dw_modes *modes = make(&(struct dw_equations){ .states = 1, .modes = modes_of, .mode_count = 3,
                .state_scale = units, .rate = tick, .guards = two_guards, .leave = note_guard, .of = at });
            struct dw_run *run = start_keeping(modes, 0, 0, &rest, NULL);
            feed(run, 1.5, NULL);
            const size_t first = swapped && gaps[i] > 0;
            ck_assert_uint_eq(dw_run_mode(run), 1 + first);
            ck_assert_int_eq(record.rows[row_of(DW_ROW_BEFORE, 0)].tag, (int)first);
            within_scale(time_of(DW_ROW_BEFORE, 0), early, 1.5e-12, 1);
            dw_run_free(run);
            dw_modes_free(modes);
        }
}
END_TEST

/* At the start both are zero; the first rises, the second falls. */
static void two_at_zero(const void *of, size_t mode, double time, const double *x, const double *u, double *guard)
{
    (void)of, (void)time, (void)u;
    if (mode == 0) {
        guard[0] = x[0];
        guard[1] = -x[0];
    }
}

START_TEST(of_two_guards_at_zero_the_one_that_falls_ends_the_mode)
{
    static const struct dw_equations_mode modes_of[] = { { "before", 2 }, { "first", 0 }, { "second", 0 } };
    const double rest = 0;
    struct dw_modes *modes = make(&(struct dw_equations){ .states = 1, .modes = modes_of, .mode_count = 3, .state_scale = units,
        .rate = tick, .guards = two_at_zero, .leave = note_guard });
    struct dw_run *run = start_keeping(modes, 0, 0, &rest, NULL);
    ck_assert_uint_eq(dw_run_mode(run), 0);
    feed(run, 1, NULL);
    ck_assert_uint_eq(dw_run_mode(run), 2);
    within_scale(time_of(DW_ROW_AFTER, 0), 0, 0, 1);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

/* on: x' = 1 while u >= 0.5; off: x = 0, and still, until u > 0.5 */
static void on_or_off(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)time, (void)x, (void)u;
    rate[0] = mode == 0;
}

static void half_way(const void *of, size_t mode, double time, const double *x, const double *u, double *guard)
{
    (void)of, (void)time, (void)x;
    guard[0] = mode == 0 ? u[0] - 0.5 : 0.5 - u[0];
}

static void state_and_input(const void *of, size_t mode, double time, const double *x, const double *u, double *y)
{
    (void)of, (void)mode, (void)time;
    y[0] = x[0] + 10 * u[0];
}

static size_t empty(const void *of, size_t mode, size_t guard, double time, double *x, const double *u)
{
    (void)of, (void)guard, (void)time, (void)u;
    x[0] = mode == 0 ? 0 : x[0];
    return !mode;
}

static const struct dw_equations_mode on_off[] = { { "on", 1 }, { "off", 1 } };
static const struct dw_equations switched = { .states = 1, .inputs = 1, .outputs = 1, .modes = on_off, .mode_count = 2,
    .state_scale = units, .scale = units, .rate = on_or_off, .output = state_and_input, .guards = half_way, .leave = empty };

START_TEST(jumps_of_the_input_change_modes_at_once_and_ramps_where_they_cross)
{
    const double rest = 0, low = 0, high = 1;
    struct dw_modes *modes = make(&switched);
    struct dw_run *run = start_keeping(modes, 1e-3, 0, &rest, &high);
    feed(run, 0.7, &high);
    near(dw_run_state(run)[0], 0.7, 4 * DBL_EPSILON);
    feed(run, 0.7, &low);
    ck_assert_uint_eq(dw_run_mode(run), 1);
    within_scale(dw_run_state(run)[0], 0, 0, 1);
    feed(run, 1, &low);
    feed(run, 2, &high);  /* on at 1.5 */
    within_scale(time_of(DW_ROW_BEFORE, 0), 1.5, 1e-12, 1);
    /* the input there, 0.5, is in both rows */
    near(record.output[row_of(DW_ROW_BEFORE, 0)], 5, 2e-12);
    near(record.output[row_of(DW_ROW_AFTER, 0)], 5, 2e-12);
    near(dw_run_state(run)[0], 0.5, 4e-12);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

START_TEST(a_guard_below_zero_at_the_start_gives_way_at_once_and_one_at_zero_where_it_falls)
{
    static const struct { double first, then; size_t starts, ends; } cases[] = {
        { 0.4, 0.4, 1, 1 }, { 0.6, 0.6, 0, 0 }, { 0.5, 0.4, 0, 1 }, { 0.5, 0.6, 0, 0 }, { 0.5, 0.5, 0, 0 } };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const double rest = 0;
        struct dw_modes *modes = make(&switched);
        struct dw_run *run = start_keeping(modes, 0, 0, &rest, &cases[i].first);
        ck_assert_uint_eq(dw_run_mode(run), cases[i].starts);
        feed(run, 1, &cases[i].then);
        ck_assert_uint_eq(dw_run_mode(run), cases[i].ends);
        ck_assert_uint_eq(dw_run_events(run), cases[i].ends);
        if (cases[i].ends > cases[i].starts)
            within_scale(time_of(DW_ROW_AFTER, 0), 0, 1e-12, 1);
        dw_run_free(run);
        dw_modes_free(modes);
    }
}
END_TEST

/* A coil's current and a timer: on until the current reaches 1, then off for a fixed time. */
#define OFF_TIME 17e-6
#define COIL 1e-3

static void chop(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)time, (void)u;
    rate[0] = ((mode == 0 ? 12 : -0.7) - 2 * x[0]) / COIL;
    rate[1] = mode == 1;
}

static void reference_or_timer(const void *of, size_t mode, double time, const double *x, const double *u, double *guard)
{
    (void)of, (void)time, (void)u;
    guard[0] = mode == 0 ? 1 - x[0] : 1 - x[1] / OFF_TIME;
}

static size_t restart_timer(const void *of, size_t mode, size_t guard, double time, double *x, const double *u)
{
    (void)of, (void)guard, (void)time, (void)u;
    x[1] = 0;
    return !mode;
}

START_TEST(a_timer_is_a_state_and_a_chopper_with_one_keeps_its_off_time)
{
    static const struct dw_equations_mode modes_of[] = { { "on", 1 }, { "off", 1 } };
    static const double scales[] = { 1, OFF_TIME };
    struct dw_modes *modes = make(&(struct dw_equations){ .states = 2, .modes = modes_of, .mode_count = 2, .state_scale = scales,
        .rate = chop, .guards = reference_or_timer, .leave = restart_timer });
    const double rest[] = { 0, 0 }, until = 1e-3;
    struct dw_run *run = start_keeping(modes, 0, 0, rest, NULL);
    feed(run, until, NULL);
    double wanted = -COIL / 2 * log1p(-1 / 6.0);  /* 6 A is where the current would end */
    size_t k = 0;
    for (; wanted < until; k++) {
        /* an event errs by 1e-12 of the interval, a step of 1e-10 moves the instant by 1e-10 A over the 10 A/ms of the rise */
        within_scale(time_of(DW_ROW_BEFORE, k), wanted, (double)(k + 1) * 2e-11, until);
        const double valley = -0.35 + 1.35 * exp(-OFF_TIME * 2 / COIL);
        wanted += k % 2 == 0 ? OFF_TIME : COIL / 2 * log((6 - valley) / 5);
    }
    ck_assert_uint_eq(dw_run_events(run), k);
    ck_assert_uint_gt(k, 80);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

/* A ball: height, speed. */
static void fall(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)mode, (void)time, (void)u;
    rate[0] = x[1];
    rate[1] = -9.8066;
}

static void height(const void *of, size_t mode, double time, const double *x, const double *u, double *guard)
{
    (void)of, (void)mode, (void)time, (void)u;
    guard[0] = x[0];
}

static size_t bounce(const void *of, size_t mode, size_t guard, double time, double *x, const double *u)
{
    (void)of, (void)mode, (void)guard, (void)time, (void)u;
    x[0] = 0;
    x[1] *= -0.5;
    return 0;
}

START_TEST(endless_switching_of_equations_is_an_error_that_says_when_and_where)
{
    static const struct dw_equations_mode flies[] = { { "flies", 1 } };
    struct dw_modes *modes = make(&(struct dw_equations){ .states = 2, .modes = flies, .mode_count = 1, .state_scale = units,
        .rate = fall, .guards = height, .leave = bounce });
    const double x[] = { 1.3, 0 };
    struct dw_error error;
    struct dw_run *run = start_quietly(modes, 0, x, NULL);
    /* the bounces converge to t1 (1 + 2 (r + r^2 + ...)) = 3 sqrt(2 * 1.3 / g) = 1.544716189 s */
    refuses(dw_run_feed(run, 5, NULL, &error), DW_NO, error,
            "endless switching at 1.54471619 s between the modes 'flies' and 'flies'");
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

SUITE("linear: events of equations", the_first_crossing_of_a_wavy_guard_is_found_wherever_it_dips,
      a_dip_far_shorter_than_a_step_is_seen_and_a_graze_is_no_event,
      of_two_guards_near_each_other_the_earlier_ends_the_mode_whichever_is_named_first,
      of_two_guards_at_zero_the_one_that_falls_ends_the_mode,
      jumps_of_the_input_change_modes_at_once_and_ramps_where_they_cross,
      a_guard_below_zero_at_the_start_gives_way_at_once_and_one_at_zero_where_it_falls,
      a_timer_is_a_state_and_a_chopper_with_one_keeps_its_off_time, endless_switching_of_equations_is_an_error_that_says_when_and_where)
