/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Switching modes: when events come, that none is missed, and what is refused. */
#include "linear/rows.h"
#include <float.h>
#include <string.h>

static struct dw_modes *new_modes(const struct dw_modes_plan *plan)
{
    struct dw_error error = { DW_OK };
    struct dw_modes *modes = dw_modes_new(plan, &error);
    ck_assert_msg(modes != NULL, "%s", error.text);
    return modes;
}

static const double one = 1, minus = -1, unit_scale[] = { 1, 1 };

/* x'' = -w^2 x as an oscillator in (x, v/w); the guard x + offset >= 0 leads to a mode that stands still. */
static struct dw_modes *oscillator(double w, double offset)
{
    static double a[4];
    static const double zero[4] = { 0 }, c[] = { 1, 0 }, weight[] = { 1, 1 };
    static struct dw_guard guard;
    static struct dw_mode modes[2];
    memcpy(a, (double[]){ 0, w, -w, 0 }, sizeof a);
    guard = (struct dw_guard){ .state = c, .offset = offset, .scale = 1, .next = 1, .tag = 7 };
    modes[0] = (struct dw_mode){ .name = "swings", .a = a, .c = c, .guards = &guard, .guard_count = 1 };
    modes[1] = (struct dw_mode){ .name = "stands", .a = zero, .c = c };
    return new_modes(&(struct dw_modes_plan){ .states = 2, .outputs = 1, .modes = modes, .mode_count = 2,
                                              .weight = weight, .scale = unit_scale });
}

START_TEST(a_crossing_is_found_to_1e_minus_12_of_the_stretch_however_many_turns_it_holds)
{
    for (int turns = 0; turns <= 40; turns += 8) {
        /* x = cos(w t) + 0.999 falls below zero first at the angle arccos(-0.999); the stretch holds `turns` more */
        const double w = 2 * M_PI * (turns + 1.3), x[] = { 1, 0 };
        struct dw_modes *modes = oscillator(w, 0.999);
        struct dw_error error;
        struct dw_run *run = start_keeping(modes, 0, 0, x, NULL);
        succeeds(dw_run_feed(run, 1, NULL, &error), error);
        within_scale(time_of(DW_ROW_BEFORE, 0), acos(-0.999) / w, 1e-12, 1);
        ck_assert_uint_eq(dw_run_mode(run), 1);
        dw_run_free(run);
        dw_modes_free(modes);
    }
}
END_TEST

START_TEST(a_rising_input_that_starts_from_rest_hides_no_crossing)
{
    /* x' = u - x from rest with u = r t: x' is 0 at the start, and x = r (t - 1 + exp(-t)) */
    for (double rise = 3; rise < 1e7; rise *= 8) {
        const struct dw_guard guard = { .state = &minus, .offset = 1, .scale = 1, .next = 1 };
        const struct dw_mode mode[] = { { .a = &minus, .b = &one, .guards = &guard, .guard_count = 1 }, { .a = &minus, .b = &one } };
        struct dw_modes *modes = new_modes(&(struct dw_modes_plan){ .states = 1, .inputs = 1, .modes = mode, .mode_count = 2,
                                                                    .weight = &one });
        const double zero = 0;
        struct dw_error error;
        struct dw_run *run = start_keeping(modes, 0, 0, &zero, &zero);
        succeeds(dw_run_feed(run, 1, &rise, &error), error);
        const double crossed = time_of(DW_ROW_BEFORE, 0);
        /* the instant is off by 1e-12 at most, times the rate there of up to 4.5e3; the sum by 2e-16 of 4.5e3 */
        within_scale(rise * (crossed + expm1(-crossed)), 1, 1e-8, 1);
        dw_run_free(run);
        dw_modes_free(modes);
    }
}
END_TEST

