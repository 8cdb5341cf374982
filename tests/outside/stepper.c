/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Steppers against handbooks and closed forms. Acarnley, Stepping Motors: a guide to theory and practice, 4th ed.; Kenjo and Sugawara, Stepping
 * Motors and their Microprocessor Controls, 2nd ed.; both from memory. Chopped currents are exponentials, worked here. */
#include "suite.h"
#include <complex.h>
#include <dutywright/stepper.h>
#include <string.h>

static const double PI = 3.14159265358979323846, TEETH = 50;

static const struct dw_stepper_plan MOON = { .resistance = 2.1, .inductance = 3.4e-3, .constant = 0.177, .inertia = 5.7e-6, .friction = 1e-3, .gear = 1,
                                             .full_steps = 200, .supply = 6, .diode_drop = 0.7, .microsteps = 1, .threshold = 0.5 };

static struct dw_plant *plant_of(const struct dw_stepper_plan *p)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_plant *plant = dw_stepper_plant(p, &error);
    ck_assert_msg(plant != NULL, "%s", error.text);
    return plant;
}

/* Held at rest, without a step. */
static struct dw_run *held(struct dw_plant *plant, const struct dw_run_options *options)
{
    struct dw_error error = { .status = DW_OK };
    const double input[DW_STEPPER_INPUTS] = { 0 };
    double rest[DW_STATES];
    const size_t mode = dw_plant_rest(plant, rest);
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), options, &error);
    succeeds(dw_run_start(run, 0, mode, rest, input, &error), error);
    return run;
}

static void go(struct dw_run *run, double until)
{
    struct dw_error error = { .status = DW_OK };
    const double input[DW_STEPPER_INPUTS] = { 0 };
    succeeds(dw_run_feed(run, until, input, &error), error);
}

/* f = sqrt(N (Th - 4 Td) / J) / 2 pi with two phases on, and with one N (K I + 4 Td): Kenjo and Sugawara, chapter 4, and the detent's own
 * stiffness. Currents are held by a coil of 1e9 H; after a period of a swing of 1e-3 rad the rotor stands where it began. */
START_TEST(small_swings_have_the_natural_frequency_of_currents_that_are_held)
{
    for (int microsteps = 1; microsteps <= 2; microsteps++)
        for (double detent = 0; detent < 0.03; detent += 0.013) {
            struct dw_stepper_plan p = MOON;
            p.friction = 0;
            p.inductance = 1e9;
            p.detent = detent;
            p.microsteps = microsteps;
            p.load_inertia = 3e-6;
            const double amperes = (microsteps == 1 ? sqrt(2) : 1) * 6 / 2.1;
            const double stiffness = TEETH * (p.constant * amperes + (microsteps == 1 ? -4 : 4) * detent);
            const double frequency = sqrt(stiffness / 8.7e-6) / (2 * PI);
            near(dw_stepper_frequency(&p, amperes, microsteps == 1 ? PI / 4 : 0), frequency, 1e-14);
            struct dw_plant *plant = plant_of(&p);
            struct dw_run *run = held(plant, &(struct dw_run_options){ 0 });
            double state[DW_STATES], input[DW_STEPPER_INPUTS] = { 0 };
            struct dw_error error;
            memcpy(state, dw_run_state(run), dw_plant_states(plant) * sizeof *state);
            state[DW_STEPPER_ANGLE] += 1e-3 / TEETH;
            succeeds(dw_run_start(run, 0, dw_run_mode(run), state, input, &error), error);
            go(run, 1 / frequency);
            /* a swing of 1e-3 rad is longer by 6e-8 of itself, of a cosine, by 16 times that of the detent's; steps of 1e-10 */
            within_scale(dw_run_state(run)[DW_STEPPER_SPEED] / (2 * PI * frequency), 0, 1e-5, 1e-3 / TEETH);
            near(dw_run_state(run)[DW_STEPPER_ANGLE], state[DW_STEPPER_ANGLE], 1e-6);
            dw_run_free(run);
            dw_plant_free(plant);
        }
}
END_TEST

