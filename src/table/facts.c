/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the known keys of a header say: read and checked when a key is set, and kept in step with the channels. */
#include "header_inner.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What the numbers of a key must be. */
enum fact_demand { FINITE, ABOVE_ZERO, RISING };
static const char *const demanded[] = {
    [FINITE] = "a number", [ABOVE_ZERO] = "a number above zero", [RISING] = "two numbers, the low one first",
};

/* Keys about the whole table. */
static const struct {
    const char *key;
    enum dw_fact fact;
    size_t place; /* of its number or numbers in struct dw_facts */
    enum fact_demand demand;
} numbers[] = {
    { "period", DW_FACT_PERIOD, offsetof(struct dw_facts, period), ABOVE_ZERO },
    { "carrier-period", DW_FACT_CARRIER_PERIOD, offsetof(struct dw_facts, carrier_period), ABOVE_ZERO },
    { "origin", DW_FACT_ORIGIN, offsetof(struct dw_facts, origin), FINITE },
    { "levels", DW_FACT_LEVELS, offsetof(struct dw_facts, low), RISING },
    { "sampled", DW_FACT_SAMPLED, offsetof(struct dw_facts, sampled), ABOVE_ZERO },
    { "tick", DW_FACT_TICK, offsetof(struct dw_facts, tick), ABOVE_ZERO },
};

/* Keys that hold pairs of a channel and a number: "out 0 current 0.5". */
enum pair_key { INITIAL, ACCURACY, PAIR_KEYS };
static const char *const pair_keys[] = { [INITIAL] = "initial", [ACCURACY] = "accuracy" };

static double *pair_number(struct dw_channel_facts *facts, enum pair_key key)
{
    return key == INITIAL ? &facts->initial : &facts->accuracy;
}

static enum pair_key pair_key_of(const char *key)
{
    enum pair_key k = INITIAL;
    while (k < PAIR_KEYS && strcmp(key, pair_keys[k]) != 0)
        k++;
    return k;
}

const struct dw_facts *dw_header_facts(const struct dw_header *header)
{
    return &header->facts;
}

const struct dw_channel_facts *dw_header_channel_facts(const struct dw_header *header, size_t column)
{
    static const struct dw_channel_facts nothing = { NAN, NAN };
    return column < header->column_count ? &header->columns[column].facts : &nothing;
}

/* ---- reading ---- */

/* Cuts the next word off a text; empty at its end. */
static char *next_word(char **text)
{
    char *first = *text + strspn(*text, " \t"), *last = first + strcspn(first, " \t");
    *text = *last ? last + 1 : last;
    *last = 0;
    return first;
}

static bool is_number(const char *word, double *value)
{
    const char *last = word + strlen(word);
    return *word && dw_number_read(word, last, value) == last && isfinite(*value);
}

static size_t count_of(enum fact_demand demand)
{
    return demand == RISING ? 2 : 1;
}

static bool holds(enum fact_demand demand, char *text, double number[2])
{
    for (size_t i = 0; i < count_of(demand); i++)
        if (!is_number(next_word(&text), &number[i]))
            return false;
    return !*text && (demand != ABOVE_ZERO || number[0] > 0) && (demand != RISING || number[0] < number[1]);
}

/* text: may be changed; NULL where the key is gone */
static enum dw_status take_numbers(struct dw_facts *facts, size_t i, char *text, struct dw_error *error)
{
    double number[2] = { 0, 0 };
    char shown[64];
    if (text)
        quoted(shown, sizeof shown, text, text + strlen(text));
    if (text && !holds(numbers[i].demand, text, number))
        return dw_error_set(error, DW_BAD_USE, 0, "'%s: %s' is not %s", numbers[i].key, shown,
                            demanded[numbers[i].demand]);
    memcpy((char *)facts + numbers[i].place, number, count_of(numbers[i].demand) * sizeof *number);
    facts->has = text ? facts->has | numbers[i].fact : facts->has & ~(unsigned)numbers[i].fact;
    return DW_OK;
}

static enum dw_status take_pair(struct dw_header *header, enum pair_key key, char **text, struct dw_error *error)
{
    struct dw_error why;
    char shown[64];
    const char *name = next_word(text), *number = next_word(text);
    const size_t column = dw_header_find(header, name, &why);
    if (!column)
        return dw_error_set(error, DW_BAD_USE, 0, "%s: %s", pair_keys[key], why.text);
    double *fresh = &header->columns[column].fresh;
    if (!isnan(*fresh))
        return dw_error_set(error, DW_BAD_USE, 0, "%s: channel %.60s stands twice", pair_keys[key], name);
    if (!is_number(number, fresh) || (key == ACCURACY && *fresh < 0))
        return dw_error_set(error, DW_BAD_USE, 0, "%s: '%s' of channel %.60s is not a number%s", pair_keys[key],
                            quoted(shown, sizeof shown, number, number + strlen(number)), name,
                            key == ACCURACY ? " of zero or more" : "");
    return DW_OK;
}

static enum dw_status take_pairs(struct dw_header *header, enum pair_key key, char *text, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (size_t i = 0; i < header->column_count; i++)
        header->columns[i].fresh = NAN;
    if (text)
        do {
            status = take_pair(header, key, &text, error);
        } while (status == DW_OK && *text);
    for (size_t i = 0; status == DW_OK && i < header->column_count; i++)
        *pair_number(&header->columns[i].facts, key) = header->columns[i].fresh;
    return status;
}

