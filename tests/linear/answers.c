/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Integrals, responses and eigenvalues. */
#include "suite.h"
#include <complex.h>
#include <dutywright/linear.h>
#include <float.h>

static struct dw_system *new_system(size_t n, const double *a, const double *b, const double *c, const double *d,
                                    size_t outputs, const double *weight)
{
    struct dw_error error = { DW_OK };
    struct dw_system *system = dw_system_new(
        &(struct dw_matrices){ .states = n, .inputs = 1, .outputs = outputs, .a = a, .b = b, .c = c, .d = d, .weight = weight },
        &error);
    ck_assert_msg(system != NULL, "%s", error.text);
    return system;
}

START_TEST(integrals_of_a_decay_are_the_closed_form_even_beyond_700_time_constants)
{
    for (int i = 0; i <= 30; i++) {
        const double tau = pow(10, -6 + i / 3.0), a = -1 / tau, length = 0.77, start = 3.1, zero = 0, c[] = { 1, 2 };
        struct dw_system *system = new_system(1, &a, NULL, c, NULL, 2, NULL);
        struct dw_error error;
        double integral[3];
        succeeds(dw_system_integrals(system, &(struct dw_interval){ &start, &zero, &zero, length, NULL },
                                     (struct dw_integrand[]){ { 0, DW_ALONE }, { 1, DW_ALONE }, { 0, 1 } }, 3, integral, &error), error);
        near(integral[0], -start * tau * expm1(-length / tau), 1e-14);
        near(integral[1], 2 * integral[0], 1e-14);
        near(integral[2], -2 * start * start * tau / 2 * expm1(-2 * length / tau), 1e-14);
        dw_system_free(system);
    }
}
END_TEST

START_TEST(integrals_of_a_ramp_passed_straight_through_are_polynomials)
{
    const double a = -2, zero = 0, d = 3, from = 0.7, to = -1.9, length = 0.31;
    struct dw_system *system = new_system(1, &a, NULL, NULL, &d, 1, NULL);
    struct dw_error error;
    const struct dw_interval over = { &zero, &from, &to, length, NULL };
    double integral[2];
    succeeds(dw_system_integrals(system, &over, (struct dw_integrand[]){ { 0, DW_ALONE }, { 0, 0 } }, 2, integral, &error), error);
    near(integral[0], 3 * length * (from + to) / 2, 1e-14);
    near(integral[1], 9 * length * (from * from + from * to + to * to) / 3, 1e-14);
    refuses(dw_system_integrals(system, &over, &(struct dw_integrand){ 0, 1 }, 1, integral, &error), DW_BAD_USE, error,
            "outputs 1 and 2 of 1");
    refuses(dw_system_integrals(system, &(struct dw_interval){ &zero, &from, &to, -1, NULL }, &(struct dw_integrand){ 0, DW_ALONE }, 1,
                                integral, &error), DW_BAD_USE, error, "a stretch of -1 s: must be finite and not below zero");
    dw_system_free(system);
}
END_TEST

/* Integrals of i and i^2 where tau i' = end - i, from 0 on: by exponentials, or for z = length / tau <= 1 by series that do not cancel,
 * whose terms left out are below 2^32 / 33! of the first. */
static void rise_integrals(double end, double tau, double length, double *first, double *second)
{
    const long double z = (long double)length / tau;
    if (z > 1) {
        const long double once = -expm1l(-z), twice = -expm1l(-2 * z) / 2;
        *first = (double)(end * tau * (z - once));
        *second = (double)((long double)end * end * tau * (z - 2 * once + twice));
        return;
    }
    long double power = 1, factorial = 2, two = 4, one_sum = 0, two_sum = 0;
    for (int k = 2; k < 32; k++) {
        one_sum += power / factorial;                          /* (-z)^(k-2) / k! */
        two_sum += power * (two - 2) / (factorial * (k + 1));  /* (-z)^(k-2) (2^k - 2) / (k+1)! */
        power *= -z;
        factorial *= k + 1;
        two *= 2;
    }
    *first = (double)(end * z * one_sum * length);
    *second = (double)((long double)end * end * z * z * two_sum * length);
}

