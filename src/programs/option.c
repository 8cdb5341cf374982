/* SPDX-License-Identifier: GPL-3.0-or-later */
/* An argument into the member that its row names. */
#include "option.h"
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum dw_status option_error(struct dw_error *error, const char *option, const char *argument, const char *format, ...)
{
    char reason[DW_ERROR_TEXT];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(reason, sizeof reason, format, arguments);
    va_end(arguments);
    return argument ? dw_error_set(error, DW_BAD_USE, 0, "--%s: '%s': %s", option, argument, reason)
                    : dw_error_set(error, DW_BAD_USE, 0, "--%s: %s", option, reason);
}

/* "3.3 V", or "1e-05" for a number without unit */
static const char *spell_limit(char *out, size_t size, double value, enum dw_quantity kind)
{
    const char *unit = dw_quantity_unit(kind);
    char number[DW_NUMBER_SIZE];
    dw_number_print(number, value);
    snprintf(out, size, strcmp(unit, "1") ? "%s %s" : "%s", number, unit);
    return out;
}

/* "; m is milli, did you mean 18M?" where a number that is too small would do with M. */
static const char *mega_hint(char *out, size_t size, const struct option_spec *o, const char *argument, double value)
{
    const char *milli = strchr(argument, 'm');
    const bool fits = milli && value > 0 && value < o->least && 1e9 * value >= o->least;
    *out = 0;
    if (fits)
        snprintf(out, size, "; m is milli, did you mean %.*sM%s?", (int)(milli - argument), argument, milli + 1);
    return out;
}

static enum dw_status refuse_closed(const struct option_spec *o, const char *argument, double value, struct dw_error *error)
{
    char from[64], to[64], hint[96];
    spell_limit(from, sizeof from, o->least, o->quantity);
    spell_limit(to, sizeof to, o->most, o->quantity);
    if (isinf(o->most))
        return option_error(error, o->name, argument, "must be at least %s%s", from, mega_hint(hint, sizeof hint, o, argument, value));
    if (isinf(o->least))
        return option_error(error, o->name, argument, "must be at most %s", to);
    const bool percent = o->quantity == DW_SHARE && value > o->most && value / 100 >= o->least && value / 100 <= o->most;
    if (percent && !strpbrk(argument, "%/"))
        return option_error(error, o->name, argument, "must be from %s to %s; did you mean %s%%?", from, to, argument);
    return option_error(error, o->name, argument, "must be from %s to %s", from, to);
}

enum dw_status option_value(const struct option_spec *o, const char *argument, double *value, struct dw_error *error)
{
    struct dw_error why;
    const double percent = o->quantity == DW_SHARE ? 100 : 1;
    if (dw_quantity_parse(argument, o->quantity, value, &why) != DW_OK)
        return option_error(error, o->name, argument, "%s", why.text);
    if (o->range == OPTION_POSITIVE && !(*value > 0))
        return option_error(error, o->name, argument, "must be above zero");
    if (o->range == OPTION_OPEN && !(*value > o->least && *value < o->most))
        return option_error(error, o->name, argument, "must be above %g and below %g%s", percent * o->least, percent * o->most,
                            percent > 1 ? "%" : "");
    if (o->range == OPTION_CLOSED && !(*value >= o->least && *value <= o->most))
        return refuse_closed(o, argument, *value, error);
    if (o->whole && *value != floor(*value))
        return option_error(error, o->name, argument, "must be a whole number");
    return DW_OK;
}

enum dw_status option_index(const struct option_spec *o, const char *argument, int *index, struct dw_error *error)
{
    char list[DW_ERROR_TEXT] = "";
    size_t used = 0;
    const char *const *words = o->words;
    for (*index = 0; words[*index]; ++*index)
        if (!strcmp(words[*index], argument))
            return DW_OK;
    for (int i = 0; words[i] && used < sizeof list; i++)
        used += (size_t)snprintf(list + used, sizeof list - used, "%s%s", !i ? "" : words[i + 1] ? ", " : " or ", words[i]);
    const char *near = option_renamed(o->name, argument);
    if (!near && words[0] && words[1]) /* of one, the list says it */
        near = option_nearest(argument, words);
    return option_error(error, o->name, argument, near ? "must be %s; did you mean %s?" : "must be %s", list, near);
}

enum dw_status option_append(struct option_texts *texts, const char *text, struct dw_error *error)
{
    const char **more = realloc(texts->text, (texts->count + 1) * sizeof *more);
    if (!more)
        return dw_no_memory(error);
    texts->text = more;
    texts->text[texts->count++] = text;
    return DW_OK;
}

/* A whole number into a member of any size. */
static void store_whole(const struct option_spec *option, void *at, long long value)
{
    const bool truth = value != 0;
    const int32_t small = (int32_t)value;
    const int64_t large = value;
    memcpy(at, option->size == sizeof truth ? (const void *)&truth : option->size == sizeof small ? (const void *)&small : &large,
           option->size);
}

enum dw_status option_store(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    void *at = (char *)options + option->offset;
    double value = 0;
    int index = 1;
    enum dw_status status = DW_OK;
    if (option->kind == OPTION_IS_READ)
        return option->read(option, argument, options, error);
    if (option->words)
        status = option_index(option, argument, &index, error);
    else if (option->kind == OPTION_IS_QUANTITY || option->kind == OPTION_IS_COUNT)
        status = option_value(option, argument, &value, error);
    if (status != DW_OK || !option->size)
        return status;
    switch (option->kind) {
    case OPTION_IS_TEXTS: return option_append(at, argument, error);
    case OPTION_IS_TEXT: *(const char **)at = argument; return DW_OK;
    case OPTION_IS_QUANTITY: *(double *)at = value; return DW_OK;
    case OPTION_IS_COUNT: store_whole(option, at, (long long)value); return DW_OK;
    case OPTION_IS_FLAG:
    case OPTION_IS_WORD:
    case OPTION_IS_READ: break;
    }
    store_whole(option, at, index);
    return DW_OK;
}

const char *option_halves(const char *argument, char sign, char *first, size_t size)
{
    const char *middle = strchr(argument, sign);
    const size_t length = middle ? (size_t)(middle - argument) : size;
    if (length >= size)
        return NULL;
    memcpy(first, argument, length);
    first[length] = 0;
    return middle + 1;
}

enum dw_status option_pair(const struct option_spec *option, const char *argument, char sign, const char *expected, double pair[2],
                           struct dw_error *error)
{
    char first[64];
    const char *second = option_halves(argument, sign, first, sizeof first);
    if (!second)
        return option_error(error, option->name, argument, "must be %s", expected);
    const enum dw_status status = option_value(option, first, &pair[0], error);
    return status == DW_OK ? option_value(option, second, &pair[1], error) : status;
}
