/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ladders: the reduction to a state space, which parts may be zero, what merges, what is refused. */
#include "load/random_ladder.h"
#include "suite.h"
#include <complex.h>
#include <float.h>
#include <string.h>

static struct dw_ladder *new_ladder(const struct dw_ladder_plan *plan)
{
    struct dw_error error = { DW_OK };
    struct dw_ladder *ladder = dw_ladder_new(plan, &error);
    ck_assert_msg(ladder != NULL, "%s", error.text);
    return ladder;
}

static struct dw_system *ladder_system(const struct dw_ladder_plan *plan)
{
    struct dw_error error = { DW_OK };
    struct dw_ladder *ladder = new_ladder(plan);
    struct dw_system *system = dw_ladder_system(ladder, &error);
    ck_assert_msg(system != NULL, "%s", error.text);
    dw_ladder_free(ladder);
    return system;
}

typedef long double complex phasor;

static phasor series_impedance(const struct dw_stage *stage, phasor s)
{
    if (stage->l == 0)
        return stage->r;
    const phasor coil = s * stage->l, beside = stage->rp + s * stage->lp;
    return stage->r + (stage->rp > 0 ? coil * beside / (coil + beside) : coil);
}

static phasor shunt_admittance(const struct dw_stage *stage, phasor s)
{
    phasor sum = 0;
    if (stage->c > 0)
        sum += 1 / (stage->esr + 1 / (s * stage->c + (stage->leak > 0 ? 1 / (long double)stage->leak : 0)));
    if (stage->cd > 0)
        sum += 1 / (stage->rd + 1 / (s * stage->cd));
    return sum;
}

/* Voltages behind each stage and currents through it for one volt at the pin: from the output backwards with one volt
 * there, then all divided by what the pin would have. */
static void chain_matrix(const struct dw_ladder_plan *plan, phasor s, phasor *voltage, phasor *current)
{
    phasor v = 1, i = plan->load > 0 ? 1 / (long double)plan->load : 0;
    for (size_t k = plan->count; k-- > 0;) {
        voltage[k] = v;
        i += v * shunt_admittance(plan->stages + k, s);
        current[k] = i;
        v += i * series_impedance(plan->stages + k, s);
    }
    v += i * plan->source;
    for (size_t k = 0; k < plan->count; k++) {
        voltage[k] /= v;
        current[k] /= v;
    }
}

/* Output index of the voltage behind stage k, and of its current. */
static size_t voltage_output(const struct dw_ladder_plan *plan, size_t k)
{
    return k + 1 == plan->count ? 2 * plan->count - 1 : 2 * k;
}

static size_t current_output(const struct dw_ladder_plan *plan, size_t k)
{
    return k + 1 == plan->count ? 2 * plan->count - 2 : 2 * k + 1;
}

static double largest_conductance(const struct dw_ladder_plan *plan)
{
    double least = plan->source > 0 ? plan->source : INFINITY;
    for (size_t k = 0; k < plan->count; k++) {
        const double parts[] = { plan->stages[k].r, plan->stages[k].esr, plan->stages[k].rd, plan->stages[k].rp };
        for (size_t i = 0; i < 4; i++)
            if (parts[i] > 0)
                least = fmin(least, parts[i]);
    }
    return 1 / least;
}

