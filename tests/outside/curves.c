/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Cubics between rows against formulas that are not ours and a reference library. */
#include "measure/waves.h"
#include "suite.h"
#include <complex.h>
#include <dutywright/spectrum.h>
#include <float.h>
#include <gsl/gsl_integration.h>
#include <gsl/gsl_spline.h>
#include <string.h>

/* B_3(x) = 12 sum of sin(2 pi n x) / (2 pi n)^3, DLMF 24.8.2; the integral of its square is (3!)^2 / 6! |B_6|, B_6 = 1/42, DLMF 24.13.6.
 * Nothing but one row at each end is needed, or any between. */
START_TEST(bernoulli_polynomials_have_their_fourier_series)
{
    enum { LINES = 100000 };
    static double complex got[LINES + 1];
    for (int rows = 2; rows <= 12; rows += 5) {
        double time[12], value[12], slope[12];
        struct dw_error error;
        struct dw_statistics whole;
        for (int i = 0; i < rows; i++) {
            const double x = time[i] = i + 1 < rows ? (double)i * i / 256 : 1;
            value[i] = x * (x - 0.5) * (x - 1);
            slope[i] = 3 * x * (x - 1) + 0.5;
        }
        const struct dw_wave wave = { .time = time, .value = value, .slope = slope, .rows = (size_t)rows, .channels = 1 };
        succeeds(dw_statistics(&wave, &whole, &error), error);
        within_scale(whole.mean, 0, DBL_EPSILON, 0.05);
        near(whole.ac_rms, sqrt(36 / 720.0 / 42), 4 * DBL_EPSILON);
        near(whole.maximum, sqrt(3) / 36, 4 * DBL_EPSILON); /* at (1 - 1/sqrt 3) / 2, inside a piece */
        succeeds(dw_fourier(&wave, LINES, (double *)got, &error), error);
        for (int n = 1; n <= LINES; n++) {
            const double complex want = -6 * I / pow(2 * M_PI * n, 3);
            ck_assert_msg(cabs(got[n] - want) <= 8 * DBL_EPSILON * 0.05, "%d rows, line %d: off by %g", rows, n, cabs(got[n] - want));
        }
    }
}
END_TEST

struct of_spline {
    gsl_spline *spline;
    gsl_interp_accel *accel;
};

static double value_of(double time, void *context)
{
    const struct of_spline *of = context;
    return gsl_spline_eval(of->spline, time, of->accel);
}

/* A curve that GSL lays through points, with its slopes, integral, and Fourier integrals piece by piece (QUADPACK's QAWO). */
START_TEST(splines_have_the_integrals_that_gsl_finds)
{
    enum { ROWS = 24 };
    double time[ROWS], value[ROWS], slope[ROWS];
    double complex got[401];
    uint64_t state = 1812;
    struct dw_error error;
    for (int i = 0; i < ROWS; i++) {
        time[i] = i ? time[i - 1] + exp(2 * random_next(&state)) : 0.4;
        value[i] = 1 + random_next(&state);
    }
    gsl_spline *spline = gsl_spline_alloc(gsl_interp_cspline, ROWS);
    gsl_interp_accel *accel = gsl_interp_accel_alloc();
    gsl_integration_workspace *room = gsl_integration_workspace_alloc(200);
    ck_assert(spline && accel && room);
    gsl_spline_init(spline, time, value, ROWS);
    for (int i = 0; i < ROWS; i++)
        slope[i] = gsl_spline_eval_deriv(spline, time[i], accel);
    const double length = time[ROWS - 1] - time[0];
    const struct dw_wave wave = { .time = time, .value = value, .slope = slope, .rows = ROWS, .channels = 1 };
    double mean;
    succeeds(dw_mean(&wave, &mean, &error), error);
    /* slopes of GSL's are good to some 10 ulp, and so are its sums of 23 pieces */
    near(mean, gsl_spline_eval_integ(spline, time[0], time[ROWS - 1], accel) / length, 32 * DBL_EPSILON);
    succeeds(dw_fourier(&wave, 400, (double *)got, &error), error);
    static const int lines[] = { 1, 2, 5, 17, 64, 100, 399 };
    struct of_spline of = { spline, accel };
    gsl_function f = { value_of, &of };
    for (size_t k = 0; k < sizeof lines / sizeof lines[0]; k++) {
        double complex want = 0;
        for (int i = 1; i < ROWS; i++)
            for (int part = 0; part < 2; part++) {
                const double omega = 2 * M_PI * lines[k] / length, piece = time[i] - time[i - 1];
                gsl_integration_qawo_table *table = gsl_integration_qawo_table_alloc(omega, piece, part ? GSL_INTEG_SINE : GSL_INTEG_COSINE, 20);
                double result, off;
                ck_assert(table);
                gsl_integration_qawo(&f, time[i - 1], 1e-13, 1e-12, 200, room, table, &result, &off);
                want += (part ? -I : 1) * result / length;
                gsl_integration_qawo_table_free(table);
            }
        want *= cexp(I * 2 * M_PI * lines[k] * time[0] / length); /* its phases count from time 0, ours from the first row */
        ck_assert_msg(cabs(got[lines[k]] - want) <= 1e-12, "line %d: off by %g", lines[k], cabs(got[lines[k]] - want));
    }
    gsl_integration_workspace_free(room);
    gsl_interp_accel_free(accel);
    gsl_spline_free(spline);
}
END_TEST

SUITE("outside: curves", bernoulli_polynomials_have_their_fourier_series, splines_have_the_integrals_that_gsl_finds)
