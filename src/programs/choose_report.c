/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-choose: what was found, as a report or a table. */
#include "choose.h"
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* When a column is in the text report; rows and JSON have all. */
enum shown_when {
    ALWAYS,
    SPREAD,    /* some part has a tolerance, or with --all */
    NO_SPREAD, /* no part has one, or with --all */
    LOADED,    /* some gain has an error */
    LOADED_LSB,  /* and limits are in lsb */
    TWO_SOURCES,
    SAMPLES,
    PRICED,
    ASKED,     /* with --all */
    IN_ROWS    /* text and JSON say it beside the number */
};

enum report_entry {
    RANK, STAGES, RIPPLE, RIPPLE_LSB, WORST_RIPPLE, WORST_LSB, SETTLING, WORST_SETTLING, LOADING, GAIN, GAIN_LSB, BEND, SIZE, YIELD, YIELD_LEAST, YIELD_MOST,
    PRICE, MARGIN, DUTY, OVERSHOOT, CUTOFF, PIN_CURRENT, COIL_SWING, CAPACITOR_CURRENT, RESISTOR_POWER, PROOF,
    SETTLING_AT_MOST, WORST_SETTLING_AT_MOST, COLUMNS
};

static const struct {
    struct report_column column;
    enum shown_when shown;
} table[COLUMNS] = {
    [RANK] = { { "rank", "" }, ALWAYS },
    [STAGES] = { { "stages", NULL }, ALWAYS },
    [RIPPLE] = { { "ripple", "V" }, ALWAYS },
    [RIPPLE_LSB] = { { "ripple-lsb", "lsb" }, NO_SPREAD },
    [WORST_RIPPLE] = { { "ripple-highest", "V" }, SPREAD },
    [WORST_LSB] = { { "ripple-highest-lsb", "lsb" }, SPREAD },
    [SETTLING] = { { "settling", "s" }, ALWAYS },
    [WORST_SETTLING] = { { "settling-longest", "s" }, SPREAD },
    [LOADING] = { { "loading", "%" }, ALWAYS },
    [GAIN] = { { "gain-error", "%" }, LOADED },
    [GAIN_LSB] = { { "gain-error-lsb", "lsb" }, LOADED_LSB },
    [BEND] = { { "bend-lsb", "lsb" }, TWO_SOURCES },
    [SIZE] = { { "size", NULL }, ALWAYS },
    [YIELD] = { { "yield", "%" }, SAMPLES },
    [YIELD_LEAST] = { { "yield-lowest", "%" }, SAMPLES },
    [YIELD_MOST] = { { "yield-highest", "%" }, SAMPLES },
    [PRICE] = { { "price", "1" }, PRICED },
    [MARGIN] = { { "margin", "%" }, ASKED },
    [DUTY] = { { "duty", "%" }, ASKED },
    [OVERSHOOT] = { { "overshoot-highest", "%" }, ASKED },
    [CUTOFF] = { { "cutoff", "Hz" }, ASKED },
    [PIN_CURRENT] = { { "pin-current-peak", "A" }, ASKED },
    [COIL_SWING] = { { "coil-swing", "A" }, ASKED },
    [CAPACITOR_CURRENT] = { { "capacitor-current", "A" }, ASKED },
    [RESISTOR_POWER] = { { "resistor-power", "W" }, ASKED },
    [PROOF] = { { "extremes-by", NULL }, ASKED },
    [SETTLING_AT_MOST] = { { "settling-at-most", "1" }, IN_ROWS },
    [WORST_SETTLING_AT_MOST] = { { "settling-longest-at-most", "1" }, IN_ROWS },
};

static bool shown(const struct choose_options *o, const struct dw_choices *choices, enum report_entry column)
{
    bool spread = o->wish.task.load_spread > 0 || o->wish.task.source_low > 0, priced = false, loaded = false;
    for (size_t i = 0; choices && i < dw_choices_count(choices); i++) {
        const struct dw_choice *choice = dw_choices_get(choices, i);
        const struct dw_filter *f = &choice->filter;
        for (int k = 0; k < f->stages; k++)
            spread = spread || f->r[k].spread > 0 || f->c[k].spread > 0;
        spread = spread || f->l.spread > 0 || f->rd.spread > 0 || f->cd.spread > 0;
        priced = priced || isfinite(choice->price);
        loaded = loaded || choice->worst.loading > 0;
    }
    if (table[column].shown == IN_ROWS)
        return o->common.format == REPORT_ROWS;
    if (o->common.format != REPORT_TEXT || o->all)
        return true;
    switch (table[column].shown) {
    case ALWAYS: return true;
    case SPREAD: return spread;
    case NO_SPREAD: return !spread;
    case LOADED: return loaded;
    case LOADED_LSB: return loaded && choose_in_lsb(o);
    case TWO_SOURCES: return o->wish.task.source_low > 0;
    case SAMPLES: return o->samples > 0;
    case PRICED: return priced;
    case ASKED:
    case IN_ROWS: break;
    }
    return false;
}

static struct report_cell settling_cell(const struct dw_filter_figures *figures)
{
    return figures->settling_at_most ? report_at_most(figures->settling) : report_number(figures->settling);
}

