/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "design/poles_inner.h"
#include "simulated.h"
#include "suite.h"
#include <math.h>

/* Crooked stages, the corner from far below to far above the switching frequency, Q from below one half to 50; a third with a
 * damping branch. */
static struct dw_filter crooked(uint64_t *seed, double *period, double *source, double *load)
{
    const double l = pow(10, uniform(seed, -6, -2)), c = pow(10, uniform(seed, -9, -5)), z = sqrt(l / c);
    struct dw_filter filter = { .stages = 1, .l = { l, 0, NAN }, .c = { { c, 0, NAN } } };
    *period = 2 * M_PI * sqrt(l * c) * pow(10, uniform(seed, -1.3, 1.3));
    *source = uniform(seed, 0, 2) > 1 ? z * pow(10, uniform(seed, -2, 0)) : 0;
    *load = uniform(seed, 0, 3) > 1 ? z * pow(10, uniform(seed, -0.5, 1.5)) : INFINITY;
    const double kind = uniform(seed, 0, 3);
    if (kind < 1) {
        filter.cd.value = c * pow(10, uniform(seed, 0, 1));
        filter.rd.value = z * pow(10, uniform(seed, -0.7, 0.5));
    } else if (kind < 2 || (*source == 0 && isinf(*load))) {
        filter.r[0].value = z * pow(10, uniform(seed, -1.5, 0.5));
    }
    return filter;
}

static struct dw_filter_task task_of(double period, double source, double load)
{
    return (struct dw_filter_task){ .frequency = 1 / period, .high = 1, .levels = 256, .duty = NAN, .source = source, .load = load,
                                    .band = 0.02, .ripple = INFINITY, .settling = INFINITY, .overshoot = INFINITY,
                                    .loading = INFINITY, .pin_current = INFINITY, .coil_current = INFINITY };
}

static struct filter_poles poles_of(const struct dw_filter *f, double source, double load)
{
    struct filter_poles stage;
    ck_assert(dwi_lc_poles(&stage, &(struct lc_parts){ f->r[0].value + source, f->l.value, f->c[0].value, f->rd.value,
                                                             f->cd.value, load, 0 }));
    return stage;
}

START_TEST(poles_and_residues_answer_as_the_ladder_does)
{
    uint64_t seed = 20;
    int pairs = 0;
    for (int n = 0; n < 300; n++) {
        double period, source, load, real[DW_STATES], imaginary[DW_STATES];
        const struct dw_filter filter = crooked(&seed, &period, &source, &load);
        const struct filter_poles poles = poles_of(&filter, source, load);
        struct simulated other = simulate(&filter, source, load, period);
        struct dw_error error = { .text = "" };
        succeeds(dw_system_rates(other.system, real, imaginary, &error), error);
        const struct exp_sum *f = &poles.out;
        const double largest = hypot(real[other.states - 1], imaginary[other.states - 1]);
        ck_assert_uint_eq(other.states, (size_t)f->count + (f->angular > 0));
        for (int k = 0; k < f->count; k++) {
            const double complex pole = k == 0 ? -f->rate[0] + I * f->angular : -f->rate[k];
            double distance = INFINITY;
            for (size_t i = 0; i < other.states; i++)
                distance = fmin(distance, cabs(pole - real[i] - I * imaginary[i]));
            /* two that all but coincide are moved apart by 6e-6, and the eigenvalues by the root of epsilon */
            within_scale(distance, 0, 7e-6, largest);
        }
        for (double angular = 0.01 / period; angular < 1e3 / period; angular *= 3) {
            double gain[DW_OUTPUTS], turned[DW_OUTPUTS];
            succeeds(dw_system_response(other.system, 0, angular, gain, turned, &error), error);
            /* partial fractions to 1e-10 of what they are made of: the output of the gain, the current of its steepest rise, 1 / l,
             * times the slowest time constant */
            const double complex out = poles.gain * poles_response(&poles.out, 1, angular);
            within_scale(cabs(out - gain[other.out] - I * turned[other.out]), 0, 1e-10, fmax(poles.gain, hypot(gain[other.out], turned[other.out])));
            const double complex current = poles_response(&poles.current, poles.conductance, angular);
            within_scale(cabs(current - gain[other.pin] - I * turned[other.pin]), 0, 1e-10,
                         fmax(dwi_exp_sum_bound(&poles.current, 0), hypot(gain[other.pin], turned[other.pin])));
        }
        pairs += f->angular > 0;
        simulated_free(&other);
    }
    ck_assert(pairs > 50 && pairs < 290);
}
END_TEST

