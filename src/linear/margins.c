/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where a loop turns unstable. docs/theory.md, (16.8) to (16.10). */
#include "linear/matrix_inner.h"
#include <complex.h>
#include <dutywright/margins.h>
#include <float.h>
#include <math.h>
#include <stdlib.h>

#define BESIDE 1e-9  /* of z = 1: nearer, it is a pole or a zero there */

enum { STATES = DW_SAMPLED_STATES, POINTS = 512, CROSSINGS = 64, DEPTH = 40 };

/* A loop, and what a sweep along the unit circle finds. */
struct loop {
    struct dw_sampled plant;
    double gain, integrates, differentiates, keeps;  /* as in struct dw_law */
    struct gain_crossing {
        double gain, angle;      /* the factor with which a pole is at that angle on the circle */
    } crossing[CROSSINGS];
    size_t crossings;
    double phase, phase_angle;   /* rad, nearest to -1 */
    double lateness;             /* samples */
};

struct loop_point {
    double angle;
    double complex value;
};

/* ---- poles ---- */

static size_t loop_matrix(const struct loop *l, double factor, double *m)
{
    const size_t n = l->plant.states, integral = n, memory = n + (l->integrates != 0), all = memory + (l->differentiates != 0);
    const double ki = factor * l->integrates, kd = factor * l->differentiates, y_to_u = -(factor * l->gain + ki + kd);
    for (size_t i = 0; i < all * all; i++)
        m[i] = 0;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++)
            m[i * all + j] = l->plant.a[i * n + j] + l->plant.b[i] * y_to_u * l->plant.c[j];
        for (size_t j = n; j < all; j++)
            m[i * all + j] = l->plant.b[i];
    }
    for (size_t j = 0; j < n && memory > n; j++)
        m[integral * all + j] = -ki * l->plant.c[j];
    for (size_t j = 0; j < n && all > memory; j++)
        m[memory * all + j] = kd * (1 - l->keeps) * l->plant.c[j];
    if (memory > n)
        m[integral * all + integral] = 1;
    if (all > memory)
        m[memory * all + memory] = l->keeps;
    return all;
}

static enum dw_status loop_poles(const struct loop *l, double factor, struct dw_poles *poles, struct dw_error *error)
{
    double m[DW_LOOP_POLES * DW_LOOP_POLES];
    poles->count = loop_matrix(l, factor, m);
    dwi_matrix_balance(m, poles->count);
    if (!dwi_matrix_eigenvalues(m, poles->count, poles->real, poles->imaginary))  /* unrun: eigenvalues */
        return dw_error_set(error, DW_NO, 0, "the poles of the loop were not found");
    return DW_OK;
}

static enum dw_status radius(const struct loop *l, double factor, double *largest, struct dw_error *error)
{
    struct dw_poles poles;
    const enum dw_status status = loop_poles(l, factor, &poles, error);
    *largest = 0;
    for (size_t i = 0; i < poles.count && !status; i++)  /* unrun: eigenvalues */
        *largest = fmax(*largest, hypot(poles.real[i], poles.imaginary[i]));
    return status;
}

static enum dw_status loop_of(const struct dw_sampled *sampled, const struct dw_law *law, struct loop *l, struct dw_error *error)
{
    if (law->plan.kind != DW_LAW_PID)
        return dw_error_set(error, DW_BAD_USE, 0, "an on-off law has no margins: it never comes to rest");
    *l = (struct loop){ .gain = law->plan.gain, .integrates = law->integrates, .differentiates = law->differentiates, .keeps = law->keeps };
    return dw_sampled_reduce(sampled, &l->plant, error);
}

enum dw_status dw_loop_poles(const struct dw_sampled *sampled, const struct dw_law *law, double factor, struct dw_poles *poles,
                             struct dw_error *error)
{
    struct loop l;
    enum dw_status status = loop_of(sampled, law, &l, error);
    if (!status)
        l.plant = *sampled;  /* all poles are asked for */
    return status ? status : loop_poles(&l, factor, poles, error);
}

/* ---- along the circle ---- */

