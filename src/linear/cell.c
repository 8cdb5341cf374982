/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Bounds over a cell, by Taylor's formula with a remainder in the energy norm: docs/theory.md, (2.7) and (2.8). */
#include "linear/cell_inner.h"
#include <string.h>

enum { SERIES = 18 };  /* (1/2)^18 / 18! is below 1e-21 */

/* norm x length of a cell from which derivatives are carried: in shorter ones the noise of the last one, norm^4 2^-106 or norm^6
 * 2^-106 of the state, is worth less than 2^-50 of it */
#define NOISY 0x1p12
#define NOISY_CURVE 0x1p8
#define NEGLIGIBLE 1e-13  /* of a functional's scale: less is not looked into */
#define SPARE 0.125       /* of a derivative: its bound may be that much above it, which is one row in sixteen too many, or in thirty */

struct functional dwi_functional_of(const struct dw_system *system, const double *row, double scale)
{
    const size_t n = system->states, both = n + system->inputs;
    struct functional functional = { .row = row, .scale = scale };
    double rate[DW_STATES] = { 0 }, next[DW_STATES] = { 0 };
    memcpy(rate, row, n * sizeof *rate);
    for (size_t i = 0; i < both; i++) {
        if (row[i] != 0)
            functional.at[functional.count++] = (unsigned char)i;
        if (i + 1 == n)
            functional.states = functional.count;
    }
    functional.still = true;
    for (size_t j = 0; j < both; j++) {
        double moved = 0;
        for (size_t i = 0; i < n; i++)
            moved += fabs(row[i] * system->rate_high[i * both + j]) + fabs(row[i] * system->rate_low[i * both + j]);
        functional.still = functional.still && moved == 0;
    }
    for (unsigned k = 0; k < CURVE_ORDERS; k++) {
        functional.dual[k] = dwi_energy_dual(system, rate);
        for (size_t j = 0; j < n; j++) {
            next[j] = 0;
            for (size_t i = 0; i < n; i++)
                next[j] += rate[i] * system->rate_high[i * both + j];
        }
        memcpy(rate, next, n * sizeof *rate);
    }
    return functional;
}

/* The input's derivative k at a node, k of 1 and up, becomes the input of another. */
static inline void set_input_rate(const struct stretch *stretch, const struct node *node, unsigned k, struct node *to)
{
    const size_t n = stretch->system->states, m = stretch->system->inputs, from = n + k * m;
    for (size_t j = 0; j < m; j++) {
        struct doubled rate = doubled_of(0);
        if (stretch->curved && k <= POWERS)
            rate = (struct doubled){ node->high[from + j], node->low[from + j] };
        else if (k == 1)
            rate = stretch->slope[j];
        to->high[n + j] = rate.hi;
        to->low[n + j] = rate.lo;
    }
}

void dwi_rates_at(const struct stretch *stretch, const struct node *node, unsigned orders, struct rates *rates)
{
    const struct dw_system *system = stretch->system;
    const size_t n = system->states, both = n + system->inputs;
    const double *low = stretch_doubled(stretch) ? system->rate_low : NULL;
    const unsigned pushed = stretch->curved ? POWERS + 1 : low || !stretch->flat ? 2 : 1;  /* orders that the input has a part in */
    const struct node *from = node;
    struct node made[2];
    unsigned k = 1;
    rates->orders = orders;
    rates->node = node;
    memcpy(rates->order[0], node->high, n * sizeof node->high[0]);
    for (; k <= pushed; k++) {
        struct node *to = made + k % 2;
        dwi_block_apply(system->rate_high, low, n, both, from->high, from->low, to->high, to->low);
        memcpy(rates->order[k], to->high, n * sizeof to->high[0]);
        if (k < pushed)
            set_input_rate(stretch, node, k, to);
        from = to;
    }
    for (; k <= orders; k++)
        square_apply(system->rate_high, n, both, 1, rates->order[k - 1], rates->order[k]);
    for (k = 1; k <= orders; k++)
        rates->norm[k] = dwi_energy_norm(system, rates->order[k]);
}

void dwi_first_rate_at(const struct stretch *stretch, const struct node *node, struct rates *rates)
{
    const struct dw_system *system = stretch->system;
    const size_t n = system->states, m = system->inputs, both = n + m;
    double *rate = rates->order[1];
    square_apply(system->rate_high, n, both, 1, node->high, rate);
    for (size_t l = 0; l < stretch->lives; l++)
        for (size_t i = 0, j = n + stretch->live[l]; i < n; i++)
            rate[i] += system->rate_high[i * both + j] * node->high[j];
    rates->norm[1] = dwi_energy_norm(system, rate);
}

