/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/poles_inner.h"
#include "pulse/train_inner.h"
#include "suite.h"
#include "wishes.h"
#include <dutywright/design.h>
#include <float.h>
#include <math.h>

START_TEST(philox_gives_the_numbers_of_its_authors)
{
    /* known answers of philox4x32-10 as its authors publish them with Salmon et al. 2011 (SC11); from memory */
    static const struct {
        uint32_t counter[4], key[2], out[4];
    } cases[] = {
        { { 0, 0, 0, 0 }, { 0, 0 }, { 0x6627e8d5, 0xe169c58d, 0xbc57ac4c, 0x9b00dbd8 } },
        { { 0xffffffff, 0xffffffff, 0xffffffff, 0xffffffff }, { 0xffffffff, 0xffffffff },
          { 0x408f276d, 0x41c83b0e, 0xa20bc7c6, 0x6d5451fd } },
        { { 0x243f6a88, 0x85a308d3, 0x13198a2e, 0x03707344 }, { 0xa4093822, 0x299f31d0 },
          { 0xd16cfe09, 0x94fdcceb, 0x5001e420, 0x24126ea1 } },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        uint32_t out[4];
        dwi_philox(cases[i].counter, cases[i].key, out);
        for (int k = 0; k < 4; k++)
            ck_assert_uint_eq(out[k], cases[i].out[k]);
    }
}
END_TEST

START_TEST(draws_are_spread_evenly_and_independent)
{
    enum { COUNT = 100000 };
    double sum = 0, square = 0, beside = 0, next = 0;
    for (uint64_t i = 0; i < COUNT; i++) {
        const double x = dwi_draw(42, i, 3);
        ck_assert(x > -1 && x < 1);
        sum += x;
        square += x * x;
        beside += x * dwi_draw(42, i, 4);
        next += x * dwi_draw(42, i + 1, 3);
    }
    /* even on (-1, 1): variance 1/3, of the square 4/45, of products 1/9; five standard deviations */
    within_scale(sum / COUNT, 0, 5 * sqrt(1.0 / 3 / COUNT), 1);
    within_scale(square / COUNT, 1.0 / 3, 5 * sqrt(4.0 / 45 / COUNT), 1);
    within_scale(beside / COUNT, 0, 5 * sqrt(1.0 / 9 / COUNT), 1);
    within_scale(next / COUNT, 0, 5 * sqrt(1.0 / 9 / COUNT), 1);
    ck_assert(dwi_draw(42, 7, 3) != dwi_draw(43, 7, 3) && dwi_draw(42, 7, 3) != dwi_draw(42, UINT64_C(7) << 32, 3));
}
END_TEST

/* Probability of at least k of n, each with probability p. */
static double at_least(int k, int n, double p)
{
    double sum = 0;
    for (int i = k; i <= n; i++)
        sum += exp(lgamma(n + 1.0) - lgamma(i + 1.0) - lgamma(n - i + 1.0) + i * log(p) + (n - i) * log1p(-p));
    return sum;
}

START_TEST(an_interval_s_ends_leave_half_of_what_is_left_on_either_side)
{
    static const struct {
        int good, samples;
        double confidence;
    } cases[] = { { 7, 13, 0.95 }, { 1, 50, 0.9 }, { 49, 50, 0.99 }, { 180, 300, 0.5 } };
    struct dw_yield yield;
    struct dw_error error = { .text = "" };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const int k = cases[i].good, n = cases[i].samples;
        const double tail = (1 - cases[i].confidence) / 2;
        succeeds(dw_yield_interval((unsigned)k, (unsigned)n, cases[i].confidence, &yield, &error), error);
        near(yield.share, (double)k / n, 1e-15);
        /* Clopper and Pearson 1934: the binomial's tails; lgamma of 300 carries some 1e-13 */
        near(at_least(k, n, yield.least), tail, 1e-9);
        near(1 - at_least(k + 1, n, yield.most), tail, 1e-9);
    }
    succeeds(dw_yield_interval(0, 20, 0.95, &yield, &error), error);
    ck_assert(yield.least == 0);
    near(yield.most, 1 - pow(0.025, 1.0 / 20), 1e-9);
    succeeds(dw_yield_interval(20, 20, 0.95, &yield, &error), error);
    ck_assert(yield.most == 1);
    near(yield.least, pow(0.025, 1.0 / 20), 1e-9);
}
END_TEST

