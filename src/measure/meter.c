/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/metering_inner.h"
#include <dutywright/value.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum {
    PULSE_BYTES = 4 << 20, /* vertices kept for levels and transitions */
    EXIT_BYTES = 2 << 20,  /* candidates for the last exit from the band */
    MOST_EXITS = 1 << 14,  /* of one channel and side */
    LEAST_EXITS = 64,
    SAMPLES_BYTES = 4 << 20, /* rows of a sampled table */
    CURVE_PERIODS = 1 << 12 /* in one curve, whose means are not passed over, for they lie on no straight line */
};

void dw_meter_free(struct dw_meter *m)
{
    if (!m)
        return;
    for (size_t i = 0; m->state && i < m->channels; i++)
        dwi_settling_free(&m->state[i].settling);
    for (int i = 0; i < WINDOWS; i++)
        free(m->window[i].now.of);
    for (size_t i = 0; i < m->notes.count; i++)
        free(m->notes.note[i].text);
    free(m->notes.note);
    dwi_pulses_free(m->pulses);
    dwi_samples_free(&m->samples);
    free(m->ring.accumulator);
    free(m->ring.moments);
    free(m->piece.of);
    free(m->record.of);
    free(m->span_total.of);
    free(m->column);
    free(m->slope);
    free(m->made);
    free(m->facts);
    free(m->state);
    free(m->passed_low);
    free(m->passed_high);
    dw_pieces_free(m->pieces);
    free(m->result);
    free(m);
}

static bool new_accumulator(struct accumulator *accumulator, size_t channels)
{
    accumulator->empty = true;
    accumulator->of = calloc(channels, sizeof *accumulator->of);
    return accumulator->of != NULL;
}

static bool make_room(struct dw_meter *m)
{
    bool have = new_accumulator(&m->piece, m->channels) && new_accumulator(&m->record, m->channels) &&
                new_accumulator(&m->span_total, m->channels);
    for (int i = 0; i < WINDOWS; i++)
        have = have && new_accumulator(&m->window[i].now, m->channels);
    m->facts = calloc(m->channels, sizeof *m->facts);
    m->state = calloc(m->channels, sizeof *m->state);
    m->passed_low = calloc(m->channels, sizeof *m->passed_low);
    m->passed_high = calloc(m->channels, sizeof *m->passed_high);
    m->result = calloc(m->channels * DW_MEASURES, sizeof *m->result);
    m->made = calloc(m->columns, 2 * sizeof *m->made);
    return have && m->made && m->facts && m->state && m->passed_low && m->passed_high && m->result;
}

/* The columns asked, or all but the slopes. */
static enum dw_status choose_columns(struct dw_meter *m, const struct dw_header *header, const struct dw_meter_options *options,
                                     struct dw_error *error)
{
    const size_t all = m->columns - 1 - dw_header_slopes(header, NULL);
    m->channels = options->column ? options->channels : all;
    if (!m->channels)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: there is no channel to measure", m->place);
    m->column = calloc(m->channels, sizeof *m->column);
    m->slope = calloc(m->columns, sizeof *m->slope);
    if (!m->column || !m->slope)
        return dw_no_memory(error);
    dw_header_slopes(header, m->slope);
    for (size_t i = 0, next = 1; i < m->channels; i++, next++) {
        next += dw_header_is_slope(header, next);
        m->column[i] = options->column ? options->column[i] : next;
        if (m->column[i] < 1 || m->column[i] >= m->columns || dw_header_is_slope(header, m->column[i]))
            return dw_error_set(error, DW_BAD_USE, 0, "column %zu is not one of the %zu channels", m->column[i], all);
        m->curved = m->curved || m->slope[m->column[i]];
    }
    return DW_OK;
}

