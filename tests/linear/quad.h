/* SPDX-License-Identifier: GPL-3.0-or-later */
/* An answer of 33 digits for tests: the exponential of the augmented system by plain scaling and squaring in 113-bit
 * arithmetic. Its own error, 2^-113 times the squarings' growth of at most 2^50, stays below 1e-18. */
#ifndef TESTS_LINEAR_QUAD_H
#define TESTS_LINEAR_QUAD_H

#include <dutywright/linear.h>
#include <stddef.h>
#include <string.h>

typedef __float128 quad;
enum { QUAD_MOST = 40 };

/* out = a b, [n x n]. */
static inline void quad_multiply(quad *out, const quad *a, const quad *b, size_t n)
{
    static quad sum[QUAD_MOST * QUAD_MOST];
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            quad total = 0;
            for (size_t k = 0; k < n; k++)
                total += a[i * n + k] * b[k * n + j];
            sum[i * n + j] = total;
        }
    memcpy(out, sum, n * n * sizeof *out);
}

/* y = exp(a) - 1, [n x n]; a is destroyed. Y <- 2Y + YY keeps slow rates beside fast ones. */
static inline void quad_exponential_less_one(quad *a, quad *y, size_t n)
{
    static quad term[QUAD_MOST * QUAD_MOST], square[QUAD_MOST * QUAD_MOST];
    quad norm = 0;
    int halvings = 0;
    for (size_t i = 0; i < n * n; i++)
        norm += a[i] < 0 ? -a[i] : a[i];
    for (; norm > 0.25; norm /= 2)
        halvings++;
    for (int i = 0; i < halvings; i++)
        for (size_t k = 0; k < n * n; k++)
            a[k] /= 2;
    memcpy(y, a, n * n * sizeof *y);
    memcpy(term, a, n * n * sizeof *term);
    for (int k = 2; k < 40; k++) {
        quad_multiply(term, term, a, n);
        for (size_t i = 0; i < n * n; i++) {
            term[i] /= k;
            y[i] += term[i];
        }
    }
    for (int i = 0; i < halvings; i++) {
        quad_multiply(square, y, y, n);
        for (size_t k = 0; k < n * n; k++)
            y[k] = 2 * y[k] + square[k];
    }
}

/* x' = (a + a_low) x + (b + b_low) u over a piece of the input, whose state is not looked at; x [n]. The input's first three
 * derivatives are states. */
static inline void quad_advance_over(const double *a, const double *a_low, const double *b, const double *b_low, size_t n, size_t m,
                                     quad *x, const struct dw_interval *over)
{
    static quad f[QUAD_MOST * QUAD_MOST], y[QUAD_MOST * QUAD_MOST];
    const size_t size = n + 4 * m;
    const quad length = over->length;
    quad z[QUAD_MOST], next[QUAD_MOST];
    memset(f, 0, sizeof f);
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++)
            f[i * size + j] = ((quad)a[i * n + j] + (a_low ? a_low[i * n + j] : 0)) * length;
        for (size_t j = 0; j < m; j++)
            f[i * size + n + j] = ((quad)b[i * m + j] + (b_low ? b_low[i * m + j] : 0)) * length;
        z[i] = x[i];
    }
    for (size_t j = 0; j < m; j++) {
        const quad rise = (quad)over->end[j] - over->start[j], first = over->slope ? over->slope[j] * length : rise;
        const quad last = over->slope ? over->slope[m + j] * length : rise;
        for (size_t k = 0; k < 3; k++)
            f[(n + k * m + j) * size + n + (k + 1) * m + j] = 1;
        z[n + j] = over->start[j];
        z[n + m + j] = first;
        z[n + 2 * m + j] = 2 * (3 * rise - 2 * first - last);
        z[n + 3 * m + j] = 6 * (first + last - 2 * rise);
    }
    quad_exponential_less_one(f, y, size);
    for (size_t i = 0; i < n; i++) {
        next[i] = z[i];
        for (size_t j = 0; j < size; j++)
            next[i] += y[i * size + j] * z[j];
    }
    memcpy(x, next, n * sizeof *x);
}

/* The same with a straight input; u0 and u1 [m]. */
static inline void quad_advance(const double *a, const double *a_low, const double *b, const double *b_low, size_t n, size_t m,
                                quad *x, const double *u0, const double *u1, double length)
{
    quad_advance_over(a, a_low, b, b_low, n, m, x, &(struct dw_interval){ NULL, u0, u1, length, NULL });
}

#endif
