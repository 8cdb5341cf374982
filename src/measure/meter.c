/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/meter_inner.h"
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum {
    PULSE_BYTES = 4 << 20, /* vertices kept for levels and transitions */
    EXIT_BYTES = 2 << 20,  /* candidates for the last exit from the band */
    MOST_EXITS = 1 << 14,  /* of one channel and side */
    LEAST_EXITS = 64
};

void dw_meter_free(struct dw_meter *m)
{
    if (!m)
        return;
    for (size_t i = 0; m->state && i < m->channels; i++)
        settling_free(&m->state[i].settling);
    for (int i = 0; i < CELLS; i++)
        free(m->cell[i].now.of);
    for (size_t i = 0; i < m->notes.count; i++)
        free(m->notes.note[i].text);
    free(m->notes.note);
    pulses_free(m->pulses);
    free(m->ring.stretch);
    free(m->ring.moments);
    free(m->piece.of);
    free(m->record.of);
    free(m->span_total.of);
    free(m->column);
    free(m->facts);
    free(m->state);
    free(m->first);
    free(m->previous);
    free(m->cut[0]);
    free(m->cut[1]);
    free(m->between_low);
    free(m->between_high);
    free(m->result);
    free(m);
}

static bool new_stretch(struct stretch *stretch, size_t channels)
{
    stretch->empty = true;
    stretch->of = calloc(channels, sizeof *stretch->of);
    return stretch->of != NULL;
}

static bool make_room(struct dw_meter *m)
{
    bool have = new_stretch(&m->piece, m->channels) && new_stretch(&m->record, m->channels) &&
                new_stretch(&m->span_total, m->channels);
    for (int i = 0; i < CELLS; i++)
        have = have && new_stretch(&m->cell[i].now, m->channels);
    m->facts = calloc(m->channels, sizeof *m->facts);
    m->state = calloc(m->channels, sizeof *m->state);
    m->first = calloc(m->columns, sizeof *m->first);
    m->previous = calloc(m->columns, sizeof *m->previous);
    m->cut[0] = calloc(m->columns, sizeof *m->cut[0]);
    m->cut[1] = calloc(m->columns, sizeof *m->cut[1]);
    m->between_low = calloc(m->channels, sizeof *m->between_low);
    m->between_high = calloc(m->channels, sizeof *m->between_high);
    m->result = calloc(m->channels * DW_MEASURES, sizeof *m->result);
    return have && m->facts && m->state && m->first && m->previous && m->cut[0] && m->cut[1] && m->between_low && m->between_high &&
           m->result;
}

static enum dw_status choose_columns(struct dw_meter *m, const struct dw_meter_options *options, struct dw_error *error)
{
    m->channels = options->column ? options->channels : m->columns - 1;
    if (!m->channels)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: there is no channel to measure", m->place);
    m->column = calloc(m->channels, sizeof *m->column);
    if (!m->column)
        return dw_no_memory(error);
    for (size_t i = 0; i < m->channels; i++) {
        m->column[i] = options->column ? options->column[i] : i + 1;
        if (m->column[i] < 1 || m->column[i] >= m->columns)
            return dw_error_set(error, DW_BAD_USE, 0, "column %zu is not one of the %zu channels", m->column[i],
                                m->columns - 1);
    }
    return DW_OK;
}