/* On a voltage: (s + R/L) ((J s^2 + B s + S) (s + R/L) + K^2 s / L) = 0, the rotor's two and one of each axis. */
START_TEST(eigenvalues_on_a_voltage_are_the_zeros_of_the_closed_polynomial)
{
    const double amperes = sqrt(2) * 6 / 2.1, stiffness = TEETH * (0.177 * amperes - 4 * 0.011), pole = 2.1 / 3.4e-3;
    struct dw_stepper_plan p = MOON;
    p.detent = 0.011;
    const struct dw_stepper_locked at = { .volts = amperes * 2.1, .direct = amperes, .field = PI / 4 };
    struct dw_error error;
    double real[4], imaginary[4], most = 0;
    succeeds(dw_stepper_eigenvalues(&p, &at, real, imaginary, &error), error);
    for (int i = 0; i < 4; i++) {
        const double complex s = real[i] + imaginary[i] * I;
        const double complex rotor = p.inertia * s * s + p.friction * s + stiffness, value = (s + pole) * (rotor * (s + pole) + 0.177 * 0.177 * s / 3.4e-3);
        const double size = cabs(s + pole) * (cabs(rotor * (s + pole)) + cabs(0.177 * 0.177 * s / 3.4e-3)) + stiffness * pole * pole;
        within_scale(cabs(value), 0, 1e-11, size);
        most = fmax(most, imaginary[i]);
    }
    ck_assert(most > 1.02 * 2 * PI * dw_stepper_frequency(&p, amperes, PI / 4)); /* not that of currents held */
}
END_TEST

/* The rotor lags by asin(T / Th) electrical: Acarnley, chapter 2; a microstep of n is worth sin(90 deg / n) of the holding torque. */
START_TEST(a_load_is_borne_at_its_static_lag_and_a_microstep_by_its_incremental_torque)
{
    struct dw_stepper_plan p = MOON;
    const double holding = 0.177 * sqrt(2) * 6 / 2.1;
    for (double share = -0.9; share < 1; share += 0.45) {
        p.torque = share * holding;
        struct dw_plant *plant = plant_of(&p);
        struct dw_run *run = held(plant, &(struct dw_run_options){ 0 });
        within_scale(dw_run_state(run)[DW_STEPPER_ANGLE], -asin(share) / TEETH, 1e-14, 1);
        go(run, 0.05);
        within_scale(dw_run_state(run)[DW_STEPPER_ANGLE], -asin(share) / TEETH, 1e-10, 1); /* and there it stays, within some steps of 3e-12 */
        dw_run_free(run);
        dw_plant_free(plant);
    }
    for (int n = 2; n <= 64; n *= 4) {
        p.microsteps = n;
        p.torque = 0.177 * 6 / 2.1 * sin(PI / 2 / n);
        struct dw_plant *plant = plant_of(&p);
        struct dw_run *run = held(plant, &(struct dw_run_options){ 0 });
        near(dw_run_state(run)[DW_STEPPER_ANGLE], -PI / 2 / n / TEETH, 1e-12);
        dw_run_free(run);
        dw_plant_free(plant);
    }
}
END_TEST

/* K V / |Z| - K^2 w R / |Z|^2 of a sine (Acarnley, chapter 5): so much is borne, within a percent, where running in step is stable, and far less
 * where it is not. */
