/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "draw.h"
#include "suite.h"
#include <dutywright/pieces.h>
#include <dutywright/table.h>
#include <float.h>
#include <stdlib.h>
#include <string.h>

enum { COLUMNS = 3, MOST = 600 };
static const double NONE = INFINITY;
#define ALL_TIME .from = -INFINITY, .to = INFINITY

struct rebuilt {
    double rows[MOST + 8][COLUMNS];
    size_t count, blocks;
    bool made;
};

static void rebuild(void *with, const struct dw_block *block)
{
    struct rebuilt *r = with;
    const double *row = block->rows;
    r->blocks++;
    if (block->passed) {
        ck_assert_uint_ge(block->count, 1);
    } else {
        ck_assert_uint_ge(block->count, 2);
        for (size_t i = 1; i < block->count; i++)
            ck_assert_double_lt(row[(i - 1) * COLUMNS], row[i * COLUMNS]);
    }
    for (size_t i = 0; i < block->count; i++, row += COLUMNS) {
        if (!i && !block->passed && !block->jump) {
            ck_assert_mem_eq(row, r->rows[r->count - 1], sizeof r->rows[0]);
            r->count -= r->made;
            continue;
        }
        ck_assert_uint_lt(r->count, MOST + 8);
        memcpy(r->rows[r->count++], row, sizeof r->rows[0]);
    }
    r->made = !block->passed && block->made;
}

/* Every block of a table, put in batches of so many rows, to a function. */
typedef void visit(void *with, const struct dw_block *block);
/* A copy takes the rows beyond a jump at either end, too. */
static void look_aside(visit *look, void *with, const double *row)
{
    if (row && look == rebuild)
        look(with, &(struct dw_block){ .rows = row, .count = 1, .passed = true });
}

static void each_block(const struct dw_pieces_plan *plan, const double *rows, size_t count, size_t batch, visit *look, void *with)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_pieces *pieces = dw_pieces_new(plan, &error);
    ck_assert_ptr_nonnull(pieces);
    int given = 0;
    for (size_t i = 0; i < count; i += batch) {
        const size_t some = count - i < batch ? count - i : batch;
        double *put = malloc(some * plan->columns * sizeof *put);  /* so that rows kept too long are found out */
        memcpy(put, rows + i * plan->columns, some * plan->columns * sizeof *put);
        dw_pieces_put(pieces, put, some);
        const struct dw_block *block;
        enum dw_status status;
        while ((status = dw_pieces_next(pieces, &block, &error)) == DW_OK) {
            if (dw_pieces_before(pieces) && !given++)
                look_aside(look, with, dw_pieces_before(pieces));
            look(with, block);
        }
        ck_assert_msg(status == DW_END, "%s", error.text);
        ck_assert_int_eq(dw_pieces_next(pieces, &block, &error), DW_END);  /* and so it stays until rows are put */
        free(put);
    }
    ck_assert_uint_eq(dw_pieces_rows(pieces), count);
    look_aside(look, with, dw_pieces_beyond(pieces));
    dw_pieces_free(pieces);
}

/* A table with jumps, with rows inside jumps, and with lines of very unequal length. */
static size_t draw_table(uint64_t *seed, double *rows)
{
    size_t count = 0;
    double time = drawn_between(seed, -1, 1);
    while (count < MOST - 8) {
        for (uint64_t here = 1 + (drawn_bits(seed) % 4 ? 0 : drawn_bits(seed) % 4); here--; count++) {
            rows[count * COLUMNS] = time;
            rows[count * COLUMNS + 1] = drawn_between(seed, -1, 1);
            rows[count * COLUMNS + 2] = drawn_between(seed, 2, 3);
        }
        time += drawn_bits(seed) % 8 ? drawn_between(seed, 0, 0.1) : drawn_between(seed, 0, 3);
    }
    return count;
}

