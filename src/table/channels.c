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

/* The channels, as many as a message holds: "pin[V], out[V] and 12 more". */
static void list_channels(const struct dw_header *header, char *out, size_t size)
{
    enum { MOST = 8 };
    size_t used = 0;
    out[0] = 0;
    for (size_t i = 1; i < header->column_count && used < size; i++) {
        if (i > MOST) {
            snprintf(out + used, size - used, " and %zu more", header->column_count - i);
            return;
        }
        const char *unit = header->columns[i].unit;
        used += (size_t)snprintf(out + used, size - used, "%s%.40s%s%.20s%s", i > 1 ? ", " : "", header->columns[i].name,
                                 *unit ? "[" : "", unit, *unit ? "]" : "");
    }
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
    char shown[80], channels[360];
    for (size_t i = 1; i < header->column_count; i++)
        if (is_asked_for(&header->columns[i], name))
            return i;
    quoted(shown, sizeof shown, name, name + strlen(name));
    const char *nearest = NULL;
    size_t least = 2 + strlen(name) / 4; /* a guess further off than that helps nobody */
    for (size_t i = 1; i < header->column_count; i++) {
        const size_t apart = distance(name, header->columns[i].name);
        if (apart < least) {
            least = apart;
            nearest = header->columns[i].name;
        }
    }
    list_channels(header, channels, sizeof channels);
    if (nearest)
        dw_error_set(error, DW_BAD_USE, 0, "no channel '%s'; did you mean '%.60s'?", shown, nearest);
    else
        dw_error_set(error, DW_BAD_USE, 0, "no channel '%s'; there %s %s", shown, header->column_count == 2 ? "is" : "are",
                     channels);
    return 0;
}

size_t dw_header_last_with_unit(const struct dw_header *header, const char *unit, struct dw_error *error)
{
    bool any_unit = false;
    for (size_t i = header->column_count; i-- > 1;) {
        if (!strcmp(header->columns[i].unit, unit))
            return i;
        any_unit |= *header->columns[i].unit != 0;
    }
    if (!any_unit && header->column_count > 1)
        return header->column_count - 1;
    char channels[360];
    list_channels(header, channels, sizeof channels);
    char cure[160] = "";
    for (size_t i = header->column_count; i-- > 1 && !*cure;) {  /* unrun: size */
        double divisor, factor;
        const struct header_column *column = header->columns + i;
        if (dw_unit_converts(column->unit, unit, &divisor, &factor) && strlen(column->name) < 40)  /* unrun: size */
            snprintf(cure, sizeof cure, "; dw-table --rename '%s=%s[%s]' converts it", column->name, column->name, unit);
    }
    dw_error_set(error, DW_BAD_INPUT, 0, "no channel in %s; there %s %s%s", unit, header->column_count == 2 ? "is" : "are",
                 header->column_count > 1 ? channels : "none", cure);
    return 0;
}

/* Keys that hold pairs of a channel and a number: "out 0 current 0.5". */
static const char *const pair_keys[] = { "initial", "accuracy" };
enum { PAIR_KEYS = sizeof pair_keys / sizeof pair_keys[0] };

struct channel_pair {
    const char *name, *value;
    size_t name_length, value_length;
};

static bool next_pair(const char **text, struct channel_pair *pair)
{
    pair->name = *text + strspn(*text, " \t");
    pair->name_length = strcspn(pair->name, " \t");
    pair->value = pair->name + pair->name_length;
    pair->value += strspn(pair->value, " \t");
    pair->value_length = strcspn(pair->value, " \t");
    *text = pair->value + pair->value_length;
    return pair->name_length > 0;
}

static bool is_pair_of(const struct channel_pair *pair, const char *channel)
{
    return strlen(channel) == pair->name_length && !memcmp(channel, pair->name, pair->name_length);
}

enum dw_status dw_header_of_channel(const struct dw_header *header, const char *key, const char *channel, double *value,
                                    bool *present, struct dw_error *error)
{
    const char *text = dw_header_get(header, key);
    struct channel_pair pair;
    *present = false;
    while (text && next_pair(&text, &pair)) {
        if (!is_pair_of(&pair, channel))
            continue;
        double number;
        const char *last = pair.value + pair.value_length;
        char shown[64];
        if (!pair.value_length || dw_number_read(pair.value, last, &number) != last || !(number - number == 0))
            return dw_error_set(error, DW_BAD_INPUT, 0, "header: %s: '%s' of channel %.60s is not a number", key,
                                quoted(shown, sizeof shown, pair.value, last), channel);
        *value = number;
        *present = true;
        return DW_OK;
    }
    return DW_OK;
}

