/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "common.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* One option among all tables of a program. */
struct word_place {
    const struct option_spec *option;
    size_t offset;
};

static struct word_place find_option(const struct program *program, const char *name, size_t length)
{
    struct command_set sets[COMMAND_SETS];
    const size_t count = command_sets(program, sets);
    for (size_t i = 0; i < count; i++)
        for (const struct option_spec *o = sets[i].options; o->name || o->help; o++)
            if (o->name && strlen(o->name) == length && !memcmp(o->name, name, length))
                return (struct word_place){ o, sets[i].offset };
    return (struct word_place){ NULL, 0 };
}

static const char *nearest_option(const struct program *program, const char *typed)
{
    struct command_set sets[COMMAND_SETS];
    const size_t count = command_sets(program, sets);
    const char *name = NULL;
    int least = 0;
    for (size_t i = 0; i < count; i++)
        for (const struct option_spec *o = sets[i].options; o->name || o->help; o++) {
            const int far = o->name ? option_farness(typed, o->name) : -1;
            if (far >= 0 && (!name || far < least)) {
                name = o->name;
                least = far;
            }
        }
    return name;
}

/* typed: as on the line, dashes and all, without =argument */
static enum dw_status refuse_option(const struct program *program, const char *typed, int length, struct dw_error *error)
{
    char name[64];
    const int dashes = (int)strspn(typed, "-");
    snprintf(name, sizeof name, "%.*s", length - dashes, typed + dashes);
    if (!strcmp(name, "h") || !strcmp(name, "?"))
        strcpy(name, "help");
    const char *now = option_renamed(program->name, name), *near = now ? now : nearest_option(program, name);
    return near ? dw_error_set(error, DW_BAD_USE, 0, "%.*s is no option; did you mean --%s?", length, typed, near)
                : dw_error_set(error, DW_BAD_USE, 0, "%.*s is no option; --help lists them", length, typed);
}

static enum dw_status keep(struct command *c, struct word_place at, const char *argument, int place, struct dw_error *error)
{
    for (size_t i = 0; i < c->count; i++)
        if (c->found[i].option == at.option && at.option->argument && !at.option->repeats)
            return option_error(error, at.option->name, NULL, "given twice, as '%s' and as '%s'", c->found[i].argument, argument);
    c->found[c->count++] = (struct command_found){ at.option, at.offset, argument, place };
    if (!strcmp(at.option->name, "help") || !strcmp(at.option->name, "version"))
        c->asked = at.option->name;
    return c->asked ? DW_END : DW_OK;
}

/* --name, --name=argument or --name argument; *i goes on to the next word. */
static enum dw_status scan_option(struct command *c, int *i, struct dw_error *error)
{
    const char *word = c->argv[*i], *equals = strchr(word, '=');
    const size_t length = equals ? (size_t)(equals - word) : strlen(word);
    const struct word_place at = word[1] == '-' ? find_option(c->program, word + 2, length - 2) : (struct word_place){ NULL, 0 };
    if (!at.option)
        return refuse_option(c->program, word, word[1] == '-' ? (int)length : (int)strlen(word), error);
    if (equals && !at.option->argument)
        return option_error(error, at.option->name, equals + 1, "the option takes no argument");
    const bool separate = at.option->argument && !at.option->bare && !equals;
    const char *otherwise = at.option->bare ? at.option->bare : "";
    if (separate && *i + 1 == c->argc)
        return option_error(error, at.option->name, NULL, "its argument %s is missing", at.option->argument);
    const enum dw_status status = keep(c, at, equals ? equals + 1 : separate ? c->argv[*i + 1] : otherwise, *i, error);
    *i += 1 + separate;
    return status;
}

static enum dw_status scan_word(struct command *c, const char *word, struct dw_error *error)
{
    if (!c->program->words && !(c->program->shared & SHARED_INPUT))
        return dw_error_set(error, DW_BAD_USE, 0, "'%s': no word is expected here", word);
    if (!c->program->words && c->word_count)
        return dw_error_set(error, DW_BAD_USE, 0, "'%s': only one FILE is read, and '%s' was given already", word, c->words[0]);
    c->words[c->word_count++] = word;
    return DW_OK;
}

