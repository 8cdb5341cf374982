/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Loss and heat of currents that are curves. */
#include "suite.h"
#include <dutywright/pieces.h>
#include <dutywright/switch.h>
#include <dutywright/table.h>
#include <float.h>
#include <gsl/gsl_integration.h>
#include <stdlib.h>
#include <string.h>

enum { TIME, GATE, CURRENT, SLOPE, COLUMNS, LOSS = COLUMNS, LOSS_SLOPE, JUNCTION, JUNCTION_SLOPE, OUT };

static const struct dw_switch mosfet = { .kind = DW_SWITCH_MOSFET, .on_resistance = 0.25, .resistance_slope = 0.006, .supply = 12,
                                         .diode_drop = 0.7, .edge = 1e-6 };
static const struct dw_switch bipolar = { .kind = DW_SWITCH_BIPOLAR, .saturation = 0.3, .supply = 12, .diode_drop = 0.7 };
static const struct dw_thermal_pair pairs[] = { { 2.2, 3e-5 }, { 1.1, 8e-3 }, { 60, 40 } };
static const size_t slopes[OUT] = { [CURRENT] = SLOPE, [LOSS] = LOSS_SLOPE, [JUNCTION] = JUNCTION_SLOPE };
static const double PERIOD = 1 / 22.5e3;

/* Output rows, kept. */
struct rows {
    double value[4000][OUT];
    size_t count;
};

static enum dw_status keep(void *context, const double *row, struct dw_error *error)
{
    (void)error;
    struct rows *rows = context;
    ck_assert_uint_lt(rows->count, 4000);
    memcpy(rows->value[rows->count++], row, sizeof rows->value[0]);
    return DW_OK;
}

/* A load current that rises and falls along cubics, like a motor's: PERIODS of them. Returns how many rows. */
static size_t pump(double rows[][COLUMNS], int periods)
{
    static const double share[4] = { 0, 0.6, 0.6, 1 }, gate[4] = { 3.3, 3.3, 0, 0 }, current[4] = { 1.2, 1.35, 1.35, 1.2 },
                        slope[4] = { 7400, 4100, -9600, -7100 };
    size_t count = 0;
    for (int k = 0; k < periods; k++)
        for (int i = 0; i < 4; i++, count++) {
            const double row[COLUMNS] = { (k + share[i]) * PERIOD, gate[i], current[i], slope[i] };
            memcpy(rows[count], row, sizeof row);
        }
    return count;
}

struct run {
    const struct dw_switch *transistor;
    size_t gate;                     /* 0: the current is the transistor's */
    double period;
    bool hot, steady;
    double accuracy;                 /* 0: 2e-8 */
    struct dw_heat_result result;
    struct rows kept;
};

static void go(struct run *run, const double rows[][COLUMNS], size_t count, size_t lap)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_thermal *thermal = run->hot ? dw_thermal_new(pairs, 3, 35, &error) : NULL;
    const struct dw_heat_source source = { .columns = COLUMNS, .slope = slopes, .current = CURRENT, .gate = run->gate, .threshold = 1.65,
                                           .period = run->period };
    const struct dw_heat_rows wanted = { keep, &run->kept, run->accuracy > 0 ? run->accuracy : 2e-8 };
    struct dw_heat *heat = dw_heat_new(run->transistor, thermal, &source, &wanted, &error);
    ck_assert_msg(heat != NULL, "%s", error.text);
    run->kept.count = 0;
    if (run->steady)
        succeeds(dw_heat_start_steady(heat, rows[0], lap, &error), error);
    for (size_t i = 0; i < count; i++)
        succeeds(dw_heat_row(heat, rows[i], &error), error);
    succeeds(dw_heat_finish(heat, &run->result, &error), error);
    dw_heat_free(heat);
    dw_thermal_free(thermal);
}

static double square(double time, void *of)
{
    const double(*rows)[COLUMNS] = of;
    double row[COLUMNS];
    dw_row_between(COLUMNS, slopes, rows[0], rows[1], time, row);
    return row[CURRENT] * row[CURRENT];
}