static enum dw_status prepare_pulses(struct dw_meter *m, struct dw_error *error)
{
    const bool last = m->span.kind == DW_SPAN_LAST;
    struct known_levels *known = calloc(m->channels, sizeof *known);
    if (!known)
        return dw_no_memory(error);
    for (size_t i = 0; i < m->channels; i++)
        known[i] = m->facts[i].levels;
    const struct pulses_plan plan = { .column = m->column, .slope = m->curved ? m->slope : NULL, .known = known,
                                      .channels = m->channels, .bytes = PULSE_BYTES, .sampled = m->sampled > 0,
                                      .period = last ? m->window[m->span_window].clock.period : 0,
                                      .keep = last ? (double)m->span.periods : 0 };
    m->pulses = dwi_pulses_new(&plan, error);
    free(known);
    return m->pulses ? DW_OK : DW_NO_MEMORY;
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
    enum dw_status status = choose_columns(m, header, options, error);
    if (status == DW_OK && !make_room(m))
        status = dw_no_memory(error);
    if (status == DW_OK)
        status = dwi_meter_read_header(m, header, options, error);
    if (status != DW_OK)
        return status;
    const size_t bytes = sizeof(struct exit) + (m->curved ? sizeof(struct exit_curve) : 0);
    size_t exits = EXIT_BYTES / (2 * m->channels * bytes);
    exits = exits > MOST_EXITS ? MOST_EXITS : exits < LEAST_EXITS ? LEAST_EXITS : exits;
    for (size_t i = 0; i < m->channels; i++) {
        m->state[i].settling = dwi_settling_new(exits, m->slope[m->column[i]] && m->mean_window < 0);
        m->state[i].before[0] = m->state[i].before[1] = range_of_none();
    }
    const bool last = m->span.kind == DW_SPAN_LAST;
    m->samples = dwi_samples_new(m->columns, m->sampled, SAMPLES_BYTES, last);
    m->ring.most = last && m->span.periods < SIZE_MAX / sizeof(struct channel_moments) ? (size_t)m->span.periods : SIZE_MAX;
    return prepare_pulses(m, error);
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

/* ---- blocks ---- */

static bool pulses_wanted(const struct dw_meter *m)
{
    return m->span_window != WINDOW_BETWEEN || m->window[WINDOW_BETWEEN].open;
}

/* The ring is full, and its oldest period goes. */
static void keep_ranges(struct dw_meter *m)
{
    const struct channel_moments *oldest = m->ring.moments + m->ring.next * m->channels;
    for (size_t i = 0; i < m->channels; i++) {
        m->state[i].before[1] = m->state[i].before[0];
        m->state[i].before[0] = (struct value_range){ oldest[i].minimum, oldest[i].maximum };
    }
}

static void set_before(struct channel_state *state, double value)
{
    state->has_before = true;
    state->before_step = value;
}

/* A whole window has ended: what it means to the span, to settling, to the steady state. */
static enum dw_status use_window(struct dw_meter *m, int which, double at, struct dw_error *error)
{
    struct period_window *window = &m->window[which];
    enum dw_status status = DW_OK;
    if (window->now.empty)
        return DW_OK;
    if (which == m->span_window && m->span.kind == DW_SPAN_LAST) {
        if (window->open && m->ring.count == m->ring.most)
            keep_ranges(m);
        status = window->open ? dwi_ring_add(&m->ring, &window->now, m->channels, error) : DW_OK;
        if (status == DW_OK)
            status = dwi_pulses_window_end(m->pulses, window->open, error);
        m->span_windows += window->open;
        for (size_t i = 0; i < m->channels && window->open; i++) {
            m->state[i].mean_before = m->state[i].mean_last;
            m->state[i].mean_last = dwi_moments_mean(&window->now.of[i]);
            m->state[i].ripple = window->now.of[i].maximum - window->now.of[i].minimum;
        }
    } else if (which == WINDOW_BETWEEN && window->open) {
        dwi_moments_append(&m->span_total, &window->now, m->channels);
    }
    const double slack = 1e-9 * window->clock.period;
    for (size_t i = 0; which == m->mean_window && window->open && i < m->channels && status == DW_OK; i++) {
        const double mean = dwi_moments_mean(&window->now.of[i]);
        if (window->now.start >= m->step_at - slack)
            status = dwi_settling_add(&m->state[i].settling, at, mean, NULL, error);
        else if (at <= m->step_at + slack)
            set_before(&m->state[i], mean);
    }
    return status;
}

static void end_piece(struct dw_meter *m)
{
    dwi_moments_append(&m->record, &m->piece, m->channels);
    for (int i = 0; i < WINDOWS; i++)
        if (m->window[i].used)
            dwi_moments_append(&m->window[i].now, &m->piece, m->channels);
    m->piece.empty = true;
}

/* The instants of some clocks. */
static enum dw_status cut_at(struct dw_meter *m, unsigned which, const struct dw_instant *instant, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    end_piece(m);
    for (int i = 0; i < WINDOWS && status == DW_OK; i++) {
        struct period_window *window = &m->window[i];
        if (!(which & 1U << i))
            continue;
        /* what stands for many periods is left out as if it were no whole one: their means lie on a straight line */
        window->open = window->open && instant[i].stands_for == 1;
        status = use_window(m, i, instant[i].at, error);
        window->now.empty = true;
        window->open = i != WINDOW_BETWEEN || instant[i].index == 0;
        window->used = window->open;
    }
    return status;
}

static void keep_passed(struct dw_meter *m, const struct dw_block *block)
{
    for (size_t k = 0; k < block->count; k++, m->passed = true)
        for (size_t i = 0; i < m->channels; i++) {
            const double value = block->rows[k * m->columns + m->column[i]];
            m->passed_low[i] = m->passed ? fmin(m->passed_low[i], value) : value;
            m->passed_high[i] = m->passed ? fmax(m->passed_high[i], value) : value;
        }
}

/* Settling of values, not of means. A step inside a piece begins it anew there.
 *   before   as in add_vertex */
static enum dw_status add_value(struct dw_meter *m, size_t channel, const double *before, const double *row, struct dw_error *error)
{
    const size_t c = m->column[channel], s = before ? m->slope[c] : 0;
    struct channel_state *state = &m->state[channel];
    struct hermite h = { 0 };
    if (row[0] < m->step_at || (row[0] == m->step_at && !state->settling.count)) {
        set_before(state, row[c]);
        return row[0] < m->step_at ? DW_OK : dwi_settling_add(&state->settling, row[0], row[c], NULL, error);
    }
    double start = before ? before[0] : row[0];
    enum dw_status status = DW_OK;
    if (s)
        h = hermite_of(row[0] - start, before[c], before[s], row[c], row[s]);
    if (before && start < m->step_at && row[0] > m->step_at) {  /* unrun: implied */
        const double share = (m->step_at - start) / (row[0] - start);
        const double there = s ? hermite_at(&h, 2 * share - 1) : before[c] + share * (row[c] - before[c]);
        set_before(state, there);
        status = dwi_settling_add(&state->settling, m->step_at, there, NULL, error);
    }
    const struct exit_curve curve = { h, start, row[0] - start };
    return status == DW_OK ? dwi_settling_add(&state->settling, row[0], row[c], s ? &curve : NULL, error) : status;  /* unrun: passed-on */
}

/*   before   the vertex before it, whose time is another; NULL: what leads here counts for nothing, or is a jump */
static enum dw_status add_vertex(struct dw_meter *m, const double *before, const double *row, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (pulses_wanted(m))
        dwi_pulses_vertices(m->pulses, row, 1, m->columns);
    for (size_t i = 0; m->mean_window < 0 && i < m->channels && status == DW_OK; i++)
        status = add_value(m, i, before, row, error);
    return status;
}

/* The first turn of a curve behind a time; column 0: there is none. */
struct curve_turn {
    double time;
    size_t column;
};

static struct curve_turn next_turn(const struct dw_meter *m, const double *from, const double *to, double behind)
{
    struct curve_turn first = { .time = to[0] };
    for (size_t i = 0; i < m->channels; i++) {
        const size_t c = m->column[i], s = m->slope[c];
        double at[2];
        if (!s)
            continue;
        const struct hermite h = hermite_of(to[0] - from[0], from[c], from[s], to[c], to[s]);
        for (int k = dwi_hermite_turns(&h, at); k-- > 0;) {
            const double time = from[0] + (to[0] - from[0]) * ((1 + at[k]) / 2);
            if (time > behind && time < first.time)
                first = (struct curve_turn){ time, c };
        }
    }
    return first;
}

/* The vertices of a piece: where its curves turn, and its end. */
static enum dw_status add_piece(struct dw_meter *m, const double *from, const double *to, struct dw_error *error)
{
    double *made = m->made;
    const double *before = from;
    enum dw_status status = DW_OK;
    for (struct curve_turn turn; status == DW_OK && (turn = next_turn(m, from, to, before[0])).column; before = made) {
        made = before == m->made ? m->made + m->columns : m->made;
        dw_row_between(m->columns, m->slope, from, to, turn.time, made);
        made[m->slope[turn.column]] = 0;
        status = add_vertex(m, before, made, error);
    }
    return status == DW_OK ? add_vertex(m, before, to, error) : status;
}

/* Every row of a block that begins anew, else all but the first, which the one before ended with. */
static enum dw_status add_vertices(struct dw_meter *m, const struct dw_block *block, struct dw_error *error)
{
    const size_t first = !(block->jump || block->begins);
    const double *row = block->rows + first * m->columns, *end = block->rows + block->count * m->columns;
    enum dw_status status = DW_OK;
    if (m->curved || m->has_step) {
        for (; row < end && status == DW_OK; row += m->columns)
            status = row > block->rows ? add_piece(m, row - m->columns, row, error) : add_vertex(m, NULL, row, error);
        return status;
    }
    if (pulses_wanted(m))
        dwi_pulses_vertices(m->pulses, row, block->count - first, m->columns);
    for (; m->mean_window < 0 && row < end && status == DW_OK; row += m->columns)
        for (size_t i = 0; i < m->channels && status == DW_OK; i++)
            status = dwi_settling_add(&m->state[i].settling, row[0], row[m->column[i]], NULL, error);
    return status;
}

static enum dw_status begin_record(struct dw_meter *m, double time, struct dw_error *error)
{
    struct dw_pieces_plan plan = { .columns = m->columns, .slope = m->curved ? m->slope : NULL, .clocks = WINDOWS,
                                   .place = m->place };
    for (int i = 0; i < WINDOWS; i++) {
        struct dw_clock *clock = &m->window[i].clock;
        m->window[i].used = clock->from < INFINITY;
        clock->keep = (m->span.kind == DW_SPAN_LAST ? (double)m->span.periods : 0) + 8 + (m->curved ? CURVE_PERIODS : 0);
        if (clock->period > 0 && m->from_first_row)
            clock->origin = time;
        plan.clock[i] = *clock;
    }
    m->pieces = dw_pieces_new(&plan, error);
    return m->pieces ? DW_OK : error ? error->status : DW_NO_MEMORY;
}

static enum dw_status check_begin(const struct dw_meter *m, struct dw_error *error)
{
    const double first = dw_pieces_first(m->pieces)[0];
    const int from = dw_digits_apart(m->span.from, first, 6), to = dw_digits_apart(m->span.to, first, 6);
    if (dw_pieces_missed(m->pieces, WINDOW_BETWEEN))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span begins at %.*g s, before the record, which begins at %.*g s",
                            m->place, from, m->span.from, from, first);
    if (m->span_window == WINDOW_BETWEEN && m->span.to <= first)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span ends at %.*g s, but the record begins at %.*g s", m->place,
                            to, m->span.to, to, first);
    return DW_OK;
}

