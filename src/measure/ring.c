/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/meter_inner.h"
#include <stdlib.h>
#include <string.h>

static enum dw_status grow(struct ring *ring, size_t channels, struct dw_error *error)
{
    size_t room = ring->room ? 2 * ring->room : 1;
    if (room > ring->most)
        room = ring->most;
    struct accumulator *accumulator = realloc(ring->accumulator, room * sizeof *accumulator);
    if (accumulator)
        ring->accumulator = accumulator;
    struct channel_moments *moments = accumulator ? realloc(ring->moments, room * channels * sizeof *moments) : NULL;
    if (!moments)
        return dw_error_set(error, DW_NO_MEMORY, 0, "out of memory: a span of many periods takes %zu bytes for each",
                            sizeof *accumulator + channels * sizeof *moments);
    ring->moments = moments;
    ring->room = room;
    return DW_OK;
}

enum dw_status dwi_ring_add(struct ring *ring, const struct accumulator *accumulator, size_t channels, struct dw_error *error)
{
    if (ring->count == ring->room && ring->room < ring->most) {
        const enum dw_status status = grow(ring, channels, error);
        if (status != DW_OK)
            return status;
        ring->next = ring->count;
    }
    ring->accumulator[ring->next] = *accumulator;
    memcpy(ring->moments + ring->next * channels, accumulator->of, channels * sizeof *accumulator->of);
    ring->next = ring->next + 1 == ring->most ? 0 : ring->next + 1;
    if (ring->count < ring->most)
        ring->count++;
    return DW_OK;
}

void dwi_ring_total(const struct ring *ring, size_t channels, struct accumulator *total)
{
    total->empty = true;
    for (size_t i = 0; i < ring->count; i++) {
        const size_t at = (ring->next + i) % ring->count;
        struct accumulator one = ring->accumulator[at];
        one.of = ring->moments + at * channels;
        dwi_moments_append(total, &one, channels);
    }
}
