/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A figure as data: panels above one another that share the x axis, each with traces of one unit. */
#ifndef FIGURE_SHEET_H
#define FIGURE_SHEET_H

#include "reduction.h"
#include "ticks.h"
#include <stdbool.h>
#include <stddef.h>

enum trace_style {
    TRACE_LINES,   /* rows are vertices of straight lines */
    TRACE_STEMS,   /* a stroke from the base to each value */
    TRACE_MARKS,
    TRACE_JOINED,  /* marks joined by lines */
    TRACE_BY_ITSELF
};

struct trace {
    const char *name;              /* UTF-8 */
    const struct reduction *rows;
    size_t channel;                /* of rows */
    enum trace_style style;
    size_t look;                   /* index for palette_look */
    bool has_mean;
    double mean;
};

struct panel {
    const char *heading;  /* "" for none */
    size_t number;        /* panels of one number have one axis */
    struct axis axis;
    struct trace *trace;
    size_t traces;
};

struct sheet {
    const char *title, *caption;  /* "" for none; the caption stands right of the title */
    const char *x_name;
    struct axis x;
    struct panel *panel;
    size_t panels;
};

#endif
