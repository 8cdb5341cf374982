/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a run of a coil amounts to: times of the armature, peaks, and where the energy went. docs/theory.md, section 8. */
#include "load/coil_inner.h"
#include <dutywright/linear.h>
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Outputs of the systems that integrate. */
enum { CURRENT, CLAMP, CLAMP_CURRENT, SUPPLY_CURRENT, OUTPUTS };
enum { N = DW_COIL_STATES, MODES = 2 * CIRCUITS };

/* From one start of an operation to the next. */
struct cycle {
    bool begun;
    double begin, length;                       /* s; length NaN until one is whole */
    struct dw_coil_energy at_begin, last_whole;
};

struct dw_coil_meter {
    const struct dw_coil *coil;
    struct coil_circuit circuit[CIRCUITS];
    struct dw_system *system[MODES];            /* NULL: of one rate, or never entered */
    bool any;
    size_t mode;
    double begin, begin_state[N];               /* where the present mode began */
    double time, state[N];                      /* of the last row */
    double stored_at_first;
    struct dw_coil_energy total;
    struct dw_coil_findings found;
    struct cycle pulses, operations;
    double on_at, off_at, asked_at, held;       /* s, s, s, A; NaN: not yet */
    bool valley, pulled, dropped;               /* since the pull-in; since the switch last went on */
};

/* ---- energy ---- */

/* Where the stray capacitance's voltage is counted from: a clamp's current is what little is over its onset, and would drown in
 * the rounding of the whole. */
static double origin(const struct dw_coil_plan *p, enum circuit circuit)
{
    return circuit == CIRCUIT_CLAMPED ? coil_clamp_onset(p) : 0;
}

static double alone(const struct branch *branch, double from)
{
    return branch->alone + branch->stray * from;
}

/* Integrates a circuit in which current and stray capacitance swing together, its voltage counted from there. */
static struct dw_system *integrator(const struct dw_coil_plan *p, const struct coil_circuit *c, double from, bool pulled_in,
                                    struct dw_error *error)
{
    const double inductance = coil_inductance(p, pulled_in);
    const double a[N * N] = { c->drive.current / inductance, c->drive.stray / inductance, c->charge.current / p->stray,
                              c->charge.stray / p->stray };
    const double b[N] = { alone(&c->drive, from) / inductance, alone(&c->charge, from) / p->stray };
    const struct branch *const rows[OUTPUTS] = { NULL, &c->clamp_volts, &c->clamp_current, &c->supply_current };
    double out[OUTPUTS * N] = { [CURRENT * N] = 1 }, at_origin[OUTPUTS] = { 0 };
    for (size_t i = CLAMP; i < OUTPUTS; i++) {
        out[i * N] = rows[i]->current;
        out[i * N + 1] = rows[i]->stray;
        at_origin[i] = alone(rows[i], from);
    }
    const double weight[N] = { inductance, p->stray };
    return dw_system_new(&(struct dw_matrices){ .states = N, .inputs = 1, .outputs = OUTPUTS, .a = a, .b = b, .c = out,
                                                .d = at_origin, .weight = weight }, error);
}

struct dw_coil_meter *dw_coil_meter_new(const struct dw_coil *coil, struct dw_error *error)
{
    const struct dw_coil_plan *p = coil_plan(coil);
    struct dw_coil_meter *m = calloc(1, sizeof *m);
    if (!m) {
        dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for the meter of the coil");
        return NULL;
    }
    m->coil = coil;
    m->on_at = m->off_at = m->asked_at = m->held = m->pulses.length = m->operations.length = NAN;
    m->found = (struct dw_coil_findings){ .operate = NAN, .operate_longest = NAN, .release = NAN, .release_longest = NAN,
                                          .on_longest = NAN, .off_longest = NAN, .hold = NAN, .off_current = NAN, .cycle = NAN,
                                          .peak_switch = -INFINITY, .peak_current = -INFINITY, .lowest_current = INFINITY };
    for (size_t i = 0; i < MODES; i++) {
        struct coil_circuit *c = &m->circuit[circuit_of(i)];
        if (circuit_of(i) == CIRCUIT_CLAMPED && !isfinite(coil_clamp_onset(p)))
            continue;
        *c = coil_circuit(p, circuit_of(i));
        if (c->drive.stray != 0 &&
            !(m->system[i] = integrator(p, c, origin(p, circuit_of(i)), dw_coil_pulled_in(coil, i), error))) {
            dw_coil_meter_free(m);
            return NULL;
        }
    }
    return m;
}

