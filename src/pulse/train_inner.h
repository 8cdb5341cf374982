/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A pulse train on its way to rows: periods make pulses (source.c), pulses make edges of each channel (edges.c), edges
 * make rows (rows.c). */
#ifndef PULSE_TRAIN_INNER_H
#define PULSE_TRAIN_INNER_H

#include "curve_inner.h"
#include <dutywright/pulse.h>

/* The pin is on from `on` to `off`, s; may reach to infinity on either side. */
struct interval {
    double on, off;
};

/* Jitter moves an edge by less than 9 rms, which are less than 9 periods, so that no more pulses wait than these. */
enum { MOST_WAITING = 16 };
#define MOST_SHIFT 9.0

/* Makes the nominal pulses, in order, with pauses between them. */
struct pulse_source {
    double number;        /* of the next period (DW_DENSITY: clock); negative before the origin */
    double covered;       /* s, start of the last period made: points have been read up to here */
    double on_place, off_place;  /* s within the period, of a constant duty */
    unsigned long long p, q, behind;  /* constant density p/q: behind/q of a clock is owed; q 0: not constant */
    double owed;          /* the same for a density that changes: (1.9) */
    bool ended;           /* every pulse of the record has been made */
    struct interval waiting[MOST_WAITING];
    size_t first, count;  /* ring */
    uint64_t drawn;       /* pulses given out: number of the next pair of shifts */
    double last_edge;     /* s, as shifted */
};

/* One change of one channel. */
struct edge {
    double time;  /* s; infinity: no more */
    size_t channel;
    bool on;
};

/* A channel between edges: from `from` at `start` in a straight line to `target` at `stop`, then constant. 0 off, 1 on. */
struct slew {
    double from, start, target, stop;
};

struct dw_pulse {
    struct dw_pulse_train train;
    double origin;       /* s */
    double end;          /* s; may come nearer when the points end */
    double base;         /* s: origin + phase period */
    double pattern;      /* s, see dw_pulse_period */
    struct curve curve;  /* where train.points */
    struct pulse_source source;
    struct edge edges[4];  /* of one pulse, not yet made into rows */
    size_t edge, edge_count;
    double last_off;     /* s */
    bool last_pulse;
    size_t channels;
    struct edge next;    /* taken from edges, not yet in a row */
    struct slew slew[2];
    double previous[3];  /* last row written */
    bool begun, done;
    struct dw_pulse_findings findings;
};

/* s: instants so near to each other around `time` are one: 4 ulp of the time or, near zero, of the period. */
double dwi_pulse_time_near(const struct dw_pulse *pulse, double time);

void dwi_pulse_source_open(struct dw_pulse *pulse);
/* Next pulse, shifted by jitter; on = off = infinity after the last.
 *   returns  DW_OK, or what points returned */
enum dw_status dwi_pulse_source_next(struct dw_pulse *pulse, struct interval *interval, struct dw_error *error);
/* One period by natural sampling. */
enum dw_status dwi_pulse_natural_period(struct dw_pulse *pulse, double number, struct interval *interval, struct dw_error *error);

void dwi_pulse_edges_open(struct dw_pulse *pulse);
/* Next edge of any channel, times never decreasing. */
enum dw_status dwi_pulse_edges_next(struct dw_pulse *pulse, struct edge *edge, struct dw_error *error);

/* Whether a constant duty leaves its edges the time they need: DW_OK or DW_BAD_USE with the numbers. */
enum dw_status dwi_pulse_train_check(const struct dw_pulse_train *train, struct dw_error *error);

#endif
