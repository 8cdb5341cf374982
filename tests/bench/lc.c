/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The steady state of an L C filter of Q = 1000 under pulses: solved, against simulated from rest until within 1e-6 of it,
 * with our own propagators and with rk8pd. A unit of work is one answer, our system set up anew each time. */
#include "bench.h"
#include "linear/quad.h"
#include "load/ladder_inner.h" /* the other solver is given our equations, which no call hands out */
#include "stepper.h"
#include <math.h>

enum { N = 2, MOST = 1000000, ANSWERS = 200 };

static const char JOB[] = "lc";
static const double COIL = 330e-6, CAPACITOR = 100e-6, Q = 1000, FREQUENCY = 9.1e3, SUPPLY = 4.87, DUTY = 0.37, NEAR = 1e-6,
                    TOLERANCE = 1e-10;

static double energy(const struct dw_ladder *ladder, const double *x)
{
    return sqrt(dw_ladder_energy(ladder, x));
}

/* |x - truth| in the energy norm, a share of |truth|. */
static double apart(const struct dw_ladder *ladder, const double *x, const double *truth)
{
    const double off[N] = { x[0] - truth[0], x[1] - truth[1] };
    return energy(ladder, off) / energy(ladder, truth);
}

/* (I - M) x = g over one period in 113 bits, by Cramer's rule. */
static void true_state(const struct stepped *p, double high, double low, double *x)
{
    const double zero = 0, supply = SUPPLY;
    quad column[N + 1][N] = { { 1, 0 }, { 0, 1 }, { 0, 0 } };
    for (int k = 0; k <= N; k++) {
        const double *u = k == N ? &supply : &zero;
        quad_advance(p->a, NULL, p->b, NULL, N, 1, column[k], u, u, high);
        quad_advance(p->a, NULL, p->b, NULL, N, 1, column[k], &zero, &zero, low);
    }
    const quad a = 1 - column[0][0], b = -column[1][0], c = -column[0][1], d = 1 - column[1][1], *g = column[N];
    x[0] = (double)((g[0] * d - b * g[1]) / (a * d - b * c));
    x[1] = (double)((a * g[1] - c * g[0]) / (a * d - b * c));
}

static void solve(const struct dw_ladder *ladder, const double *time, double *x)
{
    const double input[] = { SUPPLY, SUPPLY, 0, 0 };
    struct dw_error why = { .status = DW_OK };
    struct dw_system *system = dw_ladder_system(ladder, &why);
    bench_demand(system && dw_system_steady(system, &(struct dw_period){ time, input, 4, NULL }, x, NULL, &why) == DW_OK, "%s", why.text);
    dw_system_free(system);
}

/* Both give the periods it took. */
static int simulate(const struct dw_ladder *ladder, double high, double low, const double *truth)
{
    const double zero = 0;
    struct dw_error why = { .status = DW_OK };
    struct dw_system *system = dw_ladder_system(ladder, &why);
    bench_demand(system != NULL, "%s", why.text);
    double x[N] = { 0 };
    int k = 0;
    for (; k < MOST && !(apart(ladder, x, truth) <= NEAR); k++) {
        dw_system_advance(system, &(struct dw_interval){ x, &SUPPLY, &SUPPLY, high, NULL }, 0, x, &why);
        dw_system_advance(system, &(struct dw_interval){ x, &zero, &zero, low, NULL }, 0, x, &why);
    }
    dw_system_free(system);
    return k;
}

static int simulate_by_rk(struct rk *rk, struct stepped *p, const struct dw_ladder *ladder, double high, double low,
                          const double *truth)
{
    double x[N] = { 0 };
    int k = 0;
    for (; k < MOST && !(apart(ladder, x, truth) <= NEAR); k++) {
        p->u = SUPPLY;
        rk_step(rk, x, 0, high);
        p->u = 0;
        rk_step(rk, x, 0, low);
    }
    return k;
}

int main(int argc, char **argv)
{
    const int rounds = bench_rounds(argc, argv);
    const struct dw_stage stage = { .l = COIL, .c = CAPACITOR };
    const struct dw_ladder_plan plan = { .stages = &stage, .count = 1, .load = Q * sqrt(COIL / CAPACITOR) };
    const double high = DUTY / FREQUENCY, time[] = { 0, high, high, 1 / FREQUENCY }, low = time[3] - high;
    struct dw_error why = { .status = DW_OK };
    struct dw_ladder *ladder = dw_ladder_new(&plan, &why);
    bench_demand(ladder != NULL, "%s", why.text);
    struct stepped problem = { .n = N };
    for (int i = 0; i < N; i++) {
        problem.b[i] = ladder->forms.rate[i][PIN].hi;
        for (int j = 0; j < N; j++)
            problem.a[i * N + j] = ladder->forms.rate[i][j].hi;
    }
    struct rk rk;
    rk_open(&rk, &problem, TOLERANCE);

    double truth[N], x[N];
    true_state(&problem, high, low, truth);
    solve(ladder, time, x);
    bench_error(JOB, "ours", apart(ladder, x, truth));
    bench_demand(apart(ladder, x, truth) < 1e-13, "ours is %g from the true answer", apart(ladder, x, truth));
    const int ours = simulate(ladder, high, low, truth), theirs = simulate_by_rk(&rk, &problem, ladder, high, low, truth);
    bench_demand(ours < MOST && theirs < MOST, "simulated %d and %d periods without coming near", ours, theirs);
    bench_error(JOB, "simulating", NEAR);
    bench_error(JOB, "rk8pd", NEAR);
    for (int round = 0; round < rounds; round++) {
        const double start = bench_clock();
        for (int i = 0; i < ANSWERS; i++)
            solve(ladder, time, x);
        const double second = bench_clock();
        simulate(ladder, high, low, truth);
        const double third = bench_clock();
        simulate_by_rk(&rk, &problem, ladder, high, low, truth);
        const double end = bench_clock();
        bench_time(JOB, "ours", (second - start) / ANSWERS);
        bench_time(JOB, "simulating", third - second);
        bench_time(JOB, "rk8pd", end - third);
    }
    rk_close(&rk);
    dw_ladder_free(ladder);
    return 0;
}
