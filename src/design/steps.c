/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/steps.h>
#include <math.h>

/* 2^bits - 1 */
static double counts(int bits)
{
    return ldexp(1, bits) - 1;
}

double dw_steps_frequency(const struct dw_steps_plan *plan)
{
    return plan->clock > 0 ? plan->clock / (double)plan->prescale / counts(plan->bits) : NAN;
}

/* s, of a pulse; any, where only its share counts. */
static double period_of(const struct dw_steps_plan *plan)
{
    return plan->clock > 0 ? 1 / dw_steps_frequency(plan) : 1;
}

enum dw_status dw_steps_check(const struct dw_steps_plan *plan, struct dw_error *error)
{
    const struct dw_lamp_plan *lamp = plan->lamp;
    const enum dw_status status = dw_lamp_check(lamp, error);
    const bool edges = lamp->kind == DW_LAMP_LED && (lamp->rise > 0 || lamp->fall > 0);
    if (status)
        return status;
    if (plan->count < 2 || plan->count > DW_STEPS_MOST)
        return dw_error_member(error, "count", "%zu steps: from 2 to %d are possible", plan->count, (int)DW_STEPS_MOST);
    if (plan->bits < 1 || plan->bits > DW_STEPS_BITS_MOST)
        return dw_error_member(error, "bits", "%d bits: from 1 to %d are possible", plan->bits, (int)DW_STEPS_BITS_MOST);
    if (lamp->direct)
        return dw_error_member(error, "direct", "steps of duty are of a lamp behind a switch");
    if (edges && !(plan->clock > 0))
        return dw_error_member(error, "clock", "a rise or fall shortens pulses by how long they are: the clock is needed, such as 18M");
    if (edges && lamp->rise + lamp->fall > period_of(plan))
        return dw_error_member(error, lamp->rise > 0 ? "rise" : "fall", "rise and fall take %g s, and a period of %d bits only %g s",
                               lamp->rise + lamp->fall, plan->bits, period_of(plan));
    return DW_OK;
}

static unsigned long long code_of(const struct dw_steps_plan *plan, struct dw_step *step, size_t k)
{
    step->lightness = 100 * (double)k / (double)(plan->count - 1);
    step->light = k + 1 < plan->count ? dw_light_of(step->lightness) : 1;
    step->duty = dw_lamp_duty(plan->lamp, step->light, period_of(plan));
    return (unsigned long long)floor(step->duty * counts(plan->bits) + 0.5);
}

struct dw_step dw_steps_step(const struct dw_steps_plan *plan, size_t k)
{
    struct dw_step step = { 0 }, before;
    step.code = code_of(plan, &step, k);
    step.repeats = k > 0 && code_of(plan, &before, k - 1) == step.code;
    return step;
}

size_t dw_steps_repeated(const struct dw_steps_plan *plan)
{
    size_t repeated = 0;
    for (size_t k = 1; k < plan->count; k++)
        repeated += dw_steps_step(plan, k).repeats;
    return repeated;
}

bool dw_steps_refine(struct dw_steps_plan *plan)
{
    struct dw_steps_plan tried = *plan;
    const double whole = (double)plan->prescale * counts(plan->bits);
    for (; tried.bits <= DW_STEPS_BITS_MOST; tried.bits++) {
        tried.prescale = (unsigned long long)fmax(1, floor(whole / counts(tried.bits)));
        if (dw_steps_check(&tried, NULL) || dw_steps_repeated(&tried))
            continue;
        *plan = tried;
        return true;
    }
    return false;
}
