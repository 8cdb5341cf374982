/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the start and end of a program know of its progress line. */
#ifndef PROGRAMS_PROGRESS_INNER_H
#define PROGRAMS_PROGRESS_INNER_H

enum { PROGRESS_WIDTH = 64 };  /* columns; a terminal has more */

/* The program's name, "dw-smooth". */
const char *program_name(void);
/* Takes the line away where one is shown: before anything else is written on that terminal. */
void progress_erase(void);

#endif
