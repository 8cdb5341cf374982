/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/hermite_inner.h"
#include <math.h>
#include <stdbool.h>

int dwi_hermite_turns(const struct hermite *h, double at[2])
{
    const double inside = 1 - 0x1p-27, root = h->even * h->even - 3 * h->odd * (h->rise - h->odd);
    int count = 0;
    if (!(root > 0))
        return 0;
    /* of the two roots neither is a difference: Press and others 1992, Numerical Recipes, (5.6.4) */
    const double sum = h->even + copysign(sqrt(root), h->even), one = sum / (3 * h->odd), other = (h->rise - h->odd) / sum;
    if (fmin(one, other) > -inside && fmin(one, other) < inside)
        at[count++] = fmin(one, other);
    if (fmax(one, other) > -inside && fmax(one, other) < inside)
        at[count++] = fmax(one, other);
    return count;
}

double dwi_hermite_place(const struct hermite *h, double value)
{
    const double middle = h->middle - value;
    const bool rises = h->rise > 0;
    double low = -1, high = 1, u = -middle / h->rise;
    if (h->even == 0 && h->odd == 0)
        return fmin(fmax(u, low), high);
    /* Newton's steps where they stay between what is known to be on either side, else halves of that */
    for (int i = 0; i < 100 && low < high; i++) {
        if (!(u >= low && u <= high))
            u = low + (high - low) / 2;
        const double off = middle + (h->rise * u + (1 - u) * (1 + u) * (h->even - h->odd * u));
        *((off < 0) == rises ? &low : &high) = u;
        const double next = u - off / hermite_slope(h, u), used = next > low && next < high ? next : low + (high - low) / 2;
        if (off == 0 || used == u)
            break;
        u = used;
    }
    return u;
}
