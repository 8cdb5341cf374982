/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A command line as a value: read from words into a program's options, without exit and without state of the process, so that
 * a program may hold several. What it says on standard error goes through it too. Not installed. */
#ifndef PROGRAMS_COMMAND_H
#define PROGRAMS_COMMAND_H

#include "option.h"
#include <dutywright/status.h>
#include <dutywright/table.h>
#include <stdbool.h>
#include <stddef.h>

struct command;

/* What a program is: its tables, and what it does. */
struct program {
    const char *name;    /* "dw-smooth": in messages, never argv[0] */
    const char *about;   /* as in a manual, since help2man reads it; \v before what stands behind the options */
    const char *words;   /* how any number of words beside options is called, "[FILE...]"; NULL: none, or FILE with SHARED_INPUT */
    const struct option_spec *options;  /* up to a row of nothing */
    const struct option_rule *rules;    /* likewise; NULL: none */
    unsigned shared;        /* SHARED_...: which of the shared options it has */
    size_t common;          /* where its options hold struct common_options */
    size_t size;            /* of its options */
    const void *defaults;   /* [size]; NULL: zeros */
    const struct program *load;  /* whose options it has too, at the offset `loaded`; NULL: none */
    size_t loaded;
    /* What no rule says of the options; fills in what follows from them. May be NULL. */
    enum dw_status (*check)(const struct command *command, void *options, struct dw_error *error);
    enum dw_status (*run)(void *options, struct dw_error *error);
    void (*release)(void *options);  /* may be NULL */
};

enum {
    SHARED_INPUT = 1,     /* [FILE], --partial */
    SHARED_OUTPUT = 2,    /* --binary, --text */
    SHARED_CHANNEL = 4,   /* --channel */
    SHARED_SPAN = 8,      /* --span */
    SHARED_ROWS = 16,     /* --accuracy, --uniform */
    SHARED_REPORT = 32,   /* --format, --digits */
    SHARED_LINES = 64     /* --lines, --csv */
};

/* Tables of a program, and where their members lie: its own, its load's, the shared ones. */
struct command_set {
    const struct option_spec *options;
    const struct option_rule *rules;
    size_t offset;
};
enum { COMMAND_SETS = 12 };
size_t command_sets(const struct program *program, struct command_set *sets);

/* One option on the line. */
struct command_found {
    const struct option_spec *option;
    size_t offset;         /* of its table's struct in the program's options */
    const char *argument;  /* "" for a flag */
    int place;             /* index in argv */
};

struct command {
    const struct program *program;
    int argc;
    char **argv;           /* the caller's; must last as long as the options */
    struct command_found *found;
    size_t count;
    const char **words;    /* beside options */
    size_t word_count;
    const char *asked;     /* "help" or "version", where that is all */
    char *made_by;         /* the line as typed, shell-quoted, without --binary and --text */
    bool quiet;
    struct {               /* of command_progress */
        bool shown;
        signed char wanted[2];  /* without and with rows out: 1 yes, -1 no, 0 not asked yet */
        double first, latest;   /* s: when the work began (0: not yet), when the line was written */
    } progress;
};

/* Reads a command line to the letter: unknown and abbreviated options (naming the nearest), missing and superfluous arguments,
 * stray words, an option with an argument given twice, what the rows, the rules and the program's check refuse.
 *   command   out; command_free also after an error
 *   options   [program->size], with the defaults in it; filled
 *   returns   DW_OK; DW_END: help or the version is asked for; DW_BAD_USE; DW_NO_MEMORY */
enum dw_status command_parse(struct command *command, const struct program *program, void *options, int argc, char **argv,
                             struct dw_error *error);
/* Frees what reading took, also the texts in the options.
 *   options   NULL: they are gone already */
void command_free(struct command *command, void *options);

/* The argument with which an option was given ("" for a flag), NULL where it was not. Of several, the last. */
const char *command_given(const struct command *command, const char *option);
/* Whether argv[i] is this option (not a word, nor the argument of another). */
bool command_is(const struct command *command, int i, const char *option);
/* Puts the option that sets a refused member of a plan before the error's text: one that was given before one that was not. */
void command_place(const struct command *command, struct dw_error *error);

/* The line shell-quoted, without --binary and --text: to be freed. NULL: no memory. */
char *command_quoted(const struct command *command);

/* ---- rules ---- */

bool command_holds(const struct command *command, const char *condition);
enum dw_status command_check(const struct command *command, const struct option_rule *rules, struct dw_error *error);

/* ---- words on standard error, each in one line ---- */

/* A quantity for a message, as dw_quantity_print has it.
 *   out       at least 64 bytes
 *   returns   out */
const char *in_words(char *out, double value, const char *unit, int digits);

void command_note(struct command *command, const char *format, ...) __attribute__((format(printf, 2, 3)));  /* not with --quiet */
void command_caution(struct command *command, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* Where the voltage is above extra-low (V DC): that it can kill, `also` (such as ", and capacitors stay charged"), and who decides. */
enum { COMMAND_LOW_VOLTAGE = 60 }; /* IEC 61140, without ripple */
void command_caution_voltage(struct command *command, double volts, const char *also);
/* kind: "note: ", or "" for an error */
void command_say(struct command *command, const char *kind, const char *text);
/* Says how far long work is, where standard error is a terminal and --quiet was not given: from the first second on, five times
 * a second, in one line that goes again at the end and before any message. Cheap enough for each block of rows, not for each row.
 *   doing     what, such as "searching"; NULL: the program's name says it
 *   share     done, 0..1; 1 takes the line away
 *   rows_out  the program writes a table meanwhile: then only where that goes into a file, since on the terminal, or with
 *             the next program of a pipeline, lines would mix */
void command_progress(struct command *command, const char *doing, double share, bool rows_out);
void command_progress_erase(struct command *command);
/* How a table is opened so that the progress of reading it is shown. */
struct dw_reader_options command_reading(struct command *command, bool partial, bool rows_out);

#endif
