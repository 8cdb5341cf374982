/* SPDX-License-Identifier: GPL-3.0-or-later */
/* When a record counts as settled, and what is said where it has not, against the closed form of one RC stage. */
#include "measure/waves.h"
#include "suite.h"
#include <float.h>
#include <stdio.h>

/* Output of one RC stage behind ideal pulses from rest, in closed form, with `steps` lines a phase. */
static struct wave single_stage(double supply, double duty, double period, double tau, int periods, int steps)
{
    struct wave wave = { 0 };
    double start = 0;
    for (int k = 0; k < periods; k++)
        for (int phase = 0; phase < 2; phase++) {
            const double drive = phase ? 0 : supply, length = phase ? (1 - duty) * period : duty * period;
            for (int i = phase || k ? 1 : 0; i <= steps; i++)
                wave_add(&wave, k * period + (phase ? duty * period : 0) + length * i / steps,
                         drive + (start - drive) * exp(-length * i / steps / tau));
            start = drive + (start - drive) * exp(-length / tau);
        }
    return wave;
}

/* Mean over period k (from 0) of that output, from the charge balance tau dv/dt = drive - v. */
static double stage_mean(double supply, double duty, double period, double tau, int k)
{
    const double all = exp(-period / tau), high = supply * (1 - exp(-duty * period / tau)) * exp(-(1 - duty) * period / tau);
    const double before = high * (1 - pow(all, k)) / (1 - all), after = high * (1 - pow(all, k + 1)) / (1 - all);
    return supply * duty - tau / period * (after - before);
}

START_TEST(a_single_stage_settles_when_its_closed_form_does)
{
    static const struct {
        double duty, tau, band;
    } cases[] = { { 0.37, 9.4e-3, 0.02 }, { 0.25, 0.031, 0.002 }, { 0.71, 4.7e-4, 0.05 } };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const double period = 0.00204, supply = 4.87, duty = cases[i].duty, tau = cases[i].tau;
        const int periods = (int)ceil(40 * tau / period) + 10, steps = 100;
        struct wave wave = single_stage(supply, duty, period, tau, periods, steps);
        struct dw_header *header = header_with("period", "0.00204", "initial", "pin 0", "levels", "0 4.87", NULL);
        struct dw_meter *meter = meter_of(header, &(struct dw_meter_options){ .band = cases[i].band }, &wave);
        /* straight lines cut off at most (h/tau)^2 / 8 of the distance to the drive, 2/3 of it in the mean */
        const double step = period / steps / tau, lines = step * step / 12;
        const double final = stage_mean(supply, duty, period, tau, periods - 1);
        within_scale(measured(meter, DW_MEASURE_MEAN), final, lines, supply);
        const double on = exp(-duty * period / tau), off = exp(-(1 - duty) * period / tau);
        near(measured(meter, DW_MEASURE_RIPPLE), supply * (1 - on) * (1 - off) / (1 - on * off), 1e-12);
        const double half = cases[i].band * final;
        int k = periods - 1;
        while (k >= 0 && fabs(stage_mean(supply, duty, period, tau, k) - final) < half)
            k--;
        const struct dw_result settling = dw_meter_result(meter, 0, DW_MEASURE_SETTLING_TIME);
        ck_assert(settling.had && settling.at_most == (k < 0));
        if (k < 0) {
            near(settling.value, period, 1e-15);
        } else {
            const double outside = final - stage_mean(supply, duty, period, tau, k) - half;
            const double inside = final - stage_mean(supply, duty, period, tau, k + 1) - half;
            const double want = (k + 1 + outside / (outside - inside)) * period;
            /* means are off by `lines` of the supply each, over the slope of the mean there */
            within_scale(settling.value, want, 2 * lines * supply / ((outside - inside) / period), 1);
        }
        ck_assert(measured(meter, DW_MEASURE_OVERSHOOT) == 0);
        dw_meter_free(meter);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

/* The key, the option and the first row, in the order of their force. */
START_TEST(the_change_starts_from_the_option_else_the_key_else_the_first_row)
{
    struct wave wave = { 0 };
    for (int k = 0; k < 60; k++) { /* means k: 2 + 2^-(k+1) exactly */
        wave_add(&wave, k, 2 + ldexp(1, -k - 1));
        wave_add(&wave, k + 1, 2 + ldexp(1, -k - 1));
    }
    static const struct {
        const char *key;
        bool has_from;
        double from, change;
    } cases[] = { { NULL, false, 0, 0.5 }, { "pin 1", false, 0, 1 }, { "pin 1", true, -2, 4 } };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_header *header = header_with("period", "1", cases[i].key ? "initial" : NULL, cases[i].key, NULL);
        const struct dw_meter_options options = { .has_from = cases[i].has_from, .from = cases[i].from };
        struct dw_meter *meter = meter_of(header, &options, &wave);
        /* 2^-(k+1) against 2 % of the change: outside up to k, inside from k + 1 on */
        const double left = ldexp(1, -60), half = 0.02 * (cases[i].change - left) + left; /* of the last mean, and the band's edge */
        const double k = floor(-log2(half) - 1), outside = ldexp(1, (int)-k - 1);
        near(measured(meter, DW_MEASURE_SETTLING_TIME), k + 1 + (outside - half) / (outside / 2), 1e-12);
        dw_meter_free(meter);
        dw_header_free(header);
    }
    wave_free(&wave);
}
END_TEST

