/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/measure.h>
#include <float.h>
#include <stdint.h>
#include <stdlib.h>

static struct dw_statistics of(const double *time, const double *value, size_t rows)
{
    struct dw_statistics got;
    struct dw_error error;
    succeeds(dw_statistics(&(struct dw_wave){ .time = time, .value = value, .rows = rows, .channels = 1 }, &got, &error), error);
    return got;
}

/* A pulse train of `periods`, high for `duty` of each, edges in no time or in the rows' own. */
START_TEST(ideal_pulses_have_their_closed_form)
{
    static const struct {
        double low, high, duty;
    } cases[] = { { 0, 5, 0.37 }, { 0.13, 4.87, 1.0 / 256 }, { -12, 12, 0.71 }, { 4.9999, 5, 0.5 } };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const double low = cases[i].low, high = cases[i].high, duty = cases[i].duty, rise = high - low;
        double time[40], value[40];
        for (int k = 0; k < 10; k++) {
            const double start = k * 0.00204;
            for (int r = 0; r < 4; r++) {
                time[4 * k + r] = r == 0 ? start : r == 3 ? (k + 1) * 0.00204 : start + duty * 0.00204;
                value[4 * k + r] = r < 2 ? high : low;
            }
        }
        const struct dw_statistics got = of(time, value, 40);
        /* edge instants are rounded: duty is good to ulp(0.02) / 0.002 = 2e-15 a period, so ten periods give 1e-14 */
        within_scale(got.mean, low + rise * duty, 1e-14, fmax(fabs(low), fabs(high)));
        near(got.rms, sqrt(high * high * duty + low * low * (1 - duty)), 3e-14);
        near(got.ac_rms, rise * sqrt(duty * (1 - duty)), 3e-14);
        ck_assert(got.minimum == low && got.maximum == high);
    }
}
END_TEST

START_TEST(trapezoids_and_triangles_have_their_closed_form)
{
    /* low 0.3 s, rise 0.7 s, high 1.1 s, fall 0.4 s, from -1.25 to 3.5 */
    const double time[] = { 0, 0.3, 1.0, 2.1, 2.5 }, value[] = { -1.25, -1.25, 3.5, 3.5, -1.25 };
    const double height = 4.75, mean = -1.25 + height * (1.1 + (0.7 + 0.4) / 2) / 2.5;
    const double square = height * height * (1.1 + (0.7 + 0.4) / 3) / 2.5 + 2 * -1.25 * (mean + 1.25) + 1.25 * 1.25;
    const struct dw_statistics got = of(time, value, 5);
    near(got.mean, mean, 8 * DBL_EPSILON); /* some ten roundings on each side */
    near(got.rms, sqrt(square), 16 * DBL_EPSILON);
    /* right side: a difference of squares that loses a factor square / ac^2 < 3 */
    near(got.ac_rms, sqrt(square - mean * mean), 40 * DBL_EPSILON);

    const double sides[] = { 0, 0.37, 1 }, triangle[] = { 2, 2.6, 2 };
    const struct dw_statistics three = of(sides, triangle, 3);
    near(three.mean, 2.3, 4 * DBL_EPSILON);
    near(three.ac_rms, 0.6 / sqrt(12), 16 * DBL_EPSILON);
    near(three.maximum - three.minimum, 0.6, 4 * DBL_EPSILON); /* 2.6 - 2 is exact, 2.6 is rounded */
}
END_TEST

/* Of ripple a billionth of the mean, a difference of squares would leave nothing. */
START_TEST(small_ripple_on_a_large_mean_keeps_its_digits)
{
    enum { ROWS = 2001 };
    static double time[ROWS], value[ROWS];
    const double step = 0x1p-30; /* exact on top of 5 */
    for (int i = 0; i < ROWS; i++) {
        time[i] = i * 0.00051;
        value[i] = i % 2 ? 5 + step : 5;
    }
    const struct dw_statistics got = of(time, value, ROWS);
    /* the mean is right to 4 ulp of 5 = 2e-15, which is 4e-6 of the ripple and enters ac_rms squared */
    near(got.ac_rms, step / sqrt(12), 1e-10);
    within_scale(got.mean, 5 + step / 2, 4 * DBL_EPSILON, 5);
}
END_TEST

