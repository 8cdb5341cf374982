/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Integrals of outputs and of products of two along a run. */
#include "linear/smooth.h"

#define TAU 0.4

static struct dw_modes *modes_of(const struct dw_modes_plan *plan)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_modes *modes = dw_modes_new(plan, &error);
    ck_assert_msg(modes != NULL, "%s", error.text);
    return modes;
}

static struct dw_run *start(struct dw_modes *modes, const struct dw_run_options *options, const double *state, const double *input)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_run *run = dw_run_new(modes, options, &error);
    ck_assert_msg(run != NULL, "%s", error.text);
    succeeds(dw_run_start(run, 0, 0, state, input, &error), error);
    return run;
}

/* Half periods of the oscillator that are over, and rows between. */
static int halves, rows_between;

/* Up from 0.25 by y = 1 - x, which falls to a third, and back by x: each half lasts TAU ln 3. In TAU, up and down, x gives ln 3 - 1/2
 * and 1/2, x^2 gives ln 3 - 3/4 and 1/4, the drive (target - x) x gives 1/4 and -1/4. Each event is within 1e-12 of a stretch, 0.7 s. */
static enum dw_status check_half(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    (void)context, (void)error;
    const bool between = row->kind == DW_ROW_BETWEEN || row->kind == DW_ROW_EXTREMUM;
    ck_assert((row->integral == NULL) == between);
    rows_between += between;
    if (row->kind != DW_ROW_BEFORE)
        return DW_OK;
    halves++;
    const int down = halves / 2, up = halves - down;
    within_scale(row->integral[0], TAU * (up * (log(3) - 0.5) + down * 0.5), 1e-11, TAU * halves);
    within_scale(row->integral[1], TAU * (up * (log(3) - 0.75) + down * 0.25), 1e-11, TAU * halves);
    within_scale(row->integral[2], TAU * (up - down) / 4.0, 1e-11, TAU * halves);
    return DW_OK;
}

START_TEST(integrals_of_an_output_its_square_and_its_product_with_a_probe_go_on_from_mode_to_mode)
{
    static const double a[] = { -1 / TAU }, e[] = { 1 / TAU }, c[] = { 1, -1 }, f[] = { 0, 1 }, falls[] = { -1 }, rises[] = { 1 };
    static const struct dw_guard high = { .state = falls, .offset = 0.75, .scale = 1, .next = 1 },
                                 low = { .state = rises, .offset = -0.25, .scale = 1, .next = 0 };
    static const struct dw_mode modes[] = { { .name = "up", .a = a, .e = e, .c = c, .f = f, .guards = &high, .guard_count = 1 },
                                            { .name = "down", .a = a, .c = c, .guards = &low, .guard_count = 1 } };
    static const struct dw_integrand integrand[] = { { 0, DW_ALONE }, { 0, 0 }, { 1, 0 } };
    const double state = 0.25;
    struct dw_modes *oscillator = modes_of(&(struct dw_modes_plan){ .states = 1, .outputs = 1, .probes = 1, .modes = modes,
                                                                    .mode_count = 2, .scale = units });
    struct dw_run *run = start(oscillator, &(struct dw_run_options){ .accuracy = 1e-3, .sink = check_half, .integrand = integrand,
                                                                     .integrand_count = 3 }, &state, NULL);
    halves = rows_between = 0;
    for (int i = 1; i <= 20; i++)
        feed(run, 0.7 * i, NULL);
    ck_assert_int_eq(halves, 31);  /* 14 / (0.4 ln 3) = 31.9 */
    ck_assert_int_gt(rows_between, halves);
    dw_run_free(run);
    dw_modes_free(oscillator);
}
END_TEST

