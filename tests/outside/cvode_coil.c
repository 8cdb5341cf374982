/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The coil against an independent solver: SUNDIALS CVODE (Hindmarsh et al. 2005, ACM Trans. Math. Softw. 31:363) at tight
 * tolerance, in flux linkage instead of current, with its own root-finding and its own list of what conducts. */
#include "draw.h"
#include "outside/cvode.h"
#include "outside/measured.h"
#include "suite.h"
#include <dutywright/coil.h>
#include <stdint.h>
#include <string.h>

enum { CASES = 48, PERIODS = 4, MOVES_MOST = 64, ROOTS = 4,
       STATES = 4 /* flux linkage, voltage of the stray capacitance; integrals of the current and its square */ };

enum conducts { THE_SWITCH, NOTHING, THE_CLAMP, THE_BODY };

/* What CVODE's side knows. */
struct other {
    const struct dw_coil_plan *p;
    enum conducts conducts;
    bool in;
    double moves[MOVES_MOST];  /* s, of the armature */
    int move_count;
};

static double inductance(const struct other *o)
{
    return o->in && o->p->inductance_closed > 0 ? o->p->inductance_closed : o->p->inductance;
}

static bool across_switch(const struct dw_coil_plan *p)
{
    return p->clamp == DW_CLAMP_RESISTOR && p->clamp_at_switch;
}

/* Where the clamp begins; beyond reach for what has no beginning. */
static double beginning(const struct dw_coil_plan *p)
{
    if (p->clamp == DW_CLAMP_ZENER)
        return p->clamp_at_switch ? p->clamp_value : p->supply + p->clamp_value + p->diode_drop;
    return p->clamp == DW_CLAMP_NONE || across_switch(p) ? 1e30 : p->supply + p->diode_drop;
}

/* Voltage across the switch, from the current and the stray capacitance. */
static double switch_volts(const struct other *o, double i, double v)
{
    const struct dw_coil_plan *p = o->p;
    switch (o->conducts) {
    case THE_SWITCH: return p->switch_resistance * i;
    case THE_BODY: return -p->diode_drop;
    case THE_CLAMP: return p->clamp != DW_CLAMP_RESISTOR ? beginning(p) : p->stray > 0 ? v : beginning(p) + p->clamp_value * i;
    case NOTHING: return p->stray > 0 ? v : across_switch(p) ? p->clamp_value * i : p->supply;
    }
    return NAN;
}

static int right_side(realtype t, N_Vector y, N_Vector dy, void *data)
{
    (void)t;
    const struct other *o = data;
    const struct dw_coil_plan *p = o->p;
    const double i = NV_Ith_S(y, 0) / inductance(o), v = NV_Ith_S(y, 1);
    const bool dead = o->conducts == NOTHING && !(p->stray > 0) && !across_switch(p);
    NV_Ith_S(dy, 0) = dead ? 0 : p->supply - p->resistance * i - switch_volts(o, i, v);
    double charge = 0;
    if (p->stray > 0 && o->conducts == NOTHING)
        charge = i - (across_switch(p) ? v / p->clamp_value : 0);
    if (p->stray > 0 && o->conducts == THE_CLAMP && p->clamp == DW_CLAMP_RESISTOR)
        charge = i - (v - beginning(p)) / p->clamp_value;
    NV_Ith_S(dy, 1) = p->stray > 0 ? charge / p->stray : 0;
    NV_Ith_S(dy, 2) = i;
    NV_Ith_S(dy, 3) = i * i;
    return 0;
}

/* Zero where the present choice ends: armature, path of the current, body diode, clamp. */
static int roots(realtype t, N_Vector y, realtype *g, void *data)
{
    (void)t;
    const struct other *o = data;
    const struct dw_coil_plan *p = o->p;
    const double i = NV_Ith_S(y, 0) / inductance(o), v = NV_Ith_S(y, 1);
    const double amperes = p->supply / p->resistance;
    const double ends = p->clamp == DW_CLAMP_RESISTOR && p->stray > 0 ? (v - beginning(p)) / p->supply : i / amperes;
    const double leak = across_switch(p) ? p->diode_drop / p->clamp_value : 0;
    g[0] = (o->in ? i - p->drop_out : p->pull_in - i) / amperes;
    g[1] = o->conducts == THE_CLAMP ? ends : o->conducts == THE_BODY ? (-i - leak) / amperes : 1;
    g[2] = o->conducts == NOTHING && p->stray > 0 ? (v + p->diode_drop) / p->supply : 1;
    g[3] = o->conducts == NOTHING && p->stray > 0 ? (beginning(p) - v) / p->supply : 1;
    return 0;
}

