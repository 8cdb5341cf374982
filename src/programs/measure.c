/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-measure: mean, ripple, pulses and settling of the channels of a wave table. */
#include "old_channels.h"
#include "old_common.h"
#include "report.h"
#include <dutywright/measure.h>
#include <stdlib.h>
#include <string.h>

struct measure_options {
    struct common_options common;
    char *channels;  /* names, joined by commas; NULL: all */
    struct dw_span span;
    double period, band;
    bool has_from, has_levels;
    double from, low, high;
};

enum { OPTION_PERIOD = OPTION_OWN, OPTION_BAND, OPTION_FROM, OPTION_LEVELS };

static const struct argp_option options[] = {
    { "channel", OPTION_CHANNEL, "NAMES", OPTION_REPEATS, "Channels to measure, joined by commas or given one by one (default: all)",
      0 },
    { "period", OPTION_PERIOD, "TIME", 0,
      "The wave repeats after so long, counted from the first row (s; default: what the table says)", 0 },
    { "band", OPTION_BAND, "SHARE", 0,
      "Settled means within so much of the final mean, as a share of the change from the first to the final mean (default "
      "2%)", 0 },
    { "from", OPTION_FROM, "VALUE", 0,
      "What the change that settles starts from (default: what the table says under initial, else the first row)", 0 },
    { "levels", OPTION_LEVELS, "LOW:HIGH", 0,
      "Levels of the low and the high state, for duty and transitions (default: those that the table names, where the channel "
      "keeps near them; else where the wave spends its time; else its extremes)", 0 },
    { 0 },
};
static const struct argp_child children[] = {
    { &input_argp, 0, NULL, 0 }, { &span_argp, 0, NULL, 0 }, { &report_argp, 0, NULL, 0 }, { 0 }
};

static const char doc[] =
    "Measure the channels of a wave table: mean, rms, ac-rms (rms without the mean), minimum, maximum, ripple (maximum minus "
    "minimum), frequency, duty, transition durations, overshoot and settling time. Rows are read as the ends of straight "
    "lines, and the integrals are exact for those."
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
    "What cannot be had is left out, and a note on standard error says why.\n"
    "\n"
    "Rows of --format rows: channel, quantity, value, unit, separated by tabs.\n"
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
static double any_quantity(const char *option, const char *text)
{
    static const enum dw_quantity kinds[] = { DW_VOLTAGE, DW_CURRENT, DW_SPEED, DW_POWER, DW_TEMPERATURE, DW_TORQUE };
    double value;
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++)
        if (dw_quantity_parse(text, kinds[i], &value, NULL) == DW_OK)
            return value;
    return option_quantity(option, text, DW_NUMBER);
}

static void read_levels(struct measure_options *o, const char *argument)
{
    char low[64];
    const char *colon = strchr(argument, ':');
    const size_t length = colon ? (size_t)(colon - argument) : 0;
    if (!colon || length >= sizeof low)
        option_error("levels", argument, "two values were wanted, LOW:HIGH, such as 0:3.3");
    memcpy(low, argument, length);
    low[length] = 0;
    o->low = any_quantity("levels", low);
    o->high = any_quantity("levels", colon + 1);
    o->has_levels = true;
    if (!(o->low < o->high))
        option_error("levels", argument, "the low level must be below the high one");
}

static void read_span(struct measure_options *o)
{
    struct dw_error error;
    if (o->common.span && dw_span_parse(o->common.span, &o->span, &error) != DW_OK)
        option_error("span", NULL, "%s", error.text);
}

static error_t parse(int key, char *argument, struct argp_state *state)
{
    struct measure_options *o = state->input;
    switch (key) {
    case ARGP_KEY_INIT:
        for (int i = 0; i < 3; i++)
            state->child_inputs[i] = &o->common;
        return 0;
    case OPTION_CHANNEL: channels_add(&o->channels, argument); return 0;
    case OPTION_PERIOD: o->period = option_positive("period", argument, DW_TIME); return 0;
    case OPTION_BAND:
        o->band = option_quantity("band", argument, DW_SHARE);
        if (!(o->band > 0 && o->band < 1))
            option_error("band", argument, "must be above 0 and below 100%%");
        return 0;
    case OPTION_FROM:
        o->from = any_quantity("from", argument);
        o->has_from = true;
        return 0;
    case OPTION_LEVELS: read_levels(o, argument); return 0;
    case ARGP_KEY_END: read_span(o); return 0;
    default: return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp argp = { options, parse, NULL, doc, children, NULL, NULL };

static struct dw_meter *new_meter(const struct measure_options *o, const struct dw_reader *reader, struct dw_error *error)
{
    const struct dw_header *header = dw_reader_header(reader);
    struct dw_meter_options how = { .span = o->span,
                                    .period = o->period,
                                    .band = o->band,
                                    .has_from = o->has_from,
                                    .from = o->from,
                                    .has_levels = o->has_levels,
                                    .low = o->low,
                                    .high = o->high,
                                    .place = dw_reader_name(reader) };
    size_t *column = NULL;
    enum dw_status status = channels_find(o->channels, header, &column, &how.channels, error);
    how.column = o->channels ? column : NULL;
    const size_t channels = o->channels ? how.channels : dw_header_columns(header) - 1;
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
            status = (result.at_most ? report_finding_at_most : report_finding)(report, name, dw_measure_name(measure),
                                                                                result.value, unit, error);
        }
    if (status == DW_OK)
        status = report_write(report, o->common.format, o->common.digits, stdout, error);
    report_free(report);
    return status;
}

/* One line for channels of which the same is to be said. */
static void say(const struct dw_header *header, const struct dw_meter *meter)
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
            program_note("%s%s%s%s", names, rest, *names ? ": " : "", note.text);
    }
}

static enum dw_status measure(const struct measure_options *o, struct dw_error *error)
{
    struct dw_reader *reader = input_open(&o->common, false, error);
    struct dw_meter *meter = reader ? new_meter(o, reader, error) : NULL;
    enum dw_status status = meter ? read_rows(reader, meter, error) : error->status;
    if (status == DW_OK) {
        say(dw_reader_header(reader), meter);
        status = report(o, dw_reader_header(reader), meter, error);
    }
    dw_meter_free(meter);
    dw_reader_close(reader);
    return status;
}

int main(int argc, char **argv)
{
    struct measure_options o = { .common = common_defaults() };
    struct dw_error error = { .status = DW_OK };
    program_start("dw-measure", &argp, &o, argc, argv);
    const enum dw_status status = measure(&o, &error);
    free(o.channels);
    return program_finish(status, &error);
}