static void copy_state(double *high, double *low, const struct node *node, size_t n)
{
    memcpy(high, node->high, n * sizeof *high);
    memcpy(low, node->low, n * sizeof *low);
}

/* The better of two estimates of a derivative is the smaller one, since noise only adds; kept are its halves. */
static void keep_lesser(const struct dw_system *system, struct rates *rates, unsigned k, const struct node *other)
{
    const double norm = dwi_energy_norm(system, other->high);
    if (norm >= rates->norm[k])
        return;
    copy_state(rates->order[k], rates->low[k], other, system->states);
    rates->norm[k] = norm;
}

bool dwi_rates_need_carrying(const struct stretch *stretch, unsigned orders, double length)
{
    return stretch_doubled(stretch) && stretch->system->norm * length > (orders > ORDERS ? NOISY_CURVE : NOISY);
}

/* A cubic's derivatives from k on, as the input and derivatives of another node. */
static void set_rates_of_input(const struct stretch *stretch, const struct node *node, unsigned k, struct node *to)
{
    const size_t n = stretch->system->states, m = stretch->system->inputs;
    if (!stretch->curved || k > POWERS)
        return;
    memcpy(to->high + n, node->high + n + k * m, (POWERS + 1 - k) * m * sizeof to->high[0]);
    memcpy(to->low + n, node->low + n + k * m, (POWERS + 1 - k) * m * sizeof to->low[0]);
}

void dwi_rates_carry(const struct stretch *stretch, const struct node *node, const struct rates *before, unsigned orders,
                     unsigned level, double length, struct rates *rates)
{
    const struct dw_system *system = stretch->system;
    const size_t n = system->states, both = n + system->inputs;
    struct node from, to;
    rates->orders = orders;
    rates->node = node;
    copy_state(rates->order[0], rates->low[0], node, n);
    from = *node;
    for (unsigned k = 1; k <= orders; k++) {
        dwi_block_apply(system->rate_high, system->rate_low, n, both, from.high, from.low, to.high, to.low);
        copy_state(rates->order[k], rates->low[k], &to, n);
        rates->norm[k] = dwi_energy_norm(system, to.high);
        if (before && k >= 2) {
            memset(&to, 0, sizeof to);
            memcpy(to.high, before->order[k], n * sizeof to.high[0]);
            memcpy(to.low, before->low[k], n * sizeof to.low[0]);
            set_rates_of_input(stretch, before->node, k, &to);
            dwi_stretch_step(stretch, level, length, &to);
            keep_lesser(system, rates, k, &to);
        }
        memcpy(from.high, rates->order[k], n * sizeof from.high[0]);
        memcpy(from.low, rates->low[k], n * sizeof from.low[0]);
        set_input_rate(stretch, node, k, &from);
    }
}

static void add_curved(const struct stretch *stretch, const struct node *node, const struct functional *functional, struct slopes *slopes)
{
    const size_t n = stretch->system->states, m = stretch->system->inputs;
    for (unsigned k = 1; k <= POWERS; k++) {
        slopes->direct[k] = 0;
        for (unsigned i = functional->states; i < functional->count; i++) {
            const size_t at = functional->at[i];
            slopes->order[k] += functional->row[at] * node->high[at + k * m];
            slopes->direct[k] += fabs(functional->row[at]) * stretch->most[k][at - n];
        }
    }
}

void dwi_slopes_at(const struct stretch *stretch, const struct node *node, const struct rates *rates,
                   const struct functional *functional, struct slopes *slopes)
{
    const size_t n = stretch->system->states;
    slopes->order[0] = functional_at(functional, node);
    for (unsigned k = 1; k <= ORDERS || k <= rates->orders; k++)
        slopes->order[k] = functional_of_state(functional, rates->order[k]);
    if (stretch->curved) {
        add_curved(stretch, node, functional, slopes);
        return;
    }
    double direct = 0;
    for (unsigned i = functional->states; i < functional->count && !stretch->flat; i++)
        direct += functional->row[functional->at[i]] * stretch->slope[functional->at[i] - n].hi;
    slopes->order[1] += direct;
    slopes->direct[1] = fabs(direct);
}

/* Largest derivative of order k over a cell, but for the growth: c A^j times the state's derivative k - j, for the best j. With j > 0 that
 * derivative must be one that dies out by itself: order 2 and up, along cubics 4 and up, or 1 while the input stands still. A functional
 * that feels a fast state only through a weak coupling is bounded far better by it. */
