/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Channels with slopes: the header's pairs, curves as lines and lines as curves. */
#include "draw.h"
#include "suite.h"
#include "table/fixture.h"
#include <dutywright/pieces.h>
#include <dutywright/splice.h>
#include <dutywright/value.h>
#include <float.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* time pin out out' current */
static struct dw_header *wave_header(void)
{
    struct dw_error error;
    struct dw_header *header = dw_header_new("time", "s", &error);
    ck_assert_ptr_nonnull(header);
    succeeds(dw_header_append(header, "pin", "V", &error), error);
    succeeds(dw_header_append(header, "out", "V", &error), error);
    succeeds(dw_header_append_slope(header, &error), error);
    succeeds(dw_header_append(header, "current", "A", &error), error);
    return header;
}

START_TEST(a_slope_goes_with_its_channel)
{
    struct dw_error error;
    struct dw_header *header = wave_header();
    size_t slope[5];
    ck_assert_uint_eq(dw_header_columns(header), 5);
    ck_assert_uint_eq(dw_header_slope(header, 2), 3);
    ck_assert_uint_eq(dw_header_slope(header, 1) + dw_header_slope(header, 0) + dw_header_slope(header, 3) + dw_header_slope(header, 4), 0);
    ck_assert(dw_header_is_slope(header, 3) && !dw_header_is_slope(header, 2) && !dw_header_is_slope(header, 9));
    ck_assert_uint_eq(dw_header_slopes(header, slope), 1);
    ck_assert(!slope[0] && !slope[1] && slope[2] == 3 && !slope[3] && !slope[4]);
    ck_assert_str_eq(dw_header_column(header, 3).name, "out'");
    ck_assert_str_eq(dw_header_column(header, 3).unit, "V/s");
    succeeds(dw_header_rename(header, 2, "level", "mV", &error), error);
    ck_assert_str_eq(dw_header_column(header, 3).name, "level'");
    ck_assert_str_eq(dw_header_column(header, 3).unit, "mV/s");
    ck_assert_uint_eq(dw_header_find(header, "level", &error), 2);
    ck_assert_uint_eq(dw_header_find(header, "level'", &error), 0);
    ck_assert_str_eq(error.text, "'level'' is no channel: the slope goes with level");
    struct dw_header *bare = dw_header_new("x", "", &error), *other = dw_header_new("x", "V", &error);
    refuses(dw_header_append_slope(bare, &error), DW_BAD_USE, error, "'' is a slope, which stands right behind its channel");
    succeeds(dw_header_append(bare, "out", "V", &error), error);
    succeeds(dw_header_append_slope(bare, &error), error);
    succeeds(dw_header_append(other, "out", "V", &error), error);
    refuses(dw_header_append_slope(other, &error), DW_BAD_USE, error, "'out'': a slope goes with time[s], not with x[V]");
    dw_header_free(bare);
    dw_header_free(other);
    ck_assert_uint_eq(dw_header_find(header, "level''", &error), 0);
    ck_assert_str_eq(error.text, "no channel 'level'''; did you mean 'level'?");
    ck_assert_uint_eq(dw_header_find(header, "nix", &error), 0);
    ck_assert_str_eq(error.text, "no channel 'nix'; there are pin[V], level[mV], current[A]");
    ck_assert_uint_eq(dw_header_last_with_unit(header, "V", &error), 1);
    ck_assert_uint_eq(dw_header_last_with_unit(header, "mV/s", &error), 0);
    struct dw_header *chosen = dw_header_select(header, (size_t[]){ 4, 2 }, 2, &error);
    ck_assert_uint_eq(dw_header_columns(chosen), 4);
    ck_assert_uint_eq(dw_header_slope(chosen, 2), 3);
    ck_assert_str_eq(dw_header_column(chosen, 3).name, "level'");
    struct dw_header *copy = dw_header_copy(chosen, &error), *plain = dw_header_without_slopes(copy, &error);
    ck_assert_uint_eq(dw_header_slope(copy, 2), 3);
    ck_assert_uint_eq(dw_header_columns(plain), 3);
    ck_assert_uint_eq(dw_header_slopes(plain, NULL), 0);
    ck_assert_ptr_null(dw_header_select(header, (size_t[]){ 3 }, 1, &error));
    ck_assert_str_eq(error.text, "level' is a slope, which goes with its channel");
    refuses(dw_header_append_slope(plain, &error) == DW_OK ? dw_header_append_slope(plain, &error) : DW_OK, DW_BAD_USE, error,
          "'level''' is a slope, which stands once, right behind its channel");
    refuses(dw_header_rename(header, 3, "x", NULL, &error), DW_BAD_USE, error, "column 3 of 5");
    refuses(dw_header_rename(header, 1, "x'", NULL, &error), DW_BAD_USE, error, "'x'' is no channel name: letters, digits, _ - . are");
    refuses(dw_header_append(header, "x'", "V", &error), DW_BAD_USE, error, "'x'' is no channel name: letters, digits, _ - . are");
    refuses(dw_header_set_initial(header, 3, 1, &error), DW_BAD_USE, error, "initial: column 3 of 5");
    dw_header_free(plain);
    dw_header_free(copy);
    dw_header_free(chosen);
    dw_header_free(header);
}
END_TEST

