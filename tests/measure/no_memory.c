/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Memory that runs out within the library's measures: each allocation fails once, then it and all after it. */
#include "measure/spectrum_inner.h" /* a record with little room, or each of hundreds of failures takes 72 MiB of rows */
#include "failing.h"
#include "measure/waves.h"
#include "suite.h"
#include <dutywright/light.h>
#include <dutywright/sine.h>
#include <fftw3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- further allocations of the library, which the linker sends here ---- */

void *__real_realloc(void *old, size_t size);
char *__real_strdup(const char *text);
fftw_plan __real_fftw_plan_dft_r2c_1d(int count, double *in, fftw_complex *out, unsigned flags);
void *__wrap_realloc(void *old, size_t size);
char *__wrap_strdup(const char *text);
fftw_plan __wrap_fftw_plan_dft_r2c_1d(int count, double *in, fftw_complex *out, unsigned flags);

void *__wrap_realloc(void *old, size_t size)
{
    return fails() ? NULL : __real_realloc(old, size);
}

char *__wrap_strdup(const char *text)
{
    return fails() ? NULL : __real_strdup(text);
}

/* FFTW ends the process where its own memory is out; a plan that it does not make stands for a build that has none. */
fftw_plan __wrap_fftw_plan_dft_r2c_1d(int count, double *in, fftw_complex *out, unsigned flags)
{
    return fails() ? NULL : __real_fftw_plan_dft_r2c_1d(count, in, out, flags);
}

/* ---- what is tried ---- */

enum { ROWS = 3000 };
static double rows[3 * ROWS]; /* time and two channels */
static struct dw_header *header, *without_period, *curved, *curved_without_period;

/* Five periods of 1 s and a bit; the first channel rises slowly, in steps, so that much is said about it. */
static void fill(bool uniform)
{
    uint64_t state = 2718;
    for (size_t i = 0; i < ROWS; i++) {
        rows[3 * i] = i == 0 ? 0 : rows[3 * i - 3] + (uniform ? 0x1p-9 : i % 3 ? (2 + random_next(&state)) / 800 : 0);
        rows[3 * i + 1] = (double)(i / 300) + (i / 20 % 2 ? 5 : 0);
        rows[3 * i + 2] = random_next(&state);
    }
}

static enum dw_status meter(const struct dw_header *of, const struct dw_meter_options *options, struct dw_error *error)
{
    struct dw_meter *m = dw_meter_new(of, options, error);
    enum dw_status status = m ? dw_meter_rows(m, rows, ROWS, error) : error->status;
    if (status == DW_OK)
        status = dw_meter_finish(m, error);
    dw_meter_free(m);
    return status;
}

static enum dw_status meter_by_default(struct dw_error *error)
{
    return meter(header, NULL, error);
}

static enum dw_status meter_of_two_periods(struct dw_error *error)
{
    return meter(header, &(struct dw_meter_options){ .span = { .kind = DW_SPAN_LAST, .periods = 2 } }, error);
}

static enum dw_status meter_of_many_periods(struct dw_error *error)
{
    return meter(header, &(struct dw_meter_options){ .span = { .kind = DW_SPAN_LAST, .periods = 100 }, .period = 0.03 }, error);
}

static enum dw_status meter_between(struct dw_error *error)
{
    return meter(header, &(struct dw_meter_options){ .span = { .kind = DW_SPAN_BETWEEN, .from = 1.25, .to = 2.5 } }, error);
}

/* Without periods each row is one that settling may need. */
static enum dw_status meter_without_period(struct dw_error *error)
{
    return meter(without_period, NULL, error);
}

/* Without periods settling keeps each vertex of a fall: the ninth, for which there must be more room, is a row, or an instant
 * between two, where the span begins. */
