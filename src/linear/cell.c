/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Bounds over a cell, by Taylor's formula with a remainder in the energy norm: docs/theory.md, (2.7) and (2.8). */
#include "linear/cell_inner.h"
#include <string.h>

enum { SERIES = 18 };  /* (1/2)^18 / 18! is below 1e-21 */

#define NEGLIGIBLE 1e-13  /* of a functional's scale: less is not looked into */
#define SHORTEST 1e-13    /* of a stretch: cells are not split further */

void rates_at(const struct stretch *stretch, const struct node *node, struct rates *rates)
{
    const struct dw_system *system = stretch->system;
    const size_t n = system->states, m = system->inputs, both = n + m;
    const double *low = stretch_doubled(stretch) ? system->rate_low : NULL;
    struct node slope;
    memcpy(rates->order[0], node->high, n * sizeof node->high[0]);
    rates->input = node->high + n;
    block_apply(system->rate_high, low, n, both, node->high, node->low, slope.high, slope.low);
    for (size_t j = 0; j < m; j++) {
        slope.high[n + j] = stretch->slope[j].hi;
        slope.low[n + j] = stretch->slope[j].lo;
        rates->slope[j] = stretch->slope[j].hi;
    }
    memcpy(rates->order[1], slope.high, n * sizeof slope.high[0]);
    struct node second;
    block_apply(system->rate_high, low, n, both, slope.high, slope.low, second.high, second.low);
    memcpy(rates->order[2], second.high, n * sizeof second.high[0]);
    for (unsigned k = 3; k <= ORDERS; k++)
        for (size_t i = 0; i < n; i++) {
            const double *row = system->rate_high + i * both;
            double sum = 0;
            for (size_t j = 0; j < n; j++)
                sum += row[j] * rates->order[k - 1][j];
            rates->order[k][i] = sum;
        }
    for (unsigned k = 1; k <= ORDERS; k++)
        rates->norm[k] = energy_norm(system, rates->order[k]);
}

double functional_rate(const struct stretch *stretch, const struct rates *rates, const struct functional *functional,
                       unsigned order)
{
    const size_t n = stretch->system->states, m = stretch->system->inputs;
    const double *row = functional->row, *state = rates->order[order];
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += row[i] * state[i];
    if (order <= 1) {
        const double *input = order == 0 ? rates->input : rates->slope;
        for (size_t j = 0; j < m; j++)
            sum += row[n + j] * input[j];
    }
    return sum;
}

/* What the input's slope adds to the first derivative of a functional, in size; higher ones have none of it. */
static double direct_slope(const struct stretch *stretch, const struct rates *rates, const struct functional *functional)
{
    const size_t n = stretch->system->states;
    double sum = 0;
    for (size_t j = 0; j < stretch->system->inputs; j++)
        sum += functional->row[n + j] * rates->slope[j];
    return fabs(sum);
}

/* Bound on how far derivative `order` moves from its value at the start, within the cell; direct as above. */
static double variation(const struct rates *rates, const double *derivative, double dual, double grown, unsigned order,
                        double direct, double length)
{
    double least = INFINITY, sum = 0, power = length;
    for (unsigned k = order + 1; k <= ORDERS; k++) {
        least = fmin(least, sum + (dual * grown * rates->norm[k] + (k == 1 ? direct : 0)) * power);
        sum += fabs(derivative[k]) * power;
        power *= length / (k - order + 1);
    }
    return least;
}

enum verdict judge_guard(const struct stretch *stretch, const struct rates *rates, const struct functional *guard,
                         double length)
{
    const double growth = stretch->system->growth * length;
    double derivative[ORDERS + 1];
    if (growth > 1)
        return SPLIT;
    const double grown = growth > 0 ? exp(growth) : 1;
    for (unsigned k = 0; k <= ORDERS; k++)
        derivative[k] = functional_rate(stretch, rates, guard, k);
    const double moves = variation(rates, derivative, guard->dual, grown, 0, direct_slope(stretch, rates, guard), length);
    if (derivative[0] > moves)
        return CLEAR;
    if (moves <= NEGLIGIBLE * guard->scale || length <= SHORTEST * stretch->length)
        return ENDS_TELL;
    const double bends = variation(rates, derivative, guard->dual, grown, 1, 0, length);
    if (fabs(derivative[1]) > bends)
        return derivative[1] > 0 ? CLEAR : ENDS_TELL;
    const double twists = variation(rates, derivative, guard->dual, grown, 2, 0, length);
    if (fabs(derivative[2]) > twists) {
        if (derivative[2] < 0)
            return ENDS_TELL;
        if (derivative[1] >= 0)
            return CLEAR;
    }
    return SPLIT;
}

