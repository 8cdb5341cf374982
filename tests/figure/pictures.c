/* SPDX-License-Identifier: GPL-3.0-or-later */
#define _GNU_SOURCE /* memmem */
#include "figure/curve.h"
#include "figure/figure.h"
#include "figure/document.h"
#include "suite.h"
#include <gsl/gsl_rng.h>
#include <png.h>
#include <stdlib.h>
#include <string.h>

static const struct remarks no_remarks = { "", "", "" };

/* ---- clipping ---- */

START_TEST(a_clipped_line_is_the_part_inside)
{
    const struct box box = { -1, 3, 2, 4 };
    gsl_rng *random = gsl_rng_alloc(gsl_rng_taus);
    gsl_rng_set(random, 8);
    for (int i = 0; i < 20000; i++) {
        const double x0 = 8 * gsl_rng_uniform(random) - 3, y0 = 8 * gsl_rng_uniform(random) - 1;
        const double x1 = i % 7 ? 8 * gsl_rng_uniform(random) - 3 : x0, y1 = i % 5 ? 8 * gsl_rng_uniform(random) - 1 : y0;
        double a = x0, b = y0, c = x1, d = y1;
        const bool any = line_clip(&box, &a, &b, &c, &d);
        /* walk along the line: what is inside by more than a rounding is there, the rest is not */
        for (int k = 0; k <= 50; k++) {
            const double x = x0 + (x1 - x0) * k / 50, y = y0 + (y1 - y0) * k / 50, slack = 1e-9;
            const bool inside = x > box.left + slack && x < box.right - slack && y > box.bottom + slack && y < box.top - slack;
            const bool outside = x < box.left - slack || x > box.right + slack || y < box.bottom - slack || y > box.top + slack;
            const bool kept = any && x >= fmin(a, c) - slack && x <= fmax(a, c) + slack && y >= fmin(b, d) - slack
                           && y <= fmax(b, d) + slack;
            ck_assert(!(inside && !kept) && !(outside && kept));
        }
    }
    gsl_rng_free(random);
}
END_TEST

/* ---- what is painted ---- */

enum { WIDTH = 400, HEIGHT = 200, MOST_ROWS = 60000 };

/* Paints rows as one line, through a reduction to so many strips. */
static struct picture paint(const double (*rows)[2], size_t count, size_t strips)
{
    struct dw_error error = { .text = "" };
    struct canvas *canvas = canvas_new(MEDIUM_PIXELS, WIDTH, HEIGHT, 1, &error);
    struct reduction *reduction = reduction_new(1, strips, &error);
    struct picture picture = { 0 };
    char *pnm;
    size_t size;
    ck_assert(canvas && reduction);
    for (size_t i = 0; i < count; i++)
        succeeds(reduction_add(reduction, rows[i][0], &rows[i][1], NULL, &error), error);
    const struct axis x = { rows[0][0], rows[count - 1][0], false, "s", { 0 } }, y = { -1.2, 1.2, false, "V", { 0 } };
    const struct trace trace = { "out", reduction, 0, TRACE_LINES, 0, false, 0 };
    const struct frame frame = { canvas, { 10, WIDTH - 10, 10, HEIGHT - 10 }, &x, &y, 1, 20 };
    struct bands bands;
    succeeds(bands_find(&bands, &frame, &trace, &error), error);
    bands_shade(&bands, &frame, &trace);
    curve_draw(&frame, &trace, &bands);
    bands_free(&bands);
    succeeds(canvas_finish(canvas, &pnm, &size, &error), error);
    succeeds(picture_reduce(&picture, pnm, size, 1, &error), error);
    free(pnm);
    canvas_free(canvas);
    reduction_free(reduction);
    return picture;
}

static bool inked(const struct picture *picture, int x, int y)
{
    return x >= 0 && x < WIDTH && y >= 0 && y < HEIGHT && picture->rgb[3 * (y * WIDTH + x)] < 200; /* a band's tint, too */
}

/* Pixels inked in one picture with no ink within one pixel in the other. */
static int inked_alone(const struct picture *one, const struct picture *other)
{
    int alone = 0;
    for (int y = 0; y < HEIGHT; y++)
        for (int x = 0; x < WIDTH; x++) {
            bool near_it = false;
            for (int k = 0; k < 9; k++)
                near_it = near_it || inked(other, x + k % 3 - 1, y + k / 3 - 1);
            alone += inked(one, x, y) && !near_it;
        }
    return alone;
}

