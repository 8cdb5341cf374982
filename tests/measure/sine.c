/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sines fitted to samples, and what the meter and the analyser make of sampled tables. */
#include "measure/waves.h"
#include "suite.h"
#include <dutywright/sine.h>
#include <float.h>
#include <stdlib.h>
#include <string.h>

enum { LINES = 40 };

/* Frequency, amplitudes and phases of a sum of cosines. */
struct sum {
    double frequency, offset, amplitude[4], phase[4];
};

static double value_of(const struct sum *s, double t)
{
    double value = s->offset;
    for (int n = 1; n <= 4; n++)
        value += s->amplitude[n - 1] * cos(2 * M_PI * n * s->frequency * t + s->phase[n - 1]);
    return value;
}

static double *samples_of(const struct sum *s, size_t count)
{
    double *x = calloc(count, sizeof *x);
    ck_assert_ptr_nonnull(x);
    for (size_t i = 0; i < count; i++)
        x[i] = value_of(s, (double)i / 1000);
    return x;
}

static double amplitude(const double *line, size_t n)
{
    return (n ? 2 : 1) * hypot(line[2 * n], line[2 * n + 1]);
}

START_TEST(a_sum_of_harmonics_is_found_to_the_last_digits)
{
    static const struct {
        struct sum sum;
        size_t count;
        bool joined;
    } cases[] = {
        { { 1000 / 3.7, 0.5, { 1 }, { 0.7 } }, 75, false },
        { { 1000 / 49.0, -2, { 1 }, { -3 } }, 994, false },
        { { 1000 / 23.1, 3, { 1.65, 0.005, 0, 0.002 }, { 1, 2, 0, -1 } }, 468, false },
        { { 1000 / 23.1, 3, { 1.65, 0.4, 0.3, 0.2 }, { 1, 2, 0, -1 } }, 468, true },
        { { 1000 / 20.0, 0, { 3.3e6, 0, 1e6, 0 }, { 0, 0, 1, 0 } }, 2000, true },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct sum *s = &cases[i].sum;
        double line[2 * (LINES + 1)], *x = samples_of(s, cases[i].count);
        const struct dw_samples samples = { x, cases[i].count, 1, 1000 };
        struct dw_sine sine;
        struct dw_error error;
        succeeds(dw_sine_fit(&samples, 0, LINES, line, &sine, &error), error);
        ck_assert_int_eq(sine.joined, cases[i].joined);
        ck_assert_uint_eq(sine.harmonics, dw_sine_fitting(&samples, s->frequency));
        /* a tone that is nearly pure keeps the frequency of its own fit, which its harmonics pull by at most their share of
         * what they leak: 4 share / (pi periods) of a period over the record, and amplitudes likewise */
        const double pulled = !cases[i].joined && s->amplitude[1] > 0 ? 0.005 : 0;
        within_scale(sine.frequency, s->frequency, 64 * DBL_EPSILON + pulled / 20, s->frequency);
        for (size_t n = 0; n <= 4 && n <= sine.harmonics; n++)
            within_scale(amplitude(line, n), n ? s->amplitude[n - 1] : fabs(s->offset), 1e-13 + pulled / 10,
                         s->amplitude[0] + fabs(s->offset));
        within_scale(remainder(atan2(line[3], line[2]) - s->phase[0], 2 * M_PI), 0, 1e-12 + pulled, 1);
        free(x);
    }
}
END_TEST

START_TEST(a_known_frequency_is_kept)
{
    const struct sum s = { 40, 1, { 2, 0.5 }, { 0.3, 0.1 } };
    double line[2 * (LINES + 1)], *x = samples_of(&s, 61);
    struct dw_sine sine;
    struct dw_error error;
    succeeds(dw_sine_fit(&(struct dw_samples){ x, 61, 1, 1000 }, 40, 3, line, &sine, &error), error);
    ck_assert(sine.frequency == 40 && sine.harmonics == 3 && !sine.joined);
    within_scale(amplitude(line, 1), 2, 1e-14, 1);
    within_scale(amplitude(line, 2), 0.5, 1e-14, 1);
    within_scale(amplitude(line, 3), 0, 1e-14, 1);
    within_scale(sine.residual, 0, 1e-14, 1);
    free(x);
}
END_TEST

