/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Finding channels by name or unit, and saying helpfully that there is none. */
#include "header_inner.h"
#include <dutywright/value.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Letters to change, add or drop between two names (Levenshtein 1966; by rows: Wagner and Fischer 1974, JACM 21:168).
 * Names are cut at 63 bytes. */
static size_t distance(const char *one, const char *other)
{
    enum { MOST = 64 };
    size_t row[MOST];
    const size_t a = strnlen(one, MOST - 1), b = strnlen(other, MOST - 1);
    for (size_t j = 0; j <= b; j++)
        row[j] = j;
    for (size_t i = 1; i <= a; i++) {
        size_t diagonal = row[0];
        row[0] = i;
        for (size_t j = 1; j <= b; j++) {
            const size_t change = diagonal + (one[i - 1] != other[j - 1]);
            diagonal = row[j];
            row[j] = row[j] < row[j - 1] ? row[j] + 1 : row[j - 1] + 1;
            row[j] = change < row[j] ? change : row[j];
        }
    }
    return row[b];
}

static size_t channel_count(const struct dw_header *header)
{
    return header->column_count - 1 - dw_header_slopes(header, NULL);
}

/* The channels, as many as a message holds: "pin[V], out[V] and 12 more". */
static void list_channels(const struct dw_header *header, char *out, size_t size)
{
    enum { MOST = 8 };
    size_t used = 0, listed = 0;
    out[0] = 0;
    for (size_t i = 1; i < header->column_count && used < size; i++) {
        if (header->columns[i].slope)
            continue;
        if (listed++ == MOST) {
            snprintf(out + used, size - used, " and %zu more", channel_count(header) - MOST);
            return;
        }
        const char *unit = header->columns[i].unit;
        used += (size_t)snprintf(out + used, size - used, "%s%.40s%s%.20s%s", i > 1 ? ", " : "", header->columns[i].name,
                                 *unit ? "[" : "", unit, *unit ? "]" : "");
    }
}

/* " are pin[V], out[V]", with the verb */
static void say_channels(const struct dw_header *header, char *out, size_t size)
{
    list_channels(header, out + snprintf(out, size, "%s ", channel_count(header) == 1 ? "is" : "are"), size - 4);
}

/* Length of the name in "name[unit]"; the whole length where no unit stands behind it. */
static size_t name_length(const char *text)
{
    const size_t length = strlen(text);
    return length && text[length - 1] == ']' ? strcspn(text, "[") : length;
}

static bool is_asked_for(const struct header_column *column, const char *text)
{
    const size_t length = name_length(text), unit = strlen(column->unit);
    if (strlen(column->name) != length || memcmp(column->name, text, length))
        return false;
    return !text[length] || (strlen(text) == length + unit + 2 && !memcmp(text + length + 1, column->unit, unit));
}

size_t dw_header_find(const struct dw_header *header, const char *name, struct dw_error *error)
{
    char shown[80], channels[364];
    dwi_quoted(shown, sizeof shown, name, name + strlen(name));
    for (size_t i = 1; i < header->column_count; i++) {
        if (!is_asked_for(&header->columns[i], name))
            continue;
        if (header->columns[i].slope)
            dw_error_set(error, DW_BAD_USE, 0, "'%s' is no channel: the slope goes with %.60s", shown, header->columns[i - 1].name);
        return header->columns[i].slope ? 0 : i;
    }
    const char *nearest = NULL;
    size_t least = 2 + strlen(name) / 4; /* a guess further off than that helps nobody */
    for (size_t i = 1; i < header->column_count; i++) {
        const size_t apart = distance(name, header->columns[i].name);
        if (apart < least && !header->columns[i].slope) {
            least = apart;
            nearest = header->columns[i].name;
        }
    }
    say_channels(header, channels, sizeof channels);
    if (nearest)
        dw_error_set(error, DW_BAD_USE, 0, "no channel '%s'; did you mean '%.60s'?", shown, nearest);
    else
        dw_error_set(error, DW_BAD_USE, 0, "no channel '%s'; there %s", shown, channels);
    return 0;
}

size_t dw_header_last_with_unit(const struct dw_header *header, const char *unit, struct dw_error *error)
{
    bool any_unit = false;
    size_t last = 0;
    for (size_t i = header->column_count; i-- > 1;) {
        if (header->columns[i].slope)
            continue;
        if (!strcmp(header->columns[i].unit, unit))
            return i;
        any_unit |= *header->columns[i].unit != 0;
        last = last ? last : i;
    }
    if (!any_unit && last)
        return last;
    char channels[364] = "are none";
    if (last)
        say_channels(header, channels, sizeof channels);
    char cure[160] = "";
    for (size_t i = header->column_count; i-- > 1 && !*cure;) {  /* unrun: size */
        double divisor, factor;
        const struct header_column *column = header->columns + i;
        if (!column->slope && dw_unit_converts(column->unit, unit, &divisor, &factor) && strlen(column->name) < 40)  /* unrun: size */
            snprintf(cure, sizeof cure, "; dw-table --rename '%s=%s[%s]' converts it", column->name, column->name, unit);
    }
    dw_error_set(error, DW_BAD_INPUT, 0, "no channel in %s; there %s%s", unit, channels, cure);
    return 0;
}
