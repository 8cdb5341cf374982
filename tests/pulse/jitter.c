/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "pulse/train_inner.h"
#include "pulse/record.h"
#include <float.h>

static const struct dw_pulse_train shaken = { .period = 1 / 1612.9, .duty = 0.37, .high = 5, .low = 0.4, .periods = 20000,
                                              .jitter = 7e-6, .seed = 4711 };

START_TEST(shifts_are_independent_and_gaussian_with_the_rms_asked)
{
    struct dw_pulse_train still = shaken;
    still.jitter = 0;
    still.phase = 0.2;
    struct dw_pulse_train train = shaken;
    train.phase = 0.2;
    const struct record a = record_of(still), b = record_of(train);
    ck_assert_uint_eq(a.count, b.count);
    ck_assert_double_eq(b.period, 0);
    double sum = 0, square = 0, fourth = 0, product = 0, next_product = 0, before = 0, beyond = 0;
    size_t count = 0;
    for (size_t i = 1; i + 1 < a.count; i += 2) {
        const double shift = (time_of(&b, i) - time_of(&a, i)) / train.jitter;
        sum += shift;
        square += shift * shift;
        fourth += shift * shift * shift * shift;
        product += count % 2 ? shift * before : 0;       /* off with on of the same pulse */
        next_product += count % 2 ? 0 : shift * before;  /* on with off of the pulse before */
        beyond += fabs(shift) > 1.959963984540054;
        before = shift;
        count++;
    }
    const double n = (double)count;
    ck_assert_uint_eq(count, 40000);
    /* four standard errors of each statistic of n normal numbers: 1, sqrt 2, sqrt 96, sqrt(n/2) for half the pairs, and a
     * binomial share of 5 % */
    within_scale(sum / n, 0, 4 / sqrt(n), 1);
    within_scale(square / n, 1, 4 * sqrt(2 / n), 1);
    within_scale(fourth / n, 3, 4 * sqrt(96 / n), 1);
    within_scale(product / (n / 2), 0, 4 / sqrt(n / 2), 1);
    within_scale(next_product / (n / 2), 0, 4 / sqrt(n / 2), 1);
    within_scale(beyond / n, 0.05, 4 * sqrt(0.05 * 0.95 / n), 1);
    free(a.rows);
    free(b.rows);
}
END_TEST

START_TEST(one_seed_is_one_train_and_another_is_another)
{
    struct dw_pulse_train train = shaken;
    train.periods = 50;
    const struct record a = record_of(train), b = record_of(train);
    train.seed++;
    const struct record c = record_of(train);
    ck_assert_uint_eq(a.count, b.count);
    ck_assert(memcmp(a.rows, b.rows, a.count * a.width * sizeof(double)) == 0);
    size_t same = 0;
    for (size_t i = 1; i + 1 < a.count; i++)
        same += i < c.count && time_of(&a, i) == time_of(&c, i);
    ck_assert_uint_eq(same, 0);
    free(a.rows);
    free(b.rows);
    free(c.rows);
}
END_TEST

START_TEST(a_longer_record_begins_with_the_shorter_one)
{
    struct dw_pulse_train train = shaken;
    train.periods = 50;
    const struct record a = record_of(train);
    train.periods = 80;
    const struct record b = record_of(train);
    ck_assert(memcmp(a.rows, b.rows, (a.count - 1) * a.width * sizeof(double)) == 0);
    free(a.rows);
    free(b.rows);
}
END_TEST

START_TEST(edges_keep_their_order_however_large_the_jitter)
{
    struct dw_pulse_train train = shaken;
    train.periods = 3000;
    train.jitter = 0.9 * train.period;
    train.complement = true;
    train.dead_time = 1e-5;
    const struct record record = record_of(train);  /* checks that time never goes back */
    for (size_t i = 0; i < record.count; i++)
        ck_assert(value_of(&record, i, 0) == train.low || value_of(&record, i, 1) == train.low);
    ck_assert_uint_gt(record.findings.swallowed, 100);
    ck_assert_double_eq(time_of(&record, record.count - 1), record.findings.end);
    free(record.rows);
}
END_TEST

START_TEST(small_shifts_leave_the_mean_within_its_statistics)
{
    const struct record record = record_of(shaken);
    const double n = shaken.periods, height = shaken.high - shaken.low;
    /* each width has a standard deviation of sqrt 2 rms; four of the sum over n */
    within_scale(mean_of(&record, 0), shaken.low + height * shaken.duty, 4 * sqrt(2 / n) * shaken.jitter / shaken.period,
                 height);
    free(record.rows);
}
END_TEST

START_TEST(random_numbers_stay_below_the_shift_allowed_for)
{
    double pair[2];
    for (uint64_t i = 0; i < 200000; i++) {
        dwi_gauss_pair(99, i << 20 | i, pair);
        ck_assert(fabs(pair[0]) < 8.6 && fabs(pair[1]) < 8.6);
    }
}
END_TEST

SUITE("pulse: jitter", shifts_are_independent_and_gaussian_with_the_rms_asked,
      one_seed_is_one_train_and_another_is_another, a_longer_record_begins_with_the_shorter_one,
      edges_keep_their_order_however_large_the_jitter, small_shifts_leave_the_mean_within_its_statistics,
      random_numbers_stay_below_the_shift_allowed_for)