START_TEST(integrals_of_a_rise_are_the_closed_form_from_1e_9_to_1e6_time_constants)
{
    for (int i = 0; i <= 60; i++) {
        const double tau = 0.0073, a = -1 / tau, b = 1 / tau, c = 1, zero = 0, end = 0.8, length = tau * pow(10, -9 + i / 4.0);
        struct dw_system *system = new_system(1, &a, &b, &c, NULL, 1, NULL);
        struct dw_error error;
        double got[2], first, second;
        rise_integrals(end, tau, length, &first, &second);
        succeeds(dw_system_integrals(system, &(struct dw_interval){ &zero, &end, &end, length, NULL },
                                     (struct dw_integrand[]){ { 0, DW_ALONE }, { 0, 0 } }, 2, got, &error), error);
        near(got[0], first, 1e-14);
        near(got[1], second, 1e-14);
        dw_system_free(system);
    }
}
END_TEST

START_TEST(integrals_along_ramps_are_what_gauss_sums_of_the_trajectory_give)
{
    enum { N = 3, M = 2, P = 3, PANELS = 128 };
    static const double a[N * N] = { -0.7, 0.4, 0.1, -0.9, -0.2, 0.6, 0.3, -0.5, 0.25 }, b[N * M] = { 0.8, -0.3, 0.1, 0.9, -0.6, 0.2 },
        c[P * N] = { 1, 0, 0, 0.3, -0.8, 0.5, 0, 0.7, -1 }, d[P * M] = { 0.4, 0, 0, -0.2, 0.9, 0.3 }, from[M] = { 1.2, -0.4 },
        to[M] = { -0.5, 0.9 }, start[N] = { 0.6, -1.1, 0.3 }, length = 1.3;
    /* three points a panel: the error is h^6 length f'''''' / 2016000, with |f''''''| < 4^6 and h = 0.0102 below 1e-14 */
    static const double node[] = { -0.77459666924148337704, 0, 0.77459666924148337704 }, share[] = { 5 / 18.0, 8 / 18.0, 5 / 18.0 };
    static const struct dw_integrand integrand[] = { { 0, DW_ALONE }, { 2, DW_ALONE }, { 0, 1 }, { 1, 0 }, { 2, 2 } };
    enum { COUNT = sizeof integrand / sizeof integrand[0] };
    struct dw_error error = { .text = "" };
    struct dw_system *system =
        dw_system_new(&(struct dw_matrices){ .states = N, .inputs = M, .outputs = P, .a = a, .b = b, .c = c, .d = d }, &error);
    double got[COUNT], sum[COUNT] = { 0 }, most = 0;
    ck_assert_msg(system != NULL, "%s", error.text);
    succeeds(dw_system_integrals(system, &(struct dw_interval){ start, from, to, length, NULL }, integrand, COUNT, got, &error), error);
    for (int i = 0; i < 3 * PANELS; i++) {
        const double time = length * (i / 3 + (1 + node[i % 3]) / 2) / PANELS, weight = share[i % 3] * length / PANELS;
        double x[N] = { start[0], start[1], start[2] }, u[M], y[P];
        for (size_t j = 0; j < M; j++)
            u[j] = from[j] + (to[j] - from[j]) * time / length;
        succeeds(dw_system_advance(system, &(struct dw_interval){ x, from, u, time, NULL }, 0, x, &error), error);
        dw_system_output(system, x, u, y);
        for (size_t k = 0; k < COUNT; k++) {
            const double product = y[integrand[k].first] * (integrand[k].second == DW_ALONE ? 1 : y[integrand[k].second]);
            sum[k] += weight * product;
            most = fmax(most, fabs(product));
        }
    }
    for (size_t k = 0; k < COUNT; k++)  /* 1e-14 for Gauss, and as much for roundings */
        within_scale(got[k], sum[k], 2e-14, most * length);
    dw_system_free(system);
}
END_TEST

