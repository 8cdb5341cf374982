/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Carries a state over one piece of the input, at once where that has been done lately. */
#include "linear/system_inner.h"
#include <string.h>

/* The whole length in one cell, in plain double, while the input stands still: the usual case, worth a short way. A length that
 * differs within the slack is corrected to first order, in the matrix, so that a state waits for one product alone; the second
 * order is below 1e-16. */
static void advance_at_once(const struct dw_system *system, const struct chain *chain, double more, const struct dw_interval *over,
                            double *state)
{
    const size_t n = system->states, m = system->inputs;
    const double *from = over->state, *input = over->start;
    double moved[DW_STATES];
    const double *row = chain->high, *drift = chain->drift;
    for (size_t i = 0; i < n; i++, row += n + 2 * m, drift += n + m) {
        double sum = 0;
        for (size_t j = 0; j < m; j++)
            sum += (row[n + j] + more * drift[n + j]) * input[j];
        for (size_t j = 0; j < n; j++)
            sum += (row[j] + more * drift[j]) * from[j];
        moved[i] = from[i] + sum;
    }
    memcpy(state, moved, n * sizeof *state);
}

/* The same for two states and one input, which is most of what there is. */
static inline void advance_two(const struct chain *chain, double more, const struct dw_interval *over, double *state)
{
    const double *row = chain->high, *drift = chain->drift;
    const double x = over->state[0], y = over->state[1], u = over->start[0];
    const double x_sum = (row[2] + more * drift[2]) * u + (row[0] + more * drift[0]) * x + (row[1] + more * drift[1]) * y;
    const double y_sum = (row[6] + more * drift[5]) * u + (row[4] + more * drift[3]) * x + (row[5] + more * drift[4]) * y;
    state[0] = x + x_sum;
    state[1] = y + y_sum;
}

/* The propagator of that length, where it was used lately. */
static inline const struct chain *lately(struct dw_system *system, double length, double slack)
{
    const double most = slack < system->near ? slack : system->near;
    for (unsigned i = 0; i < 2; i++) {
        const unsigned at = system->turn ^ i;
        const struct chain *chain = system->recent[at];
        if (!chain || !chain->drift || !(length > 0 && fabs(length - chain->length) <= most))
            continue;
        system->turn = at ^ 1;
        return chain;
    }
    return NULL;
}

static inline bool stands_still(const struct dw_system *system, const struct dw_interval *over)
{
    for (size_t j = 0; j < system->inputs; j++)
        if (over->start[j] != over->end[j])
            return false;
    return !over->slope;
}

static enum dw_status advance_by_cells(struct dw_system *system, const struct dw_interval *over, double slack, double *state,
                                       struct dw_error *error)
{
    const size_t n = system->states;
    struct stretch stretch;
    if (!(over->length >= 0 && isfinite(over->length)))
        return dw_error_set(error, DW_BAD_USE, 0, "a stretch of %g s: must be finite and not below zero", over->length);
    if (over->length == 0) {
        memmove(state, over->state, n * sizeof *state);
        return DW_OK;
    }
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

/* Apart from the shortest way, which would take half as long again with this one's room on the stack. */
static enum dw_status advance_any(struct dw_system *system, const struct dw_interval *over, double slack, double *state,
                                  struct dw_error *error)
{
    const struct chain *chain = stands_still(system, over) ? lately(system, over->length, slack) : NULL;
    if (!chain)
        return advance_by_cells(system, over, slack, state, error);
    advance_at_once(system, chain, over->length - chain->length, over, state);
    return DW_OK;
}

enum dw_status dw_system_advance(struct dw_system *system, const struct dw_interval *over, double slack, double *state,
                                 struct dw_error *error)
{
    const bool two = system->states == 2 && system->inputs == 1;
    const struct chain *chain = two && stands_still(system, over) ? lately(system, over->length, slack) : NULL;
    if (!chain)
        return advance_any(system, over, slack, state, error);
    advance_two(chain, over->length - chain->length, over, state);
    return DW_OK;
}
