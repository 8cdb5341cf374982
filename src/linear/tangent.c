/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The derivative of a run with respect to its start: propagators, and at events saltation matrices
 * R + (f+ - R f-) g_x / g' (Aizerman and Gantmacher 1958, Quart. J. Mech. Appl. Math. 11:385): docs/theory.md, (2.10). */
#include "linear/modes_inner.h"
#include <string.h>

void dwi_run_tangent_move(struct dw_run *run, struct position from, struct doubled to)
{
    for (size_t j = 0; j < run->modes->states; j++) {
        struct position position = from;
        struct node *column = run->tangent->column + j;
        if (!stretch_doubled(&run->stretch))
            memset(column->low, 0, sizeof column->low);
        dwi_stretch_move(&run->stretch, &position, to, true, column);
    }
}

void dwi_run_tangent_event_begin(struct dw_run *run, const struct guard *guard)
{
    const size_t n = run->modes->states;
    struct tangent *tangent = run->tangent;
    struct rates rates;
    struct slopes slopes;
    dwi_rates_at(&run->stretch, &run->node, ORDERS, &rates);
    dwi_slopes_at(&run->stretch, &run->node, &rates, &guard->value, &slopes);
    const double falls = slopes.order[1];
    for (size_t j = 0; j < n; j++) {
        double change = 0;
        for (size_t i = 0; i < n; i++)
            change += guard->value.row[i] * tangent->column[j].high[i];
        tangent->shift[j] = falls != 0 ? change / falls : 0;  /* unrun: rounding */
    }
    for (size_t i = 0; i < n; i++)
        tangent->rate[i] = -rates.order[1][i];
}

/* vector <- R vector - R_input slope * with_input. */
static void reset_vector(const struct dw_run *run, const struct guard *guard, double *vector, double with_input)
{
    const size_t n = run->modes->states, m = run->modes->inputs, width = n + m + 1;
    double out[DW_STATES];
    for (size_t i = 0; i < n; i++) {
        const double *row = guard->reset + i * width;
        double sum = 0;
        for (size_t j = 0; j < n; j++)
            sum += row[j] * vector[j];
        for (size_t j = 0; j < m; j++)
            sum -= with_input * row[n + j] * run_slope(run, &run->node, j);
        out[i] = sum;
    }
    memcpy(vector, out, n * sizeof *out);
}

void dwi_run_tangent_reset(struct dw_run *run, const struct guard *guard)
{
    if (!guard->reset)
        return;
    for (size_t j = 0; j < run->modes->states; j++) {
        reset_vector(run, guard, run->tangent->column[j].high, 0);
        memset(run->tangent->column[j].low, 0, sizeof run->tangent->column[j].low);
    }
    reset_vector(run, guard, run->tangent->rate, 1);
}

void dwi_run_tangent_event_end(struct dw_run *run)
{
    const size_t n = run->modes->states;
    struct tangent *tangent = run->tangent;
    struct chain plain = { 0 };
    struct stretch stretch = run->stretch;
    struct rates rates;
    stretch.system = present_mode(run)->system;
    stretch.chain = &plain;
    dwi_rates_at(&stretch, &run->node, ORDERS, &rates);
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            tangent->column[j].high[i] += (tangent->rate[i] + rates.order[1][i]) * tangent->shift[j];
}
