/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "pulse/record.h"
#include <dutywright/table.h>
#include <float.h>

/* Crooked on purpose: no period, level or duty that hides a lost factor. */
static const struct dw_pulse_train crooked = { .period = 1 / 1612.9, .duty = 0.37, .low = -0.31, .high = 4.87, .periods = 7 };
static const enum dw_alignment alignments[] = { DW_ALIGN_LEFT, DW_ALIGN_CENTRE, DW_ALIGN_RIGHT };
static const double phases[] = { 0, 0.01, 0.25, 0.37, 0.63, 0.875, 0.999, -0.125, 3.2 };
static const double duties[] = { 0, 1e-6, 0.1, 0.37, 0.5, 64.0 / 255, 0.9, 1 - 1e-6, 1 };
enum { ALIGNMENTS = 3, PHASES = 9, DUTIES = 9 };

/* Each of two edges a period is off by an ulp of the record's end at most, the sum by one rounding a row of four a period:
 * 2 N eps + 4 N eps of the span. */
static double mean_allowed(double periods)
{
    return 6 * (periods + 1) * DBL_EPSILON;
}

START_TEST(the_mean_is_low_plus_duty_times_height_for_every_alignment_phase_and_equal_edges)
{
    static const double edges[] = { 0, 1e-5, 1e-4 };
    for (int a = 0; a < ALIGNMENTS; a++)
        for (int p = 0; p < PHASES; p++)
            for (int d = 0; d < DUTIES; d++)
                for (int e = 0; e < 3; e++) {
                    struct dw_pulse_train train = crooked;
                    train.alignment = alignments[a];
                    train.phase = phases[p];
                    train.duty = duties[d];
                    train.rise = train.fall = edges[e];
                    if (duties[d] > 0 && duties[d] < 1 && fmin(duties[d], 1 - duties[d]) * train.period < edges[e])
                        continue;
                    const struct record record = record_of(train);
                    const double height = train.high - train.low;
                    within_scale(mean_of(&record, 0), train.low + height * train.duty, mean_allowed(7), height);
                    free(record.rows);
                }
}
END_TEST

START_TEST(unequal_edges_shift_the_mean_by_half_their_difference)
{
    struct dw_pulse_train train = crooked;
    train.rise = 3e-5;
    train.fall = 1.7e-4;
    for (int a = 0; a < ALIGNMENTS; a++) {
        train.alignment = alignments[a];
        const struct record record = record_of(train);
        const double height = train.high - train.low, high_share = train.duty + (train.fall - train.rise) / 2 / train.period;
        /* aligned right, the last fall is cut off at the end, and as much of one comes in at the start */
        within_scale(mean_of(&record, 0), train.low + height * high_share, mean_allowed(7), height);
        free(record.rows);
    }
}
END_TEST

START_TEST(duty_zero_and_one_are_two_rows_of_exactly_low_and_high)
{
    for (int duty = 0; duty <= 1; duty++) {
        struct dw_pulse_train train = crooked;
        train.duty = duty;
        train.rise = train.fall = 1e-4;
        train.phase = 0.3;
        train.jitter = 1e-5;
        train.periods = 1e7;
        const struct record record = record_of(train);
        ck_assert_uint_eq(record.count, 2);
        for (size_t i = 0; i < 2; i++)
            ck_assert_double_eq(value_of(&record, i, 0), duty ? train.high : train.low);
        ck_assert_double_eq(time_of(&record, 0), 0);
        ck_assert_double_eq(time_of(&record, 1), dw_period_boundary(0, train.period, 1e7));
        free(record.rows);
    }
}
END_TEST

START_TEST(the_tables_of_the_manual_come_out_row_for_row)
{
    static const double left[][2] = { { 0, 5 }, { 0.0005, 5 }, { 0.0005, 0 }, { 0.002, 0 }, { 0.002, 5 }, { 0.0025, 5 },
                                      { 0.0025, 0 }, { 0.004, 0 } };
    const struct record record = record_of((struct dw_pulse_train){ .period = 0.002, .duty = 0.25, .high = 5, .periods = 2 });
    ck_assert_uint_eq(record.count, sizeof left / sizeof left[0]);
    for (size_t i = 0; i < record.count; i++) {
        ck_assert_double_eq(time_of(&record, i), left[i][0]);
        ck_assert_double_eq(value_of(&record, i, 0), left[i][1]);
    }
    ck_assert_double_eq(record.period, 0.002);
    free(record.rows);
}
END_TEST

