/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ladders against CVODE, a solver that steps through time: Hindmarsh et al. 2005, SUNDIALS, ACM TOMS 31:363. Where the two
 * differ, 113-bit arithmetic decides which is nearer. */
#include "linear/quad.h"
#include "load/ladder_inner.h" /* both are given our equations, to 106 bits, which no call hands out */
#include "load/random_ladder.h"
#include "outside/cvode.h"
#include "suite.h"
#include <float.h>
#include <stdlib.h>

enum { LADDERS = 48, PERIODS = 3, ROWS = 5 * PERIODS + 1 };

static const double SUPPLY = 4.87, STEP_TOLERANCE = 3e-14, AGREED = 1e-9;

/* x' = a x + b u with u on a straight line. */
struct problem {
    size_t n;
    double a[LADDER_STATES * LADDER_STATES], a_low[LADDER_STATES * LADDER_STATES], b[LADDER_STATES], b_low[LADDER_STATES];
    double start, from, slope;
};

static int right_side(realtype t, N_Vector x, N_Vector rate, void *context)
{
    const struct problem *p = context;
    const double u = p->from + p->slope * (t - p->start);
    for (size_t i = 0; i < p->n; i++) {
        double sum = p->b[i] * u;
        for (size_t j = 0; j < p->n; j++)
            sum += p->a[i * p->n + j] * NV_Ith_S(x, j);
        NV_Ith_S(rate, i) = sum;
    }
    return 0;
}

static int jacobian(realtype t, N_Vector x, N_Vector rate, SUNMatrix j, void *context, N_Vector s1, N_Vector s2, N_Vector s3)
{
    const struct problem *p = context;
    (void)t, (void)x, (void)rate, (void)s1, (void)s2, (void)s3;
    for (size_t i = 0; i < p->n; i++)
        for (size_t k = 0; k < p->n; k++)
            SM_ELEMENT_D(j, i, k) = p->a[i * p->n + k];
    return 0;
}

static void fill_problem(const struct dw_ladder *ladder, struct problem *p)
{
    const size_t n = p->n = ladder->net.states;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            p->a[i * n + j] = ladder->forms.rate[i][j].hi;
            p->a_low[i * n + j] = ladder->forms.rate[i][j].lo;
        }
        p->b[i] = ladder->forms.rate[i][PIN].hi;
        p->b_low[i] = ladder->forms.rate[i][PIN].lo;
    }
}

/* Pulses with a duty that changes; finite edges in every second ladder. Five rows a period. */
static void make_rows(int trial, double period, double *time, double *input)
{
    size_t row = 0;
    for (int k = 0; k < PERIODS; k++) {
        const double t = k * period, duty = 0.15 + 0.7 * ladder_uniform();
        const double edge = trial % 2 ? 0.07 * period * ladder_uniform() : 0;
        const double times[] = { t, t + edge, t + duty * period, t + duty * period + edge, (k + 1) * period };
        const double inputs[] = { 0, SUPPLY, SUPPLY, 0, 0 };
        for (int i = k > 0 && edge > 0; i < 5; i++) {
            time[row] = times[i];
            input[row++] = inputs[i];
        }
    }
    while (row < ROWS) {
        time[row] = time[row - 1];
        input[row] = input[row - 1];
        row++;
    }
}

/* A period in which the fastest oscillation turns some ten times at most: it is what a stepping solver pays for. */
static double choose_period(struct dw_system *system)
{
    double real[LADDER_STATES], imaginary[LADDER_STATES], fastest = 0;
    struct dw_error error;
    succeeds(dw_system_rates(system, real, imaginary, &error), error);
    for (size_t i = 0; i < dw_system_states(system); i++)
        if (fabs(imaginary[i]) > 0.3 * fabs(real[i]))
            fastest = fmax(fastest, fabs(imaginary[i]));
    const double slowest = hypot(real[0], imaginary[0]);
    return fastest > 0 ? fmin(ladder_between(0.3, 3) / slowest, ladder_between(3, 60) / fastest)
                       : ladder_between(0.1, 10) / slowest;
}

/* With a Jacobian, and a tolerance as tight as it takes. */
static void open_tight(struct solver *s, struct problem *p, const double *scale)
{
    solver_open(s, CV_BDF, (sunindextype)p->n, right_side, p, 0);
    N_Vector tolerance = N_VClone(s->y);
    for (size_t i = 0; i < p->n; i++)
        NV_Ith_S(tolerance, i) = 1e-2 * STEP_TOLERANCE * scale[i];
    ck_assert_int_eq(CVodeSVtolerances(s->memory, STEP_TOLERANCE, tolerance), CV_SUCCESS);
    ck_assert_int_eq(CVodeSetJacFn(s->memory, jacobian), CV_SUCCESS);
    N_VDestroy(tolerance);
}

