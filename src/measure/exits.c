/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/exits_inner.h"
#include <float.h>
#include <math.h>
#include <stdlib.h>

struct exits dwi_exits_new(double sign, size_t most)
{
    return (struct exits){ .sign = sign, .most = most };
}

void dwi_exits_free(struct exits *exits)
{
    free(exits->exit);
    exits->exit = NULL;
    exits->count = exits->room = 0;
}

static double time_on_chord(const struct exit *a, const struct exit *b, double value)
{
    return a->time + (b->time - a->time) * ((a->value - value) / (a->value - b->value));
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

/* Halves the vertices, giving away no more accuracy than that takes. */
static void thin(struct exits *exits)
{
    const size_t goal = exits->most / 2;
    const double span = exits->exit[exits->count - 1].time - exits->exit[0].time;
    for (double allowed = fmax(DBL_EPSILON * span, DBL_MIN); exits->count > goal; allowed *= 4)
        thin_to(exits, allowed);
}

static enum dw_status push(struct exits *exits, struct exit next, struct dw_error *error)
{
    if (exits->count >= exits->most)
        thin(exits);
    if (exits->count == exits->room) {
        const size_t room = exits->room ? 2 * exits->room : 8;
        struct exit *more = realloc(exits->exit, room * sizeof *more);
        if (!more)
            return dw_no_memory(error);
        exits->exit = more;
        exits->room = room;
    }
    exits->exit[exits->count++] = next;
    return DW_OK;
}

enum dw_status dwi_exits_add(struct exits *exits, double time, double value, struct dw_error *error)
{
    struct exit next = { .value = exits->sign * value, .time = time }, gone = { 0 };
    const size_t before = exits->count;
    while (exits->count && exits->exit[exits->count - 1].value < next.value)
        gone = exits->exit[--exits->count];
    const size_t left = exits->count;
    if (left && left < before && exits->exit[left - 1].value > next.value) {
        /* the line had come down through this value on a stretch that is now only needed above it */
        const struct exit cut = { next.value, time_on_chord(&exits->exit[left - 1], &gone, next.value), gone.bound };
        exits->exit[exits->count++] = cut; /* where `gone` has left room */
    } else if (left > 1 && exits->exit[left - 1].value == next.value && exits->exit[left - 2].value == next.value) {
        exits->exit[left - 1].time = time; /* a plateau needs its two ends only */
        return DW_OK;
    }
    return push(exits, next, error);
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
        *time = time_on_chord(a, b, wanted);
        *bound = b->bound;
        if (b->time > a->time)
            *slope = (a->value - b->value) / (b->time - a->time);
    }
    return true;
}