static enum dw_status scan(struct command *c, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    bool only_words = false;
    for (int i = 1; i < c->argc && status == DW_OK;) {
        const char *word = c->argv[i];
        if (!only_words && !strcmp(word, "--")) {
            only_words = true;
            i++;
        } else if (only_words || word[0] != '-' || !word[1]) {
            status = scan_word(c, word, error);
            i++;
        } else {
            status = scan_option(c, &i, error);
        }
    }
    return status;
}

/* ---- the options ---- */

static enum dw_status store(struct command *c, void *options, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    struct common_options *common = (void *)((char *)options + c->program->common);
    if (c->program->run)
        common->command = c;
    for (size_t i = 0; status == DW_OK && i < c->count; i++)
        status = option_store(c->found[i].option, c->found[i].argument, (char *)options + c->found[i].offset, error);
    if (c->word_count && !c->program->words)
        common->file = strcmp(c->words[0], "-") ? c->words[0] : NULL;
    return status;
}

static enum dw_status check_required(const struct command *c, const struct option_spec *option, struct dw_error *error)
{
    for (; option->name || option->help; option++)
        if (option->required && !command_given(c, option->name))
            return dw_error_set(error, DW_BAD_USE, 0, "--%s is missing: give it, %s", option->name, option->required);
    return DW_OK;
}

/* Shared rules first, then the load's, the program's own last. */
static enum dw_status check(const struct command *c, void *options, struct dw_error *error)
{
    const struct program *program = c->program;
    struct command_set sets[COMMAND_SETS];
    enum dw_status status = DW_OK;
    for (size_t i = command_sets(program, sets); i-- > 0 && status == DW_OK;) {
        status = check_required(c, sets[i].options, error);
        if (status == DW_OK && sets[i].rules)
            status = command_check(c, sets[i].rules, error);
    }
    if (status == DW_OK && program->load && program->load->check)
        status = program->load->check(c, (char *)options + program->loaded, error);
    return status == DW_OK && program->check ? program->check(c, options, error) : status;
}

enum dw_status command_parse(struct command *c, const struct program *program, void *options, int argc, char **argv,
                             struct dw_error *error)
{
    *c = (struct command){ .program = program, .argc = argc, .argv = argv };
    const size_t room = argc > 0 ? (size_t)argc : 1;
    c->found = calloc(room, sizeof *c->found);
    c->words = calloc(room, sizeof *c->words);
    if (!c->found || !c->words)
        return dw_no_memory(error);
    enum dw_status status = scan(c, error);
    if (status != DW_OK)
        return status;
    c->quiet = command_given(c, "quiet");
    c->made_by = command_quoted(c);
    if (!c->made_by)
        return dw_no_memory(error);
    status = store(c, options, error);
    return status == DW_OK ? check(c, options, error) : status;
}

void command_free(struct command *c, void *options)
{
    for (size_t i = 0; options && i < c->count; i++)
        if (c->found[i].option->kind == OPTION_IS_TEXTS) {
            struct option_texts *texts = (void *)((char *)options + c->found[i].offset + c->found[i].option->offset);
            free(texts->text);
            *texts = (struct option_texts){ NULL, 0 };
        }
    free(c->found);
    free(c->words);
    free(c->made_by);
    *c = (struct command){ .program = c->program };
}

/* ---- what was given ---- */

/* How well an option explains a refused member: 0: not at all; better where it was given, and where the member is its own. */
static int blame(const struct command *c, const struct option_spec *option, const char *member)
{
    const char *last = option->member ? strrchr(option->member, '.') : NULL, *own = last ? last + 1 : option->member;
    const char *also = option->also ? strstr(option->also, member) : NULL;
    const size_t length = strlen(member);
    const bool is_own = own && !strcmp(own, member);
    const bool sets = is_own || (also && (also == option->also || also[-1] == ' ') && (!also[length] || also[length] == ' '));
    return sets ? 1 + is_own + 2 * (command_given(c, option->name) != NULL) : 0;
}

void command_place(const struct command *c, struct dw_error *error)
{
    struct command_set sets[COMMAND_SETS];
    const size_t count = *error->member ? command_sets(c->program, sets) : 0;
    const char *name = NULL;
    int most = 0;
    for (size_t i = 0; i < count; i++)
        for (const struct option_spec *o = sets[i].options; o->name || o->help; o++) {
            const int blamed = o->name ? blame(c, o, error->member) : 0;
            if (blamed > most) {
                name = o->name;
                most = blamed;
            }
        }
    if (name)
        dw_error_set(error, error->status, error->line, "--%s: %s", name, error->text);
}
