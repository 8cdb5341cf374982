/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/statistics_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double even = 0.5; /* share of the spacing by which times, as they are rounded, may miss it */

struct samples dwi_samples_new(size_t columns, double rate, size_t most_bytes, bool latest)
{
    const size_t most = most_bytes / (columns * sizeof(double));
    return (struct samples){ .columns = columns, .rate = rate, .most = most < 64 ? 64 : most, .latest = latest, .even = true };
}

void dwi_samples_free(struct samples *s)
{
    free(s->row);
    free(s->sum);
    free(s->origin);
    s->row = s->origin = NULL;
    s->sum = NULL;
    s->count = s->room = 0;
}

/* Room for one more; false: there is none, and the row is not kept. */
static enum dw_status make_room(struct samples *s, bool *have, struct dw_error *error)
{
    *have = s->count < s->most || s->latest;
    if (s->count == s->most && s->latest) {
        const size_t gone = s->count / 2;
        memmove(s->row, s->row + gone * s->columns, (s->count - gone) * s->columns * sizeof *s->row);
        s->count -= gone;
    }
    if (!*have || s->count < s->room)
        return DW_OK;
    const size_t room = s->room ? (s->room < s->most / 2 ? 2 * s->room : s->most) : s->most < 4096 ? s->most : 4096;
    double *row = realloc(s->row, room * s->columns * sizeof *row);
    if (!row)
        return dw_no_memory(error);
    s->row = row;
    s->room = room;
    return DW_OK;
}

static enum dw_status begin_sums(struct samples *s, const double *first, struct dw_error *error)
{
    s->sum = calloc(2 * s->columns, sizeof *s->sum);
    s->origin = malloc(s->columns * sizeof *s->origin);
    if (!s->sum || !s->origin)
        return dw_no_memory(error);
    memcpy(s->origin, first, s->columns * sizeof *first);
    return DW_OK;
}

static void add_sums(struct samples *s, const double *values)
{
    for (size_t i = 1; i < s->columns; i++) {
        const long double off = (long double)values[i] - s->origin[i];
        s->sum[2 * i] += off;
        s->sum[2 * i + 1] += off * off;
    }
}

void dwi_samples_moments(const struct samples *s, size_t column, double *mean, double *ac_rms)
{
    const long double count = (long double)s->seen, off = s->sum[2 * column] / count;
    *mean = (double)(s->origin[column] + off);
    *ac_rms = sqrt(fmax(0, (double)(s->sum[2 * column + 1] / count - off * off)));
}

enum dw_status dwi_samples_put(struct samples *s, const double *values, size_t rows, size_t *taken, struct dw_error *error)
{
    enum dw_status status = s->seen || !rows ? DW_OK : begin_sums(s, values, error);
    for (*taken = 0; *taken < rows && s->even && status == DW_OK; ++*taken, values += s->columns) {
        const double spaces = (values[0] - s->last) * s->rate;
        bool have;
        if (s->seen && !(fabs(spaces - 1) < even)) {
            s->even = false;
            s->odd = spaces;
            s->odd_at = values[0];
            return DW_OK;
        }
        if (s->seen)
            s->off = fmax(s->off, fabs(spaces - 1));
        status = make_room(s, &have, error);
        if (status == DW_OK && have)
            memcpy(s->row + s->count++ * s->columns, values, s->columns * sizeof *values);
        add_sums(s, values);
        if (!s->seen++)
            s->first = values[0];
        s->last = values[0];
    }
    return status;
}

void dwi_samples_settle(struct samples *s)
{
    const double spaces = (double)s->seen - 1, span = s->last - s->first;
    if (s->even && spaces > 0 && fabs(span * s->rate - spaces) > 2 * s->off)
        s->rate = spaces / span;
}

void dwi_samples_between(const struct samples *s, double from, double to, size_t *first, size_t *end)
{
    const double slack = 1e-3 / s->rate;
    *first = 0;
    *end = s->count;
    while (*first < s->count && s->row[*first * s->columns] < from - slack)
        ++*first;
    while (*end > *first && s->row[(*end - 1) * s->columns] >= to - slack)
        --*end;
}

double dwi_samples_boundary(const struct samples *s, double origin, double period)
{
    const double end = s->last + 1 / s->rate;
    return origin + floor((end - origin) / period + 1e-3 / (s->rate * period)) * period;
}

struct dw_samples dwi_samples_of(const struct samples *s, size_t column, size_t first, size_t end)
{
    return (struct dw_samples){ s->row + first * s->columns + column, end - first, s->columns, s->rate };
}