START_TEST(blocks_hold_every_row_once_however_the_rows_come)
{
    static double rows[MOST * COLUMNS];
    for (uint64_t seed = 1; seed <= (uint64_t)rounds(15, 60); seed++) {
        uint64_t s = seed;
        const size_t count = draw_table(&s, rows);
        const struct dw_level level = { 1, 0.3 };
        const struct dw_pieces_plan plans[] = {
            { .columns = COLUMNS },
            { .columns = COLUMNS, .clocks = 2, .clock = { { .period = 0.37, ALL_TIME, .keep = NONE }, { .from = 0.1, .to = 3.3 } } },
            { .columns = COLUMNS, .clocks = 1, .clock = { { .period = 0.01, ALL_TIME, .keep = 3 } }, .levels = &level, .level_count = 1 },
        };
        static const size_t batches[] = { 1, 2, 3, 7, MOST };
        for (size_t p = 0; p < 3; p++)
            for (size_t b = 0; b < 5; b++) {
                static struct rebuilt r;
                r = (struct rebuilt){ .count = 0 };
                each_block(&plans[p], rows, count, batches[b], rebuild, &r);
                /* a row that was put in is the last of its block, and the next goes on from it */
                ck_assert_msg(r.count == count && !memcmp(r.rows, rows, count * sizeof r.rows[0]), "seed %d, plan %zu, batch %zu",
                              (int)seed, p, batches[b]);
            }
    }
}
END_TEST

struct sums {
    double area[2], area_all, square;
    double passed_low, passed_high;
    int periods;
};

static void sum_up(void *with, const struct dw_block *block)
{
    struct sums *s = with;
    const double *row = block->rows;
    if (block->passed)
        return;
    if (block->begins)
        s->periods++;
    for (size_t i = 1; i < block->count; i++, row += COLUMNS)
        s->area_all += (row[COLUMNS] - row[0]) * (row[1] / 2 + row[COLUMNS + 1] / 2);
}

START_TEST(cuts_leave_the_area_as_it_is)
{
    static double rows[MOST * COLUMNS];
    for (uint64_t seed = 100; seed < 100 + (uint64_t)rounds(12, 40); seed++) {
        uint64_t s = seed;
        const size_t count = draw_table(&s, rows);
        double area = 0, size = 0;
        for (size_t i = 1; i < count; i++) {
            const double *a = rows + (i - 1) * COLUMNS, *b = a + COLUMNS;
            area += (b[0] - a[0]) * (a[1] + b[1]) / 2;
            size += (b[0] - a[0]);
        }
        const struct dw_level levels[] = { { 1, 0.3 }, { 2, 2.4 }, { 1, -0.9 } };
        const struct dw_pieces_plan plan = { .columns = COLUMNS, .clocks = 3, .levels = levels, .level_count = 3,
            .clock = { { .period = 0.0371, .origin = 0.4, ALL_TIME, .keep = NONE }, { .period = 0.53, ALL_TIME, .keep = 2 },
                       { .from = 0.7, .to = 5 } } };
        struct sums sums = { .periods = 0 };
        each_block(&plan, rows, count, 5, sum_up, &sums);
        /* each of at most 8000 pieces is rounded by 4 eps of its own area, values being at most 1: 4 eps of the length, and the
         * running sum as often by 1 eps of itself, which stays below the length */
        within_scale(sums.area_all, area, 8000 * DBL_EPSILON, size);
    }
}
END_TEST

struct instants {
    double at[64], value[64], stands_for[64], index[64];
    int count, passed;
    bool jump[64];
};

static void note_ends(void *with, const struct dw_block *block)
{
    struct instants *n = with;
    n->passed += block->passed;
    if (block->passed || !(block->ends & 1))
        return;
    ck_assert_int_lt(n->count, 64);
    const double *row = block->rows + (block->count - 1) * 2;
    n->at[n->count] = row[0];
    n->value[n->count] = row[1];
    n->index[n->count] = block->end[0].index;
    n->stands_for[n->count++] = isnan(block->end[0].stands_for) ? block->end[0].index : block->end[0].stands_for;
    near(row[0], block->end[0].at, 4 * DBL_EPSILON);
}

