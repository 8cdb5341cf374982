/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ladders against formulas of the field: one RC stage, and the LC output filter of Erickson and Maksimovic, Fundamentals of
 * Power Electronics, 3rd ed., chapter 2 (2.5: output ripple with the small-ripple approximation; from memory). */
#include "suite.h"
#include <complex.h>
#include <dutywright/design.h>
#include <dutywright/ladder.h>
#include <float.h>

/* What a run gives of its output: extremes, and the last value. */
struct seen {
    double lowest, highest;
};

static enum dw_status look(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct seen *seen = context;
    (void)error;
    seen->lowest = fmin(seen->lowest, row->output[0]);
    seen->highest = fmax(seen->highest, row->output[0]);
    return DW_OK;
}

struct circuit {
    struct dw_ladder *ladder;
    struct dw_system *system;
    struct dw_plant *plant;
    double time[4], input[4];  /* one pulse */
};

static struct circuit circuit(const struct dw_stage *stages, size_t count, double load, double supply, double period, double duty)
{
    struct dw_error error = { DW_OK };
    struct circuit c = { .ladder = dw_ladder_new(&(struct dw_ladder_plan){ stages, count, 0, load }, &error),
                         .time = { 0, duty * period, duty * period, period }, .input = { supply, supply, 0, 0 } };
    ck_assert_msg(c.ladder != NULL, "%s", error.text);
    c.system = dw_ladder_system(c.ladder, &error);
    c.plant = dw_ladder_plant_new(c.ladder, &(struct dw_ladder_setup){ .supply = supply }, &error);
    ck_assert_msg(c.system != NULL && c.plant != NULL, "%s", error.text);
    return c;
}

static void circuit_free(struct circuit *c)
{
    dw_plant_free(c->plant);
    dw_system_free(c->system);
    dw_ladder_free(c->ladder);
}

/* Extremes of the output over one steady period. */
static struct seen steady_extremes(const struct circuit *c, double *state, struct dw_steady *steady)
{
    struct seen seen = { INFINITY, -INFINITY };
    struct dw_error error;
    size_t mode = 0;
    succeeds(dw_modes_steady(dw_plant_modes(c->plant), &(struct dw_period){ c->time, c->input, 4, NULL }, &mode, state, steady, &error), error);
    struct dw_run *run = dw_run_new(dw_plant_modes(c->plant), &(struct dw_run_options){ .accuracy = 1e-5, .sink = look, .context = &seen }, &error);
    succeeds(dw_run_start(run, 0, mode, state, c->input, &error), error);
    for (size_t i = 1; i < 4; i++)
        succeeds(dw_run_feed(run, c->time[i], c->input + i, &error), error);
    dw_run_free(run);
    return seen;
}

/* Mean of output `out` over the pulse from a state. */
static double mean_output(const struct circuit *c, const double *state, size_t out)
{
    struct dw_error error;
    double x[DW_STATES], part, sum = 0;
    for (size_t i = 0; i < dw_system_states(c->system); i++)
        x[i] = state[i];
    for (size_t i = 1; i < 4; i++) {
        const double length = c->time[i] - c->time[i - 1];
        succeeds(dw_system_integrals(c->system, &(struct dw_interval){ x, c->input + i - 1, c->input + i, length, NULL },
                                     &(struct dw_integrand){ out, DW_ALONE }, 1, &part, &error), error);
        succeeds(dw_system_advance(c->system, &(struct dw_interval){ x, c->input + i - 1, c->input + i, length, NULL }, 0, x, &error), error);
        sum += part;
    }
    return sum / c->time[3];
}

START_TEST(one_rc_stage_has_the_mean_ripple_and_step_of_the_handbooks)
{
    const double supply = 4.87, r = 4700, c = 220e-9, tau = r * c;
    const struct dw_stage stage = { .r = r, .c = c };
    for (int i = -12; i <= 6; i++)
        for (int k = 1; k < 10; k++) {
            const double period = tau / (0.83 * pow(10, i)), duty = k * 0.0937;
            struct circuit made = circuit(&stage, 1, 0, supply, period, duty);
            double state, error_of_tau = fmax(1, fmin(period / tau, 1));
            const struct seen seen = steady_extremes(&made, &state, NULL);
            const double on = made.time[1] / tau, off = (period - made.time[1]) / tau;
            const double ripple = supply * expm1(-on) * expm1(-off) / -expm1(-on - off);
            /* 1e-6 relative or 1e-13 of the supply, whichever is larger, is promised; the extremes are differences of values */
            within_scale(seen.highest - seen.lowest, ripple, 4 * DBL_EPSILON * error_of_tau, supply);
            within_scale(mean_output(&made, &state, 1), supply * (made.time[1] / period), 8 * DBL_EPSILON, supply);
            circuit_free(&made);
        }
    struct circuit made = circuit(&stage, 1, 0, supply, 1, 0.5);
    struct dw_error error;
    for (double t = 1e-9; t < 1; t *= 3) {
        double x = 0;
        succeeds(dw_system_advance(made.system, &(struct dw_interval){ &x, &supply, &supply, t, NULL }, 0, &x, &error), error);
        near(x, -supply * expm1(-t / tau), 8 * DBL_EPSILON);
    }
    circuit_free(&made);
}
END_TEST