START_TEST(two_crossings_in_one_stretch_are_not_missed_however_short_the_dip)
{
    for (double depth = 1e-2; depth >= 1e-11; depth /= 10) {
        const double w = 2 * M_PI * 0.9, x[] = { 1, 0 };
        struct dw_modes *modes = oscillator(w, 1 - depth);
        struct dw_error error;
        struct dw_run *run = start_keeping(modes, 0, 0, x, NULL);
        succeeds(dw_run_feed(run, 1, NULL, &error), error);
        /* the dip lasts 2 sqrt(2 depth) / w; near its ends g falls by depth * (1e-12 w / sqrt(2 depth)) in 1e-12 */
        const double wanted = acos(-1 + depth) / w;
        within_scale(time_of(DW_ROW_BEFORE, 0), wanted, 1e-12 + 4e-16 / sqrt(depth), 1);
        dw_run_free(run);
        dw_modes_free(modes);
    }
}
END_TEST

START_TEST(a_graze_is_no_event)
{
    const double x[] = { 1, 0 };
    struct dw_error error;
    struct dw_modes *modes = oscillator(2 * M_PI * 3.7, 1 + 1e-12);  /* stays 1e-12 above zero */
    struct dw_run *run = start_keeping(modes, 0, 0, x, NULL);
    succeeds(dw_run_feed(run, 1, NULL, &error), error);
    ck_assert_uint_eq(dw_run_mode(run), 0);
    ck_assert_uint_eq(dw_run_events(run), 0);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

/* A ball: height, speed; falls with g, comes back with a share of its speed. Zeno: the bounces converge. */
static struct dw_modes *ball(double rebound, double *g)
{
    static const double a[] = { 0, 1, 0, 0 }, c[] = { 1, 0 };
    static double e[2], reset[4];
    static struct dw_guard guard;
    static struct dw_mode mode;
    memcpy(e, (double[]){ 0, -*g }, sizeof e);
    memcpy(reset, (double[]){ 0, 0, 0, -rebound }, sizeof reset);
    guard = (struct dw_guard){ .state = c, .scale = 1, .next = 0, .reset = reset, .tag = 3 };
    mode = (struct dw_mode){ .name = "flies", .a = a, .e = e, .c = c, .guards = &guard, .guard_count = 1 };
    return new_modes(&(struct dw_modes_plan){ .states = 2, .outputs = 1, .modes = &mode, .mode_count = 1, .scale = unit_scale });
}

START_TEST(a_mode_may_follow_itself_through_a_reset)
{
    double g = 9.8066;
    const double rebound = 0.731, x[] = { 1.3, 0 };
    struct dw_modes *modes = ball(rebound, &g);
    struct dw_error error;
    struct dw_run *run = start_keeping(modes, 0, 0, x, NULL);
    succeeds(dw_run_feed(run, 1.9, NULL, &error), error);
    double wanted = sqrt(2 * 1.3 / g), speed = g * wanted;
    for (size_t k = 0; wanted < 1.9; k++) {
        /* each bounce keeps the error of the one before, at most once more 1e-12 of the stretch */
        within_scale(time_of(DW_ROW_BEFORE, k), wanted, (double)(k + 1) * 1e-12, 1.9);
        within_scale(time_of(DW_ROW_AFTER, k), wanted, (double)(k + 1) * 1e-12, 1.9);
        speed *= rebound;
        wanted += 2 * speed / g;
    }
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

/* x is filled and drained by the input, and stands at zero once it is empty; only then y decays. No rows are wanted, so that
 * stretches are gone through at once where they can be: in some of them x runs empty, in some not, at no two instants alike. */
START_TEST(stretches_with_and_without_a_crossing_may_follow_each_other_in_any_order)
{
    enum { PULSES = 60 };
    static const double fill[] = { 1, 0 }, idle[] = { 0, 0, 1000, -200 }, level[] = { 1, 0 };
    static const struct dw_guard empties = { .state = level, .scale = 1e-3, .next = 1 },
                                 wakes[] = { { .state = level, .scale = 1e-3, .next = 0 }, { .input = &minus, .scale = 1, .next = 0 } };
    static const struct dw_mode each[] = { { .name = "runs", .b = fill, .guards = &empties, .guard_count = 1 },
                                           { .name = "idles", .a = idle, .guards = wakes, .guard_count = 2 } };
    struct dw_modes *modes = new_modes(&(struct dw_modes_plan){ .states = 2, .inputs = 1, .modes = each, .mode_count = 2,
                                                                .weight = unit_scale });
    struct dw_error error = { DW_OK };
    struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ 0 }, &error);
    ck_assert_msg(run != NULL, "%s", error.text);
    const double up = 1.3, down = -0.9;
    double time = 0, x = 0, idled = 0;
    unsigned long long events = 0, emptied = 0;
    succeeds(dw_run_start(run, 0, 0, (const double[]){ 0, 1 }, &up, &error), error);
    for (int i = 0; i < PULSES; i++) {
        const double filling = 1e-4 * (1 + i * 7 % 5 / 3.7), draining = 1e-4 * (1 + i * 11 % 7 / 1.9);
        const double *const inputs[] = { &up, &down, &down, &up };
        for (int k = 0; k < 4; k++) {
            time += k == 0 ? filling : k == 2 ? draining : 0;
            succeeds(dw_run_feed(run, time, inputs[k], &error), error);
        }
        const double after = x + up * filling + down * draining;
        if (after < 0) {
            idled += after / down;
            events += 2;  /* it runs empty, and is filled again */
            emptied++;
        }
        x = fmax(after, 0);
        /* rounding of the time, up to 0.02 s, at rates up to 200 / s and of the sums of all pulses before */
        within_scale(dw_run_state(run)[0], x, 1e-12, 1e-3);
        near(dw_run_state(run)[1], exp(-200 * idled), 1e-13);
        ck_assert_uint_eq(dw_run_events(run), events);
    }
    ck_assert_uint_gt(emptied, PULSES / 4);
    ck_assert_uint_lt(emptied, PULSES - PULSES / 4);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

START_TEST(at_an_event_the_state_that_alone_decides_is_exactly_where_its_guard_is_zero)
{
    static const double thresholds[] = { 0, 0.37, -0.83, 1e-7 };
    for (size_t i = 0; i < 4; i++) {
        const double x[] = { 0.6, 0.8 };
        struct dw_modes *modes = oscillator(2 * M_PI * 2.37, 0 - thresholds[i]);
        struct dw_run *run = start_keeping(modes, 1e-3, 0, x, NULL);
        struct dw_error error;
        succeeds(dw_run_feed(run, 1.9, NULL, &error), error);
        size_t seen = 0;
        for (size_t k = 0; k < record.count; k++)
            if (record.rows[k].kind == DW_ROW_BEFORE || record.rows[k].kind == DW_ROW_AFTER) {
                ck_assert(record.output[k] == thresholds[i] && signbit(record.output[k]) == signbit(thresholds[i]));
                seen++;
            }
        ck_assert_uint_eq(seen, 2);
        ck_assert(dw_run_state(run)[0] == thresholds[i]);
        dw_run_free(run);
        dw_modes_free(modes);
    }
}
END_TEST

START_TEST(endless_switching_is_an_error_that_says_when_and_where)
{
    double g = 9.8066;
    const double x[] = { 1.3, 0 };
    struct dw_modes *modes = ball(0.5, &g);
    struct dw_error error;
    struct dw_run *run = start_keeping(modes, 0, 0, x, NULL);
    /* the bounces converge to t1 (1 + 2 (r + r^2 + ...)) = 3 sqrt(2 * 1.3 / g) = 1.544716189 s */
    refuses(dw_run_feed(run, 5, NULL, &error), DW_NO, error,
            "endless switching at 1.54471619 s between the modes 'flies' and 'flies'");
    dw_run_free(run);
    dw_modes_free(modes);
    /* two modes that both lead at once into the other */
    const double a = -1, e[] = { -2, 2 };
    const struct dw_guard guards[] = { { .state = &one, .scale = 1, .next = 1 }, { .state = &minus, .scale = 1, .next = 0 } };
    const struct dw_mode pair[] = { { .name = "down", .a = &a, .e = e, .guards = guards, .guard_count = 1 },
                                    { .name = "up", .a = &a, .e = e + 1, .guards = guards + 1, .guard_count = 1 } };
    modes = new_modes(&(struct dw_modes_plan){ .states = 1, .modes = pair, .mode_count = 2 });
    const double high = 1;
    run = start_keeping(modes, 0, 0, &high, NULL);
    ck_assert_int_eq(dw_run_feed(run, 5, NULL, &error), DW_NO);
    /* which of the two it gives up in is up to a rounding */
    if (strcmp(error.text, "endless switching at 0.405465108 s between the modes 'up' and 'down'"))
        ck_assert_str_eq(error.text, "endless switching at 0.405465108 s between the modes 'down' and 'up'");
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

START_TEST(a_run_that_comes_half_way_at_once_is_judged_by_the_pace_from_there_on)
{
    /* x falls from 1 to 0, and then swings 1.6e13 times a second: some 1e14 steps with rows for the second half of the way */
    static const double zero[4] = { 0 }, a[] = { 0, 1e14, -1e14, 0 }, e[] = { -1, 0 }, c[] = { 1, 0 }, x[] = { 1, 1 };
    const struct dw_guard guard = { .state = c, .scale = 1, .next = 1 };
    const struct dw_mode pair[] = { { .name = "falls", .a = zero, .e = e, .c = c, .guards = &guard, .guard_count = 1 },
                                    { .name = "swings", .a = a, .c = c } };
    struct dw_modes *modes = new_modes(&(struct dw_modes_plan){ .states = 2, .outputs = 1, .modes = pair, .mode_count = 2,
                                                                .scale = unit_scale });
    for (int curves = 0; curves < 2; curves++) {
        size_t rows = 0;
        struct dw_error error = { DW_OK };
        struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ .accuracy = 1e-6, .swing = 1e-4, .curves = curves,
                                                                         .sink = count_rows, .context = &rows }, &error);
        ck_assert_msg(run != NULL, "%s", error.text);
        succeeds(dw_run_start(run, 0, 0, x, NULL, &error), error);
        ck_assert_int_eq(dw_run_feed(run, 2, NULL, &error), DW_NO);
        ck_assert_ptr_nonnull(strstr(error.text, "so fast that the way to the next row of the input, 2 s, would take more than 1.7e+07 steps"));
        ck_assert_uint_lt(rows, 1 << 17);  /* 65,536 steps and rows, and those of the steps kept back */
        dw_run_free(run);
    }
    dw_modes_free(modes);
}
END_TEST

