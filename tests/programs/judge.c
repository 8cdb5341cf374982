/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The smallest program that reads no table and writes a ranked report. Not installed. */
#include "programs/common.h" /* a program of its own is made of what programs share; commands ask it */
#include <string.h>

struct judge_options { struct common_options common; };

static enum dw_status read_pair(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    const char *seen[2] = { NULL, NULL };
    char text[100], *rest = text;
    enum dw_status status = DW_OK;
    (void)options;
    snprintf(text, sizeof text, "%s", argument);
    for (char *key; status == DW_OK && (key = strsep(&rest, ","));)
        status = option_once(option->name, key, &seen[*key == 'c'], error);
    return status;
}

static const struct option_spec options[] = {
    { "pair", "r=..,c=..", "Two keys, either once", OPTION_READ(read_pair), .repeats = true },
    { 0 }
};

static enum dw_status judge(void *options_read, struct dw_error *error)
{
    static const struct report_column columns[] = { { "rank", "" }, { "frequency", "Hz" }, { "counting", NULL } };
    const struct judge_options *o = options_read;
    struct report *report = report_new(columns, 3, error);
    report_row(report, (struct report_cell[]){ report_number(1), report_number(986.842), report_text("updown") }, error);
    report_row(report, (struct report_cell[]){ report_number(2), report_number(4394.53125), report_text("up") }, error);
    const enum dw_status status = report_write(report, o->common.format, o->common.digits, stdout, error);
    report_free(report);
    return status;
}

static const struct judge_options defaults = { COMMON_DEFAULTS };
static const struct program program = {
    .name = "dw-judge", .about = "Rank two settings.", .options = options, .run = judge, .shared = SHARED_REPORT,
    PROGRAM_OPTIONS(struct judge_options, defaults)
};
PROGRAM_MAIN(program)
