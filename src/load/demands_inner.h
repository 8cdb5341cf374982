/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What must hold of each value of a load's plan. */
#ifndef LOAD_DEMANDS_INNER_H
#define LOAD_DEMANDS_INNER_H

#include <dutywright/status.h>
#include <stddef.h>

struct demand {
    const char *member, *name;  /* in the plan, and in a message */
    double value;
    const char *unit;  /* as in a message */
    enum { FINITE, NOT_NEGATIVE, ABOVE_ZERO } rule;  /* all must be finite */
};

/* DW_BAD_USE: the first that does not hold, "drag -3 N m: must not be negative". */
enum dw_status dwi_demands_check(const struct demand *demands, size_t count, struct dw_error *error);
/* DW_BAD_USE: one value does not stand to another as it must, "supply %.*g V: ... %.*g V", with the digits that tell them apart. */
enum dw_status dwi_demand_refuse(const char *member, const char *format, double one, double other, struct dw_error *error);

#endif
