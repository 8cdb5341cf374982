/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Spans, last periods and tables after one another: row by row. */
#include "suite.h"
#include <dutywright/splice.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 64 };

struct record {
    double rows[MOST][2];
    size_t count;
};

static void append(struct record *record, struct dw_rows some)
{
    for (size_t i = 0; i < some.count; i++) {
        ck_assert_uint_lt(record->count, MOST);
        memcpy(record->rows[record->count++], some.values + 2 * i, 2 * sizeof(double));
    }
}

static void is(const struct record *got, const double wanted[][2], size_t count)
{
    char text[1024] = "";
    size_t used = 0;
    for (size_t i = 0; i < got->count && used < sizeof text; i++)
        used += (size_t)snprintf(text + used, sizeof text - used, " %.17g:%.17g", got->rows[i][0], got->rows[i][1]);
    bool same = got->count == count;
    for (size_t i = 0; same && i < count; i++)
        same = got->rows[i][0] == wanted[i][0] && got->rows[i][1] == wanted[i][1];
    ck_assert_msg(same, "got%s", text);
}

/* 5 V for a quarter of 2 s, with jumps at its start and end; then a ramp */
static const double wave[][2] = { { 1, 0 }, { 1, 5 }, { 1.5, 5 }, { 1.5, 0 }, { 3, 0 }, { 3, 2 }, { 5, 6 }, { 5, 1 } };
enum { WAVE = sizeof wave / sizeof wave[0] };

static enum dw_status cut_wave(double from, double to, struct record *got, struct dw_error *error)
{
    struct dw_excerpt *excerpt = dw_excerpt_new(&(struct dw_excerpt_plan){ .columns = 2, .from = from, .to = to }, error);
    enum dw_status status = excerpt ? DW_OK : error->status;
    struct dw_rows some;
    *got = (struct record){ .count = 0 };
    for (size_t i = 0; status == DW_OK && i < WAVE; i++) {
        status = dw_excerpt_rows(excerpt, wave[i], 1, &some, error);
        if (status == DW_OK)
            append(got, some);
    }
    if (status == DW_OK)
        status = dw_excerpt_finish(excerpt, &some, error);
    if (status == DW_OK)
        append(got, some);
    dw_excerpt_free(excerpt);
    return status;
}

START_TEST(a_span_begins_after_the_jump_at_its_start_and_ends_before_that_at_its_end)
{
    static const struct {
        double from, to, rows[8][2];
        size_t count;
    } cases[] = {
        { -INFINITY, INFINITY, { { 1, 0 }, { 1, 5 }, { 1.5, 5 }, { 1.5, 0 }, { 3, 0 }, { 3, 2 }, { 5, 6 }, { 5, 1 } }, 8 },
        { -INFINITY, 5, { { 1, 0 }, { 1, 5 }, { 1.5, 5 }, { 1.5, 0 }, { 3, 0 }, { 3, 2 }, { 5, 6 } }, 7 },
        { 1, 3, { { 1, 5 }, { 1.5, 5 }, { 1.5, 0 }, { 3, 0 } }, 4 },
        { 1.5, 3, { { 1.5, 0 }, { 3, 0 } }, 2 },
        { 1, 1.5, { { 1, 5 }, { 1.5, 5 } }, 2 },
        { 3, INFINITY, { { 3, 2 }, { 5, 6 }, { 5, 1 } }, 3 },
        { 1.25, 4.5, { { 1.25, 5 }, { 1.5, 5 }, { 1.5, 0 }, { 3, 0 }, { 3, 2 }, { 4.5, 5 } }, 6 },
        { 3.5, 4.5, { { 3.5, 3 }, { 4.5, 5 } }, 2 },
        /* ends within 4 ulp of a row are that row */
        { 1.5 + 3 * 0x1p-52, 3 + 6 * 0x1p-52, { { 1.5, 0 }, { 3, 0 } }, 2 },
        { 1.5 - 3 * 0x1p-52, 3 - 6 * 0x1p-52, { { 1.5, 0 }, { 3, 0 } }, 2 },
        { -INFINITY, 5 + 12 * 0x1p-52, { { 1, 0 }, { 1, 5 }, { 1.5, 5 }, { 1.5, 0 }, { 3, 0 }, { 3, 2 }, { 5, 6 } }, 7 },
    };
    struct dw_error error;
    struct record got;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        succeeds(cut_wave(cases[i].from, cases[i].to, &got, &error), error);
        is(&got, cases[i].rows, cases[i].count);
    }
}
END_TEST

