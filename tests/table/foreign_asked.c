/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is asked for of a table that is not ours: its columns, what is passed over, a time. */
#include "table/fixture.h"
#include "suite.h"
#include <stdio.h>
#include <string.h>

/* A table as text: columns, then rows, or the error. */
static void opened_with(const char *text, const struct dw_reader_options *options, const char *wanted)
{
    struct dw_error error = { .status = DW_OK };
    char found[1024] = "";
    feed(text, strlen(text));
    struct dw_reader *reader = dw_reader_open(NULL, options, &error);
    enum dw_status status = reader ? DW_OK : error.status;
    const double *row;
    if (reader)
        columns_of(dw_reader_header(reader), found, sizeof found);
    while (reader && (status = dw_reader_row(reader, &row, &error)) == DW_OK)
        for (size_t i = 0; i < dw_header_columns(dw_reader_header(reader)); i++)
            snprintf(found + strlen(found), sizeof found - strlen(found), "%s%g", i ? " " : "; ", row[i]);
    if (reader && dw_reader_skipped(reader, NULL, 0)) {
        char first[DW_ERROR_TEXT];
        const unsigned long long skipped = dw_reader_skipped(reader, first, sizeof first);
        snprintf(found + strlen(found), sizeof found - strlen(found), "; %llu skipped, %s", skipped, first);
    }
    const char *got = status == DW_OK || status == DW_END ? found : error.text;
    ck_assert_msg(!strcmp(got, wanted), "%s\n%s, wanted %s", text, got, wanted);
    dw_reader_close(reader);
}

START_TEST(columns_are_taken_by_position_or_title)
{
    static const char bench[] = "Model,X\nTime (ms),A (mV),Note,\"B, right\"\n1,2,on,3\n4,5,,6\n7,8,off\n";
    static const struct {
        const char *text, *columns, *wanted;
    } cases[] = {
        { bench, "1,2", "time[s] A[V]; 0.001 0.002; 0.004 0.005; 0.007 0.008" },
        { bench, "Time (ms),A (mV)", "time[s] A[V]; 0.001 0.002; 0.004 0.005; 0.007 0.008" },
        { bench, " 2 , 1", "A[V] Time[s]; 0.002 0.001; 0.005 0.004; 0.008 0.007" },
        { bench, "Time (ms),\"B, right\"", "standard input, line 5: 3 fields where 2 were expected" },
        { bench, "1,4,2", "standard input, line 5: 3 fields where 3 were expected" },
        { bench, "1,3", "standard input: no row of numbers in its first 5 lines; the first is 'Model,X'" },
        { bench, "Time (ms),C", "standard input, line 4: the first row, and no line above it has the titles 'Time (ms),C'" },
        { "a,b\nx,y\n", "a,c", "standard input: no row of numbers in its first 2 lines; the first is 'a,b'" },
        { "a,b\n1,2\n", "a,c", "standard input, line 2: the first row, and no line above it has the titles 'a,c'" },
        { "5;x;1,5\n6;;2\n7;1.5;3\n", "1,3", "time[s] ch1[]; 5 1.5; 6 2; 7 3" },
        { "0 1 2\n1 2 x\n", "1,3", "standard input, line 2: 'x' is not a number" },
        { "0 1 2\n", "1,4", "standard input: no row of numbers in its first 1 line; the first is '0 1 2'" },
        { "0 1\n", "1", "columns '1': a time and a channel at least" },
        { "BZh", "1,2", "standard input: no row of numbers in its first 1 line; the first is 'BZh'" },  /* with more behind it a block of bzip2 */
        { "0 1\n", "1,\"b", "columns '1,\"b': positions or titles with commas between them, such as 1,3" },
        { "0 1\n", "0,1", "standard input, line 1: the first row, and no line above it has the titles '0,1'" },
        { "0 1\n", "1,2000000", "standard input, line 1: the first row, and no line above it has the titles '1,2000000'" },
        { "0 1\n", "1,1.5", "standard input, line 1: the first row, and no line above it has the titles '1,1.5'" },
        { "0 1\n", "1,1", "columns '1,1': one stands twice" },
        { "0 1\n", "1,,2", "columns '1,,2': positions or titles with commas between them, such as 1,3" },
        { "# wave-table 1\n# columns: time[s] pin[V]\n0\t1\n# end: 1\n", "1,2",
          "standard input is a table of ours, whose channels have names: columns are chosen by those" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        opened_with(cases[i].text, &(struct dw_reader_options){ .columns = cases[i].columns }, cases[i].wanted);
}
END_TEST

START_TEST(rows_with_words_or_gaps_are_passed_over_where_asked_and_counted)
{
    static const struct {
        const char *text, *wanted;
    } cases[] = {
        { "time,a\n0,1\n1,OVL\n2,\n3,--\n4,nan\n5,6\n",
          "time[s] a[]; 0 1; 5 6; 4 skipped, standard input, line 3: 'OVL' is not a number" },
        { "time,a\n0,inf\n\n1,OL\n2,3\n", "time[s] a[]; 2 3; 2 skipped, standard input, line 2: 'inf' is not a finite number" },
        { "time,a\n1,OL\n2,3\n", "time[s] a[]; 2 3; 1 skipped, standard input, line 2: 'OL' is not a number" },
        { "0;1\n1;9,9e37\n2;3\n",
          "time[s] ch1[]; 0 1; 2 3; 1 skipped, standard input, line 2: '9,9e37' stands for a value that is out of range or missing" },
        { "0 1\nOVL 2\n", "standard input, line 2: 'OVL' is not a number" },
        { "0 1\n1 2 3\n", "standard input, line 2: 3 fields where 2 were expected" },
        { "0 1\n1 OVL\n-1 2\n", "standard input, line 3: time goes back from 0 to -1" },
        { "# wave-table 1\n# columns: time[s] pin[V]\n0\tinf\n# end: 1\n", "standard input, line 3: 'inf' is not a finite number" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        opened_with(cases[i].text, &(struct dw_reader_options){ .skip_bad = true }, cases[i].wanted);
}
END_TEST

START_TEST(a_time_is_asked_for_by_name_or_unit)
{
    static const struct {
        const char *text, *message;
    } cases[] = {
        { "duty,ripple\n0,1\n", "here: the first column is duty, without a unit; a wave against time[s] is needed" },
        { "frequency,gain\n0,1\n", "here: the first column is frequency, without a unit; a wave against time[s] is needed" },
        { "time (ticks),gain\n0,1\n", "here: the first column is time[ticks]; a wave against time[s] is needed" },
        { "0,1\n", "" },
        { "seconds,gain\n0,1\n", "" },
        { "Time_Stamp,gain\n0,1\n", "" },
        { "# wave-table 1\n# columns: t v\n0 1\n# end: 1\n", "" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_error error = { .status = DW_OK };
        struct dw_reader *reader = reader_of_text(cases[i].text, &error);
        ck_assert_ptr_nonnull(reader);
        ck_assert_int_eq(dw_header_needs_time(dw_reader_header(reader), "here", &error), *cases[i].message ? DW_BAD_INPUT : DW_OK);
        ck_assert_str_eq(error.text, cases[i].message);
        dw_reader_close(reader);
    }
}
END_TEST

SUITE("table: asked of foreign tables", columns_are_taken_by_position_or_title, a_time_is_asked_for_by_name_or_unit,
      rows_with_words_or_gaps_are_passed_over_where_asked_and_counted)