static double magnitude(double time, void *of)
{
    return sqrt(square(time, of));
}

static double integral(double (*f)(double, void *), double rows[][COLUMNS])
{
    gsl_integration_workspace *room = gsl_integration_workspace_alloc(1000);
    double want, error;
    const gsl_function function = { f, rows };
    ck_assert_int_eq(gsl_integration_qag(&function, rows[0][TIME], rows[1][TIME], 0, 1e-12, 1000, GSL_INTEG_GAUSS61, room, &want, &error), 0);
    gsl_integration_workspace_free(room);
    return want;
}

START_TEST(sums_of_a_cubic_current_are_its_integrals)
{
    double rows[2][COLUMNS] = { { 0.1, 3.3, 1.2, 40 }, { 0.17, 3.3, 2.9, -15 } };
    struct run run = { .transistor = &mosfet };
    go(&run, rows, 2, 0);
    const double squares = integral(square, rows);
    near(run.result.conduction * run.result.span, 0.25 * squares, 4e-12);  /* as asked of the integration */
    near(run.result.current_rms, sqrt(squares / 0.07), 4e-12);
    /* by the share s it is 1.2 + 2.8 s + 0.55 s^2 - 1.65 s^3, which turns before its end */
    const double turn = (1.1 + sqrt(1.1 * 1.1 + 4 * 4.95 * 2.8)) / (2 * 4.95);
    near(run.result.current_peak, 1.2 + turn * (2.8 + turn * (0.55 - turn * 1.65)), 1e-13);
}
END_TEST

START_TEST(a_curve_that_passes_zero_between_rows_is_cut_wherever_it_does)
{
    /* twice, from either side, and three times: |i| is not the curve's own integral */
    double rows[][2][COLUMNS] = { { { 0, 3.3, 1, -9 }, { 1, 3.3, 1, 9 } },
                                  { { 0, 3.3, -1, 9 }, { 1, 3.3, -1, -9 } },
                                  { { 0, 3.3, 0.2, 9 }, { 1, 3.3, -0.2, 9 } },
                                  { { 0, 3.3, 1, -40 }, { 1, 3.3, 2, -7 } } };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct run run = { .transistor = &bipolar };
        go(&run, rows[i], 2, 0);
        near(run.result.conduction, 0.3 * integral(magnitude, rows[i]), 1e-9);  /* the integrand has corners */
        ck_assert_double_eq(run.result.turns, 1);
        if (i < 2)
            near(run.result.current_peak, 1.25, 1e-14);  /* 1 - 9 s + 9 s^2 at one half */
    }
}
END_TEST

/* The value and slope columns of what was written, at a time between two rows. */
static void at(const struct rows *rows, double time, double *row)
{
    size_t i = 1;
    while (i + 1 < rows->count && (rows->value[i][TIME] < time || rows->value[i][TIME] == rows->value[i - 1][TIME]))
        i++;
    dw_row_between(OUT, slopes, rows->value[i - 1], rows->value[i], time, row);
}