START_TEST(pull_out_torque_is_the_formula_s_where_running_in_step_is_stable)
{
    static const double rates[] = { 90, 200, 310, 900 };
    struct dw_stepper_plan p = MOON;
    p.friction = 1e-4;
    p.microsteps = 16;
    p.tolerance = 1e-8;
    for (int i = 0; i < 4; i++) {
        struct dw_error error;
        struct dw_stepper_pull pull;
        const double w = rates[i] * PI / 2, x = w * 3.4e-3, z = hypot(2.1, x), volts = 6 * sin(PI / 64) / (PI / 64);
        succeeds(dw_stepper_pull(&p, rates[i], &pull, &error), error);
        near(pull.formula, 0.177 * volts / z - 0.177 * 0.177 * w / TEETH * 2.1 / (z * z) - p.friction * w / TEETH, 1e-13);
        ck_assert_int_eq(pull.stable, i < 3);
        if (pull.stable)
            near(pull.simulated, pull.formula, 0.01);
        else
            ck_assert(pull.simulated < 0.8 * pull.formula);
        ck_assert(pull.pull_in < pull.simulated);
    }
}
END_TEST

/* ---- chopped ---- */

struct cycles {
    double low, high, low_before, first, last;  /* A, A, A, s, s: valleys and peaks of coil a, and when the first and last valley came */
    int count;
};

static enum dw_status watch(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct cycles *c = context;
    const double current = row->state[DW_STEPPER_CURRENT_A];
    (void)error;
    if (row->kind != DW_ROW_AFTER || row->time < 0.02)
        return DW_OK;
    c->high = fmax(c->high, current);
    if (row->slope[0] > 0 && !(c->count && row->time - c->last < 5e-6)) {  /* a blanked on time goes on as another mode */
        c->low_before = c->low;
        c->low = current;
        c->first = c->count++ ? c->first : row->time;
        c->last = row->time;
    }
    return DW_OK;
}

/* Of a rotor that cannot turn. */
static struct cycles chopped(const struct dw_stepper_plan *plan)
{
    struct dw_stepper_plan p = *plan;
    struct cycles c = { .high = 0 };
    p.inertia = 1e6;
    p.drive = DW_STEPPER_CURRENT;
    struct dw_plant *plant = plant_of(&p);
    struct dw_run *run = held(plant, &(struct dw_run_options){ .sink = watch, .context = &c, .curves = true, .accuracy = 1e-3, .swing = 0.05 });
    go(run, 0.03);
    dw_run_free(run);
    dw_plant_free(plant);
    return c;
}

START_TEST(valley_and_frequency_of_a_chopper_are_those_of_its_exponentials)
{
    static const double decays[] = { 0, 1, 0.3 };
    const double tau = 3.4e-3 / 2.1, off = 60e-6, most = 12 / 2.1, back = 13.4 / 2.1;
    for (int i = 0; i < 3; i++) {
        struct dw_stepper_plan p = MOON;
        p.supply = 12;
        p.current = 1.2;
        p.off_time = off;
        p.blanking = 1e-6;
        p.fast = decays[i];
        const struct cycles c = chopped(&p);
        const double valley = ((1.2 + back) * exp(-decays[i] * off / tau) - back) * exp(-(1 - decays[i]) * off / tau);
        const double on = tau * log((most - valley) / (most - 1.2));
        near(c.high, 1.2, 1e-9);
        near(c.low, valley, 1e-9);
        near((c.last - c.first) / (c.count - 1), on + off, 1e-9);
    }
}
END_TEST

/* On for the blanking alone, the current comes to where that and the off time balance, above a small reference. */
START_TEST(blanking_is_the_least_on_time)
{
    const double tau = 3.4e-3 / 2.1;
    struct dw_stepper_plan p = MOON;
    p.supply = 12;
    p.current = 0.05;
    p.off_time = 60e-6;
    p.blanking = 6e-6;
    const struct cycles c = chopped(&p);
    near(c.high, 12 / 2.1 * (1 - exp(-6e-6 / tau)) / (1 - exp(-66e-6 / tau)), 1e-6); /* reached within 20 ms: e^-12 */
}
END_TEST

/* Beyond half duty a fixed frequency is subharmonic, and a fall of the reference by more than half the current's own slope down is enough against it
 * (peak current control: Erickson and Maksimovic, Fundamentals of Power Electronics, 3rd ed., chapter 18; from memory). */
