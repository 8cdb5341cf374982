/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The header as lines of text: read one by one, written whole. */
#include "header_inner.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

size_t letter_length(const char *at, const char *last)
{
    const unsigned char c = (unsigned char)*at;
    const size_t length = c < 0x80 ? 1 : c >= 0xc2 && c < 0xe0 ? 2 : c >= 0xe0 && c < 0xf0 ? 3 : c >= 0xf0 && c < 0xf5 ? 4 : 0;
    if (!length || c < ' ' || c == 0x7f || (size_t)(last - at) < length)
        return 0;
    for (size_t i = 1; i < length; i++)
        if (((unsigned char)at[i] & 0xc0) != 0x80)
            return 0;
    return length;
}

const char *quoted(char *out, size_t size, const char *first, const char *last)
{
    const size_t most = (size_t)(last - first) < size ? size - 1 : size - 4;
    size_t used = 0;
    while (first < last) {
        const size_t letter = letter_length(first, last), bytes = letter ? letter : 1;
        if (used + bytes > most) {
            memcpy(out + used, "...", 3);
            used += 3;
            break;
        }
        if (letter)
            memcpy(out + used, first, letter);
        else
            out[used] = '?';
        used += bytes;
        first += bytes;
    }
    out[used] = 0;
    return out;
}

bool header_unit_power(const char *unit, int *power, const char **plain)
{
    static const struct {
        const char *unit;
        int power;
        const char *plain;
    } known[] = {
        { "s", 0, "s" },   { "ms", -3, "s" },  { "us", -6, "s" },  { "\302\265s", -6, "s" },  { "\316\274s", -6, "s" },
        { "ns", -9, "s" }, { "ps", -12, "s" }, { "Hz", 0, "Hz" }, { "kHz", 3, "Hz" }, { "MHz", 6, "Hz" }, { "GHz", 9, "Hz" },
    };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        if (!strcmp(known[i].unit, unit)) {
            *power = known[i].power;
            *plain = known[i].plain;
            return true;
        }
    return false;
}

bool header_unit_prefixed(const char *unit, int *power, const char **plain)
{
    static const char *const plains[] = { "V", "A", "W", "Hz", "ohm", "s", "J", "Nm" };
    static const struct {
        const char *prefix;
        int power;
    } prefixes[] = { { "p", -12 }, { "n", -9 }, { "u", -6 }, { "\302\265", -6 }, { "\316\274", -6 }, { "m", -3 }, { "k", 3 },
                     { "M", 6 }, { "G", 9 } };
    for (size_t i = 0; i < sizeof prefixes / sizeof prefixes[0]; i++) {
        const size_t length = strlen(prefixes[i].prefix);
        for (size_t j = 0; !strncmp(unit, prefixes[i].prefix, length) && j < sizeof plains / sizeof plains[0]; j++)
            if (!strcmp(unit + length, plains[j])) {
                *power = prefixes[i].power;
                *plain = plains[j];
                return true;
            }
    }
    return false;
}

struct unit_scale unit_scale_of(int power)
{
    double scale = 1;
    for (int k = abs(power); k > 0; k--)
        scale *= 10;
    return (struct unit_scale){ power < 0 ? scale : 1, power > 0 ? scale : 1 };
}

bool dw_unit_converts(const char *from, const char *to, double *divisor, double *factor)
{
    const char *plain_from = from, *plain_to = to;
    int power_from = 0, power_to = 0;
    header_unit_prefixed(from, &power_from, &plain_from);
    header_unit_prefixed(to, &power_to, &plain_to);
    if (strcmp(plain_from, plain_to) != 0)
        return false;
    const struct unit_scale scale = unit_scale_of(power_from - power_to);
    *divisor = scale.divisor;
    *factor = scale.factor;
    return true;
}

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
        quoted(shown, sizeof shown, at, end);
        char *unit = at + strcspn(at, "[");
        if (*unit) {
            *unit++ = 0;
            char *close = unit + strcspn(unit, "]");
            if (!*close || close[1] || close == unit)
                return dw_error_set(error, DW_BAD_INPUT, 0, "columns: '%s': expected NAME[UNIT], such as pin[V]", shown);
            *close = 0;
        }
        const enum dw_status status = header_append_exactly(header, at, unit, error);
        if (status != DW_OK)
            return dw_error_set(error, status, 0, "columns: %s", error->text);
        at = next;
    }
    return take_entries(header, error);
}

enum dw_status header_parse_line(struct dw_header *header, char *first, char *last, bool *binary, struct dw_error *error)
{
    char shown[64];
    quoted(shown, sizeof shown, first, last);
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

enum dw_status header_check(const struct dw_header *header, struct dw_error *error)
{
    if (!header->column_count)
        return dw_error_set(error, DW_BAD_INPUT, 0, "the header has no line '# columns: time[s] ...'");
    if (header->column_count < 2)
        return dw_error_set(error, DW_BAD_INPUT, 0, "the columns hold no channel beside %s", header->columns[0].name);
    const char *unit = header->columns[0].unit, *plain;
    int power;
    if (header_unit_power(unit, &power, &plain) && power)
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

char *header_text(const struct dw_header *header, enum dw_encoding encoding, size_t *size, struct dw_error *error)
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
