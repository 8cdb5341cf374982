/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Steps of smooth equations: Dormand and Prince 1980, J. Comput. Appl. Math. 6:19, RK5(4)7M, with the continuous extension of
 * Hairer, Norsett and Wanner 1993, Solving Ordinary Differential Equations I, 2nd ed., II.6. docs/theory.md, (2.17). */
#include "linear/modes_inner.h"
#include <float.h>
#include <math.h>
#include <string.h>

#define LOOK 0x1p-6       /* of a natural time: differences err by its fourth power over 30, and by 2^-53 over it */
#define ROUNDING 0x1p-48  /* of a state: no step is asked to be closer */

static const double instant[STAGES] = { 0, 1 / 5.0, 3 / 10.0, 4 / 5.0, 8 / 9.0, 1, 1 };
static const double weight[STAGES - 1][STAGES - 1] = {
    { 1 / 5.0 },
    { 3 / 40.0, 9 / 40.0 },
    { 44 / 45.0, -56 / 15.0, 32 / 9.0 },
    { 19372 / 6561.0, -25360 / 2187.0, 64448 / 6561.0, -212 / 729.0 },
    { 9017 / 3168.0, -355 / 33.0, 46732 / 5247.0, 49 / 176.0, -5103 / 18656.0 },
    { 35 / 384.0, 0, 500 / 1113.0, 125 / 192.0, -2187 / 6784.0, 11 / 84.0 },
};
/* the fifth order less the fourth */
static const double estimate[STAGES] = { 71 / 57600.0, 0, -71 / 16695.0, 71 / 1920.0, -17253 / 339200.0, 22 / 525.0, -1 / 40.0 };
static const double extension[STAGES] = { -12715105075 / 11282082432.0,  0, 87487479700 / 32700410799.0, -10690763975 / 1880347072.0,
                                          701980252875 / 199316789632.0, -1453857185 / 822651844.0, 69997945 / 29380423.0 };

/* Weighted sum of the first stages; inlined for each number of them. */
static inline double weigh(const double *by, unsigned count, double stage[STAGES][DW_STATES], size_t i)
{
    double sum = by[0] * stage[0][i];
    for (unsigned k = 1; k < count; k++)
        sum += by[k] * stage[k][i];
    return sum;
}

void dwi_step_input(const struct dw_run *run, double offset, double *input)
{
    for (size_t j = 0; j < run->modes->inputs; j++)
        input[j] = run->input[j] + run->stretch.slope[j].hi * offset;
    for (size_t j = 0; run->stretch.curved && j < run->modes->inputs; j++)
        input[j] += offset * offset / 2 * (run->stretch.second[j].hi + run->stretch.third[j].hi * offset / 3);
}

void dwi_step_slope(const struct dw_run *run, double offset, double *slope)
{
    for (size_t j = 0; j < run->modes->inputs; j++)
        slope[j] = run->stretch.slope[j].hi;
    for (size_t j = 0; run->stretch.curved && j < run->modes->inputs; j++)
        slope[j] += offset * (run->stretch.second[j].hi + run->stretch.third[j].hi * offset / 2);
}

static void rate_at(const struct dw_run *run, double offset, const double *state, double *rate)
{
    const struct dw_equations *equations = &run->modes->equations;
    double input[DW_INPUTS];
    dwi_step_input(run, offset, input);
    equations->rate(equations->of, run->mode, run->time + offset, state, input, rate);
}

/* Stage k from those before it; `after` is where it looks. */
static inline void add_stage(const struct dw_run *run, const struct knot *from, double length, const unsigned k,
                             double stage[STAGES][DW_STATES], double *after)
{
    for (size_t i = 0; i < run->modes->states; i++)
        after[i] = from->state[i] + length * weigh(weight[k - 1], k, stage, i);
    if (k < STAGES - 1)
        rate_at(run, from->offset + instant[k] * length, after, stage[k]);
}

