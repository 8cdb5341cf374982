/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The analyser: which part of a table it takes, what its lines mean, what it refuses and says. */
#include "measure/spectrum_inner.h"
#include "measure/waves.h"
#include "suite.h"
#include <float.h>
#include <stdlib.h>
#include <string.h>

/* An analyser that has seen the whole wave, in blocks of changing size. */
static struct dw_spectrum *spectrum_of(const struct dw_header *header, const struct dw_spectrum_options *options,
                                       const struct wave *wave)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_spectrum *s = dw_spectrum_new(header, options, &error);
    ck_assert_msg(s != NULL, "%s", error.text);
    for (size_t at = 0, block = 1; at < wave->count; at += block, block = block % 7 + 1) {
        if (block > wave->count - at)
            block = wave->count - at;
        succeeds(dw_spectrum_rows(s, wave->row + 2 * at, block, &error), error);
    }
    succeeds(dw_spectrum_finish(s, &error), error);
    return s;
}

static enum dw_status refused(const struct dw_header *header, const struct dw_spectrum_options *options,
                              const struct wave *wave, struct dw_error *error)
{
    struct dw_spectrum *s = dw_spectrum_new(header, options, error);
    enum dw_status status = s ? DW_OK : error->status;
    if (status == DW_OK)
        status = dw_spectrum_rows(s, wave->row, wave->count, error);
    if (status == DW_OK)
        status = dw_spectrum_finish(s, error);
    dw_spectrum_free(s);
    return status;
}

static bool said(const struct dw_spectrum *s, bool caution, const char *text)
{
    struct dw_spectrum_note note;
    for (size_t i = 0; dw_spectrum_note(s, i, &note); i++)
        if (!strcmp(note.text, text))
            return note.caution == caution;
    return false;
}

static bool silent(const struct dw_spectrum *s)
{
    struct dw_spectrum_note note;
    return !dw_spectrum_note(s, 0, &note);
}

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

/* ---- rows that do not fit are summed up as they come ---- */

static double *coefficients_of(const struct wave *wave, size_t lines, size_t most_bytes, unsigned long long last)
{
    struct dw_error error = { .status = DW_OK };
    const size_t column = 1;
    const struct record_plan plan = { .columns = 2, .column = &column, .channels = 1, .period = 0.5, .from = -INFINITY,
                                      .to = INFINITY, .last = last, .lines = lines, .most_bytes = most_bytes, .place = "it" };
    struct record *record = record_new(&plan, &error);
    double *out = calloc(2 * (lines + 1), sizeof *out);
    ck_assert(record && out);
    succeeds(record_rows(record, wave->row, wave->count, &error), error);
    succeeds(record_finish(record, &error), error);
    succeeds(record_coefficients(record, lines, out, &error), error);
    record_free(record);
    return out;
}

START_TEST(memory_that_is_full_changes_no_line)
{
    static const size_t lines[] = { 30, 900 }, bytes[] = { 200, 7000 }; /* which are summed in two ways */
    struct wave wave = { 0 };
    uint64_t state = 1234;
    for (int i = 0; i <= 40000; i++) {
        wave_add(&wave, i / 9000.0, random_next(&state));
        if (i % 1001 == 7)
            wave_add(&wave, i / 9000.0, random_next(&state));
    }
    for (size_t k = 0; k < 2; k++)
        for (unsigned long long last = 0; last <= 3; last += 3) {
            double *all = coefficients_of(&wave, lines[k], 0, last), *little = coefficients_of(&wave, lines[k], bytes[k], last);
            /* with room the rows are seen to lie on a grid; without, their times are as they are, rounded at 4.4e-16 s or
             * 9e-16 of the period, which 4500 kinks of random sign make 67 times as much */
            for (size_t i = 2; i < 2 * (lines[k] + 1); i++)
                within_scale(little[i], all[i], 0x1p-49 + 67 * 9e-16, 1);
            free(all);
            free(little);
        }
    wave_free(&wave);
}
END_TEST

/* ---- what the lines mean ---- */