START_TEST(harmonics_at_half_the_rate_are_none)
{
    double x[100] = { 0 };
    const struct dw_samples samples = { x, 100, 1, 1000 };
    ck_assert_uint_eq(dw_sine_fitting(&samples, 250), 1);
    ck_assert_uint_eq(dw_sine_fitting(&samples, 100), 4);
    ck_assert_uint_eq(dw_sine_fitting(&samples, 99), 5);
    ck_assert_uint_eq(dw_sine_fitting(&samples, 499), 0); /* nearer to half the rate than half a line */
    ck_assert_uint_eq(dw_sine_fitting(&samples, 600), 0);
    ck_assert_uint_eq(dw_sine_fitting(&(struct dw_samples){ x, 4, 1, 1000 }, 10), 1); /* three unknowns of four samples */
    ck_assert_uint_eq(dw_sine_fitting(&(struct dw_samples){ x, 2, 1, 1000 }, 10), 0);
}
END_TEST

START_TEST(what_is_no_tone_is_none)
{
    double line[6], x[400];
    struct dw_sine sine;
    struct dw_error error;
    for (int shape = 0; shape < 3; shape++) {
        for (int i = 0; i < 400; i++)
            x[i] = shape == 0 ? 3.3 : shape == 1 ? i * 0.01 : 3.3 * (1 - exp(-i / 60.0));
        succeeds(dw_sine_fit(&(struct dw_samples){ x, 400, 1, 1000 }, 0, 2, line, &sine, &error), error);
        ck_assert_uint_eq(sine.harmonics, 0);
    }
    succeeds(dw_sine_fit(&(struct dw_samples){ x, 7, 1, 1000 }, 0, 2, line, &sine, &error), error);
    ck_assert_uint_eq(sine.harmonics, 0); /* too few */
    refuses(dw_sine_fit(&(struct dw_samples){ x, 400, 1, 1000 }, 500, 2, line, &sine, &error), DW_BAD_USE, error,
            "a frequency of 500 Hz is not between zero and half the rate, 500 Hz");
    refuses(dw_sine_fit(&(struct dw_samples){ x, 400, 1, 0 }, 0, 2, line, &sine, &error), DW_BAD_USE, error,
            "a rate of 0 samples a second is not above zero");
    refuses(dw_sine_fit(&(struct dw_samples){ x, 400, 1, 1000 }, -1, 2, line, &sine, &error), DW_BAD_USE, error,
            "a frequency of -1 Hz is not between zero and half the rate, 500 Hz");
    refuses(dw_sine_fit(&(struct dw_samples){ x, 400, 1, INFINITY }, 0, 2, line, &sine, &error), DW_BAD_USE, error,
            "a rate of inf samples a second is not above zero");
    refuses(dw_sine_fit(&(struct dw_samples){ x, 400, 1, 1000 }, 0, 1025, line, &sine, &error), DW_BAD_USE, error,
            "1025 harmonics: from 1 to 1024 can be fitted");
    succeeds(dw_sine_fit(&(struct dw_samples){ x, 400, 1, 1000 }, 499, 2, line, &sine, &error), error);
    ck_assert_uint_eq(sine.harmonics, 0); /* not to be told from half the rate */
    refuses(dw_sine_fit(&(struct dw_samples){ x, 400, 1, 1000 }, 0, 0, line, &sine, &error), DW_BAD_USE, error,
            "0 harmonics: from 1 to 1024 can be fitted");
}
END_TEST

/* As many as stand off from half the rate, of however many samples: 3 times 500/3 Hz is half of 1 kHz. */
START_TEST(harmonics_that_fit_are_counted_for_any_length)
{
    ck_assert_uint_eq(dw_sine_fitting(&(struct dw_samples){ NULL, (size_t)-1, 1, 1000 }, 500 / 3.0), 2);
    ck_assert_uint_eq(dw_sine_fitting(&(struct dw_samples){ NULL, (size_t)-1, 1, 1000 }, 1e-3), 1024);
    ck_assert_uint_eq(dw_sine_fitting(&(struct dw_samples){ NULL, 100, 1, 1000 }, 500), 0);
}
END_TEST

/* From a part of the record to four times as much, to all: a tone that a part knows to 1e-10 of a cycle in all of 300,000. */
START_TEST(a_long_record_is_fitted_part_by_part)
{
    const struct sum s = { 1000 / 23.1, 3, { 1.65 }, { 1 } };
    const size_t count = 300000;
    double line[4], *x = samples_of(&s, count);
    struct dw_sine sine;
    struct dw_error error;
    succeeds(dw_sine_fit(&(struct dw_samples){ x, count, 1, 1000 }, 0, 1, line, &sine, &error), error);
    near(sine.frequency, s.frequency, 1e-13);
    within_scale(amplitude(line, 1), 1.65, 1e-11, 1);
    free(x);
}
END_TEST

