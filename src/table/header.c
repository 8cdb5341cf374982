/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Keys in order and columns, kept as they will be written. */
#include "header_inner.h"
#include <dutywright/value.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool is_name_byte(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' || c == '-' || c == '.';
}

bool dwi_header_name_is_good(const char *name)
{
    if (!*name)
        return false;
    while (is_name_byte(*name))
        name++;
    return !*name;
}

bool dwi_header_unit_is_good(const char *unit)
{
    for (; *unit; unit++)
        if ((unsigned char)*unit <= ' ' || *unit == 0x7f || *unit == '[' || *unit == ']')
            return false;
    return true;
}

bool dwi_make_room(void **array, size_t *room, size_t count, size_t size)
{
    if (count < *room)
        return true;
    const size_t wanted = *room ? 2 * *room : 8;
    void *grown = realloc(*array, wanted * size);
    if (!grown)
        return false;
    *array = grown;
    *room = wanted;
    return true;
}

struct dw_header *dwi_header_new_empty(struct dw_error *error)
{
    struct dw_header *header = calloc(1, sizeof *header);
    if (!header)
        dw_no_memory(error);
    return header;
}

struct dw_header *dw_header_new(const char *first_name, const char *first_unit, struct dw_error *error)
{
    struct dw_header *header = dwi_header_new_empty(error);
    if (header && dwi_header_append_exactly(header, first_name, first_unit, error) != DW_OK) {
        dw_header_free(header);
        return NULL;
    }
    return header;
}

void dwi_header_free_column(const struct header_column *column)
{
    free(column->name);
    free(column->unit);
}

void dw_header_free(struct dw_header *header)
{
    if (!header)
        return;
    for (size_t i = 0; i < header->entry_count; i++) {
        free(header->entries[i].key);
        free(header->entries[i].value);
    }
    for (size_t i = 0; i < header->column_count; i++)
        dwi_header_free_column(&header->columns[i]);
    free(header->entries);
    free(header->columns);
    free(header);
}

struct header_entry *dwi_header_find_entry(const struct dw_header *header, const char *key)
{
    for (size_t i = 0; i < header->entry_count; i++)
        if (!strcmp(header->entries[i].key, key))
            return &header->entries[i];
    return NULL;
}

const char *dw_header_get(const struct dw_header *header, const char *key)
{
    const struct header_entry *entry = dwi_header_find_entry(header, key);
    return entry ? entry->value : NULL;
}

enum dw_status dw_header_needs_time(const struct dw_header *header, const char *place, struct dw_error *error)
{
    const struct dw_column first = dw_header_column(header, 0);
    if (!strcmp(first.unit, "s") || (!*first.unit && dwi_is_time_name(first.name)))
        return DW_OK;
    if (!*first.unit)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the first column is %s, without a unit; a wave against time[s] is needed", place,
                            first.name);
    return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the first column is %s[%s]; a wave against time[s] is needed", place,
                        first.name, first.unit);
}

enum dw_status dwi_header_check_finite(const char *key, double value, struct dw_error *error)
{
    return isfinite(value) ? DW_OK : dw_error_set(error, DW_BAD_USE, 0, "key '%.40s': %g is not finite", key, value);
}

const char *dw_header_key(const struct dw_header *header, size_t i, const char **value)
{
    if (i >= header->entry_count)
        return NULL;
    if (value)
        *value = header->entries[i].value;
    return header->entries[i].key;
}

size_t dw_header_columns(const struct dw_header *header)
{
    return header->column_count;
}

struct dw_column dw_header_column(const struct dw_header *header, size_t column)
{
    if (column >= header->column_count)
        return (struct dw_column){ "", "" };
    return (struct dw_column){ header->columns[column].name, header->columns[column].unit };
}

bool dw_header_is_slope(const struct dw_header *header, size_t column)
{
    return column < header->column_count && header->columns[column].slope;
}

size_t dw_header_slope(const struct dw_header *header, size_t column)
{
    return dw_header_is_slope(header, column + 1) ? column + 1 : 0;
}

size_t dw_header_slopes(const struct dw_header *header, size_t *slope)
{
    size_t count = 0;
    for (size_t i = 0; i < header->column_count; i++) {
        const size_t at = dw_header_slope(header, i);
        count += at != 0;
        if (slope)
            slope[i] = at;
    }
    return count;
}

bool dwi_header_name_is_taken(const struct dw_header *header, const char *name, size_t except)
{
    for (size_t i = 0; i < header->column_count; i++)
        if (i != except && !strcmp(header->columns[i].name, name))
            return true;
    return false;
}

enum dw_status dwi_header_check_column(const char *name, const char *unit, struct dw_error *error)
{
    char shown[64];
    if (!dwi_header_name_is_good(name))
        return dw_error_set(error, DW_BAD_USE, 0, "'%s' is no channel name: letters, digits, _ - . are",
                            dwi_quoted(shown, sizeof shown, name, name + strlen(name)));
    if (!dwi_header_unit_is_good(unit))
        return dw_error_set(error, DW_BAD_USE, 0, "'%s' is no unit: no blanks and no brackets stand in one",
                            dwi_quoted(shown, sizeof shown, unit, unit + strlen(unit)));
    return DW_OK;
}