START_TEST(lc_ripple_is_the_small_ripple_formula_far_above_resonance)
{
    /* (1 - D)/(8 L C f^2), peak to peak over the output's mean; the next term is of order (2 pi f0 / f)^2 */
    const double l = 330e-6, c = 100e-6, load = 10, supply = 12;
    const struct dw_stage stage = { .l = l, .c = c };
    for (double ratio = 30; ratio < 3000; ratio *= 3)
        for (int k = 1; k < 10; k++) {
            const double resonance = 1 / (2 * M_PI * sqrt(l * c)), f = ratio * resonance, duty = k * 0.0973;
            struct circuit made = circuit(&stage, 1, load, supply, 1 / f, duty);
            double state[2];
            const struct seen seen = steady_extremes(&made, state, NULL);
            const double mean = mean_output(&made, state, 1);
            near(mean, supply * duty, 1e-12);
            /* from the series of the exact ripple below, relative (w T)^2 / 24 at most, and T / (load c) squared for the load;
             * beneath that, 1e-13 of the supply */
            const double turn = 2 * M_PI / ratio, leak = 1 / (f * load * c);
            within_scale((seen.highest - seen.lowest) / mean, (1 - duty) / (8 * l * c * f * f),
                         turn * turn / 24 + leak * leak + 1e-13 * supply / (seen.highest - seen.lowest),
                         (1 - duty) / (8 * l * c * f * f));
            circuit_free(&made);
        }
}
END_TEST

START_TEST(lossless_lc_has_the_exact_second_order_ripple_where_the_small_ripple_formula_fails)
{
    /* By symmetry about the middles of the pulse and of the pause, v = V + A cos(w t) there and B cos(w t) here; equal value and
     * slope at the edges give A = -V sin b / sin(a + b), B = V sin a / sin(a + b), a and b half the angles of pulse and pause.
     * While a + b < pi / 2 the middles are the only extrema: ripple = B - V - A. docs/theory.md, (3.6) */
    const double l = 1e-3, c = 1e-6, supply = 12, w = 1 / sqrt(l * c);
    const struct dw_stage stage = { .l = l, .c = c };
    for (int i = 1; i < 12; i++)
        for (int k = 1; k < 10; k++) {
            const double angle = 0.13 * i, duty = k * 0.0973, period = 2 * angle / w;
            struct circuit made = circuit(&stage, 1, 0, supply, period, duty);
            double state[2];
            struct dw_steady steady;
            const struct seen seen = steady_extremes(&made, state, &steady);
            ck_assert(steady.lasting);
            const double a = angle * duty, b = angle - a;
            const double wanted = supply * (sin(a) + sin(b) - sin(a + b)) / sin(a + b);
            within_scale(seen.highest - seen.lowest, wanted, 64 * DBL_EPSILON, supply);
            circuit_free(&made);
        }
}
END_TEST

START_TEST(damped_lc_starts_its_period_at_the_exact_second_order_solution)
{
    /* one complex pair p: with r, l, c, load R, x = sum of modes; out of v'' + 2 d v' + w^2 v = w^2 k u. In the steady state
     * mode m of a pulse from 0 to t1 is u (e^(p (T - t1)) - e^(p T)) / (1 - e^(p T)), times its residue */
    const double r = 0.47, l = 330e-6, c = 47e-6, load = 3.3, supply = 12, duty = 0.37;
    const struct dw_stage stage = { .r = r, .l = l, .c = c };
    for (double period = 20e-6; period < 50e-3; period *= 1.9) {
        struct circuit made = circuit(&stage, 1, load, supply, period, duty);
        double state[2];
        steady_extremes(&made, state, NULL);
        const long double half = ((long double)r / l + 1 / ((long double)load * c)) / 2, product = (1 + (long double)r / load) / ((long double)l * c);
        const long double complex p = -half + I * sqrtl(product - half * half);
        /* transfer 1 / (l c (s - p)(s - p*)): residue over p at p, a step's mode */
        const long double complex residue = 1 / ((long double)l * c * (p - conjl(p)) * p);
        const long double complex rest = cexpl(p * (period - made.time[1])), whole = cexpl(p * period);
        const long double complex mode = residue * supply * (whole - rest) / (1 - whole);
        within_scale(state[1], 2 * (double)creall(mode), 64 * DBL_EPSILON, supply);
        circuit_free(&made);
    }
}
END_TEST

