/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The shared options, and how a parser reads arguments. */
#include "old_common.h"
#include "old_command_line_inner.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

struct common_options common_defaults(void)
{
    return (struct common_options){ .accuracy = 1e-5, .format = REPORT_TEXT, .digits = 4 };
}

/* One parser for all children: the keys tell them apart. state->input is NULL where a program did not ask. */
static error_t parse_common(int key, char *argument, struct argp_state *state)
{
    static const char *const formats[] = { "text", "rows", "json", NULL };
    struct common_options unused = common_defaults(), *common = state->input ? state->input : &unused;
    switch (key) {
    case OPTION_BINARY: common->binary = true; return 0;
    case OPTION_TEXT: common->text = true; return 0;
    case OPTION_PARTIAL: common->partial = true; return 0;
    case OPTION_QUIET:
        common->quiet = true;
        program_set_quiet(true);
        return 0;
    case OPTION_CHANNEL: common->channel = argument; return 0;
    case OPTION_SPAN: common->span = argument; return 0;
    case OPTION_ACCURACY:
        common->accuracy = option_between("accuracy", argument, DW_SHARE, 1e-14, 0.1);
        return 0;
    case OPTION_UNIFORM: common->uniform = option_positive("uniform", argument, DW_FREQUENCY); return 0;
    case OPTION_FORMAT: common->format = (enum report_format)option_word("format", argument, formats); return 0;
    case OPTION_DIGITS: common->digits = (int)option_count("digits", argument, 1, 17); return 0;
    default: return ARGP_ERR_UNKNOWN;
    }
}

static error_t parse_output(int key, char *argument, struct argp_state *state)
{
    if (key != ARGP_KEY_END)
        return parse_common(key, argument, state);
    option_conflict("binary", "text", "the output has one encoding; give one");
    return 0;
}

static error_t parse_input(int key, char *argument, struct argp_state *state)
{
    if (key != ARGP_KEY_ARG)
        return parse_common(key, argument, state);
    ((struct common_options *)state->input)->file = strcmp(argument, "-") ? argument : NULL;
    return 0;
}

/* Behind the program's own in --help; help_argp, in every program, has the title. */
static const struct argp_option input_options[] = {
    { "partial", OPTION_PARTIAL, NULL, 0, "Accept a table that was cut off before its end line", SHARED_GROUP },
    { 0 },
};
static const struct argp_option output_options[] = {
    { "binary", OPTION_BINARY, NULL, 0,
      "Write rows as binary numbers, faster for long tables (default: as the input is; without input, text)", SHARED_GROUP },
    { "text", OPTION_TEXT, NULL, 0, "Write rows as text", SHARED_GROUP },
    { 0 },
};
static const struct argp_option channel_options[] = {
    { "channel", OPTION_CHANNEL, "NAME", 0, "Channel to work on (default: the last with a fitting unit)", SHARED_GROUP },
    { 0 },
};
static const struct argp_option span_options[] = {
    { "span", OPTION_SPAN, "SPAN", 0,
      "Part of the table: last (the last whole period), last:N (the last N periods), all, or A:B (from time A to time B, "
      "such as 10ms:20ms; either may be left out)", SHARED_GROUP },
    { 0 },
};
static const struct argp_option rows_options[] = {
    { "accuracy", OPTION_ACCURACY, "SHARE", 0,
      "How far straight lines between rows may be off, as a share of the natural scale, such as the supply (default 1e-5)",
      SHARED_GROUP },
    { "uniform", OPTION_UNIFORM, "RATE", 0,
      "Write rows at equal spacing, so many a second (Hz), instead of as many as the accuracy needs", SHARED_GROUP },
    { 0 },
};
static const struct argp_option report_options[] = {
    { "format", OPTION_FORMAT, "FORMAT", 0,
      "text for reading, rows for tab-separated lines, json; the last two with all digits (default text)", SHARED_GROUP },
    { "digits", OPTION_DIGITS, "N", 0, "Significant digits of the text format (default 4)", SHARED_GROUP },
    { 0 },
};
static const struct argp_option quiet_options[] = {
    { "quiet", OPTION_QUIET, NULL, 0, "Leave out notes and progress; errors and cautions still appear", SHARED_GROUP },
    { 0 },
};

const struct argp input_argp = { input_options, parse_input, "[FILE]", NULL, NULL, NULL, NULL };
const struct argp output_argp = { output_options, parse_output, NULL, NULL, NULL, NULL, NULL };
const struct argp channel_argp = { channel_options, parse_common, NULL, NULL, NULL, NULL, NULL };
const struct argp span_argp = { span_options, parse_common, NULL, NULL, NULL, NULL, NULL };
const struct argp rows_argp = { rows_options, parse_common, NULL, NULL, NULL, NULL, NULL };
const struct argp report_argp = { report_options, parse_common, NULL, NULL, NULL, NULL, NULL };
const struct argp quiet_argp = { quiet_options, parse_common, NULL, NULL, NULL, NULL, NULL };

