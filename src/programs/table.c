/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-table: read, check, cut, join and convert wave tables. */
#include "old_common.h"
#include "report.h"
#include "table_run.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { OPTION_AFTER = OPTION_OWN, OPTION_CSV, OPTION_RENAME, OPTION_REPORT, OPTION_SCALE, OPTION_SHIFT };

static const struct argp_option options[] = {
    { "after", OPTION_AFTER, "FILE", OPTION_REPEATS,
      "Put the table behind that of FILE, with its times shifted so that it begins where FILE ends; repeat for more, "
      "in their order. FILE is read twice; a pipe is kept in a temporary file meanwhile", 1 },
    { "shift", OPTION_SHIFT, "T", 0, "Add T to every time (s), or to what the first column holds instead; -5ms moves to the left", 1 },
    { "span", OPTION_SPAN, "SPAN", 0,
      "Only a part: A:B (from time A to time B, such as 10ms:20ms; either may be left out), last (the last whole period), last:N, "
      "or all; rows are put in at its ends where there are none. Of a spectrum, or another table that does not begin with a "
      "time, the rows from A to B, such as 1k:3kHz", 1 },
    { "channel", OPTION_CHANNEL, "NAME,NAME", 0, "Only these channels, in this order", 1 },
    { "scale", OPTION_SCALE, "NAME=FACTOR", OPTION_REPEATS, "Multiply a channel: ch1=10 for a probe that divides by ten", 1 },
    { "rename", OPTION_RENAME, "OLD=NEW", OPTION_REPEATS,
      "Call channel OLD NEW; NEW[UNIT] sets its unit too, and converts the values where it is the old one with another SI prefix "
      "(mV to V)", 1 },
    { "csv", OPTION_CSV, NULL, 0, "Write comma-separated values with a title line and no header (RFC 4180)", 2 },
    { "report", OPTION_REPORT, NULL, 0, "Write what the table holds instead of the table", 2 },
    { 0 }
};

static const struct argp_child children[] = {
    { &input_argp, 0, NULL, 0 }, { &output_argp, 0, NULL, 0 }, { &report_argp, 0, NULL, 0 }, { 0 }
};

static void check_options(void)
{
    static const char *const encodings[] = { "binary", "text", "csv", NULL };
    option_conflict("csv", "binary", "the output has one encoding; give one");
    option_conflict("csv", "text", "the output has one encoding; give one");
    for (int i = 0; encodings[i]; i++)
        option_conflict("report", encodings[i], "a report is no table; its forms are those of --format");
    if (!option_given("report") && (option_given("format") || option_given("digits")))
        option_required("report", "since --format and --digits are about the report");
}