START_TEST(a_triangle_needs_no_flat_rows)
{
    const struct record record = record_of(
        (struct dw_pulse_train){ .period = 0.002, .duty = 0.25, .high = 5, .periods = 3, .rise = 0.0005, .fall = 0.0015 });
    ck_assert_uint_eq(record.count, 7);
    for (size_t i = 0; i < 7; i++)
        ck_assert_double_eq(value_of(&record, i, 0), i % 2 ? 5 : 0);
    free(record.rows);
}
END_TEST

/* Where the edges lie from the start of their period. */
static void expected_edges(const struct dw_pulse_train *train, double *on, double *off)
{
    const double period = train->period, width = train->duty * period;
    *on = (train->phase - floor(train->phase)) * period;
    switch (train->alignment) {
    case DW_ALIGN_LEFT: break;
    case DW_ALIGN_CENTRE: *on += (period - width) / 2; break;
    case DW_ALIGN_RIGHT: *on += period - width; break;
    }
    *off = *on + width;
}

/* The distance is rounded once, and to its own last digit, since fma does not round k periods. */
static bool within_ulp(double got, double k, double period, double want)
{
    const double scale = fmax(got, 4 * period);
    return fabs(fma(-k, period, got) - want) <= nextafter(scale, INFINITY) - scale;
}

START_TEST(edges_do_not_drift_in_ten_million_periods)
{
    static const double periods = 1e7;
    for (int a = 0; a < ALIGNMENTS; a += 2) {
        struct dw_pulse_train train = crooked;
        train.periods = periods;
        train.alignment = alignments[a];
        train.phase = a ? 0.37 : 0;
        struct dw_error error;
        struct dw_pulse *pulse = dw_pulse_new(&train, &error);
        static double rows[2 * 4096];
        size_t count;
        double k = a ? -1 : 0;  /* a phase lets the end of pulse -1 in */
        bool on = true;
        unsigned long long wrong = 0;
        double previous = 0;
        while (dw_pulse_rows(pulse, rows, 4096, &count, &error) == DW_OK)
            for (size_t i = 0; i < count; i++) {
                const double time = rows[2 * i];
                if (time == previous)
                    continue;  /* the other side of a jump */
                previous = time;
                double on_edge = 0, off_edge = 0;
                on = rows[2 * i + 1] == train.low;  /* before the jump */
                k += on;
                if (k >= periods || time == dw_period_boundary(0, train.period, periods))
                    continue;
                expected_edges(&train, &on_edge, &off_edge);
                wrong += !within_ulp(time, k, train.period, on ? on_edge : off_edge);
                if (a == 0 && on)
                    wrong += time != dw_period_boundary(0, train.period, k);
            }
        ck_assert_uint_eq(wrong, 0);
        ck_assert_double_ge(k, periods - 1);
        ck_assert_double_eq(previous, dw_period_boundary(0, train.period, periods));
        dw_pulse_free(pulse);
    }
}
END_TEST

START_TEST(a_phase_moves_the_pulses_and_not_the_periods)
{
    for (int p = 1; p < PHASES; p++) {
        struct dw_pulse_train train = crooked;
        train.rise = 1e-5, train.fall = 2e-5;
        const struct record still = record_of(train);
        train.phase = phases[p];
        const struct record moved = record_of(train);
        const double half = (train.high + train.low) / 2, shift = (train.phase - floor(train.phase)) * train.period;
        double still_at[16], moved_at[16];
        const size_t n = crossings_of(&still, 0, half, false, still_at, 16);
        const size_t m = crossings_of(&moved, 0, half, false, moved_at, 16);
        ck_assert_double_eq(moved.period, train.period);
        ck_assert_double_eq(moved.origin, 0);
        ck_assert_double_eq(time_of(&moved, 0), 0);
        ck_assert_uint_eq(n, 7);
        ck_assert_uint_ge(m, 7);  /* 0.999 lets a fall in at either end */
        const bool carried = moved_at[0] < still_at[0];  /* pulse -1 */
        for (size_t i = 0; i < 6; i++)
            within_scale(moved_at[i + carried], still_at[i] + shift, 4 * DBL_EPSILON, 7 * train.period);
        free(still.rows);
        free(moved.rows);
    }
}
END_TEST

