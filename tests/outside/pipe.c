/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A pulse train through filters at random, from text to text, and what is then measured in the table, against closed forms: the
 * Fourier series of rectangular pulses, A_n = 2 V |sin(pi n D)| / (pi n), times the filter's response (any handbook of signals, such as
 * Oppenheim and Willsky, Signals and Systems, 2nd ed., 3.5 and 3.8; from memory), and the charging of one RC stage. All at default
 * settings: what a user gets who asks for nothing. */
#include "draw.h"
#include "suite.h"
#include "table/fixture.h"
#include <complex.h>
#include <dutywright/follow.h>
#include <dutywright/ladder.h>
#include <dutywright/measure.h>
#include <dutywright/spectrum.h>
#include <dutywright/value.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const double SUPPLY = 3.3, ACCURACY = 2e-8;  /* the default of --accuracy */
enum { LINES = 12 };

static uint64_t seed;

static double uniform(void)
{
    return drawn_between(&seed, 0, 1);
}

static double between(double low, double high)
{
    return low * pow(high / low, uniform());
}

struct filter {
    struct dw_stage stage[3];
    size_t count;
    double load;
};

/* One to three RC stages of a twentieth of a period to 30 periods each. */
static struct filter random_rc(double period)
{
    struct filter f = { .count = 1 + (size_t)(3 * uniform()), .load = uniform() < 0.5 ? between(1e5, 1e7) : 0 };
    for (size_t k = 0; k < f.count; k++) {
        f.stage[k].r = between(1e3, 1e5);
        f.stage[k].c = between(0.05, 30) * period / f.stage[k].r;
        f.stage[k].esr = uniform() < 0.3 ? between(0.01, 10) : 0;
    }
    return f;
}

/* A coil with its wire and a capacitor with its ESR, ringing 3 to 100 times slower than the pulses, of a quality up to 1000. */
static struct filter random_lc(double period)
{
    const double impedance = between(1, 100), turn = between(3, 100) * period / (2 * M_PI), quality = between(1, 1000);
    struct filter f = { .count = 1, .load = impedance * quality };
    f.stage[0] = (struct dw_stage){ .r = impedance * between(1e-3, 0.1), .l = impedance * turn, .c = turn / impedance,
                                    .esr = impedance * between(1e-4, 0.1) };
    return f;
}

struct case_of {
    struct filter filter;
    double period, duty, on;
    struct dw_ladder *ladder;
    struct dw_plant *plant;
    struct bytes out;
};

static void put(char **at, double time, double pin)
{
    *at += dw_number_print(*at, time);
    *(*at)++ = '\t';
    *at += dw_number_print(*at, pin);
    *(*at)++ = '\n';
}

/* So many periods of pulses through the filter, as text. */
static void run(struct case_of *c, int periods, bool steady)
{
    struct dw_error error = { .status = DW_OK };
    char *text = malloc(400 + 4 * (size_t)periods * 2 * DW_NUMBER_SIZE), *at = text;
    at += sprintf(at, "# wave-table 1\n# period: %.17g\n# levels: 0 3.3\n# columns: time[s] pin[V]\n", c->period);
    for (int k = 0; k < periods; k++) {
        const double start = k * c->period, edge = start + c->on;
        put(&at, start, SUPPLY);
        put(&at, edge, SUPPLY);
        put(&at, edge, 0);
        put(&at, (k + 1) * c->period, 0);
    }
    at += sprintf(at, "# end: %d\n", 4 * periods);
    const struct filter *f = &c->filter;
    c->ladder = dw_ladder_new(&(struct dw_ladder_plan){ f->stage, f->count, 0, f->load }, &error);
    ck_assert_msg(c->ladder != NULL, "%s", error.text);
    c->plant = dw_ladder_plant_new(c->ladder, &(struct dw_ladder_setup){ .supply = SUPPLY }, &error);
    ck_assert_msg(c->plant != NULL, "%s", error.text);
    struct dw_reader *reader = reader_of_text(text, &error);
    ck_assert_msg(reader != NULL, "%s", error.text);
    const int file = memory_file();
    succeeds(dw_follow(&(struct dw_follow_plan){ .plant = c->plant, .accuracy = ACCURACY, .steady = steady ? "a steady start" : NULL,
                                                 .input_column = { 1 }, .descriptor = file, .encoding = DW_TEXT }, reader, NULL, &error), error);
    dw_reader_close(reader);
    c->out = take_bytes(file);
    free(text);
}

