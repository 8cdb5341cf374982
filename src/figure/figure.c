/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "figure.h"
#include "layout.h"
#include "document.h"
#include <math.h>
#include <stdlib.h>

/* Painted so many times finer; less from so many pixels on, where that would take gigabytes. */
enum { FINER = 3, FINER_LARGE = 2, LARGE = 4200000, AS_FINE = 1, VAST = 17000000 };

/* Height of a panel beyond the least, in sizes of letters, where the page may grow. */
#define PANEL_AIR 2.0

const char *figure_type_name(enum figure_type type)
{
    static const char *const names[FIGURE_TYPES] = { "svg", "png", "ps", "gif", "text" };
    return names[type];
}

/* One page that suits all sheets, where nothing else was asked for. */
static enum dw_status choose_page(const struct figure *figure, const struct figure_form *form, struct canvas *canvas, struct page *page,
                                  struct dw_error *error)
{
    enum dw_status status = DW_OK;
    *page = (struct page){ form->width ? form->width : FIGURE_WIDTH, form->height ? form->height : FIGURE_HEIGHT, form->font };
    page->font = page->font > 0 ? page->font : page_font(page->width, page->height);
    for (size_t i = 0; i < figure->count && !form->height && status == DW_OK; i++) {
        int width = page->width, height = page->height;
        status = page_least(&figure->sheets[i], canvas, page->font, &width, &height, error);
        height += (int)ceil((double)figure->sheets[i].panels * PANEL_AIR * page->font);
        page->height = height > page->height ? height < FIGURE_MOST ? height : FIGURE_MOST : page->height;
    }
    return status;
}

/* The margins that all frames can share. */
static enum dw_status share_margins(const struct figure *figure, struct canvas *canvas, const struct page *page, struct margins *margins,
                                    struct dw_error *error)
{
    *margins = (struct margins){ 0, 0 };
    for (size_t i = 0; i < figure->count; i++) {
        struct layout *layout = layout_new(&figure->sheets[i], canvas, page, margins, error);
        if (!layout)
            return error->status;
        *margins = layout->margins;
        layout_free(layout);
    }
    return DW_OK;
}

/* One file: what goes into it, and its bytes. */
struct rendering {
    const struct figure *figure;
    const struct figure_form *form;
    struct page page;
    struct margins margins;
    char *bytes;
    size_t size;
};

/* Leaves what libplot makes of a sheet in `bytes` and `size`. */
static enum dw_status draw_page(struct rendering *r, const struct sheet *sheet, enum medium medium, int scale, struct dw_error *error)
{
    struct canvas *canvas = canvas_new(medium, r->page.width, r->page.height, scale, error);
    struct layout *layout = canvas ? layout_new(sheet, canvas, &r->page, &r->margins, error) : NULL;
    enum dw_status status = layout ? sheet_draw(sheet, layout, canvas, error) : error->status;
    if (status == DW_OK)
        status = canvas_finish(canvas, &r->bytes, &r->size, error);
    layout_free(layout);
    canvas_free(canvas);
    return status;
}

static enum dw_status paint_page(struct rendering *r, const struct sheet *sheet, struct picture *picture, struct dw_error *error)
{
    const long pixels = r->page.width * (long)r->page.height;
    const int scale = pixels > VAST ? AS_FINE : pixels > LARGE ? FINER_LARGE : FINER;
    enum dw_status status = draw_page(r, sheet, MEDIUM_PIXELS, scale, error);
    if (status == DW_OK)
        status = picture_reduce(picture, r->bytes, r->size, scale, error);
    free(r->bytes);
    r->bytes = NULL;
    return status;
}

static enum dw_status render_gif(struct rendering *r, struct dw_error *error)
{
    struct gif *gif = gif_new(r->page.width, r->page.height, r->figure->count, r->form->seconds, error);
    enum dw_status status = gif ? DW_OK : error->status;
    for (size_t i = 0; i < r->figure->count && status == DW_OK; i++) {
        struct picture picture = { 0 };
        status = paint_page(r, &r->figure->sheets[i], &picture, error);
        if (status == DW_OK)
            status = gif_add(gif, &picture, error);
        picture_free(&picture);
    }
    if (status == DW_OK)
        status = gif_finish(gif, r->figure->remarks, &r->bytes, &r->size, error);
    gif_free(gif);
    return status;
}

static enum dw_status render_png(struct rendering *r, struct dw_error *error)
{
    struct picture picture = { 0 };
    enum dw_status status = paint_page(r, r->figure->sheets, &picture, error);
    if (status == DW_OK)
        status = picture_png(&picture, r->figure->remarks, &r->bytes, &r->size, error);
    picture_free(&picture);
    return status;
}

static enum dw_status render_vector(struct rendering *r, struct dw_error *error)
{
    const bool svg = r->form->type == FIGURE_SVG;
    enum dw_status status = draw_page(r, r->figure->sheets, svg ? MEDIUM_SVG : MEDIUM_PS, 1, error);
    if (status == DW_OK)
        status = svg ? document_svg(&r->bytes, &r->size, r->page.width, r->page.height, r->figure->remarks, error)
                     : document_ps(&r->bytes, &r->size, r->figure->remarks, error);
    return status;
}

static enum dw_status choose_room(struct rendering *r, struct dw_error *error)
{
    struct canvas *measuring = canvas_new(MEDIUM_SVG, FIGURE_WIDTH, FIGURE_HEIGHT, 1, error);
    enum dw_status status = measuring ? choose_page(r->figure, r->form, measuring, &r->page, error) : error->status;
    if (status == DW_OK)
        status = share_margins(r->figure, measuring, &r->page, &r->margins, error);
    canvas_free(measuring);
    return status;
}

enum dw_status figure_render(const struct figure *figure, const struct figure_form *form, char **bytes, size_t *size, struct dw_error *error)
{
    struct dw_error unheard = { .status = DW_OK };
    error = error ? error : &unheard;
    const struct preview_form preview = { form->width, form->height, form->colour, form->ascii };
    if (form->type == FIGURE_TEXT)
        return preview_render(&figure->sheets[0], &preview, bytes, size, error);
    struct rendering r = { .figure = figure, .form = form };
    enum dw_status status = choose_room(&r, error);
    if (status == DW_OK)
        status = form->type == FIGURE_GIF ? render_gif(&r, error) : form->type == FIGURE_PNG ? render_png(&r, error) : render_vector(&r, error);
    if (status != DW_OK) {
        free(r.bytes);
        return status;
    }
    *bytes = r.bytes;
    *size = r.size;
    return DW_OK;
}
