/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which channels of which tables stand in which panel. */
#include "tables.h"
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_UNITLESS_PANELS = 6, MOST_TRACES = 64 };

char *keep_string(struct inner *inner, const char *text)
{
    char **string = realloc(inner->string, (inner->strings + 1) * sizeof *string);
    if (!string)
        return NULL;
    inner->string = string;
    string[inner->strings] = strdup(text);
    return string[inner->strings] ? string[inner->strings++] : NULL;
}

const char *unit_base(const char *unit, double *factor)
{
    static const struct { const char *unit, *base; double factor; } scaled[] = {
        { "mV", "V", 1e-3 }, { "kV", "V", 1e3 }, { "uV", "V", 1e-6 }, { "mA", "A", 1e-3 }, { "uA", "A", 1e-6 },
        { "mW", "W", 1e-3 }, { "kHz", "Hz", 1e3 }, { "MHz", "Hz", 1e6 }, { "ms", "s", 1e-3 }, { "us", "s", 1e-6 },
    };
    *factor = 1;
    for (size_t i = 0; i < sizeof scaled / sizeof scaled[0]; i++)
        if (!strcmp(unit, scaled[i].unit)) {
            *factor = scaled[i].factor;
            return scaled[i].base;
        }
    return unit;
}

/* ---- opening ---- */

/* "tables/pin 25 %.tsv" is called "pin 25 %". */
static char *name_of_file(struct inner *inner, const char *path)
{
    char name[256];
    const char *slash = strrchr(path, '/');
    snprintf(name, sizeof name, "%s", strcmp(path, "-") ? slash ? slash + 1 : path : "standard input");
    char *dot = strrchr(name, '.');
    if (dot && dot > name)
        *dot = 0;
    return keep_string(inner, name);
}

static enum dw_status open_source(struct inner *inner, struct table_source *source, const struct request *request, size_t i,
                                  struct dw_error *error)
{
    source->path = request->file[i];
    source->reader = dw_reader_open(source->path, &request->reading, error);
    if (!source->reader)
        return error->status;
    const struct dw_column first = dw_header_column(dw_reader_header(source->reader), 0);
    const char *unit = unit_base(first.unit, &source->x_factor);
    source->kind = !strcmp(unit, "s") && !strcmp(first.name, "time") ? OF_TIME : !strcmp(unit, "Hz") ? OF_FREQUENCY : OF_OTHER;
    source->name = i < request->names ? keep_string(inner, request->name[i]) : name_of_file(inner, source->path);
    source->x_name = keep_string(inner, first.name);
    source->x_unit = keep_string(inner, unit);
    return source->name && source->x_name && source->x_unit ? DW_OK : dw_no_memory(error);
}

static enum dw_status check_alike(const struct inner *inner, struct dw_error *error)
{
    const struct table_source *first = &inner->source[0];
    for (size_t i = 0; i < inner->sources; i++) {
        const struct table_source *source = &inner->source[i];
        /* NOLINTNEXTLINE(clang-analyzer-core.NonNullParamChecker): a source that did not open has ended this before */
        if (strcmp(source->x_unit, first->x_unit) || source->kind != first->kind)
            return dw_error_set(error, DW_BAD_INPUT, 0, "%s begins with %.60s[%.20s] and %s with %.60s[%.20s]: one figure has one axis",
                                dw_reader_name(first->reader), first->x_name, first->x_unit,
                                dw_reader_name(source->reader), source->x_name, source->x_unit);
    }
    return DW_OK;
}

static enum dw_status check_names(const struct request *request, struct dw_error *error)
{
    size_t standard_inputs = 0;
    for (size_t i = 0; i < request->files; i++)
        standard_inputs += !strcmp(request->file[i], "-");
    if (standard_inputs > 1)
        return dw_error_set(error, DW_BAD_USE, 0, "standard input can be read only once, and - stands %zu times", standard_inputs);
    return DW_OK;
}

static enum dw_status open_sources(struct inner *inner, const struct request *request, struct dw_error *error)
{
    enum dw_status status = check_names(request, error);
    if (status != DW_OK)
        return status;
    inner->source = calloc(request->files, sizeof *inner->source);
    if (!inner->source)
        return dw_no_memory(error);
    for (size_t i = 0; i < request->files && status == DW_OK; i++) {
        inner->sources++;
        status = open_source(inner, &inner->source[i], request, i, error);
    }
    return status == DW_OK ? check_alike(inner, error) : status;
}

/* ---- panels and picks ---- */

enum scale panel_scale(const struct request *request, size_t panel)
{
    if (request->y_scales == 1)
        return request->y_scale[0];
    return panel < request->y_scales ? request->y_scale[panel] : SCALE_BY_ITSELF;
}

/* How a channel is drawn. */
struct drawn {
    const char *unit;
    double factor;  /* to the unit; TO_DECIBELS */
};

/* Units of which decibels make no sense. */
static bool is_level(const char *unit)
{
    return !strcmp(unit, "dB") || !strcmp(unit, "deg") || !strcmp(unit, "degC") || !strcmp(unit, "rad");
}

