/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pulses through two RC stages: our cached propagators against two solvers that step, each started anew at each edge. The
 * true answer is carried along in 113 bits. A unit of work is one period; the errors are the largest at any edge. */
#include "bench.h"
#include "linear/quad.h"
#include "load/ladder_inner.h" /* the other solvers are given our equations, which no call hands out */
#include "stepper.h"
#include <float.h>
#include <math.h>
#include <stdlib.h>

/* LAPS: a lap of ours takes little more than a millisecond, of which the other sides' cold caches would be a large part. */
enum { PERIODS = 100000, PERIODS_BDF = 2000, LAPS = 20, N = 2 };

static const char JOB[] = "rc";
static const double PERIOD = 2.05e-3, SUPPLY = 4.87, DUTY = 0.37, TOLERANCE = 1e-10;

/* s, edges of the train; even ones rise. */
static double edges[2 * PERIODS + 1];

static void make_edges(void)
{
    for (int k = 0; k <= 2 * PERIODS; k++)
        edges[k] = (k / 2 + (k % 2 ? DUTY : 0)) * PERIOD;
}

static double level(int k)
{
    return k % 2 ? 0 : SUPPLY;
}

/* State at each edge, from rest. Lengths are what the edges' doubles differ by, as all sides see them; they take few
 * values, so that each one's exponential is kept. */
static void true_states(const double *a, const double *b, double (*states)[N])
{
    enum { KEPT = 64 };
    static quad map[KEPT][N * (N + 2)];
    double lengths[KEPT];
    int kept = 0;
    quad x[N] = { 0 };
    for (int k = 0; k < 2 * PERIODS; k++) {
        const double length = edges[k + 1] - edges[k], zero = 0, one = 1;
        int at = 0;
        while (at < kept && lengths[at] != length)
            at++;
        bench_demand(at < KEPT, "more than %d lengths between edges", KEPT);
        if (at == kept) {
            lengths[kept++] = length;
            for (int column = 0; column <= N; column++) {
                quad unit[N] = { 0 };
                if (column < N)
                    unit[column] = 1;
                const double *input = column < N ? &zero : &one;
                quad_advance(a, NULL, b, NULL, N, 1, unit, input, input, length);
                for (int i = 0; i < N; i++)
                    map[at][i * (N + 1) + column] = unit[i];
            }
        }
        quad next[N];
        for (int i = 0; i < N; i++) {
            next[i] = map[at][i * (N + 1) + N] * level(k);
            for (int j = 0; j < N; j++)
                next[i] += map[at][i * (N + 1) + j] * x[j];
        }
        for (int i = 0; i < N; i++)
            states[k][i] = (double)(x[i] = next[i]);
    }
}

static double worse(double error, const double *x, const double *truth)
{
    for (int i = 0; i < N; i++) {
        const double off = fabs(x[i] - truth[i]) / SUPPLY;
        error = off <= error ? error : off;  /* NaN stays */
    }
    return error;
}

/* Runs over edges; truth NULL: only the time counts. */
static double run_ours(struct dw_system *system, int periods, double (*truth)[N])
{
    double x[N] = { 0 }, error = 0;
    struct dw_error why;
    for (int k = 0; k < 2 * periods; k++) {
        const double from = edges[k], to = edges[k + 1], u = level(k);
        bench_demand(dw_system_advance(system, &(struct dw_interval){ x, &u, &u, to - from, NULL }, 4 * DBL_EPSILON * to, x, &why) == DW_OK, "%s", why.text);
        if (truth)
            error = worse(error, x, truth[k]);
    }
    bench_demand(x[0] > 0, "the state has died out");
    return error;
}

static double run_rk(struct rk *rk, struct stepped *p, int periods, double (*truth)[N])
{
    double x[N] = { 0 }, error = 0;
    for (int k = 0; k < 2 * periods; k++) {
        p->u = level(k);
        rk_step(rk, x, edges[k], edges[k + 1]);
        if (truth)
            error = worse(error, x, truth[k]);
    }
    return error;
}

static double run_bdf(struct bdf *bdf, struct stepped *p, int periods, double (*truth)[N])
{
    double x[N] = { 0 }, error = 0;
    for (int k = 0; k < 2 * periods; k++) {
        p->u = level(k);
        bdf_step(bdf, x, edges[k], edges[k + 1]);
        if (truth)
            error = worse(error, x, truth[k]);
    }
    return error;
}

int main(int argc, char **argv)
{
    const int rounds = bench_rounds(argc, argv);
    const struct dw_stage stages[] = { { .r = 4.7e3, .c = 1e-6 }, { .r = 47e3, .c = 100e-9 } };
    struct dw_error why = { .status = DW_OK };
    struct dw_ladder *ladder = dw_ladder_new(&(struct dw_ladder_plan){ .stages = stages, .count = 2, .load = 1e6 }, &why);
    struct dw_system *system = ladder ? dw_ladder_system(ladder, &why) : NULL;
    bench_demand(system != NULL, "%s", why.text);
    struct stepped problem = { .n = N };
    for (int i = 0; i < N; i++) {
        problem.b[i] = ladder->forms.rate[i][PIN].hi;
        for (int j = 0; j < N; j++)
            problem.a[i * N + j] = ladder->forms.rate[i][j].hi;
    }
    double(*truth)[N] = calloc(2 * PERIODS, sizeof *truth);
    bench_demand(truth != NULL, "out of memory");
    make_edges();
    true_states(problem.a, problem.b, truth);
    struct rk rk;
    struct bdf bdf;
    rk_open(&rk, &problem, TOLERANCE);
    bdf_open(&bdf, &problem, TOLERANCE);

    const double ours = run_ours(system, PERIODS, truth);
    const double theirs = run_rk(&rk, &problem, PERIODS, truth), others = run_bdf(&bdf, &problem, PERIODS_BDF, truth);
    bench_error(JOB, "ours", ours);
    bench_error(JOB, "rk8pd", theirs);
    bench_error(JOB, "CVODE", others);
    bench_demand(ours <= theirs && ours < others, "ours is %g from the true answer, rk8pd %g, CVODE %g", ours, theirs, others);
    bench_work(JOB, "ours", PERIODS);
    bench_work(JOB, "rk8pd", PERIODS);
    bench_work(JOB, "CVODE", PERIODS_BDF);
    for (int round = 0; round < rounds; round++) {
        const double start = bench_clock();
        for (int lap = 0; lap < LAPS; lap++)
            run_ours(system, PERIODS, NULL);
        const double second = bench_clock();
        run_rk(&rk, &problem, PERIODS, NULL);
        const double third = bench_clock();
        run_bdf(&bdf, &problem, PERIODS_BDF, NULL);
        const double end = bench_clock();
        bench_time(JOB, "ours", (second - start) / PERIODS / LAPS);
        bench_time(JOB, "rk8pd", (third - second) / PERIODS);
        bench_time(JOB, "CVODE", (end - third) / PERIODS_BDF);
    }
    rk_close(&rk);
    bdf_close(&bdf);
    free(truth);
    dw_system_free(system);
    dw_ladder_free(ladder);
    return 0;
}
