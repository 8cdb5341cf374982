/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "figure.h"
#include "curve.h"
#include "layout.h"
#include "text.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    LEAST_ROWS = 5,  /* of a panel */
    LEAST_COLUMNS = 10,
    MOST_ROWS = 24,
    MOST_Y_LABELS = 6,
    LABEL_COLUMNS = 24,
    TEXT = 256
};

/* Width of a line in dots, by which it is judged where a curve is a shaded band. */
#define DOT_WIDTH 1.6

struct view {
    const struct sheet *sheet;
    struct preview_form form;
    struct dots dots;    /* of the panel at hand; all have one size */
    int left, right;     /* margins, in characters */
    struct ticks x, *y;  /* y: of the panel at hand */
    char (*label)[LABEL_COLUMNS * 4];  /* [rows]: beside each row, "" for none */
    unsigned char *label_trace;        /* [rows] */
    FILE *out;
};

/* Characters that a text takes. */
static int width_of(const struct view *view, const char *text)
{
    char shown[TEXT];
    text_for_terminal(shown, sizeof shown, text, view->form.ascii);
    return (int)text_length(shown);
}

static double room_along(void *context, const char *text)
{
    return width_of(context, text);
}

static double room_up(void *context, const char *text)
{
    (void)context;
    (void)text;
    return 1;
}

/* ---- dots ---- */

static struct frame frame_of(const struct view *view, const struct panel *panel)
{
    const struct box box = { 0, view->dots.columns * DOTS_ACROSS - 1, 0, view->dots.rows * DOTS_DOWN - 1 };
    return (struct frame){ NULL, box, &view->sheet->x, &panel->axis, DOT_WIDTH, 0 };
}

static void draw_stem(struct view *view, const struct frame *frame, struct vertex vertex, unsigned char which)
{
    const bool decibels = !strcmp(frame->y->unit, "dB");
    const double x = frame_x(frame, vertex.x), y = frame_y(frame, vertex.y), base = decibels ? 0 : frame_y(frame, 0);
    if (!axis_has_no_stem(frame->y, vertex.y) && (y >= base || !decibels))
        dots_line(&view->dots, x, base, x, y, which);
}

/* One dot of four between full edges. */
static void shade(struct view *view, const struct column *column, int to, unsigned char which)
{
    const int low = (int)floor(column->low), high = (int)floor(column->high);
    const int last = to < view->dots.columns * DOTS_ACROSS ? to : view->dots.columns * DOTS_ACROSS;
    for (int x = (int)fmax(column->x, 0); x < last; x++)
        for (int y = low; y <= high; y++)
            if (y == low || y == high || (x % 2 == 0 && y % 2 == 0))
                dots_set(&view->dots, x, y, which);
}

static void draw_strip(struct view *view, const struct frame *frame, const struct trace *trace, size_t strip,
                       unsigned char which, struct vertex *before)
{
    const bool line = trace->style == TRACE_LINES || trace->style == TRACE_JOINED;
    struct vertex path[STRIP_PATH];
    const size_t points = strip_path(reduction_strip(trace->rows, strip, trace->channel), path);
    if (frame->x->logarithmic && !(path[0].x > 0))
        return;
    for (size_t k = 0; k < points; *before = path[k++]) {
        struct vertex between[VERTEX_STEPS], from = line && !isnan(before->x) ? *before : path[k];
        const size_t parts = vertex_between(&from, &path[k], between);
        if (trace->style == TRACE_STEMS)
            draw_stem(view, frame, path[k], which);
        for (size_t i = 0; trace->style != TRACE_STEMS && i < parts; from = between[i++])
            dots_line(&view->dots, frame_x(frame, from.x), frame_y(frame, from.y), frame_x(frame, between[i].x),
                      frame_y(frame, between[i].y), which);
    }
}

static void draw_trace(struct view *view, const struct panel *panel, size_t which, const struct bands *bands)
{
    const struct trace *trace = &panel->trace[which];
    const struct frame frame = frame_of(view, panel);
    const size_t strips = reduction_strips(trace->rows);
    struct vertex before = { NAN, NAN, NAN };
    if (!bands->count)
        for (size_t i = 0; i < strips; i++)
            draw_strip(view, &frame, trace, i, (unsigned char)which, &before);
    for (size_t i = 0; i < bands->count; i++) {
        const size_t next = i + 1 < bands->count ? bands->at[i + 1].strip : strips;
        if (bands->at[i].dense)
            shade(view, &bands->at[i], i + 1 < bands->count ? (int)bands->at[i + 1].x : (int)bands->at[i].x + 1, (unsigned char)which);
        for (size_t k = bands->at[i].dense ? next - 1 : bands->at[i].strip; k < next; k++)
            if (!bands->at[i].dense)
                draw_strip(view, &frame, trace, k, (unsigned char)which, &before);
            else
                before.x = NAN;
    }
}

