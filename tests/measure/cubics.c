/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Mean, root mean square, extremes and lines of cubics between rows, against their polynomials in long double. */
#include "suite.h"
#include "measure/waves.h"
#include <complex.h>
#include <float.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_ROWS = 4000 };

struct curve {
    double time[MOST_ROWS], value[MOST_ROWS], slope[MOST_ROWS];
    size_t rows;
};

static struct dw_wave wave_of(const struct curve *c)
{
    return (struct dw_wave){ .time = c->time, .value = c->value, .slope = c->slope, .rows = c->rows, .channels = 1 };
}

static void add(struct curve *c, double time, double value, double slope)
{
    ck_assert_uint_lt(c->rows, MOST_ROWS);
    c->time[c->rows] = time;
    c->value[c->rows] = value;
    c->slope[c->rows++] = slope;
}

/* Pieces from 1e-9 to 1 of the longest, slopes up to `wild` times the way from row to row, some jumps and changes of slope. */
static struct curve random_curve(uint64_t *state, size_t rows, double level, double ripple, double wild)
{
    struct curve c = { .rows = 0 };
    double at = 0.7, before = 0;
    for (size_t i = 0; i < rows; i++) {
        const double length = pow(10, -4.5 + 4.5 * random_next(state)), longer = fmax(before, i + 1 < rows ? length : 0);
        const double value = level + ripple * random_next(state), slope = wild * ripple * random_next(state) / longer;
        add(&c, at, value, slope);
        if (i % 7 == 3)
            add(&c, at, i % 2 ? value : level + ripple * random_next(state), wild * ripple * random_next(state) / longer);
        at += length;
        before = length;
    }
    return c;
}

/* The polynomial of a piece along s = 0 .. 1, less `shift`. */
struct polynomial {
    long double length, c[4];
};

static struct polynomial polynomial_of(const struct curve *c, size_t i, long double shift)
{
    const long double length = (long double)c->time[i + 1] - c->time[i], a = c->value[i] - shift, rise = (long double)c->value[i + 1] - c->value[i];
    const long double from = length * c->slope[i], to = length * c->slope[i + 1];
    return (struct polynomial){ length, { a, from, 3 * rise - 2 * from - to, from + to - 2 * rise } };
}

static long double at(const struct polynomial *p, long double s)
{
    return p->c[0] + s * (p->c[1] + s * (p->c[2] + s * p->c[3]));
}

static struct dw_statistics truth(const struct curve *c)
{
    const long double shift = c->value[0], whole = (long double)c->time[c->rows - 1] - c->time[0];
    long double area = 0, square = 0, low = INFINITY, high = -INFINITY;
    for (int pass = 0; pass < 2; pass++)
        for (size_t i = 0; i + 1 < c->rows; i++) {
            const struct polynomial p = polynomial_of(c, i, shift + (pass ? area : 0));
            if (!(p.length > 0))
                continue;
            if (!pass)
                area += p.length / whole * (p.c[0] + p.c[1] / 2 + p.c[2] / 3 + p.c[3] / 4);
            for (int k = 0; pass && k < 4; k++)
                for (int m = 0; m < 4; m++)
                    square += p.length / whole * p.c[k] * p.c[m] / (k + m + 1);
            /* where the derivative, c1 + 2 c2 s + 3 c3 s^2, is nothing */
            const long double root = p.c[2] * p.c[2] - 3 * p.c[1] * p.c[3];
            const long double s[] = { 0, 1, (-p.c[2] + sqrtl(root)) / (3 * p.c[3]), (-p.c[2] - sqrtl(root)) / (3 * p.c[3]) };
            for (int k = 0; !pass && k < 4; k++)
                if (s[k] >= 0 && s[k] <= 1) {
                    low = fminl(low, at(&p, s[k]));
                    high = fmaxl(high, at(&p, s[k]));
                }
        }
    return (struct dw_statistics){ .mean = (double)(area + shift), .ac_rms = (double)sqrtl(square), .minimum = (double)(low + shift),
                                   .maximum = (double)(high + shift) };
}

