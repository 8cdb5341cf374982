/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is conserved: energy in is energy lost and stored; over a steady period each capacitor's charge and each coil's
 * volt-seconds come back. */
#include "load/ladder_inner.h" /* the current of each part: outputs are nodes and whole stages */
#include "load/random_ladder.h"
#include "suite.h"
#include <float.h>
#include <string.h>

enum { TRIALS = 60, ROWS = 6, ELEMENTS = 5 * DW_STAGES + 2 };

/* A pulse with an edge and a jump. */
struct pulse {
    double time[ROWS], input[ROWS];
};

static struct pulse make_pulse(double period)
{
    const double high = 4.87, edge = 0.03 * period, on = 0.37 * period;
    return (struct pulse){ { 0, edge, on, on + edge, on + edge, period }, { 0, high, high, 0.2, 0, 0 } };
}

static struct dw_ladder *new_ladder(const struct dw_ladder_plan *plan)
{
    struct dw_error error = { DW_OK };
    struct dw_ladder *ladder = dw_ladder_new(plan, &error);
    ck_assert_msg(ladder != NULL, "%s", error.text);
    return ladder;
}

/* Outputs of one's own on a ladder's state space: rows (states | pin). */
struct probes {
    double c[ELEMENTS * LADDER_STATES], d[ELEMENTS], factor[ELEMENTS];
    size_t count;
};

static double *add_probe(struct probes *probes, size_t n, double factor)
{
    double *row = probes->c + probes->count * n;
    memset(row, 0, n * sizeof *row);
    probes->d[probes->count] = 0;
    probes->factor[probes->count++] = factor;
    return row;
}

static void add_form(struct probes *probes, size_t n, const struct doubled *form, double sign)
{
    double *row = probes->c + (probes->count - 1) * n;
    for (size_t i = 0; i < n; i++)
        row[i] += sign * form[i].hi;
    probes->d[probes->count - 1] += sign * form[PIN].hi;
}

static struct dw_system *probed(const struct dw_ladder *ladder, const struct probes *probes)
{
    const size_t n = ladder->net.states;
    double a[LADDER_STATES * LADDER_STATES], a_low[LADDER_STATES * LADDER_STATES], b[LADDER_STATES], b_low[LADDER_STATES];
    double weight[LADDER_STATES];
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            a[i * n + j] = ladder->forms.rate[i][j].hi;
            a_low[i * n + j] = ladder->forms.rate[i][j].lo;
        }
        b[i] = ladder->forms.rate[i][PIN].hi;
        b_low[i] = ladder->forms.rate[i][PIN].lo;
        weight[i] = ladder->net.weight[i].hi;
    }
    struct dw_error error = { DW_OK };
    struct dw_system *system = dw_system_new(
        &(struct dw_matrices){ .states = n, .inputs = 1, .outputs = probes->count, .a = a, .b = b, .c = probes->c,
                               .d = probes->d, .a_low = a_low, .b_low = b_low, .weight = weight },
        &error);
    ck_assert_msg(system != NULL, "%s", error.text);
    return system;
}

static const struct doubled *node_voltage(const struct dw_ladder *ladder, size_t k)
{
    const size_t count = ladder->net.count;
    return ladder->forms.output[k < count ? 2 * (k - 1) : 2 * count - 1];
}

static const struct doubled *stage_current(const struct dw_ladder *ladder, size_t k)
{
    return ladder->forms.output[2 * (k - 1) + (k < ladder->net.count)];
}

/* Probes: the pin, its current, then what each resistor has, factor times its square being its heat. */
static void resistor_probes(const struct dw_ladder *ladder, struct probes *probes)
{
    const struct ladder_net *net = &ladder->net;
    const size_t n = net->states;
    probes->count = 0;
    add_probe(probes, n, 0);
    probes->d[0] = 1;
    add_probe(probes, n, net->source);
    add_form(probes, n, stage_current(ladder, 1), 1);
    for (size_t k = 1; k <= net->count; k++) {
        const struct dw_stage *stage = net->stages + k;
        const struct branch *branch = net->branches + k;
        add_probe(probes, n, stage->r);
        add_form(probes, n, stage_current(ladder, k), 1);
        if (branch->beside >= 0) {
            add_probe(probes, n, stage->rp)[branch->beside] = 1;
        } else if (stage->rp > 0 && branch->coil >= 0) {
            add_probe(probes, n, stage->rp)[branch->coil] = -1;
            add_form(probes, n, stage_current(ladder, k), 1);
        }
        if (stage->esr > 0) {
            add_probe(probes, n, 1 / stage->esr)[net->capacitor[k]] = -1;
            add_form(probes, n, node_voltage(ladder, k), 1);
        }
        if (stage->leak > 0)
            add_probe(probes, n, 1 / stage->leak)[net->capacitor[k]] = 1;
        if (stage->cd > 0) {
            add_probe(probes, n, 1 / stage->rd)[net->damper[k]] = -1;
            add_form(probes, n, node_voltage(ladder, k), 1);
        }
    }
    if (net->load > 0) {
        add_probe(probes, n, 1 / net->load);
        add_form(probes, n, node_voltage(ladder, net->count), 1);
    }
}

