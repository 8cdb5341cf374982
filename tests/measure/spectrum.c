/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the lines of the analyser mean, what it refuses and says. */
#include "measure/waves.h"
#include "suite.h"
#include <float.h>
#include <stdio.h>

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

/* A sine drawn with N equal lines has lines beside the multiples of N only, 1 / (1 + k N)^2 of line 1 each, so that in all
 * thd^2 = (2 + cos 2x) x^4 / (3 sin^4 x) - 1 with x = pi / N, which is 2 zeta(4) / N^4 (1 + 10 zeta(6) / zeta(4) / N^2 ..). */
static double thd_of_lines(double count)
{
    const double zeta4 = pow(M_PI, 4) / 90, zeta6 = pow(M_PI, 6) / 945;
    return sqrt(2 * zeta4 * (1 + 10 * zeta6 / zeta4 / (count * count))) / (count * count);
}

START_TEST(a_sine_of_straight_lines_has_their_distortion_however_small)
{
    static const struct {
        int count;
        double mean, third;  /* amplitude of harmonic 3, that of 1 being 3 */
        bool equal;          /* lines are equally long */
        double allowed;
    } cases[] = { /* Parseval: 4e-13 of the mean square, twice, over thd^2; the next term of the series is 35 zeta(8)/zeta(4) N^-4 */
                  { 50, 0, 0, true, 35 / 6.25e6 + 4e-13 / 3.5e-7 },
                  /* from the rows: an error of some DBL_EPSILON at each */
                  { 500, 2, 0, true, 1e-9 },
                  { 16384, 0, 0, true, DBL_EPSILON / 5e-9 },
                  { 100000, 1, 0, true, 2 * DBL_EPSILON / 1.4e-10 },
                  /* drawing takes (8/3) (pi / N)^2 more of line 3 than of line 1 */
                  { 20000, 0, 3e-6, true, 2 * DBL_EPSILON / 1e-6 + 7e-8 },
                  /* crooked lines are up to twice as long and up to 16 times as far off, in the square: 5e-17 beside 1e-12 */
                  { 65536, 1, 3e-6, false, 1e-4 } };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct wave wave = { 0 };
        uint64_t state = 808;
        const double step = 1.0 / cases[k].count;
        for (int i = 0; i <= 2 * cases[k].count; i++) {
            const double time = (i + (cases[k].equal || i % cases[k].count == 0 ? 0 : 0.5 * random_next(&state))) * step;
            const double angle = 2 * M_PI * (time - (i >= cases[k].count));
            wave_add(&wave, time, cases[k].mean + 3 * sin(angle + 0.3) + cases[k].third * sin(3 * angle));
        }
        struct dw_header *header = header_with("period", "1", NULL);
        const struct dw_span both = { .kind = DW_SPAN_LAST, .periods = 1 + k % 2 };
        struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .span = both }, &wave);
        const struct dw_distortion d = dw_spectrum_distortion(s, 0);
        ck_assert_msg(d.has_thd_all && !d.at_most, "case %zu: at most %g", k, d.thd_all);
        near(d.thd_all, hypot(thd_of_lines(cases[k].count), cases[k].third / 3), cases[k].allowed);
        dw_spectrum_free(s);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

