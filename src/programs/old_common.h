/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What every program shares: start, shared options, notes, the end. Not installed.
 *
 * A program is an outline (here one that reads a table and writes one):
 *
 *     struct smooth_options { struct common_options common; double load; const char *stage[6]; int stages; };
 *
 *     enum { OPTION_LOAD = OPTION_OWN, OPTION_STAGE };
 *     static const struct argp_option options[] = {
 *         { "load", OPTION_LOAD, "R", 0, "Resistance from the output to ground (ohm; default none)", 0 },
 *         { "stage", OPTION_STAGE, "KEYS", OPTION_REPEATS, "One stage, such as r=2k7,c=150n; repeat in order", 0 },
 *         { 0 }
 *     };
 *     static const struct argp_child children[] = {
 *         { &input_argp, 0, NULL, 0 }, { &output_argp, 0, NULL, 0 }, { &channel_argp, 0, NULL, 0 }, { 0 }
 *     };
 *     static error_t parse(int key, char *argument, struct argp_state *state)
 *     {
 *         struct smooth_options *o = state->input;
 *         switch (key) {
 *         case ARGP_KEY_INIT:
 *             for (int i = 0; i < 3; i++)
 *                 state->child_inputs[i] = &o->common;
 *             return 0;
 *         case OPTION_LOAD: o->load = option_quantity("load", argument, DW_RESISTANCE); return 0;
 *         case OPTION_STAGE: ...
 *         case ARGP_KEY_END: option_required("stage", "such as r=2k7,c=150n"); return 0;
 *         default: return ARGP_ERR_UNKNOWN;
 *         }
 *     }
 *     static const struct argp argp = { options, parse, NULL, "Smooth a ...\vExample: ...", children, NULL, NULL };
 *
 *     int main(int argc, char **argv)
 *     {
 *         struct smooth_options options = { .common = common_defaults(), ... };
 *         struct dw_error error = { .status = DW_OK };
 *         program_start("dw-smooth", &argp, &options, argc, argv);
 *         enum dw_status status = smooth(&options, &error);
 *         return program_finish(status, &error);
 *     }
 *
 * --help, --version and --quiet are added to every program. Before the parser sees anything, program_start has refused
 * unknown and abbreviated options (naming the nearest), missing and superfluous arguments, stray words, and an option
 * with an argument given twice unless its flags hold OPTION_REPEATS. */
#ifndef PROGRAMS_COMMON_H
#define PROGRAMS_COMMON_H

#include "report.h"
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
    OPTION_HELP,
    OPTION_VERSION,
    OPTION_OWN = 0x200
};

/* A flag of struct argp_option beside argp's own: the option may be given several times. */
enum { OPTION_REPEATS = 0x1000 };

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

extern const struct argp input_argp;    /* [FILE], --partial. A program without it, and without args_doc, takes no word */
extern const struct argp output_argp;   /* --binary, --text */
extern const struct argp channel_argp;  /* --channel */
extern const struct argp span_argp;     /* --span */
extern const struct argp rows_argp;     /* --accuracy, --uniform */
extern const struct argp report_argp;   /* --format, --digits */
extern const struct argp quiet_argp;    /* --quiet: every program has it; a child only where common.quiet is wanted */

/* Parses the command line; bad use (status 2), --help and --version (status 0, or 3 where they could not be written) end
 * the program here.
 *   name      "dw-smooth": in messages, never argv[0]
 *   argp      the program's table; doc text as in a manual, since help2man reads it. Where args_doc is not NULL and
 *             input_argp is not a child, the words are the program's own, in ARGP_KEY_ARG
 *   options   passed to the parser as state->input */
void program_start(const char *name, const struct argp *argp, void *options, int argc, char **argv);

/* Parses another command line in place of the first, whose options are then forgotten.
 *   argv   its words must last as long as their arguments are asked for */
void program_again(const struct argp *argp, void *options, int argc, char **argv);

/* For parsers: ends the program with status 2 and `dw-x: --option: 'argument': reason` (`dw-x: --option: reason` where
 * argument is NULL). option without dashes. */