START_TEST(one_switch_at_light_load_rises_to_the_discontinuous_conversion_ratio)
{
    /* 2 / (1 + sqrt(1 + 4 K / D^2)), K = 2 L / (R T) < 1 - D: Erickson and Maksimovic, chapter 5 (from memory); ideal diode, and
     * c so large that its ripple, below i T / c = 1e-6 of the output, does not matter */
    const double l = 100e-6, supply = 12, period = 10e-6;
    const struct dw_stage stage = { .l = l, .c = 1 };
    for (int k = 1; k < 8; k++)
        for (double load = 100; load < 1e5; load *= 5) {
            struct dw_error error;
            const double duty = 0.1 * k, factor = 2 * l / (load * period);
            ck_assert(factor < 1 - duty);
            struct dw_ladder *ladder = dw_ladder_new(&(struct dw_ladder_plan){ &stage, 1, 0, load }, &error);
            struct dw_plant *plant = dw_ladder_plant_new(
                ladder, &(struct dw_ladder_setup){ .supply = supply, .drive = DW_ONE_SWITCH, .threshold = 6 }, &error);
            const double time[] = { 0, duty * period, duty * period, period }, input[] = { supply, supply, 0, 0 };
            double state[] = { 0, 0 };
            size_t mode = 0;
            succeeds(dw_modes_steady(dw_plant_modes(plant), &(struct dw_period){ time, input, 4, NULL }, &mode, state, NULL, &error), error);
            near(state[1], supply * 2 / (1 + sqrt(1 + 4 * factor / (duty * duty))), 1e-6);
            dw_plant_free(plant);
            dw_ladder_free(ladder);
        }
}
END_TEST

/* Mean of one capacitor that is charged from 1 V through one resistance and discharged through another, in the steady state: two
 * exponentials that meet.
 *   up, down   time constants over the period */
static double charged_mean(double duty, double up, double down)
{
    const double high = -expm1(-duty / up), low = -expm1(-(1 - duty) / down);
    const double least = (1 - low) * high / (high + low - high * low), most = least + (1 - least) * high;
    return duty - (1 - least) * up * high + most * down * low;
}

START_TEST(a_pin_of_two_resistances_bends_one_stage_as_two_exponentials_do)
{
    const double r = 2.7e3, c = 220e-9, pin[2] = { 60, 25 };
    struct dw_filter_task task = { .high = 3.3, .levels = 300, .duty = NAN, .source = pin[0], .source_low = pin[1], .load = INFINITY,
                                   .band = 0.02, .ripple = INFINITY, .settling = INFINITY, .overshoot = INFINITY,
                                   .loading = INFINITY, .pin_current = INFINITY, .coil_current = INFINITY };
    const struct dw_filter filter = { .stages = 1, .r = { { r, 0, 0 } }, .c = { { c, 0, 0 } } };
    for (task.frequency = 16e3; task.frequency < 1e6; task.frequency *= 4) {
        const double up = (r + pin[0]) * c * task.frequency, down = (r + pin[1]) * c * task.frequency;
        struct dw_error error = { .text = "" };
        double bend, most = 0;
        for (int k = 0; k <= 2000; k++) {  /* beside its largest it falls with the square of how far off a duty is */
            const double duty = 0.4 + k * 1e-4;
            most = fmax(most, fabs(charged_mean(duty, up, down) - duty));
        }
        succeeds(dw_filter_nonlinearity(&task, &filter, &bend, &error), error);
        near(bend, 3.3 * most, 1 / (24 * up * down) + 1e-6);
    }
}
END_TEST

SUITE("outside: ladders against closed forms", a_pin_of_two_resistances_bends_one_stage_as_two_exponentials_do,
      one_rc_stage_has_the_mean_ripple_and_step_of_the_handbooks,
      lc_ripple_is_the_small_ripple_formula_far_above_resonance,
      lossless_lc_has_the_exact_second_order_ripple_where_the_small_ripple_formula_fails,
      damped_lc_starts_its_period_at_the_exact_second_order_solution,
      one_switch_at_light_load_rises_to_the_discontinuous_conversion_ratio)
