/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-coil: the coil of a relay, solenoid or valve on a low-side switch. */
#include "drive.h"
#include "load_kind.h"
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* J: hazardous discharge, IEC 61010-1 (there of capacitors; from memory). degC: metal held for a
 * second burns from about here, ISO 13732-1 (from memory). */
static const double STORED = 0.35, BURNS = 65;

enum expectation { EXPECT_UNSAID = -1, EXPECT_FOLLOW, EXPECT_HOLD };

struct coil_options {
    struct common_options common;
    struct coil_load load;
    bool steady, report;
    enum expectation expect;
};

static const char *const starts[] = { "rest", "steady", NULL }, *const expectations[] = { "follow", "hold", NULL };

#define OPTION_STRUCT struct coil_options
static const struct option_spec options[] = {
    { "start", "rest|steady", "Switched off since long ago (default), or the periodic state that is reached from there",
      OPTION_WORD(steady, starts), .group = 3 },
    { "report", NULL,
      "Write findings instead of the table: times of the armature, peaks, hold current, energy of the last whole operation; status 1 "
      "where the armature does not do what is expected of it", OPTION_FLAG(report) },
    { "expect", "follow|hold",
      "What --report judges: follow: each pulse pulls in and lets go (default, unless the table has a carrier-period, where one "
      "pull-in does); hold: pulled in at the end", OPTION_WORD(expect, expectations) },
    { 0 }
};

static const struct option_rule rules[] = {
    REPORT_RULES,
    { OPTION_EXCLUDES, "report", "all", "a report has no channels" },
    { OPTION_EXCLUDES, "report", "accuracy", "a report has no rows; what it finds is exact" },
    { OPTION_REFUSED, "expect", "!report", "it is what --report judges: give --report" },
    { OPTION_REFUSED, "expect", "!pull-in", "there is no armature: give --pull-in and --drop-out" },
    { 0 }
};

static const char about[] =
    "Current and armature of a relay, solenoid or valve whose coil a pin switches.\v"
    "Reads a wave table, takes a channel (--channel; default pin, else the last in V) as the gate of the switch, and appends "
    "current[A], switch[V] and, with --pull-in and --drop-out, armature[1], which is 1 while pulled in. Solved exactly from event to "
    "event. The armature moves at once: its travel is to be added to the times.\n\n"
    "Findings: operate-time and release-time run from the switch's edge until the armature pulls in or lets go, the last time; "
    "-longest: the slowest. operate-from-rest and release-from-full are the same from no current and from the full one, and "
    "repetition-limit is 1 / their sum. hold: the current when the next pulse finds the armature pulled in, else when the switch "
    "goes off; hold-over-drop-out: how many times the drop-out current that is. operation: length of the last whole operation. "
    "Of that are the energies: from the supply, into copper, clamp, switch (with --stray) and armature; stored-change is what the "
    "coil holds more than before. Of a supply that gives way: " SUPPLY_FINDINGS ".\n\n"
    "Example: does the exhibit's sluice valve follow 12 Hz, and how high does its zener let the switch go?\n\n"
    "  dw-pwm --frequency 12 --duty 45% |\n"
    "    dw-coil --resistance 15 --inductance 0.11 --supply 12 \\\n"
    "      --clamp zener=24 --pull-in 0.48 --drop-out 0.16 --report\n\n"
    "Example: peak and hold, full current for 20 ms and then 35 %\n\n"
    "  printf '0,1\\n0.02,1\\n0.02,0.35\\n0.2,0.35\\n' |\n"
    "    dw-pwm --frequency 22.5k --duty-from - |\n"
    "    dw-coil --resistance 15 --inductance 0.11 --supply 12 --clamp diode \\\n"
    "      --pull-in 0.48 --drop-out 0.16 --report --expect hold";

/* Extremes of a table's rows, for cautions. */
struct coil_seen {
    const struct dw_coil *coil;
    struct dw_coil_meter *meter;      /* NULL unless a report is wanted */
    struct supply_seen supply;
    double peak, most, least, stored; /* V, A, A, J */
};

static enum dw_status watch(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct coil_seen *seen = context;
    const double current = row->state[DW_COIL_CURRENT];
    seen->peak = fmax(seen->peak, dw_coil_switch_voltage(seen->coil, row->mode, row->state));
    seen->most = fmax(seen->most, current);
    seen->least = fmin(seen->least, current);
    seen->stored = fmax(seen->stored, dw_coil_stored(seen->coil, row->mode, current));
    const enum dw_status status = supply_row(&seen->supply, row, error);
    return !status && seen->meter ? dw_coil_meter_row(seen->meter, row, error) : status;
}

