/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Periods into nominal pulses, touching ones joined; then jitter. */
#include "train_inner.h"
#include <float.h>
#include <math.h>

double dwi_pulse_time_near(const struct dw_pulse *pulse, double time)
{
    return 4 * DBL_EPSILON * fmax(fabs(time), pulse->train.period);
}

/* Places of the edges within a period for a duty. (1.5) */
static void places(enum dw_alignment alignment, double duty, double period, double *on, double *off)
{
    const double width = duty * period;
    switch (alignment) {
    case DW_ALIGN_LEFT: *on = 0, *off = width; break;
    case DW_ALIGN_CENTRE: *on = (period - width) / 2, *off = (period + width) / 2; break;
    case DW_ALIGN_RIGHT: *on = period - width, *off = period; break;
    }
}

void dwi_pulse_source_open(struct dw_pulse *pulse)
{
    const struct dw_pulse_train *train = &pulse->train;
    struct pulse_source *source = &pulse->source;
    /* A pulse of period -1 may reach into the record, and its shape may depend on the one before; jitter needs more. */
    const double before = 3 + ceil(MOST_SHIFT * train->jitter / train->period);
    source->number = -before;
    source->covered = -INFINITY;
    source->last_edge = -INFINITY;
    places(train->alignment, train->duty, train->period, &source->on_place, &source->off_place);
    if (source->q) {  /* behind = -number p mod q: before < 16, so that nothing overflows */
        unsigned long long behind = 0;
        for (int i = 0; i < (int)before; i++)
            behind = (behind + source->p) % source->q;
        source->behind = behind;
    }
    if (!train->points && (train->duty == 0 || train->duty == 1)) {
        source->ended = true;
        source->waiting[0] = (struct interval){ -INFINITY, INFINITY };
        source->count = train->duty == 1;
    }
}

/* Whether clock `number` is on, by the debt of on time that has built up. (1.8), (1.9) */
static bool density_on(struct pulse_source *source, double number, double duty)
{
    if (source->q) {
        const bool on = source->behind < source->p;
        source->behind = on ? source->behind + (source->q - source->p) : source->behind - source->p;
        return on;
    }
    if (number < 0)  /* the debt begins with the record */
        return false;
    const bool on = source->owed < duty;
    source->owed = on ? source->owed + (1 - duty) : source->owed - duty;
    return on;
}

/* The pulse of the next period, without length where there is none. */
static enum dw_status one_period(struct dw_pulse *pulse, struct interval *interval, struct dw_error *error)
{
    const struct dw_pulse_train *train = &pulse->train;
    struct pulse_source *source = &pulse->source;
    const double number = source->number++, start = fma(number, train->period, pulse->base);
    double on = source->on_place, off = source->off_place, duty = train->duty;
    source->covered = start;
    if (train->points) {
        if (train->modulation == DW_NATURAL)
            return dwi_pulse_natural_period(pulse, number, interval, error);
        const enum dw_status status = dwi_duty_curve_seek(&pulse->curve, start, error);
        if (status != DW_OK)
            return status;
        duty = dw_duty_given(fmin(fmax(dwi_duty_curve_duty(&pulse->curve, start), 0), 1), train->steps, NULL);
        places(train->alignment, duty, train->period, &on, &off);
    }
    if (train->modulation == DW_DENSITY) {
        on = 0;
        off = density_on(source, number, duty) ? train->period : 0;
    }
    /* The place is added before the one rounding of fma, so that late periods lose nothing more. */
    *interval = (struct interval){ fma(number, train->period, pulse->base + on),
                                   fma(number, train->period, pulse->base + off) };
    return DW_OK;
}

static bool apart(const struct dw_pulse *pulse, double earlier, double later)
{
    return later - earlier > dwi_pulse_time_near(pulse, later);
}

