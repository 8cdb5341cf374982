/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a table's header says that bears on its measures. */
#include "measure/metering_inner.h"
#include <math.h>
#include <string.h>

static void read_facts(struct dw_meter *m, const struct dw_header *header, const struct dw_meter_options *options)
{
    const struct dw_facts *table = dw_header_facts(header);
    for (size_t i = 0; i < m->channels; i++) {
        struct channel_facts *facts = &m->facts[i];
        const struct dw_channel_facts *channel = dw_header_channel_facts(header, m->column[i]);
        const bool in_volts = !strcmp(dw_header_column(header, m->column[i]).unit, "V");
        if (options->has_levels)
            facts->levels = (struct known_levels){ .always = true, .low = options->low, .high = options->high };
        else
            facts->levels = (struct known_levels){ .if_inside = in_volts && (table->has & DW_FACT_LEVELS),
                                                   .low = table->low,
                                                   .high = table->high };
        facts->told = *channel;
        facts->has_initial = options->has_from || !isnan(channel->initial);
        facts->initial = options->has_from ? options->from : channel->initial;
    }
}

static enum dw_status choose_span(struct dw_meter *m, const struct dw_meter_options *options, struct dw_error *error)
{
    const bool period = m->window[WINDOW_PERIOD].clock.period > 0, carrier = m->window[WINDOW_CARRIER].clock.period > 0;
    m->span = options->span;
    m->asked = options->span.kind;
    if (m->span.kind == DW_SPAN_DEFAULT)
        m->span = (struct dw_span){ .kind = period ? DW_SPAN_LAST : DW_SPAN_ALL, .periods = period };
    m->mean_window = carrier ? WINDOW_CARRIER : period ? WINDOW_PERIOD : -1;
    m->span_window = -1;
    if (m->span.kind == DW_SPAN_LAST) {
        m->span_window = period ? WINDOW_PERIOD : m->mean_window;
        if (m->span_window < 0)
            return dw_error_set(error, DW_BAD_INPUT, 0,
                                "%s: the last period is wanted, but the table does not say its period", m->place);
        if (!m->span.periods)
            return dw_error_set(error, DW_BAD_USE, 0, "a span of no periods");
    } else if (m->span.kind == DW_SPAN_BETWEEN) {
        m->span_window = WINDOW_BETWEEN;
        m->window[WINDOW_BETWEEN].clock = (struct dw_clock){ .from = m->span.from, .to = m->span.to };
    }
    return DW_OK;
}

enum dw_status dwi_meter_read_header(struct dw_meter *m, const struct dw_header *header,
                                     const struct dw_meter_options *options, struct dw_error *error)
{
    const struct dw_facts *table = dw_header_facts(header);
    double period = table->period, carrier = table->carrier_period;
    for (int i = 0; i < WINDOWS; i++)
        m->window[i].clock = (struct dw_clock){ .from = INFINITY, .to = INFINITY };
    const enum dw_status status = dw_header_needs_time(header, m->place, error);
    if (status != DW_OK)
        return status;
    m->sampled = table->sampled;
    m->has_step = options->has_step;
    m->step_at = options->has_step ? options->step_at : -INFINITY;
    m->from_given = options->has_from;
    read_facts(m, header, options);
    if (options->period != 0) {
        if (!(options->period > 0 && isfinite(options->period)))
            return dw_error_set(error, DW_BAD_USE, 0, "a period of %g s is not above zero", options->period);
        period = options->period;
        carrier = 0;
        m->from_first_row = true;
    }
    if (period > 0)
        m->window[WINDOW_PERIOD].clock =
            (struct dw_clock){ .origin = table->origin, .period = period, .from = -INFINITY, .to = INFINITY };
    if (carrier > 0 && carrier != period)
        m->window[WINDOW_CARRIER].clock =
            (struct dw_clock){ .origin = table->origin, .period = carrier, .from = -INFINITY, .to = INFINITY };
    return choose_span(m, options, error);
}