/* A slope that is none. */
static const struct {
    const char *columns, *text;
} bad[] = {
    { "time[s] out'[V/s] out[V]", "'out'' is a slope, which stands right behind its channel" },
    { "time[s] out[V] pin[V] out'[V/s]", "'out'' is a slope, which stands once, right behind its channel" },
    { "time[s] out[V] out'[V/s] out'[V/s]", "'out'' is a slope, which stands once, right behind its channel" },
    { "time[s] out[V] out'[V]", "'out'[V]': the slope of out[V] is out'[V/s]" },
    { "time[s] out[V] out'", "'out'[]': the slope of out[V] is out'[V/s]" },
    { "time[s] out out'[V/s]", "'out'[V/s]': the slope of out[] is out'[1/s]" },
    { "frequency[Hz] out[V] out'[V/Hz]", "'out'': a slope goes with time[s], not with frequency[Hz]" },
    { "time[s] time'[1]", "'time'' is a slope, which stands right behind its channel" },
};

START_TEST(a_slope_out_of_its_place_is_refused)
{
    struct dw_error error;
    char text[300], wanted[300];
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        snprintf(text, sizeof text, "# wave-table 1\n# columns: %s\n# end: 0\n", bad[i].columns);
        ck_assert_ptr_null(reader_of_text(text, &error));
        snprintf(wanted, sizeof wanted, "standard input, line 2: columns: %s", bad[i].text);
        ck_assert_str_eq(error.text, wanted);
    }
}
END_TEST

START_TEST(accuracy_has_a_share)
{
    struct dw_error error;
    struct dw_header *header = wave_header();
    const struct dw_channel_facts *facts = dw_header_channel_facts(header, 2);
    ck_assert(isnan(facts->accuracy) && isnan(facts->share));
    succeeds(dw_header_set_accuracy(header, 2, 6.6e-8, 1e-6, &error), error);
    succeeds(dw_header_set_accuracy(header, 1, 0, NAN, &error), error);
    ck_assert_str_eq(dw_header_get(header, "accuracy"), "pin 0 out 6.6e-08 1e-06");
    succeeds(dw_header_set_accuracy(header, 1, NAN, 1e-3, &error), error);
    ck_assert_str_eq(dw_header_get(header, "accuracy"), "pin - 0.001 out 6.6e-08 1e-06");
    succeeds(dw_header_set(header, "accuracy", "out 0.5 current - 2 pin 0 0", &error), error);
    facts = dw_header_channel_facts(header, 2);
    ck_assert(facts->accuracy == 0.5 && isnan(facts->share));
    facts = dw_header_channel_facts(header, 4);
    ck_assert(isnan(facts->accuracy) && facts->share == 2);
    facts = dw_header_channel_facts(header, 1);
    ck_assert(facts->accuracy == 0 && facts->share == 0);
    refuses(dw_header_set(header, "accuracy", "out -", &error), DW_BAD_USE, error,
          "accuracy: '-' of channel out is not a number of zero or more");
    refuses(dw_header_set(header, "accuracy", "out 1 -1", &error), DW_BAD_USE, error,
          "accuracy: the share -1 of channel out is not a number of zero or more");
    refuses(dw_header_set(header, "initial", "out -", &error), DW_BAD_USE, error, "initial: '-' of channel out is not a number");
    refuses(dw_header_set_accuracy(header, 2, NAN, NAN, &error), DW_BAD_USE, error, "key 'accuracy': nan is not finite");
    dw_header_free(header);
    /* a channel may be called as a number is */
    header = dw_header_new("time", "s", &error);
    succeeds(dw_header_append(header, "1", "V", &error), error);
    succeeds(dw_header_append(header, "2", "V", &error), error);
    succeeds(dw_header_set(header, "accuracy", "1 5 2 6 0.5", &error), error);
    ck_assert(dw_header_channel_facts(header, 1)->accuracy == 5 && isnan(dw_header_channel_facts(header, 1)->share));
    ck_assert(dw_header_channel_facts(header, 2)->accuracy == 6 && dw_header_channel_facts(header, 2)->share == 0.5);
    dw_header_free(header);
}
END_TEST

