/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the room refuses, to the letter, with an error to fill and without. */
#include "suite.h"
#include <dutywright/linear.h>
#include <dutywright/modes.h>
#include <dutywright/plant.h>
#include <float.h>

static const double one = 1, zero = 0, decay = -2, nan_entry = NAN;

static struct dw_system *pole(void)
{
    struct dw_error error;
    struct dw_system *system = dw_system_new(&(struct dw_matrices){ .states = 1, .inputs = 1, .outputs = 1, .a = &decay, .b = &one,
                                                                     .c = &one }, &error);
    ck_assert_msg(system != NULL, "%s", error.text);
    return system;
}

START_TEST(a_system_is_refused_for_each_matrix_that_is_not_finite_and_each_size_out_of_range)
{
    static const double without_end = INFINITY;
    const char *const entry = "a matrix of the system is missing or holds an entry that is not finite";
    const struct {
        struct dw_matrices given;
        const char *text;
    } cases[] = {
        { { .states = 1 }, entry },
        { { .states = 1, .a = &without_end }, entry },
        { { .states = 1, .inputs = 1, .a = &decay, .b = &nan_entry }, entry },
        { { .states = 1, .outputs = 1, .a = &decay, .c = &nan_entry }, entry },
        { { .states = 1, .inputs = 1, .outputs = 1, .a = &decay, .d = &without_end }, entry },
        { { .states = 1, .a = &decay, .a_low = &nan_entry }, entry },
        { { .states = 1, .inputs = 1, .a = &decay, .b_low = &nan_entry }, entry },
        { { .states = 33, .a = &decay }, "33 states, 0 inputs, 0 outputs: a system has 1 to 32 states, up to 8 inputs and 64 outputs" },
        { { .states = 1, .outputs = 65, .a = &decay },
          "1 states, 0 inputs, 65 outputs: a system has 1 to 32 states, up to 8 inputs and 64 outputs" },
        { { .states = 1, .a = &decay, .weight = &without_end }, "weight inf of state 1: must be above zero and finite" },
        { { .states = 1, .a = &decay, .weight = &nan_entry }, "weight nan of state 1: must be above zero and finite" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_error error = { .status = DW_OK };
        ck_assert_ptr_null(dw_system_new(&cases[i].given, &error));
        ck_assert_int_eq(error.status, DW_BAD_USE);
        ck_assert_str_eq(error.text, cases[i].text);
        ck_assert_ptr_null(dw_system_new(&cases[i].given, NULL));
    }
}
END_TEST

START_TEST(a_system_tells_its_sizes)
{
    const double a[4] = { -1, 0, 0, -2 }, c[6] = { 0 };
    struct dw_error error;
    struct dw_system *system = dw_system_new(&(struct dw_matrices){ .states = 2, .inputs = 1, .outputs = 3, .a = a, .c = c }, &error);
    ck_assert_msg(system != NULL, "%s", error.text);
    ck_assert_uint_eq(dw_system_states(system), 2);
    ck_assert_uint_eq(dw_system_inputs(system), 1);
    ck_assert_uint_eq(dw_system_outputs(system), 3);
    dw_system_free(system);
}
END_TEST

START_TEST(lengths_that_are_no_lengths_are_refused)
{
    static const struct {
        double length;
        const char *text;
    } cases[] = {
        { -1e-9, "a stretch of -1e-09 s: must be finite and not below zero" },
        { INFINITY, "a stretch of inf s: must be finite and not below zero" },
        { NAN, "a stretch of nan s: must be finite and not below zero" },
    };
    struct dw_system *system = pole();
    struct dw_error error;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        double x = 0.7, answer = 12.5;
        const struct dw_interval over = { &x, &one, &one, cases[i].length, NULL };
        refuses(dw_system_advance(system, &(struct dw_interval){ &x, &one, &one, cases[i].length, NULL }, 0, &x, &error), DW_BAD_USE, error, cases[i].text);
        refuses(dw_system_integrals(system, &over, &(struct dw_integrand){ 0, DW_ALONE }, 1, &answer, &error), DW_BAD_USE, error,
                cases[i].text);
        refuses(dw_system_integrals(system, &over, &(struct dw_integrand){ 0, 0 }, 1, &answer, &error), DW_BAD_USE, error,
                cases[i].text);
        ck_assert_double_eq(x, 0.7);
        ck_assert_double_eq(answer, 12.5);
    }
    const struct dw_integrand squares[] = { { 0, 0 }, { 1, 0 }, { 0, 3 }, { 1, DW_ALONE } };
    const struct dw_interval whole = { &zero, &one, &one, 1, NULL }, nothing = { &zero, &one, &one, 0, NULL };
    double answer[2] = { 12.5, 12.5 };
    refuses(dw_system_integrals(system, &whole, squares, 2, answer, &error), DW_BAD_USE, error, "outputs 2 and 1 of 1");
    refuses(dw_system_integrals(system, &whole, squares + 2, 1, answer, &error), DW_BAD_USE, error, "outputs 1 and 4 of 1");
    refuses(dw_system_integrals(system, &whole, squares + 3, 1, answer, &error), DW_BAD_USE, error, "output 2 of 1");
    ck_assert_double_eq(answer[0], 12.5);
    succeeds(dw_system_integrals(system, &nothing, squares, 1, answer, &error), error);
    ck_assert_double_eq(answer[0], 0);
    ck_assert_double_eq(answer[1], 12.5);
    dw_system_free(system);
}
END_TEST

