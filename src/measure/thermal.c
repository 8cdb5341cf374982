/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Thermal network in the sum-of-exponentials form. docs/theory.md, section 9. */
#include <dutywright/switch.h>
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

/* The three responses of tau y' = u - y from rest, over z = t / tau, to u = 1, t / tau and (t / tau)^2:
 * 1 - e^-z, z - (1 - e^-z), z^2 - 2 (z - (1 - e^-z)). Below z = 1 the latter two would cancel, so they are summed from
 * the first power of z that survives; the terms left out are below 1 / 24! of it. */
static void responses(double z, double out[3])
{
    out[0] = -expm1(-z);
    if (z >= 1) {
        out[1] = z - out[0];
        out[2] = z * z - 2 * out[1];
        return;
    }
    double term = z, first = 0, second = 0;
    for (int k = 2; k < 24; k++) {
        term *= -z / k;  /* (-1)^(k-1) z^k / k! */
        first -= term;
        if (k > 2)
            second += 2 * term;
    }
    out[1] = first;
    out[2] = second;
}

/* K: what the loss alone makes of a cold pair `after` seconds into the stretch. (9.5) */
static double forced(const struct dw_thermal_pair *pair, const struct dw_loss_piece *loss, double after)
{
    double tau = pair->time_constant, w[3];
    if (!(tau > 0))
        return pair->resistance * (loss->base + after * (loss->slope + after * loss->curve));
    responses(after / tau, w);
    return pair->resistance * (loss->base * w[0] + loss->slope * tau * w[1] + loss->curve * tau * tau * w[2]);
}

static double pair_rise(const struct dw_thermal_pair *pair, double rise, const struct dw_loss_piece *loss, double after)
{
    double kept = pair->time_constant > 0 ? rise * exp(-after / pair->time_constant) : 0;
    return kept + forced(pair, loss, after);
}

double dw_thermal_junction(const struct dw_thermal *thermal, const struct dw_loss_piece *loss, double after)
{
    double sum = thermal->ambient;
    for (size_t i = 0; i < thermal->count; i++)
        sum += pair_rise(&thermal->pair[i], thermal->rise[i], loss, after);
    return sum;
}

/* K/s: (r p - y) / tau, from the pair's own equation */
static double pair_slope(const struct dw_thermal_pair *pair, double rise, const struct dw_loss_piece *loss, double after)
{
    double r = pair->resistance, tau = pair->time_constant;
    if (!(tau > 0))
        return r * (loss->slope + 2 * after * loss->curve);
    double power = loss->base + after * (loss->slope + after * loss->curve);
    return (r * power - pair_rise(pair, rise, loss, after)) / tau;
}

double dw_thermal_slope(const struct dw_thermal *thermal, const struct dw_loss_piece *loss, double after)
{
    double sum = 0;
    for (size_t i = 0; i < thermal->count; i++)
        sum += pair_slope(&thermal->pair[i], thermal->rise[i], loss, after);
    return sum;
}

double dw_thermal_chord_error(const struct dw_thermal *thermal, const struct dw_loss_piece *loss, double length)
{
    double sum = 0;
    for (size_t i = 0; i < thermal->count; i++) {
        const struct dw_thermal_pair *pair = &thermal->pair[i];
        double r = pair->resistance, tau = pair->time_constant, start, end;
        if (tau > 0) {  /* y'' = (r p' - y') / tau is a constant plus one exponential: monotone */
            start = (r * loss->slope - pair_slope(pair, thermal->rise[i], loss, 0)) / tau;
            end = (r * (loss->slope + 2 * length * loss->curve) - pair_slope(pair, thermal->rise[i], loss, length)) / tau;
        } else {
            start = end = 2 * r * loss->curve;
        }
        sum += fmax(fabs(start), fabs(end));
    }
    return sum * length * length / 8;
}

void dw_thermal_advance(struct dw_thermal *thermal, const struct dw_loss_piece *loss, double length)
{
    for (size_t i = 0; i < thermal->count; i++) {
        const struct dw_thermal_pair *pair = &thermal->pair[i];
        double push = forced(pair, loss, length);
        double keep = pair->time_constant > 0 ? exp(-length / pair->time_constant) : 0;
        thermal->rise[i] = thermal->rise[i] * keep + push;
        thermal->answer[i] = thermal->answer[i] * keep + push;
    }
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
