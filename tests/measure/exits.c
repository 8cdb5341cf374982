/* SPDX-License-Identifier: GPL-3.0-or-later */
/* When a line was last at or beyond a level, asked as settling: the level is the edge of the band. */
#include "measure/waves.h"
#include "suite.h"
#include <dutywright/measure.h>
#include <float.h>
#include <stdio.h>

/* Last time at or above a level (sign -1: at or below), by looking at every line. */
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
        case WALK: level += random_next(&seed); break;
        case DECAY: level = exp(-(double)i * 9 / (double)count); break;
        case NOISY_DECAY: level = (1.5 + random_next(&seed)) * exp(-(double)i * 9 / (double)count); break;
        case JUMPS: level = random_next(&seed); break;
        case PLATEAUS: level = i % 50 ? level : floor(9 * random_next(&seed)); break;
        case SHAPES: break;
        }
        value[i] = level;
    }
}

/* A shape that then stays beyond all of it, on the other side of every level asked: so that one edge of the band counts. */
static double make_and_leave(enum shape shape, bool below, uint64_t seed, double *time, double *value, size_t count)
{
    make(shape, seed, time, value, count - 2);
    double furthest = value[0];
    for (size_t i = 1; i < count - 2; i++)
        furthest = below ? fmax(furthest, value[i]) : fmin(furthest, value[i]);
    value[count - 2] = value[count - 1] = furthest + (below ? 1 : -1);
    time[count - 2] = time[count - 3] + 1;
    time[count - 1] = 2 * time[count - 2];
    return value[count - 1];
}

/* A level near some value of the shape. */
static double pick(uint64_t *seed, const double *value, size_t count, double spread)
{
    const size_t at = (size_t)((random_next(seed) + 1) / 2 * (double)(count - 2));
    return value[at] + spread * random_next(seed);
}

/* Half as wide as the change, the band has this edge: the change starts twice as far from its end as the level is. */
static double start_for(double level, double final)
{
    return final + 2 * (level - final);
}

static double edge_for(double start, double final, bool below)
{
    return final + (below ? -1 : 1) * (0.5 * fabs(final - start));
}

START_TEST(last_exits_equal_a_search_through_every_line)
{
    enum { COUNT = 802 };
    for (int shape = 0; shape < SHAPES; shape++)
        for (int below = 0; below < 2; below++) {
            double time[COUNT], value[COUNT];
            uint64_t seed = 41 + (uint64_t)shape;
            const double final = make_and_leave((enum shape)shape, below, seed, time, value, COUNT);
            for (int k = 0; k < 500; k++) {
                const double level = pick(&seed, value, COUNT, k % 3 ? 0.01 : 0);
                const struct dw_settling_rule rule = { .initial = start_for(level, final), .band = 0.5 };
                struct dw_settling got;
                struct dw_error error;
                double want = NAN;
                const bool found = brute(time, value, COUNT, below ? -1 : 1, edge_for(rule.initial, final, below), &want);
                succeeds(dw_settling_from_means(time, value, COUNT, &rule, &got, &error), error);
                ck_assert_int_eq(got.state, found ? DW_SETTLED : DW_SETTLED_WITHIN);
                if (found) /* where the line is nearly flat: eps * size / fall */
                    within_scale(got.time, want, 1e-10, time[COUNT - 3]);
                ck_assert(got.time_bound == 0);
            }
        }
}
END_TEST

/* The last mean itself is then at the band's edge. */
START_TEST(a_band_below_the_rounding_of_the_last_mean_is_entered_at_the_end)
{
    static const double time[] = { 0, 1, 2.5, 4 }, mean[] = { 1, 1.7, 2, 2 };
    for (int side = -1; side <= 1; side += 2) {
        const struct dw_settling_rule rule = { .initial = 2 + side * 4 * DBL_EPSILON, .band = 0.02 };
        struct dw_settling got;
        struct dw_error error;
        succeeds(dw_settling_from_means(time, mean, 4, &rule, &got, &error), error);
        ck_assert(got.state == DW_SETTLED && got.time == 4 && got.time_bound == 0 && got.slope == 0);
    }
}
END_TEST

/* ---- the meter keeps less of each channel the more there are: here all have one wave ---- */

enum { MANY = 85, FEWER = 42 }; /* room for some 512 and 1024 candidates each */

