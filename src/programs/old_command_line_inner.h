/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The first look at a command line, before argp: what argp and getopt would accept loosely or refuse unclearly. */
#ifndef PROGRAMS_COMMAND_LINE_INNER_H
#define PROGRAMS_COMMAND_LINE_INNER_H

#include <argp.h>
#include <stdbool.h>

/* Group of the shared options in --help. */
enum { SHARED_GROUP = 8 };

/* Ends the program with status 2 where the line is not to the letter.
 *   words      how many words beside options are taken: 0, 1 (the FILE), or negative for any number
 *   help       called for OPTION_HELP and OPTION_VERSION, with the key; must not return */
void command_line_check(const struct argp *argp, int argc, char **argv, int words, void (*help)(int key));

/* Whether argv[i] is an option with this key (not a word, nor the argument of another option). After the check. */
bool command_line_is(int i, int key);

/* The program's option that sets a member of a plan, "diode-drop" for "diode_drop": one that was given before one that was
 * not. NULL where it has none. */
const char *command_line_option_of(const char *member);

/* Frees what the check kept; for tests. */
void command_line_forget(void);

#endif
