/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/coil.h>
#include <float.h>
#include <string.h>

/* An invented valve coil, crooked on purpose. */
static const struct dw_coil_plan valve = {
    .resistance = 47.3, .inductance = 0.371, .supply = 23.7, .clamp = DW_CLAMP_DIODE, .diode_drop = 0.73, .pull_in = 0.293,
    .drop_out = 0.117, .threshold = 2.4
};

/* A run with everything that is asked of it. */
struct given {
    struct dw_coil *coil;
    struct dw_coil_meter *meter;
    struct dw_run *run;
    double lowest_switch, flux_before, flux_after;  /* V; L i beside the last move of the armature */
    double conducts_until;                          /* s, last instant with a current that is not zero */
    double before[DW_COIL_STATES];
    size_t before_mode;
    bool any;
};

static struct dw_coil *made(const struct dw_coil_plan *plan)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_coil *coil = dw_coil_new(plan, &error);
    ck_assert_msg(coil != NULL, "%s", error.text);
    return coil;
}

static double linked(const struct dw_coil *coil, size_t mode, const double *state)
{
    return 2 * dw_coil_stored(coil, mode, state[DW_COIL_CURRENT]) / state[DW_COIL_CURRENT];
}

static enum dw_status take(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct given *g = context;
    g->lowest_switch = fmin(g->lowest_switch, dw_coil_switch_voltage(g->coil, row->mode, row->state));
    if (g->any && dw_coil_pulled_in(g->coil, row->mode) != dw_coil_pulled_in(g->coil, g->before_mode)) {
        g->flux_before = linked(g->coil, g->before_mode, g->before);
        g->flux_after = linked(g->coil, row->mode, row->state);
    }
    if (row->state[DW_COIL_CURRENT] != 0 || (g->any && g->before[DW_COIL_CURRENT] != 0))
        g->conducts_until = row->time;
    g->any = true;
    g->before_mode = row->mode;
    memcpy(g->before, row->state, sizeof g->before);
    return dw_coil_meter_row(g->meter, row, error);
}

static void begin(struct given *g, const struct dw_coil_plan *plan, double accuracy)
{
    struct dw_error error = { .status = DW_OK };
    memset(g, 0, sizeof *g);
    g->coil = made(plan);
    g->meter = dw_coil_meter_new(g->coil, &error);
    g->run = dw_run_new(dw_plant_modes(dw_coil_plant(g->coil)), 
                        &(struct dw_run_options){ .accuracy = accuracy, .sink = take, .context = g,
                                                  .integrand = dw_coil_integrals(g->coil), .integrand_count = DW_COIL_INTEGRALS }, &error);
    ck_assert_msg(g->meter && g->run, "%s", error.text);
}

static struct dw_coil_findings finish(struct given *g)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_coil_findings findings;
    succeeds(dw_coil_meter_end(g->meter, &findings, &error), error);
    dw_run_free(g->run);
    dw_coil_meter_free(g->meter);
    dw_coil_free(g->coil);
    return findings;
}

static void feed(struct given *g, double time, double pin)
{
    struct dw_error error = { .status = DW_OK };
    succeeds(dw_run_feed(g->run, time, &pin, &error), error);
}

/* From rest, pulses: on for `on`, off for the rest of `period`; the last one ends with the switch going on again. */
static struct dw_coil_findings pulses(struct given *g, const struct dw_coil_plan *plan, int count, double on, double period)
{
    struct dw_error error = { .status = DW_OK };
    double state[DW_COIL_STATES], pin = 5;
    begin(g, plan, 1e-3);
    const size_t mode = dw_plant_rest(dw_coil_plant(g->coil), state);
    pin = 0;
    succeeds(dw_run_start(g->run, 0, mode, state, &pin, &error), error);
    for (int k = 0; k < count; k++) {
        feed(g, k * period, 5);
        feed(g, k * period + on, 5);
        feed(g, k * period + on, 0);
        feed(g, (k + 1) * period, 0);
    }
    feed(g, count * period, 5);
    return finish(g);
}

/* From the full current (or another) with the switch on at 0: goes off at once, then time passes. */
static struct dw_coil_findings let_go(struct given *g, const struct dw_coil_plan *plan, double current, double length)
{
    struct dw_error error = { .status = DW_OK };
    double state[DW_COIL_STATES] = { [DW_COIL_CURRENT] = current }, pin = 5, rest[DW_COIL_STATES];
    begin(g, plan, 1e-3);
    size_t mode = dw_plant_rest(dw_coil_plant(g->coil), rest);
    g->lowest_switch = INFINITY;
    succeeds(dw_run_start(g->run, 0, mode, state, &pin, &error), error);
    feed(g, 0, 0);
    feed(g, length, 0);
    return finish(g);
}

