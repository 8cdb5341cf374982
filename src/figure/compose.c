/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sheets of what was read: names, styles, looks and axes. */
#include "canvas.h"
#include "tables.h"
#include <dutywright/value.h>
#include <float.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Levels are shown down to so many dB below the top: harmonics that are smaller are there by rounding only, and a gain that
 * is smaller is zero. */
#define STEM_DECIBELS 120.0
#define LINE_DECIBELS 300.0
#define NO_LEVEL (-400.0) /* what spectra have for no amplitude at all */

/* Tables that are neither of time nor of frequency are shown as marks up to so many rows, and a spectrum as stems. */
enum { MOST_MARKS = 60, MOST_STEMS = 400 };

void drawing_note(struct drawing *drawing, const char *format, ...)
{
    va_list arguments;
    if (drawing->notes == MOST_NOTES)
        return;
    va_start(arguments, format);
    vsnprintf(drawing->note[drawing->notes++], NOTE_TEXT, format, arguments);
    va_end(arguments);
}

/* ---- styles and names ---- */

static enum trace_style style_of(const struct table_source *source, const struct request *request, size_t which)
{
    const enum trace_style asked = !request->styles ? TRACE_BY_ITSELF : request->style[request->styles == 1 ? 0 : which];
    if (asked != TRACE_BY_ITSELF)
        return asked;
    switch (source->kind) {
    case OF_TIME: return TRACE_LINES;
    case OF_FREQUENCY: return source->even && source->rows <= MOST_STEMS ? TRACE_STEMS : TRACE_LINES;
    case OF_OTHER: break;
    }
    return source->rows <= MOST_MARKS ? TRACE_MARKS : TRACE_LINES;
}

/* Whether all traces of a panel are the same channel, of several tables. */
static bool one_channel(const struct inner *inner, size_t panel, const char **name)
{
    *name = NULL;
    for (size_t i = 0; i < inner->picks; i++) {
        if (inner->pick[i].panel != panel)
            continue;
        if (*name && strcmp(*name, inner->pick[i].name))
            return false;
        *name = inner->pick[i].name;
    }
    return true;
}

static bool name_is_unique(const struct inner *inner, const struct pick *pick)
{
    int count = 0;
    for (size_t i = 0; i < inner->picks; i++)
        count += inner->pick[i].panel == pick->panel && !strcmp(inner->pick[i].name, pick->name);
    return count == 1;
}

/* Whether a table has no other channel in that panel. */
static bool is_alone(const struct inner *inner, const struct pick *pick)
{
    int count = 0;
    for (size_t i = 0; i < inner->picks; i++)
        count += inner->pick[i].panel == pick->panel && inner->pick[i].source == pick->source;
    return count == 1;
}

static const char *trace_name(struct inner *inner, const struct pick *pick, const struct request *request)
{
    const char *common, *source = inner->source[pick->source].name;
    char both[512];
    if (request->arrangement != TOGETHER || inner->sources == 1)
        return pick->name;
    if (one_channel(inner, pick->panel, &common))
        return source;
    if (name_is_unique(inner, pick) && pick->source >= request->names)
        return pick->name;
    if (is_alone(inner, pick))
        return source;
    snprintf(both, sizeof both, "%s %s", source, pick->name);
    return keep_string(inner, both);
}

static const char *panel_heading(const struct inner *inner, size_t panel, size_t first, const struct request *request)
{
    const char *common = "";
    if (request->arrangement == STACKED)
        return panel == first || inner->owner[panel] != inner->owner[panel - 1] ? inner->source[inner->owner[panel]].name : "";
    const bool by_table = request->arrangement == TOGETHER && inner->sources > 1 && one_channel(inner, panel, &common);
    return by_table && common ? common : "";
}

/* What has one label has one look wherever it is drawn. Two files of one name in one panel still have two. */
static bool is_same(const struct pick *one, const struct pick *other)
{
    return one == other || (one->panel != other->panel && !strcmp(one->label, other->label));
}

/* Looks in the order in which things first appear. */
static size_t look_of(const struct inner *inner, const struct pick *pick)
{
    const struct pick *first = inner->pick;
    size_t look = 0;
    while (!is_same(first, pick))
        first++;
    for (const struct pick *before = inner->pick; before < first; before++) {
        bool is_new = true;
        for (const struct pick *i = inner->pick; i < before; i++)
            is_new = is_new && !is_same(i, before);
        look += is_new;
    }
    return look;
}

/* Gives every pick its label. */
static enum dw_status name_picks(struct inner *inner, const struct request *request, struct dw_error *error)
{
    for (size_t i = 0; i < inner->picks; i++)
        if (!(inner->pick[i].label = trace_name(inner, &inner->pick[i], request)))
            return dw_no_memory(error);
    return DW_OK;
}

