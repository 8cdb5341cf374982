/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The meter and the analyser over tables whose channels have slopes: waves that are cubics themselves, and laws. */
#include "measure/waves.h"
#include "suite.h"
#include <complex.h>
#include <float.h>
#include <stdlib.h>
#include <string.h>

enum { COLUMNS = 4 };  /* time, pin, out, out' */

struct table {
    struct dw_header *header;
    double *row;
    size_t count, room;
};

static void add(struct table *t, double time, double pin, double out, double slope)
{
    if (t->count == t->room) {
        t->room = 2 * t->room + 16;
        t->row = realloc(t->row, t->room * COLUMNS * sizeof *t->row);
        ck_assert(t->row);
    }
    memcpy(t->row + COLUMNS * t->count++, (double[]){ time, pin, out, slope }, COLUMNS * sizeof *t->row);
}

static struct table table_with(const char *period, const char *accuracy)
{
    struct table t = { .header = period ? header_with("period", period, NULL) : header_with(NULL, NULL) };
    struct dw_error error;
    succeeds(dw_header_append(t.header, "out", "V", &error), error);
    succeeds(dw_header_append_slope(t.header, &error), error);
    if (accuracy)
        succeeds(dw_header_set(t.header, "accuracy", accuracy, &error), error);
    return t;
}

static void table_free(struct table *t)
{
    dw_header_free(t->header);
    free(t->row);
}

static struct dw_meter *meter_over(const struct table *t, const struct dw_meter_options *options)
{
    struct dw_error error;
    struct dw_meter *meter = dw_meter_new(t->header, options, &error);
    ck_assert_msg(meter != NULL, "%s", error.text);
    for (size_t done = 0, size = 1; done < t->count; done += size, size = size % 5 + 1) {
        size = size < t->count - done ? size : t->count - done;
        succeeds(dw_meter_rows(meter, t->row + COLUMNS * done, size, &error), error);
    }
    succeeds(dw_meter_finish(meter, &error), error);
    return meter;
}

static struct dw_result of_out(const struct dw_meter *meter, enum dw_measure measure)
{
    const struct dw_result result = dw_meter_result(meter, 1, measure);
    ck_assert_msg(result.had, "%s was left out", dw_measure_name(measure));
    return result;
}

/* 3 s^2 - 2 s^3 up, and down again, each a piece: half of it is beyond 1/2, and it is flat at both ends. */
static struct table smooth_steps(double up, double high, double down, int periods, const char *accuracy)
{
    struct table t = table_with("2", accuracy);
    for (int k = 0; k < periods; k++) {
        const double at = 2.0 * k;
        add(&t, at, 3, 0, 0);
        add(&t, at + up, 3, 1, 0);
        add(&t, at + up + high, 3, 1, 0);
        add(&t, at + up + high + down, 3, 0, 0);
    }
    add(&t, 2.0 * periods, 3, 0, 0);
    return t;
}

/* s at which 3 s^2 - 2 s^3 is a tenth: cos form of the cubic's roots. */
static double tenth(void)
{
    return 0.5 - cos((acos(0.8) + M_PI) / 3);
}

