/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows cut into blocks. What is put in lies in rows of our own; all else stays where the caller has it. */
#include "table/header_inner.h"
#include <dutywright/pieces.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FIRST_CUTS = 3, LAST_CUTS = 4 };  /* boundaries in one straight line that are cut at in any case */

struct dw_pieces {
    size_t columns, clocks, level_count;
    size_t *slope;                /* [columns]; NULL: straight lines */
    struct dw_level *level;
    struct clock clock[DW_CLOCKS];
    struct dw_clock asked[DW_CLOCKS];
    char place[256];

    const double *row, *before;   /* the next row and the one before it, in the caller's memory or ours */
    size_t left;                  /* rows from `row` on */
    double *first, *last;         /* [columns]: the first row; `before`, where the caller's memory has gone */
    double *pair;                 /* [2 x columns]: a block of a row that was put in, or of two that lie apart */
    double *apart;                /* [columns]: the row at which a line was last cut */
    unsigned long long rows;
    double next_cut, quiet_until; /* s; rows up to quiet_until are on the instant before */
    size_t next;                  /* the clock of next_cut */
    double blurred_from;          /* s: from here on the instants of a clock cannot be told apart */
    bool begun, jumps_in;         /* the first row was looked at; there is another at its instant */
    bool second;                  /* `before` is not the first row of its instant */
    double reached[DW_CLOCKS];    /* index of each clock's last instant; NAN: none yet */
    bool missed[DW_CLOCKS];
    const double *split_from;     /* not NULL: the line from here to `row` is being cut */
    int cuts;                     /* so far in that line */
    struct dw_block block;
};

static bool make_room(struct dw_pieces *p, const struct dw_pieces_plan *plan)
{
    p->first = calloc(5 * p->columns, sizeof *p->first);
    if (!p->first)
        return false;
    p->last = p->first + p->columns;
    p->pair = p->last + p->columns;
    p->apart = p->pair + 2 * p->columns;
    if (plan->slope && (p->slope = malloc(p->columns * sizeof *p->slope)))
        memcpy(p->slope, plan->slope, p->columns * sizeof *p->slope);
    if (plan->level_count && (p->level = malloc(plan->level_count * sizeof *p->level)))
        memcpy(p->level, plan->levels, plan->level_count * sizeof *p->level);
    return (!plan->slope || p->slope) && (!plan->level_count || p->level);
}

static bool has_columns(const struct dw_pieces_plan *plan)
{
    if (plan->columns < 2 || plan->clocks > DW_CLOCKS)
        return false;
    for (size_t i = 0; i < plan->level_count; i++)
        if (!plan->levels[i].column || plan->levels[i].column >= plan->columns)
            return false;
    for (size_t i = 0; plan->slope && i < plan->columns; i++)
        if (plan->slope[i] >= plan->columns || (!i && plan->slope[i]))
            return false;
    return true;
}

static bool has_order(const struct dw_clock *clock)
{
    if (clock->period > 0)
        return isfinite(clock->period) && isfinite(clock->origin) && clock->from < clock->to && clock->keep >= 0 && clock->group >= 0;
    return clock->period == 0 && clock->from <= clock->to;
}

struct dw_pieces *dw_pieces_new(const struct dw_pieces_plan *plan, struct dw_error *error)
{
    bool fits = has_columns(plan);
    for (size_t i = 0; fits && i < plan->clocks; i++)
        fits = has_order(&plan->clock[i]);
    if (!fits) {
        dw_error_set(error, DW_BAD_USE, 0, "pieces: the columns must be there, and each clock's instants in order");
        return NULL;
    }
    struct dw_pieces *p = calloc(1, sizeof *p);
    if (!p) {
        dw_no_memory(error);
        return NULL;
    }
    *p = (struct dw_pieces){ .columns = plan->columns, .clocks = plan->clocks, .level_count = plan->level_count,
                             .next_cut = INFINITY, .quiet_until = -INFINITY };
    snprintf(p->place, sizeof p->place, "%s", plan->place ? plan->place : "");
    for (size_t i = 0; i < DW_CLOCKS; i++) {
        p->asked[i] = plan->clock[i];
        p->reached[i] = NAN;
    }
    if (make_room(p, plan))
        return p;
    dw_pieces_free(p);
    dw_no_memory(error);
    return NULL;
}

void dw_pieces_free(struct dw_pieces *p)
{
    if (!p)
        return;
    free(p->first);
    free(p->slope);
    free(p->level);
    free(p);
}

