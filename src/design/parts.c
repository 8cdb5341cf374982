/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "search_inner.h"
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void dw_parts_free(struct dw_parts *parts)
{
    if (!parts)
        return;
    free(parts->part);
    free(parts);
}

size_t dw_parts_count(const struct dw_parts *parts)
{
    return parts->count;
}

struct dw_part dw_parts_get(const struct dw_parts *parts, size_t i)
{
    return parts->part[i];
}

static int by_value(const void *a, const void *b)
{
    const struct dw_part *one = a, *other = b;
    if (one->value != other->value)
        return one->value < other->value ? -1 : 1;
    if (one->spread != other->spread)
        return one->spread < other->spread ? -1 : 1;
    return one->price < other->price ? -1 : one->price > other->price;
}

/* Takes the parts over, also where it fails. Of parts of one value the one of smallest spread is kept. */
static struct dw_parts *parts_new(struct dw_part *part, size_t count, struct dw_error *error)
{
    struct dw_parts *parts = calloc(1, sizeof *parts);
    if (!parts) {
        free(part);
        dw_no_memory(error);
        return NULL;
    }
    qsort(part, count, sizeof *part, by_value);
    size_t kept = 0;
    for (size_t i = 0; i < count; i++)
        if (i == 0 || part[i].value != part[kept - 1].value)
            part[kept++] = part[i];
    *parts = (struct dw_parts){ kept, part };
    return parts;
}

struct dw_parts *dw_parts_series(int series, double lowest, double highest, double spread, struct dw_error *error)
{
    size_t count = 0;
    if (!(spread >= 0 && spread < 1)) {
        dw_error_set(error, DW_BAD_USE, 0, "spread must be from 0 to below 100%%");
        return NULL;
    }
    if (dw_preferred_range(series, lowest, highest, NULL, &count, error) != DW_OK)
        return NULL;
    if (lowest < DW_PART_LEAST || highest > DW_PART_MOST) {
        dw_error_set(error, DW_BAD_USE, 0, "range %g to %g: must lie within %g to %g", lowest, highest, DW_PART_LEAST, DW_PART_MOST);
        return NULL;
    }
    if (count == 0) {
        char from[DW_NUMBER_SIZE], to[DW_NUMBER_SIZE];
        dw_number_print(from, lowest);
        dw_number_print(to, highest);
        dw_error_set(error, DW_BAD_USE, 0, "no value of E%d lies from %s to %s", series, from, to);
        return NULL;
    }
    double *values = calloc(count, sizeof *values);
    struct dw_part *part = calloc(count, sizeof *part);
    /* unrun: passed-on */
    if (!values || !part || dw_preferred_range(series, lowest, highest, values, &count, error) != DW_OK) {
        free(values);
        free(part);
        dw_no_memory(error);
        return NULL;
    }
    for (size_t i = 0; i < count; i++)
        part[i] = (struct dw_part){ values[i], spread, NAN };
    free(values);
    return parts_new(part, count, error);
}

/* Field by field, what a line says beside its value. */
static enum dw_status read_rest(char *rest, struct dw_part *part, struct dw_error *error)
{
    struct dw_error reason;
    bool spread = false;
    for (char *field; (field = strtok_r(NULL, " \t\r\n", &rest));) {
        const bool percent = strchr(field, '%');
        if (isfinite(part->price))
            return dw_error_set(error, DW_BAD_INPUT, 0, "'%.60s': nothing is expected after the price", field);
        if (percent ? spread : false)
            return dw_error_set(error, DW_BAD_INPUT, 0, "'%.60s': a second tolerance", field);
        if (dw_quantity_parse(field, percent ? DW_SHARE : DW_NUMBER, percent ? &part->spread : &part->price, &reason) != DW_OK)
            return dw_error_set(error, DW_BAD_INPUT, 0, "'%.60s': %.300s", field, reason.text);
        spread = spread || percent;
        if (!(part->spread >= 0 && part->spread < 1))
            return dw_error_set(error, DW_BAD_INPUT, 0, "'%.60s': a tolerance must be from 0 to below 100%%", field);
        if (part->price < 0)
            return dw_error_set(error, DW_BAD_INPUT, 0, "'%.60s': a price must not be below zero", field);
    }
    return DW_OK;
}

/* One line; part->value stays 0 where it holds none. */
static enum dw_status read_line(char *line, enum dw_quantity kind, struct dw_part *part, struct dw_error *error)
{
    struct dw_error reason;
    char *comment = strchr(line, '#'), *rest = NULL;
    if (comment)
        *comment = '\0';
    const char *field = strtok_r(line, " \t\r\n", &rest);
    if (!field)
        return DW_OK;
    if (dw_quantity_parse(field, kind, &part->value, &reason) != DW_OK)
        return dw_error_set(error, DW_BAD_INPUT, 0, "'%.60s': %.300s", field, reason.text);
    if (!(part->value >= DW_PART_LEAST && part->value <= DW_PART_MOST))
        return dw_error_set(error, DW_BAD_INPUT, 0, "'%.60s': must be from %g to %g", field, DW_PART_LEAST, DW_PART_MOST);
    return read_rest(rest, part, error);
}

