/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/spectrum_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MANY = 64 }; /* a share of the room that holds many periods of pulses, if any do */

static bool window_new(struct window *w, size_t channels)
{
    *w = (struct window){ .moments = { .empty = true, .of = calloc(channels, sizeof *w->moments.of) } };
    return w->moments.of != NULL;
}

static void window_free(struct window *w)
{
    free(w->row);
    free(w->moments.of);
    fourier_free(w->sum);
}

static void window_clear(struct window *w)
{
    w->count = 0;
    w->periods = 0;
    w->alike = false;
    w->moments.empty = true;
    fourier_free(w->sum);
    w->sum = NULL;
}

bool windows_new(struct windows *ws)
{
    return window_new(&ws->now, ws->channels) && window_new(&ws->group, ws->channels) &&
           window_new(&ws->kept, ws->channels);
}

void windows_free(struct windows *ws)
{
    for (size_t i = 0; i < ws->ring_count; i++)
        window_free(&ws->ring[i]);
    free(ws->ring);
    window_free(&ws->now);
    window_free(&ws->group);
    window_free(&ws->kept);
}

void windows_forget(struct windows *ws)
{
    window_clear(&ws->now);
    window_clear(&ws->group);
}

static enum dw_status new_sum(const struct fourier_plan *plan, const struct stretch *moments, struct fourier **sum,
                              struct dw_error *error)
{
    double *reference = calloc(plan->channels, sizeof *reference);
    if (!reference)
        return dw_no_memory(error);
    for (size_t i = 0; i < plan->channels; i++)
        reference[i] = moments_mean(&moments->of[i]);
    *sum = fourier_new(plan, reference, error);
    free(reference);
    return *sum ? DW_OK : DW_NO_MEMORY;
}

/* Sums up the rows of a window; the last one stays, for the next line begins there. */
static void add_rows(const struct windows *ws, struct window *w)
{
    const struct fourier_rows rows = { w->row, w->count, ws->channels, 0, 1 };
    fourier_add(w->sum, &rows);
    if (w->count)
        memmove(w->row, w->row + (w->count - 1) * ws->width, ws->width * sizeof *w->row);
    w->count = w->count > 0;
}

/* The same; where the sum is on a grid that some of the rows are off, it goes on without. */
static enum dw_status pour(const struct windows *ws, struct window *w, struct dw_error *error)
{
    const struct fourier_rows rows = { w->row, w->count, ws->channels, 0, 1 };
    const struct fourier_plan *plan = fourier_plan(w->sum);
    size_t cells = plan->cells;
    enum dw_status status = DW_OK;
    if (plan->way == FOURIER_GRID && !fourier_grid(&rows, ws->slack, cells, &cells))
        status = fourier_change(&w->sum, &ws->plan, error);
    if (status == DW_OK)
        add_rows(ws, w);
    return status;
}

static enum dw_status spill(struct windows *ws, struct window *w, struct dw_error *error)
{
    const enum dw_status status = w->sum ? DW_OK : new_sum(&ws->plan, &w->moments, &w->sum, error);
    return status == DW_OK ? pour(ws, w, error) : status;
}

/* Many periods of pulses whose edges all are on a few ticks need not be kept: sums over the ticks hold all there is. Others are,
 * as long as there is room, for what a fundamental leaves of them is known from rows alone. */
static enum dw_status sum_pulses(struct windows *ws, struct dw_error *error)
{
    struct window *w = &ws->kept;
    const struct fourier_rows rows = { w->row, w->count, ws->channels, 0, 1 };
    struct fourier_plan plan = { .way = FOURIER_GRID, .lines = ws->plan.lines, .channels = ws->channels, .cells = 1 };
    if (!w->sum) {
        const bool on_ticks = !ws->no_ticks && fourier_grid(&rows, ws->slack, w->count / 4, &plan.cells);
        ws->no_ticks = !on_ticks || !fourier_jumps(&rows, plan.cells);
    }
    if (ws->no_ticks)
        return DW_OK;
    const enum dw_status status = w->sum ? DW_OK : new_sum(&plan, &w->moments, &w->sum, error);
    return status == DW_OK ? pour(ws, w, error) : status;
}

