/* SPDX-License-Identifier: GPL-3.0-or-later */
/* An LED behind a resistor or a driver, as a switching system. docs/theory.md, section 10. */
#include "load/lamp_inner.h"
#include <math.h>
#include <stdlib.h>

enum { N = DW_LAMP_STATES, M = DW_LAMP_INPUTS };

/* On a voltage its modes are its regions; behind a switch these. */
enum { LED_OFF, LED_RISING, LED_ON, LED_FALLING, SWITCHED_MODES };

static const char *const region_names[] = { "the lamp is dark", "the resistance sets the current", "the driver sets the current" };
static const char *const switched_names[] = { "the switch is off", "the current rises", "the switch is on", "the current falls" };

static const double the_share[N] = { 1 }, to_none[N * N] = { 0 }, to_full[N] = { 1 };

static double ohms(const struct dw_lamp_plan *p)
{
    return p->resistor + p->dynamic_resistance;
}

double dwi_led_current(const struct dw_lamp_plan *p, enum region region, double volts)
{
    return region == LED_DARK ? 0 : region == LED_REGULATED ? p->current : (volts - p->forward) / ohms(p);
}

double dwi_led_leaves(const struct dw_lamp_plan *p, enum region region)
{
    const double regulated = p->driver == DW_DRIVER_NONE ? INFINITY : p->forward + p->current * ohms(p);
    if (region == LED_REGULATED)
        return INFINITY;
    return region == LED_RESISTIVE || p->driver == DW_DRIVER_SWITCHING ? regulated : p->forward;
}

enum region dwi_led_region(const struct dw_lamp_plan *p, double volts)
{
    if (volts > dwi_led_leaves(p, LED_RESISTIVE))
        return LED_REGULATED;
    return volts > dwi_led_leaves(p, LED_DARK) ? LED_RESISTIVE : LED_DARK;
}

/* ---- outputs ---- */

/* A quantity: level * share of the full current + pin * input + alone. */
struct term {
    double level, pin, alone;
};

static struct term times(struct term term, double factor)
{
    return (struct term){ factor * term.level, factor * term.pin, factor * term.alone };
}

/* The current in a mode. */
static struct term current_in(const struct dw_lamp *lamp, size_t mode)
{
    const struct dw_lamp_plan *p = &lamp->plan;
    if (!p->direct)
        return (struct term){ .level = mode == LED_RISING || mode == LED_FALLING ? lamp->full : 0, .alone = mode == LED_ON ? lamp->full : 0 };
    if (mode != LED_RESISTIVE)
        return (struct term){ .alone = dwi_led_current(p, (enum region)mode, 0) };
    return (struct term){ .pin = 1 / ohms(p), .alone = -p->forward / ohms(p) };
}

/* The same as a share of the full one; behind a switch 1 to the last bit. */
static struct term light_in(const struct dw_lamp *lamp, size_t mode)
{
    const bool lights = lamp->full > 0;
    if (lamp->plan.direct)
        return times(current_in(lamp, mode), lights ? 1 / lamp->full : 0);
    return (struct term){ .level = lights && (mode == LED_RISING || mode == LED_FALLING), .alone = lights && mode == LED_ON };
}

/* Each output of a mode: its port and its value; returns how many. */
static size_t outputs_of(const struct dw_lamp *lamp, size_t mode, struct dw_port *port, struct term *value)
{
    const struct dw_lamp_plan *p = &lamp->plan;
    const struct term current = current_in(lamp, mode);
    const bool lit = p->direct ? mode != LED_DARK : mode != LED_OFF && lamp->full > 0;
    struct term volts = times(current, p->dynamic_resistance);
    volts.alone += lit ? p->forward : 0;
    /* a switching driver takes the lamp's power from the whole supply */
    const double drawn = p->driver == DW_DRIVER_SWITCHING ? (p->forward + p->current * p->dynamic_resistance) / p->supply : 1;
    const double amperes = lamp->full > 0 ? lamp->full : p->driver == DW_DRIVER_NONE ? p->supply / ohms(p) : p->current;
    const struct {
        bool wanted;
        struct dw_port port;
        struct term value;
    } all[] = {
        { p->all, { "lamp", "V", fmax(p->forward, p->supply), 0 }, volts },
        { p->all && !p->direct, { "supply-current", "A", amperes, 0 }, times(current, drawn) },
        { true, { "current", "A", amperes, 0 }, current },
        { true, { "light", "1", 1, 0 }, light_in(lamp, mode) },
    };
    size_t count = 0;
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        if (all[i].wanted) {
            port[count] = all[i].port;
            value[count++] = all[i].value;
        }
    return count;
}