START_TEST(a_row_within_four_ulp_of_a_boundary_is_on_it_and_the_last_there_is_after_it)
{
    const double period = 1 / 1600.0, late = nextafter(nextafter(2 * period, 1), 1), early = nextafter(4 * period, 0);
    const double rows[] = { 0, 3.3, late, 3.3, nextafter(late, 1), 0, 3 * period, 1, early, 2, 4 * period, 3, 5 * period, 4 };
    const struct dw_pieces_plan plan = { .columns = 2, .clocks = 1, .clock = { { .period = period, ALL_TIME, .keep = NONE } } };
    struct instants n = { .count = 0 };
    each_block(&plan, rows, sizeof rows / sizeof rows[0] / 2, 2, note_ends, &n);
    const double value[] = { 3.3, 3.3, 1, 2, 4 };
    ck_assert_int_eq(n.count, 5);
    ck_assert_double_eq(n.at[1], late);
    ck_assert_double_eq(n.at[3], early);
    for (int i = 0; i < 5; i++) {
        ck_assert_double_eq(n.value[i], value[i]);
        ck_assert_double_eq(n.index[i], i + 1);
    }
}
END_TEST

static void count_passed(void *with, const struct dw_block *block)
{
    struct sums *s = with;
    for (size_t i = 0; block->passed && i < block->count; i++) {
        s->passed_low = fmin(s->passed_low, block->rows[2 * i + 1]);
        s->passed_high = fmax(s->passed_high, block->rows[2 * i + 1]);
        s->periods++;
    }
}

START_TEST(rows_between_the_first_and_the_last_of_an_instant_are_passed)
{
    const double rows[] = { 0, 1, 1, 1, 1, 7, 1, -5, 1, 2, 2, 2, 2, 3 };
    for (size_t batch = 1; batch < 8; batch++) {
        struct sums s = { .passed_low = INFINITY, .passed_high = -INFINITY };
        each_block(&(struct dw_pieces_plan){ .columns = 2 }, rows, 7, batch, count_passed, &s);
        ck_assert_int_eq(s.periods, 2);
        ck_assert_double_eq(s.passed_low, -5);
        ck_assert_double_eq(s.passed_high, 7);
    }
}
END_TEST

START_TEST(of_very_many_periods_in_one_line_the_first_and_the_last_are_cut)
{
    const double rows[] = { 0, 0, 1e6, 1e6 };
    struct instants n = { .count = 0 };
    struct dw_pieces_plan plan = { .columns = 2, .clocks = 1, .clock = { { .period = 1, ALL_TIME, .keep = 5 } } };
    each_block(&plan, rows, 2, 2, note_ends, &n);
    double periods = 0;
    for (int i = 0; i < n.count; i++) {
        periods += n.stands_for[i];
        near(n.value[i], n.at[i], 2 * DBL_EPSILON); /* on the line: (4.2) of cuts of a line through 0 */
        ck_assert_double_eq(n.index[i], periods);
    }
    ck_assert_double_eq(periods, 1e6);
    ck_assert_int_le(n.count, 12);
    /* within a group none stands for periods on both sides of its boundary */
    plan.clock[0].keep = NONE;
    plan.clock[0].group = 1e5;
    n.count = 0;
    each_block(&plan, rows, 2, 2, note_ends, &n);
    double last = 0;
    for (int i = 0; i < n.count; i++) {
        ck_assert_double_eq(floor((last + 0.5) / 1e5), floor((n.index[i] - 0.5) / 1e5));
        last = n.index[i];
    }
    ck_assert_double_eq(last, 1e6);
    /* and none is left out where all are asked for */
    static const double few[] = { 0, 0, 60, 60 };
    n.count = 0;
    each_block(&(struct dw_pieces_plan){ .columns = 2, .clocks = 1, .clock = { { .period = 1, ALL_TIME, .keep = NONE } } }, few, 2,
               2, note_ends, &n);
    ck_assert_int_eq(n.count, 60);
}
END_TEST

START_TEST(a_clock_with_a_span_has_no_boundaries_outside_it)
{
    const double rows[] = { 0, 0, 10, 10 };
    struct instants n = { .count = 0 };
    const struct dw_pieces_plan plan = { .columns = 2, .clocks = 1,
                                         .clock = { { .period = 1, .from = 2.5, .to = 7, .keep = NONE } } };
    each_block(&plan, rows, 2, 1, note_ends, &n);
    ck_assert_int_eq(n.count, 5);
    ck_assert_double_eq(n.at[0], 3);
    ck_assert_double_eq(n.at[4], 7);
}
END_TEST

