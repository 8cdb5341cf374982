/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The options of a linear actuator, and its plant. */
#include "load_kind.h"

static const char *const ends[] = { "stop", "switch", NULL };

static enum dw_status read_feedback(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    return option_pair(option, argument, ':', "two with a colon between, such as 0.3:3", ((struct actuator_load *)options)->feedback, error);
}

#define OPTION_STRUCT struct actuator_load
static const struct option_spec options[] = {
    MOTOR_OPTIONS(plan.motor),
    { .help = "Gear and screw:" },
    { "gear", "N", "Motor turns a turn of the screw; default 1", OPTION_QUANTITY(plan.motor.gear, DW_NUMBER), OPTION_ABOVE_ZERO },
    { "lead", "X", "Way of the nut a turn of the screw (m): of n starts, n times the pitch; required", OPTION_QUANTITY(plan.lead, DW_LENGTH),
      .required = "such as 3mm" },
    { "efficiency", "E", "Of the screw, moving a load; moved by it, it is 2 - 1/E, and up to a half it locks itself",
      OPTION_QUANTITY(plan.efficiency, DW_SHARE), OPTION_FROM_TO(0.001, 1) },
    { "screw-friction", "MU", "Instead, the friction in the thread, a coefficient", OPTION_QUANTITY(plan.screw_friction, DW_NUMBER),
      OPTION_NOT_NEGATIVE },
    { "screw-diameter", "D", "Mean, of the thread (m)", OPTION_QUANTITY(plan.screw_diameter, DW_LENGTH), OPTION_ABOVE_ZERO },
    { "thread-angle", "A", "Between the flanks (deg): default 0, a square thread; 29 or 30 of trapezoidal ones",
      OPTION_QUANTITY(plan.thread_angle, DW_ANGLE), OPTION_NOT_NEGATIVE },
    { "collar-friction", "MU", "Coefficient of friction under the thrust collar; default 0, a rolling bearing",
      OPTION_QUANTITY(plan.collar_friction, DW_NUMBER), OPTION_NOT_NEGATIVE },
    { "collar-diameter", "D", "Mean, of the collar (m)", OPTION_QUANTITY(plan.collar_diameter, DW_LENGTH), OPTION_ABOVE_ZERO },
    { .help = "Ends and load:" },
    { "travel", "X", "From end to end (m); required", OPTION_QUANTITY(plan.travel, DW_LENGTH), OPTION_ABOVE_ZERO, .required = "such as 0.2" },
    { "initial", "X", "Where it stands at first (m); default 0, the inner end", OPTION_QUANTITY(plan.initial, DW_LENGTH) },
    { "at-end", "stop|switch",
      "What stands at the ends: a stop (default), against which the motor stalls; a limit switch, which cuts the current that moves out, with a "
      "diode across it that lets the current back and brakes while the drive is at 0 V", OPTION_WORD(plan.switches, ends) },
    { "overtravel", "X", "Behind each switch to a stop (m); default no stop", OPTION_QUANTITY(plan.overtravel, DW_LENGTH), OPTION_NOT_NEGATIVE },
    { "differential", "X", "A switch closes again so far before the end (m); default a hundredth of the travel",
      OPTION_QUANTITY(plan.differential, DW_LENGTH), OPTION_ABOVE_ZERO },
    { "force", "F", "That stands against moving out, such as a weight that is lifted (N); below zero it pulls out; default 0",
      OPTION_QUANTITY(plan.force, DW_FORCE) },
    { "force-from", "FILE", "A table whose first channel is a further force against time (N); its last value stays", OPTION_TEXT(force_from) },
    { "mass", "M", "That is moved (kg); its weight is a --force; default 0", OPTION_QUANTITY(plan.mass, DW_MASS), OPTION_NOT_NEGATIVE },
    { "backlash", "X", "Between nut and load (m), which must have a --mass; default 0", OPTION_QUANTITY(plan.backlash, DW_LENGTH),
      OPTION_NOT_NEGATIVE },
    { "feedback", "LOW:HIGH", "A potentiometer at the nut: its voltage at the inner and the outer end (V), as the channel feedback",
      OPTION_READ(read_feedback), OPTION_AT(feedback), .also = "feedback_low feedback_high", .quantity = DW_VOLTAGE },
    MOTOR_DRIVE_OPTIONS(plan.motor),
    { .help = "Output:" },
    { "all", NULL,
      "Also terminal and back-emf (V), torque (Nm) and motor-speed (rad/s) of the motor, of a switched drive supply-current (A), with backlash nut "
      "(m), of a supply that gives way line-current, bulk-current (A)", OPTION_FLAG(plan.motor.all) },
    { 0 }
};

