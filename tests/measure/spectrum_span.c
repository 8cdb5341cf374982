/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which part of a table the analyser takes, and that blocks change no line. */
#include "measure/waves.h"
#include "suite.h"
#include <dutywright/spectrum.h>
#include <float.h>
#include <stdlib.h>

/* Lines of pulses from 0 to `height` that begin with the period: amplitude and phase of the book. */
static void has_pulse_lines(const struct dw_spectrum *s, double height, double duty, size_t step, double allowed)
{
    for (size_t n = 1; n <= dw_spectrum_highest(s); n++) {
        const struct dw_line line = dw_spectrum_line(s, 0, n);
        const double k = (double)(n / step), want = n % step ? 0 : 2 * height / (k * M_PI) * sin(k * M_PI * duty);
        within_scale(line.amplitude, fabs(want), allowed, height);
        if (line.has_phase) {
            const double turn = (line.phase - (want < 0 ? M_PI : 0) + M_PI * k * duty) / (2 * M_PI);
            within_scale(line.amplitude * (turn - rint(turn)), 0, allowed, height);
        }
    }
}

START_TEST(the_last_whole_period_of_the_header_is_taken)
{
    /* three periods of other pulses, two of those asked, and the beginning of one more */
    struct wave wave = wave_pulses(0.001, 0.004, 0, 3, 0, 2, 0, 0.0005, 0);
    struct wave last = wave_pulses(0.001, 0.004, 3, 5, 0, 5, 0, 0.004 * 0.3, 0), more = wave_pulses(0.001, 0.004, 5, 6, 0, 9, 0, 1e-4, 0);
    for (size_t i = 0; i < last.count; i++)
        wave_add(&wave, last.row[2 * i], last.row[2 * i + 1]);
    for (size_t i = 0; i + 2 < more.count; i++)
        wave_add(&wave, more.row[2 * i], more.row[2 * i + 1]);
    struct dw_header *header = header_with("period", "0.004", "origin", "0.001", NULL);
    struct dw_spectrum *s = spectrum_of(header, NULL, &wave);
    double from, to, periods;
    dw_spectrum_span(s, &from, &to, &periods);
    ck_assert(from == dw_period_boundary(0.001, 0.004, 4) && to == dw_period_boundary(0.001, 0.004, 5) && periods == 1);
    ck_assert_uint_eq(dw_spectrum_highest(s), 40);
    near(dw_spectrum_line(s, 0, 7).frequency, 7 / 0.004, DBL_EPSILON);
    /* the edge at 0.0182 s and the boundaries are rounded at 1.7e-18 s, 4.3e-16 of the period; phases twice that */
    has_pulse_lines(s, 5, 0.3, 1, 2e-15);
    ck_assert(silent(s));
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
    wave_free(&last);
    wave_free(&more);
}
END_TEST

