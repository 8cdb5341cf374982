/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Brightness and flicker of one period of light. docs/theory.md, section 11. */
#include "measure/statistics_inner.h"
#include <dutywright/light.h>
#include <dutywright/pieces.h>
#include <dutywright/spectrum.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- lightness, limits, threshold ---- */

static const double KAPPA = 24389 / 27.0, DARK = 216 / 24389.0;

double dw_lightness(double light)
{
    return light <= DARK ? (light >= 0 ? KAPPA * light : NAN) : 116 * cbrt(light) - 16;
}

double dw_light_of(double lightness)
{
    const double root = (lightness + 16) / 116;
    return lightness <= 8 ? (lightness >= 0 ? lightness / KAPPA : NAN) : root * root * root;
}

/* Shares of flicker a Hz below the corner and from there, and where any is free. */
static const struct {
    double below, from, free;
} limits[] = { { 0.025e-2, 0.08e-2, 1250 }, { 0.01e-2, 0.0333e-2, 3000 } };
static const double CORNER = 90, SEIZURES = 0.05;

double dw_flicker_limit(enum dw_flicker_limit limit, double frequency)
{
    if (limit == DW_FLICKER_SEIZURES)
        return frequency < CORNER ? SEIZURES : 1;
    return frequency >= limits[limit].free ? 1 : frequency * (frequency < CORNER ? limits[limit].below : limits[limit].from);
}

double dw_flicker_frequency(enum dw_flicker_limit limit, double flicker)
{
    if (limit == DW_FLICKER_SEIZURES)
        return flicker <= SEIZURES ? 0 : CORNER;
    const double below = flicker / limits[limit].below;
    return below < CORNER ? below : fmin(fmax(flicker / limits[limit].from, CORNER), limits[limit].free);
}

double dw_strobe_threshold(double frequency)
{
    return 1 / (1 + exp(-0.00518 * (frequency - 306.6))) + 20 * exp(-frequency / 10);
}

/* ---- rows of a period ---- */

enum { BLOCK = 256, VALUES = 2 /* light, current */ };

/* Rows of one channel or two, as struct dw_wave wants them. */
struct light_rows {
    double *time, *value, *slope;  /* [room], [room x VALUES] */
    size_t count, room;
};

struct dw_light_meter {
    struct dw_light_plan plan;
    struct dw_pieces *pieces;
    struct light_rows now, last;
    bool inside, whole;            /* a period goes on; one has ended */
    double block[BLOCK * DW_LIGHT_COLUMNS];
    size_t held;
};

static bool grow(void *of, size_t bytes)
{
    void **memory = of, *larger = realloc(*memory, bytes);
    *memory = larger ? larger : *memory;
    return larger;
}

static bool add_row(struct light_rows *rows, const double *row)
{
    if (rows->count == rows->room) {
        const size_t room = 2 * rows->room + BLOCK;
        if (!grow(&rows->time, room * sizeof *rows->time) || !grow(&rows->value, room * VALUES * sizeof *rows->value) ||
            !grow(&rows->slope, room * VALUES * sizeof *rows->slope))
            return false;
        rows->room = room;
    }
    const size_t i = rows->count++;
    rows->time[i] = row[DW_LIGHT_TIME];
    for (size_t k = 0; k < VALUES; k++) {
        rows->value[i * VALUES + k] = row[DW_LIGHT_LIGHT + 2 * k];
        rows->slope[i * VALUES + k] = row[DW_LIGHT_LIGHT_SLOPE + 2 * k];
    }
    return true;
}

static enum dw_status take_block(struct dw_light_meter *m, const struct dw_block *block, struct dw_error *error)
{
    bool room = true;
    const bool begins = block->begins & 1;
    if (begins)
        m->now.count = 0;
    m->inside = m->inside || begins;
    /* without a jump the first row is the last one again */
    for (size_t i = block->jump || m->now.count == 0 ? 0 : 1; room && m->inside && i < block->count; i++)
        room = add_row(&m->now, block->rows + i * DW_LIGHT_COLUMNS);
    if (room && m->inside && (block->ends & 1)) {
        const struct light_rows ended = m->now;
        m->now = m->last;
        m->last = ended;
        m->now.count = 0;
        m->whole = true;
    }
    return room ? DW_OK : dw_no_memory(error);
}