START_TEST(jumps_of_the_input_change_modes_at_once_and_their_reset_applies)
{
    /* on: x' = 1 while u >= 0.5; off: x = 0 by reset, x' = 0, until u > 0.5 */
    const double zero = 0, e = 1, c = 1, low = 0, high = 1;
    const struct dw_guard guards[] = { { .input = &one, .offset = -0.5, .scale = 1, .next = 1, .reset = &zero, .tag = 1 },
                                       { .input = &minus, .offset = 0.5, .scale = 1, .next = 0, .tag = 2 } };
    const struct dw_mode pair[] = { { .name = "on", .a = &zero, .e = &e, .c = &c, .guards = guards, .guard_count = 1 },
                                    { .name = "off", .a = &zero, .c = &c, .guards = guards + 1, .guard_count = 1 } };
    struct dw_modes *modes = new_modes(&(struct dw_modes_plan){ .states = 1, .inputs = 1, .outputs = 1, .modes = pair,
                                                                .mode_count = 2, .scale = unit_scale });
    struct dw_error error;
    struct dw_run *run = start_keeping(modes, 1e-3, 0, &zero, &high);
    succeeds(dw_run_feed(run, 0.7, &high, &error), error);
    near(dw_run_state(run)[0], 0.7, 2 * DBL_EPSILON);
    succeeds(dw_run_feed(run, 0.7, &low, &error), error);
    ck_assert_uint_eq(dw_run_mode(run), 1);
    within_scale(dw_run_state(run)[0], 0, 0, 1);
    succeeds(dw_run_feed(run, 1, &low, &error), error);
    succeeds(dw_run_feed(run, 2, &high, &error), error);  /* a ramp: on at 1.5 */
    within_scale(time_of(DW_ROW_BEFORE, 0), 1.5, 1e-12, 1);
    near(dw_run_state(run)[0], 0.5, 2e-12);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

START_TEST(extrema_are_rows_and_lines_between_rows_stay_within_the_accuracy)
{
    for (double accuracy = 1e-3; accuracy >= 1e-8; accuracy /= 10) {
        const double w = 2 * M_PI * 2.37, x[] = { 0.6, 0.8 };
        struct dw_modes *modes = oscillator(w, 5);
        struct dw_error error;
        struct dw_run *run = start_keeping(modes, accuracy, 0, x, NULL);
        if (accuracy < 1e-5) {  /* else the record is too long: a shorter stretch */
            succeeds(dw_run_feed(run, 0.05, NULL, &error), error);
        } else {
            succeeds(dw_run_feed(run, 1, NULL, &error), error);
            for (size_t k = 0; k < 4; k++)
                within_scale(time_of(DW_ROW_EXTREMUM, k), (atan2(0.8, 0.6) + k * M_PI) / w, 1e-12, 1);
        }
        double worst = 0;
        for (size_t i = 0; i + 1 < record.count; i++)
            for (int part = 1; part < 8; part++) {
                const double share = part / 8.0, t0 = record.rows[i].time, t1 = record.rows[i + 1].time;
                const double t = t0 + share * (t1 - t0), line = record.output[i] + share * (record.output[i + 1] - record.output[i]);
                const double off = fabs(line - cos(w * t - atan2(0.8, 0.6)));
                ck_assert(off <= accuracy);
                worst = fmax(worst, off);
            }
        ck_assert_msg(worst > 0.9 * accuracy, "rows are far denser than the accuracy %g needs: %g", accuracy, worst);
        dw_run_free(run);
        dw_modes_free(modes);
    }
}
END_TEST

START_TEST(stiff_systems_take_few_rows_with_lengths_that_repeat_and_with_lengths_that_never_do)
{
    /* two poles, 1e12 and 222 a second, the slow one driven by the fast: the output is smooth: some 20 rows a period at most */
    const double a[] = { -1e12, 21, 212, -222 }, b[] = { 1e12, 0 }, c[] = { 0, 1 }, weight[] = { 1e-9, 1e-7 }, scale[] = { 5 };
    const double start[] = { 0, 0 }, high = 5, low = 0, period = 2.04e-3;
    const struct dw_mode mode = { .name = "only", .a = a, .b = b, .c = c };
    struct dw_modes *modes = new_modes(&(struct dw_modes_plan){ .states = 2, .inputs = 1, .outputs = 1, .modes = &mode,
                                                                .mode_count = 1, .weight = weight, .scale = scale });
    for (int shaken = 0; shaken < 2; shaken++) {
        struct dw_error error;
        size_t rows = 0;
        struct dw_run *run =
            dw_run_new(modes, &(struct dw_run_options){ .accuracy = 1e-3, .sink = count_rows, .context = &rows }, &error);
        succeeds(dw_run_start(run, 0, 0, start, &high, &error), error);
        for (int k = 0; k < 200; k++) {
            const double shift = shaken ? 1e-6 * fmod(k * 0.6180339887, 1) : 0;
            const double edge = k * period + period / 4 + shift, end = (k + 1) * period + shift / 3;
            succeeds(dw_run_feed(run, edge, &high, &error), error);
            succeeds(dw_run_feed(run, edge, &low, &error), error);
            succeeds(dw_run_feed(run, end, &low, &error), error);
            succeeds(dw_run_feed(run, end, &high, &error), error);
        }
        ck_assert_uint_le(rows, 20 * 200);
        dw_run_free(run);
    }
    dw_modes_free(modes);
}
END_TEST

START_TEST(rounding_errors_beside_a_rate_of_1e13_are_not_followed)
{
    /* a coil l, r whose current i goes into a capacitance c with rc across it, which follows at 1/(rc c): L i' = -r i - v,
     * C v' = i - v/rc; after that i falls as exp(-(r + rc) t / l) but for (rc / l) rc c, which is below 1e-16 */
    const double r = 157, l = 2.05, rc = 3e-3, c = 5.6e-12, length = 6.6e-3, accuracy = 1e-4, rate = (r + rc) / l;
    const double a[] = { -r / l, -1 / l, 1 / c, -1 / (rc * c) }, weight[] = { l, c }, state[] = { 1, 0 };
    const double output[] = { 1, 0, 0, 1 / rc, 1, -1 / rc }, scale[] = { 1, 1, 1 };
    const struct dw_mode mode = { .name = "only", .a = a, .c = output };
    struct dw_modes *modes = new_modes(&(struct dw_modes_plan){ .states = 2, .outputs = 3, .modes = &mode, .mode_count = 1,
                                                                .weight = weight, .scale = scale });
    struct dw_error error;
    struct dw_run *run = start_keeping(modes, accuracy, 0, state, NULL);
    succeeds(dw_run_feed(run, length, NULL, &error), error);
    /* the fewest for a transient of 1 that dies out is 1 / sqrt(8 accuracy), each for v and the difference alike; (2.14) takes
     * 1.06 times as many, (2.15) some more where the fast part has just ended, and 3 are for the ends and the row between */
    const double slow = -expm1(-rate * length / 2) / sqrt(2 * accuracy), fast = 1 / sqrt(2 * accuracy);
    ck_assert_double_le((double)record.count, 1.1 * (slow + fast) + 3);
    for (size_t i = 0; i < record.count; i++) {
        const double t = record.rows[i].time;
        within_scale(record.output[i], exp(-rate * t), 1e-14, 1);  /* a dozen cells, and a rounded exponent of 0.5 */
        if (i > 0 && t > 1e-9)
            ck_assert_double_le(exp(-rate * record.rows[i - 1].time) * pow(rate * (t - record.rows[i - 1].time), 2) / 8,
                                1.2 * accuracy);
    }
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

START_TEST(uniform_rows_are_equally_spaced_and_exact)
{
    const double w = 17.3, x[] = { 1, 0 };
    struct dw_modes *modes = oscillator(w, 5);
    struct dw_error error;
    record.count = 0;
    struct dw_run *run =
        dw_run_new(modes, &(struct dw_run_options){ .uniform = 48, .sink = keep, .context = &record }, &error);
    succeeds(dw_run_start(run, 0, 0, x, NULL, &error), error);
    const double knots[] = { 0.013, 0.5, 0.5, 0.77, 1 };
    for (size_t i = 0; i < 5; i++)
        succeeds(dw_run_feed(run, knots[i], NULL, &error), error);
    succeeds(dw_run_finish(run, &error), error);
    ck_assert_uint_eq(record.count, 49);
    for (size_t k = 0; k < record.count; k++) {
        near(record.rows[k].time, (double)k / 48, 0);
        within_scale(record.output[k], cos(w * (double)k / 48), 64 * DBL_EPSILON, 1);  /* 17 turns of rounded angle and 6 cells */
    }
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

START_TEST(refusals_say_what_was_found)
{
    const double a = -1, x = 0, bad = NAN;
    struct dw_error error;
    struct dw_guard guard = { .state = &one, .scale = 1, .next = 4 };
    struct dw_mode mode = { .name = "only", .a = &a, .guards = &guard, .guard_count = 1 };
    struct dw_modes_plan plan = { .states = 1, .modes = &mode, .mode_count = 1 };
    ck_assert_ptr_null(dw_modes_new(&plan, &error));
    ck_assert_str_eq(error.text, "mode 'only', guard 1: next mode 5 of 1");
    guard.next = 0;
    guard.scale = 0;
    ck_assert_ptr_null(dw_modes_new(&plan, &error));
    ck_assert_str_eq(error.text, "mode 'only', guard 1: scale 0: must be above zero and finite");
    guard.scale = 1;
    guard.state = &bad;
    ck_assert_ptr_null(dw_modes_new(&plan, &error));
    ck_assert_str_eq(error.text, "mode 'only', guard 1: an entry is not finite");
    mode.guard_count = 17;
    ck_assert_ptr_null(dw_modes_new(&plan, &error));
    ck_assert_str_eq(error.text, "mode 'only' has 17 guards: up to 16");
    mode.guard_count = 0;
    plan.outputs = 1;
    ck_assert_ptr_null(dw_modes_new(&plan, &error));
    ck_assert_str_eq(error.text, "output 1: a natural scale of nan: expected from 1e-100 to 1e+100");
    plan.outputs = plan.mode_count = 0;
    ck_assert_ptr_null(dw_modes_new(&plan, &error));
    ck_assert_str_eq(error.text, "0 modes of 1 states, 0 inputs, 0 outputs: needs a mode, 1 to 32 states, up to 8 inputs, 64 outputs");
    plan.mode_count = 1;
    plan.inputs = 1;
    struct dw_modes *modes = new_modes(&plan);
    ck_assert_ptr_null(dw_run_new(modes, &(struct dw_run_options){ .accuracy = -1 }, &error));
    ck_assert_str_eq(error.text, "accuracy -1, uniform rate 0: must be finite and not below zero");
    struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ .sink = NULL }, &error);
    refuses(dw_run_start(run, INFINITY, 0, &x, &x, &error), DW_BAD_USE, error, "time inf is not finite");
    refuses(dw_run_start(run, 0, 1, &x, &x, &error), DW_BAD_USE, error, "mode 2 of 1");
    refuses(dw_run_start(run, 0, 0, &bad, &x, &error), DW_BAD_USE, error, "state 1 is not finite at the start");
    refuses(dw_run_start(run, 0, 0, &x, &bad, &error), DW_BAD_USE, error, "input 1 is not finite at 0 s");
    succeeds(dw_run_start(run, 1, 0, &x, &x, &error), error);
    refuses(dw_run_feed(run, 0.5, &x, &error), DW_BAD_USE, error, "time goes back from 1 to 0.5");
    dw_run_free(run);
    dw_modes_free(modes);
    dw_run_free(NULL);
    dw_modes_free(NULL);
}
END_TEST

SUITE("linear: modes and events", a_crossing_is_found_to_1e_minus_12_of_the_stretch_however_many_turns_it_holds,
      two_crossings_in_one_stretch_are_not_missed_however_short_the_dip,
      a_rising_input_that_starts_from_rest_hides_no_crossing, a_graze_is_no_event,
      at_an_event_the_state_that_alone_decides_is_exactly_where_its_guard_is_zero,
      stretches_with_and_without_a_crossing_may_follow_each_other_in_any_order,
      a_mode_may_follow_itself_through_a_reset, endless_switching_is_an_error_that_says_when_and_where,
      a_run_that_comes_half_way_at_once_is_judged_by_the_pace_from_there_on,
      jumps_of_the_input_change_modes_at_once_and_their_reset_applies,
      extrema_are_rows_and_lines_between_rows_stay_within_the_accuracy,
      stiff_systems_take_few_rows_with_lengths_that_repeat_and_with_lengths_that_never_do,
      rounding_errors_beside_a_rate_of_1e13_are_not_followed, uniform_rows_are_equally_spaced_and_exact, refusals_say_what_was_found)