enum dw_status dwi_header_take(struct dw_header *header, const char *key, const char *value, struct dw_error *error)
{
    const enum pair_key pairs = pair_key_of(key);
    size_t i = 0;
    while (i < sizeof numbers / sizeof numbers[0] && strcmp(key, numbers[i].key) != 0)
        i++;
    const bool is_number_key = i < sizeof numbers / sizeof numbers[0];
    if (!is_number_key && (pairs == PAIR_KEYS || !header->column_count))
        return DW_OK;
    char *text = value ? strdup(value) : NULL;
    if (value && !text)
        return dw_no_memory(error);
    const enum dw_status status = is_number_key ? take_numbers(&header->facts, i, text, error)
                                                : take_pairs(header, pairs, text, error);
    free(text);
    return status;
}

/* ---- writing ---- */

/* A key's pairs as text, in the order of the channels; empty where there are none. The caller frees it. NULL: no
 * memory. */
static char *pairs_text(const struct dw_header *header, enum pair_key key)
{
    size_t room = 1;
    for (size_t i = 0; i < header->column_count; i++)
        room += strlen(header->columns[i].name) + DW_NUMBER_SIZE + 2;
    char *text = malloc(room), *at = text;
    if (!text)
        return NULL;
    for (size_t i = 0; i < header->column_count; i++) {
        struct header_column *column = &header->columns[i];
        const double value = *pair_number(&column->facts, key);
        if (isnan(value))
            continue;
        at += sprintf(at, "%s%s ", at > text ? " " : "", column->name);
        at += dw_number_print(at, value);
    }
    *at = 0;
    return text;
}

static enum dw_status set_pairs(struct dw_header *header, enum pair_key key, struct dw_error *error)
{
    char *text = pairs_text(header, key);
    if (!text)
        return dw_no_memory(error);
    const enum dw_status status = *text ? dw_header_set(header, pair_keys[key], text, error) : DW_OK;
    free(text);
    return status;
}

static enum dw_status set_pair(struct dw_header *header, enum pair_key key, size_t column, double value,
                               struct dw_error *error)
{
    if (!column || column >= header->column_count)
        return dw_error_set(error, DW_BAD_USE, 0, "%s: column %zu of %zu", pair_keys[key], column,
                            header->column_count);
    enum dw_status status = dwi_header_check_finite(pair_keys[key], value, error);
    if (status != DW_OK)
        return status;
    double *number = pair_number(&header->columns[column].facts, key);
    const double old = *number;
    *number = value;
    if ((status = set_pairs(header, key, error)) != DW_OK)
        *number = old;
    return status;
}

enum dw_status dw_header_set_initial(struct dw_header *header, size_t column, double value, struct dw_error *error)
{
    return set_pair(header, INITIAL, column, value, error);
}

enum dw_status dw_header_set_accuracy(struct dw_header *header, size_t column, double value, struct dw_error *error)
{
    return set_pair(header, ACCURACY, column, value, error);
}

/* ---- what follows the channels ---- */

/* The texts that name a channel, once it has another name: all of them, or none where memory runs out. */
static bool follow_name(struct dw_header *header, struct header_column *renamed)
{
    char *text[PAIR_KEYS] = { NULL };
    bool good = renamed->name && renamed->unit;
    for (enum pair_key key = INITIAL; good && key < PAIR_KEYS; key++)
        good = isnan(*pair_number(&renamed->facts, key)) || (text[key] = pairs_text(header, key));
    for (enum pair_key key = INITIAL; key < PAIR_KEYS; key++) {
        struct header_entry *entry = good && text[key] ? dwi_header_find_entry(header, pair_keys[key]) : NULL;
        free(entry ? entry->value : text[key]);
        if (entry)
            entry->value = text[key];
    }
    return good;
}

enum dw_status dw_header_rename(struct dw_header *header, size_t column, const char *name, const char *unit,
                                struct dw_error *error)
{
    if (column >= header->column_count)
        return dw_error_set(error, DW_BAD_USE, 0, "column %zu of %zu", column, header->column_count);
    struct header_column *renamed = &header->columns[column];
    const struct header_column gone = *renamed;
    const enum dw_status status = header_check_column(name, unit ? unit : gone.unit, error);
    if (status != DW_OK)
        return status;
    if (header_name_is_taken(header, name, column))
        return dw_error_set(error, DW_BAD_USE, 0, "two channels would have the name '%s'", name);
    renamed->name = strdup(name);
    renamed->unit = strdup(unit ? unit : gone.unit);
    const bool good = follow_name(header, renamed);
    const struct header_column fresh = *renamed;
    if (!good)
        *renamed = gone;
    free(good ? gone.name : fresh.name);
    free(good ? gone.unit : fresh.unit);
    return good ? DW_OK : dw_no_memory(error);
}

struct dw_header *dw_header_select(const struct dw_header *header, const size_t *columns, size_t count,
                                   struct dw_error *error)
{
    struct dw_header *chosen = header_new_empty(error);
    enum dw_status status = chosen ? DW_OK : DW_NO_MEMORY;
    for (size_t i = 0; status == DW_OK && i <= count; i++) {
        const struct dw_column column = dw_header_column(header, i ? columns[i - 1] : 0);
        status = header_append_exactly(chosen, column.name, column.unit, error);
        if (status == DW_OK)
            chosen->columns[i].facts = *dw_header_channel_facts(header, i ? columns[i - 1] : 0);
    }
    for (size_t i = 0; status == DW_OK && i < header->entry_count; i++) {
        const struct header_entry *entry = &header->entries[i];
        const enum pair_key pairs = pair_key_of(entry->key);
        status = pairs < PAIR_KEYS ? set_pairs(chosen, pairs, error)
                                   : dw_header_add(chosen, entry->key, entry->value, error);
    }
    if (status == DW_OK)
        return chosen;
    dw_header_free(chosen);
    return NULL;
}
