/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a figure says about itself inside its file, and what libplot's SVG and PostScript need after it. */
#ifndef FIGURE_DOCUMENT_H
#define FIGURE_DOCUMENT_H

#include <dutywright/status.h>
#include <stddef.h>

/* Strings in UTF-8; "" for none. */
struct remarks {
    const char *title;
    const char *made_by;  /* commands that made it, one a line */
    const char *summary;  /* what is to be seen, for readers who do not see it */
};

/* Each takes a file that libplot made and gives one in its place.
 *   bytes     in and out, from malloc; unchanged on error
 *   returns   DW_OK; DW_NO_MEMORY; DW_SYSTEM where it is not such a file as libplot 2.6 writes */

/* SVG: pixels as its unit, so that it has the size asked for; title, description and commands as its metadata. */
enum dw_status document_svg(char **bytes, size_t *size, int width, int height, const struct remarks *remarks,
                            struct dw_error *error);
/* PostScript: title, commands, and the date of SOURCE_DATE_EPOCH where the environment has it. */
enum dw_status document_ps(char **bytes, size_t *size, const struct remarks *remarks, struct dw_error *error);

#endif