static const struct option_rule rules[] = {
    MOTOR_RULES("&!at-end=switch"),
    { OPTION_ONE_OF, "efficiency screw-friction", NULL, "such as --efficiency 35%" },
    { OPTION_EXCLUDES, "efficiency", "screw-friction screw-diameter thread-angle collar-friction collar-diameter", "both say the screw's friction; give one" },
    { OPTION_NEEDED, "screw-diameter", "screw-friction", "such as 14mm" },
    { OPTION_NEEDED, "collar-diameter", "collar-friction", "such as 20mm" },
    { OPTION_NEEDED, "collar-friction", "collar-diameter", "such as 0.08" },
    { OPTION_REFUSED, "overtravel differential", "!at-end=switch", "is of a limit switch: give --at-end switch" },
    { OPTION_NEEDED, "mass", "backlash", "such as 2 (kg): what moves in a backlash must have one" },
    { 0 }
};

static enum dw_status check(const struct command *command, void *values, struct dw_error *error)
{
    struct actuator_load *o = values;
    struct dw_actuator_plan *p = &o->plan;
    p->motor.source = o->feed.parts;
    p->motor.supply = o->feed.battery > 0 ? o->feed.battery : p->motor.supply;
    p->differential = isnan(p->differential) ? p->travel / 100 : p->differential;
    p->feedback = !isnan(o->feedback[0]);
    p->feedback_low = p->feedback ? o->feedback[0] : 0;
    p->feedback_high = p->feedback ? o->feedback[1] : 0;
    struct dw_actuator_plan plan = *p; /* what the table has yet to say is taken as good */
    plan.motor.threshold = isnan(plan.motor.threshold) ? 0 : plan.motor.threshold;
    plan.motor.low_gate = command_given(command, "low-channel");
    plan.motor.direction = command_given(command, "direction");
    return dw_actuator_check(&plan, error);
}

static struct dw_plant *make(const void *values, const struct load_drive *drive, struct dw_error *error)
{
    struct dw_actuator_plan plan = ((const struct actuator_load *)values)->plan;
    plan.motor.threshold = isnan(plan.motor.threshold) ? drive->threshold : plan.motor.threshold;
    plan.motor.low_gate = drive->low_gate;
    plan.motor.direction = drive->direction;
    struct dw_actuator *actuator = dw_actuator_new(&plan, error);
    return actuator ? dw_actuator_plant(actuator) : NULL;
}

static enum load_pin pin(const void *values)
{
    const enum dw_motor_drive drive = ((const struct actuator_load *)values)->plan.motor.drive;
    const bool bridge = drive == DW_DRIVE_BRIDGE_SLOW || drive == DW_DRIVE_BRIDGE_FAST;
    return drive == DW_DRIVE_DIRECT ? PIN_VOLTAGE : bridge ? PIN_BRIDGE : PIN_GATE;
}

static const struct actuator_load defaults = {
    .plan = { .motor = { .gear = 1, .diode_drop = 0.7, .threshold = NAN }, .overtravel = INFINITY, .differential = NAN }, .feedback = { NAN, NAN }
};
const struct load_kind actuator_kind = {
    .program = { .name = "dw-actuator", .options = options, .rules = rules, .check = check, .size = sizeof defaults, .defaults = &defaults },
    .plant = make, .pin = pin, .direction = DW_ACTUATOR_DIRECTION, .side_input = DW_ACTUATOR_FORCE,
    .side_from = offsetof(struct actuator_load, force_from), .moves = true
};
