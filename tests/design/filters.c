/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Currents of a filter, its parts, lists of parts, and what is refused. */
#include "simulated.h"
#include "suite.h"
#include <dutywright/design.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

static const struct dw_filter_task plain = { .frequency = 2e4, .high = 1, .levels = 256, .duty = NAN, .load = INFINITY, .band = 0.02,
                                             .ripple = INFINITY, .settling = INFINITY, .overshoot = INFINITY, .loading = INFINITY,
                                             .pin_current = INFINITY, .coil_current = INFINITY };

static struct dw_filter random_filter(uint64_t *seed, bool coil)
{
    struct dw_filter filter = { .stages = coil ? 1 : 1 + (int)uniform(seed, 0, 3) };
    for (int k = 0; k < filter.stages; k++) {
        filter.r[k].value = pow(10, coil ? uniform(seed, -1, 1) : uniform(seed, 2, 4));
        filter.c[k].value = pow(10, coil ? uniform(seed, -6, -5) : uniform(seed, -8, -6));
    }
    if (coil) {
        filter.l.value = pow(10, uniform(seed, -5, -3));
        if (uniform(seed, 0, 2) > 1) {
            filter.cd.value = filter.c[0].value * uniform(seed, 1, 9);
            filter.rd.value = pow(10, uniform(seed, 0, 1.5));
        }
    }
    return filter;
}

START_TEST(what_the_pin_gives_is_what_resistors_and_load_take)
{
    uint64_t seed = 41;
    for (int n = 0; n < 80; n++) {
        const bool coil = n % 2;
        const struct dw_filter filter = random_filter(&seed, coil);
        const double duty = uniform(&seed, 0.02, 0.98);
        struct dw_filter_task task = plain;
        struct dw_filter_currents currents;
        struct dw_error error = { .text = "" };
        task.source = uniform(&seed, 0, 2) > 1 ? uniform(&seed, 1, 50) : 0;
        task.load = uniform(&seed, 0, 2) > 1 ? pow(10, coil ? uniform(&seed, 1, 2) : uniform(&seed, 4, 5)) : INFINITY;
        task.esr = n < 40 ? 0 : pow(10, uniform(&seed, -7, -5));
        succeeds(dw_filter_steady_currents(&task, &filter, duty, &currents, &error), error);
        struct simulated other = simulate_task(&filter, &task);
        const double given = simulated_while_high(&other, duty, other.pin);
        const double square = simulated_product(&other, duty, other.pin, other.pin);
        double taken = task.source * square + simulated_product(&other, duty, other.out, other.out) / task.load + currents.rd;
        for (int k = 0; k < filter.stages; k++)
            taken += currents.resistor[k] + task.esr / filter.c[k].value * pow(currents.capacitor[k], 2);
        near(taken, given, 1e-9);
        near(currents.resistor[0], filter.r[0].value * square, 1e-9);
        if (coil) {
            near(currents.coil, simulated_range(&other, duty, other.pin, 30), 1e-8);
            /* what passes the coil and not the load flows in the capacitor, where no branch stands beside it */
            if (filter.cd.value == 0)
                near(pow(currents.capacitor[0], 2), square - 2 * simulated_product(&other, duty, other.pin, other.out) / task.load +
                     simulated_product(&other, duty, other.out, other.out) / (task.load * task.load), 1e-7);
            else
                near(currents.rd, filter.rd.value * pow(currents.damping, 2), 1e-12);
        } else if (filter.stages == 1 && isinf(task.load)) {
            near(pow(currents.capacitor[0], 2), square, 1e-9);
        }
        simulated_free(&other);
    }
}
END_TEST

