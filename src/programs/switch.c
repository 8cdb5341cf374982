/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-switch: loss and heat of the transistor that carries a current. */
#include "switch_options.h"
#include "drive.h"
#include <dutywright/follow.h>
#include <dutywright/pieces.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const double ABSOLUTE_ZERO = -273.15;  /* degC */

static const char *const kinds[] = { "mosfet", "bipolar", NULL }, *const edges[] = { "clamped", "resistive", NULL },
                        *const starts[] = { "rest", "steady", NULL };

static enum dw_status read_driver(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct switch_options *o = options;
    struct option_key keys[] = { { "rating", DW_CURRENT, NAN, NULL }, { "margin", DW_NUMBER, 1.25, NULL },
                                 { "peak", DW_CURRENT, INFINITY, NULL } };
    const enum dw_status status = option_keys(option->name, argument, keys, 3, error);
    if (status != DW_OK)
        return status;
    o->rating = keys[0].value;
    o->margin = keys[1].value;
    o->peak_rating = keys[2].value;
    if (!(o->rating > 0))
        return option_error(error, option->name, argument, "rating must be given and above zero");
    if (!(o->margin >= 1))
        return option_error(error, option->name, argument, "margin must be 1 or more");
    return o->peak_rating > 0 ? DW_OK : option_error(error, option->name, argument, "peak must be above zero");
}

#define DEGREES OPTION_FROM_TO(ABSOLUTE_ZERO, INFINITY)
#define OPTION_STRUCT struct switch_options
static const struct option_spec options[] = {
    { .help = "The transistor:" },
    { "kind", "mosfet|bipolar", "Which transistor carries the current; required unless --driver stands alone",
      OPTION_WORD(transistor.kind, kinds) },
    { "on-resistance", "R", "Drain to source while on (ohm), at 25 degC; mosfet",
      OPTION_QUANTITY(transistor.on_resistance, DW_RESISTANCE), OPTION_ABOVE_ZERO },
    { "resistance-slope", "SHARE",
      "Growth of the on-resistance per kelvin, of its value at 25 degC (0.6%); default 0. With --thermal; it follows the mean temperature of the "
      "period before", OPTION_QUANTITY(transistor.resistance_slope, DW_SHARE), OPTION_FROM_TO(0, 0.1) },
    { "saturation", "V", "Collector to emitter while on (V); bipolar", OPTION_QUANTITY(transistor.saturation, DW_VOLTAGE),
      OPTION_NOT_NEGATIVE },
    { "forced-gain", "N", "Collector current over base current while on; adds the base's loss; bipolar",
      OPTION_QUANTITY(transistor.forced_gain, DW_NUMBER), OPTION_ABOVE_ZERO },
    { "base-emitter", "V", "Base to emitter while on (V); default 0.7; bipolar", OPTION_QUANTITY(transistor.base_emitter, DW_VOLTAGE),
      OPTION_NOT_NEGATIVE },
    { "pin-current", "I", "What the pin can give to the base (A): with --forced-gain, says whether it is enough",
      OPTION_QUANTITY(pin_current, DW_CURRENT), OPTION_ABOVE_ZERO },
    { "supply", "V", "Supply of the load (V); required with --kind", OPTION_QUANTITY(transistor.supply, DW_VOLTAGE), OPTION_ABOVE_ZERO },
    { "diode-drop", "V", "Of the freewheel diode while it conducts (V); default 0.7", OPTION_QUANTITY(transistor.diode_drop, DW_VOLTAGE),
      OPTION_NOT_NEGATIVE },
    { .help = "Its edges:" },
    { "edge", "T", "Duration of each edge, 0 to 100 % (s); default 0: switching loss is left out",
      OPTION_QUANTITY(transistor.edge, DW_TIME), OPTION_NOT_NEGATIVE },
    { "edge-load", "clamped|resistive",
      "What the load does meanwhile: clamped (default): its current flows on, V I t/2 is lost; resistive: V I t/6",
      OPTION_WORD(transistor.edges, edges) },
    { "output-capacitance", "C", "Emptied at each turn-on (F); needs --edge",
      OPTION_QUANTITY(transistor.output_capacitance, DW_CAPACITANCE), OPTION_NOT_NEGATIVE },
    { "recovery-charge", "Q", "Of the freewheel diode, swept out at each turn-on (C); needs --edge",
      OPTION_QUANTITY(transistor.recovery_charge, DW_CHARGE), OPTION_NOT_NEGATIVE },
    { .help = "Heat:" },
    { "thermal", "KEYS",
      "One pair of the thermal network, junction to ambient: r=K/W and tau=s or c=J/K, such as r=1.2,tau=20m; repeat for each",
      OPTION_READ(thermal_read_pair), OPTION_AT(network), .repeats = true },
    { "ambient", "T", "Ambient temperature (degC); default 25", OPTION_QUANTITY(ambient, DW_TEMPERATURE), DEGREES },
    { "limit", "T", "Highest junction temperature allowed (degC): --report ends with status 1 where it is exceeded", OPTION_QUANTITY(limit, DW_TEMPERATURE),
      DEGREES },
    { "heatsink-for", "T", "Report the heat-sink resistance that keeps the junction at T (degC); --thermal is then junction to case",
      OPTION_QUANTITY(sink_limit, DW_TEMPERATURE), DEGREES },
    { "start", "rest|steady", "Junction at the first row: at ambient (default), or where periods without end would bring it",
      OPTION_WORD(steady, starts) },
    { .help = "A packaged driver instead, or as well:" },
    { "driver", "KEYS", "rating=A (continuous), margin=N (default 1.25), peak=A: --report ends with status 1 where the load's current is over rating/margin",
      OPTION_READ(read_driver) },
    { .help = "Input and output:" },
    { "gate", "CHANNEL", "Channel that turns the transistor on, where the current is the load's; default pin", OPTION_TEXT(gate) },
    { "threshold", "V", "On above it (V); default the middle of the table's levels", OPTION_QUANTITY(threshold, DW_VOLTAGE) },
    { "report", NULL, "Write findings instead of the table", OPTION_FLAG(report) },
    { 0 }
};

