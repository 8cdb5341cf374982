/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A table that repeats: which rows its first period has, and what later ones it takes for the same. */
#include "suite.h"
#include "table/fixture.h"
#include <dutywright/repeat.h>
#include <float.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define COLUMNS "# columns: time[s] pin[V] angle[rad]\n"

static struct dw_repeat *repeat_of(const char *text, struct dw_reader **reader)
{
    struct dw_error error = { .status = DW_OK };
    *reader = reader_of_text(text, &error);
    ck_assert_msg(*reader != NULL, "%s", error.text);
    struct dw_repeat *repeat = dw_repeat_new(*reader, "an echo", &error);
    ck_assert_msg(repeat != NULL, "%s", error.text);
    return repeat;
}

static void end(struct dw_repeat *repeat, struct dw_reader *reader)
{
    dw_repeat_free(repeat);
    dw_reader_close(reader);
}

START_TEST(the_first_period_ends_one_period_after_the_first_row_before_a_jump_or_between_two_rows)
{
    static const struct {
        const char *rows;
        size_t count;
        double lap[8][3];
    } cases[] = {
        /* a row is put in: 0.1 of the way from 1 to 2 */
        { "0 3 0\n0.5 3 1\n0.5 0 1\n0.9 0 1\n1.9 1 2\n", 5, { { 0, 3, 0 }, { 0.5, 3, 1 }, { 0.5, 0, 1 }, { 0.9, 0, 1 }, { 1, 0.1, 1.1 } } },
        /* the jump at the end belongs to the next one, those at the start to this */
        { "0 0 0\n0 1 0\n0 3 0\n0.5 3 1\n0.5 0 1\n1 0 2\n1 3 2\n", 6,
          { { 0, 0, 0 }, { 0, 1, 0 }, { 0, 3, 0 }, { 0.5, 3, 1 }, { 0.5, 0, 1 }, { 1, 0, 2 } } },
        { "7 3 0\n9.5 3 5\n", 2, { { 7, 3, 0 }, { 8, 3, 2 } } },  /* one line over periods */
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char text[500];
        struct dw_reader *reader;
        size_t count;
        snprintf(text, sizeof text, "# wave-table 1\n# period: 1\n" COLUMNS "%s# end: %d\n", cases[i].rows, i == 0 ? 5 : i == 1 ? 7 : 2);
        struct dw_repeat *repeat = repeat_of(text, &reader);
        const double *lap = dw_repeat_lap(repeat, &count);
        ck_assert_uint_eq(count, cases[i].count);
        for (size_t k = 0; k < count; k++)
            for (size_t j = 0; j < 3; j++)
                within_scale(lap[k * 3 + j], cases[i].lap[k][j], 3 * DBL_EPSILON, 2);  /* as dw_row_between */
        ck_assert(lap[(count - 1) * 3] == lap[0] + 1);
        ck_assert(dw_repeat_period(repeat) == 1);
        end(repeat, reader);
    }
}
END_TEST

/* A pulse of period T, duty 0.3, ramp in the angle; each instant moved by up to 4 ulp. */
static void write_pulse(char *text, size_t size, double T, int periods)
{
    size_t at = (size_t)snprintf(text, size, "# wave-table 1\n# period: %.17g\n" COLUMNS, T);
    for (int k = 0; k < periods; k++) {
        const double t[] = { k * T, k * T + 0.3 * T, k * T + 0.3 * T, (k + 1) * T }, pin[] = { 3.3, 3.3, 0, 0 }, angle[] = { 0, 3, 3, 10 };
        for (int i = 0; i < 4; i++)
            at += (size_t)snprintf(text + at, size - at, "%.17g %g %g\n", t[i] * (1 + (2 * k + (i + 1) / 2) % 3 * DBL_EPSILON), pin[i],
                                   angle[i] + 10 * k);
    }
    snprintf(text + at, size - at, "# end: %d\n", 4 * periods);
}

/* More rows than there is room for at first; and who does not ask why a table does not repeat. */
START_TEST(a_long_period_is_kept_whole)
{
    enum { ROWS = 1000 };
    char *text = calloc(2 * ROWS + 4, 40);
    size_t used = (size_t)sprintf(text, "# wave-table 1\n# period: 1\n" COLUMNS), count;
    for (int i = 0; i <= 2 * ROWS; i++)
        used += (size_t)sprintf(text + used, "%d.%03d %d %d\n", i / ROWS, i % ROWS, i % ROWS % 7, i % ROWS % 5);
    sprintf(text + used, "# end: %d\n", 2 * ROWS + 1);
    struct dw_reader *reader;
    struct dw_repeat *repeat = repeat_of(text, &reader);
    const double *lap = dw_repeat_lap(repeat, &count), *row;
    struct dw_error error;
    enum dw_status status;
    ck_assert_uint_eq(count, ROWS + 1);
    for (size_t i = 0; i < count; i++)
        ck_assert_double_eq(lap[3 * i + 1], (double)(i % ROWS % 7));
    while ((status = dw_repeat_row(repeat, &row, &error)) == DW_OK)
        continue;
    ck_assert_msg(status == DW_END, "%s", error.text);
    end(repeat, reader);
    free(text);
    reader = reader_of_text("# wave-table 1\n" COLUMNS "0 1 2\n1 1 2\n# end: 2\n", &error);
    ck_assert_ptr_null(dw_repeat_new(reader, "an echo", NULL));
    dw_reader_close(reader);
}
END_TEST

