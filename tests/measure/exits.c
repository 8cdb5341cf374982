/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/exits_inner.h"
#include "suite.h"
#include <float.h>
#include <stdint.h>
#include <stdlib.h>

/* xorshift64*: Vigna 2016, ACM TOMS 42:30; uniform in [-1, 1) */
static double next(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return (double)(int64_t)(*state * UINT64_C(2685821657736338717)) * 0x1p-63;
}

/* Last time at or above a level, by looking at every line. */
static bool brute(const double *time, const double *value, size_t count, double sign, double level, double *last)
{
    for (size_t i = count; i-- > 0;) {
        const double a = sign * value[i], wanted = sign * level;
        if (a >= wanted) {
            *last = time[i];
            if (i + 1 < count)
                *last += (time[i + 1] - time[i]) * ((a - wanted) / (a - sign * value[i + 1]));
            return true;
        }
    }
    return false;
}

enum shape { WALK, DECAY, NOISY_DECAY, JUMPS, PLATEAUS, SHAPES };

static void make(enum shape shape, uint64_t seed, double *time, double *value, size_t count)
{
    double level = 0;
    for (size_t i = 0; i < count; i++) {
        time[i] = shape == JUMPS ? (double)(i / 2) : (double)i * 0.73;
        switch (shape) {
        case WALK: level += next(&seed); break;
        case DECAY: level = exp(-(double)i * 9 / (double)count); break;
        case NOISY_DECAY: level = (1.5 + next(&seed)) * exp(-(double)i * 9 / (double)count); break;
        case JUMPS: level = next(&seed); break;
        case PLATEAUS: level = i % 50 ? level : floor(9 * next(&seed)); break;
        case SHAPES: break;
        }
        value[i] = level;
    }
}

START_TEST(last_exits_equal_a_search_through_every_line)
{
    enum { COUNT = 800 };
    for (int shape = 0; shape < SHAPES; shape++)
        for (int below = 0; below < 2; below++) {
            double time[COUNT], value[COUNT];
            uint64_t seed = 41 + (uint64_t)shape;
            make((enum shape)shape, seed, time, value, COUNT);
            struct exits exits = exits_new(below ? -1 : 1, SIZE_MAX);
            struct dw_error error;
            for (size_t i = 0; i < COUNT; i++)
                succeeds(exits_add(&exits, time[i], value[i], &error), error);
            for (int k = 0; k < 500; k++) {
                const double level = value[(size_t)((next(&seed) + 1) / 2 * COUNT)] + (k % 3 ? 0.01 * next(&seed) : 0);
                double want = NAN, got = NAN, bound, slope;
                const bool found = brute(time, value, COUNT, below ? -1 : 1, level, &want);
                ck_assert_int_eq(exits_last(&exits, level, &got, &bound, &slope), found);
                if (found)
                    within_scale(got, want, 1e-10, time[COUNT - 1]); /* where the line is nearly flat: eps * size / fall */
                ck_assert(bound == 0);
            }
            exits_free(&exits);
        }
}
END_TEST

START_TEST(thinned_exits_stay_within_the_bound_they_claim)
{
    enum { COUNT = 60000, MOST = 512 };
    static double time[COUNT], value[COUNT];
    for (int shape = 0; shape < SHAPES; shape++)
        for (int below = 0; below < 2; below++) {
            uint64_t seed = 5 + (uint64_t)shape;
            make((enum shape)shape, seed, time, value, COUNT);
            struct exits exits = exits_new(below ? -1 : 1, MOST);
            struct dw_error error;
            for (size_t i = 0; i < COUNT; i++) {
                succeeds(exits_add(&exits, time[i], value[i], &error), error);
                ck_assert_uint_le(exits.count, MOST);
            }
            for (int k = 0; k < 300; k++) {
                const double level = value[(size_t)((next(&seed) + 1) / 2 * COUNT)] + 1e-3 * next(&seed);
                double want = NAN, got = NAN, bound, slope;
                const bool found = brute(time, value, COUNT, below ? -1 : 1, level, &want);
                ck_assert_int_eq(exits_last(&exits, level, &got, &bound, &slope), found);
                if (found)
                    ck_assert_msg(fabs(got - want) <= bound + 1e-10 * time[COUNT - 1], "shape %d: %g from %g, claimed %g",
                                  shape, got, want, bound);
            }
            exits_free(&exits);
        }
}
END_TEST

/* The usual settling: a bound that says little would be no use. */
START_TEST(a_thinned_exponential_stays_close)
{
    enum { COUNT = 100000, MOST = 1024 };
    struct exits exits = exits_new(1, MOST);
    struct dw_error error;
    const double tau = COUNT / 20.0;
    for (int i = 0; i < COUNT; i++)
        succeeds(exits_add(&exits, i, exp(-i / tau), &error), error);
    double time, bound, slope;
    ck_assert(exits_last(&exits, 0.02, &time, &bound, &slope));
    near(time, -tau * log(0.02), 1e-4);
    ck_assert(bound > 0 && bound < 1e-3 * tau);
    near(slope, 0.02 / tau, 0.1);
    exits_free(&exits);
}
END_TEST

SUITE("measure: last exits", last_exits_equal_a_search_through_every_line,
      thinned_exits_stay_within_the_bound_they_claim, a_thinned_exponential_stays_close)