static enum dw_status make_room(struct windows *ws, struct window *w, size_t more, struct dw_error *error)
{
    const size_t size = ws->width * sizeof *w->row;
    enum dw_status status = DW_OK;
    if (w == &ws->kept && !ws->whole && w->periods > 1 && w->count + more > ws->most_rows / MANY)
        status = sum_pulses(ws, error);
    if (status == DW_OK && !ws->whole && w->count > 1 && w->count + more > ws->most_rows)
        status = spill(ws, w, error);
    if (status != DW_OK || w->count + more <= w->room)
        return status;
    const size_t room = 2 * w->room > w->count + more ? 2 * w->room : w->count + more + 14;
    double *row = room < (size_t)-1 / size ? realloc(w->row, room * size) : NULL;  /* unrun: address-space */
    if (!row)
        return dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for the %zu rows of the span", w->count + more);
    w->row = row;
    w->room = room;
    return DW_OK;
}

enum dw_status windows_append(struct windows *ws, double place, const double *row, struct dw_error *error)
{
    struct window *w = &ws->now;
    const enum dw_status status = make_room(ws, w, 1, error);
    if (status != DW_OK)
        return status;
    double *to = w->row + w->count++ * ws->width;
    memcpy(to, row, ws->width * sizeof *to);
    to[0] = place;
    return DW_OK;
}

enum dw_status windows_append_rows(struct windows *ws, const double *row, size_t rows, size_t pitch, const size_t *column,
                                   double start, double length, struct dw_error *error)
{
    struct window *w = &ws->now;
    const enum dw_status status = make_room(ws, w, rows, error);
    if (status != DW_OK)
        return status;
    double *to = w->row + w->count * ws->width;
    w->count += rows;
    for (size_t i = 0; i < rows; i++, row += pitch) {
        *to++ = ws->whole ? row[0] : (row[0] - start) / length;
        for (size_t c = 0; c < ws->channels; c++)
            *to++ = row[column[c]];
    }
    return DW_OK;
}

/* `from` is then to be cleared: where there is nothing yet to add to, it is taken as it is. */
static enum dw_status merge(struct windows *ws, struct window *onto, struct window *from, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (!(onto->periods > 0)) {
        const struct window empty = *onto;
        *onto = *from;
        *from = empty;
        return DW_OK;
    }
    if (from->sum && !onto->sum)
        status = spill(ws, onto, error);
    if (status == DW_OK && from->sum && fourier_plan(onto->sum)->way == FOURIER_GRID)
        status = fourier_change(&onto->sum, &ws->plan, error);
    if (status == DW_OK && from->sum)
        fourier_merge(onto->sum, from->sum);
    if (status == DW_OK)
        status = make_room(ws, onto, from->count, error);
    if (status != DW_OK)
        return status;
    if (from->count)
        memcpy(onto->row + onto->count * ws->width, from->row, from->count * ws->width * sizeof *from->row);
    onto->count += from->count;
    onto->periods += from->periods;
    onto->alike = onto->alike || from->alike;
    moments_append(&onto->moments, &from->moments, ws->channels);
    return DW_OK;
}

static enum dw_status ring_grow(struct windows *ws, struct dw_error *error)
{
    const size_t limit = (size_t)-1 / sizeof *ws->ring, most = ws->last < limit ? (size_t)ws->last : limit;
    if (ws->ring_count == ws->ring_room) {
        const size_t room = ws->ring_room > most / 2 ? most : 2 * ws->ring_room + 1;
        struct window *ring = realloc(ws->ring, room * sizeof *ring);
        if (!ring)
            return dw_no_memory(error);
        ws->ring = ring;
        ws->ring_room = room;
    }
    if (!window_new(&ws->ring[ws->ring_count], ws->channels))
        return dw_no_memory(error);
    ws->ring_next = ws->ring_count++;
    return DW_OK;
}

/* A window takes the place of the oldest, whose room it then uses. */
static enum dw_status ring_add(struct windows *ws, struct window *next, struct dw_error *error)
{
    const enum dw_status status = ws->ring_count < ws->last ? ring_grow(ws, error) : DW_OK;
    if (status != DW_OK)
        return status;
    const struct window oldest = ws->ring[ws->ring_next];
    ws->ring[ws->ring_next] = *next;
    *next = oldest;
    ws->ring_next = (ws->ring_next + 1) % ws->last;
    return DW_OK;
}

