/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A coil as a switching system: each circuit with each place of the armature. docs/theory.md, section 8. */
#include "load/coil_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { N = DW_COIL_STATES + SUPPLY_STATES, M = DW_COIL_INPUTS, PLACES = 2, MODES = CIRCUITS * PLACES, GUARDS_MOST = 6, OUTPUTS_MOST = 11, PROBES = 7,
       VALUES_MOST = OUTPUTS_MOST + PROBES };

#define LIFT 1e-14  /* of the leak: above the 4 roundings of its slope */

struct dw_coil {
    struct dw_coil_plan plan;
    struct dw_plant *plant;
    struct dw_integrand integral[DW_COIL_INTEGRALS];
    struct load_source source;
    /* of the mode made last */
    struct build build;
    struct row volts;  /* of the supply at the coil */
    size_t behind;     /* of the modes under the present condition of its line */
    double reset[GUARDS_MOST][N * N], reset_offset[GUARDS_MOST][N], origin[N], origin_e[N], origin_f[VALUES_MOST];
};

/* A mode beside the one that is made. */
static size_t mode_of(const struct dw_coil *coil, enum circuit circuit, bool pulled_in)
{
    return coil->behind + (pulled_in ? CIRCUITS : 0) + circuit;
}

/* A quantity in the present mode, over all states. */
static struct row row_of(const struct dw_coil *coil, struct coil_branch branch)
{
    struct row row = { .alone = branch.supply * coil->volts.alone + branch.alone };
    for (size_t i = 0; i < coil->source.states; i++)
        row.state[i] = branch.supply * coil->volts.state[i];
    row.state[DW_COIL_CURRENT] += branch.current;
    row.state[DW_COIL_STRAY] += branch.stray;
    return row;
}

static bool has_armature(const struct dw_coil_plan *p)
{
    return p->pull_in > 0;
}

/* ---- guards ---- */

/* g = branch; the state stays as it is at the change unless the guard is given a reset. Returns which it is. */
static size_t add_guard(struct dw_coil *coil, struct coil_branch branch, double scale, size_t next)
{
    const struct row row = row_of(coil, branch);
    dwi_build_guard_row(&coil->build, &row, 1, 0, scale, next);
    return coil->build.guard_count - 1;
}

/* At the change the current and the stray capacitance's voltage become these. */
static void reset_to(struct dw_coil *coil, size_t k, struct coil_branch current, struct coil_branch stray)
{
    const size_t n = coil->source.states;
    const struct row rows[DW_COIL_STATES] = { row_of(coil, current), row_of(coil, stray) };
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            coil->reset[k][i * n + j] = i < DW_COIL_STATES ? rows[i].state[j] : i == j;
    for (size_t i = 0; i < DW_COIL_STATES; i++)
        coil->reset_offset[k][i] = rows[i].alone;
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
                      mode_of(coil, on ? CIRCUIT_OPEN : CIRCUIT_ON, pulled_in));
    /* the stray capacitance stood at the switch's voltage */
    reset_to(coil, k, same_current, (struct coil_branch){ .current = on && p->stray > 0 ? p->switch_resistance : 0 });
}

static void armature_guard(struct dw_coil *coil, enum circuit circuit, bool pulled_in)
{
    const struct dw_coil_plan *p = &coil->plan;
    /* flux linkage goes on: L i is the same on both sides (8.6) */
    const double ratio = dwi_coil_inductance(p, pulled_in) / dwi_coil_inductance(p, !pulled_in);
    const struct coil_branch left = pulled_in ? (struct coil_branch){ .current = 1, .alone = -p->drop_out }
                                                 : (struct coil_branch){ .current = -1, .alone = p->pull_in };
    size_t k = add_guard(coil, left, dw_coil_full_current(p), mode_of(coil, circuit, !pulled_in));
    coil->build.guards[k].tag = pulled_in ? DW_COIL_DROPS_OUT : DW_COIL_PULLS_IN;
    if (ratio != 1)
        reset_to(coil, k, (struct coil_branch){ .current = ratio }, same_stray);
}

