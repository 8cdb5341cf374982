/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "keys.h"
#include "common.h"
#include <string.h>

enum { MOST_TEXT = 256 };

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
        if (k == count) {
            char names[MOST_TEXT] = "";
            for (size_t i = 0; i < count; i++) {
                strcat(names, i ? ", " : "");
                strcat(names, keys[i].name);
            }
            option_error(option, argument, "'%s' is none of the keys %s", word, names);
        }
        struct dw_error error;
        option_once(option, word, &keys[k].seen);
        if (dw_quantity_parse(equals + 1, keys[k].kind, &keys[k].value, &error))
            option_error(option, argument, "%s: %s", keys[k].name, error.text);
    }
}