void option_error(const char *option, const char *argument, const char *format, ...)
{
    char reason[DW_ERROR_TEXT];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(reason, sizeof reason, format, arguments);
    va_end(arguments);
    if (argument)
        program_fail(DW_BAD_USE, "--%s: '%s': %s", option, argument, reason);
    program_fail(DW_BAD_USE, "--%s: %s", option, reason);
}

void option_once(const char *option, const char *argument, const char **seen)
{
    if (*seen)
        option_error(option, NULL, "given twice, as '%s' and as '%s'", *seen, argument);
    *seen = argument;
}

void option_required(const char *option, const char *example)
{
    if (!option_given(option))
        program_fail(DW_BAD_USE, "--%s is missing: give it, %s", option, example);
}

/* "--name 'argument'", or "--name" for a flag */
static void spell_given(char *out, size_t size, const char *option)
{
    const char *argument = option_given(option);
    snprintf(out, size, *argument ? "--%s '%s'" : "--%s", option, argument);
}

void option_conflict(const char *one, const char *other, const char *reason)
{
    char first[160], second[160];
    if (!option_given(one) || !option_given(other))
        return;
    spell_given(first, sizeof first, one);
    spell_given(second, sizeof second, other);
    program_fail(DW_BAD_USE, "%s and %s: %s", first, second, reason);
}

void option_report(void)
{
    static const char *const of_tables[] = { "binary", "text", "uniform" }, *const of_reports[] = { "format", "digits" };
    for (size_t i = 0; i < sizeof of_tables / sizeof *of_tables; i++)
        option_conflict("report", of_tables[i], "a report has no rows");
    for (size_t i = 0; i < sizeof of_reports / sizeof *of_reports && !option_given("report"); i++)
        if (option_given(of_reports[i]))
            option_error(of_reports[i], option_given(of_reports[i]), "belongs to --report, which is missing");
}

double option_quantity(const char *option, const char *argument, enum dw_quantity kind)
{
    double value = 0;
    struct dw_error error;
    if (dw_quantity_parse(argument, kind, &value, &error) != DW_OK)
        option_error(option, argument, "%s", error.text);
    return value;
}

/* "3.3 V", or "1e-05" for a number without unit */
static const char *spell_limit(char *out, size_t size, double value, enum dw_quantity kind)
{
    const char *unit = dw_quantity_unit(kind);
    char number[DW_NUMBER_SIZE];
    dw_number_print(number, value);
    snprintf(out, size, strcmp(unit, "1") ? "%s %s" : "%s", number, unit);
    return out;
}

double option_between(const char *option, const char *argument, enum dw_quantity kind, double least, double most)
{
    char from[64], to[64];
    const double value = option_quantity(option, argument, kind);
    if (value >= least && value <= most)
        return value;
    spell_limit(from, sizeof from, least, kind);
    spell_limit(to, sizeof to, most, kind);
    if (isinf(most))
        option_error(option, argument, "must be at least %s", from);
    if (isinf(least))
        option_error(option, argument, "must be at most %s", to);
    if (kind == DW_SHARE && value > most && value / 100 >= least && value / 100 <= most && !strpbrk(argument, "%/"))
        option_error(option, argument, "must be from %s to %s; did you mean %s%%?", from, to, argument);
    option_error(option, argument, "must be from %s to %s", from, to);
}

double option_positive(const char *option, const char *argument, enum dw_quantity kind)
{
    const double value = option_quantity(option, argument, kind);
    if (!(value > 0))
        option_error(option, argument, "must be above zero");
    return value;
}

long option_count(const char *option, const char *argument, long least, long most)
{
    const double value = option_between(option, argument, DW_NUMBER, (double)least, (double)most);
    if (value != floor(value))
        option_error(option, argument, "must be a whole number");
    return (long)value;
}

int option_word(const char *option, const char *argument, const char *const *words)
{
    char list[DW_ERROR_TEXT] = "";
    size_t used = 0;
    for (int i = 0; words[i]; i++)
        if (!strcmp(words[i], argument))
            return i;
    for (int i = 0; words[i] && used < sizeof list; i++)
        used += (size_t)snprintf(list + used, sizeof list - used, "%s%s", !i ? "" : words[i + 1] ? ", " : " or ", words[i]);
    const char *near = words[0] && words[1] ? nearest_word(argument, words) : NULL; /* of one, the list says it */
    option_error(option, argument, near ? "must be %s; did you mean %s?" : "must be %s", list, near);
}
