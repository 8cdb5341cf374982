/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is seen of the rows before their lines are summed up, the way that is then taken, and that all ways agree. */
#include "measure/coefficients_inner.h" /* which way is taken is the point: tests/measure/fourier.c asks for the lines */
#include "measure/waves.h"
#include "suite.h"
#include <complex.h>
#include <float.h>
#include <stdlib.h>

static struct fourier_rows rows_of(const struct wave *wave, double start, double period)
{
    static const double reference = 0;
    return (struct fourier_rows){ .time = wave->row, .value = wave->row + 1, .time_step = 2, .value_step = 2, .count = wave->count,
                                  .channels = 1, .start = start, .period = period, .reference = &reference };
}

static size_t grid_of(const struct wave *wave, double slack)
{
    const struct fourier_rows rows = rows_of(wave, 0, 1);
    return dwi_fourier_grid(&rows, slack, 1 << 20);
}

START_TEST(a_grid_is_found_where_there_is_one)
{
    static const struct {
        double place[4];
        size_t cells;
    } cases[] = { { { 0, 0.25, 0.5, 1 }, 4 },           { { 0, 1 / 3.0, 0.5, 1 }, 6 },   { { 0, 64 / 255.0, 0.2, 1 }, 255 },
                  { { 0, 1 / 65536.0, 0.5, 1 }, 65536 }, { { 0, 0, 1, 1 }, 1 },           { { 0, 0.31830988618379067, 0.5, 1 }, 0 },
                  { { 0, 17 / 997.0, 5 / 7.0, 1 }, 6979 }, { { 0, 0.1, 0.1 + 1e-12, 1 }, 0 } };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct wave wave = { 0 };
        for (int i = 0; i < 4; i++)
            wave_add(&wave, cases[k].place[i] * (1 - DBL_EPSILON / 2), 1);
        ck_assert_uint_eq(grid_of(&wave, DBL_EPSILON), cases[k].cells);
        wave_free(&wave);
    }
}
END_TEST

/* No grid is sought here but that of one cell, and of as many as lines between rows. */
START_TEST(a_sampled_record_is_known_by_its_times)
{
    static const struct {
        double place[5];
        size_t count;
        bool uniform;
    } cases[] = { { { 0, 0.25, 0.5, 0.75, 1 }, 5, true }, { { 0, 1 / 3.0, 2 / 3.0, 1 }, 4, true },
                  { { 0, 1 }, 2, true },                  { { 0, 0.25, 0.5, 0.75 + 1e-14, 1 }, 5, false },
                  { { 0, 0.5, 0.5, 1 }, 4, false },       { { 0, 0.25, 0.5, 0.75 }, 4, false } };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct wave wave = { 0 };
        for (size_t i = 0; i < cases[k].count; i++)
            wave_add(&wave, 8 + 2 * cases[k].place[i], 1);
        const struct fourier_rows rows = rows_of(&wave, 8, 2);
        const size_t cells = dwi_fourier_grid(&rows, 0x1p-49, 1); /* an ulp of 8 s over 2 s, twice */
        ck_assert_msg(cells == (cases[k].uniform ? cases[k].count - 1 : 0), "case %zu: %zu cells", k, cells);
        wave_free(&wave);
    }
    /* more than can be: its first row is not looked at twice */
    struct fourier_rows endless = { .time = (double[]){ 0.3 }, .count = (size_t)FOURIER_CELLS_MOST + 2, .channels = 1, .period = 1 };
    ck_assert_uint_eq(dwi_fourier_grid(&endless, DBL_EPSILON, 5), 0);
}
END_TEST

START_TEST(the_way_is_the_cheapest)
{
    static const struct {
        size_t rows, lines, grid;
        bool direct;
        size_t cells;  /* of the grid, where it is taken */
    } cases[] = { { 4, 40, 256, false, 256 },        { 4, 40, 0, true, 0 },    { 4, 40, 1 << 20, true, 0 },
                  { 100000, 10000, 0, false, 0 },    { 100, 40, 0, true, 0 },  { 100000, 10000, 1 << 18, false, 1 << 18 },
                  { 100000, 10000, 1 << 24, false, 0 } };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        const struct fourier_way way = dwi_fourier_choose(cases[k].rows, cases[k].lines, 1, cases[k].grid);
        ck_assert_msg(way.direct == cases[k].direct && way.grid == cases[k].cells, "case %zu: way %d, %zu", k, way.direct, way.grid);
    }
    struct gauss_rules rules;
    dwi_gauss_rules_fill(&rules);
    ck_assert(rules.reach[GAUSS_MOST] > M_PI); /* no cell asks for more */
}
END_TEST