static double largest_part(const struct curve *c, double level)
{
    double most = 0;
    for (size_t i = 0; i < c->rows; i++) {
        const double length = fmax(i ? c->time[i] - c->time[i - 1] : 0, i + 1 < c->rows ? c->time[i + 1] - c->time[i] : 0);
        most = fmax(most, fmax(fabs(c->value[i] - level), length * fabs(c->slope[i]) / 4));
    }
    return most;
}

START_TEST(statistics_of_cubics_are_those_of_their_polynomials)
{
    static const double cases[][3] = { { 0, 5, 1 }, { 3.3, 0.01, 3 }, { -1000, 1e-3, 1 }, { 1e3, 1e-6, 30 }, { 7, 2, 0 } }; /* level, ripple, wild */
    uint64_t state = 20251;
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        const struct curve c = random_curve(&state, 500, cases[k][0], cases[k][1], cases[k][2]);
        const struct dw_wave wave = wave_of(&c);
        const struct dw_statistics want = truth(&c);
        struct dw_statistics got;
        struct dw_error error;
        double mean, part = largest_part(&c, cases[k][0]), scale = fabs(cases[k][0]) + part;
        succeeds(dw_statistics(&wave, &got, &error), error);
        succeeds(dw_mean(&wave, &mean, &error), error);
        within_scale(mean, want.mean, 4 * DBL_EPSILON, scale);
        within_scale(got.mean, want.mean, 4 * DBL_EPSILON, scale);
        within_scale(got.ac_rms, want.ac_rms, 4 * DBL_EPSILON, scale); /* and not a root of differences of squares */
        near(got.ac_rms, want.ac_rms, 1e-13 + 4 * DBL_EPSILON * scale / want.ac_rms);
        within_scale(got.minimum, want.minimum, 8 * DBL_EPSILON, scale);
        within_scale(got.maximum, want.maximum, 8 * DBL_EPSILON, scale);
    }
}
END_TEST

/* Where a piece is cut, both parts are the same cubic: nothing changes. */
static struct curve cut(const struct curve *c, uint64_t *state)
{
    struct curve more = { .rows = 0 };
    for (size_t i = 0; i < c->rows; i++) {
        add(&more, c->time[i], c->value[i], c->slope[i]);
        if (i + 1 == c->rows || c->time[i] == c->time[i + 1])
            continue;
        const struct polynomial p = polynomial_of(c, i, 0);
        const double time = c->time[i] + (c->time[i + 1] - c->time[i]) * (1 + random_next(state)) / 2;
        const long double s = ((long double)time - c->time[i]) / p.length;
        if (s > 0 && s < 1)
            add(&more, time, (double)at(&p, s), (double)((p.c[1] + s * (2 * p.c[2] + 3 * s * p.c[3])) / p.length));
    }
    return more;
}

static double complex *lines_of(const struct curve *c, size_t lines)
{
    const struct dw_wave wave = wave_of(c);
    double complex *out = calloc(lines + 1, sizeof *out);
    struct dw_error error;
    ck_assert(out);
    succeeds(dw_fourier(&wave, lines, (double *)out, &error), error);
    return out;
}

static void agree(const double complex *got, const double complex *want, size_t lines, double allowed)
{
    for (size_t n = 1; n <= lines; n++)
        ck_assert_msg(cabs(got[n] - want[n]) <= allowed, "line %zu: off by %g, allowed %g", n, cabs(got[n] - want[n]), allowed);
}

START_TEST(cutting_a_cubic_changes_nothing)
{
    enum { LINES = 3000 };
    uint64_t state = 77;
    for (int k = 0; k < 6; k++) {
        const struct curve whole = random_curve(&state, k < 3 ? 40 : 900, 2, 1, 1), parts = cut(&whole, &state);
        const struct dw_statistics want = truth(&whole), got = truth(&parts);
        const double most = 1 + largest_part(&whole, 2);
        within_scale(got.mean, want.mean, 4 * DBL_EPSILON, most); /* values and slopes are rounded at the cut */
        const struct dw_wave wave = wave_of(&parts);
        struct dw_statistics measured;
        struct dw_error error;
        succeeds(dw_statistics(&wave, &measured, &error), error);
        within_scale(measured.ac_rms, want.ac_rms, 16 * DBL_EPSILON, most);
        within_scale(measured.maximum, want.maximum, 16 * DBL_EPSILON, most);
        double complex *one = lines_of(&whole, LINES), *other = lines_of(&parts, LINES);
        agree(one, other, LINES, 32 * DBL_EPSILON * most);
        free(one);
        free(other);
    }
}
END_TEST

