/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Lines of a table whose rows are samples: sines fitted to them, since between them nothing is known. docs/theory.md, section 5.7. */
#include "measure/spectrum_inner.h"
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* Shares: of the mean square that a fundamental which is to be found must explain, with its harmonics; of the rms that may stay
 * unexplained without a word; of the largest value below which a line of the fit is rounding. */
static const double least_explained = 0.5, much_left = 0.1, rounding = 1024 * DBL_EPSILON;

static void remark_kept(struct dw_spectrum *s)
{
    if (s->samples.seen > s->samples.count && !s->samples.latest)
        dwi_spectrum_remark(s, s->channels, false, "only the first %zu rows, up to %.6g s, are kept and taken", s->samples.count,
                            s->samples.row[(s->samples.count - 1) * s->samples.columns]);
}

/* Hands to the record what has been kept, which from here on takes all. */
static enum dw_status hand_over(struct dw_spectrum *s, struct dw_error *error)
{
    s->by_samples = false;
    s->weighs_samples = s->samples.even && s->samples.count > 1;
    remark_kept(s);
    return s->samples.count ? dwi_record_rows(s->record, s->samples.row, s->samples.count, error) : DW_OK;
}

/* The record's lines are those of straight lines between the samples. Theory, equations 5.26 and 5.27: what these make of samples, and of
 * the jump where the span meets itself. */
void dwi_spectrum_weigh_samples(const struct dw_spectrum *s, size_t bins, double *all)
{
    size_t first, end;
    const double spaces = (s->facts.to - s->facts.from) * s->samples.rate;
    dwi_samples_between(&s->samples, s->facts.from, INFINITY, &first, &end);
    for (size_t i = 0; i < s->channels; i++) {
        double *line = all + i * 2 * (bins + 1);
        const struct dw_samples x = dwi_samples_of(&s->samples, s->column[i], first, end);
        const size_t last = (size_t)fmin(rint(spaces), (double)(x.count - 1));
        const double jump = x.value[last * x.pitch] - x.value[0];
        for (size_t k = 1; k <= bins; k++) {
            const double angle = M_PI * (double)k / spaces, sine = sin(angle) / angle;
            line[2 * k] /= sine * sine;
            line[2 * k + 1] = (line[2 * k + 1] - jump / (2 * M_PI * (double)k)) / (sine * sine) + jump / (2 * spaces * tan(angle));
        }
    }
}

/* Mean square off the mean of the samples in the record's span, the first and the last counting half. */
void dwi_spectrum_sample_moments(const struct dw_spectrum *s, size_t channel, double *mean, double *ac_rms)
{
    size_t first, end;
    dwi_samples_between(&s->samples, s->facts.from, s->facts.to + 0.5 / s->samples.rate, &first, &end);
    const struct dw_samples x = dwi_samples_of(&s->samples, s->column[channel], first, end);
    const double share = 1 / (double)(x.count - 1);
    double sum = 0, square = 0;
    for (size_t i = 0; i < x.count; i++)
        sum += (x.value[i * x.pitch] - x.value[0]) * (i && i + 1 < x.count ? share : share / 2);
    *mean = x.value[0] + sum;
    for (size_t i = 0; i < x.count; i++) {
        const double off = x.value[i * x.pitch] - *mean;
        square += off * off * (i && i + 1 < x.count ? share : share / 2);
    }
    *ac_rms = sqrt(square);
}

enum dw_status dwi_spectrum_take(struct dw_spectrum *s, const double *values, size_t rows, struct dw_error *error)
{
    size_t taken;
    enum dw_status status = dwi_samples_put(&s->samples, values, rows, &taken, error);
    if (status != DW_OK || taken == rows)
        return status;
    if (s->samples.count < s->samples.seen)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: row %llu, at %.9g s, is %.4g spacings behind the one before, though "
                            "'sampled' says that they are equal; drop that key, or take a part with --span",
                            s->place, s->samples.seen + 1, s->samples.odd_at, s->samples.odd);
    if (s->samples.odd > 0)
        dwi_spectrum_remark(s, s->channels, false, "row %llu, at %.9g s, is %.4g spacings behind the one before, though 'sampled' says "
                            "that they are equal: rows are taken as corners of straight lines",
                            s->samples.seen + 1, s->samples.odd_at, s->samples.odd);
    status = hand_over(s, error);
    dwi_samples_free(&s->samples);
    /* unrun: passed-on */
    return status == DW_OK ? dwi_record_rows(s->record, values + taken * s->samples.columns, rows - taken, error) : status;
}