START_TEST(edges_that_are_cubics_have_their_own_instants)
{
    const double up = 0.3, high = 0.5, down = 0.7, shape = 1 - 2 * tenth(), mean = (high + up / 2 + down / 2) / 2;
    within_scale(3 * pow(tenth(), 2) - 2 * pow(tenth(), 3), 0.1, DBL_EPSILON, 1);
    struct table t = smooth_steps(up, high, down, 9, "out 1e-3 0.5");
    static const struct dw_span spans[] = { { DW_SPAN_DEFAULT, 0, 0, 0 }, { DW_SPAN_LAST, 4, 0, 0 }, { DW_SPAN_ALL, 0, 0, 0 },
                                            { DW_SPAN_BETWEEN, 0, 1.13, 15.17 } };
    for (size_t k = 0; k < 4; k++) {
        struct dw_meter *meter = meter_over(&t, &(struct dw_meter_options){ .span = spans[k] });
        /* instants up to 18 s are rounded there; a place on the cubic by 4 ulp of its length */
        const double allowed = 24 * DBL_EPSILON * 18;
        ck_assert_uint_eq(dw_meter_channels(meter), 2);
        ck_assert_uint_eq(dw_meter_column(meter, 1), 2);
        within_scale(of_out(meter, DW_MEASURE_POSITIVE_TRANSITION).value, up * shape, allowed, 1);
        within_scale(of_out(meter, DW_MEASURE_NEGATIVE_TRANSITION).value, down * shape, allowed, 1);
        within_scale(of_out(meter, DW_MEASURE_DUTY).value, (high + (up + down) / 2) / 2, allowed, 1);
        within_scale(of_out(meter, DW_MEASURE_FREQUENCY).value, 0.5, allowed, 1);
        if (k < 3) {
            /* mean of a step 1/2, of its square 13/35 */
            near(of_out(meter, DW_MEASURE_MEAN).value, mean, 8 * DBL_EPSILON);
            near(of_out(meter, DW_MEASURE_AC_RMS).value, sqrt((high + (up + down) * 13 / 35) / 2 - mean * mean), 1e-14);
            ck_assert(of_out(meter, DW_MEASURE_MINIMUM).value == 0 && of_out(meter, DW_MEASURE_MAXIMUM).value == 1);
        }
        /* the table's 1e-3 V: on the wave, twice on a difference, and on instants over the slope there */
        const double steepest = 6 * tenth() * (1 - tenth());
        near(of_out(meter, DW_MEASURE_MEAN).bound, 1e-3, DBL_EPSILON);
        near(of_out(meter, DW_MEASURE_RIPPLE).bound, 2e-3, DBL_EPSILON);
        near(of_out(meter, DW_MEASURE_POSITIVE_TRANSITION).bound, 4e-3 * up / steepest, 1e-12); /* levels move, too */
        ck_assert(dw_meter_result(meter, 0, DW_MEASURE_MEAN).bound == 0);
        dw_meter_free(meter);
    }
    table_free(&t);
}
END_TEST

/* A foreign table may have rows anywhere: 4 s (1 - s) between two rows at 0 turns at 1 in the middle. */
START_TEST(curves_that_turn_between_rows_are_measured_where_they_turn)
{
    struct table t = table_with("2", NULL);
    for (int k = 0; k <= 8; k++)
        add(&t, k, 3, 0, k % 2 ? -4 : 4);
    struct dw_meter *meter = meter_over(&t, NULL);
    near(of_out(meter, DW_MEASURE_MAXIMUM).value, 1, 2 * DBL_EPSILON);
    near(of_out(meter, DW_MEASURE_MINIMUM).value, -1, 2 * DBL_EPSILON);
    within_scale(of_out(meter, DW_MEASURE_MEAN).value, 0, DBL_EPSILON, 1);
    near(of_out(meter, DW_MEASURE_AC_RMS).value, sqrt(8 / 15.0), 4 * DBL_EPSILON);
    near(of_out(meter, DW_MEASURE_DUTY).value, 0.5, 1e-14);
    near(of_out(meter, DW_MEASURE_FREQUENCY).value, 0.5, 1e-14);
    dw_meter_free(meter);
    /* one span, levels given: -0.8 to 0.8 of 4 s (1 - s), on either side of the row between */
    meter = meter_over(&t, &(struct dw_meter_options){ .span = { .kind = DW_SPAN_ALL }, .has_levels = true, .low = -1, .high = 1 });
    near(of_out(meter, DW_MEASURE_POSITIVE_TRANSITION).value, 1 - sqrt(0.2), 1e-14); /* twice (1 - sqrt(1 - x)) / 2 at x = 0.8 */
    dw_meter_free(meter);
    table_free(&t);
}
END_TEST

