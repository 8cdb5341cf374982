/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables beside each other. */
#include "header_inner.h"
#include <dutywright/beside.h>
#include <dutywright/pieces.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { INSTANTS = 512 }; /* that are given at once */
static const double share_of_spacing = 1e-3; /* what samples may be apart that stand beside each other */

/* One of the tables, at the instant `now` or behind it. */
struct side {
    struct dw_reader *reader;
    size_t columns, *slope;     /* [columns] */
    size_t *column, given;      /* [given] what goes out */
    bool sampled;
    double *now;                /* [columns] the last row of the present instant */
    double *next, *made;        /* [next_count x columns] the rows of the next one; [columns] one put in between */
    size_t next_count, room;
    const double *peek;         /* the row behind those; NULL: there is none */
};

struct dw_beside {
    struct side *side;          /* [sides] */
    size_t sides, columns;
    struct dw_header *header;
    double sampled;             /* 1/s; 0: rows are corners */
    double *out;                /* [out_count x columns] */
    size_t out_count, out_room;
    bool ended;
};

void dw_beside_free(struct dw_beside *b)
{
    if (!b)
        return;
    for (size_t i = 0; b->side && i < b->sides; i++) {
        free(b->side[i].slope);
        free(b->side[i].now);
        free(b->side[i].next);
    }
    free(b->side);
    free(b->out);
    dw_header_free(b->header);
    free(b);
}

/* ---- one table ---- */

static enum dw_status peek(struct side *s, struct dw_error *error)
{
    const enum dw_status status = dw_reader_row(s->reader, &s->peek, error);
    if (status != DW_OK)
        s->peek = NULL;
    return status == DW_END ? DW_OK : status;
}

/* The next instant becomes the present one, and the one behind it is read; next_count 0: there is none. */
static enum dw_status advance(struct side *s, struct dw_error *error)
{
    const size_t size = s->columns * sizeof *s->next;
    enum dw_status status = DW_OK;
    if (s->next_count)
        memcpy(s->now, s->next + (s->next_count - 1) * s->columns, size);
    for (s->next_count = 0; status == DW_OK && s->peek && (!s->next_count || s->peek[0] == s->next[0]); s->next_count++) {
        if (s->next_count == s->room) {
            double *grown = realloc(s->next, (2 * s->room + 4) * size);
            if (!grown)
                return dw_no_memory(error);
            s->next = grown;
            s->room = 2 * s->room + 4;
        }
        memcpy(s->next + s->next_count * s->columns, s->peek, size);
        status = peek(s, error);
    }
    return status;
}

static enum dw_status open_side(struct side *s, struct dw_error *error)
{
    const struct dw_header *header = dw_reader_header(s->reader);
    enum dw_status status = dw_header_needs_time(header, dw_reader_name(s->reader), error);
    if (status != DW_OK)
        return status;
    s->columns = dw_header_columns(header);
    s->sampled = dw_header_facts(header)->sampled > 0;
    s->slope = calloc(2 * s->columns, sizeof *s->slope);
    s->now = calloc(2 * s->columns, sizeof *s->now);
    if (!s->slope || !s->now)
        return dw_no_memory(error);
    s->column = s->slope + s->columns;
    s->made = s->now + s->columns;
    dw_header_slopes(header, s->slope);
    status = peek(s, error);
    if (status == DW_OK && !s->peek)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%.300s: it holds no rows", dw_reader_name(s->reader));
    return status == DW_OK ? advance(s, error) : status;
}

static bool meets(const struct side *s, double time)
{
    return times_meet(s->next[0], time);
}

/* Its j-th row at an instant up to its next one. */
static const double *row_at(struct side *s, double time, size_t j)
{
    if (meets(s, time))
        return s->next + (j < s->next_count ? j : s->next_count - 1) * s->columns;
    dw_row_between(s->columns, s->slope, s->now, s->next, time, s->made);
    return s->made;
}

/* Goes on until the next instant is at a time or behind it; next_count 0: the table ends before it. */
static enum dw_status reach(struct side *s, double time, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    while (status == DW_OK && s->next_count && s->next[0] < time && !meets(s, time))  /* unrun: rounding */
        status = advance(s, error);
    return status;
}

/* ---- the header ---- */

/* Which columns of a table go out. */
static void choose_columns(const struct dw_beside *b, struct side *s)
{
    for (size_t i = 1; i < s->columns; i++)
        if (!(b->sampled > 0 && dw_header_is_slope(dw_reader_header(s->reader), i)))
            s->column[s->given++] = i;
}

