/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/metering_inner.h"
#include <float.h>
#include <math.h>
#include <stdlib.h>

struct exits dwi_exits_new(double sign, size_t most, bool curved)
{
    return (struct exits){ .sign = sign, .most = most, .curved = curved };
}

void dwi_exits_free(struct exits *exits)
{
    free(exits->exit);
    free(exits->curve);
    exits->exit = NULL;
    exits->curve = NULL;
    exits->count = exits->room = 0;
}

static double time_on_chord(const struct exit *a, const struct exit *b, double value)
{
    return a->time + (b->time - a->time) * ((a->value - value) / (a->value - b->value));
}

/* The time at which what leads from a to b passes a value between theirs. */
static double time_between(const struct exit *a, const struct exit *b, const struct exit_curve *c, double value)
{
    if (!c || !(c->length > 0) || value == b->value)  /* unrun: rounding */
        return time_on_chord(a, b, value);
    return c->start + c->length * ((1 + dwi_hermite_place(&c->curve, value)) / 2);
}

static const struct exit_curve *curve_to(const struct exits *exits, size_t i)
{
    return exits->curve ? &exits->curve[i] : NULL;
}

/* How far in time the chord of a stretch is from its curve, at most: docs/theory.md, equation 4.15. */
static double bend(const struct exits *exits, size_t i)
{
    const struct exit *a = &exits->exit[i - 1], *b = a + 1;
    const struct exit_curve *c = curve_to(exits, i);
    const double time = b->time - a->time;
    if (!c || !(c->length > 0) || !(time > 0))  /* unrun: implied */
        return 0;
    const double share = time / c->length, off = (fabs(c->curve.even) + 3 * fabs(c->curve.odd)) * share * share;
    return time * fmin(1, off / (a->value - b->value));
}

/* Takes out vertices that leave the bound within `allowed`. With b gone, every vertex that a chord to b stood for moves
 * by no more than b itself does, since both chords start at the same end: the bounds add (theory, equation 4.10). */
static void thin_to(struct exits *exits, double allowed)
{
    struct exit *e = exits->exit;
    size_t kept = 1;
    for (size_t i = 1; i + 1 < exits->count; i++) {
        const struct exit *a = &e[kept - 1], *c = &e[i + 1];
        const double moved = fabs(e[i].time - time_on_chord(a, c, e[i].value)); /* of three values two differ at least */
        const double bound = fmax(e[i].bound, c->bound) + moved;
        if (bound <= allowed) {
            e[i + 1].bound = bound;
            continue;
        }
        e[kept++] = e[i];
    }
    e[kept++] = e[exits->count - 1];
    exits->count = kept;
}

/* All stretches become chords, each with the bound of what it stands for. */
static void straighten(struct exits *exits)
{
    for (size_t i = 1; exits->curve && i < exits->count; i++)
        exits->exit[i].bound += bend(exits, i);
    for (size_t i = 0; exits->curve && i < exits->count; i++)
        exits->curve[i].length = 0;
}

/* Halves the vertices, giving away no more accuracy than that takes. */
static void thin(struct exits *exits)
{
    const size_t goal = exits->most / 2;
    const double span = exits->exit[exits->count - 1].time - exits->exit[0].time;
    straighten(exits);
    for (double allowed = fmax(DBL_EPSILON * span, DBL_MIN); exits->count > goal; allowed *= 4)
        thin_to(exits, allowed);
}

static enum dw_status grow(struct exits *exits, struct dw_error *error)
{
    const size_t room = exits->room ? 2 * exits->room : 8;
    struct exit *more = realloc(exits->exit, room * sizeof *more);
    if (!more)
        return dw_no_memory(error);
    exits->exit = more;
    if (exits->curved) {
        struct exit_curve *curve = realloc(exits->curve, room * sizeof *curve);
        if (!curve)
            return dw_no_memory(error);
        exits->curve = curve;
    }
    exits->room = room;
    return DW_OK;
}

static enum dw_status push(struct exits *exits, struct exit next, const struct exit_curve *curve, struct dw_error *error)
{
    static const struct exit_curve straight;
    if (exits->count >= exits->most)
        thin(exits);
    const enum dw_status status = exits->count == exits->room ? grow(exits, error) : DW_OK;
    if (status != DW_OK)
        return status;
    if (exits->curve)
        exits->curve[exits->count] = curve ? *curve : straight;
    exits->exit[exits->count++] = next;
    return DW_OK;
}

enum dw_status dwi_exits_add(struct exits *exits, double time, double value, const struct exit_curve *curve, struct dw_error *error)
{
    struct exit next = { .value = exits->sign * value, .time = time }, gone = { 0 };
    const size_t before = exits->count;
    while (exits->count && exits->exit[exits->count - 1].value < next.value)
        gone = exits->exit[--exits->count];
    const size_t left = exits->count;
    if (left && left < before && exits->exit[left - 1].value > next.value) {
        /* the line had come down through this value on a stretch that is now only needed above it */
        const struct exit *a = &exits->exit[left - 1];
        const struct exit cut = { next.value, time_between(a, &gone, curve_to(exits, left), next.value), gone.bound };
        exits->exit[exits->count++] = cut; /* where `gone` has left room, and its curve stays */
    } else if (left > 1 && exits->exit[left - 1].value == next.value && exits->exit[left - 2].value == next.value) {
        exits->exit[left - 1].time = time; /* a plateau needs its two ends only */
        return DW_OK;
    }
    return push(exits, next, exits->exit && exits->count && exits->exit[exits->count - 1].value > next.value ? curve : NULL, error);
}

bool dwi_exits_last(const struct exits *exits, double level, double *time, double *bound, double *slope)
{
    const double wanted = exits->sign * level;
    size_t low = 0, high = exits->count; /* vertices before `low` are at or above, those from `high` on below */
    while (low < high) {
        const size_t middle = low + (high - low) / 2;
        if (exits->exit[middle].value >= wanted)
            low = middle + 1;
        else
            high = middle;
    }
    *bound = *slope = 0;
    if (!low)
        return false;
    const struct exit *a = &exits->exit[low - 1], *b = a + 1;
    *time = a->time;
    if (low < exits->count) {
        const struct exit_curve *curve = curve_to(exits, low);
        *time = time_between(a, b, curve, wanted);
        *bound = b->bound;
        if (curve && curve->length > 0)
            *slope = fabs(hermite_slope(&curve->curve, 2 * ((*time - curve->start) / curve->length) - 1)) * 2 / curve->length;
        else if (b->time > a->time)
            *slope = (a->value - b->value) / (b->time - a->time);
    }
    return true;
}