/* Without a period the value itself settles: 1 - e^-t as cubics, 32 of them, each off by h^4 / 384 at most. */
START_TEST(a_curve_without_periods_settles_where_it_enters_the_band)
{
    struct table t = table_with(NULL, "out 1e-6");
    for (int i = 0; i <= 80; i++)
        add(&t, 0.25 * i, 0, -expm1(-0.25 * i), exp(-0.25 * i));
    struct dw_meter *meter = meter_over(&t, NULL);
    const struct dw_result settling = of_out(meter, DW_MEASURE_SETTLING_TIME);
    /* off by the curve's error at 3.9 time constants over its slope there: (1/4)^4 / 384 of it; and by 1 - e^-20 for 1 */
    near(settling.value, -log(0.02), pow(0.25, 4) / 384 + 2e-8);
    near(settling.bound, 1e-6 / 0.02, 1e-4); /* the table's accuracy over the slope */
    dw_meter_free(meter);
    table_free(&t);
}
END_TEST

/* As many candidates as there is no room for: they are thinned, within what is told. */
START_TEST(thinned_curves_stay_within_their_bound)
{
    enum { ROWS = 60000 };
    struct table t = table_with(NULL, NULL);
    for (int i = 0; i <= ROWS; i++)
        add(&t, i * 5e-4, 0, -expm1(-i * 5e-4), exp(-i * 5e-4));
    for (double band = 0.3; band > 1e-4; band /= 3) {
        struct dw_meter *meter = meter_over(&t, &(struct dw_meter_options){ .band = band });
        const struct dw_result settling = of_out(meter, DW_MEASURE_SETTLING_TIME);
        ck_assert(settling.bound > 0 && settling.bound < 1e-2);
        within_scale(settling.value, -log(band), settling.bound + 1e-9, 1);
        dw_meter_free(meter);
    }
    table_free(&t);
}
END_TEST

/* A row put into a cubic anywhere changes nothing. */
START_TEST(rows_put_into_a_curve_change_no_result)
{
    struct table whole = smooth_steps(0.31, 0.47, 0.73, 7, NULL), cut = table_with("2", NULL);
    uint64_t state = 606;
    for (size_t i = 0; i < whole.count; i++) {
        const double *p = whole.row + COLUMNS * i, *q = p + COLUMNS;
        add(&cut, p[0], p[1], p[2], p[3]);
        if (i + 1 == whole.count)
            break;
        const double s = (1 + random_next(&state)) / 2, h = q[0] - p[0], rise = q[2] - p[2];
        add(&cut, p[0] + s * h, p[1], p[2] + rise * s * s * (3 - 2 * s), rise * 6 * s * (1 - s) / h);
    }
    struct dw_meter *one = meter_over(&whole, NULL), *other = meter_over(&cut, NULL);
    for (int q = 0; q <= DW_MEASURE_NEGATIVE_TRANSITION; q++) {
        const double want = of_out(one, (enum dw_measure)q).value;
        /* levels are means over bins of the histogram where nothing rests; here both rest */
        within_scale(of_out(other, (enum dw_measure)q).value, want, 1e-13, 1);
    }
    dw_meter_free(one);
    dw_meter_free(other);
    table_free(&whole);
    table_free(&cut);
}
END_TEST