void dw_coil_meter_free(struct dw_coil_meter *m)
{
    if (!m)
        return;
    for (size_t i = 0; i < MODES; i++)
        dw_system_free(m->system[i]);
    free(m);
}

static double stray_energy(const struct dw_coil_meter *m, const double *state)
{
    return coil_plan(m->coil)->stray * state[DW_COIL_STRAY] * state[DW_COIL_STRAY] / 2;
}

static double stored(const struct dw_coil_meter *m, size_t mode, const double *state)
{
    return dw_coil_stored(m->coil, mode, state[DW_COIL_CURRENT]) + stray_energy(m, state);
}

/* The account as it stands at the last row. */
static struct dw_coil_energy account(const struct dw_coil_meter *m)
{
    struct dw_coil_energy now = m->total;
    now.stored = stored(m, m->mode, m->state) - m->stored_at_first;
    return now;
}

static struct dw_coil_energy difference(struct dw_coil_energy a, const struct dw_coil_energy *b)
{
    a.supply -= b->supply;
    a.copper -= b->copper;
    a.clamp -= b->clamp;
    a.sw -= b->sw;
    a.stray -= b->stray;
    a.armature -= b->armature;
    a.stored -= b->stored;
    return a;
}

/* Integrals of the current and of its square over a time in which L i' = volts - ohms i: docs/theory.md, (8.11). */
struct moments {
    double time, first, second;  /* s, A s, A^2 s */
};

static struct moments single_rate(double current, double volts, double ohms, double inductance, double time)
{
    const double z = ohms / inductance * time;
    if (z > 1) {  /* the end of the exponential is near, and serves as the zero of currents */
        const double end = volts / ohms, over = current - end, rate = ohms / inductance;
        const double once = -expm1(-z) / rate, twice = -expm1(-2 * z) / (2 * rate);
        return (struct moments){ time, end * time + over * once, end * end * time + 2 * end * over * once + over * over * twice };
    }
    /* the end may be far off (next to no resistance): from the start's slope, by series that do not cancel */
    double power = 1, factorial = 2, two = 4, one_sum = 0, two_sum = 0;
    for (int k = 2; k < 24; k++) {  /* 2^24 / 25! = 1e-18 */
        one_sum += power / factorial;                        /* (-z)^(k-2) / k! */
        two_sum += power * (two - 2) / (factorial * (k + 1));  /* (-z)^(k-2) (2^k - 2) / (k+1)! */
        power *= -z;
        factorial *= k + 1;
        two *= 2;
    }
    const double rise = (volts - ohms * current) / inductance * time;
    return (struct moments){ time, (current + rise * one_sum) * time,
                             (current * current + 2 * current * rise * one_sum + rise * rise * two_sum) * time };
}

/* Integral of the product of two branches; the stray capacitance's voltage does not move. */
static double product(const struct branch *a, const struct branch *b, double stray, const struct moments *m)
{
    const double a0 = a->alone + a->stray * stray, b0 = b->alone + b->stray * stray;
    return a0 * b0 * m->time + (a0 * b->current + b0 * a->current) * m->first + a->current * b->current * m->second;
}

/* What a mode takes in all. */
struct flows {
    double charge, copper, clamp, sw;  /* A s of the supply; A^2 s; J; J */
};

static struct flows flows_of_one_rate(const struct dw_coil_meter *m, const struct coil_circuit *c, double length)
{
    static const struct branch one = { .alone = 1 };
    const double *from = m->begin_state, stray = from[DW_COIL_STRAY];
    const double inductance = coil_inductance(coil_plan(m->coil), dw_coil_pulled_in(m->coil, m->mode));
    const struct moments moments = single_rate(from[DW_COIL_CURRENT], c->drive.alone, -c->drive.current, inductance, length);
    return (struct flows){ product(&c->supply_current, &one, stray, &moments), moments.second,
                           product(&c->clamp_volts, &c->clamp_current, stray, &moments),
                           product(&c->sw, &c->switch_current, stray, &moments) };
}

