/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/metering_inner.h"
#include "measure/statistics_inner.h"
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static void begin(struct accumulator *accumulator, size_t channels, double start)
{
    accumulator->empty = false;
    accumulator->start = accumulator->end = start;
    for (size_t i = 0; i < channels; i++)
        accumulator->of[i] = (struct channel_moments){ .minimum = INFINITY, .maximum = -INFINITY };
}

static void add_to(double *high, double *low, double term)
{
    double error;
    two_sum(*high, term, high, &error);
    *low += error;
}

void dwi_moments_line(struct accumulator *accumulator, size_t channels, const size_t *column, const double *from, const double *to)
{
    if (accumulator->empty)
        begin(accumulator, channels, from[0]);
    const double time = to[0] - from[0], share = time / (to[0] - accumulator->start);
    accumulator->end = to[0];
    for (size_t i = 0; i < channels; i++) {
        struct channel_moments *m = &accumulator->of[i];
        const double a = from[column[i]], b = to[column[i]];
        const double off = ((a - m->mean) - m->mean_low) / 2 + ((b - m->mean) - m->mean_low) / 2, rise = b - a;
        add_to(&m->square, &m->square_low, time * (rise * rise / 12 + off * off * (1 - share)));
        add_to(&m->mean, &m->mean_low, off * share);
        m->minimum = a < m->minimum ? a : m->minimum;
        m->minimum = b < m->minimum ? b : m->minimum;
        m->maximum = a > m->maximum ? a : m->maximum;
        m->maximum = b > m->maximum ? b : m->maximum;
    }
}

/* Onto m a part that is the last `time` of what they take together, and that share of it. */
static void join(struct channel_moments *m, const struct channel_moments *part, double time, double share)
{
    const double off = (part->mean - m->mean) + (part->mean_low - m->mean_low);
    add_to(&m->square, &m->square_low, part->square);
    add_to(&m->square, &m->square_low, part->square_low + time * off * off * (1 - share));
    add_to(&m->mean, &m->mean_low, off * share);
    m->minimum = part->minimum < m->minimum ? part->minimum : m->minimum;
    m->maximum = part->maximum > m->maximum ? part->maximum : m->maximum;
}

void dwi_moments_append(struct accumulator *onto, const struct accumulator *next, size_t channels)
{
    if (next->empty)
        return;
    if (onto->empty) {
        onto->empty = false;
        onto->start = next->start;
        onto->end = next->end;
        memcpy(onto->of, next->of, channels * sizeof *next->of);
        return;
    }
    const double time = next->end - next->start, share = time / (next->end - onto->start);
    onto->end = next->end;
    for (size_t i = 0; i < channels; i++)
        join(&onto->of[i], &next->of[i], time, share);
}

/* One channel over a time, between the values a and b. */
static struct channel_moments moments_of_curve(const struct hermite *h, double time, double a, double b)
{
    struct channel_moments m = { .minimum = a < b ? a : b, .maximum = a < b ? b : a };
    double c[4], turn[2], low;
    hermite_legendre(h, c);
    two_sum(a / 2, b / 2, &m.mean, &m.mean_low);
    two_sum(m.mean, -c[2], &m.mean, &low);
    m.mean_low += low;
    m.square = time * (c[1] * c[1] / 3 + c[2] * c[2] / 5 + c[3] * c[3] / 7);
    for (int i = dwi_hermite_turns(h, turn); i-- > 0;) {
        const double value = hermite_at(h, turn[i]);
        m.minimum = value < m.minimum ? value : m.minimum;
        m.maximum = value > m.maximum ? value : m.maximum;
    }
    return m;
}

void dwi_moments_curve(struct accumulator *accumulator, size_t channels, const size_t *column, const size_t *slope,
                       const double *from, const double *to)
{
    if (accumulator->empty)
        begin(accumulator, channels, from[0]);
    const double time = to[0] - from[0], share = time / (to[0] - accumulator->start);
    accumulator->end = to[0];
    for (size_t i = 0; i < channels; i++) {
        const double a = from[column[i]], b = to[column[i]];
        const size_t s = slope[column[i]];
        const struct hermite h = s ? hermite_of(time, a, from[s], b, to[s]) : hermite_line(a, b);
        const struct channel_moments part = moments_of_curve(&h, time, a, b);
        join(&accumulator->of[i], &part, time, share);
    }
}