/* With the digits that tell it from another beside it. */
static const char *apart(char *out, double value, double other, const char *unit)
{
    dw_quantity_print(out, 64, value, unit, dw_digits_apart(value, other, 3));
    return out;
}

/* Why the armature can never pull in, or never let go; false where nothing is in its way. */
static bool never(const struct dw_coil_plan *p, char *out, size_t size)
{
    char drives[64], needs[64], path[64];
    const double full = dw_coil_full_current(p), leak = p->supply / (p->resistance + p->clamp_value);
    const bool weak = !(full > p->pull_in), held = p->clamp == DW_CLAMP_RESISTOR && p->clamp_at_switch && !(leak < p->drop_out);
    if (!(p->pull_in > 0) || (!weak && !held))
        return false;
    if (weak)
        snprintf(out, size, "never pulls in: %g V drives %s through %s, and that takes more than %s", p->supply,
                 apart(drives, full, p->pull_in, "A"), in_words(path, p->resistance + p->switch_resistance, "ohm", 3),
                 apart(needs, p->pull_in, full, "A"));
    else
        snprintf(out, size, "never lets go: the resistor across the switch, %s, keeps %s flowing, and that takes less than %s",
                 in_words(path, p->clamp_value, "ohm", 3), apart(drives, leak, p->drop_out, "A"), apart(needs, p->drop_out, leak, "A"));
    return true;
}

static void caution(const struct coil_options *o, const struct coil_seen *seen)
{
    const struct dw_coil_plan *p = &o->load.plan;
    struct command *command = o->common.command;
    char text[64], reason[320];
    command_caution_voltage(command, p->supply, "");
    if (!o->report && never(p, reason, sizeof reason))
        command_note(command, "the armature %s", reason);
    if (p->clamp == DW_CLAMP_NONE && seen->peak > p->supply)
        command_caution(command, "unclamped coil: the switch sees %s; give the current a path, such as a diode, or a switch that stands it",
                        in_words(text, seen->peak, "V", 3));
    if (seen->peak > COMMAND_LOW_VOLTAGE && p->supply <= COMMAND_LOW_VOLTAGE)
        command_caution(command, "the coil's kick brings %s to the switch: over 60 V DC can kill; local electrical codes and a licensed "
                        "person decide", in_words(text, seen->peak, "V", 3));
    if (seen->stored > STORED)
        command_caution(command, "stored energy: the coil holds %s when it is switched off; never break its circuit by hand",
                        in_words(text, seen->stored, "J", 3));
    if (o->load.temperature > BURNS)
        command_caution(command, "hot part: the coil at %g degC can burn skin", o->load.temperature);
    if (p->pull_in > 0 && seen->least < -p->drop_out)
        command_note(command, "the current swings back to %s through the body diode; a real armature may hang on through that",
                     in_words(text, seen->least, "A", 3));
    if (p->clamp == DW_CLAMP_RESISTOR && p->clamp_at_switch)
        command_note(command, "the resistor across the switch lets %s flow while it is off",
                     in_words(text, p->supply / (p->resistance + p->clamp_value), "A", 3));
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
    if (!(o->load.plan.pull_in > 0))
        return DW_OK;
    enum dw_status status = dw_coil_times(coil, NAN, &limits->operate, &limits->release, error);
    if (status == DW_NO && !dw_supply_ideal(&o->load.plan.source))
        return DW_OK;  /* the supply falls too low */
    if (!status && f->off_current >= o->load.plan.drop_out)
        status = dw_coil_times(coil, f->off_current, &same, &limits->release_here, error);
    return status;
}

