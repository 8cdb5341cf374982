/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "layout.h"
#include "curve.h"
#include <math.h>
#include <stdio.h>

/* Dots 1 2 3 7 go down on the left, 4 5 6 8 on the right: The Unicode Standard, braille patterns. */
static const unsigned char bits[DOTS_DOWN][DOTS_ACROSS] = { { 1, 8 }, { 2, 16 }, { 4, 32 }, { 64, 128 } };

void dots_set(struct dots *dots, int x, int y, unsigned char trace)
{
    const int row = dots->rows - 1 - y / DOTS_DOWN, down = DOTS_DOWN - 1 - y % DOTS_DOWN;
    if (x < 0 || y < 0 || x >= dots->columns * DOTS_ACROSS || y >= dots->rows * DOTS_DOWN)
        return;
    struct dot_cell *cell = &dots->cell[row * dots->columns + x / DOTS_ACROSS];
    cell->dots |= bits[down][x % DOTS_ACROSS];
    cell->trace = trace;
}

void dots_line(struct dots *dots, double x0, double y0, double x1, double y1, unsigned char trace)
{
    const struct box box = { 0, dots->columns * DOTS_ACROSS - 0.001, 0, dots->rows * DOTS_DOWN - 0.001 };
    if (!line_clip(&box, &x0, &y0, &x1, &y1))
        return;
    const int steps = (int)fmax(fabs(floor(x1) - floor(x0)), fabs(floor(y1) - floor(y0)));
    for (int i = 0; i <= steps; i++) {
        const double share = steps ? (double)i / steps : 0;
        dots_set(dots, (int)(floor(x0) + share * (floor(x1) - floor(x0)) + 0.5),
                 (int)(floor(y0) + share * (floor(y1) - floor(y0)) + 0.5), trace);
    }
}

/* Mean height of the dots in one half of a cell, in rows from the top; -1: none. */
static double height_in_half(unsigned char pattern, int side)
{
    int count = 0, sum = 0;
    for (int row = 0; row < DOTS_DOWN; row++)
        if (pattern & bits[row][side]) {
            count++;
            sum += row;
        }
    return count ? (double)sum / count : -1;
}

static char ascii_of(unsigned char pattern)
{
    static const char level[] = "\"--_", point[] = "'--."; /* from the top */
    int first = DOTS_DOWN, last = -1, sides = 0, full = -1, others = 0;
    for (int row = 0; row < DOTS_DOWN; row++) {
        const int both = bits[row][0] | bits[row][1];
        if (!(pattern & both))
            continue;
        first = first < row ? first : row;
        last = row;
        if ((pattern & both) == both && full < 0)
            full = row;
        else
            others++;
    }
    if (full >= 0 && others <= 2) /* an edge of a shaded band */
        return level[full];
    const double left = height_in_half(pattern, 0), right = height_in_half(pattern, 1);
    sides = (left >= 0) + (right >= 0);
    if (first == last)
        return sides == 2 ? level[first] : point[first];
    if (sides == 1)
        return last - first == 2 && !(pattern & (bits[first + 1][0] | bits[first + 1][1])) ? ':' : '|';
    if (fabs(left - right) < 0.5)
        return '#';
    return last - first == 1 ? '-' : left > right ? '/' : '\\';
}

void dots_glyph(char *out, struct dot_cell cell, bool ascii)
{
    if (!cell.dots || ascii)
        snprintf(out, GLYPH_SIZE, "%c", cell.dots ? ascii_of(cell.dots) : ' ');
    else /* U+2800 to U+28FF */
        snprintf(out, GLYPH_SIZE, "\xe2%c%c", 0xa0 + (cell.dots >> 6), 0x80 + (cell.dots & 0x3f));
}
