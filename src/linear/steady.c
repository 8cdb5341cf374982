/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The periodic state of a linear system: the map of one period is x + Y x + g, so -Y x = g. docs/theory.md, (2.9). */
#include "linear/matrix_inner.h"
#include "linear/modes_inner.h"
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LENGTHS_KEPT = 8 };

#define ON_HARMONIC 1e-9   /* undamped rates so near, in periods, are refused: see dw_system_steady */
#define NO_RATE 1e-15      /* of a period: smaller eigenvalues of Y count as zero */
#define LASTING 1e-13      /* radius so near to 1 */

struct period_map {
    const struct dw_system *system;
    struct doubled *y, *g;        /* [n x n], [n] */
    struct doubled *joint, *rows; /* scratch: [n x (n + 1)] twice, and level 0 of a chain */
    struct doubled *product;
    struct chain kept[LENGTHS_KEPT];
    size_t next;
};

static enum dw_status find_chain(struct period_map *map, double length, struct chain **chain,
                                 struct dw_error *error)
{
    for (size_t i = 0; i < LENGTHS_KEPT; i++)
        if (map->kept[i].high && map->kept[i].length == length) {
            *chain = map->kept + i;
            return DW_OK;
        }
    struct chain *place = map->kept + map->next++ % LENGTHS_KEPT;
    dwi_chain_free(place);
    *place = (struct chain){ .length = length };
    *chain = place;
    return dwi_chain_build(map->system, place, true, error);
}

static struct doubled weighed(const double *high, const double *low, size_t at, struct doubled by)
{
    return doubled_product((struct doubled){ high[at], low[at] }, by);
}

/* Composes the map with one more stretch: Y <- Y2 + Y + Y2 Y, g <- g2 + g + Y2 g. */
static enum dw_status append_stretch(struct period_map *map, const struct dw_interval *over, struct dw_error *error)
{
    const size_t n = map->system->states, m = map->system->inputs, width = map->system->width;
    struct chain *chain = NULL;
    struct doubled w[SYSTEM_INPUTS][POWERS + 1] = { { { 0, 0 } } };
    bool curved = false;
    enum dw_status status = find_chain(map, over->length, &chain, error);
    for (size_t j = 0; j < m; j++)
        curved = dwi_interval_powers(over, j, m, w[j]) || curved;
    if (status == DW_OK && curved)
        status = dwi_chain_bend(map->system, chain, error);
    if (status != DW_OK)
        return status;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++)
            map->rows[i * n + j] = (struct doubled){ chain->high[i * width + j], chain->low[i * width + j] };
        memcpy(map->joint + i * (n + 1), map->y + i * n, n * sizeof *map->y);
        map->joint[i * (n + 1) + n] = map->g[i];
    }
    dwi_doubled_multiply(map->product, map->rows, map->joint, n, n, n + 1);
    for (size_t i = 0; i < n; i++) {
        const struct doubled *added = map->product + i * (n + 1);
        for (size_t j = 0; j < n; j++)
            map->y[i * n + j] = doubled_sum(doubled_sum(map->y[i * n + j], map->rows[i * n + j]), added[j]);
        struct doubled sum = doubled_sum(map->g[i], added[n]);
        for (size_t j = 0; j < m; j++) {
            const size_t at = i * width + n + j, bent = i * 2 * m + j;
            sum = doubled_sum(sum, weighed(chain->high, chain->low, at, w[j][0]));
            sum = doubled_sum(sum, weighed(chain->high, chain->low, at + m, w[j][1]));
            for (size_t k = 2; curved && k <= POWERS; k++)
                sum = doubled_sum(sum, weighed(chain->bent_high, chain->bent_low, bent + (k - 2) * m, w[j][k]));
        }
        map->g[i] = sum;
    }
    return DW_OK;
}

/* Largest singular value of a matrix in the energy's scale. */
static double energy_size(const struct dw_system *system, const struct doubled *matrix)
{
    const size_t n = system->states;
    double square[DW_STATES * DW_STATES];
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            double sum = 0;
            for (size_t k = 0; k < n; k++)
                sum += system->weight[k] * matrix[k * n + i].hi * matrix[k * n + j].hi;
            square[i * n + j] = sum / sqrt(system->weight[i] * system->weight[j]);
        }
    return sqrt(fmax(dwi_symmetric_largest(square, n), 0));
}

/* An undamped rate on harmonic >= 1 of the period, where Y itself is nearly singular; 0: none. */
static double blocked_harmonic(const struct dw_system *system, double period, double *frequency)
{
    double real[DW_STATES], imaginary[DW_STATES];
    if (dw_system_rates(system, real, imaginary, NULL) != DW_OK)  /* unrun: eigenvalues */
        return 0;
    const double noise = ON_HARMONIC + 64 * DBL_EPSILON * system->norm * period;
    for (size_t i = 0; i < system->states; i++) {
        const double turns = imaginary[i] * period / (2 * M_PI), harmonic = round(turns);
        /* unrun: rounding */
        if (harmonic >= 1 && fabs(turns - harmonic) <= noise * harmonic && fabs(real[i]) * period <= noise * harmonic) {
            *frequency = imaginary[i] / (2 * M_PI);
            return harmonic;
        }
    }
    return 0;
}

double dwi_map_radius(const double *y, size_t n)
{
    double real[DW_STATES], imaginary[DW_STATES], radius = 0;
    if (!dwi_matrix_eigenvalues(y, n, real, imaginary))  /* unrun: eigenvalues */
        return NAN;
    for (size_t i = 0; i < n; i++)
        radius = fmax(radius, hypot(1 + real[i], imaginary[i]));
    return radius;
}