/* The column is the header's, or freed. */
static enum dw_status append(struct dw_header *header, struct header_column fresh, struct dw_error *error)
{
    const bool few = header->column_count <= CHANNEL_LIMIT;
    fresh.facts = (struct dw_channel_facts){ NAN, NAN, NAN };
    if (few && fresh.name && fresh.unit &&
        dwi_make_room((void **)&header->columns, &header->column_room, header->column_count, sizeof fresh)) {
        header->columns[header->column_count++] = fresh;
        return DW_OK;
    }
    dwi_header_free_column(&fresh);
    return few ? dw_no_memory(error) : dw_error_set(error, DW_BAD_USE, 0, "more than %d channels", CHANNEL_LIMIT);
}

bool dwi_header_name_slope(const struct header_column *of, struct header_column *slope)
{
    const size_t name = strlen(of->name) + 2, unit = strlen(of->unit) + 4;
    slope->name = malloc(name);
    slope->unit = malloc(unit);
    if (!slope->name || !slope->unit) {
        dwi_header_free_column(slope);
        slope->name = slope->unit = NULL;
        return false;
    }
    snprintf(slope->name, name, "%s'", of->name);
    snprintf(slope->unit, unit, "%s/s", *of->unit ? of->unit : "1");
    return true;
}

/* Whether a slope can be the next column, and is called so. */
static enum dw_status check_slope(const struct dw_header *header, const struct header_column *wanted, const char *name,
                                  const char *unit, struct dw_error *error)
{
    const struct header_column *of = &header->columns[header->column_count - 1];
    const char *axis = header->columns[0].unit;
    if (strlen(name) != strlen(of->name) + 1 || strncmp(name, of->name, strlen(of->name)) != 0 || of->slope)
        return dw_error_set(error, DW_BAD_USE, 0, "'%.60s' is a slope, which stands once, right behind its channel", name);
    if (*axis && strcmp(axis, "s") != 0)
        return dw_error_set(error, DW_BAD_USE, 0, "'%.60s': a slope goes with time[s], not with %.60s[%.20s]", name,
                            header->columns[0].name, axis);
    if (strcmp(unit, wanted->unit) != 0)
        return dw_error_set(error, DW_BAD_USE, 0, "'%.60s[%.20s]': the slope of %.60s[%.20s] is %.60s[%.24s]", name, unit, of->name,
                            of->unit, wanted->name, wanted->unit);
    return DW_OK;
}

/*   name, unit   as they stand; NULL: as they must */
static enum dw_status append_slope(struct dw_header *header, const char *name, const char *unit, struct dw_error *error)
{
    struct header_column slope = { .slope = true };
    if (header->column_count < 2)
        return dw_error_set(error, DW_BAD_USE, 0, "'%.60s' is a slope, which stands right behind its channel", name ? name : "");
    if (!dwi_header_name_slope(&header->columns[header->column_count - 1], &slope))
        return dw_no_memory(error);
    const enum dw_status status = check_slope(header, &slope, name ? name : slope.name, unit ? unit : slope.unit, error);
    if (status == DW_OK)
        return append(header, slope, error);
    dwi_header_free_column(&slope);
    return status;
}

enum dw_status dwi_header_append_exactly(struct dw_header *header, const char *name, const char *unit, struct dw_error *error)
{
    if (*name && name[strlen(name) - 1] == '\'')
        return append_slope(header, name, unit, error);
    const enum dw_status status = dwi_header_check_column(name, unit, error);
    if (status != DW_OK)
        return status;
    if (dwi_header_name_is_taken(header, name, header->column_count))
        return dw_error_set(error, DW_BAD_USE, 0, "two channels have the name '%s'", name);
    return append(header, (struct header_column){ .name = strdup(name), .unit = strdup(unit) }, error);
}

enum dw_status dwi_header_insert_slope(struct dw_header *header, size_t column, struct dw_error *error)
{
    struct header_column slope = { .slope = true };
    if (!dwi_header_name_slope(&header->columns[column], &slope))
        return dw_no_memory(error);
    const enum dw_status status = append(header, slope, error);
    if (status == DW_OK) {  /* unrun: passed-on */
        slope = header->columns[header->column_count - 1];
        memmove(&header->columns[column + 2], &header->columns[column + 1], (header->column_count - column - 2) * sizeof slope);
        header->columns[column + 1] = slope;
    }
    return status;
}

enum dw_status dw_header_append_slope(struct dw_header *header, struct dw_error *error)
{
    return append_slope(header, NULL, NULL, error);
}

/* name, or name-2, name-3, ... where that is taken; the caller frees it. NULL: no memory. */
static char *free_name(const struct dw_header *header, const char *name, size_t except)
{
    const size_t size = strlen(name) + 16;
    char *fresh = malloc(size);
    if (!fresh)
        return NULL;
    strcpy(fresh, name);
    for (unsigned k = 2; dwi_header_name_is_taken(header, fresh, except); k++) {
        char digits[12], *first = digits + sizeof digits;
        *--first = 0;
        for (unsigned rest = k; rest; rest /= 10)
            *--first = (char)('0' + rest % 10);
        fresh[strlen(name)] = '-';
        strcpy(fresh + strlen(name) + 1, first);
    }
    return fresh;
}

enum dw_status dw_header_append(struct dw_header *header, const char *name, const char *unit, struct dw_error *error)
{
    const enum dw_status good = dwi_header_check_column(name, unit, error);
    char *fresh = good == DW_OK ? free_name(header, name, header->column_count) : NULL;
    if (!fresh)
        return good == DW_OK ? dw_no_memory(error) : good;
    const enum dw_status status = dwi_header_append_exactly(header, fresh, unit, error);
    free(fresh);
    return status;
}
