/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What every program shares: start, shared options, notes, the end. Not installed. */
#ifndef PROGRAMS_COMMON_H
#define PROGRAMS_COMMON_H

#include <argp.h>
#include <dutywright/status.h>
#include <dutywright/table.h>
#include <dutywright/value.h>
#include <stdbool.h>

/* Keys of options without a letter; a program's own begin at OPTION_OWN. */
enum {
    OPTION_BINARY = 0x100,
    OPTION_TEXT,
    OPTION_PARTIAL,
    OPTION_QUIET,
    OPTION_CHANNEL,
    OPTION_SPAN,
    OPTION_ACCURACY,
    OPTION_UNIFORM,
    OPTION_FORMAT,
    OPTION_DIGITS,
    OPTION_OWN = 0x200
};

enum report_format { REPORT_TEXT, REPORT_ROWS, REPORT_JSON };

/* Filled by the shared argp children. A program puts one in its own options and hands its address to the children it
 * takes, in ARGP_KEY_INIT: state->child_inputs[i] = &options->common. */
struct common_options {
    const char *file;            /* NULL: standard input */
    bool binary, text, partial, quiet;
    const char *channel;         /* NULL: the default of the program */
    const char *span;            /* NULL: the default of the program */
    double accuracy;             /* relative to the load's natural scale; 1e-5 */
    double uniform;              /* Hz; 0: not asked */
    enum report_format format;
    int digits;                  /* significant, in text reports; 4 */
};
struct common_options common_defaults(void);

extern const struct argp input_argp;    /* [FILE], --partial */
extern const struct argp output_argp;   /* --binary, --text */
extern const struct argp channel_argp;  /* --channel */
extern const struct argp span_argp;     /* --span */
extern const struct argp rows_argp;     /* --accuracy, --uniform */
extern const struct argp report_argp;   /* --format, --digits */
extern const struct argp quiet_argp;    /* --quiet: every program */

/* Parses the command line; bad use, --help and --version end the program here.
 *   name      "dw-smooth": in messages, never argv[0]
 *   argp      the program's table; doc text as in a manual, since help2man reads it
 *   options   passed to the parser as state->input */
void program_start(const char *name, const struct argp *argp, void *options, int argc, char **argv);

/* For parsers: ends the program with status 2 and `dw-x: --option: 'argument': reason`. option without dashes. */
void option_error(const char *option, const char *argument, const char *format, ...)
    __attribute__((noreturn, format(printf, 3, 4)));
/* For parsers: marks a single-valued option as given; a second time, ends with a message naming both arguments.
 *   seen      one pointer a option, NULL at the start, kept by the program; holds the argument (or "" for a flag) */
void option_once(const char *option, const char *argument, const char **seen);
/* For parsers: dw_quantity_parse, or the end with the option named. */
double option_quantity(const char *option, const char *argument, enum dw_quantity kind);

/* The command as typed, shell-quoted, on one line, without --binary and --text: the value of made-by. Static storage. */
const char *program_made_by(void);
/* Sets --quiet for program_note; called by the quiet child. */
void program_set_quiet(bool quiet);
void program_note(const char *format, ...) __attribute__((format(printf, 1, 2)));     /* silenced by --quiet */
void program_caution(const char *format, ...) __attribute__((format(printf, 1, 2)));  /* never silenced */

/* Encoding of a filter's output: --binary, --text, else that of its input (DW_CSV reads answer in DW_TEXT). */
enum dw_encoding output_encoding(const struct common_options *options, const struct dw_reader *reader);

/* Flushes and closes standard output, prints one message where status is an error, gives the exit status:
 * DW_OK, DW_END 0; DW_NO 1; DW_BAD_USE, DW_BAD_INPUT 2; DW_NO_MEMORY, DW_SYSTEM 3; DW_CLOSED_PIPE 141, silently. */
int program_finish(enum dw_status status, const struct dw_error *error);

#endif
