/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the meter makes of a stream of rows, against whole arrays, brute force in long double, and closed forms. */
#include "measure/waves.h"
#include "suite.h"
#include <float.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Lines and jumps at crooked times, none of them at a boundary. */
static struct wave random_wave(uint64_t seed, size_t rows)
{
    struct wave wave = { 0 };
    double at = 0.3 + random_next(&seed);
    for (size_t i = 0; i < rows; i++) {
        if (random_next(&seed) > -0.4)
            at += exp(3 * random_next(&seed));
        wave_add(&wave, at, 7 + 2 * random_next(&seed));
    }
    return wave;
}

struct truth {
    long double mean, ac_rms, minimum, maximum;
};

/* From one instant to another, by cutting every line there. */
static struct truth truth_between(const struct wave *wave, double from, double to)
{
    struct truth t = { 0, 0, INFINITY, -INFINITY };
    long double area = 0, square = 0;
    const long double shift = 7;
    for (size_t i = 1; i < wave->count; i++) {
        const double *p = wave->row + 2 * i - 2, *q = p + 2;
        if (!(q[0] > p[0]) || q[0] <= from || p[0] >= to)
            continue;
        const long double slope = ((long double)q[1] - p[1]) / ((long double)q[0] - p[0]);
        const long double start = p[0] < from ? from : p[0], end = q[0] > to ? to : q[0], h = end - start;
        const long double a = p[1] + slope * (start - p[0]), b = p[1] + slope * (end - p[0]);
        area += h * (a - shift + b - shift) / 2;
        square += h * ((a - shift) * (a - shift) + (a - shift) * (b - shift) + (b - shift) * (b - shift)) / 3;
        t.minimum = fminl(t.minimum, fminl(a, b));
        t.maximum = fmaxl(t.maximum, fmaxl(a, b));
    }
    for (size_t i = 1; i + 1 < wave->count; i++) { /* between rows of a jump */
        const double *p = wave->row + 2 * i;
        if (p[-2] == p[0] && p[0] == p[2] && p[0] >= from && p[0] < to) {
            t.minimum = fminl(t.minimum, p[1]);
            t.maximum = fmaxl(t.maximum, p[1]);
        }
    }
    const long double span = (long double)to - from;
    t.mean = shift + area / span;
    t.ac_rms = sqrtl(square / span - area * area / span / span);
    return t;
}

static void check(const struct dw_meter *meter, struct truth want)
{
    /* a cut value is rounded at the value's ulp over a slope of up to 4 / exp(-3); sums as in dw_mean */
    near(measured(meter, DW_MEASURE_MEAN), (double)want.mean, 16 * DBL_EPSILON);
    near(measured(meter, DW_MEASURE_AC_RMS), (double)want.ac_rms, 1e-12);
    near(measured(meter, DW_MEASURE_RMS), (double)hypotl(want.mean, want.ac_rms), 16 * DBL_EPSILON);
    near(measured(meter, DW_MEASURE_MINIMUM), (double)want.minimum, 1e-13);
    near(measured(meter, DW_MEASURE_MAXIMUM), (double)want.maximum, 1e-13);
    near(measured(meter, DW_MEASURE_RIPPLE), (double)(want.maximum - want.minimum), 1e-12);
}

