/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A train through a load, measured in one call: against closed forms, and what it refuses. */
#include "draw.h"
#include "suite.h"
#include <dutywright/chain.h>
#include <dutywright/ladder.h>

/* One RC stage behind an ideal pin. */
struct behind {
    struct dw_ladder *ladder;
    struct dw_plant *plant;
};

static struct behind behind(struct dw_stage stage, double supply)
{
    const struct dw_ladder_plan plan = { .stages = &stage, .count = 1 };
    const struct dw_ladder_setup setup = { .supply = supply };
    struct dw_error error = { .text = "" };
    struct behind made = { .ladder = dw_ladder_new(&plan, &error) };
    ck_assert_msg(made.ladder != NULL, "%s", error.text);
    made.plant = dw_ladder_plant_new(made.ladder, &setup, &error);
    ck_assert_msg(made.plant != NULL, "%s", error.text);
    return made;
}

static void gone(struct behind made)
{
    dw_plant_free(made.plant);
    dw_ladder_free(made.ladder);
}

/* The capacitor charges towards high for d T and discharges towards low for the rest: a = e^(-d x), b = e^(-(1-d) x), x = T/(R C). */
START_TEST(one_stage_has_the_ripple_and_mean_of_its_two_exponentials)
{
    uint64_t seed = 71;
    for (int n = 0; n < 60; n++) {
        const double period = pow(10, drawn_between(&seed, -5, -2)), duty = drawn_between(&seed, 0.05, 0.95);
        const double x = pow(10, drawn_between(&seed, -1.5, 1)), low = drawn_between(&seed, -2, 0), high = drawn_between(&seed, 1, 12);
        const struct behind made = behind((struct dw_stage){ .r = 1000, .c = period / (1000 * x) }, high);
        const struct dw_pulse_train train = { .period = period, .duty = duty, .low = low, .high = high, .complement = n % 2 };
        const struct dw_chain chain = { .train = &train, .plant = made.plant, .accuracy = 1e-6 };
        struct dw_result result[DW_MEASURES];
        struct dw_error error = { .text = "" };
        succeeds(dw_chain_measure(&chain, result, &error), error);
        const double ripple = (high - low) * expm1(-duty * x) * expm1(-(1 - duty) * x) / -expm1(-x);
        /* extremes are rows, exact but for the orbit's 1e-12; the cubics between them follow the wave within the accuracy of the supply */
        near(result[DW_MEASURE_RIPPLE].value, ripple, 1e-9);
        within_scale(result[DW_MEASURE_MEAN].value, low + duty * (high - low), 1e-6, high);
        near(result[DW_MEASURE_FREQUENCY].value, 1 / period, 1e-9);
        gone(made);
    }
}
END_TEST

/* At an edge nothing jumps behind two stages, and no row says so twice. */
START_TEST(what_two_stages_leave_has_the_mean_of_the_pin)
{
    static const struct dw_stage stages[] = { { .r = 1000, .c = 1e-6 }, { .r = 4700, .c = 220e-9 } };
    struct dw_error error = { .text = "" };
    struct dw_result result[DW_MEASURES];
    struct behind made = { .ladder = dw_ladder_new(&(struct dw_ladder_plan){ .stages = stages, .count = 2 }, &error) };
    ck_assert_msg(made.ladder != NULL, "%s", error.text);
    made.plant = dw_ladder_plant_new(made.ladder, &(struct dw_ladder_setup){ .supply = 3.3 }, &error);
    ck_assert_msg(made.plant != NULL, "%s", error.text);
    succeeds(dw_chain_measure(&(struct dw_chain){ .train = &(struct dw_pulse_train){ .period = 1e-3, .duty = 0.31, .high = 3.3 },
                                                  .plant = made.plant, .accuracy = 1e-7 }, result, &error), error);
    within_scale(result[DW_MEASURE_MEAN].value, 3.3 * 0.31, 1e-7, 3.3);
    gone(made);
}
END_TEST

START_TEST(a_density_is_measured_over_its_pattern)
{
    const struct behind made = behind((struct dw_stage){ .r = 1000, .c = 1e-6 }, 3.3);
    const struct dw_pulse_train train = { .period = 1e-4, .duty = 3.0 / 8, .high = 3.3, .modulation = DW_DENSITY };
    const struct dw_chain chain = { .train = &train, .plant = made.plant, .accuracy = 1e-7 };
    struct dw_result result[DW_MEASURES];
    struct dw_error error = { .text = "" };
    succeeds(dw_chain_measure(&chain, result, &error), error);
    within_scale(result[DW_MEASURE_MEAN].value, 3.3 * 3 / 8, 1e-7, 3.3);
    ck_assert(!result[DW_MEASURE_SETTLING_TIME].had);
    gone(made);
}
END_TEST

START_TEST(what_is_no_chain_is_refused_and_leaves_the_results_alone)
{
    const struct behind made = behind((struct dw_stage){ .r = 1000, .c = 1e-6 }, 3.3);
    const struct dw_pulse_train good = { .period = 1e-3, .duty = 0.312, .high = 3.3 };
    struct dw_pulse_train train = good;
    struct dw_chain chain = { .train = &train, .plant = made.plant, .accuracy = 1e-5 };
    struct dw_result result[DW_MEASURES];
    struct dw_error error = { .text = "" };
    for (int k = 0; k < DW_MEASURES; k++)
        result[k] = (struct dw_result){ .value = 7 + k };
    train.jitter = 1e-6;
    refuses(dw_chain_measure(&chain, result, &error), DW_BAD_USE, error, "the train does not repeat");
    train = good;
    train.duty = 2;
    ck_assert_int_eq(dw_chain_measure(&chain, result, NULL), DW_BAD_USE);
    train = good;
    chain.output = 1;
    refuses(dw_chain_measure(&chain, result, &error), DW_BAD_USE, error, "output 1 of 1");
    chain.output = 0;
    chain.accuracy = -1;
    ck_assert_int_eq(dw_chain_measure(&chain, result, &error), DW_BAD_USE);
    for (int k = 0; k < DW_MEASURES; k++)
        ck_assert(!result[k].had && result[k].value == 7 + k);
    gone(made);
}
END_TEST

START_TEST(an_undamped_filter_at_its_resonance_has_no_steady_state)
{
    const double period = 1e-4, l = 1e-3, c = period * period / (4 * M_PI * M_PI * l);
    const struct behind made = behind((struct dw_stage){ .l = l, .c = c }, 12);
    const struct dw_pulse_train train = { .period = period, .duty = 0.4, .high = 12 };
    const struct dw_chain chain = { .train = &train, .plant = made.plant, .accuracy = 1e-5 };
    struct dw_result result[DW_MEASURES];
    struct dw_error error = { .text = "" };
    ck_assert_int_eq(dw_chain_measure(&chain, result, &error), DW_NO);
    ck_assert_msg(*error.text, "it says nothing");
    gone(made);
}
END_TEST

SUITE("design: a train through a load, measured", one_stage_has_the_ripple_and_mean_of_its_two_exponentials,
      what_two_stages_leave_has_the_mean_of_the_pin, a_density_is_measured_over_its_pattern, what_is_no_chain_is_refused_and_leaves_the_results_alone,
      an_undamped_filter_at_its_resonance_has_no_steady_state)
