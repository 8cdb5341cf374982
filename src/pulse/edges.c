/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pulses into the edges of both channels, each turn-on delayed by the dead time. */
#include "train_inner.h"
#include <math.h>

void dwi_pulse_edges_open(struct dw_pulse *pulse)
{
    pulse->edge = pulse->edge_count = 0;
    pulse->last_off = -INFINITY;
    pulse->last_pulse = false;
}

static void put(struct dw_pulse *pulse, double time, size_t channel, bool on)
{
    pulse->edges[pulse->edge_count++] = (struct edge){ time, channel, on };
}

/* Turns a channel on a dead time after `from`, if that is before `to`; whether it is. */
static bool turn_on(struct dw_pulse *pulse, double from, double to, size_t channel)
{
    const double delayed = from + pulse->train.dead_time;
    const bool left = to - delayed > (isfinite(to) ? dwi_pulse_time_near(pulse, to) : 0);
    if (left)
        put(pulse, delayed, channel, true);
    else if (to > from && to > pulse->origin && from < pulse->end)
        pulse->findings.closed++;
    return left;
}

/* Edges around one pulse: the complement's pulse before it, then its own. In time order, since no delay is negative. */
static enum dw_status refill(struct dw_pulse *pulse, struct dw_error *error)
{
    const size_t principal = pulse->channels - 1, complement = 0;
    struct interval next;
    const enum dw_status status = dwi_pulse_source_next(pulse, &next, error);
    if (status != DW_OK)
        return status;
    pulse->edge = pulse->edge_count = 0;
    pulse->last_pulse = next.on == INFINITY;
    if (pulse->train.complement && turn_on(pulse, pulse->last_off, next.on, complement) && !pulse->last_pulse)
        put(pulse, next.on, complement, false);
    if (!pulse->last_pulse && turn_on(pulse, next.on, next.off, principal) && next.off < INFINITY)
        put(pulse, next.off, principal, false);
    pulse->last_off = next.off;
    pulse->last_pulse = pulse->last_pulse || next.off == INFINITY;
    return DW_OK;
}

enum dw_status dwi_pulse_edges_next(struct dw_pulse *pulse, struct edge *edge, struct dw_error *error)
{
    while (pulse->edge == pulse->edge_count) {
        if (pulse->last_pulse) {
            *edge = (struct edge){ INFINITY, 0, false };
            return DW_OK;
        }
        const enum dw_status status = refill(pulse, error);
        if (status != DW_OK)
            return status;
    }
    *edge = pulse->edges[pulse->edge++];
    return DW_OK;
}
