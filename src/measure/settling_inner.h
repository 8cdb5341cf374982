/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is kept of a line while it streams by, so that its settling can be told at its end. */
#ifndef MEASURE_SETTLING_INNER_H
#define MEASURE_SETTLING_INNER_H

#include "measure/exits_inner.h"
#include <dutywright/measure.h>

struct settling {
    struct exits above, below;
    size_t count;
    double first_time;
    double before, last;  /* last two values */
    double minimum, maximum;
};

struct settling dwi_settling_new(size_t most_exits);
void dwi_settling_free(struct settling *settling);
enum dw_status dwi_settling_add(struct settling *settling, double time, double value, struct dw_error *error);
/* drift: how far the value still moves, compared with a tenth of the band; both are shares of the unit */
struct dw_settling dwi_settling_find(const struct settling *settling, const struct dw_settling_rule *rule, double drift);

#endif
