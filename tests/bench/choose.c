/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Choosing filter parts: branch and bound against looking at every candidate, which must find the same. A unit of work is one
 * candidate of one or two stages; and, with none beside it, one of up to three, and of the front of these. */
#include "bench.h"
#include <dutywright/design.h>
#include <math.h>
#include <string.h>

static struct dw_choices *choose(const struct dw_choice_wish *wish)
{
    struct dw_choices *choices = NULL;
    struct dw_error why = { .status = DW_OK };
    const enum dw_status status = dw_choose(wish, &choices, &why);
    bench_demand(status == DW_OK && dw_choices_count(choices) > 0, "%s", why.text);
    return choices;
}

/* s a candidate. */
static double timed(const struct dw_choice_wish *wish)
{
    const double start = bench_clock();
    struct dw_choices *choices = choose(wish);
    const double seconds = (bench_clock() - start) / dw_choices_candidates(choices);
    dw_choices_free(choices);
    return seconds;
}

static void demand_same(const struct dw_choice_wish *wish, const struct dw_choice_wish *every)
{
    struct dw_choices *ours = choose(wish), *all = choose(every);
    bench_demand(dw_choices_count(ours) == dw_choices_count(all), "%zu choices, of every candidate %zu", dw_choices_count(ours),
                 dw_choices_count(all));
    for (size_t i = 0; i < dw_choices_count(ours); i++) {
        const struct dw_choice *a = dw_choices_get(ours, i), *b = dw_choices_get(all, i);
        bench_demand(a->filter.stages == b->filter.stages, "choice %zu has other stages", i + 1);
        for (int k = 0; k < a->filter.stages; k++)
            bench_demand(a->filter.r[k].value == b->filter.r[k].value && a->filter.c[k].value == b->filter.c[k].value,
                         "choice %zu has other parts in stage %d", i + 1, k + 1);
    }
    dw_choices_free(ours);
    dw_choices_free(all);
}

int main(int argc, char **argv)
{
    const int rounds = bench_rounds(argc, argv);
    struct dw_error why = { .status = DW_OK };
    struct dw_choice_wish wish = {
        .task = { .frequency = 1 / 2.05e-3, .high = 3.3, .levels = 256, .duty = NAN, .load = 1e6, .band = 0.02, .ripple = 1.65 / 256,
                  .settling = 0.2, .overshoot = 0.1, .loading = 0.05, .pin_current = INFINITY, .coil_current = INFINITY },
        .resistors = dw_parts_series(12, 1e3, 100e3, 0.01, &why), .capacitors = dw_parts_series(6, 1e-9, 100e-6, 0.1, &why),
        .least_stages = 1, .most_stages = 2, .rank = DW_RANK_PARTS, .best = 10 };
    bench_demand(wish.resistors && wish.capacitors, "%s", why.text);
    struct dw_choice_wish every = wish, three = wish, front;
    every.exhaustive = true;
    three.most_stages = 3;
    front = three;
    front.front = true;
    front.task.ripple = front.task.settling = INFINITY;
    demand_same(&wish, &every);
    for (int round = 0; round < rounds; round++) {
        bench_time("choose", "ours", timed(&wish));
        bench_time("choose", "every one", timed(&every));
        bench_time("choose-three", "ours", timed(&three));
        bench_time("choose-front", "ours", timed(&front));
    }
    dw_parts_free((struct dw_parts *)wish.resistors);
    dw_parts_free((struct dw_parts *)wish.capacitors);
    return 0;
}
