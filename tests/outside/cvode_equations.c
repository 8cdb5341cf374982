/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Smooth equations against an independent solver: van der Pol's oscillator (1926, Phil. Mag. 2:978), driven by ramps and jumps,
 * against SUNDIALS CVODE (Hindmarsh et al. 2005, ACM Trans. Math. Softw. 31:363) with its own root-finding. */
#include "outside/cvode.h"
#include "suite.h"
#include <dutywright/equations.h>

enum { CROSSINGS = 64, ROWS = 12 };

/* x'' = mu (1 - x^2) x' - x + u; the instants at which x passes zero, and x' there. */
struct crossings {
    double mu, from, slope, input;  /* the input is a line from there */
    double time[CROSSINGS], speed[CROSSINGS];
    int count;
};

static void acceleration(double mu, const double *x, double u, double *rate)
{
    rate[0] = x[1];
    rate[1] = mu * (1 - x[0] * x[0]) * x[1] - x[0] + u;
}

static void note(struct crossings *crossings, double time, double speed)
{
    ck_assert_int_lt(crossings->count, CROSSINGS);
    crossings->time[crossings->count] = time;
    crossings->speed[crossings->count++] = speed;
}

/* ---- ours ---- */

static void rate_of(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    const double *mu = of;
    (void)mode, (void)time;
    acceleration(*mu, x, u[0], rate);
}

static void side(const void *of, size_t mode, double time, const double *x, const double *u, double *guard)
{
    (void)of, (void)time, (void)u;
    guard[0] = mode == 0 ? x[0] : -x[0];
}

static size_t other_side(const void *of, size_t mode, size_t guard, double time, double *x, const double *u)
{
    (void)of, (void)guard, (void)time, (void)x, (void)u;
    return !mode;
}

static enum dw_status note_row(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    (void)error;
    if (row->kind == DW_ROW_BEFORE)
        note(context, row->time, row->state[1]);
    return DW_OK;
}

/* ---- CVODE's ---- */

static int right_side(realtype time, N_Vector y, N_Vector dy, void *data)
{
    const struct crossings *c = data;
    acceleration(c->mu, NV_DATA_S(y), c->input + c->slope * (time - c->from), NV_DATA_S(dy));
    return 0;
}

static int root_of(realtype time, N_Vector y, realtype *g, void *data)
{
    (void)time, (void)data;
    g[0] = NV_Ith_S(y, 0);
    return 0;
}

static void integrate(struct solver *s, struct crossings *c, double until)
{
    double time = c->from;
    solver_begin(s, time);
    while (time < until)
        if (solver_go(s, until, &time))
            note(c, time, NV_Ith_S(s->y, 1));
}

START_TEST(crossings_and_states_of_a_driven_relaxation_oscillator_agree_from_soft_to_stiff)
{
    static const struct { double mu, period; int least; } cases[] = { { 1, 6.663, 20 }, { 5, 11.612, 20 }, { 50, 83.4, 20 } };
    /* in periods of the undriven oscillator; equal instants are a jump */
    static const double instant[ROWS] = { 0, 0.37, 1.1, 1.1, 2.9, 3.3, 4.1, 4.1, 6.2, 8.05, 9.3, 11.7 };
    static const double drive[ROWS] = { 0, 0.3, -0.2, 0.25, 0.25, -0.3, 0.1, -0.35, 0.2, 0, 0.15, -0.1 };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const double mu = cases[i].mu, period = cases[i].period, start[] = { 0.4, 0.1 }, scale[] = { 2, 1.5 * mu };
        static const struct dw_equations_mode sides[] = { { "above", 1 }, { "below", 1 } };
        struct crossings ours = { .mu = mu }, theirs = { .mu = mu };
        struct dw_error error = { .status = DW_OK };
        struct dw_modes *modes = dw_modes_new_smooth(&(struct dw_equations){ .states = 2, .inputs = 1, .modes = sides,
            .mode_count = 2, .state_scale = scale, .rate = rate_of, .guards = side, .leave = other_side, .of = &mu,
            .tolerance = 1e-12 }, &error);
        ck_assert_msg(modes != NULL, "%s", error.text);
        struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ .sink = note_row, .context = &ours }, &error);
        struct solver solver;
        solver_open(&solver, CV_BDF, 2, right_side, &theirs, 1e-13);
        solver_watch(&solver, 1, root_of);
        N_Vector y = solver.y;
        NV_Ith_S(y, 0) = start[0];
        NV_Ith_S(y, 1) = start[1];
        succeeds(dw_run_start(run, 0, 0, start, drive, &error), error);
        for (int k = 1; k < ROWS; k++) {
            const double from = instant[k - 1] * period, until = instant[k] * period;
            succeeds(dw_run_feed(run, until, drive + k, &error), error);
            if (until == from)
                continue;
            theirs.from = from;
            theirs.input = drive[k - 1];
            theirs.slope = (drive[k] - drive[k - 1]) / (until - from);
            integrate(&solver, &theirs, until);
            /* CVODE's 1e-12 a step grows to some 1e-9 over a few thousand steps, of the state and of the phase in periods, which
             * where the oscillator jumps moves the state by its rate */
            double rate[2];
            acceleration(mu, NV_DATA_S(y), drive[k], rate);
            for (int j = 0; j < 2; j++)
                within_scale(dw_run_state(run)[j], NV_Ith_S(y, j), 5e-9 * (1 + period * fabs(rate[j]) / scale[j]), scale[j]);
        }
        ck_assert_int_eq(ours.count, theirs.count);
        for (int k = 0; k < ours.count; k++) {
            within_scale(ours.time[k], theirs.time[k], 5e-9, period);
            within_scale(ours.speed[k], theirs.speed[k], 5e-9, scale[1]);
        }
        ck_assert_int_ge(ours.count, cases[i].least);
        solver_close(&solver);
        dw_run_free(run);
        dw_modes_free(modes);
    }
}
END_TEST

SUITE("outside: smooth equations against CVODE", crossings_and_states_of_a_driven_relaxation_oscillator_agree_from_soft_to_stiff)
