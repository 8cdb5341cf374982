/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A duty against time, read forwards one straight piece at a time. */
#ifndef PULSE_CURVE_INNER_H
#define PULSE_CURVE_INNER_H

#include <dutywright/pulse.h>

/* The present piece goes from (start, from) to (stop, to), stop excluded: at a jump the value after it holds. Before the
 * first point and after the last the duty stays, on a piece that begins or ends at infinity. */
struct curve {
    dw_duty_points *points;
    void *context;
    double start, from, stop, to;
    bool kept;               /* the piece after the first point has been read, and is next: */
    double kept_stop, kept_to;
    double first;            /* s, time of the first point */
    double last;             /* s, time of the last point once it is known, else infinity */
    double lowest, highest;  /* duties that were asked for, unclipped */
};

/* Reads points until time passes. Errors: DW_BAD_INPUT where it never does; those of points. */
enum dw_status dwi_duty_curve_open(struct curve *curve, dw_duty_points *points, void *context, struct dw_error *error);
/* Moves to the piece that holds `time`, never back. */
enum dw_status dwi_duty_curve_seek(struct curve *curve, double time, struct dw_error *error);
/* The next piece that takes time; only while curve->stop is finite. */
enum dw_status dwi_duty_curve_next(struct curve *curve, struct dw_error *error);
/* Duty at a time within the present piece, its stop included (value before a jump there), unclipped; remembers extremes. */
double dwi_duty_curve_duty(struct curve *curve, double time);
/* Whether a duty was asked for that lies outside 0..1 by more than 4 ulp of 1: less is rounding of who computed it. */
bool dwi_duty_curve_clipped(const struct curve *curve);

#endif
