/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/light.h>
#include <float.h>

static const double PI = 3.14159265358979323846;

static struct dw_light_meter *made(double period, double accuracy, double share)
{
    struct dw_error error = { .status = DW_OK };
    const struct dw_channel_facts facts = { NAN, accuracy, share };
    struct dw_light_meter *meter = dw_light_meter_new(&(struct dw_light_plan){ period, 0.25e-3, facts, facts, "a wave" }, &error);
    ck_assert_msg(meter != NULL, "%s", error.text);
    return meter;
}

static void row(struct dw_light_meter *meter, double time, double light, double slope)
{
    struct dw_error error = { .status = DW_OK };
    succeeds(dw_light_meter_row(meter, (const double[]){ time, light, slope, light, slope }, &error), error);
}

static struct dw_light ended(struct dw_light_meter *meter)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_light light;
    succeeds(dw_light_meter_finish(meter, &light, &error), error);
    dw_light_meter_free(meter);
    return light;
}

/* One cubic a period, up and down between 0 and 1 as u^2 (3 - 2 u) in each half, cut anywhere: mean 1/2, and above it a quarter of u^2 (3 - 2u)
 * from 1/2 to 1 less a half: 13/32 - 1/4 for each half of a whole of 1/2. */
START_TEST(a_cubic_cut_anywhere_is_the_same)
{
    for (double cut = 0; cut < 1; cut += 0.083) {
        struct dw_light_meter *meter = made(2e-3, NAN, NAN);
        for (int k = 0; k < 7; k++) {
            const double at = 0.25e-3 + k * 1e-3, u = k % 2 ? 1 - cut : cut;
            row(meter, at, k % 2, 0);
            if (cut > 0)
                row(meter, at + cut * 1e-3, u * u * (3 - 2 * u), (k % 2 ? -1 : 1) * 6 * u * (1 - u) / 1e-3);
        }
        row(meter, 7.25e-3, 1, 0);
        const struct dw_light light = ended(meter);
        near(light.from, 4.25e-3, 1e-13);
        near(light.mean, 0.5, 1e-12);
        near(light.index, (13 / 32.0 - 1 / 4.0) * 2, 1e-11);
        near(light.flicker, 1, 1e-12);
        near(light.current_rms, sqrt(13 / 35.0), 1e-12);  /* u^4 (3 - 2 u)^2 over 0 to 1 */
        near(light.lightness, dw_lightness(0.5), 1e-12);
        ck_assert(!isnan(light.visibility) && light.visibility_bound == 0);
    }
}
END_TEST

/* A cubic that turns inside a piece: minimum and area count what lies between rows. y = 1 - 6 u (1 - u) m on [0, 1]: mean 1 - m, least
 * 1 - 1.5 m; above the mean where |u - 1/2| > 1/sqrt(12). */
START_TEST(what_turns_between_rows_counts)
{
    const double m = 0.43, width = 1 / sqrt(12), above = 2 * m * 6 * (width * (0.25 - width * width / 3)) - 2 * m * width;
    struct dw_light_meter *meter = made(1e-3, NAN, NAN);
    for (int k = 0; k < 4; k++) {
        row(meter, 0.25e-3 + k * 1e-3, 1, -6 * m / 1e-3);
        row(meter, 0.25e-3 + (k + 1) * 1e-3, 1, 6 * m / 1e-3);
    }
    const struct dw_light light = ended(meter);
    near(light.minimum, 1 - 1.5 * m, 1e-13);
    near(light.mean, 1 - m, 1e-13);
    near(light.index, above / (1 - m), 1e-12);
}
END_TEST

/* Darkness has no flicker; light that stands has none either. */
START_TEST(what_stands_does_not_flicker)
{
    for (int lit = 0; lit <= 1; lit++) {
        struct dw_light_meter *meter = made(5e-3, NAN, NAN);
        row(meter, 0, lit, 0);
        row(meter, 1, lit, 0);
        const struct dw_light light = ended(meter);
        ck_assert_double_eq(light.mean, lit);
        ck_assert_double_eq(light.flicker, 0);
        within_scale(light.index, 0, 1e-15, 1);
        within_scale(light.visibility, 0, 1e-13, 1);
    }
}
END_TEST

/* Rows that are off by as much as their accuracy says move what they give by no more than the bounds. */
START_TEST(bounds_hold_what_the_accuracy_leaves_in_doubt)
{
    const double off = 1e-4;
    struct dw_light found[2];
    for (int i = 0; i < 2; i++) {
        struct dw_light_meter *meter = made(5e-3, off, 1);
        for (int k = 0; k <= 600; k++) {
            const double angle = 2 * PI * k / 200, wrong = i * off * cos(angle);
            row(meter, 0.25e-3 + k * 25e-6, 0.4 + 0.21 * cos(angle) + wrong, -(0.21 + i * off) * sin(angle) * 2 * PI * 200);
        }
        found[i] = ended(meter);
    }
    ck_assert_double_eq(found[0].mean_bound, off);
    ck_assert(fabs(found[1].flicker - found[0].flicker) > 0.1 * off && fabs(found[1].flicker - found[0].flicker) <= found[0].flicker_bound);
    ck_assert(fabs(found[1].index - found[0].index) > 0.01 * off && fabs(found[1].index - found[0].index) <= found[0].index_bound);
    ck_assert(fabs(found[1].visibility - found[0].visibility) > 0.1 * off &&
              fabs(found[1].visibility - found[0].visibility) <= found[0].visibility_bound);
    ck_assert(found[0].lightness_bound > 1e-3 && found[0].lightness_bound < 0.1);
}
END_TEST

START_TEST(a_record_without_a_whole_period_is_refused)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_light light;
    for (int period = 0; period <= 1; period++) {
        struct dw_light_meter *meter = made(period * 5e-3, NAN, NAN);
        row(meter, 0.3e-3, 1, 0);
        if (period)
            row(meter, 5.2e-3, 1, 0);
        refuses(dw_light_meter_finish(meter, &light, &error), DW_BAD_INPUT, error,
                period ? "a wave: it holds no whole period of light" : "a wave: it holds no whole period of light, since no time passes");
        dw_light_meter_free(meter);
    }
    /* without a period the record is one */
    struct dw_light_meter *meter = made(0, NAN, NAN);
    row(meter, 0, 1, 0);
    row(meter, 1, 1, 0);
    row(meter, 1, 0, 0);
    row(meter, 4, 0, 0);
    near(ended(meter).mean, 0.25, 1e-14);
}
END_TEST

SUITE("measure: light", a_cubic_cut_anywhere_is_the_same, what_turns_between_rows_counts, what_stands_does_not_flicker,
      bounds_hold_what_the_accuracy_leaves_in_doubt, a_record_without_a_whole_period_is_refused)
