/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/cubic.h>
#include <math.h>

#define SLOPES 0.125  /* of the tolerance, times a piece's length: that much a slope may be changed, which moves the cubic by
                         4/27 of that: dw_cubic_reach leaves it */

unsigned dw_cubic_turns(const struct dw_cubic *cubic, double at[2])
{
    const double a = 3 * cubic->c[3], b = 2 * cubic->c[2], c = cubic->c[1], square = b * b - 4 * a * c;
    unsigned count = 0;
    if (!(square > 0))
        return 0;
    const double q = -(b + copysign(sqrt(square), b)) / 2, root[2] = { c / q, q / a };  /* the nearer to zero first */
    for (int i = 0; i < 2; i++)
        if (root[i] > 0 && root[i] < 1)
            at[count++] = root[i];
    return count;
}

/* fmin and fmax are calls, since they heed NaN. */
static inline double larger(double a, double b)
{
    return a > b ? a : b;
}

bool dw_cubic_restrain(double *slope, double rise, double length, double tolerance, double ulp)
{
    const double way = rise < 0 ? -1 : 1, runs = way * *slope * length;
    const double most = 3 * fabs(rise), kept = runs < most ? larger(runs, 0) : most, off = fabs(runs - kept);
    if (off <= ulp)
        return true;
    *slope = way * kept / length;
    /* any monotone curve is within the tolerance of another over so small a rise */
    return fabs(rise) <= tolerance || off <= SLOPES * tolerance;
}

double dw_changes_largest(const struct dw_changes *changes, double growing, double time, double period)
{
    const double since = time - period * (1 + 1e-9);
    double most = larger(growing, larger(changes->before[0], changes->before[1]));
    for (unsigned i = 0; i < changes->count; i++)
        if (changes->kept[i].begin >= since)
            most = larger(most, changes->kept[i].change);
    return most;
}

void dw_changes_keep(struct dw_changes *changes, double begin, double change)
{
    changes->before[1] = changes->before[0];
    changes->before[0] = change;
    while (changes->count > 0 && changes->kept[changes->count - 1].change <= change)
        changes->count--;
    changes->count -= changes->count == DW_CHANGES;  /* less is known to have changed, and the tolerance smaller */
    changes->kept[changes->count].begin = begin;
    changes->kept[changes->count++].change = change;
}
