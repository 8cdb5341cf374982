/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Natural sampling: the edges are where the duty itself crosses the carrier. */
#include "train_inner.h"
#include <math.h>

/* One straight run of the carrier within a period. */
struct run {
    double start;        /* s, of the period */
    double from, to;     /* s, within the period */
    double c_from, c_to; /* carrier at both ends */
    double sign;         /* +1: sought is duty >= carrier; -1: carrier >= duty */
};

static double carrier(const struct run *run, double place)
{
    return run->c_from + (run->c_to - run->c_from) * ((place - run->from) / (run->to - run->from));
}

/* First place in a run where the duty reaches the carrier; run->to where it does not. Both are straight within a piece of
 * the curve, so that the crossing is one division. (1.7) Duties outside 0..1 need no clipping: they cross nowhere. */
static enum dw_status crossing(struct curve *curve, const struct run *run, double *place, struct dw_error *error)
{
    double before = run->from;
    enum dw_status status = dwi_duty_curve_seek(curve, run->start + before, error);
    while (status == DW_OK) {
        const double stop = curve->stop - run->start, after = fmin(stop, run->to);
        const double d_before = dwi_duty_curve_duty(curve, run->start + before);
        const double d_after = stop > run->to ? dwi_duty_curve_duty(curve, run->start + after) : dwi_duty_curve_duty(curve, curve->stop);
        const double ahead = run->sign * (d_before - carrier(run, before));
        const double then = run->sign * (d_after - carrier(run, after));
        if (ahead >= 0)
            return *place = before, DW_OK;
        if (then >= 0)
            return *place = before + (after - before) * (ahead / (ahead - then)), DW_OK;
        if (stop >= run->to)
            return *place = run->to, DW_OK;
        before = after;
        status = dwi_duty_curve_next(curve, error);
    }
    return status;
}

enum dw_status dwi_pulse_natural_period(struct dw_pulse *pulse, double number, struct interval *interval, struct dw_error *error)
{
    const double period = pulse->train.period, start = fma(number, period, pulse->base), middle = period / 2;
    const struct run up = { start, 0, period, 0, 1, -1 }, down = { start, 0, period, 1, 0, 1 };
    const struct run first_half = { start, 0, middle, 1, 0, 1 }, second_half = { start, middle, period, 0, 1, -1 };
    double on = 0, off = period;
    enum dw_status status = DW_OK;
    switch (pulse->train.alignment) {
    case DW_ALIGN_LEFT: status = crossing(&pulse->curve, &up, &off, error); break;
    case DW_ALIGN_RIGHT: status = crossing(&pulse->curve, &down, &on, error); break;
    case DW_ALIGN_CENTRE:
        status = crossing(&pulse->curve, &first_half, &on, error);
        if (status == DW_OK)
            status = crossing(&pulse->curve, &second_half, &off, error);
        break;
    }
    *interval = (struct interval){ fma(number, period, pulse->base + on), fma(number, period, pulse->base + off) };
    return status;
}
