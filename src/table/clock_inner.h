/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Instants at which a record is cut: boundaries of periods, or the two ends of a span. */
#ifndef TABLE_CLOCK_INNER_H
#define TABLE_CLOCK_INNER_H

#include <dutywright/table.h>
#include <stdbool.h>

struct clock {
    double origin, period;  /* period 0: instants are `once` and then `twice` */
    double once, twice;
    double k;               /* period clocks: number of the next boundary */
    double next;            /* the next instant, INFINITY where none follows */
    double earliest, latest;/* a row in this window is on it */
};

/* No instant at all; instants at both ends of a span (either may be infinite). */
struct clock dwi_clock_none(void);
struct clock dwi_clock_between(double from, double to);
/* Boundaries origin + k * period from the first at or after `start` (within 4 ulp). */
struct clock dwi_clock_periods(double origin, double period, double start);
/* Goes to the instant after the present one. */
void dwi_clock_advance(struct clock *clock);
/* Period clocks: goes on so that at most `keep` boundaries before `time` are still to come; false where that is so already. */
bool dwi_clock_skip(struct clock *clock, double time, double keep);
/* Whether the boundaries are too close for doubles to tell them apart at this time. */
bool dwi_clock_blurred(const struct clock *clock, double time);

#endif
