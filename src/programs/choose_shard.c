/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-choose: what a shard writes: one line of JSON (RFC 8259), ended by its brace and a line end, so that what was cut off
 * cannot pass. It holds the request as typed and the parts on offer, so that merging needs nothing else, and the filters
 * found, by their values; figures are computed again where they are merged. */
#include "choose.h"
#include "config.h"
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *const choose_lists[PARTS] = { "resistors", "capacitors", "coils", "dampers" };

enum dw_status choose_read_shard(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct choose_options *o = options;
    struct option_spec count = { .name = option->name, OPTION_WHOLE(1, CHOOSE_SHARDS) };
    char first[64];
    const char *second = option_halves(argument, '/', first, sizeof first);
    double of = 0, number = 0;
    if (!second)
        return option_error(error, option->name, argument, "must be such as 2/7, the second of seven");
    enum dw_status status = option_value(&count, second, &of, error);
    count.most = of;
    if (status == DW_OK)
        status = option_value(&count, first, &number, error);
    o->shards = (long)of;
    o->shard = (long)number;
    return status;
}

/* The request as an array of words: the command line without what tells the shards apart or holds for this one only. */
static json_t *request_of(const struct command *command)
{
    json_t *request = json_array();
    for (int i = 1; i < command->argc && request; i++) {
        const bool shard = command_is(command, i, "shard");
        if (!shard && !command_is(command, i, "quiet") && json_array_append_new(request, json_string(command->argv[i]))) {
            json_decref(request);
            request = NULL;
        }
        i += shard && !strchr(command->argv[i], '=');
    }
    return request;
}

static void write_number(const char *before, double value)
{
    char number[DW_NUMBER_SIZE] = "null";
    if (!isnan(value))
        dw_number_print(number, value);
    printf("%s%s", before, number);
}

static void write_list(const char *name, const struct dw_parts *parts)
{
    printf(",\"%s\":%s", name, parts ? "[" : "null");
    for (size_t i = 0; parts && i < dw_parts_count(parts); i++) {
        const struct dw_part part = dw_parts_get(parts, i);
        write_number(i ? ",[" : "[", part.value);
        write_number(",", part.spread);
        write_number(",", part.price);
        putchar(']');
    }
    if (parts)
        putchar(']');
}

static void write_filter(const struct dw_filter *filter)
{
    for (int k = 0; k < filter->stages; k++)
        write_number(k ? "," : "{\"r\":[", filter->r[k].value);
    for (int k = 0; k < filter->stages; k++)
        write_number(k ? "," : "],\"c\":[", filter->c[k].value);
    putchar(']');
    if (filter->l.value > 0) {
        write_number(",\"l\":", filter->l.value);
        write_number(",\"rd\":", filter->rd.value);
        write_number(",\"cd\":", filter->cd.value);
    }
}

enum dw_status choose_write_shard(const struct choose_options *o, const struct dw_choices *choices, bool fits,
                                  struct dw_error *error)
{
    const struct dw_parts *const lists[PARTS] = { o->resistors, o->capacitors, o->coils, o->dampers };
    json_t *words = o->merged ? json_incref(o->merged->request) : request_of(o->common.command);
    char *request = words ? json_dumps(words, JSON_COMPACT) : NULL;
    enum dw_status status = DW_OK;
    json_decref(words);
    if (!request)
        return dw_error_set(error, DW_BAD_USE, 0, "--shard: the request must be text in UTF-8");
    printf("{\"made-by\":\"dw-choose\",\"version\":\"%s\",\"request\":%s,\"work\":\"%s\",\"shard\":%ld,\"shards\":%ld", PACKAGE_VERSION,
           request, o->merged ? "samples" : "search", o->shard, o->shards);
    for (int i = 0; i < PARTS; i++)
        write_list(choose_lists[i], lists[i]);
    printf(",\"found\":[");
    for (size_t i = 0; i < dw_choices_count(choices) && status == DW_OK; i++) {
        const struct dw_filter *filter = &dw_choices_get(choices, i)->filter;
        unsigned long long first = 0, good = 0;
        const unsigned long long share = o->merged ? choose_share(o, &first) : 0;
        printf("%s", i ? "," : "");
        write_filter(filter);
        if (o->merged && fits && share > 0)
            status = choose_draw(o, filter, first, share, &good, error);
        if (o->merged)
            printf(",\"good\":%llu", good);
        putchar('}');
    }
    /* where something failed the line stays without its end */
    if (status == DW_OK)
        puts("]}");
    free(request);
    return status;
}
