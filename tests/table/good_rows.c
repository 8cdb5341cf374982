/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows that a table may hold are found alike wherever the first bad one stands: the loops take many at once. */
#include "table/header_inner.h"
#include "suite.h"
#include <float.h>
#include <stdlib.h>

enum { ROWS = 700, COLUMNS_MOST = 5 };

static void fill(double *values, size_t columns)
{
    for (size_t i = 0; i < ROWS; i++)
        for (size_t j = 0; j < columns; j++)
            values[i * columns + j] = j ? (i % 3 ? -DBL_MAX : 0x1p-1074) : (double)(i / 2);
}

static void finds(const double *values, size_t columns, size_t rows, double before, size_t wanted, double wanted_last)
{
    double last = before;
    const size_t good = dwi_good_rows(values, rows, columns, &last);
    ck_assert_msg(good == wanted, "%zu columns: %zu good rows, wanted %zu", columns, good, wanted);
    near(last, wanted_last, 0);
}

START_TEST(a_bad_number_or_a_time_that_goes_back_is_found_wherever_it_stands)
{
    static double values[ROWS * COLUMNS_MOST];
    const double bad[] = { NAN, -NAN, INFINITY, -INFINITY };
    for (size_t columns = 1; columns <= COLUMNS_MOST; columns++) {
        fill(values, columns);
        finds(values, columns, ROWS, -DBL_MAX, ROWS, (ROWS - 1) / 2);
        for (size_t at = 0; at < ROWS; at++) {
            double *row = values + at * columns, *odd = row + at % columns;
            const double kept = *odd, before = at ? (double)((at - 1) / 2) : -7;
            *odd = bad[at % 4];
            finds(values, columns, ROWS, -7, at, before);
            *odd = kept;
            if (at > 1) {
                const double time = *row;
                *row = nextafter(before, -1);
                finds(values, columns, ROWS, -7, at, before);
                *row = time;
            }
        }
    }
}
END_TEST

START_TEST(a_first_time_before_the_last_block_is_no_good_row)
{
    static double values[ROWS * 2];
    fill(values, 2);
    finds(values, 2, ROWS, 0x1p-1074, 0, 0x1p-1074);
    finds(values, 2, ROWS, 0, ROWS, (ROWS - 1) / 2);
    finds(values, 2, 0, 3, 0, 3);
}
END_TEST

START_TEST(as_many_rows_as_there_are_and_no_more_are_judged)
{
    double *values = malloc(ROWS * 3 * sizeof *values);
    ck_assert_ptr_nonnull(values);
    fill(values, 3);
    for (size_t rows = 0; rows < ROWS; rows++) {
        const double kept = values[rows * 3];
        values[rows * 3] = NAN;
        finds(values, 3, rows, 0, rows, rows ? (double)((rows - 1) / 2) : 0);
        values[rows * 3] = kept;
    }
    free(values);
}
END_TEST

SUITE("table: good rows", a_bad_number_or_a_time_that_goes_back_is_found_wherever_it_stands,
      a_first_time_before_the_last_block_is_no_good_row, as_many_rows_as_there_are_and_no_more_are_judged)
