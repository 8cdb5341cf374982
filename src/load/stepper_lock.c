/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A stepper in step with its field: what is found of a run, steady motion, small deviations from it. docs/theory.md, section 14. */
#include "load/stepper_inner.h"
#include <dutywright/linear.h>
#include <math.h>

/* ---- findings of a run ---- */

double dw_stepper_lag(const struct dw_stepper_plan *plan, const double *state, const double *input)
{
    const struct stepper s = { .plan = *plan };
    return dwi_stepper_field(&s, state, input) - state[DW_STEPPER_FIRST] - dwi_stepper_teeth(plan) * state[DW_STEPPER_ANGLE];
}

/* A and electrical rad of what holds the rotor. */
static void take_holding(const struct dw_stepper_plan *p, const double *state, const double *input, struct dw_stepper_findings *f)
{
    const struct stepper s = { .plan = *p };
    const double full = p->microsteps == 1 ? M_SQRT2 : 1;
    double share[2] = { full, 0 };
    f->field = dwi_stepper_field(&s, state, input);
    f->amperes = hypot(state[DW_STEPPER_CURRENT_A], state[DW_STEPPER_CURRENT_B]);
    if (p->coils)
        dwi_stepper_shares(&s, state, input, share);
    if (p->drive == DW_STEPPER_CURRENT)
        f->amperes = hypot(share[0], share[1]) * p->current;
}

/* Whether energy of motion and of the lag within a turn of the field are too little to leave the place. */
static bool cannot_leave(const struct dw_stepper_plan *p, const double *state, double lag, double amperes)
{
    const double depth = p->constant * amperes / dwi_stepper_teeth(p), rest = lag - 2 * M_PI * rint(lag / (2 * M_PI));
    return dwi_stepper_inertia(p) * state[DW_STEPPER_SPEED] * state[DW_STEPPER_SPEED] / 2 + depth * (1 - cos(rest)) < depth;
}

void dw_stepper_meter_row(struct dw_stepper_meter *m, const struct dw_run_row *row)
{
    const struct dw_stepper_plan *p = m->plan;
    struct dw_stepper_findings *f = &m->found;
    const double *x = row->state, lag = dw_stepper_lag(p, x, row->input), step = M_PI / 2;
    if (!m->any)
        *f = (struct dw_stepper_findings){ .slipped_at = NAN };
    if (fabs(lag) > f->lag) {
        f->lag = fabs(lag);
        f->lag_at = row->time;
    }
    if (isnan(f->slipped_at) && f->lag >= 2 * step)
        f->slipped_at = row->time;
    take_holding(p, x, row->input, f);
    f->asked = rint(1e9 * (f->field - x[DW_STEPPER_FIRST]) / step) / 1e9;  /* without the angle's rounding */
    f->lost = 4 * rint(lag / (2 * M_PI)) + 0.0;  /* not -0 */
    f->made = f->asked - f->lost;
    f->angle = x[DW_STEPPER_ANGLE];
    f->heat = p->resistance * (x[DW_STEPPER_CURRENT_A] * x[DW_STEPPER_CURRENT_A] + x[DW_STEPPER_CURRENT_B] * x[DW_STEPPER_CURRENT_B]);
    f->rests = cannot_leave(p, x, lag, f->amperes);
    m->any = true;
}

/* ---- steady motion ---- */

double dw_stepper_frequency(const struct dw_stepper_plan *p, double amperes, double field)
{
    const double stiffness = dwi_stepper_teeth(p) * (p->constant * amperes + 4 * p->detent * cos(4 * field));
    return stiffness > 0 ? sqrt(stiffness / dwi_stepper_inertia(p)) / (2 * M_PI) : NAN;
}

double dw_stepper_fundamental(const struct dw_stepper_plan *p, double coil)
{
    const double half = M_PI / 4 / p->microsteps;  /* of a step: a staircase of a circle */
    return (p->microsteps == 1 ? M_SQRT2 : 1) * coil * sin(half) / half;
}

/* rad/s of the field, electrical. */
static double field_speed(double rate)
{
    return rate * M_PI / 2;
}

/* (14.7) */
bool dw_stepper_lock(const struct dw_stepper_plan *p, struct dw_stepper_locked *at)
{
    const double field = field_speed(at->rate), speed = field / dwi_stepper_teeth(p), r = dwi_stepper_ohms(p), x = field * p->inductance, z = hypot(r, x);
    const double emf = p->constant * speed, drag = at->rate > 0 ? p->drag : 0;
    at->quadrature = (at->torque / p->gear + p->friction * speed + drag) / p->constant;
    const double sine = (at->quadrature * z * z + r * emf) / (at->volts * z);
    if (!(fabs(sine) <= 1))
        return false;
    at->lag = atan2(x, r) + asin(sine);
    at->direct = (r * at->volts * cos(at->lag) + x * (at->volts * sin(at->lag) - emf)) / (z * z);
    return true;
}

enum dw_status dw_stepper_eigenvalues(const struct dw_stepper_plan *p, const struct dw_stepper_locked *at, double real[4], double imaginary[4],
                                      struct dw_error *error)
{
    const double field = field_speed(at->rate), l = p->inductance, r = dwi_stepper_ohms(p), n = dwi_stepper_teeth(p);
    const double j = dwi_stepper_inertia(p), u = at->volts;
    const double stiff = at->rate > 0 ? 0 : 4 * p->detent * cos(4 * at->field);
    const double a[16] = {
        -r / l,  field,  n * at->quadrature,                   -u / l * sin(at->lag),
        -field,  -r / l, -n * at->direct - p->constant / l,    u / l * cos(at->lag),
        0,       p->constant / j, -p->friction / j,            stiff / j,
        0,       0,      -n,                                   0,
    };
    struct dw_system *system = dw_system_new(&(struct dw_matrices){ .states = 4, .a = a }, error);
    const enum dw_status status = system ? dw_system_rates(system, real, imaginary, error) : error->status;
    dw_system_free(system);
    return status;
}
