/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What dw-table does with rows: one step after another, each only where it is asked for. Not installed. */
#ifndef PROGRAMS_TABLE_RUN_H
#define PROGRAMS_TABLE_RUN_H

#include "common.h"
#include <dutywright/measure.h>
#include <dutywright/splice.h>

struct table_options {
    struct common_options common;
    struct dw_span span;
    const char **after, **rename; /* lists in argv, each [count] */
    size_t after_count, rename_count;
    double shift; /* s */
    bool csv, report;
};

/* What the report says of one column. */
struct extremes {
    double minimum, maximum;
};

struct run {
    const struct table_options *options;
    struct dw_reader *reader;   /* the input */
    double *first_row;          /* of the input, read ahead; NULL where it has none */
    struct dw_header *header;   /* of the output */
    size_t columns, chosen;     /* of a row in, of a row out */
    size_t *column;             /* [chosen] where the values of a row out come from; NULL: all as they are */
    double *row;                /* [columns] */
    double *narrow;             /* [chosen] */
    struct dw_join *join;
    struct dw_cut *cut;
    struct dw_tail *tail;
    struct dw_writer *writer;   /* NULL: a report */
    unsigned long long rows;    /* of a report, as are the rest */
    double first, last;
    struct extremes *extremes;  /* [chosen] */
};

/* Reads the headers and writes that of the output. Tables in front are read once whole, so that a bad one leaves nothing
 * written. */
enum dw_status run_set_up(struct run *run, struct dw_error *error);
/* All rows, through all steps, and the table's end. */
enum dw_status run_rows(struct run *run, struct dw_error *error);
void run_free(struct run *run);

#endif