struct refusing {
    int left;
};

static enum dw_status take_some(void *context, double frequency, const double *gain, const double *phase, struct dw_error *error)
{
    struct refusing *refusing = context;
    ck_assert(isfinite(frequency) && isfinite(*gain) && isfinite(*phase));
    return refusing->left-- > 0 ? DW_OK : dw_error_set(error, DW_SYSTEM, 0, "the disk is full");
}

START_TEST(responses_and_sweeps_are_refused_outside_their_ranges_and_pass_on_what_the_sink_gives)
{
    static const struct {
        size_t input;
        double first, last, accuracy;
        const char *text;
    } sweeps[] = {
        { 0, 0, 10, 0.01, "a sweep from 0 to 10 Hz at accuracy 0.01: 0 < first < last, accuracy > 0" },
        { 0, NAN, 10, 0.01, "a sweep from nan to 10 Hz at accuracy 0.01: 0 < first < last, accuracy > 0" },
        { 0, 10, 10, 0.01, "a sweep from 10 to 10 Hz at accuracy 0.01: 0 < first < last, accuracy > 0" },
        { 0, 10, INFINITY, 0.01, "a sweep from 10 to inf Hz at accuracy 0.01: 0 < first < last, accuracy > 0" },
        { 0, 1, 10, 0, "a sweep from 1 to 10 Hz at accuracy 0: 0 < first < last, accuracy > 0" },
        { 0, 1, 10, INFINITY, "a sweep from 1 to 10 Hz at accuracy inf: 0 < first < last, accuracy > 0" },
        { 0, 1, 10, NAN, "a sweep from 1 to 10 Hz at accuracy nan: 0 < first < last, accuracy > 0" },
        { 1, 1, 10, 0.01, "a sweep of input 2 of 1" },
    };
    static const struct {
        double angular;
        const char *text;
    } responses[] = {
        { -1, "response to input 1 of 1 at -1 rad/s" },
        { INFINITY, "response to input 1 of 1 at inf rad/s" },
        { NAN, "response to input 1 of 1 at nan rad/s" },
    };
    struct dw_system *system = pole();
    struct dw_error error;
    struct refusing many = { 1000 };
    for (size_t i = 0; i < sizeof sweeps / sizeof sweeps[0]; i++)
        refuses(dw_system_sweep(system, &(struct dw_sweep){ sweeps[i].input, sweeps[i].first, sweeps[i].last, sweeps[i].accuracy },
                                take_some, &many, &error),
                DW_BAD_USE, error, sweeps[i].text);
    double real, imaginary;
    for (size_t i = 0; i < sizeof responses / sizeof responses[0]; i++)
        refuses(dw_system_response(system, 0, responses[i].angular, &real, &imaginary, &error), DW_BAD_USE, error, responses[i].text);
    ck_assert_int_eq(many.left, 1000);
    succeeds(dw_system_sweep(system, &(struct dw_sweep){ 0, 0.01, 100, 0.01 }, take_some, &many, &error), error);
    const int points = 1000 - many.left;
    ck_assert_int_gt(points, 4);
    for (int at = 0; at < points; at++) {
        struct refusing some = { at };
        refuses(dw_system_sweep(system, &(struct dw_sweep){ 0, 0.01, 100, 0.01 }, take_some, &some, &error), DW_SYSTEM, error, "the disk is full");
        ck_assert_int_eq(some.left, -1);  /* it is not asked again */
    }
    dw_system_free(system);
}
END_TEST

