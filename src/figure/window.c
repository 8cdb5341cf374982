/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "window.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* One stretch of the x axis, cut out of the rows: after the jump at its start, before the jump at its end. */
struct piece {
    double from, to;
    struct reduction *reduction;
    bool begun, ended;
    bool held;  /* the last row seen lies exactly at the start: it counts only if no other follows there */
    bool any;
    double first, last;  /* x of the rows that were added */
    double *sum;         /* [3 x channels]: area under the lines, what its rounding lost, last values */
};

struct window {
    struct window_rule rule;
    struct piece *piece;         /* [pieces]: one, or a ring of whole periods */
    size_t pieces, whole, open;  /* whole: periods complete so far; open: the piece that takes rows */
    double index;                /* of the period that the open piece shows */
    bool any, indexed;           /* a row was seen; `index` is known */
    double first, previous_x;    /* first and last x of the table */
    double *previous, *between;  /* [channels] each: the last row's values, and room for values put in */
    struct reduction *joined;    /* of all periods */
};

static void *out_of_memory(struct dw_error *error)
{
    dw_no_memory(error);
    return NULL;
}

static void piece_free(struct piece *piece)
{
    reduction_free(piece->reduction);
    free(piece->sum);
}

void window_free(struct window *window)
{
    if (!window)
        return;
    for (size_t i = 0; window->piece && i < window->pieces; i++)
        piece_free(&window->piece[i]);
    free(window->piece);
    free(window->previous);
    free(window->between);
    reduction_free(window->joined);
    free(window);
}

static enum dw_status check_rule(const struct window_rule *rule, struct dw_error *error)
{
    if (rule->span.kind != DW_SPAN_LAST)
        return DW_OK;
    if (!(rule->period > 0))
        return dw_error_set(error, DW_BAD_INPUT, 0, "a span of whole periods needs the header's period; give A:B");
    if (rule->span.periods > MOST_PERIODS_SHOWN)
        return dw_error_set(error, DW_BAD_USE, 0, "a figure shows at most the last %d periods; give A:B",
                            (int)MOST_PERIODS_SHOWN);
    return DW_OK;
}

static bool make_pieces(struct window *window, struct dw_error *error)
{
    const struct window_rule *rule = &window->rule;
    const bool ring = rule->span.kind == DW_SPAN_LAST;
    const bool between = rule->span.kind == DW_SPAN_BETWEEN;
    const size_t periods = ring ? (size_t)rule->span.periods : 1;
    const size_t strips = rule->strips / periods + 16;
    window->pieces = ring ? periods + 1 : 1;
    window->piece = calloc(window->pieces, sizeof *window->piece);
    window->previous = calloc(rule->channels, sizeof *window->previous);
    window->between = calloc(rule->channels, sizeof *window->between);
    if (!window->piece || !window->previous || !window->between)
        return out_of_memory(error);
    for (size_t i = 0; i < window->pieces; i++) {
        window->piece[i].from = between ? rule->span.from : -INFINITY;
        window->piece[i].to = between ? rule->span.to : INFINITY;
        window->piece[i].sum = calloc(3 * rule->channels, sizeof *window->piece[i].sum);
        if (!window->piece[i].sum)
            return out_of_memory(error);
        window->piece[i].reduction = reduction_new(rule->channels, ring ? strips : rule->strips, error);
        if (!window->piece[i].reduction)
            return false;
    }
    return true;
}

struct window *window_new(const struct window_rule *rule, struct dw_error *error)
{
    if (check_rule(rule, error) != DW_OK)
        return NULL;
    struct window *window = calloc(1, sizeof *window);
    if (!window)
        return out_of_memory(error);
    window->rule = *rule;
    if (make_pieces(window, error))
        return window;
    window_free(window);
    return NULL;
}

struct reduction *window_reduction(struct window *window)
{
    return window->joined ? window->joined : window->piece[0].reduction;
}

/* Adds a row that counts. The area is summed with compensation: Neumaier 1974, ZAMM 54:39. */
static enum dw_status count_row(const struct window *window, struct piece *piece, double x, const double *y,
                                struct dw_error *error)
{
    const size_t channels = window->rule.channels;
    double *sum = piece->sum, *lost = sum + channels, *last = lost + channels;
    for (size_t c = 0; c < channels; c++) {
        const double area = piece->any ? (x - piece->last) * (last[c] / 2 + y[c] / 2) : 0, total = sum[c] + area;
        lost[c] += fabs(sum[c]) >= fabs(area) ? sum[c] - total + area : area - total + sum[c];
        sum[c] = total;
        last[c] = y[c];
    }
    piece->first = piece->any ? piece->first : x;
    piece->last = x;
    piece->any = true;
    return window->rule.logarithmic && !(x > 0) ? DW_OK : reduction_add(piece->reduction, x, y, error);
}

/* Adds the value at `at` on the line from the row before to (x, y). */
static enum dw_status add_between(struct window *window, struct piece *piece, double at, double x, const double *y,
                                  struct dw_error *error)
{
    const double share = (at - window->previous_x) / (x - window->previous_x);
    for (size_t c = 0; c < window->rule.channels; c++)
        window->between[c] = (1 - share) * window->previous[c] + share * y[c];
    return count_row(window, piece, at, window->between, error);
}

/* What comes before the first row inside: the row held at the start, or the line from the row before it. */
static enum dw_status begin(struct window *window, struct piece *piece, double x, const double *y,
                            struct dw_error *error)
{
    const bool before = window->any && window->previous_x < x;
    piece->begun = true;
    if (!before || isinf(piece->from))
        return DW_OK;
    if (piece->held)
        return count_row(window, piece, piece->from, window->previous, error);
    if (window->rule.joined)
        return add_between(window, piece, piece->from, x, y, error);
    return count_row(window, piece, window->previous_x, window->previous, error);
}