static void note_lines(void *with, const struct dw_block *block)
{
    struct instants *n = with;
    for (size_t i = 1; i < block->count; i++) {
        ck_assert_int_lt(n->count, 64);
        n->at[n->count] = block->rows[i * 3];
        n->value[n->count] = block->rows[i * 3 + 1];
        n->index[n->count++] = block->rows[i * 3 + 2];
    }
}

START_TEST(a_cut_cubic_is_the_same_cubic)
{
    /* y = 2 - t + 3 t^2 - 5 t^3 over [0.2, 1.7], its slope beside it */
    static const size_t slope[] = { 0, 2, 0 };
    double rows[2][3] = { { 0.2 }, { 1.7 } };
    for (int i = 0; i < 2; i++) {
        const double t = rows[i][0];
        rows[i][1] = 2 - t + 3 * t * t - 5 * t * t * t;
        rows[i][2] = -1 + 6 * t - 15 * t * t;
    }
    const struct dw_level level = { 1, -3.1 };
    const struct dw_pieces_plan plan = { .columns = 3, .slope = slope, .clocks = 1, .levels = &level, .level_count = 1,
                                         .clock = { { .period = 0.113, ALL_TIME, .keep = NONE } } };
    struct instants n = { .count = 0 };
    each_block(&plan, rows[0], 2, 2, note_lines, &n);
    ck_assert_int_eq(n.count, 16); /* 14 boundaries, the level, the end */
    bool crossed = false;
    for (int i = 0; i < n.count; i++) {
        const double t = n.at[i];
        /* each of at most 16 cuts goes on from the one before: 16 times 8 roundings of values up to 18, of slopes up to 35 */
        within_scale(n.value[i], 2 - t + 3 * t * t - 5 * t * t * t, 128 * DBL_EPSILON, 18);
        within_scale(n.index[i], -1 + 6 * t - 15 * t * t, 128 * DBL_EPSILON, 35 / 0.113);
        crossed = crossed || n.value[i] == level.level;
    }
    ck_assert(crossed);
}
END_TEST

START_TEST(a_level_is_crossed_where_the_line_crosses_it)
{
    const double rows[] = { 0, 0, 5, 1, 3.3, 5, 2, 0, 5 };
    const struct dw_level levels[] = { { 1, 1.65 }, { 1, 0 }, { 1, 3.3 }, { 2, 5 } };
    struct instants n = { .count = 0 };
    each_block(&(struct dw_pieces_plan){ .columns = 3, .levels = levels, .level_count = 4 }, rows, 3, 3, note_lines, &n);
    const double at[] = { 0.5, 1, 1.5, 2 }; /* a level that a row stands on is passed there: nothing is put in */
    ck_assert_int_eq(n.count, 4);
    for (int i = 0; i < 4; i++)
        near(n.at[i], at[i], DBL_EPSILON);
    ck_assert_double_eq(n.value[0], 1.65);
}
END_TEST

START_TEST(values_whose_difference_overflows_have_a_middle)
{
    const double a[] = { 0, -1.5e308 }, b[] = { 1, 1.5e308 };
    double row[2];
    dw_row_between(2, NULL, a, b, 0.5, row);
    ck_assert_double_eq(row[1], 0);
    dw_row_between(2, NULL, a, b, 2, row);
    ck_assert_double_eq(row[1], 1.5e308);
    ck_assert_double_eq(row[0], 2);
    dw_row_between(2, NULL, b, b, 1, row);
    ck_assert_double_eq(row[1], 1.5e308);
}
END_TEST

/* A whole pass over rows that end in an error. */
static enum dw_status pass(const struct dw_pieces_plan *plan, const double *rows, size_t count, struct dw_error *error)
{
    struct dw_pieces *pieces = dw_pieces_new(plan, error);
    const struct dw_block *block;
    if (!pieces)
        return error->status;
    enum dw_status status = dw_pieces_next(pieces, &block, error);
    ck_assert_int_eq(status, DW_END);  /* nothing was put so far */
    dw_pieces_put(pieces, rows, count);
    while ((status = dw_pieces_next(pieces, &block, error)) == DW_OK)
        continue;
    dw_pieces_free(pieces);
    return status;
}

