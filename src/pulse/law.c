/* SPDX-License-Identifier: GPL-3.0-or-later */
/* On-off and pid, sample by sample. docs/theory.md, section 16. */
#include "pulse/train_inner.h"
#include <dutywright/law.h>
#include <math.h>
#include <stddef.h>

/* ---- converter ---- */

static double code_volts(const struct dw_converter *c)
{
    return (c->high - c->low) / (double)(1u << c->bits);
}

/* (16.1); not of one that is exact. */
static double code_of(const struct dw_converter *c, double quantity)
{
    const double code = floor((c->gain * quantity + c->offset - c->low) / code_volts(c) + 0.5), last = (double)(1u << c->bits) - 1;
    return code < 0 ? 0 : code > last ? last : code;
}

double dw_converter_value(const struct dw_converter *c, double quantity)
{
    return c->bits == 0 ? quantity : (c->low + code_of(c, quantity) * code_volts(c) - c->offset) / c->gain;
}

double dw_converter_sample(const struct dw_converter *c, uint64_t sample, double quantity)
{
    double noise[2] = { 0, 0 };
    if (c->noise > 0)
        dwi_gauss_pair(c->seed, sample / 2, noise);
    return dw_converter_value(c, quantity + c->noise * noise[sample % 2] / c->gain);
}

/* ---- checks ---- */

static enum dw_status check_converter(const struct dw_converter *c, struct dw_error *error)
{
    const struct dw_demand wishes[] = {
        { "sensor", "sensor's gain", c->gain, "", DW_NOT_ZERO },   { "sensor", "sensor's offset", c->offset, "V", DW_FINITE },
        { "converter", "noise", c->noise, "V", DW_NOT_NEGATIVE },  { "converter", "low", c->bits ? c->low : 0, "V", DW_FINITE },
        { "converter", "high", c->bits ? c->high : 0, "V", DW_FINITE },
    };
    enum dw_status status = dw_demands_check(wishes, sizeof wishes / sizeof wishes[0], error);
    if (!status && c->bits > DW_CONVERTER_BITS)
        status = dw_error_member(error, "converter", "%u bits: a converter has from 1 to %d", c->bits, DW_CONVERTER_BITS);
    if (!status && c->bits && !(c->low < c->high))
        status = dw_error_member(error, "converter", "from %g V to %g V: its low end must be below its high end", c->low, c->high);
    return status;
}

static enum dw_status check_on_off(const struct dw_law_plan *p, struct dw_error *error)
{
    const struct dw_demand wishes[] = { { "hysteresis", "level", p->on, "", DW_FINITE }, { "hysteresis", "level", p->off, "", DW_FINITE } };
    return dw_demands_check(wishes, sizeof wishes / sizeof wishes[0], error);
}

static enum dw_status check_pid(const struct dw_law_plan *p, struct dw_error *error)
{
    const struct dw_demand wishes[] = {
        { "gain", "gain", p->gain, "", DW_NOT_ZERO },
        { "integral_time", "integral time", isinf(p->integral_time) ? 1 : p->integral_time, "s", DW_ABOVE_ZERO },
        { "derivative_time", "derivative time", p->derivative_time, "s", DW_NOT_NEGATIVE },
        { "filter", "filter", p->filter, "s", DW_NOT_NEGATIVE },
        { "setpoint_weight", "weight", p->setpoint_weight, "", DW_FINITE },
        { "initial", "integral at first", p->initial, "", DW_FINITE },
    };
    enum dw_status status = dw_demands_check(wishes, sizeof wishes / sizeof wishes[0], error);
    if (!status && p->windup == DW_WINDUP_BACK && !(p->track_time >= p->sample_time))
        status = dw_error_member(error, "track_time", "led back within %g s: must be the sample time of %g s or more", p->track_time,
                                 p->sample_time);
    return status;
}

/* ---- made ---- */

/* The range in whole steps; what rounding does to a product is no step. */
static enum dw_status make_range(const struct dw_law_plan *p, struct dw_law *law, struct dw_error *error)
{
    static const double ROUNDING = 1e-9;
    const double steps = p->duty_steps;
    if (!(p->duty_low >= -1 && p->duty_low < p->duty_high && p->duty_high <= 1))
        return dw_error_member(error, "duty_range", "duties from %g to %g: must lie from -1 to 1, the first below the second", p->duty_low,
                               p->duty_high);
    if (p->duty_steps > DW_LAW_STEPS)
        return dw_error_member(error, "duty_steps", "%u steps: a duty has up to %d", p->duty_steps, DW_LAW_STEPS);
    law->low = steps > 0 ? ceil(p->duty_low * steps - ROUNDING) / steps : p->duty_low;
    law->high = steps > 0 ? floor(p->duty_high * steps + ROUNDING) / steps : p->duty_high;
    if (!(law->low < law->high))
        return dw_error_member(error, "duty_range", "duties from %g to %g: of %u steps fewer than two lie in it", p->duty_low, p->duty_high,
                               p->duty_steps);
    return DW_OK;
}