static void switch_over(struct other *o, N_Vector y, bool on)
{
    const struct dw_coil_plan *p = o->p;
    const double i = NV_Ith_S(y, 0) / inductance(o);
    o->conducts = on ? THE_SWITCH : NOTHING;
    NV_Ith_S(y, 1) = !on && p->stray > 0 ? p->switch_resistance * i : 0;
    if (!on && !(p->stray > 0) && !across_switch(p) && i > 0)
        o->conducts = THE_CLAMP;
}

static void next_choice(struct other *o, N_Vector y, const int *found, double t)
{
    const struct dw_coil_plan *p = o->p;
    if (found[0] && o->move_count < MOVES_MOST) {
        o->in = !o->in;
        o->moves[o->move_count++] = t;
    }
    if (found[1]) {
        const bool to_zero = o->conducts == THE_BODY || p->clamp != DW_CLAMP_RESISTOR || !(p->stray > 0);
        if (to_zero)
            NV_Ith_S(y, 0) = o->conducts == THE_BODY && across_switch(p) ? -p->diode_drop / p->clamp_value * inductance(o) : 0;
        o->conducts = NOTHING;
    } else if (found[2]) {
        o->conducts = THE_BODY;
        NV_Ith_S(y, 1) = -p->diode_drop;
    } else if (found[3]) {
        o->conducts = THE_CLAMP;
        NV_Ith_S(y, 1) = beginning(p);
    }
}

/* Carries y to time `until`, event by event. */
static void integrate(struct solver *s, struct other *o, double from, double until)
{
    double t = from;
    solver_begin(s, t);
    while (t < until)
        if (solver_go(s, until, &t)) {
            int found[ROOTS];
            CVodeGetRootInfo(s->memory, found);
            next_choice(o, s->y, found, t);
            solver_begin(s, t);
        }
}

static uint64_t seed = 20241125;
static double between(double low, double high)
{
    return drawn_between(&seed, low, high);
}

/* Six paths for the current, each with and without stray capacitance (but none without it), each with one and two inductances. */
static struct dw_coil_plan random_coil(int k)
{
    static const struct { enum dw_coil_clamp clamp; bool at_switch; } paths[] = {
        { DW_CLAMP_DIODE, false }, { DW_CLAMP_ZENER, false }, { DW_CLAMP_RESISTOR, false },
        { DW_CLAMP_ZENER, true }, { DW_CLAMP_RESISTOR, true }, { DW_CLAMP_NONE, false }
    };
    struct dw_coil_plan p = { .threshold = 2.5, .clamp = paths[k % 6].clamp, .clamp_at_switch = paths[k % 6].at_switch };
    p.supply = between(5, 48);
    p.resistance = exp(between(log(4), log(600)));
    p.inductance = p.resistance * exp(between(log(5e-4), log(2e-2)));
    p.diode_drop = between(0.3, 1.1);
    p.switch_resistance = between(0, 0.03) * p.resistance;
    if (p.clamp == DW_CLAMP_ZENER)
        p.clamp_value = p.supply * (p.clamp_at_switch ? between(1.3, 3) : between(0.3, 2.5));
    if (p.clamp == DW_CLAMP_RESISTOR)
        p.clamp_value = p.resistance * (p.clamp_at_switch ? between(8, 20) : between(0.5, 4));
    const double impedance = p.resistance * between(1.5, 9);
    if (k / 6 % 2 || p.clamp == DW_CLAMP_NONE)
        p.stray = p.inductance / (impedance * impedance);
    const double ratio = k / 12 % 2 ? between(1.1, 1.8) : 1;
    if (ratio > 1)
        p.inductance_closed = ratio * p.inductance;
    p.pull_in = between(0.35, 0.8) * dw_coil_full_current(&p);
    p.drop_out = fmax(between(0.3, 0.8) * p.pull_in / ratio, 0.15 * dw_coil_full_current(&p));
    return p;
}

/* The same of ours. */
struct moves {
    struct dw_coil *coil;
    bool any, in;
    double time[MOVES_MOST];
    int count;
};

static enum dw_status note_moves(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    (void)error;
    struct moves *m = context;
    bool in = dw_coil_pulled_in(m->coil, row->mode);
    if (m->any && in != m->in && m->count < MOVES_MOST)
        m->time[m->count++] = row->time;
    m->any = true;
    m->in = in;
    return DW_OK;
}

