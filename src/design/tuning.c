/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Settings of a pid law. docs/theory.md, (16.11) to (16.15). */
#include <dutywright/tuning.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = DW_SAMPLED_STATES };

#define AT_ONE 1e-9   /* of z = 1: a pole there integrates */
#define WAITS 0.05    /* |z| below it: a duty that waits, no lag */
#define LOOSE 0.5     /* damping below which a plant oscillates by itself */

/* ---- rules ---- */

enum dw_status dw_tune_ultimate(double gain, double period, enum dw_law_terms terms, struct dw_tuned *tuned, struct dw_error *error)
{
    static const struct dw_tuned rule[] = { { 0.5, INFINITY, 0 }, { 0.45, 1 / 1.2, 0 }, { 0.6, 1 / 2.0, 1 / 8.0 } };
    if (!(gain != 0 && isfinite(gain) && period > 0 && isfinite(period)))
        return dw_error_set(error, DW_BAD_USE, 0, "an ultimate gain of %g and a period of %g s: both must be finite, the gain not zero, the "
                            "period above it", gain, period);
    *tuned = (struct dw_tuned){ rule[terms].gain * gain, rule[terms].integral_time * period, rule[terms].derivative_time * period };
    return DW_OK;
}

struct dw_tuned dw_tune_from_series(double gain, double ti, double td)
{
    const double more = 1 + td / ti;
    return (struct dw_tuned){ gain * more, isinf(ti) ? ti : ti + td, td / more };
}

enum dw_status dw_tune_simc(const struct dw_lag_model *m, double closed, enum dw_law_terms terms, struct dw_tuned *tuned, struct dw_error *error)
{
    if (!(closed > 0 && isfinite(closed)) || !(m->gain != 0 && isfinite(m->gain)) || !(m->lag[0] > 0) || !(m->lag[1] >= 0) || !(m->delay >= 0))
        return dw_error_set(error, DW_BAD_USE, 0, "a time constant of %g s for a gain of %g, lags of %g s and %g s and a delay of %g s: a time "
                            "above zero and a gain that is not zero are wanted, no lag and no delay below zero", closed, m->gain, m->lag[0],
                            m->lag[1], m->delay);
    const double wait = closed + m->delay, slope = isinf(m->lag[0]) ? m->gain : m->gain / m->lag[0];
    const double integral = terms == DW_TERMS_P ? INFINITY : fmin(m->lag[0], 4 * wait);
    *tuned = dw_tune_from_series(1 / (slope * wait), integral, terms == DW_TERMS_PID ? m->lag[1] : 0);
    return DW_OK;
}

/* ---- a plant as lags ---- */

struct fit {
    struct dw_sampled plant;
    double lag[MOST], lead[MOST];  /* s, falling; of poles and of zeros on the left */
    size_t lags, leads;
    bool integrates;
    double slowest;                /* distance from 1 of the nearest pole that is not there */
    double gain, residence;        /* static gain or slope, and the mean time from duty to effect, s */
};

static int falling(const void *one, const void *other)
{
    const double a = *(const double *)one, b = *(const double *)other;
    return (a < b) - (a > b);
}

/* One pole: a lag, an integrator, a share of a damped pair, or a delay. */
static enum dw_status take_pole(struct fit *f, double real, double imaginary, struct dw_error *error)
{
    const double size = hypot(real, imaginary), apart = hypot(real - 1, imaginary), t = f->plant.sample_time;
    const double decay = -log(size), turn = atan2(fabs(imaginary), real), natural = hypot(decay, turn);
    if (apart < AT_ONE && f->integrates)
        return dw_error_set(error, DW_NO, 0, "the plant integrates twice: these rules have no settings for it");
    f->integrates = f->integrates || apart < AT_ONE;
    f->slowest = apart < AT_ONE ? f->slowest : fmin(f->slowest, apart);
    if (apart < AT_ONE || size < WAITS)
        return DW_OK;
    if (size >= 1)
        return dw_error_set(error, DW_NO, 0, "the plant runs away or oscillates by itself, %g times as far a sample: these rules have no settings "
                            "for it", size);
    if (imaginary != 0 && real > 0 && decay < LOOSE * natural)
        return dw_error_set(error, DW_NO, 0, "the plant oscillates by itself, at %g Hz with a damping of %.3g: this rule is for plants of lags",
                            natural / (2 * M_PI * t), decay / natural);
    if (real > 0)
        f->lag[f->lags++] = imaginary != 0 ? t * decay / (natural * natural) : t / decay;
    return DW_OK;
}

static enum dw_status take_poles(struct fit *f, struct dw_error *error)
{
    double real[MOST], imaginary[MOST];
    enum dw_status status = dw_sampled_poles(&f->plant, real, imaginary, error);
    f->slowest = 1;
    for (size_t i = 0; i < f->plant.states && !status; i++)
        status = take_pole(f, real[i], imaginary[i], error);
    qsort(f->lag, f->lags, sizeof f->lag[0], falling);
    return status;
}

/* row = row a. */
static void times(const struct dw_sampled *s, double *row)
{
    double product[MOST] = { 0 };
    for (size_t i = 0; i < s->states; i++)
        for (size_t j = 0; j < s->states; j++)
            product[j] += row[i] * s->a[i * s->states + j];
    memcpy(row, product, sizeof product);
}

