/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reads a table once, keeping what its figure shows and the means of what it shows. */
#include "tables.h"
#include <dutywright/value.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 4096 };

/* Distances of rows that differ by less than this share are equal: text tables round. */
#define EVEN 1e-6

/* A gain of zero, below all that doubles can be. */
#define LEAST_DECIBELS (-7000.0)

struct gathering {
    struct table_source *source;
    double *y, *slope;       /* [channels] */
    double first, second, previous;
    unsigned long long seen;
    bool may_log, must_log;
};

/* A span in the unit of the first column. */
static enum dw_status read_span(const struct table_source *source, const char *text, struct dw_span *span, struct dw_error *error)
{
    struct dw_error why;
    char ends[128];
    *span = (struct dw_span){ .kind = DW_SPAN_ALL };
    if (!text)
        return DW_OK;
    if (source->kind == OF_TIME) {
        if (dw_span_parse(text, span, &why) == DW_OK)
            return DW_OK;
        return dw_error_set(error, DW_BAD_USE, 0, "--span: %s", why.text);
    }
    const enum dw_quantity kind = source->kind == OF_FREQUENCY ? DW_FREQUENCY : DW_NUMBER;
    const char *colon = strchr(text, ':');
    span->kind = DW_SPAN_BETWEEN;
    span->from = -INFINITY;
    span->to = INFINITY;
    if (!colon || !text[1] || strlen(text) >= sizeof ends)
        return dw_error_set(error, DW_BAD_USE, 0, "--span: '%.60s': A:B was wanted, from where to where on the axis of %s", text,
                            source->x_name);
    strcpy(ends, text);
    char *second = ends + (colon - text);
    *second++ = 0;
    if ((*ends && dw_quantity_parse(ends, kind, &span->from, &why) != DW_OK)
        || (*second && dw_quantity_parse(second, kind, &span->to, &why) != DW_OK))
        return dw_error_set(error, DW_BAD_USE, 0, "--span: '%s': %s", text, why.text);
    if (!(span->from < span->to))
        return dw_error_set(error, DW_BAD_USE, 0, "--span: '%s': the end must lie behind the start", text);
    return DW_OK;
}

static enum dw_status new_window(struct table_source *source, const struct request *request, const struct dw_span *span,
                                 struct dw_error *error)
{
    const struct dw_header *header = dw_reader_header(source->reader);
    const bool logarithmic = request->x_scale == SCALE_LOG;
    const struct dw_facts *facts = dw_header_facts(header);
    source->level[0] = facts->low;
    source->level[1] = facts->high;
    bool *curve = calloc(source->channels, sizeof *curve);
    if (!curve)
        return dw_no_memory(error);
    for (size_t c = 0; c < source->channels; c++)
        curve[c] = source->slope[c] != 0;
    struct window_rule rule = { source->channels, request->strips, *span, facts->origin, facts->period,
                                source->kind == OF_TIME, curve, logarithmic };
    if (logarithmic && rule.joined && span->kind == DW_SPAN_ALL) /* a mean from zero on, wherever the first row above it lies */
        rule.span = (struct dw_span){ .kind = DW_SPAN_BETWEEN, .from = 0, .to = INFINITY };
    else if (logarithmic && rule.joined && span->kind == DW_SPAN_BETWEEN && span->to > 0)
        rule.span.from = fmax(span->from, 0);
    struct dw_error why;
    source->window = window_new(&rule, &why);
    free(curve);
    if (source->window)
        return DW_OK;
    return dw_error_set(error, why.status, 0, "--span: '%s': %s", request->span ? request->span : "", why.text);
}