START_TEST(the_lines_add_up_to_the_wave)
{
    enum { LINES = 3000 };
    struct wave wave = { 0 };
    for (int k = 0; k < 4; k++) {
        wave_add(&wave, k, -2);
        wave_add(&wave, k + 0.3, 1);
        wave_add(&wave, k + 0.7, -4.1);
        wave_add(&wave, k + 1, -2);
    }
    struct dw_header *header = header_with("period", "1", NULL);
    struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .harmonics = LINES }, &wave);
    static const double times[][2] = { { 0, -2 }, { 0.3, 1 }, { 0.15, -0.5 }, { 0.5, -1.55 }, { 0.85, -3.05 } };
    for (size_t k = 0; k < sizeof times / sizeof times[0]; k++) {
        double sum = 0;
        for (size_t n = 0; n <= LINES; n++) {
            const struct dw_line line = dw_spectrum_line(s, 0, n);
            sum += line.amplitude * cos(2 * M_PI * line.frequency * times[k][0] + line.phase);
        }
        /* beyond N: the sum of 2 S / (2 pi n)^2, S = 60 the slope changes */
        within_scale(sum, times[k][1], 60 / (2 * M_PI * M_PI * LINES), 1);
    }
    ck_assert(dw_spectrum_line(s, 0, 0).phase == M_PI && dw_spectrum_distortion(s, 0).mean < 0);
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(a_square_wave_is_distorted_by_48_percent)
{
    struct wave wave = wave_pulses(0, 2, 0, 3, -1, 1, 0, 1, 0);
    struct dw_header *header = header_with("period", "2", NULL);
    struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .harmonics = 7 }, &wave);
    const struct dw_distortion d = dw_spectrum_distortion(s, 0);
    /* mean square 1, line 1 4/pi, lines 3, 5, 7 a third, a fifth, a seventh of it */
    near(d.thd_all, sqrt(M_PI * M_PI / 8 - 1), 1e-12); /* a difference of 1 and 0.81, of the moments' 1e-13 */
    near(d.thd_lines, sqrt(1 / 9.0 + 1 / 25.0 + 1 / 49.0), 1e-14);
    ck_assert(d.has_thd && d.has_thd_all && !d.at_most && d.reference == 1);
    near(d.ac_rms, 1, 1e-13);
    near(dw_spectrum_line(s, 0, 3).level, -20 * log10(3), 1e-14);
    ck_assert(dw_spectrum_line(s, 0, 1).level == 0 && dw_spectrum_line(s, 0, 3).has_phase);
    ck_assert(!dw_spectrum_line(s, 0, 2).has_phase && dw_spectrum_line(s, 0, 2).amplitude < 1e-15);
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* A sine drawn with 16,384 lines has lines only beside the multiples of that: all of THD is at most 1e-8. */
START_TEST(distortion_below_rounding_is_only_bounded)
{
    enum { COUNT = 16384 };
    struct wave wave = { 0 };
    for (int i = 0; i <= COUNT; i++)
        wave_add(&wave, i * 0x1p-14, 3 * sin(2 * M_PI * i * 0x1p-14));
    struct dw_header *header = header_with("period", "1", NULL);
    struct dw_spectrum *s = spectrum_of(header, NULL, &wave);
    const struct dw_distortion d = dw_spectrum_distortion(s, 0);
    ck_assert_msg(d.at_most && d.thd_all > 1e-8 && d.thd_all < 2e-6, "%g", d.thd_all);
    ck_assert(d.thd_lines < 1e-14);
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(a_constant_has_no_lines)
{
    struct wave wave = { 0 };
    for (int i = 0; i <= 3; i++)
        wave_add(&wave, i, 0.1);
    struct dw_header *header = header_with("period", "1", NULL);
    struct dw_spectrum *s = spectrum_of(header, NULL, &wave);
    ck_assert(said(s, false, "there is no fundamental above rounding: THD is left out"));
    for (size_t n = 1; n <= 40; n++)
        ck_assert(dw_spectrum_line(s, 0, n).amplitude < 1e-16 && !dw_spectrum_line(s, 0, n).has_phase);
    ck_assert(dw_spectrum_distortion(s, 0).reference == 0 && isinf(dw_spectrum_line(s, 0, 0).level));
    near(dw_spectrum_line(s, 0, 0).amplitude, 0.1, DBL_EPSILON);
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* ---- records without a period ---- */

START_TEST(a_record_without_a_period_is_one)
{
    struct wave wave = { 0 };
    for (int i = 0; i <= 100; i++)
        wave_add(&wave, 0.5 + i * 0.01, i < 50 ? 2 : 0);
    wave_add(&wave, 1.5, 9); /* after the end */
    struct dw_header *header = header_with("sampled", "100", NULL);
    struct dw_spectrum *s = spectrum_of(header, NULL, &wave);
    double from, to, periods;
    dw_spectrum_span(s, &from, &to, &periods);
    ck_assert(from == 0.5 && to == 1.5 && periods == 1 && !dw_spectrum_harmonic(s));
    ck_assert_uint_eq(dw_spectrum_highest(s), 50);
    for (size_t n = 1; n <= 50; n++) { /* 2 V for 0.495 s between half heights, one edge of 0.01 s */
        const double a = 2 * M_PI * (double)n * 0.01;
        /* from the slope: 2/a at the edge, and the jump of 2 at the end of the record: |2 (1 - e^(-j w 0.49) k)| / (2 pi n) */
        const double k_re = cos(2 * M_PI * (double)n * 0.495) * sin(a / 2) / (a / 2);
        const double k_im = -sin(2 * M_PI * (double)n * 0.495) * sin(a / 2) / (a / 2);
        within_scale(dw_spectrum_line(s, 0, n).amplitude, 2 * hypot(1 - k_re, k_im) / (M_PI * (double)n), 1e-14, 2);
    }
    ck_assert(said(s, false, "no period is known: the span is taken as one, and lines are 1 Hz apart; give the fundamental, or a "
                             "taper for a span that holds no whole number of periods"));
    dw_spectrum_free(s);
    s = spectrum_of(header, &(struct dw_spectrum_options){ .highest = 60.5, .taper = DW_TAPER_HANN }, &wave);
    ck_assert_uint_eq(dw_spectrum_highest(s), 60);
    ck_assert(said(s, false, "the rows are samples, 100 a second: lines above 50 Hz are those of the straight lines between them"));
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* ---- tapers ---- */

/* A sine of 1.7 V on 2 V, `periods` of it in a second, drawn in lines of 2^-14 s, which loses 4e-8 of it. */
static struct wave sine(double periods)
{
    struct wave wave = { 0 };
    for (int i = 0; i <= 16384; i++)
        wave_add(&wave, 7 + i * 0x1p-14, 2 + 1.7 * cos(2 * M_PI * periods * i * 0x1p-14 + 0.4));
    return wave;
}

START_TEST(tapers_keep_the_amplitude_of_a_sine)
{
    static const struct {
        enum dw_taper taper;
        double periods, most, least;  /* share of the amplitude that the largest line shows */
    } cases[] = { { DW_TAPER_HANN, 23, 1, 1 },
                  { DW_TAPER_HANN, 23.5, 0.8489, 0.8488 },    /* 8 / (3 pi), the scalloping loss of 1.42 dB: Harris 1978, table 1 */
                  { DW_TAPER_FLAT_TOP, 23, 1, 1 },
                  { DW_TAPER_FLAT_TOP, 23.5, 1.00045, 0.99955 }, /* 0.0039 dB */
                  { DW_TAPER_FLAT_TOP, 23.31, 1.00045, 0.99955 } };
    struct dw_header *header = header_with(NULL, NULL);
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct wave wave = sine(cases[k].periods);
        struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .taper = cases[k].taper, .harmonics = 60 }, &wave);
        double largest = 0;
        for (size_t n = 1; n <= 60; n++)
            largest = fmax(largest, dw_spectrum_line(s, 0, n).amplitude);
        /* 4e-8 from drawing it, and what leaks from the negative frequency and the mean: below 1e-5 at 46 lines' distance */
        ck_assert_msg(largest / 1.7 <= cases[k].most + 1e-5 && largest / 1.7 >= cases[k].least - 1e-5, "case %zu: %.9g", k,
                      largest / 1.7);
        for (size_t n = 1; n <= 6; n++) /* the mean does not leak into the lines beside it */
            ck_assert_msg(dw_spectrum_line(s, 0, n).amplitude < 2e-3, "case %zu: line %zu has %g", k, n,
                          dw_spectrum_line(s, 0, n).amplitude);
        within_scale(dw_spectrum_distortion(s, 0).mean, 2, 2e-4, 1);
        ck_assert(silent(s));
        dw_spectrum_free(s);
        wave_free(&wave);
    }
    dw_header_free(header);
}
END_TEST