/* Zeros: what is left of the poles where the duty keeps the output at 0, by as many samples as it needs to act. */
static enum dw_status take_zeros(struct fit *f, struct dw_error *error)
{
    struct dw_sampled zeros = f->plant;
    const size_t n = zeros.states;
    double row[MOST], real[MOST], imaginary[MOST], acts = 0;
    memcpy(row, zeros.c, sizeof row);
    for (size_t k = 0; k < n && acts == 0; k++) {
        for (size_t i = 0; i < n; i++)
            acts += row[i] * zeros.b[i];
        times(&zeros, row);
    }
    if (acts == 0)  /* unrun: rounding */
        return dw_error_set(error, DW_NO, 0, "what is measured does not follow the duty");
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            zeros.a[i * n + j] -= zeros.b[i] * row[j] / acts;
    const enum dw_status status = dw_sampled_poles(&zeros, real, imaginary, error);
    for (size_t i = 0; i < n && !status; i++)  /* unrun: eigenvalues */
        if (fabs(imaginary[i]) < AT_ONE && real[i] > WAITS && real[i] < 1)
            f->lead[f->leads++] = -zeros.sample_time / log(real[i]);
    qsort(f->lead, f->leads, sizeof f->lead[0], falling);
    return status;
}

/* Gain and residence from the response beside z = 1, on both sides, so that what is left out is of second order in that. */
static void take_residence(struct fit *f)
{
    const double t = f->plant.sample_time, beside = 1e-4 * f->slowest;
    double above[2], below[2];
    dw_sampled_response(&f->plant, beside, 0, above);
    dw_sampled_response(&f->plant, -beside, 0, below);
    const double even = (above[0] + below[0]) / 2, odd = (above[0] - below[0]) / 2;
    f->gain = f->integrates ? odd * beside / t : even;
    f->residence = f->integrates ? t / 2 - even / (odd * beside) * t : -odd / (beside * even) * t;
}

/* The lag that a lead goes with: the nearest longer one, or a shorter one that is nearer and within a factor of 1.6, which it must not reach:
 * equal lags come out apart by up to one in a hundred. */
static size_t partner(const struct fit *f, double lead)
{
    size_t shorter = 0;
    while (shorter < f->lags && f->lag[shorter] >= lead)
        shorter++;
    const double above = shorter > 0 ? f->lag[shorter - 1] / lead : INFINITY, below = shorter < f->lags ? lead / f->lag[shorter] : INFINITY;
    return shorter > 0 && !(below < above && below < 1.58) ? shorter - 1 : shorter;
}

/* (lead s + 1) / (lag s + 1) as a factor and a lag, by how long both are beside the time constant wanted. */
static void pair_off(struct fit *f, double lead, double closed)
{
    const size_t k = partner(f, lead);
    if (k == f->lags)
        return;  /* no lag: it shortens the delay */
    const double lag = f->lag[k], kept = fmin(lag, 5 * closed);
    double factor = lead / lag, rest = 0;
    if (lead >= lag)
        factor = lag >= closed ? lead / lag : lead >= closed ? lead / closed : 1;
    else if (lead < 5 * closed) {
        factor = kept / lag;
        rest = kept - lead;
    }
    f->gain *= factor;
    f->residence += rest - (lag - lead);
    f->lag[k] = rest;
    qsort(f->lag, f->lags, sizeof f->lag[0], falling);
}

/* The half rule: of the longest lag left out, half goes to the last one kept; the delay is the rest of the residence. */
static struct dw_lag_model halved(struct fit *f, bool second)
{
    struct dw_lag_model m = { .gain = f->gain, .lag = { INFINITY, 0 } };
    const size_t last = second ? 1 : 0;
    double kept = 0, *lag = f->lag;
    size_t used = 0;
    for (size_t k = f->integrates ? 1 : 0; k <= last; k++, used++) {
        m.lag[k] = used < f->lags ? lag[used] : 0;
        if (k == last && used + 1 < f->lags)
            m.lag[k] += lag[used + 1] / 2;
        kept += m.lag[k];
    }
    m.delay = fmax(0, f->residence - kept);
    return m;
}

enum dw_status dw_lag_model(const struct dw_sampled *sampled, double closed, enum dw_law_terms terms, struct dw_lag_model *model,
                            struct dw_error *error)
{
    struct fit f = { .lags = 0 };
    if (!(closed > 0 && isfinite(closed)))
        return dw_error_set(error, DW_BAD_USE, 0, "a time constant of %g s: must be above zero", closed);
    enum dw_status status = dw_sampled_reduce(sampled, &f.plant, error);
    if (!status)
        status = take_poles(&f, error);
    if (!status)
        status = take_zeros(&f, error);
    if (status)
        return status;
    take_residence(&f);
    for (size_t k = 0; k < f.leads; k++)
        pair_off(&f, f.lead[k], closed);
    const struct dw_lag_model made = halved(&f, terms == DW_TERMS_PID);
    if (!(made.gain != 0) || !(made.lag[0] > 0))  /* unrun: rounding */
        return dw_error_set(error, DW_NO, 0, "what is measured does not follow the duty for long: no lag and no gain are left for the rule");
    *model = made;
    return DW_OK;
}
