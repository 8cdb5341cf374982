/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-coil: the coil of a relay, solenoid or valve on a low-side switch. */
#include "old_common.h"
#include "drive.h"
#include "report.h"
#include "simulate.h"
#include <dutywright/coil.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* V: extra-low voltage ends. J: hazardous discharge, IEC 61010-1 (there of capacitors; from memory). degC: metal held for a
 * second burns from about here, ISO 13732-1 (from memory). */
static const double LOW_VOLTAGE = 60, STORED = 0.35, BURNS = 65;

enum {
    OPTION_RESISTANCE = OPTION_OWN,
    OPTION_INDUCTANCE, OPTION_INDUCTANCE_CLOSED, OPTION_TEMPERATURE, OPTION_RESISTANCE_AT, OPTION_PULL_IN, OPTION_DROP_OUT,
    OPTION_SUPPLY, OPTION_CLAMP, OPTION_CLAMP_AT, OPTION_DIODE_DROP, OPTION_SWITCH_RESISTANCE, OPTION_STRAY, OPTION_THRESHOLD,
    OPTION_START, OPTION_ALL, OPTION_REPORT, OPTION_EXPECT
};

enum expectation { EXPECT_UNSAID, EXPECT_FOLLOW, EXPECT_HOLD };

struct coil_options {
    struct common_options common;
    struct dw_coil_plan plan;
    double temperature, resistance_at;  /* degC */
    double threshold;                   /* V; NaN: from the table */
    bool steady, report;
    enum expectation expect;
};

static const struct argp_option options[] = {
    { NULL, 0, NULL, 0, "The coil:", 1 },
    { "resistance", OPTION_RESISTANCE, "R", 0, "Of the winding (ohm); required", 1 },
    { "inductance", OPTION_INDUCTANCE, "L", 0, "Of the winding (H), the armature open; required", 1 },
    { "inductance-closed", OPTION_INDUCTANCE_CLOSED, "L", 0,
      "With the armature pulled in (H); default the same. The flux goes on at the change, so the current dips", 1 },
    { "temperature", OPTION_TEMPERATURE, "T", 0, "Of the copper (degC); default that at which the resistance is given", 1 },
    { "resistance-at", OPTION_RESISTANCE_AT, "T", 0, "Temperature at which the resistance is given (degC); default 20", 1 },
    { "pull-in", OPTION_PULL_IN, "I", 0, "Current at which the armature pulls in (A)", 1 },
    { "drop-out", OPTION_DROP_OUT, "I", 0, "Current at which it lets go (A), below the pull-in", 1 },
    { NULL, 0, NULL, 0, "What drives it:", 2 },
    { "supply", OPTION_SUPPLY, "V", 0, "Supply (V); the switch stands between the coil and ground; required", 2 },
    { "clamp", OPTION_CLAMP, "WORD", 0,
      "Path of the current at switch-off: diode; zener=V or resistor=R (ohm), in series with the diode; none: only --stray takes it; "
      "required", 2 },
    { "clamp-at", OPTION_CLAMP_AT, "coil|switch", 0,
      "Where it stands: across the coil (default), or across the switch, a zener or resistor then without diode", 2 },
    { "diode-drop", OPTION_DIODE_DROP, "V", 0, "Of the clamp's diode and of the switch's body diode (V); default 0.7", 2 },
    { "switch-resistance", OPTION_SWITCH_RESISTANCE, "R", 0, "Of the switch while on (ohm); default 0", 2 },
    { "stray", OPTION_STRAY, "C", 0, "Capacitance across the switch, of winding and transistor (F); required with --clamp none", 2 },
    { "threshold", OPTION_THRESHOLD, "V", 0, "The switch is on above it (V); default the middle of the table's levels", 2 },
    { NULL, 0, NULL, 0, "Output:", 3 },
    { "start", OPTION_START, "zero|steady", 0, "Switched off since long ago (default), or the periodic state that is reached from there", 3 },
    { "all", OPTION_ALL, NULL, 0,
      "Also coil (V, across it), flux (Wb), supply-current, switch-current, and diode-current (clamp at the coil) or clamp-current "
      "(at the switch) (A)", 3 },
    { "report", OPTION_REPORT, NULL, 0,
      "Write findings instead of the table: times of the armature, peaks, hold current, energy of the last whole operation; status 1 "
      "where the armature does not do what is expected of it", 3 },
    { "expect", OPTION_EXPECT, "follow|hold", 0,
      "What --report judges: follow: each pulse pulls in and lets go (default, unless the table has a carrier-period, where one "
      "pull-in does); hold: pulled in at the end", 3 },
    { 0 }
};