START_TEST(a_span_outside_the_table_is_refused)
{
    static const struct {
        double from, to;
        enum dw_status status;
        const char *message;
    } cases[] = {
        { 0.5, 3, DW_BAD_INPUT, "the span begins at 0.5, but the table at 1" },
        { 3, 5.5, DW_BAD_INPUT, "the span ends at 5.5, but the table ends at 5" },
        { 5, 7, DW_BAD_INPUT, "the span begins at 5, but the table ends at 5" },
        { 6, INFINITY, DW_BAD_INPUT, "the span begins at 6, but the table ends at 5" },
        { -INFINITY, 0.5, DW_BAD_INPUT, "the span ends before the table begins" },
        { 3, 3, DW_BAD_USE, "a span ends after it begins" },
        { 3, NAN, DW_BAD_USE, "a span ends after it begins" },
        { NAN, 3, DW_BAD_USE, "a span ends after it begins" },
    };
    struct dw_error error;
    struct record got;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        refuses(cut_wave(cases[i].from, cases[i].to, &got, &error), cases[i].status, error, cases[i].message);
    struct dw_excerpt *excerpt = dw_excerpt_new(&(struct dw_excerpt_plan){ .columns = 2, .from = 1, .to = 2 }, &error);
    struct dw_rows some;
    refuses(dw_excerpt_finish(excerpt, &some, &error), DW_BAD_INPUT, error, "a span of a table that has no rows");
    dw_excerpt_free(excerpt);
    dw_excerpt_free(NULL);
}
END_TEST

START_TEST(a_row_put_in_lies_on_the_line_even_at_the_ends_of_the_range)
{
    static const double rows[][2] = { { 0, -1.5e308 }, { 4, 1.5e308 } };
    struct dw_error error;
    struct record got = { .count = 0 };
    struct dw_excerpt *excerpt = dw_excerpt_new(&(struct dw_excerpt_plan){ .columns = 2, .from = 1, .to = 3 }, &error);
    for (size_t i = 0; i < 2; i++) {
        struct dw_rows some;
        succeeds(dw_excerpt_rows(excerpt, rows[i], 1, &some, &error), error);
        append(&got, some);
    }
    is(&got, (const double[][2]){ { 1, -0.75e308 }, { 3, 0.75e308 } }, 2);
    dw_excerpt_free(excerpt);
}
END_TEST

/* Period k is high for the share of it that (k mod 7 + 1) / 10 is. */
static enum dw_status tail_of(double origin, double period, size_t periods, double stop, unsigned long long last,
                              struct record *got, struct dw_error *error)
{
    struct dw_excerpt *excerpt = dw_excerpt_new(&(struct dw_excerpt_plan){ .columns = 2, .origin = origin, .period = period, .periods = last }, error);
    enum dw_status status = excerpt ? DW_OK : error->status;
    struct dw_rows some;
    *got = (struct record){ .count = 0 };
    for (size_t k = 0; status == DW_OK && k < periods; k++) {
        const double at = dw_period_boundary(origin, period, (double)k);
        const double fall = at + period * ((double)(k % 7) + 1) / 10;
        const double rows[4][2] = { { at, 0 }, { at, 5 }, { fall, 5 }, { fall, 0 } };
        for (size_t i = 0; status == DW_OK && i < 4; i++)
            if (rows[i][0] <= stop)
                status = dw_excerpt_rows(excerpt, rows[i], 1, &some, error);
    }
    if (status == DW_OK)
        status = dw_excerpt_rows(excerpt, (double[]){ stop, 0 }, 1, &some, error);
    if (status == DW_OK)
        status = dw_excerpt_finish(excerpt, &some, error);
    if (status == DW_OK)
        append(got, some);
    dw_excerpt_free(excerpt);
    return status;
}

