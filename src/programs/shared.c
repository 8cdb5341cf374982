/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The shared options, and what programs do with them. */
#include "common.h"
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define OPTION_STRUCT struct common_options
enum { SHARED_GROUP = 8 };

static const char *const formats[] = { "text", "rows", "json", NULL };

/* Behind the program's own in --help. */
static const struct option_spec every_program[] = {
    { .help = "Shared with other programs:", .group = SHARED_GROUP },
    { "help", NULL, "Print this help and end", .group = SHARED_GROUP },
    { "version", NULL, "Print the version and end", .group = SHARED_GROUP },
    { "quiet", NULL, "Leave out notes and progress; errors and cautions still appear", .group = SHARED_GROUP },
    { 0 }
};
static const struct option_spec input[] = {
    { "partial", NULL, "Accept a table that was cut off before its end line", OPTION_FLAG(partial), .group = SHARED_GROUP },
    { 0 }
};
static const struct option_spec output[] = {
    { "binary", NULL, "Write rows as binary numbers, faster for long tables (default: as the input is; without input, text)",
      OPTION_FLAG(binary), .group = SHARED_GROUP },
    { "text", NULL, "Write rows as text", OPTION_FLAG(text), .group = SHARED_GROUP },
    { 0 }
};
static const struct option_rule output_rules[] = {
    { OPTION_EXCLUDES, "binary", "text", "the output has one encoding; give one" },
    { 0 }
};
static const struct option_spec channel[] = {
    { "channel", "NAME", "Channel to work on (default: the last with a fitting unit)", OPTION_TEXT(channel), .group = SHARED_GROUP },
    { 0 }
};
static enum dw_status read_span(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct dw_error why;
    if (dw_span_parse(argument, &((struct common_options *)options)->span, &why) != DW_OK)
        return option_error(error, option->name, NULL, "%s", why.text);
    return DW_OK;
}

static const struct option_spec span[] = {
    { "span", "SPAN",
      "Part of the table: last (the last whole period), last:N (the last N periods), all, or A:B (from time A to time B, "
      "such as 10ms:20ms; either may be left out)", OPTION_READ(read_span), .group = SHARED_GROUP },
    { 0 }
};
static const struct option_spec rows[] = {
    { "accuracy", "SHARE",
      "How far the curves between rows may be off, as a share of the natural scale, such as the supply; and 50 times so much, as a "
      "share of how far a channel ranges a period (default 2e-8)",
      OPTION_QUANTITY(accuracy, DW_SHARE), OPTION_FROM_TO(1e-14, 0.1), .group = SHARED_GROUP },
    { "uniform", "RATE", "Write rows at equal spacing, so many a second (Hz), instead of as many as the accuracy needs",
      OPTION_QUANTITY(uniform, DW_FREQUENCY), OPTION_ABOVE_ZERO, .group = SHARED_GROUP },
    { 0 }
};
static const struct option_rule rows_rules[] = {
    { OPTION_EXCLUDES, "uniform", "lines csv=curves", "rows at equal spacing have no slopes, and as many as are asked for" },
    { 0 }
};
static const char *const csv_rows[] = { "", "lines", "curves", NULL };
static const struct option_spec lines[] = {
    { "lines", "SHARE",
      "Write straight lines instead of curves, without slopes: as many rows as keep them within this share of how far each channel "
      "ranges a period (default 1e-3)", .bare = "1e-3", OPTION_QUANTITY(lines, DW_SHARE), OPTION_FROM_TO(1e-9, 0.5), .group = SHARED_GROUP },
    { "csv", "curves",
      "Write comma-separated values with a title line and no header (RFC 4180), as with --lines; --csv=curves keeps the slopes",
      .bare = "lines", OPTION_WORD(csv, csv_rows), .group = SHARED_GROUP },
    { 0 }
};
static const struct option_rule lines_rules[] = {
    { OPTION_EXCLUDES, "csv", "binary text", "the output has one encoding; give one" },
    { OPTION_EXCLUDES, "lines", "csv=curves", "the rows are lines or curves; give one" },
    { 0 }
};
static const struct option_spec report[] = {
    { "format", "FORMAT", "text for reading, rows for tab-separated lines, json; the last two with all digits (default text)",
      OPTION_WORD(format, formats), .group = SHARED_GROUP },
    { "digits", "N", "Significant digits of the text format (default 4)", OPTION_COUNT(digits, 1, 17), .group = SHARED_GROUP },
    { 0 }
};

