/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The smallest program with every shared option: says what it was given. Not installed. */
#include "programs/common.h" /* a program of its own is made of what programs share; commands ask it */
#include <math.h>
#include <stdio.h>

struct sample_options {
    struct common_options common;
    double duty, frequency, period;
    long bits;
};

enum { OPTION_DUTY = OPTION_OWN, OPTION_FREQUENCY, OPTION_PERIOD, OPTION_STAGE, OPTION_BITS, OPTION_FAIL, OPTION_LENGTH };

static const struct argp_option options[] = {
    { "duty", OPTION_DUTY, "D", 0, "Share of the period that is high", 0 },
    { "frequency", OPTION_FREQUENCY, "F", 0, "Periods a second (Hz)", 0 },
    { "period", OPTION_PERIOD, "T", 0, "Length of a period (s)", 0 },
    { "stage", OPTION_STAGE, "KEYS", OPTION_REPEATS, "May be repeated", 0 },
    { "bits", OPTION_BITS, "N", 0, "A whole number", 0 },
    { "fail", OPTION_FAIL, "STATUS", 0, "End with this status", 0 },
    { "length", OPTION_LENGTH, "N", 0, "Write so many lines", 0 },
    { 0 },
};
static const struct argp_child children[] = {
    { &input_argp, 0, NULL, 0 }, { &output_argp, 0, NULL, 0 }, { &channel_argp, 0, NULL, 0 }, { &span_argp, 0, NULL, 0 },
    { &rows_argp, 0, NULL, 0 },  { &report_argp, 0, NULL, 0 }, { 0 },
};

static long fail = DW_OK, length = 1;

static error_t parse(int key, char *argument, struct argp_state *state)
{
    struct sample_options *o = state->input;
    switch (key) {
    case ARGP_KEY_INIT:
        for (int i = 0; i < 6; i++)
            state->child_inputs[i] = &o->common;
        return 0;
    case OPTION_DUTY: o->duty = option_between("duty", argument, DW_SHARE, 0, 1); return 0;
    case OPTION_FREQUENCY: o->frequency = option_positive("frequency", argument, DW_FREQUENCY); return 0;
    case OPTION_PERIOD: o->period = option_between("period", argument, DW_TIME, 1e-9, INFINITY); return 0;
    case OPTION_STAGE: return 0;
    case OPTION_BITS: o->bits = option_count("bits", argument, 1, 52); return 0;
    case OPTION_FAIL: fail = option_count("fail", argument, DW_OK, DW_CLOSED_PIPE); return 0;
    case OPTION_LENGTH: length = option_count("length", argument, 0, 1000000); return 0;
    case ARGP_KEY_END:
        option_required("duty", "such as 31.2% or 3510/11250");
        option_conflict("frequency", "period", "both set the period; give one");
        return 0;
    default: return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp argp = { options, parse, NULL, "Say what was given.\vNothing more.", children, NULL, NULL };

int main(int argc, char **argv)
{
    struct sample_options o = { .common = common_defaults() };
    struct dw_error error = { .status = DW_OK };
    program_start("dw-sample", &argp, &o, argc, argv);
    for (long i = 0; i < length; i++)
        printf("%s: duty %g, stage %s, file %s, format %d\n", program_made_by(), o.duty,
               option_given("stage") ? option_given("stage") : "none", o.common.file ? o.common.file : "none",
               (int)o.common.format);
    program_note("a note");
    program_caution("a caution");
    return program_finish((enum dw_status)fail, &error);
}
