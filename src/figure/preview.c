/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "preview.h"
#include "curve.h"
#include "text.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    LEAST_ROWS = 5,  /* of a panel */
    MOST_ROWS = 18,
    LABEL_COLUMNS = 24,
    DOTS_ACROSS = 2,
    DOTS_DOWN = 4,
    NO_TRACE = 255
};

struct cell {
    unsigned char dots;   /* bit k: dot k + 1 of Unicode's braille patterns (U+2800 + dots) */
    unsigned char trace;  /* whose colour it has */
};

struct view {
    const struct sheet *sheet;
    int columns, rows;   /* of each panel's field, in characters */
    int left, right;     /* margins, in characters */
    bool colour;
    struct ticks x, *y;  /* y: of the panel at hand */
    struct cell *cell;   /* [rows x columns] */
    char (*label)[LABEL_COLUMNS * 4];  /* [rows]: beside each row, "" for none */
    unsigned char *label_trace;        /* [rows] */
    FILE *out;
};

static double room_along(void *context, const char *text)
{
    (void)context;
    return (double)text_length(text);
}

static double room_up(void *context, const char *text)
{
    (void)context;
    (void)text;
    return 1;
}

/* ---- dots ---- */

static void set_dot(struct view *view, int x, int y, size_t trace)
{
    /* dots 1 2 3 7 go down on the left, 4 5 6 8 on the right: The Unicode Standard, braille patterns */
    static const unsigned char bits[DOTS_DOWN][DOTS_ACROSS] = { { 1, 8 }, { 2, 16 }, { 4, 32 }, { 64, 128 } };
    const int row = view->rows - 1 - y / DOTS_DOWN, down = DOTS_DOWN - 1 - y % DOTS_DOWN;
    if (x < 0 || y < 0 || x >= view->columns * DOTS_ACROSS || y >= view->rows * DOTS_DOWN)
        return;
    struct cell *cell = &view->cell[row * view->columns + x / DOTS_ACROSS];
    cell->dots |= bits[down][x % DOTS_ACROSS];
    cell->trace = (unsigned char)trace;
}

static void draw_dots(struct view *view, double x0, double y0, double x1, double y1, size_t trace)
{
    const struct box box = { 0, view->columns * DOTS_ACROSS - 0.001, 0, view->rows * DOTS_DOWN - 0.001 };
    if (!line_clip(&box, &x0, &y0, &x1, &y1))
        return;
    const int steps = (int)fmax(fabs(floor(x1) - floor(x0)), fabs(floor(y1) - floor(y0)));
    for (int i = 0; i <= steps; i++) {
        const double share = steps ? (double)i / steps : 0;
        set_dot(view, (int)(floor(x0) + share * (floor(x1) - floor(x0)) + 0.5),
                (int)(floor(y0) + share * (floor(y1) - floor(y0)) + 0.5), trace);
    }
}

static double limited(double place, double length)
{
    const double at = place * length;
    return at >= -1e9 && at <= 1e9 ? at : at > 0 ? 1e9 : -1e9;
}

static void dot_of(const struct view *view, const struct panel *panel, struct vertex vertex, double *x, double *y)
{
    *x = limited(axis_place(&view->sheet->x, vertex.x), view->columns * DOTS_ACROSS - 1);
    *y = limited(axis_place(&panel->axis, vertex.y), view->rows * DOTS_DOWN - 1);
}

static void draw_stem(struct view *view, const struct panel *panel, struct vertex vertex, size_t which)
{
    double x, y, base;
    dot_of(view, panel, (struct vertex){ vertex.x, 0 }, &x, &base);
    dot_of(view, panel, vertex, &x, &y);
    base = strcmp(panel->axis.unit, "dB") ? base : 0;
    if (y >= base || strcmp(panel->axis.unit, "dB"))
        draw_dots(view, x, base, x, y, which);
}