START_TEST(plans_of_modes_are_refused_for_each_number_out_of_range)
{
    static const double without_end = INFINITY;
    const struct dw_guard scales[] = { { .state = &one, .scale = INFINITY }, { .state = &one, .scale = NAN } };
    const struct dw_guard entries[] = { { .state = &nan_entry, .input = &one, .scale = 1 }, { .state = &one, .offset = NAN, .scale = 1 }, { .input = &nan_entry, .scale = 1 } };
    const struct dw_mode plain = { .a = &decay }, bad = { .name = "bad", .a = &nan_entry }, two[] = { bad, plain };
    const struct dw_mode guarded[] = { { .a = &decay, .guards = &scales[0], .guard_count = 1 },
                                       { .name = "m", .a = &decay, .guards = &scales[1], .guard_count = 1 },
                                       { .name = "m", .a = &decay, .guards = &entries[0], .guard_count = 1 },
                                       { .name = "m", .a = &decay, .guards = &entries[1], .guard_count = 1 },
                                       { .name = "m", .a = &decay, .guards = &entries[2], .guard_count = 1 } };
#define SIZES ": needs a mode, 1 to 32 states, up to 8 inputs, 64 outputs"
    const struct {
        struct dw_modes_plan plan;
        const char *text;
    } cases[] = {
        { { .states = 0, .modes = &plain, .mode_count = 1 }, "1 modes of 0 states, 0 inputs, 0 outputs" SIZES },
        { { .states = 33, .modes = &plain, .mode_count = 1 }, "1 modes of 33 states, 0 inputs, 0 outputs" SIZES },
        { { .states = 1, .inputs = 9, .modes = &plain, .mode_count = 1 }, "1 modes of 1 states, 9 inputs, 0 outputs" SIZES },
        { { .states = 1, .outputs = 65, .modes = &plain, .mode_count = 1 }, "1 modes of 1 states, 0 inputs, 65 outputs" SIZES },
        { { .states = 1, .outputs = 1, .scale = &without_end, .modes = &plain, .mode_count = 1 },
          "output 1: a natural scale of inf: expected from 1e-100 to 1e+100" },
        { { .states = 1, .outputs = 1, .scale = &nan_entry, .modes = &plain, .mode_count = 1 },
          "output 1: a natural scale of nan: expected from 1e-100 to 1e+100" },
        { { .states = 1, .modes = &bad, .mode_count = 1 }, "a matrix of the system is missing or holds an entry that is not finite" },
        { { .states = 1, .modes = two, .mode_count = 2 }, "a matrix of the system is missing or holds an entry that is not finite" },
        { { .states = 1, .modes = &guarded[0], .mode_count = 1 }, "mode 'unnamed', guard 1: scale inf: must be above zero and finite" },
        { { .states = 1, .modes = &guarded[1], .mode_count = 1 }, "mode 'm', guard 1: scale nan: must be above zero and finite" },
        { { .states = 1, .inputs = 1, .modes = &guarded[2], .mode_count = 1 }, "mode 'm', guard 1: an entry is not finite" },
        { { .states = 1, .modes = &guarded[3], .mode_count = 1 }, "mode 'm', guard 1: an entry is not finite" },
        { { .states = 1, .inputs = 1, .modes = &guarded[4], .mode_count = 1 }, "mode 'm', guard 1: an entry is not finite" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_error error = { .status = DW_OK };
        ck_assert_ptr_null(dw_modes_new(&cases[i].plan, &error));
        ck_assert_int_eq(error.status, DW_BAD_USE);
        ck_assert_str_eq(error.text, cases[i].text);
        ck_assert_ptr_null(dw_modes_new(&cases[i].plan, NULL));
    }
}
END_TEST

START_TEST(plants_of_more_than_there_is_room_for_are_refused)
{
    static const struct dw_port ports[65];
    static const bool drifts[33];
    static const struct dw_mode plain = { .a = &decay };
    struct dw_error error = { .status = DW_OK };
    ck_assert_ptr_null(dw_plant_new(&(struct dw_plant_plan){ .modes = { .states = 33, .modes = &plain, .mode_count = 1, .drifts = drifts }, .ports = ports }, &error));
    ck_assert_str_eq(error.text, "1 modes of 33 states, 0 inputs, 0 outputs: needs a mode, 1 to 32 states, up to 8 inputs, 64 outputs");
    ck_assert_ptr_null(dw_plant_new(&(struct dw_plant_plan){ .modes = { .states = 1, .outputs = 65, .modes = &plain, .mode_count = 1 }, .ports = ports }, &error));
    ck_assert_str_eq(error.text, "1 modes of 1 states, 0 inputs, 65 outputs: needs a mode, 1 to 32 states, up to 8 inputs, 64 outputs");
}
END_TEST

START_TEST(runs_are_refused_rates_and_accuracies_that_are_none)
{
    static const struct {
        struct dw_run_options options;
        const char *text;
    } cases[] = {
        { { .accuracy = INFINITY }, "accuracy inf, uniform rate 0: must be finite and not below zero" },
        { { .accuracy = NAN }, "accuracy nan, uniform rate 0: must be finite and not below zero" },
        { { .uniform = -1 }, "accuracy 0, uniform rate -1: must be finite and not below zero" },
        { { .uniform = INFINITY }, "accuracy 0, uniform rate inf: must be finite and not below zero" },
    };
    const struct dw_mode mode = { .a = &decay };
    struct dw_error error;
    struct dw_modes *modes = dw_modes_new(&(struct dw_modes_plan){ .states = 1, .modes = &mode, .mode_count = 1 }, &error);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        ck_assert_ptr_null(dw_run_new(modes, &cases[i].options, &error));
        ck_assert_str_eq(error.text, cases[i].text);
    }
    struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ .sink = NULL }, &error);
    succeeds(dw_run_start(run, 0.25, 0, &one, NULL, &error), error);
    ck_assert_double_eq(dw_run_time(run), 0.25);
    succeeds(dw_run_feed(run, 0.75, NULL, &error), error);
    ck_assert_double_eq(dw_run_time(run), 0.75);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