static const struct option_rule rules[] = {
    REPORT_RULES,
    { OPTION_NEEDED, "kind", "!driver", "such as mosfet or bipolar; or --driver rating=A" },
    { OPTION_REFUSED, "on-resistance resistance-slope saturation forced-gain base-emitter pin-current diode-drop edge edge-load "
                      "output-capacitance recovery-charge thermal limit heatsink-for ambient start", "!kind",
      "goes with --kind, which is missing" },
    { OPTION_NEEDED, "on-resistance", "kind=mosfet", "such as 40m" },
    { OPTION_NEEDED, "saturation", "kind=bipolar", "such as 0.3" },
    { OPTION_REFUSED, "saturation forced-gain base-emitter pin-current", "kind=mosfet", "is of a bipolar; --kind is mosfet" },
    { OPTION_REFUSED, "on-resistance resistance-slope", "kind=bipolar", "is of a mosfet; --kind is bipolar" },
    { OPTION_NEEDED, "supply", "kind", "such as 12" },
    { OPTION_NEEDED, "forced-gain", "pin-current", "such as 10: --pin-current needs it" },
    { OPTION_NEEDED, "forced-gain", "base-emitter", "such as 10: --base-emitter is about the base's loss" },
    { OPTION_NEEDED, "edge", "output-capacitance recovery-charge edge-load", "such as 100n: its energy is lost during an edge" },
    { OPTION_NEEDED, "thermal", "limit heatsink-for resistance-slope ambient start",
      "such as r=1.2,tau=20m: without it no temperature is known" },
    { OPTION_REFUSED, "heatsink-for", "!report", "is a finding of --report: give --report" },
    { 0 }
};

static enum dw_status check(const struct command *command, void *options_read, struct dw_error *error)
{
    struct switch_options *o = options_read;
    o->alone = !command_given(command, "kind");
    return o->alone ? DW_OK : dw_switch_check(&o->transistor, error);
}

static const char about[] =
    "Loss and junction temperature of the transistor that carries a current, and whether it stays within its limits.\v"
    "Reads a wave table that holds either switch-current[A] (and diode-current[A]), as dw-motor --all and dw-coil --all write "
    "them, or the load's current beside the pin that switches it. Appends the channels loss[W] (conduction, and each edge's "
    "energy as a triangle as long as the edge) and, with --thermal, junction[degC], each with its slope. With --report it writes findings "
    "instead: means over the last whole period, which --accuracy does not change. Status 1: a limit or rating is exceeded, or the junction runs away.\n\n"
    "Findings: loss is conduction, turn-on and turn-off together; diode-loss is that of the freewheel diode, another part. "
    "junction-mean and -highest are those of the last whole period, steady-junction- those of periods without end. "
    "allowed-current: rating / margin. junction-headroom: what --limit (allowed-junction) leaves above the highest of record and "
    "steady state, below zero where it is exceeded. heatsink: the largest resistance from case to ambient, interface included, that will do.\n\n"
    "Example: the transistor of the exhibit's pump motor on a small heat sink\n\n"
    "  dw-pwm --frequency 22.5k --duty 60% --periods 4 |\n"
    "    dw-motor --resistance 1.85 --constant 27m --drag 4m --inductance 900u \\\n"
    "      --inertia 9u --supply 12 --drive one-switch --start steady --all |\n"
    "    dw-switch --kind mosfet --on-resistance 40m --supply 12 --edge 80n \\\n"
    "      --thermal r=1.1,tau=8m --thermal r=9,tau=60 --limit 125 \\\n"
    "      --start steady --report";

