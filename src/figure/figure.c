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
static enum dw_status choose_page(const struct sheet *sheets, size_t count, const struct figure_form *form,
                                  struct canvas *canvas, struct page *page, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    *page = (struct page){ form->width ? form->width : FIGURE_WIDTH, form->height ? form->height : FIGURE_HEIGHT, form->font };
    page->font = page->font > 0 ? page->font : page_font(page->width, page->height);
    for (size_t i = 0; i < count && !form->height && status == DW_OK; i++) {
        int width = page->width, height = page->height;
        status = page_least(&sheets[i], canvas, page->font, &width, &height, error);
        height += (int)ceil((double)sheets[i].panels * PANEL_AIR * page->font);
        page->height = height > page->height ? height < FIGURE_MOST ? height : FIGURE_MOST : page->height;
    }
    return status;
}

/* The margins that all frames can share. */
static enum dw_status share_margins(const struct sheet *sheets, size_t count, struct canvas *canvas,
                                    const struct page *page, struct margins *margins, struct dw_error *error)
{
    *margins = (struct margins){ 0, 0 };
    for (size_t i = 0; i < count; i++) {
        struct layout *layout = layout_new(&sheets[i], canvas, page, margins, error);
        if (!layout)
            return error->status;
        *margins = layout->margins;
        layout_free(layout);
    }
    return DW_OK;
}

static enum dw_status draw_page(const struct sheet *sheet, const struct page *page, const struct margins *margins,
                                enum medium medium, int scale, char **bytes, size_t *size, struct dw_error *error)
{
    struct canvas *canvas = canvas_new(medium, page->width, page->height, scale, error);
    struct layout *layout = canvas ? layout_new(sheet, canvas, page, margins, error) : NULL;
    enum dw_status status = layout ? sheet_draw(sheet, layout, canvas, error) : error->status;
    if (status == DW_OK)
        status = canvas_finish(canvas, bytes, size, error);
    layout_free(layout);
    canvas_free(canvas);
    return status;
}

static enum dw_status paint_page(const struct sheet *sheet, const struct page *page, const struct margins *margins,
                                 struct picture *picture, struct dw_error *error)
{
    const long pixels = page->width * (long)page->height;
    const int scale = pixels > VAST ? AS_FINE : pixels > LARGE ? FINER_LARGE : FINER;
    char *pnm = NULL;
    size_t size;
    enum dw_status status = draw_page(sheet, page, margins, MEDIUM_PIXELS, scale, &pnm, &size, error);
    if (status == DW_OK)
        status = picture_reduce(picture, pnm, size, scale, error);
    free(pnm);
    return status;
}

static enum dw_status render_gif(const struct sheet *sheets, size_t count, const struct page *page,
                                 const struct margins *margins, const struct figure_form *form,
                                 const struct remarks *remarks, char **bytes, size_t *size, struct dw_error *error)
{
    struct gif *gif = gif_new(page->width, page->height, count, form->seconds, error);
    enum dw_status status = gif ? DW_OK : error->status;
    for (size_t i = 0; i < count && status == DW_OK; i++) {
        struct picture picture = { 0 };
        status = paint_page(&sheets[i], page, margins, &picture, error);
        if (status == DW_OK)
            status = gif_add(gif, &picture, error);
        picture_free(&picture);
    }
    if (status == DW_OK)
        status = gif_finish(gif, remarks, bytes, size, error);
    gif_free(gif);
    return status;
}

static enum dw_status render_png(const struct sheet *sheet, const struct page *page, const struct margins *margins,
                                 const struct remarks *remarks, char **bytes, size_t *size, struct dw_error *error)
{
    struct picture picture = { 0 };
    enum dw_status status = paint_page(sheet, page, margins, &picture, error);
    if (status == DW_OK)
        status = picture_png(&picture, remarks, bytes, size, error);
    picture_free(&picture);
    return status;
}

static enum dw_status render_vector(const struct sheet *sheet, const struct page *page, const struct margins *margins,
                                    enum figure_type type, const struct remarks *remarks, char **bytes, size_t *size,
                                    struct dw_error *error)
{
    const bool svg = type == FIGURE_SVG;
    char *made = NULL;
    size_t made_size = 0;
    enum dw_status status = draw_page(sheet, page, margins, svg ? MEDIUM_SVG : MEDIUM_PS, 1, &made, &made_size, error);
    if (status == DW_OK)
        status = svg ? document_svg(&made, &made_size, page->width, page->height, remarks, error)
                     : document_ps(&made, &made_size, remarks, error);
    if (status != DW_OK) {
        free(made);
        return status;
    }
    *bytes = made;
    *size = made_size;
    return DW_OK;
}

enum dw_status figure_render(const struct sheet *sheets, size_t count, const struct figure_form *form,
                             const struct remarks *remarks, char **bytes, size_t *size, struct dw_error *error)
{
    struct dw_error unheard = { .status = DW_OK };
    error = error ? error : &unheard;
    const struct preview_form preview = { form->width, form->height, form->colour, form->ascii };
    if (form->type == FIGURE_TEXT)
        return preview_render(&sheets[0], &preview, bytes, size, error);
    struct canvas *measuring = canvas_new(MEDIUM_SVG, FIGURE_WIDTH, FIGURE_HEIGHT, 1, error);
    if (!measuring)
        return error->status;
    struct page page;
    struct margins margins;
    enum dw_status status = choose_page(sheets, count, form, measuring, &page, error);
    if (status == DW_OK)
        status = share_margins(sheets, count, measuring, &page, &margins, error);
    canvas_free(measuring);
    if (status != DW_OK)
        return status;
    switch (form->type) {
    case FIGURE_GIF: return render_gif(sheets, count, &page, &margins, form, remarks, bytes, size, error);
    case FIGURE_PNG: return render_png(&sheets[0], &page, &margins, remarks, bytes, size, error);
    case FIGURE_SVG:
    case FIGURE_PS:
    case FIGURE_TEXT:
    case FIGURE_TYPES: break;
    }
    return render_vector(&sheets[0], &page, &margins, form->type, remarks, bytes, size, error);
}
