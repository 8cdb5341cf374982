/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-switch: loss and heat of the transistor that carries a current. */
#include "switch.h"
#include "drive.h"
#include "old_keys.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const double ABSOLUTE_ZERO = -273.15;  /* degC */

enum {
    OPTION_KIND = OPTION_OWN,
    OPTION_ON_RESISTANCE, OPTION_RESISTANCE_SLOPE, OPTION_SATURATION, OPTION_FORCED_GAIN, OPTION_BASE_EMITTER,
    OPTION_PIN_CURRENT, OPTION_SUPPLY, OPTION_DIODE_DROP, OPTION_EDGE, OPTION_EDGES, OPTION_OUTPUT_CAPACITANCE,
    OPTION_RECOVERY_CHARGE, OPTION_THERMAL, OPTION_AMBIENT, OPTION_LIMIT, OPTION_HEATSINK_FOR, OPTION_DRIVER, OPTION_GATE,
    OPTION_THRESHOLD, OPTION_START, OPTION_REPORT
};

static const struct argp_option options[] = {
    { NULL, 0, NULL, 0, "The transistor:", 1 },
    { "kind", OPTION_KIND, "mosfet|bipolar", 0, "Which transistor carries the current; required unless --driver stands alone", 1 },
    { "on-resistance", OPTION_ON_RESISTANCE, "R", 0, "Drain to source while on (ohm), at 25 degC; mosfet", 1 },
    { "resistance-slope", OPTION_RESISTANCE_SLOPE, "SHARE", 0,
      "Growth of the on-resistance per kelvin, of its value at 25 degC (0.6%); default 0. With --thermal; it follows the mean temperature of the "
      "period before", 1 },
    { "saturation", OPTION_SATURATION, "V", 0, "Collector to emitter while on (V); bipolar", 1 },
    { "forced-gain", OPTION_FORCED_GAIN, "N", 0, "Collector current over base current while on; adds the base's loss; bipolar", 1 },
    { "base-emitter", OPTION_BASE_EMITTER, "V", 0, "Base to emitter while on (V); default 0.7; bipolar", 1 },
    { "pin-current", OPTION_PIN_CURRENT, "I", 0, "What the pin can give to the base (A): with --forced-gain, says whether it is enough", 1 },
    { "supply", OPTION_SUPPLY, "V", 0, "Supply of the load (V); required with --kind", 1 },
    { "diode-drop", OPTION_DIODE_DROP, "V", 0, "Of the freewheel diode while it conducts (V); default 0.7", 1 },
    { NULL, 0, NULL, 0, "Its edges:", 2 },
    { "edge", OPTION_EDGE, "T", 0, "Duration of each edge, 0 to 100 % (s); default 0: switching loss is left out", 2 },
    { "edges", OPTION_EDGES, "clamped|resistive", 0,
      "What the load does meanwhile: clamped (default): its current flows on, V I t/2 is lost; resistive: V I t/6", 2 },
    { "output-capacitance", OPTION_OUTPUT_CAPACITANCE, "C", 0, "Emptied at each turn-on (F); needs --edge", 2 },
    { "recovery-charge", OPTION_RECOVERY_CHARGE, "Q", 0, "Of the freewheel diode, swept out at each turn-on (C); needs --edge", 2 },
    { NULL, 0, NULL, 0, "Heat:", 3 },
    { "thermal", OPTION_THERMAL, "KEYS", OPTION_REPEATS,
      "One pair of the thermal network, junction to ambient: r=K/W and tau=s or c=J/K, such as r=1.2,tau=20m; repeat for each", 3 },
    { "ambient", OPTION_AMBIENT, "T", 0, "Ambient temperature (degC); default 25", 3 },
    { "limit", OPTION_LIMIT, "T", 0, "Highest junction temperature allowed (degC): status 1 where it is exceeded", 3 },
    { "heatsink-for", OPTION_HEATSINK_FOR, "T", 0,
      "Report the heat-sink resistance that keeps the junction at T (degC); --thermal is then junction to case", 3 },
    { "start", OPTION_START, "ambient|steady", 0,
      "Junction at the first row: ambient (default), or where periods without end would bring it", 3 },
    { NULL, 0, NULL, 0, "A packaged driver instead, or as well:", 4 },
    { "driver", OPTION_DRIVER, "KEYS", 0,
      "rating=A (continuous), margin=N (default 1.25), peak=A: status 1 where the load's current is over rating/margin", 4 },
    { NULL, 0, NULL, 0, "Input and output:", 5 },
    { "gate", OPTION_GATE, "CHANNEL", 0, "Channel that turns the transistor on, where the current is the load's; default pin", 5 },
    { "threshold", OPTION_THRESHOLD, "V", 0, "On above it (V); default the middle of the table's levels", 5 },
    { "report", OPTION_REPORT, NULL, 0, "Write findings instead of the table", 5 },
    { 0 }
};