static enum dw_status flows_of_two_rates(const struct dw_coil_meter *m, const struct coil_circuit *c, double length,
                                         struct flows *flows, struct dw_error *error)
{
    const double one = 1;
    struct dw_system *system = m->system[m->mode];
    double plain[OUTPUTS], from[N];
    memcpy(from, m->begin_state, sizeof from);
    from[DW_COIL_STRAY] -= origin(coil_plan(m->coil), circuit_of(m->mode));
    enum dw_status status = dw_system_integral(system, from, &one, &one, length, plain, error);
    flows->charge = plain[SUPPLY_CURRENT];
    if (!status)
        status = dw_system_product_integral(system, from, &one, &one, length, CURRENT, CURRENT, &flows->copper, error);
    const bool clamp = c->clamp_current.current != 0 || c->clamp_current.stray != 0;  /* unrun: implied */
    if (!status && clamp)
        status = dw_system_product_integral(system, from, &one, &one, length, CLAMP, CLAMP_CURRENT, &flows->clamp,
                                            error);
    return status;
}

/* Adds what passed since the present mode began, up to the last row. */
static enum dw_status close_mode(struct dw_coil_meter *m, struct dw_error *error)
{
    const struct dw_coil_plan *p = coil_plan(m->coil);
    const double length = m->time - m->begin;
    if (!(length > 0))
        return DW_OK;
    const struct coil_circuit *c = &m->circuit[circuit_of(m->mode)];
    struct flows flows = { 0 };
    enum dw_status status = DW_OK;
    if (c->drive.stray != 0)
        status = flows_of_two_rates(m, c, length, &flows, error);
    else if (c->drive.current != 0)  /* else no current at all */
        flows = flows_of_one_rate(m, c, length);
    if (status)
        return status;
    m->total.supply += p->supply * flows.charge;
    m->total.copper += p->resistance * flows.copper;
    m->total.clamp += flows.clamp;
    m->total.sw += flows.sw;
    m->begin = m->time;
    memcpy(m->begin_state, m->state, sizeof m->state);
    return DW_OK;
}

/* ---- edges and the armature ---- */

static void next_cycle(struct dw_coil_meter *m, struct cycle *cycle, double time)
{
    const struct dw_coil_energy now = account(m);
    if (cycle->begun) {
        cycle->length = time - cycle->begin;
        cycle->last_whole = difference(now, &cycle->at_begin);
    }
    cycle->begun = true;
    cycle->begin = time;
    cycle->at_begin = now;
}

static void keep_longest(double *longest, double value)
{
    *longest = fmax(*longest, value);  /* fmax ignores NaN, which stands for none */
}

static void goes_on(struct dw_coil_meter *m, double time, double current, bool pulled_in)
{
    struct dw_coil_findings *f = &m->found;
    if (m->pulses.begun) {
        f->pulses++;
        f->followed += m->pulled && m->dropped;
    }
    m->pulled = m->dropped = false;
    keep_longest(&f->off_longest, time - m->off_at);
    next_cycle(m, &m->pulses, time);
    if (pulled_in) {
        m->held = current;
        m->valley = true;
    } else if (isnan(m->asked_at)) {
        m->asked_at = time;
        next_cycle(m, &m->operations, time);
    }
    m->on_at = time;
}

static void goes_off(struct dw_coil_meter *m, double time, double current, bool pulled_in)
{
    keep_longest(&m->found.on_longest, time - m->on_at);
    m->off_at = time;
    m->found.off_current = current;
    if (pulled_in && !m->valley)
        m->held = current;
}

