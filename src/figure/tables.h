/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From tables to sheets: which channels stand in which panel, what of their rows is drawn, and on which axes. */
#ifndef FIGURE_TABLES_H
#define FIGURE_TABLES_H

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

#endif