static enum dw_status append_channels(struct dw_beside *b, const struct side *s, struct dw_error *error)
{
    const struct dw_header *from = dw_reader_header(s->reader);
    enum dw_status status = DW_OK;
    for (size_t i = 1; status == DW_OK && i < s->columns; i++) {
        const struct dw_column column = dw_header_column(from, i);
        const struct dw_channel_facts *facts = dw_header_channel_facts(from, i);
        if (dw_header_is_slope(from, i))
            continue;
        status = dw_header_append(b->header, column.name, column.unit, error);
        const size_t at = status == DW_OK ? dw_header_columns(b->header) - 1 : 0;
        if (at && s->slope[i] && !(b->sampled > 0))
            status = dw_header_append_slope(b->header, error);
        if (status == DW_OK && (!isnan(facts->accuracy) || !isnan(facts->share)))
            status = dw_header_set_accuracy(b->header, at, facts->accuracy, facts->share, error);
        if (status == DW_OK && !isnan(facts->initial))
            status = dw_header_set_initial(b->header, at, facts->initial, error);
    }
    return status;
}

/* Whether a period of the first table is one of another, boundaries included. */
static bool same_period(const struct dw_facts *one, double period, const struct dw_facts *other, double its)
{
    bool on = false;
    if (period > 0 && times_meet(period, its))
        dw_period_index(one->origin, period, other->origin, &on);
    return on;
}

/* Keys that hold of the first table and not of another. */
static enum dw_status keep_common(struct dw_beside *b, const struct dw_header *other, struct dw_error *error)
{
    const struct dw_facts one = *dw_header_facts(b->header), *its = dw_header_facts(other);
    enum dw_status status = DW_OK;
    const double carrier = one.carrier_period > 0 ? one.carrier_period : one.period;
    const bool pattern = same_period(&one, one.period, its, its->period);
    const bool beat = same_period(&one, carrier, its, its->carrier_period > 0 ? its->carrier_period : its->period);
    if (!pattern)
        dw_header_drop(b->header, "period");
    if (!pattern && beat)
        status = dw_header_set_number(b->header, "carrier-period", carrier, error);
    if (!beat)
        dw_header_drop(b->header, "carrier-period");
    if (!beat && !pattern)
        dw_header_drop(b->header, "origin");
    if (one.tick != its->tick)
        dw_header_drop(b->header, "tick");
    const char *key, *value;
    for (size_t i = 0; status == DW_OK && (key = dw_header_key(other, i, &value)); i++)
        if (!strcmp(key, "made-by") || !strcmp(key, "note"))
            status = dw_header_add(b->header, key, value, error);
    return status;
}

static enum dw_status make_header(struct dw_beside *b, double from, struct dw_error *error)
{
    const struct dw_header *first = dw_reader_header(b->side[0].reader);
    enum dw_status status = DW_OK;
    if (!(b->header = b->sampled > 0 ? dw_header_without_slopes(first, error) : dw_header_copy(first, error)))
        return DW_NO_MEMORY;
    for (size_t i = 0; i < b->sides; i++)
        choose_columns(b, &b->side[i]);
    for (size_t i = 1; status == DW_OK && i < b->sides; i++)
        status = append_channels(b, &b->side[i], error);
    for (size_t i = 1; status == DW_OK && i < b->sides; i++)
        status = keep_common(b, dw_reader_header(b->side[i].reader), error);
    bool cut = false;
    for (size_t i = 0; i < b->sides; i++)
        cut = cut || b->side[i].next[0] < from;
    if (cut)
        dw_header_drop(b->header, "initial");
    if (status == DW_OK && b->sampled > 0)
        status = dw_header_set_number(b->header, "sampled", b->sampled, error);
    b->columns = dw_header_columns(b->header);
    return status;
}

/* ---- samples ---- */

static enum dw_status find_rate(struct dw_beside *b, struct dw_error *error)
{
    const struct side *by = NULL;
    for (size_t i = 0; i < b->sides; i++) {
        const struct side *s = &b->side[i];
        const double rate = dw_header_facts(dw_reader_header(s->reader))->sampled;
        if (by && rate > 0 && fabs(rate / b->sampled - 1) > 1e-6)
            return dw_error_set(error, DW_BAD_INPUT, 0, "%.200s is sampled at %.9g Hz, and %.200s at %.9g Hz: beside each other samples are of one "
                                "rate; without its key 'sampled' one of them would be corners of lines", dw_reader_name(by->reader), b->sampled,
                                dw_reader_name(s->reader), rate);
        if (!by && rate > 0) {
            by = s;
            b->sampled = rate;
        }
    }
    return DW_OK;
}

