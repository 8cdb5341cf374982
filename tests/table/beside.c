/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables beside each other, and channels made of others: every wave stays what it was, and the new one is what it is said to be. */
#include "suite.h"
#include <dutywright/beside.h>
#include <dutywright/pieces.h>
#include <float.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { ROWS = 4096, COLUMNS = 12 };

/* Rows of a table. */
struct rows {
    size_t columns, count, slope[COLUMNS];
    double row[ROWS][COLUMNS];
};

/* xorshift64*: Vigna 2016, ACM TOMS 42:30; uniform in [-1, 1) */
static double random_next(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return (double)(*state * UINT64_C(2685821657736338717) >> 11) * 0x1p-52 - 1;
}

static struct dw_reader *reader_of(const char *text)
{
    char name[] = "beside-XXXXXX";
    struct dw_error error;
    const int file = mkstemp(name);
    ck_assert(file >= 0 && write(file, text, strlen(text)) == (ssize_t)strlen(text));
    close(file);
    struct dw_reader *reader = dw_reader_open(name, &(struct dw_reader_options){ .curves = true }, &error);
    ck_assert_msg(reader != NULL, "%s", error.text);
    unlink(name);
    return reader;
}

static void keep(struct rows *to, const struct dw_header *header, struct dw_rows some)
{
    to->columns = dw_header_columns(header);
    dw_header_slopes(header, to->slope);
    for (size_t i = 0; i < some.count; i++) {
        ck_assert_uint_lt(to->count, ROWS);
        memcpy(to->row[to->count++], some.values + i * to->columns, to->columns * sizeof(double));
    }
}

/* A channel just behind a time (or just before it), which is no later than the last row's. */
static double value_at(const struct rows *rows, size_t column, double time, bool behind)
{
    double made[COLUMNS];
    size_t k = 1;
    while (k + 1 < rows->count && (rows->row[k][0] < time || (behind && rows->row[k][0] == time)))
        k++;
    dw_row_between(rows->columns, rows->slope, rows->row[k - 1], rows->row[k], time, made);
    return made[column];
}

/* A table of a line with jumps and a curve, from a time on, as text; and as rows. */
static char *random_table(uint64_t *seed, const char *names, double from, size_t count, bool jumps)
{
    char *text = calloc(count + 4, 200);
    size_t used = (size_t)sprintf(text, "# wave-table 1\n# columns: time[s] %s\n", names), rows = 0;
    double time = from;
    for (size_t i = 0; i < count; i++) {
        for (size_t k = 0, times = jumps && i % 4 == 2 ? 2 : 1; k < times; k++, rows++)
            used += (size_t)sprintf(text + used, "%.17g %.17g %.17g %.17g\n", time, 2 + random_next(seed), 3 + random_next(seed), 40 * random_next(seed));
        time += 0.02 * (1.1 + random_next(seed));
    }
    sprintf(text + used, "# end: %zu\n", rows);
    return text;
}

static void read_all(const char *text, struct rows *to)
{
    struct dw_reader *reader = reader_of(text);
    struct dw_error error;
    const double *values;
    for (size_t rows; dw_reader_rows(reader, 100, &values, &rows, &error) == DW_OK;)
        keep(to, dw_reader_header(reader), (struct dw_rows){ values, rows });
    dw_reader_close(reader);
}

static enum dw_status put_beside(const char *one, const char *other, struct rows *to, char *columns, struct dw_error *error)
{
    struct dw_reader *const readers[] = { reader_of(one), reader_of(other) };
    struct dw_beside *b = dw_beside_new(readers, 2, error);
    enum dw_status status = b ? DW_OK : error->status;
    struct dw_rows some;
    for (size_t i = 1; b && columns && i < dw_header_columns(dw_beside_header(b)); i++)
        columns += sprintf(columns, " %s[%s]", dw_header_column(dw_beside_header(b), i).name, dw_header_column(dw_beside_header(b), i).unit);
    while (b && (status = dw_beside_rows(b, &some, error)) == DW_OK)
        keep(to, dw_beside_header(b), some);
    dw_beside_free(b);
    dw_reader_close(readers[0]);
    dw_reader_close(readers[1]);
    return status == DW_END ? DW_OK : status;
}