START_TEST(the_last_periods_go_from_boundary_to_boundary)
{
    const double origin = 0.37, period = 1 / 1612.9;
    struct dw_error error;
    struct record got;
    for (size_t periods = 3; periods < 400; periods += 11)
        for (unsigned long long last = 1; last < 4; last++) {
            /* the record stops within a period: that one does not count */
            const double stop = origin + ((double)periods - 0.55) * period;
            const size_t end = periods - 1, begin = end - (size_t)last;
            if (end < last)
                continue;
            succeeds(tail_of(origin, period, periods, stop, last, &got, &error), error);
            ck_assert_uint_eq(got.count, 4 * last); /* four rows a period; the first jump loses one, the end adds one */
            ck_assert_double_eq(got.rows[0][0], dw_period_boundary(origin, period, (double)begin));
            ck_assert_double_eq(got.rows[0][1], 5);
            near(got.rows[1][0] - got.rows[0][0], period * ((double)(begin % 7) + 1) / 10, 1e-10);
            ck_assert_double_eq(got.rows[got.count - 1][0], dw_period_boundary(origin, period, (double)end));
            ck_assert_double_eq(got.rows[got.count - 1][1], 0);
        }
}
END_TEST

START_TEST(a_record_that_begins_within_a_period_has_it_not)
{
    struct dw_error error;
    struct dw_rows some;
    const double rows[][2] = { { 0.5, 1 }, { 3, 2 }, { 5, 4 } };
    for (unsigned long long asked = 1; asked <= 2; asked++) {
        struct dw_excerpt *excerpt = dw_excerpt_new(&(struct dw_excerpt_plan){ .columns = 2, .period = 2, .periods = asked }, &error);
        for (size_t i = 0; i < 3; i++)
            succeeds(dw_excerpt_rows(excerpt, rows[i], 1, &some, &error), error);
        if (asked == 2) {
            refuses(dw_excerpt_finish(excerpt, &some, &error), DW_BAD_INPUT, error,
                    "the last 2 whole periods: the table holds 1 of 2 s");
        } else {
            /* from 2 to 4: both ends lie on lines between rows */
            static const double wanted[][2] = { { 2, 1.6 }, { 3, 2 }, { 4, 3 } };
            struct record got = { .count = 0 };
            succeeds(dw_excerpt_finish(excerpt, &some, &error), error);
            append(&got, some);
            is(&got, wanted, 3);
        }
        dw_excerpt_free(excerpt);
    }
}
END_TEST

/* Two periods whose middle lies on a line: no row is put in there. Then the same behind one line over a thousand periods, of which none is
 * kept, and of more periods than any table has. */
START_TEST(periods_on_a_line_need_no_row_between_them)
{
    static const double rows[][2] = { { 0.5, 1 }, { 1.5, 3 }, { 2.5, 5 }, { 3.5, 7 } }, wanted[][2] = { { 1, 2 }, { 1.5, 3 }, { 2.5, 5 }, { 3, 6 } };
    for (int k = 0; k < 3; k++) {
        const double late = k == 1 ? 1000 : 0;
        struct dw_error error;
        struct dw_rows some;
        struct record got = { .count = 0 };
        struct dw_excerpt *excerpt = dw_excerpt_new(&(struct dw_excerpt_plan){ .columns = 2, .period = 1, .periods = k == 2 ? (unsigned long long)-1 : 2 }, &error);
        if (k == 1)
            succeeds(dw_excerpt_rows(excerpt, (double[]){ -0.25, 1 }, 1, &some, &error), error);
        for (size_t i = 0; i < 4; i++)
            succeeds(dw_excerpt_rows(excerpt, (double[]){ rows[i][0] + late, rows[i][1] }, 1, &some, &error), error);
        if (k == 2) {
            refuses(dw_excerpt_finish(excerpt, &some, &error), DW_BAD_INPUT, error,
                    "the last 18446744073709551615 whole periods: the table holds 2 of 1 s");
        } else {
            succeeds(dw_excerpt_finish(excerpt, &some, &error), error);
            append(&got, some);
            for (size_t i = 0; i < got.count; i++)
                got.rows[i][0] -= late;
            is(&got, wanted, 4);
        }
        dw_excerpt_free(excerpt);
    }
}
END_TEST

