/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "layout.h"
#include "text.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Distances as shares of the size of letters. */
#define OUTER 0.7          /* round the page */
#define TITLE_SIZE 1.2
#define TITLE_LEADING 1.5
#define HEADING 1.4        /* row above a panel */
#define PANEL_GAP 1.0      /* between panels */
#define TICK_LABELS 1.9    /* row below the last panel */
#define LEADER 1.9         /* from a panel to its labels */
#define LEAST_PANEL 2.6    /* height */
#define LEAST_WIDTH 8.0

enum { MOST_X_LABELS = 9, MOST_Y_LABELS = 9, X_CHARACTERS = 20, MOST_CHARACTERS = 60 };

struct measuring {
    struct canvas *canvas;
    double font;
};

static double room_along(void *context, const char *text)
{
    const struct measuring *measuring = context;
    return canvas_text_width(measuring->canvas, measuring->font, text);
}

static double room_up(void *context, const char *text)
{
    (void)text;
    return ((const struct measuring *)context)->font;
}

double page_font(int width, int height)
{
    return fmax(round(fmin(height, width * 0.5625) * 0.0375), 9);
}

/* ---- the title ---- */

void text_fit(char out[LINE_TEXT], const char *text, struct canvas *canvas, double size, double width)
{
    size_t most = MOST_CHARACTERS;
    do
        text_shorten(out, LINE_TEXT, text, most);
    while (--most > 1 && canvas_text_width(canvas, size, out) > width);
}

/* Puts an ellipsis behind a line, in the place of its last words where there is no room. */
static void end_cut(char line[LINE_TEXT], struct canvas *canvas, double size, double width)
{
    char cut[LINE_TEXT + 8];
    while (snprintf(cut, sizeof cut, "%s \xe2\x80\xa6", line) > 250 || canvas_text_width(canvas, size, cut) > width) {
        char *blank = strrchr(line, ' ');
        if (!blank)
            break;
        *blank = 0;
    }
    snprintf(line, LINE_TEXT, "%.250s", cut);
}

/* Breaks a text at blanks into lines no wider than `width`; what remains after the last line is cut. */
static int break_title(const char *title, struct canvas *canvas, double size, double width,
                       char line[TITLE_LINES][LINE_TEXT])
{
    char text[TEXT_LENGTH];
    snprintf(text, sizeof text, "%s", title);
    char *rest = NULL;
    int lines = 0;
    for (char *word = strtok_r(text, " \n\t", &rest); word; word = strtok_r(NULL, " \n\t", &rest)) {
        char longer[2 * LINE_TEXT], shorter[LINE_TEXT];
        const char *before = lines ? line[lines - 1] : "";
        text_fit(shorter, word, canvas, size, width);
        const int length = snprintf(longer, sizeof longer, "%s%s%s", before, *before ? " " : "", shorter);
        const bool fits = length < 250 && canvas_text_width(canvas, size, longer) <= width;
        if (lines && fits) {
            memcpy(line[lines - 1], longer, (size_t)length + 1);
        } else if (lines < TITLE_LINES) {
            memcpy(line[lines++], shorter, sizeof shorter);
        } else {
            end_cut(line[lines - 1], canvas, size, width);
            break;
        }
    }
    return lines;
}

static double place_title(struct layout *layout, const struct sheet *sheet, struct canvas *canvas)
{
    const double font = layout->page.font, size = TITLE_SIZE * font;
    const double whole = layout->page.width - 2 * OUTER * font;
    text_fit(layout->caption, sheet->caption, canvas, size, *sheet->title ? 0.6 * whole : whole);
    const double caption = *layout->caption ? canvas_text_width(canvas, size, layout->caption) + 2 * font : 0;
    const double width = fmax(whole - caption, 0.3 * whole);
    layout->title_top = layout->page.height - OUTER * font;
    layout->title_lines = break_title(sheet->title, canvas, size, width, layout->title);
    const int lines = layout->title_lines ? layout->title_lines : *sheet->caption != 0;
    return layout->title_top - lines * TITLE_LEADING * font - (lines ? 0.3 * font : 0);
}