static enum dw_status set_up(struct dw_meter *m, const struct dw_header *header, const struct dw_meter_options *options,
                             struct dw_error *error)
{
    strncpy(m->place, options->place ? options->place : "the table", sizeof m->place - 1);
    m->columns = dw_header_columns(header);
    m->band = options->band == 0 ? 0.02 : options->band;
    if (!(m->band > 0 && m->band < 1))
        return dw_error_set(error, DW_BAD_USE, 0, "a settling band of %g is not between 0 and 1", m->band);
    if (options->has_levels && !(options->low < options->high))
        return dw_error_set(error, DW_BAD_USE, 0, "levels %g and %g: the low one must be below the high one",
                            options->low, options->high);
    enum dw_status status = choose_columns(m, options, error);
    if (status == DW_OK && !make_room(m))
        status = dw_no_memory(error);
    if (status == DW_OK)
        status = meter_read_header(m, header, options, error);
    if (status != DW_OK)
        return status;
    size_t exits = EXIT_BYTES / (2 * m->channels * sizeof(struct exit));
    exits = exits > MOST_EXITS ? MOST_EXITS : exits < LEAST_EXITS ? LEAST_EXITS : exits;
    for (size_t i = 0; i < m->channels; i++)
        m->state[i].settling = settling_new(exits);
    struct known_levels *known = calloc(m->channels, sizeof *known);
    if (!known)
        return dw_no_memory(error);
    for (size_t i = 0; i < m->channels; i++)
        known[i] = m->facts[i].levels;
    const bool last = m->span.kind == DW_SPAN_LAST;
    m->ring.most = last && m->span.periods < SIZE_MAX / sizeof(struct moments) ? (size_t)m->span.periods : SIZE_MAX;
    m->pulses = pulses_new(m->column, known, m->channels, last ? m->cell[m->span_cell].clock.period : 0,
                           last ? (double)m->span.periods : 0, PULSE_BYTES, error);
    free(known);
    return m->pulses ? DW_OK : DW_NO_MEMORY;
}

struct dw_meter *dw_meter_new(const struct dw_header *header, const struct dw_meter_options *options,
                              struct dw_error *error)
{
    static const struct dw_meter_options defaults;
    struct dw_meter *m = calloc(1, sizeof *m);
    if (!m) {
        dw_no_memory(error);
        return NULL;
    }
    if (set_up(m, header, options ? options : &defaults, error) == DW_OK)
        return m;
    dw_meter_free(m);
    return NULL;
}

/* ---- cutting ---- */

static void find_next_cut(struct dw_meter *m)
{
    m->next_cut = INFINITY;
    for (int i = 0; i < CELLS; i++)
        m->next_cut = fmin(m->next_cut, m->cell[i].clock.earliest);
}

static bool pulses_wanted(const struct dw_meter *m)
{
    return m->span_cell != CELL_BETWEEN || m->cell[CELL_BETWEEN].open;
}

/* A whole cell has ended: what it means to the span, to settling, to the steady state. */
static enum dw_status use_cell(struct dw_meter *m, int which, double at, struct dw_error *error)
{
    struct cell *cell = &m->cell[which];
    enum dw_status status = DW_OK;
    if (cell->now.empty)
        return DW_OK;
    if (which == m->span_cell && m->span.kind == DW_SPAN_LAST) {
        status = cell->open ? ring_add(&m->ring, &cell->now, m->channels, error) : DW_OK;
        if (status == DW_OK)
            status = pulses_cell_end(m->pulses, cell->open, error);
        m->span_cells += cell->open;
        for (size_t i = 0; i < m->channels && cell->open; i++) {
            m->state[i].mean_before = m->state[i].mean_last;
            m->state[i].mean_last = moments_mean(&cell->now.of[i]);
            m->state[i].ripple = cell->now.of[i].maximum - cell->now.of[i].minimum;
        }
    } else if (which == CELL_BETWEEN && cell->open) {
        moments_append(&m->span_total, &cell->now, m->channels);
    }
    if (which == m->mean_cell && cell->open)
        for (size_t i = 0; i < m->channels && status == DW_OK; i++)
            status = settling_add(&m->state[i].settling, at, moments_mean(&cell->now.of[i]), error);
    return status;
}

static void end_piece(struct dw_meter *m)
{
    moments_append(&m->record, &m->piece, m->channels);
    for (int i = 0; i < CELLS; i++)
        if (m->cell[i].clock.next < INFINITY || m->cell[i].open)
            moments_append(&m->cell[i].now, &m->piece, m->channels);
    m->piece.empty = true;
}

static enum dw_status too_short(const struct dw_meter *m, const struct cell *cell, double time, struct dw_error *error)
{
    return dw_error_set(error, DW_BAD_INPUT, 0, "%s: a period of %g s is too short to be told apart at a time of %g s",
                        m->place, cell->clock.period, time);
}

