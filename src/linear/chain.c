/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The propagators of a length and of its halves, quarters, ..., by scaling and squaring. */
#include "linear/matrix_inner.h"
#include "linear/system_inner.h"
#include <float.h>
#include <stdlib.h>
#include <string.h>

enum { STIFF = 256 };  /* norm x length from which states are carried doubled: 256^2 ulp is the noise of a second derivative */
#define MOST_GROWN 0x1p40  /* a bound beyond proves nothing */

void dwi_block_apply(const double *high, const double *low, size_t rows, size_t width, const double *z_high,
                     const double *z_low, double *out_high, double *out_low)
{
    for (size_t i = 0; i < rows; i++, high += width) {
        if (!low) {
            double sum = 0;
            for (size_t j = 0; j < width; j++)
                sum += high[j] * z_high[j];
            out_high[i] = sum;
            continue;
        }
        struct doubled sum = { 0, 0 };
        for (size_t j = 0; j < width; j++) {
            const struct doubled entry = { high[j], low[j] }, z = { z_high[j], z_low[j] };
            sum = doubled_sum(sum, doubled_product(entry, z));
        }
        low += width;
        out_high[i] = sum.hi;
        out_low[i] = sum.lo;
    }
}

/* Levels of a chain: CHAIN_FINE below the first whose norm x length is at most 1/2. */
static enum dw_status count_levels(const struct dw_system *system, double length, unsigned *levels,
                                   struct dw_error *error)
{
    int exponent = 0;
    frexp(system->norm * length, &exponent);  /* norm x length < 2^exponent */
    const int coarse = exponent + 1 > 0 ? exponent + 1 : 0;
    if (!isfinite(system->norm * length) || coarse > CHAIN_LEVELS - 2)
        return dw_error_set(error, DW_BAD_USE, 0,
                            "a rate of %.3g a second is too fast beside a stretch of %.3g s: at most 1e17 of them may fit",
                            fmin(system->norm, DBL_MAX), length);
    *levels = (unsigned)(coarse + CHAIN_FINE < CHAIN_LEVELS ? coarse + CHAIN_FINE : CHAIN_LEVELS);
    return DW_OK;
}

/* Horner's form of phi2(X) = 1/2 + X/6 + X^2/24 + ...; scratch [n x n]. docs/theory.md, (2.4). */
static void phi2_series(const struct doubled *x, size_t n, double norm, struct doubled *phi2, struct doubled *scratch)
{
    unsigned terms = 3;
    for (double bound = norm / 3; bound > 0x1p-108; terms++)
        bound *= norm / (terms + 1);
    memset(phi2, 0, n * n * sizeof *phi2);
    for (size_t i = 0; i < n; i++)
        phi2[i * n + i].hi = 1;
    for (unsigned k = terms; k >= 2; k--) {
        if (k > 2) {
            dwi_doubled_multiply(scratch, x, phi2, n, n, n);
            memcpy(phi2, scratch, n * n * sizeof *phi2);
        }
        for (size_t i = 0; i < n * n; i++)
            phi2[i] = doubled_quotient(phi2[i], doubled_of(k));
        if (k > 2)
            for (size_t i = 0; i < n; i++)
                phi2[i * n + i] = doubled_sum(phi2[i * n + i], doubled_of(1));
    }
}

/* x = A l [n x n], b = B l [n x m]. */
static void scale_rates(const struct dw_system *system, double length, struct doubled *x, struct doubled *b)
{
    const size_t n = system->states, m = system->inputs, both = n + m;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < both; j++) {
            const struct doubled entry = { system->rate_high[i * both + j], system->rate_low[i * both + j] };
            *(j < n ? x + i * n + j : b + i * m + (j - n)) = doubled_product(entry, doubled_of(length));
        }
}

/* Rows (Y | G1 | G2) of the shortest cell; scratch [3 n n + 2 n m]. */
static void finest_level(const struct dw_system *system, double length, struct doubled *rows, struct doubled *scratch)
{
    const size_t n = system->states, m = system->inputs, width = system->width;
    struct doubled *x = scratch, *phi2 = x + n * n, *phi1 = phi2 + n * n, *b = phi1 + n * n, *g = b + n * m;
    scale_rates(system, length, x, b);
    phi2_series(x, n, system->norm * length, phi2, phi1);
    dwi_doubled_multiply(phi1, x, phi2, n, n, n);
    for (size_t i = 0; i < n; i++)
        phi1[i * n + i] = doubled_sum(phi1[i * n + i], doubled_of(1));
    for (size_t part = 1; part <= 2 && m > 0; part++) {
        dwi_doubled_multiply(g, part == 1 ? phi1 : phi2, b, n, n, m);
        for (size_t i = 0; i < n; i++)
            memcpy(rows + i * width + n + (part - 1) * m, g + i * m, m * sizeof *g);
    }
    dwi_doubled_multiply(phi2, x, phi1, n, n, n);
    for (size_t i = 0; i < n; i++)
        memcpy(rows + i * width, phi2 + i * n, n * sizeof *rows);
}