/* Puts the next period's pulse behind those that wait, or makes the last of them longer. */
static enum dw_status fetch(struct dw_pulse *pulse, struct dw_error *error)
{
    struct pulse_source *source = &pulse->source;
    struct interval next;
    const enum dw_status status = one_period(pulse, &next, error);
    if (status != DW_OK)
        return status;
    if (pulse->train.points && pulse->curve.last < pulse->end) {
        pulse->findings.ended_early = isfinite(pulse->end) && apart(pulse, pulse->curve.last, pulse->end);
        pulse->end = pulse->curve.last;
    }
    source->ended = apart(pulse, pulse->end + MOST_SHIFT * pulse->train.jitter, source->covered);
    if (!apart(pulse, next.on, next.off))
        return DW_OK;
    struct interval *last = &source->waiting[(source->first + source->count - 1) % MOST_WAITING];
    if (source->count && !apart(pulse, last->off, next.on))
        last->off = next.off;
    else
        source->waiting[(source->first + source->count++) % MOST_WAITING] = next;
    return DW_OK;
}

/* The first that waits is whole when nothing can touch it any more, and may go when the points have been read as far as
 * its edges can be shifted: only then is it known whether the record ends before. */
static bool ready(const struct dw_pulse *pulse)
{
    const struct pulse_source *source = &pulse->source;
    const double reach = source->waiting[source->first].off + MOST_SHIFT * pulse->train.jitter;
    return source->count && apart(pulse, reach, source->covered);
}

enum dw_status dwi_pulse_source_next(struct dw_pulse *pulse, struct interval *interval, struct dw_error *error)
{
    struct pulse_source *source = &pulse->source;
    const double jitter = pulse->train.jitter;
    for (;;) {
        while (!source->ended && !ready(pulse)) {
            const enum dw_status status = fetch(pulse, error);
            if (status != DW_OK)
                return status;
        }
        if (!source->count) {
            *interval = (struct interval){ INFINITY, INFINITY };
            return DW_OK;
        }
        *interval = source->waiting[source->first];
        source->first = (source->first + 1) % MOST_WAITING;
        source->count--;
        if (jitter == 0)
            return DW_OK;
        double shift[2];
        dwi_gauss_pair(pulse->train.seed, source->drawn++, shift);
        interval->on = fmax(interval->on + jitter * shift[0], source->last_edge);
        interval->off = fmax(interval->off + jitter * shift[1], interval->on);
        source->last_edge = interval->off;
        if (interval->off > interval->on)
            return DW_OK;
        pulse->findings.swallowed++;
    }
}

/* ---- random numbers ---- */

void dwi_philox(const uint32_t counter[4], const uint32_t key[2], uint32_t out[4])
{
    uint32_t a = counter[0], b = counter[1], c = counter[2], d = counter[3], k0 = key[0], k1 = key[1];
    for (int round = 0; round < 10; round++) {
        const uint64_t first = 0xD2511F53ull * a, second = 0xCD9E8D57ull * c;  /* the authors' multipliers */
        a = (uint32_t)(second >> 32) ^ b ^ k0;
        b = (uint32_t)second;
        c = (uint32_t)(first >> 32) ^ d ^ k1;
        d = (uint32_t)first;
        k0 += 0x9E3779B9u;  /* golden ratio */
        k1 += 0xBB67AE85u;  /* square root of 3, less 1 */
    }
    out[0] = a, out[1] = b, out[2] = c, out[3] = d;
}

/* Uniform in (0, 1]: never 0, whose logarithm is none. */
static double uniform(uint32_t high, uint32_t low)
{
    const uint64_t bits = ((uint64_t)high << 32 | low) >> 11;
    return ((double)bits + 1) * 0x1p-53;
}

void dwi_gauss_pair(uint64_t seed, uint64_t index, double out[2])
{
    static const double turn = 6.283185307179586;
    uint32_t words[4];
    dwi_philox((const uint32_t[4]){ (uint32_t)index, (uint32_t)(index >> 32), 0, 0 },
               (const uint32_t[2]){ (uint32_t)seed, (uint32_t)(seed >> 32) }, words);
    const double radius = sqrt(-2 * log(uniform(words[0], words[1])));
    const double angle = turn * uniform(words[2], words[3]);
    out[0] = radius * cos(angle);
    out[1] = radius * sin(angle);
}
