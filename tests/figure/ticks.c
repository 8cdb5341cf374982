/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "figure/text.h"
#include "figure/ticks.h"
#include "suite.h"
#include <dutywright/value.h>
#include <gsl/gsl_rng.h>
#include <string.h>

/* Ten pixels a character. */
static double ten_a_character(void *context, const char *text)
{
    (void)context;
    return 10.0 * (double)text_length(text);
}

static struct ticks chosen(struct axis axis, double length, int most)
{
    struct ticks ticks;
    ticks_choose(&ticks, &axis, &(struct label_space){ length, 20, most, ten_a_character, NULL });
    return ticks;
}

/* All labels of an axis with two blanks between. */
static const char *labels(const struct ticks *ticks)
{
    static char joined[MOST_TICKS * TICK_TEXT];
    *joined = 0;
    for (int i = 0; i < ticks->count; i++)
        if (*ticks->at[i].text) {
            strcat(joined, *joined ? "  " : "");
            strcat(joined, ticks->at[i].text);
        }
    return joined;
}

START_TEST(labels_are_round_values_in_engineering_units)
{
    static const struct {
        struct axis axis;
        double length;
        const char *want;
    } cases[] = {
        { { 0, 5.3e-3, false, "s", { 0 } }, 600, "0  1 ms  2 ms  3 ms  4 ms  5 ms" },
        { { 0, 5.3e-3, false, "s", { 0 } }, 300, "0  2 ms  4 ms" },
        { { -0.25, 5.25, false, "V", { 0 } }, 500, "0  1 V  2 V  3 V  4 V  5 V" },
        { { 0, 0.82, false, "V", { 0 } }, 500, "0  200 mV  400 mV  600 mV  800 mV" },
        { { 0, 1.3, false, "A", { 0 } }, 500, "0  0.2 A  0.4 A  0.6 A  0.8 A  1.0 A  1.2 A" },
        { { -1.1e-9, 1.1e-9, false, "V", { 0 } }, 500, "-1.0 nV  -0.5 nV  0  0.5 nV  1.0 nV" },
        { { 0, 3.1e9, false, "Hz", { 0 } }, 500, "0  1 GHz  2 GHz  3 GHz" },
        { { 0, 4300, false, "s", { 0 } }, 500, "0  1000 s  2000 s  3000 s  4000 s" }, /* nobody says kiloseconds */
        { { 0, 47e-6, false, "s", { 0 } }, 500, "0  10 \xc2\xb5s  20 \xc2\xb5s  30 \xc2\xb5s  40 \xc2\xb5s" },
        { { 0, 4.2e3, false, "ohm", { 0 } }, 400, "0  1 k\xce\xa9  2 k\xce\xa9  3 k\xce\xa9  4 k\xce\xa9" },
        { { -180, 180, false, "deg", { 0 } }, 600, "-180\xc2\xb0  -90\xc2\xb0  0  90\xc2\xb0  180\xc2\xb0" },
        { { -93, 4, false, "deg", { 0 } }, 600, "-90\xc2\xb0  -75\xc2\xb0  -60\xc2\xb0  -45\xc2\xb0  -30\xc2\xb0  -15\xc2\xb0  0" },
        { { -83, 4, false, "dB", { 0 } }, 500, "-80 dB  -60 dB  -40 dB  -20 dB  0" },
        { { 0, 31, false, "degC", { 0 } }, 300, "0  10 \xc2\xb0" "C  20 \xc2\xb0" "C  30 \xc2\xb0" "C" },
        { { 0, 1.05, false, "1", { 0 } }, 300, "0  0.2  0.4  0.6  0.8  1.0" },
        { { 0, 2.3e9, false, "1", { 0 } }, 300, "0  5e8  1e9  1.5e9  2e9" },
        { { 0, 1.1e-13, false, "1", { 0 } }, 500, "0  2e-14  4e-14  6e-14  8e-14  1e-13" },
        { { 0, 4.7e-7, false, "degC", { 0 } }, 500, "0  1e-7 \xc2\xb0" "C  2e-7 \xc2\xb0" "C  3e-7 \xc2\xb0" "C  4e-7 \xc2\xb0" "C" },
        { { 1e-30, 1e4, true, "1", { 0 } }, 700, "1e-30  1e-24  1e-18  1e-12  0.000001  1" },
        { { 2.0000001e-14, 2.0000004e-14, false, "1", { 0 } }, 400, "2.0000001e-14  +1e-21  +2e-21  +3e-21" },
        /* only late digits differ: all of them once, then what is added */
        { { 1000, 1000.0002, false, "s", { 0 } }, 500, "1000 s  +50 \xc2\xb5s  +100 \xc2\xb5s  +150 \xc2\xb5s  +200 \xc2\xb5s" },
        { { 4.9999499, 4.9999521, false, "V", { 0 } }, 500, "4.99995 V  +0.5 \xc2\xb5V  +1.0 \xc2\xb5V  +1.5 \xc2\xb5V  +2.0 \xc2\xb5V" },
        { { 1, 1e5, true, "Hz", { 0 } }, 700, "1 Hz  10 Hz  100 Hz  1 kHz  10 kHz  100 kHz" },
        { { 0.9e-3, 0.12, true, "s", { 0 } }, 700, "1 ms  2 ms  5 ms  10 ms  20 ms  50 ms  100 ms" },
        { { 210, 480, true, "Hz", { 0 } }, 500, "300 Hz  400 Hz" },
        { { 0, 3e148, false, "V", { 0 } }, 500, "0  1e148 V  2e148 V  3e148 V" }, /* beyond all prefixes */
        { { 0, 3e-30, false, "V", { 0 } }, 500, "0  1e-30 V  2e-30 V  3e-30 V" },
        { { 1e-165, 1e165, true, "V", { 0 } }, 700, "1e-144 V  1e-96 V  1e-48 V  1 V  1e48 V  1e96 V  1e144 V" },
        { { 1e-140, 1e140, true, "V", { 0 } }, 700, "1e-96 V  1e-48 V  1 V  1e48 V  1e96 V" },
        { { 1e-9, 1e9, true, "V", { 0 } }, 500, "1 nV  1 \xc2\xb5V  1 mV  1 V  1 kV  1 MV  1 GV" },
        /* little room: rather two close together, or far apart, than one */
        { { -1.6e-3, 4.1e-3, false, "A", { 0 } }, 160, "0  2 mA  4 mA" },
        { { -1.6e-3, 4.1e-3, false, "A", { 0 } }, 90, "0  4 mA" },
        { { 1.2483, 1.2517, false, "V", { 0 } }, 200, "1.249 V  1.251 V" },
        { { 1.2483, 1.2517, false, "V", { 0 } }, 60, "1.250 V" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct ticks ticks = chosen(cases[i].axis, cases[i].length, 8);
        ck_assert_str_eq(labels(&ticks), cases[i].want);
    }
}
END_TEST

/* The value that a label says, by the parser of the command line. */
static double said(const char *text)
{
    double value = NAN;
    struct dw_error error;
    succeeds(dw_quantity_parse(text, DW_VOLTAGE, &value, &error), error);
    return value;
}

static void check_labels(const struct ticks *ticks, const struct axis *axis, double length)
{
    double end = -HUGE_VAL, first = NAN;
    for (int i = 0; i < ticks->count; i++) {
        const struct tick *tick = &ticks->at[i];
        const double centre = length * axis_place(axis, tick->value);
        ck_assert(i == 0 || tick->value > ticks->at[i - 1].value);
        ck_assert_msg(centre >= -1e-6 * length && centre <= length * (1 + 1e-6), "%.17g to %.17g %d: %.17g", axis->low, axis->high,
                      axis->logarithmic, tick->value);
        if (!*tick->text)
            continue;
        const double half = ten_a_character(NULL, tick->text) / 2;
        ck_assert_msg(centre - half >= end, "%s overlaps its neighbour: %s", tick->text, labels(ticks));
        end = centre + half + 5; /* 20 where there is room: the cases above */
        if (isnan(first))
            first = said(tick->text);
        const bool counts = *tick->text == '+';
        /* the label is exact in decimal; the tick is rounded a few times, its difference to the first at their size */
        within_scale(tick->value, (counts ? first : 0) + said(tick->text), 8e-16, fmax(fabs(axis->low), fabs(axis->high)));
    }
}

START_TEST(labels_say_the_value_and_never_overlap_on_any_axis)
{
    gsl_rng *random = gsl_rng_alloc(gsl_rng_taus);
    gsl_rng_set(random, 20);
    int few = 0;
    for (int i = 0; i < 20000; i++) {
        const double size = pow(10, 24 * gsl_rng_uniform(random) - 12), length = 200 + 1500 * gsl_rng_uniform(random);
        const bool logarithmic = i % 4 == 0;
        struct axis axis = { size * (2 * gsl_rng_uniform(random) - 1), 0, logarithmic, "V", { 0 } };
        axis.high = axis.low + size * pow(10, -8 * gsl_rng_uniform(random));
        if (logarithmic) {
            axis.low = size;
            axis.high = size * pow(10, 12 * gsl_rng_uniform_pos(random));
        }
        const struct ticks ticks = chosen(axis, length, 9);
        check_labels(&ticks, &axis, length);
        int labelled = 0;
        for (int k = 0; k < ticks.count; k++)
            labelled += *ticks.at[k].text != 0;
        ck_assert_int_le(labelled, 9);
        few += labelled < 2;
    }
    /* a short axis of long numbers may have room for one label only; most have two and more */
    ck_assert_int_lt(few, 600);
    gsl_rng_free(random);
}
END_TEST

START_TEST(an_axis_shows_what_it_should)
{
    const struct {
        double low, high;
        bool logarithmic;
        double want_low, want_high;
    } cases[] = {
        { 0, 5, false, -0.25, 5.25 },
        { 1, 5, false, -0.25, 5.25 },        /* zero is near */
        { 4, 5, false, 3.95, 5.05 },         /* zero is far */
        { -5, -1, false, -5.25, 0.25 },
        { 2.5, 2.5, false, -0.125, 2.625 },  /* flat */
        { -3, -3, false, -3.15, 0.15 },
        { 0, 0, false, -1.1, 1.1 },
        { 1.25, 1.25 * (1 + 1e-15), false, -0.0625, 1.3125 }, /* flat but for rounding */
        { 1e-100, 1e-100, false, -0.05e-100, 1.05e-100 },
        { -1.7e308, 1.7e308, false, -1.1e150, 1.1e150 },      /* the ends of the range of doubles */
        { 1e-320, 2e-320, false, -1.1, 1.1 },
        { 1e-320, 1e-140, true, 1e-150 / pow(10, 0.5), 1e-140 * pow(10, 0.5) },
        { 1, 1e20, true, 0.1, 1e21 },
        { 7, 7, true, 3.5, 14 },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct axis axis = { cases[i].low, cases[i].high, cases[i].logarithmic, "V", { 0 } };
        axis_widen(&axis);
        near(axis.low, cases[i].want_low, 1e-13); /* a few roundings; pow() of 20 decades 1e-14 */
        near(axis.high, cases[i].want_high, 1e-13);
    }
}
END_TEST

START_TEST(an_axis_of_a_few_neighbouring_doubles_does_no_harm)
{
    const struct axis axes[] = { { 1e6, 1e6 * (1 + 4e-16), false, "s", { 0 } }, { -3, nextafter(-3, 0), false, "V", { 0 } },
                                 { 7, 7 * (1 + 1e-14), true, "Hz", { 0 } }, { 1, 1 + 1e-13, false, "V", { 0 } } };
    for (size_t i = 0; i < sizeof axes / sizeof axes[0]; i++) {
        const struct ticks ticks = chosen(axes[i], 500, 9);
        ck_assert_int_le(ticks.count, MOST_TICKS);
        ck_assert(axis_is_flat(&axes[i]) == (i < 3)); /* 64 epsilons are 1.4e-14 */
    }
}
END_TEST

SUITE("figure: ticks", an_axis_of_a_few_neighbouring_doubles_does_no_harm, labels_are_round_values_in_engineering_units,
      labels_say_the_value_and_never_overlap_on_any_axis, an_axis_shows_what_it_should)
