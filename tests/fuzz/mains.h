/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Put before the source of every program (-include), so that tests/fuzz/options.c holds them all: main becomes a function of
 * its file, offered under the file's name before the real main begins. */
#ifndef TESTS_FUZZ_MAINS_H
#define TESTS_FUZZ_MAINS_H

/*   source   "src/programs/pwm.c" */
void offer_program(const char *source, int (*run)(int argc, char **argv));

#pragma GCC diagnostic ignored "-Wunused-function" /* most files of a program have no main */
static int program_main(int argc, char **argv);

#define main(...) \
    program_main(__VA_ARGS__); \
    __attribute__((constructor)) static void offer(void) \
    { \
        offer_program(__BASE_FILE__, program_main); \
    } \
    int program_main(__VA_ARGS__)

#endif
