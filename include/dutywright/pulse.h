/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pulse trains of a pin that is only ever on or off: counters, modulation, edges, dead time, jitter. docs/theory.md,
 * section 1. */
#ifndef DUTYWRIGHT_PULSE_H
#define DUTYWRIGHT_PULSE_H

#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* ---- counters ---- */

enum dw_counting {
    DW_COUNT_UP,      /* 0 to largest, then 0 again */
    DW_COUNT_UP_DOWN  /* 0 to largest and back to 0 */
};

/* The counter of a timer whose compare register makes a pin's pulses. */
struct dw_counter {
    double clock;                /* Hz, before the prescaler; > 0 */
    unsigned long long prescale; /* clock ticks a count, 1..2^32 */
    unsigned long long largest;  /* largest count, 1..2^32 - 1 */
    enum dw_counting counting;
};

/* DW_OK, or DW_BAD_USE: a field is outside its range. error may be NULL. */
DW_API enum dw_status dw_counter_check(const struct dw_counter *counter, struct dw_error *error);
/* Steps of duty: largest + 1 counting up, largest counting up and down. The duties are k/steps, 0 <= k <= steps. (1.1) */
DW_API unsigned long long dw_counter_steps(const struct dw_counter *counter);
/* Counts a period: largest + 1 counting up, 2 largest counting up and down. (1.1) */
DW_API unsigned long long dw_counter_counts(const struct dw_counter *counter);
/* s; accuracy: 1 ulp, since prescale * counts below 2^53 is exact and the quotient is rounded once. (1.2) */
DW_API double dw_counter_period(const struct dw_counter *counter);
/* Hz; 1 ulp. */
DW_API double dw_counter_frequency(const struct dw_counter *counter);

/* The duty that a counter of so many steps gives for one asked: nearest k/steps, halves up. (1.3)
 *   duty     0..1
 *   steps    at most 2^53; 0: not rounded
 *   count    out, may be NULL: k
 *   returns  k/steps, rounded once */
DW_API double dw_duty_given(double duty, unsigned long long steps, unsigned long long *count);

/* The simplest p/q that is this very double: 0.37 is 37/100. (1.4)
 *   duty     0..1
 *   p, q     out: without common factor
 *   returns  false where q would exceed 2^53; then p and q are untouched
 *   source   continued fraction, exact by fmod; a ratio with q < 2^26 is always found (Legendre's theorem: Hardy and
 *            Wright, An Introduction to the Theory of Numbers, theorem 184) */
DW_API bool dw_duty_ratio(double duty, unsigned long long *p, unsigned long long *q);

/* ---- pulse trains ---- */

enum dw_alignment { DW_ALIGN_LEFT, DW_ALIGN_CENTRE, DW_ALIGN_RIGHT };  /* of the pulse in its period */

enum dw_modulation {
    DW_REGULAR,  /* the duty at the start of a period holds for it */
    DW_NATURAL,  /* edges where the duty crosses a ramp (left, right) or a triangle (centre) */
    DW_DENSITY   /* whole clocks on or off, as evenly as can be */
};

/* Next point of a duty against time, straight lines between points, two at one time being a jump.
 *   time     out, s, never decreasing
 *   duty     out, share; outside 0..1 is clipped
 *   returns  DW_OK, DW_END after the last point, or an error, which the pulse train passes on */
typedef enum dw_status dw_duty_points(void *context, double *time, double *duty, struct dw_error *error);

