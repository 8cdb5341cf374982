/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The rows of a record whose lines are asked, all in one place, the open period's last. */
#include "measure/spectrum_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PARTS = 64 };

static bool group_new(struct period_group *g, size_t channels)
{
    *g = (struct period_group){ .moments = { .empty = true, .of = calloc(channels, sizeof *g->moments.of) } };
    return g->moments.of != NULL;
}

static void group_clear(struct period_group *g)
{
    free(g->high);
    *g = (struct period_group){ .moments = { .empty = true, .of = g->moments.of } };
}

static void group_free(struct period_group *g)
{
    group_clear(g);
    free(g->moments.of);
}

bool dwi_windows_new(struct windows *ws)
{
    ws->period = (struct accumulator){ .empty = true, .of = calloc(ws->channels, sizeof *ws->period.of) };
    ws->total = (struct accumulator){ .empty = true, .of = calloc(ws->channels, sizeof *ws->total.of) };
    ws->slope_of = calloc(ws->channels, sizeof *ws->slope_of);
    ws->before = calloc(ws->channels, 2 * sizeof *ws->before);
    if (!group_new(&ws->open, ws->channels) || !ws->period.of || !ws->total.of || !ws->slope_of || !ws->before)
        return false;
    for (size_t i = 0; i < 2 * ws->channels; i++)
        ws->before[i] = range_of_none();
    ws->width = 1 + ws->channels;
    for (size_t i = 0; ws->slope && i < ws->channels; i++)
        if (ws->slope[ws->column[i]])
            ws->slope_of[i] = ws->width++;
    return true;
}

void dwi_windows_free(struct windows *ws)
{
    for (size_t i = 0; i < ws->count; i++)
        group_free(&ws->closed[i]);
    free(ws->closed);
    group_free(&ws->open);
    free(ws->period.of);
    free(ws->total.of);
    free(ws->slope_of);
    free(ws->before);
    free(ws->row);
}

void dwi_windows_forget(struct windows *ws)
{
    group_clear(&ws->open);
    ws->period.empty = true;
}

/* ---- rows that go ---- */

static size_t lines_of(const struct windows *ws)
{
    return ws->channels * 2 * (ws->lines + 1);
}

/* Rows from one on, as shares of a period, or with `whole` of all the time that is kept. */
static struct fourier_rows rows_of(const struct windows *ws, size_t first, size_t count, const double *reference)
{
    const double *row = ws->row + first * ws->width;
    return (struct fourier_rows){ .time = row, .value = row + 1, .slope = ws->slope ? row + 1 : NULL, .slope_of = ws->slope_of,
                                  .time_step = ws->width, .value_step = ws->width, .count = count,
                                  .channels = ws->channels, .start = ws->whole ? ws->total.start : 0,
                                  .period = ws->whole ? ws->total.end - ws->total.start : 1, .reference = reference };
}

/* Share of a period, or of the whole, by which rows of these times or of the open period may be off a grid. */
static double slack_of(const struct windows *ws, const struct accumulator *times)
{
    const double latest = fmax(fmax(fabs(times->start), fabs(times->end)), fmax(fabs(ws->period.start), fabs(ws->period.end)));
    return dwi_fourier_slack(latest, ws->whole ? times->end - times->start : ws->length);
}

static void means_of(const struct accumulator *moments, size_t channels, double *mean)
{
    for (size_t i = 0; i < channels; i++)
        mean[i] = dwi_moments_mean(&moments->of[i]);
}

/* All that is summed up of one group has one reference, for it may be parts of a period. */
static enum dw_status begin_sum(struct windows *ws, struct period_group *g, struct dw_error *error)
{
    const size_t lines = lines_of(ws);
    g->high = calloc(3 * lines + ws->channels, sizeof *g->high);
    if (!g->high)
        return dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for %zu lines", ws->lines);
    g->low = g->high + lines;
    g->more = g->low + lines;
    g->reference = g->more + lines;
    means_of(g->moments.empty ? &ws->period : &g->moments, ws->channels, g->reference);
    return DW_OK;
}

/* The lines of a group's rows, added to what it has. `grid`: cells of theirs, 0: not looked for. */
static enum dw_status sum_up(struct windows *ws, struct period_group *g, size_t first, size_t grid, struct dw_error *error)
{
    enum dw_status status = g->high ? DW_OK : begin_sum(ws, g, error);
    if (status != DW_OK)
        return status;
    const struct fourier_rows rows = rows_of(ws, first, g->rows, g->reference);
    const struct fourier_way way = { .grid = grid };
    if (grid)
        status = dwi_fourier_by(&way, &rows, ws->lines, g->more, error);
    else
        status = dwi_fourier(&rows, slack_of(ws, &g->moments), ws->lines, g->more, error);
    if (status == DW_OK)
        add_each(g->high, g->low, g->more, lines_of(ws));
    return status;
}

