/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From what the meter has gathered to results, and to notes that say why something is missing or unsure. */
#include "measure/metering_inner.h"
#include <dutywright/value.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double STEADY_DRIFT = 0.01;      /* share of the ripple by which the mean may move a period */
static const double NO_DRIFT = 1e-9;          /* share of the record's range that is no movement, as for settling */
static const double WORTH_SAYING = 1e-3;      /* a settling time is said to be uncertain from this share of itself on */
static const double TAIL_INSIDE = 1.0 / 3;    /* without periods: share of the record that must lie inside the band */

static enum dw_status add_note(struct dw_meter *m, struct dw_error *error, size_t channel, const char *format, ...)
    DW_PRINTF(4, 5);

static enum dw_status add_note(struct dw_meter *m, struct dw_error *error, size_t channel, const char *format, ...)
{
    char text[256];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    struct meter_note_list *notes = &m->notes;
    if (notes->count == notes->room) {
        const size_t room = notes->room ? 2 * notes->room : 8;
        struct note *more = realloc(notes->note, room * sizeof *more);
        if (!more)
            return dw_no_memory(error);
        notes->note = more;
        notes->room = room;
    }
    char *copy = strdup(text);
    if (!copy)
        return dw_no_memory(error);
    notes->note[notes->count++] = (struct note){ channel, copy };
    return DW_OK;  // cppcheck-suppress memleak; the note owns the copy
}

static void set_within(struct dw_meter *m, size_t channel, enum dw_measure measure, double value, double bound)
{
    m->result[channel * DW_MEASURES + (size_t)measure] = (struct dw_result){ .had = true, .value = value, .bound = bound };
}

static struct value_range range_of(const struct channel_moments *moments)
{
    return (struct value_range){ moments->minimum, moments->maximum };
}

/* How far the wave may be off anywhere in the record, and in the span. */
static double record_tolerance(const struct dw_meter *m, size_t channel)
{
    return tolerance_of(&m->facts[channel].told, range_of(&m->record.of[channel]));
}

static double span_tolerance(const struct dw_meter *m, size_t channel)
{
    const struct value_range *before = m->state[channel].before;
    if (!(before[1].low <= before[1].high)) /* the record holds little more than the span, or the span is no last periods */
        return record_tolerance(m, channel);
    return tolerance_of(&m->facts[channel].told,
                        range_of_both(range_of(&m->span_total.of[channel]), range_of_both(before[0], before[1])));
}

/* Whether what its values range over is a number. */
static bool is_measurable(const struct dw_meter *m, size_t channel)
{
    return isfinite(m->record.of[channel].maximum - m->record.of[channel].minimum);
}

static enum dw_status conclude_statistics(struct dw_meter *m, size_t channel, struct dw_error *error)
{
    const struct channel_moments *moments = &m->span_total.of[channel];
    double mean = dwi_moments_mean(moments), ac = dwi_moments_ac_rms(moments, m->span_total.end - m->span_total.start);
    struct sampled_mean sampled;
    enum dw_status status = dwi_meter_sampled(m, channel, &sampled, error);
    if (status != DW_OK)
        return status;
    if (sampled.from != SAMPLED_LINES) {
        mean = sampled.mean;
        ac = sampled.ac_rms;
    }
    if (sampled.from == SAMPLED_SINE)
        set_within(m, channel, DW_MEASURE_FREQUENCY, sampled.frequency, 0);
    const double off = span_tolerance(m, channel); /* theory, equation 4.17 */
    set_within(m, channel, DW_MEASURE_MINIMUM, moments->minimum, off);
    set_within(m, channel, DW_MEASURE_MAXIMUM, moments->maximum, off);
    if (isfinite(mean))
        set_within(m, channel, DW_MEASURE_MEAN, mean, isfinite(off) ? off : 0);
    if (!is_measurable(m, channel)) {
        status = add_note(m, error, channel, "ripple, and what levels or a change are needed for, left out: its values are further apart "
                          "than numbers go");
        if (status != DW_OK)
            return status;
    } else {
        set_within(m, channel, DW_MEASURE_RIPPLE, moments->maximum - moments->minimum, 2 * off);
    }
    if (!isfinite(ac))
        return add_note(m, error, channel, "rms and ac-rms left out: its values are too large to be squared");
    set_within(m, channel, DW_MEASURE_RMS, hypot(mean, ac), off);
    set_within(m, channel, DW_MEASURE_AC_RMS, ac, off);
    if (sampled.from == SAMPLED_CYCLES)
        return add_note(m, error, channel, "mean and rms are over %.0f whole cycles of %.6g Hz", sampled.cycles, sampled.frequency);
    if (sampled.from == SAMPLED_SINE)
        return add_note(m, error, channel, "mean, rms and frequency are those of a sine fit with %zu harmonic%s", sampled.harmonics,
                        sampled.harmonics == 1 ? "" : "s");
    return DW_OK;
}

