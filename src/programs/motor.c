/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-motor: a brushed DC motor on a switched supply. */
#include "drive.h"
#include "load_kind.h"
#include <dutywright/cubic.h>
#include <math.h>
#include <string.h>
#include <unistd.h>

/* J: a rotor with more can hurt a finger; common practice, no source. */
static const double MOVES = 1;
/* Shares of the no-load speed: a swing back that is worth a note; and of the power at stall: heat that is worth a caution. */
static const double SWINGS = 0.01, STALLED = 0.04;

struct motor_options {
    struct common_options common;
    struct motor_load load;
    const char *low, *direction;
    bool steady, report;
};

static const char *const starts[] = { "rest", "steady", NULL };

#define OPTION_STRUCT struct motor_options
static const struct option_spec options[] = {
    { "low-channel", "CHANNEL",
      "Gate of the complementary transistor, such as complement from dw-pwm --dead-time: with both off, diodes carry the current",
      OPTION_TEXT(low), .also = "low_gate", .group = 3 },
    { "direction", "CHANNEL", "Bridges: below zero reverses, zero keeps; default the channel direction, where there is one",
      OPTION_TEXT(direction) },
    { "start", "rest|steady", "Standstill without current (default), or the periodic state that is reached from there",
      OPTION_WORD(steady, starts), .group = 4 },
    { "report", NULL, "Of a supply that gives way: write findings instead of the table; status 1 where it falls below --least",
      OPTION_FLAG(report) },
    { 0 }
};

static const struct option_rule rules[] = {
    REPORT_RULES,
    { OPTION_EXCLUDES, "report", "all", "a report has no channels" },
    { OPTION_REFUSED, "report", "!supply-line&!battery&!bulk&!no-return", "is of a supply that gives way: give --supply-line, --bulk or --battery" },
    { 0 }
};

static const char about[] =
    "Current and speed of a brushed DC motor whose supply a pin switches.\v"
    "Reads a wave table, takes a channel (--channel; default pin, else the last in V) as the gate, or with --drive direct as the "
    "terminal voltage, and appends current[A] and speed[rad/s] with their slopes. Solved exactly from event to event: diodes that stop "
    "conducting, brushes that stick, a rotor that lets go. With --supply-line, --bulk or --battery the supply gives way, coupled both ways, "
    "and its channel at the motor is supply[V].\n\n"
    "Findings: " SUPPLY_FINDINGS ".\n\n"
    "Example: the exhibit's pump motor at 22.5 kHz, once its speed has settled\n\n"
    "  dw-pwm --frequency 22.5k --duty 60% --periods 4 |\n"
    "    dw-motor --resistance 1.85 --constant 27m --drag 4m --inductance 900u \\\n"
    "      --inertia 9u --supply 12 --drive one-switch --start steady |\n"
    "    dw-measure\n\n"
    "Example: does its start-up pull a weak supply below 9 V?\n\n"
    "  dw-pwm --frequency 22.5k --duty 100% --duration 30m |\n"
    "    dw-motor --resistance 1.85 --constant 27m --drag 4m --inductance 900u \\\n"
    "      --inertia 9u --supply 12 --supply-line r=0.4,l=6u \\\n"
    "      --bulk c=470u,esr=80m --least 9 --drive one-switch --report";

/* Notes on what was seen on the way. */
struct motor_seen {
    const struct dw_motor *motor;
    struct supply_seen supply;
    double start, end, blocked;         /* s */
    double fastest, slowest, least_pin; /* rad/s, rad/s forwards, V */
    double standing, squares;           /* s and A^2 s, since the rotor last turned */
    double current, rise, high, low;    /* A, A/s, V, V, of the last row */
    double threshold;                   /* V, of the gates */
    double shorted, first_short;        /* s both gates were on, and when first */
    bool low_gate, any, was_blocked, reversed;
};

