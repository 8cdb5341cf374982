/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "canvas.h"
#include "text.h"
#include <stdio.h>
#include <plot.h> /* needs FILE */
#include <stdlib.h>
#include <string.h>

#ifdef __has_feature /* clang's way to ask */
#if __has_feature(address_sanitizer) && !defined(__SANITIZE_ADDRESS__)
#define __SANITIZE_ADDRESS__ 1
#endif
#endif
#ifdef __SANITIZE_ADDRESS__
/* libplot 2.6 never gives back the parameters of a plotter, some 150 bytes each. */
__attribute__((visibility("default"))) const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void)
{
    return "leak:libplot.so\n";
}
__attribute__((visibility("default"))) const char *__lsan_default_options(void);
const char *__lsan_default_options(void)
{
    return "print_suppressions=0";
}
#endif

struct canvas {
    enum medium medium;
    plPlotter *plotter;
    plPlotterParams *params;
    FILE *stream, *letters;  /* of SVG, letters are our own: libplot's are strokes, or in a font of signs that no search finds */
    char *bytes, *words;
    size_t size, word_size;
    int height;
};

static bool set_params(struct canvas *canvas, int width, int height, int scale)
{
    char pixels[64], page[96];
    /* the page fits into the text area of A4 */
    const double shrink = width * 25.0 > height * 17.0 ? 17.0 / width : 25.0 / height;
    snprintf(pixels, sizeof pixels, "%dx%d", width * scale, height * scale);
    snprintf(page, sizeof page, "a4,xsize=%.4fcm,ysize=%.4fcm", width * shrink, height * shrink);
    canvas->params = pl_newplparams();
    return canvas->params && pl_setplparam(canvas->params, "BITMAPSIZE", pixels) == 0
        && pl_setplparam(canvas->params, "PAGESIZE", page) == 0
        && pl_setplparam(canvas->params, "MAX_LINE_LENGTH", "1000000000") == 0;
}

static void paper(struct canvas *canvas, int width, int height)
{
    pl_fspace_r(canvas->plotter, 0, 0, width, height);
    pl_bgcolor_r(canvas->plotter, 0xffff, 0xffff, 0xffff);
    pl_erase_r(canvas->plotter);
    pl_joinmod_r(canvas->plotter, "round");
    pl_ffontname_r(canvas->plotter, "HersheySans");
    if (canvas->medium == MEDIUM_PS) { /* the bounding box is that of what was drawn, and margins belong to it */
        const double corners[4][2] = { { 0, 0 }, { width, 0 }, { width, height }, { 0, height } };
        canvas_pen(canvas, PAPER, 0);
        canvas_area(canvas, corners, 4);
    }
}

struct canvas *canvas_new(enum medium medium, int width, int height, int scale, struct dw_error *error)
{
    static const char *const types[] = { "svg", "ps", "pnm" };
    struct canvas *canvas = calloc(1, sizeof *canvas);
    if (!canvas)
        goto no_memory;
    canvas->medium = medium;
    canvas->height = height;
    canvas->stream = open_memstream(&canvas->bytes, &canvas->size);
    if (medium == MEDIUM_SVG && !(canvas->letters = open_memstream(&canvas->words, &canvas->word_size)))
        goto no_memory;
    if (!canvas->stream || !set_params(canvas, width, height, scale))
        goto no_memory;
    canvas->plotter = pl_newpl_r(types[medium], NULL, canvas->stream, NULL, canvas->params);
    if (!canvas->plotter || pl_openpl_r(canvas->plotter) < 0) {
        dw_error_set(error, DW_SYSTEM, 0, "the drawing library (libplot) does not start");
        canvas_free(canvas);
        return NULL;
    }
    paper(canvas, width, height);
    return canvas;
no_memory:
    dw_no_memory(error);
    canvas_free(canvas);
    return NULL;
}

void canvas_free(struct canvas *canvas)
{
    if (!canvas)
        return;
    if (canvas->plotter)
        pl_deletepl_r(canvas->plotter);
    if (canvas->params)
        pl_deleteplparams(canvas->params);
    if (canvas->stream)
        fclose(canvas->stream);
    if (canvas->letters)
        fclose(canvas->letters);
    free(canvas->bytes);
    free(canvas->words);
    free(canvas);
}