/* Cells of a grid on which many periods of pulses lie, much fewer than their rows; 0: they do not, or never jump. */
static size_t ticks_of(const struct windows *ws, const struct period_group *g, size_t first)
{
    const struct fourier_rows rows = rows_of(ws, first, g->rows, NULL);
    const double *row = rows.time;
    bool jumps = false;
    if (ws->slope)
        return 0;
    for (size_t i = 1; i < g->rows && !jumps; i++, row += ws->width)
        jumps = row[0] == row[ws->width];
    return jumps ? dwi_fourier_grid(&rows, slack_of(ws, &g->moments), g->rows / 4) : 0;
}

/* Rows of a group go into sums, if they are pulses on a few ticks, whose sums hold all there is to them, or `all` have to. Of an
 * open period the last row stays, where the next line begins. */
static enum dw_status spill(struct windows *ws, struct period_group *g, bool all, struct dw_error *error)
{
    const bool open = g == &ws->open;
    const size_t first = open ? ws->first_open : ws->first, grid = g->rows > 1 ? ticks_of(ws, g, first) : 0;
    if (g->rows < 2 || !(all || grid))
        return DW_OK;
    const enum dw_status status = sum_up(ws, g, first, grid, error);
    if (open)
        memmove(ws->row + first * ws->width, ws->row + (first + g->rows - 1) * ws->width, ws->width * sizeof *ws->row);
    else
        ws->first += g->rows;
    g->rows = open;
    return status;
}

/* ---- rows that come ---- */

/* Moves the rows to the front. */
static void compact(struct windows *ws)
{
    const size_t rows = ws->first_open + ws->open.rows - ws->first;
    if (rows && ws->first)
        memmove(ws->row, ws->row + ws->first * ws->width, rows * ws->width * sizeof *ws->row);
    ws->first_open -= ws->first;
    ws->first = 0;
}

/* The one rule of what becomes of rows for which there is no more room: it is doubled, up to what may be kept. From the 64th part
 * of that on pulses go into sums instead, and in the end all rows do. Others are kept until then, for what a fundamental leaves of
 * them is known from rows alone. */
static enum dw_status make_room(struct windows *ws, size_t more, struct dw_error *error)
{
    const size_t size = ws->width * sizeof *ws->row;
    if (ws->first_open + ws->open.rows + more <= ws->room)
        return DW_OK;
    compact(ws);
    size_t rows = ws->first_open + ws->open.rows + more;
    if (!ws->whole && rows > ws->most_rows / PARTS) {
        enum dw_status status = ws->last || !ws->count ? DW_OK : spill(ws, &ws->closed[0], rows > ws->most_rows, error);
        if (status == DW_OK)
            status = spill(ws, &ws->open, ws->open.rows + more > ws->most_rows, error);
        if (status != DW_OK)
            return status;
        compact(ws);
        rows = ws->first_open + ws->open.rows + more;
    }
    if (rows <= ws->room / 2)
        return DW_OK;
    /* a little more than what first came, doubled: where that comes in powers of two, so many fit */
    const size_t most = ws->whole ? (size_t)-1 : ws->most_rows + (ws->last ? ws->first_open : 0);
    const size_t wanted = 2 * ws->room > rows ? 2 * ws->room : rows + 14;
    const size_t room = rows > most ? rows : wanted > most ? most : wanted;
    double *row = room < (size_t)-1 / size ? realloc(ws->row, room * size) : NULL;  /* unrun: address-space */
    if (!row)
        return dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for the %zu rows of the span", rows);
    ws->row = row;
    ws->room = room;
    return DW_OK;
}

/* Channels of a row as read, behind its place; slopes are then a unit of place. */
static double *put_channels(const struct windows *ws, const double *row, double *to)
{
    for (size_t c = 0; c < ws->channels; c++)
        *to++ = row[ws->column[c]];
    for (size_t c = 0; ws->slope && c < ws->channels; c++)
        if (ws->slope_of[c])
            *to++ = row[ws->slope[ws->column[c]]] * (ws->whole ? 1 : ws->length);
    return to;
}

enum dw_status dwi_windows_append(struct windows *ws, double place, const double *values, struct dw_error *error)
{
    const enum dw_status status = make_room(ws, 1, error);
    if (status != DW_OK)
        return status;
    double *to = ws->row + (ws->first_open + ws->open.rows++) * ws->width;
    *to = place;
    put_channels(ws, values, to + 1);
    return DW_OK;
}

enum dw_status dwi_windows_append_rows(struct windows *ws, const double *row, size_t rows, size_t pitch, double start,
                                       struct dw_error *error)
{
    const enum dw_status status = make_room(ws, rows, error);
    if (status != DW_OK)
        return status;
    double *to = ws->row + (ws->first_open + ws->open.rows) * ws->width;
    ws->open.rows += rows;
    for (size_t i = 0; i < rows; i++, row += pitch) {
        *to = ws->whole ? row[0] : (row[0] - start) / ws->length;
        to = put_channels(ws, row, to + 1);
    }
    return DW_OK;
}

