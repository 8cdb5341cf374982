/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/counter.h>
#include <float.h>

enum { PRESCALES = 5 };
static const unsigned long long prescales[PRESCALES] = { 1, 8, 64, 256, 1024 };

static struct dw_counter_wish wish_of(double frequency, unsigned long long levels)
{
    return (struct dw_counter_wish){ .clock = 16e6, .prescales = prescales, .prescale_count = PRESCALES, .bits = 8,
                                     .up = true, .up_down = true, .frequency = frequency, .levels = levels,
                                     .within = 0.05 };
}

START_TEST(the_nearest_setting_comes_first)
{
    static const struct {
        double frequency;
        unsigned long long levels, prescale, largest, steps;
        enum dw_counting counting;
        double error;
    } cases[] = {
        { 490.2, 1, 64, 255, 255, DW_COUNT_UP_DOWN, 16e6 / (64 * 510) / 490.2 - 1 },
        { 976.6, 1, 64, 255, 256, DW_COUNT_UP, 16e6 / (64 * 256) / 976.6 - 1 },
        { 500, 1, 64, 250, 250, DW_COUNT_UP_DOWN, 0 },        /* before 125 counts up at 256, exact too, of fewer steps */
        { 500, 255, 64, 255, 255, DW_COUNT_UP_DOWN, 16e6 / (64 * 510) / 500 - 1 },
        { 62500, 256, 1, 255, 256, DW_COUNT_UP, 0 },
        { 1e6, 1, 1, 15, 16, DW_COUNT_UP, 0 },                /* before 8 up and down, exact too, of fewer steps */
        { 61.03515625, 1, 1024, 255, 256, DW_COUNT_UP, 0 },   /* before 128 up and down at 1024 */
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct dw_counter_wish wish = wish_of(cases[i].frequency, cases[i].levels);
        struct dw_counter_setting settings[2 * PRESCALES];
        size_t count;
        struct dw_error error;
        succeeds(dw_counter_settings(&wish, settings, &count, &error), error);
        ck_assert_msg(settings[0].counter.prescale == cases[i].prescale && settings[0].counter.largest == cases[i].largest
                          && settings[0].counter.counting == cases[i].counting && settings[0].steps == cases[i].steps,
                      "%g Hz: prescale %llu, count to %llu, way %d, %llu steps", cases[i].frequency,
                      settings[0].counter.prescale, settings[0].counter.largest, (int)settings[0].counter.counting,
                      settings[0].steps);
        within_scale(settings[0].error, cases[i].error, 4 * DBL_EPSILON, 1);
    }
}
END_TEST

START_TEST(without_a_frequency_the_fastest_with_enough_steps_comes_first)
{
    struct dw_counter_wish wish = wish_of(0, 200);
    struct dw_counter_setting settings[2 * PRESCALES];
    size_t count;
    struct dw_error error;
    succeeds(dw_counter_settings(&wish, settings, &count, &error), error);
    ck_assert_uint_eq(count, 2 * PRESCALES);
    near(settings[0].frequency, 80e3, DBL_EPSILON);
    ck_assert_int_eq(settings[0].counter.counting, DW_COUNT_UP);
    ck_assert_uint_eq(settings[0].counter.largest, 199);
    near(settings[1].frequency, 40e3, DBL_EPSILON);
    ck_assert_uint_eq(settings[1].counter.largest, 200);
    for (size_t i = 0; i < count; i++) {
        ck_assert_uint_eq(settings[i].steps, 200);
        ck_assert(i == 0 || settings[i].frequency < settings[i - 1].frequency);
    }
    wish.levels = 256;  /* only counting up has so many */
    succeeds(dw_counter_settings(&wish, settings, &count, &error), error);
    ck_assert_uint_eq(count, PRESCALES);
}
END_TEST

static unsigned long long state = 20250117;
static double uniform(void)  /* linear congruence, Knuth's multiplier: a fixed crooked sequence */
{
    state = state * 6364136223846793005ull + 1442695040888963407ull;
    return (double)(state >> 11) * 0x1p-53;
}