/* Puts the letters before the end of libplot's SVG. */
static enum dw_status add_letters(struct canvas *canvas, struct dw_error *error)
{
    static const char end[] = "</svg>\n", family[] = "<g font-family=\"Helvetica, Arial, 'Liberation Sans', sans-serif\" fill=\"#%06x\">\n";
    const bool failed = ferror(canvas->letters);
    const int ended = fclose(canvas->letters);
    canvas->letters = NULL;
    char *last = failed || ended || !canvas->words ? NULL : strstr(canvas->bytes, end);
    char *whole = last ? malloc(canvas->size + canvas->word_size + sizeof family + 64) : NULL;
    if (!whole)
        return dw_no_memory(error);
    memcpy(whole, canvas->bytes, (size_t)(last - canvas->bytes));
    char *at = whole + (last - canvas->bytes);
    at += sprintf(at, family, (unsigned)INK);
    at += sprintf(at, "%s</g>\n%s", canvas->words, end);
    free(canvas->bytes);
    canvas->bytes = whole;
    canvas->size = (size_t)(at - whole);
    return DW_OK;
}

enum dw_status canvas_finish(struct canvas *canvas, char **bytes, size_t *size, struct dw_error *error)
{
    const int closed = pl_closepl_r(canvas->plotter);
    pl_deletepl_r(canvas->plotter);
    canvas->plotter = NULL;
    const bool failed = ferror(canvas->stream);
    const int ended = fclose(canvas->stream);
    canvas->stream = NULL;
    if (failed || ended || !canvas->bytes)
        return dw_no_memory(error);
    if (closed < 0)
        return dw_error_set(error, DW_SYSTEM, 0, "the drawing library (libplot) does not end the page");
    if (canvas->letters && add_letters(canvas, error) != DW_OK)
        return error->status;
    *bytes = canvas->bytes;
    *size = canvas->size;
    canvas->bytes = NULL;
    return DW_OK;
}

/* ---- pens ---- */

void canvas_pen(struct canvas *canvas, unsigned colour, double width)
{
    const int red = (int)(colour >> 16) * 257, green = (int)(colour >> 8 & 0xff) * 257, blue = (int)(colour & 0xff) * 257;
    pl_pencolor_r(canvas->plotter, red, green, blue);
    pl_fillcolor_r(canvas->plotter, red, green, blue);
    pl_flinewidth_r(canvas->plotter, width);
    pl_capmod_r(canvas->plotter, "round");
    canvas_dash(canvas, 0, 1);
}

void canvas_dash(struct canvas *canvas, int dash, double unit)
{
    static const double patterns[][4] = { { 0 }, { 4, 1.5 }, { 1.5, 1.5 }, { 4, 1.5, 1, 1.5 } };
    static const int lengths[] = { 0, 2, 2, 4 };
    double scaled[4];
    for (int i = 0; i < lengths[dash]; i++)
        scaled[i] = unit * patterns[dash][i];
    if (!dash) {
        pl_linemod_r(canvas->plotter, "solid");
        return;
    }
    pl_capmod_r(canvas->plotter, "butt");
    pl_flinedash_r(canvas->plotter, lengths[dash], scaled, 0);
}

/* ---- strokes ---- */

void canvas_move(struct canvas *canvas, double x, double y)
{
    pl_filltype_r(canvas->plotter, 0);
    pl_fmove_r(canvas->plotter, x, y);
}

void canvas_draw(struct canvas *canvas, double x, double y)
{
    pl_fcont_r(canvas->plotter, x, y);
}

void canvas_curve(struct canvas *canvas, const double point[4][2])
{
    pl_fbezier3_r(canvas->plotter, point[0][0], point[0][1], point[1][0], point[1][1], point[2][0], point[2][1], point[3][0], point[3][1]);
}

void canvas_stroke(struct canvas *canvas)
{
    pl_endpath_r(canvas->plotter);
}

void canvas_line(struct canvas *canvas, double x0, double y0, double x1, double y1)
{
    canvas_move(canvas, x0, y0);
    canvas_draw(canvas, x1, y1);
    canvas_stroke(canvas);
}