START_TEST(a_fall_that_the_phase_cuts_goes_on_at_the_start)
{
    struct dw_pulse_train train = { .period = 1, .duty = 0.5, .high = 4, .periods = 2, .fall = 0.25, .phase = 0.375 };
    const struct record record = record_of(train);
    /* pulse -1 is on from -0.625 to -0.125 and is half way down at 0 */
    static const double rows[][2] = { { 0, 2 }, { 0.125, 0 }, { 0.375, 0 }, { 0.375, 4 }, { 0.875, 4 }, { 1.125, 0 },
                                      { 1.375, 0 }, { 1.375, 4 }, { 1.875, 4 }, { 2, 2 } };
    ck_assert_uint_eq(record.count, 10);
    for (size_t i = 0; i < 10; i++) {
        ck_assert_double_eq(time_of(&record, i), rows[i][0]);
        ck_assert_double_eq(value_of(&record, i, 0), rows[i][1]);
    }
    free(record.rows);
}
END_TEST

START_TEST(an_edge_at_the_origin_but_for_rounding_is_at_the_origin)
{
    static const double shares[] = { 0.63, 0.3, 0.9, 1 - 1.0 / 3, 0.7, 0.02 };  /* the last is off by an ulp */
    for (int i = 0; i < 6; i++) {
        struct dw_pulse_train train = crooked;  /* pulse -1 ends at 0, give or take an ulp of the period */
        train.phase = shares[i];
        train.duty = 1 - shares[i];
        train.fall = 1e-5;
        const struct record record = record_of(train);
        ck_assert_double_eq(time_of(&record, 0), 0);
        ck_assert_double_eq(value_of(&record, 0, 0), train.high);
        ck_assert_double_eq(time_of(&record, 1), train.fall);
        ck_assert_double_eq(value_of(&record, 1, 0), train.low);
        ck_assert_double_eq(value_of(&record, record.count - 1, 0), train.high);  /* and pulse 6 at the end */
        free(record.rows);
    }
}
END_TEST

START_TEST(edges_that_take_all_the_room_reach_their_levels_however_late)
{
    static const double shares[] = { 0.1, 0.37, 1.0 / 3, 0.7 };
    for (int i = 0; i < 4; i++) {
        struct dw_pulse_train train = crooked;
        train.periods = 20000;
        train.duty = shares[i];
        train.rise = train.duty * train.period;
        train.fall = train.period - train.rise;
        const struct record record = record_of(train);
        ck_assert_uint_eq(record.count, 2 * 20000 + 1);  /* a triangle */
        for (size_t row = 0; row < record.count; row++)
            ck_assert_double_eq(value_of(&record, row, 0), row % 2 ? train.high : train.low);
        ck_assert_uint_eq(record.findings.partial, 0);
        free(record.rows);
    }
}
END_TEST

START_TEST(a_density_that_is_no_ratio_never_repeats)
{
    const struct record record = record_of((struct dw_pulse_train){ .period = 0.25, .duty = 0x1p-54, .high = 5, .periods = 7,
                                                                    .modulation = DW_DENSITY });
    ck_assert_double_eq(record.period, 0);
    ck_assert_double_eq(record.findings.end, 1.75);
    for (size_t row = 0; row < record.count; row++) /* its first clock is the one that is on, as with any density */
        ck_assert_double_eq(value_of(&record, row, 0), row < 2 ? 5 : 0);
    ck_assert_double_eq(time_of(&record, 1), 0.25);
    free(record.rows);
}
END_TEST

START_TEST(steps_round_the_duty)
{
    struct dw_pulse_train train = crooked;
    train.steps = 255;
    const struct record record = record_of(train);
    within_scale(mean_of(&record, 0), train.low + (train.high - train.low) * 94 / 255, mean_allowed(7),
                 train.high - train.low);
    free(record.rows);
}
END_TEST

START_TEST(dead_time_shortens_both_channels_by_itself)
{
    static const double dead_times[] = { 0, 1e-6, 1e-4 };
    for (int a = 0; a < ALIGNMENTS; a++)
        for (int p = 0; p < PHASES; p++)
            for (int t = 0; t < 3; t++) {
                struct dw_pulse_train train = crooked;
                train.alignment = alignments[a];
                train.phase = phases[p];
                train.complement = true;
                train.dead_time = dead_times[t];
                const struct record record = record_of(train);
                const double height = train.high - train.low, dead = train.dead_time / train.period;
                ck_assert_uint_eq(record.width, 3);
                within_scale(mean_of(&record, 0), train.low + height * (train.duty - dead), mean_allowed(14), height);
                within_scale(mean_of(&record, 1), train.low + height * (1 - train.duty - dead), mean_allowed(14), height);
                for (size_t i = 0; i < record.count; i++)
                    ck_assert(value_of(&record, i, 0) == train.low || value_of(&record, i, 1) == train.low);
                ck_assert_uint_eq(record.findings.closed, 0);
                free(record.rows);
            }
}
END_TEST