START_TEST(what_is_no_record_is_refused)
{
    struct dw_error error;
    const double back[] = { 0, 0, 2, 0, 1, 0 }, late[] = { 1e9, 0, 2e9, 0 };
    refuses(pass(&(struct dw_pieces_plan){ .columns = 2, .place = "tide.tsv" }, back, 3, &error), DW_BAD_INPUT, error,
            "tide.tsv, row 3: time goes back from 2 to 1");
    ck_assert_uint_eq(error.line, 3);
    refuses(pass(&(struct dw_pieces_plan){ .columns = 2 }, back, 3, &error), DW_BAD_INPUT, error, "row 3: time goes back from 2 to 1");
    struct dw_pieces *empty = dw_pieces_new(&(struct dw_pieces_plan){ .columns = 2 }, &error);
    ck_assert(empty && !dw_pieces_first(empty) && !dw_pieces_last(empty));
    dw_pieces_free(empty);
    struct dw_pieces_plan plan = { .columns = 2, .clocks = 1, .clock = { { .period = 1e-9, ALL_TIME } } };
    refuses(pass(&plan, late, 2, &error), DW_BAD_INPUT, error,
            "a period of 1e-09 s is too short to be told apart at a time of 1e+09 s");
    plan.clocks = 2;
    plan.clock[1] = plan.clock[0];
    plan.clock[0] = (struct dw_clock){ .period = 1e8, ALL_TIME };
    refuses(pass(&plan, late, 2, &error), DW_BAD_INPUT, error,
            "a period of 1e-09 s is too short to be told apart at a time of 1e+09 s");
    plan.clocks = 1;
    const char *words = "pieces: the columns must be there, and each clock's instants in order";
    plan.clock[0] = (struct dw_clock){ .period = NAN, ALL_TIME };
    refuses(pass(&plan, late, 2, &error), DW_BAD_USE, error, words);
    plan.clock[0] = (struct dw_clock){ .from = 2, .to = 1 };
    refuses(pass(&plan, late, 2, &error), DW_BAD_USE, error, words);
    const struct dw_clock disordered[] = { { .period = INFINITY, ALL_TIME }, { .period = 1, .origin = INFINITY, ALL_TIME }, { .period = 1, .from = 2, .to = 2 },
                                           { .period = 1, .keep = -1, ALL_TIME }, { .period = 1, .group = -1, ALL_TIME }, { .period = -1, ALL_TIME } };
    for (size_t i = 0; i < sizeof disordered / sizeof disordered[0]; i++) {
        plan.clock[0] = disordered[i];
        refuses(pass(&plan, late, 2, &error), DW_BAD_USE, error, words);
    }
    refuses(pass(&(struct dw_pieces_plan){ .columns = 2, .clocks = DW_CLOCKS + 1 }, late, 2, &error), DW_BAD_USE, error, words);
    static const size_t slope[] = { 0, 2 }, of_time[] = { 1, 0 };
    const struct dw_level level = { 2, 0 }, time = { 0, 0 };
    refuses(pass(&(struct dw_pieces_plan){ .columns = 2, .slope = of_time }, late, 2, &error), DW_BAD_USE, error, words);
    refuses(pass(&(struct dw_pieces_plan){ .columns = 2, .levels = &time, .level_count = 1 }, late, 2, &error), DW_BAD_USE, error, words);
    refuses(pass(&(struct dw_pieces_plan){ .columns = 2, .slope = slope }, late, 2, &error), DW_BAD_USE, error, words);
    refuses(pass(&(struct dw_pieces_plan){ .columns = 2, .levels = &level, .level_count = 1 }, late, 2, &error), DW_BAD_USE, error,
            words);
    refuses(pass(&(struct dw_pieces_plan){ .columns = 1 }, late, 2, &error), DW_BAD_USE, error, words);
}
END_TEST

SUITE("table: pieces", blocks_hold_every_row_once_however_the_rows_come, cuts_leave_the_area_as_it_is,
      a_row_within_four_ulp_of_a_boundary_is_on_it_and_the_last_there_is_after_it,
      rows_between_the_first_and_the_last_of_an_instant_are_passed,
      of_very_many_periods_in_one_line_the_first_and_the_last_are_cut, a_clock_with_a_span_has_no_boundaries_outside_it,
      a_cut_cubic_is_the_same_cubic, a_level_is_crossed_where_the_line_crosses_it, values_whose_difference_overflows_have_a_middle,
      what_is_no_record_is_refused)