static enum dw_status add_block(struct dw_meter *m, const struct dw_block *block, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (block->passed) {
        keep_passed(m, block);
        return DW_OK;
    }
    if (m->piece.empty && m->record.empty) {
        status = check_begin(m, error);
        if (status == DW_OK)
            status = cut_at(m, block->begins, block->begin, error);
    }
    if (status != DW_OK)
        return status;
    /* line by line: sums over blocks would depend on how many rows come together */
    for (size_t k = 1; k < block->count; k++) {
        const double *to = block->rows + k * m->columns, *from = to - m->columns;
        if (m->curved)
            dwi_moments_curve(&m->piece, m->channels, m->column, m->slope, from, to);
        else
            dwi_moments_line(&m->piece, m->channels, m->column, from, to);
    }
    if (m->passed)
        dwi_moments_extremes(&m->piece, m->channels, m->passed_low, m->passed_high);
    m->passed = false;
    status = add_vertices(m, block, error);
    return status == DW_OK && block->ends ? cut_at(m, block->ends, block->end, error) : status;
}

enum dw_status dw_meter_rows(struct dw_meter *m, const double *values, size_t rows, struct dw_error *error)
{
    enum dw_status status = rows && !m->pieces ? begin_record(m, values[0], error) : DW_OK;
    if (!rows || status != DW_OK)
        return status;
    size_t taken;
    if (m->sampled > 0)
        status = dwi_samples_put(&m->samples, values, rows, &taken, error);
    dw_pieces_put(m->pieces, values, rows);
    for (const struct dw_block *block; status == DW_OK;)
        if ((status = dw_pieces_next(m->pieces, &block, error)) == DW_OK)
            status = add_block(m, block, error);
    return status == DW_END ? DW_OK : status;
}

