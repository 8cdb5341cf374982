/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is found of a stroke on the way. docs/theory.md, section 15. */
#include "load/build_inner.h"
#include <dutywright/cubic.h>
#include <math.h>
#include <string.h>

/* Share of the travel that is a motion: a load may press it to its end before anything drives it. */
static const double MOVED = 1e-9;

/* J, of motor and load. */
static double moving_energy(const struct dw_actuator *a, const double *x)
{
    const struct dw_actuator_plan *p = &a->plan;
    const double load = p->backlash > 0 ? x[DW_ACTUATOR_LOAD_SPEED] : x[DW_ACTUATOR_SPEED] * dwi_actuator_thread(a);
    return (p->motor.inertia * x[DW_ACTUATOR_SPEED] * x[DW_ACTUATOR_SPEED] + p->mass * load * load) / 2;
}

/* What the supply gives since the row before: the product of two cubics, or of one and the voltage of an ideal supply. */
static void take_energy(struct dw_actuator_meter *m, const struct dw_run_row *row)
{
    const double length = row->time - m->found.time, volts = m->actuator->plan.motor.supply;
    const size_t outputs = dw_plant_outputs(m->actuator->plant), at[2] = { m->volts, m->amperes };
    struct dw_cubic cubic[2] = { { { volts } }, { { 0 } } };
    for (size_t i = 0; i < 2; i++)
        if (at[i] < outputs) {
            cubic[i] = dw_cubic_through(m->supply[i][0], length * m->supply[i][1], row->output[at[i]],
                                        length * row->slope[at[i]]);
            m->supply[i][0] = row->output[at[i]];
            m->supply[i][1] = row->slope[at[i]];
        }
    for (int j = 0; j < 4; j++)
        for (int k = 0; k < 4; k++)
            m->energy += length * cubic[0].c[j] * cubic[1].c[k] / (j + k + 1);
}

/* The current since the row before. */
static void take_current(struct dw_actuator_meter *m, const struct dw_run_row *row, double current, double slope)
{
    struct dw_actuator_findings *f = &m->found;
    const double length = row->time - f->time;
    const struct dw_cubic between = dw_cubic_through(m->current, length * m->slope, current, length * slope);
    m->charge += length * ((m->current + current) / 2 + length * (m->slope - slope) / 12);
    m->square += length * dw_cubic_mean_square(&between);
    if (f->motion == DW_ACTUATOR_STOPPED)
        f->pressed += length;
    if (f->motion == DW_ACTUATOR_STOPPED && row->time > m->press_begun)
        f->press_current = (m->charge - m->press_charge) / (row->time - m->press_begun);
}

/* While the stroke lasts. Marks stand at twice the time of the one before, so that the older one is in its first half. */
static void take_stroke(struct dw_actuator_meter *m, const struct dw_run_row *row, double current)
{
    struct dw_actuator_findings *f = &m->found;
    const double since = row->time - f->begun;
    f->to = f->position;
    f->starting = fmax(f->starting, fabs(current));
    f->energy = m->energy;
    if (since > 0) {
        f->heat = m->actuator->plan.motor.resistance * m->square / since;
        f->running = fabs(m->charge - m->mark[0][1]) / (row->time - m->mark[0][0]);
    }
    if (since >= 2 * (m->mark[1][0] - f->begun)) {
        memcpy(m->mark[0], m->mark[1], sizeof m->mark[0]);
        m->mark[1][0] = row->time;
        m->mark[1][1] = m->charge;
    }
}

static void begin_stroke(struct dw_actuator_meter *m)
{
    struct dw_actuator_findings *f = &m->found;
    f->begun = f->time;
    f->from = f->position;
    m->charge = m->square = m->press_charge = 0;
    m->energy = m->amperes < dw_plant_outputs(m->actuator->plant) ? 0 : NAN;
    for (int i = 0; i < 2; i++) {
        m->mark[i][0] = f->time;
        m->mark[i][1] = 0;
    }
}

/* Comes to a stop, or to a switch that opens. */
static void take_end(struct dw_actuator_meter *m, const struct dw_run_row *row, bool stops, double current)
{
    struct dw_actuator_findings *f = &m->found;
    if (stops) {
        m->press_begun = row->time;
        m->press_charge = m->charge;
        f->impact = fmax(f->impact, m->moving - moving_energy(m->actuator, row->state));
    } else if (!(f->cut > 0)) {
        f->cut = fabs(m->current - current);
    }
    if (m->moved && isnan(f->ended))
        f->ended = row->time;
}

static void begin(struct dw_actuator_meter *m, const struct dw_run_row *row, double position)
{
    m->found = (struct dw_actuator_findings){ .begun = NAN, .ended = NAN, .running = NAN, .heat = NAN,
                                              .press_current = NAN, .time = row->time, .position = position,
                                              .from = position, .to = position,
                                              .motion = dw_actuator_motion(m->actuator, row->mode) };
    m->open = dw_actuator_open(m->actuator, row->mode);
    const bool direct = m->actuator->plan.motor.drive == DW_DRIVE_DIRECT, all = m->actuator->plan.motor.all;
    m->volts = dw_plant_output(m->actuator->plant, direct ? "terminal" : "supply");
    m->amperes = dw_plant_output(m->actuator->plant, !direct ? "supply-current" : all ? "current" : "none");
    m->press_begun = row->time;
    m->any = true;
}

void dw_actuator_meter_row(struct dw_actuator_meter *m, const struct dw_run_row *row)
{
    const struct dw_actuator *a = m->actuator;
    const size_t at = dw_plant_outputs(a->plant) - 4;
    const double current = row->output[at], position = row->output[at + 3], nut = row->state[DW_ACTUATOR_NUT];
    const enum dw_actuator_motion motion = dw_actuator_motion(a, row->mode);
    const int open = dw_actuator_open(a, row->mode);
    const bool moves = motion == DW_ACTUATOR_OUT || motion == DW_ACTUATOR_IN;
    if (!m->any)
        begin(m, row, position);
    struct dw_actuator_findings *f = &m->found;
    if (isnan(f->begun) && (current != 0 || moves))
        begin_stroke(m);
    take_energy(m, row);
    take_current(m, row, current, row->slope[at]);
    const bool stops = motion == DW_ACTUATOR_STOPPED && f->motion != motion, opens = open && open != m->open;
    f->position = position;
    f->speed = row->output[at + 2];
    f->fastest = fmax(f->fastest, fabs(f->speed));
    f->overrun = open ? fmax(f->overrun, open > 0 ? nut - a->plan.travel : -nut) : f->overrun;
    if (!isnan(f->begun) && isnan(f->ended))
        take_stroke(m, row, current);
    if (stops || opens)
        take_end(m, row, stops, current);
    f->time = row->time;
    f->motion = motion;
    m->moved = m->moved || fabs(position - f->from) > MOVED * a->plan.travel;
    m->current = current;
    m->slope = row->slope[at];
    m->moving = moving_energy(a, row->state);
    m->open = open;
}