/* ---- areas ---- */

void canvas_area(struct canvas *canvas, const double (*points)[2], size_t count)
{
    pl_filltype_r(canvas->plotter, 1);
    pl_pentype_r(canvas->plotter, 0);
    pl_fmove_r(canvas->plotter, points[0][0], points[0][1]);
    for (size_t i = 1; i < count; i++)
        pl_fcont_r(canvas->plotter, points[i][0], points[i][1]);
    pl_closepath_r(canvas->plotter);
    pl_endpath_r(canvas->plotter);
    pl_pentype_r(canvas->plotter, 1);
    pl_filltype_r(canvas->plotter, 0);
}

void canvas_disc(struct canvas *canvas, double x, double y, double radius)
{
    pl_filltype_r(canvas->plotter, 1);
    pl_pentype_r(canvas->plotter, 0);
    pl_fcircle_r(canvas->plotter, x, y, radius);
    pl_pentype_r(canvas->plotter, 1);
    pl_filltype_r(canvas->plotter, 0);
}

/* ---- text ---- */

/* libplot's stroke font is as wide as the widest of what viewers take for the family, so that what it measures has room. */
static void put_letters(struct canvas *canvas, double x, double y, struct lettering how, const char *text)
{
    static const char *const anchors[] = { "start", "middle", "end" };
    char letters[TEXT_LENGTH];
    text_for_xml(letters, sizeof letters, text);
    if (*text)
        fprintf(canvas->letters, "<text x=\"%.2f\" y=\"%.2f\" text-anchor=\"%s\" font-size=\"%.4g\"%s>%s</text>\n", x,
                canvas->height - y + 0.36 * how.size, anchors[how.side], how.size, how.weight == TEXT_STRONG ? " font-weight=\"bold\"" : "", letters);
}

void canvas_text(struct canvas *canvas, double x, double y, struct lettering how, const char *text)
{
    static const int sides[] = { 'l', 'c', 'r' };
    static const int offset[][2] = { { 0, 0 }, { -1, -1 }, { 1, -1 }, { -1, 1 }, { 1, 1 } };
    const bool strong = how.weight == TEXT_STRONG;
    char strokes[TEXT_LENGTH];
    if (canvas->letters) {
        put_letters(canvas, x, y, how, text);
        return;
    }
    /* several times, a little apart: no other font of libplot has the ohm sign and thicker lines */
    const double apart = ((strong ? TEXT_THICKNESS_STRONG : TEXT_THICKNESS_PLAIN) - TEXT_THICKNESS_FONT) * how.size / 2;
    text_for_strokes(strokes, sizeof strokes, text);
    canvas_pen(canvas, INK, 0);
    pl_ffontsize_r(canvas->plotter, how.size);
    for (int i = !strong; i < 5; i++) {
        pl_fmove_r(canvas->plotter, x + offset[i][0] * apart, y - 0.33 * how.size + offset[i][1] * apart);
        pl_alabel_r(canvas->plotter, sides[how.side], 'x', strokes);
    }
}

double canvas_text_width(struct canvas *canvas, double size, const char *text)
{
    char strokes[TEXT_LENGTH];
    text_for_strokes(strokes, sizeof strokes, text);
    pl_ffontsize_r(canvas->plotter, size);
    return pl_flabelwidth_r(canvas->plotter, strokes);
}

/* ---- colours ---- */

struct look palette_look(size_t i)
{
    static const unsigned colours[COLOURS] = {
        0x0072b2, /* blue */
        0xd55e00, /* vermillion */
        0x009e73, /* bluish green */
        0xcc79a7, /* reddish purple */
        0xe69f00, /* orange */
        0x56b4e9, /* sky blue */
        0x000000,
    };
    i %= LOOKS;
    return (struct look){ colours[i % COLOURS], (int)(i / COLOURS), (enum mark)(i % MARKS) };
}

unsigned palette_tint(unsigned colour, double share)
{
    unsigned tint = 0;
    for (int shift = 0; shift <= 16; shift += 8) {
        const double part = colour >> shift & 0xff, paper = PAPER >> shift & 0xff;
        tint |= (unsigned)(paper + share * (part - paper) + 0.5) << shift;
    }
    return tint;
}
