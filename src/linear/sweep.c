/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Frequency response at as many points as straight lines between them need. */
#include "linear/system_inner.h"
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { DEPTH = 44, PHASE = 180 };

struct point {
    double frequency;
    double gain[DW_OUTPUTS], phase[DW_OUTPUTS];
};

struct sweep {
    const struct dw_system *system;
    const struct dw_sweep *plan;
    dw_sweep_sink *sink;
    void *context;
    struct dw_error *error;
};

/* Phase is brought within half a turn of the point before, so that lines between points are meant. */
static enum dw_status respond(const struct sweep *sweep, double frequency, const struct point *before, struct point *point)
{
    double real[DW_OUTPUTS], imaginary[DW_OUTPUTS];
    const double angular = 2 * M_PI * frequency;
    const enum dw_status status = dw_system_response(sweep->system, sweep->plan->input, angular, real, imaginary,
                                                     sweep->error);
    if (status == DW_NO)  /* unrun: passed-on */
        return dw_error_set(sweep->error, status, 0, "the response is unbounded at %.9g Hz: nothing damps it there", frequency);
    if (status != DW_OK)
        return status;
    point->frequency = frequency;
    for (size_t k = 0; k < sweep->system->outputs; k++) {
        point->gain[k] = hypot(real[k], imaginary[k]);
        point->phase[k] = atan2(imaginary[k], real[k]) * (PHASE / M_PI);
        if (before)
            point->phase[k] -= 2 * PHASE * round((point->phase[k] - before->phase[k]) / (2 * PHASE));
    }
    return DW_OK;
}

/* Whether a point lies on the line between two others. */
static bool on_line(const struct sweep *sweep, const struct point *a, const struct point *b, const struct point *p)
{
    const double share = (p->frequency - a->frequency) / (b->frequency - a->frequency);
    for (size_t k = 0; k < sweep->system->outputs; k++) {
        const double gain = a->gain[k] + share * (b->gain[k] - a->gain[k]);
        const double phase = a->phase[k] + share * (b->phase[k] - a->phase[k]);
        if (fabs(gain - p->gain[k]) > sweep->plan->accuracy * fmax(1, p->gain[k]) ||
            fabs(phase - p->phase[k]) > sweep->plan->accuracy * PHASE)
            return false;
    }
    return true;
}

/* Gives the points after a, up to and with b. */
/* NOLINTNEXTLINE(misc-no-recursion): never deeper than DEPTH */
static enum dw_status give_between(const struct sweep *sweep, const struct point *a, const struct point *b, int depth,
                                   struct point *last)
{
    struct point tried[3];
    bool straight = true;
    for (int i = 0; i < 3; i++) {
        static const double share[] = { 0.5, 0.25, 0.75 };
        const double frequency = a->frequency * pow(b->frequency / a->frequency, share[i]);
        const enum dw_status status = respond(sweep, frequency, a, tried + i);
        if (status != DW_OK)
            return status;
        straight = straight && on_line(sweep, a, b, tried + i);
    }
    /* unrun: count */
    if (straight || depth == DEPTH || !(tried[0].frequency > a->frequency && tried[0].frequency < b->frequency)) {
        struct point end;
        enum dw_status status = respond(sweep, b->frequency, a, &end);
        *last = end;
        return status == DW_OK ? sweep->sink(sweep->context, end.frequency, end.gain, end.phase, sweep->error) : status;
    }
    struct point middle, end;
    enum dw_status status = give_between(sweep, a, tried, depth + 1, &middle);
    if (status == DW_OK)
        status = respond(sweep, b->frequency, &middle, &end);
    return status == DW_OK ? give_between(sweep, &middle, &end, depth + 1, last) : status;
}

static int ascending(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Where the response may turn sharply: the moduli of the eigenvalues, and either side of each at its own width. */
static size_t turning_points(const struct sweep *sweep, double *frequency)
{
    const double first = sweep->plan->first, last = sweep->plan->last;
    double real[DW_STATES], imaginary[DW_STATES];
    size_t count = 0;
    frequency[count++] = first;
    if (dw_system_rates(sweep->system, real, imaginary, NULL) == DW_OK)  /* unrun: eigenvalues */
        for (size_t i = 0; i < sweep->system->states; i++) {
            const double centre = hypot(real[i], imaginary[i]) / (2 * M_PI), width = fabs(real[i]) / (2 * M_PI);
            /* an undamped one has no value at its centre: the points beside it say so soon enough */
            const double at[] = { centre - width, width > 0 ? centre : first, centre + width };
            for (size_t j = 0; j < 3; j++)
                if (at[j] > first && at[j] < last)
                    frequency[count++] = at[j];
        }
    frequency[count++] = last;
    qsort(frequency, count, sizeof *frequency, ascending);
    return count;
}

/* An undamped eigenvalue inside the band, where the response has no bound. */
static double undamped(const struct sweep *sweep)
{
    double real[DW_STATES], imaginary[DW_STATES];
    if (dw_system_rates(sweep->system, real, imaginary, NULL) != DW_OK)  /* unrun: eigenvalues */
        return 0;
    for (size_t i = 0; i < sweep->system->states; i++) {
        const double frequency = fabs(imaginary[i]) / (2 * M_PI);
        if (frequency >= sweep->plan->first && frequency <= sweep->plan->last && fabs(real[i]) <= 64 * DBL_EPSILON * fabs(imaginary[i]))
            return frequency;
    }
    return 0;
}

enum dw_status dw_system_sweep(const struct dw_system *system, const struct dw_sweep *plan, dw_sweep_sink *sink, void *context,
                               struct dw_error *error)
{
    const struct sweep sweep = { system, plan, sink, context, error };
    double frequency[3 * DW_STATES + 2];
    if (plan->input >= system->inputs)
        return dw_error_set(error, DW_BAD_USE, 0, "a sweep of input %zu of %zu", plan->input + 1, system->inputs);
    if (!(plan->first > 0 && plan->last > plan->first && isfinite(plan->last)) || !(plan->accuracy > 0 && isfinite(plan->accuracy)))
        return dw_error_set(error, DW_BAD_USE, 0, "a sweep from %g to %g Hz at accuracy %g: 0 < first < last, accuracy > 0",
                            plan->first, plan->last, plan->accuracy);
    const double blocked = undamped(&sweep);
    if (blocked > 0)
        return dw_error_set(error, DW_NO, 0,
                            "the response is unbounded at %.9g Hz: nothing damps it there; end the band before it, or give the "
                            "coil its resistance",
                            blocked);
    const size_t count = turning_points(&sweep, frequency);
    struct point at, next, end;
    enum dw_status status = respond(&sweep, plan->first, NULL, &at);
    if (status == DW_OK)
        status = sink(context, at.frequency, at.gain, at.phase, error);
    for (size_t i = 1; i < count && status == DW_OK; i++) {
        if (!(frequency[i] > at.frequency))
            continue;
        status = respond(&sweep, frequency[i], &at, &next);
        if (status == DW_OK)
            status = give_between(&sweep, &at, &next, 0, &end);
        at = end;
    }
    return status;
}