static enum dw_status meter_of_a_fall(double from, struct dw_error *error)
{
    const struct dw_meter_options options = { .span = { .kind = DW_SPAN_BETWEEN, .from = from, .to = 15 } };
    struct dw_meter *m = dw_meter_new(without_period, &options, error);
    enum dw_status status = m ? DW_OK : error->status;
    for (int i = 0; i < 20 && status == DW_OK; i++)
        status = dw_meter_rows(m, (double[]){ i, -i * i, -1e200 * i }, 1, error);
    if (status == DW_OK)
        status = dw_meter_finish(m, error);
    dw_meter_free(m);
    return status;
}

static enum dw_status meter_from_a_row(struct dw_error *error)
{
    return meter_of_a_fall(8, error);
}

static enum dw_status meter_from_between_rows(struct dw_error *error)
{
    return meter_of_a_fall(7.5, error);
}

/* The second number of each row is then a slope. */
static enum dw_status meter_of_curves(struct dw_error *error)
{
    return meter(curved, NULL, error);
}

static enum dw_status meter_of_curves_without_period(struct dw_error *error)
{
    return meter(curved_without_period, NULL, error);
}

static enum dw_status analyser_of(const struct dw_header *of, const struct dw_spectrum_options *options, struct dw_error *error)
{
    struct dw_spectrum *s = dw_spectrum_new(of, options, error);
    enum dw_status status = s ? dw_spectrum_rows(s, rows, ROWS, error) : error->status;
    if (status == DW_OK)
        status = dw_spectrum_finish(s, error);
    dw_spectrum_free(s);
    return status;
}

static enum dw_status analyser(const struct dw_spectrum_options *options, struct dw_error *error)
{
    return analyser_of(header, options, error);
}

static enum dw_status spectrum_of_curves(struct dw_error *error)
{
    return analyser_of(curved, &(struct dw_spectrum_options){ .span = { .kind = DW_SPAN_LAST, .periods = 2 }, .harmonics = 300 }, error);
}

static enum dw_status spectrum_by_default(struct dw_error *error)
{
    return analyser(NULL, error);
}

static enum dw_status spectrum_of_three_periods(struct dw_error *error)
{
    return analyser(&(struct dw_spectrum_options){ .span = { .kind = DW_SPAN_LAST, .periods = 3 }, .harmonics = 900 }, error);
}

static enum dw_status spectrum_with_taper(struct dw_error *error)
{
    return analyser(&(struct dw_spectrum_options){ .taper = DW_TAPER_HANN }, error);
}

static enum dw_status finish(struct record *record, enum dw_status status, size_t lines, double *out, struct dw_error *error)
{
    if (status == DW_OK)
        status = dwi_record_finish(record, error);
    if (status == DW_OK)
        status = dwi_record_coefficients(record, lines, out, error);
    dwi_record_free(record);
    return status;
}

/* With room for some hundred rows only: sums are begun before the end, and merged. */
static enum dw_status record_with_little_room(unsigned long long last, size_t lines, struct dw_error *error)
{
    static const size_t column[] = { 1, 2 };
    static double out[2 * 2 * 901];
    const struct record_plan plan = { .columns = 3, .column = column, .channels = 2, .period = 1, .from = -INFINITY,
                                      .to = INFINITY, .last = last, .group = 2, .lines = lines, .most_bytes = 2400,
                                      .place = "it" };
    struct record *record = dwi_record_new(&plan, error);
    enum dw_status status = record ? dwi_record_rows(record, rows, ROWS, error) : error->status;
    return finish(record, status, lines, out, error);
}

static enum dw_status record_of_all(struct dw_error *error)
{
    return record_with_little_room(0, 30, error);
}

static enum dw_status record_of_the_last(struct dw_error *error)
{
    return record_with_little_room(2, 900, error);
}