static const struct argp_child children[] = {
    { &input_argp, 0, NULL, 0 }, { &output_argp, 0, NULL, 0 }, { &channel_argp, 0, NULL, 0 }, { &rows_argp, 0, NULL, 0 },
    { &report_argp, 0, NULL, 0 }, { &quiet_argp, 0, NULL, 0 }, { 0 }
};

static void read_clamp(struct dw_coil_plan *p, const char *argument)
{
    static const char *const words[] = { "none", "diode", "zener=", "resistor=" };
    size_t k = 0;
    while (k < 4 && (k < 2 ? strcmp(argument, words[k]) : strncmp(argument, words[k], strlen(words[k]))))
        k++;
    if (k == 4)
        option_error("clamp", argument, "must be none, diode, zener=V or resistor=R");
    p->clamp = (enum dw_coil_clamp)k;
    if (k < 2)
        return;
    struct dw_error error;
    if (dw_quantity_parse(argument + strlen(words[k]), p->clamp == DW_CLAMP_ZENER ? DW_VOLTAGE : DW_RESISTANCE, &p->clamp_value,
                          &error))
        option_error("clamp", argument, "%s", error.text);
    if (!(p->clamp_value > 0))
        option_error("clamp", argument, "its value must be above zero");
}

static void check_options(struct coil_options *o)
{
    struct dw_coil_plan *p = &o->plan;
    option_required("resistance", "such as 15");
    option_required("inductance", "such as 0.11");
    option_required("supply", "such as 12");
    option_required("clamp", "one of none, diode, zener=V, resistor=R");
    if (option_given("pull-in") && !option_given("drop-out"))
        option_required("drop-out", "the current at which the armature lets go");
    if (option_given("drop-out") && !option_given("pull-in"))
        option_required("pull-in", "the current at which the armature pulls in");
    if (option_given("inductance-closed") && !option_given("pull-in"))
        option_error("inductance-closed", option_given("inductance-closed"), "goes with --pull-in and --drop-out");
    if (p->clamp == DW_CLAMP_NONE && !option_given("stray"))
        option_required("stray", "such as 100p: without a clamp only it limits the voltage");
    option_report();
    option_conflict("report", "all", "a report has no channels");
    option_conflict("report", "accuracy", "a report has no rows; what it finds is exact");
    if (!o->report && option_given("expect"))
        option_error("expect", option_given("expect"), "it is what --report judges: give --report");
    if (o->expect != EXPECT_UNSAID && !option_given("pull-in"))
        option_error("expect", option_given("expect"), "there is no armature: give --pull-in and --drop-out");
    if (isnan(o->temperature))
        o->temperature = o->resistance_at;
    p->resistance = dw_coil_copper(p->resistance, o->resistance_at, o->temperature);
}