START_TEST(an_interval_is_had_of_any_count)
{
    struct dw_yield yield, other;
    struct dw_error error = { .text = "" };
    for (int bits = 1; bits <= 40; bits++) {
        const unsigned long long n = 1ull << bits;
        const double samples = (double)n, wide = 1.959963984540054 / (2 * sqrt(samples)), step = 1 / samples;
        /* logarithms of some n carry some ulp of it; the density is some sqrt(n) in the middle, some n at the ends */
        const double rounding = 4 * sqrt(samples) * DBL_EPSILON;
        succeeds(dw_yield_interval(0, n, 0.95, &yield, &error), error);
        near(yield.most, -expm1(log(0.025) / samples), 1e-9 + samples * DBL_EPSILON);
        /* all or none, half and half: the two ends are each other's mirror images */
        succeeds(dw_yield_interval(n, n, 0.95, &other, &error), error);
        within_scale(other.least, 1 - yield.most, 4 * DBL_EPSILON, 1);
        succeeds(dw_yield_interval(n / 2, n, 0.95, &yield, &error), error);
        within_scale(yield.least + yield.most, 1, 2 * rounding, 1);
        /* the normal law with half a step more on either side; what it leaves out is of the next order */
        if (bits >= 8)
            within_scale(yield.most, 0.5 + wide + step / 2, 3 * step * wide + 2 * step * step + rounding, 1);
    }
}
END_TEST

/* Loading grows with the resistor alone: of a spread of 20 % either way, three quarters keep a limit 10 % above the middle. */
static const struct dw_filter_task task = { .frequency = 1e4, .high = 5, .levels = 256, .duty = 0.37, .load = 1e5, .band = 0.02,
                                            .ripple = INFINITY, .settling = INFINITY, .overshoot = INFINITY, .loading = 0.0517,
                                            .pin_current = INFINITY, .coil_current = INFINITY };
static struct dw_filter three_quarters(void)
{
    const double r = 1e5 * 0.0517 / (1 - 0.0517) / 1.1;
    return (struct dw_filter){ .stages = 1, .r = { { r, 0.2, NAN } }, .c = { { 220e-9, 0.1, NAN } } };
}

START_TEST(yield_is_the_share_that_keeps_the_limit)
{
    enum { COUNT = 40000 };
    const struct dw_filter filter = three_quarters();
    struct dw_yield yield;
    struct dw_error error = { .text = "" };
    succeeds(dw_filter_yield(&task, &filter, &(struct dw_yield_samples){ 5, 0, COUNT, 0.95 }, &yield, &error), error);
    within_scale(yield.share, 0.75, 5 * sqrt(0.75 * 0.25 / COUNT), 1);
    ck_assert(yield.least < yield.share && yield.share < yield.most);
}
END_TEST

START_TEST(samples_are_the_same_however_they_are_shared_out)
{
    const struct dw_filter filter = three_quarters();
    struct dw_yield whole, part;
    struct dw_error error = { .text = "" };
    succeeds(dw_filter_yield(&task, &filter, &(struct dw_yield_samples){ 9, 0, 1000, 0.95 }, &whole, &error), error);
    for (unsigned long long pieces = 1; pieces <= 13; pieces += 3) {
        unsigned long long good = 0, from = 0;
        for (unsigned long long k = 0; k < pieces; k++) {
            const unsigned long long to = 1000 * (k + 1) / pieces;
            succeeds(dw_filter_yield(&task, &filter, &(struct dw_yield_samples){ 9, from, to - from, 0.95 }, &part, &error), error);
            good += part.good;
            from = to;
        }
        ck_assert_uint_eq(good, whole.good);
    }
    succeeds(dw_filter_yield(&task, &filter, &(struct dw_yield_samples){ 10, 0, 1000, 0.95 }, &part, &error), error);
    ck_assert_uint_ne(part.good, whole.good);
}
END_TEST

