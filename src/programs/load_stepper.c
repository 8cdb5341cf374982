/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The options of a stepper motor and its drive, and its plant. */
#include "load_kind.h"
#include <string.h>

static const char *const drives[] = { "voltage", "current", NULL };
/* Common practice, no source: what most chopping drives have. */
static const double OFF_TIME = 20e-6, BLANKING = 1e-6;

static enum dw_status read_rated(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct stepper_load *o = options;
    struct option_key keys[] = { { "torque", DW_TORQUE, NAN, NULL }, { "current", DW_CURRENT, NAN, NULL } };
    const enum dw_status status = option_keys(option->name, argument, keys, 2, error);
    for (int i = 0; !status && i < 2; i++) {
        if (isnan(keys[i].value))
            return option_error(error, option->name, argument, "%s is missing", keys[i].name);
        if (!(keys[i].value > 0))
            return option_error(error, option->name, argument, "%s: must be above zero", keys[i].name);
    }
    o->rated_torque = keys[0].value;
    o->rated_current = keys[1].value;
    return status;
}

static enum dw_status read_decay(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    static const char mixed[] = "mixed=";
    double *fast = &((struct stepper_load *)options)->plan.fast;
    if (strcmp(argument, "slow") == 0 || strcmp(argument, "fast") == 0)
        *fast = *argument == 'f';
    else if (strncmp(argument, mixed, strlen(mixed)) == 0)
        return option_value(option, argument + strlen(mixed), fast, error);
    else
        return option_error(error, option->name, argument, "must be slow, fast or mixed= with the share that is fast, such as mixed=40%%");
    return DW_OK;
}

#define OPTION_STRUCT struct stepper_load
static const struct option_spec options[] = {
    { .help = "The motor:" },
    { "rated", "KEYS", "A data sheet's torque= (holding torque, both windings on, Nm) and current= (of each winding, A)", OPTION_READ(read_rated),
      .also = "constant", .required = "such as torque=0.3,current=1.2" },
    { "resistance", "R", "Of a winding (ohm)", OPTION_QUANTITY(plan.resistance, DW_RESISTANCE), OPTION_ABOVE_ZERO, .required = "such as 2.1" },
    { "inductance", "L", "Of a winding (H)", OPTION_QUANTITY(plan.inductance, DW_INDUCTANCE), OPTION_ABOVE_ZERO, .required = "such as 3.4m" },
    { "inertia", "J", "Of the rotor (kg m^2)", OPTION_QUANTITY(plan.inertia, DW_INERTIA), OPTION_ABOVE_ZERO, .required = "such as 57gcm2" },
    { "detent-torque", "M", "Largest torque that turns it against no current (Nm; default 0)", OPTION_QUANTITY(plan.detent, DW_TORQUE),
      OPTION_NOT_NEGATIVE },
    { "friction", "B", "Viscous friction (N m s/rad; default 0)", OPTION_QUANTITY(plan.friction, DW_FRICTION), OPTION_NOT_NEGATIVE },
    { "drag", "M", "Coulomb friction, which also holds the rotor at standstill (Nm; default 0)", OPTION_QUANTITY(plan.drag, DW_TORQUE),
      OPTION_NOT_NEGATIVE },
    { "full-steps", "N", "Full steps of a turn, a multiple of four (default 200)", OPTION_COUNT(plan.full_steps, 4, 100000) },
    { .help = "Its load:" },
    { "torque", "M", "Constant load on the output shaft (Nm); positive opposes forward motion; default 0", OPTION_QUANTITY(plan.torque, DW_TORQUE) },
    { "torque-from", "FILE", "A table whose first channel is a further load against time (Nm); its last value stays", OPTION_TEXT(torque_from) },
    { "gear", "N", "Motor turns a turn of the output shaft (default 1). Angles are the motor's", OPTION_QUANTITY(plan.gear, DW_NUMBER),
      OPTION_ABOVE_ZERO },
    { "load-inertia", "J", "On the output shaft (kg m^2; default 0)", OPTION_QUANTITY(plan.load_inertia, DW_INERTIA), OPTION_NOT_NEGATIVE },
    { .help = "What drives it:" },
    { "drive", "voltage|current",
      "voltage: each coil gets its share of the supply, and 0 V shorts it; current: a bridge chops the current at its reference, and a "
      "reference of 0 opens the coil; required", OPTION_WORD(plan.drive, drives), .required = "voltage or current" },
    { "supply", "V", "Supply (V); required, or --battery", OPTION_QUANTITY(plan.supply, DW_VOLTAGE), OPTION_ABOVE_ZERO },
    SUPPLY_OPTIONS,
    { "microsteps", "N", "Steps of a full step, of a table of steps (default 1: full steps, both coils on)",
      OPTION_COUNT(plan.microsteps, 1, DW_STEPPER_MICROSTEPS) },
    { "current", "A", "Each coil's in full steps, the largest in microsteps (A; default the rated one)", OPTION_QUANTITY(plan.current, DW_CURRENT),
      OPTION_ABOVE_ZERO },
    { "off-time", "T", "So long off, once the reference is reached (s; default 20u)", OPTION_QUANTITY(plan.off_time, DW_TIME), OPTION_ABOVE_ZERO },
    { "chop-frequency", "F", "Instead: on at each beat (Hz). Where a coil is on for more than half of it, only --ramp-compensation keeps that even",
      OPTION_QUANTITY(plan.chop_frequency, DW_FREQUENCY), OPTION_ABOVE_ZERO },
    { "ramp-compensation", "A", "By so much the reference falls from beat to beat (A; default 0)", OPTION_QUANTITY(plan.compensation, DW_CURRENT),
      OPTION_NOT_NEGATIVE },
    { "blanking", "T", "At least so long on (s; default 1u)", OPTION_QUANTITY(plan.blanking, DW_TIME), OPTION_NOT_NEGATIVE },
    { "decay", "HOW",
      "While off: slow shorts the coil, fast returns its current to the supply by diodes, mixed=SHARE is fast for that share of the time off and "
      "then slow (default slow)", OPTION_READ(read_decay), .also = "fast", .quantity = DW_SHARE, OPTION_FROM_TO(0, 1) },
    { "diode-drop", "V", "Of each of two diodes (V; default 0.7)", OPTION_QUANTITY(plan.diode_drop, DW_VOLTAGE), OPTION_NOT_NEGATIVE },
    { "switch-resistance", "R", "Of each of two transistors (ohm; default 0)", OPTION_QUANTITY(plan.switch_resistance, DW_RESISTANCE),
      OPTION_NOT_NEGATIVE },
    { "threshold", "V", "step, direction and gates are on above it (V); default the middle of the table's levels",
      OPTION_QUANTITY(plan.threshold, DW_VOLTAGE) },
    { "level", "V", "What a coil's channel stands at for the whole supply or current (V); default the upper one of the table's levels",
      OPTION_QUANTITY(plan.level, DW_VOLTAGE), OPTION_ABOVE_ZERO },
    { .help = "Output:" },
    { "all", NULL,
      "Also coil-a, coil-b (V), speed (rad/s), torque of currents and detent (Nm), supply-current (A); of a supply that gives way "
      "line-current, bulk-current (A)", OPTION_FLAG(plan.all) },
    { 0 }
};