void dw_pieces_put(struct dw_pieces *p, const double *rows, size_t count)
{
    p->row = rows;
    p->left = count;
}

unsigned long long dw_pieces_rows(const struct dw_pieces *p)
{
    return p->rows;
}

const double *dw_pieces_first(const struct dw_pieces *p)
{
    return p->begun ? p->first : NULL;
}

const double *dw_pieces_last(const struct dw_pieces *p)
{
    return p->begun ? p->before : NULL;
}

const double *dw_pieces_before(const struct dw_pieces *p)
{
    return p->jumps_in ? p->first : NULL;
}

const double *dw_pieces_beyond(const struct dw_pieces *p)
{
    return p->second ? p->before : NULL;
}

bool dw_pieces_missed(const struct dw_pieces *p, size_t clock)
{
    return p->missed[clock];
}

/* ---- a row between two others ---- */

void dw_row_between(size_t columns, const size_t *slope, const double *a, const double *b, double time, double *row)
{
    const double length = b[0] - a[0], share = length > 0 ? (time - a[0]) / length : 1;
    if (!(share > 0 && share < 1)) {
        memcpy(row, share <= 0 ? a : b, columns * sizeof *row);
        row[0] = time;
        return;
    }
    for (size_t i = 1; i < columns; i++) {
        const double change = b[i] - a[i];
        row[i] = isfinite(change) ? a[i] + share * change : (1 - share) * a[i] + share * b[i];
    }
    for (size_t i = 1; slope && i < columns; i++) {
        const size_t s = slope[i];
        if (!s)
            continue;
        /* the cubic is the line and, beside it, what the slopes at its ends are off by */
        const double chord = (b[i] - a[i]) / length, from = a[s] - chord, to = b[s] - chord, rest = 1 - share;
        row[i] += length * share * rest * (rest * from - share * to);
        row[s] = chord + rest * (1 - 3 * share) * from + share * (3 * share - 2) * to;
    }
    row[0] = time;
}

/* ---- instants ---- */

static void find_next_cut(struct dw_pieces *p)
{
    p->next_cut = p->blurred_from = INFINITY;
    for (size_t i = 0; i < p->clocks; i++) {
        const struct clock *clock = &p->clock[i];
        if (clock->earliest <= p->next_cut) {
            p->next_cut = clock->earliest;
            p->next = i;
        }
        if (clock->blurred_from < p->blurred_from)
            p->blurred_from = clock->blurred_from;
    }
}

/* A clock with a period has no instants beyond the end of its span. */
static void end_clock(struct dw_pieces *p, size_t i)
{
    if (p->asked[i].period > 0 && p->clock[i].earliest > p->asked[i].to)
        p->clock[i] = dwi_clock_none();
}

static enum dw_status check_clocks(const struct dw_pieces *p, double time, struct dw_error *error)
{
    size_t i = 0;
    if (fabs(time) < p->blurred_from)
        return DW_OK;
    while (p->clock[i].blurred_from > fabs(time))
        i++;
    return dw_error_set(error, DW_BAD_INPUT, 0, "%s%sa period of %g s is too short to be told apart at a time of %g s", p->place,
                        *p->place ? ": " : "", p->clock[i].period, time);
}

/* All clocks with an instant at a time go on to their next. Gives which. */
static unsigned reach(struct dw_pieces *p, double time, struct dw_instant *instant)
{
    unsigned which = 0;
    for (size_t i = 0; i < p->clocks; i++) {
        struct clock *clock = &p->clock[i];
        while (clock->earliest <= time) {  /* the two ends of a span may lie so close that both are reached */
            const double k = clock->period > 0 ? clock->k : isnan(p->reached[i]) ? 0 : 1;
            instant[i] = (struct dw_instant){ clock->next, k, k - p->reached[i] };
            p->reached[i] = k;
            p->quiet_until = clock->latest > p->quiet_until ? clock->latest : p->quiet_until;
            which |= 1U << i;
            dwi_clock_advance(clock);
            end_clock(p, i);
        }
    }
    find_next_cut(p);
    return which;
}

/* Many periods inside one line all look alike: the clocks pass over their boundaries, but for the last ones. */
static void skip_alike(struct dw_pieces *p, double end)
{
    for (size_t i = 0; i < p->clocks; i++) {
        struct clock *clock = &p->clock[i];
        const struct dw_clock *asked = &p->asked[i];
        const double to = fmin(end, asked->to), group = (floor(p->reached[i] / asked->group) + 1) * asked->group;
        if (!(clock->period > 0) || isnan(p->reached[i]) || dwi_clock_skip(clock, to, asked->keep) || !(asked->group > 0))
            continue;
        dwi_clock_skip(clock, fmin(to, dw_period_boundary(clock->origin, clock->period, group)), LAST_CUTS);
    }
    find_next_cut(p);
}

