/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What dw-table does with channels: which, by what factor, under what name. */
#include "drive.h"
#include "table_run.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum dw_status run_choose(struct table_run *run, struct dw_error *error)
{
    char *names = strdup(run->options->common.channel), *rest = names;
    size_t *found = calloc(run->all, sizeof *found), count = 0;
    run->column = calloc(run->all, sizeof *run->column);
    enum dw_status status = names && found && run->column ? DW_OK : dw_no_memory(error);
    for (char *name; status == DW_OK && (name = strsep(&rest, ","));) {
        struct dw_error why;
        const size_t column = dw_header_find(run->header, name, &why);
        bool twice = false;
        for (size_t i = 0; i < count; i++)
            twice |= found[i] == column;
        if (!column)
            status = dw_error_set(error, DW_BAD_USE, 0, "--channel: %s", why.text);
        else if (twice)
            status = dw_error_set(error, DW_BAD_USE, 0, "--channel: '%s' is named twice", name);
        else
            found[count++] = column;
    }
    struct dw_header *narrow = status == DW_OK ? dw_header_select(run->header, found, count, error) : NULL;
    run->chosen = 1;
    for (size_t i = 0; i < count; i++) {
        const size_t slope = dw_header_slope(run->header, found[i]);
        run->column[run->chosen++] = found[i];
        if (slope)
            run->column[run->chosen++] = slope;
    }
    free(found);
    free(names);
    if (!narrow)
        return status == DW_OK ? error->status : status;
    /* levels and duty are those of the pin */
    if (!dw_header_find(narrow, "pin", NULL)) {
        dw_header_drop(narrow, "levels");
        dw_header_drop(narrow, "duty");
    }
    dw_header_free(run->header);
    run->header = narrow;
    return DW_OK;
}

/* Values of a channel change by a factor: so do the numbers of it that the header holds. */
static enum dw_status scale_column(struct table_run *run, size_t column, struct scaled by, struct dw_error *error)
{
    const struct dw_channel_facts channel = *dw_header_channel_facts(run->header, column);
    const struct dw_facts *facts = dw_header_facts(run->header);
    enum dw_status status = DW_OK;
    run->scaled[0].divisor *= column ? 1 : by.divisor;
    run->scaled[0].factor *= column ? 1 : by.factor;
    for (size_t i = column; i; i = i == column ? dw_header_slope(run->header, column) : 0) {
        run->scaled[i].divisor *= by.divisor;
        run->scaled[i].factor *= by.factor;
    }
    if (!isnan(channel.initial))
        status = dw_header_set_initial(run->header, column, channel.initial / by.divisor * by.factor, error);
    if (status == DW_OK && (!isnan(channel.accuracy) || !isnan(channel.share)))
        status = dw_header_set_accuracy(run->header, column, fabs(channel.accuracy / by.divisor * by.factor), channel.share, error);
    if (status != DW_OK || strcmp(dw_header_column(run->header, column).name, "pin") != 0)
        return status;
    if (by.factor < 0)
        dw_header_drop(run->header, "duty");  /* what was low is high now */
    if (!(facts->has & DW_FACT_LEVELS))
        return DW_OK;
    char text[2 * DW_NUMBER_SIZE];
    const double low = facts->low / by.divisor * by.factor + 0.0;  /* no -0 */
    const double high = facts->high / by.divisor * by.factor + 0.0;
    if (!isfinite(low) || !isfinite(high) || low == high) { /* beyond the range of numbers */
        dw_header_drop(run->header, "levels");
        return DW_OK;
    }
    size_t length = dw_number_print(text, fmin(low, high));
    text[length++] = ' ';
    dw_number_print(text + length, fmax(low, high));
    return dw_header_set(run->header, "levels", text, error);
}

/* The first column by its name, where the table is not ours and alone: no key of the header is about its time.
 *   returns  0 and DW_OK in why: it is that; else as dw_header_find */
static size_t find_column(const struct table_run *run, const char *name, struct dw_error *why)
{
    const bool foreign = dw_reader_encoding(run->reader) == DW_CSV && !run->join;
    *why = (struct dw_error){ .status = DW_OK };
    return foreign && !strcmp(dw_header_column(run->header, 0).name, name) ? 0 : dw_header_find(run->header, name, why);
}