/* With enough whole periods a taper changes no harmonic: its own lines are told apart. */
START_TEST(a_taper_over_whole_periods_changes_no_harmonic)
{
    struct wave wave = wave_pulses(0.25, 0.5, 0, 6, 0, 5, 0.01, 0.13, 0.02);
    struct dw_header *header = header_with("period", "0.5", "origin", "0.25", NULL);
    struct dw_spectrum *none = spectrum_of(header, NULL, &wave);
    static const enum dw_taper tapers[] = { DW_TAPER_HANN, DW_TAPER_FLAT_TOP };
    for (size_t k = 0; k < 2; k++) {
        struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .taper = tapers[k] }, &wave);
        double from, to, periods;
        dw_spectrum_span(s, &from, &to, &periods);
        ck_assert(periods == 6);
        for (size_t n = 1; n <= 40; n++) {
            const struct dw_line line = dw_spectrum_line(s, 0, n), want = dw_spectrum_line(none, 0, n);
            /* 12 edges rounded at 3 s, 9e-16 of the period each; up to 5 lines weighted */
            within_scale(line.amplitude, want.amplitude, 1e-14, 5);
            within_scale(line.amplitude * remainder(line.phase - want.phase, 2 * M_PI), 0, 1e-14, 5);
            ck_assert(line.frequency == want.frequency);
        }
        near(dw_spectrum_line(s, 0, 0).amplitude, dw_spectrum_line(none, 0, 0).amplitude, 1e-14);
        ck_assert(dw_spectrum_distortion(s, 0).has_thd && !dw_spectrum_distortion(s, 0).has_thd_all);
        dw_spectrum_free(s);
    }
    dw_spectrum_free(none);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* ---- what is said and refused ---- */

