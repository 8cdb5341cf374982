/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sampled plants. Not installed. */
#ifndef LINEAR_SAMPLED_INNER_H
#define LINEAR_SAMPLED_INNER_H

#include <dutywright/margins.h>

/* DW_BAD_USE: a size out of its range, a number that is not finite. */
enum dw_status dwi_sampled_check(const struct dw_sampled *sampled, struct dw_error *error);
/* Without the states that no duty reaches or that do not reach what is measured, by the zeros of the matrices; it may have none left.
 *   out      not the plant itself */
void dwi_sampled_reduce(const struct dw_sampled *sampled, struct dw_sampled *out);
/* Of a matrix [n x n], which is changed. DW_NO: not found. */
enum dw_status dwi_sampled_eigenvalues(double *a, size_t n, double *real, double *imaginary, struct dw_error *error);

#endif
