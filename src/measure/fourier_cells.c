/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A period cut into equal cells, each known by its Legendre moments, and one transform a moment: docs/theory.md, equation
 * 5.6. Where all rows lie on borders of cells, two numbers a border are all there is: equation 5.7. */
#include "measure/coefficients_inner.h"
#include <fftw3.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

enum {
    FEW_CELLS = 64,   /* so few are summed up one by one */
    CELLS_A_LINE = 16, LONG = 1024,  /* where there are so many rows a line, finer cells, which need half the moments */
    BATCH = 64, LANES = 8
};

struct cells {
    size_t lines, channels, cells;
    size_t pitch;     /* from plane to plane: cells + 2 for the transform in place, a multiple of 8 for its alignment */
    int planes;       /* of a channel */
    double *plane;    /* [channels x planes x pitch], moments, then their transforms; on a cache line's border */
    void *room;       /* what was allocated for it */
    size_t grid;      /* not 0: planes hold the value behind each border, and how far it lies above the one before it ... */
    bool jumps;       /* ... which is nothing, but where this is true, or at border 0: */
    double *wrap;     /* [channels], how far the start of the period lies above its end */
    size_t samples;   /* not 0: moments of so many values at equal distances, on a grid as above */
    double theta;     /* moments: pi lines / cells */
    size_t cell, nodes;                  /* nodes that wait to be added to that cell's moments: */
    double place[BATCH], *mass;          /* -1..1; [channels x BATCH] */
    double *slope, *value;               /* [channels], a cell, and [2 x channels], of the piece in hand */
    struct hermite *cubic;               /* [channels]; NULL: there are only lines */
    struct gauss_rules rules;
};

/* Least number of the form 2^a 3^b 5^c that is not below n: FFTW is quick at those. */
static size_t smooth_size(size_t n)
{
    for (;; n++) {
        size_t rest = n;
        while (rest % 2 == 0)
            rest /= 2;
        while (rest % 3 == 0)
            rest /= 3;
        while (rest % 5 == 0)
            rest /= 5;
        if (rest == 1)
            return n;
    }
}

static void cells_free(struct cells *c)
{
    free(c->room);
    free(c->mass);
    free(c->cubic);
    free(c);
}

/* Cells on a grid, or where it has none, as many as the lines need of the rows. */
static struct cells *cells_new(size_t lines, size_t grid, const struct fourier_rows *of)
{
    const size_t channels = of->channels, rows = of->count;
    struct cells *c = calloc(1, sizeof *c);
    if (!c)
        return NULL;
    c->lines = lines;
    c->channels = channels;
    c->grid = grid;
    c->cells = grid ? grid : smooth_size((lines < 16 ? 16 : lines) * (rows / LONG >= lines ? CELLS_A_LINE : 1));
    c->theta = M_PI * (double)lines / (double)c->cells;
    c->planes = grid ? 2 : dwi_weight_degree(c->theta) + 1;
    if (of->slope && c->planes < 4)  /* unrun: size */
        c->planes = 4;
    c->pitch = (c->cells + 2 + 7) / 8 * 8;
    const size_t planes = (size_t)c->planes, most = ((size_t)-1 / sizeof(double) - 8) / c->pitch;
    if (channels <= most / planes) /* calloc: large zeros cost nothing until they are used */
        c->room = calloc(channels * planes * c->pitch + 8, sizeof *c->plane);
    /* NOLINTNEXTLINE(performance-no-int-to-ptr): the first address in the room that is a multiple of a cache line */
    c->plane = c->room ? (double *)(((uintptr_t)c->room + 63) / 64 * 64) : NULL;
    c->mass = calloc(channels, (BATCH + 4) * sizeof *c->mass);
    c->cubic = of->slope ? calloc(channels, sizeof *c->cubic) : NULL;
    if (!c->plane || !c->mass || !of->slope != !c->cubic) {
        cells_free(c);
        return NULL;
    }
    c->slope = c->mass + channels * BATCH;
    c->wrap = c->slope + channels;
    c->value = c->wrap + channels;
    if (!grid)
        dwi_gauss_rules_fill(&c->rules);
    return c;
}