static enum dw_status write_report(const struct coil_options *o, const struct dw_coil_findings *f, const struct limits *limits,
                                   struct supply_seen *supply, struct dw_error *error)
{
    struct report *report = report_findings(error);
    const struct dw_coil_energy *e = &f->energy;
    const bool armature = o->load.plan.pull_in > 0, clamp = o->load.plan.clamp != DW_CLAMP_NONE;
    const struct offered rows[] = {
        { armature, "armature", "pull-ins", report_number((double)f->pull_ins), "" },
        { armature, "armature", "drop-outs", report_number((double)f->drop_outs), "" },
        { f->pull_ins, "armature", "operate-time", report_number(f->operate), "s" },
        { f->pull_ins, "armature", "operate-time-longest", report_number(f->operate_longest), "s" },
        { f->drop_outs, "armature", "release-time", report_number(f->release), "s" },
        { f->drop_outs, "armature", "release-time-longest", report_number(f->release_longest), "s" },
        { armature, "armature", "operate-from-rest", report_number(limits->operate), "s" },
        { armature, "armature", "release-from-full", report_number(limits->release), "s" },
        { armature, "armature", "repetition-limit", report_number(1 / (limits->operate + limits->release)), "Hz" },
        { true, "current", "peak", report_number(f->peak_current), "A" },
        { armature, "current", "hold", report_number(f->hold), "A" },
        { armature, "current", "hold-over-drop-out", report_number(f->hold / o->load.plan.drop_out), "1" },
        { true, "switch", "highest", report_number(f->peak_switch), "V" },
        { true, "coil", "resistance", report_number(o->load.plan.resistance), "ohm" },
        { true, "coil", "stored-energy", report_number(f->peak_stored), "J" },
        { isfinite(f->cycle), "coil", "operation", report_number(f->cycle), "s" },
        { true, "coil", "supply-energy", report_number(e->supply), "J" },
        { true, "coil", "copper-energy", report_number(e->copper), "J" },
        { clamp, "coil", "clamp-energy", report_number(e->clamp), "J" },
        { clamp && isfinite(f->cycle), "coil", "clamp-power", report_number(e->clamp / f->cycle), "W" },
        { true, "coil", "switch-energy", report_number(e->sw + e->stray), "J" },
        { o->load.plan.inductance_closed > 0, "coil", "armature-work", report_number(e->armature), "J" },
        { true, "coil", "stored-change", report_number(fabs(e->stored) > 1e-12 * f->peak_stored ? e->stored : 0), "J" },
    };
    enum dw_status status = report_wanted(report, rows, sizeof rows / sizeof rows[0], error);
    if (!status)
        status = supply_findings(supply, report, error);
    return report_out(report, &o->common, status, error);
}

/* One line for what the armature does not do; DW_OK where it does all that is expected. */
static enum dw_status judge(const struct coil_options *o, const struct dw_coil_findings *f, const struct limits *limits,
                            bool carried, struct dw_error *error)
{
    char rate[64], takes[64], has[64], other[64], most[64], reason[320];
    const bool on = isfinite(f->on_longest) || isfinite(f->off_current);
    in_words(rate, 1 / f->pulse, "Hz", 3);
    in_words(most, 1 / (limits->operate + limits->release), "Hz", 3);
    if (!(o->load.plan.pull_in > 0))
        return DW_OK;
    const bool holds = f->pulled_in && (o->expect == EXPECT_HOLD || (carried && o->expect != EXPECT_FOLLOW));
    if (!holds && never(&o->load.plan, reason, sizeof reason))
        return dw_error_set(error, DW_NO, 0, "the armature %s", reason);
    if (o->expect == EXPECT_HOLD)
        return f->pulled_in ? DW_OK
                            : dw_error_set(error, DW_NO, 0, f->pull_ins || f->drop_outs
                                                                ? "the armature is not held: it let go before the end"
                                                                : "the armature is not held: it never pulls in");
    if (carried && o->expect != EXPECT_FOLLOW)
        return f->pull_ins || f->pulled_in ? DW_OK : dw_error_set(error, DW_NO, 0, "the armature never pulls in");
    if (f->pull_ins == 0 && !f->pulled_in && !f->drop_outs && isnan(limits->operate))
        return dw_error_set(error, DW_NO, 0, "the armature never pulls in: the supply gives way too far");
    if (f->pull_ins == 0 && !f->pulled_in && !f->drop_outs && on)
        return dw_error_set(error, DW_NO, 0, "the armature cannot follow%s%s: it never pulls in: that takes %s from rest, and the "
                            "switch is on for %s; to let go takes %s from the full current; it follows up to about %s",
                            isfinite(f->pulse) ? " " : "", isfinite(f->pulse) ? rate : "",
                            apart(takes, limits->operate, f->on_longest, "s"), apart(has, f->on_longest, limits->operate, "s"),
                            in_words(other, limits->release, "s", 3), most);
    if (f->followed == f->pulses)
        return DW_OK;
    if (f->followed == 0 && isfinite(limits->release_here) && f->drop_outs == 0)
        return dw_error_set(error, DW_NO, 0, "the armature cannot follow %s: it never lets go: that takes %s from %s, and the "
                            "switch is off for %s; it follows up to about %s", rate, apart(takes, limits->release_here, f->off_longest, "s"),
                            in_words(other, f->off_current, "A", 3), apart(has, f->off_longest, limits->release_here, "s"), most);
    return dw_error_set(error, DW_NO, 0, "the armature cannot follow %s: it pulls in and lets go in %llu of %llu pulses; it "
                        "follows up to about %s", rate, f->followed, f->pulses, most);
}

