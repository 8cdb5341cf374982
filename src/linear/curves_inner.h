/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows that cubics join: what a walk has passed is kept until it is known how much the outputs change, then rows are given. */
#ifndef LINEAR_CURVES_INNER_H
#define LINEAR_CURVES_INNER_H

#include "linear/modes_inner.h"
#include <dutywright/cubic.h>

enum {
    SEGMENTS = 32,          /* kept before rows are given */
    TURNS = 2 * DW_OUTPUTS  /* no segment has more than the outputs are */
};

/* A part of the walk, a cell or a step, over which every output's fourth derivative is bounded. */
struct segment {
    double begin, length;      /* s, from the stretch's start */
    struct position position;  /* of modes */
    struct node node;          /* at its begin, with its input */
};

/* Where an output has an extremum. */
struct turn {
    double offset;
    size_t output;
    struct node node;
};

/* An instant that is or may become a row. */
struct post {
    double offset;
    struct node node;
    struct sight sight;
};

struct curves {
    struct segment segments[SEGMENTS];
    struct bend bend[SEGMENTS][DW_OUTPUTS];
    size_t segment_count;
    struct turn turns[TURNS];
    size_t turn_count;
    double begin;                              /* offset at which the walk began */
    double low[DW_OUTPUTS], high[DW_OUTPUTS];  /* of the walk so far */
    double size[DW_OUTPUTS];                   /* largest in it, as in struct sight */
    double tolerance[DW_OUTPUTS];              /* by what is known so far: it only grows until the walk's end */
    struct dw_changes changes[DW_OUTPUTS];
    struct post from;                          /* the last row, with the slopes of what follows */
    bool closes;                               /* the row that ends the walk has these slopes */
    double closing[DW_OUTPUTS];
};

/* For a run with these options: NULL where it gives no curves. *failed: no memory is left. */
struct curves *dwi_curve_new(const struct dw_run_options *options, bool *failed);
/* At the run's start: nothing has changed yet. */
void dwi_curve_start(struct dw_run *run);
/* A walk begins at run->node, whose input is set. */
void dwi_curve_begin(struct dw_run *run, double offset);
/* A segment that the caller fills, with the bounds of each output; there is room while dwi_curve_is_full says no. */
struct segment *dwi_curve_add(struct curves *curve, const struct bend *bend, size_t outputs);
struct turn *dwi_curve_add_turn(struct curves *curve);
bool dwi_curve_is_full(const struct curves *curve, size_t outputs);

/* Sets a node to an offset within a segment. */
typedef void curve_inside(void *of, const struct segment *segment, double offset, struct node *node);

/* Gives the rows of what has been kept, up to an offset where that ends.
 *   node     there, with its input
 *   last     the walk ends, and the caller gives the row there
 *   inside, of   what sets nodes */
enum dw_status dwi_curve_flush(struct dw_run *run, double end, const struct node *node, bool last, curve_inside *inside, void *of,
                           struct dw_error *error);
#endif