/* The open loop at z = exp(j angle); z - 1 without cancelling. */
static struct loop_point at(const struct loop *l, double angle)
{
    const double half = sin(angle / 2);
    const double complex w = -2 * half * half + I * sin(angle), z = 1 + w;
    double plant[2];
    dw_sampled_response(&l->plant, creal(w), cimag(w), plant);
    double complex law = l->gain;
    if (l->integrates != 0)
        law += l->integrates * z / w;
    if (l->differentiates != 0)
        law += l->differentiates * w / (w + (1 - l->keeps));
    return (struct loop_point){ angle, law * (plant[0] + I * plant[1]) };
}

static void add_crossing(struct loop *l, struct loop_point p)
{
    /* unrun: size */
    if (l->crossings < CROSSINGS && creal(p.value) < 0 && isfinite(creal(p.value)) && fabs(cimag(p.value)) <= 1e-3 * cabs(p.value))
        l->crossing[l->crossings++] = (struct gain_crossing){ -1 / creal(p.value), p.angle };
}

static void add_unit(struct loop *l, struct loop_point p)
{
    const double phase = carg(-p.value), late = (phase < 0 ? phase + 2 * M_PI : phase) / p.angle;
    if (fabs(phase) < fabs(l->phase)) {
        l->phase = phase;
        l->phase_angle = p.angle;
    }
    l->lateness = fmin(l->lateness, late);
}

static double imaginary_part(struct loop_point p)
{
    return cimag(p.value);
}

static double beyond_unit(struct loop_point p)
{
    return cabs(p.value) - 1;
}

/* Halves an interval at whose ends a number has two signs, down to rounding. */
static struct loop_point bisect(const struct loop *l, struct loop_point a, struct loop_point b, double (*number)(struct loop_point))
{
    const bool rises = number(b) > 0;
    struct loop_point middle = b;
    for (int k = 0; k < 60 && (b.angle - a.angle) > 2 * DBL_EPSILON * b.angle; k++) {  /* unrun: count */
        middle = at(l, (a.angle + b.angle) / 2);
        *((number(middle) > 0) == rises ? &b : &a) = middle;
    }
    return middle;
}

/* What changes sign over an interval along which the loop hardly turns or grows. */
static void take(struct loop *l, struct loop_point a, struct loop_point b)
{
    if ((cimag(a.value) > 0) != (cimag(b.value) > 0) && creal(a.value + b.value) < 0)
        add_crossing(l, bisect(l, a, b, imaginary_part));
    if ((beyond_unit(a) > 0) != (beyond_unit(b) > 0))
        add_unit(l, bisect(l, a, b, beyond_unit));
}

static bool coarse(struct loop_point a, struct loop_point b)
{
    const double complex ratio = b.value / a.value;
    return b.angle - a.angle > 0x1p-30 * b.angle && (fabs(carg(ratio)) > 0.15 || fabs(log(cabs(ratio))) > 0.3);
}

/* Halves an interval wherever it is coarse; its ends still to come are stacked, the next one on top. */
static void look(struct loop *l, struct loop_point a, struct loop_point b)
{
    struct loop_point end[DEPTH] = { b };
    for (size_t ends = 1; ends > 0;) {
        const struct loop_point next = end[ends - 1];
        if (ends < DEPTH && coarse(a, next))  /* unrun: count */
            end[ends++] = at(l, (a.angle + next.angle) / 2);
        else {
            take(l, a, next);
            a = next;
            ends--;
        }
    }
}

static int rising(const void *one, const void *other)
{
    const double a = *(const double *)one, b = *(const double *)other;
    return (a > b) - (a < b);
}

/* Where to look first: evenly in the logarithm from far below whatever bends the loop, and about each pole. Lower, what a pole at 1 is off by
 * rounding would turn the loop by more than the rest of it does. */
