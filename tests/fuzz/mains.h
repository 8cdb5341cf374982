/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Put before the source of every program (-include), so that tests/fuzz/options.c holds them all: instead of having a main each
 * offers itself, before the real main begins. */
#ifndef TESTS_FUZZ_MAINS_H
#define TESTS_FUZZ_MAINS_H

struct program;
void offer_program(const struct program *program);

#define PROGRAM_MAIN(given) \
    __attribute__((constructor)) static void offer(void) \
    { \
        offer_program(&(given)); \
    }

#endif