/* A train as wanted. Leave out what is zero: { .period = 0.000625, .duty = 0.312, .high = 3.3, .periods = 10 }. */
struct dw_pulse_train {
    double period;             /* s, > 0; of the clock with DW_DENSITY */
    double duty;               /* 0..1; not used with points */
    unsigned long long steps;  /* of duty, at most 2^53; 0: any duty; 0 with DW_NATURAL */
    enum dw_alignment alignment;  /* no meaning with DW_DENSITY */
    enum dw_modulation modulation;
    double low, high;          /* V, low < high */
    double rise, fall;         /* s, >= 0: 0 to 100 %, starting at the nominal instant */
    double phase;              /* share of a period by which every pulse comes later; whole periods are dropped */
    bool complement;           /* adds the complementary channel, before the principal one */
    double dead_time;          /* s, 0 <= dead_time < period: delay of each turn-on; 0 without complement */
    double jitter;             /* s, 0 <= jitter < period: rms of independent Gaussian shifts of each edge */
    uint64_t seed;             /* of the jitter: the same seed gives the same shifts */
    dw_duty_points *points;    /* duty against time; NULL: constant duty */
    void *context;             /* handed to points */
    double periods;            /* length of the record in periods (of the pattern, see dw_pulse_period); 0: see duration */
    double duration;           /* s; 0 with periods 0: until the points end */
};

/* What happened on the way, whole only after the last row. */
struct dw_pulse_findings {
    bool clipped;                /* a duty outside 0..1 by more than 4 ulp of 1 was clipped */
    double lowest, highest;      /* duties met, unclipped; without points 0 */
    unsigned long long closed;   /* pulses, of either channel, that the dead time left nothing of */
    unsigned long long swallowed; /* pulses that jitter left nothing of */
    unsigned long long partial;  /* edges that had no time to reach their level */
    bool ended_early;            /* the points ended before the length asked for */
    double end;                  /* s, time of the last row */
};

struct dw_pulse;

/* Checks a train and prepares its rows; reads the first of the points.
 *   train    copied; points and context must outlive the pulse
 *   error    out, may be NULL
 *   returns  NULL with
 *            DW_BAD_USE: a field is outside its range; rise longer than the pulse, fall longer than the pause (with a
 *            complement: of either channel; constant duty without jitter only, since other pulses may be short in
 *            passing: such edges turn round on their way, and are counted as partial); dead time of a period or more;
 *            times that come within 16 periods of the end of the range of double
 *            DW_BAD_INPUT: fewer than two instants in points
 *            DW_NO_MEMORY, or what points returned */
DW_API struct dw_pulse *dw_pulse_new(const struct dw_pulse_train *train, struct dw_error *error);
DW_API void dw_pulse_free(struct dw_pulse *pulse);

enum { DW_PULSE_ROWS = 8 };  /* fewest rows that dw_pulse_rows must have room for */

/* Next rows of the wave table: time, complement (if any), principal; straight lines between rows, jumps in two rows.
 * The first row is at the origin (value after a jump there), the last at the end (value before a jump there).
 *   rows     out, [most x (1 + channels)], row after row: s, V
 *   most     >= DW_PULSE_ROWS
 *   count    out: rows written, > 0 with DW_OK
 *   returns  DW_OK; DW_END, count 0: no more rows; DW_BAD_USE: most is too small; or what points returned
 *   accuracy the pulse of period k that is aligned left without phase begins at dw_period_boundary; any edge lies within
 *            1 ulp of its nominal instant, or of 4 periods where that is later. Memory is constant */
DW_API enum dw_status dw_pulse_rows(struct dw_pulse *pulse, double *rows, size_t most, size_t *count,
                                    struct dw_error *error);

DW_API size_t dw_pulse_channels(const struct dw_pulse *pulse);  /* 1, or 2 with a complement */
/* s: start of period 0 and time of the first row; the time of the first point, or 0 without points. A phase does not
 * move it: pulses move inside the periods, and the first may begin with the end of a pulse. */
DW_API double dw_pulse_origin(const struct dw_pulse *pulse);
/* s, after which the whole pattern repeats: period, q clocks with DW_DENSITY and duty p/q; 0 where nothing repeats
 * (points, jitter, a density that is no ratio) */
DW_API double dw_pulse_period(const struct dw_pulse *pulse);
DW_API struct dw_pulse_findings dw_pulse_findings(const struct dw_pulse *pulse);

#ifdef __cplusplus
}
#endif
#endif
