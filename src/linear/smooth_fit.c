/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Steps of a walk through smooth equations, and the cubics of its guards and outputs over them: docs/theory.md, (2.18). */
#include "linear/modes_inner.h"
#include <math.h>
#include <string.h>

#define FLAT 1e-11          /* of a natural scale: a turn so low is rounding, */
#define LEVEL 0x1p-46       /* or with curves, which are to be monotone, one so low: values are known more closely than slopes */
#define TRUST 0x1p-10       /* of what a guard near zero moves by: how closely its cubic must know it, */
#define KNOWN 0x1p-32       /* or of its natural size */
#define ASIDE 0.2763932     /* of a step: (1 - 5^-1/2) / 2, where (s - 1/2) s^2 (1 - s)^2 is largest */
#define CURVED 4            /* bulges so many tolerances of curves large are taken: the cubic over the step misses by a sixteenth */
#define TWO_TURNS 16        /* what is allowed, so many times: the step becomes half as long */

static double not_less(double a, double b)
{
    return b <= a ? a : b;  /* b where it is no number */
}

static double bulge_at(double bulge, double s)
{
    return bulge * (s * s) * ((1 - s) * (1 - s));
}

void dwi_walk_state_at(const struct walk *w, double s, double *state)
{
    for (size_t i = 0; i < w->run->modes->states; i++) {
        const struct dw_cubic cubic = dw_cubic_through(w->from->state[i], w->length * w->from->rate[i], w->to->state[i],
                                                 w->length * w->to->rate[i]);
        state[i] = dw_cubic_at(&cubic, s) + bulge_at(w->state_bulge[i], s);
    }
}

void dwi_walk_inside(const struct walk *w, double s, struct knot *knot)
{
    double stage[STAGES][DW_STATES];
    knot->offset = w->from->offset + s * w->length;
    dwi_step_carry(w->run, w->from, s * w->length, stage, knot->state);
    dwi_knot_place(w->run, knot);
    dwi_knot_rate(w->run, knot);
    dwi_knot_curves(w->run, knot, w->outputs > 0, dwi_knot_span(w->run, knot, w->length));
}

/* Curves at a share of the step. */
static void look_inside(const struct walk *w, double s, struct knot *knot)
{
    knot->offset = w->from->offset + s * w->length;
    dwi_walk_state_at(w, s, knot->state);
    dwi_knot_place(w->run, knot);
    dwi_knot_curves(w->run, knot, w->outputs > 0, 0);
}

/* Cubics of the curves over the step just made, and how they miss what is seen at its half, and at a place where an error that is
 * none at the half is largest. */
static void fit_curves(struct walk *w)
{
    struct knot half, aside;
    look_inside(w, 0.5, &half);
    look_inside(w, ASIDE, &aside);
    for (size_t k = 0; k < w->guards + w->outputs; k++) {
        w->cubic[k] = dw_cubic_through(w->from->value[k], w->length * w->from->slope[k], w->to->value[k],
                                    w->length * w->to->slope[k]);
        w->bulge[k] = (half.value[k] - dw_cubic_at(w->cubic + k, 0.5)) / bulge_at(1, 0.5);
        const double other = (aside.value[k] - dw_cubic_at(w->cubic + k, ASIDE)) / bulge_at(1, ASIDE);
        w->doubt[k] = not_less(fabs(w->bulge[k]), fabs(other));
        w->skew[k] = (other - w->bulge[k]) / (ASIDE - 0.5);
    }
}

static bool turns_twice(const struct dw_cubic *cubic, double flat)
{
    double at[2];
    return dw_cubic_turns(cubic, at) == 2 && fabs(dw_cubic_at(cubic, at[0]) - dw_cubic_at(cubic, at[1])) > flat;
}

double dwi_walk_flat(const struct walk *w, size_t j)
{
    const double scale = w->run->modes->scale[j];
    return w->curve ? LEVEL * larger(scale, fabs(w->from->value[w->guards + j])) : larger(FLAT, w->run->options.accuracy / 1024) * scale;
}

/* How far a guard is from what can be taken, 1 being just it. A cubic lies between its Bezier points. */
static double guard_miss(struct walk *w, size_t k)
{
    const double *c = w->cubic[k].c, points[] = { c[0], c[0] + c[1] / 3, w->to->value[k] - w->length * w->to->slope[k] / 3,
                                                  w->to->value[k] };
    double least = INFINITY, most = -INFINITY;
    for (int i = 0; i < 4; i++) {
        least = lesser(least, points[i]);
        most = larger(most, points[i]);
    }
    w->near[k] = !(least > w->doubt[k]);  /* which is sixteen times what the cubic misses */
    if (!w->near[k])
        return 0;
    return larger(w->doubt[k] / (16 * larger(TRUST * (most - least), KNOWN)),
                  turns_twice(w->cubic + k, FLAT) ? TWO_TURNS : 0);
}

