/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Setting, adding and dropping a header's keys, and keeping them in step with the channels. */
#include "header_inner.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool is_structural(const char *key)
{
    return !strcmp(key, "wave-table") || !strcmp(key, "columns") || !strcmp(key, "rows") || !strcmp(key, "end");
}

static bool may_repeat(const char *key)
{
    return !strcmp(key, "made-by") || !strcmp(key, "note");
}

static enum dw_status check_entry(const char *key, const char *value, struct dw_error *error)
{
    char shown[64];
    if (!dwi_header_name_is_good(key))
        return dw_error_set(error, DW_BAD_USE, 0, "'%s' is no header key: letters, digits, _ - . are",
                            dwi_quoted(shown, sizeof shown, key, key + strlen(key)));
    if (is_structural(key))
        return dw_error_set(error, DW_BAD_USE, 0, "'%s' is no header key: the format itself uses that name", key);
    if (value[strcspn(value, "\r\n")])
        return dw_error_set(error, DW_BAD_USE, 0, "%s: a header value is one line", key);
    return DW_OK;
}

/* A copy without blanks at either end, since reading would not give those back. */
static char *copy_value(const char *value)
{
    value += strspn(value, " \t");
    size_t length = strlen(value);
    while (length && (value[length - 1] == ' ' || value[length - 1] == '\t'))
        length--;
    return strndup(value, length);
}

enum dw_status dw_header_set(struct dw_header *header, const char *key, const char *value, struct dw_error *error)
{
    enum dw_status status = check_entry(key, value, error);
    if (status != DW_OK)
        return status;
    struct header_entry *entry = dwi_header_find_entry(header, key);
    if (!entry)
        return dw_header_add(header, key, value, error);
    char *copy = copy_value(value);
    status = copy ? dwi_header_take(header, key, copy, error) : dw_no_memory(error);
    if (status != DW_OK) {
        free(copy);
        return status;
    }
    free(entry->value);
    entry->value = copy;
    /* of a key that may repeat, one is left */
    for (size_t i = header->entry_count; i-- > (size_t)(entry - header->entries) + 1;)
        if (!strcmp(header->entries[i].key, key)) {
            free(header->entries[i].key);
            free(header->entries[i].value);
            header->entry_count--;
            memmove(&header->entries[i], &header->entries[i + 1], (header->entry_count - i) * sizeof *header->entries);
        }
    return DW_OK;
}

/* A key that stands once: not there yet, and one of few enough for looking at all of them each time. */
static enum dw_status check_fresh(const struct dw_header *header, const char *key, struct dw_error *error)
{
    size_t once = 0;
    for (size_t i = 0; i < header->entry_count; i++) {
        if (!strcmp(header->entries[i].key, key))
            return dw_error_set(error, DW_BAD_USE, 0, "key '%s' stands twice in the header", key);
        once += !may_repeat(header->entries[i].key);
    }
    return once < KEY_LIMIT ? DW_OK : dw_error_set(error, DW_BAD_USE, 0, "more than %d keys", KEY_LIMIT);
}

enum dw_status dw_header_add(struct dw_header *header, const char *key, const char *value, struct dw_error *error)
{
    enum dw_status status = check_entry(key, value, error);
    if (status == DW_OK && !may_repeat(key))
        status = check_fresh(header, key, error);
    if (status != DW_OK)
        return status;
    struct header_entry fresh = { strdup(key), copy_value(value), header->line };
    const bool room = fresh.key && fresh.value &&
                      dwi_make_room((void **)&header->entries, &header->entry_room, header->entry_count, sizeof fresh);
    status = room ? dwi_header_take(header, key, fresh.value, error) : dw_no_memory(error);
    if (status != DW_OK) {
        free(fresh.key);
        free(fresh.value);
        return status;
    }
    /* repeated keys stay together, in the order in which they came */
    size_t place = header->entry_count;
    for (size_t i = place; may_repeat(key) && i-- > 0;)
        if (!strcmp(header->entries[i].key, key)) {
            place = i + 1;
            break;
        }
    memmove(&header->entries[place + 1], &header->entries[place], (header->entry_count - place) * sizeof fresh);
    header->entries[place] = fresh;
    header->entry_count++;
    return DW_OK;
}

void dw_header_drop(struct dw_header *header, const char *key)
{
    size_t kept = 0;
    for (size_t i = 0; i < header->entry_count; i++)
        if (strcmp(header->entries[i].key, key)) {
            header->entries[kept++] = header->entries[i];
        } else {
            free(header->entries[i].key);
            free(header->entries[i].value);
        }
    header->entry_count = kept;
    dwi_header_take(header, key, NULL, NULL);
}

enum dw_status dw_header_set_number(struct dw_header *header, const char *key, double value, struct dw_error *error)
{
    char text[DW_NUMBER_SIZE];
    const enum dw_status status = dwi_header_check_finite(key, value, error);
    dw_number_print(text, value);
    return status != DW_OK ? status : dw_header_set(header, key, text, error);
}

