/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Two solvers that step through time, for linear systems under pulses: GSL's rk8pd (Prince and Dormand 1981) and SUNDIALS
 * CVODE (Hindmarsh et al. 2005, ACM Trans. Math. Softw. 31:363). */
#ifndef TESTS_BENCH_STEPPER_H
#define TESTS_BENCH_STEPPER_H

#include <cvode/cvode.h>
#include <gsl/gsl_odeiv2.h>
#include <nvector/nvector_serial.h>
#include <stddef.h>
#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_dense.h>

enum { STEPPED_STATES = 4 };

/* x' = a x + b u, u constant between edges. */
struct stepped {
    size_t n;
    double a[STEPPED_STATES * STEPPED_STATES], b[STEPPED_STATES], u;
};

struct rk {
    gsl_odeiv2_system system;
    gsl_odeiv2_driver *driver;
};
/* Relative and absolute tolerance are the same. */
void rk_open(struct rk *rk, struct stepped *problem, double tolerance);
void rk_close(struct rk *rk);
/* From an edge to the next: no step may reach over it, the first one is tried over the whole. */
void rk_step(struct rk *rk, double *x, double from, double to);

struct bdf {
    SUNContext context;
    N_Vector x;
    SUNMatrix matrix;
    SUNLinearSolver solver;
    void *memory;
    struct stepped *problem;
};
void bdf_open(struct bdf *bdf, struct stepped *problem, double tolerance);
void bdf_close(struct bdf *bdf);
void bdf_step(struct bdf *bdf, double *x, double from, double to);

#endif