/* A pin of two resistances ripples by the smaller one and settles by the larger one: without spreads all samples are the worst case. */
START_TEST(a_pin_of_two_resistances_is_judged_by_both)
{
    const struct dw_filter filter = { .stages = 1, .r = { { 1e3, 0, NAN } }, .c = { { 220e-9, 0, NAN } } };
    struct dw_filter_task pin = { .frequency = 20e3, .high = 3.3, .levels = 256, .duty = NAN, .source = 200, .source_low = 90, .load = 10e3,
                                   .band = 0.02, .ripple = INFINITY, .settling = INFINITY, .overshoot = INFINITY, .loading = INFINITY,
                                   .pin_current = INFINITY, .coil_current = INFINITY };
    struct dw_error error = { .text = "" };
    struct dw_filter_figures worst;
    bool exact;
    succeeds(dw_filter_worst(&pin, &filter, &worst, &exact, &error), error);
    double *const limits[] = { &pin.ripple, &pin.settling, &pin.loading, &pin.pin_current };
    const double found[] = { worst.ripple, worst.settling, worst.loading, worst.pin_current };
    for (int i = 0; i < 4; i++)
        for (int within = 0; within < 2; within++) {
            struct dw_yield yield;
            *limits[i] = found[i] * (within ? 1 + 1e-9 : 1 - 1e-9);
            succeeds(dw_filter_yield(&pin, &filter, &(struct dw_yield_samples){ 1, 0, 10, 0.95 }, &yield, &error), error);
            ck_assert_msg(yield.good == (within ? 10 : 0), "limit %d, within %d: %llu", i, within, yield.good);
            *limits[i] = INFINITY;
        }
}
END_TEST

/* Nearly settled within the first period, (1 - exp(-x))/x of it missing: with spreads of one half that share of samples is not. */
START_TEST(what_settles_at_once_does_so_in_the_samples_that_count)
{
    for (int spread = 0; spread < 2; spread++) {
        const struct dw_part resistor = { 1e3, spread * 0.5, NAN }, capacitor = { 10e-9, 0, NAN };
        struct dw_error error = { .text = "" };
        struct dw_choice_wish wish = ladders(dw_parts_new(&resistor, 1, &error), dw_parts_new(&capacitor, 1, &error));
        struct dw_choices *choices;
        wish.most_stages = 1;
        wish.task.frequency = 1e5 / 51;  /* x = 51; the band is 1/50 */
        wish.task.settling = 1;
        wish.yield = 0.9;
        wish.samples = 200;
        succeeds(dw_choose(&wish, &choices, &error), error);
        const struct dw_filter_figures *worst = &dw_choices_get(choices, 0)->worst;
        ck_assert(worst->settling_at_most == !spread && (worst->settling > 1 / wish.task.frequency) == spread);
        dw_choices_free(choices);
        wish_free(&wish);
    }
}
END_TEST

/* A farad that leaks within a picosecond: the ladder's own time constants are lost beside that. At 1 Mohm no ripple is a number, at
 * 38 kohm that of some samples is none: those keep no limit. */
START_TEST(samples_without_a_number_as_a_figure_do_not_count)
{
    static const double ohms[] = { 1e6, 38e3 };
    for (int i = 0; i < 2; i++) {
        const struct dw_part resistor = { ohms[i], 0.5, NAN }, capacitor = { 1, 0.5, NAN };
        struct dw_error error = { .text = "" };
        struct dw_choice_wish wish = ladders(dw_parts_new(&resistor, 1, &error), dw_parts_new(&capacitor, 1, &error));
        struct dw_choices *choices;
        struct dw_yield yield;
        wish.least_stages = 2;
        wish.task.insulation = 1e-12;
        wish.task.ripple = 1;
        wish.yield = 0.5;
        wish.samples = 100;
        ck_assert_int_eq(dw_choose(&wish, &choices, &error), i ? DW_OK : DW_NO);
        if (i) {
            const struct dw_choice *choice = dw_choices_get(choices, 0);
            ck_assert(isfinite(choice->worst.ripple) && isfinite(choice->worst.settling) && choice->margin <= 1);
            succeeds(dw_filter_yield(&wish.task, &choice->filter, &(struct dw_yield_samples){ 0, 0, 100, 0.95 }, &yield, &error), error);
            ck_assert(yield.good > 50 && yield.good < 100);
        }
        dw_choices_free(choices);
        wish_free(&wish);
    }
}
END_TEST

