/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Filters whose capacitors have a series resistance, leak or not: figures against simulated ladders, duties tried one by one and ladders
 * looked at one by one. */
#include "simulated.h"
#include "suite.h"
#include "wishes.h"
#include <math.h>

static const struct dw_filter_task plain = { .high = 1, .levels = 256, .duty = NAN, .load = INFINITY, .band = 0.02, .ripple = INFINITY,
                                             .settling = INFINITY, .overshoot = INFINITY, .loading = INFINITY,
                                             .pin_current = INFINITY, .coil_current = INFINITY };

/* Ladders and coils whose corner lies about the switching frequency, with resistances from hardly any to most of the impedance. */
static struct dw_filter crooked(uint64_t *seed, int kind, struct dw_filter_task *task)
{
    const bool coil = kind == 3;
    struct dw_filter filter = { .stages = coil ? 1 : 1 + kind };
    for (int k = 0; k < filter.stages; k++) {
        filter.r[k].value = pow(10, coil ? uniform(seed, -1, 1) : uniform(seed, 2, 5));
        filter.c[k].value = pow(10, uniform(seed, -9, -6));
    }
    double time = filter.r[0].value * filter.c[0].value;
    if (coil) {
        filter.l.value = pow(10, uniform(seed, -5, -3));
        time = sqrt(filter.l.value * filter.c[0].value);
        if (uniform(seed, 0, 2) > 1) {
            filter.cd.value = filter.c[0].value * uniform(seed, 1, 9);
            filter.rd.value = sqrt(filter.l.value / filter.c[0].value) * pow(10, uniform(seed, -0.5, 0.5));
        }
    }
    *task = plain;
    task->source = coil ? 0.1 : 30;
    task->load = uniform(seed, 0, 3) > 1 ? time / filter.c[0].value * pow(10, uniform(seed, 0, 2)) : INFINITY;
    task->frequency = 1 / (time * pow(10, uniform(seed, -1.5, 1)));
    task->esr = fmin(time * pow(10, uniform(seed, -4, 0)), DW_ESR_MOST);
    task->insulation = !coil && uniform(seed, 0, 3) < 1 ? time * pow(10, uniform(seed, 0, 2)) : 0;
    task->duty = uniform(seed, 0.02, 1);
    return filter;
}

START_TEST(figures_are_those_of_a_simulation)
{
    uint64_t seed = 71;
    int jumps = 0;
    for (int n = 0; n < rounds(24, 150); n++) {
        struct dw_filter_task task;
        const struct dw_filter filter = crooked(&seed, n % 4, &task);
        struct dw_filter_figures figures;
        struct dw_error error = { .text = "" };
        double real[DW_OUTPUTS], imaginary[DW_OUTPUTS], cutoff;
        task.band = pow(10, uniform(&seed, -2.5, -1));
        succeeds(dw_filter_nominal(&task, &filter, &figures, &error), error);
        struct simulated other = simulate_task(&filter, &task);
        succeeds(dw_system_response(other.system, 0, 0, real, imaginary, &error), error);
        const double gain = real[other.out];
        /* the formulas to 1e-10, the samples' turns to the square of 0.618^30 */
        within_scale(figures.ripple, simulated_range(&other, task.duty, other.out, 30), 1e-9, 1);
        within_scale(1 - figures.loading, gain, 1e-11, 1);
        const struct simulated_start start = simulated_start(&other, task.duty, task.band, (size_t)(20 * figures.settling * task.frequency) + 200, 0);
        within_scale(figures.settling, start.settling, 1e-6, 1 / task.frequency + start.settling);
        ck_assert_int_eq(figures.settling_at_most, start.at_most);
        within_scale(figures.overshoot, start.overshoot, 1e-8, 1);
        succeeds(dw_filter_cutoff(&task, &filter, &cutoff, &error), error);
        succeeds(dw_system_response(other.system, 0, isinf(cutoff) ? 1e6 / task.esr : 2 * M_PI * cutoff, real, imaginary, &error), error);
        if (isinf(cutoff))
            ck_assert(hypot(real[other.out], imaginary[other.out]) > M_SQRT1_2 * gain);
        else
            near(hypot(real[other.out], imaginary[other.out]), M_SQRT1_2 * gain, 1e-12);
        jumps += figures.ripple > 0.01 && figures.ripple < 0.5;
        simulated_free(&other);
    }
    ck_assert_int_gt(jumps, 3);
}
END_TEST

/* A divider at once, then one time constant: v = 1 - R / (R + E) exp(-t / ((R + E) C)). */
START_TEST(one_stage_is_a_divider_and_a_lag)
{
    const struct dw_filter filter = { .stages = 1, .r = { { 330, 0, NAN } }, .c = { { 22e-6, 0, NAN } } };
    const double e = 0.9, r = 330 + 12, share = r / (r + e), time = (r + e) * 22e-6, y = 1e-3 / time;
    struct dw_filter_figures figures;
    struct dw_error error = { .text = "" };
    struct dw_filter_task task = plain;
    task.frequency = 1e3;
    task.source = 12;
    task.esr = e * 22e-6;
    task.duty = 0.3;
    succeeds(dw_filter_nominal(&task, &filter, &figures, &error), error);
    near(figures.ripple, 1 - share + share * expm1(-0.3 * y) * expm1(-0.7 * y) / -expm1(-y), 1e-12);
    task.duty = NAN;
    succeeds(dw_filter_nominal(&task, &filter, &figures, &error), error);
    near(figures.ripple, 1 - share + share * tanh(y / 4), 1e-12);
    ck_assert(figures.duty == 0.5);
    /* the mean over the period before t lags the step by what (exp(y) - 1) / y is over 1; straight lines between boundaries add to that
     * some y^2 / 8 of a time constant */
    near(figures.settling, time * log(share / task.band * expm1(y) / y), y * y);
}
END_TEST