static struct drawn how_drawn(const struct table_source *source, size_t column, enum scale scale)
{
    const struct dw_column found = dw_header_column(dw_reader_header(source->reader), column);
    const bool gain = source->kind == OF_FREQUENCY && !strcmp(found.name, "gain") && !strcmp(found.unit, "1");
    struct drawn drawn;
    drawn.unit = unit_base(found.unit, &drawn.factor);
    if ((scale == SCALE_BY_ITSELF && gain) || (scale == SCALE_DECIBELS && !is_level(found.unit)))
        drawn = (struct drawn){ "dB", TO_DECIBELS };
    return drawn;
}

/* A new panel; its index, or SIZE_MAX where there is no memory. */
static size_t add_panel(struct inner *inner, const char *unit, size_t owner)
{
    char **units = realloc(inner->unit, (inner->panels + 1) * sizeof *units);
    if (units)
        inner->unit = units;
    size_t *owners = realloc(inner->owner, (inner->panels + 1) * sizeof *owners);
    if (owners)
        inner->owner = owners;
    char *kept = units && owners ? keep_string(inner, unit) : NULL;
    if (!kept)
        return SIZE_MAX;
    inner->unit[inner->panels] = kept;
    inner->owner[inner->panels] = owner;
    return inner->panels++;
}

/* Place of a column among those that a source draws. */
static size_t add_channel(struct table_source *source, size_t column, double factor)
{
    for (size_t i = 0; i < source->channels; i++)
        if (source->column[i] == column && source->factor[i] == factor)
            return i;
    source->column[source->channels] = column;
    source->slope[source->channels] = dw_header_slope(dw_reader_header(source->reader), column);
    source->factor[source->channels] = factor;
    return source->channels++;
}

static enum dw_status add_pick(struct inner *inner, size_t panel, size_t which, size_t column, double factor,
                               struct dw_error *error)
{
    struct table_source *source = &inner->source[which];
    struct pick *picks = realloc(inner->pick, (inner->picks + 1) * sizeof *picks);
    char *name = keep_string(inner, dw_header_column(dw_reader_header(source->reader), column).name);
    if (picks)
        inner->pick = picks;
    if (!picks || !name || panel == SIZE_MAX)
        return dw_no_memory(error);
    size_t traces = 1;
    for (size_t i = 0; i < inner->picks; i++)
        traces += inner->pick[i].panel == panel;
    if (traces > MOST_TRACES)
        return dw_error_set(error, DW_BAD_USE, 0, "one panel shows at most %d channels; choose with --panel", (int)MOST_TRACES);
    inner->pick[inner->picks++] = (struct pick){ panel, which, add_channel(source, column, factor), name, NULL };
    return DW_OK;
}

static enum dw_status make_rooms(struct inner *inner, struct dw_error *error)
{
    for (size_t i = 0; i < inner->sources; i++) {
        struct table_source *source = &inner->source[i];
        const size_t columns = 2 * dw_header_columns(dw_reader_header(source->reader)); /* each in dB, too */
        source->column = calloc(columns, sizeof *source->column);
        source->slope = calloc(columns, sizeof *source->slope);
        source->factor = calloc(columns, sizeof *source->factor);
        source->mean = calloc(columns, sizeof *source->mean);
        if (!source->column || !source->slope || !source->factor || !source->mean)
            return dw_no_memory(error);
    }
    return DW_OK;
}

/* ---- by itself: a panel for each unit ---- */

/* The panel of a unit among those from `first` on; SIZE_MAX: none. Channels without a known unit share one only where
 * there are many. */
static size_t panel_for(const struct inner *inner, size_t first, const char *unit, bool apart)
{
    for (size_t i = first; i < inner->panels; i++)
        if (!strcmp(inner->unit[i], unit) && (*unit || !apart))
            return i;
    return SIZE_MAX;
}

/* The phases of a spectrum, beside its levels, are left to those who ask for them. */
static bool is_phase_of_spectrum(const struct table_source *source, size_t column)
{
    const struct dw_header *header = dw_reader_header(source->reader);
    bool levels = false;
    for (size_t i = 1; i < dw_header_columns(header); i++)
        levels = levels || !strcmp(dw_header_column(header, i).unit, "dB");
    return source->kind == OF_FREQUENCY && levels && !strcmp(dw_header_column(header, column).unit, "deg");
}

static enum dw_status pick_by_unit(struct inner *inner, const struct request *request, size_t first_panel, size_t which,
                                   struct dw_error *error)
{
    struct table_source *source = &inner->source[which];
    const size_t columns = dw_header_columns(dw_reader_header(source->reader));
    const size_t slopes = dw_header_slopes(dw_reader_header(source->reader), NULL);
    const enum scale scale = request->y_scales == 1 ? request->y_scale[0] : SCALE_BY_ITSELF;
    enum dw_status status = DW_OK;
    for (size_t column = 1; column < columns && status == DW_OK; column++) {
        const struct drawn drawn = how_drawn(source, column, scale);
        if (dw_header_is_slope(dw_reader_header(source->reader), column))
            continue;
        if (is_phase_of_spectrum(source, column)) {
            source->phases_left_out = true;
            continue;
        }
        size_t panel = panel_for(inner, first_panel, drawn.unit, columns - 1 - slopes <= MOST_UNITLESS_PANELS);
        if (panel == SIZE_MAX)
            panel = add_panel(inner, drawn.unit, which);
        status = add_pick(inner, panel, which, column, drawn.factor, error);
    }
    return status;
}

