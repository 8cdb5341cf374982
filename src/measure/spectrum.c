/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/spectrum_inner.h"
#include <dutywright/value.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SAMPLES_BYTES = 72 << 20 };

void dw_spectrum_free(struct dw_spectrum *s)
{
    if (!s)
        return;
    free(s->lines);
    free(s->of);
    free(s->note);
    free(s->column);
    free(s->slope);
    dwi_record_free(s->record);
    dwi_samples_free(&s->samples);
    free(s);
}

/* The columns asked, or all but the slopes. */
static enum dw_status choose_columns(struct dw_spectrum *s, const struct dw_header *header,
                                     const struct dw_spectrum_options *options, struct dw_error *error)
{
    const size_t columns = dw_header_columns(header), all = columns - 1 - dw_header_slopes(header, NULL);
    s->channels = options->column ? options->channels : all;
    if (!s->channels)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: there is no channel", s->place);
    s->column = calloc(s->channels, sizeof *s->column);
    s->slope = calloc(columns, sizeof *s->slope);
    s->of = calloc(s->channels, sizeof *s->of);
    s->note = calloc(SPECTRUM_NOTES_ALL + SPECTRUM_NOTES_EACH * s->channels, sizeof *s->note);
    if (!s->column || !s->slope || !s->of || !s->note)
        return dw_no_memory(error);
    dw_header_slopes(header, s->slope);
    for (size_t i = 0, next = 1; i < s->channels; i++, next++) {
        next += dw_header_is_slope(header, next);
        s->column[i] = options->column ? options->column[i] : next;
        if (s->column[i] < 1 || s->column[i] >= columns || dw_header_is_slope(header, s->column[i]))
            return dw_error_set(error, DW_BAD_USE, 0, "column %zu is not one of the %zu channels", s->column[i], all);
        s->curved = s->curved || s->slope[s->column[i]];
        s->of[i].told = *dw_header_channel_facts(header, s->column[i]);
    }
    return DW_OK;
}

/* How many lines, as far as that is known before the rows are. */
static enum dw_status choose_lines(struct dw_spectrum *s, const struct dw_spectrum_options *options, struct dw_error *error)
{
    if (!(options->highest >= 0 && isfinite(options->highest)))
        return dw_error_member(error, "highest", "a highest frequency of %g Hz is not above zero", options->highest);
    s->harmonics = options->harmonics;
    s->top = options->highest;
    if (s->harmonic && !s->harmonics) {
        const double lines = s->top > 0 ? floor(s->top * s->period * (1 + 4 * DBL_EPSILON)) : DW_HARMONICS_USUAL;
        const int digits = dw_digits_apart(s->top, s->frequency, 6);
        if (lines < 1)
            return dw_error_member(error, "highest", "a highest frequency of %.*g Hz is below the fundamental, %.*g Hz", digits, s->top, digits,
                                   s->frequency);
        if (lines > DW_LINES_MOST)
            return dwi_spectrum_too_many(lines, error);
        s->harmonics = (size_t)lines;
    }
    return s->harmonics > DW_LINES_MOST ? dwi_spectrum_too_many((double)s->harmonics, error) : DW_OK;
}

/* The pattern repeats after `pattern` (0: not known); the fundamental asked is `period` long. How many of its periods
 * make up whole patterns, 0 where no number does. */
static double periods_of_pattern(double pattern, double period)
{
    const double ratio = pattern / period, inverse = period / pattern;
    if (ratio >= 0.5 && fabs(ratio - rint(ratio)) <= 1e-9 * ratio)
        return rint(ratio);
    return inverse >= 0.5 && fabs(inverse - rint(inverse)) <= 1e-9 * inverse ? 1 : 0;
}

