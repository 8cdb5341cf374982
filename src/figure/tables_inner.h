/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What plan.c, gather.c and compose.c share. */
#ifndef FIGURE_TABLES_INNER_H
#define FIGURE_TABLES_INNER_H

#include "tables.h"
#include "window.h"
#include <dutywright/table.h>

enum source_kind { OF_TIME, OF_FREQUENCY, OF_OTHER };

/* One table. */
struct table_source {
    const char *path;
    char *name;                 /* in the figure */
    struct dw_reader *reader;
    enum source_kind kind;
    char *x_name, *x_unit;
    double x_factor;            /* to x_unit */
    size_t *column, *slope;     /* [channels] that are drawn, and where their slopes stand; 0: lines */
    double *factor, *mean;      /* [channels]; factor: to the unit drawn, or TO_DECIBELS */
    size_t channels;
    bool has_means, starts_up;  /* starts_up: a mean begins where a load was at rest */
    struct window *window;
    double from, to;            /* of x */
    double level[2];            /* V, of the pin, where the table tells them; else 0 */
    unsigned long long rows;    /* that were drawn */
    bool even;                  /* of equal distance */
    bool phases_left_out;
    unsigned long long dropped; /* rows that have no place on a logarithmic axis */
};

/* A channel of a table in a panel. */
struct pick {
    size_t panel, source, channel;  /* channel: of source->column */
    const char *name;             /* of the channel */
    const char *label;            /* what it is called in its panel */
};

struct inner {
    struct table_source *source;
    size_t sources;
    struct pick *pick;
    size_t picks, room;
    size_t panels;
    char **unit;     /* [panels] */
    size_t *owner;   /* [panels]: the source whose panel it is (STACKED, FRAMES) */
    char **string;   /* all strings, to be freed */
    size_t strings;
};

/* In place of a factor: 20 log10 of the value. */
#define TO_DECIBELS 0.0

/* The scale asked for a panel. */
enum scale panel_scale(const struct request *request, size_t panel);

/* A copy that lives as long as inner; NULL: no memory. */
char *keep_string(struct inner *inner, const char *text);

/* Opens the tables and decides on panels. */
enum dw_status plan_make(struct inner *inner, const struct request *request, struct dw_error *error);

/* Reads one table to its end. */
enum dw_status source_read(struct table_source *source, const struct request *request, struct dw_error *error);

/* Makes sheets of what was read. */
enum dw_status compose_sheets(struct drawing *drawing, const struct request *request, struct dw_error *error);

/* A unit without its SI prefix, for units such as mV of tables from instruments; the factor to it.
 *   returns  static, or unit itself */
const char *unit_base(const char *unit, double *factor);

void drawing_note(struct drawing *drawing, const char *format, ...) DW_PRINTF(2, 3);

#endif
