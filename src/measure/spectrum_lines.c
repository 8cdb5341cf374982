/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From a record to the lines of its spectrum, and what is to be said about them. */
#include "measure/spectrum_inner.h"
#include <float.h>
#include <math.h>
#include <stdlib.h>

/* Shares below which a line is rounding: of the largest line, and of the mean (a few ulp of the values read). Below
 * `nothing` of the largest it is what one rounding leaves of another, such as sin(pi): 0 to anybody. */
static const double least_line = 1e-12, least_of_mean = 1e-15, nothing = 1e-20;
/* Share of the mean square below which Parseval's difference has fewer than the four digits that people read. */
static const double little = 1e-8;

/* Squares as they are wherever they neither overflow nor vanish: hypot takes ten times as long. */
static double amplitude_of(const struct channel_lines *of, size_t n)
{
    const double re = of->line[2 * n], im = of->line[2 * n + 1], square = re * re + im * im;
    return (n ? 2 : 1) * (square > 1e-280 && square < 1e300 ? sqrt(square) : hypot(re, im));
}

static bool is_rounding(const struct channel_lines *of, double amplitude)
{
    return !(amplitude > 0 && amplitude >= of->least);
}

/* ---- the end of the record ---- */

/* Lines of a span whose length has only now become known. */
static enum dw_status settle_lines(struct dw_spectrum *s, struct dw_error *error)
{
    double lines = (double)s->harmonics;
    if (!s->harmonic) {
        s->period = s->facts.to - s->facts.from;
        s->frequency = 1 / s->period;
        if (!s->harmonics)
            lines = s->top > 0 ? floor(s->top * s->period * (1 + 4 * DBL_EPSILON)) : floor((double)s->facts.pieces / 2);
    }
    if (lines > DW_LINES_MOST)
        return dwi_spectrum_too_many(lines, error);
    const double below_half = s->weighs_samples ? floor(s->samples.rate / 2 / s->frequency * (1 + 4 * DBL_EPSILON)) : lines;
    if (below_half < lines)
        dwi_spectrum_remark(s, s->channels, false, "the rows are samples, %.6g a second: of %.0f lines %.0f lie below half of that",
                            s->samples.rate, lines, below_half);
    s->highest = (size_t)fmax(1, fmin(lines, below_half));
    return DW_OK;
}

/* From all bins of the span, [channels x width], the lines of the tapered wave; line 0 is what the taper adds to the mean. */
static enum dw_status apply_taper(struct dw_spectrum *s, const double *all, size_t width, size_t stride,
                                  struct dw_error *error)
{
    s->lines = calloc(s->channels, 2 * (s->highest + 1) * sizeof *s->lines);
    if (!s->lines)
        return dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for %zu lines", s->highest);
    for (size_t i = 0; i < s->channels; i++) {
        double mean, *line = s->lines + i * 2 * (s->highest + 1);
        dwi_taper_apply(s->taper, all + i * width, stride, s->highest, line, &mean);
        line[0] = mean;
    }
    return DW_OK;
}

static enum dw_status take_lines(struct dw_spectrum *s, struct dw_error *error)
{
    const bool tapered = s->taper->terms > 1;
    const double stride = tapered && s->harmonic ? s->facts.periods : 1;
    if (tapered && s->harmonic && stride < (double)s->taper->terms)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: a %s taper needs %zu whole periods, and the span holds %.15g",
                            s->place, s->taper->name, s->taper->terms, stride);
    const double most = (double)s->highest * stride + (double)s->taper->terms - 1;
    if (most > DW_LINES_MOST)
        return dwi_spectrum_too_many(most, error);
    const size_t bins = (size_t)most, width = 2 * (bins + 1);
    double *all = calloc(s->channels, width * sizeof *all);
    enum dw_status status = all ? dwi_record_coefficients(s->record, bins, all, error)
                                : dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for %zu lines", bins);
    if (status == DW_OK && s->weighs_samples)
        dwi_spectrum_weigh_samples(s, bins, all);
    if (status == DW_OK && !tapered) {
        s->lines = all;
        all = NULL;
    } else if (status == DW_OK) {
        status = apply_taper(s, all, width, (size_t)stride, error);
    }
    free(all);
    for (size_t i = 0; i < s->channels && status == DW_OK; i++) {
        s->of[i].line = s->lines + i * 2 * (s->highest + 1);
        s->of[i].line[0] = s->of[i].mean + (tapered ? s->of[i].line[0] : 0);
        s->of[i].line[1] = 0;
    }
    return status;
}

static void read_channel(struct dw_spectrum *s, size_t channel)
{
    struct channel_lines *of = &s->of[channel];
    const struct channel_moments *moments = &dwi_record_moments(s->record)[channel];
    of->mean = dwi_moments_mean(moments);
    of->ac_rms = dwi_moments_ac_rms(moments, s->facts.to - s->facts.from);
    if (s->weighs_samples)
        dwi_spectrum_sample_moments(s, channel, &of->mean, &of->ac_rms);
    of->low = moments->minimum;
    of->high = moments->maximum;
    of->range = dwi_record_range(s->record, channel);
    of->drift = dwi_record_drift(s->record, channel);
}