/* ---- modes ---- */

/* The input passes a voltage upwards or downwards. */
static void input_guard(struct dw_lamp *lamp, double volts, bool upwards, double scale, size_t next)
{
    const double sign = upwards ? -1 : 1;
    dwi_build_input_guard(&lamp->build, DW_LAMP_PIN, sign, -sign * volts, scale, next);
}

static void region_guards(struct dw_lamp *lamp, enum region region)
{
    const struct dw_lamp_plan *p = &lamp->plan;
    const double up = dwi_led_leaves(p, region), dark = dwi_led_leaves(p, LED_DARK);
    const double regulated = dwi_led_leaves(p, LED_RESISTIVE);
    const bool resists = regulated > dark;
    if (isfinite(up))
        input_guard(lamp, up, true, p->supply, region == LED_DARK && resists ? LED_RESISTIVE : LED_REGULATED);
    if (region == LED_RESISTIVE || (region == LED_REGULATED && !resists))
        input_guard(lamp, dark, false, p->supply, LED_DARK);
    else if (region == LED_REGULATED)
        input_guard(lamp, regulated, false, p->supply, LED_RESISTIVE);
}

/* Off and on while the gate is there, between them until the current has come or gone. */
static void switched_guards(struct dw_lamp *lamp, size_t mode)
{
    const struct dw_lamp_plan *p = &lamp->plan;
    struct build *b = &lamp->build;
    const bool on = mode == LED_ON || mode == LED_RISING, edge = on ? p->fall > 0 : p->rise > 0;
    const size_t next = on ? (edge ? LED_FALLING : LED_OFF) : edge ? LED_RISING : LED_ON;
    input_guard(lamp, p->threshold, !on, fmax(fabs(p->threshold), 1), next);
    if (mode == LED_RISING || mode == LED_FALLING)
        dwi_build_guard(b, the_share, on ? -1 : 1, on, 1, on ? LED_ON : LED_OFF);
    for (size_t i = 0; i < b->guard_count; i++)
        if (b->guards[i].next == LED_ON || b->guards[i].next == LED_OFF) {
            b->guards[i].reset = to_none;
            b->guards[i].reset_offset = b->guards[i].next == LED_ON ? to_full : NULL;
        }
    b->e[DW_LAMP_STATE] = mode == LED_RISING ? 1 / p->rise : mode == LED_FALLING ? -1 / p->fall : 0;
}

static void make(void *of, size_t mode, struct dw_mode *out)
{
    struct dw_lamp *lamp = of;
    struct dw_port port[LAMP_OUTPUTS];
    struct term value[LAMP_OUTPUTS];
    dwi_build_begin(&lamp->build, N, M);
    const size_t outputs = outputs_of(lamp, mode, port, value);
    for (size_t i = 0; i < outputs; i++) {
        lamp->build.c[i] = value[i].level;
        lamp->build.d[i] = value[i].pin;
        lamp->build.f[i] = value[i].alone;
    }
    if (lamp->plan.direct)
        region_guards(lamp, (enum region)mode);
    else
        switched_guards(lamp, mode);
    *out = dwi_build_end(&lamp->build, (lamp->plan.direct ? region_names : switched_names)[mode]);
}

struct dw_plant *dwi_led_plant(struct dw_lamp *lamp, struct dw_error *error)
{
    struct dw_port port[LAMP_OUTPUTS];
    struct term value[LAMP_OUTPUTS];
    const bool drifts[N] = { !(lamp->plan.rise > 0 || lamp->plan.fall > 0) };
    const size_t outputs = outputs_of(lamp, 0, port, value);
    return dw_plant_new(&(struct dw_plant_plan){
        .modes = { .states = N, .inputs = M, .outputs = outputs, .mode_count = lamp->plan.direct ? 3 : SWITCHED_MODES, .make = make,
                   .of = lamp, .weight = the_share, .drifts = drifts },
        .ports = port, .load = lamp, .release = free }, error);
}
