/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a train may ask for. */
#include "train_inner.h"
#include <dutywright/value.h>
#include <float.h>
#include <math.h>
#include <string.h>

/* Six digits, so that two lengths of which one is just too long do not look alike; without the zeros at their end. */
static const char *seconds(char text[64], double value)
{
    dw_quantity_print(text, 64, value, "s", 6);
    char *unit = text + strcspn(text, " "), *point = strchr(text, '.');
    if (!point || strchr(text, 'e'))
        return text; /* no digits behind a point, or an exponent behind them */
    char *end = unit;
    while (end[-1] == '0')
        end--;
    if (end - 1 == point)
        end--;
    memmove(end, unit, strlen(unit) + 1);
    return text;
}

static enum dw_status check_ranges(const struct dw_pulse_train *train, struct dw_error *error)
{
    char a[64], b[64];
    if (!(train->period > 0 && isfinite(train->period)))
        return dw_error_member(error, "period", "a period of %g s: it must be above zero", train->period);
    if (!train->points && !(train->duty >= 0 && train->duty <= 1))
        return dw_error_member(error, "duty", "a duty of %g: it must be from 0 to 1", train->duty);
    if (!(train->low < train->high && isfinite(train->low) && isfinite(train->high)))
        return dw_error_member(error, "low", "levels of %g V and %g V: low must be below high", train->low,
                               train->high);
    if (!(train->rise >= 0 && isfinite(train->rise)))
        return dw_error_member(error, "rise", "a rise of %g s: it must be zero or above", train->rise);
    if (!(train->fall >= 0 && isfinite(train->fall)))
        return dw_error_member(error, "fall", "a fall of %g s: it must be zero or above", train->fall);
    if (!isfinite(train->phase))
        return dw_error_member(error, "phase", "a phase of %g: it must be a number", train->phase);
    if (!(train->dead_time >= 0))
        return dw_error_member(error, "dead_time", "a dead time of %g s: it must be zero or above", train->dead_time);
    if (train->dead_time >= train->period)
        return dw_error_member(error, "dead_time", "a dead time of %s: it must be shorter than the period of %s",
                               seconds(a, train->dead_time), seconds(b, train->period));
    if (train->dead_time > 0 && !train->complement)
        return dw_error_member(error, "dead_time", "a dead time needs a complementary channel");
    if (!(train->jitter >= 0))
        return dw_error_member(error, "jitter", "a jitter of %g s rms: it must be zero or above", train->jitter);
    if (train->jitter >= train->period)
        return dw_error_member(error, "jitter", "a jitter of %s rms: it must be shorter than the period of %s",
                               seconds(a, train->jitter), seconds(b, train->period));
    if (train->modulation == DW_NATURAL && train->steps)
        return dw_error_member(error, "modulation", "natural sampling compares without steps; a counter samples regularly");
    return DW_OK;
}

static enum dw_status check_length(const struct dw_pulse_train *train, struct dw_error *error)
{
    if (!(train->periods >= 0 && isfinite(train->periods)))
        return dw_error_member(error, "periods", "a record of %g periods: it must be above zero", train->periods);
    if (!(train->duration >= 0 && isfinite(train->duration)))
        return dw_error_member(error, "duration", "a record of %g s: it must be above zero", train->duration);
    if (train->periods > 0 && train->duration > 0)
        return dw_error_member(error, "duration", "periods and duration both set the length of the record");
    if (train->periods == 0 && train->duration == 0 && !train->points)
        return dw_error_member(error, "periods", "a record without length: periods or duration must be above zero");
    return DW_OK;
}

/* Shortest pulse and pause of a constant duty, s. For a density: single clocks on the rarer side, and on the other as
 * many whole ones as fit between them. (1.8) */
static void shortest(const struct dw_pulse_train *train, double *pulse, double *pause)
{
    const double duty = dw_duty_given(train->duty, train->steps, NULL), period = train->period;
    *pulse = duty * period;
    *pause = (1 - duty) * period;
    if (train->modulation == DW_DENSITY) {
        unsigned long long p, q;
        const bool ratio = dw_duty_ratio(duty, &p, &q);
        const double on_clocks = ratio ? floor((double)p / (double)(q - p)) : floor(duty / (1 - duty));
        const double off_clocks = ratio ? floor((double)(q - p) / (double)p) : floor((1 - duty) / duty);
        *pulse = fmax(on_clocks, 1) * period;
        *pause = fmax(off_clocks, 1) * period;
    }
}

/* "what of LONG is longer than the CHANNEL rest of SHORT"; all digits where six show no difference. */
static enum dw_status too_long(const char *what, double length, const char *channel, const char *where, double room,
                               struct dw_error *error)
{
    char a[64], b[64];
    if (strcmp(seconds(a, length), seconds(b, room)) == 0) {
        strcpy(a + dw_number_print(a, length), " s");
        strcpy(b + dw_number_print(b, room), " s");
    }
    return dw_error_member(error, what, "a %s of %s is longer than the %s%s of %s", what, a, channel, where, b);
}

/* One channel: on for `width` of which the first part is its rise, off for `rest` of which the first part is its fall. */
static enum dw_status check_edges(const struct dw_pulse_train *train, const char *channel, double width, double rest,
                                  struct dw_error *error)
{
    const double near = 4 * DBL_EPSILON * train->period;
    if (width <= near)
        return DW_OK;  /* it stays off */
    if (train->rise > width + near)
        return too_long("rise", train->rise, channel, "pulse", width, error);
    if (train->fall > rest + near)
        return too_long("fall", train->fall, channel, "pause", rest, error);
    return DW_OK;
}

enum dw_status dwi_pulse_train_check(const struct dw_pulse_train *train, struct dw_error *error)
{
    enum dw_status status = check_ranges(train, error);
    if (status == DW_OK)
        status = check_length(train, error);
    const double given = dw_duty_given(train->duty, train->steps, NULL);
    if (status != DW_OK || train->points || train->jitter > 0 || given == 0 || given == 1)
        return status;
    double pulse, pause;
    shortest(train, &pulse, &pause);
    status = check_edges(train, "", pulse - train->dead_time, pause + train->dead_time, error);
    if (status == DW_OK && train->complement)
        status = check_edges(train, "complement's ", pause - train->dead_time, pulse + train->dead_time, error);
    return status;
}
