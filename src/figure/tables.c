/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tables.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void source_free(struct table_source *source)
{
    dw_reader_close(source->reader);
    window_free(source->window);
    free(source->column);
    free(source->slope);
    free(source->factor);
    free(source->mean);
}

static void inner_free(struct inner *inner)
{
    if (!inner)
        return;
    for (size_t i = 0; i < inner->sources; i++)
        source_free(&inner->source[i]);
    for (size_t i = 0; i < inner->strings; i++)
        free(inner->string[i]);
    free(inner->source);
    free(inner->pick);
    free(inner->unit);
    free(inner->owner);
    free(inner->string);
    free(inner);
}

void drawing_free(struct drawing *drawing)
{
    if (!drawing)
        return;
    for (size_t i = 0; drawing->sheet && i < drawing->sheets; i++) {
        for (size_t k = 0; drawing->sheet[i].panel && k < drawing->sheet[i].panels; k++)
            free(drawing->sheet[i].panel[k].trace);
        free(drawing->sheet[i].panel);
    }
    free(drawing->sheet);
    inner_free(drawing->inner);
    free(drawing->made_by);
    free(drawing->summary);
    free(drawing);
}

/* The commands that made the tables, from their headers. */
static bool collect_made_by(struct drawing *drawing)
{
    size_t size = 0;
    FILE *out = open_memstream(&drawing->made_by, &size);
    if (!out)
        return false;
    for (size_t i = 0; i < drawing->inner->sources; i++) {
        const struct dw_header *header = dw_reader_header(drawing->inner->source[i].reader);
        const char *key, *value;
        for (size_t k = 0; (key = dw_header_key(header, k, &value)); k++)
            if (!strcmp(key, "made-by"))
                fprintf(out, "%s\n", value);
    }
    return !fclose(out) && drawing->made_by;
}

/* One sentence on what is drawn, for those who do not see it. */
static bool summarise(struct drawing *drawing)
{
    size_t size = 0;
    const struct sheet *sheet = &drawing->sheet[0];
    FILE *out = open_memstream(&drawing->summary, &size);
    if (!out)
        return false;
    for (size_t i = 0; i < sheet->panels; i++)
        for (size_t k = 0; k < sheet->panel[i].traces; k++) {
            const struct trace *trace = &sheet->panel[i].trace[k];
            char mean[96];
            fprintf(out, "%s%s", i + k ? ", " : "", trace->name);
            if (trace->has_mean) {
                label_quantity(mean, sizeof mean, trace->mean, sheet->panel[i].axis.unit, 4);
                fprintf(out, " (mean %s)", mean);
            }
        }
    fprintf(out, " against %s", sheet->x_name);
    return !fclose(out) && drawing->summary;
}

static void add_notes(struct drawing *drawing, const struct request *request)
{
    for (size_t i = 0; i < drawing->inner->sources; i++) {
        const struct table_source *source = &drawing->inner->source[i];
        if (source->dropped)
            drawing_note(drawing, "%s: no place on a logarithmic axis for %llu row%s at or below zero", source->name,
                         source->dropped, source->dropped == 1 ? "" : "s");
        if (source->phases_left_out)
            drawing_note(drawing, "%s: phases are left out; --panel draws them", source->name);
        if (request->mean && !source->has_means)
            drawing_note(drawing, source->kind == OF_TIME ? "%s: no time passes, so that there is no mean"
                                                          : "%s: a mean is over time, and this is no table of time",
                         source->name);
        if (source->has_means && source->starts_up)
            drawing_note(drawing, "%s: the mean counts the start-up; --span last leaves it out, and so does a load that begins with --start steady",
                         source->name);
        bool decibels = false;
        for (size_t c = 0; c < source->channels; c++)
            decibels = decibels || source->factor[c] == TO_DECIBELS;
        if (request->mean && source->has_means && decibels)
            drawing_note(drawing, "%s: no mean is drawn of values in dB; --y-scale log has it", source->name);
    }
}

static enum dw_status fill(struct drawing *drawing, const struct request *request, struct dw_error *error)
{
    struct inner *inner = drawing->inner;
    enum dw_status status = plan_make(inner, request, error);
    for (size_t i = 0; i < inner->sources && status == DW_OK; i++)
        status = source_read(&inner->source[i], request, error);
    if (status == DW_OK)
        status = compose_sheets(drawing, request, error);
    if (status != DW_OK)
        return status;
    if (!collect_made_by(drawing) || !summarise(drawing))
        return dw_no_memory(error);
    add_notes(drawing, request);
    return DW_OK;
}

struct drawing *drawing_new(const struct request *request, struct dw_error *error)
{
    struct dw_error unheard = { .status = DW_OK };
    struct drawing *drawing = calloc(1, sizeof *drawing);
    error = error ? error : &unheard;
    if (drawing)
        drawing->inner = calloc(1, sizeof *drawing->inner);
    if (!drawing || !drawing->inner)
        dw_no_memory(error);
    else if (fill(drawing, request, error) == DW_OK)
        return drawing;
    drawing_free(drawing);
    return NULL;
}
