/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/clock_inner.h"
#include <dutywright/table.h>
#include <float.h>
#include <math.h>
#include <string.h>

/* As dw_period_index has it: a row within 4 ulp of the instant, or of the origin where that is larger, is on it. */
static void aim(struct clock *clock, double instant)
{
    const double size = fmax(fabs(instant), fabs(clock->origin));
    const double slack = isfinite(size) ? 4 * (nextafter(size, INFINITY) - size) : 0;
    clock->next = instant;
    clock->earliest = instant - slack;
    clock->latest = instant + slack;
}

struct clock clock_none(void)
{
    return clock_between(INFINITY, INFINITY);
}

struct clock clock_between(double from, double to)
{
    struct clock clock = { .once = from, .twice = to };
    aim(&clock, from);
    return clock;
}

struct clock clock_periods(double origin, double period, double start)
{
    struct clock clock = { .origin = origin, .period = period };
    bool on_boundary;
    clock.k = dw_period_index(origin, period, start, &on_boundary);
    if (!on_boundary)
        clock.k++;
    aim(&clock, dw_period_boundary(origin, period, clock.k));
    return clock;
}

void clock_advance(struct clock *clock)
{
    if (clock->period > 0) {
        clock->k++;
        aim(clock, dw_period_boundary(clock->origin, clock->period, clock->k));
    } else {
        aim(clock, clock->next < clock->twice ? clock->twice : INFINITY);
    }
}

bool clock_skip(struct clock *clock, double time, double keep)
{
    const double k = clock->period > 0 ? dw_period_index(clock->origin, clock->period, time, NULL) - keep : 0;
    if (!(clock->period > 0) || !(k > clock->k))
        return false;
    clock->k = k;
    aim(clock, dw_period_boundary(clock->origin, clock->period, k));
    return true;
}

bool clock_blurred(const struct clock *clock, double time)
{
    /* two windows of 4 ulp on either side, and room for a row between them */
    return clock->period > 0 && !(clock->period > 16 * DBL_EPSILON * fmax(fabs(time), fabs(clock->origin)));
}

enum dw_status clock_key(const struct dw_header *header, const char *place, const char *key, double *value,
                         struct dw_error *error)
{
    bool present;
    *value = 0;
    const enum dw_status status = dw_header_number(header, key, value, &present, error);
    if (status == DW_OK && present && !(*value > 0))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: '%s: %g' is not above zero", place, key, *value);
    return status;
}

enum dw_status time_needed(const struct dw_header *header, const char *place, struct dw_error *error)
{
    const struct dw_column first = dw_header_column(header, 0);
    if (!*first.unit || !strcmp(first.unit, "s"))
        return DW_OK;
    return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the first column is %s[%s]; a wave against time[s] is needed", place,
                        first.name, first.unit);
}
