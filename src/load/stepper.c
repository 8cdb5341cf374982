/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A stepper's plan and its equations. docs/theory.md, section 14. */
#include "load/stepper_inner.h"
#include <math.h>
#include <stdlib.h>

static const double DEGREES = 180 / M_PI;

double dw_stepper_constant(double torque, double current)
{
    return torque > 0 && current > 0 ? torque / (M_SQRT2 * current) : NAN;
}

/* ---- what must hold ---- */

static enum dw_status check_chopper(const struct dw_stepper_plan *p, struct dw_error *error)
{
    const struct dw_demand demands[] = {
        { "current", "current", p->current, "A", DW_ABOVE_ZERO },
        { "off_time", "off time", p->off_time, "s", DW_NOT_NEGATIVE },
        { "chop_frequency", "chop frequency", p->chop_frequency, "Hz", DW_NOT_NEGATIVE },
        { "compensation", "compensation", p->compensation, "A", DW_NOT_NEGATIVE },
        { "blanking", "blanking", p->blanking, "s", DW_NOT_NEGATIVE },
    };
    const enum dw_status status = dw_demands_check(demands, sizeof demands / sizeof demands[0], error);
    if (status)
        return status;
    if ((p->off_time > 0) == (p->chop_frequency > 0))
        return dw_error_member(error, "off_time", "a chopper has an off time, such as 20 us, or a chop frequency, such as 25 kHz: one of both");
    if (!(p->fast >= 0 && p->fast <= 1))
        return dw_error_member(error, "fast", "fast decay for %g of the time off: 0 to 1 are a share", p->fast);
    if (p->off_time > 0 && p->compensation > 0)
        return dw_error_member(error, "compensation", "a compensation of %g A with a fixed off time, which needs none: it belongs to a chop "
                               "frequency", p->compensation);
    if (!(p->blanking * p->chop_frequency < 1))
        return dw_error_member(error, "blanking", "a blanking of %g s at %g Hz: it must end before the next beat, below %g s", p->blanking,
                               p->chop_frequency, 1 / p->chop_frequency);
    if (!(p->compensation < p->current))
        return dw_error_member(error, "compensation", "a compensation of %g A: must be below the current, %g A", p->compensation, p->current);
    return DW_OK;
}

enum dw_status dw_stepper_check(const struct dw_stepper_plan *p, struct dw_error *error)
{
    const struct dw_demand demands[] = {
        { "resistance", "resistance", p->resistance, "ohm", DW_ABOVE_ZERO },
        { "inductance", "inductance", p->inductance, "H", DW_ABOVE_ZERO },
        { "constant", "constant", p->constant, "V s/rad", DW_ABOVE_ZERO },
        { "detent", "detent torque", p->detent, "N m", DW_NOT_NEGATIVE },
        { "inertia", "inertia", p->inertia, "kg m^2", DW_ABOVE_ZERO },
        { "friction", "friction", p->friction, "N m s", DW_NOT_NEGATIVE },
        { "drag", "drag", p->drag, "N m", DW_NOT_NEGATIVE },
        { "torque", "torque", p->torque, "N m", DW_FINITE },
        { "gear", "gear", p->gear, "", DW_ABOVE_ZERO },
        { "load_inertia", "load inertia", p->load_inertia, "kg m^2", DW_NOT_NEGATIVE },
        { "supply", "supply", p->supply, "V", DW_ABOVE_ZERO },
        { "diode_drop", "diode drop", p->diode_drop, "V", DW_NOT_NEGATIVE },
        { "switch_resistance", "switch resistance", p->switch_resistance, "ohm", DW_NOT_NEGATIVE },
        { "threshold", "threshold", p->threshold, "V", DW_FINITE },
        { "level", "level", p->coils ? p->level : 1, "V", DW_ABOVE_ZERO },
    };
    enum dw_status status = dw_demands_check(demands, sizeof demands / sizeof demands[0], error);
    if (!status)
        status = dw_supply_check(&p->source, error);
    if (!status && p->drive == DW_STEPPER_CURRENT)
        status = check_chopper(p, error);
    if (status)
        return status;
    if (p->full_steps < 4 || p->full_steps % 4)
        return dw_error_member(error, "full_steps", "%d full steps a turn: two windings make a multiple of four, such as 200", p->full_steps);
    if (p->microsteps < 1 || p->microsteps > DW_STEPPER_MICROSTEPS)
        return dw_error_member(error, "microsteps", "%d microsteps: from 1 to %d", p->microsteps, DW_STEPPER_MICROSTEPS);
    if (!(p->diode_drop < p->supply))
        return dwi_demand_refuse("diode_drop", "diode drop %.*g V: must be below the supply, %.*g V", p->diode_drop, p->supply, error);
    return DW_OK;
}

/* ---- modes ---- */

static void set_conditions(struct stepper *s)
{
    for (size_t mode = 0; mode + 1 < s->modes; mode++) {
        const size_t pair = mode % (s->bridges * s->bridges), rest = mode / (s->bridges * s->bridges);
        s->condition[mode] = (struct condition){ { (enum bridge)(pair / s->bridges), (enum bridge)(pair % s->bridges) }, (enum rotor)(rest % s->rotors),
                                                 rest / s->rotors % s->lines, rest / s->rotors / s->lines };
    }
}

