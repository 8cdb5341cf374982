/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One straight line or cubic of the input: positions on the chain's grid, cells, and steps over them. */
#include "linear/system_inner.h"
#include <float.h>
#include <string.h>

#define CHORD (4 * DBL_EPSILON)  /* slopes so near to the chord's are a line's */
#define NO_BEND 1e-30            /* s; over less a cubic is a line: nothing moves, and powers of its slopes are beyond numbers */

bool dwi_interval_powers(const struct dw_interval *over, size_t j, size_t apart, struct doubled w[POWERS + 1])
{
    const struct doubled rise = exact_sum(over->end[j], -over->start[j]), length = doubled_of(over->length);
    const double chord = rise.hi / over->length;
    w[0] = doubled_of(over->start[j]);
    w[1] = rise;
    w[2] = w[3] = doubled_of(0);
    if (!over->slope || over->length < NO_BEND)
        return false;
    const double first = over->slope[j], last = over->slope[apart + j];
    if (!isfinite(first) || !isfinite(last) || (fabs(first - chord) <= CHORD * fabs(chord) && fabs(last - chord) <= CHORD * fabs(chord)))
        return false;
    w[1] = doubled_product(doubled_of(first), length);
    const struct doubled begins = doubled_difference(rise, w[1]), ends = doubled_difference(rise, doubled_product(doubled_of(last), length));
    w[2] = doubled_sum(doubled_scaled(begins, 2), ends);
    w[3] = doubled_minus(doubled_sum(begins, ends));
    return true;
}

void dwi_stretch_bend(struct stretch *stretch, size_t j, const struct doubled w[POWERS + 1], double length)
{
    const struct doubled once = doubled_of(length), twice = exact_product(length, length);
    stretch->slope[j] = doubled_quotient(w[1], once);
    stretch->second[j] = doubled_quotient(doubled_scaled(w[2], 2), twice);
    stretch->third[j] = doubled_quotient(doubled_product(doubled_of(6), w[3]), doubled_product(twice, once));
    /* u'' is a line, and u' lies between its Bezier points */
    const double bends = fabs(stretch->second[j].hi), bent = fabs(stretch->second[j].hi + length * stretch->third[j].hi);
    const double middle = stretch->slope[j].hi + length / 2 * stretch->second[j].hi;
    const double last = middle + length / 2 * (stretch->second[j].hi + length * stretch->third[j].hi);
    stretch->most[1][j] = fmax(fabs(stretch->slope[j].hi), fmax(fabs(middle), fabs(last))) * (1 + 8 * DBL_EPSILON);
    stretch->most[2][j] = fmax(bends, bent) * (1 + 8 * DBL_EPSILON);
    stretch->most[3][j] = fabs(stretch->third[j].hi);
}

/* Gives each input its cubic, where one is. */
static void set_curves(struct stretch *stretch, const struct dw_interval *over)
{
    const size_t m = stretch->system->inputs;
    struct doubled w[SYSTEM_INPUTS][POWERS + 1];
    for (size_t j = 0; j < m; j++)
        stretch->curved = dwi_interval_powers(over, j, m, w[j]) || stretch->curved;
    if (!stretch->curved)
        return;
    stretch->flat = false;
    memset(stretch->pushed, 0, sizeof stretch->pushed);
    for (size_t j = 0; j < m; j++) {
        dwi_stretch_bend(stretch, j, w[j], over->length);
        for (unsigned k = 1; k <= POWERS; k++)
            stretch->pushed[k] += stretch->system->push[j] * stretch->most[k][j];
    }
}

