/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Spectra against series and tables that are not ours, and against reference libraries. */
#include "measure/coefficients_inner.h" /* weights by themselves: lines show them in sums only */
#include "measure/spectrum_inner.h" /* tapers, likewise */
#include "measure/waves.h"
#include "suite.h"
#include <complex.h>
#include <dutywright/spectrum.h>
#include <fftw3.h>
#include <float.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_sf_bessel.h>
#include <stdlib.h>

/* ---- sine-modulated pulse-width modulation ---- */

enum { CARRIERS = 21 }; /* carrier periods in one of the modulating sine */

struct modulation {
    const char *name;
    double depth;                                         /* duty = 1/2 + depth/2 cos(2 pi t) */
    void (*edges)(double depth, int carrier, double *on, double *off);
    double complex (*line)(double depth, int line);       /* of a pulse of height 1 */
};

/* The time t at which (carrier t - k) = from + slope * duty(t), solved to the last digit by Newton. */
static double crossing(double depth, int k, double from, double slope)
{
    double t = (k + 0.5) / CARRIERS;
    for (int i = 0; i < 60; i++) {
        const double duty = 0.5 + depth * cos(2 * M_PI * t) / 2, rate = -depth * M_PI * sin(2 * M_PI * t);
        t -= (CARRIERS * t - k - from - slope * duty) / (CARRIERS - slope * rate);
    }
    return t;
}

static void natural_trailing(double depth, int k, double *on, double *off)
{
    *on = (double)k / CARRIERS;
    *off = crossing(depth, k, 0, 1);
}

static void natural_double(double depth, int k, double *on, double *off)
{
    *on = crossing(depth, k, 0.5, -0.5);
    *off = crossing(depth, k, 0.5, 0.5);
}

static void regular_trailing(double depth, int k, double *on, double *off)
{
    *on = (double)k / CARRIERS;
    *off = (k + 0.5 + depth * cos(2 * M_PI * k / CARRIERS) / 2) / CARRIERS;
}

static double bessel(int order, double x)
{
    gsl_sf_result result;
    return gsl_sf_bessel_Jn_e(order, x, &result) == GSL_EUNDRFLW ? 0 : result.val;
}

/* (-j)^n */
static double complex turned(int n)
{
    static const double complex powers[] = { 1, -I, -1, I };
    return powers[((n % 4) + 4) % 4];
}

static double complex baseband(double depth, int n)
{
    return n == 0 ? 0.5 : abs(n) == 1 ? depth / 4 : 0;
}

/* Line `line` collects all carrier multiples m and sidebands n with m CARRIERS + n = line. Beyond these m the orders are so
 * far above the arguments that J_n is below 1e-30. */
enum { M_MOST = 40 };

/* Double Fourier series of a unit pulse that begins with the carrier's period: C_mn = [(n = 0) - (-1)^m (-j)^n J_n(m pi M)]
 * / (j 2 pi m). Holmes and Lipo 2003, Pulse Width Modulation for Power Converters, section 3.3 (from memory; derived anew
 * from the unit cell). */
static double complex natural_trailing_line(double depth, int line)
{
    double complex sum = 0;
    for (int m = -M_MOST; m <= M_MOST; m++) {
        const int n = line - m * CARRIERS;
        if (m == 0)
            sum += baseband(depth, n);
        else
            sum += ((n == 0) - (m % 2 ? -1 : 1) * turned(n) * bessel(n, m * M_PI * depth)) / (2 * M_PI * I * m);
    }
    return sum;
}

/* Pulse in the middle of the carrier's period, both edges modulated: C_mn = (-1)^m J_n(m pi M / 2) sin((m + n) pi / 2) / (m
 * pi); the same, section 3.4. */
static double complex natural_double_line(double depth, int line)
{
    double complex sum = 0;
    for (int m = -M_MOST; m <= M_MOST; m++) {
        const int n = line - m * CARRIERS, quarter = ((m + n) % 4 + 4) % 4;
        if (m == 0)
            sum += baseband(depth, n);
        else
            sum += (m % 2 ? -1 : 1) * bessel(n, m * M_PI * depth / 2) * (quarter == 1 ? 1 : quarter == 3 ? -1 : 0) / (m * M_PI);
    }
    return sum;
}

/* Duty read at the start of each carrier period: with q = line / CARRIERS, the sum over the sidebands n that fall on the
 * line, J_n(q pi M) / q; the same, section 3.5. */
static double complex regular_trailing_line(double depth, int line)
{
    const double q = (double)line / CARRIERS;
    double complex sum = 0;
    for (int m = -M_MOST; m <= M_MOST; m++) {
        const int n = line - m * CARRIERS;
        sum += turned(n) * bessel(n, q * M_PI * depth);
    }
    return ((line % CARRIERS == 0) - cexp(-I * M_PI * q) * sum) / (2 * M_PI * I * q);
}

