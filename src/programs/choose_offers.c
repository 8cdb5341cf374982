/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-choose: which parts there are to choose from, and how a part is written. */
#include "choose.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const range_keys[PARTS] = { "r", "c", "l", "rd" };
static const enum dw_quantity kinds[PARTS] = { DW_RESISTANCE, DW_CAPACITANCE, DW_INDUCTANCE, DW_RESISTANCE };

static double range_end(const char *argument, const char *text, int part)
{
    double value = 0;
    struct dw_error reason;
    if (dw_quantity_parse(text, kinds[part], &value, &reason) != DW_OK)
        option_error("range", argument, "%s: %s", range_keys[part], reason.text);
    if (!(value > 0))
        option_error("range", argument, "%s: must be above zero", range_keys[part]);
    return value;
}

void choose_range(struct choose_offers *offers, const char *argument)
{
    const char *seen[PARTS] = { NULL };
    char text[256];
    if (strlen(argument) >= sizeof text)
        option_error("range", argument, "longer than %zu bytes", sizeof text - 1);
    strcpy(text, argument);
    char *rest = text;
    for (char *word; (word = strsep(&rest, ","));) {
        char *equals = strchr(word, '='), *colon = equals ? strchr(equals, ':') : NULL;
        int part = 0;
        while (part < PARTS && !(equals && strlen(range_keys[part]) == (size_t)(equals - word) &&
                                 !strncmp(range_keys[part], word, (size_t)(equals - word))))
            part++;
        if (part == PARTS)
            option_error("range", argument, "'%s' is none of the keys r, c, l, rd", word);
        if (!colon)
            option_error("range", argument, "%s: must be two values, such as r=1k:100k", range_keys[part]);
        if (seen[part])
            option_error("range", argument, "%s is given twice", range_keys[part]);
        seen[part] = word;
        *colon = '\0';
        offers->from[part] = range_end(argument, equals + 1, part);
        offers->to[part] = range_end(argument, colon + 1, part);
        offers->ranged[part] = true;
        if (!(offers->to[part] >= offers->from[part]))
            option_error("range", argument, "%s: the second value must not be below the first", range_keys[part]);
    }
}

/* E24 and the like; 0: a file. */
static int series_of(const char *spec)
{
    if (spec[0] != 'E' || !spec[1] || strspn(spec + 1, "0123456789") != strlen(spec + 1) || strlen(spec) > 6)
        return 0;
    return atoi(spec + 1); /* NOLINT(cert-err34-c): nothing but a few digits */
}

static struct dw_parts *offer(const struct choose_offers *offers, int part, const char *option)
{
    const char *spec = offers->spec[part];
    const double from = offers->from[part], to = offers->to[part];
    const int series = series_of(spec);
    struct dw_error error;
    struct dw_parts *parts;
    if (series > 0)
        parts = dw_parts_series(series, from, to, offers->spread[part], &error);
    else
        parts = dw_parts_read(spec, kinds[part], offers->ranged[part] ? from : 0, offers->ranged[part] ? to : INFINITY,
                              offers->spread[part], &error);
    if (parts)
        return parts;
    if (error.status == DW_BAD_USE)
        option_error(option, option_given(option) ? spec : NULL, "%s", error.text);
    program_fail(error.status, "--%s: %s", option, error.text);
}

static void need_prices(const struct dw_parts *parts, const char *option)
{
    for (size_t i = 0; i < dw_parts_count(parts); i++)
        if (isnan(dw_parts_get(parts, i).price))
            option_error("rank", "price", "--%s gives parts without a price", option);
}

void choose_offers(struct choose_options *o, const struct choose_offers *given)
{
    struct choose_offers offers = *given;
    offers.spec[PART_DAMPER] = offers.spec[PART_RESISTOR];
    o->capacitors = offer(&offers, PART_CAPACITOR, "capacitors");
    if (o->wish.most_stages > 0)
        o->resistors = offer(&offers, PART_RESISTOR, "resistors");
    if (offers.spec[PART_COIL]) {
        o->coils = offer(&offers, PART_COIL, "inductors");
        o->dampers = offer(&offers, PART_DAMPER, "resistors");
    }
    choose_use_lists(o);
}

void choose_use_lists(struct choose_options *o)
{
    o->wish.resistors = o->resistors;
    o->wish.capacitors = o->capacitors;
    o->wish.coils = o->coils;
    o->wish.dampers = o->dampers;
    if (o->wish.rank == DW_RANK_PRICE) {
        need_prices(o->capacitors, "capacitors");
        if (o->resistors)
            need_prices(o->resistors, "resistors");
        if (o->coils) {
            need_prices(o->coils, "inductors");
            need_prices(o->dampers, "resistors");
        }
    }
}

void choose_spell(char *out, double value)
{
    static const char prefixes[] = "fpnum\0kMGT";
    char number[DW_NUMBER_SIZE], digits[DW_NUMBER_SIZE];
    dw_number_print(number, value);
    /* the digits that say the value, without zeros around them, and the exponent of the first */
    int count = 0, exponent = -1;
    bool point = false, begun = false;
    const char *p = number;
    for (; *p && *p != 'e'; p++) {
        if (*p == '.') {
            point = true;
            continue;
        }
        begun = begun || *p != '0';
        if (begun)
            digits[count++] = *p;
        if (begun && !point)
            exponent++;
        if (!begun && point)
            exponent--;
    }
    exponent += *p == 'e' ? atoi(p + 1) : 0; /* NOLINT(cert-err34-c): as the library printed it */
    while (count > 1 && digits[count - 1] == '0')
        count--;
    const int group = (int)floor(exponent / 3.0);
    if (!begun || group < -5 || group > 4) {
        strcpy(out, number);
        return;
    }
    const int before = exponent - 3 * group + 1;
    for (int i = 0; i < before || i < count; i++) {
        if (i == before)
            *out++ = '.';
        *out++ = i < count ? digits[i] : '0';
    }
    if (prefixes[group + 5])
        *out++ = prefixes[group + 5];
    *out = '\0';
}

/* Adds ",key=value" where there is such a part. */
static void add_part(char *out, size_t size, const char *key, const struct dw_part *part, bool *first)
{
    char value[40];
    const size_t used = strlen(out);
    if (!(part->value > 0))
        return;
    choose_spell(value, part->value);
    snprintf(out + used, size - used, "%s%s=%s", *first ? "" : ",", key, value);
    *first = false;
}

void choose_stages(char *out, size_t size, const struct dw_filter *filter, const char *before)
{
    *out = '\0';
    for (int k = 0; k < filter->stages; k++) {
        bool first = true;
        const size_t used = strlen(out);
        snprintf(out + used, size - used, "%s%s", k ? " " : "", before);
        add_part(out, size, "r", &filter->r[k], &first);
        if (k == 0)
            add_part(out, size, "l", &filter->l, &first);
        add_part(out, size, "c", &filter->c[k], &first);
        if (k == 0) {
            add_part(out, size, "rd", &filter->rd, &first);
            add_part(out, size, "cd", &filter->cd, &first);
        }
    }
}
