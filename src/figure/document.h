/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a figure says about itself inside its file, and what libplot's SVG and PostScript need after it. */
#ifndef FIGURE_DOCUMENT_H
#define FIGURE_DOCUMENT_H

#include <dutywright/status.h>
#include <stdbool.h>
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

/* Pictures of pixels: painted finer than needed, reduced so that edges are smooth, written as PNG and GIF. */

struct picture {
    int width, height;
    unsigned char *rgb;  /* [height x width x 3], from the top left */
};

void picture_free(struct picture *picture);

/* Reads what libplot wrote (binary PNM) and averages every scale x scale pixels.
 *   picture   out; picture_free
 *   returns   DW_OK; DW_SYSTEM where it is no such file; DW_NO_MEMORY */
enum dw_status picture_reduce(struct picture *picture, const char *pnm, size_t size, int scale, struct dw_error *error);

/* Gives a picture at most so many colours: the most frequent stay, each other becomes the nearest of them.
 *   colours   2..256 */
enum dw_status picture_limit_colours(struct picture *picture, int colours, struct dw_error *error);

/* A PNG file in memory.
 *   bytes     out, the caller's to free */
enum dw_status picture_png(const struct picture *picture, const struct remarks *remarks, char **bytes, size_t *size,
                           struct dw_error *error);

/* A GIF file of one picture, or of several of one size shown in turn without end. */
struct gif;
/*   pictures  how many will come
 *   seconds   that each is shown, rounded to 1/100 */
struct gif *gif_new(int width, int height, size_t pictures, double seconds, struct dw_error *error);
void gif_free(struct gif *gif);
/* picture: loses colours where it has more than 255 */
enum dw_status gif_add(struct gif *gif, struct picture *picture, struct dw_error *error);
enum dw_status gif_finish(struct gif *gif, const struct remarks *remarks, char **bytes, size_t *size,
                          struct dw_error *error);

#endif