static void draw_trace(struct view *view, const struct panel *panel, size_t which)
{
    const struct trace *trace = &panel->trace[which];
    const bool line = trace->style == TRACE_LINES || trace->style == TRACE_JOINED;
    double x, y, before_x = 0, before_y = 0;
    bool placed = false;
    for (size_t i = 0; i < reduction_strips(trace->rows); i++) {
        const struct strip *strip = reduction_strip(trace->rows, i, trace->channel);
        struct vertex path[STRIP_PATH];
        const size_t points = strip_path(strip, path);
        if (view->sheet->x.logarithmic && !(strip->first.x > 0))
            continue;
        for (size_t k = 0; k < points; k++) {
            dot_of(view, panel, path[k], &x, &y);
            if (trace->style == TRACE_STEMS)
                draw_stem(view, panel, path[k], which);
            else
                draw_dots(view, line && placed ? before_x : x, line && placed ? before_y : y, x, y, which);
            before_x = x;
            before_y = y;
            placed = true;
        }
    }
}

/* A mean as dots apart. */
static void draw_mean(struct view *view, const struct panel *panel, size_t which)
{
    const struct trace *trace = &panel->trace[which];
    double x, y;
    dot_of(view, panel, (struct vertex){ view->sheet->x.low, trace->mean }, &x, &y);
    for (int column = 1; column < view->columns && trace->has_mean; column += 2)
        draw_dots(view, column * DOTS_ACROSS, y, column * DOTS_ACROSS, y, which);
}

/* ---- labels ---- */

static double label_height(const struct view *view, const struct panel *panel, const struct trace *trace)
{
    const size_t strips = reduction_strips(trace->rows);
    if (!trace->has_mean && (trace->style == TRACE_STEMS || trace->style == TRACE_MARKS))
        return view->rows;
    const double value = trace->has_mean ? trace->mean : reduction_strip(trace->rows, strips - 1, trace->channel)->last.y;
    return fmin(fmax(axis_place(&panel->axis, value) * view->rows, 0.5), view->rows - 0.5);
}

static void label_text(char *out, size_t size, const struct trace *trace, const char *unit)
{
    char name[LABEL_COLUMNS * 4], mean[64] = "";
    text_shorten(name, sizeof name, trace->name, trace->has_mean ? 10 : LABEL_COLUMNS - 4);
    if (trace->has_mean)
        label_quantity(mean, sizeof mean, trace->mean, unit, 4);
    snprintf(out, size, "%.50s%s%.40s", name, *mean ? " " : "", mean);
}

/* Puts the labels beside the rows where the lines end, as far as there are rows. */
static enum dw_status place_labels(struct view *view, const struct panel *panel, struct dw_error *error)
{
    const size_t count = panel->traces < (size_t)view->rows ? panel->traces : (size_t)view->rows;
    double *room = calloc(3 * count, sizeof *room);
    size_t *order = calloc(count, sizeof *order);
    if (!room || !order) {
        free(room);
        free(order);
        return dw_error_set(error, DW_NO_MEMORY, 0, "%s", dw_status_text(DW_NO_MEMORY));
    }
    double *wanted = room, *height = room + count, *centre = room + 2 * count;
    for (size_t i = 0; i < count; i++) {
        const double at = label_height(view, panel, &panel->trace[i]);
        size_t k = i;
        for (; k > 0 && wanted[k - 1] >= at; k--) { /* insertion keeps the first of equals on top */
            wanted[k] = wanted[k - 1];
            order[k] = order[k - 1];
        }
        wanted[k] = at;
        order[k] = i;
        height[i] = 1;
    }
    labels_spread(wanted, height, count, 0, view->rows, centre);
    for (int row = 0; row < view->rows; row++)
        *view->label[row] = 0;
    for (size_t i = 0; i < count; i++) {
        int row = view->rows - 1 - (int)floor(centre[i]);
        row = row < 0 ? 0 : row >= view->rows ? view->rows - 1 : row;
        while (row > 0 && *view->label[row]) /* two rounded to one row */
            row--;
        label_text(view->label[row], sizeof view->label[row], &panel->trace[order[i]], panel->axis.unit);
        view->label_trace[row] = (unsigned char)order[i];
    }
    free(room);
    free(order);
    return DW_OK;
}

/* ---- printing ---- */

