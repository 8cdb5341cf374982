/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers of twice the precision, and small dense matrices. Not installed. */
#ifndef LINEAR_MATRIX_INNER_H
#define LINEAR_MATRIX_INNER_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>

/* Doubled precision: a number as the unevaluated sum of two doubles, |lo| <= ulp(hi) / 2; relative error of each
 * operation below 2^-102. Needs round to nearest and no contraction (-ffp-contract=off). */

struct doubled {
    double hi, lo;
};

static inline struct doubled doubled_of(double x)
{
    return (struct doubled){ x, 0 };
}

/* a + b exactly, |a| >= |b| or a = 0 (Dekker 1971, Numer. Math. 18:224). */
static inline struct doubled quick_sum(double a, double b)
{
    const double s = a + b;
    return (struct doubled){ s, b - (s - a) };
}

/* a + b exactly (Knuth, TAOCP vol. 2, 4.2.2, theorem B). */
static inline struct doubled exact_sum(double a, double b)
{
    const double s = a + b, t = s - a;
    return (struct doubled){ s, (a - (s - t)) + (b - t) };
}

/* a b exactly, by the fused multiply where the machine has it, else by Dekker's halves: |a|, |b| < 2^996 there. */
static inline struct doubled exact_product(double a, double b)
{
    const double p = a * b;
#ifdef __FMA__
    return (struct doubled){ p, __builtin_fma(a, b, -p) };
#else
    const double split = 0x1p27 + 1, as = split * a, bs = split * b;
    const double ah = as - (as - a), al = a - ah, bh = bs - (bs - b), bl = b - bh;
    return (struct doubled){ p, ((ah * bh - p) + ah * bl + al * bh) + al * bl };
#endif
}

static inline struct doubled doubled_sum(struct doubled a, struct doubled b)
{
    struct doubled s = exact_sum(a.hi, b.hi), t = exact_sum(a.lo, b.lo);
    s = quick_sum(s.hi, s.lo + t.hi);
    return quick_sum(s.hi, s.lo + t.lo);
}

static inline struct doubled doubled_minus(struct doubled a)
{
    return (struct doubled){ -a.hi, -a.lo };
}

static inline struct doubled doubled_difference(struct doubled a, struct doubled b)
{
    return doubled_sum(a, doubled_minus(b));
}

static inline struct doubled doubled_product(struct doubled a, struct doubled b)
{
    /* NOLINTNEXTLINE(clang-analyzer-core.CallAndMessage): it follows an array whose rest is never read */
    const struct doubled p = exact_product(a.hi, b.hi);
    return quick_sum(p.hi, p.lo + (a.hi * b.lo + a.lo * b.hi));
}

/* Times a power of two, exact. */
static inline struct doubled doubled_scaled(struct doubled a, double power)
{
    return (struct doubled){ a.hi * power, a.lo * power };
}

static inline struct doubled doubled_quotient(struct doubled a, struct doubled b)
{
    const double first = a.hi / b.hi;
    struct doubled rest = doubled_difference(a, doubled_product(doubled_of(first), b));
    const double second = rest.hi / b.hi;
    rest = doubled_difference(rest, doubled_product(doubled_of(second), b));
    return doubled_sum(quick_sum(first, second), doubled_of(rest.hi / b.hi));
}

static inline double doubled_value(struct doubled a)
{
    return a.hi + a.lo;
}

/* ---- small dense matrices in doubled precision, row after row ---- */

/* out = left right.
 *   left   [rows x inner]
 *   right  [inner x columns]
 *   out    [rows x columns], none of the operands */
void dwi_doubled_multiply(struct doubled *out, const struct doubled *left, const struct doubled *right, size_t rows,
                          size_t inner, size_t columns);
void dwi_double_multiply(double *out, const double *left, const double *right, size_t rows, size_t inner, size_t columns);

/* Solves a x = b by elimination with row pivots, rows and columns first scaled by powers of two.
 *   a        [n x n], destroyed
 *   b        [n x columns], replaced by x
 *   returns  false where a pivot is zero to working precision (2^-100 of its scaled column) */
bool dwi_doubled_solve(struct doubled *a, struct doubled *b, size_t n, size_t columns);

/* Largest eigenvalue of a symmetric matrix [n x n], destroyed: Jacobi's rotations (Golub and Van Loan, Matrix Computations,
 * 4th ed., 8.5). */
double dwi_symmetric_largest(double *s, size_t n);

/* Scales states by powers of two until rows and columns are about alike, a similarity that keeps eigenvalues and makes them more exact
 * (Parlett and Reinsch 1969, Numer. Math. 13:293).
 *   a        [n x n], changed */
void dwi_matrix_balance(double *a, size_t n);

/* Eigenvalues of any real matrix by shifted QR steps on its Hessenberg form (Golub and Van Loan, 7.5), in complex arithmetic.
 *   a        [n x n], n <= 32, kept
 *   real, imaginary  out, [n], no particular order; conjugate pairs only to rounding
 *   returns  false where the steps do not converge
 *   accuracy a few n ulp of the norm of a */
bool dwi_matrix_eigenvalues(const double *a, size_t n, double *real, double *imaginary);

#endif