START_TEST(waves_beside_each_other_stay_what_they_were)
{
    static struct rows one, other, both;
    uint64_t seed = 7;
    struct dw_error error;
    for (int trial = 0; trial < 20; trial++) {
        char columns[256] = "", *first = random_table(&seed, "pin[V] out[V] out'[V/s]", 0, 40, true);
        char *second = random_table(&seed, "pin[V] load[A] load'[A/s]", 0.1 * random_next(&seed), 50, trial % 2);
        one.count = other.count = both.count = 0;
        read_all(first, &one);
        read_all(second, &other);
        succeeds(put_beside(first, second, &both, columns, &error), error);
        ck_assert_str_eq(columns, " pin[V] out[V] out'[V/s] pin-2[V] load[A] load'[A/s]");
        const double from = fmax(one.row[0][0], other.row[0][0]), to = fmin(one.row[one.count - 1][0], other.row[other.count - 1][0]);
        ck_assert_double_eq(both.row[0][0], from);
        ck_assert_double_eq(both.row[both.count - 1][0], to);
        for (int i = 0; i < 500; i++) {
            const double time = from + (to - from) * (1 + random_next(&seed)) / 2;
            for (size_t c = 1; c < 4; c++) {
                const double scale = c == 3 ? 400 : 4; /* a piece's sum of |c| is some 4 V, its slope's 400 V/s; cut twice */
                within_scale(value_at(&both, c, time, true), value_at(&one, c, time, true), 32 * DBL_EPSILON, scale);
                within_scale(value_at(&both, 3 + c, time, true), value_at(&other, c, time, true), 32 * DBL_EPSILON, scale);
            }
        }
        /* jumps are where they were, both sides of them */
        for (size_t k = 1; k < one.count; k++)
            if (one.row[k][0] == one.row[k - 1][0] && one.row[k][0] >= from && one.row[k][0] <= to) {
                within_scale(value_at(&both, 1, one.row[k][0], false), one.row[k - 1][1], 32 * DBL_EPSILON, 4);
                within_scale(value_at(&both, 1, one.row[k][0], true), one.row[k][1], 32 * DBL_EPSILON, 4);
            }
        free(first);
        free(second);
    }
}
END_TEST

START_TEST(beside_samples_the_others_are_taken_at_their_instants)
{
    static struct rows both;
    struct dw_error error;
    const char *samples = "# wave-table 1\n# sampled: 10\n# columns: time[s] probe[V]\n0 1\n0.1 2\n0.2 3\n0.3 4\n# end: 4\n";
    const char *wave = "# wave-table 1\n# columns: time[s] pin[V] out[V] out'[V/s]\n-1 0 0 0\n0.1 0 1 0\n0.1 3 1 0\n0.25 3 0 -2\n0.4 3 1 4\n# end: 5\n";
    char columns[128] = "";
    both.count = 0;
    succeeds(put_beside(samples, wave, &both, columns, &error), error);
    ck_assert_str_eq(columns, " probe[V] pin[V] out[V]");
    ck_assert_uint_eq(both.count, 4);
    for (size_t i = 0; i < 4; i++) {
        ck_assert_double_eq(both.row[i][1], (double)i + 1);
        ck_assert_double_eq(both.row[i][2], i ? 3 : 0); /* on the jump: behind it */
    }
    /* a third of the piece from 0.25 to 0.4: c = 0, -0.3, 3 + 0.6 - 0.6, -0.3 + 0.6 - 2 */
    within_scale(both.row[3][3], -0.3 / 3 + 3.0 / 9 - 1.7 / 27, 16 * DBL_EPSILON, 1);
    both.count = 0;
    const char *late = "# wave-table 1\n# sampled: 10\n# columns: time[s] probe[V]\n0.2 8\n0.3 9\n0.4 7\n# end: 3\n";
    succeeds(put_beside(samples, late, &both, columns, &error), error);
    ck_assert_uint_eq(both.count, 2);
    ck_assert_double_eq(both.row[0][1], 3);
    ck_assert_double_eq(both.row[0][2], 8);
    ck_assert_double_eq(both.row[1][1], 4);
    ck_assert_double_eq(both.row[1][2], 9);
}
END_TEST

#define RATE(rate) "# wave-table 1\n# sampled: " rate "\n# columns: time[s] probe[V]\n"

