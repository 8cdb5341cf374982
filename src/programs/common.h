/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What every program shares: start, shared options, the end. Not installed.
 *
 * A program is an outline (here one that reads a table and writes one):
 *
 *     struct smooth_options { struct common_options common; double load; struct option_texts stages; };
 *
 *     #define OPTION_STRUCT struct smooth_options
 *     static const struct option_spec options[] = {
 *         { "load", "R", "Resistance from the output to ground (ohm; default none)", OPTION_QUANTITY(load, DW_RESISTANCE),
 *           OPTION_ABOVE_ZERO },
 *         { "stage", "KEYS", "One stage, such as r=2k7,c=150n; repeat in order", OPTION_READ(add_stage), .repeats = true,
 *           .required = "such as r=2k7,c=150n" },
 *         { 0 }
 *     };
 *     static const struct smooth_options defaults = { .common = COMMON_DEFAULTS, .load = INFINITY };
 *
 *     static enum dw_status smooth(void *options, struct dw_error *error)
 *     {
 *         const struct smooth_options *o = options;
 *         struct dw_reader *reader = input_open(&o->common, true, error);
 *         ...
 *     }
 *
 *     static const struct program program = {
 *         .name = "dw-smooth", .about = "Smooth a ...\vExample: ...", .options = options, .run = smooth,
 *         .shared = SHARED_INPUT | SHARED_OUTPUT | SHARED_CHANNEL, PROGRAM_OPTIONS(struct smooth_options, defaults)
 *     };
 *     PROGRAM_MAIN(program)
 *
 * --help, --version and --quiet are added to every program. Messages come from the rows, so that they are the same in all of
 * them; what options have to do with each other is a table of rules (option.h), and what no rule says is checked in
 * .check, before any input is opened. */
#ifndef PROGRAMS_COMMON_H
#define PROGRAMS_COMMON_H

#include "command.h"
#include "option.h"
#include "report.h"
#include <dutywright/measure.h>
#include <dutywright/table.h>

/* The shared options; a program holds them in its own. */
struct common_options {
    struct command *command;     /* the line that they stand on; what is said goes through it */
    const char *file;            /* NULL: standard input */
    bool binary, text, partial;
    const char *channel;         /* NULL: the default of the program */
    struct dw_span span;         /* with SHARED_SPAN */
    double accuracy;             /* relative to the load's natural scale */
    double uniform;              /* Hz; 0: not asked */
    double lines;                /* straight lines within this share of curves; 0: curves. See lines_wanted */
    int csv;                     /* 0: no; lines, or as the rows are */
    enum report_format format;
    int digits;                  /* significant, in text reports */
};
#define COMMON_DEFAULTS { .accuracy = 2e-8, .format = REPORT_TEXT, .digits = 4 }
#define PROGRAM_OPTIONS(type, given) .common = offsetof(type, common), .size = sizeof(type), .defaults = &(given)

/* Rules of programs that write a table, or with --report findings. */
#define REPORT_RULES \
    { OPTION_EXCLUDES, "report", "binary text uniform lines csv", "a report has no rows" }, \
    { OPTION_REFUSED, "format digits", "!report", "belongs to --report, which is missing" }

/* Reads the command line, runs the program (or prints help or version), and ends as program_finish does; gives main's value. */
int program_main(const struct program *program, int argc, char **argv);
/* Prints what --help does. */
enum dw_status program_help(const struct program *program, struct dw_error *error);
/* The end of a program's file. Where all programs are linked together, in tests, the macro is another. */
#ifndef PROGRAM_MAIN
#define PROGRAM_MAIN(program) \
    int main(int argc, char **argv) \
    { \
        return program_main(&(program), argc, argv); \
    }
#endif

/* Flushes and closes standard output, prints one message where status is an error, gives the exit status:
 * DW_OK, DW_END 0; DW_NO 1; DW_BAD_USE, DW_BAD_INPUT 2; DW_NO_MEMORY, DW_SYSTEM 3; DW_CLOSED_PIPE 141, silently.
 * The message is error->text, or dw_status_text where that is empty; DW_NO with an empty text prints none. */
int program_finish(struct command *command, enum dw_status status, const struct dw_error *error);

/* Opens the table that FILE names, slopes included, and shows the progress of reading it.
 *   rows_out   as for command_progress */
struct dw_reader *input_open(const struct common_options *options, bool rows_out, struct dw_error *error);
/* Says of rows that look like samples but are not equally spaced what they are taken for. */
void input_note_uneven(struct command *command, const struct dw_reader *reader);
/* Rows on their way to standard output: all of them, or with --uniform values of the curves between them, after the jump where one is due. */
struct even_rows {
    struct dw_writer *writer;  /* NULL: not open */
    struct dw_header *header;  /* of all rows, slopes included */
    double rate, start;        /* Hz, 0: all; s */
    double due;                /* number of the next row at that rate */
    size_t columns, *slope;    /* of the header, and [columns] where slopes stand */
    double *before, *between;  /* [columns], the last row, and room for one between */
    bool begun;
};
/* Begins the table.
 *   rows     zeroed; closed by the caller, also on error
 *   header   taken
 *   reader   whose encoding is kept, as for output_encoding */
enum dw_status even_rows_open(struct even_rows *rows, const struct common_options *options, struct dw_header *header,
                              const struct dw_reader *reader, struct dw_error *error);
/* Takes a row, [columns]; `context` is the even_rows, so that it may be a sink. */
enum dw_status even_rows_put(void *context, const double *row, struct dw_error *error);
/* After the last one. */
enum dw_status even_rows_finish(struct even_rows *rows, struct dw_error *error);
void even_rows_close(struct even_rows *rows);

/* Writes a report to standard output as --format and --digits ask, and frees it.
 *   status   of what was put into it: but for DW_OK nothing is written, and it is the answer */
enum dw_status report_out(struct report *filled, const struct common_options *options, enum dw_status status, struct dw_error *error);
/* The share within which rows are to be straight lines: --lines, or with --csv alone the same default; 0: curves stay. */
double lines_wanted(const struct common_options *options);
/* Encoding of a filter's output: --binary, --text, --csv, else that of its input (DW_CSV reads answer in DW_TEXT, and so does a terminal). */
enum dw_encoding output_encoding(const struct common_options *options, const struct dw_reader *reader);

/* ---- --channel where it may name several: joined by commas, or given more than once ---- */

/* Columns of the channels named, in the order asked, each once.
 *   names    none: all
 *   column   out: [*count], NULL for all; freed by the caller, also on error
 *   returns  DW_OK, DW_NO_MEMORY, or DW_BAD_USE: `--channel: no channel 'speed'; ...` */
enum dw_status channels_find(const struct option_texts *names, const struct dw_header *header, size_t **column, size_t *count,
                             struct dw_error *error);

#endif
