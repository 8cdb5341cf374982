/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Coils against standards and handbook formulas; what comes from memory says so. */
#include "suite.h"
#include <dutywright/coil.h>
#include <float.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_math.h>
#include <gsl/gsl_roots.h>

static struct dw_coil *made(const struct dw_coil_plan *plan)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_coil *coil = dw_coil_new(plan, &error);
    ck_assert_msg(coil != NULL, "%s", error.text);
    return coil;
}

START_TEST(copper_agrees_with_the_rule_for_machines)
{
    /* IEC 60034-1, temperature rise by resistance: R2 / R1 = (k + t2) / (k + t1), k = 235 for copper (from memory); IEC 60028's
     * coefficient of 0.00393 at 20 degC is k = 1 / 0.00393 - 20 = 234.45: 0.2 % apart at most from 0 to 150 degC */
    for (double from = 0; from <= 40; from += 13)
        for (double to = 30; to <= 150; to += 17)
            near(dw_coil_copper(100, from, to), 100 * (235 + to) / (235 + from), 2e-3);
    /* and 234.45 to the last digit of the coefficient */
    near(dw_coil_copper(100, 25, 90), 100 * (1 / 0.00393 - 20 + 90) / (1 / 0.00393 - 20 + 25), 8 * DBL_EPSILON);
}
END_TEST

/* What a run leaves behind. */
struct result {
    struct dw_coil_findings findings;
    double flux_time;  /* Wb s / H: integral of the current, by the rows */
};

struct watched {
    struct dw_coil_meter *meter;
    double time, current, area;
    bool any;
};

static enum dw_status watch(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct watched *w = context;
    if (w->any)
        w->area += (row->time - w->time) * (row->state[DW_COIL_CURRENT] + w->current) / 2;
    w->any = true;
    w->time = row->time;
    w->current = row->state[DW_COIL_CURRENT];
    return dw_coil_meter_row(w->meter, row, error);
}

/* Rows of a pin along a coil that starts at a state. */
static struct result along(struct dw_coil *coil, size_t mode, const double *state, const double *time, const double *pin,
                           size_t rows)
{
    struct dw_error error = { .status = DW_OK };
    struct watched w = { .meter = dw_coil_meter_new(coil, &error) };
    struct dw_run *run = dw_run_new(dw_plant_modes(dw_coil_plant(coil)),
                                    &(struct dw_run_options){ .accuracy = 1e-8, .sink = watch, .context = &w,
                                                              .integrand = dw_coil_integrals(coil),
                                                              .integrand_count = DW_COIL_INTEGRALS }, &error);
    struct result result;
    succeeds(dw_run_start(run, time[0], mode, state, pin, &error), error);
    for (size_t i = 1; i < rows; i++)
        succeeds(dw_run_feed(run, time[i], pin + i, &error), error);
    succeeds(dw_coil_meter_end(w.meter, &result.findings, &error), error);
    result.flux_time = w.area;
    dw_run_free(run);
    dw_coil_meter_free(w.meter);
    return result;
}

START_TEST(mean_current_is_the_volt_second_balance)
{
    /* Erickson and Maksimovic, Fundamentals of Power Electronics, 3rd ed., section 2.2 (from memory): over a steady period the
     * inductance's mean voltage is zero, so R mean(i) = D V - (1 - D) d while the diode conducts throughout */
    const struct dw_coil_plan plan = { .resistance = 46.1, .inductance = 0.288, .supply = 22.3, .clamp = DW_CLAMP_DIODE,
                                       .diode_drop = 0.66, .threshold = 2.5 };
    for (double duty = 0.15; duty < 0.95; duty += 0.23) {
        const double period = 0.61e-3, time[] = { 0, duty * period, duty * period, period }, pin[] = { 5, 5, 0, 0 };
        struct dw_error error = { .status = DW_OK };
        struct dw_coil *coil = made(&plan);
        double state[DW_COIL_STATES];
        size_t mode = dw_plant_rest(dw_coil_plant(coil), state);
        succeeds(dw_modes_steady(dw_plant_modes(dw_coil_plant(coil)), &(struct dw_period){ time, pin, 4, NULL }, &mode, state, NULL, &error), error);
        const struct result r = along(coil, mode, state, time, pin, 4);
        /* rows within 1e-8 of the full current */
        within_scale(r.flux_time / period, (duty * plan.supply - (1 - duty) * plan.diode_drop) / plan.resistance, 1e-8,
                     plan.supply / plan.resistance);
        dw_coil_free(coil);
    }
}
END_TEST

