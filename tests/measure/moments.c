/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Mean, mean square about it and extremes of many lines at once, against long double; and steps within a fit of a sine. */
#include "measure/statistics_inner.h" /* extremes of lines taken at once, and the last digits, are part of no result */
#include "measure/waves.h"
#include "suite.h"
#include <float.h>
#include <math.h>

enum { LINES = 512, WIDTH = 3 };

/* Rows of time, something else, value. */
struct few {
    double row[(LINES + 1) * WIDTH];
    long double mean, variance;
    double low, high;
};

static void settle_truth(struct few *few)
{
    const double *row = few->row;
    const long double duration = (long double)row[LINES * WIDTH] - row[0], shift = row[2];
    few->mean = few->variance = 0;
    few->low = few->high = row[2];
    for (size_t i = 0; i < LINES; i++, row += WIDTH) {
        const long double time = (long double)row[WIDTH] - row[0], a = row[2] - shift, b = row[WIDTH + 2] - shift;
        few->mean += time * (a + b) / 2 / duration;
        few->low = fmin(few->low, row[WIDTH + 2]);
        few->high = fmax(few->high, row[WIDTH + 2]);
    }
    row = few->row;
    for (size_t i = 0; i < LINES; i++, row += WIDTH) {
        const long double time = (long double)row[WIDTH] - row[0], rise = (long double)row[WIDTH + 2] - row[2];
        const long double off = (row[2] - shift + (row[WIDTH + 2] - shift)) / 2 - few->mean;
        few->variance += time * (rise * rise / 12 + off * off) / duration;
    }
    few->mean += shift;
}

/* A ripple of `ripple` about `level`, and a first value that is `spike` off it for as long as `dwell` of a step. */
static struct few wave_with(double level, double ripple, double spike, double dwell, double start, uint64_t seed)
{
    struct few few = { .low = 0 };
    for (size_t i = 0; i <= LINES; i++) {
        double *row = few.row + i * WIDTH;
        row[0] = start + 1e-6 * ((double)i + (i ? dwell : 0));
        row[1] = 1e9;
        row[2] = level + ripple * random_next(&seed) + (i ? 0 : spike);
    }
    few.row[WIDTH] = start + 1e-6 * dwell;
    settle_truth(&few);
    return few;
}

START_TEST(many_lines_at_once_keep_the_digits_of_their_ripple)
{
    static const double cases[][5] = { /* level, ripple, spike, dwell in steps, start */
                                       { 0, 1, 0, 1, 0 },     { 5, 1e-6, 0, 1, 0 },       { -1000, 1e-9, 0, 0.3, 0.01 },
                                       { 2, 1e-6, 5, 1e-6, 0 }, { 3, 1e-7, 3, 1e-3, 0.01 }, { 2.5, 0, 0, 1, 0 } };
    const size_t column = 2;
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        const double *c = cases[k];
        const struct few few = wave_with(c[0], c[1], c[2], c[3], c[4], 77 + k);
        struct channel_moments of = { .mean = 0 };
        struct accumulator all = { .empty = true, .of = &of };
        dwi_moments_lines(&all, 1, &column, few.row, LINES, WIDTH);
        const double duration = all.end - all.start, deviation = (double)sqrtl(few.variance);
        ck_assert(all.start == few.row[0] && all.end == few.row[LINES * WIDTH] && of.minimum == few.low && of.maximum == few.high);
        /* sums of 256 terms lose at most 256 of half an ulp, of what the values are off the first one */
        within_scale(dwi_moments_mean(&of), (double)few.mean, DBL_EPSILON, fabs(c[0]) + 128 * (fabs(c[1]) + fabs(c[2])));
        /* and of the squares, which are all positive, whose root halves it; the mean's error, squared, is nothing */
        within_scale(dwi_moments_ac_rms(&of, duration), deviation, 128 * DBL_EPSILON, deviation);
    }
}
END_TEST

START_TEST(many_lines_at_once_are_as_one_by_one)
{
    const size_t column = 2;
    const struct few few = wave_with(7, 2, 0, 1, 0.25, 5);
    struct channel_moments one_of = { .mean = 0 };
    struct accumulator one = { .empty = true, .of = &one_of };
    for (size_t i = 0; i < LINES; i++) {
        const double *row = few.row + i * WIDTH;
        dwi_moments_line(&one, 1, &column, row, row + WIDTH);
    }
    for (size_t cut = 0; cut < LINES; cut += 73) { /* lines one by one, then the rest at once */
        struct channel_moments of = { .mean = 0 };
        struct accumulator all = { .empty = true, .of = &of };
        for (size_t i = 0; i < cut; i++) {
            const double *row = few.row + i * WIDTH;
            dwi_moments_line(&all, 1, &column, row, row + WIDTH);
        }
        dwi_moments_lines(&all, 1, &column, few.row + cut * WIDTH, LINES - cut, WIDTH);
        ck_assert(all.start == one.start && all.end == one.end && of.minimum == one_of.minimum && of.maximum == one_of.maximum);
        /* plain sums of at most 256 positive terms beside compensated ones */
        near(dwi_moments_mean(&of), dwi_moments_mean(&one_of), DBL_EPSILON * 128);
        near(of.square + of.square_low, one_of.square + one_of.square_low, 256 * DBL_EPSILON);
    }
}
END_TEST

START_TEST(a_line_passes_a_value_where_its_share_says)
{
    for (double value = 1; value < 3; value += 0.1)
        near(dwi_hermite_place(&(struct hermite){ .middle = 2, .rise = 1 }, value), value - 2, 1e-15);
}
END_TEST

/* From half a cycle off, where a step goes too far, it comes to the tone all the same, or says that it does not. */
START_TEST(a_search_that_begins_far_off_ends)
{
    enum { COUNT = 200 };
    double x[COUNT];
    int found = 0;
    struct sine_sum sum;
    const double tone = 2 * M_PI * 20.3 / COUNT;
    for (int i = 0; i < COUNT; i++)
        x[i] = cos(tone * i + 1);
    ck_assert(dwi_sine_sum_new(&sum, 1));
    for (double off = -19.9; off < 80; off += 0.31) {
        double angle = tone + 2 * M_PI * off / COUNT;
        if (!dwi_sine_sum_search(&sum, &(struct dw_samples){ x, COUNT, 1, 1000 }, &angle))
            continue;
        ck_assert(angle > 0 && angle < M_PI);
        found += fabs(angle - tone) < 1e-12;
    }
    ck_assert_int_gt(found, 2);
    dwi_sine_sum_free(&sum);
}
END_TEST

SUITE("measure: moments", a_line_passes_a_value_where_its_share_says,
      a_search_that_begins_far_off_ends, many_lines_at_once_keep_the_digits_of_their_ripple, many_lines_at_once_are_as_one_by_one)
