/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Start and end of every program. State at file scope is the program's: there is one command line a process. */
#include "old_common.h"
#include "old_command_line_inner.h"
#include "old_progress_inner.h"
#include "config.h"
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST_CHILDREN = 16, EXIT_BAD = 2, EXIT_SYSTEM = 3, EXIT_CLOSED_PIPE = 128 + 13 };

static const char *program = "dutywright";
static bool quiet;
static char *made_by;
static struct argp whole; /* the program's table and what every program has */

static const struct argp_option help_options[] = {
    { NULL, 0, NULL, 0, "Shared with other programs:", SHARED_GROUP },
    { "help", OPTION_HELP, NULL, 0, "Print this help and end", SHARED_GROUP },
    { "version", OPTION_VERSION, NULL, 0, "Print the version and end", SHARED_GROUP },
    { 0 },
};
static const struct argp help_argp = { help_options, NULL, NULL, NULL, NULL, NULL, NULL };

const char *program_name(void)
{
    return program;
}

/* One line whatever stands in it: file names and arguments may hold line ends, or what a terminal takes for commands. */
static void print_line(const char *kind, char *text)
{
    for (char *c = text; *c; c++)
        if ((unsigned char)*c < 0x20 || *c == 0x7f)
            *c = '?';
    progress_erase();
    fprintf(stderr, "%s: %s%s\n", program, kind, text);
}

static void say(const char *kind, const char *format, va_list arguments)
{
    char text[2 * DW_ERROR_TEXT];
    vsnprintf(text, sizeof text, format, arguments);
    print_line(kind, text);
}

void program_set_quiet(bool on)
{
    quiet = on;
}

bool program_quiet(void)
{
    return quiet;
}

void program_note(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    if (!quiet)
        say("note: ", format, arguments);
    va_end(arguments);
}

void program_caution(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    say("caution: ", format, arguments);
    va_end(arguments);
}

static int exit_status(enum dw_status status)
{
    switch (status) {
    case DW_OK:
    case DW_END: return 0;
    case DW_NO: return 1;
    case DW_BAD_USE:
    case DW_BAD_INPUT: return EXIT_BAD;
    case DW_NO_MEMORY:
    case DW_SYSTEM: return EXIT_SYSTEM;
    case DW_CLOSED_PIPE: return EXIT_CLOSED_PIPE;
    }
    return EXIT_SYSTEM;
}

void program_fail(enum dw_status status, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    say("", format, arguments);
    va_end(arguments);
    exit(exit_status(status));
}

/* What was written is not there until closing has succeeded: disks fill up late. */
static enum dw_status close_output(struct dw_error *error)
{
    const bool failed = ferror(stdout);
    errno = 0;
    if (!fclose(stdout) && !failed)
        return DW_OK;
    if (errno == EPIPE)
        return dw_error_set(error, DW_CLOSED_PIPE, 0, "standard output: %s", strerror(errno));
    return dw_error_set(error, DW_SYSTEM, 0, "standard output: %s", errno ? strerror(errno) : "a write failed");
}

int program_finish(enum dw_status status, const struct dw_error *error)
{
    struct dw_error closing = { .status = DW_OK };
    progress_erase();
    const enum dw_status closed = close_output(&closing);
    const bool fine = status == DW_OK || status == DW_END || status == DW_NO;
    if (fine && closed != DW_OK) {
        status = closed;
        error = &closing;
    }
    if (status == DW_OK || status == DW_END || status == DW_CLOSED_PIPE)
        return exit_status(status);
    const bool told = error && *error->text;
    const char *option = told ? command_line_option_of(error->member) : NULL;
    char text[DW_ERROR_TEXT], place[64] = "";
    snprintf(text, sizeof text, "%s", told ? error->text : dw_status_text(status));
    if (option)
        snprintf(place, sizeof place, "--%s: ", option);
    if (status != DW_NO || told)
        print_line(place, text);
    return exit_status(status);
}

/* Prints help or version, and ends. */
static void print_help(int key)
{
    static char name[64]; /* argp_help wants it writable */
    static char page[1 << 16]; /* written as a whole at the end, where a failure's reason is still known */
    setvbuf(stdout, page, _IOFBF, sizeof page);
    snprintf(name, sizeof name, "%s", program);
    if (key == OPTION_HELP)
        argp_help(&whole, stdout, ARGP_HELP_SHORT_USAGE | ARGP_HELP_LONG | ARGP_HELP_DOC, name);
    else
        printf("%s (dutywright) %s\n"
               "License GPL-3.0-or-later: free software, to be changed and passed on under its terms.\n"
               "There is no warranty, to the extent permitted by law.\n",
               program, PACKAGE_VERSION);
    exit(program_finish(DW_OK, NULL));
}

