/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What stands in a command line, and all of it as one line of a header. */
#include "common.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *command_given(const struct command *c, const char *option)
{
    for (size_t k = c->count; k-- > 0;)
        if (!strcmp(c->found[k].option->name, option))
            return c->found[k].argument;
    return NULL;
}

bool command_is(const struct command *c, int i, const char *option)
{
    for (size_t k = 0; k < c->count; k++)
        if (c->found[k].place == i && !strcmp(c->found[k].option->name, option))
            return true;
    return false;
}

/* Appends one word, quoted for a POSIX shell where it needs it; control characters, which would break the header's
 * line, in the $'...' form of POSIX.1-2024. Gives the new end. */
static char *quote_word(char *to, const char *word)
{
    static const char plain[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_@%+=:,./-";
    bool control = false;
    for (const char *c = word; *c; c++)
        control = control || (unsigned char)*c < 0x20 || *c == 0x7f;
    if (*word && word[strspn(word, plain)] == 0)
        return stpcpy(to, word);
    to = stpcpy(to, control ? "$'" : "'");
    for (const char *c = word; *c; c++)
        if (control && ((unsigned char)*c < 0x20 || *c == 0x7f))
            to += sprintf(to, "\\%03o", (unsigned)(unsigned char)*c);
        else if (control && (*c == '\'' || *c == '\\'))
            to += sprintf(to, "\\%c", *c);
        else
            to = *c == '\'' ? stpcpy(to, "'\\''") : (*to = *c, to + 1);
    return stpcpy(to, "'");
}

char *command_quoted(const struct command *command)
{
    size_t size = strlen(command->program->name) + 1;
    for (int i = 1; i < command->argc; i++)
        size += 4 * strlen(command->argv[i]) + 4; /* at most \ooo a byte; $' ' and a blank */
    char *line = malloc(size);
    char *to = line ? stpcpy(line, command->program->name) : NULL;
    for (int i = 1; line && i < command->argc; i++)
        if (!command_is(command, i, "binary") && !command_is(command, i, "text")) {
            *to++ = ' ';
            to = quote_word(to, command->argv[i]);
            *to = 0;
        }
    return line;
}