/* ---- which samples ---- */

static enum dw_status choose_samples(const struct dw_spectrum *s, size_t *first, size_t *end, struct dw_error *error)
{
    const struct record_plan *plan = &s->plan;
    const struct samples *all = &s->samples;
    double from = plan->from, to = plan->to;
    const double length = (double)plan->last * fmax(plan->group, 1) * s->period, counted = length * all->rate;
    if (plan->last && !(s->span_default && fabs(counted - rint(counted)) > 1e-6)) {
        to = dwi_samples_boundary(all, plan->from_first_row ? all->first : plan->origin, s->period);
        from = to - length;
        if (from < all->first - 1e-3 / all->rate && s->span_default)
            from = to = INFINITY;
        else if (from < all->first - 1e-3 / all->rate)
            return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span is the last %llu periods, but the record holds only %.0f",
                                s->place, plan->last, floor((to - all->first) * s->frequency + 1e-3));
        from = from == INFINITY ? -INFINITY : from;
    }
    dwi_samples_between(all, from, to, first, end);
    return DW_OK;
}

/* ---- the fundamental ---- */

static size_t wanted_lines(const struct dw_spectrum *s)
{
    size_t lines = s->harmonics ? s->harmonics : DW_HARMONICS_USUAL;
    if (s->top > 0 && s->frequency > 0 && !s->harmonics)
        lines = (size_t)fmax(1, fmin(floor(s->top / s->frequency * (1 + 4 * DBL_EPSILON)), DW_SINE_HARMONICS_MOST));
    return lines < DW_SINE_HARMONICS_MOST ? lines : DW_SINE_HARMONICS_MOST;
}

static double sample_ac(const struct dw_samples *x)
{
    double mean = 0, square = 0;
    for (size_t i = 0; i < x->count; i++)
        mean += (x->value[i * x->pitch] - mean) / (double)(i + 1);
    for (size_t i = 0; i < x->count; i++)
        square += (x->value[i * x->pitch] - mean) * (x->value[i * x->pitch] - mean);
    return sqrt(square / (double)x->count);
}

/* The channel that a sine and its harmonics explain best, and their frequency; s->channels: none. */
static enum dw_status find_fundamental(struct dw_spectrum *s, size_t first, size_t end, size_t *best, struct dw_error *error)
{
    const size_t lines = wanted_lines(s);
    double *line = calloc(2 * (lines + 1), sizeof *line), least = sqrt(1 - least_explained);
    enum dw_status status = line ? DW_OK : dw_no_memory(error);
    for (size_t i = 0; i < s->channels && status == DW_OK; i++) {
        const struct dw_samples x = dwi_samples_of(&s->samples, s->column[i], first, end);
        struct dw_sine sine;
        status = dw_sine_fit(&x, 0, lines, line, &sine, error);
        const double left = status == DW_OK && sine.harmonics ? sine.residual / sample_ac(&x) : 1;
        if (left < least) {
            least = left;
            *best = i;
            s->frequency = sine.frequency;
        }
    }
    free(line);
    return status;
}

/* ---- the lines ---- */

static void keep_channel(struct dw_spectrum *s, size_t channel, const struct dw_samples *x, const struct dw_sine *sine)
{
    struct channel_lines *of = &s->of[channel];
    of->low = of->high = x->value[0];
    for (size_t i = 1; i < x->count; i++) {
        of->low = fmin(of->low, x->value[i * x->pitch]);
        of->high = fmax(of->high, x->value[i * x->pitch]);
    }
    of->range = (struct value_range){ of->low, of->high };
    of->mean = of->line[0];
    const double least = rounding * fmax(fabs(of->low), fabs(of->high));
    of->rest = sine->residual < least ? 0 : sine->residual * sine->residual;
    for (size_t n = 1; n <= s->highest; n++) {
        double *c = of->line + 2 * n;
        if (hypot(c[0], c[1]) < least)
            c[0] = c[1] = 0;
        of->rest += n > 1 ? 2 * (c[0] * c[0] + c[1] * c[1]) : 0;
    }
    of->ac_rms = sqrt(of->rest + 2 * (of->line[2] * of->line[2] + of->line[3] * of->line[3]));
    if (sine->residual > much_left * of->ac_rms)
        dwi_spectrum_remark(s, channel, false, "the harmonics below half the sampling rate leave %.2g %% of its ac-rms: it has more "
                            "above, which fold into these, or is no single tone",
                            100 * sine->residual / of->ac_rms);
}