static bool is_pair_of_any(const struct channel_pair *pair, const struct dw_header *header)
{
    for (size_t i = 1; i < header->column_count; i++)
        if (is_pair_of(pair, header->columns[i].name))
            return true;
    return false;
}

/* Writes a key anew: pairs of the channels that there are, without `except`, then `more`. */
static enum dw_status rewrite_pairs(struct dw_header *header, const char *key, const char *except, const char *more,
                                    struct dw_error *error)
{
    const char *text = dw_header_get(header, key);
    char *fresh = malloc((text ? strlen(text) : 0) + strlen(more) + 2), *end = fresh;
    if (!fresh)
        return dw_no_memory(error);
    struct channel_pair pair;
    *fresh = 0;
    while (text && next_pair(&text, &pair)) {
        if (is_pair_of_any(&pair, header) && (!except || !is_pair_of(&pair, except)))
            end += sprintf(end, "%s%.*s %.*s", end > fresh ? " " : "", (int)pair.name_length, pair.name,
                           (int)pair.value_length, pair.value);
    }
    sprintf(end, "%s%s", end > fresh && *more ? " " : "", more);
    enum dw_status status = DW_OK;
    if (*fresh)
        status = dw_header_set(header, key, fresh, error);
    else
        dw_header_drop(header, key);
    free(fresh);
    return status;
}

enum dw_status dw_header_set_of_channel(struct dw_header *header, const char *key, const char *channel, double value,
                                        struct dw_error *error)
{
    char number[DW_NUMBER_SIZE];
    const enum dw_status printed = header_print_number(number, key, value, error);
    if (printed != DW_OK)
        return printed;
    char *pair = malloc(strlen(channel) + sizeof number + 2);
    if (!pair)
        return dw_no_memory(error);
    sprintf(pair, "%s %s", channel, number);
    const enum dw_status status = rewrite_pairs(header, key, channel, pair, error);
    free(pair);
    return status;
}

enum dw_status dw_header_initial(const struct dw_header *header, const char *channel, double *value, bool *present,
                                 struct dw_error *error)
{
    return dw_header_of_channel(header, "initial", channel, value, present, error);
}

enum dw_status dw_header_set_initial(struct dw_header *header, const char *channel, double value, struct dw_error *error)
{
    return dw_header_set_of_channel(header, "initial", channel, value, error);
}

enum dw_status dw_header_rename(struct dw_header *header, size_t column, const char *name, const char *unit,
                                struct dw_error *error)
{
    if (column >= header->column_count)
        return dw_error_set(error, DW_BAD_USE, 0, "column %zu of %zu", column, header->column_count);
    const char *as = unit ? unit : header->columns[column].unit;
    const enum dw_status status = header_check_column(name, as, error);
    if (status != DW_OK)
        return status;
    if (header_name_is_taken(header, name, column))
        return dw_error_set(error, DW_BAD_USE, 0, "two channels would have the name '%s'", name);
    struct header_column fresh = { strdup(name), strdup(as) };
    const struct header_column old = header->columns[column];
    if (!fresh.name || !fresh.unit) {
        free(fresh.name);
        free(fresh.unit);
        return dw_no_memory(error);
    }
    double value[PAIR_KEYS];
    bool present[PAIR_KEYS] = { false };
    for (size_t i = 0; column && i < PAIR_KEYS; i++)
        dw_header_of_channel(header, pair_keys[i], old.name, &value[i], &present[i], NULL);
    header->columns[column] = fresh;
    free(old.name);
    free(old.unit);
    for (size_t i = 0; i < PAIR_KEYS; i++)
        if (present[i] && dw_header_set_of_channel(header, pair_keys[i], fresh.name, value[i], error) == DW_NO_MEMORY)
            return DW_NO_MEMORY;
    return DW_OK;
}

struct dw_header *dw_header_select(const struct dw_header *header, const size_t *columns, size_t count,
                                   struct dw_error *error)
{
    struct dw_header *chosen = header_new_empty(error);
    enum dw_status status = chosen ? DW_OK : DW_NO_MEMORY;
    const char *key, *value;
    for (size_t i = 0; status == DW_OK && (key = dw_header_key(header, i, &value)); i++)
        status = dw_header_add(chosen, key, value, error);
    for (size_t i = 0; status == DW_OK && i <= count; i++) {
        const struct dw_column column = dw_header_column(header, i ? columns[i - 1] : 0);
        status = header_append_exactly(chosen, column.name, column.unit, error);
    }
    for (size_t i = 0; status == DW_OK && i < PAIR_KEYS; i++)
        status = rewrite_pairs(chosen, pair_keys[i], NULL, "", error);
    if (status == DW_OK)
        return chosen;
    dw_header_free(chosen);
    return NULL;
}