START_TEST(what_flows_into_a_capacitor_is_what_its_voltage_tells)
{
    uint64_t seed = 43;
    for (int n = 0; n < 40; n++) {
        const bool coil = n % 2;
        const struct dw_filter filter = random_filter(&seed, coil);
        const double duty = uniform(&seed, 0.1, 0.9);
        struct dw_filter_task task = plain;
        struct dw_filter_currents currents;
        struct dw_error error = { .text = "" };
        task.low = -3.3;  /* and direct current through all of it */
        task.source = uniform(&seed, 1, 50);
        task.load = pow(10, coil ? uniform(&seed, 1, 2) : uniform(&seed, 3, 5));
        succeeds(dw_filter_steady_currents(&task, &filter, duty, &currents, &error), error);
        struct simulated other = simulate(&filter, task.source, task.load, 1 / task.frequency);
        for (int k = 0; k < filter.stages; k++) {
            const size_t node = k + 1 < filter.stages ? 2 * (size_t)k : other.out;
            const double rate = (task.high - task.low) * sqrt(simulated_rate(&other, duty, node));
            /* samples 1.1e-8 s apart at most, the time constants 0.3 us at least: what they blur is 0.04 squared / 12 */
            near(currents.capacitor[k], filter.c[k].value * rate, 1e-3);
        }
        simulated_free(&other);
    }
}
END_TEST

START_TEST(nothing_flows_for_long_while_the_pin_does_not_change)
{
    uint64_t seed = 42;
    const struct dw_filter filter = random_filter(&seed, false);
    struct dw_filter_currents currents;
    struct dw_error error = { .text = "" };
    for (int on = 0; on < 2; on++) {
        succeeds(dw_filter_steady_currents(&plain, &filter, on, &currents, &error), error);
        /* the root of a mean square that is zero to 1e-15 */
        within_scale(currents.capacitor[0], 0, 1e-7, 1 / filter.r[0].value);
        within_scale(currents.resistor[0], 0, 1e-12, 1 / filter.r[0].value);
    }
}
END_TEST

START_TEST(a_filter_is_as_large_as_its_largest_energy)
{
    struct dw_filter_task task = plain;
    task.high = 5;
    task.low = -10;  /* the larger one counts: c v^2 / 2 = 50 c */
    struct dw_filter filter = { .stages = 2, .c = { { 99e-9, 0, 0 }, { 33e-9, 0, 0 } } };
    ck_assert_int_eq(dw_filter_size(&task, &filter, 0), 1);
    filter.c[1].value = 101e-9;
    ck_assert_int_eq(dw_filter_size(&task, &filter, 0), 2);
    filter.c[0].value = 10.1e-6;
    ck_assert_int_eq(dw_filter_size(&task, &filter, 0), 3);
    const struct dw_filter coil = { .stages = 1, .c = { { 1e-9, 0, 0 } }, .l = { 100e-6, 0, 0 } };
    ck_assert_int_eq(dw_filter_size(&task, &coil, 0.31), 1);  /* l i^2 / 2 = 4.8 uJ, 5.1 uJ, 502 uJ */
    ck_assert_int_eq(dw_filter_size(&task, &coil, 0.32), 2);
    ck_assert_int_eq(dw_filter_size(&task, &coil, 3.17), 3);
    const struct dw_filter damped = { .stages = 1, .c = { { 1e-9, 0, 0 } }, .l = { 1e-6, 0, 0 }, .cd = { 11e-6, 0, 0 } };
    ck_assert_int_eq(dw_filter_size(&task, &damped, 0), 3);
}
END_TEST

START_TEST(parts_and_prices_are_counted_where_there_are_any)
{
    const struct dw_part r = { 1e3, 0, 0.25 }, c = { 1e-7, 0, 0.5 }, none = { 0, 0, NAN };
    const struct dw_filter ladder = { .stages = 2, .r = { r, r }, .c = { c, c } };
    ck_assert_int_eq(dw_filter_parts(&ladder), 4);
    near(dw_filter_price(&ladder), 1.5, 1e-15);
    const struct dw_filter coil = { .stages = 1, .r = { none }, .c = { c }, .l = { 1e-4, 0, 2 }, .rd = none, .cd = none };
    ck_assert_int_eq(dw_filter_parts(&coil), 2);
    near(dw_filter_price(&coil), 2.5, 1e-15);
}
END_TEST