/* A mean as dots apart, through a band as a whole line. */
static void draw_mean(struct view *view, const struct panel *panel, size_t which, bool banded)
{
    const struct trace *trace = &panel->trace[which];
    const struct frame frame = frame_of(view, panel);
    const double y = frame_y(&frame, trace->mean);
    for (int x = banded ? 0 : DOTS_ACROSS; x < view->dots.columns * DOTS_ACROSS && trace->has_mean; x += banded ? 1 : 2 * DOTS_ACROSS)
        dots_line(&view->dots, x, y, x, y, (unsigned char)which);
}

/* Bands first, so that other curves are drawn over them; the means last. */
static enum dw_status draw_panel(struct view *view, const struct panel *panel, struct dw_error *error)
{
    const struct frame frame = frame_of(view, panel);
    struct bands *bands = calloc(panel->traces + 1, sizeof *bands);
    enum dw_status status = bands ? DW_OK : dw_no_memory(error);
    memset(view->dots.cell, 0, (size_t)view->dots.rows * (size_t)view->dots.columns * sizeof *view->dots.cell);
    for (size_t i = 0; i < panel->traces && status == DW_OK; i++)
        status = bands_find(&bands[i], &frame, &panel->trace[i], error);
    for (int pass = 0; pass < 2; pass++)
        for (size_t i = 0; i < panel->traces && status == DW_OK; i++)
            if (bands[i].any == (pass == 0))
                draw_trace(view, panel, i, &bands[i]);
    for (size_t i = 0; i < panel->traces && status == DW_OK; i++)
        draw_mean(view, panel, i, bands[i].any);
    for (size_t i = 0; bands && i < panel->traces; i++)
        bands_free(&bands[i]);
    free(bands);
    return status;
}

/* ---- labels ---- */

