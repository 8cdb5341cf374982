/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Steady currents of a filter: what its capacitors, coil and resistors must bear. */
#include "filter_inner.h"
#include <dutywright/linear.h>
#include <math.h>

enum { STATES = 3, OUTPUTS = 8 };

/* State space with the currents as outputs; theory, (6.18). */
struct bench {
    int states, outputs;
    double a[STATES * STATES], b[STATES], c[OUTPUTS * STATES], d[OUTPUTS], weight[STATES];
};

/* States: voltages of the capacitors. Outputs: current of each capacitor, then of each resistor. */
static void rc_bench(struct bench *bench, const struct dw_filter_task *task, const struct dw_filter *filter)
{
    const int n = bench->states = filter->stages;
    bench->outputs = 2 * n;
    for (int k = 0; k < n; k++) {
        const double g = 1 / (filter->r[k].value + (k == 0 ? task->source : 0));
        double *current = &bench->c[(n + k) * n];
        current[k] = -g;
        if (k > 0)
            current[k - 1] = g;
        else
            bench->d[n] = g;
    }
    for (int k = 0; k < n; k++) {
        for (int m = 0; m < n; m++)
            bench->c[k * n + m] = bench->c[(n + k) * n + m] - (k + 1 < n ? bench->c[(n + k + 1) * n + m] : 0);
        if (k + 1 == n)
            bench->c[k * n + k] -= 1 / task->load;
        bench->d[k] = bench->d[n + k];
        for (int m = 0; m < n; m++)
            bench->a[k * n + m] = bench->c[k * n + m] / filter->c[k].value;
        bench->b[k] = bench->d[k] / filter->c[k].value;
        bench->weight[k] = filter->c[k].value;
    }
}

/* States: current of the coil, voltage of the capacitor, of the damping one. Outputs: current of the capacitor, of the damping
 * one, of the coil. */
static void coil_bench(struct bench *bench, const struct dw_filter_task *task, const struct dw_filter *filter)
{
    const bool damped = filter->cd.value > 0;
    const int n = bench->states = damped ? 3 : 2;
    const double g = 1 / task->load, gd = damped ? 1 / filter->rd.value : 0, l = filter->l.value, c = filter->c[0].value;
    bench->outputs = 3;
    bench->a[0] = -(task->source + filter->r[0].value) / l;
    bench->a[1] = -1 / l;
    bench->b[0] = 1 / l;
    bench->c[0] = 1;
    bench->c[1] = -g - gd;
    bench->c[2 * n] = 1;
    bench->weight[0] = l;
    bench->weight[1] = c;
    if (damped) {
        bench->c[2] = gd;
        bench->c[n + 1] = gd;
        bench->c[n + 2] = -gd;
        bench->a[2 * n + 1] = gd / filter->cd.value;
        bench->a[2 * n + 2] = -gd / filter->cd.value;
        bench->weight[2] = filter->cd.value;
    }
    for (int m = 0; m < n; m++)
        bench->a[n + m] = bench->c[m] / c;
}

/* Mean squares of all outputs over the steady period. */
static enum dw_status mean_squares(const struct dw_filter_task *task, double duty, const struct bench *bench, double *square,
                                   struct dw_error *error)
{
    const double period = 1 / task->frequency, edge = duty * period;
    const double time[4] = { 0, edge, edge, period }, pin[4] = { task->high, task->high, task->low, task->low };
    double state[STATES];
    struct dw_system *system = dw_system_new(&(struct dw_matrices){
        .states = (size_t)bench->states, .inputs = 1, .outputs = (size_t)bench->outputs,
        .a = bench->a, .b = bench->b, .c = bench->c, .d = bench->d, .weight = bench->weight }, error);
    enum dw_status status = system ? dw_system_steady(system, time, pin, 4, state, NULL, error) : DW_NO_MEMORY;
    for (int half = 0; half < 2 && status == DW_OK; half++) {
        const double *level = &pin[2 * half], length = half ? period - edge : edge;
        for (int k = 0; k < bench->outputs && status == DW_OK; k++) {
            double integral = 0;
            status = dw_system_product_integral(system, state, level, level, length, (size_t)k, (size_t)k, &integral, error);
            square[k] += integral / period;
        }
        if (status == DW_OK)
            status = dw_system_advance(system, state, level, level, length, 0, error);
    }
    dw_system_free(system);
    return status;
}

enum dw_status dw_filter_steady_currents(const struct dw_filter_task *task, const struct dw_filter *filter, double duty,
                                         struct dw_filter_currents *currents, struct dw_error *error)
{
    enum dw_status status = dw_filter_task_check(task, error);
    if (status == DW_OK)
        status = filter_check(filter, error);
    if (status == DW_OK && !(duty >= 0 && duty <= 1))
        status = dw_error_set(error, DW_BAD_USE, 0, "duty must be from 0 to 1");
    if (status != DW_OK)
        return status;
    const bool coil = filter->l.value > 0;
    struct bench bench = { .states = 0 };
    double square[OUTPUTS] = { 0 };
    if (coil)
        coil_bench(&bench, task, filter);
    else
        rc_bench(&bench, task, filter);
    status = mean_squares(task, duty, &bench, square, error);
    if (status != DW_OK)
        return status;
    *currents = (struct dw_filter_currents){ .coil = 0 };
    for (int k = 0; k < filter->stages; k++) {
        currents->capacitor[k] = sqrt(fmax(square[k], 0));
        currents->resistor[k] = filter->r[k].value * square[coil ? 2 : filter->stages + k];
    }
    if (coil) {
        const struct task_terms terms = terms_of(task);
        currents->damping = sqrt(fmax(square[1], 0));
        currents->rd = filter->rd.value * square[1];
        currents->coil = coil_swing(&terms, filter, duty);
    }
    return DW_OK;
}