/* What only the shown rows are asked for. */
static enum dw_status measure(const struct choose_options *o, const struct dw_choice *choice, struct report_cell *cell,
                              struct dw_error *error)
{
    const struct dw_filter *filter = &choice->filter;
    struct dw_filter_currents currents;
    struct dw_yield yield = { 0, 0, NAN, NAN, NAN };
    double cutoff = NAN, bend = NAN;
    enum dw_status status = dw_filter_steady_currents(&o->wish.task, filter, choice->nominal.duty, &currents, error);
    if (status == DW_OK)
        status = dw_filter_cutoff(&o->wish.task, filter, &cutoff, error);
    if (status == DW_OK)
        status = dw_filter_nonlinearity(&o->wish.task, filter, &bend, error);
    if (status == DW_OK && o->samples > 0)
        status = choose_yield(o, filter, &yield, error);
    if (status != DW_OK)
        return status;
    double capacitor = currents.damping, power = currents.rd;
    for (int k = 0; k < filter->stages; k++) {
        capacitor = fmax(capacitor, currents.capacitor[k]);
        power = fmax(power, currents.resistor[k]);
    }
    cell[CUTOFF] = report_number(isfinite(cutoff) ? cutoff : NAN);
    cell[BEND] = report_number(bend / choose_lsb(&o->wish.task));
    cell[YIELD] = report_number(yield.share);
    cell[YIELD_LEAST] = report_number(yield.least);
    cell[YIELD_MOST] = report_number(yield.most);
    cell[COIL_SWING] = report_number(filter->l.value > 0 ? currents.coil : NAN);
    cell[CAPACITOR_CURRENT] = report_number(capacitor);
    cell[RESISTOR_POWER] = report_number(power);
    return DW_OK;
}

static enum dw_status add_row(const struct choose_options *o, const struct dw_choice *choice, size_t rank,
                              const bool *wanted, struct report *report, struct dw_error *error)
{
    static const char *const sizes[] = { "", "small", "medium", "large" };
    const double lsb = choose_lsb(&o->wish.task);
    const struct dw_filter_figures *nominal = &choice->nominal, *worst = &choice->worst;
    char stages[300];
    choose_stages(stages, sizeof stages, &choice->filter, "", NULL);
    struct report_cell cell[COLUMNS] = {
        [RANK] = report_number((double)rank),
        [STAGES] = report_text(stages),
        [RIPPLE] = report_number(nominal->ripple),
        [RIPPLE_LSB] = report_number(nominal->ripple / lsb),
        [WORST_RIPPLE] = report_number(worst->ripple),
        [WORST_LSB] = report_number(worst->ripple / lsb),
        [SETTLING] = settling_cell(nominal),
        [WORST_SETTLING] = settling_cell(worst),
        [LOADING] = report_number(nominal->loading),
        [GAIN] = report_number(0 - worst->loading),
        [GAIN_LSB] = report_number((0 - worst->loading) * (double)o->wish.task.levels),
        [SIZE] = report_text(sizes[choice->size]),
        [PRICE] = report_number(choice->price),
        [MARGIN] = report_number(1 - choice->margin),
        [DUTY] = report_number(nominal->duty),
        [OVERSHOOT] = report_number(worst->overshoot),
        [PIN_CURRENT] = report_number(worst->pin_current),
        [PROOF] = report_text(o->wish.yield > 0 ? "samples" : choice->exact ? "proof" : "search"),
        [SETTLING_AT_MOST] = report_number(nominal->settling_at_most),
        [WORST_SETTLING_AT_MOST] = report_number(worst->settling_at_most),
    };
    const enum dw_status status = wanted[CUTOFF] || wanted[BEND] || wanted[YIELD] ? measure(o, choice, cell, error) : DW_OK;
    if (status != DW_OK)
        return status;
    size_t count = 0;
    for (int c = 0; c < COLUMNS; c++)
        if (wanted[c])
            cell[count++] = cell[c];
    return report_row(report, cell, error);
}

enum dw_status choose_report(const struct choose_options *o, const struct dw_choices *choices, struct dw_error *error)
{
    struct report_column columns[COLUMNS];
    bool wanted[COLUMNS];
    size_t count = 0;
    enum dw_status status = DW_OK;
    for (int c = 0; c < COLUMNS; c++) {
        wanted[c] = shown(o, choices, (enum report_entry)c);
        if (wanted[c])
            columns[count++] = table[c].column;
    }
    struct report *report = report_new(columns, count, error);
    for (size_t i = 0; choices && i < dw_choices_count(choices) && status == DW_OK; i++)
        status = add_row(o, dw_choices_get(choices, i), i + 1, wanted, report, error);
    command_progress_erase(o->common.command); /* it may stand on the same terminal */
    return report_out(report, &o->common, status, error);
}

enum dw_status choose_curve(const struct choose_options *o, const struct dw_choices *choices, struct dw_error *error)
{
    struct dw_header *header = dw_header_new("settling", "s", error);
    struct dw_writer *writer = NULL;
    enum dw_status status = header ? dw_header_append(header, "ripple", "V", error) : error->status;
    if (status == DW_OK)
        status = dw_header_set(header, "made-by", o->common.command->made_by, error);
    if (status == DW_OK) {
        writer = dw_writer_open(STDOUT_FILENO, header, output_encoding(&o->common, NULL), error);
        status = writer ? DW_OK : error->status;
    }
    for (size_t i = 0; i < dw_choices_count(choices) && status == DW_OK; i++) {
        const struct dw_filter_figures *worst = &dw_choices_get(choices, i)->worst;
        status = dw_writer_row(writer, (double[]){ worst->settling, worst->ripple }, error);
    }
    if (status == DW_OK)
        status = dw_writer_finish(writer, error);
    dw_writer_free(writer);
    dw_header_free(header);
    return status;
}
