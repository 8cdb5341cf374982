/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-table: read, check, cut, join and convert wave tables. */
#include "table_run.h"
#include <math.h>
#include <stdio.h>

#define OPTION_STRUCT struct table_options
static const struct option_spec options[] = {
    { "after", "FILE",
      "Put the table behind that of FILE, with its times shifted so that it begins where FILE ends; repeat for more, "
      "in their order. FILE is read twice; a pipe is kept in a temporary file meanwhile", OPTION_TEXTS(after), .group = 1 },
    { "beside", "FILE",
      "Put the channels of FILE beside those of the table, over the time that both have, with the rows of both: every wave stays as it is. "
      "Beside samples, of one rate, the others are taken at their instants", OPTION_TEXTS(beside) },
    { "sum", "NAME=A,B", "Add a channel, the sum of two or more; NAME[UNIT] says its unit. It may be used in the others of these",
      OPTION_TEXTS(combined[DW_SUM]) },
    { "difference", "NAME=A,B", "Add a channel, A less B", OPTION_TEXTS(combined[DW_DIFFERENCE]) },
    { "product", "NAME=A,B", "Add a channel, the product of two or more: of V and A it is W", OPTION_TEXTS(combined[DW_PRODUCT]) },
    { "ratio", "NAME=A,B", "Add a channel, A over B", OPTION_TEXTS(combined[DW_RATIO]) },
    { "shift", "T", "Add T to every time (s), or to what the first column holds instead; -5ms moves to the left", OPTION_TEXT(shift) },
    { "span", "SPAN",
      "Only a part: A:B (from time A to time B, such as 10ms:20ms; either may be left out), last (the last whole period), last:N, "
      "or all; rows are put in at its ends where there are none. Of a spectrum, or another table that does not begin with a "
      "time, the rows from A to B, such as 1k:3kHz", OPTION_TEXT(span) },
    { "channel", "NAME,NAME", "Only these channels, in this order", OPTION_TEXT(common.channel) },
    { "scale", "NAME=FACTOR",
      "Multiply a channel: ch1=10 for a probe that divides by ten; or the first column of a table without our header, time=60", OPTION_TEXTS(scale) },
    { "rename", "OLD=NEW",
      "Call channel OLD NEW; NEW[UNIT] sets its unit too, and converts the values where it is the old one with another SI prefix "
      "(mV to V); the first column of a table without our header too", OPTION_TEXTS(rename) },
    { "columns", "LIST",
      "Of a table without our header only these columns, by position or title, such as 1,3 or 'Time (s),CH2'; the first is the time",
      OPTION_TEXT(columns) },
    { "skip-bad", NULL,
      "Pass over rows of a table without our header in which a channel is empty or holds a word, such as OVL; a note counts them",
      OPTION_FLAG(skip_bad) },
    { "report", NULL, "Write what the table holds instead of the table", OPTION_FLAG(report), .group = 2 },
    { 0 }
};

static const struct option_rule rules[] = {
    { OPTION_EXCLUDES, "beside", "after", "put one behind the other first, and pipe that on" },
    { OPTION_EXCLUDES, "report", "binary text lines csv", "a report is no table; its forms are those of --format" },
    { OPTION_NEEDED, "report", "format digits", "since --format and --digits are about the report" },
    { 0 }
};

static const char about[] =
    "Read a wave table, check it, and write it as text, binary or CSV, whole or in part."
    "\vA wave table is rows of a time and one value a channel; between rows a channel is a straight line, or a curve where "
    "its slope stands beside it, and two rows at one time are a jump. Text with tabs, blanks, commas or semicolons reads, with our header, with a title line, or with "
    "neither, as bench instruments and spreadsheets write it; ms, min, mV, uA, kHz and the like become plain s, V, A, Hz. The whole table is checked: "
    "each row has every channel, numbers are finite, time never goes back, and a table of ours has its end. The first fault "
    "is named with its line, and the status is 2.\n\n"
    "What is asked for is done in this order: --after or --beside, --shift, --span, --sum and the like, --channel, --scale, --rename.\n\n"
    "Examples:\n"
    "  dw-table bench.csv --scale ch1=10 --rename 'ch1=pin[V]' > pin.tsv\n"
    "  dw-table bench.csv --columns 1,2 --skip-bad > clean.tsv\n"
    "  dw-table pin.tsv --span 10ms:20ms --channel pin --csv > pin.csv\n"
    "  dw-pwm --frequency 800 --duty 72% | dw-table --after slow.tsv > both.tsv\n"
    "  dw-table pump.tsv --product input=pin,current > power.tsv\n"
    "  dw-table both.tsv --report";

/* "whole", or what is not whole about it */
static const char *wholeness(const struct table_run *run)
{
    if (dw_reader_encoding(run->reader) == DW_CSV)
        return "not said";
    return dw_reader_whole(run->reader) ? "yes" : "no";
}

/* How many whole periods lie between the first row and the last; NaN where the header has no period. */
static double whole_periods(const struct table_run *run, double *period)
{
    const struct dw_facts *facts = dw_header_facts(run->header);
    bool on;
    *period = facts->period;
    if (facts->period == 0 || !run->rows)
        return NAN;
    const double begin = dw_period_index(facts->origin, facts->period, run->first, &on) + !on;
    return fmax(0, dw_period_index(facts->origin, facts->period, run->last, NULL) - begin);
}

static enum dw_status write_report(const struct table_run *run, struct dw_error *error)
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
        if (dw_header_is_slope(run->header, i))
            continue;
        const char *unit = *column.unit ? column.unit : "1";
        if (!run->rows) {
            status = report_finding_text(report, column.name, "unit", unit, error);
            continue;
        }
        status = report_finding(report, column.name, "minimum", run->extremes[i].minimum, unit, error);
        if (status == DW_OK)
            status = report_finding(report, column.name, "maximum", run->extremes[i].maximum, unit, error);
    }
    return report_out(report, &run->options->common, status, error);
}

static enum dw_status table(void *options_read, struct dw_error *error)
{
    const struct table_options *o = options_read;
    struct table_run run = { .options = o };
    enum dw_status status = run_set_up(&run, error);
    if (status == DW_OK)
        status = run_rows(&run, error);
    if (status == DW_OK && o->report)
        status = write_report(&run, error);
    if (status == DW_OK && o->common.partial && !dw_reader_whole(run.reader) && dw_reader_encoding(run.reader) != DW_CSV)
        command_note(o->common.command, "%s has no end that fits its rows", dw_reader_name(run.reader));
    run_free(&run);
    return status;
}

static const struct table_options defaults = { .common = COMMON_DEFAULTS };
static const struct program program = {
    .name = "dw-table", .about = about, .options = options, .rules = rules, .run = table,
    .shared = SHARED_INPUT | SHARED_OUTPUT | SHARED_LINES | SHARED_REPORT, PROGRAM_OPTIONS(struct table_options, defaults)
};
PROGRAM_MAIN(program)