/* Y in the energy's scale, rounded to double. */
static void scaled_map(const struct period_map *map, double *y)
{
    const struct dw_system *system = map->system;
    const size_t n = system->states;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            y[i * n + j] = map->y[i * n + j].hi * sqrt(system->weight[i] / system->weight[j]);
}

static double smallest_eigenvalue(const double *y, size_t n)
{
    double real[DW_STATES], imaginary[DW_STATES], least = INFINITY;
    if (!dwi_matrix_eigenvalues(y, n, real, imaginary))  /* unrun: eigenvalues */
        return NAN;
    for (size_t i = 0; i < n; i++)
        least = fmin(least, hypot(real[i], imaginary[i]));
    return least;
}

/* Solves for the state; the map's y is destroyed. */
static enum dw_status solve_map(struct period_map *map, double period, double *state, struct dw_steady *steady,
                                struct dw_error *error)
{
    const size_t n = map->system->states, columns = n + 1;
    double y[DW_STATES * DW_STATES], frequency = 0;
    scaled_map(map, y);
    const double largest = energy_size(map->system, map->y), least = smallest_eigenvalue(y, n);
    const double harmonic = least <= 16 * ON_HARMONIC ? blocked_harmonic(map->system, period, &frequency) : 0;
    if (harmonic >= 1)
        return dw_error_set(error, DW_NO, 0,
                            "no steady state: nothing damps the oscillation at %.6g Hz, which stands on harmonic %.0f of the "
                            "period of %.6g s, so it grows without end",
                            frequency, harmonic, period);
    memset(map->joint, 0, n * columns * sizeof *map->joint);
    for (size_t i = 0; i < n; i++) {
        map->joint[i * columns + i].hi = 1;
        map->joint[i * columns + n] = doubled_minus(map->g[i]);
    }
    bool solved = dwi_doubled_solve(map->y, map->joint, n, columns);
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            map->rows[i * n + j] = map->joint[i * columns + j];
    const double inverse = solved ? energy_size(map->system, map->rows) : INFINITY;
    if (!(inverse < 1 / NO_RATE))
        return dw_error_set(error, DW_NO, 0,
                            "no steady state: a rate of the system is zero, so a charge or current that nothing drains stays as "
                            "it began, or grows without end");
    for (size_t i = 0; i < n; i++)
        state[i] = doubled_value(map->joint[i * columns + n]);
    if (steady) {
        steady->condition = largest * inverse;
        steady->radius = dwi_map_radius(y, n);
        steady->lasting = !(steady->radius < 1 - LASTING);
    }
    return DW_OK;
}

static enum dw_status check_rows(const struct dw_period *period, size_t inputs, struct dw_error *error)
{
    const double *const time = period->time;
    const size_t rows = period->rows;
    if (rows < 2 || !(time[rows - 1] > time[0]))
        return dw_error_set(error, DW_BAD_USE, 0, "a period needs two rows at least, and time must pass");
    for (size_t i = 0; i < rows; i++) {
        if (!isfinite(time[i]) || (i > 0 && time[i] < time[i - 1]))
            return dw_error_set(error, DW_BAD_USE, 0, "time goes back or is not finite at row %zu of the period", i + 1);
        for (size_t j = 0; j < inputs; j++)
            if (!isfinite(period->input[i * inputs + j]))
                return dw_error_set(error, DW_BAD_USE, 0, "input %zu is not finite at row %zu of the period", j + 1, i + 1);
    }
    return DW_OK;
}

/* Composes the map of the period, stretch by stretch. */
static enum dw_status compose(struct period_map *map, const struct dw_period *period, size_t inputs, struct dw_error *error)
{
    const size_t m = map->system->inputs;
    double start[SYSTEM_INPUTS], end[SYSTEM_INPUTS], slope[2 * SYSTEM_INPUTS] = { 0 };
    struct dw_interval over = { .start = start, .end = end, .slope = period->slope ? slope : NULL };
    enum dw_status status = DW_OK;
    for (size_t j = inputs; j < m; j++)
        start[j] = end[j] = 1;
    for (size_t i = 1; i < period->rows && status == DW_OK; i++) {
        memcpy(start, period->input + (i - 1) * inputs, inputs * sizeof *start);
        memcpy(end, period->input + i * inputs, inputs * sizeof *end);
        for (size_t j = 0; over.slope && j < inputs; j++) {
            slope[j] = period->slope[(i - 1) * inputs + j];
            slope[m + j] = period->slope[i * inputs + j];
        }
        over.length = period->time[i] - period->time[i - 1];
        if (over.length > 0)
            status = append_stretch(map, &over, error);
    }
    return status;
}

enum dw_status dwi_system_steady(struct dw_system *system, const struct dw_period *period, size_t inputs, double *state,
                                 struct dw_steady *steady, struct dw_error *error)
{
    const size_t n = system->states;
    enum dw_status status = check_rows(period, inputs, error);
    if (status != DW_OK)
        return status;
    struct period_map map = { .system = system };
    struct doubled *memory = calloc(2 * n * n + n + 2 * n * (n + 1), sizeof *memory);
    if (!memory)
        return dw_no_memory(error);
    map.y = memory;
    map.g = map.y + n * n;
    map.rows = map.g + n;
    map.joint = map.rows + n * n;
    map.product = map.joint + n * (n + 1);
    status = compose(&map, period, inputs, error);
    if (status == DW_OK)
        status = solve_map(&map, period->time[period->rows - 1] - period->time[0], state, steady, error);
    for (size_t i = 0; i < LENGTHS_KEPT; i++)
        dwi_chain_free(map.kept + i);
    free(memory);
    return status;
}

enum dw_status dw_system_steady(struct dw_system *system, const struct dw_period *period, double *state, struct dw_steady *steady,
                                struct dw_error *error)
{
    return dwi_system_steady(system, period, system->inputs, state, steady, error);
}