/* The record is cut at an instant of one or more clocks. */
static enum dw_status cut_at(struct dw_meter *m, double instant, struct dw_error *error)
{
    end_piece(m);
    for (int i = 0; i < CELLS; i++) {
        struct cell *cell = &m->cell[i];
        if (!(cell->clock.earliest <= instant))
            continue;
        const enum dw_status status = use_cell(m, i, cell->clock.next, error);
        if (status != DW_OK)
            return status;
        cell->now.empty = true;
        m->quiet_until = fmax(m->quiet_until, cell->clock.latest);
        const bool first_end = i == CELL_BETWEEN && !cell->open;
        clock_advance(&cell->clock);
        cell->open = i != CELL_BETWEEN || first_end;
    }
    m->fresh = true;
    find_next_cut(m);
    return DW_OK;
}

static enum dw_status add_line(struct dw_meter *m, double start, const double *from, double end, const double *to,
                               struct dw_error *error)
{
    moments_line(&m->piece, m->channels, m->column, start, from, end, to);
    const bool fresh = m->fresh;
    m->fresh = false;
    if (m->between) {
        moments_extremes(&m->piece, m->channels, m->between_low, m->between_high);
        m->between = false;
    }
    if (pulses_wanted(m)) {
        if (fresh)
            pulses_vertex(m->pulses, start, from);
        pulses_vertex(m->pulses, end, to);
    }
    enum dw_status status = DW_OK;
    if (m->mean_cell < 0)
        for (size_t i = 0; i < m->channels && status == DW_OK; i++) {
            if (fresh)
                status = settling_add(&m->state[i].settling, start, from[m->column[i]], error);
            if (status == DW_OK)
                status = settling_add(&m->state[i].settling, end, to[m->column[i]], error);
        }
    return status;
}

/* Where a line runs on over very many periods, all but the first and the last few are left out as if they were no whole
 * ones: their means lie on a straight line, and the span ends with the last. */
static void skip_periods(struct dw_meter *m, double end)
{
    const double keep = (m->span.kind == DW_SPAN_LAST ? (double)m->span.periods : 0) + 8;
    for (int i = 0; i < CELLS; i++)
        if (m->cell[i].open && clock_skip(&m->cell[i].clock, end, keep))
            m->cell[i].open = false;
    find_next_cut(m);
}

/* A straight line that reaches or passes the next instant of a clock. Only the two ends of a span may be so close that a row on
 * the one is beyond the other. */
static enum dw_status add_line_and_cut(struct dw_meter *m, double start, const double *from, double end,
                                       const double *to, struct dw_error *error)
{
    const double *at = from;
    enum dw_status status = DW_OK;
    for (int i = 0; i < CELLS; i++)
        if (clock_blurred(&m->cell[i].clock, end))
            return too_short(m, &m->cell[i], end, error);
    for (int cuts = 0; status == DW_OK && end >= m->next_cut; cuts++) {
        double instant = INFINITY, latest = INFINITY;
        for (int i = 0; i < CELLS; i++)
            if (m->cell[i].clock.earliest == m->next_cut) {
                instant = m->cell[i].clock.next;
                latest = m->cell[i].clock.latest;
            }
        if (end <= latest) {
            status = add_line(m, start, at, end, to, error);
            return status == DW_OK ? cut_at(m, end, error) : status;
        }
        const double share = (instant - start) / (end - start);
        double *between = m->cut[cuts % 2];
        for (size_t i = 0; i < m->columns; i++)
            between[i] = at[i] + (to[i] - at[i]) * share;
        if (start < instant)
            status = add_line(m, start, at, instant, between, error);
        at = between;
        start = instant;
        if (status == DW_OK)
            status = cut_at(m, instant, error);
        if (cuts == 2)
            skip_periods(m, end);
    }
    return status == DW_OK ? add_line(m, start, at, end, to, error) : status;
}

static enum dw_status begin_record(struct dw_meter *m, const double *row, struct dw_error *error)
{
    memcpy(m->first, row, m->columns * sizeof *row);
    m->first_time = row[0];
    m->quiet_until = -INFINITY;
    m->fresh = true;
    for (int i = CELL_PERIOD; i <= CELL_CARRIER; i++)
        if (m->cell[i].clock.period > 0) {
            const double origin = m->from_first_row ? row[0] : m->cell[i].clock.origin;
            m->cell[i].clock = clock_periods(origin, m->cell[i].clock.period, row[0]);
            if (clock_blurred(&m->cell[i].clock, row[0]))
                return too_short(m, &m->cell[i], row[0], error);
        }
    find_next_cut(m);
    if (m->span_cell == CELL_BETWEEN && m->cell[CELL_BETWEEN].clock.next > -INFINITY &&
        m->cell[CELL_BETWEEN].clock.latest < row[0])
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span begins at %g s, before the record, which begins at %g s",
                            m->place, m->cell[CELL_BETWEEN].clock.next, row[0]);
    if (m->span_cell == CELL_BETWEEN && m->span.to <= row[0])
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span ends at %g s, but the record begins at %g s", m->place,
                            m->span.to, row[0]);
    return m->next_cut <= row[0] ? cut_at(m, row[0], error) : DW_OK;
}

