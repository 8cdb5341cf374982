/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What dw-table does with rows: one step after another, each only where it is asked for. Not installed. */
#ifndef PROGRAMS_TABLE_RUN_H
#define PROGRAMS_TABLE_RUN_H

#include "common.h"
#include <dutywright/beside.h>
#include <dutywright/measure.h>
#include <dutywright/splice.h>
#include <stdio.h>

struct table_options {
    struct common_options common;
    struct option_texts after, beside, rename, scale, combined[DW_RATIO + 1];
    const char *shift, *span, *columns;
    bool report, skip_bad;
};

/* What the report says of one column. */
struct extremes {
    double minimum, maximum;
};

/* To another unit, or as asked. */
struct scaled {
    double divisor, factor;
};

struct table_in_front {
    FILE *kept;                 /* the rows of one that can be read but once; NULL: it is read again */
    struct dw_header *header;
};

/* A channel made of others. */
struct table_combination {
    struct dw_combine *combine;
    const char *word, *argument; /* --WORD ARGUMENT */
};

struct table_run {
    const struct table_options *options;
    struct dw_reader *reader;   /* the input */
    double shift;               /* what is added to the first column, in its unit */
    double *first_row;          /* of the input, read ahead; NULL where it has none */
    struct dw_header *header;   /* of the output */
    struct dw_header *joined;   /* of all tables as one, where there are several */
    size_t columns;             /* of a row in, and of the tables in front the same */
    size_t all, chosen;         /* of a row with the channels that are made of others; of a row out */
    size_t *slope;              /* [columns] where slopes stand */
    size_t *column;             /* [chosen] where the values of a row out come from; NULL: all as they are */
    struct scaled *scaled;      /* [chosen] what the values out are divided and multiplied by; NULL: nothing */
    double *row;                /* [columns] */
    double *narrow;             /* [chosen] */
    struct table_in_front *front; /* [after_count] */
    struct dw_join *join;
    struct dw_curves *curves;   /* the present table has fewer slopes than the others; else NULL */
    struct dw_reader **others;  /* [beside.count + 1] the input, and what stands beside it */
    struct dw_beside *beside;   /* NULL: nothing does */
    struct table_combination *made; /* [combinations] channels made of others, in the order in which rows pass */
    size_t combinations;
    struct dw_excerpt *excerpt;
    struct dw_span among;       /* DW_SPAN_BETWEEN: where rows must lie in a table that is no wave */
    bool any_among;             /* some do */
    struct dw_writer *writer;   /* NULL: a report */
    unsigned long long rows;    /* of a report, as are the rest */
    double first, last;
    struct extremes *extremes;  /* [chosen] */
};

/* Reads the headers and writes that of the output. Tables in front are read once whole, so that a bad one leaves nothing
 * written. */
enum dw_status run_set_up(struct table_run *run, struct dw_error *error);
/* All rows, through all steps, and the table's end. */
enum dw_status run_rows(struct table_run *run, struct dw_error *error);
void run_free(struct table_run *run);

/* ---- the steps' own files ---- */

/* Says how many rows of a table --skip-bad passed over. */
void run_note_skipped(const struct table_options *options, const struct dw_reader *reader);
struct dw_reader *run_open(const struct table_options *options, const char *file, struct dw_error *error);
/* Reads the tables in front once whole and joins their headers with the input's. A table that is no file on a disk, such as a
 * pipe, is kept aside in a temporary one, as it cannot be read again. */
enum dw_status run_read_after(struct table_run *run, const struct dw_header *input, struct dw_error *error);
/* Standard input is at most one of the tables. */
enum dw_status run_check_standard_input(const struct table_run *run, struct dw_error *error);
/* What takes rows, [rows x columns of their table]. */
typedef enum dw_status run_step(struct table_run *run, const double *values, size_t rows, struct dw_error *error);
/* --beside: opens the tables, and makes one of them and the input. */
enum dw_status run_open_beside(struct table_run *run, struct dw_error *error);
/* The input's header, or that of it and what stands beside it; its next rows. */
const struct dw_header *run_input_header(const struct table_run *run);
enum dw_status run_input_rows(struct table_run *run, size_t most, struct dw_rows *out, struct dw_error *error);
/* --sum and the like: run->made, and the header with the new channels. */
enum dw_status run_combine(struct table_run *run, struct dw_error *error);
/* Rows through those behind the first so many, and what they still hold at the end.
 *   put  what takes rows with all channels */
enum dw_status run_combine_rows(struct table_run *run, size_t done, struct dw_rows some, run_step *put, struct dw_error *error);
enum dw_status run_finish_combined(struct table_run *run, run_step *put, struct dw_error *error);
void run_free_combined(struct table_run *run);
/* The rows of one of them. */
enum dw_status run_take_front(struct table_run *run, size_t i, run_step *take, struct dw_error *error);
/* Fills run->column from the names in --channel, and narrows the header. */
enum dw_status run_choose(struct table_run *run, struct dw_error *error);
/* --scale and --rename: the header, and run->scaled where values change. */
enum dw_status run_scale_and_rename(struct table_run *run, struct dw_error *error);
/* A row of the chosen columns, scaled into run->narrow; it may be that already. */
enum dw_status run_scale_row(struct table_run *run, const double *row, struct dw_error *error);

#endif
