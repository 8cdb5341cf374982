/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Times that meet, the instants at which a record is cut, and rows that may be in a table. Not installed. */
#ifndef TABLE_ROWS_INNER_H
#define TABLE_ROWS_INNER_H

#include <dutywright/splice.h>
#include <dutywright/table.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

/* Whether two times are the same to 4 units in the last place. Infinite ones meet nothing: the bound is then no number. */
static inline bool times_meet(double a, double b)
{
    const double size = fmax(fabs(a), fabs(b));
    return fabs(a - b) <= 4 * (nextafter(size, INFINITY) - size);
}

/* ---- instants at which a record is cut: boundaries of periods, or the two ends of a span ---- */

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

/* ---- which rows a table may hold: finite numbers, time never going back ---- */

/* How many leading rows are good.
 *   values   [rows x columns], row after row, time first
 *   last     in: time of the row before them; out: of the last good one */
size_t dwi_good_rows(const double *values, size_t rows, size_t columns, double *last);

#endif