START_TEST(tables_that_do_not_fit_beside_each_other_are_refused)
{
    static const struct {
        const char *one, *other, *says;
    } cases[] = {
        { "0 1\n1 2\n", "2 1\n3 2\n", " ends at 1 s, before " },
        { "duty[1] ripple[V]\n0 1\n1 2\n", "0 1\n1 2\n", ": the first column is duty[1]; a wave against time[s] is needed" },
        { RATE("10") "0 1\n0.1 2\n# end: 2\n", RATE("20") "0 1\n0.05 2\n# end: 2\n", "beside each other samples are of one rate" },
        { RATE("10") "0 1\n0.1 2\n0.2 3\n# end: 3\n", RATE("10") "0.03 1\n0.13 2\n0.23 3\n# end: 3\n", "spacings from the one beside it" },
        { RATE("10") "0 1\n0.1 2\n0.2 3\n# end: 3\n", RATE("10") "0 1\n0.1 2\n0.3 3\n# end: 3\n", "a sample at 0.3 s is 1 spacings" },
        { "# wave-table 1\n# columns: time[s] a[V]\n0 1\n1 1\n2 2\n# end: 4\n", "0 1\n1 2\n", "'# end: 4' after 3 rows" },
        /* before the other begins, where a sample stands, and behind the other's end */
        { "5 1\n6 2\n", "0 1\n1 2\nnone 3\n7 1\n", "'none' is not a number" },
        { RATE("10") "0 1\n0.1 2\n0.2 3\n# end: 3\n", "0 1\n0.05 2\nnone 3\n7 1\n", "'none' is not a number" },
        { "0 1\n1 2\n", "0 1\n1 2\n2 3\nnone 3\n", "'none' is not a number" },
        { "0 1\n1 2\n2 3\n3 4\nnone 3\n", "0 1\n1 2\n", "'none' is not a number" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        static struct rows both;
        struct dw_error error;
        both.count = 0;
        ck_assert_int_eq(put_beside(cases[i].one, cases[i].other, &both, NULL, &error), DW_BAD_INPUT);
        ck_assert_msg(strstr(error.text, cases[i].says) != NULL, "%s", error.text);
    }
}
END_TEST

/* ---- channels made of others ---- */

static enum dw_status combined(const char *text, enum dw_combination as, const char *names, struct rows *to, char *column, struct dw_error *error)
{
    struct dw_reader *reader = reader_of(text);
    const struct dw_header *header = dw_reader_header(reader);
    char *list = strdup(names), *rest = list;
    size_t operand[4], count = 0;
    for (char *name; (name = strsep(&rest, ","));)
        operand[count++] = dw_header_find(header, name, NULL);
    struct dw_combine *c = dw_combine_new(header, &(struct dw_combine_plan){ .as = as, .name = "new", .column = operand, .count = count }, error);
    enum dw_status status = c ? DW_OK : error->status;
    const double *values;
    struct dw_rows some;
    for (size_t rows; status == DW_OK && (status = dw_reader_rows(reader, 7, &values, &rows, error)) == DW_OK;)
        if ((status = dw_combine_rows(c, values, rows, &some, error)) == DW_OK)
            keep(to, dw_combine_header(c), some);
    if (status == DW_END && (status = dw_combine_finish(c, &some, error)) == DW_OK)
        keep(to, dw_combine_header(c), some);
    if (c && column) {
        const size_t at = dw_header_find(dw_combine_header(c), "new", NULL);
        snprintf(column, 64, "new[%s]%s", dw_header_column(dw_combine_header(c), at).unit, dw_header_slope(dw_combine_header(c), at) ? "'" : "");
    }
    dw_combine_free(c);
    dw_reader_close(reader);
    free(list);
    return status;
}

START_TEST(a_new_channel_is_what_it_is_made_of_everywhere)
{
    static const struct {
        enum dw_combination as;
        const char *operands, *column;
        double allowed; /* of 5, about the largest value; a curve is within 1e-6 of its largest change, which is some 60 at most */
    } cases[] = {
        { DW_SUM, "a,b", "new[V]'", 32 * DBL_EPSILON },
        { DW_SUM, "a,a", "new[V]", 32 * DBL_EPSILON },
        { DW_DIFFERENCE, "b,a", "new[V]'", 32 * DBL_EPSILON },
        { DW_SUM, "a,b,a,b", "new[V]'", 64 * DBL_EPSILON },
        { DW_PRODUCT, "a,a", "new[V^2]'", 64 * DBL_EPSILON }, /* of lines a parabola */
        { DW_PRODUCT, "a,b", "new[V^2]'", 4e-7 },
        { DW_PRODUCT, "b,b,a", "new[V^2*V]'", 1e-5 },
        { DW_RATIO, "a,b", "new[1]'", 4e-7 },
        { DW_RATIO, "b,a", "new[1]'", 4e-7 },
    };
    static struct rows plain, made;
    uint64_t seed = 3;
    struct dw_error error;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char *text = random_table(&seed, "a[V] b[V] b'[V/s]", -0.3, 60, true), column[64];
        plain.count = made.count = 0;
        read_all(text, &plain);
        succeeds(combined(text, cases[i].as, cases[i].operands, &made, column, &error), error);
        ck_assert_str_eq(column, cases[i].column);
        const double from = plain.row[0][0], to = plain.row[plain.count - 1][0];
        for (int k = 0; k < 3000; k++) {
            const double time = from + (to - from) * (1 + random_next(&seed)) / 2;
            const double a = value_at(&plain, 1, time, true), b = value_at(&plain, 2, time, true);
            double want = *cases[i].operands == 'a' ? a : b;
            for (const char *at = cases[i].operands + 2; *at; at += 1 + (at[1] == ',')) {
                const double next = *at == 'a' ? a : b;
                want = cases[i].as == DW_SUM ? want + next : cases[i].as == DW_DIFFERENCE ? want - next : cases[i].as == DW_PRODUCT ? want * next : want / next;
            }
            within_scale(value_at(&made, 4, time, true), want, cases[i].allowed, 5);
            within_scale(value_at(&made, 1, time, true), a, 32 * DBL_EPSILON, 4);
            within_scale(value_at(&made, 2, time, true), b, 32 * DBL_EPSILON, 4);
        }
        free(text);
    }
}
END_TEST

