/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Random numbers for tests: the same cases everywhere, from a seed that the test names. */
#ifndef TESTS_DRAW_H
#define TESTS_DRAW_H

#include <stdint.h>

/* splitmix64: Steele, Lea and Flood 2014, OOPSLA. */
static inline uint64_t drawn_bits(uint64_t *seed)
{
    uint64_t z = (*seed += 0x9e3779b97f4a7c15u);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

static inline double drawn_between(uint64_t *seed, double low, double high)
{
    return low + (high - low) * (double)(drawn_bits(seed) >> 11) / 9007199254740992.0;
}

#endif