/* Written slopes have 8 digits, and are then written as they are; text and binary are the same numbers. */
START_TEST(slopes_are_rounded_once)
{
    struct dw_error error;
    struct dw_header *header = wave_header();
    const double slopes[] = { M_PI, -M_PI * 1e-5, M_PI * 1e40, M_PI * 1e-40, 0, -0.0, 1 / 3.0, 99999999.6, 2e22 / 3, DBL_MAX, 5e-324 };
    const enum dw_encoding encoding[] = { DW_TEXT, DW_BINARY };
    struct bytes out[2], again;
    for (int e = 0; e < 2; e++) {
        const int file = memory_file();
        struct dw_writer *writer = dw_writer_open(file, header, encoding[e], &error);
        for (size_t i = 0; i < sizeof slopes / sizeof *slopes; i++)
            succeeds(dw_writer_rows(writer, (double[]){ (double)i, 1, 2, slopes[i], 3 }, 1, &error), error);
        succeeds(dw_writer_finish(writer, &error), error);
        dw_writer_free(writer);
        out[e] = take_bytes(file);
    }
    ck_assert_ptr_nonnull(strstr(out[0].at, "\n0\t1\t2\t3.1415927\t3\n1\t1\t2\t-0.000031415927\t3\n2\t1\t2\t3.1415927e+40\t3\n"
                                            "3\t1\t2\t3.1415927e-40\t3\n4\t1\t2\t0\t3\n5\t1\t2\t0\t3\n6\t1\t2\t0.33333333\t3\n"
                                            "7\t1\t2\t100000000\t3\n8\t1\t2\t6.6666667e+21\t3\n9\t"));
    struct dw_reader *reader = reader_of(out[1].at, out[1].size, false, &error);
    const double *row;
    for (size_t i = 0; i < sizeof slopes / sizeof *slopes; i++) {
        succeeds(dw_reader_row(reader, &row, &error), error);
        ck_assert(fabs(row[3] - slopes[i]) <= 5.1e-8 * fabs(slopes[i]) + 3e-324);
        ck_assert(dw_number_round(row[3], 8) == row[3]);
    }
    dw_reader_close(reader);
    const int file = memory_file();
    reader = reader_of(out[1].at, out[1].size, false, &error);
    struct dw_writer *writer = dw_writer_open(file, dw_reader_header(reader), DW_TEXT, &error);
    while (dw_reader_row(reader, &row, &error) == DW_OK)
        succeeds(dw_writer_row(writer, row, &error), error);
    succeeds(dw_writer_finish(writer, &error), error);
    dw_writer_free(writer);
    dw_reader_close(reader);
    again = take_bytes(file);
    ck_assert_str_eq(again.at, out[0].at);
    free(again.at);
    free(out[0].at);
    free(out[1].at);
    dw_header_free(header);
}
END_TEST

