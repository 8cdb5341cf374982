/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Fourier coefficients of straight lines: closed forms, another formula, laws. How they are summed up depends on how many
 * rows and lines there are and whether the rows lie on a grid: the cases take every way of tests/measure/dwi_fourier_grid.c. */
#include "measure/waves.h"
#include "suite.h"
#include <complex.h>
#include <dutywright/spectrum.h>
#include <float.h>
#include <stdlib.h>

static double complex *of_wave(const struct wave *wave, size_t lines)
{
    struct dw_error error;
    double *time = calloc(wave->count, sizeof *time), *value = calloc(wave->count, sizeof *value);
    double complex *out = calloc(lines + 1, sizeof *out);
    ck_assert(time && value && out);
    for (size_t i = 0; i < wave->count; i++) {
        time[i] = wave->row[2 * i];
        value[i] = wave->row[2 * i + 1];
    }
    succeeds(dw_fourier(&(struct dw_wave){ .time = time, .value = value, .rows = wave->count, .channels = 1 }, lines, (double *)out, &error), error);
    free(time);
    free(value);
    return out;
}

static struct wave pulse(double low, double high, double duty)
{
    struct wave wave = { 0 };
    wave_add(&wave, 0, high);
    wave_add(&wave, duty, high);
    wave_add(&wave, duty, low);
    wave_add(&wave, 1, low);
    return wave;
}

static void agree(const double complex *got, const double complex *want, size_t lines, double allowed, double scale)
{
    for (size_t n = 0; n <= lines; n++) {
        within_scale(creal(got[n]), creal(want[n]), allowed, scale);
        within_scale(cimag(got[n]), cimag(want[n]), allowed, scale);
    }
}

/* Rows that change no line: they lie on the lines of the wave, near every count-th of the period. */
struct more_rows {
    size_t count;   /* 0: none */
    double off;     /* share of their distance by which they lie beside those places */
};

static struct wave with_rows(const struct wave *wave, const struct more_rows *more)
{
    struct wave filled = { 0 };
    uint64_t state = 11;
    size_t k = 1;
    for (size_t i = 0; i < wave->count; i++) {
        const double *to = wave->row + 2 * i, *from = i ? to - 2 : to;
        for (; k < more->count; k++) {
            const double place = ((double)k + more->off * (1 + random_next(&state)) / 2) / (double)more->count;
            if (place >= to[0])
                break;
            if (place > from[0])
                wave_add(&filled, place, fma((to[1] - from[1]) / (to[0] - from[0]), place - from[0], from[1]));
        }
        wave_add(&filled, to[0], to[1]);
    }
    return filled;
}

/* As they are; all of a grid; one off any grid; more than are summed up one by one. */
enum { FORMS = 4 };
static struct more_rows form_of(int form, size_t cells)
{
    const struct more_rows forms[FORMS] = { { 0, 0 }, { cells, 0 }, { 2, 0.7 }, { 1000, 0.7 } };
    return forms[form];
}

/* 2V/(n pi) |sin(n pi D)|, also where V is much smaller than what lies under it. */
START_TEST(a_pulse_train_has_the_lines_of_the_book_up_to_the_thousandth)
{
    static const struct {
        double low, high, duty;
        size_t cells;
    } cases[] = { { 0, 5, 1 / 256.0, 256 },  { 0, 5, 255 / 256.0, 256 }, { 0, 3.3, 64 / 255.0, 255 }, { 0, 5, 0.5, 2 },
                  { 0, 12, 0.37, 100 },      { -7, 24, 3 / 7.0, 7 },     { 1000, 1001, 0.123, 1000 }, { 0, 5, 1e-7, 0 },
                  { 0, 5, 0.31830988618, 0 } };
    enum { LINES = 1000 };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++)
        for (int form = 0; form < FORMS; form++) {
            struct wave bare = pulse(cases[k].low, cases[k].high, cases[k].duty);
            const struct more_rows more = form_of(form, cases[k].cells);
            struct wave wave = with_rows(&bare, &more);
            double complex *got = of_wave(&wave, LINES);
            for (size_t n = 1; n <= LINES; n++) {
                const double height = cases[k].high - cases[k].low, scale = fmax(fabs(cases[k].high), fabs(cases[k].low));
                /* the duty is rounded at eps / 2, which moves any line by 2 V eps / 2; ours is 2^-50, four ulp */
                within_scale(2 * cabs(got[n]), 2 * height / (n * M_PI) * fabs(sin(n * M_PI * cases[k].duty)),
                             5 * DBL_EPSILON, scale);
            }
            free(got);
            wave_free(&wave);
            wave_free(&bare);
        }
}
END_TEST

