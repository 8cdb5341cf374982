/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Carries a state over one piece of the input, at once where that has been done lately. */
#include "linear/system_inner.h"
#include <string.h>

/* The whole length in one cell, in plain double, while the input stands still: the usual case, worth a short way. A length that
 * differs within the slack is corrected to first order, in the matrix, so that a state waits for one product alone; the second
 * order is below 1e-16. */
static void advance_at_once(const struct dw_system *system, const struct chain *chain, double more, double *state,
                            const double *input)
{
    const size_t n = system->states, m = system->inputs;
    double moved[DW_STATES];
    const double *row = chain->high, *drift = chain->drift;
    for (size_t i = 0; i < n; i++, row += n + 2 * m, drift += n + m) {
        double sum = 0;
        for (size_t j = 0; j < m; j++)
            sum += (row[n + j] + more * drift[n + j]) * input[j];
        for (size_t j = 0; j < n; j++)
            sum += (row[j] + more * drift[j]) * state[j];
        moved[i] = state[i] + sum;
    }
    memcpy(state, moved, n * sizeof *state);
}

/* The same for two states and one input, which is most of what there is. */
static inline void advance_two(const struct chain *chain, double more, double *state, double u)
{
    const double *row = chain->high, *drift = chain->drift;
    const double x = state[0], y = state[1];
    const double x_sum = (row[2] + more * drift[2]) * u + (row[0] + more * drift[0]) * x + (row[1] + more * drift[1]) * y;
    const double y_sum = (row[6] + more * drift[5]) * u + (row[4] + more * drift[3]) * x + (row[5] + more * drift[4]) * y;
    state[0] = x + x_sum;
    state[1] = y + y_sum;
}

/* Whether the stretch has been carried already: by a propagator used lately, the input standing still. */
static inline bool advance_quickly(struct dw_system *system, double *state, const double *start, const double *end,
                                   double length, double slack)
{
    for (size_t j = 0; j < system->inputs; j++)
        if (start[j] != end[j])
            return false;
    const double most = slack < system->near ? slack : system->near;
    for (unsigned i = 0; i < 2; i++) {
        const unsigned at = system->turn ^ i;
        const struct chain *chain = system->recent[at];
        if (!chain || !chain->drift || !(length > 0 && fabs(length - chain->length) <= most))
            continue;
        system->turn = at ^ 1;
        if (system->states == 2 && system->inputs == 1)
            advance_two(chain, length - chain->length, state, *start);
        else
            advance_at_once(system, chain, length - chain->length, state, start);
        return true;
    }
    return false;
}

static enum dw_status advance_by_cells(struct dw_system *system, const struct dw_interval *over, double slack, double *state,
                                       struct dw_error *error)
{
    const size_t n = system->states;
    struct stretch stretch;
    const enum dw_status status = dwi_stretch_set(&stretch, system, over, slack, error);
    if (status != DW_OK)
        return status;
    struct node node;
    memcpy(node.high, over->state, n * sizeof *state);
    memset(node.low, 0, n * sizeof *node.low);
    dwi_stretch_input(&stretch, (struct position){ 0, 0 }, 0, &node);
    dwi_stretch_finish(&stretch, (struct position){ 0, 0 }, &node);
    for (size_t i = 0; i < n; i++)
        state[i] = node.high[i] + (stretch_doubled(&stretch) ? node.low[i] : 0);
    return DW_OK;
}

enum dw_status dw_system_advance_over(struct dw_system *system, const struct dw_interval *over, double slack, double *state,
                                      struct dw_error *error)
{
    if (!(over->length >= 0 && isfinite(over->length)))
        return dw_error_set(error, DW_BAD_USE, 0, "a stretch of %g s: must be finite and not below zero", over->length);
    if (over->length > 0)
        return advance_by_cells(system, over, slack, state, error);
    memmove(state, over->state, system->states * sizeof *state);
    return DW_OK;
}

enum dw_status dw_system_advance(struct dw_system *system, double *state, const double *start, const double *end,
                                 double length, double slack, struct dw_error *error)
{
    const struct dw_interval over = { .state = state, .start = start, .end = end, .length = length };
    return advance_quickly(system, state, start, end, length, slack) ? DW_OK : dw_system_advance_over(system, &over, slack, state, error);
}