/* Plain sums of so many equal terms would drift by 1e-12 and more. */
START_TEST(millions_of_rows_lose_no_digits)
{
    enum { LINES = 2000000 };
    double *time = malloc((LINES + 1) * sizeof *time), *value = malloc((LINES + 1) * sizeof *value);
    ck_assert(time && value);
    for (size_t i = 0; i <= LINES; i++) {
        time[i] = (double)i * 0x1p-10; /* exact */
        value[i] = i % 2 ? 3.1 : 1.7;
    }
    const struct dw_statistics got = of(time, value, LINES + 1);
    near(got.mean, (3.1 + 1.7) / 2, 2 * DBL_EPSILON);
    near(got.ac_rms, (3.1 - 1.7) / sqrt(12), 8 * DBL_EPSILON); /* 3.1 - 1.7 is rounded as in the lines */
    free(time);
    free(value);
}
END_TEST

START_TEST(between_rows_at_one_time_count_for_extremes_only)
{
    /*                      start jump     spike          end jump: neither 9 nor -9 ever lasts */
    const double time[] = { 0, 0,    1, 1, 1, 1, 2, 2 };
    const double value[] = { -9, 1,  1, 7, -3, 2, 2, 9 };
    const struct dw_statistics got = of(time, value, 8);
    near(got.mean, 1.5, 2 * DBL_EPSILON);
    near(got.ac_rms, 0.5, 2 * DBL_EPSILON);
    ck_assert(got.maximum == 7 && got.minimum == -3);
}
END_TEST

/* xorshift64*: Vigna 2016, ACM TOMS 42:30; uniform in [-1, 1) */
static double next(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return (double)(int64_t)(*state * UINT64_C(2685821657736338717)) * 0x1p-63;
}

enum { ROWS = 5000, CHANNELS = 3 };
struct record {
    double time[ROWS], value[ROWS * CHANNELS];
};

/* Crooked times with jumps, channels of different size, one with a large mean. */
static struct record *random_record(uint64_t seed)
{
    struct record *r = malloc(sizeof *r);
    ck_assert_ptr_nonnull(r);
    double at = next(&seed);
    for (size_t i = 0; i < ROWS; i++) {
        if (next(&seed) > -0.3)
            at += exp(5 * next(&seed));
        r->time[i] = at;
        r->value[3 * i] = next(&seed);
        r->value[3 * i + 1] = 1e6 + 12 * next(&seed);
        r->value[3 * i + 2] = -4.7e-9 + 1e-10 * next(&seed);
    }
    return r;
}

/* Some tools that run programs compute long double in double; the truth below is then off by a rounding a row. */
static bool long_double_is_wider(void)
{
    volatile long double one = 1, more = one + DBL_EPSILON / 64;
    return more > one;
}

START_TEST(random_records_agree_with_long_double)
{
    const double truth = long_double_is_wider() ? 0 : ROWS * DBL_EPSILON / 4;
    for (uint64_t seed = 20240; seed < 20250; seed++) {
        struct record *r = random_record(seed);
        struct dw_statistics got[CHANNELS];
        struct dw_error error;
        succeeds(dw_statistics(&(struct dw_wave){ .time = r->time, .value = r->value, .rows = ROWS, .channels = CHANNELS }, got, &error), error);
        for (size_t c = 0; c < CHANNELS; c++) {
            long double area = 0, square = 0;
            const long double shift = r->value[c], span = (long double)r->time[ROWS - 1] - r->time[0];
            for (size_t i = 1; i < ROWS; i++) {
                const long double h = (long double)r->time[i] - r->time[i - 1];
                const long double a = r->value[3 * i - 3 + c] - shift, b = r->value[3 * i + c] - shift;
                area += h * (a + b) / 2;
                square += h * (a * a + a * b + b * b) / 3;
            }
            const long double mean = area / span, ac = sqrtl(square / span - mean * mean);
            const double largest = fmax(fabs(got[c].minimum), fabs(got[c].maximum));
            within_scale(got[c].mean, (double)(shift + mean), 4 * DBL_EPSILON + truth, largest);
            near(got[c].ac_rms, (double)ac, 1e-13 + truth);
            within_scale(got[c].rms, (double)hypotl(shift + mean, ac), 6 * DBL_EPSILON + truth, largest);
        }
        free(r);
    }
}
END_TEST

