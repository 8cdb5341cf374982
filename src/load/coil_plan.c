/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What must hold of a coil's values, and its circuits. docs/theory.md, section 8. */
#include "load/coil_inner.h"
#include "load/build_inner.h"
#include <math.h>

/* Per kelvin at 20 degC: IEC 60028. degC: the range in which the straight law is offered. */
static const double COPPER = 0.00393, COPPER_AT = 20, COLDEST = -100, HOTTEST = 300;

double dw_coil_copper(double resistance, double at, double temperature)
{
    if (!(at >= COLDEST && at <= HOTTEST) || !(temperature >= COLDEST && temperature <= HOTTEST))
        return NAN;
    return resistance * (1 + COPPER * (temperature - COPPER_AT)) / (1 + COPPER * (at - COPPER_AT));
}

double dw_coil_full_current(const struct dw_coil_plan *plan)
{
    return plan->supply / (plan->resistance + plan->switch_resistance);
}

bool dwi_coil_clamp_holds(const struct dw_coil_plan *p)
{
    return p->clamp == DW_CLAMP_DIODE || p->clamp == DW_CLAMP_ZENER;
}

bool dwi_coil_clamp_leaks(const struct dw_coil_plan *p)
{
    return p->clamp == DW_CLAMP_RESISTOR && p->clamp_at_switch;
}

double dwi_coil_clamp_excess(const struct dw_coil_plan *p)
{
    switch (p->clamp) {
    case DW_CLAMP_NONE:
        return INFINITY;
    case DW_CLAMP_DIODE:
        return p->diode_drop;
    case DW_CLAMP_ZENER:
        return p->clamp_at_switch ? p->clamp_value - p->supply : p->diode_drop + p->clamp_value;
    case DW_CLAMP_RESISTOR:
        return p->clamp_at_switch ? INFINITY : p->diode_drop;
    }
    return NAN;  /* unrun: all-cases */
}

double dwi_coil_clamp_onset(const struct dw_coil_plan *p)
{
    return p->supply + dwi_coil_clamp_excess(p);
}

struct coil_branch dwi_coil_onset(const struct dw_coil_plan *p)
{
    if (p->clamp == DW_CLAMP_ZENER && p->clamp_at_switch)
        return (struct coil_branch){ .alone = p->clamp_value };
    return (struct coil_branch){ .supply = 1, .alone = dwi_coil_clamp_excess(p) };
}

double dwi_coil_inductance(const struct dw_coil_plan *p, bool pulled_in)
{
    return pulled_in && p->inductance_closed > 0 ? p->inductance_closed : p->inductance;
}

/* ---- the circuits ---- */

static const struct coil_branch the_current = { .current = 1 };

/* The switch is off: what a resistor across it takes at the voltage of the switch. */
static struct coil_branch leak(const struct dw_coil_plan *p, const struct coil_branch *sw)
{
    double ohms = p->clamp_value;
    if (!dwi_coil_clamp_leaks(p))
        return (struct coil_branch){ 0 };
    return (struct coil_branch){ sw->current / ohms, sw->stray / ohms, sw->supply / ohms, sw->alone / ohms };
}

static struct coil_circuit open_circuit(const struct dw_coil_plan *p)
{
    struct coil_circuit c = { .name = "the switch is open" };
    if (p->stray > 0) {
        c.sw = (struct coil_branch){ .stray = 1 };
        c.clamp_current = leak(p, &c.sw);
        c.drive = (struct coil_branch){ .current = -p->resistance, .stray = -1 };
        c.charge = (struct coil_branch){ .current = 1 - c.clamp_current.current, .stray = -c.clamp_current.stray };
        c.share = 1;
    } else if (dwi_coil_clamp_leaks(p)) {
        c.sw = (struct coil_branch){ .current = p->clamp_value };
        c.clamp_current = the_current;
        c.drive.current = -p->resistance - p->clamp_value;
        c.share = 1;
    } else {
        c.sw = (struct coil_branch){ .supply = 1 };
    }
    c.clamp_volts = dwi_coil_clamp_leaks(p) ? c.sw : (struct coil_branch){ 0 };
    return c;
}

