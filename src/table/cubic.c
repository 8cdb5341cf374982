/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/cubic.h>
#include <math.h>

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