START_TEST(every_output_of_300_random_ladders_responds_as_its_chain_of_impedances)
{
    for (int trial = 0; trial < 300; trial++) {
        struct random_ladder ladder;
        random_ladder(&ladder, trial % 3 ? 4 : 12);
        struct dw_system *system = ladder_system(&ladder.plan);
        struct dw_error error;
        for (int j = 0; j < 7; j++) {
            const double angular = pow(10, j * 1.3 - 0.7);
            double real[2 * DW_STAGES], imaginary[2 * DW_STAGES];
            phasor voltage[DW_STAGES], current[DW_STAGES];
            succeeds(dw_system_response(system, 0, angular, real, imaginary, &error), error);
            chain_matrix(&ladder.plan, I * (long double)angular, voltage, current);
            double most = 0;
            for (size_t k = 0; k < ladder.plan.count; k++)
                most = fmax(most, (double)cabsl(current[k]));
            for (size_t k = 0; k < ladder.plan.count; k++) {
                const size_t v = voltage_output(&ladder.plan, k), i = current_output(&ladder.plan, k);
                /* rows of C hold conductances rounded to double: a current is a difference of products of them with
                 * voltages, so its error is some 64 ulp of the largest conductance, 1.4e-2 times 1e-12 */
                const double conductance = largest_conductance(&ladder.plan);
                within_scale(hypot(real[v] - creal(voltage[k]), imaginary[v] - cimag(voltage[k])), 0, 1e-12, 1);
                within_scale(hypot(real[i] - creal(current[k]), imaginary[i] - cimag(current[k])), 0, 1e-12,
                             fmax(most, 1.4e-2 * conductance));
            }
        }
        dw_system_free(system);
    }
}
END_TEST

START_TEST(equal_capacitors_and_coils_merge_exactly)
{
    /* three capacitors on one node, two coils in one line, against one of each */
    const struct dw_stage apart[] = { { .r = 3, .l = 1e-3 }, { .r = 4, .l = 2e-3, .c = 1e-6 }, { .c = 2e-6 },
                                      { .c = 4e-6, .leak = 1e4 } };
    const struct dw_stage merged[] = { { .r = 7, .l = 3e-3, .c = 7e-6, .leak = 1e4 } };
    struct dw_ladder *ladder = new_ladder(&(struct dw_ladder_plan){ .stages = apart, .count = 4, .load = 50 });
    ck_assert_uint_eq(dw_ladder_states(ladder), 2);
    dw_ladder_free(ladder);
    struct dw_system *one = ladder_system(&(struct dw_ladder_plan){ .stages = apart, .count = 4, .load = 50 });
    struct dw_system *other = ladder_system(&(struct dw_ladder_plan){ .stages = merged, .count = 1, .load = 50 });
    struct dw_error error;
    double x[] = { 0.1, 0.7 }, y[] = { 0.1, 0.7 };
    const double u = 5;
    succeeds(dw_system_advance(one, &(struct dw_interval){ x, &u, &u, 1.3e-4, NULL }, 0, x, &error), error);
    succeeds(dw_system_advance(other, &(struct dw_interval){ y, &u, &u, 1.3e-4, NULL }, 0, y, &error), error);
    for (size_t i = 0; i < 2; i++)
        near(x[i], y[i], 4 * DBL_EPSILON);  /* 1e-6 + 2e-6 + 4e-6 and 7e-6 differ by an ulp */
    dw_system_free(one);
    dw_system_free(other);
}
END_TEST

START_TEST(a_nano_ohm_between_capacitors_is_nearly_a_merge)
{
    const struct dw_stage apart[] = { { .r = 4700, .c = 1e-6 }, { .r = 1e-9, .c = 1e-6 } };
    const struct dw_stage merged[] = { { .r = 4700, .c = 2e-6 } };
    struct dw_system *one = ladder_system(&(struct dw_ladder_plan){ .stages = apart, .count = 2 });
    struct dw_system *other = ladder_system(&(struct dw_ladder_plan){ .stages = merged, .count = 1 });
    struct dw_error error;
    double x[] = { 0, 0 }, y = 0;
    const double u = 5;
    succeeds(dw_system_advance(one, &(struct dw_interval){ x, &u, &u, 0.0123, NULL }, 0, x, &error), error);
    succeeds(dw_system_advance(other, &(struct dw_interval){ &y, &u, &u, 0.0123, NULL }, 0, &y, &error), error);
    /* rates 2e15 and 106: the slow one is kept to 1e-14, the circuits differ by 1e-9 / 4700 */
    near(x[1], y, 1e-12);
    dw_system_free(one);
    dw_system_free(other);
}
END_TEST