START_TEST(states_moves_and_what_the_table_measures_agree_with_an_independent_solver)
{
    unsigned long long events = 0;
    int moved = 0;
    for (int k = 0; k < CASES; k++) {
        const struct dw_coil_plan p = random_coil(k);
        struct dw_error error = { .status = DW_OK };
        struct moves ours = { .coil = dw_coil_new(&p, &error) };
        ck_assert_msg(ours.coil != NULL, "case %d: %s", k, error.text);
        struct dw_run *run = dw_run_new(dw_plant_modes(dw_coil_plant(ours.coil)), &(struct dw_run_options){ .sink = note_moves, .context = &ours },
                                        &error);
        const double constant = p.inductance / p.resistance, period = between(1, 7) * constant, duty = between(0.3, 0.8);
        const double volts = p.supply + dw_coil_full_current(&p) * (p.stray > 0 ? sqrt(p.inductance / p.stray) : 0);

        struct other o = { .p = &p };
        struct solver solver;
        solver_open(&solver, CV_BDF, STATES, right_side, &o, 0);
        solver_watch(&solver, ROOTS, roots);
        N_Vector y = solver.y, least = N_VClone(y);
        double state[DW_COIL_STATES], pin = 5;
        const size_t mode = dw_plant_rest(dw_coil_plant(ours.coil), state);
        NV_Ith_S(y, 0) = state[DW_COIL_CURRENT] * p.inductance;
        NV_Ith_S(y, 1) = state[DW_COIL_STRAY];
        NV_Ith_S(least, 0) = 1e-13 * p.inductance * dw_coil_full_current(&p);
        NV_Ith_S(least, 1) = 1e-13 * volts;
        NV_Ith_S(least, 2) = 1e-13 * dw_coil_full_current(&p) * period;
        NV_Ith_S(least, 3) = NV_Ith_S(least, 2) * dw_coil_full_current(&p);
        CVodeSVtolerances(solver.memory, 1e-12, least);

        succeeds(dw_run_start(run, 0, mode, state, &pin, &error), error);
        for (int lap = 0; lap < PERIODS; lap++)
            for (int half = 0; half < 2; half++) {
                const double from = (lap + (half ? duty : 0)) * period, to = (lap + (half ? 1 : duty)) * period;
                pin = half ? 0 : 5;
                succeeds(dw_run_feed(run, from, &pin, &error), error);
                succeeds(dw_run_feed(run, to, &pin, &error), error);
                switch_over(&o, y, !half);
                integrate(&solver, &o, from, to);
                memcpy(state, dw_run_state(run), sizeof state);
                const double current = NV_Ith_S(y, 0) / inductance(&o);
                /* CVODE's 1e-12 a step grows to some 1e-9 of the scale over a few thousand steps */
                ck_assert_msg(dw_coil_pulled_in(ours.coil, dw_run_mode(run)) == o.in, "case %d, half %d of lap %d", k, half, lap);
                within_scale(state[DW_COIL_CURRENT], current, 5e-9, dw_coil_full_current(&p));
                within_scale(dw_coil_switch_voltage(ours.coil, dw_run_mode(run), state), switch_volts(&o, current, NV_Ith_S(y, 1)),
                             5e-9, volts);
            }
        ck_assert_int_eq(ours.count, o.move_count);
        for (int i = 0; i < ours.count; i++)
            within_scale(ours.time[i], o.moves[i], 5e-9, period);
        /* what a user measures in the table, within its 2e-8 of the scale and CVODE's 5e-9 as above */
        struct dw_meter *meter = measured_in_table(dw_coil_plant(ours.coil), DW_COIL_PIN, PERIODS, period, duty);
        const double all = PERIODS * period;
        within_scale(dw_meter_result(meter, 1, DW_MEASURE_MEAN).value, NV_Ith_S(y, 2) / all, 2.5e-8, dw_coil_full_current(&p));
        within_scale(dw_meter_result(meter, 1, DW_MEASURE_RMS).value, sqrt(NV_Ith_S(y, 3) / all), 2.5e-8, dw_coil_full_current(&p));
        dw_meter_free(meter);
        moved += ours.count;
        events += dw_run_events(run);
        N_VDestroy(least);
        solver_close(&solver);
        dw_run_free(run);
        dw_coil_free(ours.coil);
    }
    /* the gates alone make 2 a period: clamps, body diodes and armatures must have come in, or this proves little */
    ck_assert_msg(events > 4 * CASES * PERIODS, "only %llu events", events);
    ck_assert_msg(moved > CASES, "the armatures moved only %d times", moved);
}
END_TEST

SUITE("outside: coil against CVODE", states_moves_and_what_the_table_measures_agree_with_an_independent_solver)
