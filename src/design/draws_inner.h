/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Random numbers by counter: the n-th is known without those before it. Not installed. */
#ifndef DESIGN_DRAWS_INNER_H
#define DESIGN_DRAWS_INNER_H

#include <stdint.h>

/* Uniform in (-1, 1): number n of the stream of one sample. */
double draw(uint64_t seed, uint64_t sample, uint32_t n);

#endif
