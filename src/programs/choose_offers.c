/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-choose: which parts there are to choose from, and how a part is written. */
#include "choose.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

double choose_lsb(const struct dw_filter_task *task)
{
    return (task->high - task->low) / (double)task->levels;
}

static const char *const range_keys[PARTS] = { "r", "c", "l", "rd" };
static const enum dw_quantity kinds[PARTS] = { DW_RESISTANCE, DW_CAPACITANCE, DW_INDUCTANCE, DW_RESISTANCE };

static enum dw_status range_end(const char *argument, const char *text, int part, double *value, struct dw_error *error)
{
    struct dw_error why;
    if (dw_quantity_parse(text, kinds[part], value, &why) != DW_OK)
        return option_error(error, "values", argument, "%s: %s", range_keys[part], why.text);
    if (*value >= DW_PART_LEAST && *value <= DW_PART_MOST)
        return DW_OK;
    return option_error(error, "values", argument, "%s: must be from %g to %g", range_keys[part], DW_PART_LEAST, DW_PART_MOST);
}

/* r=1k:100k, one of several. */
static enum dw_status read_range(const char *argument, char *word, struct choose_offers *offers, struct dw_error *error)
{
    char *equals = strchr(word, '='), *colon = equals ? strchr(equals, ':') : NULL;
    int part = 0;
    while (part < PARTS && !(equals && strlen(range_keys[part]) == (size_t)(equals - word) &&
                             !strncmp(range_keys[part], word, (size_t)(equals - word))))
        part++;
    if (part == PARTS)
        return option_error(error, "values", argument, "'%s' is none of the keys r, c, l, rd", word);
    if (!colon)
        return option_error(error, "values", argument, "%s: must be two values, such as r=1k:100k", range_keys[part]);
    if (offers->ranged[part])
        return option_error(error, "values", argument, "%s is given twice", range_keys[part]);
    *colon = '\0';
    offers->ranged[part] = true;
    enum dw_status status = range_end(argument, equals + 1, part, &offers->from[part], error);
    if (status == DW_OK)
        status = range_end(argument, colon + 1, part, &offers->to[part], error);
    if (status == DW_OK && !(offers->to[part] >= offers->from[part]))
        status = option_error(error, "values", argument, "%s: the second value must not be below the first", range_keys[part]);
    return status;
}

enum dw_status choose_range(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    char text[256], *rest = text;
    enum dw_status status = DW_OK;
    if (strlen(argument) >= sizeof text)
        return option_error(error, option->name, argument, "longer than %zu bytes", sizeof text - 1);
    strcpy(text, argument);
    for (char *word; status == DW_OK && (word = strsep(&rest, ","));)
        status = read_range(argument, word, &((struct choose_options *)options)->offers, error);
    return status;
}

/* E24 and the like; 0: a file. */
static int series_of(const char *spec)
{
    if (spec[0] != 'E' || !spec[1] || strspn(spec + 1, "0123456789") != strlen(spec + 1) || strlen(spec) > 6)
        return 0;
    return atoi(spec + 1); /* NOLINT(cert-err34-c): nothing but a few digits */
}

static enum dw_status offer(const struct choose_options *o, int part, const char *option, struct dw_parts **parts,
                            struct dw_error *error)
{
    const struct choose_offers *offers = &o->offers;
    const char *spec = offers->spec[part == PART_DAMPER ? PART_RESISTOR : part];
    const double from = offers->from[part], to = offers->to[part];
    const int series = series_of(spec);
    struct dw_error why;
    if (series > 0)
        *parts = dw_parts_series(series, from, to, offers->spread[part], &why);
    else
        *parts = dw_parts_read(spec, kinds[part], offers->ranged[part] ? from : 0, offers->ranged[part] ? to : INFINITY,
                               offers->spread[part], &why);
    if (*parts)
        return DW_OK;
    if (why.status == DW_BAD_USE)
        return option_error(error, option, command_given(o->common.command, option) ? spec : NULL, "%s", why.text);
    return dw_error_set(error, why.status, 0, "--%s: %s", option, why.text);
}

static enum dw_status need_prices(const struct dw_parts *parts, const char *option, struct dw_error *error)
{
    for (size_t i = 0; parts && i < dw_parts_count(parts); i++)
        if (isnan(dw_parts_get(parts, i).price))
            return option_error(error, "rank", "price", "--%s gives parts without a price", option);
    return DW_OK;
}

enum dw_status choose_offers(struct choose_options *o, struct dw_error *error)
{
    enum dw_status status = offer(o, PART_CAPACITOR, "capacitors", &o->capacitors, error);
    if (status == DW_OK && o->wish.most_stages > 0)
        status = offer(o, PART_RESISTOR, "resistors", &o->resistors, error);
    if (status == DW_OK && o->offers.spec[PART_COIL]) {
        status = offer(o, PART_COIL, "inductors", &o->coils, error);
        if (status == DW_OK)
            status = offer(o, PART_DAMPER, "resistors", &o->dampers, error);
    }
    return status == DW_OK ? choose_use_lists(o, error) : status;
}

enum dw_status choose_use_lists(struct choose_options *o, struct dw_error *error)
{
    o->wish.resistors = o->resistors;
    o->wish.capacitors = o->capacitors;
    o->wish.coils = o->coils;
    o->wish.dampers = o->dampers;
    const struct {
        const struct dw_parts *parts;
        const char *option;
    } lists[] = { { o->capacitors, "capacitors" }, { o->resistors, "resistors" }, { o->coils, "inductors" }, { o->dampers, "resistors" } };
    enum dw_status status = DW_OK;
    for (size_t i = 0; i < sizeof lists / sizeof lists[0] && o->wish.rank == DW_RANK_PRICE && status == DW_OK; i++)
        status = need_prices(lists[i].parts, lists[i].option, error);
    return status;
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

void choose_stages(char *out, size_t size, const struct dw_filter *filter, const char *before, const struct dw_filter_task *losses)
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
        if (losses) {
            add_part(out, size, "esr", &(struct dw_part){ .value = losses->esr / filter->c[k].value }, &first);
            add_part(out, size, "leak", &(struct dw_part){ .value = losses->insulation / filter->c[k].value }, &first);
        }
        if (k == 0) {
            add_part(out, size, "rd", &filter->rd, &first);
            add_part(out, size, "cd", &filter->cd, &first);
        }
    }
}