START_TEST(a_piece_cut_anywhere_changes_nothing)
{
    static double rows[24][COLUMNS], cut[48][COLUMNS];
    static struct run whole = { .transistor = &mosfet, .gate = GATE, .hot = true, .steady = true }, parts;
    const size_t count = pump(rows, 6);
    for (double share = 0.013; share < 1; share += 0.11) {
        size_t all = 0, lap = 0;
        for (size_t i = 0; i < count; i++) {
            memcpy(cut[all++], rows[i], sizeof rows[i]);
            lap = i == 3 ? all : lap;
            if (i + 1 < count && rows[i + 1][TIME] > rows[i][TIME])
                dw_row_between(COLUMNS, slopes, rows[i], rows[i + 1], rows[i][TIME] + share * (rows[i + 1][TIME] - rows[i][TIME]), cut[all++]);
        }
        whole.period = PERIOD;
        parts = whole;
        go(&whole, rows, count, 4);
        go(&parts, cut, all, lap);
        const struct dw_heat_result *w = &whole.result, *p = &parts.result;
        near(p->span, w->span, 16 * DBL_EPSILON);
        near(p->conduction, w->conduction, 1e-13);  /* times of the periods are rounded to 1e-15 of their end */
        near(p->turn_on, w->turn_on, 1e-13);
        near(p->turn_off, w->turn_off, 1e-13);
        near(p->diode, w->diode, 1e-13);
        near(p->load_rms, w->load_rms, 1e-13);
        near(p->junction_mean, w->junction_mean, 1e-13);
        near(p->junction_highest, w->junction_highest, 1e-13);
        near(p->steady_mean, w->steady_mean, 1e-13);
        near(p->steady_highest, w->steady_highest, 1e-13);
        /* what is exact at the new rows is what the curves say there */
        for (size_t i = 0; i < parts.kept.count; i++) {
            double row[OUT];
            const double *exact = parts.kept.value[i];
            if ((i && exact[TIME] == exact[TIME - OUT]) || (i + 1 < parts.kept.count && exact[TIME] == exact[TIME + OUT]))
                continue;
            at(&whole.kept, exact[TIME], row);
            within_scale(row[LOSS], exact[LOSS], 1.1 * 2e-8, 12);
            within_scale(row[JUNCTION], exact[JUNCTION], 1.1 * 2e-8, 12 * 63.3);
        }
    }
}
END_TEST

/* No slope is against its rise or above three times it, but by rounding. */
static void are_monotone(const struct rows *rows)
{
    for (size_t i = 1; i < rows->count; i++) {
        const double *a = rows->value[i - 1], *b = rows->value[i], h = b[TIME] - a[TIME];
        for (size_t column = LOSS; column < OUT && h > 0; column += 2) {
            const double rise = b[column] - a[column], ulp = 0x1p-49 * fabs(b[column]);
            for (int end = 0; end < 2; end++) {
                const double runs = (end ? b : a)[column + 1] * h * (rise < 0 ? -1 : 1);
                ck_assert_msg(runs >= -ulp && runs <= 3 * fabs(rise) + ulp, "column %zu, row %zu: %g for %g", column, i, runs, rise);
            }
        }
    }
}

START_TEST(cubics_between_rows_are_monotone_and_as_close_as_asked)
{
    static double rows[40][COLUMNS];
    static struct run fine = { .transistor = &mosfet, .gate = GATE, .hot = true, .steady = true, .accuracy = 1e-10 }, coarse;
    const size_t count = pump(rows, 10);
    fine.period = PERIOD;
    go(&fine, rows, count, 4);
    size_t most = 300;
    for (double accuracy = 2e-8; accuracy < 0.1; accuracy *= 20) {
        coarse = fine;
        coarse.accuracy = accuracy;
        go(&coarse, rows, count, 4);
        are_monotone(&coarse.kept);
        ck_assert_uint_le(coarse.kept.count, most);
        most = coarse.kept.count;
        for (size_t i = 1; i + 1 < fine.kept.count; i++) {
            const double *exact = fine.kept.value[i];
            double row[OUT];
            if (exact[TIME] == exact[TIME - OUT] || exact[TIME] == exact[TIME + OUT])
                continue;
            at(&coarse.kept, exact[TIME], row);
            /* of 12 W, and of that times 63.3 K/W; the steps with more rows are off by 1e-10 of it themselves */
            within_scale(row[LOSS], exact[LOSS], accuracy + 1e-10, 12);
            within_scale(row[JUNCTION], exact[JUNCTION], accuracy + 1e-10, 12 * 63.3);
        }
    }
}
END_TEST

START_TEST(late_in_a_record_rows_stand_no_closer_than_times_can_tell)
{
    static double rows[40][COLUMNS];
    static struct run run = { .transistor = &mosfet, .gate = GATE, .hot = true };
    const size_t count = pump(rows, 10);
    for (size_t i = 0; i < count; i++)
        rows[i][TIME] += 1e7;
    run.accuracy = 1e-13;
    go(&run, rows, count, 0);
    are_monotone(&run.kept);
    for (size_t i = 1; i < run.kept.count; i++) {
        const double passed = run.kept.value[i][TIME] - run.kept.value[i - 1][TIME];
        ck_assert(passed == 0 || passed >= 3 * dw_time_slack(1e7));  /* four of them, each end rounded */
    }
}
END_TEST