/* (14.1) */
static void rate_of(const void *of, size_t mode, double time, const double *state, const double *input, double *rate)
{
    const struct stepper *s = of;
    const struct dw_stepper_plan *p = &s->plan;
    struct instant at;
    (void)time;
    dwi_stepper_instant(s, mode, state, input, &at);
    const double speed = state[DW_STEPPER_SPEED], drag = at.now.rotor == SLIDES_P ? p->drag : -p->drag;
    for (int phase = 0; phase < 2; phase++) {
        const double current = state[DW_STEPPER_CURRENT_A + phase];
        rate[DW_STEPPER_CURRENT_A + phase] = dwi_bridge_blocks(at.now.bridge[phase]) ? 0 :
            (at.coil[phase] - at.ohms[phase] * current - at.emf[phase]) / p->inductance;
    }
    rate[DW_STEPPER_SPEED] = at.now.rotor == STICKS ? 0 : (at.torque - p->friction * speed - drag) / s->inertia;
    rate[DW_STEPPER_ANGLE] = speed;
    rate[DW_STEPPER_PLACE] = rate[DW_STEPPER_FIRST] = 0;
    if (p->drive == DW_STEPPER_CURRENT) {
        rate[DW_STEPPER_TIMER_A] = rate[DW_STEPPER_TIMER_B] = -1;
        rate[DW_STEPPER_BEAT] = p->off_time > 0 ? 0 : 1;
    }
    if (s->supplied)
        dwi_supply_rates(&s->source, at.now.blocks, state, at.volts, at.drawn, rate);
}

/* ---- outputs ---- */

static void outputs_of(const void *of, size_t mode, double time, const double *state, const double *input, double *output)
{
    const struct stepper *s = of;
    const bool all = s->plan.all;
    struct instant at;
    (void)time;
    if (all || s->supplied)
        dwi_stepper_instant(s, mode, state, input, &at);
    const double line = s->supplied ? dwi_supply_line(&s->source, at.now.blocks, state, at.volts, at.drawn) : 0;
    if (all) {
        for (int phase = 0; phase < 2; phase++) {
            const double drops = dwi_bridge_blocks(at.now.bridge[phase]) ? 0 : (at.ohms[phase] - s->plan.resistance) * state[DW_STEPPER_CURRENT_A + phase];
            *output++ = at.coil[phase] - drops;
        }
        *output++ = state[DW_STEPPER_SPEED];
        *output++ = at.torque + (s->plan.torque + input[DW_STEPPER_TORQUE]) / s->plan.gear;
        *output++ = at.drawn;
        if (s->supplied)
            *output++ = line;
        if (s->supplied && s->source.bulk >= 0)
            *output++ = line - at.drawn;
    }
    if (s->supplied)
        *output++ = at.volts;
    *output++ = state[DW_STEPPER_CURRENT_A];
    *output++ = state[DW_STEPPER_CURRENT_B];
    *output++ = (dwi_stepper_field(s, state, input) - state[DW_STEPPER_FIRST]) / s->teeth * DEGREES;
    *output = state[DW_STEPPER_ANGLE] * DEGREES;
}

static size_t ports_of(const struct stepper *s, struct dw_port *port)
{
    const struct dw_stepper_plan *p = &s->plan;
    const double step = 360.0 / p->full_steps;
    const struct dw_port first[] = { { "coil-a", "V", p->supply, NAN }, { "coil-b", "V", p->supply, NAN }, { "speed", "rad/s", s->speed_scale, 0 },
                                     { "torque", "Nm", s->torque_scale, NAN }, { "supply-current", "A", s->amperes, NAN } };
    const struct dw_port last[] = { { "current-a", "A", s->amperes, NAN }, { "current-b", "A", s->amperes, NAN }, { "wanted", "deg", step, 0 },
                                    { "angle", "deg", step, NAN } };
    size_t count = 0;
    for (size_t i = 0; p->all && i < sizeof first / sizeof first[0]; i++)
        port[count++] = first[i];
    count += dwi_supply_outputs(&s->source, p->all, NULL, port + count, NULL);
    for (size_t i = 0; i < sizeof last / sizeof last[0]; i++)
        port[count++] = last[i];
    return count;
}

/* ---- the whole ---- */

static void set_shares(struct stepper *s)
{
    const int n = s->plan.microsteps;
    for (int k = 0; k < 4 * n; k++)
        for (int phase = 0; phase < 2; phase++) {
            const int at = (k - phase * n + 4 * n) % (4 * n), quarter = at / n;  /* a sine is a cosine a quarter later */
            const double within = (double)(at % n) / n * M_PI / 2, cosine = quarter % 2 ? -sin(within) : cos(within);
            s->share[2 * k + phase] = n == 1 ? (quarter == 0 || quarter == 3 ? 1 : -1) : quarter < 2 ? cosine : -cosine;
        }
}