START_TEST(tasks_that_are_none_are_refused)
{
    struct dw_filter_task task = plain;
    struct dw_error error;
    const struct {
        double *field;
        double value;
        const char *message;
    } cases[] = {
        { &task.frequency, 0, "frequency must be above zero" },
        { &task.frequency, NAN, "frequency must be above zero" },
        { &task.frequency, INFINITY, "frequency inf Hz: must be from 1e-12 to 1e+12" },
        { &task.load, 0, "load must be above zero" },
        { &task.load, 1e-300, "load 1e-300 ohm: must not be below 1e-12" },
        { &task.insulation, 9e-13, "insulation 9e-13 s: must not be below 1e-12" },
        { &task.ripple, -1, "ripple must be above zero" },
        { &task.settling, 0, "settling must be above zero" },
        { &task.overshoot, 0, "overshoot must be above zero" },
        { &task.loading, NAN, "loading must be above zero" },
        { &task.pin_current, 0, "pin current must be above zero" },
        { &task.coil_current, 0, "coil current must be above zero" },
        { &task.high, 0, "high must be above low" },
        { &task.high, INFINITY, "high must be above low" },
        { &task.duty, 0, "duty must be above 0 and at most 1" },
        { &task.duty, 1.1, "duty must be above 0 and at most 1" },
        { &task.source, -1, "source must be from zero to 1e+12" },
        { &task.source, INFINITY, "source must be from zero to 1e+12" },
        { &task.load_spread, -0.1, "spread of the load must be from 0 to below 100%" },
        { &task.load_spread, 1, "spread of the load must be from 0 to below 100%" },
        { &task.esr, 1e3, "resistance times capacitance is 1000 s: no capacitor has more than 0.01" },
        { &task.band, 0, "band must lie between 0 and 1" },
        { &task.band, 1, "band must lie between 0 and 1" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        task = plain;
        *cases[i].field = cases[i].value;
        refuses(dw_filter_task_check(&task, &error), DW_BAD_USE, error, cases[i].message);
        ck_assert_int_eq(dw_filter_task_check(&task, NULL), DW_BAD_USE);
    }
    task = plain;
    task.levels = 1;
    refuses(dw_filter_task_check(&task, &error), DW_BAD_USE, error, "levels must be at least 2");
    succeeds(dw_filter_task_check(&plain, &error), error);
}
END_TEST

START_TEST(parts_that_make_no_filter_are_refused)
{
    const struct dw_part r = { 1e3, 0, NAN }, c = { 1e-7, 0, NAN }, l = { 1e-4, 0, NAN }, wide = { 1e3, 1, NAN }, bad = { -1, 0, NAN };
    const struct dw_part endless = { INFINITY, 0, NAN }, odd = { 1e3, NAN, NAN };
    const struct {
        struct dw_filter filter;
        const char *message;
    } cases[] = {
        { { .stages = 0 }, NULL },
        { { .stages = 4, .r = { r, r, r }, .c = { c, c, c } }, NULL },
        { { .stages = 1, .c = { c } }, NULL },
        { { .stages = 1, .r = { r } }, NULL },
        { { .stages = 1, .r = { endless }, .c = { c } }, NULL },
        { { .stages = 2, .r = { r, r }, .c = { c, c }, .l = l }, NULL },
        { { .stages = 1, .r = { bad }, .c = { c }, .l = l }, NULL },
        { { .stages = 1, .c = { c }, .l = bad }, NULL },
        { { .stages = 1, .c = { c }, .l = l, .rd = r }, NULL },
        { { .stages = 1, .c = { c }, .l = l, .cd = c }, NULL },
        { { .stages = 1, .c = { c }, .l = l, .cd = bad, .rd = r }, NULL },
        { { .stages = 1, .r = { r }, .c = { c }, .rd = r }, NULL },
        { { .stages = 1, .r = { r }, .c = { c }, .cd = c }, NULL },
        { { .stages = 1, .r = { wide }, .c = { c } }, "spread must be from 0 to below 100%" },
        { { .stages = 1, .r = { odd }, .c = { c } }, "spread must be from 0 to below 100%" },
    };
    struct dw_filter_figures figures;
    struct dw_filter_currents currents;
    struct dw_error error;
    double cutoff;
    bool exact;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const char *message = cases[i].message ? cases[i].message : "the parts make neither RC stages nor one stage with a coil";
        refuses(dw_filter_nominal(&plain, &cases[i].filter, &figures, &error), DW_BAD_USE, error, message);
        refuses(dw_filter_worst(&plain, &cases[i].filter, &figures, &exact, &error), DW_BAD_USE, error, message);
        refuses(dw_filter_steady_currents(&plain, &cases[i].filter, 0.5, &currents, &error), DW_BAD_USE, error, message);
        refuses(dw_filter_cutoff(&plain, &cases[i].filter, &cutoff, &error), DW_BAD_USE, error, message);
    }
    const struct dw_filter good = { .stages = 1, .r = { r }, .c = { c } };
    struct dw_filter_task task = plain;
    refuses(dw_filter_steady_currents(&plain, &good, 1.5, &currents, &error), DW_BAD_USE, error, "duty must be from 0 to 1");
    refuses(dw_filter_steady_currents(&plain, &good, NAN, &currents, &error), DW_BAD_USE, error, "duty must be from 0 to 1");
    task.levels = 0;
    refuses(dw_filter_nominal(&task, &good, &figures, &error), DW_BAD_USE, error, "levels must be at least 2");
    refuses(dw_filter_worst(&task, &good, &figures, &exact, &error), DW_BAD_USE, error, "levels must be at least 2");
    refuses(dw_filter_steady_currents(&task, &good, 0.5, &currents, &error), DW_BAD_USE, error, "levels must be at least 2");
    refuses(dw_filter_cutoff(&task, &good, &cutoff, &error), DW_BAD_USE, error, "levels must be at least 2");
}
END_TEST

