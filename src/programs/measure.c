/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-measure: mean, ripple, pulses and settling of the channels of a wave table. */
#include "common.h"
#include "report.h"
#include <dutywright/measure.h>
#include <stdlib.h>
#include <string.h>

struct measure_options {
    struct common_options common;
    struct option_texts channels;  /* none: all */
    double period, band;
    bool has_from, has_levels, has_step;
    double from, low, high, step_at;
};

static const char doc[] =
    "Measure the channels of a wave table: mean, rms, ac-rms (rms without the mean), minimum, maximum, ripple (maximum minus "
    "minimum), frequency, duty, transition durations, overshoot and settling time. Between rows a channel is the cubic with their "
    "values and slopes where it has slopes, else a straight line, and all is exact for those."
    "\v"
    "The span, by default the last whole period where the table names its period, else the whole table, is what is measured; "
    "only settling time and overshoot always use the whole table. A span begins after a jump at its start and ends before a "
    "jump at its end.\n"
    "\n"
    "Settling time, a definition of our own since a switched output never stays still: from the first row until the mean over the period just ended stays within the band around its final "
    "value; without a period, until the value itself does. <= marks one that was over within the first period. Overshoot: "
    "how far the mean over a period goes beyond its final value, as a share of the change.\n"
    "\n"
    "Transition durations run from 10 % to 90 % of the way between the levels, frequency and duty between the instants at 50 "
    "% (terms of IEEE Std 181).\n"
    "\n"
    "Where the table says that it is sampled, mean, rms and frequency are those of a sine fit with up to ten harmonics if it leaves at most 1 % of "
    "ac-rms; else mean and rms are over whole cycles, where there are any.\n"
    "\n"
    "What cannot be had is left out, and a note on standard error says why.\n"
    "\n"
    "Rows of --format rows: channel, quantity, value, unit, bound, separated by tabs; the\n"
    "bound is how far the value may be off by what the table says of its accuracy, 0\n"
    "where it is exact, or < where the value is only known to be at most so large. Text\n"
    "gives no more digits than the bound allows.\n"
    "\n"
    "Examples:\n"
    "  dw-pwm --frequency 1.6k --duty 31.2% --periods 200 |\n"
    "    dw-smooth --stage r=2k7,c=680n | dw-measure\n"
    "  dw-measure --channel out --format rows meter.tsv |\n"
    "    awk '$2 == \"ripple\" { print $3 }'\n"
    "  dw-measure --channel probe --period 625us --levels 0:3.3 capture.csv\n"
    "\n"
    "Exit status: 0 done, 2 bad use or bad input, 3 the system failed.";

/* A value in whatever unit the channel has. */
static enum dw_status any_quantity(const struct option_spec *option, const char *text, double *value, struct dw_error *error)
{
    static const enum dw_quantity kinds[] = { DW_VOLTAGE, DW_CURRENT, DW_SPEED, DW_POWER, DW_TEMPERATURE, DW_TORQUE };
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++)
        if (dw_quantity_parse(text, kinds[i], value, NULL) == DW_OK)
            return DW_OK;
    return option_value(option, text, value, error);
}

static enum dw_status read_from(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct measure_options *o = options;
    o->has_from = true;
    return any_quantity(option, argument, &o->from, error);
}

static enum dw_status read_step(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct measure_options *o = options;
    o->has_step = true;
    return option_value(option, argument, &o->step_at, error);
}

static enum dw_status read_levels(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct measure_options *o = options;
    char low[64];
    const char *high = option_halves(argument, ':', low, sizeof low);
    if (!high)
        return option_error(error, option->name, argument, "two values were wanted, LOW:HIGH, such as 0:3.3");
    enum dw_status status = any_quantity(option, low, &o->low, error);
    if (status == DW_OK)
        status = any_quantity(option, high, &o->high, error);
    o->has_levels = true;
    if (status == DW_OK && !(o->low < o->high))
        status = option_error(error, option->name, argument, "the low level must be below the high one");
    return status;
}

#define OPTION_STRUCT struct measure_options
static const struct option_spec options[] = {
    { "channel", "NAMES", "Channels to measure, joined by commas or given one by one (default: all)", OPTION_TEXTS(channels) },
    { "period", "TIME", "The wave repeats after so long, counted from the first row (s; default: what the table says)",
      OPTION_QUANTITY(period, DW_TIME), OPTION_ABOVE_ZERO },
    { "band", "SHARE",
      "Settled means within so much of the final mean, as a share of the change from the first to the final mean (default 2%)",
      OPTION_QUANTITY(band, DW_SHARE), OPTION_BETWEEN(0, 1) },
    { "from", "VALUE", "What the change that settles starts from (default: what the table says under initial, else the first row)",
      OPTION_READ(read_from), OPTION_AT(from) },
    { "step-at", "TIME", "The change that settles begins here, from the mean or value before (s; default: with the first row)",
      OPTION_READ(read_step), OPTION_AT(step_at), .quantity = DW_TIME },
    { "levels", "LOW:HIGH",
      "Levels of the low and the high state, for duty and transitions (default: those that the table names, where the channel "
      "keeps near them; else where the wave spends its time; where no two levels stand out, none)", OPTION_READ(read_levels) },
    { 0 }
};