/* A fundamental within its doubt leaves all levels in doubt, however large their lines. */
START_TEST(levels_beside_a_doubtful_fundamental_are_not_bounded)
{
    struct wave wave = { 0 };
    for (int i = 0; i <= 1000; i++)
        wave_add(&wave, i / 1000.0, 1e-5 * cos(2 * M_PI * i / 1000) + cos(6 * M_PI * i / 1000));
    struct dw_header *header = header_with("period", "1", "accuracy", "pin 1e-3", NULL);
    struct dw_spectrum *s = spectrum_of(header, NULL, &wave);
    ck_assert(isinf(dw_spectrum_line(s, 0, 3).level_bound) && dw_spectrum_line(s, 0, 3).amplitude_bound < 0.01);
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* 3 uV on 1 V: at 2e-16 V the values themselves are rounded. */
START_TEST(distortion_below_rounding_is_only_bounded)
{
    enum { COUNT = 65536 };
    struct wave wave = { 0 };
    for (int i = 0; i <= COUNT; i++)
        wave_add(&wave, i * 0x1p-16, 1 + 3e-6 * sin(2 * M_PI * i * 0x1p-16));
    struct dw_header *header = header_with("period", "1", NULL);
    struct dw_spectrum *s = spectrum_of(header, NULL, &wave);
    const struct dw_distortion d = dw_spectrum_distortion(s, 0);
    ck_assert_msg(d.at_most && d.thd_all > thd_of_lines(COUNT) && d.thd_all < 2 * 16 * DBL_EPSILON / 3e-6, "%g", d.thd_all);
    ck_assert(d.thd_lines < 1e-10);
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

/* Amplitudes whose squares overflow or vanish; the levels between are those of a square wave all the same. */
START_TEST(amplitudes_of_any_size_keep_their_levels)
{
    static const double sizes[] = { 1e-200, 1e-160, 1, 1e160 };
    for (size_t k = 0; k < sizeof sizes / sizeof sizes[0]; k++) {
        struct wave wave = wave_pulses(0, 2, 0, 1, -sizes[k], sizes[k], 0, 1, 0);
        struct dw_header *header = header_with("period", "2", NULL);
        struct dw_spectrum *s = spectrum_of(header, NULL, &wave);
        for (size_t n = 1; n < 40; n += 2) {
            near(dw_spectrum_line(s, 0, n).amplitude, 4 / M_PI / (double)n * sizes[k], 1e-14);
            within_scale(dw_spectrum_line(s, 0, n).level, -20 * log10((double)n), 1e-13, 20);
        }
        dw_spectrum_free(s);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

START_TEST(what_is_left_out_of_one_period_is_told)
{
    struct wave wave = wave_pulses(0, 1, 0, 2, 0, 5, 0, 0.3, 0);
    struct dw_header *header = header_with("origin", "0.25", NULL);
    struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .fundamental = 1 }, &wave);
    double from, to, periods;
    dw_spectrum_span(s, &from, &to, &periods);
    ck_assert(from == 0.25 && to == 1.25 && periods == 1);
    ck_assert(said(s, false, "1 s of the span lie outside its 1 whole period and are left out"));
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(a_fundamental_beside_the_pattern_is_told)
{
    struct wave wave = wave_pulses(0, 0.5, 0, 8, 0, 5, 0, 0.2, 0);
    struct dw_header *header = header_with("period", "0.5", NULL);
    static const double fundamentals[] = { 1.3, 4.6 }; /* longer than the pattern, and shorter */
    for (size_t k = 0; k < 2; k++) {
        struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .fundamental = fundamentals[k] }, &wave);
        char text[200];
        snprintf(text, sizeof text,
                 "the table repeats every 0.5 s, which is not a whole number of periods of %g Hz: other lines mix into these",
                 fundamentals[k]);
        ck_assert(said(s, true, text));
        dw_spectrum_free(s);
    }
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* ---- records without a period ---- */

/* One straight line from 0 to 4, and a part of it: 2 h / (2 pi) is the first line of a ramp of height h, phase 90 degrees. */
START_TEST(a_single_line_has_one_line_unless_more_are_asked)
{
    struct wave wave = { 0 };
    wave_add(&wave, 0, 0);
    wave_add(&wave, 4, 4);
    struct dw_header *header = header_with(NULL, NULL);
    static const double spans[][2] = { { 0, 4 }, { 0.5, 2.25 } };
    for (size_t k = 0; k < 2; k++) {
        const struct dw_span span = { .kind = DW_SPAN_BETWEEN, .from = spans[k][0], .to = spans[k][1] };
        struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .span = span }, &wave);
        ck_assert_uint_eq(dw_spectrum_highest(s), 1);
        near(dw_spectrum_line(s, 0, 0).amplitude, (spans[k][0] + spans[k][1]) / 2, 2 * DBL_EPSILON);
        near(dw_spectrum_line(s, 0, 1).amplitude, (spans[k][1] - spans[k][0]) / M_PI, 8 * DBL_EPSILON);
        near(dw_spectrum_line(s, 0, 1).phase, M_PI / 2, 8 * DBL_EPSILON);
        dw_spectrum_free(s);
    }
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

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
    struct wave wave = wave_pulses(0, 0.5, 0, 3, 0, 5, 0, 0.2, 0), back = { 0 }, nothing = { 0 }, instant = { 0 }, wide = { 0 };
    wave_add(&back, 1, 0);
    wave_add(&back, 0.5, 0);
    wave_add(&instant, 1, 0);
    wave_add(&instant, 1, 5);
    wave_add(&wide, -1e308, 0);
    wave_add(&wide, 0, 5);
    wave_add(&wide, 1e308, 0);
    const size_t seven = 7, zero = 0;
    struct wave late = { 0 };
    wave_add(&late, 1e12, 0);
    wave_add(&late, 2e12, 1);
    struct dw_error error;
    struct dw_header *header = header_with("period", "0.5", NULL), *none = header_with(NULL, NULL),
                     *other = dw_header_new("frequency", "Hz", &error), *bare = dw_header_new("time", "s", &error),
                     *begins = header_with("period", "0.5", "origin", "0.25", NULL);
    succeeds(dw_header_append(other, "pin", "V", &error), error);
    const struct {
        const struct dw_header *header;
        struct dw_spectrum_options options;
        const struct wave *wave;
        enum dw_status status;
        const char *text;
    } cases[] = {
        { other, { .place = "x.tsv" }, &wave, DW_BAD_INPUT,
          "x.tsv: the first column is frequency[Hz]; a wave against time[s] is needed" },
        { bare, { .place = "x.tsv" }, &wave, DW_BAD_INPUT, "x.tsv: there is no channel" },
        { header, { .column = &seven, .channels = 1 }, &wave, DW_BAD_USE, "column 7 is not one of the 1 channels" },
        { header, { .column = &zero, .channels = 1 }, &wave, DW_BAD_USE, "column 0 is not one of the 1 channels" },
        { header, { .highest = INFINITY }, &wave, DW_BAD_USE, "a highest frequency of inf Hz is not above zero" },
        { header, { .fundamental = INFINITY }, &wave, DW_BAD_USE, "a fundamental of inf Hz is not above zero" },
        { header, { .harmonics = (1 << 26) + 1 }, &wave, DW_BAD_USE, "67108865 lines are asked; at most 67108864 can be had" },
        { header, { .fundamental = 1e-310 }, &wave, DW_BAD_USE, "a fundamental of 1e-310 Hz is not above zero" },
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
        { none, { .span = { .kind = DW_SPAN_BETWEEN, .from = -INFINITY, .to = 0 } }, &wave, DW_BAD_INPUT,
          "the table: the span ends at 0 s, but the record begins at 0 s" },
        { none, { .span = { .kind = DW_SPAN_BETWEEN, .from = 1.5 - DBL_EPSILON, .to = INFINITY } }, &wave, DW_BAD_INPUT,
          "the table: no time passes in the span" },
        { none, { .span = { .kind = DW_SPAN_BETWEEN, .from = 0.2 - DBL_EPSILON / 4, .to = 0.2 } }, &wave, DW_BAD_INPUT,
          "the table: no time passes in the span" },
        { header, { .span = { .kind = DW_SPAN_BETWEEN, .from = -INFINITY, .to = 0.1 } }, &wave, DW_BAD_INPUT,
          "the table: the span holds no whole period of 0.5 s" },
        { begins, { .span = { .kind = DW_SPAN_BETWEEN, .from = -INFINITY, .to = 0.2 } }, &wave, DW_BAD_INPUT,
          "the table: the span holds no whole period of 0.5 s" },
        { header, { .fundamental = 1e3 }, &late, DW_BAD_INPUT,
          "the table: a period of 0.001 s is too short to be told apart at a time of 1e+12 s" },
        { header, { .taper = DW_TAPER_FLAT_TOP }, &wave, DW_BAD_INPUT,
          "the table: a flat-top taper needs 5 whole periods, and the span holds 3" },
        { header, { .taper = DW_TAPER_HANN, .harmonics = 1 << 26 }, &wave, DW_BAD_USE,
          "201326593 lines are asked; at most 67108864 can be had" },
        { header, { .fundamental = 1e18 }, &wave, DW_BAD_INPUT,
          "the table: a period of 1e-18 s is too short to be told apart at a time of 0.2 s" },
        { header, { .harmonics = 3 }, &back, DW_BAD_INPUT, "the table, row 2: time goes back from 1 to 0.5" },
        { header, { .harmonics = 3 }, &nothing, DW_BAD_INPUT, "the table: it holds no rows" },
        { header, { .harmonics = 3 }, &instant, DW_BAD_INPUT, "the table: no time passes between the first row and the last" },
        { none, { .harmonics = 3 }, &wide, DW_BAD_INPUT, "the table: from -1e+308 s to 1e+308 s is longer than a number can hold" },
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        ck_assert_msg(refused(cases[k].header, &cases[k].options, cases[k].wave, &error) != DW_OK, "taken: %s", cases[k].text);
        refuses(refused(cases[k].header, &cases[k].options, cases[k].wave, &error), cases[k].status, error, cases[k].text);
    }
    dw_header_free(header);
    dw_header_free(none);
    dw_header_free(other);
    dw_header_free(bare);
    dw_header_free(begins);
    wave_free(&wave);
    wave_free(&back);
    wave_free(&instant);
    wave_free(&wide);
    wave_free(&late);
}
END_TEST

SUITE("measure: spectrum", the_lines_add_up_to_the_wave, a_square_wave_is_distorted_by_48_percent,
      a_sine_of_straight_lines_has_their_distortion_however_small, levels_beside_a_doubtful_fundamental_are_not_bounded,
      distortion_below_rounding_is_only_bounded,
      a_constant_has_no_lines, amplitudes_of_any_size_keep_their_levels, what_is_left_out_of_one_period_is_told,
      a_fundamental_beside_the_pattern_is_told, a_single_line_has_one_line_unless_more_are_asked,
      a_record_without_a_period_is_one, tapers_keep_the_amplitude_of_a_sine,
      a_taper_over_whole_periods_changes_no_harmonic, a_mean_that_still_moves_is_told, refusals_say_what_would_do)
