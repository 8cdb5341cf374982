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
    struct motor_channels channels;
    bool steady, report;
};

static const char *const starts[] = { "rest", "steady", NULL };

#define OPTION_STRUCT struct motor_options
static const struct option_spec options[] = {
    MOTOR_CHANNEL_OPTIONS(channels, 3),
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
    double current, rise;               /* A, A/s, of the last row */
    struct gates_seen gates;
    bool any, was_blocked, reversed;
};

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
    gates_row(&seen->gates, row);
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
    gates_caution(command, &seen->gates);
    if (pulled_backwards(p, seen))
        command_note(command, "the load turns the motor backwards, up to %.0f rpm: a load that only resists is --load-drag or --torque-at-square",
                     -seen->slowest * DW_RPM);
    if (seen->blocked > 0 && seen->blocked < seen->end - seen->start)
        command_note(command, "discontinuous conduction: no current flows for %.3g %% of the time; the speed is then not proportional to "
                     "the duty", 100 * seen->blocked / (seen->end - seen->start));
}

static enum dw_status run_motor(void *options_read, struct dw_error *error)
{
    struct motor_options *o = options_read;
    struct motor_inputs inputs = { .plan = &o->load.plan, .column = NULL };
    struct motor_seen seen = { .motor = NULL, .gates.low_gate = o->channels.low != NULL };
    struct dw_follow_plan follow = { .steady = o->steady ? START_STEADY : NULL, .side_input = DW_MOTOR_TORQUE,
                                     .descriptor = o->report ? -1 : STDOUT_FILENO, .watch = watch, .context = &seen };
    struct dw_follow_seen followed;
    inputs.column = follow.input_column;
    o->load.plan.all = o->load.plan.all || o->report;  /* findings are of all its channels */
    struct dw_reader *reader = input_open(&o->common, !o->report, error);
    enum dw_status status = reader ? motor_inputs_find(&o->common, &o->channels, reader, &inputs, error) : error->status;
    if (!status && o->load.torque_from && !(follow.side = dw_course_open(o->load.torque_from, error)))
        status = error->status;
    if (!status && !(follow.plant = motor_kind.plant(&o->load, &inputs.drive, error)))
        status = error->status;
    if (!status)
        status = supply_begin(&seen.supply, &o->load.feed, follow.plant, &o->common, o->report ? reader : NULL, error);
    if (!status) {
        seen.motor = dw_plant_load(follow.plant);
        seen.gates.threshold = inputs.drive.threshold;
        status = follow_table(&follow, &o->common, NULL, reader, &followed, error);
    }
    if (!status && o->report)
        status = supply_report(&seen.supply, &o->common, error);
    if (!status)
        caution(o, &seen);
    const enum dw_status judged = supply_end(&seen.supply, status ? NULL : o->common.command, o->report, error);
    status = status ? status : judged;
    dw_plant_free(follow.plant);
    dw_course_close(follow.side);
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
