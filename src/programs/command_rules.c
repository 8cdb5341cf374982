/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What options have to do with each other. */
#include "command.h"
#include <stdio.h>
#include <string.h>

enum { MOST_NAME = 128 };

/* The next word of a list between `marks`; false at its end. */
static bool next_word(const char **list, const char *marks, char *word)
{
    *list += strspn(*list, marks);
    const size_t length = strcspn(*list, marks);
    snprintf(word, MOST_NAME, "%.*s", (int)length, *list);
    *list += length;
    return length > 0;
}

/* NAME, NAME=WORD, or !NAME; name: out, without what stands around it. */
static bool term_holds(const struct command *command, const char *term, char *name)
{
    const bool negated = *term == '!';
    const char *equals = strchr(term, '=');
    const size_t length = equals ? (size_t)(equals - term) - negated : strlen(term) - negated;
    snprintf(name, MOST_NAME, "%.*s", (int)length, term + negated);
    const char *given = command_given(command, name);
    return negated != (given && (!equals || !strcmp(given, equals + 1)));
}

bool command_holds(const struct command *command, const char *condition)
{
    char either[MOST_NAME], term[MOST_NAME], name[MOST_NAME];
    if (!condition)
        return true;
    while (next_word(&condition, " ", either)) {
        const char *rest = either;
        bool all = true;
        while (all && next_word(&rest, "&", term))
            all = term_holds(command, term, name);
        if (all)
            return true;
    }
    return false;
}

/* "--name 'argument'", or "--name" for a flag and what stands without one */
static void spell_given(char *out, size_t size, const struct command *command, const char *option)
{
    const char *argument = "";
    for (size_t i = 0; i < command->count; i++) {
        const struct command_found *found = &command->found[i];
        if (!strcmp(found->option->name, option) && found->argument != found->option->bare)
            argument = found->argument;
    }
    snprintf(out, size, *argument ? "--%s '%s'" : "--%s", option, argument);
}

static enum dw_status exclude(const struct command *command, const char *one, const char *others, const char *words,
                              struct dw_error *error)
{
    char term[MOST_NAME], name[MOST_NAME], other[MOST_NAME], first[160], second[160];
    if (!term_holds(command, one, name))
        return DW_OK;
    while (next_word(&others, " ", term))
        if (term_holds(command, term, other)) {
            spell_given(first, sizeof first, command, name);
            spell_given(second, sizeof second, command, other);
            return dw_error_set(error, DW_BAD_USE, 0, "%s and %s: %s", first, second, words);
        }
    return DW_OK;
}

static enum dw_status want_one(const struct command *command, const struct option_rule *rule, struct dw_error *error)
{
    char name[MOST_NAME], list[DW_ERROR_TEXT] = "";
    size_t used = 0;
    if (command_holds(command, rule->options))
        return DW_OK;
    for (const char *rest = rule->options; next_word(&rest, " ", name);)
        used += (size_t)snprintf(list + used, sizeof list - used, "%s--%s", !used ? "" : strchr(rest, ' ') ? ", " : " or ", name);
    return dw_error_set(error, DW_BAD_USE, 0, "%s is missing: give one, %s", list, rule->words);
}

/* One of the rule's options. */
static enum dw_status check_one(const struct command *command, const struct option_rule *rule, const char *term, const char *rest,
                                struct dw_error *error)
{
    char name[MOST_NAME];
    const bool given = term_holds(command, term, name);
    const char *argument = given ? command_given(command, name) : NULL;
    if (rule->kind == OPTION_EXCLUDES)
        return exclude(command, term, rule->with ? rule->with : rest, rule->words, error);
    if (rule->kind == OPTION_REFUSED && given)
        return option_error(error, name, *argument ? argument : NULL, "%s", rule->words);
    if (rule->kind == OPTION_NEEDED && !given)
        return dw_error_set(error, DW_BAD_USE, 0, "--%s is missing: give it, %s", name, rule->words);
    return DW_OK;
}

enum dw_status command_check(const struct command *command, const struct option_rule *rule, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    char term[MOST_NAME];
    for (; status == DW_OK && rule->options; rule++) {
        const char *rest = rule->options;
        if (rule->kind != OPTION_EXCLUDES && !command_holds(command, rule->with))
            continue;
        if (rule->kind == OPTION_ONE_OF)
            status = want_one(command, rule, error);
        else
            while (status == DW_OK && next_word(&rest, " ", term))
                status = check_one(command, rule, term, rest, error);
    }
    return status;
}
