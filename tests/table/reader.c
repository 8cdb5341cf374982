/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Our own tables, text and binary: what reads, and to the letter how the rest is refused. */
#include "config.h"
#include "table/fixture.h"
#include "suite.h"
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define HEAD "# wave-table 1\n# made-by: dw-pwm --duty 0.37\n# period: 0.002\n# columns: time[s] pin[V]\n"

static const char pulse[] = HEAD "0\t5\n0.00074\t5\n0.00074\t0\n0.002\t0\n0.002\t5\n# end: 5\n";
static const double pulse_values[] = { 0, 5, 0.00074, 5, 0.00074, 0, 0.002, 0, 0.002, 5 };

static void reads_as_pulse(const char *text, size_t size, size_t most)
{
    struct whole all = read_whole(text, size, false, most);
    ck_assert_msg(all.status == DW_OK, "%s\n%s", text, all.error.text);
    ck_assert_uint_eq(all.columns, 2);
    ck_assert_uint_eq(all.rows, 5);
    ck_assert_mem_eq(all.values, pulse_values, sizeof pulse_values);
    ck_assert(all.has_end);
    whole_free(&all);
}

START_TEST(a_table_reads_the_same_by_rows_and_by_blocks)
{
    for (size_t most = 1; most < 8; most++) {
        struct bytes binary = converted(pulse, strlen(pulse), DW_BINARY);
        reads_as_pulse(pulse, strlen(pulse), most);
        reads_as_pulse(binary.at, binary.size, most);
        free(binary.at);
    }
}
END_TEST

START_TEST(any_separator_a_mark_line_ends_and_blank_lines_read)
{
    static const char *const rows[] = {
        "0 5\n0.00074 5\n0.00074 0\n0.002 0\n0.002 5\n#\t end: 5\n",
        "0   5\n 0.00074\t 5 \n0.00074  0\n  0.002 0\n0.002 5\n# end: 5\n",
        "0,5\n0.00074,5\n0.00074,0\n0.002 , 0\n0.002,5\n# end: 5\n",
        "0;5\n0,00074;5\n0,00074;0\n0,002;0,0\n0,002;5\n# end: 5\n",
        "0\t5\n0,00074\t5\n0,00074\t 0\n0,002\t0\n0,002\t+5\n#end:5\n",
        "0\t5\r\n7.4e-4\t5\r\n\r\n0.00074\t0\r\n0.002\t0\r\n2E-3\t5\r\n# end: 5\r\n\r\n",
        "\n\n0\t5\n\n  \t\n0.00074\t5\n0.00074\t0\n0.002\t0\n0.002\t\"5\"\n\n# end: 5\n\n \n",
    };
    char text[512];
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        for (int mark = 0; mark < 2; mark++) {
            snprintf(text, sizeof text, "%s" HEAD "%s", mark ? "\357\273\277\n" : "", rows[i]);
            reads_as_pulse(text, strlen(text), 3);
        }
}
END_TEST

START_TEST(a_cut_text_never_reads_as_whole)
{
    for (size_t size = 0; size < strlen(pulse); size++) {
        struct whole all = read_whole(pulse, size, false, 2);
        ck_assert_msg(all.status == DW_BAD_INPUT, "%zu bytes read as whole", size);
        ck_assert_msg(strstr(all.error.text, "standard input") == all.error.text, "%s", all.error.text);
        whole_free(&all);
    }
}
END_TEST

START_TEST(a_cut_binary_table_never_reads_as_whole)
{
    struct bytes binary = converted(pulse, strlen(pulse), DW_BINARY);
    ck_assert_uint_eq(binary.size, strlen(HEAD "# rows: float64le\n") + 6 * 16);
    for (size_t size = 0; size < binary.size; size++) {
        struct whole all = read_whole(binary.at, size, false, 2);
        ck_assert_msg(all.status == DW_BAD_INPUT, "%zu bytes read as whole", size);
        whole_free(&all);
    }
    free(binary.at);
}
END_TEST

