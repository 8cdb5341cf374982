/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-motor: a brushed DC motor on a switched supply. */
#include "old_common.h"
#include "drive.h"
#include "old_keys.h"
#include "simulate.h"
#include <dutywright/motor.h>
#include <math.h>
#include <string.h>

/* V: extra-low voltage ends. J: a rotor with more can hurt a finger; common practice, no source. */
static const double LOW_VOLTAGE = 60, MOVES = 1;
/* Shares of the no-load speed: a swing back that is worth a note; and of the power at stall: heat that is worth a caution. */
static const double SWINGS = 0.01, STALLED = 0.04;
static const double RPM = 30 / 3.14159265358979323846;  /* in 1 rad/s */

enum {
    OPTION_RESISTANCE = OPTION_OWN,
    OPTION_INDUCTANCE, OPTION_CONSTANT, OPTION_INERTIA, OPTION_FRICTION, OPTION_DRAG, OPTION_RATED, OPTION_TORQUE,
    OPTION_TORQUE_FROM, OPTION_TORQUE_AT_SQUARE, OPTION_GEAR, OPTION_LOAD_INERTIA, OPTION_SUPPLY, OPTION_DRIVE,
    OPTION_DIODE_DROP, OPTION_SWITCH_RESISTANCE, OPTION_LOW_CHANNEL, OPTION_DIRECTION, OPTION_THRESHOLD, OPTION_START,
    OPTION_SPEED_UNIT, OPTION_ALL
};

struct motor_options {
    struct common_options common;
    struct dw_motor_plan plan;
    double rated[4];
    const char *torque_from, *low, *direction;
    double threshold;  /* NaN: from the table */
    bool steady, rpm;
};

static const struct argp_option options[] = {
    { NULL, 0, NULL, 0, "The motor:", 1 },
    { "resistance", OPTION_RESISTANCE, "R", 0, "Of the winding and brushes (ohm)", 1 },
    { "inductance", OPTION_INDUCTANCE, "L", 0, "Of the winding (H); required", 1 },
    { "constant", OPTION_CONSTANT, "K", 0, "Back-EMF constant, which is the torque constant (V s/rad = N m/A)", 1 },
    { "inertia", OPTION_INERTIA, "J", 0, "Of the rotor (kg m^2); required", 1 },
    { "friction", OPTION_FRICTION, "B", 0, "Viscous friction (N m s/rad); default 0", 1 },
    { "drag", OPTION_DRAG, "M", 0, "Coulomb friction, which also holds the rotor at standstill (N m); default 0", 1 },
    { "rated", OPTION_RATED, "KEYS", 0,
      "A data sheet's volts=,free-speed=,free-current=,stall-current= instead of resistance, constant and drag (speed takes rpm)", 1 },
    { NULL, 0, NULL, 0, "Its load:", 2 },
    { "torque", OPTION_TORQUE, "M", 0, "Constant load on the output shaft (N m); positive opposes forward motion; default 0", 2 },
    { "torque-from", OPTION_TORQUE_FROM, "FILE", 0, "A table whose first channel is a further load against time (N m); its last value stays", 2 },
    { "torque-at-square", OPTION_TORQUE_AT_SQUARE, "C", 0,
      "Load that grows with the square of the output speed, as of a pump or a fan (N m s^2/rad^2); followed by chords to 1e-5; default 0", 2 },
    { "gear", OPTION_GEAR, "N", 0, "Motor turns a turn of the output shaft; default 1. speed is the motor's, geared-speed (--all) the shaft's", 2 },
    { "load-inertia", OPTION_LOAD_INERTIA, "J", 0, "On the output shaft (kg m^2); default 0", 2 },
    { NULL, 0, NULL, 0, "What drives it:", 3 },
    { "supply", OPTION_SUPPLY, "V", 0, "Supply (V); required", 3 },
    { "drive", OPTION_DRIVE, "WORD", 0,
      "direct: the channel is the terminal voltage, ahead of a --switch-resistance; one-switch: a transistor and a freewheel diode; "
      "bridge-slow, bridge-fast: a full bridge that shorts the motor, or returns its current to the supply, while the pin is low; "
      "antiphase: the pin reverses the supply, half duty stands still; required", 3 },
    { "diode-drop", OPTION_DIODE_DROP, "V", 0, "Of each conducting diode (V); default 0.7", 3 },
    { "switch-resistance", OPTION_SWITCH_RESISTANCE, "R", 0, "Of each conducting transistor (ohm); default 0", 3 },
    { "low-channel", OPTION_LOW_CHANNEL, "CHANNEL", 0,
      "Gate of the complementary transistor, such as complement from dw-pwm --dead-time: with both off, diodes carry the current", 3 },
    { "direction", OPTION_DIRECTION, "CHANNEL", 0,
      "Bridges: below zero reverses, zero keeps; default the channel direction, where there is one", 3 },
    { "threshold", OPTION_THRESHOLD, "V", 0, "Gates are on above it (V); default the middle of the table's levels", 3 },
    { NULL, 0, NULL, 0, "Output:", 4 },
    { "start", OPTION_START, "zero|steady", 0, "Standstill without current (default), or the periodic state that is reached from there", 4 },
    { "speed-unit", OPTION_SPEED_UNIT, "rad/s|rpm", 0, "Of the channel speed; default rad/s", 4 },
    { "all", OPTION_ALL, NULL, 0,
      "Also terminal and back-emf (V), torque (Nm), angle (rad), and of a switched drive supply-current, switch-current, "
      "diode-current (A), switch (V)", 4 },
    { 0 }
};

