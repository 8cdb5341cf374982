/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "load/demands_inner.h"
#include <dutywright/value.h>
#include <math.h>

enum dw_status dwi_demands_check(const struct demand *demands, size_t count, struct dw_error *error)
{
    for (size_t i = 0; i < count; i++) {
        const struct demand *d = demands + i;
        if (!isfinite(d->value))
            return dw_error_member(error, d->member, "%s %g: must be finite", d->name, d->value);
        if (d->rule == ABOVE_ZERO && !(d->value > 0))
            return dw_error_member(error, d->member, "%s %g %s: must be above zero", d->name, d->value, d->unit);
        if (d->rule == NOT_NEGATIVE && !(d->value >= 0))
            return dw_error_member(error, d->member, "%s %g %s: must not be negative", d->name, d->value, d->unit);
    }
    return DW_OK;
}

enum dw_status dwi_demand_refuse(const char *member, const char *format, double one, double other, struct dw_error *error)
{
    const int digits = dw_digits_apart(one, other, 6);
    return dw_error_member(error, member, format, digits, one, digits, other);
}