START_TEST(ripple_settling_overshoot_and_current_are_those_of_a_simulation)
{
    uint64_t seed = 21;
    int overshoots = 0, at_once = 0;
    for (int n = 0; n < 60; n++) {
        double period, source, load;
        const struct dw_filter filter = crooked(&seed, &period, &source, &load);
        struct dw_filter_task task = task_of(period, source, load);
        struct dw_filter_figures figures;
        struct dw_error error = { .text = "" };
        task.duty = n % 3 ? uniform(&seed, 0.03, 1) : 0.5;
        task.band = pow(10, uniform(&seed, -2.5, -1));
        succeeds(dw_filter_nominal(&task, &filter, &figures, &error), error);
        struct simulated other = simulate(&filter, source, load, period);
        /* the formulas to 1e-10, the samples' turns to the square of 0.618^40 */
        within_scale(figures.ripple, simulated_range(&other, task.duty, other.out, 30), 1e-9, 1);
        const size_t periods = (size_t)(12 * figures.settling / period) + 60;
        const struct simulated_start start = simulated_start(&other, task.duty, task.band, periods, 32);
        /* the last mean stands for the limit: what is left of it after 12 settling times is below band^10 */
        within_scale(figures.settling, start.settling, 1e-6, period + start.settling);
        ck_assert_int_eq(figures.settling_at_most, start.at_most);
        within_scale(figures.overshoot, start.overshoot, 1e-8, 1);
        /* 32 samples a half of at most 20 turns: the peak itself may lie between two, and no sample is above it */
        ck_assert_msg(figures.pin_current >= start.pin_peak * (1 - 1e-9), "%.17g under %.17g", figures.pin_current, start.pin_peak);
        if (period < 4 * sqrt(filter.l.value * filter.c[0].value))
            within_scale(figures.pin_current, start.pin_peak, 0.02, start.pin_peak);
        overshoots += figures.overshoot > 0.01;
        at_once += figures.settling_at_most;
        simulated_free(&other);
    }
    ck_assert_int_gt(overshoots, 10);
    ck_assert_int_gt(at_once, 3);
}
END_TEST

START_TEST(worst_duty_is_the_worst_of_all_tried_one_by_one)
{
    static const long levels[] = { 2, 3, 16, 255, 1000 };
    uint64_t seed = 22;
    int not_half = 0;
    for (int n = 0; n < 150; n++) {
        double period, source, load, duty, most = 0;
        const struct dw_filter filter = crooked(&seed, &period, &source, &load);
        const struct filter_poles stage = poles_of(&filter, source, load);
        const long steps = levels[n % 5];
        const double found = dwi_pulse_worst_ripple(&stage.out, period, steps, INFINITY, &duty);
        for (long k = 1; k < steps; k++)
            most = fmax(most, dwi_pulse_ripple(&stage.out, period, (double)k / (double)steps));
        /* what differs by 1e-13 counts as equal; the two halves of the duties differ by rounding */
        near(found, most, 1e-12);
        near(dwi_pulse_ripple(&stage.out, period, duty), found, 1e-14);
        ck_assert(duty * (double)steps == rint(duty * (double)steps));
        not_half += duty < 0.45 && found > 1.0001 * dwi_pulse_ripple(&stage.out, period, 0.5);
    }
    ck_assert_int_gt(not_half, 20);
}
END_TEST

START_TEST(a_search_for_the_worst_duty_ends_at_what_is_enough)
{
    uint64_t seed = 23;
    int beyond = 0;
    for (int n = 0; n < 100; n++) {
        double period, source, load, duty;
        const struct dw_filter filter = crooked(&seed, &period, &source, &load);
        const struct filter_poles stage = poles_of(&filter, source, load);
        const double worst = dwi_pulse_worst_ripple(&stage.out, period, 256, INFINITY, &duty);
        const double enough = worst * uniform(&seed, 0.9, 1.05), found = dwi_pulse_worst_ripple(&stage.out, period, 256, enough, &duty);
        if (worst > enough)
            ck_assert(found > enough && found <= worst);
        else
            ck_assert(found == worst);
        beyond += worst > enough;
    }
    ck_assert(beyond > 20 && beyond < 100);
}
END_TEST

