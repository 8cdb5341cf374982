/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "linear/matrix_inner.h"
#include <string.h>

void dwi_double_multiply(double *out, const double *left, const double *right, size_t rows, size_t inner, size_t columns)
{
    for (size_t i = 0; i < rows; i++) {
        double *row = out + i * columns;
        memset(row, 0, columns * sizeof *row);
        for (size_t k = 0; k < inner; k++) {
            const double factor = left[i * inner + k];
            const double *from = right + k * columns;
            for (size_t j = 0; j < columns; j++)
                row[j] += factor * from[j];
        }
    }
}

void dwi_doubled_multiply(struct doubled *out, const struct doubled *left, const struct doubled *right, size_t rows,
                          size_t inner, size_t columns)
{
    for (size_t i = 0; i < rows; i++) {
        struct doubled *row = out + i * columns;
        memset(row, 0, columns * sizeof *row);
        for (size_t k = 0; k < inner; k++) {
            const struct doubled factor = left[i * inner + k];
            const struct doubled *from = right + k * columns;
            if (factor.hi == 0)
                continue;
            for (size_t j = 0; j < columns; j++)
                row[j] = doubled_sum(row[j], doubled_product(factor, from[j]));
        }
    }
}

/* The power of two nearest below the largest entry of a row (step 1) or column (step n); 1 where all are zero. */
static double largest_power(const struct doubled *first, size_t n, size_t step)
{
    double largest = 0;
    for (size_t i = 0; i < n; i++)
        largest = fmax(largest, fabs(first[i * step].hi));
    return largest > 0 ? ldexp(1, ilogb(largest)) : 1;
}

/* Scales rows, then columns, so that every largest entry is about one; the columns' powers are returned for x. */
static void equilibrate(struct doubled *a, struct doubled *b, size_t n, size_t columns, double *power)
{
    for (size_t i = 0; i < n; i++) {
        const double inverse = 1 / largest_power(a + i * n, n, 1);
        for (size_t j = 0; j < n; j++)
            a[i * n + j] = doubled_scaled(a[i * n + j], inverse);
        for (size_t j = 0; j < columns; j++)
            b[i * columns + j] = doubled_scaled(b[i * columns + j], inverse);
    }
    for (size_t j = 0; j < n; j++) {
        power[j] = 1 / largest_power(a + j, n, n);
        for (size_t i = 0; i < n; i++)
            a[i * n + j] = doubled_scaled(a[i * n + j], power[j]);
    }
}

static void swap_rows(struct doubled *a, size_t first, size_t second, size_t columns)
{
    for (size_t j = 0; j < columns; j++) {
        const struct doubled kept = a[first * columns + j];
        a[first * columns + j] = a[second * columns + j];
        a[second * columns + j] = kept;
    }
}

bool dwi_doubled_solve(struct doubled *a, struct doubled *b, size_t n, size_t columns)
{
    double power[64];
    if (n > sizeof power / sizeof power[0])  /* unrun: size */
        return false;
    equilibrate(a, b, n, columns, power);
    for (size_t k = 0; k < n; k++) {
        size_t pivot = k;
        for (size_t i = k + 1; i < n; i++)
            if (fabs(a[i * n + k].hi) > fabs(a[pivot * n + k].hi))
                pivot = i;
        if (!(fabs(a[pivot * n + k].hi) > 0x1p-100))
            return false;
        if (pivot != k) {
            swap_rows(a, k, pivot, n);
            swap_rows(b, k, pivot, columns);
        }
        for (size_t i = k + 1; i < n; i++) {
            if (a[i * n + k].hi == 0)
                continue;
            const struct doubled factor = doubled_minus(doubled_quotient(a[i * n + k], a[k * n + k]));
            for (size_t j = k + 1; j < n; j++)
                a[i * n + j] = doubled_sum(a[i * n + j], doubled_product(factor, a[k * n + j]));
            for (size_t j = 0; j < columns; j++)
                b[i * columns + j] = doubled_sum(b[i * columns + j], doubled_product(factor, b[k * columns + j]));
        }
    }
    for (size_t k = n; k-- > 0;)
        for (size_t j = 0; j < columns; j++) {
            struct doubled sum = b[k * columns + j];
            for (size_t i = k + 1; i < n; i++)
                sum = doubled_difference(sum, doubled_product(a[k * n + i], b[i * columns + j]));
            b[k * columns + j] = doubled_quotient(sum, a[k * n + k]);
        }
    for (size_t k = 0; k < n; k++)
        for (size_t j = 0; j < columns; j++)
            b[k * columns + j] = doubled_scaled(b[k * columns + j], power[k]);
    return true;
}
