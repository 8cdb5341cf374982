/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Carrying a state over cubics of the input, integrals along them, and periodic states. */
#include "draw.h"
#include "quad.h"
#include "suite.h"
#include <dutywright/linear.h>
#include <float.h>

enum { N = 6, M = 2 };

static uint64_t seed = 20250607;

static double between(double low, double high)
{
    return drawn_between(&seed, low, high);
}

static struct dw_system *new_system(const struct dw_matrices *matrices)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_system *system = dw_system_new(matrices, &error);
    ck_assert_msg(system != NULL, "%s", error.text);
    return system;
}

/* A chain of n lags whose rates are spread over decades, in which stored energy only falls; two inputs. */
struct chain_of_lags {
    size_t n;
    double a[N * N], b[N * M], c[2 * N], d[2 * M], weight[N];
    struct dw_system *system;
};

static void random_lags(struct chain_of_lags *lags, size_t n, double decades)
{
    *lags = (struct chain_of_lags){ .n = n };
    for (size_t i = 0; i < n; i++) {
        lags->weight[i] = 1;
        const double rate = between(0.1, 1);
        lags->a[i * n + i] -= rate * pow(10, between(0, decades));
        for (size_t j = 0; j < i; j++) {
            const double turn = between(-2, 2);  /* skew, which stores and gives back, */
            lags->a[i * n + j] += turn;
            lags->a[j * n + i] -= turn;
        }
    }
    for (size_t i = 0; i < M * n; i++)
        lags->b[i] = between(-3, 3);
    for (size_t i = 0; i < 2 * n; i++)
        lags->c[i] = between(-1, 1);
    for (size_t i = 0; i < 2 * M; i++)
        lags->d[i] = between(-1, 1);
    lags->system = new_system(&(struct dw_matrices){ .states = n, .inputs = M, .outputs = 2, .a = lags->a, .b = lags->b, .c = lags->c,
                                                     .d = lags->d, .weight = lags->weight });
}

/* A piece at random: values of order one, and slopes that let it bulge by about as much. */
struct piece {
    double state[N], start[M], end[M], slope[2 * M];
    struct dw_interval over;
};

static void random_piece(struct piece *p, double length)
{
    for (size_t i = 0; i < N; i++)
        p->state[i] = between(-1, 1);
    for (size_t j = 0; j < M; j++) {
        p->start[j] = between(-1, 1);
        p->end[j] = between(-1, 1);
        p->slope[j] = between(-6, 6) / length;
        p->slope[M + j] = between(-6, 6) / length;
    }
    p->over = (struct dw_interval){ p->state, p->start, p->end, length, p->slope };
}

/* Value and slope of input j at a share of the piece. */
static double input_at(const struct dw_interval *over, size_t j, double s, double *slope)
{
    const double h = over->length, rise = over->end[j] - over->start[j], a = h * over->slope[j], b = h * over->slope[M + j];
    const double c2 = 3 * rise - 2 * a - b, c3 = a + b - 2 * rise;
    *slope = (a + s * (2 * c2 + 3 * s * c3)) / h;
    return over->start[j] + s * (a + s * (c2 + s * c3));
}

/* The part of a piece between two shares. */
static void part_of(const struct piece *whole, double first, double last, struct piece *part)
{
    for (size_t j = 0; j < M; j++) {
        part->start[j] = input_at(&whole->over, j, first, part->slope + j);
        part->end[j] = input_at(&whole->over, j, last, part->slope + M + j);
    }
    part->over = (struct dw_interval){ part->state, part->start, part->end, (last - first) * whole->over.length, part->slope };
}