/* ---- the end ---- */

static enum dw_status close_between(struct dw_meter *m, struct dw_error *error)
{
    struct period_window *window = &m->window[WINDOW_BETWEEN];
    const double from = m->span.from, to = m->span.to;
    const double end = dw_pieces_last(m->pieces)[0];
    const int begins = dw_digits_apart(from, end, 6), ends = dw_digits_apart(to, end, 6);
    if (!window->open && window->used)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span begins at %.*g s, but the record ends at %.*g s", m->place,
                            begins, from, begins, end);
    if (window->open && to < INFINITY)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span ends at %.*g s, but the record ends at %.*g s", m->place, ends, to,
                            ends, end);
    dwi_moments_append(&m->span_total, &window->now, m->channels);
    if (m->span_total.empty)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: no time passes in the span", m->place);
    return DW_OK;
}

static enum dw_status close_last(struct dw_meter *m, struct dw_error *error)
{
    const double period = m->window[m->span_window].clock.period;
    if (m->ring.count >= m->span.periods) {
        dwi_ring_total(&m->ring, m->channels, &m->span_total);
        m->span_periods = (double)m->ring.count;
        return DW_OK;
    }
    if (m->asked != DW_SPAN_DEFAULT && m->ring.count)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the span is the last %llu periods, but the record holds only %zu",
                            m->place, m->span.periods, m->ring.count);
    if (m->asked != DW_SPAN_DEFAULT)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the record holds no whole period of %g s", m->place, period);
    dwi_moments_append(&m->span_total, &m->record, m->channels);
    return DW_OK;
}

enum dw_status dw_meter_finish(struct dw_meter *m, struct dw_error *error)
{
    if (!m->pieces)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: it holds no rows", m->place);
    end_piece(m);
    if (m->record.empty)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: no time passes between the first row and the last", m->place);
    const double first = dw_pieces_first(m->pieces)[0], last = dw_pieces_last(m->pieces)[0];
    const int digits = dw_digits_apart(m->step_at, m->step_at < first ? first : last, 6);
    if (m->has_step && !(m->step_at >= first && m->step_at < last))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the step is said to be at %.*g s, but the record runs from %.*g s to %.*g s",
                            m->place, digits, m->step_at, digits, first, digits, last);
    enum dw_status status = DW_OK;
    switch (m->span.kind) {
    case DW_SPAN_DEFAULT:
    case DW_SPAN_ALL: dwi_moments_append(&m->span_total, &m->record, m->channels); break;
    case DW_SPAN_BETWEEN: status = close_between(m, error); break;
    case DW_SPAN_LAST: status = close_last(m, error); break;
    }
    if (status == DW_OK)
        status = dwi_meter_conclude(m, error);
    m->finished = status == DW_OK;
    return status;
}
