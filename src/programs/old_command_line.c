/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "old_command_line_inner.h"
#include "old_common.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* One option found on the line. */
struct found {
    const struct argp_option *option;
    const char *argument; /* "" for a flag */
    int place;            /* index in argv */
};
static struct found *found;
static int found_count;
static const struct argp *known; /* the program's table */

/* Calls visit for each named option of the whole tree until it returns true; gives that option. */
/* NOLINTNEXTLINE(misc-no-recursion): a tree of tables is two levels deep */
static const struct argp_option *each_option(const struct argp *argp,
                                             bool (*visit)(const struct argp_option *option, void *with), void *with)
{
    for (const struct argp_option *o = argp->options; o && (o->name || o->key || o->doc || o->group); o++)
        if (o->name && !(o->flags & OPTION_DOC) && visit(o, with))
            return o;
    for (const struct argp_child *child = argp->children; child && child->argp; child++) {
        const struct argp_option *one = each_option(child->argp, visit, with);
        if (one)
            return one;
    }
    return NULL;
}

struct word {
    const char *text;
    size_t length;
};

static bool has_name(const struct argp_option *option, void *with)
{
    const struct word *word = with;
    return strlen(option->name) == word->length && !memcmp(option->name, word->text, word->length);
}

static bool has_letter(const struct argp_option *option, void *with)
{
    return option->key == *(const char *)with;
}

/* Letters to change, add or drop between two words, a swap of neighbours counting once (optimal string alignment:
 * Damerau 1964, CACM 7:171; Wagner and Fischer 1974, JACM 21:168). Words are cut at 63 bytes. */
static int distance(const char *one, const char *other)
{
    enum { MOST = 64 };
    int row[3][MOST];
    const int a = (int)strnlen(one, MOST - 1), b = (int)strnlen(other, MOST - 1);
    for (int j = 0; j <= b; j++)
        row[0][j] = j;
    for (int i = 1; i <= a; i++) {
        int *now = row[i % 3], *before = row[(i + 2) % 3], *earlier = row[(i + 1) % 3];
        now[0] = i;
        for (int j = 1; j <= b; j++) {
            const int change = before[j - 1] + (one[i - 1] != other[j - 1]);
            now[j] = before[j] + 1 < now[j - 1] + 1 ? before[j] + 1 : now[j - 1] + 1;
            now[j] = change < now[j] ? change : now[j];
            if (i > 1 && j > 1 && one[i - 1] == other[j - 2] && one[i - 2] == other[j - 1] && earlier[j - 2] + 1 < now[j])
                now[j] = earlier[j - 2] + 1;
        }
    }
    return row[a % 3][b];
}

/* How far `candidate` is from what was typed: a beginning counts as nearest; far ones, -1. */
static int farness(const char *typed, const char *candidate)
{
    const size_t length = strlen(typed);
    if (!length)
        return -1;
    if (!strncasecmp(typed, candidate, length))
        return 0;
    if (length > 2 && strstr(candidate, typed))
        return 1;
    const int apart = distance(typed, candidate);
    return apart <= (int)(length + 1) / 3 && apart < (int)length ? apart : -1; /* of one letter nothing would be left */
}

struct nearest {
    const char *typed, *name;
    int least;
};

static bool keep_nearest(const struct argp_option *option, void *with)
{
    struct nearest *nearest = with;
    const int far = option->flags & OPTION_HIDDEN ? -1 : farness(nearest->typed, option->name);
    if (far >= 0 && (!nearest->name || far < nearest->least)) {
        nearest->name = option->name;
        nearest->least = far;
    }
    return false;
}

const char *nearest_word(const char *text, const char *const *words)
{
    const char *name = NULL;
    int least = 0;
    for (; *words; words++) {
        const int far = farness(text, *words);
        if (far >= 0 && (!name || far < least)) {
            name = *words;
            least = far;
        }
    }
    return name;
}

/* typed: as on the line, dashes and all, without =argument */
static void refuse_option(const struct argp *argp, const char *typed, int length)
{
    char name[64];
    const int dashes = (int)strspn(typed, "-");
    const int kept = length - dashes < (int)sizeof name - 1 ? length - dashes : (int)sizeof name - 1;
    memcpy(name, typed + dashes, (size_t)kept);
    name[kept] = 0;
    if (!strcmp(name, "h") || !strcmp(name, "?"))
        strcpy(name, "help");
    struct nearest nearest = { .typed = name };
    each_option(argp, keep_nearest, &nearest);
    if (nearest.name)
        program_fail(DW_BAD_USE, "%.*s is no option; did you mean --%s?", length, typed, nearest.name);
    program_fail(DW_BAD_USE, "%.*s is no option; --help lists them", length, typed);
}

static void keep(const struct argp_option *option, const char *argument, int place)
{
    for (int i = 0; i < found_count; i++)
        if (found[i].option == option && option->arg && !(option->flags & OPTION_REPEATS))
            option_error(option->name, NULL, "given twice, as '%s' and as '%s'", found[i].argument, argument);
    found[found_count++] = (struct found){ option, argument, place };
}