/* Follows the distances of rows, from which the kind of axis is chosen. */
static void follow(struct gathering *gathering, double x)
{
    struct table_source *source = gathering->source;
    if (gathering->seen == 0) {
        gathering->first = x;
        gathering->may_log = source->kind == OF_FREQUENCY && x > 0;
    } else if (gathering->seen == 1) {
        gathering->second = x;
    } else {
        const double step = gathering->second - gathering->first;
        source->even = source->even && fabs(x - gathering->previous - step) <= EVEN * step;
    }
    gathering->previous = x;
    gathering->seen++;
    if (gathering->must_log || (gathering->may_log && !source->even))
        reduction_set_logarithmic(window_reduction(source->window), true);
}

static double value_drawn(double value, double factor)
{
    return factor != TO_DECIBELS ? value * factor : fmax(20 * log10(fabs(value)), LEAST_DECIBELS);
}

static enum dw_status take_row(struct gathering *gathering, const double *row, struct dw_error *error)
{
    struct table_source *source = gathering->source;
    const double x = row[0] * source->x_factor;
    if (gathering->must_log && x <= 0) {
        source->dropped++;
        if (source->kind != OF_TIME)
            return DW_OK;
    } else {
        follow(gathering, x);
    }
    for (size_t c = 0; c < source->channels; c++) {
        const double value = row[source->column[c]], factor = source->factor[c];
        gathering->y[c] = value_drawn(value, factor);
        if (source->slope[c])
            gathering->slope[c] = row[source->slope[c]] / source->x_factor * (factor != TO_DECIBELS ? factor : 20 / M_LN10 / value);
    }
    source->rows++;
    return window_add(source->window, x, gathering->y, gathering->slope, error);
}

static enum dw_status read_rows(struct gathering *gathering, struct dw_error *error)
{
    struct table_source *source = gathering->source;
    const size_t columns = dw_header_columns(dw_reader_header(source->reader));
    const double *values;
    size_t rows;
    enum dw_status status;
    while ((status = dw_reader_rows(source->reader, BLOCK, &values, &rows, error)) == DW_OK) {
        for (size_t i = 0; i < rows; i++)
            if ((status = take_row(gathering, values + i * columns, error)) != DW_OK)
                return status;
    }
    return status == DW_END ? DW_OK : status;
}

/* Says where the trouble is: the window knows no file names. */
static enum dw_status finish_window(struct table_source *source, const struct request *request, struct dw_error *error)
{
    struct dw_error why;
    if (window_finish(source->window, &source->from, &source->to, &why) == DW_OK)
        return DW_OK;
    if (why.status != DW_BAD_INPUT)
        return dw_error_set(error, why.status, 0, "%s", why.text);
    if (request->span && source->rows)
        return dw_error_set(error, why.status, 0, "--span: '%s': %s: %s", request->span, dw_reader_name(source->reader), why.text);
    return dw_error_set(error, why.status, 0, "%s: %s", dw_reader_name(source->reader), why.text);
}

/* Means exist where time passes. */
static void take_means(struct table_source *source, bool whole)
{
    const struct dw_header *header = dw_reader_header(source->reader);
    source->has_means = true;
    for (size_t c = 0; c < source->channels; c++) {
        source->has_means = window_mean(source->window, c, &source->mean[c]) && source->has_means;
        source->starts_up = source->starts_up || (whole && !isnan(dw_header_channel_facts(header, source->column[c])->initial));
    }
}

enum dw_status source_read(struct table_source *source, const struct request *request, struct dw_error *error)
{
    struct gathering gathering = { .source = source, .must_log = request->x_scale == SCALE_LOG };
    struct dw_span span;
    source->even = true;
    gathering.y = calloc(2 * source->channels, sizeof *gathering.y);
    gathering.slope = gathering.y + source->channels;
    enum dw_status status = gathering.y ? read_span(source, request->span, &span, error)
                                        : dw_no_memory(error);
    if (status == DW_OK)
        status = new_window(source, request, &span, error);
    if (status == DW_OK)
        status = read_rows(&gathering, error);
    if (status == DW_OK)
        status = finish_window(source, request, error);
    if (status == DW_OK && request->mean && source->kind == OF_TIME)
        take_means(source, !request->span);
    free(gathering.y);
    return status;
}
