/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows of a run on their way to its sink. */
#include "linear/modes_inner.h"
#include <math.h>
#include <string.h>

enum dw_status dwi_run_give_row(struct dw_run *run, const struct node *node, struct dw_run_row row, struct dw_error *error)
{
    const size_t n = run->modes->states, m = run->modes->inputs, p = run->modes->outputs;
    const bool whole = run->options.integrand_count > 0 && row.kind != DW_ROW_BETWEEN && row.kind != DW_ROW_EXTREMUM;
    double finite[DW_OUTPUTS];
    for (size_t j = 0; row.slope && j < p; j++)
        finite[j] = isfinite(row.slope[j]) ? row.slope[j] : 0;
    if (row.slope)
        row.slope = finite;
    if (run->given)
        row.time = fmax(row.time, run->last_time);  /* an event may round to an ulp before the row it was found behind */
    row.state = node->high;
    row.input = node->high + n;
    row.mode = run->mode;
    row.integral = whole ? run->integral : NULL;
    row.repeats = run->given && row.time == run->last_time && memcmp(row.output, run->last_output, p * sizeof *row.output) == 0 &&
                  memcmp(row.input, run->last_input, m * sizeof *row.input) == 0 &&
                  (!row.slope || memcmp(row.slope, run->last_slope, p * sizeof *row.slope) == 0);
    run->work += run->options.uniform == 0;
    run->given = true;
    run->last_time = row.time;
    memcpy(run->last_output, row.output, p * sizeof *row.output);
    memcpy(run->last_input, row.input, m * sizeof *row.input);
    if (row.slope)
        memcpy(run->last_slope, row.slope, p * sizeof *row.slope);
    return run->options.sink(run->options.context, &row, error);
}

void dwi_look_for_curves(const struct dw_run *run, double time, const struct node *node, struct sight *sight)
{
    run->modes->engine->look(run, time, node, sight);
    for (size_t j = 0; j < run->modes->outputs; j++)
        if (fabs(sight->slope[j]) <= sight->noise[j])
            sight->slope[j] = 0;
}

/* Outputs and slopes of a row that is not dwi_curve_flush's: the one that ends a walk, an input's, one after an event. */
static void take_slopes(struct dw_run *run, double time, const struct node *node, double *value, double *slope)
{
    struct curves *curve = run->curve;
    struct sight sight;
    dwi_look_for_curves(run, time, node, &sight);
    for (size_t j = 0; j < run->modes->outputs; j++) {
        value[j] = sight.value[j];
        slope[j] = curve->closes ? curve->closing[j] : sight.slope[j];
    }
    curve->closes = false;
}

enum dw_status dwi_run_give(struct dw_run *run, double time, const struct node *node, enum dw_row_kind kind, int tag,
                            struct dw_error *error)
{
    if (run->options.integrand_count > 0 && kind != DW_ROW_BETWEEN && kind != DW_ROW_EXTREMUM) {
        const enum dw_status status = run->modes->engine->integrate(run, time, node, error);
        if (status != DW_OK)
            return status;
    }
    if (!run->options.sink || (run->options.uniform > 0 && kind != DW_ROW_BETWEEN))
        return DW_OK;
    if ((kind == DW_ROW_BETWEEN || kind == DW_ROW_EXTREMUM) && run->given && !(time > run->last_time) &&
        run->options.uniform == 0)
        return DW_OK;  /* nothing lies between two rows at one time */
    double output[DW_OUTPUTS], slope[DW_OUTPUTS];
    if (run->curve)
        take_slopes(run, time, node, output, slope);
    else
        run->modes->engine->output(run, time, node, output, NULL);
    const struct dw_run_row row = { .time = time, .kind = kind, .tag = tag, .output = output, .slope = run->curve ? slope : NULL };
    return dwi_run_give_row(run, node, row, error);
}