enum dw_status dwi_stretch_set(struct stretch *stretch, struct dw_system *system, const struct dw_interval *over, double slack,
                               struct dw_error *error)
{
    const double length = over->length, *const start = over->start, *const end = over->end;
    struct chain *chain = NULL;
    const enum dw_status status = dwi_system_chain(system, length, slack, &chain, error);
    if (status != DW_OK)
        return status;
    stretch->system = system;
    stretch->chain = chain;
    stretch->length = length;
    stretch->unit = chain->unit;
    stretch->count = (uint64_t)1 << chain->levels;
    stretch->tail = length - chain->length;
    if (length < chain->length && chain->length - length > stretch->unit / 2) {
        const struct position end_position = dwi_stretch_seek(stretch, doubled_of(length));
        stretch->count = end_position.index;
        stretch->tail = end_position.rest;
    }
    stretch->flat = true;
    stretch->curved = false;
    stretch->lives = 0;
    stretch->pushed[1] = 0;
    for (size_t j = 0; j < system->inputs; j++) {
        stretch->start[j] = start[j];
        if (start[j] != 0)
            stretch->live[stretch->lives++] = (unsigned char)j;
        stretch->slope[j] = doubled_of(0);
        if (end[j] != start[j]) {
            stretch->slope[j] = doubled_quotient(exact_sum(end[j], -start[j]), doubled_of(length));
            stretch->pushed[1] += system->push[j] * fabs(stretch->slope[j].hi);
            stretch->flat = false;
        }
    }
    if (over->slope)
        set_curves(stretch, over);
    return stretch->curved ? dwi_chain_bend(system, chain, error) : DW_OK;
}

/* index times the unit, exact: an index may have more than 53 bits. */
static struct doubled on_grid(const struct stretch *stretch, uint64_t index)
{
    const double upper = (double)(index >> 32) * 0x1p32, lower = (double)(index & 0xffffffffu);
    return doubled_sum(exact_product(upper, stretch->unit), exact_product(lower, stretch->unit));
}

/* The same where a double does not hold the index: its rounding is off by a few units, which the rest tells. */
static struct position seek_far(const struct stretch *stretch, struct doubled offset)
{
    enum { TRIALS = 4 };  /* the first puts it right; the second, a rest that is a rounding below a unit */
    uint64_t index = (uint64_t)(offset.hi / stretch->unit);
    double rest = 0;
    for (int i = 0; i < TRIALS; i++) {  /* unrun: count */
        rest = doubled_difference(offset, on_grid(stretch, index)).hi;
        const double off = floor(rest / stretch->unit);
        if (off == 0)
            break;
        index = off < 0 ? index - (uint64_t)-off : index + (uint64_t)off;
    }
    return (struct position){ index, fmax(rest, 0) };
}

struct position dwi_stretch_seek(const struct stretch *stretch, struct doubled offset)
{
    if (offset.hi == 0 && offset.lo == 0)  /* unrun: rounding */
        return (struct position){ 0, 0 };
    double index = floor(offset.hi / stretch->unit);
    if (index >= 0x1p52)
        return seek_far(stretch, offset);
    struct doubled rest = doubled_difference(offset, exact_product(index, stretch->unit));
    while (rest.hi < 0) {
        index -= 1;
        rest = doubled_difference(offset, exact_product(index, stretch->unit));
    }
    if (rest.hi >= stretch->unit) {  /* unrun: rounding */
        index += 1;
        rest = doubled_difference(offset, exact_product(index, stretch->unit));
    }
    return (struct position){ (uint64_t)fmax(index, 0), fmax(rest.hi, 0) };
}

struct doubled dwi_stretch_offset(const struct stretch *stretch, struct position position)
{
    /* an index may have more than 53 bits */
    const double upper = (double)(position.index >> 32) * 0x1p32, lower = (double)(position.index & 0xffffffffu);
    const struct doubled grid = exact_sum(upper * stretch->unit, lower * stretch->unit);
    return position.rest == 0 ? grid : doubled_sum(grid, doubled_of(position.rest));
}

bool dwi_stretch_at_end(const struct stretch *stretch, struct position position)
{
    return position.index > stretch->count ||  /* unrun: rounding */
           (position.index == stretch->count && (stretch->tail < 0 ? position.rest != 0 : position.rest >= stretch->tail));
}

unsigned dwi_stretch_cell(const struct stretch *stretch, struct position position, double *length)
{
    const unsigned levels = stretch->chain->levels;
    if (position.index == stretch->count) {
        *length = stretch->tail - position.rest;
        return levels + 1;
    }
    if (position.rest != 0) {
        *length = stretch->unit - position.rest;
        return levels + 1;
    }
    const uint64_t left = stretch->count - position.index;
    unsigned up = position.index ? (unsigned)__builtin_ctzll(position.index) : levels;
    const unsigned fits = 63u - (unsigned)__builtin_clzll(left);
    up = up < fits ? up : fits;
    up = up < levels ? up : levels;
    *length = stretch->unit * (double)((uint64_t)1 << up);
    return levels - up;
}