static struct coil_circuit clamped_circuit(const struct dw_coil_plan *p)
{
    struct coil_circuit c = { .name = "the clamp conducts", .clamp_current = the_current };
    const struct coil_branch onset = dwi_coil_onset(p);
    if (dwi_coil_clamp_holds(p)) {
        c.sw = onset;
    } else if (p->stray > 0) {
        c.sw = (struct coil_branch){ .stray = 1 };
        const double each_volt = 1 / p->clamp_value;
        c.clamp_current = (struct coil_branch){ .stray = each_volt, .supply = -each_volt * onset.supply, .alone = -each_volt * onset.alone };
        c.charge = (struct coil_branch){ 1, -c.clamp_current.stray, -c.clamp_current.supply, -c.clamp_current.alone };
    } else {
        c.sw = (struct coil_branch){ .current = p->clamp_value, .supply = onset.supply, .alone = onset.alone };
    }
    c.drive = (struct coil_branch){ .current = -p->resistance - c.sw.current, .stray = -c.sw.stray };
    c.share = c.sw.stray != 0 || p->clamp_at_switch;
    c.own = c.sw.stray != 0 ? 0 : p->clamp_at_switch ? -p->clamp_value : -dwi_coil_clamp_excess(p);
    c.clamp_volts = c.sw;
    if (!p->clamp_at_switch) {  /* less the supply's */
        c.clamp_volts.supply -= 1;
        c.clamp_volts.alone = c.sw.stray != 0 ? 0 : dwi_coil_clamp_excess(p);
    }
    return c;
}

struct coil_circuit dwi_coil_circuit(const struct dw_coil_plan *p, enum circuit circuit)
{
    struct coil_circuit c = { .name = "the switch is on", .share = 1 };
    switch (circuit) {
    case CIRCUIT_ON:
        c.drive.current = -p->resistance - p->switch_resistance;
        c.sw = (struct coil_branch){ .current = p->switch_resistance };
        c.switch_current = the_current;
        break;
    case CIRCUIT_OPEN:
        c = open_circuit(p);
        break;
    case CIRCUIT_CLAMPED:
        c = clamped_circuit(p);
        break;
    case CIRCUIT_BODY:
        c.name = "the body diode conducts";
        c.sw = (struct coil_branch){ .alone = -p->diode_drop };
        c.drive.current = -p->resistance;
        c.own = p->diode_drop;
        c.clamp_current = leak(p, &c.sw);
        c.clamp_volts = dwi_coil_clamp_leaks(p) ? c.sw : (struct coil_branch){ 0 };
        c.switch_current = (struct coil_branch){ .current = 1, .alone = -c.clamp_current.alone };
        break;
    case CIRCUITS:  /* unrun: all-cases */
        break;
    }
    c.drive.supply = c.share;
    c.drive.alone = c.own;
    c.supply_current.current = c.share;
    /* a clamp at the coil sends its current round: the supply gives only what charges the stray */
    if (circuit == CIRCUIT_CLAMPED && !p->clamp_at_switch)
        c.supply_current = c.charge;
    return c;
}

/* ---- the check ---- */

static enum dw_status check_ranges(const struct dw_coil_plan *p, struct dw_error *error)
{
    const bool valued = p->clamp == DW_CLAMP_ZENER || p->clamp == DW_CLAMP_RESISTOR;
    const struct dw_demand demands[] = {
        { "resistance", "resistance", p->resistance, "ohm", DW_ABOVE_ZERO },
        { "inductance", "inductance", p->inductance, "H", DW_ABOVE_ZERO },
        { "inductance_closed", "closed inductance", p->inductance_closed, "H", DW_NOT_NEGATIVE },
        { "supply", "supply", p->supply, "V", DW_ABOVE_ZERO },
        { "clamp_value", p->clamp == DW_CLAMP_ZENER ? "zener" : "clamp resistor", valued ? p->clamp_value : 1,
          p->clamp == DW_CLAMP_ZENER ? "V" : "ohm", DW_ABOVE_ZERO },
        { "diode_drop", "diode drop", p->diode_drop, "V", DW_NOT_NEGATIVE },
        { "switch_resistance", "switch resistance", p->switch_resistance, "ohm", DW_NOT_NEGATIVE },
        { "stray", "stray capacitance", p->stray, "F", DW_NOT_NEGATIVE },
        { "pull_in", "pull-in", p->pull_in, "A", DW_NOT_NEGATIVE },
        { "drop_out", "drop-out", p->drop_out, "A", DW_NOT_NEGATIVE },
        { "threshold", "threshold", p->threshold, "V", DW_FINITE },
    };
    return dw_demands_check(demands, sizeof demands / sizeof demands[0], error);
}