/* Of an instant alone all rows are a span without ends. */
START_TEST(an_instant_is_a_span_without_ends)
{
    static const double rows[][2] = { { 1, 0 }, { 1, 5 }, { 1, 3 } };
    struct dw_error error;
    for (size_t count = 1; count <= 3; count++) {
        struct dw_rows some;
        struct record got = { .count = 0 };
        struct dw_excerpt *excerpt = dw_excerpt_new(&(struct dw_excerpt_plan){ .columns = 2, .from = -INFINITY, .to = INFINITY }, &error);
        for (size_t i = 0; i < count; i++) {
            succeeds(dw_excerpt_rows(excerpt, rows[i], 1, &some, &error), error);
            append(&got, some);
        }
        const enum dw_status status = dw_excerpt_finish(excerpt, &some, &error);
        ck_assert_msg(status == DW_OK || *error.text, "%zu", count);
        if (status == DW_OK) {
            append(&got, some);
            is(&got, rows, count);
        }
        dw_excerpt_free(excerpt);
    }
}
END_TEST

START_TEST(too_few_periods_are_refused)
{
    struct dw_error error;
    struct record got;
    refuses(tail_of(0, 2, 3, 5.9, 3, &got, &error), DW_BAD_INPUT, error,
            "the last 3 whole periods: the table holds 2 of 2 s");
    refuses(tail_of(0, 2, 1, 1.5, 1, &got, &error), DW_BAD_INPUT, error,
            "the last 1 whole period: the table holds 0 of 2 s");
    refuses(tail_of(1e17, 1, 1, 1e17 + 96, 1, &got, &error), DW_BAD_INPUT, error,
            "a period of 1 s is too short to be told apart at a time of 1e+17 s");
    refuses(tail_of(0, 0, 1, 1.5, 1, &got, &error), DW_BAD_USE, error,
            "the last whole periods: each is longer than zero");
    ck_assert_ptr_null(dw_excerpt_new(&(struct dw_excerpt_plan){ .columns = 1, .to = 1 }, &error));
    ck_assert_str_eq(error.text, "a row has two columns or more");
    static const struct {
        size_t columns;
        double origin, period;
    } none[] = { { 2, 0, INFINITY }, { 2, NAN, 2 }, { 2, INFINITY, 2 }, { 2, 0, NAN } };
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
        ck_assert_ptr_null(dw_excerpt_new(&(struct dw_excerpt_plan){ .columns = none[i].columns, .origin = none[i].origin,
                                                               .period = none[i].period, .periods = 1 }, &error));
        ck_assert_str_eq(error.text, "the last whole periods: each is longer than zero");
    }
    struct dw_excerpt *excerpt = dw_excerpt_new(&(struct dw_excerpt_plan){ .columns = 2, .period = 2, .periods = 1 }, &error);
    struct dw_rows some;
    refuses(dw_excerpt_finish(excerpt, &some, &error), DW_BAD_INPUT, error, "the last period of a table that has no rows");
    dw_excerpt_free(excerpt);
    dw_excerpt_free(NULL);
}
END_TEST