/* Equal rise and fall: 2 V W |sinc(n W) sinc(n R)| with W the width at half height and R the edge, shares of the period. */
START_TEST(a_trapezoid_has_the_product_of_two_sincs)
{
    static const struct {
        double width, edge;
        size_t cells;
    } cases[] = { { 0.37, 0.01, 100 }, { 0.5, 0.5, 2 }, { 0.1, 1e-6, 0 }, { 0.25, 0.125, 8 }, { 0.71, 0.03, 100 } };
    enum { LINES = 700 };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++)
        for (int form = 0; form < FORMS; form++) {
            const double width = cases[k].width, edge = cases[k].edge;
            struct wave bare = { 0 };
            wave_add(&bare, 0, 0);
            wave_add(&bare, edge, 4.87);
            wave_add(&bare, width, 4.87);
            wave_add(&bare, width + edge, 0);
            wave_add(&bare, 1, 0);
            const struct more_rows more = form_of(form, cases[k].cells);
            struct wave wave = with_rows(&bare, &more);
            double complex *got = of_wave(&wave, LINES);
            for (size_t n = 1; n <= LINES; n++) {
                const double want = 2 * 4.87 * fabs(sin(M_PI * n * width) / (M_PI * n) * sin(M_PI * n * edge) / (M_PI * n * edge));
                /* width + edge is rounded at eps / 2 too */
                within_scale(2 * cabs(got[n]), want, 6 * DBL_EPSILON, 4.87);
            }
            free(got);
            wave_free(&wave);
            wave_free(&bare);
        }
}
END_TEST

/* Integrals of e^(-j phi u) and of u e^(-j phi u) over 0..1. */
static void anchored_weights(double phi, double complex *level, double complex *rise)
{
    if (phi > 1) {
        const double complex turned = cexp(-I * phi);
        *level = (1 - turned) / (I * phi);
        *rise = (*level - turned) / (I * phi);
        return;
    }
    double complex term = 1;
    *level = *rise = 0;
    for (int k = 0; k < 20; k++) {
        *level += term / (k + 1);
        *rise += term / (k + 2);
        term *= -I * phi / (k + 1);
    }
}

/* Another formula for what no closed form covers: each piece by powers from its start, whose phase is reduced exactly. Its own
 * error is that of the weights above, a few ulp of the largest value in pieces that add up to 1. */
static double complex *anchored_at_starts(const struct wave *wave, size_t lines)
{
    double complex *want = calloc(lines + 1, sizeof *want);
    ck_assert_ptr_nonnull(want);
    for (size_t n = 0; n <= lines; n++)
        for (size_t i = 1; i < wave->count; i++) {
            const double *a = wave->row + 2 * i - 2, *b = wave->row + 2 * i, turns = (double)n * a[0];
            const double turn = (turns - rint(turns)) + fma((double)n, a[0], -turns);
            double complex level, rise;
            anchored_weights(2 * M_PI * (double)n * (b[0] - a[0]), &level, &rise);
            want[n] += (b[0] - a[0]) * cexp(-2 * M_PI * I * turn) * (a[1] * level + (b[1] - a[1]) * rise);
        }
    return want;
}