START_TEST(energy_in_equals_energy_lost_and_stored)
{
    /* r, l, c in series: states current and voltage; outputs current and the drop over r */
    const double r = 0.47, l = 33e-6, cap = 4.7e-6, weight[] = { l, cap };
    const double a[] = { -r / l, -1 / l, 1 / cap, 0 }, b[] = { 1 / l, 0 }, c[] = { 1, 0, r, 0 };
    const double d[] = { 0, 0 };
    struct dw_system *system = new_system(2, a, b, c, d, 2, weight);
    struct dw_error error;
    const double u = 12, length = 91e-6;
    double x[] = { 0.3, -2 }, integral[2];
    const double before = (l * x[0] * x[0] + cap * x[1] * x[1]) / 2;
    succeeds(dw_system_integrals(system, &(struct dw_interval){ x, &u, &u, length, NULL },
                                 (struct dw_integrand[]){ { 0, DW_ALONE }, { 0, 1 } }, 2, integral, &error), error);
    succeeds(dw_system_advance(system, &(struct dw_interval){ x, &u, &u, length, NULL }, 0, x, &error), error);
    const double after = (l * x[0] * x[0] + cap * x[1] * x[1]) / 2;
    within_scale(u * integral[0], integral[1] + after - before, 1e-13, after);
    dw_system_free(system);
}
END_TEST

START_TEST(response_of_a_damped_resonance_is_the_closed_form)
{
    const double r = 0.47, l = 33e-6, cap = 4.7e-6, load = 22;
    const double a[] = { -r / l, -1 / l, 1 / cap, -1 / (load * cap) }, b[] = { 1 / l, 0 }, c[] = { 0, 1 };
    struct dw_system *system = new_system(2, a, b, c, NULL, 1, NULL);
    struct dw_error error;
    for (double f = 0.1; f < 1e9; f *= 1.7) {
        double real, imaginary;
        succeeds(dw_system_response(system, 0, 2 * M_PI * f, &real, &imaginary, &error), error);
        const double complex s = 2 * M_PI * f * I, shunt = 1 / (s * cap + 1 / load), h = shunt / (shunt + r + s * l);
        within_scale(real, creal(h), 64 * DBL_EPSILON, cabs(h));
        within_scale(imaginary, cimag(h), 64 * DBL_EPSILON, cabs(h));
    }
    double real, imaginary;
    refuses(dw_system_response(system, 1, 1, &real, &imaginary, &error), DW_BAD_USE, error,
            "response to input 2 of 1 at 1 rad/s");
    dw_system_free(system);
}
END_TEST

START_TEST(an_undamped_rate_has_no_response)
{
    const double a[] = { 0, 1024, -1024, 0 }, b[] = { 1, 0 }, c[] = { 1, 0 };
    struct dw_system *system = new_system(2, a, b, c, NULL, 1, NULL);
    struct dw_error error;
    double real, imaginary;
    refuses(dw_system_response(system, 0, 1024, &real, &imaginary, &error), DW_NO, error,
            "the response at 1024 rad/s is unbounded: nothing damps it");
    dw_system_free(system);
}
END_TEST

struct swept {
    double frequency[4096], gain[4096], phase[4096];
    size_t count;
};

static enum dw_status keep(void *context, double frequency, const double *gain, const double *phase, struct dw_error *error)
{
    struct swept *swept = context;
    (void)error;
    ck_assert_uint_lt(swept->count, 4096);
    swept->frequency[swept->count] = frequency;
    swept->gain[swept->count] = *gain;
    swept->phase[swept->count++] = *phase;
    return DW_OK;
}