/* A stock list with this text; its name. */
static const char *list(const char *text)
{
    static const char *const name = "design-filters-list.txt";
    FILE *file = fopen(name, "w");
    ck_assert_ptr_nonnull(file);
    const bool put = fputs(text, file) >= 0, closed = fclose(file) == 0;
    ck_assert(put && closed);
    return name;
}

START_TEST(a_stock_list_is_read_with_tolerances_and_prices)
{
    struct dw_error error = { .text = "" };
    struct dw_parts *parts = dw_parts_read(list("# drawer\n47k\n\n4k7 1% 0.02 # thin film\n\t10k 0.3\n10k 5%\n1M 20%\n 470 1%"),
                                           DW_RESISTANCE, 1e3, 5e5, 0.1, &error);
    ck_assert_msg(parts != NULL, "%s", error.text);
    const struct dw_part wanted[] = { { 4.7e3, 0.01, 0.02 }, { 10e3, 0.05, NAN }, { 47e3, 0.1, NAN } };
    ck_assert_uint_eq(dw_parts_count(parts), 3);
    for (size_t i = 0; i < 3; i++) {
        const struct dw_part part = dw_parts_get(parts, i);
        ck_assert(part.value == wanted[i].value && part.spread == wanted[i].spread);
        ck_assert(isnan(wanted[i].price) ? isnan(part.price) : part.price == wanted[i].price);
    }
    dw_parts_free(parts);
    unlink("design-filters-list.txt");
}
END_TEST