void dwi_step_carry(const struct dw_run *run, const struct knot *from, double length, double stage[STAGES][DW_STATES], double *after)
{
    memcpy(stage[0], from->rate, run->modes->states * sizeof *after);
    add_stage(run, from, length, 1, stage, after);
    add_stage(run, from, length, 2, stage, after);
    add_stage(run, from, length, 3, stage, after);
    add_stage(run, from, length, 4, stage, after);
    add_stage(run, from, length, 5, stage, after);
    add_stage(run, from, length, 6, stage, after);
}

double dwi_step_error(const struct dw_run *run, const struct knot *from, double length, double stage[STAGES][DW_STATES])
{
    const struct dw_equations *equations = &run->modes->equations;
    double most = 0;
    for (size_t i = 0; i < run->modes->states; i++) {
        const double error = fabs(length * weigh(estimate, STAGES, stage, i));
        const double allowed = equations->tolerance * equations->state_scale[i] + ROUNDING * fabs(from->state[i]);
        most = error <= most * allowed ? most : error / allowed;  /* not a number stays one */
    }
    return most;
}

void dwi_step_bulge(const struct dw_run *run, double length, double stage[STAGES][DW_STATES], double *bulge)
{
    for (size_t i = 0; i < run->modes->states; i++)
        bulge[i] = length * weigh(extension, STAGES, stage, i);
}

void dwi_knot_place(const struct dw_run *run, struct knot *knot)
{
    knot->time = run->time + knot->offset;
    dwi_step_input(run, knot->offset, knot->input);
    dwi_step_slope(run, knot->offset, knot->input_slope);
}

void dwi_knot_rate(const struct dw_run *run, struct knot *knot)
{
    const struct dw_equations *equations = &run->modes->equations;
    equations->rate(equations->of, run->mode, knot->time, knot->state, knot->input, knot->rate);
}

/* It is a power of two and at least an ulp of the time, so that what is added to the time is what is meant. */
double dwi_knot_span(const struct dw_run *run, const struct knot *knot, double most)
{
    const double *scale = run->modes->equations.state_scale;
    for (size_t i = 0; i < run->modes->states; i++) {
        const double moves = fabs(knot->rate[i]), size = larger(scale[i], fabs(knot->state[i]));
        most = moves * most > size ? size / moves : most;
    }
    return ldexp(1, ilogb(larger(LOOK * most, 4 * DBL_EPSILON * fabs(knot->time)) + DBL_MIN));
}

/* Values of so many guards and of so many outputs at a knot. */
static void look(const struct dw_run *run, struct knot *knot, size_t guards, size_t outputs)
{
    const struct dw_equations *equations = &run->modes->equations;
    if (guards > 0)
        equations->guards(equations->of, run->mode, knot->time, knot->state, knot->input, knot->value);
    if (outputs > 0)
        equations->output(equations->of, run->mode, knot->time, knot->state, knot->input, knot->value + guards);
}

/* Slopes are central differences of order 4 along the trajectory's direction, (1, x', u'): (2.19). */
void dwi_knot_curves(const struct dw_run *run, struct knot *knot, bool outputs, double span)
{
    static const int place[] = { -2, -1, 1, 2 }, factor[] = { 1, -8, 8, -1 };
    const size_t guards = present_mode(run)->guard_count, others = outputs ? run->modes->outputs : 0;
    struct knot near;
    look(run, knot, guards, others);
    if (span == 0)
        return;
    memset(knot->slope, 0, (guards + others) * sizeof *knot->slope);
    for (int k = 0; k < 4; k++) {
        const double shift = place[k] * span;
        near.time = knot->time + shift;
        for (size_t i = 0; i < run->modes->states; i++)
            near.state[i] = knot->state[i] + shift * knot->rate[i];
        for (size_t j = 0; j < run->modes->inputs; j++)
            near.input[j] = knot->input[j] + shift * knot->input_slope[j];
        look(run, &near, guards, others);
        for (size_t j = 0; j < guards + others; j++)
            knot->slope[j] += factor[k] / (12 * span) * (near.value[j] - knot->value[j]);  /* what stands still has none */
    }
}
