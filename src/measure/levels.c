/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/metering_inner.h"
#include <math.h>

enum {
    BINS = 256,
    PLATEAU = 8,       /* times the even spread: turning points pass too, a sine's outermost bins have 10, a parabola's 16 */
    NOISE_VALLEY = 20, /* times less between noisy levels than at them */
    WINDOW = 16,       /* bins over which ringing and noise spread a level */
    WINDOW_VALLEY = 8  /* times less in such a window between the levels; a sine has 4, a triangle 1 */
};

struct histogram {
    double minimum, maximum, width;
    double time[BINS]; /* s spent in each bin */
};

static const double *vertex(const struct vertices *vertices, size_t i)
{
    return vertices->row + i * vertices->width;
}

static int bin_of(const struct histogram *h, double value)
{
    const int bin = (int)((value - h->minimum) / h->width);
    return bin >= BINS ? BINS - 1 : bin; /* the maximum itself */
}

/* A straight line spends its time evenly over the values it passes. */
static void add_line(struct histogram *h, double time, double a, double b)
{
    const double low = fmin(a, b), high = fmax(a, b);
    const int first = bin_of(h, low), last = bin_of(h, high);
    if (first == last) {
        h->time[first] += time;
        return;
    }
    for (int bin = first; bin <= last; bin++) {
        const double from = bin == first ? low : h->minimum + bin * h->width;
        const double to = bin == last ? high : h->minimum + (bin + 1) * h->width;
        h->time[bin] += time * ((to - from) / (high - low));
    }
}

/* A cubic spends between two values what lies between its instants there. */
static void add_curve(struct histogram *h, double time, double a, double b, const struct hermite *curve)
{
    const double low = fmin(a, b), high = fmax(a, b);
    const int first = bin_of(h, low), last = bin_of(h, high);
    double before = a < b ? -1 : 1;
    for (int bin = first; bin <= last; bin++) {
        const double end = a < b ? 1 : -1;
        const double place = bin == last ? end : dwi_hermite_place(curve, fmin(h->minimum + (bin + 1) * h->width, high));
        h->time[bin] += time / 2 * fabs(place - before);
        before = place;
    }
}

static int fullest(const struct histogram *h, int first, int last)
{
    int best = first;
    for (int bin = first; bin <= last; bin++)
        if (h->time[bin] > h->time[best])
            best = bin;
    return best;
}

/* The bins around a mode that hold at least half of it, and the time spent in them. */
static double hump(const struct histogram *h, int mode, int *first, int *last)
{
    double time = h->time[mode];
    *first = *last = mode;
    while (*first > 0 && 2 * h->time[*first - 1] >= h->time[mode])
        time += h->time[--*first];
    while (*last + 1 < BINS && 2 * h->time[*last + 1] >= h->time[mode])
        time += h->time[++*last];
    return time;
}

/* Value of a mode: where one exact value takes most of the time there, that; else the mean over the hump's upper half. */
static double mode_value(const struct vertices *vertices, size_t channel, const struct histogram *h, int mode)
{
    int first, last;
    hump(h, mode, &first, &last);
    /* the candidate of a majority vote (Boyer and Moore 1991, in Automated Reasoning, p. 105), weighted by time */
    double candidate = NAN, votes = 0, held = 0, total = 0, area = 0;
    for (int pass = 0; pass < 2; pass++)
        for (size_t i = 1; i < vertices->count; i++) {
            const double *p = vertex(vertices, i - 1), *q = vertex(vertices, i);
            const double time = q[0] - p[0], a = p[1 + channel], b = q[1 + channel];
            struct hermite curve;
            const double bent = vertices_curve(vertices, p, channel, &curve) ? curve.even * (2 / 3.0) : 0, middle = a / 2 + b / 2 + bent;
            const int bin = bin_of(h, middle);
            if (!(time > 0) || bin < first || bin > last || fabs(b - a) > (last - first + 1) * h->width)
                continue;
            if (pass) {
                total += time;
                area += time * (middle - h->minimum);
                held += a == b && a == candidate ? time : 0;
            } else if (a == b) {
                if (a == candidate) {
                    votes += time;
                } else if (votes < time) {
                    candidate = a;
                    votes = time - votes;
                } else {
                    votes -= time;
                }
            }
        }
    if (2 * held > total)
        return candidate;
    return total > 0 ? h->minimum + area / total : h->minimum + (mode + 0.5) * h->width;
}

