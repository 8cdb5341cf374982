/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-choose: what shards found, put together. */
#include "choose.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

unsigned long long choose_share(const struct choose_options *o, unsigned long long *first)
{
    const unsigned long long each = o->samples / (unsigned long long)o->shards, more = o->samples % (unsigned long long)o->shards;
    const unsigned long long before = (unsigned long long)o->shard - 1;
    *first = before * each + (before < more ? before : more);
    return each + (before < more);
}

/* A list as it was on offer; stays NULL where there was none. */
static enum dw_status list_of(const json_t *json, struct dw_parts **parts, struct dw_error *error)
{
    const size_t count = json_array_size(json);
    struct dw_part *part = count ? calloc(count, sizeof *part) : NULL;
    bool good = json_is_array(json) || json_is_null(json);
    *parts = NULL;
    if (count && !part)
        return dw_no_memory(error);
    for (size_t i = 0; i < count && good; i++) {
        const json_t *row = json_array_get(json, i), *price = json_array_get(row, 2);
        good = json_array_size(row) == 3 && json_is_number(json_array_get(row, 0)) && json_is_number(json_array_get(row, 1)) &&
               (json_is_number(price) || json_is_null(price));
        if (good)
            part[i] = (struct dw_part){ json_number_value(json_array_get(row, 0)), json_number_value(json_array_get(row, 1)),
                                        json_is_null(price) ? NAN : json_number_value(price) };
    }
    enum dw_status status = DW_OK;
    if (!good)
        status = dw_error_set(error, DW_BAD_INPUT, 0, "a list of parts does not read");
    else if (json_is_array(json) && !(*parts = dw_parts_new(part, count, error)))
        status = error->status;
    free(part);
    return status;
}

/* The part of a value among those on offer; 0 is none. */
static bool find_part(const struct dw_parts *parts, const json_t *value, struct dw_part *part)
{
    const double wanted = json_number_value(value);
    *part = (struct dw_part){ 0, 0, 0 };
    if (json_is_number(value) && wanted == 0)
        return true;
    for (size_t low = 0, high = parts ? dw_parts_count(parts) : 0; low < high;) {
        const size_t middle = low + (high - low) / 2;
        *part = dw_parts_get(parts, middle);
        if (part->value == wanted)
            return true;
        if (part->value < wanted)
            low = middle + 1;
        else
            high = middle;
    }
    return false;
}

static bool filter_of(const struct choose_options *o, const json_t *json, struct dw_filter *filter)
{
    const json_t *r = json_object_get(json, "r"), *c = json_object_get(json, "c"), *l = json_object_get(json, "l");
    const size_t stages = json_array_size(c);
    bool good = json_array_size(r) == stages && stages >= 1 && stages <= DW_FILTER_STAGES;
    *filter = (struct dw_filter){ .stages = (int)stages };
    for (size_t k = 0; k < stages && good; k++)
        good = find_part(l ? o->dampers : o->resistors, json_array_get(r, k), &filter->r[k]) &&
               find_part(o->capacitors, json_array_get(c, k), &filter->c[k]);
    if (good && l)
        good = find_part(o->coils, l, &filter->l) && find_part(o->dampers, json_object_get(json, "rd"), &filter->rd) &&
               find_part(o->capacitors, json_object_get(json, "cd"), &filter->cd);
    return good;
}

static bool same_parts(const struct dw_filter *one, const struct dw_filter *other)
{
    bool same = one->stages == other->stages && one->l.value == other->l.value && one->rd.value == other->rd.value &&
                one->cd.value == other->cd.value;
    for (int k = 0; k < one->stages && same; k++)
        same = one->r[k].value == other->r[k].value && one->c[k].value == other->c[k].value;
    return same;
}

/* What all shards of the search found. */
static enum dw_status gather_search(const struct choose_options *o, const struct choose_pile *pile, struct choose_merged *merged,
                                    struct dw_error *error)
{
    size_t count = 0;
    for (size_t i = 0; i < pile->count; i++)
        count += json_array_size(pile->shard[i].found);
    merged->filters = calloc(count + 1, sizeof *merged->filters);
    if (!merged->filters)
        return dw_no_memory(error);
    for (size_t i = 0; i < pile->count; i++)
        for (size_t k = 0; k < json_array_size(pile->shard[i].found); k++)
            if (!filter_of(o, json_array_get(pile->shard[i].found, k), &merged->filters[merged->count++]))
                return dw_error_set(error, DW_BAD_INPUT, 0, "%.200s: filter %zu is not of the parts on offer", pile->shard[i].place, k + 1);
    return DW_OK;
}

