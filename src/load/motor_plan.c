/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What must hold of a motor's values. docs/theory.md, section 7. */
#include "load/build_inner.h"
#include <math.h>

enum dw_status dw_motor_ratings(double volts, double free_speed, double free_current, double stall_current,
                                struct dw_motor_plan *plan, struct dw_error *error)
{
    const struct dw_demand demands[] = {
        { "volts", "volts", volts, "V", DW_ABOVE_ZERO },
        { "free_speed", "free-speed", free_speed, "rad/s", DW_ABOVE_ZERO },
        { "free_current", "free-current", free_current, "A", DW_ABOVE_ZERO },
        { "stall_current", "stall-current", stall_current, "A", DW_ABOVE_ZERO },
    };
    const enum dw_status status = dw_demands_check(demands, sizeof demands / sizeof demands[0], error);
    if (status)
        return status;
    if (!(stall_current > free_current))
        return dwi_demand_refuse("stall_current", "stall-current %.*g A: must be above the free-current, %.*g A", stall_current,
                                 free_current, error);
    plan->resistance = volts / stall_current;
    plan->constant = (volts - plan->resistance * free_current) / free_speed;
    plan->drag = plan->constant * free_current;
    return DW_OK;
}

enum dw_status dw_motor_check(const struct dw_motor_plan *p, struct dw_error *error)
{
    const struct dw_demand demands[] = {
        { "resistance", "resistance", p->resistance, "ohm", DW_ABOVE_ZERO },
        { "inductance", "inductance", p->inductance, "H", DW_ABOVE_ZERO },
        { "constant", "constant", p->constant, "V s/rad", DW_ABOVE_ZERO },
        { "inertia", "inertia", p->inertia, "kg m^2", DW_ABOVE_ZERO },
        { "friction", "friction", p->friction, "N m s/rad", DW_NOT_NEGATIVE },
        { "drag", "drag", p->drag, "N m", DW_NOT_NEGATIVE },
        { "load_drag", "load drag", p->load_drag, "N m", DW_NOT_NEGATIVE },
        { "torque", "torque", p->torque, "N m", DW_FINITE },
        { "torque_at_square", "torque at square", p->torque_at_square, "N m s^2/rad^2", DW_NOT_NEGATIVE },
        { "accuracy", "accuracy", p->accuracy, "of the square law", DW_NOT_NEGATIVE },
        { "gear", "gear", p->gear, "to 1", DW_ABOVE_ZERO },
        { "load_inertia", "load inertia", p->load_inertia, "kg m^2", DW_NOT_NEGATIVE },
        { "supply", "supply", p->supply, "V", DW_ABOVE_ZERO },
        { "diode_drop", "diode drop", p->diode_drop, "V", DW_NOT_NEGATIVE },
        { "switch_resistance", "switch resistance", p->switch_resistance, "ohm", DW_NOT_NEGATIVE },
        { "threshold", "threshold", p->threshold, "V", DW_FINITE },
    };
    const enum dw_status status = dw_demands_check(demands, sizeof demands / sizeof demands[0], error);
    if (status)
        return status;
    if (!(p->diode_drop < p->supply))
        return dwi_demand_refuse("diode_drop", "diode drop %.*g V: must be below the supply, %.*g V", p->diode_drop, p->supply, error);
    if (p->drive == DW_DRIVE_DIRECT && !dw_supply_ideal(&p->source))
        return dw_error_member(error, "source", "a supply that gives way is of switched drives: direct is a voltage as it stands");
    if (dw_supply_check(&p->source, error))
        return DW_BAD_USE;
    bool bridge = p->drive == DW_DRIVE_BRIDGE_SLOW || p->drive == DW_DRIVE_BRIDGE_FAST;
    if (p->direction && !bridge)
        return dw_error_member(error, "direction", "a direction needs a full bridge: drive bridge-slow or bridge-fast");
    if (p->low_gate && (p->drive == DW_DRIVE_DIRECT || p->drive == DW_DRIVE_BRIDGE_FAST))
        return dw_error_member(error, "low_gate", "a low gate is of the drives one-switch, bridge-slow and antiphase");
    return DW_OK;
}

double dw_motor_stall_current(const struct dw_motor_plan *plan)
{
    return plan->supply / plan->resistance;
}

double dw_motor_no_load_speed(const struct dw_motor_plan *plan)
{
    return plan->supply / plan->constant;
}