/* Where an open circuit gives way to a path for its current. */
static void open_guards(struct dw_coil *coil, bool pulled_in, double volts)
{
    const struct dw_coil_plan *p = &coil->plan;
    const size_t clamped = mode_of(coil, CIRCUIT_CLAMPED, pulled_in), body = mode_of(coil, CIRCUIT_BODY, pulled_in);
    const struct coil_branch onset = dwi_coil_onset(p);
    const double drop = p->diode_drop, amperes = dw_coil_full_current(p);
    if (p->stray > 0) {
        size_t k = add_guard(coil, (struct coil_branch){ .stray = 1, .alone = drop }, volts, body);
        reset_to(coil, k, same_current, (struct coil_branch){ .alone = -drop });
        if (!isfinite(onset.alone))
            return;
        k = add_guard(coil, (struct coil_branch){ .stray = -1, .supply = onset.supply, .alone = onset.alone }, volts, clamped);
        reset_to(coil, k, same_current, onset);
    } else if (dwi_coil_clamp_leaks(p)) {
        add_guard(coil, (struct coil_branch){ .current = p->clamp_value, .alone = drop }, volts, body);
    } else {
        add_guard(coil, (struct coil_branch){ .current = 1 }, amperes, body);
        add_guard(coil, (struct coil_branch){ .current = -1 }, amperes, clamped);
    }
}

