/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A stepper by an independent solver: SUNDIALS CVODE with its root-finding (Hindmarsh et al. 2005, ACM Trans. Math. Softw. 31:363). It has its own
 * equations, in the mechanical angle, and its own list of what a bridge with a fixed off time does: instants of timers are stops, a
 * reference that is reached, a current that ends, diodes that a coil's own voltage opens and a rotor that stops are roots. */
#ifndef TESTS_OUTSIDE_OTHER_STEPPER_H
#define TESTS_OUTSIDE_OTHER_STEPPER_H

#include <cvode/cvode.h>
#include <dutywright/stepper.h>
#include <math.h>
#include <nvector/nvector_serial.h>
#include <stdbool.h>
#include <sundials/sundials_nonlinearsolver.h>
#include <sunnonlinsol/sunnonlinsol_fixedpoint.h>

enum other_bridge { RISES, FALLS_BACK, FALLS_SHORT, FALLS_NOT };

struct other_stepper {
    const struct dw_stepper_plan *p;
    SUNContext context;
    N_Vector y;  /* A, A, rad/s, rad from the place where coil a alone holds it */
    SUNNonlinearSolver solver;
    void *memory;
    double t, field;             /* s; electrical rad */
    enum other_bridge bridge[2];
    int sense[2];                /* of what rises, or of a current that falls */
    double until[2];             /* s, that the bridge does so; INFINITY: until a root */
    bool blank[2], freed[2];
    int slides;                  /* 1, -1, 0: sticks */
};

static inline double other_teeth(const struct other_stepper *o)
{
    return o->p->full_steps / 4.0;
}

/* Full steps stand between the coils, microsteps begin on one. */
static inline double other_share(const struct other_stepper *o, int k)
{
    const double share = (o->p->microsteps == 1 ? sqrt(2) : 1) * cos(o->field - k * M_PI / 2);
    return fabs(share) < 1e-9 ? 0 : share;
}

static inline double other_torque(const struct other_stepper *o, const double *y)
{
    const double n = other_teeth(o);
    return -o->p->constant * y[0] * sin(n * y[3]) + o->p->constant * y[1] * cos(n * y[3]) - o->p->detent * sin(4 * n * y[3]) -
           o->p->torque / o->p->gear;
}

/* V, of a coil that the rotor turns before. */
static inline double other_emf(const struct other_stepper *o, const double *y, int k)
{
    const double angle = other_teeth(o) * y[3];
    return o->p->constant * y[2] * (k == 0 ? -sin(angle) : cos(angle));
}

/* V, against which a current falls back into the supply. */
static inline double other_back(const struct other_stepper *o)
{
    return o->p->supply + 2 * o->p->diode_drop;
}

static inline int other_rates(realtype t, N_Vector x, N_Vector rate, void *context)
{
    (void)t;
    const struct other_stepper *o = context;
    const struct dw_stepper_plan *p = o->p;
    const double *y = N_VGetArrayPointer(x);
    double *out = N_VGetArrayPointer(rate);
    for (int k = 0; k < 2; k++) {
        double volts = p->drive == DW_STEPPER_VOLTAGE ? other_share(o, k) * p->supply : 0;
        double ohms = p->resistance + 2 * p->switch_resistance;
        if (p->drive == DW_STEPPER_CURRENT && o->bridge[k] == RISES)
            volts = o->sense[k] * p->supply;
        if (p->drive == DW_STEPPER_CURRENT && o->bridge[k] == FALLS_BACK) {
            volts = -o->sense[k] * other_back(o);
            ohms = p->resistance;
        }
        out[k] = p->drive == DW_STEPPER_CURRENT && o->bridge[k] == FALLS_NOT ? 0 : (volts - other_emf(o, y, k) - ohms * y[k]) / p->inductance;
    }
    out[2] = o->slides ? (other_torque(o, y) - p->friction * y[2] - o->slides * p->drag) / (p->inertia + p->load_inertia / (p->gear * p->gear)) : 0;
    out[3] = y[2];
    return 0;
}

static inline int other_roots(realtype t, N_Vector x, realtype *g, void *context)
{
    (void)t;
    const struct other_stepper *o = context;
    const double *y = N_VGetArrayPointer(x);
    for (int k = 0; k < 2; k++) {
        g[k] = 1;
        if (o->p->drive == DW_STEPPER_CURRENT && o->bridge[k] == RISES && !o->blank[k])
            g[k] = fabs(other_share(o, k)) * o->p->current - o->sense[k] * y[k];
        if (o->p->drive == DW_STEPPER_CURRENT && o->bridge[k] == FALLS_BACK)
            g[k] = o->sense[k] * y[k];
        if (o->p->drive == DW_STEPPER_CURRENT && o->bridge[k] == FALLS_NOT)
            g[k] = other_back(o) - fabs(other_emf(o, y, k));
    }
    /* without friction that sticks nothing happens where the rotor turns back, and at rest the speed's sign is rounding */
    g[2] = o->p->drag == 0 ? 1 : o->slides ? o->slides * y[2] : o->p->drag - other_torque(o, y);
    g[3] = o->slides ? 1 : o->p->drag + other_torque(o, y);
    return 0;
}

/* Back into the supply: the current that there is, or what the coil's own voltage drives through the diodes. */
static inline void other_fall_back(struct other_stepper *o, int k)
{
    const double *y = N_VGetArrayPointer(o->y), emf = other_emf(o, y, k);
    o->bridge[k] = y[k] == 0 && fabs(emf) < other_back(o) ? FALLS_NOT : FALLS_BACK;
    o->sense[k] = (y[k] == 0 ? -emf : y[k]) > 0 ? 1 : -1;
}