/* Between rows both gates are straight lines, and a row stands where one crosses the threshold: the middle decides. */
static void watch_gates(struct motor_seen *seen, const struct dw_run_row *row, double length)
{
    const double high = row->input[DW_MOTOR_PIN], low = row->input[DW_MOTOR_LOW];
    if (length > 0 && (seen->high + high) / 2 > seen->threshold && (seen->low + low) / 2 > seen->threshold) {
        if (seen->shorted == 0)
            seen->first_short = seen->end;
        seen->shorted += length;
    }
    seen->high = high;
    seen->low = low;
}

static enum dw_status watch(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct motor_seen *seen = context;
    const double length = seen->any ? row->time - seen->end : 0;
    const double speed = row->state[DW_MOTOR_SPEED], current = row->state[DW_MOTOR_CURRENT];
    if (!seen->any)
        seen->start = row->time;
    else if (seen->was_blocked)
        seen->blocked += length;
    seen->standing = speed == 0 ? seen->standing + length : 0;
    const double rise = row->slope[DW_MOTOR_CURRENT];
    const struct dw_cubic between = dw_cubic_through(seen->current, length * seen->rise, current, length * rise);
    seen->squares = speed == 0 ? seen->squares + length * dw_cubic_mean_square(&between) : 0;
    if (seen->low_gate)
        watch_gates(seen, row, length);
    seen->any = true;
    seen->was_blocked = dw_motor_blocked(seen->motor, row->mode);
    seen->end = row->time;
    seen->current = current;
    seen->rise = rise;
    seen->fastest = fmax(seen->fastest, fabs(speed));
    seen->slowest = fmin(seen->slowest, speed);
    seen->least_pin = fmin(seen->least_pin, row->input[DW_MOTOR_PIN]);
    seen->reversed = seen->reversed || row->input[DW_MOTOR_DIRECTION] < 0;
    return supply_row(&seen->supply, row, error);
}

/* Whether nothing but the load can have turned it backwards. */
static bool pulled_backwards(const struct dw_motor_plan *p, const struct motor_seen *seen)
{
    const bool reverses = p->drive == DW_DRIVE_ANTIPHASE || (p->drive == DW_DRIVE_DIRECT && seen->least_pin < 0);
    return !reverses && !seen->reversed && seen->slowest < -SWINGS * dw_motor_no_load_speed(p);
}

static void caution(const struct motor_options *o, const struct motor_seen *seen)
{
    const struct dw_motor_plan *p = &o->load.plan;
    struct command *command = o->common.command;
    double inertia = p->inertia + p->load_inertia / (p->gear * p->gear), energy = inertia * seen->fastest * seen->fastest / 2;
    const double heat = seen->standing > 0 ? p->resistance * seen->squares / seen->standing : 0;
    command_caution_voltage(command, p->supply, "");
    if (energy > MOVES)
        command_caution(command, "moving machinery: the rotor and its load carry %.3g J at %.0f rpm; guard it before it runs", energy,
                        seen->fastest * DW_RPM);
    if (heat > STALLED * p->supply * dw_motor_stall_current(p))
        command_caution(command, "hot part: the rotor stands still at the end, and its winding takes %.3g W without the cooling of a turning one",
                        heat);
    if (seen->shorted > 0)
        command_caution(command, "both transistors of a leg are on for %.3g s, first at %.6g s: they short the supply, which is not "
                        "counted here; dw-pwm --dead-time keeps them apart", seen->shorted, seen->first_short);
    if (pulled_backwards(p, seen))
        command_note(command, "the load turns the motor backwards, up to %.0f rpm: a load that only resists is --load-drag or --torque-at-square",
                     -seen->slowest * DW_RPM);
    if (seen->blocked > 0 && seen->blocked < seen->end - seen->start)
        command_note(command, "discontinuous conduction: no current flows for %.3g %% of the time; the speed is then not proportional to "
                     "the duty", 100 * seen->blocked / (seen->end - seen->start));
}

