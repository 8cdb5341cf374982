/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/metering_inner.h"
#include <stddef.h>

struct transitions dwi_transitions_new(double low_level, double high_level)
{
    const double amplitude = high_level - low_level;
    return (struct transitions){ .low = low_level + 0.1 * amplitude,
                                 .middle = low_level + 0.5 * amplitude,
                                 .high = high_level - 0.1 * amplitude };
}

static void complete(struct polarity *this, struct polarity *other, double end)
{
    this->under_way = false;
    this->duration += end - this->begun;
    this->last = this->middle;
    if (!this->count++)
        this->first = this->middle;
    if (other->count > 0)
        this->held += this->middle - other->last;
    this->other_held = other->held;
    other->under_way = false;
}

/* A level is passed upward where the line was below it and is no longer, downward where it was not and is now. */
static bool passes(double from, double to, double level)
{
    return to > from ? from < level && to >= level : from >= level && to < level;
}

/* What lies between two vertices. */
struct passage {
    double start, from, end, to;
    const struct hermite *curve; /* NULL: a line */
};

static double passing(struct polarity *this, const struct passage *p, double level)
{
    const double time = p->end - p->start;
    double slowness = time / (p->to - p->from), at = p->start + slowness * (level - p->from);
    if (p->curve) {
        const double place = dwi_hermite_place(p->curve, level);
        slowness = time / 2 / hermite_slope(p->curve, place);
        at = p->start + time * ((1 + place) / 2);
    }
    slowness = slowness < 0 ? -slowness : slowness;
    this->slowness = slowness > this->slowness ? slowness : this->slowness;
    return at;
}

static inline double instant(struct polarity *this, const struct passage *p, double level)
{
    return p->end == p->start ? p->start : passing(this, p, level);
}

/* near, middle, far: reference levels in the order in which a line of this direction passes them. */
static void follow(struct polarity *this, struct polarity *other, double near, double middle, double far, const struct passage *p)
{
    if (passes(p->from, p->to, near)) {
        this->under_way = true;
        this->past_middle = false;
        this->begun = instant(this, p, near);
    }
    if (passes(p->from, p->to, middle) && this->under_way && !this->past_middle) {
        this->past_middle = true;
        this->middle = instant(this, p, middle);
    }
    if (passes(p->from, p->to, far) && this->under_way)
        complete(this, other, instant(this, p, far));
}

void dwi_transitions_curve(struct transitions *t, double start, double from, double end, double to, const struct hermite *curve)
{
    const struct passage p = { start, from, end, to, curve };
    if (to > from)
        follow(&t->positive, &t->negative, t->low, t->middle, t->high, &p);
    else if (to < from)
        follow(&t->negative, &t->positive, t->high, t->middle, t->low, &p);
}

void dwi_transitions_line(struct transitions *t, double start, double from, double end, double to)
{
    dwi_transitions_curve(t, start, from, end, to, NULL);
}