static double *plane_of(const struct cells *c, size_t channel, int q)
{
    return c->plane + (channel * (size_t)c->planes + (size_t)q) * c->pitch;
}

/* ---- rows anywhere: moments ---- */

/* Adds the nodes that wait: sums are kept apart by lane so that they need not wait for each other. */
static void flush(struct cells *c)
{
    double before[BATCH] = { 0 }, now[BATCH];
    for (; c->nodes % LANES; c->nodes++) {
        c->place[c->nodes] = 0;
        for (size_t i = 0; i < c->channels; i++)
            c->mass[i * BATCH + c->nodes] = 0;
    }
    for (int k = 0; k < BATCH; k++)
        now[k] = 1;
    for (int q = 0; q < c->planes; q++) {
        const double rise = (2 * q + 1) / (q + 1.0), fall = q / (q + 1.0);
        for (size_t i = 0; i < c->channels; i++) {
            const double *mass = c->mass + i * BATCH;
            double sum[LANES] = { 0 };
            for (size_t k = 0; k < c->nodes; k += LANES)
                for (size_t lane = 0; lane < LANES; lane++)
                    sum[lane] += mass[k + lane] * now[k + lane];
            plane_of(c, i, q)[c->cell] += ((sum[0] + sum[1]) + (sum[2] + sum[3])) + ((sum[4] + sum[5]) + (sum[6] + sum[7]));
        }
        for (size_t k = 0; k < c->nodes; k += LANES)
            for (size_t lane = 0; lane < LANES; lane++) {
                const double next = rise * c->place[k + lane] * now[k + lane] - fall * before[k + lane];
                before[k + lane] = now[k + lane];
                now[k + lane] = next;
            }
    }
    c->nodes = 0;
}

/* Part of a piece inside one cell, both ends counted in cells: at Gauss's nodes, as many as the highest line needs. */
static void add_part(struct cells *c, const struct fourier_piece *p, double begin, size_t cell, double from, double to)
{
    const double left = 2 * (from - (double)cell) - 1, half = to - from, scale = 2 / ((p->to - p->from) * (double)c->cells);
    const double *reach = c->cubic ? c->rules.reach_of_cubic : c->rules.reach;
    int nodes = 1;
    while (reach[nodes] < c->theta * half) /* at most pi, which GAUSS_MOST reach */
        nodes++;
    if (cell != c->cell || c->nodes + (size_t)nodes > BATCH)
        flush(c);
    c->cell = cell;
    for (int k = 0; k < nodes; k++, c->nodes++) {
        const double share = half * (1 + c->rules.node[nodes][k]), at = (from - begin) + share / 2;
        c->place[c->nodes] = left + share;
        for (size_t i = 0; i < c->channels; i++) {
            const double value = c->cubic ? hermite_at(&c->cubic[i], scale * at - 1) : p->start[i] + c->slope[i] * at;
            c->mass[i * BATCH + c->nodes] = half * c->rules.weight[nodes][k] / 2 * value;
        }
    }
}

/* A cell in the middle of a cubic, u being its middle and r half its width there: its polynomial's four moments. */
static void add_cell(struct cells *c, size_t channel, size_t cell, double u, double r)
{
    const struct hermite *h = &c->cubic[channel];
    const double at = hermite_at(h, u), first = r * hermite_slope(h, u), second = r * r * (3 * h->odd * u - h->even);
    const double third = r * r * r * h->odd;
    plane_of(c, channel, 0)[cell] += at + second / 3;
    plane_of(c, channel, 1)[cell] += first / 3 + third / 5;
    plane_of(c, channel, 2)[cell] += second * (2 / 15.0);
    plane_of(c, channel, 3)[cell] += third * (2 / 35.0);
}

/* What takes a line of the wave. Cells that it fills wholly have two moments, the mean and a sixth of the rise. Casts, not floor
 * and ceil: without SSE 4.1 those are calls. */
