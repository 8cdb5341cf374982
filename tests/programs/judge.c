/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The smallest program that reads no table and writes a ranked report. Not installed. */
#include "programs/report.h" /* a program of its own is made of what programs share; commands ask it */
#include <string.h>

enum { OPTION_PAIR = OPTION_OWN };

static const struct argp_option options[] = {
    { "pair", OPTION_PAIR, "r=..,c=..", OPTION_REPEATS, "Two keys, either once", 0 },
    { 0 },
};
static const struct argp_child children[] = { { &report_argp, 0, NULL, 0 }, { 0 } };

static void parse_pair(char *argument)
{
    const char *seen[2] = { NULL, NULL };
    for (char *key = strtok(argument, ","); key; key = strtok(NULL, ","))
        option_once("pair", key, &seen[*key == 'c']);
}

static error_t parse(int key, char *argument, struct argp_state *state)
{
    switch (key) {
    case ARGP_KEY_INIT: state->child_inputs[0] = state->input; return 0;
    case OPTION_PAIR: parse_pair(argument); return 0;
    default: return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp argp = { options, parse, NULL, "Rank two settings.", children, NULL, NULL };

int main(int argc, char **argv)
{
    static const struct report_column columns[] = { { "rank", "" }, { "frequency", "Hz" }, { "counting", NULL } };
    struct common_options common = common_defaults();
    struct dw_error error = { .status = DW_OK };
    program_start("dw-judge", &argp, &common, argc, argv);
    struct report *report = report_new(columns, 3, &error);
    report_row(report, (struct report_cell[]){ report_number(1), report_number(986.842), report_text("updown") }, &error);
    report_row(report, (struct report_cell[]){ report_number(2), report_number(4394.53125), report_text("up") }, &error);
    enum dw_status status = report_write(report, common.format, common.digits, stdout, &error);
    report_free(report);
    return program_finish(status, &error);
}