/* ---- panels ---- */

static bool has_heading(const struct panel *panel)
{
    return *panel->heading != 0;
}

/* Height of all that is no panel. */
static double height_around(const struct sheet *sheet, double font, double title)
{
    double height = title + (0.5 + TICK_LABELS + OUTER) * font + (double)(sheet->panels - 1) * PANEL_GAP * font;
    for (size_t i = 0; i < sheet->panels; i++)
        height += has_heading(&sheet->panel[i]) ? HEADING * font : 0;
    return height;
}

/* Heights, and the tick labels and labels that go with them. */
static void place_panels(struct layout *layout, const struct sheet *sheet, struct canvas *canvas, double top)
{
    const double font = layout->page.font;
    const double around = height_around(sheet, font, layout->page.height - top);
    const double each = (layout->page.height - around) / (double)sheet->panels;
    struct measuring measuring = { canvas, font };
    const struct label_space space = { each, 0.7 * font, MOST_Y_LABELS, room_up, &measuring };
    top -= 0.5 * font;
    for (size_t i = 0; i < sheet->panels; i++) {
        struct panel_layout *panel = &layout->panel[i];
        top -= has_heading(&sheet->panel[i]) ? HEADING * font : 0;
        panel->box.top = top;
        panel->box.bottom = top - each;
        top -= each + PANEL_GAP * font;
        ticks_choose(&panel->ticks, &sheet->panel[i].axis, &space);
        labels_fit(panel, &sheet->panel[i], font);
    }
}

/* ---- margins ---- */

static double widest_tick(const struct ticks *ticks, struct canvas *canvas, double font)
{
    double width = 0;
    for (int i = 0; i < ticks->count; i++)
        width = fmax(width, canvas_text_width(canvas, font, ticks->at[i].text));
    return width;
}

static double left_needed(const struct layout *layout, struct canvas *canvas)
{
    const double font = layout->page.font;
    double width = 2 * font;
    for (size_t i = 0; i < layout->panels; i++)
        width = fmax(width, widest_tick(&layout->panel[i].ticks, canvas, font));
    return width + (OUTER + 0.5) * font;
}

static double right_needed(const struct layout *layout, struct canvas *canvas)
{
    const double font = layout->page.font;
    double width = 0;
    for (size_t i = 0; i < layout->panels; i++)
        width = fmax(width, labels_width(&layout->panel[i], canvas));
    return width + (LEADER + OUTER) * font;
}

/* Chooses the ticks of the x axis and puts its name behind the last label; gives how far that goes beyond the page. */
static double place_x(struct layout *layout, const struct sheet *sheet, struct canvas *canvas)
{
    const double font = layout->page.font, left = layout->margins.left;
    const double length = layout->page.width - left - layout->margins.right;
    struct measuring measuring = { canvas, font };
    ticks_choose(&layout->x, &sheet->x, &(struct label_space){ length, 1.2 * font, MOST_X_LABELS, room_along, &measuring });
    text_shorten(layout->x_text, sizeof layout->x_text, sheet->x_name, X_CHARACTERS);
    double end = left + length;
    for (int i = 0; i < layout->x.count; i++)
        if (*layout->x.at[i].text)
            end = fmax(end, left + length * axis_place(&sheet->x, layout->x.at[i].value)
                                + canvas_text_width(canvas, font, layout->x.at[i].text) / 2);
    layout->x_text_left = fmax(end + 0.7 * font, left + length + LEADER * font);
    return layout->x_text_left + canvas_text_width(canvas, font, layout->x_text)
         - (layout->page.width - 0.5 * OUTER * font);
}