/* Coefficients of a wave whose times are shares of the period, by one way; cells of the grid where it is that. */
static double complex *by_way(bool direct, const struct wave *wave, size_t cells, size_t lines)
{
    struct dw_error error;
    const struct fourier_way way = { .direct = direct, .grid = cells };
    const struct fourier_rows rows = rows_of(wave, 0, 1);
    double complex *out = calloc(lines + 1, sizeof *out);
    ck_assert_ptr_nonnull(out);
    succeeds(dwi_fourier_by(&way, &rows, lines, (double *)out, &error), error);
    return out;
}

static void agree(const double complex *got, const double complex *want, size_t lines, double allowed, double scale)
{
    for (size_t n = 0; n <= lines; n++) {
        within_scale(creal(got[n]), creal(want[n]), allowed, scale);
        within_scale(cimag(got[n]), cimag(want[n]), allowed, scale);
    }
}

/* The first row of each jump alone; the step from the end of the period to its start stays. */
static struct wave without_jumps(const struct wave *wave)
{
    struct wave smooth = { 0 };
    for (size_t i = 0; i < wave->count; i++)
        if (i == 0 || wave->row[2 * i] > wave->row[2 * i - 2])
            wave_add(&smooth, wave->row[2 * i], wave->row[2 * i + 1]);
    return smooth;
}

START_TEST(all_ways_give_the_same_numbers)
{
    static const size_t cases[][3] = { /* pieces, cells of the grid, lines */
                                       { 3, 0, 40 },    { 40, 0, 1000 }, { 1000, 0, 1 },    { 1000, 0, 63 },  { 1000, 0, 64 },
                                       { 700, 0, 700 }, { 9, 81, 200 },  { 500, 4096, 40 }, { 211, 997, 64 }, { 500, 500, 1700 },
                                       { 1, 0, 17 } };
    uint64_t state = 20240611;
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        const size_t lines = cases[k][2];
        struct wave wave = wave_random(&state, cases[k][0], cases[k][1]);
        double complex *direct = by_way(true, &wave, 0, lines), *in_cells = by_way(false, &wave, 0, lines);
        /* 2^-50 of either; and each of up to 2000 jumps, 5 V in the mean, moves by half an ulp of its cell's place: as
         * their signs are random, by sqrt(2000) of that in all */
        const double allowed = 2 * 0x1p-50 + 50 * DBL_EPSILON / 2;
        agree(in_cells, direct, lines, allowed, 5);
        if (cases[k][1]) {
            double complex *grid = by_way(false, &wave, cases[k][1], lines);
            agree(grid, direct, lines, allowed, 5);
            free(grid);
            struct wave smooth = without_jumps(&wave);
            double complex *want = by_way(true, &smooth, 0, lines);
            double complex *values = by_way(false, &smooth, cases[k][1], lines);
            agree(values, want, lines, allowed, 5);
            free(values);
            free(want);
            wave_free(&smooth);
        }
        free(direct);
        free(in_cells);
        wave_free(&wave);
    }
}
END_TEST

/* The first row and the last of a period may be off it by a rounding. */
START_TEST(rows_a_rounding_outside_their_period_are_at_its_ends)
{
    uint64_t state = 3, other = 3;
    struct wave inside = wave_random(&state, 9, 0), outside = wave_random(&other, 9, 0);
    outside.row[0] = -0x1p-60;
    outside.row[2 * outside.count - 2] = 1 + DBL_EPSILON;
    double complex *want = by_way(false, &inside, 0, 50), *got = by_way(false, &outside, 0, 50);
    ck_assert_mem_eq(got, want, 51 * sizeof *got);
    free(want);
    free(got);
    wave_free(&inside);
    wave_free(&outside);
}
END_TEST

SUITE("measure: grids of rows", a_grid_is_found_where_there_is_one,
      a_sampled_record_is_known_by_its_times,
      the_way_is_the_cheapest, all_ways_give_the_same_numbers, rows_a_rounding_outside_their_period_are_at_its_ends)
