/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a table's header says that bears on its measures. */
#include "measure/meter_inner.h"
#include <dutywright/value.h>
#include <math.h>
#include <string.h>

/* Next word of a text; NULL at its end. */
static const char *word(const char **text, size_t *length)
{
    const char *first = *text + strspn(*text, " \t");
    *length = strcspn(first, " \t");
    *text = first + *length;
    return *length ? first : NULL;
}

static bool number(const char *first, size_t length, double *value)
{
    return first && dw_number_read(first, first + length, value) == first + length && isfinite(*value);
}

static enum dw_status read_levels(const struct dw_meter *m, const struct dw_header *header, bool *have, double *low,
                                  double *high, struct dw_error *error)
{
    const char *text = dw_header_get(header, "levels"), *rest = text;
    *have = text != NULL;
    if (!text)
        return DW_OK;
    size_t one, other, more;
    const char *first = word(&rest, &one), *second = word(&rest, &other);
    if (!number(first, one, low) || !number(second, other, high) || word(&rest, &more) || !(*low < *high))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: 'levels: %s' is not two numbers, the low one first", m->place,
                            text);
    return DW_OK;
}

static enum dw_status read_facts(struct dw_meter *m, const struct dw_header *header,
                                 const struct dw_meter_options *options, struct dw_error *error)
{
    bool key_levels = false;
    double low = 0, high = 0;
    enum dw_status status = read_levels(m, header, &key_levels, &low, &high, error);
    for (size_t i = 0; i < m->channels && status == DW_OK; i++) {
        struct channel_facts *facts = &m->facts[i];
        const struct dw_column column = dw_header_column(header, m->column[i]);
        bool told;
        if (options->has_levels)
            facts->levels = (struct known_levels){ .always = true, .low = options->low, .high = options->high };
        else
            facts->levels = (struct known_levels){ .if_inside = key_levels && !strcmp(column.unit, "V"),
                                                   .low = low,
                                                   .high = high };
        status = dw_header_initial(header, column.name, &facts->initial, &facts->has_initial, error);
        if (status == DW_OK)
            status = dw_header_of_channel(header, "accuracy", column.name, &facts->accuracy, &told, error);
        if (options->has_from) {
            facts->has_initial = true;
            facts->initial = options->from;
        }
    }
    return status;
}

static enum dw_status choose_span(struct dw_meter *m, const struct dw_meter_options *options, struct dw_error *error)
{
    const bool period = m->cell[CELL_PERIOD].clock.period > 0, carrier = m->cell[CELL_CARRIER].clock.period > 0;
    m->span = options->span;
    m->asked = options->span.kind;
    if (m->span.kind == DW_SPAN_DEFAULT)
        m->span = (struct dw_span){ .kind = period ? DW_SPAN_LAST : DW_SPAN_ALL, .periods = period };
    m->mean_cell = carrier ? CELL_CARRIER : period ? CELL_PERIOD : -1;
    m->span_cell = -1;
    if (m->span.kind == DW_SPAN_LAST) {
        m->span_cell = period ? CELL_PERIOD : m->mean_cell;
        if (m->span_cell < 0)
            return dw_error_set(error, DW_BAD_INPUT, 0,
                                "%s: the last period is wanted, but the table does not say its period", m->place);
        if (!m->span.periods)
            return dw_error_set(error, DW_BAD_USE, 0, "a span of no periods");
    } else if (m->span.kind == DW_SPAN_BETWEEN) {
        m->span_cell = CELL_BETWEEN;
        m->cell[CELL_BETWEEN].clock = (struct dw_clock){ .from = m->span.from, .to = m->span.to };
    }
    return DW_OK;
}

static enum dw_status read_all(struct dw_meter *m, const struct dw_header *header, const struct dw_meter_options *options,
                               struct dw_error *error)
{
    double period, carrier, origin = 0;
    bool present;
    for (int i = 0; i < CELLS; i++)
        m->cell[i].clock = (struct dw_clock){ .from = INFINITY, .to = INFINITY };
    enum dw_status status = dw_header_needs_time(header, m->place, error);
    if (status == DW_OK)
        status = dw_header_positive(header, m->place, "period", &period, error);
    if (status == DW_OK)
        status = dw_header_positive(header, m->place, "carrier-period", &carrier, error);
    if (status == DW_OK)
        status = dw_header_positive(header, m->place, "sampled", &m->sampled, error);
    if (status == DW_OK)
        status = dw_header_number(header, "origin", &origin, &present, error);
    if (status == DW_OK)
        status = read_facts(m, header, options, error);
    if (status != DW_OK)
        return status;
    if (options->period != 0) {
        if (!(options->period > 0 && isfinite(options->period)))
            return dw_error_set(error, DW_BAD_USE, 0, "a period of %g s is not above zero", options->period);
        period = options->period;
        carrier = 0;
        m->from_first_row = true;
    }
    if (period > 0)
        m->cell[CELL_PERIOD].clock = (struct dw_clock){ .origin = origin, .period = period, .from = -INFINITY, .to = INFINITY };
    if (carrier > 0 && carrier != period)
        m->cell[CELL_CARRIER].clock = (struct dw_clock){ .origin = origin, .period = carrier, .from = -INFINITY, .to = INFINITY };
    return choose_span(m, options, error);
}

enum dw_status meter_read_header(struct dw_meter *m, const struct dw_header *header,
                                 const struct dw_meter_options *options, struct dw_error *error)
{
    static const char nowhere[] = "header: "; /* how the header's own refusals begin: they do not know the file */
    const enum dw_status status = read_all(m, header, options, error);
    if (status == DW_BAD_INPUT && error && !strncmp(error->text, nowhere, sizeof nowhere - 1)) {
        const struct dw_error found = *error;
        dw_error_set(error, status, found.line, "%s: %s", m->place, found.text);
    }
    return status;
}