/* Either plateaus: each mode holds far more than an even spread would, and there is a valley between. Or noise around two
 * levels: next to nothing between, and most of the time near the modes. */
static bool stand_out(const struct histogram *h, int low, int high)
{
    double valley = INFINITY, total = 0;
    for (int bin = 0; bin < BINS; bin++) {
        total += h->time[bin];
        if (bin > low && bin < high)
            valley = fmin(valley, h->time[bin]);
    }
    const double lesser = fmin(h->time[low], h->time[high]);
    int first, last;
    if (lesser >= PLATEAU * total / BINS && 2 * valley <= lesser)
        return true;
    return NOISE_VALLEY * valley <= lesser && 2 * (hump(h, low, &first, &last) + hump(h, high, &first, &last)) >= total;
}

static double window(const struct histogram *h, int first)
{
    double time = 0;
    for (int bin = first; bin < first + WINDOW; bin++)
        time += h->time[bin];
    return time;
}

/* Mean over the fullest window of some bins, and its time. */
static double window_mode(const struct histogram *h, int first, int last, int *at, double *time)
{
    double area = 0;
    *at = first;
    for (int k = first; k + WINDOW <= last + 1; k++)
        if (window(h, k) > window(h, *at))
            *at = k;
    *time = window(h, *at);
    for (int bin = *at; bin < *at + WINDOW; bin++)
        area += h->time[bin] * (bin + 0.5);
    return h->minimum + h->width * (area / *time);
}

/* Levels spread over many bins, with next to nothing somewhere between. */
static bool windows_stand_out(const struct histogram *h, struct levels *found)
{
    double low, high, valley = INFINITY;
    int first, last;
    *found = (struct levels){ .from = LEVELS_MODES };
    found->low = window_mode(h, 0, BINS / 2 - 1, &first, &low);
    found->high = window_mode(h, BINS / 2, BINS - 1, &last, &high);
    for (int k = first + WINDOW; k + WINDOW <= last; k++)
        valley = fmin(valley, window(h, k));
    return WINDOW_VALLEY * valley <= fmin(low, high);
}

struct levels dwi_levels_find(const struct vertices *vertices, size_t channel)
{
    struct histogram h = { .minimum = INFINITY, .maximum = -INFINITY };
    for (size_t i = 0; i < vertices->count; i++) {
        h.minimum = fmin(h.minimum, vertex(vertices, i)[1 + channel]);
        h.maximum = fmax(h.maximum, vertex(vertices, i)[1 + channel]);
    }
    struct levels extremes = { h.minimum, h.maximum, LEVELS_EXTREMES };
    h.width = (h.maximum - h.minimum) / BINS;
    if (!(h.width > 0) || !isfinite(h.width)) {
        extremes.from = LEVELS_NONE;
        return extremes;
    }
    for (size_t i = 1; i < vertices->count; i++) {
        const double *p = vertex(vertices, i - 1), *q = vertex(vertices, i);
        struct hermite curve;
        if (vertices_curve(vertices, p, channel, &curve) && p[1 + channel] != q[1 + channel])
            add_curve(&h, q[0] - p[0], p[1 + channel], q[1 + channel], &curve);
        else
            add_line(&h, q[0] - p[0], p[1 + channel], q[1 + channel]);
    }
    const int low = fullest(&h, 0, BINS / 2 - 1), high = fullest(&h, BINS / 2, BINS - 1);
    struct levels spread;
    if (!stand_out(&h, low, high))
        return windows_stand_out(&h, &spread) ? spread : extremes;
    return (struct levels){ mode_value(vertices, channel, &h, low), mode_value(vertices, channel, &h, high), LEVELS_MODES };
}