START_TEST(what_exceeds_a_large_origin_by_little_is_integrated_to_its_own_last_digits)
{
    static const double far = 1e6, a[] = { -1 / TAU }, e[] = { 1e6 / TAU }, c[] = { 1 }, f[] = { -1e6 }, zero[] = { 0 };
    static const struct dw_mode mode = { .name = "only", .a = a, .e = e, .c = c, .f = f, .origin = &far, .origin_e = zero,
                                         .origin_f = zero };
    static const struct dw_integrand integrand[] = { { 0, DW_ALONE }, { 0, 0 } };
    const double over = 0x1p-10, state = far + over;
    struct dw_modes *modes = modes_of(&(struct dw_modes_plan){ .states = 1, .outputs = 1, .modes = &mode, .mode_count = 1,
                                                               .scale = units });
    struct dw_run *run = start(modes, &(struct dw_run_options){ .integrand = integrand, .integrand_count = 2 }, &state, NULL);
    feed(run, 1.1, NULL);
    near(dw_run_integrals(run)[0], -over * TAU * expm1(-1.1 / TAU), 1e-14);
    near(dw_run_integrals(run)[1], -over * over * TAU / 2 * expm1(-2.2 / TAU), 1e-14);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

START_TEST(integrals_follow_ramps_and_jumps_of_the_input_and_a_copy_goes_on_or_begins_anew)
{
    static const double a[] = { -1 / TAU }, d[] = { 2 };
    static const struct dw_mode mode = { .name = "only", .a = a, .d = d };
    static const struct dw_integrand integrand[] = { { 0, DW_ALONE }, { 0, 0 } };
    const struct dw_run_options options = { .integrand = integrand, .integrand_count = 2 };
    const double time[] = { 0, 0.3, 0.3, 0.9 }, u[] = { 1, 2, -1, 0.5 }, zero = 0;
    struct dw_error error;
    struct dw_modes *modes = modes_of(&(struct dw_modes_plan){ .states = 1, .inputs = 1, .outputs = 1, .modes = &mode, .mode_count = 1,
                                                               .scale = units });
    struct dw_run *run = start(modes, &options, &zero, u);
    for (int i = 1; i < 3; i++)
        feed(run, time[i], u + i);
    /* 2 u over lines: h (a + b), and 4 h (a^2 + a b + b^2) / 3 */
    const double first[] = { 0.3 * 3, 4 * 0.3 * 7 / 3 }, last[] = { 0.6 * -0.5, 4 * 0.6 * 0.75 / 3 };
    struct dw_run *same = dw_run_copy(run, NULL, &error), *anew = dw_run_copy(run, &options, &error);
    ck_assert(same != NULL && anew != NULL);
    feed(same, time[3], u + 3);
    feed(anew, time[3], u + 3);
    for (int k = 0; k < 2; k++) {
        near(dw_run_integrals(run)[k], first[k], 1e-14);
        within_scale(dw_run_integrals(same)[k], first[k] + last[k], 1e-14, first[k]);
        near(dw_run_integrals(anew)[k], last[k], 1e-14);
    }
    succeeds(dw_run_start(run, 0, 0, &zero, u, &error), error);
    ck_assert_double_eq(dw_run_integrals(run)[0], 0);
    dw_run_free(anew);
    dw_run_free(same);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

START_TEST(integrals_are_refused_that_are_too_many_or_of_no_output_or_of_equations)
{
    static const double c[DW_OUTPUTS + 1] = { 0 };
    static const struct dw_mode mode = { .name = "only", .c = c };
    static const struct dw_integrand integrand[DW_INTEGRANDS + 1] = { { 0, 0 }, { 0, 2 } };
    const double zero = 0;
    struct dw_error error;
    struct dw_modes_plan plan = { .states = 1, .outputs = 1, .probes = 1, .modes = &mode, .mode_count = 1, .scale = units };
    struct dw_modes *modes = modes_of(&plan), *equations = make(&rc);
    ck_assert_ptr_null(dw_run_new(modes, &(struct dw_run_options){ .integrand = integrand, .integrand_count = 9 }, &error));
    ck_assert_str_eq(error.text, "9 integrals along a run: up to 8, and none of equations");
    ck_assert_ptr_null(dw_run_new(equations, &(struct dw_run_options){ .integrand = integrand, .integrand_count = 1 }, &error));
    ck_assert_str_eq(error.text, "1 integrals along a run: up to 8, and none of equations");
    struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ .integrand = integrand, .integrand_count = 2 }, &error);
    refuses(dw_run_start(run, 0, 0, &zero, NULL, &error), DW_BAD_USE, error, "outputs 1 and 3 of 2");
    plan.probes = DW_OUTPUTS;
    ck_assert_ptr_null(dw_modes_new(&plan, &error));
    ck_assert_str_eq(error.text, "1 states, 1 inputs, 65 outputs: a system has 1 to 32 states, up to 8 inputs and 64 outputs");
    dw_run_free(run);
    dw_modes_free(modes);
    dw_modes_free(equations);
}
END_TEST

SUITE("linear: integrals", integrals_of_an_output_its_square_and_its_product_with_a_probe_go_on_from_mode_to_mode,
      what_exceeds_a_large_origin_by_little_is_integrated_to_its_own_last_digits,
      integrals_follow_ramps_and_jumps_of_the_input_and_a_copy_goes_on_or_begins_anew,
      integrals_are_refused_that_are_too_many_or_of_no_output_or_of_equations)