/* Periods of as many rows as there is room for at first, all but the one at its end; two make a group. */
static enum dw_status record_of_sixteen_rows(struct dw_error *error)
{
    static const size_t column = 1;
    const struct record_plan plan = { .columns = 2, .column = &column, .channels = 1, .period = 15, .from = -INFINITY,
                                      .to = INFINITY, .group = 2, .lines = 3, .place = "it" };
    double out[8];
    struct record *record = dwi_record_new(&plan, error);
    enum dw_status status = record ? DW_OK : error->status;
    for (int i = 0; i < 31 && status == DW_OK; i++)
        status = dwi_record_rows(record, (double[]){ i, i % 3 }, 1, error);
    return finish(record, status, 3, out, error);
}

/* Pulses on ticks, which are summed up early; then some that are not; then a long period, if any. */
static enum dw_status record_of_periods(int pulses, int rows_after, struct dw_error *error)
{
    static const size_t column = 1;
    const struct record_plan plan = { .columns = 2, .column = &column, .channels = 1, .period = 1, .from = -INFINITY,
                                      .to = INFINITY, .lines = 3, .most_bytes = 16 * 64 * 40, .place = "it" };
    double out[8];
    struct record *record = dwi_record_new(&plan, error);
    enum dw_status status = record ? DW_OK : error->status;
    for (int i = 0; i < pulses && status == DW_OK; i++) {
        const double duty = i < 25 ? 0.25 : 1 / M_PI;
        const double pulse[] = { i, 5, i + duty, 5, i + duty, 0, i + 1, 0 };
        status = dwi_record_rows(record, pulse, 4, error);
    }
    for (int i = 1; i <= rows_after && status == DW_OK; i++)
        status = dwi_record_rows(record, (double[]){ pulses + i / (double)rows_after, i % 3 }, 1, error);
    return finish(record, status, 3, out, error);
}

static enum dw_status record_of_pulses(struct dw_error *error)
{
    return record_of_periods(60, 4000, error);
}

static enum dw_status record_that_ends_off_its_ticks(struct dw_error *error)
{
    return record_of_periods(27, 0, error);
}

static enum dw_status record_of_ticks_and_a_long_period(struct dw_error *error)
{
    return record_of_periods(25, 4000, error);
}

static enum dw_status record_of_rows_and_a_long_period(struct dw_error *error)
{
    return record_of_periods(5, 4000, error);
}

static enum dw_status arrays(size_t lines, bool curves, struct dw_error *error)
{
    static double time[ROWS], value[2 * ROWS], out[2 * 2 * 2001], mean[2];
    struct dw_statistics statistics[2];
    for (size_t i = 0; i < ROWS; i++) {
        time[i] = rows[3 * i];
        value[2 * i] = rows[3 * i + 1];
        value[2 * i + 1] = rows[3 * i + 2];
    }
    const struct dw_wave wave = { .time = time, .value = value, .slope = curves ? value : NULL, .rows = ROWS, .channels = 2 };
    enum dw_status status = dw_mean(&wave, mean, error);
    if (status == DW_OK)
        status = dw_statistics(&wave, statistics, error);
    if (status == DW_OK)
        status = dw_fourier(&wave, lines, out, error);
    return status;
}

static enum dw_status arrays_and_few_lines(struct dw_error *error)
{
    return arrays(40, false, error);
}

static enum dw_status arrays_and_many_lines(struct dw_error *error)
{
    return arrays(2000, false, error);
}

static enum dw_status arrays_of_curves(struct dw_error *error)
{
    return arrays(40, true, error);
}

static enum dw_status arrays_of_curves_and_many_lines(struct dw_error *error)
{
    return arrays(2000, true, error);
}

static enum dw_status sine_of_samples(struct dw_error *error)
{
    static double value[ROWS], line[2 * 4];
    struct dw_sine sine;
    for (size_t i = 0; i < ROWS; i++)
        value[i] = cos(0.1 * (double)i) + rows[3 * i + 2] / 8;
    return dw_sine_fit(&(struct dw_samples){ .value = value, .count = ROWS, .pitch = 1, .rate = 512 }, 0, 3, line, &sine, error);
}

static enum dw_status spectrum_of_samples(struct dw_error *error)
{
    return analyser_of(without_period, &(struct dw_spectrum_options){ .fundamental = 12.8, .harmonics = 3 }, error);
}