START_TEST(no_count_of_any_prescale_is_nearer_and_all_that_fit_are_there)
{
    for (int round = 0; round < 3000; round++) {
        const unsigned long long some[3] = { 1 + (unsigned long long)(uniform() * 5), 7, 10 + (unsigned long long)(uniform() * 90) };
        const struct dw_counter_wish wish = {
            .clock = 1e6 * (1 + uniform()), .prescales = some, .prescale_count = 3, .bits = 2 + (int)(uniform() * 6),
            .up = uniform() < 0.7, .up_down = true, .frequency = pow(10, 2 + 4 * uniform()),
            .levels = 1 + (unsigned long long)(uniform() * 30), .within = round % 2 ? 0.05 * uniform() : INFINITY,
        };
        struct dw_counter_setting settings[6];
        struct dw_error error;
        size_t count, expected = 0, found = 0;
        const enum dw_status status = dw_counter_settings(&wish, settings, &count, &error);
        for (int counting = DW_COUNT_UP; counting <= DW_COUNT_UP_DOWN; counting++)
            for (int p = 0; p < 3; p++) {
                double best = INFINITY;
                for (unsigned long long largest = 1; largest < 1ull << wish.bits; largest++) {
                    const struct dw_counter counter = { wish.clock, some[p], largest, (enum dw_counting)counting };
                    if (dw_counter_steps(&counter) >= wish.levels)
                        best = fmin(best, fabs(dw_counter_frequency(&counter) - wish.frequency) / wish.frequency);
                }
                if (!(best <= wish.within && best < INFINITY) || (counting == DW_COUNT_UP && !wish.up))
                    continue;
                expected++;
                for (size_t i = 0; i < count; i++)
                    found += settings[i].counter.prescale == some[p] && (int)settings[i].counter.counting == counting
                             && fabs(settings[i].error) == best;
            }
        ck_assert_uint_eq(count, expected);
        ck_assert_uint_eq(found, expected);
        ck_assert_int_eq(status, expected ? DW_OK : DW_NO);
        for (size_t i = 1; i < count; i++)
            ck_assert(fabs(settings[i].error) > fabs(settings[i - 1].error)
                      || (fabs(settings[i].error) == fabs(settings[i - 1].error)
                          && settings[i].steps <= settings[i - 1].steps));
    }
}
END_TEST

static const unsigned long long far_apart[] = { 1, 1024 };

START_TEST(what_would_fit_does_fit_and_is_the_least_change)
{
    static const struct {
        struct dw_counter_wish wish;
        double values[DW_COUNTER_CHANGES];  /* by kind; 0: not offered */
    } cases[] = {
        /* too slow for 8 bits behind 1024: the slowest is 16e6/(1024 510) = 30.637 Hz */
        { { 16e6, prescales, PRESCALES, 8, true, true, 1, 1, 0.05 },
          { 16e6 / (1024 * 510), 16e6 / (1024 * 510) - 1, 1024 * 510, 0, 13, 31373 } },
        /* too fast for 200 levels: 80 kHz at most; at 1 MHz and up to 5 % slower, 16 steps: 17 would be 5.9 % off */
        { { 16e6, prescales, PRESCALES, 8, true, true, 1e6, 200, 0.05 }, { 80e3, 0.92, 200e6, 16, 0, 0 } },
        /* between two prescales: behind 1 the slowest is 31.4 kHz, behind 1024 the fastest 7.8 kHz */
        { { 16e6, far_apart, 2, 8, true, true, 20e3, 1, 0.05 },
          { 16e6 / 510, 16e6 / 510 / 20e3 - 1, 20e3 * 510, 0, 9, 2 } },
        /* more levels than bits */
        { { 16e6, prescales, PRESCALES, 8, true, false, 0, 300, 0.05 }, { 0, 0, 0, 256, 9, 0 } },
        /* nearly there, but not near enough: 490.2 and 492.1 Hz lie about 491 */
        { { 16e6, prescales, PRESCALES, 8, true, true, 491, 100, 0.001 },
          { 16e6 / (64 * 510), 1 - 16e6 / (64 * 510) / 491, 491 * 64 * 510, 0, 9, 66 } },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct dw_counter_wish *wish = &cases[i].wish;
        struct dw_counter_setting settings[2 * PRESCALES];
        struct dw_counter_change changes[DW_COUNTER_CHANGES];
        struct dw_error error;
        size_t count, change = 0;
        refuses(dw_counter_settings(wish, settings, &count, &error), DW_NO, error, "no setting of the counter fits");
        ck_assert_uint_eq(count, 0);
        succeeds(dw_counter_changes(wish, changes, &count, &error), error);
        for (int kind = 0; kind < DW_COUNTER_CHANGES; kind++) {
            const double value = cases[i].values[kind];
            if (value == 0) {
                ck_assert_msg(change == count || (int)changes[change].kind != kind, "case %zu, kind %d: %g offered", i, kind,
                              changes[change].value);
                continue;
            }
            ck_assert_msg(change < count && (int)changes[change].kind == kind, "case %zu, kind %d: none offered", i, kind);
            within_scale(changes[change].value, value, 8 * DBL_EPSILON, fmax(value, 1));
            struct dw_counter_wish changed = *wish;
            const unsigned long long prescale = (unsigned long long)changes[change].value;
            switch (changes[change].kind) {
            case DW_CHANGE_FREQUENCY: changed.frequency = changes[change].value; break;
            case DW_CHANGE_WITHIN: changed.within = changes[change].value; break;
            case DW_CHANGE_CLOCK: changed.clock = changes[change].value; break;
            case DW_CHANGE_LEVELS: changed.levels = prescale; break;
            case DW_CHANGE_BITS: changed.bits = (int)prescale; break;
            case DW_CHANGE_PRESCALE: changed.prescales = &prescale, changed.prescale_count = 1; break;
            }
            size_t fitting;
            succeeds(dw_counter_settings(&changed, settings, &fitting, &error), error);
            ck_assert_double_eq(settings[0].frequency, changes[change].setting.frequency);
            ck_assert_uint_eq(settings[0].steps, changes[change].setting.steps);
            change++;
        }
        ck_assert_uint_eq(change, count);
    }
}
END_TEST

