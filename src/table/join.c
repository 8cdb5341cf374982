/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables after one another. */
#include "header_inner.h"
#include <dutywright/value.h>
#include <stdlib.h>
#include <string.h>

struct dw_join {
    size_t columns;
    bool any;             /* a row was given: last is it */
    double *last;         /* [columns] */
    double *held;         /* [room x columns] rows at the time of last, which are a jump at the end if no later row comes */
    size_t held_count, room;
    bool is_later;        /* this table is not the first that has rows */
    bool is_fresh;        /* of a later table, no row beyond its first instant was seen */
    bool has_first;       /* first is the latest row of that instant */
    double *first;        /* [columns], shifted */
    double begins, ends;  /* s: this table's first time, and the last of the one before */
    double *out;          /* [out_room x columns] */
    size_t out_room;
};

struct dw_join *dw_join_new(size_t columns, struct dw_error *error)
{
    struct dw_join *join = calloc(1, sizeof *join);
    if (join) {
        join->columns = columns;
        join->last = calloc(columns, sizeof *join->last);
        join->first = calloc(columns, sizeof *join->first);
    }
    if (join && join->last && join->first)
        return join;
    dw_join_free(join);
    dw_no_memory(error);
    return NULL;
}

void dw_join_free(struct dw_join *join)
{
    if (!join)
        return;
    free(join->last);
    free(join->held);
    free(join->first);
    free(join->out);
    free(join);
}

static bool make_room(double **rows, size_t *room, size_t wanted, size_t columns)
{
    if (wanted <= *room)
        return true;
    const size_t larger = wanted < 8 ? 8 : 2 * wanted;
    double *grown = realloc(*rows, larger * columns * sizeof *grown);
    if (!grown)
        return false;
    *rows = grown;
    *room = larger;
    return true;
}

/* Puts a row behind those to be given; there is room. */
static void give(struct dw_join *join, const double *row, struct dw_rows *out)
{
    const size_t size = join->columns * sizeof *row;
    memcpy(join->out + out->count++ * join->columns, row, size);
    memcpy(join->last, row, size);
    join->any = true;
}

static void give_held(struct dw_join *join, struct dw_rows *out)
{
    for (size_t i = 0; i < join->held_count; i++)
        give(join, join->held + i * join->columns, out);
    join->held_count = 0;
}

/* The first instant of a later table is over: one row of it is left, none where the value goes on as it was. */
static void give_first(struct dw_join *join, struct dw_rows *out)
{
    if (join->has_first && memcmp(join->first, join->last, join->columns * sizeof *join->first))
        give(join, join->first, out);
    join->is_fresh = join->has_first = false;
}

void dw_join_next(struct dw_join *join)
{
    if (join->has_first) {
        /* a table of a single instant: its value lasts no time */
        join->is_fresh = join->has_first = false;
    }
    join->held_count = 0;
    join->is_later = join->is_fresh = join->any;
    join->ends = join->last[0];
}

enum dw_status dw_join_row(struct dw_join *join, const double *row, struct dw_rows *out, struct dw_error *error)
{
    const size_t size = join->columns * sizeof *row;
    *out = (struct dw_rows){ NULL, 0 };
    if (!make_room(&join->out, &join->out_room, join->held_count + 2, join->columns) ||
        !make_room(&join->held, &join->room, join->held_count + 1, join->columns))
        return dw_no_memory(error);
    if (join->is_fresh && !join->has_first)
        join->begins = row[0];
    const double time = join->is_later ? join->ends + (row[0] - join->begins) : row[0];
    if (join->is_fresh && row[0] == join->begins) {
        memcpy(join->first, row, size);
        join->first[0] = join->ends;
        join->has_first = true;
        return DW_OK;
    }
    if (join->is_fresh)
        give_first(join, out);
    if (join->any && time == join->last[0]) {
        double *held = join->held + join->held_count++ * join->columns;
        memcpy(held, row, size);
        held[0] = time;
    } else {
        give_held(join, out);
        give(join, row, out);
        join->out[(out->count - 1) * join->columns] = join->last[0] = time;
    }
    out->values = join->out;
    return DW_OK;
}

enum dw_status dw_join_finish(struct dw_join *join, struct dw_rows *out, struct dw_error *error)
{
    *out = (struct dw_rows){ NULL, 0 };
    if (!make_room(&join->out, &join->out_room, join->held_count + 2, join->columns))  /* unrun: passed-on */
        return dw_no_memory(error);
    give_first(join, out);
    give_held(join, out);
    out->values = join->out;
    return DW_OK;
}