/* Of a carrier whose duty changes edges of either polarity may wander: where the span is whole periods of it, all pulses in that time. */
static double frequency_of(const struct dw_meter *m, const struct pulse_findings *f)
{
    const double time = m->span_total.end - m->span_total.start, pulses = fmax(f->positives, f->negatives);
    const double periods = m->mean_window == WINDOW_CARRIER ? time / m->window[WINDOW_CARRIER].clock.period : 0;
    return !f->round && periods > 0.5 && fabs(periods - rint(periods)) < 1e-6 * periods ? pulses / time : f->frequency;
}

/* An instant moves with the wave, and with the level, unless that is given: theory, equation 4.18. */
static void set_pulses(struct dw_meter *m, size_t channel, const struct pulse_findings *f)
{
    const double off = span_tolerance(m, channel) * (f->levels.from == LEVELS_GIVEN ? 1 : 2);
    const double rise = off > 0 ? off * f->slowness[0] : 0, fall = off > 0 ? off * f->slowness[1] : 0;
    if (f->cycles > 0 && !m->result[channel * DW_MEASURES + DW_MEASURE_FREQUENCY].had)
        set_within(m, channel, DW_MEASURE_FREQUENCY, frequency_of(m, f),
                   f->round ? 0 : 2 * fmax(rise, fall) * f->frequency * f->frequency / f->cycles);
    if (f->levels.from == LEVELS_EXTREMES) /* what follows needs levels */
        return;
    if (isfinite(f->duty))
        set_within(m, channel, DW_MEASURE_DUTY, f->duty, f->cycles > 0 ? (rise + fall) * f->frequency : 0);
    if (f->positives > 0)
        set_within(m, channel, DW_MEASURE_POSITIVE_TRANSITION, f->positive, 2 * rise);
    if (f->negatives > 0)
        set_within(m, channel, DW_MEASURE_NEGATIVE_TRANSITION, f->negative, 2 * fall);
}

/* Frequency, duty and transition durations; windows: whole periods that they come from. */
static enum dw_status conclude_pulses(struct dw_meter *m, size_t channel, const struct pulse_findings *f, double windows,
                                      struct dw_error *error)
{
    const struct channel_moments *moments = &m->span_total.of[channel];
    enum dw_status status = DW_OK;
    set_pulses(m, channel, f);
    if (m->span.kind == DW_SPAN_LAST && !(windows > 0))
        return add_note(m, error, channel, "frequency, duty and transition durations left out: no whole period");
    if (!(f->positives + f->negatives > 0)) {
        const char *all = isfinite(f->duty) ? "frequency and" : "frequency, duty and";
        if (!(moments->minimum < moments->maximum))
            return add_note(m, error, channel, "%s transition durations left out: it does not change", all);
        return add_note(m, error, channel,
                        "%s transition durations left out: no transition between its levels %g and %g", all, f->levels.low,
                        f->levels.high);
    }
    if (f->levels.from == LEVELS_EXTREMES)
        return add_note(m, error, channel, "%s transition durations left out: no two levels stand out; give them",
                        f->cycles > 0 ? "duty and" : "frequency, duty and");
    if (f->early_levels)
        status = add_note(m, error, channel, "its levels are those of the first part of the span, which is long");
    if (status == DW_OK && !(f->cycles > 0))  /* unrun: passed-on */
        status = add_note(m, error, channel, "frequency and duty left out: the span holds no whole cycle");
    if (status == DW_OK && !(f->positives > 0))
        status = add_note(m, error, channel,
                          "positive-transition-duration left out: no complete positive-going transition");
    if (status == DW_OK && !(f->negatives > 0))
        status = add_note(m, error, channel,
                          "negative-transition-duration left out: no complete negative-going transition");
    if (status == DW_OK && windows > 0 && windows < m->span_periods)
        status = add_note(m, error, channel, "frequency, duty and transition durations are those of the last %.0f of "
                          "%.0f periods: more were not kept", windows, m->span_periods);
    return status;
}