static enum dw_status begin(struct dw_pieces *p, struct dw_error *error)
{
    const double time = p->row[0];
    for (size_t i = 0; i < p->clocks; i++) {
        const struct dw_clock *asked = &p->asked[i];
        p->clock[i] = asked->period > 0 ? dwi_clock_periods(asked->origin, asked->period, isfinite(asked->from) ? asked->from : time)
                                        : dwi_clock_between(asked->from, asked->to);
        p->missed[i] = isfinite(p->clock[i].next) && p->clock[i].latest < time;
        if (p->missed[i] && asked->period > 0)
            p->clock[i] = dwi_clock_periods(asked->origin, asked->period, time);
        end_clock(p, i);
    }
    while (p->clocks && p->clock[p->clocks - 1].next == INFINITY)
        p->clocks--;  /* without any instant */
    find_next_cut(p);
    memcpy(p->first, p->row, p->columns * sizeof *p->first);
    p->begun = p->block.jump = true;
    p->block.begins = 0;
    const enum dw_status status = check_clocks(p, time, error);
    if (!status && p->next_cut <= time)
        p->block.begins = reach(p, time, p->block.begin);
    return status;
}

/* ---- blocks ---- */

static void step(struct dw_pieces *p, size_t rows)
{
    p->before = p->row + (rows - 1) * p->columns;
    p->row += rows * p->columns;
    p->left -= rows;
    p->rows += rows;
}

/* What a block takes with it; the next one goes on from its end until something says otherwise. */
static void give(struct dw_pieces *p, const double *rows, size_t count, bool made, unsigned ends)
{
    p->block.rows = rows;
    p->block.count = count;
    p->block.made = made;
    p->block.passed = false;
    p->block.ends = ends;
}

/* The line to the next row. */
static void give_line(struct dw_pieces *p, const double *from, unsigned ends)
{
    const double *rows = from;
    if (from + p->columns != p->row) {
        rows = p->pair;
        memcpy(p->pair, from, p->columns * sizeof *from);
        memcpy(p->pair + p->columns, p->row, p->columns * sizeof *from);
    }
    give(p, rows, 2, false, ends);
    step(p, 1);
}

/* Where a line or cubic from a to b passes a level that lies between its ends: the share of the way there. */
static double share_at(const struct dw_pieces *p, const double *a, const double *b, const struct dw_level *level)
{
    const size_t i = level->column, s = p->slope ? p->slope[i] : 0;
    const double from = a[i] - level->level, rise = b[i] - a[i], length = b[0] - a[0];
    double low = 0, high = 1, share = from / -rise;
    if (!s)
        return share;
    const double off_from = a[s] * length - rise, off_to = b[s] * length - rise;
    /* halved, unless the secant's share is better: monotone between rows, a curve passes once */
    for (int k = 0; k < 64 && low < high; k++) {  /* unrun: count */
        const double rest = 1 - share, value = from + share * rise + share * rest * (rest * off_from - share * off_to);
        const double slope = rise + rest * (1 - 3 * share) * off_from + share * (3 * share - 2) * off_to;
        *((value < 0) == (from < 0) ? &low : &high) = share;
        const double newton = share - value / slope, next = newton > low && newton < high ? newton : low + (high - low) / 2;
        if (value == 0 || next == share)
            break;
        share = next;
    }
    return share;
}

/* The first level that is passed behind a and before `time`, a[0] < time <= b[0]; NULL: none. */
static const struct dw_level *level_passed(const struct dw_pieces *p, const double *a, const double *b, double *time)
{
    const struct dw_level *passed = NULL;
    for (size_t i = 0; i < p->level_count; i++) {
        const struct dw_level *level = &p->level[i];
        const double from = a[level->column] - level->level, to = b[level->column] - level->level;
        if (!((from < 0 && to > 0) || (from > 0 && to < 0)))
            continue;
        const double at = a[0] + (b[0] - a[0]) * share_at(p, a, b, level);
        if (at > a[0] && at < *time) {  /* unrun: rounding */
            *time = at;
            passed = level;
        }
    }
    return passed;
}