START_TEST(an_open_end_follows_its_node_and_an_esr_lets_the_output_jump)
{
    const struct dw_stage stages[] = { { .r = 100, .c = 1e-6, .esr = 25 }, { .r = 1000, .l = 1e-3 } };
    struct dw_system *system = ladder_system(&(struct dw_ladder_plan){ .stages = stages, .count = 2 });
    const double x = 0.3, u = 5;
    double y[4];
    ck_assert_uint_eq(dw_system_states(system), 1);
    dw_system_output(system, &x, &u, y);
    near(y[0], 0.3 + (5 - 0.3) * 0.2, 4 * DBL_EPSILON);
    near(y[3], y[0], 4 * DBL_EPSILON);
    within_scale(y[2], 0, 0, 1);
    near(y[1], (5 - 0.3) / 125, 8 * DBL_EPSILON);
    dw_system_free(system);
}
END_TEST

/* Which part of a stage r, l, lp, rp, c, esr, leak, rd, cd may be zero while all the others are there. */
START_TEST(each_part_may_be_zero_or_is_missed_by_its_neighbour)
{
    static const struct {
        const char *part, *text;
    } cases[] = {
        { "r", NULL }, { "l", "stage 1: lp is there without l" }, { "lp", NULL }, { "rp", "stage 1: lp is there without rp" },
        { "c", "stage 1: esr is there without c" }, { "esr", NULL }, { "leak", NULL }, { "rd", "stage 1: cd is there without rd" },
        { "cd", "stage 1: rd is there without cd" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        double part[] = { 3.3, 1e-3, 2e-3, 100, 1e-6, 0.1, 1e5, 47, 3e-6 };
        part[i] = 0;
        const struct dw_stage stage = { .r = part[0], .l = part[1], .lp = part[2], .rp = part[3], .c = part[4],
                                        .esr = part[5], .leak = part[6], .rd = part[7], .cd = part[8] };
        struct dw_error error;
        struct dw_ladder *ladder = dw_ladder_new(&(struct dw_ladder_plan){ .stages = &stage, .count = 1 }, &error);
        if (cases[i].text) {
            ck_assert_ptr_null(ladder);
            ck_assert_str_eq(error.text, cases[i].text);
        } else {
            ck_assert_msg(ladder != NULL, "%s=0: %s", cases[i].part, error.text);
        }
        dw_ladder_free(ladder);
    }
}
END_TEST

START_TEST(what_stands_straight_across_an_ideal_pin_changes_nothing_behind_it)
{
    const struct dw_stage alone = { .r = 4.7e3, .c = 220e-9, .esr = 1.3 };
    struct dw_stage both[2] = { { .c = 1e-6, .esr = 2.2 }, alone };
    struct dw_error error;
    struct dw_system *plain = ladder_system(&(struct dw_ladder_plan){ &alone, 1, 0, 1e6 });
    for (int damped = 0; damped < 2; damped++) {
        both[0].rd = damped * 10;
        both[0].cd = damped * 3e-6;
        struct dw_system *system = ladder_system(&(struct dw_ladder_plan){ both, 2, 0, 1e6 });
        for (double w = 1; w < 1e7; w *= 7) {
            double real[DW_OUTPUTS], imaginary[DW_OUTPUTS], want_real[DW_OUTPUTS], want_imaginary[DW_OUTPUTS];
            const size_t last = dw_system_outputs(system) - 1, plain_last = dw_system_outputs(plain) - 1;
            succeeds(dw_system_response(system, 0, w, real, imaginary, &error), error);
            succeeds(dw_system_response(plain, 0, w, want_real, want_imaginary, &error), error);
            within_scale(real[last], want_real[plain_last], 64 * DBL_EPSILON, hypot(want_real[plain_last], want_imaginary[plain_last]));
            within_scale(imaginary[last], want_imaginary[plain_last], 64 * DBL_EPSILON,
                         hypot(want_real[plain_last], want_imaginary[plain_last]));
        }
        dw_system_free(system);
    }
    dw_system_free(plain);
}
END_TEST

START_TEST(refusals_name_the_stage_and_the_cure)
{
    static const struct {
        struct dw_stage stages[2];
        size_t count;
        double source, load;
        const char *text;
    } cases[] = {
        { { { .c = 1e-6 } }, 1, 0, 0,
          "stage 1: its capacitor is straight across the pin, the current would be unbounded; give --source, or r, l or esr" },
        { { { .c = 1e-6, .esr = 1 }, { .c = 1e-6 } }, 2, 0, 0,
          "stage 2: its capacitor is straight across the pin, the current would be unbounded; give --source, or r, l or esr" },
        { { { .r = -1, .c = 1e-6 } }, 1, 0, 0, "stage 1: r=-1: resistance must be finite and not below zero" },
        { { { .r = 1, .c = INFINITY } }, 1, 0, 0, "stage 1: c=inf: capacitance must be finite and not below zero" },
        { { { .r = 1, .c = 1e-6 }, { .l = NAN } }, 2, 0, 0, "stage 2: l=nan: inductance must be finite and not below zero" },
        { { { .r = 1, .c = 1e-6, .rp = 1 } }, 1, 0, 0, "stage 1: rp is there without l" },
        { { { .r = 1, .leak = 5 } }, 1, 0, 0, "stage 1: leak is there without c" },
        { { { .r = 1, .cd = 5 } }, 1, 0, 0, "stage 1: cd is there without c" },
        { { { .r = 1, .c = 1e-6 }, { .r = 0 } }, 2, 0, 0, "stage 2: no part: give r, l or c" },
        { { { .r = 1 } }, 1, 0, 50, "nothing in the ladder stores anything: give c, or l with a load" },
        { { { .l = 1 } }, 1, 0, 0, "nothing in the ladder stores anything: give c, or l with a load" },
        { { { .r = 1 } }, 1, 50, 0, "nothing in the ladder stores anything: give c, or l with a load" },
        { { { .l = 1 }, { .l = 2, .lp = 1, .rp = 5 } }, 2, 0, 50,
          "stage 2: without c between them its coil is in series with that of stage 1, and a damping branch lp beside one of the "
          "two cannot be; give c" },
        { { { .l = 1, .lp = 1, .rp = 5 }, { .l = 2 } }, 2, 0, 50,
          "stage 1: without c between them its coil is in series with that of stage 2, and a damping branch lp beside one of the "
          "two cannot be; give c" },
        { { { .r = 1 } }, 0, 0, 0, "0 stages: a ladder has 1 to 6" },
        { { { .r = 1 } }, 7, 0, 0, "7 stages: a ladder has 1 to 6" },
        { { { .r = 1, .c = 1 } }, 1, INFINITY, 0, "source inf ohm: must be finite and not below zero" },
        { { { .r = 1, .c = 1 } }, 1, 0, INFINITY, "load inf ohm: must be finite and not below zero" },
        { { { .r = 1, .c = 1 } }, 1, -1, 0, "source -1 ohm: must be finite and not below zero" },
        { { { .r = 1, .c = 1 } }, 1, 0, NAN, "load nan ohm: must be finite and not below zero" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_error error;
        ck_assert_ptr_null(dw_ladder_new(&(struct dw_ladder_plan){ cases[i].stages, cases[i].count, cases[i].source, cases[i].load },
                                         &error));
        ck_assert_str_eq(error.text, cases[i].text);
    }
    const struct dw_stage damped = { .l = 1e-3, .rp = 10, .c = 1e-6 };
    struct dw_ladder *ladder = new_ladder(&(struct dw_ladder_plan){ &damped, 1, 0, 0 });
    struct dw_error error;
    ck_assert_ptr_null(dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = 5, .drive = DW_ONE_SWITCH }, &error));
    ck_assert_str_eq(error.text, "stage 1: rp: with one switch the coil behind the pin takes no damping branch beside it");
    ck_assert_ptr_null(dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = 0 }, &error));
    ck_assert_str_eq(error.text, "supply 0 V must be above zero, diode drop 0 V not below");
    ck_assert_ptr_null(dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = INFINITY }, &error));
    ck_assert_str_eq(error.text, "supply inf V must be above zero, diode drop 0 V not below");
    ck_assert_ptr_null(dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = 5, .diode_drop = -1 }, &error));
    ck_assert_str_eq(error.text, "supply 5 V must be above zero, diode drop -1 V not below");
    ck_assert_ptr_null(dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = 5, .diode_drop = INFINITY }, &error));
    ck_assert_str_eq(error.text, "supply 5 V must be above zero, diode drop inf V not below");
    dw_ladder_free(ladder);
    ladder = new_ladder(&(struct dw_ladder_plan){ &(struct dw_stage){ .r = 10, .c = 1e-6, .esr = 1 }, 1, 0, 0 });
    ck_assert_ptr_null(dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = 5, .drive = DW_ONE_SWITCH, .drawn = true }, &error));
    ck_assert_str_eq(error.text, "a current drawn behind one switch needs a coil in the first stage, or no esr in the last");
    dw_ladder_free(ladder);
    dw_ladder_free(NULL);
}
END_TEST

