/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Carrying a state over straight lines of the input. */
#include "linear/cell_inner.h"
#include "quad.h"
#include "suite.h"
#include <dutywright/linear.h>
#include <float.h>
#include <stdint.h>
#include <stdlib.h>

static struct dw_system *new_system(size_t n, size_t m, const double *a, const double *b, const double *weight)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_system *system =
        dw_system_new(&(struct dw_matrices){ .states = n, .inputs = m, .a = a, .b = b, .weight = weight }, &error);
    ck_assert_msg(system != NULL, "%s", error.text);
    return system;
}

static uint64_t seed = 0x9e3779b97f4a7c15u;

static double uniform(void)
{
    seed = seed * 6364136223846793005u + 1442695040888963407u;
    return (double)(seed >> 11) * 0x1p-53;
}

START_TEST(one_pole_is_the_closed_form_from_1e_minus_12_to_1e6_periods)
{
    for (int i = 0; i <= 54; i++) {
        const double tau = pow(10, -12 + i / 3.0), a = -1 / tau, b = 1 / tau, length = 0.83;
        struct dw_system *system = new_system(1, 1, &a, &b, NULL);
        struct dw_error error;
        double x = 0.31;
        const double from = 4.87, to = 4.31;
        succeeds(dw_system_advance(system, &(struct dw_interval){ &x, &from, &to, length, NULL }, 0, &x, &error), error);
        /* x = x0 + (u0 - x0) e + s (h - tau e), e = 1 - exp(-h/tau); in long double, for small h/tau by its series */
        const long double h = length, rate = -(long double)a, e = -expm1l(-h * rate), q = h * rate;
        const long double lag = q < 1e-3L ? h * (q / 2 - q * q / 6 + q * q * q / 24) : h - e / rate;
        const long double want = 0.31L + (4.87L - 0.31L) * e + ((long double)to - from) / h * lag;
        /* four roundings of values up to 4.87 */
        within_scale(x, (double)want, 4 * DBL_EPSILON, 4.87);
        dw_system_free(system);
    }
}
END_TEST

START_TEST(critical_damping_is_the_closed_form)
{
    /* x'' + 2 w x' + w^2 x = w^2 u, both poles at -w: x = u (1 - (1 + w t) exp(-w t)) */
    const double w = 731.7, a[] = { 0, 1, -w * w, -2 * w }, b[] = { 0, w * w };
    struct dw_system *system = new_system(2, 1, a, b, NULL);
    struct dw_error error;
    for (int i = 1; i <= 40; i++) {
        const double t = 0.37e-3 * i, u = 3.3;
        double x[] = { 0, 0 };
        succeeds(dw_system_advance(system, &(struct dw_interval){ x, &u, &u, t, NULL }, 0, x, &error), error);
        const double want = -u * ((1 + w * t) * expm1(-w * t) + w * t);
        /* condition of exp(A t): rounding of w^2 against 2 w moves a double pole by sqrt(ulp), its solution by a few ulp */
        within_scale(x[0], want, 32 * DBL_EPSILON, u);
    }
    dw_system_free(system);
}
END_TEST

START_TEST(oscillator_of_quality_1e4_keeps_phase_and_energy_over_1e5_cycles)
{
    const double w = 1234.5, q = 1e4, d = w / (2 * q), a[] = { 0, w, -w, -2 * d }, weight[] = { 1, 1 };
    struct dw_system *system = new_system(2, 0, a, NULL, weight);
    struct dw_error error;
    double x[] = { 1, 0 };
    const double length = 0.377e-3;
    const int steps = 1000000;
    for (int i = 0; i < steps; i++)
        succeeds(dw_system_advance(system, &(struct dw_interval){ x, NULL, NULL, length, NULL }, 0, x, &error), error);
    const long double damped = sqrtl((long double)w * w - (long double)d * d), t = (long double)length * steps;
    const long double want = expl(-(long double)d * t) * (cosl(damped * t) + d / damped * sinl(damped * t));
    /* each step rounds by at most 2 ulp of the amplitude then; they add up no worse than steps * 2 ulp * exp(-d t) */
    within_scale(x[0], (double)want, 2e6 * DBL_EPSILON, exp(-d * (double)t));
    dw_system_free(system);
}
END_TEST