/* One block of the line from split_from to the next row, which passes an instant or a level. */
static void split(struct dw_pieces *p)
{
    const double *a = p->split_from, *b = p->row;
    const struct clock *clock = &p->clock[p->next];
    const bool reached = b[0] >= p->next_cut;
    const double instant = reached && b[0] > clock->latest ? clock->next : INFINITY;  /* else the row itself may be on it */
    double *made = p->pair + p->columns, time = fmin(instant, b[0]);
    const struct dw_level *level = level_passed(p, a, b, &time);
    if (level) {
        dw_row_between(p->columns, p->slope, a, b, time, made);
        made[level->column] = level->level;
        memcpy(p->pair, a, p->columns * sizeof *a);
        give(p, p->pair, 2, true, 0);
    } else if (isinf(instant)) {
        give_line(p, a, reached ? reach(p, b[0], p->block.end) : 0);
        p->split_from = NULL;
        return;
    } else {
        dw_row_between(p->columns, p->slope, a, b, instant, made);
        memcpy(p->pair, a, p->columns * sizeof *a);
        give(p, p->pair, 2, true, reach(p, instant, p->block.end));
        if (++p->cuts >= FIRST_CUTS)
            skip_alike(p, b[0]);
    }
    memcpy(p->apart, made, p->columns * sizeof *p->apart);
    p->split_from = p->apart;
}

/* Another row at the instant of the one before. The one before was passed where it was not the first there. */
static bool meet(struct dw_pieces *p)
{
    const bool passed = p->second;
    p->jumps_in = p->jumps_in || p->rows == 1;
    if (passed) {
        memcpy(p->pair, p->before, p->columns * sizeof *p->pair);
        p->block.passed = true;
        p->block.rows = p->pair;
        p->block.count = 1;
    }
    step(p, 1);
    p->second = true;
    return passed;
}

/* How many rows from the next on follow each other before the next instant, without a jump. */
static size_t plain_rows(const struct dw_pieces *p)
{
    size_t count = 1;
    const double *row = p->row;
    for (double before = *row; count < p->left; count++) {
        row += p->columns;
        if (!(*row > before && *row < p->next_cut))
            break;
        before = *row;
    }
    return count;
}

static enum dw_status time_goes_back(const struct dw_pieces *p, struct dw_error *error)
{
    return dw_error_set(error, DW_BAD_INPUT, p->rows + 1, "%s%srow %llu: time goes back from %.17g to %.17g", p->place,
                        *p->place ? ", " : "", p->rows + 1, p->before[0], p->row[0]);
}

/* The caller's memory goes: the last row is kept. */
static void keep_last(struct dw_pieces *p)
{
    if (p->before && p->before != p->last) {
        memcpy(p->last, p->before, p->columns * sizeof *p->last);
        p->before = p->last;
    }
}

static void follow_on(struct dw_pieces *p)
{
    struct dw_block *block = &p->block;
    if (block->passed || !block->count)
        return;
    if (block->ends)
        memcpy(block->begin, block->end, sizeof block->begin);
    block->begins = block->ends;
    block->ends = 0;
    block->jump = false;
    block->count = 0;
}

static void give_plain_rows(struct dw_pieces *p)
{
    const double *from = p->before;
    p->second = false;
    if (from + p->columns != p->row) {
        give_line(p, from, 0);
        return;
    }
    const size_t rows = plain_rows(p);
    step(p, rows);
    give(p, from, rows + 1, false, 0);
}

/* One step towards the next block.
 *   given   out: it is there */
static enum dw_status take_row(struct dw_pieces *p, bool *given, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    const double time = p->row[0], before = p->begun ? p->before[0] : time;
    if (!p->begun) {
        status = begin(p, error);
        if (status == DW_OK)
            step(p, 1);
    } else if (p->split_from) {
        split(p);
        *given = true;
    } else if (time == before || (time > before && time <= p->quiet_until)) {
        p->block.jump = true;
        *given = meet(p);
    } else if (!(time > before)) {
        status = time_goes_back(p, error);
    } else if (time >= p->next_cut || p->level_count) {
        status = time >= p->next_cut ? check_clocks(p, time, error) : DW_OK;
        p->split_from = status == DW_OK ? p->before : NULL;
        p->cuts = 0;
        p->second = false;
    } else {
        give_plain_rows(p);
        *given = true;
    }
    return status;
}

enum dw_status dw_pieces_next(struct dw_pieces *p, const struct dw_block **block, struct dw_error *error)
{
    bool given = false;
    enum dw_status status = DW_OK;
    *block = &p->block;
    follow_on(p);
    while (p->left && !given && status == DW_OK)
        status = take_row(p, &given, error);
    if (given || status != DW_OK)
        return status;
    keep_last(p);
    return DW_END;
}
