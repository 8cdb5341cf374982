/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows that do not fit are summed up as they come, which changes no line, but what can be told beside a fundamental. */
#include "measure/spectrum_inner.h" /* how much fits: 72 MiB of rows a case would take minutes */
#include "measure/waves.h"
#include "suite.h"
#include <float.h>
#include <stdlib.h>

static double *coefficients_of(const struct wave *wave, size_t lines, size_t most_bytes, unsigned long long last)
{
    struct dw_error error = { .status = DW_OK };
    const size_t column = 1;
    const struct record_plan plan = { .columns = 2, .column = &column, .channels = 1, .period = 0.5, .from = -INFINITY,
                                      .to = INFINITY, .last = last, .lines = lines, .most_bytes = most_bytes, .place = "it" };
    struct record *record = dwi_record_new(&plan, &error);
    double *out = calloc(2 * (lines + 1), sizeof *out);
    ck_assert(record && out);
    succeeds(dwi_record_rows(record, wave->row, wave->count, &error), error);
    succeeds(dwi_record_finish(record, &error), error);
    succeeds(dwi_record_coefficients(record, lines, out, &error), error);
    dwi_record_free(record);
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

/* Pulses on ticks are summed up by the tick, with next to no room; then come others, off the ticks, and ones too long to keep. */
START_TEST(pulses_on_ticks_need_no_room_and_others_may_follow)
{
    enum { LINES = 30, PERIODS = 600, MOST = 16 * 64 * 40 };
    static const struct {
        int off_from, long_from;  /* periods from which on the duty is on no tick, and from which 20 have 3000 rows each */
    } cases[] = { { PERIODS, PERIODS }, { 400, PERIODS }, { 3, PERIODS }, { PERIODS, 500 }, { 300, 500 }, { 0, PERIODS }, { PERIODS, 5 } };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct wave wave = { 0 };
        double re[LINES + 1] = { 0 }, im[LINES + 1] = { 0 };
        for (int i = 0; i < PERIODS; i++) {
            const double duty = i < cases[k].off_from ? (i % 7 + 1) / 10.0 : 0.31830988618 + i % 5 * 0.1001;
            const int rows = i >= cases[k].long_from && i < cases[k].long_from + 20 ? 3000 : 1;
            for (int r = 0; r < rows; r++)
                wave_add(&wave, 0.5 * (i + duty * r / rows), 5);
            wave_add(&wave, 0.5 * (i + duty), 5);
            wave_add(&wave, 0.5 * (i + duty), 0);
            wave_add(&wave, 0.5 * (i + 1), 0);
            for (int n = 1; n <= LINES; n++) { /* 5 / (pi n) sin(pi n D) e^(-j pi n D) */
                re[n] += 5 / (M_PI * n) * sin(M_PI * n * duty) * cos(M_PI * n * duty) / PERIODS;
                im[n] -= 5 / (M_PI * n) * sin(M_PI * n * duty) * sin(M_PI * n * duty) / PERIODS;
            }
        }
        double *out = coefficients_of(&wave, LINES, MOST, 0);
        for (int n = 1; n <= LINES; n++) { /* an edge is rounded at up to 2.8e-14 s of 0.5 s; of 600 with random signs, four times the root */
            within_scale(out[2 * n], re[n], 4 * 5.7e-14 / sqrt(PERIODS), 5);
            within_scale(out[2 * n + 1], im[n], 4 * 5.7e-14 / sqrt(PERIODS), 5);
        }
        free(out);
        wave_free(&wave);
    }
}
END_TEST

/* Corners on ticks without a jump are kept as they are: their distortion may be small. */
START_TEST(triangles_on_ticks_have_the_same_lines_in_little_room)
{
    struct wave wave = { 0 };
    for (int i = 0; i < 300; i++) {
        wave_add(&wave, 0.5 * i, 0);
        wave_add(&wave, 0.5 * i + 0.125, 1);
    }
    wave_add(&wave, 150, 0);
    double *all = coefficients_of(&wave, 30, 0, 0), *little = coefficients_of(&wave, 30, 16 * 64 * 40, 0);
    for (size_t i = 2; i < 62; i++)
        within_scale(little[i], all[i], 2 * 0x1p-50, 1);
    near(2 * hypot(all[2], all[3]), 1 / (M_PI * M_PI * 0.25 * 0.75) * sin(M_PI / 4), 1e-14);
    free(all);
    free(little);
    wave_free(&wave);
}
END_TEST

