/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Arguments that hold several quantities by name: --stage r=2k7,c=150n. */
#include "option.h"
#include <stdio.h>
#include <string.h>

enum { MOST_TEXT = 256, MOST_KEYS = 16 };

enum dw_status option_once(const char *option, const char *argument, const char **seen, struct dw_error *error)
{
    if (*seen)
        return option_error(error, option, NULL, "given twice, as '%s' and as '%s'", *seen, argument);
    *seen = argument;
    return DW_OK;
}

/* The word is no key of ours with a value. */
static enum dw_status refuse_key(const char *option, const char *argument, const char *word, const struct option_key *keys,
                                 size_t count, struct dw_error *error)
{
    char names[MOST_TEXT] = "", typed[MOST_TEXT];
    const char *list[MOST_KEYS + 1] = { NULL };
    bool later = false;
    for (size_t i = 0; i < count; i++) {
        later = later || keys[i].seen;
        strcat(names, i ? ", " : "");
        strcat(names, keys[i].name);
        if (i < MOST_KEYS)
            list[i] = keys[i].name;
    }
    if (later && *word >= '0' && *word <= '9' && !strchr(word, '='))
        return option_error(error, option, argument, "'%s' follows a comma, which parts keys: the decimal sign is a point", word);
    if (!strchr(word, '='))
        return option_error(error, option, argument, "'%s' is no KEY=VALUE; the keys are %s", word, names);
    snprintf(typed, sizeof typed, "%.*s", (int)strcspn(word, "="), word);
    const char *near = option_nearest(typed, list);
    return option_error(error, option, argument,
                        near ? "'%s' is none of the keys %s; did you mean %s?" : "'%s' is none of the keys %s", typed, names, near);
}

static struct option_key *find_key(const char *word, struct option_key *keys, size_t count)
{
    const size_t length = strcspn(word, "=");
    for (size_t k = 0; word[length] && k < count; k++)
        if (strlen(keys[k].name) == length && !strncmp(keys[k].name, word, length))
            return &keys[k];
    return NULL;
}

enum dw_status option_keys(const char *option, const char *argument, struct option_key *keys, size_t count, struct dw_error *error)
{
    char text[MOST_TEXT], *rest = text;
    struct dw_error why;
    enum dw_status status = DW_OK;
    if (strlen(argument) >= sizeof text)
        return option_error(error, option, argument, "longer than %d bytes", MOST_TEXT - 1);
    strcpy(text, argument);
    for (char *word; status == DW_OK && (word = strsep(&rest, ","));) {
        struct option_key *key = find_key(word, keys, count);
        status = key ? option_once(option, word, &key->seen, error) : refuse_key(option, argument, word, keys, count, error);
        if (status == DW_OK && key && dw_quantity_parse(strchr(word, '=') + 1, key->kind, &key->value, &why) != DW_OK)
            status = option_error(error, option, argument, "%s: %s", key->name, why.text);
    }
    return status;
}
