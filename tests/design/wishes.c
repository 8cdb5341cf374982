/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "wishes.h"
#include "simulated.h"
#include <check.h>
#include <math.h>

const struct dw_choice_wish nothing = {
    .task = { .frequency = 31.25e3, .high = 5, .levels = 256, .duty = NAN, .load = INFINITY, .band = 0.02, .ripple = INFINITY,
              .settling = INFINITY, .overshoot = INFINITY, .loading = INFINITY, .pin_current = INFINITY, .coil_current = INFINITY },
    .least_stages = 1, .most_stages = 2, .best = 1 };

struct dw_parts *series(int which, double from, double to, double spread)
{
    struct dw_error error = { .text = "" };
    struct dw_parts *parts = dw_parts_series(which, from, to, spread, &error);
    ck_assert_msg(parts != NULL, "%s", error.text);
    return parts;
}

struct dw_choice_wish ladders(struct dw_parts *resistors, struct dw_parts *capacitors)
{
    struct dw_choice_wish wish = nothing;
    wish.resistors = resistors;
    wish.capacitors = capacitors;
    return wish;
}

/* The same parts, each at a price of its own. */
static const struct dw_parts *priced(const struct dw_parts *parts, uint64_t *seed)
{
    struct dw_part part[200];
    struct dw_error error = { .text = "" };
    const size_t count = parts ? dw_parts_count(parts) : 0;
    for (size_t i = 0; i < count; i++) {
        part[i] = dw_parts_get(parts, i);
        part[i].price = uniform(seed, 0.01, 2);
    }
    struct dw_parts *own = parts ? dw_parts_new(part, count, &error) : NULL;
    ck_assert_msg(own || !parts, "%s", error.text);
    dw_parts_free((struct dw_parts *)parts);
    return own;
}

struct dw_choice_wish random_wish(uint64_t *seed)
{
    struct dw_choice_wish wish = nothing;
    const double spread = uniform(seed, 0, 2) > 1 ? uniform(seed, 0, 0.2) : 0;
    const bool coils = uniform(seed, 0, 2) > 1;
    wish.task.frequency = pow(10, uniform(seed, 3, 5));
    wish.task.duty = uniform(seed, 0, 2) > 1 ? uniform(seed, 0.1, 1) : NAN;
    wish.task.load = coils ? pow(10, uniform(seed, 1, 3)) : uniform(seed, 0, 3) > 1 ? pow(10, uniform(seed, 4, 6)) : INFINITY;
    wish.task.ripple = 5 * pow(10, uniform(seed, -2.5, -0.3));
    wish.task.settling = pow(10, uniform(seed, 0.5, 2.5)) / wish.task.frequency;
    wish.task.overshoot = 0.3;
    wish.task.loading = 0.3;
    wish.task.pin_current = uniform(seed, 0, 2) > 1 ? pow(10, uniform(seed, -2, 1)) : INFINITY;
    wish.task.low = uniform(seed, -5, 2);
    const double c = pow(10, uniform(seed, -8, -6));
    wish.capacitors = series(3, c, 15 * c, spread);
    wish.resistors = series(3, 1e3, 33e3, spread / 3);
    if (coils) {
        const double l = pow(10, uniform(seed, -5, -3));
        wish.coils = series(3, l, 8 * l, spread);
        wish.dampers = series(3, 1, 1e3, spread / 3);
        if (uniform(seed, 0, 2) > 1)
            wish.least_stages = wish.most_stages = 0;
    }
    wish.best = 1 + (size_t)uniform(seed, 0, 6);
    wish.rank = (enum dw_choice_rank)uniform(seed, 0, 5);
    wish.front = uniform(seed, 0, 3) < 1;
    const double one_limit = uniform(seed, 0, 4);
    if (one_limit < 1)
        wish.task.ripple = INFINITY;
    else if (one_limit < 2)
        wish.task.settling = INFINITY;
    if (wish.front || wish.rank == DW_RANK_PRICE) {
        wish.capacitors = priced(wish.capacitors, seed);
        wish.resistors = priced(wish.resistors, seed);
        wish.coils = priced(wish.coils, seed);
        wish.dampers = priced(wish.dampers, seed);
    }
    return wish;
}

void wish_free(struct dw_choice_wish *wish)
{
    dw_parts_free((struct dw_parts *)wish->capacitors);
    dw_parts_free((struct dw_parts *)wish->resistors);
    dw_parts_free((struct dw_parts *)wish->coils);
    dw_parts_free((struct dw_parts *)wish->dampers);
}

void same_choices(const struct dw_choices *one, const struct dw_choices *other)
{
    ck_assert_uint_eq(dw_choices_count(one), dw_choices_count(other));
    for (size_t i = 0; i < dw_choices_count(one); i++) {
        const struct dw_choice *a = dw_choices_get(one, i), *b = dw_choices_get(other, i);
        for (int k = 0; k < a->filter.stages; k++)
            ck_assert(a->filter.r[k].value == b->filter.r[k].value && a->filter.c[k].value == b->filter.c[k].value);
        ck_assert(a->filter.stages == b->filter.stages && a->filter.l.value == b->filter.l.value &&
                  a->filter.rd.value == b->filter.rd.value && a->filter.cd.value == b->filter.cd.value);
        ck_assert(a->margin == b->margin && a->worst.ripple == b->worst.ripple && a->worst.settling == b->worst.settling);
    }
}