/* Coefficient of a line by Gauss's rule of 16 nodes in long double, as many times as the phase turns by half a radian. */
static double complex line_by_quadrature(const struct curve *c, size_t n)
{
    static long double node[16], weight[16];
    if (node[0] == 0)
        for (int i = 0; i < 16; i++) {
            long double x = cosl(3.14159265358979323846264338327950288L * (i + 0.75L) / 16.5L), slope = 1;
            for (int turn = 0; turn < 8; turn++) {
                long double before = 1, now = x;
                for (int q = 1; q < 16; q++) {
                    const long double next = ((2 * q + 1) * x * now - q * before) / (q + 1);
                    before = now;
                    now = next;
                }
                slope = 16 * (x * now - before) / (x * x - 1);
                x -= now / slope;
            }
            node[i] = x;
            weight[i] = 2 / ((1 - x * x) * slope * slope);
        }
    const long double start = c->time[0], period = c->time[c->rows - 1] - start;
    long double re = 0, im = 0;
    for (size_t i = 0; i + 1 < c->rows; i++) {
        const struct polynomial p = polynomial_of(c, i, 0);
        const int parts = p.length > 0 ? 1 + (int)(4 * 3.14159265358979323846264338327950288L * (long double)n * p.length / period) : 0;
        for (int part = 0; part < parts; part++)
            for (int k = 0; k < 16; k++) {
                const long double s = (part + (1 + node[k]) / 2) / parts, share = (c->time[i] - start + s * p.length) / period;
                const long double turns = (long double)n * share, angle = 2 * 3.14159265358979323846264338327950288L * (turns - rintl(turns));
                const long double mass = p.length / period / parts * weight[k] / 2 * at(&p, s);
                re += mass * cosl(angle);
                im -= mass * sinl(angle);
            }
    }
    return (double)re + I * (double)im;
}

/* As spectrum.h promises: of the largest value, and where shares of the period are rounded, as they are, of the way there and back. */
static double allowed_of(const struct curve *c)
{
    double way = 0;
    for (size_t i = 1; i < c->rows; i++)
        way += fabs(c->value[i] - c->value[i - 1]);
    return 8 * DBL_EPSILON * (2 + largest_part(c, 0.3)) + DBL_EPSILON / 2 * way;
}

START_TEST(lines_of_cubics_are_their_integrals)
{
    static const size_t rows[] = { 2, 3, 12, 60 }, lines[] = { 1, 2, 3, 7, 40, 63, 64, 65, 333, 1000 };
    uint64_t state = 99;
    for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
        const struct curve c = random_curve(&state, rows[k], 0.3, 2, 1);
        double complex *got = lines_of(&c, 1000);
        for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
            const double complex want = line_by_quadrature(&c, lines[i]);
            const double off = cabs(got[lines[i]] - want), allowed = allowed_of(&c);
            ck_assert_msg(off <= allowed, "%zu rows, line %zu: off by %g, allowed %g", rows[k], lines[i], off, allowed);
        }
        free(got);
    }
}
END_TEST

START_TEST(high_lines_of_cubics_are_their_integrals)
{
    enum { HIGHEST = 100000 };
    uint64_t state = 4;
    for (int k = 0; k < 2; k++) { /* piece by piece, then in cells */
        const struct curve c = random_curve(&state, k ? 2500 : 5, 0.3, 2, 1);
        double complex *got = lines_of(&c, HIGHEST);
        for (size_t n = HIGHEST; n > 10000; n /= 4) {
            const double complex want = line_by_quadrature(&c, n);
            const double off = cabs(got[n] - want), allowed = allowed_of(&c);
            ck_assert_msg(off <= allowed, "%zu rows, line %zu: off by %g, allowed %g", c.rows, n, off, allowed);
        }
        free(got);
    }
}
END_TEST