/* What a fundamental leaves is integrated from rows; where those are summed up, stand for many periods, are kept against time or are
 * lines too long for it, that is said. */
START_TEST(what_is_beside_a_fundamental_is_not_made_up)
{
    enum { COUNT = 5000 };
    static const struct {
        size_t most_bytes;
        bool whole, alike, triangle, had;
    } cases[] = { { 0, false, false, false, true },  { 2000, false, false, false, false }, { 0, true, false, false, false },
                  { 0, false, true, false, false },  { 0, false, false, true, false } };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct dw_error error = { .status = DW_OK };
        const size_t column = 1;
        const struct record_plan plan = { .columns = 2, .column = &column, .channels = 1, .period = 0.5, .from = -INFINITY, .to = INFINITY,
                                          .whole = cases[k].whole, .lines = 3, .most_bytes = cases[k].most_bytes, .place = "it" };
        struct record *record = dwi_record_new(&plan, &error);
        struct wave wave = { 0 };
        double out[8], square = -7;
        for (int i = 0; i <= 2 * COUNT; i += cases[k].triangle ? COUNT / 2 : 1)
            wave_add(&wave, 0.5 * i / COUNT, 2 + cos(2 * M_PI * i / COUNT));
        if (cases[k].alike)
            wave_add(&wave, 100, 3);
        ck_assert_ptr_nonnull(record);
        succeeds(dwi_record_rows(record, wave.row, wave.count, &error), error);
        succeeds(dwi_record_finish(record, &error), error);
        succeeds(dwi_record_coefficients(record, 3, out, &error), error);
        ck_assert_msg(dwi_record_rest(record, 0, out + 2, &square) == cases[k].had, "case %zu", k);
        if (cases[k].had)
            near(square, pow(M_PI, 4) / 90 / pow(COUNT, 4), 1e-4); /* zeta(4) / N^4 of half the square: equation 5.15; beyond, N^-6 */
        else
            ck_assert(square == -7);
        dwi_record_free(record);
        wave_free(&wave);
    }
}
END_TEST

/* Of 200 samples there is room for 100: the first ones, or, half of them dropped whenever there is no more, the last. Sums are of all, and so is
 * the rate where it drifts. */
START_TEST(samples_that_do_not_fit_are_the_first_or_the_last)
{
    const double spacing = 1.001e-3;
    for (int latest = 0; latest < 2; latest++) {
        struct samples kept = dwi_samples_new(2, 1000, 100 * 2 * sizeof(double), latest);
        struct dw_error error = { .status = DW_OK };
        double mean, ac_rms;
        size_t first, end, taken;
        succeeds(dwi_samples_put(&kept, NULL, 0, &taken, &error), error);
        for (int i = 0; i < 200; i++) {
            succeeds(dwi_samples_put(&kept, (double[]){ i * spacing, i % 4 < 2 ? 1 : 3 }, 1, &taken, &error), error);
            ck_assert_uint_eq(taken, 1);
        }
        ck_assert(kept.seen == 200 && kept.even && kept.count <= 100 && kept.count >= 50);
        const size_t from = latest ? 200 - kept.count : 0;
        for (size_t i = 0; i < kept.count; i++)
            ck_assert_double_eq(kept.row[2 * i], (double)(from + i) * spacing);
        dwi_samples_settle(&kept);
        near(kept.rate, 1 / spacing, 1e-12);
        dwi_samples_moments(&kept, 1, &mean, &ac_rms);
        near(mean, 2, 1e-14);
        near(ac_rms, 1, 1e-14);
        dwi_samples_between(&kept, (double)(from + 3) * spacing, (double)(from + 7) * spacing, &first, &end);
        ck_assert(first == 3 && end == 7);
        dwi_samples_between(&kept, 1, 2, &first, &end);
        ck_assert(first == kept.count && end == first);
        dwi_samples_between(&kept, -2, -1, &first, &end);
        ck_assert(first == 0 && end == 0);
        dwi_samples_free(&kept);
    }
}
END_TEST