/* A closed standard descriptor would be taken by the next file opened, and a table written into it. The wrong mode keeps
 * reads and writes failing as they would have. */
static void hold_standard_descriptors(void)
{
    for (int descriptor = 0; descriptor <= 2; descriptor++)
        if (fcntl(descriptor, F_GETFD) < 0 && errno == EBADF
            && open("/dev/null", descriptor ? O_RDONLY : O_WRONLY) != descriptor)
            exit(EXIT_SYSTEM);
}

/* NOLINTNEXTLINE(misc-no-recursion): a tree of tables is two levels deep */
static bool has_child(const struct argp *argp, const struct argp *sought)
{
    for (const struct argp_child *child = argp->children; child && child->argp; child++)
        if (child->argp == sought || has_child(child->argp, sought))
            return true;
    return false;
}

/* The shared options stand together in every --help, wherever a program lists them among its children. */
static bool is_shared(const struct argp *argp)
{
    static const struct argp *const shared[] = { &input_argp, &output_argp, &channel_argp, &span_argp,
                                                 &rows_argp,  &report_argp, &quiet_argp };
    for (size_t i = 0; i < sizeof shared / sizeof shared[0]; i++)
        if (argp == shared[i])
            return true;
    return false;
}

/* The program's table with what every program has behind its own children, whose places must not move. */
static void complete(const struct argp *argp)
{
    static struct argp_child children[MOST_CHILDREN];
    size_t count = 0;
    for (const struct argp_child *child = argp->children; child && child->argp; child++) {
        if (count + 3 >= MOST_CHILDREN)
            abort(); /* a program of ours with so many children needs a larger MOST_CHILDREN */
        children[count] = *child;
        if (is_shared(child->argp))
            children[count].group = 0;
        count++;
    }
    if (!has_child(argp, &quiet_argp))
        children[count++] = (struct argp_child){ &quiet_argp, 0, NULL, 0 };
    children[count++] = (struct argp_child){ &help_argp, 0, NULL, 0 };
    children[count] = (struct argp_child){ NULL, 0, NULL, 0 };
    whole = *argp;
    whole.children = children;
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

static void keep_made_by(int argc, char **argv)
{
    size_t size = strlen(program) + 1;
    for (int i = 1; i < argc; i++)
        size += 4 * strlen(argv[i]) + 4; /* at most \ooo a byte; $' ' and a blank */
    made_by = malloc(size);
    if (!made_by)
        program_fail(DW_NO_MEMORY, "%s", dw_status_text(DW_NO_MEMORY));
    char *to = stpcpy(made_by, program);
    for (int i = 1; i < argc; i++)
        if (!command_line_is(i, OPTION_BINARY) && !command_line_is(i, OPTION_TEXT)) {
            *to++ = ' ';
            to = quote_word(to, argv[i]);
        }
    *to = 0;
}

const char *program_made_by(void)
{
    return made_by;
}

static void forget(void)
{
    command_line_forget();
    free(made_by);
    made_by = NULL;
}

void program_start(const char *name, const struct argp *argp, void *options, int argc, char **argv)
{
    hold_standard_descriptors();
    program = name;
    argp_err_exit_status = EXIT_BAD;
    unsetenv("ARGP_HELP_FMT");   /* would change --help, and a bad one prints complaints */
    unsetenv("POSIXLY_CORRECT"); /* would make an option after a word a word */
    atexit(forget);
    program_again(argp, options, argc, argv);
}

void program_again(const struct argp *argp, void *options, int argc, char **argv)
{
    complete(argp);
    forget();
    const int words = has_child(argp, &input_argp) ? 1 : argp->args_doc ? -1 : 0;
    command_line_check(&whole, argc, argv, words, print_help);
    keep_made_by(argc, argv);
    if (argc > 0)
        argv[0] = (char *)program; /* argp's own messages take it from there */
    const error_t failed = argp_parse(&whole, argc, argv, ARGP_NO_HELP, NULL, options);
    if (failed)
        program_fail(DW_SYSTEM, "command line: %s", strerror(failed));
}