/* Chords of a cubic are off it by h^2 x'' / 8, and their lines by no more; x'' of one between -1 and 1 is at most 24 on its own scale. */
START_TEST(finer_and_finer_lines_have_the_lines_of_the_cubics)
{
    enum { LINES = 50, PIECES = 6 };
    struct curve c = { .rows = 0 };
    uint64_t state = 8;
    for (int i = 0; i <= PIECES; i++)
        add(&c, i * 1.25, random_next(&state), random_next(&state));
    double complex *want = lines_of(&c, LINES);
    for (int fine = 10; fine <= 10000; fine *= 10) {
        const size_t rows = PIECES * (size_t)fine + 1;
        double *time = calloc(rows, sizeof *time), *value = calloc(rows, sizeof *value);
        ck_assert(time && value);
        for (size_t i = 0; i < rows; i++) {
            const size_t piece = i / (size_t)fine < PIECES ? i / (size_t)fine : PIECES - 1;
            const struct polynomial p = polynomial_of(&c, piece, 0);
            const long double s = ((long double)i - (long double)piece * fine) / fine;
            time[i] = (double)((c.time[piece] + s * p.length));
            value[i] = (double)at(&p, s);
        }
        double complex got[LINES + 1];
        struct dw_error error;
        succeeds(dw_fourier(&(struct dw_wave){ .time = time, .value = value, .rows = rows, .channels = 1 }, LINES, (double *)got, &error), error);
        agree(got, want, LINES, 24 * 4 / 8.0 / fine / fine * 1.5 + 0x1p-48);
        free(time);
        free(value);
    }
    free(want);
}
END_TEST

START_TEST(straight_slopes_and_several_channels_are_as_lines_and_one_by_one)
{
    enum { ROWS = 50, LINES = 200 };
    static double time[ROWS], value[2 * ROWS], slope[2 * ROWS], one[ROWS], one_slope[ROWS];
    static double complex both[2 * (LINES + 1)], alone[LINES + 1];
    uint64_t state = 31;
    struct dw_error error;
    for (size_t i = 0; i < ROWS; i++) {
        time[i] = (double)(i / 2) + (i % 2 ? 0.8 : 0);
        for (size_t c = 0; c < 2; c++)
            value[2 * i + c] = random_next(&state);
    }
    for (size_t i = 0; i < ROWS; i++) {
        one[i] = value[2 * i];
        const size_t other = i % 2 ? i - 1 : i + 1; /* the second channel: two rows in a row have the slope of their line */
        slope[2 * i] = one_slope[i] = random_next(&state);
        slope[2 * i + 1] = (value[2 * other + 1] - value[2 * i + 1]) / (time[other] - time[i]);
    }
    const struct dw_wave wave = { .time = time, .value = value, .slope = slope, .rows = ROWS, .channels = 2 };
    succeeds(dw_fourier(&wave, LINES, (double *)both, &error), error);
    succeeds(dw_fourier(&(struct dw_wave){ .time = time, .value = one, .slope = one_slope, .rows = ROWS, .channels = 1 }, LINES,
                        (double *)alone, &error), error);
    ck_assert_mem_eq(both, alone, sizeof alone);
    struct curve c = { .rows = 0 };
    for (size_t i = 0; i < ROWS; i++)
        add(&c, time[i], value[2 * i + 1], slope[2 * i + 1]);
    for (size_t n = 1; n <= LINES; n += 13)
        within_scale(cabs(both[LINES + 1 + n] - line_by_quadrature(&c, n)), 0, 0x1p-50, 3);
}
END_TEST

SUITE("measure: cubics", statistics_of_cubics_are_those_of_their_polynomials, cutting_a_cubic_changes_nothing,
      lines_of_cubics_are_their_integrals, high_lines_of_cubics_are_their_integrals,
      finer_and_finer_lines_have_the_lines_of_the_cubics, straight_slopes_and_several_channels_are_as_lines_and_one_by_one)