START_TEST(lists_that_do_not_read_are_refused)
{
    static const struct {
        const char *text, *message;
    } cases[] = {
        { "1k\n4k7 1% 2%\n", "design-filters-list.txt, line 2: '2%': a second tolerance" },
        { "1k 1% 0.1 7\n", "design-filters-list.txt, line 1: '7': nothing is expected after the price" },
        { "1k 100%\n", "design-filters-list.txt, line 1: '100%': a tolerance must be from 0 to below 100%" },
        { "1k -1%\n", "design-filters-list.txt, line 1: '-1%': a tolerance must be from 0 to below 100%" },
        { "1k 1% -2\n", "design-filters-list.txt, line 1: '-2': a price must not be below zero" },
        { "0\n", "design-filters-list.txt, line 1: '0': must be from 1e-12 to 1e+12" },
        { "1T 1%\n2T\n", "design-filters-list.txt, line 2: '2T': must be from 1e-12 to 1e+12" },
        { "# none\n", "design-filters-list.txt: it holds no part" },
        { "1\n10M\n", "design-filters-list.txt: none of its parts lies in the range" },
    };
    struct dw_error error;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        ck_assert(!dw_parts_read(list(cases[i].text), DW_RESISTANCE, 100, 1e6, 0, &error));
        ck_assert_int_eq(error.status, DW_BAD_INPUT);
        ck_assert_str_eq(error.text, cases[i].message);
    }
    ck_assert(!dw_parts_read(list("1k x\n"), DW_RESISTANCE, 0, INFINITY, 0, &error) && error.line == 1);
    ck_assert(!dw_parts_read(list("soon\n"), DW_RESISTANCE, 0, INFINITY, 0, &error) && error.line == 1);
    char wide[1500];
    for (size_t i = 0; i + 1 < sizeof wide; i++)
        wide[i] = ' ';
    wide[sizeof wide - 1] = '\0';
    ck_assert(!dw_parts_read(list(wide), DW_RESISTANCE, 0, INFINITY, 0, &error));
    ck_assert_str_eq(error.text, "design-filters-list.txt, line 1: longer than 998 bytes");
    unlink("design-filters-list.txt");
    ck_assert(!dw_parts_read("design-filters-list.txt", DW_RESISTANCE, 0, INFINITY, 0, &error));
    ck_assert_int_eq(error.status, DW_BAD_INPUT);
    ck_assert_str_eq(error.text, "design-filters-list.txt: No such file or directory");
    ck_assert(!dw_parts_read("/", DW_RESISTANCE, 0, INFINITY, 0, &error));
    ck_assert_str_eq(error.text, "/: Is a directory");
    static const double none[] = { 1, -0.01, NAN };
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
        ck_assert(!dw_parts_read("any", DW_RESISTANCE, 0, INFINITY, none[i], &error));
        ck_assert_str_eq(error.text, "spread must be from 0 to below 100%");
        ck_assert(!dw_parts_series(12, 1e3, 1e4, none[i], &error));
        ck_assert_str_eq(error.text, "spread must be from 0 to below 100%");
    }
    /* more parts than the first room holds */
    char many[200 * 8] = "";
    for (int i = 0, used = 0; i < 200; i++)
        used += sprintf(many + used, "%d\n", 1000 + i);
    struct dw_parts *read = dw_parts_read(list(many), DW_RESISTANCE, 0, INFINITY, 0, &error);
    ck_assert(read && dw_parts_count(read) == 200 && dw_parts_get(read, 199).value == 1199);
    dw_parts_free(read);
    unlink("design-filters-list.txt");
}
END_TEST

