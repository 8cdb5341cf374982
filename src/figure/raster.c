/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "document.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Colours that are counted one by one; more than a figure of lines and letters has. */
enum { COUNTED_BITS = 16, COUNTED = 1 << COUNTED_BITS };

void picture_free(struct picture *picture)
{
    free(picture->rgb);
    picture->rgb = NULL;
}

/* ---- reducing ---- */

/* The next number of a PNM header; -1 where there is none. */
static long header_number(const char **at, const char *end)
{
    while (*at < end && (**at == '#' || strchr(" \n\r\t", **at)))
        if (*(*at)++ == '#')
            while (*at < end && **at != '\n')
                ++*at;
    long number = *at < end && **at >= '0' && **at <= '9' ? 0 : -1;
    while (*at < end && **at >= '0' && **at <= '9' && number < 1000000)
        number = 10 * number + *(*at)++ - '0';
    return number;
}

/* libplot writes a picture without colours as grey (P5) and one without greys as bits (P4), most significant first. */
static int pixel_value(const unsigned char *pixels, char kind, long row, long column, long width, int channel)
{
    switch (kind) {
    case '6': return pixels[3 * (row * width + column) + channel];
    case '5': return pixels[row * width + column];
    default: return pixels[row * ((width + 7) / 8) + column / 8] >> (7 - column % 8) & 1 ? 0 : 255;
    }
}

enum dw_status picture_reduce(struct picture *picture, const char *pnm, size_t size, int scale, struct dw_error *error)
{
    const char *at = pnm + 2, *end = pnm + size;
    const char kind = size > 2 && *pnm == 'P' ? pnm[1] : '?';
    const long width = size > 2 ? header_number(&at, end) : -1, height = size > 2 ? header_number(&at, end) : -1;
    const long most = kind == '4' ? 255 : size > 2 ? header_number(&at, end) : -1;
    const size_t row = kind == '6' ? 3 * (size_t)width : kind == '5' ? (size_t)width : ((size_t)width + 7) / 8;
    if (kind < '4' || kind > '6' || width < scale || height < scale || most != 255
        || (size_t)(end - at) < 1 + row * (size_t)height)
        return dw_error_set(error, DW_SYSTEM, 0, "the drawing library (libplot) wrote a picture of a form not known");
    const unsigned char *pixels = (const unsigned char *)at + 1;
    picture->width = (int)width / scale;
    picture->height = (int)height / scale;
    picture->rgb = malloc(3 * (size_t)picture->width * (size_t)picture->height);
    if (!picture->rgb)
        return dw_no_memory(error);
    for (int y = 0; y < picture->height; y++)
        for (int x = 0; x < picture->width; x++)
            for (int channel = 0; channel < 3; channel++) {
                int sum = scale * scale / 2;
                for (int i = 0; i < scale * scale; i++)
                    sum += pixel_value(pixels, kind, y * scale + i / scale, x * scale + i % scale, width, channel);
                picture->rgb[3 * ((size_t)y * (size_t)picture->width + (size_t)x) + (size_t)channel]
                    = (unsigned char)(sum / (scale * scale));
            }
    return DW_OK;
}

/* ---- fewer colours ---- */

struct entry {
    unsigned colour, count, becomes;
};

static unsigned colour_at(const unsigned char *rgb)
{
    return (unsigned)rgb[0] << 16 | (unsigned)rgb[1] << 8 | rgb[2];
}

/* The place of a colour in the table: its own, or a free one; NULL where the table is too full. */
static struct entry *find(struct entry *table, unsigned colour, unsigned *filled)
{
    unsigned place = colour * 2654435761u >> (32 - COUNTED_BITS); /* Fibonacci hashing: Knuth, vol. 3, 6.4 */
    while (table[place].count && table[place].colour != colour)
        place = (place + 1) & (COUNTED - 1);
    if (!table[place].count) {
        if (*filled >= COUNTED / 2)
            return NULL;
        ++*filled;
        table[place].colour = colour;
    }
    return &table[place];
}

static int more_frequent(const void *a, const void *b)
{
    const struct entry *one = *(struct entry *const *)a, *other = *(struct entry *const *)b;
    if (one->count != other->count)
        return one->count > other->count ? -1 : 1;
    return one->colour < other->colour ? -1 : one->colour > other->colour;
}

static int distance(unsigned one, unsigned other)
{
    int sum = 0;
    for (int shift = 0; shift < 24; shift += 8) {
        const int apart = (int)(one >> shift & 0xff) - (int)(other >> shift & 0xff);
        sum += apart * apart;
    }
    return sum;
}

static void choose(struct entry **ranked, unsigned filled, int colours)
{
    qsort(ranked, filled, sizeof *ranked, more_frequent); /* NOLINT(bugprone-sizeof-expression): pointers are what is sorted */
    for (unsigned i = 0; i < filled; i++) {
        const unsigned kept = filled < (unsigned)colours ? filled : (unsigned)colours;
        unsigned best = i < kept ? i : 0;
        for (unsigned k = 0; i >= kept && k < kept; k++)
            if (distance(ranked[k]->colour, ranked[i]->colour) < distance(ranked[best]->colour, ranked[i]->colour))
                best = k;
        ranked[i]->becomes = ranked[best]->colour;
    }
}

static bool count_colours(struct picture *picture, struct entry *table, unsigned *filled, unsigned mask)
{
    const size_t pixels = (size_t)picture->width * (size_t)picture->height;
    memset(table, 0, COUNTED * sizeof *table);
    *filled = 0;
    for (size_t i = 0; i < pixels; i++) {
        struct entry *entry = find(table, colour_at(picture->rgb + 3 * i) & mask, filled);
        if (!entry)
            return false;
        entry->count++;
    }
    return true;
}

enum dw_status picture_limit_colours(struct picture *picture, int colours, struct dw_error *error)
{
    const size_t pixels = (size_t)picture->width * (size_t)picture->height;
    /* NOLINTNEXTLINE(bugprone-sizeof-expression): the second holds pointers into the first */
    struct entry *table = calloc(COUNTED, sizeof *table), **ranked = calloc(COUNTED, sizeof *ranked);
    unsigned filled = 0, mask = 0xffffff, count = 0;
    if (!table || !ranked) {
        free(table);
        free(ranked);
        return dw_no_memory(error);
    }
    while (!count_colours(picture, table, &filled, mask)) /* a photograph would need that; a figure hardly */
        mask = mask << 1 & 0xfefefe & mask;
    for (unsigned i = 0; i < COUNTED; i++)
        if (table[i].count)
            ranked[count++] = &table[i];
    choose(ranked, count, colours);
    for (size_t i = 0; i < pixels; i++) {
        const struct entry *entry = find(table, colour_at(picture->rgb + 3 * i) & mask, &filled);
        picture->rgb[3 * i] = (unsigned char)(entry->becomes >> 16);
        picture->rgb[3 * i + 1] = (unsigned char)(entry->becomes >> 8);
        picture->rgb[3 * i + 2] = (unsigned char)entry->becomes;
    }
    free(table);
    free(ranked);
    return DW_OK;
}