/* The quick way to text gives what the slow one does, over all sizes and close to powers of ten. */
START_TEST(slopes_read_as_they_were_rounded)
{
    struct dw_error error;
    struct dw_header *header = wave_header();
    enum { MANY = 20000 };
    static double slopes[MANY];
    const int file = memory_file();
    struct dw_writer *writer = dw_writer_open(file, header, DW_TEXT, &error);
    uint64_t seed = 20261129;
    for (int i = 0; i < MANY; i++) {
        const double digits = i % 3 ? drawn_between(&seed, 0, 1) : 1 + floor(drawn_between(&seed, -2, 3)) * 3e-9;
        slopes[i] = (i % 2 ? -1 : 1) * digits * pow(10, floor(drawn_between(&seed, -25, 35)));
        succeeds(dw_writer_row(writer, (double[]){ i, 0, 0, slopes[i], 0 }, &error), error);
    }
    succeeds(dw_writer_finish(writer, &error), error);
    dw_writer_free(writer);
    struct bytes out = take_bytes(file);
    const char *at = strstr(out.at, "\n0\t");
    for (int i = 0; i < MANY; i++) {
        char row[200], number[DW_NUMBER_SIZE];
        dw_number_print(number, dw_number_round(slopes[i], 8));
        snprintf(row, sizeof row, "\n%d\t0\t0\t%s\t0\n", i, number);
        ck_assert_msg(!strncmp(at, row, strlen(row)), "%.17g is not written as %s", slopes[i], number);
        at = strchr(at + 1, '\n');
    }
    free(out.at);
    dw_header_free(header);
}
END_TEST

/* A damped swing with rows at random, as a table with slopes. */
enum { ROWS = 200 };
static double swing(double t, double *slope)
{
    *slope = exp(-t / 3) * (5 * cos(5 * t) - sin(5 * t) / 3);
    return exp(-t / 3) * sin(5 * t);
}

static void fill_rows(double *rows, uint64_t seed)
{
    double t = 0;
    for (int i = 0; i < ROWS; i++, t += i % 4 ? drawn_between(&seed, 0, 0.3) : 0) {
        double *row = rows + 5 * i;
        row[0] = t;
        row[1] = i;
        row[2] = swing(t, &row[3]);
        row[4] = -i;
    }
}

/* Each line keeps to its share of how far the curve ranged: looked at on a grid of its own. */
static void keeps_to(double share)
{
    struct dw_error error;
    double rows[5 * ROWS], between[5];
    const size_t slope[5] = { 0, 0, 3, 0, 0 };
    struct dw_header *header = wave_header();
    fill_rows(rows, 7);
    succeeds(dw_header_set_accuracy(header, 2, 1, 1e-6, &error), error);
    succeeds(dw_header_set_number(header, "carrier-period", 1e3, &error), error);  /* in which it has ranged over all that it does */
    struct dw_lines *lines = dw_lines_new(header, share, &error);
    ck_assert_uint_eq(dw_header_columns(dw_lines_header(lines)), 4);
    const struct dw_channel_facts *facts = dw_header_channel_facts(dw_lines_header(lines), 2);
    ck_assert(isnan(facts->accuracy) && fabs(facts->share - (share + 1e-6)) < 1e-7 * share);
    double last[4] = { 0 }, worst = 0;
    size_t given = 0, piece = 0;
    for (size_t k = 0; k < ROWS;) {
        const size_t some = k + 3 < ROWS ? 1 + k % 3 : 1;
        struct dw_rows out;
        succeeds(dw_lines_rows(lines, rows + 5 * k, some, &out, &error), error);
        k += some;
        for (size_t i = 0; i < out.count; i++, given++) {
            const double *row = out.values + 4 * i;
            for (int part = 1; given && row[0] > last[0] && part < 8; part++) {
                const double at = last[0] + part / 8.0 * (row[0] - last[0]);
                while (rows[5 * (piece + 1)] <= at)
                    piece++;
                dw_row_between(5, slope, rows + 5 * piece, rows + 5 * (piece + 1), at, between);
                worst = fmax(worst, fabs(between[2] - (last[2] + part / 8.0 * (row[2] - last[2]))));
            }
            ck_assert(row[3] == -row[1]);
            memcpy(last, row, sizeof last);
        }
    }
    /* a swing of 1 up and 0.8 down: what it ranges over in all, control points of cubics included */
    ck_assert_double_le(worst, share * 1.8);
    ck_assert_double_ge(worst, share * 0.4);
    ck_assert_uint_le(given, ROWS + (size_t)(100 / sqrt(share)));
    dw_lines_free(lines);
    dw_header_free(header);
}

START_TEST(lines_keep_to_their_share)
{
    static const double shares[] = { 0.3, 1e-2, 1e-3, 1e-5, 1e-6 };
    struct dw_error error;
    for (size_t i = 0; i < sizeof shares / sizeof *shares; i++)
        keeps_to(shares[i]);
    ck_assert_ptr_null(dw_lines_new(NULL, 0, &error));
    ck_assert_str_eq(error.text, "lines within a share of 0: it lies between 0 and 1");
}
END_TEST

