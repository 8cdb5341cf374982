/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stepper.h"
#include "bench.h"
#include <gsl/gsl_errno.h>
#include <string.h>

static void rates(const struct stepped *p, const double *x, double *rate)
{
    for (size_t i = 0; i < p->n; i++) {
        double sum = p->b[i] * p->u;
        for (size_t j = 0; j < p->n; j++)
            sum += p->a[i * p->n + j] * x[j];
        rate[i] = sum;
    }
}

static int gsl_rates(double t, const double *x, double *rate, void *context)
{
    (void)t;
    rates(context, x, rate);
    return GSL_SUCCESS;
}

void rk_open(struct rk *rk, struct stepped *problem, double tolerance)
{
    rk->system = (gsl_odeiv2_system){ .function = gsl_rates, .dimension = problem->n, .params = problem };
    rk->driver = gsl_odeiv2_driver_alloc_y_new(&rk->system, gsl_odeiv2_step_rk8pd, 1e-6, tolerance, tolerance);
    bench_demand(rk->driver != NULL, "rk8pd: out of memory");
}

void rk_close(struct rk *rk)
{
    gsl_odeiv2_driver_free(rk->driver);
}

void rk_step(struct rk *rk, double *x, double from, double to)
{
    gsl_odeiv2_driver_reset_hstart(rk->driver, to - from);
    const int status = gsl_odeiv2_driver_apply(rk->driver, &from, to, x);
    bench_demand(status == GSL_SUCCESS, "rk8pd: %s", gsl_strerror(status));
}

static int cvode_rates(realtype t, N_Vector x, N_Vector rate, void *context)
{
    (void)t;
    rates(context, N_VGetArrayPointer(x), N_VGetArrayPointer(rate));
    return 0;
}

static int cvode_jacobian(realtype t, N_Vector x, N_Vector rate, SUNMatrix j, void *context, N_Vector s1, N_Vector s2, N_Vector s3)
{
    const struct stepped *p = context;
    (void)t, (void)x, (void)rate, (void)s1, (void)s2, (void)s3;
    for (size_t i = 0; i < p->n; i++)
        for (size_t k = 0; k < p->n; k++)
            SM_ELEMENT_D(j, i, k) = p->a[i * p->n + k];
    return 0;
}

void bdf_open(struct bdf *bdf, struct stepped *problem, double tolerance)
{
    const sunindextype n = (sunindextype)problem->n;
    bench_demand(SUNContext_Create(NULL, &bdf->context) == 0, "CVODE: no context");
    bdf->problem = problem;
    bdf->x = N_VNew_Serial(n, bdf->context);
    N_VConst(0, bdf->x);
    bdf->matrix = SUNDenseMatrix(n, n, bdf->context);
    bdf->solver = SUNLinSol_Dense(bdf->x, bdf->matrix, bdf->context);
    bdf->memory = CVodeCreate(CV_BDF, bdf->context);
    const int bad = CVodeInit(bdf->memory, cvode_rates, 0, bdf->x) || CVodeSStolerances(bdf->memory, tolerance, tolerance) ||
                    CVodeSetUserData(bdf->memory, problem) || CVodeSetLinearSolver(bdf->memory, bdf->solver, bdf->matrix) ||
                    CVodeSetJacFn(bdf->memory, cvode_jacobian) || CVodeSetMaxNumSteps(bdf->memory, 100000);
    bench_demand(!bad, "CVODE: cannot be set up");
}

void bdf_close(struct bdf *bdf)
{
    CVodeFree(&bdf->memory);
    SUNLinSolFree(bdf->solver);
    SUNMatDestroy(bdf->matrix);
    N_VDestroy(bdf->x);
    SUNContext_Free(&bdf->context);
}

void bdf_step(struct bdf *bdf, double *x, double from, double to)
{
    realtype reached;
    memcpy(N_VGetArrayPointer(bdf->x), x, bdf->problem->n * sizeof *x);
    const int good = CVodeReInit(bdf->memory, from, bdf->x) == CV_SUCCESS && CVodeSetStopTime(bdf->memory, to) == CV_SUCCESS &&
                     CVode(bdf->memory, to, bdf->x, &reached, CV_NORMAL) >= 0;
    bench_demand(good, "CVODE: stopped between %g and %g s", from, to);
    memcpy(x, N_VGetArrayPointer(bdf->x), bdf->problem->n * sizeof *x);
}
