/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "linear/matrix_inner.h"
#include <complex.h>
#include <float.h>
#include <string.h>

enum { MOST = 32 };

double dwi_symmetric_largest(double *s, size_t n)
{
    for (int sweep = 0; sweep < 30; sweep++) {
        double off = 0, all = 0;
        for (size_t i = 0; i < n; i++)
            for (size_t j = 0; j < n; j++) {
                all += s[i * n + j] * s[i * n + j];
                off += i == j ? 0 : s[i * n + j] * s[i * n + j];
            }
        if (off <= DBL_EPSILON * DBL_EPSILON * all)
            break;
        for (size_t p = 0; p < n; p++)
            for (size_t q = p + 1; q < n; q++) {
                if (s[p * n + q] == 0)
                    continue;
                const double theta = (s[q * n + q] - s[p * n + p]) / (2 * s[p * n + q]);
                const double t = copysign(1, theta) / (fabs(theta) + hypot(1, theta));
                const double c = 1 / hypot(1, t), d = c * t;
                for (size_t k = 0; k < n; k++) {
                    const double x = s[k * n + p], y = s[k * n + q];
                    s[k * n + p] = c * x - d * y;
                    s[k * n + q] = d * x + c * y;
                }
                for (size_t k = 0; k < n; k++) {
                    const double x = s[p * n + k], y = s[q * n + k];
                    s[p * n + k] = c * x - d * y;
                    s[q * n + k] = d * x + c * y;
                }
            }
    }
    double largest = s[0];
    for (size_t i = 1; i < n; i++)
        largest = fmax(largest, s[i * n + i]);
    return largest;
}

/* Sums beside the diagonal of row and column i. */
static void row_and_column(const double *a, size_t n, size_t i, double *row, double *column)
{
    *row = *column = 0;
    for (size_t j = 0; j < n; j++) {
        *row += j == i ? 0 : fabs(a[i * n + j]);
        *column += j == i ? 0 : fabs(a[j * n + i]);
    }
}

void dwi_matrix_balance(double *a, size_t n)
{
    bool changed = true;
    for (int round = 0; round < 100 && changed; round++) {
        changed = false;
        for (size_t i = 0; i < n; i++) {
            double row, column;
            row_and_column(a, n, i, &row, &column);
            if (!(row > 0 && column > 0))
                continue;
            const int exponent = (int)lround(log2(row / column) / 2);
            changed = changed || exponent != 0;
            for (size_t j = 0; j < n && exponent; j++) {
                a[i * n + j] = ldexp(a[i * n + j], -exponent);
                a[j * n + i] = ldexp(a[j * n + i], exponent);
            }
        }
    }
}

/* Reduces h [n x n] to Hessenberg form by eliminations with pivots (a similarity). */
static void to_hessenberg(double complex h[MOST][MOST], size_t n)
{
    for (size_t k = 0; k + 2 < n; k++) {
        size_t pivot = k + 1;
        for (size_t i = k + 2; i < n; i++)
            if (cabs(h[i][k]) > cabs(h[pivot][k]))
                pivot = i;
        if (h[pivot][k] == 0)
            continue;
        for (size_t j = 0; j < n; j++) {
            const double complex kept = h[k + 1][j];
            h[k + 1][j] = h[pivot][j];
            h[pivot][j] = kept;
        }
        for (size_t i = 0; i < n; i++) {
            const double complex kept = h[i][k + 1];
            h[i][k + 1] = h[i][pivot];
            h[i][pivot] = kept;
        }
        for (size_t i = k + 2; i < n; i++) {
            const double complex factor = h[i][k] / h[k + 1][k];
            for (size_t j = 0; j < n; j++)
                h[i][j] -= factor * h[k + 1][j];
            for (size_t j = 0; j < n; j++)
                h[j][k + 1] += factor * h[j][i];
        }
    }
}

/* One QR step with a shift on rows and columns first .. last. */
static void qr_step(double complex h[MOST][MOST], size_t first, size_t last, double complex shift)
{
    double complex c[MOST], s[MOST];
    for (size_t i = first; i <= last; i++)
        h[i][i] -= shift;
    for (size_t k = first; k < last; k++) {
        const double complex a = h[k][k], b = h[k + 1][k];
        const double length = hypot(cabs(a), cabs(b));
        c[k] = length > 0 ? a / length : 1;  /* unrun: rounding */
        s[k] = length > 0 ? b / length : 0;  /* unrun: rounding */
        for (size_t j = k; j <= last; j++) {
            const double complex x = h[k][j], y = h[k + 1][j];
            h[k][j] = conj(c[k]) * x + conj(s[k]) * y;
            h[k + 1][j] = -s[k] * x + c[k] * y;
        }
    }
    for (size_t k = first; k < last; k++)
        for (size_t i = first; i <= (k + 1 < last ? k + 1 : last); i++) {
            const double complex x = h[i][k], y = h[i][k + 1];
            h[i][k] = x * c[k] + y * s[k];
            h[i][k + 1] = -x * conj(s[k]) + y * conj(c[k]);
        }
    for (size_t i = first; i <= last; i++)
        h[i][i] += shift;
}

/* The eigenvalue of the last two rows that is nearer to the last entry (Wilkinson's shift). */
static double complex last_shift(double complex h[MOST][MOST], size_t last)
{
    const double complex a = h[last - 1][last - 1], b = h[last - 1][last], c = h[last][last - 1], d = h[last][last];
    const double complex half = (a - d) / 2, root = csqrt(half * half + b * c);
    const double complex one = (a + d) / 2 + root, other = (a + d) / 2 - root;
    return cabs(one - d) < cabs(other - d) ? one : other;
}

bool dwi_matrix_eigenvalues(const double *a, size_t n, double *real, double *imaginary)
{
    double complex h[MOST][MOST];
    if (n > MOST)  /* unrun: size */
        return false;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            h[i][j] = a[i * n + j];
    to_hessenberg(h, n);
    for (size_t last = n; last-- > 0;) {
        for (int step = 0;; step++) {
            size_t first = last;
            while (first > 0 && cabs(h[first][first - 1]) >
                                    DBL_EPSILON / 4 * (cabs(h[first][first]) + cabs(h[first - 1][first - 1])))
                first--;
            if (first == last)
                break;
            if (step == 200)  /* unrun: count */
                return false;
            double complex shift = last_shift(h, last);
            if (step % 10 == 9)
                shift += cabs(h[last][last - 1]);  /* breaks a cycle of equal shifts */
            qr_step(h, first, last, shift);
        }
        if (last > 0)
            h[last][last - 1] = 0;
        real[last] = creal(h[last][last]);
        imaginary[last] = cimag(h[last][last]);
    }
    return true;
}