static void make_rows(double (*rows)[2], size_t count, int kind, gsl_rng *random)
{
    double x = 5;
    for (size_t i = 0; i < count; i++) {
        const double share = (double)i / (double)count;
        rows[i][0] = x;
        x += gsl_rng_uniform(random) < 0.1 && kind != 3 ? 0 : gsl_rng_uniform_pos(random);
        if (kind == 0) /* noise with lone spikes */
            rows[i][1] = 0.2 * gsl_rng_uniform(random) + (i % 4999 == 77 ? 0.9 : i % 7001 == 5 ? -1.1 : 0);
        else if (kind == 1) /* a pulse train becoming faster and faster */
            rows[i][1] = sin(1500 * share * share * share) > 0.3 ? 1 : -0.7;
        else if (kind == 2) /* slow, with one narrow dip */
            rows[i][1] = i == count / 3 ? -1 : sin(9 * share);
        else /* steep, many rows on a slope */
            rows[i][1] = i % (count / 4) > count / 8 ? 1 - 1.8 * (double)(i % (count / 8)) * 8 / (double)count : -0.8;
    }
}

START_TEST(a_reduced_table_paints_what_the_whole_one_paints)
{
    static double rows[MOST_ROWS][2];
    gsl_rng *random = gsl_rng_alloc(gsl_rng_taus);
    gsl_rng_set(random, 12);
    for (int kind = 0; kind < 4; kind++)
        for (size_t count = 300; count <= MOST_ROWS; count *= 14) {
            make_rows(rows, count, kind, random);
            struct picture whole = paint(rows, count, 2 * MOST_ROWS), reduced = paint(rows, count, 4 * WIDTH);
            ck_assert_msg(inked_alone(&whole, &reduced) == 0 && inked_alone(&reduced, &whole) == 0, "kind %d, %zu rows: %d, %d", kind, count,
                          inked_alone(&whole, &reduced), inked_alone(&reduced, &whole));
            picture_free(&whole);
            picture_free(&reduced);
        }
    gsl_rng_free(random);
}
END_TEST

START_TEST(edges_stay_upright_however_many_rows_are_flat)
{
    static double rows[MOST_ROWS][2];
    for (int i = 0; i < MOST_ROWS; i++) { /* 24 pulses, with two rows at each jump */
        const int piece = i / 1250;
        rows[i][0] = i % 1250 ? i : i - 1;
        rows[i][1] = piece % 2 ? 1 : -1;
    }
    struct picture whole = paint(rows, MOST_ROWS, 2 * MOST_ROWS), reduced = paint(rows, MOST_ROWS, 4 * WIDTH);
    ck_assert(!memcmp(whole.rgb, reduced.rgb, 3 * WIDTH * HEIGHT));
    picture_free(&whole);
    picture_free(&reduced);
}
END_TEST

/* The lone highest and lowest rows among very many must be seen where they are. */
START_TEST(one_row_of_many_is_still_seen)
{
    static double rows[MOST_ROWS][2];
    for (int i = 0; i < MOST_ROWS; i++) {
        rows[i][0] = i;
        rows[i][1] = i == 41000 ? 1 : i == 12345 ? -1 : 0;
    }
    struct picture picture = paint(rows, MOST_ROWS, 4 * WIDTH);
    const int up = 10 + (int)(41000.0 / (MOST_ROWS - 1) * (WIDTH - 20)), down = 10 + (int)(12345.0 / (MOST_ROWS - 1) * (WIDTH - 20));
    const int top = HEIGHT - 10 - (int)(2.2 / 2.4 * (HEIGHT - 20)), bottom = HEIGHT - 10 - (int)(0.2 / 2.4 * (HEIGHT - 20));
    bool seen_up = false, seen_down = false;
    for (int k = 0; k < 9; k++) {
        seen_up = seen_up || inked(&picture, up + k % 3 - 1, top + k / 3 - 1);
        seen_down = seen_down || inked(&picture, down + k % 3 - 1, bottom + k / 3 - 1);
    }
    ck_assert(seen_up && seen_down);
    picture_free(&picture);
}
END_TEST

/* ---- pictures ---- */

