/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Frequency, duty and transition durations of waves whose edges are known. */
#include "measure/waves.h"
#include "suite.h"
#include <dutywright/measure.h>
#include <float.h>
#include <string.h>

static const struct pulse {
    double period, low, high, rise, width, fall, phase;
    bool key, plateaus;
} pulses[] = {
    { 0.00204, 0, 5, 1e-6, 0.0007, 2e-6, 0, true, true },
    { 0.00204, 0, 5, 1e-6, 0.0007, 2e-6, 0.3, false, true },
    { 2e-5, -1.3, 12.6, 3e-6, 4e-6, 5e-6, 0.9, false, true },
    { 2e-5, 0.2, 4.9, 3e-6, 4e-6, 5e-6, 0.55, true, false }, /* levels of the key, beyond its own plateaus */
    { 1.7, 0, 1, 0.4, 0.1, 0.5, 0.75, false, true },
    { 1.7, 3, 3.5, 0, 1.1, 0, 0.123, false, true },
};

/* Duty, 10 to 90 % of rise and fall between the levels low and high of a trapezoid. */
static void check(const struct pulse *p, const struct dw_meter *meter, double low, double high)
{
    const double share = (high - low) / (p->high - p->low), offset = ((high + low) - (p->high + p->low)) / 2 / (p->high - p->low);
    const double duty = (p->width + (p->rise + p->fall) * (0.5 - offset)) / p->period;
    /* instants are rounded to ulp(40 periods) and an instant on an edge moves with the level's rounding */
    const double allowed = 80 * DBL_EPSILON;
    near(measured(meter, DW_MEASURE_FREQUENCY), 1 / p->period, allowed);
    within_scale(measured(meter, DW_MEASURE_DUTY), duty, allowed, 1);
    within_scale(measured(meter, DW_MEASURE_POSITIVE_TRANSITION), 0.8 * share * p->rise, allowed, p->period);
    within_scale(measured(meter, DW_MEASURE_NEGATIVE_TRANSITION), 0.8 * share * p->fall, allowed, p->period);
}

