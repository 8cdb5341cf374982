/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a run of a coil amounts to: times of the armature, peaks, and where the energy went. docs/theory.md, section 8. */
#include "load/coil_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* From one start of an operation to the next. */
struct cycle {
    bool begun;
    double begin, length;                       /* s; length NaN until one is whole */
    struct dw_coil_energy at_begin, last_whole;
};

struct dw_coil_meter {
    const struct dw_coil *coil;
    bool any;
    size_t mode;
    double state[DW_COIL_STATES];               /* of the last row */
    double integral[DW_COIL_INTEGRALS];         /* of the last row that had them: of the supply A s, or J where it gives way; A^2 s, J of clamp and
                                                   switch */
    double stored, stored_at_first;             /* J, at that row and at the first */
    double stray, armature;                     /* J */
    struct dw_coil_findings found;
    struct cycle pulses, operations;
    double on_at, off_at, asked_at, held;       /* s, s, s, A; NaN: not yet */
    bool valley, pulled, dropped;               /* since the pull-in; since the switch last went on */
};

/* ---- energy ---- */

struct dw_coil_meter *dw_coil_meter_new(const struct dw_coil *coil, struct dw_error *error)
{
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
    return m;
}

void dw_coil_meter_free(struct dw_coil_meter *m)
{
    free(m);
}

static double stray_energy(const struct dw_coil_meter *m, const double *state)
{
    return dwi_coil_plan(m->coil)->stray * state[DW_COIL_STRAY] * state[DW_COIL_STRAY] / 2;
}

static double stored(const struct dw_coil_meter *m, size_t mode, const double *state)
{
    return dw_coil_stored(m->coil, mode, state[DW_COIL_CURRENT]) + stray_energy(m, state);
}

/* The account as it stands at the last row that had integrals. */
static struct dw_coil_energy account(const struct dw_coil_meter *m)
{
    const struct dw_coil_plan *p = dwi_coil_plan(m->coil);
    return (struct dw_coil_energy){ .supply = (dw_supply_ideal(&p->source) ? p->supply : 1) * m->integral[0], .copper = p->resistance * m->integral[1],
                                    .clamp = m->integral[2], .sw = m->integral[3], .stray = m->stray, .armature = m->armature,
                                    .stored = m->stored - m->stored_at_first };
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

static void change_mode(struct dw_coil_meter *m, const struct dw_run_row *row)
{
    const bool was_on = dw_coil_switched_on(m->coil, m->mode), is_on = dw_coil_switched_on(m->coil, row->mode);
    const bool was_in = dw_coil_pulled_in(m->coil, m->mode), is_in = dw_coil_pulled_in(m->coil, row->mode);
    const double current = m->state[DW_COIL_CURRENT];
    if (!was_on && is_on) {
        goes_on(m, row->time, current, was_in);
        m->stray += stray_energy(m, m->state);
    }
    if (was_on && !is_on) {
        goes_off(m, row->time, current, was_in);
        /* it begins at the closed switch's own voltage, which the modes count as zero until then */
        m->stray -= stray_energy(m, row->state);
    }
    if (was_in != is_in) {
        m->armature += dw_coil_stored(m->coil, m->mode, current) -
                             dw_coil_stored(m->coil, row->mode, row->state[DW_COIL_CURRENT]);
        armature_moves(m, row->time, is_in, is_on);
    }
    m->mode = row->mode;
}

enum dw_status dw_coil_meter_row(struct dw_coil_meter *m, const struct dw_run_row *row, struct dw_error *error)
{
    if (row->integral)
        memcpy(m->integral, row->integral, sizeof m->integral);
    else if (row->kind != DW_ROW_BETWEEN && row->kind != DW_ROW_EXTREMUM)
        return dw_error_set(error, DW_BAD_USE, 0, "the coil's meter is given a row without the integrals of its coil");
    if (!m->any) {
        m->any = true;
        m->mode = row->mode;
        m->stored = m->stored_at_first = stored(m, row->mode, row->state);
        memcpy(m->state, row->state, sizeof m->state);
        if (dw_coil_switched_on(m->coil, row->mode))
            goes_on(m, row->time, row->state[DW_COIL_CURRENT], dw_coil_pulled_in(m->coil, row->mode));
    } else if (row->mode != m->mode) {
        change_mode(m, row);
    }
    memcpy(m->state, row->state, sizeof m->state);
    if (row->integral)
        m->stored = stored(m, row->mode, row->state);
    note_peaks(m, row);
    return DW_OK;
}

enum dw_status dw_coil_meter_end(struct dw_coil_meter *m, struct dw_coil_findings *findings, struct dw_error *error)
{
    (void)error;
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
