/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Settling as docs/theory.md, section 4.5, defines it. */
#include "measure/metering_inner.h"
#include <math.h>
#include <stdint.h>

static const double NO_CHANGE = 1e-9;      /* share of the range below which a change counts as none */
static const double SETTLED_DRIFT = 0.1;   /* share of the band by which the last two means may differ */

struct settling dwi_settling_new(size_t most_exits, bool curved)
{
    return (struct settling){ .above = dwi_exits_new(1, most_exits, curved),
                              .below = dwi_exits_new(-1, most_exits, curved),
                              .minimum = INFINITY,
                              .maximum = -INFINITY };
}

void dwi_settling_free(struct settling *settling)
{
    dwi_exits_free(&settling->above);
    dwi_exits_free(&settling->below);
}

static struct exit_curve mirrored(const struct exit_curve *c)
{
    const struct hermite h = { -c->curve.middle, -c->curve.rise, -c->curve.even, -c->curve.odd };
    return (struct exit_curve){ h, c->start, c->length };
}

enum dw_status dwi_settling_add(struct settling *settling, double time, double value, const struct exit_curve *curve,
                                struct dw_error *error)
{
    struct exit_curve mirror;
    if (!settling->count++) {
        settling->first = value;
        settling->first_time = time;
    }
    settling->moved = settling->moved || fabs(value - settling->first) > NO_CHANGE * fabs(settling->first);
    settling->still_until = settling->moved ? settling->still_until : time;
    settling->before = settling->last;
    settling->last = value;
    settling->minimum = value < settling->minimum ? value : settling->minimum;
    settling->maximum = value > settling->maximum ? value : settling->maximum;
    if (curve)
        mirror = mirrored(curve);
    const enum dw_status status = dwi_exits_add(&settling->above, time, value, curve, error);
    return status == DW_OK ? dwi_exits_add(&settling->below, time, value, curve ? &mirror : NULL, error) : status;
}

struct dw_settling dwi_settling_find(const struct settling *settling, const struct dw_settling_rule *rule, double drift)
{
    struct dw_settling found = { .state = DW_TOO_FEW, .final = settling->last };
    if (!settling->count)
        return found;
    const double change = settling->last - rule->initial, none = NO_CHANGE * rule->range;
    if (fabs(change) <= none) {
        const bool still = settling->maximum - settling->last <= none && settling->last - settling->minimum <= none;
        found.state = still ? DW_SETTLED_FROM_START : DW_NO_CHANGE;
        return found;
    }
    if (settling->count < 2)
        return found;
    const double half_width = rule->band * fabs(change);
    if (!(drift <= SETTLED_DRIFT * half_width)) {
        found.state = DW_NOT_SETTLED;
        return found;
    }
    const double beyond = change > 0 ? settling->maximum - settling->last : settling->last - settling->minimum;
    if (beyond > none)
        found.overshoot = beyond / fabs(change);
    double when[2], bound[2], slope[2];
    const bool above = dwi_exits_last(&settling->above, settling->last + half_width, &when[0], &bound[0], &slope[0]);
    const bool below = dwi_exits_last(&settling->below, settling->last - half_width, &when[1], &bound[1], &slope[1]);
    if (!above && !below) {
        found.state = DW_SETTLED_WITHIN;
        found.time = settling->first_time - rule->start;
        return found;
    }
    const int later = above && (!below || when[0] > when[1]) ? 0 : 1;
    found.state = DW_SETTLED;
    found.time = when[later] - rule->start;
    found.time_bound = bound[later];
    found.slope = slope[later];
    return found;
}

enum dw_status dw_settling_from_means(const double *time, const double *mean, size_t count,
                                      const struct dw_settling_rule *rule, struct dw_settling *out,
                                      struct dw_error *error)
{
    if (!(rule->band > 0 && rule->band < 1))
        return dw_error_set(error, DW_BAD_USE, 0, "a settling band of %g is not between 0 and 1", rule->band);
    struct settling settling = dwi_settling_new(SIZE_MAX, false);
    enum dw_status status = DW_OK;
    for (size_t i = 0; i < count && status == DW_OK; i++)
        status = dwi_settling_add(&settling, time[i], mean[i], NULL, error);
    if (status == DW_OK)
        *out = dwi_settling_find(&settling, rule, fabs(settling.last - settling.before));
    dwi_settling_free(&settling);
    return status;
}