/* The input at an offset, by Horner's form, and its derivatives behind it. */
static void set_curved_input(const struct stretch *stretch, struct doubled offset, struct node *node)
{
    const size_t n = stretch->system->states, m = stretch->system->inputs;
    for (size_t j = 0; j < m; j++) {
        const struct doubled third = stretch->third[j], second = stretch->second[j];
        const struct doubled gained = doubled_product(third, offset), half = doubled_scaled(doubled_product(offset, offset), 0.5);
        const struct doubled sum = doubled_sum(second, doubled_quotient(gained, doubled_of(3)));
        struct doubled at[POWERS + 1];
        at[0] = doubled_sum(doubled_of(stretch->start[j]), doubled_sum(doubled_product(stretch->slope[j], offset), doubled_product(half, sum)));
        at[1] = doubled_sum(stretch->slope[j], doubled_product(offset, doubled_sum(second, doubled_scaled(gained, 0.5))));
        at[2] = doubled_sum(second, gained);
        at[3] = third;
        for (unsigned k = 0; k <= POWERS; k++) {
            node->high[n + k * m + j] = at[k].hi;
            node->low[n + k * m + j] = at[k].lo;
        }
    }
}

void dwi_stretch_input(const struct stretch *stretch, struct position position, double length, struct node *node)
{
    const size_t n = stretch->system->states, m = stretch->system->inputs;
    double *high = node->high + n, *low = node->low + n;
    if (stretch->flat) {
        memcpy(high, stretch->start, m * sizeof *high);
        memset(high + m, 0, m * sizeof *high);
        memset(low, 0, 2 * m * sizeof *low);
        return;
    }
    const struct doubled offset = dwi_stretch_offset(stretch, position);
    if (stretch->curved) {
        set_curved_input(stretch, offset, node);
        return;
    }
    for (size_t j = 0; j < m; j++) {
        const struct doubled rise = doubled_product(stretch->slope[j], offset);
        const struct doubled here = doubled_sum(doubled_of(stretch->start[j]), rise);
        const struct doubled over = doubled_product(stretch->slope[j], doubled_of(length));
        high[j] = here.hi;
        low[j] = here.lo;
        high[m + j] = over.hi;
        low[m + j] = over.lo;
    }
}

static void add_state(struct node *node, size_t n, const double *high, const double *low)
{
    if (!low) {
        for (size_t i = 0; i < n; i++)
            node->high[i] += high[i];
        return;
    }
    for (size_t i = 0; i < n; i++) {
        const struct doubled x = { node->high[i], node->low[i] }, added = { high[i], low[i] };
        const struct doubled sum = doubled_sum(x, added);
        node->high[i] = sum.hi;
        node->low[i] = sum.lo;
    }
}

static void scale_doubled(double *high, double *low, size_t count, struct doubled factor)
{
    for (size_t i = 0; i < count; i++) {
        const struct doubled scaled = doubled_product((struct doubled){ high[i], low[i] }, factor);
        high[i] = scaled.hi;
        low[i] = scaled.lo;
    }
}

/* (x | u | w1 | w2 | w3) over a cell: the input's derivatives become powers of the cell's share. In plain double no low halves are set. */
static void set_powers(const struct stretch *stretch, double length, const struct node *node, struct node *z)
{
    const size_t n = stretch->system->states, m = stretch->system->inputs, width = stretch_width(stretch);
    struct doubled factor = doubled_of(length);
    memcpy(z->high, node->high, width * sizeof z->high[0]);
    if (stretch_doubled(stretch))
        memcpy(z->low, node->low, width * sizeof z->low[0]);
    for (unsigned k = 1; k <= POWERS; k++) {
        double *const high = z->high + n + k * m;
        if (stretch_doubled(stretch))
            scale_doubled(high, z->low + n + k * m, m, factor);
        for (size_t j = 0; j < m && !stretch_doubled(stretch); j++)
            high[j] *= factor.hi;
        factor = doubled_quotient(doubled_product(factor, doubled_of(length)), doubled_of(k + 1));
    }
}

/* out += factor * B u, rows of a block so far apart from which B's part begins: input that stands still has only its live ones. */
static inline void add_inputs(const struct stretch *stretch, const double *block, size_t apart, double factor, const double *input,
                              double *out)
{
    const size_t n = stretch->system->states, m = stretch->flat ? stretch->lives : stretch->system->inputs;
    for (size_t l = 0; l < m; l++) {
        const size_t j = stretch->flat ? stretch->live[l] : l;
        const double u = factor * input[j];
        for (size_t i = 0; i < n; i++)
            out[i] += block[i * apart + j] * u;
    }
}

