/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A filament, as a smooth equation of its temperature. docs/theory.md, section 10, (10.5) to (10.8). */
#include "load/lamp_inner.h"
#include <math.h>
#include <stdlib.h>

/* Exponents of resistance and light over temperature: common practice, no source; 8.84 / (4 + 1.2) * 2 = 3.4. */
static const double RESISTS = 1.2, SHINES = 8.84;
/* No trial step looks below this share of the surroundings' temperature. */
static const double COLDEST = 0.5;

enum { FILAMENT_OFF, FILAMENT_ON, SWITCHED_MODES };

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

/* ---- the equation ---- */

/* V, over filament and resistor. */
static double volts_in(const struct dw_lamp *lamp, size_t mode, const double *input)
{
    return lamp->plan.direct ? input[DW_LAMP_PIN] : mode == FILAMENT_ON ? lamp->plan.supply : 0;
}

/* (10.5), (10.6) */
static void rate_of(const void *of, size_t mode, double time, const double *state, const double *input, double *rate)
{
    (void)time;
    const struct dw_lamp *lamp = of;
    const struct dw_lamp_plan *p = &lamp->plan;
    const double share = fmax(state[DW_LAMP_STATE], COLDEST * cold()), rest = cold() * cold() * cold() * cold();
    const double capacity = p->time_constant * p->rated_watts * (RESISTS + 4 / (1 - rest));
    rate[DW_LAMP_STATE] = (heating(p, share, volts_in(lamp, mode, input)) - dwi_filament_loss(p, share)) / capacity;
}

static void outputs_of(const void *of, size_t mode, double time, const double *state, const double *input, double *output)
{
    (void)time;
    const struct dw_lamp *lamp = of;
    const struct dw_lamp_plan *p = &lamp->plan;
    const double share = fmax(state[DW_LAMP_STATE], COLDEST * cold()), ohms = dwi_filament_resistance(p, share);
    const double current = volts_in(lamp, mode, input) / (p->resistor + ohms);
    if (p->all) {
        *output++ = current * ohms;
        *output++ = current * current * ohms;
        *output++ = DW_FILAMENT_RATED * share;
    }
    output[0] = current;
    output[1] = pow(share / lamp->brightest, SHINES);
}

static void guards_of(const void *of, size_t mode, double time, const double *state, const double *input, double *guard)
{
    (void)time, (void)state;
    const struct dw_lamp_plan *p = &((const struct dw_lamp *)of)->plan;
    const double above = (input[DW_LAMP_PIN] - p->threshold) / fmax(fabs(p->threshold), 1);
    if (!p->direct)
        guard[0] = mode == FILAMENT_ON ? above : -above;
}

static size_t leave(const void *of, size_t mode, size_t guard, double time, double *state, const double *input)
{
    (void)of, (void)guard, (void)time, (void)state, (void)input;
    return mode == FILAMENT_ON ? FILAMENT_OFF : FILAMENT_ON;
}

struct dw_plant *dwi_filament_plant(struct dw_lamp *lamp, struct dw_error *error)
{
    static const struct dw_equations_mode switched[] = { { "the switch is off", 1 }, { "the switch is on", 1 } }, driven[] = { { "driven", 0 } };
    const struct dw_lamp_plan *p = &lamp->plan;
    const double one = 1, rest = cold();
    lamp->brightest = dwi_filament_steady(p, p->supply);
    const double dark = pow(rest / lamp->brightest, SHINES);
    const struct dw_port port[LAMP_OUTPUTS] = { { "lamp", "V", p->supply, 0 }, { "power", "W", p->supply * lamp->full, 0 },
                                                { "temperature", "K", DW_FILAMENT_RATED, DW_FILAMENT_COLD },
                                                { "current", "A", lamp->full, 0 }, { "light", "1", 1, dark } };
    const struct dw_equations equations = {
        .states = DW_LAMP_STATES, .inputs = DW_LAMP_INPUTS, .outputs = p->all ? 5 : 2, .modes = p->direct ? driven : switched,
        .mode_count = p->direct ? 1 : SWITCHED_MODES, .state_scale = &one, .of = lamp, .rate = rate_of, .output = outputs_of,
        .guards = guards_of, .leave = leave
    };
    return dw_plant_new(&(struct dw_plant_plan){ .equations = &equations, .ports = p->all ? port : port + 3, .rest = &rest, .load = lamp,
                                                 .release = free }, error);
}
