/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What lamps of both kinds have in common, and what must hold of their values. docs/theory.md, section 10. */
#include "load/build_inner.h"
#include <math.h>
#include <stdlib.h>

static enum dw_status check_led(const struct dw_lamp_plan *p, struct dw_error *error)
{
    const struct dw_demand demands[] = {
        { "forward", "forward", p->forward, "V", DW_NOT_NEGATIVE },
        { "dynamic_resistance", "dynamic resistance", p->dynamic_resistance, "ohm", DW_NOT_NEGATIVE },
        { "current", "current", p->driver == DW_DRIVER_NONE ? 1 : p->current, "A", DW_ABOVE_ZERO },
        { "rise", "rise", p->rise, "s", DW_NOT_NEGATIVE },
        { "fall", "fall", p->fall, "s", DW_NOT_NEGATIVE },
    };
    const enum dw_status status = dw_demands_check(demands, sizeof demands / sizeof demands[0], error);
    if (status)
        return status;
    if (p->driver == DW_DRIVER_NONE && !(p->resistor + p->dynamic_resistance > 0))
        return dw_error_member(error, "resistor", "an LED without resistor and driver takes any current: give it one of them");
    if (p->driver == DW_DRIVER_SWITCHING && p->resistor > 0)
        return dw_error_member(error, "resistor", "a switching driver sets the current itself: no resistor in series");
    if (p->direct && (p->rise > 0 || p->fall > 0))
        return dw_error_member(error, p->rise > 0 ? "rise" : "fall", "a rise and fall of the current are of a switch, not of a voltage");
    return DW_OK;
}

static enum dw_status check_filament(const struct dw_lamp_plan *p, struct dw_error *error)
{
    const struct dw_demand demands[] = {
        { "rated_volts", "rated voltage", p->rated_volts, "V", DW_ABOVE_ZERO },
        { "rated_watts", "rated power", p->rated_watts, "W", DW_ABOVE_ZERO },
        { "time_constant", "time constant", p->time_constant, "s", DW_ABOVE_ZERO },
    };
    const enum dw_status status = dw_demands_check(demands, sizeof demands / sizeof demands[0], error);
    if (!status && !(p->supply <= 2 * p->rated_volts))
        return dw_error_member(error, "supply", "supply %g V: a filament for %g V would melt at more than twice that", p->supply,
                               p->rated_volts);
    return status;
}

enum dw_status dw_lamp_check(const struct dw_lamp_plan *p, struct dw_error *error)
{
    const struct dw_demand demands[] = {
        { "supply", "supply", p->supply, "V", DW_ABOVE_ZERO },
        { "threshold", "threshold", p->threshold, "V", DW_FINITE },
        { "resistor", "resistor", p->resistor, "ohm", DW_NOT_NEGATIVE },
    };
    const enum dw_status status = dw_demands_check(demands, sizeof demands / sizeof demands[0], error);
    if (status || dw_supply_check(&p->source, error))
        return DW_BAD_USE;
    if (!dw_supply_ideal(&p->source) && (p->direct || (p->kind == DW_LAMP_LED && p->rise + p->fall > 0)))
        return dw_error_member(error, p->direct ? "direct" : p->rise > 0 ? "rise" : "fall", "a supply that gives way goes with a switch, and "
                               "with LEDs that follow it at once");
    return p->kind == DW_LAMP_LED ? check_led(p, error) : check_filament(p, error);
}

double dw_lamp_full_current(const struct dw_lamp_plan *p)
{
    if (p->kind == DW_LAMP_LED)
        return dwi_led_current(p, dwi_led_region(p, p->supply), p->supply);
    return p->supply / (p->resistor + dwi_filament_resistance(p, dwi_filament_steady(p, p->supply)));
}

double dw_lamp_cold_current(const struct dw_lamp_plan *p)
{
    if (p->kind == DW_LAMP_LED)
        return dw_lamp_full_current(p);
    return p->supply / (p->resistor + dwi_filament_resistance(p, DW_FILAMENT_COLD / DW_FILAMENT_RATED));
}

/* ---- light to duty ---- */

/* Of an LED whose current takes its time: (10.3), (10.4). */
static double pulse_for(const struct dw_lamp_plan *p, double light, double period)
{
    const double edges = p->rise + p->fall, lit = light * period;
    if (edges == 0)
        return light;
    /* pulses too short to come to the full current, pauses too short to come to none, and what lies between */
    if (p->rise > 0 && 2 * lit < edges)
        return sqrt(2 * lit / edges) * p->rise / period;
    if (p->fall > 0 && 2 * (period - lit) < edges)
        return 1 - sqrt(2 * (period - lit) / edges) * p->fall / period;
    return (lit + (p->rise - p->fall) / 2) / period;
}

double dw_lamp_duty(const struct dw_lamp_plan *p, double light, double period)
{
    if (!(light >= 0 && light <= 1) || !(period > 0) || (p->kind == DW_LAMP_LED && p->rise + p->fall > period))
        return NAN;
    if (p->kind == DW_LAMP_LED)
        return fmin(fmax(pulse_for(p, light, period), 0), 1);
    const double share = dw_lamp_temperature(p, light) / DW_FILAMENT_RATED, ohms = dwi_filament_resistance(p, share);
    const double current = p->supply / (p->resistor + ohms);
    return fmin(fmax(dwi_filament_loss(p, share) / (current * current * ohms), 0), 1);
}

/* ---- the whole ---- */

struct dw_lamp *dw_lamp_new(const struct dw_lamp_plan *plan, struct dw_error *error)
{
    if (dw_lamp_check(plan, error))
        return NULL;
    struct dw_lamp *lamp = calloc(1, sizeof *lamp);
    if (!lamp) {
        dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for the lamp");
        return NULL;
    }
    lamp->plan = *plan;
    lamp->full = dw_lamp_full_current(plan);
    lamp->supplied = !dw_supply_ideal(&plan->source);
    dwi_supply_place(&lamp->source, &plan->source, plan->supply, dw_lamp_cold_current(plan) + plan->supply * 1e-9, DW_LAMP_STATES);
    const bool smooth = plan->kind == DW_LAMP_FILAMENT || (plan->driver == DW_DRIVER_SWITCHING && lamp->supplied);
    lamp->plant = smooth ? dwi_lamp_smooth(lamp, error) : dwi_led_plant(lamp, error);
    if (!lamp->plant) {
        free(lamp);
        return NULL;
    }
    return lamp;
}

void dw_lamp_free(struct dw_lamp *lamp)
{
    if (lamp)
        dw_plant_free(lamp->plant);
}

struct dw_plant *dw_lamp_plant(const struct dw_lamp *lamp)
{
    return lamp->plant;
}