/* ---- axes ---- */

/* A range of values that grows. */
struct extent {
    double low, high;
    double least[2];  /* values not above it are left out: of lines and marks, of stems */
    bool left_out;    /* something was that is not just nothing */
};

static void extend(struct extent *extent, double value, bool stem)
{
    if (!(value > extent->least[stem])) {
        extent->left_out = extent->left_out || extent->least[stem] == 0 || value > NO_LEVEL;
        return;
    }
    extent->low = fmin(extent->low, value);
    extent->high = fmax(extent->high, value);
}

static void extend_by_trace(struct extent *extent, const struct trace *trace, const struct axis *x, bool from_zero)
{
    const bool stems = trace->style == TRACE_STEMS;
    for (size_t i = 0; i < reduction_strips(trace->rows); i++) {
        const struct strip *strip = reduction_strip(trace->rows, i, trace->channel);
        if (strip->last.x < x->low || strip->first.x > x->high)
            continue;
        extend(extent, strip->low.y, stems);
        extend(extent, strip->high.y, stems);
    }
    if (stems && from_zero)
        extend(extent, 0, false);
}

static bool any_stems(const struct drawing *drawing, size_t number)
{
    for (size_t p = 0; p < drawing->sheet[0].panels; p++) {
        const struct panel *panel = &drawing->sheet[0].panel[p];
        for (size_t k = 0; k < panel->traces && panel->number == number; k++)
            if (panel->trace[k].style == TRACE_STEMS)
                return true;
    }
    return false;
}

/* The values of all panels with one number. */
static struct extent extent_of(const struct drawing *drawing, size_t number, double of_lines, double of_stems, bool from_zero)
{
    struct extent extent = { INFINITY, -INFINITY, { of_lines, of_stems }, false };
    for (size_t i = 0; i < drawing->sheets; i++)
        for (size_t p = 0; p < drawing->sheet[i].panels; p++) {
            const struct panel *panel = &drawing->sheet[i].panel[p];
            for (size_t k = 0; k < panel->traces && panel->number == number; k++)
                extend_by_trace(&extent, &panel->trace[k], &drawing->x, from_zero);
        }
    return extent;
}

static enum dw_status read_range(struct axis *axis, const char *text, struct dw_error *error)
{
    struct dw_error why;
    char low[64];
    const char *colon = strchr(text, ':');
    if (!colon || colon == text || !colon[1] || (size_t)(colon - text) >= sizeof low)
        return dw_error_set(error, DW_BAD_USE, 0, "--range: '%s': LOW:HIGH was wanted, such as 0:3.3", text);
    snprintf(low, sizeof low, "%.*s", (int)(colon - text), text);
    if (dw_quantity_parse(low, DW_NUMBER, &axis->low, &why) != DW_OK
        || dw_quantity_parse(colon + 1, DW_NUMBER, &axis->high, &why) != DW_OK)
        return dw_error_set(error, DW_BAD_USE, 0, "--range: %s", why.text);
    if (!(axis->low < axis->high))
        return dw_error_set(error, DW_BAD_USE, 0, "--range: '%s': the low end must be below the high one", text);
    if (fmax(fabs(axis->low), fabs(axis->high)) > AXIS_MOST)
        return dw_error_set(error, DW_BAD_USE, 0, "--range: '%s': an axis ends at %g", text, AXIS_MOST);
    if (axis->logarithmic && axis->low <= 0)
        return dw_error_set(error, DW_BAD_USE, 0, "--range: '%s': a logarithmic axis begins above zero", text);
    return DW_OK;
}

/* A pin's levels have marks where the values end at them. */
static void mark_levels(const struct inner *inner, const struct extent *extent, struct axis *axis)
{
    for (size_t i = 0; i < inner->sources && !strcmp(axis->unit, "V"); i++)
        for (int k = 0; k < 2; k++)
            if (inner->source[i].level[k] == (k ? extent->high : extent->low))
                axis->level[k] = inner->source[i].level[k];
}