START_TEST(the_two_channels_are_never_both_on_and_both_off_for_the_dead_time)
{
    struct dw_pulse_train train = crooked;
    train.complement = true;
    train.dead_time = 7.3e-5;
    train.rise = 2e-5, train.fall = 3e-5;
    const struct record record = record_of(train);
    const double half = (train.high + train.low) / 2;
    double off[8], on[8];
    ck_assert_uint_eq(crossings_of(&record, 0, half, false, off, 8), 7);
    ck_assert_uint_eq(crossings_of(&record, 1, half, true, on, 8), 7);
    for (int k = 0; k < 7; k++)  /* from half a fall after turn-off to half a rise after the delayed turn-on */
        within_scale(on[k] - off[k], train.dead_time + (train.rise - train.fall) / 2, 4 * DBL_EPSILON, 7 * train.period);
    free(record.rows);
}
END_TEST

START_TEST(a_pulse_shorter_than_the_dead_time_stays_off_and_is_counted)
{
    struct dw_pulse_train train = crooked;
    train.complement = true;
    train.duty = 0.03;
    train.dead_time = 0.03 * train.period;  /* exactly nothing left */
    struct record record = record_of(train);
    for (size_t i = 0; i < record.count; i++)
        ck_assert_double_eq(value_of(&record, i, 0), train.low);
    ck_assert_uint_eq(record.findings.closed, 7);
    free(record.rows);
    train.duty = 0.98;
    record = record_of(train);
    for (size_t i = 0; i < record.count; i++)
        ck_assert_double_eq(value_of(&record, i, 1), train.low);
    ck_assert_uint_eq(record.findings.closed, 7);  /* pauses 0 to 6; that of period -1 lies before the record */
    free(record.rows);
}
END_TEST

START_TEST(at_duty_zero_and_one_the_other_channel_is_the_constant_one)
{
    for (int duty = 0; duty <= 1; duty++) {
        struct dw_pulse_train train = crooked;
        train.complement = true;
        train.dead_time = 1e-5;
        train.duty = duty;
        const struct record record = record_of(train);
        ck_assert_uint_eq(record.count, 2);
        for (size_t i = 0; i < 2; i++) {
            ck_assert_double_eq(value_of(&record, i, 0), duty ? train.high : train.low);
            ck_assert_double_eq(value_of(&record, i, 1), duty ? train.low : train.high);
        }
        free(record.rows);
    }
}
END_TEST

START_TEST(the_record_ends_where_it_is_told_even_within_an_edge)
{
    struct dw_pulse_train train = { .period = 1, .duty = 0.5, .high = 4, .duration = 1.0625, .rise = 0.125 };
    struct record record = record_of(train);
    ck_assert_double_eq(time_of(&record, record.count - 1), 1.0625);
    ck_assert_double_eq(value_of(&record, record.count - 1, 0), 2);
    ck_assert_double_eq(record.findings.end, 1.0625);
    free(record.rows);
    train.duration = 0;
    train.periods = 2.5;  /* before the jump */
    train.rise = 0;
    record = record_of(train);
    ck_assert_double_eq(time_of(&record, record.count - 1), 2.5);
    ck_assert_double_eq(value_of(&record, record.count - 1, 0), 4);
    free(record.rows);
}
END_TEST

SUITE("pulse: train", the_mean_is_low_plus_duty_times_height_for_every_alignment_phase_and_equal_edges,
      unequal_edges_shift_the_mean_by_half_their_difference, duty_zero_and_one_are_two_rows_of_exactly_low_and_high,
      the_tables_of_the_manual_come_out_row_for_row, a_triangle_needs_no_flat_rows,
      edges_do_not_drift_in_ten_million_periods, a_phase_moves_the_pulses_and_not_the_periods,
      a_fall_that_the_phase_cuts_goes_on_at_the_start, an_edge_at_the_origin_but_for_rounding_is_at_the_origin,
      edges_that_take_all_the_room_reach_their_levels_however_late, a_density_that_is_no_ratio_never_repeats,
      steps_round_the_duty, dead_time_shortens_both_channels_by_itself,
      the_two_channels_are_never_both_on_and_both_off_for_the_dead_time,
      a_pulse_shorter_than_the_dead_time_stays_off_and_is_counted,
      at_duty_zero_and_one_the_other_channel_is_the_constant_one, the_record_ends_where_it_is_told_even_within_an_edge)