static const struct argp_child children[] = {
    { &input_argp, 0, NULL, 0 }, { &output_argp, 0, NULL, 0 }, { &channel_argp, 0, NULL, 0 }, { &rows_argp, 0, NULL, 0 },
    { &quiet_argp, 0, NULL, 0 }, { 0 }
};

static void read_rated(struct motor_options *o, const char *argument)
{
    struct option_key keys[] = { { "volts", DW_VOLTAGE, NAN, NULL }, { "free-speed", DW_SPEED, NAN, NULL },
                                 { "free-current", DW_CURRENT, NAN, NULL }, { "stall-current", DW_CURRENT, NAN, NULL } };
    option_keys("rated", argument, keys, 4);
    for (int i = 0; i < 4; i++) {
        if (isnan(keys[i].value))
            option_error("rated", argument, "%s is missing", keys[i].name);
        o->rated[i] = keys[i].value;
    }
}

static void check_options(struct motor_options *o)
{
    struct dw_error error;
    if (option_given("rated")) {
        static const char *const same[] = { "resistance", "constant", "drag" };
        for (int i = 0; i < 3; i++)
            option_conflict(same[i], "rated", "a data sheet sets that too; give one");
        if (dw_motor_ratings(o->rated[0], o->rated[1], o->rated[2], o->rated[3], &o->plan, &error))
            option_error("rated", option_given("rated"), "%s", error.text);
    } else {
        option_required("resistance", "such as 1.2, or --rated volts=,free-speed=,free-current=,stall-current=");
        option_required("constant", "such as 23m (V s/rad), or --rated volts=,free-speed=,free-current=,stall-current=");
    }
    option_required("inductance", "such as 700u");
    option_required("inertia", "such as 12u (kg m^2)");
    option_required("supply", "such as 12");
    option_required("drive", "one of direct, one-switch, bridge-slow, bridge-fast, antiphase");
    static const char *const switched[] = { "diode-drop", "threshold" };
    for (int i = 0; o->plan.drive == DW_DRIVE_DIRECT && i < 2; i++)
        if (option_given(switched[i]))
            option_error(switched[i], option_given(switched[i]), "is of switched drives; --drive is direct");
    const bool always_on = o->plan.drive == DW_DRIVE_BRIDGE_SLOW || o->plan.drive == DW_DRIVE_ANTIPHASE;
    if (always_on && option_given("diode-drop") && !option_given("low-channel"))
        option_error("diode-drop", option_given("diode-drop"),
                     "goes with --low-channel in this drive: without it transistors alone carry the current");
}