static enum dw_status add_to_piece(struct window *window, struct piece *piece, double x, const double *y,
                                   struct dw_error *error)
{
    if (piece->ended || x < piece->from)
        return DW_OK;
    if (x == piece->from) {
        piece->held = true;
        return DW_OK;
    }
    enum dw_status status = piece->begun ? DW_OK : begin(window, piece, x, y, error);
    if (status != DW_OK)
        return status;
    piece->ended = x >= piece->to;
    if (x > piece->to && window->rule.joined)
        return add_between(window, piece, piece->to, x, y, error);
    return count_row(window, piece, x, y, error);
}

static void open_period(struct window *window, double index)
{
    struct piece *piece = &window->piece[window->open];
    window->index = index;
    piece->from = dw_period_boundary(window->rule.origin, window->rule.period, index);
    piece->to = dw_period_boundary(window->rule.origin, window->rule.period, index + 1);
    piece->begun = piece->ended = piece->held = piece->any = false;
    memset(piece->sum, 0, 3 * window->rule.channels * sizeof *piece->sum);
    reduction_empty(piece->reduction);
}

/* Rows of a table of which the last whole periods are wanted: one piece a period, the oldest used again. */
static enum dw_status add_to_ring(struct window *window, double x, const double *y, struct dw_error *error)
{
    bool on_boundary;
    const double index = dw_period_index(window->rule.origin, window->rule.period, x, &on_boundary);
    if (on_boundary)
        x = dw_period_boundary(window->rule.origin, window->rule.period, index);
    if (!window->indexed)
        open_period(window, on_boundary ? index : index + 1);
    window->indexed = true;
    enum dw_status status = add_to_piece(window, &window->piece[window->open], x, y, error);
    while (status == DW_OK && x >= window->piece[window->open].to) {
        window->open = (window->open + 1) % window->pieces;
        window->whole++;
        /* a gap of many periods between two rows: only the last can be wanted */
        const double oldest = index - (double)window->pieces;
        open_period(window, window->index + 1 < oldest ? oldest : window->index + 1);
        status = add_to_piece(window, &window->piece[window->open], x, y, error);
    }
    return status;
}

enum dw_status window_add(struct window *window, double x, const double *y, struct dw_error *error)
{
    const bool ring = window->rule.span.kind == DW_SPAN_LAST;
    const enum dw_status status = ring ? add_to_ring(window, x, y, error)
                                       : add_to_piece(window, &window->piece[0], x, y, error);
    if (status != DW_OK)
        return status;
    if (!window->any)
        window->first = x;
    window->any = true;
    window->previous_x = x;
    memcpy(window->previous, y, window->rule.channels * sizeof *y);
    return DW_OK;
}

static enum dw_status append_all(struct reduction *to, const struct reduction *from, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (size_t i = 0; i < reduction_strips(from) && status == DW_OK; i++)
        status = reduction_append(to, reduction_strip(from, i, 0), error);
    return status;
}

/* The whole periods of the ring in one reduction. */
static enum dw_status join_periods(struct window *window, double *from, double *to, struct dw_error *error)
{
    const size_t periods = (size_t)window->rule.span.periods;
    size_t strips = 8;
    if (window->whole < periods)
        return dw_error_set(error, DW_BAD_INPUT, 0, "the last %zu whole periods were asked for, and there are only %zu",
                            periods, window->whole);
    for (size_t i = 0; i < window->pieces; i++)
        strips += reduction_strips(window->piece[i].reduction);
    window->joined = reduction_new(window->rule.channels, strips, error);
    if (!window->joined)
        return DW_NO_MEMORY;
    enum dw_status status = DW_OK;
    for (size_t i = 1; i <= periods && status == DW_OK; i++) {
        /* NOLINTNEXTLINE(clang-analyzer-core.DivideZero): there are more pieces than periods, since so many are whole */
        const struct piece *piece = &window->piece[(window->open + i) % window->pieces];
        status = append_all(window->joined, piece->reduction, error);
        if (i == 1)
            *from = piece->from;
        *to = piece->to;
    }
    return status;
}

enum dw_status window_finish(struct window *window, double *from, double *to, struct dw_error *error)
{
    const struct piece *piece = &window->piece[0];
    if (!window->any)
        return dw_error_set(error, DW_BAD_INPUT, 0, "there are no rows to draw");
    if (window->rule.logarithmic && window->previous_x <= 0)
        return dw_error_set(error, DW_BAD_INPUT, 0, "a logarithmic axis begins above zero, and the rows run from %g to %g",
                            window->first, window->previous_x);
    if (window->rule.span.kind == DW_SPAN_LAST)
        return join_periods(window, from, to, error);
    if (!reduction_strips(piece->reduction))
        return dw_error_set(error, DW_BAD_INPUT, 0, "nothing lies in the span %g:%g; the rows run from %g to %g",
                            piece->from, piece->to, window->first, window->previous_x);
    *from = isinf(piece->from) ? window->first : piece->from;
    *to = isinf(piece->to) ? window->previous_x : piece->to;
    return DW_OK;
}

bool window_mean(const struct window *window, size_t channel, double *mean)
{
    const size_t channels = window->rule.channels;
    const bool ring = window->rule.span.kind == DW_SPAN_LAST;
    double area = 0, length = 0;
    for (size_t i = ring; i < (ring ? window->rule.span.periods + 1 : 1); i++) {
        const struct piece *piece = &window->piece[(window->open + i) % window->pieces];
        area += piece->sum[channel] + piece->sum[channels + channel];
        length += piece->any ? piece->last - piece->first : 0;
    }
    *mean = area / length;
    return length > 0 && isfinite(*mean);
}