static const struct argp_child children[] = {
    { &input_argp, 0, NULL, 0 }, { &output_argp, 0, NULL, 0 }, { &channel_argp, 0, NULL, 0 }, { &rows_argp, 0, NULL, 0 },
    { &report_argp, 0, NULL, 0 }, { &quiet_argp, 0, NULL, 0 }, { 0 }
};

static void add_pair(struct switch_options *o, const char *argument)
{
    struct option_key keys[] = { { "r", DW_THERMAL_RESISTANCE, NAN, NULL }, { "tau", DW_TIME, NAN, NULL },
                          { "c", DW_HEAT_CAPACITY, NAN, NULL } };
    if (o->pair_count == DW_THERMAL_PAIRS)
        option_error("thermal", argument, "at most %d pairs", DW_THERMAL_PAIRS);
    option_keys("thermal", argument, keys, 3);
    double r = keys[0].value, tau = keys[1].value, c = keys[2].value;
    if (isnan(r))
        option_error("thermal", argument, "r is missing");
    if (!(r > 0))
        option_error("thermal", argument, "r must be above zero");
    if (tau < 0 || c < 0)
        option_error("thermal", argument, "%s must not be below zero", tau < 0 ? "tau" : "c");
    if (isnan(tau) == isnan(c))
        option_error("thermal", argument, isnan(c) ? "give tau or c" : "tau and c both set the time constant; give one");
    o->pairs[o->pair_count++] = (struct dw_thermal_pair){ r, isnan(tau) ? r * c : tau };
}

static void read_driver(struct switch_options *o, const char *argument)
{
    struct option_key keys[] = { { "rating", DW_CURRENT, NAN, NULL }, { "margin", DW_NUMBER, 1.25, NULL },
                          { "peak", DW_CURRENT, INFINITY, NULL } };
    option_keys("driver", argument, keys, 3);
    o->rating = keys[0].value;
    o->margin = keys[1].value;
    o->peak_rating = keys[2].value;
    if (!(o->rating > 0))
        option_error("driver", argument, "rating must be given and above zero");
    if (!(o->margin >= 1))
        option_error("driver", argument, "margin must be 1 or more");
    if (o->peak_rating <= 0)
        option_error("driver", argument, "peak must be above zero");
}

