/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Every line of every piece: docs/theory.md, equations 5.4 and 5.16, with angles carried on by rotation within a chunk of lines. */
#include "measure/coefficients_inner.h"
#include "measure/statistics_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 1024 }; /* pieces added between two gatherings */

struct line_sums {
    size_t lines, channels, length; /* length: lines + 1 rounded up to whole chunks */
    double *high, *low; /* [channels x 2 x length]: real parts, then imaginary; low: what `high` has lost */
    double *part;       /* the same, of one block */
    double *inverse;    /* [length] 1/n */
    double *value;      /* [2 x channels], of the piece in hand */
    struct hermite *cubic; /* [channels]; NULL: there are only lines */
};

/* high + low, unevaluated. Middles and widths must keep what rounding would take: then the ends of neighbours agree, and an
 * error of phase, which grows with the line, cancels as the ends do. */
struct exact {
    double high, low;
};

/* Turns a line and their multiples within a chunk of lines. */
struct turning {
    struct exact turn;
    struct rotation rotation;
};

/* What one piece weighs in each line of a chunk, for its mean and for its rise; of a cubic also for P_2 and P_3. */
struct chunk_weights {
    double mean_cos[CHUNK], mean_sin[CHUNK], rise_cos[CHUNK], rise_sin[CHUNK];
    double second_cos[CHUNK], second_sin[CHUNK], third_cos[CHUNK], third_sin[CHUNK];
};

/* Doubling from angles reduced afresh at 1 and 8: the others are at most three products away, so errors stay at a few ulp. */
static void turning_fill(struct turning *t, size_t count)
{
    struct rotation *const r = &t->rotation;
    r->cosine[0] = 1;
    r->sine[0] = 0;
    for (size_t half = 1; half < count; half *= 2) {
        double c, s;
        if (half == 1 || half == 8) {
            dwi_turn_cos_sin(dwi_turn_of((double)half, t->turn.high, t->turn.low), &c, &s);
        } else {
            const double pc = r->cosine[half / 2], ps = r->sine[half / 2];
            c = pc * pc - ps * ps;
            s = 2 * pc * ps;
        }
        for (size_t k = 0; k < half; k++) {
            r->cosine[half + k] = r->cosine[k] * c - r->sine[k] * s;
            r->sine[half + k] = r->cosine[k] * s + r->sine[k] * c;
        }
    }
}

/* j_0 and j_1 of lines first .. first + CHUNK - 1; `half` is half the piece's width. */
static void bessel_of_chunk(const struct line_sums *d, size_t first, const struct turning *half, double *restrict j0, double *restrict j1)
{
    const double step = 2 * M_PI * half->turn.high; /* theta of the first line */
    if (step * (double)first <= 1)
        for (int k = 0; k < CHUNK; k++) { /* beyond theta = 1 these are overwritten; int: vectors of it turn into double */
            j0[k] = weight_j0_series(step * ((int)first + k));
            j1[k] = weight_j1_series(step * ((int)first + k));
        }
    if (step * (double)(first + CHUNK) <= 1)
        return;
    double c[CHUNK], s[CHUNK], cosine, sine;
    dwi_turn_cos_sin(dwi_turn_of((double)first, half->turn.high, half->turn.low), &cosine, &sine);
    dwi_rotate(&half->rotation, cosine, sine, c, s);
    const double inverse = 1 / step;
    const size_t series = step * (double)first <= 1 ? (size_t)(1 / step - (double)first) + 1 : 0;
    for (size_t k = series; k < CHUNK; k++) {
        const double over = inverse * d->inverse[first + k];
        j0[k] = s[k] * over;
        j1[k] = (j0[k] - c[k]) * over;
    }
}

/* j_2 and j_3 from j_0 and j_1: by recurrence where that loses nothing. */
static void bessel_of_cubic(const struct line_sums *d, size_t first, double half_width, double j[restrict 4][CHUNK])
{
    const double step = 2 * M_PI * half_width, inverse = 1 / step, end = 3 / step - (double)first;
    const size_t series = end < 0 ? 0 : end < CHUNK ? (size_t)end + 1 : CHUNK;
    for (int k = 0; k < (int)series; k++) {
        j[2][k] = weight_j2_series(step * ((int)first + k));
        j[3][k] = weight_j3_series(step * ((int)first + k));
    }
    for (size_t k = series; k < CHUNK; k++) { /* DLMF 10.51.1 */
        const double over = inverse * d->inverse[first + k];
        j[2][k] = 3 * over * j[1][k] - j[0][k];
        j[3][k] = 5 * over * j[2][k] - j[1][k];
    }
}