START_TEST(every_row_comes_once_in_order_and_instants_that_differ_by_ulps_are_the_same)
{
    static char text[1 << 16];
    const size_t compared[] = { 1, 0 };
    const double periods[] = { 1e-3, 1.0 / 1600, 1.0 / 22500, 0.7 };
    for (size_t i = 0; i < sizeof periods / sizeof *periods; i++) {
        struct dw_error error;
        struct dw_reader *reader;
        const double *row;
        enum dw_status status;
        write_pulse(text, sizeof text, periods[i], 200);
        struct dw_repeat *repeat = repeat_of(text, &reader);
        dw_repeat_compare(repeat, compared, 2);  /* not the angle, which goes on */
        size_t rows = 0;
        double last = 0, angle = 0;
        while ((status = dw_repeat_row(repeat, &row, &error)) == DW_OK) {
            ck_assert(row[0] >= last);
            angle = row[2];
            ck_assert(row[1] == (rows % 4 < 2 ? 3.3 : 0));
            last = row[0];
            rows++;
        }
        ck_assert_msg(status == DW_END, "%s", error.text);
        ck_assert_uint_eq(rows, 800);
        ck_assert(angle == 2000);
        end(repeat, reader);
    }
}
END_TEST

/* Read as curves, to its end. */
static enum dw_status read_curves(const char *keys, const char *rows, const double **lap, size_t *count, struct dw_error *error)
{
    static double kept[32];
    char text[500];
    const double *row;
    snprintf(text, sizeof text, "# wave-table 1\n%s# columns: time[s] out[V] out'[V/s]\n%s", keys, rows);
    feed(text, strlen(text));
    struct dw_reader *reader = dw_reader_open(NULL, &(struct dw_reader_options){ .partial = true, .curves = true }, error);
    ck_assert_msg(reader != NULL, "%s", error->text);
    struct dw_repeat *repeat = dw_repeat_new(reader, "an echo", error);
    ck_assert_msg(repeat != NULL, "%s", error->text);
    const double *const rows_of_it = dw_repeat_lap(repeat, count);
    ck_assert_uint_le(*count * 3, sizeof kept / sizeof *kept);
    *lap = memcpy(kept, rows_of_it, *count * 3 * sizeof *kept);
    enum dw_status status;
    dw_repeat_compare(repeat, (size_t[]){ 1 }, 1);
    while ((status = dw_repeat_row(repeat, &row, error)) == DW_OK)
        continue;
    end(repeat, reader);
    return status;
}

START_TEST(of_curves_the_slopes_repeat_too_and_a_period_may_end_between_rows)
{
    static const struct {
        const char *rows, *why;
    } cases[] = {
        { "1 0 -10000001\n1.5 1 2\n2 0 1\n", NULL },  /* the last of 8 digits */
        { "1 0 -10000000\n1.5 1 2\n2 0 1\n", NULL },
        { "1 0 -10000004\n1.5 1 2\n2 0 1\n",
          "standard input, line 7: the table does not repeat: 'out'' is -10000004 at 1 s, in its first period -10000001; a steady start "
          "needs periods that are equal" },
    };
    struct dw_error error = { .status = DW_OK };
    const double *lap;
    size_t count;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char rows[200];
        snprintf(rows, sizeof rows, "0 0 -10000001\n0.5 1 2\n1 0 1\n%s", cases[i].rows);
        const enum dw_status status = read_curves("# period: 1\n", rows, &lap, &count, &error);
        ck_assert_msg(status == (cases[i].why ? DW_BAD_INPUT : DW_END), "case %zu: %s", i, error.text);
        if (cases[i].why)
            ck_assert_str_eq(error.text, cases[i].why);
    }
    /* t (2 - t) (3 - t) at 1, and its slope 6 - 10 t + 3 t^2; at 3 s, between periods, all passes that lies between their ends */
    ck_assert_int_eq(read_curves("# period: 1\n", "0 0 6\n3 0 3\n", &lap, &count, &error), DW_END);
    ck_assert_uint_eq(count, 2);
    within_scale(lap[4], 2, 8 * DBL_EPSILON, 2);
    within_scale(lap[5], -1, 8 * DBL_EPSILON, 6);
}
END_TEST