START_TEST(a_worst_case_lies_within_a_finer_search)
{
    uint64_t seed = 24;
    for (int n = 0; n < 12; n++) {
        double period, source, load;
        struct dw_filter filter = crooked(&seed, &period, &source, &load);
        struct dw_filter_task task = task_of(period, source, load);
        struct dw_filter_figures worst, now;
        struct dw_error error = { .text = "" };
        bool exact;
        task.duty = n % 2 ? NAN : uniform(&seed, 0.1, 0.9);
        filter.l.spread = 0.2;
        filter.c[0].spread = 0.1;
        filter.r[0].spread = filter.rd.spread = 0.05;
        filter.cd.spread = 0.1;
        succeeds(dw_filter_worst(&task, &filter, &worst, &exact, &error), error);
        ck_assert(!exact);
        double most_ripple = 0, most_settling = 0, most_overshoot = 0;
        for (int k = 0; k < 200; k++) {
            struct dw_filter one = filter;
            struct dw_part *parts[5] = { &one.r[0], &one.l, &one.c[0], &one.rd, &one.cd };
            for (int i = 0; i < 5; i++)
                parts[i]->value *= 1 + parts[i]->spread * uniform(&seed, -1, 1);
            succeeds(dw_filter_nominal(&task, &one, &now, &error), error);
            most_ripple = fmax(most_ripple, now.ripple);
            most_settling = fmax(most_settling, now.settling);
            most_overshoot = fmax(most_overshoot, now.overshoot);
        }
        /* a search, no bound: settling jumps by half a turn of the oscillation where a swing just passes the band */
        ck_assert_msg(most_ripple <= worst.ripple * 1.01, "%g over %g", most_ripple, worst.ripple);
        ck_assert_msg(most_settling <= worst.settling + period + M_PI * sqrt(1.32 * filter.l.value * (filter.c[0].value + filter.cd.value)),
                      "%g over %g", most_settling, worst.settling);
        ck_assert_msg(most_overshoot <= worst.overshoot + 0.01, "%g over %g", most_overshoot, worst.overshoot);
    }
}
END_TEST

/* Limits just below what the whole search finds: it ends where it comes to that, however late, and what it then has is beyond them. */
START_TEST(a_worst_case_is_looked_for_until_it_is_beyond_a_limit)
{
    uint64_t seed = 25;
    for (int n = 0; n < 40; n++) {
        double period, source, load;
        struct dw_filter filter = crooked(&seed, &period, &source, &load);
        const struct dw_filter_task task = task_of(period, source, load);
        const struct task_terms terms = dwi_terms_of(&task);
        struct dw_filter_figures all, some;
        bool exact;
        filter.l.spread = filter.c[0].spread = 0.3;
        ck_assert(dwi_figures_worst(&terms, &filter, &dwi_no_limits, &all, &exact));
        const struct filter_limits limits = { INFINITY, n % 2 ? INFINITY : all.ripple * (1 - 1e-12), n % 2 ? all.settling * (1 - 1e-12) : INFINITY };
        ck_assert(dwi_figures_worst(&terms, &filter, &limits, &some, &exact));
        ck_assert(some.ripple > limits.ripple || some.settling > limits.settling);
    }
}
END_TEST

START_TEST(the_quick_bound_lies_below_the_ripple)
{
    uint64_t seed = 25;
    for (int n = 0; n < 200; n++) {
        double period, source, load;
        const struct dw_filter filter = crooked(&seed, &period, &source, &load);
        struct dw_filter_task task = task_of(period, source, load);
        struct dw_filter_figures figures;
        struct dw_error error = { .text = "" };
        task.duty = n % 2 ? NAN : uniform(&seed, 0.05, 0.95);
        const struct task_terms terms = dwi_terms_of(&task);
        const struct lc_parts parts = dwi_lc_parts_at(&terms, &filter, NULL);
        succeeds(dw_filter_nominal(&task, &filter, &figures, &error), error);
        ck_assert(dwi_lc_least_ripple(&terms, &parts) <= figures.ripple * (1 + 1e-10));
    }
}
END_TEST

