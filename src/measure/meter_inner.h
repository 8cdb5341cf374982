/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The meter's parts: the table's blocks are cut at the instants of its clocks, and what lies between two of them is handed to the
 * windows that are open then. */
#ifndef MEASURE_METER_INNER_H
#define MEASURE_METER_INNER_H

#include "measure/moments_inner.h"
#include "measure/pulses_inner.h"
#include "measure/samples_inner.h"
#include "measure/settling_inner.h"
#include "measure/tolerance_inner.h"
#include <dutywright/measure.h>
#include <dutywright/pieces.h>

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
    enum { SAMPLED_LINES, SAMPLED_SINE, SAMPLED_CYCLES, SAMPLED_ALL } from;  /* LINES: the samples tell no more than lines do */
    double mean, ac_rms, frequency;
    size_t harmonics;
    double cycles;
};
enum dw_status dwi_meter_sampled(const struct dw_meter *meter, size_t channel, struct sampled_mean *out, struct dw_error *error);
/* Fills results and notes once the record has ended. */
enum dw_status dwi_meter_conclude(struct dw_meter *meter, struct dw_error *error);

#endif