enum verdict judge_output(const struct stretch *stretch, const struct rates *rates, const struct functional *output,
                          double chord, double length)
{
    const double growth = stretch->system->growth * length;
    double derivative[ORDERS + 1];
    if (growth > 1)
        return SPLIT;
    const double grown = growth > 0 ? exp(growth) : 1;
    derivative[0] = 0;
    for (unsigned k = 1; k <= ORDERS; k++)
        derivative[k] = functional_rate(stretch, rates, output, k);
    const double moves = variation(rates, derivative, output->dual, grown, 0, direct_slope(stretch, rates, output), length);
    if (length <= SHORTEST * stretch->length || moves <= NEGLIGIBLE * output->scale)
        return CLEAR;
    const double twists = variation(rates, derivative, output->dual, grown, 2, 0, length);
    const double second = fmin(output->dual * grown * rates->norm[2], fabs(derivative[2]) + twists);
    if (second * length * length / 8 > chord && 2 * moves > chord)
        return SPLIT;
    const double bends = variation(rates, derivative, output->dual, grown, 1, 0, length);
    if (fabs(derivative[1]) > bends)
        return CLEAR;
    return fabs(derivative[2]) > twists ? ENDS_TELL : SPLIT;
}

/* Derivative of the functional at a node whose input is set. */
static double value_at(const struct stretch *stretch, const struct node *node, const struct functional *functional,
                       unsigned order)
{
    struct rates rates;
    rates_at(stretch, node, &rates);
    return functional_rate(stretch, &rates, functional, order);
}

/* Coefficients of derivative `order` along a cell, in the variable s = time / length: p(s) = sum c_j s^j. */
static void cell_polynomial(const struct stretch *stretch, const struct node *node, double length,
                            const struct functional *functional, unsigned order, double coefficient[SERIES])
{
    const struct dw_system *system = stretch->system;
    const size_t n = system->states, both = n + system->inputs;
    struct rates rates;
    rates_at(stretch, node, &rates);
    double state[DW_STATES], factor = 1;
    memcpy(state, rates.order[ORDERS], n * sizeof *state);
    for (unsigned j = 0; j < SERIES; j++) {
        const unsigned k = order + j;
        factor *= j == 0 ? 1 : length / j;
        if (k <= ORDERS) {
            coefficient[j] = factor * functional_rate(stretch, &rates, functional, k);
            continue;
        }
        double next[DW_STATES], sum = 0;
        for (size_t i = 0; i < n; i++) {
            const double *row = system->rate_high + i * both;
            next[i] = 0;
            for (size_t l = 0; l < n; l++)
                next[i] += row[l] * state[l];
            sum += functional->row[i] * next[i];
        }
        memcpy(state, next, n * sizeof *state);
        coefficient[j] = factor * sum;
    }
}

/* Root of the polynomial in 0..1, at or above zero at 0 and below at 1 after multiplying by the sign: Newton's steps, halved
 * intervals where they leave the bracket. */
static double polynomial_crossing(const double coefficient[SERIES], double sign)
{
    double low = 0, high = 1, s = 0.5;
    for (int i = 0; i < 120 && high - low > 0x1p-56; i++) {
        double value = coefficient[SERIES - 1], slope = 0;
        for (unsigned j = SERIES - 1; j-- > 0;) {
            slope = slope * s + value;
            value = value * s + coefficient[j];
        }
        if (sign * value >= 0)
            low = s;
        else
            high = s;
        const double newton = s - value / slope;
        const double next = newton > low && newton < high ? newton : low + (high - low) / 2;
        if (next == s)
            break;
        s = next;
    }
    return s;
}

void find_crossing(const struct stretch *stretch, struct position position, unsigned level, double length,
                   const struct functional *functional, unsigned order, double sign, struct doubled *offset,
                   struct node *node)
{
    const unsigned levels = stretch->chain->levels;
    while (level < levels && stretch->system->norm * length > 0.5) {
        level++;
        length /= 2;
        struct node middle = *node;
        stretch_input(stretch, position, length, &middle);
        stretch_step(stretch, level, length, &middle);
        const struct position after = stretch_after(stretch, position, level, length);
        stretch_input(stretch, after, length, &middle);
        if (sign * value_at(stretch, &middle, functional, order) >= 0) {
            position = after;
            *node = middle;
        }
    }
    double coefficient[SERIES];
    stretch_input(stretch, position, length, node);
    cell_polynomial(stretch, node, length, functional, order, coefficient);
    const double run = length * polynomial_crossing(coefficient, sign);
    stretch_input(stretch, position, run, node);
    stretch_step(stretch, levels + 1, run, node);
    *offset = doubled_sum(stretch_offset(stretch, position), doubled_of(run));
    stretch_input(stretch, stretch_seek(stretch, *offset), 0, node);
}