START_TEST(lines_between_the_points_of_a_sweep_stay_within_the_accuracy_over_a_resonance_of_quality_1e4)
{
    static struct swept swept;
    const double w = 2 * M_PI * 1000, q = 1e4, a[] = { 0, w, -w, -w / q }, b[] = { 0, w }, c[] = { 1, 0 };
    struct dw_system *system = new_system(2, a, b, c, NULL, 1, NULL);
    struct dw_error error;
    const double accuracy = 1e-3;
    swept.count = 0;
    succeeds(dw_system_sweep(system, &(struct dw_sweep){ 0, 10, 1e5, accuracy }, keep, &swept, &error), error);
    double highest = 0;
    near(swept.frequency[0], 10, 0);
    near(swept.frequency[swept.count - 1], 1e5, 0);
    for (size_t i = 0; i + 1 < swept.count; i++) {
        highest = fmax(highest, swept.gain[i]);
        for (int part = 1; part < 8; part++) {
            const double f = swept.frequency[i] + part / 8.0 * (swept.frequency[i + 1] - swept.frequency[i]);
            const double line = swept.gain[i] + part / 8.0 * (swept.gain[i + 1] - swept.gain[i]);
            const double angle = swept.phase[i] + part / 8.0 * (swept.phase[i + 1] - swept.phase[i]);
            const double complex s = f / 1000 * I, h = 1 / (1 + s / q + s * s);
            /* judged at the quarters of the logarithm; between them a parabola is up to 1/15 worse, doubled for the cubic */
            within_scale(line, cabs(h), 1.2 * accuracy, fmax(1, cabs(h)));
            within_scale(angle, carg(h) * 180 / M_PI, 1.2 * accuracy, 180);
        }
    }
    near(highest, q, 1e-3);
    dw_system_free(system);
}
END_TEST

START_TEST(eigenvalues_are_found_close_and_far_apart)
{
    /* companion matrix of (x + 1)(x + 3)(x + 1e6): coefficients by hand; and a conjugate pair */
    const double companion[] = { -1000004, -4000003, -3e6, 1, 0, 0, 0, 1, 0 };
    const double wanted[] = { -1, -3, -1e6 };
    struct dw_error error;
    double real[3], imaginary[3];
    struct dw_system *system = new_system(3, companion, NULL, NULL, NULL, 0, NULL);
    succeeds(dw_system_rates(system, real, imaginary, &error), error);
    for (size_t i = 0; i < 3; i++) {
        near(real[i], wanted[i], 1e-9);  /* 3 ulp of the norm, 1e6, on 1 */
        within_scale(imaginary[i], 0, 1e-9, wanted[i]);
    }
    dw_system_free(system);
    const double pair[] = { -3, 40, -40, -3 };
    system = new_system(2, pair, NULL, NULL, NULL, 0, NULL);
    succeeds(dw_system_rates(system, real, imaginary, &error), error);
    for (size_t i = 0; i < 2; i++) {
        near(real[i], -3, 64 * DBL_EPSILON);
        near(fabs(imaginary[i]), 40, 16 * DBL_EPSILON);
    }
    dw_system_free(system);
}
END_TEST

SUITE("linear: integrals, responses, eigenvalues",
      integrals_of_a_decay_are_the_closed_form_even_beyond_700_time_constants,
      integrals_of_a_ramp_passed_straight_through_are_polynomials,
      integrals_of_a_rise_are_the_closed_form_from_1e_9_to_1e6_time_constants,
      integrals_along_ramps_are_what_gauss_sums_of_the_trajectory_give, energy_in_equals_energy_lost_and_stored,
      response_of_a_damped_resonance_is_the_closed_form, an_undamped_rate_has_no_response,
      lines_between_the_points_of_a_sweep_stay_within_the_accuracy_over_a_resonance_of_quality_1e4,
      eigenvalues_are_found_close_and_far_apart)