/* Tables one after another: rows with a negative time separate them. */
static void joined(const double rows[][2], size_t count, struct record *got)
{
    struct dw_error error;
    struct dw_rows some;
    struct dw_join *join = dw_join_new(2, &error);
    ck_assert_ptr_nonnull(join);
    *got = (struct record){ .count = 0 };
    for (size_t i = 0; i < count; i++) {
        if (rows[i][0] < 0) {
            dw_join_next(join);
            continue;
        }
        succeeds(dw_join_row(join, rows[i], &some, &error), error);
        append(got, some);
    }
    succeeds(dw_join_finish(join, &some, &error), error);
    append(got, some);
    dw_join_free(join);
}

START_TEST(any_number_of_rows_at_one_time_and_in_one_period_are_kept)
{
    enum { ROWS = 300 };
    struct dw_error error;
    struct dw_rows some;
    struct dw_join *join = dw_join_new(2, &error);
    struct dw_excerpt *excerpt = dw_excerpt_new(&(struct dw_excerpt_plan){ .columns = 2, .period = ROWS, .periods = 1 }, &error);
    size_t given = 0;
    for (int i = 0; i <= ROWS; i++) {
        const double row[] = { i < ROWS ? 7 : 8, i }, step[] = { i, i };
        succeeds(dw_join_row(join, row, &some, &error), error);
        for (size_t k = 0; k < some.count; k++)
            ck_assert_double_eq(some.values[2 * k + 1], (double)given++);
        struct dw_rows none;
        succeeds(dw_excerpt_rows(excerpt, step, 1, &none, &error), error);
    }
    succeeds(dw_join_finish(join, &some, &error), error);
    ck_assert_uint_eq(given + some.count, ROWS + 1);
    succeeds(dw_excerpt_finish(excerpt, &some, &error), error);
    ck_assert_uint_eq(some.count, ROWS + 1);
    ck_assert_double_eq(some.values[2 * ROWS + 1], ROWS);
    dw_excerpt_free(excerpt);
    dw_join_free(join);
}
END_TEST

START_TEST(joined_tables_meet_in_one_jump_at_most)
{
#define NEXT { -1, 0 }
    static const struct {
        double rows[12][2];
        size_t count;
        double wanted[10][2];
        size_t wanted_count;
    } cases[] = {
        /* plain, with a jump, and going on without one */
        { { { 0, 1 }, { 2, 1 }, NEXT, { 7, 3 }, { 8, 4 } }, 5, { { 0, 1 }, { 2, 1 }, { 2, 3 }, { 3, 4 } }, 4 },
        { { { 0, 1 }, { 2, 3 }, NEXT, { 7, 3 }, { 8, 4 } }, 5, { { 0, 1 }, { 2, 3 }, { 3, 4 } }, 3 },
        /* jumps at the end of the one and the start of the other: values that last no time are left out */
        { { { 0, 1 }, { 2, 1 }, { 2, 9 }, NEXT, { 0, 8 }, { 0, 3 }, { 1, 4 } }, 7,
          { { 0, 1 }, { 2, 1 }, { 2, 3 }, { 3, 4 } }, 4 },
        { { { 0, 1 }, { 2, 1 }, { 2, 9 }, { 2, 7 }, NEXT, { 0, 8 }, { 0, 1 }, { 1, 4 } }, 8,
          { { 0, 1 }, { 2, 1 }, { 3, 4 } }, 3 },
        /* jumps inside, at the very start and at the very end stay */
        { { { 0, 0 }, { 0, 1 }, { 1, 1 }, { 1, 2 }, { 1, 3 }, { 2, 3 }, NEXT, { 0, 3 }, { 1, 3 }, { 1, 4 } }, 10,
          { { 0, 0 }, { 0, 1 }, { 1, 1 }, { 1, 2 }, { 1, 3 }, { 2, 3 }, { 3, 3 }, { 3, 4 } }, 8 },
        /* tables without rows change nothing, those of a single instant only the value at the very end */
        { { NEXT, { 0, 1 }, { 2, 1 }, NEXT, NEXT, { 7, 3 }, { 8, 4 } }, 7, { { 0, 1 }, { 2, 1 }, { 2, 3 }, { 3, 4 } }, 4 },
        { { { 0, 1 }, { 2, 1 }, NEXT, { 5, 8 }, NEXT, { 7, 3 }, { 8, 4 } }, 7,
          { { 0, 1 }, { 2, 1 }, { 2, 3 }, { 3, 4 } }, 4 },
        { { { 0, 1 }, { 2, 1 }, NEXT, { 5, 8 } }, 4, { { 0, 1 }, { 2, 1 }, { 2, 8 } }, 3 },
        { { { 4, 1 } }, 1, { { 4, 1 } }, 1 },
        { { NEXT }, 1, { { 0, 0 } }, 0 },
        /* three */
        { { { 0, 1 }, { 1, 1 }, NEXT, { 0, 2 }, { 1, 2 }, NEXT, { 0.5, 3 }, { 1, 3 } }, 8,
          { { 0, 1 }, { 1, 1 }, { 1, 2 }, { 2, 2 }, { 2, 3 }, { 2.5, 3 } }, 6 },
    };
    struct record got;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        joined(cases[i].rows, cases[i].count, &got);
        is(&got, cases[i].wanted, cases[i].wanted_count);
    }
}
END_TEST