START_TEST(scaling_scales_and_shifting_shifts)
{
    struct record *r = random_record(77);
    struct dw_statistics one, other;
    struct dw_error error;
    double *value = malloc(ROWS * sizeof *value);
    ck_assert_ptr_nonnull(value);
    for (size_t i = 0; i < ROWS; i++)
        value[i] = r->value[3 * i];
    succeeds(dw_statistics(&(struct dw_wave){ .time = r->time, .value = value, .rows = ROWS, .channels = 1 }, &one, &error), error);
    for (size_t i = 0; i < ROWS; i++) {
        value[i] *= -8; /* a power of two rounds nothing */
        r->time[i] *= 4;
    }
    succeeds(dw_statistics(&(struct dw_wave){ .time = r->time, .value = value, .rows = ROWS, .channels = 1 }, &other, &error), error);
    ck_assert(other.mean == -8 * one.mean && other.ac_rms == 8 * one.ac_rms && other.rms == 8 * one.rms);
    ck_assert(other.minimum == -8 * one.maximum && other.maximum == -8 * one.minimum);
    for (size_t i = 0; i < ROWS; i++)
        value[i] = value[i] / -8 + 3;
    succeeds(dw_statistics(&(struct dw_wave){ .time = r->time, .value = value, .rows = ROWS, .channels = 1 }, &other, &error), error);
    /* each value is rounded at 4, half an ulp of 4 at most */
    within_scale(other.mean, one.mean + 3, 4 * DBL_EPSILON, 4);
    near(other.ac_rms, one.ac_rms, 8 * DBL_EPSILON * 4 / one.ac_rms);
    free(value);
    free(r);
}
END_TEST

START_TEST(a_record_without_time_is_refused)
{
    static const struct {
        double time[3];
        size_t rows;
        const char *message;
    } cases[] = {
        { { 0 }, 0, "no time passes between the first row and the last" },
        { { 1 }, 1, "no time passes between the first row and the last" },
        { { 2, 2, 2 }, 3, "no time passes between the first row and the last" },
        { { 0, 0.0031, 0.0029 }, 3, "row 3: time goes back from 0.0030999999999999999 to 0.0028999999999999998" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const double value[3] = { 1, 2, 3 };
        double mean = 42;
        struct dw_error error;
        refuses(dw_mean(&(struct dw_wave){ .time = cases[i].time, .value = value, .rows = cases[i].rows, .channels = 1 }, &mean, &error),
                DW_BAD_INPUT, error, cases[i].message);
        ck_assert(mean == 42);
    }
}
END_TEST

START_TEST(mean_is_that_of_the_statistics)
{
    struct record *r = random_record(3);
    double mean[CHANNELS];
    struct dw_statistics all[CHANNELS];
    struct dw_error error;
    succeeds(dw_mean(&(struct dw_wave){ .time = r->time, .value = r->value, .rows = ROWS, .channels = CHANNELS }, mean, &error), error);
    succeeds(dw_statistics(&(struct dw_wave){ .time = r->time, .value = r->value, .rows = ROWS, .channels = CHANNELS }, all, &error), error);
    for (size_t c = 0; c < CHANNELS; c++)
        ck_assert(mean[c] == all[c].mean);
    free(r);
}
END_TEST

SUITE("measure: statistics of whole arrays", ideal_pulses_have_their_closed_form,
      trapezoids_and_triangles_have_their_closed_form, small_ripple_on_a_large_mean_keeps_its_digits,
      millions_of_rows_lose_no_digits, between_rows_at_one_time_count_for_extremes_only, random_records_agree_with_long_double,
      scaling_scales_and_shifting_shifts, a_record_without_time_is_refused, mean_is_that_of_the_statistics)
