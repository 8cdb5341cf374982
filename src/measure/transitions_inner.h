/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Transitions between two levels, found while vertices stream by. Terms and reference levels: IEEE Std 181-2011, clause 3
 * and 5.3 (from memory): a transition duration runs from the 10 % to the 90 % reference level instant, pulses and
 * periods between 50 % instants. */
#ifndef MEASURE_TRANSITIONS_INNER_H
#define MEASURE_TRANSITIONS_INNER_H

#include "measure/hermite_inner.h"
#include <stdbool.h>

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

#endif