static bool append(struct dw_part **part, size_t *count, size_t *room, struct dw_part next)
{
    if (*count == *room) {
        const size_t larger = *room ? 2 * *room : 64;
        struct dw_part *moved = realloc(*part, larger * sizeof *moved);
        if (!moved)
            return false;
        *part = moved;
        *room = larger;
    }
    (*part)[(*count)++] = next;
    return true;
}

static FILE *open_list(const char *path, double spread, struct dw_error *error)
{
    if (!(spread >= 0 && spread < 1)) {
        dw_error_set(error, DW_BAD_USE, 0, "spread must be from 0 to below 100%%");
        return NULL;
    }
    FILE *file = fopen(path, "re");
    if (!file)
        dw_error_file(error, path, errno);
    return file;
}

struct dw_parts *dw_parts_read(const char *path, enum dw_quantity kind, double lowest, double highest, double spread,
                               struct dw_error *error)
{
    enum { MOST_LINE = 1000 };
    struct dw_part *part = NULL;
    size_t count = 0, room = 0, seen = 0;
    char line[MOST_LINE];
    enum dw_status status = DW_OK;
    FILE *file = open_list(path, spread, error);
    if (!file)
        return NULL;
    for (unsigned long long number = 1; status == DW_OK && fgets(line, sizeof line, file); number++) {
        struct dw_part next = { 0, spread, NAN };
        struct dw_error reason = { .text = "" };
        const bool whole = strchr(line, '\n') || strlen(line) + 1 < sizeof line;
        status = whole ? read_line(line, kind, &next, &reason)
                       : dw_error_set(&reason, DW_BAD_INPUT, 0, "longer than %d bytes", MOST_LINE - 2);
        if (status != DW_OK) {
            dw_error_set(error, status, number, "%.100s, line %llu: %.380s", path, number, reason.text);
        } else if (next.value > 0) {
            seen++;
            if (next.value >= lowest && next.value <= highest && !append(&part, &count, &room, next))
                status = dw_no_memory(error);
        }
    }
    if (status == DW_OK && ferror(file))
        status = dw_error_file(error, path, errno);
    fclose(file);
    if (status == DW_OK && count == 0)
        status = dw_error_set(error, DW_BAD_INPUT, 0, seen ? "%.300s: none of its parts lies in the range"
                                                           : "%.300s: it holds no part", path);
    if (status != DW_OK) {
        free(part);
        return NULL;
    }
    return parts_new(part, count, error);
}

struct dw_parts *dw_parts_new(const struct dw_part *part, size_t count, struct dw_error *error)
{
    if (count == 0) {
        dw_error_set(error, DW_BAD_USE, 0, "a list must hold a part");
        return NULL;
    }
    for (size_t i = 0; i < count; i++)
        if (!(part[i].value >= DW_PART_LEAST && part[i].value <= DW_PART_MOST && part[i].spread >= 0 && part[i].spread < 1) ||
            part[i].price < 0 || isinf(part[i].price)) {
            dw_error_set(error, DW_BAD_USE, 0, "part %zu: value must be from %g to %g, spread from 0 to below 100%%, price not below "
                                               "zero or not known", i + 1, DW_PART_LEAST, DW_PART_MOST);
            return NULL;
        }
    struct dw_part *own = calloc(count, sizeof *own);
    if (!own) {
        dw_no_memory(error);
        return NULL;
    }
    memcpy(own, part, count * sizeof *own);
    return parts_new(own, count, error);
}

struct dw_parts *dwi_parts_every(const struct dw_parts *parts, size_t from, size_t step)
{
    const size_t count = (parts->count - from + step - 1) / step;
    struct dw_part *part = calloc(count, sizeof *part);
    for (size_t i = 0; part && i < count; i++)
        part[i] = parts->part[from + i * step];
    return part ? parts_new(part, count, NULL) : NULL;
}

bool dwi_parts_share(const struct dw_parts *first, const struct dw_parts *second, int shard, int shards, struct dw_parts *share[2])
{
    const size_t number = (size_t)shard - 1, of = (size_t)shards, groups = of < first->count ? of : first->count;
    const size_t group = number % groups, within = number / groups, members = (of - group - 1) / groups + 1;
    share[0] = share[1] = NULL;
    if (within >= second->count)
        return true;
    share[0] = dwi_parts_every(first, group, groups);
    share[1] = dwi_parts_every(second, within, members);
    if (share[0] && share[1])
        return true;
    dw_parts_free(share[0]);
    dw_parts_free(share[1]);
    share[0] = share[1] = NULL;
    return false;
}