START_TEST(random_waves_agree_with_integrals_anchored_at_the_start_of_each_piece)
{
    static const struct {
        size_t pieces, cells, lines;
        double allowed;
    } cases[] = {
        /* summed up one by one: 2^-50, which leaves room for the few ulp of the other formula */
        { 3, 0, 40, 0x1p-50 }, { 40, 0, 1000, 0x1p-50 }, { 1, 0, 17, 0x1p-50 },
        /* in cells: places of up to 1500 jumps rounded at half an ulp with random sign, 5 V in the mean: sqrt(1500) of that */
        { 1000, 0, 1, 0x1p-50 + 25 * DBL_EPSILON / 2 }, { 1000, 0, 63, 0x1p-50 + 25 * DBL_EPSILON / 2 },
        { 1000, 0, 64, 0x1p-50 + 25 * DBL_EPSILON / 2 }, { 700, 0, 700, 0x1p-50 + 25 * DBL_EPSILON / 2 },
        { 400, 0, 300, 0x1p-50 + 25 * DBL_EPSILON / 2 },
        /* on a grid, which takes that rounding off the times: it is the other formula that has it */
        { 9, 81, 200, 0x1p-50 + 25 * DBL_EPSILON / 2 }, { 500, 4096, 40, 0x1p-50 + 25 * DBL_EPSILON / 2 },
        { 211, 997, 64, 0x1p-50 + 25 * DBL_EPSILON / 2 }, { 500, 500, 1700, 0x1p-50 + 25 * DBL_EPSILON / 2 },
    };
    uint64_t state = 77;
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct wave wave = wave_random(&state, cases[k].pieces, cases[k].cells);
        double complex *got = of_wave(&wave, cases[k].lines), *want = anchored_at_starts(&wave, cases[k].lines);
        agree(got, want, cases[k].lines, cases[k].allowed, 5);
        free(got);
        free(want);
        wave_free(&wave);
    }
}
END_TEST

/* A delay by s turns line n by 2 pi n s; double the wave, double the lines; mean-free lines do not see an offset. */
START_TEST(a_delay_turns_the_phases_and_a_factor_scales_the_amplitudes)
{
    enum { LINES = 200 };
    uint64_t state = 5;
    const double delay = 0.2345;
    struct wave wave = wave_random(&state, 30, 0), moved = { 0 };
    /* cut at 1 - delay, where the wave is on a line */
    size_t cut = 1;
    while (wave.row[2 * cut] < 1 - delay)
        cut++;
    const double *a = wave.row + 2 * cut - 2, *b = wave.row + 2 * cut;
    const double at = a[1] + (b[1] - a[1]) * ((1 - delay - a[0]) / (b[0] - a[0]));
    wave_add(&moved, 0, -2 * at + 3);
    for (size_t i = cut; i < wave.count; i++)
        wave_add(&moved, wave.row[2 * i] - (1 - delay), -2 * wave.row[2 * i + 1] + 3);
    for (size_t i = 0; i < cut; i++)
        wave_add(&moved, wave.row[2 * i] + delay, -2 * wave.row[2 * i + 1] + 3);
    wave_add(&moved, 1, -2 * at + 3);
    double complex *one = of_wave(&wave, LINES), *other = of_wave(&moved, LINES);
    for (size_t n = 1; n <= LINES; n++) {
        const double complex want = -2 * one[n] * cexp(-2 * M_PI * I * (double)n * delay);
        /* some 45 jumps and kinks of 10 V rounded anew, and the turn itself at n eps / 2 of a line below 10 V / n */
        within_scale(cabs(other[n] - want), 0, 30 * DBL_EPSILON, 10);
    }
    near(creal(other[0]), -2 * creal(one[0]) + 3, 30 * DBL_EPSILON);
    free(one);
    free(other);
    wave_free(&wave);
    wave_free(&moved);
}
END_TEST

/* Sum of |c_n|^2 = mean square. A wave without jumps has lines below S / (2 pi n)^2, S the sum of its slope changes, so
 * that what lies beyond N is below 2 S^2 / (2 pi)^4 / (3 N^3). */