START_TEST(cubics_into_one_pole_are_the_closed_form_from_1e_minus_3_to_1e9_time_constants)
{
    /* x' = (u - x)/tau: x = p + (x0 - p(0)) exp(-t/tau) with p = u - tau u' + tau^2 u'' - tau^3 u''', here in 33 digits, of which slow
     * poles take twelve away */
    for (int i = -9; i <= 27; i++) {
        const double h = 0.83, tau = h * pow(10, -i / 3.0), a = -1 / tau, b = 1 / tau, from = 1.1, to = 2.9, slope[] = { 17.3, -9.1 };
        struct dw_system *system = new_system(&(struct dw_matrices){ .states = 1, .inputs = 1, .a = &a, .b = &b });
        struct dw_error error;
        double x = 0.31;
        succeeds(dw_system_advance(system, &(struct dw_interval){ &x, &from, &to, h, slope }, 0, &x, &error), error);
        const quad k = -(quad)1 / a, rise = (quad)to - from, s0 = slope[0] * (quad)h, s1 = slope[1] * (quad)h, q = k / h;
        const quad c2 = 3 * rise - 2 * s0 - s1, c3 = s0 + s1 - 2 * rise;
        const quad begin = from - q * (s0 - q * (2 * c2 - q * 6 * c3));
        const quad finish = to - q * (s1 - q * (2 * c2 + 6 * c3 - q * 6 * c3));
        quad fall = -(quad)h / k, y = 0;
        quad_exponential_less_one(&fall, &y, 1);
        const quad want = finish + (0.31 - begin) * (1 + y);
        /* the input reaches 3.6, of which 4 roundings */
        within_scale(x, (double)want, 4 * DBL_EPSILON, 3.6);
        dw_system_free(system);
    }
}
END_TEST

START_TEST(stiff_systems_along_cubics_agree_with_33_digits)
{
    for (int trial = 0; trial < 36; trial++) {
        struct chain_of_lags lags;
        struct piece piece;
        struct dw_error error;
        quad want[N];
        random_lags(&lags, 1 + (size_t)trial % N, trial < 18 ? 2 : 11);
        random_piece(&piece, between(0.1, 1));
        for (size_t i = 0; i < lags.n; i++)
            want[i] = piece.state[i];
        quad_advance_over(lags.a, NULL, lags.b, NULL, lags.n, M, want, &piece.over);
        double x[N];
        succeeds(dw_system_advance(lags.system, &piece.over, 0, x, &error), error);
        /* drive and states of up to 3 x 3 x 2 each; n products and sums of an ulp of that */
        for (size_t i = 0; i < lags.n; i++)
            within_scale(x[i], (double)want[i], 4 * (double)(lags.n + 4) * DBL_EPSILON, 4);
        dw_system_free(lags.system);
    }
}
END_TEST

START_TEST(lengths_that_come_but_once_share_a_chain_and_are_as_exact)
{
    for (int stiff = 0; stiff < 2; stiff++) {
        struct chain_of_lags lags;
        random_lags(&lags, N, stiff ? 9 : 1);
        for (int trial = 0; trial < 40; trial++) {
            struct piece piece;
            struct dw_error error;
            quad want[N];
            double x[N];
            random_piece(&piece, between(0.1, 1));
            for (size_t i = 0; i < N; i++)
                want[i] = piece.state[i];
            quad_advance_over(lags.a, NULL, lags.b, NULL, N, M, want, &piece.over);
            succeeds(dw_system_advance(lags.system, &piece.over, 0, x, &error), error);
            /* as above, over some dozens of cells */
            for (size_t i = 0; i < N; i++)
                within_scale(x[i], (double)want[i], 16 * (N + 4) * DBL_EPSILON, 4);
        }
        dw_system_free(lags.system);
    }
}
END_TEST

START_TEST(a_cubic_cut_anywhere_leads_to_the_same_state_and_the_same_integrals)
{
    static const struct dw_integrand integrand[] = { { 0, DW_ALONE }, { 0, 0 }, { 0, 1 } };
    for (int trial = 0; trial < 40; trial++) {
        struct chain_of_lags lags;
        struct piece piece, part;
        struct dw_error error;
        random_lags(&lags, 1 + (size_t)trial % N, trial % 2 ? 1.5 : 8);
        random_piece(&piece, between(0.01, 2));
        const double cut = trial < 4 ? pow(10, -3 * trial - 3) : between(0.001, 0.999), length = piece.over.length;
        double whole[N], x[N], integral[3], sum[3] = { 0 };
        succeeds(dw_system_advance(lags.system, &piece.over, 0, whole, &error), error);
        succeeds(dw_system_integrals(lags.system, &piece.over, integrand, 3, integral, &error), error);
        memcpy(x, piece.state, sizeof x);
        for (int side = 0; side < 2; side++) {
            double some[3];
            part_of(&piece, side ? cut : 0, side ? 1 : cut, &part);
            memcpy(part.state, x, sizeof x);
            succeeds(dw_system_integrals(lags.system, &part.over, integrand, 3, some, &error), error);
            succeeds(dw_system_advance(lags.system, &part.over, 0, x, &error), error);
            for (int k = 0; k < 3; k++)
                sum[k] += some[k];
        }
        /* inputs there are known to 4 ulp of the largest of their four terms, up to 24, and drive states by up to 6 times as much */
        for (size_t i = 0; i < lags.n; i++)
            within_scale(x[i], whole[i], 1e-14 * 10, 1);
        /* outputs of up to 10, their products of up to 100 */
        for (int k = 0; k < 3; k++)
            within_scale(sum[k], integral[k], 1e-13, 100 * length);
        dw_system_free(lags.system);
    }
}
END_TEST