/* One column over a few lines: first the mean, then squares about it, so that nothing cancels. */
static struct channel_moments moments_of_few(const double *row, size_t lines, size_t width, size_t column)
{
    const double first = row[column], duration = row[lines * width] - row[0];
    struct channel_moments m = { .minimum = INFINITY, .maximum = -INFINITY };
    double sum[2] = { 0 }, square[2] = { 0 }; /* two of each: one need not wait for the other */
    for (size_t i = 0; i < lines; i++) {
        const double *from = row + i * width, *to = from + width, a = from[column], b = to[column];
        sum[i % 2] += (to[0] - from[0]) * ((a - first) / 2 + (b - first) / 2);
        m.minimum = b < m.minimum ? b : m.minimum;
        m.maximum = b > m.maximum ? b : m.maximum;
    }
    m.minimum = first < m.minimum ? first : m.minimum;
    m.maximum = first > m.maximum ? first : m.maximum;
    two_sum(first, (sum[0] + sum[1]) / duration, &m.mean, &m.mean_low);
    for (size_t i = 0; i < lines; i++) {
        const double *from = row + i * width, *to = from + width, a = from[column], b = to[column];
        const double twice = ((a - m.mean) - m.mean_low) + ((b - m.mean) - m.mean_low), rise = b - a;
        square[i % 2] += (to[0] - from[0]) * (rise * rise + 3 * twice * twice);
    }
    m.square = (square[0] + square[1]) / 12;
    return m;
}

void dwi_moments_lines(struct accumulator *accumulator, size_t channels, const size_t *column, const double *row, size_t lines,
                       size_t width)
{
    enum { FEW = 512 };  /* more would add up roundings */
    if (lines == 1) {
        dwi_moments_line(accumulator, channels, column, row, row + width);
        return;
    }
    if (accumulator->empty)
        begin(accumulator, channels, row[0]);
    for (size_t some; lines; lines -= some, row += some * width) {
        some = lines < FEW ? lines : FEW;
        const double end = row[some * width], time = end - row[0], share = time / (end - accumulator->start);
        accumulator->end = end;
        for (size_t i = 0; i < channels; i++) {
            const struct channel_moments few = moments_of_few(row, some, width, column[i]);
            join(&accumulator->of[i], &few, time, share);
        }
    }
}

void dwi_moments_extremes(struct accumulator *accumulator, size_t channels, const double *low, const double *high)
{
    for (size_t i = 0; i < channels; i++) {
        struct channel_moments *m = &accumulator->of[i];
        m->minimum = low[i] < m->minimum ? low[i] : m->minimum;
        m->maximum = high[i] > m->maximum ? high[i] : m->maximum;
    }
}

double dwi_moments_mean(const struct channel_moments *moments)
{
    return moments->mean + moments->mean_low;
}

double dwi_moments_ac_rms(const struct channel_moments *moments, double duration)
{
    return sqrt((moments->square + moments->square_low) / duration);
}

/* ---- cubics ---- */

int dwi_hermite_turns(const struct hermite *h, double at[2])
{
    const double inside = 1 - 0x1p-27, root = h->even * h->even - 3 * h->odd * (h->rise - h->odd);
    int count = 0;
    if (!(root > 0))
        return 0;
    /* of the two roots neither is a difference: Press and others 1992, Numerical Recipes, (5.6.4) */
    const double sum = h->even + copysign(sqrt(root), h->even), one = sum / (3 * h->odd), other = (h->rise - h->odd) / sum;
    if (fmin(one, other) > -inside && fmin(one, other) < inside)
        at[count++] = fmin(one, other);
    if (fmax(one, other) > -inside && fmax(one, other) < inside)
        at[count++] = fmax(one, other);
    return count;
}

double dwi_hermite_place(const struct hermite *h, double value)
{
    const double middle = h->middle - value;
    const bool rises = h->rise > 0;
    double low = -1, high = 1, u = -middle / h->rise;
    if (h->even == 0 && h->odd == 0)
        return fmin(fmax(u, low), high);
    /* Newton's steps where they stay between what is known to be on either side, else halves of that */
    for (int i = 0; i < 100 && low < high; i++) {  /* unrun: count */
        if (!(u >= low && u <= high))  /* unrun: rounding */
            u = low + (high - low) / 2;
        const double off = middle + (h->rise * u + (1 - u) * (1 + u) * (h->even - h->odd * u));
        *((off < 0) == rises ? &low : &high) = u;
        const double next = u - off / hermite_slope(h, u), used = next > low && next < high ? next : low + (high - low) / 2;
        if (off == 0 || used == u)
            break;
        u = used;
    }
    return u;
}

/* ---- the last so many periods ---- */

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