/* The first 64 samples of a tone, or the last, which is what was asked; of the first what they were can no longer be taken as corners of lines. */
START_TEST(an_analyser_says_which_samples_it_kept)
{
    static const struct dw_spectrum_options last = { .fundamental = 50, .span = { .kind = DW_SPAN_LAST, .periods = 1 } };
    for (int odd = 0; odd < 3; odd++) {
        struct dw_error error = { .status = DW_OK };
        struct dw_header *header = header_with("sampled", "1000", NULL);
        struct dw_spectrum *s = dw_spectrum_new(header, odd == 2 ? &last : NULL, &error);
        ck_assert_ptr_nonnull(s);
        s->samples.most = 64;
        for (int i = 0; i < 300; i++)
            succeeds(dw_spectrum_rows(s, (double[]){ i / 1000.0, cos(2 * M_PI * i / 20) }, 1, &error), error);
        if (odd == 1) {
            refuses(dw_spectrum_rows(s, (double[]){ 0.305, 0 }, 1, &error), DW_BAD_INPUT, error,
                    "the table: row 301, at 0.305 s, is 6 spacings behind the one before, though 'sampled' says that they are equal; drop that key, or "
                    "take a part with --span");
        } else {
            succeeds(dw_spectrum_finish(s, &error), error);
            ck_assert(said(s, false, "only the first 64 rows, up to 0.063 s, are kept and taken") == !odd);
            within_scale(dw_spectrum_line(s, 0, 1).amplitude, 1, 1e-12, 1);
        }
        dw_spectrum_free(s);
        dw_header_free(header);
    }
}
END_TEST

/* A cosine as cubics, in room for a tenth of its rows. */
START_TEST(curves_have_the_same_lines_in_little_room)
{
    enum { PERIODS = 7, ROWS = 1000, LINES = 5 };
    static const size_t slope[] = { 0, 2, 0 }, column = 1;
    for (int little = 0; little < 2; little++) {
        struct dw_error error = { .status = DW_OK };
        const struct record_plan plan = { .columns = 3, .column = &column, .slope = slope, .channels = 1, .period = 0.5, .from = -INFINITY, .to = INFINITY,
                                          .lines = LINES, .most_bytes = little ? 3 * 8 * ROWS / 10 : 0, .place = "it" };
        struct record *record = dwi_record_new(&plan, &error);
        double out[2 * (LINES + 1)] = { 0 };
        ck_assert_ptr_nonnull(record);
        for (int i = 0; i <= PERIODS * ROWS; i++) {
            const double turn = 2 * M_PI * i / ROWS;
            succeeds(dwi_record_rows(record, (double[]){ 0.5 * i / ROWS, cos(turn), -4 * M_PI * sin(turn) }, 1, &error), error);
        }
        succeeds(dwi_record_finish(record, &error), error);
        succeeds(dwi_record_coefficients(record, LINES, out, &error), error);
        within_scale(out[2], 0.5, 4e-12, 1);  /* cubics are off by turn^4 / 384, 4e-12 */
        for (int n = 2; n <= LINES; n++)
            within_scale(hypot(out[2 * n], out[2 * n + 1]), 0, 1e-12, 1);
        dwi_record_free(record);
    }
}
END_TEST

SUITE("measure: room for a spectrum", an_analyser_says_which_samples_it_kept, curves_have_the_same_lines_in_little_room, samples_that_do_not_fit_are_the_first_or_the_last, memory_that_is_full_changes_no_line,
      pulses_on_ticks_need_no_room_and_others_may_follow, triangles_on_ticks_have_the_same_lines_in_little_room,
      what_is_beside_a_fundamental_is_not_made_up)