/* --name, --name=argument or --name argument; gives how many words of argv it takes. */
static int check_long(const struct argp *argp, int argc, char **argv, int i)
{
    const char *equals = strchr(argv[i], '=');
    struct word word = { argv[i] + 2, equals ? (size_t)(equals - argv[i]) - 2 : strlen(argv[i]) - 2 };
    const struct argp_option *option = each_option(argp, has_name, &word);
    if (!option)
        refuse_option(argp, argv[i], (int)word.length + 2);
    if (equals && !option->arg)
        option_error(option->name, equals + 1, "the option takes no argument");
    const bool separate = option->arg && !equals && !(option->flags & OPTION_ARG_OPTIONAL);
    if (separate && i + 1 == argc)
        option_error(option->name, NULL, "its argument %s is missing", option->arg);
    keep(option, equals ? equals + 1 : separate ? argv[i + 1] : "", i);
    return 1 + separate;
}

/* -a, -ab, -aARGUMENT or -a ARGUMENT */
static int check_short(const struct argp *argp, int argc, char **argv, int i)
{
    for (const char *letter = argv[i] + 1; *letter; letter++) {
        const struct argp_option *option = each_option(argp, has_letter, (void *)letter);
        if (!option)
            refuse_option(argp, argv[i], (int)strlen(argv[i]));
        const bool separate = option->arg && !letter[1] && !(option->flags & OPTION_ARG_OPTIONAL);
        if (separate && i + 1 == argc)
            option_error(option->name, NULL, "its argument %s is missing", option->arg);
        keep(option, separate ? argv[i + 1] : option->arg ? letter + 1 : "", i);
        if (option->arg)
            return 1 + separate;
    }
    return 1;
}

void command_line_check(const struct argp *argp, int argc, char **argv, int words, void (*help)(int key))
{
    size_t room = 1; /* each option takes at least a letter */
    for (int i = 1; i < argc; i++)
        room += argv[i][0] == '-' && argv[i][1] != '-' ? strlen(argv[i]) : 1;
    command_line_forget();
    known = argp;
    found = calloc(room, sizeof *found);
    if (!found)
        program_fail(DW_NO_MEMORY, "%s", dw_status_text(DW_NO_MEMORY));
    const char *first = NULL;
    bool only_words = false;
    for (int i = 1; i < argc;) {
        const int before = found_count;
        if (!only_words && !strcmp(argv[i], "--")) {
            only_words = true;
            i++;
        } else if (only_words || argv[i][0] != '-' || !argv[i][1]) {
            if (!words)
                program_fail(DW_BAD_USE, "'%s': no word is expected here", argv[i]);
            if (words == 1 && first)
                program_fail(DW_BAD_USE, "'%s': only one FILE is read, and '%s' was given already", argv[i], first);
            first = argv[i];
            i++;
        } else {
            i += argv[i][1] == '-' ? check_long(argp, argc, argv, i) : check_short(argp, argc, argv, i);
        }
        for (int k = before; k < found_count; k++)
            if (found[k].option->key == OPTION_HELP || found[k].option->key == OPTION_VERSION)
                help(found[k].option->key);
    }
}

bool command_line_is(int i, int key)
{
    for (int k = 0; k < found_count; k++)
        if (found[k].place == i && found[k].option->key == key)
            return true;
    return false;
}

const char *option_given(const char *option)
{
    for (int k = found_count; k-- > 0;)
        if (!strcmp(found[k].option->name, option))
            return found[k].argument;
    return NULL;
}

/* Members whose option has another name, or that one option more sets. */
static const char *const also_set[][2] = {
    { "bits", "counter" },          { "clamp_at_switch", "clamp-at" }, { "clamp_value", "clamp" },   { "frequency", "wanted" },
    { "highest", "to" },            { "largest", "count-to" },         { "low", "high" },            { "low_gate", "low-channel" },
    { "modulation", "modulate" },   { "period", "frequency" },
};

/* `other` where the program has it and `one` is none, or was not given as this was. */
static const char *rather(const char *one, const char *other)
{
    struct word word = { other, strlen(other) };
    if (!known || !each_option(known, has_name, &word))
        return one;
    return !one || (!option_given(one) && option_given(other)) ? other : one;
}

const char *command_line_option_of(const char *member)
{
    static char dashed[DW_ERROR_MEMBER];
    snprintf(dashed, sizeof dashed, "%s", member);
    for (char *c = dashed; *c; c++)
        *c = *c == '_' ? '-' : *c;
    const char *option = rather(NULL, dashed);
    for (size_t i = 0; i < sizeof also_set / sizeof *also_set; i++)
        if (!strcmp(also_set[i][0], member))
            option = rather(option, also_set[i][1]);
    return option;
}

void command_line_forget(void)
{
    free(found);
    found = NULL;
    found_count = 0;
    known = NULL;
}