static enum dw_status different_filters(const struct choose_shard *one, const struct choose_shard *other, struct dw_error *error)
{
    return dw_error_set(error, DW_BAD_INPUT, 0, "%.100s and %.100s drew samples of different filters", one->place, other->place);
}

/* How many samples were good in all shards, each of which has the same filters. */
static enum dw_status gather_samples(const struct choose_options *o, const struct choose_pile *pile, struct choose_merged *merged,
                                     struct dw_error *error)
{
    const struct choose_pile first = { pile->shard, 1, 1 };
    const enum dw_status status = gather_search(o, &first, merged, error);
    if (status != DW_OK)
        return status;
    merged->good = calloc(merged->count + 1, sizeof *merged->good);
    if (!merged->good)
        return dw_no_memory(error);
    for (size_t i = 0; i < pile->count; i++) {
        const struct choose_shard *shard = &pile->shard[i];
        const struct choose_options share = { .samples = o->samples, .shard = shard->number, .shards = shard->of };
        unsigned long long start;
        const unsigned long long most = choose_share(&share, &start);
        if (json_array_size(shard->found) != merged->count)
            return different_filters(pile->shard, shard, error);
        for (size_t k = 0; k < merged->count; k++) {
            const json_t *found = json_array_get(shard->found, k), *good = json_object_get(found, "good");
            struct dw_filter filter;
            if (!filter_of(o, found, &filter) || !same_parts(&filter, &merged->filters[k]))
                return different_filters(pile->shard, shard, error);
            if (!json_is_integer(good) || json_integer_value(good) < 0 || (unsigned long long)json_integer_value(good) > most)
                return dw_error_set(error, DW_BAD_INPUT, 0, "%.200s: filter %zu: its share has %llu samples, and not so many good ones",
                                    shard->place, k + 1, most);
            merged->good[k] += (unsigned long long)json_integer_value(good);
        }
    }
    return DW_OK;
}

enum dw_status choose_merged_good(const struct choose_merged *merged, const struct dw_filter *filter, unsigned long long *good,
                                  struct dw_error *error)
{
    for (size_t i = 0; i < merged->count; i++)
        if (same_parts(&merged->filters[i], filter)) {
            *good = merged->good[i];
            return DW_OK;
        }
    return dw_error_set(error, DW_BAD_INPUT, 0, "the shards drew no samples of one of the best filters");
}

/* Whether argv[i] is one of these options. */
static bool is_one(const struct command *command, int i, const char *const *names)
{
    while (*names && !command_is(command, i, *names))
        names++;
    return *names;
}

char **choose_pile_line(const struct choose_pile *pile, const struct command *command, int *whole)
{
    static const char *const alone[] = { "all", "curve", "binary", "text", "quiet", NULL };
    static const char *const with[] = { "format", "digits", "print", NULL };
    const json_t *request = pile->shard[0].request;
    const size_t stored = json_array_size(request);
    char **line = calloc(stored + (size_t)command->argc + 2, sizeof *line);
    if (!line)
        return NULL;
    *whole = 0;
    line[(*whole)++] = command->argv[0];
    for (size_t i = 0; i < stored; i++)
        line[(*whole)++] = (char *)json_string_value(json_array_get(request, i));
    for (int i = 1; i < command->argc; i++) {
        const bool argument = is_one(command, i, with);
        if (!argument && !is_one(command, i, alone))
            continue;
        line[(*whole)++] = command->argv[i];
        if (argument && !strchr(command->argv[i], '='))
            line[(*whole)++] = command->argv[i + 1];
    }
    return line;
}

void choose_merged_free(struct choose_merged *merged)
{
    free(merged->filters);
    free(merged->good);
}

enum dw_status choose_pile_gather(const struct choose_pile *pile, struct choose_options *o, struct choose_merged *merged,
                                  struct dw_error *error)
{
    struct dw_parts **const lists[PARTS] = { &o->resistors, &o->capacitors, &o->coils, &o->dampers };
    const struct choose_shard *first = &pile->shard[0];
    enum dw_status status = DW_OK;
    for (int i = 0; i < PARTS && status == DW_OK; i++)
        status = list_of(first->lists[i], lists[i], error);
    if (status != DW_OK) {
        struct dw_error reason = *error;
        return dw_error_set(error, status, 0, "%.200s: %.300s", first->place, reason.text);
    }
    merged->request = first->request;
    o->merged = merged;
    status = choose_use_lists(o, error);
    if (status != DW_OK)
        return status;
    return strcmp(first->work, "samples") ? gather_search(o, pile, merged, error) : gather_samples(o, pile, merged, error);
}
