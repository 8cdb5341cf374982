/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "gauss_inner.h"
#include <math.h>

void dwi_philox(const uint32_t counter[4], const uint32_t key[2], uint32_t out[4])
{
    uint32_t a = counter[0], b = counter[1], c = counter[2], d = counter[3], k0 = key[0], k1 = key[1];
    for (int round = 0; round < 10; round++) {
        const uint64_t first = 0xD2511F53ull * a, second = 0xCD9E8D57ull * c;  /* the authors' multipliers */
        a = (uint32_t)(second >> 32) ^ b ^ k0;
        b = (uint32_t)second;
        c = (uint32_t)(first >> 32) ^ d ^ k1;
        d = (uint32_t)first;
        k0 += 0x9E3779B9u;  /* golden ratio */
        k1 += 0xBB67AE85u;  /* square root of 3, less 1 */
    }
    out[0] = a, out[1] = b, out[2] = c, out[3] = d;
}

/* Uniform in (0, 1]: never 0, whose logarithm is none. */
static double uniform(uint32_t high, uint32_t low)
{
    const uint64_t bits = ((uint64_t)high << 32 | low) >> 11;
    return ((double)bits + 1) * 0x1p-53;
}

void dwi_gauss_pair(uint64_t seed, uint64_t index, double out[2])
{
    static const double turn = 6.283185307179586;
    uint32_t words[4];
    dwi_philox((const uint32_t[4]){ (uint32_t)index, (uint32_t)(index >> 32), 0, 0 },
               (const uint32_t[2]){ (uint32_t)seed, (uint32_t)(seed >> 32) }, words);
    const double radius = sqrt(-2 * log(uniform(words[0], words[1])));
    const double angle = turn * uniform(words[2], words[3]);
    out[0] = radius * cos(angle);
    out[1] = radius * sin(angle);
}