/* The sum of the parts of a cubic, one a period, is a cubic with the same rise: docs/theory.md, equation 5.19. */
void dwi_windows_fold(struct windows *ws, double periods)
{
    double *to = ws->row + (ws->first_open + ws->open.rows - 1) * ws->width, *from = to - ws->width;
    for (size_t c = 0; ws->slope && c < ws->channels; c++) {
        const size_t s = ws->slope_of[c];
        if (!s)
            continue;
        const struct hermite h = hermite_of(periods, from[1 + c], from[s], to[1 + c], to[s]);
        const double middle = 2 * (h.rise - h.odd + h.odd * (1 + 2 / (periods * periods))), apart = 4 * h.even / periods;
        from[s] = middle + apart;
        to[s] = middle - apart;
    }
}

/* ---- periods that end ---- */

/* The open group joins the only closed one. */
static void join(struct windows *ws, struct period_group *onto)
{
    struct period_group *g = &ws->open;
    const size_t lines = lines_of(ws);
    if (g->high && onto->high) {  /* unrun: implied */
        add_each(onto->high, onto->low, g->high, lines);
        add_each(onto->high, onto->low, g->low, lines);
    } else if (g->high) {  /* unrun: implied */
        onto->high = g->high;
        onto->low = g->low;
        onto->more = g->more;
        onto->reference = g->reference;
        g->high = NULL;
    }
    onto->rows += g->rows;
    onto->periods += g->periods;
    onto->alike = onto->alike || g->alike;
    dwi_moments_append(&onto->moments, &g->moments, ws->channels);
}

/* Room for one closed group more. */
static enum dw_status grow(struct windows *ws, size_t most, struct dw_error *error)
{
    if (ws->count == ws->room_closed) {
        const size_t limit = (size_t)-1 / sizeof *ws->closed, top = most < limit ? most : limit;
        const size_t room = ws->room_closed > top / 2 ? top : 2 * ws->room_closed + 1;
        struct period_group *closed = realloc(ws->closed, room * sizeof *closed);
        if (!closed)
            return dw_no_memory(error);
        ws->closed = closed;
        ws->room_closed = room;
    }
    if (!group_new(&ws->closed[ws->count], ws->channels))
        return dw_no_memory(error);
    ws->count++;
    return DW_OK;
}

/* The open group is the latest of the closed ones; the oldest of so many goes. */
static enum dw_status push(struct windows *ws, size_t most, struct dw_error *error)
{
    const enum dw_status status = ws->next == ws->count ? grow(ws, most, error) : DW_OK;
    if (status != DW_OK)
        return status;
    const struct period_group oldest = ws->closed[ws->next];
    for (size_t i = 0; i < ws->channels && !oldest.moments.empty; i++) {
        ws->before[2 * i + 1] = ws->before[2 * i];
        ws->before[2 * i] = (struct value_range){ oldest.moments.of[i].minimum, oldest.moments.of[i].maximum };
    }
    ws->first += oldest.rows;
    ws->closed[ws->next] = ws->open;
    ws->open = oldest;
    ws->next = (ws->next + 1) % most;
    return DW_OK;
}

enum dw_status dwi_windows_close(struct windows *ws, double periods, bool whole_group, struct dw_error *error)
{
    struct period_group *g = &ws->open;
    enum dw_status status = DW_OK;
    dwi_moments_append(&g->moments, &ws->period, ws->channels);
    ws->period.empty = true;
    g->periods += periods;
    g->alike = g->alike || periods > 1;
    if (!whole_group)
        return DW_OK;
    if (g->high) { /* the rest of what has been summed up, which has a reference of its own */
        status = sum_up(ws, g, ws->first_open, 0, error);
        g->rows = 0;
    }
    ws->first_open += g->rows;
    if (status == DW_OK && !ws->last && ws->count)
        join(ws, &ws->closed[0]);
    else if (status == DW_OK)
        status = push(ws, ws->last ? (size_t)ws->last : 1, error);
    group_clear(g);
    return status;
}

static const struct period_group *group_at(const struct windows *ws, size_t i)
{
    return &ws->closed[(ws->next + i) % ws->count];
}

void dwi_windows_total(struct windows *ws)
{
    for (size_t i = 0; i < ws->count; i++) { /* the oldest first */
        dwi_moments_append(&ws->total, &group_at(ws, i)->moments, ws->channels);
        ws->periods += group_at(ws, i)->periods;
    }
}

enum dw_status dwi_windows_coefficients(struct windows *ws, size_t lines, double *out, struct dw_error *error)
{
    double *mean = calloc(ws->channels, sizeof *mean);
    if (!mean)
        return dw_no_memory(error);
    means_of(&ws->total, ws->channels, mean);
    const struct fourier_rows rows = rows_of(ws, ws->first, ws->first_open - ws->first, mean);
    const enum dw_status status = rows.count ? dwi_fourier(&rows, slack_of(ws, &ws->total), lines, out, error) : DW_OK;
    free(mean);
    for (size_t i = 0; i < ws->count && status == DW_OK; i++)
        for (size_t k = 0; k < lines_of(ws) && ws->closed[i].high; k++)
            out[k] += ws->closed[i].high[k] + ws->closed[i].low[k];
    for (size_t k = 0; k < ws->channels * 2 * (lines + 1) && !ws->whole; k++)
        out[k] /= ws->periods;
    return status;
}