START_TEST(a_share_of_the_change_bounds_by_what_the_span_and_two_periods_before_do)
{
    struct table t = table_with("1", "out 1e-2 1e-3");
    for (int k = 0; k <= 20; k++) { /* from rest over 10 V to a ripple of 1/2 V */
        const double level = k < 12 ? k : 12;
        add(&t, k, 0, level, 0);
        add(&t, k + 0.5, 0, level + 0.5, 0);
    }
    struct dw_meter *meter = meter_over(&t, NULL);
    near(of_out(meter, DW_MEASURE_RIPPLE).bound, 2 * 0.5e-3, 1e-12);
    dw_meter_free(meter);
    meter = meter_over(&t, &(struct dw_meter_options){ .span = { .kind = DW_SPAN_LAST, .periods = 7 } });
    near(of_out(meter, DW_MEASURE_RIPPLE).bound, 2 * 1.5e-3, 1e-12); /* periods 11 to 20, of 11 to 12.5 V */
    dw_meter_free(meter);
    meter = meter_over(&t, &(struct dw_meter_options){ .span = { .kind = DW_SPAN_ALL } });
    near(of_out(meter, DW_MEASURE_RIPPLE).bound, 2 * 1e-2, 1e-12); /* the first number is the lesser */
    dw_meter_free(meter);
    table_free(&t);
}
END_TEST

/* ---- spectra ---- */

static struct dw_spectrum *spectrum_over(const struct table *t, const struct dw_spectrum_options *options)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_spectrum *s = dw_spectrum_new(t->header, options, &error);
    ck_assert_msg(s != NULL, "%s", error.text);
    for (size_t at = 0, block = 1; at < t->count; at += block, block = block % 7 + 1) {
        block = block < t->count - at ? block : t->count - at;
        succeeds(dw_spectrum_rows(s, t->row + COLUMNS * at, block, &error), error);
    }
    succeeds(dw_spectrum_finish(s, &error), error);
    return s;
}

/* 4 s (1 - s) up and down again: 32 / (n pi)^3 for odd n, and nothing else (any table of Fourier series). */
START_TEST(parabolas_have_lines_that_fall_with_the_third_power)
{
    struct table t = table_with("2", "out 1e-4");
    for (int k = 0; k <= 10; k++)
        add(&t, k, 0, 0, k % 2 ? -4 : 4);
    static const struct dw_spectrum_options options[] = { { .harmonics = 2000 },
                                                          { .harmonics = 2000, .span = { DW_SPAN_LAST, 3, 0, 0 } },
                                                          { .harmonics = 5, .taper = DW_TAPER_HANN } };
    for (size_t k = 0; k < 3; k++) {
        struct dw_spectrum *s = spectrum_over(&t, &options[k]);
        ck_assert_uint_eq(dw_spectrum_channels(s), 2);
        for (size_t n = 1; n <= dw_spectrum_highest(s); n++) {
            const struct dw_line line = dw_spectrum_line(s, 1, n);
            within_scale(line.amplitude, n % 2 ? 32 / pow((double)n * M_PI, 3) : 0, 16 * DBL_EPSILON, 1);
            near(line.amplitude_bound, 1e-4 * (k < 2 ? 4 / M_PI : 2 * sqrt(1.5) * (1 + sqrt(1.5))), 1e-14);
            if (n == 1) {
                near(line.phase, -M_PI / 2, 4 * DBL_EPSILON);
                near(line.phase_bound, asin(line.amplitude_bound / line.amplitude), 1e-12);
            }
        }
        const struct dw_distortion d = dw_spectrum_distortion(s, 1);
        near(d.ac_rms, sqrt(8 / 15.0), 8 * DBL_EPSILON);
        if (k < 2) { /* 2 (8 / 15) less the square of line 1 */
            near(d.thd_all, sqrt(16 / 15.0 - pow(32 / pow(M_PI, 3), 2)) / (32 / pow(M_PI, 3)), 1e-11);
            near(d.thd_all_bound, (M_SQRT2 + d.thd_all * 4 / M_PI) * 1e-4 / (32 / pow(M_PI, 3) - 4e-4 / M_PI), 1e-9);
        }
        dw_spectrum_free(s);
    }
    table_free(&t);
}
END_TEST