static void look_at_channel(struct dw_spectrum *s, size_t channel)
{
    struct channel_lines *of = &s->of[channel];
    const double ripple = of->high - of->low, drift = fabs(of->drift);
    double largest = 0;
    of->magnitude = fmax(fabs(of->low), fabs(of->high));
    of->tolerance = tolerance_of(&of->told, of->range);
    for (size_t n = 1; n <= s->highest; n++)
        if (amplitude_of(of, n) > largest) {
            largest = amplitude_of(of, n);
            of->reference = n;
        }
    for (size_t n = 1; n <= s->highest; n++)
        if (amplitude_of(of, n) < nothing * largest)
            of->line[2 * n] = of->line[2 * n + 1] = 0;
    of->least = fmax(least_line * largest, least_of_mean * amplitude_of(of, 0));
    const bool fundamental = s->harmonic && !is_rounding(of, amplitude_of(of, 1));
    of->reference = fundamental ? 1 : is_rounding(of, largest) ? 0 : of->reference;
    of->reference_amplitude = amplitude_of(of, of->reference);
    if (s->harmonic && s->steady_wanted && drift > 0.01 * ripple)
        dwi_spectrum_remark(s, channel, false,
                            "the mean still moves by %.2g %% of the ripple a period: this is not yet the steady state, and the "
                            "lines include that move",
                            100 * drift / ripple);
    if (s->harmonic && !fundamental)
        dwi_spectrum_remark(s, channel, false, "there is no fundamental above rounding: %s",
                            of->reference ? "levels refer to the largest line, and THD is left out" : "THD is left out");
}

static void look_at_record(struct dw_spectrum *s)
{
    const struct record_facts *facts = &s->facts;
    if (!s->harmonic && s->taper->terms == 1)
        dwi_spectrum_remark(s, s->channels, false,
                            "no period is known: the span is taken as one, and lines are %.6g Hz apart; give the fundamental, or "
                            "a taper for a span that holds no whole number of periods",
                            s->frequency);
    if (s->harmonic && !s->last_only && facts->rest > 1e-9 * s->period)
        dwi_spectrum_remark(s, s->channels, false, "%.6g s of the span lie outside its %.15g whole period%s and are left out",
                            facts->rest, facts->periods, facts->periods > 1 ? "s" : "");
    if (s->sampled > 0 && !s->by_samples && !s->weighs_samples && (double)s->highest * s->frequency > s->sampled / 2)
        dwi_spectrum_remark(s, s->channels, false,
                            "the rows are samples, %.6g a second: lines above %.6g Hz are those of the straight lines between them",
                            s->sampled, s->sampled / 2);
}

static enum dw_status finish_record(struct dw_spectrum *s, struct dw_error *error)
{
    enum dw_status status = dwi_record_finish(s->record, error);
    if (status == DW_OK) {
        s->facts = dwi_record_facts(s->record);
        status = settle_lines(s, error);
    }
    for (size_t i = 0; i < s->channels && status == DW_OK; i++)
        read_channel(s, i);
    return status == DW_OK ? take_lines(s, error) : status;
}

enum dw_status dw_spectrum_finish(struct dw_spectrum *s, struct dw_error *error)
{
    enum dw_status status = s->by_samples ? dwi_spectrum_by_samples(s, error) : DW_OK;
    if (status == DW_OK && !s->by_samples)
        status = finish_record(s, error);
    if (status != DW_OK)
        return status;
    look_at_record(s);
    s->taper_rms = 1;
    for (size_t m = 1; m < s->taper->terms; m++)
        s->taper_rms = sqrt(s->taper_rms * s->taper_rms + s->taper->cosine[m] * s->taper->cosine[m] / 2);
    for (size_t i = 0; i < s->channels; i++)
        look_at_channel(s, i);
    return DW_OK;
}

/* ---- questions ---- */

size_t dw_spectrum_channels(const struct dw_spectrum *s)
{
    return s->channels;
}

size_t dw_spectrum_column(const struct dw_spectrum *s, size_t channel)
{
    return s->column[channel];
}

size_t dw_spectrum_highest(const struct dw_spectrum *s)
{
    return s->highest;
}

double dw_spectrum_spacing(const struct dw_spectrum *s)
{
    return s->frequency;
}

bool dw_spectrum_harmonic(const struct dw_spectrum *s)
{
    return s->harmonic;
}

/* What may be off of an amplitude: equation 5.21. */
static double amplitude_bound(const struct dw_spectrum *s, size_t channel, size_t n)
{
    const double off = s->of[channel].tolerance, weight = s->taper_rms;
    if (!n)
        return off * weight;
    return off * (s->taper->terms > 1 ? 2 * weight * (1 + weight) : 4 / M_PI);
}