static void forget(struct case_of *c)
{
    free(c->out.at);
    dw_plant_free(c->plant);
    dw_ladder_free(c->ladder);
}

/* The table read again, by a meter and an analyser. */
static void measure(const struct case_of *c, struct dw_meter **meter, struct dw_spectrum **spectrum, size_t *rows)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_reader *reader = reader_of(c->out.at, c->out.size, false, &error);
    ck_assert_msg(reader != NULL, "%s", error.text);
    const struct dw_header *header = dw_reader_header(reader);
    const size_t column = dw_header_find(header, "out", &error);
    *meter = dw_meter_new(header, &(struct dw_meter_options){ .column = &column, .channels = 1 }, &error);
    *spectrum = dw_spectrum_new(header, &(struct dw_spectrum_options){ .column = &column, .channels = 1, .harmonics = LINES }, &error);
    ck_assert_msg(*meter && *spectrum, "%s", error.text);
    const double *values;
    size_t some;
    enum dw_status status;
    *rows = 0;
    while ((status = dw_reader_rows(reader, 1000, &values, &some, &error)) == DW_OK) {
        *rows += some;
        succeeds(dw_meter_rows(*meter, values, some, &error), error);
        succeeds(dw_spectrum_rows(*spectrum, values, some, &error), error);
    }
    ck_assert_int_eq(status, DW_END);
    succeeds(dw_meter_finish(*meter, &error), error);
    succeeds(dw_spectrum_finish(*spectrum, &error), error);
    dw_reader_close(reader);
}

static double result(const struct dw_meter *meter, enum dw_measure measure)
{
    return dw_meter_result(meter, 0, measure).value;
}

/* Amplitude of the output's line n; 0: the mean. */
static double line(const struct case_of *c, int n)
{
    struct dw_error error;
    double real[DW_OUTPUTS], imaginary[DW_OUTPUTS];
    struct dw_system *system = dw_ladder_system(c->ladder, &error);
    const size_t last = dw_ladder_outputs(c->ladder) - 1;
    succeeds(dw_system_response(system, 0, 2 * M_PI * n / c->period, real, imaginary, &error), error);
    dw_system_free(system);
    const double share = c->on / c->period;
    return hypot(real[last], imaginary[last]) * (n ? 2 * SUPPLY * fabs(sin(M_PI * n * share)) / (M_PI * n) : SUPPLY * share);
}

/* Mean within 1e-8 of the supply, lines within 1.1e-6 of the swing, and those above a thousandth of the fundamental within 7e-4 of
 * themselves (3e-4 but for one in two hundred); each within what is told of it. */
static void agrees(struct case_of *c, const char *what, int k)
{
    struct dw_meter *meter;
    struct dw_spectrum *spectrum;
    size_t rows;
    measure(c, &meter, &spectrum, &rows);
    const double swing = result(meter, DW_MEASURE_RIPPLE), mean = line(c, 0), fundamental = line(c, 1);
    ck_assert_msg(fabs(result(meter, DW_MEASURE_MEAN) - mean) <= 1e-8 * SUPPLY, "%s %d (period %g, duty %g): mean %.17g, not %.17g",
                  what, k, c->period, c->duty, result(meter, DW_MEASURE_MEAN), mean);
    for (int n = 1; n <= LINES; n++) {
        const double want = line(c, n), off = fabs(dw_spectrum_line(spectrum, 0, (size_t)n).amplitude - want);
        ck_assert_msg(off <= 1.1e-6 * swing && off <= dw_spectrum_line(spectrum, 0, (size_t)n).amplitude_bound + 1e-15 * SUPPLY,
                      "%s %d (period %g, duty %g): line %d off by %g, swing %g, told %g", what, k, c->period, c->duty, n, off, swing,
                      dw_spectrum_line(spectrum, 0, (size_t)n).amplitude_bound);
        /* of what is left where 13 digits of a mean hold a swing of little more than nothing, nobody asks */
        if (want > 1e-3 * fundamental && swing > 1e-9 * SUPPLY)
            ck_assert_msg(off <= 7e-4 * want, "%s %d (period %g, duty %g): line %d is off by %g of itself", what, k, c->period, c->duty, n,
                          off / want);
    }
    dw_meter_free(meter);
    dw_spectrum_free(spectrum);
}