START_TEST(series_and_lists_of_ones_own_are_checked)
{
    struct dw_error error;
    ck_assert(!dw_parts_series(12, 1e3, 1e4, 1, &error));
    ck_assert_str_eq(error.text, "spread must be from 0 to below 100%");
    ck_assert(!dw_parts_series(13, 1e3, 1e4, 0, &error));
    ck_assert_int_eq(error.status, DW_BAD_USE);
    ck_assert(!dw_parts_series(3, 1.1e3, 2e3, 0, &error));
    ck_assert_str_eq(error.text, "no value of E3 lies from 1100 to 2000");
    ck_assert(!dw_parts_series(3, 1e-30, 2e3, 0, &error));
    ck_assert_str_eq(error.text, "range 1e-30 to 2000: must lie within 1e-12 to 1e+12");
    ck_assert(!dw_parts_series(3, 1e3, 2e12, 0, &error));
    ck_assert_str_eq(error.text, "range 1000 to 2e+12: must lie within 1e-12 to 1e+12");
    ck_assert(!dw_parts_new(NULL, 0, &error));
    ck_assert_str_eq(error.text, "a list must hold a part");
    static const struct dw_part wrong[] = { { 0, 0, NAN }, { NAN, 0, NAN }, { INFINITY, 0, NAN }, { 9e-13, 0, NAN }, { 1.1e12, 0, NAN },
                                            { 1, -0.1, NAN }, { 1, 1, NAN }, { 1, NAN, NAN }, { 1, 0, -1 }, { 1, 0, INFINITY } };
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        const struct dw_part two[] = { { 1, 0, 2 }, wrong[i] };
        ck_assert(!dw_parts_new(two, 2, &error));
        ck_assert_str_eq(error.text, "part 2: value must be from 1e-12 to 1e+12, spread from 0 to below 100%, price not below zero or not known");
    }
    static const struct dw_part good[] = { { 3, 0.1, NAN }, { 1, 0, 2 }, { 3, 0.05, 7 }, { 3, 0.05, 6 }, { 3, 0.05, 6 }, { 3, 0.05, 8 } };
    struct dw_parts *parts = dw_parts_new(good, 6, &error);
    ck_assert(parts && dw_parts_count(parts) == 2);
    ck_assert(dw_parts_get(parts, 0).value == 1 && dw_parts_get(parts, 1).value == 3);
    ck_assert(dw_parts_get(parts, 1).spread == 0.05 && dw_parts_get(parts, 1).price == 6);
    dw_parts_free(parts);
    dw_parts_free(NULL);
}
END_TEST

static const struct dw_filter_task two_pins = { .frequency = 60e3, .high = 3.3, .levels = 300, .duty = NAN, .load = 180e3, .band = 0.02,
    .ripple = INFINITY, .settling = INFINITY, .overshoot = INFINITY, .loading = INFINITY, .pin_current = INFINITY,
    .coil_current = INFINITY, .source = 90, .source_low = 40 };

/* Mean output of 1 V pulses through a pin of one resistance while high, another while low: both systems have the capacitors as their
 * states. The mean is that of 64 trapezoids an interval, (1 / 64)^2 of what bends within one. */
static double switched_mean(const struct simulated *pins, double duty)
{
    enum { PERIODS = 6000, POINTS = 64 };
    static const double levels[2] = { 1, 0 };
    double state[DW_STATES] = { duty, duty, duty }, outputs[DW_OUTPUTS], sum = 0;
    struct dw_error error = { .text = "" };
    for (int n = 0; n <= PERIODS; n++)
        for (int half = 0; half < 2; half++) {
            const struct simulated *pin = &pins[half];
            const double length = half ? (1 - duty) * pin->period : duty * pin->period;
            const int pieces = n < PERIODS ? 1 : POINTS;
            for (int i = 0; i <= pieces && n == PERIODS; i++) {
                dw_system_output(pin->system, state, &levels[half], outputs);
                sum += outputs[pin->out] * (i % pieces ? 1 : 0.5) * length / pieces / pin->period;
                if (i < pieces)
                    succeeds(dw_system_advance(pin->system, &(struct dw_interval){ state, &levels[half], &levels[half], length / pieces, NULL }, 0, state, &error), error);
            }
            if (n < PERIODS)
                succeeds(dw_system_advance(pin->system, &(struct dw_interval){ state, &levels[half], &levels[half], length, NULL }, 0, state, &error), error);
        }
    return sum;
}