/* Whether the terms after one of order k are nothing beside the largest: each is at most reach / (order) times the one before.
 * Squares that might have left the range of numbers prove nothing. */
static inline bool rest_is_nothing(double squared, double largest, double reach, unsigned k)
{
    const double share = reach / (k + 1), rest = share / (1 - share);
    /* unrun: extreme-states */
    return largest > 1e-200 && largest < 1e200 && share < 1 && squared * rest * rest <= 0x1p-112 * largest;
}

/* Taylor's series of the solution over a length with norm x length below about one: terms z_k = (A z_k-1 + B ...) l / k, the input
 * part of the first its rise. docs/theory.md, (2.6). In plain double: ended by what the terms have come to. */
static void step_by_plain_series(const struct stretch *stretch, double length, struct node *node)
{
    const struct dw_system *system = stretch->system;
    const size_t n = system->states, m = system->inputs, both = n + m;
    const double reach = system->norm * fabs(length), *rate = system->rate_high;
    const unsigned fed = stretch->flat ? 0 : stretch->curved ? POWERS : 1;  /* terms after the first that take something from the input */
    double terms[2][DW_STATES], *term = terms[0], *next = terms[1], bound = 1;
    struct node powers;
    const double *rises = node->high + both;
    if (stretch->curved) {
        set_powers(stretch, length, node, &powers);
        rises = powers.high + both;
    }
    square_apply(rate, n, both, length, node->high, term);
    add_inputs(stretch, rate + n, both, length, node->high + n, term);
    double squared = energy_square(system, term), largest = squared;
    add_state(node, n, term, NULL);
    for (unsigned k = 1; k <= fed || bound > 0x1p-56;) {
        if (k > fed && rest_is_nothing(squared, largest, reach, k))
            break;
        k++;
        square_apply(rate, n, both, length / k, term, next);
        if (k <= fed + 1)
            add_inputs(stretch, rate + n, both, length / k, rises + (k - 2) * m, next);
        double *const last = term;
        term = next;
        next = last;
        add_state(node, n, term, NULL);
        squared = energy_square(system, term);
        largest = squared > largest ? squared : largest;
        bound *= reach / k;
    }
}

/* The same in doubled precision, ended by the bound on its terms. */
static void step_by_series(const struct stretch *stretch, double length, struct node *node)
{
    const struct dw_system *system = stretch->system;
    const size_t n = system->states, m = system->inputs, both = n + m;
    const double reach = system->norm * fabs(length);
    double term_high[NODE_WIDTH], term_low[NODE_WIDTH], next_high[DW_STATES], next_low[DW_STATES];
    memcpy(term_high, node->high, both * sizeof *term_high);
    memcpy(term_low, node->low, both * sizeof *term_low);
    double bound = 1;
    const unsigned fed = stretch->curved ? POWERS : 1;
    struct node powers;
    const struct node *rises = node;
    if (stretch->curved) {
        set_powers(stretch, length, node, &powers);
        rises = &powers;
    }
    for (unsigned k = 1; k <= fed || bound > 0x1p-108; k++) {
        dwi_block_apply(system->rate_high, system->rate_low, n, both, term_high, term_low, next_high, next_low);
        scale_doubled(next_high, next_low, n, doubled_quotient(doubled_of(length), doubled_of(k)));
        memcpy(term_low, next_low, n * sizeof *term_low);
        memcpy(term_high, next_high, n * sizeof *term_high);
        add_state(node, n, next_high, next_low);
        /* the second term starts from the rise of the input, later ones from its higher powers or none */
        for (size_t j = 0; j < m; j++) {
            term_high[n + j] = k <= fed ? rises->high[n + k * m + j] : 0;
            term_low[n + j] = k <= fed ? rises->low[n + k * m + j] : 0;
        }
        bound *= k == 1 ? 1 : reach / k;
    }
}