enum dw_status dw_law_make(const struct dw_law_plan *plan, struct dw_law *law, struct dw_error *error)
{
    const struct dw_demand sample_time = { "sample_time", "sample time", plan->sample_time, "s", DW_ABOVE_ZERO };
    struct dw_law made = { .plan = *plan };
    enum dw_status status = dw_demands_check(&sample_time, 1, error);
    if (!status)
        status = check_converter(&plan->converter, error);
    if (!status)
        status = plan->kind == DW_LAW_PID ? check_pid(plan, error) : check_on_off(plan, error);
    if (!status)
        status = make_range(plan, &made, error);
    if (status)
        return status;
    if (plan->converter.bits)
        made.step = code_volts(&plan->converter) / plan->converter.gain;
    if (plan->kind == DW_LAW_PID) {
        made.integrates = plan->gain * plan->sample_time / plan->integral_time;
        made.keeps = plan->filter / (plan->filter + plan->sample_time);
        made.differentiates = plan->gain * plan->derivative_time / (plan->filter + plan->sample_time);
        made.tracks = plan->windup == DW_WINDUP_BACK ? plan->sample_time / plan->track_time : 0;
    }
    if (plan->integers)
        status = dw_law_integers_make(&made, &made.integers, error);
    if (!status)
        *law = made;
    return status;
}

/* ---- a sample ---- */

void dw_law_begin(const struct dw_law *law, struct dw_law_state *state)
{
    *state = (struct dw_law_state){ .integral = law->plan.kind == DW_LAW_PID ? law->plan.initial : 0, .whole.integral = law->integers.initial };
}

static double clip(const struct dw_law *law, double duty)
{
    return duty < law->low ? law->low : duty > law->high ? law->high : duty;
}

/* Half a step rounds away from zero, so that both directions of a bridge are alike. */
static double to_step(const struct dw_law *law, double duty)
{
    const double steps = law->plan.duty_steps;
    return steps > 0 ? round(duty * steps) / steps : duty;
}

static double on_off(const struct dw_law *law, struct dw_law_state *s)
{
    const double above = s->measured - s->wanted, sign = law->plan.on > law->plan.off ? -1 : 1;
    if (sign * above < sign * law->plan.on)
        s->on = true;
    else if (sign * above > sign * law->plan.off)
        s->on = false;
    return s->on ? law->high : law->low;
}

/* (16.2) to (16.4). */
static double pid(const struct dw_law *law, struct dw_law_state *s, double change)
{
    const double error = s->wanted - s->measured, adds = law->integrates * error;
    s->derivative = law->keeps * s->derivative - law->differentiates * change;
    const double rest = law->plan.gain * (law->plan.setpoint_weight * s->wanted - s->measured) + s->derivative;
    const double integral = s->integral + adds, asked = rest + integral, beyond = asked - clip(law, asked);
    const bool further = (beyond > 0 && adds > 0) || (beyond < 0 && adds < 0);
    if (law->plan.windup != DW_WINDUP_CLAMP || !further)
        s->integral = integral - law->tracks * beyond;
    return asked;
}

static double whole(const struct dw_law *law, struct dw_law_state *s)
{
    const struct dw_converter *c = &law->plan.converter;
    const int32_t wanted = (int32_t)lround(code_of(c, s->wanted)), measured = (int32_t)lround(code_of(c, s->measured));
    return (double)dw_law_integers_step(law, s, wanted, measured) / law->plan.duty_steps;
}

double dw_law_step(const struct dw_law *law, struct dw_law_state *s, double wanted, double measured)
{
    const double value = dw_converter_sample(&law->plan.converter, s->samples, measured), change = s->samples ? value - s->measured : 0;
    s->wanted = dw_converter_value(&law->plan.converter, wanted);
    s->measured = value;
    if (law->plan.integers)
        s->duty = whole(law, s);
    else {
        s->asked = law->plan.kind == DW_LAW_PID ? pid(law, s, change) : on_off(law, s);
        s->duty = to_step(law, clip(law, s->asked));
    }
    s->samples++;
    return s->duty;
}