static void add_piece(struct cells *c, const struct fourier_piece *p)
{
    const double from = p->from * (double)c->cells, to = p->to * (double)c->cells;
    const size_t top = (size_t)to, bottom = (size_t)from + (from > (double)(size_t)from);
    if (!(to > from))  /* unrun: rounding */
        return;
    for (size_t i = 0; i < c->channels; i++)
        c->slope[i] = (p->end[i] - p->start[i]) / (to - from);
    if (bottom > top) {
        add_part(c, p, from, top, from, to);
        return;
    }
    if (from < (double)bottom)
        add_part(c, p, from, bottom - 1, from, (double)bottom);
    for (size_t i = 0; c->cubic && i < c->channels; i++)
        for (size_t cell = bottom; cell < top; cell++)
            add_cell(c, i, cell, (2 * ((double)cell - from) + 1) / (to - from) - 1, 1 / (to - from));
    for (size_t i = 0; !c->cubic && i < c->channels; i++) {
        double *mean = plane_of(c, i, 0), *rise = plane_of(c, i, 1);
        for (size_t cell = bottom; cell < top; cell++) {
            mean[cell] += p->start[i] + c->slope[i] * (((double)cell - from) + 0.5);
            rise[cell] += c->slope[i] / 6;
        }
    }
    if (to > (double)top)
        add_part(c, p, from, top, (double)top, to);
}

/* ---- rows on a grid: values and jumps at its borders ---- */

/* The border at which row i lies; to unsigned numbers there is no quick way. */
static size_t border_of(const struct fourier_rows *rows, size_t i, double scale)
{
    return (size_t)(long long)((rows->time[i * rows->time_step] - rows->start) * scale + 0.5);
}

static void jump(struct cells *c, size_t channel, size_t border, double by)
{
    if (border > 0 && border < c->cells) {
        plane_of(c, channel, 1)[border] += by;
        c->jumps = true;
    } else {
        c->wrap[channel] += by;
    }
}

/* What takes the lines of one channel. Where one ends the wave falls to nothing, where one begins it rises from there; where both
 * are one row, it does neither. */
static void add_on_grid(struct cells *c, const struct fourier_rows *rows, size_t channel)
{
    const double scale = (double)c->cells / rows->period, reference = rows->reference[channel], *value = rows->value + channel;
    double *plane = plane_of(c, channel, 0), start = *value - reference;
    size_t from = border_of(rows, 0, scale);
    jump(c, channel, from, start);
    for (size_t i = 1; i < rows->count; i++) {
        const size_t to = border_of(rows, i, scale);
        const double end = *(value += rows->value_step) - reference;
        if (to > from) {
            plane[from] += start;
            for (size_t border = from + 1; border < to; border++)
                plane[border] += start + (end - start) * ((double)(border - from) / (double)(to - from));
        } else {
            jump(c, channel, from, -start);
            jump(c, channel, to, end);
        }
        from = to;
        start = end;
    }
    jump(c, channel, from, -start);
}

/* Whether every border has its row, and nothing jumps there, and few lines are asked. */
static bool is_sampled(const struct fourier_rows *rows, size_t lines, size_t grid)
{
    const double scale = (double)grid / rows->period;
    bool sampled = grid > FEW_CELLS && grid / LONG >= lines && rows->count == grid + 1;
    for (size_t i = 0; sampled && i <= grid; i++)
        sampled = border_of(rows, i, scale) == i;
    return sampled;
}

/* Few lines of many values: each is a node of its cell, whose moments stand in equation 5.6 as a line's do. */
static void add_samples(struct cells *c, const struct fourier_rows *rows)
{
    const double cells = (double)c->cells, count = (double)c->samples, step = 2 * cells / count;
    size_t next = 0;
    for (; c->cell < c->cells; c->cell++) {
        const size_t end = (size_t)ceil((double)(c->cell + 1) * count / cells);
        while (next < end) {
            /* whole numbers below 2^53, so that only the quotient is rounded */
            const double first = (2 * (double)next * cells - (2 * (double)c->cell + 1) * count) / count;
            for (; c->nodes < BATCH && next < end; c->nodes++, next++) {
                c->place[c->nodes] = first + (double)(int)c->nodes * step;
                for (size_t i = 0; i < c->channels; i++)
                    c->mass[i * BATCH + c->nodes] = rows->value[next * rows->value_step + i] - rows->reference[i];
            }
            flush(c);
        }
    }
    for (size_t i = 0; i < c->channels; i++)
        c->wrap[i] = rows->value[i] - rows->value[next * rows->value_step + i];
}

