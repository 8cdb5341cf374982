/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "layout.h"
#include "curve.h"
#include <math.h>
#include <stdlib.h>

/* Shares of the size of letters. */
#define TITLE_SIZE 1.2
#define TITLE_LEADING 1.5
#define CURVE 0.135  /* width of lines */
#define THIN 0.05    /* of rules */
#define MEAN 0.12
#define OUTER 0.7

/* Lines that would paint over more than this share of their panel are drawn thinner, down to a third. */
#define MOST_COVER 0.35
#define THINNEST 0.33

static double line_width(const struct layout *layout)
{
    return fmax(CURVE * layout->page.font, 1.2);
}

static double across(const struct box *box, const struct axis *axis, double value)
{
    return box->left + axis_place(axis, value) * (box->right - box->left);
}

static double up(const struct box *box, const struct axis *axis, double value)
{
    return box->bottom + axis_place(axis, value) * (box->top - box->bottom);
}

static void draw_title(const struct sheet *sheet, const struct layout *layout, struct canvas *canvas)
{
    const double font = layout->page.font, size = TITLE_SIZE * font;
    const double first = layout->title_top - TITLE_LEADING * font / 2;
    for (int i = 0; i < layout->title_lines; i++)
        canvas_text(canvas, OUTER * font, first - i * TITLE_LEADING * font, (struct lettering){ TEXT_LEFT, size, TEXT_STRONG }, layout->title[i]);
    if (*sheet->caption && layout->title_lines)
        canvas_text(canvas, layout->page.width - OUTER * font, first, (struct lettering){ TEXT_RIGHT, size, TEXT_STRONG }, layout->caption);
    else if (*sheet->caption) /* at the left, where it stands still from frame to frame */
        canvas_text(canvas, OUTER * font, first, (struct lettering){ TEXT_LEFT, size, TEXT_STRONG }, layout->caption);
}

/* Rules up from the x axis, through all panels and the gaps between, so that one instant is seen in each. */
static void draw_x_rules(const struct sheet *sheet, const struct layout *layout, struct canvas *canvas)
{
    const struct box *top = &layout->panel[0].box, *bottom = &layout->panel[layout->panels - 1].box;
    for (int labelled = 0; labelled < 2; labelled++)
        for (int i = 0; i < layout->x.count; i++) {
            const double x = across(top, &sheet->x, layout->x.at[i].value);
            if ((*layout->x.at[i].text != 0) != labelled)
                continue;
            canvas_pen(canvas, labelled ? RULE : RULE_FINE, THIN * layout->page.font);
            canvas_line(canvas, x, bottom->bottom, x, top->top);
        }
}

static void draw_y_rules(const struct panel *panel, const struct panel_layout *layout, struct canvas *canvas, double font)
{
    const struct box *box = &layout->box;
    for (int i = 0; i < layout->ticks.count; i++) {
        const struct tick *tick = &layout->ticks.at[i];
        const double y = up(box, &panel->axis, tick->value);
        const bool zero = tick->value == 0 && !panel->axis.logarithmic;
        canvas_pen(canvas, zero ? INK : *tick->text ? RULE : RULE_FINE, THIN * font);
        canvas_line(canvas, box->left, y, box->right, y);
        canvas_text(canvas, box->left - 0.5 * font, y, (struct lettering){ TEXT_RIGHT, font, TEXT_PLAIN }, tick->text);
    }
}

static void draw_x_axis(const struct sheet *sheet, const struct layout *layout, struct canvas *canvas)
{
    const double font = layout->page.font;
    const struct box *box = &layout->panel[layout->panels - 1].box;
    canvas_pen(canvas, INK, 1.6 * THIN * font);
    canvas_line(canvas, box->left, box->bottom, box->right, box->bottom);
    for (int i = 0; i < layout->x.count; i++) {
        const struct tick *tick = &layout->x.at[i];
        const double x = across(box, &sheet->x, tick->value);
        canvas_pen(canvas, INK, 1.6 * THIN * font);
        canvas_line(canvas, x, box->bottom, x, box->bottom - (*tick->text ? 0.35 : 0.2) * font);
        canvas_text(canvas, x, box->bottom - 1.1 * font, (struct lettering){ TEXT_CENTRE, font, TEXT_PLAIN }, tick->text);
    }
    canvas_text(canvas, layout->x_text_left, box->bottom - 1.1 * font, (struct lettering){ TEXT_LEFT, font, TEXT_PLAIN }, layout->x_text);
}

/* bed: a white line below, that keeps them visible on a painted area */
static void draw_means(const struct panel *panel, const struct panel_layout *layout, struct canvas *canvas, double font,
                       bool bed)
{
    const struct box *box = &layout->box;
    for (size_t i = 0; i < panel->traces; i++) {
        const struct trace *trace = &panel->trace[i];
        const double y = up(box, &panel->axis, trace->mean);
        if (!trace->has_mean || !(y >= box->bottom && y <= box->top))
            continue;
        if (bed) {
            canvas_pen(canvas, PAPER, 2.2 * MEAN * font);
            canvas_line(canvas, box->left, y, box->right, y);
        }
        canvas_pen(canvas, palette_look(trace->look).colour, MEAN * font);
        canvas_dash(canvas, 1, 0.2 * font);
        canvas_line(canvas, box->left, y, box->right, y);
    }
}

/* Lines that cross have tags, so that they are told apart without colour. */
static bool needs_tags(const struct panel *panel)
{
    size_t lines = 0;
    for (size_t i = 0; i < panel->traces; i++)
        lines += panel->trace[i].style == TRACE_LINES;
    return lines > 1;
}