static error_t parse(int key, char *argument, struct argp_state *state)
{
    struct coil_options *o = state->input;
    struct dw_coil_plan *p = &o->plan;
    static const char *const places[] = { "coil", "switch", NULL }, *const starts[] = { "zero", "steady", NULL };
    static const char *const expectations[] = { "follow", "hold", NULL };
    switch (key) {
    case ARGP_KEY_INIT:
        for (int i = 0; i < 6; i++)
            state->child_inputs[i] = &o->common;
        return 0;
    case OPTION_RESISTANCE: p->resistance = option_positive("resistance", argument, DW_RESISTANCE); return 0;
    case OPTION_INDUCTANCE: p->inductance = option_positive("inductance", argument, DW_INDUCTANCE); return 0;
    case OPTION_INDUCTANCE_CLOSED: p->inductance_closed = option_positive("inductance-closed", argument, DW_INDUCTANCE); return 0;
    case OPTION_TEMPERATURE: o->temperature = option_between("temperature", argument, DW_TEMPERATURE, -100, 300); return 0;
    case OPTION_RESISTANCE_AT: o->resistance_at = option_between("resistance-at", argument, DW_TEMPERATURE, -100, 300); return 0;
    case OPTION_PULL_IN: p->pull_in = option_positive("pull-in", argument, DW_CURRENT); return 0;
    case OPTION_DROP_OUT: p->drop_out = option_positive("drop-out", argument, DW_CURRENT); return 0;
    case OPTION_SUPPLY: p->supply = option_positive("supply", argument, DW_VOLTAGE); return 0;
    case OPTION_CLAMP: read_clamp(p, argument); return 0;
    case OPTION_CLAMP_AT: p->clamp_at_switch = option_word("clamp-at", argument, places); return 0;
    case OPTION_DIODE_DROP: p->diode_drop = option_between("diode-drop", argument, DW_VOLTAGE, 0, INFINITY); return 0;
    case OPTION_SWITCH_RESISTANCE: p->switch_resistance = option_between("switch-resistance", argument, DW_RESISTANCE, 0, INFINITY); return 0;
    case OPTION_STRAY: p->stray = option_positive("stray", argument, DW_CAPACITANCE); return 0;
    case OPTION_THRESHOLD: o->threshold = option_quantity("threshold", argument, DW_VOLTAGE); return 0;
    case OPTION_START: o->steady = option_word("start", argument, starts); return 0;
    case OPTION_ALL: p->all = true; return 0;
    case OPTION_REPORT: o->report = true; return 0;
    case OPTION_EXPECT: o->expect = option_word("expect", argument, expectations) ? EXPECT_HOLD : EXPECT_FOLLOW; return 0;
    case ARGP_KEY_END: check_options(o); return 0;
    default: return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp argp = {
    options, parse, NULL,
    "Current and armature of a relay, solenoid or valve whose coil a pin switches.\v"
    "Reads a wave table, takes a channel (--channel; default pin, else the last in V) as the gate of the switch, and appends "
    "current[A], switch[V] and, with --pull-in and --drop-out, armature[1], which is 1 while pulled in. Solved exactly from event to "
    "event. The armature moves at once: its travel is to be added to the times.\n\n"
    "Findings: operate-time and release-time run from the switch's edge until the armature pulls in or lets go, the last time; "
    "-longest: the slowest. operate-from-rest and release-from-full are the same from no current and from the full one, and "
    "repetition-limit is 1 / their sum. hold: the current when the next pulse finds the armature pulled in, else when the switch "
    "goes off; hold-over-drop-out: how many times the drop-out current that is. operation: length of the last whole operation. "
    "Of that are the energies: from the supply, into copper, clamp, switch (with --stray) and armature; stored-change is what the "
    "coil holds more than before.\n\n"
    "Example: does the exhibit's sluice valve follow 12 Hz, and how high does its zener let the switch go?\n\n"
    "  dw-pwm --frequency 12 --duty 45% |\n"
    "    dw-coil --resistance 15 --inductance 0.11 --supply 12 \\\n"
    "      --clamp zener=24 --pull-in 0.48 --drop-out 0.16 --report\n\n"
    "Example: peak and hold, full current for 20 ms and then 35 %\n\n"
    "  printf '0,1\\n0.02,1\\n0.02,0.35\\n0.2,0.35\\n' |\n"
    "    dw-pwm --frequency 22.5k --duty-from - |\n"
    "    dw-coil --resistance 15 --inductance 0.11 --supply 12 --clamp diode \\\n"
    "      --pull-in 0.48 --drop-out 0.16 --report --expect hold",
    children, NULL, NULL
};

/* Extremes of a table's rows, for cautions. */
struct seen {
    const struct dw_coil *coil;
    struct dw_coil_meter *meter;      /* NULL unless a report is wanted */
    double peak, most, least, stored; /* V, A, A, J */
};

static enum dw_status watch(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct seen *seen = context;
    const double current = row->state[DW_COIL_CURRENT];
    seen->peak = fmax(seen->peak, dw_coil_switch_voltage(seen->coil, row->mode, row->state));
    seen->most = fmax(seen->most, current);
    seen->least = fmin(seen->least, current);
    seen->stored = fmax(seen->stored, dw_coil_stored(seen->coil, row->mode, current));
    return seen->meter ? dw_coil_meter_row(seen->meter, row, error) : DW_OK;
}

static const char *in_words(char *out, double value, const char *unit)
{
    dw_quantity_print(out, 64, value, unit, 3);
    return out;
}

static void caution(const struct coil_options *o, const struct seen *seen)
{
    const struct dw_coil_plan *p = &o->plan;
    char text[64];
    if (p->supply > LOW_VOLTAGE)
        program_caution("%g V: over 60 V DC can kill; local electrical codes and a licensed person decide", p->supply);
    if (p->clamp == DW_CLAMP_NONE && seen->peak > p->supply)
        program_caution("unclamped coil: the switch sees %s; give the current a path, such as a diode, or a switch that stands it",
                        in_words(text, seen->peak, "V"));
    if (seen->peak > LOW_VOLTAGE && p->supply <= LOW_VOLTAGE)
        program_caution("the coil's kick brings %s to the switch: over 60 V DC can kill; local electrical codes and a licensed "
                        "person decide", in_words(text, seen->peak, "V"));
    if (seen->stored > STORED)
        program_caution("stored energy: the coil holds %s when it is switched off; never break its circuit by hand",
                        in_words(text, seen->stored, "J"));
    if (o->temperature > BURNS)
        program_caution("hot part: the coil at %g degC can burn skin", o->temperature);
    if (p->pull_in > 0 && seen->least < -p->drop_out)
        program_note("the current swings back to %s through the body diode; a real armature may hang on through that",
                     in_words(text, seen->least, "A"));
    if (p->clamp == DW_CLAMP_RESISTOR && p->clamp_at_switch)
        program_note("the resistor across the switch lets %s flow while it is off",
                     in_words(text, p->supply / (p->resistance + p->clamp_value), "A"));
}

/* ---- findings and verdict ---- */

/* Times of the armature as the coil alone gives them; NaN where there is none. */
struct limits {
    double operate, release, release_here;  /* s; the last from the current at which the switch went off */
};

static enum dw_status find_limits(const struct coil_options *o, const struct dw_coil *coil, const struct dw_coil_findings *f,
                                  struct limits *limits, struct dw_error *error)
{
    double same;
    *limits = (struct limits){ NAN, NAN, NAN };
    if (!(o->plan.pull_in > 0))
        return DW_OK;
    enum dw_status status = dw_coil_times(coil, NAN, &limits->operate, &limits->release, error);
    if (!status && f->off_current >= o->plan.drop_out)
        status = dw_coil_times(coil, f->off_current, &same, &limits->release_here, error);
    return status;
}

static enum dw_status write_report(const struct coil_options *o, const struct dw_coil_findings *f, const struct limits *limits,
                                   struct dw_error *error)
{
    struct report *report = report_findings(error);
    const struct dw_coil_energy *e = &f->energy;
    const bool armature = o->plan.pull_in > 0, clamp = o->plan.clamp != DW_CLAMP_NONE;
    const struct {
        bool wanted;
        const char *channel, *quantity;
        double value;
        const char *unit;
    } rows[] = {
        { armature, "armature", "pull-ins", (double)f->pull_ins, "" },
        { armature, "armature", "drop-outs", (double)f->drop_outs, "" },
        { f->pull_ins, "armature", "operate-time", f->operate, "s" },
        { f->pull_ins, "armature", "operate-time-longest", f->operate_longest, "s" },
        { f->drop_outs, "armature", "release-time", f->release, "s" },
        { f->drop_outs, "armature", "release-time-longest", f->release_longest, "s" },
        { armature, "armature", "operate-from-rest", limits->operate, "s" },
        { armature, "armature", "release-from-full", limits->release, "s" },
        { armature, "armature", "repetition-limit", 1 / (limits->operate + limits->release), "Hz" },
        { true, "current", "peak", f->peak_current, "A" },
        { armature, "current", "hold", f->hold, "A" },
        { armature, "current", "hold-over-drop-out", f->hold / o->plan.drop_out, "1" },
        { true, "switch", "peak", f->peak_switch, "V" },
        { true, "coil", "resistance", o->plan.resistance, "ohm" },
        { true, "coil", "stored-energy", f->peak_stored, "J" },
        { isfinite(f->cycle), "coil", "operation", f->cycle, "s" },
        { true, "coil", "supply-energy", e->supply, "J" },
        { true, "coil", "copper-energy", e->copper, "J" },
        { clamp, "coil", "clamp-energy", e->clamp, "J" },
        { clamp && isfinite(f->cycle), "coil", "clamp-power", e->clamp / f->cycle, "W" },
        { true, "coil", "switch-energy", e->sw + e->stray, "J" },
        { o->plan.inductance_closed > 0, "coil", "armature-work", e->armature, "J" },
        { true, "coil", "stored-change", fabs(e->stored) > 1e-12 * f->peak_stored ? e->stored : 0, "J" },
    };
    enum dw_status status = report ? DW_OK : error->status;
    for (size_t i = 0; !status && i < sizeof rows / sizeof rows[0]; i++)
        if (rows[i].wanted && !isnan(rows[i].value))
            status = report_finding(report, rows[i].channel, rows[i].quantity, rows[i].value, rows[i].unit, error);
    if (!status)
        status = report_write(report, o->common.format, o->common.digits, stdout, error);
    report_free(report);
    return status;
}

/* One line for what the armature does not do; DW_OK where it does all that is expected. */
static enum dw_status judge(const struct coil_options *o, const struct dw_coil_findings *f, const struct limits *limits,
                            bool carried, struct dw_error *error)
{
    char rate[64], takes[64], has[64], other[64], most[64];
    const bool on = isfinite(f->on_longest) || isfinite(f->off_current);
    in_words(rate, 1 / f->pulse, "Hz");
    in_words(most, 1 / (limits->operate + limits->release), "Hz");
    if (!(o->plan.pull_in > 0))
        return DW_OK;
    if (o->expect == EXPECT_HOLD)
        return f->pulled_in ? DW_OK
                            : dw_error_set(error, DW_NO, 0, f->pull_ins || f->drop_outs
                                                                ? "the armature is not held: it let go before the end"
                                                                : "the armature is not held: it never pulls in");
    if (carried && o->expect != EXPECT_FOLLOW)
        return f->pull_ins || f->pulled_in ? DW_OK : dw_error_set(error, DW_NO, 0, "the armature never pulls in");
    if (f->pull_ins == 0 && !f->pulled_in && !f->drop_outs && on)
        return dw_error_set(error, DW_NO, 0, "the armature cannot follow%s%s: it never pulls in: that takes %s from rest, and the "
                            "switch is on for %s; to let go takes %s from the full current; it follows up to about %s",
                            isfinite(f->pulse) ? " " : "", isfinite(f->pulse) ? rate : "",
                            in_words(takes, limits->operate, "s"), in_words(has, f->on_longest, "s"),
                            in_words(other, limits->release, "s"), most);
    if (f->followed == f->pulses)
        return DW_OK;
    if (f->followed == 0 && isfinite(limits->release_here) && f->drop_outs == 0)
        return dw_error_set(error, DW_NO, 0, "the armature cannot follow %s: it never lets go: that takes %s from %s, and the "
                            "switch is off for %s; it follows up to about %s", rate, in_words(takes, limits->release_here, "s"),
                            in_words(other, f->off_current, "A"), in_words(has, f->off_longest, "s"), most);
    return dw_error_set(error, DW_NO, 0, "the armature cannot follow %s: it pulls in and lets go in %llu of %llu pulses; it "
                        "follows up to about %s", rate, f->followed, f->pulses, most);
}

static enum dw_status report_on(const struct coil_options *o, const struct seen *seen, bool carried, struct dw_error *error)
{
    struct dw_coil_findings f;
    struct limits limits;
    enum dw_status status = dw_coil_meter_end(seen->meter, &f, error);
    if (!status)
        status = find_limits(o, seen->coil, &f, &limits, error);
    if (!status)
        status = write_report(o, &f, &limits, error);
    if (status)
        return status;
    caution(o, seen);
    if (o->plan.pull_in > 0)
        program_note("operate-time and release-time leave the armature's travel out: add what its data sheet says");
    if (!isfinite(f.cycle))
        program_note("energies are of the whole record: it holds no whole operation");
    return judge(o, &f, &limits, carried, error);
}

/* Whether the pulses are those of a carrier whose duty changes, and not each an operation. */
static enum dw_status find_carrier(const struct dw_header *header, bool *carried, struct dw_error *error)
{
    double carrier = NAN, period = NAN;
    bool has_carrier = false, has_period = false;
    enum dw_status status = dw_header_number(header, "carrier-period", &carrier, &has_carrier, error);
    if (!status)
        status = dw_header_number(header, "period", &period, &has_period, error);
    *carried = !status && has_carrier && !(has_period && period == carrier);
    return status;
}

static void describe_channels(const struct dw_coil *coil, struct simulation *s, struct simulated_channel *channels)
{
    s->outputs = dw_coil_outputs(coil);
    s->channel = channels;
    for (size_t i = 0; i < s->outputs; i++) {
        channels[i] = (struct simulated_channel){ .factor = 1, .initial = dw_coil_output_at_rest(coil, i) };
        channels[i].name = dw_coil_output(coil, i, &channels[i].unit);
    }
}

static enum dw_status run_coil(const struct coil_options *o, struct dw_error *error)
{
    struct dw_coil_plan plan = o->plan;
    struct common_options common = o->common;
    struct simulation s = { .common = &common, .inputs = DW_COIL_INPUTS, .steady = o->steady, .no_table = o->report,
                            .watch = watch };
    struct simulated_channel channels[DW_OUTPUTS];
    struct dw_coil *coil = NULL;
    struct seen seen = { .meter = NULL };
    struct gate gate = { 0, NAN };
    bool carried = false;
    struct dw_reader *reader = input_open(&o->common, !o->report, error);
    enum dw_status status = reader ? wave_needed(reader, error) : error->status;
    if (!status)
        status = gate_find(reader, "channel", o->common.channel, o->threshold, &gate, error);
    if (!status)
        status = find_carrier(dw_reader_header(reader), &carried, error);
    s.input_column[DW_COIL_PIN] = gate.column;
    plan.threshold = gate.threshold;
    if (!status && !(coil = dw_coil_new(&plan, error)))
        status = error->status;
    if (!status && o->report && !(seen.meter = dw_coil_meter_new(coil, error)))
        status = error->status;
    if (!status) {
        seen.coil = coil;
        s.modes = dw_coil_modes(coil);
        s.mode = dw_coil_rest(coil, s.state);
        s.context = &seen;
        describe_channels(coil, &s, channels);
        if (o->report)
            common.accuracy = fmax(common.accuracy, 1e-2);  /* events and peaks are exact whatever the rows */
        status = simulate(&s, reader, error);
    }
    if (!status && o->report)
        status = report_on(o, &seen, carried, error);
    else if (!status)
        caution(o, &seen);
    dw_coil_meter_free(seen.meter);
    dw_coil_free(coil);
    dw_reader_close(reader);
    return status;
}

int main(int argc, char **argv)
{
    struct coil_options o = { .common = common_defaults(), .plan = { .diode_drop = 0.7 }, .temperature = NAN,
                              .resistance_at = 20, .threshold = NAN };
    struct dw_error error = { .status = DW_OK };
    program_start("dw-coil", &argp, &o, argc, argv);
    return program_finish(run_coil(&o, &error), &error);
}
