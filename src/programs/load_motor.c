/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The options of a brushed DC motor, and its plant. */
#include "load_kind.h"
#include <string.h>

const char *const motor_drives[] = { "direct", "one-switch", "bridge-slow", "bridge-fast", "antiphase", NULL };
static const char *const units[] = { "rad/s", "rpm", NULL }, *const angles[] = { "rad", "deg", NULL };

enum dw_status motor_read_rated(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct option_key keys[] = { { "volts", DW_VOLTAGE, NAN, NULL }, { "free-speed", DW_SPEED, NAN, NULL },
                                 { "free-current", DW_CURRENT, NAN, NULL }, { "stall-current", DW_CURRENT, NAN, NULL } };
    struct dw_error why;
    const enum dw_status status = option_keys(option->name, argument, keys, 4, error);
    if (status != DW_OK)
        return status;
    for (int i = 0; i < 4; i++)
        if (isnan(keys[i].value))
            return option_error(error, option->name, argument, "%s is missing", keys[i].name);
    const char *speed = strstr(argument, "free-speed=") + strlen("free-speed=");
    const int length = (int)strcspn(speed, ",");
    if (!memchr(speed, 'r', (size_t)length)) /* all units of a speed have one */
        return option_error(error, option->name, argument, "free-speed: '%.*s' has no unit: data sheets have rpm, such as %.*srpm; else rad/s",
                            length, speed, length, speed);
    if (dw_motor_ratings(keys[0].value, keys[1].value, keys[2].value, keys[3].value, (struct dw_motor_plan *)((char *)options + option->offset), &why))
        return option_error(error, option->name, argument, "%s", why.text);
    return DW_OK;
}

#define OPTION_STRUCT struct motor_load
static const struct option_spec options[] = {
    MOTOR_OPTIONS(plan),
    { .help = "Its load:" },
    { "torque", "M", "Constant load on the output shaft (N m); positive opposes forward motion; default 0",
      OPTION_QUANTITY(plan.torque, DW_TORQUE) },
    { "load-drag", "M", "Coulomb load on the output shaft, which only resists, such as a brake or a sled (N m); default 0",
      OPTION_QUANTITY(plan.load_drag, DW_TORQUE), OPTION_NOT_NEGATIVE },
    { "torque-from", "FILE", "A table whose first channel is a further load against time (N m); its last value stays",
      OPTION_TEXT(torque_from) },
    { "torque-at-square", "C",
      "Load that grows with the square of the output speed, as of a pump or a fan (N m s^2/rad^2); followed by chords, as many as --accuracy "
      "asks; default 0",
      OPTION_QUANTITY(plan.torque_at_square, DW_NUMBER), OPTION_NOT_NEGATIVE },
    { "gear", "N", "Motor turns a turn of the output shaft; default 1. speed is the motor's, geared-speed (--all) the shaft's",
      OPTION_QUANTITY(plan.gear, DW_NUMBER), OPTION_ABOVE_ZERO },
    { "load-inertia", "J", "On the output shaft (kg m^2); default 0", OPTION_QUANTITY(plan.load_inertia, DW_INERTIA), OPTION_NOT_NEGATIVE },
    MOTOR_DRIVE_OPTIONS(plan),
    { .help = "Output:" },
    { "speed-unit", "rad/s|rpm", "Of the channel speed; default rad/s", OPTION_WORD(plan.rpm, units) },
    { "angle-unit", "rad|deg", "Of the channel angle (--all); default rad", OPTION_WORD(plan.degrees, angles) },
    { "all", NULL,
      "Also terminal and back-emf (V), torque (Nm), angle, and of a switched drive supply-current, switch-current, "
      "diode-current (A), switch (V); of a supply that gives way line-current, bulk-current (A)", OPTION_FLAG(plan.all) },
    { 0 }
};

static const struct option_rule rules[] = {
    { OPTION_REFUSED, "angle-unit", "!all", "is of the channel angle, which --all writes" },
    MOTOR_RULES(""),
    { 0 }
};

static enum dw_status check(const struct command *command, void *values, struct dw_error *error)
{
    struct motor_load *o = values;
    o->plan.source = o->feed.parts;
    o->plan.supply = o->feed.battery > 0 ? o->feed.battery : o->plan.supply;
    struct dw_motor_plan plan = o->plan; /* what the table has yet to say is taken as good */
    plan.threshold = isnan(plan.threshold) ? 0 : plan.threshold;
    plan.low_gate = command_given(command, "low-channel");
    plan.direction = command_given(command, "direction");
    return dw_motor_check(&plan, error);
}

static struct dw_plant *make(const void *values, const struct load_drive *drive, struct dw_error *error)
{
    struct dw_motor_plan plan = ((const struct motor_load *)values)->plan;
    plan.threshold = isnan(plan.threshold) ? drive->threshold : plan.threshold;
    plan.low_gate = drive->low_gate;
    plan.direction = drive->direction;
    plan.accuracy = drive->accuracy;
    struct dw_motor *motor = dw_motor_new(&plan, error);
    return motor ? dw_motor_plant(motor) : NULL;
}

static enum load_pin pin(const void *values)
{
    const enum dw_motor_drive drive = ((const struct motor_load *)values)->plan.drive;
    const bool bridge = drive == DW_DRIVE_BRIDGE_SLOW || drive == DW_DRIVE_BRIDGE_FAST;
    return drive == DW_DRIVE_DIRECT ? PIN_VOLTAGE : bridge ? PIN_BRIDGE : PIN_GATE;
}

static const struct motor_load defaults = { .plan = { .gear = 1, .diode_drop = 0.7, .threshold = NAN } };
const struct load_kind motor_kind = {
    .program = { .name = "dw-motor", .options = options, .rules = rules, .check = check, .size = sizeof defaults, .defaults = &defaults },
    .plant = make, .pin = pin, .direction = DW_MOTOR_DIRECTION, .side_input = DW_MOTOR_TORQUE, .side_from = offsetof(struct motor_load, torque_from),
    .moves = true
};