static enum dw_status report_on(const struct coil_options *o, struct coil_seen *seen, bool carried, struct dw_error *error)
{
    struct dw_coil_findings f;
    struct limits limits;
    enum dw_status status = dw_coil_meter_end(seen->meter, &f, error);
    if (!status)
        status = find_limits(o, seen->coil, &f, &limits, error);
    if (!status)
        status = write_report(o, &f, &limits, &seen->supply, error);
    if (status)
        return status;
    caution(o, seen);
    if (o->load.plan.pull_in > 0)
        command_note(o->common.command, "operate-time and release-time leave the armature's travel out: add what its data sheet says");
    if (!isfinite(f.cycle))
        command_note(o->common.command, "energies are of the whole record: it holds no whole operation");
    return judge(o, &f, &limits, carried, error);
}

/* Whether the pulses are those of a carrier whose duty changes, and not each an operation. */
static bool is_carried(const struct dw_header *header)
{
    const struct dw_facts *facts = dw_header_facts(header);
    return facts->carrier_period > 0 && facts->carrier_period != facts->period;
}

static enum dw_status run_table(struct coil_options *o, struct dw_reader *reader, const struct gate *gate, bool carried,
                                struct dw_error *error)
{
    struct common_options common = o->common;
    const struct load_drive drive = { .threshold = gate->threshold };
    o->load.plan.all = o->load.plan.all || (o->report && !dw_supply_ideal(&o->load.plan.source));
    struct dw_plant *plant = coil_kind.plant(&o->load, &drive, error);
    struct coil_seen seen = { .coil = plant ? dw_plant_load(plant) : NULL };
    const struct dw_follow_plan follow = { .plant = plant, .steady = o->steady ? START_STEADY : NULL,
                                           .input_column = { [DW_COIL_PIN] = gate->column },
                                           .descriptor = o->report ? -1 : STDOUT_FILENO, .watch = watch, .context = &seen,
                                           .integrand = o->report && plant ? dw_coil_integrals(seen.coil) : NULL,
                                           .integrand_count = o->report ? DW_COIL_INTEGRALS : 0 };
    struct dw_follow_seen followed;
    enum dw_status status = plant ? DW_OK : error->status;
    if (!status && o->report && !(seen.meter = dw_coil_meter_new(seen.coil, error)))
        status = error->status;
    if (o->report && dw_supply_ideal(&o->load.plan.source))
        common.accuracy = fmax(common.accuracy, 1e-2);  /* events and peaks are exact whatever the rows */
    if (!status)
        status = supply_begin(&seen.supply, &o->load.feed, plant, &common, o->report ? reader : NULL, error);
    if (!status)
        status = follow_table(&follow, &common, NULL, reader, &followed, error);
    if (!status && o->report)
        status = report_on(o, &seen, carried, error);
    else if (!status)
        caution(o, &seen);
    const enum dw_status judged = supply_end(&seen.supply, status ? NULL : o->common.command, o->report, error);
    dw_coil_meter_free(seen.meter);
    dw_plant_free(plant);
    return status ? status : judged;
}

static enum dw_status run_coil(void *options_read, struct dw_error *error)
{
    struct coil_options *o = options_read;
    const struct channel_wish wish = { "channel", o->common.channel, "V" };
    struct gate gate = { 0, NAN };
    bool carried = false;
    struct dw_reader *reader = input_open(&o->common, !o->report, error);
    enum dw_status status = reader ? wave_needed(reader, error) : error->status;
    if (!status)
        status = gate_find(o->common.command, reader, &wish, o->load.plan.threshold, &gate, error);
    if (!status)
        carried = is_carried(dw_reader_header(reader));
    if (!status)
        status = run_table(o, reader, &gate, carried, error);
    dw_reader_close(reader);
    return status;
}

static const struct coil_options defaults = { .common = COMMON_DEFAULTS, .expect = EXPECT_UNSAID };
static const struct program program = {
    .name = "dw-coil", .about = about, .options = options, .rules = rules, .run = run_coil,
    .load = &coil_kind.program, .loaded = offsetof(struct coil_options, load),
    .shared = SHARED_INPUT | SHARED_OUTPUT | SHARED_CHANNEL | SHARED_ROWS | SHARED_LINES | SHARED_REPORT,
    PROGRAM_OPTIONS(struct coil_options, defaults)
};
PROGRAM_MAIN(program)
