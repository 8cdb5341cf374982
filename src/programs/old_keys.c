/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "old_keys.h"
#include "old_common.h"
#include <string.h>

enum { MOST_TEXT = 256, MOST_KEYS = 16 };

/* Ends the program: the word is no key of ours with a value. */
static __attribute__((noreturn)) void refuse_key(const char *option, const char *argument, const char *word,
                                                 const struct option_key *keys, size_t count)
{
    char names[MOST_TEXT] = "", typed[MOST_TEXT];
    const char *list[MOST_KEYS + 1] = { NULL };
    for (size_t i = 0; i < count; i++) {
        strcat(names, i ? ", " : "");
        strcat(names, keys[i].name);
        if (i < MOST_KEYS)
            list[i] = keys[i].name;
    }
    if (!strchr(word, '='))
        option_error(option, argument, "'%s' is no KEY=VALUE; the keys are %s", word, names);
    strcpy(typed, word);
    typed[strcspn(typed, "=")] = 0;
    const char *near = nearest_word(typed, list);
    option_error(option, argument, near ? "'%s' is none of the keys %s; did you mean %s?" : "'%s' is none of the keys %s", typed,
                 names, near);
}

void option_keys(const char *option, const char *argument, struct option_key *keys, size_t count)
{
    char text[MOST_TEXT];
    if (strlen(argument) >= sizeof text)
        option_error(option, argument, "longer than %d bytes", MOST_TEXT - 1);
    strcpy(text, argument);
    char *rest = text;
    for (char *word; (word = strsep(&rest, ","));) {
        char *equals = strchr(word, '=');
        size_t k = 0;
        while (k < count && !(equals && strlen(keys[k].name) == (size_t)(equals - word) &&
                              !strncmp(keys[k].name, word, equals - word)))
            k++;
        if (k == count)
            refuse_key(option, argument, word, keys, count);
        struct dw_error error;
        option_once(option, word, &keys[k].seen);
        if (dw_quantity_parse(equals + 1, keys[k].kind, &keys[k].value, &error))
            option_error(option, argument, "%s: %s", keys[k].name, error.text);
    }
}
