/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Frequency, duty and transition durations of a span. Levels are known only once the span is over, so its vertices are
 * kept; where they are too many, the levels of those kept so far are used from there on. */
#ifndef MEASURE_PULSES_INNER_H
#define MEASURE_PULSES_INNER_H

#include "measure/levels_inner.h"
#include "measure/transitions_inner.h"
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

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
};
struct pulses *dwi_pulses_new(const struct pulses_plan *plan, struct dw_error *error);
void dwi_pulses_free(struct pulses *pulses);
/* Next vertex; two at one time are a jump, between two others nothing turns. row is indexed by column. */
void dwi_pulses_vertex(struct pulses *pulses, double time, const double *row);
/* A window is whole: the next vertex begins another, at the same time or later. begun: the window began at its boundary */
enum dw_status dwi_pulses_window_end(struct pulses *pulses, bool begun, struct dw_error *error);
/* Ends the span.
 *   findings  out, [channels]
 *   windows     out: how many windows they come from (fewer than asked where they were too many to keep), 0: no windows */
void dwi_pulses_find(struct pulses *pulses, struct pulse_findings *findings, double *windows);

#endif
