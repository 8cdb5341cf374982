/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A coil as a switching system: each circuit with each place of the armature. docs/theory.md, section 8. */
#include "load/build_inner.h"
#include "load/coil_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { N = DW_COIL_STATES, M = DW_COIL_INPUTS, PLACES = 2, MODES = CIRCUITS * PLACES, GUARDS_MOST = 5, OUTPUTS_MOST = 8, PROBES = 6,
       VALUES_MOST = OUTPUTS_MOST + PROBES };

#define LIFT 1e-14  /* of the leak: above the 4 roundings of its slope */

struct dw_coil {
    struct dw_coil_plan plan;
    struct dw_plant *plant;
    struct dw_integrand integral[DW_COIL_INTEGRALS];
    /* of the mode made last */
    struct build build;
    double reset[GUARDS_MOST][N * N], reset_offset[GUARDS_MOST][N], origin[N], origin_e[N], origin_f[VALUES_MOST];
};

static size_t mode_of(enum circuit circuit, bool pulled_in)
{
    return (pulled_in ? CIRCUITS : 0) + circuit;
}

static bool has_armature(const struct dw_coil_plan *p)
{
    return p->pull_in > 0;
}

/* ---- guards ---- */

/* g = branch; the state stays as it is at the change unless the guard is given a reset. Returns which it is. */
static size_t add_guard(struct dw_coil *coil, struct coil_branch branch, double scale, size_t next)
{
    const double state[N] = { branch.current, branch.stray };
    dwi_build_guard(&coil->build, state, 1, branch.alone, scale, next);
    return coil->build.guard_count - 1;
}

/* At the change the current and the stray capacitance's voltage become these. */
static void reset_to(struct dw_coil *coil, size_t k, struct coil_branch current, struct coil_branch stray)
{
    const struct coil_branch rows[N] = { current, stray };
    for (size_t i = 0; i < N; i++) {
        coil->reset[k][i * N + DW_COIL_CURRENT] = rows[i].current;
        coil->reset[k][i * N + DW_COIL_STRAY] = rows[i].stray;
        coil->reset_offset[k][i] = rows[i].alone;
    }
    coil->build.guards[k].reset = coil->reset[k];
    coil->build.guards[k].reset_offset = coil->reset_offset[k];
}

static const struct coil_branch same_current = { .current = 1 }, same_stray = { .stray = 1 };

static void gate_guard(struct dw_coil *coil, enum circuit circuit, bool pulled_in)
{
    const struct dw_coil_plan *p = &coil->plan;
    const bool on = circuit == CIRCUIT_ON;
    const size_t k = coil->build.guard_count;
    dwi_build_input_guard(&coil->build, DW_COIL_PIN, on ? 1 : -1, on ? -p->threshold : p->threshold, fmax(fabs(p->threshold), 1),
                      mode_of(on ? CIRCUIT_OPEN : CIRCUIT_ON, pulled_in));
    /* the stray capacitance stood at the switch's voltage */
    reset_to(coil, k, same_current, (struct coil_branch){ .current = on && p->stray > 0 ? p->switch_resistance : 0 });
}

static void armature_guard(struct dw_coil *coil, enum circuit circuit, bool pulled_in)
{
    const struct dw_coil_plan *p = &coil->plan;
    /* flux linkage goes on: L i is the same on both sides (8.6) */
    const double ratio = dwi_coil_inductance(p, pulled_in) / dwi_coil_inductance(p, !pulled_in);
    const struct coil_branch left = pulled_in ? (struct coil_branch){ 1, 0, -p->drop_out } : (struct coil_branch){ -1, 0, p->pull_in };
    size_t k = add_guard(coil, left, dw_coil_full_current(p), mode_of(circuit, !pulled_in));
    coil->build.guards[k].tag = pulled_in ? DW_COIL_DROPS_OUT : DW_COIL_PULLS_IN;
    if (ratio != 1)
        reset_to(coil, k, (struct coil_branch){ .current = ratio }, same_stray);
}

