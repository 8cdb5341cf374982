/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "document.h"
#include "text.h"
#include <math.h>
#include <png.h>
#include <stdio.h>
#include <plot.h> /* needs FILE */
#include <stdlib.h>
#include <string.h>

/* ---- PNG ---- */

static void write_to_stream(png_structp png, png_bytep bytes, png_size_t size)
{
    if (fwrite(bytes, 1, size, png_get_io_ptr(png)) != size)
        png_error(png, "out of memory");
}

static void flush_nothing(png_structp png)
{
    (void)png;
}

static void silent(png_structp png, png_const_charp message)
{
    (void)png;
    (void)message;
}

static void give_up(png_structp png, png_const_charp message)
{
    (void)message;
    png_longjmp(png, 1);
}

/* Between setjmp and longjmp: nothing here owns memory. */
static bool write_png(png_structp png, png_infop info, const struct picture *picture, const struct remarks *remarks)
{
    png_text text[3] = { { .key = (char *)"Title", .text = (char *)remarks->title },
                         { .key = (char *)"Comment", .text = (char *)remarks->made_by },
                         { .key = (char *)"Description", .text = (char *)remarks->summary } };
    if (setjmp(png_jmpbuf(png)))
        return false;
    png_set_IHDR(png, info, (png_uint_32)picture->width, (png_uint_32)picture->height, 8, PNG_COLOR_TYPE_RGB,
                 PNG_INTERLACE_NONE, PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
    for (int i = 0; i < 3; i++) {
        text[i].compression = PNG_ITXT_COMPRESSION_NONE;
        if (*text[i].text)
            png_set_text(png, info, &text[i], 1);
    }
    png_write_info(png, info);
    for (int y = 0; y < picture->height; y++)
        png_write_row(png, picture->rgb + 3 * (size_t)y * (size_t)picture->width);
    png_write_end(png, NULL);
    return true;
}

enum dw_status picture_png(const struct picture *picture, const struct remarks *remarks, char **bytes, size_t *size,
                           struct dw_error *error)
{
    char *made = NULL;
    size_t made_size = 0;
    FILE *out = open_memstream(&made, &made_size);
    png_structp png = out ? png_create_write_struct(PNG_LIBPNG_VER_STRING, NULL, give_up, silent) : NULL;
    png_infop info = png ? png_create_info_struct(png) : NULL;
    bool whole = info != NULL;
    if (whole) {
        png_set_write_fn(png, out, write_to_stream, flush_nothing);
        whole = write_png(png, info, picture, remarks);
    }
    png_destroy_write_struct(&png, &info);
    whole = out && !ferror(out) && whole;
    whole = out && !fclose(out) && made && whole;
    if (!whole) {
        free(made);
        return dw_no_memory(error);
    }
    *bytes = made;
    *size = made_size;
    return DW_OK;
}

/* ---- GIF ---- */

/* Paints runs of equal pixels; the white ones are there already. */
static void paint_picture(plPlotter *plotter, const struct picture *picture)
{
    for (int y = 0; y < picture->height; y++) {
        const unsigned char *row = picture->rgb + 3 * (size_t)y * (size_t)picture->width;
        const double level = picture->height - y - 0.5;
        for (int x = 0, end; x < picture->width; x = end) {
            const unsigned char *pixel = row + 3 * x;
            for (end = x + 1; end < picture->width && !memcmp(pixel, row + 3 * end, 3);)
                end++;
            if (pixel[0] == 255 && pixel[1] == 255 && pixel[2] == 255)
                continue;
            pl_pencolor_r(plotter, pixel[0] * 257, pixel[1] * 257, pixel[2] * 257);
            if (end == x + 1) {
                pl_fpoint_r(plotter, x + 0.5, level);
                continue;
            }
            pl_fline_r(plotter, x + 0.5, level, end - 0.5, level);
            pl_endpath_r(plotter);
        }
    }
}

static bool set_gif_params(plPlotterParams *params, int width, int height, size_t count, double seconds)
{
    char pixels[64], delay[16];
    snprintf(pixels, sizeof pixels, "%dx%d", width, height);
    snprintf(delay, sizeof delay, "%d", (int)fmin(fmax(round(100 * seconds), 1), 65535));
    return pl_setplparam(params, "BITMAPSIZE", pixels) == 0
        && (count < 2 || (pl_setplparam(params, "GIF_DELAY", delay) == 0
                          && pl_setplparam(params, "GIF_ITERATIONS", "65535") == 0));
}

/* GIF89a's comment extension: blocks of up to 255 bytes before the trailer. */
static bool add_comment(char **bytes, size_t *size, const char *text)
{
    const size_t length = strlen(text), blocks = (length + 254) / 255;
    char *longer = realloc(*bytes, *size + length + blocks + 3);
    if (!longer)
        return false;
    char *to = longer + *size - 1; /* over the trailer */
    *to++ = 0x21;
    *to++ = (char)0xfe;
    for (size_t done = 0; done < length; done += 255) {
        const size_t block = length - done < 255 ? length - done : 255;
        *to++ = (char)block;
        memcpy(to, text + done, block);
        to += block;
    }
    *to++ = 0;
    *to++ = 0x3b;
    memcpy(longer, "GIF89a", 6); /* a single picture is of the older version, which has no comments */
    *bytes = longer;
    *size = (size_t)(to - longer);
    return true;
}

struct gif {
    plPlotter *plotter;
    plPlotterParams *params;
    FILE *stream;
    char *bytes;
    size_t size;
};

void gif_free(struct gif *gif)
{
    if (!gif)
        return;
    if (gif->plotter)
        pl_deletepl_r(gif->plotter);
    if (gif->params)
        pl_deleteplparams(gif->params);
    if (gif->stream)
        fclose(gif->stream);
    free(gif->bytes);
    free(gif);
}

struct gif *gif_new(int width, int height, size_t pictures, double seconds, struct dw_error *error)
{
    struct gif *gif = calloc(1, sizeof *gif);
    bool whole = gif && (gif->stream = open_memstream(&gif->bytes, &gif->size)) && (gif->params = pl_newplparams())
              && set_gif_params(gif->params, width, height, pictures, seconds)
              && (gif->plotter = pl_newpl_r("gif", NULL, gif->stream, NULL, gif->params))
              && pl_openpl_r(gif->plotter) >= 0;
    if (whole) {
        pl_fspace_r(gif->plotter, 0, 0, width, height);
        pl_flinewidth_r(gif->plotter, 0);
        return gif;
    }
    dw_no_memory(error);
    gif_free(gif);
    return NULL;
}

enum dw_status gif_add(struct gif *gif, struct picture *picture, struct dw_error *error)
{
    const enum dw_status status = picture_limit_colours(picture, 255, error); /* white is the 256th */
    if (status != DW_OK)
        return status;
    pl_bgcolor_r(gif->plotter, 0xffff, 0xffff, 0xffff);
    pl_erase_r(gif->plotter); /* begins a new picture of the file */
    paint_picture(gif->plotter, picture);
    return DW_OK;
}

enum dw_status gif_finish(struct gif *gif, const struct remarks *remarks, char **bytes, size_t *size,
                          struct dw_error *error)
{
    const bool closed = pl_closepl_r(gif->plotter) >= 0;
    pl_deletepl_r(gif->plotter);
    gif->plotter = NULL;
    const bool failed = ferror(gif->stream), ended = !fclose(gif->stream);
    gif->stream = NULL;
    if (!closed || failed || !ended || gif->size < 13 || !add_comment(&gif->bytes, &gif->size, remarks->made_by))
        return dw_no_memory(error);
    *bytes = gif->bytes;
    *size = gif->size;
    gif->bytes = NULL;
    return DW_OK;
}