/* ---- transforms, in place: plane[2n], plane[2n + 1] are then line n's, n = 0 .. cells / 2 ---- */

/* Few cells: a sum for each line, where planning a fast transform would cost more. Angles are counted from the nearest
 * quarter turn, so that what cancels cancels exactly. */
static void transform_few(double *plane, size_t cells)
{
    static const double quarter_cos[] = { 1, 0, -1, 0, 1 }, quarter_sin[] = { 0, 1, 0, -1, 0 };
    double cosine[FEW_CELLS], sine[FEW_CELLS], x[FEW_CELLS], rest_cos, rest_sin;
    for (size_t k = 0; k < cells; k++) {
        const size_t quarter = (8 * k + cells) / (2 * cells);
        dwi_turn_cos_sin((4.0 * (double)k - (double)(quarter * cells)) / (4.0 * (double)cells), &rest_cos, &rest_sin);
        cosine[k] = quarter_cos[quarter] * rest_cos - quarter_sin[quarter] * rest_sin;
        sine[k] = quarter_cos[quarter] * rest_sin + quarter_sin[quarter] * rest_cos;
        x[k] = plane[k];
    }
    for (size_t n = 0; n <= cells / 2; n++) {
        double re = 0, im = 0;
        for (size_t k = 0; k < cells; k++) {
            re += x[k] * cosine[n * k % cells];
            im -= x[k] * sine[n * k % cells];
        }
        plane[2 * n] = re;
        plane[2 * n + 1] = im;
    }
}

static int planes_used(const struct cells *c)
{
    return c->grid && !c->jumps ? 1 : c->planes;
}

static bool transform(const struct cells *c)
{
    const bool few = c->cells <= FEW_CELLS;
    fftw_plan plan = NULL;
    if (!few && !(plan = fftw_plan_dft_r2c_1d((int)c->cells, c->plane, (fftw_complex *)c->plane, FFTW_ESTIMATE)))
        return false;
    for (size_t i = 0; i < c->channels; i++)
        for (int q = 0; q < planes_used(c); q++)
            if (few)
                transform_few(plane_of(c, i, q), c->cells);
            else
                fftw_execute_dft_r2c(plan, plane_of(c, i, q), (fftw_complex *)plane_of(c, i, q));
    fftw_destroy_plan(plan);
    return true;
}

/* ---- lines ---- */

/* What each plane, and the step from the end of the period to its start, weighs in a line; theta is the angle between a cell's
 * border and its middle. */
struct plane_weights {
    double re[WEIGHT_DEGREE_MOST + 1], im[WEIGHT_DEGREE_MOST + 1], wrap_re, wrap_im;
};

/* Values and jumps on a grid: a triangle over two cells; less half of one, before the border, as far as the wave jumps there.
 *   returns  the triangle's */
static double weigh_grid(double theta, double cosine, double sine, struct plane_weights *w)
{
    double j0, j1;
    dwi_weights_of_line(theta, cosine, sine, &j0, &j1);
    w->re[1] = w->wrap_re = -(j0 * cosine + j1 * sine) / 2;
    w->im[1] = w->wrap_im = -(j0 * sine - j1 * cosine) / 2;
    w->re[0] = j0 * j0;
    w->im[0] = 0;
    return j0 * j0;
}