START_TEST(samples_and_points_are_combined_row_by_row)
{
    static struct rows made;
    char column[64];
    struct dw_error error;
    const char *tables[] = { "# wave-table 1\n# sampled: 1\n# columns: time[s] u[V] i[A]\n0 1 2\n1 3 4\n2 5 6\n# end: 3\n",
                             "# wave-table 1\n# columns: frequency[Hz] u[V] i[A]\n0 1 2\n1 3 4\n2 5 6\n# end: 3\n" };
    for (int k = 0; k < 2; k++) {
        made.count = 0;
        succeeds(combined(tables[k], DW_PRODUCT, "u,i", &made, column, &error), error);
        ck_assert_str_eq(column, "new[W]");
        ck_assert_uint_eq(made.count, 3);
        for (size_t i = 0; i < 3; i++)
            ck_assert_double_eq(made.row[i][3], made.row[i][1] * made.row[i][2]);
    }
    made.count = 0;
    succeeds(combined(tables[1], DW_RATIO, "u,i", &made, column, &error), error);
    ck_assert_str_eq(column, "new[ohm]");
}
END_TEST

START_TEST(what_cannot_be_combined_is_refused_by_name_and_time)
{
    static const struct {
        enum dw_combination as;
        const char *text, *operands;
        enum dw_status status;
        const char *says;
    } cases[] = {
        { DW_SUM, "time[s] u[V] i[A]\n0 1 1\n1 2 2\n", "u,i", DW_BAD_USE, "u[V] and i[A]: only like quantities have a sum" },
        { DW_RATIO, "time[s] u[V] i[A]\n0 1 1\n1 2 2\n", "u,i,u", DW_BAD_USE, "a ratio is of two channels, not 3" },
        { DW_PRODUCT, "time[s] u[V] i[A]\n0 1 1\n1 2 2\n", "u", DW_BAD_USE, "a product is of two channels or more, not 1" },
        { DW_SUM, "time[s] u[V] new[V]\n0 1 1\n1 2 2\n", "u,new", DW_BAD_USE, "there is a channel 'new' already" },
        { DW_RATIO, "time[s] u[V] i[A]\n0 1 1\n1 2 -3\n", "u,i", DW_BAD_INPUT,
          "i passes through 0 near 0.25, and nothing can be divided by it; a --span may leave that out" },
        { DW_RATIO, "time[s] u[V] i[A]\n0 1 1\n1 2 2\n1 2 0\n1 2 2\n2 1 1\n", "u,i", DW_BAD_INPUT,
          "i is 0 at 1, and nothing can be divided by it; a --span may leave that out" },
        { DW_PRODUCT, "time[s] u[V] i[A]\n0 1e200 1\n1 2 1\n2 1e200 1e200\n", "u,i", DW_BAD_INPUT, "the product is beyond the range of numbers at 2" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        static struct rows made;
        struct dw_error error;
        made.count = 0;
        refuses(combined(cases[i].text, cases[i].as, cases[i].operands, &made, NULL, &error), cases[i].status, error, cases[i].says);
    }
}
END_TEST

/* A name of its own where there is one, read either way round; else both, or what is known of one. */
START_TEST(what_is_made_of_two_has_their_unit)
{
    static const struct {
        enum dw_combination as;
        const char *one, *other, *unit;
    } cases[] = {
        { DW_PRODUCT, "V", "A", "W" }, { DW_PRODUCT, "rad/s", "Nm", "W" }, { DW_PRODUCT, "V", "V", "V^2" }, { DW_PRODUCT, "V", "rad", "V*rad" },
        { DW_PRODUCT, "1", "V", "V" }, { DW_PRODUCT, "V", "1", "V" }, { DW_PRODUCT, "V", "H", "V*H" }, { DW_PRODUCT, "A", "W", "A*W" },
        { DW_RATIO, "V", "V", "1" }, { DW_RATIO, "W", "V", "A" }, { DW_RATIO, "W", "A", "V" }, { DW_RATIO, "V", "1", "V" },
        { DW_RATIO, "1", "V", "1/V" }, { DW_RATIO, "V", "rad", "V/rad" }, { DW_RATIO, "", "V", "" }, { DW_PRODUCT, "V", "", "" },
        { DW_SUM, "", "V", "V" }, { DW_SUM, "V", "", "V" }, { DW_DIFFERENCE, "V", "V", "V" },
    };
    static const size_t both[] = { 1, 2 };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_error error = { .text = "" };
        struct dw_header *header = dw_header_new("time", "s", &error);
        succeeds(dw_header_append(header, "one", cases[i].one, &error), error);
        succeeds(dw_header_append(header, "other", cases[i].other, &error), error);
        struct dw_combine *c = dw_combine_new(header, &(struct dw_combine_plan){ cases[i].as, "new", NULL, both, 2 }, &error);
        ck_assert_msg(c != NULL, "%s", error.text);
        const struct dw_header *made = dw_combine_header(c);
        ck_assert_str_eq(dw_header_column(made, dw_header_find(made, "new", &error)).unit, cases[i].unit);
        dw_combine_free(c);
        dw_header_free(header);
    }
}
END_TEST

