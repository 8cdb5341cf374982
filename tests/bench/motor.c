/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A motor on one switch whose current stops in every period: our modes and guards against CVODE with its root-finding. The
 * true answer of the first periods is had in 113 bits, the instant the current stops by Newton's method. A unit of work is one
 * period: switch on, current through the diode, current stopped. */
#include "bench.h"
#include "linear/quad.h"
#include <cvode/cvode.h>
#include <dutywright/motor.h>
#include <math.h>
#include <nvector/nvector_serial.h>
#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_dense.h>

enum { PERIODS = 100000, PERIODS_CVODE = 500, PERIODS_TRUE = 40, N = 2 };

static const char JOB[] = "motor";
static const double PERIOD = 2.05e-3, DUTY = 0.37, TOLERANCE = 1e-10;
/* State after one period from rest, as ours has it: from there on the rotor turns, and its dry friction is a constant. All
 * sides begin there. */
static double begin[N];

static const struct dw_motor_plan MOTOR = { .resistance = 1.85, .inductance = 190e-6, .constant = 27e-3, .inertia = 9e-6,
                                            .friction = 2e-6, .drag = 4e-3, .gear = 1, .drive = DW_DRIVE_ONE_SWITCH,
                                            .supply = 12, .diode_drop = 0.7, .switch_resistance = 0.05, .threshold = 2.5 };

enum phase { ON, DIODE, STOPPED, PHASES };

/* x' = a x + e, x = (current, speed). */
struct equations {
    double a[N * N], e[N];
};

static struct equations equations_of(enum phase phase)
{
    const double drive = phase == ON ? MOTOR.supply : -MOTOR.diode_drop;
    const double resistance = MOTOR.resistance + (phase == ON ? MOTOR.switch_resistance : 0);
    struct equations q = { { 0, 0, MOTOR.constant / MOTOR.inertia, -MOTOR.friction / MOTOR.inertia },
                           { 0, -MOTOR.drag / MOTOR.inertia } };
    if (phase != STOPPED) {
        q.a[0] = -resistance / MOTOR.inductance;
        q.a[1] = -MOTOR.constant / MOTOR.inductance;
        q.e[0] = drive / MOTOR.inductance;
    }
    return q;
}

static void move(enum phase phase, quad *x, double length)
{
    const struct equations q = equations_of(phase);
    const double one = 1;
    quad_advance(q.a, NULL, q.e, NULL, N, 1, x, &one, &one, length);
}

/* One period; the current's end is found to a double of time, the rest of a step past it by the line. */
static void true_period(quad *x)
{
    move(ON, x, DUTY * PERIOD);
    double t = 0;
    for (int i = 0; i < 60; i++) {
        quad y[N] = { x[0], x[1] };
        if (t > 0)
            move(DIODE, y, t);
        const struct equations q = equations_of(DIODE);
        const quad slope = q.a[0] * y[0] + q.a[1] * y[1] + q.e[0];
        const double step = (double)(-y[0] / slope);
        if (fabs(step) <= 1e-16 * t || i == 59) {
            x[0] = 0;
            x[1] = y[1] + step * (q.a[2] * y[0] + q.a[3] * y[1] + q.e[1]);
            break;
        }
        t += step;
    }
    bench_demand(t > 0 && t < (1 - DUTY) * PERIOD, "the current does not stop within its period");
    move(STOPPED, x, (1 - DUTY) * PERIOD - t);
}

struct other {
    void *memory;
    N_Vector x;
    enum phase phase;
    struct equations equations[PHASES];
};

static int rates(realtype t, N_Vector x, N_Vector rate, void *context)
{
    (void)t;
    const struct other *o = context;
    const struct equations *q = o->equations + o->phase;
    const double *y = N_VGetArrayPointer(x);
    double *out = N_VGetArrayPointer(rate);
    for (int i = 0; i < N; i++)
        out[i] = q->a[i * N] * y[0] + q->a[i * N + 1] * y[1] + q->e[i];
    return 0;
}

static int jacobian(realtype t, N_Vector x, N_Vector rate, SUNMatrix j, void *context, N_Vector s1, N_Vector s2, N_Vector s3)
{
    const struct other *o = context;
    (void)t, (void)x, (void)rate, (void)s1, (void)s2, (void)s3;
    for (int i = 0; i < N; i++)
        for (int k = 0; k < N; k++)
            SM_ELEMENT_D(j, i, k) = o->equations[o->phase].a[i * N + k];
    return 0;
}

static int roots(realtype t, N_Vector x, realtype *g, void *context)
{
    (void)t;
    const struct other *o = context;
    g[0] = o->phase == DIODE ? N_VGetArrayPointer(x)[0] : 1;
    return 0;
}

static double step_to(struct other *o, enum phase phase, double from, double to)
{
    realtype reached = from;
    o->phase = phase;
    const int good = CVodeReInit(o->memory, from, o->x) == CV_SUCCESS && CVodeSetStopTime(o->memory, to) == CV_SUCCESS &&
                     CVode(o->memory, to, o->x, &reached, CV_NORMAL) >= 0;
    bench_demand(good, "CVODE: stopped between %g and %g s", from, to);
    return reached;
}

/* Both runs give the largest error at a period's end, over the first of them, where true states are given. */
static double worse(double error, const double *x, const double *truth)
{
    const double scale[N] = { dw_motor_stall_current(&MOTOR), dw_motor_no_load_speed(&MOTOR) };
    for (int i = 0; i < N; i++) {
        const double off = fabs(x[i] - truth[i]) / scale[i];
        error = off <= error ? error : off;  /* NaN stays */
    }
    return error;
}

