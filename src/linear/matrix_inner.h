/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Small dense matrices in doubled precision, row after row. */
#ifndef LINEAR_MATRIX_INNER_H
#define LINEAR_MATRIX_INNER_H

#include "linear/doubled_inner.h"
#include <stdbool.h>
#include <stddef.h>

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

/* Eigenvalues of any real matrix by shifted QR steps on its Hessenberg form (Golub and Van Loan, 7.5), in complex arithmetic.
 *   a        [n x n], n <= 32, kept
 *   real, imaginary  out, [n], no particular order; conjugate pairs only to rounding
 *   returns  false where the steps do not converge
 *   accuracy a few n ulp of the norm of a */
bool dwi_matrix_eigenvalues(const double *a, size_t n, double *real, double *imaginary);

#endif