/* ---- as asked: --panel CH,CH ---- */

/* "2:out": the file's number is cut off; SIZE_MAX where there is none. */
static enum dw_status split_number(const struct inner *inner, const char *panel, char **name, size_t *file,
                                   struct dw_error *error)
{
    char *end;
    *file = SIZE_MAX;
    if (!strchr(*name, ':'))
        return DW_OK;
    const unsigned long number = strtoul(*name, &end, 10);
    if (**name < '0' || **name > '9' || *end != ':' || !number || number > inner->sources)
        return dw_error_set(error, DW_BAD_USE, 0, "--panel: '%s': before the colon the number of a FILE was wanted, 1 to %zu",
                            panel, inner->sources);
    *name = end + 1;
    *file = number - 1;
    return DW_OK;
}

/* What a --panel asks for. */
struct wanted {
    const char *text;
    size_t panel;
    enum scale scale;
    size_t from, to;  /* of which sources */
};

/* Takes one named channel from every source asked that has it. */
static enum dw_status pick_name(struct inner *inner, const struct wanted *wanted, char *name, struct dw_error *error)
{
    const char *panel_text = wanted->text;
    const size_t panel = wanted->panel;
    size_t file, found = 0;
    struct dw_error missing = { .status = DW_OK };
    enum dw_status status = split_number(inner, panel_text, &name, &file, error);
    if (status != DW_OK)
        return status;
    for (size_t i = wanted->from; i < wanted->to && status == DW_OK; i++) {
        const struct table_source *source = &inner->source[i];
        struct dw_error *where = found ? NULL : &missing;
        const size_t column = file == SIZE_MAX || file == i ? dw_header_find(dw_reader_header(source->reader), name, where) : 0;
        if (!column)
            continue;
        found++;
        const struct drawn drawn = how_drawn(source, column, wanted->scale);
        const char *unit = drawn.unit;
        if (!*inner->unit[panel] && *unit) {
            if (!(inner->unit[panel] = keep_string(inner, unit)))
                return dw_no_memory(error);
        } else if (*unit && strcmp(inner->unit[panel], unit)) {
            return dw_error_set(error, DW_BAD_USE, 0, "--panel: '%s': %.60s is in %s, and the panel is in %s: give it a panel of its own",
                                panel_text, name, unit, inner->unit[panel]);
        }
        status = add_pick(inner, panel, i, column, drawn.factor, error);
    }
    if (status == DW_OK && !found && missing.status != DW_OK)
        return dw_error_set(error, missing.status, 0, "--panel: '%s': %s", panel_text, missing.text);
    return status;
}

static enum dw_status pick_as_asked(struct inner *inner, const struct request *request, size_t from, size_t to,
                                    struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (size_t i = 0; i < request->panels && status == DW_OK; i++) {
        const char *text = request->panel[i];
        char *names = keep_string(inner, text), *rest = NULL;
        const size_t panel = names ? add_panel(inner, "", from) : SIZE_MAX;
        const struct wanted wanted = { text, panel, panel_scale(request, i), from, to };
        const size_t before = inner->picks;
        if (panel == SIZE_MAX)
            return dw_no_memory(error);
        for (char *name = strtok_r(names, ",", &rest); name && status == DW_OK; name = strtok_r(NULL, ",", &rest))
            status = pick_name(inner, &wanted, name, error);
        if (status == DW_OK && inner->picks == before && to - from == inner->sources)
            return dw_error_set(error, DW_BAD_USE, 0, "--panel: '%s': the names of channels were wanted, joined by commas", text);
        if (status == DW_OK && inner->picks == before)
            inner->panels--; /* "2:out" has nothing to show in the stack of another file */
    }
    return status;
}

enum dw_status plan_make(struct inner *inner, const struct request *request, struct dw_error *error)
{
    enum dw_status status = open_sources(inner, request, error);
    if (status == DW_OK)
        status = make_rooms(inner, error);
    if (status != DW_OK)
        return status;
    if (request->arrangement == TOGETHER && request->panels)
        status = pick_as_asked(inner, request, 0, inner->sources, error);
    else
        for (size_t i = 0; i < inner->sources && status == DW_OK; i++)
            status = request->panels ? pick_as_asked(inner, request, i, i + 1, error)
                                     : pick_by_unit(inner, request, request->arrangement == TOGETHER ? 0 : inner->panels, i, error);
    for (size_t i = 0; i < inner->sources && status == DW_OK; i++)
        if (!inner->source[i].channels)
            status = request->panels ? dw_error_set(error, DW_BAD_USE, 0, "--panel: no channel of %s is drawn",
                                                    dw_reader_name(inner->source[i].reader))
                                     : dw_error_set(error, DW_BAD_INPUT, 0, "%s has no channels to draw",
                                                    dw_reader_name(inner->source[i].reader));
    return status;
}