/* What must come together, once all options are known. */
static void check_options(const struct switch_options *o)
{
    bool alone = !option_given("kind");
    option_report();
    if (alone && !option_given("driver"))
        option_required("kind", "such as mosfet or bipolar; or --driver rating=A");
    if (alone) {
        static const char *const needing[] = { "on-resistance", "resistance-slope", "saturation", "forced-gain", "base-emitter",
                                               "pin-current", "diode-drop", "edge", "edges", "output-capacitance",
                                               "recovery-charge", "thermal", "limit", "heatsink-for", "ambient", "start", NULL };
        for (int i = 0; needing[i]; i++)
            if (option_given(needing[i]))
                option_error(needing[i], option_given(needing[i]), "goes with --kind, which is missing");
        return;
    }
    bool mosfet = o->transistor.kind == DW_SWITCH_MOSFET;
    option_required(mosfet ? "on-resistance" : "saturation", mosfet ? "such as 40m" : "such as 0.3");
    static const char *const of_mosfet[] = { "on-resistance", "resistance-slope", NULL };
    static const char *const of_bipolar[] = { "saturation", "forced-gain", "base-emitter", "pin-current", NULL };
    for (const char *const *name = mosfet ? of_bipolar : of_mosfet; *name; name++)
        if (option_given(*name))
            option_error(*name, option_given(*name), "is of a %s; --kind is %s", mosfet ? "bipolar" : "mosfet",
                         option_given("kind"));
    option_required("supply", "such as 12");
    if (option_given("pin-current"))
        option_required("forced-gain", "such as 10: --pin-current needs it");
    if (option_given("base-emitter"))
        option_required("forced-gain", "such as 10: --base-emitter is about the base's loss");
    if (!option_given("edge")) {
        static const char *const in_edge[] = { "output-capacitance", "recovery-charge", "edges", NULL };
        for (int i = 0; in_edge[i]; i++)
            if (option_given(in_edge[i]))
                option_required("edge", "such as 100n: its energy is lost during an edge");
    }
    static const char *const of_junction[] = { "limit", "heatsink-for", "resistance-slope", "ambient", "start", NULL };
    for (int i = 0; of_junction[i]; i++)
        if (option_given(of_junction[i]))
            option_required("thermal", "such as r=1.2,tau=20m: without it no temperature is known");
    if (option_given("heatsink-for") && !option_given("report"))
        option_error("heatsink-for", option_given("heatsink-for"), "is a finding of --report: give --report");
    struct dw_error error;
    if (dw_switch_check(&o->transistor, &error))
        exit(program_finish(error.status, &error));
}

static error_t parse(int key, char *argument, struct argp_state *state)
{
    struct switch_options *o = state->input;
    struct dw_switch *t = &o->transistor;
    static const char *const kinds[] = { "mosfet", "bipolar", NULL }, *const edges[] = { "clamped", "resistive", NULL },
                            *const starts[] = { "ambient", "steady", NULL };
    switch (key) {
    case ARGP_KEY_INIT:
        for (int i = 0; i < 6; i++)
            state->child_inputs[i] = &o->common;
        return 0;
    case OPTION_KIND: t->kind = (enum dw_switch_kind)option_word("kind", argument, kinds); return 0;
    case OPTION_ON_RESISTANCE: t->on_resistance = option_positive("on-resistance", argument, DW_RESISTANCE); return 0;
    case OPTION_RESISTANCE_SLOPE: t->resistance_slope = option_between("resistance-slope", argument, DW_SHARE, 0, 0.1); return 0;
    case OPTION_SATURATION: t->saturation = option_between("saturation", argument, DW_VOLTAGE, 0, INFINITY); return 0;
    case OPTION_FORCED_GAIN: t->forced_gain = option_positive("forced-gain", argument, DW_NUMBER); return 0;
    case OPTION_BASE_EMITTER: t->base_emitter = option_between("base-emitter", argument, DW_VOLTAGE, 0, INFINITY); return 0;
    case OPTION_PIN_CURRENT: o->pin_current = option_positive("pin-current", argument, DW_CURRENT); return 0;
    case OPTION_SUPPLY: t->supply = option_positive("supply", argument, DW_VOLTAGE); return 0;
    case OPTION_DIODE_DROP: t->diode_drop = option_between("diode-drop", argument, DW_VOLTAGE, 0, INFINITY); return 0;
    case OPTION_EDGE: t->edge = option_between("edge", argument, DW_TIME, 0, INFINITY); return 0;
    case OPTION_EDGES: t->edges = (enum dw_switch_edges)option_word("edges", argument, edges); return 0;
    case OPTION_OUTPUT_CAPACITANCE:
        t->output_capacitance = option_between("output-capacitance", argument, DW_CAPACITANCE, 0, INFINITY);
        return 0;
    case OPTION_RECOVERY_CHARGE: t->recovery_charge = option_between("recovery-charge", argument, DW_CHARGE, 0, INFINITY); return 0;
    case OPTION_THERMAL: add_pair(o, argument); return 0;
    case OPTION_AMBIENT: o->ambient = option_between("ambient", argument, DW_TEMPERATURE, ABSOLUTE_ZERO, INFINITY); return 0;
    case OPTION_LIMIT: o->limit = option_between("limit", argument, DW_TEMPERATURE, ABSOLUTE_ZERO, INFINITY); return 0;
    case OPTION_HEATSINK_FOR: o->sink_limit = option_between("heatsink-for", argument, DW_TEMPERATURE, ABSOLUTE_ZERO, INFINITY); return 0;
    case OPTION_DRIVER: read_driver(o, argument); return 0;
    case OPTION_GATE: o->gate = argument; return 0;
    case OPTION_THRESHOLD: o->threshold = option_quantity("threshold", argument, DW_VOLTAGE); return 0;
    case OPTION_START: o->steady = option_word("start", argument, starts); return 0;
    case OPTION_REPORT: o->report = true; return 0;
    case ARGP_KEY_END: check_options(o); return 0;
    default: return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp argp = {
    options, parse, NULL,
    "Loss and junction temperature of the transistor that carries a current, and whether it stays within its limits.\v"
    "Reads a wave table that holds either switch-current[A] (and diode-current[A]), as dw-motor --all and dw-coil --all write "
    "them, or the load's current beside the pin that switches it. Appends the channels loss[W] (conduction, and each edge's "
    "energy as a triangle as long as the edge) and, with --thermal, junction[degC]. With --report it writes findings instead: means over the "
    "last whole period. Status 1: a limit or rating is exceeded, or the junction runs away.\n\n"
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
    "      --start steady --report",
    children, NULL, NULL
};

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
        status = channel_find(reader, "channel", o->common.channel, "A", &source->current, error);
    }
    if (status)
        return status;
    source->diode = dw_header_find(header, "diode-current", NULL);
    bool has_gate = o->gate || dw_header_find(header, "pin", NULL) || dw_header_last_with_unit(header, "V", NULL);
    if (own || (!option_given("kind") && !has_gate))
        return DW_OK;
    if (!has_gate)
        return dw_error_set(error, DW_BAD_INPUT, 0,
                            "%s: the current '%s' is the load's, which a diode carries for part of the period: give a table "
                            "with switch-current (dw-motor --all, dw-coil --all) or with the pin beside it (--gate)",
                            dw_reader_name(reader), dw_header_column(header, source->current).name);
    struct gate gate;
    status = gate_find(reader, "gate", o->gate, o->threshold, &gate, error);
    if (!status) {
        source->gate = gate.column;
        source->threshold = gate.threshold;
    }
    return status;
}

