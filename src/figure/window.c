/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "reduction.h"
#include <dutywright/pieces.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BATCH = 256 };  /* rows looked at together */

/* One interval of the x axis, cut out of the rows: after the jump at its start, before the jump at its end. */
struct piece {
    double from, to;
    struct reduction *reduction;
    bool ended;          /* not joined: a row at or behind its end was kept */
    bool any;
    double first, last;  /* x of the rows that were added */
    double *sum;         /* [4 x channels]: area, what its rounding lost, last values and slopes */
};

struct window {
    struct window_rule rule;
    struct piece *piece;         /* [pieces]: one, or a ring of whole periods */
    size_t pieces, whole, now;   /* whole: periods complete so far; now: the piece that takes rows */
    struct dw_pieces *blocks;    /* NULL: not joined, or no row yet */
    bool open, fresh;            /* rows are drawn; none was since the piece began */
    bool begun;                  /* the first block was seen */
    double *rows;                /* [BATCH x width]: x, values, slopes: not looked at yet; not joined: the last row */
    size_t width, held;
    size_t *slope;               /* [width] where those stand; 0: nowhere */
    bool any;                    /* a row was seen */
    double first, last;          /* x of the table's rows */
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
    free(window->rows);
    free(window->slope);
    dw_pieces_free(window->blocks);
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
    window->width = 1 + 2 * rule->channels;
    window->rows = calloc(BATCH * window->width, sizeof *window->rows);
    window->slope = calloc(window->width, sizeof *window->slope);
    if (!window->piece || !window->rows || !window->slope)
        return out_of_memory(error);
    for (size_t i = 0; i < BATCH * window->width; i++)
        window->rows[i] = NAN;  /* so slopes stay that channels do not have */
    for (size_t c = 0; rule->curve && c < rule->channels; c++)
        window->slope[1 + c] = rule->curve[c] ? 1 + rule->channels + c : 0;
    window->rule.curve = NULL;
    for (size_t i = 0; i < window->pieces; i++) {
        window->piece[i].from = between ? rule->span.from : -INFINITY;
        window->piece[i].to = between ? rule->span.to : INFINITY;
        window->piece[i].sum = calloc(4 * rule->channels, sizeof *window->piece[i].sum);
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
    const double *slope = y + channels, length = piece->any ? x - piece->last : 0;
    double *sum = piece->sum, *lost = sum + channels, *last = lost + channels, *before = last + channels;
    for (size_t c = 0; c < channels; c++) {
        double area = length > 0 ? length * (last[c] / 2 + y[c] / 2) : 0;
        if (length > 0 && window->slope[1 + c])
            area += length * (length * (before[c] - slope[c])) / 12;
        const double total = sum[c] + area;
        before[c] = slope[c];
        lost[c] += fabs(sum[c]) >= fabs(area) ? sum[c] - total + area : area - total + sum[c];
        sum[c] = total;
        last[c] = y[c];
    }
    piece->first = piece->any ? piece->first : x;
    piece->last = x;
    piece->any = true;
    return window->rule.logarithmic && !(x > 0) ? DW_OK : reduction_add(piece->reduction, x, y, slope, error);
}

static enum dw_status count_rows(const struct window *window, const double *rows, size_t count, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (size_t i = 0; i < count && status == DW_OK; i++, rows += window->width)
        status = count_row(window, &window->piece[window->now], rows[0], rows + 1, error);
    return status;
}

/* ---- vertices of a line ---- */

/* Where the span begins or ends, or a period. */
static void reach(struct window *window, const struct dw_instant *instant)
{
    struct piece *piece = &window->piece[window->now];
    window->fresh = true;
    if (window->rule.span.kind != DW_SPAN_LAST) {
        window->open = instant->index == 0;
        return;
    }
    if (window->open && instant->stands_for == 1) {
        window->whole++;
        window->now = (window->now + 1) % window->pieces;
        piece = &window->piece[window->now];
    }
    window->open = true;
    piece->from = instant->at;
    piece->to = dw_period_boundary(window->rule.origin, window->rule.period, instant->index + 1);
    piece->any = false;
    memset(piece->sum, 0, 4 * window->rule.channels * sizeof *piece->sum);
    reduction_empty(piece->reduction);
}

static enum dw_status begin(struct window *window, const struct dw_block *block, struct dw_error *error)
{
    const double *before = dw_pieces_before(window->blocks);
    window->begun = true;
    if (!block->begins)
        return DW_OK;
    reach(window, block->begin);
    window->fresh = !isinf(window->piece[0].from);
    return window->fresh || !before ? DW_OK : count_rows(window, before, 1, error);
}

static enum dw_status take_block(struct window *window, const struct dw_block *block, struct dw_error *error)
{
    enum dw_status status = window->begun ? DW_OK : begin(window, block, error);
    if (status == DW_OK && block->passed)
        return window->open && !window->fresh ? count_rows(window, block->rows, block->count, error) : DW_OK;
    if (status == DW_OK && window->open) {
        const size_t known = !(window->fresh || block->jump);
        status = count_rows(window, block->rows + known * window->width, block->count - known, error);
        window->fresh = false;
    }
    if (status == DW_OK && block->ends)
        reach(window, block->end);
    return status;
}

static enum dw_status begin_blocks(struct window *window, struct dw_error *error)
{
    const struct window_rule *rule = &window->rule;
    struct dw_pieces_plan plan = { .columns = window->width, .slope = window->slope, .clocks = 1,
                                   .clock = { { .from = window->piece[0].from, .to = window->piece[0].to } } };
    if (rule->span.kind == DW_SPAN_LAST)
        plan.clock[0] = (struct dw_clock){ .period = rule->period, .origin = rule->origin, .from = -INFINITY, .to = INFINITY,
                                           .keep = (double)window->pieces + 1 };
    window->blocks = dw_pieces_new(&plan, error);
    return window->blocks ? DW_OK : DW_NO_MEMORY;
}

static enum dw_status look(struct window *window, struct dw_error *error)
{
    enum dw_status status = window->blocks ? DW_OK : begin_blocks(window, error);
    if (status != DW_OK)
        return status;
    dw_pieces_put(window->blocks, window->rows, window->held);
    window->held = 0;
    for (const struct dw_block *block; status == DW_OK;)
        if ((status = dw_pieces_next(window->blocks, &block, error)) == DW_OK)
            status = take_block(window, block, error);
    return status == DW_END ? DW_OK : status;
}

/* The value that the table's end jumps to is drawn, too, where the end is the span's. */
static enum dw_status end_blocks(struct window *window, struct dw_error *error)
{
    const enum dw_status status = look(window, error);
    const double *last = window->begun ? dw_pieces_beyond(window->blocks) : dw_pieces_last(window->blocks);
    const bool wanted = window->begun ? window->open && window->rule.span.kind != DW_SPAN_LAST
                                      : last[0] >= window->piece[0].from && last[0] <= window->piece[0].to;
    return status != DW_OK || !last || !wanted ? status : count_rows(window, last, 1, error);
}

/* ---- rows that no line joins ---- */

/* Those beside the span are kept, since a curve may be drawn to them. */
static enum dw_status add_apart(struct window *window, const double *row, struct dw_error *error)
{
    struct piece *piece = &window->piece[0];
    enum dw_status status = DW_OK;
    if (!piece->ended && row[0] > piece->from) {
        if (window->held && !piece->any && !isinf(piece->from))
            status = count_rows(window, window->rows, 1, error);
        if (status == DW_OK)
            status = count_rows(window, row, 1, error);
        piece->ended = row[0] >= piece->to;
    }
    memcpy(window->rows, row, window->width * sizeof *row);
    window->held = 1;
    return status;
}

enum dw_status window_add(struct window *window, double x, const double *y, const double *slope, struct dw_error *error)
{
    double *row = window->rows + (window->rule.joined ? window->held : BATCH - 1) * window->width;
    row[0] = x;
    memcpy(row + 1, y, window->rule.channels * sizeof *y);
    for (size_t c = 0; c < window->rule.channels; c++)
        if (window->slope[1 + c])
            row[1 + window->rule.channels + c] = slope[c];
    if (!window->any)
        window->first = x;
    window->any = true;
    window->last = x;
    if (!window->rule.joined)
        return add_apart(window, row, error);
    return ++window->held < BATCH ? DW_OK : look(window, error);
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
        const struct piece *piece = &window->piece[(window->now + window->pieces - periods + i - 1) % window->pieces];
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
    const enum dw_status status = window->rule.joined ? end_blocks(window, error) : DW_OK;
    if (status != DW_OK)
        return status;
    if (window->rule.logarithmic && window->last <= 0)
        return dw_error_set(error, DW_BAD_INPUT, 0, "a logarithmic axis begins above zero, and the rows run from %g to %g",
                            window->first, window->last);
    if (window->rule.span.kind == DW_SPAN_LAST)
        return join_periods(window, from, to, error);
    if (!reduction_strips(piece->reduction))
        return dw_error_set(error, DW_BAD_INPUT, 0, "nothing lies in the span %g:%g; the rows run from %g to %g",
                            piece->from, piece->to, window->first, window->last);
    *from = isinf(piece->from) ? window->first : piece->from;
    *to = isinf(piece->to) ? window->last : piece->to;
    return DW_OK;
}

bool window_mean(const struct window *window, size_t channel, double *mean)
{
    const size_t channels = window->rule.channels;
    const bool ring = window->rule.span.kind == DW_SPAN_LAST;
    double area = 0, length = 0;
    for (size_t i = 0; i < (ring ? window->rule.span.periods : 1); i++) {
        const struct piece *piece = &window->piece[ring ? (window->now + window->pieces - 1 - i) % window->pieces : 0];
        area += piece->sum[channel] + piece->sum[channels + channel];
        length += piece->any ? piece->last - piece->first : 0;
    }
    *mean = area / length;
    return length > 0 && isfinite(*mean);
}
