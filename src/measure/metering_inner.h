/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The meter. Not installed. */
#ifndef MEASURE_METERING_INNER_H
#define MEASURE_METERING_INNER_H

#include "measure/statistics_inner.h"
#include <dutywright/measure.h>
#include <dutywright/pieces.h>
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

/* ---- when a line of vertices was last at or above any level, asked only once the line has ended ---- */

/* The last time at or above a level is a falling polyline over the levels; `exit` holds its vertices, value never
 * rising, time never falling. Beyond `most` it is thinned, and each stretch carries the bound of its error in time. */
struct exit {
    double value, time;
    double bound;  /* s, of the stretch that leads here */
};
/* What leads to an exit where that is part of a cubic which does not turn, value times sign; length 0: it is straight. */
struct exit_curve {
    struct hermite curve;
    double start, length;  /* s, of the whole */
};
struct exits {
    struct exit *exit;
    struct exit_curve *curve;  /* beside them; NULL: there are only lines */
    size_t count, room, most;
    double sign;  /* -1: below instead of above */
    bool curved;  /* vertices may be joined by cubics */
};

/* most >= 8 */
struct exits dwi_exits_new(double sign, size_t most, bool curved);
void dwi_exits_free(struct exits *exits);
/* Next vertex of the line; time never decreasing, two vertices at one time are a jump.
 *   curve  what leads there; NULL: a straight line */
enum dw_status dwi_exits_add(struct exits *exits, double time, double value, const struct exit_curve *curve, struct dw_error *error);
/* Last time at or above (sign -1: at or below) a level.
 *   bound    out, s
 *   slope    out, |value per second| of the line there; 0 at a jump
 *   returns  false where the line never was */
bool dwi_exits_last(const struct exits *exits, double level, double *time, double *bound, double *slope);

/* ---- what is kept of a line while it streams by, so that its settling can be told at its end ---- */

struct settling {
    struct exits above, below;
    size_t count;
    double first, first_time, still_until;  /* the first value, its time, and up to when there was no other */
    bool moved;
    double before, last;  /* last two values */
    double minimum, maximum;
};

/* curved: values are joined by cubics */
struct settling dwi_settling_new(size_t most_exits, bool curved);
void dwi_settling_free(struct settling *settling);
/*   curve  what leads from the value before to this one where that is a cubic, which may not turn; NULL: a straight line */
enum dw_status dwi_settling_add(struct settling *settling, double time, double value, const struct exit_curve *curve,
                                struct dw_error *error);
/* drift: how far the value still moves, compared with a tenth of the band; both are shares of the unit */
struct dw_settling dwi_settling_find(const struct settling *settling, const struct dw_settling_rule *rule, double drift);

/* ---- the levels of a waveform's two states: IEEE Std 181-2011, 5.2 (histogram method), from memory ---- */

enum levels_from {
    LEVELS_GIVEN,     /* by the user or the table */
    LEVELS_MODES,     /* the two modes of the histogram */
    LEVELS_EXTREMES,  /* minimum and maximum, since no two modes stand out */
    LEVELS_NONE       /* the channel is constant */
};

struct levels {
    double low, high;
    enum levels_from from;
};

/* Vertices of a record, row after row: time, then channels, then slopes of some. Between two of them nothing turns. */
struct vertices {
    const double *row;
    size_t count, width;  /* doubles a row */
    const size_t *slope;  /* [channels]: where the slope of a channel stands in a row; 0: straight lines */
};

/* What lies between a vertex and the next one, and whether that is a cubic. */
static inline bool vertices_curve(const struct vertices *v, const double *a, size_t channel, struct hermite *curve)
{
    const double *b = a + v->width;
    const size_t s = v->slope[channel];
    if (!s || !(b[0] > a[0]))
        return false;
    *curve = hermite_of(b[0] - a[0], a[1 + channel], a[s], b[1 + channel], b[s]);
    return true;
}