static void put_colour(const struct view *view, const struct panel *panel, size_t trace)
{
    const unsigned colour = trace == NO_TRACE ? 0 : palette_look(panel->trace[trace].look).colour;
    if (!view->colour)
        return;
    if (trace == NO_TRACE || !colour) /* black would vanish on a dark terminal */
        fputs("\033[0m", view->out);
    else
        fprintf(view->out, "\033[38;2;%u;%u;%um", colour >> 16, colour >> 8 & 0xff, colour & 0xff);
}

static void put_padded(const struct view *view, const char *text, int columns)
{
    for (int i = (int)text_length(text); i < columns; i++)
        fputc(' ', view->out);
    fputs(text, view->out);
}

static const char *tick_on_row(const struct view *view, const struct panel *panel, int row)
{
    for (int i = 0; i < view->y->count; i++) {
        const double at = axis_place(&panel->axis, view->y->at[i].value) * (view->rows * DOTS_DOWN - 1) / DOTS_DOWN;
        if (*view->y->at[i].text && view->rows - 1 - (int)floor(at) == row)
            return view->y->at[i].text;
    }
    return "";
}

static void put_row(const struct view *view, const struct panel *panel, int row)
{
    const char *tick = tick_on_row(view, panel, row);
    unsigned char trace = NO_TRACE;
    put_padded(view, tick, view->left - 2);
    fputs(*tick ? " \xe2\x94\xa4" : " \xe2\x94\x82", view->out); /* U+2524, U+2502 */
    for (int column = 0; column < view->columns; column++) {
        const struct cell *cell = &view->cell[row * view->columns + column];
        if (cell->dots && cell->trace != trace)
            put_colour(view, panel, trace = cell->trace);
        if (cell->dots) /* U+2800 to U+28FF */
            fprintf(view->out, "\xe2%c%c", 0xa0 + (cell->dots >> 6), 0x80 + (cell->dots & 0x3f));
        else
            fputc(' ', view->out);
    }
    if (*view->label[row]) {
        put_colour(view, panel, view->label_trace[row]);
        fprintf(view->out, " %s", view->label[row]);
    }
    if (*view->label[row] || trace != NO_TRACE)
        put_colour(view, panel, NO_TRACE);
    fputc('\n', view->out);
}

static void put_x_axis(const struct view *view)
{
    put_padded(view, "\xe2\x94\x94", view->left); /* U+2514 */
    for (int column = 0; column < view->columns; column++) {
        bool marked = false;
        for (int i = 0; i < view->x.count && !marked; i++)
            marked = *view->x.at[i].text &&
                     column == (int)(axis_place(&view->sheet->x, view->x.at[i].value) * (view->columns - 1) + 0.5);
        fputs(marked ? "\xe2\x94\xac" : "\xe2\x94\x80", view->out); /* U+252C, U+2500 */
    }
    fputc('\n', view->out);
    int column = 0;
    for (int i = 0; i < view->x.count; i++) {
        const char *text = view->x.at[i].text;
        const int length = (int)text_length(text);
        const double place = axis_place(&view->sheet->x, view->x.at[i].value);
        const int begin = view->left + (int)(place * (view->columns - 1) + 0.5) - length / 2;
        if (!*text || begin < column + (column > 0))
            continue;
        put_padded(view, text, begin - column + length);
        column = begin + length;
    }
    fprintf(view->out, "  %s\n", view->sheet->x_name);
}

static enum dw_status put_panel(struct view *view, const struct panel *panel, struct dw_error *error)
{
    const enum dw_status status = place_labels(view, panel, error);
    if (status != DW_OK)
        return status;
    memset(view->cell, 0, (size_t)view->rows * (size_t)view->columns * sizeof *view->cell);
    for (size_t i = 0; i < panel->traces; i++)
        draw_trace(view, panel, i);
    for (size_t i = 0; i < panel->traces; i++)
        draw_mean(view, panel, i);
    if (*panel->heading)
        fprintf(view->out, "%*s%s\n", view->left, "", panel->heading);
    for (int row = 0; row < view->rows; row++)
        put_row(view, panel, row);
    return DW_OK;
}

/* ---- sizes ---- */