static const struct {
    unsigned which;
    const struct option_spec *options;
    const struct option_rule *rules;
} shared[] = {
    { SHARED_INPUT, input, NULL }, { SHARED_OUTPUT, output, output_rules }, { SHARED_CHANNEL, channel, NULL },
    { SHARED_SPAN, span, NULL },   { SHARED_ROWS, rows, rows_rules },       { SHARED_LINES, lines, lines_rules },
    { SHARED_REPORT, report, NULL },
};

size_t command_sets(const struct program *program, struct command_set *sets)
{
    size_t count = 0;
    sets[count++] = (struct command_set){ program->options, program->rules, 0 };
    if (program->load)
        sets[count++] = (struct command_set){ program->load->options, program->load->rules, program->loaded };
    for (size_t i = 0; i < sizeof shared / sizeof *shared; i++)
        if (program->shared & shared[i].which)
            sets[count++] = (struct command_set){ shared[i].options, shared[i].rules, program->common };
    if (program->run)
        sets[count++] = (struct command_set){ every_program, NULL, program->common };
    return count;
}

struct dw_reader *input_open(const struct common_options *options, bool rows_out, struct dw_error *error)
{
    struct dw_reader_options how = command_reading(options->command, options->partial, rows_out);
    how.curves = true;
    return dw_reader_open(options->file, &how, error);
}

enum dw_status report_out(struct report *filled, const struct common_options *options, enum dw_status status, struct dw_error *error)
{
    if (status == DW_OK)
        status = report_write(filled, options->format, options->digits, stdout, error);
    report_free(filled);
    return status;
}

void input_note_uneven(struct command *command, const struct dw_reader *reader)
{
    if (dw_reader_uneven(reader))
        command_note(command, "the rows are not equally spaced: they are taken as corners of straight lines, not as samples");
}

double lines_wanted(const struct common_options *options)
{
    return options->lines > 0 || options->csv != 1 || options->uniform > 0 ? options->lines : 1e-3;
}

enum dw_encoding output_encoding(const struct common_options *options, const struct dw_reader *reader)
{
    if (options->csv)
        return DW_CSV;
    if (options->binary || options->text || !reader)
        return options->binary ? DW_BINARY : DW_TEXT;
    return dw_reader_encoding(reader) == DW_BINARY && !isatty(STDOUT_FILENO) ? DW_BINARY : DW_TEXT;
}

/* ---- --channel where it may name several ---- */

static enum dw_status find_one(const struct dw_header *header, const char *name, size_t *column, size_t *count,
                               struct dw_error *error)
{
    struct dw_error found = { .status = DW_OK };
    const size_t at = dw_header_find(header, name, &found);
    if (!at)
        return dw_error_set(error, found.status, 0, "--channel: %s", found.text);
    for (size_t i = 0; i < *count; i++)
        if (column[i] == at)
            return DW_OK;
    column[(*count)++] = at;
    return DW_OK;
}

enum dw_status channels_find(const struct option_texts *names, const struct dw_header *header, size_t **column, size_t *count,
                             struct dw_error *error)
{
    enum dw_status status = DW_OK;
    *count = 0;
    *column = NULL;
    if (!names->count)
        return DW_OK;
    if (!(*column = calloc(dw_header_columns(header), sizeof **column)))
        return dw_no_memory(error);
    for (size_t i = 0; i < names->count && status == DW_OK; i++) {
        char *copy = strdup(names->text[i]), *rest = copy;
        status = copy ? DW_OK : dw_no_memory(error);
        for (char *name; status == DW_OK && (name = strsep(&rest, ","));)
            if (*name)
                status = find_one(header, name, *column, count, error);
        free(copy);
    }
    if (status == DW_OK && !*count)
        status = dw_error_set(error, DW_BAD_USE, 0, "--channel: '%s': a channel's name was wanted", names->text[0]);
    return status;
}
