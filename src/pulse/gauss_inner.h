/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Random numbers that depend on a seed and a number alone, so that a train is the same however it is cut. */
#ifndef PULSE_GAUSS_INNER_H
#define PULSE_GAUSS_INNER_H

#include <stdint.h>

/* Four random words from four counter words and two key words.
 *   source   Philox4x32-10: Salmon, Moraes, Dror, Shaw 2011, Parallel random numbers: as easy as 1, 2, 3, SC11 */
void dwi_philox(const uint32_t counter[4], const uint32_t key[2], uint32_t out[4]);

/* Two independent numbers of the standard normal distribution, the pair `index` of stream `seed`.
 *   out      [2]; |out| < 8.6, since the smallest uniform number is 2^-53
 *   source   Box and Muller 1958, Ann. Math. Statist. 29:610 */
void dwi_gauss_pair(uint64_t seed, uint64_t index, double out[2]);

#endif