static enum dw_status find_periods(const struct dw_header *header, struct dw_heat_source *source, struct dw_error *error)
{
    bool present;
    enum dw_status status = dw_header_number(header, "carrier-period", &source->period, &present, error);
    if (!status && !present)
        status = dw_header_number(header, "period", &source->period, &present, error);
    if (status)
        return status;
    if (!present)
        source->period = 0;
    return dw_header_number(header, "origin", &source->origin, &present, error);
}

/* Where rows go: all of them, or values of the straight lines between them at a rate, after the jump where one is due. */
struct output {
    struct dw_writer *writer;  /* NULL: findings instead of a table */
    double rate, start;        /* Hz, 0: all; s */
    double due;                /* number of the next row at that rate */
    double *before, *between;  /* [columns], the last row, and room for one between */
    size_t columns;
    bool begun;
};

static double due_time(const struct output *out)
{
    return out->start + out->due / out->rate;
}

static enum dw_status write_row(void *context, const double *row, struct dw_error *error)
{
    struct output *out = context;
    if (out->rate == 0)
        return dw_writer_row(out->writer, row, error);
    if (!out->begun)
        out->start = row[0];
    enum dw_status status = DW_OK;
    while (!status && out->begun && due_time(out) < row[0]) {
        const double time = due_time(out), share = (time - out->before[0]) / (row[0] - out->before[0]);
        for (size_t i = 1; i < out->columns; i++)
            out->between[i] = out->before[i] + share * (row[i] - out->before[i]);
        out->between[0] = time;
        out->due++;
        status = dw_writer_row(out->writer, out->between, error);
    }
    out->begun = true;
    memcpy(out->before, row, out->columns * sizeof *row);
    return status;
}

static enum dw_status finish(struct output *out, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (out->begun && due_time(out) <= out->before[0])  /* the last row, which no other passes */
        status = dw_writer_row(out->writer, out->before, error);
    return status ? status : dw_writer_finish(out->writer, error);
}