static double run_other(struct other *o, int periods, double (*truth)[N])
{
    double error = 0, *x = N_VGetArrayPointer(o->x);
    x[0] = begin[0];
    x[1] = begin[1];
    for (int k = 0; k < periods; k++) {
        const double off = (k + DUTY) * PERIOD, end = (k + 1) * PERIOD;
        step_to(o, ON, k * PERIOD, off);
        const double stopped = step_to(o, DIODE, off, end);
        bench_demand(stopped < end, "CVODE: the current does not stop in period %d", k + 1);
        x[0] = 0;
        step_to(o, STOPPED, stopped, end);
        if (truth && k < PERIODS_TRUE)
            error = worse(error, x, truth[k]);
    }
    return error;
}

static double run_ours(struct dw_motor *motor, int periods, double (*truth)[N])
{
    struct dw_error why = { .status = DW_OK };
    double error = 0, input[DW_MOTOR_INPUTS] = { 5 };
    struct dw_run *run = dw_run_new(dw_plant_modes(dw_motor_plant(motor)), &(struct dw_run_options){ 0 }, &why);
    bench_demand(run && dw_run_start(run, 0, dw_plant_rest(dw_motor_plant(motor), NULL), (const double[DW_MOTOR_STATES]){ 0 }, input, &why) == DW_OK,
                 "%s", why.text);
    for (int k = -1; k < periods; k++) {
        const double off = (k + 1 + DUTY) * PERIOD, end = (k + 2) * PERIOD;
        enum dw_status status = dw_run_feed(run, off, input, &why);
        input[DW_MOTOR_PIN] = 0;
        if (status == DW_OK)
            status = dw_run_feed(run, off, input, &why);
        if (status == DW_OK)
            status = dw_run_feed(run, end, input, &why);
        bench_demand(status == DW_OK && dw_motor_blocked(motor, dw_run_mode(run)), "period %d: %s", k + 1, why.text);
        if (k < 0) {
            begin[0] = dw_run_state(run)[DW_MOTOR_CURRENT];
            begin[1] = dw_run_state(run)[DW_MOTOR_SPEED];
        } else if (truth && k < PERIODS_TRUE)
            error = worse(error, dw_run_state(run), truth[k]);
        input[DW_MOTOR_PIN] = 5;
        status = dw_run_feed(run, end, input, &why);
        bench_demand(status == DW_OK, "%s", why.text);
    }
    dw_run_free(run);
    return error;
}

int main(int argc, char **argv)
{
    const int rounds = bench_rounds(argc, argv);
    struct dw_error why = { .status = DW_OK };
    struct dw_motor *motor = dw_motor_new(&MOTOR, &why);
    bench_demand(motor != NULL, "%s", why.text);
    run_ours(motor, 1, NULL);
    double truth[PERIODS_TRUE][N];
    quad x[N] = { begin[0], begin[1] };
    for (int k = 0; k < PERIODS_TRUE; k++) {
        true_period(x);
        for (int i = 0; i < N; i++)
            truth[k][i] = (double)x[i];
    }
    SUNContext context;
    bench_demand(SUNContext_Create(NULL, &context) == 0, "CVODE: no context");
    struct other other = { .x = N_VNew_Serial(N, context) };
    for (int phase = 0; phase < PHASES; phase++)
        other.equations[phase] = equations_of((enum phase)phase);
    SUNMatrix matrix = SUNDenseMatrix(N, N, context);
    SUNLinearSolver solver = SUNLinSol_Dense(other.x, matrix, context);
    other.memory = CVodeCreate(CV_BDF, context);
    const int bad = CVodeInit(other.memory, rates, 0, other.x) || CVodeSStolerances(other.memory, TOLERANCE, TOLERANCE) ||
                    CVodeSetUserData(other.memory, &other) || CVodeSetLinearSolver(other.memory, solver, matrix) ||
                    CVodeSetJacFn(other.memory, jacobian) || CVodeRootInit(other.memory, 1, roots) ||
                    CVodeSetMaxNumSteps(other.memory, 100000);
    bench_demand(!bad, "CVODE: cannot be set up");

    const double ours = run_ours(motor, PERIODS_TRUE, truth), theirs = run_other(&other, PERIODS_TRUE, truth);
    bench_error(JOB, "ours", ours);
    bench_error(JOB, "CVODE", theirs);
    bench_demand(ours < theirs && ours < 1e-12, "ours is %g from the true answer, CVODE %g", ours, theirs);
    bench_work(JOB, "ours", PERIODS);
    bench_work(JOB, "CVODE", PERIODS_CVODE);
    for (int round = 0; round < rounds; round++) {
        const double start = bench_clock();
        run_ours(motor, PERIODS, NULL);
        const double middle = bench_clock();
        run_other(&other, PERIODS_CVODE, NULL);
        const double end = bench_clock();
        bench_time(JOB, "ours", (middle - start) / PERIODS);
        bench_time(JOB, "CVODE", (end - middle) / PERIODS_CVODE);
    }
    CVodeFree(&other.memory);
    SUNLinSolFree(solver);
    SUNMatDestroy(matrix);
    N_VDestroy(other.x);
    SUNContext_Free(&context);
    dw_motor_free(motor);
    return 0;
}