static double label_height(const struct view *view, const struct panel *panel, const struct trace *trace)
{
    const size_t strips = reduction_strips(trace->rows);
    if (!trace->has_mean && (trace->style == TRACE_STEMS || trace->style == TRACE_MARKS))
        return view->dots.rows;
    const double value = trace->has_mean ? trace->mean : reduction_strip(trace->rows, strips - 1, trace->channel)->last.y;
    return fmin(fmax(axis_place(&panel->axis, value) * view->dots.rows, 0.5), view->dots.rows - 0.5);
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
    const size_t count = panel->traces < (size_t)view->dots.rows ? panel->traces : (size_t)view->dots.rows;
    double *room = calloc(3 * count + 1, sizeof *room);
    size_t *order = calloc(count + 1, sizeof *order);
    if (!room || !order) {
        free(room);
        free(order);
        return dw_no_memory(error);
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
    labels_spread(wanted, height, count, 0, view->dots.rows, centre);
    for (int row = 0; row < view->dots.rows; row++)
        *view->label[row] = 0;
    for (size_t i = 0; i < count; i++) {
        int row = view->dots.rows - 1 - (int)floor(centre[i]);
        row = row < 0 ? 0 : row >= view->dots.rows ? view->dots.rows - 1 : row;
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
    if (!view->form.colour)
        return;
    if (trace == NO_TRACE || !colour) /* black would vanish on a dark terminal */
        fputs("\033[0m", view->out);
    else
        fprintf(view->out, "\033[38;2;%u;%u;%um", colour >> 16, colour >> 8 & 0xff, colour & 0xff);
}

static void put(const struct view *view, const char *text)
{
    char shown[4 * TEXT];
    text_for_terminal(shown, sizeof shown, text, view->form.ascii);
    fputs(shown, view->out);
}

static void put_padded(const struct view *view, const char *text, int columns)
{
    for (int i = width_of(view, text); i < columns; i++)
        fputc(' ', view->out);
    put(view, text);
}

/* A line's character and what stands for it in ASCII. */
static void put_line(const struct view *view, const char *utf8, char ascii)
{
    if (view->form.ascii)
        fputc(ascii, view->out);
    else
        fputs(utf8, view->out);
}

static const char *tick_on_row(const struct view *view, const struct panel *panel, int row)
{
    for (int i = 0; i < view->y->count; i++) {
        const double at = axis_place(&panel->axis, view->y->at[i].value) * (view->dots.rows * DOTS_DOWN - 1) / DOTS_DOWN;
        if (*view->y->at[i].text && view->dots.rows - 1 - (int)floor(at) == row)
            return view->y->at[i].text;
    }
    return "";
}

/* Columns of a row up to its last dot, or all where something stands beside it. */
static int columns_used(const struct view *view, int row)
{
    int columns = view->dots.columns;
    while (!*view->label[row] && columns > 0 && !view->dots.cell[row * view->dots.columns + columns - 1].dots)
        columns--;
    return columns;
}

static void put_row(const struct view *view, const struct panel *panel, int row)
{
    const char *tick = tick_on_row(view, panel, row);
    unsigned char trace = NO_TRACE;
    put_padded(view, tick, view->left - 2);
    fputc(' ', view->out);
    put_line(view, *tick ? "\xe2\x94\xa4" : "\xe2\x94\x82", *tick ? '+' : '|'); /* U+2524, U+2502 */
    for (int column = 0; column < columns_used(view, row); column++) {
        const struct dot_cell cell = view->dots.cell[row * view->dots.columns + column];
        char glyph[GLYPH_SIZE];
        if (cell.dots && cell.trace != trace)
            put_colour(view, panel, trace = cell.trace);
        dots_glyph(glyph, cell, view->form.ascii);
        fputs(glyph, view->out);
    }
    if (*view->label[row]) {
        put_colour(view, panel, view->label_trace[row]);
        fputc(' ', view->out);
        put(view, view->label[row]);
    }
    if (*view->label[row] || trace != NO_TRACE)
        put_colour(view, panel, NO_TRACE);
    fputc('\n', view->out);
}

static int column_of(const struct view *view, double value)
{
    return (int)(axis_place(&view->sheet->x, value) * (view->dots.columns - 1) + 0.5);
}

static void put_x_axis(const struct view *view)
{
    fprintf(view->out, "%*s", view->left - 1, "");
    put_line(view, "\xe2\x94\x94", '+'); /* U+2514 */
    for (int column = 0; column < view->dots.columns; column++) {
        bool marked = false;
        for (int i = 0; i < view->x.count && !marked; i++)
            marked = *view->x.at[i].text && column == column_of(view, view->x.at[i].value);
        put_line(view, marked ? "\xe2\x94\xac" : "\xe2\x94\x80", marked ? '+' : '-'); /* U+252C, U+2500 */
    }
    fputc('\n', view->out);
    int column = 0;
    for (int i = 0; i < view->x.count; i++) {
        const char *text = view->x.at[i].text;
        const int length = width_of(view, text);
        const int begin = view->left + column_of(view, view->x.at[i].value) - length / 2;
        if (!*text || begin < column + (column > 0))
            continue;
        put_padded(view, text, begin - column + length);
        column = begin + length;
    }
    fputs("  ", view->out);
    put(view, view->sheet->x_name);
    fputc('\n', view->out);
}

static enum dw_status put_panel(struct view *view, const struct panel *panel, struct dw_error *error)
{
    const enum dw_status status = place_labels(view, panel, error);
    if (status != DW_OK)
        return status;
    if (draw_panel(view, panel, error) != DW_OK)
        return error->status;
    if (*panel->heading) {
        fprintf(view->out, "%*s", view->left, "");
        put(view, panel->heading);
        fputc('\n', view->out);
    }
    for (int row = 0; row < view->dots.rows; row++)
        put_row(view, panel, row);
    return DW_OK;
}

/* ---- sizes ---- */

static void choose_y(const struct view *view, const struct panel *panel, struct ticks *ticks)
{
    ticks_choose(ticks, &panel->axis, &(struct label_space){ view->dots.rows, 1, MOST_Y_LABELS, room_up, NULL });
}

static void choose_x(struct view *view)
{
    ticks_choose(&view->x, &view->sheet->x, &(struct label_space){ view->dots.columns, 2, 9, room_along, view });
}

/* Where the line below the axis ends: its last label, and the name. */
static int x_labels_end(const struct view *view)
{
    int end = 0;
    for (int i = 0; i < view->x.count; i++) {
        const int length = width_of(view, view->x.at[i].text);
        if (length)
            end = view->left + column_of(view, view->x.at[i].value) - length / 2 + length;
    }
    return end + 2 + width_of(view, view->sheet->x_name);
}

static void choose_sizes(struct view *view, int columns, int lines)
{
    const struct sheet *sheet = view->sheet;
    int around = 3 + (*sheet->title || *sheet->caption), tick = 1, label = width_of(view, sheet->x_name) + 1;
    struct ticks *ticks = view->y;
    for (size_t i = 0; i < sheet->panels; i++)
        around += (i > 0) + (*sheet->panel[i].heading != 0);
    /* NOLINTNEXTLINE(clang-analyzer-core.DivideZero): a sheet has a panel at least */
    const int rows = (lines - around) / (int)sheet->panels;
    view->dots.rows = rows < LEAST_ROWS ? LEAST_ROWS : rows > MOST_ROWS ? MOST_ROWS : rows;
    for (size_t i = 0; i < sheet->panels; i++) {
        choose_y(view, &sheet->panel[i], ticks);
        for (int k = 0; k < ticks->count; k++)
            tick = (int)fmax(tick, width_of(view, ticks->at[k].text));
        for (size_t k = 0; k < sheet->panel[i].traces; k++) {
            char text[LABEL_COLUMNS * 4];
            label_text(text, sizeof text, &sheet->panel[i].trace[k], sheet->panel[i].axis.unit);
            label = (int)fmax(label, width_of(view, text));
        }
    }
    view->left = tick + 2;
    view->right = label + 2;
    for (int beyond = 1; beyond > 0; view->right += beyond) {
        view->dots.columns = columns - view->left - view->right;
        if (view->dots.columns < LEAST_COLUMNS)
            break;
        choose_x(view);
        beyond = x_labels_end(view) - columns;
    }
    if (view->dots.columns >= LEAST_COLUMNS)
        return;
    view->dots.columns = LEAST_COLUMNS;
    choose_x(view);
}

static enum dw_status put_sheet(struct view *view, struct dw_error *error)
{
    const struct sheet *sheet = view->sheet;
    enum dw_status status = DW_OK;
    if (*sheet->title || *sheet->caption) {
        put(view, sheet->title);
        fputs(*sheet->title && *sheet->caption ? "  " : "", view->out);
        put(view, sheet->caption);
        fputc('\n', view->out);
    }
    for (size_t i = 0; i < sheet->panels && status == DW_OK; i++) {
        choose_y(view, &sheet->panel[i], view->y);
        if (i)
            fputc('\n', view->out);
        status = put_panel(view, &sheet->panel[i], error);
    }
    put_x_axis(view);
    return status;
}

enum dw_status preview_render(const struct sheet *sheet, const struct preview_form *form, char **bytes, size_t *size,
                              struct dw_error *error)
{
    struct view view = { .sheet = sheet, .form = *form };
    struct ticks ticks;
    char *made = NULL;
    size_t made_size = 0;
    const int columns = form->columns ? form->columns : PREVIEW_COLUMNS;
    if (columns < PREVIEW_LEAST_COLUMNS)
        return dw_error_set(error, DW_BAD_USE, 0, "%d columns are too few; %d would do", columns, PREVIEW_LEAST_COLUMNS);
    view.y = &ticks;
    choose_sizes(&view, columns, form->lines ? form->lines : PREVIEW_LINES);
    view.dots.cell = calloc((size_t)view.dots.rows * (size_t)view.dots.columns, sizeof *view.dots.cell);
    view.label = calloc((size_t)view.dots.rows, sizeof *view.label);
    view.label_trace = calloc((size_t)view.dots.rows, 1);
    view.out = open_memstream(&made, &made_size);
    enum dw_status status = view.dots.cell && view.label && view.label_trace && view.out ? put_sheet(&view, error)
                                                                                    : dw_no_memory(error);
    /* a stream in memory that ran out of it may only tell by having nothing to show */
    const bool failed = view.out && ferror(view.out);
    if (view.out && (fclose(view.out) || failed || !made || status != DW_OK)) {
        status = status != DW_OK ? status : dw_no_memory(error);
        free(made);
        made = NULL;
    }
    free(view.dots.cell);
    free(view.label);
    free(view.label_trace);
    if (status == DW_OK) {
        *bytes = made;
        *size = made_size;
    }
    return status;
}