START_TEST(partial_takes_every_whole_row_and_no_cut_one)
{
    const size_t head = strlen(HEAD);
    struct bytes binary = converted(pulse, strlen(pulse), DW_BINARY);
    for (size_t size = head; size <= strlen(pulse); size++) {
        size_t lines = 0;
        for (size_t i = head; i < size; i++)
            lines += pulse[i] == '\n';
        struct whole all = read_whole(pulse, size, true, 2);
        ck_assert_msg(all.status == DW_OK, "%s", all.error.text);
        ck_assert_uint_eq(all.rows, lines < 5 ? lines : 5);
        ck_assert(all.has_end == (size == strlen(pulse)));
        whole_free(&all);
    }
    for (size_t size = binary.size - 6 * 16; size < binary.size; size++) {
        struct whole all = read_whole(binary.at, size, true, 2);
        ck_assert_msg(all.status == DW_OK, "%s", all.error.text);
        ck_assert_uint_eq(all.rows, 6 - (binary.size - size + 15) / 16);
        ck_assert(!all.has_end);
        whole_free(&all);
    }
    free(binary.at);
}
END_TEST

struct refusal {
    const char *text, *message;
};

static void refused(const char *text, const char *message)
{
    for (size_t most = 1; most < 9; most += 7) {
        struct whole all = read_whole(text, strlen(text), false, most);
        ck_assert_msg(all.status == DW_BAD_INPUT, "%s", text);
        ck_assert_str_eq(all.error.text, message);
        whole_free(&all);
    }
}

START_TEST(faults_of_rows_are_named_to_the_letter)
{
    static const struct refusal cases[] = {
        { "0\t5\n0.1\t5\n", "standard input stops after row 2 without its end; did the program before it fail?" },
        { "0\t5\n0.1\t5", "standard input stops after row 1 without its end; did the program before it fail?" },
        { "", "standard input stops after row 0 without its end; did the program before it fail?" },
        { "0\t5\n0.0031\t5\n\n0.0029\t5\n# end: 3\n", "standard input, line 8: time goes back from 0.0031 to 0.0029" },
        { "0\t5\n1\n", "standard input, line 6: 1 field where 2 were expected" },
        { "0\t5\n1\t2\t3\n", "standard input, line 6: 3 fields where 2 were expected" },
        { "0\t5\t1\n", "standard input, line 5: 3 fields where 2 were expected" },
        { "0\t5\n1\t\n", "standard input, line 6: field 2 is empty" },
        { "0\t5\n\t1\n", "standard input, line 6: field 1 is empty" },
        { "0\t5\n1\t2\t\n", "standard input, line 6: field 3 is empty" },
        { "0\t5\t\n", "standard input, line 5: field 3 is empty" },
        { "0,5\n1,,5\n", "standard input, line 6: field 2 is empty" },
        { "0\t5\n1\tnan\n", "standard input, line 6: 'nan' is not a finite number" },
        { "0\t5\n1\t-INF\n", "standard input, line 6: '-INF' is not a finite number" },
        { "0\t5\n1\t1e999\n", "standard input, line 6: '1e999' is not a finite number" },
        { "0\t5\n1\t5V\n", "standard input, line 6: '5V' is not a number" },
        { "0\t5\n1\t1,5.2\n", "standard input, line 6: '1,5.2' is not a number" },
        { "0\t5\n1\t1,5,2\n", "standard input, line 6: '1,5,2' is not a number" },
        { "0\t5\n1\t\"5\n", "standard input, line 6: field 2: a quote does not close" },
        { "0\t5\n1\t\"5\"6\n", "standard input, line 6: field 2: a quote does not close" },
        { "0\t5\n# note: late\n", "standard input, line 6: '# note: late' stands among the rows" },
        { "0\t5\n# end: five\n", "standard input, line 6: '# end: five': the end is '# end: ROWS'" },
        { "0\t5\n# end: 2\n", "standard input, line 6: '# end: 2' after 1 rows: some are missing or were added" },
        { "0\t5\n# end: 1\n1\t5\n", "standard input, line 7: '1?5' stands behind the table's end" },
    };
    char text[256];
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        snprintf(text, sizeof text, HEAD "%s", cases[i].text);
        refused(text, cases[i].message);
    }
}
END_TEST