static inline double largest_rate(const struct stretch *stretch, const struct rates *rates, const struct slopes *slopes,
                                  const struct functional *functional, unsigned k, double length)
{
    const unsigned lowest = stretch->flat ? 1 : stretch->curved ? POWERS + 1 : 2;
    double least = functional->dual[0] * rates->norm[k];
    if (k < lowest)
        least += functional->dual[0] * stretch->pushed[k] * length + slopes->direct[k];
    for (unsigned j = 1; k >= lowest + j; j++)
        least = lesser(least, functional->dual[j] * rates->norm[k - j]);
    return least;
}

/* Those of orders 1 and up, times the growth over the cell. */
static inline void largest_rates(const struct stretch *stretch, const struct rates *rates, const struct slopes *slopes,
                                 const struct functional *functional, unsigned orders, double length, double grown, double *largest)
{
    for (unsigned k = 1; k <= orders; k++)
        largest[k] = grown * largest_rate(stretch, rates, slopes, functional, k, length);
}

/* Bound on how far derivative `order` moves from its value at the start, within the cell. */
static inline double variation(const struct slopes *slopes, const double *largest, unsigned orders, unsigned order, double length)
{
    double least = INFINITY, sum = 0, power = length;
    for (unsigned k = order + 1; k <= orders; k++) {
        least = lesser(least, sum + largest[k] * power);
        sum += fabs(slopes->order[k]) * power;
        power *= length / (k - order + 1);
    }
    return least;
}

double dwi_growth_over(const struct stretch *stretch, double length)
{
    const double growth = stretch->system->growth * length;
    if (growth > 1) {
        const double share = stretch->chain->length / length;
        /* unrun: growth */
        const unsigned levels = stretch->chain->levels, level = share >= 1 ? (unsigned)ilogb(share) : 0;
        return share >= 1 ? stretch->chain->grown[level < levels ? level : levels] : 0;  /* unrun: growth */
    }
    /* (e^x - 1 - x) / x^2 rises with x, and is e - 2 at 1 */
    return 1 + growth + 0.7183 * growth * growth;
}

enum verdict dwi_judge_guard(const struct stretch *stretch, const struct rates *rates, const struct slopes *slopes,
                             const struct functional *guard, double length, double grown)
{
    const double *derivative = slopes->order;
    double largest[ORDERS + 1];
    if (grown == 0)
        return SPLIT;
    largest_rates(stretch, rates, slopes, guard, ORDERS, length, grown, largest);
    const double moves = variation(slopes, largest, ORDERS, 0, length);
    if (derivative[0] > moves)
        return CLEAR;
    if (moves <= NEGLIGIBLE * guard->scale || length <= SHORTEST * stretch->length)
        return ENDS_TELL;
    const double bends = variation(slopes, largest, ORDERS, 1, length);
    if (fabs(derivative[1]) > bends)
        return derivative[1] > 0 ? CLEAR : ENDS_TELL;
    const double twists = variation(slopes, largest, ORDERS, 2, length);
    if (fabs(derivative[2]) > twists) {
        if (derivative[2] < 0)
            return ENDS_TELL;
        if (derivative[1] >= 0)
            return CLEAR;
    }
    return SPLIT;
}

/* The rows' spacing is judged by derivative `orders` - 2, whose own second one is the last that is known. */
static inline enum verdict judge_rows(const struct stretch *stretch, const struct rates *rates, const struct slopes *slopes,
                                      const struct functional *output, unsigned orders, double off, double length, double grown,
                                      struct bend *bend)
{
    const unsigned bent = orders - 2;
    const double *derivative = slopes->order, square = length * length;
    const double reach = bent == 2 ? square / 8 : square * square / 384;
    double largest[CURVE_ORDERS + 1];
    largest_rates(stretch, rates, slopes, output, orders, length, grown, largest);
    bend->first = derivative[bent];
    bend->spare = largest[orders] * square / 8;
    bend->most = lesser(largest[bent], fabs(derivative[bent]) + variation(slopes, largest, orders, bent, length));
    const double negligible = bent == 2 ? NEGLIGIBLE * output->scale : lesser(NEGLIGIBLE * output->scale, off / 16);
    if (length <= SHORTEST * stretch->length || variation(slopes, largest, orders, 0, length) <= negligible)
        return CLEAR;
    const double end = derivative[bent] + length * derivative[bent + 1];  /* about: it only says whether a shorter cell is worth it */
    const bool known = bend->spare <= SPARE * larger(fabs(derivative[bent]), fabs(end));
    if (!known && bend->most * reach > off)
        return SPLIT;
    if (fabs(derivative[1]) > variation(slopes, largest, orders, 1, length))
        return CLEAR;
    return fabs(derivative[2]) > variation(slopes, largest, orders, 2, length) ? ENDS_TELL : SPLIT;
}

