/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "pulse/record.h"

static enum dw_status refuse_with(void *context, double *time, double *duty, struct dw_error *error)
{
    int *left = context;
    if ((*left)-- <= 0)
        return dw_error_set(error, DW_BAD_INPUT, 7, "tide.tsv, line 7: broken");
    *time = 5 - *left;
    *duty = 0.5;
    return DW_OK;
}

static struct dw_pulse_train plain(void)
{
    return (struct dw_pulse_train){ .period = 0.002, .duty = 0.25, .high = 5, .periods = 3 };
}

#define BASE .period = 0.002, .duty = 0.25, .high = 5, .periods = 3

START_TEST(impossible_trains_are_refused_with_the_numbers)
{
    static const struct {
        struct dw_pulse_train train;
        const char *text;
    } cases[] = {
        { { .duty = 0.25, .high = 5, .periods = 3 }, "a period of 0 s: it must be above zero" },
        { { .period = NAN, .high = 5, .periods = 3 }, "a period of nan s: it must be above zero" },
        { { .period = INFINITY, .high = 5, .periods = 3 }, "a period of inf s: it must be above zero" },
        { { .period = 1, .duty = 1.01, .high = 5, .periods = 3 }, "a duty of 1.01: it must be from 0 to 1" },
        { { .period = 1, .duty = -0.2, .high = 5, .periods = 3 }, "a duty of -0.2: it must be from 0 to 1" },
        { { .period = 1, .duty = NAN, .high = 5, .periods = 3 }, "a duty of nan: it must be from 0 to 1" },
        { { .period = 1, .low = 5, .high = 5, .periods = 3 }, "levels of 5 V and 5 V: low must be below high" },
        { { .period = 1, .low = 5, .high = 3.3, .periods = 3 }, "levels of 5 V and 3.3 V: low must be below high" },
        { { .period = 1, .high = NAN, .periods = 3 }, "levels of 0 V and nan V: low must be below high" },
        { { .period = 1, .low = -INFINITY, .high = 5, .periods = 3 }, "levels of -inf V and 5 V: low must be below high" },
        { { .period = 1, .high = INFINITY, .periods = 3 }, "levels of 0 V and inf V: low must be below high" },
        { { BASE, .rise = INFINITY }, "a rise of inf s: it must be zero or above" },
        { { BASE, .rise = -1e-6 }, "a rise of -1e-06 s: it must be zero or above" },
        { { BASE, .rise = NAN }, "a rise of nan s: it must be zero or above" },
        { { BASE, .fall = -1e-6 }, "a fall of -1e-06 s: it must be zero or above" },
        { { BASE, .fall = INFINITY }, "a fall of inf s: it must be zero or above" },
        { { BASE, .phase = NAN }, "a phase of nan: it must be a number" },
        { { BASE, .complement = true, .dead_time = -1e-6 }, "a dead time of -1e-06 s: it must be zero or above" },
        { { BASE, .complement = true, .dead_time = 0.002 },
          "a dead time of 2 ms: it must be shorter than the period of 2 ms" },
        { { BASE, .dead_time = 1e-5 }, "a dead time needs a complementary channel" },
        { { BASE, .jitter = -1e-6 }, "a jitter of -1e-06 s rms: it must be zero or above" },
        { { BASE, .jitter = 0.0025 }, "a jitter of 2.5 ms rms: it must be shorter than the period of 2 ms" },
        { { BASE, .jitter = INFINITY }, "a jitter of inf s rms: it must be shorter than the period of 2 ms" },
        { { BASE, .jitter = 1e20 }, "a jitter of 1.00000e+20 s rms: it must be shorter than the period of 2 ms" },
        { { BASE, .steps = 255, .modulation = DW_NATURAL },
          "natural sampling compares without steps; a counter samples regularly" },
        { { .period = 1, .high = 5, .periods = -3 }, "a record of -3 periods: it must be above zero" },
        { { .period = 1, .high = 5, .periods = INFINITY }, "a record of inf periods: it must be above zero" },
        { { .period = 1, .high = 5, .duration = INFINITY }, "a record of inf s: it must be above zero" },
        { { .period = 1, .high = 5, .duration = NAN }, "a record of nan s: it must be above zero" },
        { { .period = 1, .high = 5, .periods = 3, .duration = 2 },
          "periods and duration both set the length of the record" },
        { { .period = 1, .high = 5 }, "a record without length: periods or duration must be above zero" },
        /* no ratio of whole numbers: single clocks are on, and very many off */
        { { .period = 1, .duty = 0x1p-54, .high = 5, .periods = 3, .modulation = DW_DENSITY, .rise = 2 },
          "a rise of 2 s is longer than the pulse of 1 s" },
        { { .period = 1, .duty = 0x1p-54, .high = 5, .periods = 3, .modulation = DW_DENSITY, .fall = 0x1p55 },
          "a fall of 36.0288 Ps is longer than the pause of 18.0144 Ps" },
        { { .period = 5e307, .duty = 0.25, .high = 5, .periods = 3 },
          "times up to 1.5e+308 s in periods of 5e+307 s are beyond the range of numbers" },
        { { .period = 1e10, .duty = 0.25, .high = 5, .periods = 1e300 },
          "times up to inf s in periods of 1e+10 s are beyond the range of numbers" },
        { { BASE, .rise = 0.000501 }, "a rise of 501 us is longer than the pulse of 500 us" },
        { { BASE, .rise = 0.0005000004 }, "a rise of 0.0005000004 s is longer than the pulse of 0.0005 s" },
        { { BASE, .rise = 0.000500001 }, "a rise of 500.001 us is longer than the pulse of 500 us" },
        { { BASE, .fall = 0.0016 }, "a fall of 1.6 ms is longer than the pause of 1.5 ms" },
        { { BASE, .complement = true, .dead_time = 1e-4, .rise = 0.00041 },
          "a rise of 410 us is longer than the pulse of 400 us" },
        { { BASE, .complement = true, .dead_time = 1e-4, .fall = 0.00061 },
          "a fall of 610 us is longer than the complement's pause of 600 us" },
        { { .period = 0.002, .duty = 0.75, .high = 5, .periods = 3, .complement = true, .dead_time = 1e-4, .rise = 0.00041 },
          "a rise of 410 us is longer than the complement's pulse of 400 us" },
        { { .period = 1e-6, .duty = 0.375, .high = 5, .periods = 3, .modulation = DW_DENSITY, .rise = 1.1e-6 },
          "a rise of 1.1 us is longer than the pulse of 1 us" },
        { { .period = 1e-6, .duty = 0.2, .high = 5, .periods = 3, .modulation = DW_DENSITY, .fall = 4.1e-6 },
          "a fall of 4.1 us is longer than the pause of 4 us" },
        { { .period = 1e-6, .duty = 0.8, .high = 5, .periods = 3, .modulation = DW_DENSITY, .rise = 4.1e-6 },
          "a rise of 4.1 us is longer than the pulse of 4 us" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_error error = { .text = "untouched" };
        struct dw_pulse *pulse = dw_pulse_new(&cases[i].train, &error);
        ck_assert_msg(pulse == NULL, "case %zu is not refused", i);
        ck_assert_str_eq(error.text, cases[i].text);
        ck_assert_int_eq(error.status, DW_BAD_USE);
        ck_assert_ptr_null(dw_pulse_new(&cases[i].train, NULL));
    }
}
END_TEST

START_TEST(edges_that_just_fit_are_taken)
{
    static const struct dw_pulse_train cases[] = {
        { BASE, .rise = 0.0005, .fall = 0.0015 },
        { BASE, .complement = true, .dead_time = 1e-4, .rise = 0.0004, .fall = 0.0006 },
        { .period = 0.003, .duty = 0.1, .high = 5, .periods = 3, .rise = 0.0003, .fall = 0.0027 },
        { .period = 0.002, .duty = 0.75, .high = 5, .periods = 3, .complement = true, .dead_time = 1e-4, .fall = 0.0006 },
        { .period = 1e-6, .duty = 0.2, .high = 5, .periods = 3, .modulation = DW_DENSITY, .rise = 1e-6, .fall = 4e-6 },
        { .period = 0.002, .duty = 1, .high = 5, .periods = 3, .rise = 1, .fall = 1 },
        { .period = 0.002, .duty = 0.04, .high = 5, .periods = 3, .complement = true, .dead_time = 1e-4, .rise = 1e-3 },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct record record = record_of(cases[i]);
        ck_assert_uint_eq(record.findings.partial, 0);
        free(record.rows);
    }
}
END_TEST

START_TEST(points_that_pass_no_time_are_refused)
{
    static const double time[] = { 3, 3, 3 }, duty[] = { 0.1, 0.2, 0.3 };
    for (size_t count = 0; count <= 3; count++) {
        struct points points = { time, duty, count, 0 };
        struct dw_pulse_train train = { .period = 1, .high = 5, .points = next_point, .context = &points };
        struct dw_error error = { .status = DW_OK };
        ck_assert_ptr_null(dw_pulse_new(&train, &error));
        ck_assert_int_eq(error.status, DW_BAD_INPUT);
        ck_assert_str_eq(error.text, count ? "the duty against time ends at 3 s, where it begins"
                                           : "the duty against time has no rows");
    }
}
END_TEST

START_TEST(an_error_of_the_points_is_passed_on_unchanged)
{
    /* the points are a second apart: the error comes before, at or after the first row, in either half of a period */
    for (int modulation = DW_REGULAR; modulation <= DW_DENSITY; modulation++)
        for (int alignment = DW_ALIGN_LEFT; alignment <= DW_ALIGN_RIGHT; alignment++)
            for (int good = 0; good < 12; good++)
                for (int p = 0; p < 2; p++) {
                    int left = good;
                    struct dw_pulse_train train = { .period = p ? 3.7 : 0.4, .high = 5, .points = refuse_with, .context = &left,
                                                    .modulation = (enum dw_modulation)modulation,
                                                    .alignment = (enum dw_alignment)alignment, .phase = p * 0.7 };
                    struct dw_error error = { .status = DW_OK };
                    struct dw_pulse *pulse = dw_pulse_new(&train, &error);
                    double rows[2 * DW_PULSE_ROWS];
                    size_t count;
                    while (pulse && dw_pulse_rows(pulse, rows, DW_PULSE_ROWS, &count, &error) == DW_OK)
                        ;
                    ck_assert_int_eq(error.status, DW_BAD_INPUT);
                    ck_assert_uint_eq(error.line, 7);
                    ck_assert_str_eq(error.text, "tide.tsv, line 7: broken");
                    dw_pulse_free(pulse);
                }
}
END_TEST

START_TEST(too_little_room_and_too_late_a_record_are_refused)
{
    struct dw_pulse_train train = plain();
    struct dw_error error;
    struct dw_pulse *pulse = dw_pulse_new(&train, &error);
    double rows[2 * DW_PULSE_ROWS];
    size_t count = 9;
    refuses(dw_pulse_rows(pulse, rows, 7, &count, &error), DW_BAD_USE, error, "room for 7 rows: it must be for 8 or more");
    ck_assert_uint_eq(count, 0);
    succeeds(dw_pulse_rows(pulse, rows, 8, &count, &error), error);
    dw_pulse_free(pulse);
    static const double time[] = { 1e20, 2e20 }, duty[] = { 0.1, 0.2 };
    struct points points = { time, duty, 2, 0 };
    train.points = next_point;
    train.context = &points;
    ck_assert_ptr_null(dw_pulse_new(&train, &error));
    ck_assert_str_eq(error.text, "a record that ends at 1e+20 s, where it begins");
}
END_TEST

START_TEST(after_the_last_row_there_are_no_more)
{
    struct dw_pulse_train train = plain();
    struct dw_error error;
    struct dw_pulse *pulse = dw_pulse_new(&train, &error);
    double rows[2 * 64];
    size_t count;
    succeeds(dw_pulse_rows(pulse, rows, 64, &count, &error), error);
    ck_assert_uint_eq(count, 12);
    for (int i = 0; i < 3; i++)
        ck_assert_int_eq(dw_pulse_rows(pulse, rows, 64, &count, &error), DW_END);
    dw_pulse_free(pulse);
    dw_pulse_free(NULL);
}
END_TEST

SUITE("pulse: refusals", impossible_trains_are_refused_with_the_numbers, edges_that_just_fit_are_taken,
      points_that_pass_no_time_are_refused, an_error_of_the_points_is_passed_on_unchanged,
      too_little_room_and_too_late_a_record_are_refused, after_the_last_row_there_are_no_more)