static enum dw_status open_output(const struct switch_options *o, const struct dw_reader *reader, struct output *out,
                                  struct dw_error *error)
{
    struct dw_header *header = dw_header_derive(dw_reader_header(reader), 0, program_made_by(), error);
    enum dw_status status = header ? dw_header_append(header, "loss", "W", error) : error->status;
    if (!status && o->pair_count)
        status = dw_header_append(header, "junction", "degC", error);
    if (!status && o->pair_count && !o->steady)
        status = dw_header_set_initial(header, "junction", o->ambient, error);
    if (!status && o->common.uniform > 0)
        status = dw_header_set_number(header, "sampled", o->common.uniform, error);
    if (!status) {
        out->rate = o->common.uniform;
        out->columns = dw_header_columns(header);
        out->before = calloc(2 * out->columns, sizeof *out->before);
        out->between = out->before ? out->before + out->columns : NULL;
        if (!out->before)
            status = dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for a row");
    }
    if (!status && !(out->writer = dw_writer_open(STDOUT_FILENO, header, output_encoding(&o->common, reader), error)))
        status = error->status;
    dw_header_free(header);
    return status;
}

static enum dw_status feed(struct dw_heat *heat, struct dw_reader *reader, struct repeating *periods, struct dw_error *error)
{
    const double *row;
    enum dw_status status = DW_OK;
    while (!status && !(status = periods ? repeating_row(periods, &row, error) : dw_reader_row(reader, &row, error)))
        status = dw_heat_row(heat, row, error);
    return status == DW_END ? DW_OK : status;
}

/* ---- all of it ---- */

static enum dw_status heat_table(const struct switch_options *o, struct dw_error *error)
{
    struct dw_heat_source source = { 0 };
    struct repeating *periods = NULL;
    struct output out = { .writer = NULL };
    struct dw_heat *heat = NULL;
    struct dw_thermal *thermal = NULL;
    struct dw_reader *reader = input_open(&o->common, !o->report, error);
    enum dw_status status = reader ? find_source(o, reader, &source, error) : error->status;
    if (!status)
        status = find_periods(dw_reader_header(reader), &source, error);
    if (!status && o->pair_count && !(thermal = dw_thermal_new(o->pairs, o->pair_count, o->ambient, error)))
        status = error->status;
    if (!status && o->steady && !(periods = repeating_new(reader, error)))
        status = error->status;
    if (!status && !(heat = dw_heat_new(option_given("kind") ? &o->transistor : NULL, thermal, &source, o->common.accuracy,
                                        o->report ? NULL : write_row, &out, error)))
        status = error->status;
    const size_t used[] = { source.current, source.diode, source.gate };
    if (!status && periods) {
        size_t count;
        repeating_compare(periods, used, 3);
        const double *lap = repeating_lap(periods, &count);
        status = dw_heat_start_steady(heat, lap, count, error);
    }
    /* only now: where there is no steady state, no table begins */
    if (!status && !o->report)
        status = open_output(o, reader, &out, error);
    if (!status)
        status = feed(heat, reader, periods, error);
    if (!status && out.writer)
        status = finish(&out, error);
    if (!status) {
        struct dw_heat_result result = dw_heat_end(heat);
        status = switch_verdict(o, dw_header_column(dw_reader_header(reader), source.current).name, &result, error);
    }
    dw_heat_free(heat);
    dw_thermal_free(thermal);
    dw_writer_free(out.writer);
    free(out.before);
    repeating_free(periods);
    dw_reader_close(reader);
    return status;
}

int main(int argc, char **argv)
{
    struct switch_options o = {
        .common = common_defaults(), .transistor = { .diode_drop = 0.7, .base_emitter = 0.7 }, .ambient = 25,
        .limit = INFINITY, .sink_limit = NAN, .pin_current = INFINITY, .rating = INFINITY, .peak_rating = INFINITY,
        .margin = 1, .threshold = NAN
    };
    struct dw_error error = { .status = DW_OK };
    program_start("dw-switch", &argp, &o, argc, argv);
    return program_finish(heat_table(&o, &error), &error);
}