/* Of the first table's keys tick stands where the other has the same, made-by and note of both. */
START_TEST(keys_of_two_tables_are_put_together)
{
    for (int same = 0; same < 2; same++) {
        struct dw_error error = { .text = "" };
        struct dw_reader *readers[] = {
            reader_of("# wave-table 1\n# made-by: one\n# note: first\n# tick: 0.5\n# columns: time[s] a[V]\n0\t1\n2\t2\n# end: 2\n"),
            reader_of(same ? "# wave-table 1\n# made-by: other\n# note: second\n# tick: 0.5\n# columns: time[s] b[V]\n0\t1\n2\t2\n# end: 2\n"
                           : "# wave-table 1\n# made-by: other\n# note: second\n# columns: time[s] b[V]\n0\t1\n2\t2\n# end: 2\n") };
        struct dw_beside *both = dw_beside_new(readers, 2, &error);
        ck_assert_msg(both != NULL, "%s", error.text);
        const char *key, *value;
        int made = 0, notes = 0;
        for (size_t i = 0; (key = dw_header_key(dw_beside_header(both), i, &value)); i++) {
            made += !strcmp(key, "made-by");
            notes += !strcmp(key, "note");
        }
        ck_assert(made == 2 && notes == 2);
        ck_assert_int_eq(dw_header_get(dw_beside_header(both), "tick") != NULL, same);
        dw_beside_free(both);
        dw_reader_close(readers[0]);
        dw_reader_close(readers[1]);
    }
}
END_TEST

/* Samples go on behind the end of a wave, which comes first or last: the last that it reaches is the last of all. */
START_TEST(samples_end_where_a_wave_beside_them_does)
{
    for (int first = 0; first < 2; first++) {
        static struct rows both;
        struct dw_error error = { .text = "" };
        const char *samples = RATE("10") "0 1\n0.1 2\n0.2 3\n0.3 4\n# end: 4\n", *wave = "0 1\n0.22 2\n";
        both.count = 0;
        ck_assert_int_eq(put_beside(first ? wave : samples, first ? samples : wave, &both, NULL, &error), DW_OK);
        ck_assert_uint_eq(both.count, 3);
        ck_assert_double_eq(both.row[2][0], 0.2);
    }
}
END_TEST