static error_t parse(int key, char *argument, struct argp_state *state)
{
    struct motor_options *o = state->input;
    struct dw_motor_plan *p = &o->plan;
    static const char *const drives[] = { "direct", "one-switch", "bridge-slow", "bridge-fast", "antiphase", NULL };
    static const char *const starts[] = { "zero", "steady", NULL }, *const units[] = { "rad/s", "rpm", NULL };
    switch (key) {
    case ARGP_KEY_INIT:
        for (int i = 0; i < 5; i++)
            state->child_inputs[i] = &o->common;
        return 0;
    case OPTION_RESISTANCE: p->resistance = option_positive("resistance", argument, DW_RESISTANCE); return 0;
    case OPTION_INDUCTANCE: p->inductance = option_positive("inductance", argument, DW_INDUCTANCE); return 0;
    case OPTION_CONSTANT: p->constant = option_positive("constant", argument, DW_MACHINE_CONSTANT); return 0;
    case OPTION_INERTIA: p->inertia = option_positive("inertia", argument, DW_INERTIA); return 0;
    case OPTION_FRICTION: p->friction = option_between("friction", argument, DW_FRICTION, 0, INFINITY); return 0;
    case OPTION_DRAG: p->drag = option_between("drag", argument, DW_TORQUE, 0, INFINITY); return 0;
    case OPTION_RATED: read_rated(o, argument); return 0;
    case OPTION_TORQUE: p->torque = option_quantity("torque", argument, DW_TORQUE); return 0;
    case OPTION_TORQUE_FROM: o->torque_from = argument; return 0;
    case OPTION_TORQUE_AT_SQUARE: p->torque_at_square = option_between("torque-at-square", argument, DW_NUMBER, 0, INFINITY); return 0;
    case OPTION_GEAR: p->gear = option_positive("gear", argument, DW_NUMBER); return 0;
    case OPTION_LOAD_INERTIA: p->load_inertia = option_between("load-inertia", argument, DW_INERTIA, 0, INFINITY); return 0;
    case OPTION_SUPPLY: p->supply = option_positive("supply", argument, DW_VOLTAGE); return 0;
    case OPTION_DRIVE: p->drive = (enum dw_motor_drive)option_word("drive", argument, drives); return 0;
    case OPTION_DIODE_DROP: p->diode_drop = option_between("diode-drop", argument, DW_VOLTAGE, 0, INFINITY); return 0;
    case OPTION_SWITCH_RESISTANCE: p->switch_resistance = option_between("switch-resistance", argument, DW_RESISTANCE, 0, INFINITY); return 0;
    case OPTION_LOW_CHANNEL: o->low = argument; return 0;
    case OPTION_DIRECTION: o->direction = argument; return 0;
    case OPTION_THRESHOLD: o->threshold = option_quantity("threshold", argument, DW_VOLTAGE); return 0;
    case OPTION_START: o->steady = option_word("start", argument, starts); return 0;
    case OPTION_SPEED_UNIT: o->rpm = option_word("speed-unit", argument, units); return 0;
    case OPTION_ALL: p->all = true; return 0;
    case ARGP_KEY_END: check_options(o); return 0;
    default: return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp argp = {
    options, parse, NULL,
    "Current and speed of a brushed DC motor whose supply a pin switches.\v"
    "Reads a wave table, takes a channel (--channel; default pin, else the last in V) as the gate, or with --drive direct as the "
    "terminal voltage, and appends current[A] and speed[rad/s]. Solved exactly from event to event: diodes that stop "
    "conducting, brushes that stick, a rotor that lets go.\n\n"
    "Example: the exhibit's pump motor at 22.5 kHz, once its speed has settled\n\n"
    "  dw-pwm --frequency 22.5k --duty 60% --periods 4 |\n"
    "    dw-motor --resistance 1.85 --constant 27m --drag 4m --inductance 900u \\\n"
    "      --inertia 9u --supply 12 --drive one-switch --start steady |\n"
    "    dw-measure",
    children, NULL, NULL
};

/* Notes on what was seen on the way. */
struct seen {
    const struct dw_motor *motor;
    double start, end, blocked;         /* s */
    double fastest, slowest, least_pin; /* rad/s, rad/s forwards, V */
    double standing, squares;           /* s and A^2 s, since the rotor last turned */
    double current, high, low;          /* A, V, V, of the last row */
    double threshold;                   /* V, of the gates */
    double shorted, first_short;        /* s both gates were on, and when first */
    bool low_gate, any, was_blocked, reversed;
};

/* Between rows both gates are straight lines, and a row stands where one crosses the threshold: the middle decides. */
static void watch_gates(struct seen *seen, const struct dw_run_row *row, double length)
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
    (void)error;
    struct seen *seen = context;
    const double length = seen->any ? row->time - seen->end : 0, before = seen->current;
    const double speed = row->state[DW_MOTOR_SPEED], current = row->state[DW_MOTOR_CURRENT];
    if (!seen->any)
        seen->start = row->time;
    else if (seen->was_blocked)
        seen->blocked += length;
    seen->standing = speed == 0 ? seen->standing + length : 0;
    seen->squares = speed == 0 ? seen->squares + length * (before * before + before * current + current * current) / 3 : 0;
    if (seen->low_gate)
        watch_gates(seen, row, length);
    seen->any = true;
    seen->was_blocked = dw_motor_blocked(seen->motor, row->mode);
    seen->end = row->time;
    seen->current = current;
    seen->fastest = fmax(seen->fastest, fabs(speed));
    seen->slowest = fmin(seen->slowest, speed);
    seen->least_pin = fmin(seen->least_pin, row->input[DW_MOTOR_PIN]);
    seen->reversed = seen->reversed || row->input[DW_MOTOR_DIRECTION] < 0;
    return DW_OK;
}

/* Whether nothing but the load can have turned it backwards. */
static bool pulled_backwards(const struct dw_motor_plan *p, const struct seen *seen)
{
    const bool reverses = p->drive == DW_DRIVE_ANTIPHASE || (p->drive == DW_DRIVE_DIRECT && seen->least_pin < 0);
    return !reverses && !seen->reversed && seen->slowest < -SWINGS * dw_motor_no_load_speed(p);
}

static void caution(const struct motor_options *o, const struct seen *seen)
{
    const struct dw_motor_plan *p = &o->plan;
    double inertia = p->inertia + p->load_inertia / (p->gear * p->gear), energy = inertia * seen->fastest * seen->fastest / 2;
    const double heat = seen->standing > 0 ? p->resistance * seen->squares / seen->standing : 0;
    if (p->supply > LOW_VOLTAGE)
        program_caution("%g V: over 60 V DC can kill; local electrical codes and a licensed person decide", p->supply);
    if (energy > MOVES)
        program_caution("moving machinery: the rotor and its load carry %.3g J at %.0f rpm; guard it before it runs", energy,
                        seen->fastest * RPM);
    if (heat > STALLED * p->supply * dw_motor_stall_current(p))
        program_caution("hot part: the rotor stands still at the end, and its winding takes %.3g W without the cooling of a turning one",
                        heat);
    if (seen->shorted > 0)
        program_caution("both transistors of a leg are on for %.3g s, first at %.6g s: they short the supply, which is not "
                        "counted here; dw-pwm --dead-time keeps them apart", seen->shorted, seen->first_short);
    if (pulled_backwards(p, seen))
        program_note("the load turns the motor backwards, up to %.0f rpm: a load that only resists is --drag or --torque-at-square",
                     -seen->slowest * RPM);
    if (seen->blocked > 0 && seen->blocked < seen->end - seen->start)
        program_note("discontinuous conduction: no current flows for %.3g %% of the time; the speed is then not proportional to "
                     "the duty", 100 * seen->blocked / (seen->end - seen->start));
}

static enum dw_status find_inputs(const struct motor_options *o, const struct dw_reader *reader, struct simulation *s,
                                  double *threshold, struct dw_error *error)
{
    struct gate gate = { 0, NAN };
    bool direct = o->plan.drive == DW_DRIVE_DIRECT;
    enum dw_status status = wave_needed(reader, error);
    if (!status)
        status = gate_find(reader, "channel", o->common.channel, direct ? 0 : o->threshold, &gate, error);
    if (!status && o->low)
        status = channel_find(reader, "low-channel", o->low, NULL, &s->input_column[DW_MOTOR_LOW], error);
    if (!status && o->direction)
        status = channel_find(reader, "direction", o->direction, NULL, &s->input_column[DW_MOTOR_DIRECTION], error);
    if (status)
        return status;
    s->input_column[DW_MOTOR_PIN] = gate.column;
    *threshold = gate.threshold;
    bool bridge = o->plan.drive == DW_DRIVE_BRIDGE_SLOW || o->plan.drive == DW_DRIVE_BRIDGE_FAST;
    if (bridge && !o->direction)
        s->input_column[DW_MOTOR_DIRECTION] = dw_header_find(dw_reader_header(reader), "direction", NULL);
    return DW_OK;
}

static enum dw_status run_motor(const struct motor_options *o, struct dw_error *error)
{
    struct dw_motor_plan plan = o->plan;
    struct dw_motor *motor = NULL;
    struct simulation s = { .common = &o->common, .inputs = DW_MOTOR_INPUTS, .side_input = DW_MOTOR_TORQUE,
                            .steady = o->steady, .watch = watch };
    struct simulated_channel channels[DW_OUTPUTS];
    struct seen seen = { .motor = NULL, .low_gate = o->low != NULL };
    struct dw_reader *reader = input_open(&o->common, true, error);
    enum dw_status status = reader ? find_inputs(o, reader, &s, &plan.threshold, error) : error->status;
    if (!status && o->torque_from && !(s.side = dw_reader_open(o->torque_from, NULL, error)))
        status = error->status;
    plan.low_gate = s.input_column[DW_MOTOR_LOW] != 0;
    plan.direction = s.input_column[DW_MOTOR_DIRECTION] != 0;
    if (!status && !(motor = dw_motor_new(&plan, error)))
        status = error->status;
    if (!status && o->low && s.input_column[DW_MOTOR_LOW] == s.input_column[DW_MOTOR_PIN])
        status = dw_error_set(error, DW_BAD_USE, 0, "--low-channel: '%s' is the gate of the other transistor: both on short the supply",
                              o->low);
    if (!status) {
        s.modes = dw_motor_modes(motor);
        s.mode = dw_motor_rest(motor);
        s.outputs = dw_motor_outputs(motor);
        s.channel = channels;
        for (size_t i = 0; i < s.outputs; i++) {
            channels[i] = (struct simulated_channel){ .factor = 1, .initial = i + 2 >= s.outputs ? 0 : NAN };
            channels[i].name = dw_motor_output(motor, i, &channels[i].unit);
            if (o->rpm && !strcmp(channels[i].unit, "rad/s")) {
                channels[i].unit = "rpm";
                channels[i].factor = RPM;
            }
        }
        seen.motor = motor;
        seen.threshold = plan.threshold;
        s.context = &seen;
        status = simulate(&s, reader, error);
    }
    if (!status)
        caution(o, &seen);
    dw_motor_free(motor);
    dw_reader_close(s.side);
    dw_reader_close(reader);
    return status;
}

int main(int argc, char **argv)
{
    struct motor_options o = { .common = common_defaults(), .plan = { .gear = 1, .diode_drop = 0.7 }, .threshold = NAN };
    struct dw_error error = { .status = DW_OK };
    program_start("dw-motor", &argp, &o, argc, argv);
    return program_finish(run_motor(&o, &error), &error);
}