START_TEST(worst_duty_is_the_worst_of_all_tried_one_by_one)
{
    static const long levels[] = { 2, 3, 16, 255, 1000 };
    uint64_t seed = 72;
    for (int n = 0; n < rounds(60, 1000); n++) {
        struct dw_filter_task task;
        const struct dw_filter filter = crooked(&seed, n % 4, &task);
        const struct task_terms terms = dwi_terms_of(&task);
        struct filter_poles poles;
        double duty, most = 0;
        if (n % 4 == 3) {
            const struct lc_parts parts = dwi_lc_parts_at(&terms, &filter, NULL);
            ck_assert(dwi_lc_poles(&poles, &parts));
        } else {
            const struct rc_values values = dwi_rc_values_at(&terms, &filter, NULL);
            dwi_rc_poles_of(&poles, &terms, filter.stages, &values);
        }
        const long steps = levels[n / 4 % 5];
        const double found = dwi_pulse_worst_ripple(&poles.out, terms.period, steps, INFINITY, &duty);
        for (long k = 1; k < steps; k++)
            most = fmax(most, dwi_pulse_ripple(&poles.out, terms.period, (double)k / (double)steps));
        /* relative but for what poles carry of the whole */
        within_scale(found, most, 1e-12, most + 1e-3);
        near(dwi_pulse_ripple(&poles.out, terms.period, duty), found, 1e-13);
    }
}
END_TEST

START_TEST(ripple_falls_and_settling_rises_with_every_part)
{
    uint64_t seed = 73;
    for (int n = 0; n < rounds(90, 1000); n++) {
        struct dw_filter_task task;
        const struct dw_filter filter = crooked(&seed, n % 3, &task);
        struct dw_filter_figures figures, other;
        struct dw_error error = { .text = "" };
        succeeds(dw_filter_nominal(&task, &filter, &figures, &error), error);
        for (int part = 0; part < 2 * filter.stages; part++) {
            struct dw_filter larger = filter;
            (part % 2 ? larger.c : larger.r)[part / 2].value *= uniform(&seed, 1.001, 2);
            succeeds(dw_filter_nominal(&task, &larger, &other, &error), error);
            ck_assert(other.ripple <= figures.ripple + 1e-11);
            ck_assert(other.settling >= figures.settling * (1 - 1e-9));
            ck_assert(other.loading >= figures.loading - 1e-11);
        }
    }
}
END_TEST

START_TEST(what_bounds_leave_out_is_not_among_the_best)
{
    uint64_t seed = 74;
    for (int n = 0; n < rounds(16, 100); n++) {
        const bool duties = n % 4 == 3;
        const size_t count = duties ? 3 : 5;
        struct dw_part r[5], c[5];
        struct dw_choices *pruned, *all;
        struct dw_error error = { .text = "" };
        for (size_t k = 0; k < count; k++) {
            r[k] = (struct dw_part){ 1e3 * pow(10, uniform(&seed, 0, 1)), n % 3 == 1 ? 0.02 : 0, NAN };
            c[k] = (struct dw_part){ 1e-9 * pow(10, uniform(&seed, 0, 2)), n % 3 == 1 ? 0.1 : 0, NAN };
        }
        struct dw_choice_wish wish = ladders(dw_parts_new(r, count, &error), dw_parts_new(c, count, &error));
        wish.task.frequency = pow(10, uniform(&seed, 3, 5.5));
        wish.task.duty = duties ? NAN : uniform(&seed, 0.05, 1);
        wish.task.band = n % 5 == 2 ? 0.3 : 0.01;
        wish.task.esr = pow(10, uniform(&seed, -9, n % 5 == 4 ? -2 : -4));
        wish.task.insulation = n % 3 == 2 ? 0.01 : 0;
        wish.task.load = n % 2 ? pow(10, uniform(&seed, 4, 6)) : INFINITY;
        wish.task.ripple = 0.5;
        wish.most_stages = 3;
        wish.best = 30;
        wish.front = n % 2;
        const enum dw_status status = dw_choose(&wish, &pruned, &error);
        wish.exhaustive = true;
        ck_assert_int_eq(dw_choose(&wish, &all, &error), status);
        ck_assert(status == DW_OK || status == DW_NO);
        same_choices(pruned, all);
        dw_choices_free(pruned);
        dw_choices_free(all);
        wish_free(&wish);
    }
}
END_TEST

START_TEST(a_resistance_out_of_reach_is_refused)
{
    struct dw_filter_task task = plain;
    struct dw_error error = { .text = "" };
    task.frequency = 1e3;
    task.esr = -1;
    refuses(dw_filter_task_check(&task, &error), DW_BAD_USE, error, "resistance times capacitance is -1 s: no capacitor has more than 0.01");
    task.esr = INFINITY;
    refuses(dw_filter_task_check(&task, &error), DW_BAD_USE, error, "resistance times capacitance is inf s: no capacitor has more than 0.01");
}
END_TEST

SUITE("design: series resistance of capacitors", figures_are_those_of_a_simulation, one_stage_is_a_divider_and_a_lag,
      worst_duty_is_the_worst_of_all_tried_one_by_one, ripple_falls_and_settling_rises_with_every_part,
      what_bounds_leave_out_is_not_among_the_best, a_resistance_out_of_reach_is_refused)
