/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a loop's run amounts to. docs/theory.md, (17.6). */
#include <dutywright/loop.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum { MOST = 1 << 20 };

struct loop_instant {
    double time, measured;
};

struct dw_loop_meter {
    struct loop_instant *seen;         /* [room] */
    size_t room, count;
    unsigned long long stride, skipped;  /* of what comes only each so many-th is kept */
    double wanted, changed;       /* since when it has been that, s; NaN: nothing came yet */
    double disturbed;             /* s; NaN: not */
    double iae;
    struct loop_instant last;
};

struct dw_loop_meter *dw_loop_meter_new(struct dw_error *error)
{
    struct dw_loop_meter *meter = calloc(1, sizeof *meter);
    if (!meter) {
        dw_no_memory(error);
        return NULL;
    }
    meter->stride = 1;
    meter->wanted = meter->changed = meter->disturbed = NAN;
    return meter;
}

void dw_loop_meter_free(struct dw_loop_meter *meter)
{
    if (!meter)
        return;
    free(meter->seen);
    free(meter);
}

/* Every second goes, or there is twice the room. */
static enum dw_status make_room(struct dw_loop_meter *meter, struct dw_error *error)
{
    if (meter->room == MOST) {
        meter->count /= 2;
        meter->stride *= 2;
        for (size_t i = 0; i < meter->count; i++)
            meter->seen[i] = meter->seen[2 * i];
        return DW_OK;
    }
    const size_t room = meter->room ? 2 * meter->room : 1024;
    struct loop_instant *seen = realloc(meter->seen, room * sizeof *seen);
    if (!seen)
        return dw_no_memory(error);
    meter->seen = seen;
    meter->room = room;
    return DW_OK;
}

enum dw_status dw_loop_meter_see(struct dw_loop_meter *meter, double time, double measured, double wanted, struct dw_error *error)
{
    const struct loop_instant now = { time, measured };
    enum dw_status status = DW_OK;
    if (!isnan(meter->changed))
        meter->iae += (time - meter->last.time) * (fabs(meter->wanted - meter->last.measured) + fabs(meter->wanted - measured)) / 2;
    if (wanted != meter->wanted) {
        meter->wanted = wanted;
        meter->changed = time;
    }
    meter->last = now;
    if (meter->skipped++ % meter->stride)
        return DW_OK;
    if (meter->count == meter->room)
        status = make_room(meter, error);
    if (status == DW_OK)
        meter->seen[meter->count++] = now;
    return status;
}

void dw_loop_meter_disturb(struct dw_loop_meter *meter, double time)
{
    meter->disturbed = time;
}

/* A stretch of what was seen. */
struct span {
    const struct loop_instant *seen;
    size_t count;
};

static struct span between(const struct dw_loop_meter *meter, double from, double to)
{
    size_t first = 0, end = meter->count;
    while (first < end && meter->seen[first].time < from)
        first++;
    while (end > first && meter->seen[end - 1].time > to)
        end--;
    return (struct span){ meter->seen + first, end - first };
}

static double mean_of(struct span span)
{
    double sum = 0;
    for (size_t i = 1; i < span.count; i++)
        sum += (span.seen[i].time - span.seen[i - 1].time) * (span.seen[i].measured + span.seen[i - 1].measured) / 2;
    return sum / (span.seen[span.count - 1].time - span.seen[0].time);
}

/* Mean over the last quarter; NaN: of less than four instants there is none. */
static double final_of(const struct dw_loop_meter *meter, double from, double to)
{
    const struct span quarter = between(meter, to - (to - from) / 4, to);
    return quarter.count < 4 ? NAN : mean_of(quarter);
}

static double range_of(struct span span)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < span.count; i++) {
        low = fmin(low, span.seen[i].measured);
        high = fmax(high, span.seen[i].measured);
    }
    return high - low;
}

/* When the line between two instants is at a value. */
static double crossing(const struct loop_instant *from, const struct loop_instant *to, double value)
{
    return from->time + (to->time - from->time) * (value - from->measured) / (to->measured - from->measured);
}

/* From the last instant at 10 % before the first at 90 %. */
static double rise_of(struct span span, double from, double change)
{
    double low = span.seen[0].time;
    for (size_t i = 1; i < span.count; i++) {  /* unrun: all-cases */
        const double before = (span.seen[i - 1].measured - from) / change, now = (span.seen[i].measured - from) / change;
        if (before < 0.1 && now >= 0.1)
            low = crossing(&span.seen[i - 1], &span.seen[i], from + 0.1 * change);
        if (now >= 0.9)
            return crossing(&span.seen[i - 1], &span.seen[i], from + 0.9 * change) - low;
    }
    return NAN;  /* unrun: all-cases */
}