void option_error(const char *option, const char *argument, const char *format, ...)
    __attribute__((noreturn, format(printf, 3, 4)));
/* The argument with which an option was given on the command line ("" for a flag), NULL where it was not. For an option
 * given several times, the last. */
const char *option_given(const char *option);
/* For ARGP_KEY_END: ends the program where the option is missing: `dw-x: --duty is missing: give it, such as ...`.
 *   example   completes the sentence: "such as 31.2% or 3510/11250" */
void option_required(const char *option, const char *example);
/* For ARGP_KEY_END: two ways of giving one quantity. Where both were given, ends with
 * `dw-x: --frequency '1600' and --period '600u': reason`; reason such as "both set the period; give one". */
void option_conflict(const char *one, const char *other, const char *reason);
/* For ARGP_KEY_END of programs that write a table, or with --report findings: refuses options of the one beside the other. */
void option_report(void);
/* Marks a key inside an option's argument (r= in --stage) as given; a second time, ends with a message naming both.
 *   seen      one pointer a key, NULL at the start, kept by the program */
void option_once(const char *option, const char *argument, const char **seen);
/* For parsers: dw_quantity_parse, or the end with the option named. */
double option_quantity(const char *option, const char *argument, enum dw_quantity kind);
/* The same, and within [least, most]: `dw-x: --bits: '70': must be from 1 to 52`. An infinite limit is none. */
double option_between(const char *option, const char *argument, enum dw_quantity kind, double least, double most);
/* The same for a value that must be above zero. */
double option_positive(const char *option, const char *argument, enum dw_quantity kind);
/* A whole number within [least, most]. */
long option_count(const char *option, const char *argument, long least, long most);
/* Which word of a NULL-terminated list the argument is; otherwise ends, naming them all. */
int option_word(const char *option, const char *argument, const char *const *words);
/* The word of a NULL-terminated list that is nearest to `text`, NULL where none is near: for "did you mean". */
const char *nearest_word(const char *text, const char *const *words);

/* The command as typed, shell-quoted, on one line, without --binary and --text: the value of made-by. Static storage. */
const char *program_made_by(void);
/* Sets --quiet for program_note; called by the quiet child. */
void program_set_quiet(bool quiet);
bool program_quiet(void);
void program_note(const char *format, ...) __attribute__((format(printf, 1, 2)));     /* silenced by --quiet */
void program_caution(const char *format, ...) __attribute__((format(printf, 1, 2)));  /* never silenced */
/* Ends the program at once with one message: for what is no option's fault. */
void program_fail(enum dw_status status, const char *format, ...) __attribute__((noreturn, format(printf, 2, 3)));

/* Says on standard error how far long work is, where that is a terminal and --quiet was not given: from the first second
 * on, five times a second, in one line that goes again at the end and before any message. Cheap enough for each block of
 * rows, not for each row.
 *   doing     what, such as "searching"; NULL: the program's name says it
 *   share     done, 0..1; 1 takes the line away
 *   rows_out  the program writes a table meanwhile: then only where that goes into a file, since on the terminal, or with
 *             the next program of a pipeline, lines would mix */
void program_progress(const char *doing, double share, bool rows_out);
/* Opens the table that FILE names, and shows the progress of reading it, as above. */
struct dw_reader *input_open(const struct common_options *options, bool rows_out, struct dw_error *error);
/* The same for other tables than FILE. */
struct dw_reader_options input_options_of(const struct common_options *options, bool rows_out);

/* Encoding of a filter's output: --binary, --text, else that of its input (DW_CSV reads answer in DW_TEXT). */
enum dw_encoding output_encoding(const struct common_options *options, const struct dw_reader *reader);

/* Flushes and closes standard output, prints one message where status is an error, gives the exit status:
 * DW_OK, DW_END 0; DW_NO 1; DW_BAD_USE, DW_BAD_INPUT 2; DW_NO_MEMORY, DW_SYSTEM 3; DW_CLOSED_PIPE 141, silently.
 * The message is error->text, or dw_status_text where that is empty; DW_NO with an empty text prints none. */
int program_finish(enum dw_status status, const struct dw_error *error);

#endif