/* Which channels feed the motor, and what the table says of its drive. */
static enum dw_status find_inputs(const struct motor_options *o, const struct dw_reader *reader, size_t *column,
                                  struct load_drive *drive, struct dw_error *error)
{
    struct command *command = o->common.command;
    struct gate gate = { 0, NAN };
    const enum dw_motor_drive way = o->load.plan.drive;
    const struct channel_wish low = { "low-channel", o->low, NULL }, direction = { "direction", o->direction, NULL };
    enum dw_status status = wave_needed(reader, error);
    if (!status)
        status = gate_find(command, reader, &(struct channel_wish){ "channel", o->common.channel, "V" },
                           way == DW_DRIVE_DIRECT ? 0 : o->load.plan.threshold, &gate, error);
    if (!status && o->low)
        status = channel_find(command, reader, &low, &column[DW_MOTOR_LOW], error);
    if (!status && o->direction)
        status = channel_find(command, reader, &direction, &column[DW_MOTOR_DIRECTION], error);
    if (status)
        return status;
    column[DW_MOTOR_PIN] = gate.column;
    if ((way == DW_DRIVE_BRIDGE_SLOW || way == DW_DRIVE_BRIDGE_FAST) && !o->direction)
        column[DW_MOTOR_DIRECTION] = dw_header_find(dw_reader_header(reader), "direction", NULL);
    *drive = (struct load_drive){ .threshold = gate.threshold, .low_gate = column[DW_MOTOR_LOW] != 0,
                                  .direction = column[DW_MOTOR_DIRECTION] != 0,
                                  .accuracy = o->common.accuracy };
    return DW_OK;
}

static enum dw_status run_motor(void *options_read, struct dw_error *error)
{
    struct motor_options *o = options_read;
    struct load_drive drive = { .threshold = NAN };
    struct motor_seen seen = { .motor = NULL, .low_gate = o->low != NULL };
    struct dw_follow_plan follow = { .steady = o->steady ? START_STEADY : NULL, .side_input = DW_MOTOR_TORQUE,
                                     .descriptor = o->report ? -1 : STDOUT_FILENO, .watch = watch, .context = &seen };
    struct dw_follow_seen followed;
    const size_t *const column = follow.input_column;
    o->load.plan.all = o->load.plan.all || o->report;  /* findings are of all its channels */
    struct dw_reader *reader = input_open(&o->common, !o->report, error);
    enum dw_status status = reader ? find_inputs(o, reader, follow.input_column, &drive, error) : error->status;
    if (!status && o->load.torque_from && !(follow.side = dw_reader_open(o->load.torque_from, NULL, error)))
        status = error->status;
    if (!status && !(follow.plant = motor_kind.plant(&o->load, &drive, error)))
        status = error->status;
    if (!status && o->low && column[DW_MOTOR_LOW] == column[DW_MOTOR_PIN])
        status = dw_error_set(error, DW_BAD_USE, 0, "--low-channel: '%s' is the gate of the other transistor: both on short the supply",
                              o->low);
    if (!status)
        status = supply_begin(&seen.supply, &o->load.feed, o->load.plan.supply, follow.plant, &o->common, reader, o->report, error);
    if (!status) {
        seen.motor = dw_plant_load(follow.plant);
        seen.threshold = drive.threshold;
        status = follow_table(&follow, &o->common, NULL, reader, &followed, error);
    }
    if (!status && o->report)
        status = supply_report(&seen.supply, &o->common, error);
    if (!status)
        caution(o, &seen);
    const enum dw_status judged = supply_end(&seen.supply, status ? NULL : o->common.command, o->report, error);
    status = status ? status : judged;
    dw_plant_free(follow.plant);
    dw_reader_close(follow.side);
    dw_reader_close(reader);
    return status;
}

static const struct motor_options defaults = { .common = COMMON_DEFAULTS };
static const struct program program = {
    .name = "dw-motor", .about = about, .options = options, .rules = rules, .load = &motor_kind.program, .loaded = offsetof(struct motor_options, load),
    .shared = SHARED_INPUT | SHARED_OUTPUT | SHARED_CHANNEL | SHARED_ROWS | SHARED_LINES | SHARED_REPORT, .run = run_motor,
    PROGRAM_OPTIONS(struct motor_options, defaults)
};
PROGRAM_MAIN(program)