static void bound_line(const struct dw_spectrum *s, size_t channel, size_t n, struct dw_line *line)
{
    const struct channel_lines *of = &s->of[channel];
    const double share = amplitude_bound(s, channel, n) / line->amplitude;
    const double of_reference = amplitude_bound(s, channel, of->reference) / of->reference_amplitude;
    line->amplitude_bound = amplitude_bound(s, channel, n);
    if (!(line->amplitude_bound > 0))
        return;
    line->phase_bound = share < 1 ? asin(share) : M_PI;
    if (n != of->reference)
        line->level_bound = share < 1 && of_reference < 1 ? -20 / M_LN10 * (log1p(-share) + log1p(-of_reference)) : INFINITY;
    line->has_phase = line->has_phase && (!n || share < 1);
}

struct dw_line dw_spectrum_line(const struct dw_spectrum *s, size_t channel, size_t n)
{
    const struct channel_lines *of = &s->of[channel];
    struct dw_line line = { .amplitude = amplitude_of(of, n), .level = -INFINITY };
    /* the period is what the header tells, so that n / period is rounded once; a fundamental asked is itself exact */
    line.frequency = s->exact_frequency ? (double)n * s->frequency : (double)n / s->period;
    line.has_phase = n ? !is_rounding(of, line.amplitude) : line.amplitude > 0;
    if (line.has_phase)
        line.phase = n ? atan2(of->line[2 * n + 1], of->line[2 * n]) : of->line[0] < 0 ? M_PI : 0;
    if (line.phase == -M_PI)
        line.phase = M_PI;
    if (of->reference && line.amplitude > 0)
        line.level = 20 * log10(line.amplitude / of->reference_amplitude);
    bound_line(s, channel, n, &line);
    return line;
}

/* All lines from 2 on: by Parseval's theorem, equation 5.13, or where that is a difference of nearly equals, from the rows
 * themselves, equation 5.15. */
static void distort_all(const struct dw_spectrum *s, size_t channel, double others, struct dw_distortion *d)
{
    const struct channel_lines *of = &s->of[channel];
    const double first = amplitude_of(of, 1), square = of->ac_rms * of->ac_rms, finest = 16 * DBL_EPSILON * of->magnitude;
    double left, rest = 2 * square - first * first;
    double slack = 2 * (4e-13 * square + 8 * DBL_EPSILON * of->magnitude * of->ac_rms); /* that of the moments */
    if (rest < little * square && dwi_record_rest(s->record, channel, of->line + 2, &left)) {  /* unrun: pure-sine */
        rest = 2 * left;
        slack = 2 * finest * finest;
    }
    d->has_thd_all = true;
    d->at_most = rest < slack;
    d->thd_all = sqrt(fmax(rest, others) + (d->at_most ? slack : 0)) / first;
}

/* Of samples there are no lines but those that were fitted; what is left besides is noise. */
static void distort_samples(const struct channel_lines *of, struct dw_distortion *d)
{
    const double first = amplitude_of(of, 1);
    d->has_thd_all = true;
    d->thd_all = d->thd_lines;
    d->has_sinad = of->rest > 0;
    d->sinad = d->has_sinad ? 10 * log10(first * first / 2 / of->rest) : 0;
}

struct dw_distortion dw_spectrum_distortion(const struct dw_spectrum *s, size_t channel)
{
    const struct channel_lines *of = &s->of[channel];
    struct dw_distortion d = { .mean = of->line[0], .ac_rms = of->ac_rms, .reference = of->reference };
    d.rms = hypot(of->mean, of->ac_rms);
    d.mean_bound = amplitude_bound(s, channel, 0);
    d.rms_bound = of->tolerance;
    d.has_thd = s->harmonic && d.reference == 1;
    if (!d.has_thd)
        return d;
    double others = 0;
    for (size_t n = s->highest; n >= 2; n--)
        others += amplitude_of(of, n) * amplitude_of(of, n);
    d.thd_lines = sqrt(others) / amplitude_of(of, 1);
    if (s->by_samples)
        distort_samples(of, &d);
    else if (s->taper->terms == 1)
        distort_all(s, channel, others, &d);
    if (!(of->tolerance > 0))
        return d;
    /* all lines together: by Parseval's theorem */
    const double off = M_SQRT2 * of->tolerance * (s->taper->terms > 1 ? s->taper_rms * (1 + s->taper_rms) : 1);
    d.thd_lines_bound = bound_of_ratio(d.thd_lines, off, amplitude_of(of, 1), amplitude_bound(s, channel, 1));
    d.thd_all_bound = bound_of_ratio(d.thd_all, off, amplitude_of(of, 1), amplitude_bound(s, channel, 1));
    return d;
}

void dw_spectrum_span(const struct dw_spectrum *s, double *from, double *to, double *periods)
{
    *from = s->facts.from;
    *to = s->facts.to;
    *periods = s->facts.periods;
}
