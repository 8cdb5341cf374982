/* SPDX-License-Identifier: GPL-3.0-or-later */
/* An LED behind a resistor or a driver, as a switching system. docs/theory.md, section 10. */
#include "load/build_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { M = DW_LAMP_INPUTS };

/* Behind a switch its modes are these; on a voltage its regions, and on a supply that gives way its regions, and OFF behind them. */
enum { LED_OFF, LED_RISING, LED_ON, LED_FALLING, SWITCHED_MODES };
enum { REGIONS = 3 };

static const char *const region_names[] = { "the lamp is dark", "the resistance sets the current", "the driver sets the current",
                                            "the switch is off" };
static const char *const switched_names[] = { "the switch is off", "the current rises", "the switch is on", "the current falls" };

static const double the_share[LAMP_STATES] = { 1 }, to_none[1] = { 0 }, to_full[1] = { 1 };

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

/* A quantity: level * share of the full current + pin * input + volts * supply's voltage at the lamp + alone. */
struct term {
    double level, pin, volts, alone;
};

static struct term times(struct term term, double factor)
{
    return (struct term){ factor * term.level, factor * term.pin, factor * term.volts, factor * term.alone };
}

/* Modes of one condition of the supply's line. */
static size_t own_modes(const struct dw_lamp *lamp)
{
    return lamp->supplied ? REGIONS + 1 : lamp->plan.direct ? REGIONS : SWITCHED_MODES;
}

static bool by_region(const struct dw_lamp *lamp)
{
    return lamp->plan.direct || lamp->supplied;
}

/* The current in a mode, counted within its condition. */
static struct term current_in(const struct dw_lamp *lamp, size_t own)
{
    const struct dw_lamp_plan *p = &lamp->plan;
    if (!by_region(lamp))
        return (struct term){ .level = own == LED_RISING || own == LED_FALLING ? lamp->full : 0, .alone = own == LED_ON ? lamp->full : 0 };
    if (own != LED_RESISTIVE)
        return (struct term){ .alone = own == REGIONS ? 0 : dwi_led_current(p, (enum region)own, 0) };
    return (struct term){ .pin = p->direct ? 1 / ohms(p) : 0, .volts = p->direct ? 0 : 1 / ohms(p), .alone = -p->forward / ohms(p) };
}

/* The same as a share of the full one; behind a switch 1 to the last bit. */
static struct term light_in(const struct dw_lamp *lamp, size_t own)
{
    const bool lights = lamp->full > 0;
    if (by_region(lamp))
        return times(current_in(lamp, own), lights ? 1 / lamp->full : 0);
    return (struct term){ .level = lights && (own == LED_RISING || own == LED_FALLING), .alone = lights && own == LED_ON };
}

