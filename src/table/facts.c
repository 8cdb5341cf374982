/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the known keys of a header say: read and checked when a key is set. */
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

const char *const dwi_pair_keys[] = { [INITIAL] = "initial", [ACCURACY] = "accuracy" };

struct pair dwi_pair_of(const struct dw_channel_facts *facts, enum pair_key key)
{
    return key == INITIAL ? (struct pair){ facts->initial, NAN } : (struct pair){ facts->accuracy, facts->share };
}

void dwi_pair_put(struct dw_channel_facts *facts, enum pair_key key, struct pair pair)
{
    *(key == INITIAL ? &facts->initial : &facts->accuracy) = pair.number;
    if (key == ACCURACY)
        facts->share = pair.share;
}

bool dwi_pair_is_there(struct pair pair)
{
    return !isnan(pair.number) || !isnan(pair.share);
}

enum pair_key dwi_pair_key_of(const char *key)
{
    enum pair_key k = INITIAL;
    while (k < PAIR_KEYS && strcmp(key, dwi_pair_keys[k]) != 0)
        k++;
    return k;
}

const struct dw_facts *dw_header_facts(const struct dw_header *header)
{
    return &header->facts;
}

const struct dw_channel_facts *dw_header_channel_facts(const struct dw_header *header, size_t column)
{
    static const struct dw_channel_facts nothing = { NAN, NAN, NAN };
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
        dwi_quoted(shown, sizeof shown, text, text + strlen(text));
    if (text && !holds(numbers[i].demand, text, number))
        return dw_error_set(error, DW_BAD_USE, 0, "'%s: %s' is not %s", numbers[i].key, shown,
                            demanded[numbers[i].demand]);
    memcpy((char *)facts + numbers[i].place, number, count_of(numbers[i].demand) * sizeof *number);
    facts->has = text ? facts->has | numbers[i].fact : facts->has & ~(unsigned)numbers[i].fact;
    return DW_OK;
}

/* A second number behind the first: a word that is one and no channel's name. */
static bool take_share(const struct dw_header *header, char **text, double *share)
{
    const char *first = *text + strspn(*text, " \t"), *last = first + strcspn(first, " \t");
    double number;
    if (last == first || dw_number_read(first, last, &number) != last)
        return false;
    char *const begin = *text, *word = next_word(text);
    const size_t length = strlen(word);
    if (!dw_header_find(header, word, NULL)) {
        *share = number;
        return true;
    }
    /* it is read again, as a name */
    word[length] = *text == word + length ? 0 : ' ';
    *text = begin;
    return false;
}

static enum dw_status take_pair(struct dw_header *header, enum pair_key key, char **text, struct dw_error *error)
{
    struct dw_error why;
    char shown[64];
    struct pair pair = { NAN, NAN };
    const char *name = next_word(text), *number = next_word(text);
    const size_t column = dw_header_find(header, name, &why);
    if (!column)
        return dw_error_set(error, DW_BAD_USE, 0, "%s: %s", dwi_pair_keys[key], why.text);
    if (dwi_pair_is_there(header->columns[column].fresh))
        return dw_error_set(error, DW_BAD_USE, 0, "%s: channel %.60s stands twice", dwi_pair_keys[key], name);
    const bool only_share = key == ACCURACY && !strcmp(number, "-");
    const bool good = (only_share || is_number(number, &pair.number)) && !(key == ACCURACY && pair.number < 0);
    if (!good || (key == ACCURACY && !take_share(header, text, &pair.share) && only_share))
        return dw_error_set(error, DW_BAD_USE, 0, "%s: '%s' of channel %.60s is not a number%s", dwi_pair_keys[key],
                            dwi_quoted(shown, sizeof shown, number, number + strlen(number)), name,
                            key == ACCURACY ? " of zero or more" : "");
    if (!isnan(pair.share) && !(pair.share >= 0 && isfinite(pair.share)))
        return dw_error_set(error, DW_BAD_USE, 0, "accuracy: the share %g of channel %.60s is not a number of zero or more",
                            pair.share, name);
    header->columns[column].fresh = pair;
    return DW_OK;
}

static enum dw_status take_pairs(struct dw_header *header, enum pair_key key, char *text, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (size_t i = 0; i < header->column_count; i++)
        header->columns[i].fresh = (struct pair){ NAN, NAN };
    if (text)
        do {
            status = take_pair(header, key, &text, error);
        } while (status == DW_OK && *text);
    for (size_t i = 0; status == DW_OK && i < header->column_count; i++)
        dwi_pair_put(&header->columns[i].facts, key, header->columns[i].fresh);
    return status;
}

enum dw_status dwi_header_take(struct dw_header *header, const char *key, const char *value, struct dw_error *error)
{
    const enum pair_key pairs = dwi_pair_key_of(key);
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