static struct bytes written(const struct dw_header *header, double share, enum dw_encoding encoding, const double *rows, size_t columns)
{
    struct dw_error error;
    const int file = memory_file();
    struct dw_writer *writer = dw_writer_open_lines(file, header, share, encoding, &error);
    ck_assert_msg(writer != NULL, "%s", error.text);
    succeeds(dw_writer_row(writer, rows, &error), error);
    succeeds(dw_writer_rows(writer, rows + columns, ROWS - 1, &error), error);
    succeeds(dw_writer_finish(writer, &error), error);
    dw_writer_free(writer);
    return take_bytes(file);
}

/* What a writer makes of curves is what dw_lines_rows gives; of lines it makes nothing. */
START_TEST(a_writer_of_lines_writes_them)
{
    static const enum dw_encoding encodings[] = { DW_TEXT, DW_BINARY, DW_CSV };
    struct dw_error error;
    double rows[5 * ROWS];
    struct dw_header *header = wave_header();
    struct dw_rows made;
    fill_rows(rows, 11);
    struct dw_lines *lines = dw_lines_new(header, 1e-3, &error);
    succeeds(dw_lines_rows(lines, rows, ROWS, &made, &error), error);
    ck_assert_uint_gt(made.count, ROWS);
    for (size_t e = 0; e < sizeof encodings / sizeof *encodings; e++) {
        const struct bytes got = written(header, 1e-3, encodings[e], rows, 5);
        const int file = memory_file();
        struct dw_writer *writer = dw_writer_open(file, dw_lines_header(lines), encodings[e], &error);
        succeeds(dw_writer_rows(writer, made.values, made.count, &error), error);
        succeeds(dw_writer_finish(writer, &error), error);
        dw_writer_free(writer);
        const struct bytes wanted = take_bytes(file), as_rows = written(header, 0, encodings[e], rows, 5);
        ck_assert(got.size == wanted.size && !memcmp(got.at, wanted.at, got.size));
        const struct bytes narrow = written(dw_lines_header(lines), 1e-3, encodings[e], made.values, 4);
        const struct bytes again = written(dw_lines_header(lines), 0, encodings[e], made.values, 4);
        ck_assert(narrow.size == again.size && !memcmp(narrow.at, again.at, narrow.size));
        ck_assert(as_rows.size != got.size);
        free(got.at);
        free(wanted.at);
        free(as_rows.at);
        free(narrow.at);
        free(again.at);
    }
    ck_assert_ptr_null(dw_writer_open_lines(1, header, 1, DW_TEXT, &error));
    ck_assert_str_eq(error.text, "lines within a share of 1: it lies between 0 and 1");
    dw_lines_free(lines);
    dw_header_free(header);
}
END_TEST

/* A reader that knows nothing of slopes gets lines. */
START_TEST(a_reader_without_curves_gets_lines)
{
    static const char text[] = "# wave-table 1\n# period: 2\n# columns: time[s] pin[V] out[V] out'[V/s]\n0 0 0 0\n1 0 1 0\n1 3 1 0\n2 3 0 0\n# end: 4\n";
    struct dw_error error;
    const double *row;
    double last = 0, area = 0, before = 0;
    feed(text, strlen(text));
    struct dw_reader *reader = dw_reader_open(NULL, NULL, &error);
    ck_assert_uint_eq(dw_header_columns(dw_reader_header(reader)), 3);
    ck_assert_str_eq(dw_header_get(dw_reader_header(reader), "accuracy"), "out - 0.00001");
    size_t rows = 0;
    for (; dw_reader_row(reader, &row, &error) == DW_OK; rows++) {
        area += (row[0] - last) * (row[2] + before) / 2;
        last = row[0];
        before = row[2];
        ck_assert(row[1] == (row[0] > 1 || (row[0] == 1 && rows > 0 && row[1] == 3) ? 3 : 0));
    }
    ck_assert(dw_reader_whole(reader));
    ck_assert_uint_gt(rows, 200);
    /* the chord of a bend lies inside: 2/3 of the most, times half its second derivative's change of sign */
    ck_assert_double_eq_tol(area, 1, 1e-5);
    dw_reader_close(reader);
}
END_TEST