/* Fewer than two cycles, none, what alternates, and noise. */
START_TEST(what_cannot_be_told_is_no_sine)
{
    enum { COUNT = 64 };
    double x[COUNT], line[2 * 4];
    struct dw_error error;
    struct dw_sine sine;
    uint64_t seed = 5;
    for (int kind = 0; kind < 60; kind++) {
        for (int i = 0; i < COUNT; i++)
            x[i] = kind == 0 ? 7 : kind == 1 ? i % 2 : kind < 10 ? cos(2 * M_PI * (1.1 + kind / 10.0) * i / COUNT) :
                   kind < 20 ? cos(M_PI * (1 - 0.01 * (kind - 9)) * i) : random_next(&seed);
        succeeds(dw_sine_fit(&(struct dw_samples){ x, COUNT, 1, 1000 }, 0, 3, line, &sine, &error), error);
        if (kind < 9)
            ck_assert_msg(sine.harmonics == 0, "%d: %g Hz", kind, sine.frequency);
        ck_assert(sine.harmonics == 0 || (sine.frequency > 0 && sine.frequency < 500 && sine.residual >= 0));
    }
    /* three harmonics of a sixtieth of a cycle are all alike */
    succeeds(dw_sine_fit(&(struct dw_samples){ x, COUNT, 1, 1000 }, 1000 / (60.0 * COUNT), 3, line, &sine, &error), error);
    ck_assert_uint_eq(sine.harmonics, 0);
}
END_TEST

/* ---- sampled tables ---- */

START_TEST(a_sampled_cosine_has_its_amplitude_and_no_distortion)
{
    static const double a_period[] = { 20, 10, 4 };
    struct dw_header *header = header_with("sampled", "1000", NULL);
    for (size_t i = 0; i < 3; i++) {
        struct wave wave = { 0 };
        for (int k = 0; k < 203; k++)
            wave_add(&wave, 0.5 + k / 1000.0, cos(2 * M_PI * k / a_period[i]));
        struct dw_spectrum *s = spectrum_of(header, NULL, &wave);
        const struct dw_distortion d = dw_spectrum_distortion(s, 0);
        within_scale(dw_spectrum_line(s, 0, 1).amplitude, 1, 1e-12, 1);
        within_scale(dw_spectrum_line(s, 0, 1).phase, 0, 1e-11, 1);
        within_scale(dw_spectrum_spacing(s), 1000 / a_period[i], 1e-12, 1000);
        within_scale(d.rms, sqrt(0.5), 1e-12, 1);
        ck_assert(dw_spectrum_harmonic(s) && d.has_thd && !d.has_sinad && d.has_thd_all && d.thd_all == 0 && d.thd_lines == 0);
        dw_spectrum_free(s);
        struct dw_meter *meter = meter_of(header, NULL, &wave);
        within_scale(measured(meter, DW_MEASURE_MEAN), 0, 1e-12, 1);
        within_scale(measured(meter, DW_MEASURE_RMS), sqrt(0.5), 1e-12, 1);
        within_scale(measured(meter, DW_MEASURE_FREQUENCY), 1000 / a_period[i], 1e-12, 1000);
        dw_meter_free(meter);
        wave_free(&wave);
    }
    dw_header_free(header);
}
END_TEST