static enum dw_status check_same_channels(const struct dw_header *header, const struct dw_header *next,
                                          struct dw_error *error)
{
    const size_t channels = header->column_count - dw_header_slopes(header, NULL);
    const size_t others = next->column_count - dw_header_slopes(next, NULL);
    if (channels != others)
        return dw_error_set(error, DW_BAD_INPUT, 0, "the tables have %zu and %zu channels", channels - 1, others - 1);
    for (size_t i = 0, j = 0, channel = 1; i < header->column_count; i++, j++, channel++) {
        i += header->columns[i].slope;
        j += j < next->column_count && next->columns[j].slope;
        if (channel > channels)
            break;
        const struct dw_column one = dw_header_column(header, i), other = dw_header_column(next, j);
        if (strcmp(one.name, other.name) || strcmp(one.unit, other.unit))
            return dw_error_set(error, DW_BAD_INPUT, 0, "column %zu is %.60s[%.20s] in the one table and %.60s[%.20s] in the "
                                "other", channel, one.name, one.unit, other.name, other.unit);
    }
    return DW_OK;
}

/* Gives the channels slopes that have them in the other table. */
static enum dw_status join_slopes(struct dw_header *header, const struct dw_header *next, struct dw_error *error)
{
    for (size_t i = 1; i < header->column_count; i++) {
        const size_t other = header->columns[i].slope ? 0 : dw_header_find(next, header->columns[i].name, NULL);
        if (!other || dw_header_slope(header, i) || !dw_header_slope(next, other))
            continue;
        const enum dw_status status = dwi_header_insert_slope(header, i, error);
        if (status != DW_OK)
            return status;
    }
    return DW_OK;
}

/* The switching period of a table; 0: its header has none. */
static double carrier_of(const struct dw_facts *facts)
{
    return facts->carrier_period > 0 ? facts->carrier_period : facts->period;
}

static enum dw_status join_periods(struct dw_header *header, const struct dw_header *next, double shift,
                                   struct dw_error *error)
{
    const struct dw_facts *one = dw_header_facts(header), *other = dw_header_facts(next);
    const double period = carrier_of(one);
    bool on = false;
    if (times_meet(period, carrier_of(other)))
        dw_period_index(one->origin, period, other->origin + shift, &on);
    dw_header_drop(header, "period");
    if (on)
        return dw_header_set_number(header, "carrier-period", period, error);
    dw_header_drop(header, "carrier-period");
    dw_header_drop(header, "origin");
    return DW_OK;
}

/* Of both tables the one that claims less; where only one is sampled, that one. */
static enum dw_status join_sampled(struct dw_header *header, const struct dw_header *next, struct dw_error *error)
{
    const double one = dw_header_facts(header)->sampled, other = dw_header_facts(next)->sampled;
    return other > 0 && !(one > 0 && one <= other) ? dw_header_set_number(header, "sampled", other, error) : DW_OK;
}

static bool same_share(double one, double other)
{
    return one == other || (isnan(one) && isnan(other));
}

static enum dw_status join_accuracy(struct dw_header *header, const struct dw_header *next, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (size_t i = 1; status == DW_OK && i < dw_header_columns(header); i++) {
        const struct dw_channel_facts *one = dw_header_channel_facts(header, i);
        const size_t at = header->columns[i].slope ? 0 : dw_header_find(next, header->columns[i].name, NULL);
        const struct dw_channel_facts *other = dw_header_channel_facts(next, at);
        /* of numbers that only one of them has, none holds for both */
        const double number = fmax(one->accuracy, other->accuracy), share = one->share >= other->share ? one->share : other->share;
        if (at && (!isnan(other->accuracy) || !isnan(other->share)) && (number > one->accuracy || isnan(one->accuracy) || !same_share(one->share, share)))
            status = dw_header_set_accuracy(header, i, number, isnan(one->share) || isnan(other->share) ? NAN : share, error);
    }
    return status;
}

enum dw_status dw_header_join(struct dw_header *header, const struct dw_header *next, double shift, struct dw_error *error)
{
    static const char *const same[] = { "levels", "duty", "tick" };
    static const char *const settled[] = { "period", "carrier-period", "origin", "levels", "duty", "sampled", "tick",
                                           "accuracy", "initial" };
    enum dw_status status = check_same_channels(header, next, error);
    if (status == DW_OK)
        status = join_slopes(header, next, error);
    if (status == DW_OK)
        status = join_periods(header, next, shift, error);
    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++) {
        const char *one = dw_header_get(header, same[i]), *other = dw_header_get(next, same[i]);
        if (!one || !other || strcmp(one, other))
            dw_header_drop(header, same[i]);
    }
    if (status == DW_OK)
        status = join_sampled(header, next, error);
    if (status == DW_OK)
        status = join_accuracy(header, next, error);
    const char *key, *value;
    for (size_t i = 0; status == DW_OK && (key = dw_header_key(next, i, &value)); i++) {
        bool is_settled = false;
        for (size_t k = 0; k < sizeof settled / sizeof settled[0]; k++)
            is_settled |= !strcmp(key, settled[k]);
        if (!is_settled && (!strcmp(key, "made-by") || !strcmp(key, "note") || !dw_header_get(header, key)))
            status = dw_header_add(header, key, value, error);
    }
    return status;
}