/*   start  [channels], where the change of each starts; NULL: at its first value */
static struct dw_header *header_of_many(size_t channels, const double *start)
{
    struct dw_header *header = header_with("accuracy", "pin 1e-3", NULL);
    struct dw_error error;
    char name[32] = "pin";
    for (size_t c = 0; c < channels; c++) {
        if (c) {
            snprintf(name, sizeof name, "pin-%zu", c);
            succeeds(dw_header_append(header, name, "V", &error), error);
        }
        if (start)
            succeeds(dw_header_set_initial(header, 1 + c, start[c], &error), error);
    }
    return header;
}

static struct dw_meter *meter_of_many(const struct dw_header *header, double band, const double *time, const double *value,
                                      size_t count)
{
    struct dw_error error;
    double row[1 + MANY];
    struct dw_meter *meter = dw_meter_new(header, &(struct dw_meter_options){ .band = band }, &error);
    ck_assert_msg(meter != NULL, "%s", error.text);
    for (size_t i = 0; i < count; i++) {
        row[0] = time[i];
        for (size_t c = 1; c < dw_header_columns(header); c++)
            row[c] = value[i];
        succeeds(dw_meter_rows(meter, row, 1, &error), error);
    }
    succeeds(dw_meter_finish(meter, &error), error);
    return meter;
}

/* Shapes of which more candidates remain than there is room for, or nearly; for exits downwards, mirrored. */
START_TEST(thinned_exits_stay_within_the_bound_they_claim)
{
    enum { COUNT = 20002 };
    static double time[COUNT], value[COUNT];
    for (int shape = WALK; shape <= NOISY_DECAY; shape++)
        for (int below = 0; below < 2; below++) {
            uint64_t seed = 5 + (uint64_t)shape;
            double start[MANY];
            make_and_leave((enum shape)shape, false, seed, time, value, COUNT);
            for (size_t i = 0; i < COUNT; i++)
                value[i] = below ? -value[i] : value[i];
            const double final = value[COUNT - 1];
            for (size_t c = 0; c < MANY; c++)
                start[c] = start_for(pick(&seed, value, COUNT, 1e-3), final);
            struct dw_header *header = header_of_many(MANY, start);
            dw_header_drop(header, "accuracy");
            struct dw_meter *meter = meter_of_many(header, 0.5, time, value, COUNT);
            size_t thinned = 0;
            for (size_t c = 0; c < MANY; c++) {
                const struct dw_result got = dw_meter_result(meter, c, DW_MEASURE_SETTLING_TIME);
                double want = 0;
                brute(time, value, COUNT, below ? -1 : 1, edge_for(start[c], final, below), &want);
                ck_assert(got.had && !got.at_most);
                ck_assert_msg(fabs(got.value - want) <= got.bound + 1e-10 * time[COUNT - 3],
                              "shape %d: %g from %g, claimed %g", shape, got.value, want, got.bound);
                thinned += got.bound > 0;
            }
            ck_assert_uint_ge(thinned, shape == WALK ? 0 : MANY / 2); /* so that the check is one */
            dw_meter_free(meter);
            dw_header_free(header);
        }
}
END_TEST

/* The usual settling: a bound that says little would be no use. */
START_TEST(a_thinned_exponential_stays_close)
{
    enum { COUNT = 100002 };
    static double time[COUNT], value[COUNT];
    const double tau = COUNT / 20.0;
    for (size_t i = 0; i < COUNT; i++) {
        time[i] = i + 1 < COUNT ? (double)i : 2.0 * COUNT;
        value[i] = i + 2 < COUNT ? exp(-(double)i / tau) : 0;
    }
    struct dw_header *header = header_of_many(FEWER, NULL);
    struct dw_meter *meter = meter_of_many(header, 0.02, time, value, COUNT);
    const struct dw_result first = dw_meter_result(meter, 0, DW_MEASURE_SETTLING_TIME);
    const struct dw_result other = dw_meter_result(meter, 1, DW_MEASURE_SETTLING_TIME);
    ck_assert(first.had && other.had);
    near(other.value, -tau * log(0.02), 1e-4);
    ck_assert(other.bound > 0 && other.bound < 1e-3 * tau);
    near(1e-3 / (first.bound - other.bound), 0.02 / tau, 0.1); /* accuracy over slope is added to the bound */
    dw_meter_free(meter);
    dw_header_free(header);
}
END_TEST

SUITE("measure: last exits", last_exits_equal_a_search_through_every_line,
      a_band_below_the_rounding_of_the_last_mean_is_entered_at_the_end,
      thinned_exits_stay_within_the_bound_they_claim, a_thinned_exponential_stays_close)