/* Of one period with carriers that differ the carrier goes and the origin stays; and a share without a number is one beside others. */
START_TEST(what_holds_of_one_of_two_periods_stays)
{
    struct dw_error error = { .text = "" };
    struct dw_reader *readers[] = {
        reader_of("# wave-table 1\n# period: 1\n# carrier-period: 0.1\n# origin: 0\n# columns: time[s] a[V]\n0\t1\n2\t2\n# end: 2\n"),
        reader_of("# wave-table 1\n# period: 1\n# carrier-period: 0.2\n# origin: 0\n# accuracy: b - 1e-3\n# columns: time[s] b[V]\n0\t1\n2\t2\n# end: 2\n") };
    struct dw_beside *both = dw_beside_new(readers, 2, &error);
    ck_assert_msg(both != NULL, "%s", error.text);
    const struct dw_header *header = dw_beside_header(both);
    ck_assert(dw_header_get(header, "period") && dw_header_get(header, "origin") && !dw_header_get(header, "carrier-period"));
    ck_assert_str_eq(dw_header_get(header, "accuracy"), "b - 0.001");
    dw_beside_free(both);
    dw_reader_close(readers[0]);
    dw_reader_close(readers[1]);
}
END_TEST

/* Of a sum whose channel has a share alone no number is known; a slope beyond all numbers is refused as a value is. */
START_TEST(a_share_alone_makes_no_number_of_a_sum)
{
    static struct rows rows;
    struct dw_error error = { .text = "" };
    struct dw_reader *reader = reader_of("# wave-table 1\n# accuracy: a - 1e-3\n# columns: time[s] a[V]\n0\t1\n1\t2\n# end: 2\n");
    struct dw_combine *c = dw_combine_new(dw_reader_header(reader), &(struct dw_combine_plan){ .as = DW_SUM, .name = "new", .column = (size_t[]){ 1, 1 }, .count = 2 },
                                          &error);
    ck_assert_msg(c != NULL, "%s", error.text);
    ck_assert_ptr_null(strstr(dw_header_get(dw_combine_header(c), "accuracy"), "new"));
    dw_combine_free(c);
    dw_reader_close(reader);
    ck_assert_int_eq(combined("# wave-table 1\n# columns: time[s] a[V] a'[V/s] b[A] b'[A/s]\n0 1e200 1 1 1e150\n1 1e200 1 1 1e150\n# end: 2\n", DW_PRODUCT,
                              "a,b", &rows, NULL, &error), DW_BAD_INPUT);
    ck_assert_msg(strstr(error.text, "is beyond the range of numbers at 0") != NULL, "%s", error.text);
}
END_TEST

START_TEST(a_table_without_rows_has_nothing_beside_it)
{
    struct dw_error error = { .text = "" };
    struct dw_reader *readers[] = { reader_of("# wave-table 1\n# columns: time[s] a[V]\n0\t1\n1\t2\n# end: 2\n"),
                                    reader_of("# wave-table 1\n# columns: time[s] b[V]\n# end: 0\n") };
    ck_assert_ptr_null(dw_beside_new(readers, 2, &error));
    ck_assert_int_eq(error.status, DW_BAD_INPUT);
    ck_assert_msg(strstr(error.text, ": it holds no rows") != NULL, "%s", error.text);
    dw_reader_close(readers[0]);
    dw_reader_close(readers[1]);
}
END_TEST

SUITE("table: beside each other, and made of others", waves_beside_each_other_stay_what_they_were,
      beside_samples_the_others_are_taken_at_their_instants, tables_that_do_not_fit_beside_each_other_are_refused,
      a_new_channel_is_what_it_is_made_of_everywhere, samples_and_points_are_combined_row_by_row,
      what_cannot_be_combined_is_refused_by_name_and_time,
      samples_end_where_a_wave_beside_them_does, what_holds_of_one_of_two_periods_stays, a_share_alone_makes_no_number_of_a_sum,
      what_is_made_of_two_has_their_unit, keys_of_two_tables_are_put_together, a_table_without_rows_has_nothing_beside_it)
