/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Start and end of every program. */
#include "common.h"
#include "config.h"
#include <argp.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { EXIT_BAD = 2, EXIT_SYSTEM = 3, EXIT_CLOSED_PIPE = 128 + 13, FIRST_KEY = 0x100 };

/* ---- the end ---- */

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

int program_finish(struct command *command, enum dw_status status, const struct dw_error *error)
{
    struct dw_error last = *error;
    struct dw_error closing = { .status = DW_OK };
    command_progress_erase(command);
    const enum dw_status closed = close_output(&closing);
    const bool fine = status == DW_OK || status == DW_END || status == DW_NO;
    if (fine && closed != DW_OK) {
        status = closed;
        last = closing;
    }
    if (status == DW_OK || status == DW_END || status == DW_CLOSED_PIPE)
        return exit_status(status);
    command_place(command, &last);
    if (status != DW_NO || *last.text)
        command_say(command, "", *last.text ? last.text : dw_status_text(status));
    return exit_status(status);
}

/* ---- help and version ---- */

/* The rows of one table, as argp knows them. */
static void fill_table(struct argp_option *out, const struct option_spec *option, int *key)
{
    for (; option->name || option->help; option++)
        *out++ = (struct argp_option){ option->name, option->name ? (*key)++ : 0, option->argument,
                                       option->bare ? OPTION_ARG_OPTIONAL : 0, option->help, option->group };
    *out = (struct argp_option){ 0 };
}

enum dw_status program_help(const struct program *program, struct dw_error *error)
{
    enum { MOST_ROWS = 64 };
    struct command_set sets[COMMAND_SETS];
    struct argp tables[COMMAND_SETS] = { { .options = NULL } };
    struct argp_child children[COMMAND_SETS + 1] = { { NULL, 0, NULL, 0 } };
    const size_t count = command_sets(program, sets);
    struct argp_option *rows = calloc(count * MOST_ROWS, sizeof *rows);
    char name[64]; /* argp_help wants it writable */
    int key = FIRST_KEY;
    if (!rows)
        return dw_no_memory(error);
    for (size_t i = 0; i < count; i++) {
        fill_table(rows + i * MOST_ROWS, sets[i].options, &key);
        tables[i] = (struct argp){ .options = rows + i * MOST_ROWS };
        if (i)
            children[i - 1].argp = &tables[i];
    }
    tables[0].children = children;
    tables[0].doc = program->about;
    tables[0].args_doc = program->words ? program->words : program->shared & SHARED_INPUT ? "[FILE]" : NULL;
    snprintf(name, sizeof name, "%s", program->name);
    unsetenv("ARGP_HELP_FMT"); /* would change --help, and a bad one prints complaints */
    argp_help(&tables[0], stdout, ARGP_HELP_SHORT_USAGE | ARGP_HELP_LONG | ARGP_HELP_DOC, name);
    puts("\nExit status: 0: done; 1: the answer is no, only where status 1 is spoken of\n"
         "above; 2: bad use or bad input; 3: the system failed, such as a full disk.");
    free(rows);
    return DW_OK;
}

static enum dw_status print_asked(const struct command *command, struct dw_error *error)
{
    static char page[1 << 16]; /* written as a whole at the end, where a failure's reason is still known */
    setvbuf(stdout, page, _IOFBF, sizeof page);
    if (!strcmp(command->asked, "help"))
        return program_help(command->program, error);
    printf("%s (dutywright) %s\n"
           "License GPL-3.0-or-later: free software, to be changed and passed on under its terms.\n"
           "There is no warranty, to the extent permitted by law.\n",
           command->program->name, PACKAGE_VERSION);
    return DW_OK;
}

/* ---- the start ---- */

/* A closed standard descriptor would be taken by the next file opened, and a table written into it. The wrong mode keeps
 * reads and writes failing as they would have. */
static bool hold_standard_descriptors(void)
{
    for (int descriptor = 0; descriptor <= 2; descriptor++)
        if (fcntl(descriptor, F_GETFD) < 0 && errno == EBADF
            && open("/dev/null", descriptor ? O_RDONLY : O_WRONLY) != descriptor)
            return false;
    return true;
}

static void fill_defaults(const struct program *program, char *options)
{
    if (program->defaults)
        memcpy(options, program->defaults, program->size);
    if (program->load)
        memcpy(options + program->loaded, program->load->defaults, program->load->size);
}

/* A terminal shows no binary rows, and may take them for orders. */
static enum dw_status check_terminal(const struct program *program, const char *options, struct dw_error *error)
{
    const struct common_options *common = (const void *)(options + program->common);
    if ((program->shared & SHARED_OUTPUT) && common->binary && isatty(STDOUT_FILENO))
        return option_error(error, "binary", NULL, "standard output is a terminal: send the rows to a file or a pipe");
    return DW_OK;
}

int program_main(const struct program *program, int argc, char **argv)
{
    struct command command = { .program = program };
    struct dw_error error = { .status = DW_OK };
    if (!hold_standard_descriptors())
        return EXIT_SYSTEM;
    void *options = calloc(1, program->size);
    if (options)
        fill_defaults(program, options);
    enum dw_status status = options ? command_parse(&command, program, options, argc, argv, &error) : dw_no_memory(&error);
    if (command.asked)
        status = print_asked(&command, &error);
    else if (status == DW_OK && (status = check_terminal(program, options, &error)) == DW_OK)
        status = program->run(options, &error);
    const int ends = program_finish(&command, status, &error);
    if (options && program->release)
        program->release(options);
    command_free(&command, options);
    free(options);
    return ends;
}
