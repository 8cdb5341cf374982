/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/counter.h>
#include <float.h>

enum { PRESCALES = 5 };
static const unsigned long long prescales[PRESCALES] = { 1, 4, 6, 18, 250 };

static struct dw_counter_wish wish_of(double frequency, unsigned long long levels)
{
    return (struct dw_counter_wish){ .clock = 18e6, .prescales = prescales, .prescale_count = PRESCALES, .bits = 14,
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
        { 97, 1, 6, 15464, 15464, DW_COUNT_UP_DOWN, 18e6 / (6 * 2 * 15464) / 97. - 1 },
        { 1098.6, 1, 1, 16383, 16384, DW_COUNT_UP, 18e6 / 16384 / 1098.6 - 1 },
        { 800, 1, 1, 11250, 11250, DW_COUNT_UP_DOWN, 0 },     /* before 5625 counts up at 4, exact too, of fewer steps */
        { 800, 11500, 1, 11500, 11500, DW_COUNT_UP_DOWN, 18e6 / (2 * 11500) / 800 - 1 },
        { 6000, 3000, 1, 2999, 3000, DW_COUNT_UP, 0 },
        { 1e6, 1, 1, 17, 18, DW_COUNT_UP, 0 },                /* before 9 up and down, exact too, of fewer steps */
        { 4.39453125, 1, 250, 16383, 16384, DW_COUNT_UP, 0 }, /* before 8192 up and down at 250 */
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
    near(settings[0].frequency, 90e3, DBL_EPSILON);
    ck_assert_int_eq(settings[0].counter.counting, DW_COUNT_UP);
    ck_assert_uint_eq(settings[0].counter.largest, 199);
    near(settings[1].frequency, 45e3, DBL_EPSILON);
    ck_assert_uint_eq(settings[1].counter.largest, 200);
    for (size_t i = 0; i < count; i++) {
        ck_assert_uint_eq(settings[i].steps, 200);
        ck_assert(i == 0 || settings[i].frequency < settings[i - 1].frequency);
    }
    wish.levels = 16384;  /* only counting up has so many */
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

static const unsigned long long far_apart[] = { 1, 4096 };

START_TEST(what_would_fit_does_fit_and_is_the_least_change)
{
    static const struct {
        struct dw_counter_wish wish;
        double values[DW_COUNTER_CHANGES];  /* by kind; 0: not offered */
    } cases[] = {
        /* too slow for 14 bits behind 250: the slowest is 18e6/(250 32766) = 2.197 Hz; 72,000 counts are 16 bits up and down */
        { { 18e6, prescales, PRESCALES, 14, true, true, 1, 1, 0.05 },
          { 18e6 / (250 * 32766), 18e6 / (250 * 32766) - 1, 250 * 32766, 0, 16, 550 } },
        /* too fast for 200 levels: 90 kHz at most; at 1 MHz and up to 5 % slower, 18 steps: 19 would be 5.3 % off */
        { { 18e6, prescales, PRESCALES, 14, true, true, 1e6, 200, 0.05 }, { 90e3, 0.91, 200e6, 18, 0, 0 } },
        /* between two prescales: behind 1 the slowest is 8.8 kHz, behind 4096 the fastest 2.2 kHz */
        { { 18e6, far_apart, 2, 10, true, true, 5e3, 1, 0.05 },
          { 18e6 / 8192, 1 - 18e6 / 8192 / 5e3, 5e3 * 8192, 0, 11, 2 } },
        /* more levels than bits */
        { { 18e6, prescales, PRESCALES, 14, true, false, 0, 20000, 0.05 }, { 0, 0, 0, 16384, 15, 0 } },
        /* nearly there, but not near enough: 1960.8 Hz is the slowest behind 18; 512.8 counts are 513 up, of 10 bits */
        { { 18e6, prescales, PRESCALES, 8, true, true, 1950, 100, 0.001 },
          { 18e6 / (18 * 510), 18e6 / (18 * 510) / 1950 - 1, 1950. * 18 * 510, 0, 10, 19 } },
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