static const struct modulation modulations[] = {
    { "natural, trailing edge", 0.83, natural_trailing, natural_trailing_line },
    { "natural, trailing edge, small", 0.11, natural_trailing, natural_trailing_line },
    { "natural, both edges", 0.83, natural_double, natural_double_line },
    { "regular, trailing edge", 0.83, regular_trailing, regular_trailing_line },
    { "regular, trailing edge, deep", 0.99, regular_trailing, regular_trailing_line },
};
enum { MODULATIONS = sizeof modulations / sizeof modulations[0] };

static size_t modulated(const struct modulation *modulation, double *time, double *value)
{
    size_t rows = 0;
    for (int k = 0; k < CARRIERS; k++) {
        double on, off;
        modulation->edges(modulation->depth, k, &on, &off);
        const double at[] = { (double)k / CARRIERS, on, on, off, off }, level[] = { 0, 0, 1, 1, 0 };
        for (int i = 0; i < 5; i++, rows++) {
            time[rows] = at[i];
            value[rows] = level[i];
        }
    }
    time[rows] = 1;
    value[rows++] = 0;
    return rows;
}

START_TEST(modulated_pulses_have_the_sidebands_of_the_double_fourier_series)
{
    enum { LINES = 20 * CARRIERS, ROWS = 5 * CARRIERS + 1 };
    double time[ROWS], value[ROWS];
    double complex got[LINES + 1];
    struct dw_error error;
    gsl_set_error_handler_off(); /* orders far above the argument underflow, and should */
    for (size_t k = 0; k < MODULATIONS; k++) {
        const struct modulation *modulation = &modulations[k];
        const size_t rows = modulated(modulation, time, value);
        int audible = 0;
        succeeds(dw_fourier(&(struct dw_wave){ .time = time, .value = value, .rows = rows, .channels = 1 }, LINES, (double *)got, &error), error);
        for (int n = 1; n <= LINES; n++) {
            const double complex want = modulation->line(modulation->depth, n);
            audible += 2 * cabs(want) > 1e-5;
            /* 42 edges good to an ulp or two of 1/2 each, of random sign, GSL's J_n of arguments up to 100 at some 1e-15, 2^-50 of ours */
            ck_assert_msg(cabs(got[n] - want) <= 3e-15, "%s, line %d: %g%+gj, wanted %g%+gj", modulation->name, n,
                          creal(got[n]), cimag(got[n]), creal(want), cimag(want));
        }
        /* so that sidebands down to -100 dB of the pulse are indeed among them, and lines without any too */
        ck_assert_msg(audible > 100 && audible < LINES, "%s: %d lines", modulation->name, audible);
    }
}
END_TEST

/* Parseval: the mean square of a pulse of height 1 is its duty. Each of J jumps gives at most 1 / (2 pi n), so that the
 * lines beyond N hold less than 2 (J / (2 pi))^2 / N of it. */
START_TEST(modulated_pulses_keep_parseval)
{
    enum { LINES = 1 << 17, ROWS = 5 * CARRIERS + 1 };
    double time[ROWS], value[ROWS], mean;
    double complex *got = calloc(LINES + 1, sizeof *got);
    struct dw_error error;
    ck_assert_ptr_nonnull(got);
    for (size_t k = 0; k < MODULATIONS; k++) {
        const size_t rows = modulated(&modulations[k], time, value);
        succeeds(dw_mean(&(struct dw_wave){ .time = time, .value = value, .rows = rows, .channels = 1 }, &mean, &error), error);
        succeeds(dw_fourier(&(struct dw_wave){ .time = time, .value = value, .rows = rows, .channels = 1 }, LINES, (double *)got, &error), error);
        double sum = 0;
        for (int n = LINES; n >= 1; n--)
            sum += 2 * creal(got[n] * conj(got[n]));
        const double beyond = 2 * pow(2 * CARRIERS / (2 * M_PI), 2) / LINES, rest = mean - mean * mean - sum;
        ck_assert_msg(rest > 0 && rest < beyond, "%s: %g left, at most %g", modulations[k].name, rest, beyond);
    }
    free(got);
}
END_TEST

/* ---- reference libraries ---- */