START_TEST(a_stream_without_periods_equals_the_whole_array_to_the_bit)
{
    struct wave wave = random_wave(12, 3000);
    double *time = malloc(wave.count * sizeof *time), *value = malloc(wave.count * sizeof *value);
    ck_assert(time && value);
    for (size_t i = 0; i < wave.count; i++) {
        time[i] = wave.row[2 * i];
        value[i] = wave.row[2 * i + 1];
    }
    struct dw_statistics whole;
    struct dw_error error;
    succeeds(dw_statistics(&(struct dw_wave){ .time = time, .value = value, .rows = wave.count, .channels = 1 }, &whole, &error), error);
    struct dw_header *header = header_with(NULL, NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    ck_assert(measured(meter, DW_MEASURE_MEAN) == whole.mean && measured(meter, DW_MEASURE_RMS) == whole.rms);
    ck_assert(measured(meter, DW_MEASURE_AC_RMS) == whole.ac_rms);
    ck_assert(measured(meter, DW_MEASURE_MINIMUM) == whole.minimum && measured(meter, DW_MEASURE_MAXIMUM) == whole.maximum);
    dw_meter_free(meter);
    dw_header_free(header);
    free(time);
    free(value);
    wave_free(&wave);
}
END_TEST

START_TEST(spans_of_random_waves_agree_with_long_double)
{
    for (uint64_t seed = 300; seed < 312; seed++) {
        struct wave wave = random_wave(seed, 2000);
        const double first = wave.row[0], last = wave.row[2 * wave.count - 2];
        uint64_t more = seed;
        const double period = (last - first) / (6 + 100 * fabs(random_next(&more))), origin = 5 * random_next(&more);
        char text[2][DW_NUMBER_SIZE];
        dw_number_print(text[0], period);
        dw_number_print(text[1], origin);
        struct dw_header *header = header_with("period", text[0], "origin", text[1], NULL);
        const double k = floor((last - origin) / period);
        for (unsigned n = 1; n < 6; n++) {
            struct dw_meter *meter = meter_of(header, &(struct dw_meter_options){ .span = { DW_SPAN_LAST, n, 0, 0 } }, &wave);
            check(meter, truth_between(&wave, fma(k - n, period, origin), fma(k, period, origin)));
            dw_meter_free(meter);
        }
        struct dw_meter *meter = meter_of(header, &(struct dw_meter_options){ .span = { .kind = DW_SPAN_ALL } }, &wave);
        check(meter, truth_between(&wave, first, last));
        dw_meter_free(meter);
        const double a = first + (last - first) * fabs(random_next(&more)) / 2, b = last - (last - a) * fabs(random_next(&more));
        meter = meter_of(header, &(struct dw_meter_options){ .span = { DW_SPAN_BETWEEN, 0, a, b } }, &wave);
        check(meter, truth_between(&wave, a, b));
        dw_meter_free(meter);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

/* mean = share of the first part's mean, and the mean squares about it likewise: theory, equation 4.5. */
START_TEST(two_parts_of_a_record_make_the_whole)
{
    struct wave wave = random_wave(55, 1500);
    const double first = wave.row[0], last = wave.row[2 * wave.count - 2], at = first + 0.37 * (last - first);
    struct dw_header *header = header_with(NULL, NULL);
    const struct dw_span spans[] = { { DW_SPAN_BETWEEN, 0, -INFINITY, at }, { DW_SPAN_BETWEEN, 0, at, INFINITY }, { .kind = DW_SPAN_ALL } };
    double mean[3], square[3];
    for (int i = 0; i < 3; i++) {
        struct dw_meter *meter = meter_of(header, &(struct dw_meter_options){ .span = spans[i] }, &wave);
        mean[i] = measured(meter, DW_MEASURE_MEAN);
        square[i] = pow(measured(meter, DW_MEASURE_AC_RMS), 2);
        dw_meter_free(meter);
    }
    const double one = (at - first) / (last - first), other = 1 - one;
    near(mean[2], one * mean[0] + other * mean[1], 16 * DBL_EPSILON);
    near(square[2], one * square[0] + other * square[1] + one * other * pow(mean[0] - mean[1], 2), 1e-13);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* Only what lies between the jumps at both ends counts; between rows of a jump count for the period that begins there. */
START_TEST(periods_are_half_open)
{
    static const double rows[][2] = { { 0, -50 }, { 0, 1 }, { 1, 2 }, { 1, 9 }, { 1, -7 }, { 1, 8 }, { 1, 3 }, { 2, 4 }, { 2, 60 } };
    struct wave wave = { 0 };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        wave_add(&wave, rows[i][0], rows[i][1]);
    struct dw_header *header = header_with("period", "1", NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    ck_assert(measured(meter, DW_MEASURE_MINIMUM) == -7 && measured(meter, DW_MEASURE_MAXIMUM) == 9);
    near(measured(meter, DW_MEASURE_MEAN), 3.5, DBL_EPSILON);
    dw_meter_free(meter);
    meter = meter_of(header, &(struct dw_meter_options){ .span = { DW_SPAN_LAST, 2, 0, 0 } }, &wave);
    ck_assert(measured(meter, DW_MEASURE_MINIMUM) == -7 && measured(meter, DW_MEASURE_MAXIMUM) == 9);
    near(measured(meter, DW_MEASURE_MEAN), 2.5, DBL_EPSILON);
    dw_meter_free(meter);
    meter = meter_of(header, &(struct dw_meter_options){ .span = { DW_SPAN_BETWEEN, 0, 0, 1 } }, &wave);
    ck_assert(measured(meter, DW_MEASURE_MINIMUM) == 1 && measured(meter, DW_MEASURE_MAXIMUM) == 2);
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* Times that another program rounded: rows up to 4 ulp from a boundary are on it, so the jump there is no part of either
 * period. */
START_TEST(rows_within_four_ulp_are_on_the_boundary)
{
    const double period = 0.00204;
    for (int off = -3; off <= 3; off++)
        for (int apart = 0; apart <= 1; apart++) {
            struct wave wave = { 0 };
            for (int k = 0; k <= 20; k++) {
                const double at = fma(k, period, 0), ulp = nextafter(at, INFINITY) - at;
                const double row = k ? at + off * ulp : 0;
                wave_add(&wave, row, k % 2 ? 40 : 30);                         /* where the line before ends */
                wave_add(&wave, row + (k && apart ? ulp : 0), k % 2 ? 1 : 2); /* where the next begins */
            }
            struct dw_header *header = header_with("period", "0.00204", NULL);
            struct dw_meter *meter = meter_of(header, NULL, &wave);
            ck_assert(measured(meter, DW_MEASURE_MINIMUM) == 1 && measured(meter, DW_MEASURE_MAXIMUM) == 30);
            near(measured(meter, DW_MEASURE_MEAN), 15.5, 1e-14);
            double from, to, periods;
            dw_meter_span(meter, &from, &to, &periods);
            ck_assert(periods == 1 && fabs(to - 20 * period) < 1e-15);
            dw_meter_free(meter);
            dw_header_free(header);
            wave_free(&wave);
        }
}
END_TEST

START_TEST(a_line_over_very_many_periods_takes_no_time)
{
    struct wave wave = { 0 };
    wave_add(&wave, 0, 1);
    wave_add(&wave, 1e9, 1);
    wave_add(&wave, 1e9 + 1, 3);
    struct dw_header *header = header_with("period", "1e-3", NULL);
    struct dw_meter *meter = meter_of(header, &(struct dw_meter_options){ .span = { DW_SPAN_LAST, 1002, 0, 0 } }, &wave);
    /* 1000 periods rise from 1 to 3, two before are level; boundaries are rounded to ulp(1e9) = 1.2e-7 of a second */
    near(measured(meter, DW_MEASURE_MEAN), (2 * 1000 + 2) / 1002.0, 1e-6);
    ck_assert(measured(meter, DW_MEASURE_MINIMUM) == 1);
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(what_cannot_be_measured_is_refused)
{
    static const size_t second[] = { 2 }, time[] = { 0 };
    static const struct {
        const char *key, *value;
        struct dw_meter_options options;
        enum dw_status status;
        const char *message;
    } at_new[] = {
        { NULL, NULL, { .span = { DW_SPAN_LAST, 1, 0, 0 }, .place = "tide.tsv" }, DW_BAD_INPUT,
          "tide.tsv: the last period is wanted, but the table does not say its period" },
        { "period", "1", { .span = { DW_SPAN_LAST, 0, 0, 0 } }, DW_BAD_USE, "a span of no periods" },
        { NULL, NULL, { .period = -1 }, DW_BAD_USE, "a period of -1 s is not above zero" },
        { NULL, NULL, { .period = INFINITY }, DW_BAD_USE, "a period of inf s is not above zero" },
        { NULL, NULL, { .column = time, .channels = 1 }, DW_BAD_USE, "column 0 is not one of the 1 channels" },
        { NULL, NULL, { .column = time, .channels = 0 }, DW_BAD_INPUT, "the table: there is no channel to measure" },
        { NULL, NULL, { .band = -0.5 }, DW_BAD_USE, "a settling band of -0.5 is not between 0 and 1" },
        { NULL, NULL, { .band = 1.5 }, DW_BAD_USE, "a settling band of 1.5 is not between 0 and 1" },
        { NULL, NULL, { .has_levels = true, .low = 2, .high = 2 }, DW_BAD_USE,
          "levels 2 and 2: the low one must be below the high one" },
        { NULL, NULL, { .column = second, .channels = 1 }, DW_BAD_USE, "column 2 is not one of the 1 channels" },
    };
    for (size_t i = 0; i < sizeof at_new / sizeof at_new[0]; i++) {
        struct dw_header *header = header_with(at_new[i].key, at_new[i].value, NULL);
        struct dw_error error;
        ck_assert_ptr_null(dw_meter_new(header, &at_new[i].options, &error));
        ck_assert_str_eq(error.text, at_new[i].message);
        ck_assert_int_eq(error.status, at_new[i].status);
        ck_assert_ptr_null(dw_meter_new(header, &at_new[i].options, NULL));
        dw_header_free(header);
    }
    static const struct {
        double rows[4];
        size_t count;
        const char *period;
        struct dw_span span;
        const char *message;
    } later[] = {
        { { 0 }, 0, NULL, { 0 }, "the table: it holds no rows" },
        { { 1, 1 }, 2, NULL, { 0 }, "the table: no time passes between the first row and the last" },
        { { 1, 2, 1.5 }, 3, NULL, { 0 }, "the table, row 3: time goes back from 2 to 1.5" },
        { { 1, 2, 3 }, 3, "1", { DW_SPAN_LAST, 3, 0, 0 }, "the table: the span is the last 3 periods, but the record holds only 2" },
        { { 1, 2, 3 }, 3, "1", { DW_SPAN_LAST, 1ull << 63, 0, 0 },
          "the table: the span is the last 9223372036854775808 periods, but the record holds only 2" },
        { { 1, 2, 3 }, 3, "7", { DW_SPAN_LAST, 1, 0, 0 }, "the table: the record holds no whole period of 7 s" },
        { { 1, 2, 3 }, 3, NULL, { DW_SPAN_BETWEEN, 0, 0.5, 2 }, "the table: the span begins at 0.5 s, before the record, which begins at 1 s" },
        { { 1, 2, 3 }, 3, NULL, { DW_SPAN_BETWEEN, 0, 2, 4 }, "the table: the span ends at 4 s, but the record ends at 3 s" },
        { { 1, 2, 3 }, 3, NULL, { DW_SPAN_BETWEEN, 0, -INFINITY, 0.5 }, "the table: the span ends at 0.5 s, but the record begins at 1 s" },
        { { 1, 2, 3 }, 3, "1", { DW_SPAN_BETWEEN, 0, -INFINITY, 1 }, "the table: the span ends at 1 s, but the record begins at 1 s" },
        { { 0, 1 + 3 * DBL_EPSILON, 2 }, 3, NULL, { DW_SPAN_BETWEEN, 0, 1, 1 + DBL_EPSILON }, "the table: no time passes in the span" },
        { { 1, 2, 3 }, 3, NULL, { DW_SPAN_BETWEEN, 0, 4, 5 }, "the table: the span begins at 4 s, but the record ends at 3 s" },
        { { 1, 2, 3 }, 3, NULL, { DW_SPAN_BETWEEN, 0, 3, INFINITY }, "the table: no time passes in the span" },
        { { 0, 1e11 }, 2, "1e-6", { 0 }, "the table: a period of 1e-06 s is too short to be told apart at a time of 1e+11 s" },
        { { 1e9, 2e9 }, 2, "1e-6", { 0 }, "the table: a period of 1e-06 s is too short to be told apart at a time of 1e+09 s" },
    };
    for (size_t i = 0; i < sizeof later / sizeof later[0]; i++) {
        struct dw_header *header = header_with(later[i].period ? "period" : NULL, later[i].period, NULL);
        struct dw_error error = { .status = DW_OK };
        struct dw_meter *meter = dw_meter_new(header, &(struct dw_meter_options){ .span = later[i].span }, &error);
        ck_assert_ptr_nonnull(meter);
        enum dw_status status = DW_OK;
        for (size_t r = 0; r < later[i].count && status == DW_OK; r++)
            status = dw_meter_rows(meter, (double[]){ later[i].rows[r], 1 }, 1, &error);
        if (status == DW_OK)
            status = dw_meter_finish(meter, &error);
        ck_assert_int_eq(status, DW_BAD_INPUT);
        ck_assert_str_eq(error.text, later[i].message);
        ck_assert(left_out(meter, DW_MEASURE_MEAN));
        dw_meter_free(meter);
        dw_header_free(header);
    }
    dw_meter_free(NULL);
}
END_TEST

START_TEST(what_is_asked_too_early_or_of_nothing_is_left_out)
{
    struct wave wave = wave_pulses(0, 1, 0, 3, 0, 5, 0, 0.3, 0);
    struct dw_header *header = header_with("period", "1", "sampled", "7", NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave), *open = dw_meter_new(header, NULL, NULL);
    struct dw_meter_note note;
    struct dw_error error;
    near(measured(meter, DW_MEASURE_MEAN), 1.5, 1e-14);
    ck_assert(dw_meter_note(meter, 0, &note) && !dw_meter_note(meter, 1, &note));
    ck_assert(!dw_meter_result(meter, 1, DW_MEASURE_MEAN).had && !dw_meter_result(meter, 0, DW_MEASURES).had);
    succeeds(dw_meter_rows(open, wave.row, 3, &error), error);
    succeeds(dw_meter_rows(open, wave.row + 6, 0, &error), error); /* no rows at all are fine */
    succeeds(dw_meter_rows(open, wave.row + 6, wave.count - 3, &error), error);
    ck_assert(left_out(open, DW_MEASURE_MEAN) && !dw_meter_note(open, 0, &note));
    succeeds(dw_meter_finish(open, &error), error);
    ck_assert(measured(open, DW_MEASURE_MEAN) == measured(meter, DW_MEASURE_MEAN));
    dw_meter_free(meter);
    dw_meter_free(open);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* A line over a million periods, a part of which is asked. */
START_TEST(a_span_within_a_long_line_is_that_part_of_it)
{
    struct wave wave = { 0 };
    wave_add(&wave, 0, 0);
    wave_add(&wave, 1e6, 3);
    struct dw_header *header = header_with("period", "1", NULL);
    const struct dw_span span = { DW_SPAN_BETWEEN, 0, 0.5, 7e5 };
    struct dw_meter *meter = meter_of(header, &(struct dw_meter_options){ .span = span }, &wave);
    near(measured(meter, DW_MEASURE_MEAN), 3e-6 * (7e5 + 0.5) / 2, 4 * DBL_EPSILON);
    near(measured(meter, DW_MEASURE_RIPPLE), 3e-6 * (7e5 - 0.5), 4 * DBL_EPSILON);
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(every_measure_has_a_name_and_a_unit)
{
    for (int a = 0; a < DW_MEASURES; a++)
        for (int b = 0; b < a; b++)
            ck_assert_str_ne(dw_measure_name((enum dw_measure)a), dw_measure_name((enum dw_measure)b));
    ck_assert_str_eq(dw_measure_unit(DW_MEASURE_AC_RMS, "rad/s"), "rad/s");
    ck_assert_str_eq(dw_measure_unit(DW_MEASURE_DUTY, "V"), "1");
    ck_assert_str_eq(dw_measure_unit(DW_MEASURE_FREQUENCY, "V"), "Hz");
    ck_assert_str_eq(dw_measure_unit(DW_MEASURE_SETTLING_TIME, "V"), "s");
}
END_TEST

SUITE("measure: the meter", a_stream_without_periods_equals_the_whole_array_to_the_bit,
      spans_of_random_waves_agree_with_long_double, two_parts_of_a_record_make_the_whole, periods_are_half_open,
      rows_within_four_ulp_are_on_the_boundary, a_line_over_very_many_periods_takes_no_time,
      a_span_within_a_long_line_is_that_part_of_it, what_cannot_be_measured_is_refused,
      what_is_asked_too_early_or_of_nothing_is_left_out, every_measure_has_a_name_and_a_unit)