static enum dw_status angles(const struct loop *l, double *angle, size_t *count, struct dw_error *error)
{
    enum { EVEN = 180 };
    static const double FIRST = 1e-7;
    double real[STATES], imaginary[STATES];
    const enum dw_status status = dw_sampled_poles(&l->plant, real, imaginary, error);
    *count = 0;
    for (size_t i = 0; i < l->plant.states && !status; i++)  /* unrun: eigenvalues */
        for (int k = -2; k <= 2 && imaginary[i] > 0; k++)
            angle[(*count)++] = atan2(imaginary[i], real[i]) + k * fabs(1 - hypot(real[i], imaginary[i]));
    for (int k = 0; k < EVEN; k++)
        angle[(*count)++] = FIRST * pow(M_PI / FIRST, k / (double)EVEN);
    qsort(angle, *count, sizeof *angle, rising);
    return status;
}

static int by_gain(const void *one, const void *other)
{
    return rising(&((const struct gain_crossing *)one)->gain, &((const struct gain_crossing *)other)->gain);
}

/* Finds all gains at which a pole is on the circle, sorted, and all angles at which the gain is 1. */
static enum dw_status sweep(struct loop *l, struct dw_error *error)
{
    double angle[POINTS];
    size_t count, kept = 0;
    const enum dw_status status = angles(l, angle, &count, error);
    if (status)  /* unrun: eigenvalues */
        return status;
    l->phase = l->lateness = INFINITY;
    struct loop_point before = at(l, 0);
    add_crossing(l, before);
    before = at(l, angle[0]);
    for (size_t k = 1; k <= count; k++) {
        const double next = k < count ? angle[k] : M_PI;
        if (next <= before.angle || next > M_PI)
            continue;
        const struct loop_point end = at(l, next);
        look(l, before, end);
        before = end;
    }
    add_crossing(l, before);
    qsort(l->crossing, l->crossings, sizeof l->crossing[0], by_gain);
    for (size_t k = 0; k < l->crossings; k++)
        if (!kept || l->crossing[k].gain > l->crossing[kept - 1].gain * (1 + 1e-9))  /* unrun: rounding */
            l->crossing[kept++] = l->crossing[k];
    l->crossings = kept;
    return DW_OK;
}

/* ---- answers ---- */

static double gain_below(const struct loop *l, size_t k)
{
    return k > 0 ? l->crossing[k - 1].gain : 0;
}

static double gain_above(const struct loop *l, size_t k)
{
    return k < l->crossings ? l->crossing[k].gain : INFINITY;
}

/* Whether the loop is stable between crossing k - 1 and crossing k. */
static enum dw_status stable_between(const struct loop *l, size_t k, bool *stable, struct dw_error *error)
{
    const double low = gain_below(l, k), high = gain_above(l, k);
    double largest;
    /* well inside, and not near 0, where a pole leaves its place too little to be seen */
    const double inside = l->crossings == 0 ? 1 : k == l->crossings ? 2 * low : fmax(high / 2, sqrt(low * high));
    const enum dw_status status = radius(l, inside, &largest, error);
    *stable = largest < 1;
    return status;
}

/* Of the stretches of gain in which the loop is stable that nearest to a factor; touching ones are one.
 *   first, last  out: it lies between crossings first - 1 and last
 *   found        out */
static enum dw_status stretch_near(const struct loop *l, double factor, size_t *first, size_t *last, bool *found, struct dw_error *error)
{
    bool stable[CROSSINGS + 1];
    double nearest = INFINITY;
    enum dw_status status = DW_OK;
    for (size_t k = 0; k <= l->crossings && !status; k++)  /* unrun: eigenvalues */
        status = stable_between(l, k, &stable[k], error);
    *found = false;
    for (size_t k = 0; k <= l->crossings && !status; k++) {  /* unrun: eigenvalues */
        size_t end = k;
        while (stable[k] && end < l->crossings && stable[end + 1])  /* unrun: stretches */
            end++;
        const double away = fmax(fmax(gain_below(l, k) / factor, factor / gain_above(l, end)), 1);
        if (stable[k] && away < nearest) {
            *found = true;
            nearest = away;
            *first = k;
            *last = end;
        }
        k = end;
    }
    return status;
}