START_TEST(a_trapezoid_keeps_parseval)
{
    enum { LINES = 20000 };
    struct wave wave = { 0 };
    wave_add(&wave, 0, 0);
    wave_add(&wave, 0.11, 5);
    wave_add(&wave, 0.43, 3.1);
    wave_add(&wave, 0.6, -1.3);
    wave_add(&wave, 1, 0);
    double complex *got = of_wave(&wave, LINES);
    double square = 0, sum = creal(got[0]) * creal(got[0]), slopes = 0;
    for (size_t i = 1; i < wave.count; i++) {
        const double *a = wave.row + 2 * i - 2, *b = wave.row + 2 * i;
        square += (b[0] - a[0]) * (a[1] * a[1] + a[1] * b[1] + b[1] * b[1]) / 3;
        slopes += 2 * fabs((b[1] - a[1]) / (b[0] - a[0]));
    }
    for (size_t n = LINES; n >= 1; n--)
        sum += 2 * creal(got[n] * conj(got[n]));
    const double beyond = 2 * slopes * slopes / pow(2 * M_PI, 4) / (3 * pow(LINES, 3));
    ck_assert_msg(square - sum >= -8 * DBL_EPSILON * square && square - sum <= beyond + 8 * DBL_EPSILON * square,
                  "off by %g, allowed %g", square - sum, beyond);
    ck_assert(beyond < 2e-9 * square); /* so that the check is one */
    free(got);
    wave_free(&wave);
}
END_TEST

START_TEST(a_period_far_from_time_zero_keeps_its_lines)
{
    /* t from 1234.5 s on in steps of 1 ms: times are rounded at 1.1e-13 s, which is 1.1e-10 of the period */
    double time[] = { 1234.5, 1234.50025, 1234.50025, 1234.501 }, value[] = { 5, 5, 0, 0 };
    double complex got[101];
    struct dw_error error;
    succeeds(dw_fourier(&(struct dw_wave){ .time = time, .value = value, .rows = 4, .channels = 1 }, 100, (double *)got, &error), error);
    for (int n = 1; n <= 100; n++)
        within_scale(2 * cabs(got[n]), 10 / (n * M_PI) * fabs(sin(n * M_PI * 0.25)), 3 * 1.2e-10, 5);
}
END_TEST

START_TEST(several_channels_are_as_one_by_one)
{
    enum { ROWS = 50, LINES = 90 };
    double time[ROWS], value[3 * ROWS], one[ROWS];
    double complex all[3 * (LINES + 1)], alone[LINES + 1];
    struct dw_error error;
    uint64_t state = 99;
    for (size_t i = 0; i < ROWS; i++) {
        time[i] = i ? time[i - 1] + 1 + random_next(&state) : 3.7;
        for (size_t c = 0; c < 3; c++)
            value[3 * i + c] = random_next(&state);
    }
    succeeds(dw_fourier(&(struct dw_wave){ .time = time, .value = value, .rows = ROWS, .channels = 3 }, LINES, (double *)all, &error), error);
    for (size_t c = 0; c < 3; c++) {
        for (size_t i = 0; i < ROWS; i++)
            one[i] = value[3 * i + c];
        succeeds(dw_fourier(&(struct dw_wave){ .time = time, .value = one, .rows = ROWS, .channels = 1 }, LINES, (double *)alone, &error), error);
        ck_assert_mem_eq(alone, all + c * (LINES + 1), sizeof alone);
    }
}
END_TEST

/* Few lines of very many samples come from moments of the samples, however they fall into cells. */
START_TEST(few_lines_of_many_samples_are_those_of_more)
{
    static const size_t cases[][2] = { { 1024, 1 }, { 20480, 20 }, { 41003, 40 }, { 70001, 33 }, { 65536, 0 } }; /* samples, lines */
    uint64_t state = 1618;
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        const size_t count = cases[k][0], lines = cases[k][1];
        struct wave wave = { 0 };
        for (size_t i = 0; i <= count; i++)
            wave_add(&wave, (double)i / (double)count, 5 * random_next(&state) + (double)i / (double)count);
        double complex *got = of_wave(&wave, lines), *want = of_wave(&wave, count / 1024 + 1); /* one too many for moments */
        agree(got, want, lines, 2 * 0x1p-50, 6);
        free(got);
        free(want);
        wave_free(&wave);
    }
}
END_TEST