START_TEST(zener_across_the_switch_takes_more_than_the_coil_held)
{
    /* L I^2 / 2 * Vz / (Vz - V) without resistance: the supply goes on giving while the current falls. Common practice in
     * rating transistors for avalanche, no source */
    const double current = 1.37, zener[] = { 33, 47, 91 };
    for (size_t k = 0; k < 3; k++) {
        const struct dw_coil_plan plan = { .resistance = 1e-6, .inductance = 0.083, .supply = 23.1, .clamp = DW_CLAMP_ZENER,
                                           .clamp_at_switch = true, .clamp_value = zener[k], .threshold = 2.5 };
        const double state[DW_COIL_STATES] = { current }, fall = plan.inductance * current / (zener[k] - plan.supply);
        const double time[] = { 0, 0, 1.3 * fall }, pin[] = { 5, 0, 0 };
        struct dw_coil *coil = made(&plan);
        double rest[DW_COIL_STATES];
        const struct result r = along(coil, dw_plant_rest(dw_coil_plant(coil), rest), state, time, pin, 3);
        /* R I / (Vz - V) of it is lost to copper: 1.4e-7 at most */
        near(r.findings.total.clamp, plan.inductance * current * current / 2 * zener[k] / (zener[k] - plan.supply), 2e-7);
        near(r.findings.peak_switch, zener[k], 4 * DBL_EPSILON);
        dw_coil_free(coil);
    }
}
END_TEST

/* V across the stray capacitance, less what it is sought to be; series circuit by Laplace's table, real rates. */
struct overdamped {
    double slow, fast, current, slope;
};

static double slope_of_current(double t, void *context)
{
    const struct overdamped *o = context;
    const double a = (o->slope + o->fast * o->current) / (o->fast - o->slow), b = o->current - a;
    return a * exp(-o->slow * t) + b * exp(-o->fast * t);
}

START_TEST(overdamped_kick_peaks_where_its_current_ends)
{
    /* two real rates: i = a e^(-s t) + b e^(-f t); its zero by GSL's Brent solver is the voltage's peak */
    const struct dw_coil_plan plan = { .resistance = 210, .inductance = 0.037, .supply = 4.9, .clamp = DW_CLAMP_NONE,
                                       .stray = 9.1e-6, .diode_drop = 0.7, .threshold = 2.5 };
    const double damping = plan.resistance / (2 * plan.inductance);
    const double root = sqrt(damping * damping - 1 / (plan.inductance * plan.stray));
    const double current = 0.31;  /* thrown in: more than the supply drives */
    struct overdamped o = { damping - root, damping + root, current, (plan.supply - plan.resistance * current) / plan.inductance };
    gsl_function function = { slope_of_current, &o };
    gsl_root_fsolver *solver = gsl_root_fsolver_alloc(gsl_root_fsolver_brent);
    ck_assert_int_eq(gsl_root_fsolver_set(solver, &function, 0, 10 / damping), GSL_SUCCESS);
    for (int i = 0; i < 200; i++)
        gsl_root_fsolver_iterate(solver);
    const double at = gsl_root_fsolver_root(solver);
    gsl_root_fsolver_free(solver);
    const double a = (o.slope + o.fast * o.current) / (o.fast - o.slow), b = o.current - a;
    const double peak = (a * -expm1(-o.slow * at) / o.slow + b * -expm1(-o.fast * at) / o.fast) / plan.stray;
    const double state[DW_COIL_STATES] = { current }, time[] = { 0, 0, 30 / damping }, pin[] = { 5, 0, 0 };
    double rest[DW_COIL_STATES];
    struct dw_coil *coil = made(&plan);
    const struct result r = along(coil, dw_plant_rest(dw_coil_plant(coil), rest), state, time, pin, 3);
    near(r.findings.peak_switch, peak, 1e-11);
    dw_coil_free(coil);
}
END_TEST

SUITE("outside: coil", copper_agrees_with_the_rule_for_machines, mean_current_is_the_volt_second_balance,
      zener_across_the_switch_takes_more_than_the_coil_held, overdamped_kick_peaks_where_its_current_ends)