/* Where an open circuit gives way to a path for its current. */
static void open_guards(struct dw_coil *coil, bool pulled_in, double volts)
{
    const struct dw_coil_plan *p = &coil->plan;
    const size_t clamped = mode_of(CIRCUIT_CLAMPED, pulled_in), body = mode_of(CIRCUIT_BODY, pulled_in);
    const double onset = dwi_coil_clamp_onset(p), drop = p->diode_drop, amperes = dw_coil_full_current(p);
    if (p->stray > 0) {
        size_t k = add_guard(coil, (struct coil_branch){ 0, 1, drop }, volts, body);
        reset_to(coil, k, same_current, (struct coil_branch){ .alone = -drop });
        if (!isfinite(onset))
            return;
        k = add_guard(coil, (struct coil_branch){ 0, -1, onset }, volts, clamped);
        reset_to(coil, k, same_current, (struct coil_branch){ .alone = onset });
    } else if (dwi_coil_clamp_leaks(p)) {
        add_guard(coil, (struct coil_branch){ p->clamp_value, 0, drop }, volts, body);
    } else {
        add_guard(coil, (struct coil_branch){ .current = 1 }, amperes, body);
        add_guard(coil, (struct coil_branch){ .current = -1 }, amperes, clamped);
    }
}

/* Where a path stops conducting. */
static void path_guard(struct dw_coil *coil, enum circuit circuit, bool pulled_in, double volts)
{
    const struct dw_coil_plan *p = &coil->plan;
    const size_t open = mode_of(CIRCUIT_OPEN, pulled_in);
    const double leaking = dwi_coil_clamp_leaks(p) ? p->diode_drop / p->clamp_value : 0, amperes = dw_coil_full_current(p);
    if (circuit == CIRCUIT_BODY) {
        size_t k = add_guard(coil, (struct coil_branch){ -1, 0, -leaking }, amperes, open);
        /* with a leak the voltage would rise from a slope of zero; a hair more keeps rounding from making it fall */
        reset_to(coil, k, (struct coil_branch){ .alone = -leaking * (1 - LIFT) }, same_stray);
    } else if (dwi_coil_clamp_holds(p) || !(p->stray > 0)) {
        size_t k = add_guard(coil, same_current, amperes, open);
        reset_to(coil, k, (struct coil_branch){ 0 }, same_stray);
    } else {
        add_guard(coil, (struct coil_branch){ 0, 1, -dwi_coil_clamp_onset(p) }, volts, open);
    }
}

/* ---- outputs ---- */

/* The highest voltage that the switch can see, about: what rows of it are judged by. */
static double highest_voltage(const struct dw_coil_plan *p)
{
    const double full = dw_coil_full_current(p);
    if (p->clamp == DW_CLAMP_NONE)
        return p->supply + full * sqrt(dwi_coil_inductance(p, true) / p->stray);
    if (dwi_coil_clamp_holds(p))
        return dwi_coil_clamp_onset(p);
    return p->supply + p->diode_drop + full * p->clamp_value;
}

/* Each output of a circuit: its port and its value; returns how many. */
static size_t outputs_of(const struct dw_coil_plan *p, const struct coil_circuit *c, bool pulled_in, struct dw_port *port,
                         struct coil_branch *value)
{
    const double amperes = dw_coil_full_current(p), volts = highest_voltage(p);
    const struct {
        bool wanted;
        struct dw_port port;
        struct coil_branch value;
    } all[] = {
        { p->all, { "coil", "V", volts, NAN }, { -c->sw.current, -c->sw.stray, c->drive.alone } },
        { p->all, { "flux", "Wb", dwi_coil_inductance(p, true) * amperes, NAN }, { .current = dwi_coil_inductance(p, pulled_in) } },
        { p->all, { "supply-current", "A", amperes, NAN }, c->supply_current },
        { p->all, { "switch-current", "A", amperes, NAN }, c->switch_current },
        { p->all && p->clamp != DW_CLAMP_NONE, { p->clamp_at_switch ? "clamp-current" : "diode-current", "A", amperes, NAN },
          c->clamp_current },
        { true, { "current", "A", amperes, NAN }, same_current },
        { true, { "switch", "V", volts, NAN }, c->sw },
        { has_armature(p), { "armature", "1", 1, NAN }, { .alone = pulled_in } },
    };
    size_t count = 0;
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        if (all[i].wanted) {
            port[count] = all[i].port;
            value[count++] = all[i].value;
        }
    return count;
}

/* What the meter's integrals are of, behind the outputs: docs/theory.md, (8.9). */
static void add_probes(const struct coil_circuit *c, struct coil_branch *probe)
{
    const struct coil_branch all[PROBES] = { c->supply_current, same_current, c->clamp_volts, c->clamp_current, c->sw, c->switch_current };
    memcpy(probe, all, sizeof all);
}

/* ---- the whole ---- */

