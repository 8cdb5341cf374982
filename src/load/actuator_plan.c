/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What must hold of an actuator's values, and what follows from them. docs/theory.md, section 15. */
#include "load/build_inner.h"
#include <dutywright/actuator.h>
#include <math.h>

/* Of the thread, with the wedge of its flanks. */
static double thread_friction(const struct dw_actuator_plan *p)
{
    return p->screw_friction / cos(p->thread_angle / 2 * M_PI / 180);
}

struct dw_screw dw_actuator_screw(const struct dw_actuator_plan *p)
{
    const double ideal = p->lead / (2 * M_PI), around = M_PI * p->screw_diameter, mu = thread_friction(p);
    const double collar = p->collar_friction * p->collar_diameter / 2;
    if (p->efficiency > 0)
        return (struct dw_screw){ ideal, ideal / p->efficiency, ideal * (2 - 1 / p->efficiency) };
    return (struct dw_screw){ ideal, p->screw_diameter / 2 * (p->lead + mu * around) / (around - mu * p->lead) + collar,
                              p->screw_diameter / 2 * (p->lead - mu * around) / (around + mu * p->lead) - collar };
}

double dw_actuator_lifts(const struct dw_actuator_plan *p, double current)
{
    return fmax(p->motor.gear * (p->motor.constant * current - p->motor.drag), 0) / dw_actuator_screw(p).raise;
}

double dw_actuator_back_drive(const struct dw_actuator_plan *p)
{
    const double lower = dw_actuator_screw(p).lower;
    return lower > 0 ? p->motor.gear * p->motor.drag / lower : INFINITY;
}

double dw_actuator_stall_current(const struct dw_actuator_plan *p)
{
    const bool bridge = p->motor.drive != DW_DRIVE_DIRECT && p->motor.drive != DW_DRIVE_ONE_SWITCH;
    return p->motor.supply / (p->motor.resistance + (bridge ? 2 : 1) * p->motor.switch_resistance);
}

/* ---- refusals ---- */

static enum dw_status check_screw(const struct dw_actuator_plan *p, struct dw_error *error)
{
    const double around = M_PI * p->screw_diameter, mu = thread_friction(p);
    if (!(p->lead > 0))
        return dw_error_member(error, "lead", "a lead of %g m: the nut would not move out; pitch times starts is above zero, such as "
                               "0.003 m", p->lead);
    if (!(p->efficiency >= 0 && p->efficiency <= 1))
        return dw_error_member(error, "efficiency", "efficiency %g: must be above 0 and at most 1", p->efficiency);
    if (p->efficiency > 0)
        return DW_OK;
    if (!(p->screw_diameter > 0))
        return dw_error_member(error, "screw_diameter", "screw diameter %g m: must be above zero", p->screw_diameter);
    if (!(p->thread_angle < 180))
        return dw_error_member(error, "thread_angle", "thread angle %g deg: must be below 180; 0 is square, 29 and 30 are "
                               "trapezoids", p->thread_angle);
    if (!(around > mu * p->lead))
        return dw_error_member(error, "screw_friction", "the screw binds: with a friction of %g in its flanks no torque raises a load "
                               "along a lead of %g m; a friction below %.3g would do, or a lead below %.3g m", p->screw_friction,
                               p->lead, p->screw_friction * around / (mu * p->lead), around / mu);
    return isfinite(dw_actuator_screw(p).raise) ? DW_OK : dw_error_member(error, "screw_diameter", "screw diameter %g m: too large to turn",
                                                                          p->screw_diameter);
}

/* What the mass adds to the inertia where the load drives must leave some: (15.4). */
static enum dw_status check_wedge(const struct dw_actuator_plan *p, struct dw_error *error)
{
    const struct dw_screw screw = dw_actuator_screw(p);
    const double added = p->mass / p->motor.gear * screw.ideal / p->motor.gear * screw.lower, inertia = p->motor.inertia;
    if (inertia + added > 0)
        return DW_OK;
    return dw_error_member(error, "mass", "the screw would wedge: a mass of %g kg that drives this self-locking screw stops it faster "
                           "than its friction allows; a mass below %.3g kg would do, or an inertia of the rotor above %.3g kg m^2", p->mass,
                           -inertia / added * p->mass, -added);
}

static enum dw_status check_ends(const struct dw_actuator_plan *p, struct dw_error *error)
{
    const double beyond = p->switches ? p->overtravel : 0;
    if (p->switches && !(p->differential > 0 && p->differential < p->travel))
        return dw_error_member(error, "differential", "a differential of %g m: must be above zero and below the travel, %g m; a "
                               "hundredth of it, %g m, would do", p->differential, p->travel, p->travel / 100);
    if (p->switches && !(p->overtravel >= 0))
        return dw_error_member(error, "overtravel", "an overtravel of %g m: must not be negative", p->overtravel);
    if (!(p->initial >= -beyond && p->initial <= p->travel + beyond))
        return dw_error_member(error, "initial", "a position of %g m at first: the stops are at %g m and %g m",
                               p->initial, 0 - beyond, p->travel + beyond);
    return DW_OK;
}

enum dw_status dw_actuator_check(const struct dw_actuator_plan *p, struct dw_error *error)
{
    const struct dw_demand demands[] = {
        { "lead", "lead", p->lead, "m", DW_FINITE },
        { "efficiency", "efficiency", p->efficiency, "", DW_FINITE },
        { "screw_friction", "screw friction", p->screw_friction, "", DW_NOT_NEGATIVE },
        { "screw_diameter", "screw diameter", p->screw_diameter, "m", DW_NOT_NEGATIVE },
        { "thread_angle", "thread angle", p->thread_angle, "deg", DW_NOT_NEGATIVE },
        { "collar_friction", "collar friction", p->collar_friction, "", DW_NOT_NEGATIVE },
        { "collar_diameter", "collar diameter", p->collar_diameter, "m", DW_NOT_NEGATIVE },
        { "travel", "travel", p->travel, "m", DW_ABOVE_ZERO },
        { "initial", "initial position", p->initial, "m", DW_FINITE },
        { "force", "force", p->force, "N", DW_FINITE },
        { "mass", "mass", p->mass, "kg", DW_NOT_NEGATIVE },
        { "backlash", "backlash", p->backlash, "m", DW_NOT_NEGATIVE },
        { "feedback_low", "feedback", p->feedback_low, "V", DW_FINITE },
        { "feedback_high", "feedback", p->feedback_high, "V", DW_FINITE },
    };
    const struct dw_motor_plan *m = &p->motor;
    if (dw_motor_check(m, error) || dw_demands_check(demands, sizeof demands / sizeof demands[0], error) ||
        check_screw(p, error))
        return DW_BAD_USE;
    if (m->torque != 0 || m->load_drag > 0 || m->torque_at_square > 0 || m->load_inertia > 0)
        return dw_error_member(error, "torque",
                               "an actuator's motor has no load but the screw: give a force and a mass");
    if (p->backlash > 0 && !(p->mass > 0))
        return dw_error_member(error, "backlash", "a backlash of %g m without a mass: what moves in it must have one",
                               p->backlash);
    const enum dw_status status = check_ends(p, error);
    return status ? status : check_wedge(p, error);
}
