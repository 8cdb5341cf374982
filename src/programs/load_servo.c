/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The options of a position servo, and its plant. */
#include "load_kind.h"
#include <dutywright/table.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const lost_words[] = { "stay", "free", NULL };

/* A:B into two numbers. */
static enum dw_status read_pair(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct servo_load *o = options;
    const bool widths = option->quantity == DW_TIME;
    return option_pair(option, argument, ':', widths ? "two with a colon between, such as 0.5m:2.5m" : "two with a colon between, such as -60:60",
                       widths ? o->pulses : o->stops, error);
}

#define OPTION_STRUCT struct servo_load
static const struct option_spec options[] = {
    { .help = "Pulses to angles:" },
    { "pulses", "A:B", "Widths that ask for the lower and the upper end of the travel (s; default 0.5m:2.5m); the longer one first turns it round",
      OPTION_READ(read_pair), OPTION_AT(pulses), .also = "points", .quantity = DW_TIME, OPTION_ABOVE_ZERO },
    { "travel", "ANGLE", "From end to end (deg; default 180): half of it lies on either side of 0, which the width in the middle asks for",
      OPTION_QUANTITY(travel, DW_ANGLE), OPTION_ABOVE_ZERO },
    { "calibration-from", "FILE",
      "Instead of both: a table of widths (s) and the angles at them (deg), 2 to 64 rows, the angles rising or falling throughout; straight "
      "lines between", OPTION_TEXT(calibration_from), .also = "points" },
    { .help = "The servo:" },
    { "dead-band", "T", "At rest it does not move for a change of the width up to this (s; default 4u)", OPTION_QUANTITY(plan.dead_band, DW_TIME),
      OPTION_NOT_NEGATIVE },
    { "slew", "F", "How fast it turns without load (deg/s; default 500); 0.12 s for 60 deg is 500", OPTION_QUANTITY(plan.slew, DW_SLEW),
      OPTION_ABOVE_ZERO },
    { "slow-within", "ANGLE", "The last degrees, over which the speed falls with what is left (deg; default 5; 0: it stops at once)",
      OPTION_QUANTITY(plan.slow_within, DW_ANGLE), OPTION_NOT_NEGATIVE },
    { "stall-torque", "M", "Torque at which it stands still (N m); the speed falls along a line up to it", OPTION_QUANTITY(plan.stall_torque, DW_TORQUE),
      OPTION_ABOVE_ZERO },
    { "torque", "M", "Load that opposes it either way (N m; default 0)", OPTION_QUANTITY(plan.torque, DW_TORQUE), OPTION_NOT_NEGATIVE },
    { "stops", "A:B", "Where something blocks it (deg; default the ends of the travel)", OPTION_READ(read_pair), OPTION_AT(stops),
      .also = "stop_low stop_high", .quantity = DW_ANGLE },
    { "initial", "ANGLE", "Where it stands before the first pulse has ended (deg; default 0, or the stop next to it)",
      OPTION_QUANTITY(plan.initial, DW_ANGLE) },
    { "when-lost", "stay|free",
      "Without pulses it stays where the last one put it, or is free: not driven until the next pulse has ended (default stay). What a load does to a "
      "free one is not shown", OPTION_WORD(plan.free_when_lost, lost_words) },
    { "lost-after", "T", "Pulses are lost when the line has had no edge for so long (s; default 0.1)", OPTION_QUANTITY(plan.lost_after, DW_TIME),
      OPTION_ABOVE_ZERO },
    { "threshold", "V", "The line is high above it (V); default the middle of the table's levels", OPTION_QUANTITY(plan.threshold, DW_VOLTAGE) },
    { 0 }
};

static const struct option_rule rules[] = {
    { OPTION_EXCLUDES, "pulses travel", "calibration-from", "a calibration says both; give one" },
    { OPTION_NEEDED, "stall-torque", "torque", "such as 0.9: how much the load slows it follows from that" },
    { OPTION_REFUSED, "lost-after", "!when-lost=free", "is about --when-lost free" },
    { 0 }
};

/* The factor to s or deg of a column's unit; NaN: none. */
static double factor_to(const char *unit, const char *wanted)
{
    double divisor = 1, factor = 1;
    if (!*unit || strcmp(unit, wanted) == 0 || dw_unit_converts(unit, wanted, &divisor, &factor))
        return factor / divisor;
    return NAN;
}