static enum dw_status choose_span(struct dw_spectrum *s, const struct dw_spectrum_options *options, double pattern,
                                  struct record_plan *plan, struct dw_error *error)
{
    struct dw_span span = options->span;
    s->span_default = span.kind == DW_SPAN_DEFAULT;
    const double of_pattern = pattern > 0 ? periods_of_pattern(pattern, s->period) : 0;
    s->steady_wanted = !(of_pattern > 1);
    if (pattern > 0 && !(of_pattern > 0))
        dwi_spectrum_remark(s, s->channels, true,
               "the table repeats every %g s, which is not a whole number of periods of %g Hz: other lines mix into these",
               pattern, s->frequency);
    if (span.kind == DW_SPAN_DEFAULT && pattern > 0 && options->taper == DW_TAPER_NONE) {
        span = (struct dw_span){ .kind = DW_SPAN_LAST, .periods = 1 };
        plan->group = fmax(of_pattern, floor(pattern / s->period));
    }
    if (span.kind == DW_SPAN_LAST) {
        if (!s->harmonic)
            return dw_error_set(error, DW_BAD_INPUT, 0,
                                "%s: the last period is wanted, but the table does not say its period; give the fundamental",
                                s->place);
        if (!span.periods)
            return dw_error_set(error, DW_BAD_USE, 0, "a span of no periods");
        plan->last = span.periods;
        s->last_only = true;
    } else if (span.kind == DW_SPAN_BETWEEN) {
        plan->from = span.from;
        plan->to = span.to;
        if (isfinite(span.from)) {
            plan->origin = span.from;
            plan->from_first_row = false;
        }
    }
    return DW_OK;
}

static enum dw_status set_up(struct dw_spectrum *s, const struct dw_header *header,
                             const struct dw_spectrum_options *options, struct dw_error *error)
{
    const struct dw_facts *facts = dw_header_facts(header);
    const double pattern = facts->period;
    struct record_plan plan = { .from = -INFINITY, .to = INFINITY, .place = s->place, .origin = facts->origin };
    snprintf(s->place, sizeof s->place, "%s", options->place ? options->place : "the table");
    s->taper = dwi_taper_of(options->taper);
    enum dw_status status = dw_header_needs_time(header, s->place, error);
    if (status != DW_OK)
        return status;
    const double fundamental = options->fundamental;
    if (fundamental != 0 && !(fundamental > 0 && isfinite(fundamental) && isfinite(1 / fundamental)))
        return dw_error_member(error, "fundamental", "a fundamental of %g Hz is not above zero", fundamental);
    status = choose_columns(s, header, options, error);
    if (status != DW_OK)
        return status;
    s->sampled = facts->sampled;
    /* of jittered or joined trains the carrier is known alone */
    s->period = options->fundamental > 0 ? 1 / options->fundamental : pattern > 0 ? pattern : facts->carrier_period;
    s->harmonic = s->period > 0;
    s->exact_frequency = options->fundamental > 0;
    s->frequency = options->fundamental > 0 ? options->fundamental : s->harmonic ? 1 / s->period : 0;
    plan.from_first_row = !(facts->has & (DW_FACT_PERIOD | DW_FACT_CARRIER_PERIOD | DW_FACT_ORIGIN));
    status = choose_lines(s, options, error);
    if (status == DW_OK)
        status = choose_span(s, options, pattern, &plan, error);
    if (status != DW_OK)
        return status;
    plan.columns = dw_header_columns(header);
    plan.column = s->column;
    plan.slope = s->curved ? s->slope : NULL;
    plan.channels = s->channels;
    plan.period = s->period;
    plan.whole = !s->harmonic || options->taper != DW_TAPER_NONE;
    plan.lines = s->harmonics;
    s->plan = plan;
    s->by_samples = s->sampled > 0;
    if (s->by_samples)
        s->samples = dwi_samples_new(plan.columns, s->sampled, SAMPLES_BYTES, plan.last > 0);
    s->record = dwi_record_new(&plan, error);
    return s->record ? DW_OK : DW_NO_MEMORY;
}

struct dw_spectrum *dw_spectrum_new(const struct dw_header *header, const struct dw_spectrum_options *options,
                                    struct dw_error *error)
{
    static const struct dw_spectrum_options defaults;
    struct dw_spectrum *s = calloc(1, sizeof *s);
    if (!s) {
        dw_no_memory(error);
        return NULL;
    }
    if (set_up(s, header, options ? options : &defaults, error) == DW_OK)
        return s;
    dw_spectrum_free(s);
    return NULL;
}

enum dw_status dw_spectrum_rows(struct dw_spectrum *s, const double *values, size_t rows, struct dw_error *error)
{
    return s->by_samples ? dwi_spectrum_take(s, values, rows, error) : dwi_record_rows(s->record, values, rows, error);
}