static void remark_samples(struct dw_spectrum *s, bool found, size_t best, size_t count, size_t wanted)
{
    char more[128] = "";
    if (wanted > s->highest)
        snprintf(more, sizeof more, "; of %zu harmonics %zu lie%s below half of that", wanted, s->highest, s->highest == 1 ? "s" : "");
    dwi_spectrum_remark(s, found && s->channels > 1 ? best : s->channels, false,
                        "the rows are samples, %.6g a second: %s by least squares from %zu of them%s", s->samples.rate,
                        found ? s->highest > 1 ? "the fundamental is that of a sine fit, the harmonics are" : "the fundamental is that of a sine fit"
                              : s->highest > 1 ? "the harmonics are" : "the fundamental is",
                        count, more);
    remark_kept(s);
}

/*   best  channel whose own fit the fundamental is; s->channels: it was known */
static enum dw_status fit_lines(struct dw_spectrum *s, size_t first, size_t end, size_t best, struct dw_error *error)
{
    const size_t wanted = wanted_lines(s);
    const struct dw_samples any = dwi_samples_of(&s->samples, 1, first, end);
    const size_t fitting = dw_sine_fitting(&any, s->frequency);
    if (!fitting)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: at %g samples a second, %zu of them cannot tell a fundamental of %g Hz",
                            s->place, any.rate, any.count, s->frequency);
    s->highest = wanted < fitting ? wanted : fitting;
    s->lines = calloc(s->channels, 2 * (s->highest + 1) * sizeof *s->lines);
    enum dw_status status = s->lines ? DW_OK : dw_no_memory(error);
    remark_samples(s, best < s->channels, best, any.count, wanted);
    for (size_t i = 0; i < s->channels && status == DW_OK; i++) {
        const struct dw_samples x = dwi_samples_of(&s->samples, s->column[i], first, end);
        struct dw_sine sine;
        s->of[i].line = s->lines + i * 2 * (s->highest + 1);
        status = dw_sine_fit(&x, i == best ? 0 : s->frequency, s->highest, s->of[i].line, &sine, error);
        if (status == DW_OK && !sine.harmonics)
            return dw_error_set(error, DW_BAD_INPUT, 0, "%s: %zu samples at %g a second cannot tell %zu harmonics of %g Hz apart",
                                s->place, x.count, x.rate, s->highest, s->frequency);
        if (status == DW_OK)
            keep_channel(s, i, &x, &sine);
    }
    return status;
}

enum dw_status dwi_spectrum_by_samples(struct dw_spectrum *s, struct dw_error *error)
{
    size_t first, end, best = s->channels;
    const struct samples *all = &s->samples;
    dwi_samples_settle(&s->samples);
    if (!all->seen || s->taper->terms > 1) /* without rows the record says so */
        return hand_over(s, error);
    const double last = all->last + 1 / all->rate;
    enum dw_status status = dwi_record_check(s->place, &s->plan, all->first, all->last, last, error);
    if (status == DW_OK)
        status = choose_samples(s, &first, &end, error);
    if (status == DW_OK && !s->harmonic)
        status = find_fundamental(s, first, end, &best, error);
    if (status != DW_OK)
        return status;
    if (!s->harmonic && best == s->channels)
        return hand_over(s, error);
    if (!s->harmonic) {
        s->harmonic = s->exact_frequency = true;
        s->period = 1 / s->frequency;
    }
    status = fit_lines(s, first, end, best, error);
    if (status != DW_OK)
        return status;
    const double from = all->row[first * all->columns], length = (double)(end - first) / all->rate;
    s->facts = (struct record_facts){ from, from + length, length * s->frequency, 0, end - first };
    return DW_OK;
}