/* Over a cell of the chain along cubics. */
static void step_curved(const struct stretch *stretch, unsigned level, double length, struct node *node)
{
    const struct chain *chain = stretch->chain;
    const size_t n = stretch->system->states, m = stretch->system->inputs, width = stretch->system->width;
    const size_t at = level * n * width, bent = level * n * 2 * m;
    struct node z;
    double high[DW_STATES], low[DW_STATES];
    set_powers(stretch, length, node, &z);
    dwi_block_apply(chain->high + at, chain->low ? chain->low + at : NULL, n, width, z.high, z.low, high, low);
    add_state(node, n, high, chain->low ? low : NULL);
    dwi_block_apply(chain->bent_high + bent, chain->low ? chain->bent_low + bent : NULL, n, 2 * m, z.high + width, z.low + width, high, low);
    add_state(node, n, high, chain->low ? low : NULL);
}

void dwi_stretch_step(const struct stretch *stretch, unsigned level, double length, struct node *node)
{
    const struct chain *chain = stretch->chain;
    const size_t n = stretch->system->states, width = stretch->system->width;
    if (level > chain->levels) {
        (stretch_doubled(stretch) ? step_by_series : step_by_plain_series)(stretch, length, node);
        return;
    }
    if (stretch->curved) {
        step_curved(stretch, level, length, node);
        return;
    }
    double high[DW_STATES], low[DW_STATES];
    const size_t at = level * n * width;
    if (!chain->low && !stretch->flat) {
        dwi_block_apply(chain->high + at, NULL, n, width, node->high, NULL, high, NULL);
        add_state(node, n, high, NULL);
    } else if (!chain->low) {
        square_apply(chain->high + at, n, width, 1, node->high, high);
        add_inputs(stretch, chain->high + at + n, width, 1, node->high + n, high);
        add_state(node, n, high, NULL);
    } else {
        dwi_block_apply(chain->high + at, chain->low + at, n, width, node->high, node->low, high, low);
        add_state(node, n, high, low);
    }
}

struct position dwi_stretch_after(const struct stretch *stretch, struct position position, unsigned level, double length)
{
    const unsigned levels = stretch->chain->levels;
    if (level <= levels) {
        position.index += (uint64_t)1 << (levels - level);
        return position;
    }
    double most = 0;
    dwi_stretch_cell(stretch, position, &most);
    if (position.rest == 0 && position.index < stretch->count)
        most = stretch->unit;  /* a piece of a unit that begins on the grid */
    if (length != most) {
        position.rest += length;
    } else if (position.index < stretch->count) {
        position.index++;
        position.rest = 0;
    } else {
        position.rest = stretch->tail;
    }
    return position;
}

void dwi_stretch_move(const struct stretch *stretch, struct position *position, struct doubled offset, bool homogeneous,
                      struct node *node)
{
    const size_t n = stretch->system->states, inputs = stretch_width(stretch) - n;
    const struct position goal = dwi_stretch_seek(stretch, offset);
    if (homogeneous) {
        memset(node->high + n, 0, inputs * sizeof *node->high);
        memset(node->low + n, 0, inputs * sizeof *node->low);
    }
    for (;;) {
        double length = 0;
        unsigned level = dwi_stretch_cell(stretch, *position, &length);
        const unsigned levels = stretch->chain->levels;
        if (position->index >= goal.index || position->index == stretch->count) {  /* unrun: rounding */
            const struct doubled here = dwi_stretch_offset(stretch, *position);
            length = doubled_value(doubled_difference(offset, here));
            if (!(length > 0) && position->index != stretch->count)
                return;
            level = levels + 1;
        } else if (level <= levels) {
            while (((uint64_t)1 << (levels - level)) > goal.index - position->index) {
                level++;
                length /= 2;
            }
        }
        if (length == 0)
            return;
        if (!homogeneous)
            dwi_stretch_input(stretch, *position, length, node);
        dwi_stretch_step(stretch, level, length, node);
        const bool last = position->index >= goal.index || position->index == stretch->count;  /* unrun: rounding */
        if (last) {
            position->rest += length;
            return;
        }
        *position = dwi_stretch_after(stretch, *position, level, length);
    }
}

void dwi_stretch_finish(const struct stretch *stretch, struct position position, struct node *node)
{
    while (!dwi_stretch_at_end(stretch, position)) {
        double length = 0;
        const unsigned level = dwi_stretch_cell(stretch, position, &length);
        if (!stretch->flat)
            dwi_stretch_input(stretch, position, length, node);
        dwi_stretch_step(stretch, level, length, node);
        position = dwi_stretch_after(stretch, position, level, length);
    }
    if (!stretch->flat)
        dwi_stretch_input(stretch, position, 0, node);
}
