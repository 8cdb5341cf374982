/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The header as lines of text: read one by one, written whole. */
#include "header_inner.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *skip_blanks(char *at)
{
    return at + strspn(at, " \t");
}

/* What the keys above the columns say of them. */
static enum dw_status take_entries(struct dw_header *header, struct dw_error *error)
{
    for (size_t i = 0; i < header->entry_count; i++) {
        const struct header_entry *entry = &header->entries[i];
        const enum dw_status status = dwi_header_take(header, entry->key, entry->value, error);
        if (status != DW_OK)
            return dw_error_set(error, status, entry->line, "%s", error->text);
    }
    return DW_OK;
}

/* "time[s] pin[V]": at is NUL-terminated and may be changed. */
static enum dw_status parse_columns(struct dw_header *header, char *at, struct dw_error *error)
{
    char shown[64];
    if (header->column_count)
        return dw_error_set(error, DW_BAD_INPUT, 0, "a second line of columns");
    for (at = skip_blanks(at); *at; at = skip_blanks(at)) {
        char *end = at + strcspn(at, " \t"), *next = *end ? end + 1 : end;
        *end = 0;
        dwi_quoted(shown, sizeof shown, at, end);
        char *unit = at + strcspn(at, "[");
        if (*unit) {
            *unit++ = 0;
            char *close = unit + strcspn(unit, "]");
            if (!*close || close[1] || close == unit)
                return dw_error_set(error, DW_BAD_INPUT, 0, "columns: '%s': expected NAME[UNIT], such as pin[V]", shown);
            *close = 0;
        }
        const enum dw_status status = dwi_header_append_exactly(header, at, unit, error);
        if (status != DW_OK)
            return dw_error_set(error, status, 0, "columns: %s", error->text);
        at = next;
    }
    return take_entries(header, error);
}

enum dw_status dwi_header_parse_line(struct dw_header *header, char *first, char *last, bool *binary, struct dw_error *error)
{
    char shown[64];
    dwi_quoted(shown, sizeof shown, first, last);
    if (memchr(first, 0, (size_t)(last - first)))
        return dw_error_set(error, DW_BAD_INPUT, 0, "a NUL byte in the header");
    while (last > first && (last[-1] == ' ' || last[-1] == '\t' || last[-1] == '\r'))  /* unrun: header-mark */
        last--;
    *last = 0;
    char *key = skip_blanks(first + 1), *colon = key + strcspn(key, ":");
    if (!*colon || colon == key)
        return dw_error_set(error, DW_BAD_INPUT, 0, "'%s': a header line is '# key: value'", shown);
    *colon = 0;
    char *value = skip_blanks(colon + 1);
    if (!strcmp(key, "columns"))
        return parse_columns(header, value, error);
    if (!strcmp(key, "rows")) {
        if (strcmp(value, BINARY_MARK))
            return dw_error_set(error, DW_BAD_INPUT, 0, "'%s': only rows of " BINARY_MARK " are known", shown);
        *binary = true;
        return DW_OK;
    }
    return dw_header_add(header, key, value, error);
}

enum dw_status dwi_header_check(const struct dw_header *header, struct dw_error *error)
{
    if (!header->column_count)
        return dw_error_set(error, DW_BAD_INPUT, 0, "the header has no line '# columns: time[s] ...'");
    if (header->column_count < 2)
        return dw_error_set(error, DW_BAD_INPUT, 0, "the columns hold no channel beside %s", header->columns[0].name);
    const char *unit = header->columns[0].unit, *plain;
    int power;
    if (dwi_header_unit_power(unit, &power, &plain) && power)
        return dw_error_set(error, DW_BAD_INPUT, 0, "columns: %s[%s]: a wave table counts in %s", header->columns[0].name,
                            unit, plain);
    return DW_OK;
}

static char *put(char *at, const char *text)
{
    const size_t length = strlen(text);
    memcpy(at, text, length);
    return at + length;
}

static char *put_columns(char *at, const struct dw_header *header, const char *between)
{
    for (size_t i = 0; i < header->column_count; i++) {
        at = put(put(at, i ? between : ""), header->columns[i].name);
        if (*header->columns[i].unit)
            at = put(put(put(at, "["), header->columns[i].unit), "]");
    }
    return at;
}

char *dwi_header_text(const struct dw_header *header, enum dw_encoding encoding, size_t *size, struct dw_error *error)
{
    size_t room = sizeof TABLE_MARK "\n# columns: \n# rows: " BINARY_MARK "\n";
    for (size_t i = 0; i < header->entry_count; i++)
        room += strlen(header->entries[i].key) + strlen(header->entries[i].value) + sizeof "# : \n";
    for (size_t i = 0; i < header->column_count; i++)
        room += strlen(header->columns[i].name) + strlen(header->columns[i].unit) + sizeof "[] ";
    if (room > HEADER_LIMIT) {
        dw_error_set(error, DW_BAD_USE, 0, "the header would be longer than 1 MiB");
        return NULL;
    }
    char *text = malloc(room), *at = text;
    if (!text) {
        dw_no_memory(error);
        return NULL;
    }
    if (encoding == DW_CSV) {
        at = put(put_columns(at, header, ","), "\r\n");
    } else {
        at = put(at, TABLE_MARK "\n");
        for (size_t i = 0; i < header->entry_count; i++) {
            const struct header_entry *entry = &header->entries[i];
            at = put(put(put(at, "# "), entry->key), *entry->value ? ": " : ":");
            at = put(put(at, entry->value), "\n");
        }
        at = put(put_columns(put(at, "# columns: "), header, " "), "\n");
        if (encoding == DW_BINARY)
            at = put(at, "# rows: " BINARY_MARK "\n");
    }
    *at = 0;
    *size = (size_t)(at - text);
    return text;
}