START_TEST(outputs_are_named_in_order_and_charged_states_hold_their_energy)
{
    const struct dw_stage stages[] = { { .r = 1, .l = 1e-3, .c = 2e-6 }, { .r = 5, .c = 3e-6, .esr = 1, .rd = 4, .cd = 5e-6 } };
    struct dw_ladder *ladder = new_ladder(&(struct dw_ladder_plan){ .stages = stages, .count = 2 });
    static const char *const names[] = { "node1", "current1", "current2", "out" };
    static const char *const units[] = { "V", "A", "A", "V" };
    ck_assert_uint_eq(dw_ladder_outputs(ladder), 4);
    for (size_t i = 0; i < 4; i++) {
        const char *name, *unit;
        dw_ladder_output(ladder, i, &name, &unit);
        ck_assert_str_eq(name, names[i]);
        ck_assert_str_eq(unit, units[i]);
    }
    double state[4];
    ck_assert_uint_eq(dw_ladder_states(ladder), 4);
    dw_ladder_charged(ladder, 3, state);
    near(dw_ladder_energy(ladder, state), 9 * (2e-6 + 3e-6 + 5e-6) / 2, 8 * DBL_EPSILON);
    /* pin to ground through 1 ohm of wire and a coil: no more than supply / 1 ohm, and sqrt(c/l) of all capacitors */
    near(dw_ladder_current_scale(ladder, 7), 7 * sqrt(10e-6 / 1e-3), 8 * DBL_EPSILON);
    dw_ladder_free(ladder);
}
END_TEST

