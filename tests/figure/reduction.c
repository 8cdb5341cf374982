/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "figure/reduction.h"
#include "suite.h"
#include <gsl/gsl_rng.h>
#include <stdlib.h>

enum { CHANNELS = 3, ROWS = 20000 };

struct rows {
    double x[ROWS], y[ROWS][CHANNELS];
    size_t count;
};

/* Uneven steps, jumps, several rows at one x, long flat stretches; the seed is printed by the failing test's values. */
static struct rows *random_rows(unsigned long seed, size_t count)
{
    struct rows *rows = calloc(1, sizeof *rows);
    gsl_rng *random = gsl_rng_alloc(gsl_rng_taus);
    ck_assert(rows && random);
    gsl_rng_set(random, seed);
    double x = 0.37;
    for (size_t i = 0; i < count; i++) {
        const double kind = gsl_rng_uniform(random);
        x += kind < 0.3 ? 0 : kind < 0.97 ? gsl_rng_uniform_pos(random) : 300 * gsl_rng_uniform_pos(random);
        rows->x[i] = x;
        for (size_t c = 0; c < CHANNELS; c++)
            rows->y[i][c] = i && gsl_rng_uniform(random) < 0.2 ? rows->y[i - 1][c] : gsl_rng_uniform(random) - 0.4 * (double)c;
    }
    rows->count = count;
    gsl_rng_free(random);
    return rows;
}

static struct reduction *reduce(const struct rows *rows, size_t strips, bool logarithmic)
{
    struct dw_error error;
    struct reduction *reduction = reduction_new(CHANNELS, strips, &error);
    ck_assert_ptr_nonnull(reduction);
    reduction_set_logarithmic(reduction, logarithmic);
    for (size_t i = 0; i < rows->count; i++)
        succeeds(reduction_add(reduction, rows->x[i], rows->y[i], NULL, &error), error);
    return reduction;
}

static bool same(struct vertex vertex, const struct rows *rows, size_t row, size_t channel)
{
    return vertex.x == rows->x[row] && vertex.y == rows->y[row][channel];
}

/* Each strip against the rows it stands for, found by counting them off. */
static void compare(const struct reduction *reduction, const struct rows *rows)
{
    size_t from = 0;
    for (size_t i = 0; i < reduction_strips(reduction); i++) {
        const size_t to = from + reduction_strip(reduction, i, 0)->rows;
        ck_assert_uint_le(to, rows->count);
        for (size_t c = 0; c < CHANNELS; c++) {
            const struct strip *strip = reduction_strip(reduction, i, c);
            size_t low = from, high = from, low_until = from, high_until = from;
            for (size_t k = from; k < to; k++) {
                low = rows->y[k][c] < rows->y[low][c] ? k : low;
                high = rows->y[k][c] > rows->y[high][c] ? k : high;
            }
            for (size_t k = from; k < to; k++) {
                low_until = rows->y[k][c] == rows->y[low][c] ? k : low_until;
                high_until = rows->y[k][c] == rows->y[high][c] ? k : high_until;
            }
            ck_assert(strip->low_until == rows->x[low_until] && strip->high_until == rows->x[high_until]);
            ck_assert(same(strip->first, rows, from, c));
            ck_assert(same(strip->last, rows, to - 1, c));
            ck_assert(same(strip->low, rows, low, c));
            ck_assert(same(strip->high, rows, high, c));
            ck_assert_uint_eq(strip->rows, to - from);
        }
        from = to;
    }
    ck_assert_uint_eq(from, rows->count);
}

START_TEST(every_strip_keeps_first_last_and_extremes_of_its_rows)
{
    static const size_t strips[] = { 8, 9, 64, 777, 5000 }, counts[] = { 1, 2, 7, 8, 9, 500, ROWS };
    for (size_t i = 0; i < sizeof strips / sizeof strips[0]; i++)
        for (size_t k = 0; k < sizeof counts / sizeof counts[0]; k++)
            for (int logarithmic = 0; logarithmic < 2; logarithmic++) {
                struct rows *rows = random_rows(1 + i + 10 * k, counts[k]);
                struct reduction *reduction = reduce(rows, strips[i], logarithmic);
                ck_assert_uint_le(reduction_strips(reduction), strips[i]);
                compare(reduction, rows);
                reduction_free(reduction);
                free(rows);
            }
}
END_TEST

START_TEST(strips_are_as_narrow_as_promised)
{
    for (int logarithmic = 0; logarithmic < 2; logarithmic++) {
        struct rows *rows = random_rows(77, ROWS);
        struct reduction *reduction = reduce(rows, 300, logarithmic);
        const double first = rows->x[0], last = rows->x[ROWS - 1];
        const double range = logarithmic ? log10(last / first) : last - first;
        for (size_t i = 0; i < reduction_strips(reduction); i++) {
            const struct strip *strip = reduction_strip(reduction, i, 0);
            const double width = logarithmic ? log10(strip->last.x / strip->first.x) : strip->last.x - strip->first.x;
            /* the width found when the strips first were full, and doubled, is a sum of few roundings */
            ck_assert(width <= 2.0 / 299 * range * (1 + 1e-12));
        }
        reduction_free(reduction);
        free(rows);
    }
}
END_TEST

START_TEST(a_short_table_keeps_every_row_of_its_own_time)
{
    struct dw_error error;
    struct reduction *reduction = reduction_new(1, 100, &error);
    for (int i = 0; i < 100; i++) {
        const double low = -1.5 * i, high = 2.5 * i;
        succeeds(reduction_add(reduction, 0.1 * i, &low, NULL, &error), error);
        succeeds(reduction_add(reduction, 0.1 * i, &high, NULL, &error), error);
    }
    ck_assert_uint_eq(reduction_strips(reduction), 100);
    for (size_t i = 0; i < 100; i++) {
        const struct strip *strip = reduction_strip(reduction, i, 0);
        ck_assert(strip->first.y == -1.5 * (double)i && strip->last.y == 2.5 * (double)i);
        ck_assert(strip->first.x == 0.1 * (double)(int)i && strip->last.x == strip->first.x);
    }
    reduction_free(reduction);
}
END_TEST

START_TEST(neighbouring_doubles_far_from_zero_are_joined_all_the_same)
{
    struct dw_error error;
    struct reduction *reduction = reduction_new(1, 16, &error);
    double x = 1e9;
    reduction_set_logarithmic(reduction, true); /* their logarithms are equal */
    for (int i = 0; i < 1000; i++, x = nextafter(x, INFINITY)) {
        const double y = i % 17;
        succeeds(reduction_add(reduction, x, &y, NULL, &error), error);
    }
    unsigned long long rows = 0;
    for (size_t i = 0; i < reduction_strips(reduction); i++)
        rows += reduction_strip(reduction, i, 0)->rows;
    ck_assert_uint_le(reduction_strips(reduction), 16);
    ck_assert_uint_eq(rows, 1000);
    reduction_free(reduction);
}
END_TEST

SUITE("figure: reduction", every_strip_keeps_first_last_and_extremes_of_its_rows, strips_are_as_narrow_as_promised,
      a_short_table_keeps_every_row_of_its_own_time, neighbouring_doubles_far_from_zero_are_joined_all_the_same)