/* A period like the slowest or the fastest rate, so that none has died out everywhere. */
static double choose_period(struct dw_ladder *ladder, int trial)
{
    double real[LADDER_STATES], imaginary[LADDER_STATES];
    struct dw_error error;
    struct dw_system *system = dw_ladder_system(ladder, &error);
    succeeds(dw_system_rates(system, real, imaginary, &error), error);
    const size_t i = trial % 2 ? 0 : dw_system_states(system) - 1;
    dw_system_free(system);
    return ladder_between(0.3, 10) / hypot(real[i], imaginary[i]);
}

START_TEST(energy_in_is_energy_lost_and_stored)
{
    ladder_seed = 20240229;
    for (int trial = 0; trial < TRIALS; trial++) {
        struct random_ladder random;
        struct dw_error error;
        struct probes probes;
        random_ladder(&random, trial % 3 ? 3 : 8);
        struct dw_ladder *ladder = new_ladder(&random.plan);
        resistor_probes(ladder, &probes);
        struct dw_system *system = probed(ladder, &probes);
        const struct pulse pulse = make_pulse(choose_period(ladder, trial));
        double x[LADDER_STATES] = { 0 }, in = 0, lost = 0, passed = 0;
        for (size_t i = 1; i < ROWS; i++) {
            const double length = pulse.time[i] - pulse.time[i - 1], *u = pulse.input + i - 1;
            const struct dw_interval over = { x, u, u + 1, length, NULL };
            double part;
            succeeds(dw_system_integrals(system, &over, &(struct dw_integrand){ 0, 1 }, 1, &part, &error), error);
            in += part;
            passed += fabs(part);
            for (size_t k = 1; k < probes.count; k++) {
                succeeds(dw_system_integrals(system, &over, &(struct dw_integrand){ k, k }, 1, &part, &error), error);
                lost += probes.factor[k] * part;
            }
            succeeds(dw_system_advance(system, &(struct dw_interval){ x, u, u + 1, length, NULL }, 0, x, &error), error);
        }
        within_scale(in, lost + dw_ladder_energy(ladder, x), 1e-10, passed);
        dw_system_free(system);
        dw_ladder_free(ladder);
    }
}
END_TEST

START_TEST(charge_of_each_capacitor_and_volt_seconds_of_each_coil_come_back_in_a_steady_period)
{
    ladder_seed = 20240229;
    for (int trial = 0; trial < TRIALS; trial++) {
        struct random_ladder random;
        struct dw_error error;
        struct probes probes = { .count = 0 };
        random_ladder(&random, trial % 3 ? 3 : 8);
        struct dw_ladder *ladder = new_ladder(&random.plan);
        const size_t n = dw_ladder_states(ladder);
        for (size_t i = 0; i < n; i++) {
            add_probe(&probes, n, 1);
            add_form(&probes, n, ladder->forms.rate[i], ladder->net.weight[i].hi);
        }
        struct dw_system *system = probed(ladder, &probes);
        const double period = choose_period(ladder, trial);
        const struct pulse pulse = make_pulse(period);
        double x[LADDER_STATES], sum[LADDER_STATES] = { 0 }, squares[LADDER_STATES] = { 0 };
        double largest[LADDER_STATES] = { 0 };
        succeeds(dw_system_steady(system, &(struct dw_period){ pulse.time, pulse.input, ROWS, NULL }, x, NULL, &error), error);
        for (size_t i = 1; i < ROWS; i++) {
            const double length = pulse.time[i] - pulse.time[i - 1], *u = pulse.input + i - 1;
            const struct dw_interval over = { x, u, u + 1, length, NULL };
            for (size_t k = 0; k < n; k++) {
                double part[2];
                succeeds(dw_system_integrals(system, &over, (struct dw_integrand[]){ { k, DW_ALONE }, { k, k } }, 2, part, &error), error);
                sum[k] += part[0];
                squares[k] += part[1];
                largest[k] = fmax(largest[k], fabs(x[k]));
            }
            succeeds(dw_system_advance(system, &(struct dw_interval){ x, u, u + 1, length, NULL }, 0, x, &error), error);
        }
        /* beside what flows to and fro, the rms current (or voltage) times the period; where that is a small difference of
         * large currents, or next to nothing beside the charge that stays, the
         * rounding of some ten products of those in each of five stretches */
        for (size_t k = 0; k < n; k++) {
            double terms = fabs(probes.d[k]) * pulse.input[1] * period + ladder->net.weight[k].hi * largest[k];
            for (size_t j = 0; j < n; j++)
                terms += fabs(probes.c[k * n + j]) * largest[j] * period;
            within_scale(sum[k], 0, 1, 1e-10 * sqrt(fmax(squares[k], 0)) * sqrt(period) + 50 * DBL_EPSILON * terms);
        }
        dw_system_free(system);
        dw_ladder_free(ladder);
    }
}
END_TEST

SUITE("load: what a ladder conserves", energy_in_is_energy_lost_and_stored,
      charge_of_each_capacitor_and_volt_seconds_of_each_coil_come_back_in_a_steady_period)