/* The line from a curve's end, or from its mean, to its label: the legend's sample at once. */
static void draw_leader(const struct frame *frame, const struct panel *panel, const struct label *label,
                        const struct panel_layout *layout, bool tagged)
{
    struct canvas *canvas = frame->canvas;
    const double font = frame->font, width = frame->width * layout->label_size / font;
    const struct trace *trace = &panel->trace[label->trace];
    const struct look look = palette_look(trace->look);
    const double from = layout->box.right + 0.15 * font, to = layout->box.right + 1.45 * font;
    const double y = label->centre + (*label->line[1] ? LABEL_LEADING * layout->label_size / 2 : 0);
    canvas_pen(canvas, look.colour, width);
    if (label->anchored) {
        canvas_move(canvas, from, label->anchor);
        canvas_draw(canvas, from + 0.25 * font, label->anchor);
        canvas_draw(canvas, from + 0.75 * font, y);
        canvas_draw(canvas, to, y);
        canvas_stroke(canvas);
    } else if (trace->style != TRACE_MARKS) {
        canvas_dash(canvas, look.dash, 1.6 * width);
        canvas_line(canvas, from + 0.25 * font, y, to, y);
    }
    canvas_pen(canvas, look.colour, width);
    if (trace->style != TRACE_LINES || tagged)
        mark_draw(canvas, look.mark, (from + to) / 2 + 0.25 * font, y, MARK * font);
}

static void draw_labels(const struct frame *frame, const struct panel *panel, const struct panel_layout *layout)
{
    struct canvas *canvas = frame->canvas;
    const bool tagged = needs_tags(panel);
    const double size = layout->label_size, x = layout->box.right + 1.8 * frame->font;
    for (size_t i = 0; i < layout->labels; i++) {
        const struct label *label = &layout->label[i];
        const bool counts = layout->left_out && label->trace + 1 == layout->labels;
        const double half = *label->line[1] ? LABEL_LEADING * size / 2 : 0;
        if (!counts)
            draw_leader(frame, panel, label, layout, tagged);
        canvas_text(canvas, x, label->centre + half, (struct lettering){ TEXT_LEFT, size, half > 0 ? TEXT_STRONG : TEXT_PLAIN }, label->line[0]);
        if (half > 0)
            canvas_text(canvas, x, label->centre - half, (struct lettering){ TEXT_LEFT, size, TEXT_PLAIN }, label->line[1]);
    }
}

static double thinned(const struct bands *bands, double width)
{
    return bands->cover * width > MOST_COVER ? fmax(MOST_COVER / bands->cover, THINNEST * width) : width;
}

/* Dense ones first and marks last, so that each is seen on top of what would hide it. */
static void draw_curves(const struct panel *panel, struct bands *bands, struct frame frame)
{
    const double width = frame.width;
    for (int pass = 0; pass < 3; pass++)
        for (size_t i = 0; i < panel->traces; i++) {
            const bool dense = bands[i].any || bands[i].cover * width > MOST_COVER;
            const bool marks = panel->trace[i].style == TRACE_MARKS || panel->trace[i].style == TRACE_JOINED;
            frame.width = thinned(&bands[i], width);
            if (pass == (marks ? 2 : dense ? 0 : 1))
                curve_draw(&frame, &panel->trace[i], &bands[i]);
        }
}

static enum dw_status draw_panel(const struct sheet *sheet, const struct panel *panel, const struct panel_layout *layout,
                                 const struct layout *page, struct canvas *canvas, struct dw_error *error)
{
    const double font = page->page.font, width = line_width(page);
    const struct frame frame = { canvas, layout->box, &sheet->x, &panel->axis, width, font };
    struct bands *bands = calloc(panel->traces + 1, sizeof *bands);
    enum dw_status status = bands ? DW_OK : dw_no_memory(error);
    bool dense = false;
    for (size_t i = 0; i < panel->traces && status == DW_OK; i++) {
        status = bands_find(&bands[i], &frame, &panel->trace[i], error);
        dense = dense || bands[i].any || bands[i].cover * width > MOST_COVER;
    }
    if (status == DW_OK) {
        for (size_t i = 0; i < panel->traces; i++)
            bands_shade(&bands[i], &frame, &panel->trace[i]);
        if (!dense)
            draw_means(panel, layout, canvas, font, false);
        draw_curves(panel, bands, frame);
        if (dense)
            draw_means(panel, layout, canvas, font, true);
        for (size_t i = 0; i < panel->traces && needs_tags(panel); i++)
            curve_tag(&frame, &panel->trace[i], &bands[i], ((double)i + 0.5) / (double)panel->traces);
        draw_labels(&frame, panel, layout);
    }
    for (size_t i = 0; bands && i < panel->traces; i++)
        bands_free(&bands[i]);
    free(bands);
    if (*layout->heading)
        canvas_text(canvas, layout->box.left, layout->box.top + 0.75 * font, (struct lettering){ TEXT_LEFT, font, TEXT_STRONG }, layout->heading);
    return status;
}

enum dw_status sheet_draw(const struct sheet *sheet, const struct layout *layout, struct canvas *canvas,
                          struct dw_error *error)
{
    enum dw_status status = DW_OK;
    draw_title(sheet, layout, canvas);
    draw_x_rules(sheet, layout, canvas);
    for (size_t i = 0; i < sheet->panels; i++)
        draw_y_rules(&sheet->panel[i], &layout->panel[i], canvas, layout->page.font);
    for (size_t i = 0; i < sheet->panels && status == DW_OK; i++)
        status = draw_panel(sheet, &sheet->panel[i], &layout->panel[i], layout, canvas, error);
    draw_x_axis(sheet, layout, canvas);
    return status;
}