static double settling_of(struct span span, double final, double band)
{
    size_t i = span.count;
    while (i > 0 && fabs(span.seen[i - 1].measured - final) <= band)
        i--;
    if (i == 0)
        return 0;
    if (i == span.count)
        return NAN;
    const double outside = span.seen[i - 1].measured;
    return crossing(&span.seen[i - 1], &span.seen[i], final + copysign(band, outside - final)) - span.seen[0].time;
}

/* An oscillation of the last half: one that is not smaller in its second half. A tenth of it is hysteresis where turns are counted. */
static void find_cycle(struct span last, double scale, struct dw_loop_findings *found)
{
    const struct span first = { last.seen, last.count / 2 }, second = { last.seen + last.count / 2, last.count - last.count / 2 };
    const double range = range_of(second), mean = mean_of(last);
    double begin = NAN, end = NAN, turns = 0;
    bool below = false;
    for (size_t i = 0; i < last.count; i++) {
        const double off = last.seen[i].measured - mean;
        if (below && off > range / 20) {
            begin = isnan(begin) ? last.seen[i].time : begin;
            end = last.seen[i].time;
            turns++;
        }
        below = off < -range / 20 || (below && off <= range / 20);
    }
    found->cycle_amplitude = 0;
    if (turns < 3 || range < 0.9 * range_of(first) || range <= 1e-9 * scale)
        return;
    found->cycle_amplitude = range;
    found->cycle_frequency = (turns - 1) / (end - begin);
}

/* Of the step of what is wanted, up to a time; returns the change, or NaN. */
static double find_step(const struct dw_loop_meter *meter, double to, struct dw_loop_findings *found)
{
    const struct span all = between(meter, meter->changed, to);
    const double final = final_of(meter, meter->changed, to), from = isnan(final) ? NAN : all.seen[0].measured, change = final - from;
    if (!(fabs(change) > 1e-9 * fmax(fabs(final), fabs(from))))
        return NAN;
    found->rise_time = rise_of(all, from, change);
    found->settling_time = settling_of(all, final, 0.02 * fabs(change));
    if (found->settling_time > 0.75 * (to - meter->changed))  /* it is not settled while the final value is taken */
        found->settling_time = NAN;
    found->overshoot = 0;
    for (size_t i = 0; i < all.count; i++)
        found->overshoot = fmax(found->overshoot, (all.seen[i].measured - final) / change);
    found->overshoot = found->overshoot < 1e-9 ? 0 : found->overshoot;  /* rounding */
    return change;
}

/* Of the disturbance's step, up to a time. */
static void find_recovery(const struct dw_loop_meter *meter, double to, double band, struct dw_loop_findings *found)
{
    const double begun = meter->disturbed, final = isnan(begun) ? NAN : final_of(meter, begun, to);
    const struct span before = between(meter, -INFINITY, begun), after = between(meter, begun, to);
    if (isnan(final) || before.count == 0)
        return;
    found->deviation_highest = 0;
    for (size_t i = 0; i < after.count; i++)
        found->deviation_highest = fmax(found->deviation_highest, fabs(after.seen[i].measured - before.seen[before.count - 1].measured));
    found->recovery_time = settling_of(after, final, band);
    if (found->recovery_time > 0)
        found->recovery_time += after.seen[0].time - begun;
    if (found->recovery_time > 0.75 * (to - begun))
        found->recovery_time = NAN;
}

void dw_loop_meter_end(const struct dw_loop_meter *meter, struct dw_loop_findings *found)
{
    *found = (struct dw_loop_findings){ NAN, NAN, NAN, NAN, meter->iae, NAN, NAN, meter->wanted, NAN, NAN };
    const double changed = meter->changed, disturbed = meter->disturbed, end = meter->last.time, since = fmax(changed, disturbed);
    const double final = final_of(meter, since, end), change = find_step(meter, disturbed > changed ? disturbed : end, found);
    find_recovery(meter, changed > disturbed ? changed : end, 0.02 * fabs(change), found);
    if (isnan(final))
        return;
    found->steady_error = meter->wanted - final;
    find_cycle(between(meter, end - (end - since) / 2, end), fmax(fabs(final), fabs(between(meter, since, end).seen[0].measured)), found);
}
