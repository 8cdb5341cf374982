/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Fourier coefficients of straight lines and cubics, exact up to rounding: docs/theory.md, section 5. Two ways to one answer: line by line,
 * and in cells. */
#ifndef MEASURE_FOURIER_INNER_H
#define MEASURE_FOURIER_INNER_H

#include "measure/fourier_rows_inner.h"
#include <dutywright/status.h>

enum { FOURIER_LINES_MOST = 1 << 26 };

/* How rows are summed up. */
struct fourier_way {
    bool direct;   /* every piece for each line; else in cells */
    size_t grid;   /* cells on whose borders all rows lie, straight lines between them; 0: cells as the lines need them */
};
/* What takes the fewest operations.
 *   grid  as dwi_fourier_grid gives it */
struct fourier_way dwi_fourier_choose(size_t rows, size_t lines, size_t channels, size_t grid);

/* Coefficients c_n = integral of (x - reference) e^(-j 2 pi n (t - start) / period) dt / period, n = 0 .. lines, summed over all
 * periods that the rows hold, or parts of them.
 *   out       [channels x (lines + 1) x 2], real and imaginary parts
 *   returns   DW_OK or DW_NO_MEMORY
 *   accuracy  c_n to 2^-50 of the largest |x - reference|, plus that of the times: equation 5.11 */
enum dw_status dwi_fourier_by(const struct fourier_way *way, const struct fourier_rows *rows, size_t lines, double *out,
                              struct dw_error *error);
/* The same by the way that takes the fewest operations.
 *   slack  as in dwi_fourier_grid */
enum dw_status dwi_fourier(const struct fourier_rows *rows, double slack, size_t lines, double *out, struct dw_error *error);

/* Either way, in its file.
 *   grid     as in fourier_way
 *   returns  false: no memory */
bool dwi_fourier_direct(const struct fourier_rows *rows, size_t lines, double *out);
bool dwi_fourier_cells(const struct fourier_rows *rows, size_t lines, size_t grid, double *out);

#endif