START_TEST(reducing_averages_every_kind_of_pnm)
{
    struct picture picture = { 0 };
    struct dw_error error;
    static const char colour[] = "P6\n# made\n4 2\n255\n"
                                 "\x00\x10\x20\x04\x10\x20\xff\xff\xff\xff\xff\xff"
                                 "\x08\x10\x20\x0c\x10\x21\xff\xff\xff\xff\xff\xfb";
    succeeds(picture_reduce(&picture, colour, sizeof colour - 1, 2, &error), error);
    ck_assert(picture.width == 2 && picture.height == 1);
    ck_assert(!memcmp(picture.rgb, "\x06\x10\x20\xff\xff\xfe", 6));
    picture_free(&picture);
    succeeds(picture_reduce(&picture, "P5 2 1 255\n\x07\xf0", 13, 1, &error), error);
    ck_assert(!memcmp(picture.rgb, "\x07\x07\x07\xf0\xf0\xf0", 6));
    picture_free(&picture);
    succeeds(picture_reduce(&picture, "P4 9 1\n\x55\x80", 9, 1, &error), error); /* bits; 1 is black */
    for (int x = 0; x < 9; x++)
        ck_assert_int_eq(picture.rgb[3 * x], x == 1 || x == 3 || x == 5 || x == 7 || x == 8 ? 0 : 255);
    picture_free(&picture);
}
END_TEST

START_TEST(what_is_no_pnm_is_refused)
{
    static const struct { const char *bytes; size_t size; } cases[] = {
        { "", 0 }, { "P6", 2 }, { "GIF89a", 6 }, { "P6 4 4 255\nabc", 14 }, { "P6 0 4 255\n", 11 }, { "P6 1 1 65535\nabcdef", 19 },
        { "P3 1 1 255\n1 2 3", 16 },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct picture picture = { 0 };
        struct dw_error error;
        refuses(picture_reduce(&picture, cases[i].bytes, cases[i].size, 1, &error), DW_SYSTEM, error,
                "the drawing library (libplot) wrote a picture of a form not known");
        ck_assert_ptr_null(picture.rgb);
    }
}
END_TEST

static struct picture random_picture(int width, int height, int colours, unsigned long seed)
{
    struct picture picture = { width, height, malloc(3 * (size_t)width * (size_t)height) };
    gsl_rng *random = gsl_rng_alloc(gsl_rng_taus);
    gsl_rng_set(random, seed);
    for (int i = 0; i < width * height; i++) {
        const unsigned kind = (unsigned)gsl_rng_uniform_int(random, (unsigned long)colours);
        picture.rgb[3 * i] = (unsigned char)(kind * 37);
        picture.rgb[3 * i + 1] = (unsigned char)(kind >> 8);
        picture.rgb[3 * i + 2] = (unsigned char)kind;
    }
    gsl_rng_free(random);
    return picture;
}

START_TEST(few_colours_are_not_touched_and_many_become_their_neighbours)
{
    struct dw_error error;
    struct picture picture = random_picture(61, 47, 200, 5), copy = random_picture(61, 47, 200, 5);
    succeeds(picture_limit_colours(&picture, 255, &error), error);
    ck_assert(!memcmp(picture.rgb, copy.rgb, 3 * 61 * 47));
    /* a thousand colours in greys, one of them in half of the picture */
    for (int i = 0; i < 61 * 47; i++)
        memcpy(&picture.rgb[3 * i], i % 2 ? "\x12\x34\x56" : (const char[]){ (char)(i % 250), (char)(i % 250), (char)(i % 247) }, 3);
    memcpy(copy.rgb, picture.rgb, 3 * 61 * 47);
    succeeds(picture_limit_colours(&picture, 16, &error), error);
    unsigned seen[61 * 47], colours = 0;
    for (int i = 0; i < 61 * 47; i++) {
        const unsigned colour = (unsigned)picture.rgb[3 * i] << 16 | (unsigned)picture.rgb[3 * i + 1] << 8 | picture.rgb[3 * i + 2];
        unsigned k = 0;
        while (k < colours && seen[k] != colour)
            k++;
        seen[k] = colour;
        colours += k == colours;
        ck_assert(i % 2 == 0 || colour == 0x123456);
    }
    ck_assert_uint_le(colours, 16);
    picture_free(&picture);
    picture_free(&copy);
}
END_TEST

START_TEST(a_png_file_gives_its_pixels_back)
{
    struct picture picture = random_picture(123, 45, 5000, 9);
    struct dw_error error;
    const struct remarks remarks = { "4.7 k\xce\xa9", "dw-pwm --duty 25%\ndw-plot", "pin against time" };
    char *bytes;
    size_t size;
    succeeds(picture_png(&picture, &remarks, &bytes, &size, &error), error);
    png_image image = { .version = PNG_IMAGE_VERSION };
    ck_assert(png_image_begin_read_from_memory(&image, bytes, size));
    ck_assert(image.width == 123 && image.height == 45);
    image.format = PNG_FORMAT_RGB;
    unsigned char *back = malloc(PNG_IMAGE_SIZE(image));
    ck_assert(back && png_image_finish_read(&image, NULL, back, 0, NULL));
    ck_assert(!memcmp(back, picture.rgb, PNG_IMAGE_SIZE(image)));
    ck_assert_ptr_nonnull(memmem(bytes, size, "dw-pwm --duty 25%", 17));
    free(back);
    free(bytes);
    picture_free(&picture);
}
END_TEST