/* ---- closed forms ---- */

START_TEST(current_rises_by_the_time_constant)
{
    struct dw_coil_plan plan = valve;
    plan.switch_resistance = 0.83;
    struct given g;
    double state[DW_COIL_STATES], pin = 5;
    struct dw_error error = { .status = DW_OK };
    begin(&g, &plan, 1e-3);
    const size_t mode = dw_plant_rest(dw_coil_plant(g.coil), state);
    succeeds(dw_run_start(g.run, 0, mode, state, &pin, &error), error);
    const double ohms = plan.resistance + plan.switch_resistance, constant = plan.inductance / ohms;
    for (int k = 1; k <= 9; k++) {
        const double time = 0.37 * k * constant;
        feed(&g, time, 5);
        /* three states of 1e-15 each a stretch, docs of dw_system_advance; expm1 2 ulp */
        near(dw_run_state(g.run)[DW_COIL_CURRENT], -plan.supply / ohms * expm1(-time / constant), 1e-13);
    }
    const struct dw_coil_findings f = finish(&g);
    /* an event is within 1e-12 of its stretch, here 0.37 time constants */
    near(f.operate, -constant * log1p(-plan.pull_in * ohms / plan.supply), 1e-12);
    ck_assert_uint_eq(f.pull_ins, 1);
}
END_TEST

/* Release and end of conduction with each clamp: R' i + X = -L i'. */
static const struct {
    const char *name;
    enum dw_coil_clamp clamp;
    double value;
    bool at_switch;
} clamps[] = {
    { "diode", DW_CLAMP_DIODE, 0, false },
    { "zener across the coil", DW_CLAMP_ZENER, 18.3, false },
    { "resistor across the coil", DW_CLAMP_RESISTOR, 113, false },
    { "zener across the switch", DW_CLAMP_ZENER, 41.9, true },
    { "resistor across the switch", DW_CLAMP_RESISTOR, 287, true },
};
enum { CLAMPS = sizeof clamps / sizeof clamps[0] };

static struct dw_coil_plan with_clamp(int k)
{
    struct dw_coil_plan plan = valve;
    plan.clamp = clamps[k].clamp;
    plan.clamp_value = clamps[k].value;
    plan.clamp_at_switch = clamps[k].at_switch;
    return plan;
}

/* V against the current beside R' i, and R' */
static double against(const struct dw_coil_plan *p, double *ohms)
{
    *ohms = p->resistance + (p->clamp == DW_CLAMP_RESISTOR ? p->clamp_value : 0);
    if (p->clamp_at_switch)
        return p->clamp == DW_CLAMP_ZENER ? p->clamp_value - p->supply : -p->supply;
    return p->diode_drop + (p->clamp == DW_CLAMP_ZENER ? p->clamp_value : 0);
}

START_TEST(each_clamp_lets_go_by_its_closed_form)
{
    struct dw_coil_plan plan = with_clamp(_i);
    double ohms, volts = against(&plan, &ohms), full = dw_coil_full_current(&plan), constant = plan.inductance / ohms;
    struct given g;
    const struct dw_coil_findings f = let_go(&g, &plan, full, 40 * constant);
    const double release = constant * log((full + volts / ohms) / (plan.drop_out + volts / ohms));
    near(f.release, release, 40e-12 * constant / release + 4e-15);  /* 1e-12 of the stretch */
    const double peak = clamps[_i].at_switch ? (plan.clamp == DW_CLAMP_ZENER ? plan.clamp_value : plan.clamp_value * full)
                                             : plan.supply + volts + full * (ohms - plan.resistance);
    near(f.peak_switch, peak, 8 * DBL_EPSILON);
    if (volts > 0)
        near(g.conducts_until, constant * log1p(full * ohms / volts), 40e-12);
}
END_TEST

START_TEST(times_are_those_of_a_run)
{
    struct dw_coil_plan plan = with_clamp(_i);
    struct dw_error error = { .status = DW_OK };
    for (int closed = 0; closed < 2; closed++) {
        plan.inductance_closed = closed ? 0.529 : 0;
        struct dw_coil *coil = made(&plan);
        double operate = NAN, release = NAN;
        succeeds(dw_coil_times(coil, NAN, &operate, &release, &error), error);
        dw_coil_free(coil);
        struct given g;
        const struct dw_coil_findings f = pulses(&g, &plan, 2, 0.47, 0.61);
        /* 60 time constants: the current is full within e^-60; events within 1e-12 of stretches of 0.5 s */
        near(f.operate, operate, 5e-13 / operate);
        near(f.release, release, 5e-13 / release);
        near(f.hold, dw_coil_full_current(&plan), 1e-13);
        ck_assert_uint_eq(f.pulses, 2);
        ck_assert_uint_eq(f.followed, 2);
    }
}
END_TEST