START_TEST(impossible_wishes_are_refused)
{
    static const unsigned long long zero[] = { 8, 0 }, huge[] = { 4294967297 };
    static const struct {
        struct dw_counter_wish wish;
        const char *text;
    } cases[] = {
        { { 0, prescales, 1, 8, true, true, 500, 1, 0.05 }, "a clock of 0 Hz: it must be above zero" },
        { { NAN, prescales, 1, 8, true, true, 500, 1, 0.05 }, "a clock of nan Hz: it must be above zero" },
        { { INFINITY, prescales, 1, 8, true, true, 500, 1, 0.05 }, "a clock of inf Hz: it must be above zero" },
        { { 1e6, prescales, 1, 8, true, true, INFINITY, 1, 0.05 }, "a wanted frequency of inf Hz: it must be above zero" },
        { { 1e6, prescales, 0, 8, true, true, 500, 1, 0.05 }, "no prescale: there must be one at least, 1 for none" },
        { { 1e6, zero, 2, 8, true, true, 500, 1, 0.05 }, "a prescale of 0: it must be a whole number from 1 to 4294967296" },
        { { 1e6, huge, 1, 8, true, true, 500, 1, 0.05 },
          "a prescale of 4294967297: it must be a whole number from 1 to 4294967296" },
        { { 1e6, prescales, 1, 0, true, true, 500, 1, 0.05 }, "a counter of 0 bits: it must have from 1 to 32" },
        { { 1e6, prescales, 1, 33, true, true, 500, 1, 0.05 }, "a counter of 33 bits: it must have from 1 to 32" },
        { { 1e6, prescales, 1, 8, false, false, 500, 1, 0.05 },
          "a counter that counts no way: it must count up, or up and down" },
        { { 1e6, prescales, 1, 8, true, true, -500, 1, 0.05 }, "a wanted frequency of -500 Hz: it must be above zero" },
        { { 1e6, prescales, 1, 8, true, true, NAN, 1, 0.05 }, "a wanted frequency of nan Hz: it must be above zero" },
        { { 1e6, prescales, 1, 8, true, true, 500, 0, 0.05 }, "0 levels: there must be one at least" },
        { { 1e6, prescales, 1, 8, true, true, 500, 1, -0.05 }, "an error within -0.05: it must be zero or above" },
        { { 1e6, prescales, 1, 8, true, true, 500, 1, NAN }, "an error within nan: it must be zero or above" },
        { { 1e6, prescales, 1, 8, true, true, 0, 1, 0.05 }, "neither frequency nor levels are wanted: give one" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_counter_setting settings[4];
        struct dw_counter_change changes[DW_COUNTER_CHANGES];
        struct dw_error error;
        size_t count;
        refuses(dw_counter_settings(&cases[i].wish, settings, &count, &error), DW_BAD_USE, error, cases[i].text);
        if (cases[i].wish.frequency != 0)
            refuses(dw_counter_changes(&cases[i].wish, changes, &count, &error), DW_BAD_USE, error, cases[i].text);
    }
}
END_TEST

SUITE("design: counter settings", the_nearest_setting_comes_first,
      without_a_frequency_the_fastest_with_enough_steps_comes_first,
      no_count_of_any_prescale_is_nearer_and_all_that_fit_are_there, what_would_fit_does_fit_and_is_the_least_change,
      impossible_wishes_are_refused)