START_TEST(equal_poles_need_no_eigenvectors)
{
    /* a chain of six equal integrating poles, one Jordan block: x_k = u P(k, t/tau), the regularised gamma function */
    const size_t n = 6;
    const double tau = 0.73e-3;
    double a[36] = { 0 }, b[6] = { 1 / tau };
    for (size_t i = 0; i < n; i++) {
        a[i * n + i] = -1 / tau;
        if (i > 0)
            a[i * n + i - 1] = 1 / tau;
    }
    struct dw_system *system = new_system(n, 1, a, b, NULL);
    struct dw_error error;
    const double u = 5, t = 2.9e-3;
    double x[6] = { 0 };
    succeeds(dw_system_advance(system, &(struct dw_interval){ x, &u, &u, t, NULL }, 0, x, &error), error);
    for (size_t k = 1; k <= n; k++) {
        long double sum = 0, term = 1;
        for (size_t j = 0; j < k; j++, term *= (long double)t / tau / j)
            sum += term;
        within_scale(x[k - 1], (double)(u * (1 - expl(-(long double)t / tau) * sum)), 16 * DBL_EPSILON, u);
    }
    dw_system_free(system);
}
END_TEST

/* A passive system: energy matrix the identity, A = skew - diagonal, rates spread over `decades`. */
static void random_passive(size_t n, double decades, double *a)
{
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < i; j++) {
            const double coupling = (uniform() - 0.5) * pow(10, uniform() * decades);
            a[i * n + j] = coupling;
            a[j * n + i] = -coupling;
        }
    for (size_t i = 0; i < n; i++)
        a[i * n + i] = -uniform() * pow(10, uniform() * decades);
}

START_TEST(stiff_systems_agree_with_33_digits)
{
    for (int trial = 0; trial < 24; trial++) {
        const size_t n = 1 + (size_t)(trial % 6);
        double a[36], b[12], weight[6], x[6], u0[2], u1[2];
        quad wanted[6];
        random_passive(n, trial < 12 ? 4 : 12, a);
        for (size_t i = 0; i < 2 * n; i++)
            b[i] = (uniform() - 0.5) * 10;
        for (size_t i = 0; i < n; i++) {
            weight[i] = 1;
            wanted[i] = x[i] = uniform() - 0.5;
        }
        for (size_t j = 0; j < 2; j++) {
            u0[j] = uniform();
            u1[j] = uniform();
        }
        struct dw_system *system = new_system(n, 2, a, b, weight);
        struct dw_error error;
        const double length = 0.1 + uniform();
        succeeds(dw_system_advance(system, &(struct dw_interval){ x, u0, u1, length, NULL }, 0, x, &error), error);
        quad_advance(a, NULL, b, NULL, n, 2, wanted, u0, u1, length);
        /* states and their drive are of order one and nothing grows: n products and sums of 1 ulp of the largest state */
        double scale = 1;
        for (size_t i = 0; i < n; i++)
            scale = fmax(scale, fabs((double)wanted[i]));
        for (size_t i = 0; i < n; i++)
            within_scale(x[i], (double)wanted[i], 4 * (double)(n + 4) * DBL_EPSILON, scale);
        dw_system_free(system);
    }
}
END_TEST