static void choose_y(const struct view *view, const struct panel *panel, struct ticks *ticks)
{
    ticks_choose(ticks, &panel->axis, view->rows, 1, 5, room_up, NULL);
}

static void choose_sizes(struct view *view, int columns, int lines)
{
    const struct sheet *sheet = view->sheet;
    int around = 3 + (*sheet->title || *sheet->caption), tick = 1, label = (int)text_length(sheet->x_name) + 1;
    struct ticks *ticks = view->y;
    for (size_t i = 0; i < sheet->panels; i++)
        around += (i > 0) + (*sheet->panel[i].heading != 0);
    view->rows = (lines - around) / (int)sheet->panels;
    view->rows = view->rows < LEAST_ROWS ? LEAST_ROWS : view->rows > MOST_ROWS ? MOST_ROWS : view->rows;
    for (size_t i = 0; i < sheet->panels; i++) {
        choose_y(view, &sheet->panel[i], ticks);
        for (int k = 0; k < ticks->count; k++)
            tick = fmax(tick, text_length(ticks->at[k].text));
        for (size_t k = 0; k < sheet->panel[i].traces; k++) {
            char text[LABEL_COLUMNS * 4];
            label_text(text, sizeof text, &sheet->panel[i].trace[k], sheet->panel[i].axis.unit);
            label = fmax(label, text_length(text));
        }
    }
    view->left = tick + 2;
    view->right = label + 2;
    view->columns = columns - view->left - view->right;
    view->columns = view->columns < 10 ? 10 : view->columns;
    ticks_choose(&view->x, &sheet->x, view->columns, 2, 9, room_along, NULL);
}

static enum dw_status put_sheet(struct view *view, struct dw_error *error)
{
    const struct sheet *sheet = view->sheet;
    enum dw_status status = DW_OK;
    if (*sheet->title || *sheet->caption)
        fprintf(view->out, "%s%s%s\n", sheet->title, *sheet->title && *sheet->caption ? "  " : "", sheet->caption);
    for (size_t i = 0; i < sheet->panels && status == DW_OK; i++) {
        choose_y(view, &sheet->panel[i], view->y);
        if (i)
            fputc('\n', view->out);
        status = put_panel(view, &sheet->panel[i], error);
    }
    put_x_axis(view);
    return status;
}

static enum dw_status no_memory(struct dw_error *error)
{
    return dw_error_set(error, DW_NO_MEMORY, 0, "%s", dw_status_text(DW_NO_MEMORY));
}

enum dw_status preview_render(const struct sheet *sheet, int columns, int lines, bool colour, char **bytes, size_t *size,
                              struct dw_error *error)
{
    struct view view = { .sheet = sheet, .colour = colour };
    struct ticks ticks;
    char *made = NULL;
    size_t made_size = 0;
    columns = columns ? columns : PREVIEW_COLUMNS;
    if (columns < PREVIEW_LEAST_COLUMNS)
        return dw_error_set(error, DW_BAD_USE, 0, "%d columns are too few; %d would do", columns, PREVIEW_LEAST_COLUMNS);
    view.y = &ticks;
    choose_sizes(&view, columns, lines ? lines : PREVIEW_LINES);
    view.cell = calloc((size_t)view.rows * (size_t)view.columns, sizeof *view.cell);
    view.label = calloc((size_t)view.rows, sizeof *view.label);
    view.label_trace = calloc((size_t)view.rows, 1);
    view.out = open_memstream(&made, &made_size);
    enum dw_status status = view.cell && view.label && view.label_trace && view.out ? put_sheet(&view, error)
                                                                                    : no_memory(error);
    /* a stream in memory that ran out of it may only tell by having nothing to show */
    const bool failed = view.out && ferror(view.out);
    if (view.out && (fclose(view.out) || failed || !made || status != DW_OK)) {
        status = status != DW_OK ? status : no_memory(error);
        free(made);
        made = NULL;
    }
    free(view.cell);
    free(view.label);
    free(view.label_trace);
    if (status == DW_OK) {
        *bytes = made;
        *size = made_size;
    }
    return status;
}
