/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables beside the input, and channels made of others. */
#include "table_run.h"
#include <stdlib.h>
#include <string.h>

/* ---- --beside ---- */

enum dw_status run_open_beside(struct table_run *run, struct dw_error *error)
{
    const struct table_options *o = run->options;
    enum dw_status status = DW_OK;
    if (!o->beside.count)
        return DW_OK;
    if (!(run->others = calloc(o->beside.count + 1, sizeof(struct dw_reader *))))
        return dw_no_memory(error);
    run->others[0] = run->reader;
    for (size_t i = 0; status == DW_OK && i < o->beside.count; i++)
        if (!(run->others[i + 1] = run_open(o, o->beside.text[i], error)))
            status = error->status;
    if (status == DW_OK && !(run->beside = dw_beside_new(run->others, o->beside.count + 1, error)))
        status = error->status;
    return status;
}

const struct dw_header *run_input_header(const struct table_run *run)
{
    return run->beside ? dw_beside_header(run->beside) : dw_reader_header(run->reader);
}

enum dw_status run_input_rows(struct table_run *run, size_t most, struct dw_rows *out, struct dw_error *error)
{
    return run->beside ? dw_beside_rows(run->beside, out, error) : dw_reader_rows(run->reader, most, &out->values, &out->count, error);
}

/* ---- --sum, --difference, --product, --ratio ---- */

static const char *const words[] = { "sum", "difference", "product", "ratio" };

/* One that is asked for. */
struct wish {
    const char *argument;
    char *text;                /* a copy, cut up: */
    char *name, *unit;         /* unit NULL: none is said */
    char **channel;            /* [count] */
    size_t *column, count;
    enum dw_combination as;
    bool made;
};

static enum dw_status parse(struct wish *w, enum dw_combination as, const char *argument, struct dw_error *error)
{
    w->as = as;
    w->argument = argument;
    if (!(w->text = strdup(argument)))
        return dw_no_memory(error);
    w->name = w->text;
    char *list = strchr(w->text, '=');
    if (list)
        *list++ = 0;
    w->unit = strchr(w->text, '[');
    char *close = w->unit ? strchr(w->unit, ']') : NULL;
    if (!list || !*list || !*w->name || (w->unit && (!close || close[1])))
        return dw_error_set(error, DW_BAD_USE, 0, "--%s: '%s': expected NAME=A,B or NAME[UNIT]=A,B, such as power=pin,current", words[as], argument);
    if (w->unit) {
        *w->unit++ = 0;
        *close = 0;
    }
    const size_t most = strlen(list) + 1;
    w->channel = calloc(most, sizeof *w->channel);
    w->column = calloc(most, sizeof *w->column);
    if (!w->channel || !w->column)
        return dw_no_memory(error);
    for (char *rest = list, *name; (name = strsep(&rest, ","));)
        w->channel[w->count++] = name;
    return DW_OK;
}

/* Whether all its channels are there. */
static bool find_channels(struct wish *w, const struct dw_header *header, struct dw_error *why)
{
    for (size_t i = 0; i < w->count; i++)
        if (!(w->column[i] = dw_header_find(header, w->channel[i], why)))
            return false;
    return true;
}

/* The first whose channels are there, for one may be made of another; NULL: there is none, and error says of the first what lacks. */
static struct wish *next_wish(struct wish *wishes, size_t count, const struct dw_header *header, struct dw_error *error)
{
    struct dw_error why;
    const struct wish *lacks = NULL;
    for (size_t i = 0; i < count; i++) {
        if (!wishes[i].made && find_channels(&wishes[i], header, &why))
            return &wishes[i];
        if (!wishes[i].made && !lacks) {
            lacks = &wishes[i];
            dw_error_set(error, DW_BAD_USE, 0, "--%s: '%s': %s", words[lacks->as], lacks->argument, why.text);
        }
    }
    return NULL;
}

static enum dw_status make(struct table_run *run, struct wish *w, struct dw_error *error)
{
    struct dw_error why;
    const struct dw_combine_plan plan = { .as = w->as, .name = w->name, .unit = w->unit, .column = w->column, .count = w->count };
    struct dw_combine *made = dw_combine_new(run->header, &plan, &why);
    w->made = true;
    if (!made)
        return dw_error_set(error, why.status, 0, "--%s: '%s': %s", words[w->as], w->argument, why.text);
    run->made[run->combinations++] = (struct table_combination){ made, words[w->as], w->argument };
    struct dw_header *wider = dw_header_copy(dw_combine_header(made), error);
    if (!wider)
        return error->status;
    dw_header_free(run->header);
    run->header = wider;
    return DW_OK;
}

enum dw_status run_combine(struct table_run *run, struct dw_error *error)
{
    const struct option_texts *texts = run->options->combined;
    size_t count = 0, k = 0;
    for (size_t as = 0; as <= DW_RATIO; as++)
        count += texts[as].count;
    if (!count)
        return DW_OK;
    struct wish *wishes = calloc(count, sizeof *wishes);
    run->made = calloc(count, sizeof *run->made);
    enum dw_status status = wishes && run->made ? DW_OK : dw_no_memory(error);
    for (size_t as = 0; as <= DW_RATIO; as++)
        for (size_t i = 0; status == DW_OK && i < texts[as].count; i++)
            status = parse(&wishes[k++], (enum dw_combination)as, texts[as].text[i], error);
    for (struct wish *next; status == DW_OK && run->combinations < count;)
        status = (next = next_wish(wishes, count, run->header, error)) ? make(run, next, error) : error->status;
    for (size_t i = 0; wishes && i < count; i++) {
        free(wishes[i].text);
        free(wishes[i].channel);
        free(wishes[i].column);
    }
    free(wishes);
    return status;
}

static enum dw_status name_fault(const struct table_combination *made, const struct dw_error *why, struct dw_error *error)
{
    return dw_error_set(error, why->status, 0, "--%s: '%s': %s", made->word, made->argument, why->text);
}

enum dw_status run_combine_rows(struct table_run *run, size_t done, struct dw_rows some, run_step *put, struct dw_error *error)
{
    struct dw_error why;
    for (; done < run->combinations && some.count; done++)
        if (dw_combine_rows(run->made[done].combine, some.values, some.count, &some, &why) != DW_OK)
            return name_fault(&run->made[done], &why, error);
    return some.count ? put(run, some.values, some.count, error) : DW_OK;
}

enum dw_status run_finish_combined(struct table_run *run, run_step *put, struct dw_error *error)
{
    struct dw_error why;
    enum dw_status status = DW_OK;
    for (size_t i = 0; status == DW_OK && i < run->combinations; i++) {
        struct dw_rows some;
        status = dw_combine_finish(run->made[i].combine, &some, &why) == DW_OK ? run_combine_rows(run, i + 1, some, put, error)
                                                                             : name_fault(&run->made[i], &why, error);
    }
    return status;
}

void run_free_combined(struct table_run *run)
{
    for (size_t i = 0; i < run->combinations; i++)
        dw_combine_free(run->made[i].combine);
    free(run->made);
    dw_beside_free(run->beside);
    for (size_t i = 1; run->others && i <= run->options->beside.count; i++)
        dw_reader_close(run->others[i]);
    free(run->others);
}
