/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-choose: what shards wrote, read, and checked to be whole and of one request. */
#include "choose.h"
#include "config.h"
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void choose_pile_free(struct choose_pile *pile)
{
    for (size_t i = 0; i < pile->count; i++) {
        free(pile->shard[i].place);
        json_decref(pile->shard[i].root);
    }
    free(pile->shard);
    *pile = (struct choose_pile){ NULL, 0, 0 };
}

static bool words_only(const json_t *array)
{
    for (size_t i = 0; i < json_array_size(array); i++)
        if (!json_is_string(json_array_get(array, i)))
            return false;
    return json_is_array(array);
}

static enum dw_status parse_shard(struct choose_shard *shard, const char *line, size_t length, struct dw_error *error)
{
    json_error_t reason;
    shard->root = json_loadb(line, length, JSON_REJECT_DUPLICATES, &reason);
    if (!shard->root && json_error_code(&reason) == json_error_out_of_memory)
        return dw_no_memory(error);
    if (line[length - 1] != '\n' || (!shard->root && json_error_code(&reason) == json_error_premature_end_of_input))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%.200s: stops before its end; did its shard fail?", shard->place);
    if (!shard->root)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%.200s: not written by --shard: %.200s", shard->place, reason.text);
    if (json_unpack_ex(shard->root, &reason, JSON_STRICT, "{s:s,s:s,s:o,s:s,s:i,s:i,s:o,s:o,s:o,s:o,s:o}", "made-by", &shard->made_by,
                       "version", &shard->version, "request", &shard->request, "work", &shard->work, "shard", &shard->number,
                       "shards", &shard->of, choose_lists[0], &shard->lists[0], choose_lists[1], &shard->lists[1],
                       choose_lists[2], &shard->lists[2], choose_lists[3], &shard->lists[3], "found", &shard->found))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%.200s: not written by --shard: %.200s", shard->place, reason.text);
    if (strcmp(shard->made_by, "dw-choose") || (strcmp(shard->work, "search") && strcmp(shard->work, "samples")) ||
        shard->number < 1 || shard->number > shard->of || shard->of > CHOOSE_SHARDS || !words_only(shard->request) ||
        !json_is_array(shard->found))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%.200s: not written by --shard", shard->place);
    if (strcmp(shard->version, PACKAGE_VERSION))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%.200s: written by version %.40s, and this is %s", shard->place, shard->version,
                            PACKAGE_VERSION);
    return DW_OK;
}

static enum dw_status append(struct choose_pile *pile, const char *name, unsigned long long number, const char *line, size_t length,
                             struct dw_error *error)
{
    if (pile->count == pile->room) {
        const size_t larger = pile->room ? 2 * pile->room : 16;
        struct choose_shard *moved = realloc(pile->shard, larger * sizeof *moved);
        if (!moved)
            return dw_no_memory(error);
        pile->shard = moved;
        pile->room = larger;
    }
    struct choose_shard *shard = &pile->shard[pile->count];
    const size_t size = strlen(name) + 40;
    *shard = (struct choose_shard){ .place = malloc(size) };
    if (!shard->place)
        return dw_no_memory(error);
    pile->count++;
    snprintf(shard->place, size, number == 1 ? "%s" : "%s, line %llu", name, number);
    return parse_shard(shard, line, length, error);
}

/* Every line of a file; path NULL: standard input. */
static enum dw_status read_file(struct choose_pile *pile, const char *path, struct dw_error *error)
{
    const char *name = path ? path : "standard input";
    FILE *file = path ? fopen(path, "re") : stdin;
    char *line = NULL;
    size_t room = 0;
    ssize_t length;
    enum dw_status status = DW_OK;
    unsigned long long number = 0;
    if (!file)
        return dw_error_file(error, name, errno);
    errno = 0;
    while (status == DW_OK && (length = getline(&line, &room, file)) > 0)
        status = append(pile, name, ++number, line, (size_t)length, error);
    if (status == DW_OK && !feof(file))
        status = dw_error_file(error, name, errno);
    else if (status == DW_OK && number == 0)
        status = dw_error_set(error, DW_BAD_INPUT, 0, "%.300s: is empty; did its shard fail?", name);
    free(line);
    if (path)
        fclose(file);
    return status;
}

/* The first word in which two requests differ. */
static const char *word_at(const json_t *request, size_t i)
{
    return i < json_array_size(request) ? json_string_value(json_array_get(request, i)) : "nothing more";
}

static enum dw_status same_work(const struct choose_shard *one, const struct choose_shard *other, struct dw_error *error)
{
    const char *a = one->place, *b = other->place;
    if (!json_equal(one->request, other->request)) {
        size_t i = 0;
        while (!strcmp(word_at(one->request, i), word_at(other->request, i)))
            i++;
        return dw_error_set(error, DW_BAD_INPUT, 0, "%.100s and %.100s answer different requests: '%.60s' and '%.60s'", a, b,
                            word_at(one->request, i), word_at(other->request, i));
    }
    for (int i = 0; i < PARTS; i++)
        if (!json_equal(one->lists[i], other->lists[i]))
            return dw_error_set(error, DW_BAD_INPUT, 0, "%.100s and %.100s: the %s on offer differ; was a stock list changed?", a, b,
                                choose_lists[i]);
    if (strcmp(one->work, other->work))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%.100s is of the %s, %.100s of the %s", a, one->work, b, other->work);
    if (one->of != other->of)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%.100s is one of %d shards, %.100s one of %d", a, one->of, b, other->of);
    return DW_OK;
}

/* Whether each shard is there once. */
static enum dw_status complete(const struct choose_pile *pile, struct dw_error *error)
{
    enum { NAMED = 20 };
    const int of = pile->shard[0].of;
    /* NOLINTNEXTLINE(bugprone-sizeof-expression): it holds pointers */
    const struct choose_shard **seen = calloc((size_t)of, sizeof *seen);
    enum dw_status status = seen ? DW_OK : dw_no_memory(error);
    char missing[16 * NAMED] = "";
    int count = 0;
    for (size_t i = 0; i < pile->count && status == DW_OK; i++) {
        const struct choose_shard *shard = &pile->shard[i], **place = &seen[shard->number - 1];
        if (*place)
            status = dw_error_set(error, DW_BAD_INPUT, 0, "%.100s and %.100s: both are shard %d of %d", (*place)->place, shard->place,
                                  shard->number, of);
        *place = shard;
    }
    for (int k = 0; k < of && status == DW_OK; k++)
        if (!seen[k] && count++ < NAMED)
            snprintf(missing + strlen(missing), sizeof missing - strlen(missing), "%s%d", *missing ? ", " : "", k + 1);
    free(seen);
    if (count > NAMED)
        snprintf(missing + strlen(missing), sizeof missing - strlen(missing), " and %d more", count - NAMED);
    if (status == DW_OK && count > 0)
        status = dw_error_set(error, DW_BAD_INPUT, 0, "%s %s of %d %s missing", count > 1 ? "shards" : "shard", missing, of,
                              count > 1 ? "are" : "is");
    return status;
}

enum dw_status choose_pile_read(struct choose_pile *pile, const char *const *files, size_t count, struct dw_error *error)
{
    enum dw_status status = count == 0 ? read_file(pile, NULL, error) : DW_OK;
    for (size_t i = 0; i < count && status == DW_OK; i++)
        status = read_file(pile, strcmp(files[i], "-") ? files[i] : NULL, error);
    for (size_t i = 1; i < pile->count && status == DW_OK; i++)
        status = same_work(&pile->shard[0], &pile->shard[i], error);
    return status == DW_OK ? complete(pile, error) : status;
}