struct dw_header *dw_header_copy(const struct dw_header *header, struct dw_error *error)
{
    struct dw_header *copy = dwi_header_new_empty(error);
    enum dw_status status = copy ? DW_OK : DW_NO_MEMORY;
    for (size_t i = 0; status == DW_OK && i < header->column_count; i++)
        status = dwi_header_append_exactly(copy, header->columns[i].name, header->columns[i].unit, error);
    for (size_t i = 0; status == DW_OK && i < header->entry_count; i++)
        status = dw_header_add(copy, header->entries[i].key, header->entries[i].value, error);
    if (status == DW_OK)
        return copy;
    dw_header_free(copy);
    return NULL;
}

/* ---- numbers of channels ---- */

/* A key's pairs as text, in the order of the channels; empty where there are none. The caller frees it. NULL: no
 * memory. */
static char *pairs_text(const struct dw_header *header, enum pair_key key)
{
    size_t room = 1;
    for (size_t i = 0; i < header->column_count; i++)
        room += strlen(header->columns[i].name) + 2 * DW_NUMBER_SIZE + 3;
    char *text = malloc(room), *at = text;
    if (!text)
        return NULL;
    for (size_t i = 0; i < header->column_count; i++) {
        const struct header_column *column = &header->columns[i];
        const struct pair pair = dwi_pair_of(&column->facts, key);
        if (!dwi_pair_is_there(pair))
            continue;
        at += sprintf(at, "%s%s ", at > text ? " " : "", column->name);
        if (isnan(pair.number))
            *at++ = '-';
        else
            at += dw_number_print(at, pair.number);
        if (isnan(pair.share))
            continue;
        *at++ = ' ';
        at += dw_number_print(at, pair.share);
    }
    *at = 0;
    return text;
}

static enum dw_status set_pairs(struct dw_header *header, enum pair_key key, struct dw_error *error)
{
    char *text = pairs_text(header, key);
    if (!text)
        return dw_no_memory(error);
    const enum dw_status status = *text ? dw_header_set(header, dwi_pair_keys[key], text, error) : DW_OK;
    free(text);
    return status;
}

static enum dw_status set_pair(struct dw_header *header, enum pair_key key, size_t column, struct pair pair,
                               struct dw_error *error)
{
    if (!column || column >= header->column_count || header->columns[column].slope)
        return dw_error_set(error, DW_BAD_USE, 0, "%s: column %zu of %zu", dwi_pair_keys[key], column,
                            header->column_count);
    enum dw_status status = DW_OK;
    if (isnan(pair.share) || !isnan(pair.number))
        status = dwi_header_check_finite(dwi_pair_keys[key], pair.number, error);
    if (status == DW_OK && !isnan(pair.share))
        status = dwi_header_check_finite(dwi_pair_keys[key], pair.share, error);
    if (status != DW_OK)
        return status;
    struct dw_channel_facts *facts = &header->columns[column].facts;
    const struct pair old = dwi_pair_of(facts, key);
    dwi_pair_put(facts, key, pair);
    if ((status = set_pairs(header, key, error)) != DW_OK)
        dwi_pair_put(facts, key, old);
    return status;
}

enum dw_status dw_header_set_initial(struct dw_header *header, size_t column, double value, struct dw_error *error)
{
    return set_pair(header, INITIAL, column, (struct pair){ value, NAN }, error);
}

enum dw_status dw_header_set_accuracy(struct dw_header *header, size_t column, double value, double share,
                                      struct dw_error *error)
{
    return set_pair(header, ACCURACY, column, (struct pair){ value, share }, error);
}

/* ---- what follows the channels ---- */

/* The texts that name a channel, once it has another name: all of them, or none where memory runs out. */
static bool follow_name(struct dw_header *header, struct header_column *renamed)
{
    char *text[PAIR_KEYS] = { NULL };
    bool good = true;
    for (enum pair_key key = INITIAL; good && key < PAIR_KEYS; key++)
        good = !dwi_pair_is_there(dwi_pair_of(&renamed->facts, key)) || (text[key] = pairs_text(header, key));
    for (enum pair_key key = INITIAL; key < PAIR_KEYS; key++) {
        struct header_entry *entry = good && text[key] ? dwi_header_find_entry(header, dwi_pair_keys[key]) : NULL;
        free(entry ? entry->value : text[key]);
        if (entry)
            entry->value = text[key];
    }
    return good;
}