static void set_sizes(struct stepper *s)
{
    const struct dw_stepper_plan *p = &s->plan;
    const bool chops = p->drive == DW_STEPPER_CURRENT;
    s->teeth = dwi_stepper_teeth(p);
    s->inertia = dwi_stepper_inertia(p);
    s->ohms = dwi_stepper_ohms(p);
    s->amperes = chops ? p->current : p->supply / s->ohms;
    s->torque_scale = M_SQRT2 * p->constant * s->amperes;
    s->speed_scale = M_PI / 2 / s->teeth * sqrt(s->teeth * s->torque_scale / s->inertia);
    s->shortest = !chops ? 1 : p->off_time > 0 ? p->off_time : 1 / p->chop_frequency;
    s->bridges = chops ? BRIDGES : OPEN + 1;
    s->rotors = p->drag > 0 ? ROTORS : 1;
    s->lines = p->coils ? 1 : 2;
    s->supplied = !dw_supply_ideal(&p->source);
    dwi_supply_place(&s->source, &p->source, p->supply, 2 * s->amperes, chops ? DW_STEPPER_CHOPPED_STATES : DW_STEPPER_STATES);
    s->modes = s->source.conditions * s->lines * s->rotors * s->bridges * s->bridges + 1;
}

static void guards_of(const void *of, size_t mode, double time, const double *state, const double *input, double *guard)
{
    (void)time;
    dwi_stepper_guards(of, mode, state, input, guard, NULL);
}

static void release(void *of)
{
    struct stepper *s = of;
    free(s->share);
    free(s->condition);
    free(s);
}

static struct dw_plant *make_plant(struct stepper *s, struct dw_error *error)
{
    static const char *const names[] = { "the rotor turns forwards", "the rotor turns back", "the rotor sticks", "the beginning" };
    double scale[DW_STEPPER_CHOPPED_STATES + SUPPLY_STATES], rest[DW_STEPPER_CHOPPED_STATES + SUPPLY_STATES] = { 0 }, weight[sizeof rest / sizeof *rest];
    bool drifts[sizeof rest / sizeof *rest] = { [DW_STEPPER_ANGLE] = true, [DW_STEPPER_PLACE] = true };
    struct dw_port port[16];
    struct dw_equations_mode *modes = calloc(s->modes, sizeof *modes);
    if (!modes) {
        dw_no_memory(error);
        return NULL;
    }
    dwi_supply_rest(&s->source, weight, rest);
    for (size_t i = 0; i < s->source.states; i++)
        scale[i] = i >= DW_STEPPER_TIMER_A ? s->shortest : 1;
    scale[DW_STEPPER_CURRENT_A] = scale[DW_STEPPER_CURRENT_B] = s->amperes;
    scale[DW_STEPPER_SPEED] = s->speed_scale;
    scale[DW_STEPPER_ANGLE] = M_PI / 2 / s->teeth;
    for (size_t i = s->plan.drive == DW_STEPPER_CURRENT ? DW_STEPPER_CHOPPED_STATES : DW_STEPPER_STATES; i < s->source.states; i++)
        scale[i] = (int)i == s->source.line ? s->amperes : s->plan.supply;
    for (size_t i = 0; i < s->modes; i++) {
        const size_t rotor = i + 1 == s->modes ? ROTORS : s->condition[i].rotor;
        modes[i] = (struct dw_equations_mode){ names[rotor], dwi_stepper_guards(s, i, rest, (const double[DW_STEPPER_INPUTS]){ 0 }, NULL, NULL) };
    }
    const struct dw_equations equations = {
        .states = s->source.states, .inputs = DW_STEPPER_INPUTS, .outputs = ports_of(s, port), .modes = modes, .mode_count = s->modes,
        .state_scale = scale, .drifts = drifts, .tolerance = s->plan.tolerance, .of = s, .rate = rate_of, .output = outputs_of,
        .guards = guards_of, .leave = dwi_stepper_leave
    };
    struct dw_plant *plant = dw_plant_new(&(struct dw_plant_plan){ .equations = &equations, .ports = port, .mode = s->modes - 1, .rest = rest,
                                                                  .load = s, .release = release }, error);
    free(modes);
    return plant;
}

static struct stepper *make_stepper(const struct dw_stepper_plan *plan)
{
    struct stepper *s = calloc(1, sizeof *s);
    if (!s)
        return NULL;
    s->plan = *plan;
    set_sizes(s);
    s->share = malloc(8 * (size_t)plan->microsteps * sizeof *s->share);
    s->condition = calloc(s->modes, sizeof *s->condition);
    if (!s->share || !s->condition) {
        release(s);
        return NULL;
    }
    set_shares(s);
    set_conditions(s);
    return s;
}

struct dw_plant *dw_stepper_plant(const struct dw_stepper_plan *plan, struct dw_error *error)
{
    if (dw_stepper_check(plan, error))
        return NULL;
    struct stepper *s = make_stepper(plan);
    struct dw_plant *plant = s ? make_plant(s, error) : NULL;
    if (!s)
        dw_no_memory(error);
    else if (!plant)
        release(s);
    return plant;
}
