/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A period cut into equal cells, each known by its Legendre moments, and one transform a moment: docs/theory.md, equation
 * 5.6. On a grid a cell is one straight line and two moments are all there is: equation 5.7. */
#include "measure/fourier_inner.h"
#include <complex.h>
#include <fftw3.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

enum { FEW_CELLS = 64, CELLS_A_LINE = 16, BATCH = 64, LANES = 8 };

struct fourier_cells {
    size_t lines, channels, cells;
    size_t pitch;     /* from plane to plane: cells + 2 for the transform in place, a multiple of 8 for its alignment */
    int degree;
    bool grid;        /* rows lie on borders, up to rounding */
    bool values;      /* ... and nothing jumps there: the one plane holds the values at the borders, not moments */
    size_t points;    /* the moments are those of so many values at equal distances; 0: of lines */
    double *wrap;     /* [channels], values and points: how far the end of the period lies above its start */
    double theta;     /* pi lines / cells */
    double *plane;    /* [channels x (degree + 1) x pitch], moments, then their transforms; on a cache line's border */
    void *room;       /* what was allocated for it */
    double *open;     /* [channels x (degree + 1)], moments of the cell now being filled */
    size_t open_cell;
    double *slope;    /* [channels], of the piece in hand, a cell */
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

struct fourier_cells *cells_new(const struct fourier_plan *plan)
{
    struct fourier_cells *c = calloc(1, sizeof *c);
    if (!c)
        return NULL;
    c->lines = plan->lines;
    c->channels = plan->channels;
    c->values = plan->way == FOURIER_VALUES;
    c->grid = c->values || plan->way == FOURIER_GRID;
    c->points = plan->points;
    c->cells = c->grid ? plan->cells : smooth_size((plan->lines < 16 ? 16 : plan->lines) * (c->points ? CELLS_A_LINE : 1));
    c->theta = M_PI * (double)c->lines / (double)c->cells;
    c->degree = c->values ? 0 : c->grid ? 1 : weight_degree(c->theta);
    c->pitch = (c->cells + 2 + 7) / 8 * 8;
    const size_t planes = c->channels * (size_t)(c->degree + 1), most = ((size_t)-1 / sizeof(double) - 8) / c->pitch;
    if (c->channels <= most / (size_t)(c->degree + 1)) /* calloc: large zeros cost nothing until they are used */
        c->room = calloc(planes * c->pitch + 8, sizeof *c->plane);
    /* NOLINTNEXTLINE(performance-no-int-to-ptr): the first address in the room that is a multiple of a cache line */
    c->plane = c->room ? (double *)(((uintptr_t)c->room + 63) / 64 * 64) : NULL;
    c->open = calloc(planes, sizeof *c->open);
    c->slope = calloc(c->channels, sizeof *c->slope);
    c->wrap = calloc(c->channels, sizeof *c->wrap);
    if (!c->plane || !c->open || !c->slope || !c->wrap) {
        cells_free(c);
        return NULL;
    }
    if (!c->grid)
        gauss_rules_fill(&c->rules);
    return c;
}

void cells_free(struct fourier_cells *c)
{
    if (!c)
        return;
    free(c->room);
    free(c->open);
    free(c->slope);
    free(c->wrap);
    free(c);
}

static double *plane_of(const struct fourier_cells *c, size_t channel, int degree)
{
    return c->plane + (channel * (size_t)(c->degree + 1) + (size_t)degree) * c->pitch;
}

static void close_cell(struct fourier_cells *c)
{
    double *moment = c->open;
    for (size_t i = 0; i < c->channels; i++)
        for (int q = 0; q <= c->degree; q++) {
            plane_of(c, i, q)[c->open_cell] += *moment;
            *moment++ = 0;
        }
}

/* A stretch of a piece inside one cell, from place `a` to `b` of the cell (-1..1): moments by Gauss's rule with as many
 * nodes as the highest line needs. */
static void add_fragment(struct fourier_cells *c, size_t cell, double a, double b, const double *start,
                         const double *slope, double first, double last)
{
    double mean_term[GAUSS_MOST], rise_term[GAUSS_MOST], place[GAUSS_MOST], before[GAUSS_MOST], now[GAUSS_MOST];
    const double half = (b - a) / 2, middle = (a + b) / 2;
    int nodes = 1;
    if (cell != c->open_cell) {
        close_cell(c);
        c->open_cell = cell;
    }
    while (c->rules.reach[nodes] < c->theta * half) /* at most pi, which GAUSS_MOST reach */
        nodes++;
    for (int k = 0; k < nodes; k++) {
        const double v = c->rules.node[nodes][k];
        place[k] = middle + half * v;
        mean_term[k] = half * c->rules.weight[nodes][k] / 2;
        rise_term[k] = mean_term[k] * v / 2;
        before[k] = 0;
        now[k] = 1;
    }
    for (int q = 0; q <= c->degree; q++) {
        double mean = 0, rise = 0;
        for (int k = 0; k < nodes; k++) {
            mean += mean_term[k] * now[k];
            rise += rise_term[k] * now[k];
            const double next = ((2 * q + 1) * place[k] * now[k] - q * before[k]) / (q + 1);
            before[k] = now[k];
            now[k] = next;
        }
        for (size_t i = 0; i < c->channels; i++)
            c->open[i * (size_t)(c->degree + 1) + (size_t)q] +=
                mean * (start[i] + slope[i] * (first + last) / 2) + rise * slope[i] * (last - first);
    }
}

/* Cells that a piece fills wholly hold a straight line: two moments, the mean and a sixth of the rise. */
static void add_whole_cells(struct fourier_cells *c, size_t from, size_t to, double start, double slope, double offset,
                            size_t channel)
{
    double *mean = plane_of(c, channel, 0), *rise = plane_of(c, channel, 1);
    for (size_t cell = from; cell < to; cell++) {
        mean[cell] += start + slope * ((double)(cell - from) + 0.5 + offset);
        rise[cell] += slope / 6;
    }
}

/* One piece that need not begin or end at a border. Casts, not floor and ceil: without SSE 4.1 those are calls. */
static void add_piece(struct fourier_cells *c, double from, double to, const double *start, const double *end)
{
    const size_t top = (size_t)to, bottom = (size_t)from + (from > (double)(size_t)from);
    const double first = (double)bottom, last = (double)top;
    double *slope = c->slope;
    for (size_t i = 0; i < c->channels; i++)
        slope[i] = (end[i] - start[i]) / (to - from);
    if (bottom > top) { /* all inside one cell */
        add_fragment(c, top, 2 * (from - last) - 1, 2 * (to - last) - 1, start, slope, 0, to - from);
        return;
    }
    if (from < first)
        add_fragment(c, bottom - 1, 2 * (from - first) + 1, 1, start, slope, 0, first - from);
    for (size_t i = 0; i < c->channels; i++)
        add_whole_cells(c, bottom, top, start[i], slope[i], first - from, i);
    if (to > last)
        add_fragment(c, top, -1, 2 * (to - last) - 1, start, slope, last - from, to - from);
}

static void add_anywhere(struct fourier_cells *c, const double *share, const double *value, size_t count)
{
    const double cells = (double)c->cells;
    for (size_t i = 1; i < count; i++)
        if (share[i] * cells > share[i - 1] * cells)
            add_piece(c, share[i - 1] * cells, share[i] * cells, value + (i - 1) * c->channels, value + i * c->channels);
    close_cell(c);
}

static void add_on_grid(struct fourier_cells *c, size_t channel, const double *share, const double *value, size_t count)
{
    const double cells = (double)c->cells;
    double *mean = plane_of(c, channel, 0), *rise = plane_of(c, channel, 1);
    size_t from = (size_t)(share[0] * cells + 0.5);
    value += channel;
    for (size_t i = 1; i < count; i++, value += c->channels) {
        const size_t to = (size_t)(share[i] * cells + 0.5);
        const double start = value[0], end = value[c->channels];
        if (to == from + 1) { /* a uniform record is all of this kind */
            mean[from] += (start + end) / 2;
            rise[from] += (end - start) / 6;
        } else if (to > from) {
            add_whole_cells(c, from, to, start, (end - start) / (double)(to - from), 0, channel);
        }
        from = to;
    }
}

static void add_values(struct fourier_cells *c, size_t channel, const double *share, const double *value, size_t count)
{
    double *plane = plane_of(c, channel, 0);
    size_t from = (size_t)(share[0] * (double)c->cells + 0.5);
    value += channel;
    for (size_t i = 1; i < count; i++, value += c->channels) {
        const size_t to = (size_t)(share[i] * (double)c->cells + 0.5);
        const double start = value[0], end = value[c->channels];
        if (to > from) {
            plane[from] += start;
            for (size_t cell = from + 1; cell < to; cell++)
                plane[cell] += start + (end - start) * ((double)(cell - from) / (double)(to - from));
            c->wrap[channel] -= from == 0 ? start : 0;
            c->wrap[channel] += to == c->cells ? end : 0;
        }
        from = to;
    }
}

static void add_borders(struct fourier_cells *c, const double *value, size_t width, double reference, double *plane)
{
    for (size_t i = 0; i < c->cells; i++)
        plane[i] = value[i * width] - reference;
}

/* Moments of up to BATCH values at places u, u + step, ... of a cell, sums kept apart by lane so that they need not wait. */
static void add_batch(const struct fourier_cells *c, const double *x, double u, double step, double *moment)
{
    double place[BATCH], before[BATCH], now[BATCH];
    for (int i = 0; i < BATCH; i++) {
        place[i] = u + i * step;
        before[i] = 0;
        now[i] = 1;
    }
    for (int q = 0; q <= c->degree; q++) {
        const double rise = (2 * q + 1) / (q + 1.0), fall = q / (q + 1.0);
        double sum[LANES] = { 0 };
        for (int i = 0; i < BATCH; i += LANES)
            for (int k = 0; k < LANES; k++)
                sum[k] += x[i + k] * now[i + k];
        for (int i = 0; i < BATCH; i++) {
            const double next = rise * place[i] * now[i] - fall * before[i];
            before[i] = now[i];
            now[i] = next;
        }
        moment[(size_t)q * c->pitch] += ((sum[0] + sum[1]) + (sum[2] + sum[3])) + ((sum[4] + sum[5]) + (sum[6] + sum[7]));
    }
}

/* Few lines of many values: each value is a pulse without width in its cell, whose moments stand in equation 5.6 as a line's do. */
static void add_points(struct fourier_cells *c, const double *value, size_t width, double reference, double *plane)
{
    const double points = (double)c->points, step = 2 * (double)c->cells / points;
    size_t next = 0;
    for (size_t cell = 0; cell < c->cells; cell++) {
        const size_t end = (size_t)ceil((double)(cell + 1) * points / (double)c->cells);
        while (next < end) {
            const size_t count = end - next < BATCH ? end - next : BATCH;
            double x[BATCH] = { 0 };
            for (size_t i = 0; i < count; i++)
                x[i] = value[(next + i) * width] - reference;
            /* whole numbers below 2^53, so that only the quotient is rounded */
            const double u = (2 * (double)next * (double)c->cells - (2 * (double)cell + 1) * points) / points;
            add_batch(c, x, u, step, plane + cell);
            next += count;
        }
    }
}

void cells_add_uniform(struct fourier_cells *c, const struct fourier_rows *rows, const double *reference)
{
    const size_t width = 1 + c->channels;
    for (size_t channel = 0; channel < c->channels; channel++) {
        const double *value = rows->row + 1 + channel, *last = value + (rows->count - 1) * width;
        (c->points ? add_points : add_borders)(c, value, width, reference[channel], plane_of(c, channel, 0));
        c->wrap[channel] = *last - *value;
    }
}

void cells_add(struct fourier_cells *c, const double *share, const double *value, size_t count)
{
    if (!c->grid)
        add_anywhere(c, share, value, count);
    else
        for (size_t i = 0; i < c->channels; i++)
            (c->values ? add_values : add_on_grid)(c, i, share, value, count);
}

void cells_merge(struct fourier_cells *c, const struct fourier_cells *other)
{
    for (size_t i = 0; i < c->channels * (size_t)(c->degree + 1) * c->pitch; i++)
        c->plane[i] += other->plane[i];
    for (size_t i = 0; i < c->channels; i++)
        c->wrap[i] += other->wrap[i];
}

/* Few cells: a sum for each line, where planning a fast transform would cost more. Angles are counted from the nearest
 * quarter turn, so that what cancels cancels exactly. */
static void transform_few(const struct fourier_cells *c, double *plane)
{
    static const double quarter_cos[] = { 1, 0, -1, 0, 1 }, quarter_sin[] = { 0, 1, 0, -1, 0 };
    double cosine[FEW_CELLS], sine[FEW_CELLS], x[FEW_CELLS], rest_cos, rest_sin;
    const size_t cells = c->cells;
    for (size_t k = 0; k < cells; k++) {
        const size_t quarter = (8 * k + cells) / (2 * cells);
        turn_cos_sin((4.0 * (double)k - (double)(quarter * cells)) / (4.0 * (double)cells), &rest_cos, &rest_sin);
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

static bool transform_many(struct fourier_cells *c)
{
    fftw_plan plan = fftw_plan_dft_r2c_1d((int)c->cells, c->plane, (fftw_complex *)c->plane, FFTW_ESTIMATE);
    if (!plan)
        return false;
    for (size_t i = 0; i < c->channels; i++)
        for (int q = 0; q <= c->degree; q++)
            fftw_execute_dft_r2c(plan, plane_of(c, i, q), (fftw_complex *)plane_of(c, i, q));
    fftw_destroy_plan(plan);
    return true;
}

/* Transforms all planes in place: plane[2n], plane[2n + 1] are then line n's, n = 0 .. cells / 2. */
static bool transform(struct fourier_cells *c)
{
    if (c->cells > FEW_CELLS)
        return transform_many(c);
    for (size_t i = 0; i < c->channels; i++)
        for (int q = 0; q <= c->degree; q++)
            transform_few(c, plane_of(c, i, q));
    return true;
}

/* (2q + 1) j_q(theta) with the sign of (-j)^q: even q for the real factor, odd q for that of -j. */
static void line_weights(const struct fourier_cells *c, size_t line, double cosine, double sine, double *weight)
{
    const double theta = M_PI * (double)line / (double)c->cells;
    if (c->degree > 1)
        weights_to_degree(theta, c->degree, weight);
    else
        weights_of_line(theta, cosine, sine, &weight[0], &weight[1]);
    for (int q = 1; q <= c->degree; q++)
        weight[q] *= q / 2 % 2 ? -(2 * q + 1) : 2 * q + 1;
}

/* Adds up the moments of one line of one channel: even ones into re, im [0], odd ones into [1]. */
static void add_moments(const struct fourier_cells *c, size_t channel, size_t bin, const double *weight, double re[2],
                        double im[2])
{
    const double *plane = plane_of(c, channel, 0) + 2 * bin;
    re[0] = re[1] = im[0] = im[1] = 0;
    for (int q = c->degree; q >= 0; q--) { /* the small ones first */
        re[q % 2] += weight[q] * plane[(size_t)q * c->pitch];
        im[q % 2] += weight[q] * plane[(size_t)q * c->pitch + 1];
    }
}

/* e^(j theta) of CHUNK lines, theta the angle from a cell's border to its middle, from angles reduced as whole numbers. */
static void chunk_angles(const struct fourier_cells *c, size_t first, const struct rotation *step, double *cosine,
                         double *sine)
{
    const size_t halves = 2 * c->cells, at = first % halves;
    double base_cos, base_sin;
    turn_cos_sin(((double)at - (at > c->cells ? (double)halves : 0)) / (double)halves, &base_cos, &base_sin);
    rotate(step, base_cos, base_sin, cosine, sine);
}

/* e^(-j theta) times the sum over the moments: equation 5.6. */
static double complex line_of_moments(const struct fourier_cells *c, size_t channel, size_t bin, bool mirrored,
                                      const double *weight, double complex angle)
{
    double re[2], im[2];
    add_moments(c, channel, bin, weight, re, im);
    if (mirrored) {
        im[0] = -im[0];
        im[1] = -im[1];
    }
    return (re[0] + im[1] + I * (im[0] - re[1])) * conj(angle); /* even - j odd */
}

/* A triangle over two lines for each value, whose transform is given, and half of one in the last line for the step back to
 * the start: equation 5.16. */
static double complex line_of_values(const struct fourier_cells *c, size_t channel, double complex values, double j0,
                                     double j1, double complex angle)
{
    return j0 * j0 * values + c->wrap[channel] / 2 * (j0 - I * j1) * angle;
}

static double complex value_bin(const struct fourier_cells *c, size_t channel, size_t bin, bool mirrored)
{
    const double *plane = plane_of(c, channel, 0) + 2 * bin;
    return plane[0] + I * (mirrored ? -plane[1] : plane[1]);
}

static void line_coefficients(const struct fourier_cells *c, size_t line, double cosine, double sine, double scale,
                              double *out)
{
    double weight[WEIGHT_DEGREE_MOST + 1], j0 = 0, j1 = 0;
    const size_t bin = line % c->cells, folded = bin > c->cells / 2 ? c->cells - bin : bin;
    const double complex angle = cosine + I * sine;
    double complex half_line = angle;
    if (c->points) {
        turn_cos_sin((double)line / (2 * (double)c->points), &cosine, &sine);
        half_line = cosine + I * sine;
    }
    if (c->values || c->points)
        weights_of_line(M_PI * (double)line / (double)(c->points ? c->points : c->cells), cosine, sine, &j0, &j1);
    if (!c->values)
        line_weights(c, line, creal(angle), cimag(angle), weight);
    for (size_t i = 0; i < c->channels; i++) {
        double complex sum = c->values ? value_bin(c, i, folded, folded != bin)
                                       : line_of_moments(c, i, folded, folded != bin, weight, angle);
        if (c->values || c->points)
            sum = line_of_values(c, i, sum, j0, j1, half_line);
        double *to = out + 2 * (i * (c->lines + 1) + line);
        to[0] = scale * creal(sum);
        to[1] = scale * cimag(sum);
    }
}

enum dw_status cells_coefficients(struct fourier_cells *c, double scale, double *out, struct dw_error *error)
{
    struct rotation step;
    double cosine[CHUNK], sine[CHUNK];
    if (!transform(c))
        return dw_no_memory(error);
    for (int k = 0; k < CHUNK; k++)
        turn_cos_sin((double)((size_t)k % (2 * c->cells)) / (double)(2 * c->cells), &step.cosine[k], &step.sine[k]);
    for (size_t first = 0; first <= c->lines; first += CHUNK) {
        chunk_angles(c, first, &step, cosine, sine);
        for (size_t k = 0; k < CHUNK && first + k <= c->lines; k++)
            line_coefficients(c, first + k, cosine[k], sine[k], scale / (double)(c->points ? c->points : c->cells), out);
    }
    return DW_OK;
}