/* An offset with the stray capacitance's voltage counted from there. */
static double counted(const struct coil_branch *branch, double from)
{
    return branch->alone + branch->stray * from;
}

static void make(void *of, size_t mode, struct dw_mode *out)
{
    struct dw_coil *coil = of;
    const struct dw_coil_plan *p = &coil->plan;
    const enum circuit circuit = circuit_of(mode);
    const bool pulled_in = dw_coil_pulled_in(coil, mode);
    const struct coil_circuit c = dwi_coil_circuit(p, circuit);
    const double inductance = dwi_coil_inductance(p, pulled_in), volts = highest_voltage(p);
    struct dw_port port[OUTPUTS_MOST];
    struct coil_branch value[VALUES_MOST];
    struct build *b = &coil->build;
    dwi_build_begin(b, N, M);
    b->a[0] = c.drive.current / inductance;
    b->a[1] = c.drive.stray / inductance;
    b->e[0] = c.drive.alone / inductance;
    /* a clamp's current is what little the voltage is over its onset, and would drown in the rounding of the whole */
    const double from = coil->origin[DW_COIL_STRAY] = circuit == CIRCUIT_CLAMPED ? dwi_coil_clamp_onset(p) : 0;
    coil->origin_e[0] = counted(&c.drive, from) / inductance;
    if (p->stray > 0) {
        coil->origin_e[1] = counted(&c.charge, from) / p->stray;
        b->a[2] = c.charge.current / p->stray;
        b->a[3] = c.charge.stray / p->stray;
        b->e[1] = c.charge.alone / p->stray;
    }
    const size_t outputs = outputs_of(p, &c, pulled_in, port, value);
    add_probes(&c, value + outputs);
    for (size_t i = 0; i < outputs + PROBES; i++) {
        b->c[i * N + DW_COIL_CURRENT] = value[i].current;
        b->c[i * N + DW_COIL_STRAY] = value[i].stray;
        b->f[i] = value[i].alone;
        coil->origin_f[i] = counted(value + i, from);
    }
    gate_guard(coil, circuit, pulled_in);
    if (circuit == CIRCUIT_OPEN)
        open_guards(coil, pulled_in, volts);
    else if (circuit != CIRCUIT_ON)
        path_guard(coil, circuit, pulled_in, volts);
    if (has_armature(p))
        armature_guard(coil, circuit, pulled_in);
    *out = dwi_build_end(b, c.name);
    out->origin = coil->origin;
    out->origin_e = coil->origin_e;
    out->origin_f = coil->origin_f;
}

/* With the switch off since long ago. */
static size_t rest_of(const struct dw_coil_plan *p, double *state)
{
    const double leaking = dwi_coil_clamp_leaks(p) ? p->supply / (p->resistance + p->clamp_value) : 0;
    state[DW_COIL_CURRENT] = leaking;
    state[DW_COIL_STRAY] = !(p->stray > 0) ? 0 : dwi_coil_clamp_leaks(p) ? leaking * p->clamp_value : p->supply;
    return mode_of(CIRCUIT_OPEN, false);
}

static struct dw_plant *make_plant(struct dw_coil *coil, struct dw_error *error)
{
    const struct dw_coil_plan *p = &coil->plan;
    double rest[N];
    struct dw_port port[OUTPUTS_MOST];
    struct coil_branch value[OUTPUTS_MOST];
    const size_t begins = rest_of(p, rest);
    const struct coil_circuit circuit = dwi_coil_circuit(p, circuit_of(begins));
    const size_t outputs = outputs_of(p, &circuit, dw_coil_pulled_in(coil, begins), port, value);
    const size_t first = outputs;  /* of the probes */
    const struct dw_integrand integrals[DW_COIL_INTEGRALS] = { { first, DW_ALONE }, { first + 1, first + 1 }, { first + 2, first + 3 },
                                                               { first + 4, first + 5 } };
    memcpy(coil->integral, integrals, sizeof integrals);
    for (size_t i = 0; i < outputs; i++)
        port[i].initial = branch_at(value + i, rest);
    /* without a stray capacitance its voltage rests at zero: any weight serves */
    const double weight[N] = { dwi_coil_inductance(p, true), p->stray > 0 ? p->stray : dwi_coil_inductance(p, true) };
    const bool drifts[N] = { [DW_COIL_STRAY] = !(p->stray > 0) };
    return dw_plant_new(&(struct dw_plant_plan){
        .modes = { .states = N, .inputs = M, .outputs = outputs, .probes = PROBES, .mode_count = has_armature(p) ? MODES : CIRCUITS,
                   .make = make, .of = coil, .weight = weight, .drifts = drifts },
        .ports = port, .mode = begins, .rest = rest, .load = coil, .release = free }, error);
}