static enum dw_status check_instants(const struct dw_beside *b, double time, struct dw_error *error)
{
    for (size_t i = 0; i < b->sides; i++) {
        const struct side *s = &b->side[i];
        if (s->sampled && fabs(s->next[0] - time) * b->sampled > share_of_spacing)
            return dw_error_set(error, DW_BAD_INPUT, 0, "%.300s: a sample at %.9g s is %.3g spacings from the one beside it, at %.9g s; there may be a gap, "
                                "or their clocks differ", dw_reader_name(s->reader), s->next[0], (s->next[0] - time) * b->sampled, time);
    }
    return DW_OK;
}

/* ---- rows ---- */

struct dw_beside *dw_beside_new(struct dw_reader *const *readers, size_t count, struct dw_error *error)
{
    struct dw_beside *b = calloc(1, sizeof *b);
    enum dw_status status = b && (b->side = calloc(count, sizeof *b->side)) ? DW_OK : dw_no_memory(error);
    double from = -INFINITY;
    size_t latest = 0;
    for (size_t i = 0; status == DW_OK && i < count; i++, b->sides++) {
        b->side[i].reader = readers[i];
        status = open_side(&b->side[i], error);
        if (status == DW_OK && b->side[i].next[0] > from) {
            from = b->side[i].next[0];
            latest = i;
        }
    }
    if (status == DW_OK)
        status = find_rate(b, error);
    if (status == DW_OK)
        status = make_header(b, from, error);
    for (size_t i = 0; status == DW_OK && i < count; i++) {
        status = reach(&b->side[i], from - (b->side[i].sampled ? share_of_spacing / b->sampled : 0), error);
        if (status == DW_OK && !b->side[i].next_count)
            status = dw_error_set(error, DW_BAD_INPUT, 0, "%.200s ends at %.9g s, before %.200s begins at %.9g s", dw_reader_name(readers[i]),
                                  b->side[i].now[0], dw_reader_name(readers[latest]), from);
    }
    if (status == DW_OK)
        return b;
    dw_beside_free(b);
    return NULL;
}

const struct dw_header *dw_beside_header(const struct dw_beside *b)
{
    return b->header;
}

/* The next instant of those tables that say where rows are. */
static double next_instant(const struct dw_beside *b)
{
    double time = INFINITY;
    for (size_t i = 0; i < b->sides; i++)
        if (b->side[i].sampled || !(b->sampled > 0))
            time = fmin(time, b->side[i].next[0]);
    return time;
}

static enum dw_status put_row(struct dw_beside *b, double time, size_t j, struct dw_error *error)
{
    if (b->out_count == b->out_room) {
        const size_t room = 2 * b->out_room + INSTANTS;
        double *grown = realloc(b->out, room * b->columns * sizeof *grown);
        if (!grown)
            return dw_no_memory(error);
        b->out = grown;
        b->out_room = room;
    }
    double *to = b->out + b->out_count++ * b->columns;
    *to++ = time;
    for (size_t i = 0; i < b->sides; i++) {
        const double *row = row_at(&b->side[i], time, b->sampled > 0 && !b->side[i].sampled ? (size_t)-1 : j);
        for (size_t k = 0; k < b->side[i].given; k++)
            *to++ = row[b->side[i].column[k]];
    }
    return DW_OK;
}

/* All rows of the next instant; the end is there where a table has nothing behind it. */
static enum dw_status put_instant(struct dw_beside *b, struct dw_error *error)
{
    const double time = next_instant(b);
    size_t rows = 1;
    enum dw_status status = b->sampled > 0 ? check_instants(b, time, error) : DW_OK;
    for (size_t i = 0; status == DW_OK && i < b->sides; i++) {
        struct side *s = &b->side[i];
        if (!(b->sampled > 0))
            rows = meets(s, time) && s->next_count > rows ? s->next_count : rows;
        else if (!s->sampled)
            status = reach(s, time, error);
        b->ended = b->ended || !s->next_count;
    }
    for (size_t j = 0; status == DW_OK && !b->ended && j < rows; j++)
        status = put_row(b, time, j, error);
    for (size_t i = 0; status == DW_OK && !b->ended && i < b->sides; i++)
        if (b->sampled > 0 ? b->side[i].sampled : meets(&b->side[i], time))
            status = advance(&b->side[i], error);
    for (size_t i = 0; i < b->sides; i++)
        b->ended = b->ended || !b->side[i].next_count;
    return status;
}

enum dw_status dw_beside_rows(struct dw_beside *b, struct dw_rows *out, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    b->out_count = 0;
    while (status == DW_OK && !b->ended && b->out_count < INSTANTS)
        status = put_instant(b, error);
    if (status == DW_OK && !b->out_count)
        for (size_t i = 0; status == DW_OK && i < b->sides; i++)
            status = reach(&b->side[i], INFINITY, error);
    *out = (struct dw_rows){ b->out, b->out_count };
    return status == DW_OK && !b->out_count ? DW_END : status;
}