/* Levels of one channel, by the time that lines or cubics spend at each value.
 *   channel  from 0 */
struct levels dwi_levels_find(const struct vertices *vertices, size_t channel);

/* Transitions between two levels, found while vertices stream by. Terms and reference levels: IEEE Std 181-2011,
 * clause 3 and 5.3 (from memory): a transition duration runs from the 10 % to the 90 % reference level instant, pulses
 * and periods between 50 % instants. */

/* Sums over the complete transitions of one polarity, and the one under way. */
struct polarity {
    double count;
    double duration;     /* s, sum of transition durations */
    double first, last;  /* s, 50 % instants of the first and the last */
    double held;         /* s, sum of the times from the other polarity's 50 % instant before to this one's */
    double other_held;   /* s, `held` of the other polarity when the last of this one completed */
    bool under_way, past_middle;
    double begun, middle;/* s, instants at the near outer level and at 50 % */
    double slowness;     /* s a unit of value, the most where a level was passed: what moves by so much moves an instant so far */
};

struct transitions {
    double low, middle, high; /* 10, 50 and 90 % reference levels */
    struct polarity positive, negative;
};

struct transitions dwi_transitions_new(double low_level, double high_level);
/* One straight line or jump, or with `curve` a cubic between these ends that does not turn. A transition counts once it is complete: from beyond one outer reference level to beyond
 * the other; one that turns back (a runt) does not. */
void dwi_transitions_line(struct transitions *t, double start, double from, double end, double to);
void dwi_transitions_curve(struct transitions *t, double start, double from, double end, double to, const struct hermite *curve);

/* Frequency, duty and transition durations of a span. Levels are known only once the span is over, so its vertices are
 * kept; where they are too many, the levels of those kept so far are used from there on. */

struct pulse_findings {
    struct levels levels;
    bool early_levels;     /* found from the first part of the span only */
    double cycles;         /* whole cycles that frequency and duty rest on, 0: none */
    double frequency;      /* Hz */
    double duty;           /* share, NAN where unknown */
    double positives, negatives;
    double positive, negative;  /* s, mean transition durations */
    double slowness[2];    /* s a unit of value: how far the instants of transitions move where values do, positive-going first */
    bool round;            /* whole periods that repeat: the frequency is exact */
};

struct pulses;

/* Levels that a channel is known to have. */
struct known_levels {
    bool always;     /* the user said so */
    bool if_inside;  /* the table says so: where the channel keeps within half their distance of them */
    double low, high;
};

struct pulses_plan {
    const size_t *column;              /* [channels], copied */
    const size_t *slope;               /* by column: where its slope stands, 0: nowhere; NULL: there are only lines */
    const struct known_levels *known;  /* [channels], copied */
    size_t channels;
    double period;                     /* s, length of the windows whose ends dwi_pulses_window_end tells; 0: one span, ended by
                                          dwi_pulses_find */
    double keep;                       /* how many last windows the span has */
    size_t bytes;                      /* for vertices */
    bool sampled;                      /* vertices are samples: what stands at the end of a window is the next one's */
};
struct pulses *dwi_pulses_new(const struct pulses_plan *plan, struct dw_error *error);
void dwi_pulses_free(struct pulses *pulses);
/* Next vertices; two at one time are a jump, between two others nothing turns.
 *   rows  [count x columns] */
void dwi_pulses_vertices(struct pulses *pulses, const double *rows, size_t count, size_t columns);
/* A window is whole: the next vertex begins another, at the same time or later. begun: the window began at its boundary */
enum dw_status dwi_pulses_window_end(struct pulses *pulses, bool begun, struct dw_error *error);
/* Ends the span.
 *   findings  out, [channels]
 *   windows     out: how many windows they come from (fewer than asked where they were too many to keep), 0: no windows */
void dwi_pulses_find(struct pulses *pulses, struct pulse_findings *findings, double *windows);

