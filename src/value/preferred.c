/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/value.h>
#include <math.h>
#include <stdio.h>

enum { FINE = 48 }; /* series from here on have three digits and follow the formula */

/* E24 in tenths, IEC 60063:2015, table 1. Its 2.7 to 4.7 and 8.2 are older than the formula and differ from it. E12, E6
 * and E3 are every 2nd, 4th and 8th of it. */
static const int coarse[24] = {
    10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91,
};

/* Value k of a series in hundredths: 100 to 999. */
static int hundredths(int series, int k)
{
    if (series < FINE)
        return 10 * coarse[k * (24 / series)];
    /* IEC 60063:2015, table 2: rounded to three digits, except that E192 has 9.20 where the formula gives 9.19. No
     * scaled power comes within 0.001 of a tie, so pow's own error cannot matter. */
    const int k192 = k * (192 / series);
    return k192 == 185 ? 920 : (int)lround(100 * pow(10, k / (double)series));
}

static enum dw_status check_series(int series, struct dw_error *error)
{
    static const int known[] = { 3, 6, 12, 24, 48, 96, 192 };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        if (series == known[i])
            return DW_OK;
    return dw_error_set(error, DW_BAD_USE, 0, "E%d is no series of preferred values; there are E3, E6, E12, E24, E48, E96 "
                        "and E192", series);
}

/* The double nearest to hundredths * 10^(decade - 2), through its decimal spelling. */
static double nearest_double(int of_hundredths, int decade)
{
    char text[32];
    double value = 0;
    const int length = snprintf(text, sizeof text, "%de%d", of_hundredths, decade - 2);
    dw_number_read(text, text + length, &value);
    return value;
}

enum dw_status dw_preferred_values(int series, double *values, struct dw_error *error)
{
    const enum dw_status status = check_series(series, error);
    for (int k = 0; status == DW_OK && k < series; k++)
        values[k] = nearest_double(hundredths(series, k), 0);
    return status;
}

enum dw_status dw_preferred_range(int series, double lowest, double highest, double *values, size_t *count,
                                  struct dw_error *error)
{
    char from[DW_NUMBER_SIZE], to[DW_NUMBER_SIZE];
    const enum dw_status status = check_series(series, error);
    if (status != DW_OK)
        return status;
    if (!(lowest > 0 && lowest <= highest && highest <= 1e300 && lowest >= 1e-300)) {
        dw_number_print(from, lowest);
        dw_number_print(to, highest);
        return dw_error_set(error, DW_BAD_USE, 0, "range %s to %s: must rise, and lie within 1e-300 to 1e+300", from, to);
    }
    /* one decade more at each end, since log10 may round across a power of ten */
    const int first = (int)floor(log10(lowest)) - 1, last = (int)floor(log10(highest)) + 1;
    const size_t room = values ? *count : 0;
    size_t found = 0;
    for (int pass = 0; pass < 2; pass++) { /* counting first, so that a refusal leaves values untouched */
        found = 0;
        for (int decade = first; decade <= last; decade++)
            for (int k = 0; k < series; k++) {
                const double value = nearest_double(hundredths(series, k), decade);
                if (value < lowest || value > highest)
                    continue;
                if (pass)
                    values[found] = value;
                found++;
            }
        *count = found;
        if (!values)
            return DW_OK;
        if (found > room)
            return dw_error_set(error, DW_BAD_USE, 0, "E%d has %zu values in the range; there is room for %zu", series,
                                found, room);
    }
    return DW_OK;
}