/* Output k of a piece, t after its start. */
static double output_at(const struct chain_of_lags *lags, const struct piece *piece, double t, size_t k)
{
    struct piece part = *piece;
    struct dw_error error;
    double x[N], output[2];
    part_of(piece, 0, t / piece->over.length, &part);
    part.over.state = piece->state;
    succeeds(dw_system_advance(lags->system, &part.over, 0, x, &error), error);
    dw_system_output(lags->system, x, part.end, output);
    return output[k];
}

START_TEST(integrals_along_cubics_are_those_of_quadrature_over_samples)
{
    /* Gauss's rule of five places, of degree 9: over an eighth of an interval of norm x length <= 4 its error is (1/2)^10 of the
     * largest term in 10!^3 11 / 5!^4 = 2.5e12, nothing */
    static const double place[] = { 0.046910077030668, 0.230765344947158, 0.5, 0.769234655052841, 0.953089922969332 };
    static const double weight[] = { 0.118463442528095, 0.239314335249683, 0.284444444444444, 0.239314335249683, 0.118463442528095 };
    static const struct dw_integrand integrand[] = { { 1, DW_ALONE }, { 0, 0 }, { 0, 1 } };
    for (int trial = 0; trial < 12; trial++) {
        struct chain_of_lags lags;
        struct piece piece;
        struct dw_error error;
        double got[3], want[3] = { 0 };
        random_lags(&lags, 1 + (size_t)trial % 3, 0.1);
        random_piece(&piece, 0.5);
        succeeds(dw_system_integrals(lags.system, &piece.over, integrand, 3, got, &error), error);
        for (int part = 0; part < 8; part++)
            for (int i = 0; i < 5; i++) {
                const double t = (part + place[i]) / 8 * piece.over.length, w = weight[i] / 8 * piece.over.length;
                const double first = output_at(&lags, &piece, t, 0), second = output_at(&lags, &piece, t, 1);
                want[0] += w * second;
                want[1] += w * first * first;
                want[2] += w * first * second;
            }
        for (int k = 0; k < 3; k++)  /* places and weights have 15 digits, outputs up to 10 */
            within_scale(got[k], want[k], 1e-14 * 4, 100 * piece.over.length);
        dw_system_free(lags.system);
    }
}
END_TEST

START_TEST(slopes_of_the_chord_make_a_line_to_the_bit)
{
    for (int trial = 0; trial < 20; trial++) {
        struct chain_of_lags lags;
        struct piece piece;
        struct dw_error error;
        double line[N], cubic[N], integral[2];
        random_lags(&lags, N, trial % 2 ? 1 : 9);
        random_piece(&piece, between(0.1, 1));
        for (size_t j = 0; j < M; j++)
            piece.slope[j] = piece.slope[M + j] = (piece.end[j] - piece.start[j]) / piece.over.length;
        struct dw_interval straight = piece.over;
        straight.slope = NULL;
        succeeds(dw_system_advance(lags.system, &straight, 0, line, &error), error);
        succeeds(dw_system_advance(lags.system, &piece.over, 0, cubic, &error), error);
        ck_assert_mem_eq(line, cubic, sizeof line);
        succeeds(dw_system_integrals(lags.system, &straight, &(struct dw_integrand){ 0, 1 }, 1, integral, &error), error);
        succeeds(dw_system_integrals(lags.system, &piece.over, &(struct dw_integrand){ 0, 1 }, 1, integral + 1, &error), error);
        ck_assert_double_eq(integral[0], integral[1]);
        dw_system_free(lags.system);
    }
}
END_TEST

