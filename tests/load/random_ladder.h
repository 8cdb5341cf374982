/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ladders at random for tests, from a fixed seed. */
#ifndef TESTS_LOAD_RANDOM_LADDER_H
#define TESTS_LOAD_RANDOM_LADDER_H

#include <dutywright/ladder.h>
#include <math.h>
#include <stdint.h>

struct random_ladder {
    struct dw_stage stages[DW_STAGES];
    struct dw_ladder_plan plan;
};

static uint64_t ladder_seed = 20240229;

/* 0 <= x < 1. */
static double ladder_uniform(void)
{
    ladder_seed = ladder_seed * 6364136223846793005u + 1442695040888963407u;
    return (double)(ladder_seed >> 11) * 0x1p-53;
}

static double ladder_between(double low, double high)
{
    return low * pow(high / low, ladder_uniform());
}

static int ladder_chance(double share)
{
    return ladder_uniform() < share;
}

/* Every topology that is allowed, values over `decades` around audio-frequency parts. */
static void random_ladder(struct random_ladder *ladder, double decades)
{
    const double spread = pow(10, decades / 2);
    *ladder = (struct random_ladder){ .plan = { .count = 1 + (size_t)(ladder_uniform() * DW_STAGES) } };
    ladder->plan.stages = ladder->stages;
    ladder->plan.source = ladder_chance(0.5) ? ladder_between(1 / spread, spread) : 0;
    ladder->plan.load = ladder_chance(0.6) ? ladder_between(100 / spread, 1e4 * spread) : 0;
    for (size_t k = 0; k < ladder->plan.count; k++) {
        struct dw_stage *stage = ladder->stages + k;
        const int first = k == 0 && ladder->plan.source == 0;
        if (first || ladder_chance(0.85))
            stage->r = ladder_between(1 / spread, 100 * spread);
        if (ladder_chance(0.5)) {
            stage->l = ladder_between(1e-3 / spread, 1e-3 * spread);
            if (ladder_chance(0.3))
                stage->rp = ladder_between(10, 1e3);
        }
        if (k + 1 == ladder->plan.count || ladder_chance(0.85) || (stage->r == 0 && stage->l == 0)) {
            stage->c = ladder_between(1e-6 / spread, 1e-6 * spread);
            stage->esr = ladder_chance(0.4) ? ladder_between(0.01, 10) : 0;
            stage->leak = ladder_chance(0.3) ? ladder_between(1e3, 1e6) : 0;
            if (ladder_chance(0.25)) {
                stage->rd = ladder_between(1, 100);
                stage->cd = ladder_between(1e-6 / spread, 1e-6 * spread);
            }
        }
        /* two coils in series without c between may not have lp: the only topology that is refused */
        if (stage->rp > 0 && stage->c > 0 && (k == 0 || ladder->stages[k - 1].c > 0) && ladder_chance(0.5))
            stage->lp = ladder_between(1e-3 / spread, 1e-3 * spread);
    }
}

#endif
