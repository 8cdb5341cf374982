/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A law in whole numbers. dw_law_firmware writes the same steps as C; docs/theory.md, (16.5) and (16.6), has the bounds. */
#include <dutywright/law.h>
#include <math.h>

/* A constant is below 2^40, so that its product with a code of 16 bits is below 2^56; a duty of 1 is below 2^50; the integral stops at 2^60,
 * a thousand times that. */
enum { CONSTANT_BITS = 40, DUTY_BITS = 50, LIMIT_BITS = 60, SHARE_BITS = 30, FAR = 1 << 17 };
static const int64_t LIMIT = INT64_C(1) << LIMIT_BITS, SHARE = INT64_C(1) << SHARE_BITS;

/* ---- constants ---- */

static enum dw_status too_small(const char *member, const char *name, double value, double sample_time, struct dw_error *error)
{
    return dw_error_member(error, member, "%s %g s: too long for integers: what it adds in a sample of %g s would not be right to one in a thousand "
                           "beside the other parts", name, value, sample_time);
}

/* Whether a share or constant that is not zero is right to one in a thousand once rounded. */
static bool resolved(double exact)
{
    return exact == 0 || fabs(exact) >= 500;
}

static enum dw_status check_resolution(const struct dw_law *law, double per_code, struct dw_error *error)
{
    const struct dw_law_plan *p = &law->plan;
    if (!resolved(law->integrates * per_code))
        return too_small("integral_time", "integral time", p->integral_time, p->sample_time, error);
    if (!resolved(law->differentiates * per_code))
        return too_small("derivative_time", "derivative time", p->derivative_time, p->sample_time, error);
    if (!resolved((1 - law->keeps) * (double)SHARE))
        return too_small("filter", "filter", p->filter, p->sample_time, error);
    return resolved(law->tracks * (double)SHARE) ? DW_OK : too_small("track_time", "led back within", p->track_time, p->sample_time, error);
}

static enum dw_status make_pid(const struct dw_law *law, struct dw_law_integers *w, struct dw_error *error)
{
    const struct dw_law_plan *p = &law->plan;
    const struct dw_converter *c = &p->converter;
    const double zero = (c->low - c->offset) / c->gain, steps = p->duty_steps;  /* of code 0 */
    const double offset = p->gain * (p->setpoint_weight - 1) * zero;            /* a duty */
    const double largest = fmax(fmax(fabs(p->gain), fabs(p->gain * p->setpoint_weight)), fmax(fabs(law->integrates), fabs(law->differentiates)));
    int exponent, room;
    frexp(largest * fabs(law->step) * steps, &exponent);
    frexp(fmax(steps, fmax(fabs(offset), fabs(p->initial)) * steps / 1024), &room);
    w->shift = (unsigned)fmax(0, fmin(CONSTANT_BITS - exponent, DUTY_BITS - room));
    if (exponent > CONSTANT_BITS || room > DUTY_BITS)
        return dw_error_member(error, "gain", "gain %g: in integers a code may change the duty by up to 2^%d steps", p->gain, CONSTANT_BITS);
    const double parts = ldexp(steps, (int)w->shift), per_code = parts * law->step;
    w->gain = llround(p->gain * per_code);
    w->weight = llround(p->gain * p->setpoint_weight * per_code);
    w->integrates = llround(law->integrates * per_code);
    w->differentiates = llround(law->differentiates * per_code);
    w->offset = llround(offset * parts);
    w->initial = llround(p->initial * parts);
    w->keeps = llround(law->keeps * (double)SHARE);
    w->tracks = llround(law->tracks * (double)SHARE);
    return check_resolution(law, per_code, error);
}

/* A level in codes: what equals it, up to rounding, is not beyond it. */
static void make_on_off(const struct dw_law *law, struct dw_law_integers *w)
{
    static const double ROUNDING = 1e-9;
    const double on = law->plan.on / law->step, off = law->plan.off / law->step;
    w->below = (law->plan.on <= law->plan.off) == (law->step > 0);
    w->on_at = (int32_t)fmax(-FAR, fmin(FAR, w->below ? ceil(on - ROUNDING) : floor(on + ROUNDING)));
    w->off_at = (int32_t)fmax(-FAR, fmin(FAR, w->below ? floor(off + ROUNDING) : ceil(off - ROUNDING)));
}