/* NAME=FACTOR */
static enum dw_status scale_channel(struct table_run *run, const char *argument, struct dw_error *error)
{
    char *name = strdup(argument), *factor = name ? strrchr(name, '=') : NULL;
    struct dw_error why = { .status = DW_OK };
    double value = 0;
    enum dw_status status = name ? DW_OK : dw_no_memory(error);
    if (status == DW_OK && !factor)
        status = dw_error_set(error, DW_BAD_USE, 0, "--scale: '%s': expected NAME=FACTOR, such as ch1=10", argument);
    if (status == DW_OK) {
        *factor++ = 0;
        status = dw_quantity_parse(factor, DW_NUMBER, &value, &why);
        if (status == DW_OK && value == 0)
            status = dw_error_set(&why, DW_BAD_USE, 0, "a factor of 0 leaves nothing");
        const size_t column = status == DW_OK ? find_column(run, name, &why) : 0;
        if (status == DW_OK && why.status == DW_OK && !column && value < 0)
            dw_error_set(&why, DW_BAD_USE, 0, "time would run backwards");
        status = why.status == DW_OK ? scale_column(run, column, (struct scaled){ 1, value }, &why) : why.status;
        if (status != DW_OK)
            dw_error_set(error, status, 0, "--scale: '%s': %s", argument, why.text);
    }
    free(name);
    return status;
}

/* OLD=NEW or OLD=NEW[UNIT] */
static enum dw_status rename_channel(struct table_run *run, const char *argument, struct dw_error *error)
{
    char *old = strdup(argument), *fresh = old ? strchr(old, '=') : NULL, *unit = fresh ? strchr(fresh, '[') : NULL;
    enum dw_status status = old ? DW_OK : dw_no_memory(error);
    const size_t length = old ? strlen(old) : 0;
    struct dw_error why;
    if (status == DW_OK && (!fresh || (unit && old[length - 1] != ']'))) {
        status = dw_error_set(error, DW_BAD_USE, 0, "--rename: '%s': expected OLD=NEW or OLD=NEW[UNIT]", argument);
    } else if (status == DW_OK) {
        struct scaled by = { 1, 1 };
        *fresh++ = 0;
        if (unit) {
            *unit++ = 0;
            old[length - 1] = 0;
        }
        const size_t column = find_column(run, old, &why);
        status = why.status;
        /* mV called V are still the same voltage */
        if (status == DW_OK && unit && dw_unit_converts(dw_header_column(run->header, column).unit, unit, &by.divisor, &by.factor) &&
            by.divisor != by.factor)
            status = scale_column(run, column, by, &why);
        if (status == DW_OK && !column && unit && by.divisor != by.factor)
            status = dw_error_set(&why, DW_BAD_USE, 0, "a wave table counts in the plain unit");
        if (status == DW_OK)
            status = dw_header_rename(run->header, column, fresh, unit, &why);
        if (status != DW_OK)
            dw_error_set(error, status, 0, "--rename: '%s': %s", argument, why.text);
    }
    free(old);
    return status;
}

enum dw_status run_scale_and_rename(struct table_run *run, struct dw_error *error)
{
    const struct table_options *o = run->options;
    bool any = false;
    enum dw_status status = DW_OK;
    run->scaled = calloc(run->chosen, sizeof *run->scaled);
    if (!run->scaled)
        return dw_no_memory(error);
    for (size_t i = 0; i < run->chosen; i++)
        run->scaled[i] = (struct scaled){ 1, 1 };
    for (size_t i = 0; status == DW_OK && i < o->scale.count; i++)
        status = scale_channel(run, o->scale.text[i], error);
    for (size_t i = 0; status == DW_OK && i < o->rename.count; i++)
        status = rename_channel(run, o->rename.text[i], error);
    for (size_t i = 0; i < run->chosen; i++)
        any = any || run->scaled[i].divisor != 1 || run->scaled[i].factor != 1;
    if (!any) {
        free(run->scaled);
        run->scaled = NULL;
    }
    return status;
}

enum dw_status run_scale_row(struct table_run *run, const double *row, struct dw_error *error)
{
    for (size_t i = 0; i < run->chosen; i++) {
        run->narrow[i] = row[i] / run->scaled[i].divisor * run->scaled[i].factor + 0.0;  /* no -0 */
        if (!isfinite(run->narrow[i]))
            return dw_error_set(error, DW_BAD_INPUT, 0, "--scale: %s is beyond the range of numbers at %.9g",
                                dw_header_column(run->header, i).name, row[0]);
    }
    return DW_OK;
}