/* Each output of a mode but the supply's: its port and its value; returns how many. The last two come behind that. */
static size_t outputs_of(const struct dw_lamp *lamp, size_t own, struct dw_port *port, struct term *value)
{
    const struct dw_lamp_plan *p = &lamp->plan;
    const struct term current = current_in(lamp, own);
    const bool lit = by_region(lamp) ? own == LED_RESISTIVE || own == LED_REGULATED : own != LED_OFF && lamp->full > 0;
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
        { true, { "light", "1", 1, 0 }, light_in(lamp, own) },
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

/* The voltage at the lamp, which is the input or the supply's, passes one of a region. */
static void volts_guard(struct dw_lamp *lamp, const struct row *supply, double volts, bool upwards, size_t next)
{
    if (lamp->plan.direct)
        input_guard(lamp, volts, upwards, lamp->plan.supply, next);
    else
        dwi_build_guard_row(&lamp->build, supply, upwards ? -1 : 1, upwards ? volts : -volts, lamp->plan.supply, next);
}

static void region_guards(struct dw_lamp *lamp, size_t own, size_t behind, const struct row *supply)
{
    const struct dw_lamp_plan *p = &lamp->plan;
    const double up = dwi_led_leaves(p, (enum region)own), dark = dwi_led_leaves(p, LED_DARK);
    const double regulated = dwi_led_leaves(p, LED_RESISTIVE);
    const bool resists = regulated > dark;
    if (lamp->supplied)
        input_guard(lamp, p->threshold, own == REGIONS, fmax(fabs(p->threshold), 1),
                    behind + (own == REGIONS ? (size_t)dwi_led_region(p, p->supply) : REGIONS));
    if (own == REGIONS)
        return;
    if (isfinite(up))
        volts_guard(lamp, supply, up, true, behind + (own == LED_DARK && resists ? LED_RESISTIVE : LED_REGULATED));
    if (own == LED_RESISTIVE || (own == LED_REGULATED && !resists))
        volts_guard(lamp, supply, dark, false, behind + LED_DARK);
    else if (own == LED_REGULATED)
        volts_guard(lamp, supply, regulated, false, behind + LED_RESISTIVE);
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

static void output_row(struct build *b, size_t k, const struct term *term, const struct row *supply)
{
    for (size_t i = 0; i < b->states; i++)
        b->c[k * b->states + i] = term->volts * supply->state[i];
    b->c[k * b->states + DW_LAMP_STATE] += term->level;
    b->d[k * M + DW_LAMP_PIN] = term->pin;
    b->f[k] = term->volts * supply->alone + term->alone;
}

static void make(void *of, size_t mode, struct dw_mode *out)
{
    struct dw_lamp *lamp = of;
    struct build *b = &lamp->build;
    struct dw_port port[LAMP_OUTPUTS];
    struct term value[LAMP_OUTPUTS];
    struct row supplied_value[SUPPLY_PORTS];
    const size_t each = own_modes(lamp), own = mode % each, behind = mode - own;
    const struct term current = current_in(lamp, own);
    const struct row drawn = { .alone = current.alone };
    dwi_build_begin(b, lamp->source.states, M);
    const struct supplied supplied = dwi_supply_join(&lamp->source, b, behind > 0, &drawn, current.volts, own + (behind ? 0 : each));
    const size_t outputs = outputs_of(lamp, own, port, value), extra = dwi_supply_outputs(&lamp->source, lamp->plan.all, &supplied, port, supplied_value);
    for (size_t i = 0; i < outputs; i++)
        output_row(b, i + (i + 2 < outputs ? 0 : extra), value + i, &supplied.volts);
    for (size_t i = 0; i < extra; i++) {
        memcpy(b->c + (outputs - 2 + i) * b->states, supplied_value[i].state, b->states * sizeof *b->c);
        b->f[outputs - 2 + i] = supplied_value[i].alone;
    }
    if (by_region(lamp))
        region_guards(lamp, own, behind, &supplied.volts);
    else
        switched_guards(lamp, own);
    *out = dwi_build_end(b, (by_region(lamp) ? region_names : switched_names)[own]);
}

struct dw_plant *dwi_led_plant(struct dw_lamp *lamp, struct dw_error *error)
{
    struct dw_port port[LAMP_OUTPUTS + SUPPLY_PORTS], last[2];
    struct term value[LAMP_OUTPUTS];
    double weight[LAMP_STATES] = { 1 }, rest[LAMP_STATES] = { 0 };
    const bool drifts[LAMP_STATES] = { !(lamp->plan.rise > 0 || lamp->plan.fall > 0) };
    const size_t own = lamp->supplied ? REGIONS : 0, outputs = outputs_of(lamp, own, port, value);
    memcpy(last, port + outputs - 2, sizeof last);
    const size_t extra = dwi_supply_outputs(&lamp->source, lamp->plan.all, NULL, port + outputs - 2, NULL);
    memcpy(port + outputs - 2 + extra, last, sizeof last);
    dwi_supply_rest(&lamp->source, weight, rest);
    return dw_plant_new(&(struct dw_plant_plan){
        .modes = { .states = lamp->source.states, .inputs = M, .outputs = outputs + extra,
                   .mode_count = own_modes(lamp) * lamp->source.conditions, .make = make, .of = lamp, .weight = weight, .drifts = drifts },
        .ports = port, .mode = own, .rest = rest, .load = lamp, .release = free }, error);
}