/* A damper of a picofarad beside 10 kF: its charge is lost in rounding, or just not. */
START_TEST(samples_that_nothing_damps_do_not_count)
{
    const struct dw_part coil = { 1, 0, NAN }, bulk = { 1e4, 0, NAN };
    struct dw_filter filter = { .stages = 1, .l = coil, .c = { bulk } };
    struct dw_error error = { .text = "" };
    struct dw_choice_wish wish = ladders(NULL, dw_parts_new(&bulk, 1, &error));
    struct dw_choices *choices;
    wish.coils = dw_parts_new(&coil, 1, &error);
    wish.least_stages = wish.most_stages = 0;
    wish.task.ripple = 1;
    wish.task.duty = 0.5;
    for (int samples = 1; samples >= 0; samples--) {
        wish.samples = samples ? 20 : 0;
        wish.yield = samples ? 0.2 : 0;
        ck_assert_int_eq(dw_choices_merge(&wish, &filter, 1, &choices, &error), DW_NO);
        dw_choices_free(choices);
    }
    wish.yield = 0.2;
    wish.samples = 20;
    filter.rd = (struct dw_part){ 1, 0, NAN };
    filter.cd = (struct dw_part){ 1e-12, 0.5, NAN };
    succeeds(dw_choices_merge(&wish, &filter, 1, &choices, &error), error);
    ck_assert(isfinite(dw_choices_get(choices, 0)->worst.ripple) && dw_choices_get(choices, 0)->margin <= 1);
    dw_choices_free(choices);
    wish_free(&wish);
}
END_TEST

START_TEST(what_makes_no_yield_is_refused)
{
    struct dw_filter filter = three_quarters();
    struct dw_filter_task wrong = task;
    struct dw_yield yield;
    struct dw_error error;
    static const char *const message = "a yield needs samples, no more good ones, and a confidence between 0 and 1";
    refuses(dw_yield_interval(3, 2, 0.95, &yield, &error), DW_BAD_USE, error, message);
    refuses(dw_yield_interval(0, 0, 0.95, &yield, &error), DW_BAD_USE, error, message);
    refuses(dw_yield_interval(1, 2, 1, &yield, &error), DW_BAD_USE, error, message);
    refuses(dw_yield_interval(1, 2, 0, &yield, &error), DW_BAD_USE, error, message);
    refuses(dw_yield_interval(1, (1ull << 40) + 1, 0.95, &yield, &error), DW_BAD_USE, error,
            "1099511627777 samples: at most 1099511627776 can be counted");
    refuses(dw_yield_interval(1, 2, NAN, &yield, &error), DW_BAD_USE, error, message);
    wrong.levels = 1;
    refuses(dw_filter_yield(&wrong, &filter, &(struct dw_yield_samples){ 1, 0, 10, 0.95 }, &yield, &error), DW_BAD_USE, error, "levels must be at least 2");
    filter.c[0].value = 0;
    refuses(dw_filter_yield(&task, &filter, &(struct dw_yield_samples){ 1, 0, 10, 0.95 }, &yield, &error), DW_BAD_USE, error,
            "the parts make neither RC stages nor one stage with a coil");
}
END_TEST

START_TEST(the_samples_needed_are_the_fewest_whose_interval_begins_there)
{
    static const double shares[] = { 0.5, 0.9, 0.95, 0.99 };
    struct dw_error error = { .text = "" };
    struct dw_yield yield;
    unsigned long long needed;
    for (size_t i = 0; i < sizeof shares / sizeof shares[0]; i++) {
        succeeds(dw_yield_needed(shares[i], 1234, 0.95, &needed, &error), error);
        succeeds(dw_yield_interval(needed, 1234, 0.95, &yield, &error), error);
        ck_assert(yield.least >= shares[i]);
        succeeds(dw_yield_interval(needed - 1, 1234, 0.95, &yield, &error), error);
        ck_assert(yield.least < shares[i]);
    }
    succeeds(dw_yield_needed(0.95, 72, 0.95, &needed, &error), error);
    ck_assert_uint_eq(needed, 72);
    refuses(dw_yield_needed(0.95, 71, 0.95, &needed, &error), DW_BAD_USE, error, "71 samples cannot show a yield of 95%: 72 can");
    refuses(dw_yield_needed(1, 71, 0.95, &needed, &error), DW_BAD_USE, error, "a yield must lie between 0 and 1");
    refuses(dw_yield_needed(0.9, 0, 0.95, &needed, &error), DW_BAD_USE, error,
            "a yield needs samples, no more good ones, and a confidence between 0 and 1");
}
END_TEST

SUITE("design: yield", the_samples_needed_are_the_fewest_whose_interval_begins_there, philox_gives_the_numbers_of_its_authors, draws_are_spread_evenly_and_independent,
      an_interval_s_ends_leave_half_of_what_is_left_on_either_side, an_interval_is_had_of_any_count, yield_is_the_share_that_keeps_the_limit,
      samples_are_the_same_however_they_are_shared_out, a_pin_of_two_resistances_is_judged_by_both,
      what_settles_at_once_does_so_in_the_samples_that_count,
      samples_without_a_number_as_a_figure_do_not_count, samples_that_nothing_damps_do_not_count, what_makes_no_yield_is_refused)