/* The y axis of all panels that share it. */
static enum dw_status choose_y(struct drawing *drawing, size_t number, const char *unit, const struct request *request,
                               struct dw_error *error)
{
    struct axis axis = { .logarithmic = panel_scale(request, number) == SCALE_LOG, .unit = unit };
    const char *asked = number < request->ranges ? request->range[number] : "";
    const bool decibels = !strcmp(axis.unit, "dB");
    const double least = axis.logarithmic ? 0 : -INFINITY;
    struct extent extent = extent_of(drawing, number, least, least, !decibels && !axis.logarithmic);
    if (decibels) {
        extent = extent_of(drawing, number, extent.high - LINE_DECIBELS, extent.high - STEM_DECIBELS, false);
        if (extent.left_out && !*asked)
            drawing_note(drawing, "levels far below the highest (stems by %g dB, lines by %g dB) are not shown; --range shows them",
                         STEM_DECIBELS, LINE_DECIBELS);
    } else if (axis.logarithmic && extent.left_out) {
        if (extent.low > extent.high && !*asked)
            return dw_error_set(error, DW_BAD_INPUT, 0, "--y-scale log: panel %zu has no value above zero", number + 1);
        drawing_note(drawing, "values at or below zero have no place on a logarithmic axis");
    }
    const bool any = extent.low <= extent.high;
    axis.low = any ? extent.low : axis.logarithmic;
    axis.high = any ? extent.high : axis.logarithmic;
    axis_widen(&axis);
    mark_levels(drawing->inner, &extent, &axis);
    if (decibels && any_stems(drawing, number)) /* the smallest level has a stem too */
        axis.low -= 0.15 * (axis.high - axis.low);
    const enum dw_status status = *asked ? read_range(&axis, asked, error) : DW_OK;
    for (size_t i = 0; i < drawing->sheets; i++)
        for (size_t p = 0; p < drawing->sheet[i].panels; p++)
            if (drawing->sheet[i].panel[p].number == number)
                drawing->sheet[i].panel[p].axis = axis;
    return status;
}

static bool logarithmic_x(const struct inner *inner, const struct request *request)
{
    bool uneven = false;
    for (size_t i = 0; i < inner->sources; i++)
        uneven = uneven || !inner->source[i].even;
    return request->x_scale == SCALE_LOG
        || (request->x_scale == SCALE_BY_ITSELF && inner->source[0].kind == OF_FREQUENCY && uneven);
}

/* Air beside marks and stems, which stand on the ends of the axis otherwise. */
static void give_air(struct axis *x, bool from_zero)
{
    if (x->logarithmic) {
        const double air = pow(x->high / x->low, 0.03);
        x->low /= air;
        x->high *= air;
        return;
    }
    if (from_zero && x->low > 0 && x->low < 0.4 * x->high)
        x->low = 0;
    const double air = 0.03 * (x->high - x->low);
    x->low -= x->low == 0 ? 0 : air;
    x->high += air;
}

static enum dw_status choose_x(struct drawing *drawing, const struct request *request, struct axis *x, struct dw_error *error)
{
    const struct inner *inner = drawing->inner;
    const bool logarithmic = logarithmic_x(inner, request);
    struct extent extent = { INFINITY, -INFINITY, { logarithmic ? 0 : -INFINITY, 0 }, false };
    bool lines = true;
    for (size_t i = 0; i < inner->sources; i++) {
        const struct table_source *source = &inner->source[i];
        const struct reduction *rows = window_reduction(source->window);
        lines = lines && style_of(source, request, i) == TRACE_LINES;
        extend(&extent, source->from, false);
        extend(&extent, source->to, false);
        for (size_t k = 0; k < reduction_strips(rows) && logarithmic && source->from <= 0; k++)
            extend(&extent, reduction_strip(rows, k, 0)->first.x, false);
    }
    if (extent.low > extent.high)
        return dw_error_set(error, DW_BAD_INPUT, 0, "a logarithmic axis of %s needs values above zero", inner->source[0].x_name);
    *x = (struct axis){ .low = extent.low, .high = extent.high, .logarithmic = logarithmic, .unit = inner->source[0].x_unit };
    const double size = fmax(fabs(x->low), fabs(x->high));
    if (axis_is_flat(x) || size > AXIS_MOST || size < AXIS_LEAST)
        axis_widen(x);
    else if (!lines && !request->span)
        give_air(x, true);
    return DW_OK;
}

/* ---- sheets ---- */

/* Panels of several tables share the number, and with it the axis, where they stand at one place among their tables'
 * panels and have one unit: what is to be compared looks alike. */
static size_t number_of(const struct inner *inner, size_t which, const struct request *request)
{
    size_t place = 0;
    for (size_t i = 0; i < which; i++)
        place += inner->owner[i] == inner->owner[which];
    const bool alike = inner->owner[place] == 0 && !strcmp(inner->unit[place], inner->unit[which]);
    return request->arrangement != TOGETHER && alike ? place : which;
}