static void weigh(const struct line_sums *d, size_t first, const struct turning *middle, const struct turning *half, struct chunk_weights *w)
{
    const double half_width = half->turn.high;
    double c[CHUNK], s[CHUNK], j[4][CHUNK], cosine, sine;
    dwi_turn_cos_sin(dwi_turn_of((double)first, middle->turn.high, middle->turn.low), &cosine, &sine);
    dwi_rotate(&middle->rotation, cosine, sine, c, s);
    bessel_of_chunk(d, first, half, j[0], j[1]);
    for (size_t k = 0; k < CHUNK; k++) {
        /* NOLINTNEXTLINE(clang-analyzer-core.UndefinedBinaryOperatorResult): either way of the above fills the chunk */
        const double mean = 2 * half_width * j[0][k], rise = half_width * j[1][k];
        w->mean_cos[k] = mean * c[k];
        w->mean_sin[k] = mean * s[k];
        w->rise_cos[k] = rise * c[k];
        w->rise_sin[k] = rise * s[k];
    }
    if (!d->cubic)
        return;
    bessel_of_cubic(d, first, half_width, j);
    for (size_t k = 0; k < CHUNK; k++) {
        const double second = 2 * half_width * j[2][k], third = 2 * half_width * j[3][k];
        w->second_cos[k] = second * c[k];
        w->second_sin[k] = second * s[k];
        w->third_cos[k] = third * c[k];
        w->third_sin[k] = third * s[k];
    }
}

static void add_chunk(const struct chunk_weights *w, double mean, double rise, double *restrict re, double *restrict im)
{
    for (size_t k = 0; k < CHUNK; k++) {
        re[k] += mean * w->mean_cos[k] - rise * w->rise_sin[k];
        im[k] -= mean * w->mean_sin[k] + rise * w->rise_cos[k];
    }
}

/* What a cubic has beside its mean and its rise. */
static void add_chunk_of_cubic(const struct chunk_weights *w, double second, double third, double *restrict re, double *restrict im)
{
    for (size_t k = 0; k < CHUNK; k++) {
        re[k] -= second * w->second_cos[k] - third * w->third_sin[k];
        im[k] += second * w->second_sin[k] + third * w->third_cos[k];
    }
}

/* What takes a line of the wave. */
static void add_piece(struct line_sums *d, const struct fourier_piece *p)
{
    struct turning middle = { .turn = { 0 } }, half = { .turn = { 0 } };
    struct chunk_weights w;
    const size_t tabled = d->lines < CHUNK ? d->lines + 1 : CHUNK;
    two_sum(p->from / 2, p->to / 2, &middle.turn.high, &middle.turn.low);
    two_sum(p->to / 2, -p->from / 2, &half.turn.high, &half.turn.low);
    turning_fill(&middle, tabled);
    if (2 * M_PI * half.turn.high * (double)d->length > 1)
        turning_fill(&half, tabled);
    for (size_t first = 0; first < d->length; first += CHUNK) {
        weigh(d, first, &middle, &half, &w);
        for (size_t i = 0; i < d->channels; i++) {
            double *part = d->part + i * 2 * d->length + first, c[4];
            if (!d->cubic) {
                add_chunk(&w, (p->start[i] + p->end[i]) / 2, p->end[i] - p->start[i], part, part + d->length);
                continue;
            }
            hermite_legendre(&p->cubic[i], c);
            add_chunk(&w, c[0], 2 * c[1], part, part + d->length);
            if (c[2] != 0 || c[3] != 0)
                add_chunk_of_cubic(&w, c[2], c[3], part, part + d->length);
        }
    }
}

static void gather(struct line_sums *d)
{
    const size_t all = d->channels * 2 * d->length;
    add_each(d->high, d->low, d->part, all);
    memset(d->part, 0, all * sizeof *d->part);
}

static void put_out(const struct line_sums *d, double *out)
{
    for (size_t i = 0; i < d->channels; i++)
        for (size_t n = 0; n <= d->lines; n++) {
            const size_t re = i * 2 * d->length + n, im = re + d->length;
            *out++ = d->high[re] + d->low[re];
            *out++ = d->high[im] + d->low[im];
        }
}

bool dwi_fourier_direct(const struct fourier_rows *rows, size_t lines, double *out)
{
    struct line_sums d = { .lines = lines, .channels = rows->channels, .length = (lines + CHUNK) / CHUNK * CHUNK };
    double *room = calloc(d.channels, (6 * d.length + 2) * sizeof *room);
    d.inverse = calloc(d.length, sizeof *d.inverse);
    d.cubic = rows->slope ? calloc(d.channels, sizeof *d.cubic) : NULL;
    const bool have = room && d.inverse && !rows->slope == !d.cubic;
    if (have) {
        const size_t each = d.channels * 2 * d.length;
        d.high = room;
        d.low = d.high + each;
        d.part = d.low + each;
        d.value = d.part + each;
        for (size_t n = 1; n < d.length; n++)
            d.inverse[n] = 1.0 / (double)n;
        struct fourier_piece piece = { .rows = rows, .start = d.value, .end = d.value + d.channels,
                                       .cubic = d.cubic };
        for (size_t i = 1; dwi_fourier_next(&piece); i++) {
            add_piece(&d, &piece);
            if (i % BLOCK == 0)
                gather(&d);
        }
        gather(&d);
        put_out(&d, out);
    }
    free(room);
    free(d.inverse);
    free(d.cubic);
    return have;
}
