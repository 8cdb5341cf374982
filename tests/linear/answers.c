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
        succeeds(dw_system_integrals(system, &(struct dw_interval){ &start, &zero, &zero, length },
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
    const struct dw_interval over = { &zero, &from, &to, length };
    double integral[2];
    succeeds(dw_system_integrals(system, &over, (struct dw_integrand[]){ { 0, DW_ALONE }, { 0, 0 } }, 2, integral, &error), error);
    near(integral[0], 3 * length * (from + to) / 2, 1e-14);
    near(integral[1], 9 * length * (from * from + from * to + to * to) / 3, 1e-14);
    refuses(dw_system_integrals(system, &over, &(struct dw_integrand){ 0, 1 }, 1, integral, &error), DW_BAD_USE, error,
            "outputs 1 and 2 of 1");
    refuses(dw_system_integrals(system, &(struct dw_interval){ &zero, &from, &to, -1 }, &(struct dw_integrand){ 0, DW_ALONE }, 1,
                                integral, &error), DW_BAD_USE, error, "a stretch of -1 s: must be finite and not below zero");
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
    succeeds(dw_system_integrals(system, &(struct dw_interval){ x, &u, &u, length },
                                 (struct dw_integrand[]){ { 0, DW_ALONE }, { 0, 1 } }, 2, integral, &error), error);
    succeeds(dw_system_advance(system, x, &u, &u, length, 0, &error), error);
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
    succeeds(dw_system_sweep(system, 0, 10, 1e5, accuracy, keep, &swept, &error), error);
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
      integrals_of_a_ramp_passed_straight_through_are_polynomials, energy_in_equals_energy_lost_and_stored,
      response_of_a_damped_resonance_is_the_closed_form, an_undamped_rate_has_no_response,
      lines_between_the_points_of_a_sweep_stay_within_the_accuracy_over_a_resonance_of_quality_1e4,
      eigenvalues_are_found_close_and_far_apart)