static const struct option_rule rules[] = {
    { OPTION_NEEDED, "supply", "!battery", "such as 12" },
    SUPPLY_RULES,
    { OPTION_EXCLUDES, "off-time", "chop-frequency", "both say when a coil is on again; give one" },
    { OPTION_REFUSED, "ramp-compensation", "!chop-frequency", "belongs to a beat: give --chop-frequency" },
    { OPTION_REFUSED, "current off-time chop-frequency ramp-compensation blanking decay", "drive=voltage", "is of a chopper: give --drive current" },
    { 0 }
};

static enum dw_status check(const struct command *command, void *values, struct dw_error *error)
{
    struct stepper_load *o = values;
    struct dw_stepper_plan *p = &o->plan;
    (void)command;
    p->source = o->feed.parts;
    p->supply = o->feed.battery > 0 ? o->feed.battery : p->supply;
    p->constant = dw_stepper_constant(o->rated_torque, o->rated_current);
    if (p->drive == DW_STEPPER_CURRENT) {
        p->current = p->current > 0 ? p->current : o->rated_current;
        p->off_time = p->off_time > 0 || p->chop_frequency > 0 ? p->off_time : OFF_TIME;
        p->blanking = isnan(p->blanking) ? BLANKING : p->blanking;
    }
    struct dw_stepper_plan plan = *p; /* what the table has yet to say is taken as good */
    plan.threshold = isnan(plan.threshold) ? 0 : plan.threshold;
    return dw_stepper_check(&plan, error);
}

static struct dw_plant *make(const void *values, const struct load_drive *drive, struct dw_error *error)
{
    struct dw_stepper_plan plan = ((const struct stepper_load *)values)->plan;
    plan.threshold = isnan(plan.threshold) ? drive->threshold : plan.threshold;
    plan.level = isnan(plan.level) ? drive->level : plan.level;
    plan.direction = drive->direction;
    plan.coils = drive->coils;
    plan.gates = drive->gates;
    return dw_stepper_plant(&plan, error);
}

static const struct stepper_load defaults = { .plan = { .full_steps = 200, .microsteps = 1, .gear = 1, .diode_drop = 0.7, .blanking = NAN,
                                                        .threshold = NAN, .level = NAN } };
const struct load_kind stepper_kind = {
    .program = { .name = "dw-stepper", .options = options, .rules = rules, .check = check, .size = sizeof defaults, .defaults = &defaults },
    .plant = make
};
