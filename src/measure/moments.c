/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/moments_inner.h"
#include <math.h>
#include <string.h>

static void begin(struct stretch *stretch, size_t channels, double start)
{
    stretch->empty = false;
    stretch->start = stretch->end = start;
    for (size_t i = 0; i < channels; i++)
        stretch->of[i] = (struct moments){ .minimum = INFINITY, .maximum = -INFINITY };
}

static void add_to(double *high, double *low, double term)
{
    double error;
    two_sum(*high, term, high, &error);
    *low += error;
}

void moments_line(struct stretch *stretch, size_t channels, const size_t *column, double start, const double *from,
                  double end, const double *to)
{
    if (stretch->empty)
        begin(stretch, channels, start);
    const double time = end - start, share = time / (end - stretch->start);
    stretch->end = end;
    for (size_t i = 0; i < channels; i++) {
        struct moments *m = &stretch->of[i];
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

void moments_append(struct stretch *onto, const struct stretch *next, size_t channels)
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
    for (size_t i = 0; i < channels; i++) {
        struct moments *m = &onto->of[i];
        const struct moments *n = &next->of[i];
        const double off = (n->mean - m->mean) + (n->mean_low - m->mean_low);
        add_to(&m->square, &m->square_low, n->square);
        add_to(&m->square, &m->square_low, n->square_low + time * off * off * (1 - share));
        add_to(&m->mean, &m->mean_low, off * share);
        m->minimum = n->minimum < m->minimum ? n->minimum : m->minimum;
        m->maximum = n->maximum > m->maximum ? n->maximum : m->maximum;
    }
}

void moments_extremes(struct stretch *stretch, size_t channels, const double *low, const double *high)
{
    for (size_t i = 0; i < channels; i++) {
        struct moments *m = &stretch->of[i];
        m->minimum = low[i] < m->minimum ? low[i] : m->minimum;
        m->maximum = high[i] > m->maximum ? high[i] : m->maximum;
    }
}

double moments_mean(const struct moments *moments)
{
    return moments->mean + moments->mean_low;
}

double moments_ac_rms(const struct moments *moments, double duration)
{
    return sqrt((moments->square + moments->square_low) / duration);
}