/* A sine as cubics of 1/64 period each, which are h^4 / 384 off it: so small a distortion comes from the rows themselves. */
START_TEST(a_sine_of_cubics_has_next_to_no_distortion)
{
    enum { PIECES = 64 };
    const double h = 2 * M_PI / PIECES;
    struct table t = table_with("1", NULL);
    for (int i = 0; i <= 2 * PIECES; i++)
        add(&t, (double)i / PIECES, 0, sin(i * h), 2 * M_PI * cos(i * h));
    struct dw_spectrum *s = spectrum_over(&t, NULL);
    const struct dw_distortion d = dw_spectrum_distortion(s, 1);
    /* off by h^4 / 24 s^2 (1 - s)^2 of the sine's fourth derivative, itself: of that the mean (1/30) stays with the sine, the rest
     * s^2 (1 - s)^2 - 1/30 has a mean square of 1/630 - 1/900 */
    near(d.thd_all, pow(h, 4) / 24 * sqrt(1 / 630.0 - 1 / 900.0), 5e-3);  /* h^2 / 2 of it */
    ck_assert(d.has_thd_all && !d.at_most);
    dw_spectrum_free(s);
    table_free(&t);
}
END_TEST

/* One cubic over very many periods: what its parts add up to, beside the rows of all of them. */
START_TEST(periods_inside_one_curve_are_summed_as_one)
{
    enum { PERIODS = 40, LINES = 6 };
    struct table t = table_with("1", NULL), parts = table_with("1", NULL);
    const double c[] = { 2, -1, 0.05, 0.002 };
    for (int k = 0; k <= PERIODS; k++) {
        const double value = c[0] + k * (c[1] + k * (c[2] + k * c[3])), slope = c[1] + k * (2 * c[2] + 3 * k * c[3]);
        add(&parts, k, 0, value, slope);
        add(&parts, k, 0, value, slope); /* another row at the boundary */
        if (k == 0 || k == PERIODS)
            add(&t, k, 0, value, slope);
    }
    const struct dw_spectrum_options all = { .harmonics = LINES, .span = { .kind = DW_SPAN_ALL } };
    struct dw_spectrum *one = spectrum_over(&t, &all), *other = spectrum_over(&parts, &all);
    const double size = 10 * PERIODS; /* of the cubic */
    for (size_t n = 0; n <= LINES; n++) {
        within_scale(dw_spectrum_line(one, 1, n).amplitude, dw_spectrum_line(other, 1, n).amplitude, 1e-13, size);
        if (n)
            within_scale(dw_spectrum_line(one, 1, n).phase, dw_spectrum_line(other, 1, n).phase, 1e-10, 1);
    }
    ck_assert(dw_spectrum_line(other, 1, 3).amplitude > 0.1);
    dw_spectrum_free(one);
    dw_spectrum_free(other);
    table_free(&t);
    table_free(&parts);
}
END_TEST

START_TEST(a_slope_is_no_channel)
{
    struct table t = table_with("1", NULL);
    struct dw_error error;
    const size_t slope = 3;
    ck_assert(!dw_meter_new(t.header, &(struct dw_meter_options){ .column = &slope, .channels = 1 }, &error));
    refuses(error.status, DW_BAD_USE, error, "column 3 is not one of the 2 channels");
    ck_assert(!dw_spectrum_new(t.header, &(struct dw_spectrum_options){ .column = &slope, .channels = 1 }, &error));
    refuses(error.status, DW_BAD_USE, error, "column 3 is not one of the 2 channels");
    table_free(&t);
}
END_TEST

SUITE("measure: curves", edges_that_are_cubics_have_their_own_instants, curves_that_turn_between_rows_are_measured_where_they_turn,
      a_curve_without_periods_settles_where_it_enters_the_band, thinned_curves_stay_within_their_bound,
      rows_put_into_a_curve_change_no_result, a_share_of_the_change_bounds_by_what_the_span_and_two_periods_before_do,
      parabolas_have_lines_that_fall_with_the_third_power, a_sine_of_cubics_has_next_to_no_distortion,
      periods_inside_one_curve_are_summed_as_one, a_slope_is_no_channel)
