/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Lamps that are smooth equations: a filament by its temperature, (10.5) to (10.8) of docs/theory.md, and an LED that draws a constant
 * power from a supply that gives way, (12.5). */
#include "load/build_inner.h"
#include <math.h>
#include <stdlib.h>

/* Exponents of resistance and light over temperature: common practice, no source; 8.84 / (4 + 1.2) * 2 = 3.4. */
static const double RESISTS = 1.2, SHINES = 8.84;
/* No trial step looks below this share of the surroundings' temperature. */
static const double COLDEST = 0.5;

/* By how much a supply must exceed the least that a switching driver runs on before it starts again: common practice, no source. */
static const double RESTARTS = 1.02;

enum { LAMP_OFF, LAMP_ON, LAMP_STARVED };

static double cold(void)
{
    return DW_FILAMENT_COLD / DW_FILAMENT_RATED;
}

double dwi_filament_resistance(const struct dw_lamp_plan *p, double share)
{
    return p->rated_volts * p->rated_volts / p->rated_watts * pow(share, RESISTS);
}

double dwi_filament_loss(const struct dw_lamp_plan *p, double share)
{
    const double rest = cold() * cold() * cold() * cold();
    return p->rated_watts * (share * share * share * share - rest) / (1 - rest);
}

/* W, that heat it at a voltage. */
static double heating(const struct dw_lamp_plan *p, double share, double volts)
{
    const double ohms = dwi_filament_resistance(p, share), current = volts / (p->resistor + ohms);
    return current * current * ohms;
}

/* Heat over loss falls with the temperature, so that they meet once; where it is twice the rated one, loss is more than any voltage gives. */
double dwi_filament_steady(const struct dw_lamp_plan *p, double volts)
{
    double low = cold(), high = 2 * fmax(1, fabs(volts) / p->rated_volts);
    for (double middle = (low + high) / 2; low < middle && middle < high; middle = (low + high) / 2)
        *(dwi_filament_loss(p, middle) > heating(p, middle, volts) ? &high : &low) = middle;
    return low;
}

double dw_lamp_temperature(const struct dw_lamp_plan *p, double light)
{
    const double share = dwi_filament_steady(p, p->supply) * pow(light, 1 / SHINES);
    return DW_FILAMENT_RATED * fmax(share, cold());
}

/* ---- the equations ---- */

/* Which mode it is: behind the lamp's own, those with the line's diode blocking. */
static size_t own_modes(const struct dw_lamp *lamp)
{
    return lamp->plan.direct ? 1 : lamp->plan.kind == DW_LAMP_LED ? 3 : 2;
}

static bool blocks_in(const struct dw_lamp *lamp, size_t mode)
{
    return mode >= own_modes(lamp);
}

static bool on_in(const struct dw_lamp *lamp, size_t mode)
{
    return lamp->plan.direct || mode % own_modes(lamp) == LAMP_ON;
}

static double share_of(const double *state)
{
    return fmax(state[DW_LAMP_STATE], COLDEST * cold());
}

/* W, of an LED behind its driver. */
static double power_of(const struct dw_lamp_plan *p)
{
    return p->current * (p->forward + p->current * p->dynamic_resistance);
}

/* A that the lamp draws from a supply of so many volts without it, V left. */
static double draws(const struct dw_lamp *lamp, size_t mode, const double *state, const double *input, double *volts)
{
    const struct dw_lamp_plan *p = &lamp->plan;
    const bool blocks = blocks_in(lamp, mode);
    const double open = p->direct ? input[DW_LAMP_PIN] : dwi_supply_open(&lamp->source, blocks, state), ohms = lamp->source.ohms[blocks];
    double drawn = 0;
    *volts = open;
    if (!on_in(lamp, mode))
        return drawn;
    if (p->kind == DW_LAMP_FILAMENT) {
        drawn = open / (ohms + p->resistor + dwi_filament_resistance(p, share_of(state)));
        *volts = open - ohms * drawn;
    } else {
        *volts = (open + sqrt(fmax(open * open - 4 * ohms * power_of(p), 0))) / 2;
        drawn = power_of(p) / *volts;
    }
    return drawn;
}