/* Takes so many rows and no more. */
static enum dw_status refuse(void *context, const double *row, struct dw_error *error)
{
    int *left = context;
    (void)row;
    return (*left)-- > 0 ? DW_OK : dw_error_set(error, DW_SYSTEM, 0, "no more");
}

START_TEST(a_sink_that_refuses_a_row_ends_it)
{
    double rows[12][COLUMNS];
    const size_t count = pump(rows, 3);
    struct dw_error error = { .status = DW_OK };
    struct dw_thermal *thermal = dw_thermal_new(pairs, 3, 35, &error);
    enum dw_status status = DW_SYSTEM;
    int taken = 0;
    for (; status != DW_OK; taken++) {
        int left = taken;
        const struct dw_heat_source source = { .columns = COLUMNS, .slope = slopes, .current = CURRENT, .gate = GATE, .threshold = 1.65 };
        struct dw_heat *heat = dw_heat_new(&mosfet, thermal, &source, &(struct dw_heat_rows){ refuse, &left, 1e-4 }, &error);
        status = DW_OK;
        for (size_t i = 0; i <= count && status == DW_OK; i++)
            status = i < count ? dw_heat_row(heat, rows[i], &error) : dw_heat_finish(heat, NULL, &error);
        if (status != DW_OK) {
            ck_assert_int_eq(status, DW_SYSTEM);
            ck_assert_str_eq(error.text, "no more");
        }
        dw_heat_free(heat);
    }
    ck_assert_int_gt(taken, 12);
    dw_thermal_free(thermal);
}
END_TEST

START_TEST(lines_given_as_curves_give_the_same_numbers)
{
    static double lines[16][COLUMNS], curves[16][COLUMNS];
    const size_t count = pump(lines, 4);
    memcpy(curves, lines, sizeof lines);
    for (size_t i = 0; i < count; i += 2) {
        const double slope = (lines[i + 1][CURRENT] - lines[i][CURRENT]) / (lines[i + 1][TIME] - lines[i][TIME]);
        curves[i][SLOPE] = curves[i + 1][SLOPE] = slope;
    }
    struct dw_error error = { .status = DW_OK };
    struct dw_heat_result results[2];
    for (int k = 0; k < 2; k++) {
        struct dw_thermal *thermal = dw_thermal_new(pairs, 3, 35, &error);
        const struct dw_heat_source source = { .columns = COLUMNS, .slope = k ? slopes : NULL, .current = CURRENT, .gate = GATE,
                                               .threshold = 1.65, .period = PERIOD };
        struct dw_heat *heat = dw_heat_new(&mosfet, thermal, &source, NULL, &error);
        succeeds(dw_heat_start_steady(heat, k ? curves[0] : lines[0], 4, &error), error);
        for (size_t i = 0; i < count; i++)
            succeeds(dw_heat_row(heat, k ? curves[i] : lines[i], &error), error);
        succeeds(dw_heat_finish(heat, &results[k], &error), error);
        dw_heat_free(heat);
        dw_thermal_free(thermal);
    }
    near(results[1].conduction, results[0].conduction, 1e-13);
    near(results[1].load_rms, results[0].load_rms, 1e-13);
    near(results[1].diode, results[0].diode, 1e-13);
    near(results[1].junction_mean, results[0].junction_mean, 1e-13);
    near(results[1].junction_highest, results[0].junction_highest, 1e-13);
    near(results[1].steady_highest, results[0].steady_highest, 1e-13);
}
END_TEST

SUITE("measure: heat of curves", sums_of_a_cubic_current_are_its_integrals,
      a_curve_that_passes_zero_between_rows_is_cut_wherever_it_does, a_piece_cut_anywhere_changes_nothing,
      cubics_between_rows_are_monotone_and_as_close_as_asked, late_in_a_record_rows_stand_no_closer_than_times_can_tell,
      a_sink_that_refuses_a_row_ends_it, lines_given_as_curves_give_the_same_numbers)