static void step_to(struct solver *s, double from, double to)
{
    realtype reached;
    solver_begin(s, from);
    solver_go(s, to, &reached);
    near(reached, to, 0);
}

/* States after each row in 113 bits, and the largest of each. */
static void true_states(const struct problem *p, const double *time, const double *input, quad (*states)[LADDER_STATES],
                        double *scale)
{
    quad x[LADDER_STATES] = { 0 };
    for (size_t i = 0; i < p->n; i++)
        scale[i] = 0;
    for (size_t r = 1; r < ROWS; r++) {
        if (time[r] > time[r - 1])
            quad_advance(p->a, p->a_low, p->b, p->b_low, p->n, 1, x, input + r - 1, input + r, time[r] - time[r - 1]);
        for (size_t i = 0; i < p->n; i++) {
            states[r][i] = x[i];
            scale[i] = fmax(scale[i], fabs((double)x[i]));
        }
    }
}

struct outcome {
    double apart, ours, theirs;  /* largest differences, in units of the supply or of the largest current */
};

static struct outcome compare(int trial)
{
    struct random_ladder random;
    struct dw_error error;
    static quad truth[ROWS][LADDER_STATES];
    double time[ROWS], input[ROWS], scale[LADDER_STATES], x[LADDER_STATES] = { 0 };
    random_ladder(&random, trial % 4 == 3 ? 6 : 2);
    struct dw_ladder *ladder = dw_ladder_new(&random.plan, &error);
    ck_assert_msg(ladder != NULL, "%s", error.text);
    struct dw_system *system = dw_ladder_system(ladder, &error);
    ck_assert_msg(system != NULL, "%s", error.text);
    struct problem p = { .start = 0 };
    fill_problem(ladder, &p);
    make_rows(trial, choose_period(system), time, input);
    true_states(&p, time, input, truth, scale);
    for (size_t i = 0; i < p.n; i++)
        if (!ladder->net.is_current[i])
            scale[i] = SUPPLY;
    struct solver solver;
    open_tight(&solver, &p, scale);
    struct outcome outcome = { 0, 0, 0 };
    for (size_t r = 1; r < ROWS; r++) {
        const double length = time[r] - time[r - 1];
        if (!(length > 0))
            continue;
        p.start = time[r - 1];
        p.from = input[r - 1];
        p.slope = (input[r] - input[r - 1]) / length;
        step_to(&solver, time[r - 1], time[r]);
        succeeds(dw_system_advance(system, &(struct dw_interval){ x, input + r - 1, input + r, length, NULL }, 0, x, &error), error);
        for (size_t i = 0; i < p.n; i++) {
            const double theirs = NV_Ith_S(solver.y, i);
            ck_assert(isfinite(theirs) && isfinite(x[i]));
            outcome.apart = fmax(outcome.apart, fabs(theirs - x[i]) / scale[i]);
            outcome.ours = fmax(outcome.ours, fabs((double)(x[i] - truth[r][i])) / scale[i]);
            outcome.theirs = fmax(outcome.theirs, fabs((double)(theirs - truth[r][i])) / scale[i]);
        }
    }
    solver_close(&solver);
    dw_system_free(system);
    dw_ladder_free(ladder);
    return outcome;
}

START_TEST(states_at_events_agree_and_ours_are_the_nearer_to_the_truth)
{
    for (int trial = 0; trial < LADDERS; trial++) {
        const struct outcome outcome = compare(trial);
        ck_assert_msg(outcome.apart <= AGREED, "ladder %d: %.3g apart, ours %.3g from the truth, the other's %.3g", trial,
                      outcome.apart, outcome.ours, outcome.theirs);
        /* fifteen stretches, each a few ulp of the largest state there */
        ck_assert_msg(outcome.ours <= 1e-14, "ladder %d: %.3g from the truth", trial, outcome.ours);
        ck_assert_msg(outcome.ours <= outcome.theirs || outcome.apart <= 1e-14, "ladder %d: ours %.3g, the other's %.3g",
                      trial, outcome.ours, outcome.theirs);
    }
}
END_TEST

SUITE("outside: ladders against a stepping solver", states_at_events_agree_and_ours_are_the_nearer_to_the_truth)