enum dw_status windows_close(struct windows *ws, double periods, bool whole_group, struct dw_error *error)
{
    struct window *closed = &ws->now;
    closed->periods = periods;
    closed->alike = periods > 1;
    enum dw_status status = DW_OK;
    if (closed->sum) { /* the rest of a period whose beginning has been summed up: each has its own reference */
        add_rows(ws, closed);
        closed->count = 0;
    }
    if (!whole_group || ws->group.periods > 0) {
        status = merge(ws, &ws->group, closed, error);
        window_clear(closed);
        closed = &ws->group;
    }
    if (status != DW_OK || !whole_group)
        return status;
    status = ws->last ? ring_add(ws, closed, error) : merge(ws, &ws->kept, closed, error);
    window_clear(closed);
    return status;
}

const struct window *windows_at(const struct windows *ws, size_t i)
{
    return ws->ring_count ? &ws->ring[(ws->ring_next + i) % ws->ring_count] : &ws->kept;
}

size_t windows_count(const struct windows *ws)
{
    return ws->ring_count ? ws->ring_count : 1;
}

void windows_total(struct windows *ws)
{
    for (size_t i = 0; i < ws->ring_count; i++) { /* the oldest first */
        moments_append(&ws->kept.moments, &windows_at(ws, i)->moments, ws->channels);
        ws->kept.periods += windows_at(ws, i)->periods;
    }
}

static struct fourier_rows rows_of(const struct windows *ws, const struct window *w, const struct windows_scale *scale)
{
    return (struct fourier_rows){ w->row, w->count, ws->channels, ws->whole ? scale->start : 0,
                                  ws->whole ? scale->length : 1 };
}

/* Cells of the grid on which all rows lie; 0: none that is worth it. */
static size_t find_grid(struct windows *ws, const struct windows_scale *scale, size_t rows)
{
    const size_t most = (size_t)fmin(64 * (double)rows, FOURIER_CELLS_MOST);
    size_t cells = 1;
    for (size_t i = 0; i < windows_count(ws); i++) {
        const struct fourier_rows part = rows_of(ws, windows_at(ws, i), scale);
        if (!fourier_grid(&part, scale->slack, most, &cells))
            return 0;
    }
    return cells;
}

/* How to sum up the windows. */
static struct fourier_plan choose_plan(struct windows *ws, const struct windows_scale *scale, size_t lines)
{
    size_t rows = 0;
    for (size_t i = 0; i < windows_count(ws); i++) {
        if (windows_at(ws, i)->sum)
            return ws->plan;
        rows += windows_at(ws, i)->count;
    }
    const struct fourier_rows first = rows_of(ws, windows_at(ws, 0), scale);
    if (windows_count(ws) == 1 && fourier_uniform(&first, scale->slack))
        return fourier_choose_uniform(rows, lines, ws->channels);
    struct fourier_plan plan = fourier_choose(rows, lines, ws->channels, find_grid(ws, scale, rows));
    bool jumps = plan.way != FOURIER_GRID;
    for (size_t i = 0; i < windows_count(ws) && !jumps; i++) {
        const struct fourier_rows part = rows_of(ws, windows_at(ws, i), scale);
        jumps = fourier_jumps(&part, plan.cells);
    }
    plan.way = jumps ? plan.way : FOURIER_VALUES;
    return plan;
}

enum dw_status windows_coefficients(struct windows *ws, const struct windows_scale *scale, size_t lines, double *out,
                                    struct dw_error *error)
{
    struct fourier *sum = NULL;
    if (!ws->ring_count && ws->kept.sum) {
        const enum dw_status poured = pour(ws, &ws->kept, error);
        return poured == DW_OK ? fourier_coefficients(ws->kept.sum, 1 / ws->kept.periods, out, error) : poured;
    }
    const struct fourier_plan plan = choose_plan(ws, scale, lines);
    enum dw_status status = new_sum(&plan, &ws->kept.moments, &sum, error);
    for (size_t i = 0; i < windows_count(ws) && status == DW_OK; i++) {
        const struct fourier_rows part = rows_of(ws, windows_at(ws, i), scale);
        if (windows_at(ws, i)->sum)
            fourier_merge(sum, windows_at(ws, i)->sum);
        fourier_add(sum, &part);
    }
    if (status == DW_OK)
        status = fourier_coefficients(sum, ws->whole ? 1 : 1 / ws->kept.periods, out, error);
    fourier_free(sum);
    return status;
}
