/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sheets to files. Not installed: libfigure serves the programs that draw. */
#ifndef FIGURE_FIGURE_H
#define FIGURE_FIGURE_H

#include "document.h"
#include "sheet.h"
#include <dutywright/status.h>

enum figure_type { FIGURE_SVG, FIGURE_PNG, FIGURE_PS, FIGURE_GIF, FIGURE_TEXT, FIGURE_TYPES };

struct figure_form {
    enum figure_type type;
    int width, height;  /* pixels; FIGURE_TEXT: characters and lines; 0: what suits */
    double font;        /* pixels; 0: what suits */
    double seconds;     /* that each frame is shown */
    bool colour, ascii; /* FIGURE_TEXT: with terminal colours; without characters beyond ASCII */
};

enum { FIGURE_LEAST = 64, FIGURE_MOST = 8192 };  /* width and height */
enum { FIGURE_WIDTH = 1280, FIGURE_HEIGHT = 720 };

/* "svg", "png", "ps", "gif", "text"; static. */
const char *figure_type_name(enum figure_type type);

/* Draws one sheet, or the frames of an animation (FIGURE_GIF).
 *   bytes     out: the file, the caller's to free; untouched on error
 *   returns   DW_OK; DW_BAD_USE: a page too small for what is on it; DW_NO_MEMORY; DW_SYSTEM
 *   memory    FIGURE_PNG, FIGURE_GIF: some 75 bytes a pixel while it works, 35 from 4.2 million pixels on, 10 from 17 million */
enum dw_status figure_render(const struct sheet *sheets, size_t count, const struct figure_form *form,
                             const struct remarks *remarks, char **bytes, size_t *size, struct dw_error *error);

#endif