/* (10.5), (10.6), (12.1) */
static void rate_of(const void *of, size_t mode, double time, const double *state, const double *input, double *rate)
{
    (void)time;
    const struct dw_lamp *lamp = of;
    const struct dw_lamp_plan *p = &lamp->plan;
    const double rest = cold() * cold() * cold() * cold();
    double volts;
    const double drawn = draws(lamp, mode, state, input, &volts);
    rate[DW_LAMP_STATE] = 0;
    if (p->kind == DW_LAMP_FILAMENT) {
        const double share = share_of(state), capacity = p->time_constant * p->rated_watts * (RESISTS + 4 / (1 - rest));
        rate[DW_LAMP_STATE] = (drawn * drawn * dwi_filament_resistance(p, share) - dwi_filament_loss(p, share)) / capacity;
    }
    if (lamp->supplied)
        dwi_supply_rates(&lamp->source, blocks_in(lamp, mode), state, volts, drawn, rate);
}

/* Each output: its port, and its value in the order of outputs_of. */
static size_t ports_of(const struct dw_lamp *lamp, struct dw_port *port)
{
    const struct dw_lamp_plan *p = &lamp->plan;
    const bool filament = p->kind == DW_LAMP_FILAMENT;
    const double dark = filament ? pow(cold() / lamp->brightest, SHINES) : 0, amperes = lamp->full > 0 ? lamp->full : p->current;
    const struct {
        bool wanted;
        struct dw_port port;
    } all[] = {
        { p->all, { "lamp", "V", p->supply, 0 } },
        { p->all && filament, { "power", "W", p->supply * lamp->full, 0 } },
        { p->all && filament, { "temperature", "K", DW_FILAMENT_RATED, DW_FILAMENT_COLD } },
        { p->all && !filament, { "supply-current", "A", amperes, 0 } },
    };
    size_t count = 0;
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        if (all[i].wanted)
            port[count++] = all[i].port;
    count += dwi_supply_outputs(&lamp->source, p->all, NULL, port + count, NULL);
    port[count++] = (struct dw_port){ "current", "A", amperes, 0 };
    port[count++] = (struct dw_port){ "light", "1", 1, dark };
    return count;
}

static void outputs_of(const void *of, size_t mode, double time, const double *state, const double *input, double *output)
{
    (void)time;
    const struct dw_lamp *lamp = of;
    const struct dw_lamp_plan *p = &lamp->plan;
    const bool filament = p->kind == DW_LAMP_FILAMENT, on = on_in(lamp, mode), blocks = blocks_in(lamp, mode);
    double volts;
    const double drawn = draws(lamp, mode, state, input, &volts), current = filament ? drawn : on ? p->current : 0;
    const double share = share_of(state), ohms = filament ? dwi_filament_resistance(p, share) : 0;
    if (p->all)
        *output++ = filament ? current * ohms : on ? power_of(p) / p->current : 0;
    if (p->all && filament) {
        *output++ = current * current * ohms;
        *output++ = DW_FILAMENT_RATED * share;
    } else if (p->all) {
        *output++ = drawn;
    }
    if (lamp->supplied) {
        const double line = dwi_supply_line(&lamp->source, blocks, state, volts, drawn);
        if (p->all)
            *output++ = line;
        if (p->all && lamp->source.bulk >= 0)
            *output++ = line - drawn;
        *output++ = volts;
    }
    output[0] = current;
    output[1] = filament ? pow(share / lamp->brightest, SHINES) : on;
}

/* V without load, below which a switching driver finds no point to work at. */
static double starves(const struct dw_lamp *lamp, bool blocks)
{
    const double least = power_of(&lamp->plan) / lamp->plan.current, drop = lamp->source.ohms[blocks] * power_of(&lamp->plan);
    return least * least >= drop ? least + drop / least : 2 * sqrt(drop);
}