/* What the coil cannot do has no time, and is no error: too weak a current, a resistor that keeps it flowing. */
START_TEST(a_threshold_that_the_current_does_not_come_to_has_no_time)
{
    struct dw_coil_plan weak = valve, held = valve;
    weak.pull_in = 1.01 * dw_coil_full_current(&valve);
    held.clamp = DW_CLAMP_RESISTOR;
    held.clamp_at_switch = true;
    held.clamp_value = 0.9 * (held.supply / held.drop_out - held.resistance);
    struct dw_error error = { .status = DW_OK };
    double operate = 1, release = 1;
    struct dw_coil *coil = made(&weak);
    succeeds(dw_coil_times(coil, NAN, &operate, &release, &error), error);
    ck_assert(isnan(operate) && isnan(release));
    dw_coil_free(coil);
    coil = made(&held);
    succeeds(dw_coil_times(coil, NAN, &operate, &release, &error), error);
    ck_assert(operate > 0 && isnan(release));
    dw_coil_free(coil);
}
END_TEST

START_TEST(diode_takes_its_drop_times_the_charge)
{
    /* L i' = -d - R i gives the charge (L I - d T) / R, T the conduction: the clamp's energy without the integrals of the meter */
    struct dw_coil_plan plan = valve;
    const double full = dw_coil_full_current(&plan), constant = plan.inductance / plan.resistance;
    struct given g;
    const struct dw_coil_findings f = let_go(&g, &plan, full, 40 * constant);
    const double until = constant * log1p(full * plan.resistance / plan.diode_drop);
    const double charge = (plan.inductance * full - plan.diode_drop * until) / plan.resistance;
    near(f.total.clamp, plan.diode_drop * charge, 1e-12);
    near(f.total.copper + f.total.clamp, plan.inductance * full * full / 2, 1e-12);
    within_scale(f.total.supply, 0, 1e-15, f.total.clamp);
}
END_TEST

/* ---- stray capacitance ---- */

/* First peak of the switch's voltage: series R, L, C from current I and 0 V, driven by the supply: docs/theory.md, (8.7). */
static double ring_peak(const struct dw_coil_plan *p, double current, double *time)
{
    const double damping = p->resistance / (2 * p->inductance);
    const double angular = sqrt(1 / (p->inductance * p->stray) - damping * damping);
    const double sine = (p->supply - p->resistance * current / 2) / (p->inductance * angular);
    *time = (3.14159265358979323846 - atan2(current, sine)) / angular;
    const double slope = exp(-damping * *time) * angular * (sine * cos(angular * *time) - current * sin(angular * *time));
    return p->supply - p->inductance * slope;
}

START_TEST(unclamped_coil_rings_to_the_damped_peak)
{
    static const double strays[] = { 83e-12, 2.7e-9, 47e-9, 1.3e-6 };
    struct dw_coil_plan plan = valve;
    plan.clamp = DW_CLAMP_NONE;
    plan.stray = strays[_i];
    const double full = dw_coil_full_current(&plan);
    double time;
    const double peak = ring_peak(&plan, full, &time);
    struct given g;
    const struct dw_coil_findings f = let_go(&g, &plan, full, 4 * time);
    near(f.peak_switch, peak, 1e-11);
    /* and that is about the supply and I sqrt(L / C), before damping */
    ck_assert(peak < plan.supply + full * sqrt(plan.inductance / plan.stray));
    ck_assert(peak > 0.9 * full * sqrt(plan.inductance / plan.stray));
    within_scale(g.lowest_switch, -plan.diode_drop, 1e-12, plan.supply);
}
END_TEST

