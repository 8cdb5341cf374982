/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "figure/curve.h"
#include "suite.h"
#include <math.h>

enum { MOST_ROWS = 40000 };

/* A panel of 800 by 400 pixels, lines of 4 pixels, x from 0 to 1, y from -1 to 1. */
static const struct axis x_axis = { 0, 1, false, "s", { 0 } }, y_axis = { -1, 1, false, "V", { 0 } };
static const struct frame panel = { NULL, { 100, 900, 50, 450 }, &x_axis, &y_axis, 4, 27 };

struct found {
    size_t columns, dense;
    double from, to;    /* of the dense ones, pixels */
    double low, high;   /* over the middle half of them */
    double cover;
};

static struct found find(double (*value)(double), size_t rows, enum trace_style style)
{
    struct dw_error error = { .text = "" };
    struct reduction *reduction = reduction_new(1, 4 * 1280, &error);
    ck_assert_ptr_nonnull(reduction);
    for (size_t i = 0; i <= rows; i++) {
        const double x = (double)i / (double)rows, y = value(x);
        succeeds(reduction_add(reduction, x, &y, NULL, &error), error);
    }
    const struct trace trace = { "out", reduction, 0, style, 0, false, 0 };
    struct bands bands;
    succeeds(bands_find(&bands, &panel, &trace, &error), error);
    struct found found = { bands.count, 0, INFINITY, -INFINITY, INFINITY, -INFINITY, bands.cover };
    for (size_t i = 0; i < bands.count; i++)
        if (bands.at[i].dense) {
            found.dense++;
            found.from = fmin(found.from, bands.at[i].x);
            found.to = fmax(found.to, bands.at[i].x);
            found.low = fmin(found.low, bands.at[i].low);
            found.high = fmax(found.high, bands.at[i].high);
        }
    ck_assert_int_eq(found.dense > 0, bands.any);
    bands_free(&bands);
    reduction_free(reduction);
    return found;
}

static double train(double x, double pulses)
{
    return fmod(x * pulses, 1) < 0.27 ? 0.6 : -0.4;
}

static double slope(double x) { return x - 0.5; }
static double steep(double x) { return x < 0.5 ? -0.9 : fmin(-0.9 + (x - 0.5) * 300, 0.9); }
static double slow_sine(double x) { return 0.9 * sin(20 * x); }
static double lone_pulse(double x) { return x > 0.4301 && x < 0.4307 ? 0.8 : -0.1; }
static double three_pulses(double x) { return x > 0.43 && x < 0.439 ? train(x - 0.43, 333.3) : -0.4; }
static double flat_noise(double x) { return 0.01 * sin(1e5 * x * x); }
static double sparse(double x) { return train(x, 100); }
static double dense(double x) { return train(x, 1000); }
static double burst(double x) { return x > 0.25 && x < 0.75 ? train(x, 1000) : 0.1; }

START_TEST(only_where_strokes_would_merge_there_is_a_band)
{
    static const struct { double (*value)(double); bool band; } cases[] = {
        { slope, false }, { steep, false }, { slow_sine, false }, { lone_pulse, false }, { three_pulses, false },
        { flat_noise, false }, { sparse, false }, { dense, true }, { burst, true },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        ck_assert_msg((find(cases[i].value, MOST_ROWS, TRACE_LINES).dense > 0) == cases[i].band, "case %zu", i);
}
END_TEST

START_TEST(a_band_reaches_from_the_lowest_to_the_highest_value_and_over_the_whole_train)
{
    const struct found all = find(dense, MOST_ROWS, TRACE_LINES), part = find(burst, MOST_ROWS, TRACE_LINES);
    /* 0.6 and -0.4 of -1..1 over 400 pixels above 50 */
    ck_assert(all.dense == all.columns && all.from == 100 && all.to >= 899);
    ck_assert(fabs(all.high - 370) < 1e-9 && fabs(all.low - 170) < 1e-9);
    ck_assert(all.cover == 0);
    /* the burst is 300 to 700; it is felt 1.25 widths of 4 pixels and a column before and behind it */
    ck_assert(part.from >= 294 && part.from <= 300 && part.to >= 699 && part.to <= 706);
    ck_assert(fabs(part.high - 370) < 1e-9 && fabs(part.low - 170) < 1e-9);
}
END_TEST

START_TEST(what_is_no_band_tells_how_densely_it_paints)
{
    /* 100 pulses of half the panel's height: 200 edges of a pixel in 800; some ten thousand roundings of places in them */
    near(find(sparse, MOST_ROWS, TRACE_LINES).cover, 200 * 0.5 / 800, 1e-11);
    ck_assert(find(dense, MOST_ROWS, TRACE_MARKS).cover == 0);
}
END_TEST

SUITE("figure: bands", only_where_strokes_would_merge_there_is_a_band,
      a_band_reaches_from_the_lowest_to_the_highest_value_and_over_the_whole_train, what_is_no_band_tells_how_densely_it_paints)
