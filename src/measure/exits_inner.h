/* SPDX-License-Identifier: GPL-3.0-or-later */
/* When a line of vertices was last at or above any level, asked only once the line has ended. */
#ifndef MEASURE_EXITS_INNER_H
#define MEASURE_EXITS_INNER_H

#include "measure/hermite_inner.h"
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

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

#endif