/* On, if there is anything to be driven. */
static inline void other_rise(struct other_stepper *o, int k)
{
    const double share = other_share(o, k);
    o->freed[k] = share == 0;
    if (o->freed[k]) {
        other_fall_back(o, k);
        o->until[k] = INFINITY;
        return;
    }
    o->bridge[k] = RISES;
    o->sense[k] = share > 0 ? 1 : -1;
    o->blank[k] = o->p->blanking > 0;
    o->until[k] = o->blank[k] ? o->t + o->p->blanking : INFINITY;
}

static inline void other_short(struct other_stepper *o, int k)
{
    o->bridge[k] = FALLS_SHORT;
    o->until[k] = o->t + (1 - o->p->fast) * o->p->off_time;
}

static inline void other_fall(struct other_stepper *o, int k)
{
    if (o->p->fast == 0) {
        other_short(o, k);
        return;
    }
    other_fall_back(o, k);
    o->until[k] = o->t + o->p->fast * o->p->off_time;
}

/* A bridge that rises above its reference already falls at once. */
static inline void other_check(struct other_stepper *o, int k)
{
    if (o->p->drive == DW_STEPPER_CURRENT && o->bridge[k] == RISES && !o->blank[k] &&
        o->sense[k] * NV_Ith_S(o->y, k) >= fabs(other_share(o, k)) * o->p->current)
        other_fall(o, k);
}

static inline void other_timer(struct other_stepper *o, int k)
{
    if (o->bridge[k] == RISES) {
        o->blank[k] = false;
        o->until[k] = INFINITY;
        other_check(o, k);
    } else if (o->bridge[k] != FALLS_SHORT && o->p->fast < 1) {
        other_short(o, k);
    } else {
        other_rise(o, k);
        other_check(o, k);
    }
}

static inline void other_root(struct other_stepper *o, const int *found)
{
    double *y = N_VGetArrayPointer(o->y);
    for (int k = 0; k < 2; k++) {
        if (found[k] && o->bridge[k] == RISES)
            other_fall(o, k);
        else if (found[k]) {
            y[k] = 0;
            other_fall_back(o, k);
        }
    }
    if (o->slides && found[2]) {
        const double torque = other_torque(o, y);
        y[2] = 0;
        o->slides = torque > o->p->drag ? 1 : torque < -o->p->drag ? -1 : 0;
    } else if (!o->slides && (found[2] || found[3])) {
        o->slides = found[2] ? 1 : -1;
    }
}

/* Goes on to an instant; false where the solver stops. */
static inline bool other_advance(struct other_stepper *o, double end)
{
    while (o->t < end) {
        const double stop = fmin(end, fmin(o->until[0], o->until[1]));
        if (stop > o->t) {
            int found[4];
            const int flag = CVodeReInit(o->memory, o->t, o->y) || CVodeSetStopTime(o->memory, stop) ? -1 :
                             CVode(o->memory, stop, o->y, &o->t, CV_NORMAL);
            if (flag < 0 || (flag == CV_ROOT_RETURN && CVodeGetRootInfo(o->memory, found)))
                return false;
            if (flag == CV_ROOT_RETURN)
                other_root(o, found);
        }
        for (int k = 0; k < 2; k++)
            if (o->until[k] <= o->t)
                other_timer(o, k);
    }
    return true;
}

/* The field goes a step; what is driven with another sign begins to rise, what decays goes on. */
static inline void other_step(struct other_stepper *o, int way)
{
    o->field += way * M_PI / 2 / o->p->microsteps;
    for (int k = 0; k < 2; k++) {
        const double share = other_share(o, k);
        if (o->freed[k] ? share != 0 : o->bridge[k] == RISES && (share == 0 || (share > 0) != (o->sense[k] > 0)))
            other_rise(o, k);
        other_check(o, k);
    }
}

/* As the plant begins: its state, from a run that has been started. */
static inline bool other_open(struct other_stepper *o, const struct dw_stepper_plan *p, const double *state, double tolerance)
{
    *o = (struct other_stepper){ .p = p, .field = state[DW_STEPPER_FIRST], .until = { INFINITY, INFINITY }, .slides = p->drag == 0 };
    if (SUNContext_Create(NULL, &o->context))
        return false;
    o->y = N_VNew_Serial(4, o->context);
    for (int i = 0; i < 4; i++)
        NV_Ith_S(o->y, i) = state[i];
    NV_Ith_S(o->y, 3) += state[DW_STEPPER_FIRST] / other_teeth(o);
    o->solver = SUNNonlinSol_FixedPoint(o->y, 0, o->context);
    o->memory = CVodeCreate(CV_ADAMS, o->context);
    const int bad = CVodeInit(o->memory, other_rates, 0, o->y) || CVodeSStolerances(o->memory, tolerance, tolerance) ||
                    CVodeSetUserData(o->memory, o) || CVodeSetNonlinearSolver(o->memory, o->solver) || CVodeRootInit(o->memory, 4, other_roots) ||
                    CVodeSetMaxNumSteps(o->memory, 1000000) || CVodeSetNoInactiveRootWarn(o->memory);
    for (int k = 0; k < 2 && p->drive == DW_STEPPER_CURRENT; k++) {
        other_rise(o, k);
        other_check(o, k);
    }
    return !bad;
}

static inline void other_close(struct other_stepper *o)
{
    CVodeFree(&o->memory);
    SUNNonlinSolFree(o->solver);
    N_VDestroy(o->y);
    SUNContext_Free(&o->context);
}

#endif