static void keep_between(struct dw_meter *m, const double *row)
{
    for (size_t i = 0; i < m->channels; i++) {
        const double value = row[m->column[i]];
        m->between_low[i] = m->between ? fmin(m->between_low[i], value) : value;
        m->between_high[i] = m->between ? fmax(m->between_high[i], value) : value;
    }
    m->between = true;
}

enum dw_status dw_meter_rows(struct dw_meter *m, const double *values, size_t rows, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    const double *previous = m->previous;
    for (size_t r = 0; r < rows && status == DW_OK; r++) {
        const double *row = values + r * m->columns, time = row[0];
        if (!m->rows++) {
            status = begin_record(m, row, error);
        } else if (time > m->previous_time) {
            if (time < m->next_cut && time > m->quiet_until)
                status = add_line(m, m->previous_time, previous, time, row, error);
            else if (time > m->quiet_until)
                status = add_line_and_cut(m, m->previous_time, previous, time, row, error);
            m->jumped = false;
        } else if (time == m->previous_time) {
            if (m->jumped)
                keep_between(m, previous);
            m->jumped = m->fresh = true;
        } else {
            status = dw_error_set(error, DW_BAD_INPUT, m->rows, "%s, row %llu: time goes back from %.17g to %.17g",
                                  m->place, m->rows, m->previous_time, time);
        }
        previous = row;
        m->previous_time = time;
    }
    if (rows)
        memcpy(m->previous, previous, m->columns * sizeof *previous);
    return status;
}

/* ---- the end ---- */

static enum dw_status close_between(struct dw_meter *m, struct dw_error *error)
{
    struct cell *cell = &m->cell[CELL_BETWEEN];
    const double from = m->span.from, to = m->span.to;
    if (!cell->open && cell->clock.next < INFINITY)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span begins at %g s, but the record ends at %g s", m->place,
                            from, m->previous_time);
    if (cell->open && to < INFINITY)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span ends at %g s, but the record ends at %g s", m->place, to,
                            m->previous_time);
    moments_append(&m->span_total, &cell->now, m->channels);
    if (m->span_total.empty)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: no time passes in the span", m->place);
    return DW_OK;
}

static enum dw_status close_last(struct dw_meter *m, struct dw_error *error)
{
    const double period = m->cell[m->span_cell].clock.period;
    if (m->ring.count >= m->span.periods) {
        ring_total(&m->ring, m->channels, &m->span_total);
        m->span_periods = (double)m->ring.count;
        return DW_OK;
    }
    if (m->asked != DW_SPAN_DEFAULT && m->ring.count)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span is the last %llu periods, but the record holds only %zu",
                            m->place, m->span.periods, m->ring.count);
    if (m->asked != DW_SPAN_DEFAULT)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the record holds no whole period of %g s", m->place, period);
    moments_append(&m->span_total, &m->record, m->channels);
    return DW_OK;
}

enum dw_status dw_meter_finish(struct dw_meter *m, struct dw_error *error)
{
    if (!m->rows)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: it holds no rows", m->place);
    end_piece(m);
    if (m->record.empty)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: no time passes between the first row and the last", m->place);
    enum dw_status status = DW_OK;
    switch (m->span.kind) {
    case DW_SPAN_DEFAULT:
    case DW_SPAN_ALL: moments_append(&m->span_total, &m->record, m->channels); break;
    case DW_SPAN_BETWEEN: status = close_between(m, error); break;
    case DW_SPAN_LAST: status = close_last(m, error); break;
    }
    if (status == DW_OK)
        status = meter_conclude(m, error);
    m->finished = status == DW_OK;
    return status;
}
