/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Parts on offer, with what the search asks of them. Not installed. */
#ifndef DESIGN_PARTS_INNER_H
#define DESIGN_PARTS_INNER_H

#include <dutywright/design.h>

struct dw_parts {
    size_t count;
    struct dw_part *part;      /* [count], ascending by value */
    double *low, *high;        /* [count], value (1 - spread) and value (1 + spread) */
    double *most_low;          /* [count], largest low up to here: low itself where all spreads are equal */
    double *least_high;        /* [count], smallest high from here on */
};

#endif