static error_t parse(int key, char *argument, struct argp_state *state)
{
    struct table_options *o = state->input;
    switch (key) {
    case ARGP_KEY_INIT:
        for (int i = 0; i < 3; i++)
            state->child_inputs[i] = &o->common;
        o->after = calloc(3 * (size_t)state->argc, sizeof *o->after);
        if (!o->after)
            program_fail(DW_NO_MEMORY, "%s", dw_status_text(DW_NO_MEMORY));
        o->rename = o->after + state->argc;
        o->scale = o->rename + state->argc;
        return 0;
    case OPTION_AFTER: o->after[o->after_count++] = argument; return 0;
    case OPTION_RENAME: o->rename[o->rename_count++] = argument; return 0;
    case OPTION_SCALE: o->scale[o->scale_count++] = argument; return 0;
    case OPTION_CHANNEL: o->common.channel = argument; return 0;
    case OPTION_SHIFT: o->shift = argument; return 0;
    case OPTION_SPAN: o->common.span = argument; return 0;
    case OPTION_CSV: o->csv = true; return 0;
    case OPTION_REPORT: o->report = true; return 0;
    case ARGP_KEY_END: check_options(); return 0;
    default: return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp argp = {
    options, parse, NULL,
    "Read a wave table, check it, and write it as text, binary or CSV, whole or in part."
    "\vA wave table is rows of a time and one value a channel; between rows every channel is a straight line, and two rows at "
    "one time are a jump. Text with tabs, blanks, commas or semicolons reads, with our header, with a title line, or with "
    "neither, as bench instruments and spreadsheets write it; ms, mV, uA, kHz and the like become plain s, V, A, Hz. The whole table is checked: "
    "each row has every channel, numbers are finite, time never goes back, and a table of ours has its end. The first fault "
    "is named with its line, and the status is 2.\n\n"
    "What is asked for is done in this order: --after, --shift, --span, --channel, --scale, --rename.\n\n"
    "Examples:\n"
    "  dw-table bench.csv --scale ch1=10 --rename 'ch1=pin[V]' > pin.tsv\n"
    "  dw-table pin.tsv --span 10ms:20ms --channel pin --csv > pin.csv\n"
    "  dw-pwm --frequency 800 --duty 72% | dw-table --after slow.tsv > both.tsv\n"
    "  dw-table both.tsv --report",
    children, NULL, NULL
};

/* "whole", or what is not whole about it */
static const char *wholeness(const struct run *run)
{
    if (dw_reader_encoding(run->reader) == DW_CSV)
        return "not said";
    return dw_reader_whole(run->reader) ? "yes" : "no";
}

/* How many whole periods lie between the first row and the last; NaN where the header has no period. */
static double whole_periods(const struct run *run, double *period)
{
    double origin = 0;
    bool present, on;
    *period = NAN;
    if (dw_header_number(run->header, "period", period, &present, NULL) != DW_OK || !present || !run->rows)
        return NAN;
    dw_header_number(run->header, "origin", &origin, &present, NULL);
    const double begin = dw_period_index(origin, *period, run->first, &on) + !on;
    return fmax(0, dw_period_index(origin, *period, run->last, NULL) - begin);
}

static enum dw_status write_report(const struct run *run, struct dw_error *error)
{
    static const char *const forms[] = { [DW_TEXT] = "text", [DW_BINARY] = "binary", [DW_CSV] = "without our header" };
    const struct dw_column time = dw_header_column(run->header, 0);
    double period;
    const double periods = whole_periods(run, &period);
    struct report *report = report_findings(error);
    report_finding_text(report, "", "form", forms[dw_reader_encoding(run->reader)], error);
    report_finding_text(report, "", "whole", wholeness(run), error);
    report_finding(report, "", "rows", (double)run->rows, "", error);
    if (run->rows) {
        report_finding(report, time.name, "first", run->first, time.unit, error);
        report_finding(report, time.name, "last", run->last, time.unit, error);
        report_finding(report, time.name, "length", run->last - run->first, time.unit, error);
    }
    if (!isnan(periods)) {
        report_finding(report, time.name, "period", period, time.unit, error);
        report_finding(report, time.name, "whole-periods", periods, "", error);
    }
    enum dw_status status = report ? DW_OK : DW_NO_MEMORY;
    for (size_t i = 1; status == DW_OK && i < run->chosen; i++) {
        const struct dw_column column = dw_header_column(run->header, i);
        const char *unit = *column.unit ? column.unit : "1";
        if (!run->rows) {
            status = report_finding_text(report, column.name, "unit", unit, error);
            continue;
        }
        status = report_finding(report, column.name, "minimum", run->extremes[i].minimum, unit, error);
        if (status == DW_OK)
            status = report_finding(report, column.name, "maximum", run->extremes[i].maximum, unit, error);
    }
    if (status == DW_OK)
        status = report_write(report, run->options->common.format, run->options->common.digits, stdout, error);
    report_free(report);
    return status;
}

int main(int argc, char **argv)
{
    struct table_options asked = { .common = common_defaults() };
    struct dw_error error = { .status = DW_OK };
    program_start("dw-table", &argp, &asked, argc, argv);
    struct run run = { .options = &asked };
    enum dw_status status = run_set_up(&run, &error);
    if (status == DW_OK)
        status = run_rows(&run, &error);
    if (status == DW_OK && asked.report)
        status = write_report(&run, &error);
    if (status == DW_OK && asked.common.partial && !dw_reader_whole(run.reader) && dw_reader_encoding(run.reader) != DW_CSV)
        program_note("%s has no end that fits its rows", dw_reader_name(run.reader));
    run_free(&run);
    free(asked.after);
    return program_finish(status, &error);
}