START_TEST(a_fundamental_that_divides_the_pattern_takes_as_many_periods)
{
    /* two pulses of unlike width a pattern of 10 ms: the harmonics of 200 Hz are those of their mean */
    struct wave wave = { 0 };
    for (int k = 0; k < 3; k++) {
        const double duty[] = { 0.2, 0.6 };
        for (int i = 0; i < 2; i++) {
            const double start = k * 0.01 + i * 0.005;
            wave_add(&wave, start, 5);
            wave_add(&wave, start + 0.005 * duty[i], 5);
            wave_add(&wave, start + 0.005 * duty[i], 0);
            wave_add(&wave, start + 0.005, 0);
        }
    }
    struct dw_header *header = header_with("period", "0.01", NULL);
    struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .fundamental = 200, .harmonics = 9 }, &wave);
    double from, to, periods;
    dw_spectrum_span(s, &from, &to, &periods);
    ck_assert(periods == 2);
    within_scale(from, 0.02, 1e-16, 1);
    for (size_t n = 1; n <= 9; n++) {
        /* |c_n| of the sum of e^(-j pi n D) sin(pi n D) */
        double re = 0, im = 0;
        for (int i = 0; i < 2; i++) {
            const double turn = M_PI * (double)n * (i ? 0.6 : 0.2);
            re += cos(turn) * sin(turn) / 2;
            im -= sin(turn) * sin(turn) / 2;
        }
        const struct dw_line line = dw_spectrum_line(s, 0, n);
        ck_assert(line.frequency == 200.0 * (double)n);
        within_scale(line.amplitude, 10 / (M_PI * (double)n) * hypot(re, im), 1e-14, 5); /* times at 0.03 s: 7e-16 of the period, 8 edges */
    }
    dw_spectrum_free(s);
    s = spectrum_of(header, &(struct dw_spectrum_options){ .fundamental = 50 }, &wave); /* every other line is none */
    dw_spectrum_span(s, &from, &to, &periods);
    ck_assert(periods == 1 && !dw_spectrum_line(s, 0, 1).has_phase && dw_spectrum_line(s, 0, 2).has_phase);
    ck_assert(said(s, false, "there is no fundamental above rounding: levels refer to the largest line, and THD is left out"));
    ck_assert(!dw_spectrum_distortion(s, 0).has_thd && dw_spectrum_distortion(s, 0).reference == 4);
    dw_spectrum_free(s);
    s = spectrum_of(header, &(struct dw_spectrum_options){ .fundamental = 150 }, &wave);
    ck_assert(said(s, true, "the table repeats every 0.01 s, which is not a whole number of periods of 150 Hz: other lines mix "
                            "into these"));
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* Captures: a period that only the user knows, counted from the first row. */
START_TEST(without_a_period_in_the_header_all_whole_ones_are_taken)
{
    struct wave wave = wave_pulses(-0.0123, 0.0021, 0, 17, 0, 3.3, 0, 0.0021 * 0.41, 0);
    wave_add(&wave, -0.0123 + 17.4 * 0.0021, 0);
    struct dw_header *header = header_with(NULL, NULL);
    struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .fundamental = 1 / 0.0021 }, &wave);
    double from, to, periods;
    dw_spectrum_span(s, &from, &to, &periods);
    ck_assert(from == -0.0123 && periods == 17);
    has_pulse_lines(s, 3.3, 0.41, 1, 17 * 4e-16);
    ck_assert(said(s, false, "0.00084 s of the span lie outside its 17 whole periods and are left out"));
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* Rows that do not stop at boundaries, three at one time, rows a few ulp off, and a span from any time. */
START_TEST(spans_are_cut_where_they_are_asked)
{
    /* 10 ms, a ramp from 0 to 1 over each period with its jump in the middle of the period asked */
    struct wave wave = { 0 };
    for (int k = 0; k < 6; k++) {
        wave_add(&wave, 0.01 * k, 0);
        wave_add(&wave, 0.01 * (k + 1), 1);
        if (k == 2)
            wave_add(&wave, 0.03, 77); /* between the first and the last row at a time: not part of any line */
    }
    struct dw_header *header = header_with("period", "0.01", NULL);
    static const struct {
        struct dw_span span;
        double from, to, periods, delay;
    } cases[] = {
        { { .kind = DW_SPAN_LAST, .periods = 2 }, 0.04, 0.06, 2, 0 },
        { { .kind = DW_SPAN_ALL }, 0, 0.06, 6, 0 },
        { { .kind = DW_SPAN_BETWEEN, .from = 0.013, .to = 0.0434 }, 0.013, 0.043, 3, 0.3 },
        { { .kind = DW_SPAN_BETWEEN, .from = 0.0175, .to = INFINITY }, 0.0175, 0.0575, 4, 0.75 },
        { { .kind = DW_SPAN_BETWEEN, .from = -INFINITY, .to = 0.035 }, 0, 0.03, 3, 0 },
        { { .kind = DW_SPAN_BETWEEN, .from = 0.02, .to = 0.03 * (1 + DBL_EPSILON) }, 0.02, 0.03, 1, 0 },
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .span = cases[k].span, .harmonics = 50 }, &wave);
        double from, to, periods;
        dw_spectrum_span(s, &from, &to, &periods);
        within_scale(from, cases[k].from, 2e-16, 0.06);
        within_scale(to, cases[k].to, 2e-16, 0.06);
        ck_assert(periods == cases[k].periods);
        for (size_t n = 1; n <= 50; n++) {
            /* a sawtooth that begins `delay` late: 1/(n pi), phase 90 degrees and the delay */
            const struct dw_line line = dw_spectrum_line(s, 0, n);
            const double turn = (line.phase - M_PI / 2) / (2 * M_PI) - (double)n * cases[k].delay;
            near(line.amplitude, 1 / ((double)n * M_PI), 1e-13); /* n pi times 1 ulp of the jump's time, 7e-16 of the period */
            within_scale(turn - rint(turn), 0, 1e-13, 1);        /* n times the same */
        }
        dw_spectrum_free(s);
    }
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* One line over a million periods of a microsecond: a ramp of 1e-6 each, and no more work than for a few. */
START_TEST(a_line_over_very_many_periods_is_not_cut_one_by_one)
{
    struct wave wave = { 0 };
    wave_add(&wave, 0, 0);
    wave_add(&wave, 1, 3);
    struct dw_header *header = header_with(NULL, NULL), *pattern = header_with("period", "0.125", NULL);
    static const struct {
        struct dw_span span;
        double periods, from;
    } cases[] = { { { .kind = DW_SPAN_ALL }, 1e9, 0 },
                  { { .kind = DW_SPAN_LAST, .periods = 3 }, 3, 1 - 3e-9 },
                  { { .kind = DW_SPAN_DEFAULT }, 1.25e8, 0.875 } };
    for (size_t k = 0; k < 3; k++) {
        struct dw_spectrum *s = spectrum_of(k < 2 ? header : pattern,
                                            &(struct dw_spectrum_options){ .fundamental = 1e9, .span = cases[k].span }, &wave);
        double from, to, periods;
        dw_spectrum_span(s, &from, &to, &periods);
        ck_assert_msg(fabs(periods - cases[k].periods) <= (k == 0), "case %zu: %.10g", k, periods);
        within_scale(from, cases[k].from, 3e-16, 1);
        for (size_t n = 1; n <= 40; n++) /* 3e-9 a period; boundaries are rounded at 1.1e-16 s, 1.1e-7 of it; so is the wave */
            near(dw_spectrum_line(s, 0, n).amplitude, 3e-9 / ((double)n * M_PI), 1e-6);
        dw_spectrum_free(s);
    }
    dw_header_free(header);
    dw_header_free(pattern);
    wave_free(&wave);
}
END_TEST