START_TEST(a_mode_without_matrices_stands_still)
{
    const struct dw_mode mode = { .name = "stands" };
    struct dw_error error;
    struct dw_modes *modes = dw_modes_new(&(struct dw_modes_plan){ .states = 1, .modes = &mode, .mode_count = 1 }, &error);
    ck_assert_msg(modes != NULL, "%s", error.text);
    struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ .sink = NULL }, &error);
    const double x = 0.7;
    succeeds(dw_run_start(run, 0, 0, &x, NULL, &error), error);
    succeeds(dw_run_feed(run, 1e6, NULL, &error), error);
    ck_assert_double_eq(dw_run_state(run)[0], x);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

START_TEST(a_period_in_which_no_time_passes_is_refused)
{
    const char *const text = "a period needs two rows at least, and time must pass";
    const double still[] = { 2, 2 }, input[] = { 1, 1 }, first[] = { NAN, 1 }, last[] = { 0, INFINITY };
    const struct dw_guard guard = { .state = &one, .offset = 9, .scale = 1, .next = 0 };
    const struct dw_mode mode = { .a = &decay, .b = &one, .guards = &guard, .guard_count = 1 };
    struct dw_error error;
    struct dw_modes *modes = dw_modes_new(&(struct dw_modes_plan){ .states = 1, .inputs = 1, .modes = &mode, .mode_count = 1 }, &error);
    struct dw_system *system = pole();
    double x = 0;
    size_t at = 0;
    refuses(dw_system_steady(system, &(struct dw_period){ still, input, 2, NULL }, &x, NULL, &error), DW_BAD_USE, error, text);
    refuses(dw_system_steady(system, &(struct dw_period){ first, input, 2, NULL }, &x, NULL, &error), DW_BAD_USE, error, text);
    refuses(dw_system_steady(system, &(struct dw_period){ last, input, 2, NULL }, &x, NULL, &error), DW_BAD_USE, error,
            "time goes back or is not finite at row 2 of the period");
    refuses(dw_modes_steady(modes, &(struct dw_period){ still, input, 1, NULL }, &at, &x, NULL, &error), DW_BAD_USE, error, text);
    refuses(dw_modes_steady(modes, &(struct dw_period){ still, input, 2, NULL }, &at, &x, NULL, &error), DW_BAD_USE, error, text);
    dw_system_free(system);
    dw_modes_free(modes);
}
END_TEST