START_TEST(time_never_goes_back_where_tables_meet)
{
    /* crooked ends: the end plus a difference never falls below the end, whatever the rounding */
    struct dw_error error;
    struct dw_rows some;
    struct dw_join *join = dw_join_new(2, &error);
    double last = -INFINITY;
    for (int table = 0; table < 500; table++) {
        const double start = 0.1 * table * table - 7.7 / (table + 1);
        dw_join_next(join);
        for (int i = 0; i < 4; i++) {
            succeeds(dw_join_row(join, (double[]){ start + i / 3.0, i }, &some, &error), error);
            for (size_t k = 0; k < some.count; k++) {
                ck_assert_double_ge(some.values[2 * k], last);
                last = some.values[2 * k];
            }
        }
    }
    dw_join_free(join);
    dw_join_free(NULL);
    /* from -7.7 s on 500 tables of one second; each adds three roundings, of start, difference and sum, of which the
     * largest start, 24900 s, makes at most half an ulp of 32768 */
    within_scale(last, 492.3, 3 * 500 * 0x1p-53, 32768);
}
END_TEST

static struct dw_header *header_of(const char *const *keys)
{
    struct dw_error error;
    struct dw_header *header = dw_header_new("time", "s", &error);
    succeeds(dw_header_append(header, "pin", "V", &error), error);
    for (; keys[0]; keys += 2)
        succeeds(dw_header_add(header, keys[0], keys[1], &error), error);
    return header;
}