START_TEST(low_halves_decide_where_a_slow_rate_is_a_difference_of_fast_ones)
{
    /* two equal capacitors joined by a nano-ohm, one leaking: fast 2e15, slow -g/2; g is below the ulp of the fast entry */
    const double fast = 0x1p50, slow = 0.37, u = 0;
    const double a[] = { -fast, fast, fast, -fast }, low[] = { -slow, 0, 0, 0 }, weight[] = { 1, 1 };
    struct dw_error error;
    struct dw_system *system = dw_system_new(
        &(struct dw_matrices){ .states = 2, .inputs = 0, .a = a, .a_low = low, .weight = weight }, &error);
    double x[] = { 1, 1 };
    succeeds(dw_system_advance(system, &(struct dw_interval){ x, &u, &u, 2.0, NULL }, 0, x, &error), error);
    near(x[0], exp(-slow), 8 * DBL_EPSILON);
    near(x[1], exp(-slow), 8 * DBL_EPSILON);
    dw_system_free(system);
}
END_TEST

START_TEST(one_stretch_equals_its_parts_and_answers_superpose)
{
    for (int trial = 0; trial < 20; trial++) {
        const size_t n = 3;
        double a[9], b[3], whole[3], parts[3], doubled[3], weight[] = { 1, 1, 1 };
        random_passive(n, trial % 2 ? 3 : 9, a);
        for (size_t i = 0; i < n; i++) {
            b[i] = uniform();
            whole[i] = parts[i] = uniform();
            doubled[i] = 2 * whole[i];
        }
        struct dw_system *system = new_system(n, 1, a, b, weight);
        struct dw_error error;
        const double u0 = uniform(), u1 = uniform(), length = uniform(), cut = 0.3819 * length;
        const double middle = u0 + (u1 - u0) * (cut / length), u20 = 2 * u0, u21 = 2 * u1;
        succeeds(dw_system_advance(system, &(struct dw_interval){ whole, &u0, &u1, length, NULL }, 0, whole, &error), error);
        succeeds(dw_system_advance(system, &(struct dw_interval){ parts, &u0, &middle, cut, NULL }, 0, parts, &error), error);
        succeeds(dw_system_advance(system, &(struct dw_interval){ parts, &middle, &u1, length - cut, NULL }, 0, parts, &error), error);
        succeeds(dw_system_advance(system, &(struct dw_interval){ doubled, &u20, &u21, length, NULL }, 0, doubled, &error), error);
        for (size_t i = 0; i < n; i++) {
            /* the cut and the input there are rounded: 1 ulp of each, times rates that have died out or are below 1e3 */
            within_scale(parts[i], whole[i], 64 * DBL_EPSILON, 1);
            near(doubled[i], 2 * whole[i], 0);  /* doubling is exact in binary */
        }
        dw_system_free(system);
    }
}
END_TEST

START_TEST(lengths_never_seen_twice_share_propagators_exactly)
{
    double a[9], b[3], weight[] = { 1, 1, 1 };
    seed = 5;
    random_passive(3, 3, a);
    for (size_t i = 0; i < 3; i++)
        b[i] = uniform();
    struct dw_system *shared = new_system(3, 1, a, b, weight);
    struct dw_error error;
    for (int i = 0; i < 400; i++) {
        double x[3], alone[3];
        const double length = pow(10, -4 * uniform()), u0 = uniform(), u1 = uniform();
        for (size_t j = 0; j < 3; j++)
            x[j] = alone[j] = uniform();
        struct dw_system *fresh = new_system(3, 1, a, b, weight);
        succeeds(dw_system_advance(shared, &(struct dw_interval){ x, &u0, &u1, length, NULL }, 0, x, &error), error);
        succeeds(dw_system_advance(fresh, &(struct dw_interval){ alone, &u0, &u1, length, NULL }, 0, alone, &error), error);
        for (size_t j = 0; j < 3; j++)
            within_scale(x[j], alone[j], 64 * DBL_EPSILON, 1);  /* some 20 cells instead of one, each 1 ulp */
        dw_system_free(fresh);
    }
    dw_system_free(shared);
}
END_TEST