static enum dw_status spectrum_of_a_tone(struct dw_error *error)
{
    return analyser_of(without_period, NULL, error);
}

/* One edge; a record whose values are further apart than numbers go; one that nears its end slowly: each note takes memory. */
static enum dw_status meter_of_a_course(int course, struct dw_error *error)
{
    struct dw_meter *m = dw_meter_new(header, &(struct dw_meter_options){ .span = { .kind = DW_SPAN_ALL } }, error);
    enum dw_status status = m ? DW_OK : error->status;
    for (int i = 0; i < 400 && status == DW_OK; i++) {
        const double value[] = { i < 200 ? 0 : 5, i % 2 ? 1.7e308 : -1.7e308, -0.1 * expm1(-i / 64.0) };
        status = dw_meter_rows(m, (double[]){ i / 8.0, value[course], 0 }, 1, error);
    }
    if (status == DW_OK)
        status = dw_meter_finish(m, error);
    dw_meter_free(m);
    return status;
}

static enum dw_status meter_of_one_edge(struct dw_error *error)
{
    return meter_of_a_course(0, error);
}

static enum dw_status meter_of_values_far_apart(struct dw_error *error)
{
    return meter_of_a_course(1, error);
}

static enum dw_status meter_of_a_slow_rise(struct dw_error *error)
{
    return meter_of_a_course(2, error);
}

static enum dw_status light_of_a_period(struct dw_error *error)
{
    struct dw_light light;
    struct dw_light_meter *m = dw_light_meter_new(&(struct dw_light_plan){ .period = 0.01, .place = "it" }, error);
    enum dw_status status = m ? DW_OK : error->status;
    for (int i = 0; i <= 80 && status == DW_OK; i++)
        status = dw_light_meter_row(m, (const double[DW_LIGHT_COLUMNS]){ i * 1e-3 / 4, i % 7, 0, i % 5, 0 }, error);
    if (status == DW_OK)
        status = dw_light_meter_finish(m, &light, error);
    dw_light_meter_free(m);
    return status;
}

static enum dw_status settling_of_means(struct dw_error *error)
{
    static double time[ROWS], mean[ROWS];
    const struct dw_settling_rule rule = { .band = 0.02, .range = 1 };
    struct dw_settling found;
    for (size_t i = 0; i < ROWS; i++) {
        time[i] = (double)i;
        mean[i] = i % 2 ? (double)i : -(double)i;
    }
    return dw_settling_from_means(time, mean, ROWS, &rule, &found, error);
}