static enum dw_status flush(struct dw_light_meter *m, struct dw_error *error)
{
    const struct dw_block *block;
    enum dw_status status = DW_OK;
    dw_pieces_put(m->pieces, m->block, m->held);
    while (!status && !(status = dw_pieces_next(m->pieces, &block, error)))
        status = block->passed ? DW_OK : take_block(m, block, error);
    m->held = 0;
    return status == DW_END ? DW_OK : status;
}

struct dw_light_meter *dw_light_meter_new(const struct dw_light_plan *plan, struct dw_error *error)
{
    static const size_t slope[DW_LIGHT_COLUMNS] = { 0, DW_LIGHT_LIGHT_SLOPE, 0, DW_LIGHT_CURRENT_SLOPE, 0 };
    struct dw_light_meter *m = calloc(1, sizeof *m);
    if (!m) {
        dw_no_memory(error);
        return NULL;
    }
    m->plan = *plan;
    m->inside = !(plan->period > 0);
    m->pieces = dw_pieces_new(&(struct dw_pieces_plan){
        .columns = DW_LIGHT_COLUMNS, .slope = slope, .clocks = plan->period > 0, .place = plan->place,
        .clock = { { .period = plan->period, .origin = plan->origin, .from = -INFINITY, .to = INFINITY, .keep = 2 } } }, error);
    if (m->pieces)
        return m;
    free(m);
    return NULL;
}

static void free_rows(const struct light_rows *rows)
{
    free(rows->time);
    free(rows->value);
    free(rows->slope);
}

void dw_light_meter_free(struct dw_light_meter *m)
{
    if (!m)
        return;
    dw_pieces_free(m->pieces);
    free_rows(&m->now);
    free_rows(&m->last);
    free(m);
}

enum dw_status dw_light_meter_row(struct dw_light_meter *m, const double *row, struct dw_error *error)
{
    memcpy(m->block + m->held++ * DW_LIGHT_COLUMNS, row, DW_LIGHT_COLUMNS * sizeof *row);
    return m->held < BLOCK ? DW_OK : flush(m, error);
}

/* ---- what it amounts to ---- */

static double integral_to(const struct hermite *h, double u)
{
    return u * (h->middle + h->even * (1 - u * u / 3)) + u * u / 2 * (h->rise - h->odd * (1 - u * u / 2));
}

/* Where it passes zero between two places with values of opposite signs. */
static double crossing(const struct hermite *h, double from, double to)
{
    const bool rises = hermite_at(h, from) < 0;
    for (double middle = (from + to) / 2; from < middle && middle < to; middle = (from + to) / 2)
        *((hermite_at(h, middle) < 0) == rises ? &from : &to) = middle;
    return from;
}

/* Area of a piece above zero, for a length of 2. */
static double area_above(const struct hermite *h)
{
    double at[4] = { -1, 1 }, area = 0;
    const int turns = dwi_hermite_turns(h, at + 1);
    at[turns + 1] = 1;
    for (int i = 0; i <= turns; i++) {
        const double a = hermite_at(h, at[i]), b = hermite_at(h, at[i + 1]);
        const double middle = (a < 0) == (b < 0) ? at[i + 1] : crossing(h, at[i], at[i + 1]);
        area += a >= 0 ? integral_to(h, middle) - integral_to(h, at[i]) : 0;
        area += a < 0 && b >= 0 ? integral_to(h, at[i + 1]) - integral_to(h, middle) : 0;
    }
    return area;
}

/* (11.3) */
static double flicker_index(const struct light_rows *rows, double mean)
{
    double area = 0;
    for (size_t i = 1; i < rows->count; i++) {
        const double length = rows->time[i] - rows->time[i - 1], *value = rows->value + i * VALUES, *slope = rows->slope + i * VALUES;
        const struct hermite h = hermite_of(length, value[-VALUES] - mean, slope[-VALUES], value[0] - mean, slope[0]);
        area += length > 0 ? area_above(&h) * length / 2 : 0;
    }
    return area / (mean * (rows->time[rows->count - 1] - rows->time[0]));
}

/* Sum of the lines as (11.6) counts them, of which each may be off by so much of the mean. */
static double visibility_of(const double *line, size_t first, size_t last, double period, double mean, double off)
{
    static const double POWER = 3.7;
    double sum = 0;
    for (size_t n = first; n <= last; n++)
        sum += pow((2 * hypot(line[2 * n], line[2 * n + 1]) / mean + off) / dw_strobe_threshold((double)n / period), POWER);
    return pow(sum, 1 / POWER);
}