START_TEST(trapezoids_give_back_their_edges_wherever_the_span_begins)
{
    for (size_t i = 0; i < sizeof pulses / sizeof pulses[0]; i++) {
        const struct pulse *p = &pulses[i];
        /* the wave is shifted against the header's boundaries, so that any part of it may straddle them */
        struct wave wave = wave_pulses(-p->phase * p->period, p->period, 0, 40, p->low, p->high, p->rise, p->width, p->fall);
        char period[DW_NUMBER_SIZE];
        dw_number_print(period, p->period);
        struct dw_header *header = p->key ? header_with("period", period, "levels", "0 5", NULL) : header_with("period", period, NULL);
        const double low = p->key ? 0 : p->low, high = p->key ? 5 : p->high;
        static const struct dw_span spans[] = {
            { DW_SPAN_DEFAULT, 0, 0, 0 }, { DW_SPAN_LAST, 7, 0, 0 }, { DW_SPAN_LAST, 39, 0, 0 }, { DW_SPAN_ALL, 0, 0, 0 }
        };
        for (size_t s = 0; s < sizeof spans / sizeof spans[0]; s++) {
            struct dw_meter *meter = meter_of(header, &(struct dw_meter_options){ .span = spans[s] }, &wave);
            check(p, meter, low, high);
            struct dw_meter_note note;
            ck_assert_msg(!dw_meter_note(meter, 0, &note), "pulse %zu, span %zu: %s", i, s, note.text);
            dw_meter_free(meter);
        }
        const struct dw_meter_options between = { .span = { DW_SPAN_BETWEEN, 0, 3.3 * p->period, 17.9 * p->period } };
        struct dw_meter *meter = meter_of(header, &between, &wave);
        check(p, meter, low, high);
        double from, to, periods;
        dw_meter_span(meter, &from, &to, &periods);
        ck_assert(from == between.span.from && to == between.span.to && periods == 0);
        dw_meter_free(meter);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

START_TEST(levels_given_by_the_user_hold_whatever_the_table_says)
{
    struct wave wave = wave_pulses(0, 1, 0, 10, 0, 4, 0.1, 0.4, 0.1);
    struct dw_header *header = header_with("period", "1", "levels", "0 4", NULL);
    struct dw_meter *meter = meter_of(header, &(struct dw_meter_options){ .has_levels = true, .low = 0, .high = 2 }, &wave);
    within_scale(measured(meter, DW_MEASURE_POSITIVE_TRANSITION), 0.04, DBL_EPSILON, 10); /* instants up to 10 s */
    within_scale(measured(meter, DW_MEASURE_DUTY), 0.55, DBL_EPSILON, 10);
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* A wave that leaves its table's levels by more than half their distance is another wave: here a 12 V switch node. */
START_TEST(levels_of_the_table_hold_only_near_them)
{
    static const struct {
        double low, high, duration;
    } cases[] = { { 0, 12, 0.08 }, { 0, 8, 0.08 }, { -3, 5, 0.08 }, { 0, 7, 0.1 * 4 / 7 }, { -2, 5, 0.1 * 4 / 7 } };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct wave wave = wave_pulses(0, 1, 0, 10, cases[i].low, cases[i].high, 0.1, 0.4, 0.1);
        struct dw_header *header = header_with("period", "1", "levels", "0 5", NULL);
        struct dw_meter *meter = meter_of(header, NULL, &wave);
        within_scale(measured(meter, DW_MEASURE_POSITIVE_TRANSITION), cases[i].duration, DBL_EPSILON, 10); /* up to 10 s */
        dw_meter_free(meter);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

START_TEST(noise_on_the_levels_moves_them_little_and_makes_no_pulses)
{
    struct wave wave = { 0 };
    uint64_t seed = 909;
    for (int i = 0; i <= 20000; i++) {
        const double t = i * 1e-5, phase = fmod(t, 0.01);
        double value = phase < 0.003 ? 3.3 : 0.1;
        for (int k = 0; k < 4; k++)
            value += 0.03 * random_next(&seed); /* sigma 0.03 * sqrt(4 / 3) */
        wave_add(&wave, t, value);
    }
    struct dw_header *header = header_with(NULL, NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    /* an edge takes one sample, and its 50 % instant moves by noise / height of a sample: 1 % of 1e-5 s in 0.01 s;
     * the duty's own edges lie on samples, with the crossing half a sample before */
    near(measured(meter, DW_MEASURE_FREQUENCY), 100, 1e-4);
    within_scale(measured(meter, DW_MEASURE_DUTY), 0.3, 2e-4, 1);
    near(measured(meter, DW_MEASURE_POSITIVE_TRANSITION), 0.8e-5, 0.1);
    ck_assert(!noted(meter, "duty and transition durations left out: no two levels stand out; give them"));
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(a_triangle_has_a_frequency_but_no_levels_and_what_needs_them_is_left_out)
{
    struct wave wave = { 0 };
    for (int i = 0; i <= 21; i++)
        wave_add(&wave, i * 0.37, i % 2 ? 2.2 : 1.1);
    struct dw_header *header = header_with(NULL, NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    near(measured(meter, DW_MEASURE_FREQUENCY), 1 / 0.74, 1e-14);
    ck_assert(left_out(meter, DW_MEASURE_DUTY) && left_out(meter, DW_MEASURE_POSITIVE_TRANSITION) &&
              left_out(meter, DW_MEASURE_NEGATIVE_TRANSITION));
    ck_assert(noted(meter, "duty and transition durations left out: no two levels stand out; give them"));
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(turning_points_and_plateaus_between_slow_edges_are_levels)
{
    static const struct {
        enum { SINE, PARABOLAS, SLOW_EDGES, NARROW, SAW } shape;
        bool found;
    } cases[] = { { SINE, true }, { PARABOLAS, true }, { SLOW_EDGES, true }, { NARROW, true }, { SAW, false } };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct wave wave = { 0 };
        for (int k = 0; k <= 4000; k++) {
            const double t = k / 400.0, x = t - floor(t), half = x < 0.5 ? 4 * x - 1 : 3 - 4 * x;
            switch (cases[i].shape) {
            case SINE: wave_add(&wave, t, 2 + sin(2 * acos(-1) * t)); break;
            case PARABOLAS: wave_add(&wave, t, half * (2 - fabs(half))); break;
            case SLOW_EDGES: wave_add(&wave, t, fmin(fmax(1.5 * half, -1), 1)); break;
            case SAW: wave_add(&wave, t, x); break;
            case NARROW: wave_add(&wave, t, k % 400 == 200 || k % 400 == 201); break;
            }
        }
        struct dw_header *header = header_with("period", "1", NULL);
        struct dw_meter *meter = meter_of(header, NULL, &wave);
        ck_assert_int_ne(noted(meter, "duty and transition durations left out: no two levels stand out; give them"), cases[i].found);
        ck_assert_int_eq(left_out(meter, DW_MEASURE_DUTY), !cases[i].found);
        near(measured(meter, DW_MEASURE_FREQUENCY), 1, 1e-14);
        dw_meter_free(meter);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

/* A pulse that does not reach 90 %, a spike, and a step on an edge are no transitions of their own. */
START_TEST(runts_are_no_pulses)
{
    struct wave wave = { 0 };
    for (int k = 0; k < 8; k++) {
        static const double shape[][2] = { { 0, 0 },  { 0.1, 0 },  { 0.1, 5 },  { 0.3, 5 },   { 0.3, 1 },    { 0.33, 1 },  { 0.33, 5 },
                                           { 0.4, 5 }, { 0.45, 2 }, { 0.47, 3 }, { 0.5, 0 },  { 0.7, 0 },    { 0.71, 4 }, { 0.72, 0 } };
        for (size_t i = 0; i < sizeof shape / sizeof shape[0]; i++)
            wave_add(&wave, k + shape[i][0], shape[i][1]);
    }
    wave_add(&wave, 8, 0);
    struct dw_header *header = header_with("period", "1", "levels", "0 5", NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    near(measured(meter, DW_MEASURE_FREQUENCY), 1, 1e-15);
    /* falls through 2.5 at 0.4 + 0.05 * 2.5 / 3, and only then up again to 3 */
    near(measured(meter, DW_MEASURE_DUTY), 0.3 + 0.05 * 2.5 / 3, 1e-14);
    /* 90 % at 0.4 + 0.05 * 0.5 / 3, 10 % at 0.5 - 0.03 * 0.5 / 3 */
    near(measured(meter, DW_MEASURE_NEGATIVE_TRANSITION), 0.1 - (0.05 * 0.5 + 0.03 * 0.5) / 3, 1e-13);
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(what_has_no_transition_leaves_them_out_and_says_why)
{
    static const struct {
        double value, ripple;
        const char *levels;
        double duty;
        const char *note;
    } cases[] = {
        { 5, 0, "0 5", 1, "frequency and transition durations left out: it does not change" },
        { 0, 0, "0 5", 0, "frequency and transition durations left out: it does not change" },
        { 2, 0, "0 5", NAN, "frequency, duty and transition durations left out: it does not change" },
        { 1.25, 0.03, "0 5", NAN, "frequency, duty and transition durations left out: no transition between its levels 0 and 5" },
        { 0.2, 0.03, "0 5", NAN, "frequency, duty and transition durations left out: no transition between its levels 0 and 5" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct wave wave = { 0 };
        for (int k = 0; k <= 12; k++)
            wave_add(&wave, k * 0.25, cases[i].value + (k % 4 == 1 ? cases[i].ripple : 0));
        struct dw_header *header = header_with("period", "1", "levels", cases[i].levels, NULL);
        struct dw_meter *meter = meter_of(header, NULL, &wave);
        ck_assert_msg(noted(meter, cases[i].note), "case %zu", i);
        ck_assert(left_out(meter, DW_MEASURE_FREQUENCY) && left_out(meter, DW_MEASURE_POSITIVE_TRANSITION));
        if (isnan(cases[i].duty))
            ck_assert(left_out(meter, DW_MEASURE_DUTY));
        else
            ck_assert(measured(meter, DW_MEASURE_DUTY) == cases[i].duty);
        dw_meter_free(meter);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

/* Levels of the table are volts; a current has its own. */
START_TEST(levels_of_the_table_are_not_those_of_a_current)
{
    struct wave wave = wave_pulses(0, 1, 0, 10, 0, 4, 0.1, 0.4, 0.1);
    struct dw_header *header = header_with("period", "1", "carrier-period", "1", "levels", "0 5", NULL);
    struct dw_error error;
    succeeds(dw_header_rename(header, 1, "current", "A", &error), error);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    within_scale(measured(meter, DW_MEASURE_POSITIVE_TRANSITION), 0.08, DBL_EPSILON, 10); /* of 4 A, instants up to 10 s */
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* Values that rest in the middle, now a little above it and now a little below, with a spike to either side. */
START_TEST(a_plateau_between_the_levels_is_none)
{
    struct wave wave = { 0 };
    for (int i = 0; i < 40; i++)
        wave_add(&wave, i, i == 13 ? 0 : i == 27 ? 10 : i % 2 ? 4.99 : 5.01);
    struct dw_header *header = header_with(NULL, NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    ck_assert(noted(meter, "frequency, duty and transition durations left out: no two levels stand out; give them"));
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(values_too_large_to_square_have_a_mean_and_no_rms)
{
    static const double cases[][3] = { { 1e200, -1e200, 0 }, { 1.5e308, -1.5e308, 0 }, { 1e150, 1e150, 1e150 } };
    for (size_t k = 0; k < 3; k++) {
        struct wave wave = { 0 };
        for (int i = 0; i < 5; i++)
            wave_add(&wave, i, cases[k][i % 2]);
        struct dw_header *header = header_with(NULL, NULL);
        struct dw_meter *meter = meter_of(header, NULL, &wave);
        within_scale(measured(meter, DW_MEASURE_MEAN), cases[k][2], 4 * DBL_EPSILON, cases[k][0]);
        ck_assert(left_out(meter, DW_MEASURE_RMS) == (k < 2) && left_out(meter, DW_MEASURE_AC_RMS) == (k < 2));
        ck_assert(noted(meter, "rms and ac-rms left out: its values are too large to be squared") == (k < 2));
        dw_meter_free(meter);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

/* Two rises at one instant, as far as times so late are told apart: there is no length to divide by. */
START_TEST(pulses_shorter_than_time_has_digits_have_no_frequency)
{
    struct wave wave = { 0 };
    const double t = 0x1p53; /* where doubles are 2 apart */
    wave_add(&wave, t, -1e9);
    wave_add(&wave, t + 2, 5);
    wave_add(&wave, t + 2, 0);
    wave_add(&wave, t + 4, 1e9);
    struct dw_header *header = header_with(NULL, NULL);
    const struct dw_meter_options options = { .has_levels = true, .low = 0, .high = 5 };
    struct dw_meter *meter = meter_of(header, &options, &wave);
    ck_assert(left_out(meter, DW_MEASURE_FREQUENCY) && left_out(meter, DW_MEASURE_DUTY));
    ck_assert(noted(meter, "frequency and duty left out: the span holds no whole cycle"));
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* So many channels, all the same one, have room for 64 vertices: a period that fills it puts out the one before, which is all
 * that was whole. */
START_TEST(a_long_period_takes_the_room_of_those_before)
{
    enum { CHANNELS = 8200 };
    struct wave wave = { 0 };
    for (int period = 0; period < 2; period++)
        for (int i = period; i <= (period ? 60 : 10); i++)
            wave_add(&wave, 100 * period + i, i / 2 % 2 ? 5 : 0);
    wave_add(&wave, 200, 0);
    size_t column[CHANNELS];
    for (size_t c = 0; c < CHANNELS; c++)
        column[c] = 1;
    struct dw_header *header = header_with("period", "100", NULL);
    const struct dw_meter_options options = { .column = column, .channels = CHANNELS, .span = { DW_SPAN_LAST, 2, 0, 0 },
                                              .has_levels = true, .low = 0, .high = 5 };
    struct dw_meter *meter = meter_of(header, &options, &wave);
    double from, to, periods;
    dw_meter_span(meter, &from, &to, &periods);
    ck_assert(from == 0 && to == 200 && periods == 2);
    near(measured(meter, DW_MEASURE_FREQUENCY), 15 / 100.0, DBL_EPSILON); /* 60 rows hold 15 pulses of 4 */
    ck_assert(noted(meter, "frequency, duty and transition durations are those of the last 1 of 2 periods: more were not kept"));
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(a_single_edge_gives_its_duration_only)
{
    struct wave wave = { 0 };
    wave_add(&wave, 0, 0);
    wave_add(&wave, 1, 0);
    wave_add(&wave, 1.5, 4);
    wave_add(&wave, 3, 4);
    struct dw_header *header = header_with(NULL, NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    near(measured(meter, DW_MEASURE_POSITIVE_TRANSITION), 0.4, 1e-14);
    ck_assert(left_out(meter, DW_MEASURE_FREQUENCY) && left_out(meter, DW_MEASURE_DUTY));
    ck_assert(left_out(meter, DW_MEASURE_NEGATIVE_TRANSITION));
    ck_assert(noted(meter, "frequency and duty left out: the span holds no whole cycle"));
    ck_assert(noted(meter, "negative-transition-duration left out: no complete negative-going transition"));
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* More vertices than are kept: the first part's levels serve, and the answer is the same. */
START_TEST(long_spans_are_measured_without_keeping_them)
{
    enum { PULSES = 150000 }; /* 4 rows each of 16 bytes: 9.6 MB, where 4 MiB are kept */
    struct wave wave = wave_pulses(0, 1, 0, PULSES, -0.7, 3.1, 0.1, 0.25, 0.2);
    char whole[DW_NUMBER_SIZE];
    dw_number_print(whole, PULSES);
    char half[DW_NUMBER_SIZE];
    dw_number_print(half, PULSES / 2); /* one after the other is too long to keep */
    const char *const keys[][3] = {
        { NULL, NULL, NULL }, { "period", whole, NULL }, { "period", half, NULL }, { "period", "1", NULL }
    };
    const struct dw_span spans[] = {
        { DW_SPAN_ALL, 0, 0, 0 }, { DW_SPAN_LAST, 1, 0, 0 }, { DW_SPAN_LAST, 1, 0, 0 }, { DW_SPAN_LAST, 100000, 0, 0 }
    };
    for (size_t i = 0; i < 4; i++) {
        struct dw_header *header = header_with(keys[i][0], keys[i][1], NULL);
        struct dw_meter *meter = meter_of(header, &(struct dw_meter_options){ .span = spans[i] }, &wave);
        near(measured(meter, DW_MEASURE_FREQUENCY), 1, 1e-14);
        near(measured(meter, DW_MEASURE_DUTY), 0.4, 1e-9);  /* edges are rounded at ulp(150000) = 3e-11 */
        near(measured(meter, DW_MEASURE_POSITIVE_TRANSITION), 0.08, 1e-9);
        ck_assert_int_eq(noted(meter, "its levels are those of the first part of the span, which is long"), i < 3);
        struct dw_meter_note note;
        bool fewer = false;
        for (size_t k = 0; dw_meter_note(meter, k, &note); k++)
            fewer = fewer || strstr(note.text, " of 100000 periods: more were not kept");
        ck_assert_int_eq(fewer, i == 3);
        dw_meter_free(meter);
        dw_header_free(header);
    }
    wave_free(&wave);
}
END_TEST

SUITE("measure: pulses", trapezoids_give_back_their_edges_wherever_the_span_begins,
      levels_given_by_the_user_hold_whatever_the_table_says, levels_of_the_table_hold_only_near_them,
      noise_on_the_levels_moves_them_little_and_makes_no_pulses,
      a_triangle_has_a_frequency_but_no_levels_and_what_needs_them_is_left_out,
      turning_points_and_plateaus_between_slow_edges_are_levels, runts_are_no_pulses,
      what_has_no_transition_leaves_them_out_and_says_why, a_single_edge_gives_its_duration_only,
      long_spans_are_measured_without_keeping_them, levels_of_the_table_are_not_those_of_a_current,
      a_plateau_between_the_levels_is_none, values_too_large_to_square_have_a_mean_and_no_rms,
      pulses_shorter_than_time_has_digits_have_no_frequency, a_long_period_takes_the_room_of_those_before)
