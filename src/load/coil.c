/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A coil as a switching system: each circuit with each place of the armature. docs/theory.md, section 8. */
#include "load/coil_inner.h"
#include <math.h>
#include <stdlib.h>

enum { N = DW_COIL_STATES, M = DW_COIL_INPUTS, PLACES = 2, MODES = CIRCUITS * PLACES, GUARDS_MOST = 5, OUTPUTS_MOST = 8 };

#define LIFT 1e-14  /* of the leak: above the 4 roundings of its slope */

struct dw_coil {
    struct dw_coil_plan plan;
    struct dw_plant *plant;
    struct coil_circuit circuit[CIRCUITS];
    size_t outputs;
    struct dw_port port[OUTPUTS_MOST];
    struct branch value[PLACES][CIRCUITS][OUTPUTS_MOST];  /* of each output */
};

/* Everything of one mode that dw_modes_new copies. */
struct workings {
    double a[N * N], b[N * M], e[N], c[OUTPUTS_MOST * N], f[OUTPUTS_MOST];
    double guard_state[GUARDS_MOST][N], guard_input[GUARDS_MOST][M];
    double reset[GUARDS_MOST][N * N], reset_offset[GUARDS_MOST][N];
    struct dw_guard guards[GUARDS_MOST];
    size_t guard_count;
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

/* g = branch + pin u; the state stays as it is at the change unless the guard is given a reset. */
static size_t add_guard(struct workings *w, struct branch branch, double pin, double scale, size_t next)
{
    size_t k = w->guard_count++;
    w->guard_state[k][DW_COIL_CURRENT] = branch.current;
    w->guard_state[k][DW_COIL_STRAY] = branch.stray;
    w->guard_input[k][DW_COIL_PIN] = pin;
    w->guards[k] = (struct dw_guard){ .state = w->guard_state[k], .input = w->guard_input[k], .offset = branch.alone,
                                      .scale = scale, .next = next };
    return k;
}

/* At the change the current and the stray capacitance's voltage become these. */
static void reset_to(struct workings *w, size_t k, struct branch current, struct branch stray)
{
    const struct branch rows[N] = { current, stray };
    for (size_t i = 0; i < N; i++) {
        w->reset[k][i * N + DW_COIL_CURRENT] = rows[i].current;
        w->reset[k][i * N + DW_COIL_STRAY] = rows[i].stray;
        w->reset_offset[k][i] = rows[i].alone;
    }
    w->guards[k].reset = w->reset[k];
    w->guards[k].reset_offset = w->reset_offset[k];
}

static const struct branch same_current = { .current = 1 }, same_stray = { .stray = 1 };

static void gate_guard(const struct dw_coil_plan *p, struct workings *w, enum circuit circuit, bool pulled_in)
{
    const double scale = fmax(fabs(p->threshold), 1);
    if (circuit == CIRCUIT_ON) {
        size_t k = add_guard(w, (struct branch){ .alone = -p->threshold }, 1, scale, mode_of(CIRCUIT_OPEN, pulled_in));
        /* the stray capacitance stood at the switch's voltage */
        reset_to(w, k, same_current, (struct branch){ .current = p->stray > 0 ? p->switch_resistance : 0 });
    } else {
        size_t k = add_guard(w, (struct branch){ .alone = p->threshold }, -1, scale, mode_of(CIRCUIT_ON, pulled_in));
        reset_to(w, k, same_current, (struct branch){ 0 });
    }
}

static void armature_guard(const struct dw_coil_plan *p, struct workings *w, enum circuit circuit, bool pulled_in)
{
    /* flux linkage goes on: L i is the same on both sides (8.6) */
    const double ratio = coil_inductance(p, pulled_in) / coil_inductance(p, !pulled_in);
    const struct branch left = pulled_in ? (struct branch){ 1, 0, -p->drop_out } : (struct branch){ -1, 0, p->pull_in };
    size_t k = add_guard(w, left, 0, dw_coil_full_current(p), mode_of(circuit, !pulled_in));
    w->guards[k].tag = pulled_in ? DW_COIL_DROPS_OUT : DW_COIL_PULLS_IN;
    if (ratio != 1)
        reset_to(w, k, (struct branch){ .current = ratio }, same_stray);
}

/* Where an open circuit gives way to a path for its current. */
static void open_guards(const struct dw_coil_plan *p, struct workings *w, bool pulled_in, double volts)
{
    const size_t clamped = mode_of(CIRCUIT_CLAMPED, pulled_in), body = mode_of(CIRCUIT_BODY, pulled_in);
    const double onset = coil_clamp_onset(p), drop = p->diode_drop, amperes = dw_coil_full_current(p);
    if (p->stray > 0) {
        size_t k = add_guard(w, (struct branch){ 0, 1, drop }, 0, volts, body);
        reset_to(w, k, same_current, (struct branch){ .alone = -drop });
        if (!isfinite(onset))
            return;
        k = add_guard(w, (struct branch){ 0, -1, onset }, 0, volts, clamped);
        reset_to(w, k, same_current, (struct branch){ .alone = onset });
    } else if (coil_clamp_leaks(p)) {
        add_guard(w, (struct branch){ p->clamp_value, 0, drop }, 0, volts, body);
    } else {
        add_guard(w, (struct branch){ .current = 1 }, 0, amperes, body);
        add_guard(w, (struct branch){ .current = -1 }, 0, amperes, clamped);
    }
}

/* Where a path stops conducting. */
static void path_guard(const struct dw_coil_plan *p, struct workings *w, enum circuit circuit, bool pulled_in, double volts)
{
    const size_t open = mode_of(CIRCUIT_OPEN, pulled_in);
    const double leaking = coil_clamp_leaks(p) ? p->diode_drop / p->clamp_value : 0, amperes = dw_coil_full_current(p);
    if (circuit == CIRCUIT_BODY) {
        size_t k = add_guard(w, (struct branch){ -1, 0, -leaking }, 0, amperes, open);
        /* with a leak the voltage would rise from a slope of zero; a hair more keeps rounding from making it fall */
        reset_to(w, k, (struct branch){ .alone = -leaking * (1 - LIFT) }, same_stray);
    } else if (coil_clamp_holds(p) || !(p->stray > 0)) {
        size_t k = add_guard(w, same_current, 0, amperes, open);
        reset_to(w, k, (struct branch){ 0 }, same_stray);
    } else {
        add_guard(w, (struct branch){ 0, 1, -coil_clamp_onset(p) }, 0, volts, open);
    }
}

/* ---- outputs ---- */

/* The highest voltage that the switch can see, about: what rows of it are judged by. */
static double highest_voltage(const struct dw_coil_plan *p)
{
    const double full = dw_coil_full_current(p);
    if (p->clamp == DW_CLAMP_NONE)
        return p->supply + full * sqrt(coil_inductance(p, true) / p->stray);
    if (coil_clamp_holds(p))
        return coil_clamp_onset(p);
    return p->supply + p->diode_drop + full * p->clamp_value;
}

/* Name, unit and scale of each output, and its value in each mode. */
static void define_outputs(struct dw_coil *coil)
{
    const struct dw_coil_plan *p = &coil->plan;
    const double amperes = dw_coil_full_current(p), volts = highest_voltage(p);
    for (size_t place = 0; place < PLACES; place++)
        for (size_t k = 0; k < CIRCUITS; k++) {
            const struct coil_circuit *c = &coil->circuit[k];
            const double inductance = coil_inductance(p, place);
            const struct {
                bool wanted;
                struct dw_port port;
                struct branch value;
            } all[] = {
                { p->all, { "coil", "V", volts, NAN }, { -c->sw.current, -c->sw.stray, c->drive.alone } },
                { p->all, { "flux", "Wb", coil_inductance(p, true) * amperes, NAN }, { .current = inductance } },
                { p->all, { "supply-current", "A", amperes, NAN }, c->supply_current },
                { p->all, { "switch-current", "A", amperes, NAN }, c->switch_current },
                { p->all && p->clamp != DW_CLAMP_NONE,
                  { p->clamp_at_switch ? "clamp-current" : "diode-current", "A", amperes, NAN }, c->clamp_current },
                { true, { "current", "A", amperes, NAN }, same_current },
                { true, { "switch", "V", volts, NAN }, c->sw },
                { has_armature(p), { "armature", "1", 1, NAN }, { .alone = place } },
            };
            coil->outputs = 0;
            for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
                if (all[i].wanted) {
                    coil->port[coil->outputs] = all[i].port;
                    coil->value[place][k][coil->outputs++] = all[i].value;
                }
        }
}

/* ---- the whole ---- */

static void fill_mode(const struct dw_coil *coil, struct workings *w, enum circuit circuit, bool pulled_in)
{
    const struct dw_coil_plan *p = &coil->plan;
    const struct coil_circuit *c = &coil->circuit[circuit];
    const double inductance = coil_inductance(p, pulled_in), volts = highest_voltage(p);
    w->a[0] = c->drive.current / inductance;
    w->a[1] = c->drive.stray / inductance;
    w->e[0] = c->drive.alone / inductance;
    if (p->stray > 0) {
        w->a[2] = c->charge.current / p->stray;
        w->a[3] = c->charge.stray / p->stray;
        w->e[1] = c->charge.alone / p->stray;
    }
    for (size_t i = 0; i < coil->outputs; i++) {
        const struct branch *value = &coil->value[pulled_in][circuit][i];
        w->c[i * N + DW_COIL_CURRENT] = value->current;
        w->c[i * N + DW_COIL_STRAY] = value->stray;
        w->f[i] = value->alone;
    }
    gate_guard(p, w, circuit, pulled_in);
    if (circuit == CIRCUIT_OPEN)
        open_guards(p, w, pulled_in, volts);
    else if (circuit != CIRCUIT_ON)
        path_guard(p, w, circuit, pulled_in, volts);
    if (has_armature(p))
        armature_guard(p, w, circuit, pulled_in);
}

/* With the switch off since long ago. */
static size_t rest_of(const struct dw_coil_plan *p, double *state)
{
    const double leaking = coil_clamp_leaks(p) ? p->supply / (p->resistance + p->clamp_value) : 0;
    state[DW_COIL_CURRENT] = leaking;
    state[DW_COIL_STRAY] = !(p->stray > 0) ? 0 : coil_clamp_leaks(p) ? leaking * p->clamp_value : p->supply;
    return mode_of(CIRCUIT_OPEN, false);
}

static enum dw_status build(struct dw_coil *coil, struct dw_error *error)
{
    const struct dw_coil_plan *p = &coil->plan;
    const size_t count = has_armature(p) ? MODES : CIRCUITS;
    struct workings *work = calloc(count, sizeof *work);
    struct dw_mode modes[MODES];
    double rest[N];
    if (!work)
        return dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for the modes of the coil");
    for (size_t k = 0; k < CIRCUITS; k++) {
        /* what is never entered must still be finite */
        bool never = k == CIRCUIT_CLAMPED && !isfinite(coil_clamp_onset(p));
        coil->circuit[k] = coil_circuit(p, never ? CIRCUIT_OPEN : (enum circuit)k);
    }
    define_outputs(coil);
    const size_t begins = rest_of(p, rest);
    for (size_t i = 0; i < coil->outputs; i++)
        coil->port[i].initial = branch_at(&coil->value[begins >= CIRCUITS][circuit_of(begins)][i], rest);
    for (size_t i = 0; i < count; i++) {
        struct workings *w = &work[i];
        enum circuit circuit = circuit_of(i);
        if (circuit != CIRCUIT_CLAMPED || isfinite(coil_clamp_onset(p)))
            fill_mode(coil, w, circuit, dw_coil_pulled_in(coil, i));
        modes[i] = (struct dw_mode){ .name = coil->circuit[circuit].name, .a = w->a, .b = w->b, .e = w->e, .c = w->c, .f = w->f,
                                     .guards = w->guards, .guard_count = w->guard_count };
    }
    /* without a stray capacitance its voltage rests at zero: any weight serves */
    const double weight[N] = { coil_inductance(p, true), p->stray > 0 ? p->stray : coil_inductance(p, true) };
    const bool drifts[N] = { [DW_COIL_STRAY] = !(p->stray > 0) };
    coil->plant = dw_plant_new(&(struct dw_plant_plan){
        .modes = { .states = N, .inputs = M, .outputs = coil->outputs, .modes = modes, .mode_count = count, .weight = weight,
                   .drifts = drifts },
        .ports = coil->port, .mode = begins, .rest = rest, .load = coil, .release = free }, error);
    free(work);
    return coil->plant ? DW_OK : error ? error->status : DW_NO_MEMORY;  /* unrun: passed-on */
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
    if (build(coil, error)) {
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

const struct dw_coil_plan *coil_plan(const struct dw_coil *coil)
{
    return &coil->plan;
}

struct dw_plant *dw_coil_plant(const struct dw_coil *coil)
{
    return coil->plant;
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
    return branch_at(&coil->circuit[circuit_of(mode)].sw, state);
}

double dw_coil_stored(const struct dw_coil *coil, size_t mode, double current)
{
    return coil_inductance(&coil->plan, dw_coil_pulled_in(coil, mode)) * current * current / 2;
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
    const double constant = coil_inductance(p, true) / p->resistance, pin = on ? p->threshold + 1 : p->threshold - 1;
    struct sought sought = { coil, on, 0 };
    struct dw_run *run = dw_run_new(dw_plant_modes(coil->plant), &(struct dw_run_options){ .sink = seek_place, .context = &sought }, error);
    enum dw_status status = run ? dw_run_start(run, 0, mode, state, &pin, error) : DW_NO_MEMORY;
    /* a time constant at a step: exponentials of doubles end within 745 */
    for (int i = 1; !status && i <= 745; i++)
        status = dw_run_feed(run, i * constant, &pin, error);
    dw_run_free(run);
    if (status == DW_END)
        *time = sought.time;
    return status == DW_END ? DW_OK : status ? status : dw_error_set(error, DW_NO, 0, "the armature does not move");
}

enum dw_status dw_coil_times(const struct dw_coil *coil, double from, double *operate, double *release,
                             struct dw_error *error)
{
    const struct dw_coil_plan *p = &coil->plan;
    double state[N], on = NAN, off = NAN;
    if (!has_armature(p))
        return dw_error_set(error, DW_BAD_USE, 0, "without pull-in and drop-out there is no armature to time");
    if (isnan(from))
        from = dw_coil_full_current(p);
    if (!(from >= p->drop_out) || !isfinite(from))
        return dw_error_set(error, DW_BAD_USE, 0, "a release begins from a current at or above the drop-out, %g A, not from %g A",
                            p->drop_out, from);
    enum dw_status status = time_to(coil, dw_plant_rest(coil->plant, state), state, true, &on, error);
    const double held[N] = { [DW_COIL_CURRENT] = from };
    if (!status)
        status = time_to(coil, mode_of(CIRCUIT_ON, true), held, false, &off, error);
    if (!status) {
        *operate = on;
        *release = off;
    }
    return status;
}