enum verdict dwi_judge_output(const struct stretch *stretch, const struct rates *rates, const struct slopes *slopes,
                              const struct functional *output, double off, double length, double grown, struct bend *bend)
{
    if (grown == 0)  /* unrun: growth */
        return SPLIT;
    if (rates->orders == ORDERS)
        return judge_rows(stretch, rates, slopes, output, ORDERS, off, length, grown, bend);
    return judge_rows(stretch, rates, slopes, output, CURVE_ORDERS, off, length, grown, bend);
}

/* Derivative of the functional at a node whose input is set. */
static double value_at(const struct stretch *stretch, const struct node *node, const struct functional *functional,
                       unsigned order)
{
    if (order == 0)
        return functional_at(functional, node);
    struct rates rates;
    struct slopes slopes;
    dwi_rates_at(stretch, node, ORDERS, &rates);
    dwi_slopes_at(stretch, node, &rates, functional, &slopes);
    return slopes.order[order];
}

/* Coefficients of derivative `order` along a cell, in the variable s = time / length: p(s) = sum c_j s^j; as many as are
 * worth more than 1e-21 of the largest derivative known. Returns their number. */
static unsigned cell_polynomial(const struct stretch *stretch, const struct node *node, double length,
                            const struct functional *functional, unsigned order, double coefficient[SERIES])
{
    const struct dw_system *system = stretch->system;
    const size_t n = system->states, both = n + system->inputs;
    struct rates rates;
    struct slopes slopes;
    dwi_rates_at(stretch, node, ORDERS, &rates);
    dwi_slopes_at(stretch, node, &rates, functional, &slopes);
    double state[DW_STATES], factor = 1, worth = 1;
    memcpy(state, rates.order[ORDERS], n * sizeof *state);
    unsigned j = 0;
    for (; j < SERIES && (j <= ORDERS - order || worth > 1e-21); j++) {
        const unsigned k = order + j;
        factor *= j == 0 ? 1 : length / j;
        worth *= j == 0 ? 1 : system->norm * length / j;
        if (k <= ORDERS) {
            coefficient[j] = factor * slopes.order[k];
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
    return j;
}

/* Term k of the Taylor series of input j over a cell, k of 1 and up. */
static inline double input_term(const struct stretch *stretch, const struct node *node, size_t j, unsigned k, double length)
{
    const double *derivative = node->high + stretch->system->states + k * stretch->system->inputs;
    if (!stretch->curved)
        return k == 1 ? stretch->slope[j].hi * length : 0;
    return k > POWERS ? 0 : derivative[j] * (k == 3 ? length * length * length / 6 : k == 2 ? length * length / 2 : length);
}

void dwi_cell_solution(const struct stretch *stretch, const struct node *node, double length, struct solution *solution)
{
    const struct dw_system *system = stretch->system;
    const size_t n = system->states, m = system->inputs, both = n + m;
    const double reach = system->norm * length;
    const unsigned fed = stretch->curved ? POWERS + 1 : 2;  /* later terms take nothing from the input */
    double term[NODE_WIDTH], bound = 1;
    memcpy(term, node->high, both * sizeof *term);
    memcpy(solution->term, node->high, n * sizeof *term);
    unsigned k = 1;
    for (; k < SOLUTION && (k <= fed || bound > 0x1p-56); k++) {  /* unrun: count */
        double *next = solution->term + k * n;
        const double *row = system->rate_high, share = length / k;
        const size_t used = k <= fed ? both : n;
        if (used == n || (k == 2 && stretch->flat)) {
            square_apply(row, n, both, share, next - n, next);
            bound *= reach / k;
            continue;
        }
        for (size_t i = 0; i < n; i++, row += both) {
            double sum = 0;
            for (size_t j = 0; j < used; j++)
                sum += row[j] * term[j];
            next[i] = share * sum;
        }
        memcpy(term, next, n * sizeof *term);
        for (size_t j = 0; j < m; j++)
            term[n + j] = input_term(stretch, node, j, k, length);
        bound *= reach / k;
    }
    solution->count = k;
}

/* Horner's form, inlined for each usual number of states. */
static inline void sum_series(const struct solution *solution, double share, double *state, const size_t n)
{
    const double *term = solution->term + (solution->count - 1) * n;
    memcpy(state, term, n * sizeof *state);
    while (term > solution->term) {
        term -= n;
        for (size_t i = 0; i < n; i++)
            state[i] = state[i] * share + term[i];
    }
}

void dwi_solution_at(const struct solution *solution, size_t states, double share, double *state)
{
    switch (states) {
    case 1: sum_series(solution, share, state, 1); break;
    case 2: sum_series(solution, share, state, 2); break;
    case 3: sum_series(solution, share, state, 3); break;
    default: sum_series(solution, share, state, states);
    }
}

/* Root of the polynomial in 0..1, at or above zero at 0 and below at 1 after multiplying by the sign: Newton's steps, halved
 * intervals where they leave the bracket. */
static double polynomial_crossing(const double *coefficient, unsigned count, double sign)
{
    double low = 0, high = 1, end = 0;
    for (unsigned j = 0; j < count; j++)
        end += coefficient[j];
    const double chord = coefficient[0] / (coefficient[0] - end);
    double s = chord > 0 && chord < 1 ? chord : 0.5;
    for (int i = 0; i < 120 && high - low > 0x1p-56; i++) {
        double value = coefficient[count - 1], slope = 0;
        for (unsigned j = count - 1; j-- > 0;) {
            slope = slope * s + value;
            value = value * s + coefficient[j];
        }
        if (sign * value >= 0)
            low = s;
        else
            high = s;
        const double newton = s - value / slope;
        if (fabs(newton - s) <= 0x1p-53)
            break;  /* a step of an ulp: there is nothing nearer */
        s = newton > low && newton < high ? newton : low + (high - low) / 2;
    }
    return s;
}

/* The same by the series of the solution, which then gives the state there, too: for plain double.
 *   order   0 or 1
 *   returns share of the cell; node: in at its start with the input part set, out the state at the root */
static double crossing_by_solution(const struct stretch *stretch, struct node *node, double length,
                                   const struct functional *functional, unsigned order, double sign)
{
    const size_t n = stretch->system->states;
    struct solution solution;
    double coefficient[SOLUTION] = { 0 };
    dwi_cell_solution(stretch, node, length, &solution);
    for (unsigned k = 0; k < solution.count; k++)
        coefficient[k] = functional_of_state(functional, solution.term + k * n);
    coefficient[0] = functional_at(functional, node);
    for (unsigned i = functional->states; i < functional->count && !stretch->flat; i++)
        for (unsigned k = 1; k <= (stretch->curved ? POWERS : 1); k++)
            coefficient[k] += functional->row[functional->at[i]] * input_term(stretch, node, functional->at[i] - n, k, length);
    for (unsigned k = 1; k < solution.count && order == 1; k++)
        coefficient[k - 1] = k * coefficient[k];
    const double share = polynomial_crossing(coefficient, solution.count - order, sign);
    dwi_solution_at(&solution, n, share, node->high);
    return share;
}

void dwi_find_crossing(const struct stretch *stretch, struct position position, unsigned level, double length,
                       const struct functional *functional, unsigned order, double sign, struct doubled *offset,
                       struct node *node)
{
    const unsigned levels = stretch->chain->levels;
    const size_t n = stretch->system->states;
    double high[DW_STATES], low[DW_STATES];
    dwi_stretch_input(stretch, position, length, node);
    while (level < levels && stretch->system->norm * length > 0.5) {
        level++;
        length /= 2;
        copy_state(high, low, node, n);
        if (!stretch->flat)
            dwi_stretch_input(stretch, position, length, node);
        dwi_stretch_step(stretch, level, length, node);
        const struct position after = dwi_stretch_after(stretch, position, level, length);
        if (!stretch->flat)
            dwi_stretch_input(stretch, after, length, node);
        if (sign * value_at(stretch, node, functional, order) >= 0) {
            position = after;
        } else {
            memcpy(node->high, high, n * sizeof *high);
            memcpy(node->low, low, n * sizeof *low);
        }
    }
    dwi_stretch_input(stretch, position, length, node);
    double run = 0;
    if (stretch_doubled(stretch)) {
        double coefficient[SERIES];
        const unsigned count = cell_polynomial(stretch, node, length, functional, order, coefficient);
        run = length * polynomial_crossing(coefficient, count, sign);
        dwi_stretch_input(stretch, position, run, node);
        dwi_stretch_step(stretch, levels + 1, run, node);
    } else {
        run = length * crossing_by_solution(stretch, node, length, functional, order, sign);
    }
    *offset = doubled_sum(dwi_stretch_offset(stretch, position), doubled_of(run));
    if (!stretch->flat)
        dwi_stretch_input(stretch, dwi_stretch_seek(stretch, *offset), 0, node);
}