START_TEST(body_diode_gives_the_swing_back_to_the_supply)
{
    struct dw_coil_plan plan = valve;
    plan.clamp = DW_CLAMP_NONE;
    plan.stray = 2.7e-9;
    plan.resistance = 1e-3;  /* next to no damping: all of L I^2 / 2 comes back but for the drop */
    plan.pull_in = plan.drop_out = 0;
    const double current = 0.431, swing = sqrt(current * current + plan.stray / plan.inductance *
                                               (plan.supply * plan.supply - (plan.supply + plan.diode_drop) *
                                                (plan.supply + plan.diode_drop)));
    struct given g;
    const double takes = plan.inductance * swing / (plan.supply + plan.diode_drop);
    const struct dw_coil_findings f = let_go(&g, &plan, current, 1.5 * takes);
    /* lowest where the voltage passes the supply; R pi / (2 Z) is lost over half a turn, 1.34e-7 */
    near(f.lowest_current, -sqrt(current * current + plan.stray / plan.inductance * plan.supply * plan.supply), 1.4e-7);
    /* that loss, and at most R t / L = 1.8e-5 while the current falls */
    near(f.total.sw, plan.diode_drop * plan.inductance * swing * swing / 2 / (plan.supply + plan.diode_drop), 2e-5);
    ck_assert(f.total.supply < 0);
}
END_TEST

START_TEST(closing_on_a_charged_stray_loses_its_energy)
{
    struct dw_coil_plan plan = valve;
    plan.stray = 3.3e-9;
    struct given g;
    const struct dw_coil_findings f = pulses(&g, &plan, 3, 0.21, 0.43);
    /* at rest the switch stands at the supply; the ring of the diode's drop has died out after 0.2 s to e^-13 */
    near(f.energy.stray, plan.stray * plan.supply * plan.supply / 2, 1e-4);
    near(f.total.stray, 4 * plan.stray * plan.supply * plan.supply / 2, 1e-4);
}
END_TEST

START_TEST(leaking_ring_leaves_its_body_diode)
{
    /* the voltage rises from a slope of exactly zero there, which rounding must not take for a fall */
    for (int k = 0; k < 40; k++) {
        struct dw_coil_plan plan = with_clamp(4);
        plan.clamp_value = 2163 + 71.3 * k;
        plan.stray = 1.1e-6 * (1 + k % 7);
        struct given g;
        const struct dw_coil_findings f = let_go(&g, &plan, dw_coil_full_current(&plan), 0.5);
        ck_assert(f.lowest_current < -plan.diode_drop / plan.clamp_value);
        within_scale(g.lowest_switch, -plan.diode_drop, 1e-12, plan.supply);
        near(g.before[DW_COIL_CURRENT], plan.supply / (plan.resistance + plan.clamp_value), 1e-6);
    }
}
END_TEST

/* ---- laws ---- */

static double missing(const struct dw_coil_energy *e)
{
    return e->supply - e->copper - e->clamp - e->sw - e->stray - e->armature - e->stored;
}

START_TEST(energy_is_accounted_for)
{
    for (int variant = 0; variant < 8; variant++) {
        struct dw_coil_plan plan = with_clamp(_i);
        plan.stray = variant & 1 ? 1.9e-9 : 0;
        plan.inductance_closed = variant & 2 ? 0.523 : 0;
        plan.switch_resistance = variant & 4 && !(variant & 1) ? 1.7 : 0;
        struct given g;
        const struct dw_coil_findings f = pulses(&g, &plan, 5, 0.0237, 0.0391);
        ck_assert(f.total.supply > 0 && f.total.copper > 0 && f.total.clamp > 0);
        ck_assert((f.total.armature > 0) == ((variant & 2) != 0));
        ck_assert((f.total.stray > 0) == ((variant & 1) != 0));
        within_scale(missing(&f.total), 0, 1e-12, f.total.supply);
        within_scale(missing(&f.energy), 0, 1e-12, f.energy.supply);
        near(f.cycle, 0.0391, 1e-12);
    }
}
END_TEST

START_TEST(energy_of_a_ring_is_accounted_for)
{
    struct dw_coil_plan plan = valve;
    plan.clamp = DW_CLAMP_NONE;
    plan.stray = 1.9e-9;
    struct given g;
    const struct dw_coil_findings f = pulses(&g, &plan, 5, 0.0237, 0.0391);
    ck_assert(f.total.sw > 0 && f.total.stray > 0);
    ck_assert(f.total.clamp == 0);
    within_scale(missing(&f.total), 0, 1e-11, f.total.supply);
}
END_TEST

START_TEST(flux_goes_on_while_the_armature_moves)
{
    struct dw_coil_plan plan = with_clamp(_i);
    plan.inductance_closed = 0.611;
    struct given g;
    const struct dw_coil_findings f = pulses(&g, &plan, 1, 0.4, 0.8);
    ck_assert_uint_eq(f.drop_outs, 1);
    near(g.flux_after, g.flux_before, 4 * DBL_EPSILON);
    near(g.flux_before, plan.inductance_closed * plan.drop_out, 1e-12);
}
END_TEST

