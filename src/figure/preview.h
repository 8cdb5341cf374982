/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A sheet in the characters of a terminal. */
#ifndef FIGURE_PREVIEW_H
#define FIGURE_PREVIEW_H

#include "sheet.h"
#include <dutywright/status.h>

enum { PREVIEW_COLUMNS = 80, PREVIEW_LINES = 24, PREVIEW_LEAST_COLUMNS = 40 };

struct preview_form {
    int columns, lines;  /* of the terminal; 0: PREVIEW_COLUMNS, PREVIEW_LINES. More lines are used where the panels need them */
    bool colour;         /* with colours (ECMA-48); without, the labels at the ends of the lines tell traces apart */
    bool ascii;          /* no character beyond ASCII */
};

/* Lines of text, no wider than the terminal.
 *   bytes           out, the caller's to free
 *   returns         DW_OK; DW_BAD_USE: fewer than PREVIEW_LEAST_COLUMNS; DW_NO_MEMORY */
enum dw_status preview_render(const struct sheet *sheet, const struct preview_form *form, char **bytes, size_t *size,
                              struct dw_error *error);

#endif
