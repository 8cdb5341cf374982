/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pictures of pixels: painted finer than needed, reduced so that edges are smooth, written as PNG and GIF. */
#ifndef FIGURE_RASTER_H
#define FIGURE_RASTER_H

#include "document.h"
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

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