START_TEST(response_at_the_cutoff_is_3_dB_down_and_lower_beyond)
{
    uint64_t seed = 26;
    for (int n = 0; n < 100; n++) {
        double period, source, load;
        const struct dw_filter filter = crooked(&seed, &period, &source, &load);
        const struct dw_filter_task task = task_of(period, source, load);
        const double gain = 1 / (1 + (source + filter.r[0].value) / load);
        double cutoff;
        struct dw_error error = { .text = "" };
        succeeds(dw_filter_cutoff(&task, &filter, &cutoff, &error), error);
        struct simulated other = simulate(&filter, source, load, period);
        for (int k = 0; k < 20; k++) {
            double real[DW_OUTPUTS], imaginary[DW_OUTPUTS];
            succeeds(dw_system_response(other.system, 0, 2 * M_PI * cutoff * pow(1.2, k), real, imaginary, &error), error);
            const double response = hypot(real[other.out], imaginary[other.out]);
            if (k == 0)
                near(response, gain * M_SQRT1_2, 1e-9);  /* 60 bisections; a steep side multiplies the rounding by Q */
            else
                ck_assert(response < gain * M_SQRT1_2);
        }
        simulated_free(&other);
    }
}
END_TEST

START_TEST(what_nothing_damps_is_refused)
{
    const struct dw_filter bare = { .stages = 1, .l = { 100e-6, 0, NAN }, .c = { { 1e-6, 0, NAN } } };
    const struct dw_filter_task task = task_of(1e-5, 0, INFINITY);
    struct dw_filter_figures figures = { .ripple = 7 };
    struct dw_error error = { .text = "" };
    bool exact;
    static const char *const message = "nothing damps the coil: it never settles; give source, load, r, or rd and cd";
    refuses(dw_filter_nominal(&task, &bare, &figures, &error), DW_NO, error, message);
    refuses(dw_filter_worst(&task, &bare, &figures, &exact, &error), DW_NO, error, message);
    ck_assert(figures.ripple == 7);
    /* it has a steady state, which is never reached: its currents are told, the swing is not */
    struct dw_filter_currents currents;
    succeeds(dw_filter_steady_currents(&task, &bare, 0.37, &currents, &error), error);
    ck_assert(isnan(currents.coil) && currents.capacitor[0] > 0);
}
END_TEST

START_TEST(a_pin_that_is_on_for_good_has_no_ripple)
{
    uint64_t seed = 27;
    double period, source, load;
    const struct dw_filter filter = crooked(&seed, &period, &source, &load);
    struct dw_filter_task task = task_of(period, source, load);
    struct dw_filter_figures figures;
    struct dw_error error = { .text = "" };
    task.duty = 1;
    succeeds(dw_filter_nominal(&task, &filter, &figures, &error), error);
    ck_assert(figures.ripple == 0 && figures.settling > 0);
}
END_TEST

START_TEST(settling_of_ever_shorter_periods_has_a_limit)
{
    const struct dw_filter filters[] = {
        { .stages = 1, .r = { { 4700, 0, NAN } }, .c = { { 220e-9, 0, NAN } } },
        { .stages = 2, .r = { { 4700, 0, NAN }, { 33e3, 0, NAN } }, .c = { { 220e-9, 0, NAN }, { 47e-9, 0, NAN } } },
        { .stages = 1, .r = { { 12, 0, NAN } }, .l = { 330e-6, 0, NAN }, .c = { { 1.5e-6, 0, NAN } } },
    };
    for (size_t i = 0; i < sizeof filters / sizeof filters[0]; i++) {
        struct dw_filter_figures slow, fast;
        struct dw_error error = { .text = "" };
        const struct dw_filter_task many = task_of(1e-9, 0, 1e6), more = task_of(2e-12, 0, 1e6);
        succeeds(dw_filter_nominal(&many, &filters[i], &slow, &error), error);
        succeeds(dw_filter_nominal(&more, &filters[i], &fast, &error), error);
        /* the mean of a period lags by half of it, and a mean is read off within two more */
        ck_assert_double_eq_tol(fast.settling, slow.settling, 3e-9);
    }
}
END_TEST

SUITE("design: filters with a coil", poles_and_residues_answer_as_the_ladder_does,
      ripple_settling_overshoot_and_current_are_those_of_a_simulation,
      worst_duty_is_the_worst_of_all_tried_one_by_one, a_search_for_the_worst_duty_ends_at_what_is_enough,
      a_worst_case_lies_within_a_finer_search, a_worst_case_is_looked_for_until_it_is_beyond_a_limit, the_quick_bound_lies_below_the_ripple,
      response_at_the_cutoff_is_3_dB_down_and_lower_beyond, what_nothing_damps_is_refused,
      a_pin_that_is_on_for_good_has_no_ripple, settling_of_ever_shorter_periods_has_a_limit)
