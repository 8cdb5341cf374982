/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is seen of the rows before their lines are summed up, and the way that is then taken. */
#include "measure/fourier_inner.h"
#include "measure/waves.h"
#include "suite.h"
#include <float.h>

static size_t grid_of(const struct wave *wave, double slack)
{
    const struct fourier_rows rows = { wave->row, wave->count, 1, 0, 1 };
    size_t cells = 1;
    return fourier_grid(&rows, slack, 1 << 20, &cells) ? cells : 0;
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

START_TEST(a_sampled_record_is_known_by_its_times)
{
    static const struct {
        double place[5];
        size_t count;
        bool uniform;
    } cases[] = { { { 0, 0.25, 0.5, 0.75, 1 }, 5, true },          { { 0, 1 / 3.0, 2 / 3.0, 1 }, 4, true },
                  { { 0, 1 }, 2, true },                           { { 0 }, 1, false },
                  { { 0, 0.25, 0.5, 0.75 + 1e-14, 1 }, 5, false }, { { 0, 0.5, 0.5, 1 }, 4, false },
                  { { 0, 0.25, 0.5, 0.75 }, 4, false },            { { 0, 0.25, NAN, 0.75, 1 }, 5, false } };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct wave wave = { 0 };
        for (size_t i = 0; i < cases[k].count; i++)
            wave_add(&wave, 8 + 2 * cases[k].place[i], 1);
        const struct fourier_rows rows = { wave.row, wave.count, 1, 8, 2 };
        ck_assert_msg(fourier_uniform(&rows, 0x1p-49) == cases[k].uniform, "case %zu", k); /* an ulp of 8 s over 2 s, twice */
        wave_free(&wave);
    }
    const struct fourier_rows endless = { NULL, (size_t)FOURIER_CELLS_MOST + 1, 1, 0, 1 };
    ck_assert(!fourier_uniform(&endless, DBL_EPSILON));
}
END_TEST

START_TEST(jumps_are_seen_within_a_period_and_not_between_two)
{
    static const struct {
        double place[4];
        bool jumps;
    } cases[] = { { { 0, 0.25, 0.25, 1 }, true }, { { 0, 0.25, 0.25 + 1e-16, 1 }, true }, { { 0, 0.25, 0.5, 1 }, false },
                  { { 0, 1, 0, 1 }, false },      { { 0, 0, 0.25, 1 }, false },           { { 0, 0.5, 1, 1 }, false } };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct wave wave = { 0 };
        for (int i = 0; i < 4; i++)
            wave_add(&wave, cases[k].place[i], i);
        const struct fourier_rows rows = { wave.row, wave.count, 1, 0, 1 };
        ck_assert_msg(fourier_jumps(&rows, 4) == cases[k].jumps, "case %zu", k);
        wave_free(&wave);
    }
}
END_TEST

START_TEST(the_way_is_the_cheapest)
{
    static const struct {
        size_t rows, lines, grid;
        enum fourier_way way;
    } cases[] = { { 4, 40, 256, FOURIER_GRID },           { 4, 40, 0, FOURIER_DIRECT },        { 4, 40, 1 << 20, FOURIER_DIRECT },
                  { 100000, 10000, 0, FOURIER_CELLS },    { 100, 40, 0, FOURIER_DIRECT },   { 100000, 10000, 1 << 18, FOURIER_GRID },
                  { 100000, 10000, 1 << 24, FOURIER_CELLS } };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        const struct fourier_plan plan = fourier_choose(cases[k].rows, cases[k].lines, 1, cases[k].grid);
        ck_assert_msg(plan.way == cases[k].way, "case %zu: way %d", k, (int)plan.way);
    }
    ck_assert(fourier_choose_uniform(40961, 40, 1).way == FOURIER_CELLS && fourier_choose_uniform(40960, 40, 1).way == FOURIER_VALUES);
    struct gauss_rules rules;
    gauss_rules_fill(&rules);
    ck_assert(rules.reach[GAUSS_MOST] > M_PI); /* no cell asks for more */
}
END_TEST

SUITE("measure: grids of rows", a_grid_is_found_where_there_is_one,
      a_sampled_record_is_known_by_its_times,
      jumps_are_seen_within_a_period_and_not_between_two,
      the_way_is_the_cheapest)