enum dw_status dw_header_rename(struct dw_header *header, size_t column, const char *name, const char *unit,
                                struct dw_error *error)
{
    if (column >= header->column_count || header->columns[column].slope)
        return dw_error_set(error, DW_BAD_USE, 0, "column %zu of %zu", column, header->column_count);
    struct header_column *renamed = &header->columns[column], *slope = dw_header_slope(header, column) ? renamed + 1 : NULL;
    const struct header_column gone = *renamed, gone_slope = slope ? *slope : gone;
    const enum dw_status status = dwi_header_check_column(name, unit ? unit : gone.unit, error);
    if (status != DW_OK)
        return status;
    if (dwi_header_name_is_taken(header, name, column))
        return dw_error_set(error, DW_BAD_USE, 0, "two channels would have the name '%s'", name);
    renamed->name = strdup(name);
    renamed->unit = strdup(unit ? unit : gone.unit);
    bool good = renamed->name && renamed->unit && (!slope || dwi_header_name_slope(renamed, slope));
    good = good && follow_name(header, renamed);
    const struct header_column fresh = *renamed, fresh_slope = slope ? *slope : fresh;
    if (!good) {
        *renamed = gone;
        if (slope)
            *slope = gone_slope;
    }
    dwi_header_free_column(good ? &gone : &fresh);
    if (slope && (good || fresh_slope.name != gone_slope.name))
        dwi_header_free_column(good ? &gone_slope : &fresh_slope);
    return good ? DW_OK : dw_no_memory(error);
}

static enum dw_status choose(struct dw_header *chosen, const struct dw_header *header, size_t column, bool slopes,
                             struct dw_error *error)
{
    const struct dw_column found = dw_header_column(header, column);
    if (dw_header_is_slope(header, column))
        return dw_error_set(error, DW_BAD_USE, 0, "%.60s is a slope, which goes with its channel", found.name);
    enum dw_status status = dwi_header_append_exactly(chosen, found.name, found.unit, error);
    if (status == DW_OK)
        chosen->columns[chosen->column_count - 1].facts = *dw_header_channel_facts(header, column);
    if (status == DW_OK && slopes && dw_header_slope(header, column))
        status = dw_header_append_slope(chosen, error);
    return status;
}

/* Where columns have been chosen, the keys that go with them; NULL otherwise. */
static struct dw_header *with_keys(struct dw_header *chosen, const struct dw_header *header, enum dw_status status, struct dw_error *error)
{
    for (size_t i = 0; status == DW_OK && i < header->entry_count; i++) {
        const struct header_entry *entry = &header->entries[i];
        const enum pair_key pairs = dwi_pair_key_of(entry->key);
        status = pairs < PAIR_KEYS ? set_pairs(chosen, pairs, error)
                                   : dw_header_add(chosen, entry->key, entry->value, error);
    }
    if (status == DW_OK)
        return chosen;
    dw_header_free(chosen);
    return NULL;
}

struct dw_header *dw_header_select(const struct dw_header *header, const size_t *columns, size_t count,
                                   struct dw_error *error)
{
    struct dw_header *chosen = dwi_header_new_empty(error);
    enum dw_status status = chosen ? choose(chosen, header, 0, false, error) : DW_NO_MEMORY;
    for (size_t i = 0; status == DW_OK && i < count; i++)
        status = choose(chosen, header, columns[i], true, error);
    return with_keys(chosen, header, status, error);
}

struct dw_header *dw_header_without_slopes(const struct dw_header *header, struct dw_error *error)
{
    struct dw_header *chosen = dwi_header_new_empty(error);
    enum dw_status status = chosen ? DW_OK : DW_NO_MEMORY;
    for (size_t i = 0; status == DW_OK && i < header->column_count; i++)
        if (!dw_header_is_slope(header, i))
            status = choose(chosen, header, i, false, error);
    return with_keys(chosen, header, status, error);
}

/* ---- which keys still hold after a program has changed the rows: docs/wave-table.md shows the same table ---- */

/* What makes a key untrue. Keys that are not listed are passed on as they are. */
static const struct {
    const char *key;
    unsigned ended_by;
} rules[] = {
    { "period", DW_OTHER_PATTERN | DW_OTHER_AXIS },
    { "carrier-period", DW_OTHER_CARRIER | DW_OTHER_AXIS },
    { "origin", DW_OTHER_CARRIER | DW_OTHER_AXIS },
    { "levels", DW_OTHER_CHANNELS },
    { "duty", DW_OTHER_PATTERN | DW_OTHER_CHANNELS },
    { "sampled", DW_EXACT_ROWS | DW_OTHER_AXIS },
    { "tick", DW_OTHER_CARRIER | DW_OTHER_AXIS },
    { "accuracy", DW_OTHER_CHANNELS | DW_OTHER_AXIS },
    { "initial", DW_OTHER_START | DW_OTHER_CHANNELS | DW_OTHER_AXIS },
};

struct dw_header *dw_header_derive(const struct dw_header *input, unsigned changes, const char *made_by,
                                   struct dw_error *error)
{
    struct dw_header *header = dw_header_copy(input, error);
    for (size_t i = 0; header && i < sizeof rules / sizeof rules[0]; i++)
        if (rules[i].ended_by & changes)
            dw_header_drop(header, rules[i].key);
    if (header && made_by && dw_header_add(header, "made-by", made_by, error) != DW_OK) {
        dw_header_free(header);
        return NULL;
    }
    return header;
}