static void armature_moves(struct dw_coil_meter *m, double time, bool pulls_in, bool is_on)
{
    struct dw_coil_findings *f = &m->found;
    if (pulls_in) {
        f->pull_ins++;
        m->pulled = true;
        m->valley = false;
        m->held = NAN;
        if (isnan(m->asked_at))  /* it fell while the switch was on, and comes back in the same pulse */
            return;
        f->operate = time - m->asked_at;
        keep_longest(&f->operate_longest, f->operate);
    } else {
        f->drop_outs++;
        m->dropped = true;
        if (!isnan(m->held))
            f->hold = m->held;
        if (!is_on && !isnan(m->off_at)) {  /* unrun: implied */
            f->release = time - m->off_at;
            keep_longest(&f->release_longest, f->release);
        }
    }
    m->asked_at = NAN;
}

static void note_peaks(struct dw_coil_meter *m, const struct dw_run_row *row)
{
    struct dw_coil_findings *f = &m->found;
    const double current = row->state[DW_COIL_CURRENT];
    f->peak_current = fmax(f->peak_current, current);
    f->lowest_current = fmin(f->lowest_current, current);
    f->peak_switch = fmax(f->peak_switch, dw_coil_switch_voltage(m->coil, row->mode, row->state));
    f->peak_stored = fmax(f->peak_stored, dw_coil_stored(m->coil, row->mode, current));
}

static enum dw_status change_mode(struct dw_coil_meter *m, const struct dw_run_row *row, struct dw_error *error)
{
    const bool was_on = dw_coil_switched_on(m->coil, m->mode), is_on = dw_coil_switched_on(m->coil, row->mode);
    const bool was_in = dw_coil_pulled_in(m->coil, m->mode), is_in = dw_coil_pulled_in(m->coil, row->mode);
    enum dw_status status = close_mode(m, error);
    if (status)
        return status;
    const double current = m->state[DW_COIL_CURRENT];
    if (!was_on && is_on) {
        goes_on(m, row->time, current, was_in);
        m->total.stray += stray_energy(m, m->state);
    }
    if (was_on && !is_on) {
        goes_off(m, row->time, current, was_in);
        /* it begins at the closed switch's own voltage, which the modes count as zero until then */
        m->total.stray -= stray_energy(m, row->state);
    }
    if (was_in != is_in) {
        m->total.armature += dw_coil_stored(m->coil, m->mode, current) -
                             dw_coil_stored(m->coil, row->mode, row->state[DW_COIL_CURRENT]);
        armature_moves(m, row->time, is_in, is_on);
    }
    m->mode = row->mode;
    m->begin = row->time;
    memcpy(m->begin_state, row->state, sizeof m->begin_state);
    return DW_OK;
}

enum dw_status dw_coil_meter_row(struct dw_coil_meter *m, const struct dw_run_row *row, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (!m->any) {
        m->any = true;
        m->mode = row->mode;
        m->time = m->begin = row->time;
        memcpy(m->begin_state, row->state, sizeof m->begin_state);
        memcpy(m->state, row->state, sizeof m->state);
        m->stored_at_first = stored(m, row->mode, row->state);
        if (dw_coil_switched_on(m->coil, row->mode))
            goes_on(m, row->time, row->state[DW_COIL_CURRENT], dw_coil_pulled_in(m->coil, row->mode));
    } else if (row->mode != m->mode) {
        status = change_mode(m, row, error);
    }
    m->time = row->time;
    memcpy(m->state, row->state, sizeof m->state);
    if (!status)
        note_peaks(m, row);
    return status;
}

enum dw_status dw_coil_meter_end(struct dw_coil_meter *m, struct dw_coil_findings *findings, struct dw_error *error)
{
    enum dw_status status = close_mode(m, error);
    if (status)  /* unrun: passed-on */
        return status;
    const struct cycle *cycle = isfinite(m->operations.length) ? &m->operations : &m->pulses;
    struct dw_coil_findings f = m->found;
    f.pulled_in = m->any && dw_coil_pulled_in(m->coil, m->mode);
    if (f.pulled_in && !isnan(m->held))
        f.hold = m->held;
    f.total = account(m);
    f.pulse = m->pulses.length;
    f.cycle = cycle->length;
    f.energy = isfinite(cycle->length) ? cycle->last_whole : f.total;
    *findings = f;
    return DW_OK;
}