/* Where a path stops conducting. */
static void path_guard(struct dw_coil *coil, enum circuit circuit, bool pulled_in, double volts)
{
    const struct dw_coil_plan *p = &coil->plan;
    const size_t open = mode_of(coil, CIRCUIT_OPEN, pulled_in);
    const double leaking = dwi_coil_clamp_leaks(p) ? p->diode_drop / p->clamp_value : 0, amperes = dw_coil_full_current(p);
    if (circuit == CIRCUIT_BODY) {
        size_t k = add_guard(coil, (struct coil_branch){ .current = -1, .alone = -leaking }, amperes, open);
        /* with a leak the voltage would rise from a slope of zero; a hair more keeps rounding from making it fall */
        reset_to(coil, k, (struct coil_branch){ .alone = -leaking * (1 - LIFT) }, same_stray);
    } else if (dwi_coil_clamp_holds(p) || !(p->stray > 0)) {
        size_t k = add_guard(coil, same_current, amperes, open);
        reset_to(coil, k, (struct coil_branch){ 0 }, same_stray);
    } else {
        const struct coil_branch onset = dwi_coil_onset(p);
        add_guard(coil, (struct coil_branch){ .stray = 1, .supply = -onset.supply, .alone = -onset.alone }, volts, open);
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

/* Each output of a circuit but the supply's, which stand before the last two or three: its port and its value; returns how many. */
static size_t outputs_of(const struct dw_coil_plan *p, const struct coil_circuit *c, bool pulled_in, struct dw_port *port,
                         struct coil_branch *value)
{
    const double amperes = dw_coil_full_current(p), volts = highest_voltage(p);
    const struct {
        bool wanted;
        struct dw_port port;
        struct coil_branch value;
    } all[] = {
        { p->all, { "coil", "V", volts, NAN }, { -c->sw.current, -c->sw.stray, c->drive.supply, c->drive.alone } },
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
    const struct coil_branch all[PROBES] = { c->supply_current, same_current, c->clamp_volts, c->clamp_current, c->sw, c->switch_current,
                                             { .supply = 1 } };
    memcpy(probe, all, sizeof all);
}

/* ---- the whole ---- */

/* How many outputs stand behind the supply's. */
static size_t last_of(const struct dw_coil_plan *p)
{
    return has_armature(p) ? 3 : 2;
}

/* An offset with the stray capacitance's voltage counted from there. */
static double counted(const struct coil_branch *branch, double volts, double from)
{
    return branch->supply * volts + branch->alone + branch->stray * from;
}

static void value_row(struct dw_coil *coil, size_t k, const struct row *row)
{
    memcpy(coil->build.c + k * coil->source.states, row->state, coil->source.states * sizeof *row->state);
    coil->build.f[k] = row->alone;
}

/* Outputs and probes. */
static void set_values(struct dw_coil *coil, const struct coil_circuit *c, bool pulled_in, const struct supplied *supplied)
{
    struct dw_port port[OUTPUTS_MOST];
    struct coil_branch value[VALUES_MOST];
    struct row extra[SUPPLY_PORTS];
    const double from = coil->origin[DW_COIL_STRAY];
    const size_t outputs = outputs_of(&coil->plan, c, pulled_in, port, value), first = outputs - last_of(&coil->plan);
    const size_t extras = dwi_supply_outputs(&coil->source, coil->plan.all, supplied, port, extra);
    add_probes(c, value + outputs);
    for (size_t i = 0; i < outputs + PROBES; i++) {
        const struct row row = row_of(coil, value[i]);
        const size_t k = i + (i < first ? 0 : extras);
        value_row(coil, k, &row);
        coil->origin_f[k] = counted(value + i, coil->volts.alone, from);
    }
    for (size_t i = 0; i < extras; i++)
        value_row(coil, first + i, extra + i);
}

static void make(void *of, size_t mode, struct dw_mode *out)
{
    struct dw_coil *coil = of;
    const struct dw_coil_plan *p = &coil->plan;
    const enum circuit circuit = circuit_of(mode);
    const bool pulled_in = dw_coil_pulled_in(coil, mode), supplied = !dw_supply_ideal(&p->source);
    const struct coil_circuit c = dwi_coil_circuit(p, circuit);
    const double inductance = dwi_coil_inductance(p, pulled_in), volts = highest_voltage(p);
    const struct row drawn = { .state = { c.supply_current.current, c.supply_current.stray }, .alone = c.supply_current.alone };
    struct build *b = &coil->build;
    dwi_build_begin(b, coil->source.states, M);
    coil->behind = mode < MODES ? 0 : MODES;
    const struct supplied of_supply = dwi_supply_join(&coil->source, b, coil->behind > 0, &drawn, c.supply_current.supply,
                                                      mode % MODES + MODES - coil->behind);
    coil->volts = of_supply.volts;
    const struct row drive = row_of(coil, c.drive), charge = row_of(coil, c.charge);
    for (size_t j = 0; j < b->states; j++) {
        b->a[j] = drive.state[j] / inductance;
        b->a[b->states + j] = p->stray > 0 ? charge.state[j] / p->stray : 0;
    }
    b->e[0] = drive.alone / inductance;
    b->e[1] = p->stray > 0 ? charge.alone / p->stray : 0;
    /* a clamp's current is what little the voltage is over its onset, and would drown in the rounding of the whole */
    const double from = coil->origin[DW_COIL_STRAY] = circuit == CIRCUIT_CLAMPED ? dwi_coil_clamp_onset(p) : 0;
    coil->origin_e[0] = counted(&c.drive, coil->volts.alone, from) / inductance;
    coil->origin_e[1] = p->stray > 0 ? counted(&c.charge, coil->volts.alone, from) / p->stray : 0;
    set_values(coil, &c, pulled_in, &of_supply);
    gate_guard(coil, circuit, pulled_in);
    if (circuit == CIRCUIT_OPEN)
        open_guards(coil, pulled_in, volts);
    else if (circuit != CIRCUIT_ON)
        path_guard(coil, circuit, pulled_in, volts);
    if (has_armature(p))
        armature_guard(coil, circuit, pulled_in);
    *out = dwi_build_end(b, c.name);
    if (supplied)  /* the onset is no constant then */
        return;
    out->origin = coil->origin;
    out->origin_e = coil->origin_e;
    out->origin_f = coil->origin_f;
}

/* With the switch off since long ago: a resistor across it leaks. */
static size_t rest_of(const struct dw_coil *coil, double *state)
{
    const struct dw_coil_plan *p = &coil->plan;
    const struct dw_supply *s = &p->source;
    const double line = s->line_resistance + s->inner_resistance + s->slow_resistance;
    const double leaking = dwi_coil_clamp_leaks(p) ? p->supply / (p->resistance + p->clamp_value + line) : 0;
    state[DW_COIL_CURRENT] = leaking;
    state[DW_COIL_STRAY] = !(p->stray > 0) ? 0 : dwi_coil_clamp_leaks(p) ? leaking * p->clamp_value : p->supply;
    if (coil->source.line >= 0)
        state[coil->source.line] = leaking;
    if (coil->source.bulk >= 0)
        state[coil->source.bulk] = p->supply - line * leaking;
    if (coil->source.slow >= 0)
        state[coil->source.slow] = s->slow_resistance * leaking;
    return CIRCUIT_OPEN;
}

static struct dw_plant *make_plant(struct dw_coil *coil, struct dw_error *error)
{
    const struct dw_coil_plan *p = &coil->plan;
    double rest[N] = { 0 };
    struct dw_port port[OUTPUTS_MOST], last[OUTPUTS_MOST];
    struct coil_branch value[OUTPUTS_MOST];
    /* without a stray capacitance its voltage rests at zero: any weight serves */
    double weight[N] = { dwi_coil_inductance(p, true), p->stray > 0 ? p->stray : dwi_coil_inductance(p, true) };
    const bool drifts[N] = { [DW_COIL_STRAY] = !(p->stray > 0) };
    dwi_supply_place(&coil->source, &p->source, p->supply, dw_coil_full_current(p), DW_COIL_STATES);
    dwi_supply_rest(&coil->source, weight, rest);
    const size_t begins = rest_of(coil, rest);
    const struct coil_circuit circuit = dwi_coil_circuit(p, circuit_of(begins));
    const size_t outputs = outputs_of(p, &circuit, false, port, value), behind = last_of(p);
    for (size_t i = 0; i < outputs; i++)
        port[i].initial = branch_at(value + i, rest, p->supply);
    memcpy(last, port + outputs - behind, behind * sizeof *last);
    const size_t extras = dwi_supply_outputs(&coil->source, p->all, NULL, port + outputs - behind, NULL);
    memcpy(port + outputs - behind + extras, last, behind * sizeof *last);
    const size_t first = outputs + extras;  /* of the probes: what the supply gives, its voltage last, copper, clamp, switch */
    const struct dw_integrand integrals[DW_COIL_INTEGRALS] = { { first, extras ? first + PROBES - 1 : DW_ALONE }, { first + 1, first + 1 },
                                                               { first + 2, first + 3 }, { first + 4, first + 5 } };
    memcpy(coil->integral, integrals, sizeof integrals);
    return dw_plant_new(&(struct dw_plant_plan){
        .modes = { .states = coil->source.states, .inputs = M, .outputs = first, .probes = PROBES,
                   .mode_count = coil->source.conditions > 1 ? 2 * MODES : has_armature(p) ? MODES : CIRCUITS,
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
    return mode / CIRCUITS % PLACES;
}

double dw_coil_switch_voltage(const struct dw_coil *coil, size_t mode, const double *state)
{
    const struct coil_circuit circuit = dwi_coil_circuit(&coil->plan, circuit_of(mode));
    const bool blocks = mode >= MODES;
    const double ohms = coil->source.ohms[blocks], drawn = branch_at(&circuit.supply_current, state, 0);
    const double volts = (dwi_supply_open(&coil->source, blocks, state) - ohms * drawn) / (1 + ohms * circuit.supply_current.supply);
    return branch_at(&circuit.sw, state, volts);
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
    dw_plant_rest(coil->plant, state);
    state[DW_COIL_CURRENT] = from;
    state[DW_COIL_STRAY] = 0;
    if (!status && !(full && from <= p->pull_in)) /* else it never held */
        status = time_to(coil, CIRCUITS + CIRCUIT_ON, state, false, &off, error);
    if (!status) {
        *operate = on;
        *release = off;
    }
    return status;
}