/* Settling goes by the switching period, the span by the whole repeat. */
START_TEST(means_for_settling_are_those_of_the_carrier_period)
{
    struct wave wave = { 0 };
    for (int k = 0; k < 40; k++) {
        wave_add(&wave, k, 2 + ldexp(1, -k - 1));
        wave_add(&wave, k + 1, 2 + ldexp(1, -k - 1));
    }
    struct dw_header *header = header_with("period", "20", "carrier-period", "1", NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    /* from 2.5 to 2 + 2^-40: 2^-7 is inside, 2^-6 outside, and the period with that mean ends at 6 */
    const double left = ldexp(1, -40), half = 0.02 * (0.5 - left) + left;
    near(measured(meter, DW_MEASURE_SETTLING_TIME), 6 + (1.0 / 64 - half) / (1.0 / 128), 1e-12);
    double from, to, periods;
    dw_meter_span(meter, &from, &to, &periods);
    ck_assert(from == 20 && to == 40 && periods == 1);
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(a_period_of_the_callers_counts_from_the_first_row)
{
    struct wave wave = wave_pulses(0.37, 2, 0, 5, 0, 5, 0, 0.5, 0);
    struct dw_header *header = header_with("period", "3", "origin", "0.1", NULL);
    struct dw_meter *meter = meter_of(header, &(struct dw_meter_options){ .period = 2 }, &wave);
    double from, to, periods;
    dw_meter_span(meter, &from, &to, &periods);
    ck_assert(fabs(from - 8.37) < 1e-14 && fabs(to - 10.37) < 1e-14 && periods == 1);
    near(measured(meter, DW_MEASURE_MEAN), 1.25, 1e-14);
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

START_TEST(without_periods_the_value_itself_settles)
{
    struct wave wave = { 0 };
    double last = 0;
    for (int i = 0; i <= 2000; i++)
        wave_add(&wave, i * 0.01, 3 - 3 * exp(-i * 0.01) * cos(i * 0.047));
    const double final = wave.row[2 * wave.count - 1], half = 0.02 * final;
    double most = 0;
    for (size_t i = 1; i < wave.count; i++) {
        const double *p = wave.row + 2 * i - 2;
        most = fmax(most, p[3]);
        for (int side = -1; side <= 1; side += 2) {
            const double a = p[1] - final - side * half, b = p[3] - final - side * half;
            if ((a > 0) != (b > 0))
                last = p[0] + (p[2] - p[0]) * (a / (a - b));
        }
    }
    struct dw_header *header = header_with(NULL, NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    near(measured(meter, DW_MEASURE_SETTLING_TIME), last, 1e-12);
    near(measured(meter, DW_MEASURE_OVERSHOOT), most / final - 1, 1e-12);
    dw_meter_free(meter);
    wave_free(&wave);
    /* a ramp is on its way to the last */
    wave_add(&wave, 0, 0);
    wave_add(&wave, 1, 1);
    meter = meter_of(header, NULL, &wave);
    ck_assert(left_out(meter, DW_MEASURE_SETTLING_TIME) && left_out(meter, DW_MEASURE_OVERSHOOT));
    ck_assert(noted(meter, "settling-time and overshoot left out: not settled in this record"));
    dw_meter_free(meter);
    /* there and back again */
    wave_add(&wave, 2, 0);
    meter = meter_of(header, NULL, &wave);
    ck_assert(noted(meter, "settling-time and overshoot left out: it ends where it began"));
    dw_meter_free(meter);
    wave_free(&wave);
    wave_add(&wave, 0, 4);
    wave_add(&wave, 1, 4);
    meter = meter_of(header, NULL, &wave);
    ck_assert(measured(meter, DW_MEASURE_SETTLING_TIME) == 0 && measured(meter, DW_MEASURE_OVERSHOOT) == 0);
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* In the band from the first row on, from a start that is given; into it by a jump, which has no slope. */
START_TEST(what_enters_the_band_at_once_settles_then)
{
    static const double cases[][3] = { { 0, 4.95, 0 }, { 0, 1, 2 } }; /* from, first value, settling-time */
    for (size_t k = 0; k < 2; k++) {
        struct wave wave = { 0 };
        wave_add(&wave, 0, cases[k][1]);
        wave_add(&wave, 2, cases[k][1]);
        wave_add(&wave, 2, 5);
        wave_add(&wave, 9, 5);
        struct dw_header *header = header_with("accuracy", "pin 1e-3", NULL);
        struct dw_meter *meter = meter_of(header, &(struct dw_meter_options){ .has_from = true, .from = cases[k][0] }, &wave);
        const struct dw_result settling = dw_meter_result(meter, 0, DW_MEASURE_SETTLING_TIME);
        ck_assert(settling.had && settling.value == cases[k][2] && !settling.at_most && settling.bound == 0);
        dw_meter_free(meter);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

/* What stands still has settled from the start, and its accuracy leaves no overshoot in doubt; behind a late step too little is left. */
START_TEST(a_record_without_a_change_or_without_time_says_so)
{
    struct wave still = { 0 }, pulses = wave_pulses(0, 1, 0, 9, 0, 5, 0, 0.3, 0);
    wave_add(&still, 0, 5);
    wave_add(&still, 9, 5);
    struct dw_header *header = header_with("accuracy", "pin 1e-3", NULL), *period = header_with("period", "1", "levels", "0 5", NULL);
    struct dw_meter *meter = meter_of(header, NULL, &still);
    const struct dw_result overshoot = dw_meter_result(meter, 0, DW_MEASURE_OVERSHOOT);
    ck_assert(measured(meter, DW_MEASURE_SETTLING_TIME) == 0 && overshoot.had && overshoot.value == 0 && overshoot.bound == 0);
    dw_meter_free(meter);
    meter = meter_of(period, &(struct dw_meter_options){ .has_step = true, .step_at = 8.2 }, &pulses);
    ck_assert(noted(meter, "settling-time and overshoot left out: the record holds fewer than two whole periods behind the step"));
    dw_meter_free(meter);
    struct dw_error error = { .status = DW_OK };
    meter = dw_meter_new(period, &(struct dw_meter_options){ .has_step = true, .step_at = -1 }, &error);
    succeeds(dw_meter_rows(meter, pulses.row, pulses.count, &error), error);
    refuses(dw_meter_finish(meter, &error), DW_BAD_INPUT, error, "the table: the step is said to be at -1 s, but the record runs from 0 s to 9 s");
    dw_meter_free(meter);
    dw_header_free(header);
    header = header_with("carrier-period", "20", "levels", "0 5", NULL);
    meter = meter_of(header, NULL, &pulses);
    ck_assert(left_out(meter, DW_MEASURE_SETTLING_TIME));
    dw_meter_free(meter);
    dw_header_free(header);
    /* where the accuracy is beyond all numbers the mean is told all the same */
    header = header_with("accuracy", "pin - 1e308", NULL);
    meter = meter_of(header, NULL, &pulses);
    near(measured(meter, DW_MEASURE_MEAN), 1.5, 1e-12);
    dw_meter_free(meter);
    dw_header_free(header);
    dw_header_free(period);
    wave_free(&still);
    wave_free(&pulses);
}
END_TEST

/* Of a thousand channels only 64 candidates each are kept for the last exit: the time is then as good as it says. */
START_TEST(thinned_candidates_limit_the_settling_time_and_say_so)
{
    enum { CHANNELS = 1000, ROWS = 1500 };
    struct dw_error error;
    struct dw_header *header = header_with(NULL, NULL);
    char name[DW_NUMBER_SIZE];
    for (int c = 1; c < CHANNELS; c++) {
        snprintf(name, sizeof name, "other-%d", c);
        succeeds(dw_header_append(header, name, "V", &error), error);
    }
    struct dw_meter *meter = dw_meter_new(header, NULL, &error);
    ck_assert_ptr_nonnull(meter);
    double row[1 + CHANNELS] = { 0 }, before = 0, last = 0;
    uint64_t state = 66;
    for (int i = 0; i < ROWS; i++) { /* a crooked decay, which enters the band of 0.02 at about four time constants of 100 */
        row[0] += 0.1 + pow(random_next(&state), 8) * 4;
        const double was = row[1];
        row[1] = exp(-row[0] / 100);
        if (i && was > row[1] && row[1] <= 0.02 && last == 0)
            last = before + (row[0] - before) * (was - 0.02) / (was - row[1]);
        before = row[0];
        for (int c = 2; c <= CHANNELS; c++)
            row[c] = row[1];
        succeeds(dw_meter_rows(meter, row, 1, &error), error);
    }
    row[0] += 1000;
    for (int c = 1; c <= CHANNELS; c++)
        row[c] = 0;
    succeeds(dw_meter_rows(meter, row, 1, &error), error);
    row[0] += 9000;
    succeeds(dw_meter_rows(meter, row, 1, &error), error);
    succeeds(dw_meter_finish(meter, &error), error);
    for (size_t c = 0; c < CHANNELS; c += 333) {
        const struct dw_result settling = dw_meter_result(meter, c, DW_MEASURE_SETTLING_TIME);
        ck_assert_msg(settling.had && settling.bound > 1e-3 * settling.value && settling.bound < 0.2 * settling.value, "%g s, within %g s",
                      settling.value, settling.bound);
        within_scale(settling.value, last, 1, settling.bound);
    }
    char text[200], within[64];
    dw_quantity_print(within, sizeof within, dw_meter_result(meter, 0, DW_MEASURE_SETTLING_TIME).bound, "s", 2);
    snprintf(text, sizeof text, "settling-time is within %s, as far as candidates for it are kept", within);
    ck_assert(noted(meter, text));
    dw_meter_free(meter);
    dw_header_free(header);
}
END_TEST

START_TEST(ripple_is_called_unsteady_while_the_mean_moves_by_more_than_a_hundredth_of_it)
{
    const double tau = 40;
    for (int periods = 30; periods <= 330; periods += 50) {
        struct wave wave = single_stage(5, 0.5, 1, tau, periods, 5);
        struct dw_header *header = header_with("period", "1", "levels", "0 5", NULL);
        struct dw_meter *meter = meter_of(header, NULL, &wave);
        const double moved = stage_mean(5, 0.5, 1, tau, periods - 1) - stage_mean(5, 0.5, 1, tau, periods - 2);
        const double share = moved / measured(meter, DW_MEASURE_RIPPLE);
        char text[200];
        snprintf(text, sizeof text, "the mean still moves by %.3g %% of the ripple a period: the ripple is not yet the steady one",
                 100 * share);
        ck_assert_msg(noted(meter, text) == (share > 0.01), "%d periods: %s", periods, text);
        dw_meter_free(meter);
        dw_header_free(header);
        wave_free(&wave);
    }
}
END_TEST

START_TEST(notes_tell_what_the_numbers_do_not)
{
    struct wave wave = single_stage(5, 0.5, 1, 40, 30, 5);
    static const struct {
        const char *key, *value, *other, *other_value, *note;
    } cases[] = {
        { "period", "1", "levels", "0 5", "settling-time and overshoot left out: not settled in this record" },
        { "period", "20", "levels", "0 5", "settling-time and overshoot left out: the record holds fewer than two whole periods" },
        { "period", "70", "levels", "0 5", "the record holds no whole period of 70 s: all of it is measured" },
        { "period", "70", "levels", "0 5", "frequency, duty and transition durations left out: no whole period" },
        { "period", "1", "sampled", "100",
          "the table is sampled at 100 Hz: what is between the samples is not known, so all is approximate" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_header *header = header_with(cases[i].key, cases[i].value, cases[i].other, cases[i].other_value, NULL);
        struct dw_meter *meter = meter_of(header, NULL, &wave);
        ck_assert_msg(noted(meter, cases[i].note), "case %zu", i);
        dw_meter_free(meter);
        dw_header_free(header);
    }
    wave_free(&wave);
}
END_TEST

START_TEST(the_tables_accuracy_limits_the_settling_time)
{
    struct wave wave = single_stage(5, 0.25, 0.002, 0.01, 300, 50);
    struct dw_header *header = header_with("period", "0.002", "initial", "pin 0", "accuracy", "pin 5e-4", NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    const struct dw_result settling = dw_meter_result(meter, 0, DW_MEASURE_SETTLING_TIME);
    /* the mean nears 1.25 V by 2 % of it in a time constant there: between the two periods 10 % less or more */
    near(settling.bound, 5e-4 / (0.02 * 1.25 / 0.01), 0.15);
    char text[200], within[64];
    dw_quantity_print(within, sizeof within, settling.bound, "s", 2);
    snprintf(text, sizeof text, "settling-time is within %s, as far as the table's accuracy goes", within);
    ck_assert(noted(meter, text));
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* A line from 0 at 2 s to 1 at 3 s, or a cubic that is flat at both ends, has 1/2 in its middle, where the change is said to begin: so the band
 * is 0.01 wide, entered at 2.99 s, or where (3 - 2 u) u^2 = 0.99; or it is said to begin at 0, with a band of 0.02. */
START_TEST(a_change_may_begin_between_two_rows)
{
    for (int k = 0; k < 4; k++) {
        const bool curved = k % 2, from = k / 2;
        const double entered = from ? 0.98 : 0.99;
        struct dw_error error = { .status = DW_OK };
        struct dw_header *header = header_with(NULL, NULL);
        if (curved)
            succeeds(dw_header_append_slope(header, &error), error);
        struct dw_meter *meter = dw_meter_new(header, &(struct dw_meter_options){ .has_step = true, .step_at = 2.5, .has_from = from, .from = 0 }, &error);
        ck_assert_ptr_nonnull(meter);
        for (int i = 0; i < 40; i++)
            succeeds(dw_meter_rows(meter, (double[]){ i, i < 3 ? 0 : 1, 0 }, 1, &error), error);
        succeeds(dw_meter_finish(meter, &error), error);
        double u = entered;
        for (int step = 0; step < 50 && curved; step++)
            u -= ((3 - 2 * u) * u * u - entered) / (6 * u * (1 - u));
        near(measured(meter, DW_MEASURE_SETTLING_TIME), u - 0.5, 1e-9);
        dw_meter_free(meter);
        dw_header_free(header);
    }
}
END_TEST

SUITE("measure: settling of a record", a_single_stage_settles_when_its_closed_form_does,
      the_change_starts_from_the_option_else_the_key_else_the_first_row, means_for_settling_are_those_of_the_carrier_period,
      a_period_of_the_callers_counts_from_the_first_row, without_periods_the_value_itself_settles, a_change_may_begin_between_two_rows,
      ripple_is_called_unsteady_while_the_mean_moves_by_more_than_a_hundredth_of_it, notes_tell_what_the_numbers_do_not,
      the_tables_accuracy_limits_the_settling_time, what_enters_the_band_at_once_settles_then,
      a_record_without_a_change_or_without_time_says_so,
      thinned_candidates_limit_the_settling_time_and_say_so)
