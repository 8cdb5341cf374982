/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pairs of a resistor and the capacitor behind it, halved again and again by time constant and resistance: theory, 6.4. */
#include "search_inner.h"
#include <math.h>
#include <stdlib.h>

void dwi_pairs_free(struct pairs *pairs)
{
    free(pairs->pair);
    free(pairs->node);
    *pairs = (struct pairs){ 0 };
}

/* Bounds of one pair. */
static struct pair_node single(const struct pairs *pairs, const struct part_pair *pair)
{
    const struct dw_part *r = &pairs->resistors->part[pair->r], *c = &pairs->capacitors->part[pair->c];
    const double r_spread = pairs->nominal ? 0 : r->spread, c_spread = pairs->nominal ? 0 : c->spread;
    const double r_low = pairs->source[0] + r->value * (1 - r_spread), r_high = pairs->source[1] + r->value * (1 + r_spread);
    const double c_low = c->value * (1 - c_spread), c_high = c->value * (1 + c_spread);
    return (struct pair_node){
        .slow = { r_high, r_high, r_high * c_high, r_high * c_high, { 0 } },
        .fast = { r_low, r_low, c_low, c_low, r_low * c_low, r_low * c_low, { 0 } },
        .ln_slower = log(r_high * c_high / (r_low * c_low)),
        .ln_r_slower = { log(r_high / r_low), log(r_high / r_low) },
        .resistance = r->value,
        .price = r->price + c->price,
    };
}

/* Bounds of both. */
static struct pair_node both(const struct pair_node *one, const struct pair_node *other)
{
    return (struct pair_node){
        .slow = { fmin(one->slow.r_least, other->slow.r_least), fmax(one->slow.r_most, other->slow.r_most),
                  fmin(one->slow.time_least, other->slow.time_least), fmax(one->slow.time_most, other->slow.time_most), { 0 } },
        .fast = { fmin(one->fast.r_least, other->fast.r_least), fmax(one->fast.r_most, other->fast.r_most),
                  fmin(one->fast.c_least, other->fast.c_least), fmax(one->fast.c_most, other->fast.c_most),
                  fmin(one->fast.time_least, other->fast.time_least), fmax(one->fast.time_most, other->fast.time_most), { 0 } },
        .ln_slower = fmin(one->ln_slower, other->ln_slower),
        .ln_r_slower = { fmin(one->ln_r_slower[0], other->ln_r_slower[0]), fmax(one->ln_r_slower[1], other->ln_r_slower[1]) },
        .resistance = fmin(one->resistance, other->resistance),
        .price = fmin(one->price, other->price),
    };
}

static struct pair_logs logs_of(double r_least, double r_most, double time_least, double time_most)
{
    return (struct pair_logs){ log(r_least), log(r_most), log(time_least), log(time_most) };
}

/* What a range is cut by: of resistance the ripple hardly takes notice. */
static double place(const struct pairs *pairs, const struct part_pair *pair, bool by_time)
{
    const double r = pairs->resistors->part[pair->r].value + pairs->source[0];
    return by_time ? r * pairs->capacitors->part[pair->c].value : r;
}

/* Hoare's selection: puts the smaller half of a range before the larger one. */
static void halve(struct pairs *pairs, size_t from, size_t to, bool by_time)
{
    struct part_pair *pair = pairs->pair;
    const size_t middle = from + (to - from) / 2;
    while (to - from > 1) {
        const double pivot = place(pairs, &pair[from + (to - from) / 2], by_time);
        size_t low = from, high = to - 1;
        for (;;) {
            while (place(pairs, &pair[low], by_time) < pivot)
                low++;
            while (place(pairs, &pair[high], by_time) > pivot)
                high--;
            if (low >= high)
                break;
            const struct part_pair swap = pair[low];
            pair[low++] = pair[high];
            pair[high--] = swap;
        }
        if (middle < low)
            to = low;
        else
            from = low;
    }
}

static double reach(const struct pairs *pairs, size_t from, size_t to, bool by_time)
{
    double least = INFINITY, most = 0;
    for (size_t i = from; i < to; i++) {
        const double at = place(pairs, &pairs->pair[i], by_time);
        least = fmin(least, at);
        most = fmax(most, at);
    }
    return most / least;
}

const struct pair_node *dwi_pairs_half(const struct pair_node *node, int half)
{
    return half == 0 ? node + 1 : node + 2 * (node->count / 2);
}

/* A node's halves stand 1 and 2 x (pairs of the first) places behind it. */
/* NOLINTNEXTLINE(misc-no-recursion): as deep as pairs can be halved */
static void build(struct pairs *pairs, size_t at, size_t from, size_t to)
{
    struct pair_node *node = &pairs->node[at];
    if (to - from == 1) {
        *node = single(pairs, &pairs->pair[from]);
    } else {
        const size_t middle = from + (to - from) / 2;
        halve(pairs, from, to, reach(pairs, from, to, true) > pow(reach(pairs, from, to, false), PAIRS_RESISTANCE));
        build(pairs, at + 1, from, middle);
        build(pairs, at + 2 * (middle - from), middle, to);
        *node = both(node + 1, node + 2 * (middle - from));
    }
    node->slow.ln = logs_of(node->slow.r_least, node->slow.r_most, node->slow.time_least, node->slow.time_most);
    node->fast.ln = logs_of(node->fast.r_least, node->fast.r_most, node->fast.time_least, node->fast.time_most);
    node->from = (uint32_t)from;
    node->count = (uint32_t)(to - from);
}

bool dwi_pairs_new(struct pairs *pairs, const struct dw_parts *resistors, const struct dw_parts *capacitors, const double source[2],
                   bool nominal)
{
    *pairs = (struct pairs){ .resistors = resistors, .capacitors = capacitors, .source = { source[0], source[1] },
                             .nominal = nominal, .count = resistors->count * capacitors->count };
    pairs->pair = calloc(pairs->count, sizeof *pairs->pair);
    pairs->node = calloc(2 * pairs->count - 1, sizeof *pairs->node);
    if (!pairs->pair || !pairs->node) {
        dwi_pairs_free(pairs);
        return false;
    }
    for (size_t i = 0; i < pairs->count; i++)
        pairs->pair[i] = (struct part_pair){ (uint32_t)(i / capacitors->count), (uint32_t)(i % capacitors->count) };
    build(pairs, 0, 0, pairs->count);
    return true;
}
