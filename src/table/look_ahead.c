/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The first rows of a table that is not ours tell whether it is samples. */
#include "reader_inner.h"
#include <dutywright/value.h>
#include <float.h>
#include <math.h>
#include <stddef.h>

enum { LEAST_ROWS = 16, DIGITS = 9 };

/* By how much times may be off that have so many digits, or as doubles by a few ulp: printed with too few of them, what is equally
 * spaced is uneven by so much. */
static double rounding_of(const double *values, size_t rows, size_t columns)
{
    const double largest = fmax(fabs(values[0]), fabs(values[(rows - 1) * columns])), finest = 8 * DBL_EPSILON * largest;
    int digits = 1;
    for (size_t i = 0; i < rows; i++)
        while (digits < DBL_DIG && fabs(dw_number_round(values[i * columns], digits) - values[i * columns]) > finest)
            digits++;
    return fmax(pow(10, floor(log10(largest)) + 1 - digits), finest);
}

/* The number of fewest digits from low to high. */
static double shortest_between(double low, double high, int *digits)
{
    const double middle = low + (high - low) / 2;
    double value = middle;
    for (*digits = 1; *digits <= DIGITS; ++*digits)
        if ((value = dw_number_round(middle, *digits)) >= low && value <= high)
            return value;
    return middle;
}

/* Samples a second, 0 where rows are not equally spaced. A spacing or a rate of few digits is what was meant, where times do not
 * tell it closer. */
static double rate_of(const double *values, size_t rows, size_t columns)
{
    const double first = values[0], span = values[(rows - 1) * columns] - first, spacing = span / (double)(rows - 1);
    const double off = rounding_of(values, rows, columns);
    bool even = spacing > 0;
    for (size_t i = 1; even && i < rows; i++) {
        const double *row = values + i * columns;
        even = fabs(row[0] - first - (double)i * spacing) <= off && fabs(row[0] - row[-(ptrdiff_t)columns] - spacing) < spacing / 2;
    }
    if (!even)
        return 0;
    int of_spacing, of_rate;
    const double low = (span - off) / (double)(rows - 1), high = (span + off) / (double)(rows - 1);
    const double length = shortest_between(low, high, &of_spacing), rate = shortest_between(1 / high, 1 / low, &of_rate);
    return of_rate <= of_spacing ? rate : 1 / length;
}

/* Rows at equal times are corners of lines, and meant so. */
static bool has_jumps(const double *values, size_t rows, size_t columns)
{
    bool jumps = false;
    for (size_t i = 1; i < rows; i++)
        jumps = jumps || values[i * columns] == values[(i - 1) * columns];
    return jumps;
}

enum dw_status dwi_judge_spacing(struct dw_reader *reader, struct dw_error *error)
{
    const struct rows_ahead *ahead = &reader->ahead;
    const double rate = ahead->rows < LEAST_ROWS ? 0 : rate_of(ahead->values, ahead->rows, reader->columns);
    reader->uneven = ahead->rows >= LEAST_ROWS && !(rate > 0) && !has_jumps(ahead->values, ahead->rows, reader->columns);
    return rate > 0 ? dw_header_set_number(reader->header, "sampled", rate, error) : DW_OK;
}
