/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The labels beside a panel: what they say and where they go. */
#include "layout.h"
#include "text.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MEAN_DIGITS = 4, MOST_MEAN_DIGITS = 12, NAME_CHARACTERS = 24 };

#define LEAST_SIZE 0.6 /* of the other letters */

void labels_spread(const double *wanted, const double *height, size_t count, double bottom, double top, double *centre)
{
    /* with z[i] = centre[i] - (heights below i and half its own), apart means that z never falls */
    double below = 0, total = 0;
    for (size_t i = 0; i < count; i++)
        total += height[i];
    for (size_t i = 0; i < count; i++) {
        centre[i] = wanted[i] - below - height[i] / 2;
        below += height[i];
    }
    for (size_t i = 1; i < count; i++) {
        /* pool i with those before it while their mean lies above */
        double sum = centre[i];
        size_t first = i, members = 1;
        while (first > 0 && centre[first - 1] > sum / (double)members) {
            sum += centre[--first];
            members++;
        }
        for (size_t k = first; k <= i; k++)
            centre[k] = sum / (double)members;
    }
    below = 0;
    for (size_t i = 0; i < count; i++) {
        const double least = bottom, most = fmax(top - total, least);
        centre[i] = fmin(fmax(centre[i], least), most) + below + height[i] / 2;
        below += height[i];
    }
}

/* Enough digits to tell apart what the axis tells apart. */
static int mean_digits(double mean, const struct axis *axis)
{
    const double finer = log10(fabs(mean) / (axis->high - axis->low));
    return finer > 0 ? (int)fmin(ceil(finer) + MEAN_DIGITS - 1, MOST_MEAN_DIGITS) : MEAN_DIGITS;
}

static void write_label(struct label *label, const struct trace *trace, const struct axis *axis, bool one_line)
{
    char mean[64];
    text_shorten(label->line[0], sizeof label->line[0], trace->name, NAME_CHARACTERS);
    *label->line[1] = 0;
    if (!trace->has_mean)
        return;
    label_quantity(mean, sizeof mean, trace->mean, axis->unit, mean_digits(trace->mean, axis));
    if (one_line)
        snprintf(label->line[0] + strlen(label->line[0]), sizeof label->line[0] - strlen(label->line[0]), " %.40s", mean);
    else
        snprintf(label->line[1], sizeof label->line[1], "mean %.40s", mean);
}

static void write_labels(struct panel_layout *layout, const struct panel *panel, bool one_line)
{
    layout->labels = panel->traces;
    for (size_t i = 0; i < panel->traces; i++) {
        layout->label[i].trace = i;
        write_label(&layout->label[i], &panel->trace[i], &panel->axis, one_line);
    }
}

double labels_width(const struct panel_layout *layout, struct canvas *canvas)
{
    double width = 0;
    for (size_t i = 0; i < layout->labels; i++)
        for (int line = 0; line < 2; line++)
            width = fmax(width, canvas_text_width(canvas, layout->label_size, layout->label[i].line[line]));
    return width;
}

/* Height at which the line of a trace ends: its mean's, or its last value's where that can be seen. */
static bool anchor_of(const struct trace *trace, const struct panel *panel, const struct axis *x, const struct box *box,
                      double *anchor)
{
    const bool line = trace->style == TRACE_LINES || trace->style == TRACE_JOINED;
    double value = trace->mean;
    if (!trace->has_mean) {
        const size_t strips = reduction_strips(trace->rows);
        if (!line || !strips)
            return false;
        const struct vertex last = reduction_strip(trace->rows, strips - 1, trace->channel)->last;
        if (axis_place(x, last.x) < 0.9)
            return false;
        value = last.y;
    }
    const double place = axis_place(&panel->axis, value);
    if (!(place >= 0 && place <= 1))
        return false;
    *anchor = box->bottom + place * (box->top - box->bottom);
    return true;
}

static int by_anchor(const void *a, const void *b)
{
    const struct label *one = a, *other = b;
    const double apart = round(one->anchor) - round(other->anchor);
    if (apart != 0)
        return apart < 0 ? -1 : 1;
    return one->trace > other->trace ? -1 : one->trace < other->trace; /* the first of equals on top */
}

static double labels_height(const struct panel_layout *layout)
{
    double height = 0;
    for (size_t i = 0; i < layout->labels; i++)
        height += layout->label[i].height;
    return height;
}

static void set_heights(struct panel_layout *layout, double size)
{
    layout->label_size = size;
    for (size_t i = 0; i < layout->labels; i++)
        layout->label[i].height = size * LABEL_LEADING * (*layout->label[i].line[1] ? 2 : 1);
}

void labels_fit(struct panel_layout *layout, const struct panel *panel, double font)
{
    const double room = layout->box.top - layout->box.bottom + font;
    write_labels(layout, panel, false);
    set_heights(layout, font);
    if (labels_height(layout) <= room)
        return;
    write_labels(layout, panel, true);
    for (double size = font; size >= LEAST_SIZE * font; size -= 0.05 * font) {
        set_heights(layout, size);
        if (labels_height(layout) <= room)
            return;
    }
    while (layout->labels > 1 && labels_height(layout) > room)
        layout->labels--;
    struct label *last = &layout->label[layout->labels - 1];
    layout->left_out = panel->traces - layout->labels + 1;
    snprintf(last->line[0], sizeof last->line[0], "and %zu more", layout->left_out);
}

void labels_place(struct panel_layout *layout, const struct panel *panel, const struct axis *x, double font)
{
    double wanted[MOST_LABELS] = { 0 }, height[MOST_LABELS] = { 0 }, centre[MOST_LABELS];
    for (size_t i = 0; i < layout->labels; i++) {
        struct label *label = &layout->label[i];
        const bool counts = layout->left_out && i + 1 == layout->labels;
        label->anchored = !counts && anchor_of(&panel->trace[label->trace], panel, x, &layout->box, &label->anchor);
        if (!label->anchored) /* such labels stand at the top, in order, those that only count at the bottom */
            label->anchor = counts ? layout->box.bottom : layout->box.top;
    }
    qsort(layout->label, layout->labels, sizeof *layout->label, by_anchor);
    for (size_t i = 0; i < layout->labels; i++) {
        wanted[i] = layout->label[i].anchor;
        height[i] = layout->label[i].height;
    }
    labels_spread(wanted, height, layout->labels, layout->box.bottom - font / 2, layout->box.top + font / 2, centre);
    for (size_t i = 0; i < layout->labels; i++)
        layout->label[i].centre = centre[i];
}