START_TEST(a_joined_header_says_only_what_is_true_of_both)
{
    static const struct {
        const char *one[12], *other[12];
        double shift;
        const char *wanted;
    } cases[] = {
        { { "period", "2" }, { "period", "2" }, 6, "carrier-period=2|" },
        { { "period", "2" }, { "period", "2" }, 5, "" },
        { { "period", "2" }, { "period", "2" }, NAN, "" },
        { { "period", "2" }, { "period", "3" }, 6, "" },
        { { "period", "2" }, { NULL }, 6, "" },
        { { "period", "4", "carrier-period", "2", "origin", "0.5" },
          { "carrier-period", "2", "origin", "1.5" }, 3, "carrier-period=2|origin=0.5|" },
        { { "levels", "0 5", "duty", "asked 0.25 given 0.25" }, { "levels", "0 5", "duty", "asked 0.5 given 0.5" }, 1,
          "levels=0 5|" },
        { { "levels", "0 5" }, { "levels", "0 3.3" }, 1, "" },
        { { "levels", "0 5" }, { NULL }, 1, "" },
        { { "sampled", "1000", "accuracy", "pin 1e-06" }, { "sampled", "500", "accuracy", "pin 1e-05" }, 1,
          "sampled=500|accuracy=pin 0.00001|" },
        { { "sampled", "100", "accuracy", "pin 1e-04" }, { "sampled", "500", "accuracy", "pin 1e-05" }, 1,
          "sampled=100|accuracy=pin 1e-04|" },
        { { "note", "a" }, { "note", "b", "colour", "red" }, 1, "note=a|note=b|colour=red|" },
        { { NULL }, { "sampled", "500", "accuracy", "pin 1" }, 1, "sampled=500|accuracy=pin 1|" },
        { { "accuracy", "pin 0" }, { NULL }, 1, "accuracy=pin 0|" },
        { { "accuracy", "pin 0.001 1e-04" }, { "accuracy", "pin 0.001 1e-04" }, 1, "accuracy=pin 0.001 1e-04|" },
        { { "accuracy", "pin 0.001 1e-04" }, { "accuracy", "pin 1e-3 2e-4" }, 1, "accuracy=pin 0.001 0.0002|" },
        { { "accuracy", "pin 0.001" }, { "accuracy", "pin 1e-3 2e-4" }, 1, "accuracy=pin 0.001|" },
        { { "accuracy", "pin 0.001" }, { "accuracy", "pin 0.001" }, 1, "accuracy=pin 0.001|" },
        { { "accuracy", "pin - 1e-4" }, { "accuracy", "pin - 2e-4" }, 1, "accuracy=pin - 0.0002|" },
        { { "accuracy", "pin - 1e-4" }, { "accuracy", "pin 1e-3" }, 1, "accuracy=pin 0.001|" },
        { { "tick", "1e-6" }, { "tick", "1e-6" }, 1, "tick=1e-6|" },
        { { "tick", "1e-6" }, { "tick", "2e-6" }, 1, "" },
        { { "made-by", "a", "colour", "blue", "initial", "pin 1" },
          { "made-by", "b", "colour", "red", "shape", "round", "initial", "pin 2" }, 1,
          "made-by=a|made-by=b|colour=blue|initial=pin 1|shape=round|" },
    };
    struct dw_error error;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_header *header = header_of(cases[i].one), *next = header_of(cases[i].other);
        succeeds(dw_header_join(header, next, cases[i].shift, &error), error);
        char got[512] = "";
        const char *key, *value;
        for (size_t k = 0; (key = dw_header_key(header, k, &value)); k++)
            strcat(strcat(strcat(strcat(got, key), "="), value), "|");
        ck_assert_str_eq(got, cases[i].wanted);
        dw_header_free(header);
        dw_header_free(next);
    }
    struct dw_header *header = header_of((const char *[]){ NULL }), *next = header_of((const char *[]){ NULL });
    succeeds(dw_header_rename(next, 1, "gate", "1", &error), error);
    refuses(dw_header_join(header, next, 0, &error), DW_BAD_INPUT, error,
            "column 2 is pin[V] in the one table and gate[1] in the other");
    succeeds(dw_header_rename(next, 1, "pin", "1", &error), error);
    refuses(dw_header_join(header, next, 0, &error), DW_BAD_INPUT, error,
            "column 2 is pin[V] in the one table and pin[1] in the other");
    succeeds(dw_header_append(next, "out", "V", &error), error);
    refuses(dw_header_join(header, next, 0, &error), DW_BAD_INPUT, error, "the tables have 1 and 2 channels");
    dw_header_free(header);
    dw_header_free(next);
}
END_TEST

SUITE("table: splice", a_span_begins_after_the_jump_at_its_start_and_ends_before_that_at_its_end,
      a_span_outside_the_table_is_refused, a_row_put_in_lies_on_the_line_even_at_the_ends_of_the_range,
      the_last_periods_go_from_boundary_to_boundary, a_record_that_begins_within_a_period_has_it_not,
      periods_on_a_line_need_no_row_between_them, an_instant_is_a_span_without_ends,
      too_few_periods_are_refused, any_number_of_rows_at_one_time_and_in_one_period_are_kept,
      joined_tables_meet_in_one_jump_at_most, time_never_goes_back_where_tables_meet,
      a_joined_header_says_only_what_is_true_of_both)