/* The meter's parts: the table's blocks are cut at the instants of its clocks, and what lies between two of them is
 * handed to the windows that are open then. */

/* What lies between two instants of one clock. */
struct period_window {
    struct dw_clock clock;
    struct accumulator now;
    bool used;  /* the clock has instants, and not all have passed */
    bool open;  /* an instant has begun it; what comes before the first is never whole */
};

enum { WINDOW_PERIOD, WINDOW_CARRIER, WINDOW_BETWEEN, WINDOWS };

/* The last whole periods of the span, the oldest overwritten. */
struct ring {
    struct accumulator *accumulator;
    struct channel_moments *moments;  /* [room x channels] */
    size_t room, most, count, next;
};

/* What the header and the options say of one channel. */
struct channel_facts {
    struct known_levels levels;
    bool has_initial;
    double initial;     /* a step begins from what was before it, unless the caller says from where */
    struct dw_channel_facts told;  /* by the header, of its accuracy */
};

struct channel_state {
    struct settling settling;
    bool has_before;
    double before_step;             /* mean or value that the step begins from */
    double mean_before, mean_last;  /* over the last two whole periods */
    double ripple;                  /* of the last whole period */
    struct value_range before[2];   /* of the two periods before those in the ring, the last one first */
};

struct note {
    size_t channel;
    char *text;
};

struct meter_note_list {
    struct note *note;
    size_t count, room;
};

struct dw_meter {
    size_t columns, channels, *column;
    size_t *slope;     /* by column: where its slope stands, 0: nowhere */
    bool curved;       /* one of the channels has a slope */
    double *made;      /* [2 x columns]: the last two rows put in, where curves turn */
    struct channel_facts *facts;
    struct channel_state *state;
    struct dw_span span;  /* DW_SPAN_DEFAULT is resolved; `asked` is what the caller wanted */
    enum dw_span_kind asked;
    double band, sampled;
    bool has_step, from_given;
    double step_at;    /* s: where the change begins whose settling counts; -INFINITY: with the first row */
    char place[256];

    struct period_window window[WINDOWS];
    int span_window, mean_window;  /* which window the span and the settling means go by; -1: none */
    struct accumulator piece, record;
    struct ring ring;
    struct pulses *pulses;
    struct samples samples;                /* of a sampled table */
    struct accumulator span_total;
    struct dw_pieces *pieces;              /* NULL: no row yet */
    double *passed_low, *passed_high;      /* [channels], of the rows passed at an instant */
    bool passed;                           /* these hold something */
    bool from_first_row;  /* the period is the caller's: its first boundary is the first row */
    bool finished;
    double span_windows;  /* whole periods of the span's window so far */

    struct dw_result *result;  /* [channels x DW_MEASURES] */
    double span_periods;
    struct meter_note_list notes;
};

/* Reads the header's keys into the meter (span, windows, facts). */
enum dw_status dwi_meter_read_header(struct dw_meter *meter, const struct dw_header *header,
                                     const struct dw_meter_options *options, struct dw_error *error);
enum dw_status dwi_ring_add(struct ring *ring, const struct accumulator *accumulator, size_t channels, struct dw_error *error);
/* All in the ring as one. */
void dwi_ring_total(const struct ring *ring, size_t channels, struct accumulator *total);
/* Mean and rms of a channel of a sampled table: docs/theory.md, section 4.4. */
struct sampled_mean {
    enum { SAMPLED_LINES, SAMPLED_SINE, SAMPLED_CYCLES, SAMPLED_PERIODS, SAMPLED_ALL } from;  /* LINES: the samples tell no more than lines do */
    double mean, ac_rms, frequency;
    size_t harmonics;
    double cycles;
};
enum dw_status dwi_meter_sampled(const struct dw_meter *meter, size_t channel, struct sampled_mean *out, struct dw_error *error);
/* Fills results and notes once the record has ended. */
enum dw_status dwi_meter_conclude(struct dw_meter *meter, struct dw_error *error);

#endif