static enum dw_status read_point(struct dw_reader *reader, const double *row, double to_seconds, struct dw_servo_plan *plan, struct dw_error *error)
{
    struct dw_servo_point *point = plan->points + plan->point_count;
    char place[DW_ERROR_TEXT];
    if (plan->point_count == DW_SERVO_POINTS) {
        dw_reader_place(reader, place, sizeof place);
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: a calibration has %d points at most", place, DW_SERVO_POINTS);
    }
    *point = (struct dw_servo_point){ row[0] * to_seconds, row[1] };
    plan->point_count++;
    return DW_OK;
}

static enum dw_status read_calibration(const char *file, struct dw_servo_plan *plan, struct dw_error *error)
{
    struct dw_reader *reader = dw_reader_open(file, NULL, error);
    const struct dw_header *header = reader ? dw_reader_header(reader) : NULL;
    enum dw_status status = reader ? DW_OK : error->status;
    const struct dw_column width = header ? dw_header_column(header, 0) : (struct dw_column){ "", "" };
    const struct dw_column angle = header && dw_header_columns(header) > 1 ? dw_header_column(header, 1) : (struct dw_column){ "", "none" };
    const double to_seconds = factor_to(width.unit, "s");
    const double *row;
    plan->point_count = 0;
    if (!status && (isnan(to_seconds) || isnan(factor_to(angle.unit, "deg"))))
        status = dw_error_set(error, DW_BAD_INPUT, 0, "%s: a calibration has a width[s] and an angle[deg]", dw_reader_name(reader));
    while (!status && !(status = dw_reader_row(reader, &row, error)))
        status = read_point(reader, row, to_seconds, plan, error);
    dw_reader_close(reader);
    return status == DW_END ? DW_OK : status;
}

static void set_points(struct servo_load *o)
{
    const bool turned = o->pulses[0] > o->pulses[1];
    const double half = o->travel / 2;
    o->plan.points[0] = (struct dw_servo_point){ o->pulses[turned], turned ? half : -half };
    o->plan.points[1] = (struct dw_servo_point){ o->pulses[!turned], turned ? -half : half };
    o->plan.point_count = 2;
}

/* Stops and the angle at first, where they were not given. */
static void set_angles(struct servo_load *o)
{
    struct dw_servo_plan *p = &o->plan;
    if (p->point_count == 0)
        return;
    const double first = p->points[0].angle, last = p->points[p->point_count - 1].angle;
    p->stop_low = isnan(o->stops[0]) ? fmin(first, last) : o->stops[0];
    p->stop_high = isnan(o->stops[1]) ? fmax(first, last) : o->stops[1];
    if (isnan(p->initial))
        p->initial = fmax(p->stop_low, fmin(p->stop_high, 0));
}

static enum dw_status check(const struct command *command, void *values, struct dw_error *error)
{
    struct servo_load *o = values;
    (void)command;
    const enum dw_status status = o->calibration_from ? read_calibration(o->calibration_from, &o->plan, error) : DW_OK;
    if (status)
        return status;
    if (!o->calibration_from)
        set_points(o);
    set_angles(o);
    struct dw_servo_plan plan = o->plan;
    plan.threshold = isnan(plan.threshold) ? 0 : plan.threshold; /* which the table has yet to say */
    return dw_servo_check(&plan, error);
}

static struct dw_plant *make(const void *values, const struct load_drive *drive, struct dw_error *error)
{
    struct dw_servo_plan plan = ((const struct servo_load *)values)->plan;
    plan.threshold = isnan(plan.threshold) ? drive->threshold : plan.threshold;
    return dw_servo_plant(&plan, error);
}

static const struct servo_load defaults = {
    .plan = { .dead_band = 4e-6, .slew = 500, .slow_within = 5, .lost_after = 0.1, .initial = NAN, .threshold = NAN },
    .pulses = { 0.5e-3, 2.5e-3 }, .travel = 180, .stops = { NAN, NAN }
};
const struct load_kind servo_kind = {
    .program = { .name = "dw-servo", .options = options, .rules = rules, .check = check, .size = sizeof defaults, .defaults = &defaults },
    .plant = make, .moves = true
};