enum dw_status dw_loop_margins(const struct dw_sampled *sampled, const struct dw_law *law, struct dw_margins *margins, struct dw_error *error)
{
    struct loop l;
    struct dw_margins m = { .gain_low = NAN, .gain_high = NAN, .gain_frequency = NAN, .phase_frequency = NAN };
    size_t first, last;
    bool found;
    enum dw_status status = loop_of(sampled, law, &l, error);
    if (!status)
        status = sweep(&l, error);
    if (!status)
        status = radius(&l, 1, &m.pole_highest, error);
    if (!status)
        status = stretch_near(&l, 1, &first, &last, &found, error);
    if (status)
        return status;
    const double turns = 1 / (2 * M_PI * sampled->sample_time);
    m.stable = m.pole_highest < 1;
    if (found) {
        m.gain_low = gain_below(&l, first);
        m.gain_high = gain_above(&l, last);
        m.gain_frequency = last < l.crossings ? l.crossing[last].angle * turns : NAN;  /* unrun: stretches */
    }
    m.phase = l.phase * 180 / M_PI;
    m.phase_frequency = isfinite(l.phase) ? l.phase_angle * turns : NAN;
    m.delay = l.lateness * sampled->sample_time;
    *margins = m;
    return DW_OK;
}

/* The stretch of gains alone of one sign that is nearest to none. */
static enum dw_status ultimate_of(struct loop *l, double sign, size_t *last, bool *found, struct dw_error *error)
{
    size_t first;
    l->gain = sign;
    l->crossings = 0;
    const enum dw_status status = sweep(l, error);
    return status ? status : stretch_near(l, DBL_MIN, &first, last, found, error);  /* unrun: eigenvalues */
}

enum dw_status dw_sampled_ultimate(const struct dw_sampled *sampled, double *gain, double *period, struct dw_error *error)
{
    struct loop l = { .gain = 1 };
    double out[2] = { 0, 0 };
    size_t last;
    bool found = false;
    enum dw_status status = dw_sampled_reduce(sampled, &l.plant, error);
    if (status)
        return status;
    dw_sampled_response(&l.plant, BESIDE, 0, out);  /* its sign is that of a plant that does not run away */
    const double sign = out[0] < 0 ? -1 : 1;
    status = ultimate_of(&l, sign, &last, &found, error);
    if (!status && !found)  /* unrun: eigenvalues */
        status = ultimate_of(&l, -sign, &last, &found, error);
    if (!status && (!found || last == l.crossings))  /* unrun: stretches */
        /* unrun: stretches */
        return dw_error_set(error, DW_NO, 0, found ? "no gain makes the loop oscillate" : "no gain alone makes the loop stable");
    if (!status) {  /* unrun: eigenvalues */
        *gain = l.gain * l.crossing[last].gain;
        *period = l.crossing[last].angle > 0 ? 2 * M_PI * sampled->sample_time / l.crossing[last].angle : INFINITY;
    }
    return status;
}

/* ---- later ---- */

struct lateness {
    dw_sampled_late *late;
    void *context;
    const struct dw_law *law;
};

static enum dw_status stable_late(const struct lateness *of, double delay, bool *stable, struct dw_error *error)
{
    struct dw_sampled sampled;
    struct loop l;
    double largest;
    enum dw_status status = of->late(of->context, delay, &sampled, error);
    if (!status)
        status = loop_of(&sampled, of->law, &l, error);
    if (!status)
        status = radius(&l, 1, &largest, error);
    *stable = !status && largest < 1;
    return status;
}

enum dw_status dw_delay_margin(dw_sampled_late *late, void *context, const struct dw_law *law, const struct dw_margins *margins, double *delay,
                               struct dw_error *error)
{
    const struct lateness of = { late, context, law };
    double low = 0, high = 0.75 * margins->delay;
    bool stable = true;
    enum dw_status status = DW_OK;
    *delay = margins->stable ? margins->delay : 0;
    if (!margins->stable || isinf(margins->delay))
        return DW_OK;
    for (int k = 0; k < 32 && !status && stable; k++) {
        status = stable_late(&of, high, &stable, error);
        low = stable ? high : low;
        high *= stable ? 1.2 : 1;
    }
    while (!status && !stable && high - low > 1e-4 * high) {
        const double middle = (low + high) / 2;
        bool still = false;
        status = stable_late(&of, middle, &still, error);
        *(still ? &low : &high) = middle;
    }
    *delay = stable ? INFINITY : low;
    return status;
}