/* Lines as curves are the same lines, with two rows where they bend; a jump stays one. */
START_TEST(lines_get_their_own_slopes)
{
    struct dw_error error;
    struct dw_header *to = wave_header(), *from = dw_header_without_slopes(to, &error);
    const double lines[][4] = { { 0, 0, 0, 1 }, { 1, 0, 2, 1 }, { 2, 0, 4, 1 }, { 3, 0, 3, 1 }, { 3, 5, 9, 1 }, { 3, 5, 7, 1 }, { 4, 5, 7, 1 } };
    const double curves[][5] = { { 0, 0, 0, 2, 1 }, { 1, 0, 2, 2, 1 }, { 2, 0, 4, 2, 1 }, { 2, 0, 4, -1, 1 }, { 3, 0, 3, -1, 1 },
                                 { 3, 5, 9, 0, 1 }, { 3, 5, 7, 0, 1 }, { 4, 5, 7, 0, 1 } };
    struct dw_curves *make = dw_curves_new(from, to, &error);
    double got[20][5];
    size_t count = 0;
    struct dw_rows out;
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        succeeds(dw_curves_rows(make, lines[i], 1, &out, &error), error);
        for (size_t k = 0; k < out.count; k++)
            memcpy(got[count++], out.values + 5 * k, sizeof *got);
    }
    succeeds(dw_curves_finish(make, &out, &error), error);
    for (size_t k = 0; k < out.count; k++)
        memcpy(got[count++], out.values + 5 * k, sizeof *got);
    ck_assert_uint_eq(count, sizeof curves / sizeof *curves);
    for (size_t i = 0; i < count; i++)
        for (int k = 0; k < 5; k++)
            ck_assert_msg(got[i][k] == curves[i][k], "row %zu, column %d: %g, not %g", i, k, got[i][k], curves[i][k]);
    succeeds(dw_curves_finish(make, &out, &error), error);
    ck_assert_uint_eq(out.count, 0);
    /* a slope that no number holds is none */
    succeeds(dw_curves_rows(make, (double[]){ 5, 0, -1e308, 0, 5.0001, 0, 1e308, 0 }, 2, &out, &error), error);
    succeeds(dw_curves_finish(make, &out, &error), error);
    ck_assert(out.count == 1 && out.values[3] == 0);
    dw_curves_free(make);
    succeeds(dw_header_rename(from, 3, "other", NULL, &error), error);
    ck_assert_ptr_null(dw_curves_new(from, to, &error));
    dw_header_free(from);
    dw_header_free(to);
}
END_TEST

START_TEST(joined_headers_have_all_slopes)
{
    struct dw_error error;
    struct dw_header *one = wave_header(), *other = dw_header_without_slopes(one, &error);
    succeeds(dw_header_append_slope(other, &error), error); /* of current */
    succeeds(dw_header_set_accuracy(one, 2, 1e-6, 1e-5, &error), error);
    succeeds(dw_header_set_accuracy(other, 2, 1e-5, 1e-6, &error), error);
    succeeds(dw_header_set_accuracy(other, 3, 1, 0.5, &error), error);
    succeeds(dw_header_join(one, other, 0, &error), error);
    ck_assert_uint_eq(dw_header_columns(one), 6);
    ck_assert_uint_eq(dw_header_slope(one, 2), 3);
    ck_assert_uint_eq(dw_header_slope(one, 4), 5);
    ck_assert_str_eq(dw_header_get(one, "accuracy"), "out 0.00001 0.00001 current 1");
    succeeds(dw_header_rename(other, 3, "speed", NULL, &error), error);
    refuses(dw_header_join(one, other, 0, &error), DW_BAD_INPUT, error,
          "column 4 is current[A] in the one table and speed[A] in the other");
    dw_header_free(one);
    dw_header_free(other);
}
END_TEST

SUITE("table: slopes", a_slope_goes_with_its_channel, a_slope_out_of_its_place_is_refused, accuracy_has_a_share,
      slopes_are_rounded_once, slopes_read_as_they_were_rounded, lines_keep_to_their_share, a_writer_of_lines_writes_them,
      a_reader_without_curves_gets_lines, lines_get_their_own_slopes,
      joined_headers_have_all_slopes)