/* One mode, of two states of which the second drifts as the integral of the first: so that the orbit is followed. */
static enum dw_status drifting_steady(double rate, const double *input, bool first_too, double *x, struct dw_steady *steady,
                                      struct dw_error *error)
{
    const double a[] = { rate, 0, 1, 0 }, b[] = { 1, 0 };
    const bool drifts[] = { first_too, true };
    const double time[] = { 0, 0.04, 0.04, 0.1 };
    const struct dw_mode mode = { .a = a, .b = b };
    size_t at = 0;
    struct dw_modes *modes = dw_modes_new(
        &(struct dw_modes_plan){ .states = 2, .inputs = 1, .modes = &mode, .mode_count = 1, .drifts = drifts }, error);
    ck_assert_msg(modes != NULL, "%s", error->text);
    const enum dw_status status = dw_modes_steady(modes, &(struct dw_period){ time, input, 4, NULL }, &at, x, steady, error);
    dw_modes_free(modes);
    return status;
}

START_TEST(an_orbit_that_grows_or_never_comes_back_is_refused_and_one_that_only_drifts_is_not)
{
    static const double pulse[] = { 5, 5, 0, 0 };
    struct dw_error error;
    struct dw_steady steady;
    double x[] = { 0, 0 };
    /* exp(0.3 0.1) */
    refuses(drifting_steady(0.3, pulse, false, x, &steady, &error), DW_NO, error,
            "no steady state: the orbit is unstable, a disturbance grows 1.03045 times each period");
    x[0] = x[1] = 0;
    refuses(drifting_steady(0, pulse, false, x, &steady, &error), DW_NO, error,
            "no steady state: nothing damps a state of the system, and it does not come back after a period");
    x[0] = x[1] = 0;
    succeeds(drifting_steady(0, pulse, true, x, &steady, &error), error);
    ck_assert_double_eq(steady.radius, 0);
}
END_TEST

SUITE("linear: refusals", a_system_is_refused_for_each_matrix_that_is_not_finite_and_each_size_out_of_range,
      a_system_tells_its_sizes, lengths_that_are_no_lengths_are_refused,
      responses_and_sweeps_are_refused_outside_their_ranges_and_pass_on_what_the_sink_gives,
      plans_of_modes_are_refused_for_each_number_out_of_range, plants_of_more_than_there_is_room_for_are_refused, runs_are_refused_rates_and_accuracies_that_are_none,
      a_mode_without_matrices_stands_still, a_period_in_which_no_time_passes_is_refused,
      an_orbit_that_grows_or_never_comes_back_is_refused_and_one_that_only_drifts_is_not)