/* The gate's; of an LED its supply's; of a diode in the line that one's. */
static void guards_of(const void *of, size_t mode, double time, const double *state, const double *input, double *guard)
{
    (void)time;
    const struct dw_lamp *lamp = of;
    const struct dw_lamp_plan *p = &lamp->plan;
    const bool blocks = blocks_in(lamp, mode);
    const size_t own = mode % own_modes(lamp);
    const double above = (input[DW_LAMP_PIN] - p->threshold) / fmax(fabs(p->threshold), 1);
    double volts;
    const double drawn = draws(lamp, mode, state, input, &volts), open = dwi_supply_open(&lamp->source, blocks, state);
    *guard++ = own == LAMP_OFF ? -above : above;
    if (p->kind == DW_LAMP_LED && own != LAMP_OFF)
        *guard++ = own == LAMP_ON ? open / starves(lamp, blocks) - 1 : RESTARTS - open / starves(lamp, blocks);
    if (lamp->source.conditions > 1)
        *guard = dwi_supply_guard(&lamp->source, blocks, state, volts, drawn);
}

static size_t leave(const void *of, size_t mode, size_t guard, double time, double *state, const double *input)
{
    (void)time, (void)input;
    const struct dw_lamp *lamp = of;
    const size_t own = mode % own_modes(lamp), behind = mode - own;
    if (guard == 0)
        return behind + (own == LAMP_OFF ? LAMP_ON : LAMP_OFF);
    if (guard == 1 && lamp->plan.kind == DW_LAMP_LED && own != LAMP_OFF)
        return behind + (own == LAMP_ON ? LAMP_STARVED : LAMP_ON);
    if (lamp->source.line >= 0)  /* unrun: implied */
        state[lamp->source.line] = 0;
    return behind ? own : own + own_modes(lamp);
}

struct dw_plant *dwi_lamp_smooth(struct dw_lamp *lamp, struct dw_error *error)
{
    static const char *const names[] = { "the switch is off", "the switch is on", "the supply is too low" };
    const struct dw_lamp_plan *p = &lamp->plan;
    const size_t own = own_modes(lamp), conditions = p->direct ? 1 : lamp->source.conditions;
    struct dw_equations_mode modes[6];
    double rest[LAMP_STATES] = { p->kind == DW_LAMP_FILAMENT ? cold() : 0 }, scale[LAMP_STATES], weight[LAMP_STATES];
    struct dw_port port[LAMP_OUTPUTS];
    const bool drifts[LAMP_STATES] = { p->kind == DW_LAMP_LED };
    lamp->brightest = p->kind == DW_LAMP_FILAMENT ? dwi_filament_steady(p, p->supply) : 1;
    for (size_t i = 0; i < own * conditions; i++)
        modes[i] = (struct dw_equations_mode){ names[i % own], p->direct ? 0 : 1 + (p->kind == DW_LAMP_LED && i % own != LAMP_OFF) + (conditions > 1) };
    dwi_supply_rest(&lamp->source, weight, rest);
    for (size_t i = 0; i < lamp->source.states; i++)
        scale[i] = i == DW_LAMP_STATE ? 1 : (int)i == lamp->source.line ? lamp->source.amperes : p->supply;
    const struct dw_equations equations = {
        .states = lamp->source.states, .inputs = DW_LAMP_INPUTS, .outputs = ports_of(lamp, port), .modes = modes,
        .mode_count = own * conditions, .state_scale = scale, .drifts = drifts, .of = lamp, .rate = rate_of, .output = outputs_of,
        .guards = p->direct ? NULL : guards_of, .leave = p->direct ? NULL : leave
    };
    return dw_plant_new(&(struct dw_plant_plan){ .equations = &equations, .ports = port, .rest = rest, .load = lamp, .release = free }, error);
}
