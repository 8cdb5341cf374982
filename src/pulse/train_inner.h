/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pulse trains. Not installed. */
#ifndef PULSE_TRAIN_INNER_H
#define PULSE_TRAIN_INNER_H

#include <dutywright/pulse.h>
#include <stdint.h>

/* Random numbers that depend on a seed and a number alone, so that a train is the same however it is cut. */

/* Four random words from four counter words and two key words.
 *   source   Philox4x32-10: Salmon, Moraes, Dror, Shaw 2011, Parallel random numbers: as easy as 1, 2, 3, SC11 */
void dwi_philox(const uint32_t counter[4], const uint32_t key[2], uint32_t out[4]);

/* Two independent numbers of the standard normal distribution, the pair `index` of stream `seed`.
 *   out      [2]; |out| < 8.6, since the smallest uniform number is 2^-53
 *   source   Box and Muller 1958, Ann. Math. Statist. 29:610 */
void dwi_gauss_pair(uint64_t seed, uint64_t index, double out[2]);

/* ---- a duty against time, read forwards one straight piece at a time ---- */

/* The present piece goes from (start, from) to (stop, to), stop excluded: at a jump the value after it holds. Before the
 * first point and after the last the duty stays, on a piece that begins or ends at infinity. */
struct curve {
    dw_duty_points *points;
    void *context;
    double start, from, stop, to;
    bool kept;               /* the piece after the first point has been read, and is next: */
    double kept_stop, kept_to;
    double first;            /* s, time of the first point */
    double last;             /* s, time of the last point once it is known, else infinity */
    double lowest, highest;  /* duties that were asked for, unclipped */
};

/* Reads points until time passes. Errors: DW_BAD_INPUT where it never does; those of points. */
enum dw_status dwi_duty_curve_open(struct curve *curve, dw_duty_points *points, void *context, struct dw_error *error);
/* Moves to the piece that holds `time`, never back. */
enum dw_status dwi_duty_curve_seek(struct curve *curve, double time, struct dw_error *error);
/* The next piece that takes time; only while curve->stop is finite. */
enum dw_status dwi_duty_curve_next(struct curve *curve, struct dw_error *error);
/* Duty at a time within the present piece, its stop included (value before a jump there), unclipped; remembers extremes. */
double dwi_duty_curve_duty(struct curve *curve, double time);
/* Whether a duty was asked for that lies outside 0..1 by more than 4 ulp of 1: less is rounding of who computed it. */
bool dwi_duty_curve_clipped(const struct curve *curve);

/* A pulse train on its way to rows: periods make pulses (source.c), pulses make edges of each channel (edges.c), edges
 * make rows (rows.c). */

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