START_TEST(a_pin_of_two_resistances_bends_the_mean_as_the_switched_circuit_does)
{
    static const struct dw_filter filters[] = { { .stages = 1, .r = { { 1e3, 0, 0 } }, .c = { { 1e-6, 0, 0 } } },
        { .stages = 2, .r = { { 1.2e3, 0, 0 }, { 10e3, 0, 0 } }, .c = { { 680e-9, 0, 0 }, { 47e-9, 0, 0 } } } };
    struct dw_error error = { .text = "" };
    for (int i = 0; i < 2; i++) {
        const struct dw_filter *filter = &filters[i];
        const struct simulated pins[2] = { simulate(filter, two_pins.source, two_pins.load, 1 / two_pins.frequency),
                                           simulate(filter, two_pins.source_low, two_pins.load, 1 / two_pins.frequency) };
        const double load = two_pins.load + filter->r[1].value, gain = two_pins.load / load;
        const double full = gain * load / (load + filter->r[0].value + two_pins.source);
        double bend, most = 0;
        for (int k = 46; k <= 54; k++)  /* near one half; beside the largest it falls with the square */
            most = fmax(most, fabs(switched_mean(pins, k / 100.0) - k / 100.0 * full));
        succeeds(dw_filter_nonlinearity(&two_pins, filter, &bend, &error), error);
        const double fast = 1 / (two_pins.frequency * filter->r[0].value * filter->c[0].value);
        near(bend, 3.3 * most, fast * fast + 1e-4);
        ck_assert(bend > 0.3 * 3.3 / 300);
        simulated_free((struct simulated *)&pins[0]);
        simulated_free((struct simulated *)&pins[1]);
    }
    struct dw_filter_task one = two_pins;
    double bend = 1;
    near(dw_filter_source(&one), 65, DBL_EPSILON);
    one.source_low = 0;
    near(dw_filter_source(&one), 90, DBL_EPSILON);
    succeeds(dw_filter_nonlinearity(&one, &filters[0], &bend, &error), error);
    ck_assert(bend == 0);
    one.source_low = -1;
    refuses(dw_filter_nonlinearity(&one, &filters[0], &bend, &error), DW_BAD_USE, error, "source while low must be from zero to 1e+12");
}
END_TEST

/* What the worst case is made of: nominal figures at the ends of parts, pin and load, each told by itself. */
START_TEST(the_worst_case_has_that_of_load_and_pin_in_it)
{
    const struct dw_filter filter = { .stages = 2, .r = { { 1.2e3, 0.05, 0 }, { 10e3, 0.05, 0 } },
                                      .c = { { 68e-9, 0.1, 0 }, { 4.7e-9, 0.1, 0 } } };
    struct dw_filter_task task = two_pins;
    struct dw_filter_figures worst, nominal, most = { .ripple = 0 };
    struct dw_error error = { .text = "" };
    bool exact;
    task.load_spread = 0.3;
    task.insulation = 0.05;
    succeeds(dw_filter_worst(&task, &filter, &worst, &exact, &error), error);
    ck_assert(!exact);
    for (int n = 0; n < 64; n++) {
        struct dw_filter corner = filter;
        struct dw_filter_task at = task;
        for (int k = 0; k < 2; k++) {
            corner.r[k].value *= n >> k & 1 ? 1.05 : 0.95;
            corner.c[k].value *= n >> (k + 2) & 1 ? 1.1 : 0.9;
        }
        at.load *= n & 16 ? 1.3 : 0.7;
        at.source = n & 32 ? 90 : 40;
        at.source_low = 0;
        succeeds(dw_filter_nominal(&at, &corner, &nominal, &error), error);
        most.ripple = fmax(most.ripple, nominal.ripple);
        most.settling = fmax(most.settling, nominal.settling);
        most.loading = fmax(most.loading, nominal.loading);
        most.pin_current = fmax(most.pin_current, nominal.pin_current);
    }
    near(worst.ripple, most.ripple, 1e-12);
    near(worst.settling, most.settling, 1e-12);
    near(worst.loading, most.loading, 1e-12);
    near(worst.pin_current, most.pin_current, 1e-12);
}
END_TEST

SUITE("design: filters and their parts", a_pin_of_two_resistances_bends_the_mean_as_the_switched_circuit_does,
      the_worst_case_has_that_of_load_and_pin_in_it, what_flows_into_a_capacitor_is_what_its_voltage_tells, what_the_pin_gives_is_what_resistors_and_load_take,
      nothing_flows_for_long_while_the_pin_does_not_change, a_filter_is_as_large_as_its_largest_energy,
      parts_and_prices_are_counted_where_there_are_any, tasks_that_are_none_are_refused, parts_that_make_no_filter_are_refused,
      a_stock_list_is_read_with_tolerances_and_prices, lists_that_do_not_read_are_refused,
      series_and_lists_of_ones_own_are_checked)
