/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Every number of a binary table is looked at here, twice on its way through a program: in pairs, which is what SSE2 and NEON
 * have registers for. */
#include "header_inner.h"
#include <float.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

enum {
    BLOCK = 16,   /* numbers judged at once */
    TIMES = 8,    /* rows whose times are */
    CHUNK = 1024  /* numbers that are still in the nearest cache when times are compared */
};

typedef uint64_t bits __attribute__((vector_size(16)));
typedef int64_t signs __attribute__((vector_size(16)));
typedef double pair __attribute__((vector_size(16)));

/* Infinities and NaN have all bits of the exponent, and only then does one more carry into the sign. */
static inline bits carry(const double *values)
{
    const uint64_t mask = UINT64_C(0x7ff0000000000000), lowest = UINT64_C(0x0010000000000000);
    const bits exponent = { mask, mask }, one = { lowest, lowest };
    bits two;
    memcpy(&two, values, sizeof two);
    return (two & exponent) + one;
}

static inline int is_finite_block(const double *v)
{
    const bits carried = carry(v) | carry(v + 2) | carry(v + 4) | carry(v + 6) | carry(v + 8) | carry(v + 10) | carry(v + 12) |
                         carry(v + 14);
    return !((carried[0] | carried[1]) >> 63);
}

static size_t finite_run(const double *values, size_t count)
{
    size_t i = 0;
    while (i + BLOCK <= count && is_finite_block(values + i))
        i += BLOCK;
    while (i < count && fabs(values[i]) <= DBL_MAX)
        i++;
    return i;
}

/* Two times against the next two. */
static inline signs rise(const double *time, size_t columns)
{
    const pair now = { time[0], time[columns] }, next = { time[columns], time[2 * columns] };
    return now <= next;
}

/* Whether so many times, and the one behind them, are in order. */
static inline int is_ordered_block(const double *time, size_t columns)
{
    const size_t two = 2 * columns;
    const signs risen = rise(time, columns) & rise(time + two, columns) & rise(time + 2 * two, columns) &
                        rise(time + 3 * two, columns);
    return (risen[0] & risen[1]) != 0;
}

static size_t ordered_run(const double *values, size_t rows, size_t columns, double *last)
{
    if (!rows || !(values[0] >= *last))
        return 0;
    size_t i = 0;
    while (i + TIMES < rows && is_ordered_block(values + i * columns, columns))
        i += TIMES;
    while (i + 1 < rows && values[(i + 1) * columns] >= values[i * columns])
        i++;
    *last = values[i * columns];
    return i + 1;
}

size_t dwi_good_rows(const double *values, size_t rows, size_t columns, double *last)
{
    const size_t most = columns < CHUNK ? CHUNK / columns : 1;  /* unrun: size */
    size_t done = 0;
    while (done < rows) {
        const size_t some = rows - done < most ? rows - done : most;
        const double *first = values + done * columns;
        const size_t good = ordered_run(first, finite_run(first, some * columns) / columns, columns, last);
        done += good;
        if (good < some)
            break;
    }
    return done;
}