enum dw_status dw_law_integers_make(const struct dw_law *law, struct dw_law_integers *integers, struct dw_error *error)
{
    const struct dw_law_plan *p = &law->plan;
    struct dw_law_integers w = { .last_code = 0 };
    if (!p->converter.bits)
        return dw_error_member(error, "converter", "a law in integers needs a converter with bits: without one nothing is rounded");
    if (!p->duty_steps)
        return dw_error_member(error, "duty_steps", "a law in integers needs the steps of the duty: without them it is not rounded");
    w.last_code = (int32_t)(1u << p->converter.bits) - 1;
    w.low = (int32_t)lround(law->low * p->duty_steps);
    w.high = (int32_t)lround(law->high * p->duty_steps);
    enum dw_status status = DW_OK;
    if (p->kind == DW_LAW_PID)
        status = make_pid(law, &w, error);
    else
        make_on_off(law, &w);
    if (!status)
        *integers = w;
    return status;
}

/* ---- a sample ---- */

static int64_t between(int64_t x, int64_t low, int64_t high)
{
    return x < low ? low : x > high ? high : x;
}

/* x k / 2^30 for 0 <= k <= 2^30, towards zero in each part, and never larger than x; division, since C99 leaves it open what a shift of a
 * negative number gives. */
static int64_t share(int64_t x, int64_t k)
{
    return x / SHARE * k + x % SHARE * k / SHARE;
}

static int32_t to_steps(int64_t parts, unsigned shift)
{
    const int64_t step = INT64_C(1) << shift, half = step / 2;
    return (int32_t)(parts < 0 ? -((half - parts) / step) : (parts + half) / step);
}

static int32_t pid(const struct dw_law *law, struct dw_law_state *s, int32_t wanted, int32_t measured)
{
    const struct dw_law_integers *w = &law->integers;
    const int64_t step = INT64_C(1) << w->shift, low = w->low * step, high = w->high * step;
    const int64_t adds = w->integrates * (wanted - measured), change = s->whole.begun ? measured - s->whole.code : 0;
    s->whole.derivative = share(s->whole.derivative, w->keeps) - w->differentiates * change;
    const int64_t rest = w->weight * wanted - w->gain * measured + w->offset + s->whole.derivative;
    const int64_t integral = between(s->whole.integral + adds, -LIMIT, LIMIT), asked = rest + integral, clipped = between(asked, low, high);
    const bool further = (asked > clipped && adds > 0) || (asked < clipped && adds < 0);
    if (law->plan.windup != DW_WINDUP_CLAMP || !further)
        s->whole.integral = between(integral + share(clipped - asked, w->tracks), -LIMIT, LIMIT);
    s->asked = (double)asked / (double)step / law->plan.duty_steps;
    s->integral = (double)s->whole.integral / (double)step / law->plan.duty_steps;
    s->derivative = (double)s->whole.derivative / (double)step / law->plan.duty_steps;
    return to_steps(clipped, w->shift);
}

static int32_t on_off(const struct dw_law *law, struct dw_law_state *s, int32_t above)
{
    const struct dw_law_integers *w = &law->integers;
    if (w->below ? above < w->on_at : above > w->on_at)
        s->on = true;
    else if (w->below ? above > w->off_at : above < w->off_at)
        s->on = false;
    s->asked = s->on ? law->high : law->low;
    return s->on ? w->high : w->low;
}

int32_t dw_law_integers_step(const struct dw_law *law, struct dw_law_state *s, int32_t wanted, int32_t measured)
{
    const int32_t last = law->integers.last_code, r = (int32_t)between(wanted, 0, last), y = (int32_t)between(measured, 0, last);
    const int32_t duty = law->plan.kind == DW_LAW_PID ? pid(law, s, r, y) : on_off(law, s, y - r);
    s->whole.code = y;
    s->whole.begun = true;
    return duty;
}