/* Of y = cubic + s^2 (1 - s)^2 (bulge + skew (s - 1/2)), docs/theory.md, (2.24). */
static void bend_curve(struct walk *w, size_t j)
{
    const double bulge = w->bulge[w->guards + j], skew = w->skew[w->guards + j], square = w->length * w->length;
    struct bend *bend = w->bend + j;
    bend->first = (24 * bulge - 60 * skew) / (square * square);
    bend->last = (24 * bulge + 60 * skew) / (square * square);
    const double most = larger(fabs(bend->first), fabs(bend->last));
    bend->spare = most / 8;
    bend->most = most + bend->spare;
}

static void bend_line(struct walk *w, size_t j)
{
    const struct dw_cubic *cubic = w->cubic + w->guards + j;
    const double square = w->length * w->length;
    struct bend *bend = w->bend + j;
    bend->first = dw_cubic_bend(cubic, 0) / square;
    bend->last = dw_cubic_bend(cubic, 1) / square;
    bend->spare = 2 * w->doubt[w->guards + j] / square;
    bend->most = larger(fabs(bend->first), fabs(bend->last)) + bend->spare;
}

static double output_miss(struct walk *w, size_t j)
{
    (w->curve ? bend_curve : bend_line)(w, j);
    return larger(w->doubt[w->guards + j] / w->most_bulge[j],
                  turns_twice(w->cubic + w->guards + j, dwi_walk_flat(w, j)) ? TWO_TURNS : 0);
}

void dwi_walk_set_limits(struct walk *w)
{
    for (size_t j = 0; j < w->outputs; j++)
        w->most_bulge[j] = w->curve ? CURVED * w->curve->tolerance[j] : larger(w->run->options.accuracy, CLOSEST) * w->run->modes->scale[j];
}

/* How far the cubics of the step are from what can be taken. */
static double curves_miss(struct walk *w)
{
    const double *scale = w->run->modes->equations.state_scale;
    double most = 0;
    fit_curves(w);
    for (size_t k = 0; k < w->guards; k++)
        most = not_less(most, guard_miss(w, k));
    for (size_t j = 0; j < w->outputs; j++)
        most = not_less(most, output_miss(w, j));
    for (size_t i = 0; i < w->run->modes->states && w->outputs > 0 && !w->curve; i++)  /* rows between lines have states by these */
        most = not_less(most, fabs(w->state_bulge[i]) / (larger(w->run->options.accuracy, CLOSEST) * scale[i]));
    return most;
}

/* Tries the step; returns how far it is from what can be taken, as an error of the fifth order. */
static double try_step(struct walk *w)
{
    struct dw_run *run = w->run;
    dwi_step_carry(run, w->from, w->length, w->stage, w->to->state);
    dwi_knot_place(run, w->to);
    dwi_knot_rate(run, w->to);
    memcpy(w->stage[STAGES - 1], w->to->rate, run->modes->states * sizeof(double));
    const double error = dwi_step_error(run, w->from, w->length, w->stage);
    if (!(error <= 1) || w->guards + w->outputs == 0)
        return error;
    dwi_step_bulge(run, w->length, w->stage, w->state_bulge);
    dwi_knot_curves(run, w->to, w->outputs > 0, dwi_knot_span(run, w->to, w->length));
    const double miss = curves_miss(w);
    return not_less(error, miss * sqrt(sqrt(miss)));  /* the cubics err by the fourth power of the length */
}

enum dw_status dwi_walk_step(struct walk *w, struct dw_error *error)
{
    const double end = w->run->stretch.length, left = end - w->from->offset;
    const double least = walk_least(w->run);
    double *hint = &w->run->hint[w->run->mode].length;
    for (double miss = 2; !(miss <= 1);) {
        /* two like steps to the end rather than a long and a short one */
        w->length = *hint >= left ? left : *hint > left / 2 ? left / 2 : *hint;
        w->to->offset = w->length == left ? end : w->from->offset + w->length;
        miss = try_step(w);
        const double longer = miss <= 1e-4 ? 5 : miss <= 1e3 ? 0.9 * pow(miss, -0.2) : 0.2, next = longer * w->length;
        if (!(miss <= 1) && next < least)
            return dw_error_set(error, DW_NO, 0, "no way on at %.9g s in the mode '%s': steps become ever shorter, since a rate, "
                                "guard or output jumps, grows without bound or is not finite", w->from->time, w->mode->name);
        /* a step cut short by the end says nothing of the next */
        *hint = miss <= 1 && w->length < *hint ? larger(next, *hint) : next;
    }
    return DW_OK;
}