static struct dw_meter *new_meter(const struct measure_options *o, const struct dw_reader *reader, struct dw_error *error)
{
    const struct dw_header *header = dw_reader_header(reader);
    struct dw_meter_options how = { .span = o->common.span,
                                    .period = o->period,
                                    .band = o->band,
                                    .has_from = o->has_from,
                                    .from = o->from,
                                    .has_step = o->has_step,
                                    .step_at = o->step_at,
                                    .has_levels = o->has_levels,
                                    .low = o->low,
                                    .high = o->high,
                                    .place = dw_reader_name(reader) };
    size_t *column = NULL;
    enum dw_status status = channels_find(&o->channels, header, &column, &how.channels, error);
    how.column = o->channels.count ? column : NULL;
    const size_t channels = o->channels.count ? how.channels : dw_header_columns(header) - 1 - dw_header_slopes(header, NULL);
    if (status == DW_OK && channels > 1 && (o->has_from || o->has_levels))
        status = dw_error_set(error, DW_BAD_USE, 0, "--%s holds for one channel only: choose it with --channel",
                              o->has_from ? "from" : "levels");
    struct dw_meter *meter = status == DW_OK ? dw_meter_new(header, &how, error) : NULL;
    free(column);
    return meter;
}

static enum dw_status read_rows(struct dw_reader *reader, struct dw_meter *meter, struct dw_error *error)
{
    enum { BLOCK = 4096 };
    const double *values;
    size_t rows;
    enum dw_status status;
    while ((status = dw_reader_rows(reader, BLOCK, &values, &rows, error)) == DW_OK)
        if ((status = dw_meter_rows(meter, values, rows, error)) != DW_OK)
            return status;
    return status == DW_END ? dw_meter_finish(meter, error) : status;
}

static const char *channel_name(const struct dw_header *header, const struct dw_meter *meter, size_t channel)
{
    return dw_header_column(header, dw_meter_column(meter, channel)).name;
}

static enum dw_status report(const struct measure_options *o, const struct dw_header *header, const struct dw_meter *meter,
                             struct dw_error *error)
{
    struct report *report = report_findings(error);
    enum dw_status status = report ? DW_OK : DW_NO_MEMORY;
    for (size_t i = 0; i < dw_meter_channels(meter) && status == DW_OK; i++)
        for (int q = 0; q < DW_MEASURES && status == DW_OK; q++) {
            const enum dw_measure measure = (enum dw_measure)q;
            const struct dw_result result = dw_meter_result(meter, i, measure);
            const char *name = channel_name(header, meter, i);
            const char *unit = measure == DW_MEASURE_DUTY || measure == DW_MEASURE_OVERSHOOT
                                   ? "%"
                                   : dw_measure_unit(measure, dw_header_column(header, dw_meter_column(meter, i)).unit);
            if (!result.had)
                continue;
            const struct report_cell cell = { .number = result.value, .at_most = result.at_most, .bound = result.bound };
            status = report_finding_cell(report, name, dw_measure_name(measure), cell, unit, error);
        }
    return report_out(report, &o->common, status, error);
}

/* One line for channels of which the same is to be said. */
static void say(struct command *command, const struct dw_header *header, const struct dw_meter *meter)
{
    struct dw_meter_note note, other;
    for (size_t i = 0; dw_meter_note(meter, i, &note); i++) {
        char names[256] = "", rest[32] = "";
        size_t more = 0;  /* that names had no room for */
        bool said = false;
        for (size_t k = 0; dw_meter_note(meter, k, &other); k++) {
            if (strcmp(note.text, other.text) || other.channel == dw_meter_channels(meter))
                continue;
            said = said || k < i;
            const char *name = channel_name(header, meter, other.channel);
            const size_t used = strlen(names), room = sizeof names - used;
            if (more || (size_t)snprintf(names + used, room, "%s%.60s", used ? ", " : "", name) >= room) {
                names[used] = 0;
                more++;
            }
        }
        if (more)
            snprintf(rest, sizeof rest, " and %zu more", more);
        if (!said)
            command_note(command, "%s%s%s%s", names, rest, *names ? ": " : "", note.text);
    }
}

static enum dw_status measure(void *options_read, struct dw_error *error)
{
    const struct measure_options *o = options_read;
    struct dw_reader *reader = input_open(&o->common, false, error);
    struct dw_meter *meter = reader ? new_meter(o, reader, error) : NULL;
    enum dw_status status = meter ? read_rows(reader, meter, error) : error->status;
    if (status == DW_OK) {
        input_note_uneven(o->common.command, reader);
        say(o->common.command, dw_reader_header(reader), meter);
        status = report(o, dw_reader_header(reader), meter, error);
    }
    dw_meter_free(meter);
    dw_reader_close(reader);
    return status;
}

static const struct measure_options defaults = { .common = COMMON_DEFAULTS };
static const struct program program = {
    .name = "dw-measure", .about = doc, .options = options, .shared = SHARED_INPUT | SHARED_SPAN | SHARED_REPORT,
    .run = measure, PROGRAM_OPTIONS(struct measure_options, defaults)
};
PROGRAM_MAIN(program)