START_TEST(late_lengths_share_a_propagator_and_stay_right)
{
    const double tau = 0.1e-3, a = -1 / tau, b = 1 / tau, u = 5, zero = 0;
    struct dw_system *system = new_system(1, 1, &a, &b, NULL);
    struct dw_error error;
    for (int i = 0; i < 2000; i++) {
        const double late = 1e3 + i * 1.7e-3, slack = 4 * DBL_EPSILON * late;
        const double length = (late + 0.31e-3) - late;  /* 0.31 ms, and what the time's ulp makes of it */
        double x = 1;
        succeeds(dw_system_advance(system, &(struct dw_interval){ &x, i % 2 ? &u : &zero, &u, length, NULL }, slack, &x, &error), error);
        const double e = -expm1(-length / tau), rise = i % 2 ? 0 : 5, start = i % 2 ? 5 : 0;
        within_scale(x, 1 + (start - 1) * e + rise / length * (length - tau * e), 8 * DBL_EPSILON, 5);
    }
    dw_system_free(system);
}
END_TEST

/* 3e-6 time constants: a correction of first order alone would be off by 4e-12, more than allowed by a factor of 2,500. */
START_TEST(lengths_further_apart_are_not_corrected_to_first_order_alone)
{
    const double tau = 0.1e-3, a = -1 / tau, b = 1 / tau, u = 5;
    struct dw_system *system = new_system(1, 1, &a, &b, NULL);
    struct dw_error error;
    for (int i = 0; i < 6; i++) {
        const double length = 0.31e-3 + (i % 3) * 0.3e-9;
        double x = 1;
        succeeds(dw_system_advance(system, &(struct dw_interval){ &x, &u, &u, length, NULL }, 1e-9, &x, &error), error);
        within_scale(x, 5 - 4 * exp(-length / tau), 8 * DBL_EPSILON, 5);
    }
    dw_system_free(system);
}
END_TEST

/* A chain has then more points than a double counts one by one. */
START_TEST(an_end_is_found_among_more_than_2_to_the_53_points)
{
    const double rate = 5.1e16, a = -rate, from = 4.87, to = 4.31;
    struct dw_system *system = new_system(1, 1, &a, &rate, NULL);
    for (int i = 0; i < 400; i++) {
        struct dw_error error;
        const double length = i ? 0.83 * uniform() : 0.83;
        double x = 0.31;
        succeeds(dw_system_advance(system, &(struct dw_interval){ &x, &from, &to, length, NULL }, 0, &x, &error), error);
        /* the state follows at once, behind by slope / rate, far below an ulp; four roundings of values up to 4.87 */
        within_scale(x, to, 4 * DBL_EPSILON, from);
    }
    dw_system_free(system);
}
END_TEST

START_TEST(growth_is_bounded_over_any_length_and_no_more_than_a_norm_a_doubling)
{
    /* rows (-f, g), (0, -s): exp(A t) is (exp(-f t), g (exp(-s t) - exp(-f t)) / (f - s)), (0, exp(-s t)) */
    const double couplings[] = { 0.5, 2.5, 30, 1e4 };
    for (size_t i = 0; i < 4; i++) {
        const double f = 1e6, s = 0.3, g = couplings[i] * f, a[] = { -f, g, 0, -s }, none[] = { 0 }, length = 1.7;
        struct dw_system *system = new_system(2, 0, a, NULL, NULL);
        struct dw_error error;
        struct stretch stretch;
        succeeds(dwi_stretch_set(&stretch, system, &(struct dw_interval){ none, none, none, length, NULL }, 0, &error), error);
        double most = 1;
        for (double t = length * 0x1p-40; t <= length; t *= 1.037) {
            const double fast = exp(-f * t), slow = exp(-s * t), side = g * (slow - fast) / (f - s);
            const double squares = fast * fast + slow * slow + side * side, apart = pow(slow - fast, 2) + side * side;
            most = fmax(most, sqrt((squares + sqrt(apart * (squares + 2 * fast * slow))) / 2));
            const double bound = dwi_growth_over(&stretch, t);
            /* 0: it says that it knows of none, as it may beyond 2^40 */
            ck_assert_msg(bound == 0 ? g > 10 * f : bound >= most * (1 - 1e-14), "|exp(A t)| = %.17g > %.17g at %g s", most,
                          bound, t);
        }
        /* growth is 0.059 f, and 1.7 s are 2^17 times as long as 1 over that: e from there, then |exp(A t)| a doubling */
        if (g < f)
            ck_assert_double_le(dwi_growth_over(&stretch, length), M_E * pow(most, 17));
        dw_system_free(system);
    }
    const double up = 1, none = 0;
    struct dw_system *system = new_system(1, 0, &up, NULL, NULL);
    struct dw_error error;
    struct stretch stretch;
    succeeds(dwi_stretch_set(&stretch, system, &(struct dw_interval){ &none, &none, &none, 1024, NULL }, 0, &error), error);
    for (double t = 1; t <= 1024; t *= 2)
        ck_assert(t < 20 ? dwi_growth_over(&stretch, t) >= exp(t) * (1 - 1e-14) : t > 30 ? dwi_growth_over(&stretch, t) == 0 : true);
    dw_system_free(system);
}
END_TEST