/* ---- the table ---- */

static enum dw_status find_source(const struct switch_options *o, const struct dw_reader *reader,
                                  struct dw_heat_source *source, struct dw_error *error)
{
    const struct dw_header *header = dw_reader_header(reader);
    enum dw_status status = wave_needed(reader, error);
    const char *wanted = o->common.channel ? o->common.channel : "switch-current";
    bool own = !strncmp(wanted, "switch-current", strlen("switch-current")) && !o->gate;
    source->columns = dw_header_columns(header);
    if (!status && (o->common.channel || !(source->current = dw_header_find(header, wanted, NULL)))) {
        own = own && o->common.channel;
        status = channel_find(o->common.command, reader, &(struct channel_wish){ "channel", o->common.channel, "A" }, &source->current,
                              error);
    }
    if (status)
        return status;
    source->diode = dw_header_find(header, "diode-current", NULL);
    bool has_gate = o->gate || dw_header_find(header, "pin", NULL) || dw_header_last_with_unit(header, "V", NULL);
    if (own || (o->alone && !has_gate))
        return DW_OK;
    if (!has_gate)
        return dw_error_set(error, DW_BAD_INPUT, 0,
                            "%s: the current '%s' is the load's, which a diode carries for part of the period: give a table "
                            "with switch-current (dw-motor --all, dw-coil --all) or with the pin beside it (--gate)",
                            dw_reader_name(reader), dw_header_column(header, source->current).name);
    struct gate gate;
    status = gate_find(o->common.command, reader, &(struct channel_wish){ "gate", o->gate, "V" }, o->threshold, &gate, error);
    if (!status) {
        source->gate = gate.column;
        source->threshold = gate.threshold;
    }
    return status;
}

/* A channel, its natural scale and slope. */
static enum dw_status append(const struct switch_options *o, struct dw_header *header, const char *name, const char *unit, double scale,
                             struct dw_error *error)
{
    const double accuracy = o->common.accuracy;
    enum dw_status status = dw_header_append(header, name, unit, error);
    if (!status && !(o->common.uniform > 0))
        status = dw_header_set_accuracy(header, dw_header_columns(header) - 1, accuracy * scale, DW_SWING * accuracy, error);
    return status ? status : dw_header_append_slope(header, error);
}

static enum dw_status open_output(const struct switch_options *o, const struct dw_reader *reader, const struct dw_thermal *thermal,
                                  struct even_rows *out, struct dw_error *error)
{
    const double supply = o->transistor.supply;
    struct dw_header *header = dw_header_derive(dw_reader_header(reader), DW_EXACT_ROWS, o->common.command->made_by, error);
    enum dw_status status = header ? append(o, header, "loss", "W", supply, error) : error->status;
    if (!status && thermal)
        status = append(o, header, "junction", "degC", supply * dw_thermal_resistance(thermal), error);
    if (!status && thermal && !o->steady)
        status = dw_header_set_initial(header, dw_header_columns(header) - 2, o->ambient, error);
    if (!status)
        return even_rows_open(out, &o->common, header, reader, error);
    dw_header_free(header);
    return status;
}

static enum dw_status feed(struct dw_heat *heat, struct dw_reader *reader, struct dw_repeat *periods, struct dw_heat_result *result,
                           struct dw_error *error)
{
    const double *row;
    enum dw_status status = DW_OK;
    while (!status && !(status = periods ? dw_repeat_row(periods, &row, error) : dw_reader_row(reader, &row, error)))
        status = dw_heat_row(heat, row, error);
    return status == DW_END ? dw_heat_finish(heat, result, error) : status;
}

/* ---- all of it ---- */

/*   used   [3], columns that must come back; as long as `periods` */
static enum dw_status start_steady(struct dw_heat *heat, struct dw_repeat *periods, const size_t *used, struct dw_error *error)
{
    size_t count;
    dw_repeat_compare(periods, used, 3);
    const double *lap = dw_repeat_lap(periods, &count);
    return dw_heat_start_steady(heat, lap, count, error);
}