/* ---- GIF, read by the letter of its specification (CompuServe, GIF89a, 1990) ---- */

struct gif_reader {
    const unsigned char *at, *end;
    int pictures, delay;
    bool endless;
    unsigned char rgb[4][3 * 64 * 48];
};

/* LZW with codes of variable size; gives the pixels of one picture. */
static void read_pixels(struct gif_reader *gif, const unsigned char *colours, unsigned char *rgb, int pixels)
{
    static unsigned short prefix[4096];
    static unsigned char suffix[4096], stack[4097];
    const int least = *gif->at++, clear = 1 << least;
    int size = least + 1, next = clear + 2, before = -1, first = 0, done = 0;
    unsigned bits = 0, held = 0;
    bool ended = false;
    for (int left = *gif->at++; left; left = *gif->at++)
        for (; left; left--) {
            held |= (unsigned)*gif->at++ << bits;
            for (bits += 8; bits >= (unsigned)size && !ended;) {
                int code = (int)(held & ((1u << size) - 1)), depth = 0;
                const int got = code;
                held >>= size;
                bits -= (unsigned)size;
                if (code == clear) {
                    size = least + 1;
                    next = clear + 2;
                    before = -1;
                    continue;
                }
                if ((ended = code == clear + 1))
                    continue;
                if (code >= next)
                    stack[depth++] = (unsigned char)first, code = before;
                for (; code >= clear; code = prefix[code])
                    stack[depth++] = suffix[code];
                stack[depth++] = (unsigned char)(first = code);
                if (before >= 0 && next < 4096) {
                    prefix[next] = (unsigned short)before;
                    suffix[next++] = (unsigned char)first;
                    size += next == 1 << size && size < 12;
                }
                before = got;
                ck_assert_int_le(done + depth, pixels);
                while (depth)
                    memcpy(rgb + 3 * done++, colours + 3 * stack[--depth], 3);
            }
        }
    ck_assert(ended && done == pixels);
}

static void read_gif(struct gif_reader *gif, const char *bytes, size_t size)
{
    const unsigned char *colours = NULL;
    gif->at = (const unsigned char *)bytes;
    gif->end = gif->at + size;
    ck_assert(size > 13 && !memcmp(bytes, "GIF89a", 6));
    const int flags = gif->at[10], width = gif->at[6] | gif->at[7] << 8, height = gif->at[8] | gif->at[9] << 8;
    ck_assert(width == 64 && height == 48);
    gif->at += 13;
    if (flags & 0x80) {
        colours = gif->at;
        gif->at += 3 << ((flags & 7) + 1);
    }
    while (gif->at < gif->end && *gif->at != 0x3b) {
        if (*gif->at == 0x21) {
            gif->endless = gif->endless || (gif->at[1] == 0xff && !memcmp(gif->at + 3, "NETSCAPE2.0", 11));
            if (gif->at[1] == 0xf9)
                gif->delay = gif->at[4] | gif->at[5] << 8;
            for (gif->at += 2; *gif->at; gif->at += *gif->at + 1)
                continue;
            gif->at++;
            continue;
        }
        ck_assert_int_eq(*gif->at, 0x2c);
        const int local = gif->at[9];
        const unsigned char *own = gif->at + 10;
        ck_assert(!(local & 0x40) && gif->pictures < 4); /* not interlaced */
        gif->at = own + (local & 0x80 ? 3 << ((local & 7) + 1) : 0);
        read_pixels(gif, local & 0x80 ? own : colours, gif->rgb[gif->pictures++], width * height);
    }
    ck_assert(gif->at + 1 == gif->end);
}

START_TEST(a_gif_file_gives_its_pictures_back)
{
    static struct gif_reader reader;
    for (int count = 1; count <= 3; count += 2) {
        struct dw_error error;
        struct gif *gif = gif_new(64, 48, (size_t)count, 0.37, &error);
        struct picture picture[3];
        const struct remarks remarks = { "", "dw-plot --frames: a comment of more than 255 bytes has blocks. 0123456789 0123456789 "
                                             "0123456789 0123456789 0123456789 0123456789 0123456789 0123456789 0123456789 0123456789 "
                                             "0123456789 0123456789 0123456789 0123456789 0123456789 0123456789 0123456789", "" };
        char *bytes;
        size_t size;
        ck_assert_ptr_nonnull(gif);
        for (int i = 0; i < count; i++) {
            picture[i] = random_picture(64, 48, i == 0 ? 2 : i == 1 ? 250 : 4000, (unsigned long)i + 30);
            succeeds(gif_add(gif, &picture[i], &error), error);
        }
        succeeds(gif_finish(gif, &remarks, &bytes, &size, &error), error);
        memset(&reader, 0, sizeof reader);
        read_gif(&reader, bytes, size);
        ck_assert_int_eq(reader.pictures, count);
        ck_assert(reader.endless == (count > 1));
        if (count > 1)
            ck_assert_int_eq(reader.delay, 37);
        for (int i = 0; i < count; i++) {
            ck_assert(!memcmp(reader.rgb[i], picture[i].rgb, 3 * 64 * 48)); /* the colours it was limited to */
            picture_free(&picture[i]);
        }
        gif_free(gif);
        free(bytes);
    }
}
END_TEST