/* A mean that is zero but for the rounding of its sum is shown as zero. */
static double shown_mean(const struct trace *trace)
{
    double size = 0;
    for (size_t i = 0; i < reduction_strips(trace->rows); i++) {
        const struct strip *strip = reduction_strip(trace->rows, i, trace->channel);
        size = fmax(size, fmax(fabs(strip->low.y), fabs(strip->high.y)));
    }
    return fabs(trace->mean) <= 16 * DBL_EPSILON * size ? 0 : trace->mean;
}

static enum dw_status fill_panel(struct drawing *drawing, struct panel *panel, size_t which, size_t first,
                                 const struct request *request, struct dw_error *error)
{
    struct inner *inner = drawing->inner;
    panel->trace = calloc(inner->picks, sizeof *panel->trace);
    panel->axis.unit = inner->unit[which];
    panel->heading = panel_heading(inner, which, first, request);
    panel->number = number_of(inner, which, request);
    if (!panel->trace)
        return dw_no_memory(error);
    for (size_t i = 0; i < inner->picks; i++) {
        const struct pick *pick = &inner->pick[i];
        const struct table_source *source = &inner->source[pick->source];
        if (pick->panel != which)
            continue;
        struct trace *trace = &panel->trace[panel->traces++];
        *trace = (struct trace){
            pick->label, window_reduction(source->window), pick->channel, style_of(source, request, pick->source),
            look_of(inner, pick), source->has_means && source->factor[pick->channel] != TO_DECIBELS,
            source->mean[pick->channel] };
        trace->mean = shown_mean(trace);
    }
    return DW_OK;
}

/* Panels first to last - 1 make a sheet. */
static enum dw_status add_sheet(struct drawing *drawing, size_t first, size_t last, const char *caption,
                                const struct request *request, struct dw_error *error)
{
    struct inner *inner = drawing->inner;
    struct sheet *sheet = &drawing->sheet[drawing->sheets++];
    *sheet = (struct sheet){ request->title ? request->title : "", caption, inner->source[0].x_name, drawing->x, NULL, 0 };
    sheet->panel = calloc(last - first, sizeof *sheet->panel);
    enum dw_status status = sheet->panel ? DW_OK : dw_no_memory(error);
    for (size_t i = first; i < last && status == DW_OK; i++)
        status = fill_panel(drawing, &sheet->panel[sheet->panels++], i, first, request, error);
    return status;
}

static enum dw_status add_frames(struct drawing *drawing, const struct request *request, struct dw_error *error)
{
    const struct inner *inner = drawing->inner;
    enum dw_status status = DW_OK;
    for (size_t first = 0, last; first < inner->panels && status == DW_OK; first = last) {
        const size_t owner = inner->owner[first];
        for (last = first; last < inner->panels && inner->owner[last] == owner;)
            last++;
        status = add_sheet(drawing, first, last, inner->source[owner].name, request, error);
        const struct sheet *sheet = &drawing->sheet[drawing->sheets - 1];
        if (status == DW_OK && sheet->panels != drawing->sheet[0].panels)
            status = dw_error_set(error, DW_BAD_INPUT, 0, "--frames: %s and %s have %zu and %zu panels: choose alike channels with --panel",
                                  inner->source[0].path, inner->source[owner].path, drawing->sheet[0].panels, sheet->panels);
    }
    return status;
}

enum dw_status compose_sheets(struct drawing *drawing, const struct request *request, struct dw_error *error)
{
    const struct inner *inner = drawing->inner;
    enum dw_status status = choose_x(drawing, request, &drawing->x, error);
    drawing->sheet = calloc(inner->sources, sizeof *drawing->sheet);
    if (status == DW_OK && !drawing->sheet)
        status = dw_no_memory(error);
    if (status == DW_OK)
        status = name_picks(drawing->inner, request, error);
    if (status == DW_OK)
        status = request->arrangement == FRAMES ? add_frames(drawing, request, error)
                                                : add_sheet(drawing, 0, inner->panels, "", request, error);
    for (size_t i = 0; status == DW_OK && i < inner->panels; i++)
        if (number_of(inner, i, request) == i)
            status = choose_y(drawing, i, inner->unit[i], request, error);
    const size_t panels = status == DW_OK ? drawing->sheet[0].panels : 0;
    if (status == DW_OK && request->y_scales > 1 && request->y_scales > panels)
        return dw_error_set(error, DW_BAD_USE, 0, "--y-scale: given %zu times for %zu panel%s: give one for all, or one for each",
                            request->y_scales, panels, panels == 1 ? "" : "s");
    if (status == DW_OK && request->ranges > panels)
        return dw_error_set(error, DW_BAD_USE, 0, "--range: '%s': given %zu times for %zu panel%s", request->range[request->ranges - 1],
                            request->ranges, panels, panels == 1 ? "" : "s");
    return status;
}