/* What the change starts from that settles. */
static double initial_of(const struct dw_meter *m, size_t channel)
{
    const struct channel_facts *facts = &m->facts[channel];
    if (m->state[channel].has_before && !m->from_given)
        return m->state[channel].before_step;
    /* a train whose duty changes begins with the first period's mean, not with the level that the pin happens to have */
    const bool carried = m->mean_window == WINDOW_CARRIER && m->state[channel].settling.count > 0;
    return facts->has_initial ? facts->initial : carried ? m->state[channel].settling.first
                                                         : dw_pieces_first(m->pieces)[m->column[channel]];
}

static struct dw_settling find_settling(const struct dw_meter *m, size_t channel)
{
    const struct settling *settling = &m->state[channel].settling;
    const struct dw_settling_rule rule = {
        .start = m->has_step ? m->step_at : dw_pieces_first(m->pieces)[0],
        .initial = initial_of(m, channel),
        .band = m->band,
        .range = m->record.of[channel].maximum - m->record.of[channel].minimum,
    };
    if (m->mean_window >= 0)
        return dwi_settling_find(settling, &rule, fabs(settling->last - settling->before));
    struct dw_settling found = dwi_settling_find(settling, &rule, 0);
    if (found.state == DW_SETTLED && found.time > (1 - TAIL_INSIDE) * (m->record.end - rule.start))
        found.state = DW_NOT_SETTLED;
    return found;
}

static enum dw_status conclude_settling(struct dw_meter *m, size_t channel, struct dw_error *error)
{
    const struct dw_settling found = find_settling(m, channel);
    const char *why = NULL;
    switch (found.state) {
    case DW_SETTLED:
    case DW_SETTLED_WITHIN:
    case DW_SETTLED_FROM_START: break;
    case DW_NO_CHANGE: why = "it ends where it began"; break;
    case DW_NOT_SETTLED: why = "not settled in this record"; break;
    case DW_TOO_FEW: why = m->has_step ? "the record holds fewer than two whole periods behind the step"
                                       : "the record holds fewer than two whole periods"; break;
    }
    if (why)
        return add_note(m, error, channel, "settling-time and overshoot left out: %s", why);
    const double off = record_tolerance(m, channel), change = fabs(found.final - initial_of(m, channel));
    const double bound = off > 0 && found.state != DW_SETTLED_FROM_START ? bound_of_ratio(found.overshoot, 2 * off, change, 2 * off) : 0;
    set_within(m, channel, DW_MEASURE_OVERSHOOT, found.overshoot > bound ? found.overshoot : 0, bound);
    set_within(m, channel, DW_MEASURE_SETTLING_TIME, found.time, found.time_bound);
    struct dw_result *result = &m->result[channel * DW_MEASURES + DW_MEASURE_SETTLING_TIME];
    /* without periods the first value is no mean: inside from the first row on */
    result->at_most = found.state == DW_SETTLED_WITHIN && found.time > 0;
    if (found.state == DW_SETTLED && found.slope > 0)
        result->bound += off / found.slope;
    if (result->bound > WORTH_SAYING * result->value) {
        char within[64];
        dw_quantity_print(within, sizeof within, result->bound, "s", 2);
        const enum dw_status status =
            add_note(m, error, channel, "settling-time is within %s, as far as %s", within,
                     found.time_bound > result->bound / 2 ? "candidates for it are kept" : "the table's accuracy goes");
        if (status != DW_OK)
            return status;
    }
    const struct settling *settling = &m->state[channel].settling;
    const double still = settling->still_until - settling->first_time;
    if (found.state == DW_SETTLED && !m->has_step && still > WORTH_SAYING * found.time)
        return add_note(m, error, channel, "settling-time counts from the first row, but nothing changes before %.9g s: tell where the "
                        "step is", settling->still_until);
    return DW_OK;
}

static enum dw_status conclude_steadiness(struct dw_meter *m, size_t channel, struct dw_error *error)
{
    const struct channel_state *state = &m->state[channel];
    const double moved = fabs(state->mean_last - state->mean_before);
    const double range = m->record.of[channel].maximum - m->record.of[channel].minimum;
    if (m->span_windows < 2 || !(moved > STEADY_DRIFT * state->ripple) || !(moved > NO_DRIFT * range))
        return DW_OK;
    return add_note(m, error, channel, "the mean still moves by %.3g %% of the ripple a period: the ripple is not yet "
                    "the steady one", 100 * moved / state->ripple);
}