/* ---- whole figures ---- */

START_TEST(the_same_figure_begins_with_the_magic_of_each_type)
{
    static const struct { enum figure_type type; const char *magic; } cases[] = {
        { FIGURE_SVG, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg " }, { FIGURE_PNG, "\x89PNG\r\n\x1a\n" },
        { FIGURE_PS, "%!PS-Adobe-3.0 EPSF-3.0\n" }, { FIGURE_GIF, "GIF89a" }, { FIGURE_TEXT, "Title\n" },
    };
    struct dw_error error;
    struct reduction *rows = reduction_new(1, 1000, &error);
    for (int i = 0; i < 100; i++) {
        const double y = sin(0.1 * i);
        succeeds(reduction_add(rows, i, &y, NULL, &error), error);
    }
    struct trace trace = { "out", rows, 0, TRACE_LINES, 0, true, 0.25 };
    struct panel panel = { "", 0, { -1, 1, false, "V", { 0 } }, &trace, 1 };
    const struct sheet sheet = { "Title", "", "time", { 0, 99, false, "s", { 0 } }, &panel, 1 };
    const struct figure figure = { &sheet, 1, &no_remarks };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct figure_form form = { .type = cases[i].type, .width = 320, .height = 200, .seconds = 0.1 };
        char *bytes;
        size_t size;
        succeeds(figure_render(&figure, &form, &bytes, &size, &error), error);
        ck_assert(size > strlen(cases[i].magic) && !memcmp(bytes, cases[i].magic, strlen(cases[i].magic)));
        free(bytes);
    }
    reduction_free(rows);
}
END_TEST

START_TEST(a_page_too_small_says_what_would_do)
{
    struct dw_error error;
    struct reduction *rows = reduction_new(1, 1000, &error);
    succeeds(reduction_add(rows, 0, &(double){ 1 }, NULL, &error), error);
    struct trace trace = { "out", rows, 0, TRACE_LINES, 0, false, 0 };
    struct panel panel = { "", 0, { -1, 1, false, "V", { 0 } }, &trace, 1 };
    const struct sheet sheet = { "", "", "time", { 0, 99, false, "s", { 0 } }, &panel, 1 };
    const struct figure figure = { &sheet, 1, &no_remarks };
    struct figure_form form = { .type = FIGURE_SVG, .width = 100, .height = 80, .font = 20 };
    char *bytes = NULL;
    size_t size;
    int width = 0, height = 0;
    ck_assert_int_eq(figure_render(&figure, &form, &bytes, &size, &error), DW_BAD_USE);
    /* NOLINTNEXTLINE(cert-err34-c): a number that does not fit fails the next demand */
    ck_assert_int_eq(sscanf(error.text, "100x80 pixels are too few for 1 panel with letters of 20; %dx%d would do", &width, &height), 2);
    ck_assert_ptr_null(bytes);
    form.width = width;
    form.height = height;
    succeeds(figure_render(&figure, &form, &bytes, &size, &error), error);
    free(bytes);
    form.type = FIGURE_TEXT;
    form.width = 39;
    refuses(figure_render(&figure, &form, &bytes, &size, &error), DW_BAD_USE, error,
            "39 columns are too few; 40 would do");
    reduction_free(rows);
}
END_TEST

SUITE("figure: pictures", a_clipped_line_is_the_part_inside, a_reduced_table_paints_what_the_whole_one_paints,
      edges_stay_upright_however_many_rows_are_flat, one_row_of_many_is_still_seen, reducing_averages_every_kind_of_pnm,
      what_is_no_pnm_is_refused, few_colours_are_not_touched_and_many_become_their_neighbours,
      a_png_file_gives_its_pixels_back, a_gif_file_gives_its_pictures_back,
      the_same_figure_begins_with_the_magic_of_each_type, a_page_too_small_says_what_would_do)
