/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Thermal network in the sum-of-exponentials form. docs/theory.md, section 9. */
#include "measure/losses_inner.h"
#include <float.h>
#include <math.h>
#include <stdlib.h>

struct dw_thermal {
    size_t count;
    double ambient;
    struct dw_thermal_pair pair[DW_THERMAL_PAIRS];
    double rise[DW_THERMAL_PAIRS];    /* K over ambient, carried by each pair */
    double answer[DW_THERMAL_PAIRS];  /* K, response to the losses since the period's start, from a cold start there */
};

struct dw_thermal *dw_thermal_new(const struct dw_thermal_pair *pairs, size_t count, double ambient,
                                  struct dw_error *error)
{
    if (count < 1 || count > DW_THERMAL_PAIRS) {
        dw_error_set(error, DW_BAD_USE, 0, "%zu thermal pairs: expected 1 to %d", count, DW_THERMAL_PAIRS);
        return NULL;
    }
    if (!isfinite(ambient) || ambient < -273.15) {
        dw_error_member(error, "ambient", "ambient temperature %g degC: expected above absolute zero", ambient);
        return NULL;
    }
    for (size_t i = 0; i < count; i++) {
        if (!(pairs[i].resistance > 0) || !isfinite(pairs[i].resistance)) {
            dw_error_member(error, "resistance", "thermal resistance %g K/W: must be above zero", pairs[i].resistance);
            return NULL;
        }
        if (!(pairs[i].time_constant >= 0) || !isfinite(pairs[i].time_constant)) {
            dw_error_member(error, "time_constant", "thermal time constant %g s: must not be negative",
                            pairs[i].time_constant);
            return NULL;
        }
    }
    struct dw_thermal *thermal = calloc(1, sizeof *thermal);
    if (!thermal) {
        dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for the thermal network");
        return NULL;
    }
    thermal->count = count;
    thermal->ambient = ambient;
    for (size_t i = 0; i < count; i++)
        thermal->pair[i] = pairs[i];
    return thermal;
}

void dw_thermal_free(struct dw_thermal *thermal)
{
    free(thermal);
}

enum { RESPONSES = DW_LOSS_POWERS + 1 };

/* The responses of y' = z (share^k - y) from rest at share 1, k from 0. docs/theory.md, (9.5). Upwards the recurrence is
 * stable for large z, downwards for small, and there it begins with a series whose terms alternate and at least halve.
 *   returns   e^-z, what is left of where y began */
static double responses(double z, double *w)
{
    if (z >= 4) {
        const double kept = exp(-z);
        w[0] = 1 - kept;
        for (int k = 1; k < RESPONSES; k++)
            w[k] = 1 - k / z * w[k - 1];
        return kept;
    }
    double term = z / RESPONSES, sum = term;
    for (int k = RESPONSES + 1; fabs(term) > DBL_EPSILON / 4 * sum; k++) {
        term *= -z / k;
        sum += term;
    }
    w[RESPONSES - 1] = sum;
    for (int k = RESPONSES - 1; k > 0; k--)
        w[k - 1] = z / k * (1 - w[k]);
    return w[0] < 0.5 ? 1 - w[0] : exp(-z);
}

/* Time constants in a length; a pair without capacity has had its own at once. */
static double constants_in(const struct dw_thermal_pair *pair, double length)
{
    return pair->time_constant > 0 ? length / pair->time_constant : INFINITY;
}

/* Above this many time constants a pair's start is told apart from the polynomial that it tends to. */
static const double MANY = 16;

/* Derivative of that polynomial by the share, at the start: r (p^(n) - p^(n + 1) / z + p^(n + 2) / z^2 - ...). (9.8) */
static double settled(const struct dw_thermal_pair *pair, const struct dw_loss_piece *loss, double z, unsigned n)
{
    static const double factorial[DW_LOSS_POWERS] = { 1, 1, 2, 6, 24, 120, 720 };
    double sum = 0;
    for (unsigned k = DW_LOSS_POWERS; k-- > n;)
        sum = factorial[k] * loss->power[k] - sum / z;
    return pair->resistance * sum;
}

/* K: by how much a pair starts above it. What rounding may have left of nothing is nothing: its derivatives are z, z^2, ... of it. */
static double excess(const struct dw_thermal_pair *pair, double rise, const struct dw_loss_piece *loss, double z)
{
    const double all = settled(pair, loss, z, 0), over = isinf(z) ? 0 : rise - all;
    double size = fabs(rise);
    for (size_t k = 0; k < DW_LOSS_POWERS; k++)
        size += pair->resistance * fabs(loss->power[k]);
    return fabs(over) > 0x1p-48 * size ? over : 0;
}

/* K/s at the start of the piece. */
static double first_slope(const struct dw_thermal_pair *pair, double rise, const struct dw_loss_piece *loss)
{
    const double z = constants_in(pair, loss->length);
    if (!(z > MANY))
        return (pair->resistance * loss->power[0] - rise) / pair->time_constant;
    const double over = excess(pair, rise, loss, z);
    return (settled(pair, loss, z, 1) - (over != 0 ? z * over : 0)) / loss->length;
}