/* Rows of twice the length: Y <- 2Y + YY, G1 <- 2 G1 + Y G1, G2 <- G2 + (Y G2 + G1)/2. docs/theory.md, (2.5). */
static void twice_as_long(const struct dw_system *system, struct doubled *rows, struct doubled *y,
                          struct doubled *product)
{
    const size_t n = system->states, m = system->inputs, width = system->width;
    for (size_t i = 0; i < n; i++)
        memcpy(y + i * n, rows + i * width, n * sizeof *y);
    dwi_doubled_multiply(product, y, rows, n, n, width);
    for (size_t i = 0; i < n; i++) {
        struct doubled *row = rows + i * width;
        const struct doubled *added = product + i * width;
        for (size_t j = n + m; j < width; j++)
            row[j] = doubled_sum(row[j], doubled_scaled(doubled_sum(added[j], row[j - m]), 0.5));
        for (size_t j = 0; j < n + m; j++)
            row[j] = doubled_sum(doubled_scaled(row[j], 2), added[j]);
    }
}

static void keep_level(struct chain *chain, unsigned level, const struct doubled *rows, size_t size)
{
    for (size_t i = 0; i < size; i++) {
        chain->high[level * size + i] = rows[i].hi;
        if (chain->low)
            chain->low[level * size + i] = rows[i].lo;
    }
}

/* d(Y | G1)/dl = A (Y | G1) + (A | B), since exp(A l) and its integral obey x' = A x + B u. */
static void drift_of(const struct dw_system *system, const double *rows, double *drift)
{
    const size_t n = system->states, both = n + system->inputs;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < both; j++) {
            double sum = 0;
            for (size_t k = 0; k < n; k++)
                sum += system->rate_high[i * both + k] * rows[k * system->width + j];
            drift[i * both + j] = sum + system->rate_high[i * both + j];
        }
}

/* |I + Y| in the energy norm. */
static double propagator_norm(const struct dw_system *system, const struct doubled *rows)
{
    const size_t n = system->states;
    double scaled[DW_STATES * DW_STATES], square[DW_STATES * DW_STATES];
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            scaled[i * n + j] = ((i == j) + rows[i * system->width + j].hi) * sqrt(system->weight[i] / system->weight[j]);
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            double sum = 0;
            for (size_t k = 0; k < n; k++)
                sum += scaled[k * n + i] * scaled[k * n + j];
            square[i * n + j] = sum;
        }
    return sqrt(dwi_symmetric_largest(square, n)) * (1 + 16 * (double)n * DBL_EPSILON);
}

/* Bound of |exp(A t)| up to a level's length, from that up to half of it and the propagator of that half; at the finest level
 * growth x length is below one. docs/theory.md, before (2.7). */
static double grown_over(const struct dw_system *system, const struct chain *chain, unsigned level, const struct doubled *half)
{
    const double growth = system->growth * ldexp(chain->length, -(int)level);
    if (growth <= 1 || level == chain->levels)  /* unrun: finest-level */
        return exp(growth);
    const double grown = chain->grown[level + 1] * fmax(1, propagator_norm(system, half));
    return grown < MOST_GROWN ? grown : 0;
}

enum dw_status dwi_chain_build(const struct dw_system *system, struct chain *chain, bool doubled, struct dw_error *error)
{
    const size_t n = system->states, m = system->inputs, size = n * system->width;
    const enum dw_status status = count_levels(system, chain->length, &chain->levels, error);
    if (status != DW_OK)
        return status;
    doubled = doubled || system->norm * chain->length > STIFF;
    struct doubled *rows = malloc((2 * size + 3 * n * n + 2 * n * m) * sizeof *rows);
    const size_t all = (chain->levels + 1) * size;
    chain->high = malloc((all + (doubled ? 0 : n * (n + m))) * sizeof *chain->high);
    chain->low = doubled ? malloc(all * sizeof *chain->low) : NULL;
    if (!rows || !chain->high || (doubled && !chain->low)) {
        free(rows);
        free(chain->high);
        free(chain->low);
        chain->high = chain->low = NULL;
        return dw_no_memory(error);
    }
    struct doubled *product = rows + size, *scratch = product + size;
    chain->unit = ldexp(chain->length, -(int)chain->levels);
    finest_level(system, chain->unit, rows, scratch);
    chain->grown[chain->levels] = grown_over(system, chain, chain->levels, NULL);
    for (unsigned level = chain->levels;; level--) {
        keep_level(chain, level, rows, size);
        if (level == 0)
            break;
        chain->grown[level - 1] = grown_over(system, chain, level - 1, rows);
        twice_as_long(system, rows, scratch, product);
    }
    if (!doubled) {
        drift_of(system, chain->high, chain->high + all);
        chain->drift = chain->high + all;
    }
    free(rows);
    return DW_OK;
}