/* Equally spaced rows without jumps: the DFT of the values by FFTW, times sinc^2 (the transform of a triangle). */
START_TEST(uniform_rows_have_the_dft_of_their_values_times_sinc_squared)
{
    static const int counts[] = { 4096, 1000, 997, 6 };
    uint64_t state = 31;
    for (size_t k = 0; k < 4; k++) {
        const int count = counts[k], lines = 3 * count;
        double *time = calloc((size_t)count + 1, sizeof *time), *value = calloc((size_t)count + 1, sizeof *value);
        double complex *got = calloc((size_t)lines + 1, sizeof *got);
        fftw_complex *dft = fftw_alloc_complex((size_t)count);
        struct dw_error error;
        ck_assert(time && value && got && dft);
        for (int i = 0; i <= count; i++) {
            time[i] = 0.75 * i / count;
            value[i] = i < count ? random_next(&state) : value[0];
        }
        fftw_plan plan = fftw_plan_dft_1d(count, dft, dft, FFTW_FORWARD, FFTW_ESTIMATE);
        for (int i = 0; i < count; i++)
            dft[i] = value[i];
        fftw_execute(plan);
        succeeds(dw_fourier(&(struct dw_wave){ .time = time, .value = value, .rows = (size_t)count + 1, .channels = 1 }, (size_t)lines, (double *)got, &error), error);
        for (int n = 1; n <= lines; n++) {
            const double angle = M_PI * n / count, sinc = sin(M_PI * (n % (2 * count)) / count) / angle;
            const double complex want = dft[n % count] * sinc * sinc / count;
            within_scale(cabs(got[n] - want), 0, 8 * DBL_EPSILON, 1); /* 2^-50 of ours, and FFTW's log2(n) eps / 4 or so */
        }
        fftw_destroy_plan(plan);
        fftw_free(dft);
        free(time);
        free(value);
        free(got);
    }
}
END_TEST

START_TEST(weights_are_the_spherical_bessel_functions_of_gsl)
{
    for (double theta = 1e-9; theta <= 4; theta *= 1.037) {
        double j[WEIGHT_DEGREE_MOST + 1], j0, j1;
        dwi_weights_to_degree(theta, WEIGHT_DEGREE_MOST, j);
        dwi_weights_of_line(theta, cos(theta), sin(theta), &j0, &j1);
        for (int q = 0; q <= WEIGHT_DEGREE_MOST; q++) {
            gsl_sf_result want;
            ck_assert_int_eq(gsl_sf_bessel_jl_e(q, theta, &want), 0);
            /* (q + 4) ulp of ours; GSL states its own error, which near 0.26 is 6e-15 for j_1 */
            within_scale(j[q], want.val, (q + 4) * DBL_EPSILON + want.err / fabs(want.val), q ? want.val : 1);
            if (q < 2)
                within_scale(q ? j1 : j0, want.val, 3 * DBL_EPSILON + want.err, 1);
        }
    }
}
END_TEST

/* ---- tapers ---- */

/* Share of a sine's amplitude that a line `off` lines away shows: the taper's transform. */
static double response(const struct taper *taper, double off)
{
    double sum = 0;
    for (size_t m = 0; m < taper->terms; m++)
        for (int sign = -1; sign <= 1; sign += 2) {
            const double x = M_PI * (off - sign * (double)m);
            /* m lines on, the middle of the span has turned by m half turns */
            sum += (m % 2 ? -1 : 1) * taper->cosine[m] / 2 * (x == 0 ? 1 : sin(x) / x);
        }
    return sum;
}

/* Heinzel, Ruediger and Schilling 2002 (from memory): HFT90D has side lobes below -90.2 dB, an amplitude error of at most
 * 0.0039 dB, and a noise bandwidth of 3.8832 lines. Harris 1978, table 1: Hann has side lobes at -32 dB (31.47), a scalloping
 * loss of 1.42 dB, a noise bandwidth of 1.50 lines. Digits that were printed bound what may differ. */
START_TEST(tapers_have_the_properties_that_their_sources_state)
{
    static const struct {
        enum dw_taper taper;
        double side_lobe, error, bandwidth, first_zero;  /* dB, dB, lines, lines */
        double side_digit, error_digit, bandwidth_digit;
    } cases[] = { { DW_TAPER_HANN, -31.47, 1.42, 1.5, 2, 0.01, 0.005, 1e-12 },
                  { DW_TAPER_FLAT_TOP, -90.2, 0.0039, 3.8832, 5, 0.05, 0.00005, 0.00005 } };
    for (size_t k = 0; k < 2; k++) {
        const struct taper *taper = dwi_taper_of(cases[k].taper);
        double side = 0, error = 0, squares = 0;
        for (double off = 0; off <= 0.5; off += 1e-4)
            error = fmax(error, fabs(20 * log10(fabs(response(taper, off)))));
        for (double off = cases[k].first_zero; off <= 60; off += 1e-3)
            side = fmax(side, fabs(response(taper, off)));
        for (size_t m = 0; m < taper->terms; m++)
            squares += taper->cosine[m] * taper->cosine[m] / (m ? 2 : 1);
        within_scale(20 * log10(side), cases[k].side_lobe, cases[k].side_digit, 1);
        within_scale(error, cases[k].error, cases[k].error_digit, 1);
        within_scale(squares, cases[k].bandwidth, cases[k].bandwidth_digit, 1);
        within_scale(response(taper, cases[k].first_zero), 0, DBL_EPSILON, 2);
        ck_assert(response(taper, 0) == 1);
    }
}
END_TEST

SUITE("outside: spectra", modulated_pulses_have_the_sidebands_of_the_double_fourier_series,
      modulated_pulses_keep_parseval, uniform_rows_have_the_dft_of_their_values_times_sinc_squared,
      weights_are_the_spherical_bessel_functions_of_gsl, tapers_have_the_properties_that_their_sources_state)
