/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "reduction.h"
#include <dutywright/cubic.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

struct reduction {
    size_t channels, most, count, room;
    struct strip *strips;  /* [room x channels], strip after strip */
    double width;          /* of a strip, on the axis of keys; 0: every x has its own */
    double origin, end;    /* keys: of the first row; where the last strip ends */
    bool logarithmic;
};

struct reduction *reduction_new(size_t channels, size_t strips, struct dw_error *error)
{
    struct reduction *reduction = calloc(1, sizeof *reduction);
    if (!reduction) {
        dw_no_memory(error);
        return NULL;
    }
    reduction->channels = channels;
    reduction->most = strips;
    return reduction;
}

void reduction_free(struct reduction *reduction)
{
    if (reduction)
        free(reduction->strips);
    free(reduction);
}

void reduction_empty(struct reduction *reduction)
{
    reduction->count = 0;
    reduction->width = 0;
}

void reduction_set_logarithmic(struct reduction *reduction, bool logarithmic)
{
    if (reduction->width == 0)
        reduction->logarithmic = logarithmic;
}

size_t reduction_strips(const struct reduction *reduction)
{
    return reduction->count;
}

size_t reduction_channels(const struct reduction *reduction)
{
    return reduction->channels;
}

const struct strip *reduction_strip(const struct reduction *reduction, size_t strip, size_t channel)
{
    return &reduction->strips[strip * reduction->channels + channel];
}

size_t vertex_between(const struct vertex *a, const struct vertex *b, struct vertex *out)
{
    const double h = b->x - a->x, from = h * a->slope, to = h * b->slope;
    const struct dw_cubic cubic = dw_cubic_through(a->y, from, b->y, to);
    size_t count = 0;
    if (h > 0 && isfinite(from) && isfinite(to))
        for (; count < VERTEX_STEPS - 1; count++) {
            const double share = (double)(count + 1) / VERTEX_STEPS;
            out[count] = (struct vertex){ a->x + share * h, dw_cubic_at(&cubic, share), NAN };
        }
    out[count++] = *b;
    return count;
}

size_t strip_path(const struct strip *strip, struct vertex *path)
{
    const bool low_first = strip->low.x < strip->high.x || (strip->low.x == strip->high.x && strip->first.y == strip->low.y);
    /* what is left out between them has slopes of its own */
    const struct vertex low[2] = { { strip->low.x, strip->low.y, NAN }, { strip->low_until, strip->low.y, NAN } };
    const struct vertex high[2] = { { strip->high.x, strip->high.y, NAN }, { strip->high_until, strip->high.y, NAN } };
    const struct vertex *one = low_first ? low : high, *other = low_first ? high : low;
    size_t count = 0;
    path[count++] = strip->first;
    if (strip->rows > 2)
        for (int i = 0, k = 0; i + k < 4;) /* merged by x; at a jump the side that came first */
            path[count++] = k == 2 || (i < 2 && one[i].x <= other[k].x) ? one[i++] : other[k++];
    if (strip->rows > 1)
        path[count++] = strip->last;
    return count;
}

void strip_join(struct strip *strip, const struct strip *next)
{
    if (next->low.y <= strip->low.y)
        strip->low_until = next->low_until;
    if (next->high.y >= strip->high.y)
        strip->high_until = next->high_until;
    if (next->low.y < strip->low.y)
        strip->low = next->low;
    if (next->high.y > strip->high.y)
        strip->high = next->high;
    strip->last = next->last;
    strip->rows += next->rows;
}

static double key_of(const struct reduction *reduction, double x)
{
    return reduction->logarithmic ? log10(x) : x;
}

/* Which strip of the present width a key falls into. */
static double place_of(const struct reduction *reduction, double key)
{
    return floor((key - reduction->origin) / reduction->width);
}

static enum dw_status grow(struct reduction *reduction, struct dw_error *error)
{
    const size_t first = reduction->most < 64 ? reduction->most : 64;
    const size_t room = reduction->room ? 2 * reduction->room : first;
    struct strip *strips = realloc(reduction->strips, room * reduction->channels * sizeof *strips);
    if (!strips)
        return dw_no_memory(error);
    reduction->strips = strips;
    reduction->room = room;
    return DW_OK;
}

/* Joins all strips that fall together at the present width. */
static void join(struct reduction *reduction)
{
    const size_t channels = reduction->channels;
    struct strip *to = reduction->strips;
    double place = 0;
    size_t count = 0;
    for (size_t i = 0; i < reduction->count; i++) {
        const struct strip *from = &reduction->strips[i * channels];
        const double here = place_of(reduction, key_of(reduction, from->first.x));
        if (i && here == place) {
            for (size_t c = 0; c < channels; c++)
                strip_join(&to[c], &from[c]);
            continue;
        }
        to = &reduction->strips[count++ * channels];
        memmove(to, from, channels * sizeof *to);
        place = here;
    }
    reduction->count = count;
    reduction->end = reduction->origin + (place + 1) * reduction->width;
}

/* Makes room for another strip by widening them. */
static void widen(struct reduction *reduction)
{
    if (reduction->width == 0) {
        const double from = reduction->strips[0].first.x;
        const double to = reduction->strips[(reduction->count - 1) * reduction->channels].last.x;
        /* neighbouring doubles can have one logarithm */
        reduction->logarithmic = reduction->logarithmic && log10(to) > log10(from);
        reduction->origin = key_of(reduction, from);
        reduction->width = 2 * (key_of(reduction, to) - reduction->origin) / (double)(reduction->most - 1);
    }
    for (join(reduction); reduction->count >= reduction->most; join(reduction))
        reduction->width *= 2;
}

static enum dw_status open_strip(struct reduction *reduction, struct dw_error *error)
{
    if (reduction->count >= reduction->most)
        widen(reduction);
    if (reduction->count == reduction->room) {
        const enum dw_status status = grow(reduction, error);
        if (status != DW_OK)
            return status;
    }
    reduction->count++;
    return DW_OK;
}

enum dw_status reduction_append(struct reduction *reduction, const struct strip *strips, struct dw_error *error)
{
    const enum dw_status status = open_strip(reduction, error);
    if (status == DW_OK)
        memcpy(&reduction->strips[(reduction->count - 1) * reduction->channels], strips,
               reduction->channels * sizeof *strips);
    return status;
}

/* Whether a row at x belongs to the strip that is open. */
static bool falls_into_last(const struct reduction *reduction, double x)
{
    if (!reduction->count)
        return false;
    if (reduction->width > 0)
        return key_of(reduction, x) < reduction->end;
    return x == reduction->strips[(reduction->count - 1) * reduction->channels].last.x;
}

enum dw_status reduction_add(struct reduction *reduction, double x, const double *y, const double *slope, struct dw_error *error)
{
    const size_t channels = reduction->channels;
    const bool joins = falls_into_last(reduction, x);
    const enum dw_status status = joins ? DW_OK : open_strip(reduction, error);
    if (status != DW_OK)
        return status;
    struct strip *strip = &reduction->strips[(reduction->count - 1) * channels];
    for (size_t c = 0; c < channels; c++) {
        const struct vertex vertex = { x, y[c], slope ? slope[c] : NAN };
        const struct strip row = { vertex, vertex, vertex, vertex, x, x, 1 };
        if (joins)
            strip_join(&strip[c], &row);
        else
            strip[c] = row;
    }
    if (!joins && reduction->width > 0)
        reduction->end = reduction->origin + (place_of(reduction, key_of(reduction, x)) + 1) * reduction->width;
    return DW_OK;
}