START_TEST(a_fixed_frequency_beyond_half_duty_needs_compensation)
{
    struct dw_stepper_plan p = MOON;
    p.supply = 4;
    p.current = 1.4; /* 73 percent of what the supply could */
    p.chop_frequency = 20e3;
    const struct cycles without = chopped(&p);
    p.compensation = 0.8 * 2.1 * 1.4 / 3.4e-3 / 20e3;
    const struct cycles with = chopped(&p);
    ck_assert(fabs(without.low - without.low_before) > 2e-3);
    near(with.low, with.low_before, 1e-6);
    near((with.last - with.first) / (with.count - 1), 50e-6, 1e-9);
}
END_TEST

/* K I while the supply gives so much current across the rotor, (R I + K w)^2 + (w L I)^2 = V^2, and K V / |Z| - K^2 w R / |Z|^2 beyond. */
START_TEST(pull_out_torque_of_a_chopper_is_its_current_s_as_long_as_the_supply_can)
{
    static const double rates[] = { 80, 600, 1500 };
    struct dw_stepper_plan p = MOON;
    p.drive = DW_STEPPER_CURRENT;
    p.supply = 12;
    p.current = 1.2;
    p.off_time = 30e-6;
    p.friction = 2e-3;
    p.drag = 5e-3;
    p.microsteps = 8;
    p.tolerance = 1e-7;
    for (int i = 0; i < 3; i++) {
        struct dw_error error;
        struct dw_stepper_pull pull;
        const double w = rates[i] * PI / 2, x = w * 3.4e-3, z = hypot(2.1, x), first = sin(PI / 32) / (PI / 32);
        const double amperes = 1.2 * first, volts = 12 * first, speed = w / TEETH, needed = hypot(2.1 * amperes + 0.177 * speed, x * amperes);
        const double whole = needed <= volts ? 0.177 * amperes : 0.177 * volts / z - 0.177 * 0.177 * speed * 2.1 / (z * z);
        succeeds(dw_stepper_pull(&p, rates[i], &pull, &error), error);
        ck_assert_int_eq(needed <= volts, i < 2);
        near(pull.formula, whole - p.friction * speed - p.drag, 1e-13);
        /* its ripple takes some thousandths; where the supply is short, being off for a while takes more */
        if (i < 2)
            near(pull.simulated, pull.formula, 0.01);
        else
            ck_assert(pull.simulated < 0.9 * pull.formula && pull.simulated > 0.8 * pull.formula);
        ck_assert(pull.stable && pull.pull_in < pull.simulated && (pull.pull_in > 0) == (i < 2));
    }
}
END_TEST

/* A supply that cannot drive the current: it stays at what Ohm's law gives. */
START_TEST(a_reference_is_reached_only_if_the_supply_lets_it)
{
    struct dw_stepper_plan p = MOON;
    p.supply = 2;
    p.current = 1.4;
    p.off_time = 60e-6;
    p.inertia = 1e6;
    p.drive = DW_STEPPER_CURRENT;
    struct dw_plant *plant = plant_of(&p);
    struct dw_run *run = held(plant, &(struct dw_run_options){ 0 });
    go(run, 0.02);
    near(dw_run_state(run)[DW_STEPPER_CURRENT_A], 2 / 2.1, 1e-9);
    dw_run_free(run);
    dw_plant_free(plant);
}
END_TEST

SUITE("outside: steppers", small_swings_have_the_natural_frequency_of_currents_that_are_held,
      eigenvalues_on_a_voltage_are_the_zeros_of_the_closed_polynomial,
      a_load_is_borne_at_its_static_lag_and_a_microstep_by_its_incremental_torque,
      pull_out_torque_is_the_formula_s_where_running_in_step_is_stable,
      pull_out_torque_of_a_chopper_is_its_current_s_as_long_as_the_supply_can,
      valley_and_frequency_of_a_chopper_are_those_of_its_exponentials, blanking_is_the_least_on_time,
      a_fixed_frequency_beyond_half_duty_needs_compensation, a_reference_is_reached_only_if_the_supply_lets_it)