/* A row within 4 ulp after a boundary is on it: what it has is the value after the jump there. */
START_TEST(rows_just_after_a_boundary_are_on_it)
{
    static const double late[] = { 0, 2 * DBL_EPSILON, 4 * DBL_EPSILON };
    for (size_t k = 0; k < 3; k++) {
        struct wave wave = { 0 };
        for (int i = 0; i < 3; i++) {
            wave_add(&wave, i, 0);
            wave_add(&wave, i + (i ? late[k] : 0), 5);
            wave_add(&wave, i + 0.4, 5);
            wave_add(&wave, i + 0.4, 0);
        }
        wave_add(&wave, 3, 0);
        struct dw_header *header = header_with("period", "1", NULL);
        const struct dw_span span = { .kind = DW_SPAN_BETWEEN, .from = 1, .to = 2 };
        struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .span = span }, &wave);
        has_pulse_lines(s, 5, 0.4, 1, 4e-15); /* 1.4 is rounded at 1.1e-16 s */
        ck_assert(dw_spectrum_distortion(s, 0).mean > 1.99);
        dw_spectrum_free(s);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

/* Two channels of rows beside one that is not asked, which come in blocks; without a period the span is all of them. */
static struct dw_spectrum *spectrum_in_blocks(const double *rows, size_t count, size_t block, const char *period,
                                              size_t harmonics)
{
    struct dw_error error = { .status = DW_OK };
    static const size_t column[] = { 3, 1 };
    struct dw_header *header = period ? header_with("period", period, NULL) : header_with(NULL, NULL);
    succeeds(dw_header_append(header, "other", "V", &error), error);
    succeeds(dw_header_append(header, "out", "V", &error), error);
    const struct dw_spectrum_options options = { .column = column, .channels = 2, .span = { .kind = DW_SPAN_ALL },
                                                 .harmonics = harmonics };
    struct dw_spectrum *s = dw_spectrum_new(header, &options, &error);
    ck_assert_msg(s != NULL, "%s", error.text);
    for (size_t at = 0; at < count; at += block)
        succeeds(dw_spectrum_rows(s, rows + 4 * at, count - at < block ? count - at : block, &error), error);
    succeeds(dw_spectrum_finish(s, &error), error);
    dw_header_free(header);
    return s;
}

