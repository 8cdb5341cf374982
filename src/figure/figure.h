/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sheets to files. Not installed: libfigure serves the programs that draw. */
#ifndef FIGURE_FIGURE_H
#define FIGURE_FIGURE_H

#include "document.h"
#include "sheet.h"
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

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

struct figure {
    const struct sheet *sheets;       /* one, or the frames of an animation (FIGURE_GIF) */
    size_t count;
    const struct remarks *remarks;    /* on all of it */
};

/* Draws a figure.
 *   bytes     out: the file, the caller's to free; untouched on error
 *   returns   DW_OK; DW_BAD_USE: a page too small for what is on it; DW_NO_MEMORY; DW_SYSTEM
 *   memory    FIGURE_PNG, FIGURE_GIF: some 75 bytes a pixel while it works, 35 from 4.2 million pixels on, 10 from 17 million */
enum dw_status figure_render(const struct figure *figure, const struct figure_form *form, char **bytes, size_t *size, struct dw_error *error);

/* ---- a sheet in the characters of a terminal ---- */

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

/* ---- a file that is there whole or not at all ---- */

/* Whether a file of that name could be written, so that hours of reading do not end in a refusal.
 *   path     "-" is standard output
 *   returns  DW_OK; DW_BAD_USE: a folder, a name whose folder is missing or not writable, a read-only file, a link to none */
enum dw_status whole_file_check(const char *path, struct dw_error *error);
/* Whether two names, either of them "-", are one regular file. */
bool whole_file_is(const char *path, const char *other);

/* Writes beside the name, and takes the name only when all is on the disk; a device or pipe is written to directly. A process
 * that is killed meanwhile leaves the old file and, where the file system knows files without a name, nothing else.
 * Standard output where path is "-".
 *   returns  DW_OK; DW_SYSTEM; DW_CLOSED_PIPE. Except DW_OK, what was there under that name still is. */
enum dw_status whole_file_write(const char *path, const char *bytes, size_t size, struct dw_error *error);

#endif