static void weigh(const struct cells *c, size_t line, double cosine, double sine, struct plane_weights *w)
{
    const double theta = M_PI * (double)line / (double)c->cells;
    double j[WEIGHT_DEGREE_MOST + 1], re = cosine, im = -sine;
    if (c->grid) {
        weigh_grid(theta, cosine, sine, w);
        return;
    }
    if (c->samples) {
        dwi_turn_cos_sin((double)line / (2 * (double)c->samples), &cosine, &sine);
        const double triangle = weigh_grid(M_PI * (double)line / (double)c->samples, cosine, sine, w);
        re *= triangle;
        im *= triangle;
    }
    dwi_weights_to_degree(theta, c->planes - 1, j);
    for (int q = 0; q < c->planes; q++) { /* (2q + 1) (-j)^q j_q e^(-j theta) */
        w->re[q] = (2 * q + 1) * j[q] * re;
        w->im[q] = (2 * q + 1) * j[q] * im;
        const double turned = -re;
        re = im;
        im = turned;
    }
}

static void put_line(const struct cells *c, size_t channel, size_t line, const struct plane_weights *w, double *to)
{
    const size_t bin = line % c->cells, folded = bin > c->cells / 2 ? c->cells - bin : bin;
    const double mirror = folded == bin ? 1 : -1;
    to[0] = to[1] = 0;
    for (int q = planes_used(c) - 1; q >= 0; q--) { /* the small ones first */
        const double *x = plane_of(c, channel, q) + 2 * folded, re = x[0], im = mirror * x[1];
        to[0] += w->re[q] * re - w->im[q] * im;
        to[1] += w->re[q] * im + w->im[q] * re;
    }
    if (c->grid || c->samples) {
        to[0] += w->wrap_re * c->wrap[channel];
        to[1] += w->wrap_im * c->wrap[channel];
    }
}

/* e^(j theta) of CHUNK lines, from angles reduced as whole numbers. */
static void chunk_angles(const struct cells *c, size_t first, const struct rotation *step, double *cosine, double *sine)
{
    const size_t halves = 2 * c->cells, at = first % halves;
    double base_cos, base_sin;
    dwi_turn_cos_sin(((double)at - (at > c->cells ? (double)halves : 0)) / (double)halves, &base_cos, &base_sin);
    dwi_rotate(step, base_cos, base_sin, cosine, sine);
}

static bool put_out(const struct cells *c, double *out)
{
    const double scale = 1 / (double)(c->samples ? c->samples : c->cells);
    struct rotation step;
    struct plane_weights weights;
    double cosine[CHUNK], sine[CHUNK];
    if (!transform(c))
        return false;
    for (int k = 0; k < CHUNK; k++)
        dwi_turn_cos_sin((double)((size_t)k % (2 * c->cells)) / (double)(2 * c->cells), &step.cosine[k], &step.sine[k]);
    for (size_t line = 0; line <= c->lines; line++) {
        if (line % CHUNK == 0)
            chunk_angles(c, line, &step, cosine, sine);
        weigh(c, line, cosine[line % CHUNK], sine[line % CHUNK], &weights);
        for (size_t i = 0; i < c->channels; i++) {
            double *to = out + 2 * (i * (c->lines + 1) + line);
            put_line(c, i, line, &weights, to);
            to[0] *= scale;
            to[1] *= scale;
        }
    }
    return true;
}

bool dwi_fourier_cells(const struct fourier_rows *rows, size_t lines, size_t grid, double *out)
{
    const bool sampled = is_sampled(rows, lines, grid);
    struct cells *c = cells_new(lines, sampled ? 0 : grid, rows);
    if (!c)
        return false;
    struct fourier_piece piece = { .rows = rows, .start = c->value, .end = c->value + rows->channels,
                                   .cubic = c->cubic };
    c->samples = sampled ? grid : 0;
    if (sampled)
        add_samples(c, rows);
    else if (grid)
        for (size_t i = 0; i < rows->channels; i++)
            add_on_grid(c, rows, i);
    else
        while (dwi_fourier_next(&piece))
            add_piece(c, &piece);
    flush(c);
    const bool done = put_out(c, out);
    cells_free(c);
    return done;
}
