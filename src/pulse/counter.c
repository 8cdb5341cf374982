/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/pulse.h>
#include <math.h>

static const unsigned long long most_prescale = 1ull << 32, most_count = (1ull << 32) - 1;

enum dw_status dw_counter_check(const struct dw_counter *counter, struct dw_error *error)
{
    if (!(counter->clock > 0 && isfinite(counter->clock)))
        return dw_error_member(error, "clock", "a clock of %g Hz: it must be above zero", counter->clock);
    if (counter->prescale < 1 || counter->prescale > most_prescale)
        return dw_error_member(error, "prescale", "a prescale of %llu: it must be a whole number from 1 to %llu",
                               counter->prescale, most_prescale);
    if (counter->largest < 1 || counter->largest > most_count)
        return dw_error_member(error, "largest", "a largest count of %llu: it must be a whole number from 1 to %llu",
                               counter->largest, most_count);
    return DW_OK;
}

unsigned long long dw_counter_steps(const struct dw_counter *counter)
{
    return counter->counting == DW_COUNT_UP ? counter->largest + 1 : counter->largest;
}

unsigned long long dw_counter_counts(const struct dw_counter *counter)
{
    return counter->counting == DW_COUNT_UP ? counter->largest + 1 : 2 * counter->largest;
}

double dw_counter_period(const struct dw_counter *counter)
{
    return (double)counter->prescale * (double)dw_counter_counts(counter) / counter->clock;
}

double dw_counter_frequency(const struct dw_counter *counter)
{
    return counter->clock / ((double)counter->prescale * (double)dw_counter_counts(counter));
}

double dw_duty_given(double duty, unsigned long long steps, unsigned long long *count)
{
    const double nearest = round(duty * (double)steps);  /* duty * steps < 2^53: halves are seen as halves */
    if (count)
        *count = (unsigned long long)nearest;
    return steps ? nearest / (double)steps : duty;
}

bool dw_duty_ratio(double duty, unsigned long long *p, unsigned long long *q)
{
    static const double most = 0x1p53;
    double larger = 1, smaller = duty;           /* Euclid on 1 and duty; every remainder is exact by fmod */
    double p_before = 1, p_now = 0, q_before = 0, q_now = 1;  /* convergents of the continued fraction */
    while (p_now / q_now != duty) {
        const double remainder = fmod(larger, smaller), quotient = rint((larger - remainder) / smaller);
        const double p_next = p_before + quotient * p_now, q_next = q_before + quotient * q_now;
        if (!(q_next <= most))
            return false;
        p_before = p_now, p_now = p_next, q_before = q_now, q_now = q_next;
        larger = smaller, smaller = remainder;
    }
    *p = (unsigned long long)p_now;
    *q = (unsigned long long)q_now;
    return true;
}
