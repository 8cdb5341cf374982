/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From tables to sheets: which channels stand in which panel, what of their rows is drawn, and on which axes. */
#ifndef FIGURE_TABLES_H
#define FIGURE_TABLES_H

#include "reduction.h"
#include "sheet.h"
#include <dutywright/status.h>
#include <dutywright/table.h>
#include <stdbool.h>
#include <stddef.h>

enum scale { SCALE_BY_ITSELF, SCALE_LINEAR, SCALE_LOG, SCALE_DECIBELS /* y only: 20 log10 of the values */ };
enum arrangement {
    TOGETHER,  /* all tables in one figure, channels of one unit in one panel */
    STACKED,   /* each table has its own panels, below one another */
    FRAMES     /* each table has its own sheet, all with the same axes */
};

/* What is to be drawn. Texts are as typed; messages name the options of dw-plot. */
struct request {
    const char *const *file;    /* [files], "-" is standard input; files >= 1 */
    size_t files;
    const char *const *name;    /* [names]: how the files are called in the figure; fewer: by their file names */
    size_t names;
    const char *const *panel;   /* [panels]: "out,pin", "2:out" for the second file's; none: by unit */
    size_t panels;
    const char *const *range;   /* [ranges]: LOW:HIGH of the panels' y axes in order, "" by itself */
    size_t ranges;
    const enum trace_style *style;  /* [styles]: none, one for all files, or one a file */
    size_t styles;
    enum scale x_scale;
    const enum scale *y_scale;  /* [y_scales]: none, one for all panels, or one a panel */
    size_t y_scales;
    enum arrangement arrangement;
    const char *title, *span;   /* NULL for none */
    bool mean;
    struct dw_reader_options reading;  /* of all files */
    size_t strips;              /* reduction: four a pixel of the figure's width keeps all that can be seen */
};

/* A note about something that is not drawn. */
enum { NOTE_TEXT = 200, MOST_NOTES = 16 };

struct drawing {
    struct sheet *sheet;  /* [sheets] */
    size_t sheets;
    struct axis x;        /* of all sheets */
    char *made_by;        /* the tables' made-by lines, one a line */
    char *summary;
    char note[MOST_NOTES][NOTE_TEXT];
    size_t notes;
    struct inner *inner;  /* what the sheets point to */
};

/* Reads all tables to their ends. The gain[1] of a frequency response is drawn in dB where no y_scale is given.
 *   returns   NULL: DW_BAD_USE, DW_BAD_INPUT, DW_NO_MEMORY, DW_SYSTEM
 *   memory    channels drawn x strips x 88 bytes a table, however long it is */
struct drawing *drawing_new(const struct request *request, struct dw_error *error);
void drawing_free(struct drawing *drawing);

/* ---- what plan.c, gather.c and compose.c share ---- */

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