START_TEST(a_period_that_is_another_is_refused_with_line_channel_and_both_values)
{
    static const struct {
        const char *rows, *why;  /* NULL: the same */
    } cases[] = {
        { "1 0 0\n1 3 0\n1.5 3 1\n1.5 0 1\n2 0 0\n", NULL },
        { "1 0 0\n1 3 0\n1.25 3 0.5\n1.5 3 1\n1.5 0 1\n1.8 0 0.4\n", NULL },  /* a row more, on the line */
        { "1 0 0\n1 3 0\n1.5 3 1\n1.5 0 1\n2 0 0\n2 3 0\n2.5 3 1\n2.5 0 1\n3 0 0\n", NULL },
        { "1 0 0\n1 3 0\n1.4 3 0.8\n1.4 0 0.8\n2 0 0\n",
          "standard input, line 10: the table does not repeat: 'pin' is 0 at 1.4 s, in its first period 3; a steady start needs "
          "periods that are equal" },
        { "1 0 0\n1 3 0\n1.5 3 1\n1.5 0 1.001\n2 0 0\n",
          "standard input, line 10: the table does not repeat: 'angle' is 1.001 at 1.5 s, in its first period 1; a steady start needs "
          "periods that are equal" },
        /* 1e-9 of the range, 3, are let pass */
        { "1 0 0\n1 3.0000000029 0\n1.5 3 1\n1.5 0 1\n2 0 0\n", NULL },
        { "1 0 0\n1 3.0000000031 0\n1.5 3 1\n1.5 0 1\n2 0 0\n",
          "standard input, line 8: the table does not repeat: 'pin' is 3 at 1 s, in its first period 3; a steady start needs periods that "
          "are equal" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char text[500];
        struct dw_error error = { .status = DW_OK };
        struct dw_reader *reader;
        const double *row;
        snprintf(text, sizeof text, "# wave-table 1\n# period: 1\n" COLUMNS "0 3 0\n0.5 3 1\n0.5 0 1\n%s", cases[i].rows);
        reader = reader_of(text, strlen(text), true, &error);
        ck_assert_ptr_nonnull(reader);
        struct dw_repeat *repeat = dw_repeat_new(reader, "an echo", &error);
        ck_assert_msg(repeat != NULL, "%s", error.text);
        enum dw_status status;
        while ((status = dw_repeat_row(repeat, &row, &error)) == DW_OK)
            continue;
        ck_assert_msg(status == (cases[i].why ? DW_BAD_INPUT : DW_END), "case %zu: %s", i, error.text);
        if (cases[i].why)
            ck_assert_str_eq(error.text, cases[i].why);
        end(repeat, reader);
    }
}
END_TEST

START_TEST(a_table_without_a_whole_period_is_refused)
{
    static const struct {
        const char *text, *why;
    } cases[] = {
        { "# wave-table 1\n" COLUMNS "0 3 0\n1 3 0\n", "standard input: an echo needs a table that repeats: its header has no period" },
        { "# wave-table 1\n# period: 1\n" COLUMNS "1 3 0\n1.75 3 0\n",
          "standard input: an echo needs one whole period of 1 s; the table ends after 0.75 s" },
        { "# wave-table 1\n# period: 1\n" COLUMNS,
          "standard input: an echo needs one whole period of 1 s; the table ends after 0 s" },
        { "# wave-table 1\n# period: 1e-9\n" COLUMNS "1e9 3 0\n2e9 3 0\n",
          "standard input: a period of 1e-09 s is too short to be told apart at a time of 1e+09 s" },
        { "# wave-table 1\n# period: 1\n" COLUMNS "0 3 0\n0.5 x 0\n", "standard input, line 5: 'x' is not a number" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct dw_error error = { .status = DW_OK };
        struct dw_reader *reader = reader_of(cases[i].text, strlen(cases[i].text), true, &error);
        ck_assert_msg(reader != NULL, "%s", error.text);
        ck_assert_ptr_null(dw_repeat_new(reader, "an echo", &error));
        ck_assert_int_eq(error.status, DW_BAD_INPUT);
        ck_assert_str_eq(error.text, cases[i].why);
        dw_reader_close(reader);
    }
    dw_repeat_free(NULL);
}
END_TEST

SUITE("table: a table that repeats", the_first_period_ends_one_period_after_the_first_row_before_a_jump_or_between_two_rows,
      a_long_period_is_kept_whole, every_row_comes_once_in_order_and_instants_that_differ_by_ulps_are_the_same,
      of_curves_the_slopes_repeat_too_and_a_period_may_end_between_rows,
      a_period_that_is_another_is_refused_with_line_channel_and_both_values, a_table_without_a_whole_period_is_refused)