START_TEST(a_sampled_pulse_has_its_mean_over_whole_cycles)
{
    /* 20.27 periods at 100,000 samples a second: each edge is known to a sample, 1 / 1973 of 20 cycles, and so is the end */
    struct wave wave = { 0 };
    for (int k = 0; k < 2000; k++)
        wave_add(&wave, k * 1e-5, fmod(k * 1013.7e-5, 1) < 0.312 ? 3.3 : 0);
    struct dw_header *header = header_with("sampled", "100000", NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    within_scale(measured(meter, DW_MEASURE_MEAN), 1.0296, 1 / 1973.0, 3.3);
    within_scale(measured(meter, DW_MEASURE_RMS), 3.3 * sqrt(0.312), 1 / 1973.0, 3.3);
    ck_assert(noted(meter, "mean and rms are over 20 whole cycles of 1013.6 Hz"));
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(uneven_samples_are_lines_and_that_is_said)
{
    struct wave wave = { 0 };
    for (int k = 0; k < 200; k++)
        wave_add(&wave, (k + (k > 120)) / 1000.0, sin(2 * M_PI * k / 20));
    struct dw_header *header = header_with("sampled", "1000", NULL);
    struct dw_spectrum *s = spectrum_of(header, NULL, &wave);
    ck_assert(!dw_spectrum_harmonic(s));
    ck_assert(said(s, false, "row 122, at 0.122 s, is 2 spacings behind the one before, though 'sampled' says that they are equal: "
                             "rows are taken as corners of straight lines"));
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(a_declared_period_of_samples_is_kept)
{
    struct wave wave = { 0 };
    for (int k = 0; k < 100; k++)
        wave_add(&wave, k / 1000.0, 1 + 2 * cos(2 * M_PI * k / 10) + 0.5 * sin(2 * M_PI * 3 * k / 10));
    struct dw_header *header = header_with("sampled", "1000", "period", "0.01", NULL);
    struct dw_spectrum *s = spectrum_of(header, NULL, &wave);
    double from, to, periods;
    dw_spectrum_span(s, &from, &to, &periods);
    /* the last sample stands for the spacing behind it, so the last period is whole */
    within_scale(from, 0.09, DBL_EPSILON, 1);
    within_scale(to, 0.1, DBL_EPSILON, 1);
    within_scale(periods, 1, 4 * DBL_EPSILON, 1);
    ck_assert_uint_eq(dw_spectrum_highest(s), 4);
    within_scale(dw_spectrum_line(s, 0, 1).amplitude, 2, 1e-14, 1);
    within_scale(dw_spectrum_line(s, 0, 3).amplitude, 0.5, 1e-14, 1);
    within_scale(dw_spectrum_distortion(s, 0).thd_all, 0.25, 1e-14, 1);
    dw_spectrum_free(s);
    s = spectrum_of(header, &(struct dw_spectrum_options){ .span = { .kind = DW_SPAN_LAST, .periods = 3 }, .harmonics = 2 }, &wave);
    dw_spectrum_span(s, &from, &to, &periods);
    within_scale(from, 0.07, DBL_EPSILON, 1);
    ck_assert_uint_eq(dw_spectrum_highest(s), 2);
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* Last periods that a record does not hold; and lines up to a frequency instead of a number of them. */
START_TEST(what_is_asked_of_samples_is_had_or_refused)
{
    struct wave wave = { 0 };
    for (int k = 0; k < 100; k++)
        wave_add(&wave, k / 1000.0, cos(2 * M_PI * k / 10) + 0.5 * cos(2 * M_PI * 3 * k / 10));
    struct dw_header *header = header_with("sampled", "1000", "period", "0.01", NULL);
    struct dw_error error = { .status = DW_OK };
    struct dw_spectrum *s = dw_spectrum_new(header, &(struct dw_spectrum_options){ .span = { .kind = DW_SPAN_LAST, .periods = 20 } }, &error);
    ck_assert_ptr_nonnull(s);
    for (size_t i = 0; i < 100; i++)
        succeeds(dw_spectrum_rows(s, (double[]){ i / 1000.0, cos(2 * M_PI * i / 10) }, 1, &error), error);
    refuses(dw_spectrum_finish(s, &error), DW_BAD_INPUT, error, "the table: the span is the last 20 periods, but the record holds only 10");
    dw_spectrum_free(s);
    s = spectrum_of(header, &(struct dw_spectrum_options){ .highest = 300 }, &wave);
    ck_assert_uint_eq(dw_spectrum_highest(s), 3);
    within_scale(dw_spectrum_line(s, 0, 3).amplitude, 0.5, 1e-14, 1);
    dw_spectrum_free(s);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

static struct dw_spectrum *analysed(const struct dw_header *header, const struct dw_spectrum_options *options, int count, struct dw_error *error)
{
    struct dw_spectrum *s = dw_spectrum_new(header, options, error);
    ck_assert_msg(s != NULL, "%s", error->text);
    for (int i = 0; i < count; i++)
        succeeds(dw_spectrum_rows(s, (double[]){ i / 1000.0, cos(2 * M_PI * i / 10) }, 1, error), *error);
    return s;
}

/* None, one, fewer than a period, a period of no whole number of them; lines up to a frequency of a tone that is found; one line. */
START_TEST(few_samples_and_odd_periods_are_told_apart)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_header *plain = header_with("sampled", "1000", NULL), *period = header_with("sampled", "1000", "period", "0.02", NULL),
                     *odd = header_with("sampled", "1000", "period", "0.0125", NULL), *origin = header_with("sampled", "1000", "period", "0.02", "origin", "0.005", NULL);
    static const struct dw_spectrum_options hann = { .taper = DW_TAPER_HANN, .fundamental = 100, .harmonics = 20 },
                                            below = { .highest = 350 }, one = { .fundamental = 100, .harmonics = 1 },
                                            low = { .fundamental = 0.5, .harmonics = 3 },
                                            outside = { .span = { .kind = DW_SPAN_BETWEEN, .from = 5, .to = 6 } };
    const struct {
        const struct dw_header *header;
        const struct dw_spectrum_options *options;
        int count;
        enum dw_status status;
        const char *text;
    } cases[] = {
        { plain, NULL, 0, DW_BAD_INPUT, NULL }, { plain, &hann, 1, DW_BAD_INPUT, NULL }, { plain, NULL, 1, DW_BAD_INPUT, NULL },
        { plain, &outside, 100, DW_BAD_INPUT, NULL }, { period, NULL, 15, DW_OK, NULL }, { odd, NULL, 100, DW_OK, NULL }, { origin, NULL, 100, DW_OK, NULL },
        { plain, &below, 100, DW_OK, "the rows are samples, 1000 a second: the fundamental is that of a sine fit, the harmonics are by least squares from "
                                     "100 of them" },
        { plain, &one, 100, DW_OK, "the rows are samples, 1000 a second: the fundamental is by least squares from 100 of them" },
        { plain, &hann, 100, DW_OK, "the rows are samples, 1000 a second: of 20 lines 5 lie below half of that" },
        { plain, &low, 60, DW_BAD_INPUT, NULL },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_spectrum *s = analysed(cases[i].header, cases[i].options, cases[i].count, &error);
        const enum dw_status status = dw_spectrum_finish(s, &error);
        ck_assert_msg(status == cases[i].status, "%zu: status %d, %s", i, (int)status, error.text);
        ck_assert_msg(!cases[i].text || said(s, false, cases[i].text), "%zu", i);
        dw_spectrum_free(s);
    }
    dw_header_free(plain);
    dw_header_free(period);
    dw_header_free(odd);
    dw_header_free(origin);
}
END_TEST

START_TEST(the_channel_that_a_sine_explains_gives_the_frequency)
{
    struct dw_error error;
    struct dw_header *header = header_with("sampled", "1000", NULL);
    succeeds(dw_header_append(header, "ch2", "V", &error), error);
    double rows[3 * 300];
    uint64_t seed = 7;
    for (int k = 0; k < 300; k++) {
        rows[3 * k] = k / 1000.0;
        rows[3 * k + 1] = random_next(&seed);
        rows[3 * k + 2] = cos(2 * M_PI * k / 23);
    }
    struct dw_spectrum *s = dw_spectrum_new(header, NULL, &error);
    ck_assert_ptr_nonnull(s);
    succeeds(dw_spectrum_rows(s, rows, 300, &error), error);
    succeeds(dw_spectrum_finish(s, &error), error);
    within_scale(dw_spectrum_spacing(s), 1000 / 23.0, 1e-12, 1000);
    within_scale(dw_spectrum_line(s, 1, 1).amplitude, 1, 1e-12, 1);
    dw_spectrum_free(s);
    dw_header_free(header);
}
END_TEST

/* Samples of a tone of 20 a cycle: of a part of them, of periods of no whole number, and where no more than 262,144 are kept, which leaves the
 * sums of all, or what lines have. */
START_TEST(a_meter_says_which_samples_it_had)
{
    static const char little[] = "of 300000 samples only 262144 are kept, so that whole cycles are not looked for: mean and rms are those of ";
    static const struct {
        const char *period;
        struct dw_span span;
        int count;
        double off;  /* of the mean, at most */
        const char *of;
    } cases[] = {
        { "0.02", { DW_SPAN_LAST, 1, 0, 0 }, 300000, 1e-12, NULL },
        { "0.0125", { DW_SPAN_LAST, 1, 0, 0 }, 203, 1, NULL },
        { NULL, { DW_SPAN_BETWEEN, 0, 0.0205, 0.1805 }, 203, 1e-12, NULL },
        { NULL, { DW_SPAN_BETWEEN, 0, 0.02, 0.18 }, 300000, 1e-12, "straight lines" },
        { NULL, { DW_SPAN_ALL, 0, 0, 0 }, 300000, 1e-12, "all samples" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct wave wave = { 0 };
        for (int k = 0; k < cases[i].count; k++)
            wave_add(&wave, k / 1000.0, 2 + cos(2 * M_PI * (k % 20) / 20));
        struct dw_header *header = header_with("sampled", "1000", cases[i].period ? "period" : NULL, cases[i].period, NULL);
        struct dw_meter *meter = meter_of(header, &(struct dw_meter_options){ .span = cases[i].span }, &wave);
        struct dw_meter_note note;
        const char *of = NULL;
        within_scale(measured(meter, DW_MEASURE_MEAN), 2, cases[i].off, 1);
        for (size_t k = 0; dw_meter_note(meter, k, &note); k++)
            if (!strncmp(note.text, little, strlen(little)))
                of = note.text + strlen(little);
        ck_assert_pstr_eq(of, cases[i].of);
        dw_meter_free(meter);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

/* ---- levels ---- */

START_TEST(ringing_and_noise_leave_levels_and_edges_as_they_are)
{
    /* edges of 4 us that ring at 20 kHz with half the height, dying out within 60 us of a half period of 500 us; noise of 1 % */
    struct wave wave = { 0 };
    uint64_t seed = 20;
    for (int k = 0; k < 10000; k++) {
        const double t = k * 1e-6, x = fmod(t, 1e-3), since = x < 5e-4 ? x : x - 5e-4;
        const double edge = since < 4e-6 ? since / 4e-6 : 1 + 0.5 * exp(-since / 60e-6) * sin(2 * M_PI * 20e3 * (since - 4e-6));
        wave_add(&wave, t, 3.3 * (x < 5e-4 ? edge : 1 - edge) + 0.033 * (random_next(&seed) + random_next(&seed)));
    }
    struct dw_header *header = header_with("sampled", "1000000", NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    /* 10 to 90 % of 4 us; noise of 2 % at most moves each end by 0.08 us, levels off by 2 % as much */
    within_scale(measured(meter, DW_MEASURE_POSITIVE_TRANSITION), 3.2e-6, 0.1, 3.2e-6);
    within_scale(measured(meter, DW_MEASURE_NEGATIVE_TRANSITION), 3.2e-6, 0.1, 3.2e-6);
    within_scale(measured(meter, DW_MEASURE_DUTY), 0.5, 1e-3, 1);
    near(measured(meter, DW_MEASURE_FREQUENCY), 1000, 1e-3);
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(noise_of_three_percent_leaves_two_levels)
{
    struct wave wave = { 0 };
    uint64_t seed = 33;
    for (int k = 0; k < 3000; k++) {
        double value = k % 300 < 90 ? 3.3 : 0;
        for (int j = 0; j < 3; j++)
            value += 0.1 * random_next(&seed); /* sigma 0.1 */
        wave_add(&wave, k * 1e-5, value);
    }
    struct dw_header *header = header_with(NULL, NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    within_scale(measured(meter, DW_MEASURE_DUTY), 0.3, 1e-3, 1);
    ck_assert(!left_out(meter, DW_MEASURE_POSITIVE_TRANSITION));
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

SUITE("measure: sines and samples", harmonics_that_fit_are_counted_for_any_length, a_long_record_is_fitted_part_by_part, what_cannot_be_told_is_no_sine,
      few_samples_and_odd_periods_are_told_apart, a_meter_says_which_samples_it_had, a_sum_of_harmonics_is_found_to_the_last_digits, a_known_frequency_is_kept,
      harmonics_at_half_the_rate_are_none, what_is_no_tone_is_none, a_sampled_cosine_has_its_amplitude_and_no_distortion,
      a_sampled_pulse_has_its_mean_over_whole_cycles, uneven_samples_are_lines_and_that_is_said, a_declared_period_of_samples_is_kept,
      what_is_asked_of_samples_is_had_or_refused, the_channel_that_a_sine_explains_gives_the_frequency, ringing_and_noise_leave_levels_and_edges_as_they_are,
      noise_of_three_percent_leaves_two_levels)