static void same_span_and_lines(const struct dw_spectrum *many, const struct dw_spectrum *one, size_t lines)
{
    double from[2], to[2], periods[2];
    dw_spectrum_span(many, &from[0], &to[0], &periods[0]);
    dw_spectrum_span(one, &from[1], &to[1], &periods[1]);
    ck_assert(from[0] == from[1] && to[0] == to[1] && periods[0] == periods[1] && to[1] > from[1]);
    ck_assert_uint_eq(dw_spectrum_highest(many), dw_spectrum_highest(one));
    for (size_t c = 0; c < 2; c++)
        for (size_t n = 1; n <= lines; n++) {
            const struct dw_line got = dw_spectrum_line(many, c, n), want = dw_spectrum_line(one, c, n);
            ck_assert(got.has_phase && want.has_phase);
            /* coefficients, half of the amplitude: the reference taken off differs by its rounding */
            within_scale(got.amplitude / 2 * cos(got.phase), want.amplitude / 2 * cos(want.phase), 4 * DBL_EPSILON, 4);
            within_scale(got.amplitude / 2 * sin(got.phase), want.amplitude / 2 * sin(want.phase), 4 * DBL_EPSILON, 4);
        }
}

START_TEST(blocks_of_any_size_give_the_same_lines)
{
    enum { ROWS = 5000, LINES = 50 };
    double *rows = calloc(4 * ROWS, sizeof *rows);
    uint64_t state = 31;
    ck_assert_ptr_nonnull(rows);
    for (size_t i = 0; i < ROWS; i++) { /* four periods and a half; some jumps, one right after a boundary */
        rows[4 * i] = i == 0 ? 0.25 : rows[4 * i - 4] + (i % 97 == 13 ? 0 : 0x1p-11 * (1 + (double)(i % 3)) / 2);
        for (size_t c = 1; c < 4; c++)
            rows[4 * i + c] = (double)c + random_next(&state);
    }
    for (int whole = 0; whole < 2; whole++) {
        const char *period = whole ? NULL : "0.5";
        const size_t harmonics = whole ? 0 : LINES; /* 0: half as many as there are lines between rows */
        struct dw_spectrum *one = spectrum_in_blocks(rows, ROWS, 1, period, harmonics);
        static const size_t blocks[] = { 2, 7, 512, 513, 1000, ROWS };
        for (size_t k = 0; k < sizeof blocks / sizeof blocks[0]; k++) {
            struct dw_spectrum *many = spectrum_in_blocks(rows, ROWS, blocks[k], period, harmonics);
            same_span_and_lines(many, one, LINES);
            dw_spectrum_free(many);
        }
        ck_assert_uint_eq(dw_spectrum_highest(one), whole ? (ROWS - 1 - 52) / 2 : LINES); /* 52 rows are jumps */
        dw_spectrum_free(one);
    }
    free(rows);
}
END_TEST

SUITE("measure: span of a spectrum", the_last_whole_period_of_the_header_is_taken,
      a_fundamental_that_divides_the_pattern_takes_as_many_periods,
      without_a_period_in_the_header_all_whole_ones_are_taken, spans_are_cut_where_they_are_asked,
      a_line_over_very_many_periods_is_not_cut_one_by_one, blocks_of_any_size_give_the_same_lines,
      rows_just_after_a_boundary_are_on_it)