START_TEST(a_period_of_cubics_comes_back_with_jumps_and_with_corners)
{
    /* rows at one time: the second time the value jumps, the third time only the slope */
    static const double time[] = { 0.3, 0.55, 0.9, 0.9, 1.2, 1.2, 1.3 };
    enum { ROWS = sizeof time / sizeof *time };
    for (int trial = 0; trial < 24; trial++) {
        struct chain_of_lags lags;
        struct dw_error error;
        double input[ROWS * M], slope[ROWS * M], start[N], x[N];
        struct dw_steady steady;
        random_lags(&lags, 1 + (size_t)trial % N, trial < 12 ? 1 : 9);
        for (size_t i = 0; i < ROWS * M; i++) {
            input[i] = between(-1, 1);
            slope[i] = between(-9, 9);
        }
        for (size_t j = 0; j < M; j++)
            input[5 * M + j] = input[4 * M + j];
        succeeds(dw_system_steady(lags.system, &(struct dw_period){ time, input, ROWS, slope }, start, &steady, &error), error);
        memcpy(x, start, sizeof x);
        for (size_t i = 1; i < ROWS; i++) {
            double ends[2 * M];
            memcpy(ends, slope + (i - 1) * M, M * sizeof *ends);
            memcpy(ends + M, slope + i * M, M * sizeof *ends);
            const struct dw_interval over = { x, input + (i - 1) * M, input + i * M, time[i] - time[i - 1], ends };
            succeeds(dw_system_advance(lags.system, &over, 0, x, &error), error);
        }
        /* six stretches of 1e-15 of states and drives of up to 10; what the orbit is known by is the condition beside them */
        for (size_t i = 0; i < lags.n; i++)
            within_scale(x[i], start[i], 6e-15 * 4, 10);
        ck_assert_double_lt(steady.radius, 1);
        dw_system_free(lags.system);
    }
}
END_TEST

START_TEST(with_a_slope_that_is_none_and_in_no_time_a_cubic_is_a_line)
{
    struct dw_error error;
    const double a = -1, b = 1, input[] = { 0, 1 }, slopes[][2] = { { 3, INFINITY }, { NAN, -2 } }, steep[] = { 1e30, -1e30 };
    struct dw_system *system = new_system(&(struct dw_matrices){ .states = 1, .inputs = 1, .a = &a, .b = &b });
    double x = 0.25;
    for (int i = 0; i < 2; i++) {
        double line = 0.25, got;
        succeeds(dw_system_advance(system, &(struct dw_interval){ &line, input, input + 1, 0.7, NULL }, 0, &line, &error), error);
        succeeds(dw_system_advance(system, &(struct dw_interval){ &x, input, input + 1, 0.7, slopes[i] }, 0, &got, &error), error);
        ck_assert_double_eq(got, line);
    }
    succeeds(dw_system_advance(system, &(struct dw_interval){ &x, input, input + 1, 1e-31, steep }, 0, &x, &error), error);
    within_scale(x, 0.25, 1e-30, 1);
    succeeds(dw_system_advance(system, &(struct dw_interval){ &x, input, input + 1, 0, steep }, 0, &x, &error), error);
    within_scale(x, 0.25, 1e-30, 1);
    refuses(dw_system_advance(system, &(struct dw_interval){ &x, input, input, -1, NULL }, 0, &x, &error), DW_BAD_USE, error,
            "a stretch of -1 s: must be finite and not below zero");
    dw_system_free(system);
}
END_TEST

SUITE("linear: cubics", cubics_into_one_pole_are_the_closed_form_from_1e_minus_3_to_1e9_time_constants,
      stiff_systems_along_cubics_agree_with_33_digits, lengths_that_come_but_once_share_a_chain_and_are_as_exact,
      a_cubic_cut_anywhere_leads_to_the_same_state_and_the_same_integrals,
      integrals_along_cubics_are_those_of_quadrature_over_samples, slopes_of_the_chord_make_a_line_to_the_bit,
      a_period_of_cubics_comes_back_with_jumps_and_with_corners, with_a_slope_that_is_none_and_in_no_time_a_cubic_is_a_line)