START_TEST(steady_start_is_the_freewheeling_ripple)
{
    struct dw_coil_plan plan = valve;
    plan.pull_in = plan.drop_out = 0;
    const double period = 1.7e-3, duty = 0.37, constant = plan.inductance / plan.resistance;
    const double time[] = { 0, duty * period, duty * period, period }, pin[] = { 5, 5, 0, 0 };
    struct dw_error error = { .status = DW_OK };
    struct dw_coil *coil = made(&plan);
    double state[DW_COIL_STATES];
    size_t mode = dw_plant_rest(dw_coil_plant(coil), state);
    succeeds(dw_modes_steady(dw_plant_modes(dw_coil_plant(coil)), &(struct dw_period){ time, pin, 4, NULL }, &mode, state, NULL, &error), error);
    const double on = exp(-duty * period / constant), off = exp(-(1 - duty) * period / constant);
    const double full = plan.supply / plan.resistance, drop = plan.diode_drop / plan.resistance;
    near(state[DW_COIL_CURRENT], (full * (1 - on) * off - drop * (1 - off)) / (1 - on * off), 1e-11);
    dw_coil_free(coil);
}
END_TEST

START_TEST(steady_start_knows_where_the_armature_is)
{
    /* at 61 % the mean is above the pull-in: reached from rest, the armature is in and stays; at 45 % it never gets in */
    static const struct { double duty; bool in; } cases[] = { { 0.61, true }, { 0.45, false }, { 0.95, true } };
    struct dw_error error = { .status = DW_OK };
    struct dw_coil *coil = made(&valve);
    for (size_t k = 0; k < 3; k++) {
        const double period = 2e-3, time[] = { 0, cases[k].duty * period, cases[k].duty * period, period };
        const double pin[] = { 5, 5, 0, 0 };
        double state[DW_COIL_STATES];
        size_t mode = dw_plant_rest(dw_coil_plant(coil), state);
        succeeds(dw_modes_steady(dw_plant_modes(dw_coil_plant(coil)), &(struct dw_period){ time, pin, 4, NULL }, &mode, state, NULL, &error), error);
        ck_assert_int_eq(dw_coil_pulled_in(coil, mode), cases[k].in);
    }
    dw_coil_free(coil);
}
END_TEST

START_TEST(fast_pulses_are_not_followed)
{
    struct given g;
    struct dw_coil_findings f = pulses(&g, &valve, 60, 1.4e-3, 2e-3);
    ck_assert_uint_eq(f.pulses, 60);
    ck_assert_uint_eq(f.followed, 0);
    ck_assert_uint_eq(f.pull_ins, 1);
    ck_assert_uint_eq(f.drop_outs, 0);
    ck_assert(f.pulled_in);
    near(f.off_longest, 0.6e-3, 1e-12);
    near(f.on_longest, 1.4e-3, 1e-12);
    /* the hold is a valley, the switch goes off at a peak */
    ck_assert(f.hold < f.off_current && f.hold > valve.drop_out);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("load: coil");
    TCase *once = tcase_create("laws and closed forms"), *each = tcase_create("each clamp");
    tcase_add_test(once, current_rises_by_the_time_constant);
    tcase_add_test(once, a_threshold_that_the_current_does_not_come_to_has_no_time);
    tcase_add_test(once, diode_takes_its_drop_times_the_charge);
    tcase_add_loop_test(once, unclamped_coil_rings_to_the_damped_peak, 0, 4);
    tcase_add_test(once, body_diode_gives_the_swing_back_to_the_supply);
    tcase_add_test(once, closing_on_a_charged_stray_loses_its_energy);
    tcase_add_test(once, leaking_ring_leaves_its_body_diode);
    tcase_add_test(once, energy_of_a_ring_is_accounted_for);
    tcase_add_test(once, steady_start_is_the_freewheeling_ripple);
    tcase_add_test(once, steady_start_knows_where_the_armature_is);
    tcase_add_test(once, fast_pulses_are_not_followed);
    tcase_add_loop_test(each, each_clamp_lets_go_by_its_closed_form, 0, CLAMPS);
    tcase_add_loop_test(each, times_are_those_of_a_run, 0, CLAMPS);
    tcase_add_loop_test(each, energy_is_accounted_for, 0, CLAMPS);
    tcase_add_loop_test(each, flux_goes_on_while_the_armature_moves, 0, CLAMPS);
    suite_add_tcase(suite, once);
    suite_add_tcase(suite, each);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || !run ? 1 : 0;
}
