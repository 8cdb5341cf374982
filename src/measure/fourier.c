/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The Fourier sum whose way of adding is chosen by what it costs. */
#include "measure/fourier_inner.h"
#include <math.h>
#include <stdlib.h>

enum { BLOCK = 1024 }; /* rows added between two gatherings */

struct fourier {
    struct fourier_plan plan;
    struct fourier_direct *direct;
    struct fourier_cells *cells;
    double *reference;  /* [channels] */
    double *done;       /* [channels x (lines + 1) x 2] of plans before this; NULL: there was none */
    double *share;      /* [BLOCK] */
    double *value;      /* [BLOCK x channels] */
};

struct fourier_plan fourier_choose(size_t rows, size_t lines, size_t channels, size_t grid)
{
    /* Nanoseconds, roughly, as measured on one machine; only the order matters, and all ways give the same numbers. A grid
     * is taken wherever it costs little, since it takes rounding off the times: lines that should vanish do. */
    const double n = (double)rows, h = (double)lines, m = (double)grid, little = 1e6;
    const double direct = n * (200 + 5 * fmax(h, CHUNK)), on_grid = 30 * m + 50 * h, in_cells = n * 300 + h * 1500;
    struct fourier_plan plan = { .way = FOURIER_DIRECT, .lines = lines, .channels = channels };
    if (grid && (on_grid <= little || (on_grid <= direct && on_grid <= in_cells))) {
        plan.way = FOURIER_GRID;
        plan.cells = grid;
    } else if (in_cells < direct) {
        plan.way = FOURIER_CELLS;
    }
    return plan;
}

struct fourier_plan fourier_choose_uniform(size_t rows, size_t lines, size_t channels)
{
    enum { FEW_LINES = 1024 }; /* for fewer than one in so many points, moments cost a third of one large transform */
    const bool few = (rows - 1) / FEW_LINES >= lines;
    return (struct fourier_plan){ .way = few ? FOURIER_CELLS : FOURIER_VALUES,
                                  .lines = lines,
                                  .channels = channels,
                                  .cells = rows - 1,
                                  .uniform = true,
                                  .points = few ? rows - 1 : 0 };
}

struct fourier *fourier_new(const struct fourier_plan *plan, const double *reference, struct dw_error *error)
{
    struct fourier *f = calloc(1, sizeof *f);
    if (f) {
        f->plan = *plan;
        if (plan->way == FOURIER_DIRECT)
            f->direct = direct_new(plan);
        else
            f->cells = cells_new(plan);
        f->reference = calloc(plan->channels, sizeof *f->reference);
        f->share = calloc(BLOCK, sizeof *f->share);
        f->value = calloc(BLOCK * plan->channels, sizeof *f->value);
    }
    if (f && (f->direct || f->cells) && f->reference && f->share && f->value) {
        for (size_t i = 0; i < plan->channels; i++)
            f->reference[i] = reference[i];
        return f;
    }
    fourier_free(f);
    dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for %zu lines of %zu channels", plan->lines, plan->channels);
    return NULL;
}

void fourier_free(struct fourier *f)
{
    if (!f)
        return;
    direct_free(f->direct);
    cells_free(f->cells);
    free(f->reference);
    free(f->done);
    free(f->share);
    free(f->value);
    free(f);
}

void fourier_add(struct fourier *f, const struct fourier_rows *rows)
{
    const size_t channels = f->plan.channels;
    if (f->plan.uniform) {
        cells_add_uniform(f->cells, rows, f->reference);
        return;
    }
    for (size_t first = 0; first + 1 < rows->count; first += BLOCK - 1) { /* the last row of a block begins the next */
        const size_t count = rows->count - first < BLOCK ? rows->count - first : BLOCK;
        const double *row = rows->row + first * (1 + channels);
        for (size_t i = 0; i < count; i++, row += 1 + channels) {
            const double share = (row[0] - rows->start) / rows->period;
            f->share[i] = share < 0 ? 0 : share > 1 ? 1 : share;
            for (size_t c = 0; c < channels; c++)
                f->value[i * channels + c] = row[1 + c] - f->reference[c];
        }
        if (f->direct)
            direct_add(f->direct, f->share, f->value, count);
        else
            cells_add(f->cells, f->share, f->value, count);
    }
}

void fourier_merge(struct fourier *f, const struct fourier *other)
{
    if (f->direct)
        direct_merge(f->direct, other->direct);
    else
        cells_merge(f->cells, other->cells);
}

enum dw_status fourier_coefficients(struct fourier *f, double scale, double *out, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (f->cells)
        status = cells_coefficients(f->cells, scale, out, error);
    else
        direct_coefficients(f->direct, scale, out);
    for (size_t i = 0; status == DW_OK && f->done && i < f->plan.channels * (f->plan.lines + 1) * 2; i++)
        out[i] += scale * f->done[i];
    return status;
}

const struct fourier_plan *fourier_plan(const struct fourier *f)
{
    return &f->plan;
}

enum dw_status fourier_change(struct fourier **fourier, const struct fourier_plan *plan, struct dw_error *error)
{
    struct fourier *now = fourier_new(plan, (*fourier)->reference, error);
    double *done = now ? calloc(plan->channels, (plan->lines + 1) * 2 * sizeof *done) : NULL;
    enum dw_status status = done ? fourier_coefficients(*fourier, 1, done, error)
                                 : dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for %zu lines", plan->lines);
    if (status != DW_OK) {
        free(done);
        fourier_free(now);
        return status;
    }
    now->done = done;
    fourier_free(*fourier);
    *fourier = now;
    return DW_OK;
}