/* The table's rows, their slopes included. */
static struct dw_reader *open_input(const struct switch_options *o, struct dw_error *error)
{
    struct dw_reader_options how = command_reading(o->common.command, o->common.partial, !o->report);
    how.curves = true;
    return dw_reader_open(o->common.file, &how, error);
}

struct heat_run {
    struct dw_reader *reader;
    struct dw_heat_source source;
    size_t *slope;
    struct dw_repeat *periods;
    size_t used[3];            /* columns that the periods are compared by */
    struct dw_thermal *thermal;
    struct dw_heat *heat;
    struct even_rows out;
    struct dw_error unsteady;  /* its verdict where there is no steady state */
};

static enum dw_status open_table(const struct switch_options *o, struct heat_run *h, struct dw_error *error)
{
    h->reader = open_input(o, error);
    enum dw_status status = h->reader ? find_source(o, h->reader, &h->source, error) : error->status;
    if (status)
        return status;
    const struct dw_facts *facts = dw_header_facts(dw_reader_header(h->reader));
    h->source.period = facts->carrier_period > 0 ? facts->carrier_period : facts->period;
    h->source.origin = facts->origin;
    h->source.slope = h->slope = calloc(h->source.columns + 1, sizeof *h->slope);
    if (!h->slope)
        return dw_no_memory(error);
    dw_header_slopes(dw_reader_header(h->reader), h->slope);
    return o->steady && !(h->periods = dw_repeat_new(h->reader, START_STEADY, error)) ? error->status : DW_OK;
}

/* At ambient. */
static enum dw_status make_heat(const struct switch_options *o, struct heat_run *h, struct dw_error *error)
{
    const struct dw_heat_rows rows = { even_rows_put, &h->out, o->common.accuracy };
    dw_heat_free(h->heat);
    dw_thermal_free(h->thermal);
    h->heat = NULL;
    h->thermal = o->network.count ? dw_thermal_new(o->network.pairs, o->network.count, o->ambient, error) : NULL;
    if (h->thermal || !o->network.count)
        h->heat = dw_heat_new(o->alone ? NULL : &o->transistor, h->thermal, &h->source, o->report ? NULL : &rows, error);
    return h->heat ? DW_OK : error->status;
}

static enum dw_status start(const struct switch_options *o, struct heat_run *h, struct dw_error *error)
{
    enum dw_status status = make_heat(o, h, error);
    memcpy(h->used, (size_t[]){ h->source.current, h->source.diode, h->source.gate }, sizeof h->used);
    if (!status && h->periods)
        status = start_steady(h->heat, h->periods, h->used, error);
    if (status == DW_NO && o->report) {
        h->unsteady = *error;
        command_note(o->common.command, "there is no steady state: findings are those of a start at ambient");
        status = make_heat(o, h, error);
    }
    /* only now: where there is no steady state, no table begins */
    return status || o->report ? status : open_output(o, h->reader, h->thermal, &h->out, error);
}

static enum dw_status heat_table(void *options_read, struct dw_error *error)
{
    const struct switch_options *o = options_read;
    struct heat_run h = { .reader = NULL };
    struct dw_heat_result result;
    enum dw_status status = open_table(o, &h, error);
    if (!status)
        status = start(o, &h, error);
    if (!status)
        status = feed(h.heat, h.reader, h.periods, &result, error);
    if (!status && h.out.writer)
        status = even_rows_finish(&h.out, error);
    if (!status)
        status = switch_verdict(o, dw_header_column(dw_reader_header(h.reader), h.source.current).name, &result, error);
    if (!status && h.unsteady.status == DW_NO)
        status = (*error = h.unsteady).status;
    dw_heat_free(h.heat);
    dw_thermal_free(h.thermal);
    even_rows_close(&h.out);
    free(h.slope);
    dw_repeat_free(h.periods);
    dw_reader_close(h.reader);
    return status;
}

static const struct switch_options defaults = {
    .common = COMMON_DEFAULTS, .transistor = { .diode_drop = 0.7, .base_emitter = 0.7 }, .ambient = 25,
    .limit = INFINITY, .sink_limit = NAN, .pin_current = INFINITY, .rating = INFINITY, .peak_rating = INFINITY,
    .margin = 1, .threshold = NAN
};
static const struct program program = {
    .name = "dw-switch", .about = about, .options = options, .rules = rules, .check = check, .run = heat_table,
    .shared = SHARED_INPUT | SHARED_OUTPUT | SHARED_CHANNEL | SHARED_ROWS | SHARED_LINES | SHARED_REPORT,
    PROGRAM_OPTIONS(struct switch_options, defaults)
};
PROGRAM_MAIN(program)
