/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LINEAR_STEADY_INNER_H
#define LINEAR_STEADY_INNER_H

#include "linear/system_inner.h"

/* dw_system_steady for rows of fewer inputs than the system's; the others are the constant 1. */
enum dw_status dwi_system_steady(struct dw_system *system, const struct dw_period *period, size_t inputs, double *state,
                                 struct dw_steady *steady, struct dw_error *error);

/* Largest modulus of the eigenvalues of I + y, [n x n]; NaN where they are not found. */
double dwi_map_radius(const double *y, size_t n);

#endif
