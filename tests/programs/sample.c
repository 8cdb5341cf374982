/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The smallest program with every shared option: says what it was given. Not installed. */
#include "programs/common.h" /* a program of its own is made of what programs share; commands ask it */
#include <stdio.h>

struct sample_options {
    struct common_options common;
    double duty, frequency, period;
    int bits, fail;
    long long length;
    struct option_texts stages;
};

#define OPTION_STRUCT struct sample_options
static const struct option_spec options[] = {
    { "duty", "D", "Share of the period that is high", OPTION_QUANTITY(duty, DW_SHARE), OPTION_FROM_TO(0, 1),
      .required = "such as 31.2% or 3510/11250" },
    { "frequency", "F", "Periods a second (Hz)", OPTION_QUANTITY(frequency, DW_FREQUENCY), OPTION_ABOVE_ZERO },
    { "period", "T", "Length of a period (s)", OPTION_QUANTITY(period, DW_TIME), OPTION_FROM_TO(1e-9, INFINITY) },
    { "stage", "KEYS", "May be repeated", OPTION_TEXTS(stages) },
    { "bits", "N", "A whole number", OPTION_COUNT(bits, 1, 52) },
    { "fail", "STATUS", "End with this status", OPTION_COUNT(fail, DW_OK, DW_CLOSED_PIPE) },
    { "length", "N", "Write so many lines", OPTION_COUNT(length, 0, 1000000) },
    { 0 }
};
static const struct option_rule rules[] = {
    { OPTION_EXCLUDES, "frequency", "period", "both set the period; give one" },
    { 0 }
};

static enum dw_status say(void *options_read, struct dw_error *error)
{
    const struct sample_options *o = options_read;
    struct command *command = o->common.command;
    (void)error;
    for (long long i = 0; i < o->length; i++)
        printf("%s: duty %g, stage %s, file %s, format %d\n", command->made_by, o->duty,
               o->stages.count ? o->stages.text[o->stages.count - 1] : "none", o->common.file ? o->common.file : "none",
               (int)o->common.format);
    command_note(command, "a note");
    command_caution(command, "a caution");
    return (enum dw_status)o->fail;
}

static const struct sample_options defaults = { .common = COMMON_DEFAULTS, .length = 1 };
static const struct program program = {
    .name = "dw-sample", .about = "Say what was given.\vNothing more.", .options = options, .rules = rules, .run = say,
    .shared = SHARED_INPUT | SHARED_OUTPUT | SHARED_CHANNEL | SHARED_SPAN | SHARED_ROWS | SHARED_REPORT,
    PROGRAM_OPTIONS(struct sample_options, defaults)
};
PROGRAM_MAIN(program)
