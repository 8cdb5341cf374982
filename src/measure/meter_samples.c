/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Mean and rms of samples: of a sum of sines where that explains them, else over whole cycles. */
#include "measure/metering_inner.h"
#include <math.h>

enum { MEAN_HARMONICS = 10 };
/* Shares of the rms that may be left: by what explains the record, and by what tells its frequency. */
static const double explained = 0.01, frequency_told = 0.7;

/* Each sample stands for the spacing behind it; of the last one only a part may count.
 *   length   of samples, no more than there are */
static void over_cycles(const struct dw_samples *x, double length, struct sampled_mean *out)
{
    double mean = 0, square = 0;
    for (size_t i = 0; (double)i < length; i++)
        mean += x->value[i * x->pitch] * (fmin(length - (double)i, 1) / length);
    for (size_t i = 0; (double)i < length; i++) {
        const double off = x->value[i * x->pitch] - mean;
        square += off * off * (fmin(length - (double)i, 1) / length);
    }
    out->from = SAMPLED_CYCLES;
    out->mean = mean;
    out->ac_rms = sqrt(square);
}

static void use_fit(const struct dw_samples *x, const struct dw_sine *sine, const double *line, struct sampled_mean *out)
{
    double square = sine->residual * sine->residual;
    for (size_t n = 1; n <= sine->harmonics; n++)
        square += 2 * (line[2 * n] * line[2 * n] + line[2 * n + 1] * line[2 * n + 1]);
    const double ac = sqrt(square);
    out->frequency = sine->frequency;
    out->harmonics = sine->harmonics;
    if (sine->residual <= explained * ac) {
        out->from = SAMPLED_SINE;
        out->mean = line[0];
        out->ac_rms = ac;
    } else if (sine->residual <= frequency_told * ac) {
        out->cycles = floor((double)x->count * sine->frequency / x->rate + 1e-6);
        over_cycles(x, fmin(out->cycles * x->rate / sine->frequency, (double)x->count), out);
    }
}

/* Of whole periods of so many samples each: what stands at the end of the last is not of them. */
static void over_periods(const struct dw_meter *m, size_t channel, struct sampled_mean *out)
{
    const struct samples *all = &m->samples;
    const struct dw_clock *clock = &m->window[m->span_window].clock;
    const double length = m->span_periods * clock->period * m->sampled, to = dwi_samples_boundary(all, clock->origin, clock->period);
    size_t first, end;
    dwi_samples_between(all, to - m->span_periods * clock->period, to, &first, &end);
    const struct dw_samples x = dwi_samples_of(all, m->column[channel], first, end);
    if (!(length > 0) || fabs(length - (double)x.count) > 1e-6 * length)  /* unrun: implied */
        return;
    over_cycles(&x, (double)x.count, out);
    out->from = SAMPLED_PERIODS;
}

enum dw_status dwi_meter_sampled(const struct dw_meter *m, size_t channel, struct sampled_mean *out, struct dw_error *error)
{
    const struct samples *all = &m->samples;
    size_t first, end;
    double line[2 * (MEAN_HARMONICS + 1)];
    struct dw_sine sine;
    *out = (struct sampled_mean){ .from = SAMPLED_LINES };
    /* of what is no longer there only sums are known */
    if (!(m->sampled > 0) || !all->even)
        return DW_OK;
    if (m->span.kind == DW_SPAN_LAST) {
        over_periods(m, channel, out);
        return DW_OK;
    }
    if (all->count < all->seen && m->span.kind != DW_SPAN_BETWEEN) {
        out->from = SAMPLED_ALL;
        dwi_samples_moments(all, m->column[channel], &out->mean, &out->ac_rms);
    }
    if (all->count < all->seen)
        return DW_OK;
    const bool part = m->span.kind == DW_SPAN_BETWEEN;
    dwi_samples_between(all, part ? m->span.from : -INFINITY, part ? m->span.to : INFINITY, &first, &end);
    const struct dw_samples x = dwi_samples_of(all, m->column[channel], first, end);
    const enum dw_status status = dw_sine_fit(&x, 0, MEAN_HARMONICS, line, &sine, error);
    if (status == DW_OK && sine.harmonics)
        use_fit(&x, &sine, line, out);
    return status;
}
