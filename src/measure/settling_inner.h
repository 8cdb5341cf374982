/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is kept of a line while it streams by, so that its settling can be told at its end. */
#ifndef MEASURE_SETTLING_INNER_H
#define MEASURE_SETTLING_INNER_H

#include "measure/exits_inner.h"
#include <dutywright/measure.h>

struct settling {
    struct exits above, below;
    size_t count;
    double first, first_time;
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

#endif