START_TEST(lines_behind_filters_at_random_are_those_of_the_pin_times_their_response)
{
    seed = 20261130;
    for (int k = 0; k < 300; k++) {
        struct case_of c = { .period = 1 / between(50, 1e6), .duty = 0.01 + 0.98 * uniform() };
        const bool coil = k % 3 == 2;
        c.on = c.duty * c.period;
        c.filter = coil ? random_lc(c.period) : random_rc(c.period);
        run(&c, 2, true);
        agrees(&c, coil ? "LC" : "RC", k);
        forget(&c);
    }
}
END_TEST

/* Of so many periods of a random train behind one stage, one number. */
static double measured_of_a_stage(struct case_of *c, double tau_most, double *tau, int periods, bool steady, enum dw_measure what)
{
    struct dw_meter *meter;
    struct dw_spectrum *spectrum;
    size_t rows;
    *c = (struct case_of){ .period = 1 / between(50, 1e6), .duty = 0.01 + 0.98 * uniform() };
    *tau = between(0.05, tau_most) * c->period;
    c->on = c->duty * c->period;
    c->filter = (struct filter){ .stage = { { .r = 1e4, .c = *tau / 1e4 } }, .count = 1 };
    run(c, periods, steady);
    measure(c, &meter, &spectrum, &rows);
    const double value = result(meter, what);
    dw_meter_free(meter);
    dw_spectrum_free(spectrum);
    forget(c);
    return value;
}

START_TEST(ripple_of_one_stage_is_that_of_its_exponentials)
{
    seed = 20261201;
    for (int k = 0; k < 200; k++) {
        struct case_of c;
        double tau;
        const double measured = measured_of_a_stage(&c, 1e3, &tau, 2, true, DW_MEASURE_RIPPLE);
        const double on = c.on / tau, off = (c.period - c.on) / tau;
        const double ripple = SUPPLY * expm1(-on) * expm1(-off) / -expm1(-on - off);
        within_scale(measured, ripple, 1e-6, ripple);
    }
}
END_TEST

/* From rest, the mean over the last of ten periods: of one stage v = V D (1 - e^..) in closed form. With b the state at a period's start,
 * the mean is V D + (tau/T) times what the state loses over the period. */
START_TEST(a_period_on_the_way_from_rest_has_its_mean)
{
    seed = 20261202;
    for (int k = 0; k < 200; k++) {
        struct case_of c;
        double tau;
        const double measured = measured_of_a_stage(&c, 100, &tau, 10, false, DW_MEASURE_MEAN);
        double before = 0, state = 0;
        for (int p = 0; p < 10; p++) {
            before = state;
            state += (SUPPLY - state) * -expm1(-c.on / tau);
            state *= exp(-(c.period - c.on) / tau);
        }
        within_scale(measured, SUPPLY * c.on / c.period - tau / c.period * (state - before), 1e-8, SUPPLY);
    }
}
END_TEST

/* README's two stages and a fast DAC: what a period costs. */
START_TEST(a_period_needs_few_rows)
{
    static const struct {
        struct filter filter;
        double frequency, duty;
        size_t most;
    } cases[] = {
        { { .stage = { { .r = 2700, .c = 680e-9 }, { .r = 39e3, .c = 68e-9 } }, .count = 2, .load = 1e6 }, 1600, 0.312, 20 },
        { { .stage = { { .r = 1000, .c = 1.5e-6 }, { .r = 3900, .c = 470e-9 } }, .count = 2 }, 31372.5, 0.3, 12 },
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct case_of c = { .filter = cases[i].filter, .period = 1 / cases[i].frequency, .duty = cases[i].duty };
        struct dw_meter *meter;
        struct dw_spectrum *spectrum;
        size_t rows;
        c.on = c.duty * c.period;
        run(&c, 50, true);
        measure(&c, &meter, &spectrum, &rows);
        ck_assert_uint_le(rows, 50 * cases[i].most);
        dw_meter_free(meter);
        dw_spectrum_free(spectrum);
        agrees(&c, "case", (int)i);
        forget(&c);
    }
}
END_TEST

SUITE("outside: the whole pipe", lines_behind_filters_at_random_are_those_of_the_pin_times_their_response,
      ripple_of_one_stage_is_that_of_its_exponentials, a_period_on_the_way_from_rest_has_its_mean, a_period_needs_few_rows)