static enum dw_status conclude_samples(struct dw_meter *m, struct dw_error *error)
{
    const struct samples *all = &m->samples;
    enum dw_status status = add_note(m, error, m->channels,
                                     "the table is sampled at %g Hz: what is between the samples is not known, so all is approximate",
                                     m->sampled);
    if (status == DW_OK && !all->even && all->odd > 0)
        return add_note(m, error, m->channels, "row %llu, at %.9g s, is %.4g spacings behind the one before, though 'sampled' says that "
                        "they are equal: mean and rms are those of straight lines", all->seen + 1, all->odd_at, all->odd);
    if (status == DW_OK && all->even && all->count < all->seen && m->span.kind != DW_SPAN_LAST)
        return add_note(m, error, m->channels, "of %llu samples only %zu are kept, so that whole cycles are not looked for: mean and rms "
                        "are those of %s", all->seen, all->count, m->span.kind == DW_SPAN_BETWEEN ? "straight lines" : "all samples");
    return status;
}

static enum dw_status conclude_record(struct dw_meter *m, struct dw_error *error)
{
    dwi_samples_settle(&m->samples);
    enum dw_status status = m->sampled > 0 ? conclude_samples(m, error) : DW_OK;
    if (status == DW_OK && m->span.kind == DW_SPAN_LAST && !(m->span_periods > 0))
        status = add_note(m, error, m->channels, "the record holds no whole period of %g s: all of it is measured",
                          m->window[m->span_window].clock.period);
    return status;
}

enum dw_status dwi_meter_conclude(struct dw_meter *m, struct dw_error *error)
{
    struct pulse_findings *pulses = calloc(m->channels, sizeof *pulses);
    if (!pulses)
        return dw_no_memory(error);
    double windows;
    for (size_t i = 0; i < m->channels; i++)
        pulses[i].duty = NAN;
    dwi_pulses_find(m->pulses, pulses, &windows);
    enum dw_status status = conclude_record(m, error);
    for (size_t i = 0; i < m->channels && status == DW_OK; i++) {
        status = conclude_statistics(m, i, error);
        if (!is_measurable(m, i))
            continue;
        if (status == DW_OK)
            status = conclude_pulses(m, i, &pulses[i], windows, error);
        if (status == DW_OK)
            status = conclude_settling(m, i, error);
        if (status == DW_OK)
            status = conclude_steadiness(m, i, error);
    }
    free(pulses);
    return status;
}

size_t dw_meter_channels(const struct dw_meter *m)
{
    return m->channels;
}

size_t dw_meter_column(const struct dw_meter *m, size_t channel)
{
    return m->column[channel];
}

struct dw_result dw_meter_result(const struct dw_meter *m, size_t channel, enum dw_measure measure)
{
    if (!m->finished || channel >= m->channels || measure >= DW_MEASURES)
        return (struct dw_result){ .had = false };
    return m->result[channel * DW_MEASURES + (size_t)measure];
}

void dw_meter_span(const struct dw_meter *m, double *from, double *to, double *periods)
{
    *from = m->span_total.start;
    *to = m->span_total.end;
    *periods = m->span_periods;
}

bool dw_meter_note(const struct dw_meter *m, size_t i, struct dw_meter_note *note)
{
    if (!m->finished || i >= m->notes.count)
        return false;
    *note = (struct dw_meter_note){ m->notes.note[i].channel, m->notes.note[i].text };
    return true;
}

/* Names stand in the order of enum dw_measure; no unit: the channel's. */
static const struct {
    const char *name, *unit;
} measures[DW_MEASURES] = {
    [DW_MEASURE_MEAN] = { "mean", NULL },
    [DW_MEASURE_RMS] = { "rms", NULL },
    [DW_MEASURE_AC_RMS] = { "ac-rms", NULL },
    [DW_MEASURE_MINIMUM] = { "minimum", NULL },
    [DW_MEASURE_MAXIMUM] = { "maximum", NULL },
    [DW_MEASURE_RIPPLE] = { "ripple", NULL },
    [DW_MEASURE_FREQUENCY] = { "frequency", "Hz" },
    [DW_MEASURE_DUTY] = { "duty", "1" },
    [DW_MEASURE_POSITIVE_TRANSITION] = { "positive-transition-duration", "s" },
    [DW_MEASURE_NEGATIVE_TRANSITION] = { "negative-transition-duration", "s" },
    [DW_MEASURE_OVERSHOOT] = { "overshoot", "1" },
    [DW_MEASURE_SETTLING_TIME] = { "settling-time", "s" },
};

const char *dw_measure_name(enum dw_measure measure)
{
    return measures[measure].name;
}

const char *dw_measure_unit(enum dw_measure measure, const char *channel_unit)
{
    return measures[measure].unit ? measures[measure].unit : channel_unit;
}