struct dw_coil *dw_coil_new(const struct dw_coil_plan *plan, struct dw_error *error)
{
    if (dw_coil_check(plan, error))
        return NULL;
    struct dw_coil *coil = calloc(1, sizeof *coil);
    if (!coil) {
        dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for the coil");
        return NULL;
    }
    coil->plan = *plan;
    coil->plant = make_plant(coil, error);
    if (!coil->plant) {
        free(coil);
        return NULL;
    }
    return coil;
}

void dw_coil_free(struct dw_coil *coil)
{
    if (coil)
        dw_plant_free(coil->plant);
}

const struct dw_coil_plan *dwi_coil_plan(const struct dw_coil *coil)
{
    return &coil->plan;
}

struct dw_plant *dw_coil_plant(const struct dw_coil *coil)
{
    return coil->plant;
}

const struct dw_integrand *dw_coil_integrals(const struct dw_coil *coil)
{
    return coil->integral;
}

bool dw_coil_switched_on(const struct dw_coil *coil, size_t mode)
{
    (void)coil;
    return circuit_of(mode) == CIRCUIT_ON;
}

bool dw_coil_pulled_in(const struct dw_coil *coil, size_t mode)
{
    (void)coil;
    return mode >= CIRCUITS;
}

double dw_coil_switch_voltage(const struct dw_coil *coil, size_t mode, const double *state)
{
    const struct coil_circuit circuit = dwi_coil_circuit(&coil->plan, circuit_of(mode));
    return branch_at(&circuit.sw, state);
}

double dw_coil_stored(const struct dw_coil *coil, size_t mode, double current)
{
    return dwi_coil_inductance(&coil->plan, dw_coil_pulled_in(coil, mode)) * current * current / 2;
}

/* ---- operate and release ---- */

struct sought {
    const struct dw_coil *coil;
    bool pulled_in;  /* the place of the armature that is waited for */
    double time;
};

static enum dw_status seek_place(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    (void)error;
    struct sought *sought = context;
    sought->time = row->time;
    return dw_coil_pulled_in(sought->coil, row->mode) == sought->pulled_in ? DW_END : DW_OK;
}

static enum dw_status time_to(const struct dw_coil *coil, size_t mode, const double *state, bool on, double *time,
                              struct dw_error *error)
{
    const struct dw_coil_plan *p = &coil->plan;
    const double constant = dwi_coil_inductance(p, true) / p->resistance, pin = on ? p->threshold + 1 : p->threshold - 1;
    struct sought sought = { coil, on, 0 };
    struct dw_run *run = dw_run_new(dw_plant_modes(coil->plant), &(struct dw_run_options){ .sink = seek_place, .context = &sought }, error);
    enum dw_status status = run ? dw_run_start(run, 0, mode, state, &pin, error) : DW_NO_MEMORY;
    /* a time constant at a step: exponentials of doubles end within 745 */
    for (int i = 1; !status && i <= 745; i++)
        status = dw_run_feed(run, i * constant, &pin, error);
    dw_run_free(run);
    *time = status == DW_END ? sought.time : NAN;
    return status == DW_END ? DW_OK : status;
}

enum dw_status dw_coil_times(const struct dw_coil *coil, double from, double *operate, double *release,
                             struct dw_error *error)
{
    const struct dw_coil_plan *p = &coil->plan;
    double state[N], on = NAN, off = NAN;
    if (!has_armature(p))
        return dw_error_set(error, DW_BAD_USE, 0, "without pull-in and drop-out there is no armature to time");
    const bool full = isnan(from);
    if (full)
        from = dw_coil_full_current(p);
    if ((!full && !(from >= p->drop_out)) || !isfinite(from))
        return dw_error_set(error, DW_BAD_USE, 0, "a release begins from a current at or above the drop-out, %g A, not from %g A",
                            p->drop_out, from);
    enum dw_status status = time_to(coil, dw_plant_rest(coil->plant, state), state, true, &on, error);
    const double held[N] = { [DW_COIL_CURRENT] = from };
    if (!status && !(full && from <= p->pull_in)) /* else it never held */
        status = time_to(coil, mode_of(CIRCUIT_ON, true), held, false, &off, error);
    if (!status) {
        *operate = on;
        *release = off;
    }
    return status;
}
