/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A supply that gives way, for all loads that have one: options, rules, findings. Not installed. */
#ifndef PROGRAMS_LOAD_SUPPLY_H
#define PROGRAMS_LOAD_SUPPLY_H

#include "common.h"
#include <dutywright/follow.h>
#include <dutywright/supply.h>

/* In a load's options. */
struct supply_load {
    struct dw_supply parts;
    double battery, least;  /* V; 0: not given */
};

enum dw_status supply_read_line(const struct option_spec *option, const char *argument, void *options, struct dw_error *error);
enum dw_status supply_read_bulk(const struct option_spec *option, const char *argument, void *options, struct dw_error *error);
enum dw_status supply_read_battery(const struct option_spec *option, const char *argument, void *options, struct dw_error *error);

/* Rows of a load's table, behind --supply; its member `feed` is the struct above. */
#define SUPPLY_OPTIONS \
    { "battery", "KEYS", "Instead of --supply a battery: volts= without load, r0= inside, and of what gives way slowly r1=,c1=", \
      OPTION_READ(supply_read_battery), OPTION_AT(feed), .also = "inner_resistance slow_resistance slow_capacitance" }, \
    { "supply-line", "KEYS", "Line from the supply, there and back: r= (ohm) and with --bulk l= (H)", OPTION_READ(supply_read_line), \
      OPTION_AT(feed), .also = "line_resistance line_inductance" }, \
    { "bulk", "KEYS", "Capacitor at the load: c= (F), esr= (ohm)", OPTION_READ(supply_read_bulk), OPTION_AT(feed), .also = "bulk bulk_resistance" }, \
    { "no-return", NULL, "A diode in the line: what the load gives back lifts the bulk capacitor", OPTION_FLAG(feed.parts.no_return), \
      .also = "no_return" }, \
    { "least", "V", "Least voltage at the load (V): below it is a brown-out", OPTION_QUANTITY(feed.least, DW_VOLTAGE), OPTION_ABOVE_ZERO }

/* For --help. */
#define SUPPLY_FINDINGS \
    "mean and ripple of the supply at the load over the last whole period; lowest, sag below its open voltage and rise above it over " \
    "the whole table; bulk-rms: ripple current of the bulk capacitor; brown-out: time below --least, with which status 1"

#define SUPPLY_GIVEN "supply-line battery bulk no-return"
#define SUPPLY_RULES \
    { OPTION_EXCLUDES, "supply", "battery", "both say its voltage; give one" }, \
    { OPTION_REFUSED, "least", "!supply-line&!battery&!bulk&!no-return", "an ideal supply never falls: give --supply-line, --bulk or --battery" }

/* What a run shows of it. */
struct supply_seen {
    bool given, any, has_bulk;
    size_t volts, bulk;                 /* outputs */
    double open, least;                 /* V, without load; 0: none */
    double scale[2];
    struct dw_meter *meter;             /* of the last period; NULL unless a report is wanted */
    double lowest, lowest_at, highest;  /* V, s, V */
    double under, under_at;             /* s below the least voltage, and when first */
    double time, before, slope;         /* of the last row */
};

/* What to look at.
 *   reported   the table whose last period is reported on; the plant then has all its outputs. NULL: no report is wanted */
enum dw_status supply_begin(struct supply_seen *seen, const struct supply_load *supply, const struct dw_plant *plant,
                            const struct common_options *common, const struct dw_reader *reported, struct dw_error *error);
/* The next row of the run, curves. */
enum dw_status supply_row(struct supply_seen *seen, const struct dw_run_row *row, struct dw_error *error);
/* Adds its rows to a report: supply mean, ripple, lowest, sag, rise, bulk-rms, brown-out. */
enum dw_status supply_findings(struct supply_seen *seen, struct report *report, struct dw_error *error);
/* Writes a report of these alone. */
enum dw_status supply_report(struct supply_seen *seen, const struct common_options *common, struct dw_error *error);
/* Cautions and notes; frees the meter.
 *   command  NULL: the run failed, nothing is said
 *   judged   a brown-out is DW_NO, else a note */
enum dw_status supply_end(struct supply_seen *seen, struct command *command, bool judged, struct dw_error *error);

#endif