START_TEST(faults_of_the_header_are_named_to_the_letter)
{
#define MARK "# wave-table 1\n"
    static const struct refusal cases[] = {
        { "", "standard input is empty; did the program before it fail?" },
        { "\n \n", "standard input is empty; did the program before it fail?" },
        { "\377\376#\0", "standard input is UTF-16 text; save it as UTF-8" },
        { "\376\377\0#", "standard input is UTF-16 text; save it as UTF-8" },
        { "# wave-table 2\n", "standard input, line 1: '# wave-table 2': only version 1 of the table is known here" },
        { MARK "# period: 0.0", "standard input stops in its header, line 2; did the program before it fail?" },
        { MARK "#end: 0\n", "standard input, line 1: the header has no line '# columns: time[s] ...'" },
        { MARK "0\t5\n", "standard input, line 1: the header has no line '# columns: time[s] ...'" },
        { MARK "# columns: time[s]\n0\n", "standard input, line 2: the columns hold no channel beside time" },
        { MARK "# columns: time[ms] pin[V]\n", "standard input, line 2: columns: time[ms]: a wave table counts in s" },
        { MARK "# columns: time[s] pin[V\n", "standard input, line 2: columns: 'pin[V': expected NAME[UNIT], such as pin[V]" },
        { MARK "# columns: time[s] pin[]\n", "standard input, line 2: columns: 'pin[]': expected NAME[UNIT], such as pin[V]" },
        { MARK "# columns: time[s] pin[V] pin[V]\n", "standard input, line 2: columns: two channels have the name 'pin'" },
        { MARK "# columns: time[s] p:n[V]\n",
          "standard input, line 2: columns: 'p:n' is no channel name: letters, digits, _ - . are" },
        { MARK "# columns: time[s] a\n# columns: time[s] a\n", "standard input, line 3: a second line of columns" },
        { MARK "# measured on a Tuesday\n",
          "standard input, line 2: '# measured on a Tuesday': a header line is '# key: value'" },
        { MARK "# period: 1\n# period: 2\n", "standard input, line 3: key 'period' stands twice in the header" },
        { MARK "# made by: hand\n", "standard input, line 2: 'made by' is no header key: letters, digits, _ - . are" },
        { MARK "# rows: float32le\n", "standard input, line 2: '# rows: float32le': only rows of float64le are known" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        refused(cases[i].text, cases[i].message);
}
END_TEST

/* A binary table of these values; NaN rows as given. */
static struct bytes binary_of(const double *values, size_t count, size_t more)
{
    static const char head[] = MARK "# columns: time[s] pin[V]\n# rows: float64le\n";
    struct bytes made = { malloc(sizeof head + count * 8 + more), strlen(head) + count * 8 + more };
    ck_assert_ptr_nonnull(made.at);
    memset(made.at, 0, made.size + 1);
    memcpy(made.at, head, strlen(head));
    memcpy(made.at + strlen(head), values, count * 8);
    return made;
}

START_TEST(faults_of_binary_rows_are_named_to_the_letter)
{
    const double nan = NAN;
    static const char *const no_end = "standard input stops after row 2 without its end; did the program before it fail?";
    const struct {
        double values[8];
        size_t count, more;
        const char *message;
    } cases[] = {
        { { 0, 5, 1, 5 }, 4, 0, no_end },
        { { 0, 5, 1, 5 }, 4, 11, "standard input, row 3: cut after 11 of 16 bytes; did the program before it fail?" },
        { { 0, 5, 1, 5, 0.5, 5, nan, nan }, 8, 0, "standard input, row 3: time goes back from 1 to 0.5" },
        { { 0, 5, 1, nan, 2, 5, nan, nan }, 8, 0, "standard input, row 2: pin is not a number" },
        { { 0, 5, nan, 5, 2, 5, nan, nan }, 8, 0, "standard input, row 2: time is not a number" },
        { { 0, 5, 1, 5, 2, -INFINITY, nan, nan }, 8, 0, "standard input, row 3: pin is infinite" },
        { { 0, 5, nan, nan }, 4, 1, "standard input, row 2: bytes stand behind the table's end" },
        { { 0, 5, nan, nan, 1, 5, nan, nan }, 8, 0, "standard input, row 2: bytes stand behind the table's end" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        for (size_t most = 1; most < 9; most += 7) {
            struct bytes made = binary_of(cases[i].values, cases[i].count, cases[i].more);
            struct whole all = read_whole(made.at, made.size, false, most);
            ck_assert_int_eq(all.status, DW_BAD_INPUT);
            ck_assert_str_eq(all.error.text, cases[i].message);
            whole_free(&all);
            free(made.at);
        }
}
END_TEST

START_TEST(an_error_stays_and_keeps_the_rows_before_it)
{
    struct dw_error error;
    struct dw_reader *reader = reader_of_text(HEAD "0\t5\n1\t4\n2\tx\n3\t4\n# end: 4\n", &error);
    const double *values = NULL;
    size_t rows;
    succeeds(dw_reader_rows(reader, 1, &values, &rows, &error), error);
    ck_assert_uint_eq(rows, 1);
    succeeds(dw_reader_rows(reader, 100, &values, &rows, &error), error);
    ck_assert_uint_eq(rows, 1);
    ck_assert_double_eq(values[1], 4);
    ck_assert_uint_eq(dw_reader_line(reader), 6);
    char place[64];
    dw_reader_place(reader, place, sizeof place);
    ck_assert_str_eq(place, "standard input, line 6");
    ck_assert_int_eq(dw_reader_rows(reader, 5, &values, &rows, NULL), DW_BAD_INPUT);
    for (int again = 0; again < 3; again++) {
        ck_assert_int_eq(dw_reader_row(reader, &values, NULL), DW_BAD_INPUT);
        refuses(dw_reader_row(reader, &values, &error), DW_BAD_INPUT, error, "standard input, line 7: 'x' is not a number");
        ck_assert_uint_eq(error.line, 7);
    }
    dw_reader_close(reader);
}
END_TEST

START_TEST(a_key_may_be_empty_and_a_binary_row_is_named_by_its_number)
{
    const char *const text = "# wave-table 1\n# note:\n# columns: time[s] pin[V]\t\r\n0\t5\n1\t4\n# end: 2\n";
    struct bytes binary = converted(text, strlen(text), DW_BINARY), back = converted(binary.at, binary.size, DW_TEXT);
    ck_assert_str_eq(back.at, "# wave-table 1\n# note:\n# columns: time[s] pin[V]\n0\t5\n1\t4\n# end: 2\n");
    struct dw_error error;
    struct dw_reader *reader = reader_of(binary.at, binary.size, false, &error);
    ck_assert_msg(reader != NULL, "%s", error.text);
    const double *row;
    char place[64];
    for (int i = 1; i <= 2; i++) {
        succeeds(dw_reader_row(reader, &row, &error), error);
        dw_reader_place(reader, place, sizeof place);
        ck_assert_str_eq(place, i == 1 ? "standard input, row 1" : "standard input, row 2");
    }
    dw_reader_close(reader);
    free(binary.at);
    free(back.at);
}
END_TEST

START_TEST(no_rows_at_all_are_refused_and_lose_none)
{
    struct dw_error error;
    struct dw_reader *reader = reader_of_text("# wave-table 1\t \n# columns: time[s] pin[V]\n0\t5\n1\t4\n# end: 2\n", &error);
    ck_assert_msg(reader != NULL, "%s", error.text);
    const double *values;
    size_t rows;
    refuses(dw_reader_rows(reader, 0, &values, &rows, &error), DW_BAD_USE, error, "no rows were asked for");
    for (size_t seen = 0; seen < 2; seen += rows) {
        succeeds(dw_reader_rows(reader, 9, &values, &rows, &error), error);
        ck_assert_double_eq(values[0], (double)seen);
    }
    char place[64];
    dw_reader_place(reader, place, sizeof place);
    ck_assert_str_eq(place, "standard input, line 4");
    dw_reader_close(reader);
}
END_TEST

START_TEST(the_limits_are_what_the_format_says)
{
    const size_t mebi = 1 << 20;
    struct dw_error error;
    char *text = malloc(3 * mebi);
    ck_assert_ptr_nonnull(text);
    /* a row of just a mebibyte, and of one byte more */
    for (size_t over = 0; over < 2; over++) {
        size_t size = (size_t)sprintf(text, HEAD "0\t5\n1\t");
        memset(text + size, '0', mebi - 2 + over);
        size += mebi - 2 + over;
        size += (size_t)sprintf(text + size, "\n# end: 2\n");
        struct whole all = read_whole(text, size, false, 5);
        if (over)
            ck_assert_str_eq(all.error.text, "standard input, line 6: longer than 1 MiB");
        else
            ck_assert_int_eq(all.status, DW_OK);
        whole_free(&all);
    }
    /* a header line that pushes the header over its limit */
    size_t size = (size_t)sprintf(text, "# wave-table 1\n# note: ");
    memset(text + size, 'n', mebi - 100);
    size += mebi - 100;
    size += (size_t)sprintf(text + size, "\n# note: %0100d\n", 7);
    struct whole all = read_whole(text, size, false, 5);
    ck_assert_str_eq(all.error.text, "standard input, line 3: the header is longer than 1 MiB");
    /* 1024 channels read, one more does not */
    for (int over = 0; over < 2; over++) {
        size = (size_t)sprintf(text, "# wave-table 1\n# columns: time[s]");
        for (int i = 0; i < 1024 + over; i++)
            size += (size_t)sprintf(text + size, " c%d", i);
        size += (size_t)sprintf(text + size, "\n# end: 0\n");
        struct dw_reader *reader = reader_of_text(text, &error);
        ck_assert_int_eq(reader == NULL, over);
        if (over)
            ck_assert_str_eq(error.text, "standard input, line 2: columns: more than 1024 channels");
        dw_reader_close(reader);
    }
    free(text);
}
END_TEST

START_TEST(a_file_that_is_not_there_is_named)
{
    struct dw_error error;
    ck_assert_ptr_null(dw_reader_open("no/such/tide.tsv", NULL, &error));
    ck_assert_int_eq(error.status, DW_BAD_INPUT);
    ck_assert_str_eq(error.text, "no/such/tide.tsv: No such file or directory");
    ck_assert_ptr_null(dw_reader_open(".", NULL, &error));
    ck_assert_int_eq(error.status, DW_BAD_INPUT);
    ck_assert_str_eq(error.text, ".: Is a directory");
}
END_TEST

SUITE("table: reader", a_table_reads_the_same_by_rows_and_by_blocks, any_separator_a_mark_line_ends_and_blank_lines_read,
      a_cut_text_never_reads_as_whole, a_cut_binary_table_never_reads_as_whole,
      partial_takes_every_whole_row_and_no_cut_one, faults_of_rows_are_named_to_the_letter,
      faults_of_the_header_are_named_to_the_letter, faults_of_binary_rows_are_named_to_the_letter,
      an_error_stays_and_keeps_the_rows_before_it, no_rows_at_all_are_refused_and_lose_none,
      a_key_may_be_empty_and_a_binary_row_is_named_by_its_number, the_limits_are_what_the_format_says, a_file_that_is_not_there_is_named)