START_TEST(wherever_memory_runs_out_the_measure_says_so)
{
    static const struct {
        const char *name;
        enum dw_status (*measure)(struct dw_error *error);
        bool uniform;
    } cases[] = { { "the meter", meter_by_default, false },
                  { "the meter over two periods", meter_of_two_periods, false },
                  { "the meter over many periods", meter_of_many_periods, false },
                  { "the meter between two times", meter_between, false },
                  { "the meter without a period", meter_without_period, false },
                  { "the meter from a row on", meter_from_a_row, false },
                  { "the meter from between two rows on", meter_from_between_rows, false },
                  { "the analyser", spectrum_by_default, false },
                  { "the analyser of samples", spectrum_by_default, true },
                  { "the analyser over three periods", spectrum_of_three_periods, false },
                  { "the analyser with a taper", spectrum_with_taper, false },
                  { "a record with little room", record_of_all, false },
                  { "the last of a record with little room", record_of_the_last, false },
                  { "a record of sixteen rows", record_of_sixteen_rows, false },
                  { "a record of pulses", record_of_pulses, false },
                  { "a record that ends off its ticks", record_that_ends_off_its_ticks, false },
                  { "a record of ticks and a long period", record_of_ticks_and_a_long_period, false },
                  { "a record of rows and a long period", record_of_rows_and_a_long_period, false },
                  { "arrays", arrays_and_few_lines, false },
                  { "arrays, many lines", arrays_and_many_lines, false },
                  { "the meter of curves", meter_of_curves, false },
                  { "the meter of curves without a period", meter_of_curves_without_period, false },
                  { "the analyser of curves", spectrum_of_curves, false },
                  { "arrays of curves", arrays_of_curves, false },
                  { "arrays of curves, many lines", arrays_of_curves_and_many_lines, false },
                  { "arrays of samples", arrays_and_few_lines, true },
                  { "the meter of samples", meter_without_period, true },
                  { "a sine", sine_of_samples, true },
                  { "the analyser of sampled rows", spectrum_of_samples, true },
                  { "the analyser of a tone", spectrum_of_a_tone, true },
                  { "the meter of an edge", meter_of_one_edge, false },
                  { "the meter of values far apart", meter_of_values_far_apart, false },
                  { "the meter of a slow rise", meter_of_a_slow_rise, false },
                  { "light", light_of_a_period, true },
                  { "settling", settling_of_means, false } };
    struct dw_error error;
    header = header_with("period", "1", "levels", "0 5", "accuracy", "pin 1e-3", NULL);
    curved = dw_header_copy(header, &error);
    ck_assert_ptr_nonnull(curved);
    succeeds(dw_header_append_slope(curved, &error), error);
    curved_without_period = dw_header_copy(curved, &error);
    ck_assert_ptr_nonnull(curved_without_period);
    dw_header_drop(curved_without_period, "period");
    succeeds(dw_header_append(header, "out", "V", &error), error);
    without_period = dw_header_copy(header, &error);
    ck_assert_ptr_nonnull(without_period);
    dw_header_drop(without_period, "period");
    dw_header_drop(without_period, "levels");
    succeeds(dw_header_set(without_period, "sampled", "512", &error), error);
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++)
        for (int all_after = 0; all_after < 2; all_after++) {
            size_t n = 0;
            fill(cases[k].uniform);
            do {
                watch_allocations(++n, all_after);
                error = (struct dw_error){ .status = DW_OK };
                const enum dw_status status = cases[k].measure(&error);
                allocations.watched = false;
                if (allocations.seen < n) {
                    ck_assert_msg(status == DW_OK, "%s: %s", cases[k].name, error.text);
                    break;
                }
                ck_assert_msg(status == DW_NO_MEMORY && error.status == DW_NO_MEMORY && strstr(error.text, "out of memory"),
                              "%s, allocation %zu: status %d, '%s'", cases[k].name, n, (int)status, error.text);
            } while (n < 10000);
            ck_assert_msg(n > 2 && n < 10000, "%s: %zu allocations", cases[k].name, n);
        }
    dw_header_free(header);
    dw_header_free(without_period);
    dw_header_free(curved);
    dw_header_free(curved_without_period);
}
END_TEST

/* More than any address reaches is not asked of the system; all but the first allocation fail here anyhow. */
START_TEST(sums_beyond_all_addresses_are_refused)
{
    static const size_t channels[] = { (size_t)-1 / 32, (size_t)-1 / 256 };
    for (size_t k = 0; k < 2; k++) {
        const struct fourier_rows wide = { .channels = channels[k] };
        const struct fourier_way way = { .direct = false };
        struct dw_error error = { .status = DW_OK };
        char text[DW_ERROR_TEXT];
        snprintf(text, sizeof text, "out of memory for 16 lines of %zu channels", channels[k]);
        watch_allocations(2, true);
        const enum dw_status status = dwi_fourier_by(&way, &wide, 16, NULL, &error);
        allocations.watched = false;
        ck_assert(status == DW_NO_MEMORY && error.status == DW_NO_MEMORY);
        ck_assert_str_eq(error.text, text);
    }
}
END_TEST

SUITE("measure: no memory", wherever_memory_runs_out_the_measure_says_so, sums_beyond_all_addresses_are_refused)