START_TEST(refusals_say_what_was_found)
{
    struct dw_error error;
    double a = NAN, x = 0;
    const double u = 0;
    ck_assert_ptr_null(dw_system_new(&(struct dw_matrices){ .states = 1, .a = &a }, &error));
    ck_assert_str_eq(error.text, "a matrix of the system is missing or holds an entry that is not finite");
    ck_assert_ptr_null(dw_system_new(&(struct dw_matrices){ .states = 0, .a = &a }, &error));
    ck_assert_str_eq(error.text, "0 states, 0 inputs, 0 outputs: a system has 1 to 32 states, up to 8 inputs and 64 outputs");
    ck_assert_ptr_null(dw_system_new(&(struct dw_matrices){ .states = 1, .inputs = 9, .a = &a }, &error));
    ck_assert_str_eq(error.text, "9 inputs: a system has up to 8");
    a = -1;
    const double none = 0;
    ck_assert_ptr_null(dw_system_new(&(struct dw_matrices){ .states = 1, .a = &a, .weight = &none }, &error));
    ck_assert_str_eq(error.text, "weight 0 of state 1: must be above zero and finite");
    a = -1e20;
    struct dw_system *system = new_system(1, 0, &a, NULL, NULL);
    refuses(dw_system_advance(system, &(struct dw_interval){ &x, &u, &u, 1.0, NULL }, 0, &x, &error), DW_BAD_USE, error,
            "a rate of 1e+20 a second is too fast beside a stretch of 1 s: at most 1e17 of them may fit");
    refuses(dw_system_advance(system, &(struct dw_interval){ &x, &u, &u, -1.0, NULL }, 0, &x, &error), DW_BAD_USE, error,
            "a stretch of -1 s: must be finite and not below zero");
    dw_system_free(system);
    dw_system_free(NULL);
}
END_TEST

SUITE("linear: propagators", one_pole_is_the_closed_form_from_1e_minus_12_to_1e6_periods,
      critical_damping_is_the_closed_form, oscillator_of_quality_1e4_keeps_phase_and_energy_over_1e5_cycles,
      equal_poles_need_no_eigenvectors, stiff_systems_agree_with_33_digits,
      low_halves_decide_where_a_slow_rate_is_a_difference_of_fast_ones,
      one_stretch_equals_its_parts_and_answers_superpose, lengths_never_seen_twice_share_propagators_exactly,
      late_lengths_share_a_propagator_and_stay_right, lengths_further_apart_are_not_corrected_to_first_order_alone,
      an_end_is_found_among_more_than_2_to_the_53_points,
      growth_is_bounded_over_any_length_and_no_more_than_a_norm_a_doubling, refusals_say_what_was_found)