static void place_margins(struct layout *layout, const struct sheet *sheet, struct canvas *canvas,
                          const struct margins *least)
{
    layout->margins.left = fmax(left_needed(layout, canvas), least->left);
    layout->margins.right = fmax(right_needed(layout, canvas), least->right);
    /* the name of the axis moves with the margin, so that twice is enough up to a change of the last label */
    for (int i = 0; i < 3; i++) {
        const double beyond = place_x(layout, sheet, canvas);
        if (beyond <= 0)
            break;
        layout->margins.right += beyond;
    }
}

/* ---- the whole ---- */

void layout_free(struct layout *layout)
{
    for (size_t i = 0; layout && layout->panel && i < layout->panels; i++)
        free(layout->panel[i].label);
    if (layout)
        free(layout->panel);
    free(layout);
}

static struct layout *allocate(const struct sheet *sheet, const struct page *page, struct dw_error *error)
{
    struct layout *layout = calloc(1, sizeof *layout);
    bool whole = layout != NULL;
    if (whole) {
        layout->page = *page;
        layout->panels = sheet->panels;
        whole = (layout->panel = calloc(sheet->panels, sizeof *layout->panel)) != NULL;
    }
    for (size_t i = 0; whole && i < sheet->panels; i++)
        whole = (layout->panel[i].label = calloc(sheet->panel[i].traces, sizeof *layout->panel[i].label)) != NULL;
    if (whole)
        return layout;
    dw_no_memory(error);
    layout_free(layout);
    return NULL;
}

static void needed(const struct layout *layout, const struct sheet *sheet, double title, int *width, int *height)
{
    const double font = layout->page.font;
    *width = (int)ceil(layout->margins.left + layout->margins.right + LEAST_WIDTH * font);
    *height = (int)ceil(height_around(sheet, font, title) + (double)sheet->panels * LEAST_PANEL * font);
}

static void place(struct layout *layout, const struct sheet *sheet, struct canvas *canvas, const struct margins *least,
                  double *title)
{
    const double top = place_title(layout, sheet, canvas);
    *title = layout->page.height - top;
    place_panels(layout, sheet, canvas, top);
    place_margins(layout, sheet, canvas, least);
    for (size_t i = 0; i < sheet->panels; i++) {
        layout->panel[i].box.left = layout->margins.left;
        layout->panel[i].box.right = layout->page.width - layout->margins.right;
        text_fit(layout->panel[i].heading, sheet->panel[i].heading, canvas, layout->page.font,
                 layout->page.width - layout->margins.left - OUTER * layout->page.font);
        labels_place(&layout->panel[i], &sheet->panel[i], &sheet->x, layout->page.font);
    }
}

struct layout *layout_new(const struct sheet *sheet, struct canvas *canvas, const struct page *page,
                          const struct margins *least, struct dw_error *error)
{
    struct layout *layout = allocate(sheet, page, error);
    double title;
    int width, height;
    if (!layout)
        return NULL;
    place(layout, sheet, canvas, least, &title);
    needed(layout, sheet, title, &width, &height);
    if (width <= page->width && height <= page->height)
        return layout;
    dw_error_set(error, DW_BAD_USE, 0, "%dx%d pixels are too few for %zu panel%s with letters of %g; %dx%d would do",
                 page->width, page->height, sheet->panels, sheet->panels == 1 ? "" : "s", page->font,
                 width > page->width ? width : page->width, height > page->height ? height : page->height);
    layout_free(layout);
    return NULL;
}

enum dw_status page_least(const struct sheet *sheet, struct canvas *canvas, double font, int *width, int *height, struct dw_error *error)
{
    const struct page page = { *width, *height, font };
    const struct margins none = { 0, 0 };
    double title = 0;
    struct layout *layout = allocate(sheet, &page, error);
    if (!layout)
        return DW_NO_MEMORY;
    place(layout, sheet, canvas, &none, &title);
    needed(layout, sheet, title, width, height);
    layout_free(layout);
    return DW_OK;
}