/* Ends a run of pulses through modes; gives the final state. */
static void run_pulses(struct dw_modes *modes, double period, double duty, double high, int periods, double *state, size_t n)
{
    struct dw_error error;
    const double zero = 0;
    struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ .sink = NULL }, &error);
    succeeds(dw_run_start(run, 0, 0, state, &high, &error), error);
    for (int k = 0; k < periods; k++) {
        succeeds(dw_run_feed(run, (k + duty) * period, &high, &error), error);
        succeeds(dw_run_feed(run, (k + duty) * period, &zero, &error), error);
        succeeds(dw_run_feed(run, (k + 1) * period, &zero, &error), error);
        succeeds(dw_run_feed(run, (k + 1) * period, &high, &error), error);
    }
    memcpy(state, dw_run_state(run), n * sizeof *state);
    dw_run_free(run);
}

START_TEST(one_switch_without_drop_is_push_pull_while_the_current_flows)
{
    const struct dw_stage stage = { .r = 0.3, .l = 330e-6, .c = 47e-6, .esr = 0.05 };
    struct dw_ladder *ladder = new_ladder(&(struct dw_ladder_plan){ .stages = &stage, .count = 1, .load = 3 });
    struct dw_ladder_setup setup = { .supply = 12, .threshold = 6 };
    struct dw_error error;
    struct dw_plant *pushed = dw_ladder_plant_new(ladder, &setup, &error);
    setup.drive = DW_ONE_SWITCH;
    struct dw_plant *switched = dw_ladder_plant_new(ladder, &setup, &error);
    ck_assert_ptr_nonnull(pushed);
    ck_assert_ptr_nonnull(switched);
    double x[] = { 1, 3 }, y[] = { 1, 3 };
    run_pulses(dw_plant_modes(pushed), 20e-6, 0.41, 12, 300, x, 2);
    run_pulses(dw_plant_modes(switched), 20e-6, 0.41, 12, 300, y, 2);
    for (size_t i = 0; i < 2; i++)
        near(y[i], x[i], 1e-12);
    dw_plant_free(pushed);
    dw_plant_free(switched);
    dw_ladder_free(ladder);
}
END_TEST