static enum dw_status see_strobe(const struct light_rows *rows, struct dw_light *light, double off, struct dw_error *error)
{
    const double ulps = 4 * 0x1p-52, first = fmax(ceil(DW_VISIBLE_FROM * light->period * (1 - ulps)), 1);
    const double last = floor(DW_VISIBLE_TO * light->period * (1 + ulps));
    light->visibility = light->visibility_bound = NAN;
    if (!(first <= last))
        return DW_OK;
    double *values = calloc(rows->count, 2 * sizeof *values), *line = calloc((size_t)fmin(last, DW_LINES_MOST) + 1, 2 * sizeof *line);
    enum dw_status status = values && line ? DW_OK : dw_no_memory(error);
    for (size_t i = 0; !status && i < rows->count; i++) {
        values[i] = rows->value[i * VALUES];
        values[rows->count + i] = rows->slope[i * VALUES];
    }
    if (!status)
        status = dw_fourier(&(struct dw_wave){ rows->time, values, values + rows->count, rows->count, 1 }, (size_t)last, line, error);
    if (!status) {
        light->visibility = light->mean > 0 ? visibility_of(line, (size_t)first, (size_t)last, light->period, light->mean, 0) : 0;
        light->visibility_bound = off > 0 ? visibility_of(line, (size_t)first, (size_t)last, light->period, light->mean, off) - light->visibility
                                          : 0;
    }
    free(values);
    free(line);
    return status;
}

/* What may be off by so much light: docs/theory.md, (11.7). */
static void bound_all(const struct dw_light_plan *plan, struct dw_light *light, struct dw_statistics of[VALUES])
{
    const double off = tolerance_of(&plan->light, (struct value_range){ of[0].minimum, of[0].maximum });
    const double both = light->minimum + light->maximum;
    light->mean_bound = off;
    light->lightness_bound = off > 0 ? fmax(dw_lightness(light->mean + off) - light->lightness,
                                            light->lightness - dw_lightness(fmax(light->mean - off, 0))) : 0;
    light->flicker_bound = both > 0 ? bound_of_ratio(light->flicker, 2 * off, both, 2 * off) : 0;
    light->index_bound = light->mean > 0 ? bound_of_ratio(light->index, 2 * off, light->mean, off) : 0;
    light->current_bound = tolerance_of(&plan->current, (struct value_range){ of[1].minimum, of[1].maximum });
}

enum dw_status dw_light_meter_finish(struct dw_light_meter *m, struct dw_light *out, struct dw_error *error)
{
    struct dw_statistics of[VALUES];
    struct dw_light light = { 0 };
    enum dw_status status = flush(m, error);
    const struct light_rows *rows = m->plan.period > 0 ? &m->last : &m->now;
    if (!status && (m->plan.period > 0 ? !m->whole : rows->count < 2))
        status = dw_error_set(error, DW_BAD_INPUT, 0, "%s: it holds no whole period of light%s", m->plan.place,
                              m->plan.period > 0 ? "" : ", since no time passes");
    if (!status)
        status = dw_statistics(&(struct dw_wave){ rows->time, rows->value, rows->slope, rows->count, VALUES }, of, error);
    if (status)
        return status;
    light.from = rows->time[0];
    light.period = m->plan.period > 0 ? m->plan.period : rows->time[rows->count - 1] - light.from;
    light.mean = of[0].mean;
    light.minimum = of[0].minimum;
    light.maximum = of[0].maximum;
    light.lightness = dw_lightness(fmax(light.mean, 0));
    if (light.maximum > 0) {
        light.flicker = (light.maximum - light.minimum) / (light.maximum + light.minimum);
        light.index = flicker_index(rows, light.mean);
        light.drift = fabs(rows->value[(rows->count - 1) * VALUES] - rows->value[0]) / light.maximum;
    }
    light.current_rms = of[1].rms;
    bound_all(&m->plan, &light, of);
    status = see_strobe(rows, &light, light.mean > 0 ? bound_of_ratio(2, 2 * light.mean_bound, light.mean, light.mean_bound) : 0, error);
    if (!status)
        *out = light;
    return status;
}