static enum dw_status check_clamp(const struct dw_coil_plan *p, struct dw_error *error)
{
    if (!(p->diode_drop < p->supply))
        return dwi_demand_refuse("diode_drop", "diode drop %.*g V: must be below the supply, %.*g V", p->diode_drop, p->supply, error);
    if (p->clamp == DW_CLAMP_NONE && !(p->stray > 0))
        return dw_error_member(error, "stray", "without a clamp the voltage has no limit unless a stray capacitance takes the "
                               "current: give one, such as 100 pF");
    if (p->clamp == DW_CLAMP_NONE && p->clamp_at_switch)
        return dw_error_member(error, "clamp_at_switch", "there is no clamp that could stand at the switch");
    if (p->clamp == DW_CLAMP_DIODE && p->clamp_at_switch)
        return dw_error_member(error, "clamp_at_switch", "a diode alone clamps only across the coil; across the switch it takes "
                               "a zener or a resistor");
    if (p->clamp == DW_CLAMP_ZENER && p->clamp_at_switch && !(p->clamp_value > p->supply))
        return dwi_demand_refuse("clamp_value", "zener %.*g V across the switch: must be above the supply, %.*g V, or the coil is "
                                 "never off", p->clamp_value, p->supply, error);
    return DW_OK;
}

static enum dw_status check_armature(const struct dw_coil_plan *p, struct dw_error *error)
{
    const double closed = dwi_coil_inductance(p, true);
    if (p->inductance_closed > 0 && p->inductance_closed < p->inductance)
        return dwi_demand_refuse("inductance_closed", "closed inductance %.*g H: must not be below the open one, %.*g H: a closed gap "
                                 "holds more flux", p->inductance_closed, p->inductance, error);
    if (p->pull_in == 0 && p->drop_out == 0 && p->inductance_closed > 0)
        return dw_error_member(error, "inductance_closed", "a closed inductance needs pull-in and drop-out");
    if (p->pull_in == 0 && p->drop_out == 0)
        return DW_OK;
    if (!(p->drop_out > 0) || !(p->pull_in > 0))
        return dw_error_member(error, p->pull_in > 0 ? "drop_out" : "pull_in", "pull-in %g A and drop-out %g A: both must be "
                               "above zero", p->pull_in, p->drop_out);
    if (!(p->pull_in > p->drop_out))
        return dwi_demand_refuse("pull_in", "pull-in %.*g A: must be above the drop-out, %.*g A", p->pull_in, p->drop_out, error);
    /* flux goes on through the change, so the current falls by the ratio of the inductances */
    const double fallen = p->pull_in * p->inductance / closed;
    if (!(fallen > p->drop_out))
        return dwi_demand_refuse("inductance_closed", "at pull-in the closed inductance leaves a current of %.*g A: not above the drop-out, "
                                 "%.*g A, so the armature would not stay", fallen, p->drop_out, error);
    return DW_OK;
}

enum dw_status dw_coil_check(const struct dw_coil_plan *p, struct dw_error *error)
{
    enum dw_status status = check_ranges(p, error);
    if (!status)
        status = dw_supply_check(&p->source, error);
    if (!status)
        status = check_clamp(p, error);
    return status ? status : check_armature(p, error);
}