START_TEST(one_switch_into_resistance_rests_between_pulses)
{
    /* off: no way back to the pin, so c drains into the load alone: v = v1 exp(-t / (load c)) */
    const struct dw_stage stage = { .r = 100, .c = 1e-6 };
    struct dw_ladder *ladder = new_ladder(&(struct dw_ladder_plan){ .stages = &stage, .count = 1, .load = 900 });
    struct dw_error error;
    struct dw_plant *plant = dw_ladder_plant_new(
        ladder, &(struct dw_ladder_setup){ .supply = 10, .threshold = 2.5, .drive = DW_ONE_SWITCH, .diode_drop = 0.7 }, &error);
    ck_assert_ptr_nonnull(plant);
    double v = 0;
    run_pulses(dw_plant_modes(plant), 1e-3, 0.2, 5, 1, &v, 1);
    near(v, 9 * -expm1(-200e-6 / 90e-6) * exp(-800e-6 / 900e-6), 1e-11);
    dw_plant_free(plant);
    dw_ladder_free(ladder);
}
END_TEST

START_TEST(a_current_that_flows_back_at_switch_off_returns_to_the_supply)
{
    /* the coil carries -1 A when the switch opens: the pin stands at supply + drop until it is gone */
    const struct dw_stage stage = { .l = 1e-3, .c = 1e4 };
    struct dw_ladder *ladder = new_ladder(&(struct dw_ladder_plan){ .stages = &stage, .count = 1 });
    struct dw_error error;
    struct dw_plant *plant = dw_ladder_plant_new(
        ladder, &(struct dw_ladder_setup){ .supply = 10, .threshold = 2.5, .drive = DW_ONE_SWITCH, .diode_drop = 0.7 }, &error);
    ck_assert_ptr_nonnull(plant);
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ .sink = NULL }, &error);
    const double x[] = { -1, 4 }, off = 0;
    succeeds(dw_run_start(run, 0, 0, x, &off, &error), error);
    succeeds(dw_run_feed(run, 0.1e-3, &off, &error), error);
    /* i = -1 + (10.7 - 4) t / l, c so large that 4 V stay */
    near(dw_run_state(run)[0], -1 + 6.7 * 0.1, 1e-7);
    succeeds(dw_run_feed(run, 0.2e-3, &off, &error), error);
    within_scale(dw_run_state(run)[0], 0, 0, 1);
    dw_run_free(run);
    dw_plant_free(plant);
    dw_ladder_free(ladder);
}
END_TEST

SUITE("load: smoothing ladder", every_output_of_300_random_ladders_responds_as_its_chain_of_impedances,
      equal_capacitors_and_coils_merge_exactly, a_nano_ohm_between_capacitors_is_nearly_a_merge,
      an_open_end_follows_its_node_and_an_esr_lets_the_output_jump, each_part_may_be_zero_or_is_missed_by_its_neighbour,
      what_stands_straight_across_an_ideal_pin_changes_nothing_behind_it,
      refusals_name_the_stage_and_the_cure, outputs_are_named_in_order_and_charged_states_hold_their_energy,
      one_switch_without_drop_is_push_pull_while_the_current_flows, one_switch_into_resistance_rests_between_pulses,
      a_current_that_flows_back_at_switch_off_returns_to_the_supply)