/* What a pair is at a share of a piece: so much of where it began, and what the loss alone has made of it; likewise its mean
 * until then, and its slope by that at the start. (9.5) to (9.7) */
struct course {
    double kept, forced;            /* 1, K */
    double mean_kept, mean_forced;  /* 1, K */
    double slope_forced;            /* K/s */
};

static struct course course_of(const struct dw_thermal_pair *pair, const struct dw_loss_piece *loss, double share)
{
    const double z = constants_in(pair, share * loss->length), r = pair->resistance;
    double w[RESPONSES], power = r;
    struct course course = { .kept = responses(z, w) };
    for (int k = 0; k < DW_LOSS_POWERS; k++) {
        if (k > 0) {
            course.slope_forced += k * power * loss->power[k] * w[k - 1] / loss->length;
            power *= share;
        }
        course.forced += power * loss->power[k] * w[k];
        course.mean_forced += power * loss->power[k] * w[k + 1] / (k + 1);
    }
    course.mean_kept = z > 0 ? w[0] / z : 1;
    return course;
}

double dw_thermal_junction(const struct dw_thermal *thermal, const struct dw_loss_piece *loss, double share, double *slope)
{
    double sum = thermal->ambient, turn = 0;
    for (size_t i = 0; i < thermal->count; i++) {
        const struct course course = course_of(&thermal->pair[i], loss, share);
        sum += course.kept * thermal->rise[i] + course.forced;
        turn += course.slope_forced;
        if (slope && course.kept > 0)
            turn += course.kept * first_slope(&thermal->pair[i], thermal->rise[i], loss);
    }
    if (slope)
        *slope = turn;
    return sum;
}

/* Bound of a pair's fourth derivative by the share at the start, K. */
static double first_bend(const struct dw_thermal_pair *pair, double rise, const struct dw_loss_piece *loss, double z)
{
    const double r = pair->resistance, *p = loss->power;
    if (!(z > MANY))
        return fabs(z * (6 * r * p[3] - z * (2 * r * p[2] - z * (r * p[1] - z * (r * p[0] - rise)))));
    const double over = excess(pair, rise, loss, z), bend = fabs(settled(pair, loss, z, 4));
    return bend + (over != 0 ? z * z * z * z * fabs(over) : 0);
}

double dw_thermal_bend(const struct dw_thermal *thermal, const struct dw_loss_piece *loss, double share)
{
    double sum = 0;
    for (size_t i = 0; i < thermal->count; i++) {
        /* y'''' tends from where it begins to r p'''' as y does to r p: docs/theory.md, (9.9) */
        const struct dw_thermal_pair *pair = &thermal->pair[i];
        const double z = constants_in(pair, loss->length), first = first_bend(pair, thermal->rise[i], loss, z);
        const double driven = pair->resistance * dwi_loss_bend(loss, share);
        sum += driven > first ? first + fmin(z * share, 1) * driven : first;
    }
    return sum;
}

double dw_thermal_advance(struct dw_thermal *thermal, const struct dw_loss_piece *loss, double share)
{
    double mean = thermal->ambient;
    for (size_t i = 0; i < thermal->count; i++) {
        const struct course course = course_of(&thermal->pair[i], loss, share);
        mean += course.mean_kept * thermal->rise[i] + course.mean_forced;
        thermal->rise[i] = thermal->rise[i] * course.kept + course.forced;
        thermal->answer[i] = thermal->answer[i] * course.kept + course.forced;
    }
    return mean * share * loss->length;
}

void dw_thermal_begin_period(struct dw_thermal *thermal)
{
    for (size_t i = 0; i < thermal->count; i++)
        thermal->answer[i] = 0;
}

struct dw_thermal *dw_thermal_copy(const struct dw_thermal *thermal, struct dw_error *error)
{
    struct dw_thermal *copy = malloc(sizeof *copy);
    if (copy)
        *copy = *thermal;
    else
        dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for the thermal network");
    return copy;
}

void dw_thermal_set_steady(struct dw_thermal *thermal, const struct dw_thermal *gathered, double period)
{
    for (size_t i = 0; i < thermal->count; i++) {
        double tau = thermal->pair[i].time_constant, answer = gathered->answer[i];
        thermal->rise[i] = tau > 0 ? answer / -expm1(-period / tau) : answer;
    }
}

double dw_thermal_now(const struct dw_thermal *thermal)
{
    double sum = thermal->ambient;
    for (size_t i = 0; i < thermal->count; i++)
        sum += thermal->rise[i];
    return sum;
}

double dw_thermal_resistance(const struct dw_thermal *thermal)
{
    double sum = 0;
    for (size_t i = 0; i < thermal->count; i++)
        sum += thermal->pair[i].resistance;
    return sum;
}

double dw_thermal_ambient(const struct dw_thermal *thermal)
{
    return thermal->ambient;
}