/* A polygon whose corners lie on a grid, with none at most of its borders. */
START_TEST(corners_on_a_grid_have_the_lines_of_their_straight_lines)
{
    struct wave wave = { 0 };
    const double place[] = { 0, 3 / 64.0, 0.25, 41 / 64.0, 1 };
    for (size_t i = 0; i < 5; i++)
        wave_add(&wave, place[i], (double)(i * i % 5));
    double complex *got = of_wave(&wave, 200), *want = anchored_at_starts(&wave, 200);
    agree(got, want, 200, 2 * 0x1p-50, 5);
    free(got);
    free(want);
    wave_free(&wave);
}
END_TEST

/* Such a record takes a way of its own, with the step from its end back to its start. */
START_TEST(sampled_records_have_the_lines_of_their_straight_lines)
{
    enum { LINES = 300 };
    static const size_t cells[] = { 1, 2, 63, 64, 65, 1024, 997 };
    uint64_t state = 4711;
    for (size_t k = 0; k < sizeof cells / sizeof cells[0]; k++) {
        struct wave wave = { 0 };
        for (size_t i = 0; i <= cells[k]; i++)
            wave_add(&wave, (double)i / (double)cells[k], 5 * random_next(&state));
        double complex *got = of_wave(&wave, LINES), *want = anchored_at_starts(&wave, LINES);
        agree(got, want, LINES, 2 * 0x1p-50, 10);
        free(got);
        free(want);
        wave_free(&wave);
    }
}
END_TEST

START_TEST(what_is_no_period_is_refused)
{
    const double back[] = { 0, 2, 1 }, none[] = { 3, 3, 3 }, wide[] = { -1e308, 0, 1e308 }, value[] = { 1, 2, 3 };
    double out[8] = { 42 };
    struct dw_error error;
    refuses(dw_fourier(&(struct dw_wave){ .time = back, .value = value, .rows = 3, .channels = 1 }, 3, out, &error), DW_BAD_INPUT, error,
            "row 3: time goes back from 2 to 1");
    refuses(dw_fourier(&(struct dw_wave){ .time = none, .value = value, .rows = 3, .channels = 1 }, 3, out, &error), DW_BAD_INPUT, error,
            "no time passes between the first row and the last");
    refuses(dw_fourier(&(struct dw_wave){ .time = wide, .value = value, .rows = 3, .channels = 1 }, 3, out, &error), DW_BAD_INPUT, error,
            "from -1e+308 s to 1e+308 s is longer than a number can hold");
    refuses(dw_fourier(&(struct dw_wave){ .time = none, .value = value, .rows = 3, .channels = 1 }, (1 << 26) + 1, out, &error), DW_BAD_USE, error,
            "67108865 lines are asked; at most 67108864 can be had");
    ck_assert(out[0] == 42);
}
END_TEST

SUITE("measure: Fourier coefficients", a_pulse_train_has_the_lines_of_the_book_up_to_the_thousandth,
      a_trapezoid_has_the_product_of_two_sincs, random_waves_agree_with_integrals_anchored_at_the_start_of_each_piece,
      a_delay_turns_the_phases_and_a_factor_scales_the_amplitudes, a_trapezoid_keeps_parseval,
      a_period_far_from_time_zero_keeps_its_lines, several_channels_are_as_one_by_one,
      sampled_records_have_the_lines_of_their_straight_lines, few_lines_of_many_samples_are_those_of_more,
      corners_on_a_grid_have_the_lines_of_their_straight_lines, what_is_no_period_is_refused)
