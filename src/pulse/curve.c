/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "train_inner.h"
#include <float.h>
#include <math.h>

enum dw_status dwi_duty_curve_open(struct curve *curve, dw_duty_points *points, void *context, struct dw_error *error)
{
    double time, duty;
    enum dw_status status = points(context, &time, &duty, error);
    if (status == DW_END)
        return dw_error_set(error, DW_BAD_INPUT, 0, "the duty against time has no rows");
    if (status != DW_OK)
        return status;
    *curve = (struct curve){ .points = points, .context = context, .start = -INFINITY, .stop = time, .to = duty,
                             .first = time, .last = INFINITY, .lowest = INFINITY, .highest = -INFINITY };
    status = dwi_duty_curve_next(curve, error);
    if (status != DW_OK)
        return status;
    if (curve->last == time)
        return dw_error_set(error, DW_BAD_INPUT, 0, "the duty against time ends at %g s, where it begins", time);
    curve->kept = true;
    curve->kept_stop = curve->stop;
    curve->kept_to = curve->to;
    curve->start = -INFINITY;
    curve->stop = time;
    curve->to = curve->from;
    return DW_OK;
}

enum dw_status dwi_duty_curve_next(struct curve *curve, struct dw_error *error)
{
    do {
        double time = curve->kept_stop, duty = curve->kept_to;
        const enum dw_status status = curve->kept ? DW_OK : curve->points(curve->context, &time, &duty, error);
        if (status != DW_OK && status != DW_END)
            return status;
        curve->kept = false;
        curve->start = curve->stop;
        curve->from = curve->to;
        if (status == DW_END) {
            curve->last = curve->stop;
            curve->stop = INFINITY;
        } else {
            curve->stop = time;
            curve->to = duty;
        }
    } while (curve->stop <= curve->start);
    return DW_OK;
}

enum dw_status dwi_duty_curve_seek(struct curve *curve, double time, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    while (status == DW_OK && curve->stop <= time)
        status = dwi_duty_curve_next(curve, error);
    return status;
}

double dwi_duty_curve_duty(struct curve *curve, double time)
{
    double duty = curve->from;
    if (time >= curve->stop)
        duty = curve->to;
    else if (curve->from != curve->to)
        duty += (curve->to - curve->from) * ((time - curve->start) / (curve->stop - curve->start));
    curve->lowest = fmin(curve->lowest, duty);
    curve->highest = fmax(curve->highest, duty);
    return duty;
}

bool dwi_duty_curve_clipped(const struct curve *curve)
{
    return curve->lowest < -4 * DBL_EPSILON || curve->highest > 1 + 4 * DBL_EPSILON;
}