/* Rows (G3 | G4) of the shortest cell, scratch [n n + 3 n m]. docs/theory.md, (2.27). */
static void finest_bend(const struct dw_system *system, double length, struct doubled *bent, struct doubled *scratch)
{
    const size_t n = system->states, m = system->inputs;
    struct doubled *x = scratch, *b = x + n * n, *g = b + n * m, *product = g + n * m;
    const double norm = system->norm * length;
    unsigned terms = 5;
    for (double bound = norm / 5; bound > 0x1p-108; bound *= norm / terms)
        terms++;
    scale_rates(system, length, x, b);
    memcpy(g, b, n * m * sizeof *g);
    for (unsigned k = terms; k >= 5; k--) {
        dwi_doubled_multiply(product, x, g, n, n, m);
        for (size_t i = 0; i < n * m; i++)
            g[i] = doubled_sum(b[i], doubled_quotient(product[i], doubled_of(k)));
    }
    for (size_t i = 0; i < n * m; i++)
        g[i] = doubled_scaled(g[i], 0.25);
    dwi_doubled_multiply(product, x, g, n, n, m);
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < m; j++) {
            bent[i * 2 * m + j] = doubled_quotient(doubled_sum(b[i * m + j], product[i * m + j]), doubled_of(3));
            bent[i * 2 * m + m + j] = g[i * m + j];
        }
}

/* An entry of a chain's rows (Y | G1 | G2). */
static struct doubled entry_of(const struct chain *chain, size_t at)
{
    return (struct doubled){ chain->high[at], chain->low ? chain->low[at] : 0 };
}

/* Rows (G3 | G4) of twice a level's length: (2.28). scratch [n n + 2 n m] */
static void bend_twice_as_long(const struct dw_system *system, const struct chain *chain, unsigned level, struct doubled *bent,
                               struct doubled *scratch)
{
    const size_t n = system->states, m = system->inputs, width = system->width, begin = level * n * width;
    struct doubled *y = scratch, *product = y + n * n;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            y[i * n + j] = entry_of(chain, begin + i * width + j);
    dwi_doubled_multiply(product, y, bent, n, n, 2 * m);
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < m; j++) {
            const size_t at = begin + i * width + n + j, third = i * 2 * m + j, fourth = third + m;
            const struct doubled first = entry_of(chain, at), second = entry_of(chain, at + m), three = doubled_of(3);
            struct doubled sum = doubled_sum(doubled_product(three, doubled_sum(bent[third], second)), first);
            sum = doubled_sum(sum, doubled_sum(doubled_scaled(bent[fourth], 2), product[fourth]));
            bent[fourth] = doubled_scaled(sum, 0.125);
            sum = doubled_sum(doubled_scaled(doubled_sum(bent[third], second), 2), first);
            bent[third] = doubled_scaled(doubled_sum(sum, product[third]), 0.25);
        }
}

enum dw_status dwi_chain_bend(const struct dw_system *system, struct chain *chain, struct dw_error *error)
{
    const size_t n = system->states, m = system->inputs, size = n * 2 * m, all = (chain->levels + 1) * size;
    if (chain->bent_high)
        return DW_OK;
    struct doubled *bent = malloc((size + n * n + 3 * n * m) * sizeof *bent);
    double *memory = malloc((chain->low ? 2 : 1) * all * sizeof *memory);
    if (!bent || !memory) {
        free(bent);
        free(memory);
        return dw_no_memory(error);
    }
    chain->bent_high = memory;
    chain->bent_low = chain->low ? memory + all : NULL;
    finest_bend(system, chain->unit, bent, bent + size);
    for (unsigned level = chain->levels;; level--) {
        for (size_t i = 0; i < size; i++) {
            chain->bent_high[level * size + i] = bent[i].hi;
            if (chain->bent_low)
                chain->bent_low[level * size + i] = bent[i].lo;
        }
        if (level == 0)
            break;
        bend_twice_as_long(system, chain, level, bent, bent + size);
    }
    free(bent);
    return DW_OK;
}

void dwi_chain_free(struct chain *chain)
{
    free(chain->high);
    free(chain->low);
    free(chain->bent_high);
}
