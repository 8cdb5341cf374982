/* SPDX-License-Identifier: GPL-3.0-or-later */
/* SUNDIALS CVODE (Hindmarsh et al. 2005, ACM Trans. Math. Softw. 31:363) beside a run of ours. */
#ifndef TESTS_OUTSIDE_CVODE_H
#define TESTS_OUTSIDE_CVODE_H

#include "suite.h"
#include <cvode/cvode.h>
#include <nvector/nvector_serial.h>
#include <stdbool.h>
#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_dense.h>
#include <sunnonlinsol/sunnonlinsol_fixedpoint.h>

struct solver {
    SUNContext context;
    N_Vector y;
    SUNMatrix matrix;              /* of CV_BDF, with the linear solver */
    SUNLinearSolver linear;
    SUNNonlinearSolver nonlinear;  /* of CV_ADAMS: fixed points */
    void *memory;
};

/* All states zero, each step within 1e-12 of a state.
 *   method   CV_BDF or CV_ADAMS
 *   least    of a state, below which it need not be closer */
static inline void solver_open(struct solver *s, int method, sunindextype states, CVRhsFn side, void *of, double least)
{
    *s = (struct solver){ .memory = NULL };
    ck_assert_int_eq(SUNContext_Create(NULL, &s->context), 0);
    s->y = N_VNew_Serial(states, s->context);
    N_VConst(0, s->y);
    s->memory = CVodeCreate(method, s->context);
    ck_assert_int_eq(CVodeInit(s->memory, side, 0, s->y), CV_SUCCESS);
    ck_assert_int_eq(CVodeSStolerances(s->memory, 1e-12, least), CV_SUCCESS);
    ck_assert_int_eq(CVodeSetUserData(s->memory, of), CV_SUCCESS);
    ck_assert_int_eq(CVodeSetMaxNumSteps(s->memory, 2000000), CV_SUCCESS);
    if (method == CV_ADAMS) {
        s->nonlinear = SUNNonlinSol_FixedPoint(s->y, 0, s->context);
        ck_assert_int_eq(CVodeSetNonlinearSolver(s->memory, s->nonlinear), CV_SUCCESS);
        return;
    }
    s->matrix = SUNDenseMatrix(states, states, s->context);
    s->linear = SUNLinSol_Dense(s->y, s->matrix, s->context);
    ck_assert_int_eq(CVodeSetLinearSolver(s->memory, s->linear, s->matrix), CV_SUCCESS);
}

/* Where it stops on the way. */
static inline void solver_watch(struct solver *s, int count, CVRootFn roots)
{
    ck_assert_int_eq(CVodeRootInit(s->memory, count, roots), CV_SUCCESS);
    ck_assert_int_eq(CVodeSetNoInactiveRootWarn(s->memory), CV_SUCCESS);
}

/* From y at a time, behind a jump. */
static inline void solver_begin(struct solver *s, double from)
{
    ck_assert_int_eq(CVodeReInit(s->memory, from, s->y), CV_SUCCESS);
}

/* Carries y on, at the most to `until`.
 *   time     out, where it is
 *   returns  whether something watched stopped it */
static inline bool solver_go(struct solver *s, double until, double *time)
{
    ck_assert_int_eq(CVodeSetStopTime(s->memory, until), CV_SUCCESS);
    const int flag = CVode(s->memory, until, s->y, time, CV_NORMAL);
    ck_assert_msg(flag >= 0, "CVODE gives %d at %g", flag, *time);
    return flag == CV_ROOT_RETURN;
}

static inline void solver_close(struct solver *s)
{
    CVodeFree(&s->memory);
    if (s->nonlinear)
        SUNNonlinSolFree(s->nonlinear);
    if (s->linear)
        SUNLinSolFree(s->linear);
    if (s->matrix)
        SUNMatDestroy(s->matrix);
    N_VDestroy(s->y);
    SUNContext_Free(&s->context);
}

#endif
