/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Keys in order and columns, kept as they will be written. */
#include "header_inner.h"
#include <dutywright/value.h>
#include <math.h>
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

void dw_header_free(struct dw_header *header)
{
    if (!header)
        return;
    for (size_t i = 0; i < header->entry_count; i++) {
        free(header->entries[i].key);
        free(header->entries[i].value);
    }
    for (size_t i = 0; i < header->column_count; i++) {
        free(header->columns[i].name);
        free(header->columns[i].unit);
    }
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
    if (!*first.unit || !strcmp(first.unit, "s"))
        return DW_OK;
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

enum dw_status dwi_header_append_exactly(struct dw_header *header, const char *name, const char *unit, struct dw_error *error)
{
    const enum dw_status status = dwi_header_check_column(name, unit, error);
    if (status != DW_OK)
        return status;
    if (dwi_header_name_is_taken(header, name, header->column_count))
        return dw_error_set(error, DW_BAD_USE, 0, "two channels have the name '%s'", name);
    if (header->column_count > CHANNEL_LIMIT)
        return dw_error_set(error, DW_BAD_USE, 0, "more than %d channels", CHANNEL_LIMIT);
    struct header_column fresh = { strdup(name), strdup(unit), { NAN, NAN }, NAN };
    if (!fresh.name || !fresh.unit ||
        !dwi_make_room((void **)&header->columns, &header->column_room, header->column_count, sizeof fresh)) {
        free(fresh.name);
        free(fresh.unit);
        return dw_no_memory(error);
    }
    header->columns[header->column_count++] = fresh;
    return DW_OK;
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
    char *fresh = free_name(header, name, header->column_count);
    if (!fresh)
        return dw_no_memory(error);
    const enum dw_status status = dwi_header_append_exactly(header, fresh, unit, error);
    free(fresh);
    return status;
}