START_TEST(a_mean_that_still_moves_is_told)
{
    struct wave wave = { 0 };
    for (int k = 0; k < 5; k++) {
        wave_add(&wave, k, 0.1 * k);
        wave_add(&wave, k + 0.5, 1 + 0.1 * k);
        wave_add(&wave, k + 1, 0.1 * (k + 1));
    }
    struct dw_header *header = header_with("period", "1", NULL);
    struct dw_spectrum *s = spectrum_of(header, NULL, &wave);
    ck_assert(said(s, false, "the mean still moves by 10 % of the ripple a period: this is not yet the steady state, and the "
                             "lines include that move"));
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(refusals_say_what_would_do)
{
    struct wave wave = wave_pulses(0, 0.5, 0, 3, 0, 5, 0, 0.2, 0), back = { 0 }, nothing = { 0 }, instant = { 0 };
    wave_add(&back, 1, 0);
    wave_add(&back, 0.5, 0);
    wave_add(&instant, 1, 0);
    wave_add(&instant, 1, 5);
    const size_t seven = 7;
    struct dw_error error;
    struct dw_header *header = header_with("period", "0.5", NULL), *none = header_with(NULL, NULL),
                     *bad = header_with("period", "-1", NULL), *other = dw_header_new("frequency", "Hz", &error),
                     *bare = dw_header_new("time", "s", &error);
    succeeds(dw_header_append(other, "pin", "V", &error), error);
    const struct {
        const struct dw_header *header;
        struct dw_spectrum_options options;
        const struct wave *wave;
        enum dw_status status;
        const char *text;
    } cases[] = {
        { bad, { .harmonics = 3 }, &wave, DW_BAD_INPUT, "the table: 'period: -1' is not above zero" },
        { other, { .place = "x.tsv" }, &wave, DW_BAD_INPUT,
          "x.tsv: its first column is a frequency; a wave against time was wanted" },
        { bare, { .place = "x.tsv" }, &wave, DW_BAD_INPUT, "x.tsv: there is no channel" },
        { header, { .column = &seven, .channels = 1 }, &wave, DW_BAD_USE, "column 7 is not one of the 1 channels" },
        { header, { .fundamental = -3 }, &wave, DW_BAD_USE, "a fundamental of -3 Hz is not above zero" },
        { header, { .highest = -1 }, &wave, DW_BAD_USE, "a highest frequency of -1 Hz is not above zero" },
        { header, { .highest = 1.5 }, &wave, DW_BAD_USE, "a highest frequency of 1.5 Hz is below the fundamental, 2 Hz" },
        { header, { .highest = 1e12 }, &wave, DW_BAD_USE, "500000000000 lines are asked; at most 67108864 can be had" },
        { none, { .highest = 1e12 }, &wave, DW_BAD_USE, "1500000000000 lines are asked; at most 67108864 can be had" },
        { none, { .span = { .kind = DW_SPAN_LAST, .periods = 1 } }, &wave, DW_BAD_INPUT,
          "the table: the last period is wanted, but the table does not say its period; give the fundamental" },
        { header, { .span = { .kind = DW_SPAN_LAST } }, &wave, DW_BAD_USE, "a span of no periods" },
        { header, { .span = { .kind = DW_SPAN_LAST, .periods = 4 } }, &wave, DW_BAD_INPUT,
          "the table: the span is the last 4 periods, but the record holds only 3" },
        { header, { .fundamental = 0.25 }, &wave, DW_BAD_INPUT, "the table: the span holds no whole period of 4 s" },
        { header, { .span = { .kind = DW_SPAN_BETWEEN, .from = -1, .to = 1 } }, &wave, DW_BAD_INPUT,
          "the table: the span begins at -1 s, before the record, which begins at 0 s" },
        { header, { .span = { .kind = DW_SPAN_BETWEEN, .from = 2, .to = 3 } }, &wave, DW_BAD_INPUT,
          "the table: the span begins at 2 s, but the record ends at 1.5 s" },
        { none, { .span = { .kind = DW_SPAN_BETWEEN, .from = 1, .to = 3 } }, &wave, DW_BAD_INPUT,
          "the table: the span ends at 3 s, but the record ends at 1.5 s" },
        { header, { .taper = DW_TAPER_FLAT_TOP }, &wave, DW_BAD_INPUT,
          "the table: a flat-top taper needs 5 whole periods, and the span holds 3" },
        { header, { .taper = DW_TAPER_HANN, .harmonics = 1 << 26 }, &wave, DW_BAD_USE,
          "201326593 lines are asked; at most 67108864 can be had" },
        { header, { .fundamental = 1e18 }, &wave, DW_BAD_INPUT,
          "the table: at 0.2 s a period of 1e-18 s is too short for the times to tell apart" },
        { header, { .harmonics = 3 }, &back, DW_BAD_INPUT, "the table, row 2: time goes back from 1 to 0.5" },
        { header, { .harmonics = 3 }, &nothing, DW_BAD_INPUT, "the table: it holds no rows" },
        { header, { .harmonics = 3 }, &instant, DW_BAD_INPUT, "the table: no time passes between the first row and the last" },
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        ck_assert_msg(refused(cases[k].header, &cases[k].options, cases[k].wave, &error) != DW_OK, "taken: %s", cases[k].text);
        refuses(refused(cases[k].header, &cases[k].options, cases[k].wave, &error), cases[k].status, error, cases[k].text);
    }
    dw_header_free(header);
    dw_header_free(none);
    dw_header_free(bad);
    dw_header_free(other);
    dw_header_free(bare);
    wave_free(&wave);
    wave_free(&back);
    wave_free(&instant);
}
END_TEST

SUITE("measure: spectrum", the_last_whole_period_of_the_header_is_taken,
      a_fundamental_that_divides_the_pattern_takes_as_many_periods,
      without_a_period_in_the_header_all_whole_ones_are_taken, spans_are_cut_where_they_are_asked,
      a_line_over_very_many_periods_is_not_cut_one_by_one, memory_that_is_full_changes_no_line,
      the_lines_add_up_to_the_wave, a_square_wave_is_distorted_by_48_percent, distortion_below_rounding_is_only_bounded,
      a_constant_has_no_lines, a_record_without_a_period_is_one, tapers_keep_the_amplitude_of_a_sine,
      a_taper_over_whole_periods_changes_no_harmonic, a_mean_that_still_moves_is_told, refusals_say_what_would_do)
